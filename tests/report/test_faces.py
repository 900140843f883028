"""Every face of a report, against hostile text: nothing acts, nothing is added, nothing is lost."""

from __future__ import annotations

import csv
import functools
import io
import json
import math
import random
import re
from collections.abc import Callable, Iterator, Sequence
from typing import Any

import bbcode
import cmarkgfm
import pytest
from cmarkgfm.cmark import Options
from hostile import (
    MOVERS,
    PLACES,
    SAYING_ALL,
    Event,
    events,
    every_block,
    hostile_texts,
    on_one_line,
    portions,
    preformatted,
    reworded,
    same_but_for_words,
    squeezed,
    stuffed,
    tame,
    visible,
    with_words,
)

from effband import study as studies
from effband.case.text import refused_characters
from effband.decide.common_draws import CommonDraws
from effband.decide.compare import compare
from effband.decide.options import output_of
from effband.decide.pairs import pairs_of
from effband.decide.plan import plan
from effband.decide.upgrades import advise
from effband.problems import printable, width
from effband.report import comparison, figures, upgrades, words
from effband.report import plan as plans
from effband.report.blocks import Picture, Report, Section
from effband.report.content import report
from effband.report.forum import forum
from effband.report.html import html
from effband.report.machine import document, to_json
from effband.report.markdown import markdown
from effband.report.publication import FORMATS, files_of
from effband.report.screen import screen
from effband.report.spreadsheet import _written, results_csv, safe, wideners_csv
from effband.report.understood import understood
from effband.study import Study

StudyOf = Callable[..., Study]
FIGURES_TRIED = 200  # texts
SCREENS_TRIED = 2_000  # texts, every single piece among them
ROUND = str.maketrans("[]", "()")

# as the usual boards have them, from memory; a board that asks for blanks about them finds fewer
SMILEYS = re.compile(
    r"[:;]['^-]?[()DPpOoSsXx?!|@$\\/*<>\]\[]|:[a-zA-Z_]+:|:\?{3}:|=[()DP]|(?:^|(?<=[\s.>(]))8-?\)"
)

LINKS = re.compile(r"(?i)://\S|\bwww\.\S|\S@\S|\b(?:mailto|javascript|data):\S|[a-z]\.com\b")


def judged_html(page: str) -> list[Event]:
    return events(page)


def judged_markdown(page: str) -> list[Event]:
    return events(
        cmarkgfm.markdown_to_html_with_extensions(
            page,
            options=Options.CMARK_OPT_UNSAFE,
            extensions=["table", "autolink", "strikethrough", "tasklist"],
        )
    )


@functools.cache
def board() -> bbcode.Parser:
    """Return a parser of posts, with the tags that boards mostly know."""
    parser = bbcode.Parser()
    parser.replace_cosmetic = False  # it makes dashes of hyphens
    for _, options in parser.recognized_tags.values():
        options.replace_cosmetic = False
    for name in ("img", "size", "font", "email", "youtube", "spoiler"):
        parser.add_simple_formatter(name, f"<{name}>%(value)s</{name}>")
    return parser


def judged_forum(post: str) -> list[Event]:
    found = events(board().format(post))
    return [tuple(part.translate(ROUND) for part in event) for event in found]


def face_html(page: Report) -> str:
    return html(page, {"a.png": b"picture"})


FACES: dict[str, tuple[Callable[[Report], str], Callable[[str], list[Event]]]] = {
    "html": (face_html, judged_html),
    "md": (markdown, judged_markdown),
    "forum": (forum, judged_forum),
}


def seen_in(name: str) -> Callable[[str], str]:
    return visible if name != "forum" else lambda text: visible(text).translate(ROUND)


@pytest.mark.parametrize(
    ("name", "faulty", "tag"),
    [
        ("html", "<p>x<b>y</b></p>", "b"),
        ("html", "<p onclick='a'>x</p>", "onclick=a"),
        ("html", "<p>x<!-- a --></p>", "a"),
        ("md", "x <i>y</i>", "i"),
        ("md", "[l](http://a.example)", "href=http://a.example"),
        ("forum", "x [u]y[/u]", "u"),
        ("forum", "see http://a.example", "a"),
        ("forum", "a\nb", "br"),
    ],
)
def test_each_judge_sees_what_acts(name: str, faulty: str, tag: str) -> None:
    found = FACES[name][1](faulty)
    assert any(tag in event for event in found), found


