"""Numbers that nobody measured: rules of thumb of each trade, and values from handbooks.

Those without a source are common practice, and wide on purpose. A rule of thumb is a place to
start from; whatever it is used for shows it as one.
"""

from __future__ import annotations

from effband.evidence.catalogue import COMMON_PRACTICE, Groups, Template, by_name


def _rule(
    name: str,
    numbers: tuple[str, ...],
    unit: str,
    sentence: str,
    source: str = COMMON_PRACTICE,
    evidence: str = "rule of thumb",
) -> Template:
    """Return a rule with two limits, or with a likely value between them."""
    words = ("low", "likely", "high") if len(numbers) == 3 else ("low", "high")
    keys = {word: f"{number} {unit}".rstrip() for word, number in zip(words, numbers, strict=True)}
    return Template(name, {**keys, "evidence": evidence}, sentence, source)


# -- compressed air ----------------------------------------------------------------------------

_AIR = (
    _rule(
        "compressed-air chain wall to shaft",
        ("7", "10", "15"),
        "%",
        "From the wall plug to the shaft of a vane motor: compressor, tank and motor are all in "
        "it, so do not multiply it by the motor's efficiency once more.",
    ),
    _rule(
        "small piston compressor wall to air",
        ("20", "30", "45"),
        "%",
        "Exergy stored in the receiver for each unit of electricity at the plug.",
    ),
    _rule(
        "small piston compressor specific power",
        ("7", "10", "13"),
        "kW/(m^3/min)",
        "Electrical power for each m^3/min of free air that is taken in, delivered at 7 bar above "
        "the room's air.",
    ),
    _rule(
        "vane motor air to shaft",
        ("12", "24", "32"),
        "%",
        "Shaft work as a share of the exergy of the air used: without expansion inside the motor "
        "44 % is the most there is at 6 bar.",
    ),
    _rule(
        "small workshop turbine efficiency",
        ("5", "15", "35"),
        "%",
        "Small home-built turbine off compressed air: much depends on its clearances and speed.",
    ),
    _rule(
        "gas index of a minutes-long emptying",
        ("1.02", "1.12", "1.30"),
        "",
        "Polytropic index of the air in a receiver of some 100 L that is emptied in minutes: a "
        "dump in seconds comes near 1.4; reading the pressure cold and again warm measures it.",
        "worked out for a 90 L receiver from 9 to 3 bar with its wall at room temperature; limits: "
        "common practice",
    ),
)


# -- engines -----------------------------------------------------------------------------------

_DECLARE_ONE = (
    "load fraction, fuel consumption and delivered power move together, so declare one of them, "
    "not three"
)
_J1940 = "SAE J1940 before and after its revision of October 2012, from summaries in print"

_ENGINES = (
    _rule(
        "small engine load fraction",
        ("45", "60", "85"),
        "%",
        "Share of its rated power that a small engine gives while it drives a small compressor; "
        f"{_DECLARE_ONE}.",
    ),
    _rule(
        "small engine tested to label power from 2014",
        ("95", "100"),
        "%",
        "Tested gross power as a share of the label's, labels of 2014 or later: the tests are made "
        "without the air cleaner and exhaust that you have.",
        _J1940,
    ),
    _rule(
        "small engine tested to label power before 2014",
        ("85", "100"),
        "%",
        "Tested gross power as a share of the label's, labels before 2014: the tests are made "
        "without the air cleaner and exhaust that you have.",
        _J1940,
    ),
    _rule(
        "small engine net to gross power",
        ("80", "88", "95"),
        "%",
        "What air cleaner and exhaust leave of the gross power; height and heat take more.",
    ),
    _rule(
        "small petrol engine consumption",
        ("320", "400", "550"),
        "g/kWh",
        "Fuel for each kWh at the shaft, above half load; below it is more and has no limit at "
        f"idle; {_DECLARE_ONE}.",
    ),
    _rule(
        "small petrol generator fuel to wire",
        ("8", "15", "22"),
        "%",
        "Electricity as a share of the fuel's lower heating value, above half load; "
        f"{_DECLARE_ONE}.",
    ),
    _rule(
        "hobby hot-air engine fuel to shaft",
        ("0.05", "0.3", "2"),
        "%",
        "Small hot-air engine on a burner, most of whose heat goes past it: a claim of more needs "
        "a measurement.",
        "Riley, Engineering 7 (2015) 789, for doubts about high claims; limits: common practice",
    ),
)


