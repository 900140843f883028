"""The usual cautions of the trade, by hazard; never a safe pressure, load or test value."""

from __future__ import annotations

from effband.physics.functions import TRADES

DEFER = (
    "These cautions are not complete and call nothing safe. Defer to local codes and licensed "
    "practice; this report approves no equipment."
)

# Whose each statement is stands above it: "seen" was read in the source, "secondary" read in a
# page that quotes it, "from memory" not looked up, "common practice" has no source. Sizes and
# pressures at which a rule begins or a valve opens are left out: read here, they would pass for
# limits that someone has checked.
CAUTIONS: dict[str, str] = {
    # Energy: UC Berkeley EHS, stored energy of a pressurised gas vessel (seen): 4.62 kJ a gram of
    # TNT, "highly hazardous" above 100 kJ. 90 L at 9 bar gauge, let out isentropically, give
    # 108 kJ, which is 23 g.
    # Vessels: 2014/29/EU secondary; ASME BPVC Section VIII, 2014/68/EU, EN 286-1 from memory.
    # Gauge, relief valve, drain: 29 CFR 1910.169(b) from memory, the same words seen in Oregon
    # OAR 437-004-1505 and 30 CFR 57.13011.
    # Intervals: OSHA letter of 8 May 2008 and California Title 8 seen; PSSR 2000 from memory.
    # Pipes: OSHA bulletins of 20 May 1988 and 13 December 1990, memorandum of 28 February 1991
    # seen; ASME B31.3 (A323.4.2) and B31.9 (923.3.2) secondary.
    # Cleaning: 29 CFR 1910.242(b) secondary. Cold: the energy balance of an expansion.
    # Tests with water, letting the air out, altered or damaged vessels: common practice.
    "compressed air": (
        "A receiver stores enough energy to kill: one of 90 L, filled by a usual workshop "
        "compressor, holds more energy than 20 g of TNT. Use only vessels made and stamped for air "
        "under a pressure-vessel code (ASME BPVC Section VIII; in the EU Directive 2014/29/EU "
        "with EN 286-1, or Directive 2014/68/EU). Never use LPG bottles, fire extinguishers, "
        "water heaters or home-welded tanks. Never weld, drill or grind a vessel, and put a "
        "dented or rusted one out of use. Keep its gauge in sight. Fit a relief valve as the code "
        "asks, with no other valve between it and the receiver; test it often, and drain the "
        "lowest point often (29 CFR 1910.169(b)). Leave inspection and pressure tests to a "
        "competent person: such a test is hydrostatic, with water, and never made with air. How "
        "often is for local law to say: US federal 29 CFR 1910.169 sets no interval, California "
        "does, and in the UK the law (PSSR 2000) may ask for a written scheme of examination. Use "
        "no PVC, CPVC or other brittle plastic pipe (OSHA bulletins of 1988 and 1990; ASME B31.3, "
        "B31.9). Never point air at people; for cleaning, 29 CFR 1910.242(b) asks for reduced "
        "pressure, chip guards and protective equipment. Let all air out before you open "
        "anything. Exhaust can be far below freezing: it harms skin, and its ice can block a vent."
    ),
    # ISO 12100, ISO 14120, 29 CFR 1910.212 and 1910.219, runaway at 1.8 to 2 times the best speed:
    # from memory. Rim: speed is angular speed times radius; 300 mm at 3000 turns a minute make
    # 47 m/s, which is 170 km/h. The rest: common practice.
    "rotating parts": (
        "Guard what turns (ISO 12100, ISO 14120, 29 CFR 1910.212 and 1910.219), and stop it "
        "before you reach in. Stand out of the plane of the disc. Tie back hair and sleeves, and "
        "wear no gloves near a shaft. Overspeed comes when the load drops off: a turbine may run "
        "away to about twice its best speed. Have a way to stop it that does not need the load. A "
        "piece that breaks off flies at the speed of the rim: on a disc as wide as a dinner "
        "plate, at the speed of a small generator, that is faster than a car on a motorway."
    ),
    # IEC 60364, NFPA 70 (NEC), IEC 61010-1: from memory. The rest: common practice.
    "electricity": (
        "Inverter and mains outputs kill. Leave mains wiring to a licensed electrician (IEC "
        "60364; in the US the NEC, NFPA 70). Use isolated supplies and residual current "
        "protection (RCD, GFCI), and trust your life to neither. Never feed a home-made generator "
        "into house wiring. A generator is live as long as it turns. Capacitors hold their charge "
        "after switching off: discharge them and measure before you touch. Use meters and leads "
        "of the measurement category (CAT) that the circuit asks for (IEC 61010-1). Switch off "
        "before you connect or change anything."
    ),
    # Common practice.
    "brake": (
        "A rope or Prony brake turns all the power into heat: it runs hot, smokes and can catch "
        "fire. It can grab and throw its arm: fix stops on both sides of the arm, and keep hands "
        "and face out of its way. Have a means to put out a fire within reach. Take the load off "
        "before it is too hot, and never leave it running alone."
    ),
    # Common practice.
    "hot surfaces": (
        "Lamps, resistors, brakes, burners and engines burn skin and set fire to what is near. "
        "Mount lamp banks and load resistors on a base that cannot burn, with air around them and "
        "nothing above. Let them cool before you touch them, and never leave them on alone. Hot "
        "water scalds; whatever heats closed-in water needs a relief valve that nothing can shut "
        "off."
    ),
    # Common practice.
    "fire": (
        "Spirit burns with an invisible flame, and petrol vapour catches fire well away from the "
        "can. Refuel only what is cold and out: no hot refuelling, and no flame or spark near. "
        "Keep fuel closed and away from the machine. Have an extinguisher for burning liquids "
        "within reach. Never leave a flame alone."
    ),
    # Limits: 29 CFR 1910.1000 table Z-1 and NIOSH, secondary. The rest: common practice.
    "exhaust gas": (
        "Engines and burners give off carbon monoxide, which has no colour and no smell, and "
        "kills. Run engines out of doors only, away from doors and windows; an open door is not "
        "enough. Run burners only with plenty of fresh air and a carbon monoxide alarm. Limits at "
        "work are 50 ppm on average over 8 h (OSHA, 29 CFR 1910.1000 table Z-1); NIOSH asks for 35 "
        "ppm, and at no time above 200 ppm. They are limits of law and advice, not of harm."
    ),
    # Common practice.
    "batteries": (
        "Batteries on charge give off hydrogen, which one spark explodes: give them fresh air, "
        "and keep flames and sparks away. Their short-circuit current welds tools and throws "
        "molten metal: fuse at the battery, insulate tools, take off rings. Acid blinds: wear "
        "goggles. Charge each kind only with a charger made for it."
    ),
    # Common practice.
    "water": (
        "Screen intakes: they hold people and animals fast. A valve shut suddenly makes water "
        "hammer, which bursts pipes: shut it slowly, and never block a running jet. Keep eyes and "
        "hands out of a jet. Keep electricity away from the wet. Stay out of streams in flood."
    ),
    # 29 CFR 1910.95 table G-16: secondary. Air motors above 100 dB(A): common practice.
    "noise": (
        "The exhaust of an air motor is often above 100 dB(A); it and engines damage hearing "
        "within minutes, and for good. Wear hearing protection. OSHA 1910.95 table G-16 ends a "
        "day at work after 8 h of 90 dB(A), 4 h of 95, 2 h of 100, 1 h of 105, half an hour of "
        "110; its measures begin at 85 dB(A). These are limits of law, not of harm."
    ),
}

