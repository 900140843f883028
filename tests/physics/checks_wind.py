"""Separately computed values of the functions for wind."""

from bench import Check

BREEZE = {"density": "1.225 kg/m^3", "rotor": "1.2 m", "wind": "6 m/s"}
LIMIT = "A. Betz, 1920: at most 16/27 of it, from memory"

CHECKS: tuple[Check, ...] = (
    Check(
        "wind_power",
        "wind_power(density, rotor, wind)",
        "W",
        149.628,
        0.0005 / 149.628,
        "rho A v^3 / 2 with a radius of 0.6 m, by hand",
        BREEZE,
    ),
    Check(
        "betz_ceiling",
        "betz_ceiling(density, rotor, wind)",
        "W",
        88.67,
        0.005 / 88.67,
        f"{LIMIT}: of 149.628 W, by hand",
        BREEZE,
    ),
    Check(
        "betz_ceiling",
        "betz_ceiling(density, rotor, wind) / wind_power(density, rotor, wind)",
        "1",
        0.5926,
        5e-5 / 0.5926,
        LIMIT,
        BREEZE,
    ),
)
