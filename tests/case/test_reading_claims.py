"""Claims and cross-checks: how they are read, which values they are about, and what is refused."""

from __future__ import annotations

from pathlib import Path

import pytest
from small_case import FILE, Complaint, complaints, understood, warnings

from effband.case.model import Case, Claim, CrossCheck
from effband.case.resolve import load_case

CASE = """\
effband: 1
title: claims
inputs:
  tank: {value: 90 L, plus_minus: 2 L}
  filled: {value: 91 L, plus_minus: 3 L}
  barometer: {value: 1 bar, plus_minus: 5 hPa, reads: absolute pressure}
  room: {value: 20 degC, plus_minus: 1 K}
  outside: {value: 5 degC, plus_minus: 1 K}
runs:
  readings:
    gauge: {unit: bar, plus_minus: 0.1 bar, reads: gauge pressure}
    share: {unit: "%", plus_minus: 1 points}
    other: {unit: "%", plus_minus: 1 points, optional: true}
  rows:
    one: {gauge: 9, share: 30, other: 31}
    two: {gauge: 8, share: 32}
    three: {gauge: 7, share: 34, other: 33}
    four: {gauge: 6, share: 36, other: 35}
GROUPS
formulas:
  by_plate: tank
  by_water: filled
  by_gauge: gauge
  by_absolute: absolute(gauge, barometer)
  eta: share
  eta_again: other
  fixed: 0.33
  warmth: room - outside
  in_the_room: room
results:
  volume: {formula: tank, unit: L}
  part: {formula: tank / filled, unit: 1, is: ratio}
  efficiency: {formula: share, unit: "%", is: ratio}
  again: {formula: other, unit: "%", is: ratio}
  missed: {formula: "in_run(other, two)", unit: "%", is: ratio}
  temperature: {formula: room, unit: degC}
  in_kelvin: {formula: room, unit: K}
  warming: {formula: room - outside, unit: delta_degC}
CHECKED
"""
GROUPS = "  groups: {pair: [two, three, four]}"


def case_of(checked: str, groups: str = "") -> str:
    """Return the case with `claims:` or `cross_checks:` in it."""
    return CASE.replace("GROUPS", groups).replace("CHECKED", checked)


def claim(said: str, groups: str = "") -> Claim:
    """Return the one claim, such as `result: volume, says: at least 80 L`."""
    (found,) = understood(case_of(f"claims: [{{{said}}}]", groups)).claims
    return found


def cross_checks(said: str, groups: str = "") -> tuple[CrossCheck, ...]:
    return understood(case_of(f"cross_checks: {{same: {said}}}", groups)).cross_checks


# -- claims that can be judged --------------------------------------------------------------------

# litres are 1e-3 m^3, per cent 1e-2, points of a temperature are in_kelvin: 0 degC is 273.15 K (SI)
LIMITS = [
    ("result: volume, says: at least 80 L", "at least", 0.080, None),
    ("result: volume, says: at least 0.08 m^3", "at least", 0.080, None),
    ("result: volume, says: at most 95000 mL", "at most", None, 0.095),
    ("result: volume, says: between 85 L and 95 L", "between", 0.085, 0.095),
    ("result: volume, says: is 90 L within 2 L", "within", 0.088, 0.092),
    ("result: volume, says: is 90 L within 5 % of value", "within", 0.0855, 0.0945),
    ("result: volume, says: is 90 L within 5 %", "within", 0.0855, 0.0945),
    ("result: efficiency, says: is 35 % within 2 points", "within", 0.33, 0.37),
    ("result: efficiency, says: is 35 % within 20 % of value", "within", 0.28, 0.42),
    ("result: efficiency, says: at least 0", "at least", 0.0, None),
    ("result: part, says: is 0.98 within 0.02", "within", 0.96, 1.0),
    ("result: part, says: at most 98 %", "at most", None, 0.98),
    ("result: temperature, says: at least 19 degC", "at least", 292.15, None),
    ("result: temperature, says: at least 290 K", "at least", 290.0, None),
    ("result: temperature, says: is 20 degC within 2 K", "within", 291.15, 295.15),
    ("result: in_kelvin, says: at most 300 K", "at most", None, 300.0),
    ("result: warming, says: at least 10 delta_degC", "at least", 10.0, None),
    ("result: warming, says: at least 10 K", "at least", 10.0, None),
    ("result: warming, says: at least 0 K", "at least", 0.0, None),
]


