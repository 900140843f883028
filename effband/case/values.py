"""Single values of the file format: how the text of each kind is read, and what is refused."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Annotated, Any

from pydantic import (
    AfterValidator,
    BeforeValidator,
    PlainValidator,
    WithJsonSchema,
)
from pydantic_core import PydanticCustomError

from effband.evidence.instruments import READS, Accuracy, parse_accuracy
from effband.problems import Misread, nearest, spell
from effband.units import Quantity, Unit, parse_number, parse_quantity, parse_unit

LONGEST_TEXT = 2000
MOST_OF_A_SHARE = 1.5  # what a bare number beyond it means is no fraction of 1
NAME = re.compile(r"[A-Za-z][A-Za-z0-9_]{0,39}")
EVIDENCE = (
    "measured",
    "certificate",
    "datasheet",
    "nameplate",
    "handbook",
    "rule of thumb",
    "guess",
)
JUDGED = ("rule of thumb", "guess")  # evidence that nobody looked up or measured
MEANS = (
    "engine rating",
    "delivered engine power",
    "motor rating",
    "chain efficiency",
    "stage efficiency",
    "lamp rating",
    "refill energy",
    "refill time",
    "rotor inertia",
    "rotor speed",
    "tare",
    "untared arm",
    "unloaded loss",
    "shaft work",
    "input energy",
    "output energy",
    "hot temperature",
    "cold temperature",
)


def refuse(
    what: str, remedy: str, start: int = 0, length: int | None = None
) -> PydanticCustomError:
    """Return the error of one value: what, remedy, and the stretch of its text."""
    context = {"what": what, "remedy": remedy, "start": start, "length": length}
    return PydanticCustomError("refused", "{what}", context)


def _from_text(parse: Any) -> PlainValidator:
    """Return a validator that reads text through a parser raising Misread."""

    def read(value: Any) -> Any:
        if not isinstance(value, str):
            raise refuse("one value is expected here, not a list or a mapping", "write one value")
        try:
            return parse(value)
        except Misread as error:
            raise refuse(error.what, error.remedy, error.start, error.length) from None

    return PlainValidator(read, json_schema_input_type=str)


_SCALAR = WithJsonSchema({"type": ["string", "number"]})


# -- single values -----------------------------------------------------------------------


@dataclass(frozen=True)
class ShareOfValue:
    """`5 % of value`: a width as a fraction of the value it belongs to."""

    fraction: float


_SHARE = re.compile(r"(?P<number>\S+) *(?P<unit>%|ppm) of (?:the )?value")


def parse_width(text: str) -> Quantity | ShareOfValue:
    """Return a width: a quantity, or a share of the value. Raises Misread."""
    match = _SHARE.fullmatch(text)
    if match is None:
        return parse_quantity(text)
    number = parse_number(match["number"])
    return ShareOfValue(number * parse_unit(match["unit"]).factor)


def refuse_bare(quantity: Quantity, text: str, unit: Unit, symbol: str = "") -> None:
    """Refuse a number without a unit where the value it is for has one.

    A share such as 22 for a value in % would else be taken as 2200 %.

    Parameters
    ----------
    quantity, text
        What was written, and how.
    unit
        That of the value.
    symbol
        What to write behind the number; the unit's own if not said.

    Raises
    ------
    Misread
        With the number as it should be.
    """
    plain = not any(unit.dimension)
    if quantity.unit.text != "1" or (plain and (unit.factor == 1.0 or not quantity.number)):
        return
    wanted = symbol or unit.symbol
    if wanted == "points" and quantity.number == 1.0:
        wanted = "point"
    remedy = f"write `{text} {wanted}`"
    if plain and abs(quantity.number) <= MOST_OF_A_SHARE:
        remedy += f", or `{quantity.number / unit.factor:.10g} {wanted}` if it is a fraction"
    raise Misread(0, len(text), f"{text} of what?", remedy)


def width_about(text: str, unit: Unit, value: float | None = None) -> float:
    """Return a width, SI, that stands about a value in a unit, such as `2 points` about 35 %.

    Parameters
    ----------
    text
        A quantity, or a share of the value (`5 %` where the value is not itself in %).
    unit
        That of the value.
    value
        The value, SI, of which a share may be meant; without one a share is refused.

    Raises
    ------
    Misread
        When the text is no width, does not fit the unit, or may be read in two ways.
    """
    given = parse_width(text)
    if isinstance(given, Quantity):
        refuse_bare(given, text, unit, unit.width_symbol)
    percent = isinstance(given, Quantity) and given.unit.text in ("%", "ppm")
    if isinstance(given, Quantity) and percent and unit.text in ("%", "ppm"):
        what = f"a percentage of what? the value itself is in {unit.text}"
        share = f"{given.number:g} {given.unit.text} of value"
        remedy = f"write `{100 * given.si:g} points`" + f" or `{share}`" * (value is not None)
        raise Misread(0, len(text), what, remedy)
    if isinstance(given, ShareOfValue) or percent:
        if value is None or unit.zero:
            symbol = unit.width_symbol or "a plain number"
            raise Misread(0, len(text), f"{text}: a share of what?", f"write a width in {symbol}")
        return (given.fraction if isinstance(given, ShareOfValue) else given.si) * abs(value)
    if given.unit.dimension != unit.dimension:
        what = f"{text} does not fit a value in {unit.text}"
        raise Misread(0, len(text), what, f"write it in {unit.width_symbol or unit.text}")
    if given.unit.zero:
        remedy = f"write K or delta_{given.unit.text}"
        raise Misread(0, len(text), f"{given.unit.text} is a point on a scale, no width", remedy)
    return given.si


def parse_fraction(text: str) -> float:
    """Return a plain fraction such as `1/4` or `0.25`, above 0 and at most 1."""
    above, slash, below = text.partition("/")
    number = parse_number(above) / (parse_number(below) or float("nan") if slash else 1.0)
    if not 0.0 < number <= 1.0:
        raise Misread(0, len(text), f"{text!r} is no fraction of a division", "write 1/4")
    return number


def parse_top(text: str) -> float:
    """Return the ratio of top to base of a trapezoid, 0 to 1: `0.4` or `2/5`."""
    above, slash, below = text.partition("/")
    number = parse_number(above) / (parse_number(below) or float("nan") if slash else 1.0)
    if not 0.0 <= number <= 1.0:
        raise Misread(0, len(text), f"{text!r} is no ratio of top to base", "write such as 0.4")
    return number


def parse_share(text: str) -> float:
    """Return a probability written as `95 %` or `0.95`."""
    quantity = parse_quantity(text)
    if any(quantity.unit.dimension) or not 0.0 < quantity.si < 1.0:
        raise Misread(0, len(text), f"{text!r} is no probability", "write such as 95 %")
    return quantity.si


def parse_whole(text: str) -> int:
    """Return a whole number, at most 18 digits."""
    number = parse_number(text)
    if not number.is_integer() or number < 0:
        raise Misread(0, len(text), f"{text!r} is not a whole number", "write digits only")
    return int(text) if text.isdigit() else int(number)


def parse_truth(text: str) -> bool:
    """Return what `true`, `false`, `yes` or `no` say."""
    known = {"true": True, "yes": True, "false": False, "no": False}
    if text not in known:
        raise Misread(0, len(text), f"{text!r} is neither true nor false", "write true or false")
    return known[text]


def _name(text: str) -> str:
    if not NAME.fullmatch(text):
        foreign = next((c for c in text if not c.isascii()), None)
        why = f": {spell(foreign)} is no letter a-z" if foreign else ""
        raise refuse(
            f"{text!r} cannot be a name{why}",
            "use letters a-z, digits and _, a letter first, at most 40; other text goes in label:",
        )
    return text


def _specimen(text: str) -> str:
    name, _, number = text.partition("#")
    if not NAME.fullmatch(name) or ("#" in text and not re.fullmatch(r"[0-9]{1,3}", number)):
        raise refuse(f"{text!r} names no instrument", "write its name, or such as probe#1")
    return text


def words(text: Any) -> str:
    """Return plain text; refuse anything else, and text too long to print."""
    if not isinstance(text, str):
        raise refuse("plain text is expected here", "write text, in quotes if it holds a colon")
    if len(text) > LONGEST_TEXT:
        raise refuse(f"text of more than {LONGEST_TEXT} characters", "shorten it")
    return text


def one_of(known: tuple[str, ...]) -> AfterValidator:
    """Return a validator that accepts the known words only."""

    def check(text: str) -> str:
        if text not in known:
            otherwise = "write one of: " + ", ".join(known)
            raise refuse(f"{text!r} is not known here", nearest(text, known, otherwise))
        return text

    return AfterValidator(check)


def _one_value(value: Any) -> str:
    if not isinstance(value, str):
        remedy = "write one value, or `{repeats: [7.72, 7.80]}`"
        raise refuse("one value is expected here, not a list", remedy)
    return words(value)


Text = Annotated[
    str,
    BeforeValidator(words),
    WithJsonSchema({"type": ["string", "number", "boolean"]}),  # as other YAML readers type it
]
Name = Annotated[Text, AfterValidator(_name)]
Specimen = Annotated[Text, AfterValidator(_specimen)]
QuantityText = Annotated[Quantity, _from_text(parse_quantity), _SCALAR]
WidthText = Annotated[Quantity | ShareOfValue, _from_text(parse_width), _SCALAR]
UnitText = Annotated[Unit, _from_text(parse_unit), _SCALAR]
Number = Annotated[float, _from_text(parse_number), _SCALAR]
Whole = Annotated[int, _from_text(parse_whole), _SCALAR]
Truth = Annotated[bool, _from_text(parse_truth), WithJsonSchema({"type": ["boolean", "string"]})]
Probability = Annotated[float, _from_text(parse_share), _SCALAR]
Fraction = Annotated[float, _from_text(parse_fraction), _SCALAR]
Top = Annotated[float, _from_text(parse_top), _SCALAR]
AccuracyText = Annotated[Accuracy, _from_text(parse_accuracy), _SCALAR]
Evidence = Annotated[Text, one_of(EVIDENCE)]
Meaning = Annotated[Text, one_of(MEANS)]
Reads = Annotated[Text, one_of(tuple(READS))]
Shape = Annotated[
    Text, one_of(("rectangular", "triangular", "arcsine", "trapezoidal", "exponential"))
]


def _one_or_list(value: Any) -> Any:
    return [value] if isinstance(value, str | dict) else value


@dataclass(frozen=True)
class OneOrMany:
    """Says in the JSON Schema that one may stand where a list is read."""

    def __get_pydantic_json_schema__(self, schema: Any, handler: Any) -> Any:
        many = handler(schema)
        return {"anyOf": [many, many["items"]]}


@dataclass(frozen=True)
class MembersAlone:
    """Says in the JSON Schema that a cross-check may be just the list of its members."""

    def __get_pydantic_json_schema__(self, schema: Any, handler: Any) -> Any:
        return {"anyOf": [handler(schema), {"type": "array", "items": {"type": "string"}}]}


LISTED = (BeforeValidator(_one_or_list), OneOrMany())
_TEXTS = (BeforeValidator(lambda v: [v] if isinstance(v, str) else v), OneOrMany())
Names = Annotated[list[Name], *_TEXTS]
Specimens = Annotated[list[Specimen], *_TEXTS]
Texts = Annotated[list[Text], *_TEXTS]
CellText = Annotated[str, BeforeValidator(_one_value), _SCALAR]
