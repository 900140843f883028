"""Numbers and phrases as people read them; the one place where numbers are rounded.

A band decides the digits of everything beside it: its half-width gets two significant digits,
and the value is given to the same decimal place.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from effband.case.model import Group, loads
from effband.decide.repeats import RepeatAdvice
from effband.problems import Problem
from effband.propagate.ranking import Ranking
from effband.study import ANOTHER_BAND, UNSTATED, Band, Remark, Study
from effband.units import Unit

SIGNIFICANT = 2
MOST_DECIMALS = 12
LEAST_SHARE = 0.01  # of a spread, from which a source is named
STATED_ONLY = {
    "nameplate": "a nameplate",
    "unstated": "inputs of which nobody said how they are known",
}
IMPOSSIBLE = 0.95  # share of the trials above a ceiling, from which a result is none


@dataclass(frozen=True)
class Rounded:
    """The numbers of one band as text, all to one decimal place, without their unit.

    `by_hand` is what the numbers as written give, without any spread.
    """

    value: str
    low: str
    high: str
    half_width: str
    by_hand: str
    unit: str

    @property
    def with_unit(self) -> str:
        """The value with its unit."""
        return f"{self.value} {self.unit}".rstrip()


def decimals_for(width: float) -> int:
    """Return the decimals at which a width shows two significant digits (0 or more)."""
    if not width > 0.0 or not math.isfinite(width):
        return 3
    exponent = math.floor(math.log10(width))
    if round(width / 10.0 ** (exponent - SIGNIFICANT + 1)) >= 10**SIGNIFICANT:
        exponent += 1
    return min(max(SIGNIFICANT - 1 - exponent, 0), MOST_DECIMALS)


def decimals_to_tell_apart(width: float) -> int:
    """Return the decimals at which steps of 2 % of a width show."""
    if not width > 0.0 or not math.isfinite(width):
        return 3
    return min(max(math.ceil(-math.log10(0.02 * width)), 0), MOST_DECIMALS)


def fixed(number: float, decimals: int) -> str:
    """Return a number with so many decimals; never a negative zero."""
    text = f"{number:.{decimals}f}"
    return text.lstrip("-") if float(text) == 0.0 else text


def rounded(band: Band) -> Rounded:
    """Return the numbers of a band as text."""
    unit = band.output.target.unit
    interval = band.summary.interval
    half = interval.half_width / unit.factor
    decimals = decimals_for(half or abs(unit.from_si(band.nominal)) / 100)
    return Rounded(
        fixed(unit.from_si(central(band)), decimals),
        fixed(unit.from_si(interval.low), decimals),
        fixed(unit.from_si(interval.high), decimals),
        width(interval.half_width, unit, half),
        fixed(unit.from_si(band.nominal), decimals),
        unit.symbol,
    )


def of_receipt(result: Mapping[str, Any], band: Band) -> tuple[str, str, str]:
    """Return value, ends and half-width of a result in a receipt, as the table of results has them.

    `band` is the same result worked out again; it gives what a receipt does not hold, the signs
    of the units and the digits of a result without any width.
    """
    unit, ends = band.output.target.unit, result["interval"]
    half = abs(ends["high"] - ends["low"]) / 2
    decimals = decimals_for(half or abs(unit.from_si(band.nominal)) / 100)
    has_mean = None not in (result["standard_uncertainty"], result["mean"])
    value = result["mean"] if has_mean else result["median"]
    value, low, high = (fixed(x, decimals) for x in (value, ends["low"], ends["high"]))
    return (
        f"{value} {unit.symbol}".rstrip(),
        f"{low} to {high} {unit.symbol}".rstrip(),
        f"{fixed(half, decimals_for(half))} {unit.width_symbol}".rstrip(),
    )


def central(band: Band) -> float:
    """Return the value that stands for a band, SI: the mean, or the median without one."""
    mean = band.summary.mean
    has_variance = band.summary.no_variance is None
    return band.summary.median if mean is None or not has_variance else mean


def width(si: float, unit: Unit, beside: float | None = None) -> str:
    """Return a width in a unit, without its symbol, to the digits of the width beside it."""
    number = si / unit.factor
    return fixed(number, decimals_for(number if beside is None else beside))


def beside_a_limit(size: float, limit: float, other: float) -> str:
    """Return a size to two digits of the limit or of another size, whichever is the smaller.

    Where it would else be shown on the wrong side of the limit, it gets more.
    """
    least = decimals_for(min(limit, other))
    for decimals in range(least, least + 3):
        text = fixed(size, decimals)
        if (float(text) <= limit) == (size <= limit):
            break
    return text


def plain(number: float) -> str:
    """Return a number as a person would write it: to three digits, without idle zeros."""
    text = fixed(number, decimals_for(number) + 1)
    return text.rstrip("0").rstrip(".") if "." in text else text


def times(factor: float) -> str:
    """Return how many times as much: 2.4, 10."""
    return f"{factor:.3g}"


def percent(share: float) -> str:
    """Return a share in per cent, whole from 1 % up."""
    number = 100 * share
    if abs(number) < 0.05:
        return "0 %"
    return f"{number:.0f} %" if abs(number) >= 1 else f"{number:.1f} %"


def probability(share: float) -> str:
    """Return a probability of a band: 95 %, 99.9 %."""
    return f"{100 * share:.6g} %"


def group(group: Group) -> str:
    """Return how the runs of a group are taken together."""
    runs = ", ".join(group.members)
    if group.pooled:
        return f"{runs}; scatter as seen, relative, taken together with that of the other groups"
    if group.scatter_seen:
        instead = "in the place of the errors declared for each run; a display's step counts once"
        return f"{runs}; scatter as seen, {instead}"
    return f"{runs}; two runs are too few to show a scatter: the errors declared for each run stay"


def shown(bands: Sequence[Band]) -> list[Band]:
    """Return the bands to show where there is room for few: a group in the place of its runs."""
    return [bands[at] for at in loads([band.output for band in bands])]


def headline_band(study: Study) -> Band:
    """Return the band of the headline, or of the first result: of its last run or group."""
    return study.bands[study.case.headline_output]


def sentence(band: Band, study: Study) -> str:
    """Return the band as one sentence: value, ends, boundary, and what widens it most."""
    numbers = rounded(band)
    target = band.output.target
    at = "at" if band.output.group is None else "in"
    run = f" {at} {band.output.where}" if band.output.where else ""
    chance = probability(study.settings.probability)
    text = (
        f"{target.label or target.name}{run} is {numbers.with_unit}, "
        f"between {numbers.low} and {numbers.high} {numbers.unit}".rstrip()
        + f" ({chance} band, given the stated spreads of the inputs)."
    )
    if is_impossible(band):
        ceiling = f"its ceiling is {target.ceiling}"
        text = f"IMPOSSIBLE, {ceiling}; look for an error before anything else: {text}"
    if band.output.group is not None:
        text += f" The mean of {len(band.output.group.members)} runs."
    elif band.output.run is not None:
        text += " One run."
    if target.boundary is not None:
        into, out = target.boundary
        text += f" Counted as put in: {into}. Counted as got out: {out}."
    if band.ranking.lines:
        text += f" What widens it most: {band.ranking.lines[0].item.name}."
    return text


def is_impossible(band: Band) -> bool:
    """Return whether nearly all of a band lies above its ceiling."""
    return band.output.target.ceiling is not None and band.summary.beyond_ceiling >= IMPOSSIBLE


def agreement_words(band: Band) -> str:
    """Return what the first-order law says beside the trials."""
    if band.linear.value is None:
        return "no first-order value"
    return {
        True: "the first-order law agrees",
        False: "the first-order law gives another band: the trials stand",
        None: "whether the first-order law agrees is unclear at this many trials",
    }[band.agrees if band.tolerance is not None else None]


def evidence(ranking: Ranking) -> str:
    """Return what a spread rests on: "datasheet 84 %, nameplate 11 %"."""
    return ", ".join(
        f"{kind} {percent(share)}" for kind, share in ranking.evidence if share >= 0.005
    )


def rests_on_guesses(ranking: Ranking) -> str | None:
    """Return the sentence for a spread of which judgement makes more than half, else None."""
    share = ranking.on_judgement
    if share <= 0.5:
        return None
    return f"{percent(share)} of the spread rests on guesses and rules of thumb"


def stated_only(ranking: Ranking) -> list[tuple[str, str, list[str]]]:
    """Return what of a spread rests on what nobody checked: its share, on what, and its sources.

    Left out is what makes less than a tenth of it, and of the sources those below a hundredth.
    """
    shares, found = dict(ranking.evidence), []
    for kind, what in STATED_ONLY.items():
        if shares.get(kind, 0.0) < UNSTATED:
            continue
        names = []
        for line in ranking.lines:
            of = [(part.evidence, part.first_order) for part in line.parts]
            if not of:
                first = 1.0 if line.first_order is None else line.first_order.value
                of = [(part.evidence, first) for part in line.item.parts]
            if any(evidence == kind and share >= LEAST_SHARE for evidence, share in of):
                names.append(line.item.name)
        found.append((percent(shares[kind]), what, names))
    return found


def repeat_advice_words(advice: RepeatAdvice, unit: Unit) -> str:
    """Return what more runs of a group bring, and what a better instrument: "4 more runs: ..."."""

    def half(si: float) -> str:
        return width(si, unit, advice.now / unit.factor)

    symbol = f" {unit.width_symbol}".rstrip()
    text = (
        f"{advice.more} more runs: half-width {half(advice.now)} -> "
        f"{half(advice.with_more)}{symbol}; endless runs {half(advice.endless)}"
    )
    if advice.with_better is not None:
        text += f"; {advice.instrument} twice as good: {half(advice.with_better)}"
    return text


def side_by_side(study: Study) -> list[Band]:
    """Return the efficiencies of the headline's run by size, where several inputs are counted."""
    chosen = headline_band(study)
    found = [
        band
        for band in study.bands
        if band.output.run in (None, chosen.output.run)
        and band.output.target.boundary is not None
        and band.output.target.kind == "efficiency"
    ]
    inputs = {band.output.target.boundary[0] for band in found if band.output.target.boundary}
    return sorted(found, key=central) if len(inputs) > 1 else []