@pytest.mark.parametrize(("said", "way", "low", "high"), LIMITS, ids=[row[0] for row in LIMITS])
def test_the_limits_are_those_said(
    said: str, way: str, low: float | None, high: float | None
) -> None:
    found = claim(said)
    assert found.way == way
    assert found.low == (None if low is None else pytest.approx(low, rel=1e-12))
    assert found.high == (None if high is None else pytest.approx(high, rel=1e-12))
    two_sided = low is not None and high is not None
    assert (found.below is not None) == (found.above is not None) == two_sided


def about(case: Case, found: Claim) -> list[str | None]:
    """Return the runs or groups that a claim is about."""
    outputs = [case.outputs[at] for at in found.outputs]
    assert {output.target.name for output in outputs} == {found.result}
    return [output.run for output in outputs]


ABOUT = [
    ("result: volume, says: at least 80 L", "", [None]),
    ("result: efficiency, says: at least 3 %", "", ["one", "two", "three", "four"]),
    ("result: efficiency, run: two, says: at least 3 %", "", ["two"]),
    # a group stands in the place of its runs, which only repeat one load
    ("result: efficiency, says: at least 3 %", GROUPS, ["one", "pair"]),
    ("result: efficiency, run: pair, says: at least 3 %", GROUPS, ["pair"]),
    ("result: efficiency, run: three, says: at least 3 %", GROUPS, ["three"]),
    ("result: again, says: at least 3 %", "", ["one", "three", "four"]),
]


@pytest.mark.parametrize(("said", "groups", "runs"), ABOUT)
def test_what_a_claim_is_about(said: str, groups: str, runs: list[str | None]) -> None:
    case = understood(case_of(f"claims: [{{{said}}}]", groups))
    assert about(case, case.claims[0]) == runs


def test_a_confidence_is_95_per_cent_unless_it_is_said() -> None:
    assert claim("result: volume, says: at least 80 L").confidence == 0.95
    said = claim("result: volume, says: at least 80 L, confidence: 99.5 %")
    assert said.confidence == pytest.approx(0.995)


def test_claims_are_in_the_order_of_the_file_and_keep_their_words() -> None:
    found = understood(
        case_of(
            "claims:\n  - {result: volume, says: at most 95 L}\n"
            "  - {result: volume, says: at least 80 L}\n"
            "  - {result: volume, says: at most 95 L}"
        )
    ).claims
    assert [each.says for each in found] == ["at most 95 L", "at least 80 L", "at most 95 L"]


def test_claims_and_cross_checks_add_no_source() -> None:
    plain = understood(case_of(""))
    full = understood(
        case_of(
            "claims: [{result: volume, says: at least 80 L}]\n"
            "cross_checks: {same: [by_plate, by_water]}"
        )
    )
    assert full.sources == plain.sources
    assert [output.step for output in full.outputs] == [output.step for output in plain.outputs]
    assert not warnings(case_of("claims: [{result: volume, says: at least 80 L}]"))[2:]


