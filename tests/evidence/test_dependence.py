"""Correlated inputs against closed forms, an independent quadrature and simulation."""

import math

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from scipy import integrate, special, stats

from effband.evidence import dependence
from effband.evidence.dependence import (
    Drawn,
    Marginal,
    NotPossible,
    Unattainable,
    copula_for,
    covariance,
    lower_factor,
    pearson_of,
)
from effband.evidence.distributions import (
    Arcsine,
    CountedEvents,
    CurvilinearTrapezoid,
    Exponential,
    Lognormal,
    Normal,
    Rectangular,
    StudentT,
    Trapezoidal,
    Triangular,
    Truncated,
    TwoPieceNormal,
)
from effband.evidence.instruments import Curve, curve_covariance

INF = math.inf
COEFFICIENTS = [-1.0, -0.999, -0.8, -0.3, 0.0, 0.2, 0.5, 0.9, 0.99, 0.9999, 1.0]

# Each law with a quantile function of normal scores that owes nothing to the package.
SIGMA = math.log(10.0) / special.ndtri(0.975)


def scored(frozen):
    return lambda z: np.where(z < 0.0, frozen.ppf(special.ndtr(z)), frozen.isf(special.ndtr(-z)))


def two_piece(z):
    # derived: sides of 2 and 5 keep the shares 2/7 and 5/7
    p, q = special.ndtr(z), special.ndtr(-z)
    lower = 2.0 * special.ndtri(np.minimum(p * 7.0 / 4.0, 0.5))
    return lower - 5.0 * special.ndtri(np.minimum(q * 7.0 / 10.0, 0.5))


def truncated_t(z):
    above = stats.t.sf(-1.0, 3.0)
    return np.where(
        z < 0.0,
        stats.t.ppf(stats.t.cdf(-1.0, 3.0) + above * special.ndtr(z), 3.0),
        stats.t.isf(above * special.ndtr(-z), 3.0),
    )


LAWS = {
    Rectangular(88.0, 92.0): scored(stats.uniform(88.0, 4.0)),
    Triangular(45.0, 54.0, 62.0): scored(stats.triang(9.0 / 17.0, 45.0, 17.0)),
    Triangular(0.0, 0.0, 3.0): scored(stats.triang(0.0, 0.0, 3.0)),
    Trapezoidal(-1.0, 1.0, 0.4): scored(stats.trapezoid(0.3, 0.7, -1.0, 2.0)),
    Arcsine(10.0, 12.0): scored(stats.arcsine(10.0, 2.0)),
    Normal(5.0, 0.1): lambda z: z,
    TwoPieceNormal(54.0, 2.0, 5.0): two_piece,
    StudentT(7.0, 0.05, 3.0): scored(stats.t(3.0)),
    StudentT(7.0, 0.05, 4.6): scored(stats.t(4.6)),
    Lognormal(3.0, 10.0): lambda z: np.exp(SIGMA * z),
    Exponential(3.0): scored(stats.expon()),
    CountedEvents(2): scored(stats.gamma(3.0)),
    Truncated(Normal(5.0, 1.0), 4.0, 7.0): scored(stats.truncnorm(-1.0, 2.0)),
    Truncated(StudentT(0.0, 1.0, 3.0), -1.0, INF): truncated_t,
}
NAMED = [pytest.param(law, score, id=repr(law)) for law, score in LAWS.items()]
# No score that owes nothing to the package, but a mixture of rectangles: see below.
CURVED = CurvilinearTrapezoid(-1.0, 1.0, 0.5)
ALL = [*LAWS, CURVED]


def normal_nodes() -> tuple[np.ndarray, np.ndarray]:
    """Return Gauss-Legendre panels on +-22 with the normal density in the weights."""
    node, weight = np.polynomial.legendre.leggauss(6)
    middles = np.arange(-22.0, 22.0, 0.25) + 0.125
    z = (middles[:, None] + 0.125 * node).ravel()
    return z, np.tile(0.125 * weight, middles.size) * np.exp(-0.5 * z**2) / math.sqrt(2 * math.pi)


