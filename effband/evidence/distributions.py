"""All laws that a stated spread stands for, in one place."""

from effband.evidence.bounded import (
    Arcsine,
    CurvilinearTrapezoid,
    Rectangular,
    Trapezoidal,
    Triangular,
    unit_shape,
)
from effband.evidence.law import Distribution, Printer
from effband.evidence.truncated import Truncated
from effband.evidence.unbounded import (
    CountedEvents,
    Exponential,
    Lognormal,
    Normal,
    StudentT,
    TwoPieceNormal,
)

__all__ = [
    "Arcsine",
    "CountedEvents",
    "CurvilinearTrapezoid",
    "Distribution",
    "Exponential",
    "Lognormal",
    "Normal",
    "Printer",
    "Rectangular",
    "StudentT",
    "Trapezoidal",
    "Triangular",
    "Truncated",
    "TwoPieceNormal",
    "unit_shape",
]
