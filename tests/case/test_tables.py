"""CSV files: what is read from them, and at which place."""

from __future__ import annotations

import csv
import hashlib
import io
import random
import time
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from small_table import GOOD, table_of, texts

from effband.case.tables import (
    BadData,
    Fault,
    Table,
    check_units,
    column_numbers,
    number_fault,
    read_table,
)
from effband.units import parse_number, parse_unit

# -- a good file -------------------------------------------------------------------------------


@pytest.mark.parametrize("ending", ["\n", "\r\n", "\r"])
@pytest.mark.parametrize("mark", ["", "\ufeff"])
@pytest.mark.parametrize("last", [True, False])
def test_a_good_file_gives_its_cells_at_their_places(
    tmp_path: Path, ending: str, mark: str, last: bool
) -> None:
    text = GOOD if last else GOOD.rstrip("\n")
    data = (mark + text.replace("\n", ending)).encode()
    table = table_of(tmp_path, data)
    assert (table.faults, table.notes, table.units) == ((), (), {})
    assert (table.name, table.size, table.text) == ("runs.csv", len(data), text)
    assert table.sha256 == hashlib.sha256(data).hexdigest()
    assert [cell.text for cell in table.header] == ["run", "p_start", "note"]
    assert texts(table) == [
        ["light_1", "5.3", ""],
        ["light_2", "5.25", "warm oil"],
        ["full_1", "-0.5e-3", "x"],
    ]
    lines = table.text.split("\n")
    for cell in (*table.header, *(cell for row in table.rows for cell in row.values())):
        place = cell.place
        start = place.column - 1
        if cell.text:
            assert lines[place.line - 1][start : start + place.length] == cell.text
        else:
            assert (place.line, place.column, place.length) == (2, 12, 1)  # under the comma
    assert [row["run"].place.line for row in table.rows] == [2, 3, 5]
    assert list(table.rows[1]) == ["run", "p_start", "note"]
    assert table.rows[-1]["run"].text == "full_1"
    assert [row["run"].text for row in table.rows[1:]] == ["light_2", "full_1"]


def test_places_of_quoted_and_padded_cells(tmp_path: Path) -> None:
    table = table_of(tmp_path, 'a,"b b",c\n"x, y", 1.5 ,"say ""hi"""\n"",2,5" pipe\n')
    assert table.faults == ()
    assert [(c.text, c.place.column, c.place.length) for c in table.header] == [
        ("a", 1, 1),
        ("b b", 4, 3),
        ("c", 9, 1),
    ]
    first, second = table.rows
    assert [(c.text, c.place.column, c.place.length) for c in first.values()] == [
        ("x, y", 2, 4),
        ("1.5", 9, 3),
        ('say "hi"', 15, 10),
    ]
    assert [(c.text, c.place.column, c.place.length) for c in second.values()] == [
        ("", 2, 1),
        ("2", 4, 1),
        ('5" pipe', 6, 7),
    ]
    assert [(n.place.line, n.what) for n in table.notes] == [
        (2, "blanks around cells were taken off, here and below")
    ]


def test_blanks_around_the_name_of_a_column_are_taken_off_and_noted(tmp_path: Path) -> None:
    table = table_of(tmp_path, " T,\tp \n1,2\n")
    assert [(cell.text, cell.place.column) for cell in table.header] == [("T", 2), ("p", 5)]
    assert table.faults == ()
    assert [(note.place.column, note.what) for note in table.notes] == [
        (2, "blanks around the name of the column 'T' were taken off"),
        (5, "blanks around the name of the column 'p' were taken off"),
    ]


# -- the row of units --------------------------------------------------------------------------

DECLARED = {"p": parse_unit("bar"), "T": parse_unit("degC"), "share": parse_unit("1")}


