"""The picture: what is drawn is what is written, and nothing covers anything else."""

from __future__ import annotations

import itertools
import math
import re
import struct
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.image import AxesImage
from matplotlib.lines import Line2D
from matplotlib.patches import Ellipse, Rectangle
from matplotlib.text import Text
from matplotlib.transforms import Bbox
from scipy import stats

from effband import study as studies
from effband.decide.claims import CONTRADICTED, SUPPORTED
from effband.decide.compare import Compared, compare
from effband.decide.pairs import pairs_of
from effband.report import words
from effband.report.comparison import verdict
from effband.report.figures import (
    bands_figure,
    change_alt,
    change_figure,
    claim_alt,
    claim_figure,
    loads_alt,
    loads_figure,
    png,
    wideners_alt,
    wideners_figure,
)
from effband.report.figures.dots import stacked
from effband.report.screen import telling_lines
from effband.study import Band, Study

TOUCHING = 0.5  # pixels

StudyOf = Callable[..., Study]


def many_runs(count: int, name: str = "run_{}", title: str = "many runs") -> str:
    rows = "".join(f"    {name.format(k)}: {{p: {100 + 7 * k}}}\n" for k in range(count))
    return (
        f"effband: 1\ntitle: {title}\ninputs:\n"
        "  taken: {value: 1000 W, plus_minus: 50 W}\n"
        "runs:\n  readings:\n    p: {unit: W, plus_minus: 5 W}\n"
        f"  rows:\n{rows}"
        "results:\n  share:\n    formula: p / taken\n    unit: '%'\n"
        "    boundary: {in: a, out: b}\n"
    )


def titled(study: Study, title: str, label: str | None = None) -> Study:
    bands = tuple(
        replace(b, output=replace(b.output, target=replace(b.output.target, label=label)))
        for b in study.bands
    )
    return replace(study, case=replace(study.case, title=title), bands=bands)


def texts_of(figure: Figure) -> list[Text]:
    """Draw the figure and return every text that is drawn."""
    figure.draw(FigureCanvasAgg(figure).get_renderer())
    found = list(figure.findobj(Text))
    beyond = set()
    for axes in figure.axes:
        for axis in (axes.xaxis, axes.yaxis):
            low, high = sorted(axis.get_view_interval())
            for tick in axis.get_major_ticks():
                if not low <= tick.get_loc() <= high:
                    beyond |= {tick.label1, tick.label2}
    return [t for t in found if t.get_visible() and t.get_text().strip() and t not in beyond]


def boxes(figure: Figure) -> list[tuple[str, Bbox]]:
    return [(text.get_text(), text.get_window_extent()) for text in texts_of(figure)]


def by_row(figure: Figure, study: Study) -> list[tuple[Axes, int, Band]]:
    """Return for each band its axes and the height it is drawn at."""
    names = list(dict.fromkeys(b.output.target.name for b in study.bands))
    assert len(figure.axes) == len(names)
    found = []
    for axes, name in zip(figure.axes, names, strict=True):
        group = [band for band in study.bands if band.output.target.name == name]
        found += [(axes, len(group) - 1 - k, band) for k, band in enumerate(group)]
    return found


def test_title_and_labels(wren: Study) -> None:
    figure = bands_figure(wren)
    shown = [text.get_text() for text in texts_of(figure)]
    top = next(text for text in shown if wren.case.title in text)
    assert "95 %" in top
    for axes, name in zip(figure.axes, ("air_to_wire", "air_to_shaft"), strict=True):
        title = axes.get_title(loc="left")
        assert title.startswith(name)
        assert title.endswith("in %")


def test_every_band_has_the_name_of_its_run_beside_it(wren: Study) -> None:
    for axes, at, band in by_row(bands_figure(wren), wren):
        labels = dict(
            zip(axes.get_yticks(), (x.get_text() for x in axes.get_yticklabels()), strict=True)
        )
        assert labels[at] == band.output.run


def _interval_line(axes: Axes, at: int) -> Line2D:
    lines = [
        line
        for line in axes.get_lines()
        if len(line.get_xdata()) == 2 and set(line.get_ydata()) == {at}
    ]
    assert len(lines) == 1
    return lines[0]