def quadrature(first, second, r: float) -> float:
    """Pearson's coefficient by a double integral over two independent normals."""
    z, w = normal_nodes()
    x, y = first(z), second(z)
    mean_x, mean_y = np.sum(w * x), np.sum(w * y)
    spread = math.sqrt(np.sum(w * (x - mean_x) ** 2) * np.sum(w * (y - mean_y) ** 2))
    inner = [
        np.sum(w * (second(np.clip(r * at + math.sqrt(1.0 - r * r) * z, -37, 37)) - mean_y))
        for at in z
    ]
    return float(np.sum(w * (x - mean_x) * inner)) / spread


# -- closed forms ----------------------------------------------------------------------------------


@pytest.mark.parametrize("r", COEFFICIENTS)
def test_rectangular_pair(r):
    # grade correlation of two normals (Kendall and Stuart, from memory)
    found = pearson_of(Rectangular(0.0, 1.0), Rectangular(-3.0, 9.0), r)
    assert found == pytest.approx(6.0 / math.pi * math.asin(r / 2.0), abs=1e-12)


@pytest.mark.parametrize("r", COEFFICIENTS)
@pytest.mark.parametrize(("one", "other"), [(1.5, 1.5), (2.0, 10.0), (10.0, 10.0), (1.01, 300.0)])
def test_lognormal_pair(one, other, r):
    s, t = (math.log(factor) / special.ndtri(0.975) for factor in (one, other))
    expected = math.expm1(r * s * t) / math.sqrt(math.expm1(s * s) * math.expm1(t * t))  # derived
    found = pearson_of(Lognormal(3.0, one), Lognormal(0.1, other), r)
    assert found == pytest.approx(expected, abs=1e-10)


@pytest.mark.parametrize("r", COEFFICIENTS)
def test_normal_with_a_few_others(r):
    normal = Normal(5.0, 0.1)
    assert pearson_of(normal, Normal(0.0, 3.0), r) == r
    # derived, by parts: E[x(Z) Z] = E[x'(Z)], and pearson is r E[x(Z) Z] / sd
    assert pearson_of(normal, Rectangular(0.0, 2.0), r) == pytest.approx(
        r * math.sqrt(3.0 / math.pi), abs=1e-12
    )
    s = math.log(4.0) / special.ndtri(0.975)
    assert pearson_of(Lognormal(2.0, 4.0), normal, r) == pytest.approx(
        r * s / math.sqrt(math.expm1(s * s)), abs=1e-12
    )


def test_normal_and_rectangular_by_an_adaptive_double_integral():
    r = copula_for(Normal(0.0, 1.0), Rectangular(0.0, 1.0), 0.8)
    assert r == pytest.approx(0.8 * math.sqrt(math.pi / 3.0), abs=1e-12)  # 0.8187

    def integrand(b: float, a: float) -> float:
        density = math.exp(-0.5 * (a * a + b * b)) / (2.0 * math.pi)
        return density * a * (math.erf((r * a + math.sqrt(1.0 - r * r) * b) / math.sqrt(2.0)) / 2.0)

    found, _ = integrate.dblquad(integrand, -9.0, 9.0, -9.0, 9.0, epsabs=1e-9)
    assert found * math.sqrt(12.0) == pytest.approx(0.8, abs=1e-7)


# -- independent quadrature ------------------------------------------------------------------------


@pytest.mark.parametrize(("law", "score"), NAMED)
@pytest.mark.parametrize("r", [-0.9, 0.5, 0.95])
def test_against_quadrature(law, score, r):
    assert pearson_of(law, law, r) == pytest.approx(quadrature(score, score, r), abs=2e-6)


@pytest.mark.parametrize(("law", "score"), NAMED)
def test_against_quadrature_with_a_lognormal(law, score):
    other = Lognormal(3.0, 10.0)
    expected = quadrature(score, LAWS[other], -0.7)
    assert pearson_of(law, other, -0.7) == pytest.approx(expected, abs=2e-6)
    assert pearson_of(other, law, -0.7) == pytest.approx(expected, abs=2e-6)


