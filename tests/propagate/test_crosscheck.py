"""The second opinion on the ranking, and that it can say no."""

from __future__ import annotations

import json
import math
import subprocess
import sys
import threading
from collections.abc import Callable

import numpy as np
import pytest
from scipy import stats
from test_ranking import KNOWN
from workbench import PROJECT, WREN, case_of, results

from effband.case.resolve import load_case
from effband.commands import _exit_code
from effband.problems import ComputationRefused
from effband.propagate import sobol
from effband.propagate.crosscheck import ALLOWED, difference_from_salib
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


def part_off_by_little(a: np.ndarray, b: np.ndarray, swapped: np.ndarray) -> tuple[np.ndarray, ...]:
    """Of a part alone: parts are worked out one at a time, the items of the case together."""
    first, total = ORIGINAL(a, b, swapped)
    return (first + 1e-11 if swapped.shape[-3] == 1 else first), total


def total_of_the_last_scrambling(
    a: np.ndarray, b: np.ndarray, swapped: np.ndarray
) -> tuple[np.ndarray, ...]:
    first, total = ORIGINAL(a, b, swapped)
    total[-1, -1, -1] *= 1 + 1e-9
    return first, total


FAULTS = [
    off_by_little,
    part_off_by_little,
    total_of_the_last_scrambling,
    items_exchanged,
    rows_mispaired,
    not_a_number,
]


@pytest.mark.parametrize("fault", FAULTS)
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
    assert "please report this fault" in said.err
    assert len(said.err.splitlines()) <= 2
    assert "Traceback" not in said.err


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


def test_the_parts_are_compared_as_well(monkeypatch: pytest.MonkeyPatch) -> None:
    """Each part of an item with several goes to SALib by itself, in every set of scramblings."""
    case = load_case(str(WREN))
    rows = Rows(case, threading.Event())
    parts = sum(len(item.parts) for item in rows.items if len(item.parts) > 1)
    assert parts > 0
    seen: list[int] = []

    def counted(*arrays: np.ndarray) -> np.ndarray:
        seen.append(arrays[2].shape[1])
        return difference_from_salib(*arrays)

    monkeypatch.setattr(sobol, "difference_from_salib", counted)
    found = sobol.indices(rows, 1, crosscheck=True)
    sets = sobol.SCRAMBLINGS // sobol.AT_ONCE
    assert sorted(seen) == sorted([len(rows.items)] * sets + [1] * (parts * sets))
    assert len(found.parts) == parts


def test_outputs_that_do_not_vary_are_left_out() -> None:
    a, b = np.zeros((1, 8, 2)), np.zeros((1, 8, 2))
    a[0, :, 1], b[0, :, 1] = np.arange(8), np.arange(8)[::-1]
    swapped = np.stack([b], axis=1)
    first, total = ORIGINAL(a, b, swapped)
    found = difference_from_salib(a, b, swapped, first, total)
    assert found[0] == 0.0
    assert 0.0 <= found[1] <= ALLOWED
    with pytest.raises(ComputationRefused, match=r"rows, by 0\.5\n"):
        difference_from_salib(a, b, swapped, first + 0.5, total)


@pytest.mark.parametrize("offset", [300.0, 1e5, 1e9])
def test_a_small_spread_on_a_large_value_is_no_false_alarm(offset: float) -> None:
    case = case_of(
        f"inputs: {{x: {{value: {offset}, plus_minus: 1}}, z: {{value: 0, plus_minus: 3}}}}\n",
        results(y="x + z"),
    )
    found = sobol.indices(Rows(case, threading.Event()), 1, crosscheck=True)
    assert found.difference is not None
    assert np.all(found.difference <= ALLOWED)
    assert found.first[:, :, 0].mean(axis=0) == pytest.approx([0.1, 0.9], abs=0.01)


@pytest.mark.slow
@pytest.mark.parametrize("name", KNOWN)
def test_intervals_of_few_rows_cover_the_truth(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """The intervals of indices from 16 scramblings of 256 rows, against closed forms.

    Mean over the inputs of 400 repeats, first order and total apart. Inputs share their rows, so
    the mean may vary like one draw per repeat: 0.011; as a mean over inputs it varies less.
    """
    monkeypatch.setattr(sobol, "ROWS", 256)
    case, *exact = KNOWN[name]
    rows = Rows(case, threading.Event())
    at = [int(item.name[1:]) - 1 for item in rows.items]
    t = stats.t.ppf(0.975, sobol.SCRAMBLINGS - 1)
    held = []
    for repeat in range(400):
        found = sobol.indices(rows, 7_000 + repeat)
        assert found.first.shape[0] == 16
        held.append([])
        for values, truth in zip((found.first, found.total), exact, strict=True):
            apart = np.abs(values[:, :, 0].mean(axis=0) - truth[at])
            reach = t * values[:, :, 0].std(axis=0, ddof=1) / math.sqrt(len(values))
            held[-1].append(apart <= reach)
    share = np.array(held).mean(axis=(0, 2))
    print(f"{name}: first order {share[0]:.3f}, total {share[1]:.3f}")
    assert np.all((share >= 0.93) & (share <= 0.97)), share
