"""The closed list of units against other lists, and the grammar of quantities against its rules.

Every unit is checked by `scipy.constants`, by pint's own registry, or by a printed value with
its source; a unit without any of the three fails a test here.
"""

from __future__ import annotations

import functools
import math
import random
import statistics
import time
from collections.abc import Callable
from fractions import Fraction

import pint
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy import constants

from effband.problems import Misread
from effband.units import (
    BASES,
    DIFFERENCE,
    DIMENSIONLESS,
    POINT,
    Unit,
    known_units,
    name_dimension,
    parse_number,
    parse_quantity,
    parse_unit,
    same_dimension,
)

ROUNDING = 1e-15  # a few units in the last place of a float

UNITS = {unit.text: unit for unit in known_units()}

# scipy.constants takes them from NIST SP 811 and CODATA. Its mmHg is the torr and is left out.
SCIPY: dict[str, float] = {
    "g": constants.gram,
    "t": constants.metric_ton,
    "lb": constants.pound,
    "oz": constants.ounce,
    "km": constants.kilo,
    "cm": constants.centi,
    "mm": constants.milli,
    "um": constants.micron,
    "nm": constants.nano,
    "in": constants.inch,
    "ft": constants.foot,
    "yd": constants.yard,
    "mi": constants.mile,
    "L": constants.litre,
    "gal_us": constants.gallon_US,
    "gal_imp": constants.gallon_imp,
    "ms": constants.milli,
    "us": constants.micro,
    "min": constants.minute,
    "h": constants.hour,
    "day": constants.day,
    "deg": constants.degree,
    "rev": 2 * constants.pi,
    "rpm": 2 * constants.pi / constants.minute,
    "kHz": constants.kilo,
    "delta_degF": constants.degree_Fahrenheit,
    "degF": constants.degree_Fahrenheit,
    "kN": constants.kilo,
    "kgf": constants.kilogram_force,
    "lbf": constants.pound_force,
    "hPa": constants.hecto,
    "kPa": constants.kilo,
    "MPa": constants.mega,
    "bar": constants.bar,
    "mbar": constants.milli * constants.bar,
    "atm": constants.atm,
    "psi": constants.psi,
    "mmH2O": constants.g,  # a kilogram on a square metre
    "inH2O": constants.g * constants.inch / constants.milli,
    "kJ": constants.kilo,
    "MJ": constants.mega,
    "GJ": constants.giga,
    "mW": constants.milli,
    "kW": constants.kilo,
    "MW": constants.mega,
    "Wh": constants.hour,
    "kWh": constants.kilo * constants.hour,
    "cal_th": constants.calorie_th,
    "kcal_th": constants.kilo * constants.calorie_th,
    "Btu_IT": constants.Btu_IT,
    "hp": constants.horsepower,
    "hp_metric": 75 * constants.kilogram_force,
    "mA": constants.milli,
    "uA": constants.micro,
    "Ah": constants.hour,
    "mAh": constants.milli * constants.hour,
    "mV": constants.milli,
    "kV": constants.kilo,
    "mohm": constants.milli,
    "kohm": constants.kilo,
    "Mohm": constants.mega,
    "uF": constants.micro,
    "cfm": constants.foot**3 / constants.minute,
    "mg": constants.milli * constants.gram,
    "mL": constants.milli * constants.litre,
    "dL": constants.deci * constants.litre,
}

