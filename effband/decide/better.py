"""The case as it would be with one instrument, input or column known better."""

from __future__ import annotations

from dataclasses import replace

from effband.case.model import Case, ErrorSource, Item
from effband.case.program import Step
from effband.evidence.distributions import Distribution, Lognormal
from effband.evidence.instruments import Curve
from effband.evidence.widened import Widened

_SCORES = (".z1", ".z2")  # of an error curve, whose limit shrinks in their place
_SEEN = ".repeats"  # what was seen of a scatter is no error of the instrument alone


def can_be_better(item: Item) -> bool:
    """Return whether an item is one thing whose errors can be made smaller by themselves."""
    return item.kind in ("instrument", "input", "column") and item.parts[0].name != "drawn"


def with_item_better(case: Case, item: Item, times: float = 2.0) -> Case:
    """Return the case with all errors of an item `times` times smaller.

    Of an instrument that is its common limit, its fresh errors and the step of its display; of
    an input or a column, the distances of its law from the value as written.
    """
    own = {name for name in item.sources if not name.endswith((*_SCORES, _SEEN))}
    sources = tuple(
        replace(source, distribution=_narrower(source, times)) if source.name in own else source
        for source in case.sources
    )
    steps = tuple(_step(step, item.name, times) for step in case.program.steps)
    return replace(case, sources=sources, program=replace(case.program, steps=steps))


def _narrower(source: ErrorSource, times: float) -> Distribution:
    law = source.distribution
    if isinstance(law, Lognormal):
        return replace(law, factor=law.factor ** (1 / times))
    return Widened(law, source.nominal, 1 / times)


def _step(step: Step, specimen: str, times: float) -> Step:
    if step.op != "curve":
        return step
    assert isinstance(step.detail, tuple)
    curve, reading = step.detail
    assert isinstance(curve, Curve)
    if curve.specimen != specimen:
        return step
    return replace(step, detail=(replace(curve, limit=curve.limit / times), reading))
