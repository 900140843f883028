"""A report as text for a forum, with the bold and code tags that most forums know.

It reads well where they are shown as they are.

There is no escape for a tag, so brackets of the user's become round ones; where a forum would
make a link or a smiley of his text, a blank parts it.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence

from effband.problems import printable, width
from effband.report.blocks import (
    Block,
    Bullets,
    Line,
    Paragraph,
    Picture,
    Preformatted,
    Report,
    Section,
    Span,
    Strong,
    Table,
)

COLUMNS = 78  # of a table set as code; a wider one becomes a list
_ROUND = str.maketrans("[]", "()")
_LINKS = re.compile(r"(?i)(://|@|\b(?:www|ftp)(?=\.)|\b(?:mailto|xmpp|javascript|data)(?=:))")
_SMILEYS = re.compile(
    r"(?:(?<=[:;=])|(?<![\w.][8xX])(?<=[8xX]))(?=-?[()DPpOo|/\\*3<>](?![A-Za-z0-9]))|(?<=:)(?=[a-z_]{2,20}:)"
)


def forum(report: Report) -> str:
    """Return the post: what a short report needs, and what it takes to run it again."""
    lines = [f"[b]{plain(report.title)}[/b]", "", f"[b]{plain(report.sentence)}[/b]", ""]
    if report.cautions:
        lines += ["[b]Cautions.[/b]", *(f"- {plain(note)}" for note in report.cautions), ""]
    for section in report.sections:
        if section.in_post:
            lines += _section(section)
    return "\n".join(lines).rstrip() + "\n"


def plain(text: str) -> str:
    """Return text on one line in which a forum finds no tag, link or smiley."""
    one_line = " ".join(printable(text.replace("\n", " ").replace("\t", " ")).split())
    return _SMILEYS.sub(" ", _LINKS.sub(r" \1 ", one_line.translate(_ROUND)))


def _section(section: Section) -> Iterator[str]:
    blocks = [block for block in section.blocks if not isinstance(block, Picture)]
    if not blocks:
        return
    if section.title:
        yield f"[b]{plain(section.title)}[/b]"
    for block in blocks:
        yield from _block(block)
        yield ""


def _block(block: Block) -> Iterator[str]:
    match block:
        case Paragraph():
            yield _line(block.line)
        case Bullets():
            for line, under in block.items:
                yield f"- {_line(line)}"
                yield from (f"  - {plain(text)}" for text in under)
        case Table():
            yield from _table(block)
        case Preformatted():
            yield "[code]"
            yield from (_inside_code(line) for line in block.text.split("\n"))
            yield "[/code]"
        case Picture():
            return


def _line(line: Line) -> str:
    return "".join(_span(span) for span in line)


def _span(span: Span) -> str:
    match span:
        case Strong():
            return f"[b]{plain(span.text)}[/b]"
        case str():
            before, after = " " * span.startswith(" "), " " * span.endswith(" ")
            return f"{before}{plain(span)}{after}" if span.strip() else span
        case _:
            return plain(span.text)


def _table(table: Table) -> Iterator[str]:
    """Yield a table in even columns, or as a list where it is too wide for them."""
    rows = [[_cell(cell) for cell in row] for row in (table.head, *table.rows)]
    wide = [max(width(row[at]) for row in rows) for at in range(len(table.head))]
    if sum(wide) + 2 * (len(wide) - 1) <= COLUMNS:
        yield "[code]"
        for row in rows:
            cells = (text + " " * (w - width(text)) for text, w in zip(row, wide, strict=True))
            yield "  ".join(cells).rstrip()
        yield "[/code]"
        return
    head, *body = rows
    for first, *others in body:
        told = (f"{name} {text}" for name, text in zip(head[1:], others, strict=True) if text)
        yield f"- {first}: {'; '.join(told)}"


def _cell(cell: Sequence[Span]) -> str:
    return "".join(plain(s if isinstance(s, str) else s.text) if s != "group " else s for s in cell)


def _inside_code(line: str) -> str:
    """Return a line of preformatted text in which nothing ends the block."""
    return re.sub(r"\[(?=\s*/)", "(", printable(line.expandtabs()))
