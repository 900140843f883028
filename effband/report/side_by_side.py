"""Two receipts of one case side by side: number by number, by the simulation's rule, by verdict."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from effband.report.rechecked import AGREES, DIFFERS, NOT_COMPARED, Difference, Step

SAME = 1e-9  # relative: as near as another processor comes with the same draws
APART = 4.0  # combined simulation uncertainties

_SIZES = ("mean", "standard_uncertainty", "median", "low", "high")
_ENDS = ("low", "high")
_NAMES = {"standard_uncertainty": "standard uncertainty", "low": "low end", "high": "high end"}
_OF_ITS = "uncertainty of its"
_SETTINGS = ("seed", "trials", "probability", "digits", "adaptive", "sampling", "widen_guesses")


def _named(each: Mapping[str, Any], key: str = "result") -> str:
    where = "" if each["run"] is None else f", {each['run']}"
    return f"{each[key]}{where}"


def _values(told: Mapping[str, Any]) -> dict[str, tuple[Any, float]]:
    """Return all that a receipt says of a run: each value, and the size it is measured by."""
    found: dict[str, tuple[Any, float]] = {
        f"setting {key}": (told["settings"][key], 0.0) for key in _SETTINGS
    }
    found["number of warnings"] = (told["warnings"], 0.0)
    found |= {f"rows of {each['name']}": (each["rows"], 0.0) for each in told["data"]}
    for each in told["results"]:
        name, ends = _named(each), each["interval"]
        size = abs(ends["high"] - ends["low"]) / 2
        found[f"{name}: unit"] = each["unit"], 0.0
        for key in _SIZES:
            value = ends[key] if key in ends else each[key]
            found[f"{name}: {_NAMES.get(key, key)}"] = value, size
            error = each["simulation_uncertainty"][key]
            found[f"{name}: {_OF_ITS} {_NAMES.get(key, key)}"] = error, 0.0
        found[f"{name}: share beyond its ceiling"] = each["beyond_ceiling"], 0.0
    for number, each in enumerate(told["claims"], 1):
        name = f"claim {number} ({_named(each)}, {each['says']})"
        keys = ("confidence", "probability", "simulation_uncertainty", "trials")
        found |= {f"{name}: {key.replace('_', ' ')}": (each[key], 0.0) for key in keys}
    for each in told["cross_checks"]:
        found[f"cross-check {_named(each, 'name')}: level"] = each["level"], 0.0
        for pair in each["pairs"]:
            name = f"cross-check {_named(each, 'name')}, {' less '.join(pair['between'])}"
            size = abs(pair["interval"]["high"] - pair["interval"]["low"]) / 2
            found[f"{name}: unit"] = pair["unit"], 0.0
            found |= {f"{name}: {_NAMES[k]}": (pair["interval"][k], size) for k in ("low", "high")}
    return found


def same_draws(told: Mapping[str, Any], mine: Mapping[str, Any]) -> Step:
    """Compare a run with the recorded random numbers: number by number, or else by the rule."""
    name = "same draws"
    engines = told["versions"]["engine"], mine["versions"]["engine"]
    if engines[0] != engines[1]:
        lines = (
            f"it was drawn by engine {engines[0]}, this is {engines[1]}, which draws otherwise",
        )
        return Step(name, NOT_COMPARED, "only other draws count", lines)
    first, second = _values(told), _values(mine)
    unlike = []
    keys = sorted(dict.fromkeys([*first, *second]), key=lambda key: _OF_ITS in key)
    for key in keys:
        one, two = first.get(key, (None, 0.0)), second.get(key, (None, 0.0))
        if not same(one[0], two[0], max(one[1], two[1])):
            unlike.append((key, one[0], two[0]))
    if not unlike:
        what = f"all {len(first)} values of the receipt are found again, within 1e-9"
        return Step(name, AGREES, what, exact=True)
    differences = tuple(
        Difference(key, _number(one), _number(two), None)
        for key, one, two in unlike
        if _number(one) is not None or _number(two) is not None
    )
    texts = tuple(
        f"{key}: {_said(one)} in the receipt, {_said(two)} again"
        for key, one, two in unlike
        if _number(one) is None and _number(two) is None
    )
    apart, _ = _apart(told, mine)
    if told["versions"] != mine["versions"] and not apart and not texts:
        differing = _versions_apart(told["versions"], mine["versions"])
        what = f"within {APART:g} simulation uncertainties, though not to 1e-9: {differing}"
        return Step(name, AGREES, what, ("so the report's text is compared in part only",))
    what = f"{len(unlike)} of {len(first)} values of the receipt are not what its own run gives"
    return Step(name, DIFFERS, what, texts, differences)


def _versions_apart(one: Mapping[str, Any], two: Mapping[str, Any]) -> str:
    return ", ".join(
        f"{key} {one[key]} there, {two[key]} here" for key in one if one[key] != two[key]
    )


def same(one: Any, two: Any, size: float = 0.0) -> bool:
    """Return whether two values are the same, numbers within 1e-9 of them or of a size."""
    if isinstance(one, float) and isinstance(two, float):
        return abs(one - two) <= SAME * max(abs(one), abs(two), size)
    return type(one) is type(two) and bool(one == two)


def _number(value: Any) -> float | None:
    plain = isinstance(value, int | float) and not isinstance(value, bool)
    return float(value) if plain and abs(value) < 1e300 else None


def _said(value: Any) -> str:
    return "none" if value is None else str(value)


def _apart(told: Mapping[str, Any], mine: Mapping[str, Any]) -> tuple[list[Difference], int]:
    """Return the numbers further apart than two simulations may be, and how many were compared."""
    found: list[Difference] = []
    count = 0
    for name, one, error, two, error_here, usual in _sizes(told, mine):
        if one is None or two is None:
            if one is not two:
                found.append(Difference(name, one, two, None))
            continue
        if error is None or error_here is None:
            continue  # a number whose error is not known
        count += 1
        # what a receipt says of its own uncertainty must not excuse everything; quasi-random
        # points know theirs badly, but are no worse than random ones
        combined = math.hypot(min(error, max(2 * error_here, usual)), error_here)
        allowed = max(APART * combined, SAME * abs(one))
        if not abs(one - two) <= allowed:
            found.append(Difference(name, one, two, allowed))
    return found, count


def _sizes(
    told: Mapping[str, Any], mine: Mapping[str, Any]
) -> Iterator[tuple[str, float | None, float | None, float | None, float | None, float]]:
    """Yield what is compared by the rule: name, value and uncertainty there, and here.

    Last stands the uncertainty that so many random trials usually leave, roughly.
    """
    root = math.sqrt(max(mine["settings"]["trials"], 1))
    here = {(each["result"], each["run"]): each for each in mine["results"]}
    for each in told["results"]:
        other = here.pop((each["result"], each["run"]), None)
        if other is None or other["unit"] != each["unit"]:
            yield f"{_named(each)}: median", each["median"], None, None, None, 0.0
            continue
        usual = abs(other["interval"]["high"] - other["interval"]["low"]) / 2 / root
        for key in _SIZES:
            one, two = (e["interval"][key] if key in _ENDS else e[key] for e in (each, other))
            errors = (e["simulation_uncertainty"][key] for e in (each, other))
            first, second = errors
            yield f"{_named(each)}: {_NAMES.get(key, key)}", one, first, two, second, usual
    for left in here.values():
        yield f"{_named(left)}: median", None, None, left["median"], None, 0.0
    claims = mine["claims"]
    for number, each in enumerate(told["claims"]):
        name = f"claim {number + 1} ({_named(each)}, {each['says']}): probability"
        if number >= len(claims) or claims[number]["says"] != each["says"]:
            yield name, each["probability"], None, None, None, 0.0
            continue
        other = claims[number]
        # a share of none or all has no error of its own: two trials more may be otherwise
        first, second = (
            max(e["simulation_uncertainty"], math.sqrt(2.0) / max(other["trials"], 1))
            for e in (each, other)
        )
        yield name, each["probability"], first, other["probability"], second, 0.0


def other_draws(told: Mapping[str, Any], fresh: Sequence[Mapping[str, Any]]) -> Step:
    """Compare runs with other random numbers by the simulation's rule.

    Parameters
    ----------
    told
        The receipt of the report.
    fresh
        Those of the runs. One of hundreds of numbers is now and then further off by chance, so
        only those that every run finds so count.
    """
    found = [_apart(told, each) for each in fresh]
    names = [{each.what for each in apart} for apart, _ in found]
    apart, count = found[0]
    kept = tuple(each for each in apart if all(each.what in some for some in names))
    seeds = " and ".join(str(each["settings"]["seed"]) for each in fresh)
    rule = f"{APART:g} combined simulation uncertainties"
    what = f"{count} numbers with seed {seeds}, within {rule}"
    if kept:
        what = f"{len(kept)} of {count} numbers with seed {seeds} are further off than {rule}"
    return Step("other draws", DIFFERS if kept else AGREES, what, (), kept)


def _judged(told: Mapping[str, Any]) -> dict[str, str]:
    found = {
        f"claim {k} ({_named(each)}, {each['says']})": each["verdict"] or "no verdict"
        for k, each in enumerate(told["claims"], 1)
    }
    for each in told["cross_checks"]:
        name = f"cross-check {_named(each, 'name')}"
        found[name] = each["verdict"]
        for pair in each["pairs"]:
            found[f"{name}, {' and '.join(pair['between'])}"] = pair["verdict"]
    return found


def verdicts(
    told: Mapping[str, Any], mine: Mapping[str, Any], fresh: Mapping[str, Any] | None
) -> Step:
    """Compare what is said of claims and cross-checks."""
    first, second = _judged(told), _judged(mine)
    third = second if fresh is None else _judged(fresh)
    drawn_alike = told["versions"]["engine"] == mine["versions"]["engine"]
    wrong, edge = [], []
    for key in dict.fromkeys([*first, *second]):
        one, two, three = (each.get(key, "missing") for each in (first, second, third))
        if one != two and (drawn_alike or one != three):
            wrong.append(f'{key}: "{one}" in the receipt, "{two}" again')
        elif one != two or one != three:
            now = three if one == two else two
            edge.append(f'{key}: "{one}", with other draws "{now}": it stands on the edge')
    what = f"{len(first)} verdict{'s' * (len(first) != 1)} on claims and cross-checks"
    return Step("verdicts", DIFFERS if wrong else AGREES, what, (*wrong, *edge))
