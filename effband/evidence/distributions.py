"""The laws that a stated spread stands for, as quantile functions.

Every law maps a probability to a value, so that one uniform number per trial and source is all
that a simulation draws. Each element of the answer depends on its own probability alone, bit for
bit, whatever the length, offset or stride of the array.

Clauses of JCGM 101:2008 and JCGM 100:2008 are quoted from memory. A law without a clause is not in
the standard. Values are plain numbers in whatever unit the caller keeps; a width (`sd`, `scale`,
`inexact`) is in the unit of the value. Every law refuses, by ValueError, numbers that are not
finite or not in the order and range that its description states.
"""

import abc
import functools
import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import ClassVar

import numpy as np
from scipy import special

from effband.evidence.tables import (
    LAST_BELOW_ONE,
    MANY_EVENTS,
    FloatArray,
    Table,
    events_table,
    flank_table,
    many_events,
    student_table,
)

Printer = Callable[[float], str]

# Scratch of this many numbers stays in the cache and below the size that is mapped afresh.
_BLOCK = 16_000
_Z_975 = 1.959963984540054
_SPOKEN = {"centre": "mean", "spread": "standard deviation", "dof": "degrees of freedom"}


def _require(holds: bool, message: str) -> None:
    if not holds:
        raise ValueError(message)


def _require_order(low: float, high: float) -> None:
    _require(low < high, f"low must be below high, not {low:g} and {high:g}")


class Distribution(abc.ABC):
    """A law of probability for one number, given by its quantile function."""

    name: ClassVar[str]
    # at[x] prints a value, by[x] a width, x:g a bare number.
    _phrase: ClassVar[str]
    _positive: ClassVar[tuple[str, ...]] = ()

    def __post_init__(self) -> None:
        for field, number in vars(self).items():
            word = _SPOKEN.get(field, field)
            _require(math.isfinite(number), f"{word} must be a finite number, not {number}")
            if field in self._positive:
                _require(number > 0.0, f"{word} must be above 0, not {number:g}")

    def quantile(self, p: FloatArray, out: FloatArray | None = None) -> FloatArray:
        """Return the values at given probabilities.

        Parameters
        ----------
        p : FloatArray, any shape
            Probabilities strictly between 0 and 1, 2**-54 and 1 - 2**-53 included.
        out : FloatArray, shape of `p`, optional
            Where to put the answer; may be `p` itself.

        Returns
        -------
        FloatArray, shape of `p`
            Values within 1e-9 of the larger of the law's scale and the value itself.
        """
        # One contiguous code path, so that strides cannot change the last bit.
        x = out if out is not None and out.flags.c_contiguous else np.empty(p.shape)
        if x is not p:
            np.copyto(x, p)
        flat = x.reshape(-1)
        for start in range(0, flat.size, _BLOCK):
            self._invert(flat[start : start + _BLOCK])
        if out is None or x is out:
            return x
        np.copyto(out, x)
        return out

    def cdf(self, x: float) -> float:
        """Return the probability of a value no greater than `x`."""
        low, high = self.support
        if x <= low:
            return 0.0
        return 1.0 if x >= high else float(self._probability(x))

    def words(self, point: Printer, width: Printer) -> str:
        """Describe the law in plain words.

        Parameters
        ----------
        point, width : callable
            Print a value, and a difference of values, in the reader's unit.

        Returns
        -------
        str
            The law's name and numbers, without a full stop.
        """
        own = {word: number for word, number in vars(self).items() if not word.startswith("_")}
        at, by = ({word: show(number) for word, number in own.items()} for show in (point, width))
        return f"{self.name}, {self._phrase.format(at=at, by=by, **own)}"

    @property
    def support(self) -> tuple[float, float]:
        """Least and greatest possible value; infinite where there is none."""
        return self._limits()

    @property
    def mean(self) -> float | None:
        """Expectation, in the unit of the value; None where it does not exist."""
        return self._moments()[0]

    @property
    def sd(self) -> float | None:
        """Standard deviation, in the unit of the value; None where it does not exist."""
        return self._moments()[1]

    @property
    def standard_uncertainty(self) -> float:
        """What JCGM 100 takes, in the unit of the value: the sd, but of a Student t the scale."""
        return math.inf if self.sd is None else self.sd

    @property
    def degrees_of_freedom(self) -> float:
        """Degrees of freedom of the standard uncertainty; infinite except for a Student t."""
        return math.inf

    @abc.abstractmethod
    def _invert(self, x: FloatArray) -> None:
        """Replace probabilities by values; `x` is contiguous."""

    @abc.abstractmethod
    def _probability(self, x: float) -> float:
        """Distribution function inside the support."""

    @abc.abstractmethod
    def _moments(self) -> tuple[float | None, float | None]:
        """Mean and standard deviation."""

    def _limits(self) -> tuple[float, float]:
        return -math.inf, math.inf


