"""Physics functions of the formula language, as data.

A function is an entry: what it takes, what it gives, an expression in the formula language
itself, where it holds, and whose it is. `case.program` expands it into elementary operations,
so an entry is all there is to write; it is never code.
"""

from __future__ import annotations

from dataclasses import dataclass


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
    settled
        Whether a pressure read from a receiver must have settled to room temperature.
    """

    name: str
    unit: str
    meaning: str
    kind: str | None = None
    settled: bool = False


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
        In the formula language, of the arguments and constants.
    sentence
        What it is for, in one plain sentence.
    domain
        Where it holds.
    source
        Author or standard.
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
    keeps_gas_of: str | None = None
