"""Which item widens a result most: half-widths without each, and Sobol indices, side by side."""

from __future__ import annotations

import math
import threading
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace

import numpy as np
from scipy import special

from effband.case.model import Case, Item
from effband.case.values import JUDGED
from effband.evidence.tables import FloatArray
from effband.propagate.half_widths import half_widths_without
from effband.propagate.rows import Rows
from effband.propagate.sobol import Indices
from effband.propagate.sobol import indices as find_indices
from effband.propagate.summary import Summary

INDEX_PROBABILITY = 0.95
MOST = 4  # workers for half-widths, each with arrays of its own


@dataclass(frozen=True)
class Index:
    """An index and its 95 % interval."""

    value: float
    low: float
    high: float


@dataclass(frozen=True)
class PartShare:
    """First-order index of one part of an item."""

    name: str
    evidence: str
    first_order: float


@dataclass(frozen=True)
class Line:
    """One line of a ranking.

    Attributes
    ----------
    item
        The instrument, input or column.
    first_order, total
        Its indices; None where the result has no variance.
    half_width_without
        The half-width of the band, SI, with the item held, averaged over stratified draws.
    simulation_uncertainty
        One standard uncertainty of that, SI.
    parts
        First-order indices of its parts, where it has more than one.
    """

    item: Item
    first_order: Index | None
    total: Index | None
    half_width_without: float
    simulation_uncertainty: float
    parts: tuple[PartShare, ...]


@dataclass(frozen=True)
class Ranking:
    """The items that a result depends on, by half-width saved; and its spread by evidence.

    `evidence` holds shares that add up to 1; `by_half_width` is True where they come from
    half-widths saved because the result has no variance. `crosscheck` is the largest difference
    of any index from SALib's, where that was asked for.
    """

    lines: tuple[Line, ...]
    evidence: tuple[tuple[str, float], ...]
    by_half_width: bool
    crosscheck: float | None = None

    @property
    def on_judgement(self) -> float:
        """The share of the spread that rests on guesses and rules of thumb."""
        return math.fsum(share for kind, share in self.evidence if kind in JUDGED)


def rank(
    case: Case,
    seed: int,
    probability: float,
    summaries: Sequence[Summary],
    stop: threading.Event | None = None,
    crosscheck: bool = False,
    workers: int = 1,
) -> tuple[Ranking, ...]:
    """Return the ranking of every output, in the case's order.

    With two workers or more, half-widths and indices are worked out side by side; neither
    depends on the other.

    Raises
    ------
    ComputationRefused
        When a value is not finite in a row of the ranking, or a cross-check fails.
    """
    rows = Rows(case, stop or threading.Event())
    with ThreadPoolExecutor(1) as other:
        halves = other.submit(half_widths_without, rows, seed, probability, min(workers, MOST))
        if workers < 2:
            halves.result()
        indices = find_indices(rows, seed, crosscheck)
        without = halves.result()
    rankings = []
    for k, (output, summary) in enumerate(zip(case.outputs, summaries, strict=True)):
        used = case.program.sources_of[output.step]
        lines = [
            _line(item, i, k, without, indices, summary)
            for i, item in enumerate(rows.items)
            if used & set(item.sources)
        ]
        if not summary.varies:
            lines = []
        lines.sort(key=lambda line: (line.half_width_without, line.item.name))
        ranking = _with_evidence(tuple(lines), summary)
        if indices.difference is not None:
            ranking = replace(ranking, crosscheck=float(indices.difference[k]))
        rankings.append(ranking)
    return tuple(rankings)


def _line(
    item: Item, i: int, k: int, without: FloatArray, indices: Indices, summary: Summary
) -> Line:
    scatter = without[:, i, k]
    first = total = None
    parts: tuple[PartShare, ...] = ()
    if summary.no_variance is None:
        first = _index(indices.first[:, i, k])
        total = _index(indices.total[:, i, k])
        if len(item.parts) > 1:
            parts = tuple(
                PartShare(part.name, part.evidence, float(np.mean(indices.parts[i, p][:, k])))
                for p, part in enumerate(item.parts)
            )
    return Line(
        item,
        first,
        total,
        float(scatter.mean()),
        float(scatter.std(ddof=1)) / math.sqrt(len(scatter)),
        parts,
    )


def _index(values: FloatArray) -> Index:
    n = len(values)
    reach = (
        float(special.stdtrit(n - 1, (1 + INDEX_PROBABILITY) / 2))
        * float(values.std(ddof=1))
        / math.sqrt(n)
    )
    mean = float(values.mean())
    return Index(mean, mean - reach, mean + reach)


def _with_evidence(lines: tuple[Line, ...], summary: Summary) -> Ranking:
    by_half_width = summary.no_variance is not None
    shares: dict[str, float] = {}
    half = summary.interval.half_width
    for line in lines:
        if by_half_width:
            whole = max(half - line.half_width_without, 0.0)
            portions = [(part.evidence, whole / len(line.item.parts)) for part in line.item.parts]
        elif line.parts:
            portions = [(part.evidence, max(part.first_order, 0.0)) for part in line.parts]
        else:
            first = line.first_order.value if line.first_order is not None else 0.0
            portions = [(line.item.parts[0].evidence, max(first, 0.0))]
        for evidence, share in portions:
            shares[evidence] = shares.get(evidence, 0.0) + share
    total = math.fsum(shares.values())
    if total <= 0.0:
        return Ranking(lines, (), by_half_width)
    ordered = sorted(((e, s / total) for e, s in shares.items()), key=lambda x: (-x[1], x[0]))
    return Ranking(lines, tuple(ordered), by_half_width)
