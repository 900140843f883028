"""What the user gave: every input and every cell, as numbers with their spreads still unread."""

from __future__ import annotations

import statistics
from collections.abc import Mapping
from dataclasses import dataclass

from effband.case.findings import Findings
from effband.case.format import CaseFile, Column, Input, Spread
from effband.case.instruments import missing_instrument
from effband.case.number_cells import stands_for_missing
from effband.case.spreads import NO_UNIT, BadSpread, keys_given, repeated_values, unit_of
from effband.case.syntax import MISSING_READING
from effband.case.text import Path
from effband.evidence.as_sold import INSTRUMENTS_BY_NAME
from effband.problems import Misread, nearest
from effband.units import ONE, Quantity, Unit, parse_quantity

AROUND_A_READING = {"plus_minus", "standard_uncertainty", "expanded_uncertainty", "within_factor"}
BESIDE_IT = {"shape", "top", "coverage_factor", "degrees_of_freedom"}


@dataclass(frozen=True)
class Given:
    """One number of the user's, before its errors are worked out.

    Attributes
    ----------
    name, run
        Its name, and the run of a reading.
    path
        Where it stands in the file.
    spread
        What is said of its spread; a cell's own, or its column's, or an input's.
    entry
        The input or column it belongs to.
    value
        The number read, for a reading or a column's cell; None for an input's own spread.
    unit
        The unit it is shown in.
    times
        How many times as large it is as in the case, where a longer run is looked at; formulas
        get the share of it that stands in the case.
    """

    name: str
    run: str | None
    path: Path
    spread: Spread
    entry: Input | Column
    value: Quantity | None
    unit: Unit
    times: float = 1.0

    @property
    def source(self) -> str:
        """The name its error sources begin with."""
        return self.name if self.run is None else f"{self.name}[{self.run}]"


def _mean_of(spread: Spread, unit: Unit) -> Quantity:
    """Return the mean of repeats; what is wrong with them is said where they are used."""
    try:
        values = repeated_values(spread, unit)
    except BadSpread:
        return Quantity(0.0, unit)
    return Quantity(unit.from_si(statistics.fmean(values)), unit)


def is_constant(given: Given) -> bool:
    """Return whether a number was declared to have no spread."""
    if isinstance(given.entry, Input):
        return given.entry.constant is not None
    return given.entry.exact


def refuse_idle_keys(spread: Spread) -> None:
    """Refuse the keys that would change a number but have no effect here."""
    if spread.draws is not None and not isinstance(spread, Input):
        remedy = "make it an input, and use that in the formula"
        raise BadSpread("draws", "a sample from elsewhere is an input's, not a reading's", remedy)
    if spread.like is not None:
        what = "`like:` names a rule of thumb, which is an input by itself"
        remedy = "make it an input, and use that in the formula"
        if spread.like in INSTRUMENTS_BY_NAME:
            what = f"{spread.like!r} is an instrument: declare it under `instruments:`"
            remedy = "and name it here by `instrument:`"
        raise BadSpread("like", what, remedy)


