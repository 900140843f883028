"""Fuel: the energy in it, wet wood and watered spirit, and what an engine burns."""

from effband.physics import Argument, Constant, Limit, PhysicsFunction, not_negative, positive

_HEATING_VALUE = Argument("heating_value", "J/kg", "heating value; say whether lower or higher")
_STRENGTH = Argument("strength", "1", "alcohol by volume at 20 degC, as on the label")

_HEATING_VALUE_LIMIT = Limit(
    "heating_value",
    "MJ/kg",
    "fuels lie between wet wood (8) and methane (50; 55.5 as higher value): check the unit",
    least=5,
    most=56,
)
_STRENGTH_LIMITS = (
    Limit(
        "strength",
        "%",
        "weaker spirit hardly burns and the formula does not hold for it; a share ends at 100 %",
        least=80,
        most=100,
        refuse=True,
    ),
    Limit(
        "strength",
        "%",
        "the formula follows the tables between 88 and 97 % only, and is 0.5 points off at 80 %: "
        "weigh 100 mL at 20 degC and take the mass fraction from a table of alcohol",
        least=88,
        most=97,
    ),
)
_WATER = Constant(
    "evaporation", 2.44, "MJ/kg", "heat that evaporates water at 25 degC; steam tables"
)
_MASS_FRACTION = "strength * (1 - (1 - strength) * shrinkage)"
# Of the density formula of OIML R 22: least squares over 88 to 97 %, 7e-5 off at most, right at
# 0 and 100 %.
_SHRINKAGE = ("shrinkage", "4.0991 - 9.0555 * strength + 5.5953 * strength**2")


