"""Goals of the trials: cost, memory, exactness, workers."""

from __future__ import annotations

import dataclasses
import functools
import hashlib
import math
import os
import statistics
import subprocess
import threading
import time
from collections.abc import Iterator

import numpy as np
import problem
from clock import child_of, cpu_of, load_average, memory_of, raw, side_by_side
from goals import Goal, say

from effband.case.model import Case
from effband.propagate.counting import BINS, Counts
from effband.propagate.half_widths import half_widths_without
from effband.propagate.rows import Rows
from effband.propagate.sampling import BLOCK

MILLION = 1_000_000


def per_trial(seconds: float, trials: int) -> str:
    return f"{seconds / trials * 1e9:.0f} ns"


def cost(quick: bool) -> Iterator[Goal]:
    """G1: a whole run against drawing the same numbers."""
    trials = MILLION
    like = problem.engine(trials)
    kept: dict[str, tuple[Counts, ...]] = {}

    def whole() -> None:
        kept["counts"] = problem.engine(trials).run()
        problem.summaries(kept["counts"])

    def values() -> None:
        for _ in problem.values_in_pieces(trials, like):
            pass

    times = side_by_side(
        {
            "run": whole,
            "draws": lambda: problem.draw_only(trials, like.step, like.kernel.sources),
            "draws in whole blocks": lambda: problem.draw_only(trials, BLOCK, like.kernel.sources),
            "draws and formulas": values,
            "from counts to summaries": lambda: problem.summaries(kept["counts"]),
        },
        5 if quick else 9,
    )
    run, draws, in_blocks, both, summed = (each.seconds for each in times.values())
    say(f"     G1 raw: {raw(times)}")
    parts = [
        f"draws {per_trial(draws, trials)}",
        f"formulas {per_trial(both - draws, trials)}",
        f"summing and counting {per_trial(run - both - summed, trials)}",
        f"from counts to summaries {per_trial(summed, trials)}",
        f"in all {per_trial(run, trials)} a trial",
    ]
    what = "run and summaries over drawing the same numbers, 1e6 trials"
    yield Goal("G1", what, run / draws, 1.4, stretch=1.25, remark=", ".join(parts))
    remark = f"{per_trial(in_blocks, trials)}; the floor of the goal draws in the engine's pieces"
    yield Goal("G1", "the same over drawing in whole blocks", run / in_blocks, remark=remark)


def whole_arrays(quick: bool) -> Iterator[Goal]:
    """G2: against whole-array numpy."""
    times = side_by_side(
        {
            "whole arrays": lambda: problem.whole_arrays(MILLION),
            "with shortest interval": lambda: problem.whole_arrays(MILLION, shortest=True),
            "run": lambda: problem.full_run(MILLION),
        },
        5 if quick else 9,
    )
    say(f"     G2 raw: {raw(times)}")
    ratio = times["whole arrays"].seconds / times["run"].seconds
    same_work = times["with shortest interval"].seconds / times["run"].seconds
    remark = "the numpy side gives mean, sd and np.quantile, no shortest interval"
    what = "whole-array numpy over run, 1e6 trials"
    yield Goal("G2", what, ratio, 2.0, at_least=True, remark=remark)
    yield Goal("G2", "the same with its shortest interval, by np.sort", same_work)
    fresh = {"whole_arrays": [], "run": []}  # a script runs once, and pays for fresh memory
    for _ in range(5):
        for side, seconds in fresh.items():
            seconds.append(cpu_of(side, MILLION))
    say(f"     G2 raw, fresh processes: {fresh}")
    medians = {side: statistics.median(seconds) for side, seconds in fresh.items()}
    what = "the same, once in a fresh process each, imports not counted"
    yield Goal("G2", what, medians["whole_arrays"] / medians["run"], 2.0, at_least=True)
    many = MILLION if quick else 10 * MILLION
    theirs, ours = memory_of("whole_arrays", many), memory_of("run", many, 1)
    growth = theirs.growth / max(ours.growth, 1e-9)
    remark = f"peaks {theirs} and {ours}; growth alone {growth:.0f} x"
    if quick:
        yield Goal("G2", "peak memory, 1e6 trials (quick)", theirs.peak / ours.peak, remark=remark)
    else:
        what = "peak memory of whole arrays over run, 1e7 trials"
        yield Goal("G2", what, theirs.peak / ours.peak, 30.0, at_least=True, remark=remark)


