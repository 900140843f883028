"""The study as CSV: numbers at full precision, and no text that a spreadsheet would run.

A spreadsheet takes a cell that begins like a formula for one, and may send data away with it;
an apostrophe before it makes it text (OWASP ASVS 1.2.10, as a page quotes it).
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable

from effband.problems import printable
from effband.report.machine import document
from effband.study import Study

_STARTS = "=+-@|%＝＋－＠"  # the wide ones, too: some spreadsheets take them for the others

Cell = str | float | None


def results_csv(study: Study) -> str:
    """Return a row for every result and run, in the result's unit."""
    head = "result run unit is nominal mean median low high half_width standard_uncertainty".split()
    rows: list[Iterable[Cell]] = [[*head, "beyond_ceiling", "widest"]]
    for each in document(study)["results"]:
        flat = {**each, **each["interval"]}
        widest = each["ranking"][0]["source"] if each["ranking"] else None
        rows.append([*(flat[name] for name in head), each["beyond_ceiling"], widest])
    return _written(rows)


def wideners_csv(study: Study) -> str:
    """Return a row for every result, run and source, the one that widens most first."""
    head = ["result", "run", "unit", "source", "kind", "half_width_without", "first_order", "total"]
    rows: list[Iterable[Cell]] = [head]
    for each in document(study)["results"]:
        for line in each["ranking"]:
            indices = (line["first_order"], line["total"])
            shares = (None if index is None else index["value"] for index in indices)
            told = (line[name] for name in ("source", "kind", "half_width_without"))
            rows.append([each["result"], each["run"], each["unit"], *told, *shares])
    return _written(rows)


def _written(rows: Iterable[Iterable[Cell]]) -> str:
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\r\n")  # RFC 4180
    for row in rows:
        writer.writerow([_cell(cell) for cell in row])
    return stream.getvalue()


def _cell(cell: Cell) -> str:
    if cell is None:
        return ""
    if isinstance(cell, float | int):
        return repr(float(cell))
    return safe(cell)


def safe(text: str) -> str:
    """Return text that stands for itself in a spreadsheet's cell, on one line."""
    one_line = printable(" ".join(text.split()))
    runs = one_line.startswith(tuple(_STARTS)) and one_line != "%"  # the unit alone is harmless
    return f"'{one_line}" if runs else one_line
