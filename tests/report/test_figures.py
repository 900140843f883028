"""The picture: what is drawn is what is written, and nothing covers anything else."""

from __future__ import annotations

import itertools
import re
import struct
from collections.abc import Callable
from dataclasses import replace

import pytest
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.text import Text
from matplotlib.transforms import Bbox

from effband.report import words
from effband.report.figures import bands_figure, png
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
