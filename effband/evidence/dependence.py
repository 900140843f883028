"""Numbers that go together: a declared correlation, the rows of a sample, one error curve.

A declared coefficient is Pearson's. Each input is a function of a normal score of its own, and
the scores have a coefficient of their own (a Gaussian copula), so that each input keeps its law;
`copula_for` finds the coefficient of the scores.
"""

from __future__ import annotations

import functools
import math
from dataclasses import dataclass

import numpy as np
from scipy import special

from effband.evidence.distributions import Distribution, Lognormal, Normal, StudentT, Truncated
from effband.evidence.instruments import Curve, curve_covariance
from effband.evidence.law import require
from effband.evidence.tables import LAST_BELOW_ONE, FloatArray

_FIRST_ABOVE_ZERO = 2.0**-54
# The tail of a Student t counts far out; beyond 37.5 the normal law leaves floating point.
_END = 37.0
_CELLS_PER_SD = 64
_HIGHEST_ORDER = 256  # even
# Up to here the probability of a score is exact enough for a Student t.
_NEAR = 8.0
_ATTAINED = 1e-9
_VANISHING = 1e-10


class Unattainable(Exception):
    """No coefficient of the scores gives the Pearson coefficient of two inputs.

    Attributes
    ----------
    low, high
        What the two laws can have at most either way.
    """

    def __init__(self, low: float, high: float) -> None:
        self.low, self.high = low, high
        super().__init__(f"the coefficient can only be between {low:.4g} and {high:.4g}")


class NotPossible(Exception):
    """A matrix of coefficients that no set of numbers can have.

    Attributes
    ----------
    i, j
        Indices, i < j, of the pair that is most to blame.
    least
        The least eigenvalue, which is below 0.
    """

    def __init__(self, i: int, j: int, least: float) -> None:
        self.i, self.j, self.least = i, j, least
        super().__init__(f"coefficients contradict each other, most of all that of {i} and {j}")


# -- from Pearson's coefficient to that of the scores ----------------------------------------------


def pearson_of(one: Distribution, other: Distribution, r: float) -> float:
    """Return Pearson's coefficient of two inputs whose normal scores have the coefficient `r`.

    Parameters
    ----------
    one, other : Distribution
        Their laws; each must have a variance.
    r : float
        Coefficient of the normal scores, -1 to 1.

    Returns
    -------
    float
        Rises with `r`; within 1e-6, but less close for a Student t of under 2.1 degrees of freedom.

    Raises
    ------
    ValueError
        If `r` is out of range or a law has no variance.
    """
    require(-1.0 <= r <= 1.0, f"the coefficient must be between -1 and 1, not {r:g}")
    return _Series(one, other).pearson(r)


def copula_for(one: Distribution, other: Distribution, pearson: float) -> float:
    """Return the coefficient of the normal scores that gives a Pearson coefficient.

    Parameters
    ----------
    one, other : Distribution
        Laws of the two inputs; each must have a variance.
    pearson : float
        The declared coefficient.

    Returns
    -------
    float
        -1 to 1; undoes `pearson_of`.

    Raises
    ------
    Unattainable
        If the two laws cannot have this coefficient, with the least and greatest they can have.
    ValueError
        If a law has no variance.
    """
    series = _Series(one, other)
    low, high = series.pearson(-1.0), series.pearson(1.0)
    if not low - _ATTAINED <= pearson <= high + _ATTAINED:
        raise Unattainable(low, high)
    if isinstance(one, Normal) and isinstance(other, Normal):
        return min(1.0, max(-1.0, pearson))
    if pearson >= high or pearson <= low:
        return 1.0 if pearson >= high else -1.0
    below, above = -1.0, 1.0
    while True:  # ends when no number is left between
        r = 0.5 * (below + above)
        excess = series.pearson(r) - pearson
        if excess == 0.0 or r in (below, above):
            return r
        below, above = (below, r) if excess > 0.0 else (r, above)


