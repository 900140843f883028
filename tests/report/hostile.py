"""Hostile text, studies that are full of it, and one judge for all faces.

The judge: a page made of hostile text must be, to a parser of its own, the page made of tame words
with other words in it: the same tags, attributes, links and comments in the same order.
"""

from __future__ import annotations

import functools
import random
import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import fields, is_dataclass, replace
from html.parser import HTMLParser
from typing import Any

from effband.case.program import Program
from effband.problems import printable
from effband.report.blocks import (
    Bullets,
    Code,
    Paragraph,
    Picture,
    Preformatted,
    Report,
    Section,
    Strong,
    Table,
)
from effband.study import Remark, Study

HOSTILE_TEXTS = 20_000
AT_ONCE = 2_000

PIECES = (
    "|", "||", "`", "``", "```", "```\n", "~~~\n", "\n", "\n\n", "\r\n", "\t", "\\", "\\|", "\\n",
    "<b>", "</td>", "</tr></table>", "<script>alert(1)</script>", "<img src=x onerror=y>", "<!--",
    "-->", "<a href='http://a.example'>", "<http://a.example>", "<me@a.example>", "<br>",
    "[a](http://a.example)", "![a](b.png)", "[a]: http://a.example", "[a][b]", "[^1]", "]", "[ ] ",
    "[x] ", "http://a.example", "https://a.example/|b", "HTTP://A.EXAMPLE", "www.a.example",
    "WWW.a.example", "ftp://a.example", "mailto:me@a.example", "xmpp:me@a.example", "me@a.example",
    "# ", "## ", "\n# ", "===", "\n===\n", "---", "\n---\n", "***", "___", "* ", "- ", "+ ", "> ",
    "1. ", "1) ", "2026. ", "    ", "&amp;", "&#124;", "&lt;b&gt;", "&#x3c;", "&nbsp;", "&", "*a*",
    "**a**", "_a_", "__a__", "~~a~~", "~a~", "$x^2$", ":smile:", "@me", "#12", "\u202e", "\u2066",
    "\u200b", "\u00a0", "\u2028", "\x1b[31m", "\x9b", "\x00", "\x07", "\ufeff",
    "\u0301\u0301\u0301",
    "水車", "Mühle", "\U0001f4a5", "：", "｜", "＜b＞", "a", "air motor", " ", "  ",
    "12", "8.05 %", '"',
    "'", "!", ")", "(",
    # tags, smileys and links of forums
    "[b]", "[/b]", "[code]", "[/code]", "[ /code ]", "[url=http://a.example]x[/url]", "[*]",
    "[img]http://a.example/a.png[/img]", "[list][*]a[/list]", "[quote]", "[/", ":)", ":-(", ";)",
    ":D", ":-P", "8-)", "8)", "=)", ":lol:", ":!:", ":?", ":|", ":]", "shop.com", "a.net/b", "XD",
    # formulas of spreadsheets
    "=1+1", "+1", "-1", "@SUM(1)", "=HYPERLINK(\"http://a.example\")", "%0a", "\t=1", "＝1+1",
    ";=1",
    # templates, entities and styles
    "{{ 7 * 7 }}", "{% raw %}", "{# a", "${7*7}", "#{7}", "&lt;script&gt;", "&#60;b&#62;",
    "&bogus;",
    "</style>", "</title>", "</pre>", "\"><b>", "' onload='x", "body { display: none }", "*/", "/*",
    "@import url(http://a.example);", "style=color:red", "<svg/onload=x>", "<![CDATA[", "]]>",
    "<?x?>",
    # halves of letters, other directions, marks on marks, letters without width
    "\ud800", "\udfff", "\u202a", "\u202b", "\u2067", "\u2069", "\u200f", "\u200d", "\u0335" * 9,
    "\u2029", "\x85", "\x0b", "\x0c", "\x1c", "\r", "\x1b]0;a\x07", "\x7f", "\ufffe", "\U000e0041",
    "$\\frac{1}{$", "_hidden", "%s", "%(a)s", "{0}",
)  # fmt: skip

# control characters, line separators, and what turns the direction of text
MOVERS = re.compile(r"[\x00-\x09\x0b-\x1f\x7f-\x9f\u2028-\u202e\u2066-\u2069\u200b-\u200f]")

Event = tuple[str, ...]


@functools.cache
def hostile_texts() -> tuple[str, ...]:
    """Return the hostile texts, the same ones every time; the last ones are single pieces."""
    rng = random.Random(20260514)
    pieces = [piece for piece in PIECES if piece.strip()]
    found: list[str] = []
    while len(found) < HOSTILE_TEXTS - len(pieces):
        text = "".join(rng.choices(PIECES, k=rng.randint(1, 7)))
        if text.strip():  # a case holds no empty text
            found.append(text)
    return (*found, *pieces)


