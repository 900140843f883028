"""The benches of `cases/`: their bands, against each bench worked out without the tool.

`WORKED_OUT` holds numbers of a bench of our own, worked out separately: quasi-random samples,
with simpler models of the instruments than the cases have. Two sets of plain numpy models stand
here. Those of `AS_CASE` draw what the case files say, and the tool must agree with them in every
band. Those of `AS_WORKED_OUT` draw what the separate working took for granted, and must give its
numbers: so what `why` says beside a number is all that lies between it and the tool.

The error curve of an instrument is written anew here, from its definition:
e(x) = L(x) (2 Phi(cos t Z1 + sin t Z2) - 1), t = (pi/2) (x - low)/(high - low).
"""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from functools import cache
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import pytest
from scipy.interpolate import CubicSpline
from scipy.special import ndtr

import effband

CASES = Path(__file__).resolve().parents[2] / "cases"
TRIALS = 400_000
BATCHES, BATCH = 20, 50_000
TIMES_SIMULATION = 4
LARGEST_MARGIN = 0.02  # of the half-width: more would hide a wrong model

Array = np.ndarray
Name = tuple[str, str | None]  # a result, and the group that it is of


# -- what is drawn ----------------------------------------------------------------------------


class Draws:
    """Random numbers of one batch, by the words of a log."""

    def __init__(self, seed: int) -> None:
        self.rng = np.random.default_rng(seed)

    def even(self, half_width: float) -> Array:
        return self.rng.uniform(-half_width, half_width, BATCH)

    def peaked(self, low: float, likely: float, high: float) -> Array:
        return self.rng.triangular(low, likely, high, BATCH)

    def normal(self, mean: float = 0.0, u: float = 1.0) -> Array:
        return self.rng.normal(mean, u, BATCH)

    def scatter(self, s: float, n: int) -> Array:
        """How far the mean of n readings of standard deviation s may be off."""
        return s / np.sqrt(n) * self.rng.standard_t(n - 1, BATCH)

    def repeats(self, *readings: float) -> Array:
        return np.mean(readings) + self.scatter(np.std(readings, ddof=1), len(readings))

    def curve(self, low: float = 0.0, high: float = np.inf) -> Callable[[float], Array]:
        """Return the error of one instrument, as a share of its limit, at each reading."""
        z1, z2 = self.normal(), self.normal()

        def error(x: float) -> Array:
            t = np.pi / 2 * (x - low) / (high - low)
            return 2 * ndtr(np.cos(t) * z1 + np.sin(t) * z2) - 1

        return error


# -- formulas of the trade, written out ---------------------------------------------------------

STANDARD_GRAVITY = 9.80665  # m/s^2, exact; 3rd General Conference on Weights and Measures, 1901
ROUNDED_GRAVITY = 9.81
RPM = 2 * np.pi / 60
GAMMA = 1.4
BAR, KWH = 1e5, 3.6e6


def exergy(p: Array, p0: Array, volume: Array) -> Array:
    return volume * (p * np.log(p / p0) - p + p0)


def heatless_work(p1: Array, p2: Array, p0: Array, volume: Array, index: Array) -> Array:
    """Each parcel expands isentropically, one index for the tank: the integral, in closed form."""
    k = 1 - 1 / GAMMA
    parcels = p1 - p2 - GAMMA * p0**k * (p1 ** (1 / GAMMA) - p2 ** (1 / GAMMA))
    return volume / k * parcels / index


# Alcohol by volume and by mass in per cent at 20 degC: OIML R 22, from memory; and the shorter
# table of the separate working, up to 0.07 too low at its strong end.
ALCOHOL = CubicSpline([90, 92, 94, 95, 96, 97], [85.66, 88.29, 91.01, 92.41, 93.84, 95.31])
ALCOHOL_WORKED_OUT = CubicSpline(
    [90, 92, 94, 95, 96, 96.5], [85.66, 88.30, 91.00, 92.38, 93.79, 94.50]
)


def spirit(strength: Array, table: CubicSpline) -> Array:
    """Lower heating value in J/kg: 26.9 MJ/kg of ethanol, less what its water takes to boil."""
    by_mass = table(strength) / 100
    return by_mass * 26.9e6 - (1 - by_mass) * 2.44e6


