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
from effband.propagate.engine import Engine
from effband.propagate.sampling import BLOCK
from effband.propagate.summary import half_width

TRIALS = 2 * BLOCK


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
        asked = replace(case, outputs=tuple(case.outputs[k] for k in wanted))
        same, own = (
            [
                half_width(counts, settings.probability)
                for counts in Engine(
                    variant,
                    settings.seed,
                    min(settings.trials, TRIALS),
                    workers,
                    probability=settings.probability,
                    stop=stop,
                ).run()
            ]
            for variant in (_same(asked, specimen), _own(asked, specimen))
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
    steps = []
    for step in case.program.steps:
        curve = _curve_of(step)
        if curve is not None and curve.specimen == specimen:
            step = replace(step, detail=(replace(curve, angle=0.0), ""))
        steps.append(step)
    return replace(case, program=Program(tuple(steps)))


def _own(case: Case, specimen: str) -> Case:
    """Return the case with an error of its own for every reading of an instrument."""
    steps: list[Step] = []
    moved: list[int] = []  # where each step of the program now stands
    added: dict[str, ErrorSource] = {}
    for step in case.program.steps:
        inputs = tuple(moved[i] for i in step.inputs)
        curve = _curve_of(step)
        if curve is not None and curve.specimen == specimen:
            assert isinstance(step.detail, tuple)
            name = f"{specimen} at {step.detail[1]}"
            law = Normal(0.0, 1.0)
            added[name] = ErrorSource(name, law, 0.0, specimen, "common", "datasheet")
            steps.append(Step("source", (), name))
            inputs = (len(steps) - 1, len(steps) - 1)
            step = replace(step, detail=(replace(curve, angle=0.0), name))
        moved.append(len(steps))
        steps.append(replace(step, inputs=inputs))
    outputs = tuple(
        replace(
            output,
            step=moved[output.step],
            ceiling=None if output.ceiling is None else moved[output.ceiling],
        )
        for output in case.outputs
    )
    return replace(
        case,
        program=Program(tuple(steps)),
        outputs=outputs,
        sources=(*case.sources, *added.values()),
    )
