"""Dimensions and kinds: which formulas are fine, and what is said of the others, and where.

Each line of a table is a formula over the inputs below, the unit of its result, and either the
value it must have or the message it must give with the characters that it marks.
"""

from __future__ import annotations

import math

import pytest
from small_case import Complaint, complaints, understood, values, warnings

from effband.case.natures import SAY_KIND, TO_ABSOLUTE

CASE = """\
effband: 1
title: natures
inputs:
  p: {value: 9 bar, plus_minus: 0.1 bar, reads: gauge pressure, gas: settled}
  p2: {value: 3 bar, plus_minus: 0.1 bar, reads: gauge pressure, gas: settled}
  tare: {value: 0.1 bar, plus_minus: 0.01 bar, reads: gauge pressure, gas: settled}
  hot: {value: 2.5 bar, plus_minus: 0.1 bar, reads: gauge pressure, gas: read at once}
  hot_absolute: {value: 3.5 bar, plus_minus: 0.1 bar, reads: absolute pressure, gas: read at once}
  unsaid: {value: 3 bar, plus_minus: 0.1 bar, reads: gauge pressure}
  b: {value: 1 bar, plus_minus: 0.01 bar, reads: absolute pressure, gas: settled}
  drop: {value: 0.5 bar, plus_minus: 0.01 bar, reads: pressure difference}
  u: {value: 4 bar, plus_minus: 0.1 bar}
  u2: {value: 2 bar, plus_minus: 0.1 bar}
  V: {value: 0.1 m^3, plus_minus: 0.001 m^3}
  E: {value: 50 kJ, plus_minus: 1 kJ}
  t: {value: 10 s, plus_minus: 1 s}
  n: {value: 1.25, plus_minus: 0.01}
  w: {value: 600 rpm, plus_minus: 1 rpm}
  turns: {value: 100 rev, plus_minus: 1 rev}
  count: {value: 100, plus_minus: 1}
  f: {value: 50 Hz, plus_minus: 0.1 Hz}
  angle: {value: 90 deg, plus_minus: 1 deg}
  unit_angle: {value: 1 rad, plus_minus: 0.01 rad}
  torque: {value: 20 N*m, plus_minus: 0.1 N*m}
  J: {value: 0.02 kg*m^2, plus_minus: 0.001 kg*m^2}
  rho: {value: 1000 kg/m^3, plus_minus: 1 kg/m^3}
  Q: {value: 2 L/s, plus_minus: 0.1 L/s}
  push: {value: 100 N, plus_minus: 1 N}
  A: {value: 0.001 m^2, plus_minus: 0.00001 m^2}
  T1: {value: 20 degC, plus_minus: 1 K}
  T2: {value: 80 degC, plus_minus: 1 K}
  TK: {value: 300 K, plus_minus: 1 K}
  dT: {value: 10 delta_degC, plus_minus: 1 K}
  m: {value: 5 kg, plus_minus: 0.1 kg}
  c: {value: 4.18 kJ/(kg*K), plus_minus: 0.01 kJ/(kg*K)}
  volts: {value: 12 V, plus_minus: 0.1 V}
  amps: {value: 5 A, plus_minus: 0.1 A}
results:
  r: {formula: "FORMULA", unit: "UNIT", is: quantity}
"""


def case_of(formula: str, unit: str) -> str:
    return CASE.replace("FORMULA", formula).replace("UNIT", unit)


def said(formula: str, unit: str) -> Complaint:
    found = complaints(case_of(formula, unit))
    assert len(found) == 1, found
    return found[0]


# -- fine, and worth this ---------------------------------------------------------------------

X9 = 0.1 * (10e5 * math.log(10) - 10e5 + 1e5)  # exergy of 0.1 m^3 at 10 bar abs against 1 bar

