"""Monte Carlo over blocks of trials (JCGM 101:2008): flat memory, threads, exact counts.

A block is `BLOCK` trials of every source, each from its own named stream. It is worked out in
cache-sized pieces, then summed in lanes of fixed length and counted in fixed bins. Counts are
integers and the lanes' sums are added exactly, so the result is the same for any number of
workers and any piece size. What is counted is kept for `BATCHES` separate batches as well,
from which the simulation uncertainty of the shortest interval is seen.
"""

from __future__ import annotations

import math
import threading
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ThreadPoolExecutor, wait
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from effband.case.model import Case, ErrorSource
from effband.evidence.tables import FloatArray
from effband.problems import ComputationRefused
from effband.propagate import streams
from effband.propagate.kernel import Kernel, Operand, Slot, compile_kernel

BLOCK = 65_536
PIECE = 32_768
LANE = 8_192
BINS = 16_384
PILOT = 20_000
BATCHES = 8
TAIL_BLOCKS = 2
CHECK = "look for a division by 0, or the logarithm or root of a negative number"
ROUNDING = 1e-12  # relative spread below which a value does not vary
WIDEST = 6  # how often the bins are widened, eightfold each time, for a heavy tail

Progress = Callable[[int, int], None]
IntArray = npt.NDArray[np.int64]


@dataclass(frozen=True)
class Counts:
    """What is known of one output after all trials.

    Attributes
    ----------
    trials
        How many.
    low, width
        Lower edge of the first bin, and the width of each.
    batches
        Integer counts, shape (BATCHES, BINS + 2); first and last are below and above the bins.
    smallest, largest
        The extreme values.
    shift, scale, power_sums
        Sums of ((y - shift) / scale)**k for k = 1 to 4; the scale is a power of two near the
        spread, so that no square leaves the range of numbers.
    above_ceiling
        Trials above the ceiling.
    lanes
        Of the first full lanes, for the tail test: sum of differences from the shift, of their
        squares, and the largest square; shape (lanes, 3).
    """

    trials: int
    low: float
    width: float
    batches: npt.NDArray[np.int32]
    smallest: float
    largest: float
    shift: float
    scale: float
    power_sums: tuple[float, ...]
    above_ceiling: int
    lanes: FloatArray

    @property
    def varies(self) -> bool:
        """Whether the output varies by more than rounding."""
        return self.width > 0.0


@dataclass(frozen=True)
class _Range:
    low: float
    width: float
    shift: float

    @property
    def scale(self) -> float:
        """A power of two near the spread; 1 for an output that does not vary."""
        return 2.0 ** math.frexp(self.width * BINS / 20)[1] if self.width > 0.0 else 1.0


@dataclass
class _BlockResult:
    block: int
    sums: FloatArray  # (outputs, lanes, 4)
    largest_square: FloatArray  # (outputs, lanes)
    counts: npt.NDArray[np.int32]  # (outputs, slices, BINS + 2)
    extremes: FloatArray  # (outputs, 2)
    above: IntArray  # (outputs,)