# -- wren_loads.yaml ----------------------------------------------------------------------------

P_START, P_END = 9.0, 3.0
RUNS = {  # p_stop, run time, voltage, current, speed
    "light": [(2.7, 151.2, 13.91, 3.72, 2905), (2.7, 152.7, 13.90, 3.67, 2893),
              (2.7, 152.0, 13.89, 3.71, 2902)],
    "half": [(2.65, 115.4, 13.79, 5.21, 2806), (2.65, 116.5, 13.78, 5.24, 2798),
             (2.7, 116.1, 13.78, 5.16, 2795)],
    "most": [(2.6, 93.6, 13.69, 6.64, 2701), (2.6, 94.7, 13.70, 6.60, 2709),
             (2.6, 94.9, 13.70, 6.57, 2698)],
    "full": [(2.55, 77.9, 13.62, 7.92, 2604), (2.55, 79.1, 13.61, 7.93, 2592),
             (2.55, 78.2, 13.63, 7.85, 2603)],
}  # fmt: skip


def wren(
    p: tuple[Array, Array, Array], p0: Array, volume: Array, electric: Array, shaft: Array,
    refill: Array,
) -> dict[str, Array]:  # fmt: skip
    """All results of the bench; `p` is start, stop and end, absolute."""
    start, stop, end = p
    air = exergy(start, p0, volume) - exergy(end, p0, volume)
    index = 1 / (1 - np.log(end / stop) / np.log(start / stop))
    return {
        "air_to_wire": 100 * electric / air,
        "heatless_to_wire": 100 * electric / heatless_work(start, stop, p0, volume, index),
        "wall_to_wire": 100 * electric / refill,
        "wall_to_air": 100 * air / refill,
        "air_to_shaft": 100 * shaft / air,
        "gas_index": index,
    }


def wren_loads(draw: Draws) -> dict[Name, Array]:
    volume = (90 + draw.even(2) + 0.8 + draw.even(0.3)) * 1e-3
    p0 = (0.985 + draw.even(0.005)) * BAR
    inertia = 0.0085 + draw.even(0.001)
    alternator = draw.peaked(0.45, 0.54, 0.62)
    gauge, volts, amperes = draw.curve(0, 16), draw.curve(0, 20), draw.curve(0, 40)
    clock, tachometer = draw.curve(), draw.curve()
    refill = (1.45 * (1 + 0.03 * draw.curve()(0)) + draw.even(0.005)) / 12 * KWH

    values: dict[str, list[dict[str, Array]]] = {}
    for load, runs in RUNS.items():
        # the step of a dial or display is one draw for a load; what scatters is in the scatter
        dial = [draw.peaked(-0.125, 0, 0.125) for _ in range(3)]
        frame, volt, ampere, turn = (
            draw.peaked(-1 / 30, 0, 1 / 30), draw.even(0.005), draw.even(0.005), draw.even(0.5),
        )  # fmt: skip
        values[load] = []
        for p_stop, time, voltage, current, speed in runs:
            read = (P_START, p_stop, P_END)
            p = tuple(
                (x + 0.4 * gauge(x) + step) * BAR + p0 for x, step in zip(read, dial, strict=True)
            )
            t = time * (1 + 0.001 * clock(0)) + frame
            v = voltage + (0.005 * voltage + 0.02) * volts(voltage) + volt
            i = current + (0.02 * current + 0.05) * amperes(current) + ampere
            n = speed + (0.0005 * speed + 1) * tachometer(0) + turn
            electric = v * i * t
            shaft = electric / alternator + 0.5 * inertia * (n * RPM) ** 2
            values[load].append(wren(p, p0, volume, electric, shaft, refill))

    # pooled: the relative deviations of all twelve runs, scaled by one chi-square of 8
    w = draw.rng.chisquare(8, BATCH)
    found: dict[Name, Array] = {}
    scores = {load: [draw.normal() for _ in range(12)] for load in RUNS}
    for result in values["full"][0]:
        means = {load: sum(y[result] for y in runs) / 3 for load, runs in values.items()}
        relative = [y[result] / means[load] - 1 for load, runs in values.items() for y in runs]
        for load in RUNS:
            factor = sum(r * g for r, g in zip(relative, scores[load], strict=True))
            found[result, load] = means[load] * (1 + factor / np.sqrt(3 * w))
    return found


