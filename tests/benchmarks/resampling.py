"""Sobol indices with resampled intervals, all of them by one matrix product.

For comparison only: effband takes its intervals from independent scramblings, not from
resampling. The estimators are those of `effband.propagate.sobol.saltelli_jansen` (Saltelli et
al. 2010 table 2 (b), Jansen 1999); second order after Saltelli 2002, Comput. Phys. Commun. 145,
280 (from memory). The resamples are those of SALib: `default_rng(seed).integers(N, size=(N, R))`.
Every mean over a resample is a sum of row values times how often each row was taken, so all
indices of all outputs come from one product of these multiplicities with a table of row values.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations
from statistics import NormalDist

import numpy as np

AT_ONCE = 64  # resamples whose multiplicities are kept as floating-point numbers
Z_975 = NormalDist().inv_cdf(0.975)
ROWS_DRAWN = 512  # rows of random numbers at a time, in the order of one whole draw


@dataclass(frozen=True)
class Resampled:
    """Indices and half-widths, shape (inputs, outputs); second order (pairs, outputs) or None.

    Pairs are in the order of `itertools.combinations`.
    """

    first: np.ndarray
    first_half: np.ndarray
    total: np.ndarray
    total_half: np.ndarray
    second: np.ndarray | None = None
    second_half: np.ndarray | None = None


def resampled(
    y: np.ndarray, inputs: int, resamples: int, seed: int, second_order: bool = False
) -> Resampled:
    """Return the indices of outputs.

    Parameters
    ----------
    y
        Outputs in the order of SALib's rows, shape (rows * blocks, outputs): a block is A, A
        with each column of B, (B with each column of A,) B.
    inputs, resamples, seed
        How many inputs and resamples; the seed of the resamples, at least 1.
    second_order
        Whether the rows hold the second set of swapped columns.
    """
    blocks = (2 if second_order else 1) * inputs + 2
    rows, outputs = len(y) // blocks, y.shape[1]
    times = _times_taken(rows, resamples, seed)  # the same for all outputs
    table = np.empty((_columns(inputs, second_order), rows))
    weights = np.empty((min(AT_ONCE, resamples), rows))
    means = np.empty((resamples, len(table)))
    found: list[list[np.ndarray]] = []
    for k in range(outputs):
        _fill(table, y[:, k].reshape(rows, blocks), inputs, second_order)
        plain = _indices(table.mean(axis=1)[None], inputs, second_order)
        for start in range(0, resamples, AT_ONCE):
            part = times[start : start + AT_ONCE]
            np.copyto(weights[: len(part)], part)
            np.matmul(weights[: len(part)], table.T, out=means[start : start + len(part)])
        scattered = _indices(means / rows, inputs, second_order)
        half = [Z_975 * each.std(axis=0, ddof=1) for each in scattered]
        found.append(
            [part for pair in zip((p[0] for p in plain), half, strict=True) for part in pair]
        )
    return Resampled(*(np.stack(each, axis=1) for each in zip(*found, strict=True)))


def _columns(inputs: int, second_order: bool) -> int:
    return 2 + 2 * inputs + (inputs * (inputs - 1) // 2 if second_order else 0)


def _fill(table: np.ndarray, y: np.ndarray, inputs: int, second_order: bool) -> None:
    """Write A+B, A^2+B^2, B(AB-A), (A-AB)^2 and BA_j AB_k - AB of one output's rows."""
    y = (y - y.mean()) / y.std()
    a, b = np.ascontiguousarray(y[:, 0]), np.ascontiguousarray(y[:, -1])
    swapped = np.ascontiguousarray(y[:, 1 : inputs + 1].T)
    np.add(a, b, out=table[0])
    table[1] = a * a + b * b
    difference = swapped - a
    np.multiply(b, difference, out=table[2 : 2 + inputs])
    np.multiply(difference, difference, out=table[2 + inputs : 2 + 2 * inputs])
    if second_order:
        back = np.ascontiguousarray(y[:, inputs + 1 : -1].T)
        product, at = a * b, 2 + 2 * inputs
        for j in range(inputs - 1):
            end = at + inputs - 1 - j
            np.multiply(back[j], swapped[j + 1 :], out=table[at:end])
            table[at:end] -= product
            at = end


def _indices(means: np.ndarray, inputs: int, second_order: bool) -> list[np.ndarray]:
    """Turn means of row values, shape (resamples, columns), into indices."""
    variance = means[:, 1:2] / 2 - (means[:, 0:1] / 2) ** 2
    first = means[:, 2 : 2 + inputs] / variance
    total = 0.5 * means[:, 2 + inputs : 2 + 2 * inputs] / variance
    if not second_order:
        return [first, total]
    j, k = np.array(list(combinations(range(inputs), 2))).T
    pairs = means[:, 2 + 2 * inputs :] / variance - first[:, j] - first[:, k]
    return [first, total, pairs]


def _times_taken(rows: int, resamples: int, seed: int) -> np.ndarray:
    """Return how often each resample takes each row, shape (resamples, rows), in little memory."""
    kind = np.uint16 if rows <= 2**16 else np.uint32
    rng, taken = np.random.default_rng(seed), np.empty((resamples, rows), dtype=kind)
    for start in range(0, rows, ROWS_DRAWN):
        end = min(start + ROWS_DRAWN, rows)
        taken[:, start:end] = rng.integers(rows, size=(end - start, resamples)).T
    times = np.empty((resamples, rows), dtype=np.uint8)
    for row, out in zip(taken, times, strict=True):
        counts = np.bincount(row, minlength=rows)
        assert counts.max() < 256
        out[:] = counts
    return times


def rows_of(points: np.ndarray, inputs: int, second_order: bool = False) -> np.ndarray:
    """Return SALib's rows from Sobol points of twice the inputs, in one array of blocks."""
    a, b = points[:, :inputs], points[:, inputs:]
    blocks = (2 if second_order else 1) * inputs + 2
    rows = np.empty((len(points), blocks, inputs))
    rows[:, : inputs + 1] = a[:, None]
    rows[:, inputs + 1 :] = b[:, None]
    each = np.arange(inputs)
    rows[:, 1 + each, each] = b
    if second_order:
        rows[:, 1 + inputs + each, each] = a
    return rows.reshape(-1, inputs)
