"""The form of a CSV file: header, row of units and rows, and what is wrong with them."""

from __future__ import annotations

import csv
import itertools
import re
import unicodedata
from collections.abc import Iterator
from dataclasses import dataclass

from effband.case.data_files import BadData
from effband.case.number_cells import number_fault
from effband.case.text import refused_characters
from effband.problems import PASTED, Misread, Place, spell
from effband.units import ONE, Unit, parse_unit

MOST_FAULTS = 20
MOST_COLUMNS = 1000
LONGEST_CELL = 200
LONGEST_NOTE = 1000
LONGEST_LINE = 250_000
BLANK = " \t"

_CLOSE = "write a comma after the closing quote, and a quote inside text twice"
_SEPARATORS = {";": "semicolons", "\t": "tabs", "|": "upright strokes", " ": "blanks"}
_DECIMAL_COMMA = re.compile(r"(?:^|[,;\t|]) ?[+-]?[0-9]+,[0-9]+ ?(?:$|[,;\t|])")
_NUMBERS_AND_BLANKS = re.compile("[-+0-9.eE]+(?: +[-+0-9.eE]+)+")
_QUOTED = re.compile('"(?:[^"]|"")*+')


@dataclass(frozen=True)
class Cell:
    """The text of one cell, without blanks around it, and where it stands in the CSV file."""

    text: str
    place: Place


@dataclass(frozen=True)
class Fault:
    """What is wrong or doubtful at a place of the CSV file, and the remedy."""

    place: Place
    what: str
    remedy: str


def too_many_rows(name: str, most_rows: int) -> BadData:
    """Return the refusal of a file that is too long."""
    return BadData(f"{name!r} has more than {most_rows} rows", f"keep at most {most_rows} rows")


# -- lines to cells -------------------------------------------------------------------------


def stretches(line: str) -> Iterator[tuple[int, int]]:
    """Yield start and end of each cell of a line, the quotes around it left out.

    Raises
    ------
    Misread
        Where a quote does not close, or stands where none can.
    """
    at = 0
    while True:
        quoted = _QUOTED.match(line, at)
        if quoted is None:
            end = line.find(",", at)
            end = len(line) if end < 0 else end
            if line[at:end].lstrip(BLANK).startswith('"'):
                what = "a blank stands before the quote that opens this cell"
                raise Misread(at, end - at, what, "delete the blank")
            yield at, end
        else:
            end = quoted.end() + 1
            if end > len(line):
                what = "a quote opens here and does not close on this line"
                raise Misread(at, 1, what, "close it; a cell cannot go on in the next line")
            if line[end : end + 1] not in ("", ","):
                raise Misread(end, 1, "text follows the quote that closes this cell", _CLOSE)
            yield at + 1, end - 1
        if end == len(line):
            return
        at = end + 1


def split(line: str, number: int) -> list[Cell]:
    """Return the cells of a line of that number. Raises Misread or csv.Error."""
    texts = next(csv.reader([line], strict=True))
    cells = []
    for text, (start, end) in zip(texts, stretches(line), strict=True):
        written = line[start:end]
        start += len(written) - len(written.lstrip(BLANK))
        length = max(1, len(written.strip(BLANK)))
        start = min(start, len(line) - 1)  # an empty cell at the end has no place of its own
        cells.append(Cell(text.strip(BLANK), Place(number, start + 1, length)))
    return cells


def _whole(line: str, number: int) -> Place:
    return Place(number, 1, max(1, len(line)))