# The names that pint gives the same things. Left out: what it reads otherwise (its cycle is a
# turn, its hertz no cycle, its t, C, day and PS depend on case or context).
PINT: dict[str, str] = {
    "kg": "kilogram",
    "m": "meter",
    "s": "second",
    "A": "ampere",
    "K": "kelvin",
    "mol": "mole",
    "rad": "radian",
    "%": "percent",
    "ppm": "ppm",
    "g": "gram",
    "mg": "milligram",
    "t": "metric_ton",
    "lb": "pound",
    "oz": "ounce",
    "km": "kilometer",
    "cm": "centimeter",
    "mm": "millimeter",
    "um": "micrometer",
    "nm": "nanometer",
    "in": "inch",
    "ft": "foot",
    "yd": "yard",
    "mi": "mile",
    "L": "liter",
    "mL": "milliliter",
    "dL": "deciliter",
    "gal_us": "US_liquid_gallon",
    "gal_imp": "imperial_gallon",
    "ms": "millisecond",
    "us": "microsecond",
    "min": "minute",
    "h": "hour",
    "day": "day",
    "deg": "degree",
    "rev": "revolution",
    "rpm": "revolution/minute",
    "degC": "delta_degree_Celsius",
    "degF": "delta_degree_Fahrenheit",
    "delta_degC": "delta_degree_Celsius",
    "delta_degF": "delta_degree_Fahrenheit",
    "N": "newton",
    "kN": "kilonewton",
    "kgf": "kilogram_force",
    "lbf": "pound_force",
    "Pa": "pascal",
    "hPa": "hectopascal",
    "kPa": "kilopascal",
    "MPa": "megapascal",
    "bar": "bar",
    "mbar": "millibar",
    "atm": "standard_atmosphere",
    "psi": "psi",
    "mmHg": "millimeter_Hg",
    "inHg": "inch_Hg",
    "J": "joule",
    "kJ": "kilojoule",
    "MJ": "megajoule",
    "GJ": "gigajoule",
    "W": "watt",
    "mW": "milliwatt",
    "kW": "kilowatt",
    "MW": "megawatt",
    "Wh": "watt_hour",
    "kWh": "kilowatt_hour",
    "cal_th": "thermochemical_calorie",
    "kcal_th": "kilocalorie",
    "Btu_IT": "international_british_thermal_unit",
    "hp": "horsepower",
    "hp_metric": "metric_horsepower",
    "hp_electric": "electrical_horsepower",
    "mA": "milliampere",
    "uA": "microampere",
    "C": "coulomb",
    "Ah": "ampere_hour",
    "mAh": "milliampere_hour",
    "V": "volt",
    "mV": "millivolt",
    "kV": "kilovolt",
    "VA": "volt_ampere",
    "ohm": "ohm",
    "mohm": "milliohm",
    "kohm": "kiloohm",
    "Mohm": "megaohm",
    "F": "farad",
    "uF": "microfarad",
    "H": "henry",
    "cfm": "foot**3/minute",
    "Pas": "pascal*second",
}
OFF_IN_PINT = {"mmHg": 2e-15, "inHg": 2e-15, "gal_imp": 2e-15, "gal_us": 2e-15}  # its own rounding

SI = "SI Brochure, 9th edition, from memory"
SP811 = "NIST SP 811 (2008), appendix B, from memory"
# Printed digits: a value is right when it rounds to them.
PRINTED: dict[str, tuple[str, str]] = {
    "cycle": ("1", "a base of this format: one period, never a turn"),
    "%": ("0.01", SI + ", 5.4.7"),
    "points": ("0.01", "percentage points are differences in %, " + SI + ", 5.4.7"),
    "point": ("0.01", "one percentage point, a difference in %, " + SI + ", 5.4.7"),
    "ppm": ("0.000001", SI + ", 5.4.7"),
    "Hz": ("1", SI + ", table 4: periods in one second"),
    "kHz": ("1000", SI + ", tables 4 and 7"),
    "t": ("1000", SI + ", table 8"),
    "L": ("0.001", SI + ", table 8"),
    "day": ("86400", SI + ", table 8"),
    "deg": ("0.017453293", SI + ", table 8: pi/180 rad"),
    "C": ("1", SI + ", table 4"),
    "oz": ("0.02834952", SP811),
    "gal_us": ("0.003785412", SP811),
    "gal_imp": ("0.00454609", SP811 + ", exact"),
    "psi": ("6894.757", SP811),
    "mmHg": ("133.3224", SP811 + ", conventional"),
    "inHg": ("3386.389", SP811 + ", conventional"),
    "mmH2O": ("9.80665", SP811 + ", conventional"),
    "inH2O": ("249.0889", SP811 + ", conventional"),
    "Btu_IT": ("1055.05585262", SP811),
    "hp": ("745.6999", SP811 + ", 550 ft lbf/s"),
    "hp_electric": ("746", SP811 + ", exact"),
    "cfm": ("0.0004719474", SP811),
    "Pas": ("1", SI + ", table 5"),
}


