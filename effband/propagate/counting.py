"""Values to counts: what is kept of the trials, in memory that does not grow with them.

Values are summed in lanes of fixed length and counted in fixed bins. Counts are integers and
the lanes' sums are added exactly, so the result is the same for any number of workers and any
size of the pieces in which the values come. What is counted is kept for several batches apart,
whose scatter shows how well the simulation knows what has no formula of its own.
"""

from __future__ import annotations

import functools
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from effband.evidence.tables import FloatArray
from effband.propagate.sampling import Sampling

LANE = 8_192
BINS = 16_384
TAIL_BLOCKS = 2

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
        Integer counts, shape (batches, BINS + 2); first and last are below and above the bins.
    replicated
        Whether the batches are independent scramblings of one size.
    smallest, largest
        The extreme values.
    shift, scale, sums
        Sums of (y - shift) / scale and of its square for every block, shape (blocks, 2); a
        block is a batch where batches are replicated.
    above_ceiling
        Trials above the ceiling.
    lanes
        Of the first full lanes, for the tail test: the sums of the two, and the largest square;
        shape (lanes, 3).
    """

    trials: int
    low: float
    width: float
    batches: npt.NDArray[np.int32]
    replicated: bool
    smallest: float
    largest: float
    shift: float
    scale: float
    sums: FloatArray
    above_ceiling: int
    lanes: FloatArray

    @property
    def varies(self) -> bool:
        """Whether the output varies by more than rounding."""
        return self.width > 0.0

    @functools.cached_property
    def total(self) -> IntArray:
        """Counts of all batches together, shape (BINS + 2,)."""
        found: IntArray = self.batches.sum(axis=0, dtype=np.int64)
        return found


@dataclass(frozen=True)
class Range:
    """Where the bins of an output lie; width 0 for an output that does not vary."""

    low: float
    width: float
    shift: float

    @property
    def scale(self) -> float:
        """The width of a bin, which no square of a common value overflows."""
        return self.width or 1.0


@dataclass
class BlockCounts:
    """What is kept of one block."""

    block: int
    sums: FloatArray  # (outputs, lanes, 2)
    largest_square: FloatArray  # (outputs, lanes), of the first blocks
    counts: npt.NDArray[np.int32]  # (outputs, slices, BINS + 2)
    extremes: FloatArray  # (outputs, 2)
    happened: IntArray  # (events,)
    numbers: FloatArray | None = None  # of its batches, where a judge waits for them


class NotFinite(ArithmeticError):
    """An output, given by its number, is not finite in every trial."""


class Counter:
    """Counts blocks, with room that is used again for each."""

    def __init__(self, ranges: list[Range], slices: int, most: int) -> None:
        self.ranges, self.slices = ranges, slices
        self.bins = np.empty(most, dtype=np.int64)
        self.lane = np.empty(LANE)
        self.square = np.empty(LANE)

    def count(self, block: int, values: FloatArray, happened: IntArray) -> BlockCounts:
        """Return what is kept of a block's values, shape (outputs, trials). Raises NotFinite."""
        outputs, size = values.shape
        lanes = math.ceil(size / LANE)
        found = BlockCounts(
            block,
            np.zeros((outputs, lanes, 2)),
            np.zeros((outputs, lanes)),
            np.zeros((outputs, self.slices, BINS + 2), dtype=np.int32),
            np.zeros((outputs, 2)),
            happened,
        )
        for k, range_ in enumerate(self.ranges):
            y = values[k]
            low, high = found.extremes[k] = float(y.min()), float(y.max())
            if not math.isfinite(low) or not math.isfinite(high):
                raise NotFinite(k)
            within = range_.low <= low and high < range_.low + BINS * range_.width
            tail = found.largest_square[k] if block < TAIL_BLOCKS else None
            self._lanes(y, range_, found.sums[k], tail, within)
            if range_.width > 0.0:
                slices = np.array_split(self.bins[:size], self.slices)
                found.counts[k] = [np.bincount(each, minlength=BINS + 2) for each in slices]
        return found

    def _lanes(
        self,
        y: FloatArray,
        range_: Range,
        sums: FloatArray,
        largest: FloatArray | None,
        within: bool,
    ) -> None:
        """Sum lane by lane, and turn values into numbers of bins; `within` that all are in one."""
        inverse = 1.0 / range_.scale
        # the shift lies so many bins above the lower edge; bin 0 is what lies below it
        offset = (range_.shift - range_.low) * inverse + 1.0
        for at in range(len(sums)):
            start = at * LANE
            piece = y[start : start + LANE]
            t, square = self.lane[: len(piece)], self.square[: len(piece)]
            np.subtract(piece, range_.shift, out=t)
            np.multiply(t, inverse, out=t)
            np.multiply(t, t, out=square)
            sums[at] = t.sum(), square.sum()
            if largest is not None:
                largest[at] = square.max()
            np.add(t, offset, out=t)
            if not within:
                np.maximum(t, 0.0, out=t)
                np.minimum(t, BINS + 1.0, out=t)
            np.copyto(self.bins[start : start + len(piece)], t, casting="unsafe")


class Total:
    """Adds up blocks in any order; nothing in it depends on the order."""

    def __init__(self, ranges: list[Range], events: int, sampling: Sampling) -> None:
        outputs = len(ranges)
        self.ranges = ranges
        self.sampling = sampling
        self.batches = np.zeros((outputs, sampling.batches, BINS + 2), dtype=np.int32)
        self.sums = np.zeros((sampling.blocks, outputs, 2))
        self.extremes = np.full((outputs, 2), [math.inf, -math.inf])
        self.happened = np.zeros((sampling.blocks, events), dtype=np.int64)
        self.lanes: dict[int, FloatArray] = {}
        self.trials = 0

    def add(self, found: BlockCounts) -> None:
        """Add one block."""
        self.trials += self.sampling.size(found.block)
        for k, counts in enumerate(found.counts):
            if len(counts) > 1:
                self.batches[k] += counts
            else:
                self.batches[k, found.block % self.sampling.batches] += counts[0]
        # fsum is exact, so neither lanes nor blocks leave a trace of their order
        for k, lanes in enumerate(found.sums):
            self.sums[found.block, k] = [math.fsum(lanes[:, power]) for power in range(2)]
        np.minimum(self.extremes[:, 0], found.extremes[:, 0], out=self.extremes[:, 0])
        np.maximum(self.extremes[:, 1], found.extremes[:, 1], out=self.extremes[:, 1])
        self.happened[found.block] = found.happened
        if found.block < TAIL_BLOCKS:
            full = self.sampling.size(found.block) // LANE
            parts = [found.sums[:, :full, 0], found.sums[:, :full, 1]]
            parts.append(found.largest_square[:, :full])
            self.lanes[found.block] = np.stack(parts, axis=2)

    def counts(self, above: Sequence[int]) -> tuple[Counts, ...]:
        """Return the counts of every output; `above` its trials above its ceiling."""
        lanes = [self.lanes[block] for block in sorted(self.lanes)]
        return tuple(
            Counts(
                trials=self.trials,
                low=range_.low,
                width=range_.width,
                batches=self.batches[k],
                replicated=self.sampling.replicated,
                smallest=float(self.extremes[k, 0]),
                largest=float(self.extremes[k, 1]),
                shift=range_.shift,
                scale=range_.scale,
                sums=self.sums[:, k],
                above_ceiling=above[k],
                lanes=np.concatenate([lane[k] for lane in lanes]),
            )
            for k, range_ in enumerate(self.ranges)
        )
