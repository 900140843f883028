"""Which item widens a result most: half-width without it, and Sobol indices.

*Half-width without*: all sources of an item are held at one draw, the half-width over the
others is taken, and the mean over `STRATA` stratified draws is given. That is what a perfect
instrument would leave, on average, and what a builder can act on.

*Indices* (Sobol; first order after Saltelli et al. 2010, total after Jansen 1999): shares of
the variance, from the same rows for all results at once. Each of `SCRAMBLINGS` independent
scramblings of a Sobol sequence gives one value; their scatter gives an honest interval by
Student's t, which a bootstrap over quasi-random rows does not.
"""

from __future__ import annotations

import math
import threading
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from scipy import special

from effband.case.model import Case, ErrorSource, Item
from effband.evidence.tables import FloatArray
from effband.problems import ComputationRefused
from effband.propagate import streams
from effband.propagate.kernel import Instruction, Kernel, compile_kernel
from effband.propagate.summary import Summary

STRATA = 64
OTHERS = 4_096
SCRAMBLINGS = 16
ROWS = 1_024
AT_ONCE = 4  # scramblings worked out together
INDEX_PROBABILITY = 0.95


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
    half-widths saved because the result has no variance.
    """

    lines: tuple[Line, ...]
    evidence: tuple[tuple[str, float], ...]
    by_half_width: bool


def rank(
    case: Case,
    seed: int,
    probability: float,
    summaries: Sequence[Summary],
    stop: threading.Event | None = None,
) -> tuple[Ranking, ...]:
    """Return the ranking of every output, in the case's order.

    Raises
    ------
    ComputationRefused
        When a value is not finite in a row of the ranking.
    """
    ranker = _Ranker(case, seed, probability, stop or threading.Event())
    without = ranker.half_widths_without()
    indices = ranker.indices()
    rankings = []
    for k, (output, summary) in enumerate(zip(case.outputs, summaries, strict=True)):
        used = case.program.sources_of[output.step]
        lines = [
            _line(item, i, k, without, indices, summary)
            for i, item in enumerate(ranker.items)
            if used & set(item.sources)
        ]
        if not summary.varies:
            lines = []
        lines.sort(key=lambda line: (line.half_width_without, line.item.name))
        rankings.append(_with_evidence(tuple(lines), summary))
    return tuple(rankings)


def _line(
    item: Item, i: int, k: int, without: FloatArray, indices: _Indices, summary: Summary
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


# -- the work ----------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Indices:
    """Indices of every scrambling: `first` and `total` of shape (scramblings, items, outputs).

    `parts` holds those of (item, part), each of shape (scramblings, outputs).
    """

    first: FloatArray
    total: FloatArray
    parts: dict[tuple[int, int], FloatArray]


class _Ranker:
    """Works out rows with one item changed, doing again only what depends on it."""

    def __init__(self, case: Case, seed: int, probability: float, stop: threading.Event) -> None:
        self.case = case
        self.stop = stop
        self.seed = seed
        self.probability = probability
        by_name = {source.name: source for source in case.sources}
        wanted = [output.step for output in case.outputs]
        self.kernel: Kernel = compile_kernel(case.program, by_name, wanted, reuse=False)
        self.items = case.items
        self.slot_of = {
            step.function.name: step.out
            for step in self.kernel.instructions
            if isinstance(step.function, ErrorSource)
        }
        self.affected: dict[tuple[str, ...], list[Instruction]] = {}

    def _again(self, names: tuple[str, ...]) -> list[Instruction]:
        """Return the instructions that depend on any of the named sources, draws left out."""
        if names not in self.affected:
            wanted = set(names)
            self.affected[names] = [
                step
                for step in self.kernel.instructions
                if step.sources & wanted and not isinstance(step.function, ErrorSource)
            ]
        return self.affected[names]

    def _outputs(self, arrays: Sequence[FloatArray], size: int) -> FloatArray:
        found = np.empty((len(self.case.outputs), size))
        for k in range(len(self.case.outputs)):
            found[k] = self.kernel.values(arrays, k)
        if not np.all(np.isfinite(found)):
            k = int(np.argmin(np.isfinite(found).all(axis=1)))
            raise ComputationRefused(
                f"{self.case.outputs[k].title} is not finite in a row of the ranking",
                "look for a denominator or a logarithm that may reach 0",
            )
        return found

    def _with(
        self,
        base: list[FloatArray],
        spare: list[FloatArray],
        replaced: dict[str, FloatArray],
    ) -> FloatArray:
        """Return the outputs with some sources replaced; the base stays as it is."""
        if self.stop.is_set():
            raise ComputationRefused("stopped", "start again")
        steps = self._again(tuple(replaced))
        view = list(base)
        for name, values in replaced.items():
            if name in self.slot_of:
                view[self.slot_of[name]] = values
        for step in steps:
            view[step.out] = spare[step.out]
        with np.errstate(all="ignore"):
            self.kernel.run(view, only=steps)
        return self._outputs(view, len(base[0]))

    def _arrays(self, size: int) -> list[FloatArray]:
        return list(np.empty((self.kernel.slots, size)))

    # -- half-widths without -------------------------------------------------------------------

    def half_widths_without(self) -> FloatArray:
        """Return half-widths with each item held: shape (strata, items, outputs)."""
        base, spare = self._arrays(OTHERS), self._arrays(OTHERS)
        held = [self._held(item) for item in self.items]
        found = np.full((STRATA, len(self.items), len(self.case.outputs)), np.nan)
        touched = [self._touched(item) for item in self.items]
        for stratum in range(STRATA):

            def draw(source: ErrorSource, out: FloatArray, stratum: int = stratum) -> None:
                stream = streams.generator(self.seed, streams.OTHERS, source.name, stratum)
                streams.fill_uniform(stream, out)
                source.distribution.quantile(out, out=out)

            with np.errstate(all="ignore"):
                self.kernel.run(base, draw)
            for i in range(len(self.items)):
                replaced = {
                    name: np.full(OTHERS, values[stratum]) for name, values in held[i].items()
                }
                outputs = self._with(base, spare, replaced)[touched[i]]
                found[stratum, i, touched[i]] = self._half_widths(outputs)
        return found

    def _touched(self, item: Item) -> list[int]:
        """Return the outputs that depend on an item."""
        return [
            k
            for k, output in enumerate(self.case.outputs)
            if self.case.program.sources_of[output.step] & set(item.sources)
        ]

    def _sources(self) -> dict[str, ErrorSource]:
        return {source.name: source for source in self.kernel.sources}

    def _held(self, item: Item) -> dict[str, FloatArray]:
        """Return the draws at which an item's sources are held, one of each in every stratum.

        An instrument's common sources share a scrambled net, which spreads better; each other
        source has strata of its own. Keys are names, so that no other item, reading or run
        moves them.
        """
        sources = self._sources()
        held: dict[str, FloatArray] = {}
        for part in item.parts:
            names = [name for name in part.sources if name in sources]
            if part.name == "common" and names:
                points = _net(self.seed, streams.STRATA, item.name, 0, len(names), STRATA)
                for at, name in enumerate(names):
                    held[name] = sources[name].distribution.quantile(points[:, at].copy())
            else:
                held.update({name: self._in_strata(sources[name]) for name in names})
        return held

    def _in_strata(self, source: ErrorSource) -> FloatArray:
        stream = streams.generator(self.seed, streams.STRATA, source.name, 0)
        within = np.empty(STRATA)
        streams.fill_uniform(stream, within)
        # sorting uniforms shuffles without relying on a library's own shuffle
        order = np.argsort(stream.random(STRATA), kind="stable")
        return source.distribution.quantile((order + within) / STRATA)

    def _half_widths(self, outputs: FloatArray) -> FloatArray:
        size = outputs.shape[1]
        places, shares = [], []
        for p in ((1 - self.probability) / 2, (1 + self.probability) / 2):
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

    # -- indices ---------------------------------------------------------------------------------

    def indices(self) -> _Indices:
        """Return the indices of every scrambling."""
        first, total = [], []
        parts: dict[tuple[int, int], list[FloatArray]] = {}
        for a, b, swapped, by_part in self._rows():
            s1, st = saltelli_jansen(a, b, swapped)
            first.append(s1)
            total.append(st)
            for key, rows in by_part.items():
                index, _ = saltelli_jansen(a, b, rows[:, None])
                parts.setdefault(key, []).append(index[:, 0])
        return _Indices(
            np.concatenate(first),
            np.concatenate(total),
            {key: np.concatenate(values) for key, values in parts.items()},
        )

    def _rows(
        self,
    ) -> Iterator[tuple[FloatArray, FloatArray, FloatArray, dict[tuple[int, int], FloatArray]]]:
        """Yield outputs of rows A, B, A with each item's columns of B, and with each part's.

        Shapes: (scramblings, rows, outputs), the same, (scramblings, items, rows, outputs),
        and (scramblings, rows, outputs) by (item, part).
        """
        size = AT_ONCE * ROWS
        base, spare, other = (self._arrays(size) for _ in range(3))
        n_outputs = len(self.case.outputs)

        def shaped(outputs: FloatArray) -> FloatArray:
            return outputs.reshape(n_outputs, AT_ONCE, ROWS).transpose(1, 2, 0)

        for start in range(0, SCRAMBLINGS, AT_ONCE):
            columns = 2 * max(1, len(self.slot_of))
            points = [
                _net(self.seed, streams.SCRAMBLING, "", start + r, columns, ROWS)
                for r in range(AT_ONCE)
            ]
            a_values, b_values = self._values_at(np.concatenate(points))
            a = self._all(base, a_values)
            b = self._all(other, b_values)
            swapped = np.empty((AT_ONCE, len(self.items), ROWS, n_outputs))
            by_part = {}
            for i, item in enumerate(self.items):
                swap = {name: b_values[name] for name in item.sources if name in b_values}
                swapped[:, i] = shaped(self._with(base, spare, swap))
                if len(item.parts) > 1:
                    for p, part in enumerate(item.parts):
                        swap = {n: b_values[n] for n in part.sources if n in b_values}
                        by_part[i, p] = shaped(self._with(base, spare, swap))
            yield shaped(a), shaped(b), swapped, by_part

    def _all(self, arrays: list[FloatArray], values: dict[str, FloatArray]) -> FloatArray:
        def draw(source: ErrorSource, out: FloatArray) -> None:
            np.copyto(out, values[source.name])

        with np.errstate(all="ignore"):
            self.kernel.run(arrays, draw)
        return self._outputs(arrays, len(arrays[0]))

    def _values_at(self, points: FloatArray) -> tuple[dict[str, FloatArray], dict[str, FloatArray]]:
        """Return the sources' values in A and in B, columns in the order of their names."""
        sources = sorted(self._sources().values(), key=lambda source: source.name)
        n = len(sources)
        a, b = {}, {}
        for at, source in enumerate(sources):
            a[source.name] = source.distribution.quantile(points[:, at].copy())
            b[source.name] = source.distribution.quantile(points[:, n + at].copy())
        return a, b


def _net(
    seed: int, purpose: int, name: str, scrambling: int, columns: int, rows: int
) -> FloatArray:
    """Return one scrambling of a Sobol net in the open unit cube, shape (rows, columns)."""
    from scipy.stats import qmc  # half a second to import: only where it is needed

    if columns > qmc.Sobol.MAXDIM:
        most = qmc.Sobol.MAXDIM // 2
        raise ComputationRefused(f"more than {most} error sources", "split the case in several")
    stream = streams.generator(seed, purpose, name, scrambling)
    sobol = qmc.Sobol(columns, scramble=True, rng=stream)
    half_a_cell = 2.0 ** -(sobol.bits + 1)  # a point may be exactly 0
    points: FloatArray = sobol.random(rows) + half_a_cell
    return points


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
    variance = np.concatenate([a, b], axis=-2).var(axis=-2)[..., None, :]
    constant = variance <= 0.0
    variance = np.where(constant, 1.0, variance)
    difference = swapped - a[..., None, :, :]
    first = (b[..., None, :, :] * difference).mean(axis=-2) / variance
    total = 0.5 * (difference**2).mean(axis=-2) / variance
    return np.where(constant, 0.0, first), np.where(constant, 0.0, total)
