"""How likely an upgrade is to settle a claim.

With better means the values will move, since they err today by more than they will then: by
normal shifts whose covariance is what theirs is now less what it is then. So what runs share
moves them together, and what is each run's own apart. The claim is settled where the trials of
the better case, moved so, support or contradict it by the usual rule, in all its results at once.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
from scipy import special

from effband.case.claims import ROUNDING, TINY
from effband.case.model import Case, Claim
from effband.decide.claims import DOUBTFUL, IMPOSSIBLE, counted_again, events_of, near
from effband.decide.common_draws import CommonDraws, Key, key_of
from effband.evidence.tables import FloatArray
from effband.propagate import streams
from effband.propagate.counting import Counts
from effband.propagate.engine import Engine, Event, Share
from effband.propagate.staircase import Staircase
from effband.propagate.summary import half_width
from effband.propagate.variants import values_of

SHIFTS = 4_001
JOINT_SHIFTS, JOINT_TRIALS = 1_024, 32_768  # where a claim is about several results
AT_ONCE = 16  # shifts, whose trials so stay in the cache
LEAST_DEGREES = 2  # of freedom, up to which there is no variance

Bools = npt.NDArray[np.bool_]


@dataclass(frozen=True)
class Chance:
    """How likely one upgrade is to get a claim supported, or contradicted."""

    claim: Claim
    supported: float
    contradicted: float

    @property
    def settled(self) -> float:
        """How likely it is to get it settled at all."""
        return self.supported + self.contradicted


def chance(
    claim: Claim,
    case: Case,
    changed: Case,
    now: Mapping[Key, Counts],
    then: Mapping[Key, Counts],
    draws: CommonDraws,
) -> Chance | None:
    """Return how likely a change is to settle a claim, None where it has no such results.

    Parameters
    ----------
    case, changed
        Before and after.
    now, then
        Counts of the claim's outputs, by key, before and after.
    draws
        Seed and trials; the probability of its bands, whose half-width tells the spread where no
        variance does.
    """
    keys = [key_of(case.outputs[at]) for at in claim.outputs]
    if any(key not in then for key in keys):
        return None
    counts = [then[key] for key in keys]
    before = np.array([_spread(case, key, now[key], draws.probability) for key in keys])
    after = np.array([_spread(changed, key, then[key], draws.probability) for key in keys])
    low, high = _limits(claim)
    if len(keys) == 1:
        scores = special.ndtri((np.arange(SHIFTS) + 0.5) / SHIFTS)
        shifts = scores * math.sqrt(max(before[0] ** 2 - after[0] ** 2, 0.0))
        below, above = _below(counts[0], low - shifts), 1.0 - _below(counts[0], high - shifts)
        outside = below + above
    else:
        was, values = _values(case, keys, draws.seed), _values(changed, keys, draws.seed)
        more = _covariance(was, before) - _covariance(values, after)
        below, above, outside = _beyond(low, high, values, _joint_shifts(more, draws.seed))
    beyond = max(each.above_ceiling / each.trials for each in counts)
    supported = (1.0 - outside >= claim.confidence) & (beyond < DOUBTFUL)
    contradicted = (below >= claim.confidence) | (above >= claim.confidence)
    return Chance(
        claim, float(np.mean(supported)), float(np.mean(contradicted & (beyond < IMPOSSIBLE)))
    )


def unsettled(case: Case, counts: Mapping[Key, Counts], draws: CommonDraws) -> Sequence[Claim]:
    """Return the claims that are not settled as things are.

    They are counted as a run of the case counts them, in as many trials as `draws` has; a share
    too near its threshold is counted again in more, as there.

    Parameters
    ----------
    counts
        Of the outputs that claims are about, by key.
    draws
        Seed and trials.

    Raises
    ------
    ComputationRefused
        When the run is stopped.
    """
    if not case.claims:
        return ()

    def counted(events: Sequence[Event], trials: int) -> tuple[Share, ...]:
        silent = replace(case, outputs=())
        engine = Engine(
            silent, draws.seed, trials, draws.workers, stop=draws.stop, events=list(events)
        )
        engine.run()
        return engine.shares

    shares = iter(counted([e for claim in case.claims for e in events_of(claim)], draws.trials))
    found = []
    for claim in case.claims:
        own = counted_again(claim, [next(shares) for _ in events_of(claim)], counted)
        about = [counts[key_of(case.outputs[at])] for at in claim.outputs]
        beyond = max(each.above_ceiling / each.trials for each in about)
        holds, *outside = (share.value for share in own)
        failing = max(outside, default=1.0 - holds)
        supported = holds >= claim.confidence and beyond < DOUBTFUL
        contradicted = failing >= claim.confidence and beyond < IMPOSSIBLE
        if near(claim, own) or not (supported or contradicted):
            found.append(claim)
    return found


def _limits(claim: Claim) -> tuple[float, float]:
    """Return the limits of a claim; a value on a limit, but for rounding, lies within."""
    size = max(abs(limit) for limit in (claim.low, claim.high) if limit is not None)
    rounding = max(ROUNDING * size, TINY)
    low = -math.inf if claim.low is None else claim.low - rounding
    high = math.inf if claim.high is None else claim.high + rounding
    return low, high


# -- one result -------------------------------------------------------------------------------


def _below(counts: Counts, values: FloatArray) -> FloatArray:
    """Return the shares of the trials below values."""
    if not counts.varies:
        return np.asarray(counts.shift < values, dtype=float)
    stairs = Staircase(counts.total, counts)
    found: FloatArray = np.interp(values, stairs.edges, stairs.cumulative) / stairs.cumulative[-1]
    return found


def _spread(case: Case, key: Key, counts: Counts, probability: float) -> float:
    """Return a standard uncertainty, from the half-width where there is no variance."""
    if not counts.varies:
        return 0.0
    step = next(output.step for output in case.outputs if key_of(output) == key)
    used = case.program.sources_of[step]
    laws = (s.distribution for s in case.sources if s.name in used)
    if min((law.degrees_of_freedom for law in laws), default=math.inf) <= LEAST_DEGREES:
        return half_width(counts, probability) / float(special.ndtri((1 + probability) / 2))
    first, second = (float(total) / counts.trials for total in counts.sums.sum(axis=0))
    return math.sqrt(max(second - first**2, 0.0)) * counts.scale


# -- several results together -----------------------------------------------------------------


def _values(case: Case, keys: Sequence[Key], seed: int) -> FloatArray:
    """Return the values of outputs in the first trials, shape (outputs, trials)."""
    steps = {key_of(output): output.step for output in case.outputs}
    return values_of(case, [steps[key] for key in keys], seed, JOINT_TRIALS)


def _covariance(values: FloatArray, spreads: FloatArray) -> FloatArray:
    """Return a covariance of given spreads, as values go together by rank (normal scores)."""
    ranks = np.argsort(np.argsort(values, axis=1), axis=1)
    scores = special.ndtri((ranks + 0.5) / values.shape[1])
    found: FloatArray = np.corrcoef(scores) * np.outer(spreads, spreads)
    return found


def _joint_shifts(covariance: FloatArray, seed: int) -> FloatArray:
    """Return normal shifts, shape (shifts, outputs); what would be negative is no shift."""
    sizes, ways = np.linalg.eigh(covariance)
    net = streams.Net(seed, streams.STRATA, "shifts of a claim", 0, len(sizes))
    scores = special.ndtri(net.next(JOINT_SHIFTS))
    found: FloatArray = scores * np.sqrt(np.maximum(sizes, 0.0)) @ ways.T
    return found


def _beyond(
    low: float, high: float, values: FloatArray, shifts: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return for each shift in what share of the trials any value is below, above, or either."""
    found = np.empty((3, len(shifts)))
    for start in range(0, len(shifts), AT_ONCE):
        moves = shifts[start : start + AT_ONCE, :, np.newaxis]
        below = np.zeros((len(moves), values.shape[1]), dtype=bool)
        above = np.zeros_like(below)
        for k, each in enumerate(values):
            if low > -math.inf:
                below |= each < low - moves[:, k]
            if high < math.inf:
                above |= each > high - moves[:, k]
        for row, happened in zip(found, (below, above, below | above), strict=True):
            row[start : start + AT_ONCE] = np.mean(happened, axis=1)
    return found[0], found[1], found[2]
