"""Runs from a CSV file: the same as rows in the case, and every fault at its line."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

from effband.case.resolve import load_case
from effband.problems import CaseError
from effband.propagate.engine import Engine
from effband.report.machine import document
from effband.study import run

HEAD = """\
effband: 1
title: runs from a file
instruments:
  meter: {accuracy: 1 % of reading, span: [0 W, 100 W], digit: 0.1 W}
runs:
  readings:
    power: {unit: W, instrument: meter}
    time: {unit: s, plus_minus: 1 s, optional: true}
"""
TAIL = """\
results:
  work: {formula: power * time, unit: J}
  power: {formula: power, unit: W}
settings: {trials: 20000}
"""
ROWS = """\
  rows:
    a: {power: 30.1, time: 60}
    b: {power: 31, time: 61}
"""
GOOD = "run,power,time\na,30.1,60\nb,31,61\n"


def case(folder: Path, table: str | None, more: str = "") -> str:
    """Write a case, with a file of runs where there is a table; return its name."""
    runs = ROWS if table is None else "  file: runs.csv\n"
    file = folder / "case.yaml"
    file.write_text(HEAD + runs + more + TAIL, encoding="utf-8")
    if table is not None:
        (folder / "runs.csv").write_bytes(table.encode())
    return str(file)


def said(folder: Path, table: str, more: str = "") -> list[str]:
    """Return the first lines of all that is refused, without the folder."""
    with pytest.raises(CaseError) as caught:
        load_case(case(folder, table, more))
    text = str(caught.value).replace(f"{folder}/", "")
    return [line for line in text.split("\n") if ": error: " in line]


@pytest.mark.parametrize(
    "table",
    [
        GOOD,
        "run,power,time\n,W,s\na,30.1,60\nb,31,61\n",
        "run,power,time\nunit,[W],[s]\na,30.1,60\nb,31,61\n",
        "run,time,power\nb,61,31\na,60,30.1\n",
        "\ufeffrun,power,time\r\na,30.1,60\r\nb,31,61\r\n",
        "run,power,time\na,30.1 W,1 min\nb,0.031 kW,61 s\n",
        'run,power,time\n"a","30.1","60"\n\nb,31,61\n',
    ],
)
def test_a_file_says_what_rows_say(tmp_path: Path, table: str) -> None:
    for name in ("rows", "file"):
        (tmp_path / name).mkdir()
    plain = document(run(load_case(case(tmp_path / "rows", None))))
    read = document(run(load_case(case(tmp_path / "file", table))))
    order = {"work": 0, "power": 1}

    def numbers(found: dict[str, list[dict[str, str]]]) -> str:
        rows = sorted(found["results"], key=lambda r: (order[r["result"]], r["run"]))
        return json.dumps(rows)

    assert numbers(read) == numbers(plain)
    assert read["data"][0]["name"] == "runs.csv"
    assert read["data"][0]["rows"] == 2
    assert len(read["data"][0]["sha256"]) == 64
    assert plain["data"] == []


FAULTS = [
    ("run,power,time\na,30.1,60\na,31,61\n", "runs.csv:3:1: error: the run a stands in line 2"),
    ("name,power,time\na,30.1,60\n", "runs.csv:1:1: error: the first column is 'name'"),
    ("run,powr,time\na,30.1,60\n", "case.yaml:7:5: error: runs.csv has no column 'power'"),
    ("run,power,time\n,kW,s\na,30.1,60\n", "runs.csv:2:2: error: "),
    ("run,power,time\na,,60\n", "runs.csv:2:1: error: run a has no reading power"),
    ("run,power,time\na,NA,60\n", "runs.csv:2:3: error: "),
    ("run,power,time\na,OL,60\n", "runs.csv:2:3: error: "),
    ('run,power,time\na,"30,1",60\n', "runs.csv:2:4: error: "),
    ("run,power,time\na,30,1,60\n", "runs.csv:2:"),
    ("run;power;time\na;30,1;60\n", "runs.csv:1:"),
    ("run,power,time\na,300,60\n", "runs.csv:2:3: error: power: 300 W lies outside the span"),
    ("run,power,time\na,30 s,60\n", "runs.csv:2:3: error: s does not fit the column power"),
    ("run,power,time\n2nd,30,60\n", "runs.csv:2:1: error: '2nd' cannot be the name of a run"),
    ("run,power,time\na,0x10,60\n", "runs.csv:2:3: error: "),
    ("run,power,time\na,1e999,60\n", "runs.csv:2:3: error: "),
    ("run,power,time\na,30,12:30\n", "runs.csv:2:6: error: "),
    ("run,power,time\na,30,01/02/2026\n", "runs.csv:2:6: error: "),
    ("run,power,time\n", ""),
    ("", ""),
]


@pytest.mark.parametrize(("table", "expected"), FAULTS, ids=[repr(row[0]) for row in FAULTS])
def test_a_fault_is_told_once_at_its_line(tmp_path: Path, table: str, expected: str) -> None:
    (found,) = said(tmp_path, table)
    assert found.startswith(expected)


def test_marks_of_what_is_missing(tmp_path: Path) -> None:
    table = "run,power,time\na,30.1,60\nb,31,NA\nc,32,-\n"
    read = load_case(case(tmp_path, table, "  missing: [NA, '-']\n"))
    assert {(o.target.name, o.run) for o in read.outputs} == {
        ("work", "a"),
        ("power", "a"),
        ("power", "b"),
        ("power", "c"),
    }
    words = [warning.what for warning in read.warnings]
    assert "2 cells of runs.csv marked as missing" in words
    assert "work has no value in run b: time is empty" in words
    (found,) = said(tmp_path, "run,power,time\na,NA,60\n", "  missing: [NA]\n")
    assert found == "runs.csv:2:1: error: run a has no reading power"


def test_columns_that_are_not_declared_are_not_read_and_that_is_said(tmp_path: Path) -> None:
    table = "run,power,date,time,note\na,30.1,01/02/26,60,fine\n"
    read = load_case(case(tmp_path, table))
    (warning,) = read.warnings
    assert warning.what == "the column 'date' is not declared, so it is not read"
    assert warning.document is not None
    assert (warning.document.file, warning.place.line) == (str(tmp_path / "runs.csv"), 1)
    assert Engine(read, 1, 1000).run()


def test_a_file_in_a_folder_below_found_from_anywhere(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "bench" / "log").mkdir(parents=True)
    (tmp_path / "bench" / "log" / "runs.csv").write_text(GOOD)
    text = HEAD + "  file: log/runs.csv\n" + TAIL
    (tmp_path / "bench" / "case.yaml").write_text(text)
    monkeypatch.chdir(tmp_path)
    assert len(load_case("bench/case.yaml").outputs) == 4
    monkeypatch.chdir(tmp_path / "bench")
    assert len(load_case("case.yaml").outputs) == 4


def test_too_many_runs(tmp_path: Path) -> None:
    rows = "".join(f"r{i},30,60\n" for i in range(2_001))
    (found,) = said(tmp_path, "run,power,time\n" + rows)
    assert found.startswith("case.yaml:9:9: error: ")
    assert "2000" in found.replace(" ", "").replace(",", "")


def test_groups_of_runs_from_a_file(tmp_path: Path) -> None:
    read = load_case(case(tmp_path, GOOD, "  groups: {both: [a, b]}\n"))
    assert [(o.target.name, o.run) for o in read.outputs][2] == ("work", "both")


@pytest.mark.parametrize("command", ["check", "run"])
def test_the_command_line_refuses_a_bad_file_and_writes_nothing(
    tmp_path: Path, command: str
) -> None:
    (tmp_path / "sub").mkdir()
    case(tmp_path / "sub", "run,power,time\na,30.1,60\nb,oops,61\n")
    options = ["-o", "out"] if command == "run" else []
    done = subprocess.run(
        [sys.executable, "-m", "effband", command, "sub/case.yaml", *options],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    assert done.returncode == 1
    assert done.stdout == ""
    assert done.stderr.startswith(
        "sub/runs.csv:3:3: error: 'oops' is not a number\n    b,oops,61\n      ^^^^\n  help: "
    )
    assert not (tmp_path / "out").exists()


def test_a_cell_marked_as_missing_is_not_filled_in(tmp_path: Path) -> None:
    """`in_every_run:` stands for a cell that is left empty, not for a reading that was lost."""
    table = "run,power,time\na,30.1,60\nb,31,NA\n"
    file = case(tmp_path, table, "  missing: [NA]\n")
    text = Path(file).read_text()
    Path(file).write_text(text.replace("optional: true", "optional: true, in_every_run: 70 s"))
    with pytest.raises(CaseError, match="time has its value in every run, so it cannot be missing"):
        load_case(file)
