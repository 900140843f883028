"""Run tables and other data files (CSV): cells with their places, and what is wrong with them.

Commas stand between the cells, the first line names the columns, a row of units may follow.
Nothing is guessed: every cell stays text until a column is read as numbers, and those are
written by the grammar of numbers that the case itself uses.
"""

from __future__ import annotations

import csv
import hashlib
import math
import re
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import overload

import numpy as np

from effband.case.data_files import BadData, decode, read_data
from effband.case.number_cells import number_fault
from effband.case.table_form import (
    BLANK,
    MOST_FAULTS,
    Cell,
    Fault,
    Form,
    read_unit,
    split,
    too_many_rows,
)
from effband.problems import Misread
from effband.units import Unit, parse_number

__all__ = [
    "BadData",
    "Cell",
    "Fault",
    "Rows",
    "Table",
    "check_units",
    "column_numbers",
    "number_fault",
    "read_table",
]

# Short numbers, which float() reads as the grammar does: all finite, none with too many digits.
_SHORT_NUMBER = re.compile(r"[+-]?(?:0|[1-9][0-9]*)(?:\.[0-9]+)?(?:[eE][+-]?[0-9]{1,2})?")
_LONGEST_SHORT = 17


class Rows(Sequence[dict[str, Cell]]):
    """The rows of a table, each a mapping from column to cell, made when it is asked for.

    A file may hold millions of cells; kept as text, they fill no more memory than the file.

    Parameters
    ----------
    columns
        The names of the columns.
    lines
        The lines of the file, as many cells in each as there are columns.
    numbers
        Their numbers in the file, from 1.
    """

    def __init__(self, columns: Sequence[str], lines: list[str], numbers: list[int]) -> None:
        self._columns, self._lines, self._numbers = columns, lines, numbers

    def __len__(self) -> int:
        return len(self._lines)

    @overload
    def __getitem__(self, index: int) -> dict[str, Cell]: ...
    @overload
    def __getitem__(self, index: slice) -> Rows: ...
    def __getitem__(self, index: int | slice) -> dict[str, Cell] | Rows:
        if isinstance(index, slice):
            return Rows(self._columns, self._lines[index], self._numbers[index])
        cells = split(self._lines[index], self._numbers[index])
        return dict(zip(self._columns, cells, strict=True))

    def texts(self, column: str) -> Iterator[str]:
        """Yield the text of a column's cells, row by row. Raises ValueError without it."""
        at = self._columns.index(column)
        return (fields[at].strip(BLANK) for fields in csv.reader(self._lines, strict=True))


@dataclass(frozen=True)
class Table:
    r"""A CSV file as read.

    Attributes
    ----------
    name, text, sha256, size
        Its name as given, its text with `\n` between lines, the hash and number of its bytes.
    header
        The names of the columns.
    units
        The filled cells of the row of units, by column; empty without such a row.
    rows
        The rows that are in form; blank lines are skipped. There are none when the header is at
        fault, nor below a quote that does not close.
    faults
        What is wrong with the form, in file order, the first `MOST_FAULTS`.
    notes
        What was done to the text that the user may not expect.
    """

    name: str
    text: str
    sha256: str
    size: int
    header: tuple[Cell, ...]
    units: dict[str, Cell]
    rows: Rows
    faults: tuple[Fault, ...]
    notes: tuple[Fault, ...]


def read_table(
    folder: str | Path, name: str, most_rows: int, most_bytes: int = 50_000_000
) -> Table:
    """Read a CSV file that stands in the folder of the case, or below it.

    Parameters
    ----------
    folder
        The folder of the case; "" is the current one.
    name
        The file's name as written in the case.
    most_rows
        How many rows it may have, the header and the row of units not counted.
    most_bytes
        How large it may be.

    Raises
    ------
    BadData
        When the file as a whole is refused; nothing else is raised, whatever it holds.
    """
    data = read_data(folder, name, most_bytes)
    text = decode(data, name)
    if text.count("\n") > 2 * most_rows + 1000:
        raise too_many_rows(name, most_rows)
    form = Form(name, text, most_rows)
    columns = [cell.text for cell in form.header]
    return Table(
        name=name,
        text=text,
        sha256=hashlib.sha256(data).hexdigest(),
        size=len(data),
        header=tuple(form.header),
        units=form.units,
        rows=Rows(columns, [form.lines[number - 1] for number in form.numbers], form.numbers),
        faults=tuple(sorted(form.faults.values(), key=lambda fault: fault.place)[:MOST_FAULTS]),
        notes=tuple(form.notes),
    )


def check_units(table: Table, declared: Mapping[str, Unit]) -> list[Fault]:
    """Return where the row of units says something else than the case.

    Parameters
    ----------
    table
        The file; without a row of units nothing is at fault.
    declared
        The unit of each column that the case uses. Other columns are not looked at.
    """
    faults = []
    for column, cell in table.units.items():
        unit = declared.get(column)
        if unit is None or cell.text == unit.text:
            continue
        try:
            written = read_unit(cell.text)
        except Misread as error:
            place = cell.place.shifted(error.start, min(error.length, cell.place.length))
            faults.append(Fault(place, error.what, error.remedy))
            continue
        if not _same(written, unit):
            what = f"{column!r} is in {written.text} in this file and in {unit.text} in the case"
            remedy = "write in both the unit that the numbers of the column are in"
            faults.append(Fault(cell.place, what, remedy))
    return faults


def _same(left: Unit, right: Unit) -> bool:
    return (
        (left.dimension, left.kind, left.zero) == (right.dimension, right.kind, right.zero)
        and math.isclose(left.factor, right.factor, rel_tol=1e-12)  # J/s and W differ by rounding
    )


def column_numbers(
    table: Table, column: str, missing: Collection[str]
) -> tuple[np.ndarray, list[Fault], int]:
    """Return the numbers of one column as written, not converted.

    Parameters
    ----------
    table
        The file.
    column
        A column of its header.
    missing
        Texts that mark a number as missing, compared letter by letter.

    Returns
    -------
    numbers : ndarray of shape (rows that are neither missing nor at fault,)
        In the unit of the column.
    faults : list of Fault
        Cells that are no numbers, the first `MOST_FAULTS`.
    marked : int
        How many cells are marked as missing; they are left out of the numbers.

    Raises
    ------
    ValueError
        When the header has no such column.
    """
    marks, marked = frozenset(missing), 0
    numbers: list[float] = []
    faults: list[Fault] = []
    for row, text in enumerate(table.rows.texts(column)):
        if text in marks:
            marked += 1
        elif len(text) <= _LONGEST_SHORT and _SHORT_NUMBER.fullmatch(text):
            numbers.append(float(text))
        elif len(faults) < MOST_FAULTS:
            fault = number_fault(text)
            if fault is None:
                numbers.append(parse_number(text))
            else:
                faults.append(Fault(table.rows[row][column].place, *fault))
    return np.array(numbers, dtype=np.float64), faults, marked
