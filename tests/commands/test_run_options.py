"""The options of `run` that change how the trials are done, and what is checked of the ranking."""

from __future__ import annotations

import importlib
import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

import effband as package

Effband = Callable[..., Any]
CaseFile = Callable[..., Path]

LEAST = 524_288  # of an adaptive run
CONSTANT = """\
effband: 1
title: nothing spreads
inputs: {x: {constant: 2}}
results: {y: {formula: x + 1, unit: "1", is: ratio}}
"""
FINE = """\
effband: 1
title: digits that are hard to settle
inputs: {x: {value: 100 W, within_factor: 1.0196}}
results: {y: {formula: x, unit: W}}
settings: {digits: 2}
"""


def plain(text: str) -> str:
    """Return a text on one line, whatever its breaks."""
    return " ".join(text.split())


# -- help and wrong usage ------------------------------------------------------------------------


def test_help_names_the_options(effband: Effband) -> None:
    said = plain(effband("run", "--help").out)
    for option in ("--adaptive", "--sampling [random|quasi]", "--crosscheck-ranking"):
        assert option in said
    assert "--trials is the most" in said
    assert "[default: random]" in said
    assert "SALib" in said


@pytest.mark.parametrize(
    ("options", "sentence"),
    [
        ("--adaptive --sampling quasi", "adaptive runs are random ones: leave one of the two out"),
        ("--adaptive --trials 524287", "an adaptive run needs 524288 trials or more"),
        ("--sampling nonsense", "'nonsense' is not one of 'random', 'quasi'"),
        ("--sampling", "requires an argument"),
        ("--adaptive=yes", "does not take a value"),
        ("--crosscheck-ranking=1", "does not take a value"),
    ],
)
def test_what_does_not_go_together_is_said(
    effband: Effband, case: CaseFile, tmp_path: Path, options: str, sentence: str
) -> None:
    said = effband("run", case(), "-o", tmp_path / "out", *options.split())
    assert said.code == 2
    assert sentence in said.err
    assert not (tmp_path / "out").exists()


def test_too_few_quasi_random_trials_are_refused(effband: Effband, case: CaseFile) -> None:
    said = effband("run", case(), "--sampling", "quasi", "--trials", "1023")
    assert said.code == 2
    assert "quasi-random sampling needs 1024 trials or more" in said.err
    assert effband("run", case(), "--sampling", "quasi", "--trials", "1024").code == 0


def test_python_refuses_the_same(case: CaseFile) -> None:
    with pytest.raises(ValueError, match="adaptive runs are random ones"):
        package.run(case(), adaptive=True, sampling="quasi")
    with pytest.raises(ValueError, match="an adaptive run needs 524288 trials"):
        package.run(case(), adaptive=True, trials=LEAST - 1)
    with pytest.raises(ValueError, match="give one of random, quasi"):
        package.run(case(), sampling="nonsense")


# -- adaptive --------------------------------------------------------------------------------------


def test_an_adaptive_run_is_the_run_of_its_trials(effband: Effband, case: CaseFile) -> None:
    for text in (None, FINE, CONSTANT):
        file = case(text=text)
        found = [
            json.loads(effband("run", file, "--json", "--adaptive", "--workers", n).out)
            for n in ("1", "2", "3")
        ]
        assert found[0] == found[1] == found[2]
        trials = found[0]["settings"]["trials"]
        assert trials > LEAST if text is FINE else trials == LEAST
        told = json.loads(effband("run", file, "--json", "--trials", str(trials)).out)
        assert found[0]["settings"].pop("adaptive") is True
        assert told["settings"].pop("adaptive") is False
        assert found[0] == told


def test_the_most_is_kept_and_said(effband: Effband, case: CaseFile) -> None:
    file = case(text=FINE)
    most = ("--adaptive", "--trials", "600000")
    said = effband("run", file, *most)
    assert said.code == 0
    assert "600 000" in said.out.splitlines()[1]
    assert "600000 trials were not enough to settle the digits asked for" in plain(said.out)
    assert "allow more with --trials" in plain(said.out)
    found = json.loads(effband("run", file, *most, "--json").out)
    assert found["settings"]["trials"] == 600_000
    assert sum("were not enough" in warning for warning in found["warnings"]) == 1
    told = json.loads(effband("run", file, "--json", "--trials", "600000").out)
    assert found["results"] == told["results"]
    assert not any("were not enough" in warning for warning in told["warnings"])


