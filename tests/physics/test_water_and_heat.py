"""Water, heat and fuel functions against separate computations."""

from __future__ import annotations

import math

import numpy as np
import pytest
from bench import case_text, constant, understood, worked_out
from CoolProp.CoolProp import PropsSI
from scipy.integrate import quad, solve_ivp
from scipy.optimize import brentq

from effband.physics import PhysicsFunction, fuel, hydraulic, thermal
from effband.propagate.domains import outside_as_written

BAR_3 = 3e5  # Pa, of a water heater in use
G = 9.80665


# -- orifice plates --------------------------------------------------------------------------


def discharge_coefficient(
    beta: float, bore: float, reynolds: float, before: float, behind: float
) -> float:
    """Return C of ISO 5167-2:2003, 5.3.2.1 (from memory); L1 and L2' are `before`, `behind`."""
    a = (19000 * beta / reynolds) ** 0.8
    m = 2 * behind / (1 - beta)
    c = 0.5961 + 0.0261 * beta**2 - 0.216 * beta**8
    c += 0.000521 * (1e6 * beta / reynolds) ** 0.7
    c += (0.0188 + 0.0063 * a) * beta**3.5 * (1e6 / reynolds) ** 0.3
    taps = 0.043 + 0.080 * math.exp(-10 * before) - 0.123 * math.exp(-7 * before)
    c += taps * (1 - 0.11 * a) * beta**4 / (1 - beta**4)
    c -= 0.031 * (m - 0.8 * m**1.1) * beta**1.3
    if bore < 0.07112:
        c += 0.011 * (0.75 - beta) * (2.8 - bore / 0.0254)
    return float(c)


TAPS = {"orifice_flow": (1.0, 0.47), "orifice_flow_corner_taps": (0.0, 0.0)}
DENSITY, VISCOSITY = 998.2, 1.002e-3


def plate_flow(function: str, drop: float, bore: float, beta: float) -> float:
    return worked_out(
        f"{function}(drop, pipe, hole, density, viscosity)",
        "m^3/s",
        drop=f"{drop!r} Pa difference",
        pipe=f"{bore!r} m",
        hole=f"{beta * bore!r} m",
        density=f"{DENSITY} kg/m^3",
        viscosity=f"{VISCOSITY} Pas",
    )


@pytest.mark.parametrize("function", TAPS)
@pytest.mark.parametrize(
    ("drop", "bore", "beta"), [(10e3, 0.08, 0.6), (300.0, 0.05, 0.5), (20e3, 0.06, 0.3)]
)
def test_orifice_flow_by_a_root_finder(
    function: str, drop: float, bore: float, beta: float
) -> None:
    unhindered = math.pi / 4 * (beta * bore) ** 2 * math.sqrt(2 * drop / DENSITY)
    unhindered /= math.sqrt(1 - beta**4)

    def mismatch(reynolds: float) -> float:
        flow = discharge_coefficient(beta, bore, reynolds, *TAPS[function]) * unhindered
        return 4 * DENSITY * flow / (math.pi * bore * VISCOSITY) - reynolds

    reynolds = brentq(mismatch, 2e3, 1e7, xtol=1e-9, rtol=1e-14)
    expected = reynolds * math.pi * bore * VISCOSITY / (4 * DENSITY)
    assert plate_flow(function, drop, bore, beta) == pytest.approx(expected, rel=1e-12, abs=0)


@pytest.mark.parametrize("function", TAPS)
@pytest.mark.parametrize("bore", [0.02, 0.05, 0.1, 1.0])
@pytest.mark.parametrize("beta", [0.1, 0.3, 0.56, 0.75])
@pytest.mark.parametrize("reynolds", [5e3, 1e5, 1e7])
def test_orifice_flow_settles_at_the_ends_of_its_domain(
    function: str, bore: float, beta: float, reynolds: float
) -> None:
    """From a flow to its pressure drop needs no passes; the function must find the way back."""
    flow = reynolds * math.pi * bore * VISCOSITY / (4 * DENSITY)
    c = discharge_coefficient(beta, bore, reynolds, *TAPS[function])
    speed = flow * math.sqrt(1 - beta**4) / (c * math.pi / 4 * (beta * bore) ** 2)
    drop = DENSITY / 2 * speed**2
    assert plate_flow(function, drop, bore, beta) == pytest.approx(flow, rel=1e-12, abs=0)