def wren_one_run(draw: Draws, *, by_curve: bool) -> dict[Name, Array]:
    """One run at full load, a refill metered alone; the gauge by its curve, or by two halves."""
    volume = (90 + draw.even(2) + 0.8 + draw.even(0.3)) * 1e-3
    p0 = (0.985 + draw.even(0.005)) * BAR
    curve, zero, slope = draw.curve(0, 16), draw.even(0.2), draw.even(0.2)
    p = tuple(
        (x + (0.4 * curve(x) if by_curve else zero + slope * x / 16)
         + draw.peaked(-0.125, 0, 0.125)) * BAR + p0
        for x in (9.0, 2.55, 3.0)
    )  # fmt: skip
    time, voltage, current = 78.4 + draw.even(1), 13.62 + draw.even(0.0881), 7.9 + draw.even(0.208)
    electric = time * voltage * current
    rotor = 0.5 * (0.0085 + draw.even(0.001)) * ((2600 + draw.even(15)) * RPM) ** 2
    shaft = electric / draw.peaked(0.45, 0.54, 0.62) + rotor
    refill = (0.12 + draw.even(0.005)) * (1 + draw.even(0.03)) * KWH
    found = wren(p, p0, volume, electric, shaft, refill)
    return {(result, "full"): values for result, values in found.items()}


# -- the other benches ----------------------------------------------------------------------------


def wheel(
    bucket: Array, time: Array, p: Array, height: Array, bore: Array | float, rho: Array,
    pull: Array, arm: Array, speed: Array, g: float,
) -> dict[Name, Array]:  # fmt: skip
    flow = bucket / time
    head = p / (rho * g) + height + (flow / (np.pi / 4 * bore**2)) ** 2 / (2 * g)
    water, shaft = rho * g * flow * head, pull * g * arm * speed * RPM
    return {
        ("wheel", None): 100 * shaft / water,
        ("shaft_power", None): shaft,
        ("water_power", None): water,
        ("flow", None): flow * 1e3,
        ("head", None): head,
    }


def beckside(draw: Draws) -> dict[Name, Array]:
    watch, scale, caliper = draw.curve(), draw.curve(0, 5), draw.curve(0, 150)
    time = draw.repeats(7.60, 7.82, 7.55, 7.77, 7.89, 7.69)
    time = time + (0.05 + 1e-4 * 7.72) * watch(0) + draw.even(0.005)
    load = draw.repeats(2.31, 2.36, 2.40, 2.33, 2.34, 2.39, 2.31, 2.37, 2.35, 2.34)
    load = load + 0.02 * scale(2.35) + draw.even(0.005)
    tare = 0.31 + 0.02 * scale(0.31) + draw.even(0.005)
    bore = 50.2 + 0.03 * caliper(50.2) + draw.even(0.005) + draw.even(0.02)
    p = (3.05 + draw.even(0.096) + draw.peaked(-0.025, 0, 0.025)) * BAR
    return wheel(
        (19.93 + draw.even(0.05)) * 1e-3, time, p, 0.12 + draw.even(0.02), bore * 1e-3,
        998.9 + draw.even(0.5), load - tare, 0.3 + draw.even(0.001), draw.normal(780, 4),
        STANDARD_GRAVITY,
    )  # fmt: skip


def beckside_worked_out(draw: Draws) -> dict[Name, Array]:
    time = 7.72 + draw.scatter(0.13, 6) + draw.even(0.05)
    pull = 2.35 + draw.even(0.02) + draw.scatter(0.03, 10) - (0.31 + draw.even(0.02))
    p = (3.05 + draw.even(0.096) + draw.peaked(-0.025, 0, 0.025)) * BAR
    return wheel(
        (19.93 + draw.even(0.05)) * 1e-3, time, p, 0.12 + draw.even(0.02), 0.0502,
        998.9 + draw.even(0.5), pull, 0.3 + draw.even(0.001), draw.normal(780, 4), ROUNDED_GRAVITY,
    )  # fmt: skip


