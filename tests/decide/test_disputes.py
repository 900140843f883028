"""Cross-checks that disagree, as the decisions see them: the same as a run says of them."""

from __future__ import annotations

from dataclasses import replace

import pytest
from scipy import stats

from effband import study
from effband.case.model import Case
from effband.case.resolve import understand
from effband.case.text import parse_case
from effband.decide.compare import compare
from effband.decide.cross_checks import failing_cross_checks
from effband.decide.pairs import pairs_of

Z = float(stats.norm.ppf(0.975))
TRIALS = 200_000

# Two ways to a flow, of which only the first makes the result.
MILL = """\
effband: 1
title: a mill
inputs:
  bucket: {value: 4.0 L/s, standard_uncertainty: 0.1 L/s}
  weir: {value: WEIR L/s, standard_uncertainty: 0.1 L/s}
  work: {value: 30, standard_uncertainty: 0.3}
formulas: {one: bucket, other: weir}
results:
  y: {formula: work / one, unit: s/L}
  z: {formula: work, unit: 1, is: ratio}
cross_checks: {flow: [one, other], same: {between: [one, other], combine: weighted, anyway: true}}
"""


def mill(weir: float) -> Case:
    case = understand(parse_case(MILL.replace("WEIR", str(weir)).encode(), "case.yaml"))
    return replace(case, settings=replace(case.settings, trials=TRIALS))


def test_they_are_those_of_a_run() -> None:
    """The difference is normal about 1 L/s with 0.1 * sqrt(2)."""
    case = mill(5.0)
    found = failing_cross_checks(case, case.settings, workers=2)
    told = [each for each in study.run(case, workers=2).cross_checks if each.disagrees]
    assert [each.check.name for each in found] == ["flow", "same"]
    assert [each.pairs for each in found] == [each.pairs for each in told]
    (pair,) = found[0].pairs
    half = Z * 0.1e-3 * 2**0.5
    assert pair.interval.low == pytest.approx(-1e-3 - half, abs=0.02 * half)
    assert pair.interval.high == pytest.approx(-1e-3 + half, abs=0.02 * half)


def test_nothing_fails_where_they_agree() -> None:
    case = mill(4.1)
    assert failing_cross_checks(case, case.settings) == ()


@pytest.mark.parametrize(("was", "now"), [(5.0, 4.1), (4.1, 5.0), (5.0, 5.0), (4.1, 4.1)])
def test_a_change_is_disputed_where_either_case_is(was: float, now: float) -> None:
    before, after = mill(was), mill(now)
    found = compare(before, after, pairs_of(before, after), before.settings)
    disputed = {change.before.target.name: change.disputed for change in found.changes}
    assert disputed == {"y": 5.0 in (was, now), "z": False}
    assert [bool(each) for each in found.failing] == [was == 5.0, now == 5.0]
