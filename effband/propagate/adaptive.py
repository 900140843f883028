"""When enough trials are enough: the numerical tolerance of JCGM 101:2008 7.9, corrected.

The standard's rule stops once twice the standard error of the batches' values is within the
tolerance, as soon as after two batches; it then often stops by luck. Here at least `LEAST`
batches are seen and Student's t takes the place of 2. Judged are mean, standard uncertainty,
both ends of the symmetric interval and the width of the shortest one, whose ends settle too
slowly for any such rule. Results are always those of all trials together, never means over
batches, so that a run that stopped by itself equals one that was told the same trials.
(Clauses from memory.)
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np
from scipy import special

from effband.evidence.tables import FloatArray
from effband.propagate.sampling import BATCHES, BLOCK

BATCH = 16_384
LEAST_TRIALS = BATCHES * BLOCK
LEAST = LEAST_TRIALS // BATCH
CONFIDENCE = 0.95
ROUNDING = 1e-12  # relative spread below which a value does not vary
LONG_TAILS = 0.1  # relative scatter of the batches' u beyond which no u settles
MOST_TRIALS = 10_000_000


def batch_numbers(values: FloatArray, probability: float) -> FloatArray:
    """Return mean, u, both ends and the shortest width of every batch in a block.

    Parameters
    ----------
    values
        Of all outputs, shape (outputs, trials).

    Returns
    -------
    FloatArray, shape (batches, outputs, 5)
        An incomplete batch at the end is left out.
    """
    outputs, size = values.shape
    batches = size // BATCH
    y = np.sort(values[:, : batches * BATCH].reshape(outputs, batches, BATCH), axis=2)
    inside = round(probability * BATCH)
    tail = (1 - probability) / 2
    low, high = np.quantile(y, [tail, 1 - tail], axis=2)
    width = (y[:, :, inside:] - y[:, :, : BATCH - inside]).min(axis=2)
    found = np.stack([y.mean(axis=2), y.std(axis=2, ddof=1), low, high, width], axis=2)
    return found.transpose(1, 0, 2)


@dataclass
class Judge:
    """Decides whether a run may stop.

    Parameters
    ----------
    allowed
        The tolerance of an output, by its number and its standard uncertainty so far; SI.
    without_variance
        Numbers of the outputs that have none: of these only the ends and the width count, and
        half the half-width stands for the standard uncertainty. Outputs whose batches show it
        are taken the same way.
    """

    allowed: Callable[[int, float], float]
    without_variance: Sequence[int]
    seen: list[FloatArray] = field(default_factory=list)

    def add(self, numbers: FloatArray) -> None:
        """Take in the numbers of some batches, shape (batches, outputs, 5)."""
        self.seen.extend(numbers)

    def enough(self) -> bool:
        """Return whether all that is judged is known within its tolerance."""
        n = len(self.seen)
        if n < LEAST:
            return False
        found = np.array(self.seen)
        middle = found.mean(axis=0)
        t = float(special.stdtrit(n - 1, (1 + CONFIDENCE) / 2))
        reach = t * found.std(axis=0, ddof=1) / math.sqrt(n)
        for k, (mean, u, low, high, _) in enumerate(middle):
            without = k in self.without_variance or found[:, k, 1].std() > LONG_TAILS * u
            judged = slice(2, 5) if without else slice(0, 5)
            size = (high - low) / 4 if without else u
            if size > ROUNDING * abs(mean) and np.any(
                reach[k, judged] > self.allowed(k, float(size))
            ):
                return False
        return True
