"""What all figures share: a page, text that fits and cannot act, ticks, a strip, the stamp.

Colours are told apart by people who see few of them, and never stand alone.
"""

from __future__ import annotations

import functools
import io
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.colors import to_rgb
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties, findfont, get_font
from matplotlib.text import Text
from matplotlib.ticker import MaxNLocator, ScalarFormatter

from effband.evidence.tables import FloatArray
from effband.problems import printable
from effband.propagate.summary import Summary
from effband.report import words
from effband.study import Band
from effband.units import Unit

INK, QUIET, BLUE, VERMILION = "#222222", "#595959", "#0072B2", "#D55E00"
DPI = 100
WIDE, HIGH = 800, 450  # pixels, for a forum post
TITLE, PLAIN, LEAST = 15, 12, 9  # points; shrunk to half, the plain text can still be read
LONGEST_LABEL, LONGEST_TEXT = 200, 1000  # letters
STAMP = 12  # letters
MARGIN, SIDE, GAP = 16, 32, 6  # pixels beside texts, beside axes, beside lines
LONG_TAILED = 0.4  # of the strip's length, where the outermost dots lie no further apart
DENSEST = 0.85  # how opaque a strip is where most trials lie


Span = tuple[float, float]


@dataclass(frozen=True)
class Mark:
    """What is drawn as a strip with an interval: its name, its number in words, its value (SI)."""

    name: str
    number: str
    summary: Summary
    middle: float


def mark_of(band: Band) -> Mark:
    """Return the mark of a band, under the name of its run."""
    number = words.rounded(band).with_unit
    return Mark(str(band.output.run), number, band.summary, words.central(band))


def page(wide: float = WIDE, high: float = HIGH) -> Figure:
    """Return an empty figure of so many pixels."""
    figure = Figure(figsize=(wide / DPI, high / DPI), dpi=DPI)
    FigureCanvasAgg(figure)
    return figure


def png(figure: Figure) -> bytes:
    """Return the figure as a PNG file."""
    stream = io.BytesIO()
    figure.savefig(stream, format="png", metadata={"Software": "effband"})
    return stream.getvalue()


def label(text: str, longest: int = LONGEST_LABEL) -> str:
    """Return text that the font can draw; a letter it lacks is spelt out, and long text cut."""
    shown = printable(" ".join(text.split()))
    if len(shown) > longest:
        shown = shown[:longest] + "..."
    known = _letters()
    return "".join(c if ord(c) in known else f"<U+{ord(c):04X}>" for c in shown)


@functools.cache
def _letters() -> frozenset[int]:
    font = get_font(findfont(FontProperties()))
    return frozenset(font.get_charmap())


def named(band: Band) -> str:
    """Return the result of a band and of what it is: "air_to_wire, run full"."""
    target = band.output.target
    return label(
        f"{target.label or target.name}{', ' * bool(band.output.where)}{band.output.where}"
    )


# -- text -----------------------------------------------------------------------------------------


def across(figure: Figure, text: str, size: float, weight: str = "normal") -> float:
    """Return how many pixels wide a line of text is."""
    probe = Text(0, 0, text, fontsize=size, fontweight=weight, parse_math=False, figure=figure)
    return float(probe.get_window_extent().width)


def cut(figure: Figure, text: str, size: float, pixels: float, weight: str = "normal") -> str:
    """Return the text, cut until it takes no more pixels than there are."""
    if across(figure, text, size, weight) <= pixels:
        return text
    least, most = 0, len(text)  # letters that fit, and that do not
    while most - least > 1:
        middle = (least + most) // 2
        fits = across(figure, text[:middle] + "...", size, weight) <= pixels
        least, most = (middle, most) if fits else (least, middle)
    return text[:least].rstrip() + "..."


def broken(figure: Figure, text: str, size: float, pixels: float, lines: int) -> list[str]:
    """Return the text in no more than so many lines, the last one cut."""
    found: list[str] = []
    rest = text.split()
    while rest and len(found) < lines - 1:
        taken = 1
        while taken < len(rest) and (across(figure, " ".join(rest[: taken + 1]), size) <= pixels):
            taken += 1
        found.append(cut(figure, " ".join(rest[:taken]), size, pixels))
        rest = rest[taken:]
    return [*found, cut(figure, " ".join(rest), size, pixels)] if rest else found


def put(figure: Figure, x: float, y: float, text: str, size: float, **how: Any) -> Text:
    """Write a line that is no label yet, x pixels from the left and y from the top."""
    wide, high = figure.bbox.width, figure.bbox.height
    how = {"color": INK, "va": "top", **how}
    return figure.text(x / wide, 1 - y / high, text, fontsize=size, parse_math=False, **how)