def test_the_ends_drawn_are_the_ends_written(wren: Study) -> None:
    for axes, at, band in by_row(bands_figure(wren), wren):
        low, high = (float(x) for x in _interval_line(axes, at).get_xdata())
        numbers = words.rounded(band)
        places = len(numbers.low.partition(".")[2])
        assert (f"{low:.{places}f}", f"{high:.{places}f}") == (numbers.low, numbers.high)
        texts = [text.get_text() for text in axes.texts if round(text.xy[1]) == at]
        assert len(texts) == 1
        found = re.findall(r"-?[0-9.]*[0-9]", texts[0])
        assert found == [numbers.value, numbers.low, numbers.high]
        assert numbers.with_unit in texts[0]


def test_one_strip_for_each_band_over_its_own_values(wren: Study) -> None:
    rows = by_row(bands_figure(wren), wren)
    for axes in {axes for axes, _, _ in rows}:
        assert len(axes.containers) > 0
    for axes, at, _ in rows:
        slices = [bar for bar in axes.patches if bar.get_y() < at < bar.get_y() + bar.get_height()]
        left = min(bar.get_x() for bar in slices)
        right = max(bar.get_x() + bar.get_width() for bar in slices)
        low, high = (float(x) for x in _interval_line(axes, at).get_xdata())
        assert left < low < high < right
        assert right - left < 4 * (high - low)
        width = sum(bar.get_width() for bar in slices)
        assert width == pytest.approx(right - left), "slices must neither overlap nor leave gaps"
        darkest = max(slices, key=lambda bar: bar.get_alpha() or 0.0)
        assert low < darkest.get_x() < high
    drawn = sum(len(axes.patches) for axes in {axes for axes, _, _ in rows})
    assert drawn == sum(len(band.summary.density[1]) for band in wren.bands)


@pytest.mark.parametrize(
    "hostile",
    ["$\\frac{1}{$", "$\\undefined$", "cost $5 and $6", "$$$$", "$x^2$", "{\\bf x}", "_hidden"],
)
def test_text_of_the_user_is_never_parsed_as_mathematics(wren: Study, hostile: str) -> None:
    figure = bands_figure(titled(wren, hostile, hostile))
    assert png(figure)
    holding = [text for text in texts_of(figure) if hostile in text.get_text()]
    assert len(holding) == 3
    assert not any(text.get_parse_math() for text in holding)


@pytest.mark.parametrize(
    "hostile", ["a\nb\nc", "\x1b[31mred", "\u202eflipped", "\x00", "\ud800", "\t"]
)
def test_text_that_moves_things_is_spelled_out(wren: Study, hostile: str) -> None:
    figure = bands_figure(titled(wren, hostile, hostile))
    assert png(figure)
    for text in texts_of(figure):
        assert all(c.isprintable() or c == "\n" for c in text.get_text())
        assert text.get_text().count("\n") <= 1


@pytest.mark.parametrize("foreign", ["水車の効率", "\U0001f4a5 motor", "محرك"])
def test_letters_that_the_font_lacks_make_no_noise(wren: Study, foreign: str) -> None:
    # a warning of the drawing library would reach the user's stderr; here it is an error
    assert png(bands_figure(titled(wren, foreign, foreign))).endswith(b"IEND\xaeB`\x82")


def test_the_bytes_are_a_picture(wren: Study) -> None:
    data = png(bands_figure(wren))
    assert data.startswith(b"\x89PNG\r\n\x1a\n")
    assert data.endswith(b"\x00\x00\x00\x00IEND\xaeB`\x82")
    width, height = struct.unpack(">II", data[16:24])
    assert 600 <= width <= 1600
    assert 300 <= height <= 2000
    assert 10_000 < len(data) < 500_000
    assert data == png(bands_figure(wren)), "the same study makes the same bytes"


def _nothing_overlaps(figure: Figure) -> None:
    found = boxes(figure)
    assert len(found) > 5
    for (one, box), (other, second) in itertools.combinations(found, 2):
        apart = (
            box.x1 <= second.x0 + TOUCHING
            or second.x1 <= box.x0 + TOUCHING
            or box.y1 <= second.y0 + TOUCHING
            or second.y1 <= box.y0 + TOUCHING
        )
        assert apart, f"{one!r} covers {other!r}"


def _all_is_inside(figure: Figure) -> None:
    whole = figure.bbox
    for text, box in boxes(figure):
        assert box.x0 >= -TOUCHING, f"{text!r} is cut off on the left"
        assert box.x1 <= whole.x1 + TOUCHING, f"{text!r} is cut off on the right"
        assert box.y0 >= -TOUCHING, f"{text!r} is cut off below"
        assert box.y1 <= whole.y1 + TOUCHING, f"{text!r} is cut off above"


def test_no_text_overlaps_in_the_demo(wren: Study) -> None:
    figure = bands_figure(wren)
    _nothing_overlaps(figure)
    _all_is_inside(figure)


