"""The whole story: a case in, everything that can be said of it out.

    read -> understand -> draw -> summarise -> rank -> tell

A report sees a `Study` and nothing else.
"""

from __future__ import annotations

import math
import platform
import threading
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from effband import __version__
from effband.case.as_written import values_as_written
from effband.case.model import Case, Output, Settings, loads
from effband.case.resolve import load_case
from effband.decide.bench import Bench
from effband.decide.ceilings import times_hundred
from effband.decide.claims import Verdict, events_of, judge_claims
from effband.decide.cross_checks import Agreement, judge_cross_check, outputs_of
from effband.decide.doubts import Judged, doubts_in_numbers, doubts_in_trials
from effband.decide.repeats import RepeatAdvice, advice_on_repeats
from effband.decide.sanity import doubts_as_written, impossible_as_written
from effband.decide.widening import with_guesses_widened
from effband.evidence.dependence import Drawn
from effband.problems import CaseError, ComputationRefused, Problem, in_file_order
from effband.propagate.adaptive import LEAST_TRIALS, MOST_TRIALS, Judge
from effband.propagate.counting import Counts
from effband.propagate.domains import outside_as_written, outside_in_trials
from effband.propagate.engine import Engine, Event, Share
from effband.propagate.linear import LinearBand, agreement, propagate_linearly, tolerance
from effband.propagate.ranking import Ranking, rank
from effband.propagate.sampling import LEAST_QUASI
from effband.propagate.scatter import Scatter, scatters
from effband.propagate.summaries import fewest_degrees, members
from effband.propagate.summaries import summaries as summaries_of
from effband.propagate.summary import Summary
from effband.propagate.what_if import WhatIf, what_if

ENGINE_NUMBER = 2  # changes only when draws or arithmetic change
DRAWS_WITH_A_SHAPE = 1_000  # values of a sample, below which gaps in it mean nothing
FAR_TAIL = 1e-3  # share of the trials above a ceiling that is no reason for doubt
NOISE = 1e-4  # such a share that is worth no word, unless a claim is on the result
ANOTHER_BAND = "the textbook formula for adding spreads (first-order law) gives another band"
UNSTATED = 0.1  # share of the headline's spread that comes from nobody knows where
OF_HALF_WIDTHS = "shares by evidence are of half-widths"
SCATTER = "the scatter of a group"  # as `fewest_degrees` calls it
NUMBERS: dict[float, str] = {2: "two", 3: "three"}
MOST_NAMED = 4  # runs in one remark; more are counted
NEAR_ZERO = 4.0  # standard deviations between a denominator and 0

Progress = Callable[[str, int, int], None]


@dataclass(frozen=True)
class Band:
    """All that is known of one output, in SI units.

    Attributes
    ----------
    output
        Which result, and of which run.
    nominal
        From the values as written.
    summary
        From the trials.
    linear, tolerance, agrees
        The first-order law beside it, the tolerance for comparing, and whether they agree.
    ranking
        What widens it.
    what_ifs
        Half-widths with instruments' errors otherwise along their scales.
    """

    output: Output
    nominal: float
    summary: Summary
    linear: LinearBand
    tolerance: float | None
    agrees: bool | None
    ranking: Ranking
    what_ifs: tuple[WhatIf, ...]


@dataclass(frozen=True)
class Remark:
    """Something a reader should know: a warning, and what to do."""

    what: str
    remedy: str


@dataclass(frozen=True)
class Widening:
    """The bands with guesses drawn out.

    Attributes
    ----------
    factor
        How many times as wide.
    summaries
        One for each output, in their order; None where one has no value so.
    kept
        What rests on judgement and kept its spread.
    why_not
        Why there are none.
    """

    factor: float
    summaries: tuple[Summary, ...] | None
    kept: tuple[str, ...]
    why_not: str = ""


