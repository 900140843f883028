"""Physics functions of the formula language, as data.

A function is an entry: what it takes, what it gives, an expression in the formula language
itself, where it holds, whose it is, and one line worked out. `case.program` expands it into
elementary operations, so an entry is all there is to write; it is never code.
"""

from __future__ import annotations

from dataclasses import dataclass

SETTLED, AT_ONCE = "settled", "read at once"
NOT_COLD = "not read at once"  # where whether it settled need not be said


@dataclass(frozen=True)
class Argument:
    """One argument of a physics function.

    Attributes
    ----------
    name
        As it stands in the expression.
    unit
        A unit of its dimension.
    meaning
        What it is, in a few words.
    kind
        "absolute pressure", "temperature" and so on, where that matters.
    gas
        How a pressure must have been read from a receiver: `SETTLED` to room temperature,
        `AT_ONCE` or `NOT_COLD`; None where it does not matter. Of a result, how it may pass.
    never_negative
        Whether the function means nothing below 0.
    """

    name: str
    unit: str
    meaning: str
    kind: str | None = None
    gas: str | None = None
    never_negative: bool = False


@dataclass(frozen=True)
class Constant:
    """A number that an expression uses by name: its value in `unit`, what it is and whose."""

    name: str
    value: float
    unit: str
    meaning: str


@dataclass(frozen=True)
class Limit:
    """A bound of a function's domain.

    Attributes
    ----------
    of
        An expression of the arguments (constants and `where` included).
    unit
        The unit that the bounds are in.
    least, most
        The bounds; None where there is none. A bound itself lies inside.
    more_than
        A bound that lies outside itself: a time must be more than 0.
    because
        What happens beyond, as a clause: "real air departs from an ideal gas".
    called
        What the expression is, in words; its own text when left out.
    refuse
        Whether a value beyond makes the result meaningless, so that the case is refused;
        otherwise it is warned of.
    """

    of: str
    unit: str
    because: str
    least: float | None = None
    most: float | None = None
    more_than: float | None = None
    called: str | None = None
    refuse: bool = False

    @property
    def edges(self) -> tuple[tuple[str, float], ...]:
        """How a value may lie outside, in words, and the bound."""
        found = (
            ("below", self.least),
            ("not above", self.more_than),
            ("above", self.most),
        )
        return tuple((words, bound) for words, bound in found if bound is not None)


def not_negative(of: str, unit: str, because: str = "less than nothing: check the sign") -> Limit:
    """Return the limit that refuses what is below 0."""
    return Limit(of, unit, because, least=0, refuse=True)


def positive(of: str, unit: str, because: str) -> Limit:
    """Return the limit that refuses what is not above 0."""
    return Limit(of, unit, because, more_than=0, refuse=True)


@dataclass(frozen=True)
class PhysicsFunction:
    """One function of the formula language.

    Attributes
    ----------
    name, arguments
        How it is called.
    gives
        The result: its `name` is a label, `unit` and `kind` its nature.
    expression
        In the formula language, of the arguments, the `where` names and constants.
    sentence
        What it is for, in one plain sentence.
    domain
        Where it holds, in words.
    source
        Author or standard.
    example, worked
        Arguments as quantities, and the result to the digits shown.
    where
        Names for parts of the expression, in order; each may use those before it.
    constants
        Numbers with units that the expression uses.
    limits
        The bounds of the domain that numbers can show.
    keeps_gas_of
        The argument whose "settled" or "read at once" the result inherits.
    """

    name: str
    arguments: tuple[Argument, ...]
    gives: Argument
    expression: str
    sentence: str
    domain: str
    source: str
    example: tuple[str, ...]
    worked: str
    where: tuple[tuple[str, str], ...] = ()
    constants: tuple[Constant, ...] = ()
    limits: tuple[Limit, ...] = ()
    keeps_gas_of: str | None = None

    @property
    def all_limits(self) -> tuple[Limit, ...]:
        """The limits, with those that the kinds of the arguments bring."""
        found = list(self.limits)
        for argument in self.arguments:
            if argument.kind in _LEAST_OF_KIND:
                unit, least, because = _LEAST_OF_KIND[argument.kind]
                found.append(Limit(argument.name, unit, because, more_than=least, refuse=True))
            elif argument.never_negative:
                found.append(not_negative(argument.name, argument.unit))
        return tuple(found)


# Below these there is nothing of a kind: the unit, the bound, what it means to be there.
_LEAST_OF_KIND = {
    "absolute pressure": (
        "bar",
        0.0,
        "no absolute pressure is so low: was a gauge reading given as absolute?",
    ),
    "temperature": ("degC", -273.15, "nothing is so cold: check the number and its unit"),
}
