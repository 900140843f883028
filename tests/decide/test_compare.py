"""The change between two cases: closed forms, a model in plain numpy, and what is shared."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from scipy import integrate, stats

from effband import study
from effband.case.model import Case
from effband.case.resolve import understand
from effband.case.text import parse_case
from effband.decide.compare import Change, Compared, compare
from effband.decide.pairs import pairs_of
from effband.problems import CaseError, ComputationRefused

CASES = Path(__file__).resolve().parents[2] / "cases"
TIMES = 4.5  # simulation uncertainties that numbers may lie apart
NORMAL_95 = stats.norm.ppf(0.975)


def case_of(text: str, name: str = "case.yaml") -> Case:
    return understand(parse_case(text.encode(), name))


def compared(
    before: Case, after: Case, by: str | None = None, trials: int = 400_000, **asked: str
) -> Compared:
    settings = replace(before.settings, trials=trials)
    return compare(before, after, pairs_of(before, after, by, **asked), settings, workers=2)


def change_of(before: str, after: str, by: str | None = None, trials: int = 400_000) -> Change:
    return compared(case_of(before), case_of(after), by, trials).changes[0]


# -- closed forms -----------------------------------------------------------------------------

FLOW = """\
effband: 1
title: a flow calibrated to 3 %
inputs:
  flow: {value: 1, standard_uncertainty: 0.03}
  read: {value: 0.30, standard_uncertainty: 0.004}
results:
  eta: {formula: read * flow, unit: "%", boundary: {in: flow, out: shaft}}
"""
BETTER = FLOW.replace("0.30", "0.34")
OTHER_FLOW = BETTER.replace("flow: {v", "flow_2: {v").replace("* flow", "* flow_2")


def test_improvement_with_a_common_calibration() -> None:
    """u_d = sqrt((0.04 * 0.03)^2 + 2 * 0.004^2) = 0.00578, r = 0.851, P(d >= 0.03) = 0.9584.

    Worked out separately, for sums; here flow multiplies the readings, so the exact values
    stand beside: var(f r) = (s_f m_r)^2 + (s_r)^2 (1 + s_f^2), and P is an integral over f.
    """
    change = change_of(FLOW, BETTER, by="3 points", trials=1_000_000)
    u_d = change.change.summary.standard_uncertainty
    assert u_d is not None
    exact = np.sqrt((0.04 * 0.03) ** 2 + 2 * 0.004**2 * (1 + 0.03**2))
    assert u_d == pytest.approx(exact, rel=TIMES / np.sqrt(2e6))
    assert u_d == pytest.approx(0.00578, abs=0.00001)
    one, other = change.was.summary.standard_uncertainty, change.now.summary.standard_uncertainty
    assert one is not None
    assert other is not None
    assert one == pytest.approx(0.0098, abs=0.00006)
    assert other == pytest.approx(0.0110, abs=0.00006)
    assert (one**2 + other**2 - u_d**2) / (2 * one * other) == pytest.approx(0.851, abs=0.001)
    reached = change.reached
    assert reached is not None
    probability, _ = integrate.quad(
        lambda f: (
            stats.norm.pdf(f, 1, 0.03) * stats.norm.cdf((0.04 * f - 0.03) / (0.004 * f * 2**0.5))
        ),
        0.7,
        1.3,
    )
    assert reached.value == pytest.approx(probability, abs=TIMES * reached.simulation_uncertainty)
    assert reached.value == pytest.approx(0.9584, abs=0.001)
    assert change.unshared is not None
    assert change.unshared.half_width == pytest.approx(NORMAL_95 * 0.01474, rel=0.01)


def test_improvement_with_calibrations_of_their_own() -> None:
    """The same, treated as independent: u_d = 0.01474, P(d >= 0.03) = 0.7513."""
    found = compared(case_of(FLOW), case_of(OTHER_FLOW), "3 points", 1_000_000)
    (change,) = found.changes
    assert change.change.summary.standard_uncertainty == pytest.approx(0.01474, rel=0.005)
    assert change.reached is not None
    assert change.reached.value == pytest.approx(0.7513, abs=0.002)
    assert found.shared == ()
    assert change.unshared is None
    assert any("nothing is shared" in what for what, _ in found.warnings)


def test_a_fall_by_so_much_is_counted_downwards() -> None:
    change = change_of(BETTER, FLOW, by="-3 points")
    assert change.reached is not None
    assert change.reached.value == pytest.approx(0.958, abs=0.003)
    assert change.higher.value < 1e-4


WARMTH = """\
effband: 1
title: one sensor
inputs:
  offset: {value: 0 K, standard_uncertainty: 1 K}
  read: {value: 20 degC, standard_uncertainty: 0.1 K}
