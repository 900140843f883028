"""The page: no text of the user's adds a tag, a link, a cell, a line or a control character.

The judge is the parser of the place where such pages are published most (cmark, with tables,
links, strike-through and task lists), told to let raw HTML through so that it would show.
"""

from __future__ import annotations

import random
import re
from collections import Counter
from collections.abc import Callable
from html.parser import HTMLParser

import cmarkgfm
import pytest
from cmarkgfm.cmark import Options
from hostile import AT_ONCE, HOSTILE_TEXTS, MOVERS, hostile_texts, stuffed, visible

from effband.report.blocks import Picture
from effband.report.content import MOST_RANKED, report
from effband.report.markdown import MARK, escape, markdown
from effband.study import Study

EXTENSIONS = ["table", "autolink", "strikethrough", "tasklist"]

StudyOf = Callable[..., Study]

CASE = """\
effband: 1
title: t
instruments:
  meter: {accuracy: 0.3 K, span: [0 degC, 100 degC]}
inputs:
  given: {value: 30 W, standard_uncertainty: 1 W}
  taken: {value: 100 W, plus_minus: 5 W}
runs:
  readings:
    heat: {unit: degC, instrument: meter}
  rows:
    low: {heat: 20}
    high: {heat: 40}
results:
  share: {formula: given / taken, unit: "%", boundary: {in: a, out: b}}
  ratio: {formula: given / taken, unit: "1", is: ratio}
  warm: {formula: heat, unit: degC}
"""


class _Seen(HTMLParser):
    """What a browser would make of a page: its tags, comments and text."""

    def __init__(self, html: str) -> None:
        super().__init__(convert_charrefs=True)
        self.tags: Counter[str] = Counter()
        self.links: list[str | None] = []
        self.comments: list[str] = []
        self.text: list[str] = []
        self.feed(html)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags[tag] += 1
        self.links += [value for name, value in attrs if name in ("href", "src")]

    def handle_comment(self, data: str) -> None:
        self.comments.append(data)

    def handle_data(self, data: str) -> None:
        self.text.append(data)


def seen(page: str) -> _Seen:
    html = cmarkgfm.markdown_to_html_with_extensions(
        page, options=Options.CMARK_OPT_UNSAFE, extensions=EXTENSIONS
    )
    return _Seen(html)


def test_the_judge_sees_what_is_not_escaped() -> None:
    page = seen("| a |\n|---|\n| <b>x</b> [l](http://a.example) me@a.example ~~s~~ |\n\n- [x] t\n")
    assert set(page.tags) >= {"b", "a", "del", "table", "input"}
    assert page.links == ["http://a.example", "mailto:me@a.example"]


def test_no_hostile_text_passes_in_a_paragraph_an_item_or_a_cell() -> None:
    for start in range(0, HOSTILE_TEXTS, AT_ONCE):
        texts = hostile_texts()[start : start + AT_ONCE]
        safe = [escape(text) for text in texts]
        assert not any(re.search(r"[\n|]", text) or MOVERS.search(text) for text in safe)
        _check_rows(texts, safe)
        _check_blocks(texts, safe, "{}\n\n", "p")
        _check_blocks(texts, safe, "## {}\n\n", "h2")
        _check_blocks(texts, safe, "- {}\n", "li")


def _check_rows(texts: tuple[str, ...], safe: list[str]) -> None:
    rows = [f"| {one} | {two} |" for one, two in zip(safe, reversed(safe), strict=True)]
    page = seen("\n".join(["| a | b |", "|---|---|", *rows]) + "\n")
    _only(
        page,
        {"table": 1, "thead": 1, "tbody": 1, "tr": 1 + len(rows), "th": 2, "td": 2 * len(rows)},
    )
    assert not any(comment.strip() for comment in page.comments)


def _check_blocks(texts: tuple[str, ...], safe: list[str], form: str, tag: str) -> None:
    kept = [(visible(text), one) for text, one in zip(texts, safe, strict=True) if one]
    page = seen("".join(form.format(one) for _, one in kept))
    expected = {tag: len(kept)} | ({"ul": 1} if tag == "li" else {})
    _only(page, expected)
    shown = [" ".join(text.split()) for text in "".join(page.text).split("\n") if text]
    assert shown == [text for text, _ in kept]


