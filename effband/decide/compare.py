"""The change between two cases: after less before, with what they share drawn once.

Both cases are run as one (`decide.merge`), trial by trial, so an error that both share acts on
both and cancels as far as it acts alike. Probabilities are counted in the trials.

A change is shown where its band leaves 0 out: where the probability of its direction reaches
(1 + p)/2, with p that of the bands, since before the test it could have gone either way. A change
by a stated amount has its direction stated with it, so p itself is enough there.
"""

from __future__ import annotations

import math
import threading
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from effband.case.as_written import values_as_written
from effband.case.claims import ROUNDING, TINY
from effband.case.model import Case, Output, Settings
from effband.case.program import Program, Step
from effband.decide.change import Change as Change
from effband.decide.change import Number as Number
from effband.decide.change_warnings import warnings
from effband.decide.cross_checks import Agreement, failing_cross_checks
from effband.decide.merge import AFTER, Apart, Merged, merge
from effband.decide.pairs import Pair, differences, not_compared
from effband.evidence.tables import FloatArray
from effband.problems import ComputationRefused
from effband.propagate.engine import Engine, Event
from effband.propagate.ranking import Ranking, rank
from effband.propagate.sampling import BLOCK
from effband.propagate.staircase import Interval
from effband.propagate.summaries import summaries
from effband.propagate.summary import SimulationUncertainty, Summary

UNSHARED_TRIALS = 2 * BLOCK  # a half-width beside the one that counts
NEAR_ZERO = 4.0  # standard deviations between a number and 0, within which it divides nothing

Progress = Callable[[str, int, int], None]


@dataclass(frozen=True)
class Compared:
    """Two cases and how their results changed.

    Attributes
    ----------
    before, after, settings
        The cases, and how the sums were done.
    changes
        The headline's first, then in the order of the case before.
    ranking
        What widens the first change.
    shared, apart
        What was drawn once for both, and what for each by itself.
    not_compared
        Results that are in one case only, or in units that do not fit, a clause each.
    warnings
        What a reader should mind: what is wrong, and what to do.
    failing
        Cross-checks that disagree, of the case before and of the one after.
    """

    before: Case
    after: Case
    settings: Settings
    changes: tuple[Change, ...]
    ranking: Ranking
    shared: tuple[str, ...]
    apart: tuple[Apart, ...]
    not_compared: tuple[str, ...]
    warnings: tuple[tuple[str, str], ...]
    failing: tuple[tuple[Agreement, ...], tuple[Agreement, ...]] = ((), ())


def compare(
    before: Case,
    after: Case,
    pairs: Sequence[Pair],
    settings: Settings,
    workers: int = 1,
    progress: Progress | None = None,
    stop: threading.Event | None = None,
) -> Compared:
    """Work out how results changed.

    Parameters
    ----------
    before, after
        The cases.
    pairs
        What is compared, from `pairs_of`.
    settings
        How the sums are done.
    workers
        Threads; results do not depend on them.
    progress
        Called with what is being done, how much is done, and of how much.
    stop
        Set it, from another thread, to end the work.

    Raises
    ------
    ComputationRefused
        When a value is not finite, or a band cannot be given.
    """
    stop = stop or threading.Event()
    outputs = [(pair.before, pair.after) for pair in pairs]
    merged = merge(before, after, outputs)
    sums = _Sums(merged, pairs, settings, workers, stop)
    found = sums.run(progress)
    unshared: list[Interval | None] = [None] * len(pairs)
    if merged.shared:
        apart = merge(before, after, outputs, share=False)
        unshared = [*_Sums(apart, pairs, settings, workers, stop).bands_of_changes()]
    failing = (
        failing_cross_checks(before, settings, workers, stop),
        failing_cross_checks(after, settings, workers, stop),
    )
    changes = tuple(
        replace(
            change,
            unshared=band,
            differs=tuple(differences(before, after, pair)),
            disputed=_enters(failing[0], before, pair.before)
            or _enters(failing[1], after, pair.after),
        )
        for change, band, pair in zip(found, unshared, pairs, strict=True)
    )
    (ranking,) = rank(
        sums.of_first_change(),
        settings.seed,
        settings.probability,
        [changes[0].change.summary],
        stop,
    )
    return Compared(
        before,
        after,
        settings,
        changes,
        ranking,
        merged.shared,
        merged.apart,
        not_compared(before, after),
        tuple(warnings(before, after, merged, changes)),
        failing,
    )


def _enters(failing: Sequence[Agreement], case: Case, output: Output) -> bool:
    at = case.outputs.index(output)
    return any(at in dict(agreement.check.touches) for agreement in failing)


def _as(word: str, output: Output, step: int) -> Output:
    """Return an output under another name, at another step, without its ceiling."""
    target = replace(output.target, name=f"{word} {output.target.name}")
    return replace(output, target=target, step=step, ceiling=None)