# -- gears, belts and bearings -----------------------------------------------------------------

_DRIVES = (
    _rule(
        "spin-down to loaded loss factor",
        ("1", "1.25", "2"),
        "",
        "What the loss from a spin-down without load is multiplied by for a loaded machine: "
        "friction of bearings and teeth that grows with the load is absent in a spin-down.",
        "Forschung im Ingenieurwesen 2023, doi 10.1007/s10010-023-00715-1, for the two kinds of "
        "loss; limits: common practice",
    ),
    _rule(
        "gear mesh efficiency",
        ("94", "97", "99"),
        "%",
        "Spur or helical gears, for each mesh, well loaded: a small load loses a larger share.",
    ),
    _rule(
        "worm gear efficiency",
        ("50", "72", "90"),
        "%",
        "Worm and wheel: many starts and oil lie high, one start and grease low.",
    ),
    _rule(
        "planetary stage efficiency",
        ("93", "96", "98"),
        "%",
        "Planetary gear, for each stage, well loaded.",
    ),
    _rule(
        "gearbox below quarter load extra loss",
        ("3", "15"),
        "points",
        "What a gearbox at less than a quarter of its load loses beyond the losses of its meshes, "
        "to be subtracted from its efficiency.",
    ),
    _rule(
        "V-belt efficiency",
        ("90", "95", "98"),
        "%",
        "V-belt, slip included: new and tight lies high, worn or out of line low.",
    ),
    _rule(
        "toothed belt efficiency",
        ("96", "98", "99"),
        "%",
        "Toothed belt, aligned and not overtight.",
    ),
    _rule(
        "chain drive efficiency",
        ("95", "97", "98.5"),
        "%",
        "Roller chain, clean and oiled: a dry or dirty one is worse.",
    ),
)


# -- electricity -------------------------------------------------------------------------------

_ELECTRICITY = (
    _rule(
        "car alternator efficiency",
        ("45", "55", "65"),
        "%",
        "Car alternator with its regulator and rectifier, without the belt that drives it.",
        "handbook chapter, doi 10.1201/9781003053231-3 (around 50 %); limits: common practice",
    ),
    _rule(
        "permanent-magnet alternator efficiency",
        ("70", "82", "92"),
        "%",
        "Alternator with magnets, or a hub motor driven as one: a rectifier behind it takes more.",
    ),
    _rule(
        "brushed DC motor as generator",
        ("50", "68", "82"),
        "%",
        "Brushed motor driven as a generator: at a small load its friction takes most.",
    ),
    _rule(
        "inverter efficiency above a fifth of load",
        ("80", "88", "94"),
        "%",
        "Inverter from a battery's voltage to mains voltage: what it draws at idle comes on top, "
        "such as 1.5 W for one of 60 W and 12 W for one of 700 W.",
    ),
    _rule(
        "lead-acid battery round trip",
        ("70", "80", "86"),
        "%",
        "Energy out of a battery for the energy put in, from one state of charge back to the same.",
    ),
    _rule(
        "lithium iron phosphate battery round trip",
        ("90", "94", "98"),
        "%",
        "Energy out of a battery for the energy put in, from one state of charge back to the same.",
    ),
    _rule(
        "lamp exponent",
        ("1.50", "1.57", "1.62"),
        "",
        "Exponent of a filament lamp's power over its voltage, from 0.8 to 1.1 of the rated "
        "voltage: below that measure voltage and current.",
        "IES Lighting Handbook (1.54), from memory; general reference works (1.6)",
    ),
)


# -- water and wind ----------------------------------------------------------------------------

