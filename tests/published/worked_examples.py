"""Worked examples run whole: case file in, JSON out, and the numbers that it must hold."""

from __future__ import annotations

import functools
import json
import math
import re
import subprocess
import sys
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import yaml
from made_cases import MADE

HERE = Path(__file__).resolve().parent
PROJECT = HERE.parents[1]
EXPECTED = HERE / "expected.yaml"

TRIALS = 1_000_000
CLAIM = "claim."  # how a path to a number of a claim begins

Band = dict[str, Any]


@dataclass(frozen=True)
class Row:
    """One number of a case, as published or derived."""

    case: str
    source: str
    result: str
    path: str
    value: float | bool | str | None
    where: str
    tolerance: float | None = None
    basis: str = "printed"
    run: str | None = None
    probability: float | None = None

    @property
    def is_number(self) -> bool:
        return isinstance(self.value, int | float) and not isinstance(self.value, bool)

    @property
    def label(self) -> str:
        at = None if self.probability is None else f"{self.probability:g}"
        parts = [Path(self.case).stem, self.result, self.run, at, self.path]
        derived = [] if self.basis == "printed" else [self.basis]
        return "-".join([part for part in parts if part] + derived)


TABLE: dict[str, Any] = yaml.safe_load(EXPECTED.read_text(encoding="utf-8"))
ROWS = [
    Row(case=case, source=entry["source"], **row)
    for case, entry in TABLE.items()
    for row in entry["rows"]
]


def trials_of(case: str) -> int:
    """Return how many trials a case is run with."""
    return int(TABLE[case].get("trials", TRIALS))


@functools.cache
def _folder() -> tempfile.TemporaryDirectory[str]:
    return tempfile.TemporaryDirectory()


@functools.cache
def file_of(case: str) -> Path:
    """Return the case file, written first if it is one of the made ones."""
    if case not in MADE:
        return HERE / case
    path = Path(_folder().name) / case
    path.write_text(MADE[case](), encoding="utf-8")
    return path


@functools.cache
def run(case: str, probability: float | None) -> subprocess.CompletedProcess[str]:
    """Run one case file through the command line, once per session."""
    command = [sys.executable, "-m", "effband", "run", str(file_of(case))]
    command += ["--json", "--trials", str(trials_of(case))]
    command += [] if probability is None else ["--probability", str(probability)]
    return subprocess.run(
        command,
        cwd=PROJECT,
        capture_output=True,
        text=True,
        encoding="utf-8",
        timeout=600,
        check=False,
    )


@functools.cache
def outcome(case: str, probability: float | None = None) -> dict[str, Any]:
    """Return the JSON result of one case file."""
    done = run(case, probability)
    assert done.returncode == 0, f"{case}: exit code {done.returncode}\n{done.stderr}"
    return json.loads(done.stdout)


def band_of(
    case: str, result: str, run: str | None = None, probability: float | None = None
) -> Band:
    """Return the entry of one result, of a group of runs where one is named."""
    bands = outcome(case, probability)["results"]
    found = [band for band in bands if band["result"] == result and band["run"] == run]
    known = [(band["result"], band["run"]) for band in bands]
    assert len(found) == 1, f"{case}: {len(found)} results {result}, run {run}, in {known}"
    return found[0]


def half_width(interval: dict[str, float]) -> float:
    return (interval["high"] - interval["low"]) / 2


# What is worked out from several numbers of one band.
WORKED_OUT: dict[str, Callable[[Band], float]] = {
    "variance": lambda band: band["standard_uncertainty"] ** 2,
    "linear.variance": lambda band: band["linear"]["standard_uncertainty"] ** 2,
    "coverage_factor": lambda band: half_width(band["interval"]) / band["standard_uncertainty"],
    "linear.coverage_factor": lambda band: (
        half_width(band["linear"]) / band["linear"]["standard_uncertainty"]
    ),
}


def found_at(row: Row) -> Any:
    """Return what the tool gives where a row says."""
    band = band_of(row.case, row.result, row.run, row.probability)
    other = re.fullmatch(r"correlation\[(\w+)\]", row.path)
    if other:
        return correlation(row, other[1])
    if row.path.startswith(CLAIM):
        return look_up(claim_on(row), row.path.removeprefix(CLAIM))
    return look_up(band, row.path)


def claim_on(row: Row) -> dict[str, Any]:
    """Return the one claim on a result."""
    claims = outcome(row.case, row.probability)["claims"]
    (found,) = [each for each in claims if (each["result"], each["run"]) == (row.result, row.run)]
    return found


def correlation(row: Row, other: str) -> float:
    """Return the correlation of two results, from their u and that of their sum."""

    def u(name: str) -> float:
        return band_of(row.case, name, row.run)["linear"]["standard_uncertainty"]

    a, b, both = u(row.result), u(other), u(f"{row.result}_and_{other}")
    return (both**2 - a**2 - b**2) / (2 * a * b)


def look_up(band: Band, path: str) -> Any:
    """Return what stands at a path; a null on the way ends there, a missing key is an error."""
    if path in WORKED_OUT:
        return WORKED_OUT[path](band)
    here: Any = band
    for name, key in re.findall(r"([a-z_]+)|\[([^\]]+)\]", path):
        if here is None:
            return None
        if name in ("half_width", "length"):
            here = half_width(here) * (1 if name == "half_width" else 2)
        elif name:
            here = here[name]
        elif key.isdigit():
            here = here[int(key)]
        else:
            lines = [line for line in here if line["source"] == key]
            assert len(lines) == 1, f"{key}: {len(lines)} lines in {[ln['source'] for ln in here]}"
            here = lines[0]
    assert here is None or not isinstance(here, float) or math.isfinite(here)
    return here
