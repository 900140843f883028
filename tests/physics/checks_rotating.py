"""Printed and separately computed values of the functions for turning parts."""

from bench import Check

# Values that were worked out with g = 9.81 m/s^2, at standard gravity.
GRAVITY = 9.80665 / 9.81

DISC = {"mass": "5 kg", "diameter": "0.30 m"}
RING = {"mass": "5 kg", "inner": "0.20 m", "outer": "0.30 m"}
STEEL = {"density": "7850 kg/m^3", "diameter": "300 mm", "thickness": "20 mm"}
HUNG = {"mass": "2.4 kg", "radius": "0.12 m", "length": "1.5 m", "period": "1.62 s"}
FALLING = {"mass": "0.5 kg", "radius": "0.02 m", "height": "1.0 m", "time": "6.0 s"}
FLYWHEEL = {"inertia": "5.0 kg*m^2", "full": "60 rad/s", "rest": "0 rad/s", "time": "5.0 min"}
DRAG = {"coulomb": "0.02 N*m", "viscous": "1e-4 N*m*s", "windage": "5e-7 N*m*s^2"}
COAST = {"inertia": "0.05 kg*m^2", "fast": "3000 rpm", "slow": "1500 rpm", "time": "113.6108405 s"}
PLAIN_DRAG = {"coulomb": "0.05 N*m", "viscous": "0.001 N*m*s", "speed": "100 rad/s"}

BODIES = "textbook of mechanics, table of moments of inertia"
DISC_OF = "inertia_of_disc(mass, diameter)"
RING_OF = "inertia_of_ring(mass, inner, outer)"
ENERGY_OF = "kinetic_energy({}, speed)"
STEEL_MASS = "mass_of_disc(density, diameter, thickness)"
TRIFILAR = "inertia_by_trifilar(mass, radius, length, period)"
LOSS = "spin_down_loss(coulomb, viscous, windage, {})"
MEAN = "spin_down_power(inertia, fast, slow, time)"
PRONY = "prony_brake_power(load, tare, arm, speed)"
ROPE = "rope_brake_power(hung, spring, drum, rope, speed)"
VERMA = "H. C. Verma, Concepts of Physics, flywheel stopped by friction"
DYNAMOMETER = "product of force, arm and speed, {}"
COASTING = "J dw/dt = -(a + b w + c w^2) integrated apart from the project"

