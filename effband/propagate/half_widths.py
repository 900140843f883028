"""Half-width without an item: what a perfect instrument would leave, on average.

All sources of an item are held at one draw, the half-width over the others is taken, and this
is done for `STRATA` stratified draws.
"""

from __future__ import annotations

import math
import threading
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

import numpy as np

from effband.case.model import Case, ErrorSource, Item, Output
from effband.evidence.tables import FloatArray
from effband.propagate import streams
from effband.propagate.rows import Rows

STRATA = 64
OTHERS = 4_096


def half_widths_without(rows: Rows, seed: int, probability: float, workers: int = 1) -> FloatArray:
    """Return half-widths with each item held: shape (strata, items, outputs).

    Workers take strata each; no number depends on them.
    """
    held = [_held(rows, item, seed) for item in rows.items]
    found = np.full((STRATA, len(rows.items), len(rows.case.outputs)), np.nan)
    with ThreadPoolExecutor(workers) as pool:
        done = [
            pool.submit(_fill, rows, seed, probability, held, range(k, STRATA, workers), found)
            for k in range(workers)
        ]
        for each in done:
            each.result()
    return found


def _fill(
    rows: Rows,
    seed: int,
    probability: float,
    held: Sequence[dict[str, FloatArray]],
    strata: range,
    found: FloatArray,
) -> None:
    """Work out some strata, each into its own place of `found`."""
    base, spare = rows.arrays(OTHERS), rows.arrays(OTHERS)
    changed = [rows.changed(base, spare, item.sources) for item in rows.items]
    draws = _Others(seed)
    calls = rows.kernel.bound(base, draws)
    for stratum in strata:
        draws.stratum = stratum
        with np.errstate(all="ignore"):
            for call in calls:
                call()
        for i, without in enumerate(changed):
            for name, values in without.values.items():
                values.fill(held[i][name][stratum])
            found[stratum, i, without.touched] = _half_widths(without.outputs(), probability)


def wideners(
    case: Case,
    output: Output,
    full: float,
    seed: int,
    probability: float,
    stop: threading.Event,
) -> tuple[tuple[Item, float], ...]:
    """Return what widens an output, the widest first, and the half-width without it, SI.

    `full` is its half-width; where it is 0 nothing widens it.
    """
    used = case.program.sources_of[output.step]
    items = tuple(item for item in case.items if used & set(item.sources))
    if not items or not full > 0.0:
        return ()
    rows = Rows(replace(case, outputs=(output,), items=items), stop)
    halves = np.mean(half_widths_without(rows, seed, probability)[:, :, 0], axis=0)
    found = zip(items, map(float, halves), strict=True)
    return tuple(sorted(found, key=lambda each: (each[1], each[0].name)))


class _Others:
    """Draws every source afresh in each stratum."""

    def __init__(self, seed: int) -> None:
        self.seed = seed
        self.stratum = 0

    def __call__(self, source: ErrorSource, out: FloatArray) -> None:
        stream = streams.generator(self.seed, streams.OTHERS, source.name, self.stratum)
        streams.fill_uniform(stream, out)
        source.distribution.quantile(out, out=out)


def _held(rows: Rows, item: Item, seed: int) -> dict[str, FloatArray]:
    """Return the draws at which an item's sources are held, one of each in every stratum.

    An instrument's common sources share a scrambled net, which spreads better; each other
    source has strata of its own. Keys are names, so that no other item, reading or run
    moves them.
    """
    sources = rows.sources
    held: dict[str, FloatArray] = {}
    for part in item.parts:
        names = [name for name in part.sources if name in sources]
        if part.name == "common" and names:
            points = streams.Net(seed, streams.STRATA, item.name, 0, len(names)).next(STRATA)
            for at, name in enumerate(names):
                held[name] = sources[name].distribution.quantile(points[:, at].copy())
        else:
            held.update({name: _in_strata(sources[name], seed) for name in names})
    return held


def _in_strata(source: ErrorSource, seed: int) -> FloatArray:
    stream = streams.generator(seed, streams.STRATA, source.name, 0)
    within = np.empty(STRATA)
    streams.fill_uniform(stream, within)
    # sorting uniforms shuffles without relying on a library's own shuffle
    order = np.argsort(stream.random(STRATA), kind="stable")
    return source.distribution.quantile((order + within) / STRATA)


def _half_widths(outputs: FloatArray, probability: float) -> FloatArray:
    size = outputs.shape[1]
    places, shares = [], []
    for p in ((1 - probability) / 2, (1 + probability) / 2):
        at = p * size - 0.5
        places.append(min(max(math.floor(at), 0), size - 2))
        shares.append(min(max(at - places[-1], 0.0), 1.0))
    ordered = np.partition(outputs, [k + i for k in places for i in (0, 1)], axis=1)
    low, high = (
        ordered[:, k] * (1 - share) + ordered[:, k + 1] * share
        for k, share in zip(places, shares, strict=True)
    )
    half: FloatArray = (high - low) / 2
    return half
