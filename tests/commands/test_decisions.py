"""What `compare`, `upgrade` and `plan` say alike: disputes above the verdict, and their words."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

Effband = Callable[..., Any]
CaseFile = Callable[..., Path]

# Invented: a small overshot wheel, whose flow was timed with a bucket and guessed with a float.
WHEEL = """\
effband: 1
title: overshot wheel
headline: wheel
instruments:
  clamp: {accuracy: 2 % of reading, span: [0 A, 40 A], digit: 0.01 A, evidence: datasheet}
inputs:
  density: {constant: 1000 kg/m^3}
  bucket: {value: 20 L, plus_minus: 0.3 L, evidence: measured}
  fill_time: {value: 5 s, plus_minus: 0.2 s, evidence: measured}
  fall: {value: 2.6 m, plus_minus: 3 cm, evidence: measured}
  float_speed: {value: 0.4 m/s, plus_minus: 0.01 m/s, evidence: measured}
  float_factor: {value: 0.98, plus_minus: 0.02, evidence: guess}
  channel: {value: 0.013 m^2, plus_minus: 0.0005 m^2, evidence: measured}
runs:
  readings:
    current: {unit: A, instrument: clamp}
    voltage: {unit: V, plus_minus: 0.1 V}
  rows:
    full_1: {current: 2.20, voltage: 13.6}
    full_2: {current: 2.24, voltage: 13.5}
    full_3: {current: 2.18, voltage: 13.6}
  groups: {full: [full_1, full_2, full_3]}
formulas:
  flow: bucket / fill_time
  flow_float: float_speed * float_factor * channel
  water_power: hydraulic_power(density, flow, fall)
results:
  wheel: {formula: current * voltage / water_power, unit: "%", boundary: {in: water, out: wire}}
  power: {formula: current * voltage, unit: W}
cross_checks: {flow_twice: [flow, flow_float]}
upgrades:
  big_tub: {replaces: bucket, input: {value: 200 L, plus_minus: 1 L}, cost: 80 EUR}
  bench_watch: {replaces: fill_time, input: {plus_minus: 0.05 s}, cost: 10 EUR}
  shunt:
    replaces: clamp
    instrument: {accuracy: 0.5 % of reading, span: [0 A, 40 A], digit: 0.01 A}
    cost: 25 EUR
settings: {trials: 20000}
"""
AGREEING = WHEEL.replace("value: 0.98", "value: 0.77")
FEW = ("--trials", "20000")


def flat(text: str) -> str:
    return " ".join(text.split())


@pytest.fixture
def disputed(case: CaseFile) -> Path:
    return case("disputed.yaml", WHEEL)


@pytest.fixture
def agreeing(case: CaseFile) -> Path:
    return case("agreeing.yaml", AGREEING)


@pytest.mark.parametrize(
    ("command", "verdict"),
    [(("upgrade",), "half-width of the"), (("plan", "--target", "1 point"), "1 point wanted")],
)
def test_a_dispute_stands_above_the_verdict(
    effband: Effband, disputed: Path, agreeing: Path, command: tuple[str, ...], verdict: str
) -> None:
    name, *asked = command
    text = flat(effband(name, disputed, *asked, *FEW).out)
    dispute = text.index("CROSS-CHECK flow_twice DISAGREES: its denominator is disputed")
    assert dispute < text.index(verdict)
    found = json.loads(effband(name, disputed, *asked, *FEW, "--json").out)
    assert found["disagree"] == [{"name": "flow_twice", "where": None}]
    assert "DISAGREES" not in effband(name, agreeing, *asked, *FEW).out
    assert json.loads(effband(name, agreeing, *asked, *FEW, "--json").out)["disagree"] == []


def test_a_change_between_disputed_cases_is_disputed(
    effband: Effband, case: CaseFile, disputed: Path, agreeing: Path
) -> None:
    more = [("2.20", "2.60"), ("2.24", "2.64"), ("2.18", "2.58")]
    after = AGREEING
    for old, new in more:
        after = after.replace(f"current: {old}", f"current: {new}")
    after_file = case("after.yaml", after)
    text = flat(effband("compare", disputed, after_file, "--by", "1 point").out)
    told = "CROSS-CHECK flow_twice DISAGREES, before: the denominator of wheel is disputed"
    assert text.index(told) < text.index("The change is real, but disputed:")
    assert "By 1 point or more: shown, but disputed," in text
    assert "The change is real: after is higher" in text  # the power is made without the flow
    assert "DISAGREES, after" in flat(effband("compare", after_file, disputed).out)
    plain = effband("compare", agreeing, after_file).out
    assert "The change is real: after is better" in plain
    assert "disputed" not in plain
    found = json.loads(effband("compare", disputed, after_file, "--json").out)
    assert [each["disputed"] for each in found["changes"]] == [True, False]
    assert found["before"]["disagree"] == [{"name": "flow_twice", "where": None}]
    assert found["after"]["disagree"] == []


def test_one_run_of_a_group_is_not_compared_without_a_word(
    effband: Effband, disputed: Path, agreeing: Path
) -> None:
    said = "run full_1 is one of the 3 runs of full"
    assert said in flat(effband("compare", disputed, agreeing, "--run", "full_1").out)
    for asked in ((), ("--run", "full")):
        assert "one of the" not in effband("compare", disputed, agreeing, *asked).out


def test_a_bare_number_for_a_share_is_refused(effband: Effband, agreeing: Path) -> None:
    said = effband("compare", agreeing, agreeing, "--by", "4")
    assert said.code == 2
    assert "4 of what? wheel is in %: write `4 points`" in said.err
    said = effband("plan", agreeing, "--target", "4")
    assert said.code == 2
    assert "write `4 points`" in said.err


def test_an_option_beyond_the_band_is_told_with_its_remedy(
    effband: Effband, agreeing: Path
) -> None:
    text = flat(effband("upgrade", agreeing, *FEW, "--spend", "150").out)
    assert "big_tub is left out: wheel would be 2.9 % with it, not 29." in text
    assert "fill_time was taken with the old bucket: write all that would change" in text
    assert "`adds: {inputs: ...}`" in text
    assert "big_tub 80 EUR" not in text
    assert "For 150 EUR: bench_watch and shunt (35 EUR)" in text
    found = json.loads(effband("upgrade", agreeing, *FEW, "--json").out)["upgrades"]
    assert [(each["name"], each["beyond_band"]) for each in found][-1] == ("big_tub", True)


def test_a_plan_names_the_command_for_several_upgrades(effband: Effband, agreeing: Path) -> None:
    text = flat(effband("plan", agreeing, "--target", "1 point", *FEW).out)
    assert "no single step listed here reaches 1 point; more runs alone cannot pass" in text
    assert '--spend "35 EUR"` finds the best set' in text
    asked = ("--result", "power", "--run", "full", "--target", "0.01 W")
    assert "--result power --run full --spend" in flat(effband("plan", agreeing, *asked, *FEW).out)
    assert "1 points" not in text
