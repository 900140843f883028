"""A case as its builder sees it: what each number means, what it is worth, what uses it."""

from __future__ import annotations

import functools
import graphlib
from collections import defaultdict
from collections.abc import Callable, Iterator, Mapping

from effband.case.as_written import values_as_written
from effband.case.format import Column, Formula, Input
from effband.case.formula import (
    Binary,
    Expression,
    Name,
    Negative,
    names_in,
    parse_formula,
)
from effband.case.model import Case, Leaf, Output
from effband.case.program import TRANSPARENT, PhysicsCall
from effband.case.text import Path
from effband.evidence.instruments import ABSOLUTE
from effband.physics.functions import FUNCTIONS
from effband.problems import Problem
from effband.units import Dimension, Unit, name_dimension, parse_unit

PRESSURE = parse_unit("Pa").dimension
# Units of the dimensions that each meaning can have.
MEANT_IN = {
    **dict.fromkeys(("engine rating", "motor rating", "lamp rating"), ("W",)),
    "delivered engine power": ("W",),
    **dict.fromkeys(("chain efficiency", "stage efficiency"), ("1",)),
    "refill energy": ("J",),
    "refill time": ("s",),
    "rotor inertia": ("kg*m^2",),
    "rotor speed": ("rad/s",),
    **dict.fromkeys(("tare", "untared arm"), ("kg", "N")),
    "unloaded loss": ("W", "J", "N*m"),
    **dict.fromkeys(("shaft work", "input energy", "output energy"), ("J", "W")),
    **dict.fromkeys(("hot temperature", "cold temperature"), ("K",)),
}
OPEN_AIR = (0.5e5, 1.1e5)  # what a barometer may read, Pa


def _in_the_open(pressure: float) -> bool:
    return OPEN_AIR[0] <= pressure <= OPEN_AIR[1]