def portions() -> Iterator[tuple[str, ...]]:
    """Yield all hostile texts, some at once."""
    for start in range(0, HOSTILE_TEXTS, AT_ONCE):
        yield hostile_texts()[start : start + AT_ONCE]


def tame(texts: Sequence[str]) -> tuple[str, ...]:
    """Return as many words that no parser takes for anything, each once."""
    return tuple(f"tame{k:05d}x" for k in range(len(texts)))


def visible(text: str) -> str:
    """Return what a reader should see of a text: whitespace as one blank, controls spelled."""
    return " ".join(printable(text.replace("\n", " ").replace("\t", " ")).split())


def on_one_line(text: str) -> str:
    """Return what a reader should see of a text where every kind of blank is one blank."""
    return printable(" ".join(text.split()))


def squeezed(text: str) -> str:
    """Return text without any whitespace."""
    return "".join(text.split())


def with_words(text: str, words: Sequence[str]) -> str:
    """Return text in which the tame words are replaced by others."""
    return re.sub(r"tame(\d{5})x", lambda match: words[int(match[1])], text)


class Events(HTMLParser):
    """What a browser would make of a page: tags, attributes, comments and text, in order."""

    def __init__(self, html: str) -> None:
        super().__init__(convert_charrefs=True)
        self.found: list[Event] = []
        self.feed(html)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.found.append(("start", tag, *(f"{name}={value}" for name, value in attrs)))

    def handle_endtag(self, tag: str) -> None:
        self.found.append(("end", tag))

    def handle_comment(self, data: str) -> None:
        if data.strip():
            self.found.append(("comment", data))

    def handle_decl(self, decl: str) -> None:
        self.found.append(("declaration", decl))

    def unknown_decl(self, data: str) -> None:
        self.found.append(("declaration", data))

    def handle_pi(self, data: str) -> None:
        self.found.append(("instruction", data))

    def handle_data(self, data: str) -> None:
        if self.found and self.found[-1][0] == "text":
            data = self.found.pop()[1] + data
        self.found.append(("text", data))


def events(html: str) -> list[Event]:
    """Return what a parser finds in a page; blanks do not count."""
    found = (tuple(map(squeezed, event)) for event in Events(html).found)
    return [event for event in found if event != ("text", "")]


def same_but_for_words(
    face: Callable[[Report], str],
    parse: Callable[[str], list[Event]],
    make: Callable[[Sequence[str]], Report],
    texts: Sequence[str],
    seen: Callable[[str], str] = visible,
) -> None:
    """Fail where a face of hostile texts holds anything but what that of tame words holds."""
    words = [squeezed(seen(text)) for text in texts]
    page = face(make(texts))
    assert not MOVERS.search(page)
    page.encode()
    wanted = [
        tuple(with_words(part, words) for part in event) for event in parse(face(make(tame(texts))))
    ]
    found = parse(page)
    for one, other in zip(found, wanted, strict=False):
        assert one == other
    assert len(found) == len(wanted)


def every_block(texts: Sequence[str]) -> Report:
    """Return a report with the texts in every place of every kind of block, by turns."""
    one = iter(texts)

    def few(count: int) -> list[str]:
        return [text for text, _ in zip(one, range(count), strict=False)]

    title, sentence, heading, caution = few(4)
    sections = []
    while rest := few(12):
        a, b, c, d, e, f, g, h, i, j, k, m = (*rest, *["rest"] * (12 - len(rest)))
        blocks = (
            Paragraph((a, " and ", Strong(b), ", so.")),
            Bullets((((c, ": ", d), (e, f)), (("is: ", Strong(g)), ()))),
            Table(((h,), ("run " * 20,)), (((i,), ("group ", Code("full"))), ((Strong(j),), (k,)))),
            Picture("a.png", m),
        )
        sections.append(Section(heading, blocks, in_post=True))
    return Report(title, (caution,), sentence, tuple(sections))


def preformatted(texts: Sequence[str]) -> Report:
    """Return a report that holds the texts as lines that count."""
    whole = "\n".join(texts)
    return Report("t", (), "s", (Section("case", (Preformatted(whole),), in_post=True),))