FINE = [
    # gauge pressures: differences, head, hydraulic power, energy
    ("p - p2", "bar", 6.0),
    ("p - tare", "bar", 8.9),
    ("p + drop", "bar", 9.5),
    ("drop + p", "bar", 9.5),
    ("p - drop", "bar", 8.5),
    ("p + (p2 - p)/2", "bar", 6.0),
    ("min(p, p2)", "bar", 3.0),
    ("abs(p2 - p)", "bar", 6.0),
    ("2 * p", "bar", 18.0),
    ("p / 2", "bar", 4.5),
    ("-p", "bar", -9.0),
    ("p / (rho * standard_gravity)", "m", 9e5 / 9806.65),
    ("p * Q", "W", 1800.0),
    ("p * Q / (torque * w)", "%", 100 * 1800 / (20 * 20 * math.pi)),
    ("p * V - p2 * V", "kJ", 60.0),
    ("(p * V) / (p2 * V)", "1", 3.0),  # a ratio of two hydraulic energies is a fair efficiency
    ("p * A", "N", 900.0),
    ("push / A", "kPa", 100.0),
    ("p + push / A", "bar", 10.0),
    # absolute pressures
    ("absolute(p, b)", "bar", 10.0),
    ("absolute(p - tare, b)", "bar", 9.9),
    ("absolute(p, b) - b", "bar", 9.0),
    ("b + drop", "bar", 1.5),
    ("absolute(p, b) / absolute(p2, b)", "1", 2.5),
    ("log(absolute(p, b) / b)", "1", math.log(10)),
    ("(absolute(p, b) / b) ** 0.25", "1", 10**0.25),
    ("(absolute(p, b) / b) ** (1 - 1 / n)", "1", 10**0.2),
    ("sqrt(2 * drop / rho)", "m/s", 10.0),
    ("receiver_exergy(absolute(p, b), V, b)", "J", X9),
    ("warm_pressure(absolute(p, b), absolute(hot, b), n)", "bar", 3.5 * (10 / 3.5) ** 0.2),
    ("max(b, 0.5 * b)", "bar", 1.0),
    ("p - 0", "bar", 9.0),
    ("max(0, p - p2)", "bar", 6.0),
    # unstated kinds where the kind does not matter
    ("u - u2", "bar", 2.0),
    ("u * Q", "W", 800.0),
    ("u / (rho * standard_gravity)", "m", 4e5 / 9806.65),
    # temperatures
    ("T2 - T1", "K", 60.0),
    ("T2 - T1", "delta_degF", 108.0),
    ("m * c * (T2 - T1)", "kJ", 5 * 4.18 * 60),
    ("T1 / T2", "1", 293.15 / 353.15),
    ("1 - T1 / T2", "%", 100 * (1 - 293.15 / 353.15)),
    ("T2 / (T2 - T1)", "1", 353.15 / 60),
    ("T1 + dT", "degC", 30.0),
    ("T1 - dT", "degC", 10.0),
    ("dT + dT", "delta_degC", 20.0),
    ("T1 + (T2 - T1)/2", "degC", 50.0),
    ("T1", "degF", 68.0),
    ("max(T1, T2)", "degC", 80.0),
    ("TK", "degC", 26.85),
    ("log(T2 / T1)", "1", math.log(353.15 / 293.15)),
    ("(T2 / T1) ** 3.5", "1", (353.15 / 293.15) ** 3.5),
    # turning, repeating, angles
    ("torque * w", "W", 20 * 20 * math.pi),
    ("torque * w * t", "kJ", 0.2 * 20 * math.pi),
    ("torque * turns", "J", 20 * 200 * math.pi),
    ("turns / t", "rpm", 600.0),
    ("turns / t", "rev/s", 10.0),
    ("kinetic_energy(J, w)", "J", 0.01 * (20 * math.pi) ** 2),
    ("kinetic_energy(J, turns / t)", "J", 0.01 * (20 * math.pi) ** 2),
    ("w * t", "rev", 100.0),
    ("count / t", "1/s", 10.0),
    ("f * t", "cycle", 500.0),
    ("sin(angle)", "1", 1.0),
    ("cos(pi / 3)", "1", 0.5),
    ("atan2(volts, 2 * volts)", "deg", math.degrees(math.atan2(1, 2))),
    ("asin(0.5 * count / 100)", "deg", 30.0),
    ("torque * w / (volts * amps)", "%", 100 * 20 * 20 * math.pi / 60),
    ("torque * w + volts * amps", "W", 20 * 20 * math.pi + 60),
    ("exp(torque * w / (volts * amps) / 100)", "1", math.exp(20 * 20 * math.pi / 60 / 100)),
    # powers
    ("V ** 2", "m^6", 0.01),
    ("V ** (1 / 3)", "m", 0.1 ** (1 / 3)),
    ("sqrt(E / m)", "m/s", 100.0),
    ("n ** n", "1", 1.25**1.25),
    ("2 ** n", "1", 2**1.25),
    ("E ** -1", "1/J", 1 / 50e3),
    # results in other units
    ("E", "kWh", 50e3 / 3.6e6),
    ("volts * amps", "hp", 60 / 745.69987158227),
    ("n", "%", 125.0),
    ("gas_constant * TK", "J/mol", 8.31446261815324 * 300),
]


