"""Sobol indices: shares of the variance, with honest intervals.

First order after Saltelli et al. 2010, total after Jansen 1999, from the same rows for all
results at once. Each of `SCRAMBLINGS` independent scramblings of a Sobol sequence gives one
value; their scatter gives an interval by Student's t, which a bootstrap over quasi-random rows
does not.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from effband.case.model import ErrorSource
from effband.evidence.tables import FloatArray
from effband.propagate import streams
from effband.propagate.crosscheck import difference_from_salib
from effband.propagate.rows import Changed, Rows

SCRAMBLINGS = 16
ROWS = 1_024
AT_ONCE = 4  # scramblings worked out together


@dataclass(frozen=True)
class Indices:
    """Indices of every scrambling: `first` and `total` of shape (scramblings, items, outputs).

    `parts` holds those of (item, part), each of shape (scramblings, outputs); `difference` the
    largest difference from a second opinion for each output, where one was asked for.
    """

    first: FloatArray
    total: FloatArray
    parts: dict[tuple[int, int], FloatArray]
    difference: FloatArray | None


def indices(rows: Rows, seed: int, crosscheck: bool = False) -> Indices:
    """Return the indices of every scrambling.

    Raises
    ------
    ComputationRefused
        When a value is not finite, or a cross-check fails.
    """
    first, total = [], []
    parts: dict[tuple[int, int], list[FloatArray]] = {}
    difference = np.zeros(len(rows.case.outputs)) if crosscheck else None

    def found(a: FloatArray, b: FloatArray, swapped: FloatArray) -> tuple[FloatArray, FloatArray]:
        both = saltelli_jansen(a, b, swapped)
        if difference is not None:
            apart = difference_from_salib(a, b, swapped, *both)
            np.maximum(difference, apart, out=difference)
        return both

    for a, b, swapped, by_part in _each_row_set(rows, seed):
        s1, st = found(a, b, swapped)
        first.append(s1)
        total.append(st)
        for key, changed in by_part.items():
            index, _ = found(a, b, changed[:, None])
            parts.setdefault(key, []).append(index[:, 0])
    return Indices(
        np.concatenate(first),
        np.concatenate(total),
        {key: np.concatenate(values) for key, values in parts.items()},
        difference,
    )


def _each_row_set(
    rows: Rows, seed: int
) -> Iterator[tuple[FloatArray, FloatArray, FloatArray, dict[tuple[int, int], FloatArray]]]:
    """Yield outputs of rows A, B, A with each item's columns of B, and with each part's.

    Shapes: (scramblings, rows, outputs), the same, (scramblings, items, rows, outputs),
    and (scramblings, rows, outputs) by (item, part).
    """
    size = AT_ONCE * ROWS
    base, spare, other = (rows.arrays(size) for _ in range(3))
    a_values, b_values = _Given(), _Given()
    in_a, in_b = rows.kernel.bound(base, a_values), rows.kernel.bound(other, b_values)
    items = [rows.changed(base, spare, item.sources) for item in rows.items]
    parts = {
        (i, p): rows.changed(base, spare, part.sources)
        for i, item in enumerate(rows.items)
        if len(item.parts) > 1
        for p, part in enumerate(item.parts)
    }
    everything = range(len(rows.case.outputs))

    def shaped(outputs: FloatArray) -> FloatArray:
        return outputs.reshape(len(outputs), AT_ONCE, ROWS).transpose(1, 2, 0)

    def swapped(change: Changed, a: FloatArray) -> FloatArray:
        for name, values in change.values.items():
            np.copyto(values, b_values.of[name])
        found = a.copy()
        found[..., change.touched] = shaped(change.outputs())
        return found

    for start in range(0, SCRAMBLINGS, AT_ONCE):
        columns = 2 * max(1, len(rows.sources))
        points = [
            streams.Net(seed, streams.SCRAMBLING, "", start + r, columns).next(ROWS)
            for r in range(AT_ONCE)
        ]
        a_values.of, b_values.of = _values_at(rows, np.concatenate(points))
        with np.errstate(all="ignore"):
            for call in (*in_a, *in_b):
                call()
        a, b = (shaped(rows.outputs(arrays, everything)) for arrays in (base, other))
        by_item = (
            np.stack([swapped(change, a) for change in items], axis=1)
            if items
            else a[:, None][:, :0]
        )
        yield a, b, by_item, {key: swapped(change, a) for key, change in parts.items()}


class _Given:
    """Fills in values that are given for every source."""

    def __init__(self) -> None:
        self.of: dict[str, FloatArray] = {}

    def __call__(self, source: ErrorSource, out: FloatArray) -> None:
        np.copyto(out, self.of[source.name])


def _values_at(
    rows: Rows, points: FloatArray
) -> tuple[dict[str, FloatArray], dict[str, FloatArray]]:
    """Return the sources' values in A and in B, columns in the order of their names."""
    sources = sorted(rows.sources.values(), key=lambda source: source.name)
    n = len(sources)
    a, b = {}, {}
    for at, source in enumerate(sources):
        a[source.name] = source.distribution.quantile(points[:, at].copy())
        b[source.name] = source.distribution.quantile(points[:, n + at].copy())
    return a, b


def saltelli_jansen(
    a: FloatArray, b: FloatArray, swapped: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return first-order and total indices from rows A, B and A with one item's columns of B.

    Parameters
    ----------
    a, b
        Outputs of the two row sets, shape (..., rows, outputs).
    swapped
        Outputs with each item swapped, shape (..., items, rows, outputs).

    Returns
    -------
    first, total
        Shape (..., items, outputs); 0 for an output that does not vary.

    Notes
    -----
    First order: mean(B (AB - A)) / var, Saltelli et al. 2010, Comput. Phys. Commun. 181, table
    2 (b). Total: mean((A - AB)^2) / (2 var), Jansen 1999, same table (f). Values are centred
    on the mean of all rows, which changes nothing in expectation and steadies small indices.
    """
    items = swapped.shape[-3]
    everything = a.sum(axis=-2) + b.sum(axis=-2) + swapped.sum(axis=(-3, -2))
    centre = (everything / (a.shape[-2] * (items + 2)))[..., None, :]
    a, b = a - centre, b - centre
    swapped = swapped - centre[..., None, :, :]
    # a power of two near the largest value, so that no square leaves the range of numbers
    largest = np.maximum(np.abs(a).max(axis=-2), np.abs(b).max(axis=-2))[..., None, :]
    size = np.ldexp(1.0, -np.frexp(largest)[1])
    a, b, swapped = a * size, b * size, swapped * size[..., None, :, :]
    variance = np.concatenate([a, b], axis=-2).var(axis=-2)[..., None, :]
    constant = variance <= 0.0
    variance = np.where(constant, 1.0, variance)
    difference = swapped - a[..., None, :, :]
    first = (b[..., None, :, :] * difference).mean(axis=-2) / variance
    total = 0.5 * (difference**2).mean(axis=-2) / variance
    return np.where(constant, 0.0, first), np.where(constant, 0.0, total)