def test_curvilinear_trapezoid_against_its_own_quantiles():
    def score(z):
        return CURVED.quantile(np.clip(special.ndtr(z), 2.0**-54, 1.0 - 2.0**-53))

    for r in (-0.9, 0.5, 0.95):
        assert pearson_of(CURVED, CURVED, r) == pytest.approx(quadrature(score, score, r), abs=2e-6)


@pytest.mark.parametrize("law", [*ALL, StudentT(0.0, 1.0, 2.1)], ids=repr)
def test_the_grid_has_the_moments_of_the_law(law):
    x, weight = dependence._values(law, dependence._scores()), dependence._root_weights() ** 2
    mean = float(np.sum(weight * x))
    assert mean == pytest.approx(law.mean, abs=1e-7 * law.sd)
    assert math.sqrt(np.sum(weight * (x - mean) ** 2)) == pytest.approx(law.sd, rel=1e-7)


@pytest.mark.parametrize("dof", [2.1, 2.5, 3.0, 4.0])
def test_far_tail_of_a_student(dof):
    """The distribution function itself, where the inverse is no longer to be had."""
    z = np.array([-36.0, -20.0, -9.0, -8.5, -7.9, 7.9, 8.5, 9.0, 20.0, 36.0])
    t = dependence._values(StudentT(7.0, 1.0, dof), z) - 7.0
    assert np.array_equal(np.sign(t), np.sign(z))
    tail = 0.5 * special.betainc(0.5 * dof, 0.5, dof / (dof + t**2))
    # A relative step in probability is dof times one of the value.
    assert np.allclose(tail, special.ndtr(-np.abs(z)), rtol=1e-6, atol=0.0)


@pytest.mark.parametrize("dof", [2.1, 2.5])
@pytest.mark.parametrize("r", [0.5, 0.9, 0.999])
def test_heavy_tails(dof, r):
    """The power series with more terms, on a finer grid, with the tail's leading term."""
    z = np.arange(-37.0, 37.0 + 1e-9, 1 / 200)
    size = np.abs(z)
    tail = special.ndtr(-size)
    # derived from the density far out
    far = math.sqrt(dof) * (tail * dof * special.beta(0.5 * dof, 0.5)) ** (-1.0 / dof)
    near = -stats.t.ppf(special.ndtr(-np.minimum(size, 7.5)), dof)
    root = np.exp(-0.25 * z**2) / math.sqrt(200 * math.sqrt(2.0 * math.pi))
    x, below, here = np.sign(z) * np.where(size < 7.5, near, far) * root, root, z * root
    total = 0.0
    for order in range(1, 801):
        total += float(np.sum(x * here)) ** 2 * r**order
        below, here = here, (z * here - math.sqrt(order) * below) / math.sqrt(order + 1)
    law = StudentT(0.0, 1.0, dof)
    assert pearson_of(law, law, r) == pytest.approx(total * (dof - 2.0) / dof, abs=1e-6)


# -- what holds for every pair ---------------------------------------------------------------------


@pytest.mark.parametrize("law", ALL, ids=repr)
def test_a_law_with_itself_reaches_one(law):
    assert pearson_of(law, law, 1.0) == pytest.approx(1.0, abs=1e-12)
    assert copula_for(law, law, 1.0) == 1.0
    assert pearson_of(law, law, 0.0) == 0.0


@pytest.mark.parametrize("law", ALL, ids=repr)
@pytest.mark.parametrize("other", [Normal(0.0, 1.0), Exponential(1.0), Arcsine(0.0, 1.0)], ids=repr)
def test_rises_with_r(law, other):
    r = np.concatenate((np.linspace(-1.0, 1.0, 401), 1.0 - 10.0 ** -np.arange(3.0, 9.0)))
    found = [pearson_of(law, other, x) for x in np.sort(r).tolist()]
    assert np.all(np.diff(found) > 0.0)


