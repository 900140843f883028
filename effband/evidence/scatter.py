"""How far the scatter of a few repeats may be from the true scatter."""

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
    many_events,
    normal_score_table,
)

_CELLS_PER_SD = 512
# From here on Stirling's series gives the moments without a difference of large numbers.
_MANY = 60.0


@functools.lru_cache(maxsize=64)
def scatter_table(dof: float) -> Table:
    """Return the logarithm of the factor, over the normal deviate."""
    shape = 0.5 * dof

    def value(z: FloatArray) -> FloatArray:
        # Half a chi-square has the gamma law; a small one means a large factor.
        if shape >= MANY_EVENTS:
            half = many_events(shape, -z)
        else:
            tail = special.ndtr(-np.abs(z))
            upper, lower = special.gammainccinv(shape, tail), special.gammaincinv(shape, tail)
            half = np.where(z < 0.0, upper, lower).astype(np.float64)
        return -0.5 * np.log(half / shape)

    return normal_score_table(value, _CELLS_PER_SD)


@dataclass(frozen=True)
class ScatterFactor(Distribution):
    """True over observed standard deviation of normal repeats: sqrt(dof / chi-square).

    A standard normal number times this factor has Student's t law with `dof` >= 1, which need
    not be whole; so one factor serves all results of one group of repeats.
    """

    dof: float
    name = "factor between the scatter seen and the true one"
    _phrase = "{dof:g} degrees of freedom"

    def __post_init__(self) -> None:
        super().__post_init__()
        require(self.dof >= 1.0, f"degrees of freedom must be at least 1, not {self.dof:g}")

    def words(self, point: Printer, width: Printer) -> str:
        """Describe the law in plain words; see `Distribution.words`."""
        return super().words(point, width).replace(", 1 degrees of", ", 1 degree of")

    @property
    def estimate(self) -> float:
        """What JCGM 100 takes at first order: the scatter seen is the true one."""
        return 1.0

    @property
    def standard_uncertainty(self) -> float:
        """First-order sd, 1 / sqrt(2 dof) (JCGM 100 E.4.3, from memory): finite for every dof."""
        return math.sqrt(0.5 / self.dof)

    @property
    def degrees_of_freedom(self) -> float:
        """Degrees of freedom of the scatter seen."""
        return self.dof

    @functools.cached_property
    def _table(self) -> Table:
        return scatter_table(float(self.dof))

    def _invert(self, x: FloatArray) -> None:
        self._table.replace(special.ndtri(x, out=x))
        np.exp(x, out=x)

    def _probability(self, x: float) -> float:
        # Divided twice, as the square of a small x would vanish.
        return float(special.gammaincc(0.5 * self.dof, 0.5 * self.dof / x / x))

    def _moments(self) -> tuple[float | None, float | None]:
        if self.dof <= 1.0:
            return None, None
        log_mean = self._log_mean()
        mean = math.exp(log_mean)
        if self.dof <= 2.0:
            return mean, None
        # The mean square is dof / (dof - 2).
        return mean, mean * math.sqrt(math.expm1(-math.log1p(-2.0 / self.dof) - 2.0 * log_mean))

    def _log_mean(self) -> float:
        """Logarithm of sqrt(a) gamma(a - 1/2) / gamma(a) with a = dof / 2."""
        z = 0.5 * (self.dof - 1.0)
        if self.dof < _MANY:
            return 0.5 * math.log(0.5 * self.dof / math.pi) + math.log(float(special.beta(0.5, z)))
        series = 1 / (8 * z) - 1 / (192 * z**3) + 1 / (640 * z**5) - 17 / (14336 * z**7)
        return series - 0.5 * math.log1p(-1.0 / self.dof)

    def _limits(self) -> tuple[float, float]:
        return 0.0, math.inf
