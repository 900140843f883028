"""The HTML report in a real browser: nothing fetched, nothing said, nothing cut, on any screen.

Skipped where there is no Chromium; in CI it must be there.
"""

from __future__ import annotations

import http.server
import io
import json
import os
import re
import shutil
import subprocess
import threading
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from pathlib import Path

import chromium
import numpy as np
import pytest
from hostile import (
    SAYING_ALL,
    events,
    every_block,
    hostile_texts,
    squeezed,
    tame,
    visible,
    with_words,
)
from matplotlib.figure import Figure
from matplotlib.image import imread
from sizes import many

from effband import study as studies
from effband.report import html as html_face
from effband.report.blocks import Code, Picture, Report, Section, Table
from effband.report.content import report
from effband.report.figures import png
from effband.report.publication import files_of
from effband.study import Study

PROGRAM = chromium.found()
MUST = os.environ.get("CI") == "true"
THERE = PROGRAM is not None and shutil.which("pdftotext") is not None
pytestmark = pytest.mark.skipif(not THERE and not MUST, reason="Chromium or pdftotext is missing")

NARROW, WIDE = 400, 1200  # pixels
FORMATS = ("html",)
A4 = (595.0, 842.0)  # points
MARGIN = 20.0  # points at least, of a page as Chromium prints it
SMALLEST = 4.0  # points, of a word's height on paper
EVERY_TABLE = "[...document.querySelectorAll('td, th')].map(cell => cell.textContent)"
TOO_WIDE = """
[...document.body.querySelectorAll('*')].filter(e => !e.closest('.wide, pre') || e.matches('.wide'))
    .filter(e => e.getBoundingClientRect().right > document.documentElement.clientWidth + 0.5)
    .map(e => e.tagName + ': ' + e.textContent.slice(0, 40))
"""


@pytest.fixture(scope="module")
def window() -> Iterator[chromium.Browser]:
    assert THERE, "CI must have both: apt-get install chromium poppler-utils"
    assert PROGRAM is not None
    with chromium.browser(PROGRAM) as found:
        yield found


@pytest.fixture
def listening() -> Iterator[tuple[str, list[str]]]:
    """A server of this machine's, and what it was asked for."""
    asked: list[str] = []

    class Listener(http.server.BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            asked.append(self.path)
            self.send_error(404)

        def log_message(self, *args: object) -> None:
            pass

    server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), Listener)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    yield f"http://127.0.0.1:{server.server_address[1]}", asked
    server.shutdown()
    server.server_close()


