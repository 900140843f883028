"""What is wrong, where, and what to do about it: the one renderer of problems."""

from __future__ import annotations

import difflib
import unicodedata
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

LONGEST_LINE_SHOWN = 160
LONGEST_SENTENCE = 450

# Characters that come in by pasting, and what to do about each.
PASTED = {
    "\u00a0": "this is a no-break space: write a plain space",
    "\u202f": "this is a narrow no-break space: write a plain space",
    "\u2009": "this is a thin space: write a plain space",
    "\u200b": "delete it",
    "\u00ad": "delete it",
    "\u2212": "this is U+2212, a typographic minus: write -",
    "\u2013": "this is U+2013, an en dash: write -",
    "\u00d7": "write *",
    "\u00b7": "write *",
    "\u201c": "use straight quotes",
    "\u201d": "use straight quotes",
    "\u2018": "use straight quotes",
    "\u2019": "use straight quotes",
}


@dataclass(frozen=True, order=True)
class Place:
    """A stretch of one line of the case file; line and column count from 1."""

    line: int
    column: int
    length: int = field(default=1, compare=False)

    def shifted(self, start: int, length: int) -> Place:
        """Return the place `start` characters further on, `length` characters long."""
        return Place(self.line, self.column + start, max(1, length))


@dataclass(frozen=True)
class Document:
    """A file that the case names, so that its lines can be shown as well."""

    file: str
    text: str = field(repr=False)


@dataclass(frozen=True)
class Problem:
    """One thing that is wrong or doubtful, and the remedy.

    Attributes
    ----------
    place
        Where in the file; None when it is not tied to a line.
    what
        What is wrong, in one sentence without a full stop.
    remedy
        What to write or do instead.
    document
        The file, where it is not the case file.
    """

    place: Place | None
    what: str
    remedy: str
    document: Document | None = None


class Misread(ValueError):
    """A stretch of one text (a number, unit, statement or formula) is refused.

    Attributes
    ----------
    start, length
        The offending stretch, in characters from 0.
    what, remedy
        What is wrong and what to write instead.
    """

    def __init__(self, start: int, length: int, what: str, remedy: str) -> None:
        self.start, self.length, self.what, self.remedy = start, length, what, remedy
        super().__init__(f"{what}: {remedy}")


class EffbandError(Exception):
    """Base of everything that effband refuses; `exit_code` is the command's."""

    exit_code = 1


class CaseError(EffbandError):
    """The case file, or data it names, is refused.

    Parameters
    ----------
    problems
        All that was found; kept in file order.
    file
        Name of the case file as the user gave it.
    text
        Its text, so that lines can be shown.
    """

    exit_code = 1

    def __init__(self, problems: Iterable[Problem], file: str, text: str = "") -> None:
        self.problems = in_file_order(problems)
        self.file = file
        self.text = text
        super().__init__(render_all(self.problems, file, text))


class ComputationRefused(EffbandError):
    """The sums cannot be done honestly: non-finite values, limits, a failed cross-check."""

    exit_code = 3

    def __init__(self, what: str, remedy: str) -> None:
        self.what, self.remedy = what, remedy
        super().__init__(f"error: {printable(what)}\n  help: {printable(remedy)}")


class CannotWrite(EffbandError):
    """A report could not be written."""

    exit_code = 4


def in_file_order(problems: Iterable[Problem]) -> tuple[Problem, ...]:
    """Return the problems by place, those without one first, each once, other files last."""
    once = dict.fromkeys(problems)

    def where(problem: Problem) -> tuple[str, bool, Place]:
        file = "" if problem.document is None else problem.document.file
        return file, problem.place is not None, problem.place or Place(0, 0)

    return tuple(sorted(once, key=where))


def render_all(problems: Iterable[Problem], file: str, text: str, word: str = "error") -> str:
    """Return all problems as text: place and message, line, caret, remedy."""
    lines = text.split("\n")
    return "\n".join(_render(problem, file, lines, word) for problem in problems)


def _render(problem: Problem, file: str, lines: list[str], word: str) -> str:
    place = problem.place
    if problem.document is not None:
        file, lines = problem.document.file, problem.document.text.split("\n")
    what, remedy = _sentence(problem.what), _sentence(problem.remedy)
    if place is None:
        return f"{printable(file)}: {word}: {what}\n  help: {remedy}"
    head = f"{printable(file)}:{place.line}:{place.column}: {word}: {what}"
    shown = ""
    if 1 <= place.line <= len(lines) and lines[place.line - 1].strip():
        shown = _line_with_caret(lines[place.line - 1], place)
    return f"{head}\n{shown}  help: {remedy}"


def _sentence(text: str) -> str:
    shown = printable(text)
    return shown if len(shown) <= LONGEST_SENTENCE else shown[: LONGEST_SENTENCE - 3] + "..."


def spell(character: str) -> str:
    """Return a character by number and name: U+00F7 (division sign)."""
    unnamed = {"Cn": "an unassigned character", "Cs": "half a character"}
    otherwise = unnamed.get(unicodedata.category(character), "a control character")
    return f"U+{ord(character):04X} ({unicodedata.name(character, otherwise).lower()})"


def named(character: str, hints: Mapping[str, str]) -> str:
    """Return a character for a message: quoted where it is plain or has a hint, else spelt."""
    plain = character.isascii() or (character in hints and character.isprintable())
    return repr(character) if plain else spell(character)


def _line_with_caret(line: str, place: Place) -> str:
    start = place.column - 1
    first = max(0, start - LONGEST_LINE_SHOWN // 2)
    before = printable(line[first:start])
    marked = printable(line[start : min(start + place.length, first + LONGEST_LINE_SHOWN)])
    after = printable(line[start + place.length : first + LONGEST_LINE_SHOWN])
    margin = "    " + ("..." if first else "")
    caret = " " * (len(margin) + width(before)) + "^" * max(1, width(marked))
    return f"{margin}{before}{marked}{after}\n{caret}\n"


def printable(text: str) -> str:
    """Return text that can change nothing on a terminal: controls and the like spelled out.

    Everything that `str.isprintable` rejects (escape, C1, bidirectional and zero-width
    characters) and runs of more than two combining marks are written as their code.
    """
    if text.isascii() and text.isprintable():
        return text
    shown = []
    marks = 0
    for character in text:
        marks = marks + 1 if unicodedata.combining(character) else 0
        if character == " " or (character.isprintable() and marks <= 2):
            shown.append(character)
        else:
            shown.append(f"<U+{ord(character):04X}>")
    return "".join(shown)


def width(text: str) -> int:
    """Return how many columns of a terminal the text fills."""
    if text.isascii():
        return len(text)
    columns = 0
    for character in text:
        if not unicodedata.combining(character):
            columns += 2 if unicodedata.east_asian_width(character) in "WF" else 1
    return columns


def nearest(word: str, known: Iterable[str], otherwise: str) -> str:
    """Return "did you mean ...?" with the nearest known words, or the other advice."""
    names = sorted(known)
    same = [name for name in names if name.casefold() == word.casefold()]
    folded = {name.casefold(): name for name in names}
    close = difflib.get_close_matches(word.casefold(), folded, n=3, cutoff=0.6)
    meant = same or [folded[name] for name in close]
    return f"did you mean {' or '.join(meant)}?" if meant else otherwise
