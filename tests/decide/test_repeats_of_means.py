"""Means of runs after more repeats of a group whose scatter is seen, against closed forms."""

from __future__ import annotations

import math
import textwrap

import numpy as np
import pytest
from scipy import stats

from effband.case.model import Case
from effband.case.resolve import understand
from effband.case.text import parse_case
from effband.decide.common_draws import CommonDraws
from effband.decide.plan import plan
from effband.decide.repeats import with_endless_repeats, with_repeats
from effband.propagate.linear import propagate_linearly
from effband.propagate.variants import half_widths_of
from effband.report.plan import screen

Z = float(stats.norm.ppf(0.975))
U = 1 / math.sqrt(3)  # of +- 1
TRIALS = 262_144
ALLOWED = 0.01  # of a half-width: four simulation uncertainties at so many trials

GROUP = """
    runs:
      readings: {p: {unit: W, plus_minus: 1 W}}
      rows: {a1: {p: 10}, a2: {p: 10.5}, a3: {p: 10.2}}
      groups: {a: [a1, a2, a3]}
    results: {m: {formula: mean_of_runs(p), unit: W}, y: {formula: p, unit: W}}
    """


def case_of(text: str) -> Case:
    text = "effband: 1\ntitle: invented for a test\n" + textwrap.dedent(text)
    return understand(parse_case(text.encode(), "case.yaml"))


def half(case: Case, result: str, run: str | None = None) -> float:
    (at,) = [k for k, o in enumerate(case.outputs) if (o.target.name, o.run) == (result, run)]
    return half_widths_of(case, [at], 1, 0.95, TRIALS)[0]


def u_of(case: Case, result: str) -> float:
    at = [output.target.name for output in case.outputs].index(result)
    found = propagate_linearly(case, 0.95)[at].standard_uncertainty
    assert found is not None
    return found


@pytest.mark.parametrize("number", [12, 30])
def test_a_mean_of_runs_is_as_if_the_group_had_the_rows(number: int) -> None:
    # the mean of n errors of +- 1 W each, from numpy; beside it a case that has the rows
    rng = np.random.default_rng(number)
    means = rng.uniform(-1, 1, (200_000, number)).mean(axis=1)
    exact = float(np.subtract(*np.quantile(means, [0.975, 0.025]))) / 2
    done = with_repeats(case_of(GROUP), None, number)
    assert half(done, "m") == pytest.approx(exact, rel=ALLOWED)
    assert u_of(done, "m") == pytest.approx(U / math.sqrt(number), rel=1e-9)
    rows = ", ".join(f"a{k:02}: {{p: 10}}" for k in range(number))
    names = ", ".join(f"a{k:02}" for k in range(number))
    text = GROUP.replace("a1: {p: 10}, a2: {p: 10.5}, a3: {p: 10.2}", rows)
    many = case_of(text.replace("[a1, a2, a3]", f"[{names}]"))
    assert half(done, "m") == pytest.approx(half(many, "m"), rel=ALLOWED)


def test_fewer_runs_than_there_are_widen_a_mean() -> None:
    # u of the mean of two; the band is a normal one, 3 % wide of the true triangle's
    done = with_repeats(case_of(GROUP), None, 2)
    assert u_of(done, "m") == pytest.approx(U / math.sqrt(2), rel=1e-9)
    assert half(done, "m") == pytest.approx(Z * U / math.sqrt(2), rel=ALLOWED)


def test_the_group_and_its_runs_are_treated_as_before() -> None:
    case = case_of(GROUP)
    done = with_repeats(case, None, 12)
    for run in ("a1", "a2", "a3"):
        assert half(done, "y", run) == half(case, "y", run)
    # the scatter that was seen, known from twelve: s t(11)/sqrt(12)
    s = float(np.std([10, 10.5, 10.2], ddof=1))
    exact = s * float(stats.t.ppf(0.975, 11)) / math.sqrt(12)
    assert half(done, "y", "a") == pytest.approx(exact, rel=ALLOWED)


def test_a_result_that_is_one_run_and_that_run_are_told_apart() -> None:
    # both are the same value of the case: only the result of the whole case gains
    case = case_of(GROUP.replace("mean_of_runs(p)", "'in_run(p, a1)'"))
    assert half(case, "m") == half(case, "y", "a1")
    done = with_repeats(case, "a", 12)
    assert half(done, "y", "a1") == half(case, "y", "a1")
    assert half(done, "m") == pytest.approx(Z * U / 2, rel=ALLOWED)  # 4 times what it was


def test_as_many_as_there_are_change_nothing() -> None:
    case = case_of(GROUP)
    assert half(with_repeats(case, None, 3), "m") == half(case, "m")


def test_endless_repeats_leave_what_runs_share() -> None:
    off = "inputs: {off: {value: 0 W, plus_minus: 0.2 W}}\n    runs:"
    text = GROUP.replace("runs:", off, 1)
    case = case_of(text.replace("mean_of_runs(p)", "mean_of_runs(p) + off"))
    assert half(with_endless_repeats(case, None), "m") == pytest.approx(0.95 * 0.2, rel=ALLOWED)
    assert half(with_endless_repeats(case_of(GROUP), None), "m") == 0.0


def test_a_pooled_scatter_is_seen_as_well() -> None:
    text = """
        runs:
          readings: {p: {unit: W, plus_minus: 1 W}}
          rows: {a1: {p: 10}, a2: {p: 11}, b1: {p: 20}, b2: {p: 21}}
          groups: {a: [a1, a2], b: [b1, b2]}
          pool: true
        results: {m: {formula: mean_of_runs(p), unit: W}, y: {formula: p, unit: W}}
        """
    case = case_of(text)
    assert u_of(with_repeats(case, None, 8), "m") == pytest.approx(U / 4, rel=1e-9)
    # one group alone eight times: its half of the mean has 8 of 8, the other's 2
    some = math.sqrt(U**2 / 8 + U**2 / 2) / 2
    assert u_of(with_repeats(case, "a", 8), "m") == pytest.approx(some, rel=1e-9)


def test_a_plan_tells_how_many_runs_a_mean_takes() -> None:
    case = case_of(GROUP)
    found = plan(case, case.outputs[0], "0.3 W", CommonDraws(1, 0.95))
    assert found.repeats is not None
    # the least n with Z U/sqrt(n) <= 0.3 is (1.96 * 0.577/0.3)^2 = 14.2, so 15
    assert found.repeats.least == math.ceil((Z * U / 0.3) ** 2) == 15
    assert found.repeats.floor == 0.0
    assert found.repeats.there == (3,)
    assert "change nothing" not in screen(found)
