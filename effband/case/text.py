"""YAML events to plain values, and the place of each.

YAML's own guesses (`12:59` is 779, `no` is false, `1e-3` is a word) never apply: every scalar
stays text until `case.format` reads it by what the key asks for. Anchors, aliases, merge keys,
tags and second documents are refused, so a file means what it shows.
"""

from __future__ import annotations

import hashlib
import itertools
import os
import re
import unicodedata
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path as FilePath
from typing import Any

import yaml

from effband.case.syntax import told
from effband.problems import PASTED, CaseError, Place, Problem, spell

LARGEST_FILE = 256 * 1024
DEEPEST = 20
MOST_NODES = 20_000
LONGEST_KEY = 80
BAD_ESCAPE = "an escape stands for a character that is not allowed"

Path = tuple[str | int, ...]
Tree = dict[str, Any] | list[Any] | str

MOST_REFUSED = 20
# Controls but the line end and the tab, what turns the direction of text, and halves of letters.
_REFUSED = re.compile(
    "[\x00-\x08\x0b-\x1f\x7f-\x9f\u2028\u2029\u202a-\u202e\u2066-\u2069\ufeff\ud800-\udfff]"
)


@dataclass(frozen=True)
class CaseText:
    """A case file as plain text values, with the place of each.

    Attributes
    ----------
    file, text, data, sha256
        Its name as given, its text, its bytes as they were read, and their hash.
    tree
        Mappings, lists and text; nothing is converted.
    values, keys
        The place of the value, and of the key, at a path such as ("inputs", "barometer").
    verbatim
        Paths of scalars whose characters stand in the file one to one from their place on.
    problems, spoiled
        What is wrong with single values, and the paths of those values.
    """

    file: str
    text: str
    data: bytes = field(repr=False)
    sha256: str
    tree: dict[str, Any]
    values: dict[Path, Place] = field(repr=False)
    keys: dict[Path, Place] = field(repr=False)
    verbatim: frozenset[Path] = field(repr=False)
    problems: tuple[Problem, ...] = ()
    spoiled: frozenset[Path] = frozenset()

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
        if os.path.isdir(name):
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
        data=data,
        sha256=hashlib.sha256(data).hexdigest(),
        tree=tree,
        values=reader.values,
        keys=reader.keys,
        verbatim=frozenset(reader.verbatim),
        problems=tuple(reader.problems),
        spoiled=frozenset(reader.spoiled),
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
        column = len(before[before.rfind(b"\n") + 1 :].decode("utf-8", "replace")) + 1
        what = f"byte 0x{data[error.start]:02x} is not UTF-8 text"
        problem = Problem(Place(line, column), what, "save the file as UTF-8 in your editor")
        raise CaseError([problem], name) from None
    text = text.replace("\r\n", "\n").replace("\r", "\n")
    bad = [
        Problem(_place_of(text, at), f"{spell(text[at])} is not allowed in a case", "delete it")
        for at in refused_characters(text, MOST_REFUSED)
    ]
    if bad:
        raise CaseError(bad, name, text)
    return text


