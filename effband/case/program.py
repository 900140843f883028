"""One flat list of operations for all formulas and runs.

Numpy runs it on blocks of trials, `uncertainties` on values with derivatives, the check of
dimensions on dimensions and kinds: nothing is written twice.
"""

from __future__ import annotations

import functools
import math
from collections.abc import Callable, Hashable, Iterable, Sequence
from dataclasses import dataclass, field

from effband.case import formula as language
from effband.case.formula import Binary, Call, Expression, Name, Negative, Number, parse_formula
from effband.case.text import Path
from effband.evidence.dependence import Member
from effband.physics import Limit, PhysicsFunction
from effband.physics.functions import FUNCTIONS as PHYSICS
from effband.problems import Misread, nearest
from effband.units import parse_unit

# The arithmetic of the list. Each runner has a table with exactly these names.
ARITHMETIC = frozenset(
    {"add", "subtract", "multiply", "divide", "power", "negative", "abs", "minimum", "maximum"}
    | {"sqrt", "exp", "log", "log10", "sin", "cos", "tan", "asin", "acos", "atan", "atan2"}
)
# Beside these: "constant" (detail: its value), "source" (its name), "curve" (of two sources; a
# Curve, and the reading it is the error of), "dependent" (of one score or uniform; the Marginal
# or Drawn that makes a value of it, and the value as written), and two that compute nothing,
# whose value is that of their first input: "expect" holds an argument of a physics function to
# its Argument, "become" gives a value the nature in its detail, or without one that of its
# second input.
TRANSPARENT = frozenset({"expect", "become"})


@dataclass(frozen=True)
class Spot:
    """Where in the case an operation stands, and whose it is ("air_energy, run full")."""

    path: Path
    start: int
    length: int
    owner: str


@dataclass(frozen=True)
class Step:
    """One operation; its number in the list is the name of its value."""

    op: str
    inputs: tuple[int, ...] = ()
    detail: Hashable = None
    spot: Spot | None = None

    @property
    def member(self) -> Member | None:
        """What the step stands for where it is one of several correlated values."""
        if self.op not in ("curve", "dependent"):
            return None
        assert isinstance(self.detail, tuple)
        member: Member = self.detail[0]
        return member


@dataclass(frozen=True)
class Bound:
    """A limit of a physics function, where it is called.

    Attributes
    ----------
    function, limit, spot
        Which, and where.
    step
        What must keep within it.
    value
        What the function makes of it, inside.
    """

    function: str
    limit: Limit
    step: int
    value: int
    spot: Spot


@dataclass(frozen=True)
class PhysicsCall:
    """A call of a physics function: the steps of its arguments and of its value."""

    function: str
    arguments: tuple[int, ...]
    value: int
    spot: Spot


@dataclass(frozen=True)
class Program:
    """The list; every input of a step stands before it.

    `calls` are those of physics functions, `bounds` their limits; nothing is made of the steps
    of bounds.
    """

    steps: tuple[Step, ...]
    bounds: tuple[Bound, ...] = ()
    calls: tuple[PhysicsCall, ...] = ()

    @functools.cached_property
    def sources_of(self) -> tuple[frozenset[str], ...]:
        """The names of the sources that each value depends on."""
        found: list[frozenset[str]] = []
        for step in self.steps:
            own = {str(step.detail)} if step.op == "source" else set()
            found.append(frozenset(own.union(*(found[i] for i in step.inputs))))
        return tuple(found)

    def needed_for(self, wanted: Iterable[int]) -> list[int]:
        """Return the steps that the wanted ones are made of, in order, those included."""
        found: set[int] = set()
        open_ = list(wanted)
        while open_:
            at = open_.pop()
            if at not in found:
                found.add(at)
                open_.extend(self.steps[at].inputs)
        return sorted(found)


# What a name, or a reducer over runs, stands for where the formula is used.
Lookup = Callable[[Name], int]
Reduce = Callable[[Call, "Scope"], int]


@dataclass(frozen=True)
class Scope:
    """Where a formula is being compiled: its text's path, its owner, and its names."""

    path: Path
    owner: str
    lookup: Lookup
    reduce: Reduce | None = None

    def spot(self, part: Expression) -> Spot:
        """Return the spot of a part of the formula."""
        return Spot(self.path, part.start, part.length, self.owner)


