"""What was judged, in words: claims and cross-checks, for every kind of report.

Verdicts come from unrounded numbers; digits are added until none can contradict its verdict.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

from effband.decide.claims import DOUBTFUL, NOT_SETTLED, SUPPORTED, Verdict
from effband.decide.cross_checks import (
    DISAGREE,
    TOO_BLUNT,
    Agreement,
    Closing,
    ClosingColumn,
    PairVerdict,
)
from effband.report import words
from effband.study import Band, Study

MOST_CLOSINGS = 3  # of a gap that are told
MANY = 5.0  # times too large or small in every run: then a unit was mistaken
NONE = 3.0  # with no event in n trials its probability is below 3/n, at 95 %


@dataclass(frozen=True)
class Judgement:
    """One claim or cross-check: its name and heading, its verdict, and what stands under it.

    `short` holds as many of its lines as a screen has room for.
    """

    name: str
    title: str
    verdict: str
    lines: tuple[str, ...]
    short: tuple[str, ...]
    bad: bool


def claim(verdict: Verdict) -> Judgement:
    """Return a claim in words."""
    asked = verdict.claim
    where = f", {verdict.worst.where}" if asked.run is not None else ""
    if asked.run is None and len(asked.outputs) > 1:
        where = ", every run"
    said = verdict.verdict or "NO VERDICT"
    doubts = []
    if verdict.verdict is not None and verdict.guessed > 0.5:
        doubts.append(f"on guesses ({words.percent(verdict.guessed)} of the spread)")
    if verdict.disputed:
        doubts.append("disputed")
    if doubts:
        said += f", but {' and '.join(doubts)}"
    lines = tuple(_claim_lines(verdict))
    bad = verdict.verdict != SUPPORTED or bool(verdict.disputed)
    title = f"{asked.result}{where}, {asked.says}"
    return Judgement(asked.result, title, said, lines, lines, bad)


def _claim_lines(verdict: Verdict) -> Iterator[str]:
    asked = verdict.claim
    if verdict.verdict is None:
        yield verdict.reason
        return
    all_at_once = ", in every run at once" if len(asked.outputs) > 1 else ""
    # one side below is as good as contradicted: the digits keep clear of that, too
    thresholds = [asked.confidence] if verdict.outside else [asked.confidence, 1 - asked.confidence]
    yield (
        f"holds in {share(verdict.holds.value, verdict.holds.trials, thresholds)} of the "
        f"trials{all_at_once}; {words.probability(asked.confidence)} are asked for"
    )
    yield _outside(verdict) if verdict.outside else _reach(verdict)
    if verdict.reason:
        yield verdict.reason
    elif verdict.verdict == NOT_SETTLED:
        yield from _what_would_settle(verdict)
    if verdict.beyond_ceiling >= DOUBTFUL and not verdict.reason:
        above = words.percent(verdict.beyond_ceiling)
        yield f"doubtful in itself: above its ceiling in {above} of the trials"
    if verdict.guessed > 0.5:
        yield "measure what is guessed, or copy the instrument's leaflet"
    if verdict.disputed:
        yield f"{_disagreeing(verdict.disputed)}: the estimates enter this"


def _reach(verdict: Verdict) -> str:
    """Return what a result reaches in the share of the trials asked for, and how far off that is.

    The bound may come from fewer trials than the verdict, which stands where the two differ.
    """
    asked, unit = verdict.claim, verdict.worst.target.unit
    alone = len(asked.outputs) == 1
    decimals = words.decimals_for(verdict.half_width / unit.factor)
    inside, holds = verdict.margin >= 0, verdict.holds.value >= asked.confidence
    bound, limit = unit.from_si(verdict.bound), unit.from_si(verdict.limit)
    if verdict.margin == 0 or (alone and inside != holds):
        text, off = words.fixed(bound, decimals), "right on the limit"
    else:
        text = _told_apart(bound, [limit], decimals)
        far = abs(verdict.margin) / unit.factor
        size = f"{words.fixed(far, max(decimals, words.decimals_for(far)))} {unit.width_symbol}"
        above = inside == (asked.way == "at least")
        off = f"{size.rstrip()} {'above' if above else 'below'} the limit"
    where = "" if alone else f"in the worst, {verdict.worst.where}, "
    return (
        f"{where}{words.probability(asked.confidence)} give {asked.way} "
        f"{f'{text} {unit.symbol}'.rstrip()} (one side only): {off}"
    )


def _outside(verdict: Verdict) -> str:
    """Return how much lies below and above a claim that has two limits."""
    below, above = (
        share(each.value, each.trials, [verdict.claim.confidence]) if each.value > 0.0 else "none"
        for each in verdict.outside
    )
    if len(verdict.claim.outputs) == 1:
        return f"{below} of the trials lie below it, {above} above"
    worst = f"{verdict.worst.where} is the worst"
    return f"some run lies below it in {below} of the trials, some above in {above}; {worst}"


def _what_would_settle(verdict: Verdict) -> Iterator[str]:
    unit, alone = verdict.worst.target.unit, len(verdict.claim.outputs) == 1
    if verdict.wanted is None:
        if verdict.margin < 0 or verdict.outside:
            yield "the value lies on the limit: no narrower band would settle it where it stands"
        elif not alone:
            yield "each run by itself would do, but not all of them at once"
        return
    # both to the digits at which they differ
    full, wanted = verdict.half_width / unit.factor, verdict.wanted / unit.factor
    needed = _told_apart(wanted, [full], words.decimals_for(wanted))
    now = words.fixed(full, words.decimals_for(full))
    symbol = f" {unit.width_symbol}".rstrip()
    half = f"a half-width of {needed}{symbol} (now {now})"
    if alone:
        yield f"{half} would settle it, if the value stays"
    else:
        yield f"{verdict.worst.where} would need {half}, if its value stays"


def _digits(value: float, decimals: int, fine: Callable[[float], bool]) -> str:
    """Return a number with so many decimals, or as many more as make what is shown fine."""
    while decimals < words.MOST_DECIMALS and not fine(float(words.fixed(value, decimals))):
        decimals += 1
    return words.fixed(value, decimals)


def _told_apart(value: float, limits: Sequence[float], decimals: int) -> str:
    """Return a number with as many decimals as show on which side of some limits it lies."""
    return _digits(
        value,
        decimals,
        lambda shown: all(
            (shown > limit) == (value > limit) and (shown < limit) == (value < limit)
            for limit in limits
        ),
    )


def share(value: float, trials: int, thresholds: Sequence[float] = ()) -> str:
    """Return a share of the trials in per cent, with the digits that thresholds need.

    Where no trial fell outside, or none inside, the share is bounded: 3/trials at 95 %, never
    rounded to less.
    """
    few = 100 * NONE / trials
    if value >= 1.0:
        return f"all (more than {_digits(100 - few, 1, lambda shown: shown <= 100 - few)} %)"
    if value <= 0.0:
        least = _digits(few, words.decimals_for(few) - 1, lambda shown: shown >= few)
        return f"none (less than {least} %)"
    number = 100 * value
    limits = [0.0, 100.0, *(100 * threshold for threshold in thresholds)]
    return f"{_told_apart(number, limits, 0 if 1 <= number <= 99 else 1)} %"


# -- cross-checks ---------------------------------------------------------------------------------


def cross_check(agreement: Agreement) -> Judgement:
    """Return a cross-check in words."""
    check = agreement.check
    where = f", {check.where}" if check.where else ""
    said = "DISAGREE" if agreement.disagrees else agreement.verdict
    estimates, found = tuple(_estimates(agreement)), tuple(_found(agreement))
    short = (*estimates, *found) if agreement.disagrees else found
    title = f"{check.name}{where}"
    return Judgement(check.name, title, said, (*estimates, *found), short, agreement.disagrees)


def _disagreeing(names: Sequence[str]) -> str:
    some = len(names) > 1
    return f"cross-check{'s' * some} {', '.join(names)} disagree{'s' * (not some)}"


def _estimates(agreement: Agreement) -> Iterator[str]:
    unit = agreement.check.values[0].target.unit
    for each in agreement.estimates:
        half = each.summary.interval.half_width / unit.factor
        decimals = words.decimals_for(half or abs(unit.from_si(each.nominal)) / 100)
        middle, low, high = (
            words.fixed(unit.from_si(x), decimals)
            for x in (each.summary.median, each.summary.interval.low, each.summary.interval.high)
        )
        yield f"{each.name}: {f'{middle} {unit.symbol}'.rstrip()}, from {low} to {high}"


def _found(agreement: Agreement) -> Iterator[str]:
    failed = [pair for pair in agreement.pairs if pair.verdict == DISAGREE]
    most = max(MOST_CLOSINGS - len(failed) + 1, 1)
    for pair in failed or agreement.pairs:
        yield _pair(pair, agreement)
        if failed:
            yield from _closing_lines(pair, agreement, most)
    if agreement.refused:
        yield f"not combined: {agreement.refused}"
    if agreement.combined is not None:
        yield _combined(agreement)


def _closing_lines(pair: PairVerdict, agreement: Agreement, most: int) -> Iterator[str]:
    """Yield what would close a gap, guesses first, and how many others would."""
    members = (pair.first, pair.second)
    told: list[Closing | ClosingColumn] = []
    told += [each for each in agreement.closings if each.pair == members]
    told += [each for each in agreement.columns if each.pair == members]
    # a reading that is many times too large or small in all runs is a unit mistaken
    told.sort(key=lambda each: (not _mistaken_unit(each), not each.judged, each.far))
    for each in told[:most]:
        yield _closing(each) if isinstance(each, Closing) else _column(each)
    others = len({_name_of(each) for each in told[most:]} - {_name_of(e) for e in told[:most]})
    if others:
        yield f"and {others} other{'s' * (others != 1)}"
    if not told:
        yield "no single number that was given would close the gap: look at the formulas"


def _name_of(each: Closing | ClosingColumn) -> str:
    return each.leaf.name if isinstance(each, Closing) else each.name


def _mistaken_unit(each: Closing | ClosingColumn) -> bool:
    return isinstance(each, ClosingColumn) and not 1 / MANY < each.factor < MANY


def _column(column: ClosingColumn) -> str:
    text = f"{column.name} in every run alone would close it, by a factor of "
    text += words.times(column.factor)
    return text + (": look at its unit" if _mistaken_unit(column) else "")


def _pair(pair: PairVerdict, agreement: Agreement) -> str:
    unit = pair.output.target.unit
    half = pair.interval.half_width / unit.factor
    decimals = words.decimals_for(half)
    ends = (pair.interval.low / unit.factor, pair.interval.high / unit.factor)
    middle = words.fixed(pair.median / unit.factor, decimals)
    low, high = (_told_apart(end, [0.0], decimals) for end in ends)
    symbol, level = f" {unit.width_symbol}".rstrip(), f"({100 * agreement.level:.3g} %)"
    if pair.verdict == DISAGREE:
        return (
            f"{pair.first} less {pair.second}: {middle}{symbol}, from {low} to {high} {level}: "
            "0 lies outside, so one of them is wrong by more than it says"
        )
    first, second = (_value(agreement, name, decimals) for name in (pair.first, pair.second))
    text = f"{pair.first} {first} less {pair.second} {second}: {low} to {high}{symbol} {level}, "
    if pair.verdict == TOO_BLUNT:
        return text + "too wide to be a test"
    both = (each for each in agreement.estimates if each.name in (pair.first, pair.second))
    smaller = min(abs(each.nominal) for each in both)
    if not smaller > 0.0:
        return text + "agree"
    return text + f"agree to within {words.percent(pair.interval.half_width / smaller)}"


def _value(agreement: Agreement, name: str, decimals: int) -> str:
    """Return the value of a member, to the digits of a difference."""
    unit = agreement.check.values[0].target.unit
    median = next(each.summary.median for each in agreement.estimates if each.name == name)
    return words.fixed(unit.from_si(median), decimals)


def _closing(closing: Closing) -> str:
    leaf = closing.leaf
    unit, run = leaf.unit, "" if leaf.run is None else f" in run {leaf.run}"
    decimals = words.decimals_for(closing.band.half_width / unit.factor)
    wanted, own = (words.fixed(unit.from_si(x), decimals) for x in (closing.wanted, leaf.value))
    given = f"read as {own}" if leaf.instrument is not None else f"given as {own}"
    if closing.limits is not None:
        ends = (closing.limits.low, closing.limits.high)
        low, high = (words.fixed(unit.from_si(x), decimals) for x in ends)
        given = f"given as {low} to {high}"
    elif leaf.instrument is None and len(leaf.components) == 1:
        given = f"given as {leaf.components[0].words}"
    text = (
        f"{leaf.name}{run} alone would close it at {f'{wanted} {unit.symbol}'.rstrip()}; "
        f"it was {given}" + (f", a {leaf.evidence}" if closing.judged else "")
    )
    return text + (", which holds that" if closing.within_band else "")


def _combined(agreement: Agreement) -> str:
    combined, unit = agreement.combined, agreement.check.values[0].target.unit
    assert combined is not None
    decimals = words.decimals_for(combined.interval.half_width / unit.factor)
    middle, low, high = (
        words.fixed(unit.from_si(x), decimals)
        for x in (combined.mean, combined.interval.low, combined.interval.high)
    )
    text = f"combined: {f'{middle} {unit.symbol}'.rstrip()}, from {low} to {high}"
    if combined.way == "mixture":
        return f"{text}: all in equal parts, as if one were right and nobody knew which"
    weights = ", ".join(
        f"{name} {words.percent(weight)}"
        for name, weight in zip(agreement.check.members, combined.weights, strict=True)
    )
    text += f": weighted by how well each is known ({weights})"
    if combined.drawn_out > 1.0:
        times = words.fixed(combined.drawn_out, 2)
        text += f", drawn out {times} times, as they lie further apart than that allows"
    return text


# -- beside results -------------------------------------------------------------------------------


def disputes(band: Band, study: Study) -> list[str]:
    """Return what is to stand beside a result that cross-checks dispute."""
    at = next(n for n, other in enumerate(study.bands) if other is band)
    found: dict[str, list[str]] = {}
    for agreement in study.cross_checks:
        place = dict(agreement.check.touches).get(at)
        if agreement.disagrees and place is not None:
            names = found.setdefault(f"its {place}" if place else "a number in it", [])
            names.append(agreement.check.name)
    return [
        f"{what} is disputed: {_disagreeing(list(dict.fromkeys(names)))}"
        for what, names in found.items()
    ]
