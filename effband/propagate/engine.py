"""Monte Carlo over blocks of trials (JCGM 101:2008): flat memory, threads.

A block is worked out in cache-sized pieces, then summed and counted (`counting.py`); its draws
come from `sampling.py`. The result is the same for any number of workers and any piece size.
"""

from __future__ import annotations

import itertools
import math
import threading
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, field, replace

import numpy as np

from effband.case.model import Case, ErrorSource
from effband.evidence.tables import FloatArray
from effband.problems import ComputationRefused
from effband.propagate.adaptive import ROUNDING, Judge, batch_numbers
from effband.propagate.counting import (
    BINS,
    BlockCounts,
    Counter,
    Counts,
    IntArray,
    NotFinite,
    Range,
    Total,
)
from effband.propagate.kernel import Call, Kernel, Operand, Slot, compile_kernel
from effband.propagate.sampling import BLOCK, SAMPLINGS, Draws, Sampling

# Long pieces, since threads hand over between calls; a thread's buffers take so much at most.
MOST_ROOM, LEAST_PIECE = 16 * 2**20, 8_192
PILOT = 8_192
CHECK = "look for a division by 0, or the logarithm or root of a negative number"
LARGEST = 1e153  # beyond it squares overflow
WIDEST = 6  # how often the bins are widened, eightfold each time, for a heavy tail

Progress = Callable[[int, int], None]


@dataclass(frozen=True)
class Event:
    """What happens in a trial or does not: the value of a step lies above that of another."""

    step: int
    over: int


@dataclass(frozen=True)
class Share:
    """In what share of so many trials something happened, and one standard uncertainty of it."""

    value: float
    simulation_uncertainty: float
    trials: int


class _Workplace:
    """The arrays of one thread, and the kernel's calls on them."""

    def __init__(self, kernel: Kernel, draws: Draws, outputs: int, piece: int) -> None:
        self.kernel, self.draws = kernel, draws
        self.buffers = np.empty((kernel.slots, piece))
        self.values = np.empty((outputs, BLOCK))
        self.ready: dict[int, tuple[list[FloatArray], list[Call]]] = {}
        self.counter: Counter | None = None

    def on(self, size: int) -> tuple[list[FloatArray], list[Call]]:
        """Return arrays of a size, and the calls that fill them."""
        if size not in self.ready:
            arrays = [buffer[:size] for buffer in self.buffers]
            self.ready[size] = arrays, self.kernel.bound(arrays, self.draws)
        return self.ready[size]


