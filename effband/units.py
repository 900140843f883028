"""Numbers and units: the closed list of `units.txt`, and the grammar of quantities.

The same grammar reads `units.txt` and a case file, so there is one language of units. It is
a small recursive descent over at most `LONGEST` characters that multiplies factors and adds
exponents; it never evaluates anything, so hostile text cannot make it run long.
"""

from __future__ import annotations

import functools
import re
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from importlib import resources

from effband.problems import PASTED, Misread, named, nearest

LONGEST = 80
LONGEST_NUMBER = 40
DEEPEST = 8
LARGEST_EXPONENT = 9
BASES = ("mass", "length", "time", "current", "temperature", "amount", "angle", "cycle")

Dimension = tuple[Fraction, ...]
DIMENSIONLESS: Dimension = (Fraction(0),) * len(BASES)

POINT = "temperature"
DIFFERENCE = "temperature difference"

_NUMBER = re.compile(r"[+-]?(?:0|[1-9][0-9]*)(?:\.[0-9]+)?(?:[eE][+-]?[0-9]{1,3})?")
_TOKEN = re.compile(
    r"(?P<number>(?:0|[1-9][0-9]*)(?:\.[0-9]+)?(?:[eE][+-]?[0-9]{1,3})?)"
    r"|(?P<word>[A-Za-z_%][A-Za-z0-9_]*)|(?P<mark>\*\*|[*/^()+-])|(?P<space> +)"
)
_PASTED = {
    **PASTED,
    "°": "write degC or degF",
    "º": "write degC or degF",
    "\N{OHM SIGN}": "write ohm",
    "\N{GREEK CAPITAL LETTER OMEGA}": "write ohm",
    "\N{MICRO SIGN}": "write u for micro, as in um",
    "\N{GREEK SMALL LETTER MU}": "write u for micro, as in um",
    "²": "write ^2",
    "³": "write ^3",
    ",": "use a point for decimals",
    ":": "write hours and minutes as one number with a unit, such as 750 s",
    "±": "write the value under `value:` and the spread under `plus_minus:`",
}
# Units written out, for the advice; never accepted in the place of their symbols.
_WRITTEN_OUT = {
    word: symbol
    for symbol, words in {
        "A": "amp amps ampere amperes",
        "V": "volt volts",
        "W": "watt watts",
        "kW": "kilowatt kilowatts",
        "Wh": "watthour watthours",
        "kWh": "kilowatthour kilowatthours",
        "ohm": "ohms",
        "Hz": "hertz",
        "L": "ltr litre litres liter liters",
        "mL": "millilitre millilitres milliliter milliliters",
        "s": "sec secs second seconds",
        "min": "mins minute minutes",
        "h": "hr hrs hour hours",
        "m": "metre metres meter meters",
        "mm": "millimetre millimetres millimeter millimeters",
        "cm": "centimetre centimetres centimeter centimeters",
        "km": "kilometre kilometres kilometer kilometers",
        "in": "inch inches",
        "ft": "foot feet",
        "g": "gram grams gramme grammes gr",
        "kg": "kilo kilos kilogram kilograms kilogramme kilogrammes kgs",
        "lb": "lbs",
        "N": "newton newtons",
        "J": "joule joules",
        "kJ": "kilojoule kilojoules",
        "Pa": "pascal pascals",
        "bar": "bars",
        "degC": "celsius centigrade",
        "degF": "fahrenheit",
        "K": "kelvin kelvins",
        "%": "percent",
    }.items()
    for word in words.split()
}
_RANGE = re.compile(r"[0-9.]+ ?[-\u2013] ?[0-9.]+(?![-0-9])")
# Two quantities with a sign between them: the value, and how well it is known.
_SPREAD_BEHIND = re.compile(r"(?P<value>[^±]*[^ +/±-]) *(?P<sign>\+/?-|±) *(?P<width>[0-9].*)")


