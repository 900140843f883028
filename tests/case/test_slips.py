"""Usual slips of a first case: each is named, and the line to write is shown.

What must be said follows from what YAML and the format ask for; the slips are common practice,
no source. A twin that is written as advised is accepted.
"""

from __future__ import annotations

import pytest

from effband.case.findings import Findings
from effband.case.resolve import load_case
from effband.case.text import parse_case
from effband.case.validate import typed
from effband.case.wanted import list_wanted, pairs_wanted
from effband.problems import CaseError, Misread
from effband.units import parse_quantity, parse_unit

HEAD = "effband: 1\ntitle: slips\n"
ROWS = "runs:\n  readings: {t: {unit: s, exact: true, optional: true}}\n  rows:\n"


def refused(text: str) -> tuple[int, str, str]:
    """Return line, sentence and remedy of the first thing that is refused."""
    try:
        problems = parse_case((HEAD + text).encode(), "case.yaml").problems
    except CaseError as error:
        problems = error.problems
    first = problems[0]
    assert first.place is not None
    return first.place.line, first.what, first.remedy


@pytest.mark.parametrize(
    ("text", "line", "what", "remedy"),
    [
        ("inputs:\n  a: {x: 1}\n   b: {x: 1}\n", 5, "one blank too far right", "column 3"),
        ("inputs:\n   a: {x: 1}\n  b: {x: 1}\n", 5, "one blank too far left", "column 4"),
        ("inputs:\n  a: {x: 1}\n     b: {x: 1}\n", 5, "3 blanks too far right", "column 3"),
        ("inputs:\n\ta: {x: 1}\n", 4, "a tab cannot indent a line", "indent with blanks"),
        ("inputs:\n  a: 5\n  - b\n", 5, "`-` stands where names stand above", "`name: value`"),
        ("results:\n  e:\n    unit: %\n", 5, "begins with % needs quotes", 'write `unit: "%"`'),
        ("results:\n  e: {unit: %, x: 1}\n", 4, "% needs quotes", 'write `unit: "%"`'),
        (ROWS + "    a: {t: ?}\n", 6, "`?` is no reading", "`optional: true`"),
        (ROWS + "    a:\n      t: ?\n", 7, "`?` is no reading", "`optional: true`"),
        (ROWS + "    a:\n      t: -\n", 7, "`-` is no reading", "`optional: true`"),
        ("a: {x: 1\nb: 2\n", 4, "the `{` of line 3 is not closed", "add `}`"),
        ("a: {x: [1, 2}\n", 3, "the `[` of line 3 is not closed", "add `]`"),
        ("a: {x: 1}}\n", 3, "`}` closes what was never opened", "delete it"),
        ("inputs:\n  a:{x: 1, y: 2}\n", 4, "a blank is missing after `a:`", "write `a: ...`"),
        ("inputs:\n  a:5\n  b: 3\n", 5, "line 4 lacks a blank after `a:`", "write `a: ...`"),
        ("inputs:\n  a: {x: 1}\n  b\n  c: 2\n", 6, "line 5 holds no", "a colon and a blank"),
        ("title2: Wren: second try\n", 3, "a second colon", "in quotes"),
        ("inputs:\n  a: {42 cm +- 1 cm}\n", 4, "names no key", "{value: 42 cm, plus_minus: 1 cm}"),
        ("inputs:\n  a: {repeats: 4.1, 4.2, unit: s}\n", 4, "'4.2'", "`repeats: [7.72, 7.80]`"),
    ],
)
def test_slips_of_form(text: str, line: int, what: str, remedy: str) -> None:
    at, said, help_ = refused(text)
    assert at == line
    assert what in said
    assert remedy in help_
    for word in ("block", "token", "node", "mapping", "sequence", "scalar"):
        assert word not in f"{said} {help_}"


def test_first_line_that_is_indented() -> None:
    with pytest.raises(CaseError) as found:
        parse_case(b" effband: 1\ntitle: slips\n", "case.yaml")
    (problem,) = found.value.problems
    assert problem.remedy == "begin line 1 in column 1"


@pytest.mark.parametrize(
    "text",
    [
        "inputs:\n  a: {x: 1}\n  b: {x: 1}\n",
        'results:\n  e: {unit: "%"}\n',
        ROWS + "    a: {}\n",
        "inputs:\n  a: {repeats: [4.1, 4.2], unit: s}\n",
        "inputs:\n  a: {value: 42 cm, plus_minus: 1 cm}\n",
    ],
)
def test_twins_are_read(text: str) -> None:
    assert parse_case((HEAD + text).encode(), "case.yaml").problems == ()


