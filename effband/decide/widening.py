"""The same case with its guesses drawn out, to see what they carry.

Limits that people set by judgement are mostly too narrow: of ranges meant to hold 80 % of the
truths, 49 to 65 % held them (McBride, Fidler and Burgman, Diversity and Distributions 2012,
abstract). For a normal law that calls for 1.4 to 1.95 times the width, 1.6 in the middle.
"""

from __future__ import annotations

import math
from dataclasses import replace

from effband.case.model import Case, ErrorSource
from effband.case.program import Step
from effband.case.values import JUDGED
from effband.evidence.distributions import Distribution, Exponential, Lognormal
from effband.evidence.instruments import Curve
from effband.evidence.truncated import Truncated
from effband.evidence.widened import Widened

_STEPS = (".digit", ".division")  # the step of a display or dial is no guess
_SCORES = (".z1", ".z2")  # of an error curve, whose limit is drawn out in their place
_TOGETHER = ("joint", "drawn")  # with others, or from a sample


def with_guesses_widened(case: Case, factor: float) -> tuple[Case, tuple[str, ...]]:
    """Return the case with every spread that rests on judgement `factor` times as wide.

    What lay within physical limits, above 0, or between 0 and 1 stays there. The second value
    names what keeps its spread although it is guessed: what is drawn together with others or
    from a sample, and exponential laws, whose one number is their mean.
    """
    guessed = [source for source in case.sources if source.evidence in JUDGED]
    kept = {
        s.item for s in guessed if s.part in _TOGETHER or isinstance(s.distribution, Exponential)
    }
    curves = {s.item for s in guessed if s.part == "common"}
    sources = tuple(
        _source(case, source, factor) if source in guessed and source.item not in kept else source
        for source in case.sources
    )
    steps = tuple(_step(step, curves, factor) for step in case.program.steps)
    program = replace(case.program, steps=steps)
    return replace(case, sources=sources, program=program), tuple(sorted(kept))


def _source(case: Case, source: ErrorSource, factor: float) -> ErrorSource:
    if source.name.endswith((*_STEPS, *_SCORES)):
        return source
    return replace(source, distribution=_widened(case, source, factor))


def _widened(case: Case, source: ErrorSource, factor: float) -> Distribution:
    law = source.distribution
    if isinstance(law, Lognormal):
        return replace(law, factor=law.factor**factor)
    low, high = _possible(case, source)
    if isinstance(law, Truncated):
        low, high, law = max(low, law.low), min(high, law.high), law.base
    drawn = Widened(law, source.nominal, factor)
    if low <= drawn.support[0] and drawn.support[1] <= high:
        return drawn
    return Truncated(drawn, low, high)


def _possible(case: Case, source: ErrorSource) -> tuple[float, float]:
    """Return the limits that a drawn-out law may not pass."""
    entry = case.file.inputs.get(source.name)
    if entry is not None and entry.physical is not None:
        low, high = (quantity.si for quantity in entry.physical)
        return low, high
    least, most = source.distribution.support
    leaf = next((leaf for leaf in case.leaves if leaf.name == source.name), None)
    share = leaf is not None and not any(leaf.unit.dimension) and least >= 0.0 and most <= 1.0
    return (0.0 if least >= 0.0 else -math.inf), (1.0 if share else math.inf)


def _step(step: Step, guessed: set[str], factor: float) -> Step:
    if step.op != "curve":
        return step
    assert isinstance(step.detail, tuple)
    curve, reading = step.detail
    assert isinstance(curve, Curve)
    if curve.specimen not in guessed:
        return step
    return replace(step, detail=(replace(curve, limit=factor * curve.limit), reading))
