"""CSV files whose form is at fault: what is said, and at which line."""

from __future__ import annotations

from pathlib import Path

import pytest
from small_table import table_of, texts

from effband.case.tables import BadData

DECIMALS = "save the file with commas between the cells and points for decimals: 1.5, not 1,5"
COMMAS = "save the file with commas between the cells"
CLOSED = "close it; a cell cannot go on in the next line"
TWICE = "rename one of the two"
FORM: dict[str, tuple[str, tuple[int, int, int], str, str]] = {
    # name: the file; line, column, length; what, remedy
    "semicolons and decimal commas": (
        "t;T\n0;1,5\n",
        (1, 1, 3),
        "semicolons, not commas, seem to stand between the cells",
        DECIMALS,
    ),
    "semicolons": (
        "t;T\n0;1.5\n",
        (1, 1, 3),
        "semicolons, not commas, seem to stand between the cells",
        COMMAS,
    ),
    "tabs": (
        "t\tT\n0\t1\n",
        (1, 1, 3),
        "tabs, not commas, seem to stand between the cells",
        COMMAS,
    ),
    "upright strokes": (
        "t|T\n0|1\n",
        (1, 1, 3),
        "upright strokes, not commas, seem to stand between the cells",
        COMMAS,
    ),
    "blanks": (
        "t T\n0 1.5\n",
        (1, 1, 3),
        "blanks, not commas, seem to stand between the cells",
        COMMAS,
    ),
    "quoted names with semicolons": (
        '"t";"T"\n0;1\n',
        (1, 1, 7),
        "semicolons, not commas, seem to stand between the cells",
        COMMAS,
    ),
    "a decimal comma": (
        "t,p\n0,1,5\n",
        (2, 1, 5),
        "this line has 3 fields, the header has 2; this looks like a decimal comma",
        "write decimals with a point: 1.5",
    ),
    "a decimal comma in the only column": (
        "p\n1\n1,5\n",
        (3, 1, 3),
        "this line has 2 fields, the header has 1; this looks like a decimal comma",
        "write decimals with a point: 1.5",
    ),
    "a text with a comma": (
        "run,p,note\na,1,cold, wet\n",
        (2, 1, 13),
        "this line has 4 fields, the header has 3",
        "delete the comma that is too many, or put the text that contains it in quotes",
    ),
    "a comma at the end of a row": (
        "t,p\n0,1,\n",
        (2, 1, 4),
        "this line has 3 fields, the header has 2; a decimal comma, or a comma at the end?",
        "write decimals with a point, 1.5; if there are none, delete the last comma",
    ),
    "a short row": (
        "t,p\n1,2\n0\n",
        (3, 1, 1),
        "this line has 1 field, the header has 2",
        "write every cell; an empty one still has its comma",
    ),
    "a row with another separator": (
        "t,p\n0;1\n",
        (2, 1, 3),
        "this line has 1 field, the header has 2",
        "write commas between the cells; here stand semicolons",
    ),
    "a name twice": ("T,p,T\n1,2,3\n", (1, 5, 1), "the column 'T' stands twice", TWICE),
    "a name twice, but for blanks": (
        "T,p, T\n1,2,3\n",
        (1, 6, 1),
        "the column 'T' stands twice",
        TWICE,
    ),
    "a name twice, but for case": (
        "t,T\n1,2\n",
        (1, 3, 1),
        "the column 'T' differs only in case from 't'",
        TWICE,
    ),
    "two micro signs": (
        "\u00b5,\u03bc\n1,2\n",
        (1, 3, 1),
        "the column '\u03bc' differs only in case from '\u00b5'",
        TWICE,
    ),
    "a full-width name": (
        "p,\uff50\n1,2\n",
        (1, 3, 1),
        "the name of the column '\uff50' is too much like that of 'p'",
        TWICE,
    ),
    "a name missing in the middle": (
        "t,,p\n1,2,3\n",
        (1, 3, 1),
        "a column has no name",
        "write one between the commas",
    ),
    "a comma after the names": (
        "t,p,\n0,1,\n",
        (1, 4, 1),
        "a comma ends this line: a column without a name",
        "delete the comma at the end of every line",
    ),
    "a no-break space in a name": (
        "t,p\u00a0start\n0,1\n",
        (1, 4, 1),
        "U+00A0 (no-break space) cannot stand in the name of a column",
        "write a plain space",
    ),
    "a long name": (
        f"t,{'p' * 201}\n0,1\n",
        (1, 3, 201),
        "the name of a column is longer than 200 characters",
        "shorten it",
    ),
    "no names": (
        "0,1.5\n1,2\n",
        (1, 1, 5),
        "the first line holds numbers where the names of the columns belong",
        "write a line with the names above it",
    ),
    "names without rows": (
        "\nt,p\n\n",
        (2, 1, 3),
        "no row stands below the names of the columns",
        "write the rows below them",
    ),
    "a line for one spreadsheet": (
        "sep=,\nt,p\n0,1\n",
        (1, 1, 5),
        "the first line does not name the columns",
        "delete this line",
    ),
    "a comment on top": (
        "# logger 7\nt,p\n0,1\n",
        (1, 1, 10),
        "a comment stands above the names of the columns",
        "delete it",
    ),
    "a quote that never closes": (
        'run,p\na,1\nb,"2\nc,3\n',
        (3, 3, 1),
        "a quote opens here and does not close on this line",
        CLOSED,
    ),
    "a cell over two lines": (
        'run,note\na,"x\ny"\nb,z\n',
        (2, 3, 1),
        "a quote opens here and does not close on this line",
        CLOSED,
    ),
    "a quote in the header that never closes": (
        '"run,p\na,1\n',
        (1, 1, 1),
        "a quote opens here and does not close on this line",
        CLOSED,
    ),
    "an unclosed quote in front of a long file": (
        'run,p\n"a,1\n' + "b,2\n" * 50_000,
        (2, 1, 1),
        "a quote opens here and does not close on this line",
        CLOSED,
    ),
    "text after a quote": (
        'run,p\n"a"b,1\n',
        (2, 4, 1),
        "text follows the quote that closes this cell",
        "write a comma after the closing quote, and a quote inside text twice",
    ),
    "a blank before a quote": (
        'run,note\na, "x, y"\n',
        (2, 3, 3),
        "a blank stands before the quote that opens this cell",
        "delete the blank",
    ),
    "a blank before a quote, otherwise in form": (
        'run,note\na, "x"\n',
        (2, 3, 4),
        "a blank stands before the quote that opens this cell",
        "delete the blank",
    ),
    "NUL": (
        "run,p\nlight_1,5.3\nlight_2,\x005.3\n",
        (3, 9, 1),
        "U+0000 (a control character) is not allowed in a data file",
        "delete it",
    ),
    "escape": (
        "run,p\nlight_1,5.3\x1b[2J\n",
        (2, 12, 1),
        "U+001B (a control character) is not allowed in a data file",
        "delete it",
    ),
    "a next line that is none": (
        "run,p\nlight_1,5.3\u2028x\n",
        (2, 12, 1),
        "U+2028 (line separator) is not allowed in a data file",
        "delete it",
    ),
    "right to left": (
        "run,p\nlight\u202e_1,5.3\n",
        (2, 6, 1),
        "U+202E (right-to-left override) is not allowed in a data file",
        "delete it",
    ),
    "a second byte order mark": (
        "\ufeff\ufeffrun,p\nlight_1,5.3\n",
        (1, 1, 1),
        "U+FEFF (zero width no-break space) is not allowed in a data file",
        "delete it",
    ),
    "an unassigned character": (
        "run,p\nlight_1,5\U000e0fff\n",
        (2, 10, 1),
        "U+E0FFF (an unassigned character) is not allowed in a data file",
        "delete it",
    ),
    "a long cell": (
        f"run,p\na,{'1' * 201}\n",
        (2, 3, 201),
        "this cell is longer than 200 characters",
        "shorten it",
    ),
    "a long note": (
        f"run,note\na,{'1' * 1001}\n",
        (2, 3, 1001),
        "this cell is longer than 1000 characters",
        "shorten it",
    ),
    "a cell longer than the csv module takes": (
        f"run,p\nb,1\na,{'1' * 140_000}\n",
        (3, 1, 140_002),
        "a cell of this line is too long to be read",
        "check its commas and quotes",
    ),
    "a line without end": (
        f"run,p\nb,1\n{',' * 250_001}\n",
        (3, 1, 1),
        "this line is longer than 250000 characters",
        "check that the lines of the file end",
    ),
}


