"""Rows of values with one item changed: only what depends on it is worked out again."""

from __future__ import annotations

import threading
from collections.abc import Collection, Sequence
from dataclasses import dataclass

import numpy as np

from effband.case.model import Case, ErrorSource
from effband.evidence.tables import FloatArray
from effband.problems import ComputationRefused
from effband.propagate.kernel import Call, Kernel, compile_kernel

Names = Collection[str]


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

    def arrays(self, size: int) -> list[FloatArray]:
        """Return room for every value of so many trials."""
        return list(np.empty((self.kernel.slots, size)))

    def changed(
        self, base: Sequence[FloatArray], spare: Sequence[FloatArray], item: Names
    ) -> Changed:
        """Return what works out the outputs again with some sources' values changed.

        Parameters
        ----------
        base
            Every value, from `arrays`; it stays as it is.
        spare
            Room for what depends on the changed sources.
        item
            Names of these sources.
        """
        wanted = {name for name in item if name in self.sources}
        steps = [
            step
            for step in self.kernel.instructions
            if step.sources & wanted and not isinstance(step.function, ErrorSource)
        ]
        view = list(base)
        values = {name: np.empty(len(base[0])) for name in sorted(wanted)}
        for name, room in values.items():
            view[self.slot_of[name]] = room
        for step in steps:
            view[step.out] = spare[step.out]
        return Changed(self, values, view, self.kernel.bound(view, only=steps), self.touched(item))

    def outputs(self, arrays: Sequence[FloatArray], which: Sequence[int]) -> FloatArray:
        """Return some outputs, shape (outputs, trials). Raises ComputationRefused."""
        found = np.empty((len(which), len(arrays[0])))
        for row, k in zip(found, which, strict=True):
            row[:] = self.kernel.values(arrays, k)
        # a sum is finite when, and nearly always only when, all of its parts are
        if not np.isfinite(found.sum()) and not np.all(np.isfinite(found)):
            k = which[int(np.argmin(np.isfinite(found).all(axis=1)))]
            raise ComputationRefused(
                f"{self.case.outputs[k].title} is not finite in a row of the ranking",
                "look for a denominator or a logarithm that may reach 0",
            )
        return found

    def touched(self, names: Names) -> list[int]:
        """Return the outputs that depend on any of the named sources."""
        return [
            k
            for k, output in enumerate(self.case.outputs)
            if self.case.program.sources_of[output.step] & set(names)
        ]


@dataclass(frozen=True)
class Changed:
    """Rows with some sources' values changed.

    Attributes
    ----------
    values
        The changed values by source, to be filled in before `outputs`.
    touched
        The outputs that depend on them.
    """

    rows: Rows
    values: dict[str, FloatArray]
    view: list[FloatArray]
    calls: list[Call]
    touched: list[int]

    def outputs(self) -> FloatArray:
        """Return the touched outputs, shape (touched, trials). Raises ComputationRefused."""
        if self.rows.stop.is_set():
            raise ComputationRefused("stopped", "start again")
        with np.errstate(all="ignore"):
            for call in self.calls:
                call()
        return self.rows.outputs(self.view, self.touched)
