"""How one result changed between two cases, and whether that shows."""

from __future__ import annotations

from dataclasses import dataclass

from effband.case.model import Output
from effband.propagate.engine import Share
from effband.propagate.staircase import Interval
from effband.propagate.summary import Summary


@dataclass(frozen=True)
class Number:
    """A number with its band, SI: as written, and from the trials."""

    nominal: float
    summary: Summary

    @property
    def value(self) -> float:
        """What stands for it: the mean, or the median where there is no variance."""
        mean = self.summary.mean
        return self.summary.median if mean is None or self.summary.no_variance else mean


@dataclass(frozen=True)
class Change:
    """How one result changed, SI.

    Attributes
    ----------
    before, after
        The outputs of both cases.
    was, now, change, ratio
        The numbers; no ratio where the one before may be 0 or is a point on a scale.
    higher, lower
        How often after is higher, and how often lower.
    by, reached
        The change that was asked about, and how often it was reached: that much or more, or
        where it is negative that much or less. None where it does not fit.
    unshared
        The band of the change if nothing were shared; None where nothing is.
    differs
        Why both are not the same number, a clause each.
    disputed
        Whether a cross-check that disagrees enters one of them.
    """

    before: Output
    after: Output
    was: Number
    now: Number
    change: Number
    ratio: Number | None
    higher: Share
    lower: Share
    by: float | None
    reached: Share | None
    unshared: Interval | None = None
    differs: tuple[str, ...] = ()
    disputed: bool = False

    @property
    def likelier(self) -> Share:
        """How often after is on the side where it mostly is."""
        return self.higher if self.higher.value >= self.lower.value else self.lower

    def shown(self, probability: float) -> bool | None:
        """Return whether the change is shown; None where the trials do not settle it."""
        return _reaches(self.likelier, (1 + probability) / 2)

    def by_shown(self, probability: float) -> bool | None:
        """Return whether the change that was asked about is shown; None where it is unsettled."""
        return None if self.reached is None else _reaches(self.reached, probability)

    @property
    def overlaps(self) -> bool:
        """Whether the bands before and after overlap."""
        one, other = self.was.summary.interval, self.now.summary.interval
        return one.low <= other.high and other.low <= one.high


def _reaches(share: Share, asked: float) -> bool | None:
    if abs(share.value - asked) < 2 * share.simulation_uncertainty:
        return None
    return share.value > asked
