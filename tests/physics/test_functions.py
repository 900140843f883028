"""Physics functions: values from outside, and what every entry must hold.

The values stand in `checks_*.py`, a file for each trade. Each goes through a case file and the
whole reading side. The rest runs on every entry: its worked line, its dimension, the two laws
beside each other, and each of its limits on both sides.
"""

from __future__ import annotations

import functools
import importlib
import json
import math
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path
from types import CodeType

import pytest
from bench import Check, case_text, constant, understood, value_of, worked_out

from effband.case.findings import Findings
from effband.case.formula import parse_formula
from effband.case.natures import Nature, check_natures, fits_unit
from effband.case.program import Builder, Scope
from effband.case.text import parse_case
from effband.physics import AT_ONCE, NOT_COLD, SETTLED, Argument, Limit, PhysicsFunction
from effband.physics.functions import FUNCTIONS, TRADES
from effband.problems import CaseError, Problem
from effband.propagate.domains import outside_as_written
from effband.report.reference import function_page
from effband.study import run, with_options
from effband.units import POINT, Unit, parse_quantity, parse_unit, same_dimension

CHECKS: tuple[Check, ...] = tuple(
    check for trade in TRADES for check in importlib.import_module(f"checks_{trade}").CHECKS
)


@pytest.mark.parametrize("check", CHECKS, ids=[f"{c.function}-{c.expected:g}" for c in CHECKS])
def test_value(check: Check) -> None:
    assert f"{check.function}(" in check.formula
    assert check.source
    found = worked_out(check.formula, check.unit, **check.inputs)
    assert found == pytest.approx(check.expected, rel=check.allowed, abs=0)


def test_every_function_has_a_value_from_outside() -> None:
    assert {check.function for check in CHECKS} == set(FUNCTIONS)


@pytest.mark.parametrize("speed", ["3000 rpm", "50 rev/s", "314.1592653589793 rad/s"])
def test_a_turning_speed_in_any_of_its_units(speed: str) -> None:
    found = worked_out("kinetic_energy(j, w)", "J", j="0.05625 kg*m^2", w=speed)
    assert found == pytest.approx(0.5 * 0.05625 * (100 * math.pi) ** 2, rel=1e-14)


@pytest.mark.parametrize("speed", ["50 Hz", "50 1/s", "50", "50 m/s"])
def test_what_is_no_turning_speed(speed: str) -> None:
    with pytest.raises(CaseError, match="must be rotational speed"):
        worked_out("kinetic_energy(j, w)", "J", j="0.05625 kg*m^2", w=speed)


def test_through_the_whole_tool(tmp_path: Path) -> None:
    inputs = {
        "p_1": constant("9 bar gauge"),
        "p_2": constant("3 bar gauge"),
        "volume": "{value: 90 L, plus_minus: 2 L}",
        "b": constant("101325 Pa absolute"),
    }
    exergy = "receiver_exergy(absolute({}, b), volume, b)"
    text = case_text(f"{exergy.format('p_1')} - {exergy.format('p_2')}", "J", inputs)
    file = tmp_path / "exergy.yaml"
    file.write_text(text, encoding="utf-8")
    command = [sys.executable, "-m", "effband", "run", str(file), "--json", "--trials", "2000"]
    done = subprocess.run(command, capture_output=True, text=True, timeout=60, check=False)
    assert done.returncode == 0, done.stderr
    (band,) = json.loads(done.stdout)["results"]
    assert band["nominal"] == pytest.approx(102724.4, rel=6e-7)
    # a straight line in the volume: rectangular, so u is 2/90/sqrt(3) of it
    expected = 102724.4 * 2 / 90 / math.sqrt(3)
    assert band["linear"]["standard_uncertainty"] == pytest.approx(expected, rel=1e-5)


# -- every entry ------------------------------------------------------------------------------

ALL = pytest.mark.parametrize("function", FUNCTIONS.values(), ids=list(FUNCTIONS))
KINDS = {
    None,
    "gauge pressure",
    "absolute pressure",
    "pressure difference",
    "temperature",
    "temperature difference",
}


def kind_of(argument: Argument) -> str:
    """Return what follows a constant of an argument in an entry."""
    said = f", reads: {argument.kind}" if "pressure" in (argument.kind or "") else ""
    gas = {NOT_COLD: SETTLED}.get(argument.gas or "", argument.gas)
    return said + (f", gas: {gas}" if gas else "")


def call_of(function: PhysicsFunction, entries: list[str]) -> str:
    """Return a case that calls a function with inputs x0, x1 and so on."""
    names = [f"x{at}" for at in range(len(entries))]
    call = f"{function.name}({', '.join(names)})"
    return case_text(call, function.gives.unit, dict(zip(names, entries, strict=True)))


