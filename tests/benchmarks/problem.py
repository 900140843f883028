"""The problem of the benchmark, and the plain ways to work it out that effband is held against."""

from __future__ import annotations

import functools
import math
from collections.abc import Iterator, Mapping
from dataclasses import replace
from pathlib import Path

import numpy as np

from effband.case.model import Case, ErrorSource, Item, Part
from effband.case.resolve import load_case
from effband.evidence import distributions as laws
from effband.propagate import streams
from effband.propagate.counting import Counts
from effband.propagate.engine import Engine
from effband.propagate.sampling import BLOCK
from effband.propagate.summary import Summary, summarise

CASE = Path(__file__).with_name("core_case.yaml")
SEED = 1
PROBABILITY = 0.95
RUNS = ("half", "low", "mid", "high", "top", "over")
# rpm, bar, degC of each run, as in the case file
EXACT = {
    "half": (545, 1.10, 11.0),
    "low": (560, 1.16, 11.2),
    "mid": (575, 1.22, 11.4),
    "high": (590, 1.30, 11.5),
    "top": (600, 1.38, 11.7),
    "over": (640, 1.45, 11.8),
}
GRAVITY = 9.80665
Values = Mapping[str, np.ndarray]


@functools.cache
def case() -> Case:
    return load_case(str(CASE))


@functools.cache
def case_by_source() -> Case:
    """Return the case with every source an item of its own, so that there are 25 items."""
    items = tuple(
        Item(source.name, "input", (Part("own", source.evidence, (source.name,)),))
        for source in case().sources
    )
    return replace(case(), items=items)


def engine(trials: int, workers: int = 1, **options: object) -> Engine:
    return Engine(case(), SEED, trials, workers, probability=PROBABILITY, **options)


def fewest_degrees() -> float:
    return min(source.distribution.degrees_of_freedom for source in case().sources)


def summaries(counts: tuple[Counts, ...]) -> list[Summary]:
    """Return moments, both intervals and their simulation uncertainties of every output."""
    degrees = fewest_degrees()
    return [summarise(count, PROBABILITY, degrees, "brake_arm") for count in counts]


def full_run(trials: int, workers: int = 1, **options: object) -> list[Summary]:
    return summaries(engine(trials, workers, **options).run())


# -- the same numbers, drawn or worked out without anything else --------------------------------


def draw_only(trials: int, piece: int, sources: tuple[ErrorSource, ...]) -> None:
    """Draw what the engine draws, in its blocks and pieces, into one small array."""
    room = np.empty(min(piece, BLOCK))
    for block, size in _blocks(trials):
        generators = [
            streams.generator(SEED, streams.TRIALS, source.name, block) for source in sources
        ]
        for start in range(0, size, piece):
            out = room[: min(piece, size - start)]
            for source, stream in zip(sources, generators, strict=True):
                streams.fill_uniform(stream, out)
                source.distribution.quantile(out, out=out)


def values_in_pieces(trials: int, like: Engine) -> Iterator[list[np.ndarray]]:
    """Yield the outputs of the engine's own kernel, piece by piece, nothing summed."""
    place = like._workplace()
    for block, size in _blocks(trials):
        place.draws.start(block)
        for start in range(0, size, like.step):
            arrays, calls = place.on(min(like.step, size - start))
            for call in calls:
                call()
            yield [np.asarray(like.kernel.values(arrays, k)) for k in range(like.n_outputs)]


def kept_values(trials: int, outputs: list[int]) -> np.ndarray:
    """Return every trial of some outputs, shape (outputs, trials)."""
    found = np.empty((len(outputs), trials))
    at = 0
    for piece in values_in_pieces(trials, engine(trials)):
        n = len(piece[0])
        for row, k in zip(found, outputs, strict=True):
            row[at : at + n] = piece[k]
        at += n
    return found


def _blocks(trials: int) -> Iterator[tuple[int, int]]:
    for block in range(math.ceil(trials / BLOCK)):
        yield block, min(BLOCK, trials - block * BLOCK)


# -- as an experienced user of numpy would write it ---------------------------------------------


def native(rng: np.random.Generator, law: laws.Distribution, n: int) -> np.ndarray:
    """Return draws of a law by numpy's own methods."""
    match law:
        case laws.Normal():
            return rng.normal(law.centre, law.spread, n)
        case laws.Rectangular():
            return rng.uniform(law.low, law.high, n)
        case laws.Triangular():
            return rng.triangular(law.low, law.likely, law.high, n)
        case laws.Lognormal():
            return rng.lognormal(math.log(law.median), math.log(law.factor) / 1.959963984540054, n)
        case laws.StudentT():
            return law.location + law.scale * rng.standard_t(law.dof, n)
        case laws.CountedEvents():
            return rng.gamma(law.events + 1.0, 1.0, n)
        case laws.Arcsine():
            half = (law.high - law.low) / 2
            return (law.low + law.high) / 2 + half * np.sin(2 * math.pi * rng.random(n))
        case laws.CurvilinearTrapezoid():  # JCGM 101:2008 6.4.3.4, from memory
            low = law.low + law.inexact * (2 * rng.random(n) - 1)
            return low + (law.low + law.high - 2 * low) * rng.random(n)
        case laws.Truncated():  # few are outside: draw those again
            x = native(rng, law.base, n)
            outside = np.flatnonzero((x < law.low) | (x > law.high))
            while outside.size:
                x[outside] = native(rng, law.base, outside.size)
                outside = outside[(x[outside] < law.low) | (x[outside] > law.high)]
            return x
    raise TypeError(f"no plain draw of {law}")


