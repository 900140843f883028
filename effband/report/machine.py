"""The study for machines: one JSON document, full precision, null where there is no value."""

from __future__ import annotations

import json
import math
from typing import Any

from effband.decide.claims import Verdict
from effband.decide.cross_checks import Agreement
from effband.decide.repeats import RepeatAdvice
from effband.propagate.engine import Share
from effband.propagate.ranking import Index, Line
from effband.propagate.staircase import Interval
from effband.report import words
from effband.report.judgements import NONE
from effband.study import Band, Study
from effband.units import Unit


def document(study: Study) -> dict[str, Any]:
    """Return the study as the JSON document of the format, as plain values."""
    case = study.case
    versions = dict(study.versions)
    return {
        "effband": {
            "version": versions["effband"],
            "format": 1,
            "engine": int(versions["engine"]),
        },
        "case": {"title": case.title, "sha256": case.text.sha256},
        "settings": {
            "seed": study.settings.seed,
            "trials": study.settings.trials,
            "probability": study.settings.probability,
            "digits": study.settings.digits,
            "adaptive": study.settings.adaptive,
            "sampling": study.settings.sampling,
        },
        "headline": case.headline,
        "groups": {group.name: list(group.members) for group in case.groups},
        "data": [
            {"name": d.name, "sha256": d.sha256, "bytes": d.size, "rows": d.rows} for d in case.data
        ],
        "results": [_result(band) for band in study.bands],
        "cross_checks": [_cross_check(agreement) for agreement in study.cross_checks],
        "claims": [_claim(verdict) for verdict in study.claims],
        "advice_on_repeats": [_advice(each) for each in study.advice],
        "upgrades": [],
        **_widened(study),
        "warnings": [f"{remark.what}: {remark.remedy}" for remark in words.all_remarks(study)],
        "assumptions": list(case.assumptions),
        "versions": versions,
    }


def _widened(study: Study) -> dict[str, Any]:
    """Return the bands with guesses drawn out, where that was asked for."""
    wider = study.widened
    if wider is None:
        return {}
    results = []
    for band, summary in zip(
        study.bands, wider.summaries or (), strict=wider.summaries is not None
    ):
        unit, interval = band.output.target.unit, summary.interval
        results.append(
            {
                "result": band.output.target.name,
                "run": band.output.run,
                "interval": _ends(interval, unit),
                "half_width": interval.half_width / unit.factor,
            }
        )
    found = {"factor": wider.factor, "kept": list(wider.kept), "results": results}
    if wider.summaries is None:
        found["why_not"] = wider.why_not
    return {"guesses_widened": found}


