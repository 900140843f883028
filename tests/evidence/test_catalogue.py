"""The catalogue: every entry can be written in a case, and says what the standards print.

Limits are typed here from the standard named beside each row; rows without one are common
practice and hold the entry to the number that the trade uses. Readings, spans and digits are
invented.
"""

from __future__ import annotations

import json
import math
import re
import subprocess
import sys
from dataclasses import dataclass
from typing import Any

import pytest

from effband.case.format import Instrument, Spread
from effband.case.model import Case
from effband.case.resolve import understand
from effband.case.text import parse_case
from effband.evidence.as_sold import INSTRUMENTS, INSTRUMENTS_BY_NAME
from effband.evidence.catalogue import Groups, Template
from effband.evidence.instruments import READS, parse_accuracy
from effband.evidence.rules_of_thumb import RULES, RULES_BY_NAME
from effband.problems import CaseError
from effband.propagate.linear import propagate_linearly
from effband.units import parse_unit

EVERY = (*INSTRUMENTS_BY_NAME.values(), *RULES_BY_NAME.values())
RECTANGULAR, TRIANGULAR, NORMAL = 3, 6, 1  # variance is half-width squared over this (6.4.2, 6.4.5)

# What the user adds, by what the instrument reads.
ANSWERS: dict[str, dict[str, Any]] = {
    "gauge pressure": {"span": ["0 bar", "16 bar"], "division": "0.5 bar"},
    "energy": {"digit": "0.01 kWh"},
    "DC voltage": {"span": ["0 V", "20 V"], "digit": "0.01 V"},
    "DC current": {"span": ["0 A", "40 A"], "digit": "0.01 A"},
    "mass": {"span": ["0 kg", "15 kg"], "digit": "5 g"},
    "volume flow": {"span": ["0 L/min", "100 L/min"], "division": "5 L/min"},
    "force": {"span": ["0 N", "50 N"], "division": "0.5 N", "digit": "0.1 N"},
}


def case_of(instrument: dict[str, Any] | None, inputs: dict[str, Any], unit: str = "1") -> Case:
    """Return a case whose results are its inputs, written as JSON, which is YAML."""
    kind = "quantity" if any(parse_unit(unit).dimension) else "ratio"
    tree = {
        "effband": "1",
        "title": "invented for a test",
        "instruments": {"one": instrument} if instrument else {},
        "inputs": inputs,
        "results": {f"r_{name}": {"formula": name, "unit": unit, "is": kind} for name in inputs},
    }
    return understand(parse_case(json.dumps(tree).encode(), "case.yaml"))


def written(template: Template) -> dict[str, Any]:
    """Return an instrument of the catalogue with what the user adds."""
    answers = ANSWERS.get(str(template.keys["reads"]), {})
    return {**template.keys, **{key: answers[key] for key in template.asks}}


def read_at(template: Template, numbers: list[float], unit: str) -> Case:
    inputs = {
        f"x{k}": {"value": f"{number} {unit}", "instrument": "one"}
        for k, number in enumerate(numbers)
    }
    return case_of(written(template), inputs, unit)


def linear_u(case: Case) -> list[float]:
    found = []
    for band in propagate_linearly(case, 0.95):
        assert band.standard_uncertainty is not None, band.reason
        found.append(band.standard_uncertainty)
    return found


# -- the entries themselves --------------------------------------------------------------------


def flat(groups: Groups) -> list[Template]:
    return [template for _, templates in groups for template in templates]


@pytest.mark.parametrize(
    ("groups", "named"), [(INSTRUMENTS, INSTRUMENTS_BY_NAME), (RULES, RULES_BY_NAME)]
)
def test_every_entry_is_found_by_its_name(groups: Groups, named: dict[str, Template]) -> None:
    assert len({heading for heading, _ in groups}) == len(groups)
    assert [named[template.name] for template in flat(groups)] == flat(groups)
    assert len(named) == len(flat(groups)) > 30


