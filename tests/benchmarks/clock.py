"""Measuring side by side: times that alternate, and memory of a process of its own."""

from __future__ import annotations

import gc
import os
import statistics
import subprocess
import sys
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path

CORE = Path(__file__).with_name("core.py")
# One thread on both sides: a matrix product would otherwise take all cores.
ONE_THREAD = {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1", "MKL_NUM_THREADS": "1"}


@dataclass
class Times:
    """Processor and wall seconds of one side, one number a repeat."""

    cpu: list[float] = field(default_factory=list)
    wall: list[float] = field(default_factory=list)

    @property
    def seconds(self) -> float:
        return statistics.median(self.cpu)

    @property
    def wall_seconds(self) -> float:
        return statistics.median(self.wall)


def side_by_side(
    sides: Mapping[str, Callable[[], object]], repeats: int = 5, warm: bool = True
) -> dict[str, Times]:
    """Time all sides in turn, so often; the order turns round with every repeat."""
    found = {name: Times() for name in sides}
    if warm:
        for run in sides.values():
            run()
    for repeat in range(repeats):
        names = list(sides) if repeat % 2 == 0 else list(sides)[::-1]
        for name in names:
            gc.collect()
            wall, cpu = time.perf_counter(), _cpu()
            sides[name]()
            found[name].cpu.append(_cpu() - cpu)
            found[name].wall.append(time.perf_counter() - wall)
    return found


def _cpu() -> float:
    """Return processor seconds of this process and of the children that have ended."""
    children = os.times()
    return time.process_time() + children.children_user + children.children_system


def raw(times: Mapping[str, Times], wall: bool = False) -> str:
    """Return every single time, for the reader who doubts a median."""
    return "; ".join(
        f"{name} {' '.join(f'{s:.4g}' for s in (each.wall if wall else each.cpu))} s"
        for name, each in times.items()
    )


@dataclass(frozen=True)
class Memory:
    """Megabytes of a process: after its imports, and at its peak."""

    base: float
    peak: float

    @property
    def growth(self) -> float:
        return self.peak - self.base

    def __str__(self) -> str:
        return f"{self.peak:.0f} MB (base {self.base:.0f})"


def peak_now() -> float:
    """Return the peak resident set so far, MB.

    Not `ru_maxrss` where Linux tells better: that one is inherited from the parent on exec.
    """
    status = Path("/proc/self/status")
    if status.exists():
        for line in status.read_text().splitlines():
            if line.startswith("VmHWM:"):
                return int(line.split()[1]) / 1024
    import resource

    size = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return size / 2**20 if sys.platform == "darwin" else size / 1024


def memory_of(side: str, *arguments: object) -> Memory:
    """Run one side in a process of its own and return its memory."""
    done = subprocess.run(child_of(side, *arguments), check=True, capture_output=True, text=True)
    base, peak, _ = (float(x) for x in done.stdout.split()[-3:])
    return Memory(base, peak)


def cpu_of(side: str, *arguments: object) -> float:
    """Run one side, once, in a fresh process; return its processor seconds after its imports."""
    done = subprocess.run(child_of(side, *arguments), check=True, capture_output=True, text=True)
    return float(done.stdout.split()[-1])


def child_of(side: str, *arguments: object) -> list[str]:
    return [sys.executable, str(CORE), "--child", side, *map(str, arguments)]


def wall_of_commands(commands: Mapping[str, list[str]], repeats: int) -> dict[str, Times]:
    """Time whole processes side by side."""

    def runner(command: list[str]) -> Callable[[], object]:
        return lambda: subprocess.run(command, check=True, capture_output=True)

    return side_by_side({name: runner(c) for name, c in commands.items()}, repeats)


def load_average() -> str:
    return " ".join(f"{x:.2f}" for x in os.getloadavg())