# -- notch -----------------------------------------------------------------------------------


@pytest.mark.parametrize("angle", [60, 90])
@pytest.mark.parametrize("head", [0.06, 0.2, 0.38])
def test_v_notch_by_torricelli_over_the_opening(head: float, angle: float) -> None:
    """Water a depth y under the level leaves at sqrt(2 g y), over the width of the notch there."""

    def strip(depth: float) -> float:
        return 2 * (head - depth) * math.tan(math.radians(angle) / 2) * math.sqrt(2 * G * depth)

    ideal = quad(strip, 0, head, epsabs=0, epsrel=1e-10)[0]
    found = worked_out(
        "v_notch_flow(head, angle, 1)",
        "m^3/s",
        head=f"{head - 0.00085!r} m",  # the function adds 0.85 mm
        angle=f"{angle} deg",
    )
    assert found == pytest.approx(ideal, rel=1e-9, abs=0)


@pytest.mark.parametrize("head", [0.1, 0.2, 0.35])
def test_v_notch_by_the_american_formula(head: float) -> None:
    """Q = 2.49 h^2.48 in feet (USBR Water Measurement Manual, from memory).

    Each of the two calibrations is good to about 1 %.
    """
    cone = 2.49 * (head / 0.3048) ** 2.48 * 0.3048**3
    found = worked_out(
        "v_notch_flow(head, angle, 0.578)", "m^3/s", head=f"{head} m", angle="90 deg"
    )
    assert found == pytest.approx(cone, rel=0.01)


# -- water as it is --------------------------------------------------------------------------


def water(of: str, celsius: float, pressure: float = 101325.0) -> float:
    return float(PropsSI(of, "T", celsius + 273.15, "P", pressure, "Water"))


def test_heat_of_water_by_its_enthalpy() -> None:
    """148 kg from 15.2 to 50.4 degC: 6.0498 kWh by IAPWS-95 at 3 bar."""
    enthalpy = (water("H", 50.4, BAR_3) - water("H", 15.2, BAR_3)) * 148 / 3.6e6
    assert enthalpy == pytest.approx(6.0498, abs=5e-5)
    mean = quad(lambda celsius: water("C", celsius, BAR_3), 15.2, 50.4)[0] / 35.2
    for specific_heat, allowed in ((f"{mean!r}", 1e-8), ("4180.6", 1e-5), ("4180", 2e-4)):
        heat = worked_out(
            "sensible_heat(mass, c, cold, hot)",
            "kWh",
            mass="148 kg",
            c=f"{specific_heat} J/(kg*K)",
            cold="15.2 degC",
            hot="50.4 degC",
        )
        assert heat == pytest.approx(enthalpy, rel=allowed)


def test_what_the_entries_say_of_water() -> None:
    for celsius in np.linspace(20, 55, 15):
        assert water("C", float(celsius)) == pytest.approx(4180, rel=1e-3)
    assert water("D", 20) == pytest.approx(998.2, abs=0.05)
    assert water("D", 16) == pytest.approx(998.9, abs=0.05)
    assert water("V", 20) == pytest.approx(1.002e-3, abs=5e-7)
    steam, liquid = (PropsSI("H", "T", 298.15, "Q", quality, "Water") for quality in (1, 0))
    assert steam - liquid == pytest.approx(2.44e6, abs=5e3)


def test_weighed_in_air_water_reads_a_thousandth_light() -> None:
    """The buoyancy that `flow_by_weighing` leaves out, against steel weights of 8000 kg/m^3."""
    air = 1.2
    seen = (1 - air / 998.2) / (1 - air / 8000)
    assert 1 - seen == pytest.approx(0.001, abs=1e-4)


# -- cooling ---------------------------------------------------------------------------------