def test_no_two_names_are_alike() -> None:
    """Case, spaces, points and hyphens do not tell two names apart."""
    plain = [re.sub(r"[ .-]", "", template.name.casefold()) for template in EVERY]
    assert sorted(plain) == sorted(set(plain))


@pytest.mark.parametrize("template", EVERY, ids=lambda t: t.name)
def test_the_words_of_an_entry(template: Template) -> None:
    assert re.fullmatch(r"[A-Za-z0-9]+([ .-][A-Za-z0-9]+)*", template.name)
    assert template.sentence.endswith(".")
    assert 30 < len(template.sentence) < 400
    assert len(template.source) > 8
    assert not template.source.endswith(".")
    assert not set(template.asks) & set(template.keys)


# Designations, units, standards and publications: all that may be written with a capital.
CAPITALS = set(
    "K J T A B C D I II III L kWh degC DC AC AA 4A 3A 2A 1A W V Pt100 V-belt V-notch Pelton M MJ"
    " EN ASME B40.100 SM0486 IEC UK SI OIML R ISO SAE J1940 MI-008 EU October US"
    " Measuring Instruments Directive HIIT Technical Report American Journal Physics"
    " Engineering IES Lighting Handbook Department Energy Alternative Fuels Data Center Properties"
    " Bureau Reclamation Water Measurement Manual Forschung Ingenieurwesen"
    " Liikkanen Nieminen Riley".split()
)


@pytest.mark.parametrize("template", EVERY, ids=lambda t: t.name)
def test_no_name_of_a_maker(template: Template) -> None:
    """Names are written with a capital: none stands but those of the list above."""
    first, _, rest = template.sentence.partition(" ")
    sentence = f"{first if first in CAPITALS else first.lower()} {rest}"
    for text in (template.name, sentence, template.source):
        words = {word.strip(".-") for word in re.findall(r"[\w.-]+", text)}
        assert {word for word in words if re.search("[A-Z]", word)} <= CAPITALS


