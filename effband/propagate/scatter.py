"""Whether a group of repeated runs scatters as its declared errors say.

The scatter of the runs' values, as written, beside what their declared errors would give at
first order; what the runs share cancels. With two runs the limit is |y1 - y2| = 1.96 sqrt(2) u,
with more the corresponding one of the chi-square law.
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Sequence
from dataclasses import dataclass

from scipy import special

from effband.case.model import GROUP_SCATTER, Case, Group, Output
from effband.propagate.linear import Linear

CHANCE = 0.05  # of a warning where the declared errors are right


@dataclass(frozen=True)
class Scatter:
    """The runs of one group, for one result; in SI units.

    Attributes
    ----------
    output
        The group's value.
    seen
        Standard deviation of the runs' values as written.
    declared
        What their declared errors make them scatter by, at first order.
    step_declared
        Whether the step of a display stands in the group's value.
    middle
        Mean of the runs' values as written.
    """

    output: Output
    group: Group
    seen: float
    declared: float
    step_declared: bool
    middle: float

    @property
    def more_than_declared(self) -> bool:
        """Whether the runs scatter by more than their declared errors explain."""
        degrees = len(self.group.members) - 1
        limit = math.sqrt(float(special.chdtri(degrees, CHANCE)) / degrees)
        return self.seen > limit * self.declared

    @property
    def hidden(self) -> bool:
        """Whether no scatter shows where some was declared."""
        declared = self.declared > 0.0 and not self.step_declared
        return self.group.scatter_seen and declared and self.seen <= 1e-9 * self.declared

    @property
    def relative_means_nothing(self) -> bool:
        """Whether a relative scatter was pooled of values too near to 0."""
        return self.group.pooled and abs(self.middle) < 4 * self.seen


def scatters(case: Case, nominal: Sequence[float]) -> tuple[Scatter, ...]:
    """Return the scatter of every group and result; `nominal` are the outputs as written, SI."""
    if not case.groups:
        return ()
    linear = Linear(case)
    sources_of = case.program.sources_of
    drawn_for_groups = {
        name for item in case.items if item.kind == GROUP_SCATTER for name in item.sources
    }
    at = {(output.target.name, output.run): k for k, output in enumerate(case.outputs)}
    found = []
    for output in case.outputs:
        if output.group is None:
            continue
        places = [at.get((output.target.name, run)) for run in output.group.members]
        runs = [k for k in places if k is not None]
        if len(runs) < len(places):
            continue
        declared = linear.scatter([case.outputs[k].step for k in runs])
        if declared is not None:
            seen = statistics.stdev(nominal[k] for k in runs)
            of_runs = frozenset().union(*(sources_of[case.outputs[k].step] for k in runs))
            step = sources_of[output.step] - of_runs - drawn_for_groups
            middle = statistics.fmean(nominal[k] for k in runs)
            found.append(Scatter(output, output.group, seen, declared, bool(step), middle))
    return tuple(found)