@pytest.mark.parametrize(
    ("formula", "unit", "value"), FINE, ids=[f"{row[0]}-{row[1]}" for row in FINE]
)
def test_fine(formula: str, unit: str, value: float) -> None:
    found = values(understood(case_of(formula, unit)))[("r", None)]
    assert found == pytest.approx(value, rel=1e-12)


# -- refused, with the message and its place --------------------------------------------------

RATIO = "a ratio or product of pressures takes a gauge pressure"
UNSTATED_RATIO = "a ratio or product takes a pressure of unstated kind"
JOINED = "this joins a gauge and an absolute pressure"
GAUGE_SUM = "the sum of two values, each a gauge pressure, means nothing"
MEAN = "for a mean write a + (b - a)/2"
ONE_DIMENSION = "check the formula; both sides need one dimension"
NO_TURNS = "Hz is no rotational speed: give it in rpm, rev/s or rad/s"
OWN_UNIT = "divide it by something of its own unit"
CHANGE = "change the unit or the formula"
EXERGY_P = "receiver_exergy: p (receiver pressure) must be an absolute pressure; this is a "
TURNING = "give a turning speed in rpm, rev/s or rad/s, and counted turns in rev"
SPEED = (
    "kinetic_energy: speed (rotational speed, in rpm, rev/s or rad/s) "
    "must be rotational speed (rad/s); this is "
)

