"""One value made of several estimates, where that was asked for, and how.

What the estimates share, they share in their mean as well: it is neither weighed nor drawn
out. What is their own is weighed by how well each is known, and drawn out where they lie
further apart than it allows.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from effband.case.model import Case, CrossCheck, ErrorSource
from effband.case.program import Program, Step
from effband.evidence.distributions import Normal
from effband.evidence.tables import FloatArray
from effband.propagate.counting import Counts
from effband.propagate.staircase import Interval, Staircase
from effband.propagate.summary import Summary

HALVINGS = 60
APART = "between the estimates"  # no name of the user's holds a blank

Run = Callable[[Case], tuple[Counts, Summary]]


@dataclass(frozen=True)
class Estimate:
    """One member of a cross-check; SI units."""

    name: str
    nominal: float
    summary: Summary

    @property
    def middle(self) -> float:
        """The mean, or the median where there is none."""
        return self.summary.median if self.summary.mean is None else self.summary.mean


@dataclass(frozen=True)
class Combined:
    """One value made of several, SI, and how: the weights, and how much it was drawn out."""

    way: str
    weights: tuple[float, ...]
    drawn_out: float
    mean: float
    standard_uncertainty: float
    interval: Interval


def weighted(
    check: CrossCheck,
    case: Case,
    members: Sequence[Estimate],
    differences: Sequence[Summary],
    run: Run,
) -> Combined:
    """Return the weighted mean, drawn out by Birge's ratio where that is above 1.

    The ratio (R. T. Birge, Physical Review 40, 1932, from memory) is that of what the
    estimates scatter to what their covariance allows; it acts on what is each one's own.

    Parameters
    ----------
    differences
        Of every two members, in the order of `check.pairs`.
    run
        Works out a case with one output.
    """
    means = np.array([member.middle for member in members])
    covariance = _covariance(check, members, differences)
    own = _own(covariance)
    weights = (1 / own) / np.sum(1 / own) if np.all(own > 0.0) else np.full(len(own), 1 / len(own))
    ratio = max(1.0, _birge(means, covariance))
    apart = math.sqrt((ratio**2 - 1.0) * float(np.sum(weights**2 * own)))
    steps: list[Step] = list(case.program.steps)

    def add(op: str, inputs: tuple[int, ...] = (), detail: float | str | None = None) -> int:
        steps.append(Step(op, inputs, detail))
        return len(steps) - 1

    total = add("source", (), APART) if apart else add("constant", (), 0.0)
    for weight, output in zip(weights, check.values, strict=True):
        part = add("multiply", (output.step, add("constant", (), float(weight))))
        total = add("add", (total, part))
    sources = case.sources
    if apart:
        law = Normal(0.0, apart)
        sources = (*sources, ErrorSource(APART, law, 0.0, APART, "stated", "measured"))
    asked = replace(
        case,
        program=Program(tuple(steps)),
        sources=sources,
        outputs=(replace(check.values[0], step=total),),
    )
    _, summary = run(asked)
    return Combined(
        "weighted",
        tuple(float(weight) for weight in weights),
        ratio,
        summary.median if summary.mean is None else summary.mean,
        float(summary.standard_uncertainty or 0.0),
        summary.interval,
    )


def _covariance(
    check: CrossCheck, members: Sequence[Estimate], differences: Sequence[Summary]
) -> FloatArray:
    """Return the covariance of the members, from their uncertainties and their differences'."""
    variances = [float(m.summary.standard_uncertainty or 0.0) ** 2 for m in members]
    found = np.diag(variances)
    for (i, k, _), apart in zip(check.pairs, differences, strict=True):
        between = float(apart.standard_uncertainty or 0.0) ** 2
        found[i, k] = found[k, i] = (variances[i] + variances[k] - between) / 2
    return found


def _own(covariance: FloatArray) -> FloatArray:
    """Return the variance of each member that it does not share with the others, on average."""
    n = len(covariance)
    shared = (covariance.sum(axis=1) - np.diag(covariance)) / (n - 1)
    own: FloatArray = np.maximum(np.diag(covariance) - shared, 0.0)
    return own


def _birge(means: FloatArray, covariance: FloatArray) -> float:
    """Return the root of chi-square about the best mean over its degrees of freedom."""
    ones = np.ones(len(means))
    inverse = np.linalg.pinv(covariance, hermitian=True)
    information = float(ones @ inverse @ ones)
    best = float(ones @ inverse @ means) / information if information > 0.0 else means.mean()
    apart = means - best
    return math.sqrt(max(float(apart @ inverse @ apart), 0.0) / (len(means) - 1))


def mixture(members: Sequence[Estimate], counts: Sequence[Counts], probability: float) -> Combined:
    """Return all members in equal parts: one is right, and nobody knows which."""
    n = len(members)
    mean = math.fsum(member.middle for member in members) / n
    variance = math.fsum(
        float(member.summary.standard_uncertainty or 0.0) ** 2 + (member.middle - mean) ** 2
        for member in members
    )
    stairs = [Staircase(count.total, count) for count in counts]
    tail = (1 - probability) / 2
    ends = (_quantile(stairs, p) for p in (tail, 1 - tail))
    return Combined("mixture", (1 / n,) * n, 1.0, mean, math.sqrt(variance / n), Interval(*ends))


def _quantile(stairs: Sequence[Staircase], p: float) -> float:
    low, high = min(s.edges[0] for s in stairs), max(s.edges[-1] for s in stairs)
    for _ in range(HALVINGS):
        middle = (low + high) / 2
        below = math.fsum(s.share_below(middle) for s in stairs) / len(stairs)
        low, high = (middle, high) if below < p else (low, middle)
    return float(low + high) / 2