@pytest.mark.parametrize(("start", "room"), [(55.0, 20.0), (8.0, 22.0)])
def test_a_cooling_tank_by_its_differential_equation(start: float, room: float) -> None:
    """150 kg at 1.4 W/K for 24 h; a cold tank warms by the same law."""
    capacity, loss, time = 150 * 4181.0, 1.4, 86400.0
    run = solve_ivp(
        lambda _, state: [-loss * (state[0] - room) / capacity, state[0]],
        (0, time),
        [start, 0.0],
        rtol=1e-11,
        atol=1e-9,
    )
    end, mean = float(run.y[0][-1]), float(run.y[1][-1]) / time
    found = worked_out(
        "heat_loss_coefficient(mass, c, start, end, room, time)",
        "W/K",
        mass="150 kg",
        c="4181 J/(kg*K)",
        start=f"{start} degC",
        end=f"{end!r} degC",
        room=f"{room} degC",
        time="24 h",
    )
    assert found == pytest.approx(loss, rel=1e-8)
    heat = worked_out(
        "standing_loss(loss, mean, room, time)",
        "J",
        loss="1.4 W/K",
        mean=f"{mean!r} degC",
        room=f"{room} degC",
        time="24 h",
    )
    assert heat == pytest.approx(capacity * (start - end), rel=1e-8)


# -- the Carnot cycle ------------------------------------------------------------------------


@pytest.mark.parametrize(("hot", "cold"), [(55, 15), (652, 30), (35, -7)])
def test_carnot_by_an_ideal_gas_that_runs_the_cycle(hot: float, cold: float) -> None:
    """One mole, from 1 to 3 L hot, then down the adiabat and back: work and heat by p dV."""
    t_hot, t_cold, gas, index = hot + 273.15, cold + 273.15, 8.31446261815324, 1.4
    stretch = (t_hot / t_cold) ** (1 / (index - 1))

    def taken_up(kelvin: float, first: float, last: float) -> float:
        return quad(lambda volume: gas * kelvin / volume, first, last, epsrel=1e-12)[0]

    q_hot = taken_up(t_hot, 1e-3, 3e-3)
    q_cold = -taken_up(t_cold, 3e-3 * stretch, 1e-3 * stretch)
    work = q_hot - q_cold
    for function, expected in (
        ("carnot_efficiency", work / q_hot),
        ("carnot_heating_cop", q_hot / work),
        ("carnot_cooling_cop", q_cold / work),
    ):
        found = worked_out(f"{function}(hot, cold)", "1", hot=f"{hot} degC", cold=f"{cold} degC")
        assert found == pytest.approx(expected, rel=1e-9)


# -- spirit ----------------------------------------------------------------------------------

# OIML R 22 (1975), general formula at 20 degC: density in kg/m^3 by powers of the mass
# fraction; from memory. Its ends, water 998.20 and ethanol 789.24, and 913.77 at one half
# would not come out with a wrong digit.
OIML_R22 = (
    9.982012300e2,
    -1.929769495e2,
    3.891238958e2,
    -1.668103923e3,
    1.352215441e4,
    -8.829278388e4,
    3.062874042e5,
    -6.138381234e5,
    7.470172998e5,
    -5.478461354e5,
    2.234460334e5,
    -3.903285426e4,
)
# Density of ethanol and water at 20 degC over that of water at 4 degC, by per cent by mass;
# International Critical Tables, as printed in handbooks of chemistry; from memory.
CRITICAL_TABLES = {
    85: 0.83095,
    88: 0.82323,
    90: 0.81797,
    92: 0.81257,
    93: 0.80983,
    94: 0.80705,
    95: 0.80424,
    100: 0.78934,
}


def mass_fraction(strength: float) -> float:
    return worked_out("spirit_mass_fraction(strength)", "1", strength=f"{strength!r}")


def test_spirit_by_the_density_of_the_alcohol_tables() -> None:
    density = np.polynomial.Polynomial(OIML_R22)
    assert density(0.0) == pytest.approx(998.20, abs=0.005)
    assert density(1.0) == pytest.approx(789.24, abs=0.005)
    assert density(0.5) == pytest.approx(913.77, abs=0.005)
    worst = 0.0
    for strength in np.linspace(0.88, 0.97, 37):
        by_table = brentq(
            lambda w, s=strength: w * density(w) / density(1.0) - s, 0.5, 1.0, xtol=1e-14
        )
        worst = max(worst, abs(mass_fraction(float(strength)) - by_table))
    assert worst < 1e-4  # as the entry promises
    assert mass_fraction(1.0) == 1.0


