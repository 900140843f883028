"""The laws against scipy.stats, root-finding, quadrature and remembered values of the standard."""

import math
import pickle
import subprocess
import sys

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate, optimize, special, stats

from effband.evidence.distributions import (
    Arcsine,
    CountedEvents,
    CurvilinearTrapezoid,
    Distribution,
    Exponential,
    Lognormal,
    Normal,
    Rectangular,
    StudentT,
    Trapezoidal,
    Triangular,
    Truncated,
    TwoPieceNormal,
    unit_shape,
)

INF = math.inf
LEAST, MOST = 2.0**-54, 1.0 - 2.0**-53
SIGMA_OF_FACTOR_2 = math.log(2.0) / special.ndtri(0.975)


def dense(middle: int = 4001) -> np.ndarray:
    halves = 2.0 ** -np.arange(1.0, 53.0, 0.13)
    ends = np.arange(1, 100) * 2.0**-53
    below = np.concatenate(([LEAST], ends - LEAST, ends, halves))
    above = 1.0 - np.concatenate((ends, halves))
    return np.unique(np.concatenate((below, np.linspace(0.001, 0.999, middle), above)))


P = dense()

LAWS = [
    Rectangular(88.0, 92.0),
    Triangular(45.0, 54.0, 62.0),
    Triangular(0.0, 0.0, 3.0),
    Triangular(-3.0, 0.0, 0.0),
    Trapezoidal(-1.0, 1.0, 0.4),
    Trapezoidal(0.0, 2.0, 0.0),
    Trapezoidal(0.0, 2.0, 1.0),
    Arcsine(10.0, 12.0),
    Arcsine(0.1, 0.7),
    CurvilinearTrapezoid(-1.0, 1.0, 0.5),
    CurvilinearTrapezoid(0.0, 10.0, 4.999),
    Normal(5.0, 0.1),
    TwoPieceNormal(54.0, 4.0, 7.0),
    StudentT(7.72, 0.05, 1.0),
    StudentT(7.72, 0.05, 5.0),
    Lognormal(3.0, 1.5),
    CountedEvents(0),
    CountedEvents(240),
    CountedEvents(1_000_000),
    Exponential(3.0),
    Truncated(Normal(5.0, 1.0), 4.0, 7.0),
    Truncated(Normal(0.0, 1.0), -1.375, INF),
    Truncated(StudentT(5.0, 1.0, 3.0), 4.0, INF),
    Truncated(Lognormal(3.0, 2.0), -INF, 4.0),
]
each_law = pytest.mark.parametrize("law", LAWS, ids=repr)


def reference(frozen, p: np.ndarray) -> np.ndarray:
    return np.where(p < 0.5, frozen.ppf(p), frozen.isf(1.0 - p))


def worst(law: Distribution, expected: np.ndarray, scale: float, p: np.ndarray = P) -> float:
    error = np.abs(law.quantile(p) - expected)
    return float(np.max(error / np.maximum(scale, np.abs(expected))))


@pytest.mark.parametrize(
    ("law", "frozen", "scale"),
    [
        (Normal(5.0, 0.1), stats.norm(5.0, 0.1), 0.1),
        (Rectangular(-0.1, 0.3), stats.uniform(-0.1, 0.4), 0.4),
        (Triangular(1.0, 1.6, 3.0), stats.triang(0.3, 1.0, 2.0), 2.0),
        (Triangular(1.0, 1.0, 3.0), stats.triang(0.0, 1.0, 2.0), 2.0),
        (Triangular(1.0, 3.0, 3.0), stats.triang(1.0, 1.0, 2.0), 2.0),
        (Trapezoidal(0.0, 2.0, 0.4), stats.trapezoid(0.3, 0.7, 0.0, 2.0), 2.0),
        (Trapezoidal(0.0, 2.0, 0.0), stats.trapezoid(0.5, 0.5, 0.0, 2.0), 2.0),
        (Trapezoidal(0.0, 2.0, 1.0), stats.trapezoid(0.0, 1.0, 0.0, 2.0), 2.0),
        (Arcsine(10.0, 12.0), stats.arcsine(10.0, 2.0), 2.0),
        (Lognormal(3.0, 2.0), stats.lognorm(SIGMA_OF_FACTOR_2, 0.0, 3.0), 1.0),
        (Exponential(3.0), stats.expon(0.0, 3.0), 3.0),
        (Truncated(Normal(1.0, 2.0), 0.0, 4.0), stats.truncnorm(-0.5, 1.5, 1.0, 2.0), 2.0),
        (Truncated(Normal(1.0, 2.0), -INF, 4.0), stats.truncnorm(-INF, 1.5, 1.0, 2.0), 2.0),
    ],
    ids=repr,
)
def test_closed_quantile(law, frozen, scale):
    assert worst(law, reference(frozen, P), scale) < 1e-9


