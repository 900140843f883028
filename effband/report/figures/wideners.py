"""What widens the headline: how much narrower its band would be without each thing."""

from __future__ import annotations

from matplotlib.figure import Figure
from matplotlib.patches import Rectangle

from effband.case.values import JUDGED
from effband.propagate.ranking import Line
from effband.report import words
from effband.report.figures import page
from effband.report.screen import telling_lines
from effband.study import Band, Study

ROW, BAR = 62, 22  # pixels
COMMON, FRESH, STATED, UNSPLIT = "common", "fresh", "stated", "unsplit"
KINDS = {  # colour, hatch, and what it is
    COMMON: (page.BLUE, "", "an instrument's error, the same in all its readings"),
    FRESH: (page.VERMILION, "//", "new at every reading: more readings help"),
    STATED: ("#7F7F7F", "..", "an input as stated"),
    UNSPLIT: ("#FFFFFF", "xx", "not told apart"),
}
_FRESH_PARTS = ("fresh", "scatter")


def _kind(part: str) -> str:
    if part == COMMON:
        return COMMON
    return FRESH if part in _FRESH_PARTS else STATED


def split(line: Line) -> dict[str, float]:
    """Return what part of a line's spread is of which kind; the parts add up to 1."""
    kinds = [_kind(part.name) for part in line.item.parts]
    if len(set(kinds)) == 1:
        return {kinds[0]: 1.0}
    found = dict.fromkeys(sorted(kinds), 0.0)
    for part in line.parts:
        found[_kind(part.name)] += max(part.first_order, 0.0)
    total = sum(found.values())
    if not total > 0.0:
        return {UNSPLIT: 1.0}
    return {kind: share / total for kind, share in found.items()}


# -- in words -------------------------------------------------------------------------------------


def wideners_alt(study: Study) -> str | None:
    """Return what the figure shows as sentences; None where there is no figure."""
    band = words.headline_band(study)
    if not band.ranking.lines:
        return None
    each = "; ".join(f"{line.item.name}{_told(band, line, s)}" for line, s in telling_lines(band))
    return f"What widens {band.output.title}, half-width {_half(band)}: {each}."


def _half(band: Band) -> str:
    unit = band.output.target.unit
    return f"{words.rounded(band).half_width} {unit.width_symbol}".rstrip()


def _told(band: Band, line: Line, saved: float) -> str:
    """Return the numbers of a line, and whether it rests on judgement."""
    unit, full = band.output.target.unit, band.summary.interval.half_width
    decimals = words.decimals_to_tell_apart(full / unit.factor)
    saves = words.fixed(saved * full / unit.factor, decimals)
    leaves = words.fixed(line.half_width_without / unit.factor, decimals)
    text = f" saves {f'{saves} {unit.width_symbol}'.rstrip()}, leaves {leaves}"
    guessed = [kind for kind in JUDGED if any(part.evidence == kind for part in line.item.parts)]
    return f"{text} ({' and '.join(f'a {kind}' for kind in guessed)})" if guessed else text


# -- drawn ----------------------------------------------------------------------------------------


def wideners_figure(study: Study, stamp: str = "") -> Figure | None:
    """Return bars of what each thing would save of the headline's half-width.

    None where the headline does not vary. `stamp` is written small into a corner.
    """
    band = words.headline_band(study)
    if not band.ranking.lines:
        return None
    lines = telling_lines(band)
    rest = len(band.ranking.lines) - len(lines)
    kinds = [kind for kind in KINDS if any(split(line).get(kind, 0.0) > 0 for line, _ in lines)]
    figure = page.page(high=96 + ROW * len(lines) + 24 * (len(kinds) + (rest > 0)))
    under = f"Each bar: what is saved of the half-width, {_half(band)}, if that were known exactly."
    y = page.head(figure, [f"What widens {page.named(band)}"], under, lines=1) + 6
    page.foot(figure, stamp, study.case.title)
    room = figure.bbox.width - 2 * page.MARGIN
    for line, saved in lines:
        numbers = _told(band, line, saved)
        left = room - page.across(figure, numbers, page.PLAIN) - 6
        name = page.cut(figure, page.label(line.item.name), page.PLAIN, left, "bold")
        page.put(figure, page.MARGIN, y, name, page.PLAIN, fontweight="bold")
        x = page.MARGIN + page.across(figure, name, page.PLAIN, "bold") + 4
        page.put(figure, x, y, numbers, page.PLAIN)
        _bar(figure, y + 24, room, saved, split(line))
        y += ROW
    if rest:
        page.put(figure, page.MARGIN, y - 2, f"and {rest} that matter less", page.PLAIN)
        y += 24
    for kind in kinds:
        _box(figure, page.MARGIN, y + 2, 28, 16, kind)
        page.put(figure, page.MARGIN + 38, y + 10, KINDS[kind][2], page.PLAIN, va="center")
        y += 24
    return figure


def _bar(figure: Figure, y: float, room: float, saved: float, parts: dict[str, float]) -> None:
    """Draw the whole half-width as a frame, and in it what is saved, by kind."""
    x = float(page.MARGIN)
    for kind, share in parts.items():
        _box(figure, x, y, saved * share * room, BAR, kind)
        x += saved * share * room
    frame = _rectangle(figure, page.MARGIN, y, room, BAR)
    frame.set(facecolor="none", edgecolor=page.QUIET, linewidth=1)
    figure.add_artist(frame)


def _box(figure: Figure, x: float, y: float, wide: float, high: float, kind: str) -> None:
    colour, hatch, _ = KINDS[kind]
    box = _rectangle(figure, x, y, wide, high)
    box.set(facecolor=colour, edgecolor="white" if kind != UNSPLIT else page.INK, linewidth=0)
    box.set_hatch(hatch)
    figure.add_artist(box)


def _rectangle(figure: Figure, x: float, y: float, wide: float, high: float) -> Rectangle:
    """Return a rectangle by pixels from the left and from the top of the figure."""
    across, down = figure.bbox.width, figure.bbox.height
    corner = (x / across, 1 - (y + high) / down)
    return Rectangle(corner, wide / across, high / down, transform=figure.transFigure)