@pytest.fixture(scope="module")
def pages(wren: Study, tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """The reports that are looked at, as files."""
    folder = tmp_path_factory.mktemp("pages")
    texts = [text for text in hostile_texts() if text.isprintable() and text.strip()]
    stuffing = re.sub(
        r"tame(\d{5})x",
        lambda match: json.dumps(texts[int(match[1])], ensure_ascii=False),
        SAYING_ALL % 30,
    )
    found = {"wren": files_of(wren, FORMATS)}
    for name, text in (("stuffed", stuffing), ("many", many(14, 6))):
        case = folder / f"{name}.yaml"
        case.write_text(text, encoding="utf-8")
        loaded = studies.load(str(case))
        settings = replace(loaded.settings, trials=20_000)
        found[name] = files_of(studies.run(loaded, settings), FORMATS)
    for name, files in found.items():
        (folder / f"{name}.html").write_bytes(files["report.html"])
    return {name: folder / f"{name}.html" for name in found}


NAMES = ("wren", "stuffed", "many")


# -- nothing fetched, nothing said ----------------------------------------------------------------


def _quiet(window: chromium.Browser) -> None:
    assert window.said() == []
    asked = window.requests()
    assert asked[0].startswith("file:"), "the page itself is among them, so they are seen"
    assert all(url.startswith("data:image/png;base64,") for url in asked[1:])


@pytest.mark.parametrize("name", NAMES)
def test_a_report_opens_from_disk_without_a_word_or_a_request(
    window: chromium.Browser, pages: dict[str, Path], name: str
) -> None:
    window.open(pages[name])
    _quiet(window)
    assert window.answer("document.images.length") >= 1
    assert window.answer("[...document.images].every(image => image.naturalWidth > 0)")
    acting = (
        "script, link, iframe, object, embed, form, a, base, svg, [onload], [onerror], [onclick]"
    )
    assert window.answer(f"document.querySelectorAll({acting!r}).length") == 0


def _reaching(address: str) -> list[str]:
    """Return texts that would reach a server if they acted."""
    return [
        f"<img src={address}/image>", f"<script src={address}/script></script>",
        f"</title><link rel=stylesheet href={address}/style>", f"<iframe src={address}/frame>",
        f"</style><style>@import url({address}/import);</style>", f"{address}/plain",
        f"'\" onerror='fetch(`{address}/fetch`)' x='",
        f"<meta http-equiv=refresh content=0;{address}/>",
        f"</pre><video autoplay src={address}/video>", f"background: url({address}/background)",
        f"<base href={address}/>", f"![]({address}/markdown)", f"[img]{address}/forum[/img]",
    ]  # fmt: skip


def test_no_address_of_the_users_is_asked_for(
    window: chromium.Browser, listening: tuple[str, list[str]], tmp_path: Path
) -> None:
    address, asked = listening
    page = tmp_path / "page.html"
    page.write_text(html_face.html(every_block(_reaching(address) * 2), {"a.png": b""}), "utf-8")
    window.open(page)
    assert asked == []
    assert all(not url.startswith("http") for url in window.requests())


@pytest.mark.parametrize("policy", [True, False])
def test_the_judge_sees_a_request_and_a_word(
    window: chromium.Browser, listening: tuple[str, list[str]], tmp_path: Path, policy: bool
) -> None:
    """A page that is not escaped: its policy alone keeps it from asking, and that is said."""
    address, asked = listening
    page = html_face.html(Report("t", (), "HERE", ()), {})
    if not policy:
        page = re.sub(r"<meta http-equiv[^>]*>", "", page)
    (tmp_path / "page.html").write_text(page.replace("HERE", f"<img src={address}/seen>"), "utf-8")
    window.open(tmp_path / "page.html")
    assert asked == ([] if policy else ["/seen"])
    assert window.said() or not policy
    with pytest.raises(AssertionError):
        _quiet(window)


def test_the_browser_makes_of_hostile_text_what_the_parser_made(
    window: chromium.Browser, tmp_path: Path
) -> None:
    """Elements, attributes and text as the browser has them, tame words put in their place."""
    texts = [" ".join(text.split()) for text in hostile_texts()[-3_000:]]
    texts = [text for text in texts if text.isprintable()][:1_200]
    assert len(texts) == 1_200
    dom = []
    for name, some in (("hostile", texts), ("tame", tame(texts))):
        page = tmp_path / f"{name}.html"
        page.write_text(html_face.html(every_block(some), {"a.png": b""}), "utf-8")
        window.open(page)
        # as elements, each with its attributes, and text: written by the browser
        dom.append(
            window.answer(
                """(function told(node) {
                if (node.nodeType === 3) return [node.data];
                if (node.nodeType !== 1) return ['node ' + node.nodeType + node.nodeName];
                const own = [...node.attributes].map(a => a.name + '=' + a.value);
                return ['<' + node.localName, ...own, ...[...node.childNodes].flatMap(told), '>'];
            })(document.documentElement)"""
            )
        )
    words = [squeezed(visible(text)) for text in texts]
    hostile_dom, tame_dom = dom
    assert len(hostile_dom) == len(tame_dom) > 2_000
    for found, wanted in zip(hostile_dom, tame_dom, strict=True):
        assert squeezed(found) == with_words(squeezed(wanted), words)


# -- screens --------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", NAMES)
def test_a_telephone_shows_all_without_scrolling_sideways(
    window: chromium.Browser, pages: dict[str, Path], name: str
) -> None:
    window.sized(NARROW)
    window.open(pages[name])
    assert window.answer("document.documentElement.clientWidth") == NARROW
    assert window.answer("document.documentElement.scrollWidth") == NARROW
    assert window.answer(TOO_WIDE) == []
    # what is wider than the screen can be scrolled to, also without a mouse
    wide = "[...document.querySelectorAll('.wide')].filter(e => e.scrollWidth > e.clientWidth)"
    assert window.answer(f"{wide}.length") >= 1
    assert window.answer(
        f"{wide}.every(e => e.tabIndex === 0 && getComputedStyle(e).overflowX === 'auto')"
    )


def test_the_judge_sees_what_is_too_wide(window: chromium.Browser, pages: dict[str, Path]) -> None:
    window.sized(NARROW)
    window.open(pages["wren"])
    window.answer("document.querySelector('.wide').style.overflow = 'visible'")
    assert window.answer("document.documentElement.scrollWidth") > NARROW
    window.answer("document.querySelector('p').style.width = '500px'")
    assert window.answer(TOO_WIDE)


def _picture(window: chromium.Browser, scheme: str, wide: int, page: Path) -> np.ndarray:
    window.coloured(scheme)
    window.sized(wide)
    window.open(page)
    taken = imread(io.BytesIO(window.screenshot()), format="png")
    window.coloured("light")
    return np.asarray(taken[..., :3])


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("wide", [NARROW, WIDE])
def test_pages_are_seen_light_and_dark(
    window: chromium.Browser, pages: dict[str, Path], name: str, wide: int
) -> None:
    light, dark = (_picture(window, scheme, wide, pages[name]) for scheme in ("light", "dark"))
    assert light.shape == dark.shape
    assert light.shape[0] > 1_000
    assert light.shape[1] == wide
    for shot in (light, dark):
        bands = np.array_split(shot, shot.shape[0] // 400)
        # no stretch of the page is blank
        assert min(float(band.std()) for band in bands) > 0.01
    assert np.median(light) > 0.9
    assert np.median(dark) < 0.2


def test_colours_can_be_read(window: chromium.Browser, pages: dict[str, Path]) -> None:
    """WCAG 2.2, 1.4.3: 4.5 to 1 between text and what is behind it, in both schemes."""
    pairs = """
    [...document.querySelectorAll('body, th, .cautions p, pre')].map(e => {
        let behind = e;
        while (getComputedStyle(behind).backgroundColor === 'rgba(0, 0, 0, 0)')
            behind = behind.parentElement;
        return [getComputedStyle(e).color, getComputedStyle(behind).backgroundColor]
            .map(c => c.match(/[0-9.]+/g).slice(0, 3).map(Number));
    })"""

    def luminance(colour: Sequence[float]) -> float:
        parts = [c / 255 for c in colour]
        red, green, blue = (
            c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts
        )
        return 0.2126 * red + 0.7152 * green + 0.0722 * blue

    for scheme in ("light", "dark"):
        window.coloured(scheme)
        window.open(pages["wren"])
        found = window.answer(pairs)
        assert len(found) > 10
        for pair in found:
            low, high = sorted(luminance(colour) for colour in pair)
            assert (high + 0.05) / (low + 0.05) >= 4.5
    window.coloured("light")


# -- paper ----------------------------------------------------------------------------------------


def _printed(window: chromium.Browser, page: Path, tmp_path: Path) -> tuple[str, list[list[float]]]:
    """Return the text on paper, and the box of every word: left, top, right, bottom."""
    window.open(page)
    file = tmp_path / "page.pdf"
    file.write_bytes(window.pdf())
    told = subprocess.run(
        ["pdftotext", "-bbox", str(file), "-"], capture_output=True, check=True, text=True
    ).stdout
    boxes = re.findall(
        r'<word xMin="([\d.-]+)" yMin="([\d.-]+)" xMax="([\d.-]+)" yMax="([\d.-]+)"', told
    )
    assert set(re.findall(r'<page width="(\d+)\.?\d*" height="(\d+)', told)) <= {
        (str(int(w)), str(int(h))) for w in (A4[0], A4[0] + 1) for h in (A4[1] - 1, A4[1])
    }
    words = events(told)
    text = "".join(event[1] for event in words if event[0] == "text")
    return text, [list(map(float, box)) for box in boxes]


def _check_paper(window: chromium.Browser, page: Path, tmp_path: Path) -> None:
    text, boxes = _printed(window, page, tmp_path)
    cells = window.answer(EVERY_TABLE)
    assert len(cells) > 10
    missing = [cell for cell in cells if not _stands(cell, text)]
    assert missing == []
    _check_boxes(boxes)


def _check_boxes(boxes: list[list[float]]) -> None:
    assert min(left for left, _, _, _ in boxes) >= MARGIN
    assert max(right for _, _, right, _ in boxes) <= A4[0] - MARGIN
    assert min(bottom - top for _, top, _, bottom in boxes) >= SMALLEST


def _stands(cell: str, text: str) -> bool:
    """Whether every word of a cell stands on paper, broken or not."""
    return all(word in text for word in cell.split())


@pytest.mark.parametrize("name", ["wren", "many"])
def test_a_printed_report_has_every_cell_within_its_pages(
    window: chromium.Browser, pages: dict[str, Path], tmp_path: Path, name: str
) -> None:
    window.coloured("dark")  # paper is white whatever the screen is
    _check_paper(window, pages[name], tmp_path)
    window.coloured("light")
    window.ask("Emulation.setEmulatedMedia", media="print", features=[])
    ink = window.answer("getComputedStyle(document.body).color")
    window.ask("Emulation.setEmulatedMedia", media="", features=[])
    assert sum(map(int, re.findall(r"\d+", ink)[:3])) < 150


def test_long_names_are_printed_whole(window: chromium.Browser, tmp_path: Path) -> None:
    names = [f"pressure_in_the_receiver_after_settling_{k}" for k in range(3)]
    table = Table(
        tuple((Code(name),) for name in names),
        tuple(tuple((f"{name * 2} {k}",) for name in names) for k in range(90)),
    )
    page = tmp_path / "long.html"
    page.write_text(html_face.html(Report("t", (), "s", (Section("a", (table,)),)), {}), "utf-8")
    text, boxes = _printed(window, page, tmp_path)
    _check_boxes(boxes)
    # a name is broken into lines, so its letters are counted
    printed, wanted = Counter(text), Counter(squeezed("".join(window.answer(EVERY_TABLE))))
    assert sum(wanted.values()) > 20_000
    assert all(printed[letter] >= count for letter, count in wanted.items())


def test_no_picture_is_longer_than_a_page(window: chromium.Browser, tmp_path: Path) -> None:
    """Its height is that of A4, less the margins, and it keeps its shape."""
    figure = Figure(figsize=(8, 24), dpi=100)
    picture = Picture("long.png", "a long one")
    blocks = Section("Results", (picture,))
    page = tmp_path / "long.html"
    page.write_text(
        html_face.html(Report("t", (), "s", (blocks,)), {"long.png": png(figure)}), "utf-8"
    )
    window.sized(int((A4[0] - 2 * MARGIN) * 96 / 72))
    window.open(page)
    window.ask("Emulation.setEmulatedMedia", media="print", features=[])
    wide, high = window.answer(
        "(b => [b.width, b.height])(document.images[0].getBoundingClientRect())"
    )
    window.ask("Emulation.setEmulatedMedia", media="", features=[])
    assert 300 < high < (A4[1] - 4 * MARGIN) * 96 / 72
    assert wide / high == pytest.approx(1 / 3, rel=0.01)


@pytest.mark.parametrize(
    "fault",
    [
        ".wide { overflow: hidden !important; width: 300px }",
        "table { width: 4000px !important; max-width: none !important }",
        "td { font-size: 2pt !important }",
        "tbody tr:nth-child(2) { display: none }",
    ],
)
def test_the_judge_sees_what_is_cut_on_paper(
    window: chromium.Browser, pages: dict[str, Path], tmp_path: Path, fault: str
) -> None:
    page = tmp_path / "faulty.html"
    whole = pages["wren"].read_text("utf-8")
    page.write_text(whole.replace("</style>", f"{fault}</style>", 1), "utf-8")
    with pytest.raises(AssertionError):
        _check_paper(window, page, tmp_path)


def test_the_words_of_a_report_are_those_on_the_page(
    window: chromium.Browser, pages: dict[str, Path], wren: Study
) -> None:
    window.open(pages["wren"])
    headings = window.answer("[...document.querySelectorAll('h1, h2')].map(h => h.textContent)")
    assert headings[0] == wren.case.title
    sections = [section.title for section in report(wren).sections if section.title]
    assert [title for title in headings if title in sections] == sections
    seen: Callable[[str], str] = squeezed
    assert seen(report(wren).sentence) in seen(window.answer("document.body.innerText"))