_WATER_AND_WIND = (
    _rule(
        "pico Pelton wheel efficiency",
        ("45", "62", "78"),
        "%",
        "Home-built Pelton wheel, from the water's power at the nozzle to the shaft.",
    ),
    _rule(
        "overshot water wheel efficiency",
        ("55", "72", "85"),
        "%",
        "Overshot wheel at its design flow, from the water's power over its head to the shaft: "
        "well built it lies high, home-built, in backwater or with buckets that spill early low.",
        "textbooks on water wheels, from memory; limits: common practice",
    ),
    _rule(
        "breast water wheel efficiency",
        ("45", "62", "80"),
        "%",
        "Breast wheel in a close apron, from the water's power over its head to the shaft: wide "
        "gaps and straight boards lie low.",
        "textbooks on water wheels, from memory; limits: common practice",
    ),
    _rule(
        "surface to mean velocity of a channel",
        ("0.60", "0.75", "0.90"),
        "",
        "What the speed of a float on the surface is multiplied by for the mean speed of a "
        "straight channel: the table runs from 0.66 at 0.3 m of depth to 0.80 at 6 m; a rough or "
        "weedy bed lies low, a smooth flume high.",
        "US Bureau of Reclamation, Water Measurement Manual, float coefficients, from memory; "
        "limits: common practice",
    ),
    _rule(
        "small wind rotor power coefficient",
        ("10", "28", "42"),
        "%",
        "Shaft power as a share of the power of the wind through the rotor's circle; 59.3 % is the "
        "most that is possible.",
    ),
    _rule(
        "water density in a workshop",
        ("997.0", "998.2", "999.1"),
        "kg/m^3",
        "Clean water from 25 to 15 degC, most likely at 20: warmer water is lighter, 992 at 40.",
        "handbooks of water properties, from memory",
        evidence="handbook",
    ),
    Template(
        "V-notch coefficient",
        {
            "value": "0.578",
            "expanded_uncertainty": "1 % of value",
            "coverage_factor": "2",
            "evidence": "handbook",
        },
        "Discharge coefficient of a thin 90 degree V-notch: add 0.85 mm to the head, which must be "
        "above 60 mm, with air under the falling water.",
        "ISO 1438:2017, clause 10, numbers from memory; least head: US Bureau of Reclamation, "
        "Water Measurement Manual, chapter 7",
    ),
)


# -- fuels -------------------------------------------------------------------------------------


def _fuel(name: str, number: str, remark: str) -> Template:
    return Template(
        f"{name} lower heating value",
        {"value": f"{number} MJ/kg", "plus_minus": "2 % of value", "evidence": "handbook"},
        f"Heat of burning with the water left as steam: say so beside the result; {remark}.",
        "US Department of Energy, Alternative Fuels Data Center, Properties of Fuels; spread: "
        "common practice",
    )


_FUELS = (
    _rule(
        "pump petrol lower heating value",
        ("41.0", "44.3"),
        "MJ/kg",
        "Petrol as it is sold, with no ethanol in it (43.4) or up to a tenth (41.7), 2 % either "
        "way; heat of burning with the water left as steam: say so beside the result.",
        "US Department of Energy, Alternative Fuels Data Center, Properties of Fuels; mixture "
        "worked out; spread: common practice",
        evidence="handbook",
    ),
    _fuel("petrol without ethanol", "43.44", "with a tenth of ethanol it is 4 % less"),
    _fuel("diesel", "42.78", "biodiesel in it lowers it"),
    _fuel("propane", "46.29", "bottled gas may hold butane, which is close to it"),
    _fuel("ethanol", "26.95", "for pure ethanol: spirit holds water, whose share is its own input"),
    _fuel("methanol", "20.09", "for pure methanol: water in it is an input of its own"),
    _rule(
        "oven-dry wood lower heating value",
        ("17.5", "18.5", "19.5"),
        "MJ/kg",
        "For each kg of wood without water: with a share M of water in the wet mass a kg gives "
        "18.5 * (1 - M) - 2.44 * M MJ.",
        "handbooks of fuels, from memory; limits: common practice",
        evidence="handbook",
    ),
)

RULES: Groups = (
    ("compressed air", _AIR),
    ("engines", _ENGINES),
    ("gears and belts", _DRIVES),
    ("electricity", _ELECTRICITY),
    ("water and wind", _WATER_AND_WIND),
    ("fuels", _FUELS),
)
RULES_BY_NAME = by_name(RULES)
