"""A report as text for a forum, with the bold and code tags that most forums know.

It reads well where they are shown as they are.

There is no escape for a tag, so brackets of the user's become round ones; where a forum would
make a link or a smiley of his text, a blank parts it.
"""

from __future__ import annotations

import re
from collections.abc import Iterator

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
# forums link bare domains, too; endings of files are none
_DOMAIN = re.compile(r"(?i)(?<=[a-z0-9-]\.)(?!(?:csv|ya?ml|json|txt|png|html)\b)(?=[a-z]{2})")
_SMILEYS = re.compile(
    r"(?<=[:;])(?=[^\s\d])|(?<!\d[:;])(?<=[:;])(?=\d)"  # :) ;-( :3, but not 17:30
    r"|(?<==)(?=['^-]?(?:[^\sA-Za-z0-9]|[DPp](?![A-Za-z0-9])))"  # =) =D
    r"|(?<![\w.]8)(?<=8)(?=-?\))|(?<![\w.][xXB])(?<=[xXB])(?=[)D](?![A-Za-z0-9]))"  # 8-) XD
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
    return " ".join(_SMILEYS.sub(" ", _parted(one_line.translate(_ROUND))).split())


def _parted(text: str) -> str:
    return _DOMAIN.sub(" ", _LINKS.sub(r" \1 ", text))


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
    return "".join(f"[b]{_text(s)}[/b]" if isinstance(s, Strong) else _text(s) for s in line)


def _text(span: Span) -> str:
    """Return a span; blanks at the ends of ours part it from its neighbours, and are kept."""
    if not isinstance(span, str):
        return plain(span.text)
    before, after = " " * span.startswith(" "), " " * span.endswith(" ")
    return f"{before}{plain(span)}{after}" if span.strip() else span


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


def _cell(cell: Line) -> str:
    return "".join(map(_text, cell))


def _inside_code(line: str) -> str:
    """Return a line of preformatted text in which nothing ends the block or makes a link."""
    return _parted(re.sub(r"\[(?=\s*/)", "(", printable(line.expandtabs())))
