"""Compressed air: pressures, and the energy in a receiver."""

from effband.physics import Argument, PhysicsFunction

_BAROMETER = Argument("barometer", "Pa", "pressure of the room's air", "absolute pressure")

FUNCTIONS = (
    PhysicsFunction(
        name="absolute",
        arguments=(Argument("p", "Pa", "gauge reading", "gauge pressure"), _BAROMETER),
        gives=Argument("p_abs", "Pa", "absolute pressure", "absolute pressure"),
        expression="p + barometer",
        sentence="Turns a gauge reading into the pressure that gas laws need.",
        domain="any gauge pressure above -barometer",
        source="definition",
        keeps_gas_of="p",
    ),
    PhysicsFunction(
        name="receiver_exergy",
        arguments=(
            Argument("p", "Pa", "receiver pressure", "absolute pressure", settled=True),
            Argument("volume", "m^3", "receiver and pipes"),
            _BAROMETER,
        ),
        gives=Argument("exergy", "J", "available energy"),
        expression="volume * (p * log(p / barometer) - p + barometer)",
        sentence=(
            "The most work that air at room temperature in a receiver could give; the difference "
            "of two is what any machine is measured against."
        ),
        domain="dry air as ideal gas at room temperature: within 0.4 % to 15 bar, 4 % at 200 bar",
        source=(
            "availability of a closed system; Cengel and Boles, Thermodynamics, chapter on exergy "
            "(work potential of compressed air in a tank), from memory"
        ),
    ),
    PhysicsFunction(
        name="warm_pressure",
        arguments=(
            Argument("p_start", "Pa", "pressure at the start", "absolute pressure"),
            Argument("p_cold", "Pa", "pressure read at once at the end", "absolute pressure"),
            Argument("gas_index", "1", "polytropic index of the emptying, 1 to 1.4"),
        ),
        gives=Argument("p_warm", "Pa", "pressure once the tank is warm", "absolute pressure"),
        expression="p_cold * (p_start / p_cold) ** (1 - 1 / gas_index)",
        sentence="The pressure that a tank read cold at the end would settle to.",
        domain="an emptying of constant index between 1 (slow) and 1.4 (fast)",
        source="polytropic change then warming at constant volume, ideal gas; common practice",
    ),
)
