"""Instruments as they are sold: what a standard or a usual data sheet says of their error.

The keys say nothing that a dial or display prints by itself: span, division and last digit are
the user's to add, but where a standard or the kind of instrument fixes them. Statements that
stand on no standard are marked as rules of thumb.
"""

from __future__ import annotations

from effband.evidence.catalogue import COMMON_PRACTICE, Groups, Template, by_name

_UNSURE = {"evidence": "rule of thumb"}
_SAME = {"error_along_scale": "same"}


# -- pressure ----------------------------------------------------------------------------------


def _dial_class(number: str) -> Template:
    return Template(
        f"dial gauge class {number}",
        {"reads": "gauge pressure", "accuracy": f"{number} % of span"},
        f"Dial gauge with class {number} printed on it: off by up to {number} % of its span "
        "anywhere on the dial at 20 degC; each 10 K away from that may add 0.4 % of span.",
        "EN 837-1:1996, table 11; effect of temperature from memory",
        ("span", "division"),
    )


def _dial_grade(grade: str, outer: str, middle: str | None, remark: str, source: str) -> Template:
    accuracy, where = f"{outer} % of span", "anywhere on the dial"
    if middle is not None:
        accuracy = (
            f"{outer} % of span up to 25 % of span then {middle} % of span up to 75 % of span "
            f"then {outer} % of span"
        )
        where = f"in the lowest and highest quarter of the dial, {middle} % between them"
    return Template(
        f"dial gauge grade {grade}",
        {"reads": "gauge pressure", "accuracy": accuracy},
        f"Dial gauge of grade {grade}: off by up to {outer} % of its span {where}{remark}.",
        f"ASME B40.100, {source}",
        ("span", "division"),
    )


_MEMORY, _QUOTED = "from memory", "as quoted in an army manual (SM0486)"
_PRESSURE = (
    *(_dial_class(number) for number in ("0.1", "0.25", "0.6", "1", "1.6", "2.5", "4")),
    _dial_grade("4A", "0.1", None, "", _MEMORY),
    _dial_grade("3A", "0.25", None, "", _MEMORY),
    _dial_grade("2A", "0.5", None, "", _MEMORY),
    _dial_grade("1A", "1", None, "", _MEMORY),
    _dial_grade("A", "2", "1", "", _QUOTED),
    _dial_grade("B", "3", "2", "; most gauges of small compressors are of this grade", _QUOTED),
    _dial_grade("C", "4", "3", "", _MEMORY),
    _dial_grade("D", "5", None, "", _MEMORY),
    Template(
        "phone barometer",
        {"reads": "absolute pressure", "accuracy": "1 hPa", **_SAME, **_UNSURE},
        "Barometer in a phone, the pressure where it lies: a weather report is reduced to sea "
        "level and cannot take its place.",
        COMMON_PRACTICE,
    ),
)


# -- temperature -------------------------------------------------------------------------------

_WITHOUT_READER = (
    "without its reader, which errs as well, often by 1 K: write the accuracy yourself with "
    "`+ 1 K` behind; readings close together on this span share nearly all of the error"
)


def _thermocouple(kind: str, number: int, least: str, share: str, top: str) -> Template:
    return Template(
        f"thermocouple type {kind} class {number}",
        {
            "reads": "temperature",
            "accuracy": f"greater of {least} K or {share} % of reading",
            "span": ["-40 degC", f"{top} degC"],
        },
        f"Thermocouple of type {kind}, class {number}, {_WITHOUT_READER}.",
        "IEC 60584-1, tolerance classes, from copies of the table; ends of the span from memory",
    )


def _pt100(letters: str, at_zero: str, share: str, low: str, high: str) -> Template:
    return Template(
        f"resistance thermometer Pt100 class {letters}",
        {
            "reads": "temperature",
            "accuracy": f"{at_zero} K + {share} % of reading",
            "span": [f"{low} degC", f"{high} degC"],
        },
        f"Resistance thermometer Pt100 of class {letters}, {_WITHOUT_READER}.",
        "IEC 60751, tolerance classes of wire-wound resistors, from memory",
    )


