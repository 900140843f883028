"""Groups of repeated runs, through the engine, against the scaled t and against plain numpy."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats
from workbench import case_of

from effband.case.model import Case
from effband.propagate.engine import Engine
from effband.propagate.linear import propagate_linearly
from effband.propagate.summary import Summary, summarise
from effband.study import run

TRIALS = 200_000


def repeated(rows: list[dict[str, float]], readings: str, results: str, more: str = "") -> Case:
    """Return a case with one group of all the rows."""
    lines = [
        f"    r{j}: {{{', '.join(f'{k}: {v!r}' for k, v in row.items())}}}"
        for j, row in enumerate(rows)
    ]
    names = ", ".join(f"r{j}" for j in range(len(rows)))
    return case_of(
        more
        + "runs:\n  readings:\n"
        + readings
        + "  rows:\n"
        + "\n".join(lines)
        + f"\n  groups: {{all: [{names}]}}\nresults:\n"
        + results
    )


def of_group(case: Case, trials: int = TRIALS, seed: int = 1) -> dict[str, Summary]:
    counts = Engine(case, seed, trials).run()
    return {
        output.target.name: summarise(count, 0.95, 30, "")
        for output, count in zip(case.outputs, counts, strict=True)
        if output.group is not None
    }


POWERS = [48.1, 49.0, 48.4, 48.7, 47.9, 48.8]


@pytest.mark.parametrize("n", [3, 4, 6])
def test_a_group_is_the_scaled_t_of_its_scatter(n: int) -> None:
    """JCGM 101:2008 6.4.9 (clause from memory): mean + t(n-1) s/sqrt(n)."""
    case = repeated(
        [{"p": p} for p in POWERS[:n]],
        "    p: {unit: W, plus_minus: 5 W}\n",
        "  p: {formula: p, unit: W}\n",
    )
    found = of_group(case)["p"]
    mean, scale = np.mean(POWERS[:n]), np.std(POWERS[:n], ddof=1) / math.sqrt(n)
    law = stats.t(n - 1, mean, scale)
    for value, p, error in (
        (found.interval.low, 0.025, found.simulation.low),
        (found.median, 0.5, found.simulation.median),
        (found.interval.high, 0.975, found.simulation.high),
    ):
        assert abs(value - law.ppf(p)) < 4 * error
    (linear,) = (
        band
        for band, output in zip(propagate_linearly(case, 0.95), case.outputs, strict=True)
        if output.group is not None
    )
    assert linear.value == pytest.approx(mean)
    assert linear.standard_uncertainty == pytest.approx(scale)
    assert linear.effective_degrees_of_freedom == pytest.approx(n - 1)
    assert linear.interval is not None
    assert linear.interval.high == pytest.approx(law.ppf(0.975))


def test_results_of_one_group_share_the_weights() -> None:
    """Against the rule of `case/groups.py` written out in numpy, with its own random numbers."""
    a, b = [10.0, 10.6, 10.1, 10.9], [5.0, 5.2, 5.05, 5.4]
    case = repeated(
        [{"a": x, "b": y} for x, y in zip(a, b, strict=True)],
        "    a: {unit: W, exact: true}\n    b: {unit: W, exact: true}\n",
        "  a: {formula: a, unit: W}\n  difference: {formula: a - b, unit: W}\n"
        "  ratio: {formula: a / b, unit: 1, is: ratio}\n",
    )
    found = of_group(case)
    rng = np.random.default_rng(7)
    n, m = 4, 1_000_000
    g, w = rng.standard_normal((n, m)), rng.chisquare(n - 1, m)
    weights = 1 / n + np.sqrt((n - 1) / w) * (g - g.mean(0)) / math.sqrt(n * (n - 1))
    y = {"a": np.array(a), "difference": np.subtract(a, b), "ratio": np.divide(a, b)}
    for name, values in y.items():
        low, high = np.quantile(values @ weights, [0.025, 0.975])
        allowed = 4 * 1.5 * max(found[name].simulation.low, found[name].simulation.high)
        assert found[name].interval.low == pytest.approx(low, abs=allowed)
        assert found[name].interval.high == pytest.approx(high, abs=allowed)
    # what is common to a and b cancels run by run, which two bands apart would not show
    assert found["difference"].interval.half_width < 0.8 * found["a"].interval.half_width


METER = (
    "instruments: {meter: {accuracy: 0.4 W, digit: 1 W, repeatability: 3 W, each_reading: 2 W}}\n"
)


def test_the_step_of_the_display_counts_once_and_the_common_error_too() -> None:
    """Equal readings: the step's rectangular law and the limits' stand, nothing else."""
    case = repeated(
        [{"p": 50.0}] * 5,
        "    p: {unit: W, instrument: meter, also: {plus_minus: 4 W}}\n",
        "  p: {formula: p, unit: W}\n",
        METER,
    )
    found = of_group(case)["p"]
    u = math.hypot(1 / math.sqrt(12), 0.4 / math.sqrt(3))
    assert found.standard_uncertainty == pytest.approx(u, rel=0.01)
    assert not any("no scatter shows" in remark.what for remark in run(case).remarks)


def test_equal_readings_without_a_step_are_doubted() -> None:
    case = repeated(
        [{"p": 50.0}] * 3,
        "    p: {unit: W, plus_minus: 4 W}\n",
        "  p: {formula: p, unit: W}\n",
    )
    assert any("no scatter shows" in remark.what for remark in run(case).remarks)


def test_pooled_scatter() -> None:
    """Relative scatter of two groups, against numpy."""
    case = case_of(
        "runs:\n  readings: {p: {unit: W, plus_minus: 9 W}}\n"
        "  rows: {a1: {p: 10}, a2: {p: 10.4}, b1: {p: 50}, b2: {p: 51}, b3: {p: 49.5}}\n"
        "  groups: {a: [a1, a2], b: [b1, b2, b3]}\n  pool: true\n"
        "results: {p: {formula: p, unit: W}}\n"
    )
    counts = Engine(case, 3, TRIALS).run()
    relative = np.concatenate([np.array(x) / np.mean(x) - 1 for x in ([10, 10.4], [50, 51, 49.5])])
    s = math.sqrt((relative**2).sum() / 3)
    for output, count in zip(case.outputs, counts, strict=True):
        if output.group is None:
            continue
        n = len(output.group.members)
        mean = {"a": 10.2, "b": 150.5 / 3}[output.group.name]
        law = stats.t(3, mean, mean * s / math.sqrt(n))
        found = summarise(count, 0.95, 3, "")
        assert abs(found.interval.high - law.ppf(0.975)) < 4 * found.simulation.high
        assert abs(found.interval.low - law.ppf(0.025)) < 4 * found.simulation.low


@pytest.mark.parametrize(("second", "warned"), [(10.9, False), (11.0, True)])
def test_two_runs_keep_their_declared_errors_and_may_be_doubted(
    second: float, warned: bool
) -> None:
    """1.96 sqrt(2) u with u = 0.6/sqrt(3): 0.960."""
    case = repeated(
        [{"p": 10.0}, {"p": second}],
        "    p: {unit: W, plus_minus: 0.6 W}\n",
        "  p: {formula: p, unit: W}\n",
    )
    study = run(case)
    group = study.bands[-1]
    assert group.output.run == "all"
    u = 0.6 / math.sqrt(3) / math.sqrt(2)
    assert group.summary.standard_uncertainty == pytest.approx(u, rel=0.01)
    assert any("scatter by" in remark.what for remark in study.remarks) is warned


def test_kinds_stay_what_they_are_and_order_is_nothing() -> None:
    text = (
        "runs:\n  readings:\n"
        "    p: {unit: bar, reads: gauge pressure, plus_minus: 0.1 bar}\n"
        "    t: {unit: degC, plus_minus: 1 K}\n"
        "  rows:\n    a: {p: 3, t: 20}\n    b: {p: 3.1, t: 21}\n    c: {p: 3.3, t: 20.5}\n"
        "  groups: {all: [a, b, c]}\n"
        "results: {p: {formula: p, unit: bar}, t: {formula: t, unit: degC}}\n"
    )
    rows = "    a: {p: 3, t: 20}\n    b: {p: 3.1, t: 21}\n"
    turned = text.replace(rows, "".join(reversed(rows.splitlines(True)))).replace("[a, b", "[b, a")
    one, other = (Engine(case_of(each), 1, 70_000).run() for each in (text, turned))
    assert turned != text
    for k in (3, 7):  # the groups of p and of t
        assert np.array_equal(one[k].batches, other[k].batches)
        assert np.array_equal(one[k].sums, other[k].sums)
    assert case_of(text).warnings == ()


def coverage(scatter: float, tests: int, trials: int) -> float:
    """Return how often the band of three readings with step 1 holds the true value."""
    rng = np.random.default_rng(round(1000 * scatter) + 1)
    held = 0
    for test in range(tests):
        true = 50 + rng.random()
        readings = np.round(true + scatter * rng.standard_normal(3))
        case = repeated(
            [{"p": float(x)} for x in readings],
            "    p: {unit: W, instrument: meter}\n",
            "  p: {formula: p, unit: W}\n",
            "instruments: {meter: {digit: 1 W}}\n",
        )
        found = of_group(case, trials, test)["p"]
        held += found.interval.low <= true <= found.interval.high
    return held / tests


@pytest.mark.parametrize("scatter", [0.0, 0.3])
def test_a_band_of_three_readings_with_a_step_holds_the_truth(scatter: float) -> None:
    """At least 93 % asked; 4 standard errors below that would be chance."""
    tests = 200
    assert coverage(scatter, tests, 20_000) > 0.93 - 4 * math.sqrt(0.93 * 0.07 / tests)


@pytest.mark.slow
@pytest.mark.parametrize("scatter", [0.0, 0.1, 0.3, 0.5, 1.0])
def test_a_band_of_three_readings_with_a_step_holds_the_truth_often_enough(
    scatter: float,
) -> None:
    found = coverage(scatter, 2_000, 20_000)
    print(f"scatter {scatter}: {found:.4f}")
    assert found >= 0.93
