"""Water power: head, and flow by bucket, scale, notch and orifice plate."""

from effband.physics import Argument, Constant, Limit, PhysicsFunction, not_negative, positive

_DENSITY = Argument("density", "kg/m^3", "density of the water")
_NO_LIQUID = positive("density", "kg/m^3", "a liquid has a weight: give its density")
_FLOW = Argument("flow", "m^3/s", "volume flow")
_TIME = Argument("time", "s", "time of the filling")

_LIQUID = Limit(
    "density",
    "kg/m^3",
    "liquids in workshops lie near water, 1000: check the unit",
    least=500,
    most=2000,
)
_FLOWS_FORWARD = not_negative(
    "flow", "L/s", "a flow the other way has no meaning here: check the sign"
)
_TIME_LIMITS = (
    positive("time", "s", "a filling takes time: give the seconds that it took"),
    Limit(
        "time",
        "s",
        "starting and stopping by hand is off by some 0.1 s, 2 % of 5 s: use a larger vessel",
        least=5,
    ),
)


# -- orifice plates --------------------------------------------------------------------------

# Ten passes settle the coefficient to 1e-12 wherever the standard has one; it is slowest at a
# diameter ratio of 0.75, where at a Reynolds number of 5000 nine would not do.
_PASSES = 10

# The part of the coefficient that the places of the tappings decide, before and behind the plate.
_CORNER = (("upstream", "0"), ("downstream", "0"))
_D_AND_HALF_D = (  # L1 = 1, L2' = 0.47
    ("upstream", "(0.043 + 0.080 * exp(-10) - 0.123 * exp(-7)) * beta**4 / (1 - beta**4)"),
    ("dam", "2 * 0.47 / (1 - beta)"),
    ("downstream", "0.031 * (dam - 0.8 * dam**1.1) * beta**1.3"),
)


def _coefficient(taps: tuple[tuple[str, str], ...]) -> tuple[tuple[str, str], ...]:
    """Return the steps to the discharge coefficient, which depends on the flow that it gives.

    It starts from its value at an endless Reynolds number; each pass takes the Reynolds number
    that the coefficient before it gives.
    """
    steps = [
        ("beta", "orifice_bore / pipe_bore"),
        (
            "unhindered",  # the flow if the coefficient were 1, and its Reynolds number
            "pi / 4 * orifice_bore**2 * sqrt(2 * pressure_drop / density) / sqrt(1 - beta**4)",
        ),
        ("reynolds", "4 * density * unhindered / (pi * pipe_bore * viscosity)"),
        *taps,
        ("small_pipe", "0.011 * (0.75 - beta) * max(0, 2.8 - pipe_bore / inch)"),
        (
            "c_0",
            "0.5961 + 0.0261 * beta**2 - 0.216 * beta**8 + upstream - downstream + small_pipe",
        ),
    ]
    for i in range(1, _PASSES + 1):
        steps += [
            (f"r_{i}", f"1e6 / (c_{i - 1} * reynolds)"),
            (f"a_{i}", f"(0.019 * beta * r_{i})**0.8"),
            (
                f"c_{i}",
                f"c_0 + 0.000521 * (beta * r_{i})**0.7"
                f" + (0.0188 + 0.0063 * a_{i}) * beta**3.5 * r_{i}**0.3 - 0.11 * a_{i} * upstream",
            ),
        ]
    return tuple(steps)


