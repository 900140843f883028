"""A change: before and after on one axis, and under them what lies between, with a line at 0."""

from __future__ import annotations

from dataclasses import replace

from matplotlib.figure import Figure

from effband.decide.compare import Change, Compared, Number
from effband.report import words
from effband.report.comparison import difference, point, title, verdict
from effband.report.figures import page

UNLIKE = "NOT THE SAME NUMBER"


def change_alt(found: Compared) -> str | None:
    """Return what the figure shows as sentences; None where there is no figure."""
    change = found.changes[0]
    if not _varies(change):
        return None
    unit = change.before.target.unit
    numbers = (
        ("before", point(change.was, unit)),
        ("after", point(change.now, unit)),
        ("change", difference(change.change, unit)),
    )
    text = ", ".join(f"{name} {value} {ends}" for name, (value, ends) in numbers)
    chance = words.probability(found.settings.probability)
    text = f"{title(change)}: {text} ({chance} bands). {_said(found)}"
    return f"{UNLIKE}: {text}" if change.differs else text


def _varies(change: Change) -> bool:
    return change.was.summary.varies or change.now.summary.varies


def _said(found: Compared) -> str:
    """Return the verdict, and why both are not the same number."""
    change = found.changes[0]
    told = verdict(change, found.settings.probability)
    if change.differs:
        told.append(f"It is not the same number: {'; '.join(change.differs)}.")
    return " ".join(told)


def change_figure(found: Compared, stamp: str = "") -> Figure | None:
    """Return strips of the first result before and after, and of its change.

    None where it does not vary. `stamp` is written small into a corner.
    """
    change = found.changes[0]
    if not _varies(change):
        return None
    figure, unit = page.page(), change.before.target.unit
    chance = words.probability(found.settings.probability)
    name = f"{title(change)}, before and after"
    if change.differs:
        name = f"{UNLIKE}: {name}"
    y = page.head(figure, [name], _said(found), lines=3)
    titles = (f"before: {found.before.title}", f"after: {found.after.title}")
    page.foot(figure, stamp, *titles)
    both = [
        _mark(name, number, point(number, unit)[0])
        for name, number in (("before", change.was), ("after", change.now))
    ]
    summaries = [change.was.summary, change.now.summary]
    axes = page.rows(figure, both, unit, y, 256, page.reach(summaries, unit))
    page.name_axis(axes, f"lines: {chance} bands", unit)
    apart = replace(unit, text=unit.width_symbol or "1", kind=None, zero=0.0)
    three = [_mark("change", change.change, difference(change.change, unit)[0])]
    span = page.reach([change.change.summary], apart, [0.0], always=True)
    axes = page.rows(figure, three, apart, page.HIGH - 184, 92, span)
    page.name_axis(axes, f"after less before, {chance} band", apart)
    axes.axvline(0.0, color=page.VERMILION, lw=2, ls="--")
    page.text_at(axes, 0.0, float(axes.bbox.height) + 10, "0: no change")
    return figure


def _mark(name: str, number: Number, text: str) -> page.Mark:
    return page.Mark(name, text, number.summary, number.value)