def engine(
    burnt: Array, heating_value: Array, time: Array, pull: Array, radius: Array, speed: Array,
    g: float,
) -> dict[Name, Array]:  # fmt: skip
    fuel = burnt * 1e-3 * heating_value / time
    shaft = pull * 1e-3 * g * radius * 1e-3 * speed * RPM
    return {
        ("fuel_to_shaft", None): 100 * shaft / fuel,
        ("fuel_power", None): fuel,
        ("shaft_power", None): shaft,
    }


def ember(draw: Draws) -> dict[Name, Array]:
    scale, spring, caliper = draw.curve()(0), draw.curve(), draw.curve()
    before, after, hung = (x * (1 + 0.001 * scale) + draw.even(0.05) for x in (212.6, 200.8, 65.0))
    slack = draw.repeats(10.6, 12.6, 11.6, 13.5, 10.0, 12.1, 13.0, 11.0)
    slack = slack + spring(0) + draw.peaked(-0.125, 0, 0.125)
    drum = 40 + 0.03 * caliper(0) + draw.even(0.005) + draw.even(0.02)
    return engine(
        before - after - draw.peaked(0.1, 0.4, 0.8), spirit(draw.peaked(90, 95, 96.5), ALCOHOL),
        840 + draw.even(1), hung - slack, (drum + 0.6 + draw.even(0.3)) / 2,
        draw.normal(815, 9), STANDARD_GRAVITY,
    )  # fmt: skip


def ember_worked_out(draw: Draws) -> dict[Name, Array]:
    burnt = 212.6 + draw.even(0.05) - (200.8 + draw.even(0.05)) - draw.peaked(0.1, 0.4, 0.8)
    pull = 65 + draw.even(0.05) - (11.8 + draw.even(1) + draw.scatter(1.2, 8))
    return engine(
        burnt, spirit(draw.peaked(90, 95, 96.5), ALCOHOL_WORKED_OUT), 840 + draw.even(1), pull,
        20.3 + draw.even(0.15), draw.normal(815, 9), ROUNDED_GRAVITY,
    )  # fmt: skip


def tank(draw: Draws, probe: Callable[[float], Array], at_end: Callable[[float], Array]):
    """The tank, with the probe's error at its start and at its end, as shares of the limit."""
    start = 15.2 + (0.3 + 0.005 * 15.2) * probe(15.2) + draw.even(0.3)
    end = 50.4 + (0.3 + 0.005 * 50.4) * at_end(50.4) + draw.peaked(-1.5, -0.3, 0.5)
    heat = (145.5 + draw.even(3)) * 1e-3 * 992.5 * 4181.5 * (end - start) / KWH
    drawn = 2.05 * (1 + 0.01 * draw.even(1)) + draw.even(0.005)
    return {
        ("cop_tank", None): heat / drawn,
        ("cop_with_losses", None): (heat + draw.peaked(0.08, 0.14, 0.22)) / drawn,
        ("heat", None): heat,
    }


def larder(draw: Draws) -> dict[Name, Array]:
    probe = draw.curve(-196, 600)
    return tank(draw, probe, probe)


def larder_worked_out(draw: Draws) -> dict[Name, Array]:
    return tank(draw, draw.curve(), draw.curve())


BELT = [(24.10, 12.38, 18.62, 9.86), (24.11, 12.46, 18.61, 9.81), (24.09, 12.34, 18.63, 9.89),
        (24.11, 12.39, 18.61, 9.85), (24.09, 12.42, 18.63, 9.83)]  # fmt: skip
GEAR = [(24.12, 12.07, 18.70, 9.93), (24.13, 12.04, 18.69, 9.95), (24.11, 12.00, 18.71, 9.99),
        (24.13, 12.10, 18.69, 9.91), (24.11, 12.03, 18.71, 9.96)]  # fmt: skip


