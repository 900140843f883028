"""A declared spread to a distribution: which keys go together, and what they mean.

Each form is one row of the table in the README. Units are checked against the value's, a
width is never a point on a temperature scale, and `5 %` of a value in % is refused.
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Callable
from dataclasses import dataclass

from scipy import special

from effband.case.format import Spread
from effband.case.text import Path
from effband.case.values import ShareOfValue
from effband.evidence import distributions as laws
from effband.evidence.distributions import Distribution
from effband.units import ONE, POINT, Quantity, Unit

LEAST_CHANCE, MOST_CHANCE = 0.5, 0.999
MOST_REMOVED = 0.5
NO_UNIT = ("the repeats have no unit", "add `unit: s`, or `unit: 1` for plain numbers")


@dataclass(frozen=True)
class Stated:
    """A number as stated: its nominal value and law in SI units, and the unit it is shown in.

    `distribution` is None for a constant.
    """

    nominal: float
    unit: Unit
    distribution: Distribution | None


class BadSpread(Exception):
    """A spread is refused.

    Attributes
    ----------
    key
        The key at fault, None for the whole entry.
    path
        Where that is, when it is not the entry itself.
    by_value
        Whether the value is at fault, so that in a column the cell is the place.
    """

    def __init__(
        self,
        key: str | None,
        what: str,
        remedy: str,
        path: Path | None = None,
        by_value: bool = False,
    ) -> None:
        self.key, self.what, self.remedy, self.path = key, what, remedy, path
        self.by_value = by_value
        super().__init__(what)


@dataclass(frozen=True)
class _Form:
    needs: frozenset[str]
    allows: frozenset[str]
    build: Callable[[_Reader], tuple[float, Distribution]]

    def fits(self, given: frozenset[str]) -> bool:
        return self.needs <= given <= self.needs | self.allows


# Keys of a spread that say how the number is distributed; the others say what it is.
SAYING = (
    "value plus_minus shape top low likely high inexact chance_inside standard_uncertainty"
    " degrees_of_freedom expanded_uncertainty coverage_factor repeats within_factor"
    " random_events mean"
).split()


class _Reader:
    """The quantities of one spread, in SI units, held to one dimension."""

    def __init__(self, spread: Spread, value: Quantity | None, unit: Unit, offset: bool) -> None:
        self.spread = spread
        self.value = value
        self.unit = unit
        self.offset = offset
        self.given = {*keys_given(spread), *(("value",) if value is not None else ())}

    def ordered(self, *keys: str) -> list[float]:
        """Return values in SI that must stand in rising order, the first below the last."""
        values = [self.point(key) for key in keys]
        for first, second, a, b in zip(keys, keys[1:], values, values[1:], strict=False):
            if a > b or not values[0] < values[-1]:
                raise BadSpread(first, f"{first} must be below {second}", "exchange the two")
        return values

    def point(self, key: str) -> float:
        """Return a value in SI; in an added component it is a difference."""
        quantity: Quantity = getattr(self.spread, key)
        self._same_dimension(key, quantity)
        if self.offset:
            return self._as_width(key, quantity)
        return quantity.si

    def centre(self) -> float:
        """Return the value that the spread is around: 0 for an added component."""
        if self.offset:
            return 0.0 if self.spread.value is None else self.point("value")
        return self.point("value") if self.value is None else self.value.si

    def width(self, key: str) -> float:
        """Return a positive width in SI."""
        given: Quantity | ShareOfValue = getattr(self.spread, key)
        if isinstance(given, ShareOfValue):
            return self._positive(key, self._share(key, given.fraction))
        percent = given.unit.text in ("%", "ppm")
        if percent and self.unit.text in ("%", "ppm"):
            what = f"{key}: a percentage of what? the value itself is in {self.unit.text}"
            points, share = f"{100 * given.si:g} points", f"{given.number:g} {given.unit.text}"
            raise BadSpread(key, what, f"write `{points}` or `{share} of value`")
        if percent:
            return self._positive(key, self._share(key, given.si))
        self._same_dimension(key, given)
        return self._positive(key, self._as_width(key, given))

    def number(self, key: str, least: float) -> float:
        """Return a plain number above a limit."""
        value = float(getattr(self.spread, key))
        if not value > least:
            raise BadSpread(key, f"{key} must be above {least:g}", "check the number")
        return value

    def _share(self, key: str, fraction: float) -> float:
        size = self._size(key)
        if size == 0.0:
            what = f"{key}: {100 * fraction:g} % of 0 is no width"
            raise BadSpread(key, what, "write a width with its unit", by_value=True)
        return fraction * size

    def _size(self, key: str) -> float:
        if self.unit.kind == POINT:
            what = f"{key}: a share of a temperature in {self.unit.text} means nothing"
            raise BadSpread(key, what, "write a width in K")
        value = self.value or getattr(self.spread, "value", None)
        if value is None:
            raise BadSpread(key, f"{key}: a share of which value?", "write a width with its unit")
        return abs(float(value.si))

    def _as_width(self, key: str, quantity: Quantity) -> float:
        if quantity.unit.kind == POINT:
            what = f"{key}: {quantity.unit.text} is a point on a scale, not a width"
            raise BadSpread(key, what, f"write K or delta_{quantity.unit.text}")
        return quantity.si_width

    def _same_dimension(self, key: str, quantity: Quantity) -> None:
        if quantity.unit.dimension != self.unit.dimension:
            if self.unit.text == "1":
                first = next(k for k in ("value", "likely", "low", "mean", key) if k in self.given)
                what = f"{first} has no unit, but {key} is in {quantity.unit.text}"
                raise BadSpread(first, what, "write the unit behind both numbers")
            if quantity.unit.text == "1":
                what = f"{key} has no unit"
                raise BadSpread(key, what, f"write it in {self.unit.text}, behind the number")
            what = f"{key} is in {quantity.unit.text}, which does not fit {self.unit.text}"
            raise BadSpread(key, what, f"write it in {self.unit.text} or a unit of the same kind")

    def _positive(self, key: str, width: float) -> float:
        if not width > 0.0:
            what = f"{key} must be more than 0"
            raise BadSpread(key, what, "write `constant:` in place of value if there is no spread")
        return width


def _limits(reader: _Reader) -> tuple[float, Distribution]:
    centre, half = reader.centre(), reader.width("plus_minus")
    return centre, _shaped(reader, centre - half, centre + half)


def _between(reader: _Reader) -> tuple[float, Distribution]:
    low, high = reader.ordered("low", "high")
    if reader.spread.inexact is not None:
        inexact = reader.width("inexact")
        if not inexact < (high - low) / 2:
            what = "inexact must be above 0 and below half of high - low"
            raise BadSpread("inexact", what, "check the number")
        law: Distribution = laws.CurvilinearTrapezoid(low, high, inexact)
    else:
        law = _shaped(reader, low, high)
    return (low + high) / 2, law


def _shaped(reader: _Reader, low: float, high: float) -> Distribution:
    shape, top = reader.spread.shape or "rectangular", reader.spread.top
    if shape == "exponential":
        remedy = "write `mean:` with `shape: exponential`, nothing else"
        raise BadSpread("shape", "an exponential law has no limits", remedy)
    if (shape == "trapezoidal") != (top is not None):
        remedy = "write `shape: trapezoidal` with `top: 0.4`"
        key = "shape" if reader.spread.shape else "top"
        raise BadSpread(key, "`top` and `shape: trapezoidal` belong together", remedy)
    if shape == "triangular":
        return laws.Triangular(low, (low + high) / 2, high)
    if shape == "arcsine":
        return laws.Arcsine(low, high)
    if top is not None:
        return laws.Trapezoidal(low, high, top)
    return laws.Rectangular(low, high)


def _judged(reader: _Reader) -> tuple[float, Distribution]:
    low, likely, high = reader.ordered("low", "likely", "high")
    return likely, laws.Triangular(low, likely, high)


def _unsure(reader: _Reader) -> tuple[float, Distribution]:
    chance = reader.spread.chance_inside or 0.0
    if not LEAST_CHANCE <= chance <= MOST_CHANCE:
        raise BadSpread("chance_inside", "chance_inside lies outside 50 to 99.9 %", "such as 80 %")
    z = float(special.ndtri((1 + chance) / 2))
    low, high = reader.ordered("low", "high")
    if reader.spread.likely is None:
        return (low + high) / 2, laws.Normal((low + high) / 2, (high - low) / (2 * z))
    likely = reader.point("likely")
    if not low < likely < high:
        raise BadSpread("likely", "likely must lie between low and high", "check the three")
    return likely, laws.TwoPieceNormal(likely, (likely - low) / z, (high - likely) / z)


def _standard(reader: _Reader) -> tuple[float, Distribution]:
    return reader.centre(), _normal_or_t(reader, reader.width("standard_uncertainty"))


def _certified(reader: _Reader) -> tuple[float, Distribution]:
    width = reader.width("expanded_uncertainty") / reader.number("coverage_factor", 0.0)
    return reader.centre(), _normal_or_t(reader, width)


def _normal_or_t(reader: _Reader, u: float) -> Distribution:
    if reader.spread.degrees_of_freedom is None:
        return laws.Normal(reader.centre(), u)
    return laws.StudentT(reader.centre(), u, reader.number("degrees_of_freedom", 0.0))


def _repeated(reader: _Reader) -> tuple[float, Distribution]:
    values = repeated_values(reader.spread, reader.unit, as_width=reader.offset)
    mean = statistics.fmean(values)
    scatter = statistics.stdev(values)
    if not scatter > 1e-12 * max(abs(mean), max(abs(v) for v in values)):
        remedy = "the display hides the scatter: declare `value` with its step or limits instead"
        raise BadSpread("repeats", "all repeats are the same", remedy)
    n = len(values)
    return mean, laws.StudentT(mean, scatter / math.sqrt(n), n - 1)


def repeated_values(spread: Spread, unit: Unit, as_width: bool = False) -> list[float]:
    """Return the repeats of a spread in SI units, at least two. Raises BadSpread."""
    repeats = spread.repeats or []
    if len(repeats) < 2:
        raise BadSpread("repeats", "repeats needs two readings or more", "write [7.72, 7.80]")
    if spread.unit is None and unit is ONE and all(r.unit is ONE for r in repeats):
        raise BadSpread("repeats", *NO_UNIT)
    values = []
    for repeat in repeats:
        if repeat.unit is not ONE and repeat.unit.dimension != unit.dimension:
            what = f"a repeat is in {repeat.unit.text}, the unit is {unit.text}"
            raise BadSpread("repeats", what, "write all in one unit")
        own = unit if repeat.unit is ONE else repeat.unit
        values.append(repeat.number * own.factor if as_width else own.to_si(repeat.number))
    return values


def _to_a_factor(reader: _Reader) -> tuple[float, Distribution]:
    centre = reader.centre()
    if reader.unit.kind == POINT:
        what = f"within_factor: a share of a temperature in {reader.unit.text} means nothing"
        raise BadSpread("within_factor", what, "write a width in K")
    if not centre > 0.0:
        what = "within_factor needs a positive value"
        raise BadSpread("within_factor", what, "use limits", by_value=True)
    return centre, laws.Lognormal(centre, reader.number("within_factor", 1.0))


def _counted(reader: _Reader) -> tuple[float, Distribution]:
    if any(reader.unit.dimension) or reader.spread.unit is not None:
        what = "random_events: a count has no unit"
        raise BadSpread("random_events", what, "multiply by a quantity in a formula")
    events = reader.spread.random_events or 0
    return float(events), laws.CountedEvents(events)


def _exponential(reader: _Reader) -> tuple[float, Distribution]:
    if reader.spread.shape != "exponential":
        raise BadSpread("shape", "a mean alone needs `shape: exponential`", "or declare limits")
    mean = reader.point("mean")
    if not mean > 0.0:
        raise BadSpread("mean", "mean must be above 0", "check the number")
    return mean, laws.Exponential(mean)


def _form(needs: str, allows: str, build: Callable[[_Reader], tuple[float, Distribution]]) -> _Form:
    return _Form(frozenset(needs.split()), frozenset(allows.split()), build)


_FORMS = (
    _form("value plus_minus", "shape top", _limits),
    _form("low high", "shape top", _between),
    _form("low high inexact", "", _between),
    _form("low likely high", "", _judged),
    _form("low high chance_inside", "likely", _unsure),
    _form("value standard_uncertainty", "degrees_of_freedom", _standard),
    _form("value expanded_uncertainty coverage_factor", "degrees_of_freedom", _certified),
    _form("repeats", "", _repeated),
    _form("value within_factor", "", _to_a_factor),
    _form("random_events", "", _counted),
    _form("mean shape", "", _exponential),
)


def keys_given(spread: Spread) -> frozenset[str]:
    """Return the keys of a spread that say how it is distributed."""
    return frozenset(key for key in SAYING if getattr(spread, key) is not None)


def unit_of(spread: Spread) -> Unit:
    """Return the unit a spread's value is shown in."""
    for key in ("value", "likely", "low", "mean"):
        quantity: Quantity | None = getattr(spread, key)
        if quantity is not None:
            return quantity.unit
    if spread.unit is not None:
        return spread.unit
    if spread.repeats:
        return spread.repeats[0].unit
    return ONE


