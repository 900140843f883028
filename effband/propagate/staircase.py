"""Counts as a distribution: quantiles, and the shortest interval.

Ends come from the bins by linear interpolation; a bin is about 1/800 of the standard
uncertainty, which bounds the error of every end.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from effband.propagate.counting import BINS, Counts


@dataclass(frozen=True)
class Interval:
    """The two ends of an interval."""

    low: float
    high: float

    @property
    def half_width(self) -> float:
        """Half the distance between the ends."""
        return (self.high - self.low) / 2


class Staircase:
    """The distribution that counts make: cumulative counts at the edges of the bins.

    Bins without a trial below the first and above the last are left out.
    """

    def __init__(self, total: npt.NDArray[np.integer], counts: Counts) -> None:
        filled = np.flatnonzero(total)
        first, last = int(filled[0]), int(filled[-1])
        edges = counts.low + counts.width * np.arange(first - 1, last + 1, dtype=np.float64)
        edges[0], edges[-1] = max(edges[0], counts.smallest), min(edges[-1], counts.largest)
        if first == 0:
            edges[0] = counts.smallest
        if last == BINS + 1:
            edges[-1] = counts.largest
        self.edges = edges
        self.cumulative = np.concatenate(
            [[0.0], np.cumsum(total[first : last + 1], dtype=np.float64)]
        )

    def quantiles(self, p: list[float]) -> list[float]:
        """Return the values below which shares of the trials lie."""
        wanted = np.array(p) * self.cumulative[-1]
        return [float(x) for x in np.interp(wanted, self.cumulative, self.edges)]

    def share_below(self, value: float) -> float:
        """Return the share of the trials below a value."""
        return float(np.interp(value, self.edges, self.cumulative)) / float(self.cumulative[-1])

    def shortest(self, probability: float) -> Interval:
        """Return the narrowest interval that holds the probability.

        The width as a function of the lower tail is flat near its least, so a cubic through
        the neighbourhood places the least better than the least itself.
        """
        share = self.cumulative / self.cumulative[-1]
        most = 1 - probability
        lower = share[: int(np.searchsorted(share, most, "right"))]
        lower = lower[np.append(np.diff(lower) > 0.0, True)]  # empty bins repeat a value
        if lower[-1] < most:
            lower = np.append(lower, most)
        widths = np.interp(lower + probability, share, self.edges)
        widths -= np.interp(lower, share, self.edges)
        best = float(lower[int(np.argmin(widths))])
        near = np.abs(lower - best) <= 0.1 * most
        if 0.0 < best < most and near.sum() > 20:
            centred = lower[near] - best
            scale = float(np.max(np.abs(centred)))
            cubic = np.linalg.lstsq(np.vander(centred / scale, 4), widths[near])[0]
            grid = np.linspace(centred[0] / scale, centred[-1] / scale, 201)
            best += scale * float(grid[int(np.argmin(np.polyval(cubic, grid)))])
        low, high = np.interp([best, best + probability], share, self.edges)
        return Interval(float(low), float(high))

    def quantile_error(self, p: float) -> float:
        """Return sqrt(p(1-p)/n)/f: the standard error of a quantile, f from the bins nearby."""
        reach = 0.2 * min(p, 1 - p)
        below, above = self.quantiles([p - reach, p + reach])
        return math.sqrt(p * (1 - p) / self.cumulative[-1]) * (above - below) / (2 * reach)