def test_rows_from_a_file_have_claims_as_well(tmp_path: Path) -> None:
    (tmp_path / "runs.csv").write_text("run,volts\nlight,1.5\nfull,2.5\n", encoding="utf-8")
    file = tmp_path / FILE
    file.write_text(
        "effband: 1\ntitle: rows from a file\n"
        "runs:\n  file: runs.csv\n  readings: {volts: {unit: V, plus_minus: 0.1 V}}\n"
        "formulas: {a: volts, b: 1.01 * volts}\n"
        "results: {r: {formula: volts, unit: V}}\n"
        "claims:\n  - {result: r, run: full, says: at least 2 V}\n"
        "  - {result: r, says: at most 3 V}\n"
        "cross_checks: {same: [a, b]}\n",
        encoding="utf-8",
    )
    case = load_case(str(file))
    assert [about(case, each) for each in case.claims] == [["full"], ["light", "full"]]
    assert [each.where for each in case.cross_checks] == ["run light", "run full"]


# -- claims that are refused ----------------------------------------------------------------------

# what follows `claims: [{`, the characters marked, what is said, what is to be done
REFUSED = [
    ("result: volumes, says: at least 2 L", "volumes", "no result is called", "volume"),
    ("result: efficiency, run: five, says: at least 2 %", "five", "no run is called", "four"),
    (
        "result: volume, run: one, says: at least 2 L",
        "one",
        "volume has one value for the whole case",
        "leave `run:` out",
    ),
    (
        "result: again, run: two, says: at least 2 %",
        "two",
        "again has no value in run two",
        "name another run",
    ),
    (
        "result: missed, says: at least 2 %",
        "missed",
        "missed has no value in any run",
        "write the readings",
    ),
    ("result: volume, says: at least 2 V", "2 V", "does not fit volume, which is in L", "L"),
    ("result: volume, says: at most 90", "90", "90 of what?", "write `90 L`"),
    # a plain number for a value in % could be either of two, a hundred times apart
    ("result: efficiency, says: at least 22", "22", "22 of what?", "write `22 %`"),
    (
        "result: efficiency, says: at least 0.3",
        "0.3",
        "0.3 of what?",
        "write `0.3 %`, or `30 %` if it is a fraction",
    ),
    ("result: efficiency, says: between 20 % and 30", "30", "30 of what?", "write `30 %`"),
    (
        "result: efficiency, says: is 35 % within 2",
        "2",
        "2 of what?",
        "write `2 points`",
    ),
    # a change is between two cases
    (
        "result: efficiency, says: rose by 4 points",
        "rose by 4 points",
        "is about a change, which takes two cases",
        '`effband compare BEFORE AFTER --by "4 points"`',
    ),
    (
        "result: efficiency, says: at least 4 points better",
        "at least 4 points better",
        "is about a change",
        '--by "4 points"`',
    ),
    ("result: volume, says: dropped 3 L", "dropped 3 L", "is about a change", '--by "-3 L"`'),
    (
        "result: efficiency, says: rose from 20 % to 30 %",
        "rose from 20 % to 30 %",
        "is about a change",
        '--by "2 points"`',
    ),
    ("result: volume, says: between 2 L and 3 V", "3 V", "does not fit volume", "in L"),
    ("result: volume, says: at least two L", "two", "'two' is not a number", ""),
    ("result: volume, says: at least nan L", "nan", "is not a number", ""),
    ("result: volume, says: at least 2 litters", "litters", "unit", ""),
    ("result: volume, says: between 3 L and 2 L", "between 3 L and 2 L", "lower", "exchange"),
    ("result: volume, says: between 2 L and 2000 mL", "between 2 L and 2000 mL", "lower", ""),
    (
        "result: efficiency, says: is 35 % within 2 %",
        "2 %",
        "a percentage of what? the value itself is in %",
        "write `2 points` or `2 % of value`",
    ),
    (
        "result: part, says: is 0.98 within 2 %",
        "2 %",
        "2 % of the value, or 0.02?",
        "write `2 % of value` or `0.02`",
    ),
    (
        "result: volume, says: is 90 L within 0 L",
        "is 90 L within 0 L",
        "the width is above 0",
        "2 L",
    ),
    ("result: volume, says: is 90 L within -2 L", "is 90 L within -2 L", "is above 0", ""),
    ("result: volume, says: is 90 L within 2 points", "2 points", "", ""),
    ("result: volume, says: is 90 L within 2 kg", "2 kg", "does not fit a value in L", "L"),
    (
        "result: temperature, says: is 20 degC within 2 degC",
        "2 degC",
        "degC is a point on a scale, no width",
        "K or delta_degC",
    ),
    (
        "result: temperature, says: is 20 degC within 5 % of value",
        "5 % of value",
        "a share of what?",
        "write a width in K",
    ),
    (
        "result: temperature, says: at least 10 delta_degC",
        "10 delta_degC",
        "is a temperature difference, and temperature is in degC",
        "write it in degC",
    ),
    (
        "result: warming, says: at least 10 degC",
        "10 degC",
        "is a temperature, and warming is in delta_degC",
        "write it in delta_degC",
    ),
    # a result in K may be either, so a limit on it is in K
    ("result: in_kelvin, says: at least 10 degC", "10 degC", "in_kelvin is in K", "write it in K"),
    (
        "result: volume, says: at least 2 L, confidence: 95",
        "95",
        "'95' is no probability",
        "95 %",
    ),
    (
        "result: volume, says: at least 2 L, confidence: 40 %",
        "40 %",
        "a confidence lies between 0.5 and 0.9999",
        "95 % is usual",
    ),
    ("result: volume, says: at least 2 L, confidence: 99.999 %", "99.999 %", "0.9999", "95 %"),
    ("result: volume", "{", "'says' is missing", ""),
    ("says: at least 2 L", "{", "'result' is missing", ""),
    ("result: volume, says: at least 2 L, runs: one", "runs", "runs", "run"),
    ("result: volume, says: [at least 2 L]", "[", "plain text is expected", ""),
]
REFUSED += [
    (f"result: volume, says: {said}", said, "is no claim that can be judged", "write at least X")
    for said in (
        "more than 2 L",
        "at least",
        "is 90 L",
        "At least 2 L",
        "between 2 L",
        "90 L",
        "about 90 L",
        "not at least 2 L",
    )
]


