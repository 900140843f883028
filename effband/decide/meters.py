"""Mistakes with what instruments say."""

from __future__ import annotations

from collections.abc import Iterator

from effband.case.model import Leaf
from effband.decide.bench import PRESSURE, Bench, Check
from effband.problems import Problem
from effband.units import parse_unit


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


CHECKS: tuple[Check, ...] = (
    _share_of_reading_on_a_dial,
    _averaging_meter,
    _one_thumb_for_all,
)