# Other words for a hazard, in small letters and without hyphens. A word whose hazards the caution
# would cover in part only, such as steam or a lifted load, is rather left unknown.
_SYNONYMS: dict[str, tuple[str, ...]] = {
    "compressed air": (
        "air",
        "air pressure",
        "air receiver",
        "air tank",
        "compressor",
        "pneumatics",
        "pressure vessel",
        "pressurised air",
        "pressurized air",
        "receiver",
    ),
    "rotating parts": (
        "belt",
        "belts",
        "flywheel",
        "moving parts",
        "overspeed",
        "rotating machinery",
        "rotating part",
        "rotor",
        "shaft",
        "turbine",
    ),
    "electricity": (
        "capacitors",
        "electric shock",
        "electrical",
        "high voltage",
        "inverter",
        "line voltage",
        "live parts",
        "mains",
        "mains voltage",
    ),
    "brake": ("brakes", "friction brake", "prony brake", "rope brake"),
    "hot surfaces": (
        "burns",
        "heat",
        "hot lamps",
        "hot parts",
        "hot surface",
        "hot water",
        "lamps",
        "load resistors",
        "resistors",
        "scalding",
    ),
    "fire": (
        "alcohol",
        "burner",
        "burners",
        "diesel",
        "ethanol",
        "flame",
        "fuel",
        "gasoline",
        "open flame",
        "petrol",
        "spirit",
    ),
    "exhaust gas": (
        "carbon monoxide",
        "co",
        "engine",
        "engine exhaust",
        "engines",
        "exhaust fumes",
        "exhaust gases",
    ),
    "batteries": ("battery", "lead acid", "lead acid batteries", "lead acid battery"),
    "water": ("flowing water", "hydro", "intake", "intakes", "penstock", "water hammer"),
    "noise": ("hearing", "hearing damage", "loud exhaust", "loud noise"),
}
_KNOWN = {name: name for name in CAUTIONS} | {
    other: name for name, others in _SYNONYMS.items() for other in others
}

