"""The bands as one picture: each result and run as a fading strip with its interval.

A strip that fades says what a bar with whiskers hides: values near the middle are likelier.
Colour never stands alone; every mark has its number in words beside it.
"""

from __future__ import annotations

import io

from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from effband.problems import printable
from effband.report import words
from effband.study import Band, Study

INK, STRIP = "#222222", "#0072B2"
LONGEST_LABEL = 95


def bands_figure(study: Study) -> Figure:
    """Return the figure: a row for every band, one panel for every result."""
    names = list(dict.fromkeys(band.output.target.name for band in study.bands))
    groups = [[b for b in study.bands if b.output.target.name == name] for name in names]
    heights = [max(1, len(group)) for group in groups]
    figure = Figure(figsize=(8, 1.0 + 0.85 * sum(heights) + 0.75 * len(groups)), dpi=110)
    grid = figure.add_gridspec(len(groups), 1, height_ratios=heights, hspace=0.9)
    chance = words.probability(study.settings.probability)
    for row, group in enumerate(groups):
        axes = figure.add_subplot(grid[row])
        target = group[0].output.target
        name = _label(target.label or target.name)
        unit = f" in {target.unit.symbol}" if target.unit.symbol else ""
        axes.set_title(f"{name}{unit}", loc="left", fontsize=10, parse_math=False)
        for at, band in enumerate(reversed(group)):
            _strip(axes, band, at)
        axes.set_yticks(range(len(group)))
        labels = [_label(band.output.run or "whole case") for band in reversed(group)]
        axes.set_yticklabels(labels, parse_math=False)
        axes.set_ylim(-0.6, len(group) - 0.1)
        for side in ("top", "right", "left"):
            axes.spines[side].set_visible(False)
        axes.tick_params(left=False)
    figure.suptitle(
        f"{_label(study.case.title)}\nstrip and line: where the value lies with {chance} "
        "probability, given the stated spreads",
        fontsize=10,
        x=0.02,
        ha="left",
        y=0.99,
        va="top",
        parse_math=False,
    )
    total = float(figure.get_figheight())
    figure.subplots_adjust(left=0.17, right=0.97, top=1 - 0.95 / total, bottom=0.4 / total)
    return figure


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
    shown = printable(text)
    return shown if len(shown) <= LONGEST_LABEL else shown[: LONGEST_LABEL - 3] + "..."


def png(figure: Figure) -> bytes:
    """Return the figure as a PNG file."""
    FigureCanvasAgg(figure)
    stream = io.BytesIO()
    figure.savefig(stream, format="png", metadata={"Software": "effband"})
    return stream.getvalue()
