"""A bad value of any key, and of options, is refused where it stands."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest
from small_case import FILE, complaints, warnings

CASE = """\
effband: 1
title: later
TOP
inputs:
  x: {value: 1 L, plus_minus: 0.1 LINPUT}
  y: {value: 1 L, plus_minus: 0.1 L}
runs:
  readings:
    v: {unit: V, plus_minus: 1 VCOLUMN}
  rows: {a: {v: 1CELL}, b: {v: 2}}
RUNS
formulas:
  f: FORMULA
  g: y
results:
  r: {formula: x + y + 0 * f, unit: LRESULT}
  q: {formula: v, unit: V}
"""
PLACES = ("TOP", "INPUT", "COLUMN", "CELL", "RUNS", "FORMULA", "RESULT")


def case_of(place: str, text: str) -> str:
    found = CASE
    for name in PLACES:
        put = text if name == place else ("x" if name == "FORMULA" else "")
        if name == "CELL" and put:
            found = found.replace("v: 1CELL", f"v: {{value: 1, {put}}}")
        if name in ("INPUT", "COLUMN", "RESULT") and put:
            put = ", " + put
        if name == "RUNS" and put:
            put = "  " + put
        found = found.replace(name, put)
    return found


def test_the_bare_case_is_fine_and_silent() -> None:
    assert warnings(case_of("", "")) == []


BAD = [
    ("RUNS", "groups: {both: [a, z]}", "no run is called 'z'"),
    ("RUNS", "groups: {both: [a]}", "a group is of two runs or more"),
    ("RUNS", "groups: {both: [a, a]}", ""),
    ("RUNS", "groups: {a: [a, b]}", "'a' is already the name of a run"),
    ("RUNS", "groups: [a, b]", ""),
    ("RUNS", "pool: perhaps", "'perhaps' is neither true nor false"),
    ("RUNS", "file: [runs.csv]", "plain text is expected here"),
    ("RUNS", "missing: {a: b}", "a list is expected here"),
    ("COLUMN", "missing: {a: b}", "a list is expected here"),
    ("TOP", "correlations: [{between: [x, z], coefficient: 0.8}]", "no input is called 'z'"),
    ("TOP", "correlations: [{between: [x], coefficient: 0.8}]", "is between two inputs"),
    ("TOP", "correlations: [{between: [x, y], coefficient: 1.8}]", "lies from -1 to 1"),
    ("TOP", "correlations: [{between: [x, y], coefficient: high}]", "is not a number"),
    (
        "TOP",
        "joint: {fit: {values: {c: 1 W, d: 2 W}, standard_uncertainties: {c: 1 W}, "
        "correlation: [[1, 0.5], [0.5, 1]]}}",
        "do not match in size",
    ),
    (
        "TOP",
        "joint: {fit: {values: {c: 1 W}, standard_uncertainties: {c: 1 kg}, correlation: [[1]]}}",
        "kg",
    ),
    (
        "TOP",
        "joint: {fit: {values: {c: 1 W, d: 2 W}, standard_uncertainties: {c: 1 W, d: 1 W}, "
        "correlation: [[1, 5], [5, 1]]}}",
        "from -1 to 1",
    ),
    ("INPUT", "draws: {file: x.csv}", "'column' is missing in 'draws'"),
    ("COLUMN", "draws: x.csv", ""),
    ("INPUT", "like: [pump fuel]", "plain text is expected here"),
    ("COLUMN", "like: {fuel: pump}", "plain text is expected here"),
    ("TOP", "instruments: {meter: {accuracy: 1 V, like: [clamp]}}", "plain text is expected"),
    ("INPUT", "means: tara", "'tara' is not known here"),
    ("COLUMN", "means: rotor spede", "'rotor spede' is not known here"),
    ("FORMULA", "{formula: x, means: energy}", "'energy' is not known here"),
    ("TOP", "altitude: high", "'high' is not a number"),
    ("TOP", "altitude: 640 kg", "kg"),
    ("TOP", "balance: {in: [f], out: [z]}", "no formula is called 'z'"),
    ("TOP", "balance: {in: [f]}", "'out' is missing"),
    ("RESULT", "hand_value: 2 V", "V does not fit L"),
    ("RESULT", "hand_value: two", "'two' is not a number"),
    ("TOP", "instruments: {meter: {accuracy: 1 V, true_rms: maybe}}", "'maybe' is not known here"),
]


@pytest.mark.parametrize(
    ("place", "text", "what"), BAD, ids=[f"{row[0]}-{row[1][:60]}" for row in BAD]
)
def test_a_bad_value_is_refused_where_it_stands(place: str, text: str, what: str) -> None:
    case = case_of(place, text)
    found = complaints(case)
    assert len(found) == 1, found
    assert what in found[0].what
    assert found[0].remedy
    start = case.split("\n")[found[0].line - 1].index(text)
    assert start <= found[0].column - 1 < start + len(text)


# -- options of the command -------------------------------------------------------------------


def run(tmp_path: Path, *options: str) -> subprocess.CompletedProcess[str]:
    file = tmp_path / FILE
    file.write_text(case_of("", ""), encoding="utf-8")
    command = [sys.executable, "-m", "effband", "run", str(file), "--trials", "1000", *options]
    return subprocess.run(
        command, cwd=tmp_path, capture_output=True, text=True, timeout=60, check=False
    )


def test_the_default_spelt_out_is_the_default(tmp_path: Path) -> None:
    done = run(tmp_path, "--sampling", "random")
    assert done.returncode == 0, done.stderr


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (("--sampling", "halton"), "halton"),
        (("--widen-guesses", "much"), "much"),
        (("--format", "pdf"), "pdf"),
    ],
    ids=["sampling", "widen", "format"],
)
def test_a_bad_value_of_an_option_is_wrong_usage(
    tmp_path: Path, options: tuple[str, ...], said: str
) -> None:
    done = run(tmp_path, *options)
    assert done.returncode == 2
    assert said in done.stderr