def head(figure: Figure, title: Sequence[str], under: str, lines: int = 2) -> float:
    """Write title and what stands under it, and return how far down they reach, pixels.

    Each line of the title is cut; what stands under it takes as many lines as it may.
    """
    y = 0.6 * MARGIN
    room = figure.bbox.width - 2 * MARGIN
    bold = [(TITLE, "bold", cut(figure, label(t), TITLE, room, "bold")) for t in title]
    plain = [
        (PLAIN, "normal", t) for t in broken(figure, label(under, LONGEST_TEXT), PLAIN, room, lines)
    ]
    for size, weight, text in (*bold, *plain):
        put(figure, MARGIN, y, text, size, fontweight=weight)
        y += 1.35 * size * DPI / 72
    return y + 2


def stamped(figure: Figure, stamp: str) -> None:
    """Write the stamp small into the lower right corner."""
    text = label(stamp)[:STAMP]
    if text:
        where = (figure.bbox.width - 6, figure.bbox.height - 6)
        put(figure, *where, text, 7, color=QUIET, ha="right", va="bottom")


def foot(figure: Figure, stamp: str, *titles: str) -> None:
    """Write titles of cases into the lower left corner, and the stamp into the other."""
    y = figure.bbox.height - 6
    for title in reversed(titles):
        text = cut(figure, label(title), LEAST, figure.bbox.width - 2 * MARGIN - 100)
        put(figure, MARGIN, y, text, LEAST, color=QUIET, va="bottom")
        y -= 1.3 * LEAST * DPI / 72
    stamped(figure, stamp)


# -- axes -----------------------------------------------------------------------------------------


def axes_at(figure: Figure, left: float, top: float, right: float, bottom: float) -> Axes:
    """Return axes without a frame, whose sides lie so many pixels inside those of the figure."""
    wide, high = figure.bbox.width, figure.bbox.height
    axes = figure.add_axes(
        (left / wide, bottom / high, 1 - (left + right) / wide, 1 - (top + bottom) / high)
    )
    for side in ("top", "right", "left"):
        axes.spines[side].set_visible(False)
    axes.tick_params(labelsize=PLAIN, color=INK, labelcolor=INK)
    axes.set_yticks([])
    return axes


def ticks(axes: Axes, upright: bool = False) -> None:
    """Put ticks with plain numbers on an axis, as many as have room; its limits are set."""
    axis = axes.yaxis if upright else axes.xaxis
    formatter = ScalarFormatter(useOffset=False)
    formatter.set_powerlimits((-5, 10))
    axis.set_major_formatter(formatter)
    figure = figure_of(axes)
    room = axes.bbox.height if upright else axes.bbox.width
    for most in (6, 5, 4, 3, 2, 1):
        axis.set_major_locator(MaxNLocator(nbins=most))
        low, high = sorted(axis.get_view_interval())
        places = [place for place in axis.get_majorticklocs() if low <= place <= high]
        texts = formatter.format_ticks(places)
        size = max((across(figure, text, PLAIN) for text in texts), default=0.0)
        if upright or (len(texts) + 0.5) * size < 0.85 * room:
            return


def name_axis(axes: Axes, text: str, unit: Unit) -> None:
    """Write below the axis what it shows, and its unit."""
    shown = cut(figure_of(axes), label(text), PLAIN, 0.7 * axes.bbox.width)
    shown += f" in {unit.symbol}" if unit.symbol else ""
    axes.set_xlabel(shown, fontsize=PLAIN, color=INK, labelpad=2, parse_math=False)


def figure_of(axes: Axes) -> Figure:
    """Return the figure that axes stand in."""
    figure = axes.get_figure(root=True)
    assert figure is not None
    return figure


def text_at(axes: Axes, x: float, up: float, text: str, clear_of: tuple[float, ...] = ()) -> None:
    """Write a line about a place, so many pixels above the axis, moved to stay inside.

    Upright lines at `clear_of` are not crossed: it stands between them where it has room, else
    beside them, on the side with more.
    """
    low, high = axes.get_xlim()
    room = float(axes.bbox.width)
    text = cut(figure_of(axes), label(text), PLAIN, room)
    half = across(figure_of(axes), text, PLAIN) / 2
    place, *lines = ((at - low) / (high - low) * room for at in (x, *clear_of))
    if any(abs(place - line) < half + GAP for line in lines):
        first, last = min(lines), max(lines)
        place = last + half + GAP if room - last > first else first - half - GAP
    place = min(max(place, half), room - half)
    axes.text(
        place / room,
        up / float(axes.bbox.height),
        text,
        transform=axes.transAxes,
        fontsize=PLAIN,
        parse_math=False,
        ha="center",
        va="center",
        color=INK,
        zorder=4,
    )


