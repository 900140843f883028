"""Turning parts: what they store, what they lose, and what a brake takes from them."""

from effband.physics import Argument, Limit, PhysicsFunction, not_negative, positive

_INERTIA = Argument("inertia", "kg*m^2", "moment of inertia")
_SPEED = Argument("speed", "rad/s", "rotational speed, in rpm, rev/s or rad/s")
_MASS = Argument("mass", "kg", "mass")
_GIVES_INERTIA = Argument("inertia", "kg*m^2", "moment of inertia about the axis")
_GIVES_POWER = Argument("power", "W", "power that the brake takes")

_DRAG = "friction_torque * speed + viscous * speed ** 2 + windage * speed ** 3"
_TEXTBOOK = "mechanics, any textbook"
_MEASURED = "mechanics; common in laboratory courses, from memory"


_MASS_LIMIT = not_negative("mass", "kg")
_INERTIA_LIMIT = not_negative("inertia", "kg*m^2")
_TURNS_FORWARD = not_negative(
    "speed", "rpm", "a brake or a friction works against the turning: give the speed as positive"
)

FUNCTIONS: tuple[PhysicsFunction, ...] = (
    PhysicsFunction(
        name="kinetic_energy",
        arguments=(_INERTIA, _SPEED),
        gives=Argument("energy", "J", "energy stored in the rotor"),
        expression="0.5 * inertia * speed ** 2",
        sentence="The energy stored in a turning rotor.",
        domain="a rigid rotor about a fixed axis",
        source=_TEXTBOOK,
        example=("0.05625 kg*m^2", "3000 rpm"),
        worked="2775.8 J",
        limits=(_INERTIA_LIMIT,),
    ),
    # -- inertia from dimensions
    PhysicsFunction(
        name="inertia_of_disc",
        arguments=(_MASS, Argument("diameter", "m", "outer diameter")),
        gives=_GIVES_INERTIA,
        expression="mass * diameter ** 2 / 8",
        sentence="The moment of inertia of a solid disc or cylinder about its axis.",
        domain="even thickness and material, no holes; an error of the diameter counts twice",
        source=_TEXTBOOK,
        example=("5 kg", "300 mm"),
        worked="0.05625 kg*m^2",
        limits=(_MASS_LIMIT, not_negative("diameter", "mm")),
    ),
    PhysicsFunction(
        name="inertia_of_ring",
        arguments=(
            _MASS,
            Argument("inner_diameter", "m", "diameter of the hole"),
            Argument("outer_diameter", "m", "outer diameter"),
        ),
        gives=_GIVES_INERTIA,
        expression="mass * (inner_diameter ** 2 + outer_diameter ** 2) / 8",
        sentence="The moment of inertia of a ring, rim or tube about its axis.",
        domain="even thickness and material; equal diameters stand for a thin hoop",
        source=_TEXTBOOK,
        example=("5 kg", "200 mm", "300 mm"),
        worked="0.08125 kg*m^2",
        limits=(
            _MASS_LIMIT,
            not_negative("inner_diameter", "mm"),
            Limit(
                "outer_diameter - inner_diameter",
                "mm",
                "the hole is larger than the ring: the two diameters may be exchanged",
                least=0,
                called="the outer diameter less the inner one",
                refuse=True,
            ),
        ),
    ),
    PhysicsFunction(
        name="inertia_of_rod",
        arguments=(_MASS, Argument("length", "m", "length of the rod")),
        gives=_GIVES_INERTIA,
        expression="mass * length ** 2 / 12",
        sentence="The moment of inertia of a straight bar that turns end over end.",
        domain=(
            "an even bar about its middle, at right angles to it, thin against its length; about "
            "one end it is 4 times as much"
        ),
        source=_TEXTBOOK,
        example=("1.2 kg", "500 mm"),
        worked="0.02500 kg*m^2",
        limits=(_MASS_LIMIT, not_negative("length", "mm")),
    ),
    PhysicsFunction(
        name="mass_of_disc",
        arguments=(
            Argument("density", "kg/m^3", "density of the material"),
            Argument("diameter", "m", "outer diameter"),
            Argument("thickness", "m", "thickness"),
        ),
        gives=Argument("mass", "kg", "mass of the disc"),
        expression="density * (pi / 4) * diameter ** 2 * thickness",
        sentence="The mass of a solid disc that cannot be weighed alone.",
        domain="even thickness and material, no holes; weigh the disc where that is possible",
        source="density times volume",
        example=("7850 kg/m^3", "300 mm", "20 mm"),
        worked="11.098 kg",
        limits=(
            not_negative("density", "kg/m^3"),
            not_negative("diameter", "mm"),
            not_negative("thickness", "mm"),
            Limit(
                "density",
                "kg/m^3",
                "solids lie between cork (about 200) and tungsten (19 300): check the unit, "
                "1 g/cm^3 is 1000 kg/m^3",
                least=100,
                most=20_000,
            ),
        ),
    ),
    # -- inertia measured
    PhysicsFunction(
        name="inertia_by_trifilar",
        arguments=(
            Argument("mass", "kg", "everything that hangs, platform included"),
            Argument("radius", "m", "from the centre to each string"),
            Argument("length", "m", "length of the strings"),
            Argument("period", "s", "time of one full swing, there and back"),
        ),
        gives=_GIVES_INERTIA,
        expression="mass * standard_gravity * radius ** 2 * period ** 2 / (4 * pi ** 2 * length)",
        sentence="The moment of inertia of a body that swings, twisting, on three strings.",
        domain=(
            "three equal, upright strings at one radius, the body's centre over the middle, "
            "twists under 10 deg; the inertia of an empty platform is in it and is taken off"
        ),
        source=_MEASURED,
        example=("2.4 kg", "120 mm", "1.5 m", "1.62 s"),
        worked="0.015020 kg*m^2",
        limits=(
            _MASS_LIMIT,
            not_negative("radius", "mm"),
            positive("length", "mm", "there is nothing to swing on without strings"),
            Limit(
                "length / radius",
                "1",
                "strings shorter than the platform is wide swing by another law: were the two "
                "exchanged?",
                least=2,
                called="length over radius",
            ),
            positive("period", "s", "a swing takes time: give the seconds of one"),
        ),
    ),
    PhysicsFunction(
        name="inertia_by_falling_weight",
        arguments=(
            Argument("mass", "kg", "mass of the weight on the cord"),
            Argument("radius", "m", "from the axis to the middle of the cord"),
            Argument("height", "m", "height fallen, from rest"),
            Argument("time", "s", "time of the fall"),
        ),
        gives=_GIVES_INERTIA,
        expression="mass * radius ** 2 * (standard_gravity * time ** 2 / (2 * height) - 1)",
        sentence="The moment of inertia of a rotor that a falling weight on a cord sets turning.",
        domain=(
            "from rest, a thin cord on one drum, no slip; friction makes it read high, so use a "
            "weight that pulls many times the friction, or two weights"
        ),
        source=_MEASURED,
        example=("0.5 kg", "20 mm", "1 m", "6 s"),
        worked="0.035104 kg*m^2",
        limits=(
            _MASS_LIMIT,
            not_negative("radius", "mm"),
            positive("height", "mm", "the weight has not fallen: give the height"),
            positive("time", "s", "a fall takes time: give the seconds from rest"),
            Limit(
                "standard_gravity * time ** 2 / (2 * height)",
                "1",
                "the weight falls faster than freely: it did not start from rest, or height or "
                "time is wrong",
                least=1,
                called="the height of a free fall in that time over the height fallen",
                refuse=True,
            ),
            Limit(
                "standard_gravity * time ** 2 / (2 * height)",
                "1",
                "the weight falls almost freely, and an error of the time counts four times and "
                "more: use a lighter weight or a thinner drum",
                least=2,
                called="the height of a free fall in that time over the height fallen",
            ),
        ),
    ),
    PhysicsFunction(
        name="geared_inertia",
        arguments=(
            _INERTIA,
            Argument("part_speed", "rad/s", "rotational speed of the geared part"),
            Argument("shaft_speed", "rad/s", "rotational speed of the shaft it counts for"),
        ),
        gives=Argument("shaft_inertia", "kg*m^2", "moment of inertia as the shaft feels it"),
        expression="inertia * (part_speed / shaft_speed) ** 2",
        sentence="The moment of inertia of a geared or belted part, as another shaft feels it.",
        domain="a fixed ratio of the speeds, no slip",
        source=_TEXTBOOK,
        example=("0.01 kg*m^2", "3000 rpm", "1000 rpm"),
        worked="0.09000 kg*m^2",
        limits=(
            _INERTIA_LIMIT,
            Limit(
                "abs(shaft_speed)",
                "rpm",
                "a shaft as good as at rest gives no ratio",
                least=0.1,
                called="the speed of the shaft",
                refuse=True,
            ),
        ),
    ),
    # -- spin-down
    PhysicsFunction(
        name="spin_down_power",
        arguments=(
            _INERTIA,
            Argument("speed_from", "rad/s", "rotational speed at the start"),
            Argument("speed_to", "rad/s", "rotational speed at the end"),
            Argument("time", "s", "time from the one to the other"),
        ),
        gives=Argument("power", "W", "mean power lost while it slows down"),
        expression="inertia * (speed_from ** 2 - speed_to ** 2) / (2 * time)",
        sentence="The power that a rotor left to itself loses, on average over the time taken.",
        domain=(
            "nothing drives or loads the rotor; the mean over time, which is not the loss at the "
            "middle speed; losses that come with load are not in it"
        ),
        source="energy lost over time taken; retardation method, as in IEC 60034-2-2, from memory",
        example=("0.0085 kg*m^2", "2600 rpm", "2200 rpm", "3.2 s"),
        worked="27.964 W",
        limits=(
            _INERTIA_LIMIT,
            not_negative("speed_to", "rpm", "it turns the other way: give speeds as positive"),
            positive("time", "s", "slowing down takes time: give the seconds"),
            Limit(
                "speed_from - speed_to",
                "rpm",
                "a rotor left to itself slows down: the two speeds may be exchanged",
                more_than=0,
                called="the speed at the start less that at the end",
                refuse=True,
            ),
            Limit(
                "speed_to - speed_from / 2",
                "rpm",
                "over so wide a span the loss changes much, and its mean stands for no one speed: "
                "time a shorter span, or fit spin_down_loss",
                least=0,
                called="the speed at the end less half of that at the start",
            ),
        ),
    ),
    PhysicsFunction(
        name="spin_down_loss",
        arguments=(
            Argument("friction_torque", "N*m", "torque that is the same at any speed"),
            Argument("viscous", "N*m*s", "torque for each rad/s"),
            Argument("windage", "N*m*s^2", "torque for each (rad/s)^2"),
            _SPEED,
        ),
        gives=Argument("power", "W", "power lost at that speed"),
        expression=_DRAG,
        sentence="The power that rubbing, oil and air take from a rotor at one speed.",
        domain=(
            "between the speeds at which the three were fitted; fitted together they depend on "
            "each other, so declare how, or carry the power itself"
        ),
        source="Coulomb, viscous and windage torque; common practice, no source",
        example=("0.02 N*m", "1e-4 N*m*s", "5e-7 N*m*s^2", "3000 rpm"),
        worked="31.656 W",
        limits=(
            _TURNS_FORWARD,
            Limit(
                _DRAG,
                "W",
                "a rotor cannot gain from friction: the fit does not reach to this speed",
                least=0,
                called="the power lost",
                refuse=True,
            ),
            Limit(
                "friction_torque",
                "N*m",
                "no bearing drives: use the fit between its own speeds only",
                least=0,
            ),
            Limit(
                "viscous",
                "N*m*s",
                "no oil drives: use the fit between its own speeds only",
                least=0,
            ),
            Limit(
                "windage",
                "N*m*s^2",
                "still air does not drive: use the fit between its own speeds only",
                least=0,
            ),
        ),
    ),
    # -- brakes
    PhysicsFunction(
        name="prony_brake_power",
        arguments=(
            Argument("load", "kg", "reading of the scale under the arm"),
            Argument("tare", "kg", "its reading with the brake open and the rotor at rest"),
            Argument("arm", "m", "from the shaft's centre to the scale, level"),
            _SPEED,
        ),
        gives=_GIVES_POWER,
        expression="(load - tare) * standard_gravity * arm * speed",
        sentence="The shaft power that a brake with an arm on a scale takes.",
        domain="the arm level and at right angles to the pull; 5 deg off reads 0.4 % high",
        source="torque times speed; Prony brake, any textbook on engine testing, from memory",
        example=("2.35 kg", "0.31 kg", "300 mm", "780 rpm"),
        worked="490.22 W",
        limits=(
            _TURNS_FORWARD,
            not_negative("arm", "mm"),
            Limit(
                "load - tare",
                "kg",
                "the brake pulls less than its arm weighs: the two readings may be exchanged, or "
                "the arm presses the other way",
                least=0,
                called="the load less the tare",
                refuse=True,
            ),
        ),
    ),
    PhysicsFunction(
        name="rope_brake_power",
        arguments=(
            Argument("hung_mass", "kg", "mass hung on the tight end"),
            Argument("spring_reading", "kg", "reading of the spring scale at the slack end"),
            Argument("drum_diameter", "m", "diameter of the drum"),
            Argument("rope_diameter", "m", "thickness of the rope, 0 for a thin cord"),
            _SPEED,
        ),
        gives=_GIVES_POWER,
        expression=(
            "(hung_mass - spring_reading) * standard_gravity"
            " * (drum_diameter + rope_diameter) / 2 * speed"
        ),
        sentence="The shaft power that a rope over a drum takes, from a weight and a spring scale.",
        domain="the drum turns so as to lift the weight; the pull acts in the middle of the rope",
        source="R. K. Rajput, A Textbook of Internal Combustion Engines, example 17.3",
        example=("17.3 kg", "2.6 kg", "600 mm", "26 mm", "450 rpm"),
        worked="2126.3 W",
        limits=(
            _TURNS_FORWARD,
            not_negative("spring_reading", "kg"),
            not_negative("drum_diameter", "mm"),
            not_negative("rope_diameter", "mm"),
            Limit(
                "hung_mass - spring_reading",
                "kg",
                "the spring pulls more than the weight: the two may be exchanged, or the drum "
                "turns the other way",
                least=0,
                called="the hung mass less the spring reading",
                refuse=True,
            ),
            Limit(
                "drum_diameter - 2 * rope_diameter",
                "mm",
                "a rope as thick as half the drum does not lie well on it: the two diameters may "
                "be exchanged",
                least=0,
                called="the drum's diameter less two ropes",
            ),
        ),
    ),
)