@settings(max_examples=60, deadline=None)
@given(one=st.sampled_from(ALL), other=st.sampled_from(ALL), share=st.floats(0.0, 1.0))
def test_copula_for_undoes_pearson_of(one, other, share):
    low, high = pearson_of(one, other, -1.0), pearson_of(one, other, 1.0)
    declared = low + share * (high - low)
    r = copula_for(one, other, declared)
    assert -1.0 <= r <= 1.0
    assert pearson_of(one, other, r) == pytest.approx(declared, abs=1e-12)


def test_limits_of_what_two_laws_can_have():
    s = math.log(10.0) / special.ndtri(0.975)
    most = s / math.sqrt(math.expm1(s * s))  # derived
    with pytest.raises(Unattainable) as refused:
        copula_for(Lognormal(3.0, 10.0), Normal(0.0, 1.0), 0.8)
    assert refused.value.low == pytest.approx(-most, abs=1e-12)
    assert refused.value.high == pytest.approx(most, abs=1e-12)
    assert copula_for(Lognormal(3.0, 10.0), Normal(0.0, 1.0), refused.value.high) == 1.0
    assert copula_for(Lognormal(3.0, 10.0), Normal(0.0, 1.0), refused.value.low) == -1.0
    # derived: two exponentials drawn against each other, 1 - pi**2 / 6
    with pytest.raises(Unattainable) as refused:
        copula_for(Exponential(1.0), Exponential(9.0), -0.65)
    assert refused.value.low == pytest.approx(1.0 - math.pi**2 / 6.0, abs=1e-9)


def test_pearson_of_two_normals_is_kept():
    for pearson in (-1.0, -0.3, 0.0, 0.8, 1.0):
        assert copula_for(Normal(0.0, 1.0), Normal(5.0, 2.0), pearson) == pearson
    with pytest.raises(Unattainable):
        copula_for(Normal(0.0, 1.0), Normal(5.0, 2.0), 1.01)


def test_refused():
    endless = StudentT(0.0, 1.0, 2.0)
    with pytest.raises(ValueError, match="without a variance"):
        pearson_of(endless, Normal(0.0, 1.0), 0.5)
    with pytest.raises(ValueError, match="without a variance"):
        copula_for(Normal(0.0, 1.0), endless, 0.5)
    with pytest.raises(ValueError, match="between -1 and 1"):
        pearson_of(Normal(0.0, 1.0), Normal(0.0, 1.0), 1.1)


# -- the lower factor ------------------------------------------------------------------------------


@settings(max_examples=60, deadline=None)
@given(seed=st.integers(0, 10**6), n=st.integers(1, 12))
def test_lower_factor_against_numpy(seed, n):
    rows = np.random.default_rng(seed).standard_normal((n, 2 * n + 1))
    matrix = np.corrcoef(rows).reshape(n, n)
    found = lower_factor(matrix)
    assert np.array_equal(found, np.tril(found))
    assert np.allclose(found, np.linalg.cholesky(matrix), rtol=0.0, atol=1e-12)


@settings(max_examples=60, deadline=None)
@given(seed=st.integers(0, 10**6), n=st.integers(2, 12), rank=st.integers(1, 4))
@example(seed=42796, n=11, rank=4)  # a pivot that hardly vanishes
def test_lower_factor_of_singular_matrices(seed, n, rank):
    rows = np.random.default_rng(seed).standard_normal((n, min(rank, n - 1)))
    rows /= np.linalg.norm(rows, axis=1)[:, None]
    found = lower_factor(rows @ rows.T)
    assert np.allclose(found @ found.T, rows @ rows.T, rtol=0.0, atol=1e-5)


def test_lower_factor_of_what_is_fixed_by_the_others():
    assert np.array_equal(lower_factor(np.ones((3, 3))), [[1, 0, 0], [1, 0, 0], [1, 0, 0]])
    opposite = np.array([[1.0, -1.0, 0.5], [-1.0, 1.0, -0.5], [0.5, -0.5, 1.0]])
    found = lower_factor(opposite)
    assert np.array_equal(found[:, 1], [0.0, 0.0, 0.0])
    assert np.allclose(found @ found.T, opposite, rtol=0.0, atol=1e-15)


