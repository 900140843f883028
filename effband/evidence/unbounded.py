"""Laws without a limit on one side or both. Clauses of JCGM 101:2008 are quoted from memory."""

from __future__ import annotations

import functools
import math
from dataclasses import dataclass

import numpy as np
from scipy import special

from effband.evidence.law import Distribution, Printer, require
from effband.evidence.tables import (
    MANY_EVENTS,
    FloatArray,
    Table,
    events_table,
    many_events,
    student_table,
)

_Z_975 = 1.959963984540054


@dataclass(frozen=True)
class Normal(Distribution):
    """A mean and its standard uncertainty, the sd `spread` > 0 (JCGM 101 6.4.7)."""

    centre: float
    spread: float
    name = "normal"
    _phrase = "mean {at[centre]}, standard uncertainty {by[spread]}"
    _positive = ("spread",)

    def _invert(self, x: FloatArray) -> None:
        special.ndtri(x, out=x)
        x *= self.spread
        x += self.centre

    def _probability(self, x: float) -> float:
        return float(special.ndtr((x - self.centre) / self.spread))

    def _moments(self) -> tuple[float, float]:
        return self.centre, self.spread


@dataclass(frozen=True)
class TwoPieceNormal(Distribution):
    """Two halves of normals of one height that meet at the likely value; both sd > 0."""

    likely: float
    sd_low: float
    sd_high: float
    name = "two-piece normal"
    _phrase = "most likely {at[likely]}, sd {by[sd_low]} below and {by[sd_high]} above"
    _positive = ("sd_low", "sd_high")

    def _shares(self) -> tuple[float, float]:
        both = self.sd_low + self.sd_high
        return self.sd_low / both, self.sd_high / both

    def _invert(self, x: FloatArray) -> None:
        lower, upper = self._shares()
        spread = np.where(x < lower, self.sd_low, -self.sd_high)
        mirrored = np.subtract(1.0, x)
        mirrored *= 0.5 / upper
        x *= 0.5 / lower
        # They cross at 1/2, the mode: the smaller is the one whose half holds.
        special.ndtri(np.minimum(x, mirrored, out=x), out=x)
        x *= spread
        x += self.likely

    def _probability(self, x: float) -> float:
        lower, upper = self._shares()
        if x < self.likely:
            return 2.0 * lower * float(special.ndtr((x - self.likely) / self.sd_low))
        return 1.0 - 2.0 * upper * float(special.ndtr((self.likely - x) / self.sd_high))

    def _moments(self) -> tuple[float, float]:
        skew = self.sd_high - self.sd_low
        variance = (1.0 - 2.0 / math.pi) * skew**2 + self.sd_low * self.sd_high
        return self.likely + math.sqrt(2.0 / math.pi) * skew, math.sqrt(variance)


@dataclass(frozen=True)
class StudentT(Distribution):
    """Repeats (JCGM 101 6.4.9) or a certificate with degrees of freedom (6.4.9.7).

    `scale` > 0 is the standard uncertainty, s / sqrt(n) of n readings. `dof` need not be whole;
    below 0.25 the tails would leave the range of floating point.
    """

    location: float
    scale: float
    dof: float
    name = "Student t"
    _phrase = "{at[location]}, scale {by[scale]}, {dof:g} degrees of freedom"
    _positive = ("scale",)

    def __post_init__(self) -> None:
        super().__post_init__()
        require(self.dof >= 0.25, f"degrees of freedom must be at least 0.25, not {self.dof:g}")

    def words(self, point: Printer, width: Printer) -> str:
        """Describe the law in plain words; see `Distribution.words`."""
        return super().words(point, width).replace(", 1 degrees of", ", 1 degree of")

    @property
    def standard_uncertainty(self) -> float:
        """The scale, in the unit of the value, as JCGM 100 takes it."""
        return self.scale

    @property
    def degrees_of_freedom(self) -> float:
        """Degrees of freedom of the scale."""
        return self.dof

    @functools.cached_property
    def _table(self) -> Table:
        return student_table(float(self.dof))

    def _invert(self, x: FloatArray) -> None:
        self._table.replace(special.ndtri(x, out=x))
        x *= self.scale
        x += self.location

    def _probability(self, x: float) -> float:
        return float(special.stdtr(self.dof, (x - self.location) / self.scale))

    def _moments(self) -> tuple[float | None, float | None]:
        nu = self.dof
        sd = self.scale * math.sqrt(nu / (nu - 2.0)) if nu > 2.0 else None
        return self.location if nu > 1.0 else None, sd

    def _moments_above(self, low: float) -> tuple[float | None, float | None]:
        """Mean and sd of the part above `low`, closed because its tail outruns quadrature."""
        nu, a = self.dof, (low - self.location) / self.scale
        if nu <= 1.0:
            return None, None
        kept = float(special.stdtr(nu, -a))
        density = (1.0 + a * a / nu) ** (-0.5 * nu - 0.5)
        density /= math.sqrt(nu) * float(special.beta(0.5, 0.5 * nu))
        first = (nu + a * a) / (nu - 1.0) * density / kept
        mean = self.location + self.scale * first
        if nu <= 2.0:
            return mean, None
        beyond = float(special.stdtr(nu - 2.0, -a * math.sqrt((nu - 2.0) / nu)))
        second = nu * (nu - 1.0) / (nu - 2.0) * beyond / kept - nu
        return mean, self.scale * math.sqrt(second - first**2)


