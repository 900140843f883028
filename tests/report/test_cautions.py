"""Cautions: the usual ones of the trade, and never a word that something is safe."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest

from effband.report.cautions import CAUTIONS, DEFER, cautions
from effband.report.markdown import markdown
from effband.study import Study


@pytest.mark.parametrize("hazard", sorted(CAUTIONS))
def test_a_known_hazard_brings_its_caution(hazard: str) -> None:
    first, last = cautions((hazard,))
    assert first == f"{hazard}: {CAUTIONS[hazard]}"
    assert last == DEFER


@pytest.mark.parametrize("hazard", ["Compressed Air", "ELECTRICITY"])
def test_capitals_do_not_matter(hazard: str) -> None:
    assert CAUTIONS[hazard.lower()] in cautions((hazard,))[0]


def test_an_unknown_hazard_is_named_as_written() -> None:
    found = cautions(("Liquid nitrogen", "water"))
    assert len(found) == 3
    assert found[0].startswith("Liquid nitrogen: ")
    assert CAUTIONS["water"] in found[1]


def test_a_hazard_named_twice_is_printed_once() -> None:
    assert len(cautions(("water", "water"))) == 2


def test_no_hazard_no_caution() -> None:
    assert cautions(()) == []


def test_the_end_defers_and_calls_nothing_safe() -> None:
    assert "local codes" in DEFER
    assert "licensed practice" in DEFER
    assert "no statement that anything is safe" in DEFER


def test_no_caution_states_a_pressure_load_or_speed() -> None:
    number = re.compile(r"[0-9]+(\.[0-9]+)? *(bar|psi|kPa|MPa|Pa|kg|N|t|rpm|V|A|W)\b")
    for text in CAUTIONS.values():
        assert not number.search(text)
        assert not re.search(r"\b(is|are) safe\b", text)


def _section(report: str) -> list[str]:
    lines = report.splitlines()
    assert "**Cautions.**" in lines
    rest = lines[lines.index("**Cautions.**") + 2 :]
    return rest[: rest.index("")]


def test_the_report_ends_its_cautions_with_the_deferring_sentence(wren: Study) -> None:
    section = _section(markdown(wren, None))
    assert len(section) == len(wren.case.hazards) + 1
    assert section[-1] == f"- {DEFER}"


def test_the_report_shows_an_unknown_hazard(wren: Study) -> None:
    case = replace(wren.case, hazards=("geese",))
    section = _section(markdown(replace(wren, case=case), None))
    assert section[0].startswith("- geese: ")
    assert section[1:] == [f"- {DEFER}"]


def test_no_hazard_no_section(wren: Study) -> None:
    report = markdown(replace(wren, case=replace(wren.case, hazards=())), None)
    assert "aution" not in report
    assert DEFER not in report
