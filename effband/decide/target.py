"""How narrow a result is wanted, as a person writes it."""

from __future__ import annotations

import math
import re

from effband.problems import Misread
from effband.units import POINT, Unit, parse_number, parse_quantity

_OF_VALUE = re.compile(r"(?P<number>\S+) *% of (?:the )?value")


def parse_target(text: str, unit: Unit, nominal: float) -> float:
    """Return a half-width, SI: `0.5 points`, `20 W`, or `5 % of value`.

    Parameters
    ----------
    text
        As the user wrote it.
    unit
        That of the result.
    nominal
        The result's value, SI.

    Raises
    ------
    Misread
        When it is no width in the result's unit, or not above 0.
    """
    text = " ".join(text.split())
    of_value = _OF_VALUE.fullmatch(text)
    if of_value is not None:
        number = parse_number(of_value["number"])
        size = abs(nominal - unit.zero)
        if unit.kind == POINT or size == 0.0:
            raise Misread(0, len(text), "there is no share of such a value", _such(unit))
        width = number / 100 * size
    else:
        quantity = parse_quantity(text)
        if quantity.unit.text in ("%", "ppm"):
            points = f"write `{text} of value`, the share of the result"
            if not any(unit.dimension):
                points = f"write `{quantity.number:g} points`, or `{text} of value`"
            raise Misread(0, len(text), f"{text!r} of what?", points)
        if quantity.unit.text == "1" != unit.text:
            symbol = unit.width_symbol
            own = "point" if symbol == "points" and quantity.number == 1.0 else symbol
            raise Misread(0, len(text), f"{text!r} has no unit", f"write `{text} {own}`")
        if quantity.unit.dimension != unit.dimension:
            what = f"{text!r} does not fit the result, which is in {unit.text}"
            raise Misread(0, len(text), what, _such(unit))
        if quantity.unit.kind == POINT:
            what = f"{text!r} is a point, not a width"
            raise Misread(0, len(text), what, f"write {unit.width_symbol}")
        width = quantity.si_width
    if not (width > 0.0 and math.isfinite(width)):
        raise Misread(0, len(text), "a target is above 0", _such(unit))
    return width


def _such(unit: Unit) -> str:
    number = f"0.5 {unit.width_symbol}".rstrip()
    return f"write such as `{number}`" + ("" if unit.kind == POINT else " or `5 % of value`")
