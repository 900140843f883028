"""What was understood of a case: every number with its sources, in the user's unit and in SI."""

from __future__ import annotations

from collections.abc import Sequence

from effband.case.model import Case, Leaf
from effband.problems import printable
from effband.report import words
from effband.units import Unit, name_dimension


def understood(case: Case, values: Sequence[float] = ()) -> str:
    """Return the text that `effband check` prints for a good case.

    `values` are those of the outputs at the numbers as written, SI; none are printed without.
    """
    lines = [printable(case.title), ""]
    for section in ("inputs", "readings"):
        leaves = [leaf for leaf in case.leaves if leaf.section == section]
        if leaves:
            lines.append(f"{section}:")
            for leaf in leaves:
                lines += _leaf(leaf, case)
            lines.append("")
    if case.instruments:
        lines.append("instruments:")
        lines += [f"  {printable(name)}: {printable(text)}" for name, text in case.instruments]
        lines.append("")
    if case.formulas:
        lines.append("formulas:")
        for name, text, nature in case.formulas:
            lines.append(f"  {name} = {printable(text)}" + (f"; {nature}" if nature else ""))
        lines.append("")
    if case.groups:
        lines += [
            "groups:",
            *(f"  {group.name}: {words.group(group)}" for group in case.groups),
            "",
        ]
    lines += _results(case, values)
    lines += _judged(case)
    settings = case.settings
    if case.hazards:
        lines += [f"hazards: {printable(', '.join(case.hazards))}"]
    if case.file.altitude is not None:
        altitude = case.file.altitude
        lines += [f"altitude: {altitude.number:g} {altitude.unit.text}"]
    lines += [
        f"settings: probability {words.probability(settings.probability)}, "
        f"trials {settings.trials}, seed {settings.seed}, digits {settings.digits}",
    ]
    if case.assumptions:
        lines += ["", "taken for granted:"]
        lines += [f"  {printable(text)}" for text in case.assumptions]
    return "\n".join(lines) + "\n"


def _judged(case: Case) -> list[str]:
    """Return what will be judged, and what could be had."""
    lines = []
    if case.claims:
        lines.append("claims:")
        for claim in case.claims:
            runs = [where for at in claim.outputs if (where := case.outputs[at].where)]
            where = f", {' and '.join(runs)}" if runs else ""
            sure = words.probability(claim.confidence)
            lines.append(
                f"  {claim.result}{where}: {printable(claim.says)}; in {sure} of the trials"
            )
        lines.append("")
    places: dict[str, list[str]] = {}
    for check in case.cross_checks:
        places.setdefault(f"{check.name}: {', '.join(check.members)}", []).append(check.where)
    if places:
        lines.append("cross-checks:")
        for text, wheres in places.items():
            where = ", ".join(where for where in wheres if where)
            lines.append(f"  {text}{f'; {where}' if where else ''}")
        lines.append("")
    if case.file.upgrades:
        names = ", ".join(case.file.upgrades)
        lines += [f"upgrades: {names}; `effband upgrade` works them out", ""]
    return lines


def _meaning(leaf: Leaf, case: Case) -> str:
    columns = case.file.runs.readings if case.file.runs else {}
    entry = case.file.inputs.get(leaf.name) or columns.get(leaf.name)
    return "" if entry is None or entry.means is None else f"; means {entry.means}"


def _number(si: float, unit: Unit) -> str:
    return f"{unit.from_si(si):.5g} {unit.symbol}".rstrip()


def _leaf(leaf: Leaf, case: Case) -> list[str]:
    run = "" if leaf.run is None else f" in run {leaf.run}"
    number = f"{leaf.unit.from_si(leaf.value):.10g} {leaf.unit.symbol}".rstrip()
    si = f"{leaf.value:.6g} SI" if leaf.unit.factor != 1.0 or leaf.unit.zero else ""
    reads = leaf.reads or leaf.unit.kind or name_dimension(leaf.unit.dimension)
    by = "" if leaf.instrument is None else f", read with {leaf.instrument}"
    head = f"  {leaf.name}{run} = {number}" + (f" ({si})" if si else "")
    means = _meaning(leaf, case)
    lines = [f"{head}; {reads}{by}; evidence: {leaf.evidence}{means}"]
    lines += [
        f"      filled in by {like.name}: {printable(like.words)}"
        for like in case.likes
        if like.path == ("inputs", leaf.name) and leaf.section == "inputs"
    ]
    sources = {source.name: source for source in case.sources}
    if not leaf.components:
        lines.append("      exact")
    for component in leaf.components:
        laws = [sources[name].distribution for name in component.sources if name in sources]
        line = f"      {component.role}: {component.words}"
        in_si = leaf.unit.factor == 1.0 and not leaf.unit.zero
        if (
            component.role not in ("common", "stability", "joint", "drawn")
            and len(laws) == 1
            and not in_si
        ):
            inside = laws[0].words(lambda v: f"{v:.6g}", lambda v: f"{v:.4g}")
            line += f"  [SI: {inside}]"
        # the scores behind a set have names that say nothing
        names = "" if component.role == "joint" else f"  <- {', '.join(component.sources)}"
        lines.append(line + names)
    return lines


def _results(case: Case, values: Sequence[float]) -> list[str]:
    lines = ["results:"]
    as_written = dict(zip((id(output) for output in case.outputs), values, strict=False))
    for target in case.targets:
        runs = [output.run for output in case.outputs if output.target.name == target.name]
        where = "" if runs in ([], [None]) else f", runs {', '.join(str(run) for run in runs)}"
        unit = target.unit.symbol or "no unit"
        line = f"  {target.name} = {printable(target.formula)}; {target.kind}, in {unit}{where}"
        if target.ceiling is not None:
            line += f"; ceiling {printable(target.ceiling)}"
        if target.hand_value is not None:
            line += f"; worked by hand {_number(target.hand_value, target.unit)}"
        lines.append(line)
        own = [output for output in case.outputs if output.target.name == target.name]
        worth = [
            f"{output.run}: " * (output.run is not None)
            + _number(as_written[id(output)], target.unit)
            for output in own
            if id(output) in as_written
        ]
        lines += [f"      as written: {', '.join(worth)}"] if worth else []
        if target.boundary is not None:
            lines.append(f"      in:  {printable(target.boundary[0])}")
            lines.append(f"      out: {printable(target.boundary[1])}")
    return [*lines, ""]
