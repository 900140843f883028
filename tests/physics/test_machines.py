"""Turning parts, electrical power and wind against integration by numbers, and their limits."""

from __future__ import annotations

import math

import numpy as np
import pytest
from bench import case_text, constant, understood, worked_out
from scipy.integrate import dblquad, quad, solve_ivp
from scipy.optimize import minimize_scalar
from scipy.stats import rayleigh

from effband.physics.functions import FUNCTIONS
from effband.propagate.domains import outside_as_written

G = 9.80665  # standard gravity, SI Brochure
RPM = math.pi / 30


def called(name: str, unit: str, **arguments: str) -> float:
    """Return a function's value, its arguments given in order."""
    return worked_out(f"{name}({', '.join(arguments)})", unit, **arguments)


# -- bodies, by integration over them -----------------------------------------------------------


def second_moment(inner: float, outer: float) -> float:
    """Return the integral of x^2 + y^2 over a ring, in plain coordinates."""

    def disc(radius: float) -> float:
        def edge(x: float) -> float:
            return math.sqrt(radius**2 - x**2)

        quarter: float = dblquad(lambda y, x: x * x + y * y, 0, radius, 0, edge)[0]
        return 4 * quarter

    return disc(outer) - (disc(inner) if inner else 0.0)


def test_inertia_of_a_disc_by_integration() -> None:
    density, thickness, radius = 7850.0, 0.02, 0.15
    mass = called("mass_of_disc", "kg", density="7850 kg/m^3", d="300 mm", thickness="20 mm")
    found = called("inertia_of_disc", "kg*m^2", mass=f"{mass!r} kg", diameter="300 mm")
    assert found == pytest.approx(density * thickness * second_moment(0, radius), rel=1e-7)


def test_inertia_of_a_ring_by_integration() -> None:
    per_area = 5.0 / (math.pi * (0.15**2 - 0.10**2))
    found = called("inertia_of_ring", "kg*m^2", mass="5 kg", inner="0.2 m", outer="0.3 m")
    assert found == pytest.approx(per_area * second_moment(0.10, 0.15), rel=1e-7)


def test_inertia_of_a_rod_by_integration() -> None:
    found = called("inertia_of_rod", "kg*m^2", mass="1.2 kg", length="0.5 m")
    expected = quad(lambda x: 1.2 / 0.5 * x**2, -0.25, 0.25)[0]
    assert found == pytest.approx(expected, rel=1e-12)
    about_an_end = quad(lambda x: 1.2 / 0.5 * x**2, 0, 0.5)[0]
    assert 4 * found == pytest.approx(about_an_end, rel=1e-12)


def test_a_geared_part_has_the_same_energy_seen_from_either_shaft() -> None:
    speeds = {"part": "3730 rpm", "shaft": "410 rpm"}
    seen = called("geared_inertia", "kg*m^2", inertia="0.0123 kg*m^2", **speeds)
    there = called("kinetic_energy", "J", inertia=f"{seen!r} kg*m^2", speed="410 rpm")
    here = called("kinetic_energy", "J", inertia="0.0123 kg*m^2", speed="3730 rpm")
    assert there == pytest.approx(here, rel=1e-12)


# -- inertia measured: the motions worked out, then read back -----------------------------------


def trifilar_period(amplitude: float) -> float:
    """Return the period of 0.015 kg m^2, 2.4 kg on three strings of 1.5 m at 0.12 m.

    From the energy of the turning and of the rising body, without any small angle.
    """
    inertia, mass, radius, length = 0.015, 2.4, 0.12, 1.5
    count = 200
    phase = (np.arange(count) + 0.5) * math.pi / 2 / count
    angle = amplitude * np.sin(phase)

    def hanging(twist: np.ndarray | float) -> np.ndarray:
        return np.sqrt(length**2 - 4 * radius**2 * np.sin(np.asarray(twist) / 2) ** 2)

    rise_per_angle = radius**2 * np.sin(angle) / hanging(angle)
    energy = mass * G * (hanging(angle) - hanging(amplitude))
    speed = np.sqrt(2 * energy / (inertia + mass * rise_per_angle**2))
    return float(4 * np.mean(amplitude * np.cos(phase) / speed) * math.pi / 2)


