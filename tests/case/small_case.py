"""Small cases as text: what they mean in numbers, or what is said against them.

A case here is written in the file's own language and goes through the whole reading side.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from effband.case.model import Case, ErrorSource
from effband.case.resolve import understand
from effband.case.text import parse_case
from effband.evidence.distributions import Distribution
from effband.problems import CaseError, Problem
from effband.propagate.kernel import compile_kernel

FILE = "case.yaml"


@dataclass(frozen=True)
class Complaint:
    """One problem or warning: line and column, the characters it marks, what and remedy."""

    line: int
    column: int
    marked: str
    what: str
    remedy: str


def understood(text: str) -> Case:
    """Return what a case says; raises CaseError."""
    return understand(parse_case(text.encode("utf-8"), FILE))


def complaints(text: str) -> list[Complaint]:
    """Return what is said against a case that must be refused."""
    try:
        understood(text)
    except CaseError as error:
        return [_complaint(problem, text) for problem in error.problems]
    raise AssertionError("the case was accepted")


def warnings(text: str) -> list[Complaint]:
    """Return the warnings of a case that must be accepted."""
    return [_complaint(problem, text) for problem in understood(text).warnings]


def answers(text: str) -> list[Complaint]:
    """Return what is said about a case, accepted or not."""
    try:
        return warnings(text)
    except CaseError as error:
        return [_complaint(problem, text) for problem in error.problems]


def _complaint(problem: Problem, text: str) -> Complaint:
    place = problem.place
    if place is None:
        return Complaint(0, 0, "", problem.what, problem.remedy)
    line = text.split("\n")[place.line - 1]
    marked = line[place.column - 1 : place.column - 1 + place.length]
    return Complaint(place.line, place.column, marked, problem.what, problem.remedy)


def laws(case: Case) -> dict[str, Distribution]:
    """Return the laws of the error sources, by name."""
    return {source.name: source.distribution for source in case.sources}


def values(
    case: Case, changed: dict[str, float] | None = None
) -> dict[tuple[str, str | None], float]:
    """Return every result in its unit, by name and run, with the sources at their nominal values.

    `changed` gives other values, in SI units, of some sources.
    """
    by_name = {source.name: source for source in case.sources}
    steps = [output.step for output in case.outputs]
    kernel = compile_kernel(case.program, by_name, steps, reuse=False)
    arrays = [np.empty(1) for _ in range(kernel.slots)]
    known = set(by_name)
    assert set(changed or {}) <= known, known

    def draw(source: ErrorSource, out: np.ndarray) -> None:
        out[0] = (changed or {}).get(source.name, source.nominal)

    kernel.run(arrays, draw)
    return {
        (output.target.name, output.run): output.target.unit.from_si(
            float(np.ravel(kernel.values(arrays, at))[0])
        )
        for at, output in enumerate(case.outputs)
    }
