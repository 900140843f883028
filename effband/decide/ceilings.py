"""Numbers beyond what physics allows."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator

from effband.case.formula import (
    Binary,
    Expression,
    Name,
    Negative,
    Number,
    parse_formula,
)
from effband.case.model import Output
from effband.decide.bench import Bench, Check, run_of, shown
from effband.problems import Problem

BETZ = 16 / 27  # Betz 1920: the most that an open rotor takes of the wind through its circle
LEAST = 1e-3  # of a ceiling: below that a unit was likely mistaken; hot air gave 2.8e-3
HUNDRED = 100.0
DEEPEST = 20  # formulas that only name one another
AS_BY_HAND = 3.0  # times off an answer by hand, within which it was meant so
BEST_COMPRESSOR = 0.7  # exergy for electricity, beyond any: common practice, no source


def _wind(bench: Bench) -> Iterator[Problem]:
    said = set()
    winds = {bench.plain(call.value) for call in bench.calls("wind_power")}
    for output in bench.case.outputs:
        target, divisor = output.target, bench.divisor(output)
        most = None if output.ceiling is None else bench.worth(output.ceiling)
        if most is None or most <= BETZ * 1.01 or divisor is None or target.name in said:
            continue
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


def _hardly_anything(bench: Bench) -> Iterator[Problem]:
    """Look for efficiencies a thousand times too small, as of mm written as cm or kJ as J."""
    of: dict[str, list[float]] = defaultdict(list)
    for output in bench.case.outputs:
        if output.target.kind in ("efficiency", "performance ratio"):
            most = 1.0 if output.ceiling is None else bench.worth(output.ceiling)
            if most > 0.0:
                of[output.target.name].append(bench.worth(output.step) / most)
    for target in bench.case.targets:
        shares, hand = of.get(target.name, []), target.hand_value
        if not shares or not all(0.0 < share < LEAST for share in shares):
            continue
        value = max(bench.worth(o.step) for o in bench.case.outputs if o.target == target)
        if hand is not None and 1 / AS_BY_HAND < value / hand < AS_BY_HAND:
            continue
        what = f"{target.name} comes to {shown(value, target.unit.text)}, hardly anything"
        remedy = "look at the units: mm or cm, J or kJ, s or min; where it is right, say so by a "
        yield bench.warn(("results", target.name), what, remedy + "`hand_value:`")


def times_hundred(bench: Bench, output: Output) -> str:
    """Return what to do about a result in % whose formula multiplies by 100 as well, or nothing."""
    target = output.target
    if target.unit.text != "%" or not _has_hundred(bench, parse_formula(target.formula)):
        return ""
    return "`%` already multiplies by 100: leave `* 100` out"


def _has_hundred(bench: Bench, tree: Expression, depth: int = 0) -> bool:
    """Return whether 100 is a factor of an expression, or of a formula that it only names."""
    match tree:
        case Number():
            return tree.value == HUNDRED
        case Name() if depth < DEEPEST and tree.name in bench.file.formulas:
            return _has_hundred(bench, bench.trees[tree.name], depth + 1)
        case Negative():
            return _has_hundred(bench, tree.part, depth)
        case Binary(operation="multiply"):
            return any(_has_hundred(bench, part, depth) for part in (tree.left, tree.right))
        case Binary(operation="divide"):
            return _has_hundred(bench, tree.left, depth)
    return False


CHECKS: tuple[Check, ...] = (
    _wind,
    _carnot,
    _full_admission,
    _refill_below_its_least,
    _hardly_anything,
)