class Form:
    """The form of one file: finds header, units and rows, and collects what is wrong.

    Parameters
    ----------
    name, text
        The file's name and text.
    most_rows
        How many rows it may have.

    Attributes
    ----------
    lines
        The lines of the text.
    header, units
        The names of the columns, and the filled cells of a row of units by column.
    numbers
        The numbers, from 1, of the lines that are rows in form.
    faults, notes
        What is wrong, by place, and what was done to the text.

    Raises
    ------
    BadData
        When the file is empty or has too many rows or columns.
    """

    def __init__(self, name: str, text: str, most_rows: int) -> None:
        self.name, self.most_rows = name, most_rows
        self.lines = text.split("\n")
        self.faults: dict[Place, Fault] = {}
        self.notes: list[Fault] = []
        self.header: list[Cell] = []
        self.units: dict[str, Cell] = {}
        self.numbers: list[int] = []
        first = next((at for at, line in enumerate(self.lines) if line.strip(BLANK)), None)
        if first is None:
            raise BadData(f"{name!r} is empty", "write the names of the columns in its first line")
        for at in refused_characters(text, MOST_FAULTS):
            place = Place(text.count("\n", 0, at) + 1, at - text.rfind("\n", 0, at))
            self._fault(place, f"{spell(text[at])} is not allowed in a data file", "delete it")
        longest = max(range(len(self.lines)), key=lambda at: len(self.lines[at]))
        if len(self.lines[longest]) > LONGEST_LINE:
            what = f"this line is longer than {LONGEST_LINE} characters"
            self._fault(Place(longest + 1, 1), what, "check that the lines of the file end")
        elif self._header(first):
            self._rows(first + 1)

    def _fault(self, place: Place, what: str, remedy: str) -> None:
        self.faults.setdefault(place, Fault(place, what, remedy))

    def _note(self, place: Place, what: str, remedy: str) -> None:
        if len(self.notes) < MOST_FAULTS:
            self.notes.append(Fault(place, what, remedy))

    def _broken(self, at: int) -> None:
        """Say why a line cannot be split into cells."""
        line = self.lines[at]
        try:
            for _ in stretches(line):
                pass
        except Misread as error:
            place = Place(at + 1, error.start + 1, max(1, error.length))
            self._fault(place, error.what, error.remedy)
        else:
            what = "a cell of this line is too long to be read"
            self._fault(_whole(line, at + 1), what, "check its commas and quotes")

    def _header(self, first: int) -> bool:
        """Read the names of the columns; return whether the rows can be read by them."""
        line, number = self.lines[first], first + 1
        problem = self._no_header(first)
        if problem is not None:
            self._fault(_whole(line, number), *problem)
            return False
        try:
            self.header = split(line, number)
            fields = next(csv.reader([line], strict=True))
        except (csv.Error, Misread):
            self._broken(first)
            return False
        if len(fields) > MOST_COLUMNS:
            what = f"{self.name!r} has more than {MOST_COLUMNS} columns"
            raise BadData(what, "keep the columns that the case needs")
        if not any(number_fault(cell.text) for cell in self.header):
            what = "the first line holds numbers where the names of the columns belong"
            self._fault(_whole(line, number), what, "write a line with the names above it")
            return False
        for cell, field in zip(self.header, fields, strict=True):
            if cell.text and cell.text != field:
                what = f"blanks around the name of the column {cell.text!r} were taken off"
                self._note(cell.place, what, "write the name without blanks around it")
        self._names()
        names = [cell.text for cell in self.header]
        return all(names) and len(set(names)) == len(names)

    def _no_header(self, first: int) -> tuple[str, str] | None:
        """Return what the first line is instead of names with commas between them."""
        line = self.lines[first].strip(BLANK)
        below = [row for row in self.lines[first + 1 : first + 20] if row.strip(BLANK)]
        if re.fullmatch("sep=.?", line, re.I):
            return "the first line does not name the columns", "delete this line"
        if "," in line:
            return None
        if line.startswith("#") and line != "#":
            return "a comment stands above the names of the columns", "delete it"
        mark = next((mark for mark in ";\t|" if mark in line), None)
        if mark is None and below and _NUMBERS_AND_BLANKS.fullmatch(below[0].strip()):
            mark = " "
        if mark is None:
            return None
        remedy = "save the file with commas between the cells"
        if any(_DECIMAL_COMMA.search(row) for row in below):
            remedy += " and points for decimals: 1.5, not 1,5"
        return f"{_SEPARATORS[mark]}, not commas, seem to stand between the cells", remedy

    def _names(self) -> None:
        """Check the names of the columns."""
        seen: dict[str, str] = {}
        filled = max((at for at, cell in enumerate(self.header) if cell.text), default=-1)
        for at, cell in enumerate(self.header):
            name, place = cell.text, cell.place
            alike = unicodedata.normalize("NFKC", name).casefold()
            odd = next((c for c in name if not c.isprintable()), None)
            if not name and at > filled:
                remedy = "delete the comma at the end of every line"
                self._fault(place, "a comma ends this line: a column without a name", remedy)
                return
            if not name:
                self._fault(place, "a column has no name", "write one between the commas")
            elif len(name) > LONGEST_CELL:
                what = f"the name of a column is longer than {LONGEST_CELL} characters"
                self._fault(place, what, "shorten it")
            elif odd is not None:
                remedy = PASTED.get(odd, "delete it").rpartition(": ")[2]
                what = f"{spell(odd)} cannot stand in the name of a column"
                self._fault(place.shifted(name.index(odd), 1), what, remedy)
            elif seen.get(alike, name) != name:
                other = seen[alike]
                what = f"the name of the column {name!r} is too much like that of {other!r}"
                if name.casefold() == other.casefold():
                    what = f"the column {name!r} differs only in case from {other!r}"
                self._fault(place, what, "rename one of the two")
            elif alike in seen:
                self._fault(place, f"the column {name!r} stands twice", "rename one of the two")
            seen.setdefault(alike, name)

    def _rows(self, start: int) -> None:
        """Find the rows that are in form, and a row of units above them."""
        width, numbers, before, searching = len(self.header), self.numbers, start, True
        reader = csv.reader(itertools.islice(self.lines, start, None), strict=True)
        while len(self.faults) < 2 * MOST_FAULTS:
            try:
                fields = next(reader, None)
            except csv.Error:
                self._broken(before)
                break
            if fields is None:
                break
            if start + reader.line_num != before + 1:  # a quote went on to the next line
                self._broken(before)
                break
            line, before = self.lines[before], before + 1
            plain = len(line) <= LONGEST_CELL and " " not in line and "\t" not in line
            if plain and len(fields) == width and fields[0] and not searching:
                numbers.append(before)
            elif line.strip(BLANK) and self._in_form(fields, line, before):
                if not (searching and self._is_unit_row(split(line, before))):
                    numbers.append(before)
                searching = False
            if len(numbers) > self.most_rows:
                raise too_many_rows(self.name, self.most_rows)
        if not numbers and not self.faults:
            line = self.lines[start - 1]
            what = "no row stands below the names of the columns"
            self._fault(_whole(line, start), what, "write the rows below them")

    def _in_form(self, fields: list[str], line: str, number: int) -> bool:
        """Return whether a line is a row of the table; say what is wrong with it."""
        if ' "' in line or '\t"' in line:
            try:
                list(stretches(line))
            except Misread as error:
                place = Place(number, error.start + 1, error.length)
                self._fault(place, error.what, error.remedy)
                return False
        if not any(field.strip(BLANK) for field in fields):
            return False  # spreadsheets end with such lines
        if len(fields) != len(self.header):
            self._fault(_whole(line, number), *_wrong_count(fields, line, len(self.header)))
            return False
        for at, field in enumerate(fields):
            if len(field) <= LONGEST_CELL:
                continue
            note = self.header[at].text.casefold() in ("note", "notes")
            most = LONGEST_NOTE if note else LONGEST_CELL
            if len(field) > most:
                place = split(line, number)[at].place
                self._fault(place, f"this cell is longer than {most} characters", "shorten it")
                return False
        padded = any(field != field.strip(BLANK) for field in fields)
        if padded and not any(note.place.line > self.header[0].place.line for note in self.notes):
            what = "blanks around cells were taken off, here and below"
            self._note(_whole(line, number), what, "write the cells without blanks around them")
        return True

    def _is_unit_row(self, cells: list[Cell]) -> bool:
        """Return whether the first row holds units, and keep them."""
        first, others = cells[0].text.casefold(), [cell for cell in cells[1:] if cell.text]
        if first not in ("", "unit", "units"):
            return False
        if any(number_fault(cell.text) is None for cell in others):
            return False
        if not first and not any(_looks_like_unit(cell.text) for cell in others):
            return False
        for column, cell in zip(self.header[1:], cells[1:], strict=True):
            if cell.text:
                self.units[column.text] = cell
        return True


