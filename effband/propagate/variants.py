"""A case changed a little: its list of operations written anew, and the half-widths it then has.

Names of sources key the random numbers, so what a change leaves alone is drawn alike before and
after it, and half-widths can be compared at few trials.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Hashable, Sequence
from dataclasses import replace

import numpy as np

from effband.case.model import Case
from effband.case.program import Program, Step
from effband.evidence.tables import FloatArray
from effband.propagate.engine import Engine
from effband.propagate.kernel import compile_kernel
from effband.propagate.sampling import BLOCK, RandomSampling
from effband.propagate.summary import half_width

TRIALS = 2 * BLOCK
PIECE = 8_192  # trials worked out at a time


def half_widths_of(
    case: Case,
    outputs: Sequence[int],
    seed: int,
    probability: float,
    trials: int = TRIALS,
    workers: int = 1,
    stop: threading.Event | None = None,
) -> list[float]:
    """Return the half-widths of some outputs of a case, SI, and nothing else.

    Parameters
    ----------
    case
        A case, or a variant of one.
    outputs
        Numbers of the outputs, in `case.outputs`.
    seed, probability, trials, workers, stop
        As of `Engine`.

    Raises
    ------
    ComputationRefused
        When a value is not finite, or no band can be given.
    """
    asked = replace(case, outputs=tuple(case.outputs[k] for k in outputs))
    engine = Engine(
        asked,
        seed,
        trials,
        workers,
        probability=probability,
        stop=stop or threading.Event(),
    )
    return [half_width(counts, probability) for counts in engine.run()]


def values_of(case: Case, steps: Sequence[int], seed: int, trials: int) -> FloatArray:
    """Return the values of some steps in the first trials of a run, shape (steps, trials).

    Nothing looks whether they are finite: a run of the case does.

    Parameters
    ----------
    steps
        Places in the program, of values that outputs have.
    seed, trials
        As of `Engine`; one block at most.
    """
    by_name = {source.name: source for source in case.sources}
    kernel = compile_kernel(case.program, by_name, steps, reuse=True)
    draws = RandomSampling(seed, trials).draws(kernel.sources)
    draws.start(0)
    found = np.empty((len(steps), trials))
    for start in range(0, trials, PIECE):
        part = found[:, start : start + PIECE]
        arrays = list(np.empty((kernel.slots, part.shape[1])))
        draws.advance(part.shape[1])
        with np.errstate(all="ignore"):
            kernel.run(arrays, draws)
        for k, row in enumerate(part):
            row[:] = kernel.values(arrays, k)
    return found


class Rewriting:
    """The list of operations of a case, written anew; equal steps are written once."""

    def __init__(self, program: Program) -> None:
        self.program = program
        self.steps: list[Step] = []
        self.known: dict[Step, int] = {}

    def add(self, op: str, inputs: tuple[int, ...] = (), detail: Hashable = None) -> int:
        """Return the place of a step that stands in no formula."""
        return self._write(Step(op, inputs, detail))

    def copy(self, change: Callable[[Step], Step]) -> list[int]:
        """Write every step of the old list, and return where each of its values now stands.

        `change` gets a step with its inputs where they now stand, and returns the one to write.
        """
        moved: list[int] = []
        for step in self.program.steps:
            inputs = tuple(moved[i] for i in step.inputs)
            moved.append(self._write(change(replace(step, inputs=inputs))))
        return moved

    def case(self, case: Case, moved: Sequence[int]) -> Case:
        """Return the case with the new list, where `moved` says its values stand.

        The limits of physics functions, claims and cross-checks are left out: they belong to the
        case as it was given.
        """
        outputs = tuple(
            replace(
                output,
                step=moved[output.step],
                ceiling=None if output.ceiling is None else moved[output.ceiling],
            )
            for output in case.outputs
        )
        named = {key: moved[step] for key, step in case.named.items()}
        return replace(
            case,
            program=Program(tuple(self.steps)),
            outputs=outputs,
            named=named,
            claims=(),
            cross_checks=(),
        )

    def _write(self, step: Step) -> int:
        if step not in self.known:
            self.known[step] = len(self.steps)
            self.steps.append(step)
        return self.known[step]