def entries_at(function: PhysicsFunction, values: list[str]) -> list[str]:
    return [
        f"{{constant: {value}{kind_of(argument)}}}"
        for argument, value in zip(function.arguments, values, strict=True)
    ]


@ALL
def test_the_worked_line_is_right(function: PhysicsFunction) -> None:
    assert len(function.example) == len(function.arguments)
    number, _, unit = function.worked.partition(" ")
    digits = len(number.partition("e")[0].partition(".")[2])
    half = 0.5 * 10.0 ** (int(number.partition("e")[2] or 0) - digits)
    text = call_of(function, entries_at(function, list(function.example)))
    text = text.replace(f'unit: "{function.gives.unit}"', f'unit: "{unit or 1}"')
    assert value_of(text) == pytest.approx(float(number), abs=1.0001 * half)
    assert len(number.lstrip("-0.").replace(".", "")) >= 3
    refused, doubtful = outside_as_written(understood(text))
    assert refused == doubtful == []


@ALL
def test_monte_carlo_and_the_first_order_law_agree(function: PhysicsFunction) -> None:
    """With spreads so narrow that every function is a straight line."""
    entries = []
    for argument, value in zip(function.arguments, function.example, strict=True):
        quantity = parse_quantity(value)
        width = "0.05 % of value"
        if quantity.unit.kind == POINT:
            width = "0.05 K"
        spread = f"value: {value}, standard_uncertainty: {width}"
        entries.append(f"{{{spread}{kind_of(argument)}}}")
    case = understood(call_of(function, entries))
    (band,) = run(case, with_options(case.settings, trials=60_000)).bands
    u = band.linear.standard_uncertainty
    assert u is not None
    assert u > 0.0
    # four times the simulation's own uncertainty
    assert band.summary.standard_uncertainty == pytest.approx(u, rel=4 / math.sqrt(2 * 60_000))
    assert band.summary.mean == pytest.approx(band.nominal, abs=4 * u / math.sqrt(60_000))


def nature_of(argument: Argument) -> Nature:
    return Nature(parse_unit(argument.unit).dimension, argument.kind)


def inner(function: PhysicsFunction, kinds: bool) -> tuple[Nature | None, Findings]:
    """Return the nature of a function's value, called with arguments as declared."""
    builder = Builder()
    held = {}
    for at, argument in enumerate(function.arguments):
        nature = nature_of(argument)
        detail = nature if kinds else Nature(nature.dimension, argument.kind)
        held[argument.name] = builder.add("become", (builder.constant(2.0 + at),), detail)
    call = f"{function.name}({', '.join(held)})"
    findings = Findings(parse_case(b"effband: 1\n", function.name))
    scope = Scope(("effband",), function.name, lambda name: held[name.name])
    step = builder.expression(parse_formula(call), scope)
    bound_steps = [bound.step for bound in builder.program().bounds]
    natures = check_natures(builder.program(), findings)
    limits = zip(function.all_limits, bound_steps, strict=True)
    for limit, at in limits:
        nature_found = natures[at]
        assert nature_found is not None
        assert same_dimension(nature_found.dimension, parse_unit(limit.unit).dimension), limit.of
    become = builder.program().steps[step]
    return natures[become.inputs[0]], findings


@ALL
def test_the_expression_has_the_dimension_it_declares(function: PhysicsFunction) -> None:
    nature, findings = inner(function, kinds=True)
    assert findings.problems == []
    assert nature is not None
    unit = parse_unit(function.gives.unit)
    assert same_dimension(nature.dimension, unit.dimension)
    assert fits_unit(nature, unit) is None


@ALL
def test_an_argument_of_another_dimension_is_refused(function: PhysicsFunction) -> None:
    for at, wrong in enumerate(function.arguments):
        entries = entries_at(function, list(function.example))
        entries[at] = "{constant: 2 mol}"
        with pytest.raises(CaseError, match=f"{function.name}: {wrong.name} "):
            value_of(call_of(function, entries))


@ALL
def test_every_entry_is_complete(function: PhysicsFunction) -> None:
    assert FUNCTIONS[function.name] is function
    assert function.sentence.endswith(".")
    assert len(function.sentence.split()) > 3
    assert function.domain
    assert function.source
    names = [argument.name for argument in function.arguments]
    parts = [name for name, _ in function.where] + [c.name for c in function.constants]
    assert len({*names, *parts}) == len(names) + len(parts) > 0
    for argument in (*function.arguments, function.gives):
        assert argument.meaning
        assert argument.kind in KINDS
        assert argument.gas in (None, SETTLED, AT_ONCE, NOT_COLD)
        parse_unit(argument.unit)
    used = [function.expression, *(text for _, text in function.where)]
    used = " ".join([*used, *(limit.of for limit in function.limits)])
    for name in (*names, *parts):
        assert name in words_of(used), f"{name} is not used"
    assert function.keeps_gas_of in (None, *names)
    for limit in function.limits:
        assert limit.edges
        assert limit.because
        assert not limit.because.endswith(".")


