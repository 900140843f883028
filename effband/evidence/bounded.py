"""Laws between two limits. Clauses of JCGM 101:2008 are quoted from memory."""

from __future__ import annotations

import abc
import functools
import math
from dataclasses import dataclass

import numpy as np

from effband.evidence.law import Distribution, require, require_order
from effband.evidence.tables import FloatArray, flank_table


@dataclass(frozen=True)
class _Symmetric(Distribution):
    """A bounded law symmetric about its midpoint, told by one half in units of half its width."""

    low: float
    high: float
    _phrase = "{at[low]} to {at[high]}"

    def __post_init__(self) -> None:
        super().__post_init__()
        require_order(self.low, self.high)

    @abc.abstractmethod
    def _reach(self, q: FloatArray) -> FloatArray:
        """Distance from the midpoint beyond which lies q <= 1/2 on each side; may use up q."""

    @abc.abstractmethod
    def _tail(self, depth: float) -> float:
        """Probability of lying closer than `depth` to one end: undoes 1 - `_reach`."""

    @abc.abstractmethod
    def _sd(self) -> float: ...

    def _invert(self, x: FloatArray) -> None:
        low, high = self.support
        q = np.subtract(1.0, x)
        np.minimum(x, q, out=q)
        x -= 0.5
        np.copysign(self._reach(q), x, out=x)
        x *= 0.5 * (high - low)
        x += 0.5 * (low + high)
        np.clip(x, low, high, out=x)

    def _probability(self, x: float) -> float:
        low, high = self.support
        tail = self._tail(2.0 * min(x - low, high - x) / (high - low))
        return tail if x - low < high - x else 1.0 - tail

    def _moments(self) -> tuple[float, float]:
        return 0.5 * (self.low + self.high), self._sd()

    def _limits(self) -> tuple[float, float]:
        return self.low, self.high


@dataclass(frozen=True)
class Rectangular(_Symmetric):
    """Nothing known but two limits, low < high (JCGM 101 6.4.2)."""

    name = "rectangular"

    def _invert(self, x: FloatArray) -> None:
        x *= self.high - self.low
        x += self.low  # never above high: (1 - 2**-53) of the rounded width is within the true one

    def _reach(self, q: FloatArray) -> FloatArray:
        return 1.0 - 2.0 * q

    def _tail(self, depth: float) -> float:
        return 0.5 * depth

    def _sd(self) -> float:
        return (self.high - self.low) / math.sqrt(12.0)


@dataclass(frozen=True)
class Trapezoidal(_Symmetric):
    """Symmetric trapezoid on low < high; 0 <= top <= 1 is top over base (JCGM 101 6.4.4)."""

    top: float
    name = "trapezoidal"
    _phrase = "{at[low]} to {at[high]}, top {top:g} of the base"

    def __post_init__(self) -> None:
        super().__post_init__()
        require(0.0 <= self.top <= 1.0, f"top must be between 0 and 1, not {self.top:g}")

    def _reach(self, q: FloatArray) -> FloatArray:
        flank = 1.0 - np.sqrt((2.0 * (1.0 - self.top**2)) * q)
        middle = (0.5 - q) * (1.0 + self.top)
        return np.where(q < 0.5 * (1.0 - self.top) / (1.0 + self.top), flank, middle)

    def _tail(self, depth: float) -> float:
        if depth < 1.0 - self.top:
            return 0.5 * depth**2 / (1.0 - self.top**2)
        return 0.5 - (1.0 - depth) / (1.0 + self.top)

    def _sd(self) -> float:
        return 0.5 * (self.high - self.low) * math.sqrt((1.0 + self.top**2) / 6.0)


@dataclass(frozen=True)
class Arcsine(_Symmetric):
    """A steady swing between two limits, low < high (JCGM 101 6.4.6)."""

    name = "arcsine"

    def _reach(self, q: FloatArray) -> FloatArray:
        np.subtract(0.5, q, out=q)
        q *= math.pi
        return np.sin(q, out=q)

    def _tail(self, depth: float) -> float:
        return math.asin(math.sqrt(0.5 * depth)) * 2.0 / math.pi

    def _sd(self) -> float:
        return (self.high - self.low) / math.sqrt(8.0)