def close(found: float, expected: float, allowed: float = ROUNDING) -> bool:
    return math.isclose(found, expected, rel_tol=allowed, abs_tol=0.0)


@functools.cache
def registry() -> pint.UnitRegistry:
    return pint.UnitRegistry()


# -- the list ---------------------------------------------------------------------------------


@pytest.mark.parametrize("word", SCIPY)
def test_factor_by_scipy(word: str) -> None:
    assert close(UNITS[word].factor, SCIPY[word]), (UNITS[word].factor, SCIPY[word])


@pytest.mark.parametrize("word", PINT)
def test_factor_and_dimension_by_pint(word: str) -> None:
    theirs = registry().Quantity(1, PINT[word]).to_base_units()
    allowed = OFF_IN_PINT.get(word, 2 * ROUNDING)
    assert close(UNITS[word].factor, float(theirs.magnitude), allowed), theirs
    names = {
        "mass": "[mass]",
        "length": "[length]",
        "time": "[time]",
        "current": "[current]",
        "temperature": "[temperature]",
        "amount": "[substance]",
    }
    for base, exponent in zip(BASES, UNITS[word].dimension, strict=True):
        if base in names:
            assert exponent == theirs.dimensionality.get(names[base], 0), base


@pytest.mark.parametrize("word", PRINTED)
def test_factor_as_printed(word: str) -> None:
    printed, source = PRINTED[word]
    digits = len(printed.partition(".")[2])
    found = Fraction(UNITS[word].factor)
    assert abs(found - Fraction(printed)) <= Fraction(5, 10 ** (digits + 1)), source


def test_every_unit_has_a_check_and_every_check_a_unit() -> None:
    checked = {*SCIPY, *PINT, *PRINTED}
    assert set(UNITS) == checked


def test_every_unit_says_what_it_is() -> None:
    assert [word for word, unit in UNITS.items() if not unit.note] == []


ANGULAR = {"rad": (1, 0), "deg": (1, 0), "rev": (1, 0), "rpm": (1, 0)}
PERIODIC = {"cycle": (0, 1), "Hz": (0, 1), "kHz": (0, 1)}


@pytest.mark.parametrize("word", UNITS)
def test_turning_and_repeating_are_dimensions_of_their_own(word: str) -> None:
    found = UNITS[word].dimension
    angle, cycle = found[BASES.index("angle")], found[BASES.index("cycle")]
    assert (angle, cycle) == {**ANGULAR, **PERIODIC}.get(word, (0, 0))


@pytest.mark.parametrize(
    ("word", "as_written"),
    [
        # dimensions that pint cannot vouch for, or that this trade mixes up
        ("mmH2O", "N/m^2"),
        ("inH2O", "N/m^2"),
        ("Hz", "cycle/s"),
        ("rpm", "rad/s"),
        ("hp_electric", "J/s"),
        ("VA", "W"),
        ("Pas", "kg/(m*s)"),
        ("points", "%"),
        ("point", "%"),
    ],
)
def test_dimension(word: str, as_written: str) -> None:
    assert UNITS[word].dimension == parse_unit(as_written).dimension


def test_the_radian_counts_as_one_and_the_cycle_does_not() -> None:
    assert same_dimension(parse_unit("N*m*rad/s").dimension, parse_unit("W").dimension)
    assert same_dimension(parse_unit("rad").dimension, DIMENSIONLESS)
    assert not same_dimension(parse_unit("Hz").dimension, parse_unit("1/s").dimension)
    assert not same_dimension(parse_unit("Hz").dimension, parse_unit("rpm").dimension)