class _Series:
    """Pearson's coefficient as a power series in the coefficient of the scores (Mehler).

    With a_k and b_k the standardised laws' coefficients of the normalised Hermite polynomials it
    is sum a_k b_k r^k. What is beyond the last order is known in sum at r = -1 and 1; it is
    put at the two orders that follow.
    """

    def __init__(self, one: Distribution, other: Distribution) -> None:
        first, second = _standardised(one), _standardised(other)
        self._same_scores = isinstance(one, Normal) and isinstance(other, Normal)
        terms = [a * b for a, b in zip(_hermite(one), _hermite(other), strict=True)]
        along = float(np.sum(first * second))
        against = float(np.sum(first * second[::-1]))
        even = 0.5 * (along + against) - math.fsum(terms[1::2])
        odd = 0.5 * (along - against) - math.fsum(terms[0::2])
        self._terms = [*terms, odd, even]

    def pearson(self, r: float) -> float:
        if self._same_scores:
            return r
        total = 0.0
        for term in reversed(self._terms):
            total = (total + term) * r
        return min(1.0, max(-1.0, total))


def _scores() -> FloatArray:
    return np.arange(-_END * _CELLS_PER_SD, _END * _CELLS_PER_SD + 1.0) / _CELLS_PER_SD


def _root_weights() -> FloatArray:
    """Square roots of the weights of the trapezoidal rule under the normal law."""
    z = _scores()
    roots: FloatArray = np.exp(-0.25 * z**2) / math.sqrt(_CELLS_PER_SD * math.sqrt(2.0 * math.pi))
    return roots


@functools.lru_cache(maxsize=64)
def _standardised(law: Distribution) -> FloatArray:
    """Return the law's values at the scores, of mean 0 and sd 1, times the roots of the weights."""
    require(law.sd is not None, f"a {law.name} law without a variance cannot be correlated")
    x, root = _values(law, _scores()), _root_weights()
    # The far tails of a law may be huge: weighted first, squared afterwards.
    x *= root
    x -= float(np.sum(x * root)) * root
    x /= math.sqrt(float(np.sum(x * x)))
    return x


@functools.lru_cache(maxsize=64)
def _hermite(law: Distribution) -> tuple[float, ...]:
    """Return the coefficients of the normalised Hermite polynomials from order 1 on."""
    x, z = _standardised(law), _scores()
    below, here = _root_weights(), z * _root_weights()
    found = []
    for order in range(1, _HIGHEST_ORDER + 1):
        found.append(float(np.sum(x * here)))
        below, here = here, (z * here - math.sqrt(order) * below) / math.sqrt(order + 1)
    return tuple(found)


def _values(law: Distribution, z: FloatArray) -> FloatArray:
    """Return a law's values at normal scores, with heavy tails where probabilities would round."""
    x: FloatArray
    if isinstance(law, Normal):
        x = law.centre + law.spread * z
    elif isinstance(law, Lognormal):
        x = law.median * np.exp(law._sigma * z)
    elif isinstance(law, StudentT):
        size = np.abs(z)
        near = -StudentT(0.0, 1.0, law.dof).quantile(special.ndtr(-np.minimum(size, _NEAR)))
        beyond = special.log_ndtr(-_NEAR) - special.log_ndtr(-np.maximum(size, _NEAR))
        # Far out the tail is a power of its probability.
        x = law.location + law.scale * np.sign(z) * near * np.exp(beyond / law.dof)
    elif isinstance(law, Truncated):
        below, kept = law._cut
        lower = special.ndtri(below + kept * special.ndtr(np.minimum(z, 0.0)))
        above = 1.0 - law.base.cdf(law.high)
        upper = -special.ndtri(above + kept * special.ndtr(-np.maximum(z, 0.0)))
        x = np.clip(_values(law.base, np.where(z < 0.0, lower, upper)), *law.support)
    else:
        x = law.quantile(np.clip(special.ndtr(z), _FIRST_ABOVE_ZERO, LAST_BELOW_ONE))
    return x


# -- a matrix of coefficients ----------------------------------------------------------------------


