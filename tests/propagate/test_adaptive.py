"""Runs that stop by themselves: JCGM 101:2008 7.9 with the corrections said in `adaptive.py`."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy import optimize, stats
from workbench import WREN, case_of, results

from effband.case.model import Case
from effband.case.resolve import load_case
from effband.propagate.adaptive import BATCH, LEAST, LEAST_TRIALS, Judge, batch_numbers
from effband.propagate.counting import Counts, Range
from effband.propagate.engine import Engine
from effband.propagate.summary import summarise
from effband.report.machine import document
from effband.study import Study, run, with_options

SKEWED = case_of(
    "inputs:\n  a: {value: 1, within_factor: 2}\n  b: {value: 0, plus_minus: 0.5}\n",
    results(y="a + b"),
)


def exact() -> tuple[float, float, float, float]:
    """Return u, both ends and the shortest width of SKEWED's 95 % intervals, by quadrature."""
    sigma = math.log(2) / stats.norm.ppf(0.975)
    z = np.linspace(-9, 9, 40_001)
    weight = stats.norm.pdf(z) * (z[1] - z[0])
    a = np.exp(sigma * z)

    def below(x: float) -> float:
        return float(np.sum(weight * np.clip(x - a + 0.5, 0, 1)))

    def quantile(p: float) -> float:
        low, high = -1.0, 12.0
        for _ in range(200):
            middle = (low + high) / 2
            low, high = (middle, high) if below(middle) < p else (low, middle)
        return low

    variance = (math.exp(sigma**2) - 1) * math.exp(sigma**2) + 1 / 12
    shortest = optimize.minimize_scalar(
        lambda p: quantile(p + 0.95) - quantile(p), bounds=(1e-6, 0.05 - 1e-6), method="bounded"
    )
    return math.sqrt(variance), quantile(0.025), quantile(0.975), float(shortest.fun)


def stopped(seed: int, share: float, most: int = 10_000_000) -> Engine:
    """Return the engine after a run that stops at a tolerance of a share of u."""
    judge = Judge(lambda _, u: share * u, [])
    return Engine(SKEWED, seed, most, judge=judge)


def test_a_run_that_stopped_equals_one_that_was_told() -> None:
    case = load_case(str(WREN))
    settings = with_options(case.settings, adaptive=True)
    found = [run(case, settings, workers) for workers in (1, 2, 3)]
    trials = found[0].settings.trials
    assert trials % BATCH == 0
    assert LEAST_TRIALS <= trials < 10_000_000
    plain = document(run(case, replace(case.settings, trials=trials)))
    for each in found:
        told = document(each)
        assert told["settings"].pop("adaptive") is True
        told["settings"]["adaptive"] = False
        assert told == plain


def adaptive(case: Case, most: int | None = None, workers: int = 1) -> Study:
    return run(case, with_options(case.settings, most, adaptive=True), workers)


REPEATS = (
    "runs:\n  readings: {{p: {{unit: W, plus_minus: 5 W}}}}\n  rows:\n{rows}"
    "  groups: {{all: [{names}]}}\nresults: {{p: {{formula: p, unit: W}}}}\n"
)


def repeated(readings: list[float]) -> Case:
    """Return a case of repeated readings: one degree of freedom fewer than readings."""
    rows = "".join(f"    r{j}: {{p: {x!r}}}\n" for j, x in enumerate(readings))
    names = ", ".join(f"r{j}" for j in range(len(readings)))
    return case_of(REPEATS.format(rows=rows, names=names))


ODD = {
    "constant": case_of("inputs: {x: {constant: 2}}\n", results(y="x + 1")),
    "cancels": case_of("inputs: {x: {value: 2, plus_minus: 1}}\n", results(y="x - x", z="x")),
    "no variance": repeated([48.1, 49.0, 48.4]),
    "four degrees": repeated([48.1, 49.0, 48.4, 48.7, 47.9]),
    "percent and milliwatts": case_of(
        "inputs: {x: {value: 30 W, plus_minus: 1 W}, y: {value: 90 W, plus_minus: 4 W}}\n",
        'results:\n  share: {formula: x / y, unit: "%", boundary: {in: a, out: b}}\n'
        "  x: {formula: x, unit: mW}\n",
    ),
    "degrees": case_of(
        "inputs: {t: {value: 20 degC, plus_minus: 1 K}}\n",
        "results: {t: {formula: t, unit: degC}}\n",
    ),
}


