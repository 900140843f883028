"""The study in a notebook: styles inside the elements, the colours of the page."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from html import escape

from effband.problems import printable
from effband.report import words
from effband.report.bars import BAR
from effband.report.screen import WHOLE, telling_lines
from effband.study import Band, Study

CELL = 'style="padding:.15em .8em;text-align:left"'


def notebook(study: Study) -> str:
    """Return the study as HTML for a notebook: no script, no style sheet, nothing fetched."""
    band = words.headline_band(study)
    chance = words.probability(study.settings.probability)
    parts = [f"<p><strong>{_shown(study.case.title)}</strong></p>"]
    parts.append(f"<p>{_shown(words.sentence(band, study))}</p>")
    heads = ["result", "run", "value", f"{chance} band", "half-width", "as written"]
    parts.append(_grid(heads, map(_numbers, words.shown(study.bands))))
    if band.ranking.lines:
        heads = [f"what widens {band.output.title}", "saves of the half-width", "leaves"]
        parts.append(_grid(heads, _bars(band)))
    remarks = [f"{each.what}: {each.remedy}" for each in words.all_remarks(study)]
    if remarks:
        items = "".join(f"<li>{_shown(remark)}</li>" for remark in remarks)
        parts.append(f"<p>Mind:</p><ul>{items}</ul>")
    return f"<div>{''.join(parts)}</div>"


def _numbers(band: Band) -> tuple[str, ...]:
    cell, target = words.rounded(band), band.output.target
    half = f"{cell.half_width} {target.unit.width_symbol}"
    ends = f"{cell.low} to {cell.high} {cell.unit}"
    return target.name, band.output.run or WHOLE, cell.with_unit, ends, half, cell.by_hand


def _bars(band: Band) -> Iterator[tuple[str, ...]]:
    """Yield the sources that the screen would show, each with a bar and its numbers."""
    unit, full = band.output.target.unit, band.summary.interval.half_width
    decimals = words.decimals_to_tell_apart(full / unit.factor)
    for line, share in telling_lines(band):
        bar = "\N{FULL BLOCK}" * max(1, round(BAR * share))
        left = words.fixed(line.half_width_without / unit.factor, decimals)
        yield line.item.name, f"{bar} {words.percent(share)}", f"{left} {unit.width_symbol}"


def _grid(heads: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    lines = [("th", heads), *(("td", row) for row in rows)]
    body = [
        f"<tr>{''.join(f'<{tag} {CELL}>{_shown(text)}</{tag}>' for text in texts)}</tr>"
        for tag, texts in lines
    ]
    return f'<table style="border-collapse:collapse">{"".join(body)}</table>'


def _shown(text: str) -> str:
    return escape(printable(text.strip()))