@dataclass(frozen=True)
class Study:
    """A case and everything worked out from it.

    Attributes
    ----------
    case, settings
        What was run, and how (options included).
    bands
        One for every output, in the case's order.
    remarks
        Warnings that came from the numbers; those that came from reading are the case's.
    versions
        Name and version of everything that the numbers depend on.
    claims, cross_checks
        What is to be said of each, in the case's order.
    advice
        Whether the headline gains more by runs or by an instrument, for each of its groups.
    widened
        The bands once more with guesses and rules of thumb drawn out, where that was asked for.
    """

    case: Case
    settings: Settings
    bands: tuple[Band, ...]
    remarks: tuple[Remark, ...]
    versions: tuple[tuple[str, str], ...]
    claims: tuple[Verdict, ...] = ()
    cross_checks: tuple[Agreement, ...] = ()
    advice: tuple[RepeatAdvice, ...] = ()
    widened: Widening | None = None


def load(file: str) -> Case:
    """Read and understand a case file. Raises CaseError.

    A physics function used outside its domain, at the numbers as written, is warned of, or
    refused where its value would mean nothing; likely blunders are warned of.
    """
    case = load_case(file)
    refused, doubtful = outside_as_written(case)
    if refused:
        raise CaseError(refused, case.text.file, case.text.text)
    found = (*case.warnings, *doubtful, *doubts_as_written(case))
    return replace(case, warnings=in_file_order(found))


def as_written(case: Case) -> tuple[list[float], list[Problem]]:
    """Return every output at the numbers as written (SI), and warnings of those impossible.

    A value may not be finite. `run` says of the trials what this says of the numbers.
    """
    values = values_as_written(case, [output.step for output in case.outputs])
    return values, impossible_as_written(case)


def run(
    case: Case,
    settings: Settings | None = None,
    workers: int = 1,
    progress: Progress | None = None,
    stop: threading.Event | None = None,
    crosscheck_ranking: bool = False,
    widen_guesses: float | None = None,
) -> Study:
    """Work out a case.

    Parameters
    ----------
    case
        From `load`.
    settings
        In place of the case's own.
    workers
        Threads; results do not depend on them.
    progress
        Called with what is being done, how much is done, and of how much.
    stop
        Set it, from another thread, to end the work.
    crosscheck_ranking
        Whether SALib works the indices out as well, from the same rows.
    widen_guesses
        How many times as wide guesses and rules of thumb are to be, in a second set of bands.

    Returns
    -------
    Study
        Its settings have the trials that were done.

    Raises
    ------
    ComputationRefused
        When a value is not finite, a band cannot be given, or a cross-check fails.
    """
    settings = settings or case.settings
    compared = [output for check in case.cross_checks for output in outputs_of(check)]
    asked = replace(case, outputs=(*case.outputs, *compared))
    engine = Engine(
        asked,
        settings.seed,
        settings.trials,
        workers,
        probability=settings.probability,
        progress=None if progress is None else lambda done, of: progress("trials", done, of),
        stop=stop or threading.Event(),
        sampling=settings.sampling,
        judge=_judge(asked, settings) if settings.adaptive else None,
        events=[event for claim in case.claims for event in events_of(claim)],
    )
    counts = engine.run()
    settings = replace(settings, trials=engine.done)
    summaries = summaries_of(asked, counts, settings.probability)
    own = summaries[: len(case.outputs)]
    linear = propagate_linearly(case, settings.probability)
    rankings = rank(
        case,
        settings.seed,
        settings.probability,
        own,
        engine.stop,
        crosscheck_ranking,
        workers,
    )
    what_ifs = what_if(case, settings, workers, engine.stop)
    nominal = _nominal(case)
    bands = tuple(
        _band(output, nominal[k], summaries[k], linear[k], rankings[k], what_ifs[k], settings)
        for k, output in enumerate(case.outputs)
    )
    again = _Again(case, settings, workers, engine.stop)
    agreements = _agreements(case, settings, counts, summaries, engine, again)
    verdicts = tuple(
        replace(verdict, disputed=_disputed(verdict.claim.outputs, agreements))
        for verdict in judge_claims(case, engine.shares, counts, summaries, rankings, again.events)
    )
    seen = scatters(case, nominal)
    judged = [Judged(b.output, b.summary, b.ranking) for b in bands]
    remarks = (
        *_remarks_on(case, bands),
        *_of_unknown_origin(case, bands),
        *(Remark(*said) for said in outside_in_trials(case, engine.start_of)),
        *(Remark(*doubt) for doubt in doubts_in_numbers(judged)),
        *(Remark(*doubt) for doubt in doubts_in_trials(case, engine.start_of)),
        *_remarks_on_groups(seen),
        *_near_zero(engine),
        *_unsettled(engine),
    )
    wider = None
    if widen_guesses is not None:
        wider = _widened(case, settings, workers, engine.stop, widen_guesses)
    advice = _advice(case, settings, rankings, workers, engine.stop)
    return Study(case, settings, bands, remarks, _versions(), verdicts, agreements, advice, wider)


