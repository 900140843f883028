"""Published rules that need no case: a function of the package on the printed numbers."""

from __future__ import annotations

import pytest

from effband.propagate.linear import agreement
from effband.propagate.summary import Interval

# JCGM 101:2008, 9.3, table 6, from memory: shortest interval of the trials, and the intervals of
# the law of propagation with terms of first order and with terms of second order, in mg. The
# standard uncertainty 0.0754 mg with one digit has the tolerance 0.005 mg.
TRIALS = Interval(1.0834, 1.3825)
FIRST_ORDER = Interval(1.1285, 1.3395)
SECOND_ORDER = Interval(1.0870, 1.3810)
NO_ERRORS = (0.0, 0.0)
TOLERANCE = 0.005


@pytest.mark.parametrize(("law", "valid"), [(FIRST_ORDER, False), (SECOND_ORDER, True)])
def test_verdict_on_the_law_of_propagation(law: Interval, valid: bool) -> None:
    assert agreement(law, TRIALS, NO_ERRORS, TOLERANCE) is valid


@pytest.mark.parametrize(
    ("law", "end", "printed"),
    [
        (FIRST_ORDER, "low", 0.0451),
        (FIRST_ORDER, "high", 0.0430),
        (SECOND_ORDER, "low", 0.0036),
        (SECOND_ORDER, "high", 0.0015),
    ],
)
def test_distance_of_one_end(law: Interval, end: str, printed: float) -> None:
    """The verdict turns where the tolerance passes the printed distance of the ends."""
    low, high = TRIALS.low, TRIALS.high
    one_end = Interval(law.low, high) if end == "low" else Interval(low, law.high)
    assert agreement(one_end, TRIALS, NO_ERRORS, printed + 1e-9) is True
    assert agreement(one_end, TRIALS, NO_ERRORS, printed - 1e-9) is False
