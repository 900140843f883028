"""The formula language: Python's precedence, the place of every fault, and limits."""

from __future__ import annotations

import contextlib
import math
import operator
import time

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from small_case import complaints, understood, values

from effband.case.formula import (
    CONSTANTS,
    FUNCTIONS,
    REDUCERS,
    Binary,
    Call,
    Expression,
    Name,
    Negative,
    Number,
    names_in,
    parse_formula,
)
from effband.problems import Misread

NAMES = {"a": 3.0, "b": 2.0, "c": 0.5, "x": 7.0}
CALLS = {
    "sqrt": math.sqrt,
    "exp": math.exp,
    "log": math.log,
    "log10": math.log10,
    "sin": math.sin,
    "cos": math.cos,
    "tan": math.tan,
    "asin": math.asin,
    "acos": math.acos,
    "atan": math.atan,
    "atan2": math.atan2,
    "abs": abs,
    "min": min,
    "max": max,
}
OPERATIONS = {
    "add": operator.add,
    "subtract": operator.sub,
    "multiply": operator.mul,
    "divide": operator.truediv,
    "power": operator.pow,
}


def worked_out(tree: Expression) -> float:
    """Return the value of a tree: an independent walk, so that only the parser is on trial."""
    match tree:
        case Number():
            return tree.value
        case Name():
            return NAMES[tree.name]
        case Negative():
            return -worked_out(tree.part)
        case Binary():
            return OPERATIONS[tree.operation](worked_out(tree.left), worked_out(tree.right))
        case Call():
            return CALLS[tree.function](*(worked_out(part) for part in tree.arguments))
    raise AssertionError(tree)


PRECEDENCE = [
    "-2**2",
    "(-2)**2",
    "2**3**2",
    "(2**3)**2",
    "2**-1",
    "2**-1**2",
    "-2**-2",
    "2*-3",
    "2--3",
    "2+-3",
    "2 - 3 - 4",
    "2 - (3 - 4)",
    "12/3/2",
    "12/(3/2)",
    "12/3*2",
    "12*3/2",
    "1+2*3**2",
    "(1+2)*3**2",
    "-a**b",
    "a**-b",
    "a*b**c",
    "a/b*c",
    "a/b/c",
    "a-b+c",
    "a - -b",
    "+a",
    "-+-a",
    "a**+b",
    "- -2**2",
    "1e3",
    "1.5E-3*2",
    "0.5",
    "max(a, b)",
    "max(a, b, x) - min(a, b, x)",
    "sqrt(a*a + b*b)",
    "exp(-a/b)",
    "log(x)/log10(x)",
    "atan2(a, b)",
    "abs(-a)**b",
    "((((a))))",
    "a\n+ b",
    "a\t*b",
    "2*(a+b)*(a-b)",
    "sin(a)**2 + cos(a)**2",
    "asin(c) + acos(c) - atan(c) + tan(c)",
]


@pytest.mark.parametrize("text", PRECEDENCE)
def test_precedence_is_pythons(text: str) -> None:
    expected = eval(text.replace("\n", " "), {"__builtins__": {}}, {**NAMES, **CALLS})
    assert worked_out(parse_formula(text)) == pytest.approx(expected, rel=1e-15)


atoms = st.sampled_from(["a", "b", "c", "x", "2", "3", "0.5", "1e-1"])
formulas = st.recursive(
    atoms,
    lambda part: st.one_of(
        st.tuples(part, st.sampled_from(["+", "-", "*", "/", "**"]), part).map(" ".join),
        part.map("-{}".format),
        part.map("({})".format),
        part.map("abs({})".format),
    ),
    max_leaves=12,
)


@given(formulas)
@settings(max_examples=300, deadline=None)
def test_any_formula_means_what_python_means(text: str) -> None:
    try:
        expected = eval(text, {"__builtins__": {}}, {**NAMES, "abs": abs})
    except ArithmeticError:
        return
    if isinstance(expected, complex) or not math.isfinite(expected) or abs(expected) > 1e100:
        return
    with contextlib.suppress(ArithmeticError):
        assert worked_out(parse_formula(text)) == expected


def test_every_function_of_the_language_is_tested_here() -> None:
    assert set(FUNCTIONS) == set(CALLS)
    assert {name for name in CALLS if any(f"{name}(" in text for text in PRECEDENCE)} == set(CALLS)


def test_constants() -> None:
    # standard gravity: SI Brochure; gas constant: CODATA 2018, exact; both from memory
    assert CONSTANTS["pi"] == (math.pi, "1")
    assert CONSTANTS["standard_gravity"] == (9.80665, "m/s^2")
    assert CONSTANTS["gas_constant"] == (8.31446261815324, "J/(mol*K)")