_TEMPERATURE = (
    _thermocouple("K", 1, "1.5", "0.4", "1000"),
    _thermocouple("K", 2, "2.5", "0.75", "1200"),
    _thermocouple("J", 1, "1.5", "0.4", "750"),
    _thermocouple("J", 2, "2.5", "0.75", "750"),
    _thermocouple("T", 1, "0.5", "0.4", "350"),
    _thermocouple("T", 2, "1", "0.75", "350"),
    _pt100("AA", "0.1", "0.17", "-50", "250"),
    _pt100("A", "0.15", "0.2", "-100", "450"),
    _pt100("B", "0.3", "0.5", "-196", "600"),
)


# -- electricity -------------------------------------------------------------------------------


def _energy_meter(number: str, at_small_load: str) -> Template:
    return Template(
        f"energy meter class {number}",
        {"reads": "energy", "accuracy": f"{number} % of reading", **_SAME},
        f"Electricity meter of class {number}: off by up to {number} % of what it counted, by the "
        f"same share in all runs; at a few per cent of its current up to {at_small_load} %.",
        "IEC 62053-21, classes; limits at small load from memory",
        ("digit",),
    )


_ELECTRICITY = (
    _energy_meter("1", "1.5"),
    _energy_meter("2", "2.5"),
    Template(
        "cheap plug-in energy meter",
        {"reads": "energy", "accuracy": "20 % of reading", **_SAME, **_UNSURE},
        "Energy meter for a socket at a low price: nine of them were off by 2.6 to 19 % on "
        "average, mostly reading low, at times by more than 25 %; too low an input flatters the "
        "efficiency, so check it against a known heater and state what you found.",
        "Liikkanen and Nieminen, HIIT Technical Report 2009-1; 20 % as limits: common practice",
        ("digit",),
    ),
    Template(
        "pocket multimeter DC volts",
        {"reads": "DC voltage", "accuracy": "0.5 % of reading + 2 digits", **_UNSURE},
        "Cheap multimeter on a range for DC volts, as its data sheet usually says: yours may say "
        "otherwise, and AC is worse.",
        COMMON_PRACTICE,
        ("span", "digit"),
    ),
    Template(
        "DC clamp meter",
        {
            "reads": "DC current",
            "accuracy": "2 % of reading + 5 digits",
            "each_reading": "0.1 A",
            **_UNSURE,
        },
        "Clamp meter for DC up to some 60 A, zeroed before each reading: its zero still wanders by "
        "0.1 A (`each_reading:`), by more on a clamp for hundreds of amperes.",
        COMMON_PRACTICE,
        ("span", "digit"),
    ),
)


# -- mass --------------------------------------------------------------------------------------

_MASS = (
    Template(
        "kitchen scale",
        {"reads": "mass", "accuracy": "greater of 2 g or 0.3 % of reading", **_UNSURE},
        "Scale for the kitchen that nobody has verified: weigh something of known mass on it.",
        COMMON_PRACTICE,
        ("span", "digit"),
    ),
    Template(
        "hanging scale",
        {"reads": "mass", "accuracy": "50 g", **_UNSURE},
        "Luggage or fishing scale that nobody has verified: hang something of known mass on it, "
        "and read the tare with it as well.",
        COMMON_PRACTICE,
        ("span", "digit"),
    ),
    Template(
        "legal scale class III",
        {
            "reads": "mass",
            "accuracy": "1 digit up to 500 digits then 2 digits up to 2000 digits then 3 digits "
            "up to 10000 digits",
        },
        "Verified shop scale in use, which may be off by twice what it was on the day of its "
        "verification: its digit is the `e` on its plate; weigh no less than 20 of them.",
        "UK SI 1995/1907, the table of OIML R 76, doubled for scales in service",
        ("span", "digit"),
    ),
)


# -- length ------------------------------------------------------------------------------------