@dataclass(frozen=True)
class _Symmetric(Distribution):
    """A bounded law symmetric about its midpoint, told by one half in units of half its width."""

    low: float
    high: float
    _phrase = "{at[low]} to {at[high]}"

    def __post_init__(self) -> None:
        super().__post_init__()
        _require_order(self.low, self.high)

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
        _require(0.0 <= self.top <= 1.0, f"top must be between 0 and 1, not {self.top:g}")

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
        _require(
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
        _require_order(self.low, self.high)
        _require(
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
        _require(self.dof >= 0.25, f"degrees of freedom must be at least 0.25, not {self.dof:g}")

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
        _require(
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
        _require(
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


@dataclass(frozen=True)
class Truncated(Distribution):
    """What remains of a law inside low < high, either of them infinite; under 99 % is removed.

    The base is asked at a probability rounded to 2**-53: a far upper tail is as coarse as the
    probabilities themselves. Moments are integrals of the quantile function and miss what lies
    beyond: a few 1e-4 of the variance of a lognormal known to a factor of 100, more above.
    """

    base: Distribution
    low: float
    high: float
    name = "truncated"

    def __post_init__(self) -> None:
        _require_order(self.low, self.high)
        _require(
            self.removed < 0.99,
            f"{100.0 * self.removed:.3g} % lies outside {self.low:g} to {self.high:g}; "
            "less than 99 % may be cut away",
        )

    def words(self, point: Printer, width: Printer) -> str:
        """Describe the base, then what is kept of it; see `Distribution.words`."""
        kept = f"within {point(self.low)} to {point(self.high)}"
        if self.low == -math.inf:
            kept = f"below {point(self.high)}"
        elif self.high == math.inf:
            kept = f"above {point(self.low)}"
        removed = f"removes {100.0 * self.removed:.2g} %"
        return f"{self.base.words(point, width)}, kept {kept} ({removed})"

    @property
    def removed(self) -> float:
        """Probability of the base that is cut away."""
        return self.base.cdf(self.low) + (1.0 - self.base.cdf(self.high))

    @property
    def standard_uncertainty(self) -> float:
        """The sd of what remains; of a t that keeps an endless tail, the scale of the whole."""
        whole = math.isfinite(self.degrees_of_freedom)
        return self.base.standard_uncertainty if whole else super().standard_uncertainty

    @property
    def degrees_of_freedom(self) -> float:
        """Those of the base if an endless tail remains, otherwise infinite."""
        return self.base.degrees_of_freedom if self._endless else math.inf

    @property
    def _endless(self) -> bool:
        return not all(map(math.isfinite, self.support))

    @functools.cached_property
    def _cut(self) -> tuple[float, float]:
        below = self.base.cdf(self.low)
        return below, self.base.cdf(self.high) - below

    def _invert(self, x: FloatArray) -> None:
        below, kept = self._cut
        x *= kept
        x += below
        self.base._invert(np.minimum(x, LAST_BELOW_ONE, out=x))
        np.clip(x, *self.support, out=x)

    def _probability(self, x: float) -> float:
        below, kept = self._cut
        return (self.base.cdf(x) - below) / kept

    def _moments(self) -> tuple[float | None, float | None]:
        return self._integrated

    @functools.cached_property
    def _integrated(self) -> tuple[float | None, float | None]:
        (low, high), t = self.support, self.base
        if (low, high) == t.support:
            return t.mean, t.sd
        while isinstance(t, Truncated):
            t = t.base
        if self._endless and isinstance(t, StudentT) and t.dof < 30.0:
            if math.isfinite(low):
                return t._moments_above(low)
            mirrored, sd = t._moments_above(2.0 * t.location - high)
            return None if mirrored is None else 2.0 * t.location - mirrored, sd
        from scipy import integrate  # slow to import and seldom needed

        def integral(power: int, centre: float) -> float:
            def integrand(p: float) -> float:
                return float((self.quantile(np.array([p]))[0] - centre) ** power)

            # The full output keeps a remark on rounding from becoming a warning.
            found = integrate.quad(
                integrand, 0.0, 1.0, full_output=1, epsabs=0.0, epsrel=1e-10, limit=200
            )
            return float(found[0])

        middle = float(self.quantile(np.array([0.5]))[0])
        mean = middle + integral(1, middle)
        return mean, math.sqrt(integral(2, mean))

    def _limits(self) -> tuple[float, float]:
        low, high = self.base.support
        return max(low, self.low), min(high, self.high)


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
    _require(shape in plain, f"unknown shape {shape!r}: one of {', '.join(plain)}, trapezoidal")
    _require(top is None, f"only a trapezoidal shape has a top, not a {shape} one")
    return plain[shape]
