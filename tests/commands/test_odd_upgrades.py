"""Upgrades that lose the result, its scatter or its spread; those of one run in a plan for another.

Half-widths of normals and uniforms are closed forms: 1.96 u, and 0.95 of a uniform's own.
"""

from __future__ import annotations

import json
import math
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

Effband = Callable[..., Any]
CaseFile = Callable[..., Path]

Z = 1.959964  # 97.5 % quantile of a standard normal (tables)

LOST = """\
effband: 1
title: an option that takes the run out of the result
inputs: {a: {value: 10 W, plus_minus: 1 W}, c: {value: 3 W, plus_minus: 2 W}}
runs:
  readings: {w: {unit: W, plus_minus: 0.5 W}}
  rows: {x: {w: 5}}
formulas: {power: w + a}
results: {p: {formula: power + c, unit: W}}
upgrades:
  other: {formulas: {power: a}}
"""
ALIKE = """\
effband: 1
title: a reading foretold alike in all runs of a group
runs:
  readings: {p: {unit: W, standard_uncertainty: 1 W}}
  rows: {a1: {p: 50}, a2: {p: 51}, a3: {p: 52}}
  groups: {a: [a1, a2, a3]}
formulas: {pw: p}
results: {x: {formula: pw, unit: W}}
upgrades:
  mean: {adds: {readings: {q: {unit: W, plus_minus: 0.1 W, expect: mean_of_runs(p)}}},
         formulas: {pw: q}}
  each: {adds: {readings: {s: {unit: W, plus_minus: 0.1 W, expect: p}}}, formulas: {pw: s}}
"""
OF_RUNS = """\
effband: 1
title: repeats of one run
runs:
  readings: {p: {unit: W, standard_uncertainty: 1 W}}
  rows: {a: {p: 12}, c: {p: 12}}
results: {power: {formula: p, unit: W}}
upgrades:
  all_of_them: {repeats: 2}
  of_a: {repeats: 2, for: {result: power, run: a}}
"""
CONSTANT = """\
effband: 1
title: a result that does not vary
inputs: {x: {constant: 0.1 W}, y: {constant: 0.2 W}, v: {value: 1 W, plus_minus: 0.1 W}}
formulas: {a: x + y}
results: {r: {formula: a, unit: W}, none: {formula: v - v, unit: W}}
upgrades:
  worse: {adds: {inputs: {q: {value: 0.2 W, plus_minus: 0.01 W}}}, formulas: {a: x + q},
          cost: 5 EUR}
"""


def asked(effband: Effband, *arguments: str | Path) -> dict[str, Any]:
    said = effband(*arguments, "--json")
    assert said.code == 0, said.err
    found: dict[str, Any] = json.loads(said.out)
    return found


def test_an_option_without_the_result_betters_nothing(effband: Effband, case: CaseFile) -> None:
    """No floor comes of it, and what the case could better is still proposed."""
    file = case("lost.yaml", LOST)
    told = asked(effband, "upgrade", file)
    assert told["floor"] is None
    assert [each["source"] for each in told["proposals"]] == ["c", "a", "w"]
    assert "would be left" not in effband("upgrade", file).out


def test_readings_foretold_alike_show_no_scatter(effband: Effband, case: CaseFile) -> None:
    """What foretells each run's own reading keeps the scatter: t of 2 degrees, 4.303 s/sqrt(3)."""
    file = case("alike.yaml", ALIKE)
    options = {each["name"]: each for each in asked(effband, "upgrade", file)["upgrades"]}
    assert options["mean"]["half_width_then"] is None
    assert "`expect:` must vary" in options["mean"]["why_not"]
    assert options["each"]["half_width_then"] == pytest.approx(4.302653 / math.sqrt(3), rel=0.02)
    better = asked(effband, "plan", file, "--target", "0.5 W")["better"]
    (mean,) = (each for each in better if each["name"] == "mean")
    assert "`expect:` must vary" in mean["why_not"]


def test_a_plan_takes_repeats_as_they_are_written(effband: Effband, case: CaseFile) -> None:
    """The mean of two runs has 1/sqrt(2) of one's error; that of the other run's has none of it."""
    file = case("of_runs.yaml", OF_RUNS)
    for run, of_a in (("a", Z / math.sqrt(2)), ("c", Z)):
        better = asked(effband, "plan", file, "--run", run, "--target", "0.5 W")["better"]
        halves = {each["name"]: each["half_width"] for each in better}
        assert halves["of_a"] == pytest.approx(of_a, rel=0.02)
        assert halves["all_of_them"] == pytest.approx(Z / math.sqrt(2), rel=0.02)


def test_what_does_not_vary_is_told_of(effband: Effband, case: CaseFile) -> None:
    """An upgrade can only widen it, by 0.95 of 0.01; a plan for it is reached."""
    file = case("constant.yaml", CONSTANT)
    told = asked(effband, "upgrade", file, "--result", "r")
    assert told["half_width"] == 0.0
    assert told["upgrades"][0]["half_width_then"] == pytest.approx(0.0095, rel=0.01)
    out = effband("upgrade", file, "--result", "r").out
    assert "widens it" in out
    assert "would be left" not in out
    for result in ("r", "none"):
        plan = asked(effband, "plan", file, "--result", result, "--target", "0.001 W")
        assert plan["reached"]
        assert plan["ranking"] == []
        effband("plan", file, "--result", result, "--target", "0.001 W")


def test_a_part_foretold_alike_is_warned_of(effband: Effband, case: CaseFile) -> None:
    """The other part still scatters, so there is a band; that it leaves scatter out is said."""
    text = ALIKE.replace("{x: {formula: pw, unit: W}}", "{x: {formula: pw * p, unit: W^2}}")
    err = effband("check", case("part.yaml", text)).err
    assert err.count("is foretold alike in all runs of a,") == 1
    assert "warning: q is foretold alike" in err
    told = asked(effband, "upgrade", case("part.yaml", text))
    halves = {each["name"]: each["half_width_then"] for each in told["upgrades"]}
    assert halves["mean"] is not None
    assert halves["mean"] < halves["each"]
