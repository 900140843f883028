"""Do several estimates of one quantity agree? Judged on the difference of every two.

Errors that two estimates share cancel in their difference, so it is sampled, never formed from
two separate bands (metrological compatibility, VIM 2.47, from memory). With m pairs each
interval holds 1 - (1 - probability)/m, so that all together keep the probability.
"""

from __future__ import annotations

import math
import statistics
import threading
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from effband.case.as_written import values_as_written
from effband.case.model import Case, CrossCheck, Leaf, Output, Settings
from effband.case.values import JUDGED
from effband.decide.combining import Combined, Estimate, Run, mixture, weighted
from effband.evidence.tables import FloatArray
from effband.propagate.counting import Counts
from effband.propagate.engine import Engine
from effband.propagate.staircase import Interval, Staircase
from effband.propagate.summaries import summaries as summaries_of
from effband.propagate.summary import Summary

AGREE, DISAGREE, TOO_BLUNT = "agree", "disagree", "too blunt"
BLUNT = 0.25  # of the smaller value: a half-width of the difference beyond it is no test
WIDEST = 12  # doublings of a number's own half-width, in search of what closes a gap
HALVINGS = 60
ROUNDING = 1e-12
LEAST = 1e-6  # of its own value: as near to 0 as a number above 0 is taken
CLOSED = 1e-6  # of a gap: what may be left of it
PACE = math.log(2) / 2  # of the search for a factor that closes a gap
FACTORS = 26  # paces: up to 2^13, which holds the 3600 s of an hour

Values = Callable[[Sequence[int]], list[FloatArray]]


@dataclass(frozen=True)
class PairVerdict:
    """Two members, their difference (first less second) and its interval, SI, and the verdict."""

    first: str
    second: str
    output: Output
    median: float
    interval: Interval
    verdict: str


@dataclass(frozen=True)
class Closing:
    """What alone would close a gap: a number, and the value it would need; SI.

    Attributes
    ----------
    pair
        The members that lie apart.
    leaf, wanted
        The number, and what it would have to be.
    band
        The middle 95 % of its own values.
    limits
        What was said of it at its widest, where that has ends and is all that was said.
    far
        How far that is away from it, in half-widths of its band.
    """

    pair: tuple[str, str]
    leaf: Leaf
    wanted: float
    band: Interval
    limits: Interval | None
    far: float

    @property
    def judged(self) -> bool:
        """Whether the number was guessed, or is a rule of thumb."""
        return self.leaf.evidence in JUDGED

    @property
    def within_band(self) -> bool:
        """Whether the number may well be so, by what was said of it."""
        within = self.limits or self.band
        return within.low <= self.wanted <= within.high


@dataclass(frozen=True)
class ClosingColumn:
    """A reading that would close a gap if it were as many times as large in every run."""

    pair: tuple[str, str]
    name: str
    factor: float
    judged: bool
    far: float


@dataclass(frozen=True)
class Agreement:
    """What is to be said of a cross-check at one place.

    Attributes
    ----------
    check
        Which, and where.
    verdict
        The worst of its pairs: "disagree", then "too blunt", then "agree".
    level
        The probability that the interval of each pair holds.
    estimates, pairs
        Each member by itself, and every two.
    closings
        What would close the gaps: what was guessed first, then the least change for its band.
    combined
        One value, where that was asked for.
    refused
        Why there is none although it was asked for.
    columns
        What would close the gaps if it were wrong in all runs alike.
    """

    check: CrossCheck
    verdict: str
    level: float
    estimates: tuple[Estimate, ...]
    pairs: tuple[PairVerdict, ...]
    closings: tuple[Closing, ...]
    combined: Combined | None
    refused: str
    columns: tuple[ClosingColumn, ...] = ()

    @property
    def disagrees(self) -> bool:
        """Whether two members exclude each other."""
        return self.verdict == DISAGREE


def outputs_of(check: CrossCheck) -> list[Output]:
    """Return what is to be worked out for a cross-check: its members, then its differences."""
    return [*check.values, *(difference for _, _, difference in check.pairs)]


