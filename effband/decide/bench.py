"""A case as its builder sees it: what each number means, what it is worth, what uses it."""

from __future__ import annotations

import functools
from collections.abc import Iterator

from effband.case.format import Column, Formula, Input, Instrument
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
from effband.problems import Problem
from effband.propagate.as_written import values_as_written
from effband.units import Dimension, parse_unit

PRESSURE = parse_unit("Pa").dimension
OPEN_AIR = (0.5e5, 1.1e5)  # what a barometer may read, Pa


class Bench:
    """Questions that the sanity checks ask of a case."""

    def __init__(self, case: Case) -> None:
        self.case = case
        self.file = case.file
        self.readings: dict[str, Column] = self.file.runs.readings if self.file.runs else {}
        self.runs: tuple[str, ...] = tuple(self.file.runs.rows) if self.file.runs else ()

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
        """Return the names that are said to mean one of the words."""
        return [name for name, means in self.meanings.items() if means in words]

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

    def instrument_of(self, name: str) -> Instrument | None:
        """Return the instrument that an input or reading is read with."""
        entry = self.file.inputs.get(name) or self.readings.get(name)
        specimen = "" if entry is None else entry.instrument or ""
        return self.file.instruments.get(specimen.partition("#")[0])

    def gas_of(self, name: str) -> str | None:
        """Return whether a pressure was read settled or at once, where that is said."""
        entry = self.file.inputs.get(name) or self.readings.get(name)
        return None if entry is None else entry.gas

    def nature(self, name: str) -> str:
        """Return what a formula gives, in words; nothing for what is none."""
        return next((nature for known, _, nature in self.case.formulas if known == name), "")

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
        """Return the pressure of the open air, where one leaf reads it."""
        for leaf in self.case.leaves:
            here = leaf.reads == ABSOLUTE and leaf.run in (None, run)
            if here and OPEN_AIR[0] <= leaf.value <= OPEN_AIR[1]:
                return leaf.value
        return None

    def leaves_of(self, dimension: Dimension) -> Iterator[Leaf]:
        """Yield the inputs and readings of a dimension."""
        return (leaf for leaf in self.case.leaves if leaf.unit.dimension == dimension)

    # -- what uses what ------------------------------------------------------------------------

    @functools.cache  # noqa: B019
    def made_of(self, step: int) -> frozenset[int]:
        """Return the steps that a value is made of, itself included."""
        return frozenset(self.case.program.needed_for([step]))

    def uses(self, step: int, name: str) -> bool:
        """Return whether a value is made of any value of a name."""
        made = self.made_of(step)
        return any(known == name and at in made for (known, _), at in self.case.named.items())

    def used(self, name: str) -> list[Output]:
        """Return the outputs that are made of a name."""
        return [output for output in self.case.outputs if self.uses(output.step, name)]

    def calls(self, *functions: str) -> list[PhysicsCall]:
        """Return the calls of physics functions that any output is made of."""
        needed = set().union(*(self.made_of(output.step) for output in self.case.outputs))
        found = self.case.program.calls
        return [call for call in found if call.function in functions and call.value in needed]

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

    def exponent(self, tree: Expression, name: str) -> float:
        """Return to which power a name enters a product; 0 where it is no factor."""
        match tree:
            case Name():
                if tree.name == name:
                    return 1.0
                inner = self.trees.get(tree.name) if tree.name in self.file.formulas else None
                return 0.0 if inner is None else self.exponent(inner, name)
            case Negative():
                return self.exponent(tree.part, name)
            case Binary(operation="multiply"):
                return self.exponent(tree.left, name) + self.exponent(tree.right, name)
            case Binary(operation="divide"):
                return self.exponent(tree.left, name) - self.exponent(tree.right, name)
            case Binary(operation="add" | "subtract"):
                return self.exponent(tree.left, name) or self.exponent(tree.right, name)
        return 0.0


def run_of(call: PhysicsCall) -> str | None:
    """Return the run that a call stands in."""
    return call.spot.owner.partition(", run ")[2] or None
