"""The scatter factor against closed forms, the chi-square law, quadrature and Student's t."""

import itertools
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate, special, stats

from effband.evidence.scatter import ScatterFactor, scatter_table

LEAST, MOST = 2.0**-54, 1.0 - 2.0**-53
DOFS = [1.0, 1.3, 2.0, 2.5, 3.0, 4.0, 9.0, 17.0, 60.0, 1000.0, 1e5, 199_998.0, 200_000.0, 1e6]
each_dof = pytest.mark.parametrize("dof", DOFS)


def dense() -> np.ndarray:
    halves = 2.0 ** -np.arange(1.0, 53.0, 0.13)
    ends = np.arange(1, 100) * 2.0**-53
    below = np.concatenate(([LEAST], ends, halves))
    above = 1.0 - np.concatenate((ends, halves))
    return np.unique(np.concatenate((below, np.linspace(0.001, 0.999, 4001), above)))


P = dense()


def worst(dof: float, expected: np.ndarray) -> float:
    return float(np.max(np.abs(ScatterFactor(dof).quantile(P) / expected - 1.0)))


def test_quantile_of_one_degree_of_freedom():
    # derived: 1 / |Z|
    expected = -1.0 / special.ndtri(0.5 * P[P < 0.5])
    expected = np.append(expected, 1.0 / (math.sqrt(2.0) * special.erfinv(1.0 - P[P >= 0.5])))
    assert worst(1.0, expected) < 1e-9


def test_quantile_of_two_degrees_of_freedom():
    # derived: chi-square of 2 degrees of freedom is exponential
    logs = np.append(np.log(P[P < 0.5]), np.log1p(P[P >= 0.5] - 1.0))
    assert worst(2.0, 1.0 / np.sqrt(-logs)) < 1e-9


@each_dof
def test_quantile_against_chi_square(dof):
    frozen = stats.chi2(dof)
    chi_square = np.where(P < 0.5, frozen.isf(P), frozen.ppf(1.0 - P))
    assert worst(dof, np.sqrt(dof / chi_square)) < 1e-9


@each_dof
def test_quantile_leaves_the_right_tail(dof):
    """The incomplete gamma function itself, not its inverse, at the values returned."""
    w = dof / ScatterFactor(dof).quantile(P) ** 2
    tail = np.where(P < 0.5, P, 1.0 - P)
    found = np.where(P < 0.5, special.gammaincc(dof / 2, w / 2), special.gammainc(dof / 2, w / 2))
    # A step in probability, turned into a relative step of the factor.
    step = np.abs(found - tail) / (2.0 * w * stats.chi2(dof).pdf(w))
    assert float(np.max(step)) < 1e-9


@each_dof
def test_quantile_rises_and_the_cdf_undoes_it(dof):
    law = ScatterFactor(dof)
    assert np.all(np.diff(law.quantile(P)) >= 0.0)
    p = np.concatenate(([1e-12, 1e-6], np.linspace(0.001, 0.999, 41), [1.0 - 1e-6]))
    back = np.array([law.cdf(float(x)) for x in law.quantile(p)])
    assert np.max(np.abs(back / p - 1.0)) < 1e-9
    assert law.support == (0.0, math.inf)
    assert [law.cdf(x) for x in (-1.0, 0.0, 1e-200, 1e-5, 1e200)] == [0.0, 0.0, 0.0, 0.0, 1.0]


@pytest.mark.parametrize("dof", [1.3, 2.0, 2.5, 3.0, 5.0, 17.0, 59.9, 60.0, 61.5, 1000.0, 1e6])
def test_moments_against_quadrature(dof):
    # Over u = log(chi-square / dof), where the density has no end at 0.
    at_one = 0.5 * dof * (math.log(0.5 * dof) - 1.0) - float(special.gammaln(0.5 * dof))

    def moment(power: float) -> float:
        def integrand(u: float) -> float:
            return math.exp(at_one - 0.5 * power * u - 0.5 * dof * (math.expm1(u) - u))

        reach = 12.0 * math.sqrt(2.0 / dof)
        ends = max(-200.0, -reach - 80.0 / (dof - power)), min(8.0, reach)
        points = np.linspace(*ends, 60)
        parts = [integrate.quad(integrand, a, b)[0] for a, b in itertools.pairwise(points)]
        return math.fsum(parts)

    law = ScatterFactor(dof)
    total = moment(0.0)
    mean = moment(1.0) / total
    assert total == pytest.approx(1.0, abs=1e-8)
    assert law.mean == pytest.approx(mean, rel=1e-9)
    if dof <= 2.0:
        assert law.sd is None
    else:
        variance = moment(2.0) / total - mean**2
        # The variance is a difference of numbers near 1 here.
        assert law.sd == pytest.approx(math.sqrt(variance), rel=1e-9 + 1e-14 / variance)


