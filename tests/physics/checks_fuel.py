"""Values of the fuel functions from outside the project."""

from bench import Check

FUELS_SOURCE = (
    "US DOE Alternative Fuels Data Center, Fuel Properties, lower heating values: {} Btu a US "
    "gallon, {} Btu a pound; density {} g a gallon of the GREET model; from memory"
)
# name, Btu/gal, Btu/lb, g/gal (GREET), MJ/kg, MJ/L
FUELS = (
    ("gasoline", 116090, 18676, 2819, 43.44, 32.36),
    ("diesel", 128450, 18394, 3167, 42.78, 35.80),
    ("propane", 84250, 19900, 1920, 46.29, 23.48),
    ("ethanol", 76330, 11585, 2988, 26.95, 21.27),
    ("methanol", 57250, 8637, 3006, 20.09, 15.96),
)

BY_MASS = tuple(
    Check(
        "fuel_energy_by_mass",
        "fuel_energy_by_mass(mass, value)",
        "MJ",
        per_kilogram,
        0.005 / per_kilogram,
        f"{name}: {FUELS_SOURCE.format(per_gallon, per_pound, density)}; MJ/kg by hand",
        {"mass": "1 kg", "value": f"{per_pound} Btu_IT/lb"},
    )
    for name, per_gallon, per_pound, density, per_kilogram, _ in FUELS
)
# The density is printed to a gram a gallon, up to 2.6e-4 of it. The table seems to take 2.205 lb
# for a kilogram, which is 1.7e-4 of what remains.
BY_VOLUME = tuple(
    Check(
        "fuel_energy_by_volume",
        "fuel_energy_by_volume(volume, density, value)",
        "Btu_IT",
        per_gallon,
        0.5 / density + 0.5 / per_pound + 5 / per_gallon,
        f"{name}: {FUELS_SOURCE.format(per_gallon, per_pound, density)}",
        {
            "volume": "1 gal_us",
            "density": f"{density} g/gal_us",
            "value": f"{per_pound} Btu_IT/lb",
        },
    )
    for name, per_gallon, per_pound, density, _, _ in FUELS
)
BY_LITRE = tuple(
    Check(
        "fuel_energy_by_volume",
        "fuel_energy_by_volume(volume, per_gallon / per_pound, per_pound)",
        "MJ",
        per_litre,
        0.005 / per_litre,
        f"{name}: {FUELS_SOURCE.format(per_gallon, per_pound, density)}; MJ/L by hand",
        {
            "volume": "1 L",
            "per_gallon": f"{per_gallon} Btu_IT/gal_us",
            "per_pound": f"{per_pound} Btu_IT/lb",
        },
    )
    for name, per_gallon, per_pound, density, _, per_litre in FUELS
)

CONSUMPTION = tuple(
    Check(
        "efficiency_from_consumption",
        "efficiency_from_consumption(consumption, value)",
        "%",
        expected,
        0.005 / expected,
        "3600 / (g/kWh x MJ/kg) by hand",
        {"consumption": f"{consumption} g/kWh", "value": f"{value} MJ/kg"},
    )
    for consumption, value, expected in (
        (300, 43.4, 27.65),
        (400, 43.4, 20.74),
        (500, 43.4, 16.59),
        (250, 42.8, 33.64),
    )
)

WOOD = tuple(
    Check(
        "wood_heating_value",
        "wood_heating_value(dry, moisture)",
        "MJ/kg",
        expected,
        0.05 / expected,
        "18.5 (1 - M) - 2.44 M by hand to the digits shown",
        {"dry": "18.5 MJ/kg", "moisture": f"{moisture} %"},
    )
    for moisture, expected in ((10, 16.4), (20, 14.3), (30, 12.2), (50, 8.0))
) + tuple(
    Check(
        "wood_heating_value",
        "wood_heating_value(dry, moisture)",
        "MJ/kg",
        19.0 * (100 - moisture) / 100 - 0.02443 * moisture,
        # theirs is 2.443 MJ/kg of water, ours 2.44
        0.003 * moisture / 100 / (19.0 * (100 - moisture) / 100 - 0.02443 * moisture) + 1e-12,
        "ISO 17225-1 annex D, net calorific value as received: q (100 - M)/100 - 0.02443 M; "
        "from memory",
        {"dry": "19.0 MJ/kg", "moisture": f"{moisture} %"},
    )
    for moisture in (8, 35)
)

# International alcoholometric tables at 20 degC, as in Ph. Eur. 5.5: per cent by volume and by
# mass. The tables give two decimals of a per cent; the fit adds up to 0.7e-4.
STRENGTHS = tuple(
    Check(
        "spirit_mass_fraction",
        "spirit_mass_fraction(strength)",
        "%",
        mass,
        (0.005 + 0.007) / mass,
        "international alcoholometric tables (OIML R 22, Ph. Eur. 5.5) at 20 degC, from memory",
        {"strength": f"{volume} %"},
    )
    for volume, mass in ((90, 85.66), (92, 88.29), (94, 91.01), (95, 92.41), (96, 93.84))
) + tuple(
    Check(
        "spirit_mass_fraction",
        "spirit_mass_fraction(strength)",
        "%",
        mass,
        (0.05 + 0.007) / mass,
        "European Pharmacopoeia, monograph on ethanol (96 per cent): the limits 95.1 and 96.9 % "
        "by volume are 92.6 and 95.2 % by mass; from memory",
        {"strength": f"{volume} %"},
    )
    for volume, mass in ((95.1, 92.6), (96.9, 95.2))
)

OTHERS = (
    Check(
        "spirit_heating_value",
        "spirit_heating_value(strength)",
        "MJ/kg",
        24.7,
        0.05 / 24.7,
        "0.924 x 26.9 - 0.076 x 2.44 by hand, 92.4 % by mass at 95 % by volume",
        {"strength": "95 %"},
    ),
    Check(
        "spirit_heating_value",
        "spirit_heating_value(strength)",
        "MJ/kg",
        26.9,
        1e-12,
        "ethanol without water, lower heating value in round numbers; handbooks, from memory",
        {"strength": "100 %"},
    ),
)
PART_LOAD = tuple(
    Check(
        "willans_fuel_rate",
        "power / (willans_fuel_rate(idle * density, slope * density, power) * value)",
        "%",
        expected,
        0.05 / expected,
        "a small petrol generator set: 0.0739 gal/h + 0.127 gal/h for each kW, at 116 090 Btu/gal "
        "by hand; trade page, common practice",
        {
            "power": f"{power} kW",
            "idle": "0.0739 gal_us/h",
            "slope": "0.127 gal_us/(h*kW)",
            "density": "0.745 kg/L",
            "value": f"{116090 / 0.745} Btu_IT*L/(gal_us*kg)",
        },
    )
    for power, expected in ((1, 14.6), (0.5, 10.7))
)

CHECKS = (*BY_MASS, *BY_VOLUME, *BY_LITRE, *CONSUMPTION, *WOOD, *STRENGTHS, *OTHERS, *PART_LOAD)