@dataclass
class Engine:
    """Runs the trials of a case.

    Parameters
    ----------
    case
        What to run.
    seed, trials
        As the settings say.
    workers
        Threads; the result does not depend on them.
    piece
        Trials worked out at a time; the result does not depend on it.
    """

    case: Case
    seed: int
    trials: int
    workers: int = 1
    piece: int = PIECE
    probability: float = 0.95
    progress: Progress | None = None
    stop: threading.Event = field(default_factory=threading.Event)

    def __post_init__(self) -> None:
        outputs = self.case.outputs
        by_name = {source.name: source for source in self.case.sources}
        ceilings = [output.ceiling for output in outputs if output.ceiling is not None]
        self.wanted = [*(output.step for output in outputs), *ceilings]
        self.kernel = compile_kernel(self.case.program, by_name, self.wanted, reuse=True)
        found = iter(self.kernel.outputs[len(outputs) :])
        self.ceilings: list[Operand | None] = [
            None if output.ceiling is None else next(found) for output in outputs
        ]
        self.n_outputs = len(outputs)

    def run(self) -> tuple[Counts, ...]:
        """Return the counts of every output, in the case's order.

        Raises
        ------
        ComputationRefused
            When a value is not finite in any trial, or no finite range holds the band.
        """
        first = self._block_values(0, min(PILOT, self.trials))
        ranges = [self._pilot_range(y) for y in first]
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

    def _pilot_range(self, y: FloatArray) -> _Range:
        reach = max(self.probability, 0.95)
        low, high = np.quantile(y, [(1 - reach) / 2, (1 + reach) / 2])
        shift = float(np.median(y))
        spread = float(y.max() - y.min())
        if spread <= ROUNDING * abs(shift):
            return _Range(shift, 0.0, shift)
        # 2.5 times the inner range each way: about 10 standard deviations of a normal output
        half = 2.5 * float(high - low) or spread
        return _Range(float(low + high) / 2 - half, 2 * half / BINS, shift)

    def _too_narrow(self, counts: Counts) -> bool:
        if not counts.varies:  # so the pilot says; it may vary too seldom for that
            return counts.largest - counts.smallest > ROUNDING * abs(counts.shift)
        outside = (1 - self.probability) / 2 * counts.trials
        total = counts.batches.sum(axis=0, dtype=np.int64)
        return bool(total[0] > 0.5 * outside or total[-1] > 0.5 * outside)

    # -- blocks ------------------------------------------------------------------------------

    def _run_all(self, ranges: list[_Range]) -> tuple[Counts, ...]:
        blocks = math.ceil(self.trials / BLOCK)
        total = _Total(self.n_outputs, self.trials, ranges, blocks)
        local = threading.local()

        def work(block: int) -> _BlockResult:
            if not hasattr(local, "values"):
                local.values = np.empty((self.n_outputs, BLOCK))
                local.buffers = np.empty((self.kernel.slots, min(self.piece, BLOCK)))
            size = min(BLOCK, self.trials - block * BLOCK)
            return self._block(block, size, ranges, local.values, local.buffers)

        if self.workers <= 1:
            for block in range(blocks):
                total.add(work(block))
                self._tell(block + 1, blocks)
            return total.counts()
        with ThreadPoolExecutor(self.workers) as pool:
            waiting: set[Future[_BlockResult]] = set()
            done_blocks = next_block = 0
            try:
                while done_blocks < blocks:
                    while next_block < blocks and len(waiting) < 2 * self.workers:
                        waiting.add(pool.submit(work, next_block))
                        next_block += 1
                    done, waiting = wait(waiting, timeout=0.2, return_when=FIRST_COMPLETED)
                    for future in done:
                        total.add(future.result())
                        done_blocks += 1
                    self._tell(done_blocks, blocks)
            except BaseException:
                self.stop.set()  # the threads see it within one piece
                for future in waiting:
                    future.cancel()
                raise
        return total.counts()

    def _tell(self, done: int, total: int) -> None:
        if self.progress is not None:
            self.progress(done, total)

    def _draws(self, block: int) -> Callable[[ErrorSource, FloatArray], None]:
        """Return a function that fills a source's next values of a block."""
        generators = {
            source.name: streams.generator(self.seed, streams.TRIALS, source.name, block)
            for source in self.kernel.sources
        }

        def draw(source: ErrorSource, out: FloatArray) -> None:
            streams.fill_uniform(generators[source.name], out)
            source.distribution.quantile(out, out=out)

        return draw

    def _block_values(self, block: int, size: int) -> FloatArray:
        values = np.empty((self.n_outputs, size))
        buffers = np.empty((self.kernel.slots, min(self.piece, size)))
        self._fill(block, size, values, buffers, None)
        return values

    def _fill(
        self,
        block: int,
        size: int,
        values: FloatArray,
        buffers: FloatArray,
        above: IntArray | None,
    ) -> None:
        """Work out a block piece by piece into `values`, shape (outputs, size)."""
        try:
            # the processor flags every operation that leaves the finite numbers, at no cost
            with np.errstate(divide="raise", invalid="raise", over="raise", under="ignore"):
                self._pieces(block, size, values, buffers, above)
        except FloatingPointError:
            refusal = self.non_finite(block, size)
            if refusal is not None:
                raise refusal from None
            if above is not None:
                above[:] = 0
            with np.errstate(all="ignore"):  # a flag without a bad value: once more without flags
                self._pieces(block, size, values, buffers, above)

    def _pieces(
        self,
        block: int,
        size: int,
        values: FloatArray,
        buffers: FloatArray,
        above: IntArray | None,
    ) -> None:
        draw = self._draws(block)
        for start in range(0, size, self.piece):
            if self.stop.is_set():
                raise ComputationRefused("stopped", "start again")
            end = min(start + self.piece, size)
            arrays = [buffer[: end - start] for buffer in buffers]
            self.kernel.run(arrays, draw)
            for k in range(self.n_outputs):
                values[k, start:end] = self.kernel.values(arrays, k)
            if above is not None:
                self._count_above(arrays, values[:, start:end], above)

    def _count_above(
        self, arrays: Sequence[FloatArray], values: FloatArray, above: IntArray
    ) -> None:
        for k, ceiling in enumerate(self.ceilings):
            if ceiling is not None:
                limit = arrays[ceiling.index] if isinstance(ceiling, Slot) else ceiling
                above[k] += int(np.count_nonzero(values[k] > limit))

    def _block(
        self,
        block: int,
        size: int,
        ranges: list[_Range],
        values: FloatArray,
        buffers: FloatArray,
    ) -> _BlockResult:
        above = np.zeros(self.n_outputs, dtype=np.int64)
        self._fill(block, size, values, buffers, above)
        lanes = math.ceil(size / LANE)
        result = _BlockResult(
            block,
            np.zeros((self.n_outputs, lanes, 4)),
            np.zeros((self.n_outputs, lanes)),
            np.zeros((self.n_outputs, self._slices(), BINS + 2), dtype=np.int32),
            np.zeros((self.n_outputs, 2)),
            above,
        )
        difference, square = np.empty(LANE), np.empty(LANE)
        for k, range_ in enumerate(ranges):
            y = values[k, :size]
            result.extremes[k] = y.min(), y.max()
            if not np.all(np.isfinite(result.extremes[k])):
                raise self.non_finite(block, size) or ComputationRefused(
                    f"{self.case.outputs[k].title} is not finite in every trial", CHECK
                )
            for lane in range(lanes):
                piece = y[lane * LANE : (lane + 1) * LANE]
                d, d2 = difference[: len(piece)], square[: len(piece)]
                np.subtract(piece, range_.shift, out=d)
                np.multiply(d, 1.0 / range_.scale, out=d)
                np.multiply(d, d, out=d2)
                sums = result.sums[k, lane]
                sums[0], sums[1] = d.sum(), d2.sum()
                result.largest_square[k, lane] = d2.max()
                np.multiply(d2, d, out=d)
                sums[2] = d.sum()
                np.multiply(d2, d2, out=d2)
                sums[3] = d2.sum()
            if range_.width > 0.0:
                slices = np.array_split(y, self._slices())
                result.counts[k] = [_binned(piece, range_) for piece in slices]
        return result

    def _slices(self) -> int:
        """Return in how many slices a block is counted: its batches, where blocks are few."""
        return 1 if self.trials >= BATCHES * BLOCK else BATCHES

    def denominators(self, size: int) -> Iterator[tuple[str, float, float, float, float]]:
        """Yield owner, least, greatest, mean and deviation of what is divided by."""
        kernel, arrays = self._every_value(0, size)
        for step in kernel.instructions:
            divisor = step.inputs[1] if step.function is np.divide else None
            if isinstance(divisor, Slot):
                y = arrays[divisor.index]
                yield step.owner, float(y.min()), float(y.max()), float(y.mean()), float(y.std())

    def _every_value(self, block: int, size: int) -> tuple[Kernel, list[FloatArray]]:
        """Return a kernel that keeps every value, and its values over the start of a block."""
        kernel = compile_kernel(
            self.case.program,
            {source.name: source for source in self.case.sources},
            self.wanted,
            reuse=False,
        )
        arrays = [np.empty(size) for _ in range(kernel.slots)]
        with np.errstate(all="ignore"):
            kernel.run(arrays, self._draws(block))
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


