"""Runs that stop by themselves: JCGM 101:2008 7.9 with the corrections said in `adaptive.py`."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy import stats
from workbench import WREN, case_of, results

from effband.case.resolve import load_case
from effband.propagate.adaptive import BATCH, LEAST, LEAST_TRIALS, Judge, batch_numbers
from effband.propagate.engine import Engine
from effband.propagate.summary import summarise
from effband.report.machine import document
from effband.study import run, with_options

SKEWED = case_of(
    "inputs:\n  a: {value: 1, within_factor: 2}\n  b: {value: 0, plus_minus: 0.5}\n",
    results(y="a + b"),
)


def exact() -> tuple[float, float, float]:
    """Return u and the two ends of SKEWED's 95 % interval, by quadrature over the lognormal."""
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
    return math.sqrt(variance), quantile(0.025), quantile(0.975)


def stopped(seed: int, share: float, most: int = 10_000_000) -> Engine:
    """Return the engine after a run that stops at a tolerance of a share of u."""
    judge = Judge(lambda _, u: share * u, [], 0.95)
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


def test_more_digits_take_more_trials() -> None:
    """u = 0.385: half a digit is 0.05 with one digit, 0.005 with two: 0.013 u."""
    found = []
    for digits in (1, 2):
        settings = with_options(SKEWED.settings, adaptive=True)
        study = run(SKEWED, replace(settings, digits=digits))
        found.append(study.settings.trials)
        assert not any("were not enough" in remark.what for remark in study.remarks)
    assert found[0] == LEAST_TRIALS
    assert found[1] >= found[0]


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
    values[:, 0, column] += np.where(np.arange(n) % 2, 0.1, -0.1)
    reach = stats.t.ppf(0.975, n - 1) * np.std(values[:, 0, column], ddof=1) / math.sqrt(n)
    for allowed, enough in ((1.0001 * reach, True), (0.9999 * reach, False)):
        judge = Judge(lambda k, u, a=allowed: a, [], 0.95)
        judge.add(values[:-1])
        assert not judge.enough()  # one batch too few
        judge.add(values[-1:])
        assert judge.enough() is enough
        without = Judge(lambda k, u, a=allowed: a, [0], 0.95)
        without.add(values)
        assert without.enough() is (enough or column < 2)


@pytest.mark.slow
@pytest.mark.parametrize(("share", "runs"), [(0.05, 400), (0.036, 400), (0.02, 400), (0.004, 100)])
def test_ends_are_within_the_tolerance_often_enough(share: float, runs: int) -> None:
    """At least 95 % of the runs, each end by itself."""
    u, low, high = exact()
    inside = np.zeros(2)
    trials = []
    for seed in range(runs):
        engine = stopped(seed, share)
        (counts,) = engine.run()
        found = summarise(counts, 0.95, math.inf, "").interval
        inside += [abs(found.low - low) <= share * u, abs(found.high - high) <= share * u]
        trials.append(engine.done)
    print(f"tolerance {share} u: {inside / runs}, {np.mean(trials):.0f} trials on average")
    assert np.all(inside / runs >= 0.95)
