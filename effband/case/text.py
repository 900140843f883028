"""YAML events to plain values, and the place of each.

YAML's own guesses (`12:59` is 779, `no` is false, `1e-3` is a word) never apply: every scalar
stays text until `case.format` reads it by what the key asks for. Anchors, aliases, merge keys,
tags and second documents are refused, so a file means what it shows.
"""

from __future__ import annotations

import hashlib
import re
import unicodedata
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path as FilePath
from typing import Any

import yaml

from effband.problems import CaseError, Place, Problem

LARGEST_FILE = 256 * 1024
DEEPEST = 20
MOST_NODES = 20_000
LONGEST_KEY = 80

Path = tuple[str | int, ...]
Tree = dict[str, Any] | list[Any] | str

_REFUSED_ESCAPES = re.compile(
    "[\x00-\x08\x0b-\x1f\x7f-\x9f\u2028\u2029\u202a-\u202e\u2066-\u2069\ufeff]"
)


@dataclass(frozen=True)
class CaseText:
    """A case file as plain text values, with the place of each.

    Attributes
    ----------
    file, text, sha256
        Its name as given, its text, and the hash of its bytes.
    tree
        Mappings, lists and text; nothing is converted.
    values, keys
        The place of the value, and of the key, at a path such as ("inputs", "barometer").
    verbatim
        Paths of scalars whose characters stand in the file one to one from their place on.
    """

    file: str
    text: str
    sha256: str
    tree: dict[str, Any]
    values: dict[Path, Place] = field(repr=False)
    keys: dict[Path, Place] = field(repr=False)
    verbatim: frozenset[Path] = field(repr=False)

    def place(self, path: Path, start: int = 0, length: int | None = None) -> Place:
        """Return where the value at a path stands, or a stretch of its characters.

        A path that is not in the file gives the place of the nearest one above it.
        """
        if path in self.values:
            place = self.values[path]
            if length is not None and path in self.verbatim:
                return place.shifted(start, length)
            return place
        return self.key(path)

    def key(self, path: Path) -> Place:
        """Return where the key of a path stands, or the nearest key above it."""
        while path:
            if path in self.keys:
                return self.keys[path]
            if path in self.values:
                return self.values[path]
            path = path[:-1]
        return Place(1, 1)


def read_case(file: str | FilePath) -> CaseText:
    """Read a case file.

    Raises
    ------
    CaseError
        When the file is missing, too large, not UTF-8, or not plain YAML as described above.
    """
    name = str(file)
    try:
        with open(file, "rb") as stream:
            data = stream.read(LARGEST_FILE + 1)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        remedy = "check the file's name"
        if FilePath(name).is_dir():
            remedy = "name a case file, not a folder"
        problem = Problem(None, f"cannot read the case: {reason}", remedy)
        raise CaseError([problem], name) from None
    return parse_case(data, name)


def parse_case(data: bytes, name: str) -> CaseText:
    """Parse the bytes of a case file; `name` stands in messages. Raises CaseError."""
    text = _decode(data, name)
    reader = _Reader(text, name)
    tree = reader.document()
    return CaseText(
        file=name,
        text=text,
        sha256=hashlib.sha256(data).hexdigest(),
        tree=tree,
        values=reader.values,
        keys=reader.keys,
        verbatim=frozenset(reader.verbatim),
    )


def _decode(data: bytes, name: str) -> str:
    if len(data) > LARGEST_FILE:
        what = f"the case is larger than {LARGEST_FILE // 1024} KiB"
        remedy = "keep logger data in a CSV file beside it"
        raise CaseError([Problem(None, what, remedy)], name)
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        before = data[: error.start]
        line = before.count(b"\n") + 1
        column = len(before) - (before.rfind(b"\n") + 1) + 1
        what = f"byte 0x{data[error.start]:02x} is not UTF-8 text"
        problem = Problem(Place(line, column), what, "save the file as UTF-8 in your editor")
        raise CaseError([problem], name) from None
    text = text.replace("\r\n", "\n").replace("\r", "\n")
    bad = [
        Problem(_place_of(text, at), f"{_spell(text[at])} is not allowed in a case", "delete it")
        for at in _refused_characters(text)
    ]
    if bad:
        raise CaseError(bad[:20], name, text)
    return text


