"""A summary of every output of a case, with what its sources say of variance."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence

from effband.case.groups import POOL
from effband.case.model import GROUP_SCATTER, Case, ErrorSource, Output
from effband.evidence.dependence import Marginal, Member
from effband.evidence.scatter import ScatterFactor
from effband.propagate.counting import Counts
from effband.propagate.summary import Summary, summarise


def summaries(case: Case, counts: Sequence[Counts], probability: float) -> tuple[Summary, ...]:
    """Return the summary of every output, from its counts."""
    return tuple(
        summarise(count, probability, *fewest_degrees(case, output))
        for count, output in zip(counts, case.outputs, strict=True)
    )


def fewest_degrees(case: Case, output: Output) -> tuple[float, str]:
    """Return the fewest degrees of freedom of anything an output is made of, and its name."""
    used = case.program.sources_of[output.step]
    kinds = {item.name: item.kind for item in case.items}
    found = [
        (source.distribution.degrees_of_freedom, _spoken(source, kinds))
        for source in case.sources
        if source.name in used
    ]
    found += [
        (member.law.degrees_of_freedom, member.family)
        for member in members(case, output)
        if isinstance(member, Marginal)
    ]
    return min(found, default=(math.inf, ""))


def members(case: Case, output: Output) -> Iterator[Member]:
    """Yield what an output is made of that is one of several correlated values."""
    for at in case.program.needed_for([output.step]):
        member = case.program.steps[at].member
        if member is not None:
            yield member


def _spoken(source: ErrorSource, kinds: Mapping[str, str]) -> str:
    """Return the name of a source as a person says it: of a factor of scatter, its item's."""
    if not isinstance(source.distribution, ScatterFactor):
        return source.name
    own = kinds.get(source.item) == GROUP_SCATTER and source.item != POOL
    return "the scatter of a group" if own else source.item