@pytest.mark.parametrize(("degrees", "high", "within"), [(1, 0.0, 1e-4), (10, 0.004, 5e-4)])
def test_trifilar_by_its_exact_motion(degrees: float, high: float, within: float) -> None:
    """A small twist gives the inertia back; one of 10 deg reads 0.4 % high."""
    period = trifilar_period(math.radians(degrees))
    hung = {"mass": "2.4 kg", "radius": "0.12 m", "length": "1.5 m", "period": f"{period!r} s"}
    found = called("inertia_by_trifilar", "kg*m^2", **hung)
    assert found / 0.015 - 1 == pytest.approx(high, abs=within)


def time_of_fall(friction: float) -> float:
    """Return the time in which 0.5 kg on a drum of 20 mm falls 1 m, turning 0.0351 kg m^2."""
    inertia, mass, radius = 0.0351, 0.5, 0.02

    def motion(_: float, state: np.ndarray) -> list[float]:
        pull = mass * G * radius - friction
        return [state[1], pull * radius / (inertia + mass * radius**2)]

    def landed(_: float, state: np.ndarray) -> float:
        return float(state[0] - 1.0)

    landed.terminal = True  # type: ignore[attr-defined]
    run = solve_ivp(motion, (0, 100), [0.0, 0.0], events=landed, rtol=1e-10, atol=1e-12)
    return float(run.t_events[0][0])


def test_falling_weight_by_its_motion_and_friction_makes_it_read_high() -> None:
    weight = {"mass": "0.5 kg", "radius": "20 mm", "height": "1 m"}
    found = [
        called("inertia_by_falling_weight", "kg*m^2", **weight, time=f"{time!r} s")
        for time in (time_of_fall(0.0), time_of_fall(0.005))
    ]
    assert found[0] == pytest.approx(0.0351, rel=1e-7)
    # 0.005 of the pull's 0.098 N m: J + m r^2 is divided by 1 - 0.005/0.098
    share = 1 - 0.005 / (0.5 * G * 0.02)
    assert found[1] == pytest.approx((0.0351 + 0.0002) / share - 0.0002, rel=1e-7)
    assert found[1] > 1.05 * found[0]


# -- spin-down, by its equation of motion --------------------------------------------------------

DRAG = {"coulomb": "0.02 N*m", "viscous": "1e-4 N*m*s", "windage": "5e-7 N*m*s^2"}


def coast(inertia: float, drag: tuple[float, float, float], start: float, end: float):
    """Return the solution of J dw/dt = -(a + b w + c w^2) and the time at which w is `end`."""
    a, b, c = drag

    def slowing(_: float, speed: np.ndarray) -> np.ndarray:
        return -(a + b * speed + c * speed**2) / inertia

    def there(_: float, speed: np.ndarray) -> float:
        return float(speed[0] - end)

    there.terminal = True  # type: ignore[attr-defined]
    settings = {"method": "DOP853", "rtol": 1e-11, "atol": 1e-11, "dense_output": True}
    run = solve_ivp(slowing, (0, 1000), [start], events=there, **settings)
    return run.sol, float(run.t_events[0][0])


@pytest.mark.parametrize(
    ("drag", "time"),
    [
        ((0.02, 1e-4, 5e-7), 113.611),
        ((0.02, 0, 0), 392.699),  # J (w1 - w2) / a
        ((0, 1e-4, 0), 346.574),  # (J/b) ln(w1/w2)
        ((0, 0, 5e-7), 318.310),  # (J/c) (1/w2 - 1/w1)
    ],
)
def test_spin_down_loss_carries_the_rotor_from_speed_to_speed_in_the_printed_time(
    drag: tuple[float, float, float], time: float
) -> None:
    """Of 0.05 kg m^2 from 3000 to 1500 rpm: the time is the integral of J w dw over the loss."""
    units = ("N*m", "N*m*s", "N*m*s^2")
    terms = {
        name: f"{value!r} {unit}" for name, value, unit in zip("abc", drag, units, strict=True)
    }

    def slowness(rpm: float) -> float:
        loss = called("spin_down_loss", "W", **terms, speed=f"{rpm!r} rpm")
        return 0.05 * rpm * RPM**2 / loss

    nodes, weights = np.polynomial.legendre.leggauss(8)
    found = (
        sum(w * slowness(2250 + 750 * float(x)) for x, w in zip(nodes, weights, strict=True)) * 750
    )
    assert found == pytest.approx(time, abs=5e-4)
    assert coast(0.05, drag, 3000 * RPM, 1500 * RPM)[1] == pytest.approx(time, abs=5e-4)


