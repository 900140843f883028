"""From an accuracy statement to the error of a reading.

One physical instrument has one unknown error curve, used for all its readings:

    e(x) = L(x) * shape(cos(t) Z1 + sin(t) Z2),   t = (pi/2) (x - low)/(high - low)

L is the limit that the statement gives at the reading x, Z1 and Z2 are standard normals drawn
once per instrument and trial, and `shape` carries the normal's own probability to the declared
law on [-1, 1]. Each reading's error so has exactly the law of JCGM 101:2008 6.4 for limits
(clause from memory), every drawn curve keeps within the class, neighbouring readings share
nearly all of it, and the two ends of the scale share nothing.
"""

from __future__ import annotations

import functools
import itertools
import math
import re
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from scipy import special

from effband.evidence.distributions import Distribution, unit_shape
from effband.problems import Misread
from effband.units import (
    DIFFERENCE,
    POINT,
    Quantity,
    Unit,
    parse_number,
    parse_quantity,
)

GAUGE = "gauge pressure"
ABSOLUTE = "absolute pressure"
PRESSURE_DIFFERENCE = "pressure difference"

# What a reading can be of: a unit of its dimension, and its kind where that matters.
READS: dict[str, tuple[str, str | None]] = {
    GAUGE: ("Pa", GAUGE),
    ABSOLUTE: ("Pa", ABSOLUTE),
    PRESSURE_DIFFERENCE: ("Pa", PRESSURE_DIFFERENCE),
    POINT: ("K", POINT),
    DIFFERENCE: ("K", DIFFERENCE),
    "AC voltage": ("V", None),
    "DC voltage": ("V", None),
    "AC current": ("A", None),
    "DC current": ("A", None),
    "AC power": ("W", None),
    "DC power": ("W", None),
    "power": ("W", None),
    "energy": ("J", None),
    "time": ("s", None),
    "rotational speed": ("rad/s", None),
    "frequency": ("Hz", None),
    "speed": ("m/s", None),
    "mass": ("kg", None),
    "force": ("N", None),
    "torque": ("N*m", None),
    "length": ("m", None),
    "volume": ("m^3", None),
    "volume flow": ("m^3/s", None),
    "mass flow": ("kg/s", None),
    "resistance": ("ohm", None),
}


# -- the statement ---------------------------------------------------------------------------


@dataclass(frozen=True)
class Term:
    """One term of a statement.

    Attributes
    ----------
    of
        "reading" or "span" (`amount` is a fraction), "digits" (a count), "amount".
    amount
        The fraction or count; for "amount" unused.
    quantity
        The amount itself, for "amount".
    """

    of: str
    amount: float = 0.0
    quantity: Quantity | None = None


@dataclass(frozen=True)
class Summand:
    """One summand of a statement: the greatest of its terms, or one for each part of the scale.

    `up_to` says where all parts, or all but the last, end; empty where the greatest term counts.
    """

    terms: tuple[Term, ...]
    up_to: tuple[Term, ...] = ()


@dataclass(frozen=True)
class Accuracy:
    """An accuracy statement: a sum."""

    text: str
    summands: tuple[Summand, ...]

    def each_term(self) -> Iterator[Term]:
        """Yield every term, those that say where a part of the scale ends included."""
        for summand in self.summands:
            yield from summand.terms
            yield from summand.up_to

    def needs(self, of: str) -> bool:
        """Return whether any term is a share `of` the span, or counts digits."""
        return any(term.of == of for term in self.each_term())

    def limit(
        self, reading: float, unit: Unit, span: tuple[float, float] | None, digit: float | None
    ) -> float:
        """Return the limit of error at a reading, in SI units; infinite where none is stated.

        Parameters
        ----------
        reading
            The number read, in `unit`; its size counts, so 60 degC is 60.
        unit
            The unit of the span, or of the reading where there is no span.
        span
            Lowest and highest number of the range, in `unit`; only where a term needs it.
        digit
            The last digit of the display in SI units; only where a term needs it.
        """

        def size(term: Term) -> float:
            if term.of == "reading":
                return term.amount * abs(reading) * unit.factor
            if term.of == "span":
                assert span is not None
                return term.amount * (span[1] - span[0]) * unit.factor
            if term.of == "digits":
                assert digit is not None
                return term.amount * digit
            assert term.quantity is not None
            return term.quantity.si_width

        def reaches(bound: Term) -> bool:
            zero = span[0] if bound.of == "span" and span is not None else 0.0
            # an end belongs to the part below it, in any unit
            return abs(reading - zero) * unit.factor <= size(bound) * (1 + 1e-12)

        def one(summand: Summand) -> float:
            if not summand.up_to:
                return max(size(term) for term in summand.terms)
            for term, bound in zip(summand.terms, summand.up_to, strict=False):
                if reaches(bound):
                    return size(term)
            open_ended = len(summand.terms) > len(summand.up_to)
            return size(summand.terms[-1]) if open_ended else math.inf

        return sum(one(summand) for summand in self.summands)