class Numbers:
    """Reads the inputs and the rows of a case.

    Attributes
    ----------
    absent
        Cells without a value: (reading, run) to the reading's name where it may be missing,
        to None where that was refused.
    grown
        How many times as large readings are to be; repeats of one reading, and cells with limits
        of their own, stay as they are.
    """

    def __init__(
        self, file: CaseFile, findings: Findings, grown: Mapping[str, float] | None = None
    ) -> None:
        self.file = file
        self.findings = findings
        self.grown = grown or {}
        self.columns: dict[str, Column] = file.runs.readings if file.runs else {}
        self.rows = file.runs.rows if file.runs else {}
        self.absent: dict[tuple[str, str], str | None] = {}

    def all(self) -> list[Given]:
        """Return every number that can be used; problems go to the findings."""
        return [*self._inputs(), *self._cells()]

    def _inputs(self) -> list[Given]:
        found = []
        for name, entry in self.file.inputs.items():
            path: Path = ("inputs", name)
            if entry.instrument is not None and missing_instrument(
                entry.instrument, (*path, "instrument"), self.file.instruments, self.findings
            ):
                self.findings.broken.add(name)
                continue
            given = given_input(name, entry, self.findings)
            if given is None or self._uses_broken(entry):
                self.findings.broken.add(name)
            else:
                found.append(given)
        return found

    def _uses_broken(self, spread: Spread) -> bool:
        return (spread.instrument or "").partition("#")[0] in self.findings.broken

    def _cells(self) -> list[Given]:
        found: list[Given] = []
        for name, column in self.columns.items():
            fits = self._column_fits(name, column)
            for run in self.rows:
                given = self._cell(name, column, run, fits)
                if fits and given is not None:
                    found.append(given)
            if not fits:
                self.findings.broken.add(name)
        for run, row in self.rows.items():
            for name in row:
                known = {*self.columns, *self.findings.broken, "note", "label"}
                if name not in known:
                    remedy = nearest(name, self.columns, "declare it under `readings:`")
                    what = f"no reading is called {name!r}"
                    self.findings.key_error(("runs", "rows", run, name), what, remedy)
        return found

    def _column_fits(self, name: str, column: Column) -> bool:
        path: Path = ("runs", "readings", name)
        before = len(self.findings.problems)
        if column.instrument is not None:
            missing_instrument(
                column.instrument, (*path, "instrument"), self.file.instruments, self.findings
            )
        ways = keys_given(column)
        for key in sorted(ways - AROUND_A_READING - BESIDE_IT):
            what = f"a column's spread is around each reading; `{key}` is not"
            self.findings.key_error((*path, key), what, "use `plus_minus:`, or give it in the cell")
        try:
            refuse_idle_keys(column)
        except BadSpread as error:
            self.findings.key_error((*path, error.key or ""), error.what, error.remedy)
        if column.exact and (ways or column.instrument or column.also):
            self.findings.key_error((*path, "exact"), "an exact column has no spread", "drop one")
        elif column.instrument is not None and ways:
            key = sorted(ways)[0]
            what = f"`{key}` does not go with an instrument, which says how well it reads"
            self.findings.key_error((*path, key), what, "put a second spread under `also:`")
        elif not (column.exact or ways or column.instrument) and not self._cells_speak(name):
            remedy = "add `instrument:` or `plus_minus:`, or `exact: true` if it truly has none"
            self.findings.key_error(path, f"the column {name} has no spread", remedy)
        stray = None if column.instrument else _without_effect(column)
        if stray is not None and not self._cells_speak(name):
            what = f"`{stray}:` is for a column with an instrument"
            self.findings.key_error((*path, stray), what, "name the instrument, or delete it")
        if column.in_every_run is not None:
            unit = column.in_every_run.unit
            if unit is not ONE and unit.dimension != column.unit.dimension:
                own = column.unit.text
                what = f"{unit.text} does not fit the column {name}, which is in {own}"
                self.findings.key_error((*path, "in_every_run"), what, f"write it in {own}")
        if column.shared and column.instrument is not None:
            what = "an instrument already shares its common error among all runs"
            self.findings.key_error((*path, "shared"), what, "delete `shared:`")
        return len(self.findings.problems) == before and not self._uses_broken(column)

    def _cells_speak(self, name: str) -> bool:
        rows = self.rows.values()
        return bool(rows) and all(isinstance(row.get(name), Spread) for row in rows)

    def _cell(self, name: str, column: Column, run: str, fits: bool) -> Given | None:
        path: Path = ("runs", "rows", run, name)
        cell = self.rows[run].get(name)
        if cell is None or cell == "":
            if column.in_every_run is not None and fits:
                return self._at(name, run, path, column, column, column.in_every_run)
            if not column.optional and fits and not (self.findings.broken & {name, run}):
                what = f"run {run} has no reading {name}"
                remedy = "write it, or say `optional: true` on the column"
                self.findings.key_error(("runs", "rows", run), what, remedy)
            self.absent[(name, run)] = name if column.optional else None
            return None
        if isinstance(cell, Spread):
            return self._spread_cell(name, run, path, column, cell)
        try:
            value = parse_quantity(cell)
        except Misread as error:
            if stands_for_missing(cell):
                error = Misread(error.start, error.length, error.what, MISSING_READING)
            self.findings.misread(path, error)
            self.findings.broken.add(name)
            return None
        return self._at(name, run, path, column, column, value)

    def _spread_cell(
        self, name: str, run: str, path: Path, column: Column, cell: Spread
    ) -> Given | None:
        """Return a cell with its own spread; one that only adds to the column's keeps that."""
        value = cell.value
        try:
            refuse_idle_keys(cell)
        except BadSpread as error:
            self.findings.key_error((*path, error.key or ""), error.what, error.remedy)
            self.findings.broken.add(name)
            return None
        own = keys_given(cell) - {"value"}
        instrument = cell.instrument or column.instrument
        if own and (cell.instrument is None and (own != {"repeats"} or instrument is None)):
            if value is None:
                return Given(name, run, path, cell, column, None, column.unit)
            return self._at(name, run, path, cell, column, value)
        if own - {"repeats"} or (value is not None and cell.repeats):
            key = sorted(own)[0]
            what = f"`{key}` does not go with an instrument, which says how well it reads"
            self.findings.key_error((*path, key), what, "put a second spread under `also:`")
            self.findings.broken.add(name)
            return None
        kept = {
            "instrument": instrument,
            "evidence": cell.evidence,
            "physical": cell.physical,
            "readable_to": cell.readable_to,
            "each_reading": cell.each_reading,
            "also": cell.also,
            "repeats": cell.repeats,
            "note": cell.note,
        }
        if cell.instrument is not None and missing_instrument(
            cell.instrument, (*path, "instrument"), self.file.instruments, self.findings
        ):
            self.findings.broken.add(name)
            return None
        spread = column.model_copy(update={k: v for k, v in kept.items() if v})
        return self._at(name, run, path, spread, column, value)

    def _at(
        self,
        name: str,
        run: str,
        path: Path,
        spread: Spread,
        column: Column,
        value: Quantity | None,
    ) -> Given | None:
        """Return a cell as a number of the column; a bare number is in the column's unit."""
        if value is None:
            if not spread.repeats:
                self.findings.key_error(path, "this cell has no value", "write `value:`")
                return None
            value = _mean_of(spread, column.unit)
        if value.unit is ONE:
            value = Quantity(value.number, column.unit)
        if value.unit.dimension != column.unit.dimension:
            what = (
                f"{value.unit.text} does not fit the column {name}, which is in {column.unit.text}"
            )
            self.findings.error(path, what, f"write it in {column.unit.text}")
            self.findings.broken.add(name)
            return None
        times = 1.0 if spread.repeats else self.grown.get(name, 1.0)
        if times != 1.0:
            value = Quantity(times * value.number, value.unit)
        return Given(name, run, path, spread, column, value, column.unit, times)


