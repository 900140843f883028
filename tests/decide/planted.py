"""Blunders as a beginner makes them, planted one at a time into sound cases.

The first eighteen are the usual mistakes of the trade in the order in which they were listed
before it was known which of them the tool finds; two more complete the twenty that are counted.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

from effband import study
from effband.problems import CaseError

CASES = Path(__file__).resolve().parents[2] / "cases"
TRIALS = 20_000

LAMP_BANK = """\
effband: 1
title: Lamp bank on an inverter off a 24 V battery
headline: inverter
instruments:
  wall_meter: {reads: AC voltage, accuracy: 0.8 % of reading + 3 digits, span: [0 V, 600 V],
    digit: 0.1 V, true_rms: yes}
  ac_clamp: {reads: AC current, accuracy: 2 % of reading + 5 digits, span: [0 A, 40 A],
    digit: 0.01 A, true_rms: yes}
  multimeter: {like: pocket multimeter DC volts, span: [0 V, 60 V], digit: 0.01 V}
  clamp_meter: {like: DC clamp meter, span: [0 A, 40 A], digit: 0.01 A}
inputs:
  battery_voltage: {value: 25.2 V, instrument: multimeter}
  battery_current: {value: 14.1 A, instrument: clamp_meter}
  lamp_voltage: {value: 205 V, instrument: wall_meter}
  lamp_current: {value: 1.46 A, instrument: ac_clamp}
  power_factor: {value: 0.99, plus_minus: 0.01, physical: [0, 1], evidence: handbook}
formulas:
  power_in: {formula: battery_voltage * battery_current, means: input energy}
  power_out: {formula: "ac_power(lamp_voltage, lamp_current, power_factor)", means: output energy}
results:
  inverter:
    formula: power_out / power_in
    unit: "%"
    boundary: {in: battery terminals, out: lamps}
"""

LAMPS_BY_RATING = """\
effband: 1
title: Six filament lamps as the load of an inverter
headline: inverter
instruments:
  wall_meter: {reads: AC voltage, accuracy: 0.8 % of reading + 3 digits, span: [0 V, 600 V],
    digit: 0.1 V, true_rms: yes}
  multimeter: {like: pocket multimeter DC volts, span: [0 V, 60 V], digit: 0.01 V}
  clamp_meter: {like: DC clamp meter, span: [0 A, 40 A], digit: 0.01 A}
inputs:
  battery_voltage: {value: 25.2 V, instrument: multimeter}
  battery_current: {value: 14.1 A, instrument: clamp_meter}
  lamp_voltage: {value: 205 V, instrument: wall_meter}
  printed_voltage: {constant: 230 V}
  printed_watts: {value: 360 W, plus_minus: 20 W, evidence: nameplate, means: lamp rating}
  exponent: {like: lamp exponent}
formulas:
  power_in: {formula: battery_voltage * battery_current, means: input energy}
  power_out:
    formula: lamp_power(printed_watts, printed_voltage, lamp_voltage, exponent)
    means: output energy
results:
  inverter:
    formula: power_out / power_in
    unit: "%"
    boundary: {in: battery terminals, out: lamps}
"""

GENSET = """\
effband: 1
title: Petrol engine that drives a generator
headline: generator
instruments:
  meter: {like: energy meter class 1, digit: 0.01 kWh}
inputs:
  energy: {value: 1.42 kWh, instrument: meter, means: output energy}
  time: {value: 3600 s, plus_minus: 2 s, evidence: measured}
  printed: {value: 4.1 kW, plus_minus: 0.1 kW, evidence: nameplate, means: engine rating}
  load_share: {like: small engine load fraction}
formulas:
  shaft_power: {formula: printed * load_share, means: delivered engine power}
  shaft_energy: {formula: shaft_power * time, means: input energy}
results:
  generator:
    formula: energy / shaft_energy
    unit: "%"
    boundary: {in: shaft work of the engine, out: electricity at the meter}
"""

AIR_CHAIN = """\
effband: 1
title: Vane motor off a compressor that runs on
headline: wall_to_wire
instruments:
  meter: {like: energy meter class 1, digit: 0.01 kWh}
inputs:
  plug_energy: {value: 2.31 kWh, instrument: meter, means: input energy}
  chain: {like: compressed-air chain wall to shaft, means: chain efficiency}
  motor: {like: vane motor air to shaft, means: stage efficiency, log_only: true}
  alternator: {like: car alternator efficiency}
