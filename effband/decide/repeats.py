"""The case as it would be with other numbers of repeats.

More runs shrink what scatters from run to run, by the root of their number and by what is known
of a scatter after so many runs (Student's t); what the runs share, and the step of a display,
they leave as it is. What is worked out here is what would be worked out of so many runs on
average: they scatter as those there are, or as their declared errors say.

Results of the whole case, such as a mean of runs, take the declared errors of every run even
where a group's scatter is seen. More runs of the group then make these means of so many more.
"""

from __future__ import annotations

import math
import threading
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace

from effband.case.groups import LEAST_FOR_SCATTER, POOL
from effband.case.model import GROUP_SCATTER, Case, ErrorSource, Group, Item, Output, Part
from effband.case.program import Step
from effband.decide.better import with_item_better
from effband.evidence.distributions import Normal
from effband.evidence.scatter import ScatterFactor
from effband.propagate.ranking import Ranking
from effband.propagate.variants import TRIALS, Rewriting, half_widths_of

MORE_RUNS = 4  # that advice looks at
_DISPLAY = ("digit", "division")
_EACH_RUN = ("fresh", "each_reading", "repeatability")  # and what stands under `also:`
_SEEN = ("scatter", "measured")  # part and evidence of a scatter that is seen


@dataclass(frozen=True)
class _Load:
    """A run, or a group that shows no scatter.

    Attributes
    ----------
    name, runs
        Its name, and the runs that it is.
    scattering
        The sources that are fresh in every run, save the step of a display.
    display
        The step of a display in a later run, and that of the first in its place: once a group
        shows its scatter, the step is one draw for all its runs.
    """

    name: str
    runs: tuple[str, ...]
    scattering: frozenset[str]
    display: Mapping[str, str]


def with_repeats(case: Case, of: str | None, number: int) -> Case:
    """Return the case as it would be if a run or group were done `number` times in all.

    A group whose scatter is seen keeps it, known from so many runs. Of a single run, or of two,
    the declared errors that are fresh in every run become the scatter that will be seen: their
    standard deviations over the root of `number`, times one Student t for all of the run's
    results; with two runs in all, the mean of two draws of what is declared. A result of the
    whole case gains by the errors of the run that are in it; by those of a group whose scatter
    is seen as by normal means of them, since there what is declared counts and is known.

    Parameters
    ----------
    case
        As resolved.
    of
        Name of a run or group; None for all groups, and all runs that stand in none.
    number
        Runs in all, of each; fewer than there are will do.

    Raises
    ------
    ValueError
        When nothing is called so, or `number` is below 1, or below 2 for a group.
    """
    groups, loads = _done(case, of)
    if number < 1 or (number < 2 and (groups or any(len(load.runs) > 1 for load in loads))):
        raise ValueError(f"a group is of two runs or more, not {number}")
    case = _seen_more_often(case, groups, number)
    case = _declared_more_often(case, groups, number)
    loads = [load for load in loads if load.scattering and number != len(load.runs)]
    if not loads:
        return case
    if number < LEAST_FOR_SCATTER:
        return _mean_of_two(case, loads)
    return _scattering(case, loads, number)


def with_endless_repeats(case: Case, of: str | None) -> Case:
    """Return the case as it would be if a run or group were done without end.

    What remains is what runs share and the step of a display: the floor that only another
    instrument or method can lower. `of` as in `with_repeats`. Raises ValueError.
    """
    groups, loads = _done(case, of)
    rewriting = Rewriting(case.program)
    gone = [name for group in groups for name in _draws(case, group)]
    done = rewriting.copy(_holding(case, loads, loads, gone))
    held = [*loads, *(_load(case, group.name, group.members) for group in groups)]
    return _of_whole_case(case, rewriting, done, _holding(case, loads, held, gone))


@dataclass(frozen=True)
class RepeatAdvice:
    """What more runs of a group would bring to one of its results, and a better instrument.

    Attributes
    ----------
    output
        The group's value.
    more
        How many runs more are looked at.
    now, with_more, endless
        Half-widths, SI: as it is, with so many runs more, and with runs without end.
    instrument, with_better
        The instrument that widens it most, and the half-width were that twice as good and the
        runs as they are; None where none does.
    """

    output: Output
    more: int
    now: float
    with_more: float
    endless: float
    instrument: str | None
    with_better: float | None


def advice_on_repeats(
    case: Case,
    number: int,
    ranking: Ranking,
    seed: int,
    probability: float,
    trials: int = TRIALS,
    workers: int = 1,
    stop: threading.Event | None = None,
) -> RepeatAdvice | None:
    """Return whether a group's result gains more by runs or by an instrument.

    Parameters
    ----------
    case
        As resolved.
    number
        Of the output, in `case.outputs`.
    ranking
        What widens it.
    seed, probability, trials, workers, stop
        As of `half_widths_of`; all half-widths are of the same draws.

    Returns
    -------
    RepeatAdvice or None
        None where the output is no group's, or no repeat of it would change anything.

    Raises
    ------
    ComputationRefused
        When a value is not finite.
    """
    output = case.outputs[number]
    if output.group is None or not scatters_by_run(case, output.group.name):
        return None
    name, there = output.group.name, len(output.group.members)

    def half(variant: Case) -> float:
        return half_widths_of(variant, [number], seed, probability, trials, workers, stop)[0]

    first = next((i.item for i in ranking.lines if i.item.kind == "instrument"), None)
    return RepeatAdvice(
        output,
        MORE_RUNS,
        half(case),
        half(with_repeats(case, name, there + MORE_RUNS)),
        half(with_endless_repeats(case, name)),
        None if first is None else first.name,
        None if first is None else half(with_item_better(case, first)),
    )