results:
  warmth: {formula: read + offset, unit: degC}
"""


def test_an_offset_that_both_share_cancels() -> None:
    """sqrt(2) * 0.1 = 0.1414 with one offset, sqrt(2 (1 + 0.01)) = 1.421 with two."""
    change = change_of(WARMTH, WARMTH.replace("20 degC", "45 degC"))
    assert change.change.value == pytest.approx(25.0, abs=0.002)
    assert change.change.summary.standard_uncertainty == pytest.approx(0.1414, rel=0.006)
    assert change.unshared is not None
    assert change.unshared.half_width == pytest.approx(NORMAL_95 * 1.421, rel=0.012)
    assert change.ratio is None, "a ratio of points on a scale means nothing"


def test_a_gain_that_both_share_acts_on_the_difference_alone() -> None:
    """1 % of 60 K = 0.600 K shared; 1 % of sqrt(20^2 + 80^2) K = 0.825 K apart."""
    text = (
        "effband: 1\ntitle: gain\ninputs:\n  gain: {value: 1, standard_uncertainty: 0.01}\n"
        "  read: {constant: 20 K}\nresults:\n  warming: {formula: read * gain, unit: K}\n"
    )
    change = change_of(text, text.replace("20 K", "80 K"))
    assert change.change.summary.standard_uncertainty == pytest.approx(0.600, rel=0.006)
    assert change.unshared is not None
    assert change.unshared.half_width == pytest.approx(NORMAL_95 * 0.825, rel=0.012)


def test_what_widens_the_change() -> None:
    """Two normal readings of 0.004 beside a gain on 0.04: each half-width in closed form."""
    found = compared(case_of(FLOW), case_of(BETTER))
    left = {line.item.name: line.half_width_without for line in found.ranking.lines}
    gain, reading = 0.04 * 0.03, 0.004
    assert left == {
        "read (before)": pytest.approx(NORMAL_95 * np.hypot(gain, reading), rel=0.01),
        "read (after)": pytest.approx(NORMAL_95 * np.hypot(gain, reading), rel=0.01),
        "flow": pytest.approx(NORMAL_95 * np.sqrt(2) * reading, rel=0.01),
    }


# -- the Dray rig, in plain numpy ---------------------------------------------------------------

BELT = np.array([(24.10, 12.38, 18.62, 9.86), (24.11, 12.46, 18.61, 9.81),
                 (24.09, 12.34, 18.63, 9.89), (24.11, 12.39, 18.61, 9.85),
                 (24.09, 12.42, 18.63, 9.83)])  # fmt: skip
GEAR = np.array([(24.12, 12.07, 18.70, 9.93), (24.13, 12.04, 18.69, 9.95),
                 (24.11, 12.00, 18.71, 9.99), (24.13, 12.10, 18.69, 9.91),
                 (24.11, 12.03, 18.71, 9.96)])  # fmt: skip
SPAN = np.array([60, 40, 60, 40])
OF_READING, FIXED, DIGIT = (
    np.array([*pair, *pair]) for pair in ((0.005, 0.02), (0.02, 0.05), (0.01, 0.01))
)


def drive(rows: np.ndarray, z: np.ndarray, rng: np.random.Generator, size: int) -> np.ndarray:
    """Return the efficiency of five runs in so many trials, in %, the meters' scores given."""
    step = rng.uniform(-DIGIT / 2, DIGIT / 2, (size, 4))  # one for the group
    each = []
    for row in rows:
        angle = np.pi / 2 * row / SPAN
        score = np.cos(angle) * z[0] + np.sin(angle) * z[1]
        v_in, i_in, v_out, i_out = (
            row + (OF_READING * row + FIXED) * (2 * stats.norm.cdf(score) - 1) + step
        ).T
        each.append(100 * v_out * i_out / (v_in * i_in))
    runs = np.array(each)
    n = len(runs)
    scores = rng.normal(size=(n, size))
    wide = np.sqrt((n - 1) / rng.chisquare(n - 1, size))
    weights = 1 / n + wide * (scores - scores.mean(axis=0)) / np.sqrt(n * (n - 1))
    return np.sum(weights * runs, axis=0)


