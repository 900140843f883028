"""Goals of the shares of the variance, against SALib."""

from __future__ import annotations

import functools
import importlib
import tempfile
from collections.abc import Iterator
from itertools import combinations
from pathlib import Path

import numpy as np
import problem
from clock import memory_of, raw, side_by_side
from goals import Goal, say
from resampling import Resampled, resampled, rows_of

from effband.propagate.sobol import saltelli_jansen

SEED = 7  # SALib takes 0 for no seed at all
OWN = "the vectorised resampling is the benchmark's own"


@functools.cache
def names() -> tuple[str, ...]:
    return tuple(source.name for source in problem.case().sources)


def salib_problem() -> dict:
    d = len(names())
    return {"num_vars": d, "names": list(names()), "bounds": [[0.0, 1.0]] * d}


@functools.cache
def outputs(rows: int, second_order: bool) -> np.ndarray:
    """Return all outputs in the order of SALib's rows, shape (rows * blocks, outputs)."""
    from scipy.stats import qmc

    d = len(names())
    points = qmc.Sobol(2 * d, scramble=True, rng=SEED).random(rows) + 2.0**-31
    laws = {source.name: source.distribution for source in problem.case().sources}
    a, b = (
        {n: laws[n].quantile(half[:, i].copy()) for i, n in enumerate(names())}
        for half in (points[:, :d], points[:, d:])
    )
    values = [a, *({**a, name: b[name]} for name in names())]
    if second_order:
        values += [{**b, name: a[name]} for name in names()]
    blocks = [np.stack(problem.by_hand(each)) for each in [*values, b]]
    found = np.stack(blocks)  # (blocks, outputs, rows)
    return np.ascontiguousarray(found.transpose(2, 0, 1)).reshape(-1, found.shape[1])


def by_salib(y: np.ndarray, resamples: int, second_order: bool) -> dict[str, np.ndarray]:
    from SALib.analyze import sobol

    return sobol.analyze(
        salib_problem(), y, second_order, num_resamples=resamples, seed=SEED, print_to_console=False
    )


def difference(theirs: dict[str, np.ndarray], ours: Resampled) -> float:
    """Return the largest difference of any index or half-width of the first output."""
    pairs = [
        (theirs["S1"], ours.first),
        (theirs["S1_conf"], ours.first_half),
        (theirs["ST"], ours.total),
        (theirs["ST_conf"], ours.total_half),
    ]
    if ours.second is not None and ours.second_half is not None:
        j, k = np.array(list(combinations(range(len(names())), 2))).T
        pairs += [(theirs["S2"][j, k], ours.second), (theirs["S2_conf"][j, k], ours.second_half)]
    return max(float(np.max(np.abs(a - b[:, 0]))) for a, b in pairs)


def against_salib(quick: bool) -> Iterator[Goal]:
    """G6: first and total indices with 1000 resamples, one output."""
    rows, resamples = (2**12 if quick else 2**14), 1000
    y = outputs(rows, False)[:, 6:7]
    d = len(names())
    times = side_by_side(
        {
            "SALib": lambda: by_salib(y[:, 0], resamples, False),
            "own": lambda: resampled(y, d, resamples, SEED),
        },
        3 if quick else 5,
        warm=False,
    )
    say(f"     G6 raw, N = {rows}: {raw(times)}")
    ratio = times["SALib"].seconds / times["own"].seconds
    what = f"SALib over own, S1 and ST, {resamples} resamples, N = {rows}, {d} inputs"
    limit, stretch = (None, None) if quick else (80.0, 150.0)
    yield Goal("G6", what, ratio, limit, True, stretch=stretch, remark=OWN)
    apart = difference(by_salib(y[:, 0], 100, False), resampled(y, d, 100, SEED))
    if not quick:
        apart = difference(by_salib(y[:, 0], resamples, False), resampled(y, d, resamples, SEED))
    yield Goal("G6", "largest difference of any value or half-width", apart, 1e-12, unit="")
    yield from _indices_alone(y, rows)


