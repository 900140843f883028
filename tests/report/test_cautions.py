"""Cautions: the usual ones of the trade, and never a word that something is safe."""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from dataclasses import replace

import pytest

from effband.physics.functions import FUNCTIONS, TRADES
from effband.report.cautions import (
    CAUTIONS,
    DEFER,
    HAZARDS_OF_FUNCTION,
    HAZARDS_OF_TRADE,
    cautions,
    known_hazards,
)
from effband.report.content import report
from effband.report.markdown import markdown
from effband.study import Study

StudyOf = Callable[..., Study]

# What each caution must say, by the trade's concern, in words that no other wording keeps.
ROWS = {
    "vessels made for air": (
        "compressed air",
        "made and stamped for air; ASME BPVC Section VIII; 2014/29/EU; 2014/68/EU; EN 286-1; "
        "Never use LPG bottles, fire extinguishers, water heaters or home-welded tanks",
    ),
    "stored energy": ("compressed air", "enough energy to kill; 90 L; 20 g of TNT"),
    "gauge and relief valve": (
        "compressed air",
        "gauge in sight; no other valve between it and the receiver; test it often; drain the "
        "lowest point; 29 CFR 1910.169(b)",
    ),
    "inspection": (
        "compressed air",
        "competent person; hydrostatic, with water, and never made with air; 29 CFR 1910.169 sets "
        "no interval; California; PSSR 2000",
    ),
    "pipes": (
        "compressed air",
        "no PVC, CPVC or other brittle plastic pipe; OSHA bulletins of 1988 and 1990; B31.3; B31.9",
    ),
    "cleaning": (
        "compressed air",
        "Never point air at people; 29 CFR 1910.242(b); chip guards; protective equipment",
    ),
    "cold": ("compressed air", "far below freezing; ice can block a vent"),
    "rotating parts": (
        "rotating parts",
        "Guard; out of the plane of the disc; Overspeed; load drops off; twice its best speed; "
        "speed of the rim; ISO 12100; ISO 14120; 29 CFR 1910.212 and 1910.219",
    ),
    "brake": ("brake", "Prony; hot; grab; fire"),
    "engines": (
        "exhaust gas",
        "carbon monoxide; out of doors only; 50 ppm on average over 8 h; 1910.1000 table Z-1; "
        "NIOSH asks for 35 ppm; at no time above 200 ppm",
    ),
    "spirit and petrol": ("fire", "invisible flame; Refuel only what is cold; no hot refuelling"),
    "electricity": (
        "electricity",
        "Inverter and mains outputs kill; RCD, GFCI; isolated supplies; IEC 60364; NFPA 70; "
        "Capacitors hold their charge; measurement category (CAT); IEC 61010-1",
    ),
    "lamps": ("hot surfaces", "burn skin; set fire; lamp banks; base that cannot burn"),
    "hearing": (
        "noise",
        "exhaust of an air motor; above 100 dB(A); OSHA 1910.95 table G-16; 85 dB(A)",
    ),
    "batteries": ("batteries", "hydrogen; short-circuit current"),
    "hydro": ("water", "Screen intakes; shut suddenly makes water hammer"),
}


@pytest.mark.parametrize("row", ROWS)
def test_every_concern_of_the_trade_is_told(row: str) -> None:
    hazard, words = ROWS[row]
    text = cautions((hazard,))[0]
    for word in words.split("; "):
        assert word in text


def test_every_caution_has_a_concern() -> None:
    assert {hazard for hazard, _ in ROWS.values()} == set(CAUTIONS)


@pytest.mark.parametrize("hazard", sorted(CAUTIONS))
def test_a_known_hazard_brings_its_caution(hazard: str) -> None:
    first, last = cautions((hazard,))
    assert first == f"{hazard}: {CAUTIONS[hazard]}"
    assert last == DEFER


@pytest.mark.parametrize("hazard", ["Compressed Air", "ELECTRICITY", "hot-surfaces", " water  "])
def test_capitals_hyphens_and_spaces_do_not_matter(hazard: str) -> None:
    plain = hazard.lower().replace("-", " ").strip()
    assert cautions((hazard,))[0] == f"{hazard}: {CAUTIONS[plain]}"


@pytest.mark.parametrize(
    ("word", "hazard"),
    [
        ("mains", "electricity"),
        ("Mains voltage", "electricity"),
        ("fuel", "fire"),
        ("petrol", "fire"),
        ("Spirit", "fire"),
        ("hot water", "hot surfaces"),
        ("lead-acid", "batteries"),
        ("carbon monoxide", "exhaust gas"),
        ("air receiver", "compressed air"),
        ("Prony brake", "brake"),
        ("water hammer", "water"),
        ("flywheel", "rotating parts"),
        ("hearing", "noise"),
    ],
)
def test_other_words_bring_the_caution_too(word: str, hazard: str) -> None:
    assert cautions((word,)) == [f"{word}: {CAUTIONS[hazard]}", DEFER]


