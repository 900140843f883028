"""Columns, cells and runs: which error is drawn once, which afresh, and what is absent."""

from __future__ import annotations

import json
import math
import re
import subprocess
import sys
from pathlib import Path

import pytest
from small_case import Complaint, answers, complaints, laws, understood, values, warnings

from effband import study
from effband.case.model import Settings
from effband.evidence.distributions import Lognormal, Normal, Rectangular, StudentT, Triangular

CASE = """\
effband: 1
title: runs
instruments:
  meter: {accuracy: 1 % of reading, span: [0 V, 200 V], digit: 0.01 V}
inputs:
  k: {value: 2, plus_minus: 0.1}
runs:
  readings:
    v: COLUMN
    w: {unit: V, exact: true}
  rows:
    a: {v: A, w: 1}
    b: {v: B, w: 2}
    c: {v: C, w: 3}
formulas:
  twice: 2 * v
results:
  r: {formula: "FORMULA", unit: UNIT, is: quantity}
"""
PLUS_MINUS = "{unit: V, plus_minus: 1 V}"
METER = "{unit: V, instrument: meter}"


def case_of(
    formula: str = "v + 0 * k * v",
    column: str = PLUS_MINUS,
    cells: tuple[str, ...] = ("10", "12", "17"),
    unit: str = "V",
) -> str:
    text = CASE.replace("COLUMN", column).replace("FORMULA", formula).replace("UNIT", f'"{unit}"')
    for mark, cell in zip("ABC", cells, strict=True):
        text = text.replace(f"v: {mark},", f"v: {cell}," if cell else "")
    return text


def by_run(text: str) -> dict[str | None, float]:
    return {run: value for (_, run), value in values(understood(text)).items()}


# -- per run, and over runs -------------------------------------------------------------------


def test_a_formula_that_uses_a_column_has_one_value_per_run() -> None:
    assert by_run(case_of("twice - v")) == pytest.approx({"a": 10.0, "b": 12.0, "c": 17.0})


@pytest.mark.parametrize(
    ("formula", "value"),
    [
        ("mean_of_runs(v)", 13.0),
        ("total_of_runs(v)", 39.0),
        ("in_run(v, b)", 12.0),
        ("mean_of_runs(twice)", 26.0),
        ("mean_of_runs(v * w) / mean_of_runs(w)", (10 + 24 + 51) / 6),
        ("total_of_runs(v * w) / in_run(w, c)", 85 / 3),
        ("in_run(twice - v, c) - in_run(v, a)", 7.0),
        ("k * mean_of_runs(v)", 26.0),
    ],
)
def test_reducers(formula: str, value: float) -> None:
    assert by_run(case_of(formula)) == pytest.approx({None: value}, rel=1e-14)


def test_a_reducer_beside_a_column_stays_per_run() -> None:
    found = by_run(case_of("v / mean_of_runs(v)", unit="1"))
    assert found == pytest.approx({"a": 10 / 13, "b": 12 / 13, "c": 17 / 13})


def test_each_error_counts_where_it_should() -> None:
    case = understood(case_of("mean_of_runs(v)"))
    # an error of 0.3 V in run b alone moves the mean of three by 0.1 V
    assert values(case, {"v[b]": 12.3})[("r", None)] == pytest.approx(13.1)
    meter = understood(case_of("total_of_runs(v)", METER))
    # a common error at the end of the curve, and a fresh one
    moved = values(meter, {"v[a].digit": 0.004})[("r", None)]
    assert moved == pytest.approx(39.004)


def test_means_of_gauge_pressures_and_of_temperatures_are_what_they_are() -> None:
    gauge = "{unit: bar, plus_minus: 0.1 bar, reads: gauge pressure}"
    assert by_run(case_of("mean_of_runs(v)", gauge, unit="bar")) == pytest.approx({None: 13.0})
    degrees = "{unit: degC, plus_minus: 1 K}"
    assert by_run(case_of("mean_of_runs(v)", degrees, unit="degC")) == pytest.approx({None: 13.0})
    assert by_run(case_of("in_run(v, c) - in_run(v, a)", degrees, unit="K")) == pytest.approx(
        {None: 7.0}
    )


