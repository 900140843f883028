"""Streams: keyed by seed, purpose, name and block; independent; never 0."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from scipy import stats
from workbench import uniforms

from effband.propagate import streams

N = 65_536

# First uniforms of three streams, worked out from the format's description with numpy alone.
# They may only change together with the engine number.
GOLDEN = {
    (1, "tank_volume", 0): [
        0.39248325590116184,
        0.558009803536639,
        0.3561906254288144,
        0.07301514902607398,
    ],
    (1, "tank_volume", 1): [
        0.9657062566049791,
        0.04840454437707353,
        0.4915821920484035,
        0.12572300281868143,
    ],
    (20260514, "receiver_gauge.z1", 0): [
        0.6147784278705587,
        0.5471055171281789,
        0.34993426220851087,
        0.05334592071307975,
    ],
}


def first(seed: int, purpose: int, name: str, block: int, size: int = N) -> np.ndarray:
    found = np.empty(size)
    streams.fill_uniform(streams.generator(seed, purpose, name, block), found)
    return found


@pytest.mark.parametrize("key", GOLDEN, ids=str)
def test_golden_first_uniforms(key: tuple[int, str, int]) -> None:
    seed, name, block = key
    assert first(seed, streams.TRIALS, name, block, 4).tolist() == GOLDEN[key]


@pytest.mark.parametrize("name", ["x", "p_start[full].division", "a" * 40, "probe#2.z1"])
def test_key_is_what_the_format_says(name: str) -> None:
    both = np.concatenate([first(7, streams.TRIALS, name, block) for block in (0, 1)])
    assert np.array_equal(both, uniforms(name, 2 * N, seed=7))


def test_pieces_of_any_size_give_the_same_numbers() -> None:
    whole = first(1, streams.TRIALS, "x", 0)
    stream = streams.generator(1, streams.TRIALS, "x", 0)
    pieces = [np.empty(size) for size in (1, 777, 8192, 5000, N - 13970)]
    for piece in pieces:
        streams.fill_uniform(stream, piece)
    assert np.array_equal(np.concatenate(pieces), whole)


def test_every_part_of_the_key_matters() -> None:
    keys = [(1, 0, "x", 0), (2, 0, "x", 0), (1, 1, "x", 0), (1, 0, "y", 0), (1, 0, "x", 1)]
    starts = {tuple(first(*key, size=4)) for key in keys}
    assert len(starts) == len(keys)
    assert len({streams.TRIALS, streams.OTHERS, streams.STRATA, streams.SCRAMBLING}) == 4


def test_streams_are_uncorrelated() -> None:
    """Largest of m correlations of independent streams: normal, sd 1/sqrt(N) (derived).

    Tolerance 5 sd; of the 1 128 + 48 pairs here one in 1 500 sets of streams would exceed it.
    """
    names = [f"x{i}" for i in range(20)] + ["x", "X", "1x", "x1", "gauge.z1", "gauge.z2"]
    keys = [(1, streams.TRIALS, name, 0) for name in dict.fromkeys(names)]
    keys += [(seed, streams.TRIALS, "x", 0) for seed in range(2, 10)]
    keys += [(1, purpose, "x", 0) for purpose in (1, 2, 3)]
    keys += [(1, streams.TRIALS, "x", block) for block in range(1, 13)]
    assert len(keys) == 48
    rows = np.array([first(*key) for key in keys])
    centred = (rows - 0.5) * math.sqrt(12)
    correlations = centred @ centred.T / N
    pairs = [abs(correlations[i, j]) for i, j in itertools.combinations(range(len(keys)), 2)]
    lagged = np.abs((centred[:, 1:] * centred[:, :-1]).mean(axis=1))
    assert len(pairs) == 1128
    assert max(*pairs, *lagged) < 5 / math.sqrt(N)
    # each is uniform: of 48 p-values the least is above 1e-5 but for one set in 2 000
    assert min(stats.kstest(row, "uniform").pvalue for row in rows) > 1e-5


class OnlyZeros:
    """A generator at its worst: 0 comes once in 2**53."""

    def random(self, out: np.ndarray) -> np.ndarray:
        out[...] = 0.0
        return out


def test_zero_is_impossible() -> None:
    found = np.full(3, np.nan)
    streams.fill_uniform(OnlyZeros(), found)
    assert found.tolist() == [2.0**-54] * 3


def test_least_and_greatest_stay_inside() -> None:
    rows = np.concatenate([first(3, streams.TRIALS, "x", block) for block in range(16)])
    assert 0.0 < rows.min() < 1e-5
    assert 1 - 1e-5 < rows.max() < 1.0