def _indices_alone(y: np.ndarray, rows: int) -> Iterator[Goal]:
    whole = y.reshape(rows, -1, 1)
    a, b = whole[:, 0], whole[:, -1]
    swapped = np.ascontiguousarray(whole[:, 1:-1].transpose(1, 0, 2))
    times = side_by_side(
        {
            "SALib": lambda: by_salib(y[:, 0], 2, False),
            "own": lambda: saltelli_jansen(a, b, swapped),
        },
        5,
    )
    theirs, ours = by_salib(y[:, 0], 2, False), saltelli_jansen(a, b, swapped)
    apart = max(
        float(np.max(np.abs(theirs[n] - o[:, 0]))) for n, o in zip(("S1", "ST"), ours, strict=True)
    )
    remark = f"largest difference {apart:.1e}; {raw(times)}"
    ratio = times["SALib"].seconds / times["own"].seconds
    yield Goal("G6", "effband's indices alone against SALib with 2 resamples", ratio, remark=remark)


def second_order(quick: bool) -> Iterator[Goal]:
    """G7: with the second order, one output and seven at once."""
    rows, resamples = (2**10 if quick else 2**12), 100
    y, d = outputs(rows, True), len(names())
    turn = iter(range(1000))
    times = side_by_side(
        {
            # another output each time: one call of SALib takes one output
            "SALib": lambda: by_salib(y[:, next(turn) % 7], resamples, True),
            "own, one": lambda: resampled(y[:, :1], d, resamples, SEED, True),
            "own, seven": lambda: resampled(y, d, resamples, SEED, True),
        },
        5,
        warm=not quick,
    )
    say(f"     G7 raw, N = {rows}: {raw(times)}")
    theirs, one, seven = (each.seconds for each in times.values())
    what = f"SALib over own, with S2, {resamples} resamples, N = {rows}"
    limits = (None, None) if quick else (200.0, 300.0)
    yield Goal("G7", f"{what}, one output", theirs / one, limits[0], True, remark=OWN)
    remark = "SALib: seven times its median for one output"
    yield Goal("G7", f"{what}, 7 outputs", 7 * theirs / seven, limits[1], True, remark=remark)
    apart = difference(by_salib(y[:, 0], resamples, True), resampled(y, d, resamples, SEED, True))
    yield Goal("G7", "largest difference of any value or half-width", apart, 1e-12, unit="")


def memory(quick: bool) -> Iterator[Goal]:
    """G8: growth of memory in G6."""
    rows = 2**12 if quick else 2**14
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "y.npy"
        np.save(file, outputs(rows, False)[:, 6:7])
        theirs = memory_of("salib", file)
        ours = memory_of("resampled", file)
    remark = f"growth {ours.growth:.0f} against {theirs.growth:.0f} MB, N = {rows}; {OWN}"
    limit = None if quick else 0.1
    yield Goal(
        "G8",
        "growth of memory over SALib's in G6",
        ours.growth / theirs.growth,
        limit,
        remark=remark,
    )


def prepare(side: str) -> None:
    """Import what a side needs, so that its memory counts as base."""
    for name in ("scipy.stats", "SALib.analyze.sobol"):
        importlib.import_module(name)


def child(side: str, file: str) -> None:
    y = np.load(file)
    if side == "salib":
        by_salib(y[:, 0], 1000, False)
    else:
        resampled(y, len(names()), 1000, SEED)


def rows(quick: bool) -> Iterator[Goal]:
    """G9: the rows themselves."""
    from SALib.sample import sobol
    from scipy.stats import qmc

    d = len(names())
    for n, second in ((2**12, True), (2**12 if quick else 2**14, False)):

        def theirs(n: int = n, second: bool = second) -> np.ndarray:
            return sobol.sample(salib_problem(), n, calc_second_order=second, seed=SEED)

        def ours(n: int = n, second: bool = second) -> np.ndarray:
            points = qmc.Sobol(2 * d, scramble=True, seed=SEED).random(n)
            return rows_of(points, d, second)

        same = np.array_equal(theirs(), ours())
        times = side_by_side({"SALib": theirs, "own": ours}, 5, warm=False)
        what = f"SALib's sample over own, N = {n}{', with S2' if second else ''}"
        ratio = times["SALib"].seconds / times["own"].seconds if same else 0.0
        remark = f"rows {'identical' if same else 'DIFFER'}; {raw(times)}"
        yield Goal("G9", what, ratio, 8.0, at_least=True, remark=remark)
