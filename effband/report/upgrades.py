"""What to better first: on a terminal, and for machines."""

from __future__ import annotations

import math
import statistics
from collections.abc import Sequence
from typing import Any

from effband import __version__
from effband.case.upgrades import Cost
from effband.decide.chances import Chance
from effband.decide.common_draws import key_of
from effband.decide.options import Advice, Option
from effband.decide.proposals import Proposal
from effband.decide.spending import Purchase
from effband.problems import printable, width
from effband.report import words
from effband.report.columns import COLUMNS, wrapped
from effband.report.decisions import above, amount, documents
from effband.study import ENGINE_NUMBER
from effband.units import Unit

MOST_LEFT = 4  # numbers named that may have been forgotten
SELDOM = 0.01  # chances below it are told together
MOST_LINES = 6  # of chances for one claim
LEAST_ORDERED, MOST_ORDERED = 2, 3  # options named by what they save for their cost
GAP = "  "


def screen(advice: Advice) -> str:
    """Return the text for a terminal, ending in a newline."""
    lines = [*wrapped(advice.case.title, "")]
    chance = words.probability(advice.draws.probability)
    asked = dict.fromkeys([key_of(advice.output), *(key_of(o.output) for o in advice.options)])
    outputs = {key_of(output): output for output in advice.case.outputs}
    disputes = above(advice.case, advice.failing, [outputs[key] for key in asked])
    lines += ["", *disputes] if disputes else []
    now = _half(advice.now.value, advice)
    lines += wrapped(f"{advice.output.title}: half-width of the {chance} band now {now}", "")
    if not advice.options:
        text = "Nothing is on the list: write what you could buy under `upgrades:` in the case"
        lines += ["", *wrapped(text, "")]
    ranked = [option for option in advice.options if not option.beyond]
    for key in dict.fromkeys(key_of(option.output) for option in ranked):
        lines += ["", *_table([o for o in ranked if key_of(o.output) == key], advice)]
    for option in advice.options:
        if option.beyond:
            lines += ["", *wrapped(_beyond(option, advice), "", GAP)]
    lines += _remarks(advice)
    lines += _chances(advice)
    lines += _spending(advice)
    lines += _proposals(advice)
    trials = f"{advice.draws.trials:,}".replace(",", " ")
    text = ""
    if any(option.by_repeats for option in advice.options):
        text = "`or runs`: so many runs in all would do as much; `never`: no number would. "
    if len(ranked) > 1:
        text += "What each saves is by itself: savings do not add up. "
    lines += ["", *wrapped(f"{AS_THEY_ARE} {text}{_error(advice)}From {trials} trials.", "")]
    return "\n".join(line.rstrip() for line in lines) + "\n"


AS_THEY_ARE = (
    "Half-widths take all readings as they are: the value itself will move with better ones."
)


def _half(si: float, advice: Advice) -> str:
    """Return a half-width of the output asked about, with its unit."""
    unit = advice.output.target.unit
    return amount(words.width(si, unit), unit.width_symbol)


# -- the table ---------------------------------------------------------------------------------


def _table(options: Sequence[Option], advice: Advice) -> list[str]:
    """Return the options for one output, a line each."""
    step = _step([option.cost for option in advice.options if option.cost is not None])
    priced = step is not None and any(option.cost is not None for option in options)
    by_repeats = any(option.by_repeats for option in options)
    head = ["cost"] * priced + ["half-width", "saves"]
    head += [f"per {_money(step)}"] if priced and step is not None else []
    head += ["or runs"] * by_repeats
    rows = [_row(option, step if priced else None, by_repeats) for option in options]
    sizes = [max(map(width, column)) for column in zip(head, *rows, strict=True)]
    margin = max(width(option.name) for option in options)
    # where names leave no room for the numbers, they stand on lines of their own
    apart = len(GAP) + margin + sum(len(GAP) + size for size in sizes) > COLUMNS
    lines = []
    if key_of(options[0].output) != key_of(advice.output):
        lines += wrapped(f"For {options[0].output.title}:", "")
    start = GAP * 2 if apart else GAP + " " * margin + GAP
    lines.append(start + _cells(head, sizes))
    for option, row in zip(options, rows, strict=True):
        if apart:
            lines += [GAP + option.name, start + _cells(row, sizes)]
        else:
            lines.append(f"{GAP}{option.name:<{margin}}{GAP}{_cells(row, sizes)}")
        if option.why_not:
            lines += wrapped(f"no band: {option.why_not.splitlines()[0]}", GAP * 2)
    return lines