def test_spin_down_power_is_the_mean_over_time_and_not_the_loss_at_the_middle_speed() -> None:
    solution, time = coast(0.05, (0.02, 1e-4, 5e-7), 3000 * RPM, 1500 * RPM)
    speeds = {"inertia": "0.05 kg*m^2", "fast": "3000 rpm", "slow": "1500 rpm"}
    mean = called("spin_down_power", "W", **speeds, time=f"{time!r} s")

    def loss(at: float) -> float:
        speed = float(solution(at)[0])
        return 0.02 * speed + 1e-4 * speed**2 + 5e-7 * speed**3

    assert mean == pytest.approx(quad(loss, 0, time)[0] / time, rel=1e-8)
    assert mean == pytest.approx(16.289, abs=5e-4)
    middle = called("spin_down_loss", "W", **DRAG, speed="2250 rpm")
    assert mean / middle - 1 == pytest.approx(-0.031, abs=5e-4)


def test_coasting_to_rest_in_closed_form() -> None:
    """0.02 kg m^2 from 100 rad/s, 0.05 N m and 0.001 N m s: t = (J/b) ln(1 + b w / c)."""
    drag = (0.05, 0.001, 0)
    solution, time = coast(0.02, drag, 100, 0)
    assert time == pytest.approx(20 * math.log(3), rel=1e-8)  # 21.972 s
    run = {"inertia": "0.02 kg*m^2", "fast": "100 rad/s", "rest": "0 rad/s"}
    mean = called("spin_down_power", "W", **run, time=f"{time!r} s")
    assert mean * time == pytest.approx(100, rel=1e-12)  # all of J w^2 / 2
    terms = {"a": "0.05 N*m", "b": "0.001 N*m*s", "c": "0 N*m*s^2"}
    for at in (0.0, 5.0, 15.0):
        speed = float(solution(at)[0])
        assert speed == pytest.approx(150 * math.exp(-at / 20) - 50, rel=1e-8)
        loss = called("spin_down_loss", "W", **terms, speed=f"{speed!r} rad/s")
        # J w dw/dt, with dw/dt of the closed form
        assert loss == pytest.approx(0.02 * speed * 7.5 * math.exp(-at / 20), rel=1e-7)


# -- brakes: force times way, turn by turn -------------------------------------------------------


def test_prony_brake_by_the_work_of_one_turn() -> None:
    found = called(
        "prony_brake_power", "W", load="4.26 kg", tare="0.5 kg", arm="382 mm", speed="1192 rpm"
    )
    assert found == pytest.approx(3.76 * G * 2 * math.pi * 0.382 * 1192 / 60, rel=1e-12)


def test_rope_brake_by_the_way_of_the_ropes_middle() -> None:
    readings = {"hung": "17.3 kg", "spring": "2.6 kg", "drum": "600 mm", "rope": "26 mm"}
    found = called("rope_brake_power", "W", **readings, speed="450 rpm")
    assert found == pytest.approx(14.7 * G * math.pi * 0.626 * 450 / 60, rel=1e-12)


def test_an_arm_five_degrees_off_reads_four_per_mille_high() -> None:
    """The lever is the level part of the arm, and the arm is what was measured."""
    lever = f"{300 * math.cos(math.radians(5))!r} mm"
    taken, true = (
        called("prony_brake_power", "W", load="2 kg", tare="0 kg", arm=arm, speed="780 rpm")
        for arm in ("300 mm", lever)
    )
    assert taken / true - 1 == pytest.approx(0.004, abs=5e-4)


# -- electrical power, instant by instant --------------------------------------------------------

TURN = np.arange(3600) * 2 * math.pi / 3600


