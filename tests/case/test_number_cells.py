"""What is said of a cell that should be a number and is none."""

from __future__ import annotations

import math
import string

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from effband.case.number_cells import MOST_DIGITS, number_fault
from effband.problems import Misread
from effband.units import parse_number

NOT = "{!r} is not a number"
DATE = "{!r} is a date, not a number"
SINCE = "a date is no number: write the time since the start in s"
MORE = "{!r} is more than a number"
ALONE = "write the number alone; its unit is declared in the case"
THOUSANDS = "write nothing between the thousands, and decimals with a point"
MISSING = "say `missing: {}` under `runs:`, `optional: true` on the column"
MEANS_MISSING = "if it means missing, " + MISSING

WORDS: dict[str, tuple[str, str]] = {
    "": (
        "this cell is empty",
        "write the number; if it is missing, write NA and " + MISSING.format("[NA]"),
    ),
    "NA": (
        NOT,
        MEANS_MISSING.format("[NA]"),
    ),
    "None": (
        NOT,
        MEANS_MISSING.format("[None]"),
    ),
    "null": (
        NOT,
        MEANS_MISSING.format("[null]"),
    ),
    "nan": (
        NOT,
        MEANS_MISSING.format("[nan]"),
    ),
    "n/a": (
        NOT,
        MEANS_MISSING.format('["n/a"]'),
    ),
    "#N/A": (
        NOT,
        MEANS_MISSING.format('["#N/A"]'),
    ),
    "-1.#IND": (
        NOT,
        MEANS_MISSING.format('["-1.#IND"]'),
    ),
    "---": (
        NOT,
        MEANS_MISSING.format('["---"]'),
    ),
    "OL": (
        "{!r} is not a number: the meter was out of its range",
        "the reading is missing: " + MISSING.format("[OL]"),
    ),
    "inf": ("{!r} is not a finite number", "write the number that was read"),
    "-Infinity": ("{!r} is not a finite number", "write the number that was read"),
    "1e999": ("1e999 is too large for a number", "check the exponent"),
    "1e99999": ("1e99999 is too large for a number", "check the exponent"),
    "True": (NOT, "write the number itself, such as 1 or 0"),
    "0x10": (NOT, "write it in decimal digits"),
    "12345678901234567890": (
        "{!r} has 20 digits, which no instrument reads",
        "round it to at most 17 digits; a serial number is no reading",
    ),
    "-0.0123456789012345678": (
        "{!r} has 18 digits, which no instrument reads",
        "round it to at most 17 digits; a serial number is no reading",
    ),
    "1" * 41: (f"{'1' * 40!r} is too long for a number", "write at most 40 characters"),
    "1_000": (NOT, "leave out the underscores"),
    "1 000": (NOT, "leave out the blank inside the number"),
    "1\u202f000.5": (NOT, "leave out the blank inside the number"),
    "5\u00a0": (NOT, "leave out the blank that is no plain blank"),
    "1'000": (NOT, THOUSANDS),
    "12,5": (NOT, "write decimals with a point"),
    "-0,25": (NOT, "write decimals with a point"),
    "1,000": (NOT, "write decimals with a point, and nothing between the thousands"),
    "1,000.5": (NOT, THOUSANDS),
    "1.000,5": (NOT, THOUSANDS),
    "12:30": ("{!r} is a time of day, not a number", "write the time since the start in s"),
    "00:12:30.5": ("{!r} is a time of day, not a number", "write the time since the start in s"),
    "01/02/2024": (DATE, SINCE),
    "2024-02-30": (DATE, SINCE),
    "2024-02-28T12:00:00Z": (DATE, SINCE),
    "2024-02-28 12:00": (DATE, SINCE),
    "1.2.2024": (DATE, SINCE),
    "3-Feb-24": (DATE, SINCE),
    "1/2": ("{!r} is a fraction, not a number", "write it with a point for decimals"),
    "\u22125": (NOT, "this is U+2212, a typographic minus: write -"),
    "\uff15.\uff13": (NOT, "write it with the plain digits 0 to 9"),
    "5\u00bd": (NOT, "write it with the plain digits 0 to 9"),
    "\u0665": (NOT, "write it with the plain digits 0 to 9"),
    ".5": (NOT, "write a digit before the point: 0.5, not .5"),
    "5.": (NOT, "write a digit after the point: 5.0, or 5"),
    "007": (NOT, "leave out the leading zero"),
    "5 bar": (
        "{!r} is more than a number",
        "write the number alone; its unit is declared in the case",
    ),
    "5.3%": (
        "{!r} is more than a number",
        "write the number alone; its unit is declared in the case",
    ),
    "1e3bar": (
        "{!r} is more than a number",
        "write the number alone; its unit is declared in the case",
    ),
    "=A1*2": (
        "{!r} is a formula of a spreadsheet",
        "save the file with values instead of formulas",
    ),
    "<5": (NOT, "write the number that was read, without a sign before it"),
    "hello": (NOT, "write digits, with a point for decimals, such as 12.5"),
    "[bar]": (
        "{!r} is a unit, not a number",
        "delete this row, or begin it with `unit` right below the header",
    ),
}


@pytest.mark.parametrize("text", WORDS)
def test_what_is_said(text: str) -> None:
    what, remedy = WORDS[text]
    assert number_fault(text) == (what.format(text), remedy)


@pytest.mark.parametrize(
    "text",
    ["0", "-0", "5.3", "+5", "1e5", "-1.5E-07", "12345678901234567", "0.00012345678901234567"],
)
def test_plain_numbers_pass(text: str) -> None:
    assert number_fault(text) is None


@settings(max_examples=300, deadline=None, derandomize=True)
@given(st.text(alphabet=string.digits + "+-.eE,_ ixnaf'", max_size=45) | st.text(max_size=200))
def test_a_cell_passes_if_and_only_if_the_case_would_read_it(text: str) -> None:
    try:
        value = parse_number(text)
    except Misread:
        value = math.nan
    fault = number_fault(text)
    if fault is None:
        assert value == float(text)
        assert math.isfinite(value)
    elif math.isfinite(value):
        assert sum(c.isdigit() for c in text) > MOST_DIGITS
    else:
        assert all(fault)


@settings(max_examples=300, deadline=None, derandomize=True)
@given(st.floats(allow_nan=False, allow_infinity=False))
def test_every_number_that_a_computer_prints_passes(value: float) -> None:
    text = repr(value)
    assert number_fault(text) is None
    assert parse_number(text) == value


@pytest.mark.parametrize("piece", ["1 ", "1,", " ", "1'000", "9", "a", "-", "[", "=", "1e", "1:"])
def test_long_texts_take_no_time(piece: str) -> None:
    fault = number_fault(piece * 300_000)
    assert fault is not None
    assert len(fault[0]) < 100
