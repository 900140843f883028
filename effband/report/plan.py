"""The plan of a test: on a terminal, and for machines."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

from effband import __version__
from effband.case.groups import LEAST_FOR_SCATTER
from effband.case.upgrades import parse_cost
from effband.decide.options import output_of
from effband.decide.plan import AS_SOLD, MOST_REPEATS, TIMES, UPGRADE, Better, Longer, Plan, Repeats
from effband.problems import printable, width
from effband.report import words
from effband.report.bars import bars
from effband.report.columns import COLUMNS, wrapped
from effband.report.decisions import above, amount, documents
from effband.study import ENGINE_NUMBER

LITTLE = 0.95  # of a half-width; what leaves more changes little
ADVICE = (
    "3 runs are the least that means anything, 5 or 6 the sweet spot; after 10 rather better an "
    "instrument (common practice, no source)"
)


def screen(plan: Plan) -> str:
    """Return the text for a terminal, ending in a newline."""
    case, output = plan.case, plan.output
    trials = f"{plan.draws.trials:,}".replace(",", " ")
    title = f"{output.target.label or output.target.name}"
    where = f", {output.where}" if output.where else ""
    text = f"{title}{where}: half-width {_with_unit(plan, plan.now)} now, {_target(plan)} wanted"
    state = "expected readings" if plan.expected else "readings as measured so far"
    lines = [
        *wrapped(case.title, ""),
        *wrapped(
            f"{words.probability(plan.draws.probability)} bands from {trials} trials, {state}", ""
        ),
        "",
        *above(case, plan.failing, [output]),
        *wrapped(text, ""),
        *(line for said in verdict(plan) for line in wrapped(said, "  ", "    ")),
        *_wideners(plan),
        *_repeats(plan),
        *_longer(plan),
        *_better(plan),
    ]
    if case.warnings:
        many = "a warning" if len(case.warnings) == 1 else f"{len(case.warnings)} warnings"
        lines += ["", f"The case has {many}: see `effband check`."]
    return "\n".join(line.rstrip() for line in lines) + "\n"


def verdict(plan: Plan) -> list[str]:
    """Return in a sentence or two whether the target is reached, and by what."""
    if plan.reached:
        return ["the case as it is reaches it"]
    steps = [*_steps(plan)]
    if len(steps) == 1:
        return [f"what reaches it: {steps[0]}"]
    if steps:
        return [f"each of these reaches it by itself: {'; '.join(steps)}"]
    if plan.repeats is None:
        floor = "more runs change nothing"
    elif plan.floor <= plan.target:
        floor = f"more than {MOST_REPEATS} runs would"
    else:
        floor = f"more runs alone cannot pass {_with_unit(plan, plan.floor)}"
    said = [f"no single step listed here reaches {_target(plan)}; {floor}"]
    if plan.limits:
        said.append(f"what limits it then: {printable(plan.limits[0].item.name)}")
    nearest = min(_by_itself(plan), default=None)
    if nearest is not None and nearest[0] < LITTLE * plan.floor:
        said.append(f"what comes nearest: {nearest[1]}, {_with_unit(plan, nearest[0])}")
    return said + _several(plan)


def _several(plan: Plan) -> list[str]:
    """Return what to ask where upgrades might do together what none does alone."""
    upgrades = [each.name for each in plan.better if each.way == UPGRADE and each.half_width]
    if len(upgrades) < 2:
        return []
    texts = [plan.case.file.upgrades[name].cost for name in upgrades]
    costs = [parse_cost(text) for text in texts if text is not None]
    if not costs:
        return ["several upgrades together may: give each a `cost:` and ask `effband upgrade`"]
    money = f"{sum(cost.amount for cost in costs):.10g} {costs[0].currency}"
    output, asked = plan.output, ""
    if output != output_of(plan.case, None, None):
        asked = f" --result {output.target.name}" + f" --run {output.run}" * bool(output.run)
    command = f'effband upgrade {plan.case.text.file}{asked} --spend "{money}"'
    return [f"several together may: `{command}` finds the best set for that money"]


def _by_itself(plan: Plan) -> Iterator[tuple[float, str]]:
    """Yield the half-width, SI, of every step but repeats, and the step in words."""
    if plan.longer is not None and plan.longer.halves:
        times, half = min(plan.longer.halves, key=lambda each: each[1])
        yield half, f"a run {words.times(times)} times as long"
    for each in plan.better:
        if each.half_width is not None:
            yield each.half_width, _called(each)


def _steps(plan: Plan) -> Iterator[str]:
    """Yield what reaches the target by itself."""
    if plan.repeats is not None and plan.repeats.least is not None:
        few = plan.repeats.least < LEAST_FOR_SCATTER and not _pooled(plan)
        declared = " (by the declared spreads; few more may not)" * few
        yield f"{plan.repeats.least} runs in all{declared}"
    if plan.longer is not None and plan.longer.least is not None:
        yield f"a run {words.times(plan.longer.least)} times as long"
    for each in plan.reaching:
        yield _called(each)


# -- parts of the screen ----------------------------------------------------------------------


def _wideners(plan: Plan) -> list[str]:
    items = [(each.item.name, each.half_width_without) for each in plan.wideners]
    lines = bars(items, plan.now, lambda half: _half(plan, half), "  ")
    head = ["", "What widens it most, and the half-width left without it:"]
    return [*head, *lines] if lines else []


def _repeats(plan: Plan) -> list[str]:
    found = plan.repeats
    if found is None:
        text = "More runs change nothing: no error in it is fresh in every run"
        return ["", *wrapped(text, "", "  ")]
    where = "every load" if plan.output.run is None else printable(plan.output.run)
    if found.least is None and not plan.reached and found.floor > LITTLE * plan.now:
        endless = f"endless runs of {where} leave {_with_unit(plan, found.floor)}"
        return ["", *wrapped(f"More runs change little: {endless}", "", "  ")]
    there = " or ".join(map(str, found.there))
    lines = ["", *wrapped(f"Runs of {where} ({there} there now):", "", "  ")]
    heads = [str(number) for number, _ in found.halves] + ["endless"]
    halves = [half for _, half in found.halves] + [found.floor]
    lines += _table("runs in all", heads, [_half(plan, half) for half in halves])
    lines += wrapped(_least_runs(plan, found), "  ", "    ")
    if found.there[0] < LEAST_FOR_SCATTER and not _pooled(plan):
        text = (
            "1 or 2 runs take the declared spreads as known; from 3 on a scatter is only what "
            "the runs show of it, so few of them may look worse"
        )
        lines += wrapped(text, "  ", "    ")
    return lines + wrapped(ADVICE, "  ", "    ")


def _pooled(plan: Plan) -> bool:
    """Return whether all that is repeated takes the scatter of all groups, however few its runs."""
    group = plan.output.group
    if group is not None or plan.output.run is not None:
        return group is not None and group.pooled
    grouped = {run for group in plan.case.groups for run in group.members if group.pooled}
    return {leaf.run for leaf in plan.case.leaves if leaf.run is not None} <= grouped


def _least_runs(plan: Plan, found: Repeats) -> str:
    if plan.reached:
        return "reached by the runs there are"
    if found.least is not None:
        return f"reached by {found.least} runs in all"
    if found.floor > plan.target:
        return "reached by no number of runs"
    return f"not reached by {MOST_REPEATS} runs"


def _longer(plan: Plan) -> list[str]:
    found = plan.longer
    if found is None:
        return ["", "A longer run changes nothing: no reading grows with it"]
    grown = f"{', '.join(found.grown)} {'grow' if len(found.grown) > 1 else 'grows'}"
    kept = f"; {', '.join(found.kept)} stay as they are" if found.kept else ""
    if len(found.kept) == 1:
        kept = f"; {found.kept[0]} stays as it is"
    last = found.halves[-1] if found.halves else None
    if last and found.refused is None and found.least is None and last[1] > LITTLE * plan.now:
        told = f"{words.times(last[0])} times as long leaves {_with_unit(plan, last[1])}"
        return ["", *wrapped(f"A longer run changes little: {told} ({grown}{kept})", "", "  ")]
    lines = ["", *wrapped(f"A longer run ({grown}{kept}):", "", "  ")]
    if found.halves:
        heads = [words.times(times) for times, _ in found.halves]
        lines += _table("times as long", heads, [_half(plan, half) for _, half in found.halves])
    if not plan.reached and found.halves:
        lines += wrapped(_least_length(found), "  ", "    ")
    if found.subtracted:
        text = (
            f"{' and '.join(found.subtracted)}: one is subtracted from the other, and each is "
            "taken so many times as large; of one vessel only their difference would be: plan "
            "such a run by its own readings"
        )
        lines += wrapped(text, "  ", "    ")
    if found.refused is not None:
        most, what = found.refused
        told = f"more than {words.times(most)} times as long cannot be: {what}"
        lines += wrapped(told, "  ", "    ")
    return lines


def _least_length(found: Longer) -> str:
    if found.least is not None:
        return f"reached by a run {words.times(found.least)} times as long"
    return f"reached by no run up to {words.times(found.halves[-1][0])} times as long"


def _table(name: str, heads: Sequence[str], cells: Sequence[str]) -> list[str]:
    """Return two rows, numbers above their half-widths, broken where they are too long."""
    margin = max(len(name), len("half-width"))
    across = [max(len(head), len(cell)) for head, cell in zip(heads, cells, strict=True)]
    lines, start = [], 0
    while start < len(heads):
        end, room = start, COLUMNS - margin - 2
        while end < len(heads) and room >= across[end] + 2:
            room -= across[end] + 2
            end += 1
        for label, row in ((name, heads), ("half-width", cells)):
            shown = "".join(
                f"  {text:>{wide}}"
                for text, wide in zip(row[start:end], across[start:end], strict=True)
            )
            lines.append(f"  {label:<{margin}}{shown}")
        start = end
    return lines


def _better(plan: Plan) -> list[str]:
    if not plan.better:
        return []
    lines = ["", "One thing better, the runs as they are:"]
    ordered = sorted(plan.better, key=lambda each: (each.half_width is None, each.half_width or 0))
    shown = [(printable(_called(each)), each) for each in ordered]
    margin = min(max(width(name) for name, _ in shown), COLUMNS - 24)
    for name, each in shown:
        if each.half_width is None:
            lines += wrapped(f"{name}: {each.why_not}", "  ", "    ")
            continue
        reached = "  reaches it" if each in plan.reaching and not plan.reached else ""
        lines += wrapped(name, "  ", "    ")
        gap = " " * max(margin + 2 - width(lines[-1]), 0)
        lines[-1] += f"{gap}  {_half(plan, each.half_width)}{reached}"
    return lines


def _called(each: Better) -> str:
    if each.way == UPGRADE:
        return f"{each.name} (upgrade)"
    if each.way.startswith(AS_SOLD):
        return f"{each.name} as {each.way.removeprefix(AS_SOLD)}"
    return f"{each.name} {each.way}"


def _half(plan: Plan, si: float) -> str:
    """Return a half-width in the result's unit, on its side of the target."""
    unit = plan.output.target.unit
    sizes = (si, plan.target, plan.now)
    return words.beside_a_limit(*(size / unit.factor for size in sizes))