def only(text: str) -> Complaint:
    (found,) = complaints(text)
    return found


@pytest.mark.parametrize(
    ("said", "marked", "what", "remedy"), REFUSED, ids=[row[0] for row in REFUSED]
)
def test_what_cannot_be_judged_is_refused_at_its_place(
    said: str, marked: str, what: str, remedy: str
) -> None:
    text = case_of(f"claims: [{{{said}}}]")
    found = only(text)
    line = text.split("\n")[found.line - 1]
    assert line.startswith("claims:")
    assert line[found.column - 1 :].startswith(marked), (found, line)
    assert what in found.what
    assert found.remedy
    assert remedy in found.remedy


@pytest.mark.parametrize(
    ("hand", "remedy"),
    [("8", "write `8 %`"), ("0.08", "write `0.08 %`, or `8 %` if it is a fraction")],
)
def test_a_value_by_hand_needs_its_unit_too(hand: str, remedy: str) -> None:
    text = case_of("").replace(
        'efficiency: {formula: share, unit: "%", is: ratio}',
        f'efficiency: {{formula: share, unit: "%", is: ratio, hand_value: {hand}}}',
    )
    found = only(text)
    assert (found.marked, found.what, found.remedy) == (hand, f"{hand} of what?", remedy)


def test_every_claim_that_is_wrong_is_told_in_one_go() -> None:
    text = case_of(
        "claims:\n  - {result: volumes, says: at least 2 L}\n"
        "  - {result: volume, says: at least 2 L}\n"
        "  - {result: volume, run: one, says: about 2 L, confidence: 10 %}"
    )
    found = [(each.marked, each.line) for each in complaints(text)]
    first = text.split("\n").index("claims:") + 2
    assert found == [
        ("volumes", first),
        ("one", first + 2),
        ("about 2 L", first + 2),
        ("10 %", first + 2),
    ]