@dataclass
class Engine:
    """Runs the trials of a case.

    Parameters
    ----------
    case
        What to run.
    seed, trials
        As the settings say; quasi-random trials are rounded down to what fits.
    workers
        Threads; the result does not depend on them.
    piece
        Trials worked out at a time, fitted to the memory when left out; the result does not
        depend on it.
    sampling
        "random" or "quasi".
    judge
        Ends the run before all trials are done, once it has seen enough.
    events
        What is to be counted beside the outputs.

    After `run`, `done` is the number of trials done, `settled` whether the judge ended it, and
    `shares` holds a `Share` for every event.
    """

    case: Case
    seed: int
    trials: int
    workers: int = 1
    piece: int | None = None
    probability: float = 0.95
    progress: Progress | None = None
    stop: threading.Event = field(default_factory=threading.Event)
    sampling: str = "random"
    judge: Judge | None = None
    events: Sequence[Event] = ()

    def __post_init__(self) -> None:
        outputs = self.case.outputs
        by_name = {source.name: source for source in self.case.sources}
        beyond = [Event(o.step, o.ceiling) for o in outputs if o.ceiling is not None]
        counted = [*beyond, *self.events]
        self.wanted = [
            *(output.step for output in outputs),
            *(step for event in counted for step in (event.step, event.over)),
        ]
        self.kernel = compile_kernel(self.case.program, by_name, self.wanted, reuse=True)
        found = self.kernel.outputs[len(outputs) :]
        self.counted = list(zip(found[::2], found[1::2], strict=True))
        self.n_outputs = len(outputs)
        self.done, self.settled = 0, False
        self.shares: tuple[Share, ...] = ()
        fits = MOST_ROOM // (8 * self.kernel.slots)
        self.step = self.piece or min(max(1 << (fits.bit_length() - 1), LEAST_PIECE), BLOCK)
        self.plan: Sampling = SAMPLINGS[self.sampling](self.seed, self.trials)

    def run(self) -> tuple[Counts, ...]:
        """Return the counts of every output, in the case's order.

        Raises
        ------
        ComputationRefused
            When a value is not finite in any trial, or no finite range holds the band.
        """
        size = self._first()
        place = self._workplace()
        self._fill(0, size, place, None)
        for k, y in enumerate(place.values):
            if np.max(np.abs(y[:size])) > LARGEST:
                title = self.case.outputs[k].title
                raise ComputationRefused(f"{title} leaves the range of numbers", "check its units")
        ranges = [self._pilot_range(y[:size]) for y in place.values]
        for _ in range(WIDEST):
            counts = self._run_all(ranges)
            narrow = [self._too_narrow(count) for count in counts]
            if not any(narrow):
                return counts
            ranges = [
                _widened(r, count) if n else r
                for r, n, count in zip(ranges, narrow, counts, strict=True)
            ]
        title = self.case.outputs[narrow.index(True)].title
        raise ComputationRefused(
            f"{title}: its tails reach so far that no band can be given",
            "look for a denominator that may be near 0",
        )

    # -- ranges ------------------------------------------------------------------------------

    def _pilot_range(self, y: FloatArray) -> Range:
        reach = max(self.probability, 0.95)
        low, high = np.quantile(y, [(1 - reach) / 2, (1 + reach) / 2])
        shift = float(np.median(y))
        spread = float(y.max() - y.min())
        if spread <= ROUNDING * abs(shift):
            return Range(shift, 0.0, shift)
        # 2.5 times the inner range each way: about 10 standard deviations of a normal output
        half = 2.5 * float(high - low) or spread
        return Range(float(low + high) / 2 - half, 2 * half / BINS, shift)

    def _too_narrow(self, counts: Counts) -> bool:
        if not counts.varies:  # so the pilot says; it may vary too seldom for that
            return counts.largest - counts.smallest > ROUNDING * abs(counts.shift)
        outside = (1 - self.probability) / 2 * counts.trials
        total = counts.total
        return bool(total[0] > 0.5 * outside or total[-1] > 0.5 * outside)

    # -- blocks ------------------------------------------------------------------------------

    def _run_all(self, ranges: list[Range]) -> tuple[Counts, ...]:
        """Run blocks until all are done or the judge has seen enough, and count them."""
        total = Total(ranges, len(self.counted), self.plan)
        judge = None if self.judge is None else replace(self.judge, seen=[])
        self.settled = False
        for done, found in enumerate(self._blocks_in_order(ranges), start=1):
            total.add(found)
            self._tell(done, self.plan.blocks)
            if judge is not None and found.numbers is not None:
                judge.add(found.numbers)
                if judge.enough():
                    self.settled = True
                    self._tell(self.plan.blocks, self.plan.blocks)
                    break
        self.done = total.trials
        happened = total.happened
        ceilings = [output.ceiling for output in self.case.outputs]
        beyond = iter(happened.sum(axis=0))
        above = [0 if ceiling is None else int(next(beyond)) for ceiling in ceilings]
        asked = happened[:, len(self.counted) - len(self.events) :]
        self.shares = tuple(self._share(asked[:, k]) for k in range(len(self.events)))
        return total.counts(above)

    def _share(self, happened: IntArray) -> Share:
        """Return a share of the trials, from how often something happened in each block."""
        share = int(happened.sum()) / self.done
        if self.plan.replicated:  # blocks are scramblings, whose scatter tells
            each = happened / self.plan.size(0)
            error = float(np.std(each, ddof=1)) / math.sqrt(len(each))
        else:
            error = math.sqrt(share * (1 - share) / self.done)
        return Share(share, error, self.done)

    def _blocks_in_order(self, ranges: list[Range]) -> Iterator[BlockCounts]:
        local = threading.local()

        def work(block: int) -> BlockCounts:
            if not hasattr(local, "place"):
                local.place = self._workplace()
                local.place.counter = Counter(ranges, self._slices(), BLOCK)
            return self._block(block, local.place)

        if self.workers <= 1:
            yield from map(work, range(self.plan.blocks))
            return
        with ThreadPoolExecutor(self.workers) as pool:
            waiting: deque[Future[BlockCounts]] = deque()
            upcoming = iter(range(self.plan.blocks))
            try:
                for block in itertools.islice(upcoming, 2 * self.workers):
                    waiting.append(pool.submit(work, block))
                while waiting:
                    yield waiting.popleft().result()
                    for block in itertools.islice(upcoming, 1):
                        waiting.append(pool.submit(work, block))
            except BaseException as error:
                if not isinstance(error, GeneratorExit):  # else the judge has seen enough
                    self.stop.set()  # the threads see it within one piece
                for future in waiting:
                    future.cancel()
                raise

    def _tell(self, done: int, total: int) -> None:
        if self.progress is not None:
            self.progress(done, total)

    def _slices(self) -> int:
        """Return in how many slices a block is counted: its batches, where blocks are few."""
        batches = self.plan.batches
        return 1 if self.plan.blocks >= batches else batches

    def _workplace(self) -> _Workplace:
        draws = self.plan.draws(self.kernel.sources)
        return _Workplace(self.kernel, draws, self.n_outputs, min(self.step, BLOCK))

    def _block(self, block: int, place: _Workplace) -> BlockCounts:
        size = self.plan.size(block)
        happened = np.zeros(len(self.counted), dtype=np.int64)
        self._fill(block, size, place, happened)
        assert place.counter is not None
        values = place.values[:, :size]
        try:
            found = place.counter.count(block, values, happened)
        except NotFinite as error:
            title = self.case.outputs[error.args[0]].title
            raise self.non_finite(block, size) or ComputationRefused(
                f"{title} is not finite in every trial", CHECK
            ) from None
        if self.judge is not None:
            found.numbers = batch_numbers(values, self.probability)
        return found

    def _fill(self, block: int, size: int, place: _Workplace, happened: IntArray | None) -> None:
        """Work out a block piece by piece into the workplace's values."""
        try:
            # the processor flags every operation that leaves the finite numbers, at no cost
            with np.errstate(divide="raise", invalid="raise", over="raise", under="ignore"):
                self._pieces(block, size, place, happened)
        except FloatingPointError:
            refusal = self.non_finite(block, size)
            if refusal is not None:
                raise refusal from None
            if happened is not None:
                happened[:] = 0
            with np.errstate(all="ignore"):  # a flag without a bad value: once more without flags
                self._pieces(block, size, place, happened)

    def _pieces(self, block: int, size: int, place: _Workplace, happened: IntArray | None) -> None:
        place.draws.start(block)
        for start in range(0, size, self.step):
            if self.stop.is_set():
                raise ComputationRefused("stopped", "start again")
            end = min(start + self.step, size)
            arrays, calls = place.on(end - start)
            place.draws.advance(end - start)
            for call in calls:
                call()
            for k in range(self.n_outputs):
                place.values[k, start:end] = self.kernel.values(arrays, k)
            if happened is not None:
                self._count(arrays, happened)

    def _count(self, arrays: Sequence[FloatArray], happened: IntArray) -> None:
        for k, (value, over) in enumerate(self.counted):
            above = _of(value, arrays) > _of(over, arrays)
            happened[k] += np.count_nonzero(above) if above.ndim else int(above) * arrays[0].size

    def denominators(self) -> Iterator[tuple[str, float, float, float, float]]:
        """Yield owner, least, greatest, mean and deviation of what is divided by."""
        kernel, arrays = self._every_value(0, self._first())
        for step in kernel.instructions:
            divisor = step.inputs[1] if step.function is np.divide else None
            if isinstance(divisor, Slot):
                y = arrays[divisor.index]
                yield step.owner, float(y.min()), float(y.max()), float(y.mean()), float(y.std())

    def start_of(self, steps: Sequence[int]) -> list[FloatArray]:
        """Return the values of steps in the first trials."""
        if not steps:
            return []
        kernel, arrays = self._every_value(0, self._first(), steps)
        return [np.asarray(kernel.values(arrays, k)) for k in range(len(steps))]

    def _first(self) -> int:
        return min(PILOT, self.plan.size(0))

    def _every_value(
        self, block: int, size: int, wanted: Sequence[int] | None = None
    ) -> tuple[Kernel, list[FloatArray]]:
        """Return a kernel that keeps every value, and its values over the start of a block."""
        kernel = compile_kernel(
            self.case.program,
            {source.name: source for source in self.case.sources},
            list(wanted or self.wanted),
            reuse=False,
        )
        arrays = [np.empty(size) for _ in range(kernel.slots)]
        draws = self.plan.draws(kernel.sources)
        draws.start(block)
        draws.advance(size)
        with np.errstate(all="ignore"):
            kernel.run(arrays, draws)
        return kernel, arrays

    def non_finite(self, block: int, size: int) -> ComputationRefused | None:
        """Return a refusal that names the formula and one offending trial, if there is one."""
        kernel, arrays = self._every_value(block, size)
        drawn = {
            i.function.name: arrays[i.out]
            for i in kernel.instructions
            if isinstance(i.function, ErrorSource)
        }
        for step in kernel.instructions:
            bad = ~np.isfinite(arrays[step.out])
            if bad.any():
                at = int(np.argmax(bad))
                used = sorted(name for name in drawn if name in step.sources)
                inputs = ", ".join(f"{name} = {drawn[name][at]:.6g}" for name in used[:12])
                return ComputationRefused(
                    f"{step.owner or 'a formula'} has no finite value in {bad.mean():.2g} of the "
                    f"trials looked at; one of them (SI units): {inputs}",
                    CHECK,
                )
        return None


def _of(operand: Operand, arrays: Sequence[FloatArray]) -> FloatArray:
    return arrays[operand.index] if isinstance(operand, Slot) else np.asarray(operand)


def _widened(range_: Range, counts: Counts) -> Range:
    """Return a range eight times as wide, or all that was seen where there was none."""
    if range_.width == 0.0:
        edge = (counts.largest - counts.smallest) / BINS
        return Range(counts.smallest - edge, edge * (BINS + 2) / BINS, range_.shift)
    width = 8 * range_.width
    middle = range_.low + range_.width * BINS / 2
    return Range(middle - width * BINS / 2, width, range_.shift)
