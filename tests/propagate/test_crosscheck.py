"""The second opinion on the ranking, and that it can say no."""

from __future__ import annotations

import json
import subprocess
import sys
import threading
from collections.abc import Callable

import numpy as np
import pytest
from workbench import PROJECT, WREN, case_of, results

from effband.case.resolve import load_case
from effband.commands import _exit_code
from effband.propagate import sobol
from effband.propagate.crosscheck import ALLOWED
from effband.propagate.rows import Rows

ISHIGAMI = case_of(
    "inputs:\n"
    + "".join(f"  x{i}: {{value: 0, plus_minus: 3.141592653589793}}\n" for i in (1, 2, 3)),
    results(y="sin(x1) + 7 * sin(x2) ** 2 + 0.1 * x3 ** 4 * sin(x1)", still="x1 - x1"),
)
ORIGINAL = sobol.saltelli_jansen


def test_the_same_indices_to_rounding() -> None:
    for case in (ISHIGAMI, load_case(str(WREN))):
        found = sobol.indices(Rows(case, threading.Event()), 1, crosscheck=True)
        assert found.difference is not None
        assert found.difference.shape == (len(case.outputs),)
        assert np.all(found.difference <= ALLOWED)
        assert np.any(found.difference > 0)  # two programs, not one that compares with itself
        plain = sobol.indices(Rows(case, threading.Event()), 1)
        assert plain.difference is None
        assert np.array_equal(plain.first, found.first)


def off_by_little(a: np.ndarray, b: np.ndarray, swapped: np.ndarray) -> tuple[np.ndarray, ...]:
    first, total = ORIGINAL(a, b, swapped)
    first[0, 0, 0] += 1e-11
    return first, total


def items_exchanged(a: np.ndarray, b: np.ndarray, swapped: np.ndarray) -> tuple[np.ndarray, ...]:
    first, total = ORIGINAL(a, b, swapped)
    return first[:, ::-1], total[:, ::-1]


def rows_mispaired(a: np.ndarray, b: np.ndarray, swapped: np.ndarray) -> tuple[np.ndarray, ...]:
    return ORIGINAL(a, np.roll(b, 1, axis=-2), swapped)


def not_a_number(a: np.ndarray, b: np.ndarray, swapped: np.ndarray) -> tuple[np.ndarray, ...]:
    first, total = ORIGINAL(a, b, swapped)
    return first * np.nan, total


@pytest.mark.parametrize("fault", [off_by_little, items_exchanged, rows_mispaired, not_a_number])
def test_a_planted_fault_ends_the_command(
    fault: Callable[..., tuple[np.ndarray, ...]],
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    command = ["run", str(WREN), "--trials", "2000"]
    monkeypatch.setattr(sobol, "saltelli_jansen", fault)
    assert _exit_code(command) == 0
    capsys.readouterr()
    assert _exit_code([*command, "--crosscheck-ranking"]) == 3
    said = capsys.readouterr()
    assert said.out == ""
    assert "SALib finds other indices from the same rows" in said.err


def test_what_the_command_says(capsys: pytest.CaptureFixture[str]) -> None:
    command = ["run", str(WREN), "--trials", "2000"]
    assert _exit_code([*command, "--crosscheck-ranking"]) == 0
    assert "SALib finds the same shares from the same rows, to " in capsys.readouterr().out
    assert _exit_code([*command, "--crosscheck-ranking", "--json"]) == 0
    for result in json.loads(capsys.readouterr().out)["results"]:
        assert 0 <= result["ranking_crosscheck"] <= ALLOWED
    assert _exit_code([*command, "--json"]) == 0
    assert "ranking_crosscheck" not in capsys.readouterr().out


def test_it_is_loaded_only_when_asked_for() -> None:
    code = (
        "import sys\nfrom effband.commands import _exit_code\n"
        f"_exit_code(['run', {str(WREN)!r}, '--trials', '2000'])\n"
        "assert 'SALib' not in sys.modules and 'pandas' not in sys.modules\n"
    )
    subprocess.run([sys.executable, "-c", code], check=True, cwd=PROJECT, capture_output=True)


def test_one_item_and_none() -> None:
    for text in ("inputs: {x: {value: 0, plus_minus: 1}}\n", "inputs: {x: {constant: 2}}\n"):
        case = case_of(text, results(y="x + 1"))
        found = sobol.indices(Rows(case, threading.Event()), 1, crosscheck=True)
        assert found.difference is not None
        assert np.all(found.difference <= ALLOWED)
