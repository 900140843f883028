"""The bands as one picture: each result and run as a fading strip with its interval.

A strip that fades says what a bar with whiskers hides: values near the middle are likelier.
Colour never stands alone; every mark has its number in words beside it.
"""

from __future__ import annotations

import functools
import io

from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties, findfont, get_font
from matplotlib.text import Text

from effband.problems import printable
from effband.report import words
from effband.study import Band, Study

INK, STRIP = "#222222", "#0072B2"
LONGEST_LABEL = 200


def bands_figure(study: Study) -> Figure:
    """Return the figure: a row for every band, one panel for every result."""
    names = list(dict.fromkeys(band.output.target.name for band in study.bands))
    bands = words.shown(study.bands)
    groups = [[b for b in bands if b.output.target.name == name] for name in names]
    figure = Figure(figsize=(8, 1.0 + sum(0.85 * len(g) + 0.75 for g in groups)), dpi=110)
    FigureCanvasAgg(figure)
    heights = [len(group) for group in groups]
    gap = min(0.9, 1.8 * len(heights) / sum(heights))  # of the mean height of a panel
    grid = figure.add_gridspec(len(groups), 1, height_ratios=heights, hspace=gap)
    all_axes: list[Axes] = []
    titles: list[Text] = []
    for row, group in enumerate(groups):
        axes = figure.add_subplot(grid[row])
        titles.append(_panel(axes, group))
        all_axes.append(axes)
    chance = words.probability(study.settings.probability)
    title = figure.suptitle("", fontsize=10, x=0.02, ha="left", y=0.99, va="top", parse_math=False)
    note = f"\nline: the {chance} band; the strip is darkest where most of the trials lie"
    total = float(figure.get_figheight())
    left = _left_margin(figure, all_axes)
    figure.subplots_adjust(left=left, right=0.97, top=1 - 0.95 / total, bottom=0.4 / total)
    for text in titles:
        _shorten(figure, text, 0.97 - left)
    title.set_text(_label(study.case.title))
    _shorten(figure, title, 0.95)
    title.set_text(title.get_text() + note)
    return figure


def _panel(axes: Axes, group: list[Band]) -> Text:
    """Draw the bands of one result and return the panel's title."""
    target = group[0].output.target
    unit = f" in {target.unit.symbol}" if target.unit.symbol else ""
    name = _label(target.label or target.name)
    title = axes.set_title(f"{name}{unit}", loc="left", fontsize=10, parse_math=False)
    for at, band in enumerate(reversed(group)):
        _strip(axes, band, at)
    axes.set_yticks(range(len(group)))
    labels = [_label(band.output.run or "whole case") for band in reversed(group)]
    axes.set_yticklabels(labels, parse_math=False)
    axes.set_ylim(-0.6, len(group) - 0.1)
    for side in ("top", "right", "left"):
        axes.spines[side].set_visible(False)
    axes.tick_params(left=False)
    return title


def _share_of_width(figure: Figure, text: Text) -> float:
    across: float = text.get_window_extent().width
    return across / figure.bbox.width


def _left_margin(figure: Figure, all_axes: list[Axes]) -> float:
    """Return the share of the width that the longest run name takes, within bounds."""
    labels = [label for axes in all_axes for label in axes.get_yticklabels()]
    for label in labels:
        _shorten(figure, label, 0.45)
    return max(0.12, 0.03 + max(_share_of_width(figure, label) for label in labels))


def _shorten(figure: Figure, text: Text, share: float) -> None:
    """Cut a text until it takes no more than a share of the figure's width."""
    whole = text.get_text()
    for kept in range(len(whole), 8, -4):
        text.set_text(whole if kept == len(whole) else whole[:kept] + "...")
        if _share_of_width(figure, text) <= share:
            return


def _strip(axes: Axes, band: Band, at: int) -> None:
    """Draw one band: slices as dense as the trials are, the interval, and the numbers."""
    unit = band.output.target.unit
    summary = band.summary
    low, high = (unit.from_si(x) for x in (summary.interval.low, summary.interval.high))
    middle = unit.from_si(words.central(band))
    edges, density = summary.density
    peak = float(max(density, default=1.0)) or 1.0
    for left, right, height in zip(edges[:-1], edges[1:], density, strict=True):
        x = unit.from_si(float(left))
        across = unit.from_si(float(right)) - x
        axes.barh(
            at, across, left=x, height=0.34, color=STRIP, alpha=0.85 * float(height) / peak, lw=0
        )
    axes.plot([low, high], [at, at], color=INK, lw=1.6, solid_capstyle="butt")
    axes.plot([middle], [at], marker="o", color=INK, ms=5)
    numbers = words.rounded(band)
    text = f"{numbers.with_unit}, between {numbers.low} and {numbers.high}"
    axes.annotate(
        text, (middle, at), xytext=(0, 10), textcoords="offset points", ha="center", fontsize=8.5
    )


def _label(text: str) -> str:
    """Return text that the font can draw; a letter it lacks is spelt out."""
    shown = printable(" ".join(text.split()))[:LONGEST_LABEL]
    known = _letters()
    return "".join(c if ord(c) in known else f"<U+{ord(c):04X}>" for c in shown)


@functools.cache
def _letters() -> frozenset[int]:
    font = get_font(findfont(FontProperties()))
    return frozenset(font.get_charmap())


def png(figure: Figure) -> bytes:
    """Return the figure as a PNG file."""
    stream = io.BytesIO()
    figure.savefig(stream, format="png", metadata={"Software": "effband"})
    return stream.getvalue()