@pytest.mark.parametrize(
    ("path", "written", "line"),
    [
        (("inputs", "tub"), "60 litre", "{value: 60 L, plus_minus: ... L}"),
        (("inputs", "tub"), "60 L", "{value: 60 L, plus_minus: ... L}"),
        (("inputs", "bore"), "42 cm +- 1 cm", "{value: 42 cm, plus_minus: 1 cm}"),
        (("inputs", "t"), "4.2, 4.4, 4.3 s", "{repeats: [4.2, 4.4, 4.3], unit: s}"),
        (("inputs", "t"), "large", "{value: 0.31 kg, plus_minus: 0.02 kg}"),
        (("results", "e", "boundary"), "water to wire", "boundary: {in: "),
        (("claims", 0), "at least 20 %", "{result: ..., says: at least 20 %}"),
        (("instruments", "scale"), "5 g", "scale: {accuracy: 20 g"),
        (("settings",), "fast", "settings: {probability: 95 %}"),
        (("runs", "readings", "t"), "s", "{unit: s, instrument: stopwatch}"),
    ],
)
def test_pairs_that_are_wanted(path: tuple[str | int, ...], written: str, line: str) -> None:
    assert line in pairs_wanted(path, written)


def test_lists_that_are_wanted() -> None:
    assert list_wanted(("inputs", "t", "repeats"), "4.1, 4.2").endswith("[4.1, 4.2]")
    assert "repeats: [" in list_wanted(("inputs", "t", "repeats"), "about 4")
    assert "- {result: " in list_wanted(("claims",), "at least 20")


@pytest.mark.parametrize(
    ("word", "symbol"),
    [
        # the symbols are those of the SI brochure, tables 2, 4 and 8, and common practice
        *((word, "A") for word in ("amp", "amps", "Amp", "ampere")),
        *((word, "V") for word in ("volt", "volts")),
        *((word, "L") for word in ("litre", "liter", "litres")),
        *((word, "W") for word in ("watt", "watts", "Watt")),
        *((word, "h") for word in ("hour", "hours")),
        *((word, "min") for word in ("minute", "minutes")),
        *((word, "s") for word in ("second", "sec")),
        *((word, "m") for word in ("metre", "meter")),
        *((word, "in") for word in ("inch", "inches")),
        *((word, "kg") for word in ("kilogram", "kgs")),
    ],
)
def test_units_written_out_are_refused_with_their_symbol(word: str, symbol: str) -> None:
    with pytest.raises(Misread) as found:
        parse_quantity(f"3 {word}")
    assert found.value.remedy == f"write {symbol}"
    assert parse_unit(symbol).text == symbol


@pytest.mark.parametrize("text", ["42 cm +- 1 cm", "42 cm +/- 1 cm", "42 cm ± 1 cm", "42 cm+-1 cm"])
def test_a_spread_behind_a_value_goes_under_its_own_key(text: str) -> None:
    with pytest.raises(Misread, match="`value: 42 cm` and `plus_minus: 1 cm`"):
        parse_quantity(text)


@pytest.mark.parametrize(
    ("text", "what", "remedy"),
    [
        (
            "instruments: {w: {reads: time, accuracy: 1 s, error_along_scale: same}}\n"
            "inputs:\n  t: {repeats: [4.1, 4.2], instrument: w}\n"
            "results: {r: {formula: t, unit: s}}\n",
            "the repeats have no unit",
            "add `unit: s`",
        ),
        (ROWS + "    a: {t: '-'}\nresults: {r: {formula: t, unit: s}}\n", "'-'", "optional: true"),
        (ROWS + "    a: {t: NA}\nresults: {r: {formula: t, unit: s}}\n", "'NA'", "optional: true"),
    ],
)
def test_slips_of_readings(
    text: str, what: str, remedy: str, tmp_path_factory: pytest.TempPathFactory
) -> None:

    file = tmp_path_factory.mktemp("slip") / "case.yaml"
    file.write_text(HEAD + text, encoding="utf-8")
    with pytest.raises(CaseError) as found:
        load_case(str(file))
    (problem,) = found.value.problems
    assert what in problem.what
    assert remedy in problem.remedy


def test_a_unit_of_a_formula_is_shown_where_it_goes() -> None:

    text = parse_case((HEAD + "formulas: {q: {formula: a, unit: L/s}}\n").encode(), "case.yaml")
    findings = Findings(text)
    typed(text, findings)
    problem = next(each for each in findings.problems if "'unit'" in each.what)
    assert "make it a result" in problem.remedy
    assert "cross-check" in problem.remedy
