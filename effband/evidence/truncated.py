"""What is physically possible of a law."""

from __future__ import annotations

import functools
import math
from dataclasses import dataclass

import numpy as np

from effband.evidence.law import Distribution, Printer, require, require_order
from effband.evidence.tables import LAST_BELOW_ONE, FloatArray
from effband.evidence.unbounded import StudentT


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
        require_order(self.low, self.high)
        require(
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