_ATOM = re.compile(
    r"(?P<number>[^ ]+) *(?:(?P<share>%|ppm) of (?:the )?(?P<of>reading|span)|(?P<digits>digits?))"
)
_SPOKEN = (
    (re.compile(r"\b(rdg|rd|of value|of reading)\b", re.I), "write `N % of reading`"),
    (re.compile(r"\b(fs|fsd|fso|f\.s\.|full scale|of range)\b", re.I), "write `N % of span`"),
    (re.compile(r"\b(counts?|dgts?|lsd)\b", re.I), "write `N digits`"),
    (re.compile(r"\bdivisions?\b", re.I), "write the width itself, such as 0.5 bar"),
)


def parse_accuracy(text: str) -> Accuracy:
    """Return the statement that the text is, such as `0.5 % of reading + 2 digits`.

    Raises
    ------
    Misread
        With the offending term; a bare `0.5 %` is refused, since of what is not said.
    """
    summands = []
    for part, start in _split(text, "+"):
        summands.append(_parse_summand(part, start))
    return Accuracy(text, tuple(summands))


def _split(text: str, by: str, start: int = 0) -> Iterator[tuple[str, int]]:
    """Yield the stripped parts between separators, and where each begins."""
    for part in text.split(by):
        yield part.strip(), start + len(part) - len(part.lstrip())
        start += len(part) + len(by)


def _parse_summand(text: str, start: int) -> Summand:
    if text.startswith("greater of "):
        at = start + len("greater of ")
        parts = list(_split(text[len("greater of ") :], " or ", at))
        if len(parts) != 2:
            raise Misread(start, len(text), "`greater of` needs two terms", "write A or B")
        return Summand(tuple(_parse_atom(*part) for part in parts))
    steps = [list(_split(step, " up to ", at)) for step, at in _split(text, " then ", start)]
    if len(steps[-1]) > 2 or any(len(step) != 2 for step in steps[:-1]):
        what = "each part of the scale but the last says how far it goes"
        raise Misread(start, len(text), what, "write such as 1 g up to 500 g then 2 g")
    bounds = [_parse_atom(*step[1]) for step in steps if len(step) == 2]
    if any(bound.of == "reading" for bound in bounds):
        what = "a part of the scale cannot end at a share of the reading"
        raise Misread(start, len(text), what, "write such as up to 2 kg, or up to 25 % of span")
    for first, second in itertools.pairwise(bounds):
        if first.of == second.of and not _reach(first) < _reach(second):
            what = "the parts of the scale must go up"
            raise Misread(start, len(text), what, "write such as 1 g up to 500 g then 2 g")
    return Summand(tuple(_parse_atom(*step[0]) for step in steps), tuple(bounds))


def _reach(bound: Term) -> float:
    return bound.amount if bound.quantity is None else bound.quantity.si_width


