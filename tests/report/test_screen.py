"""The screen: two runs and two results at a glance, and nothing that moves a terminal."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from effband.report import words
from effband.report.content import report
from effband.report.figures import bands_figure
from effband.report.markdown import escape, markdown
from effband.report.screen import screen
from effband.study import Study

GOLDEN = Path(__file__).with_name("wren_screen.txt")
COLUMNS, LINES = 80, 40
HOSTILE = (
    "red\x1b[31m\x9b2J \u202eflipped\u202c \u200bzero\r\n  full   99.9 %\x07"
    " a\u0301\u0302\u0303\u0304"
)

StudyOf = Callable[..., Study]

DEFAULTS = """\
effband: 1
title: {title}
inputs:
  taken: {{value: 100 W, plus_minus: 5 W}}
  given: {{value: 30 W, standard_uncertainty: 1 W}}
results:
  share:
    label: {label}
    formula: given / taken
    unit: "%"
    boundary: {{in: {into}, out: shaft}}
"""


def columns(line: str) -> int:
    """Return the columns a line fills: wide characters two, combining ones none."""
    return sum(
        0 if unicodedata.combining(c) else 2 if unicodedata.east_asian_width(c) in "WF" else 1
        for c in line
    )


def widest(text: str) -> int:
    return max(columns(line) for line in text.splitlines())


def retitled(
    study: Study, text: str, places: tuple[str, ...] = ("title", "label", "boundary", "assumption")
) -> Study:
    """Return a study with a text of the user's in places of the screen that take one."""
    bands = []
    for band in study.bands:
        target = band.output.target
        if "label" in places:
            target = replace(target, label=text)
        if "boundary" in places:
            target = replace(target, boundary=(text, text))
        bands.append(replace(band, output=replace(band.output, target=target)))
    case = study.case
    if "title" in places:
        case = replace(case, title=text)
    if "assumption" in places:
        case = replace(case, assumptions=(text,))
    return replace(study, case=case, bands=tuple(bands))


def test_the_demo_prints_what_it_printed(wren: Study) -> None:
    made = screen(wren)
    # if the change is meant: effband run cases/wren_bench.yaml > tests/report/wren_screen.txt
    assert made == GOLDEN.read_text(encoding="utf-8")


def test_two_runs_and_two_results_fit_a_terminal(wren: Study) -> None:
    text = screen(wren)
    assert len({(b.output.target.name, b.output.run) for b in wren.bands}) == 4
    assert len(text.splitlines()) <= LINES
    assert widest(text) <= COLUMNS
    assert text.endswith("\n")
    assert not text.endswith("\n\n")
    assert not any(line != line.rstrip() for line in text.splitlines())


@pytest.mark.parametrize(
    "text",
    [
        "An air motor " * 14,
        "x" * 200,
        "水車の効率測定と不確かさ" * 9,
        "Mühle bei Weißenfels, 3. Läufer, " * 6,
        "e\u0301" * 150,
    ],
    ids=["words", "one-word", "wide", "umlauts", "combining"],
)
@pytest.mark.parametrize("place", ["title", "label", "boundary", "assumption"])
def test_long_text_of_the_user_stays_within_the_columns(wren: Study, text: str, place: str) -> None:
    shown = screen(retitled(wren, text, (place,)))
    assert widest(shown) <= COLUMNS
    squeezed = re.sub(r"\s", "", shown)
    assert re.sub(r"\s", "", text)[:60] in squeezed, "the text must not be lost"


def test_hostile_text_is_spelled_out(wren: Study) -> None:
    text = screen(retitled(wren, HOSTILE))
    for character in text:
        assert character == "\n" or character.isprintable()
    assert "\u202e" not in text
    for spelled in ("<U+001B>", "<U+009B>", "<U+202E>", "<U+200B>", "<U+0007>", "<U+0303>"):
        assert spelled in text.replace("\n", "")


def test_hostile_text_forges_no_line(wren: Study) -> None:
    honest = [line for line in screen(wren).splitlines() if re.match(r"  (light|full) ", line)]
    shown = screen(retitled(wren, HOSTILE)).splitlines()
    assert [line for line in shown if re.match(r"  (light|full) ", line)] == honest