class _Positive(Distribution):
    def _limits(self) -> tuple[float, float]:
        return 0.0, math.inf


@dataclass(frozen=True)
class Lognormal(_Positive):
    """A positive value known to a factor: 95 % inside median/factor to median*factor.

    `median` > 0 and 1 < `factor` <= 1e12, beyond which the moments overflow.
    """

    median: float
    factor: float
    name = "lognormal"
    _phrase = "median {at[median]}, 95 % within a factor {factor:g}"
    _positive = ("median",)

    def __post_init__(self) -> None:
        super().__post_init__()
        require(
            1.0 < self.factor <= 1e12,
            f"factor must be above 1 and at most 1e12, not {self.factor:g}",
        )

    @property
    def _sigma(self) -> float:
        return math.log(self.factor) / _Z_975

    def _invert(self, x: FloatArray) -> None:
        special.ndtri(x, out=x)
        x *= self._sigma
        np.exp(x, out=x)
        x *= self.median

    def _probability(self, x: float) -> float:
        return float(special.ndtr(math.log(x / self.median) / self._sigma))

    def _moments(self) -> tuple[float, float]:
        mean = self.median * math.exp(0.5 * self._sigma**2)
        return mean, mean * math.sqrt(math.expm1(self._sigma**2))


@dataclass(frozen=True)
class CountedEvents(_Positive):
    """Expectation behind a count of random events, 0 to 1e15: gamma(events + 1) (6.4.11)."""

    events: int
    name = "counted events"
    _phrase = "{at[events]} counted (gamma)"

    def __post_init__(self) -> None:
        super().__post_init__()
        require(
            0 <= self.events <= 1e15 and self.events == int(self.events),
            f"events must be a whole number from 0 to 1e15, not {self.events:g}",
        )

    @functools.cached_property
    def _table(self) -> Table:
        return events_table(int(self.events))

    def _invert(self, x: FloatArray) -> None:
        self._table.replace(special.ndtri(x, out=x))

    def _probability(self, x: float) -> float:
        shape = self.events + 1.0
        if self.events < MANY_EVENTS:
            return float(special.gammainc(shape, x))
        z = np.zeros(1)
        for _ in range(12):  # the expansion is nearly straight: a fixed slope converges
            z = np.clip(z - (many_events(shape, z) - x) / math.sqrt(shape), -40.0, 40.0)
        return float(special.ndtr(z[0]))

    def _moments(self) -> tuple[float, float]:
        return self.events + 1.0, math.sqrt(self.events + 1.0)


@dataclass(frozen=True)
class Exponential(_Positive):
    """A positive value of which only the expectation > 0 is known (JCGM 101 6.4.10)."""

    expectation: float
    name = "exponential"
    _phrase = "mean {at[expectation]}"
    _positive = ("expectation",)

    def _invert(self, x: FloatArray) -> None:
        np.log1p(np.negative(x, out=x), out=x)
        x *= -self.expectation

    def _probability(self, x: float) -> float:
        return -math.expm1(-x / self.expectation)

    def _moments(self) -> tuple[float, float]:
        return self.expectation, self.expectation