@pytest.mark.parametrize("dof", [0.25, 0.6, 1.0, 1.5, 2.0, 3.0, 5.0, 18.0, 1000.0, 1e7, 1e15])
def test_student_quantile(dof):
    frozen = stats.t(dof, 7.0, 0.5)
    assert worst(StudentT(7.0, 0.5, dof), reference(frozen, P), 0.5) < 1e-9


def test_student_with_endless_degrees_of_freedom_is_normal():
    assert worst(StudentT(0.0, 1.0, 1e15), Normal(0.0, 1.0).quantile(P), 1.0) < 1e-12


@pytest.mark.parametrize("events", [0, 1, 5, 240, 99_999, 100_000])
def test_counted_events_quantile(events):
    expected = reference(stats.gamma(events + 1.0), P)
    assert worst(CountedEvents(events), expected, math.sqrt(events + 1.0)) < 1e-9


@pytest.mark.parametrize("events", [100_000, 1_000_000, 10**9, 10**15])
@pytest.mark.parametrize("p", [LEAST, 1e-9, 0.02, 0.5, 0.9, 1.0 - 1e-9])
def test_many_counted_events_against_quadrature(events, p):
    # The log density about the mode, by Stirling's series: no large terms cancel. Where the
    # common routines fail (lower tail of large shapes) this still holds.
    def density(z: float) -> float:
        u = z / math.sqrt(events)
        bend = -0.5 * u**2 + u**3 / 3 - u**4 / 4 + u**5 / 5 if abs(u) < 1e-3 else math.log1p(u) - u
        log = events * bend - 0.5 * math.log(2.0 * math.pi) - 1.0 / (12.0 * events)
        return math.exp(log) if log > -700.0 else 0.0

    x = float(CountedEvents(events).quantile(np.array([p]))[0])
    z = (x - events) / math.sqrt(events)
    tail, start = (p, -min(math.sqrt(events), 12.0)) if p < 0.5 else (1.0 - p, 14.0)
    found = abs(integrate.quad(density, start, z, epsabs=0.0, epsrel=1e-12, limit=200)[0])
    # A relative step in probability, turned into standard deviations of the value.
    step = abs(found - tail) / density(z)
    assert step < max(1e-9, 4.0 * np.spacing(x) / math.sqrt(events))
    law_tail = CountedEvents(events).cdf(x) if p < 0.5 else 1.0 - CountedEvents(events).cdf(x)
    assert law_tail == pytest.approx(tail, rel=1e-6 + 40 * np.spacing(x) / math.sqrt(events))


