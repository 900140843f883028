"""Mistakes with pressures and with the gas in a receiver."""

from __future__ import annotations

import math
from collections.abc import Iterator

from effband.case.formula import Binary, Call, Expression, every_part, names_in
from effband.decide.bench import PRESSURE, Bench, Check, shown
from effband.evidence.instruments import ABSOLUTE, GAUGE
from effband.physics import AT_ONCE, SETTLED
from effband.problems import Problem

SLACK_OF_INDEX = 0.02  # what reading errors may add to an index between 1 and 1.4
HIGHEST = 11e3  # m, to which the formula of the standard atmosphere holds
WEATHER = 35e2  # Pa that the weather takes the barometer from the mean of a height


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
        for part in every_part(tree):
            if not isinstance(part, Call) or part.function not in ("log", "log10"):
                continue
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


def _of_the_receiver(bench: Bench, tree: Expression) -> bool:
    """Return whether an expression is made of a pressure that says how it settled."""
    gas = [leaf.name for leaf in bench.case.leaves if bench.gas_of(leaf.name) is not None]
    for name in names_in(tree):
        steps = [step for (known, _), step in bench.case.named.items() if known == name]
        if any(bench.uses(step, leaf) for step in steps for leaf in gas):
            return True
    return False


CHECKS: tuple[Check, ...] = (
    _dial_that_reads_absolute,
    _cold_and_warm_readings,
    _barometer_of_the_sea,
    _logarithm_of_two_receiver_pressures,
)
