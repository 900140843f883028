"""Physics functions: printed or separately computed values, and their own dimensions.

Each value goes through a case file and the whole reading side; two also through the command.
"""

from __future__ import annotations

import json
import math
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from effband.case.findings import Findings
from effband.case.formula import Name, parse_formula
from effband.case.natures import Nature, check_natures, fits_unit
from effband.case.program import Builder, Scope
from effband.case.resolve import understand
from effband.case.text import parse_case
from effband.physics import Argument, PhysicsFunction
from effband.physics.functions import FUNCTIONS, TRADES
from effband.problems import CaseError
from effband.propagate.kernel import compile_kernel
from effband.units import parse_unit, same_dimension

CASE = """\
effband: 1
title: physics
inputs:
{inputs}
results:
  r: {{formula: "{formula}", unit: "{unit}", is: quantity}}
"""

# 60 US gallons of 231 cubic inches; psi and atmosphere as in NIST SP 811
ATMOSPHERE = "barometer: 101325 Pa absolute"
A = ("p_1: 9 bar gauge", "p_2: 3 bar gauge", "volume: 90 L", ATMOSPHERE)
B = ("p_1: 8 bar gauge", "p_2: 2 bar gauge", "volume: 100 L", ATMOSPHERE)
C = ("p_1: 200 bar gauge", "p_2: 20 bar gauge", "volume: 12 L", ATMOSPHERE)
D = ("p_1: 125 psi gauge", "p_2: 40 psi gauge", "volume: 60 gal_us", ATMOSPHERE)
S1 = ("p_1: 9.985 bar absolute", "p_cold: 3.535 bar absolute", "index: 1.1304")
DISC = ("inertia: 0.05625 kg*m^2", "speed: 3000 rpm")  # half m r^2: 5 kg, 0.15 m
RING = ("inertia: 0.08125 kg*m^2", "speed: 3000 rpm")  # half m (r1^2 + r2^2): 5 kg, 0.10, 0.15 m

EXERGY_1 = "receiver_exergy(absolute(p_1, barometer), volume, barometer)"
EXERGY_2 = "receiver_exergy(absolute(p_2, barometer), volume, barometer)"

# Each value was worked out to the digits shown with the inputs beside it, by the closed
# formulas of the availability of a closed system, the polytropic law and 1/2 J w^2.
CHECKS = [
    ("absolute", A, "absolute(p_1, barometer)", "bar", 10.01325, 1e-12),
    ("receiver_exergy", A, EXERGY_1, "J", 125440.3, 5e-7),
    ("receiver_exergy", A, EXERGY_2, "J", 22715.9, 3e-6),
    ("receiver_exergy", A, f"{EXERGY_1} - {EXERGY_2}", "J", 102724.4, 6e-7),
    ("receiver_exergy", B, f"{EXERGY_1} - {EXERGY_2}", "J", 104147.4, 6e-7),
    ("receiver_exergy", C, f"{EXERGY_1} - {EXERGY_2}", "J", 983627.9, 6e-8),
    ("receiver_exergy", D, f"{EXERGY_1} - {EXERGY_2}", "J", 246950.9, 3e-7),
    ("warm_pressure", S1, "warm_pressure(p_1, p_cold, index)", "bar", 3.985, 1.3e-4),
    ("kinetic_energy", DISC, "kinetic_energy(inertia, speed)", "J", 2775.8, 2e-5),
    ("kinetic_energy", RING, "kinetic_energy(inertia, speed)", "J", 4009.5, 2e-5),
]


def case_of(inputs: tuple[str, ...], formula: str, unit: str) -> str:
    lines = []
    for entry in inputs:
        name, _, rest = entry.partition(": ")
        value, kind = rest, ""
        for word in ("gauge", "absolute"):
            if rest.endswith(f" {word}"):
                value = rest.removesuffix(f" {word}")
                kind = f", reads: {word} pressure, gas: settled"
        lines.append(f"  {name}: {{constant: {value}{kind}}}")
    return CASE.format(inputs="\n".join(lines), formula=formula, unit=unit)


def value_of(text: str) -> float:
    case = understand(parse_case(text.encode(), "physics.yaml"))
    (output,) = case.outputs
    kernel = compile_kernel(case.program, {}, [output.step], reuse=False)
    arrays = [np.empty(1) for _ in range(kernel.slots)]
    kernel.run(arrays)
    return output.target.unit.from_si(float(np.ravel(kernel.values(arrays, 0))[0]))