def test_each_other_word_listed_works_and_belongs_to_one_hazard() -> None:
    assert list(known_hazards()) == list(CAUTIONS)
    words = [word for name, others in known_hazards().items() for word in (name, *others)]
    assert len(set(words)) == len(words) > 3 * len(CAUTIONS)
    for name, others in known_hazards().items():
        for other in others:
            assert cautions((other.upper(),))[0] == f"{other.upper()}: {CAUTIONS[name]}"


@pytest.mark.parametrize("hazard", ["Liquid nitrogen", "steam", "lifted loads"])
def test_an_unknown_hazard_is_named_and_said_to_be_unknown(hazard: str) -> None:
    found = cautions((hazard, "water"))
    assert len(found) == 3
    assert found[0].startswith(f"{hazard}: take the usual care")
    assert "no caution of its own" in found[0]
    assert CAUTIONS["water"] in found[1]


def test_a_hazard_named_twice_is_printed_once() -> None:
    assert len(cautions(("water", "water"))) == 2
    assert cautions(("mains", "inverter")) == [f"mains, inverter: {CAUTIONS['electricity']}", DEFER]


def test_no_hazard_no_caution() -> None:
    assert cautions(()) == []
    assert cautions((), ("absolute",)) == []


def test_every_function_is_decided_and_no_decision_is_idle() -> None:
    assert set(HAZARDS_OF_TRADE) == set(TRADES)
    assert set(HAZARDS_OF_FUNCTION) <= set(FUNCTIONS)
    for trade, functions in TRADES.items():
        assert HAZARDS_OF_TRADE[trade]
        for function in functions:
            decided = HAZARDS_OF_FUNCTION.get(function.name, HAZARDS_OF_TRADE[trade])
            found = cautions((), (function.name,))[:-1]
            marked = f"(named here because the case uses {function.name})"
            assert found == [f"{hazard} {marked}: {CAUTIONS[hazard]}" for hazard in decided]
    for name, decided in HAZARDS_OF_FUNCTION.items():
        (trade,) = (each for each in TRADES if FUNCTIONS[name] in TRADES[each])
        assert decided != HAZARDS_OF_TRADE[trade]


@pytest.mark.parametrize(
    ("function", "hazards"),
    [
        ("receiver_exergy", ["compressed air", "noise"]),
        ("leak_mass_flow", ["compressed air", "noise"]),
        ("absolute", []),
        ("kinetic_energy", ["rotating parts"]),
        ("prony_brake_power", ["brake", "rotating parts"]),
        ("rope_brake_power", ["brake", "rotating parts"]),
        ("ac_power", ["electricity"]),
        ("lamp_power", ["electricity", "hot surfaces"]),
        ("orifice_flow", ["water"]),
        ("hydraulic_power", ["water", "rotating parts"]),
        ("wind_power", ["rotating parts"]),
        ("sensible_heat", ["hot surfaces"]),
        ("heating_cop", ["electricity", "hot surfaces"]),
        ("spirit_heating_value", ["fire", "exhaust gas", "hot surfaces"]),
        ("willans_fuel_rate", ["fire", "exhaust gas", "hot surfaces", "noise"]),
        ("mean_of_runs", []),  # no physics
    ],
)
def test_a_function_implies_its_hazards(function: str, hazards: list[str]) -> None:
    assert [text.split(" (named")[0] for text in cautions((), (function,))[:-1]] == hazards


def test_what_is_declared_is_not_implied_again() -> None:
    found = cautions(("Air receiver", "noise"), ("receiver_exergy", "lamp_power"))
    assert [text.split(":")[0] for text in found[:-1]] == [
        "Air receiver",
        "noise",
        "electricity (named here because the case uses lamp_power)",
        "hot surfaces (named here because the case uses lamp_power)",
    ]
    assert cautions(("compressed air", "noise"), ("receiver_exergy",)) == cautions(
        ("compressed air", "noise")
    )


def test_an_implied_hazard_is_printed_once_with_all_that_imply_it() -> None:
    used = ("mass_of_air", "receiver_exergy", "mass_of_air", "warm_pressure")
    found = cautions((), used)
    assert len(found) == 3
    assert "the case uses mass_of_air, receiver_exergy and warm_pressure):" in found[0]


def test_the_order_is_as_declared_then_as_used() -> None:
    found = cautions(("water", "geese", "brake"), ("wind_power", "ac_power"))
    assert [re.split(" [(]|:", text)[0] for text in found[:-1]] == [
        "water",
        "geese",
        "brake",
        "rotating parts",
        "electricity",
    ]
    assert found[-1] == DEFER


def test_the_end_defers_and_calls_nothing_safe() -> None:
    assert DEFER.endswith(
        "Defer to local codes and licensed practice; this report approves no equipment."
    )
    # not "no statement that anything is safe": a search for "is safe" finds nothing in a block
    assert "call nothing safe" in DEFER


def whole_block() -> str:
    """Return everything that the cautions can say."""
    used = cautions((), tuple(FUNCTIONS))
    return "\n".join([*cautions((*CAUTIONS, "geese")), *used])