@pytest.mark.parametrize(
    ("unit", "words"),
    [
        ("psi", "pressure (Pa)"),
        ("kWh", "energy (J)"),
        ("rpm", "rotational speed (rad/s)"),
        ("Hz", "frequency (Hz)"),
        ("%", "a number without unit"),
        ("deg", "angle (rad)"),
        ("J/(kg*K)", "specific heat (J/(kg*K))"),
        ("N*m*rad/s", "power (W)"),
        ("W/K", "kg*m^2/s^3/K"),
        ("1/s^2", "1/s^2"),
    ],
)
def test_dimension_in_words(unit: str, words: str) -> None:
    assert name_dimension(parse_unit(unit).dimension) == words


# -- temperature ------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "kelvin"),
    [
        # the ice and steam points as they are commonly fixed, the equal point, body heat
        ("0 degC", 273.15),
        ("32 degF", 273.15),
        ("100 degC", 373.15),
        ("212 degF", 373.15),
        ("-40 degC", 233.15),
        ("-40 degF", 233.15),
        ("98.6 degF", 310.15),
        ("-273.15 degC", 0.0),
        ("-459.67 degF", 0.0),
        ("20 delta_degC", 20.0),
        ("18 delta_degF", 10.0),
        ("293.15 K", 293.15),
    ],
)
def test_temperature(text: str, kelvin: float) -> None:
    assert parse_quantity(text).si == pytest.approx(kelvin, abs=1e-12)


@pytest.mark.parametrize(("text", "width"), [("5 degC", 5.0), ("9 degF", 5.0), ("5 K", 5.0)])
def test_temperature_taken_as_a_width(text: str, width: float) -> None:
    assert parse_quantity(text).si_width == pytest.approx(width, abs=1e-12)


def test_kinds_of_temperature() -> None:
    kinds = {word: unit.kind for word, unit in UNITS.items() if unit.kind is not None}
    assert kinds == {
        "degC": POINT,
        "degF": POINT,
        "delta_degC": DIFFERENCE,
        "delta_degF": DIFFERENCE,
    }


@pytest.mark.parametrize("number", [-17.5, 0.0, 21.25, 950.0])
def test_points_by_pint(number: float) -> None:
    theirs = registry().Quantity(number, "degF").to("kelvin").magnitude
    assert parse_unit("degF").to_si(number) == pytest.approx(theirs, rel=1e-14)


@pytest.mark.parametrize(
    ("text", "at"),
    [
        ("degC/m", "degC"),
        ("J/(kg*degC)", "degC"),
        ("W/degF", "degF"),
        ("degC^2", "degC"),
        ("1/degC", "degC"),
    ],
)
def test_a_point_is_no_part_of_a_unit_and_the_place_is_its_own(text: str, at: str) -> None:
    with pytest.raises(Misread) as caught:
        parse_unit(text)
    assert "is a point on a scale" in caught.value.what
    assert caught.value.remedy == "write K for a difference, as in J/(kg*K)"
    assert (caught.value.start, caught.value.length) == (text.index(at), len(at))


@pytest.mark.parametrize("text", ["degC^1", "degC**1", "(degC)", "degF^1"])
def test_a_point_to_the_first_power_stays_a_point_or_is_refused(text: str) -> None:
    try:
        found = parse_unit(text)
    except Misread:
        return
    plain = parse_unit(text.strip("()")[:4])
    assert (found.factor, found.zero, found.kind) == (plain.factor, plain.zero, plain.kind)


# -- words that are refused -------------------------------------------------------------------