_LENGTH = (
    Template(
        "tape class II",
        {
            "reads": "length",
            "accuracy": "0.5 mm + 0.02 % of reading",
            "span": ["0 m", "10 m"],
            "division": "1 mm",
            "readable_to": "1/2",
        },
        "Tape measure with II on it: 0.3 mm and 0.2 mm more for each metre or part of one, here "
        "never less and at most 0.2 mm more; from a hook 0.2 mm more; half a division for the two "
        "ends.",
        "Measuring Instruments Directive 2014/32/EU, annex MI-008, from memory; ends: common "
        "practice",
    ),
    Template(
        "steel rule",
        {
            "reads": "length",
            "accuracy": "0.2 mm",
            "division": "1 mm",
            "readable_to": "1/2",
            **_SAME,
            **_UNSURE,
        },
        "Steel rule of a workshop, read to half a millimetre: where its zero is held adds as much "
        "again, so read the zero as well, or use `each_reading:`.",
        COMMON_PRACTICE,
    ),
    Template(
        "caliper",
        {
            "reads": "length",
            "accuracy": "0.03 mm",
            "span": ["0 mm", "150 mm"],
            "digit": "0.01 mm",
            "each_reading": "0.02 mm",
            **_UNSURE,
        },
        "Caliper of 150 mm with a display: a bore or a soft part is worse than a flat one, so "
        "raise `each_reading:` for them.",
        COMMON_PRACTICE,
    ),
)


# -- time and speed ----------------------------------------------------------------------------


def _video(frames: int) -> Template:
    return Template(
        f"video clock {frames} frames per second",
        {
            "reads": "time",
            "accuracy": "0.1 % of reading",
            "division": f"{1000 / frames:.6g} ms",
            "readable_to": "1",
            **_SAME,
            **_UNSURE,
        },
        f"Time between two frames of a video, {frames} of them a second: each event may lie "
        "anywhere within its frame, and phones vary the rate by 0.1 %.",
        "difference of two errors that are even over one frame; rate: common practice, no source",
    )


_TIME = (
    Template(
        "hand stopwatch",
        {
            "reads": "time",
            "accuracy": "0.05 s + 100 ppm of reading",
            "repeatability": "0.1 s",
            "digit": "0.01 s",
            **_SAME,
            **_UNSURE,
        },
        "Stopwatch started and stopped by a practised thumb at sudden events that it expects: a "
        "vague event, such as a lamp that dims, needs a spread of its own.",
        "American Journal of Physics 87 (2019) 110 for the scatter of 0.1 s; mean mismatch of "
        "start and stop, and the quartz: common practice",
    ),
    *(_video(frames) for frames in (24, 25, 30, 50, 60, 120, 240)),
)

_SPEED = (
    Template(
        "optical tachometer",
        {
            "reads": "rotational speed",
            "accuracy": "0.05 % of reading + 1 digit",
            "digit": "1 rpm",
            **_SAME,
            **_UNSURE,
        },
        "Tachometer that sees one mark on the shaft, as its data sheet usually says: the speed of "
        "the machine itself wanders by more, so take several readings.",
        COMMON_PRACTICE,
    ),
)


# -- flow --------------------------------------------------------------------------------------

_FLOW = (
    Template(
        "rotameter",
        {"reads": "volume flow", "accuracy": "5 % of span", **_UNSURE},
        "Float in a tapered tube: its scale holds for one fluid, and with a gas for one pressure "
        "and temperature only.",
        COMMON_PRACTICE,
        ("span", "division"),
    ),
)

INSTRUMENTS: Groups = (
    ("pressure", _PRESSURE),
    ("temperature", _TEMPERATURE),
    ("electricity", _ELECTRICITY),
    ("mass", _MASS),
    ("length", _LENGTH),
    ("time", _TIME),
    ("speed", _SPEED),
    ("flow", _FLOW),
)
INSTRUMENTS_BY_NAME = by_name(INSTRUMENTS)