def test_three_that_contradict_each_other():
    matrix = np.array([[1.0, 0.9, 0.9], [0.9, 1.0, -0.9], [0.9, -0.9, 1.0]])
    with pytest.raises(NotPossible) as refused:
        lower_factor(matrix)
    assert refused.value.least == pytest.approx(-0.8)  # derived
    assert (refused.value.i, refused.value.j) == (0, 1)  # all three are alike: the first


def test_the_pair_to_blame():
    matrix = np.eye(5)
    for i, j, r in ((0, 1, 0.2), (1, 3, 0.8), (1, 4, 0.8), (3, 4, -0.9)):
        matrix[i, j] = matrix[j, i] = r
    with pytest.raises(NotPossible) as refused:
        lower_factor(matrix)
    assert (refused.value.i, refused.value.j) == (3, 4)
    assert refused.value.least == pytest.approx(np.linalg.eigvalsh(matrix)[0])
    for i, j, r in ((0, 1, 0.0), (1, 3, -0.3), (1, 4, 0.3), (3, 4, -0.9)):
        matrix[i, j] = matrix[j, i] = r
    assert np.allclose(lower_factor(matrix), np.linalg.cholesky(matrix))


@pytest.mark.parametrize("matrix", [[[1.0, 1.01], [1.01, 1.0]], [[1.0, 1.0, 0.2], [1.0, 1.0, 0.3]]])
def test_slightly_impossible(matrix):
    square = np.eye(len(matrix[0]))
    for i, row in enumerate(matrix):
        square[i, : len(row)] = square[: len(row), i] = row
    with pytest.raises(NotPossible) as refused:
        lower_factor(square)
    assert refused.value.i < refused.value.j
    assert refused.value.least < 0.0


# -- members of a set ------------------------------------------------------------------------------


@pytest.mark.parametrize("law", ALL, ids=repr)
def test_marginal_replaces_scores_by_values(law):
    z = np.concatenate((np.linspace(-6.0, 6.0, 1001), [-40.0, -9.0, 9.0, 40.0]))
    values = z.copy()
    Marginal("set", 0, law, (1.0,)).replace(values)
    assert np.all(np.isfinite(values))
    assert np.all(np.diff(values[:1001]) >= 0.0)
    back = np.array([law.cdf(float(x)) for x in values[200:801:60]])
    assert np.allclose(back, special.ndtr(z[200:801:60]), rtol=1e-6, atol=1e-9)
    assert values[-2] == pytest.approx(values[-1]) or isinstance(law, Normal)


def test_marginal_of_a_normal_keeps_every_score():
    z = np.array([-40.0, -1.5, 0.0, 2.0, 40.0])
    Marginal("set", 0, Normal(5.0, 0.5), (1.0,)).replace(z)
    assert z.tolist() == [-15.0, 4.25, 5.0, 6.0, 25.0]


def test_bits_of_a_marginal_do_not_depend_on_the_array():
    member = Marginal("set", 0, StudentT(7.0, 0.05, 4.6), (1.0,))
    z = np.random.default_rng(3).standard_normal(20_000)
    whole = z.copy()
    member.replace(whole)
    for piece in (slice(1, 2), slice(3, 700), slice(None, None, 3), slice(None, None, -1)):
        part = z.copy()
        member.replace(part[piece])
        assert np.array_equal(part[piece], whole[piece])


def test_a_set_has_the_declared_coefficients():
    """From declared coefficients to values: all of the machinery, by simulation."""
    laws = (Lognormal(3.0, 2.0), Rectangular(0.0, 1.0), Exponential(2.0))
    declared = np.array([[1.0, 0.6, -0.4], [0.6, 1.0, -0.5], [-0.4, -0.5, 1.0]])
    scores = np.eye(3)
    for i, j in ((1, 0), (2, 0), (2, 1)):
        scores[i, j] = scores[j, i] = copula_for(laws[i], laws[j], declared[i, j])
    n = 400_000
    values = lower_factor(scores) @ np.random.default_rng(11).standard_normal((3, n))
    for i, law in enumerate(laws):
        Marginal("set", i, law, tuple(declared[i])).replace(values[i])
    standard = (values - np.array([[law.mean] for law in laws])) / [[law.sd] for law in laws]
    for i, j in ((1, 0), (2, 0), (2, 1)):
        product = standard[i] * standard[j]
        assert abs(product.mean() - declared[i, j]) < 4.0 * product.std() / math.sqrt(n)