@dataclass(frozen=True)
class Unit:
    """A unit, simple or compound: SI value = number * factor + zero.

    Attributes
    ----------
    text
        As written.
    factor
        SI units in one unit.
    dimension
        Exponents of `BASES`.
    kind
        `POINT` for degC and degF, `DIFFERENCE` for delta_degC and delta_degF, else None.
    zero
        SI value at number 0; other than 0 only for a point.
    note
        What the unit is, and its source.
    """

    text: str
    factor: float
    dimension: Dimension
    kind: str | None = None
    zero: float = 0.0
    note: str = ""

    @property
    def symbol(self) -> str:
        """What stands behind a number: nothing for a plain number."""
        return "" if self.text == "1" else self.text

    @property
    def width_symbol(self) -> str:
        """What stands behind a difference: points for %, K for degC."""
        if self.text == "%":
            return "points"
        if self.kind == POINT:
            return "K" if self.factor == 1.0 else f"delta_{self.text}"
        return self.symbol

    def to_si(self, number: float) -> float:
        """Return the SI value of a number in this unit."""
        return number * self.factor + self.zero

    def from_si(self, value: float) -> float:
        """Return the number in this unit of an SI value."""
        return (value - self.zero) / self.factor


ONE = Unit("1", 1.0, DIMENSIONLESS)


@dataclass(frozen=True)
class Quantity:
    """A number as written, with its unit."""

    number: float
    unit: Unit

    @property
    def si(self) -> float:
        """The value in SI units."""
        return self.unit.to_si(self.number)

    @property
    def si_width(self) -> float:
        """The value taken as a difference, in SI units (5 degC wide is 5 K wide)."""
        return self.number * self.unit.factor


def parse_number(text: str) -> float:
    """Return the finite number that the text is, by our own strict grammar.

    Raises
    ------
    Misread
        When it is not `[+-]digits[.digits][e[+-]digits]` in ASCII, or not finite.
    """
    match = _NUMBER.match(text)
    if match is None or match.end() != len(text) or len(text) > LONGEST_NUMBER:
        raise _not_a_number(text)
    value = float(text)
    if value in (float("inf"), float("-inf")):
        raise Misread(0, len(text), f"{text} is too large for a number", "check the exponent")
    return value


def _not_a_number(text: str) -> Misread:
    whole = (0, max(1, len(text)))
    what = f"{text[:40]!r} is not a number"
    if len(text) > LONGEST_NUMBER:
        what = f"{text[:40]!r} is too long for a number"
        return Misread(*whole, what, "write at most 40 characters")
    if re.fullmatch(r"[+-]?[0-9]+(\.[0-9]+)?[eE]\+?[0-9]{4,}", text):
        return Misread(*whole, f"{text} is too large for a number", "check the exponent")
    if re.fullmatch(r"[+-]?0[0-9]+(\.[0-9]*)?", text):
        return Misread(*whole, what, "leave out the leading zero")
    if re.fullmatch(r"[+-]?\.[0-9]+.*", text):
        return Misread(*whole, what, "write a digit before the point: 0.5, not .5")
    if re.fullmatch(r"[+-]?[0-9]+\.", text):
        return Misread(*whole, what, "write a digit after the point: 5.0, or 5")
    if re.fullmatch(r"[+-]?[0-9]+([eE][+-]?[0-9]+)?_?[0-9_]*", text) and "_" in text:
        return Misread(*whole, what, "leave out the underscores")
    if text.startswith("±"):
        return Misread(*whole, what, "leave out the sign ±")
    if "+/-" in text or "+-" in text:
        return Misread(*whole, what, _PASTED["\u00b1"])
    if re.fullmatch(r"[+-]?[0-9.]+ *%", text):
        return Misread(*whole, what, "write the number alone, without %")
    for character in text:
        if character in _PASTED and character not in "°º²³":
            return Misread(*whole, what, _PASTED[character])
    return Misread(*whole, what, "write digits, with a point for decimals, such as 12.5")


