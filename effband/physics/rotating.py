"""Turning parts."""

from effband.physics import Argument, PhysicsFunction

FUNCTIONS = (
    PhysicsFunction(
        name="kinetic_energy",
        arguments=(
            Argument("inertia", "kg*m^2", "moment of inertia"),
            Argument("speed", "rad/s", "rotational speed, in rpm, rev/s or rad/s"),
        ),
        gives=Argument("energy", "J", "energy stored in the rotor"),
        expression="0.5 * inertia * speed ** 2",
        sentence="The energy stored in a turning rotor.",
        domain="a rigid rotor about a fixed axis",
        source="mechanics, any textbook",
    ),
)
