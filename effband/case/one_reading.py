"""An instrument at one reading: its range, its place on the error curve, its fresh errors."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from effband.case.format import Instrument
from effband.case.given import Given
from effband.case.spreads import BadSpread
from effband.evidence import distributions as laws
from effband.evidence.distributions import Distribution
from effband.evidence.instruments import Accuracy, Curve, Summand, Term, angle_on_scale
from effband.units import Quantity, Unit

QUARTER = 0.25


@dataclass(frozen=True)
class Range:
    """The range a reading falls in: numbers in `unit`, the last digit in SI units."""

    reading: float
    unit: Unit
    span: tuple[float, float] | None
    digit: float | None

    def limit(self, accuracy: Accuracy, key: str, given: Given) -> float:
        """Return the limit that a statement gives here, SI; raises BadSpread."""
        for term in accuracy.each_term():
            if term.quantity is not None and term.quantity.unit.dimension != self.unit.dimension:
                _own_width(key, term.quantity, given, given.spread.instrument or "")
        limit = accuracy.limit(self.reading, self.unit, self.span, self.digit)
        if math.isinf(limit):
            number = f"{self.reading:g} {self.unit.symbol}".rstrip()
            what = f"{given.name}: {key} of {given.spread.instrument} says nothing at {number}"
            raise BadSpread(None, what, "check the reading, or how far the statement goes")
        return limit


def in_range(instrument: Instrument, name: str, reading: float, given: Given) -> Range:
    """Return the smallest range that holds a reading (SI); raises BadSpread outside all."""
    unit = given.unit
    digits = instrument.digit or []
    if instrument.span is None:
        digit = _own_width("digit", digits[0], given, name) if digits else None
        return Range(unit.from_si(reading), unit, None, digit)
    fitting = []
    for which, (low, high) in enumerate(instrument.span):
        if low.unit.dimension != unit.dimension:
            what = f"{given.name} is in {unit.text}, but the span of {name} is in {low.unit.text}"
            raise BadSpread(None, what, "check the instrument that is named, and the unit")
        edge = 1e-12 * (high.si - low.si)  # an end of the span belongs to it, in any unit
        if low.si - edge <= reading <= high.si + edge:
            fitting.append((high.si - low.si, which))
    if not fitting:
        number = unit.from_si(reading)
        ranges = ", ".join(
            f"{low.number:g} to {high.number:g} {high.unit.text}" for low, high in instrument.span
        )
        what = f"{given.name}: {number:g} {unit.text} lies outside the span of {name}, {ranges}"
        raise BadSpread(None, what, "check the reading, or the span")
    _, which = min(fitting)
    low, high = instrument.span[which]
    own = low.unit
    digit = None
    if digits:
        digit = _own_width("digit", digits[min(which, len(digits) - 1)], given, name)
    return Range(own.from_si(reading), own, (low.number, own.from_si(high.si)), digit)


def _own_width(key: str, quantity: Quantity, given: Given, name: str) -> float:
    if quantity.unit.dimension != given.unit.dimension:
        what = (
            f"{key} of {name} is in {quantity.unit.text}, but {given.name} is in {given.unit.text}"
        )
        raise BadSpread(None, what, "check the instrument that is named, and the units")
    return quantity.si_width


def curve_at(given: Given, instrument: Instrument, ranged: Range, many: bool) -> Curve | None:
    """Return the common error at a reading, None where none is stated.

    `many` says that the specimen is read at more than one value, which needs a span.
    """
    specimen = given.spread.instrument or ""
    accuracy, calibration = instrument.accuracy, instrument.calibration
    if instrument.class_ is not None:
        accuracy = Accuracy("class", (Summand((Term("span", instrument.class_ / 100),)),))
    if accuracy is None and calibration is None:
        return None
    if many and instrument.span is None and instrument.error_along_scale is None:
        what = f"{specimen} is read at more than one value, but its span is not given"
        remedy = (
            "give `span: [low, high]`, which says how far two readings share its error, or say "
            "`error_along_scale: same`"
        )
        raise BadSpread(None, what, remedy, ("instruments", specimen.partition("#")[0]))
    angle = 0.0
    if instrument.error_along_scale is None:
        angle = angle_on_scale(ranged.reading, ranged.span)
    if calibration is not None:
        limit = (
            ranged.limit(calibration.expanded_uncertainty, "calibration", given)
            / calibration.coverage_factor
        )
        return Curve(specimen, limit, angle, law=None)
    assert accuracy is not None
    law = instrument.shape or "rectangular"
    return Curve(specimen, ranged.limit(accuracy, "accuracy", given), angle, law, instrument.top)


def fresh_errors(
    given: Given, instrument: Instrument, ranged: Range, display_only: bool = False
) -> Iterator[tuple[str, Distribution, str]]:
    """Yield the fresh errors of one reading: role, law around 0, words.

    `display_only` leaves out what scatters from reading to reading.
    """
    own, column = given.spread, given.entry

    def width(quantity: Quantity, key: str) -> float:
        return _own_width(key, quantity, given, given.spread.instrument or "")

    if ranged.digit is not None:
        half = ranged.digit / 2
        words = f"rectangular, half a digit, +- {width_words(half, given.unit)}"
        yield "digit", laws.Rectangular(-half, half), words
    if instrument.division is not None:
        share = own.readable_to or column.readable_to or instrument.readable_to or QUARTER
        half = share * width(instrument.division, "division")
        words = f"triangular, {share:g} of a division, +- {width_words(half, given.unit)}"
        yield "division", laws.Triangular(-half, 0.0, half), words
    if own.repeats is not None or display_only:
        return  # the scatter that was seen stands in their place
    each = own.each_reading or column.each_reading or instrument.each_reading
    if each is not None:
        half = width(each, "each_reading")
        words = f"rectangular, each reading +- {width_words(half, given.unit)}"
        yield "each_reading", laws.Rectangular(-half, half), words
    if instrument.repeatability is not None:
        u = width(instrument.repeatability, "repeatability")
        words = f"normal, repeatability, standard uncertainty {width_words(u, given.unit)}"
        yield "repeatability", laws.Normal(0.0, u), words


def law_in_unit(law: Distribution, unit: Unit, offset: bool) -> str:
    """Return a law in words in the user's unit; `offset` for a law of an error, around 0."""

    def point(value: float) -> str:
        if offset:
            return f"{value / unit.factor:.6g} {unit.width_symbol}".rstrip()
        return f"{unit.from_si(value):.6g} {unit.symbol}".rstrip()

    return law.words(point, lambda value: width_words(value, unit))


def width_words(value: float, unit: Unit) -> str:
    """Return a width (SI) in the user's unit."""
    return f"{value / unit.factor:.4g} {unit.width_symbol}".rstrip()