@pytest.mark.parametrize("inexact", [1e-9, 0.01, 0.5, 0.9, 0.999, 0.9999999])
def test_curvilinear_trapezoid_quantile(inexact):
    law = CurvilinearTrapezoid(-1.0, 1.0, inexact)
    outer, inner = 1.0 + inexact, 1.0 - inexact
    height = math.log1p(2.0 * inexact / inner) / (4.0 * inexact)

    def value(q: float) -> float:
        if q >= 0.5 - inner * height:
            return -(0.5 - q) / height
        c = 4.0 * inexact * q / outer

        def excess(e: float) -> float:
            small = e**2 / 2 + e**3 / 6 + e**4 / 12
            return (small if e < 1e-5 else e + (1.0 - e) * math.log1p(-e)) - c

        return outer * (optimize.brentq(excess, 0.0, 1.0 - 1e-16, xtol=1e-15, rtol=1e-14) - 1.0)

    p = np.concatenate((P[:: P.size // 300], [LEAST, 0.5 - inner * height, MOST]))
    expected = np.array([value(q) if q <= 0.5 else -value(1.0 - q) for q in p])
    assert worst(law, expected, 1.0, p) < 1e-9


@pytest.mark.parametrize("inexact", [0.05, 0.5, 0.95])
def test_curvilinear_trapezoid_is_a_mixture_of_rectangles(inexact):
    law = CurvilinearTrapezoid(3.0, 5.0, inexact)
    for x in (3.0 - 0.9 * inexact, 3.0, 3.4, 4.0, 4.8, 5.0 + 0.5 * inexact):

        def share(e: float, x: float = x) -> float:
            return min(max((x - 3.0 + e) / (2.0 + 2.0 * e), 0.0), 1.0)

        kink = [k for k in (3.0 - x, x - 5.0) if abs(k) < inexact]
        found = integrate.quad(share, -inexact, inexact, points=kink or None, epsabs=1e-13)[0]
        assert law.cdf(x) == pytest.approx(found / (2.0 * inexact), abs=1e-11)


@pytest.mark.parametrize(("s1", "s2"), [(4.0, 7.0), (1.0, 1e-3), (1e-6, 1.0)])
def test_two_piece_normal_quantile(s1, s2):
    law = TwoPieceNormal(54.0, s1, s2)

    def density(t: float) -> float:
        return math.exp(-0.5 * (t / (s1 if t < 0.0 else s2)) ** 2) / (s1 + s2)

    total = math.sqrt(2.0 / math.pi)
    for p in (LEAST, 1e-9, 0.01, 0.3, 0.5, 0.9, 1.0 - 1e-6):
        x = float(law.quantile(np.array([p]))[0]) - 54.0
        side = -40.0 * s1 if x < 0.0 else 40.0 * s2
        parts = integrate.quad(density, x, side, epsabs=0.0, epsrel=1e-11, limit=300)
        tail = total * abs(parts[0])
        wanted = p if x < 0.0 else 1.0 - p
        assert abs(tail - wanted) <= 1e-9 * 54.0 * total * density(x) + 1e-9 * wanted
    assert law.quantile(np.array([s1 / (s1 + s2)]))[0] == pytest.approx(54.0, abs=1e-12)
    even = TwoPieceNormal(5.0, 0.1, 0.1).quantile(P)
    assert np.allclose(even, Normal(5.0, 0.1).quantile(P), rtol=1e-13, atol=0.0)


@each_law
def test_quantile_undoes_cdf(law):
    p = np.concatenate(([1e-12, 1e-6], np.linspace(0.01, 0.99, 23), [1.0 - 1e-6]))
    back = np.array([law.cdf(float(x)) for x in law.quantile(p)])
    # A rounding of x moves a steep distribution function, so measure along x as well.
    again = law.quantile(np.clip(back, LEAST, MOST))
    assert np.allclose(again, law.quantile(p), rtol=1e-8, atol=1e-8)
    rounding = np.spacing(np.max(np.abs(law.quantile(p)))) / law.standard_uncertainty
    assert np.max(np.abs(back - p)) < 1e-9 + 10.0 * math.sqrt(rounding)


@each_law
def test_quantile_rises_and_keeps_inside(law):
    x = law.quantile(P)
    low, high = law.support
    assert np.all(np.isfinite(x))
    assert np.all(np.diff(x) >= -4.0 * np.spacing(np.abs(x[1:])))
    assert low <= x[0] < x[-1] <= high
    assert law.cdf(-INF) == law.cdf(low) == 0.0
    assert law.cdf(INF) == law.cdf(high) == 1.0


@each_law
def test_bits_do_not_depend_on_the_array(law):
    rng = np.random.default_rng(7)
    p = np.clip(rng.random(16_000 + 700), LEAST, MOST)
    p[rng.integers(p.size, size=40)] = rng.choice(P, 40)
    whole = law.quantile(p)

    place = p.copy()
    assert law.quantile(place, place) is place
    assert np.array_equal(place, whole)

    for offset in (0, 1, 2, 3, 5, 15_999):
        for length in (1, 2, 3, 4, 7, 8, 9, 31, 509):
            piece = slice(offset, offset + length)
            assert np.array_equal(law.quantile(p[piece]), whole[piece])
    for step in (2, 3, 17, -1):
        assert np.array_equal(law.quantile(p[::step]), whole[::step])
        strided = p.copy()
        view = strided[::step]
        assert law.quantile(view, view) is view
        assert np.array_equal(view, whole[::step])
    square = np.asfortranarray(p[:8100].reshape(90, 90))
    assert np.array_equal(law.quantile(square), whole[:8100].reshape(90, 90))
    assert np.array_equal(law.quantile(square, square), whole[:8100].reshape(90, 90))
    odd = np.frombuffer(bytearray(8 * 300 + 1), offset=1)
    assert np.array_equal(law.quantile(p[:300], odd), whole[:300])
    assert law.quantile(p[:0]).size == 0


@settings(max_examples=60, deadline=None)
@given(
    law=st.sampled_from(LAWS),
    cuts=st.lists(st.integers(0, 600), max_size=6),
    seed=st.integers(0, 2**32 - 1),
)
def test_chunks_do_not_matter(law, cuts, seed):
    p = np.clip(np.random.default_rng(seed).random(600), LEAST, MOST)
    whole = law.quantile(p)
    for start, stop in zip([0, *sorted(cuts)], [*sorted(cuts), 600], strict=True):
        law.quantile(p[start:stop], p[start:stop])
    assert np.array_equal(p, whole)


# Values from memory of the standard (JCGM 101:2008 6.4 and Table 1), confirmed by recomputation.
REMEMBERED = [
    (Rectangular(-1.0, 1.0), 0.0, 0.57735026919),
    (Triangular(-1.0, 0.0, 1.0), 0.0, 0.408248290464),
    (Trapezoidal(-1.0, 1.0, 0.4), 0.0, 0.439696865276),
    (CurvilinearTrapezoid(-1.0, 1.0, 0.5), 0.0, 0.600925212577),
    (Exponential(3.0), 3.0, 3.0),
    (StudentT(0.0, 1.0 / math.sqrt(10.0), 9.0), 0.0, 0.3585685828),
]


@pytest.mark.parametrize(("law", "mean", "sd"), REMEMBERED, ids=repr)
def test_remembered_standard_deviations(law, mean, sd):
    assert law.mean == pytest.approx(mean, abs=1e-12)
    assert law.sd == pytest.approx(sd, rel=1e-9)


def test_remembered_arcsine_is_printed_to_two_digits():
    assert Arcsine(-0.5, 0.5).sd == pytest.approx(0.35, abs=0.005)
    assert Arcsine(-0.5, 0.5).sd == pytest.approx(0.5 / math.sqrt(2.0), rel=1e-15)


@pytest.mark.parametrize(
    "law",
    [
        *(law for law, _, _ in REMEMBERED),
        Arcsine(-0.5, 0.5),
        Triangular(45.0, 54.0, 62.0),
        CurvilinearTrapezoid(0.0, 10.0, 4.9),
        Normal(5.0, 0.1),
        TwoPieceNormal(54.0, 4.0, 7.0),
        Lognormal(3.0, 1.5),
        CountedEvents(5),
        CountedEvents(1_000_000),
    ],
    ids=repr,
)
def test_moments_by_integrating_the_quantile(law):
    z = np.linspace(-8.2, 8.2, 100_001)
    weight = np.exp(-0.5 * z**2)
    weight /= weight.sum()
    x = law.quantile(special.ndtr(z))
    mean = float(np.sum(weight * x))
    sd = math.sqrt(float(np.sum(weight * (x - mean) ** 2)))
    assert law.mean == pytest.approx(mean, abs=1e-7 * sd)
    assert law.sd == pytest.approx(sd, rel=1e-7)
    if not isinstance(law, StudentT):
        assert law.standard_uncertainty == law.sd
        assert law.degrees_of_freedom == INF


def test_student_moments_and_uncertainty():
    law = StudentT(7.72, 0.05, 5.0)
    assert (law.standard_uncertainty, law.degrees_of_freedom) == (0.05, 5.0)
    assert law.sd == pytest.approx(0.05 * math.sqrt(5.0 / 3.0))
    assert (StudentT(1.0, 1.0, 2.0).mean, StudentT(1.0, 1.0, 2.0).sd) == (1.0, None)
    assert (StudentT(1.0, 1.0, 1.0).mean, StudentT(1.0, 1.0, 1.0).sd) == (None, None)
    assert StudentT(1.0, 1.0, 1.0).standard_uncertainty == 1.0


@pytest.mark.parametrize("law", [x for x in LAWS if x.mean is not None], ids=repr)
def test_middle_of_symmetric_laws_is_exact(law):
    symmetric = isinstance(law, (Rectangular, Trapezoidal, Arcsine, CurvilinearTrapezoid))
    if symmetric or isinstance(law, (Normal, StudentT)):
        assert law.quantile(np.array([0.5]))[0] == law.mean


@pytest.mark.parametrize(
    ("low", "high"), [(0.0, 4.0), (-INF, 4.0), (0.0, INF), (-9.0, 30.0), (5.0, INF), (-1.0, 1.1)]
)
def test_truncated_normal_moments(low, high):
    law = Truncated(Normal(1.0, 2.0), low, high)
    frozen = stats.truncnorm((low - 1.0) / 2.0, (high - 1.0) / 2.0, 1.0, 2.0)
    assert law.mean == pytest.approx(frozen.mean(), abs=1e-8)
    assert law.sd == pytest.approx(frozen.std(), rel=1e-8)
    kept = stats.norm(1.0, 2.0).cdf(high) - stats.norm(1.0, 2.0).cdf(low)
    assert law.removed == pytest.approx(1.0 - kept, abs=1e-14)


@pytest.mark.parametrize("dof", [2.1, 3.0, 9.0, 40.0])
@pytest.mark.parametrize(("low", "high"), [(0.5, INF), (-INF, 3.0), (0.0, 2.0)])
def test_truncated_student_moments(dof, low, high):
    law = Truncated(StudentT(1.0, 0.8, dof), low, high)
    density = stats.t(dof, 1.0, 0.8).pdf

    def moment(power: int, centre: float) -> float:
        def over(a: float, b: float) -> float:
            def integrand(x: float) -> float:
                return float((x - centre) ** power * density(x))

            return float(integrate.quad(integrand, a, b, epsrel=1e-10, limit=200)[0])

        # An endless tail goes over to u = ln x, where even x**-1.1 falls off exponentially.
        tail = 0.0
        if not math.isfinite(low + high):
            sign = 1.0 if high == INF else -1.0

            def integrand(u: float) -> float:
                x = 1.0 + sign * math.exp(u)
                return float((x - centre) ** power * density(x) * math.exp(u))

            tail = float(integrate.quad(integrand, math.log(9.0), 330.0, limit=500)[0])
        return tail + over(max(low, -8.0), min(high, 10.0))

    kept = moment(0, 0.0)
    mean = moment(1, 0.0) / kept
    assert law.mean == pytest.approx(mean, rel=1e-6)
    assert law.sd == pytest.approx(math.sqrt(moment(2, mean) / kept), rel=1e-6)


def test_truncated_moments_that_do_not_exist():
    wild = StudentT(1.0, 1.0, 1.0)
    assert (Truncated(wild, 0.0, INF).mean, Truncated(wild, 0.0, INF).sd) == (None, None)
    half = Truncated(StudentT(1.0, 1.0, 1.5), -INF, 2.0)
    assert half.mean is not None
    assert half.mean < 1.0
    assert half.sd is None
    assert half.standard_uncertainty == 1.0
    # Cauchy inside +-1 of its centre: mean square 4/pi - 1.
    both = Truncated(wild, 0.0, 2.0)
    assert both.mean == pytest.approx(1.0, abs=1e-9)
    assert both.sd == pytest.approx(math.sqrt(4.0 / math.pi - 1.0), rel=1e-9)


def test_truncated_degrees_of_freedom():
    base = StudentT(1.0, 0.1, 4.0)
    assert Truncated(base, 0.0, INF).degrees_of_freedom == 4.0
    assert Truncated(base, 0.0, INF).standard_uncertainty == 0.1
    assert Truncated(base, 0.0, 2.0).degrees_of_freedom == INF
    assert Truncated(base, 0.0, 2.0).standard_uncertainty == Truncated(base, 0.0, 2.0).sd
    twice = Truncated(Truncated(base, 0.0, INF), 0.5, INF)
    once = Truncated(base, 0.5, INF)
    assert twice.degrees_of_freedom == 4.0
    assert (twice.mean, twice.sd) == (once.mean, once.sd)


def test_truncation_that_removes_nothing():
    law = Truncated(Lognormal(3.0, 50.0), 0.0, INF)
    assert law.removed == 0.0
    assert (law.mean, law.sd) == (law.base.mean, law.base.sd)
    assert np.array_equal(law.quantile(P), law.base.quantile(P))
    assert law.support == (0.0, INF)


@pytest.mark.parametrize("base", [LAWS[1], LAWS[4], LAWS[7], LAWS[9]], ids=repr)
def test_truncated_bounded_moments(base):
    low, high = base.quantile(np.array([0.1, 0.8]))
    law = Truncated(base, float(low), float(high))
    assert law.removed == pytest.approx(0.3)
    p = (np.arange(400_000) + 0.5) / 400_000
    x = base.quantile(0.1 + 0.7 * p)
    assert law.mean == pytest.approx(float(np.mean(x)), abs=1e-8 * (high - low))
    assert law.sd == pytest.approx(float(np.std(x)), rel=1e-8)


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (lambda: Rectangular(2.0, 2.0), "low must be below high, not 2 and 2"),
        (lambda: Rectangular(0.0, INF), "high must be a finite number, not inf"),
        (lambda: Arcsine(math.nan, 1.0), "low must be a finite number, not nan"),
        (lambda: Triangular(0.0, 3.0, 2.0), "likely must be between 0 and 2, not 3"),
        (lambda: Triangular(1.0, 1.0, 1.0), "low must be below high"),
        (lambda: Trapezoidal(0.0, 1.0, 1.1), "top must be between 0 and 1, not 1.1"),
        (lambda: CurvilinearTrapezoid(0.0, 1.0, 0.5), "inexact must be above 0 and below half"),
        (lambda: CurvilinearTrapezoid(0.0, 1.0, 0.0), "inexact must be above 0 and below half"),
        (lambda: Normal(math.nan, 1.0), "mean must be a finite number, not nan"),
        (lambda: Normal(1.0, 0.0), "standard deviation must be above 0, not 0"),
        (lambda: TwoPieceNormal(1.0, 0.1, -0.1), "sd_high must be above 0, not -0.1"),
        (lambda: StudentT(1.0, -1.0, 3.0), "scale must be above 0, not -1"),
        (lambda: StudentT(1.0, 1.0, 0.0), "degrees of freedom must be at least 0.25, not 0"),
        (lambda: StudentT(1.0, 1.0, INF), "degrees of freedom must be a finite number, not inf"),
        (lambda: Lognormal(0.0, 2.0), "median must be above 0, not 0"),
        (lambda: Lognormal(1.0, 1.0), "factor must be above 1 and at most 1e12, not 1"),
        (lambda: CountedEvents(-1), "events must be a whole number from 0 to 1e15, not -1"),
        (lambda: CountedEvents(2.5), "events must be a whole number from 0 to 1e15, not 2.5"),
        (lambda: Exponential(-3.0), "expectation must be above 0, not -3"),
        (lambda: Truncated(Normal(0.0, 1.0), 1.0, 1.0), "low must be below high, not 1 and 1"),
        (lambda: Truncated(Normal(0.0, 1.0), math.nan, 1.0), "low must be below high"),
        (lambda: Truncated(Normal(0.0, 1.0), 3.0, INF), "99.9 % lies outside 3 to inf; less than"),
        (lambda: Truncated(Rectangular(0.0, 1.0), 2.0, 3.0), "100 % lies outside 2 to 3"),
        (lambda: unit_shape("trapezoidal"), "a trapezoidal shape needs its top"),
        (lambda: unit_shape("arcsine", 0.4), "only a trapezoidal shape has a top"),
        (lambda: unit_shape("round"), "unknown shape 'round': one of rectangular, triangular"),
    ],
)
def test_refusals(make, message):
    with pytest.raises(ValueError, match=f"^{message}"):
        make()


@pytest.mark.parametrize(
    ("law", "words"),
    [
        (Rectangular(88.0, 92.0), "rectangular, 88 L to 92 L"),
        (Triangular(45.0, 54.0, 62.0), "triangular, 45 L to 62 L, most likely 54 L"),
        (Trapezoidal(1.0, 3.0, 0.4), "trapezoidal, 1 L to 3 L, top 0.4 of the base"),
        (Arcsine(1.0, 3.0), "arcsine, 1 L to 3 L"),
        (
            CurvilinearTrapezoid(1.0, 3.0, 0.2),
            "curvilinear trapezoid, 1 L to 3 L, each limit inexact by ~0.2 L",
        ),
        (Normal(5.0, 0.1), "normal, mean 5 L, standard uncertainty ~0.1 L"),
        (
            TwoPieceNormal(54.0, 4.0, 7.0),
            "two-piece normal, most likely 54 L, sd ~4 L below and ~7 L above",
        ),
        (StudentT(7.72, 0.05, 5), "Student t, 7.72 L, scale ~0.05 L, 5 degrees of freedom"),
        (StudentT(7.72, 0.05, 1.0), "Student t, 7.72 L, scale ~0.05 L, 1 degree of freedom"),
        (Lognormal(3.0, 1.5), "lognormal, median 3 L, 95 % within a factor 1.5"),
        (CountedEvents(240), "counted events, 240 L counted (gamma)"),
        (Exponential(3.0), "exponential, mean 3 L"),
        (
            Truncated(Normal(5.0, 0.1), 4.9, 5.1),
            "normal, mean 5 L, standard uncertainty ~0.1 L, kept within 4.9 L to 5.1 L "
            "(removes 32 %)",
        ),
        (
            Truncated(Exponential(3.0), -INF, 3.0),
            "exponential, mean 3 L, kept below 3 L (removes 37 %)",
        ),
        (
            Truncated(Exponential(3.0), 3.0, INF),
            "exponential, mean 3 L, kept above 3 L (removes 63 %)",
        ),
    ],
    ids=repr,
)
def test_words(law, words):
    law.quantile(P[:3].copy())  # what a law stores for itself must not show
    assert law.words(lambda x: f"{x:g} L", lambda x: f"~{x:g} L") == words


def test_unit_shapes():
    assert unit_shape("rectangular") == Rectangular(-1.0, 1.0)
    assert unit_shape("triangular") == Triangular(-1.0, 0.0, 1.0)
    assert unit_shape("arcsine") == Arcsine(-1.0, 1.0)
    assert unit_shape("trapezoidal", 0.4) == Trapezoidal(-1.0, 1.0, 0.4)
    for shape in ("rectangular", "triangular", "arcsine"):
        assert unit_shape(shape).quantile(np.array([0.5]))[0] == 0.0


@each_law
def test_laws_are_values(law):
    law.quantile(P[:3].copy())
    twin = pickle.loads(pickle.dumps(law))
    assert twin == law
    assert hash(twin) == hash(law)
    assert np.array_equal(twin.quantile(P), law.quantile(P))


def test_slow_modules_stay_out():
    code = (
        "import sys; import effband.evidence.distributions; "
        "sys.exit(any(m in sys.modules for m in ('scipy.stats', 'scipy.integrate')))"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