def test_ac_power_by_the_product_of_every_instant() -> None:
    volts = 230 * math.sqrt(2) * np.sin(TURN)
    amperes = 2.5 * math.sqrt(2) * np.sin(TURN - math.acos(0.8))
    found = called("ac_power", "W", voltage="230 V", current="2.5 A", pf="0.8")
    assert found == pytest.approx(float(np.mean(volts * amperes)), rel=1e-12)


def test_three_phase_power_by_the_product_of_every_instant() -> None:
    """Star: 400 V between lines are 400/sqrt(3) V from each line to the star point."""
    total = np.zeros_like(TURN)
    for shift in (0, 1, 2):
        phase = TURN - shift * 2 * math.pi / 3
        lines = 400 / math.sqrt(3) * math.sqrt(2)
        total += lines * np.sin(phase) * 3 * math.sqrt(2) * np.sin(phase - math.acos(0.85))
        if shift == 0:
            one, other = lines * np.sin(TURN), lines * np.sin(TURN - 2 * math.pi / 3)
            assert math.sqrt(np.mean((one - other) ** 2)) == pytest.approx(400, rel=1e-12)
    assert np.ptp(total) < 1e-9 * total[0]  # a balanced load takes the same at every instant
    found = called("three_phase_power", "W", voltage="400 V", current="3 A", pf="0.85")
    assert found == pytest.approx(float(np.mean(total)), rel=1e-12)


def test_a_low_power_factor_is_warned_of_where_one_degree_is_five_per_cent() -> None:
    exact = called("ac_power", "W", voltage="230 V", current="2 A", pf="0.3")
    off = math.cos(math.acos(0.3) + math.radians(1))
    less = called("ac_power", "W", voltage="230 V", current="2 A", pf=f"{off!r}")
    assert 0.05 < 1 - less / exact < 0.06


def test_lamp_and_resistor_at_nine_tenths_of_the_voltage() -> None:
    """0.8449 with 1.6, 0.8502 with 1.54, 0.81 for a resistance that stays the same."""
    load = {"rated": "60 W", "at": "230 V", "voltage": "207 V"}
    assert called("lamp_power", "W", **load, exponent="1.6") / 60 == pytest.approx(0.8449, abs=5e-5)
    assert called("lamp_power", "W", **load, exponent="1.54") / 60 == pytest.approx(
        0.8502, abs=5e-5
    )
    assert called("resistor_power", "W", **load) / 60 == pytest.approx(0.81, rel=1e-12)
    # with an exponent of 2 a lamp is a resistor
    assert called("lamp_power", "W", **load, exponent="2") == pytest.approx(48.6, rel=1e-12)


# A meter that averages, built here: full-wave mean, scaled so that a sine is read right.
STEPS = (np.arange(200_000) + 0.5) / 200_000


def averaged(wave: np.ndarray) -> float:
    sine = np.sin(2 * math.pi * STEPS)
    scale = math.sqrt(np.mean(sine**2)) / np.mean(np.abs(sine))
    return float(scale * np.mean(np.abs(wave)))


def true_rms(wave: np.ndarray) -> float:
    return math.sqrt(np.mean(wave**2))


def three_level(on_fraction: float) -> np.ndarray:
    half = np.where(on_fraction > (2 * STEPS) % 1, 325.0, 0.0)
    return np.where(STEPS < 0.5, half, -half)


TRIANGLE = 325.0 * (1 - 4 * np.abs((STEPS + 0.25) % 1 - 0.5))
SQUARE = three_level(1.0)


@pytest.mark.parametrize(
    ("wave", "off"),
    [
        (325 * np.sin(2 * math.pi * STEPS), 0.0),
        (SQUARE, 0.11),
        (TRIANGLE, -0.04),
        (three_level(0.5), -0.21),
    ],
    ids=["sine", "square", "triangle", "three-level"],
)
def test_true_rms_of_an_averaged_wave(wave: np.ndarray, off: float) -> None:
    reading, true = averaged(wave), true_rms(wave)
    assert reading / true - 1 == pytest.approx(off, abs=0.005)
    form = true / float(np.mean(np.abs(wave)))
    found = called("true_rms_of_wave", "V", reading=f"{reading!r} V", form_factor=f"{form!r}")
    assert found == pytest.approx(true, rel=1e-9)


