"""`run --gate`: the exit code says whether the claims of the cases hold."""

from __future__ import annotations

import json
import signal
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from effband.commands import main

CaseFile = Callable[..., Path]
Gate = Callable[..., tuple[int, str, str]]

DONE, WRONG_USAGE, CONTRADICTED, OPEN = 0, 2, 5, 6
TRIALS = ("--trials", "20000")

CASE = """\
effband: 1
title: three powers
inputs:
  one: {value: 100 W, standard_uncertainty: 1 W}
  same: {value: VALUE W, standard_uncertainty: 1 W}
  third: {value: 200 W, standard_uncertainty: 1 W}
formulas: {by_one: one, by_other: same}
results:
  power: {formula: by_one, unit: W}
  apart: {formula: third, unit: W}
  share: {formula: one / same, unit: "%", boundary: {in: mains, out: shaft}}
cross_checks: {twice: [by_one, by_other]}
CLAIMS
"""
SUPPORTED = "{result: power, says: at least 90 W}"
SETTLED_BY_NOTHING = "{result: power, says: at least 100 W}"
CONTRADICTED_CLAIM = "{result: power, says: at least 110 W}"
OF_ANOTHER_RESULT = "{result: share, says: at most 200 %}"
IMPOSSIBLE = "{result: share, says: at least 10 %}"


def case_of(*claims: str, other: float = 100) -> str:
    said = f"claims: [{', '.join(claims)}]" if claims else ""
    return CASE.replace("VALUE", str(other)).replace("CLAIMS", said)


@pytest.fixture
def gate(capsys: pytest.CaptureFixture[str], case: CaseFile) -> Gate:
    """Return a function from texts of cases to exit code, stdout and stderr."""

    def run(*texts: str, options: tuple[str, ...] = ("--gate",)) -> tuple[int, str, str]:
        files = [case(f"case_{at}.yaml", text) for at, text in enumerate(texts)]
        kept = signal.getsignal(signal.SIGTERM)
        capsys.readouterr()
        try:
            with pytest.raises(SystemExit) as ended:
                main(["run", *map(str, files), *TRIALS, *options])
        finally:
            signal.signal(signal.SIGTERM, kept)
        said = capsys.readouterr()
        assert isinstance(ended.value.code, int)
        assert "Traceback" not in said.out + said.err
        return ended.value.code, said.out, said.err

    return run


CODES = [
    ((SUPPORTED,), 100, DONE),
    ((SUPPORTED, SUPPORTED), 100, DONE),
    ((SETTLED_BY_NOTHING,), 100, OPEN),
    ((SUPPORTED, SETTLED_BY_NOTHING), 100, OPEN),
    ((CONTRADICTED_CLAIM,), 100, CONTRADICTED),
    ((SUPPORTED, CONTRADICTED_CLAIM, SETTLED_BY_NOTHING), 100, CONTRADICTED),
    # disputed: the estimates of the power disagree, so even what is supported stays open
    ((SUPPORTED,), 130, OPEN),
    ((CONTRADICTED_CLAIM,), 130, CONTRADICTED),
    # the same dispute does not touch a claim on what uses no estimate
    (("{result: apart, says: at least 150 W}",), 130, DONE),
    # half of the trials lie above 100 %: that supports nothing
    ((OF_ANOTHER_RESULT,), 100, OPEN),
    # all of them do: no verdict
    ((IMPOSSIBLE,), 50, OPEN),
]


@pytest.mark.parametrize(("claims", "other", "code"), CODES)
def test_the_code_is_that_of_the_worst_claim(
    gate: Gate, claims: tuple[str, ...], other: float, code: int
) -> None:
    found, out, err = gate(case_of(*claims, other=other))
    assert found == code
    assert "three powers" in out, "the result is printed whatever the code"
    assert err == ""


def test_of_several_cases_the_worst_counts(gate: Gate) -> None:
    good, open_, bad = (case_of(c) for c in (SUPPORTED, SETTLED_BY_NOTHING, CONTRADICTED_CLAIM))
    for texts, code in (
        ((good, good), DONE),
        ((good, open_), OPEN),
        ((open_, good), OPEN),
        ((good, bad, open_), CONTRADICTED),
    ):
        found, out, _ = gate(*texts)
        assert found == code
        assert out.count("three powers") == len(texts)


def test_a_case_without_claims_may_stand_beside_one_with(gate: Gate) -> None:
    assert gate(case_of(SUPPORTED), case_of())[0] == DONE


def test_without_any_claim_there_is_nothing_to_judge(gate: Gate) -> None:
    code, out, err = gate(case_of(), case_of())
    assert code == WRONG_USAGE
    assert out == ""
    assert "--gate judges claims" in err
    assert "claims:" in err


def test_without_the_option_no_claim_moves_the_code(gate: Gate) -> None:
    for claim in (SUPPORTED, SETTLED_BY_NOTHING, CONTRADICTED_CLAIM):
        assert gate(case_of(claim), options=())[0] == DONE


def test_json_and_reports_are_whole_when_the_gate_is_shut(gate: Gate, tmp_path: Path) -> None:
    folder = tmp_path / "report"
    options = ("--gate", "--json", "-o", str(folder), "--format", "json,md")
    code, out, err = gate(case_of(CONTRADICTED_CLAIM), options=options)
    assert code == CONTRADICTED
    assert json.loads(out)["claims"][0]["verdict"] == "contradicted"
    assert (folder / "report.md").is_file()
    assert "report in" in err


def test_a_case_that_is_refused_has_its_own_code(gate: Gate) -> None:
    code, out, _ = gate(case_of("{result: power, says: at least 90 kg}"))
    assert (code, out) == (1, "")


def test_the_codes_are_in_the_help(effband: Callable[..., Any]) -> None:
    said = " ".join(effband("run", "--help").out.split())
    assert "--gate" in said
    assert "5 where a claim is contradicted" in said
    assert "6 where one is not supported or disputed" in said