def words_of(text: str) -> set[str]:
    return set("".join(c if c.isalnum() or c == "_" else " " for c in text).split())


def test_every_function_belongs_to_one_trade() -> None:
    listed = [function.name for functions in TRADES.values() for function in functions]
    assert sorted(listed) == sorted(FUNCTIONS)


@ALL
def test_its_page_shows_it(function: PhysicsFunction) -> None:
    page = function_page(function)
    assert max(map(len, page.splitlines())) <= 120
    flat = " ".join(page.split())
    shown = [function.sentence, function.domain, function.source, f"= {function.worked}"]
    shown += [limit.because for limit in function.limits]
    shown += [argument.meaning for argument in function.arguments]
    for words in shown:
        assert " ".join(words.split()) in flat


# -- limits -----------------------------------------------------------------------------------


@functools.cache
def code(text: str) -> CodeType:
    return compile(text, "a formula", "eval")


@dataclass(frozen=True)
class Place:
    """One argument of a function moved, in SI units: the others stay as in the example."""

    function: PhysicsFunction
    at: int
    value: float

    def value_of(self, limit: Limit) -> float:
        """Return what a limit bounds, worked out apart from the tool."""
        known: dict[str, float] = {**vars(math), "standard_gravity": 9.80665, "abs": abs}
        known |= {"min": min, "max": max, "gas_constant": 8.31446261815324}  # type: ignore[dict-item]
        for at, (argument, text) in enumerate(
            zip(self.function.arguments, self.function.example, strict=True)
        ):
            known[argument.name] = self.value if at == self.at else parse_quantity(text).si
        for number in self.function.constants:
            known[number.name] = parse_unit(number.unit).to_si(number.value)
        for name, text in (*self.function.where, ("", limit.of)):
            try:
                known[name] = eval(code(text), {}, known)
            except (ArithmeticError, ValueError, TypeError):  # a complex number has no logarithm
                known[name] = math.nan
        return math.nan if isinstance(known[""], complex) else float(known[""])

    def text(self) -> str:
        unit = unit_at(self.function, self.at)
        values = list(self.function.example)
        values[self.at] = f"{unit.from_si(self.value)!r} {unit.symbol}"
        return call_of(self.function, entries_at(self.function, values))


def unit_at(function: PhysicsFunction, at: int) -> Unit:
    return parse_quantity(function.example[at]).unit


def moved(
    function: PhysicsFunction, limit: Limit, bound: float, above: bool
) -> tuple[Place, Place]:
    """Return a place just inside and one just outside a bound (SI)."""
    sign = 1.0 if above else -1.0
    for at in range(len(function.arguments)):
        start = parse_quantity(function.example[at]).si
        ways = [start * 1.1**k for k in range(1, 100)] + [start * 0.9**k for k in range(1, 100)]
        ways += [-start, 0.0]
        if unit_at(function, at).kind == POINT:
            ways += [start + 0.5 * k for k in range(-200, 200)]
        for far in ways:
            over = sign * (Place(function, at, far).value_of(limit) - bound)
            if not over > 0.0:
                continue
            near = start
            for _ in range(80):
                middle = (near + far) / 2
                inside = not sign * (Place(function, at, middle).value_of(limit) - bound) > 0.0
                near, far = (middle, far) if inside else (near, middle)
            step = 1e-7 * (far - start)
            return Place(function, at, far - step), Place(function, at, far + step)
    raise AssertionError(f"{function.name}: nothing reaches {limit}")


BOUNDS = [
    (function, limit, words, number)
    for function in FUNCTIONS.values()
    for limit in function.all_limits
    for words, number in limit.edges
]


@pytest.mark.parametrize(
    ("function", "limit", "words", "number"),
    BOUNDS,
    ids=[f"{row[0].name}-{row[1].of}-{row[2]}-{row[3]:g}" for row in BOUNDS],
)
def test_a_limit_speaks_outside_and_is_silent_inside(
    function: PhysicsFunction, limit: Limit, words: str, number: float
) -> None:
    at = parse_unit(limit.unit).to_si(number)
    inside, outside = moved(function, limit, at, above=words == "above")
    said = []
    for place in (inside, outside):
        refused, doubtful = outside_as_written(understood(place.text()))
        problems = refused if limit.refuse else doubtful
        said.append([p for p in problems if _of(p, limit)])
    assert said[0] == []
    (problem,) = said[1]
    assert f", {words} {number:g}" in problem.what


def _of(problem: Problem, limit: Limit) -> bool:
    called = f": {limit.called or limit.of} is " in problem.what
    return called and problem.remedy.startswith(limit.because)
