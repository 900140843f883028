"""What came of running a published report again: its steps, the screen and the JSON."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

from effband.problems import printable
from effband.report import words
from effband.report.printed import Change

AGREES, DIFFERS, NOT_COMPARED = "agrees", "DIFFERS", "not compared"
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
    """

    name: str
    status: str
    what: str
    lines: tuple[str, ...] = ()
    differences: tuple[Difference, ...] = ()
    changes: tuple[tuple[str, Change], ...] = ()
    exact: bool = False


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
    def agrees(self) -> bool:
        """Whether nothing differs."""
        return all(step.status != DIFFERS for step in self.steps)

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
    yield printable(f"{found.name}{title}")
    yield ""
    wide = max(len(step.name) for step in found.steps)
    for step in found.steps:
        yield printable(f"{step.name:<{wide}}  {step.status:<{len(NOT_COMPARED)}}  {step.what}")
        told = [*step.lines, *_table(step.differences), *map(_changed, step.changes)]
        yield from (f"    {printable(line)}" for line in told[:MOST_LINES])
        if len(told) > MOST_LINES:
            yield f"    and {len(told) - MOST_LINES} more; --json lists all"
    yield ""
    yield printable(_verdict(found))
    if found.sentence is not None:
        yield printable(f"The case gives: {found.sentence}")
    yield ""
    yield "Not checked, and nothing here can tell:"
    yield from (f"- {printable(each)}" for each in found.not_checked)


def _verdict(found: Recheck) -> str:
    different = [step.name for step in found.steps if step.status == DIFFERS]
    if different:
        return f"DOES NOT AGREE: {', '.join(different)}."
    left = [step.name for step in found.steps if step.status == NOT_COMPARED]
    if left:
        return f"AGREES, as far as it was compared; not compared: {', '.join(left)}."
    return "AGREES: the case that the report carries gives what the report says."


def _changed(change: tuple[str, Change]) -> str:
    name, what = change
    around = f'"{what.before} [...] {what.behind}"'.replace('" [', '"[').replace('] "', ']"')
    around = _closed(around)
    if not what.wanted:
        return f'{name}: "{_closed(what.printed)}" is none of the report\'s own, in {around}'
    if not what.printed:
        return f'{name}: "{_closed(what.wanted)}" is missing, in {around}'
    printed, wanted = _closed(what.printed), _closed(what.wanted)
    return f'{name}: printed "{printed}", should be "{wanted}", in {around}'


def _closed(text: str) -> str:
    """Return words without the blanks before signs that were taken apart for comparing."""
    return re.sub(r" (?=[,.;:)\]])", "", text)


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
                "differences": [vars(each) for each in step.differences],
                "changes": [{"text": name, **vars(change)} for name, change in step.changes],
            }
            for step in found.steps
        ],
        "gives": found.sentence,
        "not_checked": list(found.not_checked),
    }