@dataclass
class Builder:
    """Collects steps, each once for every place it stands at, so that each place is checked."""

    steps: list[Step] = field(default_factory=list)
    known: dict[Hashable, int] = field(default_factory=dict)
    bounds: dict[Bound, None] = field(default_factory=dict)
    calls: dict[PhysicsCall, None] = field(default_factory=dict)

    def add(
        self,
        op: str,
        inputs: tuple[int, ...] = (),
        detail: Hashable = None,
        spot: Spot | None = None,
    ) -> int:
        """Return the number of a step, which is made unless the same one is there."""
        key = (op, inputs, detail, spot)
        if key not in self.known:
            self.known[key] = len(self.steps)
            self.steps.append(Step(op, inputs, detail, spot))
        return self.known[key]

    def constant(self, value: float) -> int:
        """Return the step of a number."""
        return self.add("constant", (), float(value))

    def program(self) -> Program:
        """Return the list as it stands."""
        return Program(tuple(self.steps), tuple(self.bounds), tuple(self.calls))

    def literal(self, step: int) -> float | None:
        """Return the value of a step that is a plain number."""
        found = self.steps[step]
        return found.detail if found.op == "constant" and isinstance(found.detail, float) else None

    # -- expressions -------------------------------------------------------------------------

    def expression(self, tree: Expression, scope: Scope) -> int:
        """Compile a tree and return the step of its value. Raises Misread."""
        match tree:
            case Number():
                return self.constant(tree.value)
            case Name():
                return scope.lookup(tree)
            case Negative():
                part = self.expression(tree.part, scope)
                return self.arithmetic("negative", (part,), scope.spot(tree))
            case Binary():
                left = self.expression(tree.left, scope)
                right = self.expression(tree.right, scope)
                return self.arithmetic(tree.operation, (left, right), scope.spot(tree))
            case Call():
                return self._call(tree, scope)
        raise AssertionError(tree)

    def arithmetic(self, op: str, inputs: tuple[int, ...], spot: Spot) -> int:
        """Add one operation; numbers alone are worked out, small powers become products."""
        numbers = [self.literal(i) for i in inputs]
        known = [number for number in numbers if number is not None]
        if len(known) == len(inputs):
            return self.constant(_worked_out(op, known, spot))
        if op == "power" and numbers[1] in (0.5, 1.0, 2.0, 3.0, -1.0):
            return self._small_power(inputs[0], numbers[1], spot)
        return self.add(op, inputs, None, spot)

    def mean(self, steps: Sequence[int], spot: Spot) -> int:
        """Return the step of y_1 + mean of (y_j - y_1).

        By differences a mean is what its members are: gauge pressures, points in degC.
        """
        first = steps[0]
        if len(steps) == 1:
            return first
        rest = [self.add("subtract", (step, first), None, spot) for step in steps[1:]]
        count = self.constant(float(len(steps)))
        share = self.add("divide", (self.total(rest, spot), count), None, spot)
        return self.add("add", (first, share), None, spot)

    def total(self, steps: Sequence[int], spot: Spot) -> int:
        """Return the step of a sum, added up in order."""
        found = steps[0]
        for step in steps[1:]:
            found = self.add("add", (found, step), None, spot)
        return found

    def _small_power(self, base: int, exponent: float | None, spot: Spot) -> int:
        if exponent == 0.5:
            return self.add("sqrt", (base,), None, spot)
        if exponent == -1.0:
            return self.add("divide", (self.constant(1.0), base), None, spot)
        power = base
        for _ in range(int(exponent or 1) - 1):
            power = self.add("multiply", (power, base), None, spot)
        return power

    def _call(self, call: Call, scope: Scope) -> int:
        name = call.function
        if name in PHYSICS:
            function = PHYSICS[name]
            self._count(call, len(function.arguments), _signature(function))
            arguments = tuple(self.expression(part, scope) for part in call.arguments)
            return self._physics(function, arguments, call, scope)
        if name in language.REDUCERS:
            if scope.reduce is None:
                raise Misread(call.start, call.length, f"{name} has no place here", "leave it out")
            usage = f"{name}(x, run)" if name == "in_run" else f"{name}(x)"
            self._count(call, language.REDUCERS[name] or 1, usage)
            return scope.reduce(call, scope)
        if name not in language.FUNCTIONS:
            known = [*PHYSICS, *language.FUNCTIONS, *language.REDUCERS]
            remedy = nearest(name, known, "`effband physics` lists the functions")
            if name == "ln":
                remedy = "write log, which is the natural logarithm"
            raise Misread(call.start, call.length, f"unknown function {name!r}", remedy)
        parts = tuple(self.expression(part, scope) for part in call.arguments)
        count = language.FUNCTIONS[name]
        if count is not None:
            self._count(call, count, f"{name}(y, x)" if count == 2 else f"{name}(x)")
            return self.arithmetic(name, parts, scope.spot(call))
        if len(parts) < 2:
            raise Misread(call.start, call.length, f"{name} needs two values", f"{name}(a, b)")
        value = parts[0]
        for part in parts[1:]:
            value = self.arithmetic(f"{name}imum", (value, part), scope.spot(call))
        return value

    def _count(self, call: Call, expected: int, usage: str) -> None:
        given = len(call.arguments)
        if given != expected:
            what = f"{call.function} takes {expected} argument{'s' * (expected != 1)}, not {given}"
            raise Misread(call.start, call.length, what, f"write {usage}")

    def _physics(
        self, function: PhysicsFunction, arguments: tuple[int, ...], call: Call, scope: Scope
    ) -> int:
        held = {
            argument.name: self.add(
                "expect", (value,), (function.name, argument), scope.spot(call.arguments[at])
            )
            for at, (argument, value) in enumerate(zip(function.arguments, arguments, strict=True))
        }

        held |= {
            constant.name: self._with_unit(constant.value, constant.unit)
            for constant in function.constants
        }

        def lookup(name: Name) -> int:
            return held[name.name] if name.name in held else self.named_constant(name.name)

        def inside(text: str) -> int:
            # messages about the inside point at the call, where the user can act
            return self.expression(_at(parse_formula(text), call), inner)

        inner = Scope(scope.path, scope.owner, lookup)
        for name, text in function.where:
            held[name] = inside(text)
        value = inside(function.expression)
        for limit in function.all_limits:
            bound = Bound(function.name, limit, inside(limit.of), value, scope.spot(call))
            self.bounds.setdefault(bound)
        kept = function.keeps_gas_of
        inherits = (held[kept],) if kept else ()
        made = self.add("become", (value, *inherits), function.gives, scope.spot(call))
        self.calls.setdefault(PhysicsCall(function.name, arguments, made, scope.spot(call)))
        return made

    def named_constant(self, name: str) -> int:
        """Return the step of a constant of the language, with its unit."""
        return self._with_unit(*language.CONSTANTS[name])

    def _with_unit(self, number: float, text: str) -> int:
        unit = parse_unit(text)
        value = self.constant(unit.to_si(number))
        return value if text == "1" else self.add("become", (value,), (unit.dimension, None))


