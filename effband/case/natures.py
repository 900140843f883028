"""Dimensions and kinds through every formula: the rules, run over the list of operations.

A kind is what a dimension does not say: gauge or absolute pressure, a point or a difference of
temperature. Gauge pressures may be subtracted, and multiplied or divided by what is no
pressure; they reach a ratio, a logarithm, a power or a function that needs absolute pressure
only through `absolute(p, barometer)`. What has been multiplied keeps a mark, so that no detour
through an energy or a head brings a gauge pressure into a logarithm.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction

from effband.case.findings import Findings
from effband.case.program import Program, Spot, Step
from effband.evidence.instruments import ABSOLUTE, GAUGE, PRESSURE_DIFFERENCE
from effband.physics import AT_ONCE, NOT_COLD, SETTLED, Argument
from effband.problems import Misread
from effband.units import (
    DIFFERENCE,
    DIMENSIONLESS,
    POINT,
    Dimension,
    Unit,
    name_dimension,
    parse_unit,
    same_dimension,
)

PRESSURE = parse_unit("Pa").dimension
TEMPERATURE = parse_unit("K").dimension
ANGLE = parse_unit("rad").dimension
UNSTATED = "pressure of unstated kind"

TO_ABSOLUTE = "write absolute(p, barometer)"
WARMED = (
    "what a cold end pressure would settle to is warm_pressure(p_start, p_cold, gas_index), all "
    "absolute"
)
SAY_KIND = (
    "say `reads: gauge pressure`, `absolute pressure` or `pressure difference` where it is declared"
)


@dataclass(frozen=True)
class Nature:
    """What a value is.

    Attributes
    ----------
    dimension
        Exponents of the base dimensions.
    kind
        One of the kinds above, or None where none matters or it follows from a calculation.
    mark
        `GAUGE`, `UNSTATED` or `PRESSURE_DIFFERENCE` when such a pressure is in the value.
    gas
        For a pressure read from a receiver: ("settled" | "read at once" | "unsaid", its name).
    """

    dimension: Dimension
    kind: str | None = None
    mark: str | None = None
    gas: tuple[str, str] | None = None

    @property
    def blunt(self) -> str | None:
        """The kind that must not pass as absolute, if the value is or holds one."""
        if self.kind in (GAUGE, UNSTATED):
            return self.kind
        return self.mark if self.mark in (GAUGE, UNSTATED) else None

    def words(self) -> str:
        """Return what the value is, for a message."""
        return self.kind or name_dimension(self.dimension)


PLAIN = Nature(DIMENSIONLESS)

# Which of two marks, or two states of the gas, a value made of both carries.
_STRONGER = (GAUGE, UNSTATED, PRESSURE_DIFFERENCE)
_WORSE = ("read at once", "unsaid", "settled")


def _is(nature: Nature, dimension: Dimension) -> bool:
    return same_dimension(nature.dimension, dimension)


def _mark(*natures: Nature) -> str | None:
    found = {n.mark for n in natures} | {n.kind for n in natures}
    return next((mark for mark in _STRONGER if mark in found), None)


def _gas(*natures: Nature) -> tuple[str, str] | None:
    found = [n.gas for n in natures if n.gas is not None]
    return min(found, key=lambda gas: _WORSE.index(gas[0]), default=None)


def check_natures(program: Program, findings: Findings) -> tuple[Nature | None, ...]:
    """Return the nature of every step; problems and warnings go to the findings.

    A step whose inputs have no nature (because they were refused) has none either, so that one
    fault is reported once. Steps beneath a leaf are given plain natures; the leaf's `become`
    sets what counts.
    """
    natures: list[Nature | None] = []
    for step in program.steps:
        inputs = [natures[i] for i in step.inputs]
        known = [nature for nature in inputs if nature is not None]
        if len(known) != len(inputs):
            natures.append(None)
            continue
        try:
            natures.append(_nature(step, known, program, findings))
        except Misread as error:
            if step.spot is not None:
                start, length = step.spot.start, step.spot.length
                findings.error(step.spot.path, error.what, error.remedy, start, length)
            natures.append(None)
    return tuple(natures)


def _nature(step: Step, inputs: list[Nature], program: Program, findings: Findings) -> Nature:
    if step.op in ("constant", "source", "curve", "dependent"):
        return PLAIN
    if step.op == "become":
        return _become(step, inputs)
    if step.op == "expect":
        assert isinstance(step.detail, tuple)
        function, argument = step.detail
        return _expect(function, argument, inputs[0], step.spot, findings)
    if step.spot is None or not step.spot.path:  # inside a leaf, or a group's value
        return PLAIN
    constants = [_number(program, i) for i in step.inputs]
    if step.op in ("add", "subtract", "minimum", "maximum", "atan2"):
        return _alike(step.op, inputs, constants)
    if step.op in ("multiply", "divide"):
        if step.op == "multiply":
            _point_as_factor(inputs, step.spot, findings)
        return _product(step.op, *inputs)
    if step.op in ("power", "sqrt"):
        exponent = 0.5 if step.op == "sqrt" else constants[1]
        return _power(inputs[0], inputs[-1] if step.op == "power" else PLAIN, exponent)
    if step.op in ("negative", "abs"):
        return _product("multiply", inputs[0], PLAIN)
    return _function(step.op, inputs[0])


def _number(program: Program, at: int) -> float | None:
    step = program.steps[at]
    return step.detail if step.op == "constant" and isinstance(step.detail, float) else None


def _become(step: Step, inputs: list[Nature]) -> Nature:
    detail = step.detail
    if isinstance(detail, Argument):
        gas = inputs[1].gas if len(inputs) > 1 else None
        if detail.gas is not None:
            gas = (detail.gas, detail.name)
        return Nature(parse_unit(detail.unit).dimension, detail.kind, inputs[0].mark, gas)
    if detail is None:  # a weighted mean is what its members are
        return inputs[1]
    if isinstance(detail, Nature):
        return detail
    assert isinstance(detail, tuple)
    return Nature(*detail)


# -- arguments of physics functions --------------------------------------------------------------


def _expect(
    function: str, argument: Argument, given: Nature, spot: Spot | None, findings: Findings
) -> Nature:
    needed = parse_unit(argument.unit).dimension
    place = f"{function}: {argument.name} ({argument.meaning})"
    turning = needed != given.dimension and needed[6] != 0
    if turning or not same_dimension(needed, given.dimension):
        what = (
            f"{place} must be {name_dimension(needed)}; this is {name_dimension(given.dimension)}"
        )
        remedy = "check the formula and the units of what it uses"
        if needed == ANGLE:
            remedy = "write the angle with its unit, such as 90 deg"
        elif turning:
            remedy = "give a turning speed in rpm, rev/s or rad/s, and counted turns in rev"
        raise Misread(0, 1, what, remedy)
    what = f"{place} must be {_a(argument.kind)}; this is {_a(given.kind)}"
    if argument.kind is not None and given.kind == UNSTATED:
        raise Misread(0, 1, what, SAY_KIND)
    if argument.kind == ABSOLUTE and (given.kind or given.mark) != ABSOLUTE and _mark(given):
        remedy = TO_ABSOLUTE if given.gas is None else f"write absolute({given.gas[1]}, barometer)"
        if argument.name == "barometer":
            remedy = "name the barometer, which reads an absolute pressure"
        raise Misread(0, 1, what.replace(_a(None), _a(_mark(given))), remedy)
    if argument.kind == ABSOLUTE and given.blunt:
        what = f"{place} must be {_a(ABSOLUTE)}; this holds {_a(given.blunt)}"
        raise Misread(0, 1, what, SAY_KIND if given.blunt == UNSTATED else TO_ABSOLUTE)
    if argument.kind in (GAUGE, PRESSURE_DIFFERENCE) and given.kind == ABSOLUTE:
        raise Misread(0, 1, what, "subtract the barometer, or leave the function out")
    if argument.kind == PRESSURE_DIFFERENCE and given.kind == GAUGE:
        remedy = "subtract two readings; a gauge between two points reads a pressure difference"
        raise Misread(0, 1, what, remedy)
    if argument.kind == POINT and given.kind == DIFFERENCE:
        raise Misread(0, 1, what, "give a temperature in degC, degF or K")
    if argument.kind == DIFFERENCE and given.kind == POINT:
        raise Misread(0, 1, what, "subtract two temperatures, or write K")
    if given.gas is not None and spot is not None:
        _gas_state(function, argument.gas, given.gas, spot, findings)
    # inside the function the kind has done its work; what a value holds goes on
    return Nature(given.dimension, None, given.mark, given.gas)


def _a(kind: str | None) -> str:
    if kind is None:
        return "a value of no stated kind"
    return f"an {kind}" if kind[0] in "aeiou" else f"a {kind}"


def _gas_state(
    function: str, needed: str | None, gas: tuple[str, str], spot: Spot, findings: Findings
) -> None:
    """Say where a pressure was read in another state of the gas than the function needs."""
    state, name = gas
    if needed is None or state == needed or (needed == NOT_COLD and state != AT_ONCE):
        return
    if state == "unsaid":
        if name in findings.doubted:
            return
        findings.doubted.add(name)
        what = f"{function} uses {name}, which does not say whether the tank had settled"
        remedy = f"say `gas: {SETTLED}` or `gas: {AT_ONCE}` on {name}; {WARMED}"
        if needed == AT_ONCE:
            remedy = f"say `gas: {AT_ONCE}` on {name}, if it was read before the tank warmed"
        findings.warn(spot.path, what, remedy)
    elif needed != AT_ONCE:
        what = f"{function} needs a settled pressure, and {name} was read at once"
        findings.error(spot.path, what, f"read it again at rest; {WARMED}", spot.start, spot.length)
    else:
        what = f"{function} needs a pressure read at once, and {name} had settled"
        remedy = "give the pressure at the stop, read before the tank has warmed"
        findings.error(spot.path, what, remedy, spot.start, spot.length)


# -- arithmetic ------------------------------------------------------------------------------------


def _alike(op: str, inputs: list[Nature], constants: list[float | None]) -> Nature:
    left, right = inputs
    if constants[0] == 0.0 and op != "atan2":  # a plain 0 fits everywhere
        return right
    if constants[1] == 0.0 and op != "atan2":
        return left
    if not _is(left, right.dimension):
        verb = {"add": "add", "subtract": "subtract"}.get(op, "compare")
        what = f"cannot {verb} {left.words()} and {right.words()}"
        raise Misread(0, 1, what, "check the formula; both sides need one dimension")
    if op == "atan2":
        _refuse_ratio(left, right)
        return Nature(ANGLE, None, _mark(left, right))
    dimension = min(left.dimension, right.dimension)
    kind = None
    if _is(left, PRESSURE):
        kind = _pressures(op, left, right)
    elif _is(left, TEMPERATURE):
        kind = _temperatures(op, left, right)
    held = (left.mark, right.mark)
    mark = next((mark for mark in _STRONGER if mark in held), None)
    return Nature(dimension, kind, mark, _gas(left, right))


def _pressures(op: str, left: Nature, right: Nature) -> str | None:
    kinds = {left.kind or PRESSURE_DIFFERENCE, right.kind or PRESSURE_DIFFERENCE}
    if left.kind is None and right.kind is None:
        return None
    if UNSTATED in kinds and kinds & {GAUGE, ABSOLUTE}:
        raise Misread(0, 1, f"this joins {_a(left.kind)} and {_a(right.kind)}", SAY_KIND)
    if kinds == {GAUGE, ABSOLUTE}:
        raise Misread(0, 1, "this joins a gauge and an absolute pressure", TO_ABSOLUTE)
    differ = None not in (left.kind, right.kind) and left.kind != right.kind
    if op in ("minimum", "maximum") and differ:
        what = f"this compares {_a(left.kind)} and {_a(right.kind)}"
        raise Misread(0, 1, what, "give both the same kind")
    if op == "subtract":
        if left.kind == right.kind:
            return PRESSURE_DIFFERENCE
        if right.kind in (None, PRESSURE_DIFFERENCE):
            return left.kind
        what = f"{_a(right.kind)} is taken from {_a(left.kind)}"
        raise Misread(0, 1, what, "change the order")
    if op == "add" and left.kind == right.kind and left.kind in (GAUGE, UNSTATED):
        remedy = "for a mean write a + (b - a)/2"
        raise Misread(0, 1, f"the sum of two values, each {_a(left.kind)}, means nothing", remedy)
    return (kinds - {PRESSURE_DIFFERENCE} or {PRESSURE_DIFFERENCE}).pop()


def _temperatures(op: str, left: Nature, right: Nature) -> str | None:
    kinds = (left.kind, right.kind)
    if op == "add":
        if kinds == (POINT, POINT):
            remedy = "for a mean write a + (b - a)/2"
            raise Misread(0, 1, "the sum of two temperatures means nothing", remedy)
        return POINT if POINT in kinds else (DIFFERENCE if DIFFERENCE in kinds else None)
    if op == "subtract":
        if kinds == (DIFFERENCE, POINT):
            what = "a temperature is subtracted from a difference of temperature"
            raise Misread(0, 1, what, "change the order")
        if kinds == (POINT, DIFFERENCE):
            return POINT
        return DIFFERENCE if kinds in ((POINT, POINT), (DIFFERENCE, DIFFERENCE)) else None
    if set(kinds) == {POINT, DIFFERENCE}:
        what = "a temperature and a difference of temperature are compared"
        raise Misread(0, 1, what, "give both the same kind")
    return left.kind or right.kind


def _point_as_factor(inputs: list[Nature], spot: Spot, findings: Findings) -> None:
    """Warn of a temperature in degC that is multiplied by something per kelvin."""
    for given, other in (inputs, inputs[::-1]):
        if given.kind == POINT and other.dimension[4] < 0:
            what = "a temperature is multiplied, so it counts from absolute zero"
            remedy = "right in a gas law; a difference is declared in K or delta_degC"
            findings.warn(spot.path, what, remedy)


def _product(op: str, left: Nature, right: Nature) -> Nature:
    sign = 1 if op == "multiply" else -1
    dimension = tuple(a + sign * b for a, b in zip(left.dimension, right.dimension, strict=True))
    if _is(left, PRESSURE) and _is(right, PRESSURE):
        _refuse_ratio(left, right)
    kind = None
    if _is(right, DIMENSIONLESS) and left.kind != POINT:
        kind = left.kind
    elif sign > 0 and _is(left, DIMENSIONLESS) and right.kind != POINT:
        kind = right.kind
    mark = _mark(left, right)
    if kind is None and same_dimension(dimension, PRESSURE):
        kind = mark  # a detour has come back to a pressure
    held = (left.mark, right.mark) if kind is not None else (mark,)
    mark = next((m for m in _STRONGER if m in held), None)
    return Nature(dimension, kind, mark, _gas(left, right))


def _refuse_ratio(left: Nature, right: Nature) -> None:
    for nature in (left, right):
        if nature.blunt == UNSTATED:
            raise Misread(0, 1, f"a ratio or product takes {_a(nature.blunt)}", SAY_KIND)
        if nature.blunt == GAUGE:
            what = "a ratio or product of pressures takes a gauge pressure"
            raise Misread(0, 1, what, TO_ABSOLUTE)


def _power(base: Nature, exponent: Nature, number: float | None) -> Nature:
    if any(exponent.dimension):
        what = f"an exponent must be a number without unit; this is {exponent.words()}"
        raise Misread(0, 1, what, "divide it by something of its own unit")
    _refuse_blunt(base, "a power", always=_is(base, PRESSURE))
    _refuse_blunt(exponent, "an exponent", always=False)
    if not any(base.dimension):
        return replace(PLAIN, mark=base.mark)
    if number is None:
        what = f"{base.words()} is raised to a power that is not a plain number"
        raise Misread(0, 1, what, "make the base a ratio, without unit")
    size = Fraction(number).limit_denominator(60)
    if abs(float(size) - number) > 1e-12:
        what = f"{base.words()} is raised to {number:g}, which is no simple fraction"
        raise Misread(0, 1, what, "make the base a ratio, without unit")
    dimension = tuple(e * size for e in base.dimension)
    back = same_dimension(dimension, PRESSURE)
    return Nature(dimension, _mark(base) if back else None, _mark(base), base.gas)


def _function(op: str, given: Nature) -> Nature:
    if op in ("sin", "cos", "tan"):
        if any(given.dimension) and given.dimension != ANGLE:
            raise Misread(0, 1, f"{op} needs an angle; this is {given.words()}", "write deg or rad")
    elif op not in ("exp", "log", "log10", "asin", "acos", "atan"):
        raise AssertionError(f"no rule for {op}")
    elif not _is(given, DIMENSIONLESS):
        what = f"{op} needs a number without unit; this is {given.words()}"
        raise Misread(0, 1, what, "divide it by something of its own unit")
    _refuse_blunt(given, {"log": "a logarithm", "log10": "a logarithm"}.get(op, op), always=False)
    return Nature(ANGLE if op in ("asin", "acos", "atan") else DIMENSIONLESS, None, given.mark)


def _refuse_blunt(given: Nature, by: str, always: bool) -> None:
    if given.blunt and (always or same_dimension(given.dimension, DIMENSIONLESS)):
        remedy = SAY_KIND if given.blunt == UNSTATED else TO_ABSOLUTE
        raise Misread(0, 1, f"{by} takes {_a(given.blunt)}", remedy)


# -- results ---------------------------------------------------------------------------------------


def fits_unit(given: Nature, unit: Unit) -> Misread | None:
    """Return why a value cannot be given in a unit, or None when it can."""
    if not same_dimension(given.dimension, unit.dimension):
        what = f"the formula gives {given.words()}, which is not {unit.text}"
        remedy = "change the unit or the formula"
        if given.dimension[7] != unit.dimension[7]:
            remedy = "Hz is no rotational speed: give it in rpm, rev/s or rad/s"
        return Misread(0, 1, what, remedy)
    if unit.dimension[6] and not given.dimension[6]:
        what = f"the formula gives {given.words()}, which is no turning"
        remedy = "counted turns are in rev; a power over a torque takes a constant of 1 rad"
        return Misread(0, 1, what, remedy)
    if unit.kind == POINT and given.kind == DIFFERENCE:
        what = f"a difference of temperature is not {unit.text}"
        return Misread(0, 1, what, f"write K or delta_{unit.text}")
    if unit.kind == DIFFERENCE and given.kind == POINT:
        what = f"a temperature is not {unit.text}"
        return Misread(0, 1, what, "write degC, degF or K")
    return None