@pytest.mark.parametrize("reduced", ["mean_of_runs(v)", "in_run(v, a)"])
def test_a_reduced_gauge_pressure_is_still_a_gauge_pressure(reduced: str) -> None:
    gauge = "{unit: bar, plus_minus: 0.1 bar, reads: gauge pressure}"
    found = complaints(case_of(f"log({reduced} / in_run(v, b))", gauge, unit="1"))
    assert [each.what for each in found] == [
        "a ratio or product of pressures takes a gauge pressure"
    ]


@pytest.mark.parametrize(
    ("formula", "marked", "what", "remedy"),
    [
        ("in_run(v, d)", "d", "no run is called 'd'", "the runs are: a, b, c"),
        ("in_run(v, 1)", "1", "no run is called", "the runs are: a, b, c"),
        ("in_run(v)", "in_run", "in_run takes 2 arguments, not 1", "write in_run(x, run)"),
        ("mean_of_runs()", "mean_of_runs", "mean_of_runs takes 1 argument, not 0", "write mean_"),
        ("mean_of_runs(k)", "mean_of_runs", "mean_of_runs: this does not change", "leave the"),
        ("in_run(k, a)", "in_run", "in_run: this does not change from run to run", "leave the"),
        (
            "total_of_runs(mean_of_runs(v))",
            "total_of_runs",
            "total_of_runs: this does not",
            "leave",
        ),
        ("mean_of_runs(v * mean_of_runs(v))", "mean_of_runs", "mean_of_runs has no place", "leave"),
    ],
)
def test_refused_reducers(formula: str, marked: str, what: str, remedy: str) -> None:
    (found,) = complaints(case_of(formula))
    assert found.marked == marked
    assert found.what.startswith(what)
    assert found.remedy.startswith(remedy)


def test_totals_of_points_mean_nothing() -> None:
    (found,) = complaints(case_of("total_of_runs(v)", "{unit: degC, plus_minus: 1 K}", unit="degC"))
    assert found.what == "the sum of two temperatures means nothing"


def test_by_number_through_the_whole_tool() -> None:
    found = study.run(understood(case_of("mean_of_runs(v)")), Settings(trials=100_000))
    (band,) = found.bands
    # three rectangular errors of 1 V: u of their mean is 1/3 V
    assert band.summary.standard_uncertainty == pytest.approx(1 / 3, rel=0.005)
    assert band.nominal == pytest.approx(13.0)


def test_the_json_of_a_case_with_runs(tmp_path: Path) -> None:
    file = tmp_path / "runs.yaml"
    file.write_text(
        case_of("v - in_run(v, a)", "{unit: V, plus_minus: 1 V, shared: true}").replace(
            "results:\n", 'results:\n  mean: {formula: mean_of_runs(v), unit: V, label: "mean"}\n'
        ),
        encoding="utf-8",
    )
    command = [sys.executable, "-m", "effband", "run", str(file), "--json", "--trials", "1000"]
    done = subprocess.run(command, capture_output=True, text=True, timeout=60, check=False)
    assert done.returncode == 0, done.stderr
    document = json.loads(done.stdout)
    nominal = {(band["result"], band["run"]): band["nominal"] for band in document["results"]}
    assert nominal == pytest.approx(
        {("mean", None): 13.0, ("r", "a"): 0.0, ("r", "b"): 2.0, ("r", "c"): 7.0}
    )
    half = {(band["result"], band["run"]): band["half_width"] for band in document["results"]}
    assert half[("mean", None)] == pytest.approx(0.95, abs=0.03)  # one shared error of 1 V
    assert half[("r", "c")] == pytest.approx(0.0, abs=1e-9)  # which cancels


# -- what a column says of its spread ---------------------------------------------------------


def test_a_column_spread_is_fresh_in_every_run() -> None:
    found = laws(understood(case_of()))
    assert found["v[a]"] == Rectangular(9.0, 11.0)
    assert found["v[c]"] == Rectangular(16.0, 18.0)
    assert set(found) == {"k", "v[a]", "v[b]", "v[c]"}


