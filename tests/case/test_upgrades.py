"""Upgrades as changes of the case: what is refused and where, and that a change is what it says.

A changed case is held against the same change typed into the file by hand: the same sources with
the same laws, and the same operations, mean the same numbers whatever is drawn.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import pytest
from small_case import answers, complaints, laws, understood, values

from effband.case.model import Case
from effband.case.resolve import load_case, with_change
from effband.case.upgrades import Change, Cost, change_of, parse_cost, together
from effband.problems import CaseError, Misread

CASE = """\
effband: 1
title: an upgrade
instruments:
  gauge: {reads: gauge pressure, accuracy: 2.5 % of span, span: [0 bar, 16 bar], division: 0.5 bar}
  volts: {accuracy: 1 % of reading, span: [0 V, 20 V], digit: 0.01 V}
inputs:
  x: {value: 1 L, plus_minus: 0.1 L}
  air: {low: 970 hPa, high: 990 hPa, reads: absolute pressure, means: input energy}
  spring: {repeats: [2, 2.5, 3], unit: kg}
joint:
  fit: {values: {a: 1 W, b: 2 W}, standard_uncertainties: {a: 0.1 W, b: 0.1 W},
        correlation: [[1, 0.5], [0.5, 1]]}
runs:
  readings:
    p: {unit: bar, instrument: gauge, gas: settled}
    v: {unit: V, instrument: volts}
    t: {unit: s, plus_minus: 1 s}
  rows:
    light: {p: 9, v: 12, t: 100}
    full: {p: 3, v: 13, t: 80}
formulas:
  size: {formula: x, means: input energy}
  work: v * t
  top: absolute(p, air)
results:
  all_work: {formula: work, unit: V*s}
  power: {formula: a + b, unit: W}
  room: {formula: size, unit: L}
  pressure: {formula: top, unit: bar}
  load: {formula: spring, unit: kg}