@cache
def drives(shared: bool, size: int = 400_000) -> tuple[np.ndarray, np.ndarray]:
    rng = np.random.default_rng(11)
    z = rng.normal(size=(2, size, 4))
    belt = drive(BELT, z, rng, size)
    return belt, drive(GEAR, z if shared else rng.normal(size=(2, size, 4)), rng, size)


@cache
def dray() -> Compared:
    belt, gear = (study.load(str(CASES / f"dray_{name}.yaml")) for name in ("belt", "gear"))
    return compared(belt, gear, "2 points", 1_000_000)


def test_the_dray_rig_against_plain_numpy() -> None:
    belt, gear = drives(shared=True)
    change = dray().changes[0]
    for number, found in ((change.was, belt), (change.now, gear), (change.change, gear - belt)):
        low, high = np.quantile(found, [0.025, 0.975]) / 100
        half = (high - low) / 2
        assert number.value == pytest.approx(found.mean() / 100, abs=0.005 * half)
        interval = number.summary.interval
        assert (interval.low, interval.high) == pytest.approx((low, high), abs=0.015 * half)
    assert change.ratio is not None
    ends = change.ratio.summary.interval
    expected = np.quantile(gear / belt, [0.025, 0.975])
    assert (ends.low, ends.high) == pytest.approx(expected, abs=0.0003)
    least = np.mean(gear - belt >= 2)
    spread = np.sqrt(least * (1 - least) / len(belt))
    assert change.reached is not None
    assert change.reached.value == pytest.approx(least, abs=TIMES * spread)
    assert change.higher.value == pytest.approx(np.mean(gear > belt), abs=2e-4)
    apart = np.subtract(*drives(shared=False)[::-1])
    low, high = np.quantile(apart, [0.025, 0.975]) / 100
    assert change.unshared is not None
    assert change.unshared.half_width == pytest.approx((high - low) / 2, rel=0.015)


def test_the_dray_rig_as_worked_out_separately() -> None:
    """Other meters and scatter there: +2.64 points [1.87, 3.43], P = 0.9998.

    The bands of one test each overlap; [-0.35, 5.65] if the meters were drawn twice, so 0 is in.
    """
    change = dray().changes[0]
    interval = change.change.summary.interval
    assert 100 * change.change.value == pytest.approx(2.64, abs=0.01)
    assert (100 * interval.low, 100 * interval.high) == pytest.approx((1.87, 3.43), abs=0.03)
    assert change.higher.value == pytest.approx(0.9998, abs=0.0001)
    assert change.shown(0.95) is True
    assert change.overlaps
    assert change.unshared is not None
    assert change.unshared.low < 0 < change.unshared.high
    assert dray().shared == ("clamp_meter#1", "clamp_meter#2", "multimeter#1", "multimeter#2")


# -- what must hold of any two cases --------------------------------------------------------------


def test_the_band_before_is_that_of_a_run() -> None:
    """Bit for bit, whatever the case after and the number of workers."""
    belt = study.load(str(CASES / "dray_belt.yaml"))
    alone = study.run(belt, replace(belt.settings, trials=1_000_000))
    bands = {(b.output.target.name, b.output.run): b.summary for b in alone.bands}
    for change in dray().changes:
        band = bands[change.before.target.name, change.before.run]
        assert change.was.summary.interval == band.interval
        assert change.was.summary.shortest == band.shortest
        assert change.was.summary.mean == band.mean


def test_a_case_against_itself_has_width_and_no_change() -> None:
    for name in ("dray_belt", "wren_bench"):
        case = study.load(str(CASES / f"{name}.yaml"))
        found = compared(case, case, trials=200_000)
        assert found.shared
        for change in found.changes:
            interval = change.change.summary.interval
            assert interval.low < 0 < interval.high
            least = 0.02 * change.was.summary.interval.half_width
            assert interval.half_width > least
            error = change.change.summary.simulation.median
            assert change.change.summary.median == pytest.approx(0, abs=TIMES * error)
            assert change.shown(0.95) is False
            assert change.differs == ()


def test_the_other_way_round_is_minus_the_change() -> None:
    there, back = change_of(FLOW, BETTER), change_of(BETTER, FLOW)
    one, other = there.change.summary, back.change.summary
    errors = np.hypot(one.simulation.low, other.simulation.high)
    assert one.interval.low == pytest.approx(-other.interval.high, abs=TIMES * errors)
    assert one.interval.high == pytest.approx(-other.interval.low, abs=TIMES * errors)
    assert there.higher.value == pytest.approx(1 - back.higher.value, abs=1e-5)
    assert there.ratio is not None
    assert back.ratio is not None
    assert there.ratio.value * back.ratio.value == pytest.approx(1, abs=0.001)


