"""What an upgrade does to the value itself: it may move inside its band, and not beyond.

An upgrade is to make a number better known. One that moves it out of its band gives another
number: mostly something that was read with the old thing was left as it was.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

from effband.case.as_written import values_as_written
from effband.case.formula import names_in, parse_formula
from effband.case.model import Case
from effband.decide.common_draws import Key, key_of
from effband.propagate.counting import Counts
from effband.propagate.staircase import Interval, Staircase

SAME = 1e-9  # relative, within which a value counts as the same


@dataclass(frozen=True)
class Moved:
    """An output as written, now and then, and its band now; SI."""

    now: float
    then: float
    band: Interval

    @property
    def beyond(self) -> bool:
        """Whether it leaves the band; what has no spread has none to leave."""
        inside = self.band.low <= self.then <= self.band.high
        return self.band.low < self.band.high and not inside


def moved(case: Case, changed: Case, key: Key, counts: Counts, probability: float) -> Moved | None:
    """Return how a change moves an output, None where its value stays.

    Parameters
    ----------
    case, changed
        Before and after; both have the output.
    key
        Which output.
    counts
        Of the output before.
    probability
        Of its band.
    """
    now, then = (_as_written(each, key) for each in (case, changed))
    if abs(then - now) <= SAME * abs(now):
        return None
    band = Interval(counts.shift, counts.shift)
    if counts.varies:
        tail = (1 - probability) / 2
        band = Interval(*Staircase(counts.total, counts).quantiles([tail, 1 - tail]))
    return Moved(now, then, band)


def _as_written(case: Case, key: Key) -> float:
    step = next(output.step for output in case.outputs if key_of(output) == key)
    return values_as_written(case, [step])[0]


def read_beside(case: Case, names: Collection[str]) -> tuple[str, ...]:
    """Return the numbers given that stand in one formula with others, in the order of the case.

    They may have been read with these, as the time to fill a bucket was.
    """
    given = {leaf.name for leaf in case.leaves if leaf.components}
    texts = [text for _, text, _ in case.formulas] + [target.formula for target in case.targets]
    found: set[str] = set()
    for used in (names_in(parse_formula(text)) for text in texts):
        if used & set(names):
            found |= used & given
    order = dict.fromkeys(leaf.name for leaf in case.leaves)
    return tuple(name for name in order if name in found - set(names))