class Bench:
    """Questions that the sanity checks ask of a case."""

    def __init__(self, case: Case) -> None:
        self.case = case
        self.file = case.file
        self.readings: dict[str, Column] = self.file.runs.readings if self.file.runs else {}
        self.runs: tuple[str, ...] = tuple(self.file.runs.rows) if self.file.runs else ()
        self._made_of: dict[int, frozenset[int]] = {}

    # -- names -------------------------------------------------------------------------------

    @functools.cached_property
    def meanings(self) -> dict[str, str]:
        """What each name is said to mean."""
        entries: dict[str, Input | Column | str | Formula] = {
            **self.file.inputs,
            **self.readings,
            **self.file.formulas,
        }
        found = {}
        for name, entry in entries.items():
            means = None if isinstance(entry, str) else entry.means
            if means is not None:
                found[name] = means
        return found

    def meant(self, *words: str) -> list[str]:
        """Return the names that are said to mean one of the words, and can."""
        return [n for n, means in self.meanings.items() if means in words and self.can_mean(n)]

    def can_mean(self, name: str) -> bool:
        """Return whether a name is of a dimension that its meaning can have."""
        return self.is_in(name, *MEANT_IN[self.meanings[name]])

    def path(self, name: str) -> Path:
        """Return where a name is declared."""
        if name in self.file.inputs:
            return ("inputs", name)
        if name in self.readings:
            return ("runs", "readings", name)
        return ("formulas", name)

    def warn(self, path: Path, what: str, remedy: str) -> Problem:
        """Return a warning at a key of the file."""
        return Problem(self.case.text.key(path), what, remedy)

    def gas_of(self, name: str) -> str | None:
        """Return whether a pressure was read settled or at once, where that is said."""
        entry = self.file.inputs.get(name) or self.readings.get(name)
        return None if entry is None else entry.gas

    def nature(self, name: str) -> str:
        """Return what a formula gives, in words; nothing for what is none."""
        return next((nature for known, _, nature in self.case.formulas if known == name), "")

    def unit_of(self, name: str) -> str | None:
        """Return the unit that an input or reading is shown in; None for a formula."""
        return next((leaf.unit.text for leaf in self.case.leaves if leaf.name == name), None)

    def is_in(self, name: str, *units: str) -> bool:
        """Return whether a name is of the dimension of one of the units."""
        for unit in units:
            dimension = parse_unit(unit).dimension
            own = self.unit_of(name)
            if own is not None and parse_unit(own).dimension == dimension:
                return True
            if own is None and self.nature(name) == name_dimension(dimension):
                return True
        return False

    # -- values ------------------------------------------------------------------------------

    @functools.cached_property
    def _worth(self) -> dict[int, float]:
        steps = {*self.case.named.values(), *(output.step for output in self.case.outputs)}
        steps |= {o.ceiling for o in self.case.outputs if o.ceiling is not None}
        for call in self.case.program.calls:
            steps |= {*call.arguments, call.value}
        ordered = sorted(steps)
        return dict(zip(ordered, values_as_written(self.case, ordered), strict=True))

    def worth(self, step: int) -> float:
        """Return the value of a named step, a result, or a part of a call, as written (SI)."""
        return self._worth[step]

    def step(self, name: str, run: str | None) -> int | None:
        """Return the step of a name in a run, or of its one value."""
        return self.case.named.get((name, run), self.case.named.get((name, None)))

    def value(self, name: str, run: str | None) -> float | None:
        """Return the value of a name as written, SI."""
        step = self.step(name, run)
        return None if step is None else self.worth(step)

    def largest(self, name: str) -> float | None:
        """Return the value of a name that is largest in size, over all runs, SI."""
        found = [self.worth(step) for (known, _), step in self.case.named.items() if known == name]
        return max(found, key=abs, default=None)

    def barometer(self, run: str | None) -> float | None:
        """Return the pressure of the open air: what functions get as barometer, or the one leaf."""
        leaves = [leaf for leaf in self.case.leaves if leaf.run in (None, run)]
        air = [leaf for leaf in leaves if leaf.reads == ABSOLUTE and _in_the_open(leaf.value)]
        given = {
            self.plain(call.arguments[at])
            for call in self.case.program.calls
            for at, argument in enumerate(FUNCTIONS[call.function].arguments)
            if argument.name == "barometer"
        }
        named = [leaf for leaf in air if self._plain_step(leaf) in given]
        chosen = named or (air if len(air) == 1 else [])
        return chosen[0].value if chosen else None

    def _plain_step(self, leaf: Leaf) -> int | None:
        step = self.step(leaf.name, leaf.run)
        return None if step is None else self.plain(step)

    def leaves_of(self, dimension: Dimension) -> Iterator[Leaf]:
        """Yield the inputs and readings of a dimension."""
        return (leaf for leaf in self.case.leaves if leaf.unit.dimension == dimension)

    # -- what uses what ------------------------------------------------------------------------

    def made_of(self, step: int) -> frozenset[int]:
        """Return the steps that a value is made of, itself included."""
        if step not in self._made_of:
            self._made_of[step] = frozenset(self.case.program.needed_for([step]))
        return self._made_of[step]

    @functools.cached_property
    def _steps_of(self) -> dict[str, set[int]]:
        found: dict[str, set[int]] = defaultdict(set)
        for (name, _), step in self.case.named.items():
            found[name].add(step)
        return found

    def uses(self, step: int, name: str) -> bool:
        """Return whether a value is made of any value of a name."""
        return not self.made_of(step).isdisjoint(self._steps_of.get(name, ()))

    def used(self, name: str) -> list[Output]:
        """Return the outputs that are made of a name."""
        return [output for output in self.case.outputs if self.uses(output.step, name)]

    @functools.cached_property
    def _calls(self) -> list[PhysicsCall]:
        needed = set(self.case.program.needed_for([output.step for output in self.case.outputs]))
        return [call for call in self.case.program.calls if call.value in needed]

    def calls(self, *functions: str) -> list[PhysicsCall]:
        """Return the calls of physics functions that any output is made of."""
        return [call for call in self._calls if call.function in functions]

    def called_with(self, name: str, *functions: str) -> bool:
        """Return whether a function takes a name, by any of its arguments."""
        return any(
            self.uses(argument, name)
            for call in self.calls(*functions)
            for argument in call.arguments
        )

    def plain(self, step: int) -> int:
        """Return the step that a value comes from, past what only checks or names it."""
        while self.case.program.steps[step].op in TRANSPARENT:
            step = self.case.program.steps[step].inputs[0]
        return step

    def divisor(self, output: Output) -> int | None:
        """Return the step that a result is divided by, last of all."""
        step = self.case.program.steps[self.plain(output.step)]
        return step.inputs[1] if step.op == "divide" else None

    @functools.cached_property
    def trees(self) -> dict[str, Expression]:
        """The formulas, and the results' own, by name."""
        found = {name: parse_formula(text) for name, text, _ in self.case.formulas}
        for target in self.case.targets:
            found.setdefault(target.name, parse_formula(target.formula))
        return found

    def formulas_with(self, name: str) -> list[str]:
        """Return the formulas that name a number themselves."""
        return [formula for formula, tree in self.trees.items() if name in names_in(tree)]

    @functools.cached_property
    def _order(self) -> tuple[str, ...]:
        """The formulas, each after those that it uses."""
        names = set(self.file.formulas)
        uses = {name: names_in(self.trees[name]) & names for name in names}
        return tuple(graphlib.TopologicalSorter(uses).static_order())

    def exponents(self, name: str) -> dict[str, float]:
        """Return to which power a name enters each formula; 0 where it is no factor."""
        found = {name: 1.0}
        for formula in self._order:
            found.setdefault(formula, exponent(self.trees[formula], found))
        return found


def exponent(tree: Expression, known: Mapping[str, float]) -> float:
    """Return to which power an expression holds a factor that names hold to known powers."""
    match tree:
        case Name():
            return known.get(tree.name, 0.0)
        case Negative():
            return exponent(tree.part, known)
        case Binary(operation="multiply"):
            return exponent(tree.left, known) + exponent(tree.right, known)
        case Binary(operation="divide"):
            return exponent(tree.left, known) - exponent(tree.right, known)
        case Binary(operation="add" | "subtract"):
            return exponent(tree.left, known) or exponent(tree.right, known)
    return 0.0


def shown(value: float, unit: str) -> str:
    """Return a value (SI) in a unit, to three digits or so."""
    known: Unit = parse_unit(unit)
    return f"{known.from_si(value):.4g} {known.symbol}".rstrip()


def run_of(call: PhysicsCall) -> str | None:
    """Return the run that a call stands in."""
    return call.spot.owner.partition(", run ")[2] or None


# A sanity check: what it doubts of a case, and what to do.
Check = Callable[[Bench], Iterator[Problem]]
