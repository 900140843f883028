"""Electrical power: from volts and amperes, from rated loads, and what a simple meter reads."""

from effband.physics import Argument, Limit, PhysicsFunction, not_negative, positive

_POWER_FACTOR = Argument("power_factor", "1", "power over volts times amperes, 0 to 1")
_RATED_POWER = Argument("rated_power", "W", "power printed on the load")
_RATED_VOLTAGE = Argument("rated_voltage", "V", "voltage printed on the load")
_VOLTAGE = Argument("voltage", "V", "voltage measured at the load (rms)")
_READING = Argument("reading", "V", "reading of an average-responding meter")
_GIVES_POWER = Argument("power", "W", "power of the load")
_GIVES_TRUE = Argument("true_rms", "V", "true rms voltage")

_TO_LOAD = "voltage / rated_voltage"
_AGAINST_RATED = "the voltage against the rated one"


_NO_SIGN = "an rms value has no sign: give it as positive; for direct current multiply the two"
_POWER_FACTOR_LIMITS = (
    Limit(
        "power_factor",
        "1",
        "no load takes more watts than volts times amperes: give a number such as 0.8, or 80 %",
        most=1,
        refuse=True,
    ),
    not_negative(
        "power_factor",
        "1",
        "a negative one means that power flows the other way: turn the clamp round",
    ),
    Limit(
        "power_factor",
        "1",
        "one degree of error between volts and amperes is then 5 % of the power and more: "
        "measure with a wattmeter",
        least=0.3,
    ),
)
_RATING_LIMITS = (
    not_negative("rated_power", "W", "a rating has no sign: give it as positive"),
    positive(
        "rated_voltage", "V", "a load without rated voltage tells nothing: read it off the load"
    ),
)
_READING_LIMIT = not_negative(
    "reading", "V", "a meter's rms value has no sign: give it as positive"
)