def test_text_over_several_lines_is_one_line(study_of: StudyOf) -> None:
    case = DEFAULTS.format(title=">\n  Brake bench\n  by the brook", label="share", into="water")
    first = screen(study_of(case)).splitlines()[0]
    assert first == "Brake bench by the brook"


def test_numbers_are_the_same_on_screen_page_and_picture(wren: Study) -> None:
    on_screen, page = screen(wren), markdown(report(wren))
    drawn = [text.get_text() for axes in bands_figure(wren).axes for text in axes.texts]
    for band in wren.bands:
        numbers = words.rounded(band)
        run = band.output.run
        half = f"{numbers.half_width} points"
        row = rf"(?m)^  {run} +{numbers.with_unit} .*\b{numbers.low} .*\b{numbers.high} %.*{half}\b"
        assert re.search(row, on_screen)
        cells = f"{numbers.with_unit} | {numbers.low} to {numbers.high} % | {half}"
        assert f"`{run}` | {cells} |" in page
        of_band = [t for t in drawn if re.findall(r"[0-9.]+", t) == list(_shown(numbers))]
        assert len(of_band) == 1


def _shown(numbers: words.Rounded) -> tuple[str, str, str]:
    return numbers.value, numbers.low, numbers.high


def wideners(text: str) -> list[list[str]]:
    """Return the lines with bars, by result."""
    return [
        [line for line in block.splitlines() if re.search(r" #+\.* ", line)]
        for block in text.split("what widens it most")[1:]
    ]


def test_saved_and_left_add_up_to_the_half_width(wren: Study) -> None:
    wide = [band for band in wren.bands if band.output.run == "full"]
    blocks = wideners(screen(wren))
    assert len(blocks) == len(wide) == 2
    for block, band in zip(blocks, wide, strict=True):
        assert 2 <= len(block) <= 4
        for line in block:
            saved, left = map(float, re.findall(r"\b[0-9]+\.[0-9]+", line))
            assert saved + left == pytest.approx(100 * band.summary.interval.half_width, abs=0.0101)


def test_what_widens_most_comes_first(wren: Study) -> None:
    for block, band in zip(wideners(screen(wren)), (wren.bands[1], wren.bands[3]), strict=True):
        names = [line.split()[0] for line in block]
        assert names == [line.item.name for line in band.ranking.lines[: len(names)]]
        bars = [line.count("#") for line in block]
        assert bars == sorted(bars, reverse=True)
        saved = [float(re.findall(r"saves ([0-9.]+)", line)[0]) for line in block]
        assert saved == sorted(saved, reverse=True)


def test_the_headline_is_marked_once(wren: Study) -> None:
    marked = [line for line in screen(wren).splitlines() if "headline" in line]
    assert len(marked) == 1
    assert marked[0].startswith("air_to_wire ")


def test_the_probability_and_the_trials_stand_on_top(study_of: StudyOf) -> None:
    case = DEFAULTS.format(title="t", label="share", into="water")
    text = screen(study_of(case + "settings: {probability: 99 %}\n"))
    second = text.splitlines()[1]
    assert second.startswith("99 % bands")
    assert "20 000 trials" in second


def test_a_result_that_does_not_vary_says_so(study_of: StudyOf) -> None:
    text = screen(
        study_of(
            "effband: 1\ntitle: exact\ninputs:\n  mass: {constant: 0.0004 kg}\n"
            "results:\n  m: {formula: mass, unit: kg}\n"
        )
    )
    assert "it does not vary" in text
    assert "0.0004" in text


def test_a_result_without_a_variance_gives_its_median_and_the_reason(study_of: StudyOf) -> None:
    study = study_of(
        "effband: 1\ntitle: few\ninputs:\n  t: {repeats: [7.7, 7.8, 8.3], unit: s}\n"
        "results:\n  time: {formula: t, unit: s}\n"
    )
    text = screen(study)
    median = study.bands[0].summary.median
    assert re.search(rf"whole case +{median:.2f} s ", text)
    reason = "three readings of t make a good band, but no standard uncertainty"
    assert reason in re.sub(r"\s+", " ", text)
    assert "each value is the mean" not in text, "this value is the median"
    assert escape(reason) in markdown(report(study))
