"""Half-width without an item: what a perfect instrument would leave, on average.

All sources of an item are held at one draw, the half-width over the others is taken, and this
is done for `STRATA` stratified draws.
"""

from __future__ import annotations

import math

import numpy as np

from effband.case.model import ErrorSource, Item
from effband.evidence.tables import FloatArray
from effband.propagate import streams
from effband.propagate.rows import Rows, net

STRATA = 64
OTHERS = 4_096


def half_widths_without(rows: Rows, seed: int, probability: float) -> FloatArray:
    """Return half-widths with each item held: shape (strata, items, outputs)."""
    base, spare = rows.arrays(OTHERS), rows.arrays(OTHERS)
    held = [_held(rows, item, seed) for item in rows.items]
    found = np.full((STRATA, len(rows.items), len(rows.case.outputs)), np.nan)
    touched = [rows.touched(item) for item in rows.items]
    for stratum in range(STRATA):

        def draw(source: ErrorSource, out: FloatArray, stratum: int = stratum) -> None:
            stream = streams.generator(seed, streams.OTHERS, source.name, stratum)
            streams.fill_uniform(stream, out)
            source.distribution.quantile(out, out=out)

        with np.errstate(all="ignore"):
            rows.kernel.run(base, draw)
        for i in range(len(rows.items)):
            replaced = {name: np.full(OTHERS, values[stratum]) for name, values in held[i].items()}
            outputs = rows.with_replaced(base, spare, replaced)[touched[i]]
            found[stratum, i, touched[i]] = _half_widths(outputs, probability)
    return found


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
            points = net(seed, streams.STRATA, item.name, 0, len(names), STRATA)
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
