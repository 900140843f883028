"""Repeats of one load: which runs make a group, and how their values make the group's.

Every formula has its own value in each run of a group, and the group's value is a weighted mean
of those, with weights drawn once per trial for all formulas of the group:

    sum of w_j y_j,   w_j = 1/n + r (g_j - mean of g) / sqrt(n (n - 1)),   r = sqrt((n - 1)/W)

g_j standard normal, W chi-square with n - 1 degrees of freedom. That is the scaled t of the
scatter that was seen (JCGM 101 6.4.9, clause from memory), jointly, so that differences and
ratios of results of one group stay right. With `pool: true` the relative scatter of all groups
is taken together. Two runs alone say too little of a scatter: then the declared errors stay.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from effband.case.findings import Findings
from effband.case.format import CaseFile
from effband.case.model import ErrorSource, Group
from effband.case.program import Builder, Spot
from effband.case.text import Path
from effband.evidence.distributions import Normal
from effband.evidence.scatter import ScatterFactor
from effband.problems import nearest

POOL = "pooled scatter"
LEAST_FOR_SCATTER = 3


@dataclass(frozen=True, order=True)
class Repeat:
    """A run as one of its group: what scatters from run to run is left out of its readings."""

    run: str
    group: str


Where = str | Repeat | None


def run_of(where: Where) -> str | None:
    """Return the run that a value belongs to."""
    return where.run if isinstance(where, Repeat) else where


class Groups:
    """The groups of a case.

    Attributes
    ----------
    all
        In the order of the file.
    sources
        What draws their scatter, by name.
    """

    def __init__(self, file: CaseFile, findings: Findings) -> None:
        runs = file.runs
        self.pool = bool(runs and runs.pool)
        self.group_of: dict[str, Group] = {}
        self.all: tuple[Group, ...] = ()
        self.sources: dict[str, ErrorSource] = {}
        for name, members in (runs.groups if runs else {}).items():
            if runs is not None and self._fits(name, members, tuple(runs.rows), findings):
                seen = self.pool or len(members) >= LEAST_FOR_SCATTER
                group = Group(name, tuple(sorted(members)), seen, self.pool)
                self.all += (group,)
                self.group_of.update(dict.fromkeys(members, group))
        if self.pool and len(self.all) < 2 and not findings.problems:
            what = "`pool:` takes the scatter of two groups or more together"
            findings.key_error(("runs", "pool"), what, "name them under `groups:`, or delete it")
        self._draw()

    def _fits(
        self, name: str, members: list[str], runs: tuple[str, ...], findings: Findings
    ) -> bool:
        path: Path = ("runs", "groups", name)
        before = len(findings.problems)
        if name in runs:
            findings.key_error(path, f"{name!r} is already the name of a run", "rename one")
        if len(set(members)) < len(members):
            findings.error(path, "a run stands twice in the group", "name each once")
        elif len(members) < 2:
            findings.error(path, "a group is of two runs or more", "write [full_1, full_2]")
        lost = False
        for member in dict.fromkeys(members):
            if member in findings.broken or (findings.rows_lost and member not in runs):
                lost = True
            elif member not in runs:
                remedy = nearest(member, runs, f"known: {', '.join(runs) or 'none'}")
                findings.error(path, f"no run is called {member!r}", remedy)
            elif member in self.group_of:
                what = f"run {member} stands in the group {self.group_of[member].name} already"
                findings.error(path, what, "a run repeats one load")
        return len(findings.problems) == before and not lost

    def where(self, run: str) -> Where:
        """Return how the values of a run enter its group: with or without their own errors."""
        group = self.group_of.get(run)
        return run if group is None or not group.scatter_seen else Repeat(run, group.name)

    # -- what is drawn -----------------------------------------------------------------------

    def _draw(self) -> None:
        if self.pool:
            degrees = sum(len(group.members) - 1 for group in self.all)
            if self.all:
                self._add(POOL, POOL, ScatterFactor(degrees), 1.0)
            for group in self.all:
                for run in self.runs_for(group):
                    self._add(POOL, f"{POOL}.{group.name}.{run}", Normal(0.0, 1.0), 0.0)
            return
        for group in self.all:
            if group.scatter_seen:
                item = _item(group)
                self._add(item, item, ScatterFactor(len(group.members) - 1), 1.0)
                for run in group.members:
                    self._add(item, f"{item}.{run}", Normal(0.0, 1.0), 0.0)

    def _add(self, item: str, name: str, law: Normal | ScatterFactor, nominal: float) -> None:
        self.sources[name] = ErrorSource(name, law, nominal, item, "scatter", "measured")

    # -- values ------------------------------------------------------------------------------

    def runs_for(self, group: Group) -> tuple[str, ...]:
        """Return the runs whose values are needed for a group's."""
        if not group.pooled:
            return group.members
        return tuple(run for each in self._by_name() for run in each.members)

    def _by_name(self) -> list[Group]:
        """Return all groups, by name: the order of the file is nothing."""
        return sorted(self.all, key=lambda group: group.name)

    def value(self, group: Group, values: Mapping[str, int], builder: Builder, owner: str) -> int:
        """Return the step of a group's value from those of its runs (`runs_for`)."""
        first = values[group.members[0]]
        spot = Spot((), 0, 0, owner)
        maker = _Maker(builder, spot)
        if not group.scatter_seen:
            step = builder.mean([values[run] for run in group.members], spot)
        elif group.pooled:
            step = self._pooled(group, values, maker)
        else:
            step = self._scattered(group, values, maker)
        # a weighted mean is what its members are: a gauge pressure, a temperature in degC
        return builder.add("become", (step, first), None)

    def _scattered(self, group: Group, values: Mapping[str, int], maker: _Maker) -> int:
        """Return y_1 + sum of w_j (y_j - y_1): the weights add up to 1."""
        item, n = _item(group), len(group.members)
        draws = [maker.source(f"{item}.{run}") for run in group.members]
        factor = maker.source(item)
        centre = maker.times(maker.builder.total(draws, maker.spot), 1 / n)
        scale = maker.times(factor, 1 / math.sqrt(n * (n - 1)))
        first = values[group.members[0]]
        parts = [first]
        for draw, run in zip(draws[1:], group.members[1:], strict=True):
            swing = maker.do("multiply", maker.do("subtract", draw, centre), scale)
            weight = maker.do("add", swing, maker.builder.constant(1 / n))
            parts.append(maker.do("multiply", weight, maker.do("subtract", values[run], first)))
        return maker.builder.total(parts, maker.spot)

    def _pooled(self, group: Group, values: Mapping[str, int], maker: _Maker) -> int:
        """Return mean (1 + sum of (y_hj/mean_h - 1) g_hj r / sqrt(n nu)), over all groups h."""
        parts = []
        for other in self._by_name():
            mean = maker.builder.mean([values[run] for run in other.members], maker.spot)
            for run in other.members:
                apart = maker.do("subtract", maker.do("divide", values[run], mean), maker.one)
                draw = maker.source(f"{POOL}.{group.name}.{run}")
                parts.append(maker.do("multiply", apart, draw))
        degrees = sum(len(each.members) - 1 for each in self.all)
        scale = 1 / math.sqrt(len(group.members) * degrees)
        swing = maker.times(
            maker.do("multiply", maker.builder.total(parts, maker.spot), maker.source(POOL)), scale
        )
        mean = maker.builder.mean([values[run] for run in group.members], maker.spot)
        return maker.do("add", mean, maker.do("multiply", mean, swing))


def _item(group: Group) -> str:
    """Return the line of the ranking that a group's own scatter is."""
    return f"scatter of {group.name}"


@dataclass(frozen=True)
class _Maker:
    """Adds plain arithmetic, whose dimensions were checked in the members already."""

    builder: Builder
    spot: Spot

    @property
    def one(self) -> int:
        return self.builder.constant(1.0)

    def do(self, op: str, a: int, b: int) -> int:
        return self.builder.add(op, (a, b), None, self.spot)

    def times(self, step: int, number: float) -> int:
        return self.do("multiply", step, self.builder.constant(number))

    def source(self, name: str) -> int:
        return self.builder.add("source", (), name)
