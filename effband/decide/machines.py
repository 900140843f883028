"""Mistakes with ratings, efficiencies, rotors and brakes."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator

from effband.case.formula import Expression, names_in, parse_formula
from effband.decide.bench import Bench, Check, exponent, shown
from effband.problems import Problem
from effband.units import parse_unit

LAMP = re.compile(r"(?<![a-z])(?<!led_)(?:lamps?|bulbs?)(?![a-z])")
EFFICIENCY = re.compile(r"(?<![a-z])efficiency$")
TURNING = ("running", "turning", "at speed")  # words of `about: rotor_at_start`


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
    names = bench.meant("unloaded loss")
    for output in bench.case.outputs:
        made = bench.made_of(output.step)
        calls = [c for c in bench.calls("spin_down_power", "spin_down_loss") if c.value in made]
        used = [name for name in names if bench.uses(output.step, name)]
        raised = any(bench.uses(output.step, name) for name in _raising(bench))
        if raised or not (calls or used):
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


CHECKS: tuple[Check, ...] = (
    _lamp_at_its_rating,
    _rating_as_power,
    _chain_times_stage,
    _beyond_one,
    _rotor_left_out,
    _brake_not_tared,
    _unloaded_loss,
)