@pytest.mark.parametrize(
    ("row", "units"),
    [
        ("unit,bar,degC,-", {"p": "bar", "T": "degC", "share": "-"}),
        ("Units,[bar],(degC),[-]", {"p": "[bar]", "T": "(degC)", "share": "[-]"}),
        (",bar,,", {"p": "bar"}),
        ("unit,,,", {}),
        ("unit,J/m^3*1e5,degC,", None),  # a unit, but no bar: said by check_units
        (",[barr],,", None),
    ],
)
def test_a_row_of_units_is_no_row(tmp_path: Path, row: str, units: dict[str, str] | None) -> None:
    table = table_of(tmp_path, f"run,p,T,share\n\n{row}\na,5.3,20,0.4\n")
    assert table.faults == ()
    assert texts(table) == [["a", "5.3", "20", "0.4"]]
    faults = check_units(table, DECLARED)
    if units is None:
        assert len(faults) == 1
    else:
        assert faults == []
        assert {column: cell.text for column, cell in table.units.items()} == units
    assert {cell.place.line for cell in table.units.values()} <= {3}


@pytest.mark.parametrize(
    "row",
    ["bar,bar,degC,", "a,bar,degC,-", ",bar,20,", ",5.3,20,0.4", ",x,y,z", ",NA,NA,NA"],
)
def test_any_other_first_row_is_a_row(tmp_path: Path, row: str) -> None:
    table = table_of(tmp_path, f"run,p,T,share\n{row}\na,5.3,20,0.4\n")
    assert (table.units, table.faults) == ({}, ())
    assert [cell.text for cell in table.rows[0].values()] == row.split(",")
    assert len(table.rows) == 2


def test_units_further_down_are_a_row(tmp_path: Path) -> None:
    table = table_of(tmp_path, "run,p\na,5.3\nunit,bar\n")
    assert (len(table.rows), table.units) == (2, {})
    _, faults, _ = column_numbers(table, "p", ())
    assert [(f.place.line, f.place.column, f.what, f.remedy) for f in faults] == [
        (
            3,
            6,
            "'bar' is a unit, not a number",
            "delete this row, or begin it with `unit` right below the header",
        )
    ]


AGREE = [("hPa", "mbar"), ("W", "J/s"), ("kW*h", "kWh"), ("bar", "bar"), ("degF", "degF")]
AGREE += [("[L/min]", "L/min"), ("ft lbf/s", "lbf*ft/s"), ("g/cm^3", "kg/L")]


@pytest.mark.parametrize(("written", "declared"), AGREE)
def test_units_that_agree(tmp_path: Path, written: str, declared: str) -> None:
    table = table_of(tmp_path, f"run,x\nunit,{written}\na,1\n")
    assert table.units["x"].text == written
    assert check_units(table, {"x": parse_unit(declared)}) == []


BOTH = "write in both the unit that the numbers of the column are in"


@pytest.mark.parametrize(
    ("written", "declared", "column", "length", "what", "remedy"),
    [
        ("psi", "bar", 6, 3, "'x' is in psi in this file and in bar in the case", BOTH),
        ("[kPa]", "bar", 6, 5, "'x' is in kPa in this file and in bar in the case", BOTH),
        ("K", "degC", 6, 1, "'x' is in K in this file and in degC in the case", BOTH),
        ("C", "degC", 6, 1, "'x' is in C in this file and in degC in the case", BOTH),
        ("-", "%", 6, 1, "'x' is in 1 in this file and in % in the case", BOTH),
        ("delta_degC", "K", 6, 10, "'x' is in delta_degC in this file and in K in the case", BOTH),
        ("Bar", "bar", 6, 3, "unknown unit 'Bar'", "did you mean bar?"),
        ("[ barr ]", "bar", 8, 4, "unknown unit 'barr'", "did you mean bar or mbar?"),
        ("°C", "degC", 6, 1, "'°' cannot stand in a unit", "write degC or degF"),
        ("m3/h", "m^3/h", 6, 2, "unknown unit 'm3'", "write m^3"),
    ],
)
def test_units_that_clash(
    tmp_path: Path, written: str, declared: str, column: int, length: int, what: str, remedy: str
) -> None:
    table = table_of(tmp_path, f"run,x,y\nunit,{written},wrong\na,1,2\n")
    faults = check_units(table, {"x": parse_unit(declared)})
    assert [(f.place.line, f.place.column, f.place.length) for f in faults] == [(2, column, length)]
    assert [(f.what, f.remedy) for f in faults] == [(what, remedy)]


