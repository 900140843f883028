"""What can be told of upgrades without making them: names, ways, costs, purposes."""

from __future__ import annotations

from collections.abc import Collection, Sequence

from effband.case.findings import Findings
from effband.case.format import CaseFile, Upgrade
from effband.case.model import Output
from effband.case.text import Path
from effband.case.upgrades import VALUES, parse_cost
from effband.problems import Misread

LEAST_REPEATS, MOST_REPEATS = 2, 1_000


def check_upgrades(file: CaseFile, outputs: Sequence[Output], findings: Findings) -> None:
    """Check what can be told of upgrades without making them; problems go to the findings."""
    currencies: set[str] = set()
    for name, upgrade in file.upgrades.items():
        if name in findings.broken:
            continue
        path: Path = ("upgrades", name)
        if _one_way(name, upgrade, path, findings):
            _check_replaced(upgrade, path, file, findings)
            _check_added(upgrade, path, file, findings)
            _check_repeats(upgrade, path, file, findings)
        _check_purpose(upgrade, path, file, outputs, findings)
        if upgrade.cost is not None:
            _check_cost(upgrade.cost, (*path, "cost"), currencies, findings)


def _one_way(name: str, upgrade: Upgrade, path: Path, findings: Findings) -> bool:
    """Return whether an upgrade is done in exactly one way."""
    before = len(findings.problems)
    ways = {
        "replaces": bool(upgrade.replaces),
        "adds": upgrade.adds is not None or bool(upgrade.formulas),
        "repeats": upgrade.repeats is not None,
    }
    chosen = [way for way, given in ways.items() if given]
    keys = [key for key in ("instrument", "input") if getattr(upgrade, key) is not None]
    if "replaces" in chosen and "adds" in chosen:
        other = "adds" if upgrade.adds is not None else "formulas"
        what = f"`replaces:` and `{other}:` are two ways of doing better"
        remedy = "readings stay as they are when an instrument is replaced; for a change of method "
        remedy += "leave `replaces:` out"
        findings.key_error((*path, other), what, remedy)
    elif len(chosen) > 1:
        what = f"`{chosen[0]}:` and `{chosen[1]}:` are two ways of doing better"
        findings.key_error((*path, chosen[1]), what, "make two upgrades of it")
    elif keys and "replaces" not in chosen:
        what = f"upgrade {name} does not say what its `{keys[0]}:` stands in place of"
        findings.key_error((*path, keys[0]), what, "add `replaces:`, or put it under `adds:`")
    elif len(keys) == 2:
        what = "`instrument:` and `input:` cannot both stand in one place"
        findings.key_error((*path, "input"), what, "keep one of them")
    elif not chosen or ("replaces" in chosen and not keys) or _says_nothing(upgrade, chosen):
        what = f"upgrade {name} says nothing of what would be there"
        findings.key_error(path, what, "add `instrument:`, `input:`, `adds:` or `repeats:`")
    return len(findings.problems) == before


def _says_nothing(upgrade: Upgrade, chosen: list[str]) -> bool:
    adds = upgrade.adds
    if chosen != ["adds"] or upgrade.formulas or adds is None:
        return False
    return not (adds.instruments or adds.inputs or adds.readings)


def _check_replaced(upgrade: Upgrade, path: Path, file: CaseFile, findings: Findings) -> None:
    place: Path = (*path, "replaces")
    if _one_value_for_many(upgrade):
        names = " and ".join(upgrade.replaces)
        what = f"one `input:` with a value for {len(upgrade.replaces)} names: {names}"
        remedy = "write each as it would be under `adds: {inputs: ...}`, under new names, and "
        remedy += "`formulas:` that use them"
        findings.key_error((*path, "input"), what, remedy)
        return
    fitted = {name for joint in file.joint.values() for name in joint.values}
    inputs = [name for name in file.inputs if name not in fitted]
    for at, name in enumerate(upgrade.replaces):
        kind = name.partition("#")[0]
        if name != kind and kind in file.instruments:
            what = f"{name} is one of several of its type, which are replaced together"
            findings.error(place, what, f"write {kind}: all of its specimens are replaced")
        elif name in upgrade.replaces[:at]:
            findings.error(place, f"{name} stands twice here", "name each once")
        elif name in fitted:
            what = f"{name} is fitted together with others, so it is not replaced alone"
            findings.error(place, what, "change the fit in a case of its own, and compare the two")
        elif file.runs is not None and name in file.runs.readings:
            what = f"{name} is a reading, which is no better by itself"
            remedy = "replace its instrument, or read it otherwise: `adds:` takes a new reading"
            findings.error(place, what, remedy)
        elif findings.known(name, [*file.instruments, *inputs], place, "instrument or input"):
            if upgrade.instrument is not None and name not in file.instruments:
                what = f"{name} is an input, and no instrument"
                findings.key_error(
                    (*path, "instrument"), what, f"write `input:` as {name} would be"
                )
            elif upgrade.input is not None and name not in file.inputs:
                what = f"{name} is an instrument, and no input"
                remedy = f"write `instrument:` as {name} would be"
                findings.key_error((*path, "input"), what, remedy)


