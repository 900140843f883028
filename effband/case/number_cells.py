"""What is wrong with the text of a cell that should be a number, and what to write instead."""

from __future__ import annotations

import re

from effband.problems import Misread
from effband.units import LONGEST, parse_number, parse_unit

MOST_DIGITS = 17  # more than a double holds, and far more than any instrument shows

_SINCE_START = "write the time since the start in s"
_NO_MARKS = "write nothing between the thousands, and decimals with a point"
_MISSING = frozenset(
    "na n/a n.a. #n/a #na none null nil nan +nan -nan missing err error open"
    " 1.#ind -1.#ind 1.#qnan -1.#qnan 1.#inf -1.#inf #value! #div/0! #num! #ref! #name?"
    " - -- --- ---- ... ? *".split()
)
_OVER = frozenset("ol -ol +ol o.l over overload overflow".split())
_SPACES = " \t\u00a0\u202f\u2009\u2007"
# What a text looks like, what it is called, and the remedy; the first that fits is said.
_LOOKS: tuple[tuple[re.Pattern[str], str, str], ...] = tuple(
    (re.compile(pattern, re.ASCII | re.IGNORECASE), what, remedy)
    for pattern, what, remedy in (
        (r"[+-]?inf(inity)?", "not a finite number", "write the number that was read"),
        (r"true|false|yes|no|on|off", "not a number", "write the number itself, such as 1 or 0"),
        (r"[+-]?0[xob][0-9a-f_]+", "not a number", "write it in decimal digits"),
        (
            r"(\d{1,4}([-/])\d{1,2}\2\d{1,4}|\d{1,2}\.\d{1,2}\.\d{2,4}"
            r"|\d{1,2}-[a-z]{3}-\d{2,4})([T ].*)?",
            "a date, not a number",
            f"a date is no number: {_SINCE_START}",
        ),
        (
            r"\d{1,3}:\d{1,2}(:\d{1,2}([.,]\d*)?)?( ?[ap]m)?",
            "a time of day, not a number",
            _SINCE_START,
        ),
        (r"[+-]?\d+/\d+", "a fraction, not a number", "write it with a point for decimals"),
        (r"[+-]?\d{1,3}(,\d{3})+\.\d+", "not a number", _NO_MARKS),
        (
            r"[+-]?\d{1,3}(,\d{3})+",
            "not a number",
            "write decimals with a point, and nothing between the thousands",
        ),
        (r"[+-]?\d{1,3}(\.\d{3})+,\d*", "not a number", _NO_MARKS),
        (r"[+-]?\d*,\d+", "not a number", "write decimals with a point"),
        (
            rf"[+-]?\d+([{_SPACES}]\d+)+([.,]\d*)?",
            "not a number",
            "leave out the blank inside the number",
        ),
        (
            r".*[\u00a0\u202f\u2009\u2007].*",
            "not a number",
            "leave out the blank that is no plain blank",
        ),
        (r"[+-]?\d+(['\u2019]\d{3})+(\.\d*)?", "not a number", _NO_MARKS),
        (r"=.*", "a formula of a spreadsheet", "save the file with values instead of formulas"),
        (r"'.*", "not a number", "delete the apostrophe"),
        (
            r"[<>~\u2248].*",
            "not a number",
            "write the number that was read, without a sign before it",
        ),
        (
            r"[+-]?\d+(\.\d+)?(e[+-]?\d+)? *(?!e[+-]?\d+)[a-z%\u00b0].*",
            "more than a number",
            "write the number alone; its unit is declared in the case",
        ),
    )
)


def number_fault(text: str) -> tuple[str, str] | None:
    """Return what is wrong with a numeric cell and the remedy; None for a plain number.

    A plain number follows the grammar of numbers in a case (`units.parse_number`) and has at
    most `MOST_DIGITS` significant digits.
    """
    try:
        parse_number(text)
    except Misread as error:
        return _look(text) or (error.what, error.remedy)
    digits = re.sub(r"[eE].*|[^0-9]", "", text).lstrip("0")
    if len(digits) > MOST_DIGITS:
        what = f"{text!r} has {len(digits)} digits, which no instrument reads"
        return what, f"round it to at most {MOST_DIGITS} digits; a serial number is no reading"
    return None


def stands_for_missing(text: str) -> bool:
    """Return whether a text is one of the usual marks of a reading that is missing."""
    return text.casefold() in _MISSING


def _missing(mark: str) -> str:
    return f"say `missing: [{mark}]` under `runs:`, `optional: true` on the column"


def _look(text: str) -> tuple[str, str] | None:
    if not text:
        remedy = f"write the number; if it is missing, write NA and {_missing('NA')}"
        return "this cell is empty", remedy
    shown = repr(text if len(text) <= 40 else text[:37] + "...")
    if len(text) > LONGEST:
        return None
    if stands_for_missing(text):
        mark = text if text.isalnum() else f'"{text}"'
        remedy = f"if it means missing, {_missing(mark)}"
        return f"{shown} is not a number", remedy
    if text.casefold() in _OVER:
        remedy = f"the reading is missing: {_missing(text.lstrip('+-'))}"
        return f"{shown} is not a number: the meter was out of its range", remedy
    if any(c.isnumeric() and not c.isascii() for c in text):
        return f"{shown} is not a number", "write it with the plain digits 0 to 9"
    for pattern, what, remedy in _LOOKS:
        if pattern.fullmatch(text):
            return f"{shown} is {what}", remedy
    if _is_unit(text.strip("[]()")):
        remedy = "delete this row, or begin it with `unit` right below the header"
        return f"{shown} is a unit, not a number", remedy
    return None


def _is_unit(text: str) -> bool:
    try:
        parse_unit(text)
    except Misread:
        return False
    return True