@pytest.mark.parametrize("count", [1, 12])
def test_no_text_overlaps_whatever_the_number_of_runs(study_of: StudyOf, count: int) -> None:
    study = study_of(many_runs(count))
    assert len(study.bands) == count
    figure = bands_figure(study)
    _nothing_overlaps(figure)
    _all_is_inside(figure)


def test_many_results_of_one_value_do_not_overlap(study_of: StudyOf) -> None:
    results = "".join(f"  part_{k}: {{formula: taken * {k + 1}, unit: W}}\n" for k in range(6))
    study = study_of(
        "effband: 1\ntitle: six\ninputs:\n  taken: {value: 1000 W, plus_minus: 50 W}\n"
        f"results:\n{results}"
    )
    figure = bands_figure(study)
    _nothing_overlaps(figure)
    _all_is_inside(figure)


def test_long_names_of_runs_stay_inside(study_of: StudyOf) -> None:
    study = study_of(many_runs(2, name="warm_air_after_long_settling_overnight_{}"))
    figure = bands_figure(study)
    _all_is_inside(figure)
    _nothing_overlaps(figure)


@pytest.mark.parametrize("text", ["An air motor and its alternator " * 8, "W" * 300])
def test_long_text_stays_inside(wren: Study, text: str) -> None:
    figure = bands_figure(titled(wren, text, text))
    _all_is_inside(figure)
    _nothing_overlaps(figure)


def test_skewed_bands_stay_inside(study_of: StudyOf) -> None:
    study = study_of(
        "effband: 1\ntitle: skewed\ninputs:\n  leak: {value: 1 W, within_factor: 6}\n"
        "results:\n  lost: {formula: leak, unit: W}\n"
    )
    figure = bands_figure(study)
    _all_is_inside(figure)
    _nothing_overlaps(figure)


def test_a_band_without_width_can_be_drawn(study_of: StudyOf) -> None:
    study = study_of(
        "effband: 1\ntitle: exact\ninputs:\n  m: {constant: 5 kg}\n"
        "results:\n  mass: {formula: m, unit: kg}\n"
    )
    assert png(bands_figure(study)).startswith(b"\x89PNG")


# -- figures that stand by themselves --------------------------------------------------------------

BENCHES = ("beckside", "dray_belt", "dray_gear", "ember", "larder", "wren_bench")
OF_A_STUDY = {
    "bands": bands_figure,
    "claim": claim_figure,
    "loads": loads_figure,
    "wideners": wideners_figure,
}
DIGITS = 1e-3  # pixels, of a touch: 1e6 W to 1e-9 W leaves no more digits
BLUE, VERMILION = "#0072B2", "#D55E00"


@pytest.fixture(scope="module")
def bench(root: Path) -> Callable[[str], Study]:
    """Return a function from the name of a bench to its study, with few trials."""
    found: dict[str, Study] = {}

    def work(name: str) -> Study:
        if name not in found:
            case = studies.load(str(root / "cases" / f"{name}.yaml"))
            found[name] = studies.run(case, replace(case.settings, trials=50_000))
        return found[name]

    return work


@pytest.fixture(scope="module")
def changed(root: Path) -> Compared:
    was, now = (studies.load(str(root / "cases" / f"dray_{x}.yaml")) for x in ("belt", "gear"))
    settings = replace(was.settings, trials=50_000)
    return compare(was, now, pairs_of(was, now, None, None, None), settings)


THREE_LOADS = """effband: 1
title: three loads
inputs:
  taken: {value: 1000 W, plus_minus: 50 W}
runs:
  readings:
    volts: {unit: V, plus_minus: 0.1 V}
    amps: {unit: A, plus_minus: 0.05 A}
  rows:
    most: {volts: 12, amps: 9.0}
    low_1: {volts: 12, amps: 3.0}
    low_2: {volts: 12, amps: 3.2}
    low_3: {volts: 12, amps: 3.1}
    half_1: {volts: 12, amps: 5.0}
    half_2: {volts: 12, amps: 5.1}
    half_3: {volts: 12, amps: 5.5}
  groups: {low: [low_1, low_2, low_3], half: [half_1, half_2, half_3]}
results:
  share: {formula: volts * amps / taken, unit: '%', boundary: {in: a, out: b}}
claims:
  - {result: share, run: most, says: at least 11 %}
  - {result: share, says: at least 3.5 %}
"""