def dray(rows: list[tuple[float, ...]]) -> Callable[[Draws], dict[Name, Array]]:
    def model(draw: Draws) -> dict[Name, Array]:
        error = [draw.curve(0, top) for top in (60, 40, 60, 40)]
        step = [draw.even(0.005) for _ in range(4)]
        efficiencies, losses = [], []
        for row in rows:
            v_in, i_in, v_out, i_out = (
                x + (share * x + digits) * curve(x) + fresh
                for x, share, digits, curve, fresh in zip(
                    row, (0.005, 0.02) * 2, (0.02, 0.05) * 2, error, step, strict=True
                )
            )
            efficiencies.append(100 * v_out * i_out / (v_in * i_in))
            losses.append(v_in * i_in - v_out * i_out)
        # one chi-square and one set of scores for both results, which does no matter to either
        w, scores = draw.rng.chisquare(4, BATCH), draw.rng.normal(size=(5, BATCH))
        away = np.sqrt(4 / w) * (scores - scores.mean(axis=0)) / np.sqrt(5 * 4)
        return {
            ("motor_to_lamps", "loaded"): np.sum((1 / 5 + away) * efficiencies, axis=0),
            ("power_lost", "loaded"): np.sum((1 / 5 + away) * losses, axis=0),
        }

    return model


def dray_worked_out(v_in: float, i_in: float, v_out: float, i_out: float):
    def model(draw: Draws) -> dict[Name, Array]:
        gain = (1 + draw.even(0.005)) * (1 + draw.even(0.02))
        gain = gain / ((1 + draw.even(0.005)) * (1 + draw.even(0.02)))
        run = 1 + draw.scatter(0.007, 5)
        return {("motor_to_lamps", "loaded"): 100 * v_out * i_out / (v_in * i_in) * gain * run}

    return model


AS_CASE: dict[str, Callable[[Draws], dict[Name, Array]]] = {
    "wren_loads": wren_loads,
    "beckside": beckside,
    "ember": ember,
    "larder": larder,
    "dray_belt": dray(BELT),
    "dray_gear": dray(GEAR),
}
AS_WORKED_OUT: dict[str, Callable[[Draws], dict[Name, Array]]] = {
    "wren_loads": lambda draw: wren_one_run(draw, by_curve=False),
    "beckside": beckside_worked_out,
    "ember": ember_worked_out,
    "larder": larder_worked_out,
    "dray_belt": dray_worked_out(24.10, 12.40, 18.62, 9.85),
    "dray_gear": dray_worked_out(24.12, 12.05, 18.70, 9.95),
}


# -- bands ----------------------------------------------------------------------------------------


class Band(NamedTuple):
    """Mean and ends, and how well the simulation knows each."""

    numbers: Array
    simulation: Array

    @property
    def half_width(self) -> float:
        return (self.numbers[2] - self.numbers[1]) / 2


@cache
def simulated(model: Callable[[Draws], dict[Name, Array]]) -> dict[Name, Band]:
    batches = [model(Draws(seed)) for seed in range(BATCHES)]
    bands = {}
    for name in batches[0]:
        each = np.array([[b[name].mean(), *np.quantile(b[name], [0.025, 0.975])] for b in batches])
        bands[name] = Band(each.mean(axis=0), each.std(axis=0, ddof=1) / np.sqrt(BATCHES))
    return bands


@cache
def results(case: str) -> dict[Name, dict[str, Any]]:
    answer = json.loads(effband.run(CASES / f"{case}.yaml", trials=TRIALS).to_json())
    return {(found["result"], found["run"]): found for found in answer["results"]}


def by_the_tool(case: str) -> dict[Name, Band]:
    return {name: _band(found) for name, found in results(case).items()}


def as_written(case: str, result: str, run: str | None = None) -> float:
    return results(case)[result, run]["nominal"]


def _band(found: dict[str, Any]) -> Band:
    ends, simulation = found["interval"], found["simulation_uncertainty"]
    return Band(
        np.array([found["mean"], ends["low"], ends["high"]]),
        np.array([simulation["mean"], simulation["low"], simulation["high"]]),
    )


