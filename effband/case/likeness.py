"""What `like:` fills in: an instrument as sold, or a rule of thumb, from the catalogue.

The keys of the catalogue are put beside those that the user wrote, as text, before anything is
typed: so whatever holds for a key written out holds for one filled in, and any may be written
over.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Mapping
from typing import Any

from effband.case.findings import Findings
from effband.case.model import Likeness
from effband.case.spreads import SAYING
from effband.case.text import Path
from effband.case.values import JUDGED
from effband.evidence.as_sold import INSTRUMENTS_BY_NAME
from effband.evidence.catalogue import Template, entry_named, suggestion
from effband.evidence.rules_of_thumb import RULES_BY_NAME
from effband.problems import Misread
from effband.units import parse_quantity

_STATEMENTS = ("accuracy", "class", "calibration")
_NOT_A_PRIOR = ("constant", "draws", "instrument")
# What a span and a step look like, by what is read.
_SUCH = {
    "gauge pressure": ("[0 bar, 16 bar]", "0.5 bar"),
    "energy": ("[0 kWh, 1000 kWh]", "0.01 kWh"),
    "mass": ("[0 kg, 5 kg]", "1 g"),
    "DC voltage": ("[0 V, 20 V]", "0.01 V"),
    "DC current": ("[0 A, 40 A]", "0.01 A"),
    "volume flow": ("[0 L/min, 200 L/min]", "5 L/min"),
}


def fill_in(tree: dict[str, Any], findings: Findings) -> tuple[Likeness, ...]:
    """Put the keys of the catalogue into a tree where `like:` stands, in place.

    Entries that name what the catalogue has not are reported and taken out.
    """
    found = []
    for path, parent, for_input in _places(tree):
        name = str(path[-1])
        entry = parent[name]
        if not isinstance(entry, dict) or not isinstance(entry.get("like"), str):
            continue
        template = _template(path, entry["like"], for_input, findings)
        if template is None or not _fits(path, entry, template, for_input, findings):
            findings.broken.update(str(step) for step in path[1:])
            del parent[name]
            continue
        likeness = _likeness(path, entry, template)
        if for_input:
            _doubt_evidence(likeness, entry, findings)
        del entry["like"]
        entry.update(likeness.filled)
        place = findings.text.key((*path, "like"))
        findings.elsewhere.update({(*path, key): (None, place) for key, _ in likeness.filled})
        found.append(likeness)
    return tuple(found)


def _places(tree: Mapping[str, Any]) -> Iterator[tuple[Path, dict[str, Any], bool]]:
    """Yield every instrument and input: its path, what it stands in, and whether it is an input."""
    holders: list[tuple[Path, Any]] = [((), tree)]
    upgrades = tree.get("upgrades")
    for name, upgrade in upgrades.items() if isinstance(upgrades, dict) else ():
        if isinstance(upgrade, dict):
            for key in ("instrument", "input"):
                if key in upgrade:
                    yield ("upgrades", name, key), upgrade, key == "input"
            holders.append((("upgrades", name, "adds"), upgrade.get("adds")))
    for path, holder in holders:
        for section in ("instruments", "inputs"):
            entries = holder.get(section) if isinstance(holder, dict) else None
            if isinstance(entries, dict):
                for name in list(entries):
                    yield (*path, section, name), entries, section == "inputs"


def _likeness(path: Path, entry: Mapping[str, Any], template: Template) -> Likeness:
    filled = _filled(entry, template)
    own = tuple(key for key in template.keys if key in SAYING and key not in filled)
    evidence = str(template.keys.get("evidence", "datasheet"))
    return Likeness(path, template.name, evidence, template.source, tuple(filled.items()), own)


def _doubt_evidence(like: Likeness, entry: Mapping[str, Any], findings: Findings) -> None:
    """Warn of a spread of the catalogue's that the user calls better than it is."""
    said = entry.get("evidence", like.evidence)
    if said != like.evidence and said not in JUDGED and like.rests_on_catalogue:
        name = like.path[-1]
        what = f"{name} says `evidence: {said}`, but its spread is {like.name}, {like.evidence}"
        remedy = "write the spread that was found so, or delete it"
        findings.warn((*like.path, "evidence"), what, remedy)


