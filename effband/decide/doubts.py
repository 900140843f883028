"""Mistakes that only the worked-out bands show."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from effband.case.formula import Binary, every_part, names_in
from effband.case.model import Case, Output
from effband.case.values import JUDGED
from effband.decide.bench import Bench, shown
from effband.evidence.tables import FloatArray
from effband.propagate.domains import TrialsOf
from effband.propagate.ranking import Line, PartShare, Ranking
from effband.propagate.summary import Summary
from effband.units import parse_unit

SHARE_OF_STEP = 0.3  # of a result's variance, from which a display's last digit dominates
SHORTEST = 0.025  # half the middle two thirds of a time over its middle: a run too short


@dataclass(frozen=True)
class Judged:
    """A result with what was worked out of it, SI."""

    output: Output
    summary: Summary
    ranking: Ranking


Doubt = tuple[str, str]


def doubts_in_numbers(judged: Sequence[Judged]) -> Iterator[Doubt]:
    """Yield what is doubtful about worked-out bands, and what to do."""
    yield from _hand_values(judged)
    yield from _last_digits(judged)


def doubts_in_trials(case: Case, trials_of: TrialsOf) -> Iterator[Doubt]:
    """Yield what trials show of the times and balances of a case."""
    bench = Bench(case)
    times, balances = _times(bench), _balances(bench)
    steps = [*times.values(), *(step for _, parts in balances for step, _ in parts)]
    values = iter(trials_of(steps))
    yield from _short_runs(case, {key: next(values) for key in times})
    residuals = [
        (run, _residual([(next(values), sign) for _, sign in parts])) for run, parts in balances
    ]
    yield from _unbalanced([(run, rest) for run, rest in residuals if rest is not None])


# -- by hand, and by the display -------------------------------------------------------------------


def _hand_values(judged: Sequence[Judged]) -> Iterator[Doubt]:
    of: dict[str, list[Judged]] = defaultdict(list)
    for each in judged:
        of[each.output.target.name].append(each)
    for name, every in of.items():
        grouped = {run for b in every if b.output.group for run in b.output.group.members}
        bands = [b for b in every if b.output.group or b.output.run not in grouped]
        target = bands[0].output.target
        hand = target.hand_value
        if hand is None or any(
            b.summary.interval.low <= hand <= b.summary.interval.high for b in bands
        ):
            continue
        nearest = min(
            bands,
            key=lambda b: max(b.summary.interval.low - hand, hand - b.summary.interval.high),
        )
        unit, band = target.unit.text, nearest.summary.interval
        where = f" ({nearest.output.where})" if nearest.output.where else ""
        ends = f"{shown(band.low, unit)} to {shown(band.high, unit)}"
        what = f"{name}: your `hand_value` is {shown(hand, unit)}, outside the band {ends}{where}"
        yield what, "one of the two is wrong: compare formula by formula with `effband check`"


def _last_digits(judged: Sequence[Judged]) -> Iterator[Doubt]:
    found: dict[str, tuple[float, str]] = {}
    for each in judged:
        for line in each.ranking.lines:
            name = line.item.name
            share = _of_digits(line)
            if share > max(SHARE_OF_STEP, _common(line.parts)):
                found[name] = max(found.get(name, (0.0, "")), (share, each.output.title))
    for name, (share, title) in found.items():
        whole = f"{100 * share:.0f} % of the spread of {title}"
        what = f"the last digit of {name} alone makes {whole}"
        yield what, "let more add up before it is read (a longer run), or take a finer display"


def _of_digits(line: Line) -> float:
    """Return the share of the variance that the last digits of a display make."""
    shares = [part.first_order for part in line.parts]
    if not shares and line.first_order is not None:
        shares = [line.first_order.value]
    return sum(
        share
        for part, share in zip(line.item.parts, shares, strict=False)
        if all(source.endswith(".digit") for source in part.sources)
    )


def _common(parts: Sequence[PartShare]) -> float:
    return max((part.first_order for part in parts if part.name == "common"), default=0.0)


# -- times and balances ----------------------------------------------------------------------------


def _times(bench: Bench) -> dict[tuple[str, str | None], int]:
    second = parse_unit("s").dimension
    ends = _ends(bench, {leaf.name for leaf in bench.leaves_of(second)})
    found = {}
    for leaf in bench.leaves_of(second):
        step = bench.step(leaf.name, leaf.run)
        judged = leaf.instrument is None and leaf.evidence in JUDGED
        timed = leaf.value > 0.0 and not judged
        apart = leaf.name not in ends and leaf.components and bench.used(leaf.name)
        if step is not None and timed and apart:
            found[leaf.name, leaf.run] = step
    return found


def _ends(bench: Bench, times: set[str]) -> set[str]:
    """Return the times that are the beginning or end of one, taken from each other."""
    found: set[str] = set()
    for part in (part for tree in bench.trees.values() for part in every_part(tree)):
        if isinstance(part, Binary) and part.operation == "subtract":
            sides = [names_in(side) & times for side in (part.left, part.right)]
            if all(sides):
                found |= sides[0] | sides[1]
    return found


def _short_runs(case: Case, times: dict[tuple[str, str | None], FloatArray]) -> Iterator[Doubt]:
    units = {leaf.name: leaf.unit.text for leaf in case.leaves}
    worth = {(leaf.name, leaf.run): leaf.value for leaf in case.leaves}
    for name in dict.fromkeys(name for name, _ in times):
        runs = {run: values for (known, run), values in times.items() if known == name}
        shares = {run: _spread(v) for run, v in runs.items() if np.median(v)}
        run = max(shares, key=lambda r: shares[r], default=None)
        if not shares or shares[run] <= SHORTEST:
            continue
        value = worth[name, run]
        where = f" in run {run}" if run else ""
        longer = shown(value * shares[run] / 0.01, units[name])
        what = (
            f"{name}{where} is only {shown(value, units[name])}, timed to about "
            f"{100 * shares[run]:.2g} %"
        )
        yield what, f"a run of {longer} timed as well would bring that to 1 %"


def _spread(values: FloatArray) -> float:
    """Return half of the middle two thirds over the middle: a Student t may have no deviation."""
    low, middle, high = np.quantile(values, [0.1587, 0.5, 0.8413])
    return float((high - low) / 2 / abs(middle))


def _balances(bench: Bench) -> list[tuple[str | None, list[tuple[int, int]]]]:
    """Return, for each run, the steps of the balance with their signs."""
    balance = bench.file.balance
    if balance is None:
        return []
    found = []
    parts_of = (*balance.in_, *balance.out, *balance.stored)
    if len({bench.nature(name) for name in parts_of}) > 1:
        return []  # said where the case is read
    changing = any((name, None) not in bench.case.named for name in parts_of)
    for run in (bench.runs if changing else ()) or (None,):
        parts = [
            (bench.step(name, run), sign)
            for names, sign in ((balance.in_, 1), (balance.out, -1), (balance.stored, -1))
            for name in names
        ]
        if all(step is not None for step, _ in parts):
            found.append((run, [(step, sign) for step, sign in parts if step is not None]))
    return found


def _residual(parts: Sequence[tuple[FloatArray, int]]) -> float | None:
    """Return what a balance leaves, as a share of what is put in; None near 0."""
    rest = np.asarray(sum(sign * values for values, sign in parts))
    put_in = np.asarray(sum(values for values, sign in parts if sign > 0))
    low, high = np.quantile(rest, [0.025, 0.975])
    return None if low <= 0.0 <= high else float(np.mean(rest) / abs(np.mean(put_in)))


def _unbalanced(found: Sequence[tuple[str | None, float]]) -> Iterator[Doubt]:
    """Yield one doubt for each way in which runs do not balance, of the worst run."""
    for missing in (True, False):
        runs = [each for each in found if (each[1] > 0.0) == missing]
        if not runs:
            continue
        run, share = max(runs, key=lambda each: abs(each[1]))
        where = f" in run {run}" if run else ""
        where += f" (the worst of {len(runs)})" if len(runs) > 1 else ""
        size = f"{100 * abs(share):.2g} %"
        if missing:
            what = f"balance{where}: {size} of what is put in is not accounted for"
            yield what, "name the loss it is, or look for what was left out"
        else:
            what = f"balance{where}: more comes out and is stored than is put in, by {size} of it"
            yield what, "impossible: an input is missing, or an output is counted twice"