def _advice(
    case: Case,
    settings: Settings,
    rankings: Sequence[Ranking],
    workers: int,
    stop: threading.Event,
) -> tuple[RepeatAdvice, ...]:
    """Return whether more runs or a better instrument would help, for the headline's groups."""
    headline = case.outputs[case.headline_output].target
    how = (settings.seed, settings.probability)
    found = (
        advice_on_repeats(case, at, rankings[at], *how, workers=workers, stop=stop)
        for at in loads(case.outputs)
        if case.outputs[at].target == headline
    )
    return tuple(advice for advice in found if advice is not None)


@dataclass(frozen=True)
class _Again:
    """Runs the trials once more, for what only a first run shows to be needed."""

    case: Case
    settings: Settings
    workers: int
    stop: threading.Event

    def events(self, events: Sequence[Event], trials: int) -> tuple[Share, ...]:
        """Count events in so many trials, always random ones."""
        engine = self._engine(replace(self.case, outputs=()), trials, events)
        engine.run()
        return engine.shares

    def output(self, case: Case) -> tuple[Counts, Summary]:
        """Work out a case with one output."""
        (counts,) = self._engine(case, self.settings.trials).run()
        (summary,) = summaries_of(case, (counts,), self.settings.probability)
        return counts, summary

    def _engine(self, case: Case, trials: int, events: Sequence[Event] = ()) -> Engine:
        return Engine(
            case,
            self.settings.seed,
            trials,
            self.workers,
            probability=self.settings.probability,
            stop=self.stop,
            events=events,
        )


def _agreements(
    case: Case,
    settings: Settings,
    counts: Sequence[Counts],
    summaries: Sequence[Summary],
    engine: Engine,
    again: _Again,
) -> tuple[Agreement, ...]:
    """Judge the cross-checks, whose outputs stand behind those of the case."""
    found, at = [], len(case.outputs)
    for check in case.cross_checks:
        end = at + len(outputs_of(check))
        own = (counts[at:end], summaries[at:end])
        probability = settings.probability
        found.append(
            judge_cross_check(check, case, probability, *own, engine.start_of, again.output)
        )
        at = end
    return tuple(found)


def _disputed(outputs: Sequence[int], agreements: Sequence[Agreement]) -> tuple[str, ...]:
    """Return the names of the cross-checks that fail and enter any of some outputs."""
    found = [
        each.check.name
        for each in agreements
        if each.disagrees and {at for at, _ in each.check.touches} & set(outputs)
    ]
    return tuple(dict.fromkeys(found))


def _widened(
    case: Case, settings: Settings, workers: int, stop: threading.Event, factor: float
) -> Widening:
    """Return the bands with guesses drawn out, or why there are none."""
    wider, kept = with_guesses_widened(case, factor)
    engine = Engine(
        wider,
        settings.seed,
        settings.trials,
        workers,
        probability=settings.probability,
        stop=stop,
        sampling=settings.sampling,
    )
    try:
        return Widening(factor, summaries_of(case, engine.run(), settings.probability), kept)
    except ComputationRefused as refused:
        if stop.is_set():
            raise
        return Widening(factor, None, kept, refused.what)