def test_spirit_by_densities_measured_by_others() -> None:
    """The critical tables lie 1e-4 from the later ones, in the density of pure ethanol too."""
    ethanol = CRITICAL_TABLES[100]
    for percent, density in CRITICAL_TABLES.items():
        strength = percent / 100 * density / ethanol
        assert mass_fraction(strength) == pytest.approx(percent / 100, abs=2e-4)


# -- limits ----------------------------------------------------------------------------------

MODULES = (hydraulic, thermal, fuel)
ENTRIES = {function.name: function for module in MODULES for function in module.FUNCTIONS}
KINDS = {"gauge pressure": " gauge", "pressure difference": " difference"}


def with_spread(quantity: str, kind: str | None) -> str:
    """Return an input's entry; sums of constants alone are refused before limits are looked at."""
    _, _, unit = quantity.partition(" ")
    width = f"1e-9 {'points' if unit == '%' else unit.replace('degC', 'K')}".rstrip()
    entry = constant(quantity + KINDS.get(kind or "", ""))
    return entry.replace(f"constant: {quantity}", f"value: {quantity}, plus_minus: {width}")


def told(function: PhysicsFunction, changed: dict[str, str]) -> tuple[list[str], list[str]]:
    """Return what is refused and warned of, the example's arguments changed in part."""
    entries = {
        argument.name: with_spread(changed.get(argument.name, given), argument.kind)
        for argument, given in zip(function.arguments, function.example, strict=True)
    }
    formula = f"{function.name}({', '.join(entries)})"
    found = outside_as_written(understood(case_text(formula, function.gives.unit, entries)))
    refused, warned = ([str(problem.remedy) for problem in problems] for problems in found)
    return refused, warned