def _template(path: Path, text: str, for_input: bool, findings: Findings) -> Template | None:
    catalogue, other = INSTRUMENTS_BY_NAME, RULES_BY_NAME
    command, belongs = "effband instruments", "a rule of thumb, for an input"
    if for_input:
        catalogue, other = other, catalogue
        command, belongs = "effband rules", "an instrument: declare it under `instruments:`"
    found = entry_named(text, catalogue)
    if found is not None:
        return found[1]
    what = f"the catalogue knows no {'rule of thumb' if for_input else 'instrument'} {text!r}"
    remedy = suggestion(text, catalogue, f"`{command}` lists what it knows")
    if entry_named(text, other) is not None:
        what, remedy = f"{text!r} is {belongs}", f"`{command}` lists what may stand here"
    findings.error((*path, "like"), what, remedy)
    return None


def _fits(
    path: Path, entry: Mapping[str, Any], template: Template, for_input: bool, findings: Findings
) -> bool:
    """Report what does not go with a template; return whether all does."""
    before = len(findings.problems)
    if for_input:
        for key in (*SAYING, *_NOT_A_PRIOR):
            if key in entry and key not in template.keys:
                stated = ", ".join(f"`{k}`" for k in template.keys if k in SAYING)
                what = f"`{key}` does not go with `like`, which states {stated}"
                remedy = "write those over, or leave `like:` out and note where it comes from"
                findings.key_error((*path, key), what, remedy)
        _check_order(path, entry, template, findings)
    else:
        missing = [key for key in template.asks if not _answered(key, entry)]
        if missing:
            names = " and ".join(f"`{key}:`" for key in missing)
            what = f"{template.name} does not say its {' and '.join(missing)}"
            span, step = _SUCH[str(template.keys["reads"])]
            such = ", ".join(f"{key}: {span if key == 'span' else step}" for key in missing)
            findings.key_error((*path, "like"), what, f"add {names} as on yours, such as {such}")
    return len(findings.problems) == before


def _check_order(
    path: Path, entry: Mapping[str, Any], template: Template, findings: Findings
) -> None:
    """Refuse a limit of the user's beyond one that he left as listed."""
    keys = [key for key in ("low", "likely", "high") if key in template.keys]
    for first, second in itertools.pairwise(keys):
        own = [key for key in (first, second) if key in entry]
        try:
            low, high = (
                parse_quantity(str(entry.get(k, template.keys[k]))) for k in (first, second)
            )
        except Misread:
            return  # said where the number is read
        if len(own) == 1 and low.unit.dimension == high.unit.dimension and not low.si < high.si:
            (mine,) = own
            other = second if mine == first else first
            side = "below" if mine == second else "above"
            what = f"this lies {side} the `{other}: {template.keys[other]}` of {template.name}"
            findings.error((*path, mine), what, f"write `{other}:` over as well")


def _answered(key: str, entry: Mapping[str, Any]) -> bool:
    if any(statement in entry for statement in _STATEMENTS):
        return True  # what the user's own statement needs is asked for where it is read
    return key in entry or (key == "division" and "digit" in entry)


def _filled(entry: Mapping[str, Any], template: Template) -> dict[str, Any]:
    """Return the keys that the user did not write; one statement of a kind is enough."""
    dropped: set[str] = set()
    if any(key in entry for key in _STATEMENTS):
        dropped |= {*_STATEMENTS, "evidence"}  # the catalogue's says nothing of another statement
    if "digit" in entry:
        dropped |= {"division", "readable_to"}  # a display in the place of a dial
    elif "division" in entry:
        dropped.add("digit")
    return {
        key: value
        for key, value in template.keys.items()
        if key not in entry and key not in dropped
    }
