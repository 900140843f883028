"""How likely an upgrade is to settle a claim.

With better means the value itself will move, since it errs today by more than it will then: by
a normal shift of standard deviation sqrt(u^2 - u_new^2). The claim is settled where the new law,
moved so, supports or contradicts it by the usual rule. Results that one claim is about are taken
to move together, since what runs share moves them all.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import special

from effband.case.model import Case, Claim
from effband.decide.claims import DOUBTFUL
from effband.decide.common_draws import Key, key_of
from effband.evidence.tables import FloatArray
from effband.propagate.counting import Counts
from effband.propagate.staircase import Staircase
from effband.propagate.summary import half_width

SHIFTS = 4_001
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
    probability: float,
) -> Chance | None:
    """Return how likely a change is to settle a claim, None where it has no such results.

    Parameters
    ----------
    case, changed
        Before and after.
    now, then
        Counts of the claim's outputs, by key, before and after.
    probability
        Of the bands, whose half-width tells the spread where no variance does.
    """
    scores = special.ndtri((np.arange(SHIFTS) + 0.5) / SHIFTS)
    held: list[Bools] = []
    failed: list[Bools] = []
    for at in claim.outputs:
        key = key_of(case.outputs[at])
        if key not in then:
            return None
        before = _spread(case, key, now[key], probability)
        after = _spread(changed, key, then[key], probability)
        shift = scores * math.sqrt(max(before**2 - after**2, 0.0))
        inside, outside = _judged(claim, then[key], shift)
        held.append(inside)
        failed.append(outside)
    return Chance(
        claim,
        float(np.mean(np.logical_and.reduce(held))),
        float(np.mean(np.logical_or.reduce(failed))),
    )


def is_settled(claim: Claim, case: Case, now: Mapping[Key, Counts]) -> bool:
    """Return whether a claim is settled as things are."""
    found = [_judged(claim, now[key_of(case.outputs[at])], np.zeros(1)) for at in claim.outputs]
    return all(inside[0] for inside, _ in found) or any(outside[0] for _, outside in found)


def _judged(claim: Claim, counts: Counts, shift: FloatArray) -> tuple[Bools, Bools]:
    """Return for which shifts a law supports a claim, and for which it contradicts it."""
    low = -math.inf if claim.low is None else claim.low
    high = math.inf if claim.high is None else claim.high
    below = _below(counts, low - shift)
    above = 1.0 - _below(counts, high - shift)
    impossible = counts.above_ceiling >= DOUBTFUL * counts.trials
    supports = (1.0 - below - above >= claim.confidence) & (not impossible)
    return supports, (below >= claim.confidence) | (above >= claim.confidence)


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


def unsettled(case: Case, now: Mapping[Key, Counts]) -> Sequence[Claim]:
    """Return the claims that are not settled as things are."""
    return [claim for claim in case.claims if not is_settled(claim, case, now)]