@pytest.mark.parametrize("name", ODD)
def test_odd_outputs_stop_and_equal_a_run_that_was_told(name: str) -> None:
    case = ODD[name]
    found = adaptive(case)
    assert found.settings.trials == LEAST_TRIALS
    assert not any("were not enough" in remark.what for remark in found.remarks)
    told = document(found)
    assert told["settings"].pop("adaptive") is True
    told["settings"]["adaptive"] = False
    assert told == document(run(case, replace(case.settings, trials=LEAST_TRIALS)))


def test_rounding_is_no_spread() -> None:
    """The output does not vary, so there is nothing to settle."""
    case = case_of("inputs: {x: {value: 1, plus_minus: 0.5}}\n", results(y="x * 3 / 3 - x + 0.1"))
    study = adaptive(case, 600_000)
    assert not study.bands[0].summary.varies
    assert study.settings.trials == LEAST_TRIALS
    assert not any("were not enough" in remark.what for remark in study.remarks)


def test_bins_that_were_widened_start_the_judge_anew(monkeypatch: pytest.MonkeyPatch) -> None:
    wide = case_of("inputs: {a: {value: 1, within_factor: 5000000}}\n", results(y="a"))
    engine = Engine(wide, 1, 10_000_000, judge=Judge(lambda _, size: 1e9 * size, [0]))
    work, widths = engine._run_all, []

    def watched(ranges: list[Range]) -> tuple[Counts, ...]:
        widths.append(ranges[0].width)
        return work(ranges)

    monkeypatch.setattr(engine, "_run_all", watched)
    counts = engine.run()
    assert widths == [widths[0], 8 * widths[0]]
    assert (engine.done, engine.settled) == (LEAST_TRIALS, True)
    (mine,), (told,) = counts, Engine(wide, 1, LEAST_TRIALS).run()
    assert (mine.trials, mine.low, mine.width) == (told.trials, told.low, told.width)
    assert np.array_equal(mine.batches, told.batches)
    one, other = (summarise(each, 0.95, math.inf, "") for each in (mine, told))
    assert (one.mean, one.interval, one.shortest) == (other.mean, other.interval, other.shortest)
    assert one.no_variance is not None
    assert one.simulation == other.simulation


def test_more_digits_take_more_trials() -> None:
    """u = 0.989: half a digit is 0.05 u with one digit, 0.005 u with two."""
    text = "inputs: {a: {value: 1, within_factor: 1.0196}}\n", results(y="100 * a")
    found = []
    for digits in (1, 2):
        study = adaptive(case_of(*text, f"settings: {{digits: {digits}}}\n"))
        assert study.settings.digits == digits
        assert not any("were not enough" in remark.what for remark in study.remarks)
        found.append(study.settings.trials)
    assert found[0] == LEAST_TRIALS < found[1]


def test_the_unit_of_the_result_decides_what_a_digit_is() -> None:
    """Powers of ten leave the digits where they are; inches move them: 25.2 mm is 0.992 in."""
    stops = []
    for formula, unit in (("x", "W"), ("1000 * x", "W"), ("x", "mW"), ("x", "kW")):
        case = case_of(
            "inputs: {x: {value: 100 W, within_factor: 1.0196}}\n",
            f"results: {{y: {{formula: {formula}, unit: {unit}}}}}\nsettings: {{digits: 2}}\n",
        )
        stops.append(adaptive(case, 3_000_000).settings.trials)
    assert len(set(stops)) == 1
    assert stops[0] > LEAST_TRIALS
    inches = {}
    for unit in ("mm", "in"):
        case = case_of(
            "inputs: {x: {value: 1000 mm, standard_uncertainty: 25.2 mm}}\n",
            f"results: {{y: {{formula: x, unit: {unit}}}}}\nsettings: {{digits: 2}}\n",
        )
        inches[unit] = adaptive(case, 3_000_000).settings.trials
    assert inches["mm"] == LEAST_TRIALS < inches["in"]


