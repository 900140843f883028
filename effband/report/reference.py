"""The reference pages: functions and units, for a reader at the bench."""

from __future__ import annotations

import textwrap

from effband.case.formula import CONSTANTS, FUNCTIONS
from effband.physics import PhysicsFunction
from effband.units import POINT, known_units, name_dimension


def function_line(function: PhysicsFunction) -> str:
    """Return a function as one line."""
    names = ", ".join(argument.name for argument in function.arguments)
    return f"{function.name}({names})"


def function_page(function: PhysicsFunction) -> str:
    """Return a function as a page: what it is for, takes, gives, and whose it is."""
    lines = [function_line(function), ""]
    lines += textwrap.wrap(function.sentence, 78)
    lines += ["", "takes:"]
    for argument in function.arguments:
        kind = f", an {argument.kind}" if argument.kind and argument.kind[0] in "aeiou" else ""
        kind = kind or (f", a {argument.kind}" if argument.kind else "")
        lines.append(f"  {argument.name}: {argument.meaning}, such as in {argument.unit}{kind}")
    given = function.gives
    lines.append(
        f"gives: {given.meaning}, in {given.unit}" + (f", {given.kind}" if given.kind else "")
    )
    lines += ["", f"  {given.name} = {function.expression}", ""]
    lines += textwrap.wrap(f"holds for: {function.domain}", 78)
    lines += textwrap.wrap(f"source: {function.source}", 78)
    return "\n".join(lines) + "\n"


def language_lines() -> str:
    """Return what else a formula may use: plain functions, reducers over runs, constants."""
    constants = ", ".join(f"{name} ({unit})" for name, (_, unit) in CONSTANTS.items())
    return (
        f"plain: {' '.join(FUNCTIONS)}\n"
        "over runs: mean_of_runs(x), total_of_runs(x), in_run(x, run)\n"
        f"constants: {constants}\n"
    )


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
