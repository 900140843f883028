"""A claim as outcomes that can be counted: 50 dots, each as likely as any other.

Lay readers judge a probability from such dots better than from bands or curves (Kay and others,
CHI 2016; Fernandes and others, CHI 2018, from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Ellipse

from effband.decide.claims import Verdict
from effband.report import words
from effband.report.figures import page
from effband.report.figures.dots import ABOVE, BELOW, INSIDE, Limits, stacked
from effband.report.judgements import claim as claim_in_words
from effband.report.judgements import disputes
from effband.study import Band, Study

MEETS, FAILS = page.BLUE, page.VERMILION
STRIP_AT, STRIP_DEEP = 38.0, 26.0  # pixels above the axis
FLOOR, CEILING = 58.0, 24.0  # pixels below and above the dots


@dataclass(frozen=True)
class Outcomes:
    """Equally likely outcomes of one band, and of each whether it meets the claim.

    `sides` tells of every outcome, in rising order, on which side of the limits it lies.
    `limits` are in the unit of the band.
    """

    band: Band
    verdict: Verdict | None
    values: tuple[float, ...]
    sides: tuple[int, ...]
    limits: Limits

    @property
    def meeting(self) -> int:
        """How many meet the claim."""
        return self.sides.count(INSIDE)


def outcomes(study: Study) -> Outcomes | None:
    """Return the outcomes of the headline, and the claim on it; None where nothing varies.

    Of several claims the first on the headline's run or group alone is taken, else the first on
    it and others, else the first on the same result. Where it is about several, the outcomes
    are those of the one that comes off worst. A claim without a verdict is left out: the numbers
    are no good.
    """
    headline = study.case.headline_output
    band = study.bands[headline]
    about = [v for v in study.claims if v.claim.result == band.output.target.name]
    alone = [v for v in about if v.claim.outputs == (headline,)]
    among = [v for v in about if headline in v.claim.outputs]
    verdict = next(iter((*alone, *among, *about)), None)
    if verdict is not None:
        own = [study.bands[at] for at in verdict.claim.outputs]
        band = next(b for b in own if b.output.step == verdict.worst.step)
    if not band.summary.varies or not band.summary.dots:
        return None
    unit = band.output.target.unit
    values = tuple(unit.from_si(x) for x in band.summary.dots)
    if verdict is None or verdict.verdict is None:
        return Outcomes(band, None, values, (INSIDE,) * len(values), (None, None))
    claim = verdict.claim
    low, high = (None if x is None else unit.from_si(x) for x in (claim.low, claim.high))
    return Outcomes(band, verdict, values, _sides(verdict, band.summary.dots), (low, high))


def _sides(verdict: Verdict, dots: Sequence[float]) -> tuple[int, ...]:
    """Return on which side of the limits each outcome lies.

    As many lie outside as the share counted in the trials says, which also holds where many
    trials lie on the limit itself; a claim on several values at once is counted dot by dot.
    """
    claim, count = verdict.claim, len(dots)
    if len(claim.outputs) > 1:
        below = sum(claim.low is not None and x < claim.low for x in dots)
        above = sum(claim.high is not None and x > claim.high for x in dots)
    else:
        fails = 1 - verdict.holds.value
        if verdict.outside:
            shares = tuple(outside.value for outside in verdict.outside)
        else:
            shares = (fails, 0.0) if claim.low is not None else (0.0, fails)
        below, above = (sum((i + 0.5) / count < part for i in range(count)) for part in shares)
    return (BELOW,) * below + (INSIDE,) * (count - below - above) + (ABOVE,) * above


# -- in words -------------------------------------------------------------------------------------


def claim_alt(study: Study) -> str | None:
    """Return what the figure shows as sentences; None where there is no figure."""
    found = outcomes(study)
    if found is None:
        return None
    text = f"{found.band.output.title} as {len(found.sides)} dots, each as likely as any other."
    if words.is_impossible(found.band):
        text = f"IMPOSSIBLE: {text}"
    if found.verdict is None:
        return text
    return f"{text} {_counted(found)} it {_claimed(found.verdict)}. {_judged(found.verdict)}."


def _counted(found: Outcomes) -> str:
    return f"In {found.meeting} of {len(found.sides)} equally likely outcomes"


def _claimed(verdict: Verdict) -> str:
    says = verdict.claim.says
    return says if says.startswith("is ") else f"is {says}"


def _judged(verdict: Verdict) -> str:
    """Return the verdict, and the share of the trials that it comes from."""
    judged = claim_in_words(verdict)
    text = f"It {judged.lines[0]}: {judged.verdict}"
    text += f" ({verdict.reason})" if verdict.reason else ""
    return f"{text}; the worst is {verdict.worst.where}" if len(verdict.claim.outputs) > 1 else text


def _in_short(found: Outcomes, study: Study) -> str:
    numbers = words.rounded(found.band)
    chance = words.probability(study.settings.probability)
    ends = f"{numbers.low} and {numbers.high} {numbers.unit}".rstrip()
    return f"{numbers.with_unit}, between {ends} ({chance} band)"


# -- drawn ----------------------------------------------------------------------------------------


def claim_figure(study: Study, stamp: str = "") -> Figure | None:
    """Return dots and strip of the headline on one axis, with the claim's limits through both.

    None where it does not vary. `stamp` is written small into a corner.
    """
    found = outcomes(study)
    if found is None:
        return None
    figure, name = page.page(), page.named(found.band)
    target, where = found.band.output.target, found.band.output.where
    unit = target.unit
    if found.verdict is None:
        title = [name, _in_short(found, study)]
        under = f"Each dot is one of {len(found.sides)} equally likely outcomes."
    else:
        of = f"{target.label or target.name}{' in ' * bool(where)}{where}"
        title = [_counted(found), f"{of} {_claimed(found.verdict)}"]
        under = f"{_judged(found.verdict)}."
    if words.is_impossible(found.band):
        title[0] = f"IMPOSSIBLE: {title[0]}"
        under = f"Its ceiling is {target.ceiling}: look for an error before anything else. {under}"
    elif disputes(found.band, study):
        title[0] = f"DISPUTED: {title[0]}"
    y = page.head(figure, title, under)
    if found.verdict is not None:
        y = _key(figure, found, y)
    page.foot(figure, stamp, study.case.title)
    axes = page.axes_at(figure, page.SIDE, y, page.SIDE, 74)
    axes.set_xlim(
        *page.reach([found.band.summary], unit, [x for x in found.limits if x is not None])
    )
    axes.set_ylim(0.0, float(axes.bbox.height))  # pixels
    page.ticks(axes)
    page.name_axis(axes, name, unit)
    _dots(axes, found)
    _strip(axes, found, study)
    _limits(axes, found)
    return figure


def _key(figure: Figure, found: Outcomes, y: float) -> float:
    """Write what the two kinds of dots mean, and return where it ends."""
    meeting, count = found.meeting, len(found.sides)
    parts = [(f"{meeting} meet the claim", MEETS, MEETS)] * (meeting > 0)
    parts += [(f"{count - meeting} do not", FAILS, "white")] * (meeting < count)
    x, wide, high = float(page.MARGIN), figure.bbox.width, figure.bbox.height
    for text, edge, face in parts:
        dot = Line2D([(x + 7) / wide], [1 - (y + 10) / high], marker="o", ms=9, mew=2, color=edge)
        dot.set_markerfacecolor(face)
        figure.add_artist(dot)
        page.put(figure, x + 20, y + 10, text, page.PLAIN, va="center_baseline", color=edge)
        x += 50 + page.across(figure, text, page.PLAIN)
    return y + 22


def _dots(axes: Axes, found: Outcomes) -> None:
    low, high = axes.get_xlim()
    scale = float(axes.bbox.width) / (high - low)
    unit = found.band.output.target.unit
    wide, places = stacked(
        found.values,
        found.sides,
        found.limits,
        unit.from_si(found.band.summary.median),
        scale,
        float(axes.bbox.height) - FLOOR - CEILING,
    )
    pixels = wide * scale
    edge = min(2.5, 0.1 * pixels)  # half of its line would reach beyond a dot
    inner = 1 - edge / pixels
    for (x, row), side in zip(places, found.sides, strict=True):
        dot = Ellipse((x, FLOOR + (row + 0.5) * pixels), inner * wide, inner * pixels)
        dot.set_linewidth(edge * 72 / page.DPI)
        dot.set_edgecolor(MEETS if side == INSIDE else FAILS)
        dot.set_facecolor(MEETS if side == INSIDE else "white")
        axes.add_patch(dot)


def _strip(axes: Axes, found: Outcomes, study: Study) -> None:
    """Draw strip and interval, and write its numbers under it."""
    band, unit = found.band, found.band.output.target.unit
    with page.limits_kept(axes):
        page.strip(axes, band.summary, unit, STRIP_AT, STRIP_DEEP, upright=False)
        page.interval(axes, page.mark_of(band), unit, STRIP_AT, upright=False)
    middle = unit.from_si(words.central(band))
    page.text_at(axes, middle, STRIP_AT - STRIP_DEEP / 2 - 12, _in_short(found, study))


def _limits(axes: Axes, found: Outcomes) -> None:
    """Draw the limits through dots and strip, and write what the claim says at their top."""
    low, high = axes.get_xlim()
    limits = [x for x in found.limits if x is not None]
    if not limits or found.verdict is None:
        return
    shown = [x for x in limits if low < x < high]
    for x in shown:
        axes.plot([x, x], [STRIP_AT - STRIP_DEEP / 2, axes.bbox.height], color=page.INK, lw=2)
    where = sum(limits) / len(limits)
    says = found.verdict.claim.says
    if not shown:
        says += " (lies to the left)" if where < low else " (lies to the right)"
    page.text_at(axes, where, axes.bbox.height - 10, says, tuple(shown))
