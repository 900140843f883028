"""The study on a terminal: every result with its band, and what widens it, at a glance.

Two runs of two results fit 80 columns by 40 lines.
"""

from __future__ import annotations

import textwrap

from effband.problems import printable, width
from effband.report import words
from effband.study import Band, Study

COLUMNS = 80
BAR = 24
LONGEST_RANKING = 4
LEAST_SHOWN = 0.005  # of the half-width saved; below it an item is only counted


def screen(study: Study) -> str:
    """Return the text for a terminal, ending in a newline."""
    lines = [*_wrapped(study.case.title, "")]
    chance = words.probability(study.settings.probability)
    lines.append(f"{chance} bands from {study.settings.trials:,} trials".replace(",", " "))
    for name in dict.fromkeys(band.output.target.name for band in study.bands):
        bands = [band for band in study.bands if band.output.target.name == name]
        lines += ["", *_result(bands, study)]
    lines += _remarks(study)
    return "\n".join(line.rstrip() for line in lines) + "\n"


def _result(bands: list[Band], study: Study) -> list[str]:
    target = bands[0].output.target
    mark = "   <- headline" if target.name == study.case.headline else ""
    lines = [printable(target.label or target.name) + mark]
    if target.boundary is not None:
        lines += _wrapped(target.boundary[0], "  in:  ")
        lines += _wrapped(target.boundary[1], "  out: ")
    margin = max(width(band.output.run or "whole case") for band in bands)
    cells = [words.rounded(band) for band in bands]
    value = max(len(cell.with_unit) for cell in cells)
    for band, cell in zip(bands, cells, strict=True):
        run = printable(band.output.run or "whole case")
        half = f"{cell.half_width} {target.unit.width_symbol}".rstrip()
        lines.append(
            f"  {run:<{margin}}  {cell.with_unit:>{value}}   between {cell.low} and "
            f"{cell.high} {cell.unit}".rstrip()
            + f"   (half-width {half})"
        )
    lines += _wideners(_shown(bands))
    return lines


def _shown(bands: list[Band]) -> Band:
    """Return the band whose ranking is shown: the one with the widest band for its value."""
    return max(bands, key=lambda band: band.summary.interval.half_width)


def _wideners(band: Band) -> list[str]:
    if not band.ranking.lines:
        return ["  it does not vary"] if not band.summary.varies else []
    unit = band.output.target.unit
    full = band.summary.interval.half_width
    run = f" in {words.run_words(band.output)}" if band.output.run is not None else ""
    saved = [max(full - line.half_width_without, 0.0) for line in band.ranking.lines]
    shown = [k for k, s in enumerate(saved) if s >= LEAST_SHOWN * full][:LONGEST_RANKING]
    shown = shown or [0]
    rest = len(saved) - len(shown)
    less = f"; {rest} more matter less" if rest else ""
    measure = f"half-width, {unit.width_symbol}".rstrip(", ")
    lines = [f"  what widens it most{run} ({measure}{less}):"]
    margin = max(width(printable(band.ranking.lines[k].item.name)) for k in shown)
    decimals = words.decimals_to_tell_apart(full / unit.factor)
    for k in shown:
        line = band.ranking.lines[k]
        without = words.fixed(line.half_width_without / unit.factor, decimals)
        name = printable(line.item.name)
        bar = "#" * max(1, round(BAR * saved[k] / full))
        saves = words.fixed(saved[k] / unit.factor, decimals)
        lines.append(f"    {name:<{margin}}  {bar:.<{BAR}}  saves {saves}, leaving {without}")
    return lines


def _remarks(study: Study) -> list[str]:
    lines: list[str] = []
    notes = [f"{remark.what}: {remark.remedy}" for remark in words.all_remarks(study)]
    if notes:
        lines += ["", "Mind:"]
        for note in notes:
            lines += _wrapped(note, "  - ", "    ")
    assumed = [*study.case.assumptions, *_what_ifs(study)]
    if assumed:
        lines += ["", "Taken for granted:"]
        for text in assumed:
            lines += _wrapped(text, "  - ", "    ")
    return lines


def _what_ifs(study: Study) -> list[str]:
    band = words.headline_band(study)
    return [] if band is None else what_if_words(band)


def what_if_words(band: Band) -> list[str]:
    """Return, for each instrument read at two places, what another error curve would give."""
    unit = band.output.target.unit
    full = band.summary.interval.half_width
    title = band.output.title
    found = []
    for each in band.what_ifs:
        same, own = (
            words.width(half, unit, full / unit.factor)
            for half in (each.same_all_along, each.own_for_each_reading)
        )
        now = words.width(full, unit)
        found.append(
            f"{each.instrument}'s error drifts along its scale: half-width of {title} {now}; "
            f"the same all along {same}; its own for each reading {own}"
        )
    return found


def _wrapped(text: str, first: str, other: str | None = None) -> list[str]:
    indent = " " * len(first) if other is None else other
    return textwrap.wrap(
        printable(text), COLUMNS, initial_indent=first, subsequent_indent=indent
    ) or [first]
