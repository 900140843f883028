"""What the reader of YAML says, in a builder's words: what is wrong with a line, and the remedy."""

from __future__ import annotations

import re
from collections.abc import Sequence

from effband.problems import Place

MISSING_READING = "a missing reading is left out, and its column says `optional: true`"
GENERAL = "check the indent, the blank after each colon, and that quotes and brackets close"
_FORMULA = "a formula line is `name: expression`, with a colon and a blank"
_OPEN = re.compile(r"expected ',' or '[}\]]', but got '(.+)'", re.DOTALL)
_CLOSING = {"{": "}", "[": "]"}

Advice = tuple[str, str]


def told(found: str, place: Place, lines: Sequence[str], opened: Place | None) -> Advice:
    """Return what is wrong where YAML stops, and what to write.

    Parameters
    ----------
    found
        What the library says is wrong.
    place
        Where it stops.
    lines
        The lines of the file.
    opened
        Where what it was reading began.
    """
    line = lines[place.line - 1] if place.line <= len(lines) else ""
    before, rest = line[: place.column - 1], line[place.column - 1 :]
    unread = f"YAML cannot be read here: {found}"
    if any(
        re.match(r"\s*[A-Za-z_]\w*\s*=", each)
        for each in lines[max(0, place.line - 2) : place.line]
    ):
        return unread, _FORMULA
    if "cannot start any token" in found:
        return _no_start(before, rest)
    if "mapping values are not allowed" in found:
        return _colon(place, lines, before)
    if "could not find expected ':'" in found and opened is not None:
        return f"line {opened.line} holds no `name: value`", "add a colon and a blank, or delete it"
    mark = rest[:1]
    if mark in ("?", "-") and ("not allowed here" in found or "but found '?'" in found):
        return f"`{mark}` is no reading", MISSING_READING
    open_ = _OPEN.search(found)
    if open_ is not None and opened is not None and opened.line <= len(lines):
        return _not_closed(open_.group(1), lines[opened.line - 1], opened)
    if "<block end>" in found and mark in ("}", "]"):
        return f"`{mark}` closes what was never opened", "delete it"
    if not before.strip() and mark not in ("", ":"):
        return _indent(found, place, lines) or (unread, GENERAL)
    return unread, GENERAL


def _no_start(before: str, rest: str) -> Advice:
    if rest.startswith("\t"):
        return "a tab cannot indent a line", "indent with blanks"
    what = f"text that begins with {rest[:1]} needs quotes"
    value = re.split(r"[,}\]#]", rest)[0].strip()
    key = re.search(r"(\w+): *$", before)
    if key is not None and '"' not in value:
        return what, f'write `{key.group(1)}: "{value}"`'
    return what, "put it in quotes"


def _colon(place: Place, lines: Sequence[str], before: str) -> Advice:
    """Say of a colon where none may stand what it needs: a blank, quotes or braces."""
    close = re.match(r" *(\w+):[^\s]", before)
    above = lines[place.line - 2] if place.line > 1 else ""
    key = re.match(r" *([A-Za-z_]\w*):\S", above)
    if close is not None:
        return f"a blank is missing after `{close.group(1)}:`", f"write `{close.group(1)}: ...`"
    if key is not None:
        what = f"line {place.line - 1} lacks a blank after `{key.group(1)}:`"
        return what, f"write `{key.group(1)}: ...`"
    if ":" not in before:
        margin = _margin(above)
        what = f"this line starts {_blanks(_margin(before) - margin)} too far right"
        if _margin(before) > margin:
            return what, _under(margin)
    what = "a second colon stands in this line"
    return what, "put text that holds a colon in quotes, and `name: value` pairs in braces"


def _not_closed(found: str, line: str, opened: Place) -> Advice:
    mark = line[opened.column - 1 : opened.column]
    closing = _CLOSING.get(mark)
    if closing is None:
        return f"{found} is out of place here", GENERAL
    if found == "<scalar>":
        return "a comma is missing before this", "write a comma between two entries"
    return f"the `{mark}` of line {opened.line} is not closed before this", f"add `{closing}`"


def _indent(found: str, place: Place, lines: Sequence[str]) -> Advice | None:
    """Say of a line how far it begins too far left or right; those above it tell."""
    margin = place.column - 1
    written = [
        (number, line)
        for number, line in enumerate(lines[: place.line - 1], 1)
        if line.strip() and not line.lstrip().startswith("#")
    ]
    if not written:
        return None
    if "'<document start>'" in found:
        first = written[0][0]
        if margin or not _margin(written[0][1]):
            return None
        return "this line starts further left than the first", f"begin line {first} in column 1"
    if "<block end>" not in found:
        return None
    if lines[place.line - 1].lstrip().startswith("- "):
        return "`-` stands where names stand above", "write `name: value`, without `-`"
    above = _margin(written[-1][1])
    if above < margin:
        return f"this line starts {_blanks(margin - above)} too far right", _under(above)
    deeper = min((each for _, line in written if (each := _margin(line)) > margin), default=None)
    if deeper is None:
        return None
    return f"this line starts {_blanks(deeper - margin)} too far left", _under(deeper)


def _margin(line: str) -> int:
    return len(line) - len(line.lstrip(" "))


def _blanks(number: int) -> str:
    return "one blank" if number == 1 else f"{number} blanks"


def _under(margin: int) -> str:
    return f"what belongs together starts in one column, here column {margin + 1}"
