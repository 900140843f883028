"""Write the demo's report anew: run it when the report is stale."""

from __future__ import annotations

from pathlib import Path

from effband.commands import main

ROOT = Path(__file__).resolve().parent.parent

if __name__ == "__main__":
    case = "cases/wren_bench.yaml"
    main(["run", str(ROOT / case), "-o", str(ROOT / "reports/wren_bench")])
