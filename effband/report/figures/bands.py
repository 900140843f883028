"""The bands as one picture: each result and run as a fading strip with its interval.

A strip that fades says what a bar with whiskers hides: values near the middle are likelier.
Colour never stands alone; every mark has its number in words beside it.
"""

from __future__ import annotations

from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.text import Text

from effband.report import words
from effband.report.figures.page import BLUE, INK, label, stamped
from effband.study import Band, Study

MOST_ROWS = 40


def bands_figure(study: Study, stamp: str = "") -> Figure:
    """Return the figure: a row for every band, one panel for every result.

    Of very many bands the headline's and the first of the others are drawn, and the title says
    so. `stamp` is written small into a corner.
    """
    bands = words.shown(study.bands)
    shown = bands
    if len(bands) > MOST_ROWS:
        headline = words.headline_band(study).output.target.name
        shown = sorted(bands, key=lambda b: b.output.target.name != headline)[:MOST_ROWS]
    names = list(dict.fromkeys(band.output.target.name for band in shown))
    groups = [[b for b in shown if b.output.target.name == name] for name in names]
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
    if len(shown) < len(bands):
        note += f"; {len(bands) - len(shown)} more bands are in the report"
    total = float(figure.get_figheight())
    left = _left_margin(figure, all_axes)
    figure.subplots_adjust(left=left, right=0.97, top=1 - 0.95 / total, bottom=0.4 / total)
    for text in titles:
        _shorten(figure, text, 0.97 - left)
    title.set_text(label(study.case.title))
    _shorten(figure, title, 0.95)
    title.set_text(title.get_text() + note)
    stamped(figure, stamp)
    return figure


def _panel(axes: Axes, group: list[Band]) -> Text:
    """Draw the bands of one result and return the panel's title."""
    target = group[0].output.target
    unit = f" in {target.unit.symbol}" if target.unit.symbol else ""
    name = label(target.label or target.name)
    title = axes.set_title(f"{name}{unit}", loc="left", fontsize=10, parse_math=False)
    for at, band in enumerate(reversed(group)):
        _strip(axes, band, at)
    axes.set_yticks(range(len(group)))
    labels = [label(band.output.run or "whole case") for band in reversed(group)]
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
    texts = [text for axes in all_axes for text in axes.get_yticklabels()]
    for text in texts:
        _shorten(figure, text, 0.45)
    return max(0.12, 0.03 + max(_share_of_width(figure, text) for text in texts))


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
            at, across, left=x, height=0.34, color=BLUE, alpha=0.85 * float(height) / peak, lw=0
        )
    axes.plot([low, high], [at, at], color=INK, lw=1.6, solid_capstyle="butt")
    axes.plot([middle], [at], marker="o", color=INK, ms=5)
    numbers = words.rounded(band)
    text = f"{numbers.with_unit}, between {numbers.low} and {numbers.high}"
    axes.annotate(
        text,
        (middle, at),
        xytext=(0, 10),
        textcoords="offset points",
        ha="center",
        fontsize=8.5,
        parse_math=False,
    )
