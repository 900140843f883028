"""Case text to `CaseFile`, and the library's messages in our words.

What is wrong with one entry must not hide what is wrong with the others, so a bad entry is
reported, taken out, and the rest goes on to be understood.
"""

from __future__ import annotations

import copy
from typing import Any

from pydantic import BaseModel, ValidationError

from effband.case.findings import Findings
from effband.case.format import CaseFile
from effband.case.likeness import fill_in
from effband.case.model import Likeness
from effband.case.text import CaseText, Path
from effband.case.wanted import list_wanted, pairs_wanted
from effband.problems import nearest

_STAND_IN: dict[str, Any] = {"effband": "1", "title": "untitled", "results": {}}
# What stands in the place of a refused member of a list, so that the others keep their places.
_SECTIONS_OF_NAMES = (("inputs",), ("formulas",), ("runs",), ("runs", "readings"))
REMOVED = "removed_entry"
_REMOVED_ENTRY: dict[str, dict[str, Any]] = {
    "claims": {"result": REMOVED, "says": "at most 0"},
    "correlations": {"between": [REMOVED, REMOVED + "_2"], "coefficient": "0"},
}
_SECTIONS = (
    "instruments",
    "inputs",
    "formulas",
    "results",
    "cross_checks",
    "upgrades",
    "joint",
)


def typed(text: CaseText, findings: Findings) -> tuple[CaseFile, tuple[Likeness, ...]]:
    """Return the case file as typed entries, and what `like:` filled in.

    Problems go to the findings.

    Entries with a problem are left out and their names marked as broken.
    """
    tree: dict[str, Any] = copy.deepcopy(text.tree)
    _drop_remarks(tree)
    findings.problems += text.problems
    for path in sorted(text.spoiled, key=_last_first, reverse=True):
        if path[-1:] in (("note",), ("label",)):
            _forget(tree, path)
        else:
            _take_out(tree, path, findings)
    likes = fill_in(tree, findings)
    for _ in range(4):  # what hid behind a removed entry shows in the next round
        try:
            return CaseFile.model_validate(tree), likes
        except ValidationError as error:
            found = [dict(problem) for problem in error.errors(include_url=False)]
            paths = [_path_in(tree, problem["loc"]) for problem in found]
            for problem, path in zip(found, paths, strict=True):
                if not _misspelt(problem, found):
                    _report(problem, path, findings)
            for path in sorted(paths, key=_last_first, reverse=True):
                _take_out(tree, path, findings)
    return CaseFile.model_validate(_STAND_IN), likes


def _drop_remarks(tree: dict[str, Any]) -> None:
    """Take out `note` and `label` that stand among the names of a section."""
    runs = tree.get("runs")
    of_runs = runs if isinstance(runs, dict) else {}
    sections = [tree.get(name) for name in _SECTIONS]
    sections += [of_runs.get(name) for name in ("readings", "rows", "groups")]
    for section in sections:
        if isinstance(section, dict):
            for word in ("note", "label"):
                if isinstance(section.get(word), str):
                    del section[word]


def _forget(tree: Any, path: Path) -> None:
    """Remove one key and nothing else."""
    for step in path[:-1]:
        tree = tree[step]
    del tree[path[-1]]


def _last_first(path: Path) -> tuple[tuple[int, str], ...]:
    """Return a sort key that puts later members of a list after earlier ones."""
    return tuple((step if isinstance(step, int) else -1, str(step)) for step in path)


def _misspelt(problem: dict[str, Any], others: list[dict[str, Any]]) -> bool:
    """Return whether a key is missing only because it is misspelt beside its place."""
    if problem["type"] != "missing":
        return False
    *place, key = problem["loc"]
    beside = [
        str(other["loc"][-1])
        for other in others
        if other["type"] == "extra_forbidden" and list(other["loc"][:-1]) == place
    ]
    return any(nearest(word, [str(key)], "") for word in beside)


def _path_in(tree: Any, loc: Any) -> Path:
    """Return the part of a library location that exists in the file (it adds tags of its own)."""
    path: list[str | int] = []
    here = tree
    for step in loc:
        step_exists = (isinstance(here, dict) and step in here) or (
            isinstance(here, list) and isinstance(step, int) and step < len(here)
        )
        if step_exists:
            path.append(step)
            here = here[step]
    return tuple(path)


