"""All physics functions, by name."""

from effband.physics import PhysicsFunction, air, rotating

TRADES: dict[str, tuple[PhysicsFunction, ...]] = {
    "air": air.FUNCTIONS,
    "rotating": rotating.FUNCTIONS,
}
FUNCTIONS = {function.name: function for trade in TRADES.values() for function in trade}
