"""Is a claim good? Judged on the trials (JCGM 106:2012, 7 and 8, from memory), not by formulas.

A claim is supported when it holds in so large a share of the trials as its confidence asks for:
guarded acceptance, for any shape of band. At the limit itself, such a rule wrongly supports in
1 - confidence of all tests. "Between" and "within" are contradicted on one side only: a band so
wide that it holds the limits contradicts nothing.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

from effband.case.model import Case, Claim, Output
from effband.propagate.counting import Counts
from effband.propagate.engine import Event, Share
from effband.propagate.ranking import Ranking
from effband.propagate.staircase import Staircase
from effband.propagate.summary import Summary

SUPPORTED, CONTRADICTED, NOT_SETTLED = "supported", "contradicted", "not settled"
NEAR = 3.0  # simulation uncertainties from a threshold, within which no verdict is taken
MOST_TRIALS = 10_000_000
DOUBTFUL, IMPOSSIBLE = 0.05, 0.95  # shares of the trials beyond the ceiling
STEPS = 60  # of halving, to find how narrow a band would have to be

MoreTrials = Callable[[Sequence[Event], int], tuple[Share, ...]]


@dataclass(frozen=True)
class Verdict:
    """What is to be said of a claim; SI units.

    Attributes
    ----------
    claim
        Which.
    verdict
        "supported", "contradicted", "not settled", or None where none can be given.
    holds, outside
        The share of the trials in which it holds, in all runs at once; of "between" and "within"
        also the shares in which some output lies below and above.
    worst
        The output that comes off worst.
    bound, limit, margin
        The one-sided bound of `worst` at the claim's confidence, the limit it is held to, and
        how far it lies inside (below 0: beyond it).
    half_width, wanted
        Of `worst`: now, and what would settle the claim if the value stayed; None where the
        claim is settled or no width would do.
    guessed
        The share of the spread of `worst` that rests on guesses and rules of thumb.
    beyond_ceiling
        The largest share of the trials beyond a ceiling among its outputs.
    reason
        Why there is no verdict, or why it is not settled although its share would do.
    disputed
        The cross-checks whose estimates disagree and enter it.
    """

    claim: Claim
    verdict: str | None
    holds: Share
    outside: tuple[Share, ...]
    worst: Output
    bound: float
    limit: float
    margin: float
    half_width: float
    wanted: float | None
    guessed: float
    beyond_ceiling: float
    reason: str
    disputed: tuple[str, ...] = ()


def events_of(claim: Claim) -> list[Event]:
    """Return what is to be counted for a claim: that it holds, and both of its outsides."""
    pairs = (claim.holds, claim.below, claim.above)
    return [Event(*pair) for pair in pairs if pair is not None]


def judge_claims(
    case: Case,
    shares: Sequence[Share],
    counts: Sequence[Counts],
    summaries: Sequence[Summary],
    rankings: Sequence[Ranking],
    more: MoreTrials,
) -> tuple[Verdict, ...]:
    """Return a verdict on every claim.

    Parameters
    ----------
    shares
        Of the trials, for the events of all claims in order.
    counts, summaries, rankings
        Of every output of the case.
    more
        Counts events again in so many trials; called where a share lies too near a threshold.
    """
    given = iter(shares)
    found = []
    for claim in case.claims:
        events = events_of(claim)
        own = [next(given) for _ in events]
        own = counted_again(claim, own, more)
        found.append(_judged(claim, own, case, counts, summaries, rankings))
    return tuple(found)


def counted_again(claim: Claim, shares: Sequence[Share], more: MoreTrials) -> list[Share]:
    """Return the shares of a claim from as many trials as it takes to judge it, up to a limit.

    Parameters
    ----------
    shares
        Of the trials so far, for `events_of` the claim.
    more
        Counts events again in so many trials.
    """
    found, trials = list(shares), shares[0].trials
    while near(claim, found) and trials < MOST_TRIALS:
        trials = min(4 * trials, MOST_TRIALS)
        found = list(more(events_of(claim), trials))
    return found


def near(claim: Claim, shares: Sequence[Share]) -> bool:
    """Return whether a share lies so near a threshold that another seed might judge otherwise.

    Parameters
    ----------
    shares
        Of the trials, for `events_of` the claim.

    An event in one trial more or less is never told apart: what was seen in none of n trials may
    well happen in 3/n.
    """
    return any(
        abs(share.value - threshold) < NEAR * max(share.simulation_uncertainty, 1 / share.trials)
        for share, threshold in _thresholds(claim, shares)
    )


def _thresholds(claim: Claim, shares: Sequence[Share]) -> Iterator[tuple[Share, float]]:
    yield shares[0], claim.confidence
    if len(shares) == 1:
        yield shares[0], 1 - claim.confidence
    for outside in shares[1:]:
        yield outside, claim.confidence


def _judged(
    claim: Claim,
    shares: list[Share],
    case: Case,
    counts: Sequence[Counts],
    summaries: Sequence[Summary],
    rankings: Sequence[Ranking],
) -> Verdict:
    holds = shares[0]
    bounds = {at: _bound(claim, counts[at], summaries[at]) for at in claim.outputs}
    worst = min(bounds, key=lambda at: bounds[at][2])
    beyond = max(claim.outputs, key=lambda at: summaries[at].beyond_ceiling)
    verdict, reason = _verdict(claim, shares, summaries[beyond], counts[beyond].trials)
    wanted = None
    if verdict == NOT_SETTLED and summaries[worst].varies:
        wanted = _wanted(claim, Staircase(counts[worst].total, counts[worst]), summaries[worst])
    return Verdict(
        claim,
        verdict,
        holds,
        tuple(shares[1:]),
        case.outputs[worst],
        *bounds[worst],
        summaries[worst].interval.half_width,
        wanted,
        rankings[worst].on_judgement,
        summaries[beyond].beyond_ceiling,
        reason,
    )


def _verdict(
    claim: Claim, shares: list[Share], beyond: Summary, trials: int
) -> tuple[str | None, str]:
    """Return the verdict, and the reason where its share alone would say otherwise."""
    share = beyond.beyond_ceiling
    if share >= IMPOSSIBLE:
        return None, "nearly all of its band lies above its ceiling: look for the error"
    if near(claim, shares):
        return NOT_SETTLED, "it lies too near the threshold for any number of trials to tell"
    if any(outside.value >= claim.confidence for outside in shares[1:]):
        return CONTRADICTED, ""
    if len(shares) == 1 and shares[0].value <= 1 - claim.confidence:
        return CONTRADICTED, ""
    if shares[0].value < claim.confidence:
        return NOT_SETTLED, ""
    if claim.absent:
        names = ", ".join(claim.absent)
        return NOT_SETTLED, f"it speaks of every run, and has no value in {names}"
    if share + NEAR * math.sqrt(share * (1 - share) / trials) >= DOUBTFUL:
        return NOT_SETTLED, "too much of its band lies above its ceiling to support anything"
    return SUPPORTED, ""


def _bound(claim: Claim, counts: Counts, summary: Summary) -> tuple[float, float, float]:
    """Return the one-sided bound that comes off worst, the limit it is held to, its margin."""
    low = high = summary.median
    if summary.varies:
        staircase = Staircase(counts.total, counts)
        low, high = staircase.quantiles([1 - claim.confidence, claim.confidence])
    found = []
    if claim.low is not None:
        found.append((low, claim.low, low - claim.low))
    if claim.high is not None:
        found.append((high, claim.high, claim.high - high))
    return min(found, key=lambda each: each[2])


def _wanted(claim: Claim, staircase: Staircase, summary: Summary) -> float | None:
    """Return the half-width at which the claim would be settled, the value staying, or None.

    The band is drawn in about its median until the claim holds, or fails on one side, in the
    share that its confidence asks for. None does where the trials cannot tell the median from
    a limit.
    """
    middle = summary.median
    low = -math.inf if claim.low is None else claim.low
    high = math.inf if claim.high is None else claim.high

    def settled(factor: float) -> bool:
        below = staircase.share_below(middle + (low - middle) / factor)
        above = 1 - staircase.share_below(middle + (high - middle) / factor)
        shares = (1 - below - above, below, above)
        return max(shares) >= claim.confidence

    least, most = 0.0, 1.0
    noise = NEAR * (summary.simulation.median or 0.0)
    if min(abs(middle - low), abs(middle - high)) <= noise or not settled(1e-6):
        return None
    for _ in range(STEPS):
        factor = (least + most) / 2
        least, most = (factor, most) if settled(factor) else (least, factor)
    return least * summary.interval.half_width if least < 1.0 else None
