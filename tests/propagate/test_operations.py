"""One list of operations, several runners: the same names, and the same numbers.

The kernel (slots used again, or kept), `uncertainties`, and Python's own arithmetic work out the
same random formulas; Python is the judge, and of the parser's precedence as well.
"""

from __future__ import annotations

import functools
import itertools
import math
import random
import re

import numpy as np
import pytest
from workbench import case_of, results

from effband.case import natures, program
from effband.case.findings import Findings
from effband.case.program import ARITHMETIC, Builder, Program, Spot, Step
from effband.case.text import parse_case
from effband.propagate import kernel, linear
from effband.propagate.kernel import compile_kernel
from effband.propagate.linear import propagate_linearly

TWO = {"add", "subtract", "multiply", "divide", "power", "minimum", "maximum", "atan2"}
SPOT = Spot(("results", "y", "formula"), 0, 1, "y")


# -- the same names ------------------------------------------------------------------------------


def test_runners_have_exactly_these_operations() -> None:
    assert len(ARITHMETIC) == 20
    assert TWO < ARITHMETIC
    assert set(kernel.UFUNCS) == ARITHMETIC
    assert set(linear.FUNCTIONS) == ARITHMETIC


@pytest.mark.parametrize("op", sorted(ARITHMETIC))
def test_every_operation_takes_as_many_values_everywhere(op: str) -> None:
    count = 2 if op in TWO else 1
    assert kernel.UFUNCS[op].nin == count
    numbers = [0.5, 0.25][:count]
    assert math.isfinite(float(linear.FUNCTIONS[op](*numbers)))


def findings() -> Findings:
    return Findings(parse_case(b"effband: 1\nresults: {y: {formula: x}}\n", "case.yaml"))


def nature_of(op: str, inputs: int) -> natures.Nature | None:
    """Return what the nature rules make of an operation on plain numbers."""
    steps = [Step("source", (), f"x{i}") for i in range(inputs)]
    last = Step(op, tuple(range(inputs)), None, SPOT)
    return natures.check_natures(Program((*steps, last)), findings())[-1]


@pytest.mark.parametrize("op", sorted(ARITHMETIC))
def test_nature_rules_know_every_operation(op: str) -> None:
    nature = nature_of(op, 2 if op in TWO else 1)
    assert nature is not None
    angle = op in ("asin", "acos", "atan", "atan2")
    assert nature.dimension == (natures.ANGLE if angle else natures.DIMENSIONLESS)


def test_nature_rules_know_no_other_operation() -> None:
    """A new operation must not slip through without a rule of its own."""
    with pytest.raises((KeyError, AssertionError, ValueError)):
        nature_of("cube_root", 1)


@pytest.mark.parametrize("op", sorted(ARITHMETIC))
def test_operations_on_numbers_alone_are_worked_out_alike(op: str) -> None:
    """Folded while the formula is read, folded by the kernel, and run on arrays."""
    for numbers in ([0.5, 0.25], [0.75, 3.0], [0.3, 0.3]):
        given = numbers[: 2 if op in TWO else 1]
        builder = Builder()
        inputs = tuple(builder.constant(x) for x in given)
        folded = builder.literal(builder.arithmetic(op, inputs, SPOT))
        assert folded is not None
        assert "become" in program.TRANSPARENT
        steps = [Step("constant", (), x) for x in given]
        hidden = [Step("become", (i,), None) for i in range(len(given))]
        at = tuple(range(len(given), 2 * len(given)))
        whole = Program((*steps, *hidden, Step(op, at, None, SPOT)))
        (by_kernel,) = compile_kernel(whole, {}, [2 * len(given)], reuse=True).outputs
        by_array = kernel.UFUNCS[op](*(np.full(3, x) for x in given))
        by_linear = float(linear.FUNCTIONS[op](*given)) if len(set(given)) > 1 else by_kernel
        for value in (by_kernel, by_array[1], by_linear):
            assert value == pytest.approx(folded, rel=1e-14)


