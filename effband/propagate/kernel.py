"""The list of operations made ready for numpy: in place, on arrays, with few buffers.

`compile_kernel` drops what computes nothing, joins what is the same, works out constants and
gives every value a slot. Two layouts: `reuse` frees a slot after its last use, so that a block
of trials stays in the processor's cache; without it every value keeps its own slot, so that
the ranking can change one item and work out only what depends on it.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import Any

import numpy as np
from scipy import special

from effband.case.as_written import UFUNCS
from effband.case.model import ErrorSource
from effband.case.program import TRANSPARENT, Program, Step
from effband.evidence.dependence import Drawn, Marginal
from effband.evidence.instruments import Curve
from effband.evidence.tables import FloatArray
from effband.problems import ComputationRefused


@dataclass(frozen=True)
class Slot:
    """A place for the values of one operation."""

    index: int


Operand = Slot | float
Draw = Callable[[ErrorSource, FloatArray], None]
Call = Callable[[], object]


@dataclass(frozen=True)
class Instruction:
    """One array operation.

    Attributes
    ----------
    function
        A ufunc, a `Curve`, a `Marginal` or `Drawn`, or an `ErrorSource` whose values the caller
        fills in.
    inputs, out
        Operands, and the slot of the result.
    owner
        The formula it belongs to, for messages.
    sources
        Names of the sources the result depends on.
    """

    function: Any
    inputs: tuple[Operand, ...]
    out: int
    owner: str
    sources: frozenset[str]


@dataclass(frozen=True)
class Kernel:
    """Instructions in order, and where the outputs stand after them.

    Attributes
    ----------
    instructions
        In order; an instruction whose function is an `ErrorSource` is a draw.
    slots
        How many arrays are needed; the last is scratch.
    outputs
        Operands of the values asked for, in the order asked.
    """

    instructions: tuple[Instruction, ...]
    slots: int
    outputs: tuple[Operand, ...]

    @property
    def sources(self) -> tuple[ErrorSource, ...]:
        """The sources that the outputs depend on."""
        return tuple(i.function for i in self.instructions if isinstance(i.function, ErrorSource))

    def bound(
        self,
        arrays: Sequence[FloatArray],
        draw: Draw | None = None,
        only: Sequence[Instruction] | None = None,
    ) -> list[Call]:
        """Return the instructions as calls on given arrays, to be made in order, time and again.

        Parameters
        ----------
        arrays
            One for each slot, all of one length.
        draw
            Fills in the values of a source; without it draws are left out.
        only
            Some of the instructions; all of them when left out.
        """
        calls: list[Call] = []
        for step in self.instructions if only is None else only:
            out, function = arrays[step.out], step.function
            if isinstance(function, ErrorSource):
                if draw is not None:
                    calls.append(partial(draw, function, out))
                continue
            inputs = [_value(x, arrays) for x in step.inputs]
            if isinstance(function, Curve):
                z1, z2 = inputs
                calls.append(partial(_curve_error, function, z1, z2, out, arrays[-1]))
            elif isinstance(function, Marginal | Drawn):
                calls.append(partial(_replaced, function, inputs[0], out))
            else:
                calls.append(partial(function, *inputs, out=out))
        return calls

    def run(
        self,
        arrays: Sequence[FloatArray],
        draw: Draw | None = None,
        only: Sequence[Instruction] | None = None,
    ) -> None:
        """Execute on arrays of one length, once; see `bound`."""
        for call in self.bound(arrays, draw, only):
            call()

    def values(self, arrays: Sequence[FloatArray], number: int) -> FloatArray | float:
        """Return the values of an output after `run`."""
        found: FloatArray | float = _value(self.outputs[number], arrays)
        return found


def _value(operand: Operand, arrays: Sequence[FloatArray]) -> Any:
    return arrays[operand.index] if isinstance(operand, Slot) else operand


def _replaced(member: Marginal | Drawn, given: FloatArray, out: FloatArray) -> None:
    np.copyto(out, given)
    member.replace(out)


def _curve_error(
    curve: Curve, z1: FloatArray, z2: FloatArray, out: FloatArray, scratch: FloatArray
) -> None:
    """Write L * shape(cos(t) z1 + sin(t) z2) to `out`, which may be neither z."""
    np.multiply(z2, np.sin(curve.angle), out=scratch)
    np.multiply(z1, np.cos(curve.angle), out=out)
    np.add(out, scratch, out=out)
    shape = curve.shape
    if shape is not None:
        special.ndtr(out, out=out)
        shape.quantile(out, out=out)
    np.multiply(out, curve.limit, out=out)


def compile_kernel(
    program: Program, sources: dict[str, ErrorSource], wanted: Sequence[int], reuse: bool
) -> Kernel:
    """Return a kernel for the wanted steps of a program.

    Parameters
    ----------
    program
        The list of operations.
    sources
        Error sources by name.
    wanted
        Numbers of the steps asked for.
    reuse
        Whether slots are used again after a value's last use.

    Raises
    ------
    ComputationRefused
        When constants alone give a value that is not finite.
    """
    return _Compiler(program, sources, wanted, reuse).kernel()


class _Compiler:
    def __init__(
        self,
        program: Program,
        sources: dict[str, ErrorSource],
        wanted: Sequence[int],
        reuse: bool,
    ) -> None:
        self.program = program
        self.sources = sources
        self.wanted = wanted
        self.reuse = reuse
        self.plain: dict[int, tuple[str, int] | float] = {}
        self.distinct: dict[Any, int] = {}
        self.nodes: list[tuple[Step, tuple[Any, ...], int]] = []

    def kernel(self) -> Kernel:
        for at in self.program.needed_for(self.wanted):
            self.plain[at] = self._lowered(at)
        operands = [self.plain[step] for step in self.wanted]
        order = self._in_order(operands)
        return self._with_slots(order, operands)

    def _lowered(self, number: int) -> Any:
        """Return a number for a constant, else the index of a distinct operation."""
        step = self.program.steps[number]
        if step.op == "constant":
            return step.detail
        if step.op in TRANSPARENT:
            return self.plain[step.inputs[0]]
        inputs = tuple(self.plain[i] for i in step.inputs)
        if inputs and all(isinstance(x, float) for x in inputs):
            return _constant(step, inputs)
        if step.op in ("multiply", "divide") and inputs[1] == 1.0:
            return inputs[0]
        if step.op == "divide" and isinstance(inputs[1], float) and _safe_inverse(inputs[1]):
            step, inputs = replace(step, op="multiply"), (inputs[0], 1.0 / inputs[1])
        key = (step.op, inputs, _what(step))
        if key not in self.distinct:
            self.distinct[key] = len(self.nodes)
            self.nodes.append((step, inputs, number))
        return ("node", self.distinct[key])

    def _in_order(self, operands: list[Any]) -> list[int]:
        """Return the nodes needed, each source just before its first use."""
        order: list[int] = []
        placed: set[int] = set()
        for operand in operands:
            stack = [(operand[1], False)] if isinstance(operand, tuple) else []
            while stack:
                node, ready = stack.pop()
                if node in placed:
                    continue
                if ready:
                    placed.add(node)
                    order.append(node)
                    continue
                stack.append((node, True))
                inputs = [x[1] for x in self.nodes[node][1] if isinstance(x, tuple)]
                stack.extend((x, False) for x in reversed(inputs))
        return order

    def _with_slots(self, order: list[int], operands: list[Any]) -> Kernel:
        last_use = {node: at for at, node in enumerate(order)}
        for at, node in enumerate(order):
            for x in self.nodes[node][1]:
                if isinstance(x, tuple):
                    last_use[x[1]] = at
        for operand in operands:
            if isinstance(operand, tuple):
                last_use[operand[1]] = len(order)
        slot_of: dict[int, int] = {}
        free: list[int] = []
        slots = 0
        instructions: list[Instruction] = []
        for at, node in enumerate(order):
            step, inputs, number = self.nodes[node]
            ins = tuple(Slot(slot_of[x[1]]) if isinstance(x, tuple) else x for x in inputs)
            ending = {x[1] for x in inputs if isinstance(x, tuple) and last_use[x[1]] == at}
            released = [slot_of[x] for x in sorted(ending)] if self.reuse else []
            if step.op != "curve":  # an elementwise operation may write over its own input
                free.extend(released)
            if free:
                slot = free.pop()
            else:
                slot, slots = slots, slots + 1
            if step.op == "curve":
                free.extend(released)
            slot_of[node] = slot
            owner = step.spot.owner if step.spot is not None else ""
            depends = self.program.sources_of[number]
            instructions.append(Instruction(self._function(step), ins, slot, owner, depends))
        outputs = tuple(Slot(slot_of[x[1]]) if isinstance(x, tuple) else float(x) for x in operands)
        return Kernel(tuple(instructions), slots + 1, outputs)

    def _function(self, step: Step) -> Any:
        if step.op == "source":
            return self.sources[str(step.detail)]
        if step.op in ("curve", "dependent"):
            return _what(step)
        return UFUNCS[step.op]


def _what(step: Step) -> Any:
    """Return what distinguishes a step in the sums: readings at one number share a curve."""
    if step.member is not None:
        return step.member
    return step.detail


def _safe_inverse(number: float) -> bool:
    """Return whether multiplying by 1/number does as well as dividing, which is thrice dearer."""
    return 1e-150 < abs(number) < 1e150


def _constant(step: Step, inputs: tuple[Any, ...]) -> float:
    with np.errstate(all="ignore"):
        value = float(UFUNCS[step.op](*(np.float64(x) for x in inputs)))
    if not np.isfinite(value):
        owner = step.spot.owner if step.spot is not None else "a formula"
        numbers = ", ".join(f"{x:g}" for x in inputs)
        raise ComputationRefused(
            f"{owner}: {step.op} of {numbers} has no finite value", "check these numbers"
        )
    return value