@pytest.mark.parametrize("name", FACES)
def test_no_hostile_text_acts_in_any_block(name: str) -> None:
    face, parse = FACES[name]
    for texts in portions():
        same_but_for_words(face, parse, every_block, texts, seen_in(name))


@pytest.mark.parametrize("name", FACES)
def test_no_hostile_text_ends_preformatted_text(name: str) -> None:
    face, parse = FACES[name]
    for texts in portions():
        lines = [text.replace("\n", " ") for text in texts]
        same_but_for_words(face, parse, preformatted, lines, seen_in(name))


@pytest.mark.parametrize("name", FACES)
def test_no_hostile_text_acts_in_a_stuffed_report(name: str, study_of: StudyOf) -> None:
    face, parse = FACES[name]
    study = study_of(SAYING_ALL % 30)

    def make(texts: Sequence[str]) -> Report:
        return report(stuffed(study, texts), [Picture("a.png", texts[0])])

    portion = next(portions())
    sizes = [width(text) <= 12 for text in portion]
    short = [text for text, fits in zip(portion, sizes, strict=True) if fits][:400]
    same_but_for_words(face, parse, make, short if name == "forum" else portion, seen_in(name))


def test_no_smiley_and_no_link_stands_in_a_post() -> None:
    assert SMILEYS.search("well :) so")
    assert SMILEYS.search("well:lol:so")
    for texts in portions():
        post = re.sub(r"\[/?b\]", " ", forum(every_block(texts)))
        assert not LINKS.search(post)
        assert not LINKS.search(forum(preformatted(texts)))
        assert (found := SMILEYS.search(post)) is None, post[found.start() - 20 : found.end() + 9]


@pytest.mark.parametrize(
    "text",
    ["at 17:30, 3 kW (2026)", "class 2.5, 0-16 bar", "runs.csv", "run 18) stop", "max(a, b) = -4",
     "e.g. this", "水車", "1.5 m/s; 2 m/s"],
)  # fmt: skip
def test_plain_text_is_left_alone_in_a_post(text: str) -> None:
    page = Report(text, (), "s", ())
    assert forum(page).splitlines()[0] == f"[b]{text}[/b]"


# -- spreadsheets ---------------------------------------------------------------------------------

FORMULA = re.compile(r"^[\s'\"]*?(?<!')[=+\-@|%\t\r＝＋－＠]")


def test_a_spreadsheet_reads_text_as_text_and_numbers_as_numbers() -> None:
    """RFC 4180: CRLF ends a row, quotes are doubled; the csv module is strict about it."""
    numbers = [-1.5, 0.0, 2e-300, -7.0, 1e22]
    rows: list[list[Any]] = [
        [text, number, None, other]
        for text, other, number in zip(
            hostile_texts(), reversed(hostile_texts()), numbers * 4_000, strict=True
        )
    ]
    written = _written(rows)
    assert not MOVERS.search(written.replace("\r\n", "\n"))
    lines = written.split("\r\n")
    assert lines.pop() == ""
    assert len(lines) == len(rows)
    assert not any("\r" in line or "\n" in line for line in lines)
    for had, has in zip(
        rows, csv.reader(io.StringIO(written, newline=""), strict=True), strict=True
    ):
        assert len(has) == 4
        assert float(has[1]) == had[1]
        assert has[2] == ""
        for text, cell in ((had[0], has[0]), (had[3], has[3])):
            assert cell.removeprefix("'") == on_one_line(text).removeprefix("'")
            assert not cell or cell[0] not in "=+-@|%\t\r\n＝＋－＠" or cell == "%"


@pytest.mark.parametrize("text", ["=1", " =1", "\t=1", "\n+1", "-1", "@A1", "|a", "%a", "＝1"])
def test_what_begins_like_a_formula_is_made_text(text: str) -> None:
    assert safe(text) == "'" + text.strip()


