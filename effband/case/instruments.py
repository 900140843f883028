"""The instruments of a case by themselves: what is said, what is missing, what does not fit."""

from __future__ import annotations

from collections.abc import Iterable

from effband.case.findings import Findings
from effband.case.format import Instrument
from effband.case.text import Path
from effband.evidence.instruments import READS, Accuracy
from effband.problems import nearest
from effband.units import POINT, Dimension, name_dimension, parse_unit

THUMB = 0.1  # s; a practised thumb scatters by so much
ENERGY = parse_unit("J").dimension


def missing_instrument(name: str, path: Path, known: Iterable[str], findings: Findings) -> bool:
    """Return whether an instrument is not declared, and say so."""
    base = name.partition("#")[0]
    if base in known:
        return False
    if base not in findings.broken:
        remedy = nearest(base, known, "declare it under `instruments:`")
        findings.error(path, f"instrument {base!r} is not declared", remedy)
    return True


def check_instrument(name: str, entry: Instrument, findings: Findings) -> bool:
    """Report what is wrong with one instrument by itself; return whether it can be used."""
    path: Path = ("instruments", name)
    before = len(findings.problems)
    ways = [key for key in ("accuracy", "class_", "calibration") if getattr(entry, key) is not None]
    if len(ways) > 1:
        what = "one statement of accuracy is enough: accuracy, class or calibration"
        findings.key_error((*path, ways[1].rstrip("_")), what, "delete one")
    says = [*ways, entry.digit, entry.division, entry.each_reading, entry.repeatability]
    if not any(says) and entry.stability is None:
        what = f"instrument {name} says nothing of its error"
        remedy = "add `accuracy:`, `digit:` or `division:`, or `like:` an instrument as sold"
        findings.key_error(path, what, remedy)
    statements: list[tuple[str, Accuracy]] = []
    if entry.accuracy is not None:
        statements.append(("accuracy", entry.accuracy))
    if entry.calibration is not None:
        statements.append(("calibration", entry.calibration.expanded_uncertainty))
        if not entry.calibration.coverage_factor > 0.0:
            findings.key_error((*path, "calibration"), "coverage_factor must be above 0", "often 2")
    if entry.stability is not None:
        statements.append(("stability", entry.stability))
    _check_statements(entry, path, statements, findings)
    if entry.class_ is not None and _dimension_of(entry) == ENERGY:
        what = "the class of an electricity meter is a share of the reading, not of the span"
        remedy = f"write `accuracy: {entry.class_:g} % of reading` in its place"
        findings.key_error((*path, "class"), what, remedy)
    elif entry.class_ is not None and entry.span is None:
        remedy = "add `span: [0 bar, 16 bar]`"
        findings.key_error((*path, "class"), "a class is a share of the span", remedy)
    if entry.class_ is not None and not entry.class_ > 0.0:
        findings.key_error((*path, "class"), "a class is above 0", "write the number on the dial")
    if (entry.shape == "trapezoidal") != (entry.top is not None):
        remedy = "write `shape: trapezoidal` with `top: 0.4`"
        key = "shape" if entry.shape else "top"
        findings.key_error((*path, key), "`top` and `shape: trapezoidal` belong together", remedy)
    _check_units(entry, path, findings)
    if entry.digit is not None and entry.division is not None:
        what = f"{name} has the divisions of a dial and the digits of a display: both count"
        findings.warn(path, what, "keep the one that it has")
    if (
        entry.accuracy is not None
        and _dimension_of(entry) == parse_unit("s").dimension
        and not (entry.each_reading or entry.repeatability)
        and (not (entry.digit or entry.division) or _of_a_thumb(entry.accuracy))
    ):
        what = f"{name} times with one error for all readings, but a thumb errs afresh each time"
        findings.warn(path, what, "add `each_reading: 0.2 s`, or say so with `repeatability:`")
    return len(findings.problems) == before


def _of_a_thumb(accuracy: Accuracy) -> bool:
    """Return whether a statement holds so many tenths of a second as no watch errs by itself."""
    widths = [term.quantity.si_width for term in accuracy.each_term() if term.quantity is not None]
    return any(width >= THUMB for width in widths)


def _check_statements(
    entry: Instrument, path: Path, statements: list[tuple[str, Accuracy]], findings: Findings
) -> None:
    for key, statement in statements:
        if statement.needs("span") and entry.span is None:
            what, remedy = "a share of the span, but no span is given", "add `span: [0 V, 20 V]`"
            findings.key_error((*path, key), what, remedy)
        if statement.needs("digits") and entry.digit is None:
            what, remedy = "digits, but the last digit is not given", "add `digit: 0.01 V`"
            findings.key_error((*path, key), what, remedy)
        for term in statement.each_term():
            unit = term.quantity.unit if term.quantity is not None else None
            known = _dimension_of(entry)
            if unit is not None and known is not None and unit.dimension != known:
                name = "a number without unit" if unit.text == "1" else unit.text
                what = f"{name} does not fit an instrument that reads {name_dimension(known)}"
                findings.key_error((*path, key), what, "check the unit of the term")


def _check_units(entry: Instrument, path: Path, findings: Findings) -> None:
    for low, high in entry.span or []:
        if low.unit.dimension != high.unit.dimension or not low.si < high.si:
            what = "a span runs from its lowest to its highest reading, in one unit"
            findings.error((*path, "span"), what, "write such as [0 bar, 16 bar]")
    if len(entry.digit or []) > 1 and len(entry.digit or []) != len(entry.span or []):
        what = "one digit for each range, or one for all"
        findings.error((*path, "digit"), what, "give as many as there are spans")
    known = _dimension_of(entry)
    widths = [("digit", q) for q in entry.digit or []]
    for key in ("division", "each_reading", "repeatability"):
        if getattr(entry, key) is not None:
            widths.append((key, getattr(entry, key)))
    for key, quantity in widths:
        if quantity.unit.kind == POINT:
            remedy = f"write K or delta_{quantity.unit.text}"
            findings.error((*path, key), f"{quantity.unit.text} is a point, not a width", remedy)
        elif known is not None and quantity.unit.dimension != known:
            what = f"{quantity.unit.text} does not fit an instrument of {name_dimension(known)}"
            findings.error((*path, key), what, "check the unit")
        elif not quantity.number > 0.0:
            findings.error((*path, key), f"{key} must be more than 0", "or leave it out")


def _dimension_of(entry: Instrument) -> Dimension | None:
    if entry.span:
        return entry.span[0][0].unit.dimension
    if entry.reads is not None:
        return parse_unit(READS[entry.reads][0]).dimension
    for quantity in (*(entry.digit or []), entry.division, entry.each_reading):
        if quantity is not None:
            return quantity.unit.dimension
    for term in entry.accuracy.each_term() if entry.accuracy is not None else ():
        if term.quantity is not None:
            return term.quantity.unit.dimension
    return None
