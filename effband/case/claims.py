"""Claims: what a sentence such as `at least 8 %` asks of which values, as steps of the program.

Whether a claim holds is decided trial by trial, so that shared errors stay shared where it is
about several runs: its margin, the least distance inside its limits, is a step like any other.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

from effband.case.findings import Findings
from effband.case.format import CaseFile
from effband.case.format import Claim as Written
from effband.case.model import Claim, Output, Target, loads
from effband.case.natures import check_natures
from effband.case.program import Builder
from effband.case.text import Path
from effband.case.values import parse_width, refuse_bare, width_about
from effband.problems import Misread
from effband.units import DIFFERENCE, Quantity, Unit, parse_quantity

DEFAULT_CONFIDENCE = 0.95
LEAST_CONFIDENCE, MOST_CONFIDENCE = 0.5, 0.9999
ROUNDING = 1e-12  # of the limit: a value so near to it counts as on it
TINY = 1e-300

_SAYS = re.compile(
    r"at +least +(?P<least>.+)|at +most +(?P<most>.+)"
    r"|between +(?P<low>.+?) +and +(?P<high>.+)|is +(?P<value>.+?) +within +(?P<width>.+)"
)
_CHANGE = re.compile(
    r"\b(?:rose|rises?|risen|gain\w*|increas\w*|grew|grows?|grown|improv\w*|chang\w*|fell"
    r"|falls?|fallen|drop\w*|decreas\w*|lost|loses?|saved?|saves"
    r"|(?:better|more|higher|worse|less|lower)(?! than [0-9]))\b",
    re.IGNORECASE,
)
_FALL = re.compile(
    r"\b(?:fell|falls?|fallen|drop\w*|decreas\w*|lost|loses?|worse|less|lower)\b", re.IGNORECASE
)
_AMOUNT = re.compile(r"[0-9][0-9.]* ?(?:points?\b|[A-Za-z%][^ ,;]*)?")
_WAYS = {"least": "at least", "most": "at most", "low": "between", "value": "within"}


def read_claims(
    file: CaseFile, outputs: Sequence[Output], builder: Builder, findings: Findings
) -> tuple[Claim, ...]:
    """Return the claims of a case; problems go to the findings.

    `outputs` are those of the case; the steps that decide a claim are added to the builder. What
    was worked out by hand is said of a result as well, so its unit is looked at here.
    """
    for name, result in file.results.items():
        if result.hand_value is not None:
            _check_hand_value(result.hand_value, result.unit, ("results", name), findings)
    found = (
        _claim(entry, ("claims", at), file, outputs, builder, findings)
        for at, entry in enumerate(file.claims)
    )
    return tuple(claim for claim in found if claim is not None)


def _check_hand_value(hand: Quantity, unit: Unit, path: Path, findings: Findings) -> None:
    if hand.unit.dimension == unit.dimension:  # else it is refused already
        try:
            refuse_bare(hand, f"{hand.number:.10g}", unit)
        except Misread as error:
            findings.error((*path, "hand_value"), error.what, error.remedy)


def _claim(
    entry: Written,
    path: Path,
    file: CaseFile,
    outputs: Sequence[Output],
    builder: Builder,
    findings: Findings,
) -> Claim | None:
    before = len(findings.problems)
    findings.known(entry.result, list(file.results), (*path, "result"), "result")
    own = [at for at, output in enumerate(outputs) if output.target.name == entry.result]
    about = _about(entry, own, path, file, outputs, findings)
    confidence = entry.confidence or DEFAULT_CONFIDENCE
    if not LEAST_CONFIDENCE <= confidence <= MOST_CONFIDENCE:
        what = f"a confidence lies between {LEAST_CONFIDENCE:g} and {MOST_CONFIDENCE:g}"
        findings.error((*path, "confidence"), what, "95 % is usual")
    match = _SAYS.fullmatch(entry.says)
    if _CHANGE.search(entry.says):
        what = f"{entry.says!r} is about a change, which takes two cases"
        remedy = f"effband compare BEFORE AFTER --by {_asked_of_change(entry.says)}"
        findings.error((*path, "says"), what, f"write two files, and `{remedy}` judges it")
        return None
    if match is None:
        remedy = "write at least X, at most X, between X and Y, or is X within Y"
        findings.error((*path, "says"), f"{entry.says!r} is no claim that can be judged", remedy)
        return None
    result = file.results.get(entry.result)
    unit = None if result is None else result.unit
    widths = unit is not None and _takes_difference(match, unit, outputs, about, builder, findings)
    limits = _limits(match, entry.result, unit, widths, path, findings)
    if not about or limits is None or len(findings.problems) > before:
        return None
    low, high = limits
    way = next(_WAYS[key] for key in _WAYS if match[key] is not None)
    _doubt_reach(outputs[about[0]].target, low, path, findings)
    steps = [outputs[at].step for at in about]
    return Claim(
        entry.result,
        entry.run,
        entry.says,
        confidence,
        way,
        low,
        high,
        tuple(about),
        _absent(entry, [outputs[at] for at in own], file),
        *_decided(steps, low, high, builder),
    )


def _absent(entry: Written, own: Sequence[Output], file: CaseFile) -> tuple[str, ...]:
    """Return the runs and groups that a claim on all of them is silent of: they have no value."""
    if entry.run is not None or file.runs is None or all(output.run is None for output in own):
        return ()
    groups = file.runs.groups
    grouped = {run for members in groups.values() for run in members}
    wanted = [*(run for run in file.runs.rows if run not in grouped), *groups]
    valued = {output.run for output in own}
    return tuple(name for name in wanted if name not in valued)


def _asked_of_change(says: str) -> str:
    """Return a change as `--by` takes it, as far as a sentence names one amount."""
    amounts = _AMOUNT.findall(says)
    amount = amounts[0].strip() if len(amounts) == 1 else "2 points"
    return f'"{"-" * bool(_FALL.search(says))}{amount}"'


def _about(
    entry: Written,
    own: list[int],
    path: Path,
    file: CaseFile,
    outputs: Sequence[Output],
    findings: Findings,
) -> list[int]:
    """Return the numbers of the outputs that a claim is about."""
    if entry.result in file.results and not own and not findings.problems:
        what = f"{entry.result} has no value in any run, so nothing can be claimed of it"
        findings.error((*path, "result"), what, "write the readings that are missing")
        return []
    if entry.run is None:
        return [own[at] for at in loads([outputs[at] for at in own])]
    whole = bool(own) and all(outputs[at].run is None for at in own)
    runs = [] if file.runs is None else [*file.runs.rows, *file.runs.groups]
    if whole:
        what = f"{entry.result} has one value for the whole case, not one per run"
        findings.error((*path, "run"), what, "leave `run:` out")
        return []
    findings.known(entry.run, runs, (*path, "run"), "run")
    found = [at for at in own if outputs[at].run == entry.run]
    if own and not found and entry.run in runs:
        what = f"{entry.result} has no value in run {entry.run}"
        findings.error((*path, "run"), what, "name another run")
    return found


def _limits(
    match: re.Match[str],
    name: str,
    unit: Unit | None,
    widths: bool,
    path: Path,
    findings: Findings,
) -> tuple[float | None, float | None] | None:
    """Return the limits, SI, None where there is none; None for all when one is refused.

    `widths` says whether a limit may be a difference of temperatures.
    """
    found: dict[str, float] = {}
    for key in ("least", "most", "low", "high", "value", "width"):
        if match[key] is None:
            continue
        try:
            if key != "width":
                quantity = parse_quantity(match[key])
                if unit is not None:
                    refuse_bare(quantity, match[key], unit)
                if unit is not None and quantity.unit.dimension != unit.dimension:
                    what = f"{match[key]} does not fit {name}, which is in {unit.text}"
                    raise Misread(0, len(match[key]), what, f"write it in {unit.text}")
                fitting = (None, DIFFERENCE) if widths else (None,)
                if unit is not None and quantity.unit.kind not in (*fitting, unit.kind):
                    what = f"{match[key]} is a {quantity.unit.kind}, and {name} is in {unit.text}"
                    raise Misread(0, len(match[key]), what, f"write it in {unit.text}")
                found[key] = quantity.si
            elif unit is not None and "value" in found:
                found[key] = _width(match[key], unit, found["value"])
        except Misread as error:
            start = match.start(key) + error.start
            findings.error((*path, "says"), error.what, error.remedy, start, error.length)
            return None
    if "width" in found:
        if not found["width"] > 0.0:
            symbol = "" if unit is None else unit.width_symbol
            example = f"write such as within {f'2 {symbol}'.rstrip()}"
            findings.error((*path, "says"), "within what? the width is above 0", example)
            return None
        return found["value"] - found["width"], found["value"] + found["width"]
    low, high = found.get("least", found.get("low")), found.get("most", found.get("high"))
    if low is not None and high is not None and not low < high:
        findings.error((*path, "says"), "the first limit must be the lower", "exchange the two")
        return None
    return (low, high) if low is not None or high is not None else None


def _takes_difference(
    match: re.Match[str],
    unit: Unit,
    outputs: Sequence[Output],
    about: Sequence[int],
    builder: Builder,
    findings: Findings,
) -> bool:
    """Return whether limits in delta_degF or delta_degC fit a result in K: it is no temperature."""
    if unit.kind is not None or "delta_deg" not in match.string or not about:
        return False
    found = check_natures(builder.program(), Findings(findings.text))
    natures = [found[outputs[at].step] for at in about]
    return all(nature is not None and nature.kind == DIFFERENCE for nature in natures)


def _width(text: str, unit: Unit, value: float) -> float:
    """Return the width of a claim, SI; a bare % of a plain number could be either of two."""
    given = parse_width(text)
    if isinstance(given, Quantity) and given.unit.text == "%" and unit.text == "1":
        what = f"{text} of the value, or {given.si:g}?"
        raise Misread(0, len(text), what, f"write `{text} of value` or `{given.si:g}`")
    return width_about(text, unit, value)


def _doubt_reach(target: Target, low: float | None, path: Path, findings: Findings) -> None:
    """Warn of a claim that only what is impossible could meet."""
    if low is None or target.ceiling is None:
        return
    try:
        ceiling = parse_quantity(target.ceiling).si
    except Misread:
        return  # a formula
    if low > ceiling:
        what = f"this claims more than the ceiling of {target.name}, {target.ceiling}"
        remedy = "a COP is no efficiency: say `is: performance ratio`; else look at the claim again"
        findings.warn((*path, "says"), what, remedy)


def _decided(
    values: list[int], low: float | None, high: float | None, builder: Builder
) -> tuple[tuple[int, int], tuple[int, int] | None, tuple[int, int] | None]:
    """Return what decides a claim: pairs of steps, of which the first must lie above the second."""
    size = max(abs(limit) for limit in (low, high) if limit is not None)
    rounding = max(ROUNDING * size, TINY)
    inside = [
        builder.add("subtract", (value, builder.constant(low)))
        for value in values
        if low is not None
    ]
    inside += [
        builder.add("subtract", (builder.constant(high), value))
        for value in values
        if high is not None
    ]
    margin = _extreme("minimum", inside, builder)
    holds = (margin, builder.constant(-rounding))
    if low is None or high is None:
        return holds, None, None
    lowest, highest = (_extreme(op, values, builder) for op in ("minimum", "maximum"))
    return (
        holds,
        (builder.constant(low - rounding), lowest),
        (highest, builder.constant(high + rounding)),
    )


def _extreme(op: str, steps: list[int], builder: Builder) -> int:
    found = steps[0]
    for step in steps[1:]:
        found = builder.add(op, (found, step))
    return found
