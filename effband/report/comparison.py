"""The change between two cases: on a terminal, and for machines."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from effband import __version__
from effband.case.model import Case
from effband.decide.change import Change, Number
from effband.decide.compare import Compared
from effband.decide.merge import Apart
from effband.problems import width
from effband.propagate.engine import Share
from effband.propagate.ranking import Line
from effband.report import words
from effband.report.bars import bars
from effband.report.columns import wrapped
from effband.report.decisions import above, amount, documents
from effband.report.judgements import NONE, share
from effband.study import ENGINE_NUMBER
from effband.units import Unit

JUDGED_KINDS = ("efficiency", "performance ratio")  # of which more is better
MOST_OTHERS = 6  # changes shown beside the headline's
HALF = 0.5  # of the trials; without spread all of them agree
MATTERS = 1.1  # ratio of half-widths, from which sharing has done something worth a line
UNSEEN = (
    "No sum sees what else changed between the tests: room, battery, wear, order. Test before, "
    "after, after, before; then a slow drift cancels."
)


def screen(found: Compared) -> str:
    """Return the text for a terminal, ending in a newline."""
    first, *others = found.changes
    asked = found.settings.probability
    trials = f"{found.settings.trials:,}".replace(",", " ")
    lines = [
        *wrapped(found.before.title, "before: "),
        *wrapped(found.after.title, "after:  "),
        f"{words.probability(asked)} bands from {trials} trials",
        "",
        *_disputes(found),
        *_headline(first, asked),
        *_wideners(found),
    ]
    for change in others[:MOST_OTHERS]:
        lines += ["", *_in_short(change, asked)]
    if len(others) > MOST_OTHERS:
        lines += ["", f"and {len(others) - MOST_OTHERS} more changes: see --json, or use --result"]
    lines += ["", *wrapped(_list(found.shared) or "nothing", "drawn once for both: ", "  ")]
    lines += _drawn_apart(found.apart)
    mind = [*(f"{what}: {remedy}" for what, remedy in found.warnings), *_in_the_files(found)]
    if found.not_compared:
        names = "; ".join(found.not_compared)
        mind.insert(0, f"not compared: {names}: what belongs together needs one name and unit")
    lines += ["", "Mind:"]
    for text in (*mind, UNSEEN):
        lines += wrapped(text, "  - ", "    ")
    return "\n".join(line.rstrip() for line in lines) + "\n"


def _disputes(found: Compared) -> list[str]:
    """Return the cross-checks that disagree, of both cases."""
    was = [change.before for change in found.changes]
    now = [change.after for change in found.changes]
    return [
        *above(found.before, found.failing[0], was, "before"),
        *above(found.after, found.failing[1], now, "after"),
    ]


def _headline(change: Change, asked: float) -> list[str]:
    """Return the first change in full: what differs, the numbers, the verdict."""
    lines = [*wrapped(title(change), ""), *_not_the_same(change)]
    unit = change.before.target.unit
    rows = [("before", *point(change.was, unit)), ("after", *point(change.now, unit))]
    rows.append(("change", *difference(change.change, unit)))
    if change.ratio is not None:
        rows.append(("ratio", *_plain(change.ratio)))
    across = max(width(row[1]) for row in rows)
    lines += [f"  {name:<6}  {value:>{across}}  {ends}" for name, value, ends in rows]
    lines += [line for text in verdict(change, asked) for line in wrapped(text, "  ", "    ")]
    if change.shown(asked) and change.overlaps:
        lines += wrapped(_why_overlap(change), "  ", "    ")
    if change.unshared is not None and change.change.summary.varies:
        half = change.change.summary.interval.half_width
        halves = [half] + [change.unshared.half_width] * _sharing_matters(change)
        now, *then = (
            amount(words.width(x, unit, half / unit.factor), unit.width_symbol) for x in halves
        )
        beside = f"; {then[0]} if nothing were shared" if then else ""
        lines += wrapped(f"half-width of the change: {now}{beside}", "  ")
    return lines


def _in_short(change: Change, asked: float) -> list[str]:
    unit = change.before.target.unit
    was, now = (point(number, unit)[0] for number in (change.was, change.now))
    moved, ends = difference(change.change, unit)
    lines = [*wrapped(title(change), ""), *_not_the_same(change)]
    lines += wrapped(f"{was} -> {now}; change {moved}, {ends}", "  ", "    ")
    told = verdict(change, asked, brief=True)
    return lines + [line for text in told for line in wrapped(text, "  ", "    ")]


def title(change: Change) -> str:
    """Return of what a change is: the result, and its run or group."""
    target = change.before.target
    where = f", {change.before.where}" if change.before.where else ""
    return f"{target.label or target.name}{where}"


def _not_the_same(change: Change) -> list[str]:
    """Return why both are not the same number, before any of them is shown."""
    if not change.differs:
        return []
    text = f"NOT THE SAME NUMBER: {'; '.join(change.differs)}"
    return wrapped(text, "  ", "    ")


def point(number: Number, unit: Unit) -> tuple[str, str]:
    """Return a value with its unit, and its band."""
    interval = number.summary.interval
    half = interval.half_width / unit.factor
    decimals = words.decimals_for(half or abs(unit.from_si(number.value)) / 100)
    value, low, high = (
        words.fixed(unit.from_si(x), decimals) for x in (number.value, interval.low, interval.high)
    )
    return f"{value} {unit.symbol}".rstrip(), f"from {low} to {high} {unit.symbol}".rstrip()


def difference(number: Number, unit: Unit) -> tuple[str, str]:
    """Return a change with its sign and unit, and its band."""
    interval = number.summary.interval
    half = interval.half_width / unit.factor
    decimals = words.decimals_for(half or abs(number.value / unit.factor) / 100)
    value, low, high = (
        words.fixed(x / unit.factor, decimals) for x in (number.value, interval.low, interval.high)
    )
    sign = "" if value.startswith("-") or not float(value) else "+"
    symbol = unit.width_symbol
    return f"{sign}{value} {symbol}".rstrip(), f"from {low} to {high} {symbol}".rstrip()


def _plain(number: Number) -> tuple[str, str]:
    interval = number.summary.interval
    decimals = words.decimals_for(interval.half_width or abs(number.value) / 100)
    value, low, high = (
        words.fixed(x, decimals) for x in (number.value, interval.low, interval.high)
    )
    return value, f"from {low} to {high}"


def verdict(change: Change, asked: float, brief: bool = False) -> list[str]:
    """Return whether a change is shown, and by how much, a sentence each."""
    if not change.change.summary.varies:
        why = (
            "what is uncertain is the same in both"
            if change.was.summary.varies
            else "nothing in it was uncertain"
        )
        return [f"The change has no spread, since {why}.", *_by_exactly(change)]
    more, less = ("better", "worse") if _is_judged(change) else ("higher", "lower")
    seen = change.likelier
    both_sided = (1 + asked) / 2
    chance = f"after is {more if seen is change.higher else less} in {_trials(seen, both_sided)}"
    needed = f"{words.probability(both_sided)} are asked for, since it could have gone either way"
    why = "" if brief else f"; {needed}"
    real = "The change is real, but disputed" if change.disputed else "The change is real"
    found = {
        True: f"{real}: {chance}.",
        False: f"Not shown: {chance}{why}.",
        None: f"Too close to call: {chance}; more trials (--trials) settle it.",
    }[change.shown(asked)]
    return [found, *_by(change, asked)]


def _trials(seen: Share, asked: float) -> str:
    """Return in how many trials something was seen; where in all or none, with a bound."""
    text = share(seen.value, seen.trials, [asked])
    if seen.value in (0.0, 1.0):
        return f"{'every' if seen.value else 'no'} trial {text.partition(' ')[2]}"
    return f"{text} of the trials"


def _by(change: Change, asked: float) -> list[str]:
    if change.reached is None or change.by is None:
        return []
    way = "or more" if change.by >= 0 else "or further down"
    seen = _trials(change.reached, asked)
    shown = "shown, but disputed" if change.disputed else "shown"
    said = {True: shown, False: "not shown", None: "too close to call"}[change.by_shown(asked)]
    return [f"By {_size(change)} {way}: {said}, in {seen} ({words.probability(asked)} asked for)."]


def _by_exactly(change: Change) -> list[str]:
    """Return whether a change without spread is as large as was asked about."""
    if change.reached is None or change.by is None:
        return []
    way = "or more" if change.by >= 0 else "or further down"
    reached = "reached" if change.reached.value > HALF else "not reached"
    return [f"By {_size(change)} {way}: {reached}."]


def _size(change: Change) -> str:
    """Return the change that was asked about, with its unit."""
    assert change.by is not None
    unit = change.before.target.unit
    return amount(f"{change.by / unit.factor:g}", unit.width_symbol)


def _is_judged(change: Change) -> bool:
    return change.before.target.kind in JUDGED_KINDS


def _sharing_matters(change: Change) -> bool:
    """Return whether the change would be known otherwise if nothing were shared."""
    half = change.change.summary.interval.half_width
    other = half if change.unshared is None else change.unshared.half_width
    return other > MATTERS * half or half > MATTERS * other


def _why_overlap(change: Change) -> str:
    half = change.change.summary.interval.half_width
    if change.unshared is not None and change.unshared.half_width > MATTERS * half:
        return "The bands overlap, yet most of their width is error that both tests share."
    return "The bands overlap, yet to meet both would have to be wrong, each towards the other."


def _wideners(found: Compared) -> list[str]:
    """Return what widens the first change most."""
    change, ranked = found.changes[0], found.ranking.lines
    full, unit = change.change.summary.interval.half_width, change.before.target.unit
    if not ranked or not full > 0.0:
        return []
    decimals = words.decimals_to_tell_apart(full / unit.factor)
    items = [(line.item.name, line.half_width_without) for line in ranked]
    lines = bars(items, full, lambda half: words.fixed(half / unit.factor, decimals), "    ")
    return ["  what widens the change most, and the half-width left without it:", *lines]


def _drawn_apart(apart: Iterable[Apart]) -> list[str]:
    """Return what was drawn for each case by itself, by reason."""
    reasons: dict[str, list[str]] = {}
    for each in apart:
        reasons.setdefault(each.why, []).append(each.name)
    lines = []
    for why, names in reasons.items():
        lines += wrapped(f"{_list(names)} ({why})", "drawn apart: ", "  ")
    return lines


def _list(names: Iterable[str]) -> str:
    return ", ".join(names)


def _in_the_files(found: Compared) -> list[str]:
    """Return that a file has warnings of its own, which are not repeated here."""
    cases = {case.text.sha256: case for case in (found.before, found.after) if case.warnings}
    return [
        f"{case.text.file} has {len(case.warnings)} warning{'s' * (len(case.warnings) > 1)} of "
        "its own: see `effband check`"
        for case in cases.values()
    ]


# -- for machines ---------------------------------------------------------------------------------


def document(found: Compared) -> dict[str, Any]:
    """Return the comparison as plain values, at full precision, null where there is no value.

    Changes, their bands and `by` are differences: in points where the result is in %, in K for
    degC. `interval` holds the ends that leave equal probability on either side.
    """
    settings = found.settings
    keys = ("seed", "trials", "probability", "digits")
    return {
        "effband": {"version": __version__, "format": 1, "engine": ENGINE_NUMBER},
        "before": {**_case(found.before), "disagree": documents(found.failing[0])},
        "after": {**_case(found.after), "disagree": documents(found.failing[1])},
        "settings": {key: getattr(settings, key) for key in keys},
        "changes": [_change(change, settings.probability) for change in found.changes],
        "ranking": [
            _line(line, found.changes[0].before.target.unit) for line in found.ranking.lines
        ],
        "shared": list(found.shared),
        "apart": [{"source": each.name, "why": each.why} for each in found.apart],
        "not_compared": list(found.not_compared),
        "warnings": [f"{what}: {remedy}" for what, remedy in found.warnings],
        "notes": [UNSEEN],
    }


def _case(case: Case) -> dict[str, Any]:
    return {
        "title": case.title,
        "sha256": case.text.sha256,
        "warnings": [f"{problem.what}: {problem.remedy}" for problem in case.warnings],
    }


def _change(change: Change, asked: float) -> dict[str, Any]:
    unit, target = change.before.target.unit, change.before.target
    half = change.unshared
    return {
        "result": target.name,
        "run": change.before.run,
        "unit": unit.text,
        "is": target.kind,
        "before": _number(change.was, unit.factor, unit.zero),
        "after": _number(change.now, unit.factor, unit.zero),
        "change": _number(change.change, unit.factor, 0.0),
        "change_unit": unit.width_symbol or "1",
        "ratio": None if change.ratio is None else _number(change.ratio, 1.0, 0.0),
        "probability_higher": _share(change.higher) if change.change.summary.varies else None,
        "probability_lower": _share(change.lower) if change.change.summary.varies else None,
        "shown": change.shown(asked) if change.change.summary.varies else None,
        "by": None if change.by is None else change.by / unit.factor,
        "probability_by": None if change.reached is None else _share(change.reached),
        "unshared_interval": None
        if half is None
        else {"low": half.low / unit.factor, "high": half.high / unit.factor},
        "unshared_half_width": None if half is None else half.half_width / unit.factor,
        "differs": list(change.differs),
        "disputed": change.disputed,
        "notes": verdict(change, asked),
    }


def _number(number: Number, factor: float, zero: float) -> dict[str, Any]:
    summary, simulation = number.summary, number.summary.simulation

    def size(si: float | None) -> float | None:
        return None if si is None else si / factor

    def value(si: float) -> float:
        return (si - zero) / factor

    return {
        "value": value(number.value),
        "nominal": value(number.nominal),
        "mean": None if summary.mean is None else value(summary.mean),
        "median": value(summary.median),
        "standard_uncertainty": size(summary.standard_uncertainty),
        "interval": {"low": value(summary.interval.low), "high": value(summary.interval.high)},
        "half_width": size(summary.interval.half_width),
        "simulation_uncertainty": {
            "mean": size(simulation.mean),
            "standard_uncertainty": size(simulation.standard_uncertainty),
            "median": size(simulation.median),
            "low": size(simulation.low),
            "high": size(simulation.high),
        },
    }


def _share(found: Share) -> dict[str, Any]:
    """Return a probability; where all trials agree, a bound in the place of 0 or 1."""
    few = NONE / found.trials
    none, every = found.value <= 0.0, found.value >= 1.0
    return {
        "value": None if none or every else found.value,
        "less_than": few if none else None,
        "more_than": 1 - few if every else None,
        "simulation_uncertainty": found.simulation_uncertainty,
        "trials": found.trials,
    }


def _line(line: Line, unit: Unit) -> dict[str, Any]:
    return {
        "source": line.item.name,
        "kind": line.item.kind,
        "half_width_without": line.half_width_without / unit.factor,
        "simulation_uncertainty": line.simulation_uncertainty / unit.factor,
        "first_order": None if line.first_order is None else line.first_order.value,
        "total": None if line.total is None else line.total.value,
    }