@pytest.mark.parametrize(
    ("spread", "law"),
    [
        ("plus_minus: 5 %", Rectangular(9.5, 10.5)),
        ("plus_minus: 5 % of value", Rectangular(9.5, 10.5)),
        ("plus_minus: 100 mV", Rectangular(9.9, 10.1)),
        ("plus_minus: 1 V, shape: triangular", Triangular(9.0, 10.0, 11.0)),
        ("standard_uncertainty: 0.2 V", Normal(10.0, 0.2)),
        ("standard_uncertainty: 0.2 V, degrees_of_freedom: 4", StudentT(10.0, 0.2, 4.0)),
        ("expanded_uncertainty: 0.4 V, coverage_factor: 2", Normal(10.0, 0.2)),
        ("within_factor: 1.5", Lognormal(10.0, 1.5)),
    ],
)
def test_column_spread(spread: str, law: object) -> None:
    assert laws(understood(case_of(column=f"{{unit: V, {spread}}}")))["v[a]"] == law


@pytest.mark.parametrize(
    ("column", "key"),
    [
        ("{unit: V}", "v"),
        ("{unit: V, low: 1 V}", "low"),
        ("{unit: V, value: 1 V, plus_minus: 1 V}", "value"),
        ("{unit: V, repeats: [1, 2]}", "repeats"),
        ("{unit: V, random_events: 3}", "random_events"),
        ("{unit: V, mean: 3 V, shape: exponential}", "mean"),
        ("{unit: V, exact: true, plus_minus: 1 V}", "exact"),
        ("{unit: V, exact: true, instrument: meter}", "exact"),
        ("{unit: V, instrument: meter, plus_minus: 1 V}", "plus_minus"),
        ("{unit: V, instrument: meter, shared: true}", "shared"),
        ("{unit: V, instrument: metre}", "metre"),
        ("{unit: V, plus_minus: 1 A}", "plus_minus"),
        ("{unit: V, expanded_uncertainty: 1 V}", "coverage_factor"),
        ("{unit: V, plus_minus: 1 V, standard_uncertainty: 1 V}", "standard_uncertainty"),
        ("{unit: V, plus_minus: 1 V, each_reading: 1 V}", "each_reading"),
        ("{unit: V, plus_minus: 1 V, readable_to: 1/2}", "readable_to"),
        ("{plus_minus: 1 V}", "unit"),
    ],
)
def test_refused_column(column: str, key: str) -> None:
    found = complaints(case_of(column=column))
    said = " ".join(f"{each.marked} {each.what} {each.remedy}" for each in found)
    assert re.search(rf"\b{key}\b", said), found
    assert len(found) == 1, found


def test_a_shared_column_has_one_error_for_all_runs() -> None:
    case = understood(case_of(column="{unit: V, plus_minus: 1 V, shared: true}"))
    assert laws(case)["v"] == Rectangular(-1.0, 1.0)
    assert set(laws(case)) == {"k", "v"}
    moved = {run: value for (_, run), value in values(case, {"v": 0.5}).items()}
    assert moved == pytest.approx({"a": 10.5, "b": 12.5, "c": 17.5})


def test_a_shared_column_is_cut_at_what_is_possible_around_its_values_or_refused() -> None:
    """97 % plus or minus 5 points, at most 100 %: 8 of 10 points remain, not the upper half."""
    column = '{unit: "%", plus_minus: 5 points, shared: true, physical: [0 %, 100 %]}'
    text = case_of(column=column, cells=("97", "97", "97"), unit="%")
    found = answers(text)
    if any("physical" in each.what for each in found):
        return
    case = understood(text)
    low, high = laws(case)["v"].support
    assert (low, high) == pytest.approx((-0.05, 0.03))


def test_a_shared_share_of_the_value_is_refused() -> None:
    found = complaints(case_of(column="{unit: V, plus_minus: 5 %, shared: true}"))
    assert found
    assert {each.what for each in found} == {
        "v is shared by all runs, so its spread must be the same in all"
    }