@contextmanager
def limits_kept(axes: Axes) -> Iterator[None]:
    """Put the limits of both axes back after something was drawn."""
    both = {"xlim": axes.get_xlim(), "ylim": axes.get_ylim()}
    yield
    axes.set(**both)


def strip(axes: Axes, summary: Summary, unit: Unit, at: float, deep: float, upright: bool) -> None:
    """Draw a strip as dense as the trials are, `deep` to both sides of a place together.

    Limits of the axes are left to the caller.
    """
    edges, density = _density(summary)
    if len(density) == 0:
        return
    padded = np.concatenate([density[:1], density, density[-1:]])
    smooth = (padded[:-2] + 2 * padded[1:-1] + padded[2:]) / 4
    picture = np.empty((1, len(smooth), 4))
    picture[..., :3] = to_rgb(BLUE)
    picture[..., 3] = DENSEST * smooth / max(float(smooth.max()), 1e-300)
    low, high = unit.from_si(float(edges[0])), unit.from_si(float(edges[-1]))
    near, far = at - deep / 2, at + deep / 2
    if upright:
        picture = picture.transpose(1, 0, 2)
    extent = (near, far, low, high) if upright else (low, high, near, far)
    axes.imshow(picture, extent=extent, origin="lower", aspect="auto", interpolation="bilinear")


def _density(summary: Summary) -> tuple[FloatArray, FloatArray]:
    """Return edges and density; of long tails, whose slices are too coarse, from the dots."""
    edges, density = summary.density
    dots = np.array(summary.dots)
    if len(density) == 0 or len(dots) < 2:
        return edges, density
    span = float(dots[-1] - dots[0])
    if not 0.0 < span < LONG_TAILED * float(edges[-1] - edges[0]):
        return edges, density
    edges = np.linspace(dots[0], dots[-1], len(edges))
    return edges, np.diff(np.interp(edges, dots, np.arange(len(dots)) / len(dots)))


def interval(axes: Axes, mark: Mark, unit: Unit, at: float, upright: bool) -> None:
    """Draw an interval as a line, and the value as a dot upon it."""
    ends = mark.summary.interval
    along = [unit.from_si(ends.low), unit.from_si(ends.high)]
    line, dot = (along, [at, at]), ([unit.from_si(mark.middle)], [at])
    if upright:
        line, dot = line[::-1], dot[::-1]
    axes.plot(*line, color=INK, lw=2, solid_capstyle="butt")
    axes.plot(*dot, color=INK, marker="o", ms=6)


def rows(
    figure: Figure, marks: Sequence[Mark], unit: Unit, y: float, bottom: float, span: Span
) -> Axes:
    """Draw a row for each mark from y pixels down: its name, its strip, its number."""
    names = [cut(figure, label(mark.name), PLAIN, 200) for mark in marks]
    numbers = [cut(figure, mark.number, PLAIN, 200) for mark in marks]
    left, right = (
        MARGIN + 12 + max(across(figure, text, PLAIN) for text in texts)
        for texts in (names, numbers)
    )
    axes = axes_at(figure, left, y, right, bottom)
    axes.set_xlim(*span)
    axes.set_ylim(len(marks) - 0.4, -0.6)
    ticks(axes)
    gap = 10 / float(axes.bbox.width)
    for at, mark in enumerate(marks):
        with limits_kept(axes):
            strip(axes, mark.summary, unit, at, 0.6, upright=False)
            interval(axes, mark, unit, at, upright=False)
        for x, text, side in ((-gap, names[at], "right"), (1 + gap, numbers[at], "left")):
            axes.text(
                x,
                at,
                text,
                transform=axes.get_yaxis_transform(),
                ha=side,
                va="center",
                fontsize=PLAIN,
                color=INK,
                parse_math=False,
            )
    return axes


def reach(
    summaries: Sequence[Summary],
    unit: Unit,
    more: Sequence[float] = (),
    margin: float = 0.06,
    always: bool = False,
) -> Span:
    """Return the limits of an axis that shows intervals and dots, in a unit.

    Of `more`, values in that unit, those are taken in that lie no further off than half the
    length, or `always` all. Tails are shown to the outermost dots.
    """
    values = [
        unit.from_si(x)
        for summary in summaries
        for x in (summary.interval.low, summary.interval.high, *summary.dots)
    ]
    low, high = min(values), max(values)
    span = high - low or abs(high) / 10 or 1.0
    near = [x for x in more if always or low - span / 2 <= x <= high + span / 2]
    low, high = min([low, *near]), max([high, *near])
    span = high - low or span
    return low - margin * span, high + margin * span