@pytest.mark.parametrize("name", FORM)
def test_what_is_wrong_with_the_form(tmp_path: Path, name: str) -> None:
    content, place, what, remedy = FORM[name]
    faults = table_of(tmp_path, content, 100_000).faults
    first = faults[0]
    assert (first.place.line, first.place.column, first.place.length) == place
    assert (first.what, first.remedy) == (what, remedy)
    assert len(faults) == 1 or name in ("NUL", "a second byte order mark")


def test_all_faults_are_said_in_file_order_up_to_twenty(tmp_path: Path) -> None:
    table = table_of(tmp_path, "t,T\n1\n1,2\n1,2,3\n,\n1,2\x07\n")
    assert [(fault.place.line, fault.what[:24]) for fault in table.faults] == [
        (1, "the column 'T' differs o"),
        (2, "this line has 1 field, t"),
        (4, "this line has 3 fields, "),
        (6, "U+0007 (a control charac"),
    ]
    many = table_of(tmp_path, "t,p\n" + "1\n" * 30 + "1,\x07\n" * 30)
    assert [fault.place.line for fault in many.faults] == list(range(2, 22))


def test_lines_of_commas_alone_are_passed_over(tmp_path: Path) -> None:
    """Spreadsheets end their files with them."""
    table = table_of(tmp_path, "run,p\na,1\n,\nb,2\n,\n,,,\n")
    assert texts(table) == [["a", "1"], ["b", "2"]]
    assert table.faults == ()


