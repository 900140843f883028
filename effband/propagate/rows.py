"""Rows of values with one item changed: only what depends on it is worked out again."""

from __future__ import annotations

import threading
from collections.abc import Sequence

import numpy as np

from effband.case.model import Case, ErrorSource, Item
from effband.evidence.tables import FloatArray
from effband.problems import ComputationRefused
from effband.propagate import streams
from effband.propagate.kernel import Instruction, Kernel, compile_kernel


class Rows:
    """Works out the outputs of a case for given values of its sources.

    Attributes
    ----------
    items
        The lines of the ranking.
    sources
        The sources that the outputs depend on, by name.
    """

    def __init__(self, case: Case, stop: threading.Event) -> None:
        self.case = case
        self.stop = stop
        by_name = {source.name: source for source in case.sources}
        wanted = [output.step for output in case.outputs]
        self.kernel: Kernel = compile_kernel(case.program, by_name, wanted, reuse=False)
        self.items = case.items
        self.sources = {source.name: source for source in self.kernel.sources}
        self.slot_of = {
            step.function.name: step.out
            for step in self.kernel.instructions
            if isinstance(step.function, ErrorSource)
        }
        self.affected: dict[tuple[str, ...], list[Instruction]] = {}

    def _again(self, names: tuple[str, ...]) -> list[Instruction]:
        """Return the instructions that depend on any of the named sources, draws left out."""
        if names not in self.affected:
            wanted = set(names)
            self.affected[names] = [
                step
                for step in self.kernel.instructions
                if step.sources & wanted and not isinstance(step.function, ErrorSource)
            ]
        return self.affected[names]

    def _outputs(self, arrays: Sequence[FloatArray], size: int) -> FloatArray:
        found = np.empty((len(self.case.outputs), size))
        for k in range(len(self.case.outputs)):
            found[k] = self.kernel.values(arrays, k)
        if not np.all(np.isfinite(found)):
            k = int(np.argmin(np.isfinite(found).all(axis=1)))
            raise ComputationRefused(
                f"{self.case.outputs[k].title} is not finite in a row of the ranking",
                "look for a denominator or a logarithm that may reach 0",
            )
        return found

    def with_replaced(
        self,
        base: list[FloatArray],
        spare: list[FloatArray],
        replaced: dict[str, FloatArray],
    ) -> FloatArray:
        """Return the outputs with some sources replaced; the base stays as it is."""
        if self.stop.is_set():
            raise ComputationRefused("stopped", "start again")
        steps = self._again(tuple(replaced))
        view = list(base)
        for name, values in replaced.items():
            if name in self.slot_of:
                view[self.slot_of[name]] = values
        for step in steps:
            view[step.out] = spare[step.out]
        with np.errstate(all="ignore"):
            self.kernel.run(view, only=steps)
        return self._outputs(view, len(base[0]))

    def arrays(self, size: int) -> list[FloatArray]:
        """Return room for every value of so many trials."""
        return list(np.empty((self.kernel.slots, size)))

    def all_at(self, arrays: list[FloatArray], values: dict[str, FloatArray]) -> FloatArray:
        """Work out everything at given values of the sources; return the outputs."""

        def draw(source: ErrorSource, out: FloatArray) -> None:
            np.copyto(out, values[source.name])

        with np.errstate(all="ignore"):
            self.kernel.run(arrays, draw)
        return self._outputs(arrays, len(arrays[0]))

    def touched(self, item: Item) -> list[int]:
        """Return the outputs that depend on an item."""
        return [
            k
            for k, output in enumerate(self.case.outputs)
            if self.case.program.sources_of[output.step] & set(item.sources)
        ]


def net(seed: int, purpose: int, name: str, scrambling: int, columns: int, rows: int) -> FloatArray:
    """Return one scrambling of a Sobol net in the open unit cube, shape (rows, columns)."""
    from scipy.stats import qmc  # half a second to import: only where it is needed

    if columns > qmc.Sobol.MAXDIM:
        most = qmc.Sobol.MAXDIM // 2
        raise ComputationRefused(f"more than {most} error sources", "split the case in several")
    stream = streams.generator(seed, purpose, name, scrambling)
    sobol = qmc.Sobol(columns, scramble=True, rng=stream)
    half_a_cell = 2.0 ** -(sobol.bits + 1)  # a point may be exactly 0
    points: FloatArray = sobol.random(rows) + half_a_cell
    return points