def scatters_by_run(case: Case, of: str) -> bool:
    """Return whether anything in a run or group gets less with repeats. Raises ValueError."""
    groups, loads = _done(case, of)
    return bool(groups) or any(load.scattering for load in loads)


def runs_there(case: Case, of: str | None) -> tuple[int, ...]:
    """Return of how many runs the loads are now, each number once. Raises ValueError."""
    groups, loads = _done(case, of)
    sizes = [len(group.members) for group in groups] + [len(load.runs) for load in loads]
    return tuple(sorted(set(sizes)))


# -- what is done again -----------------------------------------------------------------------


def _done(case: Case, of: str | None) -> tuple[list[Group], list[_Load]]:
    """Return the groups whose scatter is seen, and the runs and groups that show none."""
    grouped = {run for group in case.groups for run in group.members}
    runs = {leaf.run for leaf in case.leaves if leaf.run is not None}
    groups = [group for group in case.groups if of in (None, group.name)]
    alone = sorted(runs - grouped if of is None else runs & {of})
    if of is not None and not groups and not alone:
        raise ValueError(f"no run or group is called {of!r}")
    found: list[tuple[str, tuple[str, ...]]] = [(run, (run,)) for run in alone]
    found += [(group.name, group.members) for group in groups if not group.scatter_seen]
    loads = [_load(case, name, members) for name, members in found]
    return [group for group in groups if group.scatter_seen], loads


def _load(case: Case, name: str, runs: tuple[str, ...]) -> _Load:
    laws = {source.name: source.distribution for source in case.sources}
    scattering: set[str] = set()
    steps: dict[tuple[str, str], list[str]] = {}
    leaves = (leaf for run in runs for leaf in case.leaves if leaf.run == run)
    for leaf in leaves:
        for component in leaf.components:
            if component.role in _DISPLAY:
                steps.setdefault((leaf.name, component.role), []).extend(component.sources)
            elif component.role in _EACH_RUN or component.role.startswith("also"):
                scattering.update(component.sources)
    display = {
        later: first
        for first, *others in steps.values()
        for later in others
        if laws[later] == laws[first]
    }
    wide = {name for name in scattering if math.isinf(laws[name].standard_uncertainty)}
    return _Load(name, runs, frozenset(scattering - wide), display)


def _draws(case: Case, group: Group) -> list[str]:
    """Return the names of what draws the scatter that is seen in a group."""
    if not group.pooled:
        return [f"{_scatter_of(group.name)}.{run}" for run in group.members]
    # the runs of all groups show a pooled scatter, each time afresh
    return [f"{POOL}.{group.name}.{run}" for each in case.groups for run in each.members]


def _scatter_of(name: str) -> str:
    return f"scatter of {name}"


# -- a scatter that is seen -------------------------------------------------------------------


def _seen_more_often(case: Case, groups: list[Group], number: int) -> Case:
    """Return the case with the scatter of groups as it is, but seen in so many runs."""
    laws: dict[str, Normal | ScatterFactor] = {}
    more = 0  # degrees of freedom of a pooled scatter
    for group in groups:
        there = len(group.members)
        laws.update(dict.fromkeys(_draws(case, group), Normal(0.0, math.sqrt(there / number))))
        more += number - there
        if not group.pooled:
            laws[_scatter_of(group.name)] = ScatterFactor(number - 1)
    if any(group.pooled for group in groups):
        degrees = sum(len(group.members) - 1 for group in case.groups)
        laws[POOL] = ScatterFactor(degrees + more)
    sources = (
        replace(source, distribution=laws.get(source.name, source.distribution))
        for source in case.sources
    )
    return replace(case, sources=tuple(sources))


def _declared_more_often(case: Case, groups: list[Group], number: int) -> Case:
    """Return the case with what its own results take of groups as means of more runs."""
    laws = {source.name: source for source in case.sources}
    often: dict[str, ErrorSource] = {}
    for group in groups:
        for name in _load(case, group.name, group.members).scattering:
            old, of = laws[name], f"{name}, of {number} runs"
            sd = old.distribution.standard_uncertainty * math.sqrt(len(group.members) / number)
            if number != len(group.members):
                often[name] = replace(old, name=of, distribution=Normal(_centre(old), sd))
    if not often.keys() & _in_whole_case(case):
        return case

    def change(step: Step) -> Step:
        new = often.get(str(step.detail)) if step.op == "source" else None
        return step if new is None else replace(step, detail=new.name)

    rewriting = Rewriting(case.program)
    changed = _of_whole_case(case, rewriting, rewriting.copy(lambda step: step), change)
    return _with_sources(changed, [*case.sources, *often.values()])


