"""`effband compare`: what it prints, what it refuses, and that Python gives the same."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import FrozenInstanceError
from pathlib import Path
from typing import Any

import pytest

import effband as package

Effband = Callable[..., Any]
CaseFile = Callable[..., Path]


@pytest.fixture
def pair(case: CaseFile) -> tuple[Path, Path]:
    """A small case before, and after with more given."""
    before = case("before.yaml", title="before")
    text = before.read_text(encoding="utf-8")
    text = text.replace("title: before", "title: after").replace("value: 30 W", "value: 36 W")
    return before, case("after.yaml", text)


def test_it_prints_the_change_and_nothing_else(effband: Effband, pair: tuple[Path, Path]) -> None:
    said = effband("compare", *pair, "--by", "2 points")
    assert (said.code, said.err) == (0, "")
    assert said.out.startswith("before: before\nafter:  after\n95 % bands from 20 000 trials\n")
    assert "  change  +6.0 points  from" in said.out
    assert "By 2 points or more: shown" in said.out
    assert "drawn once for both: taken" in said.out


def test_json_is_the_whole_output(effband: Effband, pair: tuple[Path, Path]) -> None:
    said = effband("compare", *pair, "--json", "--trials", "5000", "--seed", "3")
    told = json.loads(said.out)
    assert said.err == ""
    assert (told["before"]["title"], told["after"]["title"]) == ("before", "after")
    assert (told["settings"]["trials"], told["settings"]["seed"]) == (5000, 3)
    assert told["changes"][0]["change"]["value"] == pytest.approx(6, abs=0.2)


def test_the_number_before_is_that_of_run(effband: Effband, pair: tuple[Path, Path]) -> None:
    options = ("--json", "--seed", "5", "--probability", "0.9", "--workers", "1")
    alone = json.loads(effband("run", pair[0], *options).out)["results"][0]
    before = json.loads(effband("compare", *pair, *options).out)["changes"][0]["before"]
    for key in ("mean", "median", "nominal", "interval", "half_width", "standard_uncertainty"):
        assert before[key] == alone[key]


def test_python_gives_the_same(effband: Effband, pair: tuple[Path, Path]) -> None:
    found = package.compare(*pair, by="2 points", workers=2)
    assert isinstance(found, package.Comparison)
    assert f"{found}\n" == effband("compare", *pair, "--by", "2 points").out
    assert found.to_json() == effband("compare", *pair, "--by", "2 points", "--json").out
    assert found.changes == json.loads(found.to_json())["changes"]
    assert repr(found) == "<Comparison 'before' -> 'after': 1 change>"
    with pytest.raises(FrozenInstanceError):
        found.compared = None
    again = package.compare(*map(package.load, pair), by="2 points")
    assert again.to_json() == found.to_json()
    for wrong in ({"trials": 10}, {"by": "2 W"}, {"result": "n"}, {"probability": 2.0}):
        with pytest.raises(ValueError, match=r"\w"):
            package.compare(*pair, **wrong)


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (("--by", "2 %"), "a percentage of what? the value itself is in %: write `2 points`"),
        (("--by", "2 W"), "2 W does not fit a value in %: write it in points"),
        (("--by", ""), "not a number"),
        (("--result", "shar"), "no result that both cases have is called 'shar': did you mean sh"),
        (("--run", "full"), "no run that both cases have is called 'full': there are none"),
        (("--probability", "nan"), "not a number"),
        (("--trials", "10"), "not in the range"),
    ],
)
def test_wrong_usage(
    effband: Effband, pair: tuple[Path, Path], options: tuple[str, ...], said: str
) -> None:
    found = effband("compare", *pair, *options)
    assert found.code == 2
    assert said in found.err


def test_what_is_refused(
    effband: Effband, pair: tuple[Path, Path], refused: Path, not_finite: Path, root: Path
) -> None:
    assert effband("compare", pair[0]).code == 2
    missing = effband("compare", pair[0], "no_such.yaml")
    assert missing.code == 1
    assert "no_such.yaml: error: cannot read the case" in missing.err
    assert effband("compare", pair[0], refused).code == 1
    other = effband("compare", pair[0], root / "cases" / "dray_belt.yaml")
    assert other.code == 1
    assert "have no result in common: there are share before and motor_to_lamps, p" in other.err
    assert effband("compare", not_finite, not_finite).code == 3


def test_warnings_of_the_files_are_counted(effband: Effband, case: CaseFile) -> None:
    text = "  idle: {value: 1 W, plus_minus: 0.1 W}\nresults:"
    plain = case("plain.yaml")
    doubtful = case("doubtful.yaml", plain.read_text(encoding="utf-8").replace("results:", text))
    said = effband("compare", plain, doubtful)
    assert "doubtful.yaml has 1 warning of" in " ".join(said.out.split())
    assert (said.code, said.err) == (0, "")
