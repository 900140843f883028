"""The reference pages: functions, instruments as sold, rules of thumb, units."""

from __future__ import annotations

import re
import textwrap
from collections.abc import Iterable, Sequence

from effband.case.formula import (
    CONSTANTS,
    FUNCTIONS,
    Binary,
    Call,
    Expression,
    Name,
    Negative,
    Number,
    parse_formula,
)
from effband.case.model import inline
from effband.evidence.catalogue import Template
from effband.physics import Argument, Limit, PhysicsFunction
from effband.units import POINT, known_units, name_dimension, parse_unit

WIDTH = 78


def functions_list(trades: Iterable[tuple[str, tuple[PhysicsFunction, ...]]]) -> str:
    """Return every function by trade, each with what it is for, and what else a formula may use."""
    lines = []
    for trade, functions in trades:
        lines.append(f"{trade}:")
        for function in functions:
            lines += _wrapped(_call(function), "  ", "      ")
            lines += _wrapped(function.sentence, "      ")
        lines.append("")
    constants = ", ".join(f"{name} ({unit})" for name, (_, unit) in CONSTANTS.items())
    return "\n".join(lines) + (
        f"\nplain: {' '.join(FUNCTIONS)}\n"
        "over runs: mean_of_runs(x), total_of_runs(x), in_run(x, run)\n"
        f"constants: {constants}\n"
        "\n`effband physics NAME` explains one of them.\n"
    )


def function_page(function: PhysicsFunction) -> str:
    """Return a function as a page: what it is for, takes, gives, holds for, and one worked line."""
    lines = [*_wrapped(_call(function), "", "  "), "", *_wrapped(function.sentence)]
    lines += ["", "takes:"]
    for argument in function.arguments:
        lines += _wrapped(f"{argument.name}: {argument.meaning}{_nature(argument)}", "  ", "      ")
    given = function.gives
    lines += ["gives:", *_wrapped(f"{given.name}: {given.meaning}{_nature(given)}", "  ", "      ")]
    lines += ["", *_wrapped(f"{given.name} = {readable(function.expression)}", "  ", "      ")]
    lines += _parts(function.where)
    for constant in function.constants:
        number = f"{constant.value:.10g} {'' if constant.unit == '1' else constant.unit}".rstrip()
        lines += _wrapped(f"{constant.name} = {number}, {constant.meaning}", "      ", "          ")
    lines += ["", "for instance:"]
    lines += _wrapped(f"{function.name}({', '.join(function.example)}) = {function.worked}", "  ")
    lines += ["", *_wrapped(f"holds for: {function.domain}")]
    lines += [line for limit in function.limits for line in _wrapped(_limit(limit), "  ", "      ")]
    lines += _wrapped(f"source: {function.source}")
    return "\n".join(lines) + "\n"


_AGAIN = re.compile(r".*_([2-9]|[1-9][0-9]+)")  # the second and later rounds of a repetition


def _parts(where: Sequence[tuple[str, str]]) -> list[str]:
    """Return the parts of a formula, of a repetition its first round only."""
    lines, again = [], ""
    for name, text in where:
        if _AGAIN.fullmatch(name):
            again = name
            continue
        if again:
            lines += _wrapped(f"... and so on, to {again}", "      ")
            again = ""
        lines += _wrapped(f"{name} = {readable(text)}", "      ", "          ")
    if again:
        lines += _wrapped(f"... and so on, to {again}", "      ")
    return lines


def _wrapped(text: str, first: str = "", rest: str | None = None) -> list[str]:
    return textwrap.wrap(
        text,
        WIDTH,
        initial_indent=first,
        subsequent_indent=first if rest is None else rest,
        break_long_words=False,
        break_on_hyphens=False,
    )


def _call(function: PhysicsFunction) -> str:
    names = ", ".join(argument.name for argument in function.arguments)
    return f"{function.name}({names})"


def _nature(argument: Argument) -> str:
    words = f", in {argument.unit} or the like"
    if argument.unit == "1":
        words = ", a number without unit"
    if argument.kind:
        words += f"; {argument.kind}"
    return words + (f", {argument.gas}" if argument.gas else "")


