"""What `like:` fills in: nothing that was written is lost, nothing is filled in unsaid."""

from __future__ import annotations

import pytest
from small_case import answers, complaints, laws, understood, warnings

from effband.evidence.as_sold import INSTRUMENTS_BY_NAME
from effband.evidence.distributions import Rectangular, Triangular
from effband.evidence.rules_of_thumb import RULES_BY_NAME
from effband.report.understood import understood as printed

CASE = """\
effband: 1
title: alike
instruments:
  meter: METER
  ruler: {accuracy: 1 mm, span: [0 m, 2 m]}
inputs:
  x: {value: 9 bar, instrument: meter, gas: settled}
  y: INPUT
results:
  r: {formula: x * (1 + y), unit: bar}
"""
METER = "{like: dial gauge class 2.5, span: [0 bar, 16 bar], division: 0.5 bar}"
WRITTEN_OUT = "{accuracy: 2.5 % of span, reads: gauge pressure, span: [0 bar, 16 bar], division: "
WRITTEN_OUT += "0.5 bar}"
INPUT = "{like: small engine load fraction}"


def case_of(meter: str = METER, entry: str = INPUT) -> str:
    return CASE.replace("METER", meter).replace("INPUT", entry)


def test_an_instrument_as_sold_is_the_one_written_out() -> None:
    alike, written = understood(case_of()), understood(case_of(WRITTEN_OUT))
    assert alike.sources == written.sources
    assert alike.program == written.program
    assert alike.leaves == written.leaves


def test_a_rule_of_thumb_is_the_spread_written_out() -> None:
    alike = understood(case_of())
    out = "{low: 45 %, likely: 60 %, high: 85 %, evidence: rule of thumb}"
    assert alike.sources == understood(case_of(entry=out)).sources
    assert laws(alike)["y"] == Triangular(0.45, 0.6, 0.85)


@pytest.mark.parametrize(
    "name",
    ["Small engine load fraction", "small  engine load   fraction", "SMALL ENGINE LOAD FRACTION"],
)
def test_letters_and_blanks_of_a_name_do_not_matter(name: str) -> None:
    assert understood(case_of(entry=f"{{like: {name}}}")).sources == understood(case_of()).sources


@pytest.mark.parametrize(
    ("entry", "law"),
    [
        ("{like: small engine load fraction, likely: 70 %}", Triangular(0.45, 0.7, 0.85)),
        (
            "{like: small engine load fraction, low: 0.5, likely: 0.6, high: 0.7}",
            Triangular(0.5, 0.6, 0.7),
        ),
    ],
)
def test_any_key_of_a_rule_may_be_written_over(entry: str, law: Triangular) -> None:
    found = laws(understood(case_of(entry=entry)))["y"]
    assert vars(found) == pytest.approx(vars(law), rel=1e-14)


@pytest.mark.parametrize(
    ("more", "limit"),
    [
        ("", 0.4e5),
        (", accuracy: 1 % of span", 0.16e5),
        (", class: 1.6", 0.256e5),
        (", accuracy: 0.1 bar + 1 % of reading", 0.19e5),
    ],
)
def test_one_statement_of_accuracy_takes_the_place_of_the_other(more: str, limit: float) -> None:
    case = understood(case_of(METER.replace("}", f"{more}}}")))
    (common,) = [c for leaf in case.leaves for c in leaf.components if c.role == "common"]
    assert f"limits +- {limit / 1e5:.4g} bar" in common.words


def test_a_certificate_takes_the_place_of_the_class() -> None:
    sheet = ", calibration: {expanded_uncertainty: 0.06 bar, coverage_factor: 2}}"
    case = understood(case_of(METER.replace("}", sheet)))
    (common,) = [c for leaf in case.leaves for c in leaf.components if c.role == "common"]
    assert common.words == "normal, standard uncertainty 0.03 bar"


def test_a_display_takes_the_place_of_a_dial() -> None:
    meter = "{like: dial gauge class 1, span: [0 bar, 16 bar], digit: 0.01 bar}"
    assert laws(understood(case_of(meter)))["x.digit"] == Rectangular(-500.0, 500.0)


def test_a_clock_by_video_gives_way_to_a_stated_digit() -> None:
    text = case_of().replace(
        "x: {value: 9 bar, instrument: meter, gas: settled}", "x: {value: 9 s, instrument: meter}"
    )
    text = text.replace("unit: bar", "unit: s").replace(
        METER, "{like: video clock 30 frames per second, digit: 0.1 s}"
    )
    assert {name for name in laws(understood(text)) if name.startswith("x.")} == {"x.digit"}


def test_evidence_of_the_catalogue_does_not_pass_to_another_statement() -> None:
    own = "{like: kitchen scale, span: [0 kg, 5 kg], digit: 1 g, accuracy: 1 g}"
    sold = own.replace(", accuracy: 1 g", "")
    text = case_of().replace(
        "{value: 9 bar, instrument: meter, gas: settled}", "{value: 2 kg, instrument: meter}"
    )
    text = text.replace("unit: bar", "unit: kg")
    for meter, evidence in ((own, "datasheet"), (sold, "rule of thumb")):
        (leaf,) = [x for x in understood(text.replace(METER, meter)).leaves if x.name == "x"]
        assert leaf.evidence == evidence