def test_the_place_of_every_part() -> None:
    text = "  tank + max(pipe, 2.50) ** -hose"
    tree = parse_formula(text)
    assert isinstance(tree, Binary)
    assert isinstance(tree.right, Binary)
    call, power = tree.right.left, tree.right.right
    assert isinstance(call, Call)
    assert isinstance(power, Negative)
    parts = [tree, tree.left, tree.right, call, *call.arguments, power, power.part]
    marked = [text[part.start : part.start + part.length] for part in parts]
    assert marked == ["+", "tank", "**", "max", "pipe", "2.50", "-", "hose"]


def test_names_in_a_formula() -> None:
    tree = parse_formula("a * mean_of_runs(b + c) - in_run(d, full) / max(e, -f) + pi")
    assert names_in(tree) == {"a", "b", "c", "d", "e", "f", "pi"}
    assert names_in(tree, inside_reducers=False) == {"a", "e", "f", "pi"}


OPERATOR_MISSING = "write an operator such as * between two parts"
PART_MISSING = "a number or a name is missing before it"
PLAIN = "use numbers, names, + - * / ** and parentheses"
NUMBERS = "write such as 2 * x, 0.5 or 1e-3"


@pytest.mark.parametrize(
    ("text", "start", "length", "what", "remedy"),
    [
        ("", 0, 1, "the formula is empty", "write an expression"),
        ("   ", 0, 3, "the formula is empty", "write an expression"),
        ("a +", 2, 1, "the formula ends too early", "a part is missing here"),
        ("a **", 3, 1, "the formula ends too early", "a part is missing here"),
        ("a b", 2, 1, "'b' is out of place here", OPERATOR_MISSING),
        ("a (b)", 0, 1, None, None),  # a call of a; refused where the functions are known
        ("(a) b", 4, 1, "'b' is out of place here", OPERATOR_MISSING),
        ("2 (a)", 2, 1, "'(' is out of place here", OPERATOR_MISSING),
        ("a + * b", 4, 1, "'*' is out of place here", PART_MISSING),
        ("/ b", 0, 1, "'/' is out of place here", PART_MISSING),
        ("a ** * b", 5, 1, "'*' is out of place here", PART_MISSING),
        ("a)", 1, 1, "')' is out of place here", "this parenthesis was never opened"),
        ("a + (b * c", 4, 1, "a parenthesis is not closed", "write )"),
        ("max(a, b", 0, 3, "a parenthesis is not closed", "write )"),
        ("max(a,)", 6, 1, "')' is out of place here", PART_MISSING),
        ("(a, b)", 0, 1, "a parenthesis is not closed", "write )"),
        ("()", 1, 1, "')' is out of place here", PART_MISSING),
        ("a ^ 2", 2, 1, "'^' cannot stand in a formula", "write ** for a power"),
        ("a[1]", 1, 1, "'[' cannot stand in a formula", "write in_run(name, run) for one run's"),
        ("a = b", 2, 1, "'=' cannot stand in a formula", "a formula is one expression"),
        ("a < b", 2, 1, "'<' cannot stand in a formula", "comparisons are not part of a formula"),
        ("5 % a", 2, 1, "'%' cannot stand in a formula", "write 0.05, or declare an input in %"),
        ("a × b", 2, 1, "'×' cannot stand in a formula", "write *"),
        ("a · b", 2, 1, "'·' cannot stand in a formula", "write *"),
        ("a − b", 2, 1, "'−' cannot stand in a formula", "this is U+2212, a typographic minus"),
        ("√a", 0, 1, "'√' cannot stand in a formula", "write sqrt(...)"),
        (".5 * a", 0, 1, "'.' cannot stand in a formula", "write a digit before the point: 0.5"),
        ("a.b", 1, 1, "'.' cannot stand in a formula", "write a digit before the point: 0.5"),
        ("2x", 0, 2, "'2x' is neither a number nor a name", NUMBERS),
        ("a * 1_000", 4, 5, "'1_000' is neither a number nor a name", NUMBERS),
        ("1,5 * a", 1, 1, "',' is out of place here", "write decimals with a point"),
        ("1.", 0, 2, "'1.' is neither a number nor a name", NUMBERS),
        ("007", 0, 3, "'007' is neither a number nor a name", NUMBERS),
        ("1e4000", 0, 6, "too large a number", "check it"),
        ("1e", 0, 2, "'1e' is neither a number nor a name", NUMBERS),
        ("0x1F", 0, 4, "'0x1F' is neither a number nor a name", NUMBERS),
        ("a + 1e999", 4, 5, "too large a number", "check it"),
        ("a // b", 3, 1, "'/' is out of place here", PART_MISSING),
        ("a @ b", 2, 1, "'@' cannot stand in a formula", PLAIN),
        ("a if b else c", 2, 2, "'if' is out of place here", OPERATOR_MISSING),
        ("lambda: a", 6, 1, "':' cannot stand in a formula", PLAIN),
        ("'a'", 0, 1, '"\'" cannot stand in a formula', PLAIN),
        ("_a", 0, 1, "'_' cannot stand in a formula", PLAIN),
        ("é", 0, 1, "U+00E9 (latin small letter e with acute) cannot stand in a formula", PLAIN),
        ("a;b", 1, 1, "';' cannot stand in a formula", PLAIN),
        ("a\\b", 1, 1, "'\\\\' cannot stand in a formula", PLAIN),
        ("__import__('os')", 0, 1, "'_' cannot stand in a formula", PLAIN),
    ],
)
def test_place_and_remedy(
    text: str, start: int, length: int, what: str | None, remedy: str | None
) -> None:
    if what is None or remedy is None:
        assert isinstance(parse_formula(text), Call)
        return
    with pytest.raises(Misread) as caught:
        parse_formula(text)
    assert caught.value.what == what
    assert caught.value.remedy.startswith(remedy)
    assert (caught.value.start, caught.value.length) == (start, length)


