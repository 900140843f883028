"""Two cases as one, before and after: what both share is drawn once, all else apart.

The case before keeps the names of its sources, and so its random numbers. A source of the case
after is the same one only if its name, and the whole definition of what it belongs to, are equal
in both files; any other gets a name of its own.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

from pydantic import BaseModel

from effband.case.format import Spread
from effband.case.model import GROUP_SCATTER, JOINT_SET, Case, ErrorSource, Item, Output, Part
from effband.case.program import Program, Step
from effband.evidence.instruments import Accuracy

AFTER = "after: "  # no name of the user's holds a colon
_ESTIMATES = frozenset({"value", "low", "likely", "high", "mean"})
_SAYS_NOTHING = frozenset({"label", "note", "evidence"})


@dataclass(frozen=True)
class Apart:
    """Something that was drawn anew for the case after.

    Attributes
    ----------
    name
        An instrument, input, column, set or group's scatter.
    why
        In a few words.
    differs
        Whether both files have it, and likely mean one thing, but say different things of it.
    """

    name: str
    why: str
    differs: bool = False


@dataclass(frozen=True)
class Merged:
    """Both cases as one.

    Attributes
    ----------
    case
        The case before, with the sources, items and steps of both; its outputs are still its own.
    moved
        How many steps further on a step of the case after stands.
    shared
        Names of what is drawn once for both, sorted.
    apart
        What is drawn for each by itself, sorted by reason.
    """

    case: Case
    moved: int
    shared: tuple[str, ...]
    apart: tuple[Apart, ...]


def merge(
    before: Case,
    after: Case,
    outputs: Sequence[tuple[Output, Output]],
    share: bool = True,
) -> Merged:
    """Return two cases as one, with the sources that some outputs of both depend on.

    Parameters
    ----------
    before, after
        The cases.
    outputs
        Of each, those to be compared.
    share
        Whether anything is shared.
    """
    ours = _used(before, [output for output, _ in outputs])
    theirs = _used(after, [output for _, output in outputs])
    judged = _Judge(before, after, ours, theirs)
    reasons = {name: judged.why_apart(name) for name in sorted({*ours, *theirs})}
    shared = {name for name, why in reasons.items() if why is None} if share else set()
    names = {s.name: s.name if s.name in shared else AFTER + s.name for s in after.sources}
    labels = _labels(judged, ours, theirs, shared)
    used = {
        names[name]: replace(source, name=names[name], item=labels[True, source.item])
        for name, source in theirs.items()
    } | {name: replace(source, item=labels[False, source.item]) for name, source in ours.items()}
    # a ceiling may depend on what no result depends on
    others = [*before.sources, *(replace(s, name=names[s.name]) for s in after.sources)]
    sources = {source.name: source for source in others} | used
    kinds = {
        labels[later, item.name]: item.kind
        for later, items in ((True, after.items), (False, before.items))
        for item in items
        if (later, item.name) in labels
    }
    case = replace(
        before,
        sources=tuple(sources[name] for name in sorted(sources)),
        items=_items(used, kinds),
        program=_joined(before.program, after.program, names),
        claims=(),
    )
    found = {ours[name].item for name in shared}
    apart = {why for why in reasons.values() if why is not None}
    told = tuple(sorted(apart, key=lambda each: (not each.differs, each.why, each.name)))
    return Merged(case, len(before.program.steps), tuple(sorted(found)), told)


def _used(case: Case, outputs: Sequence[Output]) -> dict[str, ErrorSource]:
    names: set[str] = set().union(*(case.program.sources_of[o.step] for o in outputs))
    return {source.name: source for source in case.sources if source.name in names}


def _joined(before: Program, after: Program, names: dict[str, str]) -> Program:
    """Return both lists of operations as one, the second with other names for its sources."""
    start = len(before.steps)
    steps: list[Step] = list(before.steps)
    for step in after.steps:
        spot = step.spot and replace(step.spot, owner=AFTER + step.spot.owner)
        detail = step.detail
        if step.op == "source":
            detail = names[str(detail)]
        steps.append(Step(step.op, tuple(i + start for i in step.inputs), detail, spot))
    return Program(tuple(steps))


def _labels(
    judged: _Judge,
    ours: dict[str, ErrorSource],
    theirs: dict[str, ErrorSource],
    shared: set[str],
) -> dict[tuple[bool, str], str]:
    """Return what each item is called in the ranking of a change, by whether it is after's.

    An instrument equal in both files is one line, since another one would replace it in both.
    """
    items = {source.item for source in ours.values()}
    others = {source.item for source in theirs.values()}
    one = {ours[name].item for name in shared}
    one |= {name for name in items & others if judged.is_same_instrument(name)}
    twice = (items & others) - one
    labels = {(False, item): f"{item} (before)" if item in twice else item for item in items}
    return labels | {(True, item): f"{item} (after)" if item in twice else item for item in others}


def _items(sources: dict[str, ErrorSource], kinds: dict[str, str]) -> tuple[Item, ...]:
    parts: dict[str, dict[tuple[str, str], list[str]]] = defaultdict(lambda: defaultdict(list))
    for name in sorted(sources):
        source = sources[name]
        parts[source.item][source.part, source.evidence].append(name)
    return tuple(
        Item(
            name,
            kinds[name],
            tuple(Part(*key, tuple(found)) for key, found in sorted(parts[name].items())),
        )
        for name in sorted(parts)
    )


class _Judge:
    """Says of every source whether both cases share it, and if not, why."""

    def __init__(
        self,
        before: Case,
        after: Case,
        ours: dict[str, ErrorSource],
        theirs: dict[str, ErrorSource],
    ) -> None:
        self.cases = before, after
        self.sources = ours, theirs
        self.kinds = tuple({item.name: item.kind for item in case.items} for case in self.cases)

    def why_apart(self, name: str) -> Apart | None:
        """Return why a source is drawn apart, or None where it is shared."""
        found = [at for at in (0, 1) if name in self.sources[at]]
        source = self.sources[found[0]][name]
        item, kind = source.item, self.kinds[found[0]][source.item]
        for at in found:
            why = self._never(self.sources[at][name], at)
            if why is not None:
                return Apart(item, why)
        own = self._bound_in_one(name, found[0])
        if own is not None and len(found) == 1:
            return Apart(own, "the correlation differs", True)
        both = [self._definition(item, kind, at) for at in (0, 1)]
        if not all(both):
            return Apart(item, "after only" if both[1] else "before only")
        differing = sorted(k for k in {*both[0], *both[1]} if both[0].get(k) != both[1].get(k))
        if differing:
            other = kind == "input" and bool(_ESTIMATES & set(differing))  # measured anew
            return Apart(item, f"defined differently: {', '.join(differing)}", not other)
        if len(found) == 1:
            return Apart(item, "after only" if found == [1] else "before only")
        if kind == "instrument" and self._place_is_unknown(item):
            return Apart(
                item, "read at two values, and no `span` says how far these go along", True
            )
        return None

    def _bound_in_one(self, name: str, at: int) -> str | None:
        """Return the input that a source is, if the cases correlate it differently; else None."""
        item = self.sources[at][name].item
        kind = self.kinds[at][item]
        own = name.removeprefix(f"{item}.") if kind == JOINT_SET else item
        if kind not in ("input", JOINT_SET) or any(own not in c.file.inputs for c in self.cases):
            return None
        return own if self._correlated(own, 0) != self._correlated(own, 1) else None

    def _correlated(self, name: str, at: int) -> dict[tuple[str, ...], Any]:
        """Return the coefficients that a case states for an input."""
        stated = self.cases[at].file.correlations
        return {tuple(sorted(c.between)): c.coefficient for c in stated if name in c.between}

    def is_same_instrument(self, item: str) -> bool:
        """Return whether an item is an instrument that both files define alike."""
        if any(kinds.get(item) != "instrument" for kinds in self.kinds):
            return False
        return self._definition(item, "instrument", 0) == self._definition(item, "instrument", 1)

    def _never(self, source: ErrorSource, at: int) -> str | None:
        """Return why a source of one case is never shared, or None where it may be."""
        kind = self.kinds[at][source.item]
        if source.part == "common":
            return "stability: one for each test" if source.name.endswith(".stability") else None
        if kind == GROUP_SCATTER:
            return "the scatter of runs"
        if source.part == "drawn":
            return "a sample"
        if kind == "instrument":
            return "fresh for each reading"
        if kind not in ("input", JOINT_SET):
            return "a spread of readings"
        inputs = self.cases[at].file.inputs
        if kind == JOINT_SET:
            spreads: list[Spread] = [inputs[name] for name in self._members(source.item, at)]
        elif source.part.startswith("also "):
            entry = inputs[source.item]
            spreads = [entry.also[int(source.part.removeprefix("also ")) - 1]]
            if entry.instrument is not None:
                return "fresh for each reading"
        else:
            spreads = [inputs[source.item]]
        if any(spread.repeats is not None for spread in spreads):
            return "repeats"
        return "counted events" if any(s.random_events is not None for s in spreads) else None

    def _members(self, item: str, at: int) -> list[str]:
        """Return the inputs of a set that are drawn together."""
        names = [source.name for source in self.cases[at].sources if source.item == item]
        return sorted(name.removeprefix(f"{item}.") for name in names if name != item)

    def _definition(self, item: str, kind: str, at: int) -> dict[str, Any]:
        """Return all that a file says of an item and that counts; nothing where it has it not."""
        file = self.cases[at].file
        if kind == "instrument":
            instrument = file.instruments.get(item.partition("#")[0])
            return {} if instrument is None else _keys(instrument)
        if kind == "input":
            entry = file.inputs.get(item)
            return {} if entry is None else _keys(entry)
        members = self._members(item, at)
        found: dict[str, Any] = {name: _keys(file.inputs[name]) for name in members}
        if item in file.joint:
            fit = file.joint[item]
            rows = [list(fit.values).index(name) for name in sorted(fit.values)]
            matrix = [[fit.correlation[i][j] for j in rows] for i in rows]
            return {**found, "correlation": matrix}
        bound = {tuple(sorted(c.between)): c.coefficient for c in file.correlations}
        return found | {
            f"{one} with {other}": coefficient
            for (one, other), coefficient in bound.items()
            if one in members
        }

    def _place_is_unknown(self, specimen: str) -> bool:
        """Return whether an instrument is read at two values with nothing said of its scale."""
        entry = self.cases[0].file.instruments[specimen.partition("#")[0]]
        leaves = [leaf for case in self.cases for leaf in case.leaves]
        read = {leaf.value for leaf in leaves if leaf.instrument == specimen}
        return entry.span is None and entry.error_along_scale is None and len(read) > 1


def _keys(entry: BaseModel) -> dict[str, Any]:
    """Return the keys of an entry that count, those of entries inside it as well."""
    return {
        name.rstrip("_"): _plain(value)
        for name, value in entry
        if name not in _SAYS_NOTHING and value is not None and value != []
    }


def _plain(value: Any) -> Any:
    """Return a value without what says nothing: an accuracy is what it states, not its text."""
    if isinstance(value, BaseModel):
        return _keys(value)
    if isinstance(value, Accuracy):
        return value.summands
    return [_plain(inner) for inner in value] if isinstance(value, list) else value