def to_json(documents: dict[str, Any] | list[dict[str, Any]]) -> str:
    """Return documents as text; a number that is not finite is refused, never written."""
    return json.dumps(documents, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def _result(band: Band) -> dict[str, Any]:
    target, summary = band.output.target, band.summary
    unit = target.unit
    simulation = summary.simulation

    def value(si: float | None) -> float | None:
        return None if si is None else unit.from_si(si)

    def size(si: float | None) -> float | None:
        return None if si is None else si / unit.factor

    linear = band.linear
    degrees = linear.effective_degrees_of_freedom
    return {
        "result": target.name,
        "run": band.output.run,
        "unit": unit.text,
        "is": target.kind,
        "nominal": value(band.nominal),
        "mean": value(summary.mean),
        "standard_uncertainty": size(summary.standard_uncertainty),
        "median": value(summary.median),
        "interval": _ends(summary.interval, unit),
        "shortest": _ends(summary.shortest, unit),
        "half_width": size(summary.interval.half_width),
        "simulation_uncertainty": {
            "mean": size(simulation.mean),
            "standard_uncertainty": size(simulation.standard_uncertainty),
            "median": size(simulation.median),
            "low": size(simulation.low),
            "high": size(simulation.high),
            "shortest_low": size(simulation.shortest_low),
            "shortest_high": size(simulation.shortest_high),
        },
        "linear": {
            "value": value(linear.value),
            "standard_uncertainty": size(linear.standard_uncertainty),
            "low": value(linear.interval.low) if linear.interval else None,
            "high": value(linear.interval.high) if linear.interval else None,
            "effective_degrees_of_freedom": degrees if math.isfinite(degrees) else None,
            "tolerance": size(band.tolerance),
            "agrees": band.agrees,
        },
        "beyond_ceiling": summary.beyond_ceiling if target.ceiling is not None else None,
        "evidence": dict(band.ranking.evidence),
        **_crosscheck(band),
        "ranking": [_line(line, unit.factor) for line in band.ranking.lines],
        "what_if": [
            {
                "instrument": each.instrument,
                "half_width_same_all_along": size(each.same_all_along),
                "half_width_own_for_each_reading": size(each.own_for_each_reading),
            }
            for each in band.what_ifs
        ],
    }


def _advice(advice: RepeatAdvice) -> dict[str, Any]:
    factor = advice.output.target.unit.factor
    better = advice.with_better
    return {
        "result": advice.output.target.name,
        "run": advice.output.run,
        "half_width": advice.now / factor,
        "more_runs": advice.more,
        "half_width_with_more_runs": advice.with_more / factor,
        "half_width_with_endless_runs": advice.endless / factor,
        "instrument": advice.instrument,
        "half_width_with_it_twice_as_good": None if better is None else better / factor,
    }


def _claim(verdict: Verdict) -> dict[str, Any]:
    asked, holds, unit = verdict.claim, verdict.holds, verdict.worst.target.unit
    return {
        "result": asked.result,
        "run": asked.run,
        "says": asked.says,
        "confidence": asked.confidence,
        "verdict": verdict.verdict,
        "probability": holds.value,
        "probability_bound": _bounded(holds),
        "probability_below": verdict.outside[0].value if verdict.outside else None,
        "probability_above": verdict.outside[1].value if verdict.outside else None,
        "simulation_uncertainty": holds.simulation_uncertainty,
        "trials": holds.trials,
        "unit": unit.text,
        "worst_run": verdict.worst.run,
        "absent_runs": list(asked.absent),
        "bound": unit.from_si(verdict.bound),
        "margin": verdict.margin / unit.factor,
        "half_width": verdict.half_width / unit.factor,
        "half_width_wanted": None if verdict.wanted is None else verdict.wanted / unit.factor,
        "rests_on_guesses": verdict.guessed,
        "beyond_ceiling": verdict.beyond_ceiling,
        "disputed_by": list(verdict.disputed),
        "reason": verdict.reason or None,
    }


def _bounded(share: Share) -> float | None:
    """Return what a probability is bounded by where no trial falls outside or inside, else None."""
    few = NONE / share.trials
    return few if share.value <= 0.0 else 1 - few if share.value >= 1.0 else None


def _cross_check(agreement: Agreement) -> dict[str, Any]:
    check = agreement.check
    unit, apart = check.values[0].target.unit, check.pairs[0][2].target.unit
    combined = agreement.combined
    return {
        "name": check.name,
        "run": check.values[0].run,
        "verdict": agreement.verdict,
        "level": agreement.level,
        "unit": unit.text,
        "estimates": [
            {
                "formula": each.name,
                "nominal": unit.from_si(each.nominal),
                "median": unit.from_si(each.summary.median),
                "interval": _ends(each.summary.interval, unit),
            }
            for each in agreement.estimates
        ],
        "pairs": [
            {
                "between": [pair.first, pair.second],
                "verdict": pair.verdict,
                "unit": apart.text,
                "median": pair.median / apart.factor,
                "interval": {
                    "low": pair.interval.low / apart.factor,
                    "high": pair.interval.high / apart.factor,
                },
            }
            for pair in agreement.pairs
        ],
        "would_close": [
            {
                "between": list(each.pair),
                "input": each.leaf.name,
                "run": each.leaf.run,
                "unit": each.leaf.unit.text,
                "value": each.leaf.unit.from_si(each.wanted),
                "given": _ends(each.band, each.leaf.unit),
            }
            for each in agreement.closings
        ],
        "combined": None
        if combined is None
        else {
            "way": combined.way,
            "weights": list(combined.weights),
            "drawn_out": combined.drawn_out,
            "mean": unit.from_si(combined.mean),
            "standard_uncertainty": combined.standard_uncertainty / unit.factor,
            "interval": _ends(combined.interval, unit),
        },
        "not_combined": agreement.refused or None,
    }


def _ends(interval: Interval, unit: Unit) -> dict[str, float]:
    return {"low": unit.from_si(interval.low), "high": unit.from_si(interval.high)}


def _crosscheck(band: Band) -> dict[str, float]:
    """Return how far SALib's indices are from ours, where that was asked for."""
    found = band.ranking.crosscheck
    return {} if found is None else {"ranking_crosscheck": found}


def _line(line: Line, factor: float) -> dict[str, Any]:
    return {
        "source": line.item.name,
        "kind": line.item.kind,
        "first_order": _index(line.first_order),
        "total": _index(line.total),
        "half_width_without": line.half_width_without / factor,
        "simulation_uncertainty": line.simulation_uncertainty / factor,
        "parts": [
            {"part": part.name, "evidence": part.evidence, "first_order": part.first_order}
            for part in line.parts
        ],
    }


def _index(index: Index | None) -> dict[str, float] | None:
    return None if index is None else {"value": index.value, "low": index.low, "high": index.high}