def frozen(law: laws.Distribution) -> object | None:
    """Return scipy's frozen law, or None where scipy has none."""
    from scipy import stats

    match law:
        case laws.Normal():
            return stats.norm(law.centre, law.spread)
        case laws.Rectangular():
            return stats.uniform(law.low, law.high - law.low)
        case laws.Triangular():
            width = law.high - law.low
            return stats.triang((law.likely - law.low) / width, law.low, width)
        case laws.Lognormal():
            return stats.lognorm(math.log(law.factor) / 1.959963984540054, 0.0, law.median)
        case laws.StudentT():
            return stats.t(law.dof, law.location, law.scale)
        case laws.CountedEvents():
            return stats.gamma(law.events + 1.0)
        case laws.Arcsine():
            return stats.arcsine(law.low, law.high - law.low)
        case laws.Truncated(base=laws.Normal() as base):
            ends = [(x - base.centre) / base.spread for x in (law.low, law.high)]
            return stats.truncnorm(*ends, base.centre, base.spread)
    return None


def by_hand(x: Values) -> list[np.ndarray]:
    """Return the outputs from the sources' values, the formulas written out in numpy."""
    found = []
    for run in RUNS:
        rpm, bar, celsius = EXACT[run]
        speed, nozzle = rpm * 2 * math.pi / 60, bar * 1e5
        warmth = celsius + x["water_warmer"] - 4.0
        density = 999.97 * (1 - 7.3e-6 * warmth**2)
        bucket = 0.060 - x["splashes"] * 1.5e-6
        flow = x["notch_factor"] * bucket / (x[f"fill_time[{run}]"] - x["clock_late"])
        pressure_head = nozzle * x["gauge_factor"] / (density * GRAVITY)
        head = pressure_head + x["gauge_height"] + x["pipe_loss"] * flow**2
        water_power = density * GRAVITY * flow * head
        load = (x[f"brake_load[{run}]"] - x["scale_zero"]) * x["scale_factor"]
        pull = (load - x["beam_weight"]) * GRAVITY
        wheel_speed = speed * (1 - x["belt_slip"] * (1 + pull / 450.0))
        torque = pull * x["brake_arm"] * (1 + 2.3e-5 * warmth)
        torque = torque + x["bearing_drag"] + 1.2e-5 * speed**2
        swing = np.exp(-pull / 9.0)
        found.append(torque * wheel_speed * np.sqrt(1 - swing**2) / water_power)
    return [*found, sum(found) / len(found)]


def whole_arrays(trials: int, shortest: bool = False) -> list[tuple[float, ...]]:
    """Do everything on whole arrays: native draws, formulas, mean, sd, `np.quantile`.

    With `shortest` the values are sorted, and the narrowest interval is found as well.
    """
    rng = np.random.default_rng(SEED)
    x = {source.name: native(rng, source.distribution, trials) for source in case().sources}
    ends = [(1 - PROBABILITY) / 2, (1 + PROBABILITY) / 2]
    found = []
    for y in by_hand(x):
        moments = float(y.mean()), float(y.std(ddof=1))
        if not shortest:
            found.append((*moments, *map(float, np.quantile(y, ends))))
            continue
        y.sort()
        inside = round(PROBABILITY * trials)
        at = int(np.argmin(y[inside:] - y[:-inside]))
        low, high = (float(y[round(p * trials)]) for p in ends)
        found.append((*moments, low, high, float(y[at]), float(y[at + inside])))
    return found


def difference_by_hand() -> float:
    """Return the largest relative difference of `by_hand` from the engine's kernel."""
    like = engine(BLOCK)
    draw = like.plan.draws(like.kernel.sources)
    draw.start(0)
    x = {}
    for source in case().sources:
        x[source.name] = np.empty(like.step)
        draw(source, x[source.name])
    first = next(values_in_pieces(BLOCK, like))
    return max(
        float(np.max(np.abs(mine / own - 1))) for mine, own in zip(by_hand(x), first, strict=True)
    )


def operations() -> int:
    kernel = engine(BLOCK).kernel
    return sum(not isinstance(step.function, ErrorSource) for step in kernel.instructions)
