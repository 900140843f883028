"""What kind of number each given one is: its dimension, and what its unit does not say."""

from __future__ import annotations

from effband.case.format import Column
from effband.case.given import Given
from effband.case.natures import PRESSURE, UNSTATED, Nature
from effband.case.spreads import BadSpread
from effband.case.text import Path
from effband.evidence.instruments import PRESSURE_DIFFERENCE, READS
from effband.units import POINT, parse_unit, same_dimension

PER_TIME = parse_unit("1/s").dimension


def nature_of(given: Given, theirs: str | None) -> Nature:
    """Return the nature of a number; `theirs` is what its instrument reads. Raises BadSpread."""
    entry, unit = given.entry, given.unit
    reads = entry.reads
    if reads is not None and theirs is not None and reads != theirs:
        what = f"{given.name} reads {reads}, but its instrument reads {theirs}"
        raise BadSpread(None, what, "say the same in both places, or only on the instrument")
    reads = reads or theirs
    kind = unit.kind
    is_pressure = same_dimension(unit.dimension, PRESSURE)
    if reads is not None:
        symbol, kind = READS[reads]
        if parse_unit(symbol).dimension != unit.dimension:
            what = f"{given.name} reads {reads}, but its unit is {unit.text}"
            remedy = f"give it in {symbol} or a unit of the same kind"
            if unit.text in ("C", "F"):
                remedy = f"write deg{unit.text}; {unit.text} is the {unit.note.split(';')[0]}"
            raise BadSpread(None, what, remedy, unit_path(given))
        if unit.kind is not None and unit.kind != kind:
            what = f"{given.name} reads {reads}, but {unit.text} is a {unit.kind}"
            remedy = "write delta_degC or K" if unit.kind == POINT else "write degC or K"
            raise BadSpread(None, what, remedy)
    elif is_pressure:
        kind = UNSTATED
    gas = None
    if entry.gas or (is_pressure and kind != PRESSURE_DIFFERENCE):
        gas = (entry.gas or "unsaid", given.name)
    if entry.gas and not is_pressure:
        what = f"`gas` is said of pressures only; this is in {unit.text}"
        raise BadSpread("gas", what, "delete it")
    return Nature(unit.dimension, kind, gas=gas)


def unit_path(given: Given) -> Path:
    """Return where the unit of a number was written."""
    if isinstance(given.entry, Column):
        return ("runs", "readings", given.name, "unit")
    return given.path
