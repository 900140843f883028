"""What is wanted at a place of a case, shown as a line to write, of what stands there if it can be.

For someone who wrote one value where `key: value` pairs belong, or values without brackets.
"""

from __future__ import annotations

import re

from effband.case.text import Path
from effband.problems import Misread
from effband.units import parse_quantity, parse_unit

# By the last name of a path, or by its section: a line that would do.
_BY_KEY = {
    "boundary": "{in: electricity at the plug, out: work at the shaft}",
    "balance": "{in: [heat_in], out: [work, heat_out]}",
    "settings": "{probability: 95 %}",
    "for": "{result: wheel, run: full}",
    "draws": "{file: fit.csv, column: slope}",
    "calibration": "{expanded_uncertainty: 0.2 % of reading, coverage_factor: 2}",
}
_BY_SECTION = {
    "instruments": "{accuracy: 20 g, digit: 0.01 kg, span: [0 kg, 5 kg]}",
    "formulas": "shaft_power / water_power",
    "results": '{formula: shaft_power / water_power, unit: "%", boundary: {in: ..., out: ...}}',
    "claims": "{result: wheel, says: at least 58 %}",
    "correlations": "{between: [a, b], coefficient: 0.8}",
    "upgrades": "{replaces: scale, instrument: {like: caliper}, cost: 60 EUR}",
}
_IN_RUNS = {
    "readings": "{unit: s, instrument: stopwatch}",
    "rows": "full: {p_start: 9.0, run_time: 78.4}",
}
_INPUT = "{value: 0.31 kg, plus_minus: 0.02 kg}"
_NUMBER = r"[+-]?[0-9]+(?:\.[0-9]+)?"
_SEVERAL = re.compile(rf"({_NUMBER}(?: *, *{_NUMBER})+) *([A-Za-z%][^,]*)?")
_WITH_SPREAD = re.compile(r"([0-9].*[^ +/-]) *(?:\+/?-|±) *([0-9].*)")


def pairs_wanted(path: Path, written: str) -> str:
    """Return what to write where pairs belong; `written` is the one value that stands there."""
    last = path[-1] if path else ""
    if last in _BY_KEY:
        return f"write such as {last}: {_BY_KEY[str(last)]}"
    section = path[0] if path else ""
    if section == "inputs":
        return f"write such as {_as_input(written)}"
    if section == "runs" and len(path) > 1:
        return f"write such as {_IN_RUNS.get(str(path[1]), '`name: value` lines under this key')}"
    if section == "claims":
        says = "" if re.search("[{}:,]", written) else _claim(written)
        return f"write such as {says or _BY_SECTION['claims']}"
    if len(path) > 1 and section in _BY_SECTION:
        return f"write such as {last}: {_BY_SECTION[str(section)]}"
    return "write `name: value` lines, indented under this key"


def list_wanted(path: Path, written: str) -> str:
    """Return what to write where a list belongs; `written` is the text that stands there."""
    last = path[-1] if path else ""
    if path == ("claims",):
        return f"write below it a line such as - {_BY_SECTION['claims']}"
    several = _SEVERAL.fullmatch(written)
    if several is not None:
        return f"write it in brackets: {_listed(*several.groups())}"
    alone = "repeats: [7.72, 7.80]" if last == "repeats" else "[a, b]"
    return f"write it in brackets: {alone}"


def _claim(written: str) -> str:
    match = re.search(r"(at least|at most|between|is) .*", written)
    return "" if match is None else f"{{result: ..., says: {match.group()}}}"


def _listed(numbers: str, unit: str | None) -> str:
    inside = ", ".join(each.strip() for each in numbers.split(","))
    return f"[{inside}]" + ("" if unit is None else f", and beside it unit: {unit}")


def _as_input(written: str) -> str:
    several = _SEVERAL.fullmatch(written)
    if several is not None:
        numbers = ", ".join(each.strip() for each in several.group(1).split(","))
        return f"{{repeats: [{numbers}], unit: {several.group(2) or '...'}}}"
    spread = _WITH_SPREAD.fullmatch(written)
    if spread is not None:
        return f"{{value: {spread.group(1)}, plus_minus: {spread.group(2)}}}"
    match = re.fullmatch(rf"({_NUMBER}) *(.*)", written)
    if match is None:
        return _INPUT
    number, unit = match.groups()
    try:
        parse_quantity(written)
    except Misread as error:
        symbol = error.remedy.removeprefix("write ").removeprefix("did you mean ").rstrip("?")
        try:
            parse_unit(symbol)
        except Misread:
            return _INPUT
        unit = symbol
    behind = f" {unit}".rstrip()
    return f"{{value: {number}{behind}, plus_minus: ...{behind}}}"