def test_drawn_takes_every_row_equally_often():
    values = np.array([5.0, -1.0, 2.5, 7.0, 7.5])
    u = (np.arange(10_000) + 0.5) / 10_000
    Drawn("sample", "x", values).replace(u)
    assert [int(np.sum(u == x)) for x in values] == [2000] * 5
    u = np.random.default_rng(4).random(100_000)
    Drawn("sample", "x", values).replace(u)
    for x in values:  # four standard errors
        assert abs(np.mean(u == x) - 0.2) < 4.0 * math.sqrt(0.2 * 0.8 / 100_000)


def test_drawn_at_the_ends_and_on_strides():
    values = np.array([5.0, -1.0, 2.5])
    u = np.array([2.0**-54, 1 / 3 - 1e-9, 1 / 3 + 1e-9, 0.9, 1.0 - 2.0**-53, 1.0])
    Drawn("sample", "x", values).replace(u)
    assert u.tolist() == [5.0, 5.0, -1.0, 2.5, 2.5, 2.5]
    u = np.array([0.1, 0.5, 0.5, 0.5, 0.9, 0.5])
    Drawn("sample", "x", values).replace(u[::2])
    assert u.tolist() == [5.0, 0.5, -1.0, 0.5, 2.5, 0.5]


def test_columns_drawn_together_keep_their_rows():
    rng = np.random.default_rng(5)
    x, y = rng.random(50), rng.random(50)
    u = rng.random(4000)
    first, second = u.copy(), u.copy()
    Drawn("sample", "x", x).replace(first)
    Drawn("sample", "y", y).replace(second)
    assert set(zip(first, second, strict=True)) <= set(zip(x, y, strict=True))


def test_covariance_of_columns():
    x, y = np.random.default_rng(6).standard_normal((2, 40)) + 300.0
    expected = np.cov(x, y, ddof=0)
    one, other = Drawn("sample", "x", x), Drawn("sample", "y", y)
    assert covariance(one, other) == pytest.approx(expected[0, 1], rel=1e-12)
    assert covariance(one, one) == pytest.approx(expected[0, 0], rel=1e-12)


def test_covariance_of_marginals():
    one = Marginal("set", 0, Normal(5.0, 0.5), (1.0, 0.8))
    other = Marginal("set", 1, Rectangular(0.0, 6.0), (0.8, 1.0))
    assert covariance(one, other) == pytest.approx(0.5 * math.sqrt(3.0) * 0.8, rel=1e-15)
    assert covariance(other, one) == covariance(one, other)
    assert covariance(other, other) == pytest.approx(3.0, rel=1e-15)
    repeats = Marginal("set", 0, StudentT(7.0, 0.2, 4.0), (1.0, 0.8))
    assert covariance(repeats, repeats) == pytest.approx(0.04, rel=1e-15)  # of the scale


def test_covariance_of_readings():
    one, other = Curve("gauge", 0.2, 0.1), Curve("gauge", 0.3, 0.9)
    assert covariance(one, other) == curve_covariance(one, other)


@pytest.mark.parametrize(
    ("one", "other", "message"),
    [
        (
            Marginal("a", 0, Normal(0.0, 1.0), (1.0,)),
            Marginal("b", 0, Normal(0.0, 1.0), (1.0,)),
            "two sets",
        ),
        (Drawn("a", "x", np.ones(2)), Drawn("b", "x", np.ones(2)), "two samples"),
        (Curve("a", 0.2, 0.1), Curve("b", 0.2, 0.1), "two instruments"),
        (Curve("a", 0.2, 0.1), Drawn("a", "x", np.ones(2)), "one kind"),
    ],
    ids=str,
)
def test_covariance_of_strangers_is_refused(one, other, message):
    with pytest.raises(ValueError, match=message):
        covariance(one, other)