def test_the_catalogue_loads_nothing_heavy() -> None:
    code = (
        "import sys, effband.evidence.as_sold, effband.evidence.rules_of_thumb\n"
        "print(sorted({'numpy', 'scipy', 'pydantic', 'yaml'} & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


# -- instruments -------------------------------------------------------------------------------


@pytest.mark.parametrize("template", INSTRUMENTS_BY_NAME.values(), ids=lambda t: t.name)
def test_keys_of_an_instrument_are_those_of_the_format(template: Template) -> None:
    known = {field.alias or name for name, field in Instrument.model_fields.items()}
    assert set(template.keys) | set(template.asks) <= known - {"like", "label", "note"}
    typed = Instrument.model_validate(written(template))
    assert typed.accuracy is not None
    assert typed.reads in READS
    assert typed.evidence in (None, "rule of thumb")  # a data sheet is what goes without saying


@dataclass(frozen=True)
class Printed:
    """What is printed of an instrument, and where.

    `limits` are limits of error by reading, `fresh` the half-widths (of a normal law the standard
    deviation) of what errs afresh, each with its divisor; all in `unit`.
    """

    name: str
    unit: str
    limits: dict[float, float]
    fresh: tuple[tuple[float, int], ...]


def dial(name: str, limits: dict[float, float]) -> Printed:
    """Return a dial of 0 to 16 bar, its limits in % of span; 0.5 bar divisions, read to 1/4."""
    in_bar = {reading: share / 100 * 16 for reading, share in limits.items()}
    return Printed(name, "bar", in_bar, ((0.125, TRIANGULAR),))


def probe(name: str, limits: dict[float, float]) -> Printed:
    return Printed(name, "degC", limits, ())


PRINTED = (
    # EN 837-1:1996, accuracy classes: % of span
    dial("dial gauge class 0.1", {9: 0.1}),
    dial("dial gauge class 0.25", {9: 0.25}),
    dial("dial gauge class 0.6", {9: 0.6}),
    dial("dial gauge class 1", {9: 1}),
    dial("dial gauge class 1.6", {9: 1.6}),
    dial("dial gauge class 2.5", {3: 2.5, 9: 2.5, 16: 2.5}),
    dial("dial gauge class 4", {9: 4}),
    # ASME B40.100, grades: % of span at 10, 50 and 90 % of the dial (A, B as quoted in print,
    # the others from memory); B also on both sides of each quarter
    dial("dial gauge grade 4A", {1.6: 0.1, 8: 0.1, 14.4: 0.1}),
    dial("dial gauge grade 3A", {1.6: 0.25, 8: 0.25, 14.4: 0.25}),
    dial("dial gauge grade 2A", {1.6: 0.5, 8: 0.5, 14.4: 0.5}),
    dial("dial gauge grade 1A", {1.6: 1, 8: 1, 14.4: 1}),
    dial("dial gauge grade A", {1.6: 2, 8: 1, 14.4: 2}),
    dial("dial gauge grade B", {1.6: 3, 3.9: 3, 4.1: 2, 8: 2, 11.9: 2, 12.1: 3, 14.4: 3}),
    dial("dial gauge grade C", {1.6: 4, 8: 3, 14.4: 4}),
    dial("dial gauge grade D", {1.6: 5, 8: 5, 14.4: 5}),
    Printed("phone barometer", "hPa", {985: 1}, ()),  # common practice, no source
    # IEC 60584-1, tolerance classes (from copies of the table): the greater of two limits; at
    # 375 and 125 degC of class 1 both are equal
    probe("thermocouple type K class 1", {-40: 1.5, 60: 1.5, 375: 1.5, 500: 2.0, 1000: 4.0}),
    probe("thermocouple type K class 2", {60: 2.5, 333: 2.5, 400: 3.0, 1200: 9.0}),
    probe("thermocouple type J class 1", {60: 1.5, 375: 1.5, 750: 3.0}),
    probe("thermocouple type J class 2", {60: 2.5, 333: 2.5, 400: 3.0}),
    probe("thermocouple type T class 1", {60: 0.5, 125: 0.5, 350: 1.4}),
    probe("thermocouple type T class 2", {60: 1.0, 133: 1.0, 200: 1.5}),
    # IEC 60751, table of tolerances, from memory (0, 100 and 200 degC as printed there)
    probe("resistance thermometer Pt100 class AA", {0: 0.1, 100: 0.27, 200: 0.44}),
    probe("resistance thermometer Pt100 class A", {-100: 0.35, 0: 0.15, 60: 0.27, 100: 0.35}),
    probe("resistance thermometer Pt100 class B", {-100: 0.8, 0: 0.3, 60: 0.60, 100: 0.8}),
    # IEC 62053-21, class index: % of the energy counted; 0.01 kWh display
    Printed("energy meter class 1", "kWh", {3: 0.03}, ((0.005, RECTANGULAR),)),
    Printed("energy meter class 2", "kWh", {3: 0.06}, ((0.005, RECTANGULAR),)),
    # the largest mean error of nine meters was 19 %: HIIT Technical Report 2009-1
    Printed("cheap plug-in energy meter", "kWh", {3: 0.6}, ((0.005, RECTANGULAR),)),
    # a meter's usual statements worked out by hand: common practice, no source
    Printed("pocket multimeter DC volts", "V", {13.62: 0.0681 + 0.02}, ((0.005, RECTANGULAR),)),
    Printed(
        "DC clamp meter",
        "A",
        {7.9: 0.158 + 0.05},
        ((0.005, RECTANGULAR), (0.1, RECTANGULAR)),
    ),
    # common practice, no source
    Printed("kitchen scale", "g", {500: 2, 660: 2, 1000: 3}, ((2.5, RECTANGULAR),)),
    Printed("hanging scale", "g", {2350: 50}, ((2.5, RECTANGULAR),)),
    # OIML R 76-1, maximum permissible errors of class III in service (twice those of
    # verification: 0.5, 1 and 1.5 e to 500, 2000 and 10 000 e), e = 5 g
    Printed(
        "legal scale class III",
        "g",
        {100: 5, 2500: 5, 2505: 10, 10_000: 10, 10_005: 15, 15_000: 15},
        ((2.5, RECTANGULAR),),
    ),
    # Directive 2014/32/EU, MI-008 class II, from memory: 0.3 mm + 0.2 mm for each metre begun,
    # here for each metre and one more: see test_a_tape_is_never_better_than_the_directive
    Printed(
        "tape class II",
        "mm",
        {700: 0.64, 1001: 0.7002, 2400: 0.98, 5000: 1.5, 9500: 2.4},
        ((0.5, TRIANGULAR),),
    ),
    # common practice, no source
    Printed("steel rule", "mm", {118: 0.2}, ((0.5, TRIANGULAR),)),
    Printed("caliper", "mm", {50.2: 0.03}, ((0.005, RECTANGULAR), (0.02, RECTANGULAR))),
    # scatter of 0.1 s: American Journal of Physics 87 (2019) 110; 0.05 s and 100 ppm by hand
    Printed("hand stopwatch", "s", {8: 0.0508, 60: 0.056}, ((0.005, RECTANGULAR), (0.1, NORMAL))),
    *(  # 1 / frames for the difference of two errors, each even over one frame; 0.1 % of 60 s
        Printed(f"video clock {n} frames per second", "s", {60: 0.06}, ((1 / n, TRIANGULAR),))
        for n in (24, 25, 30, 50, 60, 120, 240)
    ),
    # common practice, no source
    Printed("optical tachometer", "rpm", {780: 1.39, 2600: 2.3}, ((0.5, RECTANGULAR),)),
    Printed("rotameter", "L/min", {30: 5, 60: 5}, ((1.25, TRIANGULAR),)),
)


@pytest.mark.parametrize("metres", [0.01, 0.3, 0.999, 1.0, 1.001, 2.4, 5.0, 7.5, 9.999, 10.0])
def test_a_tape_is_never_better_than_the_directive(metres: float) -> None:
    directive = 0.3 + 0.2 * math.ceil(metres)
    statement = parse_accuracy(str(INSTRUMENTS_BY_NAME["tape class II"].keys["accuracy"]))
    ours = 1000 * statement.limit(metres, parse_unit("m"), (0, 10), None)
    assert directive <= ours + 1e-9 <= directive + 0.2 + 1e-9


def test_a_legal_scale_says_nothing_beyond_its_class() -> None:
    scale = {"like": "legal scale class III", "span": ["0 kg", "300 kg"], "digit": "1 g"}
    with pytest.raises(CaseError, match="says nothing at 25 kg"):
        case_of(scale, {"x": {"value": "25 kg", "instrument": "one"}}, "kg")


def test_every_instrument_is_checked() -> None:
    assert {row.name for row in PRINTED} == set(INSTRUMENTS_BY_NAME)


@pytest.mark.parametrize("row", PRINTED, ids=lambda row: row.name)
def test_printed_limits(row: Printed) -> None:
    """Tolerance 0.15 %: the standard's change-over points are rounded (333 and 133 degC)."""
    typed = Instrument.model_validate(written(INSTRUMENTS_BY_NAME[row.name]))
    assert typed.accuracy is not None
    unit, span = parse_unit(row.unit), None
    if typed.span:
        low, high = typed.span[0]
        unit, span = low.unit, (low.number, high.number)
    digit = typed.digit[0].si_width if typed.digit else None
    for reading, limit in row.limits.items():
        in_unit = unit.from_si(parse_unit(row.unit).to_si(reading))
        found = typed.accuracy.limit(in_unit, unit, span, digit)
        assert found == pytest.approx(limit * parse_unit(row.unit).factor, rel=1.5e-3)


@pytest.mark.parametrize("row", PRINTED, ids=lambda row: row.name)
def test_printed_limits_in_a_case(row: Printed) -> None:
    """u of a reading: rectangular within the limit (JCGM 101:2008 6.4.2), and what errs afresh.

    All readings are of one specimen, so an entry that left its span unsaid would be refused.
    """
    case = read_at(INSTRUMENTS_BY_NAME[row.name], list(row.limits), row.unit)
    assert [problem.what for problem in case.warnings if "one" in problem.what] == []
    fresh = sum(half**2 / divisor for half, divisor in row.fresh)
    for found, limit in zip(linear_u(case), row.limits.values(), strict=True):
        expected = math.sqrt(limit**2 / RECTANGULAR + fresh)
        assert found / parse_unit(row.unit).factor == pytest.approx(expected, rel=1.5e-3)


# Where the tolerances end: IEC 60584-1 for thermocouples, IEC 60751 for wire-wound resistors, both
# from memory, degC; the tape and the caliper by their length, common practice, no source.
SPANS = {
    "thermocouple type K class 1": (-40, 1000),
    "thermocouple type K class 2": (-40, 1200),
    "thermocouple type J class 1": (-40, 750),
    "thermocouple type J class 2": (-40, 750),
    "thermocouple type T class 1": (-40, 350),
    "thermocouple type T class 2": (-40, 350),
    "resistance thermometer Pt100 class AA": (-50, 250),
    "resistance thermometer Pt100 class A": (-100, 450),
    "resistance thermometer Pt100 class B": (-196, 600),
    "tape class II": (0, 10),
    "caliper": (0, 150),
}


def test_spans_that_are_filled_in() -> None:
    found = {}
    for name, template in INSTRUMENTS_BY_NAME.items():
        if "span" in template.keys:
            ((low, high),) = Instrument.model_validate(written(template)).span or []
            found[name] = (low.number, high.number)
    assert found == SPANS


@pytest.mark.parametrize("template", INSTRUMENTS_BY_NAME.values(), ids=lambda t: t.name)
def test_nothing_needed_is_left_unasked(template: Template) -> None:
    """Each asked key that the statement or a second reading needs is refused when left out."""
    row = next(row for row in PRINTED if row.name == template.name)
    needed = {"span"} & set(template.asks)
    if parse_accuracy(str(template.keys["accuracy"])).needs("digits"):
        needed |= {"digit"} & set(template.asks)
    reading = next(iter(row.limits))
    inputs = {
        name: {"value": f"{number} {row.unit}", "instrument": "one"}
        for name, number in (("x", reading), ("y", reading * 1.01))
    }
    for key in sorted(needed):
        left = {k: v for k, v in written(template).items() if k != key}
        with pytest.raises(CaseError):
            case_of(left, inputs, row.unit)
    assert needed or "span" in template.keys or template.keys["error_along_scale"] == "same"


@pytest.mark.parametrize(
    ("frames", "milliseconds"), [(30, 13.6), (60, 6.8), (25, 16.3), (240, 1.70)]
)
def test_two_ends_of_a_video(frames: int, milliseconds: float) -> None:
    """Two independent errors, each rectangular over a frame: sd 1/(frames sqrt 6)."""
    case = read_at(INSTRUMENTS_BY_NAME[f"video clock {frames} frames per second"], [8.0], "s")
    (law,) = (s.distribution for s in case.sources if s.name.endswith("division"))
    assert law.name == "triangular"
    assert law.support == pytest.approx((-1 / frames, 1 / frames), rel=1e-5)
    assert law.standard_uncertainty == pytest.approx(1 / (frames * math.sqrt(6)), rel=1e-5)
    assert law.standard_uncertainty * 1000 == pytest.approx(milliseconds, abs=0.051)


def test_two_readings_of_a_register_share_the_meter() -> None:
    """Class 1 (IEC 62053-21) is of the energy counted: of 3 kWh, not of the 103 kWh shown."""
    tree = {
        "effband": "1",
        "title": "invented for a test",
        "instruments": {"meter": written(INSTRUMENTS_BY_NAME["energy meter class 1"])},
        "inputs": {
            "before": {"value": "100 kWh", "instrument": "meter"},
            "after": {"value": "103 kWh", "instrument": "meter"},
        },
        "results": {"used": {"formula": "after - before", "unit": "kWh"}},
    }
    (u,) = linear_u(understand(parse_case(json.dumps(tree).encode(), "case.yaml")))
    assert u / 3.6e6 == pytest.approx(math.sqrt((0.03**2 + 2 * 0.005**2) / 3), rel=1e-9)


# -- rules of thumb and handbook values ----------------------------------------------------------

BTU_IT_PER_LB = 2326.0  # J/kg, exact: NIST SP 811 (2008), appendix B
BETZ = 16 / 27  # most power coefficient of a free rotor, any book on wind turbines
# Least work to press 1 m^3/min from 1 to 8 bar, isothermal: p V ln(8), kW/(m^3/min)
LEAST_POWER = 1e5 * math.log(8) / 60 / 1000
# Without expansion inside, of the exergy at 90 psi: (1 - 1/r) / ln r with r = 104.7/14.7
FULL_ADMISSION = (1 - 14.7 / 104.7) / math.log(104.7 / 14.7)
# A petrol engine of compression ratio 8 is below the air-standard Otto cycle (gamma 1.4), at
# 43.44 MJ/kg (row of petrol below): least consumption, g/kWh
LEAST_CONSUMPTION = 3600 / (1 - 8**-0.4) / 43.44


@dataclass(frozen=True)
class Rule:
    """Limits of a rule, and between which values the number can lie at all, in `unit`."""

    name: str
    unit: str
    numbers: tuple[float, ...]
    possible: tuple[float, float] = (0, 100)


# Common practice, no source, but where one is named.
RULES_PRINTED = (
    Rule("compressed-air chain wall to shaft", "%", (7, 10, 15), (0, 100 * FULL_ADMISSION)),
    # not more than the least work over the specific power of the next row
    Rule("small piston compressor wall to air", "%", (20, 30, 45), (0, 100 * LEAST_POWER / 7)),
    Rule(
        "small piston compressor specific power",
        "kW/(m^3/min)",
        (7, 10, 13),
        (LEAST_POWER, math.inf),
    ),
    Rule("vane motor air to shaft", "%", (12, 24, 32), (0, 100 * FULL_ADMISSION)),
    Rule("small workshop turbine efficiency", "%", (5, 15, 35)),
    # between isothermal and adiabatic emptying of an ideal diatomic gas
    Rule("gas index of a minutes-long emptying", "1", (1.02, 1.12, 1.30), (1, 1.4)),
    Rule("small engine load fraction", "%", (45, 60, 85)),
    # SAE J1940: mean of the tested engines at least 95 %, before October 2012 85 %, of the label
    Rule("small engine tested to label power from 2014", "%", (95, 100)),
    Rule("small engine tested to label power before 2014", "%", (85, 100)),
    Rule("small engine net to gross power", "%", (80, 88, 95)),
    Rule(
        "small petrol engine consumption", "g/kWh", (320, 400, 550), (LEAST_CONSUMPTION, math.inf)
    ),
    # not more than the best engine of the row above: 3600 / (320 * 43.44)
    Rule("small petrol generator fuel to wire", "%", (8, 15, 22), (0, 25.9)),
    Rule("hobby hot-air engine fuel to shaft", "%", (0.05, 0.3, 2)),
    Rule("spin-down to loaded loss factor", "1", (1, 1.25, 2), (1, math.inf)),
    Rule("gear mesh efficiency", "%", (94, 97, 99)),
    Rule("worm gear efficiency", "%", (50, 72, 90)),
    Rule("planetary stage efficiency", "%", (93, 96, 98)),
    Rule("gearbox below quarter load extra loss", "points", (3, 15)),
    Rule("V-belt efficiency", "%", (90, 95, 98)),
    Rule("toothed belt efficiency", "%", (96, 98, 99)),
    Rule("chain drive efficiency", "%", (95, 97, 98.5)),
    Rule("car alternator efficiency", "%", (45, 55, 65)),
    Rule("permanent-magnet alternator efficiency", "%", (70, 82, 92)),
    Rule("brushed DC motor as generator", "%", (50, 68, 82)),
    Rule("inverter efficiency above a fifth of load", "%", (80, 88, 94)),
    Rule("lead-acid battery round trip", "%", (70, 80, 86)),
    Rule("lithium iron phosphate battery round trip", "%", (90, 94, 98)),
    # 1.54: IES Lighting Handbook, from memory; below 2, the exponent of a constant resistance
    Rule("lamp exponent", "1", (1.50, 1.57, 1.62), (1, 2)),
    Rule("pico Pelton wheel efficiency", "%", (45, 62, 78)),
    # from memory: wheels of the 19th century gave 65 to 85 % (overshot), 50 to 80 % (breast)
    Rule("overshot water wheel efficiency", "%", (55, 72, 85)),
    Rule("breast water wheel efficiency", "%", (45, 62, 80)),
    # Water Measurement Manual, float coefficients from memory: 0.66 at a depth of 1 ft to 0.80
    # at 20 ft; not above 1, since a bed only slows water
    Rule("surface to mean velocity of a channel", "1", (0.60, 0.75, 0.90), (0, 1)),
    Rule("small wind rotor power coefficient", "%", (10, 28, 42), (0, 100 * BETZ)),
    # dry wood of all kinds, from memory of fuel handbooks: 17 to 21 MJ/kg
    Rule("oven-dry wood lower heating value", "MJ/kg", (17.5, 18.5, 19.5), (17, 21)),
    # 43.44 and 0.896 * 43.44 + 0.104 * 26.95 (a tenth by volume is 10.4 % by mass), 2 % either way
    Rule("pump petrol lower heating value", "MJ/kg", (41.0, 44.3), (40.9, 44.31)),
    # tables of water from memory: 999.10, 998.21 and 997.05 kg/m^3 at 15, 20 and 25 degC
    Rule("water density in a workshop", "kg/m^3", (997.0, 998.2, 999.1), (996.9, 999.2)),
)
# US Department of Energy, Alternative Fuels Data Center, Properties of Fuels: Btu/lb, lower
POUNDS = {"petrol without ethanol": 18_676, "diesel": 18_394, "propane": 19_900, "ethanol": 11_585}
POUNDS["methanol"] = 8_637
HEATING_VALUE = " lower heating value"


def law_of(name: str) -> tuple[Any, float]:
    """Return the law of a rule, as an input of a case, and its evidence."""
    template = RULES_BY_NAME[name]
    entry = Spread.model_validate(dict(template.keys))
    quantity = entry.value or entry.low
    assert quantity is not None
    case = case_of(None, {"x": dict(template.keys)}, quantity.unit.text)
    (source,) = case.sources
    assert source.evidence == template.keys["evidence"]
    return source.distribution, quantity.unit.factor


@pytest.mark.parametrize("template", RULES_BY_NAME.values(), ids=lambda t: t.name)
def test_keys_of_a_rule_are_those_of_the_format(template: Template) -> None:
    assert set(template.keys) <= set(Spread.model_fields) - {"like", "label", "note"}
    assert template.asks == ()
    assert template.keys["evidence"] in ("rule of thumb", "handbook")


def test_every_rule_is_checked() -> None:
    fuels = [fuel + HEATING_VALUE for fuel in POUNDS]
    checked = [*(row.name for row in RULES_PRINTED), *fuels, "V-notch coefficient"]
    assert set(checked) == set(RULES_BY_NAME)


@pytest.mark.parametrize("row", RULES_PRINTED, ids=lambda row: row.name)
def test_printed_rules(row: Rule) -> None:
    """Moments by closed form: (a+b)/2 and (b-a)^2/12, or of the triangle a, c, b."""
    law, factor = law_of(row.name)
    assert factor == pytest.approx(parse_unit(row.unit).factor, rel=1e-15)
    low, high = (end / factor for end in law.support)
    a, b = row.numbers[0], row.numbers[-1]
    assert (low, high) == pytest.approx((a, b), rel=1e-12)
    if len(row.numbers) == 3:
        c = row.numbers[1]
        mean, variance = (a + b + c) / 3, (a * a + b * b + c * c - a * b - a * c - b * c) / 18
        assert law.name == "triangular"
    else:
        mean, variance = (a + b) / 2, (b - a) ** 2 / 12
        assert law.name == "rectangular"
    assert law.mean / factor == pytest.approx(mean, rel=1e-12)
    # the variance is a small difference of squares
    assert law.sd / factor == pytest.approx(math.sqrt(variance), rel=1e-10)
    least, most = row.possible
    assert least <= a < b <= most


# USBR Water Measurement Manual, coefficients of floats by mean depth in ft, from memory.
FLOATS = {
    1: 0.66,
    2: 0.68,
    3: 0.70,
    4: 0.72,
    5: 0.74,
    6: 0.76,
    9: 0.77,
    12: 0.78,
    15: 0.79,
    20: 0.80,
}


def test_the_float_factor_holds_the_printed_coefficients() -> None:
    """And 7/8, which a velocity that grows as the 1/7 power of the height gives (closed form)."""
    law, _ = law_of("surface to mean velocity of a channel")
    for coefficient in (*FLOATS.values(), 1 / (1 + 1 / 7)):
        assert law.support[0] < coefficient < law.support[1]


@pytest.mark.parametrize("fuel", POUNDS)
def test_heating_values(fuel: str) -> None:
    """The table's Btu/lb in MJ/kg to its four digits; limits 2 %: common practice, no source."""
    law, factor = law_of(fuel + HEATING_VALUE)
    expected = POUNDS[fuel] * BTU_IT_PER_LB
    assert law.name == "rectangular"
    assert law.mean == pytest.approx(expected, rel=2e-4)
    assert law.support == pytest.approx((0.98 * expected, 1.02 * expected), rel=2e-4)
    assert factor == 1e6


@pytest.mark.parametrize(
    ("fuel", "least", "most"),
    [("petrol without ethanol", 42.5, 44.8), ("diesel", 41.4, 43.3), ("propane", 44.8, 52.2)],
)
def test_heating_values_lie_within_those_of_inventories(
    fuel: str, least: float, most: float
) -> None:
    """2006 IPCC Guidelines, volume 2, table 1.2 (from memory): limits for a country's fuel."""
    law, factor = law_of(fuel + HEATING_VALUE)
    assert least < law.mean / factor < most


def test_coefficient_of_a_notch() -> None:
    """ISO 1438:2017, clause 10, from memory: 0.578 for 90 degrees, about 1 % at 95 %."""
    law, _ = law_of("V-notch coefficient")
    assert law.name == "normal"
    assert law.mean == pytest.approx(0.578, rel=1e-12)
    assert law.sd == pytest.approx(0.00289, rel=1e-12)


@pytest.mark.parametrize(
    "name",
    [
        "small engine load fraction",
        "small petrol engine consumption",
        "small petrol generator fuel to wire",
    ],
)
def test_what_moves_together_says_so(name: str) -> None:
    assert "declare one of them" in RULES_BY_NAME[name].sentence
