"""Text of numbers, units and accuracies that must never hang and never escape."""

from __future__ import annotations

import random
from collections.abc import Callable

import pytest
from attack import within

from effband.case.values import (
    parse_fraction,
    parse_share,
    parse_truth,
    parse_whole,
    parse_width,
)
from effband.evidence.instruments import parse_accuracy
from effband.problems import Misread
from effband.units import DEEPEST, known_units, parse_number, parse_quantity, parse_unit

SEED = 20_260_514
PARSERS: dict[str, Callable[[str], object]] = {
    "number": parse_number,
    "quantity": parse_quantity,
    "unit": parse_unit,
    "width": parse_width,
    "accuracy": parse_accuracy,
    "fraction": parse_fraction,
    "share": parse_share,
    "whole number": parse_whole,
    "truth": parse_truth,
}
HOSTILE = [
    *("9**9**9", "5 9**9**9", "5 m**9**9**9", "5 (((9^9)^9)^9)^9", "m^9^9^9", "(m^9)^9"),
    *("((m^9)^9)^9", "(((m^9)^9)^9)^9", "5 m^99999999999999999999", "5 m^-99999999999999999999"),
    *("5 m^1e9", "5 m^1e300", "5 1e300^9", "5 (1e-300)^9", "5 (1e-300)^-9", "5 0^-9", "5 0/0"),
    *(
        "5 m/(0 s)",
        "5 1e999 m",
        "5 (1e999/1e999)",
        "5 1e300*1e300",
        "0/0",
        "1/0",
        "-1/-0",
        "1/1e400",
    ),
    *("5 " + "(" * 78, "5 " + "(" * 38 + "m" + ")" * 38, "(" * 80, "(" * 100_000),
    *(
        "5 " + "m*" * 38 + "m",
        "m*" * 100_000,
        "5 m" + "^2" * 38,
        "^" * 80,
        "*" * 80,
        "5 " + "/" * 70,
    ),
    *("1" * 80, "1" * 100_000, "1e" * 40, "0." + "0" * 77, "-" * 80, "+" * 80, "." * 80, "_" * 80),
    *(" " * 80, " " * 100_000, "5" + " " * 100_000 + "m", "\t" * 80, "\n" * 80, "", "\0", "\ud800"),
    *(
        "5 \ud800",
        "5 \0",
        "5 \x1b[31m",
        "5\u202em",
        "5 m\u0301",
        "\u0301" * 80,
        "½ m",
        "٣ m",
        "１ m",
    ),
    *(
        "5 degC^2",
        "5 degC*degC",
        "5 1/degC",
        "5 (degC)",
        "5 degC^1",
        "5 (degC)^1",
        "5 2 degC",
        "2 degC",
    ),
    *("greater of " * 5_000, "greater of 1 K or " * 3_000, "1 K + " * 10_000, "+ " * 50_000),
    *(
        "greater of greater of 1 K or 2 K",
        "greater of or",
        "or",
        "greater of",
        "+",
        "1 K +",
        "+ 1 K",
    ),
    *("1" * 20_000 + " " * 20_000 + " of value", " " * 50_000 + "% of value", "% of value" * 5_000),
    *(
        "nan",
        "inf",
        "-inf",
        "1e400",
        "1e-400",
        "NaN % of reading",
        "1e400 % of reading",
        "9**9 digits",
    ),
    *(
        "-5 % of value",
        "5 % of",
        "5 % of value of value",
        "5 ppm of span of span",
        "5 digits digits",
    ),
    *(
        "true" * 1_000,
        "1" * 5_000 + "/3",
        "1/" + "3" * 5_000,
        "1/2/3/4",
        "yes no",
        "1e15",
        "1e18",
        "-0",
    ),
]


@pytest.mark.parametrize("name", PARSERS)
def test_hostile_text_is_quick(name: str) -> None:
    for text in HOSTILE:
        with within(0.5):
            attempt_one(PARSERS[name], text)


@pytest.mark.parametrize("name", PARSERS)
def test_random_text(name: str) -> None:
    dice = random.Random(f"{SEED} {name}")
    words = [unit.text for unit in known_units()]
    pieces = [
        *words,
        *"0123456789+-*/^().%eE_ #,:;",
        *("**", "^-", " of value", " % of reading", " of span", " digits", "greater of ", " or "),
        *(
            " + ",
            "1e",
            "1e999",
            "true",
            "gal",
            "Nm",
            "²",
            "°",
            "Ω",
            "\xa0",
            "\u202f",
            "−",
            "\0",
            "\ud800",
        ),
    ]
    with within(10.0):
        for _ in range(3_000):
            text = "".join(dice.choice(pieces) for _ in range(dice.randint(0, 12)))
            attempt_one(PARSERS[name], text)


def attempt_one(parse: Callable[[str], object], text: str) -> None:
    """Parse a text: an answer, or a refusal whose place lies inside it."""
    try:
        parse(text)
    except Misread as error:
        refused = error
    else:
        return
    assert 0 <= refused.start <= len(text), text[:100]
    assert 0 <= refused.length <= max(1, len(text)), text[:100]
    assert refused.what, text[:100]
    assert refused.remedy, text[:100]


def test_parentheses_as_deep_as_allowed() -> None:
    assert parse_unit("(" * DEEPEST + "m" + ")" * DEEPEST).dimension == parse_unit("m").dimension
    with pytest.raises(Misread, match="too many parentheses"):
        parse_unit("(" * (DEEPEST + 1) + "m" + ")" * (DEEPEST + 1))


@pytest.mark.parametrize(
    "text", ["nan", "inf", "1e400", "infinity", "0x1p4", "1_0", " 5", "5 ", "٣"]
)
def test_what_python_would_take_for_a_number(text: str) -> None:
    with pytest.raises(Misread):
        parse_number(text)
