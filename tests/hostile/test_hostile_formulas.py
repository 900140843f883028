"""Formulas against Python's own grammar: 20 000 random ones, and what they are worth.

Whatever our parser accepts, Python must read as the same tree and give the same value; whatever
it refuses, it refuses with a place inside the text and in no other way.
"""

from __future__ import annotations

import ast
import keyword
import math
import random
import re
from collections.abc import Callable

import pytest
from attack import within

from effband.case.formula import (
    Binary,
    Call,
    Expression,
    Name,
    Negative,
    Number,
    names_in,
    parse_formula,
)
from effband.case.program import Builder, Scope
from effband.problems import Misread

SEED = 20_260_514
FORMULAS = 20_000
VALUES = {"a": 2.5, "b": -0.75, "x1": 3.0, "tank_volume": 0.09, "E": 7.0, "e5": 11.0}
ONE = ("sqrt", "exp", "log", "log10", "sin", "cos", "tan", "asin", "acos", "atan", "abs")
WORTH: dict[type, Callable[[float, float], float]] = {
    ast.Add: lambda a, b: a + b,
    ast.Sub: lambda a, b: a - b,
    ast.Mult: lambda a, b: a * b,
    ast.Div: lambda a, b: a / b,
    ast.Pow: math.pow,
}
OPERATIONS: dict[type, str] = {
    ast.Add: "add",
    ast.Sub: "subtract",
    ast.Mult: "multiply",
    ast.Div: "divide",
    ast.Pow: "power",
}
DUST = (
    list("ab10+-*/(),. \t\n")
    + list("eE_^%=<>!&|~@#$[]{}:;'\"\\?`")
    + [
        *("**", "//", "x1", "sqrt(", "max(", "1e5", "1e999", "0x1f", "1_0", "1j", "True", "..."),
        *("\N{MINUS SIGN}", "\N{SQUARE ROOT}", "\N{GREEK SMALL LETTER ETA}", "\xa0", "\u202e"),
        *("\N{FULLWIDTH DIGIT ONE}", "\N{ARABIC-INDIC DIGIT THREE}", "\N{LATIN SMALL LIGATURE FI}"),
        *("\ud800", "\0", "\x1b", "\N{CYRILLIC SMALL LETTER A}", "lambda", "import", "__class__"),
    ]
)


def grown(dice: random.Random, depth: int) -> str:
    """Return a formula grown from the grammar, blanks and needless parentheses included."""
    pick = dice.random()
    if depth <= 0 or pick < 0.25:
        return dice.choice([*VALUES, "0", "1", "2", "10", "0.5", "3.25e-2", "1E3", "7e+1"])
    gap = dice.choice(["", " ", "  ", "\n", "\t"])
    if pick < 0.65:
        mark = dice.choice(["+", "-", "*", "/", "**"])
        return f"{grown(dice, depth - 1)}{gap}{mark}{gap}{grown(dice, depth - 1)}"
    if pick < 0.75:
        return f"({gap}{grown(dice, depth - 1)}{gap})"
    if pick < 0.85:
        return dice.choice("+-") + gap + grown(dice, depth - 1)
    if pick < 0.95:
        return f"{dice.choice(ONE)}{gap}({grown(dice, depth - 1)})"
    name = dice.choice(["min", "max", "atan2"])
    return f"{name}({grown(dice, depth - 1)},{gap}{grown(dice, depth - 1)})"


def spoiled(dice: random.Random, text: str) -> str:
    """Return the formula with one to three pieces put in, taken out or doubled."""
    for _ in range(dice.randint(1, 3)):
        at = dice.randint(0, len(text))
        step = dice.random()
        if step < 0.5:
            text = text[:at] + dice.choice(DUST) + text[at:]
        elif step < 0.8:
            text = text[:at] + text[at + dice.randint(1, 3) :]
        else:
            text = text[:at] + text[max(0, at - 4) :]
    return text


def same(ours: Expression, theirs: ast.expr) -> bool:
    """Return whether two trees are one."""
    while isinstance(theirs, ast.UnaryOp) and isinstance(theirs.op, ast.UAdd):
        theirs = theirs.operand
    match ours, theirs:
        case Number(), ast.Constant():
            return type(theirs.value) in (int, float) and float(theirs.value) == ours.value
        case Name(), ast.Name():
            return ours.name == theirs.id
        case Negative(), ast.UnaryOp(op=ast.USub()):
            return same(ours.part, theirs.operand)
        case Binary(), ast.BinOp():
            return (
                ours.operation == OPERATIONS.get(type(theirs.op))
                and same(ours.left, theirs.left)
                and same(ours.right, theirs.right)
            )
        case Call(), ast.Call(func=ast.Name()):
            return (
                ours.function == theirs.func.id
                and not theirs.keywords
                and len(ours.arguments) == len(theirs.args)
                and all(map(same, ours.arguments, theirs.args))
            )
    return False


