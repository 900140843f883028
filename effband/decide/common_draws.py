"""Half-widths of a case and of changes of it, all on the same draws.

Sources are drawn by their names, so what a change leaves alone is drawn alike before and after
it, and the difference of two half-widths is known far better than either.
"""

from __future__ import annotations

import math
import threading
from collections.abc import Collection, Iterable
from dataclasses import dataclass, field, replace

import numpy as np
from scipy import special

from effband.case.model import Case, Output
from effband.evidence.tables import FloatArray
from effband.propagate.counting import Counts
from effband.propagate.engine import Engine
from effband.propagate.staircase import Staircase
from effband.propagate.summary import half_width

TRIALS = 262_144
ENOUGH = 0.95  # of the interval within which a difference counts as none

Key = tuple[str, str | None]  # name of a result, and its run or group


def key_of(output: Output) -> Key:
    """Return what an output is called in a case and in changes of it."""
    return output.target.name, output.run


@dataclass(frozen=True)
class Half:
    """A half-width, SI, and those of the batches of its trials."""

    value: float
    batches: FloatArray

    def less(self, other: Half) -> Narrowing:
        """Return how much less the other is."""
        apart = self.batches - other.batches
        error = float(np.std(apart, ddof=1)) / math.sqrt(len(apart))
        return Narrowing(self.value - other.value, error, len(apart) - 1)


@dataclass(frozen=True)
class Narrowing:
    """A difference of half-widths, SI, with one simulation uncertainty and its degrees."""

    value: float
    simulation_uncertainty: float
    degrees: int

    @property
    def shows(self) -> bool:
        """Whether it is more than the trials leave open."""
        reach = float(special.stdtrit(self.degrees, (1 + ENOUGH) / 2))
        return abs(self.value) > reach * self.simulation_uncertainty


@dataclass(frozen=True)
class CommonDraws:
    """Runs changes of one case.

    Attributes
    ----------
    seed, trials, probability, workers, stop
        As of `Engine`.
    """

    seed: int
    probability: float
    trials: int = TRIALS
    workers: int = 1
    stop: threading.Event = field(default_factory=threading.Event)

    def counts(self, case: Case, wanted: Collection[Key]) -> dict[Key, Counts]:
        """Return the counts of the outputs wanted, as far as the case has them.

        Raises
        ------
        ComputationRefused
            When a value is not finite, or no band can be given.
        """
        outputs = tuple(output for output in case.outputs if key_of(output) in wanted)
        if not outputs:
            return {}
        engine = Engine(
            replace(case, outputs=outputs),
            self.seed,
            self.trials,
            self.workers,
            probability=self.probability,
            stop=self.stop,
        )
        return dict(zip(map(key_of, outputs), engine.run(), strict=True))

    def half(self, counts: Counts) -> Half:
        """Return the half-width of the symmetric interval."""
        whole = half_width(counts, self.probability)
        if not counts.varies:
            return Half(whole, np.zeros(len(counts.batches)))
        tail = (1 - self.probability) / 2
        ends = np.array([Staircase(b, counts).quantiles([tail, 1 - tail]) for b in counts.batches])
        return Half(whole, (ends[:, 1] - ends[:, 0]) / 2)

    def half_of(self, case: Case, wanted: Key) -> Half | None:
        """Return one half-width of a case, None where the case has no such output."""
        counts = self.counts(case, [wanted])
        return self.half(counts[wanted]) if wanted in counts else None


def ties(halves: Iterable[tuple[str, Half]]) -> tuple[tuple[str, ...], ...]:
    """Return the names whose half-widths the trials cannot tell apart, neighbours together."""
    found: list[tuple[str, ...]] = []
    before: Half | None = None
    for name, half in sorted(halves, key=lambda each: (each[1].value, each[0])):
        if before is not None and not half.less(before).shows:
            found[-1] = (*found[-1], name)
        else:
            found.append((name,))
        before = half
    return tuple(each for each in found if len(each) > 1)
