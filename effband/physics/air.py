"""Compressed air: pressures, amounts, and the energy in it and for it."""

from effband.physics import (
    AT_ONCE,
    NOT_COLD,
    SETTLED,
    Argument,
    Constant,
    Limit,
    PhysicsFunction,
    positive,
)

# -- arguments ------------------------------------------------------------------------------------


def _pressure(name: str, meaning: str, gas: str | None = None) -> Argument:
    return Argument(name, "Pa", meaning, "absolute pressure", gas)


def _temperature(name: str, meaning: str) -> Argument:
    return Argument(name, "K", meaning, "temperature")


def _work(name: str, meaning: str) -> Argument:
    return Argument(name, "J", meaning)


_BAROMETER = _pressure("barometer", "pressure of the room's air")
_P = _pressure("p", "receiver pressure", SETTLED)
_P_START = _pressure("p_start", "receiver pressure at the start", SETTLED)
_P_END = _pressure("p_end", "receiver pressure at the end", SETTLED)
_P_COLD = _pressure("p_cold", "receiver pressure at the stop", AT_ONCE)
_P_WARM = _pressure("p_warm", "receiver pressure once it is warm again", SETTLED)
_P_FROM = _pressure("p_from", "receiver pressure before the filling", SETTLED)
_P_TO = _pressure("p_to", "receiver pressure after the filling", SETTLED)
_P_REGULATOR = _pressure("p_regulator", "pressure behind the regulator")
_P_IN = _pressure("p_in", "pressure at the intake")
_P_OUT = _pressure("p_out", "pressure at the outlet")
_P_REFERENCE = _pressure("p_reference", "pressure that the volume is stated for")
_VOLUME = Argument("volume", "m^3", "receiver and pipes", never_negative=True)
_VOLUME_IN = Argument(
    "volume_in", "m^3", "volume taken in, at the intake's pressure", never_negative=True
)
_AIR_MASS = Argument("air_mass", "kg", "air that went through", never_negative=True)
_ROOM = _temperature("room_temperature", "temperature of the room")
_TEMPERATURE = _temperature("temperature", "temperature of the air")
_T_REFERENCE = _temperature("temperature_reference", "temperature that the volume is stated for")
_GAS_INDEX = Argument("gas_index", "1", "polytropic index of the emptying, 1 to 1.4")
_POLYTROPIC = Argument("polytropic_index", "1", "polytropic index of the compression")

# -- constants and shared parts -------------------------------------------------------------------

_R = Constant(
    "R_air", 287.055, "J/(kg*K)", "gas constant of dry air: 8.31446 J/(mol K) over 28.9647 g/mol"
)
_GAMMA = Constant("gamma", 1.4, "1", "ratio of the specific heats of air at room temperature")
_K = ("k", "1 - 1 / gamma")

# Each parcel leaves at the temperature that the tank has then, and expands to the barometer
# without taking up heat; this is the sum over all parcels from a tank at room temperature.
_PARCELS = (
    _K,
    (
        "pushed_out",
        "gamma * (p_start * (barometer / p_start) ** k - p_end * (barometer / p_end) ** k)",
    ),
    ("parcels", "volume / k * (p_start - p_end - pushed_out)"),
)
_COLD_PARCELS = tuple((name, text.replace("p_end", "p_cold")) for name, text in _PARCELS)

# Compressibility of air, 1 + c1 x + c2 x^2 + c3 x^3 + c4 x^4 with x in 100 bar
_FIT_SCALES = (
    Constant("hundred_bar", 100.0, "bar", "scale of the pressures in the fit"),
    Constant("fit_temperature", 300.0, "K", "scale of the temperatures in the fit"),
)
_FIT_SOURCE = (
    "fit to the equation of state of Lemmon, Jacobsen, Penoncello and Friend (2000) for air, as "
    "CoolProp 8 gives it, 1 to 300 bar and 250 to 350 K; worst deviation"
)


def _fit(temperature: str) -> tuple[tuple[str, str], ...]:
    return (
        ("y", f"{temperature} / fit_temperature - 1"),
        ("x", "p / hundred_bar"),
        ("c1", "-0.02940 + y * (0.25786 + y * (-0.60094 + y * 1.19976))"),
        ("c2", "0.02136 + y * (-0.03051 + y * (0.00826 - y * 0.14784))"),
        ("c3", "0.00175 + y * (-0.02902 + y * (0.12399 - y * 0.21045))"),
        ("c4", "-0.00053 + y * (0.00567 + y * (-0.02404 + y * 0.04407))"),
        ("z", "1 + x * (c1 + x * (c2 + x * (c3 + x * c4)))"),
    )