def test_workers_move_nothing() -> None:
    cases = case_of(FLOW), case_of(BETTER)
    settings = replace(cases[0].settings, trials=150_000)
    one, many = (compare(*cases, pairs_of(*cases), settings, workers=n) for n in (1, 4))
    assert one.changes[0].change.summary.interval == many.changes[0].change.summary.interval
    assert one.changes[0].unshared == many.changes[0].unshared


# -- what is asked, and what can be --------------------------------------------------------------


def with_runs(rows: str, group: str = "") -> str:
    return (
        "effband: 1\ntitle: runs\nruns:\n  readings: {power: {unit: W, plus_minus: 1 W}}\n"
        f"  rows: {{{rows}}}\n{group}results:\n  p: {{formula: power, unit: W}}\n"
    )


THREE = "a: {power: 10}, b: {power: 11}, c: {power: 12}"
GROUP = "  groups: {load: [a, b, c]}\n"


def test_a_group_stands_in_the_place_of_its_runs() -> None:
    grouped = case_of(with_runs(THREE, GROUP))
    assert [pair.before.title for pair in pairs_of(grouped, grouped)] == ["p, group load"]
    (pair,) = pairs_of(grouped, grouped, run="b")
    assert pair.before.title == "p, run b"
    single = case_of(with_runs(THREE))
    titles = {pair.before.title for pair in pairs_of(single, grouped)}
    assert titles == {"p, run a", "p, run b", "p, run c"}


def test_what_is_in_one_case_only_is_named() -> None:
    one, other = with_runs("a: {power: 10}, b: {power: 11}"), with_runs("a: {power: 10}")
    other += "  more: {formula: power * 2, unit: W}\n"
    found = compared(case_of(one), case_of(other), trials=20_000)
    assert found.not_compared == ("p, run b: before only", "more, run a: after only")


def test_units_that_fit_are_brought_to_one() -> None:
    text = with_runs("a: {power: 1000}")
    change = change_of(text, text.replace("power, unit: W", "power, unit: kW"), trials=20_000)
    assert change.was.value == pytest.approx(1000, abs=0.1)
    assert change.now.value == pytest.approx(1000, abs=0.1)


def test_units_that_do_not_fit_are_named() -> None:
    text = (
        "effband: 1\ntitle: t\ninputs: {x: {value: 3 W, plus_minus: 1 W}, "
        "y: {value: 2 s, plus_minus: 1 s}}\nresults:\n  p: {formula: x, unit: W}\n"
        "  q: {formula: x, unit: W}\n"
    )
    other = text.replace("q: {formula: x, unit: W}", "q: {formula: y, unit: s}")
    found = compared(case_of(text), case_of(other), trials=20_000)
    assert found.not_compared == ("q: its unit is W before, s after",)
    with pytest.raises(CaseError, match="no result in common in one unit: q: its unit is W"):
        pairs_of(case_of(text.replace("p:", "r:")), case_of(other))


def test_nothing_in_common_is_refused_with_the_names() -> None:
    runs = case_of(with_runs("a: {power: 1}")), case_of(with_runs("b: {power: 1}"))
    with pytest.raises(CaseError, match=r"in one run: there are a before and b after"):
        pairs_of(*runs)
    with pytest.raises(CaseError, match=r"there are eta before and p after"):
        pairs_of(case_of(FLOW), runs[0])


@pytest.mark.parametrize(
    ("by", "what"),
    [
        ("3 %", "a percentage of what"),
        ("3 W", "does not fit a value in %: write it in points"),
        ("much", "not a number"),
    ],
)
def test_a_change_that_does_not_fit_is_refused(by: str, what: str) -> None:
    with pytest.raises(ValueError, match=what):
        pairs_of(case_of(FLOW), case_of(BETTER), by)


def test_names_that_are_not_there_are_refused() -> None:
    runs = case_of(with_runs("full: {power: 1}"))
    with pytest.raises(ValueError, match="'q': there are p"):
        pairs_of(runs, runs, result="q")
    with pytest.raises(ValueError, match="'ful': did you mean full"):
        pairs_of(runs, runs, run="ful")


def test_a_share_of_the_value_is_taken_of_the_one_before() -> None:
    text = with_runs("a: {power: 200}")
    (pair,) = pairs_of(case_of(text), case_of(text), by="5 %")
    assert pair.by == pytest.approx(10)