def margin(*bands: Band) -> Array:
    """Return what bands may differ by simulation alone; it must stay small beside the widths."""
    margins = TIMES_SIMULATION * np.sqrt(sum(band.simulation**2 for band in bands))
    assert (margins < LARGEST_MARGIN * bands[0].half_width).all(), f"simulation: {margins}"
    return margins


@pytest.mark.parametrize("case", AS_CASE)
def test_the_tool_draws_what_the_case_says(case: str) -> None:
    ours, tool = simulated(AS_CASE[case]), by_the_tool(case)
    assert set(ours) == {name for name in tool if name[1] in {None, "loaded", *RUNS}}
    for name, band in ours.items():
        off = np.abs(tool[name].numbers - band.numbers)
        assert (off <= margin(tool[name], band)).all(), f"{name}: {tool[name]} and {band}"


# -- beside the separate working ----------------------------------------------------------------


class WorkedOut(NamedTuple):
    """A number of a bench of our own, worked out separately, as printed there.

    `why` is what makes the band of the case differ from it; None where the two are to agree.
    """

    case: str
    result: str
    run: str | None
    printed: Sequence[str]  # mean, ends of the 95 % band
    why: str | None = None

    @property
    def name(self) -> Name:
        return self.result, self.run

    def allowed(self, *bands: Band) -> Array:
        """Half the last printed digit, and the simulation."""
        digits = [len(text.partition(".")[2]) for text in self.printed]
        return 0.5 * 10.0 ** -np.array(digits) * (1 + 1e-9) + margin(*bands)


CURVE = "the gauge's error follows its curve: 9 and 3 bar share less of it than by two halves"
TWELVE = "twelve refills are metered together: a twelfth of the display's step; 1.45/12, not 0.12"
GRAVITY = "standard gravity, where 9.81 was used"
ONE_SCALE = (
    "tare and load are read with one scale: its error cancels by half, and its step comes in"
)
ONE_PROBE = "one probe reads both temperatures, 35 K apart on a span of 796: its error cancels"
ALCOHOL_TABLE = "another table of alcohol, 0.05 lower at 96 % and 0.07 at 96.5 %"
DIGITS = "meters as sold err by some digits as well: 2 of a multimeter, 5 of a clamp"

WORKED_OUT = [
    WorkedOut("wren_loads", "air_to_wire", "full", ("8.04", "7.61", "8.50"), CURVE),
    WorkedOut("wren_loads", "wall_to_wire", "full", ("1.95", "1.83", "2.09"), TWELVE),
    WorkedOut("wren_loads", "wall_to_air", "full", ("24.3", "22.6", "26.1"), f"{CURVE}; {TWELVE}"),
    WorkedOut("wren_loads", "air_to_shaft", "full", ("15.35", "13.5", "17.6"), CURVE),
    WorkedOut("beckside", "wheel", None, ("61.9", "59.2", "64.7"), ONE_SCALE),
    WorkedOut("beckside", "shaft_power", None, ("490.4", "480", "501"), f"{ONE_SCALE}; {GRAVITY}"),
    # 792.6 there, which is the value of the numbers as written
    WorkedOut("beckside", "water_power", None, ("793", "763", "823")),
    WorkedOut("beckside", "flow", None, ("2.582", "2.533", "2.632")),
    WorkedOut("beckside", "head", None, ("31.33", "30.36", "32.30"), GRAVITY),
    WorkedOut("ember", "fuel_to_shaft", None, ("0.276", "0.260", "0.295")),
    WorkedOut("ember", "fuel_power", None, ("327.5", "309.8", "342.7"), ALCOHOL_TABLE),
    WorkedOut("ember", "shaft_power", None, ("0.904", "0.872", "0.937"), GRAVITY),
    WorkedOut("larder", "cop_tank", None, ("2.84", "2.73", "2.96"), ONE_PROBE),
    WorkedOut("larder", "cop_with_losses", None, ("2.92", "2.79", "3.04"), ONE_PROBE),
    WorkedOut("larder", "heat", None, ("5.83", "5.60", "6.07"), ONE_PROBE),
    WorkedOut("dray_belt", "motor_to_lamps", "loaded", ("61.4", "59.4", "63.4"), DIGITS),
    WorkedOut("dray_gear", "motor_to_lamps", "loaded", ("64.0", "61.9", "66.2"), DIGITS),
]


