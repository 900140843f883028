"""The best set of upgrades that an amount of money buys.

Sets are scored by what their members save of the squared half-width, which adds up where errors
do; the best two are worked out in full.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from effband.decide.common_draws import Half, Narrowing

MOST_IN_SUBSETS = 12  # of more, sets are put together one by one
CONFIRMED = 2


@dataclass(frozen=True)
class Candidate:
    """One upgrade that may be bought: its name, what it costs, and its half-width then."""

    name: str
    cost: float
    then: Half


@dataclass(frozen=True)
class Purchase:
    """A set of upgrades bought together, worked out in full.

    Attributes
    ----------
    names, cost
        What is bought, and for how much.
    then
        The half-width, SI.
    saved
        How much less it is.
    """

    names: tuple[str, ...]
    cost: float
    then: Half
    saved: Narrowing


@dataclass(frozen=True)
class Spending:
    """What to buy.

    Attributes
    ----------
    best
        None where nothing on the list can be bought and saves anything.
    second
        The runner-up that was worked out as well.
    tie
        Whether the trials cannot tell the two apart; the cheaper one is then the best.
    greedy
        Whether sets were put together one by one, since there are too many to try all.
    """

    best: Purchase | None
    second: Purchase | None
    tie: bool
    greedy: bool


def best_purchase(
    candidates: Sequence[Candidate],
    now: Half,
    amount: float,
    allowed: Callable[[Sequence[str]], bool],
    half_of: Callable[[Sequence[str]], Half | None],
) -> Spending:
    """Return what an amount of money buys best.

    Parameters
    ----------
    candidates
        All that saves anything and has a cost.
    now
        The half-width without any.
    amount
        Of money, in the currency of the costs.
    allowed
        Whether upgrades can be bought together.
    half_of
        The half-width with a set of them, worked out in full; None where it has none.
    """
    known = {each.name: each for each in candidates if each.cost <= amount}
    saved = {name: now.value**2 - each.then.value**2 for name, each in known.items()}
    greedy = len(known) > MOST_IN_SUBSETS
    sets = _by_and_by(known, saved, amount, allowed) if greedy else _all(known, amount, allowed)
    ranked = sorted(
        set(sets),
        key=lambda names: (-math.fsum(saved[n] for n in names), _cost(names, known), names),
    )
    found = []
    for names in ranked:
        half = known[names[0]].then if len(names) == 1 else half_of(names)
        if half is not None:
            found.append(Purchase(names, _cost(names, known), half, now.less(half)))
        if len(found) == CONFIRMED:
            break
    found.sort(key=lambda purchase: purchase.then.value)
    best, second = [*found, None, None][:2]
    tie = best is not None and second is not None and not second.then.less(best.then).shows
    if tie and best is not None and second is not None and second.cost < best.cost:
        best, second = second, best
    return Spending(best, second, tie, greedy)


def _cost(names: Sequence[str], known: Mapping[str, Candidate]) -> float:
    return math.fsum(known[name].cost for name in names)


def _all(
    known: Mapping[str, Candidate], amount: float, allowed: Callable[[Sequence[str]], bool]
) -> list[tuple[str, ...]]:
    """Return every set that can be bought."""
    return [
        names
        for size in range(1, len(known) + 1)
        for names in itertools.combinations(sorted(known), size)
        if _cost(names, known) <= amount and allowed(names)
    ]


def _by_and_by(
    known: Mapping[str, Candidate],
    saved: Mapping[str, float],
    amount: float,
    allowed: Callable[[Sequence[str]], bool],
) -> list[tuple[str, ...]]:
    """Return two sets: of what saves most for its cost first, and of what saves most first."""

    def for_its_cost(name: str) -> float:
        cost = known[name].cost
        return saved[name] / cost if cost > 0.0 else math.inf

    found = []
    for worth in (for_its_cost, saved.__getitem__):
        names: tuple[str, ...] = ()
        for name in sorted(known, key=lambda each: (-worth(each), each)):
            wider = tuple(sorted((*names, name)))
            if _cost(wider, known) <= amount and allowed(wider):
                names = wider
        found.append(names)
    return [names for names in found if names]