def lower_factor(matrix: FloatArray) -> FloatArray:
    """Return the lower-triangular L with L @ L.T = matrix.

    The order of the operations is fixed, so that the same numbers come out on every machine.

    Parameters
    ----------
    matrix : FloatArray, shape (n, n)
        Coefficients, 1 on the diagonal; symmetric, of which the lower triangle is read.

    Returns
    -------
    FloatArray, shape (n, n)
        Where a number is fixed by those before it, its column is 0.

    Raises
    ------
    NotPossible
        If the matrix is not positive semi-definite, within 1e-10 of a pivot.
    """
    given = [[float(x) for x in row] for row in matrix]
    n = len(given)
    factor = [[0.0] * n for _ in range(n)]
    for j in range(n):
        rest = []
        for i in range(j, n):
            total = given[i][j]
            for k in range(j):
                total -= factor[i][k] * factor[j][k]
            rest.append(total)
        pivot = rest[0]
        if pivot > _VANISHING:
            for i in range(j, n):
                factor[i][j] = rest[i - j] / math.sqrt(pivot)
        # A covariance is at most the root of the product of the variances; a pivot close to
        # vanishing may blow rounding up to that, so the eigenvalues have the last word.
        elif (
            pivot < -_VANISHING or max(map(abs, rest)) > math.sqrt(_VANISHING)
        ) and np.linalg.eigvalsh(matrix)[0] < -_VANISHING:
            raise _blame(matrix)
    return np.array(factor)


def _blame(matrix: FloatArray) -> NotPossible:
    eigenvalues, vectors = np.linalg.eigh(matrix)
    v = vectors[:, 0]
    # Their sum with the diagonal's is the eigenvalue; rounded, so that ties go to the first pair.
    parts = np.round(np.tril(np.outer(v, v) * matrix, -1), 9).T
    i, j = np.unravel_index(int(np.argmin(parts)), parts.shape)
    return NotPossible(int(i), int(j), float(eigenvalues[0]))


# -- members of a set ------------------------------------------------------------------------------


@dataclass(frozen=True)
class Marginal:
    """One member of a set of correlated inputs.

    Attributes
    ----------
    family
        Name of the set.
    index
        Its place in the set, from 0.
    law
        Its own law, SI.
    pearson
        Its row of the declared matrix of Pearson's coefficients.
    """

    family: str
    index: int
    law: Distribution
    pearson: tuple[float, ...]

    def replace(self, z: FloatArray) -> None:
        """Put the input's values in the place of its normal scores."""
        if isinstance(self.law, Normal):
            z *= self.law.spread
            z += self.law.centre
            return
        special.ndtr(z, out=z)
        np.clip(z, _FIRST_ABOVE_ZERO, LAST_BELOW_ONE, out=z)
        self.law.quantile(z, out=z)


@dataclass(frozen=True, eq=False)
class Drawn:
    """One column of a sample whose rows are resampled together.

    Attributes
    ----------
    family
        Name of the sample.
    column
        Name of the column.
    values
        The sample, SI, shape (n,).
    """

    family: str
    column: str
    values: FloatArray

    def replace(self, u: FloatArray) -> None:
        """Put values of the sample in the place of numbers between 0 and 1 that choose the row."""
        u *= self.values.size
        np.take(self.values, u.astype(np.intp), out=u, mode="clip")


Member = Marginal | Drawn | Curve


def covariance(one: Member, other: Member) -> float:
    """Return the covariance of two members of one set, SI.

    Of correlated inputs it is by their standard uncertainties as JCGM 100 takes them (of a Student
    t the scale). Of columns of a sample it is that of the resampled law, divided by n; of readings
    that of their common errors on one instrument's curve.

    Raises
    ------
    ValueError
        If they are not of one kind and one set.
    """
    if isinstance(one, Marginal) and isinstance(other, Marginal):
        require(one.family == other.family, f"{one.family} and {other.family} are two sets")
        sizes = one.law.standard_uncertainty * other.law.standard_uncertainty
        return sizes * one.pearson[other.index]
    if isinstance(one, Drawn) and isinstance(other, Drawn):
        require(one.family == other.family, f"{one.family} and {other.family} are two samples")
        apart = one.values - np.mean(one.values)
        return float(np.mean(apart * (other.values - np.mean(other.values))))
    if isinstance(one, Curve) and isinstance(other, Curve):
        same = one.specimen == other.specimen
        require(same, f"{one.specimen} and {other.specimen} are two instruments")
        return curve_covariance(one, other)
    raise ValueError("a covariance needs two members of one kind")