def _band(
    output: Output,
    nominal: float,
    summary: Summary,
    linear: LinearBand,
    ranking: Ranking,
    what_ifs: tuple[WhatIf, ...],
    settings: Settings,
) -> Band:
    allowed = agrees = None
    u = summary.standard_uncertainty
    if u is not None and summary.varies:
        # judged in the unit of the result, where its digits are
        factor = output.target.unit.factor
        allowed = tolerance(u / factor, settings.digits) * factor
        if linear.interval is not None:
            errors = (summary.simulation.low, summary.simulation.high)
            agrees = agreement(linear.interval, summary.interval, errors, allowed)
    return Band(output, nominal, summary, linear, allowed, agrees, ranking, what_ifs)


def _nominal(case: Case) -> list[float]:
    """Return every output at the values as written."""
    values = values_as_written(case, [output.step for output in case.outputs])
    for output, value in zip(case.outputs, values, strict=True):
        if not math.isfinite(value):
            raise ComputationRefused(
                f"{output.title} has no finite value at the numbers as written",
                "check for a division by 0 or the logarithm of 0",
            )
    return values


def _remarks_on(case: Case, bands: tuple[Band, ...]) -> list[Remark]:
    """Return what is to be said of the bands; the same of several runs is said once."""
    found: dict[tuple[str, str], list[Output]] = {}
    for band in bands:
        for what, remedy in _doubts(case, band):
            found.setdefault((what, remedy), []).append(band.output)
    return [
        Remark(f"{_titles(outputs)}{what}", remedy) for (what, remedy), outputs in found.items()
    ]


def _titles(outputs: list[Output]) -> str:
    """Return several outputs as a person says them: "eta and power, runs light, full"."""
    of: dict[str, list[str]] = {}
    for output in outputs:
        of.setdefault(output.target.name, []).append(output.where)
    alike: dict[str, list[str]] = {}
    for name, wheres in of.items():
        alike.setdefault(_places(wheres), []).append(name)
    return "; ".join(f"{' and '.join(names)}{places}" for places, names in alike.items())


def _places(wheres: list[str]) -> str:
    """Return "run a", "run b" and "group c" joined: ", runs a, b, group c"; many are counted."""
    found: dict[str, list[str]] = {}
    for where in wheres:
        word, _, name = where.partition(" ")
        found.setdefault(word, []).append(name)
    return "".join(
        f", {len(names)} {word}s"
        if len(names) > MOST_NAMED
        else f", {word}{'s' * (len(names) > 1)} {', '.join(names)}"
        for word, names in found.items()
        if word
    )


def _doubts(case: Case, band: Band) -> Iterator[tuple[str, str]]:
    """Yield what is doubtful about a band, as it follows its title, and the remedy."""
    summary = band.summary
    if not summary.varies and band.output.group is None:
        cancels = bool(case.program.sources_of[band.output.step])
        why = "what is uncertain in it cancels" if cancels else "none of its inputs has a spread"
        remedy = "check the formula" if cancels else "declare how well the inputs are known"
        yield f": no spread, since {why}", remedy
    if summary.no_variance is not None:
        yield _no_figure(case, band.output, summary.no_variance)
    if summary.mean is None:
        yield (
            ": no mean, since a source has one degree of freedom",
            "take the median; three repeats are the least that help",
        )
    if summary.standard_uncertainty and summary.simulation.standard_uncertainty is None:
        yield (
            ": how well the simulation knows the standard uncertainty is not known",
            "a source has four or fewer degrees of freedom",
        )
    if summary.two_groups and not _few_draws(case, band.output):
        what = ": the values pile up in two groups"
        yield what, "the middle of the band is unlikely: look for the cause"
    if band.linear.reason is not None:
        what = f": no first-order value, since {band.linear.reason}"
        yield what, "the band from the trials stands by itself"
    if band.agrees is False:
        yield (
            f": {ANOTHER_BAND}",
            "the one shown stands, since the formula knows only bell shapes and straight lines",
        )
    yield from _beyond_ceiling(case, band)