def _in_whole_case(case: Case) -> set[str]:
    """Return the sources of results that have one value for the whole case."""
    steps = [output.step for output in case.outputs if output.run is None]
    return set().union(*(case.program.sources_of[step] for step in steps))


def _of_whole_case(
    case: Case, rewriting: Rewriting, places: list[int], change: Callable[[Step], Step]
) -> Case:
    """Return the case with values at places, but results of the whole case changed otherwise."""
    whole = rewriting.case(case, rewriting.copy(change)).outputs
    changed = rewriting.case(case, places)
    pairs = zip(changed.outputs, whole, strict=True)
    return replace(changed, outputs=tuple(w if w.run is None else o for o, w in pairs))


# -- a scatter that is declared ---------------------------------------------------------------


def _centre(source: ErrorSource) -> float:
    """Return where the mean of many draws would lie."""
    estimate = source.distribution.estimate
    return source.nominal if estimate is None else estimate


def _mean_of_two(case: Case, loads: list[_Load]) -> Case:
    """Return the case with the mean of two draws for each declared error of a run."""
    twice = frozenset(name for load in loads for name in load.scattering)
    rewriting = Rewriting(case.program)

    def change(step: Step) -> Step:
        if step.op != "source" or step.detail not in twice:
            return step
        draws = [rewriting.add("source", (), name) for name in (step.detail, _again(step.detail))]
        both = rewriting.add("add", tuple(draws))
        return Step("multiply", (both, rewriting.add("constant", (), 0.5)))

    changed = rewriting.case(case, rewriting.copy(change))
    again = [replace(s, name=_again(s.name)) for s in case.sources if s.name in twice]
    return _with_sources(changed, [*case.sources, *again])


def _again(name: object) -> str:
    return f"{name}, once more"


def _scattering(case: Case, loads: list[_Load], number: int) -> Case:
    """Return the case with the declared errors of runs as a scatter seen in so many of them.

    Of runs that are there, the t is taken of each result's own values. So the factor acts on
    what the scatter adds to a result, not on the readings: y_0 + r (y - y_0), y_0 being the
    result without the scatter. Else the long tails of few runs would take readings below 0.
    """
    rewriting = Rewriting(case.program)
    # the list without any scatter, then with that of one load more each time
    lists = [rewriting.copy(_holding(case, loads, loads[at:])) for at in range(len(loads) + 1)]
    places = list(lists[-1])
    for output in case.outputs:
        place = lists[0][output.step]
        for load, before, after in zip(loads, lists, lists[1:], strict=False):
            without, beside = before[output.step], after[output.step]
            if without != beside:
                swing = rewriting.add("subtract", (beside, without))
                factor = rewriting.add("source", (), _scatter_of(load.name))
                place = rewriting.add("add", (place, rewriting.add("multiply", (factor, swing))))
        places[output.step] = place
    changed = rewriting.case(case, places)
    sources = {source.name: source for source in case.sources}
    for load in loads:
        item = _scatter_of(load.name)
        sources[item] = ErrorSource(item, ScatterFactor(number - 1), 1.0, item, *_SEEN)
        for name in load.scattering:
            sd = sources[name].distribution.standard_uncertainty
            law = Normal(_centre(sources[name]), sd * math.sqrt(len(load.runs) / number))
            sources[name] = ErrorSource(name, law, sources[name].nominal, item, *_SEEN)
    return _with_sources(changed, sources.values())


def _holding(
    case: Case, loads: Iterable[_Load], held: Iterable[_Load], gone: Iterable[str] = ()
) -> Callable[[Step], Step]:
    """Return what holds the scatter of some loads, and other sources, at the centres."""
    centres = {source.name: _centre(source) for source in case.sources}
    still = frozenset(gone).union(*(load.scattering for load in held))
    display = {later: first for load in loads for later, first in load.display.items()}

    def change(step: Step) -> Step:
        if step.op != "source":
            return step
        name = str(step.detail)
        if name in still:
            return Step("constant", (), centres[name])
        return replace(step, detail=display.get(name, name))

    return change


def _with_sources(case: Case, sources: Iterable[ErrorSource]) -> Case:
    """Return the case with these sources, and the lines of the ranking made of them."""
    kinds = {item.name: item.kind for item in case.items}
    parts: dict[str, dict[tuple[str, str], list[str]]] = {}
    ordered = tuple(sorted(sources, key=lambda source: source.name))
    for source in ordered:
        if source.item in kinds or source.part == _SEEN[0]:
            own = parts.setdefault(source.item, {})
            own.setdefault((source.part, source.evidence), []).append(source.name)
    items = tuple(
        Item(
            name,
            kinds.get(name, GROUP_SCATTER),
            tuple(Part(*key, tuple(names)) for key, names in sorted(own.items())),
        )
        for name, own in sorted(parts.items())
    )
    return replace(case, sources=ordered, items=items)
