"""A formula worked out through a case file, and what a check of one holds."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from effband.case.model import Case
from effband.case.resolve import understand
from effband.case.text import parse_case
from effband.propagate.kernel import compile_kernel

CASE = """\
effband: 1
title: physics
inputs:
{inputs}
results:
  r: {{formula: "{formula}", unit: "{unit}", is: quantity}}
"""
READS = {
    "gauge": "gauge pressure",
    "absolute": "absolute pressure",
    "difference": "pressure difference",
}


@dataclass(frozen=True)
class Check:
    """A printed or separately computed value of a physics function.

    `inputs` are quantities; a pressure is followed by `gauge`, `absolute` or `difference`, and
    by `at once` where it was not read settled. `allowed` is relative, half the last digit
    printed or the rounding of the inputs, never more than the source warrants.
    """

    function: str
    formula: str
    unit: str
    expected: float
    allowed: float
    source: str
    inputs: dict[str, str] = field(default_factory=dict)


def constant(text: str) -> str:
    """Return the entry of an input that has no spread."""
    gas = "settled"
    if text.endswith(" at once"):
        text, gas = text.removesuffix(" at once"), "read at once"
    for word, reads in READS.items():
        if text.endswith(f" {word}"):
            kind = f", reads: {reads}" + ("" if word == "difference" else f", gas: {gas}")
            return f"{{constant: {text.removesuffix(f' {word}')}{kind}}}"
    return f"{{constant: {text}}}"


def case_text(formula: str, unit: str, entries: dict[str, str]) -> str:
    """Return a case of one result; `entries` are the inputs as they stand in the file."""
    lines = "\n".join(f"  {name}: {entry}" for name, entry in entries.items())
    return CASE.format(inputs=lines, formula=formula, unit=unit)


def understood(text: str) -> Case:
    return understand(parse_case(text.encode(), "physics.yaml"))


def value_of(text: str) -> float:
    """Return the one result of a case without spreads, in its unit."""
    case = understood(text)
    (output,) = case.outputs
    kernel = compile_kernel(case.program, {}, [output.step], reuse=False)
    arrays = [np.empty(1) for _ in range(kernel.slots)]
    kernel.run(arrays)
    return output.target.unit.from_si(float(np.ravel(kernel.values(arrays, 0))[0]))


def worked_out(formula: str, unit: str, **inputs: str) -> float:
    """Return a formula's value: worked_out("absolute(p, b)", "bar", p="9 bar gauge", ...)."""
    entries = {name: constant(text) for name, text in inputs.items()}
    return value_of(case_text(formula, unit, entries))