def _no_figure(case: Case, output: Output, reason: str) -> tuple[str, str]:
    """Return why a result has a band but no standard uncertainty, and what would give one."""
    degrees, name = fewest_degrees(case, output)
    few = NUMBERS.get(degrees + 1)
    source, runs = name.removesuffix(".repeats"), name == SCATTER
    if few is None or not (runs or source in _repeated(case)):
        what = f": no standard uncertainty (+- figure), since {reason}"
        return what, f"the band and the ranking by half-width stand; {OF_HALF_WIDTHS}"
    what = f"{few} runs" if runs else f"{few} readings of {source}"
    more = ("a fourth" if few == "three" else "two more") + (" run" if runs else " reading")
    more += "s" * (few == "two")
    gives = "gives" if few == "three" else "give"
    what = f": {what} make a good band, but no standard uncertainty (+- figure)"
    return what, f"{more} {gives} that as well; {OF_HALF_WIDTHS}"


def _remarks_on_groups(seen: tuple[Scatter, ...]) -> list[Remark]:
    found = []
    for each in seen:
        title, unit = each.output.title, each.output.target.unit
        if each.hidden:
            what = f"{title}: all its runs give the same value, so no scatter shows"
            remedy = "give the step of the display as `digit:`, which hides it"
            found.append(Remark(what, remedy))
        if each.relative_means_nothing:
            what = f"{title}: a relative scatter was pooled, but its runs lie around 0"
            found.append(Remark(what, "leave `pool:` out: near 0 a relative scatter means nothing"))
        if each.more_than_declared:
            scatter, declared = each.seen / unit.factor, each.declared / unit.factor
            symbol = unit.width_symbol
            size = f"{scatter:.2g} {symbol}".rstrip()
            what = (
                f"{title}: its runs scatter by {size}; the declared errors, without what the runs "
                f"share, explain {declared:.2g}"
            )
            remedy = "the band of a single run is too narrow: use the group's"
            if not each.group.scatter_seen:
                remedy = "something is not declared that changes from run to run; a third run shows"
            found.append(Remark(what, remedy))
    return found


def _few_draws(case: Case, output: Output) -> bool:
    """Return whether a sample behind an output is too small to have a shape."""
    return any(
        isinstance(m, Drawn) and m.values.size < DRAWS_WITH_A_SHAPE for m in members(case, output)
    )


def _beyond_ceiling(case: Case, band: Band) -> Iterator[tuple[str, str]]:
    share = band.summary.beyond_ceiling
    ceiling, name = band.output.target.ceiling, band.output.target.name
    if share < NOISE and not any(claim.result == name for claim in case.claims):
        return
    if share >= 0.95:
        what = f": impossible, above its ceiling ({ceiling}) in {100 * share:.3g} % of all trials"
        remedy = "look for an error in the formulas, the input energy or the readings"
        if band.output.target.kind == "efficiency":
            remedy += "; a heat pump's COP is no efficiency: say `is: performance ratio`"
        yield what, times_hundred(Bench(case), band.output) or remedy
    elif share > 0.0:
        what = f": above its ceiling ({ceiling}) in {100 * share:.2g} % of all trials"
        remedy = "nothing was clipped; better inputs would settle it"
        if share < FAR_TAIL:
            remedy = "only its far tail reaches there; nothing was clipped"
        if share >= 0.05:
            remedy = "these data cannot tell it from the limit: check the input energy"
        yield what, remedy


def _near_zero(engine: Engine) -> list[Remark]:
    """Return one remark for all denominators that come near 0, with what was read too seldom."""
    owners = dict.fromkeys(
        owner
        for owner, low, high, mean, sd in engine.denominators()
        if low <= 0.0 <= high or abs(mean) < NEAR_ZERO * sd
    )
    if not owners:
        return []
    first, others = list(owners)[:MOST_NAMED], len(owners) - MOST_NAMED
    what = ", ".join(first) + (f" and {others} others" if others > 0 else "")
    what += ": a denominator comes near 0, so the band has long tails"
    seldom = _read_seldom(engine.case, list(owners))
    remedy = "measure the denominator better"
    if seldom:
        remedy = "; ".join(f"read {name} more than {few} times" for name, few in seldom.items())
    return [Remark(what, remedy)]


