"""Mistakes that cost a factor, found in what a case says and in its numbers as written.

Each check yields warnings: what is doubtful, with the numbers, and what to do. A check that
cannot tell keeps silent.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterator

from effband.case.formula import Binary, Call, Expression, names_in, parse_formula
from effband.case.model import Case, Leaf
from effband.decide.bench import MEANT_IN, PRESSURE, Bench, exponent, run_of
from effband.evidence.instruments import ABSOLUTE, GAUGE
from effband.physics import AT_ONCE, SETTLED
from effband.problems import Problem
from effband.units import Unit, parse_unit

Check = Callable[[Bench], Iterator[Problem]]

LAMP = re.compile(r"(?<![a-z])(?<!led_)(?:lamps?|bulbs?)(?![a-z])")
EFFICIENCY = re.compile(r"(?<![a-z])efficiency$")
BETZ = 16 / 27  # Betz 1920: the most that an open rotor takes of the wind through its circle
TURNING = ("running", "turning", "at speed")  # words of `about: rotor_at_start`
SLACK_OF_INDEX = 0.02  # what reading errors may add to an index between 1 and 1.4
BEST_COMPRESSOR = 0.7  # exergy for electricity, beyond any: common practice, no source
HIGHEST = 11e3  # m, to which the formula of the standard atmosphere holds
WEATHER = 35e2  # Pa that the weather takes the barometer from the mean of a height


def doubts_as_written(case: Case) -> list[Problem]:
    """Return the warnings that follow from what a case says and from its numbers as written."""
    bench = Bench(case)
    return [problem for check in CHECKS for problem in check(bench)]


def impossible_as_written(case: Case) -> list[Problem]:
    """Return a warning for each result that lies above its ceiling, or below 0, as written."""
    bench = Bench(case)
    found: dict[str, tuple[float, str]] = {}
    for output in case.outputs:
        if output.ceiling is None:
            continue
        value, most = bench.worth(output.step), bench.worth(output.ceiling)
        if not 0.0 <= value <= most * (1 + 1e-9) and math.isfinite(value):
            where = f" in {output.where}" if output.where else ""
            found.setdefault(output.target.name, (value, where))
    problems = []
    for target in case.targets:
        if target.name in found:
            value, where = found[target.name]
            number = shown(value, target.unit.text)
            what = f"{target.name} comes to {number}{where}, which is impossible"
            remedy = f"its ceiling is {target.ceiling}: look at units, signs and what is forgotten"
            problems.append(bench.warn(("results", target.name), what, remedy))
    return problems


def shown(value: float, unit: str) -> str:
    """Return a value (SI) in a unit, to three digits or so."""
    known: Unit = parse_unit(unit)
    return f"{known.from_si(value):.4g} {known.symbol}".rstrip()


# -- pressures and gas ---------------------------------------------------------------------------


def _dial_that_reads_absolute(bench: Bench) -> Iterator[Problem]:
    for name, instrument in bench.file.instruments.items():
        if instrument.reads != ABSOLUTE or not instrument.division or instrument.span is None:
            continue
        if "absolute" in (instrument.label or "").casefold():
            continue  # its dial says so
        low, high = instrument.span[0]
        if low.si == 0.0 and high.si > 1.5e5:
            top = f"{high.number:g} {high.unit.text}"
            what = (
                f"{name} says `reads: absolute pressure`, but a dial from 0 to {top} stands at 0 "
                "in the open air and reads gauge pressure: every reading is then 1 bar too low"
            )
            remedy = (
                "say `reads: gauge pressure` and write absolute(p, barometer); if its dial does "
                "say absolute, copy that into its `label:`"
            )
            yield bench.warn(("instruments", name, "reads"), what, remedy)


def _cold_and_warm_readings(bench: Bench) -> Iterator[Problem]:
    """Work out the index that a cold and a warm end pressure imply, where nobody asked for it."""
    if any(call.function == "implied_gas_index" for call in bench.case.program.calls):
        return  # its own limits speak
    for run in (None, *bench.runs):
        leaves = [leaf for leaf in bench.leaves_of(PRESSURE) if leaf.run in (run, None)]
        cold = [leaf for leaf in leaves if bench.gas_of(leaf.name) == AT_ONCE]
        settled = [leaf for leaf in leaves if bench.gas_of(leaf.name) == SETTLED]
        gauge = [leaf for leaf in (*cold, *settled) if leaf.reads == GAUGE]
        air = bench.barometer(run) if gauge else 0.0
        if len(cold) != 1 or len(settled) != 2 or air is None:
            continue
        p_cold = cold[0].value + air
        p_warm, p_start = sorted(leaf.value + air for leaf in settled)
        if not 0.0 < p_cold < p_start or p_warm == p_start or p_warm <= 0.0:
            continue
        share = math.log(p_warm / p_cold) / math.log(p_start / p_cold)
        index = math.inf if share >= 1.0 else 1 / (1 - share)
        if 1.0 - SLACK_OF_INDEX <= index <= 1.4 + SLACK_OF_INDEX:
            continue
        where = f" in run {run}" if run else ""
        what = (
            f"from {shown(p_cold, 'bar')} at the stop to {shown(p_warm, 'bar')} once settled "
            f"(absolute){where}, the air would have emptied with an index of {index:.3g}, and "
            "nothing lies outside 1 to 1.4"
        )
        remedy = "one of the pressures is off: a leak while it warmed, or the two exchanged"
        yield bench.warn(bench.path(cold[0].name), what, remedy)


def _barometer_of_the_sea(bench: Bench) -> Iterator[Problem]:
    altitude = bench.file.altitude
    air = bench.barometer(bench.runs[0] if bench.runs else None)
    if altitude is None or air is None or altitude.si > HIGHEST:
        return
    # ISO 2533, standard atmosphere, from memory
    usual = 101325.0 * (1 - 2.25577e-5 * altitude.si) ** 5.25588
    if abs(air - usual) > WEATHER and abs(air - 101325.0) < abs(air - usual):
        height = f"{altitude.number:g} {altitude.unit.text}"
        what = (
            f"the barometer says {shown(air, 'hPa')}, but at {height} the air has about "
            f"{shown(usual, 'hPa')}: weather reports are reduced to sea level"
        )
        yield bench.warn(("altitude",), what, "read the pressure where the machine stands")


def _logarithm_of_two_receiver_pressures(bench: Bench) -> Iterator[Problem]:
    for name, tree in bench.trees.items():
        if not bench.nature(name).startswith("energy"):
            continue  # a leak rate and an index are worked out so
        for part in _logarithms(tree):
            inner = part.arguments[0]
            if not isinstance(inner, Binary) or inner.operation != "divide":
                continue
            if all(_of_the_receiver(bench, side) for side in (inner.left, inner.right)):
                path = bench.path(name) if name in bench.file.formulas else ("results", name)
                what = (
                    f"{name} takes the logarithm of two receiver pressures: p V ln(p1/p2) is "
                    "neither the work that the air can give nor a ceiling for any machine"
                )
                remedy = "count with receiver_exergy, the most that any machine could make of it"
                yield bench.warn(path, what, remedy)
                break


def _logarithms(tree: Expression) -> Iterator[Call]:
    parts: tuple[Expression, ...] = ()
    if isinstance(tree, Binary):
        parts = (tree.left, tree.right)
    elif isinstance(tree, Call):
        parts = tree.arguments
        if tree.function in ("log", "log10"):
            yield tree
    elif hasattr(tree, "part"):
        parts = (tree.part,)
    for part in parts:
        yield from _logarithms(part)


def _of_the_receiver(bench: Bench, tree: Expression) -> bool:
    """Return whether an expression is made of a pressure that says how it settled."""
    gas = [leaf.name for leaf in bench.case.leaves if bench.gas_of(leaf.name) is not None]
    for name in names_in(tree):
        steps = [step for (known, _), step in bench.case.named.items() if known == name]
        if any(bench.uses(step, leaf) for step in steps for leaf in gas):
            return True
    return False


# -- instruments ---------------------------------------------------------------------------------


def _share_of_reading_on_a_dial(bench: Bench) -> Iterator[Problem]:
    for name, instrument in bench.file.instruments.items():
        if instrument.accuracy is None or instrument.division is None or not instrument.span:
            continue
        if instrument.span[0][0].unit.dimension != PRESSURE:
            continue  # tapes and rules are stated by the reading
        terms = list(instrument.accuracy.each_term())
        shares = [term.amount for term in terms if term.of == "reading"]
        if not shares or any(term.of == "span" for term in terms):
            continue
        low, high = instrument.span[0]
        share = max(shares)
        span = (high.si - low.si) / high.unit.factor
        width, little = (f"{share * part:.2g} {high.unit.text}" for part in (span, span / 4))
        what = (
            f"{name} is a dial with {100 * share:g} % of reading: a class on a dial is of the "
            f"span, {width} anywhere on it, not {little} at a quarter of it"
        )
        remedy = f"write `{100 * share:g} % of span`, unless the data sheet says of reading"
        yield bench.warn(("instruments", name, "accuracy"), what, remedy)


def _type_of(leaf: Leaf) -> str:
    return (leaf.instrument or "").partition("#")[0]


def _one_thumb_for_all(bench: Bench) -> Iterator[Problem]:
    second = parse_unit("s").dimension
    for name, column in bench.readings.items():
        by_hand = column.evidence not in ("datasheet", "certificate")
        if column.unit.dimension == second and column.shared and by_hand and len(bench.runs) > 1:
            what = f"{name} has one error for all runs (`shared: true`), but a thumb errs afresh"
            remedy = "leave `shared:` out; of a clock that runs fast, say `evidence: datasheet`"
            yield bench.warn(("runs", "readings", name, "shared"), what, remedy)


def _averaging_meter(bench: Bench) -> Iterator[Problem]:
    inverter = "inverter" in str(bench.case.text.tree).casefold()
    for name, instrument in bench.file.instruments.items():
        said = instrument.true_rms
        alternating = (instrument.reads or "").startswith("AC") and instrument.reads != "AC power"
        if not alternating or said == "yes" or (said is None and not inverter):
            continue
        read = [leaf.name for leaf in bench.case.leaves if _type_of(leaf) == name]
        corrected = ("true_rms_of_wave", "true_rms_of_three_level")
        if not any(bench.used(r) and not bench.called_with(r, *corrected) for r in read):
            continue
        does = {"no": "averages", "unknown": "may average"}.get(said or "", "may average")
        what = (
            f"{name} {does}, and is right on a sine only: on a square wave it reads 11 % too high "
            "(23 % too much for V^2/R), on an inverter's three-level wave from 21 % too low to "
            "11 % too high"
        )
        remedy = "take a true-rms meter and say `true_rms: yes`, or true_rms_of_three_level(...)"
        yield bench.warn(("instruments", name), what, remedy)


# -- ratings and efficiencies ---------------------------------------------------------------------


def _lamp_at_its_rating(bench: Bench) -> Iterator[Problem]:
    watt = parse_unit("W").dimension
    named = {
        leaf.name
        for leaf in bench.leaves_of(watt)
        if LAMP.search(leaf.name.casefold())
        and leaf.evidence == "nameplate"
        and leaf.instrument is None
    }
    for name in {**dict.fromkeys(bench.meant("lamp rating")), **dict.fromkeys(sorted(named))}:
        if bench.used(name) and not bench.called_with(name, "lamp_power"):
            what = (
                f"{name} counts a lamp at its printed watts, which hold at its printed volts only: "
                "at 0.9 of them it takes 0.85 of the watts, and lamps alike differ by 5 to 10 %"
            )
            remedy = "measure volts and amperes, or write lamp_power(...) with the volts it had"
            yield bench.warn(bench.path(name), what, remedy)


def _rating_as_power(bench: Bench) -> Iterator[Problem]:
    for name in bench.meant("engine rating", "motor rating"):
        if all(output.target.kind == "ratio" for output in bench.used(name)):
            continue  # what share of its rating it gave
        beside = {other for f in bench.formulas_with(name) for other in names_in(bench.trees[f])}
        plain = [n for n in beside if n != name and _is_plain(bench, n)]
        if plain:
            continue
        what = (
            f"{name} is a rating, what the machine may give, and stands in the formula as what it "
            "gave: a small engine on a compressor runs at 45 to 85 % of it"
        )
        remedy = "multiply by a load fraction, such as `{like: small engine load fraction}`"
        yield bench.warn(bench.path(name), what, remedy)


def _is_plain(bench: Bench, name: str) -> bool:
    plain = any(leaf.name == name and not any(leaf.unit.dimension) for leaf in bench.case.leaves)
    return plain or bench.nature(name).startswith("a number without unit")


def _chain_times_stage(bench: Bench) -> Iterator[Problem]:
    for chain in bench.meant("chain efficiency"):
        for stage in bench.meant("stage efficiency"):
            both = [
                o
                for o in bench.used(chain)
                if bench.uses(o.step, stage) and _multiplied(bench, o.target.formula, chain, stage)
            ]
            if both:
                a, b = bench.largest(chain) or 0.0, bench.largest(stage) or 0.0
                what = (
                    f"{both[0].target.name} takes {chain} ({shown(a, '%')}), which is of the whole "
                    f"chain, and {stage} ({shown(b, '%')}): where that is a part of the chain, "
                    "it counts twice"
                )
                yield bench.warn(
                    bench.path(stage), what, "take the chain alone, or its stages alone"
                )


def _multiplied(bench: Bench, formula: str, one: str, other: str) -> bool:
    """Return whether two factors stand on one side of the stroke; a chain over a stage is right."""
    tree = parse_formula(formula)
    powers = [exponent(tree, bench.exponents(name)) for name in (one, other)]
    return powers[0] * powers[1] > 0.0


def _beyond_one(bench: Bench) -> Iterator[Problem]:
    """Look for efficiencies that can lie above 1."""
    laws = {source.name: source.distribution for source in bench.case.sources}
    seen = set()
    for leaf in bench.case.leaves:
        law = laws.get(leaf.name if leaf.run is None else f"{leaf.name}[{leaf.run}]")
        if law is None or leaf.name in seen or not bench.used(leaf.name):
            continue
        high = law.support[1]
        share = not any(leaf.unit.dimension) and (
            EFFICIENCY.search(leaf.name.casefold()) is not None
            or bench.meanings.get(leaf.name) in ("chain efficiency", "stage efficiency")
        )
        if share and 1.0 < high < math.inf:
            seen.add(leaf.name)
            what = f"{leaf.name} reaches {shown(high, '%')}, and no efficiency is above 100 %"
            remedy = "check its limits, or cut what is impossible: `physical: [0 %, 100 %]`"
            yield bench.warn(bench.path(leaf.name), what, remedy)


# -- rotors and brakes -----------------------------------------------------------------------------


def _rotor_left_out(bench: Bench) -> Iterator[Problem]:
    about = bench.file.about if isinstance(bench.file.about, dict) else {}
    start = str(about.get("rotor_at_start", "")).casefold()
    if any(word in start for word in TURNING):
        return
    inertia, turning = (parse_unit(u).dimension for u in ("kg*m^2", "rad/s"))
    inertias = bench.meant("rotor inertia") or [leaf.name for leaf in bench.leaves_of(inertia)]
    speeds = bench.meant("rotor speed") or [leaf.name for leaf in bench.leaves_of(turning)]
    if not inertias or not speeds:
        return
    said = set()
    for output in bench.case.outputs:
        target = output.target
        out = "" if target.boundary is None else target.boundary[1].casefold()
        shaft = "shaft" in out or any(bench.uses(output.step, n) for n in bench.meant("shaft work"))
        if target.name in said or not shaft or target.kind != "efficiency":
            continue
        brakes = bench.calls("prony_brake_power", "rope_brake_power")
        steady = any(call.value in bench.made_of(output.step) for call in brakes)
        steady = steady or _of_power(bench, bench.trees[target.name])
        if steady or any(bench.uses(output.step, name) for name in inertias):
            continue
        j, w = bench.largest(inertias[0]), bench.value(speeds[0], output.run)
        if j is None or w is None:
            continue
        said.add(target.name)
        energy = 0.5 * j * w * w
        what = (
            f"{target.name} counts shaft work without the "
            f"{shown(energy, 'kJ' if energy >= 1e4 else 'J')} that the rotor holds at "
            f"{shown(w, 'rpm')} ({inertias[0]}, {speeds[0]})"
        )
        remedy = (
            "add kinetic_energy(...), or say `rotor_at_start: running` under `about:` if it was"
        )
        yield bench.warn(("results", target.name), what, remedy)


def _of_power(bench: Bench, tree: Expression) -> bool:
    """Return whether a result is one power over another, so that nothing is stored meanwhile."""
    watts = {leaf.name for leaf in bench.leaves_of(parse_unit("W").dimension)}
    return any(bench.nature(n).startswith("power") or n in watts for n in names_in(tree))


def _brake_not_tared(bench: Bench) -> Iterator[Problem]:
    for call in bench.calls("prony_brake_power"):
        tare = call.arguments[1]
        if bench.worth(tare) == 0.0 and not bench.case.program.sources_of[tare]:
            what = "prony_brake_power gets a tare of 0 that nobody read: the arm counts as pull"
            remedy = (
                "read the scale with the brake open and the rotor at rest, even where it says 0"
            )
            place = bench.case.text.place(call.spot.path, call.spot.start, call.spot.length)
            yield Problem(place, what, remedy)
            break
    tares = bench.meant("tare")
    for name in bench.meant("untared arm"):
        loose = [o for o in bench.used(name) if not any(bench.uses(o.step, t) for t in tares)]
        if loose:
            what = (
                f"{loose[0].target.name} takes {name}, which holds the arm's own weight, and no "
                "tare: on a small brake that is easily a tenth of the power"
            )
            yield bench.warn(bench.path(name), what, "read a tare, and subtract it in the formula")
    for name in tares:
        if not bench.used(name):
            value = bench.largest(name)
            unit = bench.unit_of(name)
            size = "" if value is None or unit is None else f" ({shown(value, unit)})"
            what = f"{name}{size} is a tare that no result subtracts"
            yield bench.warn(bench.path(name), what, "subtract it where the loaded scale stands")


def _raising(bench: Bench) -> Iterator[str]:
    """Yield the inputs that are factors of 1 or more."""
    for source in bench.case.sources:
        if source.name in bench.file.inputs and 1.0 <= source.distribution.support[0] < math.inf:
            leaf = next(leaf for leaf in bench.case.leaves if leaf.name == source.name)
            if not any(leaf.unit.dimension) and leaf.value > 1.0:
                yield leaf.name


def _unloaded_loss(bench: Bench) -> Iterator[Problem]:
    factors = [like.path[-1] for like in bench.case.likes if "spin-down" in like.name]
    names = bench.meant("unloaded loss")
    for output in bench.case.outputs:
        made = bench.made_of(output.step)
        calls = [c for c in bench.calls("spin_down_power", "spin_down_loss") if c.value in made]
        used = [name for name in names if bench.uses(output.step, name)]
        if not (calls or used) or any(bench.uses(output.step, str(f)) for f in factors):
            continue
        if any(bench.uses(output.step, name) for name in _raising(bench)):
            continue
        if output.target.kind == "ratio" or (output.target.kind == "quantity" and not used):
            continue  # the loss itself is asked for
        what = (
            f"{output.target.name} takes the loss of a rotor that ran down without load for its "
            "loss under load, which is 1 to 2 times that: bearings and mesh then carry more"
        )
        remedy = "multiply by `{like: spin-down to loaded loss factor}`, an input"
        yield bench.warn(("results", output.target.name), what, remedy)
        return


# -- ceilings --------------------------------------------------------------------------------------


def _wind(bench: Bench) -> Iterator[Problem]:
    said = set()
    for output in bench.case.outputs:
        target, divisor = output.target, bench.divisor(output)
        most = None if output.ceiling is None else bench.worth(output.ceiling)
        if most is None or most <= BETZ * 1.01 or divisor is None or target.name in said:
            continue
        winds = {bench.plain(call.value) for call in bench.calls("wind_power")}
        if bench.plain(divisor) not in winds:
            continue
        said.add(target.name)
        value = bench.worth(output.step)
        what = f"{target.name} is of all the wind through the circle, of which no rotor takes more "
        what += f"than {shown(BETZ, '%')} (Betz)"
        if value > BETZ:
            what += f": {shown(value, '%')} is impossible"
        yield bench.warn(
            ("results", target.name), what, "say `ceiling: 59.3 %`; average v**3, not v"
        )


def _carnot(bench: Bench) -> Iterator[Problem]:
    hots, colds = bench.meant("hot temperature"), bench.meant("cold temperature")
    said = set()
    for output in bench.case.outputs:
        target = output.target
        own = bench.file.results[target.name].ceiling is not None
        if not hots or not colds or own or target.name in said:
            continue  # one who gives a ceiling knows of it
        hot, cold = bench.value(hots[0], output.run), bench.value(colds[0], output.run)
        if hot is None or cold is None or not hot > cold > 0.0:
            continue
        pump = target.kind == "performance ratio"
        limit = hot / (hot - cold) if pump else 1 - cold / hot
        value = bench.worth(output.step)
        into = "" if target.boundary is None else target.boundary[0].casefold()
        heat = "heat" in into.replace("heat pump", "")
        if (pump or (target.kind == "efficiency" and heat)) and value > limit:
            said.add(target.name)
            unit = target.unit.text
            name = "heat pump" if pump else "heat engine"
            what = (
                f"{target.name} is {shown(value, unit)}, and between {shown(hot, 'degC')} and "
                f"{shown(cold, 'degC')} no {name} reaches more than {shown(limit, unit)} (Carnot)"
            )
            yield bench.warn(("results", target.name), what, "look for an error in heat or energy")


def _full_admission(bench: Bench) -> Iterator[Problem]:
    for call in bench.case.program.calls:
        if call.function != "full_admission_work":
            continue
        most = bench.worth(call.value)
        for name in bench.meant("shaft work", "output energy"):
            value = bench.value(name, run_of(call))
            if value is not None and bench.is_in(name, "J") and value > most:
                what = (
                    f"{name} is {shown(value, 'kJ')}, and a motor that fills its cells at full "
                    f"pressure cannot make more than {shown(most, 'kJ')} of this air"
                )
                remedy = "the motor expands the air, or the air or the work is counted wrongly"
                yield bench.warn(bench.path(name), what, remedy)
                return


def _refill_below_its_least(bench: Bench) -> Iterator[Problem]:
    for name in bench.meant("refill energy"):
        for run in (None, *bench.runs):
            value = bench.value(name, run)
            calls = [c for c in bench.case.program.calls if c.function == "receiver_exergy"]
            calls = [c for c in calls if run_of(c) == run]
            if value is None or len(calls) < 2:
                continue
            exergies = [bench.worth(c.value) for c in calls]
            least = max(exergies) - min(exergies)
            if not least > 0.0 or not value > 0.0:
                continue
            where = f" in run {run}" if run else ""
            if value < least:
                what = (
                    f"{name} is {shown(value, 'kJ')}{where}, less than the "
                    f"{shown(least, 'kJ')} that the refill takes at the very least"
                )
                yield bench.warn(
                    bench.path(name), what, "check the meter, the volume, the pressures"
                )
                break
            if least / value > BEST_COMPRESSOR:
                found = shown(least / value, "%")
                what = (
                    f"{name}{where} would mean that {found} of the electricity is found in the air "
                    "again; small piston compressors reach 20 to 45 %"
                )
                yield bench.warn(bench.path(name), what, "cheap plug-in meters often read low")
                break


def _meaning_of_another_kind(bench: Bench) -> Iterator[Problem]:
    for name, means in bench.meanings.items():
        if not bench.can_mean(name):
            found = bench.unit_of(name) or bench.nature(name)
            what = f"{name} says `means: {means}`, but it is in {found}"
            remedy = f"that is in {' or '.join(MEANT_IN[means])}: check the word, or the unit"
            yield bench.warn((*bench.path(name), "means"), what, remedy)


def _balance_of_several_kinds(bench: Bench) -> Iterator[Problem]:
    balance = bench.file.balance
    if balance is None:
        return
    natures = {bench.nature(name) for name in (*balance.in_, *balance.out, *balance.stored)}
    if len(natures) > 1:
        what = f"the balance adds {' and '.join(sorted(natures))}"
        yield bench.warn(("balance",), what, "give all its parts as energies, or all as powers")


CHECKS: tuple[Check, ...] = (
    _meaning_of_another_kind,
    _balance_of_several_kinds,
    _dial_that_reads_absolute,
    _cold_and_warm_readings,
    _barometer_of_the_sea,
    _logarithm_of_two_receiver_pressures,
    _share_of_reading_on_a_dial,
    _averaging_meter,
    _one_thumb_for_all,
    _lamp_at_its_rating,
    _rating_as_power,
    _chain_times_stage,
    _beyond_one,
    _rotor_left_out,
    _brake_not_tared,
    _unloaded_loss,
    _wind,
    _carnot,
    _full_admission,
    _refill_below_its_least,
)