def _cells(row: Sequence[str], sizes: Sequence[int]) -> str:
    return GAP.join(f"{text:<{size}}" for text, size in zip(row, sizes, strict=True))


def _row(option: Option, step: Cost | None, by_repeats: bool) -> list[str]:
    unit = option.output.target.unit
    now = option.now.value / unit.factor
    cells = []
    if step is not None:
        cells.append(_money(option.cost) if option.cost else "-")
    if option.then is None or option.saved is None:
        cells += ["none", "-"]
    else:
        beside = min(option.now.value, option.then.value) / unit.factor or now
        ends = (words.width(half.value, unit, beside) for half in (option.now, option.then))
        cells += [" -> ".join(ends), _saves(option)]
    if step is not None:
        cells.append(_per(option, step, unit))
    if by_repeats:
        told = option.by_repeats and option.then is not None
        cells.append(str(option.repeats or "never") if told else "-")
    return cells


def _saves(option: Option) -> str:
    saved, unit = option.saved, option.output.target.unit
    assert saved is not None
    if not saved.shows:
        return "nothing"
    amount = words.width(abs(saved.value), unit)
    if not option.now.value:
        return "widens it"
    share = words.percent(abs(saved.value) / option.now.value)
    return f"{amount}, {share}" if saved.value > 0 else f"widens it, {share}"


def _per(option: Option, step: Cost, unit: Unit) -> str:
    each = option.saved_per_cost
    saves = option.saved is not None and option.saved.shows and option.saved.value > 0
    if each is None or not saves:
        return "free" if saves and option.cost is not None else "-"
    return words.width(each * step.amount, unit)


def _step(costs: Sequence[Cost]) -> Cost | None:
    """Return the round amount that savings are told for: a power of ten, of the size of costs."""
    amounts = [cost.amount for cost in costs if cost.amount]
    if not amounts:
        return Cost(1.0, costs[0].currency) if costs else None
    return Cost(10.0 ** math.floor(math.log10(statistics.median(amounts))), costs[0].currency)


def _money(cost: Cost) -> str:
    return f"{cost.amount:.10g} {cost.currency}"


# -- what is said beneath it -------------------------------------------------------------------


def _remarks(advice: Advice) -> list[str]:
    lines = _for_their_cost(advice)
    for names in advice.ties:
        lines += wrapped(f"A tie, as far as the trials can tell: {_listed(names)}.", "")
    if advice.options and not any(option.cost for option in advice.options):
        lines += wrapped("No costs are given, so nothing is ranked by cost.", "")
    for option in advice.options:
        if option.moved is not None and not option.beyond:
            lines += wrapped(_moved(option), "") if _moved(option) else []
    if advice.first is not None:
        item, without = advice.first
        listed = "No listed option narrows this by more than 5 %: " if advice.options else ""
        text = f"{listed}measure {printable(item.name)} first, {_half(without, advice)} without it."
        lines += wrapped(text[0].upper() + text[1:], "")
    if advice.floor is not None and advice.now.value > 0.0:
        text = "would be left if all that these options better were known perfectly."
        left = _half(advice.floor, advice) if advice.floor > 0.0 else "Nothing"
        lines += wrapped(f"{left} {text}", "")
    return ["", *lines] if lines else []


def _moved(option: Option) -> str:
    """Return that an option states another value; nothing where that does not show."""
    assert option.moved is not None
    unit = option.output.target.unit
    decimals = words.decimals_for(option.now.value / unit.factor)
    ends = (option.moved.now, option.moved.then)
    now, then = (words.fixed(unit.from_si(value), decimals) for value in ends)
    if now == then:
        return ""
    saves = option.saved is not None and option.saved.shows and option.saved.value > 0
    part = ", and part of what it saves is that" if saves else ""
    value = f"{then} {unit.symbol}".rstrip()
    name = option.output.target.name
    return f"{option.name} states another value: {name} would be {value}, not {now}{part}."