"""


def with_upgrade(text: str) -> str:
    return f"{CASE}upgrades:\n  better: {text}\n"


def test_the_bare_case_is_fine_and_silent() -> None:
    assert answers(CASE) == []


# The upgrade as a user would write it, what is said, and the text that is marked.
REFUSED: Sequence[tuple[str, str, str]] = (
    # neither of the ways, or more than one of them
    ("{cost: 5 EUR}", "says nothing of what would be there", "better"),
    ("{replaces: x}", "says nothing of what would be there", "better"),
    ("{adds: {}}", "says nothing of what would be there", "better"),
    ("{input: {value: 1 L, plus_minus: 1 L}}", "what its `input:` stands in place of", "input"),
    ("{instrument: {accuracy: 1 V}}", "what its `instrument:` stands in place of", "instrument"),
    (
        "{replaces: x, instrument: {accuracy: 1 L}, input: {plus_minus: 0.1 L}}",
        "cannot both stand",
        "input",
    ),
    (
        "{replaces: x, input: {plus_minus: 0.1 L}, adds: {inputs: {k: {constant: 1 L}}}}",
        "`replaces:` and `adds:` are two ways",
        "adds",
    ),
    (
        "{replaces: x, input: {plus_minus: 0.1 L}, formulas: {size: x}}",
        "`replaces:` and `formulas:` are two ways",
        "formulas",
    ),
    (
        "{replaces: x, input: {plus_minus: 0.1 L}, repeats: 5}",
        "`replaces:` and `repeats:` are two ways",
        "repeats",
    ),
    # names
    ("{replaces: z, input: {plus_minus: 0.1 L}}", "no instrument or input is called 'z'", "z"),
    ("{replaces: p, input: {plus_minus: 0.1 L}}", "p is a reading, which is no better", "p"),
    ("{replaces: a, input: {plus_minus: 0.1 W}}", "fitted together with others", "a"),
    ("{replaces: [x, x], input: {plus_minus: 1 mL}}", "x stands twice here", "["),
    (
        "{replaces: x, instrument: {accuracy: 1 L}}",
        "x is an input, and no instrument",
        "instrument",
    ),
    (
        "{replaces: gauge, input: {plus_minus: 1 L}}",
        "gauge is an instrument, and no input",
        "input",
    ),
    ("{formulas: {siz: x}}", "no formula is called 'siz'", "x"),
    ("{formulas: {work: v * tt}}", "unknown name 'tt'", "tt"),
    ("{formulas: {size: x + xx}}", "unknown name 'xx'", "xx"),
    ("{formulas: {work: work * 2}}", "go round in a circle: work -> work", "work * 2"),
    ("{adds: {inputs: {x: {constant: 1 L}}}}", "x is already the name of an input", "x"),
    ("{adds: {inputs: {fit: {constant: 1 L}}}}", "fit is already the name of a fit", "fit"),
    ("{adds: {instruments: {work: {accuracy: 1 L}}}}", "the name of a formula", "work"),
    # a statement that does not fit
    ("{replaces: x, input: {plus_minus: 0.01 kg}}", "in kg, which does not fit L", "plus_minus"),
    ("{replaces: x, input: {plus_minus: 0.01 kgg}}", "kgg", "kgg"),
    (
        "{replaces: x, input: {value: 1 kg, plus_minus: 0.01 kg}}",
        "with better: the formula gives mass (kg), which is not L",
        "input",
    ),
    (
        "{replaces: gauge, instrument: {accuracy: 1 % of span, division: 0.1 bar}}",
        "no span is given",
        "accuracy",
    ),
    (
        "{replaces: gauge, instrument: {class: 1, span: [0 bar, 6 bar], division: 0.1 bar}}",
        "with better: p: 9 bar lies outside the span of gauge, 0 to 6 bar",
        "instrument",
    ),
    (
        "{replaces: gauge, instrument: {class: 1, span: [0 V, 16 V], digit: 0.01 V}}",
        "with better: p is in bar, but the span of gauge is in V",
        "instrument",
    ),
    (
        "{replaces: gauge, "
        "instrument: {reads: absolute pressure, class: 1, span: [0 bar, 16 bar]}}",
        "absolute",
        "instrument",
    ),
    # a reading that is only planned
    ("{adds: {readings: {u: {unit: V, plus_minus: 1 V}}}}", "'expect' is missing", "u"),
    ("{adds: {readings: {u: {unit: V, plus_minus: 1 V, expect: x}}}}", "which is not V", "x"),
    ("{adds: {readings: {u: {unit: V, plus_minus: 1 V, expect: vv}}}}", "unknown name 'vv'", "vv"),
    ("{adds: {readings: {u: {unit: V, plus_minus: 1 V, expect: u}}}}", "circle: u -> u", "u"),
    ("{adds: {readings: {u: {unit: V, expect: v}}}}", "the column u has no spread", "u"),
    (
        "{adds: {readings: {u: {unit: V, plus_minus: 1 V, expect: v * v / (v - v)}}}}",
        "no finite value in run light",
        "v * v / (v - v)",
    ),
    (
        "{adds: {readings: {u: {unit: V, instrument: meter, expect: v}}}}",
        "instrument 'meter' is not declared",
        "meter",
    ),
    (
        "{adds: {readings: {u: {unit: bar, reads: absolute pressure, plus_minus: 1 bar, "
        "expect: p}}}}",
        "this gives gauge pressure, but u would read absolute pressure",
        "p",
    ),
    # repeats, costs, purposes
    ("{repeats: 1}", "repeats are 2 to 1000 in all, not 1", "1"),
    ("{repeats: 100000}", "repeats are 2 to 1000 in all", "100000"),
    ("{repeats: many}", "is not a number", "many"),
    # a number that is no such reading, or one that may be either of two
    ("{adds: {readings: {u: {unit: V, plus_minus: 1 V, expect: 160 mm}}}}", "not V", "160 mm"),
    (
        "{adds: {readings: {u: {unit: '%', plus_minus: 1 points, expect: 0.4}}}}",
        "0.4 of what?",
        "0.4",
    ),
    # one value cannot be that of two things
    (
        "{replaces: [x, air], input: {value: 2 L, plus_minus: 0.1 L}}",
        "one `input:` with a value for 2 names: x and air",
        "input",
    ),
    ("{repeats: 5, cost: 5 €€}", "a cost is a number and one currency word", "5 €€"),
    ("{repeats: 5, cost: cheap}", "a cost is a number and one currency word", "cheap"),
    ("{repeats: 5, cost: 5}", "a cost is a number and one currency word", "5"),
    ("{repeats: 5, cost: -5 EUR}", "a cost is a number and one currency word", "-5 EUR"),
    ("{repeats: 5, cost: 5 EUR}\n  other: {repeats: 6, cost: 5 GBP}", "the same in all", "5 GBP"),
    ("{repeats: 5, for: {result: z}}", "no result is called 'z'", "z"),
    ("{repeats: 5, for: {result: all_work, run: z}}", "no run or group is called 'z'", "z"),
    ("{repeats: 5, for: {result: room, run: full}}", "one value for the whole case", "full"),
)


@pytest.mark.parametrize(("text", "what", "marked"), REFUSED, ids=[row[0][:70] for row in REFUSED])
def test_a_bad_upgrade_is_refused_where_it_is_written(text: str, what: str, marked: str) -> None:
    case = with_upgrade(text)
    (found,) = complaints(case)
    assert what in found.what
    assert found.marked == marked
    assert found.remedy
    assert found.line > CASE.count("\n")


def test_what_is_wrong_with_several_is_said_of_each() -> None:
    bad = "{replaces: x, input: {plus_minus: 1 kg}}"
    found = complaints(with_upgrade(f"{bad}\n  worse: {bad}"))
    assert [each.line for each in found] == [CASE.count("\n") + 2, CASE.count("\n") + 3]


def test_without_runs_there_are_no_repeats_and_no_readings() -> None:
    case = (
        "effband: 1\ntitle: no runs\ninputs: {x: {value: 1 L, plus_minus: 1 mL}}\n"
        "results: {r: {formula: x, unit: L}}\n"
    )
    for text, what in (
        ("{repeats: 5}", "repeats are of runs"),
        ("{adds: {readings: {u: {unit: L, plus_minus: 1 L, expect: x}}}}", "there are no runs"),
    ):
        (found,) = complaints(f"{case}upgrades: {{more: {text}}}\n")
        assert what in found.what


def test_a_warning_about_the_upgrade_itself_stands_at_it() -> None:
    text = "{adds: {readings: {u: {unit: V, plus_minus: 1 V, expect: v}}}}"
    (found,) = answers(with_upgrade(text))
    assert found.what == "the reading u is not used in a formula"
    assert found.marked == "u"


# -- a change is what it says ------------------------------------------------------------------


def changed(text: str) -> Case:
    case = understood(with_upgrade(text))
    assert case.warnings == ()
    return with_change(case, change_of(case, "better"))


def by_hand(*exchanges: tuple[str, str]) -> Case:
    """Return the case with lines of its file written otherwise."""
    text = CASE
    for old, new in exchanges:
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    return understood(text)


GAUGE = (
    "gauge: {reads: gauge pressure, accuracy: 2.5 % of span, span: [0 bar, 16 bar], "
    "division: 0.5 bar}"
)
TIME = "    t: {unit: s, plus_minus: 1 s}\n"
FINE = "{accuracy: 0.5 % of span, span: [0 bar, 16 bar], digit: 0.01 bar}"
# The upgrade, and what a user would change in the file to the same end.
SAME: Sequence[tuple[str, Sequence[tuple[str, str]]]] = (
    (
        f"{{replaces: gauge, instrument: {FINE}}}",
        [(GAUGE, f"gauge: {FINE.replace('{', '{reads: gauge pressure, ')}")],
    ),
    (
        "{replaces: gauge, instrument: {like: dial gauge class 1, span: [0 bar, 16 bar], "
        "division: 0.1 bar}}",
        [
            (
                GAUGE,
                "gauge: {like: dial gauge class 1, span: [0 bar, 16 bar], division: 0.1 bar}",
            )
        ],
    ),
    (
        "{replaces: x, input: {plus_minus: 2 mL}}",
        [("x: {value: 1 L, plus_minus: 0.1 L", "x: {value: 1 L, plus_minus: 2 mL")],
    ),
    (
        "{replaces: x, input: {value: 1.1 L, plus_minus: 2 mL}}",
        [("x: {value: 1 L, plus_minus: 0.1 L", "x: {value: 1.1 L, plus_minus: 2 mL")],
    ),
    # its present value is the middle of its limits; what it is stays
    (
        "{replaces: air, input: {plus_minus: 1 hPa}}",
        [("{low: 970 hPa, high: 990 hPa,", "{value: 980 hPa, plus_minus: 1 hPa,")],
    ),
    # ... or the mean of its repeats
    (
        "{replaces: spring, input: {standard_uncertainty: 10 g}}",
        [("{repeats: [2, 2.5, 3], unit: kg}", "{value: 2.5 kg, standard_uncertainty: 10 g}")],
    ),
    (
        "{adds: {readings: {u: {unit: s, plus_minus: 0.2 s, expect: t}}}, formulas: {work: v * u}}",
        [
            (TIME, f"{TIME}    u: {{unit: s, plus_minus: 0.2 s}}\n"),
            ("t: 100}", "t: 100, u: 100}"),
            ("t: 80}", "t: 80, u: 80}"),
            ("work: v * t", "work: v * u"),
        ],
    ),
    # foretold by a formula that the upgrade itself replaces, read with what it adds
    (
        "{adds: {instruments: {counter: {accuracy: 0.1 % of reading, span: [0 V*s, 5000 V*s]}}, "
        "inputs: {offset: {value: 0 V*s, plus_minus: 1 V*s}}, "
        "readings: {u: {unit: V*s, instrument: counter, expect: work + offset}}}, "
        "formulas: {work: u - offset}}",
        [
            (
                "  volts:",
                "  counter: {accuracy: 0.1 % of reading, span: [0 V*s, 5000 V*s]}\n  volts:",
            ),
            ("joint:", "  offset: {value: 0 V*s, plus_minus: 1 V*s}\njoint:"),
            (TIME, f"{TIME}    u: {{unit: V*s, instrument: counter}}\n"),
            ("t: 100}", "t: 100, u: 1200}"),
            ("t: 80}", "t: 80, u: 1040}"),
            ("work: v * t", "work: u - offset"),
        ],
    ),
    # foretold by a number, as it would stand in a row, or with its unit
    *(
        (
            f"{{adds: {{readings: {{u: {{unit: s, plus_minus: 0.2 s, expect: {foretold}}}}}}}, "
            "formulas: {work: v * u}}",
            [
                (TIME, f"{TIME}    u: {{unit: s, plus_minus: 0.2 s}}\n"),
                ("t: 100}", "t: 100, u: 90}"),
                ("t: 80}", "t: 80, u: 90}"),
                ("work: v * t", "work: v * u"),
            ],
        )
        for foretold in ("90", "90 s", "1.5 min")
    ),
    # a formula with a meaning keeps it
    ("{formulas: {size: x / 2}}", [("{formula: x, means", "{formula: x / 2, means")]),
)


@pytest.mark.parametrize(("text", "exchanges"), SAME, ids=[row[0][:60] for row in SAME])
def test_an_upgrade_is_the_same_as_the_change_typed_in(
    text: str, exchanges: Sequence[tuple[str, str]]
) -> None:
    ours, theirs = changed(text), by_hand(*exchanges)
    assert laws(ours) == laws(theirs)
    assert values(ours) == values(theirs)
    assert [step.op for step in ours.program.steps] == [step.op for step in theirs.program.steps]
    assert [step.detail for step in ours.program.steps] == [s.detail for s in theirs.program.steps]
    assert [item.name for item in ours.items] == [item.name for item in theirs.items]


def test_two_upgrades_are_both_changes() -> None:
    case = understood(
        with_upgrade(
            f"{{replaces: gauge, instrument: {FINE}}}\n"
            "  other: {replaces: x, input: {plus_minus: 2 mL}}"
        )
    )
    both = together([change_of(case, "better"), change_of(case, "other")])
    assert both is not None
    typed = by_hand(*SAME[0][1], *SAME[2][1])
    assert laws(with_change(case, both)) == laws(typed)


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("{replaces: x, input: {plus_minus: 2 mL}}", "{replaces: [x], input: {plus_minus: 1 mL}}"),
        ("{formulas: {size: x / 2}}", "{formulas: {size: x / 3}}"),
        (
            "{adds: {inputs: {k: {constant: 1 L}}}, formulas: {size: k}}",
            "{adds: {inputs: {k: {constant: 2 L}}}, formulas: {work: v * t * k / k}}",
        ),
    ],
)
def test_what_changes_the_same_does_not_go_together(one: str, other: str) -> None:
    case = understood(with_upgrade(f"{one}\n  other: {other}"))
    assert together([change_of(case, "better"), change_of(case, "other")]) is None


def test_rows_of_a_table_stay_with_an_upgrade(tmp_path: Path) -> None:
    rows = "rows:\n    light: {p: 9, v: 12, t: 100}\n    full: {p: 3, v: 13, t: 80}\n"
    text = with_upgrade(SAME[6][0]).replace(rows, "file: runs.csv\n  missing: [NA]\n")
    assert "file: runs.csv" in text
    (tmp_path / "runs.csv").write_text("run,p,v,t\nlight,9,12,100\nfull,3,13,80\n")
    (tmp_path / "case.yaml").write_text(text)
    case = load_case(str(tmp_path / "case.yaml"))
    ours, theirs = with_change(case, change_of(case, "better")), by_hand(*SAME[6][1])
    assert laws(ours) == laws(theirs)
    assert values(ours) == values(theirs)


def test_what_a_missing_reading_foretells_is_missing() -> None:
    text = with_upgrade(
        "{adds: {readings: {u: {unit: s, plus_minus: 1 s, expect: t, optional: true}}}, "
        "formulas: {work: v * u}}"
    )
    text = text.replace(
        "t: {unit: s, plus_minus: 1 s}", "t: {unit: s, plus_minus: 1 s, optional: true}"
    )
    case = understood(text.replace(", t: 80}", "}"))
    found = values(with_change(case, change_of(case, "better")))
    assert found["all_work", "light"] == pytest.approx(1200, rel=1e-12)
    assert ("all_work", "full") not in found


def test_a_change_that_cannot_be_is_refused() -> None:
    case = understood(CASE)
    with pytest.raises(CaseError) as refused:
        with_change(case, Change(formulas={"work": "v * nothing"}, called="a slip"))
    assert "with a slip: unknown name 'nothing'" in str(refused.value)


# -- costs -------------------------------------------------------------------------------------


def test_costs() -> None:
    assert parse_cost("60 EUR") == Cost(60.0, "EUR")
    assert parse_cost("0 kr") == Cost(0.0, "kr")
    assert parse_cost("12.50 GBP") == Cost(12.5, "GBP")
    assert parse_cost("60 €") == Cost(60.0, "€")
    for text in (
        "60",
        "EUR",
        "60EUR",
        "EUR 60",
        "-6 EUR",
        "1e3 EUR",
        "60€",
        "60 €€",
        "060 EUR",
        "9" * 99,
    ):
        with pytest.raises(Misread):
            parse_cost(text)
