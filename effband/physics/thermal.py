"""Heat: what water takes up, what a heat pump may give, and what a tank loses."""

from effband.physics import Argument, Limit, PhysicsFunction, not_negative, positive

_MASS = Argument("mass", "kg", "mass that warms or cools")
_SPECIFIC_HEAT = Argument("specific_heat", "J/(kg*K)", "specific heat, about 4180 for water")
_ROOM = Argument("room_temperature", "K", "temperature of the room", "temperature")
_HOT = Argument("hot", "K", "temperature of the hot side", "temperature")
_COLD = Argument("cold", "K", "temperature of the cold side", "temperature")

_MASS_LIMIT = not_negative("mass", "kg")
_SPECIFIC_HEAT_LIMIT = Limit(
    "specific_heat",
    "J/(kg*K)",
    "metals lie near 400, water near 4180, and hardly anything above: check the unit",
    least=100,
    most=5000,
)
_TIME_LIMIT = positive("time", "s", "cooling takes time: give how long it took")
_CARNOT_LIMITS = (
    Limit(
        "hot - cold",
        "K",
        "the hot side must be warmer than the cold side: exchange them, or look at the readings",
        more_than=0,
        called="hot less cold",
        refuse=True,
    ),
    Limit(
        "cold",
        "degC",
        "so cold a side is not found in a workshop: give a temperature, not a difference, and "
        "degC as degC",
        least=-100,
    ),
)
_CARNOT_SOURCE = "Carnot; any textbook of thermodynamics"
_CARNOT_DOMAIN = (
    "two steady temperatures, those of what is heated and what the heat is taken from; of a tank "
    "that warms up it is the ceiling at that moment only"
)


