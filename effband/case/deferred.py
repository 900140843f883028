"""Keys that are read and checked but not acted on yet: each warns, none is passed over.

All of them only add a judgement to the numbers.
"""

from __future__ import annotations

import re

from effband.case.findings import Findings
from effband.case.format import CaseFile
from effband.case.text import Path
from effband.problems import nearest
from effband.units import parse_unit

_COST = re.compile(r"(?:0|[1-9][0-9]*)(?:\.[0-9]+)? [A-Za-z]{1,12}")
_FOR_NOW = "the rest of the case is worked out without it"


def check_deferred(file: CaseFile, findings: Findings) -> None:
    """Check what is not acted on yet, and say that it is not."""
    currencies: set[str] = set()
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
    _check_balance(file, findings)
    _say_later(file, findings)


def _say_later(file: CaseFile, findings: Findings) -> None:
    judgements = {
        "upgrades": bool(file.upgrades),
    }
    for key, given in judgements.items():
        if given:
            findings.warn((key,), f"`{key}:` is not acted on yet", _FOR_NOW)


def _check_balance(file: CaseFile, findings: Findings) -> None:
    if file.balance is not None:
        for name in (*file.balance.in_, *file.balance.out, *file.balance.stored):
            _known(name, list(file.formulas), ("balance",), "formula", findings)


def _known(name: str, known: list[str], path: Path, what: str, findings: Findings) -> None:
    if name not in known and name not in findings.broken:
        remedy = nearest(name, known, f"known: {', '.join(known) or 'none'}")
        findings.error(path, f"no {what} is called {name!r}", remedy)