@pytest.mark.parametrize(
    ("on_fraction", "off", "power_off"),
    [(1.0, 0.11, 0.23), (0.81, 0.0, 0.0), (0.67, -0.09, -0.17), (0.5, -0.21, -0.38)],
)
def test_true_rms_of_an_averaged_inverter(on_fraction: float, off: float, power_off: float) -> None:
    """How far off such a meter is, in volts, and in the power worked out from them."""
    wave = three_level(on_fraction)
    reading, true = averaged(wave), true_rms(wave)
    shown = {"reading": f"{reading!r} V", "on": f"{on_fraction!r}"}
    assert called("true_rms_of_three_level", "V", **shown) == pytest.approx(true, rel=1e-5)
    assert reading / true - 1 == pytest.approx(off, abs=0.005)
    assert (reading / true) ** 2 - 1 == pytest.approx(power_off, abs=0.005)


# -- wind ----------------------------------------------------------------------------------------

BREEZE = {"density": "1.225 kg/m^3", "rotor": "1.2 m", "wind": "6 m/s"}


def test_wind_power_by_the_mass_that_blows_through() -> None:
    mass_a_second = 1.225 * math.pi * 0.6**2 * 6
    assert called("wind_power", "W", **BREEZE) == pytest.approx(mass_a_second * 36 / 2, rel=1e-12)


def test_betz_ceiling_by_the_best_slowing_down() -> None:
    """Wind slowed to 1 - 2a behind the rotor passes it at 1 - a: it gives 4 a (1 - a)^2."""
    best = minimize_scalar(lambda a: -4 * a * (1 - a) ** 2, bounds=(0, 0.5), method="bounded")
    ratio = called("betz_ceiling", "W", **BREEZE) / called("wind_power", "W", **BREEZE)
    assert ratio == pytest.approx(-best.fun, rel=1e-9)


def test_a_usual_year_of_wind_carries_nearly_twice_what_its_mean_speed_says() -> None:
    winds = rayleigh.ppf((np.arange(200_000) + 0.5) / 200_000)
    assert np.mean(winds**3) / np.mean(winds) ** 3 == pytest.approx(6 / math.pi, rel=1e-3)


# -- limits ----------------------------------------------------------------------------------------

REFUSED, WARNED = "refused", "warned of"


def said_of(name: str, changes: dict[str, str]) -> tuple[list[str], list[str]]:
    """Return what is refused, and warned of, with some arguments of the example changed."""
    function = FUNCTIONS[name]
    names = [argument.name for argument in function.arguments]
    values = dict(zip(names, function.example, strict=True))
    assert set(changes) <= set(names)
    entries = {f"x_{key}": constant(text) for key, text in (values | changes).items()}
    case = understood(case_text(f"{name}({', '.join(entries)})", function.gives.unit, entries))
    refused, doubtful = outside_as_written(case)
    return [problem.remedy for problem in refused], [problem.remedy for problem in doubtful]