def test_no_caution_states_a_pressure_load_or_speed() -> None:
    number = re.compile(
        r"[0-9]+(\.[0-9]+)? *-?(bar|psig?|psi|kPa|MPa|Pa|kg|N|Nm|t|rpm|V|A|W|J|kJ|m/s|°C)\b", re.I
    )
    assert number.search("at 9 bar")
    assert number.search("30-psi")
    assert not number.search(whole_block())
    # nor as a share of one that a vessel or machine is made for, nor spelt out
    assert not re.search(r"%|per cent|times the|\b(bar|psi|pascal|atmospheres?)\b", whole_block())


def test_every_number_but_those_in_names_of_rules_is_accounted_for() -> None:
    rules = (
        r"2014/29/EU|2014/68/EU|EN 286-1|ISO 1[24]1[02]0|29 CFR 1910\.\d+( and 1910\.\d+)?"
        r"|OSHA 1910\.95|table (Z-1|G-16)|PSSR 2000|of 1988 and 1990|B31\.[39]"
        r"|IEC 60364|NFPA 70|IEC 61010-1"
    )
    left = {
        hazard: re.findall(r"[0-9.]*[0-9](?: \w+)?", re.sub(rules, "", text))
        for hazard, text in CAUTIONS.items()
    }
    told = {hazard: " | ".join(numbers) for hazard, numbers in left.items() if numbers}
    assert told == {
        "compressed air": "90 L | 20 g",  # a fact of danger, worked out below
        "exhaust gas": "50 ppm | 8 h | 35 ppm | 200 ppm",  # limits in the air that is breathed
        "noise": "100 dB | 8 h | 90 dB | 4 h | 95 | 2 h | 100 | 1 h | 105 | 110 | 85 dB",
    }


def test_nothing_in_the_whole_block_reads_as_approval() -> None:
    text = whole_block().replace("call nothing safe", "")
    assert not re.search(r"(?i)\bsafe|approv(?!es no equipment)|harmless|no danger", text)
    assert not re.search(r"(?i)\b(acceptable|allowed|permitted|permissible|certif|guarant)", text)
    assert not re.search(r"(?i)\b(enough|sufficient) (margin|protection)|suitable|you may\b", text)


def test_the_energy_of_a_workshop_receiver_is_as_told() -> None:
    """A closed vessel let out isentropically: p V / (gamma - 1) (1 - (p0/p)^(1 - 1/gamma)).

    4.62 kJ a gram of TNT, and more than 100 kJ "highly hazardous": UC Berkeley EHS, stored energy
    of a pressurised gas vessel. Small compressors stop at 8 to 10 bar gauge: common practice.
    """

    def energy(gauge: float) -> float:
        p, barometer, volume, gamma = gauge + 101_325, 101_325, 0.090, 1.4
        left = (barometer / p) ** (1 - 1 / gamma)
        return p * volume / (gamma - 1) * (1 - left)

    assert energy(9e5) == pytest.approx(108e3, abs=500)
    assert energy(9e5) / 4620 == pytest.approx(23, abs=0.5)
    assert energy(8e5) / 4620 > 20
    assert "one of 90 L" in CAUTIONS["compressed air"]
    assert "more energy than 20 g of TNT" in CAUTIONS["compressed air"]


def test_the_rim_is_as_fast_as_told() -> None:
    """A plate of 250 to 300 mm, 3000 turns a minute (two poles, 50 Hz), 130 km/h on a motorway."""
    for diameter in (0.25, 0.30):
        assert math.pi * diameter * 3000 / 60 * 3.6 > 130
    assert "faster than a car on a motorway" in CAUTIONS["rotating parts"]


def test_the_hours_in_noise_halve_every_5_decibels() -> None:
    """29 CFR 1910.95 appendix A, from memory: T = 8 h / 2^((L - 90)/5)."""
    text = CAUTIONS["noise"].replace("half an hour", "0.5 h").replace(" dB(A)", "")
    pairs = re.findall(r"([0-9.]+) h of ([0-9]+)", text)
    assert len(pairs) == 5
    for hours, level in pairs:
        assert float(hours) == 8 / 2 ** ((float(level) - 90) / 5)


PLAIN = """\
effband: 1
title: A sum
inputs:
  a: {value: 10 m, plus_minus: 1 m, evidence: guess}
results:
  twice: {formula: 2 * a, unit: m}
"""


def _section(report: str) -> list[str]:
    lines = report.splitlines()
    assert "**Cautions.**" in lines
    rest = lines[lines.index("**Cautions.**") + 2 :]
    return rest[: rest.index("")]


def test_the_report_ends_its_cautions_with_the_deferring_sentence(wren: Study) -> None:
    section = _section(markdown(report(wren)))
    for hazard in wren.case.hazards:
        assert sum(line.startswith(f"- {hazard}: ") for line in section) == 1
    assert section[-1] == f"- {DEFER}"


def test_the_report_shows_an_unknown_hazard(wren: Study) -> None:
    case = replace(wren.case, hazards=("geese",))
    section = _section(markdown(report(replace(wren, case=case))))
    assert section[0].startswith("- geese: ")
    assert section[-1] == f"- {DEFER}"


def test_no_hazard_no_section(study_of: StudyOf) -> None:
    """No hazard is declared here and no physics function is called."""
    page = markdown(report(study_of(PLAIN)))
    assert "aution" not in page
    assert DEFER not in page
