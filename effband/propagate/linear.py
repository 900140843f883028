"""The law of propagation of uncertainty (JCGM 100:2008), through the `uncertainties` package.

The same list of operations runs on values with derivatives. Readings of one instrument enter
as correlated values with the exact covariance of its error curve; every other source is one
independent variable. Effective degrees of freedom follow Welch and Satterthwaite (JCGM 100
G.4.1, from memory).
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from scipy import special
from uncertainties import ufloat, umath
from uncertainties.core import AffineScalarFunc

from effband.case.model import Case, ErrorSource
from effband.case.program import TRANSPARENT, Step
from effband.evidence.instruments import Curve, curve_covariance
from effband.propagate.summary import Interval


@dataclass(frozen=True)
class LinearBand:
    """The first-order answer for one output, in SI units.

    `value` and the others are None, with the reason, where a formula has no derivative.
    `effective_degrees_of_freedom` is infinite where no source has any.
    """

    value: float | None
    standard_uncertainty: float | None
    interval: Interval | None
    effective_degrees_of_freedom: float
    reason: str | None = None


def _corner(a: Any) -> bool:
    """Return whether a value is 0 but would not stay there."""
    return _nominal(a) == 0.0 and isinstance(a, AffineScalarFunc) and any(a.derivatives.values())


def _absolute(a: Any) -> Any:
    if _corner(a):
        raise ValueError("a corner")
    return -a if _nominal(a) < 0.0 else a


def _lesser(a: Any, b: Any) -> Any:
    if _corner(a - b):
        raise ValueError("a corner")
    return b if _nominal(b) < _nominal(a) else a


def _greater(a: Any, b: Any) -> Any:
    return b if _lesser(a, b) is a else a


def _nominal(x: Any) -> float:
    return float(x.nominal_value if isinstance(x, AffineScalarFunc) else x)


FUNCTIONS: dict[str, Callable[..., Any]] = {
    "add": lambda a, b: a + b,
    "subtract": lambda a, b: a - b,
    "multiply": lambda a, b: a * b,
    "divide": lambda a, b: a / b,
    "power": lambda a, b: a**b,
    "negative": lambda a: -a,
    "abs": _absolute,
    "minimum": _lesser,
    "maximum": _greater,
    "sqrt": umath.sqrt,
    "exp": umath.exp,
    "log": umath.log,
    "log10": umath.log10,
    "sin": umath.sin,
    "cos": umath.cos,
    "tan": umath.tan,
    "asin": umath.asin,
    "acos": umath.acos,
    "atan": umath.atan,
    "atan2": umath.atan2,
}


@dataclass(frozen=True)
class _Variable:
    """What an independent-looking variable stands for."""

    source: ErrorSource | None
    curve: Curve | None


class _Failure:
    """A value that has none, and why."""

    def __init__(self, reason: str) -> None:
        self.reason = reason


def propagate_linearly(case: Case, probability: float) -> tuple[LinearBand, ...]:
    """Return the first-order band of every output, in the case's order."""
    runner = _Runner(case)
    return tuple(runner.band(output.step, probability) for output in case.outputs)


