"""`effband plan` as it is typed: what it prints, where, and what it refuses."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

Effband = Callable[..., Any]
CaseFile = Callable[..., Path]

PLANNED = """\
effband: 1
title: a lamp and its meters, before the test
headline: share
inputs:
  glass: {value: 0.9, plus_minus: 0.02, evidence: guess}
runs:
  expected: true
  readings:
    light: {unit: J, standard_uncertainty: 2 J}
    taken: {unit: J, plus_minus: 3 J}
  rows:
    dim: {light: 20, taken: 400}
    bright: {light: 50, taken: 600}
results:
  share: {formula: light / glass / taken, unit: "%", boundary: {in: the plug, out: light}}
  spent: {formula: total_of_runs(taken), unit: J}
"""


@pytest.fixture
def planned(case: CaseFile) -> Path:
    return case("planned.yaml", PLANNED)


def test_it_says_what_reaches_the_target(effband: Effband, planned: Path) -> None:
    """Of 9.26 %: 4 % of the light, 0.29 of what is taken, 1.28 of glass; 1.96 u is 0.76 points."""
    said = effband("plan", planned, "--target", "0.5 points")
    assert (said.code, said.err) == (0, "")
    lines = said.out.splitlines()
    assert lines[0] == "a lamp and its meters, before the test"
    assert lines[1] == "95 % bands from 131 072 trials, expected readings"
    assert lines[3].startswith("share, run bright: half-width 0.76 points now, 0.5 points wanted")
    assert "by itself:" in lines[4]
    for part in (
        "Runs of bright (1 there now):",
        "A longer run (light, taken grow):",
        "light twice as good",
        "common practice, no source",
    ):
        assert part in said.out
    assert max(map(len, lines)) <= 80


def test_json_is_the_whole_plan_and_nothing_else(effband: Effband, planned: Path) -> None:
    said = effband("plan", planned, "--target", "5 % of value", "--run", "dim", "--json")
    assert (said.code, said.err) == (0, "")
    told = json.loads(said.out)
    assert (told["result"], told["run"], told["unit"]) == ("share", "dim", "%")
    assert told["nominal"] == pytest.approx(100 * 20 / 0.9 / 400)
    assert told["target"] == pytest.approx(5 * 20 / 0.9 / 400)
    assert told["settings"] == {"seed": 1, "trials": 131072, "probability": 0.95}
    halves = [each["half_width"] for each in told["repeats"]["half_widths"]]
    assert halves[0] == told["half_width"]
    assert told["floor"]["half_width"] < min(halves)
    assert told["case"]["expected"] is True
    assert (
        effband(
            "plan", planned, "--target", "5 % of value", "--run", "dim", "--json", "--workers", "3"
        ).out
        == said.out
    )


def test_options_count(effband: Effband, planned: Path) -> None:
    target = ("--target", "0.5 points", "--json", "--trials", "20000")
    plain, seeded, narrow = (
        json.loads(effband("plan", planned, *target, *more).out)
        for more in ((), ("--seed", "7"), ("--probability", "0.68"))
    )
    assert plain["settings"]["trials"] == 20000
    assert plain["half_width"] != seeded["half_width"]
    assert plain["half_width"] == pytest.approx(seeded["half_width"], rel=0.05)
    assert narrow["half_width"] == pytest.approx(plain["half_width"] * 0.994 / 1.96, rel=0.05)


def test_a_result_of_the_whole_case_counts_every_run(effband: Effband, planned: Path) -> None:
    """Two of +- 3 J: the sum is triangular over +- 6 J, 95 % within 6 (1 - sqrt(0.05)) = 4.66."""
    said = effband("plan", planned, "--result", "spent", "--target", "3 J", "--json")
    told = json.loads(said.out)
    assert told["run"] is None
    assert told["half_width"] == pytest.approx(6 * (1 - 0.05**0.5), rel=0.01)
    assert told["repeats"]["there"] == 1
    assert told["floor"] == {"of": "runs", "half_width": 0.0, "limited_by": None}
    # each run done n times: sqrt(2 * 3^2/3/n) of a t, nearly normal with many runs
    at_20 = told["repeats"]["half_widths"][-1]["half_width"]
    assert at_20 == pytest.approx(2.03 * (6 / 20) ** 0.5, rel=0.03)
    screen = effband("plan", planned, "--result", "spent", "--target", "3 J").out
    assert "Runs of every load (1 there now):" in screen


def test_the_fewest_trials_that_are_offered_work(effband: Effband, planned: Path) -> None:
    assert effband("plan", planned, "--target", "0.5 points", "--trials", "1000").code == 0


def test_a_case_without_runs_can_be_planned(effband: Effband, case: CaseFile) -> None:
    said = effband("plan", case(), "--target", "1 points")
    assert said.code == 0
    assert "readings as measured so far" in said.out
    assert "More runs change nothing" in said.out


@pytest.mark.parametrize("name", ["dray_belt", "ember", "beckside", "larder"])
def test_every_bench_can_be_planned(effband: Effband, root: Path, name: str) -> None:
    said = effband(
        "plan", root / "cases" / f"{name}.yaml", "--target", "3 % of value", "--trials", "20000"
    )
    assert said.code == 0
    assert max(map(len, said.out.splitlines())) <= 80


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        ((), "--target"),
        (("--target", "0.5 %"), "write `0.5 points`, or `0.5 % of value`"),
        (("--target", "0.5"), "write `0.5 points`"),
        (("--target", "3 W"), "does not fit the result, which is in %"),
        (("--target", "0 points"), "a target is above 0"),
        (("--target", "narrow"), "not a number"),
        (("--target", "1 points", "--result", "shar"), "did you mean share?"),
        (("--target", "1 points", "--run", "brigth"), "did you mean bright?"),
        (("--target", "1 J", "--result", "spent", "--run", "dim"), "whole case"),
        (("--target", "1 points", "--trials", "10"), "--trials"),
        (("--target", "1 points", "--probability", "nan"), "--probability"),
    ],
)
def test_wrong_usage_is_told_with_a_remedy(
    effband: Effband, planned: Path, arguments: tuple[str, ...], told: str
) -> None:
    said = effband("plan", planned, *arguments)
    assert said.code == 2
    assert told in said.err


def test_a_refused_case_and_one_without_a_value(
    effband: Effband, refused: Path, not_finite: Path
) -> None:
    assert effband("plan", refused, "--target", "1 points").code == 1
    assert effband("plan", not_finite, "--target", "0.1").code == 3