def test_another_number_of_size_zero_changes_nothing() -> None:
    """An input of minus zero must not become the zero of a formula: pi or minus pi is at stake."""
    text = "inputs:\n  k: {constant: -0}\n  x: {value: -2, plus_minus: 1}\n"
    at = {"x": np.array([-2.0])}
    alone = case_of(text.replace("  k: {constant: -0}\n", ""), results(a="atan2(0, x)"))
    beside = case_of(text, results(a="atan2(0, x)", b="k + x"))
    assert run_kernel(alone, at, True)[0, 0] == math.pi
    assert run_kernel(beside, at, True)[0, 0] == math.pi


# -- random formulas -----------------------------------------------------------------------------

INPUTS = {"a": 0.8, "b": 2.5, "c": -1.3, "d": 4.0}
FUNCTIONS = {
    **{name: getattr(math, name) for name in ("sqrt", "exp", "log", "log10", "sin", "cos", "tan")},
    **{name: getattr(math, name) for name in ("asin", "acos", "atan", "atan2", "pi")},
    "abs": abs,
    "min": min,
    "max": max,
}
LARGEST = 1e4  # of any part of a formula, so that rounding stays small beside the tolerance
FORMULAS, POINTS = 240, 6

LEAVES = ["a", "b", "c", "d", "pi", "2", "0.5", "1.25e1", "3"]
# Forms keep their arguments inside the domain wherever the point is.
FORMS = [
    "({} + {})",
    "{} - {}",
    "({} - {})",
    "{} * {}",
    "({}) * ({})",
    "-{}",
    "-({})**2",
    "({})**3",
    "(abs({}) + 0.3)**-1",
    "(abs({}) + 0.3)**0.5",
    "(abs({}) + 0.3)**1.7",
    "(abs({}) + 0.5)**sin({})",
    "2**cos({})",
    "2**-sin({})",
    "{} / (abs({}) + 0.4)",
    "({}) / (2 + cos({}))",
    "sqrt(abs({}) + 0.2)",
    "exp(sin({}))",
    "log(abs({}) + 0.6)",
    "log10(abs({}) + 0.6)",
    "sin({})",
    "cos({})",
    "tan(0.7 * sin({}))",
    "asin(0.9 * sin({}))",
    "acos(0.9 * cos({}))",
    "atan({})",
    "atan2({}, 1 + abs({}))",
    "atan2(-abs({}) - 0.1, -({})**2 - 0.1)",
    "abs({} - 0.123)",
    "min({}, 0.017 + {}, {} - 0.013)",
    "max({}, {} + 0.019)",
]


def grown(rng: random.Random, depth: int) -> str:
    if depth == 0 or rng.random() < 0.1:
        return rng.choice(LEAVES)
    form = rng.choice(FORMS)
    return form.format(*(grown(rng, depth - 1) for _ in range(form.count("{}"))))


def by_python(formula: str, point: dict[str, float]) -> float:
    return float(eval(formula, {"__builtins__": {}}, {**FUNCTIONS, **point}))


@functools.cache
def formulas() -> tuple[str, ...]:
    """Return random formulas (seed 42) that a case accepts and that stay of moderate size."""
    rng = random.Random(42)
    found: dict[str, None] = {}
    while len(found) < FORMULAS:
        formula = grown(rng, rng.choice([2, 3, 4]))
        if len(formula) > 900 or not re.search(r"\b[abcd]\b", formula):
            continue
        try:
            sizes = [abs(by_python(formula, point)) for point in points()]
        except (OverflowError, ValueError, ZeroDivisionError):
            continue
        if max(sizes) < LARGEST:
            found[formula] = None
    return tuple(found)


@functools.cache
def points() -> tuple[dict[str, float], ...]:
    rng = random.Random(43)
    others = [{n: x + rng.uniform(-0.4, 0.4) for n, x in INPUTS.items()} for _ in range(POINTS)]
    return (INPUTS, *others)