def test_a_claim_on_a_result_that_is_refused_is_not_complained_of_again() -> None:
    text = case_of("claims: [{result: volume, says: at least 2 L}]")
    text = text.replace("volume: {formula: tank, unit: L}", "volume: {formula: tanks, unit: L}")
    assert [each.marked for each in complaints(text)] == ["tanks"]


def test_a_claim_beyond_the_ceiling_is_doubted() -> None:
    """A heat pump's 320 % against an efficiency's 100 %."""
    text = case_of("claims: [{result: cop, says: at least 320 %}]").replace(
        "results:\n",
        'results:\n  cop: {formula: tank / filled, unit: "%", boundary: {in: mains, out: heat}}\n',
    )
    found = [each for each in warnings(text) if "claims more than the ceiling" in each.what]
    assert len(found) == 1
    assert "cop, 100 %" in found[0].what
    assert "performance ratio" in found[0].remedy
    plain = text.replace("320 %", "80 %")
    assert not [each for each in warnings(plain) if "ceiling" in each.what]


# -- cross-checks ---------------------------------------------------------------------------------


def test_members_pairs_and_units() -> None:
    (check,) = cross_checks("[by_plate, by_water]")
    assert check.members == ("by_plate", "by_water")
    assert check.where == ""
    assert [output.target.unit.text for output in check.values] == ["L", "L"]
    assert [(i, k) for i, k, _ in check.pairs] == [(0, 1)]
    assert (check.combine, check.anyway) == (None, False)


def test_three_members_make_three_pairs() -> None:
    (check,) = [each for each in cross_checks("[eta, eta_again, fixed]") if each.where == "run one"]
    assert [(i, k) for i, k, _ in check.pairs] == [(0, 1), (0, 2), (1, 2)]


def test_what_may_be_combined_is_as_written() -> None:
    (check,) = cross_checks("{between: [by_plate, by_water], combine: mixture, anyway: yes}")
    assert (check.combine, check.anyway) == ("mixture", True)


def test_a_difference_of_temperatures_is_shown_as_one() -> None:
    text = case_of("cross_checks: {same: [in_the_room, out_of_it]}").replace(
        "formulas:\n", "formulas:\n  out_of_it: outside\n"
    )
    (check,) = understood(text).cross_checks
    assert check.values[0].target.unit.text == "degC"
    assert check.pairs[0][2].target.unit.text == "K"


@pytest.mark.parametrize(
    ("groups", "places"),
    [
        ("", ["run one", "run two", "run three", "run four"]),
        (GROUPS, ["run one", "group pair"]),
    ],
)
def test_members_per_run_are_compared_in_each_place(groups: str, places: list[str]) -> None:
    """One of the two has one value for the whole case: it is held to every run's."""
    assert [each.where for each in cross_checks("[eta, fixed]", groups)] == places


def test_where_a_reading_is_missing_nothing_is_compared_and_that_is_said() -> None:
    text = case_of("cross_checks: {same: [eta, eta_again]}")
    assert [each.where for each in understood(text).cross_checks] == [
        "run one",
        "run three",
        "run four",
    ]
    (found,) = [each for each in warnings(text) if "is not compared" in each.what]
    assert found.marked == "same"
    assert found.what == "same is not compared in two: other is empty in run two"
    assert found.remedy == "write the reading"


def test_a_group_with_a_missing_reading_is_not_compared() -> None:
    text = case_of("cross_checks: {same: [eta, eta_again]}", GROUPS)
    assert [each.where for each in understood(text).cross_checks] == ["run one"]
    (found,) = [each for each in warnings(text) if "is not compared" in each.what]
    assert found.what == "same is not compared in pair: other is empty in run two"