def test_check_prints_what_was_filled_in() -> None:
    text = printed(understood(case_of()))
    assert "accuracy: 2.5 % of span" in text
    assert "EN 837-1" in text
    assert "filled in by small engine load fraction: low: 45 %, likely: 60 %, high: 85 %" in text


def test_only_what_was_filled_in_is_called_so() -> None:
    text = printed(understood(case_of(entry="{like: small engine load fraction, low: 50 %}")))
    assert "filled in by small engine load fraction: likely: 60 %, high: 85 %" in text


def test_a_rule_of_thumb_is_never_used_silently() -> None:
    (said,) = understood(case_of()).assumptions
    assert said == (
        "y is a rule of thumb, small engine load fraction: triangular, 45 % to 85 %, most likely "
        "60 % (common practice, no source)"
    )


def test_an_instrument_that_stands_on_no_standard_says_so() -> None:
    text = case_of().replace(
        "{value: 9 bar, instrument: meter, gas: settled}", "{value: 2 kg, instrument: meter}"
    )
    text = text.replace("unit: bar", "unit: kg").replace(
        METER, "{like: kitchen scale, span: [0 kg, 5 kg], digit: 1 g}"
    )
    assert any(
        each.startswith("the accuracy of meter is what is usual for such instruments")
        for each in understood(text).assumptions
    )


REFUSED = [
    (
        "{like: dial gauge class 2.6, span: [0 bar, 16 bar]}",
        INPUT,
        "dial gauge class 2.6",
        "the catalogue knows no instrument 'dial gauge class 2.6'",
        "did you mean dial gauge class 2.5",
    ),
    (
        METER,
        "{like: warp drive}",
        "warp drive",
        "the catalogue knows no rule of thumb 'warp drive'",
        "`effband rules` lists what it knows",
    ),
    (
        "{like: dial gauge class 2.5}",
        INPUT,
        "like",
        "dial gauge class 2.5 does not say its span and division",
        "add `span:` and `division:` as on yours",
    ),
    (
        "{like: V-belt efficiency}",
        INPUT,
        "V-belt efficiency",
        "'V-belt efficiency' is a rule of thumb, for an input",
        "`effband instruments` lists",
    ),
    (
        METER,
        "{like: caliper}",
        "caliper",
        "'caliper' is an instrument: declare it under `instruments:`",
        "`effband rules` lists",
    ),
    (
        METER,
        "{like: V-belt efficiency, value: 95 %}",
        "value",
        "`value` does not go with `like`, which states `low`, `likely`, `high`",
        "leave `like:` out",
    ),
    (
        METER,
        "{like: V-belt efficiency, chance_inside: 80 %}",
        "chance_inside",
        "`chance_inside` does not go with `like`",
        "leave `like:` out",
    ),
    (
        METER,
        "{like: V-belt efficiency, constant: 95 %}",
        "constant",
        "`constant` does not go with `like`",
        "leave `like:` out",
    ),
    (
        METER,
        "{like: V-belt efficiency, instrument: ruler}",
        "instrument",
        "`instrument` does not go with `like`",
        "leave `like:` out",
    ),
    (
        METER,
        "{value: 1, plus_minus: 0.1, also: {like: V-belt efficiency}}",
        "like",
        "`like:` names a rule of thumb, which is an input by itself",
        "make it an input",
    ),
]


@pytest.mark.parametrize(
    ("meter", "entry", "marked", "what", "remedy"),
    REFUSED,
    ids=[row[3][:60] for row in REFUSED],
)
def test_what_does_not_go_with_it_is_refused_in_place(
    meter: str, entry: str, marked: str, what: str, remedy: str
) -> None:
    (found,) = complaints(case_of(meter, entry))
    assert found.marked == marked
    assert found.what.startswith(what)
    assert remedy in found.remedy


def test_a_fault_with_a_filled_in_key_points_at_like() -> None:
    text = "{like: energy meter class 1, digit: 0.01 kWh, error_along_scale: other}"
    (found,) = complaints(case_of(text))
    assert found.marked == "other"
    sheet = "{like: dial gauge class 1, span: [0 kg, 16 kg], division: 0.5 bar}"
    assert {each.marked for each in answers(case_of(sheet))} <= {"0.5 bar", "like"}


@pytest.mark.parametrize(
    ("entry", "marked", "what", "remedy"),
    [
        ("high: 91 %", "91 %", "this lies below the `likely: 95 %` of V-belt efficiency", "likely"),
        ("low: 99 %", "99 %", "this lies above the `likely: 95 %` of V-belt efficiency", "likely"),
        ("likely: 99 %", "99 %", "this lies above the `high: 98 %` of V-belt efficiency", "high"),
        ("likely: 0.5", "0.5", "this lies below the `low: 90 %` of V-belt efficiency", "low"),
    ],
)
def test_a_limit_beyond_one_that_was_left_is_refused(
    entry: str, marked: str, what: str, remedy: str
) -> None:
    (found,) = complaints(case_of(entry=f"{{like: V-belt efficiency, {entry}}}"))
    assert (found.marked, found.what) == (marked, what)
    assert found.remedy == f"write `{remedy}:` over as well"