@dataclass(frozen=True)
class CurvilinearTrapezoid(_Symmetric):
    """Limits good to plus or minus 0 < inexact < (high-low)/2, midpoint sure (JCGM 101 6.4.3)."""

    inexact: float
    name = "curvilinear trapezoid"
    _phrase = "{at[low]} to {at[high]}, each limit inexact by {by[inexact]}"

    def __post_init__(self) -> None:
        super().__post_init__()
        require(
            0.0 < self.inexact < 0.5 * (self.high - self.low),
            f"inexact must be above 0 and below half of high - low, not {self.inexact:g}",
        )

    def _shape(self) -> tuple[float, float, float]:
        """Depth of a flank, half the density in the middle, probability of a flank."""
        half = 0.5 * (self.high - self.low)
        depth = 2.0 * self.inexact / (half + self.inexact)
        height = math.atanh(self.inexact / half) / depth
        return depth, height, 0.5 - (1.0 - depth) * height

    def _reach(self, q: FloatArray) -> FloatArray:
        depth, height, share = self._shape()
        flank = 1.0 - np.sqrt(1.0 - np.sqrt(2.0 * depth * q))
        flank_table().replace(flank)
        return np.where(q < share, 1.0 - flank, (0.5 - q) / height)

    def _tail(self, depth: float) -> float:
        flank, height, _ = self._shape()
        if depth < flank:
            return (depth + (1.0 - depth) * math.log1p(-depth)) / (2.0 * flank)
        return 0.5 - (1.0 - depth) * height

    def _sd(self) -> float:
        return math.sqrt((self.high - self.low) ** 2 / 12.0 + self.inexact**2 / 9.0)

    def _limits(self) -> tuple[float, float]:
        return self.low - self.inexact, self.high + self.inexact


@dataclass(frozen=True)
class Triangular(Distribution):
    """A likely value inside or at limits, low <= likely <= high (JCGM 101 6.4.5 if symmetric)."""

    low: float
    likely: float
    high: float
    name = "triangular"
    _phrase = "{at[low]} to {at[high]}, most likely {at[likely]}"

    def __post_init__(self) -> None:
        super().__post_init__()
        require_order(self.low, self.high)
        require(
            self.low <= self.likely <= self.high,
            f"likely must be between {self.low:g} and {self.high:g}, not {self.likely:g}",
        )

    def _sides(self) -> tuple[float, float, float]:
        return self.high - self.low, self.likely - self.low, self.high - self.likely

    def _invert(self, x: FloatArray) -> None:
        width, rise, fall = self._sides()
        below = x < rise / width
        upper = np.subtract(1.0, x)
        upper *= width * fall
        np.subtract(self.high, np.sqrt(upper, out=upper), out=upper)
        x *= width * rise
        np.add(self.low, np.sqrt(x, out=x), out=x)
        np.copyto(x, np.where(below, x, upper))

    def _probability(self, x: float) -> float:
        width, rise, fall = self._sides()
        if x < self.likely:
            return (x - self.low) ** 2 / (width * rise)
        return 1.0 - (self.high - x) ** 2 / (width * fall)

    def _moments(self) -> tuple[float, float]:
        width, rise, fall = self._sides()
        return self.likely + (fall - rise) / 3.0, math.hypot(width, rise, fall) / 6.0

    def _limits(self) -> tuple[float, float]:
        return self.low, self.high


@functools.lru_cache(maxsize=64)
def unit_shape(shape: str, top: float | None = None) -> Distribution:
    """Return the symmetric law on [-1, 1] that a shape word names.

    Parameters
    ----------
    shape : str
        "rectangular", "triangular", "arcsine" or "trapezoidal".
    top : float, optional
        Ratio of top to base; for a trapezoid, and only for that.

    Returns
    -------
    Distribution
        The law, dimensionless.

    Raises
    ------
    ValueError
        If the word is unknown, or `top` is missing or out of place.
    """
    if shape == "trapezoidal":
        if top is None:
            raise ValueError("a trapezoidal shape needs its top, the ratio of top to base")
        return Trapezoidal(-1.0, 1.0, top)
    plain = {
        "rectangular": Rectangular(-1.0, 1.0),
        "triangular": Triangular(-1.0, 0.0, 1.0),
        "arcsine": Arcsine(-1.0, 1.0),
    }
    require(shape in plain, f"unknown shape {shape!r}: one of {', '.join(plain)}, trapezoidal")
    require(top is None, f"only a trapezoidal shape has a top, not a {shape} one")
    return plain[shape]
