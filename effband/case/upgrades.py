"""Upgrades: what could be bought or done better, as a change of the case.

A change is made to what the user wrote, and the whole is understood again. So what holds for an
entry of the case holds for one of an upgrade, and names stay: what a change leaves alone is
drawn alike before and after it.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from effband.case.as_written import values_as_written
from effband.case.findings import Findings
from effband.case.format import CaseFile, Formula, Input, Instrument, PlannedReading, Runs
from effband.case.model import Case
from effband.case.natures import Nature, check_natures, fits_unit
from effband.case.text import Path
from effband.case.values import refuse_bare
from effband.evidence.instruments import READS
from effband.problems import CaseError, Misread, Problem
from effband.units import ONE, Quantity, parse_quantity

_COST = re.compile(
    r"(?P<amount>(?:0|[1-9][0-9]{0,11})(?:\.[0-9]{1,4})?) "
    r"(?P<currency>[A-Za-z]{1,12}|[$£¥€₦₩₪₫₭₱₴₸₹₺₽₿])"
)
# What says where a number lies; an upgraded input without any keeps its present value.
VALUES = (
    *("value", "constant", "low", "likely", "high", "inexact", "repeats", "mean", "draws"),
    "random_events",
)
SAME = 1e-9  # relative, within which readings of a group count as alike
_KEPT = ("reads", "gas", "means")  # of an input whose upgrade does not say otherwise

Resolve = Callable[[CaseFile, Findings], Case]


@dataclass(frozen=True)
class Cost:
    """An amount of money."""

    amount: float
    currency: str


def parse_cost(text: str) -> Cost:
    """Return a cost such as `60 EUR` or `60 €`. Raises Misread."""
    match = _COST.fullmatch(text)
    if match is None:
        what = f"{text!r} is no cost, which is a number and one currency word or sign"
        raise Misread(0, len(text), what, "write such as 60 EUR or 60 €")
    return Cost(float(match["amount"]), match["currency"])


@dataclass(frozen=True)
class Change:
    """Entries that would stand beside those of a case, or in their place, by name.

    Attributes
    ----------
    instruments, inputs, formulas, readings
        As they would be written; a formula as its text.
    moved
        Where each is written in the file: paths as they would be, to paths as they are. That of
        the empty path is for whatever the change upsets elsewhere.
    called
        Its name, for messages.
    """

    instruments: Mapping[str, Instrument] = field(default_factory=dict)
    inputs: Mapping[str, Input] = field(default_factory=dict)
    formulas: Mapping[str, str] = field(default_factory=dict)
    readings: Mapping[str, PlannedReading] = field(default_factory=dict)
    moved: Mapping[Path, Path] = field(default_factory=dict)
    called: str = ""

    @property
    def names(self) -> frozenset[str]:
        """The names of all that it changes or adds."""
        return frozenset({*self.instruments, *self.inputs, *self.formulas, *self.readings})


def change_of(case: Case, name: str) -> Change:
    """Return an upgrade of a case as a change; `repeats:` change nothing that is written."""
    upgrade, place = case.file.upgrades[name], ("upgrades", name)
    moved: dict[Path, Path] = {(): place}
    instruments: dict[str, Instrument] = {}
    inputs: dict[str, Input] = {}
    readings: dict[str, PlannedReading] = {}
    for replaced in upgrade.replaces:
        if upgrade.instrument is not None:
            old = case.file.instruments[replaced]
            kept = {} if upgrade.instrument.reads else {"reads": old.reads}
            instruments[replaced] = upgrade.instrument.model_copy(update=kept)
            moved[()] = moved["instruments", replaced] = (*place, "instrument")
        elif upgrade.input is not None:
            inputs[replaced] = _as_now(case, replaced, upgrade.input)
            moved[()] = moved["inputs", replaced] = (*place, "input")
    if upgrade.adds is not None:
        instruments.update(upgrade.adds.instruments)
        inputs.update(upgrade.adds.inputs)
        readings.update(upgrade.adds.readings)
        for section in ("instruments", "inputs"):
            for added in getattr(upgrade.adds, section):
                moved[section, added] = (*place, "adds", section, added)
        for reading in readings:
            own: Path = (*place, "adds", "readings", reading)
            moved["runs", "readings", reading] = own
            moved["formulas", reading] = (*own, "expect")
            for run in case.file.runs.rows if case.file.runs else ():
                moved["runs", "rows", run, reading] = own
    for formula in upgrade.formulas:
        own = (*place, "formulas", formula)
        moved["formulas", formula] = moved["formulas", formula, "formula"] = own
    return Change(instruments, inputs, upgrade.formulas, readings, moved, name)


def _as_now(case: Case, name: str, better: Input) -> Input:
    """Return an input with what its upgrade leaves unsaid: its value, and what it is."""
    old = case.file.inputs[name]
    update: dict[str, Any] = {
        key: getattr(old, key) for key in _KEPT if getattr(better, key) is None
    }
    if not any(getattr(better, key) is not None for key in VALUES):
        leaf = next(leaf for leaf in case.leaves if leaf.name == name and leaf.run is None)
        update["value"] = Quantity(leaf.unit.from_si(leaf.value), leaf.unit)
    if old.log_only:
        update["log_only"] = True
    return better.model_copy(update=update)


def together(changes: Iterable[Change]) -> Change | None:
    """Return several changes as one, or None where two of them change the same."""
    entries: dict[str, dict[Any, Any]] = {
        key: {} for key in ("instruments", "inputs", "formulas", "readings", "moved")
    }
    names: set[str] = set()
    called: list[str] = []
    for change in changes:
        if names & change.names:
            return None
        names |= change.names
        called.append(change.called)
        for key, found in entries.items():
            found.update(getattr(change, key))
    return Change(**entries, called=" with ".join(called))


def changed(case: Case, change: Change, resolve: Resolve) -> Case:
    """Return a case as it would be after a change.

    Parameters
    ----------
    resolve
        Understands a file anew; problems go to the findings.

    Raises
    ------
    CaseError
        With every problem, at the place where the change is written.
    """
    findings = _Moved(case.text, moved=change.moved, called=change.called)
    found = _changed(case, change, resolve, findings)
    if findings.problems or found is None:
        raise CaseError(findings.problems, case.text.file, case.text.text)
    return found


def _changed(case: Case, change: Change, resolve: Resolve, findings: _Moved) -> Case | None:
    file = _as_written(case)
    instruments = {**file.instruments, **change.instruments}
    inputs = {**file.inputs, **change.inputs}
    update: dict[str, Any] = {"instruments": instruments, "inputs": inputs}
    if change.readings:
        update["runs"] = _with_readings(case, file, change, resolve, findings)
        if findings.problems:
            return None
    formulas = dict(file.formulas)
    for name, text in change.formulas.items():
        old = formulas[name]
        if isinstance(old, Formula):
            formulas[name] = old.model_copy(update={"formula": text})
        else:
            formulas[name] = text
    return resolve(file.model_copy(update={**update, "formulas": formulas}), findings)


def _as_written(case: Case) -> CaseFile:
    """Return the file of a case before parameters of a fit stood among its inputs.

    Rows that came from a table stay as if they had been typed.
    """
    file = case.file
    fitted = {name for joint in file.joint.values() for name in joint.values}
    inputs = {name: entry for name, entry in file.inputs.items() if name not in fitted}
    update: dict[str, Any] = {"inputs": inputs, "upgrades": {}}
    if file.runs is not None:
        readings = {n: c.model_copy(update={"missing": []}) for n, c in file.runs.readings.items()}
        update["runs"] = file.runs.model_copy(
            update={"file": None, "missing": [], "readings": readings}
        )
    return file.model_copy(update=update)


# -- readings that are only planned ------------------------------------------------------------


def _with_readings(
    case: Case, file: CaseFile, change: Change, resolve: Resolve, findings: _Moved
) -> Runs:
    """Return the runs with what would be read: what each `expect:` gives as things are now.

    It is a formula, or a number that stands there as it would in a row, with its unit or without.
    """
    runs = file.runs
    assert runs is not None
    added = {name: entry for name, entry in change.inputs.items() if name not in file.inputs}
    more = {n: entry for n, entry in change.instruments.items() if n not in file.instruments}
    plain = {
        name: Input.model_validate({"constant": number})
        for name, reading in change.readings.items()
        if (number := _plain_number(name, reading, findings)) is not None
    }
    foretold = {n: r.expect for n, r in change.readings.items() if n not in plain}
    if findings.problems:
        return runs
    update = {
        "inputs": {**file.inputs, **added, **plain},
        "instruments": {**file.instruments, **more},
        "formulas": {**file.formulas, **foretold},
    }
    seen = len(findings.warnings)
    probe = resolve(file.model_copy(update=update), findings)
    del findings.warnings[seen:]  # what is new is used by nothing yet
    if findings.problems:
        return runs
    natures = check_natures(probe.program, Findings(case.text))
    rows = {run: dict(row) for run, row in runs.rows.items()}
    absent: set[str] = set()
    for name, reading in change.readings.items():
        for run in rows:
            step = probe.named.get((name, run), probe.named.get((name, None)))
            if step is None:  # what foretells it has no value in this run
                absent.add(name)
                continue
            nature = natures[step]
            assert nature is not None
            if not _fits(name, reading, nature, change, file, findings):
                break
            value = reading.unit.from_si(values_as_written(probe, [step])[0])
            if not math.isfinite(value):
                what = f"{name} would have no finite value in run {run}"
                findings.error(("formulas", name), what, "check for a division by 0")
                break
            rows[run][name] = repr(float(value))
        if name in foretold and not findings.problems:
            _doubt_scatter(name, rows, probe, findings)
    added_readings = {
        name: reading.model_copy(update={"optional": True}) if name in absent else reading
        for name, reading in change.readings.items()
    }
    readings = {**runs.readings, **added_readings}
    return runs.model_copy(update={"readings": readings, "rows": rows})


def _doubt_scatter(
    name: str, rows: Mapping[str, Mapping[str, Any]], probe: Case, findings: Findings
) -> None:
    """Warn of a reading foretold alike in all runs of a group, whose scatter is what they show."""
    for group in (group for group in probe.groups if group.scatter_seen):
        values = [float(rows[run][name]) for run in group.members if name in rows[run]]
        if values and max(values) - min(values) <= SAME * max(map(abs, values)):
            what = f"{name} is foretold alike in all runs of {group.name}, so they would show no "
            what += "scatter of it"
            remedy = "foretell each run's own reading, unless it stays the same from run to run"
            findings.warn(("formulas", name), what, remedy)


def _plain_number(name: str, reading: PlannedReading, findings: Findings) -> str | None:
    """Return an `expect:` that is a number, with its unit; None where it is a formula."""
    try:
        number = parse_quantity(reading.expect)
    except Misread:
        return None
    if any(reading.unit.dimension) and number.unit == ONE:
        return f"{reading.expect} {reading.unit.text}"
    try:
        refuse_bare(number, reading.expect, reading.unit)
    except Misread as refused:
        findings.error(("formulas", name), refused.what, refused.remedy)
    return reading.expect


def _fits(
    name: str,
    reading: PlannedReading,
    nature: Nature,
    change: Change,
    file: CaseFile,
    findings: Findings,
) -> bool:
    """Report a foretold value that is no such reading; return whether it is one."""
    refused = fits_unit(nature, reading.unit)
    if refused is not None:
        findings.error(("formulas", name), refused.what, f"{name} is in {reading.unit.text}")
        return False
    instruments = {**file.instruments, **change.instruments}
    instrument = instruments.get((reading.instrument or "").partition("#")[0])
    reads = reading.reads or (None if instrument is None else instrument.reads)
    kind = None if reads is None else READS.get(reads, ("", None))[1]
    if kind is not None and nature.kind is not None and nature.kind != kind:
        what = f"this gives {nature.kind}, but {name} would read {kind}"
        findings.error(("formulas", name), what, "foretell what the instrument would show")
        return False
    return True


# -- what is wrong with one --------------------------------------------------------------------


@dataclass
class _Moved(Findings):
    """Findings of a changed case, told where the change is written."""

    moved: Mapping[Path, Path] = field(default_factory=dict)
    called: str = ""
    aside: list[Problem] = field(default_factory=list)

    def error(
        self, path: Path, what: str, remedy: str, start: int = 0, length: int | None = None
    ) -> None:
        """Add a problem with the value at a path; see `Findings.error`."""
        own = self._own(path)
        if own is None:
            self.key_error(path, what, remedy)
        else:
            super().error(own, what, remedy, start, length)

    def key_error(self, path: Path, what: str, remedy: str) -> None:
        """Add a problem with the key that ends a path; see `Findings.key_error`."""
        own = self._own(path)
        if own is None:
            own, what = self.moved.get((), path), f"with {self.called}: {what}"
        super().key_error(own, what, remedy)

    def warn(self, path: Path | None, what: str, remedy: str) -> None:
        """Add a warning if it is about the change itself."""
        own = None if path is None else self._own(path)
        if own is not None:
            super().warn(own, what, remedy)

    def _own(self, path: Path) -> Path | None:
        """Return where a path of the changed case is written, None for one that did not change."""
        for end in range(len(path), 0, -1):
            if path[:end] in self.moved:
                return (*self.moved[path[:end]], *path[end:])
        return None


def check_changes(case: Case, findings: Findings, resolve: Resolve) -> None:
    """Understand the case with each upgrade in turn; problems go to the findings."""
    for name, upgrade in case.file.upgrades.items():
        if upgrade.repeats is not None:
            continue
        change = change_of(case, name)
        own = _Moved(
            findings.text,
            elsewhere=dict(findings.elsewhere),
            moved=change.moved,
            called=name,
        )
        _changed(case, change, resolve, own)
        findings.problems += own.problems
        if not own.problems:
            findings.warnings += own.warnings