REFUSED = [
    # gauge pressure where only an absolute one makes sense
    ("p / p2", "1", "/", RATIO, TO_ABSOLUTE),
    ("log(p / p2)", "1", "/", RATIO, TO_ABSOLUTE),
    ("p / b", "1", "/", RATIO, TO_ABSOLUTE),
    ("b / p", "1", "/", RATIO, TO_ABSOLUTE),
    ("p * p2", "Pa^2", "*", RATIO, TO_ABSOLUTE),
    ("p ** 2", "Pa^2", "**", RATIO, TO_ABSOLUTE),
    ("p ** 0.25", "1", "**", "a power takes a gauge pressure", TO_ABSOLUTE),
    ("sqrt(p)", "1", "sqrt", "a power takes a gauge pressure", TO_ABSOLUTE),
    ("p + b", "bar", "+", JOINED, TO_ABSOLUTE),
    ("p - b", "bar", "-", JOINED, TO_ABSOLUTE),
    ("max(p, b)", "bar", "max", JOINED, TO_ABSOLUTE),
    ("p + p2", "bar", "+", GAUGE_SUM, MEAN),
    ("receiver_exergy(p, V, b)", "J", "p", EXERGY_P + "gauge pressure", TO_ABSOLUTE),
    ("receiver_exergy(p - p2, V, b)", "J", "-", EXERGY_P + "pressure difference", TO_ABSOLUTE),
    (
        "receiver_exergy(absolute(p, b), V, tare)",
        "J",
        "tare",
        "receiver_exergy: barometer (pressure of the room's air) must be an absolute pressure; "
        "this is a gauge pressure",
        "name the barometer, which reads an absolute pressure",
    ),
    (
        "absolute(absolute(p, b), b)",
        "bar",
        "absolute",
        "absolute: p (gauge reading) must be a gauge pressure; this is an absolute pressure",
        "subtract the barometer, or leave the function out",
    ),
    (
        "absolute(b, b)",
        "bar",
        "b",
        "absolute: p (gauge reading) must be a gauge pressure; this is an absolute pressure",
        "subtract the barometer, or leave the function out",
    ),
    # unstated kinds where the kind matters
    ("u / u2", "1", "/", UNSTATED_RATIO, SAY_KIND),
    ("u / b", "1", "/", UNSTATED_RATIO, SAY_KIND),
    ("u ** 0.25", "1", "**", "a power takes a pressure of unstated kind", SAY_KIND),
    (
        "u + u2",
        "bar",
        "+",
        "the sum of two values, each a pressure of unstated kind, means nothing",
        MEAN,
    ),
    (
        "u - b",
        "bar",
        "-",
        "this joins a pressure of unstated kind and an absolute pressure",
        SAY_KIND,
    ),
    (
        "p - u",
        "bar",
        "-",
        "this joins a gauge pressure and a pressure of unstated kind",
        SAY_KIND,
    ),
    (
        "absolute(u, b)",
        "bar",
        "u",
        "absolute: p (gauge reading) must be a gauge pressure; this is a pressure of unstated kind",
        SAY_KIND,
    ),
    (
        "receiver_exergy(u, V, b)",
        "J",
        "u",
        EXERGY_P + "pressure of unstated kind",
        SAY_KIND,
    ),
    # temperatures
    ("T1 + T2", "degC", "+", "the sum of two temperatures means nothing", MEAN),
    (
        "dT - T1",
        "K",
        "-",
        "a temperature is subtracted from a difference of temperature",
        "change the order",
    ),
    (
        "max(T1, dT)",
        "K",
        "max",
        "a temperature and a difference of temperature are compared",
        "give both the same kind",
    ),
    (
        "T2 - T1",
        "degC",
        "degC",
        "a difference of temperature is not degC",
        "write K or delta_degC",
    ),
    (
        "T2 - T1",
        "degF",
        "degF",
        "a difference of temperature is not degF",
        "write K or delta_degF",
    ),
    ("T1", "delta_degC", "delta_degC", "a temperature is not delta_degC", "write degC, degF or K"),
    ("exp(T1)", "1", "exp", "exp needs a number without unit; this is temperature", OWN_UNIT),
    # turning and repeating
    ("kinetic_energy(J, f)", "J", "f", SPEED + "frequency (Hz)", TURNING),
    ("kinetic_energy(J, count / t)", "J", "/", SPEED + "1/s", TURNING),
    (
        "w - f",
        "rpm",
        "-",
        "cannot subtract rotational speed (rad/s) and frequency (Hz)",
        ONE_DIMENSION,
    ),
    ("f", "rpm", "rpm", "the formula gives frequency (Hz), which is not rpm", NO_TURNS),
    ("w", "Hz", "Hz", "the formula gives rotational speed (rad/s), which is not Hz", NO_TURNS),
    ("count / t", "Hz", "Hz", "the formula gives 1/s, which is not Hz", NO_TURNS),
    ("sin(t)", "1", "sin", "sin needs an angle; this is time (s)", "write deg or rad"),
    (
        "torque * f",
        "W",
        "W",
        "the formula gives kg*m^2*cycle/s^3, which is not W",
        NO_TURNS,
    ),
    # dimensions that clash
    ("volts + amps", "V", "+", "cannot add voltage (V) and current (A)", ONE_DIMENSION),
    ("max(volts, amps)", "V", "max", "cannot compare voltage (V) and current (A)", ONE_DIMENSION),
    ("E + 1", "J", "+", "cannot add energy (J) and a number without unit", ONE_DIMENSION),
    (
        "p - 1",
        "bar",
        "-",
        "cannot subtract gauge pressure and a number without unit",
        ONE_DIMENSION,
    ),
    ("log(E)", "1", "log", "log needs a number without unit; this is energy (J)", OWN_UNIT),
    (
        "atan2(volts, amps)",
        "1",
        "atan2",
        "cannot compare voltage (V) and current (A)",
        ONE_DIMENSION,
    ),
    (
        "V ** n",
        "1",
        "**",
        "volume (m^3) is raised to a power that is not a plain number",
        "make the base a ratio, without unit",
    ),
    (
        "n ** t",
        "1",
        "**",
        "an exponent must be a number without unit; this is time (s)",
        OWN_UNIT,
    ),
    (
        "receiver_exergy(absolute(p, b), E, b)",
        "J",
        "E",
        "receiver_exergy: volume (receiver and pipes) must be volume (m^3); this is energy (J)",
        "check the formula and the units of what it uses",
    ),
    # results in a unit that is not theirs
    ("volts * amps", "J", "J", "the formula gives power (W), which is not J", CHANGE),
    ("E", "kW", "kW", "the formula gives energy (J), which is not kW", CHANGE),
    ("p", "%", "%", "the formula gives gauge pressure, which is not %", CHANGE),
    ("n", "bar", "bar", "the formula gives a number without unit, which is not bar", CHANGE),
]