_COEFFICIENT = f"c_{_PASSES}"
_REYNOLDS = f"{_COEFFICIENT} * reynolds"
_PLATE_ARGUMENTS = (
    Argument("pressure_drop", "Pa", "between the tappings", "pressure difference"),
    Argument("pipe_bore", "m", "inner diameter of the pipe"),
    Argument("orifice_bore", "m", "diameter of the hole in the plate"),
    Argument("density", "kg/m^3", "density of the liquid"),
    Argument("viscosity", "Pas", "dynamic viscosity of the liquid, 0.001 Pas for water at 20 degC"),
)
_PLATE_CONSTANTS = (Constant("inch", 25.4, "mm", "one inch; ISO 5167-2 divides bores by it"),)
_PLATE_DOMAIN = (
    "liquids; a full pipe of at least 50 mm, straight and undisturbed for 10 to 40 bores before "
    "the plate, a square sharp edge, a hole of 12.5 mm or more and 0.1 to 0.75 of the pipe; the "
    "coefficient is then good to 0.5 % (0.2 to 0.6 of the pipe; 0.75 % at 0.75), and up to 0.5 % "
    "more in pipes under 71 mm; it depends on the flow, so it is worked out ten times, each c_ "
    "from the one before"
)
_PLATE_LIMITS = (
    Limit(
        "pressure_drop",
        "Pa",
        "less than 1 mm of water cannot be read; where it is below nothing, the two readings are "
        "exchanged",
        least=10,
        called="the pressure drop",
        refuse=True,
    ),
    positive("pipe_bore", "mm", "a pipe has a width: give its bore"),
    positive("viscosity", "Pas", "every liquid has some: water has 0.001 Pas at 20 degC"),
    positive("orifice_bore", "mm", "a hole has a width: give its bore"),
    Limit(
        "beta",
        "1",
        "the hole is nearly as wide as the pipe or wider: the two bores may be exchanged",
        most=0.9,
        called="the diameter ratio, hole to pipe",
        refuse=True,
    ),
    Limit(
        "beta",
        "1",
        "the standard's coefficient was measured between 0.1 and 0.75",
        least=0.1,
        most=0.75,
        called="the diameter ratio, hole to pipe",
    ),
    Limit(
        "pipe_bore",
        "mm",
        "most workshop pipes are outside the standard, 50 to 1000 mm: no coefficient is standard "
        "there, so compare the plate with a bucket and stopwatch",
        least=50,
        most=1000,
    ),
    Limit(
        "orifice_bore",
        "mm",
        "in so small a hole the sharpness of the edge decides, and the standard has no "
        "coefficient: compare the plate with a bucket and stopwatch",
        least=12.5,
    ),
    Limit(
        _REYNOLDS,
        "1",
        "in so slow or thick a flow the coefficient's formula has no meaning: use a smaller pipe, "
        "or a bucket and stopwatch",
        least=1000,
        called="the Reynolds number in the pipe",
        refuse=True,
    ),
    Limit(
        _REYNOLDS,
        "1",
        "the flow is too slow for the standard's coefficient: use a smaller pipe, or a bucket "
        "and stopwatch",
        least=5000,
        called="the Reynolds number in the pipe",
    ),
    Limit(
        f"{_REYNOLDS} / (16000 * beta**2)",
        "1",
        "with so wide a hole the standard's coefficient needs a faster flow: use a smaller hole, "
        "or a bucket and stopwatch",
        least=1,
        called="the Reynolds number in the pipe over 16000 (hole/pipe)^2",
    ),
    _LIQUID,
    _NO_LIQUID,
)


def _orifice(
    name: str, taps: tuple[tuple[str, str], ...], where: str, worked: str
) -> PhysicsFunction:
    return PhysicsFunction(
        name=name,
        arguments=_PLATE_ARGUMENTS,
        gives=_FLOW,
        expression=f"{_COEFFICIENT} * unhindered",
        sentence=f"The flow of a liquid through an orifice plate with {where}.",
        domain=_PLATE_DOMAIN,
        source="ISO 5167-2:2003, 5.3.2.1 (Reader-Harris/Gallagher equation), from memory",
        example=("10 kPa", "80 mm", "32 mm", "998.2 kg/m^3", "1.002e-3 Pas"),
        worked=worked,
        where=_coefficient(taps),
        constants=_PLATE_CONSTANTS,
        limits=_PLATE_LIMITS,
    )


# -- all -------------------------------------------------------------------------------------