def test_without_variance_half_the_half_width_stands_for_u() -> None:
    values = np.tile([0.0, 1.0, -3.0, 5.0, 8.0], (LEAST, 1, 1))
    for without, size in (([], 1.0), ([0], 2.0)):
        asked: list[float] = []
        judge = Judge(lambda _, u, to=asked: to.append(u) or 0.0, without)
        judge.add(values)
        assert judge.enough()  # all batches alike: a tolerance of 0 is kept
        assert asked == [size]


def test_one_output_that_is_not_settled_keeps_all_going() -> None:
    values = np.tile([0.0, 1.0, -2.0, 2.0, 3.9], (LEAST, 2, 1))
    values[:, 1, 3] += np.where(np.arange(LEAST) % 2, 0.1, -0.1)
    for allowed, enough in (({0: 1e-9, 1: 1.0}, True), ({0: 1.0, 1: 1e-9}, False)):
        judge = Judge(lambda k, u, of=allowed: of[k], [])
        judge.add(values)
        assert judge.enough() is enough


def test_an_output_that_does_not_vary_has_no_tolerance() -> None:
    def never(k: int, u: float) -> float:
        raise AssertionError("a tolerance of what does not vary was asked for")

    for without in ([], [0]):
        judge = Judge(never, without)
        judge.add(np.tile([7.0, 0.0, 7.0, 7.0, 0.0], (LEAST, 1, 1)))
        assert judge.enough()


def test_an_incomplete_batch_is_left_out() -> None:
    y = np.arange(2 * BATCH - 1, dtype=np.float64)[None]
    assert batch_numbers(y, 0.95).shape == (1, 1, 5)
    assert np.array_equal(batch_numbers(y, 0.95), batch_numbers(y[:, :BATCH], 0.95))
    assert batch_numbers(y[:, : BATCH - 1], 0.95).shape == (0, 1, 5)


def test_the_most_is_kept_and_said() -> None:
    settings = replace(with_options(SKEWED.settings, 600_000, adaptive=True), digits=2)
    engine = stopped(1, 0.0005, 600_000)
    engine.run()
    assert (engine.done, engine.settled) == (600_000, False)
    case = case_of("inputs: {a: {value: 1, within_factor: 1.0198}}\n", results(y="100 * a"))
    study = run(case, settings)  # u = 1.0003: half a digit is 0.05, 0.05 u
    assert study.settings.trials == LEAST_TRIALS
    case = case_of("inputs: {a: {value: 1, within_factor: 1.0196}}\n", results(y="100 * a"))
    study = run(case, settings)  # u = 0.9905: half a digit is 0.005, 0.005 u
    assert study.settings.trials == 600_000
    assert any("600000 trials were not enough" in remark.what for remark in study.remarks)


def test_the_end_is_later_where_the_tolerance_is_tighter() -> None:
    done = []
    for share in (0.05, 0.007, 0.005):
        engine = stopped(3, share)
        counts = engine.run()
        assert engine.settled
        assert counts[0].trials == engine.done
        done.append(engine.done)
    assert done[0] == LEAST_TRIALS < done[1] < done[2]


def test_numbers_of_the_batches() -> None:
    y = np.stack([np.arange(3 * BATCH) % BATCH, np.full(3 * BATCH, 7.0)]).astype(np.float64)
    found = batch_numbers(y, 0.95)
    assert found.shape == (3, 2, 5)
    mean, u, low, high, width = found[1, 0]
    assert mean == pytest.approx((BATCH - 1) / 2)
    assert u == pytest.approx(math.sqrt((BATCH**2 + BATCH) / 12), rel=1e-9)
    assert (low, high) == pytest.approx((0.025 * (BATCH - 1), 0.975 * (BATCH - 1)))
    assert width == round(0.95 * BATCH)
    assert np.array_equal(found[:, 1], np.tile([7.0, 0.0, 7.0, 7.0, 0.0], (3, 1)))