# -- limits -----------------------------------------------------------------------------------


def test_two_thousand_characters_and_no_more() -> None:
    longest = "a" + " " * 1998 + " "
    assert len(longest) == 2000
    assert isinstance(parse_formula(longest), Name)
    with pytest.raises(Misread, match="a formula of more than 2000 characters"):
        parse_formula(longest + " ")


def test_five_hundred_parts_and_no_more() -> None:
    most = "+".join(["a"] * 250)  # 499 parts
    assert worked_out(parse_formula(most)) == 750.0
    with pytest.raises(Misread, match="more than 500 parts") as caught:
        parse_formula(most + "+a+a")
    assert caught.value.start == 500


@pytest.mark.parametrize(
    ("shallow", "deep"),
    [
        ("(" * 39 + "a" + ")" * 39, "(" * 40 + "a" + ")" * 40),
        ("-" * 39 + "a", "-" * 40 + "a"),
        ("2**" * 39 + "a", "2**" * 40 + "a"),
        ("abs(" * 39 + "a" + ")" * 39, "abs(" * 40 + "a" + ")" * 40),
    ],
    ids=["parentheses", "signs", "powers", "calls"],
)
def test_forty_deep_and_no_more(shallow: str, deep: str) -> None:
    assert isinstance(parse_formula(shallow), Expression)
    with pytest.raises(Misread, match="nested too deep"):
        parse_formula(deep)


@given(st.text(alphabet="abx0123456789eE.+-*/(),^% \n_[]<=", max_size=120))
@settings(max_examples=400, deadline=None)
def test_any_text_is_a_formula_or_misread(text: str) -> None:
    with contextlib.suppress(Misread):
        parse_formula(text)


@pytest.mark.parametrize(
    "text",
    [
        "9**" * 166 + "9",
        "(" * 2000,
        "-" * 2000,
        "a" * 2000,
        "((" * 1000,
        "1e999" * 400,
        "max(" * 500,
    ],
)
def test_hostile_text_ends_soon(text: str) -> None:
    start = time.perf_counter()
    with contextlib.suppress(Misread):
        parse_formula(text)
    assert time.perf_counter() - start < 0.1


# -- in a case --------------------------------------------------------------------------------

CASE = """\
effband: 1
title: formulas
inputs:
  x: {value: 2, plus_minus: 0.1}
  y: {value: 3, plus_minus: 0.1}
formulas:
  twice: 2 * x
  round_about: twice + y
results:
  r: {formula: "FORMULA", unit: 1, is: quantity}
"""


@pytest.mark.parametrize(
    ("formula", "value"),
    [
        ("round_about", 7.0),
        ("x ** 2 + x ** 3 + x ** -1 + x ** 0.5 + x ** 1 + x ** 0", 14.5 + math.sqrt(2) + 1),
        ("x ** 2.5", 2**2.5),
        ("-x ** 2", -4.0),
        ("2 ** 3 ** 2", 512.0),
        ("max(x, y, 10) - min(x, y, -1)", 11.0),
        ("log10(100) + log(exp(1)) + sqrt(16)", 7.0),
        ("pi * x", 2 * math.pi),
        ("atan2(0, -1) + x", math.pi + 2),
        ("abs(-x) + abs(-3)", 5.0),
    ],
)
def test_value_in_a_case(formula: str, value: float) -> None:
    found = values(understood(CASE.replace("FORMULA", formula)))
    assert found[("r", None)] == pytest.approx(value, rel=1e-15)


