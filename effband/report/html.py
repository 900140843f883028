"""A report as one HTML page that stands by itself: no script, nothing fetched, nothing linked."""

from __future__ import annotations

import base64
import functools
from collections.abc import Mapping
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined

from effband.problems import printable
from effband.report.blocks import (
    Bullets,
    Code,
    Paragraph,
    Picture,
    Preformatted,
    Report,
    Strong,
    Table,
)

_KINDS = (Paragraph, Bullets, Table, Picture, Preformatted, Code, Strong)


def html(report: Report, images: Mapping[str, bytes]) -> str:
    """Return the page; `images` holds the PNG data of its pictures, by file name."""
    environment = Environment(
        loader=PackageLoader("effband.report", ""),
        autoescape=True,  # for every template, whatever its name
        undefined=StrictUndefined,
        keep_trailing_newline=True,
    )
    kinds: dict[str, Any] = {kind.__name__.lower(): functools.partial(_is, kind) for kind in _KINDS}
    environment.tests.update(kinds)
    embedded = functools.partial(_embedded, images)
    environment.filters.update(shown=shown, lines_shown=_lines_shown, embedded=embedded)
    return environment.get_template("page.html").render(report=report)


def _is(kind: type, value: object) -> bool:
    return isinstance(value, kind)


def shown(text: str) -> str:
    """Return text on one line, what does not print spelt out; its end blanks are kept."""
    return printable(text.replace("\n", " ").replace("\t", " "))


def _lines_shown(text: str) -> str:
    return "\n".join(printable(line.expandtabs()) for line in text.split("\n"))


def _embedded(images: Mapping[str, bytes], picture: Picture) -> str:
    return "data:image/png;base64," + base64.b64encode(images[picture.file]).decode("ascii")
