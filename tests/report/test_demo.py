"""The demo case through the whole tool, against an independent computation; and its report.

Expected numbers: worked out independently for the bench of `cases/wren_bench.yaml` (derived,
not published). Tolerance: half a unit of the last digit given there, plus four simulation
uncertainties.
"""

from __future__ import annotations

import difflib
import math
import re
from pathlib import Path
from typing import Any

import pytest

from effband import study as studies
from effband.report.machine import document
from effband.report.publication import files_of
from effband.report.writing import astray
from effband.study import Study

ROOT = Path(__file__).resolve().parents[2]
ENOUGH = 4
LARGEST_SIMULATION = 0.003  # points: a stated simulation error excuses no more
RENEW = "a report is stale: run `python tests/make_report.py`; what differs first:\n"


@pytest.fixture(scope="module")
def full(wren: Study) -> dict[str, Any]:
    """The JSON of air_to_wire in run full."""
    found = [
        result
        for result in document(wren)["results"]
        if (result["result"], result["run"]) == ("air_to_wire", "full")
    ]
    assert len(found) == 1
    return dict(found[0])


def line(result: dict[str, Any], source: str) -> dict[str, Any]:
    found = [entry for entry in result["ranking"] if entry["source"] == source]
    assert len(found) == 1
    return dict(found[0])


def check(found: float, printed: str, simulation: float) -> None:
    assert 0 < simulation < LARGEST_SIMULATION
    half_digit = 0.5 * 10.0 ** -len(printed.partition(".")[2])
    assert abs(found - float(printed)) <= half_digit + ENOUGH * simulation


def test_mean(full: dict[str, Any]) -> None:
    check(full["mean"], "8.05", full["simulation_uncertainty"]["mean"])


def test_standard_uncertainty(full: dict[str, Any]) -> None:
    simulation = full["simulation_uncertainty"]["standard_uncertainty"]
    check(full["standard_uncertainty"], "0.303", simulation)


def test_low_end(full: dict[str, Any]) -> None:
    check(full["interval"]["low"], "7.49", full["simulation_uncertainty"]["low"])


def test_high_end(full: dict[str, Any]) -> None:
    check(full["interval"]["high"], "8.65", full["simulation_uncertainty"]["high"])


def test_half_width(full: dict[str, Any]) -> None:
    simulation = full["simulation_uncertainty"]
    both = math.hypot(simulation["low"], simulation["high"]) / 2
    check((full["interval"]["high"] - full["interval"]["low"]) / 2, "0.583", both)


def test_half_width_without_the_receiver_gauge(full: dict[str, Any]) -> None:
    gauge = line(full, "receiver_gauge")
    check(gauge["half_width_without"], "0.333", gauge["simulation_uncertainty"])


def test_order_of_the_ranking(full: dict[str, Any]) -> None:
    order = [entry["source"] for entry in full["ranking"]]
    assert order[:4] == ["receiver_gauge", "clamp_meter", "tank_volume", "run_time"]
    assert len(order) == 7


@pytest.mark.parametrize(
    ("source", "share"),
    [("receiver_gauge", 0.67), ("clamp_meter", 0.16), ("tank_volume", 0.12), ("run_time", 0.04)],
)
def test_first_order_share(full: dict[str, Any], source: str, share: float) -> None:
    assert line(full, source)["first_order"]["value"] == pytest.approx(share, abs=0.01)


@pytest.mark.parametrize(("part", "share"), [("common", 0.57), ("fresh", 0.10)])
def test_parts_of_the_receiver_gauge(full: dict[str, Any], part: str, share: float) -> None:
    parts = {entry["part"]: entry["first_order"] for entry in line(full, "receiver_gauge")["parts"]}
    assert set(parts) == {"common", "fresh"}
    assert parts[part] == pytest.approx(share, abs=0.01)


def _but_for_versions(report: str) -> str:
    """Return a report without what differs between machines: versions, and what holds them."""
    shorn, found = re.subn(r"(?m)^(- Case sha256 [0-9a-f]+;) .*$", r"\1 versions", report)
    assert found == 1, "the report must say by which versions it was made, on one line"
    shorn, found = re.subn(r"(?m)^Receipt [0-9a-f]{12},", "Receipt,", shorn)
    assert found == 1, "the report must name its receipt"
    shorn, found = re.subn(r"(?s)BEGIN EFFBAND.+END EFFBAND[^\n]*", "the block", shorn)
    assert found == 1, "the report must carry its case"
    return shorn


SLOW = "wren_loads"  # ninety values: twenty seconds
BENCHES = [
    pytest.param(name, marks=pytest.mark.slow) if name == SLOW else name
    for name in sorted(file.stem for file in (ROOT / "cases").glob("*.yaml"))
]


@pytest.mark.parametrize("name", BENCHES)
def test_the_committed_report_is_up_to_date(name: str, root: Path) -> None:
    committed = (root / "reports" / name / "report.md").read_text(encoding="utf-8")
    study = studies.run(studies.load(str(root / "cases" / f"{name}.yaml")))
    made = files_of(study, ("md", "png"))["report.md"].decode()
    old, new = (_but_for_versions(text).splitlines() for text in (committed, made))
    different = list(difflib.unified_diff(old, new, "committed", "made", n=0, lineterm=""))
    if different:
        pytest.fail(RENEW + "\n".join(different[:8]), pytrace=False)


@pytest.mark.parametrize("name", [file.stem for file in sorted((ROOT / "cases").glob("*.yaml"))])
def test_the_committed_set_is_whole(name: str, root: Path) -> None:
    folder = root / "reports" / name
    assert astray(folder) == ()
    page = (folder / "report.md").read_text(encoding="utf-8")
    pictures = re.findall(r"(?m)^!\[.*\]\((.+)\)$", page)
    assert pictures[0] == "claim.png"
    names = {path.name for path in folder.iterdir()}
    assert names == {"report.md", "report.html", "forum.txt", "receipt.json", *pictures}
    for picture in pictures:
        data = (folder / picture).read_bytes()
        assert data.startswith(b"\x89PNG\r\n\x1a\n")
        assert data.endswith(b"IEND\xaeB`\x82")
