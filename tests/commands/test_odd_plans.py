"""What a plan says of weighings, of loads unlike in number, and of what it cannot pass."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

Effband = Callable[..., Any]
CaseFile = Callable[..., Path]

CAN = """\
effband: 1
title: fuel by weighing a can
inputs: {hv: {value: 40 MJ/kg, plus_minus: 1 MJ/kg}}
runs:
  expected: true
  readings:
    full: {unit: kg, plus_minus: 1 g}
    left: {unit: kg, plus_minus: 1 g}
    caught: {unit: kg, plus_minus: 1 g}
    time: {unit: s, plus_minus: 1 s}
  rows:
    a: {full: 1.0, left: 0.95, caught: 0.05, time: 100}
    b: {full: 1.0, left: 0.95, caught: 0.05, time: 100}
formulas: {burnt: full - left}
results:
  rate: {formula: burnt * hv / time, unit: kW}
  flow: {formula: caught * hv / time, unit: kW}
  more: {formula: "in_run(caught, b) - in_run(caught, a)", unit: g}
"""
LOADS = """\
effband: 1
title: a group of three and a run alone, and two groups of two that are pooled
runs:
  readings: {p: {unit: W, plus_minus: 1 W}}
  rows: {a1: {p: 10}, a2: {p: 10.5}, a3: {p: 10.2}, b1: {p: 20}}
  groups: {a: [a1, a2, a3]}
results: {x: {formula: p, unit: W}, m: {formula: mean_of_runs(p), unit: W}}
"""
POOLED = LOADS.replace("[a1, a2, a3]}", "[a1, a2], b: [a3, b1]}\n  pool: true")
WIDENING = """\
effband: 1
title: an option that costs nothing and widens
inputs: {x: {value: 1 W, plus_minus: 0.1 W}}
results: {p: {formula: x, unit: W}}
upgrades:
  worse: {replaces: x, input: {plus_minus: 0.2 W}, cost: 0 EUR}
  better: {replaces: x, input: {plus_minus: 0.05 W}, cost: 0 EUR}
  paid: {replaces: x, input: {plus_minus: 0.04 W}, cost: 5 EUR}
"""
FORETOLD = """\
effband: 1
title: a run without what foretells a new reading
runs:
  readings:
    v: {unit: V, plus_minus: 0.1 V}
    i: {unit: A, plus_minus: 0.1 A, optional: true}
  rows: {one: {v: 10, i: 2}, two: {v: 12}}
formulas: {power: v * i}
results: {p: {formula: power, unit: W}}
upgrades:
  meter: {adds: {readings: {w: {unit: W, plus_minus: 0.2 W, expect: power}}}, formulas: {power: w}}
"""


def planned(effband: Effband, file: Path, *arguments: str) -> tuple[str, dict[str, Any]]:
    text = effband("plan", file, *arguments)
    assert text.code == 0, text.err
    told: dict[str, Any] = json.loads(effband("plan", file, *arguments, "--json").out)
    return text.out, told


@pytest.mark.parametrize(
    ("result", "subtracted"), [("rate", ["full", "left"]), ("flow", []), ("more", [])]
)
def test_weighings_subtracted_from_each_other_are_told(
    effband: Effband, case: CaseFile, result: str, subtracted: list[str]
) -> None:
    """A can twice as full weighs twice as much before and after; the can one has does not."""
    file = case("can.yaml", CAN)
    where = ["--target", "0.1 g"] if result == "more" else ["--run", "a", "--target", "0.1 kW"]
    text, told = planned(effband, file, "--result", result, *where)
    longer = told["longer_run"]
    assert longer is None or longer["subtracted"] == subtracted
    assert ("full and left: one is subtracted from the other" in text) == bool(subtracted)


def test_what_runs_alone_cannot_pass_is_no_floor_of_all(effband: Effband, case: CaseFile) -> None:
    vague = CAN.replace("plus_minus: 1 MJ/kg", "plus_minus: 8 MJ/kg")
    text, told = planned(
        effband, case("vague.yaml", vague), "--result", "flow", "--run", "a", "--target", "0.01 kW"
    )
    assert "more runs alone cannot pass" in text
    assert "what limits it then: hv" in text
    assert told["floor"]["of"] == "runs"
    assert min(b["half_width"] for b in told["better"]) < told["floor"]["half_width"]


def test_loads_of_unlike_number_are_told_apart(effband: Effband, case: CaseFile) -> None:
    file = case("loads.yaml", LOADS)
    text, told = planned(effband, file, "--result", "m", "--target", "0.2 W")
    assert "Runs of every load (1 or 3 there now):" in text
    assert told["repeats"]["there_by_load"] == [1, 3]
    text, told = planned(effband, file, "--run", "a", "--target", "0.2 W")
    assert "Runs of a (3 there now):" in text
    assert told["repeats"]["there_by_load"] == [3]


def test_two_pooled_runs_do_not_take_the_declared_spreads(effband: Effband, case: CaseFile) -> None:
    said = "1 or 2 runs take the declared spreads as known"
    asked = ("--result", "x", "--target", "0.1 W", "--run")
    pooled, plain = case("pooled.yaml", POOLED), case("plain.yaml", LOADS)
    assert said not in planned(effband, pooled, *asked, "a")[0]
    assert said in planned(effband, plain, *asked, "b1")[0]


def test_nothing_that_widens_is_free(effband: Effband, case: CaseFile) -> None:
    out = effband("upgrade", case("widening.yaml", WIDENING)).out
    rows = {line.split()[0]: line for line in out.splitlines() if " EUR  " in line}
    assert rows["better"].endswith("free")
    assert rows["worse"].endswith("-")


def test_the_probability_of_an_upgrade_is_taken(effband: Effband, case: CaseFile) -> None:
    """Of a uniform, a band of probability p spans p of it."""
    file = case("widening.yaml", WIDENING)
    said = effband("upgrade", file, "--probability", "0.8", "--json")
    told = json.loads(said.out)
    assert told["settings"]["probability"] == 0.8
    assert told["half_width"] == pytest.approx(0.08, rel=0.01)
    assert effband("upgrade", file, "--probability", "nan").code != 0


def test_what_cannot_be_foretold_in_a_run_is_absent_there(effband: Effband, case: CaseFile) -> None:
    """The reading takes the place of 20 W +- 0.2 W, uniform: half-width 0.19 W."""
    file = case("foretold.yaml", FORETOLD)
    told = json.loads(effband("upgrade", file, "--json").out)
    assert told["run"] == "one"
    assert told["upgrades"][0]["half_width_then"] == pytest.approx(0.19, rel=0.01)