@pytest.mark.parametrize(
    ("function", "inputs", "formula", "unit", "expected", "allowed"),
    CHECKS,
    ids=[f"{row[0]}-{row[4]}" for row in CHECKS],
)
def test_value(
    function: str,
    inputs: tuple[str, ...],
    formula: str,
    unit: str,
    expected: float,
    allowed: float,
) -> None:
    assert f"{function}(" in formula
    assert value_of(case_of(inputs, formula, unit)) == pytest.approx(expected, rel=allowed)


def test_every_function_has_a_value_here() -> None:
    assert set(FUNCTIONS) <= {row[0] for row in CHECKS}


def test_exergy_by_its_integral() -> None:
    """The work of a frictionless isothermal expansion to p0, less that against the room."""
    p0, p1, volume = 101325.0, 1001325.0, 0.09
    pressures = np.linspace(p0, p1, 200_001)
    grown = volume * p1 / pressures  # the volume that the gas takes at each pressure
    work = float(np.trapezoid(pressures[::-1] - p0, grown[::-1]))
    assert value_of(case_of(A, EXERGY_1, "J")) == pytest.approx(work, rel=1e-8)


def test_exergy_at_room_pressure_is_zero_and_least() -> None:
    inputs = ("p_1: 0 bar gauge", "volume: 90 L", ATMOSPHERE)
    assert value_of(case_of(inputs, EXERGY_1, "J")) == pytest.approx(0.0, abs=1e-9)
    for around in ("-0.1", "0.1"):
        near = (f"p_1: {around} bar gauge", "volume: 90 L", ATMOSPHERE)
        assert value_of(case_of(near, EXERGY_1, "J")) > 0.0


def test_gauge_for_absolute_would_be_nine_per_cent_off() -> None:
    """90 L from 9 to 3 bar: 93.6 kJ with gauge pressures taken as absolute, not 102.7."""
    wrong = (
        "p_1: 9 bar absolute",
        "p_2: 3 bar absolute",
        "volume: 90 L",
        ATMOSPHERE,
    )
    formula = "receiver_exergy(p_1, volume, barometer) - receiver_exergy(p_2, volume, barometer)"
    assert value_of(case_of(wrong, formula, "kJ")) == pytest.approx(93.6, abs=0.05)


def test_warming_undoes_the_index() -> None:
    """(n - 1)/n = ln(p_warm / p_cold) / ln(p_1 / p_cold), with the printed pressures."""
    n = 1 / (1 - math.log(3.985 / 3.535) / math.log(9.985 / 3.535))
    assert n == pytest.approx(1.1304, abs=5e-5)
    for index in (1.0, 1.05, n, 1.4):
        inputs = ("p_1: 9.985 bar absolute", "p_cold: 3.535 bar absolute", f"index: {index!r}")
        warm = value_of(case_of(inputs, "warm_pressure(p_1, p_cold, index)", "bar"))
        assert math.log(warm / 3.535) / math.log(9.985 / 3.535) == pytest.approx(
            (index - 1) / index, abs=1e-12
        )


def test_a_slow_emptying_warms_no_more_and_a_fast_one_warms_to_the_adiabatic_pressure() -> None:
    slow = ("p_1: 10.01325 bar absolute", "p_cold: 4.01325 bar absolute", "index: 1")
    assert value_of(case_of(slow, "warm_pressure(p_1, p_cold, index)", "bar")) == pytest.approx(
        4.01325, rel=1e-14
    )
    fast = (*slow[:2], "index: 1.4")  # 9 to 3 bar gauge: warms to 5.21 bar absolute
    assert value_of(case_of(fast, "warm_pressure(p_1, p_cold, index)", "bar")) == pytest.approx(
        5.21, abs=0.005
    )


@pytest.mark.parametrize("speed", ["3000 rpm", "50 rev/s", "314.1592653589793 rad/s"])
def test_a_turning_speed_in_any_of_its_units(speed: str) -> None:
    inputs = ("inertia: 0.05625 kg*m^2", f"speed: {speed}")
    found = value_of(case_of(inputs, "kinetic_energy(inertia, speed)", "J"))
    assert found == pytest.approx(0.5 * 0.05625 * (100 * math.pi) ** 2, rel=1e-14)


@pytest.mark.parametrize("speed", ["50 Hz", "50 1/s", "50", "50 m/s"])
def test_what_is_no_turning_speed(speed: str) -> None:
    inputs = ("inertia: 0.05625 kg*m^2", f"speed: {speed}")
    with pytest.raises(CaseError, match="must be rotational speed"):
        value_of(case_of(inputs, "kinetic_energy(inertia, speed)", "J"))


