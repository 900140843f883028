"""Before the test: how many repeats, how long a run or which instrument reaches a target.

Every step is tried by itself, on the same draws: no combinations. The case's readings are those
expected, or those measured so far; what is worked out is what such readings would give.
"""

from __future__ import annotations

import functools
import math
from collections.abc import Callable, Collection, Iterator
from dataclasses import dataclass, replace

from effband.case.as_written import values_as_written
from effband.case.model import Case, Item, Leaf, Output
from effband.case.resolve import with_longer_runs
from effband.decide.common_draws import CommonDraws, Half, key_of
from effband.decide.cross_checks import Agreement, failing_cross_checks
from effband.decide.moved import moved
from effband.decide.proposals import proposals
from effband.decide.repeats import runs_there, with_endless_repeats, with_repeats
from effband.decide.target import parse_target
from effband.decide.upgraded import refuse_lost_scatter, with_upgrades
from effband.problems import CaseError, ComputationRefused
from effband.propagate.counting import Counts
from effband.propagate.half_widths import wideners
from effband.units import parse_unit

NUMBERS = (1, 2, 3, 4, 5, 6, 8, 10, 20)
MOST_REPEATS = 100
TIMES = (2.0, 3.0, 4.0, 6.0, 8.0, 10.0)
FINEST = 0.1  # to which a longer run is told
UPGRADE, TWICE_AS_GOOD, AS_SOLD = "upgrade", "twice as good", "as sold: "
# What a longer run makes more of. Pressures, voltages and speeds stay what they are.
GROWING = tuple(parse_unit(unit).dimension for unit in ("s", "J", "kg", "m^3"))
AMOUNTS = GROWING[2:]  # of which a vessel holds no more than it does
_TARES = ("tare", "untared arm")

Progress = Callable[[str, int, int], None]


@dataclass(frozen=True)
class Widener:
    """An item, and the half-width left without it, SI."""

    item: Item
    half_width_without: float


@dataclass(frozen=True)
class Repeats:
    """What more runs of the load bring; half-widths in SI units.

    Attributes
    ----------
    there
        How many runs the case has of it, each number once where loads have different ones.
    halves
        Numbers of runs in all, and the half-width with each.
    least
        The least number, up to `MOST_REPEATS`, that reaches the target.
    floor
        The half-width of runs without end.
    limits
        What widens it most there.
    """

    there: tuple[int, ...]
    halves: tuple[tuple[int, float], ...]
    least: int | None
    floor: float
    limits: tuple[Widener, ...]


@dataclass(frozen=True)
class Longer:
    """What a longer run brings; half-widths in SI units.

    Attributes
    ----------
    grown, kept
        The readings that grow with the run, and those that stay as they are.
    subtracted
        Weighings and volumes among the former that are subtracted from each other. Each is taken
        so many times as large, though of one vessel only their difference would be.
    halves
        How many times as long, and the half-width then.
    least
        The least of these, to `FINEST`, that reaches the target.
    refused
        How many times as long it can be at most, to `FINEST`, and what stands in the way of
        more; None where nothing does.
    """

    grown: tuple[str, ...]
    kept: tuple[str, ...]
    subtracted: tuple[str, ...]
    halves: tuple[tuple[float, float], ...]
    least: float | None
    refused: tuple[float, str] | None


@dataclass(frozen=True)
class Better:
    """One thing done better.

    Attributes
    ----------
    name
        An upgrade of the case, or an item.
    way
        `UPGRADE`, `TWICE_AS_GOOD`, or `AS_SOLD` and an entry of the catalogue.
    half_width
        SI; None where it cannot be worked out, for the reason `why_not`.
    """

    name: str
    way: str
    half_width: float | None
    why_not: str = ""


@dataclass(frozen=True)
class Plan:
    """How a target can be reached, in SI units.

    Attributes
    ----------
    case, output
        What was planned for.
    draws
        Seed, trials, probability of every half-width.
    nominal, target, now
        The value as written, the half-width wanted, and that of the case as it is.
    wideners
        What widens it most, the widest first.
    repeats, longer
        None where runs, or their length, change nothing.
    better
        Instruments and other things done better.
    failing
        Cross-checks of the case that disagree.
    """

    case: Case
    output: Output
    draws: CommonDraws
    nominal: float
    target: float
    now: float
    wideners: tuple[Widener, ...]
    repeats: Repeats | None
    longer: Longer | None
    better: tuple[Better, ...]
    failing: tuple[Agreement, ...] = ()

    @property
    def expected(self) -> bool:
        """Whether the readings are only expected."""
        runs = self.case.file.runs
        return runs is not None and runs.expected

    @property
    def reached(self) -> bool:
        """Whether the case as it is reaches the target."""
        return self.now <= self.target

    @property
    def reaching(self) -> tuple[Better, ...]:
        """What done better reaches the target by itself."""
        return tuple(
            each
            for each in self.better
            if each.half_width is not None and each.half_width <= self.target
        )

    @property
    def floor(self) -> float:
        """The half-width that more runs alone cannot pass; now's where they bring nothing."""
        return self.now if self.repeats is None else self.repeats.floor

    @property
    def limits(self) -> tuple[Widener, ...]:
        """What widens the result most at the floor."""
        return self.wideners if self.repeats is None else self.repeats.limits