FUNCTIONS: tuple[PhysicsFunction, ...] = (
    PhysicsFunction(
        name="fuel_energy_by_mass",
        arguments=(Argument("mass", "kg", "mass burnt"), _HEATING_VALUE),
        gives=Argument("energy", "J", "energy of the fuel"),
        expression="mass * heating_value",
        sentence="The energy in fuel that was weighed.",
        domain=(
            "any fuel; the lower value is usual for engines, the higher is 7 % more for petrol "
            "and 11 % for ethanol"
        ),
        source="definition of the heating value",
        example=("11.8 g", "24.7 MJ/kg"),
        worked="291.46 kJ",
        limits=(not_negative("mass", "g"), _HEATING_VALUE_LIMIT),
    ),
    PhysicsFunction(
        name="fuel_energy_by_volume",
        arguments=(
            Argument("volume", "m^3", "volume burnt"),
            Argument("density", "kg/m^3", "density of the fuel at its temperature"),
            _HEATING_VALUE,
        ),
        gives=Argument("energy", "J", "energy of the fuel"),
        expression="volume * density * heating_value",
        sentence="The energy in fuel that was measured by volume.",
        domain=(
            "liquid fuels, volume and density at one temperature: petrol grows 0.1 % a kelvin; "
            "weighing is better"
        ),
        source="definition of the heating value",
        example=("1.5 L", "745 kg/m^3", "43.4 MJ/kg"),
        worked="48.500 MJ",
        limits=(
            not_negative("volume", "L"),
            _HEATING_VALUE_LIMIT,
            Limit(
                "density",
                "kg/m^3",
                "liquid fuels lie between propane (500) and heavy oil (1000): check the unit; a "
                "gas needs the density at the pressure and temperature of its meter",
                least=450,
                most=1100,
            ),
        ),
    ),
    PhysicsFunction(
        name="efficiency_from_consumption",
        arguments=(
            Argument("specific_consumption", "kg/J", "fuel for each unit of work, as in g/kWh"),
            _HEATING_VALUE,
        ),
        gives=Argument("efficiency", "1", "work out of the energy of the fuel"),
        expression="1 / (specific_consumption * heating_value)",
        sentence="The efficiency of an engine whose fuel for each kWh is known.",
        domain="a steady load; consumption and heating value of the same fuel",
        source="definition of the specific consumption",
        example=("300 g/kWh", "43.4 MJ/kg"),
        worked="27.650 %",
        limits=(
            positive(
                "specific_consumption", "g/kWh", "no engine runs without fuel: check the number"
            ),
            _HEATING_VALUE_LIMIT,
            Limit(
                "1 / (specific_consumption * heating_value)",
                "%",
                "small engines reach 10 to 35 %, the best large diesels 50 %: check the unit of "
                "the consumption",
                most=55,
                called="the efficiency",
            ),
        ),
    ),
    PhysicsFunction(
        name="wood_heating_value",
        arguments=(
            Argument("oven_dry_value", "J/kg", "lower heating value of the oven-dry wood"),
            Argument("moisture", "1", "mass of water in the mass of wet wood"),
        ),
        gives=Argument("heating_value", "J/kg", "lower heating value as it is burnt"),
        expression="oven_dry_value * (1 - moisture) - evaporation * moisture",
        sentence="The lower heating value of wood with its water in it.",
        domain=(
            "moisture on the wet basis: water over wet wood, not over dry; 18.5 MJ/kg oven-dry is "
            "usual, 0.5 more for conifers; meters with pins often show the dry basis"
        ),
        source="ISO 17225-1 and ISO 18125, conversion to as received; 18.5 MJ/kg: common "
        "practice; from memory",
        example=("18.5 MJ/kg", "20 %"),
        worked="14.312 MJ/kg",
        constants=(_WATER,),
        limits=(
            Limit(
                "moisture",
                "%",
                "water over wet wood lies between 0 and 100 %: the meter shows water over dry "
                "wood u, which is u/(1 + u) over wet wood",
                least=0,
                most=100,
                refuse=True,
            ),
            Limit(
                "moisture",
                "%",
                "so wet wood gives no heat: the meter may show water over dry wood u, which is "
                "u/(1 + u) over wet wood",
                most=85,
                refuse=True,
            ),
            Limit(
                "moisture",
                "%",
                "fresh wood holds 40 to 60 %, and wetter wood hardly burns: the meter may show "
                "water over dry wood u, which is u/(1 + u) over wet wood",
                most=60,
            ),
            Limit(
                "oven_dry_value",
                "MJ/kg",
                "oven-dry wood lies between 17 and 20.5: give the value without water",
                least=16,
                most=22,
            ),
        ),
    ),
    PhysicsFunction(
        name="spirit_mass_fraction",
        arguments=(_STRENGTH,),
        gives=Argument("mass_fraction", "1", "mass of ethanol in the mass of spirit"),
        expression=_MASS_FRACTION,
        sentence="The share of alcohol by mass in spirit whose strength by volume is known.",
        domain=(
            "ethanol and water at 20 degC from 88 to 97 % by volume, within 0.0001 of the tables; "
            "methanol and other denaturants are taken for ethanol"
        ),
        source="fitted to the density formula of OIML R 22, from memory",
        example=("95 %",),
        worked="92.41 %",
        where=(_SHRINKAGE,),
        limits=_STRENGTH_LIMITS,
    ),
    PhysicsFunction(
        name="spirit_heating_value",
        arguments=(_STRENGTH,),
        gives=Argument("heating_value", "J/kg", "lower heating value of the spirit"),
        expression="mass_fraction * ethanol - (1 - mass_fraction) * evaporation",
        sentence="The lower heating value of burner spirit, from the strength on its label.",
        domain=(
            "ethanol and water from 88 to 97 % by volume; methanol in it lowers the value; labels "
            "often leave the strength open between 90 and 96 %"
        ),
        source=(
            "mixture of ethanol and water; strength as in spirit_mass_fraction; the heat of "
            "mixing, under 0.1 %, is left out; from memory"
        ),
        example=("95 %",),
        worked="24.672 MJ/kg",
        where=(_SHRINKAGE, ("mass_fraction", _MASS_FRACTION)),
        constants=(
            Constant("ethanol", 26.9, "MJ/kg", "lower heating value of ethanol; handbooks"),
            _WATER,
        ),
        limits=_STRENGTH_LIMITS,
    ),
    PhysicsFunction(
        name="willans_fuel_rate",
        arguments=(
            Argument("idle_rate", "kg/s", "mass of fuel a time at no load, as in kg/h"),
            Argument("slope", "kg/J", "more fuel for each unit of work, as in g/kWh"),
            Argument("power", "W", "power delivered"),
        ),
        gives=Argument("fuel_rate", "kg/s", "mass of fuel a time"),
        expression="idle_rate + slope * power",
        sentence="The fuel that an engine burns at part load, on a straight line over power.",
        domain=(
            "one speed, up to about 80 % of full load; mass of fuel a time: multiply a rate by "
            "volume with the density; idling takes 30 to 60 % of the fuel at full load"
        ),
        source="Willans line; common practice",
        example=("0.208 kg/h", "358 g/kWh", "1 kW"),
        worked="0.56600 kg/h",
        limits=(
            not_negative("idle_rate", "kg/h"),
            not_negative("slope", "g/kWh"),
            not_negative(
                "power",
                "W",
                "an engine that is driven from outside burns less than at idle: the line ends at "
                "no load",
            ),
        ),
    ),
)
