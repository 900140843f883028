"""The laws that a stated spread stands for, as quantile functions.

Every law maps a probability to a value, so that one uniform number per trial and source is all
that a simulation draws. Each element of the answer depends on its own probability alone, bit for
bit, whatever the length, offset or stride of the array.

Clauses of JCGM 101:2008 and JCGM 100:2008 are quoted from memory. A law without a clause is not in
the standard. Values are plain numbers in whatever unit the caller keeps; a width (`sd`, `scale`,
`inexact`) is in the unit of the value. Every law refuses, by ValueError, numbers that are not
finite or not in the order and range that its description states.
"""

from __future__ import annotations

import abc
import math
from collections.abc import Callable
from typing import ClassVar

import numpy as np

from effband.evidence.tables import FloatArray

Printer = Callable[[float], str]

# Scratch of this many numbers stays in the cache and below the size that is mapped afresh.
_BLOCK = 16_000
_SPOKEN = {"centre": "mean", "spread": "standard deviation", "dof": "degrees of freedom"}


def require(holds: bool, message: str) -> None:
    """Refuse, by ValueError with a message, what does not hold."""
    if not holds:
        raise ValueError(message)


def require_order(low: float, high: float) -> None:
    """Refuse limits that are not in rising order."""
    require(low < high, f"low must be below high, not {low:g} and {high:g}")


class Distribution(abc.ABC):
    """A law of probability for one number, given by its quantile function."""

    name: ClassVar[str]
    # at[x] prints a value, by[x] a width, x:g a bare number.
    _phrase: ClassVar[str]
    _positive: ClassVar[tuple[str, ...]] = ()

    def __post_init__(self) -> None:
        for field, number in vars(self).items():
            word = _SPOKEN.get(field, field)
            require(math.isfinite(number), f"{word} must be a finite number, not {number}")
            if field in self._positive:
                require(number > 0.0, f"{word} must be above 0, not {number:g}")

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
    def estimate(self) -> float | None:
        """What JCGM 100 takes as the value, in its unit: the expectation where there is one."""
        return self.mean

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