def _read_seldom(case: Case, owners: Sequence[str]) -> dict[str, str]:
    """Return the inputs that formulas and results are made of and that were read 2 or 3 times."""
    names = {owner.partition(", ")[0] for owner in owners}
    steps = [step for (name, _), step in case.named.items() if name in names]
    steps += [output.step for output in case.outputs if output.target.name in names]
    used = frozenset().union(*(case.program.sources_of[step] for step in steps))
    repeated = _repeated(case)
    return {
        name: NUMBERS[repeated[name]]
        for source in case.sources
        if (name := source.name.removesuffix(".repeats")) in repeated
        and source.name in used
        and repeated[name] in NUMBERS
    }


def _repeated(case: Case) -> dict[str, int]:
    """Return the inputs that were read several times, and how often."""
    return {name: len(each.repeats) for name, each in case.file.inputs.items() if each.repeats}


def _of_unknown_origin(case: Case, bands: Sequence[Band]) -> list[Remark]:
    """Return a remark that names what widens the headline and says not where it comes from."""
    band = bands[case.headline_output]
    unknown = [
        line
        for line in band.ranking.lines
        if line.item.name in case.file.inputs
        and any(part.evidence == "unstated" for part in line.item.parts)
    ]
    share = dict(band.ranking.evidence).get("unstated", 0.0)
    shares = [line.first_order.value for line in unknown if line.first_order is not None]
    if shares:
        share = min(share, math.fsum(shares))
    if not unknown or share <= UNSTATED:
        return []
    names = [line.item.name for line in unknown]
    listed = ", ".join(names[:MOST_NAMED])
    listed += f" and {len(names) - MOST_NAMED} others" * (len(names) > MOST_NAMED)
    what = f"{listed}: no `evidence:` stands there, for {100 * share:.0f} % of the spread of "
    remedy = "say where each comes from: measured, datasheet, rule of thumb, guess"
    return [Remark(what + band.output.target.name, remedy)]


def _judge(case: Case, settings: Settings) -> Judge:
    """Return what decides that the digits asked for are settled."""
    factors = [output.target.unit.factor for output in case.outputs]
    without = [k for k, o in enumerate(case.outputs) if fewest_degrees(case, o)[0] <= 2]
    return Judge(
        lambda k, u: tolerance(u / factors[k], settings.digits) * factors[k],
        without,
    )


def _unsettled(engine: Engine) -> list[Remark]:
    if engine.judge is None or engine.settled:
        return []
    what = f"{engine.done} trials were not enough to settle the digits asked for"
    return [Remark(what, "allow more with --trials, or ask for fewer digits")]


def _versions() -> tuple[tuple[str, str], ...]:
    from importlib.metadata import version

    import scipy

    return (
        ("effband", __version__),
        ("engine", str(ENGINE_NUMBER)),
        ("python", platform.python_version()),
        ("numpy", np.__version__),
        ("scipy", scipy.__version__),
        ("matplotlib", version("matplotlib")),  # a picture is compared only with its own release
    )


def with_options(
    settings: Settings,
    trials: int | None = None,
    seed: int | None = None,
    probability: float | None = None,
    adaptive: bool = False,
    sampling: str = "random",
) -> Settings:
    """Return the settings with what was asked for; raises ValueError where it cannot be.

    An adaptive run takes `trials` as the most it may do.
    """
    if adaptive and sampling != "random":
        raise ValueError("adaptive runs are random ones: leave one of the two out")
    if adaptive and trials is not None and trials < LEAST_TRIALS:
        raise ValueError(f"an adaptive run needs {LEAST_TRIALS} trials or more")
    known = MOST_TRIALS if adaptive else settings.trials
    if sampling == "quasi" and (trials or known) < LEAST_QUASI:
        raise ValueError(f"quasi-random sampling needs {LEAST_QUASI} trials or more")
    return replace(
        settings,
        adaptive=adaptive,
        sampling=sampling,
        trials=known if trials is None else trials,
        seed=settings.seed if seed is None else seed,
        probability=settings.probability if probability is None else probability,
    )