# -- numbers -----------------------------------------------------------------------------------


def test_numbers_of_a_column(tmp_path: Path) -> None:
    table = table_of(
        tmp_path, 'run,p\na, 5.3 \nb,NA\n\nc,"-1.5e-3"\nd,1e99\ne,12345678901234567\nf,-999\n'
    )
    numbers, faults, marked = column_numbers(table, "p", ["NA", "-999"])
    assert numbers.dtype == np.float64
    assert (faults, marked) == ([], 2)
    assert numbers.tolist() == [5.3, -1.5e-3, 1e99, 12345678901234567.0]
    with pytest.raises(ValueError, match="q"):
        column_numbers(table, "q", [])


def test_cells_that_are_no_numbers(tmp_path: Path) -> None:
    table = table_of(tmp_path, 'run,p\na,NA\nb,na\n\nc,"12,5"\nd,\n')
    numbers, faults, marked = column_numbers(table, "p", {"NA"})
    assert (numbers.shape, marked) == ((0,), 1)
    assert [(f.place.line, f.place.column, f.place.length, f.what) for f in faults] == [
        (3, 3, 2, "'na' is not a number"),
        (5, 4, 4, "'12,5' is not a number"),
        (6, 2, 1, "this cell is empty"),
    ]
    many = table_of(tmp_path, "p\n" + "x\n" * 30 + "NA\n7\n")
    numbers, faults, marked = column_numbers(many, "p", {"NA"})
    assert [fault.place.line for fault in faults] == list(range(2, 22))
    assert (numbers.tolist(), marked) == ([7.0], 1)


def test_a_column_gives_what_the_grammar_of_the_case_gives(tmp_path: Path) -> None:
    rng = random.Random(7)
    pool = ["0", "-0", "+5", "1e5", "1E-7", "1e400", "1e-400", "1e99", "9" * 17, "9" * 18, "007"]
    pool += [".5", "5.", "1_0", "0." + "0" * 20 + "1", "1.7976931348623157e308", "1e0000", "--1"]
    for _ in range(3000):
        digits = "".join(rng.choices("0123456789", k=rng.randint(1, 9)))
        pool.append(
            rng.choice(["", "-", "+"]) + digits + rng.choice(["", ".", ".25", "e7", "e-99"])
        )
    table = table_of(tmp_path, "p\n" + "".join(f"{text}\n" for text in pool), 10_000)
    expected = [parse_number(text) for text in pool if number_fault(text) is None]
    numbers, faults, _ = column_numbers(table, "p", ())
    assert len(expected) > 1000
    assert numbers.tolist() == expected
    assert expected == [float(text) for text in pool if number_fault(text) is None]
    assert faults[0].place.line == 2 + pool.index("1e400")


def test_a_million_rows_take_seconds(tmp_path: Path) -> None:
    values = np.round(np.random.default_rng(3).normal(5.0, 0.1, 1_000_000), 6)
    lines = "\n".join(f"{i},{value!r}" for i, value in enumerate(values.tolist()))
    (tmp_path / "draws.csv").write_text(f"i,y\n{lines}\n")
    start = time.perf_counter()
    table = read_table(tmp_path, "draws.csv", 1_000_000)
    numbers, faults, marked = column_numbers(table, "y", ("NA",))
    seconds = time.perf_counter() - start
    assert (faults, marked, table.faults) == ([], 0, ())
    assert np.array_equal(numbers, values)
    assert seconds < 10.0  # 1.6 s on one core of a common machine


# -- whatever the file holds -------------------------------------------------------------------


def by_csv(table: Table) -> list[list[str]]:
    """Return header and rows as the csv module alone reads them."""
    rows = csv.reader(io.StringIO(table.text, newline=""))
    return [row for row in rows if "".join(row).strip()]


def by_pandas(table: Table) -> list[list[str]]:
    """Return header and rows as pandas reads them when it may guess nothing."""
    frame = pd.read_csv(io.StringIO(table.text), dtype=str, keep_default_na=False, header=None)
    return frame.to_numpy().tolist()


