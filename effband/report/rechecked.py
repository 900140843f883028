"""What came of running a published report again: its steps, the screen and the JSON."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

from effband.problems import printable
from effband.report import words
from effband.report.columns import wrapped
from effband.report.printed import Change

AGREES, DIFFERS, NOT_COMPARED = "agrees", "DIFFERS", "not compared"
PRINTED = "printed"  # the step that compares words
MOST_LINES = 12  # of one step on a screen
NOT_CHECKED = (
    "that the readings are true, or were taken at all",
    "that the instruments are those named, and as good as they say",
    "who measured, and who wrote the report: whoever changes a case can make its report anew",
)


@dataclass(frozen=True)
class Difference:
    """A number in the receipt, the one found again, and how far apart they may lie."""

    what: str
    published: float | None
    found: float | None
    allowed: float | None


@dataclass(frozen=True)
class Step:
    """One thing that was compared.

    Attributes
    ----------
    name, status, what
        Which, one of "agrees", "DIFFERS" and "not compared", and what was seen.
    lines
        What is wrong, or to be known, in words.
    differences
        Numbers that do not agree.
    changes
        Where a text prints something else, with the name of the text.
    exact
        Whether numbers agree to their last digits.
    beside
        How many words stand around a report that were not compared.
    bare
        Whether there are no words but the block.
    """

    name: str
    status: str
    what: str
    lines: tuple[str, ...] = ()
    differences: tuple[Difference, ...] = ()
    changes: tuple[tuple[str, Change], ...] = ()
    exact: bool = False
    beside: tuple[str, ...] = ()
    bare: bool = False


@dataclass(frozen=True)
class Recheck:
    """A published report, run again.

    Attributes
    ----------
    name, title, stamp
        What it is called, the title of its case, and the first characters of its receipt's hash.
    steps
        What was compared, in order.
    sentence
        What the case gives, worked out again; None where it was not.
    figures
        Whether the report has any.
    """

    name: str
    title: str
    stamp: str
    steps: tuple[Step, ...] = field(default=())
    sentence: str | None = None
    figures: bool = True

    @property
    def agrees(self) -> bool | None:
        """Whether nothing differs; None where the words were not compared, or not all of them."""
        if any(step.status == DIFFERS for step in self.steps):
            return False
        left = any(step.name == PRINTED and step.status == NOT_COMPARED for step in self.steps)
        return None if left else True

    @property
    def not_checked(self) -> tuple[str, ...]:
        """What nobody can tell from a report."""
        found = list(NOT_CHECKED)
        if self.figures and self.stamp:
            found.append(f"figures: only look whether {self.stamp} stands in each of them")
        return (*found, "what somebody wrote before or behind the report")


def screen(found: Recheck) -> str:
    """Return the screen of a recheck."""
    return "\n".join(_screen(found)) + "\n"


def _screen(found: Recheck) -> Iterator[str]:
    title = f": {found.title}" if found.title else ""
    yield from wrapped(f"{found.name}{title}", "")
    yield ""
    wide = max(len(step.name) for step in found.steps)
    for step in found.steps:
        head = f"{step.name:<{wide}}  {step.status:<{len(NOT_COMPARED)}}  "
        yield from wrapped(step.what, head, " " * len(head))
        # a table of what is shown only, so that it is no wider than it must be
        room = max(MOST_LINES - len(step.lines), 1)
        table = _table(step.differences[:room])
        told = [*step.lines, *table, *map(_changed, step.changes)]
        left = len(told) - MOST_LINES if not table else len(step.differences) - room
        for line in told[: MOST_LINES + bool(table)]:
            # a table's lines are kept, everything else is set anew
            aligned = "  " in line
            yield from ([f"    {printable(line)}"] if aligned else wrapped(line, "  - ", "    "))
        if left > 0:
            yield f"  - and {left} more; --json lists all"
    yield ""
    yield from wrapped(_verdict(found), "")
    for step in found.steps:
        for line in step.beside:
            yield from wrapped(line, "")
    if found.sentence is not None:
        yield from wrapped(f"The case gives: {found.sentence}", "")
    yield ""
    yield "Not checked, and nothing here can tell:"
    for each in found.not_checked:
        yield from wrapped(each, "- ", "  ")


def _verdict(found: Recheck) -> str:
    different = [step.name for step in found.steps if step.status == DIFFERS]
    if different:
        return f"DOES NOT AGREE: {', '.join(different)}."
    left = [step.name for step in found.steps if step.status == NOT_COMPARED]
    if PRINTED in left and all(not step.what for step in found.steps if step.name == PRINTED):
        return (
            "The block agrees with itself. THE WORDS BESIDE IT WERE NOT COMPARED: hold them "
            "against what follows."
        )
    if PRINTED in left:
        return (
            "The block agrees with itself. NOT ALL WORDS BESIDE IT WERE COMPARED: of those "
            "lines above that tell of it, hold each against what follows."
        )
    if left:
        return f"AGREES, as far as it was compared; not compared: {', '.join(left)}."
    if any(step.bare for step in found.steps):
        return "AGREES: the block agrees with itself; there are no words beside it."
    return "AGREES: the case that the report carries gives what the report says."


def _changed(change: tuple[str, Change]) -> str:
    name, what = change
    place = f'({name}: "{_closed(what.before)} [...] {_closed(what.behind)}")'
    printed, wanted = f'"{_closed(what.printed)}"', f'"{_closed(what.wanted)}"'
    if not what.wanted:
        return f"printed {printed}, where nothing should be {place}"
    if not what.printed:
        return f"{wanted} is missing {place}"
    return f"printed {printed}, should be {wanted} {place}"


def _closed(text: str) -> str:
    """Return words as they are read, without the marks and blanks that were taken apart."""
    return re.sub(r" (?=[,.;:)\]])", "", re.sub(r"(?<!\S)[`|*#]+(?!\S) ?", "", text)).strip()


def _table(differences: tuple[Difference, ...]) -> list[str]:
    if not differences:
        return []
    rows = [("", "published", "again", "apart", "allowed"), *map(_row, differences)]
    wide = [max(len(row[at]) for row in rows) for at in range(5)]
    return [
        f"{row[0]:<{wide[0]}}  " + "  ".join(f"{row[at]:>{wide[at]}}" for at in range(1, 5))
        for row in rows
    ]


def _row(each: Difference) -> tuple[str, str, str, str, str]:
    first, second, allowed = each.published, each.found, each.allowed
    if first is None or second is None:
        return each.what, _maybe(first), _maybe(second), "", ""
    apart = abs(first - second)
    decimals = words.decimals_for(apart)
    shown = [words.fixed(number, decimals) for number in (first, second, apart)]
    limit = "1e-9 of it" if allowed is None else words.fixed(allowed, words.decimals_for(allowed))
    return each.what, shown[0], shown[1], shown[2], limit


def _maybe(number: float | None) -> str:
    return "none" if number is None else words.plain(number)


def document(found: Recheck) -> dict[str, Any]:
    """Return a recheck as plain values, for JSON."""
    return {
        "report": found.name,
        "title": found.title,
        "receipt": found.stamp,
        "agrees": found.agrees,
        "steps": [
            {
                "step": step.name,
                "status": step.status,
                "what": step.what,
                "told": list(step.lines),
                "beside": list(step.beside),
                "differences": [vars(each) for each in step.differences],
                "changes": [{"text": name, **vars(change)} for name, change in step.changes],
            }
            for step in found.steps
        ],
        "gives": found.sentence,
        "not_checked": list(found.not_checked),
    }