FUNCTIONS: tuple[PhysicsFunction, ...] = (
    PhysicsFunction(
        name="hydraulic_power",
        arguments=(_DENSITY, _FLOW, Argument("head", "m", "height that the water falls")),
        gives=Argument("power", "W", "power of the water"),
        expression="density * standard_gravity * flow * head",
        sentence="The power of falling water, which any wheel or turbine is measured against.",
        domain=(
            "any liquid; gross head gives what the site has, head at the nozzle what the machine "
            "is given: say which"
        ),
        source="mechanics, any textbook",
        example=("998.2 kg/m^3", "2.6 L/s", "31 m"),
        worked="788.99 W",
        limits=(
            _LIQUID,
            _NO_LIQUID,
            _FLOWS_FORWARD,
            not_negative("head", "m", "water that runs uphill gives no power: check the sign"),
        ),
    ),
    PhysicsFunction(
        name="head_at_nozzle",
        arguments=(
            Argument("p", "Pa", "gauge reading before the nozzle", "gauge pressure"),
            _DENSITY,
            Argument("height", "m", "height of the gauge above the nozzle"),
            _FLOW,
            Argument("bore", "m", "inner diameter of the pipe where the gauge sits"),
        ),
        gives=Argument("head", "m", "head that the nozzle is given"),
        expression=(
            "p / (density * standard_gravity) + height + velocity**2 / (2 * standard_gravity)"
        ),
        sentence="The head that the nozzle of a turbine is given, from the gauge before it.",
        domain=(
            "a jet into the open air, water still running while the gauge is read; the loss "
            "between gauge and nozzle is left to the machine"
        ),
        source="Bernoulli, any textbook; IEC 60041 for the net head of an impulse turbine, "
        "from memory",
        example=("3.05 bar", "998.9 kg/m^3", "0.12 m", "2.582 L/s", "50.2 mm"),
        worked="31.342 m",
        where=(("velocity", "flow / (pi / 4 * bore**2)"),),
        limits=(
            positive("bore", "mm", "a pipe has a width: give its bore"),
            _FLOWS_FORWARD,
            Limit(
                "p",
                "bar",
                "a jet needs pressure before the nozzle: read the gauge with the water running",
                least=0,
            ),
            Limit(
                "velocity",
                "m/s",
                "so fast a flow in a pipe loses most of its head: check bore and flow",
                most=8,
                called="the velocity in the pipe",
            ),
            _LIQUID,
            _NO_LIQUID,
        ),
    ),
    PhysicsFunction(
        name="flow_by_bucket",
        arguments=(Argument("volume", "m^3", "volume filled"), _TIME),
        gives=_FLOW,
        expression="volume / time",
        sentence="The flow that fills a bucket or tank in a measured time.",
        domain="a steady flow, all of it caught; a vessel whose volume was weighed or measured",
        source="ISO 8316 (volumetric tank), from memory",
        example=("19.93 L", "7.72 s"),
        worked="2.5816 L/s",
        limits=(not_negative("volume", "L"), *_TIME_LIMITS),
    ),
    PhysicsFunction(
        name="flow_by_weighing",
        arguments=(Argument("mass", "kg", "mass of water caught, tare taken off"), _DENSITY, _TIME),
        gives=_FLOW,
        expression="mass / (density * time)",
        sentence="The flow from the weight of water caught in a measured time.",
        domain=(
            "a steady flow, all of it caught; the air's buoyancy, which makes water read 0.1 % "
            "light, is left out"
        ),
        source="ISO 4185 (weighing), without its correction for buoyancy, from memory",
        example=("19.88 kg", "998.2 kg/m^3", "7.72 s"),
        worked="2.5798 L/s",
        limits=(not_negative("mass", "kg"), _LIQUID, _NO_LIQUID, *_TIME_LIMITS),
    ),
    PhysicsFunction(
        name="v_notch_flow",
        arguments=(
            Argument("head", "m", "water level above the point of the notch, well upstream"),
            Argument("angle", "rad", "angle of the notch"),
            Argument("coefficient", "1", "discharge coefficient: 0.578 for 90 deg"),
        ),
        gives=_FLOW,
        expression=(
            "8 / 15 * coefficient * tan(angle / 2) * sqrt(2 * standard_gravity)"
            " * (head + head_correction)**2.5"
        ),
        sentence="The flow over a sharp-edged V-notch, from the water level before it.",
        domain=(
            "sharp upstream edges, air under the falling sheet, water below at least 5 cm under "
            "the point, a wide still pool before it; level read 3 to 4 heads upstream; the "
            "coefficient is good to about 1 %, and 1 mm at 100 mm is 2.5 %"
        ),
        source="ISO 1438:2017 clause 10 (Kindsvater and Shen), numbers from memory",
        example=("100 mm", "90 deg", "0.578"),
        worked="4.4095 L/s",
        constants=(
            Constant(
                "head_correction",
                0.85,
                "mm",
                "added to the head for viscosity and surface tension, for 90 deg; ISO 1438",
            ),
        ),
        limits=(
            not_negative(
                "head", "m", "no water runs over the notch: take the level from its point upwards"
            ),
            Limit(
                "head",
                "m",
                "below 0.06 m the sheet clings to the plate, above 0.38 m nobody tested it: use "
                "another notch",
                least=0.06,
                most=0.38,
            ),
            Limit(
                "angle", "deg", "a notch lies between 1 and 179 deg", least=1, most=179, refuse=True
            ),
            Limit(
                "angle",
                "deg",
                "the 0.85 mm added to the head are those of 90 deg; other angles need up to 2 mm "
                "more, which is 5 % at 100 mm",
                least=85,
                most=95,
            ),
            Limit(
                "coefficient",
                "1",
                "coefficients of notches lie near 0.58: 0.56 to 0.62",
                least=0.56,
                most=0.62,
            ),
        ),
    ),
    _orifice(
        "orifice_flow",
        _D_AND_HALF_D,
        "tappings one bore before and half a bore behind it",
        "2.2027 L/s",
    ),
    _orifice(
        "orifice_flow_corner_taps",
        _CORNER,
        "tappings in the corners at the plate",
        "2.2074 L/s",
    ),
)