def of_one(spread: str, says: str | None = None, formula: str = "x", unit: str = "W") -> str:
    claims = "" if says is None else f"claims:\n  - {{result: r, says: {says}}}\n"
    return (
        f"effband: 1\ntitle: one\ninputs:\n  x: {{{spread}}}\n  nought: {{constant: 0 W}}\n"
        f"results:\n  r: {{formula: '{formula}', unit: '{unit}'}}\n{claims}"
    )


# each with a claim; the shapes that a picture may break on
SHAPES = {
    "normal": of_one("value: 10 W, standard_uncertainty: 1 W", "at least 9.5 W"),
    "at most": of_one("value: 10 W, standard_uncertainty: 1 W", "at most 9.5 W"),
    "supported": of_one("value: 10 W, standard_uncertainty: 1 W", "at least 8.3 W"),
    "contradicted": of_one("value: 10 W, standard_uncertainty: 1 W", "at least 11.7 W"),
    "long tails": of_one("repeats: [9, 11], unit: W", "at least 8 W"),
    "between in long tails": of_one("repeats: [9, 11], unit: W", "between 9.5 W and 10.5 W"),
    "skewed": of_one("value: 1 W, within_factor: 6", "at most 2 W"),
    "two groups": of_one("value: 10 W, plus_minus: 1 W, shape: arcsine", "between 9.5 W and 11 W"),
    "half on the limit": of_one("value: 0 W, plus_minus: 1 W", "at least 0 W", "max(x, nought)"),
    "half on the upper limit": of_one(
        "value: 0 W, plus_minus: 1 W", "between -0.5 W and 0 W", "min(x, nought)"
    ),
    "1e-9": of_one("value: 0.000000001 W, plus_minus: 0.0000000001 W", "at most 0.00000000105 W"),
    "1e9": of_one("value: 1000000000 W, plus_minus: 50000000 W", "at least 980000000 W"),
    "negative": of_one("value: -4 W, plus_minus: 1 W", "between -5 W and -3.5 W"),
    "degC": of_one("value: 21 degC, plus_minus: 1 K", "is 21 degC within 0.4 K", unit="degC"),
    "fine": of_one("value: 1000000 W, plus_minus: 0.001 W", "at least 1000000 W"),
    "narrow": of_one("value: 10 W, plus_minus: 1 W", "is 10 W within 0.05 W"),
    "nothing between": of_one("value: 10 W, plus_minus: 1 W", "is 10 W within 0.0001 W"),
}


def dots_of(figure: Figure) -> list[Ellipse]:
    return [patch for patch in figure.axes[0].patches if isinstance(patch, Ellipse)]


def is_filled(dot: Ellipse) -> bool:
    return tuple(dot.get_facecolor()) != (1.0, 1.0, 1.0, 1.0)


def in_pixels(figure: Figure) -> list[tuple[float, float, float, bool]]:
    """Return of every dot its centre, its diameter with its line, and whether it is filled."""
    figure.draw(FigureCanvasAgg(figure).get_renderer())
    found = []
    for dot in dots_of(figure):
        axes = figure.axes[0]
        x, y = axes.transData.transform(dot.center)
        left, low = axes.transData.transform(np.array(dot.center) - [dot.width / 2, dot.height / 2])
        line = dot.get_linewidth() * figure.dpi / 72
        assert 2 * (x - left) == pytest.approx(2 * (y - low), abs=DIGITS), "dots are round"
        found.append((float(x), float(y), float(2 * (x - left)) + line, is_filled(dot)))
    return found


def limits_of(figure: Figure) -> list[float]:
    """Return where the limits are drawn, pixels."""
    axes = figure.axes[0]
    lines = [line for line in axes.get_lines() if len(set(line.get_xdata())) == 1]
    upright = [line for line in lines if len(line.get_xdata()) == 2]
    return [float(axes.transData.transform((line.get_xdata()[0], 0))[0]) for line in upright]


def shape(study_of: StudyOf, name: str) -> tuple[Study, Figure]:
    study = study_of(SHAPES[name])
    figure = claim_figure(study)
    assert figure is not None
    return study, figure


@pytest.mark.parametrize("name", SHAPES)
def test_as_many_dots_meet_the_claim_as_trials(study_of: StudyOf, name: str) -> None:
    study, figure = shape(study_of, name)
    (found,) = study.claims
    dots = dots_of(figure)
    meeting = sum(map(is_filled, dots))
    assert len(dots) == 50
    assert abs(meeting / 50 - found.holds.value) <= 0.02 + 1e-12
    shown = " ".join(text.get_text() for text in texts_of(figure))
    assert f"In {meeting} of 50 equally likely outcomes" in shown
    assert f"In {meeting} of 50 equally likely outcomes it is" in (claim_alt(study) or "")
    assert f"{50 - meeting} do not" in shown or meeting == 50
    if found.verdict == SUPPORTED:
        assert meeting / 50 > found.claim.confidence
    if found.verdict == CONTRADICTED:
        assert meeting / 50 < 1 - found.claim.confidence
    assert found.verdict is not None
    assert found.verdict in shown