FUNCTIONS: tuple[PhysicsFunction, ...] = (
    PhysicsFunction(
        name="ac_power",
        arguments=(
            Argument("voltage", "V", "true rms voltage"),
            Argument("current", "A", "true rms current"),
            _POWER_FACTOR,
        ),
        gives=_GIVES_POWER,
        expression="voltage * current * power_factor",
        sentence="The power of a load on alternating current.",
        domain=(
            "one phase, true rms values of the same time; 1 for heaters and filament lamps, "
            "0.5 to 0.7 is usual behind a rectifier"
        ),
        source="definition of the power factor",
        example=("230 V", "2.5 A", "0.8"),
        worked="460.00 W",
        limits=(
            not_negative("voltage", "V", _NO_SIGN),
            not_negative("current", "A", _NO_SIGN),
            *_POWER_FACTOR_LIMITS,
        ),
    ),
    PhysicsFunction(
        name="three_phase_power",
        arguments=(
            Argument("line_voltage", "V", "true rms voltage between two lines"),
            Argument("line_current", "A", "true rms current in one line"),
            _POWER_FACTOR,
        ),
        gives=Argument("power", "W", "power of all three phases"),
        expression="sqrt(3) * line_voltage * line_current * power_factor",
        sentence="The power of a balanced three-phase load or generator, star or delta.",
        domain=(
            "the three phases alike; the voltage between two lines, not from a line to the star "
            "point, which would read low by a factor of 1.73"
        ),
        source="any textbook on alternating current",
        example=("400 V", "3 A", "0.85"),
        worked="1766.7 W",
        limits=(
            not_negative("line_voltage", "V", _NO_SIGN),
            not_negative("line_current", "A", _NO_SIGN),
            *_POWER_FACTOR_LIMITS,
        ),
    ),
    PhysicsFunction(
        name="lamp_power",
        arguments=(
            _RATED_POWER,
            _RATED_VOLTAGE,
            _VOLTAGE,
            Argument("exponent", "1", "power of the voltage, 1.5 to 1.62 for tungsten"),
        ),
        gives=Argument("power", "W", "power of the lamp"),
        expression="rated_power * (voltage / rated_voltage) ** exponent",
        sentence="The power of a filament lamp at another voltage than the rated one.",
        domain=(
            "tungsten filament lamps, 0.8 to 1.1 of the rated voltage; lamps alike differ by 5 to "
            "10 % in watts, so measure volts and amperes where it matters"
        ),
        source="IES Lighting Handbook (exponent 1.54), from memory; others give 1.6",
        example=("60 W", "230 V", "205 V", "1.57"),
        worked="50.083 W",
        limits=(
            *_RATING_LIMITS,
            Limit(
                _TO_LOAD,
                "1",
                "the rule fits near the rated voltage only, 0.8 to 1.1 of it: measure volts and "
                "amperes instead",
                least=0.8,
                most=1.1,
                called=_AGAINST_RATED,
            ),
            Limit(
                _TO_LOAD,
                "1",
                "so dim a filament no longer follows the rule: measure volts and amperes instead",
                least=0.5,
                called=_AGAINST_RATED,
                refuse=True,
            ),
            Limit(
                "exponent",
                "1",
                "tungsten lamps lie between 1.5 and 1.62",
                least=1.4,
                most=1.7,
            ),
            Limit(
                "exponent",
                "1",
                "a filament's resistance grows with the voltage, so its power grows faster than "
                "the voltage and slower than its square",
                least=1,
                most=2,
                refuse=True,
            ),
        ),
    ),
    PhysicsFunction(
        name="resistor_power",
        arguments=(_RATED_POWER, _RATED_VOLTAGE, _VOLTAGE),
        gives=_GIVES_POWER,
        expression="rated_power * (voltage / rated_voltage) ** 2",
        sentence="The power of a heater or load resistor at another voltage than the rated one.",
        domain=(
            "a resistance that stays the same; heating wire is a few % lower when cold, and a "
            "rating is often 5 to 10 % off, so measure volts and amperes where it matters"
        ),
        source="Ohm's law; the margins are common practice, no source",
        example=("2000 W", "230 V", "205 V"),
        worked="1588.8 W",
        limits=(
            *_RATING_LIMITS,
            Limit(
                "abs(voltage / rated_voltage)",
                "1",
                "the wire is much cooler than at its rating, and its resistance a few % lower: "
                "measure volts and amperes instead",
                least=0.5,
                called=_AGAINST_RATED,
            ),
            Limit(
                "abs(voltage / rated_voltage)",
                "1",
                "the wire is hotter than at its rating, and its resistance higher: measure volts "
                "and amperes instead",
                most=1.1,
                called=_AGAINST_RATED,
            ),
        ),
    ),
    PhysicsFunction(
        name="true_rms_of_wave",
        arguments=(_READING, Argument("form_factor", "1", "rms value over mean absolute value")),
        gives=_GIVES_TRUE,
        expression="reading * form_factor / (pi / (2 * sqrt(2)))",
        sentence="The true rms voltage of a wave that an average-responding meter has read.",
        domain=(
            "a meter that reads 1.1107 times the mean, as simple ones do, and a wave of known "
            "shape: form factor 1 for a square, 1.1107 for a sine, 1.1547 for a triangle"
        ),
        source="definition of the form factor; common practice, no source",
        example=("221 V", "1.1547"),
        worked="229.75 V",
        limits=(
            _READING_LIMIT,
            Limit(
                "form_factor",
                "1",
                "no wave has an rms value below its mean: give rms over mean, not the other way",
                least=1,
                refuse=True,
            ),
            Limit(
                "form_factor",
                "1",
                "few meters follow so peaky a wave, not even in its mean: use a true-rms meter",
                most=2,
            ),
        ),
    ),
    PhysicsFunction(
        name="true_rms_of_three_level",
        arguments=(
            _READING,
            Argument("on_fraction", "1", "share of the time that the wave is not at 0"),
        ),
        gives=_GIVES_TRUE,
        expression="reading / (pi / (2 * sqrt(2)) * sqrt(on_fraction))",
        sentence="The true rms voltage of a simple inverter that an average-responding meter read.",
        domain=(
            'a wave of plus, nothing and minus ("modified sine"), and a meter that reads 1.1107 '
            "times the mean: 11 % high at 1, right at 0.81, 21 % low at 0.5"
        ),
        source="mean and rms of the wave, worked out; common practice, no source",
        example=("209 V", "0.67"),
        worked="229.88 V",
        limits=(
            _READING_LIMIT,
            Limit(
                "on_fraction",
                "1",
                "the wave is on for more than all of the time: give a share such as 0.67",
                most=1,
                refuse=True,
            ),
            positive(
                "on_fraction",
                "1",
                "a wave that is never on has no voltage: give a share such as 0.67",
            ),
            Limit(
                "on_fraction",
                "1",
                "few meters follow so short a pulse, not even in its mean: use a true-rms meter",
                least=0.25,
            ),
        ),
    ),
)