@pytest.mark.parametrize("column", range(5))
def test_each_number_is_judged_by_students_t(column: int) -> None:
    """The limit is t(0.975, n - 1) s / sqrt(n), for each of the five alone."""
    n = LEAST
    values = np.tile([0.0, 1.0, -2.0, 2.0, 3.9], (n, 1, 1))
    values[:, 0, column] += np.where(np.arange(n) % 2, 0.05, -0.05)
    reach = stats.t.ppf(0.975, n - 1) * np.std(values[:, 0, column], ddof=1) / math.sqrt(n)
    for allowed, enough in ((1.0001 * reach, True), (0.9999 * reach, False)):
        judge = Judge(lambda k, u, a=allowed: a, [])
        judge.add(values[:-1])
        assert not judge.enough()  # one batch too few
        judge.add(values[-1:])
        assert judge.enough() is enough
        without = Judge(lambda k, u, a=allowed: a, [0])
        without.add(values)
        assert without.enough() is (enough or column < 2)


def test_what_the_runs_are_held_against() -> None:
    """The quadrature against plain numpy, of its own stream: 4 standard errors."""
    stream = np.random.default_rng(20)
    n = 2_000_000
    sigma = math.log(2) / stats.norm.ppf(0.975)
    y = np.exp(sigma * stream.standard_normal(n)) + stream.uniform(-0.5, 0.5, n)
    u, low, high, width = exact()
    assert y.std() == pytest.approx(
        u, rel=4 * 0.7 * math.sqrt(stats.kurtosis(y) + 2) / math.sqrt(n)
    )
    for p, end in ((0.025, low), (0.975, high)):
        share = float(np.mean(y < end))
        assert abs(share - p) < 4 * math.sqrt(p * (1 - p) / n)
    y.sort()
    inside = round(0.95 * n)
    assert float((y[inside:] - y[: n - inside]).min()) == pytest.approx(width, abs=0.003)
    assert width < high - low


@pytest.mark.slow
@pytest.mark.parametrize(
    ("share", "runs", "least"),
    [
        (0.05, 400, 0.95),
        (0.036, 400, 0.95),
        (0.02, 400, 0.95),
        (0.006, 200, 0.95 - 2.33 * math.sqrt(0.95 * 0.05 / 200)),
        (0.004, 100, 0.95),
    ],
)
def test_ends_are_within_the_tolerance_often_enough(share: float, runs: int, least: float) -> None:
    """At least 95 % of the runs: each end, and the width of the shortest interval, by itself.

    Down to 0.02 u the least number of trials is enough. Below, the rule decides: it stops where
    the last number is just known to its tolerance, so that one misses in 5 % by design. At
    0.006 u the bound is therefore 2.33 standard errors (binomial) below 95 %: 1 % of false
    alarms. Of 300 other seeds the upper end held in 0.953, the width in 0.977.
    """
    u, low, high, width = exact()
    inside = np.zeros(3)
    trials = []
    for seed in range(runs):
        engine = stopped(seed, share)
        (counts,) = engine.run()
        assert engine.settled
        found = summarise(counts, 0.95, math.inf, "")
        apart = [
            found.interval.low - low,
            found.interval.high - high,
            2 * found.shortest.half_width - width,
        ]
        inside += np.abs(apart) <= share * u
        trials.append(engine.done)
    print(f"tolerance {share} u: {inside / runs}, {np.mean(trials):.0f} trials on average")
    if share < 0.01:
        assert min(trials) < max(trials)
        assert np.mean(trials) > 2 * LEAST_TRIALS
    assert np.all(inside / runs >= least), inside / runs
