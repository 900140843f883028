"""Where dots of equally likely outcomes lie: touching, in columns, none upon a limit."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator, Sequence

LARGEST = 40.0  # pixels
SMALLER = 0.98  # from one size that is tried to the next
BELOW, INSIDE, ABOVE = -1, 0, 1  # on which side of the limits an outcome lies

Limits = tuple[float | None, float | None]


def stacked(
    values: Sequence[float],
    sides: Sequence[int],
    limits: Limits,
    middle: float,
    scale: float,
    room: float,
) -> tuple[float, list[tuple[float, int]]]:
    """Return the width of a dot, and for each the middle of its column and its row from 0.

    Dots are as large as the room for the highest column allows. Columns are counted from the
    limit, and each outcome stays on its own side of it.

    Parameters
    ----------
    values, sides
        The outcomes, and on which side of the limits each lies.
    limits
        Lower and upper, None where there is none.
    middle
        Where columns are counted from without limits.
    scale, room
        Pixels of a unit of the values; pixels upwards.
    """
    between = None
    if None not in limits and INSIDE in sides:
        low, high = limits
        assert low is not None
        assert high is not None
        between = high - low
    for wide in _widths(between, scale):
        columns = [
            _column(value, side, limits, middle, wide)
            for value, side in zip(values, sides, strict=True)
        ]
        highest = max(Counter(columns).values())
        if highest * wide * scale <= room or wide * scale * len(values) <= room:
            break
    rows: Counter[float] = Counter()
    found = []
    for column in columns:
        found.append((column, rows[column]))
        rows[column] += 1
    return wide, found


def _widths(between: float | None, scale: float) -> Iterator[float]:
    """Yield widths, falling; where dots lie between two limits, whole parts of that."""
    if between is not None:
        parts = max(1, math.ceil(between * scale / LARGEST))
        while True:
            yield between / parts
            parts += 1
    pixels = LARGEST
    while True:
        yield pixels / scale
        pixels *= SMALLER


def _column(value: float, side: int, limits: Limits, middle: float, wide: float) -> float:
    """Return the middle of the column of an outcome."""
    low, high = limits
    most = None
    if side == INSIDE and low is not None:
        start, upwards = low, True
        most = None if high is None else round((high - low) / wide) - 1
    elif side == INSIDE and high is None:
        return middle + (math.floor((value - middle) / wide) + 0.5) * wide
    else:
        limit, upwards = (low, False) if side == BELOW else (high, side == ABOVE)
        assert limit is not None
        start = limit
    at = math.floor((value - start) / wide)
    at = max(at, 0) if upwards else min(at, -1)
    if most is not None:
        at = min(at, most)
    return start + (at + 0.5) * wide