@pytest.mark.parametrize(
    ("formula", "unit", "marked", "what", "remedy"),
    REFUSED,
    ids=[f"{row[0]}-{row[1]}" for row in REFUSED],
)
def test_refused(formula: str, unit: str, marked: str, what: str, remedy: str) -> None:
    found = said(formula, unit)
    assert found.what.startswith(what)
    assert found.remedy == remedy
    assert found.marked == marked


def test_the_place_is_in_the_formula() -> None:
    text = case_of("V * 1 - (volts * amps) * t - p / p2 * V", "J")
    (found,) = [each for each in complaints(text) if each.what == RATIO]
    assert text.split("\n")[found.line - 1].startswith("  r: {formula")
    assert found.marked == "/"


def test_what_follows_from_a_refused_part_is_not_reported() -> None:
    assert said("(p / p2 + volts) * 2 - amps", "kg").what == RATIO


# -- detours ----------------------------------------------------------------------------------

DETOURS = [
    # through an energy, a head, a force, a power
    "log((p * V) / (p2 * V))",
    "log10((p * V) / (p2 * V))",
    "exp((p * V) / (p2 * V))",
    "((p * V) / (p2 * V)) ** 0.286",
    "sqrt((p * V) / (p2 * V))",
    "((p * V) / (b * V)) ** 0.286",
    "log((p / (rho * standard_gravity)) / (p2 / (rho * standard_gravity)))",
    "log((p * A) / (p2 * A))",
    "log((p * Q * t) / E)",
    "log((p * V + E) / E)",
    "log(1 + (p * V) / (b * V))",
    "log(max(p * V, E) / E)",
    "log(-(p * V) / (p2 * V) * -1)",
    "log(abs(p * V) / E)",
    "log(((p * V) ** 2) / ((p2 * V) ** 2))",
    "log(sqrt(p * V) / sqrt(p2 * V))",
    "atan((p * V) / (p2 * V))",
    # through an exponent
    "2 ** ((p * V) / (p2 * V))",
    "(absolute(p, b) / b) ** ((p * V) / (p2 * V))",
    # through an angle, which counts as 1
    "log((p * V * unit_angle) / (p2 * V))",
    "log(p * unit_angle / p2)",
    "exp((p * V * unit_angle) / (p2 * V))",
    "((p * V * unit_angle) / (p2 * V)) ** 0.286",
    "sqrt((p * V * unit_angle) / (p2 * V))",
    "log(p * Q * t / (torque * turns))",
    "log(p * Q / (torque * w))",
    "log(tan(atan2(p, p2)))",
    "log(tan(atan2(p, b)))",
    # through a physics function
    "log(kinetic_energy(p * V * t * t, w) / E)",
    "log(receiver_exergy(absolute(p, b), p * V / b, b) / E)",
    "log(receiver_exergy(absolute(p, b), V * (p * V) / (p2 * V), b) / E)",
    "warm_pressure(absolute(p, b), absolute(hot, b), (p * V) / (p2 * V)) / b",
    # back to a pressure, as an absolute one
    "receiver_exergy(p * V / V, V, b) / E",
    "receiver_exergy((p * V - E) / V, V, b) / E",
    "receiver_exergy(sqrt(p / V * p2 * V), V, b) / E",
    "receiver_exergy(b * ((p * V) / (b * V)), V, b) / E",
    "receiver_exergy(b * ((p * V) / (b * V)) - b + b, V, b) / E",
    "receiver_exergy(max(b * ((p * V) / (b * V)), 0.001 * b), V, b) / E",
    "receiver_exergy(max(sqrt(p / V * p2 * V), 0.001 * b), V, b) / E",
    "receiver_exergy(max(p - tare, 0.001 * b), V, b) / E",
    "receiver_exergy(p - tare - 0.001 * b, V, b) / E",
    "receiver_exergy((p - tare) * V / V, V, b) / E",
    "receiver_exergy((p - tare) * V / V + 0, V, b) / E",
    "receiver_exergy(p * unit_angle, V, b) / E",
    "receiver_exergy(max(p * unit_angle, 0.001 * b), V, b) / E",
    "warm_pressure(absolute(p, b), p2 * V / V, n) / b",
    "(p * V / V) / b",
]