# What a case that calls a function of a trade deals with, and where a function differs.
HAZARDS_OF_TRADE: dict[str, tuple[str, ...]] = {
    "air": ("compressed air", "noise"),
    "rotating": ("rotating parts",),
    "electrical": ("electricity",),
    "hydraulic": ("water",),
    "wind": ("rotating parts",),
    "thermal": ("hot surfaces",),
    "fuel": ("fire", "exhaust gas", "hot surfaces"),
}
HAZARDS_OF_FUNCTION: dict[str, tuple[str, ...]] = {
    "absolute": (),  # a gauge on anything
    "prony_brake_power": ("brake", "rotating parts"),
    "rope_brake_power": ("brake", "rotating parts"),
    "lamp_power": ("electricity", "hot surfaces"),
    "resistor_power": ("electricity", "hot surfaces"),
    "hydraulic_power": ("water", "rotating parts"),  # of a wheel or turbine
    "head_at_nozzle": ("water", "rotating parts"),
    "heating_cop": ("electricity", "hot surfaces"),
    "carnot_heating_cop": ("electricity", "hot surfaces"),
    "carnot_cooling_cop": ("electricity",),
    "efficiency_from_consumption": ("fire", "exhaust gas", "hot surfaces", "noise"),  # engines
    "willans_fuel_rate": ("fire", "exhaust gas", "hot surfaces", "noise"),
}
_IMPLIED = {
    function.name: HAZARDS_OF_FUNCTION.get(function.name, HAZARDS_OF_TRADE[trade])
    for trade, functions in TRADES.items()
    for function in functions
}


def known_hazards() -> dict[str, tuple[str, ...]]:
    """Return the hazards that have a caution, each with the other words it goes by."""
    return {name: _SYNONYMS.get(name, ()) for name in CAUTIONS}


def cautions(hazards: tuple[str, ...], functions: tuple[str, ...] = ()) -> list[str]:
    """Return the cautions of a case, and last where to defer; nothing where there are none.

    Parameters
    ----------
    hazards
        As the case declares them; capitals, hyphens and common synonyms do not matter.
    functions
        Names of the physics functions that its formulas use. Each brings the hazards that it
        implies and the case did not declare; names of other functions bring none.

    Returns
    -------
    list of str
        One text for each hazard: the declared ones in their order, then the implied ones.
    """
    declared: dict[str, list[str]] = {}
    for hazard in dict.fromkeys(hazards):
        plain = " ".join(hazard.casefold().replace("-", " ").split())
        declared.setdefault(_KNOWN.get(plain, hazard), []).append(hazard)
    implied: dict[str, list[str]] = {}
    for function in dict.fromkeys(functions):
        for hazard in _IMPLIED.get(function, ()):
            if hazard not in declared:
                implied.setdefault(hazard, []).append(function)
    unknown = "take the usual care; effband has no caution of its own for it."
    found = [
        f"{', '.join(words)}: {CAUTIONS.get(hazard, unknown)}" for hazard, words in declared.items()
    ]
    found += [
        f"{hazard} (named here because the case uses {_listed(users)}): {CAUTIONS[hazard]}"
        for hazard, users in implied.items()
    ]
    return [*found, DEFER] if found else []


def _listed(names: list[str]) -> str:
    return " and ".join(filter(None, (", ".join(names[:-1]), names[-1])))
