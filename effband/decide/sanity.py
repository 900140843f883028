"""Mistakes that cost a factor, found in what a case says and in its numbers as written.

Each check yields warnings: what is doubtful, with the numbers, and what to do. A check that
cannot tell keeps silent.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Sequence

from effband.case.model import Case
from effband.decide import ceilings, machines, meters, pressures
from effband.decide.bench import MEANT_IN, Bench, Check, shown
from effband.problems import Problem

STEM = re.compile(r"(\w*?[A-Za-z])_?[0-9]+")  # of names such as full_1, full_2
LEAST_RUNS = 3  # fewer show no scatter
ALIKE_BY_NAME, ALIKE = 0.1, 0.03  # how far readings of one load differ; without names to tell


def doubts_as_written(case: Case) -> list[Problem]:
    """Return the warnings that follow from what a case says and from its numbers as written."""
    bench = Bench(case)
    return [problem for check in CHECKS for problem in check(bench)]


def impossible_as_written(case: Case) -> list[Problem]:
    """Return a warning for each result that lies above its ceiling, or below 0, as written."""
    bench = Bench(case)
    found: dict[str, tuple[float, str]] = {}
    advice: dict[str, str] = {}
    for output in case.outputs:
        if output.ceiling is None:
            continue
        value, most = bench.worth(output.step), bench.worth(output.ceiling)
        if not 0.0 <= value <= most * (1 + 1e-9) and math.isfinite(value):
            where = f" in {output.where}" if output.where else ""
            found.setdefault(output.target.name, (value, where))
            if 0.0 <= value <= 100 * most:
                advice[output.target.name] = ceilings.times_hundred(bench, output)
    problems = []
    for target in case.targets:
        if target.name in found:
            value, where = found[target.name]
            number = shown(value, target.unit.text)
            what = f"{target.name} comes to {number}{where}, which is impossible"
            remedy = f"its ceiling is {target.ceiling}: look at units, signs and what is forgotten"
            remedy = advice.get(target.name) or remedy
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


def _runs_that_repeat(bench: Bench) -> Iterator[Problem]:
    """Look for runs that repeat one load without a group, by their names or readings."""
    runs = bench.file.runs
    if runs is None:
        return
    grouped = {run for members in runs.groups.values() for run in members}
    stems: dict[str, list[str]] = {}
    for run in (run for run in bench.runs if run not in grouped):
        match = STEM.fullmatch(run)
        stems.setdefault("" if match is None else match[1], []).append(run)
    for stem, alike in stems.items():
        named = stem != "" and _differ(bench, alike) <= ALIKE_BY_NAME
        if len(alike) >= LEAST_RUNS and (named or _differ(bench, alike) <= ALIKE):
            group = next(
                n for n in (stem or "load", "load", "loads", "same") if n not in bench.runs
            )
            what = f"{', '.join(alike)} look like one load, run {len(alike)} times"
            remedy = (
                f"if so, say `groups: {{{group}: [{', '.join(alike)}]}}` under `runs:`: "
                "their scatter is then used"
            )
            yield bench.warn(("runs", "rows", alike[0]), what, remedy)
            return


def _differ(bench: Bench, runs: Sequence[str]) -> float:
    """Return by how much the readings of runs differ at most, relative to the largest."""
    values: dict[str, list[float]] = {}
    for leaf in bench.case.leaves:
        if leaf.run in runs:
            values.setdefault(leaf.name, []).append(leaf.value)
    found = [max(v) - min(v) for v in values.values()]
    sizes = [max(abs(x) for x in v) for v in values.values()]
    return max((d / size for d, size in zip(found, sizes, strict=True) if size), default=math.inf)


CHECKS: tuple[Check, ...] = (
    _meaning_of_another_kind,
    _balance_of_several_kinds,
    _runs_that_repeat,
    *pressures.CHECKS,
    *meters.CHECKS,
    *machines.CHECKS,
    *ceilings.CHECKS,
)