def worth(tree: ast.expr) -> float:
    """Return the value by Python's tree; raises ArithmeticError or ValueError where none is."""
    match tree:
        case ast.Constant():
            value = float(tree.value)
        case ast.Name():
            value = VALUES[tree.id]
        case ast.UnaryOp():
            value = worth(tree.operand)
            return -value if isinstance(tree.op, ast.USub) else value
        case ast.BinOp():
            value = WORTH[type(tree.op)](worth(tree.left), worth(tree.right))
        case ast.Call(func=ast.Name()):
            parts = [worth(part) for part in tree.args]
            if tree.func.id in ("min", "max", "abs"):
                value = {"min": min, "max": max, "abs": abs}[tree.func.id](*parts)
            else:
                value = getattr(math, tree.func.id)(*parts)
        case _:
            raise AssertionError(ast.dump(tree))
    if not math.isfinite(value):
        raise ArithmeticError
    return value


def compiled(tree: Expression) -> float:
    """Return the value that our list of operations gives. Raises Misread."""
    builder = Builder()

    def lookup(name: Name) -> int:
        return builder.constant(VALUES[name.name])

    value = builder.literal(builder.expression(tree, Scope(("formulas", "f"), "f", lookup)))
    assert value is not None
    return value


def check(error: Misread, text: str) -> None:
    """Assert that a refusal marks a stretch of the text and says something."""
    assert 0 <= error.start <= len(text), text
    assert error.length >= 1, text
    assert error.what, text
    assert error.remedy, text


def random_formulas() -> list[str]:
    dice = random.Random(SEED)
    good = [grown(dice, dice.randint(1, 5)) for _ in range(FORMULAS)]
    return [spoiled(dice, text) if dice.random() < 0.6 else text for text in good]


def test_random_formulas_are_pythons() -> None:
    accepted = valued = refused = 0
    with within(30.0):
        for text in random_formulas():
            try:
                tree = parse_formula(text)
            except Misread as error:
                refused += 1
                check(error, text)
                continue
            accepted += 1
            if set(re.findall(r"[A-Za-z]+", text)) & set(keyword.kwlist):
                continue  # a plain name to us, none to Python
            # our blanks include line ends, as Python's do inside parentheses
            theirs = ast.parse(f"({text}\n)", mode="eval").body
            assert same(tree, theirs), text
            if not names_in(tree) <= set(VALUES):
                continue
            try:
                ours: float | None = compiled(tree)
            except Misread as error:
                ours = None
                if error.what != "this has no finite value":
                    continue  # an unknown function, or a wrong count of arguments
            try:
                value: float | None = worth(theirs)
            except (ArithmeticError, ValueError):
                value = None
            assert ours == value, text
            valued += 1
    assert accepted > 8_000
    assert refused > 4_000
    assert valued > 7_000


def test_random_bytes_are_refused_politely() -> None:
    dice = random.Random(SEED + 1)
    for _ in range(3_000):
        text = "".join(dice.choice(DUST) for _ in range(dice.randint(0, 60)))
        try:
            parse_formula(text)
        except Misread as error:
            check(error, text)


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("-2**2", -4.0),
        ("2**3**2", 512.0),
        ("2**-1", 0.5),
        ("-2**-2", -0.25),
        ("10**20", 1e20),
        ("(-8)**3", -512.0),
        ("2 - 3 - 4", -5.0),
        ("2 / 4 / 4", 0.125),
        ("2 / 4 * 4", 2.0),
        ("1 - -1", 2.0),
        ("+-+1", -1.0),
        ("7 / 2", 3.5),
        ("2**0.5", math.sqrt(2.0)),
        ("min(3, 1, 2)", 1.0),
        ("max(3, 1, 2)", 3.0),
        ("atan2(1, -1)", math.atan2(1.0, -1.0)),
        ("log(exp(1))", 1.0),
        ("9007199254740993", 9007199254740992.0),
    ],
)
def test_worth(text: str, value: float) -> None:
    assert compiled(parse_formula(text)) == value


LONG = [
    "9**" * 600 + "9",
    "(" * 2000,
    ")" * 2000,
    "-" * 2000,
    "1+" * 1000,
    "a" * 2000,
    "1" * 2000,
    "1e" * 1000,
    "." * 2000,
    "sqrt(" * 400,
    "max(" + "1," * 900 + "1)",
    "9" * 1999 + "x",
    " " * 2000,
    "(((" * 600 + "\0",
    "x" * 2001,
    "\N{COMBINING ACUTE ACCENT}" * 2000,
]


@pytest.mark.parametrize("text", LONG, ids=range(len(LONG)))
def test_long_text_is_quick(text: str) -> None:
    with within(0.5):
        try:
            parse_formula(text)
        except Misread as error:
            check(error, text)