@pytest.mark.parametrize(
    ("word", "remedy"),
    [
        ("gal", "write gal_us or gal_imp"),
        ("Btu", "write Btu_IT"),
        ("cal", "write cal_th or J"),
        ("kcal", "write kcal_th or kJ"),
        ("ton", "write t, kg or kW"),
        ("PS", "write hp_metric"),
        ("fl_oz", "write mL"),
        ("Nm", "write N*m for a torque"),
        ("scfm", "write what passes in a minute in ft^3"),
        ("slpm", "write what passes in a minute in L"),
        ("psig", "write psi, and reads: gauge pressure"),
        ("psia", "write psi, and reads: absolute pressure"),
        ("barg", "write bar, and reads: gauge pressure"),
        ("bara", "write bar, and reads: absolute pressure"),
    ],
)
@pytest.mark.parametrize("around", ["{}", "{}/min", "kW/{}", "m*({}^2)"])
def test_ambiguous_word(word: str, remedy: str, around: str) -> None:
    text = around.format(word)
    with pytest.raises(Misread) as caught:
        parse_unit(text, start=3)
    assert caught.value.what.startswith(f"{word!r}: ")
    assert caught.value.remedy.startswith(remedy)
    assert (caught.value.start, caught.value.length) == (3 + text.index(word), len(word))


def test_a_normal_cubic_metre_is_refused() -> None:
    with pytest.raises(Misread, match="mass_of_free_air"):
        parse_quantity("12 Nm^3/h")


@pytest.mark.parametrize(
    ("word", "remedy"),
    [
        ("KW", "did you mean kW?"),
        ("Kg", "did you mean kg?"),
        ("l", "did you mean L?"),
        ("pa", "did you mean Pa?"),
        ("RPM", "did you mean rpm?"),
        ("hp_metrik", "did you mean hp_metric or hp_electric?"),
        ("furlong", "`effband units` lists the units"),
    ],
)
def test_unknown_word_gives_the_nearest(word: str, remedy: str) -> None:
    with pytest.raises(Misread) as caught:
        parse_unit(word)
    assert caught.value.what == f"unknown unit {word!r}"
    assert caught.value.remedy == remedy


@pytest.mark.parametrize(
    ("word", "both"), [("Mw", {"mW", "MW"}), ("mw", {"mW", "MW"}), ("MOHM", {"mohm", "Mohm"})]
)
def test_a_prefix_of_the_wrong_size_is_never_guessed(word: str, both: set[str]) -> None:
    """A thousand million lies between the two: neither may be proposed alone."""
    with pytest.raises(Misread) as caught:
        parse_unit(word)
    assert both <= set(caught.value.remedy.rstrip("?").split())


# -- the grammar of quantities ----------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "si", "same_as"),
    [
        ("90 L", 0.09, "m^3"),
        ("90L", 0.09, "m^3"),
        ("0.985 bar", 98500.0, "Pa"),
        ("12.5 %", 0.125, "1"),
        ("12.5%", 0.125, "1"),
        ("-4 degC", 269.15, "K"),
        ("+4 K", 4.0, "K"),
        ("0.0085 kg*m^2", 0.0085, "kg*m^2"),
        ("0.0085 kg m^2", 0.0085, "kg*m^2"),
        ("0.0085 kg*m**2", 0.0085, "kg*m^2"),
        ("25 kW/(100 ft^3/min)", 25000 / (100 * 0.3048**3 / 60), "Pa"),
        ("10 1/s", 10.0, "1/s"),
        ("10 s^-1", 10.0, "1/s"),
        ("1e3 m", 1000.0, "m"),
        ("1E-3 m", 0.001, "m"),
        ("1.5e+2 m", 150.0, "m"),
        ("7", 7.0, "1"),
        ("9.80665 m/s^2", 9.80665, "m/s^2"),
        ("60 rpm", 2 * math.pi, "rad/s"),
    ],
)
def test_quantity(text: str, si: float, same_as: str) -> None:
    found = parse_quantity(text)
    assert found.si == pytest.approx(si, rel=1e-14)
    assert found.unit.dimension == parse_unit(same_as).dimension


