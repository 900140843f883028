"""Mistakes that cost a factor, found in what a case says and in its numbers as written.

Each check yields warnings: what is doubtful, with the numbers, and what to do. A check that
cannot tell keeps silent.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

from effband.case.model import Case
from effband.decide import ceilings, machines, meters, pressures
from effband.decide.bench import MEANT_IN, Bench, Check, shown
from effband.problems import Problem


def doubts_as_written(case: Case) -> list[Problem]:
    """Return the warnings that follow from what a case says and from its numbers as written."""
    bench = Bench(case)
    return [problem for check in CHECKS for problem in check(bench)]


def impossible_as_written(case: Case) -> list[Problem]:
    """Return a warning for each result that lies above its ceiling, or below 0, as written."""
    bench = Bench(case)
    found: dict[str, tuple[float, str]] = {}
    for output in case.outputs:
        if output.ceiling is None:
            continue
        value, most = bench.worth(output.step), bench.worth(output.ceiling)
        if not 0.0 <= value <= most * (1 + 1e-9) and math.isfinite(value):
            where = f" in {output.where}" if output.where else ""
            found.setdefault(output.target.name, (value, where))
    problems = []
    for target in case.targets:
        if target.name in found:
            value, where = found[target.name]
            number = shown(value, target.unit.text)
            what = f"{target.name} comes to {number}{where}, which is impossible"
            remedy = f"its ceiling is {target.ceiling}: look at units, signs and what is forgotten"
            problems.append(bench.warn(("results", target.name), what, remedy))
    return problems


def _meaning_of_another_kind(bench: Bench) -> Iterator[Problem]:
    for name, means in bench.meanings.items():
        if not bench.can_mean(name):
            found = bench.unit_of(name) or bench.nature(name)
            what = f"{name} says `means: {means}`, but it is in {found}"
            remedy = f"that is in {' or '.join(MEANT_IN[means])}: check the word, or the unit"
            yield bench.warn((*bench.path(name), "means"), what, remedy)


def _balance_of_several_kinds(bench: Bench) -> Iterator[Problem]:
    balance = bench.file.balance
    if balance is None:
        return
    natures = {bench.nature(name) for name in (*balance.in_, *balance.out, *balance.stored)}
    if len(natures) > 1:
        what = f"the balance adds {' and '.join(sorted(natures))}"
        yield bench.warn(("balance",), what, "give all its parts as energies, or all as powers")


CHECKS: tuple[Check, ...] = (
    _meaning_of_another_kind,
    _balance_of_several_kinds,
    *pressures.CHECKS,
    *meters.CHECKS,
    *machines.CHECKS,
    *ceilings.CHECKS,
)