def test_a_shared_factor_is_answered_as_such() -> None:
    for each in complaints(case_of(column="{unit: V, within_factor: 1.5, shared: true}")):
        assert "shared" in each.what or "shared" in each.remedy


def test_in_every_run_repeats_a_value_with_a_fresh_error() -> None:
    column = "{unit: V, plus_minus: 1 V, in_every_run: 9.6}"
    case = understood(case_of(column=column, cells=("", "5", "")))
    found = laws(case)
    assert found["v[a]"] == found["v[c]"] == Rectangular(8.6, 10.6)
    assert found["v[b]"] == Rectangular(4.0, 6.0)
    moved = values(case, {"v[a]": 10.0})
    assert (moved[("r", "a")], moved[("r", "c")]) == (10.0, 9.6)


def test_in_every_run_may_have_its_own_unit() -> None:
    column = "{unit: V, plus_minus: 1 V, in_every_run: 9600 mV}"
    assert by_run(case_of(column=column, cells=("", "", ""))) == pytest.approx(
        {"a": 9.6, "b": 9.6, "c": 9.6}
    )


def test_in_every_run_of_another_kind_is_refused_where_it_stands() -> None:
    column = "{unit: V, plus_minus: 1 V, in_every_run: 9.6 A}"
    (found,) = complaints(case_of(column=column, cells=("", "", "")))
    assert "A does not fit" in found.what
    assert found.marked in ("in_every_run", "9.6 A")


# -- cells ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("cell", "value", "law"),
    [
        ("10.5", 10.5, Rectangular(9.5, 11.5)),
        ("10500 mV", 10.5, Rectangular(9.5, 11.5)),
        ('"10.5"', 10.5, Rectangular(9.5, 11.5)),
        ("{value: 10.5}", 10.5, Rectangular(9.5, 11.5)),
        ("{value: 10.5, note: twitchy}", 10.5, Rectangular(9.5, 11.5)),
        ("{value: 10.5, plus_minus: 2 V}", 10.5, Rectangular(8.5, 12.5)),
        ("{value: 10.5 V, standard_uncertainty: 0.5 V}", 10.5, Normal(10.5, 0.5)),
        ("{low: 9 V, high: 11 V}", 10.0, Rectangular(9.0, 11.0)),
        ("{low: 9 V, likely: 10.5 V, high: 11 V}", 10.5, Triangular(9.0, 10.5, 11.0)),
        ("{repeats: [10, 11, 12]}", 11.0, StudentT(11.0, 1 / math.sqrt(3), 2)),
        ("{repeats: [10 V, 11 V, 12000 mV]}", 11.0, StudentT(11.0, 1 / math.sqrt(3), 2)),
    ],
)
def test_cell(cell: str, value: float, law: object) -> None:
    case = understood(case_of(cells=(cell, "12", "17")))
    assert values(case)[("r", "a")] == pytest.approx(value)
    assert laws(case)["v[a]"] == law
    assert laws(case)["v[b]"] == Rectangular(11.0, 13.0)


def test_a_cell_that_only_adds_keeps_the_instrument() -> None:
    cell = "{value: 10, also: {plus_minus: 0.5 V}, note: cold}"
    case = understood(case_of(column=METER, cells=(cell, "12", "17")))
    found = laws(case)
    assert found["v[a].also"] == Rectangular(-0.5, 0.5)
    assert {"meter.z1", "meter.z2", "v[a].digit", "v[b].digit"} <= set(found)


def test_a_cell_of_repeats_is_read_with_the_columns_instrument() -> None:
    case = understood(case_of(column=METER, cells=("{repeats: [10, 11, 12]}", "12", "17")))
    found = laws(case)
    assert found["v[a].repeats"] == StudentT(0.0, 1 / math.sqrt(3), 2)
    assert {"meter.z1", "meter.z2"} <= set(found)
    assert values(case)[("r", "a")] == pytest.approx(11.0)