def given_input(name: str, entry: Input, findings: Findings) -> Given | None:
    """Return an input as a number to add, or None with a problem reported."""
    path: Path = ("inputs", name)
    value, unit = entry.value, unit_of(entry)
    if entry.constant is not None:
        if keys_given(entry) or entry.instrument or entry.also or entry.draws:
            findings.key_error(
                (*path, "constant"), "a constant has no spread", "write `value:` with a spread"
            )
            return None
        value, unit = entry.constant, entry.constant.unit
    try:
        refuse_idle_keys(entry)
    except BadSpread as error:
        findings.key_error((*path, error.key or ""), error.what, error.remedy)
        return None
    if entry.draws is not None:
        return given_sample(name, entry, findings)
    if entry.instrument is not None:
        stray = keys_given(entry) - {"value", "repeats"}
        if stray or {"value", "repeats"} <= keys_given(entry):
            key = sorted(stray)[0] if stray else "repeats"
            what = f"`{key}` does not go with an instrument, which says how well it reads"
            remedy = "put a second, independent spread under `also:`"
            if not stray:
                what, remedy = "`value` and `repeats` both say what was read", "keep one of them"
            findings.key_error((*path, key), what, remedy)
            return None
        if value is None and entry.repeats:
            if entry.unit is None and all(repeat.unit is ONE for repeat in entry.repeats):
                what, remedy = NO_UNIT
                findings.key_error((*path, "repeats"), what, remedy)
                return None
            value = _mean_of(entry, unit)
        return Given(name, None, path, entry, entry, value, unit)
    idle = _without_effect(entry)
    if idle is not None:
        what, remedy = f"`{idle}` needs an instrument", "add `instrument:`, or delete it"
        if idle == "unit":
            what, remedy = "`unit` does not go with `value`, which has its own", "delete `unit:`"
        findings.key_error((*path, idle), what, remedy)
        return None
    if entry.constant is None:
        value = None
    return Given(name, None, path, entry, entry, value, unit)


_IDLE_IN_A_SAMPLE = ("instrument", "also", "physical", "each_reading", "readable_to")


def given_sample(name: str, entry: Input, findings: Findings) -> Given | None:
    """Return an input that is a sample from elsewhere, or None with a problem reported."""
    path: Path = ("inputs", name)
    beside = [
        *sorted(keys_given(entry)),
        *(k for k in _IDLE_IN_A_SAMPLE if getattr(entry, k)),
    ]
    if beside:
        what = f"`{beside[0]}` does not go with `draws`, which is the whole spread"
        findings.key_error((*path, beside[0]), what, "keep one of them")
        return None
    if entry.unit is None:
        what = f"{name} does not say in which unit the column is"
        findings.key_error(
            (*path, "draws"), what, "add `unit: bar`, or `unit: 1` for plain numbers"
        )
        return None
    return Given(name, None, path, entry, entry, None, entry.unit)


def _without_effect(spread: Spread) -> str | None:
    """Return a key that would be passed over in a number read without an instrument."""
    if isinstance(spread, Input) and spread.unit is not None and not spread.repeats:
        return "unit"
    if spread.each_reading is not None:
        return "each_reading"
    return "readable_to" if spread.readable_to is not None else None
