"""What if: the bands with an instrument's error otherwise along its scale.

The error curve of `evidence.instruments` is one reasonable curve, not knowledge. So the
half-widths are also worked out with the two extremes: one error all along the scale, and an
error of its own for every reading.
"""

from __future__ import annotations

import threading
from dataclasses import dataclass, replace

from effband.case.model import Case, ErrorSource, Settings
from effband.case.program import Program, Step
from effband.evidence.distributions import Normal
from effband.evidence.instruments import Curve
from effband.propagate.variants import TRIALS, Rewriting, half_widths_of


@dataclass(frozen=True)
class WhatIf:
    """Half-widths of one output, SI, with an instrument's error otherwise along its scale."""

    instrument: str
    same_all_along: float
    own_for_each_reading: float


def what_if(
    case: Case, settings: Settings, workers: int, stop: threading.Event
) -> tuple[tuple[WhatIf, ...], ...]:
    """Return the what-ifs of every output: one for each instrument it reads at two places.

    The single runs of a group have none: their group's tell as much.
    """
    grouped = {run for group in case.groups for run in group.members}
    read_by = [
        {} if output.run in grouped else _read_by(case.program, output.step)
        for output in case.outputs
    ]
    found: list[list[WhatIf]] = [[] for _ in case.outputs]
    for specimen in sorted(set().union(*(set(r) for r in read_by))):
        wanted = [k for k, reads in enumerate(read_by) if len(reads.get(specimen, ())) > 1]
        if not wanted:
            continue
        same, own = (
            half_widths_of(
                variant,
                wanted,
                settings.seed,
                settings.probability,
                min(settings.trials, TRIALS),
                workers,
                stop,
            )
            for variant in (_same(case, specimen), _own(case, specimen))
        )
        for at, k in enumerate(wanted):
            found[k].append(WhatIf(specimen, same[at], own[at]))
    return tuple(tuple(each) for each in found)


def _read_by(program: Program, step: int) -> dict[str, set[float]]:
    """Return the places on each instrument's scale that a value was read at."""
    found: dict[str, set[float]] = {}
    for at in program.needed_for([step]):
        curve = _curve_of(program.steps[at])
        if curve is not None:
            found.setdefault(curve.specimen, set()).add(curve.angle)
    return found


def _curve_of(step: Step) -> Curve | None:
    return step.member if isinstance(step.member, Curve) else None


def _same(case: Case, specimen: str) -> Case:
    """Return the case with one error all along the scale of an instrument."""
    rewriting = Rewriting(case.program)

    def change(step: Step) -> Step:
        curve = _curve_of(step)
        if curve is None or curve.specimen != specimen:
            return step
        return replace(step, detail=(replace(curve, angle=0.0), ""))

    return rewriting.case(case, rewriting.copy(change))


def _own(case: Case, specimen: str) -> Case:
    """Return the case with an error of its own for every reading of an instrument."""
    rewriting = Rewriting(case.program)
    added: dict[str, ErrorSource] = {}

    def change(step: Step) -> Step:
        curve = _curve_of(step)
        if curve is None or curve.specimen != specimen:
            return step
        assert isinstance(step.detail, tuple)
        name = f"{specimen} at {step.detail[1]}"
        added[name] = ErrorSource(name, Normal(0.0, 1.0), 0.0, specimen, "common", "datasheet")
        own = rewriting.add("source", (), name)
        return replace(step, inputs=(own, own), detail=(replace(curve, angle=0.0), name))

    changed = rewriting.case(case, rewriting.copy(change))
    return replace(changed, sources=(*case.sources, *added.values()))
