"""From counts to a band: moments, both kinds of interval, and how well the simulation knows them.

JCGM 101:2008 clause 7 (from memory): the probabilistically symmetric interval leaves equal
probability on each side, the shortest one is the narrowest that holds the probability. Ends
come from the bins by linear interpolation; a bin is about 1/800 of the standard uncertainty,
which bounds the error of every end.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from effband.evidence.tables import FloatArray
from effband.propagate.engine import BINS, Counts

LARGEST_SHARE = 0.02  # of one trial in the sum of squares, beyond which no variance is believed
LARGEST_SPREAD = 0.1  # relative, of the standard deviation from lane to lane
LANES_FOR_TAIL_TEST = 8
SHADES = 60


@dataclass(frozen=True)
class Interval:
    """The two ends of an interval."""

    low: float
    high: float

    @property
    def half_width(self) -> float:
        """Half the distance between the ends."""
        return (self.high - self.low) / 2


@dataclass(frozen=True)
class SimulationUncertainty:
    """One standard uncertainty of the simulation, for each number; None where there is none."""

    mean: float | None
    standard_uncertainty: float | None
    median: float
    low: float
    high: float
    shortest_low: float
    shortest_high: float


@dataclass(frozen=True)
class Summary:
    """What the trials say of one output, in SI units.

    `mean` and `standard_uncertainty` are None where they do not exist. `density` is for
    pictures: edges of `SHADES` slices over the middle 99.8 %, and the share of trials per width.
    """

    mean: float | None
    standard_uncertainty: float | None
    median: float
    interval: Interval
    shortest: Interval
    simulation: SimulationUncertainty
    beyond_ceiling: float
    varies: bool
    no_variance: str | None
    density: tuple[FloatArray, FloatArray]
    two_groups: bool = False


def summarise(counts: Counts, probability: float, degrees_of_freedom: float, why: str) -> Summary:
    """Return the summary of one output.

    Parameters
    ----------
    counts
        From the engine.
    probability
        Of both intervals.
    degrees_of_freedom
        The fewest of any source that the output depends on; infinity where none has any.
    why
        Name of that source, for the reason why there is no variance.
    """
    n = counts.trials
    m1, m2, m3, m4 = (total / n for total in counts.power_sums)
    mean = counts.shift + m1 * counts.scale
    variance = max(m2 - m1 * m1, 0.0)
    u = math.sqrt(variance * n / (n - 1)) * counts.scale
    fourth = m4 - 4 * m1 * m3 + 6 * m1 * m1 * m2 - 3 * m1**4
    beyond = counts.above_ceiling / n
    if not counts.varies:
        point = Interval(counts.shift, counts.shift)
        nothing = (np.zeros(1), np.zeros(0))
        none = SimulationUncertainty(0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0)
        return Summary(
            counts.shift, 0.0, counts.shift, point, point, none, beyond, False, None, nothing
        )
    total = counts.batches.sum(axis=0, dtype=np.int64)
    ends = _quantiles(total, counts, [(1 - probability) / 2, 0.5, (1 + probability) / 2])
    errors = [_quantile_error(total, counts, p, n) for p in ((1 - probability) / 2, 0.5)]
    errors.append(_quantile_error(total, counts, (1 + probability) / 2, n))
    shortest = _shortest(total, counts, probability)
    shortest_error = _shortest_error(counts, probability)
    density = _density(total, counts)
    no_variance = _no_variance(counts, degrees_of_freedom, why)
    spread_of_u = math.sqrt(max(fourth / variance - variance, 0.0) / n) / 2
    se_u: float | None = spread_of_u * counts.scale
    if degrees_of_freedom <= 4 or no_variance is not None:
        se_u = None
    has_mean = degrees_of_freedom > 1
    return Summary(
        mean=mean if has_mean else None,
        standard_uncertainty=None if no_variance else u,
        median=ends[1],
        interval=Interval(ends[0], ends[2]),
        shortest=shortest,
        simulation=SimulationUncertainty(
            mean=None if no_variance else u / math.sqrt(n),
            standard_uncertainty=se_u,
            median=errors[1],
            low=errors[0],
            high=errors[2],
            shortest_low=shortest_error[0],
            shortest_high=shortest_error[1],
        ),
        beyond_ceiling=beyond,
        varies=True,
        no_variance=no_variance,
        density=density,
        two_groups=_two_groups(density[1]),
    )


def _density(total: np.ndarray, counts: Counts) -> tuple[FloatArray, FloatArray]:
    low, high = _quantiles(total, counts, [0.001, 0.999])
    if not low < high:  # it varies, but more seldom than that
        return np.array([low]), np.zeros(0)
    edges = np.linspace(low, high, SHADES + 1)
    inside = np.diff(np.interp(edges, _edges(counts), _cumulative(total)))
    return edges, inside / (edges[1] - edges[0]) / counts.trials


def half_width(counts: Counts, probability: float) -> float:
    """Return half the width of the symmetric interval alone."""
    if not counts.varies:
        return 0.0
    total = counts.batches.sum(axis=0, dtype=np.int64)
    low, high = _quantiles(total, counts, [(1 - probability) / 2, (1 + probability) / 2])
    return (high - low) / 2


def _edges(counts: Counts) -> FloatArray:
    inside = counts.low + counts.width * np.arange(BINS + 1)
    ends = (min(counts.smallest, inside[0]), max(counts.largest, inside[-1]))
    return np.concatenate([[ends[0]], inside, [ends[1]]])


def _cumulative(total: np.ndarray) -> FloatArray:
    return np.concatenate([[0.0], np.cumsum(total, dtype=np.float64)])


def _quantiles(total: np.ndarray, counts: Counts, p: list[float]) -> list[float]:
    cumulative = _cumulative(total)
    wanted = np.array(p) * cumulative[-1]
    found = np.interp(wanted, cumulative, _edges(counts))
    return [float(x) for x in np.clip(found, counts.smallest, counts.largest)]


def _quantile_error(total: np.ndarray, counts: Counts, p: float, n: int) -> float:
    """Return sqrt(p(1-p)/n)/f: the standard error of a quantile, f from the bins nearby."""
    reach = 0.2 * min(p, 1 - p)
    below, above = _quantiles(total, counts, [p - reach, p + reach])
    return math.sqrt(p * (1 - p) / n) * (above - below) / (2 * reach)


def _shortest(total: np.ndarray, counts: Counts, probability: float) -> Interval:
    """Return the narrowest interval that holds the probability.

    The width as a function of the lower tail is flat near its least, so a cubic through the
    neighbourhood places the least better than the least itself.
    """
    cumulative = _cumulative(total) / total.sum()
    edges = np.clip(_edges(counts), counts.smallest, counts.largest)
    lower = np.unique(cumulative[cumulative <= 1 - probability])  # empty bins repeat a value
    if lower[-1] < 1 - probability:
        lower = np.append(lower, 1 - probability)
    low = np.interp(lower, cumulative, edges)
    high = np.interp(lower + probability, cumulative, edges)
    widths = high - low
    best = float(lower[int(np.argmin(widths))])
    near = np.abs(lower - best) <= 0.1 * (1 - probability)
    if 0.0 < best < 1 - probability and near.sum() > 20:
        centred = lower[near] - best
        scale = float(np.max(np.abs(centred)))
        cubic = np.polynomial.Polynomial.fit(centred / scale, widths[near], 3, [-1, 1])
        grid = np.linspace(centred.min() / scale, centred.max() / scale, 201)
        best += scale * float(grid[int(np.argmin(cubic(grid)))])
    ends = np.interp([best, best + probability], cumulative, edges)
    return Interval(float(ends[0]), float(ends[1]))


def _shortest_error(counts: Counts, probability: float) -> tuple[float, float]:
    """Return the standard errors of the ends, from the batches.

    The ends of a shortest interval settle like n**(-1/3), so the scatter of the batches is
    brought to all trials with that power.
    """
    batches = counts.batches.astype(np.int64)
    found = [_shortest(batch, counts, probability) for batch in batches]
    shrink = len(found) ** (-1 / 3)
    return (
        float(np.std([f.low for f in found], ddof=1)) * shrink,
        float(np.std([f.high for f in found], ddof=1)) * shrink,
    )


def _two_groups(density: FloatArray) -> bool:
    """Return whether a density has a valley: under half of the lower of two peaks beside it."""
    if len(density) == 0:
        return False
    smooth = np.convolve(density, np.ones(5) / 5, mode="valid")
    left = np.maximum.accumulate(smooth)
    right = np.maximum.accumulate(smooth[::-1])[::-1]
    valley = smooth < 0.5 * np.minimum(left, right)
    share = np.cumsum(smooth) / max(float(smooth.sum()), 1e-300)
    return bool(np.any(valley & (share > 0.05) & (share < 0.95)))


def _no_variance(counts: Counts, degrees_of_freedom: float, why: str) -> str | None:
    """Return why the output has no variance, or None when it has one."""
    if degrees_of_freedom <= 2:
        number = f"{degrees_of_freedom:g}"
        return f"{why} has {number} degree{'s' * (number != '1')} of freedom, so no variance exists"
    lanes = counts.lanes
    full = lanes[lanes[:, 1] > 0]
    if len(full) < LANES_FOR_TAIL_TEST or counts.trials < 8 * 8192:
        return None
    total, largest = float(full[:, 1].sum()), float(full[:, 2].max())
    deviations = np.sqrt(full[:, 1])
    spread = float(np.std(deviations) / np.mean(deviations))
    if largest > LARGEST_SHARE * total or spread > LARGEST_SPREAD:
        return "its tails are so long that the standard deviation does not settle"
    return None
