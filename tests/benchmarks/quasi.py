"""Goal of quasi-random sampling: how many plain trials give the same accuracy."""

from __future__ import annotations

import inspect
from collections.abc import Callable, Iterator

import numpy as np
import problem
from goals import Goal, say

from effband.propagate.engine import Engine

SEEDS = 20
# (sampling, seed, evaluations) -> an engine ready to run
Factory = Callable[[str, int, int], Engine]


def engine_factory() -> Factory | None:
    """Return how to make an engine of either sampling, or None where there is no quasi yet."""
    if "sampling" not in inspect.signature(Engine).parameters:
        return None

    def make(sampling: str, seed: int, evaluations: int) -> Engine:
        return Engine(
            problem.case(),
            seed,
            evaluations,
            probability=problem.PROBABILITY,
            sampling=sampling,
        )

    return make


def numbers(engine: Engine) -> np.ndarray:
    """Return u and both ends of every output, shape (3, outputs)."""
    found = problem.summaries(engine.run())
    return np.array(
        [
            [s.standard_uncertainty for s in found],
            [s.interval.low for s in found],
            [s.interval.high for s in found],
        ]
    )


def root_mean_square(
    make: Factory, sampling: str, evaluations: int, truth: np.ndarray
) -> np.ndarray:
    """Return the error of u, low end and high end in units of u, over seeds and outputs."""
    found = np.array([numbers(make(sampling, seed, evaluations)) for seed in range(1, SEEDS + 1)])
    errors = (found - truth) / truth[0]
    return np.sqrt((errors**2).mean(axis=(0, 2)))


def evaluations(quick: bool) -> Iterator[Goal]:
    """G10: evaluations of plain sampling for the accuracy of 16 scramblings."""
    make = engine_factory()
    if make is None:
        say("G10  quasi-random sampling: not there yet")
        return
    # other seeds, so that the reference shares no point with what it judges
    many = 16 * 2**16
    nets = [numbers(make("quasi", 100 + seed, many)) for seed in range(5 if quick else SEEDS)]
    truth = np.mean(nets, axis=0)
    scatter = np.std(nets, axis=0, ddof=1).max(axis=1) / len(nets) ** 0.5 / truth[0].max()
    plain = make("random", 99, 4_000_000 if quick else 32_000_000)
    apart = np.abs((numbers(plain) - truth) / truth[0]).max(axis=1)
    say(
        f"     G10 reference: mean of {len(nets)} times 16 x 2^16, one standard uncertainty "
        f"{_three(scatter)} u; apart from {plain.trials:.0e} plain trials by at most "
        f"{_three(apart)} u (u, low end, high end)"
    )
    for log_rows in (12, 14):
        n = 16 * 2**log_rows
        errors = {s: root_mean_square(make, s, n, truth) for s in ("random", "quasi")}
        times = (errors["random"] / errors["quasi"]) ** 2
        each = "; ".join(f"{name} {_three(error)}" for name, error in errors.items())
        say(f"     G10 raw, errors of u, low end, high end, in u: {each}")
        remark = f"{SEEDS} seeds, all outputs"
        what = f"plain evaluations for the same accuracy, 16 x 2^{log_rows}"
        yield Goal("G10", f"{what}, u", times[0], 50.0, True, remark=remark)
        yield Goal("G10", f"{what}, worse end", float(times[1:].min()), 4.0, True)


def _three(values: np.ndarray) -> str:
    return " ".join(f"{value:.1e}" for value in values)
