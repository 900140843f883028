"""The same case with its guesses drawn out, to see what they carry.

Limits that people set by judgement are mostly too narrow: of ranges meant to hold 80 % of the
truths, 49 to 65 % held them (McBride, Fidler and Burgman, Diversity and Distributions 2012,
abstract). For a normal law that calls for 1.4 to 1.95 times the width, 1.6 in the middle.
"""

from __future__ import annotations

from dataclasses import replace

from effband.case.model import Case, ErrorSource
from effband.case.program import Step
from effband.evidence.instruments import Curve
from effband.evidence.widened import widened

GUESSED = ("guess", "rule of thumb")
_STEPS = (".digit", ".division")  # the step of a display or dial is no guess
_SCORES = (".z1", ".z2")  # of an error curve, whose limit is drawn out in their place


def with_guesses_widened(case: Case, factor: float) -> Case:
    """Return the case with every spread that rests on judgement `factor` times as wide.

    Inputs that are drawn together with others keep their spreads.
    """
    guessed = {s.item for s in case.sources if s.evidence in GUESSED and s.part == "common"}
    sources = tuple(_source(source, factor) for source in case.sources)
    steps = tuple(_step(step, guessed, factor) for step in case.program.steps)
    return replace(case, sources=sources, program=replace(case.program, steps=steps))


def _source(source: ErrorSource, factor: float) -> ErrorSource:
    if source.evidence not in GUESSED or source.name.endswith((*_STEPS, *_SCORES)):
        return source
    law = widened(source.distribution, source.nominal, factor)
    return replace(source, distribution=law)


def _step(step: Step, guessed: set[str], factor: float) -> Step:
    if step.op != "curve":
        return step
    assert isinstance(step.detail, tuple)
    curve, reading = step.detail
    assert isinstance(curve, Curve)
    if curve.specimen not in guessed:
        return step
    return replace(step, detail=(replace(curve, limit=factor * curve.limit), reading))