def parse_quantity(text: str) -> Quantity:
    """Return the quantity that the text is: a number, then a unit or nothing.

    Raises
    ------
    Misread
        With the offending stretch; the text is at most `LONGEST` characters long.
    """
    if len(text) > LONGEST:
        what = "this is too long for a quantity"
        raise Misread(0, LONGEST, what, "write number, then unit")
    match = _NUMBER.match(text)
    if match is None:
        raise _not_a_number(text.split(" ")[0] or text)
    between = _RANGE.match(text)
    if between is not None:
        remedy = "write a range under two keys: `low:` and `high:`"
        raise Misread(0, between.end(), f"{between.group()!r} is not a number", remedy)
    spread = _SPREAD_BEHIND.fullmatch(text)
    if spread is not None:
        value, sign, width = spread.group("value", "sign", "width")
        remedy = f"write it under two keys: `value: {value}` and `plus_minus: {width}`"
        raise Misread(0, len(text), f"{sign} cannot stand in a quantity", remedy)
    rest = text[match.end() :]
    start = match.end() + len(rest) - len(rest.lstrip(" "))
    first = rest[:1]
    if first in (".", ",", ":", "_", "\u00a0", "\u202f") or first.isdigit():
        raise _not_a_number(text.split(" ")[0])
    number = parse_number(match.group())
    unit = parse_unit(text[start:], start) if text[start:] else ONE
    return Quantity(number, unit)


def parse_unit(text: str, start: int = 0) -> Unit:
    """Return the unit that the text is, such as `kg*m^2` or `kW/(100 ft^3/min)`.

    Parameters
    ----------
    text
        The unit; a blank between two units multiplies, a number may stand as a factor.
    start
        Where the text begins in the line it came from, for the place of an error.

    Raises
    ------
    Misread
        For an unknown or ambiguous word, a bad exponent, or text that is no unit.
    """
    try:
        if len(text) > LONGEST:
            raise Misread(0, LONGEST, "this is too long for a unit", "use fewer factors")
        if text in _units():
            return _word(text, 0, _units())
        return _Reader(text, _units()).whole()
    except Misread as error:
        raise Misread(start + error.start, error.length, error.what, error.remedy) from None