TOUCHED = [
    # formula of a result, and where `by_plate` stands in it: None where it does not
    ("by_plate", ""),
    ("by_plate / by_absolute", ""),
    ("filled / by_plate", "denominator"),
    ("filled / (2 * by_plate)", "denominator"),
    ("filled / (filled / by_plate)", ""),
    ("by_plate / (by_plate + filled)", ""),
    ("through / filled", ""),
    ("filled / through", "denominator"),
    ("filled / sqrt(by_plate ** 2)", "denominator"),
    ("-by_plate", ""),
    ("tank / filled", ""),  # the tank is all that by_plate passes on
]


@pytest.mark.parametrize(("formula", "place"), TOUCHED)
def test_what_a_cross_check_touches(formula: str, place: str | None) -> None:
    text = (
        case_of("cross_checks: {same: [by_plate, by_water]}")
        .replace("formulas:\n", "formulas:\n  through: 2 * by_plate\n  touched: FORMULA\n")
        .replace("FORMULA", formula)
        .replace("results:\n", "results:\n  t: {formula: touched, unit: UNIT}\n")
    )
    unit = {"by_plate": "L", "-by_plate": "L", "by_plate / by_absolute": "L/bar"}
    text = text.replace("unit: UNIT", f'unit: "{unit.get(formula, "1")}", is: KIND')
    text = text.replace("KIND", "quantity" if formula in unit else "ratio")
    text = text.replace("filled / (filled / by_plate)", "filled / (filled / by_plate) / filled")
    case = understood(text)
    (check, *_) = case.cross_checks
    found = {case.outputs[at].target.name: where for at, where in check.touches}
    assert found.get("t") == place
    assert ("t" in found) == (place is not None)
    assert "temperature" not in found


# what follows `cross_checks: {same: `, the characters marked, what is said, what is to be done
REFUSED_CHECKS = [
    ("[by_plate, by_waters]", "by_waters", "no formula is called 'by_waters'", "by_water"),
    ("[by_plate, tank]", "tank", "tank is no formula", "such as `tank_as_given: tank`"),
    ("[eta, share]", "share", "share is no formula", "such as `share_as_given: share`"),
    ("[by_plate, volume]", "volume", "no formula is called 'volume'", ""),
    ("[by_plate]", "[", "between two formulas or more", "write [a, b]"),
    ("[by_plate, by_plate]", "[", "a formula stands twice", "name each once"),
    (
        "{between: [by_plate, by_water], anyway: true}",
        "anyway",
        "`anyway:` lets estimates that disagree be combined, but none are",
        "combine: weighted",
    ),
    (
        "{between: [by_plate, by_water], combine: blend}",
        "blend",
        "'blend' is not known here",
        "weighted",
    ),
    ("{between: [by_plate, by_water], combine: weighted, anyway: perhaps}", "perhaps", "", "true"),
    ("[by_plate, by_gauge]", "[", "they cannot give one quantity", "like with like"),
    ("[by_gauge, by_absolute]", "[", "they cannot give one quantity", "both gauge or both abs"),
    ("[warmth, in_the_room]", "[", "they cannot give one quantity", "like with like"),
    ("{combine: weighted}", "same", "'between' is missing", ""),
    ("by_plate", "by_plate", "", ""),
]


@pytest.mark.parametrize(
    ("said", "marked", "what", "remedy"), REFUSED_CHECKS, ids=[row[0] for row in REFUSED_CHECKS]
)
def test_what_cannot_be_compared_is_refused_at_its_place(
    said: str, marked: str, what: str, remedy: str
) -> None:
    text = case_of(f"cross_checks: {{same: {said}}}")
    found = only(text)
    line = text.split("\n")[found.line - 1]
    assert line.startswith("cross_checks:")
    assert line[found.column - 1 :].startswith(marked), (found, line)
    assert what in found.what
    assert found.remedy
    assert remedy in found.remedy


def test_gauge_and_absolute_are_named_for_what_they_are() -> None:
    found = only(case_of("cross_checks: {same: [by_gauge, by_absolute]}"))
    assert "by_gauge is gauge pressure" in found.what
    assert "by_absolute is absolute pressure" in found.what
