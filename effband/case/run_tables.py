"""Numbers from files beside the case: rows of runs, and samples drawn elsewhere."""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import replace

from effband.case.findings import Findings
from effband.case.format import CaseFile, Draws, Runs
from effband.case.model import DataFile
from effband.case.tables import (
    BadData,
    Cell,
    Fault,
    Table,
    check_units,
    column_numbers,
    number_fault,
    read_table,
)
from effband.case.text import Path
from effband.case.values import NAME
from effband.evidence.tables import FloatArray
from effband.problems import Document, Misread, Problem, nearest
from effband.units import ONE, Unit, parse_quantity

MOST_RUNS = 2_000
MOST_DRAWS = 1_000_000
LEAST_DRAWS = 2
FEW_DRAWS = 200
REMARKS = ("note", "label")


class DataFiles:
    """Reads the files that a case names, each once; problems go to the findings.

    Attributes
    ----------
    read
        What was read, by name.
    """

    def __init__(self, findings: Findings) -> None:
        self.findings = findings
        self.folder = os.path.dirname(findings.text.file)
        self.tables: dict[str, Table | None] = {}
        self.read: dict[str, DataFile] = {}

    def document(self, table: Table) -> Document:
        """Return a table as a file that problems can point into."""
        return Document(os.path.join(self.folder, table.name), table.text)

    def table(self, name: str, path: Path, most_rows: int) -> Table | None:
        """Return a table; None when it was refused, as is said at `path` or in its own lines."""
        if name in self.tables:
            return self.tables[name]
        self.tables[name] = None
        try:
            table = read_table(self.folder or ".", name, most_rows)
        except BadData as error:
            self.findings.error(path, error.what, error.remedy)
            return None
        self.refuse(table, table.faults)
        document = self.document(table)
        self.findings.warnings += [
            Problem(note.place, note.what, note.remedy, document) for note in table.notes
        ]
        if not table.faults:
            self.tables[name] = table
            self.read[name] = DataFile(name, table.sha256, table.size, len(table.rows))
        return self.tables[name]

    def refuse(self, table: Table, faults: tuple[Fault, ...] | list[Fault]) -> None:
        """Report faults in the lines of a table."""
        document = self.document(table)
        self.findings.problems += [
            Problem(fault.place, fault.what, fault.remedy, document) for fault in faults
        ]

    # -- rows of runs ------------------------------------------------------------------------

    def with_rows(self, file: CaseFile) -> CaseFile:
        """Return the case file with the rows of its `runs.file`, if it names one."""
        runs = file.runs
        if runs is None:
            return file
        if runs.file is None:
            marked = [
                ("runs", "readings", name, "missing")
                for name, c in runs.readings.items()
                if c.missing
            ]
            for place in [*([("runs", "missing")] if runs.missing else []), *marked]:
                what = "`missing:` says how a file of runs marks what is missing"
                self.findings.key_error(place, what, "under `rows:` leave the cell out")
            return file
        path: Path = ("runs", "file")
        if runs.rows:
            what = "`rows:` and `file:` both give the runs"
            self.findings.key_error(path, what, "keep one of them")
            return file
        table = self.table(runs.file, path, MOST_RUNS)
        if table is None or not self._columns_fit(table, runs):
            self.findings.broken.update(runs.readings)
            self.findings.rows_lost = True
            return file
        rows = self._rows(table, runs)
        return file.model_copy(update={"runs": runs.model_copy(update={"rows": rows})})

    def _columns_fit(self, table: Table, runs: Runs) -> bool:
        before = len(self.findings.problems)
        names = [cell.text for cell in table.header]
        if names[0] != "run":
            what = f"the first column is {names[0]!r}; it must be `run`"
            fault = Fault(table.header[0].place, what, "name each run in the first column")
            self.refuse(table, [fault])
        for name, column in runs.readings.items():
            if name not in names and column.in_every_run is None:
                what = f"{table.name} has no column {name!r}"
                remedy = nearest(name, names, f"its columns: {', '.join(names)}")
                self.findings.key_error(("runs", "readings", name), what, remedy)
        known = {*runs.readings, *self.findings.broken, *REMARKS, "run"}
        for cell in table.header:
            if cell.text not in known and names[0] == "run":
                what = f"the column {cell.text!r} is not declared, so it is not read"
                remedy = "declare it under `readings:`, or call it `note` if it is one"
                note = Problem(cell.place, what, remedy, self.document(table))
                self.findings.warnings.append(note)
        declared = {name: column.unit for name, column in runs.readings.items()}
        self.refuse(table, check_units(table, declared))
        return len(self.findings.problems) == before

    def _rows(self, table: Table, runs: Runs) -> dict[str, dict[str, str]]:
        document = self.document(table)
        rows: dict[str, dict[str, str]] = {}
        first: dict[str, Cell] = {}
        missing = 0
        for row in table.rows:
            name = row["run"]
            fault = self._name_fault(name, first)
            if fault is not None:
                self.refuse(table, [fault])
                self.findings.rows_lost = True
                continue
            first[name.text] = name
            path: Path = ("runs", "rows", name.text)
            self.findings.elsewhere[path] = (document, name.place)
            rows[name.text] = {}
            for column in runs.readings:
                cell = row.get(column)
                if cell is None:
                    continue
                marks = {*runs.missing, *runs.readings[column].missing}
                missing += cell.text in marks
                if cell.text in marks and runs.readings[column].in_every_run is not None:
                    what = f"{column} has its value in every run, so it cannot be missing"
                    self.refuse(table, [Fault(cell.place, what, "leave the cell empty")])
                if cell.text and cell.text not in marks:
                    self.findings.elsewhere[(*path, column)] = (document, cell.place)
                    if self._cell_fits(cell, (*path, column)):
                        rows[name.text][column] = cell.text
                    else:
                        self.findings.broken.add(column)
        if missing:
            what = f"{missing} cell{'s' * (missing > 1)} of {table.name} marked as missing"
            remedy = "results that need them have no value in that run"
            self.findings.warn(("runs", "file"), what, remedy)
        return rows

    def _name_fault(self, name: Cell, first: Mapping[str, Cell]) -> Fault | None:
        if not NAME.fullmatch(name.text):
            what = f"{name.text!r} cannot be the name of a run"
            return Fault(name.place, what, "letters a-z, digits and _, a letter first, at most 40")
        if name.text in first:
            what = f"the run {name.text} stands in line {first[name.text].place.line} already"
            return Fault(name.place, what, "give each run its own name; `groups:` joins repeats")
        return None

    def _cell_fits(self, cell: Cell, path: Path) -> bool:
        """Return whether a cell is a number, alone or with its unit; else report it."""
        fault = number_fault(cell.text)
        if fault is None:
            return True
        try:
            if parse_quantity(cell.text).unit is not ONE:
                return True
        except Misread:
            pass
        self.findings.error(path, *fault)
        return False

    # -- samples -----------------------------------------------------------------------------

    def sample(self, draws: Draws, unit: Unit, path: Path) -> FloatArray | None:
        """Return a column as values in SI; None when it was refused."""
        table = self.table(draws.file, (*path, "file"), MOST_DRAWS)
        if table is None:
            return None
        names = [cell.text for cell in table.header]
        if draws.column not in names:
            what = f"{table.name} has no column {draws.column!r}"
            remedy = nearest(draws.column, names, f"its columns: {', '.join(names)}")
            self.findings.error((*path, "column"), what, remedy)
            return None
        numbers, faults, _ = column_numbers(table, draws.column, ())
        no_gaps = "delete the row: a sample has no gaps"
        faults = [replace(f, remedy=no_gaps) if "missing:" in f.remedy else f for f in faults]
        faults = [*check_units(table, {draws.column: unit}), *faults]
        self.refuse(table, faults)
        if faults:
            return None
        if 0 < len(numbers) < FEW_DRAWS:
            what = f"a sample of {len(numbers)} values says little of its tails"
            self.findings.warn(path, what, "draw more of them, or declare a spread")
        if len(numbers) < LEAST_DRAWS or numbers.min() == numbers.max():
            what = f"the column {draws.column} of {table.name} does not vary"
            self.findings.error((*path, "column"), what, "a sample needs two values or more")
            return None
        values: FloatArray = numbers * unit.factor + unit.zero
        return values
