"""Values of the water functions from outside the project."""

from bench import Check

WATER = {"density": "998.2 kg/m^3", "flow": "2.6 L/s", "head": "31 m"}
NOZZLE = {
    "p": "3.05 bar gauge",
    "density": "998.9 kg/m^3",
    "height": "0.12 m",
    "flow": "2.582 L/s",
    "bore": "50.2 mm",
}
PLATE = {
    "drop": "10 kPa difference",
    "pipe": "80 mm",
    "bore": "48 mm",
    "density": "998.2 kg/m^3",
    "viscosity": "1.002e-3 Pas",
}
SMALL_PLATE = PLATE | {"drop": "5 kPa difference", "pipe": "50 mm", "bore": "25 mm"}
WIDE_PLATE = PLATE | {
    "drop": "2 kPa difference",
    "pipe": "100 mm",
    "bore": "75 mm",
    "density": "999.1 kg/m^3",
    "viscosity": "1.138e-3 Pas",
}
POWER = "hydraulic_power(density, flow, head)"
ORIFICE = "orifice_flow(drop, pipe, bore, density, viscosity)"
CORNER = "orifice_flow_corner_taps(drop, pipe, bore, density, viscosity)"
# the flow through the bore without contraction, of which C is the rest
THROUGH = "(pi / 4 * bore**2 * sqrt(2 * drop / density) / sqrt(1 - (bore / pipe)**4))"
LIBRARY = (
    "Reader-Harris/Gallagher equation as coded in the library fluids 1.3.1, solved for the flow "
    "with a root finder to 1e-14"
)
G_RATIO = 9.80665 / 9.81  # sources with 9.81 m/s^2, brought to standard gravity

CHECKS = (
    Check(
        "hydraulic_power",
        POWER,
        "W",
        789.26 * G_RATIO,
        0.005 / 789.26,
        "rho g Q H by hand at 9.81 m/s^2: 789.26 W, scaled to standard gravity",
        WATER,
    ),
    Check(
        "hydraulic_power",
        "electric / hydraulic_power(density, flow, head)",
        "1",
        0.76,
        0.005 / 0.76,
        "Cengel and Boles, Thermodynamics, example 2-16, hydraulic turbine and generator: overall "
        "efficiency 0.76 for 5000 kg/s, 50 m, 1862 kW; 9.81 for g, 3e-4 within the digits; "
        "from memory",
        {"electric": "1862 kW", "density": "1000 kg/m^3", "flow": "5 m^3/s", "head": "50 m"},
    ),
    Check(
        "hydraulic_power",
        f"0.4 * {POWER}",
        "MW",
        9.80665 / 10,
        1e-12,
        "textbook exercise: 5000 kg/s at 50 m and 40 % give 1 MW with g = 10 m/s^2; scaled to "
        "standard gravity; common practice, no source",
        {"density": "1000 kg/m^3", "flow": "5 m^3/s", "head": "50 m"},
    ),
    Check(
        "head_at_nozzle",
        "head_at_nozzle(p, density, height, flow, bore)",
        "m",
        10.33227,
        5e-7,
        "NIST SP 811 appendix B: 1 atm is 1033.227 cm of conventional water; from memory",
        {
            "p": "1 atm gauge",
            "density": "1000 kg/m^3",
            "height": "0 m",
            "flow": "0 L/s",
            "bore": "50 mm",
        },
    ),
    Check(
        "head_at_nozzle",
        "head_at_nozzle(p, density, height, flow, bore)",
        "m",
        (31.33 - 0.12) / G_RATIO + 0.12,
        0.005 / 31.33,
        "p/(rho g) + z + v^2/2g worked out by hand to 31.33 m at 9.81 m/s^2; the parts over g "
        "scaled to standard gravity",
        NOZZLE,
    ),
    Check(
        "head_at_nozzle",
        "head_at_nozzle(p, density, height, flow, bore)"
        " - head_at_nozzle(p, density, height, 0 * flow, bore)",
        "m",
        0.0868,
        6e-4,
        "2.582 L/s in a bore of 50.2 mm: 1.3045 m/s, v^2/2g by hand",
        NOZZLE,
    ),
    Check(
        "flow_by_bucket",
        "flow_by_bucket(volume, time)",
        "L/s",
        2.5816,
        2e-5,
        "19.93 / 7.72 by hand",
        {"volume": "19.93 L", "time": "7.72 s"},
    ),
    Check(
        "flow_by_bucket",
        "flow_by_bucket(volume, time)",
        "gal_us/min",
        15.0,
        1e-12,
        "5 gallons in 20 s are 15 a minute: 60 / 20 times 5",
        {"volume": "5 gal_us", "time": "20 s"},
    ),
    Check(
        "flow_by_weighing",
        "flow_by_weighing(mass, density, time)",
        "gal_us/min",
        1.0,
        6e-5,
        "a US gallon of water weighs 8.337 lb at 60 degF, where its density is 0.99902 kg/L; "
        "handbooks, from memory",
        {"mass": "8.337 lb", "density": "0.99902 kg/L", "time": "1 min"},
    ),
    Check(
        "v_notch_flow",
        "v_notch_flow(head, angle, coefficient)",
        "L/s",
        4.410 * G_RATIO**0.5,
        0.0005 / 4.410,
        "Kindsvater-Shen equation of ISO 1438 for 90 degrees by hand at 9.81 m/s^2: 4.410 L/s, "
        "scaled to standard gravity",
        {"head": "100 mm", "angle": "90 deg", "coefficient": "0.578"},
    ),
    Check("orifice_flow", ORIFICE, "L/s", 5.316844343294307, 1e-12, LIBRARY, PLATE),
    Check("orifice_flow", f"{ORIFICE} / {THROUGH}", "1", 0.6123994839005462, 1e-12, LIBRARY, PLATE),
    Check("orifice_flow", ORIFICE, "L/s", 0.9841739991205446, 1e-12, LIBRARY, SMALL_PLATE),
    Check("orifice_flow", ORIFICE, "L/s", 6.633421398144435, 1e-12, LIBRARY, WIDE_PLATE),
    Check("orifice_flow_corner_taps", CORNER, "L/s", 5.304588662182179, 1e-12, LIBRARY, PLATE),
    Check(
        "orifice_flow_corner_taps", CORNER, "L/s", 0.985423913878881, 1e-12, LIBRARY, SMALL_PLATE
    ),
    Check("orifice_flow_corner_taps", CORNER, "L/s", 6.503412904122245, 1e-12, LIBRARY, WIDE_PLATE),
    Check(
        "orifice_flow_corner_taps",
        f"{CORNER} / {THROUGH}",
        "1",
        0.60687,
        0.000005 / 0.60687,
        "ISO 5167-2, corner tappings at a diameter ratio of 0.5 and a Reynolds number of 1e5, the "
        "equation worked out separately; the drop is the one that gives this Reynolds number",
        PLATE | {"drop": "20.483 kPa difference", "pipe": "100 mm", "bore": "50 mm"},
    ),
)
