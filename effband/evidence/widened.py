"""A law drawn out about a value, for limits that are likely to be too narrow."""

from __future__ import annotations

from dataclasses import dataclass

from effband.evidence.law import Distribution, Printer
from effband.evidence.tables import FloatArray


@dataclass(frozen=True)
class Widened(Distribution):
    """A law whose distances from `centre` are `factor` times as large, all of its shape kept."""

    base: Distribution
    centre: float
    factor: float
    name = "widened"

    def __post_init__(self) -> None:
        """Leave the base to itself, which has checked its own numbers."""

    def words(self, point: Printer, width: Printer) -> str:
        """Describe the base, and how far it is drawn out; see `Distribution.words`."""
        return f"{self.base.words(point, width)}, widened {self.factor:g} times"

    @property
    def degrees_of_freedom(self) -> float:
        """Those of the base."""
        return self.base.degrees_of_freedom

    @property
    def standard_uncertainty(self) -> float:
        """That of the base, drawn out."""
        return self.factor * self.base.standard_uncertainty

    def _out(self, x: float) -> float:
        return self.centre + self.factor * (x - self.centre)

    def _invert(self, x: FloatArray) -> None:
        self.base._invert(x)
        x -= self.centre
        x *= self.factor
        x += self.centre

    def _probability(self, x: float) -> float:
        return self.base.cdf(self.centre + (x - self.centre) / self.factor)

    def _moments(self) -> tuple[float | None, float | None]:
        mean, sd = self.base.mean, self.base.sd
        return (
            None if mean is None else self._out(mean),
            None if sd is None else self.factor * sd,
        )

    def _limits(self) -> tuple[float, float]:
        low, high = self.base.support
        return self._out(low), self._out(high)