@pytest.mark.parametrize(
    ("text", "start", "length", "what", "remedy"),
    [
        ("5,5 L", 0, 3, "'5,5' is not a number", "use a point for decimals"),
        ("12:59 min", 0, 5, "'12:59' is not a number", "write hours and minutes as one number"),
        ("5 °C", 2, 1, "'°' cannot stand in a unit", "write degC or degF"),
        ("5 µm", 2, 1, "'µ' cannot stand in a unit", "write u for micro"),
        ("5 μm", 2, 1, "'μ' cannot stand in a unit", "write u for micro"),
        ("5 Ω", 2, 1, "'Ω' cannot stand in a unit", "write ohm"),
        ("5 \N{OHM SIGN}", 2, 1, "cannot stand in a unit", "write ohm"),
        ("5 m²", 3, 1, "'²' cannot stand in a unit", "write ^2"),
        ("5 m³", 3, 1, "'³' cannot stand in a unit", "write ^3"),
        ("5 N·m", 3, 1, "'·' cannot stand in a unit", "write *"),
        ("5 N×m", 3, 1, "'×' cannot stand in a unit", "write *"),
        ("5\u00a0m", 0, 3, "is not a number", "this is a no-break space: write a plain space"),
        ("5 \u00a0m", 2, 1, "cannot stand in a unit", "this is a no-break space"),
        ("5 m^10", 4, 2, "an exponent is a whole number from -9 to 9", "write m^2"),
        ("5 m^1.5", 4, 3, "an exponent is a whole number from -9 to 9", "write m^2"),
        ("5 m^", 4, 1, "an exponent is a whole number from -9 to 9", "write m^2"),
        ("5 m)", 3, 1, "')' is out of place in a unit", "write units like N*m/s"),
        ("5 (m", 4, 1, "a parenthesis is not closed", "write )"),
        ("5 kg*", 5, 1, "a unit is missing here", "write units like kg*m^2"),
        ("5 /s", 2, 1, "'/' is out of place here", "write units like kg*m^2"),
        ("5 m/0", 4, 1, "a unit is divided by zero", "check the factor"),
        ("5 10 m", 2, 4, "two numbers stand side by side", "write number, then unit"),
        ("5 gloop", 2, 5, "unknown unit 'gloop'", "`effband units` lists the units"),
        ("fast", 0, 4, "'fast' is not a number", "write digits"),
        ("", 0, 1, "'' is not a number", "write digits"),
        ("9" * 81, 0, 80, "this is too long for a quantity", "write number, then unit"),
    ],
)
def test_refused_quantity(text: str, start: int, length: int, what: str, remedy: str) -> None:
    with pytest.raises(Misread) as caught:
        parse_quantity(text)
    assert what in caught.value.what
    assert caught.value.remedy.startswith(remedy)
    assert (caught.value.start, caught.value.length) == (start, length)


@pytest.mark.parametrize(
    "text",
    [
        "1 1/2 in",  # one and a half inches, not one times half an inch
        "1 1/2",
        "5 2/s",
        "90 L 2",
        "9 bar 3",
        "5 ft 6 in",
        "5 kg (2)",
        "2 kg 3 g",
    ],
)
def test_a_second_number_beside_the_first_is_refused(text: str) -> None:
    """A number then a unit: what a person means by a second number is never a product."""
    with pytest.raises(Misread):
        parse_quantity(text)


# -- numbers ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("0", 0.0),
        ("-0", 0.0),
        ("7", 7.0),
        ("+7", 7.0),
        ("-7.25", -7.25),
        ("0.50", 0.5),
        ("1e3", 1000.0),
        ("1E3", 1000.0),
        ("1e-3", 0.001),
        ("2.5e+03", 2500.0),
        ("10", 10.0),
        ("1" + "0" * 39, 1e39),
    ],
)
def test_number(text: str, value: float) -> None:
    assert parse_number(text) == value


POINT_HINT = "use a point for decimals"
DIGITS_HINT = "write digits, with a point for decimals, such as 12.5"


