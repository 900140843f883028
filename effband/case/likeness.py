"""What `like:` fills in: an instrument as sold, or a rule of thumb, from the catalogue.

The keys of the catalogue are put beside those that the user wrote, as text, before anything is
typed: so whatever holds for a key written out holds for one filled in, and any may be written
over.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from effband.case.findings import Findings
from effband.case.model import Likeness
from effband.case.spreads import SAYING
from effband.case.text import Path
from effband.evidence.as_sold import INSTRUMENTS_BY_NAME
from effband.evidence.catalogue import Template
from effband.evidence.rules_of_thumb import RULES_BY_NAME
from effband.problems import nearest

_STATEMENTS = ("accuracy", "class", "calibration")
_STEPS = ("digit", "division")  # of a display, or of a dial
_NOT_A_PRIOR = ("constant", "draws", "instrument")
_EXAMPLES = {
    "span": "span: [0 bar, 16 bar]",
    "division": "division: 0.5 bar",
    "digit": "digit: 0.01 kWh",
}


def fill_in(tree: dict[str, Any], findings: Findings) -> tuple[Likeness, ...]:
    """Put the keys of the catalogue into a tree where `like:` stands, in place.

    Entries that name what the catalogue has not are reported and taken out.
    """
    found = []
    for path, parent in _places(tree):
        name = str(path[-1])
        entry = parent[name]
        if not isinstance(entry, dict) or not isinstance(entry.get("like"), str):
            continue
        for_input = "inputs" in path or name == "input"
        template = _template(path, entry["like"], for_input, findings)
        if template is None or not _fits(path, entry, template, for_input, findings):
            findings.broken.add(name)
            del parent[name]
            continue
        filled = _filled(entry, template)
        del entry["like"]
        entry.update(filled)
        place = findings.text.key((*path, "like"))
        findings.elsewhere.update({(*path, key): (None, place) for key in filled})
        evidence = str(template.keys.get("evidence", "datasheet"))
        found.append(
            Likeness(path, template.name, evidence, template.source, tuple(filled.items()))
        )
    return tuple(found)


def _places(tree: Mapping[str, Any]) -> Iterator[tuple[Path, dict[str, Any]]]:
    """Yield the path of every instrument and input, and the mapping that it stands in."""
    holders: list[tuple[Path, Any]] = [((), tree)]
    upgrades = tree.get("upgrades")
    for name, upgrade in upgrades.items() if isinstance(upgrades, dict) else ():
        if isinstance(upgrade, dict):
            for key in ("instrument", "input"):
                if key in upgrade:
                    yield ("upgrades", name, key), upgrade
            holders.append((("upgrades", name, "adds"), upgrade.get("adds")))
    for path, holder in holders:
        for section in ("instruments", "inputs"):
            entries = holder.get(section) if isinstance(holder, dict) else None
            if isinstance(entries, dict):
                for name in list(entries):
                    yield (*path, section, name), entries


def _template(path: Path, text: str, for_input: bool, findings: Findings) -> Template | None:
    wanted = " ".join(text.split()).casefold()
    catalogue, other = INSTRUMENTS_BY_NAME, RULES_BY_NAME
    command, belongs = "effband instruments", "a rule of thumb, for an input"
    if for_input:
        catalogue, other = other, catalogue
        command, belongs = "effband rules", "an instrument: declare it under `instruments:`"
    by_word = {name.casefold(): template for name, template in catalogue.items()}
    if wanted in by_word:
        return by_word[wanted]
    what = f"the catalogue knows no {'rule of thumb' if for_input else 'instrument'} {text!r}"
    remedy = nearest(text, catalogue, f"`{command}` lists what it knows")
    if wanted in {name.casefold() for name in other}:
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
    else:
        missing = [key for key in template.asks if not _answered(key, entry)]
        if missing:
            names = " and ".join(f"`{key}:`" for key in missing)
            what = f"a {template.name} does not say its {' and '.join(missing)}"
            such = ", ".join(_EXAMPLES.get(key, f"{key}: ...") for key in missing)
            findings.key_error((*path, "like"), what, f"add {names} as on yours, such as {such}")
    return len(findings.problems) == before


def _answered(key: str, entry: Mapping[str, Any]) -> bool:
    return key in entry or (key in _STEPS and any(step in entry for step in _STEPS))


def _filled(entry: Mapping[str, Any], template: Template) -> dict[str, Any]:
    """Return the keys that the user did not write; one statement of a kind is enough."""
    dropped: set[str] = set()
    if any(key in entry for key in _STATEMENTS):
        dropped |= {*_STATEMENTS, "evidence"}  # the catalogue's says nothing of another statement
    if any(key in entry for key in _STEPS):
        dropped |= {*_STEPS, "readable_to"}
    return {
        key: value
        for key, value in template.keys.items()
        if key not in entry and key not in dropped
    }