def _parse_atom(text: str, start: int) -> Term:
    if not text:
        raise Misread(start, 1, "a term is missing", "write such as 0.5 % of reading")
    try:
        match = _ATOM.fullmatch(text)
        if match is not None:
            number = parse_number(match["number"])
            if number < 0.0:
                raise Misread(0, len(text), "a limit cannot be negative", "drop the minus")
            if match["digits"]:
                return Term("digits", number)
            return Term(match["of"], number * (0.01 if match["share"] == "%" else 1e-6))
        for spoken, remedy in _SPOKEN:
            if spoken.search(text):
                raise Misread(0, len(text), f"{text!r} is not how a term is written", remedy)
        quantity = parse_quantity(text)
        if quantity.number < 0.0:
            raise Misread(0, len(text), "a limit cannot be negative", "drop the minus")
        if quantity.unit.text in ("%", "ppm"):
            raise Misread(
                0, len(text), f"{text!r} of what?", f"write `{text} of reading` or `{text} of span`"
            )
        if quantity.unit.kind == POINT:
            remedy = f"write K or delta_{quantity.unit.text}"
            raise Misread(0, len(text), f"{text!r} is a point, not a width", remedy)
        return Term("amount", quantity=quantity)
    except Misread as error:
        raise Misread(start + error.start, error.length, error.what, error.remedy) from None


# -- the error curve --------------------------------------------------------------------------


@dataclass(frozen=True)
class Curve:
    """The common error of one reading: where on the instrument's curve it sits.

    Attributes
    ----------
    specimen
        The physical instrument; its sources are `specimen.z1` and `specimen.z2`.
    limit
        L at this reading, SI; for `law` None the standard deviation.
    angle
        t in radians: 0 at the low end of the span, pi/2 at the high end.
    law
        Name of the symmetric law on [-1, 1], or None for a normal one.
    top
        Ratio of top to base of a trapezoidal law.
    """

    specimen: str
    limit: float
    angle: float
    law: str | None = "rectangular"
    top: float | None = None

    @property
    def shape(self) -> Distribution | None:
        """The law on [-1, 1]; None for the standard normal."""
        return None if self.law is None else unit_shape(self.law, self.top)

    @property
    def standard_uncertainty(self) -> float:
        """Standard deviation of the error at this reading, SI."""
        shape = self.shape
        return self.limit * (1.0 if shape is None else shape.standard_uncertainty)


def angle_on_scale(reading: float, span: tuple[float, float] | None) -> float:
    """Return t of a reading: 0 at the low end of the span, pi/2 at the high end."""
    if span is None:
        return 0.0
    return (math.pi / 2) * (reading - span[0]) / (span[1] - span[0])


def curve_covariance(one: Curve, other: Curve) -> float:
    """Return the covariance of two readings' common errors on one curve, SI.

    For a rectangular law the correlation is (6/pi) asin(cos(t1 - t2)/2); for others it is the
    Hermite series of the law, sum a_k^2 rho^k / sum a_k^2 with rho = cos(t1 - t2).
    """
    rho = math.cos(one.angle - other.angle)
    if one.law is None:
        correlation = rho
    elif one.law == "rectangular":
        correlation = (6 / math.pi) * math.asin(rho / 2)
    else:
        weights, orders = _hermite_weights(one.law, one.top)
        correlation = float(np.sum(weights * rho**orders)) if rho < 1.0 else 1.0
    return one.standard_uncertainty * other.standard_uncertainty * correlation


@functools.lru_cache(maxsize=64)
def _hermite_weights(law: str, top: float | None) -> tuple[np.ndarray, np.ndarray]:
    p = (np.arange(200_000) + 0.5) / 200_000
    z = special.ndtri(p)
    x = unit_shape(law, top).quantile(p)
    below, here = np.ones_like(z), z  # normalised Hermite polynomials of order 0 and 1
    weights, orders = [], []
    for order in range(1, 100):
        if order % 2:  # a symmetric law has odd terms only
            weights.append(float(np.mean(x * here)) ** 2)
            orders.append(order)
        below, here = (
            here,
            (z * here - math.sqrt(order) * below) / math.sqrt(order + 1),
        )
    return np.array(weights) / sum(weights), np.array(orders)