CHECKS: tuple[Check, ...] = (
    # -- bodies
    Check("inertia_of_disc", DISC_OF, "kg*m^2", 0.05625, 1e-12, f"{BODIES}: m r^2 / 2", DISC),
    Check(
        "kinetic_energy",
        ENERGY_OF.format(DISC_OF),
        "J",
        2775.8,
        0.05 / 2775.8,
        "J w^2 / 2 of that disc at 100 pi rad/s",
        DISC | {"speed": "3000 rpm"},
    ),
    Check(
        "inertia_of_ring",
        RING_OF,
        "kg*m^2",
        0.08125,
        1e-12,
        f"{BODIES}: m (r1^2 + r2^2) / 2",
        RING,
    ),
    Check(
        "kinetic_energy",
        ENERGY_OF.format(RING_OF),
        "J",
        4009.5,
        0.05 / 4009.5,
        "J w^2 / 2 of that ring at 100 pi rad/s",
        RING | {"speed": "3000 rpm"},
    ),
    Check(
        "inertia_of_ring",
        "inertia_of_ring(mass, inner, outer)",
        "kg*m^2",
        0.18,
        1e-12,
        f"{BODIES}: a thin hoop has m r^2",
        {"mass": "2 kg", "inner": "0.6 m", "outer": "0.6 m"},
    ),
    Check(
        "inertia_of_rod",
        "inertia_of_rod(mass, length)",
        "kg*m^2",
        0.025,
        1e-12,
        f"{BODIES}: a thin rod about its middle has m L^2 / 12",
        {"mass": "1.2 kg", "length": "0.5 m"},
    ),
    Check(
        "mass_of_disc",
        STEEL_MASS,
        "kg",
        11.098,
        0.0005 / 11.098,
        "density times pi r^2 t, by hand",
        STEEL,
    ),
    Check(
        "inertia_of_disc",
        f"inertia_of_disc({STEEL_MASS}, diameter)",
        "kg*m^2",
        0.12485,
        5e-6 / 0.12485,
        f"{BODIES}: m r^2 / 2 of the same steel disc",
        STEEL,
    ),
    # -- measured inertia
    Check(
        "inertia_by_trifilar",
        TRIFILAR,
        "kg*m^2",
        0.015025 * GRAVITY,
        5e-7 / 0.015025,
        "m g R^2 T^2 / (4 pi^2 L) with g = 9.81, scaled by 9.80665/9.81",
        HUNG,
    ),
    Check(
        "inertia_by_falling_weight",
        "inertia_by_falling_weight(mass, radius, height, time)",
        "kg*m^2",
        (0.035116 + 0.0002) * GRAVITY - 0.0002,
        5e-7 / 0.035116,
        "m r^2 (g t^2 / (2 h) - 1) with g = 9.81; the part before - 1 scaled by 9.80665/9.81",
        FALLING,
    ),
    Check(
        "geared_inertia",
        "geared_inertia(inertia, part, shaft)",
        "kg*m^2",
        0.09,
        1e-12,
        "the part turns 3 times as fast, so it counts 9 times: equal kinetic energy",
        {"inertia": "0.01 kg*m^2", "part": "3000 rpm", "shaft": "1000 rpm"},
    ),
    # -- spin-down
    Check(
        "kinetic_energy",
        "kinetic_energy(inertia, full)",
        "kJ",
        9.0,
        1e-12,
        f"{VERMA}: work done by friction",
        {name: FLYWHEEL[name] for name in ("inertia", "full")},
    ),
    Check(
        "spin_down_power",
        "spin_down_power(inertia, full, rest, time)",
        "W",
        30.0,
        1e-12,
        f"{VERMA}: 9 kJ in 5 min",
        FLYWHEEL,
    ),
    Check(
        "spin_down_power",
        MEAN,
        "W",
        27.964,
        0.0005 / 27.964,
        "J (w1^2 - w2^2) / (2 t), by hand",
        {"inertia": "0.0085 kg*m^2", "fast": "2600 rpm", "slow": "2200 rpm", "time": "3.2 s"},
    ),
    Check(
        "spin_down_power",
        MEAN,
        "W",
        16.289,
        0.0005 / 16.289,
        f"{COASTING}: mean power",
        COAST,
    ),
    Check(
        "spin_down_power",
        f"{MEAN} * time",
        "J",
        1850.55,
        0.005 / 1850.55,
        "J (w1^2 - w2^2) / 2, by hand: energy lost",
        COAST,
    ),
    Check(
        "kinetic_energy",
        "kinetic_energy(inertia, fast) - kinetic_energy(inertia, slow)",
        "J",
        1850.55,
        0.005 / 1850.55,
        "J (w1^2 - w2^2) / 2, by hand: energy lost",
        {name: COAST[name] for name in ("inertia", "fast", "slow")},
    ),
    Check(
        "spin_down_loss",
        LOSS.format("speed"),
        "W",
        31.656,
        0.0005 / 31.656,
        "a w + b w^2 + c w^3 at 100 pi rad/s, by hand",
        DRAG | {"speed": "3000 rpm"},
    ),
    Check(
        "spin_down_loss",
        f"{LOSS.format('speed')} / speed",
        "N*m",
        0.100764,
        5e-7 / 0.100764,
        "a + b w + c w^2 at 100 pi rad/s, by hand",
        DRAG | {"speed": "3000 rpm"},
    ),
    Check(
        "spin_down_loss",
        LOSS.format("speed"),
        "W",
        16.804,
        0.0005 / 16.804,
        "the same at 2250 rpm, the middle speed, by hand",
        DRAG | {"speed": "2250 rpm"},
    ),
    Check(
        "spin_down_loss",
        "spin_down_loss(coulomb, viscous, none, speed)",
        "W",
        15.0,
        1e-12,
        "(c + b w) w of a rotor with Coulomb and viscous drag, closed form",
        PLAIN_DRAG | {"none": "0 N*m*s^2"},
    ),
    Check(
        "spin_down_power",
        "2 * spin_down_power(inertia, speed, rest, time)",
        "W",
        9.102,
        0.0005 / 9.102,
        "J w^2 / t with t = (J/b) ln(1 + b w / c), closed form: what a constant torque would lose",
        {
            "inertia": "0.02 kg*m^2",
            "speed": "100 rad/s",
            "rest": "0 rad/s",
            "time": "21.9722457734 s",
        },
    ),
    # -- brakes
    Check(
        "prony_brake_power",
        "prony_brake_power(force / standard_gravity, tare, arm, speed)",
        "W",
        490.09,
        0.005 / 490.09,
        DYNAMOMETER.format("20.0 N, 0.300 m, 780 rpm, by hand"),
        {"force": "20.0 N", "tare": "0 kg", "arm": "0.300 m", "speed": "780 rpm"},
    ),
    Check(
        "prony_brake_power",
        PRONY,
        "W",
        490.4 * GRAVITY,
        0.05 / 490.4,
        DYNAMOMETER.format("by hand with g = 9.81, scaled by 9.80665/9.81"),
        {"load": "2.35 kg", "tare": "0.31 kg", "arm": "0.300 m", "speed": "780 rpm"},
    ),
    Check(
        "prony_brake_power",
        "prony_brake_power(load, tare, arm, turns / time)",
        "W",
        1992.7226 * GRAVITY,
        5e-5 / 1992.7226,
        "textbook exercise on a Prony brake (inputs found, answer not seen): 2 pi g F L R / T with "
        "g = 9.81, by hand, scaled by 9.80665/9.81",
        {
            "load": "4.26 kg",
            "tare": "0 kg",
            "arm": "382 mm",
            "turns": "1192 rev",
            "time": "60 s",
        },
    ),
    Check(
        "rope_brake_power",
        "rope_brake_power(weight / standard_gravity, pull / standard_gravity, drum, rope, speed)",
        "kW",
        2.51,
        0.005 / 2.51,
        "R. K. Rajput, A Textbook of Internal Combustion Engines, example 17.3",
        {
            "weight": "200 N",
            "pull": "30 N",
            "drum": "0.6 m",
            "rope": "0.026 m",
            "speed": "450 rpm",
        },
    ),
    Check(
        "rope_brake_power",
        ROPE,
        "W",
        0.904 * GRAVITY,
        0.0005 / 0.904,
        DYNAMOMETER.format("radius 20.3 mm, by hand with g = 9.81, scaled by 9.80665/9.81"),
        {
            "hung": "65.0 g",
            "spring": "11.8 g",
            "drum": "39.6 mm",
            "rope": "1.0 mm",
            "speed": "815 rpm",
        },
    ),
)