class _Runner:
    def __init__(self, case: Case) -> None:
        self.case = case
        self.sources = {source.name: source for source in case.sources}
        self.variables: dict[Any, _Variable] = {}
        self.by_source: dict[str, Any] = {}
        self.values: dict[int, Any] = {}
        for at in case.program.needed_for(output.step for output in case.outputs):
            self.values[at] = self._value(case.program.steps[at])

    def _value(self, step: Step) -> Any:
        if step.op == "constant":
            return step.detail
        if step.op == "source":
            return self._source(self.sources[str(step.detail)])
        if step.op == "curve":
            assert isinstance(step.detail, tuple)
            variable = ufloat(0.0, 1.0)
            self.variables[variable] = _Variable(None, step.detail[0])
            return variable
        inputs = [self.values[i] for i in step.inputs]
        for x in inputs:
            if isinstance(x, _Failure):
                return x
        if step.op in TRANSPARENT:
            return inputs[0]
        owner = step.spot.owner if step.spot is not None else "a formula"
        try:
            value = FUNCTIONS[step.op](*inputs)
        except (ValueError, ArithmeticError, TypeError) as error:
            return _Failure(f"{owner}: {step.op} has no value at the expected inputs ({error})")
        if isinstance(value, complex):
            return _Failure(f"{owner}: {step.op} has no real value at the expected inputs")
        if not _finite(value):
            return _Failure(f"{owner}: {step.op} has no derivative at the expected inputs")
        return value

    def _source(self, source: ErrorSource) -> Any:
        if source.name not in self.by_source:
            law = source.distribution
            # without an expectation the middle stands in: the law of JCGM 100 asks no more
            centre = law.mean if law.mean is not None else source.nominal
            variable = ufloat(centre, 1.0)
            self.variables[variable] = _Variable(source, None)
            self.by_source[source.name] = variable
        return self.by_source[source.name]

    def band(self, step: int, probability: float) -> LinearBand:
        value = self.values[step]
        if isinstance(value, _Failure):
            return LinearBand(None, None, None, math.inf, value.reason)
        if not isinstance(value, AffineScalarFunc):
            number = float(value)
            return LinearBand(number, 0.0, Interval(number, number), math.inf)
        parts = self._variances(value)
        variance = math.fsum(v for v, _ in parts)
        u = math.sqrt(max(variance, 0.0))
        if not math.isfinite(u):
            return LinearBand(None, None, None, math.inf, "a derivative is not finite")
        dof = _effective(parts, variance)
        t = special.stdtrit(dof, (1 + probability) / 2) if math.isfinite(dof) else None
        reach = u * float(special.ndtri((1 + probability) / 2) if t is None else t)
        centre = float(value.nominal_value)
        return LinearBand(centre, u, Interval(centre - reach, centre + reach), dof)

    def _variances(self, value: AffineScalarFunc) -> list[tuple[float, float]]:
        """Return (variance, degrees of freedom) of every independent contribution."""
        found: list[tuple[float, float]] = []
        on_curve: dict[str, list[tuple[float, Curve]]] = defaultdict(list)
        for variable, slope in value.derivatives.items():
            known = self.variables[variable]
            if known.curve is not None:
                on_curve[known.curve.specimen].append((slope, known.curve))
            elif known.source is not None:
                law = known.source.distribution
                found.append(((slope * law.standard_uncertainty) ** 2, law.degrees_of_freedom))
        for readings in on_curve.values():
            total = math.fsum(
                a * b * curve_covariance(one, other) for a, one in readings for b, other in readings
            )
            found.append((max(total, 0.0), math.inf))
        return found


def _effective(parts: list[tuple[float, float]], variance: float) -> float:
    below = math.fsum(v * v / dof for v, dof in parts if math.isfinite(dof))
    if below <= 0.0 or variance <= 0.0:
        return math.inf
    return variance * variance / below


def _finite(value: Any) -> bool:
    if not isinstance(value, AffineScalarFunc):
        return math.isfinite(value)
    slopes = value.derivatives.values()
    return math.isfinite(value.nominal_value) and all(math.isfinite(s) for s in slopes)


def tolerance(u: float, digits: int) -> float:
    """Return the numerical tolerance of JCGM 101 7.9.2: u = c 10**l, half of 10**l."""
    if u <= 0.0 or not math.isfinite(u):
        return 0.0
    exponent = math.floor(math.log10(u)) - digits + 1
    if round(u / 10.0**exponent) >= 10**digits:
        exponent += 1
    return 0.5 * 10.0**exponent


def agreement(
    linear: Interval, simulated: Interval, errors: tuple[float, float], allowed: float
) -> bool | None:
    """Return whether the two laws agree within the tolerance (JCGM 101 8.1), or None: unclear.

    True when both ends differ by less than the tolerance even with two standard errors of the
    simulation added, False when one end differs by more even with two taken off.
    """
    differences = (abs(linear.low - simulated.low), abs(linear.high - simulated.high))
    pairs = list(zip(differences, errors, strict=True))
    if all(d + 2 * se <= allowed for d, se in pairs):
        return True
    if any(d - 2 * se > allowed for d, se in pairs):
        return False
    return None
