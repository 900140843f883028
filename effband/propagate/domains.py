"""Whether physics functions are used where they hold: at the numbers as written, and in trials."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterator, Sequence

import numpy as np

from effband.case.as_written import values_as_written
from effband.case.model import Case
from effband.case.program import Bound
from effband.evidence.tables import FloatArray
from effband.physics import Limit
from effband.problems import Problem
from effband.units import parse_unit

SELDOM = 1e-3  # share of the trials beyond a bound that only warns, below which nothing is said
SLACK = 1e-12  # a bound written in another unit lies inside, whatever its last bit
MOST_NAMED = 4

TrialsOf = Callable[[Sequence[int]], list[FloatArray]]  # steps -> the values of each in trials, SI


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
        what = f"{bound.function}: {_called(bound)} is {_number(bound, value)} {unit.symbol}"
        what = f"{what.rstrip()}{_in_runs(bound, calls)}, {_side(bound, value)}"
        what += _elsewhere(bound, calls)
        place = case.text.place(bound.spot.path, bound.spot.start, bound.spot.length)
        problem = Problem(place, what, _remedy(bound))
        (refused if bound.limit.refuse else doubtful).append(problem)
    return refused, doubtful


def outside_in_trials(case: Case, trials_of: TrialsOf) -> Iterator[tuple[str, str]]:
    """Yield what to say, and the remedy, of bounds that hold as written but not in all trials.

    A limit is named once, with the largest share.
    """
    bounds = _bounds_of_results(case)
    steps = [bound.step for bound in bounds]
    written, values = values_as_written(case, steps), trials_of(steps)
    found: dict[tuple[str, Limit], list[tuple[float, Bound, float]]] = defaultdict(list)
    for bound, value, trials in zip(bounds, written, values, strict=True):
        share = float(np.mean(_beyond(bound, trials)))
        least = 0.0 if bound.limit.refuse else SELDOM
        if share > least and not _beyond(bound, np.array(value)):
            furthest = max(np.ravel(trials), key=lambda x: _excess(bound, float(x)))
            found[bound.function, bound.limit].append((share, bound, float(furthest)))
    for calls in found.values():
        share, bound, value = max(calls, key=lambda call: call[0])
        places = [(call, value) for _, call, value in calls]
        what = f"{_formula(bound)}: {bound.function} has {_called(bound)} {_side(bound, value)} "
        what += f"in {100 * share:.2g} % of the trials{_in_runs(bound, places)}"
        yield what + _elsewhere(bound, places), _remedy(bound)


def _bounds_of_results(case: Case) -> list[Bound]:
    """Return the bounds of what results are made of, where trials can move them."""
    used = set(case.program.needed_for([output.step for output in case.outputs]))
    sources = case.program.sources_of
    return [b for b in case.program.bounds if b.value in used and sources[b.step]]


def _as_written(case: Case) -> list[float]:
    return values_as_written(case, [bound.step for bound in case.program.bounds])


def _beyond(bound: Bound, values: FloatArray) -> FloatArray:
    """Return where values (SI) lie beyond a bound; one that is not finite is refused elsewhere."""
    unit = parse_unit(bound.limit.unit)
    beyond = np.zeros(np.shape(values), dtype=bool)
    for words, edge in bound.limit.edges:
        slack = SLACK * max(abs(unit.to_si(edge)), unit.factor / 100)
        if words == "above":
            beyond |= values > unit.to_si(edge) + slack
        else:
            beyond |= values < unit.to_si(edge) - (slack if words == "below" else -slack)
    return beyond


def _excess(bound: Bound, value: float) -> float:
    """Return how far a value (SI) lies beyond, in the limit's unit."""
    number = parse_unit(bound.limit.unit).from_si(value)
    return max(
        number - edge if words == "above" else edge - number for words, edge in bound.limit.edges
    )


def _side(bound: Bound, value: float) -> str:
    """Return which bound a value (SI) lies beyond, in words."""
    unit = parse_unit(bound.limit.unit)
    number = unit.from_si(value)
    for words, edge in bound.limit.edges:
        if (number > edge) if words == "above" else (number <= edge):
            return f"{words} {edge:g} {unit.symbol}".rstrip()
    raise AssertionError(f"{value} lies inside {bound.limit}")


def _number(bound: Bound, value: float) -> str:
    """Return a value (SI) in the limit's unit, to as many digits as tell it from the bounds."""
    number = parse_unit(bound.limit.unit).from_si(value)
    short = f"{number:.5g}"
    hides = any(short == f"{edge:g}" and number != edge for _, edge in bound.limit.edges)
    return f"{number:.10g}" if hides else short


def _called(bound: Bound) -> str:
    return bound.limit.called or bound.limit.of


def _remedy(bound: Bound) -> str:
    joint = " " if bound.limit.because.endswith("?") else "; "
    return f"{bound.limit.because}{joint}`effband physics {bound.function}` says where it holds"


def _formula(bound: Bound) -> str:
    return bound.spot.owner.partition(", run ")[0]


def _run(bound: Bound) -> str:
    return bound.spot.owner.partition(", run ")[2]


def _in_runs(bound: Bound, calls: Sequence[tuple[Bound, float]]) -> str:
    """Return in which runs a limit is left in the formula that a bound stands in."""
    formula = _formula(bound)
    runs = [_run(call) for call, _ in calls if _formula(call) == formula]
    known = [run for run in dict.fromkeys(runs) if run]
    if not known:
        return ""
    if len(known) > MOST_NAMED:
        return f" at the worst of {len(known)} runs"
    return f" in run{'s' * (len(known) > 1)} {', '.join(known)}"


def _elsewhere(bound: Bound, calls: Sequence[tuple[Bound, float]]) -> str:
    """Return in which other formulas the same limit is left."""
    formulas = dict.fromkeys(_formula(call) for call, _ in calls)
    others = [formula for formula in formulas if formula != _formula(bound)]
    if len(others) > MOST_NAMED:
        return f" (and in {len(others)} other formulas)"
    return f" (and in {', '.join(others)})" if others else ""
