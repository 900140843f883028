"""What else would narrow a result: for what widens it most and has no upgrade on the list.

For an instrument the catalogue is tried out, entry by entry, with the span it has; for
anything else, and for an instrument that the catalogue cannot better, half its errors. Of
several specimens of one instrument, one alone is exchanged.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any

from effband.case.format import CaseFile, Instrument, Spread
from effband.case.model import Case, Item
from effband.case.resolve import with_change
from effband.case.upgrades import Change
from effband.decide.better import can_be_better, with_item_better
from effband.decide.common_draws import CommonDraws, Half, Key, Narrowing
from effband.evidence.as_sold import INSTRUMENTS_BY_NAME
from effband.evidence.catalogue import Template
from effband.problems import CaseError, ComputationRefused
from effband.propagate.sampling import BLOCK

MOST = 3
NEARLY_AS_GOOD = 1.02  # times the least half-width: the plainest entry within it is proposed
LEAST_SAVED = 0.02  # of the half-width, below which nothing is proposed


@dataclass(frozen=True)
class Proposal:
    """What would narrow a result although it is not on the list; SI.

    Attributes
    ----------
    item
        What it would better.
    like
        The entry of the catalogue in its place; None for half its errors.
    then, saved
        The half-width then, and how much less it is.
    """

    item: Item
    like: str | None
    then: Half
    saved: Narrowing


def proposals(
    case: Case, wideners: list[Item], wanted: Key, now: Half, draws: CommonDraws
) -> tuple[Proposal, ...]:
    """Return what would narrow an output, for the first few of what widens it and is not offered.

    Parameters
    ----------
    wideners
        What no upgrade is offered for, the widest first.
    wanted
        The output.
    now
        Its half-width.
    draws
        Runs the changes.
    """
    found = []
    for item in [item for item in wideners if can_be_better(item)][:MOST]:
        proposal = _proposal(case, item, wanted, now, draws)
        if proposal is not None and proposal.saved.value >= LEAST_SAVED * now.value:
            found.append(proposal)
    return tuple(sorted(found, key=lambda each: each.then.value))


def _proposal(
    case: Case, item: Item, wanted: Key, now: Half, draws: CommonDraws
) -> Proposal | None:
    if item.kind == "instrument":
        like = _best_like(case, item, wanted, draws)
        if like is not None:
            half = draws.half_of(_with(case, item, INSTRUMENTS_BY_NAME[like]), wanted)
            if half is not None and now.less(half).value >= LEAST_SAVED * now.value:
                return Proposal(item, like, half, now.less(half))
    try:
        half = draws.half_of(with_item_better(case, item), wanted)
    except ComputationRefused:
        if draws.stop.is_set():
            raise
        return None
    return None if half is None else Proposal(item, None, half, now.less(half))


def _best_like(case: Case, item: Item, wanted: Key, draws: CommonDraws) -> str | None:
    """Return the plainest entry of the catalogue that leaves nearly as little as the best."""
    few = replace(draws, trials=min(draws.trials, BLOCK))
    found: dict[str, float] = {}
    for template in _candidates(case, item):
        try:
            half = few.half_of(_with(case, item, template), wanted)
        except CaseError:
            continue  # it cannot read what was read
        except ComputationRefused:
            if draws.stop.is_set():
                raise
            continue
        if half is not None:
            found[template.name] = half.value
    good = [name for name in found if found[name] <= NEARLY_AS_GOOD * min(found.values())]
    return max(good, key=found.__getitem__, default=None)


def _candidates(case: Case, item: Item) -> Iterator[Template]:
    reads = case.file.instruments[_entry(item)].reads
    for template in INSTRUMENTS_BY_NAME.values():
        if reads is not None and template.keys.get("reads") == reads:
            yield template


def _entry(item: Item) -> str:
    return item.name.partition("#")[0]


def _with(case: Case, item: Item, template: Template) -> Case:
    """Return the case with an instrument of the catalogue, its span and steps as they are."""
    entry = _entry(item)
    present = case.file.instruments[entry]
    better = Instrument.model_validate(dict(template.keys))
    steps = ("digit", "division", "readable_to")
    kept = {"span": present.span} if present.span is not None else {}
    if better.digit is None and better.division is None:
        kept |= {key: getattr(present, key) for key in steps}
    better = better.model_copy(update=kept)
    specimens = {leaf.instrument for leaf in case.leaves if leaf.instrument is not None}
    if all(other == item.name or other.partition("#")[0] != entry for other in specimens):
        return with_change(case, Change(instruments={entry: better}, called=template.name))
    own = item.name.replace("#", " ") + " alone"  # no name of the user's holds a space
    file = _read_with(case.file, item.name, own)
    change = Change(instruments={own: better}, called=template.name)
    return _renamed(with_change(replace(case, file=file), change), own, item.name)


def _read_with(file: CaseFile, specimen: str, own: str) -> CaseFile:
    """Return the file with all readings of a specimen taken with another instrument."""

    def moved(entries: Mapping[str, Any]) -> dict[str, Any]:
        return {
            name: entry.model_copy(update={"instrument": own})
            if isinstance(entry, Spread) and entry.instrument == specimen
            else entry
            for name, entry in entries.items()
        }

    update: dict[str, Any] = {"inputs": moved(file.inputs)}
    if file.runs is not None:
        rows = {run: moved(cells) for run, cells in file.runs.rows.items()}
        runs = {"readings": moved(file.runs.readings), "rows": rows}
        update["runs"] = file.runs.model_copy(update=runs)
    return file.model_copy(update=update)


def _renamed(case: Case, own: str, specimen: str) -> Case:
    """Return the case with its sources called, and so drawn, as the specimen's were."""
    sources = (replace(s, name=s.name.replace(own, specimen)) for s in case.sources)
    steps = (
        replace(step, detail=str(step.detail).replace(own, specimen))
        if step.op == "source"
        else step
        for step in case.program.steps
    )
    program = replace(case.program, steps=tuple(steps))
    return replace(case, sources=tuple(sources), program=program)