def failing_cross_checks(
    case: Case, settings: Settings, workers: int = 1, stop: threading.Event | None = None
) -> tuple[Agreement, ...]:
    """Return the cross-checks of a case whose members exclude each other.

    They are worked out by themselves, with the trials that `study.run` would draw for them.

    Parameters
    ----------
    case
        As loaded.
    settings
        How the sums are done.
    workers
        Threads; results do not depend on them.
    stop
        Set it, from another thread, to end the work.

    Raises
    ------
    ComputationRefused
        When a value is not finite.
    """
    outputs = tuple(output for check in case.cross_checks for output in outputs_of(check))
    if not outputs:
        return ()

    def engine_of(asked: Case) -> Engine:
        return Engine(
            asked,
            settings.seed,
            settings.trials,
            workers,
            probability=settings.probability,
            stop=stop or threading.Event(),
            sampling=settings.sampling,
        )

    def again(asked: Case) -> tuple[Counts, Summary]:
        (counted,) = engine_of(asked).run()
        (summary,) = summaries_of(asked, (counted,), settings.probability)
        return counted, summary

    compared = replace(case, outputs=outputs)
    engine = engine_of(compared)
    counts = engine.run()
    summaries = summaries_of(compared, counts, settings.probability)
    found, at = [], 0
    for check in case.cross_checks:
        own = slice(at, at + len(outputs_of(check)))
        found.append(
            judge_cross_check(
                check,
                case,
                settings.probability,
                counts[own],
                summaries[own],
                engine.start_of,
                again,
            )
        )
        at = own.stop
    return tuple(agreement for agreement in found if agreement.disagrees)


def judge_cross_check(
    check: CrossCheck,
    case: Case,
    probability: float,
    counts: Sequence[Counts],
    summaries: Sequence[Summary],
    values: Values,
    run: Run,
) -> Agreement:
    """Return what is to be said of one cross-check.

    Parameters
    ----------
    counts, summaries
        Of `outputs_of(check)`, in order.
    values
        Gives the values of steps in the first trials.
    run
        Works out a case with one output.
    """
    nominal = values_as_written(case, [output.step for output in check.values])
    members = [
        Estimate(name, number, summary)
        for name, number, summary in zip(check.members, nominal, summaries, strict=False)
    ]
    level = 1 - (1 - probability) / len(check.pairs)
    at = len(check.values)
    pairs = tuple(
        _pair(members[i], members[k], output, counts[at + n], level)
        for n, (i, k, output) in enumerate(check.pairs)
    )
    verdicts = {pair.verdict for pair in pairs}
    verdict = next(word for word in (DISAGREE, TOO_BLUNT, AGREE) if word in verdicts)
    closings: list[Closing] = []
    columns: list[ClosingColumn] = []
    for pair in pairs:
        if pair.verdict == DISAGREE:
            used = _used(pair, case, values)
            closings += _closings(pair, case, used)
            columns += _columns(pair, case, used)
    combined, refused = None, ""
    if check.combine is not None:
        refused = _why_not(check, verdict, members)
        if not refused:
            combined = (
                mixture(members, counts[:at], probability)
                if check.combine == "mixture"
                else weighted(check, case, members, summaries[at:], run)
            )
    return Agreement(
        check,
        verdict,
        level,
        tuple(members),
        pairs,
        tuple(closings),
        combined,
        refused,
        tuple(columns),
    )


def _pair(a: Estimate, b: Estimate, output: Output, counts: Counts, level: float) -> PairVerdict:
    median, interval = counts.shift, Interval(counts.shift, counts.shift)
    if counts.varies:
        tail = (1 - level) / 2
        staircase = Staircase(counts.total, counts)
        low, median, high = staircase.quantiles([tail, 0.5, 1 - tail])
        interval = Interval(low, high)
    smaller = min(abs(a.nominal), abs(b.nominal))
    rounding = ROUNDING * max(abs(a.nominal), abs(b.nominal))  # of one sum written in two ways
    if interval.low > rounding or interval.high < -rounding:
        verdict = DISAGREE
    else:
        verdict = TOO_BLUNT if interval.half_width > BLUNT * smaller else AGREE
    return PairVerdict(a.name, b.name, output, median, interval, verdict)


# -- what would close a gap -----------------------------------------------------------------------


@dataclass(frozen=True)
class _Used:
    """A number that enters a difference: its step, and its band."""

    leaf: Leaf
    step: int
    band: Interval


def _used(pair: PairVerdict, case: Case, values: Values) -> list[_Used]:
    """Return the numbers given that a difference is made of."""
    needed = set(case.program.needed_for([pair.output.step]))
    leaves = [
        (leaf, step)
        for leaf in case.leaves
        if (step := case.named.get((leaf.name, leaf.run))) in needed and leaf.components
    ]
    drawn = values([step for _, step in leaves if step is not None])
    return [
        _Used(leaf, step, Interval(*(float(x) for x in np.quantile(own, [0.025, 0.975]))))
        for (leaf, step), own in zip(leaves, drawn, strict=True)
        if step is not None
    ]