@functools.cache
def cases():
    """Return cases of 40 formulas each; no input may be at a corner or a limit."""
    inputs = "".join(f"  {n}: {{value: {x}, plus_minus: 0.4}}\n" for n, x in INPUTS.items())
    batches = itertools.batched(formulas(), 40) if hasattr(itertools, "batched") else batched()
    return tuple(
        (batch, case_of("inputs:\n" + inputs, results(**{f"f{i}": f for i, f in enumerate(batch)})))
        for batch in batches
    )


def batched():
    return [formulas()[start : start + 40] for start in range(0, FORMULAS, 40)]


def run_kernel(case, values: dict[str, np.ndarray], reuse: bool) -> np.ndarray:
    """Return outputs at given inputs, shape (outputs, points)."""
    by_name = {source.name: source for source in case.sources}
    compiled = compile_kernel(case.program, by_name, [o.step for o in case.outputs], reuse)
    size = len(next(iter(values.values())))
    arrays = [np.full(size, np.nan) for _ in range(compiled.slots)]

    def draw(source, out):
        out[:] = values[source.name]

    compiled.run(arrays, draw)
    rows = [compiled.values(arrays, k) for k in range(len(case.outputs))]
    return np.array([np.broadcast_to(row, size) for row in rows])


def agree(found: float, expected: float, formula: str) -> None:
    assert abs(found - expected) <= 1e-12 * max(1.0, abs(expected)), (formula, found, expected)


def test_formulas_use_every_operation() -> None:
    ops = {step.op for _, case in cases() for step in case.program.steps}
    assert ops >= ARITHMETIC
    assert len(formulas()) == FORMULAS
    assert len(cases()) == FORMULAS // 40
    assert sum(map(len, formulas())) / FORMULAS > 40


@pytest.mark.parametrize("reuse", [True, False])
def test_random_formulas_by_the_kernel(reuse: bool) -> None:
    at = {name: np.array([point[name] for point in points()]) for name in INPUTS}
    compared = 0
    for batch, case in cases():
        found = run_kernel(case, at, reuse)
        for k, formula in enumerate(batch):
            for i, point in enumerate(points()):
                agree(found[k, i], by_python(formula, point), formula)
                compared += 1
    assert compared == FORMULAS * (POINTS + 1)


def test_both_layouts_agree_bit_by_bit() -> None:
    at = {name: np.array([point[name] for point in points()]) for name in INPUTS}
    for _, case in cases():
        assert np.array_equal(run_kernel(case, at, True), run_kernel(case, at, False))


def test_used_slots_are_fewer() -> None:
    _, case = cases()[0]
    by_name = {source.name: source for source in case.sources}
    wanted = [output.step for output in case.outputs]
    few, many = (compile_kernel(case.program, by_name, wanted, reuse) for reuse in (True, False))
    assert few.slots < many.slots / 2
    assert len(few.instructions) == len(many.instructions)


def test_random_formulas_by_the_first_order_law() -> None:
    """The values, and the slopes against central differences of Python's own arithmetic.

    A step of 1e-5 leaves 1e-10 of curvature and 1e-11 / 1e-5 of rounding: tolerance 1e-4 of u.
    """
    compared = 0
    sd = 0.4 / math.sqrt(3)
    for batch, case in cases():
        for formula, band in zip(batch, propagate_linearly(case, 0.95), strict=True):
            assert band.reason is None, (formula, band.reason)
            agree(band.value, by_python(formula, INPUTS), formula)
            slopes = []
            for name, x in INPUTS.items():
                ends = [by_python(formula, {**INPUTS, name: x + h}) for h in (1e-5, -1e-5)]
                slopes.append((ends[0] - ends[1]) / 2e-5)
            u = sd * math.hypot(*slopes)
            size = max(1.0, abs(band.value))
            assert band.standard_uncertainty == pytest.approx(u, rel=1e-4, abs=1e-6 * size), formula
            compared += u > 0
    assert compared > 0.9 * FORMULAS