@pytest.mark.parametrize("formula", DETOURS)
def test_no_detour_makes_a_gauge_pressure_absolute(formula: str) -> None:
    found = complaints(case_of(formula, "1"))
    assert len(found) == 1, found
    assert found[0].remedy == TO_ABSOLUTE or "gauge" in found[0].what or "differ" in found[0].what


@pytest.mark.parametrize(
    "formula",
    [
        "log((u * V) / (u2 * V))",
        "2 ** ((u * V) / (u2 * V))",
        "log((u * V * unit_angle) / (u2 * V))",
        "log(tan(atan2(u, u2)))",
        "log(kinetic_energy(u * V * t * t, w) / E)",
        "receiver_exergy(u * V / V, V, b) / E",
        "receiver_exergy(b * ((u * V) / (b * V)), V, b) / E",
        "receiver_exergy(sqrt(u / V * u2 * V), V, b) / E",
    ],
)
def test_no_detour_makes_an_unstated_pressure_absolute(formula: str) -> None:
    (found,) = complaints(case_of(formula, "1"))
    assert found.remedy == SAY_KIND


def test_a_pressure_times_an_angle_is_still_a_pressure_reading() -> None:
    text = case_of("log(extra / b)", "1").replace(
        "  p2:", "  extra: {value: 3 bar*rad, plus_minus: 1 bar*rad}\n  p2:"
    )
    assert complaints(text)


@pytest.mark.parametrize("unit", ["J/m^3", "N/m^2", "kg/m/s^2", "mmHg", "psi", "kgf/cm^2"])
def test_a_pressure_in_any_unit_needs_its_kind(unit: str) -> None:
    text = case_of("log(extra / b)", "1").replace(
        "  p2:", f'  extra: {{value: "3 {unit}", plus_minus: "1 {unit}"}}\n  p2:'
    )
    (found,) = complaints(text)
    assert (found.what, found.remedy) == (UNSTATED_RATIO, SAY_KIND)


# -- turning, and exponents -----------------------------------------------------------


@pytest.mark.parametrize(("formula", "unit"), [("count / t", "rpm"), ("1 / t", "rev/s")])
def test_a_count_over_time_is_no_turning_speed(formula: str, unit: str) -> None:
    """A plain 1/s in rpm would be taken for rad/s: 2 pi too small. Counted turns are in rev."""
    found = said(formula, unit)
    assert found.marked == unit
    assert "1/s" in found.what


@pytest.mark.parametrize("formula", ["V ** 0.008", "V ** 1.005 / V"])
def test_an_exponent_is_not_rounded_to_make_a_dimension(formula: str) -> None:
    """Neither is a plain number: taken for one, its value would depend on the unit of V."""
    assert complaints(case_of(formula, "1"))


# -- gas that has settled, or has not ---------------------------------------------------------

SETTLED = "receiver_exergy needs a settled pressure, and hot was read at once"
USE_WARM = (
    "read it again at rest; what a cold end pressure would settle to is warm_pressure(p_start, "
    "p_cold, gas_index), all absolute"
)


def gas_warnings(formula: str) -> list[Complaint]:
    return [each for each in warnings(case_of(formula, "J")) if "settled" in each.what]


@pytest.mark.parametrize(
    "formula",
    [
        "receiver_exergy(absolute(p, b), V, b)",
        "receiver_exergy(warm_pressure(absolute(p, b), absolute(hot, b), n), V, b)",
        "receiver_exergy(warm_pressure(absolute(p, b), hot_absolute, n), V, b)",
        "receiver_exergy(absolute(p - tare, b), V, b)",
    ],
)
def test_settled_gas_is_fine(formula: str) -> None:
    assert gas_warnings(formula) == []


@pytest.mark.parametrize(
    "formula",
    [
        "receiver_exergy(absolute(hot, b), V, b)",
        "receiver_exergy(absolute(hot, b), V, b) - receiver_exergy(absolute(p, b), V, b)",
        "receiver_exergy(1.0 * absolute(hot, b), V, b)",
        "receiver_exergy(absolute(hot, b) + drop, V, b)",
        "receiver_exergy(absolute(hot - tare, b), V, b)",
        "receiver_exergy(absolute(hot - unsaid + unsaid, b), V, b)",
        "receiver_exergy(absolute(tare + (hot - tare), b), V, b)",
        "receiver_exergy(absolute(hot, b) * V / V, V, b)",
        "receiver_exergy(absolute(max(hot, p2), b), V, b)",
    ],
)
def test_gas_read_at_once_is_refused(formula: str) -> None:
    found = said(formula, "J")
    assert (found.what, found.remedy) == (SETTLED, USE_WARM)