@pytest.mark.parametrize("row", WORKED_OUT, ids=lambda row: f"{row.case}-{row.result}")
def test_what_was_worked_out_separately(row: WorkedOut) -> None:
    printed = np.array([float(text) for text in row.printed])
    again = simulated(AS_WORKED_OUT[row.case])[row.name]
    assert (np.abs(again.numbers - printed) <= row.allowed(again)).all(), f"{again}"
    if row.why is None:
        tool = by_the_tool(row.case)[row.name]
        assert (np.abs(tool.numbers - printed) <= row.allowed(tool)).all(), f"{tool}"
    else:
        case = simulated(AS_CASE[row.case])[row.name]
        differs = np.abs(case.numbers - again.numbers) > margin(case, again)
        assert differs.any(), f"{case} and {again} are the same: {row.why}?"


def test_values_as_written() -> None:
    """A bench of our own, worked out separately, and by hand where a sum stands."""
    index = 1 / (1 - np.log(3.985 / 3.535) / np.log(9.985 / 3.535))
    assert as_written("wren_loads", "gas_index", "full") == pytest.approx(index)  # 1.1304
    # 8.436 kJ of 75.1 kJ in one run; the three here give 8.433 kJ on average
    found = as_written("wren_loads", "heatless_to_wire", "full")
    assert found == pytest.approx(11.2, abs=0.05)
    assert as_written("beckside", "water_power") == pytest.approx(792.6, abs=0.05)
    # the label's 95 %, 0.4 g evaporated: 24.67 MJ/kg of 11.4 g, 0.759 kJ on the brake
    by_label = 100 * 0.9038 * 840 / (11.4e-3 * 24.672e6)
    assert as_written("ember", "fuel_to_shaft") == pytest.approx(by_label, rel=1e-3)


def test_ceiling_of_the_larder_is_carnot_over_the_whole_warming(tmp_path: Path) -> None:
    """Carnot's least work for each small step of the warming, added up.

    As written the tank ends at 50.1 degC: 50.4 read, less the likeliest 0.3 K below the probe.
    """
    steps = np.linspace(15.2, 50.1, 100_001) + 273.15
    least = np.trapezoid(1 - (12 + 273.15) / steps, steps) / (50.1 - 15.2)
    case = tmp_path / "larder.yaml"
    text = (CASES / "larder.yaml").read_text(encoding="utf-8")
    own = "results:\n  ceiling: {formula: carnot, unit: 1, is: ratio}\n"
    case.write_text(text.replace("results:\n", own))
    found = effband.run(case, trials=10_000).value("ceiling")
    assert found.by_hand == pytest.approx(1 / least, rel=1e-6)


def test_the_two_dray_cases_differ_in_their_words_and_readings_only() -> None:
    """Else a comparison could not share what the meters read wrong."""
    belt, gear = (effband.load(CASES / f"dray_{drive}.yaml").file for drive in ("belt", "gear"))
    assert belt.instruments == gear.instruments
    assert belt.formulas == gear.formulas
    assert belt.runs.readings == gear.runs.readings
    assert belt.runs.groups == gear.runs.groups
    assert belt.runs.rows != gear.runs.rows


def test_one_run_of_the_wren_bench_with_the_curve_of_its_gauge() -> None:
    """Worked out separately once more, with the curve: 8.050 %, 7.49 to 8.65 %, u 0.303."""
    again = simulated(_wren_by_curve)["air_to_wire", "full"]
    assert np.abs(again.numbers - [8.050, 7.49, 8.65]) == pytest.approx(0, abs=0.006)
    group = by_the_tool("wren_loads")["air_to_wire", "full"]
    assert np.abs(group.numbers - [8.050, 7.49, 8.65]) == pytest.approx(0, abs=0.012)


def _wren_by_curve(draw: Draws) -> dict[Name, Array]:
    return wren_one_run(draw, by_curve=True)
