"""The indices once more, by SALib from the same rows: a second opinion on our arithmetic."""

from __future__ import annotations

import numpy as np

from effband.evidence.tables import FloatArray
from effband.problems import ComputationRefused

ALLOWED = 1e-12
WITH = "SALib"


def difference_from_salib(
    a: FloatArray, b: FloatArray, swapped: FloatArray, first: FloatArray, total: FloatArray
) -> FloatArray:
    """Return the largest difference of any index from SALib's, for every output.

    Parameters
    ----------
    a, b, swapped
        Outputs of rows A, B and A with each item's columns of B: shapes (scramblings, rows,
        outputs), the same, and (scramblings, items, rows, outputs).
    first, total
        Our indices of them, shape (scramblings, items, outputs).

    Raises
    ------
    ComputationRefused
        When a difference is above 1e-12.
    """
    from SALib.analyze import sobol

    items, _, outputs = swapped.shape[1:]
    largest = np.zeros(outputs)
    if items == 0:
        return largest
    names = [f"item{i}" for i in range(items)]
    problem = {"num_vars": items, "names": names, "bounds": [[0.0, 1.0]] * items}
    for r in range(len(a)):
        # its order of rows: A, A with one item of B for each item, B; then the next row
        y = np.concatenate([a[r][:, None], swapped[r].transpose(1, 0, 2), b[r][:, None]], axis=1)
        for k in range(outputs):
            if np.ptp(y[:, :, k]) == 0.0:
                continue
            theirs = sobol.analyze(
                problem, y[:, :, k].ravel(), calc_second_order=False, num_resamples=2, seed=1
            )
            apart = [theirs["S1"] - first[r, :, k], theirs["ST"] - total[r, :, k]]
            largest[k] = np.maximum(largest[k], np.max(np.abs(apart)))  # keeps what is no number
    if not np.all(largest <= ALLOWED):
        what = f"the ranking: {WITH} finds other indices from the same rows, by {largest.max():.2g}"
        raise ComputationRefused(what, "do not trust the shares; please report this fault")
    return largest