class _Reader:
    """Recursive descent over one unit text: products and quotients of powers of words.

    A number may stand as `1/s`, or first in parentheses, as in `kW/(100 ft^3/min)`; only in
    the definitions of `units.txt` may one stand anywhere.
    """

    def __init__(self, text: str, table: _Table, defining: bool = False) -> None:
        self.text = text
        self.table = table
        self.defining = defining
        self.tokens = list(self._split())
        self.at = 0

    def _split(self) -> Iterator[tuple[str, str, int]]:
        position = 0
        while position < len(self.text):
            match = _TOKEN.match(self.text, position)
            if match is None:
                character = self.text[position]
                remedy = _PASTED.get(character, "write units like kg*m^2 or L/min")
                raise Misread(
                    position, 1, f"{named(character, _PASTED)} cannot stand in a unit", remedy
                )
            kind = match.lastgroup or ""
            if kind != "space":
                yield kind, match.group(), position
            position = match.end()
        yield "end", "", position

    def peek(self) -> tuple[str, str, int]:
        return self.tokens[self.at]

    def next(self) -> tuple[str, str, int]:
        token = self.tokens[self.at]
        self.at += 1
        return token

    def whole(self) -> Unit:
        unit = self.product(0)
        kind, text, position = self.peek()
        if kind != "end":
            raise Misread(
                position, len(text), f"{text!r} is out of place in a unit", "write units like N*m/s"
            )
        if not 1e-300 < unit.factor < 1e300:
            raise Misread(0, len(self.text), "this unit is out of all bounds", "check it")
        return Unit(self.text, unit.factor, unit.dimension, unit.kind, unit.zero, unit.note)

    def product(self, depth: int) -> Unit:
        if depth > DEEPEST:
            raise Misread(0, len(self.text), "too many parentheses", "write a simpler unit")
        unit = self.power(depth)
        divided = False
        while True:
            kind, text, _ = self.peek()
            if text in ("*", "/"):
                self.next()
                position = self.peek()[2]
                right = self.power(depth)
                divided = divided or text == "/"
                if text == "/" and right.factor == 0.0:
                    raise Misread(position, 1, "a unit is divided by zero", "check the factor")
                unit = _multiply(unit, right, -1 if text == "/" else 1)
            elif kind in ("word", "number") or text == "(":
                if divided and kind == "word":
                    remedy = "write parentheses, as in J/(kg*K)"
                    what = f"is {text!r} above or below the stroke?"
                    raise Misread(self.peek()[2], len(text), what, remedy)
                unit = _multiply(unit, self.power(depth), 1)
            else:
                return unit

    def power(self, depth: int) -> Unit:
        kind, text, position = self.next()
        if kind == "word":
            unit = _word(text, position, self.table)
            if unit.kind == POINT and len(self.tokens) > 2:
                what = f"{unit.text} is a point on a scale and cannot be part of another unit"
                remedy = "write K for a difference, as in J/(kg*K)"
                raise Misread(position, len(text), what, remedy)
        elif kind == "number":
            self._may_stand(text, position)
            unit = Unit(text, float(text), DIMENSIONLESS)
        elif text == "(":
            unit = self.product(depth + 1)
            _, closing, where = self.next()
            if closing != ")":
                raise Misread(where, 1, "a parenthesis is not closed", "write )")
        else:
            what = "a unit is missing here" if kind == "end" else f"{text!r} is out of place here"
            raise Misread(position, max(1, len(text)), what, "write units like kg*m^2")
        if self.peek()[1] in ("^", "**"):
            self.next()
            exponent = self.exponent()
            unit = _power(unit, exponent)
        return unit

    def _may_stand(self, text: str, position: int) -> None:
        before = self.tokens[self.at - 2][1] if self.at > 1 else None
        after = self.peek()[1]
        one_over = before is None and text == "1" and after in ("/", "")
        in_parentheses = before == "(" and self.tokens[self.at - 3][1] == "/"
        if not (self.defining or one_over or in_parentheses):
            what = "two numbers stand side by side"
            if before == "/" and float(text) == 0.0:
                raise Misread(position, 1, "a unit is divided by zero", "check the factor")
            raise Misread(position, len(self.text) - position, what, "write number, then unit")

    def exponent(self) -> int:
        sign = 1
        kind, text, position = self.next()
        if text in ("-", "+"):
            sign = -1 if text == "-" else 1
            kind, text, position = self.next()
        if kind != "number" or not text.isdigit() or int(text) > LARGEST_EXPONENT:
            raise Misread(
                position,
                max(1, len(text)),
                "an exponent is a whole number from -9 to 9",
                "write m^2, or 1/s",
            )
        return sign * int(text)


def _multiply(left: Unit, right: Unit, sign: int) -> Unit:
    dimension = tuple(a + sign * b for a, b in zip(left.dimension, right.dimension, strict=True))
    factor = left.factor * right.factor if sign > 0 else left.factor / right.factor
    return Unit("", factor, dimension)


def _power(unit: Unit, exponent: int) -> Unit:
    try:
        factor = unit.factor**exponent
    except ArithmeticError:
        raise Misread(0, 1, "a unit is too large", "check the factor") from None
    return Unit("", factor, tuple(e * exponent for e in unit.dimension))


@dataclass(frozen=True)
class _Refused:
    why: str
    remedy: str


_Table = dict[str, "Unit | _Refused"]


def _word(word: str, position: int, table: _Table) -> Unit:
    entry = table.get(word)
    if isinstance(entry, Unit):
        return entry
    if entry is not None:
        raise Misread(position, len(word), f"{word!r}: {entry.why}", entry.remedy)
    known = [name for name, unit in table.items() if isinstance(unit, Unit)]
    if word[:-1] in known and word[-1] in "23":
        remedy = f"write {word[:-1]}^{word[-1]}"
        raise Misread(position, len(word), f"unknown unit {word!r}", remedy)
    remedy = nearest(word, known, "`effband units` lists the units")
    if _WRITTEN_OUT.get(word.casefold()) in known:
        remedy = f"write {_WRITTEN_OUT[word.casefold()]}"
    raise Misread(position, len(word), f"unknown unit {word!r}", remedy)