@pytest.mark.parametrize("name", SHAPES)
def test_dots_lie_on_their_own_side_of_the_limit_and_none_upon_it(
    study_of: StudyOf, name: str
) -> None:
    study, figure = shape(study_of, name)
    limits, claim = limits_of(figure), study.claims[0].claim
    assert len(limits) == (claim.low is not None) + (claim.high is not None)
    for x, _, across, filled in in_pixels(figure):
        for limit in limits:
            assert abs(x - limit) >= across / 2 - DIGITS
        inside = (claim.low is None or x > min(limits)) and (claim.high is None or x < max(limits))
        assert inside == filled


@pytest.mark.parametrize("name", SHAPES)
def test_dots_touch_and_do_not_overlap(study_of: StudyOf, name: str) -> None:
    _, figure = shape(study_of, name)
    found = in_pixels(figure)
    across = found[0][2]
    assert all(each[2] == pytest.approx(across, abs=DIGITS) for each in found)
    for (x, y, _, _), (u, v, _, _) in itertools.combinations(found, 2):
        assert math.hypot(x - u, y - v) >= across - DIGITS
    columns: dict[float, list[float]] = {}
    for x, y, _, _ in found:
        columns.setdefault(round(x, 3), []).append(y)
    floor = min(y for _, y, _, _ in found)
    for heights in columns.values():
        wanted = [floor + k * across for k in range(len(heights))]
        assert sorted(heights) == pytest.approx(wanted, abs=DIGITS), "stacked from the floor"


@pytest.mark.parametrize("name", SHAPES)
def test_a_dot_lies_within_its_width_of_its_quantile(study_of: StudyOf, name: str) -> None:
    study, figure = shape(study_of, name)
    axes, unit = figure.axes[0], study.bands[0].output.target.unit
    values = [unit.from_si(x) for x in study.bands[0].summary.dots]
    for value, (x, _, across, _) in zip(values, in_pixels(figure), strict=True):
        assert abs(float(axes.transData.transform((value, 0))[0]) - x) <= across


@pytest.mark.parametrize("limits", [(0.0, 1.0), (0.0, None), (None, 1.0)])
def test_an_outcome_on_a_limit_stays_on_its_side(limits: tuple[float | None, float | None]) -> None:
    e = 1e-12  # a quantile between two bins lies that far, or further, on the wrong side
    values, sides = [-0.5, e, -e, 1 + e, 1 - e, 1.5], [-1, -1, 0, 0, 1, 1]
    kept = [k for k in range(6) if limits[max(sides[k], 0)] is not None or sides[k] == 0]
    wide, places = stacked(
        [values[k] for k in kept], [sides[k] for k in kept], limits, 0.5, 100.0, 200.0
    )
    for k, (x, _) in zip(kept, places, strict=True):
        low, high = limits
        if sides[k] == 0:
            assert low is None or x - wide / 2 >= low - 1e-9
            assert high is None or x + wide / 2 <= high + 1e-9
        else:
            assert x + wide / 2 <= 1e-9 if sides[k] < 0 else x - wide / 2 >= 1 - 1e-9


@pytest.mark.parametrize(
    ("spread", "law"),
    [
        ("value: 10 W, standard_uncertainty: 2 W", stats.norm(10, 2)),
        ("low: 3 W, high: 7 W, shape: rectangular", stats.uniform(3, 4)),
    ],
)
def test_outcomes_are_quantiles_of_the_law(study_of: StudyOf, spread: str, law: object) -> None:
    # scipy gives the quantile and, through its density, what so many trials leave open
    trials = 200_000
    dots = study_of(of_one(spread), trials).bands[0].summary.dots
    p = (np.arange(50) + 0.5) / 50
    wanted = law.ppf(p)
    error = np.sqrt(p * (1 - p) / trials) / law.pdf(wanted)
    assert len(dots) == 50
    assert np.all(np.diff(dots) > 0)
    assert np.all(np.abs(dots - wanted) < 4 * error)


