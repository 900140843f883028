"""Correlated inputs, joint fits and samples, from the case to both laws."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from scipy import stats
from workbench import case_of, ranked, results

from effband.case.model import Case
from effband.case.resolve import load_case
from effband.propagate.engine import Engine
from effband.propagate.linear import propagate_linearly
from effband.propagate.summary import Summary, summarise
from effband.study import run

TRIALS = 400_000
LAWS = {
    "normal": "{value: 10, standard_uncertainty: 2}",
    "limits": "{value: 10, plus_minus: 3}",
    "judged": "{low: 4, likely: 5, high: 11}",
    "factor": "{value: 10, within_factor: 1.7}",
    "t": "{value: 10, standard_uncertainty: 2, degrees_of_freedom: 6}",
    "cut": "{value: 1, standard_uncertainty: 1, physical: [0, 100]}",
}
PAIRS = [("normal", "limits", 0.7), ("judged", "factor", -0.5), ("t", "cut", 0.4)]


def summaries(case: Case, seed: int = 1) -> dict[str, Summary]:
    counts = Engine(case, seed, TRIALS).run()
    return {
        output.target.name: summarise(count, 0.95, math.inf, "")
        for output, count in zip(case.outputs, counts, strict=True)
    }


@pytest.mark.parametrize(("one", "other", "pearson"), PAIRS, ids=str)
def test_pearsons_coefficient_is_the_declared_one(one: str, other: str, pearson: float) -> None:
    """var(a + b) - var(a - b) = 4 cov(a, b), and each input keeps its law."""
    case = case_of(
        f"inputs:\n  a: {LAWS[one]}\n  b: {LAWS[other]}\n"
        f"correlations: [{{between: [b, a], coefficient: {pearson}}}]\n",
        results(a="a", b="b", total="a + b", difference="a - b"),
    )
    alone = case_of(f"inputs:\n  a: {LAWS[one]}\n  b: {LAWS[other]}\n", results(a="a", b="b"))
    found, apart = summaries(case), summaries(alone)
    u = {name: each.standard_uncertainty for name, each in found.items()}
    covariance = (u["total"] ** 2 - u["difference"] ** 2) / 4
    assert covariance / (u["a"] * u["b"]) == pytest.approx(pearson, abs=0.01)
    for name in ("a", "b"):
        for end in ("low", "high"):
            mine, own = (getattr(each[name].interval, end) for each in (found, apart))
            errors = [getattr(each[name].simulation, end) for each in (found, apart)]
            assert abs(mine - own) < 4 * math.hypot(*errors)


def test_the_first_order_law_has_the_covariance() -> None:
    """JCGM 100:2008 5.2.2, equation 13 (from memory)."""
    case = case_of(
        "inputs:\n  a: {value: 3, standard_uncertainty: 0.1}\n  b: {value: 5, plus_minus: 0.3}\n"
        "  c: {value: 2, plus_minus: 0.1}\n"
        "correlations: [{between: [a, b], coefficient: -0.6}]\n",
        results(y="a * b + c"),
    )
    (band,) = propagate_linearly(case, 0.95)
    ua, ub, uc = 0.1, 0.3 / math.sqrt(3), 0.1 / math.sqrt(3)
    variance = (5 * ua) ** 2 + (3 * ub) ** 2 + uc**2 - 2 * 0.6 * 15 * ua * ub
    assert band.standard_uncertainty == pytest.approx(math.sqrt(variance), rel=1e-12)


@pytest.mark.parametrize("degrees", [None, 9])
def test_a_joint_fit(degrees: int | None) -> None:
    """A sum of jointly normal (or multivariate t) numbers is normal (or t) again."""
    freedom = f"    degrees_of_freedom: {degrees}\n" if degrees else ""
    case = case_of(
        "joint:\n  fit:\n    values: {slope: 2, offset: 1}\n"
        "    standard_uncertainties: {slope: 0.1, offset: 0.3}\n"
        "    correlation: [[1, -0.9], [-0.9, 1]]\n" + freedom,
        results(y="offset + 3 * slope", slope="slope"),
    )
    found = summaries(case)
    scale = math.sqrt(0.3**2 + 0.3**2 - 2 * 0.9 * 0.3 * 0.3)
    for name, mean, width in (("y", 7, scale), ("slope", 2, 0.1)):
        law = stats.t(degrees, mean, width) if degrees else stats.norm(mean, width)
        for end, p in (("low", 0.025), ("high", 0.975)):
            error = 4 * getattr(found[name].simulation, end)
            assert getattr(found[name].interval, end) == pytest.approx(law.ppf(p), abs=error)
    band = propagate_linearly(case, 0.95)[0]
    assert band.standard_uncertainty == pytest.approx(scale)
    assert band.effective_degrees_of_freedom == pytest.approx(degrees or math.inf)


def test_a_set_is_one_line_of_the_ranking_as_poor_as_its_poorest() -> None:
    case = case_of(
        "inputs:\n  a: {value: 3, standard_uncertainty: 0.1, evidence: measured}\n"
        "  b: {value: 5, standard_uncertainty: 0.2, evidence: guess}\n"
        "  c: {value: 2, standard_uncertainty: 0.3, evidence: certificate}\n"
        "correlations: [{between: [a, b], coefficient: 0.5}]\n",
        results(y="a + b + c"),
    )
    (lines,) = ranked(case)
    assert set(lines) == {"a, b", "c"}
    together = 0.01 + 0.04 + 2 * 0.5 * 0.02
    share = together / (together + 0.09)
    first = lines["a, b"].first_order
    assert first is not None
    assert first.value == pytest.approx(share, abs=0.01)
    assert lines["a, b"].item.kind == "joint set"
    assert [part.evidence for part in lines["a, b"].item.parts] == ["guess"]


def sampled(folder: Path, more: str = "") -> Case:
    rng = np.random.default_rng(5)
    x = rng.gamma(3, 2, 500)
    y = 20 + 3 * x + rng.standard_normal(500)
    lines = [f"{a!r},{b!r}" for a, b in zip(x.tolist(), y.tolist(), strict=True)]
    (folder / "sample.csv").write_text("\n".join(["x,y", *lines]) + "\n")
    (folder / "case.yaml").write_text(
        "effband: 1\ntitle: sample\ninputs:\n"
        "  p: {draws: {file: sample.csv, column: x}, unit: bar, reads: pressure difference}\n"
        "  t: {draws: {file: sample.csv, column: y}, unit: degC}\n" + more + "results:\n"
        "  p: {formula: p, unit: bar}\n  t: {formula: t, unit: degC}\n"
    )
    return load_case(str(folder / "case.yaml"))


def test_a_sample_is_drawn_again_row_by_row(tmp_path: Path) -> None:
    study = run(sampled(tmp_path))
    x, y = np.loadtxt(tmp_path / "sample.csv", delimiter=",", skiprows=1).T
    for band, values, zero, factor in zip(study.bands, (x, y), (0, 273.15), (1e5, 1), strict=True):
        summary = band.summary
        assert summary.standard_uncertainty is not None
        assert summary.mean is not None
        assert summary.standard_uncertainty / factor == pytest.approx(values.std(), rel=0.01)
        assert (summary.mean - zero) / factor == pytest.approx(
            values.mean(), abs=4 * values.std() / 1000
        )
        assert band.linear.standard_uncertainty == pytest.approx(values.std() * factor)
        assert (band.nominal - zero) / factor == pytest.approx(values.mean())
        assert [line.item.name for line in band.ranking.lines] == ["p, t"]
    ends = study.bands[0].summary.interval
    assert ends.low / 1e5 == pytest.approx(np.quantile(x, 0.025), abs=0.15)


def test_another_input_moves_no_draw(tmp_path: Path) -> None:
    one = Engine(sampled(tmp_path), 1, 70_000).run()
    more = "  other: {value: 1 s, plus_minus: 0.1 s, log_only: true}\n"
    other = Engine(sampled(tmp_path, more), 1, 70_000).run()
    for mine, own in zip(one, other, strict=True):
        assert np.array_equal(mine.batches, own.batches)