@functools.cache
def _units() -> _Table:
    table: _Table = {}
    for line in resources.files("effband").joinpath("units.txt").read_text("utf-8").splitlines():
        entry, _, note = line.partition(" # ")
        word, _, definition = (part.strip() for part in entry.partition(" = "))
        if definition and not word.startswith("#"):
            table[word] = _define(word, definition, note.strip(), table)
    return table


def known_units() -> tuple[Unit, ...]:
    """Return every unit of the closed list, in its order."""
    return tuple(unit for unit in _units().values() if isinstance(unit, Unit))


def _define(word: str, definition: str, note: str, table: _Table) -> Unit | _Refused:
    form, _, rest = definition.partition(" ")
    if form == "refuse":
        why, _, remedy = rest.partition(" | ")
        return _Refused(why, remedy)
    if form == "base":
        at = BASES.index(rest)
        return Unit(word, 1.0, _base(at), note=note)
    if form == "point":
        degree, _, zero = rest.partition(" + ")
        size = _defined(degree, table)
        return Unit(word, size.factor, size.dimension, POINT, _defined(zero, table).factor, note)
    kind = DIFFERENCE if form == "difference" else None
    unit = _defined(rest if kind else definition, table)
    return Unit(word, unit.factor, unit.dimension, kind, note=note)


def _base(at: int) -> Dimension:
    return tuple(Fraction(int(i == at)) for i in range(len(BASES)))


def _defined(text: str, table: _Table) -> Unit:
    return _Reader(text, table, defining=True).whole()


# -- dimensions, as the checks of formulas use them ---------------------------------------


def same_dimension(left: Dimension, right: Dimension) -> bool:
    """Return whether the two agree; the radian counts as 1, as in the SI."""
    return _without_angle(left) == _without_angle(right)


def _without_angle(dimension: Dimension) -> Dimension:
    at = BASES.index("angle")
    return (*dimension[:at], Fraction(0), *dimension[at + 1 :])


def name_dimension(dimension: Dimension) -> str:
    """Return a dimension in words: "pressure", or base units such as "kg m^2/s"."""
    for name, unit in _NAMED.items():
        if parse_unit(unit).dimension == dimension:
            return f"{name} ({unit})"
    for name, unit in _NAMED.items():  # a torque times a turning speed is a power
        if dimension[6] and same_dimension(parse_unit(unit).dimension, dimension):
            return f"{name} ({unit})"
    if not any(_without_angle(dimension)):
        return "a number without unit"
    return _composed(dimension)


def si_unit(dimension: Dimension) -> Unit:
    """Return the SI unit that a value of a dimension can be given in."""
    named = (parse_unit(text) for text in _NAMED.values())
    found = next((unit for unit in named if unit.dimension == dimension), None)
    return found or parse_unit(_composed(dimension) if any(dimension) else "1")


def _composed(dimension: Dimension) -> str:
    """Return a dimension in base units: "kg*m^2/s"."""
    above: list[str] = []
    below: list[str] = []
    for symbol, exponent in zip(_SYMBOLS, dimension, strict=True):
        if exponent:
            size = abs(exponent)
            (above if exponent > 0 else below).append(symbol if size == 1 else f"{symbol}^{size}")
    return "*".join(above or ["1"]) + "".join(f"/{part}" for part in below)


_SYMBOLS = ("kg", "m", "s", "A", "K", "mol", "rad", "cycle")
_NAMED = {
    "mass": "kg",
    "length": "m",
    "angle": "rad",
    "area": "m^2",
    "volume": "m^3",
    "time": "s",
    "frequency": "Hz",
    "rotational speed": "rad/s",
    "speed": "m/s",
    "temperature": "K",
    "force": "N",
    "pressure": "Pa",
    "energy": "J",
    "power": "W",
    "current": "A",
    "voltage": "V",
    "resistance": "ohm",
    "charge": "C",
    "density": "kg/m^3",
    "volume flow": "m^3/s",
    "mass flow": "kg/s",
    "energy per mass": "J/kg",
    "specific heat": "J/(kg*K)",
    "moment of inertia": "kg*m^2",
}