formulas:
  shaft_energy: plug_energy * chain
  energy_out: {formula: shaft_energy * alternator, means: output energy}
results:
  wall_to_wire:
    formula: energy_out / plug_energy
    unit: "%"
    boundary: {in: electricity of the compressor, out: electricity of the alternator}
  energy_out: {formula: energy_out, unit: kWh}
"""

WIND_ROTOR = """\
effband: 1
title: Three-bladed rotor on the shed roof
headline: rotor
inputs:
  density: {value: 1.22 kg/m^3, plus_minus: 0.02 kg/m^3, evidence: measured}
  rotor_diameter: {value: 1.8 m, plus_minus: 5 mm, evidence: measured}
  wind_speed: {value: 7.0 m/s, plus_minus: 0.2 m/s, evidence: measured}
  power: {value: 190 W, plus_minus: 6 W, evidence: measured, means: output energy}
formulas:
  wind: {formula: "wind_power(density, rotor_diameter, wind_speed)", means: input energy}
results:
  rotor:
    formula: power / wind
    unit: "%"
    ceiling: 16/27
    boundary: {in: wind through the circle of the rotor, out: power at the generator}
"""

INVENTED = {
    "lamp_bank": LAMP_BANK,
    "lamps_by_rating": LAMPS_BY_RATING,
    "genset": GENSET,
    "air_chain": AIR_CHAIN,
    "wind_rotor": WIND_ROTOR,
}

REFUSED, CHECK, RUN = "refused", "check", "run"


@dataclass(frozen=True)
class Planted:
    """One blunder: the sound case and the edits.

    Attributes
    ----------
    story
        What the beginner did.
    bench
        A file in cases/ or one of `INVENTED`.
    edits
        What was written, and what he wrote in its place.
    """

    story: str
    bench: str
    edits: tuple[tuple[str, str], ...]


def text_of(bench: str) -> str:
    """Return a sound case."""
    if bench == "wren_full":
        return _one_load((CASES / "wren_loads.yaml").read_text(encoding="utf-8"))
    return INVENTED.get(bench) or (CASES / f"{bench}.yaml").read_text(encoding="utf-8")


def _one_load(text: str) -> str:
    """Return the bench of four loads with the runs at full load only, which run sooner."""
    others = ("light_", "half_", "most_", "light:", "half:", "most:", "pool:")
    lines = text.splitlines(keepends=True)
    return "".join(line for line in lines if not line.lstrip().startswith(others))


def edited(bench: str, edits: tuple[tuple[str, str], ...]) -> str:
    """Return a sound case with its edits; each must be found, once or in every run alike."""
    text = text_of(bench)
    for old, new in edits:
        assert old in text, f"{bench}: {old!r} is not there"
        text = text.replace(old, new)
    return text


BLUNDERS = {
    # -- the twenty that are counted ----------------------------------------------------------
    "tare_forgotten": Planted(
        "the arm's own weight was read, but not subtracted; by hand it was forgotten as well",
        "beckside",
        (
            (
                '"prony_brake_power(load, tare, arm, speed)"',
                "load * standard_gravity * arm * speed",
            ),
            ("hand_value: 61.9 %", "hand_value: 71.3 %"),
        ),
    ),
    "gauge_declared_absolute": Planted(
        "the dial stands at 0 in the open air, but was called absolute to get past the refusal",
        "wren_bench",
        (
            ("    reads: gauge pressure\n", "    reads: absolute pressure\n"),
            ("p1: absolute(p_start, barometer)", "p1: p_start"),
            ("p2: absolute(p_end, barometer)", "p2: p_end"),
            (
                "{reads: gauge pressure, accuracy: 0.5 %",
                "{reads: absolute pressure, accuracy: 0.5 %",
            ),
        ),
    ),
    "averaging_meter": Planted(
        "a cheap meter that shows rms of sines only, on an inverter",
        "lamp_bank",
        (("digit: 0.1 V, true_rms: yes", "digit: 0.1 V, true_rms: no"),),
    ),
    "lamp_rating": Planted(
        "printed watts taken for what the lamps drew at 205 V",
        "lamps_by_rating",
        (
            (
                "formula: lamp_power(printed_watts, printed_voltage, lamp_voltage, exponent)",
                "formula: printed_watts",
            ),
            ("  exponent: {like: lamp exponent}\n", ""),
            ("  printed_voltage: {constant: 230 V}\n", ""),
            ("lamp_voltage: {value: 205 V,", "lamp_voltage: {log_only: true, value: 205 V,"),
        ),
    ),
    "span_as_reading": Planted(
        "class 2.5 of a dial written as per cent of reading",
        "wren_bench",
        (("accuracy: 2.5 % of span", "accuracy: 2.5 % of reading"),),
    ),
    "sea_level_barometer": Planted(
        "the barometer of the weather report, in a shed at 640 m",
        "wren_loads",
        (("altitude: 240 m", "altitude: 640 m"), ("{value: 985 hPa", "{value: 1013 hPa")),
    ),
    "rating_as_power": Planted(
        "the engine's label taken for what it delivered",
        "genset",
        (
            (
                "shaft_power: {formula: printed * load_share, means: delivered engine power}",
                "shaft_power: printed",
            ),
            ("  load_share: {like: small engine load fraction}\n", ""),
        ),
    ),
    "chain_times_motor": Planted(
        "an efficiency from wall to shaft multiplied by the motor's, which it contains",
        "air_chain",
        (("plug_energy * chain", "plug_energy * chain * motor"), (", log_only: true", "")),
    ),
    "readings_exchanged": Planted(
        "in one run of five the two voltages were written into each other's column",
        "dray_belt",
        (
            (
                "voltage_in: 24.09, current_in: 12.34, voltage_out: 18.63",
                "voltage_in: 18.63, current_in: 12.34, voltage_out: 24.09",
            ),
        ),
    ),
    "mm_for_m": Planted(
        "the arm is 0.3 m, and was written with mm",
        "beckside",
        (("arm: {value: 300 mm, plus_minus: 1 mm", "arm: {value: 0.3 mm, plus_minus: 0.001 mm"),),
    ),
    "psi_for_bar": Planted(
        "the dial's inner scale is psi, and was taken for the one read",
        "wren_bench",
        (
            ("p_start:  {unit: bar", "p_start:  {unit: psi"),
            ("p_end:    {unit: bar", "p_end:    {unit: psi"),
        ),
    ),
    "minutes_for_seconds": Planted(
        "one of the two times was written in minutes",
        "wren_bench",
        (("run_time: 152.0", "run_time: 2.53"),),
    ),
    "which_gallon": Planted(
        "the tank's nameplate says gallons, and not whose",
        "wren_bench",
        (("{value: 90 L, plus_minus: 2 L", "{value: 24 gal, plus_minus: 0.5 gal"),),
    ),
    "cold_as_settled": Planted(
        "nobody came back after 20 minutes: the needle at the stop went into both columns",
        "wren_full",
        (("p_stop: 2.55, p_end: 3.0", "p_stop: 2.55, p_end: 2.55"),),
    ),
    "hot_start": Planted(
        "the start was read while the receiver was still warm from filling",
        "wren_bench",
        (
            (
                "p_start:  {unit: bar, instrument: receiver_gauge, gas: settled}",
                "p_start:  {unit: bar, instrument: receiver_gauge, gas: read at once}",
            ),
        ),
    ),
    "reading_copied": Planted(
        "one filling was timed and written down six times",
        "beckside",
        (("[7.60, 7.82, 7.55, 7.77, 7.89, 7.69]", "[7.72, 7.72, 7.72, 7.72, 7.72, 7.72]"),),
    ),
    "wrong_sign": Planted(
        "after less before in place of before less after",
        "ember",
        (("burner_before - burner_after - evap", "burner_after - burner_before - evap"),),
    ),
    "ratio_upside_down": Planted(
        "in over out",
        "dray_belt",
        (
            ("formula: power_out / power_in", "formula: power_in / power_out"),
            ("    hand_value: 61.4 %\n", ""),
        ),
    ),
    "rotor_energy_left_out": Planted(
        "the rotor was at rest and ends turning, but its energy is not in the shaft work",
        "wren_loads",
        (
            (
                "electric_energy + alternator_heat + rotor_energy",
                "electric_energy + alternator_heat",
            ),
            (
                "  rotor_energy: kinetic_energy(rotor_inertia, speed) ",
                "  # rotor_energy: kinetic_energy(rotor_inertia, speed) ",
            ),
        ),
    ),
    "losses_counted_twice": Planted(
        "losses from two tests that both hold the bearings: more comes out than goes in",
        "dray_gear",
        (
            (
                "results:\n",
                "balance: {in: [power_in], out: [power_out, motor_loss, generator_loss]}\n"
                "results:\n",
            ),
            (
                "formulas:\n",
                "inputs:\n  motor_share: {value: 30 %, plus_minus: 2 points, evidence: measured}\n"
                "  generator_share: {value: 20 %, plus_minus: 2 points, evidence: measured}\n"
                "formulas:\n  motor_loss: power_in * motor_share\n"
                "  generator_loss: power_in * generator_share\n",
            ),
        ),
    ),
    # -- more ----------------------------------------------------------------------------------
    "gauge_as_absolute": Planted(
        "gauge readings straight into the energy of the air",
        "wren_bench",
        (("p1: absolute(p_start, barometer)", "p1: p_start"),),
    ),
    "end_read_at_once": Planted(
        "the end was read at the stop, as the case says, and not again",
        "wren_bench",
        (
            (
                "p_end:    {unit: bar, instrument: receiver_gauge, gas: settled}",
                "p_end:    {unit: bar, instrument: receiver_gauge, gas: read at once}",
            ),
        ),
    ),
    "too_cold_for_any_air": Planted(
        "the needle at the stop misread by a bar: colder than air can get",
        "wren_loads",
        (("full_2:  {p_stop: 2.55", "full_2:  {p_stop: 1.55"),),
    ),
    "hand_value_outside": Planted(
        "a slip on the log sheet: 64 in place of 61",
        "dray_belt",
        (("hand_value: 61.4 %", "hand_value: 69.4 %"),),
    ),
    "radius_for_diameter": Planted(
        "the length of a blade taken for the diameter",
        "wind_rotor",
        (("{value: 1.8 m, plus_minus: 5 mm", "{value: 0.9 m, plus_minus: 5 mm"),),
    ),
    "above_carnot": Planted(
        "a plug-in meter that reads a seventh",
        "larder",
        (("value: 2.05 kWh", "value: 0.29 kWh"),),
    ),
    "refill_of_no_work": Planted(
        "twelve refills taken for one hundred and twenty",
        "wren_loads",
        (("refills: {constant: 12}", "refills: {constant: 120}"),),
    ),
    "coarse_display": Planted(
        "one refill read on a display of 0.01 kWh",
        "wren_full",
        (
            ("all_refills: {value: 1.45 kWh", "all_refills: {value: 0.12 kWh"),
            ("refills: {constant: 12}", "refills: {constant: 1}"),
        ),
    ),
    "thumb_error_shared": Planted(
        "the error of the thumb declared as the watch's own, the same in all fillings",
        "beckside",
        (
            (
                "stopwatch: {like: hand stopwatch}",
                "stopwatch: {reads: time, accuracy: 0.2 s, error_along_scale: same, digit: 0.01 s}",
            ),
        ),
    ),
    "bucket_too_small": Planted(
        "a filling of 0.8 s timed by thumb, once",
        "beckside",
        (
            ("{repeats: [7.60, 7.82, 7.55, 7.77, 7.89, 7.69], unit: s,", "{value: 0.77 s,"),
            ("{value: 19.93 L, plus_minus: 0.05 L", "{value: 1.993 L, plus_minus: 0.005 L"),
        ),
    ),
    "one_repeat": Planted(
        "one reading called a series",
        "beckside",
        (("[7.60, 7.82, 7.55, 7.77, 7.89, 7.69]", "[7.72]"),),
    ),
    "three_repeats": Planted(
        "three fillings, as if they had a standard deviation to speak of",
        "beckside",
        (("[7.60, 7.82, 7.55, 7.77, 7.89, 7.69]", "[7.60, 7.82, 7.55]"),),
    ),
    "standard_volume": Planted(
        "air by the makers' standard volume, and not which",
        "wren_bench",
        (("{value: 90 L, plus_minus: 2 L", "{value: 90 Nm^3, plus_minus: 2 Nm^3"),),
    ),
    "which_horsepower": Planted(
        "horsepower on a label from a land of metric ones",
        "genset",
        (("{value: 4.1 kW, plus_minus: 0.1 kW", "{value: 5.5 hp, plus_minus: 0.1 hp"),),
    ),
    "unloaded_spin_down": Planted(
        "the loss of an unloaded spin-down taken as the loss under load",
        "dray_gear",
        (
            (
                "  power_lost: power_in - power_out\n",
                "  power_lost: power_in - power_out\n  gear_efficiency: 1 - gear_loss / power_in\n",
            ),
            (
                "formulas:\n",
                "inputs:\n  gear_loss: {value: 14 W, plus_minus: 2 W, evidence: measured,"
                " means: unloaded loss}\nformulas:\n",
            ),
            (
                "  power_lost: {formula: power_lost, unit: W}",
                '  gear: {formula: gear_efficiency, unit: "%", boundary: {in: motor, out: gear}}',
            ),
        ),
    ),
    "mass_as_force": Planted(
        "kilograms of the scale taken for a force",
        "beckside",
        (('"prony_brake_power(load, tare, arm, speed)"', "(load - tare) * arm * speed"),),
    ),
    "decimal_point_lost": Planted(
        "79.0 A in place of 7.90",
        "wren_bench",
        (("current: 7.90", "current: 79.0"),),
    ),
    "temperature_for_difference": Planted(
        "a width of a temperature in degC",
        "larder",
        (("plus_minus: 0.3 K", "plus_minus: 0.3 degC"),),
    ),
    "hertz_for_speed": Planted(
        "turns a second in Hz",
        "beckside",
        (
            (
                "speed: {value: 780 rpm, standard_uncertainty: 4 rpm",
                "speed: {value: 13 Hz, standard_uncertainty: 0.07 Hz",
            ),
        ),
    ),
    "cold_called_settled": Planted(
        "the end read at the stop and called settled, and nothing else was read",
        "wren_bench",
        (("p_end: 3.0", "p_end: 2.55"),),
    ),
    "evaporation_added": Planted(
        "what evaporated unburnt added to what was burnt",
        "ember",
        (("burner_after - evaporated", "burner_after + evaporated"),),
    ),
    "meter_of_no_kind": Planted(
        "a cheap meter on an inverter, and nobody looked whether it is true-rms",
        "lamp_bank",
        (("digit: 0.1 V, true_rms: yes", "digit: 0.1 V"),),
    ),
    "tare_never_read": Planted(
        "the arm's own weight was never read: 0 put in its place",
        "beckside",
        (
            (
                "tare: {value: 0.31 kg, instrument: brake_scale, means: tare}",
                "tare: {constant: 0 kg}",
            ),
            ("hand_value: 61.9 %", "hand_value: 71.3 %"),
        ),
    ),
    "sea_level_without_altitude": Planted(
        "the barometer of the weather report, and no altitude in the case",
        "wren_bench",
        (("{value: 985 hPa", "{value: 1013 hPa"),),
    ),
}

# What must be said of each, and where: the words of one message, numbers worked out beside them.
SAID: dict[str, tuple[str, tuple[str, ...]]] = {
    "tare_forgotten": (CHECK, ("tare (0.31 kg)", "no result subtracts")),
    "gauge_declared_absolute": (CHECK, ("a dial from 0 to 16 bar", "1 bar too low")),
    # square wave: peak/mean over that of a sine, pi/(2 sqrt 2) = 1.1107, squared 1.234
    "averaging_meter": (CHECK, ("wall_meter averages", "11 % too high", "23 % too much for V^2/R")),
    # 0.9**1.57 = 0.8475
    "lamp_rating": (CHECK, ("printed_watts", "printed volts only", "0.85 of the watts")),
    # 2.5 % of 16 bar, and of 4 bar
    "span_as_reading": (CHECK, ("receiver_gauge", "2.5 % of reading", "0.4 bar", "0.1 bar")),
    # ISO 2533: 1013.25 hPa (1 - 0.0065 640/288.15)**5.2559 = 938.7 hPa
    "thumb_error_shared": (CHECK, ("stopwatch times with one error", "a thumb errs afresh")),
    "sea_level_barometer": (CHECK, ("1013 hPa", "640 m", "938.7 hPa", "sea level")),
    "rating_as_power": (CHECK, ("printed is a rating", "45 to 85 %")),
    "chain_times_motor": (CHECK, ("chain (10 %)", "motor (24 %)", "counts twice")),
    # 24.09 * 9.89 / (18.63 * 12.34) = 1.036
    "readings_exchanged": (RUN, ("motor_to_lamps, run run_3", "above its ceiling (100 %)")),
    "mm_for_m": (RUN, ("wheel", "61.9 %", "outside the band")),
    "psi_for_bar": (RUN, ("air_to_wire", "impossible", "ceiling (100 %)")),
    "minutes_for_seconds": (RUN, ("run_time in run light", "2.53", "timed to")),
    "which_gallon": (REFUSED, ("a gallon is 3.785 L in the US and 4.546 L imperial",)),
    "cold_as_settled": (RUN, ("implied_gas_index", "below 1", "full_1, full_2, full_3")),
    "hot_start": (REFUSED, ("needs a settled pressure", "p_start was read at once")),
    "reading_copied": (REFUSED, ("all repeats are the same",)),
    # 200.8 g less 212.6 g less 0.4 g
    "wrong_sign": (REFUSED, ("mass is -12.2 g", "below 0 g")),
    "ratio_upside_down": (RUN, ("motor_to_lamps", "impossible", "in 100 %")),
    # 0.0085/2 (2905 2 pi/60)**2 = 393.3 J
    "rotor_energy_left_out": (CHECK, ("air_to_shaft", "393.3 J", "2905 rpm")),
    # run_4: 18.69 * 9.91 / (24.13 * 12.10) = 0.634; with 30 and 20 % that is 13 % too much
    "losses_counted_twice": (RUN, ("balance", "more comes out", "than is put in")),
    "gauge_as_absolute": (REFUSED, ("must be an absolute pressure", "this is a gauge pressure")),
    "end_read_at_once": (REFUSED, ("needs a settled pressure", "p_end was read at once")),
    # ln(9.985/2.535) / ln(9.985/3.985) = 1.4925
    "too_cold_for_any_air": (CHECK, ("1.4925 in run full_2", "above 1.4")),
    "hand_value_outside": (RUN, ("69.4 %", "outside the band")),
    "radius_for_diameter": (RUN, ("rotor", "impossible", "ceiling (16/27)")),
    # Carnot over a tank that warms: 1/(1 - 285.15 ln(323.25/288.35)/34.9) = 15.0; 5.86/0.29 = 20.2
    "above_carnot": (RUN, ("cop_tank", "impossible", "ceiling (carnot)")),
    # 1.45 kWh / 120 = 43.5 kJ; the exergy is worked out in test_sanity.py
    "refill_of_no_work": (CHECK, ("refill_energy is 43.5 kJ", "104.9 kJ", "very least")),
    "coarse_display": (RUN, ("last digit of plug_meter", "wall_to_wire")),
    "bucket_too_small": (RUN, ("fill_time is only 0.7", "timed to")),
    "one_repeat": (REFUSED, ("repeats needs two readings or more",)),
    "three_repeats": (RUN, ("wheel", "three readings of", "no standard uncertainty")),
    "standard_volume": (REFUSED, ("normal volume",)),
    "unloaded_spin_down": (CHECK, ("gear", "without load", "1 to 2 times")),
    "mass_as_force": (REFUSED, ("which is not W",)),
    "decimal_point_lost": (REFUSED, ("79 A lies outside the span of clamp_meter, 0 to 40 A",)),
    "temperature_for_difference": (REFUSED, ("degC is a point on a scale, not a width",)),
    "hertz_for_speed": (REFUSED, ("this is frequency (Hz)",)),
    "meter_of_no_kind": (CHECK, ("wall_meter may average",)),
    "tare_never_read": (CHECK, ("prony_brake_power gets a tare of 0",)),
}

# Nothing is said of these, and why.
MISSED: dict[str, str] = {
    "which_horsepower": "`hp` is the mechanical one; the metric one is 1.4 % less",
    "cold_called_settled": "one pressure at the end cannot show that it was still cold",
    "evaporation_added": "0.8 g in 11.4 g lies within what a fuel test may give",
    "sea_level_without_altitude": "1013 hPa is a pressure that places near the sea have",
}


def said_of(text: str, folder: Path, run: bool = True) -> list[tuple[str, str]]:
    """Return where and what the tool says of a case: refused, at check, or after a run."""
    file = folder / "case.yaml"
    file.write_text(text, encoding="utf-8")
    try:
        case = study.load(str(file))
    except CaseError as error:
        return [(REFUSED, problem.what) for problem in error.problems]
    found = [(CHECK, warning.what) for warning in case.warnings]
    if run:
        done = study.run(case, replace(case.settings, trials=TRIALS))
        found += [(RUN, remark.what) for remark in done.remarks]
    return found