# -- limits ---------------------------------------------------------------------------------------


def _ideal(pressure: str, error: str, remedy: str) -> Limit:
    return Limit(
        pressure,
        "bar",
        f"real air departs from an ideal gas there ({error}): {remedy}",
        most=50.0,
    )


def _not_below(above: str, below: str, because: str, refuse: bool = True) -> Limit:
    return Limit(
        f"{above} / {below}",
        "1",
        because,
        least=1.0,
        called=f"{above} over {below}",
        refuse=refuse,
    )


_OUTDOORS = Limit(
    "barometer",
    "bar",
    "that is no barometer between the sea and 5000 m: check the number and its unit",
    least=0.5,
    most=1.1,
)


def _charged(pressure: str) -> tuple[Limit, ...]:
    return (
        _OUTDOORS,
        _not_below(
            pressure,
            "barometer",
            "the receiver holds less than the room's pressure: was a gauge reading given as "
            "absolute?",
            refuse=False,
        ),
    )


def _index(name: str, because: str) -> tuple[Limit, ...]:
    """Warn outside what air can do; far outside the formula has no meaning."""
    return (
        Limit(name, "1", because, least=1.0, most=1.4),
        Limit(name, "1", because, least=0.5, most=3.0, refuse=True),
    )


def _workshop(name: str) -> Limit:
    return Limit(
        name,
        "degC",
        "that is no workshop's temperature: check the number and its unit",
        least=-25,
        most=55,
    )


def _air(name: str) -> Limit:
    return Limit(
        name,
        "degC",
        "that is far from the temperature of any air in a workshop: check the number and its unit",
        least=-75,
        most=225,
    )


_EXERGY_ERROR = "exergy up to 1.2 % too small to 120 bar, 4 % too large at 200 bar"
_EXERGY_DOMAIN = "dry air as ideal gas at room temperature: within 0.5 % to 15 bar, 4 % at 200 bar"
_REAL_EXERGY = "use real_receiver_exergy"
_REAL_MASS = "divide by real_gas_factor(p, temperature)"
_PARCEL_ERROR = "1 % too much work at 50 bar, 11 % at 200 bar, more where the air cools"
_FREEZES = "such air is about to turn liquid, and moist air blocks the way with ice long before"
_FAST_OR_SLOW = "an emptying lies between slow (1) and too fast for any warming (1.4)"
_EMPTIED = "nothing was let out: the pressure at the start is to be the higher one"
_FILLED = "nothing was filled in: the pressure after the filling is to be the higher one"
_COMPRESSED = "this is no compression: the pressure at the outlet is to be the higher one"
_ISOTHERM = "index 1 divides by zero: use isothermal_compression_work"
_COLD_EXHAUST = Limit(
    "p_start / barometer",
    "1",
    f"the exhaust would be colder than 100 K: {_FREEZES}",
    most=43.0,
    called="p_start over barometer",
)
_WARMED = _not_below(
    "p_warm",
    "p_cold",
    "an emptied receiver warms again and its pressure rises: it leaked, or was not emptied",
    refuse=False,
)
_FIT_PRESSURE = Limit("p", "bar", "the fit to real air was made up to 300 bar", most=300.0)


def _fit_temperature(name: str) -> Limit:
    return Limit(
        name, "K", "the fit to real air was made from 250 to 350 K", least=250.0, most=350.0
    )


def _tank_limits(end: str, error: str) -> tuple[Limit, ...]:
    return (
        _not_below("p_start", end, _EMPTIED),
        *_charged(end),
        _ideal("p_start", error, f"{_REAL_EXERGY} for the most that the air can give"),
        _COLD_EXHAUST,
    )


def _regulator_limits(error: str) -> tuple[Limit, ...]:
    return (
        _OUTDOORS,
        _not_below("p_regulator", "barometer", "air flows out only from above the room's pressure"),
        _ideal("p_regulator", error, "take the work from tables of real air"),
        _workshop("room_temperature"),
    )


