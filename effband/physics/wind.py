"""Wind: what blows through a rotor's circle, and the most of it that any rotor can take."""

from effband.physics import Argument, Limit, PhysicsFunction, not_negative

_ARGUMENTS = (
    Argument("density", "kg/m^3", "density of the air"),
    Argument("rotor_diameter", "m", "diameter of the circle that the blades sweep"),
    Argument("wind_speed", "m/s", "speed of the free wind at the hub"),
)
_POWER = "0.5 * density * (pi / 4 * rotor_diameter ** 2) * wind_speed ** 3"
_CUBED = (
    "a wind that changes carries more than its mean speed says, nearly twice as much over a usual "
    "year, so use the mean of the cubes"
)
_EXAMPLE = ("1.225 kg/m^3", "1.2 m", "6 m/s")

_LIMITS = (
    not_negative("density", "kg/m^3"),
    Limit(
        "density",
        "kg/m^3",
        "air has 0.8 (a warm day at 3000 m) to 1.5 kg/m^3 (deep frost at the sea): check the unit",
        least=0.8,
        most=1.5,
    ),
    not_negative("rotor_diameter", "m"),
    # swept area: scope of IEC 61400-2, from memory
    Limit(
        "rotor_diameter",
        "m",
        "small wind machines end at 200 m^2 of swept area: check the unit",
        most=16,
    ),
    not_negative("wind_speed", "m/s"),
    Limit(
        "wind_speed",
        "m/s",
        "that is a storm, in which small machines stand still or turn away: check the unit",
        most=25,
    ),
)

FUNCTIONS: tuple[PhysicsFunction, ...] = (
    PhysicsFunction(
        name="wind_power",
        arguments=_ARGUMENTS,
        gives=Argument("power", "W", "power of the wind through the circle"),
        expression=_POWER,
        sentence="The power of the wind that blows through a rotor's circle.",
        domain=f"a free, steady wind square to the rotor; {_CUBED}",
        source="flow of kinetic energy, any textbook",
        example=_EXAMPLE,
        worked="149.63 W",
        limits=_LIMITS,
    ),
    PhysicsFunction(
        name="betz_ceiling",
        arguments=_ARGUMENTS,
        gives=Argument("power", "W", "most that a rotor can take"),
        expression=f"16 / 27 * ({_POWER})",
        sentence="The most power that any open rotor can take from the wind.",
        domain=(
            "a free rotor without a duct, judged by its own circle; good small machines take half "
            f"of it to two thirds; {_CUBED}"
        ),
        source="A. Betz, 1920, from memory; share of small machines: common practice, no source",
        example=_EXAMPLE,
        worked="88.668 W",
        limits=_LIMITS,
    ),
)