SAYING_ALL = """\
effband: 1
title: tame00000x
hazards: [tame00001x, compressed air]
about: {who: tame00002x, day: tame00003x}
instruments:
  meter: {label: tame00004x, note: tame00005x, accuracy: 1 %% of reading, evidence: rule of thumb}
  gauge: {label: tame00006x, accuracy: 1 %% of span, span: [0 degC, 100 degC], note: tame00007x}
inputs:
  given: {value: %s W, standard_uncertainty: 1 W, label: tame00008x, note: tame00009x}
  taken: {value: 100 W, plus_minus: 5 W, evidence: guess, note: tame00010x}
  one: {value: 20 W, instrument: meter, note: tame00011x}
runs:
  readings:
    heat: {unit: degC, instrument: gauge, note: tame00012x, label: tame00013x}
  rows: {low: {heat: 20}, high_1: {heat: 40}, high_2: {heat: 41}, high_3: {heat: 40}}
  groups: {high: [high_1, high_2, high_3]}
formulas:
  by_one: {formula: one / taken, label: tame00014x, note: tame00015x}
  by_two: {formula: given / taken, label: tame00016x}
results:
  share:
    formula: given / taken
    unit: "%%"
    label: tame00017x
    note: tame00018x
    boundary: {in: tame00019x, out: tame00020x}
  shared:
    formula: one / taken
    unit: "%%"
    label: tame00021x
    boundary: {in: tame00022x, out: tame00023x}
  warm: {formula: heat, unit: degC, label: tame00024x}
claims:
  - {result: share, says: at least 28 %%}
  - {result: warm, says: between 10 degC and 30 degC}
cross_checks: {twice: [by_one, by_two]}
upgrades:
  better:
    label: tame00025x
    note: tame00026x
    replaces: given
    input: {standard_uncertainty: 0.1 W, note: tame00027x}
    cost: 10 EUR
  other:
    label: tame00028x
    replaces: gauge
    instrument: {accuracy: 0.1 %% of span, span: [0 degC, 100 degC], label: tame00029x}
    for: {result: warm, run: high}
"""
PLACES = 30  # of text in it


def reworded(found: object, words: Sequence[str]) -> Any:
    """Return what was worked out with other words, wherever the tame ones got to."""
    done: dict[int, Any] = {}
    kept = []  # no number of an object is given out again meanwhile

    def walk(thing: Any) -> Any:
        if isinstance(thing, str):
            return with_words(thing, words) if "tame" in thing else thing
        if id(thing) not in done:
            kept.append(thing)
            done[id(thing)] = within(thing)
        return done[id(thing)]

    def within(thing: Any) -> Any:
        if isinstance(thing, Program):
            return thing  # holds names only
        if isinstance(thing, tuple | list):
            items = [walk(item) for item in thing]
            same = all(one is other for one, other in zip(items, thing, strict=True))
            return thing if same else type(thing)(items)
        if isinstance(thing, dict):
            return {walk(key): walk(value) for key, value in thing.items()}
        if is_dataclass(thing) and not isinstance(thing, type):
            inside = [each.name for each in fields(thing) if each.init]
            had = {name: getattr(thing, name) for name in inside}
            has = {name: walk(value) for name, value in had.items()}
            changed = {name: value for name, value in has.items() if value is not had[name]}
            return replace(thing, **changed) if changed else thing
        return thing

    return walk(found)


def stuffed(study: Study, texts: Sequence[str]) -> Study:
    """Return a study with hostile text wherever a user can put some."""
    more = iter(texts)

    def text() -> str:
        return next(more)

    case = study.case
    changed = {
        target.name: replace(
            target,
            label=text(),
            boundary=None if target.boundary is None else (text(), text()),
        )
        for target in case.targets
    }
    bands = tuple(
        replace(band, output=replace(band.output, target=changed[band.output.target.name]))
        for band in study.bands
    )
    leaves = []
    for leaf in case.leaves:
        parts = tuple(replace(part, words=text()) for part in leaf.components)
        leaves.append(replace(leaf, note=text(), components=parts))
    claims = tuple(
        replace(each, claim=replace(each.claim, says=text()), reason=each.reason and text())
        for each in study.claims
    )
    instruments = tuple((name, text()) for name, _ in case.instruments)
    title, hazards = text(), (text(), text())
    rest = list(more)
    third = len(rest) // 3
    pairs = list(zip(rest[:third:2], rest[1:third:2], strict=False))
    assumed, remarked = rest[third : 2 * third], rest[2 * third :]
    case = replace(
        case,
        title=title,
        hazards=hazards,
        targets=tuple(changed.values()),
        outputs=tuple(band.output for band in bands),
        leaves=tuple(leaves),
        assumptions=tuple(assumed),
        instruments=instruments,
        about=tuple(pairs),
    )
    remarks = tuple(
        Remark(what, remedy) for what, remedy in zip(remarked[::2], remarked[1::2], strict=False)
    )
    return replace(study, case=case, bands=bands, remarks=remarks, claims=claims)
