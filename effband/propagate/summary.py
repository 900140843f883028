"""From counts to a band: moments, both kinds of interval, and how well the simulation knows them.

JCGM 101:2008 clause 7 (from memory): the probabilistically symmetric interval leaves equal
probability on each side, the shortest one is the narrowest that holds the probability.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from effband.evidence.tables import FloatArray
from effband.propagate.counting import BINS, Counts
from effband.propagate.staircase import Interval, Staircase

LARGEST_SHARE = 0.02  # of one trial in the sum of squares, beyond which no variance is believed
LARGEST_SPREAD = 0.1  # relative, of the standard deviation from lane to lane
LANES_FOR_TAIL_TEST = 8
SHADES = 60
DOTS = 50  # quantiles kept for pictures


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
    So are `dots`: the quantiles at (i - 0.5) / `DOTS`, equally likely outcomes in rising order.
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
    dots: tuple[float, ...] = ()


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
    if not counts.varies:
        return _constant(counts)
    mean, u = _moments(counts.sums.sum(axis=0), counts.trials, counts)
    tail = (1 - probability) / 2
    staircase = Staircase(counts.total, counts)
    ends = staircase.quantiles([tail, 0.5, 1 - tail])
    shortest = staircase.shortest(probability)
    density = _density(staircase, counts.trials)
    no_variance = _no_variance(counts, degrees_of_freedom, why)
    if counts.replicated:
        errors = _between_scramblings(counts, probability)
    else:
        errors = _within_sample(counts, staircase, probability, u)
    if no_variance is not None:
        errors = replace(errors, mean=None)
    if degrees_of_freedom <= 4 or no_variance is not None:
        errors = replace(errors, standard_uncertainty=None)
    return Summary(
        mean=mean if degrees_of_freedom > 1 else None,
        standard_uncertainty=None if no_variance else u,
        median=ends[1],
        interval=Interval(ends[0], ends[2]),
        shortest=shortest,
        simulation=errors,
        beyond_ceiling=counts.above_ceiling / counts.trials,
        varies=True,
        no_variance=no_variance,
        density=density,
        two_groups=_two_groups(density[1]),
        dots=tuple(staircase.quantiles([(i + 0.5) / DOTS for i in range(DOTS)])),
    )


def _constant(counts: Counts) -> Summary:
    point = Interval(counts.shift, counts.shift)
    return Summary(
        mean=counts.shift,
        standard_uncertainty=0.0,
        median=counts.shift,
        interval=point,
        shortest=point,
        simulation=SimulationUncertainty(0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0),
        beyond_ceiling=counts.above_ceiling / counts.trials,
        varies=False,
        no_variance=None,
        density=(np.zeros(1), np.zeros(0)),
        dots=(counts.shift,) * DOTS,
    )


def half_width(counts: Counts, probability: float) -> float:
    """Return half the width of the symmetric interval alone."""
    if not counts.varies:
        return 0.0
    tail = (1 - probability) / 2
    low, high = Staircase(counts.total, counts).quantiles([tail, 1 - tail])
    return (high - low) / 2


def _moments(sums: FloatArray, trials: int, counts: Counts) -> tuple[float, float]:
    """Return mean and standard deviation from the two sums."""
    first, second = (float(total) / trials for total in sums)
    variance = max(second - first * first, 0.0)
    if not counts.replicated:  # the mean of evenly spread points hardly varies by itself
        variance *= trials / (trials - 1)
    return counts.shift + first * counts.scale, math.sqrt(variance) * counts.scale


def _within_sample(
    counts: Counts, staircase: Staircase, probability: float, u: float
) -> SimulationUncertainty:
    """Return what independent trials leave open."""
    n, tail = counts.trials, (1 - probability) / 2
    low, median, high = (staircase.quantile_error(p) for p in (tail, 0.5, 1 - tail))
    # the fourth moment decides how well u is known; the bins give it well enough
    total, middle = counts.total, (_middles(counts) - counts.shift) / counts.scale
    apart = (middle - float(np.sum(total * middle)) / n) ** 2
    second, fourth = (float(np.sum(total * apart**k)) / n for k in (1, 2))
    spread_of_u = u * math.sqrt(max(fourth / second**2 - 1, 0.0) / n) / 2
    shortest = _shortest_error(counts, probability)
    return SimulationUncertainty(u / math.sqrt(n), spread_of_u, median, low, high, *shortest)


def _between_scramblings(counts: Counts, probability: float) -> SimulationUncertainty:
    """Return what the scatter of independent scramblings leaves open.

    With so few scramblings an interval takes Student's t; what is returned is one standard
    uncertainty.
    """
    tail = (1 - probability) / 2
    found = []
    for batch, sums in zip(counts.batches, counts.sums, strict=True):
        staircase = Staircase(batch, counts)
        low, median, high = staircase.quantiles([tail, 0.5, 1 - tail])
        shortest = staircase.shortest(probability)
        moments = _moments(sums, int(batch.sum()), counts)
        found.append((*moments, median, low, high, shortest.low, shortest.high))
    scatter = np.std(np.array(found), axis=0, ddof=1) / math.sqrt(len(found))
    return SimulationUncertainty(*(float(x) for x in scatter))


def _density(staircase: Staircase, trials: int) -> tuple[FloatArray, FloatArray]:
    low, high = staircase.quantiles([0.001, 0.999])
    if not low < high:  # it varies, but more seldom than that
        return np.array([low]), np.zeros(0)
    edges = np.linspace(low, high, SHADES + 1)
    inside = np.diff(np.interp(edges, staircase.edges, staircase.cumulative))
    return edges, inside / (edges[1] - edges[0]) / trials


def _middles(counts: Counts) -> FloatArray:
    """Return the middle of every bin; what lies outside all of them counts at the extremes."""
    inside = counts.low + counts.width * (np.arange(BINS) + 0.5)
    return np.concatenate([[counts.smallest], inside, [counts.largest]])


def _shortest_error(counts: Counts, probability: float) -> tuple[float, float]:
    """Return the standard errors of the ends, from the batches.

    The ends of a shortest interval settle like n**(-1/3), so the scatter of the batches is
    brought to all trials with that power.
    """
    found = [Staircase(batch, counts).shortest(probability) for batch in counts.batches]
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
