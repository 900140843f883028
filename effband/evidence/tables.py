"""Quantile functions without a closed form, as tables that are built once."""

from __future__ import annotations

import functools
import math
from collections.abc import Callable

import numpy as np
import numpy.typing as npt
from scipy import special

FloatArray = npt.NDArray[np.float64]

LAST_BELOW_ONE = 1.0 - 2.0**-53
_Z_END = 9
_CELLS_PER_SD = 512
# From here on the series beats gammaincinv, which fails in the lower tail of large shapes.
MANY_EVENTS = 100_000


class Table:
    """Cubic Hermite interpolant on equally spaced nodes; `slopes` are per cell."""

    def __init__(self, start: float, cells_per_unit: int, values: FloatArray, slopes: FloatArray):
        rise, left, right = np.diff(values), slopes[:-1], slopes[1:]
        self._start, self._density = start, float(cells_per_unit)
        self._end = math.nextafter(rise.size, 0.0)
        self._powers = (left + right - 2 * rise, 3 * rise - 2 * left - right, left, values[:-1])

    def replace(self, x: FloatArray) -> None:
        """Put the interpolated values in the place of their arguments."""
        x -= self._start
        x *= self._density
        np.clip(x, 0.0, self._end, out=x)
        cell = x.astype(np.intp)
        x -= cell
        term, total = np.empty_like(x), np.zeros_like(x)
        for power in self._powers:
            total *= x
            # "clip" only because "raise" would buffer `out`.
            total += np.take(power, cell, out=term, mode="clip")
        np.copyto(x, total)


def normal_score_table(value: Callable[[FloatArray], FloatArray], cells: int) -> Table:
    """Tabulate a law over the standard normal deviate of the same probability."""
    z = np.arange(-_Z_END * cells - 2, _Z_END * cells + 3) / cells
    y = value(z)
    # Fourth-order differences: as good as phi(z)/f(x) here, and blind to the law.
    slopes = (y[:-4] - y[4:] + 8.0 * (y[3:-1] - y[1:-3])) / 12.0
    return Table(-float(_Z_END), cells, y[2:-2], slopes)


@functools.lru_cache(maxsize=64)
def student_table(dof: float) -> Table:
    """Return Student's t of so many degrees of freedom, over the normal deviate."""
    # The tail grows as p**(-1/dof), so fewer degrees of freedom need finer cells.
    cells = _CELLS_PER_SD * 2 ** max(0, math.ceil(-math.log2(dof)))
    return normal_score_table(
        lambda z: np.sign(z) * np.abs(special.stdtrit(dof, special.ndtr(-np.abs(z)))), cells
    )


def many_events(shape: float, z: FloatArray) -> FloatArray:
    """Cornish-Fisher expansion of the gamma law of large shape."""
    root = math.sqrt(shape)
    return (
        shape
        + root * z
        + (z**2 - 1.0) / 3.0
        + (z**3 - 7.0 * z) / (36.0 * root)
        - (3.0 * z**4 + 7.0 * z**2 - 16.0) / (810.0 * shape)
        + (9.0 * z**5 + 256.0 * z**3 - 433.0 * z) / (38880.0 * shape * root)
    )


@functools.lru_cache(maxsize=64)
def events_table(events: int) -> Table:
    """Return the gamma law behind a count of events, over the normal deviate."""
    shape = events + 1.0

    def value(z: FloatArray) -> FloatArray:
        if events >= MANY_EVENTS:
            return many_events(shape, z)
        tail = special.ndtr(-np.abs(z))
        lower, upper = special.gammaincinv(shape, tail), special.gammainccinv(shape, tail)
        return np.where(z < 0.0, lower, upper).astype(np.float64)

    return normal_score_table(value, _CELLS_PER_SD)


@functools.cache
def flank_table() -> Table:
    """Tabulate e solving e + (1-e) ln(1-e) = c, over v with sqrt(c) = 1 - (1-v)**2.

    The solution is smooth in sqrt(c) at 0 and nearly so in sqrt(1-c) at 1; v serves both ends.
    """
    cells = 4096
    v = np.arange(cells + 1) / cells
    s = v * (2.0 - v)
    v_in, s_in = v[1:-1], s[1:-1]
    e = s_in.copy()
    for _ in range(60):  # convex in e: after one overshoot Newton descends on the solution
        log = np.log1p(-e)
        e += (e + (1.0 - e) * log - s_in**2) / log
        np.clip(e, s_in, LAST_BELOW_ONE, out=e)
    inner = -4.0 * s_in * (1.0 - v_in) / np.log1p(-e)
    slopes = np.concatenate(([2.0 * math.sqrt(2.0)], inner, [0.0])) / cells
    return Table(0.0, cells, np.concatenate(([0.0], e, [1.0])), slopes)