def test_the_tables_of_a_study_keep_their_shape(study_of: StudyOf) -> None:
    study = study_of(SAYING_ALL % -30)
    for table in (results_csv(study), wideners_csv(study)):
        head, *rows = csv.reader(io.StringIO(table, newline=""), strict=True)
        assert rows
        assert all(len(row) == len(head) for row in rows)
    rows = list(csv.DictReader(io.StringIO(results_csv(study), newline="")))
    assert len(rows) == len(study.bands)
    wanted = [each["nominal"] for each in document(study)["results"]]
    assert [float(row["nominal"]) for row in rows] == wanted
    assert min(wanted) < 0, "a negative number stays one"


# -- screens --------------------------------------------------------------------------------------


def _judge_screen(
    show: Callable[[Sequence[str]], str],
    texts: Sequence[str],
    columns: float = 80,
    seen: Callable[[str], str] = on_one_line,
) -> None:
    made, wanted = show(texts), show(tame(texts))
    assert not MOVERS.search(made)
    assert all(c == "\n" or c.isprintable() for c in made)
    assert max(width(line) for line in made.splitlines()) <= columns
    words = [squeezed(seen(text)) for text in texts]
    assert squeezed(made) == with_words(squeezed(wanted), words)


def test_no_hostile_text_acts_on_the_screen_of_a_study(study_of: StudyOf) -> None:
    study = study_of(SAYING_ALL % 30)
    for texts in portions():
        _judge_screen(lambda some: screen(stuffed(study, some)), texts)


def test_short_hostile_text_adds_no_line(study_of: StudyOf) -> None:
    study = study_of(SAYING_ALL % 30)
    short = [text for text in hostile_texts() if len(visible(text)) <= len("tame00000x")][:2_000]
    made, wanted = (screen(stuffed(study, some)) for some in (short, tame(short)))
    bullets = [
        sum(line.startswith("  - ") for line in page.splitlines()) for page in (made, wanted)
    ]
    assert bullets[0] == bullets[1] > 100
    assert len(made.splitlines()) <= len(wanted.splitlines())


@pytest.fixture(scope="module")
def worked_out(tmp_path_factory: pytest.TempPathFactory) -> dict[str, tuple[Any, Any]]:
    """What each command works out of one case, and how it is shown."""
    cases = []
    for given in (30, 33):
        file = tmp_path_factory.mktemp("case") / "case.yaml"
        file.write_text(SAYING_ALL % given, encoding="utf-8")
        cases.append(studies.load(str(file)))
    draws = CommonDraws(1, 0.95, 20_000)
    was, now = cases
    changed = compare(was, now, pairs_of(was, now, "1 points"), was.settings)
    planned = plan(was, output_of(was, None, None), "1 points", draws)
    return {
        "upgrade": (advise(was, draws), upgrades.screen),
        "compare": (changed, comparison.screen),
        "plan": (planned, plans.screen),
        "check": (was, understood),
    }


@pytest.mark.parametrize("command", ["upgrade", "compare", "plan", "check"])
def test_no_hostile_text_acts_on_the_other_screens(
    worked_out: dict[str, tuple[Any, Any]], command: str
) -> None:
    found, show = worked_out[command]
    assert "tame00000x" in show(found), "the text of the user's is on the screen at all"
    texts = hostile_texts()[-SCREENS_TRIED:]
    for start in range(0, SCREENS_TRIED, PLACES):
        some = (*texts[start : start + PLACES], *["rest"] * PLACES)[:PLACES]
        show_words = functools.partial(_reshown, found, show)
        if command == "check":  # one line is one thing there, and a tab is spelt out
            _judge_screen(show_words, some, math.inf, printable)
        else:
            _judge_screen(show_words, some)


def _reshown(found: Any, show: Callable[[Any], str], texts: Sequence[str]) -> str:
    return show(reworded(found, texts))


# -- for machines ---------------------------------------------------------------------------------


def test_json_loses_nothing(study_of: StudyOf) -> None:
    study = study_of(SAYING_ALL % 30)
    for texts in portions():
        found = document(stuffed(study, texts))
        assert json.loads(to_json(found)) == found
        assert sum(len(text) for text in found["warnings"]) > sum(map(len, texts)) / 5


# -- figures --------------------------------------------------------------------------------------


def _texts_of(figure: Any) -> Iterator[Any]:
    from matplotlib.text import Text

    yield from figure.findobj(Text)