def _compression_limits(error: str) -> tuple[Limit, ...]:
    return (
        _not_below("p_out", "p_in", _COMPRESSED),
        _ideal("p_out", error, "take the work from tables of real air"),
    )


def _one_stage(warming: str, remedy: str = "use staged_compression_work") -> Limit:
    return Limit(
        warming,
        "1",
        f"one stage would leave the air above 320 degC; real machines take more: {remedy}",
        most=2.0,
        called="temperature at the outlet over that at the intake (kelvin)",
    )


def _compression_index() -> tuple[Limit, ...]:
    return (
        Limit("polytropic_index", "1", _ISOTHERM, more_than=1, refuse=True),
        Limit(
            "polytropic_index",
            "1",
            "a cooled compression lies between isothermal (1) and isentropic (1.4); above, the "
            "losses heat the air and are not all in this work",
            most=1.4,
        ),
    )


_IDEAL_GAS = "ideal gas of constant specific heats"
_DISPLACEMENT = f"{_IDEAL_GAS}; no clearance, valve, leak or motor losses"
_OPEN_CYCLE = (
    "indicated work of a compressor without clearance: any textbook; Cengel and Boles, "
    "Thermodynamics, chapter on entropy, from memory"
)
_TANK_SOURCE = "energy balance of a tank being emptied, worked out for this tool; no standard known"
_FLOW_SOURCE = "steady-flow work from the room's temperature; any textbook of thermodynamics"