def refused_characters(text: str, most: int) -> list[int]:
    """Return where characters stand that no file may hold, the first `most` of them."""
    refused = _REFUSED
    if not text.isascii():
        unassigned = {c for c in set(text) if unicodedata.category(c) == "Cn"}
        if unassigned:
            escaped = "".join(map(re.escape, sorted(unassigned)))
            refused = re.compile(f"{_REFUSED.pattern[:-1]}{escaped}]")
    return [match.start() for match in itertools.islice(refused.finditer(text), most)]


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
        self.spoiled: set[Path] = set()
        self.nodes = 0

    def document(self) -> dict[str, Any]:
        """Return the one mapping that the text is; problems with single values are collected."""
        directive = re.match(r"(?:[ \t]*(?:#[^\n]*)?\n)*%", self.text)
        if directive is not None:
            place = _place_of(self.text, directive.end() - 1)
            self._stop(place, "a % directive is not allowed", "delete the line")
        try:
            self.events: Iterator[Any] = iter(yaml.parse(self.text, Loader=yaml.SafeLoader))
            tree = self._document()
        except yaml.MarkedYAMLError as error:
            raise self._syntax(error) from None
        except (ValueError, OverflowError):
            escape = re.search(r"\\U(?!000|0010)[0-9A-Fa-f]{8}", self.text)
            at = (escape.start(), 10) if escape else (0, 1)
            start = _place_of(self.text, at[0])
            place = Place(start.line, start.column, at[1])
            problem = Problem(place, BAD_ESCAPE, "delete it")
            raise CaseError([problem], self.name, self.text) from None
        except (yaml.YAMLError, RecursionError) as error:
            problem = Problem(Place(1, 1), f"this is not YAML: {error}", "check the file")
            raise CaseError([problem], self.name, self.text) from None
        return tree

    def _document(self) -> dict[str, Any]:
        next(self.events)  # the stream starts
        start = next(self.events)
        if isinstance(start, yaml.StreamEndEvent):
            self._stop(Place(1, 1), "the case is empty", "start with `effband: 1`")
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

    def _complain(self, place: Place, what: str, remedy: str, path: Path | None = None) -> None:
        """Note what is wrong with one value and go on; the value at `path` is spoiled."""
        self.problems.append(Problem(place, what, remedy))
        if path is not None:
            self.spoiled.add(path)

    def _node(self, event: Any, path: Path, depth: int) -> Tree:
        self.nodes += 1
        place = _place(event)
        if self.nodes > MOST_NODES:
            self._stop(place, f"more than {MOST_NODES} values", "keep logger data in a CSV file")
        if depth > DEEPEST:
            self._stop(place, f"nested more than {DEEPEST} deep", "check the brackets and indents")
        if isinstance(event, yaml.AliasEvent):
            self._complain(
                place, f"an alias (*{event.anchor}) is not allowed", "write the value out", path
            )
            return ""
        if event.anchor is not None:
            self._complain(place, f"an anchor (&{event.anchor}) is not allowed", "delete it", path)
        if event.tag is not None:
            self._complain(place, f"a tag ({event.tag}) is not allowed", "delete it", path)
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
        if _REFUSED.search(value):
            self._complain(place, BAD_ESCAPE, "delete it", path)
            return ""
        a_cell = path[:2] == ("runs", "rows") and len(path) == 4  # may be optional
        if value == "" and not quote and not a_cell:
            remedy = "write one; quote text that holds # or, in braces, a comma"
            self._complain(place, "a value is missing here", remedy, path)
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
                what = "anchors, tags and merge keys are not allowed"
                self._complain(place, what, "write it out", (*path, key))
            following = next(self.events)
            odd = self._odd_key(key, place, following, list(entries))
            place = Place(place.line, place.column, max(1, len(key)))
            known = self.keys.get((*path, key))
            if odd is not None:
                self._complain(*odd, (*path, key))
                if _nothing(following):
                    continue
            if _nothing(following) and following.start_mark.line + 1 > place.line:
                following.start_mark = following.end_mark = event.start_mark
            again = key in entries  # the first keeps its place
            at: Path = (*path, f"{key} again" if again else key)
            value = self._node(following, at, depth + 1)
            if again and known is not None:
                what = f"{key!r} stands twice; it is already on line {known.line}"
                self._complain(place, what, "rename one of the two, or delete it")
            else:
                self.keys[(*path, key)] = place
                entries[key] = value
        return entries

    def _odd_key(
        self, key: str, place: Place, following: Any, before: Sequence[str]
    ) -> tuple[Place, str, str] | None:
        """Return what is wrong with a key, or None; `before` are those that stand before it."""
        if re.match("[0-9]", key) and _nothing(following):
            spread = re.fullmatch(r"(.*[^ +/-]) *(?:\+/?-|\u00b1) *([0-9].*)", key)
            if spread is not None:
                value, width = spread.groups()
                what = f"{key!r} names no key"
                return place, what, f"write {{value: {value}, plus_minus: {width}}}"
            what = f"{key!r} stands alone after a comma"
            if before[-1:] == ["repeats"]:
                return place, what, "put the readings in brackets: `repeats: [7.72, 7.80]`"
            remedy = "write decimals with a point, such as 19.93"
            return place, what, remedy + ", several readings as `repeats: [7.72, 7.80]`"
        if _REFUSED.search(key):
            return place, BAD_ESCAPE, "delete it"
        for at, character in enumerate(key):
            if not character.isprintable():
                remedy = PASTED.get(character, "delete it").rpartition(": ")[2]
                return place.shifted(at, 1), f"{spell(character)} cannot stand in a key", remedy
        if ":" in key and _nothing(following):
            return place, f"{key!r} stands without a value", "write a blank after the colon"
        if len(key) > LONGEST_KEY:
            return place, f"a key of more than {LONGEST_KEY} letters", "shorten it"
        return None if key else (place, "a key is missing here", "write `name: value`")

    def _syntax(self, error: yaml.MarkedYAMLError) -> CaseError:
        mark = error.problem_mark or error.context_mark
        if "unexpected end of stream" in str(error.problem) and error.context_mark:
            mark = error.context_mark  # where the quote that never closes was opened
        place = Place(mark.line + 1, mark.column + 1) if mark else Place(1, 1)
        context = error.context_mark
        opened = Place(context.line + 1, context.column + 1) if context else None
        found = str(error.problem or error.context or "syntax error")
        what, remedy = told(found, place, self.text.split("\n"), opened)
        return CaseError([*self.problems, Problem(place, what, remedy)], self.name, self.text)


def _nothing(event: Any) -> bool:
    return isinstance(event, yaml.ScalarEvent) and event.value == "" and not event.style


def _place(event: Any) -> Place:
    mark, end = event.start_mark, event.end_mark
    length = end.column - mark.column if end.line == mark.line else 1
    return Place(mark.line + 1, mark.column + 1, max(1, length))