def all_remarks(study: Study) -> list[Remark]:
    """Return every warning: what was seen in reading the case, then in the numbers."""
    read = [Remark(f"{_line(p)}{p.what}", p.remedy) for p in study.case.warnings]
    return [*read, *(_with_other_band(remark, study) for remark in study.remarks)]


def _with_other_band(remark: Remark, study: Study) -> Remark:
    """Return a remark that speaks of another band with that band, the headline's first."""
    if not remark.what.endswith(ANOTHER_BAND):
        return remark
    chosen = headline_band(study)
    told = [band for band in (*shown(study.bands), *study.bands) if band.agrees is False]
    told.sort(key=lambda band: band is not chosen)
    band, interval = told[0], told[0].linear.interval
    if interval is None:
        return remark
    unit = band.output.target.unit
    decimals = decimals_for(band.summary.interval.half_width / unit.factor)
    low, high = (fixed(unit.from_si(x), decimals) for x in (interval.low, interval.high))
    of = f"{band.output.title} " if any(other is not band for other in told) else ""
    return replace(remark, what=f"{remark.what} ({of}{low} to {high} {unit.symbol}".rstrip() + ")")


def _line(problem: Problem) -> str:
    if problem.place is None:
        return ""
    file = "" if problem.document is None else f"{problem.document.file}, "
    return f"{file}line {problem.place.line}: "