# -- the plan ---------------------------------------------------------------------------------


def plan(
    case: Case, output: Output, target: str, draws: CommonDraws, progress: Progress | None = None
) -> Plan:
    """Return how a target can be reached for one output.

    Parameters
    ----------
    case
        With its readings as expected, or as measured.
    output
        Of the case, such as `decide.upgrades.output_of` gives.
    target
        As `parse_target` takes it.
    draws
        Seed, trials, probability of every half-width.
    progress
        Called with what is being done, how much is done, and of how much.

    Raises
    ------
    Misread
        When the target is no width.
    ComputationRefused
        When the case as it is has no value, or no band.
    """
    (nominal,) = values_as_written(case, [output.step])
    if not math.isfinite(nominal):
        what = f"{output.title} has no finite value at the numbers as written"
        raise ComputationRefused(what, "check for a division by 0 or the logarithm of 0")
    trial = _Trial(case, output, parse_target(target, output.target.unit, nominal), draws)

    def tell(done: int) -> None:
        if progress is not None:
            progress("planning", done, 4)

    now = trial.half_of(case)
    widest = trial.wideners(case, now.value)
    tell(1)
    repeats = _repeats(trial, now.value)
    tell(2)
    longer = _longer(trial)
    tell(3)
    better = (*_upgrades(trial), *_proposed(trial, widest, now))
    settings = replace(case.settings, seed=draws.seed, probability=draws.probability)
    failing = failing_cross_checks(case, settings, draws.workers, draws.stop)
    tell(4)
    return Plan(
        *(case, output, draws, nominal, trial.target, now.value),
        *(widest, repeats, longer, better, failing),
    )


@dataclass(frozen=True)
class _Trial:
    """Works out one output of a case and of its variants."""

    case: Case
    output: Output
    target: float
    draws: CommonDraws

    def half_of(self, case: Case) -> Half:
        """Return the half-width in a variant. Raises ComputationRefused."""
        found = self.draws.half_of(case, key_of(self.output))
        if found is None:
            raise ComputationRefused(f"{self.output.title} has no value then", "check the change")
        return found

    def half(self, case: Case) -> float:
        """Return the half-width in a variant, SI. Raises ComputationRefused."""
        return self.half_of(case).value

    def leaves(self, changed: Case) -> bool:
        """Return whether a change moves the output out of its band, so that it betters nothing."""
        key = key_of(self.output)
        shift = moved(self.case, changed, key, self._counts, self.draws.probability)
        return shift is not None and shift.beyond

    @functools.cached_property
    def _counts(self) -> Counts:
        key = key_of(self.output)
        return self.draws.counts(self.case, [key])[key]

    def wideners(self, case: Case, full: float) -> tuple[Widener, ...]:
        """Return what widens the output in a variant of that half-width, the widest first."""
        (output,) = (o for o in case.outputs if key_of(o) == key_of(self.output))
        draws = self.draws
        found = wideners(case, output, full, draws.seed, draws.probability, draws.stop)
        return tuple(Widener(*each) for each in found)

    @property
    def runs(self) -> tuple[str, ...]:
        """The runs that the output is made of."""
        if self.output.group is not None:
            return self.output.group.members
        if self.output.run is not None:
            return (self.output.run,)
        return tuple(sorted({leaf.run for leaf in self.case.leaves if leaf.run is not None}))


def _repeats(trial: _Trial, now: float) -> Repeats | None:
    case, of = trial.case, trial.output.run
    endless = with_endless_repeats(case, of)
    floor = trial.half(endless)
    if floor == now:
        return None
    sizes = runs_there(case, of)
    there = sizes[-1]
    known = {there: now} if len(sizes) == 1 else {}

    def half(number: int) -> float:
        if number not in known:
            known[number] = trial.half(with_repeats(case, of, number))
        return known[number]

    numbers = [n for n in sorted({*NUMBERS, there}) if n > 1 or there == 1]
    halves = tuple((n, half(n)) for n in numbers)
    least = _least_number(half, there, trial.target)
    limits = trial.wideners(endless, floor)
    return Repeats(sizes, halves, least, floor, limits)


def _least_number(half: Callable[[int], float], there: int, target: float) -> int | None:
    """Return the least number of runs that reaches the target, None where none up to 100 does."""
    for number in range(there, 3):  # the declared errors still count, so it may be fewer
        if half(number) <= target:
            return number
    low, high = max(there, 3), MOST_REPEATS
    if half(low) <= target:
        return low
    if low >= high or half(high) > target:
        return None
    while high - low > 1:  # from 3 runs on, every run more makes it narrower
        middle = (low + high) // 2
        low, high = (low, middle) if half(middle) <= target else (middle, high)
    return high