def _one_value_for_many(upgrade: Upgrade) -> bool:
    """Return whether several inputs would have one value; a width alone may be the same."""
    if upgrade.input is None or len(set(upgrade.replaces)) < 2:
        return False
    return any(getattr(upgrade.input, key) is not None for key in VALUES)


def _check_added(upgrade: Upgrade, path: Path, file: CaseFile, findings: Findings) -> None:
    for name in upgrade.formulas:
        findings.known(name, list(file.formulas), (*path, "formulas", name), "formula")
    if upgrade.adds is None:
        return
    readings = file.runs.readings if file.runs else {}
    taken = {
        **dict.fromkeys(file.instruments, "an instrument"),
        **dict.fromkeys(file.inputs, "an input"),
        **dict.fromkeys(readings, "a reading"),
        **dict.fromkeys(file.formulas, "a formula"),
        **dict.fromkeys(file.joint, "a fit"),
    }
    for section in ("instruments", "inputs", "readings"):
        for name in getattr(upgrade.adds, section):
            if name in taken:
                what = f"{name} is already the name of {taken[name]}"
                remedy = "choose another name; `replaces:` puts a better one in its place"
                findings.key_error((*path, "adds", section, name), what, remedy)
    if upgrade.adds.readings and not (file.runs and file.runs.rows):
        what = "a reading is taken in each run, and there are no runs"
        findings.key_error((*path, "adds", "readings"), what, "add an input in its place")


def _check_repeats(upgrade: Upgrade, path: Path, file: CaseFile, findings: Findings) -> None:
    if upgrade.repeats is None:
        return
    place = (*path, "repeats")
    if not LEAST_REPEATS <= upgrade.repeats <= MOST_REPEATS:
        what = f"repeats are {LEAST_REPEATS} to {MOST_REPEATS} in all, not {upgrade.repeats}"
        findings.error(place, what, "three are the least that mean anything, five or six are good")
    elif not (file.runs and file.runs.rows):
        what = "repeats are of runs, and there are none in this case"
        remedy = "write an input as it would be then, with `replaces:` and `input:`"
        findings.key_error(place, what, remedy)


def _check_purpose(
    upgrade: Upgrade, path: Path, file: CaseFile, outputs: Sequence[Output], findings: Findings
) -> None:
    purpose = upgrade.for_
    if purpose is None:
        return
    place = (*path, "for")
    if not findings.known(purpose.result, list(file.results), (*place, "result"), "result"):
        return
    own = [output.run for output in outputs if output.target.name == purpose.result]
    if purpose.run is None or not own or purpose.run in own:
        return
    if own == [None]:
        what = f"{purpose.result} has one value for the whole case, not one per run"
        findings.error((*place, "run"), what, "leave `run:` out")
    elif findings.known(purpose.run, _runs(file), (*place, "run"), "run or group"):
        what = f"{purpose.result} has no value in {purpose.run}"
        findings.error((*place, "run"), what, "name another run")


def _runs(file: CaseFile) -> Collection[str]:
    return [] if file.runs is None else [*file.runs.rows, *file.runs.groups]


def _check_cost(text: str, path: Path, currencies: set[str], findings: Findings) -> None:
    try:
        cost = parse_cost(text)
    except Misread:
        cost = None
    if cost is not None:
        currencies.add(cost.currency)
    if cost is None or len(currencies) > 1:
        what = "a cost is a number and one currency word, the same in all upgrades"
        findings.error(path, what, "write such as 60 EUR")