def test_without_a_claim_there_are_dots_and_no_limit(study_of: StudyOf) -> None:
    study = study_of(of_one("value: 10 W, standard_uncertainty: 1 W"))
    figure = claim_figure(study)
    assert figure is not None
    assert len(dots_of(figure)) == 50
    assert all(map(is_filled, dots_of(figure)))
    assert limits_of(figure) == []
    assert claim_alt(study) == "r as 50 dots, each as likely as any other."


def test_what_does_not_vary_has_equal_outcomes_and_no_figures(study_of: StudyOf) -> None:
    study = study_of(
        "effband: 1\ntitle: exact\ninputs:\n  m: {constant: 5 kg}\n"
        "results:\n  mass: {formula: m, unit: kg}\nclaims: [{result: mass, says: at least 4 kg}]\n"
    )
    assert study.bands[0].summary.dots == (5.0,) * 50
    for draw, told in ((claim_figure, claim_alt), (wideners_figure, wideners_alt)):
        assert draw(study) is None
        assert told(study) is None


def test_a_limit_out_of_sight_is_told_in_words(study_of: StudyOf) -> None:
    figure = claim_figure(study_of(of_one("value: 10 W, plus_minus: 0.1 W", "at least 50 W")))
    assert figure is not None
    assert limits_of(figure) == []
    assert not any(map(is_filled, dots_of(figure)))
    assert any("50 W (lies to the right)" in text.get_text() for text in texts_of(figure))


def test_an_impossible_result_gets_no_count(study_of: StudyOf) -> None:
    study = study_of(
        "effband: 1\ntitle: x\ninputs:\n  x: {value: 1.1, plus_minus: 0.01}\n"
        "  y: {constant: 1}\nresults:\n  r:\n    formula: x / y\n    unit: '%'\n"
        "    boundary: {in: a, out: b}\nclaims: [{result: r, says: at least 98 %}]\n"
    )
    assert study.claims[0].verdict is None
    figure = claim_figure(study)
    assert figure is not None
    shown = [text.get_text() for text in texts_of(figure)]
    assert any(text.startswith("IMPOSSIBLE") for text in shown)
    assert not any("of 50" in text and "In " in text for text in shown)
    assert (claim_alt(study) or "").startswith("IMPOSSIBLE")


def test_a_claim_on_every_run_shows_the_worst(study_of: StudyOf) -> None:
    text = many_runs(3) + "claims: [{result: share, says: at least 9.8 %}]\n"
    study = study_of(text)
    (found,) = study.claims
    assert len(found.claim.outputs) == 3
    figure, alt = claim_figure(study), claim_alt(study)
    assert figure is not None
    shown = " ".join(text.get_text() for text in texts_of(figure))
    assert "run_0" in shown
    assert "in every run at once" in shown
    share = sum(x >= 0.098 for x in study.bands[0].summary.dots)
    assert sum(map(is_filled, dots_of(figure))) == share
    assert alt is not None
    assert alt.startswith(f"{study.bands[0].output.title} as 50 dots")
    assert words.sentence(study.bands[0], study) not in alt, "that stands above the picture"


# -- loads, wideners, changes ----------------------------------------------------------------------


def strips(axes: Axes) -> list[AxesImage]:
    return [child for child in axes.get_children() if isinstance(child, AxesImage)]


def test_loads_lie_at_the_reading_that_sets_them(study_of: StudyOf) -> None:
    study = study_of(THREE_LOADS)
    figure = loads_figure(study)
    assert figure is not None
    (axes,) = figure.axes
    assert axes.get_xlabel() == "amps in A"
    middles = [(each.get_extent()[0] + each.get_extent()[1]) / 2 for each in strips(axes)]
    assert middles == pytest.approx([9.0, 3.1, 5.2]), "of a group the mean of its runs"
    bands = words.shown(study.bands)
    assert [band.output.run for band in bands] == ["most", "low", "half"]
    ends = [line.get_ydata() for line in axes.get_lines() if len(set(line.get_xdata())) == 1]
    found = [float(end) for y in ends if len(y) == 2 for end in y]
    unit, intervals = bands[0].output.target.unit, [band.summary.interval for band in bands]
    assert found == pytest.approx([unit.from_si(x) for i in intervals for x in (i.low, i.high)])
    across = [line.get_ydata()[0] for line in axes.get_lines() if line.get_linestyle() == "--"]
    assert across == pytest.approx([3.5]), "the claim on every load goes before one on some"
    _nothing_overlaps(figure)
    _all_is_inside(figure)
    alt = loads_alt(study) or ""
    for band in bands:
        assert band.output.where in alt
        assert words.rounded(band).with_unit in alt


