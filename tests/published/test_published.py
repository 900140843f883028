"""Published worked examples, run whole: case file in, JSON out, number by number.

Each case file of this folder is run once through the command line. `expected.yaml` lists what
must come out, with source and tolerance; each of its lines is one test here. `README.md` is the
table of all published numbers, with the reason beside each that the tool does not print.
"""

from __future__ import annotations

import math
import re

import numpy as np
import pytest
from made_cases import MADE
from worked_examples import (
    EXPECTED,
    HERE,
    ROWS,
    TABLE,
    Band,
    Row,
    band_of,
    found_at,
    half_width,
    look_up,
    outcome,
    trials_of,
)

TIMES_SIMULATION = 4
LARGEST_SIMULATION = 0.01  # of the half-width: a stated simulation error excuses no more
ROW_COUNT = 377

# Which stated simulation uncertainties a number carries.
SIMULATED = {
    "mean": ("mean",),
    "standard_uncertainty": ("standard_uncertainty",),
    "variance": ("standard_uncertainty",),
    "interval.low": ("low",),
    "interval.high": ("high",),
    "interval.half_width": ("low", "high"),
}


def simulation_margin(band: Band, path: str) -> float:
    """Return what the number may be off by simulation alone: four standard uncertainties."""
    if path not in SIMULATED:
        return 0.0
    parts = [band["simulation_uncertainty"][key] for key in SIMULATED[path]]
    largest = LARGEST_SIMULATION * look_up(band, "interval.half_width")
    assert all(0 < part <= largest for part in parts), f"simulation uncertainty {parts}"
    margin = TIMES_SIMULATION * sum(parts) / len(parts)
    return 2 * band["standard_uncertainty"] * margin if path == "variance" else margin


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row.label)
def test_number(row: Row) -> None:
    found = found_at(row)
    said = f"{row.path} of {row.result} is {found}; {row.source}, {row.where}: {row.value}"
    if row.is_number:
        assert isinstance(found, int | float), said
        assert not isinstance(found, bool), said
        band = band_of(row.case, row.result, row.run, row.probability)
        margin = simulation_margin(band, row.path)
        allowed = row.tolerance + margin
        assert abs(found - row.value) <= allowed, f"{said} within {row.tolerance} + {margin:.2g}"
    elif isinstance(row.value, str):
        assert found == row.value, said
    else:
        assert found is row.value, said


@pytest.mark.parametrize("case", TABLE)
def test_case_runs_with_the_trials_asked_for(case: str) -> None:
    assert outcome(case)["settings"]["trials"] == trials_of(case)


@pytest.mark.parametrize("case", ["gum_5_2_2_one_standard.yaml", "gum_5_2_2_one_instrument.yaml"])
@pytest.mark.parametrize("path", ["linear.standard_uncertainty", "standard_uncertainty"])
def test_one_standard_does_not_average_out(case: str, path: str) -> None:
    wrong = 0.32  # ohm, root of the sum of squares: ten errors where there is one
    assert look_up(band_of(case, "series"), path) > 2 * wrong


def test_small_indices_keep_their_order() -> None:
    band = band_of("sobol_g_indices.yaml", "g_function")
    total = {line["source"]: line["total"]["value"] for line in band["ranking"]}
    smallest = max(total[name] for name in ("x5", "x6", "x7", "x8"))
    assert total["x1"] > total["x2"] > total["x3"] > total["x4"] > smallest


@pytest.mark.parametrize("path", ["first_order", "total"])
def test_published_index_lies_in_its_stated_interval_or_near(path: str) -> None:
    """The stated interval is 95 %: allow as much again on either side of it."""
    exact = {"first_order": (0.3139, 0.4424, 0.0), "total": (0.5576, 0.4424, 0.2437)}
    band = band_of("ishigami_indices.yaml", "ishigami")
    for name, index in zip(("x1", "x2", "x3"), exact[path], strict=True):
        stated = look_up(band, f"ranking[{name}].{path}")
        wide = stated["high"] - stated["low"]
        assert stated["low"] <= stated["value"] <= stated["high"]
        assert stated["low"] - wide <= index <= stated["high"] + wide


def test_every_case_file_has_rows_and_every_row_a_case_file() -> None:
    files = {path.name for path in HERE.glob("*.yaml")} - {EXPECTED.name}
    assert files.isdisjoint(MADE)
    assert files | set(MADE) == set(TABLE)
    for case, entry in TABLE.items():
        assert len(entry["rows"]) > 0, f"{case} has no rows"
    assert len(ROWS) == ROW_COUNT


def test_every_row_is_complete() -> None:
    for row in ROWS:
        assert row.basis in ("printed", "derived"), row
        assert isinstance(row.where, str), row
        if row.is_number:
            assert isinstance(row.tolerance, int | float), row
            assert row.tolerance >= 0, row
        else:
            assert row.tolerance is None, row
            # a number without its decimal point is text to YAML: 1e-6 instead of 1.0e-6
            assert not re.fullmatch(r"[-+0-9.eE]+", str(row.value)), row


# Silicon resistivities, NIST StRD SiRstv (public domain): five readings by each instrument.
RESISTIVITIES = np.array(
    [
        [196.3052, 196.1240, 196.1890, 196.2569, 196.3403],
        [196.3042, 196.3825, 196.1669, 196.3257, 196.0422],
        [196.1303, 196.2005, 196.2889, 196.0343, 196.1811],
        [196.2795, 196.1748, 196.1494, 196.1485, 195.9885],
        [196.2119, 196.1051, 196.1850, 196.0052, 196.2090],
    ]
)


@pytest.mark.parametrize("at", range(5))
def test_pooled_groups_have_the_relative_scatter_of_all(at: int) -> None:
    means = RESISTIVITIES.mean(axis=1)
    relative = RESISTIVITIES / means[:, None] - 1
    degrees = RESISTIVITIES.size - means.size
    pooled = means[at] * math.sqrt((relative**2).sum() / degrees / RESISTIVITIES.shape[1])
    band = band_of("nist_sirstv_groups.yaml", "silicon", f"instrument_{at + 1}")
    assert band["linear"]["standard_uncertainty"] == pytest.approx(pooled, rel=1e-9)
    assert band["linear"]["effective_degrees_of_freedom"] == pytest.approx(degrees, rel=1e-9)


@pytest.mark.parametrize("at", range(5))
def test_pooled_band_is_that_of_student(at: int) -> None:
    """By the trials too: half-width t(20) times the pooled scale, within its simulation error."""
    band = band_of("nist_sirstv_groups.yaml", "silicon", f"instrument_{at + 1}")
    linear = half_width(band["linear"])
    ends = band["simulation_uncertainty"]
    allowed = TIMES_SIMULATION * (ends["low"] + ends["high"]) / 2
    assert 0 < allowed < 0.05 * linear
    assert abs(half_width(band["interval"]) - linear) <= allowed
