"""The command itself, in a process of its own: what a builder sees, and the exit code."""

from __future__ import annotations

import os
import subprocess
from pathlib import Path

import pytest
from attack import LONGEST_SECONDS, Outcome, complete, never_wrong, python

STARTING = 4.0  # seconds for an interpreter to start on a busy machine, at the most


def effband(*arguments: str, **environment: str) -> Outcome:
    done = subprocess.run(
        [python(), "-m", "effband", *arguments],
        capture_output=True,
        timeout=LONGEST_SECONDS + STARTING,
        env={**os.environ, "PYTHONUTF8": "1", **environment},
        check=False,
    )
    outcome = Outcome(done.returncode, done.stdout.decode(), done.stderr.decode())
    never_wrong(outcome)
    return outcome


def write(body: str) -> None:
    Path("case.yaml").write_bytes(complete(body).encode("utf-8", "surrogatepass"))


SAMPLE = {
    "a number": (
        "inputs: {a: {value: 12:30, plus_minus: 1 s}}\n",
        "case.yaml:3:21: error: '12:30' is not a number\n"
        "    inputs: {a: {value: 12:30, plus_minus: 1 s}}\n"
        "                        ^^^^^\n"
        "  help: write hours and minutes as one number with a unit, such as 750 s\n",
    ),
    "a tag": (
        'about: !!python/object/apply:os.system ["echo hi"]\n',
        "case.yaml:3:8: error: "
        "a tag (tag:yaml.org,2002:python/object/apply:os.system) is not allowed\n"
        '    about: !!python/object/apply:os.system ["echo hi"]\n'
        "           ^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^\n"
        "  help: delete it\n",
    ),
    "a formula": (
        "formulas: {f: 9**9**9}\n",
        "case.yaml:3:16: error: this has no finite value\n"
        "    formulas: {f: 9**9**9}\n"
        "                   ^^\n"
        "  help: check the numbers\n",
    ),
    "a unit": (
        "inputs: {a: {value: 5 gal, plus_minus: 1 gal_us}}\n",
        "case.yaml:3:23: error: 'gal': a gallon is 3.785 L in the US and 4.546 L imperial\n"
        "    inputs: {a: {value: 5 gal, plus_minus: 1 gal_us}}\n"
        "                          ^^^\n"
        "  help: write gal_us or gal_imp\n",
    ),
}


@pytest.mark.parametrize("name", SAMPLE)
def test_refused(name: str) -> None:
    body, expected = SAMPLE[name]
    write(body)
    assert effband("check", "case.yaml") == Outcome(1, "", expected)
    assert sorted(path.name for path in Path().iterdir()) == ["case.yaml"]


def test_run_and_check_refuse_alike() -> None:
    body, expected = SAMPLE["a unit"]
    write(body)
    assert effband("run", "case.yaml", "-o", "out", "--json") == Outcome(1, "", expected)
    assert not Path("out").exists()


def test_computation_refused() -> None:
    write(
        "inputs: {x: {value: 0.5, plus_minus: 1}}\n"
        "results: {r: {formula: sqrt(x), unit: 1, is: ratio}}\n"
    )
    outcome = effband("run", "case.yaml", "--trials", "1000", "-o", "out")
    assert outcome.code == 3
    assert outcome.stderr.startswith("error: r has no finite value in 0.")
    assert not Path("out").exists()


def test_a_terminal_without_these_letters() -> None:
    write("inputs: {a: {value: 20 Ω, plus_minus: 1 ohm}}\n")
    outcome = effband("check", "case.yaml", PYTHONUTF8="0", PYTHONIOENCODING="latin-1")
    assert outcome.code == 1
    assert outcome.stderr == (
        "case.yaml:3:24: error: '\\u03a9' cannot stand in a unit\n"
        "    inputs: {a: {value: 20 \\u03a9, plus_minus: 1 ohm}}\n"
        "                           ^\n"
        "  help: write ohm\n"
    )


def test_no_such_file() -> None:
    assert effband("check", "missing.yaml") == Outcome(
        1,
        "",
        "missing.yaml: error: cannot read the case: No such file or directory\n"
        "  help: check the file's name\n",
    )


def test_wrong_usage() -> None:
    outcome = effband("check")
    assert outcome.code == 2
    assert "CASE" in outcome.stderr
