"""`effband compare -o`: the figure of the change and the JSON, as one set."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from effband.report.writing import astray


def test_figure_and_json_are_written_and_written_again(
    effband: Any, root: Path, tmp_path: Path
) -> None:
    cases = [root / "cases" / f"dray_{which}.yaml" for which in ("belt", "gear")]
    folder = tmp_path / "change"
    for _ in range(2):
        done = effband("compare", *cases, "--trials", "20000", "-o", folder)
        assert done.code == 0, done.err
        assert str(folder) in done.err
        names = {path.name for path in folder.iterdir()}
        assert names == {"change.png", "change.json", "receipt.json"}
        assert astray(folder) == ()
    assert (folder / "change.png").read_bytes().startswith(b"\x89PNG")
    told = json.loads((folder / "change.json").read_text(encoding="utf-8"))
    assert told["changes"][0]["result"] == "motor_to_lamps"


def test_an_empty_name_is_wrong_usage(effband: Any, root: Path) -> None:
    case = root / "cases" / "dray_belt.yaml"
    done = effband("compare", case, case, "-o", "")
    assert done.code == 2
    assert "-o needs the name of a folder" in done.err
