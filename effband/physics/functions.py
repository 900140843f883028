"""All physics functions, by trade and by name."""

from effband.physics import (
    PhysicsFunction,
    air,
    electrical,
    fuel,
    hydraulic,
    rotating,
    thermal,
    wind,
)

TRADES: dict[str, tuple[PhysicsFunction, ...]] = {
    "air": air.FUNCTIONS,
    "rotating": rotating.FUNCTIONS,
    "electrical": electrical.FUNCTIONS,
    "hydraulic": hydraulic.FUNCTIONS,
    "wind": wind.FUNCTIONS,
    "thermal": thermal.FUNCTIONS,
    "fuel": fuel.FUNCTIONS,
}
FUNCTIONS = {function.name: function for trade in TRADES.values() for function in trade}
