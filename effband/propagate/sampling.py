"""Where the uniforms of a run come from: named random streams, or scrambled Sobol points.

Random streams depend on seed, source name and block alone, so nothing moves when another input
is added. Sobol points fill the cube of all sources evenly, which settles a smooth result far
sooner, but the dimension that a source gets depends on the other sources.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import Protocol

import numpy as np

from effband.case.model import ErrorSource
from effband.evidence.tables import FloatArray
from effband.problems import ComputationRefused
from effband.propagate import streams

BLOCK = 65_536
BATCHES = 8
SCRAMBLINGS = 16
LEAST_ROWS = 64
LEAST_QUASI = SCRAMBLINGS * LEAST_ROWS


class Draws(Protocol):
    """Fills in the values of sources, block by block and piece by piece."""

    def start(self, block: int) -> None:
        """Begin a block."""

    def advance(self, size: int) -> None:
        """Begin the next piece of the block, of so many trials."""

    def __call__(self, source: ErrorSource, out: FloatArray) -> None:
        """Fill in one source's values of the piece."""


class Sampling(Protocol):
    """How many trials there are, in which blocks, and where their draws come from.

    Attributes
    ----------
    trials, blocks, batches
        Trials in all; blocks they come in; batches they are counted in.
    replicated
        Whether the batches are independent scramblings, whose scatter tells the simulation
        uncertainty of everything.
    """

    trials: int
    blocks: int
    batches: int
    replicated: bool

    def size(self, block: int) -> int:
        """Return the number of trials in a block."""

    def draws(self, sources: Sequence[ErrorSource]) -> Draws:
        """Return draws for one thread."""


class RandomSampling:
    """Named streams of random numbers (JCGM 101:2008)."""

    batches = BATCHES
    replicated = False

    def __init__(self, seed: int, trials: int) -> None:
        self.seed, self.trials = seed, trials
        self.blocks = math.ceil(trials / BLOCK)

    def size(self, block: int) -> int:
        """Return the number of trials in a block."""
        return min(BLOCK, self.trials - block * BLOCK)

    def draws(self, sources: Sequence[ErrorSource]) -> Draws:
        """Return draws for one thread."""
        return _RandomDraws(self.seed, sources)


class _RandomDraws:
    def __init__(self, seed: int, sources: Sequence[ErrorSource]) -> None:
        self.seed = seed
        self.names = [source.name for source in sources]

    def start(self, block: int) -> None:
        self.streams = {
            name: streams.generator(self.seed, streams.TRIALS, name, block) for name in self.names
        }

    def advance(self, size: int) -> None:
        pass  # a stream goes on where it stands

    def __call__(self, source: ErrorSource, out: FloatArray) -> None:
        streams.fill_uniform(self.streams[source.name], out)
        source.distribution.quantile(out, out=out)


class QuasiSampling:
    """Independent scramblings of a Sobol sequence, one block each.

    Their number is fixed, so that Student's t with one degree of freedom less tells how well
    the simulation knows each number; a scrambling has as many points, a power of two, as the
    trials allow.
    """

    batches = SCRAMBLINGS
    replicated = True

    def __init__(self, seed: int, trials: int) -> None:
        rows = min(1 << (max(trials // SCRAMBLINGS, 1).bit_length() - 1), BLOCK)
        if rows < LEAST_ROWS:
            what = f"fewer than {LEAST_QUASI} quasi-random trials"
            raise ComputationRefused(what, "ask for more")
        self.seed, self.rows = seed, rows
        self.blocks = SCRAMBLINGS
        self.trials = rows * SCRAMBLINGS

    def size(self, block: int) -> int:
        """Return the number of trials in a block."""
        return self.rows

    def draws(self, sources: Sequence[ErrorSource]) -> Draws:
        """Return draws for one thread."""
        return _QuasiDraws(self.seed, sources)


class _QuasiDraws:
    def __init__(self, seed: int, sources: Sequence[ErrorSource]) -> None:
        self.seed = seed
        self.columns = {name: at for at, name in enumerate(sorted(s.name for s in sources))}

    def start(self, block: int) -> None:
        self.net = streams.Net(self.seed, streams.QUASI, "", block, max(1, len(self.columns)))

    def advance(self, size: int) -> None:
        self.points = self.net.next(size)

    def __call__(self, source: ErrorSource, out: FloatArray) -> None:
        np.copyto(out, self.points[:, self.columns[source.name]])
        source.distribution.quantile(out, out=out)


SAMPLINGS: dict[str, Callable[[int, int], Sampling]] = {
    "random": RandomSampling,
    "quasi": QuasiSampling,
}