@pytest.mark.parametrize(
    ("text", "remedy"),
    [
        ("007", "leave out the leading zero"),
        ("-01.5", "leave out the leading zero"),
        ("00", "leave out the leading zero"),
        (".5", "write a digit before the point: 0.5, not .5"),
        ("-.5", "write a digit before the point: 0.5, not .5"),
        (".5e3", "write a digit before the point: 0.5, not .5"),
        ("5.", "write a digit after the point: 5.0, or 5"),
        ("+5.", "write a digit after the point: 5.0, or 5"),
        ("1_000", "leave out the underscores"),
        ("1_000_000", "leave out the underscores"),
        ("0_5", "leave out the underscores"),
        ("1,5", POINT_HINT),
        ("1.000,5", POINT_HINT),
        ("1,000.5", POINT_HINT),
        ("12:59", "write hours and minutes as one number with a unit, such as 750 s"),
        ("\N{MINUS SIGN}5", "this is U+2212, a typographic minus: write -"),
        ("5\u00a0000", "this is a no-break space: write a plain space"),
        ("2×3", "write *"),
        ("2·3", "write *"),
        ("", DIGITS_HINT),
        (" 5", DIGITS_HINT),
        ("5 ", DIGITS_HINT),
        ("5\n", DIGITS_HINT),
        ("--5", DIGITS_HINT),
        ("0x10", DIGITS_HINT),
        ("0b1", DIGITS_HINT),
        ("1e", DIGITS_HINT),
        ("1e5.0", DIGITS_HINT),
        ("1e1000", "check the exponent"),
        ("nan", DIGITS_HINT),
        ("inf", DIGITS_HINT),
        ("-Infinity", DIGITS_HINT),
        ("1'000", DIGITS_HINT),
        ("½", DIGITS_HINT),
        ("٣", DIGITS_HINT),  # a digit to str.isdigit, not to us
        ("５", DIGITS_HINT),
        ("five", DIGITS_HINT),
        ("1+1", DIGITS_HINT),
        ("1j", DIGITS_HINT),
        ("1" * 41, "write at most 40 characters"),
    ],
)
def test_refused_number(text: str, remedy: str) -> None:
    with pytest.raises(Misread) as caught:
        parse_number(text)
    assert caught.value.remedy == remedy
    assert (caught.value.start, caught.value.length) == (0, max(1, len(text)))


@pytest.mark.parametrize("text", ["1e309", "-1e999"])
def test_number_beyond_the_range(text: str) -> None:
    with pytest.raises(Misread, match="is too large for a number") as caught:
        parse_number(text)
    assert caught.value.remedy == "check the exponent"


@given(st.floats(allow_nan=False, allow_infinity=False))
@settings(max_examples=200, deadline=None)
def test_a_float_written_out_reads_back(value: float) -> None:
    assert parse_number(repr(value)) == value


@given(st.text(alphabet="0123456789+-.eE_", max_size=12))
@settings(max_examples=300, deadline=None)
def test_what_is_read_as_a_number_is_what_python_reads(text: str) -> None:
    try:
        found = parse_number(text)
    except Misread:
        return
    assert found == float(text)


# -- compound units ---------------------------------------------------------------------------

FACTORS = [unit for unit in UNITS.values() if unit.kind != POINT]
parts = st.lists(
    st.tuples(
        st.sampled_from(FACTORS),
        st.integers(-3, 3).filter(bool),
        st.sampled_from(["*", "/", " ", " * ", " / "]),
        st.sampled_from(["^", "**"]),
    ),
    min_size=1,
    max_size=5,
)


@given(parts)
@settings(max_examples=400, deadline=None)
def test_a_compound_unit_written_out_reads_back(
    factors: list[tuple[Unit, int, str, str]],
) -> None:
    text, size, dimension = "", 1.0, [Fraction(0)] * len(BASES)
    for at, (unit, exponent, join, caret) in enumerate(factors):
        if at:
            # after a stroke a blank would leave open on which side a unit stands: refused
            text += "*" if join == " " and "/" in text else join
        sign = -1 if at and "/" in join else 1
        text += unit.text + (f"{caret}{exponent}" if exponent != 1 else "")
        size *= unit.factor ** (sign * exponent)
        for base, own in enumerate(unit.dimension):
            dimension[base] += sign * exponent * own
    assume(len(text) <= 80)
    found = parse_unit(text)
    assert found.factor == pytest.approx(size, rel=1e-13)
    assert found.dimension == tuple(dimension)
    assert found.zero == 0.0
    again = parse_unit(found.text)
    assert (again.factor, again.dimension) == (found.factor, found.dimension)