FUNCTIONS = (
    PhysicsFunction(
        name="absolute",
        arguments=(Argument("p", "Pa", "gauge reading", "gauge pressure"), _BAROMETER),
        gives=_pressure("p_abs", "absolute pressure"),
        expression="p + barometer",
        sentence="Turns a gauge reading into the pressure that gas laws need.",
        domain="any gauge pressure above -barometer",
        source="definition",
        example=("9 bar", "1.013 bar"),
        worked="10.013 bar",
        keeps_gas_of="p",
        limits=(
            Limit(
                "p + barometer",
                "bar",
                "no pressure is below that of an empty space: check the gauge reading",
                least=0.0,
                called="absolute pressure",
                refuse=True,
            ),
            _OUTDOORS,
        ),
    ),
    # -- energy in a receiver ---------------------------------------------------------------------
    PhysicsFunction(
        name="receiver_exergy",
        arguments=(_P, _VOLUME, _BAROMETER),
        gives=_work("exergy", "available energy"),
        expression="volume * (p * log(p / barometer) - p + barometer)",
        sentence=(
            "The most work that air at room temperature in a receiver could give; the difference "
            "of two is what any machine is measured against."
        ),
        domain=_EXERGY_DOMAIN,
        source=(
            "availability of a closed system; Cengel and Boles, Thermodynamics, chapter on exergy "
            "(work potential of compressed air in a tank), from memory"
        ),
        example=("10.013 bar", "90 L", "1.013 bar"),
        worked="125.46 kJ",
        limits=(_ideal("p", _EXERGY_ERROR, _REAL_EXERGY), *_charged("p")),
    ),
    PhysicsFunction(
        name="real_receiver_exergy",
        arguments=(_P, _VOLUME, _BAROMETER, _ROOM),
        gives=_work("exergy", "available energy"),
        expression="volume * (p / z * (log(p / barometer) + raised - raised_0) - p + barometer)",
        sentence=(
            "The most work that air in a receiver could give, counted for real air: for bottles "
            "above 50 bar."
        ),
        domain="dry air, receiver and room at one temperature, 1 to 300 bar, 250 to 350 K",
        source=f"{_FIT_SOURCE} of the exergy above 1.5 bar 0.06 %",
        example=("201.013 bar", "12 L", "1.013 bar", "293.15 K"),
        worked="997.60 kJ",
        where=(
            *_fit("room_temperature"),
            # the integral of (z - 1) / p, from 0 to p and to the barometer (there, two terms do)
            ("raised", "x * (c1 + x * (c2 / 2 + x * (c3 / 3 + x * c4 / 4)))"),
            ("x_0", "barometer / hundred_bar"),
            ("raised_0", "x_0 * (c1 + x_0 * c2 / 2)"),
        ),
        constants=_FIT_SCALES,
        limits=(_FIT_PRESSURE, *_charged("p"), _fit_temperature("room_temperature")),
    ),
    PhysicsFunction(
        name="isothermal_tank_work",
        arguments=(_P_START, _P_END, _VOLUME, _BAROMETER),
        gives=_work("work", "work of the air let out"),
        expression="parcels",
        sentence=(
            "The most work of a machine that takes up no heat, from a receiver emptied so slowly "
            "that it stays at room temperature."
        ),
        domain=f"{_IDEAL_GAS}; receiver at room temperature throughout; no losses in the machine",
        source=_TANK_SOURCE,
        example=("10.013 bar", "4.013 bar", "90 L", "1.013 bar"),
        worked="78.952 kJ",
        where=_PARCELS,
        constants=(_GAMMA,),
        limits=_tank_limits("p_end", _PARCEL_ERROR),
    ),
    PhysicsFunction(
        name="polytropic_tank_work",
        arguments=(_P_START, _P_COLD, _VOLUME, _BAROMETER, _GAS_INDEX),
        gives=_work("work", "work of the air let out"),
        expression="parcels / gas_index",
        sentence=(
            "The most work of a machine that takes up no heat, from a receiver that cools while "
            "it is emptied; implied_gas_index tells the index."
        ),
        domain=(
            f"{_IDEAL_GAS}; one index for the whole emptying, which gives 3 % too much work at "
            "most where the flow is steady; no losses in the machine"
        ),
        source=_TANK_SOURCE,
        example=("10.013 bar", "4.013 bar", "90 L", "1.013 bar", "1.2"),
        worked="65.793 kJ",
        where=_COLD_PARCELS,
        constants=(_GAMMA,),
        limits=(*_tank_limits("p_cold", _PARCEL_ERROR), *_index("gas_index", _FAST_OR_SLOW)),
    ),
    PhysicsFunction(
        name="adiabatic_dump_work",
        arguments=(_P_START, _P_COLD, _VOLUME, _BAROMETER),
        gives=_work("work", "work of the air let out"),
        expression="lost - carried_off",
        sentence=(
            "The most work of a machine that takes up no heat, from a receiver emptied so fast "
            "that no heat reaches its air."
        ),
        domain=f"{_IDEAL_GAS}; an emptying of seconds; no losses in the machine",
        source=_TANK_SOURCE,
        example=("10.013 bar", "4.013 bar", "90 L", "1.013 bar"),
        worked="56.394 kJ",
        where=(
            _K,
            ("share_left", "(p_cold / p_start) ** (1 / gamma)"),
            # inner energy that the tank lost, and the enthalpy that the exhaust still has
            ("lost", "volume * (p_start - p_cold) / (gamma - 1)"),
            (
                "carried_off",
                "volume * p_start / k * (1 - share_left) * (barometer / p_start) ** k",
            ),
        ),
        constants=(_GAMMA,),
        limits=_tank_limits("p_cold", "5 % too much work at 50 bar and more, 29 % at 200 bar"),
    ),
    # -- work of air behind a regulator -----------------------------------------------------------
    PhysicsFunction(
        name="regulated_isothermal_work",
        arguments=(_AIR_MASS, _P_REGULATOR, _BAROMETER, _ROOM),
        gives=_work("work", "work of the air"),
        expression="air_mass * R_air * room_temperature * log(p_regulator / barometer)",
        sentence=(
            "The most work that air behind a regulator could give, warmed by the room while it "
            "expands."
        ),
        domain="ideal gas at room temperature, within 0.4 % to 50 bar; no losses in the machine",
        source=_FLOW_SOURCE,
        example=("0.6 kg", "5.013 bar", "1.013 bar", "293.15 K"),
        worked="80.740 kJ",
        constants=(_R,),
        limits=_regulator_limits("0.4 % at 50 bar"),
    ),
    PhysicsFunction(
        name="regulated_isentropic_work",
        arguments=(_AIR_MASS, _P_REGULATOR, _BAROMETER, _ROOM),
        gives=_work("work", "work of the air"),
        expression="air_mass * R_air / k * (room_temperature - exhaust_temperature)",
        sentence=(
            "The most work of a machine that takes up no heat, from air behind a regulator at "
            "room temperature."
        ),
        domain=f"{_IDEAL_GAS}: within 1 % to 10 bar, 4 % at 50 bar; no losses in the machine",
        source=_FLOW_SOURCE,
        example=("0.6 kg", "5.013 bar", "1.013 bar", "293.15 K"),
        worked="64.810 kJ",
        where=(
            _K,
            ("exhaust_temperature", "room_temperature * (barometer / p_regulator) ** k"),
        ),
        constants=(_R, _GAMMA),
        limits=(
            *_regulator_limits("4 % at 50 bar"),
            Limit(
                "exhaust_temperature",
                "K",
                _FREEZES,
                least=100.0,
                called="temperature of the exhaust",
            ),
        ),
    ),
    PhysicsFunction(
        name="full_admission_work",
        arguments=(
            _AIR_MASS,
            _pressure("p_supply", "pressure at the motor"),
            _BAROMETER,
            _ROOM,
        ),
        gives=_work("work", "work of the air"),
        expression="air_mass * R_air * room_temperature * (1 - barometer / p_supply)",
        sentence=(
            "The most work of a motor that fills its cylinder or vane cell at full pressure and "
            "lets it go without expansion."
        ),
        domain="ideal gas at room temperature; no leak, friction or expansion in the motor",
        source="pressure times swept volume, mechanics; any textbook",
        example=("0.6 kg", "5.013 bar", "1.013 bar", "293.15 K"),
        worked="40.287 kJ",
        constants=(_R,),
        limits=(
            _OUTDOORS,
            _not_below("p_supply", "barometer", "the motor would have to suck"),
            _ideal("p_supply", "1.2 % too much at 50 bar", "multiply by real_gas_factor"),
            _workshop("room_temperature"),
        ),
    ),
    # -- amounts of air ---------------------------------------------------------------------------
    PhysicsFunction(
        name="mass_of_air",
        arguments=(_P, _VOLUME, _TEMPERATURE),
        gives=Argument("air_mass", "kg", "mass of the air"),
        expression="p * volume / (R_air * temperature)",
        sentence="The mass of the air in a receiver.",
        domain="dry air as ideal gas: 0.35 % too little at 10 bar, 1.4 % at 80 bar",
        source="ideal gas law; gas constant of dry air after ISO 2533, from memory",
        example=("10.013 bar", "90 L", "293.15 K"),
        worked="1.07091 kg",
        constants=(_R,),
        limits=(
            _ideal("p", "1.2 % too little at 50 bar, 2.6 % too much at 200 bar", _REAL_MASS),
            _air("temperature"),
        ),
    ),
    PhysicsFunction(
        name="mass_of_free_air",
        arguments=(
            Argument(
                "volume",
                "m^3",
                "volume as stated: free air, normal or standard volume",
                never_negative=True,
            ),
            _P_REFERENCE,
            _T_REFERENCE,
        ),
        gives=Argument("air_mass", "kg", "mass of the air"),
        expression="p_reference * volume / (R_air * temperature_reference)",
        sentence=(
            "The mass that a stated volume of free air stands for (normal cubic metres, scfm "
            "times minutes); its reference state must be known."
        ),
        domain="dry air at about the room's pressure; moist air weighs up to 1 % less",
        source=(
            "ideal gas law; usual reference states: DIN 1343 0 degC and 1.01325 bar, ISO 1217 "
            "20 degC and 1 bar, scfm often 60 degF and 14.696 psi; from memory"
        ),
        example=("1 m^3", "1.01325 bar", "288.15 K"),
        worked="1.22499 kg",
        constants=(_R,),
        limits=(
            Limit(
                "p_reference",
                "bar",
                "reference states lie at about 1 bar: was a working pressure given?",
                least=0.9,
                most=1.1,
            ),
            Limit(
                "temperature_reference",
                "K",
                "reference states lie between 0 and 25 degC",
                least=273.0,
                most=299.0,
            ),
        ),
    ),
    PhysicsFunction(
        name="volume_at_state",
        arguments=(
            Argument("volume", "m^3", "volume of the air as it is", never_negative=True),
            _pressure("p", "pressure of the air as it is", NOT_COLD),
            _TEMPERATURE,
            _P_REFERENCE,
            _T_REFERENCE,
        ),
        gives=Argument("volume", "m^3", "volume at the reference state"),
        expression="volume * p / p_reference * temperature_reference / temperature",
        sentence=(
            "The volume that air would take up at another pressure and temperature, such as the "
            "free air of a receiver."
        ),
        domain="dry air as ideal gas, within 1 % to 30 bar",
        source="ideal gas law",
        example=("90 L", "10.013 bar", "293.15 K", "1.013 bar", "288.15 K"),
        worked="0.87443 m^3",
        limits=(
            _ideal("p", "1.2 % at 50 bar, 2.6 % at 200 bar", _REAL_MASS),
            _ideal("p_reference", "1.2 % at 50 bar", "multiply by real_gas_factor"),
            _air("temperature"),
            _air("temperature_reference"),
        ),
    ),
    PhysicsFunction(
        name="real_gas_factor",
        arguments=(_pressure("p", "pressure of the air"), _TEMPERATURE),
        gives=Argument("z", "1", "compressibility factor, 1 for an ideal gas"),
        expression="z",
        sentence=(
            "How much more room real air takes up than an ideal gas would: divide an ideal mass "
            "by it, multiply an ideal volume."
        ),
        domain="dry air, 1 to 300 bar, 250 to 350 K",
        source=f"{_FIT_SOURCE} 0.04 %",
        example=("200 bar", "300 K"),
        worked="1.0322",
        where=_fit("temperature"),
        constants=_FIT_SCALES,
        limits=(_FIT_PRESSURE, _fit_temperature("temperature")),
    ),
    PhysicsFunction(
        name="leak_mass_flow",
        arguments=(
            Argument("pressure_drop", "Pa", "fall of the pressure", "pressure difference"),
            _VOLUME,
            _TEMPERATURE,
            Argument("time", "s", "time that it took"),
        ),
        gives=Argument("flow", "kg/s", "air lost"),
        expression="pressure_drop * volume / (R_air * temperature) / time",
        sentence="The air that a closed receiver loses, from how fast its pressure falls.",
        domain="dry air as ideal gas, receiver at one temperature throughout",
        source="ideal gas law",
        example=("0.2 bar", "90 L", "293.15 K", "600 s"),
        worked="3.5651e-5 kg/s",
        constants=(_R,),
        limits=(
            Limit(
                "pressure_drop",
                "bar",
                "a pressure that rises is no leak: the receiver warmed, or the order is reversed",
                least=0.0,
            ),
            positive("time", "s", "a time must have passed"),
            _workshop("temperature"),
        ),
    ),
    # -- a receiver that cools or warms -----------------------------------------------------------
    PhysicsFunction(
        name="warm_pressure",
        arguments=(_P_START, _P_COLD, _GAS_INDEX),
        gives=_pressure("p_warm", "pressure once the tank is warm", SETTLED),
        expression="p_cold * (p_start / p_cold) ** (1 - 1 / gas_index)",
        sentence="The pressure that a tank read cold at the end would settle to.",
        domain="an emptying of constant index between 1 (slow) and 1.4 (fast)",
        source="polytropic change then warming at constant volume, ideal gas; common practice",
        example=("9.985 bar", "3.535 bar", "1.1304"),
        worked="3.985 bar",
        limits=(
            *_index("gas_index", _FAST_OR_SLOW),
            _not_below("p_start", "p_cold", _EMPTIED),
        ),
    ),
    PhysicsFunction(
        name="implied_gas_index",
        arguments=(_P_START, _P_COLD, _P_WARM),
        gives=Argument("gas_index", "1", "polytropic index of the emptying"),
        expression="index",
        sentence=(
            "How fast an emptying was for its air, between slow (1) and too fast for any warming "
            "(1.4), from the pressure read at the stop and once warm again."
        ),
        domain="an emptying of constant index; no leak while the receiver warms",
        source="polytropic change then warming at constant volume, ideal gas; common practice",
        example=("9.985 bar", "3.535 bar", "3.985 bar"),
        worked="1.1304",
        where=(("index", "1 / (1 - log(p_warm / p_cold) / log(p_start / p_cold))"),),
        limits=(
            _not_below("p_start", "p_cold", _EMPTIED),
            _not_below("p_start", "p_warm", "air was filled in: no index follows from these"),
            _WARMED,
            Limit(
                "index",
                "1",
                "not even an emptying without any warming has more: one of the pressures is off",
                most=1.4,
                called="the index that the pressures imply",
            ),
        ),
    ),
    PhysicsFunction(
        name="temperature_at_once",
        arguments=(_P_COLD, _P_WARM, _ROOM),
        gives=_temperature("temperature", "temperature of the air at the stop"),
        expression="room_temperature * p_cold / p_warm",
        sentence="How cold the air in a receiver was when the emptying stopped.",
        domain="ideal gas; no leak while the receiver warms",
        source="warming at constant volume, ideal gas law",
        example=("3.535 bar", "3.985 bar", "293.15 K"),
        worked="260.05 K",
        limits=(
            _WARMED,
            _workshop("room_temperature"),
        ),
    ),
    PhysicsFunction(
        name="temperature_after",
        arguments=(
            _TEMPERATURE,
            _pressure("p_from", "pressure before"),
            _pressure("p_to", "pressure after"),
            Argument("index", "1", "polytropic index, 1.4 where no heat passes"),
        ),
        gives=_temperature("temperature", "temperature afterwards"),
        expression="after",
        sentence="How hot or cold air gets when it is compressed or expands.",
        domain=f"{_IDEAL_GAS}, within 1 % to 12 bar when compressed, 0.7 % when let out from there",
        source="polytropic change of an ideal gas; any textbook",
        example=("293.15 K", "1 bar", "8 bar", "1.3"),
        worked="473.69 K",
        where=(("after", "temperature * (p_to / p_from) ** (1 - 1 / index)"),),
        limits=(
            *_index(
                "index",
                "air at one temperature has index 1, and 1.4 where no heat passes: 1.67 would be "
                "helium or argon",
            ),
            Limit("after", "K", _FREEZES, least=100.0, called="temperature afterwards"),
        ),
    ),
    PhysicsFunction(
        name="adiabatic_fill_temperature",
        arguments=(
            _pressure("p_from", "receiver pressure before the filling"),
            _pressure("p_to", "receiver pressure after the filling"),
            _temperature("temperature_from", "temperature of the receiver before"),
            _temperature("temperature_in", "temperature of the air that flows in"),
        ),
        gives=_temperature("temperature", "temperature of the air after the filling"),
        expression="p_to / (there + added)",
        sentence=(
            "How hot the air in a receiver would get by a filling too fast for any cooling; the "
            "shell keeps a real filling well below."
        ),
        domain=f"{_IDEAL_GAS}; no heat into the shell, air that flows in at one temperature",
        source="energy balance of a filling; any textbook on unsteady flow, from memory",
        example=("1.013 bar", "10.013 bar", "293.15 K", "293.15 K"),
        worked="394.45 K",
        # pressure over temperature, which is as the mass; the air pushed in warms by its own push
        where=(
            ("there", "p_from / temperature_from"),
            ("added", "(p_to - p_from) / (gamma * temperature_in)"),
        ),
        constants=(_GAMMA,),
        limits=(
            _not_below("p_to", "p_from", _FILLED),
            _ideal("p_to", "7 K too hot at 50 bar, 16 K at 200 bar", "use tables"),
            _workshop("temperature_from"),
            _air("temperature_in"),
        ),
    ),
    # -- work for compressed air ------------------------------------------------------------------
    PhysicsFunction(
        name="isothermal_compression_work",
        arguments=(_P_IN, _VOLUME_IN, _P_OUT),
        gives=_work("work", "work for the air"),
        expression="p_in * volume_in * log(p_out / p_in)",
        sentence="The least work that compresses air, cooled perfectly all the way.",
        domain=f"{_DISPLACEMENT}; within 0.4 % to 50 bar",
        source=_OPEN_CYCLE,
        example=("1 bar", "1 m^3", "8 bar"),
        worked="207.94 kJ",
        limits=_compression_limits("0.4 % at 50 bar, 0.5 % at 150 bar"),
    ),
    PhysicsFunction(
        name="isentropic_compression_work",
        arguments=(_P_IN, _VOLUME_IN, _P_OUT),
        gives=_work("work", "work for the air"),
        expression="p_in * volume_in / k * ((p_out / p_in) ** k - 1)",
        sentence="The work of one stage of compression without losses and without cooling.",
        domain=f"{_DISPLACEMENT}; within 0.7 % to 50 bar",
        source=_OPEN_CYCLE,
        example=("1 bar", "1 m^3", "8 bar"),
        worked="284.01 kJ",
        where=(_K,),
        constants=(_GAMMA,),
        limits=(*_compression_limits("0.7 % at 50 bar"), _one_stage("(p_out / p_in) ** k")),
    ),
    PhysicsFunction(
        name="polytropic_compression_work",
        arguments=(_P_IN, _VOLUME_IN, _P_OUT, _POLYTROPIC),
        gives=_work("work", "work for the air"),
        expression="p_in * volume_in / e * ((p_out / p_in) ** e - 1)",
        sentence="The work of one stage of compression with some cooling.",
        domain=f"{_DISPLACEMENT}; one index for the whole stroke",
        source=_OPEN_CYCLE,
        example=("1 bar", "1 m^3", "8 bar", "1.3"),
        worked="266.88 kJ",
        where=(("e", "1 - 1 / polytropic_index"),),
        limits=(
            *_compression_limits("0.7 % at 50 bar"),
            *_compression_index(),
            _one_stage("(p_out / p_in) ** e"),
        ),
    ),
    PhysicsFunction(
        name="staged_compression_work",
        arguments=(
            _P_IN,
            _VOLUME_IN,
            _P_OUT,
            _POLYTROPIC,
            Argument("stages", "1", "number of stages"),
        ),
        gives=_work("work", "work for the air"),
        expression="stages * p_in * volume_in / e * ((p_out / p_in) ** (e / stages) - 1)",
        sentence=(
            "The work of a compression in stages, the air cooled back to its intake temperature "
            "after each."
        ),
        domain=f"{_DISPLACEMENT}; equal pressure ratios, full cooling between the stages",
        source=_OPEN_CYCLE,
        example=("1 bar", "1 m^3", "8 bar", "1.3", "2"),
        worked="235.01 kJ",
        where=(("e", "1 - 1 / polytropic_index"),),
        limits=(
            *_compression_limits("0.7 % at 50 bar"),
            *_compression_index(),
            Limit("stages", "1", "a compressor has one stage at least", least=1.0, refuse=True),
            Limit("stages", "1", "compressors have up to six stages: check", most=6.0),
            _one_stage("(p_out / p_in) ** (e / stages)", "count the stages again"),
        ),
    ),
    PhysicsFunction(
        name="least_refill_work",
        arguments=(_P_FROM, _P_TO, _VOLUME, _BAROMETER),
        gives=_work("work", "work for the air"),
        expression=(
            "volume * (p_to * log(p_to / barometer) - p_from * log(p_from / barometer) "
            "- p_to + p_from)"
        ),
        sentence=(
            "The least work that any compressor needs to fill a receiver up again: the exergy "
            "that it gains."
        ),
        domain=_EXERGY_DOMAIN,
        source="difference of the exergy of the receiver, as in receiver_exergy",
        example=("4.013 bar", "10.013 bar", "90 L", "1.013 bar"),
        worked="102.74 kJ",
        limits=(
            _not_below("p_to", "p_from", _FILLED),
            *_charged("p_from"),
            _ideal("p_to", _EXERGY_ERROR, f"take the difference of two values: {_REAL_EXERGY}"),
        ),
    ),
    PhysicsFunction(
        name="isentropic_refill_work",
        arguments=(_P_FROM, _P_TO, _VOLUME, _BAROMETER),
        gives=_work("work", "work for the air"),
        expression=(
            "volume / k * ((p_to * (p_to / barometer) ** k - p_from * (p_from / barometer) ** k)"
            " / (1 + k) - p_to + p_from)"
        ),
        sentence=(
            "The work of a compressor of one stage, without losses and without cooling, that "
            "fills a receiver up again; the receiver cools back to the room."
        ),
        domain=f"{_DISPLACEMENT}; the receiver at room temperature throughout",
        source="isentropic compression work summed over the filling, worked out for this tool",
        example=("4.013 bar", "10.013 bar", "90 L", "1.013 bar"),
        worked="137.37 kJ",
        where=(_K,),
        constants=(_GAMMA,),
        limits=(
            _not_below("p_to", "p_from", _FILLED),
            *_charged("p_from"),
            _ideal("p_to", "1 % at 50 bar, 5 % at 200 bar", "use tables"),
            _one_stage("(p_to / barometer) ** k", "the work is then less than this"),
        ),
    ),
)