def stated(
    spread: Spread, value: Quantity | None = None, unit: Unit | None = None, offset: bool = False
) -> Stated:
    """Return what a spread states.

    Parameters
    ----------
    spread
        As the user wrote it.
    value
        The recorded value the spread is around, for a column or an added component.
    unit
        The unit of that value; the spread's own where it is None.
    offset
        Whether this is an added component: its values are differences, around 0.

    Raises
    ------
    BadSpread
        When the keys do not go together or their values make no law.
    """
    given = keys_given(spread)
    if value is not None or offset:
        given |= {"value"}
    unit = unit or unit_of(spread)
    for form in _FORMS:
        if form.fits(given) or (offset and form.fits(given - {"value"})):
            return Stated(*_built(form, _Reader(spread, value, unit, offset), unit))
    raise _no_form(given)


def _built(form: _Form, reader: _Reader, unit: Unit) -> tuple[float, Unit, Distribution]:
    try:
        nominal, law = form.build(reader)
        law = _within(reader, law, nominal)
    except ValueError as error:
        remedy = "check the numbers of this spread"
        raise BadSpread(None, f"these numbers make no distribution: {error}", remedy) from None
    return nominal, unit, law


def _within(reader: _Reader, law: Distribution, nominal: float) -> Distribution:
    physical = reader.spread.physical
    if physical is None:
        return law
    for quantity in physical:
        reader._same_dimension("physical", quantity)
    low, high = (quantity.si for quantity in physical)
    if not low < high:
        raise BadSpread("physical", "physical: the first limit must be the lower", "exchange them")
    if not low <= nominal <= high:
        what = "physical: the value itself lies outside"
        raise BadSpread("physical", what, "check the value, or the limits")
    if law.support[0] >= low and law.support[1] <= high:
        return law
    truncated = laws.Truncated(law, low, high)
    if truncated.removed > MOST_REMOVED:
        what = f"physical: {truncated.removed:.0%} of this spread lies outside"
        raise BadSpread("physical", what, "declare a spread that is mostly possible")
    return truncated


def _no_form(given: frozenset[str]) -> BadSpread:
    if given == {"value"}:
        return BadSpread(
            "value",
            "a value without a spread",
            "add `plus_minus:`, or write `constant:` in place of `value:` if it truly has none",
        )
    if not given:
        return BadSpread(None, "nothing says what the number is", "write `value:` and a spread")
    near = max(_FORMS, key=lambda form: (len(form.needs & given), -len(form.needs - given)))
    missing = sorted(near.needs - given)
    stray = sorted(given - near.needs - near.allows)
    if missing and not stray:
        names = ", ".join(f"`{key}`" for key in missing)
        present = ", ".join(f"`{key}`" for key in sorted(given))
        return BadSpread(sorted(given)[0], f"{present} alone says too little", f"add {names}")
    rest = ", ".join(f"`{key}`" for key in sorted(given - {stray[0]}))
    keep = " and ".join(f"`{key}`" for key in sorted(near.needs))
    remedy = f"state the spread one way: {keep}; a second, independent one goes under `also:`"
    return BadSpread(stray[0], f"`{stray[0]}` does not go with {rest}", remedy)