FUNCTIONS: tuple[PhysicsFunction, ...] = (
    PhysicsFunction(
        name="sensible_heat",
        arguments=(
            _MASS,
            _SPECIFIC_HEAT,
            Argument("temperature_from", "K", "temperature before", "temperature"),
            Argument("temperature_to", "K", "temperature after", "temperature"),
        ),
        gives=Argument("heat", "J", "heat taken up, negative when it cools"),
        expression="mass * specific_heat * (temperature_to - temperature_from)",
        sentence="The heat that water or anything else takes up as it warms.",
        domain=(
            "nothing freezes, melts or boils; mixed before each reading; the vessel's own heat "
            "is added; water's specific heat is 4180 J/(kg K) within 0.1 % from 20 to 55 degC"
        ),
        source="calorimetry, any textbook",
        example=("148 kg", "4180.6 J/(kg*K)", "15.2 degC", "50.4 degC"),
        worked="6.0498 kWh",
        limits=(_MASS_LIMIT, _SPECIFIC_HEAT_LIMIT),
    ),
    PhysicsFunction(
        name="heating_cop",
        arguments=(
            Argument("useful_heat", "J", "heat delivered"),
            Argument("electric_energy", "J", "electricity taken for it, fans and pumps included"),
        ),
        gives=Argument("cop", "1", "coefficient of performance"),
        expression="useful_heat / electric_energy",
        sentence="How many times its electricity a heat pump delivers as heat.",
        domain="heat and electricity of the same time; say whether standing loss is counted",
        source="definition; EN 16147 and EN 14511 for how to test, from memory",
        example=("5.83 kWh", "2.05 kWh"),
        worked="2.8439",
        limits=(
            positive(
                "electric_energy", "J", "a heat pump takes electricity: check the meter readings"
            ),
            not_negative("useful_heat", "J", "no heat was delivered: check the sign"),
            Limit(
                "useful_heat / electric_energy",
                "1",
                "heat pumps that people build lie between 1 and 8: look for heat or electricity "
                "that no meter saw, and for temperatures read before the water was mixed",
                least=1,
                most=8,
                called="the coefficient of performance",
            ),
        ),
    ),
    PhysicsFunction(
        name="carnot_heating_cop",
        arguments=(_HOT, _COLD),
        gives=Argument("cop", "1", "the highest possible coefficient of performance for heating"),
        expression="hot / (hot - cold)",
        sentence="The most that any heat pump could reach between two temperatures.",
        domain=_CARNOT_DOMAIN,
        source=_CARNOT_SOURCE,
        example=("55 degC", "15 degC"),
        worked="8.2038",
        limits=_CARNOT_LIMITS,
    ),
    PhysicsFunction(
        name="carnot_cooling_cop",
        arguments=(_HOT, _COLD),
        gives=Argument("cop", "1", "the highest possible coefficient of performance for cooling"),
        expression="cold / (hot - cold)",
        sentence="The most that any refrigerator could reach between two temperatures.",
        domain=_CARNOT_DOMAIN,
        source=_CARNOT_SOURCE,
        example=("55 degC", "15 degC"),
        worked="7.2038",
        limits=_CARNOT_LIMITS,
    ),
    PhysicsFunction(
        name="carnot_efficiency",
        arguments=(_HOT, _COLD),
        gives=Argument("efficiency", "1", "the highest possible efficiency"),
        expression="(hot - cold) / hot",
        sentence="The most work that any heat engine could make of its heat.",
        domain="two steady temperatures, those of the heater and of the cooler's water or air",
        source=_CARNOT_SOURCE,
        example=("652 degC", "30 degC"),
        worked="0.67232",
        limits=_CARNOT_LIMITS,
    ),
    PhysicsFunction(
        name="heat_loss_coefficient",
        arguments=(
            _MASS,
            _SPECIFIC_HEAT,
            Argument("temperature_start", "K", "temperature at the start", "temperature"),
            Argument("temperature_end", "K", "temperature at the end", "temperature"),
            _ROOM,
            Argument("time", "s", "time between the two"),
        ),
        gives=Argument("loss_coefficient", "W/K", "heat lost for each kelvin above the room"),
        expression="mass * specific_heat / time * log(1 / excess_left)",
        sentence="What a tank loses for each kelvin above the room, from how it cools by itself.",
        domain=(
            "nothing drawn or heated meanwhile, a steady room, the contents mixed before both "
            "readings; the vessel's own heat is added to the mass"
        ),
        source="Newton's law of cooling",
        example=("150 kg", "4181 J/(kg*K)", "55 degC", "49 degC", "20 degC", "24 h"),
        worked="1.3650 W/K",
        where=(
            (
                "excess_left",
                "(temperature_end - room_temperature) / (temperature_start - room_temperature)",
            ),
        ),
        limits=(
            _MASS_LIMIT,
            _SPECIFIC_HEAT_LIMIT,
            _TIME_LIMIT,
            Limit(
                "excess_left",
                "1",
                "a tank left alone comes nearer to the room's temperature and does not pass it: "
                "look at the three temperatures",
                least=1e-3,
                most=1,
                called="the part of the difference to the room that is left",
                refuse=True,
            ),
            Limit(
                "excess_left",
                "1",
                "so near to the room's temperature the thermometers decide: read earlier",
                least=0.05,
                called="the part of the difference to the room that is left",
            ),
            Limit(
                "abs(temperature_start - temperature_end)",
                "K",
                "so small a change is lost in the thermometer's error: let it cool longer",
                least=1,
                called="the change of temperature",
            ),
            Limit(
                "abs(temperature_start - room_temperature)",
                "K",
                "with so small a difference the swings of the room decide: start warmer",
                least=5,
                called="the difference to the room at the start",
            ),
        ),
    ),
    PhysicsFunction(
        name="standing_loss",
        arguments=(
            Argument("loss_coefficient", "W/K", "heat lost for each kelvin above the room"),
            Argument("temperature", "K", "mean temperature of the contents", "temperature"),
            _ROOM,
            Argument("time", "s", "time that it stood"),
        ),
        gives=Argument("heat", "J", "heat lost"),
        expression="loss_coefficient * (temperature - room_temperature) * time",
        sentence="The heat that a tank loses by standing, which a test may credit to the machine.",
        domain="a mean temperature over the time; steady room; no draught from draw-off",
        source="Newton's law of cooling",
        example=("1.36 W/K", "52 degC", "20 degC", "3.2 h"),
        worked="0.13926 kWh",
        limits=(
            not_negative(
                "loss_coefficient",
                "W/K",
                "a tank does not draw heat from a colder room: check the sign",
            ),
            not_negative("time", "s"),
            Limit(
                "temperature - room_temperature",
                "K",
                "a tank colder than the room gains heat, and the loss is negative",
                least=0,
                called="the difference to the room",
            ),
        ),
    ),
)
