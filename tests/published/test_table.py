"""README.md, the table of published numbers, held to the files that it speaks of."""

from __future__ import annotations

import ast
import re
from collections import Counter
from dataclasses import dataclass

import pytest
from worked_examples import HERE, PROJECT, ROWS, Row

README = (HERE / "README.md").read_text(encoding="utf-8")
HEAD = "| entry | source | quantity | published | tag | where |"
ENTRIES = [f"D{number:02d}" for number in range(1, 50)]
PROVENANCES = ("READ", "FOUND", "MEMORY", "DERIVED")
LEAST_REASON = 20  # characters: shorter ones say nothing


@dataclass(frozen=True)
class Line:
    """One line of the table."""

    number: int
    entry: str
    source: str
    quantity: str
    published: str
    tag: str
    where: str

    @property
    def kind(self) -> str:
        return self.tag.partition(":")[0]

    @property
    def value(self) -> float | bool:
        words = {"true": True, "false": False}
        return words[self.published] if self.published in words else float(self.published)


def lines_of(text: str) -> list[Line]:
    _, head, body = text.partition(HEAD + "\n")
    assert head, "the table's head is not there"
    ruler, *rows = body.splitlines()
    assert set(ruler) == {"|", "-"}
    cells = [[cell.strip() for cell in row.strip("|").split("|")] for row in rows]
    return [Line(number, *row) for number, row in enumerate(cells, 1)]


LINES = lines_of(README)
LABELLED = {"ids": lambda line: f"{line.number}-{line.entry}"}


def rows_named(where: str) -> list[Row]:
    """Return the rows of expected.yaml that a line names, each of which must be there."""
    found = []
    for part in where.split(" / "):
        file = re.fullmatch(r"`(\w+\.yaml)`: (.+)", part)
        assert file, part
        for item in file[2].split("; "):
            named = re.fullmatch(r"`(\w+) (\S+)`(?: \(([\w.]+)\))?", item)
            assert named, item
            result, path, mark = named.groups()
            rows = [
                row
                for row in ROWS
                if (row.case, row.result, row.path) == (file[1], result, path)
                and mark in ((row.run,) if row.run else (_text(row.probability),))
            ]
            assert rows, f"no row for {file[1]}, {item}"
            found.append(rows)
    return [row for rows in found for row in rows]


def _text(probability: float | None) -> str | None:
    return None if probability is None else f"{probability:g}"


def is_value(row: Row, value: float | bool) -> bool:
    """Return whether a row holds a value, and as what it is: true is not 1."""
    return row.value == value and isinstance(row.value, bool) == isinstance(value, bool)


@pytest.mark.parametrize("line", [x for x in LINES if x.kind == "json"], **LABELLED)
def test_the_rows_named_hold_the_published_value(line: Line) -> None:
    places = {
        (row.case, row.result, row.path, row.run, row.probability): False
        for row in rows_named(line.where)
    }
    for row in rows_named(line.where):
        place = (row.case, row.result, row.path, row.run, row.probability)
        places[place] |= is_value(row, line.value)
    assert all(places.values()), f"{line.published} is not the value at {places}"


@pytest.mark.parametrize("line", [x for x in LINES if x.kind == "unit"], **LABELLED)
def test_the_test_named_is_there_and_knows_the_value(line: Line) -> None:
    file, _, function = line.where.strip("`").partition("::")
    tree = ast.parse((PROJECT / file).read_text(encoding="utf-8"))
    tests = [node for node in tree.body if isinstance(node, ast.FunctionDef)]
    (named,) = [node for node in tests if node.name == function]
    known = [node.value for node in ast.walk(named) if isinstance(node, ast.Constant)]
    assert any(value == line.value and type(value) is type(line.value) for value in known)
    assert any(isinstance(node, ast.Assert) for node in ast.walk(named))


@pytest.mark.parametrize("line", [x for x in LINES if x.kind == "dropped"], **LABELLED)
def test_what_is_dropped_has_a_reason_and_no_place(line: Line) -> None:
    assert line.tag.startswith("dropped: ")
    assert len(line.tag.removeprefix("dropped: ")) >= LEAST_REASON
    assert line.where == "-"
    float(line.published)


def test_every_line_is_complete() -> None:
    for line in LINES:
        assert line.quantity
        assert line.kind in ("json", "unit", "dropped"), line
        assert line.kind == "dropped" or line.tag == line.kind, line
        provenance = re.fullmatch(r".+ \((.+)\)", line.source)
        assert provenance, line
        assert re.match(r"(?:" + "|".join(PROVENANCES) + r")\b", provenance[1]), line
        assert f"\n- {provenance[1].split()[0]}: " in README
    assert len({(line.entry, line.quantity) for line in LINES}) == len(LINES), "said twice"


def test_entries_are_all_there_and_in_order() -> None:
    assert list(dict.fromkeys(line.entry for line in LINES)) == ENTRIES
    assert [line.entry for line in LINES] == sorted(line.entry for line in LINES)


def test_lines_are_as_many_as_said() -> None:
    said = re.search(
        r"(\d+) lines, of which (\d+)\s+`json`, (\d+)\s+`unit`\s+and (\d+)\s+`dropped`", README
    )
    assert said
    kinds = Counter(line.kind for line in LINES)
    found = (len(LINES), kinds["json"], kinds["unit"], kinds["dropped"])
    assert tuple(map(int, said.groups())) == found


def test_every_printed_row_is_in_the_table() -> None:
    named = {
        (id(row), line.value)
        for line in LINES
        if line.kind == "json"
        for row in rows_named(line.where)
    }
    lost = [
        row.label for row in ROWS if row.basis == "printed" and (id(row), row.value) not in named
    ]
    assert lost == []
