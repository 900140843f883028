"""What a reader of a comparison should mind: a sentence on what is wrong, one on what to do."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from effband.case.model import Case
from effband.decide.change import Change
from effband.decide.claims import DOUBTFUL
from effband.decide.merge import AFTER, Merged


def warnings(
    before: Case, after: Case, merged: Merged, changes: Sequence[Change]
) -> Iterator[tuple[str, str]]:
    """Yield what a reader should mind, and what to do."""
    yield from _runs_of_groups(before, changes)
    unlike: dict[str, list[str]] = {}
    for each in merged.apart:
        if each.differs:
            unlike.setdefault(each.why, []).append(each.name)
    for why, names in unlike.items():
        what = f"{' and '.join(names)}, in both files, drawn apart ({why})"
        yield what, _remedy(why, {item.kind for item in before.items if item.name in names})
    if not merged.shared:
        what = "nothing is shared, so both tests count as if each had meters of its own"
        yield what, "give the same meter the same name and line in both files"
    keys = ("probability", "seed", "trials", "digits")
    other = [k for k in keys if getattr(before.settings, k) != getattr(after.settings, k)]
    if other:
        what = f"the settings differ ({', '.join(other)}): those before are used"
        yield what, "options of the command stand above both"
    if before.text.sha256 == after.text.sha256:
        yield "both files are the same", "name the case before, then the case after"
    for change in changes:
        for number, output, word in (
            (change.was, change.before, "before"),
            (change.now, change.after, "after"),
        ):
            if output.ceiling is not None and number.summary.beyond_ceiling >= DOUBTFUL:
                share = f"{100 * number.summary.beyond_ceiling:.0f} %"
                what = f"{output.title}, {word}, lies above its ceiling in {share} of the trials"
                yield what, "look for an error there before the two are compared"
    yield from _no_variances(changes)


def _runs_of_groups(before: Case, changes: Sequence[Change]) -> Iterator[tuple[str, str]]:
    """Yield that a single run was compared though a group has it, or with a whole group."""
    groups = dict.fromkeys(o.group for o in before.outputs if o.group is not None)
    for run in dict.fromkeys(change.before.run for change in changes):
        group = next((g for g in groups if run in g.members), None)
        if group is not None:
            what = f"run {run} is one of the {len(group.members)} runs of {group.name}"
            remedy = "one run alone, picked after the test, proves little: the group tells more "
            yield what, f"{remedy}(--run {group.name}, or no --run)"
    many: dict[str, str] = {}
    for change in changes:
        sizes = [
            0 if o.group is None else len(o.group.members) for o in (change.before, change.after)
        ]
        if change.before.run is not None and 0 in sizes and any(sizes):
            was, now = (f"a group of {size} runs" if size else "one run" for size in sizes)
            many[change.before.run] = f"{change.before.run} is {was} before and {now} after"
    for what in many.values():
        yield what, "one run shows no scatter: only the errors declared stand for it"


def _no_variances(changes: Sequence[Change]) -> Iterator[tuple[str, str]]:
    """Yield why changes have no standard uncertainty, each reason once."""
    reasons: dict[str, list[str]] = {}
    for change in changes:
        why = change.change.summary.no_variance
        if why is not None:
            if why.startswith(AFTER):  # the name that a source has here
                name, has, rest = why.removeprefix(AFTER).partition(" has ")
                why = f"{name} (after){has}{rest}"
            reasons.setdefault(why, []).append(change.before.title)
    for why, titles in reasons.items():
        names = titles[0] if len(titles) == 1 else f"{len(titles)} changes"
        if "scatter of a group" in why:
            why = "three runs or fewer of a load are too few for one"
        remedy = "the bands are good as they are"
        if "few" in why or "degree" in why:
            remedy += "; a fourth brings it"
        yield f"{names}: no +- figure, since {why}", remedy


def _remedy(why: str, kinds: set[str]) -> str:
    if "`span`" in why:
        return "give its `span:`, the same in both files"
    if kinds == {"instrument"}:
        return "make the two lines equal if it is the same meter on the same range"
    return "make the two equal if it is the same thing in both tests"
