"""Random numbers keyed by seed, purpose, source name and block.

A source's numbers depend on its name alone, so another input, another order in the file or
another number of workers moves nothing. Only uniform bits are drawn; every law comes from our
own quantile functions, so numpy's promise about uniform streams is all that is relied upon.
"""

from __future__ import annotations

import functools
import hashlib

import numpy as np

from effband.evidence.tables import FloatArray
from effband.problems import ComputationRefused

# What a stream is for; part of its key, so that no two uses share numbers.
TRIALS, OTHERS, STRATA, SCRAMBLING, QUASI = range(5)

_SMALLEST = 2.0**-54


def generator(seed: int, purpose: int, name: str, block: int) -> np.random.Generator:
    """Return the generator of one source's block, or of anything else that has a name."""
    key = (purpose, *_words(name), block)
    return np.random.Generator(np.random.PCG64(np.random.SeedSequence(seed, spawn_key=key)))


@functools.lru_cache(maxsize=4096)
def _words(name: str) -> tuple[int, ...]:
    data = name.encode("utf-8")
    digest = hashlib.sha256(f"{len(data)}:".encode() + data).digest()
    return tuple(int.from_bytes(digest[i : i + 4], "big") for i in range(0, 16, 4))


def fill_uniform(source: np.random.Generator, out: FloatArray) -> None:
    """Fill an array with uniforms strictly inside (0, 1)."""
    source.random(out=out)
    np.maximum(out, _SMALLEST, out=out)


class Net:
    """One scrambling of a Sobol sequence in the open unit cube, points in order.

    Raises
    ------
    ComputationRefused
        When there are more columns than the sequence has dimensions.
    """

    def __init__(self, seed: int, purpose: int, name: str, scrambling: int, columns: int) -> None:
        from scipy.stats import qmc  # half a second to import: only where it is needed

        if columns > qmc.Sobol.MAXDIM:
            most = qmc.Sobol.MAXDIM // 2
            raise ComputationRefused(f"more than {most} error sources", "split the case in several")
        stream = generator(seed, purpose, name, scrambling)
        self._sobol = qmc.Sobol(columns, scramble=True, rng=stream)
        self._half_a_cell = 2.0 ** -(self._sobol.bits + 1)  # a point may be exactly 0

    def next(self, rows: int) -> FloatArray:
        """Return the next points, shape (rows, columns)."""
        points: FloatArray = self._sobol.random(rows) + self._half_a_cell
        return points