def test_moments_that_do_not_exist():
    assert ScatterFactor(1.0).mean is None
    assert ScatterFactor(1.0).sd is None
    assert ScatterFactor(2.0).mean == pytest.approx(math.sqrt(math.pi), rel=1e-14)  # derived
    assert ScatterFactor(2.0).sd is None


@pytest.mark.parametrize("dof", [1.0, 2.0, 2.5, 4.0, 9.0, 60.0])
def test_normal_times_factor_is_student_by_convolution(dof):
    # derived: P(Z r <= t) is the mean of ndtr(t / r); the trapezoidal rule over normal scores
    z = np.arange(-8.0, 8.0, 1 / 128)
    r = ScatterFactor(dof).quantile(special.ndtr(z))
    weights = np.exp(-0.5 * z**2) / math.sqrt(2.0 * math.pi) / 128
    for t in (-40.0, -5.0, -1.7, -0.3, 0.0, 0.8, 2.4, 12.0):
        found = float(np.sum(weights * special.ndtr(t / r)))
        assert found == pytest.approx(float(special.stdtr(dof, t)), abs=1e-10)


def test_normal_times_factor_is_student_by_simulation():
    rng = np.random.default_rng(20)
    n = 400_000
    product = rng.standard_normal(n) * ScatterFactor(3.0).quantile(rng.random(n))
    for p in (0.025, 0.25, 0.5, 0.8, 0.995):
        share = float(np.mean(product <= special.stdtrit(3.0, p)))
        assert abs(share - p) < 4.0 * math.sqrt(p * (1.0 - p) / n)  # four standard errors


@pytest.mark.parametrize("dof", [1.0, 2.5, 17.0, 1e6])
def test_bits_do_not_depend_on_the_array(dof):
    law = ScatterFactor(dof)
    p = np.clip(np.random.default_rng(7).random(16_700), LEAST, MOST)
    whole = law.quantile(p)
    place = p.copy()
    assert law.quantile(place, place) is place
    assert np.array_equal(place, whole)
    for offset in (0, 1, 3, 5, 15_999):
        for length in (1, 2, 3, 4, 7, 8, 9, 31, 509):
            piece = slice(offset, offset + length)
            assert np.array_equal(law.quantile(p[piece]), whole[piece])
    for step in (2, 3, 17, -1):
        assert np.array_equal(law.quantile(p[::step]), whole[::step])


@settings(max_examples=40, deadline=None)
@given(
    dof=st.floats(1.0, 1e6),
    p=st.one_of(st.floats(LEAST, MOST), st.floats(-53.0, -1.0).map(lambda e: 2.0**e)),
)
def test_quantile_of_any_degrees_of_freedom(dof, p):
    found = float(ScatterFactor(dof).quantile(np.array([p]))[0])
    chi_square = stats.chi2.isf(p, dof) if p < 0.5 else stats.chi2.ppf(1.0 - p, dof)
    assert found == pytest.approx(math.sqrt(dof / chi_square), rel=1e-9)


def test_a_table_is_built_once():
    assert scatter_table(7.0) is scatter_table(7.0)
    assert ScatterFactor(7)._table is scatter_table(7.0)


def test_first_order():
    law = ScatterFactor(8.0)
    assert (law.estimate, law.degrees_of_freedom) == (1.0, 8.0)
    assert law.standard_uncertainty == 0.25  # JCGM 100 E.4.3, from memory
    assert ScatterFactor(1.0).standard_uncertainty == math.sqrt(0.5)
    # derived: with many degrees of freedom the first order is the sd
    assert ScatterFactor(1e6).sd == pytest.approx(math.sqrt(0.5e-6), rel=1e-5)


def test_words():
    start = "factor between the scatter seen and the true one, "
    assert ScatterFactor(1).words(str, str) == start + "1 degree of freedom"
    assert ScatterFactor(2).words(str, str) == start + "2 degrees of freedom"
    assert ScatterFactor(11).words(str, str) == start + "11 degrees of freedom"
    assert ScatterFactor(1.5).words(str, str) == start + "1.5 degrees of freedom"


@pytest.mark.parametrize("dof", [0.999, 0.0, -3.0, math.inf, math.nan])
def test_refused(dof):
    with pytest.raises(ValueError, match="degrees of freedom must be"):
        ScatterFactor(dof)