def test_gas_unsaid_is_a_warning_that_names_both_ways() -> None:
    (found,) = gas_warnings("receiver_exergy(absolute(unsaid, b), V, b)")
    assert found.what == (
        "receiver_exergy uses unsaid, which does not say whether the tank had settled"
    )
    assert "gas: settled" in found.remedy
    assert "gas: read at once" in found.remedy
    assert "warm_pressure" in found.remedy


# -- ceilings ---------------------------------------------------------------------------------


def with_ceiling(ceiling: str) -> str:
    entry = '{formula: volts * amps * t / E, unit: "%", is: ratio, ceiling: "' + ceiling + '"}'
    return CASE.split("  r: {")[0] + f"  r: {entry}\n"


@pytest.mark.parametrize(
    ("ceiling", "share"),
    [("59.3 %", 0.593), ("0.593", 0.593), ("1 - T1 / T2", 60 / 353.15), ("T2 / T2", 1.0)],
)
def test_ceiling(ceiling: str, share: float) -> None:
    case = understood(with_ceiling(ceiling))
    (output,) = case.outputs
    assert output.ceiling is not None
    again = understood(
        with_ceiling(ceiling).replace(
            "formula: volts * amps * t / E", f"formula: {_as_formula(ceiling)}"
        )
    )
    assert values(again)[("r", None)] == pytest.approx(100 * share, rel=1e-12)
    literal = case.program.steps[output.ceiling]
    if literal.op == "constant":
        assert literal.detail == pytest.approx(share, rel=1e-15)


def _as_formula(ceiling: str) -> str:
    return "59.3 / 100" if ceiling.endswith("%") else ceiling


@pytest.mark.parametrize(
    ("ceiling", "what"),
    [
        ("T1 - T2", "the formula gives temperature difference, which is not %"),
        ("log(p / p2)", RATIO),
        ("100 J", "the ceiling is in J, the result in %"),
        ("nothing_known", "unknown name 'nothing_known'"),
        ("1 +", "the formula ends too early"),
    ],
)
def test_refused_ceiling(ceiling: str, what: str) -> None:
    (found,) = complaints(with_ceiling(ceiling))
    assert found.what.startswith(what)


# -- what a reading is, and in which unit -----------------------------------------------------


def with_input(entry: str) -> str:
    text = case_of("E / E", "1")
    return text.replace("  p2:", f"  extra: {entry}\n  p2:")


@pytest.mark.parametrize(
    ("entry", "what"),
    [
        (
            "{value: 3 V, plus_minus: 1 V, reads: gauge pressure}",
            "extra reads gauge pressure, but its unit is V",
        ),
        (
            "{value: 3 degC, plus_minus: 1 K, reads: temperature difference}",
            "extra reads temperature difference, but degC is a temperature",
        ),
        (
            "{value: 3 delta_degC, plus_minus: 1 K, reads: temperature}",
            "extra reads temperature, but delta_degC is a temperature difference",
        ),
        (
            "{value: 3 Hz, plus_minus: 1 Hz, reads: rotational speed}",
            "extra reads rotational speed, but its unit is Hz",
        ),
        (
            "{value: 3 rpm, plus_minus: 1 rpm, reads: frequency}",
            "extra reads frequency, but its unit is rpm",
        ),
    ],
)
def test_reads_and_unit_must_fit(entry: str, what: str) -> None:
    (found,) = complaints(with_input(entry))
    assert found.what == what


def test_kelvin_is_a_point_or_a_difference_as_declared() -> None:
    point = with_input("{value: 300 K, plus_minus: 1 K, reads: temperature}")
    difference = point.replace("reads: temperature}", "reads: temperature difference}")
    assert complaints(point.replace("E / E", "extra + T1").replace('"1"', "K"))[0].what == (
        "the sum of two temperatures means nothing"
    )
    both = difference.replace("E / E", "extra + T1").replace('unit: "1"', "unit: K")
    assert values(understood(both))[("r", None)] == pytest.approx(593.15)