# -- longer runs ------------------------------------------------------------------------------


def _longer(trial: _Trial) -> Longer | None:
    used = trial.case.program.sources_of[trial.output.step]
    runs = set(trial.runs)
    leaves = [
        leaf
        for leaf in trial.case.leaves
        if leaf.run in runs and used & {name for c in leaf.components for name in c.sources}
    ]
    growing = dict.fromkeys(leaf.name for leaf in leaves if _grows(trial.case, leaf))
    stay: set[str] = set()

    def half(times: float) -> float:
        longer = with_longer_runs(trial.case, dict.fromkeys(growing, times))
        before = {(leaf.name, leaf.run): leaf.value for leaf in leaves}
        for leaf in longer.leaves:
            place = (leaf.name, leaf.run)
            if leaf.name in growing and place in before and leaf.value == before[place] != 0.0:
                stay.add(leaf.name)  # it has limits of its own, or repeats
        return trial.half(longer)

    halves, refused = _lengths(half) if growing else ([], None)
    grown = tuple(name for name in growing if name not in stay)
    if not grown:
        return None
    kept = tuple(dict.fromkeys(leaf.name for leaf in leaves if leaf.name not in grown))
    least = _least_times(half, halves, trial.target)
    return Longer(grown, kept, _subtracted(trial.case, grown), tuple(halves), least, refused)


def _lengths(
    half: Callable[[float], float],
) -> tuple[list[tuple[float, float]], tuple[float, str] | None]:
    """Return half-widths by length, and the longest run where an instrument allows no more."""
    found: list[tuple[float, float]] = []
    why_not = ""
    for times in TIMES:
        try:
            found.append((times, half(times)))
        except CaseError as error:
            why_not = error.problems[0].what
            break
    else:
        return found, None
    most, high = round((found[-1][0] if found else 1.0) / FINEST), round(times / FINEST)
    while high - most > 1:
        middle = (most + high) // 2
        try:
            longest = half(middle * FINEST)
        except CaseError as error:
            high, why_not = middle, error.problems[0].what
        else:
            most = middle
            found.append((most * FINEST, longest))
    return found, (most * FINEST, why_not)


def _grows(case: Case, leaf: Leaf) -> bool:
    runs = case.file.runs
    means = None if runs is None else runs.readings[leaf.name].means
    return leaf.unit.dimension in GROWING and means not in _TARES


def _subtracted(case: Case, grown: Collection[str]) -> tuple[str, ...]:
    """Return the columns of a mass or volume that are subtracted from each other."""
    amounts = {leaf.name for leaf in case.leaves if leaf.unit.dimension in AMOUNTS} & set(grown)
    columns = {step: {name} for (name, _), step in case.named.items() if name in amounts}
    found: set[str] = set()
    for at, step in enumerate(case.program.steps):
        if at in columns or step.op not in ("add", "subtract"):
            continue
        one, other = (columns.get(i, set()) for i in step.inputs)
        columns[at] = one | other
        if step.op == "subtract" and one and other and one != other:
            found |= columns[at]
    return tuple(name for name in grown if name in found)


def _least_times(
    half: Callable[[float], float], halves: list[tuple[float, float]], target: float
) -> float | None:
    """Return the least length that reaches the target, to `FINEST`, of those looked at."""
    low = 1.0
    for high, there in halves:
        if there <= target:
            break
        low = high
    else:
        return None
    steps, most = round(low / FINEST), round(high / FINEST)
    while most - steps > 1:
        middle = (steps + most) // 2
        if half(middle * FINEST) <= target:
            most = middle
        else:
            steps = middle
    return most * FINEST


# -- something better -------------------------------------------------------------------------


def _upgrades(trial: _Trial) -> Iterator[Better]:
    """Yield what the upgrades of the case bring, one at a time."""
    for name in trial.case.file.upgrades:
        try:
            case = with_upgrades(trial.case, [name])
            refuse_lost_scatter(trial.case, case, key_of(trial.output))
            half = trial.half(case)
            if trial.leaves(case):
                why_not = "it moves the value out of its band: `effband upgrade` says how far"
                yield Better(name, UPGRADE, None, why_not)
            else:
                yield Better(name, UPGRADE, half)
        except CaseError as refused:
            yield Better(name, UPGRADE, None, refused.problems[0].what)
        except ComputationRefused as refused:
            if trial.draws.stop.is_set():
                raise
            yield Better(name, UPGRADE, None, refused.what)


def _proposed(trial: _Trial, widest: tuple[Widener, ...], now: Half) -> Iterator[Better]:
    """Yield what else would narrow it, for what widens it most."""
    items = [widener.item for widener in widest]
    for each in proposals(trial.case, items, key_of(trial.output), now, trial.draws):
        way = TWICE_AS_GOOD if each.like is None else f"{AS_SOLD}{each.like}"
        yield Better(each.item.name, way, each.then.value)