@given(parts, st.floats(-1e6, 1e6))
@settings(max_examples=200, deadline=None)
def test_a_quantity_written_out_reads_back(
    factors: list[tuple[Unit, int, str, str]], number: float
) -> None:
    text = "*".join(f"{unit.text}{caret}{e}" for unit, e, _, caret in factors[:3])
    assume(len(f"{number!r} {text}") <= 80)
    found = parse_quantity(f"{number!r} {text}")
    assert found.number == number
    assert found.unit.from_si(found.si) == pytest.approx(number, rel=1e-14, abs=1e-300)


@given(parts, parts)
@settings(max_examples=100, deadline=None)
def test_parentheses_divide_as_a_whole(
    above: list[tuple[Unit, int, str, str]], below: list[tuple[Unit, int, str, str]]
) -> None:
    over = "*".join(f"{unit.text}^{e}" for unit, e, _, _ in above[:2])
    under = "*".join(f"{unit.text}^{e}" for unit, e, _, _ in below[:2])
    whole = parse_unit(f"{over}/({under})")
    one, other = parse_unit(over), parse_unit(under)
    assert whole.factor == pytest.approx(one.factor / other.factor, rel=1e-13)
    assert whole.dimension == tuple(
        a - b for a, b in zip(one.dimension, other.dimension, strict=True)
    )


# -- hostile text -----------------------------------------------------------------------------

HOSTILE = [
    "9**9**9",
    "9**9**9**9**9**9",
    "m^9^9^9",
    "(" * 80,
    "(" * 40 + "m" + ")" * 39,
    "((((((((((m))))))))))",
    "(9e300)^9",
    "(1e-300)^9 m",
    "1/(1e-300^9)",
    "1e300*1e300/1e300 m",
    "m" * 80,
    "m*" * 40,
    "m/" * 39 + "m",
    "1/" * 39 + "m",
    "^" * 80,
    "__import__('os')",
    "m; import os",
    "m\x00",
    "m\n*s",
    "\u202em",
    "%" * 80,
    "%s%s%n",
    "{0.__class__}",
    "9" * 80,
    "m^-9*" * 15 + "m",
    "GJ^9*GJ^9*GJ^9*GJ^9",
    "a" * 100_000,
    "(" * 100_000,
    "1/" * 100_000,
]


def refusal(parse: Callable[[str], object], text: str) -> tuple[Misread | None, float]:
    """Return how a text was refused, if it was, and how many seconds that took."""
    start = time.perf_counter()
    found = None
    try:
        parse(text)
    except Misread as error:
        found = error
    return found, time.perf_counter() - start


@pytest.mark.parametrize("text", HOSTILE, ids=range(len(HOSTILE)))
@pytest.mark.parametrize("parse", [parse_unit, parse_quantity, parse_number])
def test_hostile_text_ends_soon(parse: Callable[[str], object], text: str) -> None:
    tries = [refusal(parse, text) for _ in range(3)]
    assert min(seconds for _, seconds in tries) < 0.02
    for error, _ in tries:
        assert error is None or 0 <= error.start <= max(len(text), 1)
        assert error is None or (error.length >= 1 and error.remedy)


@given(st.text(alphabet="0123456789eE.+-*/^() %mkgLsNW°²(", max_size=90))
@settings(max_examples=500, deadline=None)
def test_any_text_is_a_unit_or_misread(text: str) -> None:
    for parse in (parse_unit, parse_quantity):
        try:
            found = parse(text)
        except Misread:
            continue
        unit = found if isinstance(found, Unit) else found.unit
        assert 1e-300 < unit.factor < 1e300


def test_random_text_takes_no_time() -> None:
    draw = random.Random(20260514)
    alphabet = "0123456789eE.*/^()-  mkgsKJW%_"
    texts = ["".join(draw.choices(alphabet, k=80)) for _ in range(500)]
    assert statistics.median(refusal(parse_unit, text)[1] for text in texts) < 0.002