def test_through_the_whole_tool(tmp_path: Path) -> None:
    text = case_of(A, f"{EXERGY_1} - {EXERGY_2}", "J").replace(
        "volume: {constant: 90 L}", "volume: {value: 90 L, plus_minus: 2 L}"
    )
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


# -- the entries themselves -------------------------------------------------------------------

KINDS = {None, "gauge pressure", "absolute pressure", "pressure difference", "temperature"}


def nature_of(argument: Argument) -> Nature:
    return Nature(parse_unit(argument.unit).dimension, argument.kind)


def inner(function: PhysicsFunction, kinds: bool) -> tuple[Nature | None, Findings]:
    """Return the nature of a function's expression, run on arguments as declared."""
    builder = Builder()
    held = {}
    for at, argument in enumerate(function.arguments):
        nature = nature_of(argument)
        detail = nature if kinds else Nature(nature.dimension)
        held[argument.name] = builder.add("become", (builder.constant(2.0 + at),), detail)

    def lookup(name: Name) -> int:
        return held[name.name] if name.name in held else builder.named_constant(name.name)

    findings = Findings(parse_case(b"effband: 1\n", function.name))
    scope = Scope(("effband",), function.name, lookup)
    step = builder.expression(parse_formula(function.expression), scope)
    return check_natures(builder.program(), findings)[step], findings


@pytest.mark.parametrize("function", FUNCTIONS.values(), ids=list(FUNCTIONS))
def test_the_expression_has_the_dimension_it_declares(function: PhysicsFunction) -> None:
    nature, findings = inner(function, kinds=False)
    assert findings.problems == []
    assert nature is not None
    assert same_dimension(nature.dimension, parse_unit(function.gives.unit).dimension)
    assert fits_unit(nature, parse_unit(function.gives.unit)) is None


@pytest.mark.parametrize(
    "function",
    [f for f in FUNCTIONS.values() if f.name != "absolute"],  # the one that may join the two
    ids=[name for name in FUNCTIONS if name != "absolute"],
)
def test_the_expression_is_fine_with_the_kinds_it_declares(function: PhysicsFunction) -> None:
    nature, findings = inner(function, kinds=True)
    assert findings.problems == []
    assert nature is not None
    assert nature.kind in (function.gives.kind, None)


@pytest.mark.parametrize("function", FUNCTIONS.values(), ids=list(FUNCTIONS))
def test_an_argument_of_another_dimension_is_refused(function: PhysicsFunction) -> None:
    for at, wrong in enumerate(function.arguments):
        inputs = tuple(
            f"x{k}: 2 mol" if k == at else f"x{k}: 2 {argument.unit}{_kind(argument)}"
            for k, argument in enumerate(function.arguments)
        )
        inputs = tuple(entry.replace(" 1 ", " ").removesuffix(" 1") for entry in inputs)
        call = f"{function.name}({', '.join(f'x{k}' for k in range(len(function.arguments)))})"
        with pytest.raises(CaseError, match=f"{function.name}: {wrong.name} "):
            value_of(case_of(inputs, call, function.gives.unit))


def _kind(argument: Argument) -> str:
    return f" {argument.kind.split()[0]}" if argument.kind else ""


@pytest.mark.parametrize("function", FUNCTIONS.values(), ids=list(FUNCTIONS))
def test_every_entry_is_complete(function: PhysicsFunction) -> None:
    assert FUNCTIONS[function.name] is function
    assert function.sentence.endswith(".")
    assert len(function.sentence.split()) > 3
    assert function.domain
    assert function.source
    names = [argument.name for argument in function.arguments]
    assert len(set(names)) == len(names) > 0
    for argument in (*function.arguments, function.gives):
        assert argument.meaning
        assert argument.kind in KINDS
        parse_unit(argument.unit)
    for name in names:
        assert name in function.expression
    assert function.keeps_gas_of in (None, *names)


def test_every_function_belongs_to_one_trade() -> None:
    listed = [function.name for functions in TRADES.values() for function in functions]
    assert sorted(listed) == sorted(FUNCTIONS)


@pytest.mark.parametrize("name", FUNCTIONS)
def test_the_reference_shows_it(name: str) -> None:
    command = [sys.executable, "-m", "effband", "physics", name]
    done = subprocess.run(command, capture_output=True, text=True, timeout=60, check=False)
    assert done.returncode == 0, done.stderr
    flat = " ".join(done.stdout.split())
    function = FUNCTIONS[name]
    for words in (function.sentence, function.domain, function.source):
        assert " ".join(words.split()) in flat