def _binned(y: FloatArray, range_: _Range) -> IntArray:
    """Return counts per bin; the first and last are below and above all bins."""
    at = np.subtract(y, range_.low)
    np.multiply(at, 1.0 / range_.width, out=at)
    np.add(at, 1.0, out=at)
    np.maximum(at, 0.0, out=at)
    np.minimum(at, BINS + 1.0, out=at)
    return np.bincount(at.astype(np.int64), minlength=BINS + 2)


def _widened(range_: _Range, counts: Counts) -> _Range:
    """Return a range eight times as wide, or all that was seen where there was none."""
    if range_.width == 0.0:
        edge = (counts.largest - counts.smallest) / BINS
        return _Range(counts.smallest - edge, edge * (BINS + 2) / BINS, range_.shift)
    width = 8 * range_.width
    middle = range_.low + range_.width * BINS / 2
    return _Range(middle - width * BINS / 2, width, range_.shift)


class _Total:
    """Adds up blocks in any order; nothing in it depends on the order."""

    def __init__(self, outputs: int, trials: int, ranges: list[_Range], blocks: int) -> None:
        self.trials = trials
        self.ranges = ranges
        self.batches = np.zeros((outputs, BATCHES, BINS + 2), dtype=np.int32)
        self.sums = np.zeros((blocks, outputs, 4))
        self.extremes = np.full((outputs, 2), [math.inf, -math.inf])
        self.above = np.zeros(outputs, dtype=np.int64)
        self.lanes: dict[int, FloatArray] = {}

    def add(self, result: _BlockResult) -> None:
        for k, counts in enumerate(result.counts):
            if len(counts) == BATCHES:
                self.batches[k] += counts
            else:
                self.batches[k, result.block % BATCHES] += counts[0]
        # fsum is exact, so neither lanes nor blocks leave a trace of their order
        self.sums[result.block] = [
            [math.fsum(lanes[:, power]) for power in range(4)] for lanes in result.sums
        ]
        np.minimum(self.extremes[:, 0], result.extremes[:, 0], out=self.extremes[:, 0])
        np.maximum(self.extremes[:, 1], result.extremes[:, 1], out=self.extremes[:, 1])
        self.above += result.above
        if result.block < TAIL_BLOCKS:
            full = min(BLOCK, self.trials - result.block * BLOCK) // LANE
            parts = [result.sums[:, :full, 0], result.sums[:, :full, 1]]
            parts.append(result.largest_square[:, :full])
            self.lanes[result.block] = np.stack(parts, axis=2)

    def counts(self) -> tuple[Counts, ...]:
        lanes = [self.lanes[block] for block in sorted(self.lanes)]
        return tuple(
            Counts(
                trials=self.trials,
                low=range_.low,
                width=range_.width,
                batches=self.batches[k],
                smallest=float(self.extremes[k, 0]),
                largest=float(self.extremes[k, 1]),
                shift=range_.shift,
                scale=range_.scale,
                power_sums=tuple(math.fsum(self.sums[:, k, p]) for p in range(4)),
                above_ceiling=int(self.above[k]),
                lanes=np.concatenate([lane[k] for lane in lanes]),
            )
            for k, range_ in enumerate(self.ranges)
        )