def _report(problem: dict[str, Any], path: Path, findings: Findings) -> None:
    kind, loc = problem["type"], problem["loc"]
    context = problem.get("ctx") or {}
    key = str(loc[-1]) if loc else ""
    if kind == "refused":
        if key == "[key]":
            findings.key_error(path, context["what"], context["remedy"])
        else:
            findings.error(
                path, context["what"], context["remedy"], context["start"], context["length"]
            )
    elif kind == "missing":
        where = f" in {path[-1]!r}" if path and isinstance(path[-1], str) else ""
        where = " here" if path and not where else where
        remedy = "add `effband: 1`" if key == "effband" else f"add `{key}:`"
        findings.key_error(path, f"{key!r} is missing{where}", remedy)
    elif kind == "extra_forbidden":
        known = _keys_known_at(path[:-1])
        remedy = nearest(key, known, "keys known here: " + ", ".join(sorted(known)))
        if path[:1] == ("formulas",) and key == "unit":
            remedy = (
                "a formula finds its own; to show it in a unit make it a result, or say `unit:`"
            )
            remedy += " in its cross-check"
        findings.key_error(path, f"unknown key {key!r}", remedy)
    elif kind in ("model_type", "dict_type", "model_attributes_type"):
        if path[:1] == ("cross_checks",):
            findings.error(path, "a list is expected here", "write it in brackets: [a, b]")
            return
        remedy = pairs_wanted(path, _written(path, findings))
        findings.error(path, "`key: value` pairs are expected here", remedy)
    elif kind == "list_type":
        remedy = list_wanted(path, _written(path, findings))
        findings.error(path, "a list is expected here", remedy)
    elif kind in ("too_short", "too_long"):
        count = context.get("min_length", context.get("max_length"))
        what = f"{count} values are expected here, not {context['actual_length']}"
        while isinstance(path[-1], int):  # a single span was read as one of several
            path = path[:-1]
        findings.error(path, what, "write [low, high], and decimals with a point")
    elif kind == "literal_error":
        findings.error(path, "this word is not known here", f"write {context['expected']}")
    else:
        findings.error(path, "this does not fit here", str(problem["msg"]))


def _written(path: Path, findings: Findings) -> str:
    """Return the text that stands at a path; nothing where it is no plain text."""
    here: Any = findings.text.tree
    for step in path:
        known = isinstance(here, dict | list)
        try:
            here = here[step] if known else ""
        except (KeyError, IndexError, TypeError):
            return ""
    return here if isinstance(here, str) else ""


def _keys_known_at(path: Path) -> set[str]:
    """Return the keys that the format knows at a path of the file."""
    models: list[Any] = [CaseFile]
    for step in path:
        models = [inner for model in models for inner in _step_into(model, step)]
    return {
        field.alias or name
        for model in models
        if isinstance(model, type) and issubclass(model, BaseModel)
        for name, field in model.model_fields.items()
    }


def _step_into(model: Any, step: str | int) -> list[Any]:
    """Return the types found one step down from a model, a dict or a list type."""
    if isinstance(model, type) and issubclass(model, BaseModel):
        for name, field in model.model_fields.items():
            if step in (name, field.alias):
                return _alternatives(field.annotation)
        return []
    arguments = getattr(model, "__args__", ())
    return _alternatives(arguments[-1]) if arguments else []


def _alternatives(annotation: Any) -> list[Any]:
    """Return the members of a union, `Annotated` taken off."""
    if hasattr(annotation, "__metadata__"):
        return _alternatives(annotation.__origin__)
    arguments = getattr(annotation, "__args__", ())
    if arguments and getattr(annotation, "__origin__", None) not in (dict, list):
        return [inner for argument in arguments for inner in _alternatives(argument)]
    return [annotation]


def _take_out(tree: dict[str, Any], path: Path, findings: Findings) -> None:
    """Remove the entry that a path lies in, or give the file what it lacks at the top."""
    for key, value in _STAND_IN.items():
        tree.setdefault(key, value)
    depth = _depth_of_entry(path)
    entry = path[:depth]
    if not entry:
        return
    findings.broken.update(str(step) for step in entry[1:])
    if entry[0] == "joint":
        findings.broken.update(_parameters(tree, entry))
    if entry in _SECTIONS_OF_NAMES:
        findings.names_lost = True
    parent: Any = tree
    for step in entry[:-1]:
        parent = parent.get(step) if isinstance(parent, dict) else None
    last = entry[-1]
    if isinstance(parent, dict) and last in parent:
        del parent[last]
        if len(entry) == 1 and last in _STAND_IN:
            parent[last] = _STAND_IN[str(last)]
    elif isinstance(parent, list) and isinstance(last, int):
        findings.broken.update({REMOVED, REMOVED + "_2"})
        if entry[0] in _REMOVED_ENTRY:
            parent[last] = dict(_REMOVED_ENTRY[str(entry[0])])
        else:
            tree.pop(str(entry[0]), None)


def _parameters(tree: dict[str, Any], entry: Path) -> list[str]:
    """Return the names that a fit, or all of them, would have given."""
    fits = tree.get("joint")
    chosen = fits if isinstance(fits, dict) else {}
    found = [chosen.get(str(entry[1]))] if len(entry) > 1 else list(chosen.values())
    values = [fit.get("values") for fit in found if isinstance(fit, dict)]
    return [str(name) for each in values if isinstance(each, dict) for name in each]


def _depth_of_entry(path: Path) -> int:
    if not path:
        return 0
    if path[0] == "runs":
        return min(len(path), 4 if path[1:2] == ("rows",) else 3)
    return min(len(path), 2)