def _closings(pair: PairVerdict, case: Case, used: Sequence[_Used]) -> list[Closing]:
    """Return each number that alone would close a gap: guesses first, then the least change."""
    laws = {source.name: source.distribution for source in case.sources}
    found = []
    for each in used:
        leaf, band = each.leaf, each.band
        wanted = _wanted(case, pair.output.step, each.step, leaf, band)
        if wanted is not None:
            limits = None
            sources = [name for part in leaf.components for name in part.sources]
            if leaf.instrument is None and len(sources) == 1 and sources[0] in laws:
                ends = laws[sources[0]].support
                limits = Interval(*ends) if all(map(math.isfinite, ends)) else None
            far = abs(wanted - leaf.value) / max(band.half_width, 1e-300)
            found.append(Closing((pair.first, pair.second), leaf, wanted, band, limits, far))
    return sorted(found, key=lambda closing: (not closing.judged, closing.far))


def _columns(pair: PairVerdict, case: Case, used: Sequence[_Used]) -> list[ClosingColumn]:
    """Return each reading that would close a gap if all its runs were wrong by one factor."""
    of: dict[str, list[_Used]] = {}
    for each in used:
        if each.leaf.run is not None:
            of.setdefault(each.leaf.name, []).append(each)
    found = []
    for name, cells in of.items():
        factor = _factor(case, pair.output.step, cells) if len(cells) > 1 else None
        if factor is not None:
            far = statistics.median(
                abs((factor - 1) * cell.leaf.value) / max(cell.band.half_width, 1e-300)
                for cell in cells
            )
            judged = any(cell.leaf.evidence in JUDGED for cell in cells)
            found.append(ClosingColumn((pair.first, pair.second), name, factor, judged, far))
    return found


def _factor(case: Case, difference: int, cells: Sequence[_Used]) -> float | None:
    """Return the factor, nearest to 1, that all readings need for a difference of 0, or None."""

    def at(power: float) -> float:
        instead = {cell.step: cell.leaf.value * math.exp(power) for cell in cells}
        return values_as_written(case, [difference], instead)[0]

    start = at(0.0)
    ends = dict.fromkeys((-1.0, 1.0), start)
    for number in range(FACTORS):
        for side, before in ends.items():
            near, far = side * number * PACE, side * (number + 1) * PACE
            ends[side] = after = at(far)
            if math.isfinite(before) and math.isfinite(after) and before * after <= 0.0:
                root = _root(at, near, far, before)
                if abs(at(root)) <= CLOSED * abs(start):
                    return math.exp(root)
    return None


def _wanted(case: Case, difference: int, step: int, leaf: Leaf, band: Interval) -> float | None:
    """Return the value of a number, nearest to its own, at which a difference is 0, or None.

    A number whose band lies above 0 stays so, and one whose band is that of a share of a whole
    stays one.
    """
    width = 2 * band.half_width
    share = not any(leaf.unit.dimension) and leaf.value > 0.0 and band.high <= 1.0
    least = LEAST * leaf.value if band.low > 0.0 else -math.inf
    most = 1.0 if share else math.inf

    def at(value: float) -> float:
        return values_as_written(case, [difference], {step: value})[0]

    def away(distance: float) -> float:
        return min(max(leaf.value + distance, least), most)

    start = at(leaf.value)
    for double in range(WIDEST):
        found = []
        for side in (-1.0, 1.0):
            near = away(side * width * (2.0 ** (double - 1) if double else 0.0))
            far = away(side * width * 2.0**double)
            before, after = at(near), at(far)
            if math.isfinite(before) and math.isfinite(after) and before * after <= 0.0:
                root = _root(at, near, far, before)
                if abs(at(root)) <= CLOSED * abs(start):  # else it jumps there, as over a pole
                    found.append(root)
        if found:
            return min(found, key=lambda value: abs(value - leaf.value))
    return None


def _root(at: Callable[[float], float], near: float, far: float, before: float) -> float:
    for _ in range(HALVINGS):
        middle = (near + far) / 2
        value = at(middle)
        if value * before > 0.0:
            near, before = middle, value
        else:
            far = middle
    return (near + far) / 2


# -- one value of several -------------------------------------------------------------------------


def _why_not(check: CrossCheck, verdict: str, members: Sequence[Estimate]) -> str:
    if verdict == DISAGREE and not check.anyway:
        return "they disagree: find out which is wrong, or say `anyway: true`"
    if any(not member.summary.standard_uncertainty for member in members):
        return "an estimate has no standard uncertainty to weigh it by"
    return ""
