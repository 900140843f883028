"""What an entry of the catalogue is: keys of a case file that `like:` fills in by name."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import TypeVar

from effband.problems import nearest

MOST_SUGGESTED = 4
COMMON_PRACTICE = "common practice, no source"
_Entry = TypeVar("_Entry")


@dataclass(frozen=True)
class Template:
    """One entry of the catalogue: the keys of the case file that `like:` fills in.

    Attributes
    ----------
    name
        What `like:` says, such as "dial gauge class 2.5".
    keys
        As they would be written in the file, values as text.
    sentence
        What it is, and what to mind.
    source
        The standard or publication, `COMMON_PRACTICE`, or what was written from memory.
    asks
        Keys that the user must add himself, such as the span.
    """

    name: str
    keys: Mapping[str, str | list[str]]
    sentence: str
    source: str
    asks: tuple[str, ...] = ()


Groups = tuple[tuple[str, tuple[Template, ...]], ...]  # a heading, and what stands under it


def entry_named(text: str, known: Mapping[str, _Entry]) -> tuple[str, _Entry] | None:
    """Return a name and its entry, however the letters and blanks of a text are written."""
    wanted = " ".join(text.split()).casefold()
    return next((each for each in known.items() if each[0].casefold() == wanted), None)


def suggestion(text: str, known: Iterable[str], otherwise: str) -> str:
    """Return the nearest known names, or those that share a word with the text, or other advice."""
    names = sorted(known)
    words = {word for word in _words(text) if len(word) > 2}
    sharing = [name for name in names if words & _words(name)]
    close = nearest(text, names, "")
    if close and not 0 < len(sharing) <= MOST_SUGGESTED:
        return close
    if not sharing:
        return otherwise
    more = f" or {len(sharing) - MOST_SUGGESTED} more" if len(sharing) > MOST_SUGGESTED else ""
    return f"did you mean {' or '.join(sharing[:MOST_SUGGESTED])}{more}? {otherwise}"


def _words(text: str) -> set[str]:
    return set(text.casefold().replace("-", " ").split())


def by_name(groups: Groups) -> dict[str, Template]:
    """Return every entry of all groups under its name."""
    return {template.name: template for _, templates in groups for template in templates}
