"""The speed and memory of the core, each goal beside what it is measured against.

    python tests/benchmarks/core.py [--only G1,G6] [--quick] [--profile]

Every ratio is of two sides that alternate in one process (a process each for memory), medians
of an odd number of repeats, CPU time of one thread unless a line says wall. Nothing is compared
with a remembered time.
"""

from __future__ import annotations

import argparse
import importlib
import os
import platform
import sys
import time

# Before numpy is imported: one thread in matrix products, on both sides.
for variable in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ[variable] = "1"

# Goal: module and function that measure it.
GOALS = {
    "G1": ("trials", "cost"),
    "G2": ("trials", "whole_arrays"),
    "G3": ("trials", "memory"),
    "G4": ("trials", "exactness"),
    "G5": ("trials", "drawing"),
    "G6": ("shares", "against_salib"),
    "G7": ("shares", "second_order"),
    "G8": ("shares", "memory"),
    "G9": ("shares", "rows"),
    "G10": ("quasi", "evaluations"),
    "G11": ("trials", "same_for_all"),
    "G12": ("start", "start_up"),
    "G13": ("trials", "two_workers"),
    "H": ("trials", "half_widths"),
}
ELSEWHERE = {
    "G14": "stopping rule: coverage of 400 seeded runs",
    "G15": "coverage of the intervals of the indices",
}


def facts() -> list[str]:
    """Return what the numbers below depend on."""
    import numpy as np
    import problem
    import scipy
    from clock import load_average

    from effband import __version__
    from effband.propagate import counting, engine

    case = problem.case()
    return [
        f"effband {__version__}, python {platform.python_version()}, numpy {np.__version__}, "
        f"scipy {scipy.__version__}; {os.cpu_count()} cores, load average {load_average()}",
        f"{case.title}: {len(case.sources)} sources, {len(case.outputs)} outputs, "
        f"{problem.operations()} array operations ({problem.operations() / 6:.0f} a run)",
        f"block {engine.BLOCK}, lane {counting.LANE}, bins {counting.BINS}",
        "largest relative difference of the formulas written out in numpy: "
        f"{problem.difference_by_hand():.1e}",
    ]


def child(side: str, arguments: list[str]) -> None:
    """Work out one side alone, then print base and peak memory."""
    from clock import peak_now

    module = importlib.import_module("trials" if side in ("run", "whole_arrays") else "shares")
    module.prepare(side)
    base, start = peak_now(), time.process_time()
    module.child(side, *arguments)
    print(base, peak_now(), time.process_time() - start)


def main() -> int:
    parser = argparse.ArgumentParser(description="Measure the core against its goals.")
    parser.add_argument("--only", help="goals, for instance G1,G6")
    parser.add_argument("--quick", action="store_true", help="fewer repeats, nothing long")
    parser.add_argument(
        "--profile", action="store_true", help="where a whole study spends its time"
    )
    parser.add_argument("--child", nargs="+", help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.child:
        child(options.child[0], options.child[1:])
        return 0
    asked = options.only.split(",") if options.only else [*GOALS, *ELSEWHERE]
    unknown = [name for name in asked if name not in {**GOALS, **ELSEWHERE}]
    if unknown:
        parser.error(f"no goal {unknown[0]}: one of {', '.join([*GOALS, *ELSEWHERE])}")
    from goals import say, tell

    for line in facts():
        say(line)
    missed = 0
    for name in asked if options.only or not options.profile else []:
        if name in ELSEWHERE:
            say(f"{name:4s} {ELSEWHERE[name]}: statistical, in `python -m pytest -m slow`")
            continue
        module, function = GOALS[name]
        start = time.perf_counter()
        for goal in getattr(importlib.import_module(module), function)(options.quick):
            tell(goal)
            missed += goal.met is False
        say(f"     {name} took {time.perf_counter() - start:.0f} s")
    if options.profile:
        importlib.import_module("whole_study").profile()
    return 1 if missed else 0


if __name__ == "__main__":
    sys.exit(main())