def _signature(function: PhysicsFunction) -> str:
    return f"{function.name}({', '.join(argument.name for argument in function.arguments)})"


def _at(tree: Expression, call: Call) -> Expression:
    place = (call.start, call.length)
    match tree:
        case Number():
            return Number(*place, tree.value)
        case Name():
            return Name(*place, tree.name)
        case Negative():
            return Negative(*place, _at(tree.part, call))
        case Binary():
            return Binary(*place, tree.operation, _at(tree.left, call), _at(tree.right, call))
        case Call():
            return Call(*place, tree.function, tuple(_at(part, call) for part in tree.arguments))
    return tree


_ON_NUMBERS: dict[str, Callable[..., float]] = {
    "add": lambda a, b: a + b,
    "subtract": lambda a, b: a - b,
    "multiply": lambda a, b: a * b,
    "divide": lambda a, b: a / b,
    "power": lambda a, b: math.pow(a, b),
    "negative": lambda a: -a,
    "abs": abs,
    "minimum": min,
    "maximum": max,
}


def _worked_out(op: str, numbers: list[float], spot: Spot) -> float:
    function = _ON_NUMBERS.get(op) or getattr(math, op)
    try:
        value = float(function(*numbers))
    except (ArithmeticError, ValueError):
        value = math.nan
    if not math.isfinite(value):
        raise Misread(spot.start, spot.length, "this has no finite value", "check the numbers")
    return value
