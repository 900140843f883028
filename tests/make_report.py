"""Write the reports of the benches anew, or of those named: run it when one is stale."""

from __future__ import annotations

import contextlib
import sys
from pathlib import Path

from effband.commands import main

ROOT = Path(__file__).resolve().parent.parent

if __name__ == "__main__":
    for case in sorted((ROOT / "cases").glob("*.yaml")):
        if len(sys.argv) == 1 or case.stem in sys.argv[1:]:
            with contextlib.suppress(SystemExit):
                main(["run", str(case), "-o", str(ROOT / "reports" / case.stem)])