def memory(quick: bool) -> Iterator[Goal]:
    """G3: flat memory."""
    if quick:
        say("G3   peak memory of 1e8 trials: not run (--quick)")
        return
    few, many = memory_of("run", MILLION, 2), memory_of("run", 100 * MILLION, 2)
    yield Goal("G3", "peak memory of 1e8 trials, 2 workers", many.peak, 200.0, unit="MB")
    remark = f"{many} and {few}"
    yield Goal("G3", "peak at 1e8 over 1e6 trials", many.peak / few.peak, 1.2, remark=remark)


def exactness(quick: bool) -> Iterator[Goal]:
    """G4: ends from the bins against the exact order statistics."""
    yield from _against_order(10 * MILLION, range(7))
    if quick or _free_memory() < 3e9:
        say("G4   one output at 1e8 trials: not run (--quick, or too little memory)")
    else:
        yield from _against_order(100 * MILLION, [6])


@functools.cache
def counted(trials: int) -> tuple[Counts, ...]:
    return problem.engine(trials, workers=2).run()


def _against_order(trials: int, outputs: range | list[int]) -> Iterator[Goal]:
    counts = counted(trials)
    found = problem.summaries(counts)
    worst = bound = 0.0
    at = [math.ceil(p * trials) - 1 for p in (0.025, 0.975)]
    for row, k in zip(problem.kept_values(trials, list(outputs)), outputs, strict=True):
        row.partition(at)
        u = found[k].standard_uncertainty
        assert u is not None
        ends = found[k].interval.low, found[k].interval.high
        worst = max(worst, *(abs(end - row[i]) / u for end, i in zip(ends, at, strict=True)))
        bound = max(bound, counts[k].width / u)
    what = f"ends from the bins against the order statistic, {trials:.0e} trials"
    remark = f"{len(list(outputs))} outputs, both ends, the worst"
    yield Goal("G4", what, worst, 1e-4, unit="u", remark=remark)
    yield Goal("G4", f"hard bound, a bin's width ({BINS} bins)", bound, 1.3e-3, unit="u")


def _free_memory() -> float:
    try:
        return float(os.sysconf("SC_AVPHYS_PAGES") * os.sysconf("SC_PAGE_SIZE"))
    except (ValueError, OSError, AttributeError):
        return 0.0


def drawing(quick: bool) -> Iterator[Goal]:
    """G5: uniforms through quantile functions against native draws, and against scipy's ppf."""
    laws = [source.distribution for source in problem.case().sources]
    known = [(law, problem.frozen(law)) for law in laws]
    both = [(law, ice) for law, ice in known if ice is not None]
    rng, blocks = np.random.default_rng(problem.SEED), 16
    room = np.empty(BLOCK)

    def quantiles(which: list) -> None:
        for _ in range(blocks):
            for law in which:
                rng.random(out=room)
                law.quantile(room, out=room)

    def native() -> None:
        for _ in range(blocks):
            for law in laws:
                problem.native(rng, law, BLOCK)

    def scipy_ppf() -> None:
        for _ in range(blocks):
            for _, ice in both:
                ice.ppf(rng.random(BLOCK))

    times = side_by_side(
        {
            "own": lambda: quantiles(laws),
            "native": native,
            "own where scipy has the law": lambda: quantiles([law for law, _ in both]),
            "scipy": scipy_ppf,
        },
        5 if quick else 7,
    )
    say(f"     G5 raw, {blocks} x {BLOCK} trials: {raw(times)}")
    own, by_numpy, own_both, by_scipy = (each.seconds for each in times.values())
    n = blocks * BLOCK
    remark = f"{per_trial(own, n)} against {per_trial(by_numpy, n)} a trial"
    yield Goal("G5", "own quantiles over native draws", own / by_numpy, 1.15, remark=remark)
    remark = f"{len(both)} of {len(laws)} laws, the others scipy lacks; {per_trial(by_scipy, n)}"
    yield Goal("G5", "scipy.stats ppf over own", by_scipy / own_both, 7.0, True, remark=remark)


