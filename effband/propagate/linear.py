"""The law of propagation of uncertainty (JCGM 100:2008), through the `uncertainties` package.

The same list of operations runs on values with derivatives. Readings of one instrument and
correlated inputs enter as correlated values with their exact covariance; every other source is
one independent variable. Effective degrees of freedom follow Welch and Satterthwaite (JCGM 100
G.4.1, from memory); what is drawn together counts as one contribution there.
"""

from __future__ import annotations

import math
from collections import Counter, defaultdict
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass
from typing import Any

from scipy import special
from uncertainties import ufloat, umath
from uncertainties.core import AffineScalarFunc

from effband.case.model import GROUP_SCATTER, JOINT_SET, Case, ErrorSource
from effband.case.program import TRANSPARENT, Step
from effband.evidence.dependence import Drawn, Marginal, Member, covariance
from effband.evidence.instruments import Curve
from effband.propagate.staircase import Interval


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
    member: Member | None


class _Failure:
    """A value that has none, and why."""

    def __init__(self, reason: str) -> None:
        self.reason = reason


def propagate_linearly(case: Case, probability: float) -> tuple[LinearBand, ...]:
    """Return the first-order band of every output, in the case's order."""
    linear = Linear(case)
    return tuple(linear.band(output.step, probability) for output in case.outputs)


class Linear:
    """The program of a case, run on values with derivatives."""

    def __init__(self, case: Case) -> None:
        self.case = case
        self.set_of = {
            name: item.name
            for item in case.items
            if item.kind in (JOINT_SET, GROUP_SCATTER)
            for name in item.sources
        }
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
        member = step.member
        if member is not None:
            variable = ufloat(_centre(member), 1.0)
            self.variables[variable] = _Variable(None, member)
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
            estimate = source.distribution.estimate
            # without an expectation the middle stands in: the law of JCGM 100 asks no more
            centre = source.nominal if estimate is None else estimate
            variable = ufloat(centre, 1.0)
            self.variables[variable] = _Variable(source, None)
            self.by_source[source.name] = variable
        return self.by_source[source.name]

    def band(self, step: int, probability: float) -> LinearBand:
        """Return the first-order band of one value."""
        value = self.values[step]
        if isinstance(value, _Failure):
            return LinearBand(None, None, None, math.inf, value.reason)
        if not isinstance(value, AffineScalarFunc):
            number = float(value)
            return LinearBand(number, 0.0, Interval(number, number), math.inf)
        try:
            parts = self._variances(value)
            variance = math.fsum(v for v, _ in parts)
        except OverflowError:
            return LinearBand(None, None, None, math.inf, "its square leaves the range of numbers")
        u = math.sqrt(max(variance, 0.0))
        if not math.isfinite(u):
            return LinearBand(None, None, None, math.inf, "a derivative is not finite")
        dof = _effective(parts, variance)
        t = special.stdtrit(dof, (1 + probability) / 2) if math.isfinite(dof) else None
        reach = u * float(special.ndtri((1 + probability) / 2) if t is None else t)
        centre = float(value.nominal_value)
        return LinearBand(centre, u, Interval(centre - reach, centre + reach), dof)

    def _variances(
        self, value: AffineScalarFunc, without: Collection[str] = ()
    ) -> list[tuple[float, float]]:
        """Return (variance, degrees of freedom) of every independent contribution.

        `without` names families of correlated values to leave out.
        """
        found: list[tuple[float, float]] = []
        together: dict[str, list[tuple[float, Member]]] = defaultdict(list)
        in_set: dict[str, list[tuple[float, float]]] = defaultdict(list)
        for variable, slope in value.derivatives.items():
            known = self.variables[variable]
            if slope == 0.0:
                continue
            if known.member is not None:
                if _family(known.member) in without:
                    continue
                together[_family(known.member)].append((slope, known.member))
            elif known.source is not None:
                law = known.source.distribution
                part = ((slope * law.standard_uncertainty) ** 2, law.degrees_of_freedom)
                name = self.set_of.get(known.source.name)
                (found if name is None else in_set[name]).append(part)
        for members in together.values():
            total = math.fsum(
                a * b * covariance(one, other) for a, one in members for b, other in members
            )
            fewest = min(_degrees(member) for _, member in members)
            found.append((max(total, 0.0), fewest))
        for name, parts in in_set.items():
            found.append((math.fsum(variance for variance, _ in parts), self._degrees_of(name)))
        return found

    def _degrees_of(self, item: str) -> float:
        sources = [source for source in self.case.sources if source.item == item]
        return min(source.distribution.degrees_of_freedom for source in sources)

    def scatter(self, steps: Sequence[int]) -> float | None:
        """Return the standard deviation that several values should scatter by, SI.

        The root of the expectation of their sample variance, at first order; what they share
        cancels, and an instrument that reads for more than one of them is taken to err alike.
        None where a value has no derivative.
        """
        values = [self.values[step] for step in steps]
        if any(isinstance(value, _Failure) for value in values):
            return None
        mean = sum(values) / len(values)
        apart = [value - mean for value in values]
        varying = [each for each in apart if isinstance(each, AffineScalarFunc)]
        seen = Counter(family for value in values for family in self._families(value))
        shared = [family for family, times in seen.items() if times > 1]
        parts = [variance for each in varying for variance, _ in self._variances(each, shared)]
        return math.sqrt(math.fsum(parts) / (len(values) - 1))

    def _families(self, value: Any) -> set[str]:
        """Return the families of correlated values that a value is made of."""
        variables = value.derivatives if isinstance(value, AffineScalarFunc) else {}
        members = (self.variables[variable].member for variable in variables)
        return {_family(member) for member in members if member is not None}


def _centre(member: Member) -> float:
    if isinstance(member, Marginal):
        estimate = member.law.estimate
        assert estimate is not None  # a law without an expectation has no correlation
        return estimate
    return float(member.values.mean()) if isinstance(member, Drawn) else 0.0


def _family(member: Member) -> str:
    return member.specimen if isinstance(member, Curve) else member.family


def _degrees(member: Member) -> float:
    return member.law.degrees_of_freedom if isinstance(member, Marginal) else math.inf


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