def test_loads_without_such_a_reading_stand_in_the_order_of_the_file(study_of: StudyOf) -> None:
    text = many_runs(5).replace("p: {unit: W", "p: {unit: J").replace("1000 W", "1000 J")
    figure = loads_figure(study_of(text.replace("50 W", "50 J").replace("5 W", "5 J")))
    assert figure is not None
    (axes,) = figure.axes
    assert axes.get_xlabel() == "share in %"
    names = [text for text in axes.texts if text.get_text().startswith("run_")]
    assert [text.get_text() for text in names] == [f"run_{k}" for k in range(5)]
    heights = [text.get_window_extent().y0 for text in names]
    assert heights == sorted(heights, reverse=True), "the first at the top"
    assert len(strips(axes)) == 5
    _nothing_overlaps(figure)
    _all_is_inside(figure)


def test_a_number_is_never_cut(study_of: StudyOf) -> None:
    for spread, against in (("50 W", "p in W"), ("0.00001 W", "share in %")):
        text = many_runs(9).replace("plus_minus: 50 W", f"plus_minus: {spread}")
        study = study_of(text.replace("plus_minus: 5 W", f"plus_minus: {spread[:-2]}1 W"))
        figure = loads_figure(study)
        assert figure is not None
        assert figure.axes[0].get_xlabel() == against, "by name where numbers are long"
        shown = {text.get_text().split(" ")[0] for text in texts_of(figure)}
        assert {words.rounded(band).value for band in study.bands} <= shown


def test_the_ceiling_is_drawn_where_it_is_in_range(study_of: StudyOf) -> None:
    for p, drawn in ((985, [100.0]), (300, [])):
        figure = loads_figure(study_of(many_runs(2).replace("{p: 100}", f"{{p: {p}}}")))
        assert figure is not None
        lines = [line for line in figure.axes[0].get_lines() if line.get_linestyle() == ":"]
        assert [line.get_ydata()[0] for line in lines] == pytest.approx(drawn)


def test_one_load_is_no_figure(bench: Callable[[str], Study]) -> None:
    assert loads_figure(bench("beckside")) is None
    assert loads_figure(bench("dray_belt")) is None
    assert loads_alt(bench("dray_belt")) is None


@pytest.mark.parametrize("name", BENCHES)
def test_bars_are_as_long_as_what_is_saved(bench: Callable[[str], Study], name: str) -> None:
    study = bench(name)
    figure, alt = wideners_figure(study), wideners_alt(study)
    assert figure is not None
    assert alt is not None
    band = words.headline_band(study)
    boxes_ = [each for each in figure.artists if isinstance(each, Rectangle)]
    frames = [box for box in boxes_ if box.get_facecolor()[3] == 0.0]
    lines = telling_lines(band)
    assert len(frames) == len(lines)
    shown = " ".join(text.get_text() for text in texts_of(figure))
    for frame, (line, saved) in zip(frames, lines, strict=True):
        bars = [b for b in boxes_ if b is not frame and b.get_y() == frame.get_y()]
        assert sum(b.get_width() for b in bars) == pytest.approx(saved * frame.get_width())
        full = band.summary.interval.half_width
        assert saved == pytest.approx(1 - line.half_width_without / full)
        looks = {(b.get_facecolor(), b.get_hatch()) for b in bars}
        assert len(looks) == len(bars)
        assert len({hatch for _, hatch in looks}) == len(bars), "never told apart by colour alone"
        parts = {p.name: 0.0 for p in line.parts}
        for part in line.parts:
            parts[part.name] += max(part.first_order, 0.0)
        if len(bars) == 2 and sum(parts.values()) > 0:
            common = parts["common"] / sum(parts.values())
            assert bars[0].get_width() == pytest.approx(common * saved * frame.get_width())
        assert line.item.name in shown
        assert line.item.name in alt
        guessed = {p.evidence for p in line.item.parts} & {"guess", "rule of thumb"}
        for kind in guessed:
            assert f"a {kind}" in shown
            assert f"a {kind}" in alt


def test_a_change_is_drawn_beside_0(changed: Compared) -> None:
    figure, alt = change_figure(changed), change_alt(changed)
    assert figure is not None
    assert alt is not None
    both, apart = figure.axes
    assert len(strips(both)) == 2
    assert len(strips(apart)) == 1
    (zero,) = [line for line in apart.get_lines() if line.get_linestyle() == "--"]
    assert set(zero.get_xdata()) == {0.0}
    low, high = apart.get_xlim()
    assert low < 0.0 < high
    change = changed.changes[0]
    (line,) = [x for x in apart.get_lines() if len(x.get_xdata()) == 2 and x is not zero]
    ends = change.change.summary.interval
    assert list(line.get_xdata()) == pytest.approx([100 * ends.low, 100 * ends.high])
    for said in verdict(change, changed.settings.probability):
        assert said in alt
        assert said in " ".join(text.get_text() for text in texts_of(figure))
    _nothing_overlaps(figure)
    _all_is_inside(figure)


