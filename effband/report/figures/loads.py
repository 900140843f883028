"""The headline at every load: a strip with its interval for each, against a reading or by name."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass
from itertools import pairwise

from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from effband.problems import Misread
from effband.report import words
from effband.report.figures import page
from effband.study import Band, Study
from effband.units import Unit, parse_quantity, parse_unit

# What sets a load, the surest first; a reading counts where it is the only one of its dimension.
# A torque cannot be told from an energy by its dimension.
SETS_A_LOAD = tuple(parse_unit(text).dimension for text in ("W", "A", "rpm", "N", "kg", "m^3/s"))
CLOSEST = 0.1  # of the axis, between two loads that can still be told apart
ROW, MOST_ROWS = 40, 32  # pixels; loads by name
WIDEST, LEFT = 36, 64  # pixels: of an upright strip; beside the axis
ROOM = 1.2  # length of an axis of readings, of the distance of the outermost
CLAIM, CEILING = "--", ":"  # styles of lines


@dataclass(frozen=True)
class Reading:
    """A reading that tells loads apart: its name, its unit, and a value for each load in it."""

    name: str
    unit: Unit
    values: tuple[float, ...]


def loads_of(study: Study) -> list[Band]:
    """Return the bands of the headline's result, one for each run or group."""
    name = words.headline_band(study).output.target.name
    return [
        band
        for band in words.shown(study.bands)
        if band.output.target.name == name and band.output.run is not None
    ]


def ordering(study: Study, bands: Sequence[Band]) -> Reading | None:
    """Return the reading that loads are naturally laid out by, or None."""
    readings: dict[str, dict[str, float]] = {}
    units: dict[str, Unit] = {}
    for leaf in study.case.leaves:
        if leaf.section == "readings" and leaf.run is not None:
            readings.setdefault(leaf.name, {})[leaf.run] = leaf.unit.from_si(leaf.value)
            units[leaf.name] = leaf.unit
    for dimension in SETS_A_LOAD:
        fitting = [name for name in readings if units[name].dimension == dimension]
        if len(fitting) != 1:
            continue
        (name,) = fitting
        values = [_mean(readings[name], band) for band in bands]
        known = [value for value in values if value is not None]
        if len(known) == len(values) and _apart(known):
            return Reading(name, units[name], tuple(known))
    return None


def _mean(reading: dict[str, float], band: Band) -> float | None:
    group = band.output.group
    runs = (str(band.output.run),) if group is None else group.members
    if any(run not in reading for run in runs):
        return None
    return sum(reading[run] for run in runs) / len(runs)


def _apart(values: Sequence[float]) -> bool:
    ordered = sorted(values)
    span = ordered[-1] - ordered[0]
    return span > 0 and all(b - a >= CLOSEST * span for a, b in pairwise(ordered))


# -- in words -------------------------------------------------------------------------------------


def loads_alt(study: Study) -> str | None:
    """Return what the figure shows as sentences; None where there is no figure."""
    bands = loads_of(study)
    if len(bands) < 2:
        return None
    chance = words.probability(study.settings.probability)
    target = bands[0].output.target
    each = "; ".join(f"{band.output.where} {_numbers(band)}" for band in bands)
    return f"{target.label or target.name} at {len(bands)} loads ({chance} bands): {each}."


def _numbers(band: Band) -> str:
    numbers = words.rounded(band)
    return f"{numbers.with_unit}, between {numbers.low} and {numbers.high}"


# -- drawn ----------------------------------------------------------------------------------------


def loads_figure(study: Study, stamp: str = "") -> Figure | None:
    """Return the headline at its loads, or None with fewer than two.

    `stamp` is written small into a corner.
    """
    bands = loads_of(study)
    if len(bands) < 2:
        return None
    reading = ordering(study, bands)
    if reading is not None and not _has_room(bands, reading):
        reading = None
    shown = bands if reading is not None else bands[:MOST_ROWS]
    figure = page.page(high=page.HIGH if reading is not None else 168 + ROW * len(shown))
    target = bands[0].output.target
    unit = f" in {target.unit.symbol}" if target.unit.symbol else ""
    chance = words.probability(study.settings.probability)
    under = f"Line: the {chance} band. The strip is darkest where most of the trials lie."
    if len(shown) < len(bands):
        under += f" {len(bands) - len(shown)} more loads are in the report."
    title = f"{target.label or target.name} at {len(bands)} loads{unit}"
    y = page.head(figure, [title], under)
    limits = list(_limits(study, bands))
    values = page.reach(
        [band.summary for band in shown],
        target.unit,
        [x for _, _, both in limits for x in both],
        0.16 if reading else 0.06,
    )
    limits = [each for each in limits if any(_within(values, x) for x in each[2])]
    for style, text, _ in limits:
        _key(figure, y, style, text)
        y += 22
    page.foot(figure, stamp, study.case.title)
    if reading is not None:
        axes = page.axes_at(figure, LEFT, y + 6, page.MARGIN, 74)
        _by_reading(axes, shown, reading, values)
    else:
        axes = page.rows(figure, [page.mark_of(b) for b in shown], target.unit, y, 74, values)
        page.name_axis(axes, target.label or target.name, target.unit)
    draw = axes.axhline if reading is not None else axes.axvline
    for style, _, both in limits:
        for x in both:
            if _within(values, x):
                draw(x, color=page.VERMILION, lw=2, ls=style, zorder=1)
    return figure