@pytest.mark.parametrize(
    ("name", "changes", "how", "words"),
    [
        ("inertia_of_ring", {"inner_diameter": "301 mm"}, REFUSED, "exchanged"),
        ("mass_of_disc", {"density": "7.85 kg/m^3"}, WARNED, "1 g/cm^3 is 1000 kg/m^3"),
        ("inertia_by_trifilar", {"period": "0 s"}, REFUSED, "a swing takes time"),
        ("inertia_by_trifilar", {"length": "0 mm"}, REFUSED, "strings"),
        # 1 m of free fall takes 0.4516 s
        ("inertia_by_falling_weight", {"time": "0.451 s"}, REFUSED, "faster than freely"),
        ("inertia_by_falling_weight", {"time": "0.452 s"}, WARNED, "lighter weight"),
        ("inertia_by_falling_weight", {"time": "0 s"}, REFUSED, "a fall takes time"),
        ("geared_inertia", {"shaft_speed": "0 rpm"}, REFUSED, "no ratio"),
        ("spin_down_power", {"speed_to": "2600 rpm"}, REFUSED, "exchanged"),
        ("spin_down_power", {"speed_to": "2700 rpm"}, REFUSED, "exchanged"),
        ("spin_down_power", {"speed_to": "0 rpm"}, WARNED, "time a shorter span"),
        ("spin_down_power", {"time": "0 s"}, REFUSED, "slowing down takes time"),
        ("spin_down_power", {"time": "-3.2 s"}, REFUSED, "slowing down takes time"),
        ("spin_down_loss", {"viscous": "-1e-3 N*m*s"}, REFUSED, "cannot gain from friction"),
        ("spin_down_loss", {"viscous": "-1e-5 N*m*s"}, WARNED, "no oil drives"),
        ("prony_brake_power", {"load": "0.3 kg"}, REFUSED, "less than its arm weighs"),
        ("rope_brake_power", {"spring_reading": "17.4 kg"}, REFUSED, "exchanged"),
        ("rope_brake_power", {"rope_diameter": "0.6 m"}, WARNED, "exchanged"),
        ("ac_power", {"power_factor": "80"}, REFUSED, "80 %"),
        ("ac_power", {"power_factor": "-0.8"}, REFUSED, "turn the clamp round"),
        ("three_phase_power", {"power_factor": "1.01"}, REFUSED, "80 %"),
        ("three_phase_power", {"power_factor": "-0.01"}, REFUSED, "turn the clamp round"),
        ("three_phase_power", {"power_factor": "0.2"}, WARNED, "wattmeter"),
        ("lamp_power", {"voltage": "183 V"}, WARNED, "measure volts and amperes"),
        ("lamp_power", {"voltage": "254 V"}, WARNED, "measure volts and amperes"),
        ("lamp_power", {"voltage": "114 V"}, REFUSED, "measure volts and amperes"),
        ("lamp_power", {"exponent": "1.39"}, WARNED, "between 1.5 and 1.62"),
        ("lamp_power", {"exponent": "1.71"}, WARNED, "between 1.5 and 1.62"),
        ("lamp_power", {"exponent": "2.5"}, REFUSED, "slower than its square"),
        ("resistor_power", {"voltage": "110 V"}, WARNED, "cooler"),
        ("resistor_power", {"voltage": "260 V"}, WARNED, "hotter"),
        ("true_rms_of_wave", {"form_factor": "0.9"}, REFUSED, "rms over mean"),
        ("true_rms_of_three_level", {"on_fraction": "67"}, REFUSED, "more than all of the time"),
        ("true_rms_of_three_level", {"on_fraction": "0"}, REFUSED, "never on"),
        ("wind_power", {"wind_speed": "-6 m/s"}, REFUSED, "sign"),
        ("wind_power", {"wind_speed": "40 m/s"}, WARNED, "storm"),
        ("betz_ceiling", {"wind_speed": "40 m/s"}, WARNED, "storm"),
        ("betz_ceiling", {"rotor_diameter": "1200 m"}, WARNED, "check the unit"),
    ],
)
def test_what_is_refused_or_warned_of(
    name: str, changes: dict[str, str], how: str, words: str
) -> None:
    refused, doubtful = said_of(name, changes)
    assert any(words in remedy for remedy in (refused if how == REFUSED else doubtful))
    if how == WARNED:
        assert refused == []


@pytest.mark.parametrize(
    ("name", "changes"),
    [
        ("inertia_of_ring", {"inner_diameter": "300 mm"}),  # a thin hoop
        ("spin_down_power", {"speed_to": "1300 rpm"}),
        ("prony_brake_power", {"tare": "2.35 kg"}),  # an open brake
        ("rope_brake_power", {"rope_diameter": "0 mm"}),  # a thin cord
        ("geared_inertia", {"part_speed": "-3000 rpm"}),  # meshing gears turn opposite ways
        ("ac_power", {"power_factor": "1"}),
        ("lamp_power", {"voltage": "184 V"}),
        ("lamp_power", {"voltage": "253 V"}),
        ("resistor_power", {"voltage": "-205 V"}),  # direct current, leads exchanged
        ("true_rms_of_wave", {"form_factor": "1"}),
        ("true_rms_of_three_level", {"on_fraction": "1"}),
        ("wind_power", {"wind_speed": "0 m/s"}),
    ],
)
def test_what_passes_in_silence(name: str, changes: dict[str, str]) -> None:
    assert said_of(name, changes) == ([], [])