def _beyond(option: Option, advice: Advice) -> str:
    """Return that an option moves the value out of its band, and what was forgotten, it may be."""
    assert option.moved is not None
    unit, band = option.output.target.unit, option.moved.band
    decimals = words.decimals_for(option.now.value / unit.factor)
    ends = (option.moved.then, option.moved.now, band.low, band.high)
    then, now, low, high = (words.fixed(unit.from_si(value), decimals) for value in ends)
    value = f"{then} {unit.symbol}".rstrip()
    replaced = advice.case.file.upgrades[option.name].replaces
    if option.left:
        old = f"with the old {_listed(replaced)}"
        remedy = (
            f"{_listed(option.left[:MOST_LEFT])} {'were' if len(option.left) > 1 else 'was'} taken "
            f"{old}: write all that would change under `adds: {{inputs: ...}}`, with `formulas:` "
            "that use it"
        )
    else:
        remedy = "look at its values, units and formulas again"
    return (
        f"{option.name} is left out: {option.output.target.name} would be {value} with it, "
        f"not {now}, and that lies outside the band ({low} to {high}). A better measurement "
        f"seldom does that; {remedy}."
    )


def _for_their_cost(advice: Advice) -> list[str]:
    """Return which options save most for what they cost."""
    own = [o for o in advice.options if key_of(o.output) == key_of(advice.output)]
    paying = [o for o in own if o.saved is not None and o.saved.shows and o.saved.value > 0]
    free = [o.name for o in paying if o.cost is not None and not o.cost.amount]
    worth = {o.name: o.saved_per_cost for o in paying if o.saved_per_cost is not None}
    order = [*free, *sorted(worth, key=lambda name: -(worth[name] or 0.0))]
    if len(order) < LEAST_ORDERED:
        return []
    text = f"For what they cost: {', then '.join(order[:MOST_ORDERED])}."
    return wrapped(text, "")


def _chances(advice: Advice) -> list[str]:
    """Return how likely the options are to settle the claims that are open."""
    lines: list[str] = []
    claims = dict.fromkeys(each.claim for option in advice.options for each in option.chances)
    for claim in claims:
        found = [(o, c) for o in advice.options for c in o.chances if c.claim == claim]
        found.sort(key=lambda each: -each[1].settled)
        where = f", {claim.run}" if claim.run else ""
        best, most = found[0]
        text = f"Open claim ({claim.result}{where}: {claim.says}): "
        if most.settled < SELDOM:
            lines += ["", *wrapped(f"{text}no option alone is likely to settle it.", "", GAP)]
            continue
        text += f"even {best.name}, the likeliest, settles it with a chance of {_chance(most)}"
        others = [
            f"{option.name} {words.percent(each.settled)}"
            for option, each in found[1:MOST_LINES]
            if each.settled >= SELDOM
        ]
        text += f"; {', '.join(others)}" if others else ""
        lines += ["", *wrapped(f"{text}.", "", GAP)]
    return lines


def _chance(each: Chance) -> str:
    supported, contradicted = (words.percent(p) for p in (each.supported, each.contradicted))
    return f"{words.percent(each.settled)} ({supported} for it, {contradicted} against it)"


def _spending(advice: Advice) -> list[str]:
    spending, amount = advice.spending, advice.amount
    if spending is None or amount is None:
        return []
    if spending.best is None:
        return ["", *wrapped(f"{_money(amount)} buy nothing that narrows this.", "")]
    lines = wrapped(f"For {_money(amount)}: {_bought(spending.best, advice)}.", "", GAP)
    if spending.second is not None:
        how = "As good, as far as the trials can tell" if spending.tie else "Next best"
        lines += wrapped(f"{how}: {_bought(spending.second, advice)}.", "", GAP)
    if spending.greedy:
        text = "Too many options to try all sets: these were put together one by one."
        lines += wrapped(text, "")
    return ["", *lines]


def _bought(purchase: Purchase, advice: Advice) -> str:
    cost = _money(Cost(purchase.cost, advice.amount.currency if advice.amount else ""))
    share = words.percent(purchase.saved.value / advice.now.value)
    half = _half(purchase.then.value, advice)
    return f"{_listed(purchase.names)} ({cost}), half-width {half}, {share} less"


def _listed(names: Sequence[str]) -> str:
    *others, last = names
    return f"{', '.join(others)} and {last}" if others else last