def _limit(limit: Limit) -> str:
    symbol = parse_unit(limit.unit).symbol
    bounds = [f"{words} {edge:g} {symbol}".rstrip() for words, edge in limit.edges]
    verb = "refused" if limit.refuse else "warns"
    return f"{verb} where {limit.called or limit.of} is {' or '.join(bounds)}: {limit.because}"


# -- formulas as a person writes them ---------------------------------------------------------

_SIGNS = {"add": " + ", "subtract": " - ", "multiply": "\N{MIDDLE DOT}", "divide": "/"}
_RANK = {"add": 1, "subtract": 1, "multiply": 2, "divide": 2, "power": 4}
_SMALL = {2.0: "\N{SUPERSCRIPT TWO}", 3.0: "\N{SUPERSCRIPT THREE}"}
_SPOKEN = {"log": "ln", "log10": "lg"}


def readable(text: str) -> str:
    """Return a formula with products as dots, powers raised, and only the brackets it needs."""
    return _shown(parse_formula(text))


def _shown(tree: Expression, outer: int = 0) -> str:
    match tree:
        case Number():
            return f"{tree.value:.12g}"
        case Name():
            return tree.name
        case Negative():
            return _bracketed(f"-{_shown(tree.part, 3)}", outer > 1)
        case Call():
            parts = ", ".join(_shown(part) for part in tree.arguments)
            return f"{_SPOKEN.get(tree.function, tree.function)}({parts})"
        case Binary():
            return _binary(tree, outer)
    raise AssertionError(tree)


def _binary(tree: Binary, outer: int) -> str:
    rank = _RANK[tree.operation]
    # a/b times c is read both ways without a bracket
    unclear = tree.operation == "multiply" and _is_quotient(tree.left)
    left = _shown(tree.left, rank + (unclear or tree.operation == "power"))
    if tree.operation == "power":
        small = _SMALL.get(tree.right.value) if isinstance(tree.right, Number) else None
        return _bracketed(left + (small or f"^{_shown(tree.right, 5)}"), rank < outer)
    right = _shown(tree.right, rank + (tree.operation in ("subtract", "divide")))
    return _bracketed(left + _SIGNS[tree.operation] + right, rank < outer)


def _is_quotient(tree: Expression) -> bool:
    return isinstance(tree, Binary) and tree.operation == "divide"


def _bracketed(text: str, needed: bool) -> str:
    return f"({text})" if needed else text


# -- the catalogue and the units --------------------------------------------------------------


def catalogue_list(groups: Iterable[tuple[str, tuple[Template, ...]]], command: str) -> str:
    """Return the entries of the catalogue by group: what each fills in, and whose it is."""
    lines: list[str] = []
    for heading, templates in groups:
        lines.append(f"{heading}:")
        for template in templates:
            lines += [f"  {template.name}", *_wrapped(_filled_in(template), "      ")]
            lines += _wrapped(f"[{template.source}]", "      ")
        lines.append("")
    lines.append(f"`effband {command} NAME` says of one what to mind; a case names it by `like:`.")
    return "\n".join(lines) + "\n"


def template_page(template: Template) -> str:
    """Return an entry of the catalogue as a page: what it is, and how a case names it."""
    lines = [template.name, "", *_wrapped(template.sentence), ""]
    lines += _wrapped(f"fills in: {_filled_in(template)}", "", "  ")
    lines += _wrapped(f"source: {template.source}", "", "  ")
    return "\n".join(lines) + "\n"


def _filled_in(template: Template) -> str:
    keys = ", ".join(f"{key}: {inline(value)}" for key, value in template.keys.items())
    return keys + (f"; add {' and '.join(template.asks)}" if template.asks else "")


def units_table() -> str:
    """Return every unit with its size in SI, its dimension and its note."""
    lines = []
    for unit in known_units():
        kind = " (a point)" if unit.kind == POINT else ""
        size = f"{unit.factor:.10g}"
        lines.append(
            f"{unit.text:<11} {size:<16} {name_dimension(unit.dimension)}{kind}; {unit.note}"
        )
    return "\n".join(lines) + "\n"
