"""Printed and separately computed values of the functions for electrical power."""

from bench import Check

FILAMENT = "lamp_power(rated_power, rated_voltage, voltage, exponent)"
RESISTOR = "resistor_power(rated_power, rated_voltage, voltage)"
TENTH_DOWN = {"rated_power": "1 W", "rated_voltage": "230 V", "voltage": "207 V"}
HOUSE = {"rated_power": "60 W", "rated_voltage": "230 V", "voltage": "205 V"}
READING_TO_TRUE = "reading / true_rms_of_wave(reading, form_factor)"
LEVELS_TO_TRUE = "reading / true_rms_of_three_level(reading, on_fraction)"

LAMPS = "a lamp's power goes with the {} power of its voltage; {}"
REVIEW = "encyclopaedia article on lamp rerating, exponent 1.6"
HANDBOOK = "IES Lighting Handbook, exponent 1.54, from memory"
MANUALS = "multimeter manuals on average-responding meters: {} reads {}"
FOURIER = "mean and rms of a three-level wave, by hand: 1.11072 sqrt({}) is {}"


def _levels(on_fraction: float, ratio: float) -> Check:
    """Return the check of one printed ratio of a reading to the true value, of two digits."""
    source = FOURIER.format(on_fraction, ratio)
    inputs = {"reading": "100 V", "on_fraction": str(on_fraction)}
    function = "true_rms_of_three_level"
    return Check(function, LEVELS_TO_TRUE, "1", ratio, 0.005 / ratio, source, inputs)


CHECKS: tuple[Check, ...] = (
    Check(
        "ac_power",
        "ac_power(voltage, current, power_factor)",
        "W",
        460.0,
        1e-12,
        "230 V times 2.5 A times 0.8, by hand",
        {"voltage": "230 V", "current": "2.5 A", "power_factor": "0.8"},
    ),
    Check(
        "ac_power",
        "ac_power(voltage, current, 1)",
        "W",
        1000.0,
        1e-12,
        "Holman, Experimental Methods for Engineers, example 3-2, from memory: P = E I",
        {"voltage": "100 V", "current": "10 A"},
    ),
    Check(
        "three_phase_power",
        "three_phase_power(voltage, current, power_factor)",
        "W",
        1766.7,
        0.05 / 1766.7,
        "sqrt(3) times 400 V times 3 A times 0.85, by hand",
        {"voltage": "400 V", "current": "3 A", "power_factor": "0.85"},
    ),
    Check(
        "lamp_power",
        FILAMENT,
        "W",
        0.8449,
        5e-5 / 0.8449,
        LAMPS.format("1.6th", REVIEW) + ": 0.9^1.6",
        TENTH_DOWN | {"exponent": "1.6"},
    ),
    Check(
        "lamp_power",
        FILAMENT,
        "W",
        0.8502,
        5e-5 / 0.8502,
        LAMPS.format("1.54th", HANDBOOK) + ": 0.9^1.54",
        TENTH_DOWN | {"exponent": "1.54"},
    ),
    Check(
        "lamp_power",
        FILAMENT,
        "W",
        50.0,
        0.5 / 50.0,
        LAMPS.format("1.6th", REVIEW) + ": 60 W at 230 V gives 50 W at 205 V",
        HOUSE | {"exponent": "1.6"},
    ),
    Check(
        "lamp_power",
        FILAMENT,
        "W",
        50.0,
        0.5 / 50.0,
        LAMPS.format("1.54th", HANDBOOK) + ": 60 W at 230 V gives 50 W at 205 V",
        HOUSE | {"exponent": "1.54"},
    ),
    Check(
        "resistor_power",
        RESISTOR,
        "W",
        0.81,
        1e-12,
        "Ohm's law: 0.9 of the voltage gives 0.81 of the power",
        TENTH_DOWN,
    ),
    Check(
        "resistor_power",
        RESISTOR,
        "W",
        47.7,
        0.05 / 47.7,
        "Ohm's law: what 60 W at 230 V would be at 205 V with a constant resistance, by hand",
        HOUSE,
    ),
    Check(
        "resistor_power",
        "resistor_power(rated_power, rated_voltage, voltage)",
        "W",
        1000.0,
        1e-12,
        "Holman, example 3-2, from memory: 100 V at 10 ohm, which takes 250 W at 50 V",
        {"rated_power": "250 W", "rated_voltage": "50 V", "voltage": "100 V"},
    ),
    Check(
        "true_rms_of_wave",
        READING_TO_TRUE,
        "1",
        1.11,
        0.005 / 1.11,
        MANUALS.format("a square wave (form factor 1)", "11 % high"),
        {"reading": "100 V", "form_factor": "1"},
    ),
    Check(
        "true_rms_of_wave",
        READING_TO_TRUE,
        "1",
        0.96,
        0.005 / 0.96,
        MANUALS.format("a triangle (form factor 2/sqrt(3))", "4 % low"),
        {"reading": "100 V", "form_factor": "1.154701"},
    ),
    Check(
        "true_rms_of_wave",
        "true_rms_of_wave(reading, form_factor)",
        "V",
        230.0,
        5e-6,
        "a sine is read right; its form factor, 1.11072, is rounded",
        {"reading": "230 V", "form_factor": "1.11072"},
    ),
    _levels(1.0, 1.11),
    _levels(0.81, 1.0),
    _levels(0.67, 0.91),
    _levels(0.5, 0.79),
)