def _has_room(bands: Sequence[Band], reading: Reading) -> bool:
    """Return whether the value of each load fits above it: a number is never cut."""
    figure = page.page()
    longest = max(page.across(figure, words.rounded(b).value, page.PLAIN) for b in bands)
    span = max(reading.values) - min(reading.values)
    least = min(b - a for a, b in pairwise(sorted(reading.values)))
    return longest + page.GAP <= least / (ROOM * span) * (page.WIDE - LEFT - page.MARGIN)


def _within(ends: tuple[float, float], x: float) -> bool:
    return ends[0] < x < ends[1]


def _limits(study: Study, bands: Sequence[Band]) -> Iterator[tuple[str, str, list[float]]]:
    """Yield the first claim on these loads, and the ceiling: line, words, values.

    A claim on all loads goes before one on some.
    """
    target = bands[0].output.target
    claims = [v.claim for v in study.claims if v.claim.result == target.name]
    claims.sort(key=lambda claim: claim.run is not None)
    for claim in claims[:1]:
        where = "every load" if claim.run is None else claim.run
        ends = [target.unit.from_si(x) for x in (claim.low, claim.high) if x is not None]
        yield CLAIM, f"claim: {where}, {claim.says}", ends
    if target.ceiling is not None:
        with suppress(Misread):  # a formula has another value at every load
            si = parse_quantity(target.ceiling).si
            yield CEILING, f"ceiling: {target.ceiling}", [target.unit.from_si(si)]


def _key(figure: Figure, y: float, style: str, text: str) -> None:
    """Write what a line across means."""
    wide, high = figure.bbox.width, figure.bbox.height
    ends = [page.MARGIN / wide, (page.MARGIN + 40) / wide]
    line = Line2D(ends, [1 - (y + 10) / high] * 2, color=page.VERMILION, lw=2, ls=style)
    figure.add_artist(line)
    text = page.cut(figure, page.label(text), page.PLAIN, wide - 3 * page.MARGIN - 48)
    page.put(figure, page.MARGIN + 48, y + 10, text, page.PLAIN, va="center_baseline")


def _by_reading(
    axes: Axes, bands: Sequence[Band], reading: Reading, values: tuple[float, float]
) -> None:
    """Draw upright strips, each at the load's reading, its value above and its name below."""
    low, high = min(reading.values), max(reading.values)
    span = high - low
    free = (ROOM - 1) / 2 * span
    axes.set_xlim(low - free, high + free)
    axes.set_ylim(*values)
    page.ticks(axes)
    page.ticks(axes, upright=True)
    page.name_axis(axes, reading.name, reading.unit)
    scale = float(axes.bbox.width) / (ROOM * span)
    least = min(b - a for a, b in pairwise(sorted(reading.values)))
    for band, at in zip(bands, reading.values, strict=True):
        with page.limits_kept(axes):
            deep = min(0.5 * least, WIDEST / scale)
            page.strip(axes, band.summary, band.output.target.unit, at, deep, upright=True)
            page.interval(axes, page.mark_of(band), band.output.target.unit, at, upright=True)
        room = min(least * scale, 2 * free * scale) - page.GAP
        name = page.cut(page.figure_of(axes), page.label(str(band.output.run)), page.PLAIN, room)
        bottom, top = _ends(band)
        _about(axes, at, top, words.rounded(band).value, 1)
        _about(axes, at, bottom, name, -1)


def _ends(band: Band) -> tuple[float, float]:
    """Return how far the interval and the dots of a band reach, whichever lie further out."""
    unit, ends, dots = band.output.target.unit, band.summary.interval, band.summary.dots
    return unit.from_si(min((ends.low, *dots))), unit.from_si(max((ends.high, *dots)))


def _about(axes: Axes, x: float, y: float, text: str, way: int) -> None:
    """Write a line over (`way` 1) or under (-1) a point, on white, so that no line strikes it."""
    axes.annotate(
        text,
        (x, y),
        xytext=(0, 6 * way),
        textcoords="offset points",
        ha="center",
        va="bottom" if way > 0 else "top",
        fontsize=page.PLAIN,
        color=page.INK,
        parse_math=False,
        bbox={"facecolor": "white", "edgecolor": "none", "pad": 1.0},
        zorder=4,
    )