def _refused_characters(text: str) -> Iterator[int]:
    for match in re.finditer(r"[^\n\t\x20-\x7e]", text):
        character = match.group()
        if _REFUSED_ESCAPES.match(character) or unicodedata.category(character) in ("Cs", "Cn"):
            yield match.start()


def _spell(character: str) -> str:
    name = unicodedata.name(character, "a control character")
    return f"U+{ord(character):04X} ({name.lower()})"


def _place_of(text: str, at: int) -> Place:
    return Place(text.count("\n", 0, at) + 1, at - text.rfind("\n", 0, at))


class _Reader:
    """Consumes YAML events; collects what can be collected, stops at what cannot."""

    def __init__(self, text: str, name: str) -> None:
        self.text = text
        self.name = name
        self.values: dict[Path, Place] = {}
        self.keys: dict[Path, Place] = {}
        self.verbatim: set[Path] = set()
        self.problems: list[Problem] = []
        self.nodes = 0

    def document(self) -> dict[str, Any]:
        try:
            self.events: Iterator[Any] = iter(yaml.parse(self.text, Loader=yaml.SafeLoader))
            tree = self._document()
        except yaml.MarkedYAMLError as error:
            raise self._syntax(error) from None
        except (yaml.YAMLError, RecursionError) as error:
            problem = Problem(Place(1, 1), f"this is not YAML: {error}", "check the file")
            raise CaseError([problem], self.name, self.text) from None
        if self.problems:
            raise CaseError(self.problems, self.name, self.text)
        return tree

    def _document(self) -> dict[str, Any]:
        next(self.events)  # the stream starts
        start = next(self.events)
        if isinstance(start, yaml.StreamEndEvent):
            self._stop(Place(1, 1), "the case is empty", "start with `effband: 1`")
        if start.version or start.tags:
            self._stop(_place(start), "a % directive is not allowed", "delete the line")
        first = next(self.events)
        if not isinstance(first, yaml.MappingStartEvent):
            what = "a case is a list of `key: value` lines"
            self._stop(
                _place(first), what, "start with `effband: 1`; mind the blank after the colon"
            )
        tree = self._node(first, (), 1)
        next(self.events)  # the document ends
        after = next(self.events)
        if not isinstance(after, yaml.StreamEndEvent):
            self._stop(_place(after), "a second document starts here", "keep one case to a file")
        assert isinstance(tree, dict)
        return tree

    def _stop(self, place: Place, what: str, remedy: str) -> None:
        self.problems.append(Problem(place, what, remedy))
        raise CaseError(self.problems, self.name, self.text)

    def _complain(self, place: Place, what: str, remedy: str) -> None:
        self.problems.append(Problem(place, what, remedy))

    def _node(self, event: Any, path: Path, depth: int) -> Tree:
        self.nodes += 1
        place = _place(event)
        if self.nodes > MOST_NODES:
            self._stop(place, f"more than {MOST_NODES} values", "keep logger data in a CSV file")
        if depth > DEEPEST:
            self._stop(place, f"nested more than {DEEPEST} deep", "check the brackets and indents")
        if isinstance(event, yaml.AliasEvent):
            self._complain(
                place, f"an alias (*{event.anchor}) is not allowed", "write the value out"
            )
            return ""
        if event.anchor is not None:
            self._complain(place, f"an anchor (&{event.anchor}) is not allowed", "delete it")
        if event.tag is not None:
            self._complain(place, f"a tag ({event.tag}) is not allowed", "delete it")
        self.values[path] = place
        if isinstance(event, yaml.ScalarEvent):
            return self._scalar(event, path)
        if isinstance(event, yaml.SequenceStartEvent):
            return self._sequence(path, depth)
        return self._mapping(path, depth)

    def _scalar(self, event: Any, path: Path) -> str:
        value: str = event.value
        place = _place(event)
        quote = 1 if event.style in ("'", '"') else 0
        start = event.start_mark.index + quote
        if self.text[start : start + len(value)] == value and "\n" not in value:
            self.values[path] = Place(place.line, place.column + quote, max(1, len(value)))
            self.verbatim.add(path)
        bad = _REFUSED_ESCAPES.search(value.replace("\n", " ").replace("\t", " "))
        if bad or any(unicodedata.category(c) == "Cs" for c in value if not c.isascii()):
            self._complain(
                place, "an escape stands for a character that is not allowed", "delete it"
            )
            return ""
        if value == "" and not quote:
            self._complain(
                place, "a value is missing here", "write one; text after # is a comment: quote it"
            )
        return value

    def _sequence(self, path: Path, depth: int) -> list[Tree]:
        items: list[Tree] = []
        while not isinstance(event := next(self.events), yaml.SequenceEndEvent):
            items.append(self._node(event, (*path, len(items)), depth + 1))
        return items

    def _mapping(self, path: Path, depth: int) -> dict[str, Tree]:
        entries: dict[str, Tree] = {}
        while not isinstance(event := next(self.events), yaml.MappingEndEvent):
            place = _place(event)
            if not isinstance(event, yaml.ScalarEvent):
                self._stop(place, "a key must be a word", "write `name: value`")
            key = event.value
            if event.anchor is not None or event.tag is not None or key == "<<":
                self._complain(
                    place, "anchors, tags and merge keys are not allowed", "write it out"
                )
            if not key or len(key) > LONGEST_KEY or not key.isprintable():
                self._complain(place, "this key is no plain word", f"at most {LONGEST_KEY} letters")
            place = Place(place.line, place.column, max(1, len(key)))
            known = self.keys.get((*path, key))
            following = next(self.events)
            if re.match("[0-9]", key) and _nothing(following):
                what = f"{key!r} stands alone after a comma"
                self._complain(place, what, "write decimals with a point, such as 19.93")
                continue
            value = self._node(following, (*path, key), depth + 1)
            if key in entries and known is not None:
                what = f"{key!r} stands twice; it is already on line {known.line}"
                self._complain(place, what, "rename one of the two, or delete it")
            else:
                self.keys[(*path, key)] = place
                entries[key] = value
        return entries

    def _syntax(self, error: yaml.MarkedYAMLError) -> CaseError:
        mark = error.problem_mark or error.context_mark
        place = Place(mark.line + 1, mark.column + 1) if mark else Place(1, 1)
        what = f"YAML cannot be read here: {error.problem or error.context or 'syntax error'}"
        remedy = "check the indent, the blank after each colon, and that quotes and brackets close"
        found = str(error.problem or "")
        if "cannot start any token" in found:
            remedy = "put the text in quotes; indent with blanks, not tabs"
        elif "mapping values are not allowed" in found:
            remedy = "text that contains a colon goes in quotes; check the indent of this line"
        written = self.text.split("\n")[max(0, place.line - 2) : place.line]
        if any(re.match(r"\s*[A-Za-z_]\w*\s*=", line) for line in written):
            remedy = "a formula line is `name: expression`, with a colon and a blank"
        return CaseError([*self.problems, Problem(place, what, remedy)], self.name, self.text)


def _nothing(event: Any) -> bool:
    return isinstance(event, yaml.ScalarEvent) and event.value == "" and not event.style


def _place(event: Any) -> Place:
    mark, end = event.start_mark, event.end_mark
    length = end.column - mark.column if end.line == mark.line else 1
    return Place(mark.line + 1, mark.column + 1, max(1, length))
