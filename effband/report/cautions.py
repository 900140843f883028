"""The usual cautions of the trade, by hazard; never a safe pressure, load or test value."""

from __future__ import annotations

DEFER = (
    "Defer to local codes and licensed practice; this report approves no equipment and is no "
    "statement that anything is safe."
)

# Short forms of what the named rules ask for; sources as remembered, none opened.
CAUTIONS: dict[str, str] = {
    "compressed air": (
        "A receiver stores enough energy to kill. Use only vessels made and stamped for air to a "
        "pressure-vessel code, with a gauge in sight and a relief valve that nothing can shut "
        "off; never home-welded tanks, gas bottles or plastic pipe. Have it inspected and "
        "pressure-tested, with water, by a competent person. Never point air at people. Exhaust "
        "may be loud and far below freezing."
    ),
    "rotating parts": (
        "Guard what turns, stand out of its plane, tie back hair and sleeves. A machine that "
        "loses its load may run away to about twice its best speed."
    ),
    "electricity": (
        "Inverter and mains outputs kill, capacitors hold charge. Use isolated supplies, residual "
        "current protection and meters of the right measurement category."
    ),
    "brake": "A rope or Prony brake runs hot and can grab: keep hands clear and water at hand.",
    "hot surfaces": "Burners, brakes, lamps and resistors burn: mount them on what cannot burn.",
    "fire": "Spirit burns with a flame that cannot be seen. Refuel cold, with no flame near.",
    "exhaust gas": "Engines give off carbon monoxide: run them out of doors only.",
    "batteries": "Batteries give off hydrogen and short-circuit currents that weld: vent and fuse.",
    "water": "Screen intakes; a valve shut suddenly hammers the pipe.",
    "noise": "Air motors and engines damage hearing within minutes: wear protection.",
}


def cautions(hazards: tuple[str, ...]) -> list[str]:
    """Return a caution for each known hazard, the others as named, and where to defer.

    Nothing is returned when no hazard is declared.
    """
    found = []
    for hazard in dict.fromkeys(hazards):
        known = CAUTIONS.get(hazard.casefold())
        found.append(f"{hazard}: {known}" if known else f"{hazard}: take the usual care.")
    return [*found, DEFER] if found else []
