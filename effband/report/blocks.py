"""What a report is made of: text without marks, which each face makes safe for its place."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

_TICKED = re.compile(r"`(effband [a-z]+|[a-z_]+:)`")  # a command or a key, as messages name them
MOST_ROWS = 40  # of a table; of more, the rest is told in short


@dataclass(frozen=True)
class Code:
    """A name or a formula."""

    text: str


@dataclass(frozen=True)
class Strong:
    """What counts more than what stands beside it."""

    text: str


Span = str | Code | Strong
Line = tuple[Span, ...]  # of a user's text, or ours; each face makes it safe


@dataclass(frozen=True)
class Paragraph:
    """One paragraph."""

    line: Line


@dataclass(frozen=True)
class Bullets:
    """Items, each a line and what stands under it."""

    items: tuple[tuple[Line, tuple[str, ...]], ...]


@dataclass(frozen=True)
class Table:
    """A table: the heads of its columns, and its rows, one line for each cell."""

    head: tuple[Line, ...]
    rows: tuple[tuple[Line, ...], ...]


@dataclass(frozen=True)
class Picture:
    """A figure: its file name, and the words that stand for it."""

    file: str
    alt: str


@dataclass(frozen=True)
class Preformatted:
    """Text whose lines and blanks count, such as the case."""

    text: str


Block = Paragraph | Bullets | Table | Picture | Preformatted


@dataclass(frozen=True)
class Section:
    """A heading and what stands under it; `in_post` where a short post has it too."""

    title: str
    blocks: tuple[Block, ...]
    in_post: bool = False


@dataclass(frozen=True)
class Report:
    """A whole report."""

    title: str
    cautions: tuple[str, ...]
    sentence: str
    sections: tuple[Section, ...]


def spanned(text: str) -> Line:
    """Return text in which commands and keys between backticks are code."""
    parts = _TICKED.split(text)
    return tuple(Code(part) if at % 2 else part for at, part in enumerate(parts) if part)


def bullets(title: str, texts: Sequence[str], in_post: bool = False) -> Section:
    """Return a section of plain items; without any, an empty one."""
    items = tuple((spanned(text), ()) for text in texts)
    return Section(title, (Bullets(items),) if items else (), in_post)


def table(head: Sequence[Span], rows: Sequence[Sequence[Span | Line]]) -> Table:
    """Return a table; a cell may be one span or several. Columns that say nothing are left out."""
    kept = [at for at in range(len(head)) if at == 0 or any(row[at] for row in rows)]

    def lines(cells: Sequence[Span | Line]) -> tuple[Line, ...]:
        found = (cells[at] for at in kept)
        return tuple(cell if isinstance(cell, tuple) else (cell,) for cell in found)

    return Table(lines(head), tuple(lines(row) for row in rows))


def in_short(whole: Table, rest: Line) -> tuple[Block, ...]:
    """Return a table with no more than `MOST_ROWS`, and where those that are left out stand."""
    more = len(whole.rows) - MOST_ROWS
    if more <= 0:
        return (whole,)
    return (Table(whole.head, whole.rows[:MOST_ROWS]), Paragraph((f"{more} more ", *rest)))