def test_no_hostile_text_acts_in_a_figure(wren: Study) -> None:
    """A warning is an error here, so a letter without a glyph would show."""
    sample = random.Random(7).sample(hostile_texts(), FIGURES_TRIED)
    each = 10
    made = [
        (figures.claim_figure, figures.claim_alt),
        (figures.loads_figure, figures.loads_alt),
        (figures.wideners_figure, figures.wideners_alt),
    ]
    need = len(hostile_texts())
    for start in range(0, FIGURES_TRIED, each):
        texts = sample[start : start + each]
        study = stuffed(wren, (texts * need)[:80])
        for draw, words_for in made:
            figure = draw(study, "0123456789ab")
            assert figure is not None
            assert figures.png(figure).startswith(b"\x89PNG")
            for text in _texts_of(figure):
                shown = text.get_text()
                assert all(c.isprintable() or c == "\n" for c in shown)
                assert not text.get_parse_math() or not set(shown) & set("$\\")
            alt = words_for(study)
            assert alt
            page = events(face_html(Report("t", (), "s", (Section("", (Picture("a.png", alt),)),))))
            (image,) = (event for event in page if event[:2] == ("start", "img"))
            assert image[3] == f"alt={squeezed(visible(alt))}"


# -- a whole study from its file ------------------------------------------------------------------


@pytest.fixture(scope="module")
def published(tmp_path_factory: pytest.TempPathFactory) -> Callable[[Sequence[str]], Any]:
    """Return a function that publishes a case with some texts in it, in every format."""

    def publish(texts: Sequence[str]) -> tuple[str, dict[str, bytes]]:
        text = re.sub(
            r"tame(\d{5})x",
            lambda match: json.dumps(texts[int(match[1])], ensure_ascii=False),
            SAYING_ALL % 30,
        )
        folder = tmp_path_factory.mktemp("case")
        (folder / "case.yaml").write_text(text, encoding="utf-8")
        case = studies.load(str(folder / "case.yaml"))
        settings = studies.with_options(case.settings, 20_000, None, None)
        return text, files_of(studies.run(case, settings), FORMATS)

    return publish


def _allowed(texts: Sequence[str]) -> list[str]:
    return [t for t in texts if not refused_characters(t, 1) and len(t.strip()) > 0]


def test_a_case_full_of_hostile_text_is_published_as_a_tame_one(
    published: Callable[[Sequence[str]], tuple[str, dict[str, bytes]]],
) -> None:
    words = [f"tame{k:05d}x" for k in range(PLACES)]
    _, plain = published(words)
    sample = _allowed(hostile_texts()[-400:])
    for start in range(0, len(sample) - PLACES, PLACES):
        texts = sample[start : start + PLACES]
        _, files = published(texts)
        assert set(files) == set(plain)
        for name in ("report.html", "report.md", "forum.txt"):
            kind = name.rpartition(".")[2] if name != "forum.txt" else "forum"
            parse = FACES[kind][1]
            page, wanted = (some[name].decode() for some in (files, plain))
            assert not MOVERS.search(page)
            tags = [
                [event for event in parse(some) if event[0] != "text"] for some in (page, wanted)
            ]
            for one, other in zip(*tags, strict=name != "forum.txt"):
                if "alt=" not in "".join(one) and name != "forum.txt":
                    assert one == other
            if name == "forum.txt":
                assert {event[1] for event in tags[0]} <= {"strong", "code", "br"}
        assert json.loads(files["result.json"])["case"]["title"] == texts[0].strip()
        for name in ("results.csv", "wideners.csv"):
            assert files[name] == plain[name]
        pictures = [name for name in files if name.endswith(".png")]
        assert pictures
        assert all(files[name].startswith(b"\x89PNG") for name in pictures)


def test_every_face_has_the_same_numbers(wren: Study) -> None:
    page = report(wren)
    for face, parse in FACES.values():
        text = "".join(event[1] for event in parse(face(page)) if event[0] == "text")
        for band in wren.bands:
            numbers = words.rounded(band)
            assert squeezed(f"{numbers.with_unit}{numbers.low} to {numbers.high}") in text.replace(
                "value", ""
            ).replace(";95%band", "")
