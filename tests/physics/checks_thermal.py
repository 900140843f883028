"""Values of the heat functions from outside the project."""

from bench import Check

HEATED = {"mass": "5.00 kg", "c": "4181.1 J/(kg*K)", "cold": "20.0 degC", "hot": "31.2 degC"}
TANK = {"mass": "100 kg", "c": "4186 J/(kg*K)", "start": "60 degC", "room": "20 degC"}
HEAT = "sensible_heat(mass, c, cold, hot)"
LOSS = "heat_loss_coefficient(mass, c, start, end, room, time)"

CHECKS = (
    Check(
        "sensible_heat", HEAT, "J", 234141.6, 2e-7, "5.00 x 4181.1 x 11.2 by hand, 7 digits", HEATED
    ),
    Check(
        "sensible_heat",
        HEAT,
        "Btu_IT",
        1.0,
        1e-11,
        "the Btu_IT is what warms a pound by 1 degF at 4186.8 J/(kg K), exact; NIST SP 811",
        {"mass": "1 lb", "c": "4186.8 J/(kg*K)", "cold": "59 degF", "hot": "60 degF"},
    ),
    Check(
        "heating_cop",
        "heating_cop(heat, energy)",
        "1",
        2.84,
        0.005 / 2.84,
        "5.83 kWh of heat for 2.05 kWh, by hand to the digits shown",
        {"heat": "5.83 kWh", "energy": "2.05 kWh"},
    ),
    Check(
        "carnot_heating_cop",
        "carnot_heating_cop(hot, cold)",
        "1",
        8.20,
        0.005 / 8.20,
        "T_h/(T_h - T_c) between 55 and 15 degC, 328.15/40 by hand",
        {"hot": "55 degC", "cold": "15 degC"},
    ),
    Check(
        "carnot_heating_cop",
        "carnot_heating_cop(hot, cold)",
        "1",
        11.3,
        0.05 / 11.3,
        "Cengel and Boles, Thermodynamics, Carnot heat pump for a house at 21 degC, -5 degC "
        "outside: 11.3; from memory",
        {"hot": "21 degC", "cold": "-5 degC"},
    ),
    Check(
        "carnot_cooling_cop",
        "carnot_cooling_cop(hot, cold)",
        "1",
        7.20,
        0.005 / 7.20,
        "one less than the heating COP between the same temperatures, 8.20 for 55 and 15 degC",
        {"hot": "55 degC", "cold": "15 degC"},
    ),
    Check(
        "carnot_cooling_cop",
        "carnot_cooling_cop(hot, cold)",
        "1",
        12.4,
        0.05 / 12.4,
        "Cengel and Boles, Thermodynamics, refrigerator between 35 and 75 degF: 12.4; from memory",
        {"hot": "75 degF", "cold": "35 degF"},
    ),
    Check(
        "carnot_efficiency",
        "carnot_efficiency(hot, cold)",
        "1",
        0.672,
        0.0005 / 0.672,
        "Cengel and Boles, Thermodynamics, Carnot engine between 652 and 30 degC: 0.672; "
        "from memory",
        {"hot": "652 degC", "cold": "30 degC"},
    ),
    Check(
        "heat_loss_coefficient",
        LOSS,
        "W/K",
        100 * 4186 * 0.6931472 / 36000,
        5e-8,
        "half the excess is gone in m c ln 2 / UA; 10 h here, ln 2 from a table to 7 digits",
        TANK | {"end": "40 degC", "time": "10 h"},
    ),
    Check(
        "heat_loss_coefficient",
        LOSS,
        "W/K",
        100 * 4186 / 36000,
        1e-8,
        "in the time m c / UA the excess falls to 1/e = 0.36787944; 10 h here",
        TANK | {"end": "34.7151776 degC", "time": "10 h"},  # 20 + 40/e
    ),
    Check(
        "standing_loss",
        "standing_loss(loss, warm, room, time)",
        "kWh",
        1.92,
        1e-12,
        "2 W/K x 40 K x 24 h by hand",
        {"loss": "2 W/K", "warm": "60 degC", "room": "20 degC", "time": "24 h"},
    ),
)