class _Sums:
    """The outputs of two merged cases, their changes and ratios."""

    def __init__(
        self,
        merged: Merged,
        pairs: Sequence[Pair],
        settings: Settings,
        workers: int,
        stop: threading.Event,
    ) -> None:
        self.pairs, self.settings, self.workers, self.stop = pairs, settings, workers, stop
        self.steps: list[Step] = list(merged.case.program.steps)
        self.moved = merged.moved
        self.before = [pair.before for pair in pairs]
        self.after = [self._after(pair.after) for pair in pairs]
        self.changes: list[Output] = []
        self.ratios: list[Output] = []
        self.events: list[Event] = []
        self.roundings = self._roundings(merged.case)
        for pair, was, now, rounding in zip(
            pairs, self.before, self.after, self.roundings, strict=True
        ):
            change = self._add("subtract", (now.step, was.step))
            ratio = self._add("divide", (now.step, was.step))
            self.changes.append(_as("change of", was, change))
            self.ratios.append(_as("ratio of", was, ratio))
            some, less = (self._add("constant", (), size) for size in (rounding, -rounding))
            self.events += [Event(change, some), Event(less, change)]
            if pair.by is not None and pair.by >= 0.0:
                self.events.append(Event(change, self._add("constant", (), pair.by - rounding)))
            elif pair.by is not None:
                self.events.append(Event(self._add("constant", (), pair.by + rounding), change))
        self.case = replace(merged.case, program=Program(tuple(self.steps)))

    def _roundings(self, case: Case) -> list[float]:
        """Return the size, SI, of each change below which it is but the rounding of its values."""
        steps = [output.step for output in (*self.before, *self.after)]
        values = [abs(v) if math.isfinite(v) else 0.0 for v in values_as_written(case, steps)]
        pairs = zip(values[: len(self.before)], values[len(self.before) :], strict=True)
        return [max(ROUNDING * max(pair), TINY) for pair in pairs]

    def _add(self, op: str, inputs: tuple[int, ...], detail: float | None = None) -> int:
        self.steps.append(Step(op, inputs, detail))
        return len(self.steps) - 1

    def _after(self, output: Output) -> Output:
        ceiling = None if output.ceiling is None else output.ceiling + self.moved
        return replace(_as(AFTER.rstrip(), output, output.step + self.moved), ceiling=ceiling)

    def _engine(
        self,
        outputs: Sequence[Output],
        trials: int,
        events: Sequence[Event] = (),
        progress: Progress | None = None,
    ) -> Engine:
        return Engine(
            replace(self.case, outputs=tuple(outputs)),
            self.settings.seed,
            trials,
            self.workers,
            probability=self.settings.probability,
            progress=None if progress is None else lambda done, of: progress("trials", done, of),
            stop=self.stop,
            events=events,
        )

    def _summaries(self, engine: Engine) -> tuple[Summary, ...]:
        return summaries(engine.case, engine.run(), self.settings.probability)

    def of_first_change(self) -> Case:
        """Return the case whose only output is the first change, with the items it depends on."""
        used = self.case.program.sources_of[self.changes[0].step]
        items = tuple(item for item in self.case.items if used & set(item.sources))
        return replace(self.case, outputs=(self.changes[0],), items=items)

    def bands_of_changes(self) -> list[Interval]:
        """Return the bands of the changes alone, from few trials."""
        trials = min(self.settings.trials, UNSHARED_TRIALS)
        return [each.interval for each in self._summaries(self._engine(self.changes, trials))]

    def run(self, progress: Progress | None) -> list[Change]:
        """Return the changes, but for what stands beside them."""
        ratios = self._possible_ratios()
        outputs = [*self.before, *self.after, *self.changes, *(r for r in ratios if r is not None)]
        engine = self._engine(outputs, self.settings.trials, self.events, progress)
        numbers = iter(
            Number(value, summary)
            for value, summary in zip(
                self._as_written(outputs), self._summaries(engine), strict=True
            )
        )
        was, now, change = ([next(numbers) for _ in self.pairs] for _ in range(3))
        change = [_without_rounding(*each) for each in zip(change, self.roundings, strict=True)]
        shares = iter(engine.shares)
        return [
            Change(
                pair.before,
                pair.after,
                was[k],
                now[k],
                change[k],
                None if ratios[k] is None else next(numbers),
                next(shares),
                next(shares),
                pair.by,
                None if pair.by is None else next(shares),
            )
            for k, pair in enumerate(self.pairs)
        ]

    def _possible_ratios(self) -> list[Output | None]:
        """Return the ratios of what is never near 0 before, and no point on a scale."""
        starts = self._engine(self.before, self.settings.trials).start_of(
            [output.step for output in self.before]
        )
        return [
            None if ratio.target.unit.zero or _near_zero(values) else ratio
            for ratio, values in zip(self.ratios, starts, strict=True)
        ]

    def _as_written(self, outputs: Sequence[Output]) -> list[float]:
        values = values_as_written(self.case, [output.step for output in outputs])
        for output, value in zip(outputs, values, strict=True):
            if not math.isfinite(value):
                raise ComputationRefused(
                    f"{output.title} has no finite value at the numbers as written",
                    "check for a division by 0 or the logarithm of 0",
                )
        return values


def _without_rounding(number: Number, rounding: float) -> Number:
    """Return a change as the point that it is, where only rounding makes it vary."""
    summary = number.summary
    if summary.standard_uncertainty is None or summary.standard_uncertainty > rounding:
        return number
    value = 0.0 if abs(number.nominal) <= rounding else number.nominal
    point = Interval(value, value)
    summary = replace(
        summary,
        mean=value,
        standard_uncertainty=0.0,
        median=value,
        interval=point,
        shortest=point,
        simulation=SimulationUncertainty(0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0),
        varies=False,
        no_variance=None,
        density=(np.zeros(1), np.zeros(0)),
        two_groups=False,
        dots=(value,) * len(summary.dots),
    )
    return Number(value, summary)


def _near_zero(values: FloatArray) -> bool:
    low, high, mean, sd = (float(f(values)) for f in (np.min, np.max, np.mean, np.std))
    return low <= 0.0 <= high or abs(mean) < NEAR_ZERO * sd