def digest(counts: tuple[Counts, ...]) -> str:
    """Return one hash over everything counted and summed."""
    found = hashlib.sha256()
    for each in counts:
        for field in dataclasses.fields(each):
            found.update(field.name.encode())
            found.update(np.ascontiguousarray(getattr(each, field.name)).tobytes())
    return found.hexdigest()


def same_for_all(quick: bool) -> Iterator[Goal]:
    """G11: the same to the last bit for any workers and pieces."""
    trials = 4 * BLOCK + 12_345
    pieces = (1_000, 4_096, 8_192, 32_768, 65_536)
    found = {
        digest(problem.engine(trials, workers, piece=piece).run())
        for workers in (1, 2, 3)
        for piece in pieces
    }
    what = f"different digests of {trials} trials, 1 to 3 workers, pieces {pieces}"
    yield Goal("G11", what, len(found), 1, unit="", remark=min(found)[:16])


def two_workers(quick: bool) -> Iterator[Goal]:
    """G13: two workers against one."""
    trials = 4 * MILLION
    before = load_average()
    times = side_by_side(
        {
            "one": lambda: problem.engine(trials, 1).run(),
            "two": lambda: problem.engine(trials, 2).run(),
        },
        5,
    )
    say(
        f"     G13 two processes at once over one: {_machine():.2f} x the wall; 1 is two free cores"
    )
    one, two = times.values()
    say(f"     G13 raw wall: {raw(times, wall=True)}")
    say(f"     G13 raw CPU: {raw(times)}")
    remark = f"load average {before} before, {load_average()} after; {os.cpu_count()} cores"
    ratio = one.wall_seconds / two.wall_seconds
    yield Goal("G13", "wall of one worker over two, 4e6 trials", ratio, 1.7, True, remark=remark)
    yield Goal("G13", "CPU of two workers over one", two.seconds / one.seconds, 1.1)


def _machine() -> float:
    """Return the wall of two processes at once over that of one: what the machine has to give."""

    def at_once(number: int) -> float:
        start = time.perf_counter()
        running = [
            subprocess.Popen(child_of("run", 2 * MILLION), stdout=subprocess.DEVNULL)
            for _ in range(number)
        ]
        for each in running:
            each.wait()
        return time.perf_counter() - start

    walls = [(at_once(2), at_once(1)) for _ in range(3)]
    return statistics.median(two / one for two, one in walls)


def half_widths(quick: bool) -> Iterator[Goal]:
    """H: half-widths without each item, in plain runs of 1e6 trials."""

    def without(case: Case) -> np.ndarray:
        rows = Rows(case, threading.Event())
        return half_widths_without(rows, problem.SEED, problem.PROBABILITY)

    times = side_by_side(
        {
            "plain run": lambda: problem.full_run(MILLION),
            "25 items": lambda: without(problem.case_by_source()),
            "15 items": lambda: without(problem.case()),
        },
        5,
    )
    say(f"     H raw: {raw(times)}")
    plain, single, columns = (each.seconds for each in times.values())
    what = "half-widths without each of 25 items (every source one), over a plain run"
    yield Goal("H", what, single / plain, 4.0)
    yield Goal("H", "the same for the case's own 15 items (two are columns)", columns / plain)


def prepare(side: str) -> None:
    """Read the case, so that it counts as base."""
    problem.case()


def child(side: str, trials: str, workers: str = "1") -> None:
    """Work in a process of its own, whose memory or time is then measured."""
    if side == "whole_arrays":
        problem.whole_arrays(int(trials))
    else:
        problem.full_run(int(trials), int(workers))