def test_a_comma_at_the_end_may_be_a_decimal_one(tmp_path: Path) -> None:
    (fault,) = table_of(tmp_path, "run,u,i,note\na,9,21,4.72,\n").faults
    assert fault.what.endswith("; a decimal comma, or a comma at the end?")
    assert fault.remedy.startswith("write decimals with a point")
    (fault,) = table_of(tmp_path, "run,u,i\na,9.21,4.72,\n").faults
    assert fault.remedy == "delete the comma at the end of the line"


def test_a_note_may_be_long(tmp_path: Path) -> None:
    note = "n" * 1000
    assert texts(table_of(tmp_path, f"run,note\na,{note}\n")) == [["a", note]]


def test_rows_and_columns_are_bounded(tmp_path: Path) -> None:
    assert len(table_of(tmp_path, "p\n" + "1\n" * 10, 10).rows) == 10
    assert len(table_of(tmp_path, "run,p\nunit,bar\n" + "a,1\n" * 10, 10).rows) == 10
    for content in ("p\n" + "1\n" * 11, "p\n" + "\n" * 5000):
        with pytest.raises(BadData, match="has more than 10 rows: keep at most 10 rows"):
            table_of(tmp_path, content, 10)
    names = ",".join(f"c{i}" for i in range(1000))
    row = ",".join("1" * 1000)
    assert len(table_of(tmp_path, f"{names}\n{row}\n").rows[0]) == 1000
    with pytest.raises(BadData, match="has more than 1000 columns: keep the columns"):
        table_of(tmp_path, f"{names},one_more\n{row},1\n")
