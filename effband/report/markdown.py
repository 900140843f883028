"""A report as one Markdown page.

All text of the user's goes through `escape`, which leaves nothing that Markdown or HTML could
take for a mark: every character but letters, digits and a few harmless ones becomes a numeric
entity.
"""

from __future__ import annotations

import re

from effband.problems import printable
from effband.report.blocks import (
    Block,
    Bullets,
    Code,
    Line,
    Paragraph,
    Picture,
    Preformatted,
    Report,
    Span,
    Strong,
    Table,
)

_MARKS = re.compile(r"[^A-Za-z0-9_ .,;:%()/+='\"\u00a0-\uffff-]|(?<![A-Za-z0-9])_|_(?![A-Za-z0-9])")
# at the start of a line they make a list, a heading or a row
_STARTS = re.compile(r"^([-+=:]|[0-9]{1,9}[.)](?= |$))")
MARK = "<!-- written by effband -->"


def escape(text: str) -> str:
    """Return text that stands for itself in a Markdown paragraph or table cell."""
    return _STARTS.sub(_entities, _within(text))


def _within(text: str) -> str:
    """Return text that stands for itself after other text of its line."""
    one_line = " ".join(printable(text.replace("\n", " ").replace("\t", " ")).split())
    # an empty comment keeps an address or a scheme from being made a link
    safe = _MARKS.sub(_entities, one_line).replace("&#64;", "&#64;<!-- -->")
    return re.sub(r"(?i)(https?|ftp|mailto|xmpp|www)([:.])", r"\1<!-- -->\2", safe)


def _entities(match: re.Match[str]) -> str:
    return "".join(f"&#{ord(character)};" for character in match[0])


def code(text: str) -> str:
    """Return a name or a formula as code; their alphabets hold no backtick and no bar."""
    return f"`{' '.join(text.split())}`"


def markdown(report: Report) -> str:
    """Return the page."""
    lines = [MARK, f"# {escape(report.title)}", "", f"**{escape(report.sentence)}**", ""]
    if report.cautions:
        lines += ["**Cautions.**", "", *(f"- {escape(note)}" for note in report.cautions), ""]
    for section in report.sections:
        if section.title:
            lines += [f"## {escape(section.title)}", ""]
        for block in section.blocks:
            lines += [*_block(block), ""]
    return "\n".join(lines).rstrip() + "\n"


def _block(block: Block) -> list[str]:
    match block:
        case Paragraph():
            return [_line(block.line)]
        case Bullets():
            return [
                text
                for line, under in block.items
                for text in (f"- {_line(line)}", *(f"    - {escape(each)}" for each in under))
            ]
        case Table():
            return [_row(block.head), "|" + "---|" * len(block.head), *map(_row, block.rows)]
        case Picture():
            alt = escape(block.alt).replace("<!-- -->", "")  # no link is made of an alt text
            return [f"![{alt}]({block.file})"]
        case Preformatted():
            return _fenced(block.text)


def _row(cells: tuple[Line, ...]) -> str:
    return "| " + " | ".join(_line(cell) for cell in cells) + " |"


def _line(line: Line) -> str:
    return "".join(_span(span, first=at == 0) for at, span in enumerate(line))


def _span(span: Span, first: bool) -> str:
    match span:
        case Code():
            return code(span.text)
        case Strong():
            return f"**{escape(span.text)}**"
        case str():
            # blanks at the ends part it from its neighbours, and are kept
            before, after = " " * span.startswith(" "), " " * span.endswith(" ")
            text = escape(span) if first else _within(span)
            return f"{before}{text}{after}" if span.strip() else span


def _fenced(text: str) -> list[str]:
    """Return text between fences that nothing in it can end."""
    runs = [len(run) for run in re.findall(r"`+", text)]
    fence = "`" * max(3, max(runs, default=0) + 1)
    return [fence, *(printable(line.expandtabs()) for line in text.split("\n")), fence]