def _with_unit(plan: Plan, si: float) -> str:
    return amount(_half(plan, si), plan.output.target.unit.width_symbol)


def _target(plan: Plan) -> str:
    unit = plan.output.target.unit
    return amount(words.plain(plan.target / unit.factor), unit.width_symbol)


# -- for machines -----------------------------------------------------------------------------


def document(plan: Plan) -> dict[str, Any]:
    """Return the plan as plain values, at full precision, null where there is no value.

    Half-widths are in the unit of the result: in points where it is in %, in K for degC.
    """
    case, output = plan.case, plan.output
    unit = output.target.unit

    def size(si: float) -> float:
        return si / unit.factor

    repeats, longer = plan.repeats, plan.longer
    return {
        "effband": {"version": __version__, "format": 1, "engine": ENGINE_NUMBER},
        "case": {"title": case.title, "sha256": case.text.sha256, "expected": plan.expected},
        "settings": {
            "seed": plan.draws.seed,
            "trials": plan.draws.trials,
            "probability": plan.draws.probability,
        },
        "result": output.target.name,
        "run": output.run,
        "unit": unit.text,
        "nominal": unit.from_si(plan.nominal),
        "target": size(plan.target),
        "half_width": size(plan.now),
        "reached": plan.reached,
        "ranking": [
            {
                "source": each.item.name,
                "kind": each.item.kind,
                "half_width_without": size(each.half_width_without),
            }
            for each in plan.wideners
        ],
        "repeats": None
        if repeats is None
        else {
            "there": repeats.there[-1],
            "there_by_load": list(repeats.there),
            "half_widths": [
                {"runs": number, "half_width": size(half)} for number, half in repeats.halves
            ],
            "least": repeats.least,
            "most_tried": MOST_REPEATS,
        },
        "longer_run": None
        if longer is None
        else {
            "grows": list(longer.grown),
            "stays": list(longer.kept),
            "subtracted": list(longer.subtracted),
            "half_widths": [
                {"times": times, "half_width": size(half)} for times, half in longer.halves
            ],
            "least": longer.least,
            "most_tried": TIMES[-1],
            "refused": None
            if longer.refused is None
            else {"times": longer.refused[0], "why": longer.refused[1]},
        },
        "better": [
            {
                "name": each.name,
                "way": each.way,
                "half_width": None if each.half_width is None else size(each.half_width),
                "reaches": each in plan.reaching,
                "why_not": each.why_not or None,
            }
            for each in plan.better
        ],
        "floor": {  # of runs without end, all else as it is
            "of": "runs",
            "half_width": size(plan.floor),
            "limited_by": plan.limits[0].item.name if plan.limits else None,
        },
        "disagree": documents(plan.failing),
        "warnings": [f"{problem.what}: {problem.remedy}" for problem in case.warnings],
        "notes": [ADVICE],
    }
