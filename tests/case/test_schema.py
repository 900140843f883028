"""The JSON Schema that editors complete keys by: it knows the demonstration, and no other key."""

from __future__ import annotations

import copy
import functools
import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import jsonschema
import pytest
import yaml

PROJECT = Path(__file__).resolve().parents[2]
DEMONSTRATION = PROJECT / "cases" / "wren_bench.yaml"


@functools.cache
def schema() -> dict[str, Any]:
    command = [sys.executable, "-m", "effband", "schema"]
    done = subprocess.run(command, capture_output=True, text=True, timeout=60, check=False)
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout)


def demonstration() -> dict[str, Any]:
    return yaml.safe_load(DEMONSTRATION.read_text(encoding="utf-8"))


def refused(tree: Any) -> list[str]:
    """Return where a tree does not fit, as an editor would mark it."""
    validator = jsonschema.Draft202012Validator(schema())
    return ["/".join(map(str, error.absolute_path)) for error in validator.iter_errors(tree)]


def test_the_schema_is_one() -> None:
    jsonschema.Draft202012Validator.check_schema(schema())


def test_the_demonstration_fits() -> None:
    assert refused(demonstration()) == []


PUBLISHED = sorted((PROJECT / "tests" / "published").glob("*.yaml"))


@pytest.mark.parametrize("file", PUBLISHED, ids=[file.stem for file in PUBLISHED])
def test_every_published_case_fits(file: Path) -> None:
    tree = yaml.safe_load(file.read_text(encoding="utf-8"))
    if "effband" not in tree:
        assert file.name == "expected.yaml"
        return
    assert refused(tree) == []


@pytest.mark.parametrize(
    "path",
    [
        (),
        ("instruments", "receiver_gauge"),
        ("inputs", "tank_volume"),
        ("runs",),
        ("runs", "readings", "p_start"),
        ("results", "air_to_wire"),
        ("results", "air_to_wire", "boundary"),
        ("claims", 0),
        ("upgrades", "digital_gauge"),
    ],
)
def test_an_unknown_key_is_refused(path: tuple[str | int, ...]) -> None:
    tree = copy.deepcopy(demonstration())
    here: Any = tree
    for step in path:
        here = here[step]
    before = refused(tree)
    here["plus_minsu"] = "1 L"
    assert len(refused(tree)) > len(before) or set(refused(tree)) != set(before)


@pytest.mark.parametrize("key", ["effband", "title", "results"])
def test_a_missing_key_is_refused(key: str) -> None:
    tree = demonstration()
    before = refused(tree)
    del tree[key]
    assert len(refused(tree)) > len([path for path in before if path != key])


@pytest.mark.parametrize(
    ("section", "name", "entry"),
    [
        ("inputs", "tank_volume", ["90 L"]),
        ("inputs", "tank_volume", {"value": {"number": 90}}),
        ("inputs", "tank_volume", {"value": "90 L", "plus_minus": "2 L", "evidence": ["guess"]}),
        ("formulas", "volume", ["tank_volume"]),
        ("results", "air_to_wire", "electric_energy / air_energy"),
    ],
)
def test_a_value_of_the_wrong_form_is_refused(section: str, name: str, entry: Any) -> None:
    tree = demonstration()
    tree[section][name] = entry
    assert any(path.startswith(section) for path in refused(tree))


def test_every_section_of_the_format_is_in_the_schema() -> None:
    sections = (
        "effband title hazards about headline instruments inputs runs formulas results "
        "correlations joint cross_checks claims upgrades altitude balance settings"
    ).split()
    assert set(sections) <= set(schema()["properties"])
    assert schema()["additionalProperties"] is False