def test_no_ratio_to_what_may_be_nothing() -> None:
    near = change_of(with_runs("a: {power: 1.5}"), with_runs("a: {power: 30}"), trials=20_000)
    far = change_of(with_runs("a: {power: 15}"), with_runs("a: {power: 30}"), trials=20_000)
    assert near.ratio is None
    assert far.ratio is not None


def test_without_a_variance_the_median_stands() -> None:
    text = (
        "effband: 1\ntitle: t\ninputs: {x: {repeats: [4.9, 5.0, 5.4], unit: W}}\n"
        "results: {p: {formula: x, unit: W}}\n"
    )
    found = compared(case_of(text), case_of(text.replace("5.4", "5.5")), trials=100_000)
    summary = found.changes[0].change.summary
    assert summary.standard_uncertainty is None
    assert found.changes[0].change.value == summary.median
    assert any("x (after) has 2 degrees of freedom" in what for what, _ in found.warnings)
    assert found.ranking.by_half_width


def test_a_value_without_end_is_refused_and_says_of_which_case() -> None:
    text = (
        "effband: 1\ntitle: t\ninputs: {x: {value: 3, plus_minus: 1}}\n"
        "results: {y: {formula: log(x), unit: 1, is: ratio}}\n"
    )
    with pytest.raises(ComputationRefused, match=r"after.* y has no finite value"):
        compared(case_of(text), case_of(text.replace("value: 3", "value: 0.5")))


def test_trials_without_any_change_speak_for_neither_side() -> None:
    """max(x, 100) with x even from 90 to 110, twice: a quarter stays, 3/8 rises, 3/8 falls."""
    text = (
        "effband: 1\ntitle: t\ninputs:\n  x: {value: 100 W, plus_minus: 10 W}\n"
        "  floor: {constant: 100 W}\nresults:\n  p: {formula: 'max(x, floor)', unit: W}\n"
    )
    other = text.replace("x: {", "y: {").replace("max(x", "max(y")
    change = change_of(text, other, trials=100_000)
    assert change.higher.value == pytest.approx(3 / 8, abs=0.008)
    assert change.lower.value == pytest.approx(3 / 8, abs=0.008)
    assert change.shown(0.95) is False


def test_settings_that_differ_are_said() -> None:
    other = case_of(BETTER + "settings: {trials: 20000, seed: 4}\n")
    found = compared(case_of(FLOW), other, trials=20_000)
    assert any("(seed, trials): those before" in what for what, _ in found.warnings)


def test_what_lies_above_its_ceiling_is_said() -> None:
    found = compared(case_of(FLOW), case_of(FLOW.replace("0.30", "1.30")), trials=20_000)
    assert any("after, lies above its ceiling in 100 %" in what for what, _ in found.warnings)


def test_a_ceiling_may_depend_on_what_the_result_does_not() -> None:
    limit = "  limit: {value: 50 %, plus_minus: 1 points}\n  read"
    text = FLOW.replace("  read", limit).replace("out: shaft}", "out: shaft}, ceiling: limit")
    found = compared(case_of(text), case_of(text.replace("0.30", "0.60")), trials=20_000)
    assert any("after, lies above its ceiling in 100 %" in what for what, _ in found.warnings)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (("in: flow", "in: mains"), ["the denominators differ: flow before, mains after"]),
        (("out: shaft", "out: wire"), ["what is got out differs: shaft before, wire after"]),
        (("read * flow", "read *  flow"), []),
        (("read * flow", "flow * read"), ["its formula differs: read * flow before, flow * r"]),
        (('"%", b', '"%", is: performance ratio, b'), ["its kind differs: efficiency before, per"]),
    ],
)
def test_numbers_that_are_not_the_same_are_told(change: tuple[str, str], said: list[str]) -> None:
    differs = change_of(FLOW, BETTER.replace(*change), trials=20_000).differs
    assert len(differs) == len(said)
    assert all(found.startswith(text) for found, text in zip(differs, said, strict=True))


def test_a_formula_below_the_result_is_looked_at() -> None:
    text = FLOW.replace("results:", "formulas: {work: read * flow, aside: flow * 2}\nresults:")
    text = text.replace("formula: read * flow", "formula: work")
    other = text.replace("work: read * flow", "work: read * flow * 1.01")
    other = other.replace("flow * 2", "flow * 3")
    (said,) = change_of(text, other, trials=20_000).differs
    assert said == "the formula work differs: read * flow before, read * flow * 1.01 after"
