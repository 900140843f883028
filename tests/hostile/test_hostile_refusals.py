"""The tables of `refusals/`: a case each, and to the letter what is said of it.

A table is text. Its first line says what it is about; then come cases,

    === name of the case
    lines of a case
    --- refused
    what stands on stderr: place, message, line, caret, help

Unless the name ends in [whole file], the case stands after the lines `effband: 1` and
`title: bench` (so its own first line is line 3), and a result is added where it has none.
`--- accepted` is followed by its warnings, if any. `{U+00A0}` stands for one character.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest
from attack import attempt, complete

from effband.case.resolve import load_case
from effband.problems import render_all

TABLES = sorted((Path(__file__).parent / "refusals").glob("*.txt"))
WHOLE = " [whole file]"


@dataclass(frozen=True)
class Row:
    """One case of a table."""

    name: str
    case: str
    refused: bool
    expected: str


def rows_of(table: Path) -> Iterator[Row]:
    """Yield the rows of a table."""
    # newlines are kept as they are: some cases are about them
    text = table.read_bytes().decode("utf-8")
    for part in re.split(r"^=== ", text, flags=re.MULTILINE)[1:]:
        head, _, rest = part.partition("\n")
        match = re.fullmatch(r"(.*?)^--- (refused|accepted)\n(.*)", rest, re.DOTALL | re.MULTILINE)
        assert match is not None, f"{table.name}: {head}"
        body = re.sub(r"\{U\+([0-9A-F]{4,6})\}", lambda m: chr(int(m[1], 16)), match[1])
        case = body if head.endswith(WHOLE) else complete(body)
        yield Row(head.removesuffix(WHOLE), case, match[2] == "refused", match[3].strip("\n"))


ROWS = [
    pytest.param(row, id=f"{table.stem}: {row.name}") for table in TABLES for row in rows_of(table)
]


@pytest.mark.parametrize("row", ROWS)
def test_what_is_said(row: Row, capsys: pytest.CaptureFixture[str]) -> None:
    outcome = attempt(row.case, capsys)
    if row.refused:
        assert outcome.stderr.rstrip("\n") == row.expected
        assert outcome.code == 1
    else:
        assert outcome.code == 0, outcome.stderr
        case = load_case("case.yaml")
        said = render_all(case.warnings, "case.yaml", case.text.text, "warning")
        assert said == row.expected


def test_tables_are_read() -> None:
    assert len(TABLES) == 11
    assert len(ROWS) > 400
    names = [param.id for param in ROWS]
    assert len(set(names)) == len(names)
