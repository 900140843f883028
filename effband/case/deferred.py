"""Keys that are read and checked but not acted on yet: each warns, none is passed over.

All of them only add a judgement to the numbers.
"""

from __future__ import annotations

import re

from effband.case.findings import Findings
from effband.case.format import CaseFile, Claim
from effband.case.text import Path
from effband.problems import Misread, nearest
from effband.units import parse_quantity, parse_unit

_CLAIM = re.compile(
    r"(?P<way>at least|at most) (?P<a>.+)|between (?P<low>.+) and (?P<high>.+)"
    r"|is (?P<value>.+) within (?P<width>.+)"
)
_COST = re.compile(r"(?:0|[1-9][0-9]*)(?:\.[0-9]+)? [A-Za-z]{1,12}")
_FOR_NOW = "the rest of the case is worked out without it"


def check_deferred(
    file: CaseFile, runs: tuple[str, ...], whole: set[str], findings: Findings
) -> None:
    """Check what is not acted on yet, and say that it is not.

    `whole` names the results that have one value for the whole case.
    """
    _cross_checks(file, findings)
    groups = tuple(file.runs.groups) if file.runs else ()
    currencies: set[str] = set()
    for at, claim in enumerate(file.claims):
        _claim(claim, ("claims", at), file, (*runs, *groups), whole, findings)
    for name, upgrade in file.upgrades.items():
        path: Path = ("upgrades", name)
        if name in findings.broken:
            continue
        known = [*file.instruments, *file.inputs]
        for replaced in upgrade.replaces:
            _known(replaced, known, (*path, "replaces"), "instrument or input", findings)
        for formula in upgrade.formulas:
            _known(formula, list(file.formulas), (*path, "formulas"), "formula", findings)
        if upgrade.cost is not None:
            known_form = _COST.fullmatch(upgrade.cost)
            currencies |= {upgrade.cost.rpartition(" ")[2]} if known_form else set()
            if not known_form or len(currencies) > 1:
                what = "a cost is a number and one currency word, the same in all upgrades"
                findings.error((*path, "cost"), what, "write such as 60 EUR")
        if upgrade.for_ is not None:
            _known(upgrade.for_.result, list(file.results), (*path, "for"), "result", findings)
        ways = (upgrade.instrument, upgrade.input, upgrade.adds, upgrade.repeats)
        if not any(way is not None for way in ways) and not upgrade.formulas:
            what = f"upgrade {name} says nothing of what would be there"
            findings.key_error(path, what, "add `instrument:`, `input:`, `adds:` or `repeats:`")
    if file.altitude is not None and file.altitude.unit.dimension != parse_unit("m").dimension:
        what = f"an altitude is a length, not in {file.altitude.unit.text}"
        findings.error(("altitude",), what, "write such as 640 m")
    _say_later(file, findings)


def _say_later(file: CaseFile, findings: Findings) -> None:
    judgements = {
        "cross_checks": bool(file.cross_checks),
        "claims": bool(file.claims),
        "upgrades": bool(file.upgrades),
    }
    for key, given in judgements.items():
        if given:
            findings.warn((key,), f"`{key}:` is not acted on yet", _FOR_NOW)


def _cross_checks(file: CaseFile, findings: Findings) -> None:
    for name, check in file.cross_checks.items():
        path: Path = ("cross_checks", name)
        if len(check.between) < 2:
            findings.error(path, "a cross-check is between two formulas or more", "write [a, b]")
        for member in check.between:
            _known(member, list(file.formulas), path, "formula", findings)
    if file.balance is not None:
        for name in (*file.balance.in_, *file.balance.out, *file.balance.stored):
            _known(name, list(file.formulas), ("balance",), "formula", findings)


def _claim(
    claim: Claim,
    path: Path,
    file: CaseFile,
    runs: tuple[str, ...],
    whole: set[str],
    findings: Findings,
) -> None:
    _known(claim.result, list(file.results), (*path, "result"), "result", findings)
    if claim.run is not None and claim.result in whole:
        what = f"{claim.result} has one value for the whole case, not one per run"
        findings.error((*path, "run"), what, "leave `run:` out")
    elif claim.run is not None:
        _known(claim.run, list(runs), (*path, "run"), "run", findings)
    match = _CLAIM.fullmatch(claim.says)
    if match is None:
        remedy = "write at least X, at most X, between X and Y, or is X within Y"
        findings.error((*path, "says"), f"{claim.says!r} is no claim that can be judged", remedy)
        return
    result = file.results.get(claim.result)
    bounds: dict[str, float] = {}
    for key in ("a", "low", "high", "value", "width"):
        if match[key] is None:
            continue
        try:
            quantity = parse_quantity(match[key])
        except Misread as error:
            start = match.start(key) + error.start
            findings.error((*path, "says"), error.what, error.remedy, start, error.length)
            continue
        bounds[key] = quantity.si
        if result is not None and quantity.unit.dimension != result.unit.dimension:
            start, length = match.start(key), len(match[key])
            what = f"{match[key]} does not fit {claim.result}, which is in {result.unit.text}"
            findings.error((*path, "says"), what, f"write it in {result.unit.text}", start, length)
    if "low" in bounds and "high" in bounds and not bounds["low"] < bounds["high"]:
        findings.error((*path, "says"), "the first limit must be the lower", "exchange the two")


def _known(name: str, known: list[str], path: Path, what: str, findings: Findings) -> None:
    if name not in known and name not in findings.broken:
        remedy = nearest(name, known, f"known: {', '.join(known) or 'none'}")
        findings.error(path, f"no {what} is called {name!r}", remedy)
