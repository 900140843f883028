"""Same numbers whatever is permuted, added or run in parallel (section 10 of the format).

Excepted there: hashes, the order of lists, and what comes from the quasi-random ranking
(indices, evidence). Everything else is compared bit by bit.
"""

from __future__ import annotations

import copy
import functools
import random
from typing import Any

import pytest
import yaml
from workbench import WREN

from effband.case.resolve import understand
from effband.case.text import parse_case
from effband.report.machine import document
from effband.study import run, with_options

TRIALS = 20_000
Numbers = dict[tuple[str, str | None], dict[str, Any]]


def wren() -> dict[str, Any]:
    """Return the wren case as plain mappings, every scalar as written."""
    return yaml.load(WREN.read_text(encoding="utf-8"), Loader=yaml.BaseLoader)


def more() -> dict[str, Any]:
    """Return the wren case with reducers, a tare, repeats and a certificate."""
    case = wren()
    case["inputs"]["leak"] = {
        "repeats": ["0.21", "0.25", "0.22", "0.19"],
        "unit": "bar",
        "reads": "pressure difference",
    }
    case["instruments"]["load_cell"] = {"class": "0.5", "span": ["0 N", "200 N"]}
    case["runs"]["readings"]["pull"] = {"unit": "N", "instrument": "load_cell"}
    case["runs"]["rows"]["light"]["pull"] = "31"
    case["runs"]["rows"]["full"]["pull"] = "64"
    case["inputs"]["empty_pull"] = {"value": "4 N", "instrument": "load_cell"}
    case["formulas"]["net_pull"] = "pull - empty_pull"
    case["results"]["mean_pull"] = {"formula": "mean_of_runs(net_pull)", "unit": "N"}
    case["results"]["all_electric"] = {"formula": "total_of_runs(electric_energy)", "unit": "J"}
    case["results"]["end"] = {"formula": "in_run(p_end, full) - leak", "unit": "bar"}
    return case


def numbers(case: dict[str, Any], workers: int = 1) -> Numbers:
    """Return every number of every result and run; lists made mappings, exceptions left out."""
    text = yaml.safe_dump(case, sort_keys=False, allow_unicode=True)
    understood = understand(parse_case(text.encode(), "case.yaml"))
    study = run(understood, with_options(understood.settings, trials=TRIALS), workers)
    found: Numbers = {}
    for band in document(study)["results"]:
        kept = {key: value for key, value in band.items() if key not in ("evidence", "ranking")}
        kept["what_if"] = {each["instrument"]: each for each in band["what_if"]}
        kept["without"] = {
            line["source"]: (line["half_width_without"], line["simulation_uncertainty"])
            for line in band["ranking"]
        }
        kept["kinds"] = {line["source"]: line["kind"] for line in band["ranking"]}
        found[band["result"], band["run"]] = kept
    return found


@functools.cache
def plain() -> Numbers:
    return numbers(wren())


@functools.cache
def plain_more() -> Numbers:
    return numbers(more())


def shuffled(tree: Any, order: random.Random) -> Any:
    """Return mappings with their keys in another order, all the way down; lists as they are."""
    if isinstance(tree, dict):
        keys = list(tree)
        order.shuffle(keys)
        return {key: shuffled(tree[key], order) for key in keys}
    if isinstance(tree, list):
        return [shuffled(each, order) for each in tree]
    return tree


def test_numbers_are_there_to_be_compared() -> None:
    assert set(plain()) == {
        (result, run_) for result in ("air_to_wire", "air_to_shaft") for run_ in ("light", "full")
    }
    band = plain()["air_to_wire", "full"]
    assert band["standard_uncertainty"] > 0
    assert len(band["without"]) == 7
    assert "receiver_gauge" in band["what_if"]
    assert len(plain_more()) == 7


@pytest.mark.parametrize("section", ["inputs", "instruments", "formulas", "results"])
def test_reversing_one_mapping_changes_nothing(section: str) -> None:
    case = more()
    case[section] = dict(reversed(case[section].items()))
    assert list(case[section]) != list(more()[section])
    assert numbers(case) == plain_more()


@pytest.mark.parametrize("section", ["readings", "rows"])
def test_reversing_readings_or_rows_changes_nothing(section: str) -> None:
    case = more()
    case["runs"][section] = dict(reversed(case["runs"][section].items()))
    assert list(case["runs"][section]) != list(more()["runs"][section])
    assert numbers(case) == plain_more()


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_shuffling_every_mapping_changes_nothing(seed: int) -> None:
    case = shuffled(more(), random.Random(seed))
    assert list(case) != list(more())
    assert numbers(case) == plain_more()


@pytest.mark.parametrize("workers", [2, 3])
def test_workers_change_nothing(workers: int) -> None:
    assert numbers(wren(), workers) == plain()


def test_the_seed_changes_everything_simulated() -> None:
    case = wren()
    case["settings"] = {"seed": "2"}
    for key, band in numbers(case).items():
        assert band["nominal"] == plain()[key]["nominal"]
        assert band["linear"]["low"] == plain()[key]["linear"]["low"]
        for part in ("mean", "standard_uncertainty", "median", "interval", "shortest", "without"):
            assert band[part] != plain()[key][part]


def with_input(case: dict[str, Any]) -> None:
    case["inputs"]["a_first_one"] = {"value": "3 m", "plus_minus": "1 m"}
    case["results"]["other"] = {"formula": "a_first_one", "unit": "m"}


def with_unused_input(case: dict[str, Any]) -> None:
    case["inputs"]["aaa"] = {"value": "3 m", "plus_minus": "1 m", "log_only": "true"}


def with_formula(case: dict[str, Any]) -> None:
    case["formulas"]["a_share"] = "electric_energy / air_energy"
    case["results"]["again"] = {"formula": "1 - a_share", "unit": "1", "is": "ratio"}


def with_instrument(case: dict[str, Any]) -> None:
    case["instruments"]["a_scale"] = {"accuracy": "1 g", "span": ["0 kg", "2 kg"]}
    case["inputs"]["weight"] = {"value": "1 kg", "instrument": "a_scale"}
    case["results"]["weight_again"] = {"formula": "weight", "unit": "kg"}


def with_reading(case: dict[str, Any]) -> None:
    """Read the receiver's gauge once more, for a result of its own."""
    case["inputs"]["later"] = {"value": "5 bar", "instrument": "receiver_gauge"}
    case["results"]["later_pressure"] = {"formula": "later", "unit": "bar"}


def with_run(case: dict[str, Any]) -> None:
    row = copy.deepcopy(case["runs"]["rows"]["full"])
    row.update(p_start="8.2", p_end="2.4", current="6.1")
    case["runs"]["rows"]["another"] = row


ADDITIONS = [with_input, with_unused_input, with_formula, with_instrument, with_reading, with_run]


@functools.cache
def added(add: Any) -> Numbers:
    case = wren()
    add(case)
    assert case != wren()
    return numbers(case)


@pytest.mark.parametrize("add", ADDITIONS)
def test_an_addition_leaves_every_band_as_it_was(add: Any) -> None:
    found = added(add)
    assert set(found) >= set(plain())
    for key, band in plain().items():
        for part in set(band) - {"without"}:
            assert found[key][part] == band[part], (key, part)


@pytest.mark.parametrize("add", ADDITIONS)
def test_an_addition_leaves_every_half_width_without_an_item_as_it_was(add: Any) -> None:
    for key, band in plain().items():
        assert added(add)[key]["without"] == band["without"], key