def test_whose_limits_they_are_is_said() -> None:
    own = "{like: V-belt efficiency, low: 80 %, likely: 84 %, high: 88 %}"
    (said,) = understood(case_of(entry=own)).assumptions
    assert "V-belt efficiency with `low` and `likely` and `high` of your own: " in said


def test_a_rule_that_calls_itself_measured_is_doubted() -> None:
    text = case_of(entry="{like: V-belt efficiency, low: 91 %, evidence: measured}")
    assert any("says `evidence: measured`" in each.what for each in warnings(text))
    for entry in (
        "{like: V-belt efficiency, evidence: guess}",
        "{like: V-belt efficiency, low: 91 %, likely: 93 %, high: 94 %, evidence: measured}",
    ):
        assert not any("evidence:" in each.what for each in warnings(case_of(entry=entry)))


@pytest.mark.parametrize(
    ("entry", "remedy"),
    [
        ("{like: petrol}", "did you mean petrol without ethanol lower heating value or "),
        ("{like: V-belt}", "did you mean V-belt efficiency"),
        ("{like: a Pelton}", "pico Pelton wheel efficiency"),
    ],
)
def test_a_shared_word_is_enough_for_a_hint(entry: str, remedy: str) -> None:
    (found,) = complaints(case_of(entry=entry))
    assert remedy in found.remedy


def test_a_reading_takes_no_rule_of_thumb() -> None:
    column = "{unit: bar, plus_minus: 1 bar, like: V-belt efficiency}"
    runs = f"runs: {{readings: {{z: {column}}}, rows: {{a: {{z: 1}}}}}}\n"
    (found,) = complaints(case_of().replace("results:", runs + "results:"))
    assert found.what == "`like:` names a rule of thumb, which is an input by itself"


def test_an_upgrade_may_name_one() -> None:
    better = "{like: dial gauge class 0.6, span: [0 bar, 16 bar], digit: 0.01 bar}"
    more = f"upgrades:\n  better:\n    replaces: meter\n    instrument: {better}\n"
    assert answers(case_of() + more) == answers(case_of())
    wrong = more.replace("class 0.6", "class 0.7")
    assert any("'dial gauge class 0.7'" in each.what for each in answers(case_of() + wrong))
    wrong = "upgrades:\n  better: {adds: {inputs: {z: {like: caliper}}}}\n"
    assert any("'caliper' is an instrument" in each.what for each in answers(case_of() + wrong))


@pytest.mark.parametrize("name", INSTRUMENTS_BY_NAME)
def test_every_instrument_can_be_read_with(name: str) -> None:
    template = INSTRUMENTS_BY_NAME[name]
    reads = str(template.keys["reads"])
    unit, reading, digit = {
        "gauge pressure": ("bar", "9", "0.1"),
        "absolute pressure": ("hPa", "985", "0.1"),
        "temperature": ("degC", "60", "0.1"),
        "energy": ("kWh", "0.12", "0.01"),
        "DC voltage": ("V", "13.62", "0.01"),
        "DC current": ("A", "7.9", "0.01"),
        "mass": ("kg", "2", "0.001"),
        "length": ("mm", "120", "0.1"),
        "time": ("s", "80", "0.01"),
        "rotational speed": ("rpm", "2600", "1"),
        "volume flow": ("L/min", "120", "1"),
        "force": ("N", "12", "0.1"),
    }[reads]
    asked = {
        "span": f"[0 {unit}, 2000 {unit}]",
        "digit": f"{digit} {unit}",
        "division": f"{digit} {unit}",
    }
    if unit == "degC":
        asked["digit"] = "0.1 K"
    more = "".join(f", {key}: {asked[key]}" for key in template.asks)
    text = case_of(f"{{like: {name}{more}}}").replace(
        "{value: 9 bar, instrument: meter, gas: settled}",
        f"{{value: {reading} {unit}, instrument: meter}}",
    )
    text = text.replace(
        "r: {formula: x * (1 + y), unit: bar}", f"r: {{formula: x + 0 * (x - x) * y, unit: {unit}}}"
    )
    case = understood(text)
    assert any(source.item == "meter" for source in case.sources)
    assert case.likes[0].name == name


@pytest.mark.parametrize("name", RULES_BY_NAME)
def test_every_rule_of_thumb_can_be_used(name: str) -> None:
    case = understood(case_of(entry=f"{{like: {name}}}").replace("x * (1 + y)", "x"))
    (leaf,) = [leaf for leaf in case.leaves if leaf.name == "y"]
    assert leaf.evidence in ("rule of thumb", "handbook")
    assert any(said.startswith("y is a ") and name in said for said in case.assumptions)