REFUSED = [
    ("hydraulic_power", {"flow": "-1 L/s"}, "check the sign"),
    ("head_at_nozzle", {"bore": "0 mm"}, "give its bore"),
    ("flow_by_bucket", {"time": "0 s"}, "takes time"),
    ("flow_by_bucket", {"volume": "-1 L"}, "less than nothing"),
    ("flow_by_weighing", {"time": "-3 s"}, "takes time"),
    ("v_notch_flow", {"head": "-1 mm"}, "no water runs"),
    ("v_notch_flow", {"angle": "190 deg"}, "between 1 and 179"),
    ("orifice_flow", {"pressure_drop": "-1 kPa"}, "readings are exchanged"),
    ("orifice_flow", {"orifice_bore": "80 mm"}, "nearly as wide"),
    ("orifice_flow", {"viscosity": "0.2 Pas"}, "has no meaning"),
    ("orifice_flow_corner_taps", {"orifice_bore": "90 mm"}, "bores may be exchanged"),
    ("sensible_heat", {"mass": "-1 kg"}, "less than nothing"),
    ("heating_cop", {"electric_energy": "0 kWh"}, "takes electricity"),
    ("carnot_heating_cop", {"hot": "15 degC"}, "must be warmer"),
    ("carnot_cooling_cop", {"hot": "5 degC"}, "must be warmer"),
    ("carnot_efficiency", {"cold": "700 degC"}, "must be warmer"),
    ("heat_loss_coefficient", {"temperature_end": "19 degC"}, "does not pass it"),
    ("heat_loss_coefficient", {"temperature_end": "20 degC"}, "does not pass it"),
    ("heat_loss_coefficient", {"temperature_end": "56 degC"}, "nearer to the room"),
    ("heat_loss_coefficient", {"time": "0 s"}, "takes time"),
    ("standing_loss", {"time": "-1 h"}, "less than nothing"),
    ("fuel_energy_by_mass", {"mass": "-1 g"}, "less than nothing"),
    ("efficiency_from_consumption", {"specific_consumption": "0 g/kWh"}, "without fuel"),
    ("wood_heating_value", {"moisture": "110 %"}, "u/(1 + u)"),
    ("spirit_mass_fraction", {"strength": "101 %"}, "weaker spirit"),
    ("spirit_heating_value", {"strength": "40 %"}, "weaker spirit"),
    ("hydraulic_power", {"head": "-1 m"}, "uphill"),
    ("willans_fuel_rate", {"power": "-1 kW"}, "ends at no load"),
]
WARNED = [
    ("hydraulic_power", {"density": "1 kg/m^3"}, "near water"),
    ("head_at_nozzle", {"bore": "15 mm"}, "loses most of its head"),
    ("head_at_nozzle", {"p": "-0.1 bar"}, "needs pressure"),
    ("flow_by_bucket", {"time": "4.9 s"}, "larger vessel"),
    ("v_notch_flow", {"head": "0.05 m"}, "another notch"),
    ("v_notch_flow", {"head": "0.4 m"}, "another notch"),
    ("v_notch_flow", {"angle": "60 deg"}, "those of 90 deg"),
    ("v_notch_flow", {"coefficient": "1.4"}, "0.56 to 0.62"),
    ("orifice_flow", {"pipe_bore": "49 mm", "orifice_bore": "30 mm"}, "most workshop pipes"),
    ("orifice_flow", {"orifice_bore": "12 mm"}, "sharpness of the edge"),
    ("orifice_flow", {"orifice_bore": "61 mm"}, "between 0.1 and 0.75"),
    ("orifice_flow", {"viscosity": "0.02 Pas"}, "too slow"),
    ("orifice_flow", {"orifice_bore": "59 mm", "viscosity": "0.02 Pas"}, "so wide a hole"),
    ("orifice_flow_corner_taps", {"density": "1.2 kg/m^3"}, "near water"),
    ("sensible_heat", {"specific_heat": "4180 kJ/(kg*K)"}, "check the unit"),
    ("heating_cop", {"useful_heat": "20 kWh"}, "between 1 and 8"),
    ("heating_cop", {"useful_heat": "1 kWh"}, "between 1 and 8"),
    ("carnot_heating_cop", {"cold": "15 K"}, "not a difference"),
    ("heat_loss_coefficient", {"temperature_end": "21 degC"}, "read earlier"),
    ("heat_loss_coefficient", {"temperature_end": "54.5 degC"}, "cool longer"),
    (
        "heat_loss_coefficient",
        {"temperature_start": "24 degC", "temperature_end": "22 degC"},
        "start warmer",
    ),
    ("standing_loss", {"temperature": "12 degC"}, "gains heat"),
    ("fuel_energy_by_mass", {"heating_value": "43 kJ/kg"}, "check the unit"),
    ("fuel_energy_by_volume", {"density": "1.2 kg/m^3"}, "a gas needs"),
    ("efficiency_from_consumption", {"specific_consumption": "100 g/kWh"}, "check the unit"),
    ("wood_heating_value", {"moisture": "61 %"}, "u/(1 + u)"),
    ("wood_heating_value", {"oven_dry_value": "15 MJ/kg"}, "without water"),
    ("spirit_mass_fraction", {"strength": "80 %"}, "between 88 and 97"),
    ("spirit_heating_value", {"strength": "97.5 %"}, "between 88 and 97"),
]


@pytest.mark.parametrize(("name", "changed", "words"), REFUSED)
def test_beyond_all_meaning_is_refused(name: str, changed: dict[str, str], words: str) -> None:
    refused, _ = told(ENTRIES[name], changed)
    assert any(words in remedy for remedy in refused)


@pytest.mark.parametrize(("name", "changed", "words"), WARNED)
def test_beyond_the_domain_is_warned_of(name: str, changed: dict[str, str], words: str) -> None:
    refused, warned = told(ENTRIES[name], changed)
    assert refused == []
    assert any(words in remedy for remedy in warned)


@pytest.mark.parametrize("function", ENTRIES.values(), ids=list(ENTRIES))
def test_the_example_lies_inside_all_limits(function: PhysicsFunction) -> None:
    assert told(function, {}) == ([], [])
