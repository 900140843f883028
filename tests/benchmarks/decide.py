"""What the commands that decide cost, each beside plain runs in the same process.

    python tests/benchmarks/decide.py [--only UPGRADE,COMPARE,REPORT] [--quick]

CPU time of one thread, medians of alternating repeats. A plain run is that of `effband run`
with its ranking, at the trials of the case.
"""

from __future__ import annotations

import argparse
import os
import sys
import threading
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from goals import Goal

# Before numpy is imported: one thread in matrix products, on both sides.
for variable in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ[variable] = "1"

CASES = Path(__file__).resolve().parents[2] / "cases"
# Beside the five of the bench.
MORE = """
  class_1:
    replaces: receiver_gauge
    instrument: {class: 1, span: [0 bar, 16 bar], division: 0.2 bar}
    cost: 30 EUR
  good_volts:
    replaces: multimeter
    instrument: {accuracy: 0.1 % of reading + 2 digits, span: [0 V, 20 V], digit: 0.001 V}
    cost: 90 EUR
  dismantled: {replaces: pipe_volume, input: {plus_minus: 0.05 L}, cost: 1 EUR}
  barometer: {replaces: barometer, input: {plus_minus: 1 hPa}, cost: 15 EUR}
  meter_box:
    replaces: clamp_meter
    instrument: {accuracy: 1 % of reading, span: [0 A, 40 A], digit: 0.1 A}
    cost: 12 EUR
"""
UPGRADE_LIMIT, COMPARE_LIMIT = 4.0, 2.5
EVERY = "md,html,forum,png,json,csv"


def upgrades(repeats: int) -> list[Goal]:
    from clock import raw, side_by_side
    from goals import Goal

    from effband import study
    from effband.case.resolve import understand
    from effband.case.text import parse_case
    from effband.decide.common_draws import CommonDraws
    from effband.decide.options import amount_of
    from effband.decide.upgrades import advise

    text = (CASES / "wren_bench.yaml").read_text(encoding="utf-8").rstrip() + MORE
    case = understand(parse_case(text.encode(), "bench.yaml"))
    assert len(case.file.upgrades) == 10
    draws = CommonDraws(case.settings.seed, case.settings.probability)
    money = amount_of(case, "100 EUR")
    found = side_by_side(
        {
            "upgrade": lambda: advise(case, draws, None, money),
            "run": lambda: study.run(case),
        },
        repeats,
    )
    ratio = found["upgrade"].seconds / found["run"].seconds
    what = "upgrade, 10 options, best set and proposals, over one run with its ranking"
    return [Goal("UPGRADE", what, ratio, UPGRADE_LIMIT, remark=raw(found))]


def comparisons(repeats: int) -> list[Goal]:
    from clock import raw, side_by_side
    from goals import Goal

    from effband import study
    from effband.decide.compare import compare
    from effband.decide.pairs import pairs_of

    was, now = (study.load(str(CASES / f"dray_{which}.yaml")) for which in ("belt", "gear"))
    pairs = pairs_of(was, now, None, None, None)
    settings = study.with_options(was.settings)
    found = side_by_side(
        {
            "compare": lambda: compare(was, now, pairs, settings, 1, None, threading.Event()),
            "belt": lambda: study.run(was),
            "gear": lambda: study.run(now),
        },
        repeats,
    )
    one = (found["belt"].seconds + found["gear"].seconds) / 2
    what = "compare of the dray benches, over one run with its ranking (mean of the two)"
    ratio = found["compare"].seconds / one
    return [Goal("COMPARE", what, ratio, COMPARE_LIMIT, remark=raw(found))]


def reports(repeats: int) -> list[Goal]:
    """Whole processes, wall time: a full report beside the run alone."""
    import tempfile

    from clock import raw, wall_of_commands
    from goals import Goal
    from thirty_runs import thirty_runs

    found = []
    with tempfile.TemporaryDirectory() as name:
        many = Path(name) / "thirty.yaml"
        many.write_text(thirty_runs(), encoding="utf-8")
        sides = [("the wren bench", CASES / "wren_bench.yaml", 4.0)]
        sides.append(("30 runs by 5 results", many, 15.0))
        for what, case, limit in sides:
            run = [sys.executable, "-m", "effband", "run", str(case)]
            whole = [*run, "-o", str(Path(name) / "out"), "--force", "--format", EVERY]
            times = wall_of_commands({"report": whole, "run": run}, repeats)
            wall, alone = (times[side].wall_seconds for side in ("report", "run"))
            remark = f"{wall / alone:.2f} times the run alone; {raw(times, wall=True)}"
            told = f"a full report of {what}, wall"
            found.append(Goal("REPORT", told, wall, limit, unit="s", remark=remark))
    return found


GOALS = {"UPGRADE": upgrades, "COMPARE": comparisons, "REPORT": reports}


def main() -> int:
    parser = argparse.ArgumentParser(description="Measure the commands that decide.")
    parser.add_argument("--only", help="goals, for instance UPGRADE")
    parser.add_argument("--quick", action="store_true", help="fewer repeats")
    options = parser.parse_args()
    asked = options.only.split(",") if options.only else list(GOALS)
    unknown = [name for name in asked if name not in GOALS]
    if unknown:
        parser.error(f"no goal {unknown[0]}: one of {', '.join(GOALS)}")
    import numpy as np
    import scipy
    from clock import load_average
    from goals import say, tell

    from effband import __version__

    say(
        f"effband {__version__}, numpy {np.__version__}, scipy {scipy.__version__}; "
        f"{os.cpu_count()} cores, load average {load_average()}"
    )
    missed = 0
    for name in asked:
        for goal in GOALS[name](3 if options.quick else 7):
            tell(goal)
            missed += goal.met is False
    return 1 if missed else 0


if __name__ == "__main__":
    sys.exit(main())
