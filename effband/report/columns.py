"""Text in the columns of a terminal; wide letters count as two."""

from __future__ import annotations

from effband.problems import printable, width

COLUMNS = 80


def wrapped(text: str, first: str, other: str | None = None) -> list[str]:
    """Return text broken into lines of at most `COLUMNS` columns, wide letters counted as two."""
    lines, line = [], first
    indent = " " * len(first) if other is None else other
    start = True
    for word in printable(" ".join(text.split())).split(" "):
        for piece in _pieces(word, COLUMNS - len(indent)):
            gap = "" if start else " "
            if not start and width(line) + len(gap) + width(piece) > COLUMNS:
                lines.append(line)
                line, gap = indent, ""
            line += gap + piece
            start = False
    return [*lines, line]


def _pieces(word: str, columns: int) -> list[str]:
    """Return a word in pieces that fit so many columns each."""
    pieces = [""]
    for character in word:
        if width(pieces[-1] + character) > columns:
            pieces.append("")
        pieces[-1] += character
    return pieces