def _proposals(advice: Advice) -> list[str]:
    lines = []
    for each in advice.proposals:
        share = words.percent(each.saved.value / advice.now.value)
        half = f"{_half(each.then.value, advice)}, {share} less"
        lines += wrapped(f"{_proposed(each)}: {half}", GAP, GAP * 2)
    return ["", "Not on the list, and worth a thought:", *lines] if lines else []


def _proposed(proposal: Proposal) -> str:
    name = printable(proposal.item.name)
    if proposal.like is not None:
        return f"{name}, a {proposal.like} in its place"
    return f"{name}, known twice as well"


def _error(advice: Advice) -> str:
    """Return how well the savings are known."""
    errors = [
        option.saved.simulation_uncertainty
        for option in advice.options
        if option.saved is not None and key_of(option.output) == key_of(advice.output)
    ]
    if not errors or not max(errors):
        return ""
    unit = advice.output.target.unit
    error = amount(words.width(max(errors), unit), unit.width_symbol)
    return f"Other random numbers would shift them by some {error}. "


# -- for machines ------------------------------------------------------------------------------


def document(advice: Advice) -> dict[str, Any]:
    """Return the advice as a JSON document, as plain values in full precision."""
    unit = advice.output.target.unit
    spending = advice.spending
    first = advice.first
    return {
        "effband": {"version": __version__, "format": 1, "engine": ENGINE_NUMBER},
        "case": {"title": advice.case.title, "sha256": advice.case.text.sha256},
        "settings": {
            "seed": advice.draws.seed,
            "trials": advice.draws.trials,
            "probability": advice.draws.probability,
        },
        "result": advice.output.target.name,
        "run": advice.output.run,
        "unit": unit.text,
        "half_width": advice.now.value / unit.factor,
        "upgrades": [_option(option) for option in advice.options],
        "ties": [list(names) for names in advice.ties],
        "floor": None if advice.floor is None else advice.floor / unit.factor,
        "measure_first": None
        if first is None
        else {"source": first[0].name, "half_width_without": first[1] / unit.factor},
        "spend": _cost(advice.amount),
        "best_set": None if spending is None else _purchase(spending.best, unit),
        "second_set": None if spending is None else _purchase(spending.second, unit),
        "sets_tie": None if spending is None else spending.tie,
        "sets_one_by_one": None if spending is None else spending.greedy,
        "proposals": [
            {
                "source": each.item.name,
                "kind": each.item.kind,
                "like": each.like,
                "half_width_then": each.then.value / unit.factor,
                "saved": each.saved.value / unit.factor,
            }
            for each in advice.proposals
        ],
        "disagree": documents(advice.failing),
        "assumptions": [AS_THEY_ARE],
    }


def _option(option: Option) -> dict[str, Any]:
    unit, saved = option.output.target.unit, option.saved
    per_cost = option.saved_per_cost
    return {
        "name": option.name,
        "label": option.label,
        "cost": _cost(option.cost),
        "result": option.output.target.name,
        "run": option.output.run,
        "unit": unit.text,
        "half_width_now": option.now.value / unit.factor,
        "half_width_then": None if option.then is None else option.then.value / unit.factor,
        "saved": None if saved is None else saved.value / unit.factor,
        "saved_share": None
        if saved is None or not option.now.value
        else saved.value / option.now.value,
        "simulation_uncertainty": None
        if saved is None
        else saved.simulation_uncertainty / unit.factor,
        "saved_per_cost": None if per_cost is None else per_cost / unit.factor,
        "runs_as_good": option.repeats,
        "value_as_written_then": None if option.moved is None else unit.from_si(option.moved.then),
        "beyond_band": option.beyond,
        "claims": [
            {
                "result": each.claim.result,
                "run": each.claim.run,
                "says": each.claim.says,
                "supported": each.supported,
                "contradicted": each.contradicted,
                "settled": each.settled,
            }
            for each in option.chances
        ],
        "why_not": option.why_not or None,
    }


def _cost(cost: Cost | None) -> dict[str, Any] | None:
    return None if cost is None else {"amount": cost.amount, "currency": cost.currency}


def _purchase(purchase: Purchase | None, unit: Unit) -> dict[str, Any] | None:
    if purchase is None:
        return None
    return {
        "names": list(purchase.names),
        "cost": purchase.cost,
        "half_width_then": purchase.then.value / unit.factor,
        "saved": purchase.saved.value / unit.factor,
        "simulation_uncertainty": purchase.saved.simulation_uncertainty / unit.factor,
    }