def _only(page: _Seen, tags: dict[str, int]) -> None:
    assert page.links == []
    assert dict(page.tags) == tags


def test_no_hostile_text_passes_in_a_whole_report(study_of: StudyOf) -> None:
    study = study_of(CASE)
    for start in range(0, HOSTILE_TEXTS, AT_ONCE):
        texts = hostile_texts()[start : start + AT_ONCE]
        tame = tuple(f"tame {k}" for k in range(len(texts)))
        hostile_page, tame_page = (
            markdown(report(stuffed(study, some), [Picture("bands.png", "bands")]))
            for some in (texts, tame)
        )
        assert not MOVERS.search(hostile_page)
        assert len(hostile_page.splitlines()) == len(tame_page.splitlines())
        found, wanted = seen(hostile_page), seen(tame_page)
        assert found.links == wanted.links == ["bands.png"]
        assert found.tags == wanted.tags
        assert [c for c in found.comments if c.strip()] == [MARK.strip("<!->")]
        shown = " ".join("".join(found.text).split())
        for text in random.Random(start).sample(texts[40:], 25):
            assert " ".join(visible(text).split()) in shown


@pytest.mark.parametrize(
    "text",
    ["me@a.example", "write to me@a.example.", "mailto:me@a.example", "xmpp:me@a.example/x"],
)
def test_an_address_becomes_no_link(text: str) -> None:
    page = seen(f"- {escape(text)}\n")
    assert page.links == []
    assert "".join(page.text).strip() == text


@pytest.mark.parametrize("text", ["Mühle, 3 kW (2026)", "水車", "rotor's own", "a/b; c: d", "±"])
def test_plain_text_stays_readable_in_the_source(text: str) -> None:
    assert escape(text) == text


def test_every_part_of_a_case_is_on_the_page(study_of: StudyOf) -> None:
    page = markdown(report(study_of(CASE)))
    for heading in (
        "# t", "## Results", "## What widens it most", "## What was guessed or only stated",
        "## What is not in the numbers", "## Inputs", "## Readings and instruments",
        "## What widens the other bands", "## Log", "## Formulas", "## Method",
    ):  # fmt: skip
        assert page.splitlines().count(heading) == 1
    assert "](" not in page, "no picture was made, so none is shown"


def test_notes_of_readings_are_on_the_page(wren: Study) -> None:
    notes = [leaf.note for leaf in wren.case.leaves if leaf.note]
    assert "stop criterion is a dimming lamp" in notes
    page = markdown(report(wren))
    for note in notes:
        assert escape(note) in page


def test_widths_of_a_temperature_are_in_kelvin(study_of: StudyOf) -> None:
    page = markdown(report(study_of(CASE)))
    row = next(line for line in page.splitlines() if line.startswith("| `warm` | `low` |"))
    assert re.search(r"\| 20\.00 degC \| 19\.7\d to 20\.2\d degC \| 0\.2\d K \|", row)


def test_each_ranking_is_a_table_in_order(wren: Study) -> None:
    page = markdown(report(wren))
    for band in wren.bands:
        table, less = page.split(f"**{escape(band.output.title)}**")[1].split("\n\n")[1:3]
        names = re.findall(r"(?m)^\| `(\w+)` \|", table)
        less = less.partition(". The spread")[0].removeprefix("What matters less: ")
        assert 1 <= len(names) <= MOST_RANKED
        named = [*names, *less.replace("`", "").split(", ")]
        assert named == [line.item.name for line in band.ranking.lines]


def test_the_page_tells_how_to_run_it_again(wren: Study) -> None:
    page = markdown(report(wren))
    assert "1000000 Monte Carlo trials" in page
    assert "seed 1" in page
    assert wren.case.text.sha256[:16] in page
    for name, version in wren.versions:
        assert f"{name} {version}" in page