# -- all of them -----------------------------------------------------------------------------------


@pytest.mark.parametrize("draw", [claim_figure, loads_figure, wideners_figure])
@pytest.mark.parametrize("name", BENCHES)
def test_figures_of_the_benches_hold_together(
    bench: Callable[[str], Study], name: str, draw: Callable[..., Figure | None]
) -> None:
    study = bench(name)
    figure = draw(study, "0123456789abcdef")
    if figure is None:
        return
    _nothing_overlaps(figure)
    _all_is_inside(figure)
    data = png(figure)
    width, height = struct.unpack(">II", data[16:24])
    assert width == 800
    assert 250 <= height <= 600
    assert data == png(draw(study, "0123456789abcdef") or figure)
    smallest = min(
        text.get_fontsize() for text in texts_of(figure) if "0123" not in text.get_text()
    )
    assert smallest * 100 / 72 / 2 >= 6, "pixels of a letter at half size"


@pytest.mark.parametrize("name", SHAPES)
def test_figures_of_odd_shapes_hold_together(study_of: StudyOf, name: str) -> None:
    _, figure = shape(study_of, name)
    _nothing_overlaps(figure)
    _all_is_inside(figure)
    assert png(figure)


@pytest.mark.parametrize("name", OF_A_STUDY)
@pytest.mark.parametrize(
    "hostile",
    [
        "$\\frac{1}{$",
        "cost $5 and $6",
        "_hidden",
        "\x1b[31mred",
        "\u202eflipped",
        "\ud800",
        "水車の効率",
        "W" * 300,
        "a\nb\nc",
    ],
)
def test_no_text_acts_in_any_figure(wren: Study, name: str, hostile: str) -> None:
    study = titled(wren, hostile, hostile)
    case = replace(study.case, outputs=tuple(band.output for band in study.bands))
    verdicts = tuple(replace(v, claim=replace(v.claim, says=hostile)) for v in study.claims)
    figure = OF_A_STUDY[name](replace(study, case=case, claims=verdicts), hostile)
    assert figure is not None
    assert png(figure)
    _all_is_inside(figure)
    for text in texts_of(figure):
        assert all(c.isprintable() or c == "\n" for c in text.get_text())
        assert not text.get_parse_math() or not set(text.get_text()) & set("$\\")
    if hostile == "_hidden":
        assert any("_hidden" in text.get_text() for text in texts_of(figure))


@pytest.mark.parametrize("name", OF_A_STUDY)
def test_a_stamp_stands_small_in_a_corner(wren: Study, name: str) -> None:
    figure = OF_A_STUDY[name](wren, "0123456789abcdef")
    assert figure is not None
    (mark,) = [text for text in texts_of(figure) if text.get_text().startswith("0123")]
    assert mark.get_text() == "0123456789ab"
    box = mark.get_window_extent()
    assert box.x1 > 0.95 * figure.bbox.width
    assert box.y0 < 0.05 * figure.bbox.height
    plain = OF_A_STUDY[name](wren)
    assert plain is not None
    assert not any(text.get_text().startswith("0123") for text in texts_of(plain))


@pytest.mark.parametrize("name", OF_A_STUDY)
def test_forty_results_of_thirty_runs(study_of: StudyOf, name: str) -> None:
    study = study_of(many_runs(1))
    band = study.bands[0]
    bands = tuple(
        replace(
            band,
            output=replace(
                band.output,
                target=replace(band.output.target, name=f"result_{r}"),
                run=f"run_number_{k}",
            ),
        )
        for r in range(40)
        for k in range(30)
    )
    case = replace(study.case, outputs=tuple(b.output for b in bands), headline="result_20")
    start = time.process_time()
    figure = OF_A_STUDY[name](replace(study, bands=bands, case=case))
    assert figure is not None
    assert len(png(figure)) < 1_000_000
    assert time.process_time() - start < 5.0
    _all_is_inside(figure)
    shown = " ".join(text.get_text() for text in texts_of(figure))
    assert "result_20" in shown or band.output.target.label is not None
    if name == "bands":
        assert "1160 more bands" in shown
