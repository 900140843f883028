"""Goal of the start: what a user waits for before anything is worked out."""

from __future__ import annotations

import shutil
import sys
from collections.abc import Iterator
from pathlib import Path

from clock import raw, wall_of_commands
from goals import Goal, say

EAGER = "numpy, scipy.stats, pandas, matplotlib.pyplot, SALib.analyze.sobol"


def start_up(quick: bool) -> Iterator[Goal]:
    """G12: wall times of whole processes."""
    beside = Path(sys.executable).with_name("effband")
    program = str(beside) if beside.exists() else shutil.which("effband")
    show_help = [program, "--help"] if program else [sys.executable, "-m", "effband", "--help"]

    def importing(modules: str) -> list[str]:
        return [sys.executable, "-c", f"import {modules}"]

    times = wall_of_commands(
        {
            "help": show_help,
            "numpy": importing("numpy"),
            "a run's imports": importing("effband.study"),
            "everything": importing(EAGER),
            "python alone": [sys.executable, "-c", ""],
        },
        9 if quick else 15,
    )
    say(f"     G12 raw wall: {raw(times, wall=True)}")
    show, numpy, study, eager, bare = (each.wall_seconds for each in times.values())
    milliseconds = ", ".join(f"{n} {1000 * t.wall_seconds:.0f} ms" for n, t in times.items())
    yield Goal(
        "G12",
        "wall of `effband --help` over `import numpy`",
        show / numpy,
        0.6,
        remark=milliseconds,
    )
    yield Goal("G12", f"wall of importing {EAGER} over `effband --help`", eager / show, 20.0, True)
    yield Goal("G12", "wall of `import effband.study` over `import numpy`", study / numpy, 3.3)
    cpu = {name: each.seconds / times["numpy"].seconds for name, each in times.items()}
    told = ", ".join(f"{name} {ratio:.2f} x" for name, ratio in cpu.items())
    say(f"     G12 in CPU time over `import numpy`: {told}")
    yield Goal("G12", "wall of python alone over `import numpy`", bare / numpy)