def test_the_progress_of_a_run_that_stopped_is_wiped(
    effband: Effband, case: CaseFile, monkeypatch: pytest.MonkeyPatch
) -> None:
    module = importlib.import_module("effband.commands.working")
    monkeypatch.setattr(module, "QUIET_SECONDS", 0.0)
    shown = effband("run", case(), "--adaptive", terminal=True).err
    assert shown.startswith("\rtrials")
    assert shown.endswith(" \r")


# -- quasi-random ----------------------------------------------------------------------------------


def test_quasi_random_trials(effband: Effband, case: CaseFile) -> None:
    file = case()
    options = ("--sampling", "quasi", "--trials", "100000")
    said = effband("run", file, *options)
    assert "65 536 quasi-random trials" in said.out.splitlines()[1]
    found = [
        json.loads(effband("run", file, "--json", *options, "--workers", n).out)
        for n in ("1", "2", "3")
    ]
    assert found[0] == found[1] == found[2]
    assert found[0]["settings"]["trials"] == 16 * 2**12
    assert found[0]["settings"]["sampling"] == "quasi"
    random = json.loads(effband("run", file, "--json", "--trials", "65536").out)
    assert random["settings"]["sampling"] == "random"
    errors = [each["results"][0]["simulation_uncertainty"] for each in (found[0], random)]
    for number in ("mean", "standard_uncertainty"):
        assert 0.0 < errors[0][number] < errors[1][number] / 10
    other = json.loads(effband("run", file, "--json", *options, "--seed", "2").out)
    assert other["results"] != found[0]["results"]


# -- the second opinion ----------------------------------------------------------------------------


def test_a_second_opinion_changes_no_number(effband: Effband, case: CaseFile) -> None:
    file = case()
    checked = json.loads(effband("run", file, "--json", "--crosscheck-ranking").out)
    unchecked = json.loads(effband("run", file, "--json").out)
    for result in checked["results"]:
        assert 0.0 < result.pop("ranking_crosscheck") <= 1e-12
    assert checked == unchecked


@pytest.mark.parametrize(
    "more", [(), ("--adaptive",), ("--sampling", "quasi", "--trials", "20000")], ids=" ".join
)
def test_a_second_opinion_is_one_line(
    effband: Effband, case: CaseFile, more: tuple[str, ...]
) -> None:
    said = effband("run", case(), "--crosscheck-ranking", *more)
    lines = [line for line in said.out.splitlines() if "SALib" in line]
    assert len(lines) == 1
    told = re.fullmatch(r"SALib finds the same shares from the same rows, to (\S+)", lines[0])
    assert told is not None
    assert 0.0 < float(told[1]) <= 1e-12
    assert "SALib" not in effband("run", case(), *more).out


def test_each_of_several_cases_is_checked(effband: Effband, case: CaseFile) -> None:
    files = [case("one.yaml"), case("two.yaml", FINE)]
    said = effband("run", *files, "--crosscheck-ranking", "--json")
    for document in json.loads(said.out):
        assert all(result["ranking_crosscheck"] <= 1e-12 for result in document["results"])


def test_nothing_to_rank(effband: Effband, case: CaseFile) -> None:
    said = effband("run", case(text=CONSTANT), "--crosscheck-ranking", "--json")
    assert said.code == 0
    (result,) = json.loads(said.out)["results"]
    assert result["ranking"] == []
    assert result["ranking_crosscheck"] == 0.0


def test_python_has_the_same_options(effband: Effband, case: CaseFile) -> None:
    file = case()
    for options, given in (
        (("--adaptive",), {"adaptive": True}),
        (("--sampling", "quasi"), {"sampling": "quasi"}),
        (("--crosscheck-ranking",), {"crosscheck_ranking": True}),
    ):
        said = effband("run", file, "--json", *options)
        assert package.run(file, **given).to_json() == said.out