@pytest.mark.parametrize(
    ("formula", "marked", "what", "remedy"),
    [
        ("x + z", "z", "unknown name 'z'", "declare it as an input, reading or formula"),
        ("twicee", "twicee", "unknown name 'twicee'", "did you mean twice?"),
        ("r + 1", "r", "unknown name 'r'", "results are not used in formulas"),
        ("sqrt + 1", "sqrt", "unknown name 'sqrt'", "sqrt is a function: write sqrt(...)"),
        ("x(2)", "x", "unknown function 'x'", "`effband physics` lists the functions"),
        ("sqr(2)", "sqr", "unknown function 'sqr'", "did you mean sqrt?"),
        ("ln(x)", "ln", "unknown function 'ln'", "write log"),
        ("pow(x, 2)", "pow", "unknown function 'pow'", "`effband physics` lists the functions"),
        ("sqrt(x, y)", "sqrt", "sqrt takes 1 argument, not 2", "write sqrt(x)"),
        ("atan2(x)", "atan2", "atan2 takes 2 arguments, not 1", "write atan2(y, x)"),
        ("max(x)", "max", "max needs two values", "max(a, b)"),
        ("max()", "max", "max needs two values", "max(a, b)"),
        (
            "kinetic_energy(x)",
            "kinetic_energy",
            "kinetic_energy takes 2 arguments, not 1",
            "write kinetic_energy(inertia, speed)",
        ),
        ("x + 1 / 0", "/", "this has no finite value", "check the numbers"),
        ("x + log(0)", "log", "this has no finite value", "check the numbers"),
        ("x + sqrt(-1)", "sqrt", "this has no finite value", "check the numbers"),
        ("x + (-8) ** 0.5", "**", "this has no finite value", "check the numbers"),
        ("x + 10 ** 400", "**", "this has no finite value", "check the numbers"),
        ("mean_of_runs(x)", "mean_of_runs", "mean_of_runs: this does not change", "leave"),
    ],
)
def test_refused_in_a_case(formula: str, marked: str, what: str, remedy: str) -> None:
    (found,) = complaints(CASE.replace("FORMULA", formula))
    assert found.marked == marked
    assert found.what.startswith(what)
    assert found.remedy.startswith(remedy)


def test_a_circle_is_refused_by_name_once() -> None:
    text = CASE.replace("FORMULA", "a").replace(
        "formulas:\n", "formulas:\n  a: b + x\n  b: c\n  c: a * 2\n"
    )
    (found,) = complaints(text)
    assert found.what == "formulas go round in a circle: a -> b -> c -> a"
    assert found.marked == "b + x"


def test_the_order_of_the_formulas_is_free() -> None:
    text = CASE.replace("FORMULA", "late").replace(
        "formulas:\n", "formulas:\n  late: later + 1\n  later: twice\n"
    )
    assert values(understood(text))[("r", None)] == 5.0


@pytest.mark.parametrize("name", [*FUNCTIONS, *REDUCERS, *CONSTANTS])
def test_words_of_the_language_are_no_names(name: str) -> None:
    (found,) = complaints(
        CASE.replace("FORMULA", "x").replace("  twice: 2", f"  {name}: x\n  twice: 2")
    )
    assert found.what == f"{name!r} is a word of the formula language"
    assert found.marked == name


def test_a_physics_function_takes_no_name_from_the_user() -> None:
    """A function of a later version must not break a published case; `f(` tells a call."""
    text = CASE.replace("FORMULA", "lamp_power + kinetic_energy(j, w) / one_joule")
    text = text.replace("  twice: 2", "  lamp_power: x\n  kinetic_energy: 2 * x\n  twice: 2")
    more = "  j: {constant: 2 kg*m^2}\n  w: {constant: 3 rad/s}\n  one_joule: {constant: 1 J}\n"
    text = text.replace("inputs:\n", "inputs:\n" + more)
    x = values(understood(text.replace("+ kinetic_energy(j, w) / one_joule", "")))[("r", None)]
    assert values(understood(text))[("r", None)] == pytest.approx(x + 9.0)


@pytest.mark.parametrize(
    ("name", "what"),
    [
        ("X", "'X' differs only in case from inputs: x"),
        ("y", "'y' is already the name of something else (inputs: y)"),
        ("9lives", "'9lives' cannot be a name"),
        ("a-b", "'a-b' cannot be a name"),
        ("a" * 41, f"'{'a' * 41}' cannot be a name"),
        (
            "größe",
            "'größe' cannot be a name: U+00F6 (latin small letter o with diaeresis) is no "
            "letter a-z",
        ),
    ],
)
def test_refused_names(name: str, what: str) -> None:
    found = complaints(
        CASE.replace("FORMULA", "x").replace("  twice: 2", f"  {name}: x\n  twice: 2")
    )
    assert [each.what for each in found] == [what]
    assert found[0].marked == name