def test_a_cell_keeps_its_own_evidence() -> None:
    case = understood(case_of(column=METER, cells=("{value: 10, evidence: guess}", "12", "17")))
    (leaf,) = [leaf for leaf in case.leaves if (leaf.name, leaf.run) == ("v", "a")]
    assert leaf.evidence == "guess"


@pytest.mark.parametrize(
    ("cell", "marked", "what"),
    [
        ("10 A", "10 A", "A does not fit the column v, which is in V"),
        ("ten", "ten", "'ten' is not a number"),
        ("10,5", None, None),
        ('"10,5"', "10,5", "'10,5' is not a number"),
        ("12:59", "12:59", "'12:59' is not a number"),
        ("{value: 10 A}", None, "A does not fit the column v, which is in V"),
        ("{note: none read}", "v", "this cell has no value"),
        ("{value: 10, plus_minus: 1 A}", "plus_minus", "plus_minus is in A"),
        ("{value: 10, instrument: metre}", "metre", "instrument 'metre' is not declared"),
        ("{value: 10, bogus: 1}", "bogus", "unknown key 'bogus'"),
    ],
)
def test_refused_cell(cell: str, marked: str | None, what: str | None) -> None:
    found = complaints(case_of(cells=(cell, "12", "17")))
    assert {each.line for each in found} == {12}
    if what is not None:
        (only,) = found
        assert only.what.startswith(what)
        assert marked is None or only.marked == marked


@pytest.mark.parametrize(
    ("cell", "key"),
    [
        ("{value: 10, instrument: meter, plus_minus: 3 V}", "plus_minus"),
        ("{value: 10, like: something}", "like"),
        ("{value: 10, draws: {file: x.csv, column: y}}", "draws"),
        ("{value: 10, physical: [0 V, 10 V], also: {plus_minus: 1 V}}", "physical"),
    ],
)
def test_nothing_in_a_cell_is_passed_over(cell: str, key: str) -> None:
    found = complaints(case_of(cells=(cell, "12", "17")))
    assert any(key in each.what or each.marked == key for each in found), found


# -- missing cells ----------------------------------------------------------------------------


@pytest.mark.parametrize("cell", ["", '""'])
def test_a_missing_cell_is_refused(cell: str) -> None:
    (found,) = complaints(case_of(cells=("10", cell, "17")))
    assert found.what == "run b has no reading v"
    assert "optional: true" in found.remedy
    assert found.line == 13


OPTIONAL = "{unit: V, plus_minus: 1 V, optional: true}"


def absent(text: str) -> list[Complaint]:
    return [each for each in warnings(text) if "no value" in each.what]


@pytest.mark.parametrize("cell", ["", '""'])
def test_an_optional_missing_cell_leaves_its_results_out_and_says_so(cell: str) -> None:
    text = case_of(column=OPTIONAL, cells=("10", cell, "17"))
    assert by_run(text) == pytest.approx({"a": 10.0, "c": 17.0})
    (found,) = absent(text)
    assert found.what == "r has no value in run b: v is empty"
    assert found.line == 13


@pytest.mark.parametrize("formula", ["mean_of_runs(v)", "total_of_runs(v)", "in_run(v, b)"])
def test_what_is_made_of_all_runs_is_absent_with_one_of_them(formula: str) -> None:
    text = case_of(formula, column=OPTIONAL, cells=("10", "", "17")).replace(
        "results:\n", "results:\n  other: {formula: k, unit: 1, is: ratio}\n"
    )
    assert set(values(understood(text))) == {("other", None)}
    (found,) = absent(text)
    assert found.what.startswith("r has no value")
    assert "None" not in found.what


def test_what_does_not_need_the_missing_cell_stands() -> None:
    text = case_of("in_run(v, a) + in_run(v, c)", column=OPTIONAL, cells=("10", "", "17"))
    assert by_run(text) == pytest.approx({None: 27.0})
    assert absent(text) == []


def test_a_reading_that_no_column_declares_is_refused() -> None:
    (found,) = complaints(case_of().replace("w: 1}", "w: 1, speed: 3}"))
    assert (found.what, found.marked) == ("no reading is called 'speed'", "speed")