def _wrong_count(fields: list[str], line: str, width: int) -> tuple[str, str]:
    count = f"{len(fields)} field{'' if len(fields) == 1 else 's'}"
    what = f"this line has {count}, the header has {width}"
    if len(fields) < width:
        other = next((mark for mark in ";\t|" if mark in line), None)
        if other is not None:
            return what, f"write commas between the cells; here stand {_SEPARATORS[other]}"
        return what, "write every cell; an empty one still has its comma"
    if len(fields) == width + 1 and not fields[-1].strip(BLANK):
        if _DECIMAL_COMMA.search(line.rstrip(BLANK + ",")):
            remedy = "write decimals with a point, 1.5; if there are none, delete the last comma"
            return f"{what}; a decimal comma, or a comma at the end?", remedy
        return what, "delete the comma at the end of the line"
    if _DECIMAL_COMMA.search(line):
        return f"{what}; this looks like a decimal comma", "write decimals with a point: 1.5"
    return what, "delete the comma that is too many, or put the text that contains it in quotes"


def read_unit(text: str) -> Unit:
    """Return the unit that a cell is, with or without brackets around it. Raises Misread."""
    unit, start = text, 0
    if text[0] + text[-1] in ("[]", "()") and not set(text[1:-1]) & set("()"):
        inner = text[1:-1]
        unit, start = inner.strip(" "), 1 + len(inner) - len(inner.lstrip(" "))
    return ONE if unit == "-" else parse_unit(unit, start)


def _looks_like_unit(text: str) -> bool:
    if text[0] + text[-1] in ("[]", "()"):
        return True
    try:
        read_unit(text)
    except Misread:
        return False
    return True
