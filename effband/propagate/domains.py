"""Whether physics functions are used where they hold: at the numbers as written, and in trials."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence

import numpy as np

from effband.case.model import Case
from effband.case.program import Bound
from effband.evidence.tables import FloatArray
from effband.physics import Limit
from effband.problems import Problem
from effband.propagate.as_written import values_as_written
from effband.units import parse_unit

SELDOM = 1e-3  # share of the trials beyond a bound that only warns, below which nothing is said
SLACK = 1e-12  # a bound written in another unit lies inside, whatever its last bit
MOST_NAMED = 4


def outside_as_written(case: Case) -> tuple[list[Problem], list[Problem]]:
    """Return what is refused, and what is warned of, at the numbers as written.

    A limit is named once, with the value furthest out, its runs, and where else it is left.
    """
    found: dict[tuple[str, Limit], list[tuple[Bound, float]]] = defaultdict(list)
    for bound, value in zip(case.program.bounds, _as_written(case), strict=True):
        if bool(_beyond(bound, np.array(value))):
            found[bound.function, bound.limit].append((bound, value))
    refused: list[Problem] = []
    doubtful: list[Problem] = []
    for calls in found.values():
        bound, value = max(calls, key=lambda call: _excess(*call))
        unit = parse_unit(bound.limit.unit)
        number = f"{unit.from_si(value):.4g} {unit.symbol}".rstrip()
        places = [_parts(call) for call, _ in calls]
        formula, _ = _parts(bound)
        runs = _in_runs([run for other, run in places if other == formula])
        others = _elsewhere(formula, [other for other, _ in places])
        what = (
            f"{bound.function}: {_called(bound)} is {number}{runs}, {_side(bound, value)}{others}"
        )
        place = case.text.place(bound.spot.path, bound.spot.start, bound.spot.length)
        problem = Problem(place, what, _remedy(bound))
        (refused if bound.limit.refuse else doubtful).append(problem)
    return refused, doubtful


def outside_in_trials(case: Case, values: Sequence[FloatArray]) -> Iterator[tuple[str, str]]:
    """Yield what to say, and the remedy, of bounds that hold as written but not in all trials.

    `values` holds, for each bound of the program, what is bounded in a number of trials.
    """
    for bound, written, in_trials in zip(
        case.program.bounds, _as_written(case), values, strict=True
    ):
        share = float(np.mean(_beyond(bound, in_trials)))
        least = 0.0 if bound.limit.refuse else SELDOM
        if share > least and not _beyond(bound, np.array(written)):
            furthest = max(np.ravel(in_trials), key=lambda value: _excess(bound, float(value)))
            side = _side(bound, float(furthest))
            what = f"{bound.spot.owner}: {bound.function} has {_called(bound)} {side} "
            yield what + f"in {100 * share:.2g} % of the trials", _remedy(bound)


def _as_written(case: Case) -> list[float]:
    return values_as_written(case, [bound.step for bound in case.program.bounds])


def _beyond(bound: Bound, values: FloatArray) -> FloatArray:
    """Return where values (SI) lie beyond a bound; one that is not finite is refused elsewhere."""
    limit = bound.limit
    beyond = np.zeros(np.shape(values), dtype=bool)
    if limit.least is not None:
        beyond |= values < _si(bound, limit.least, -SLACK)
    if limit.most is not None:
        beyond |= values > _si(bound, limit.most, SLACK)
    if limit.more_than is not None:
        beyond |= values <= _si(bound, limit.more_than, 0.0)
    return beyond


def _si(bound: Bound, number: float, slack: float) -> float:
    value = parse_unit(bound.limit.unit).to_si(number)
    return value + slack * abs(value)


def _excess(bound: Bound, value: float) -> float:
    """Return how far a value (SI) lies beyond, in the limit's unit."""
    limit = bound.limit
    number = parse_unit(limit.unit).from_si(value)
    below = [edge - number for edge in (limit.least, limit.more_than) if edge is not None]
    above = [number - edge for edge in (limit.most,) if edge is not None]
    return max(below + above)


def _side(bound: Bound, value: float) -> str:
    limit, unit = bound.limit, parse_unit(bound.limit.unit)
    number = unit.from_si(value)
    word, edge = "above", limit.most
    if limit.least is not None and number < limit.least:
        word, edge = "below", limit.least
    elif limit.more_than is not None and number <= limit.more_than:
        word, edge = "not above", limit.more_than
    return f"{word} {edge:g} {unit.symbol}".rstrip()


def _called(bound: Bound) -> str:
    return bound.limit.called or bound.limit.of


def _remedy(bound: Bound) -> str:
    return f"{bound.limit.because}; `effband physics {bound.function}` says where it holds"


def _parts(bound: Bound) -> tuple[str, str]:
    """Return the formula that a bound stands in, and its run."""
    formula, _, run = bound.spot.owner.partition(", run ")
    return formula, run


def _in_runs(runs: Sequence[str]) -> str:
    known = [run for run in dict.fromkeys(runs) if run]
    if not known:
        return ""
    if len(known) > MOST_NAMED:
        return f" at the worst of {len(known)} runs"
    return f" in run{'s' * (len(known) > 1)} {', '.join(known)}"


def _elsewhere(formula: str, formulas: Sequence[str]) -> str:
    """Return in which other formulas the same limit is left."""
    others = [other for other in dict.fromkeys(formulas) if other != formula]
    if len(others) > MOST_NAMED:
        return f" (and in {len(others)} other formulas)"
    return f" (and in {', '.join(others)})" if others else ""