def stripped(rows: list[list[str]]) -> list[list[str]]:
    return [[text.strip(" \t") for text in row] for row in rows]


def test_accepted_tables_are_what_others_read(tmp_path: Path) -> None:
    rng = random.Random(11)
    words = ["1.5", "-2e-3", "light", "say so", "a, b", 'x"y', " 7", "°C", "0", "NA", "None", "#"]
    for _ in range(300):
        width = rng.randint(1, 6)
        stream = io.StringIO(newline="")
        quoting = rng.choice([csv.QUOTE_MINIMAL, csv.QUOTE_ALL])
        writer = csv.writer(stream, lineterminator=rng.choice(["\n", "\r\n"]), quoting=quoting)
        writer.writerow([f"c{i}" for i in range(width)])
        writer.writerows(rng.choices(words, k=width) for _ in range(rng.randint(1, 5)))
        table = table_of(tmp_path, stream.getvalue())
        assert table.faults == ()
        ours = [[cell.text for cell in table.header], *texts(table)]
        assert ours == stripped(by_csv(table)) == stripped(by_pandas(table))


SEEDS = [
    GOOD.encode(),
    b'run,p,"T, in"\r\nunit,[bar],degC\r\n"a ""b""",5.3, 20\r\nb,NA,"-1"\r\n',
    "\ufefft;T\n0;1,5\n1;2,5\n".encode(),
    b"t,p\n0,1,5\n1\n,\n2,3\n" * 3,
]
PIECES = [bytes([i]) for i in range(256)] + [bytes([i]) for i in range(32, 127)] * 9
PIECES += [b'"', b",", b"\n", b"\r", b'""', b' "', b"\t", b" "] * 50
PIECES += [b"\xef\xbb\xbf", b"\xe2\x80\xae", b"\xf3\xa0\xbf\xbf", b"x" * 300, b"," * 1200]


def mutated(rng: random.Random) -> bytes:
    data = rng.choice([*SEEDS, *SEEDS[:2] * 2])
    for _ in range(rng.randint(1, 4)):
        start, length = rng.randint(0, len(data)), rng.choice([0, 0, 1, 1, 2, 20])
        piece = rng.choice(PIECES) * rng.choice([1, 1, 1, 2, 40])
        data = data[:start] + piece + data[start + length :]
    return data


def assert_within(text: str, faults: list[Fault]) -> None:
    lines = text.split("\n")
    for fault in faults:
        place = fault.place
        assert 1 <= place.line <= len(lines), fault
        line = lines[place.line - 1]
        assert place.column >= 1, fault
        assert place.length >= 1, fault
        assert place.column - 1 + place.length <= len(line), fault
        assert fault.what == fault.what.strip(". "), fault
        assert fault.remedy, fault


def test_nothing_but_bad_data_escapes_from_damaged_files(tmp_path: Path) -> None:
    rng = random.Random(2024)
    accepted = refused = faulty = 0
    for _ in range(4000):
        try:
            table = table_of(tmp_path, mutated(rng), 50)
        except BadData:
            refused += 1
            continue
        faults = [*table.faults, *table.notes, *check_units(table, DECLARED)]
        for cell in table.header if table.rows else ():
            faults += column_numbers(table, cell.text, ("NA",))[1]
        assert_within(table.text, faults)
        cells = [cell for row in table.rows for cell in row.values()]
        assert_within(table.text, [Fault(cell.place, "x", "x") for cell in cells])
        faulty += bool(table.faults)
        if not table.faults and not table.units:
            accepted += 1
            header = [cell.text for cell in table.header]
            assert [header, *texts(table)] == stripped(by_csv(table))
    assert min(accepted, refused, faulty) > 300


def test_a_low_limit_of_the_csv_module_does_not_escape(tmp_path: Path) -> None:
    before = csv.field_size_limit(3)
    try:
        for content in (GOOD, "a,b\n12345,6\n"):
            faults = table_of(tmp_path, content).faults
            assert [fault.what for fault in faults] == [
                "a cell of this line is too long to be read"
            ]
    finally:
        csv.field_size_limit(before)
