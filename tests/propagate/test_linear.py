"""The first-order law against sums worked by hand (JCGM 100:2008 5.1, 5.2 and G.4, from memory)."""

from __future__ import annotations

import math

import pytest
from scipy import stats
from workbench import case_of, counted, results

from effband.case.model import Case
from effband.propagate.linear import LinearBand, agreement, propagate_linearly, tolerance
from effband.propagate.summary import Interval, summarise
from effband.study import run, with_options

Z = stats.norm.ppf(0.975)


def bands_of(case: Case, probability: float = 0.95) -> dict[str, LinearBand]:
    bands = propagate_linearly(case, probability)
    return {output.title: band for output, band in zip(case.outputs, bands, strict=True)}


THREE = """
inputs:
  a: {value: 10, standard_uncertainty: 0.3}
  b: {value: 4, plus_minus: 0.2}
  c: {low: 1, likely: 2, high: 4}
"""
# expectation and standard uncertainty of a triangle: JCGM 101 6.4.5 where it is symmetric
C_MEAN = 7 / 3
C_U = math.sqrt((3**2 + 1**2 + 2**2) / 36)
U = {"a": 0.3, "b": 0.2 / math.sqrt(3), "c": C_U}
SLOPES = {
    "sum": ("2*a - 3*b + c", 20 - 12 + C_MEAN, (2, -3, 1)),
    "product": ("a*b*c", 40 * C_MEAN, (4 * C_MEAN, 10 * C_MEAN, 40)),
    "quotient": ("a/(b*c)", 2.5 / C_MEAN, (0.25 / C_MEAN, -0.625 / C_MEAN, -2.5 / C_MEAN**2)),
    "square": ("a**2", 100, (20, 0, 0)),
    "cube": ("b**3", 64, (0, 48, 0)),
    "inverse": ("b**-1", 0.25, (0, -0.0625, 0)),
    "power": ("a**c", 10**C_MEAN, (C_MEAN * 10 ** (C_MEAN - 1), 0, 10**C_MEAN * math.log(10))),
    "root": ("sqrt(b)", 2, (0, 0.25, 0)),
    "exponential": ("exp(c)", math.exp(C_MEAN), (0, 0, math.exp(C_MEAN))),
    "logarithm": ("log(a) + log10(b)", math.log(10) + math.log10(4), (0.1, 0.25 / math.log(10), 0)),
    "angles": (
        "sin(a) + cos(b) - tan(c)",
        math.sin(10) + math.cos(4) - math.tan(C_MEAN),
        (math.cos(10), -math.sin(4), -1 / math.cos(C_MEAN) ** 2),
    ),
    "arcs": (
        "asin(c/5) - acos(c/5) + atan(b)",
        math.asin(C_MEAN / 5) - math.acos(C_MEAN / 5) + math.atan(4),
        (0, 1 / 17, 2 / math.sqrt(25 - C_MEAN**2)),
    ),
    "direction": ("atan2(a, b)", math.atan2(10, 4), (4 / 116, -10 / 116, 0)),
    "size": ("abs(-a)", 10, (1, 0, 0)),
    "least": ("min(a, b, c)", C_MEAN, (0, 0, 1)),
    "greatest": ("max(a, b, c)", 10, (1, 0, 0)),
    "itself": ("a - a + b", 4, (0, 1, 0)),
}


@pytest.mark.parametrize("name", SLOPES)
def test_slopes_by_hand(name: str) -> None:
    formula, value, slopes = SLOPES[name]
    band = bands_of(case_of(THREE, results(y=formula)))["y"]
    u = math.sqrt(sum((s * u) ** 2 for s, u in zip(slopes, U.values(), strict=True)))
    assert u > 0
    assert band.reason is None
    assert band.value == pytest.approx(value, rel=1e-12)
    assert band.standard_uncertainty == pytest.approx(u, rel=1e-12)
    assert band.effective_degrees_of_freedom == math.inf
    assert band.interval is not None
    assert band.interval.low == pytest.approx(value - Z * u, rel=1e-10)
    assert band.interval.high == pytest.approx(value + Z * u, rel=1e-10)


def test_expectations_not_values_as_written() -> None:
    """The best guess of a triangle is its likely value; the law takes its expectation."""
    case = case_of(THREE, results(y="c"))
    study = run(case, with_options(case.settings, trials=20_000))
    assert study.bands[0].nominal == 2
    assert study.bands[0].linear.value == pytest.approx(7 / 3, rel=1e-15)


def test_doubling_every_spread_doubles_u_exactly() -> None:
    text = (
        "inputs:\n  x: {{value: 3, plus_minus: {}}}\n  y: {{value: 5, standard_uncertainty: {}}}\n"
    )
    once = bands_of(case_of(text.format(0.1, 0.2), results(y="x*y/(x+y)")))["y"]
    twice = bands_of(case_of(text.format(0.2, 0.4), results(y="x*y/(x+y)")))["y"]
    assert once.standard_uncertainty
    assert twice.standard_uncertainty == 2 * once.standard_uncertainty


def test_the_unit_of_an_input_changes_nothing() -> None:
    text = "inputs:\n  p: {{value: {}, plus_minus: {}}}\n  t: {{value: 50 s, plus_minus: 2 s}}\n"
    tail = "results:\n  e: {formula: p * t, unit: kJ}\n"
    watts = bands_of(case_of(text.format("1500 W", "30 W"), tail))["e"]
    kilowatts = bands_of(case_of(text.format("1.5 kW", "0.03 kW"), tail))["e"]
    expected = math.sqrt((50 * 30) ** 2 + (1500 * 2) ** 2) / math.sqrt(3)
    for band in (watts, kilowatts):
        assert band.value == pytest.approx(75e3, rel=1e-12)
        assert band.standard_uncertainty == pytest.approx(expected, rel=1e-12)


# -- readings of one instrument ------------------------------------------------------------------

DIAL = """
instruments:
  dial: {accuracy: 0.4 V, span: [0 V, 16 V]}
  second: {accuracy: 0.4 V, span: [0 V, 16 V]}
inputs:
  high: {value: 9 V, instrument: dial}
  low: {value: 3 V, instrument: dial}
  same: {value: 9 V, instrument: dial}
  other: {value: 3 V, instrument: second}
results:
  difference: {formula: high - low, unit: V}
  sum: {formula: high + low, unit: V}
  ratio: {formula: high / low, unit: 1, is: ratio}
  nothing: {formula: high - same, unit: V}
  double: {formula: high + same, unit: V}
  apart: {formula: high - other, unit: V}
"""


def test_readings_of_one_instrument_are_correlated_values() -> None:
    """u^2 = sum of c_i c_j u_i u_j r_ij with r = (6 / pi) asin(cos(t_i - t_j) / 2) (derived)."""
    u2 = 0.16 / 3
    r = (6 / math.pi) * math.asin(math.cos(math.pi / 2 * 6 / 16) / 2)
    assert 0.8 < r < 0.85
    expected = {
        "difference": u2 * (2 - 2 * r),
        "sum": u2 * (2 + 2 * r),
        "ratio": u2 * (1 / 9 + 1 - 2 * r / 3),
        "nothing": 0.0,
        "double": 4 * u2,
        "apart": 2 * u2,
    }
    for name, band in bands_of(case_of(DIAL)).items():
        u = band.standard_uncertainty
        assert u == pytest.approx(math.sqrt(expected[name]), rel=1e-12, abs=1e-12)
        assert band.effective_degrees_of_freedom == math.inf


def test_differentiating_the_shape_would_be_far_too_large() -> None:
    """At zero the slope of 2 Phi - 1 is sqrt(2 / pi), 38 % more than 1 / sqrt(3)."""
    band = bands_of(case_of(DIAL))["apart"]
    naive = 0.4 * math.sqrt(2 / math.pi) * math.sqrt(2)
    assert naive / band.standard_uncertainty == pytest.approx(1.382, abs=1e-3)


def test_ten_readings_with_one_instrument_do_not_average_out() -> None:
    """GUM 5.2.2, the ten resistors: u adds up like the values, not like their squares."""
    names = [f"r{i}" for i in range(10)]
    inputs = "".join(f"  {name}: {{value: 1000 ohm, instrument: bridge}}\n" for name in names)
    text = (
        "instruments:\n  bridge: {calibration: {expanded_uncertainty: 0.2 ohm, "
        "coverage_factor: 2}}\ninputs:\n" + inputs
    )
    text += f"results:\n  series: {{formula: {' + '.join(names)}, unit: ohm}}\n"
    band = bands_of(case_of(text))["series"]
    assert band.standard_uncertainty == pytest.approx(1.0, rel=1e-12)


def test_fresh_errors_average_out() -> None:
    text = """
        instruments:
          watch: {each_reading: 0.3 s, digit: 0.01 s}
        runs:
          readings:
            t: {unit: s, instrument: watch}
          rows:
            a: {t: 60}
            b: {t: 61}
            c: {t: 59}
            d: {t: 60}
        results:
          mean: {formula: mean_of_runs(t), unit: s}
          one: {formula: "in_run(t, a)", unit: s}
        """
    bands = bands_of(case_of(text))
    u = math.sqrt(0.3**2 / 3 + 0.01**2 / 12)
    assert bands["one"].standard_uncertainty == pytest.approx(u, rel=1e-12)
    assert bands["mean"].standard_uncertainty == pytest.approx(u / 2, rel=1e-12)
    assert bands["mean"].value == pytest.approx(60.0, rel=1e-15)


# -- degrees of freedom --------------------------------------------------------------------------

PRODUCT = """
inputs:
  x: {value: 1, standard_uncertainty: 0.0025, degrees_of_freedom: 9}
  y: {value: 1, standard_uncertainty: 0.0057, degrees_of_freedom: 4}
  z: {value: 1, standard_uncertainty: 0.0082, degrees_of_freedom: 14}
  w: {value: 1, standard_uncertainty: 0.0030}
"""


def test_effective_degrees_of_freedom() -> None:
    """GUM G.4.1, example (memory): relative u 1.03 %, 19.0 degrees of freedom."""
    bands = bands_of(case_of(PRODUCT, results(y3="x*y*z", w="w", y4="x*y*z*w")))
    parts = {9: 0.0025, 4: 0.0057, 14: 0.0082}
    variance = sum(u**2 for u in parts.values())
    below = sum(u**4 / nu for nu, u in parts.items())
    band = bands["y3"]
    assert band.standard_uncertainty == pytest.approx(0.0103, abs=5e-5)
    assert band.effective_degrees_of_freedom == pytest.approx(19.0, abs=0.05)
    assert band.effective_degrees_of_freedom == pytest.approx(variance**2 / below, rel=1e-12)
    assert bands["w"].effective_degrees_of_freedom == math.inf
    more = (variance + 0.003**2) ** 2 / below
    assert bands["y4"].effective_degrees_of_freedom == pytest.approx(more, rel=1e-12)


@pytest.mark.parametrize("probability", [0.95, 0.99, 0.6827])
def test_interval_takes_t_at_the_unrounded_degrees(probability: float) -> None:
    band = bands_of(case_of(PRODUCT, results(y="x*y*z")), probability)["y"]
    t = stats.t.ppf((1 + probability) / 2, band.effective_degrees_of_freedom)
    assert band.effective_degrees_of_freedom % 1 > 0.01
    assert band.interval is not None
    reach = t * band.standard_uncertainty
    assert band.interval.high - 1 == pytest.approx(reach, rel=1e-10)
    assert 1 - band.interval.low == pytest.approx(reach, rel=1e-10)


def test_repeats_enter_with_their_scale_and_degrees() -> None:
    """JCGM 100 4.2.3: u = s / sqrt(n), n - 1 degrees of freedom, not the sd of the t."""
    readings = [7.72, 7.80, 7.78, 7.74]
    text = f"inputs:\n  r: {{repeats: {readings}, unit: 1}}\n"
    band = bands_of(case_of(text, results(y="r")))["y"]
    mean = sum(readings) / 4
    s = math.sqrt(sum((x - mean) ** 2 for x in readings) / 3)
    assert band.value == pytest.approx(mean, rel=1e-12)
    assert band.standard_uncertainty == pytest.approx(s / 2, rel=1e-12)
    assert band.effective_degrees_of_freedom == pytest.approx(3, rel=1e-12)


def test_one_degree_of_freedom_has_a_first_order_law_all_the_same() -> None:
    band = bands_of(case_of("inputs:\n  r: {repeats: [4, 6], unit: 1}\n", results(y="r")))["y"]
    assert band.value == 5
    assert band.standard_uncertainty == pytest.approx(1.0, rel=1e-12)
    assert band.interval is not None
    assert band.interval.high == pytest.approx(5 + 12.7062, abs=1e-3)


# -- comparison with the trials ------------------------------------------------------------------


@pytest.mark.parametrize(
    ("u", "digits", "expected"),
    [
        (0.00035, 2, 5e-6),  # JCGM 101 7.9.2, example 1 (memory)
        (0.00035, 1, 5e-5),
        (0.0754, 1, 0.005),  # JCGM 101 9.3, one digit (memory)
        (0.0754, 2, 0.0005),
        (1.0, 1, 0.5),
        (9.4, 1, 0.5),
        (9.6, 1, 5.0),  # 1 x 10^1, rounded to one digit
        (0.0996, 2, 0.005),  # 10 x 10^-2, rounded to two
        (0.0994, 2, 0.0005),
        (1000.0, 1, 500.0),
        (1e-5, 1, 0.5e-5),
        (1.5e-7, 2, 0.5e-8),
        (0.0, 1, 0.0),
    ],
)
def test_tolerance(u: float, digits: int, expected: float) -> None:
    assert tolerance(u, digits) == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize(
    ("linear", "simulated", "errors", "expected"),
    [
        # JCGM 101 9.3 (memory): first order not validated, second order validated, delta 0.005
        ((1.1285, 1.3395), (1.0834, 1.3825), (0.0, 0.0), False),
        ((1.0870, 1.3810), (1.0834, 1.3825), (0.0, 0.0), True),
        # ... and by simulations that know their ends less well
        ((1.0870, 1.3810), (1.0834, 1.3825), (0.0006, 0.0006), True),
        ((1.0870, 1.3810), (1.0834, 1.3825), (0.0008, 0.0007), None),
        ((1.1285, 1.3395), (1.0834, 1.3825), (0.0200, 0.0189), False),
        ((1.1285, 1.3395), (1.0834, 1.3825), (0.0201, 0.0191), None),
        # one end is enough to disagree, both are needed to agree
        ((0.0, 1.0), (0.0, 1.006), (0.0, 0.0), False),
        ((0.0, 1.0), (0.006, 1.0), (0.0, 0.0), False),
        ((0.0, 1.0), (0.0, 1.004), (0.0, 0.001), None),
        ((0.0, 1.0), (0.0, 1.006), (0.0, 0.001), None),
        ((0.0, 1.0), (0.004, 1.0), (0.001, 0.0), None),
    ],
)
def test_agreement(
    linear: tuple[float, float],
    simulated: tuple[float, float],
    errors: tuple[float, float],
    expected: bool | None,
) -> None:
    found = agreement(Interval(*linear), Interval(*simulated), errors, 0.005)
    assert found is expected
    swapped = Interval(-linear[1], -linear[0]), Interval(-simulated[1], -simulated[0])
    assert agreement(*swapped, errors[::-1], 0.005) is expected


def test_agreement_in_the_unit_of_the_result() -> None:
    """u = 0.35 kW is 3 x 10^-1: tolerance 0.05 kW whatever the SI unit is."""
    text = "inputs:\n  p: {value: 20 kW, standard_uncertainty: 0.35 kW}\n"
    case = case_of(text, "results:\n  p: {formula: p, unit: kW}\n")
    band = run(case, with_options(case.settings, trials=100_000 + 31_072)).bands[0]
    assert band.tolerance == pytest.approx(50.0, rel=1e-12)
    assert band.agrees is True


def test_a_strongly_curved_formula_does_not_agree() -> None:
    text = "inputs:\n  x: {value: 1, standard_uncertainty: 0.5}\n"
    case = case_of(text, results(y="x**2"))
    band = run(case, with_options(case.settings, trials=131_072)).bands[0]
    assert band.agrees is False
    assert any("another band" in remark.what for remark in run(case).remarks)


# -- no derivative -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "formula",
    [
        "abs(x)",
        "sqrt(abs(x))",
        "max(x, 0)",
        "min(x, y)",
        "sqrt(x)",
        "2 + 3*abs(x)",
        "log(x)",
        "1/x",
    ],
)
def test_a_formula_without_derivative_gives_nothing_and_says_why(formula: str) -> None:
    text = """
        inputs:
          x: {value: 0, standard_uncertainty: 1}
          y: {value: 0, standard_uncertainty: 2}
        """
    bands = bands_of(case_of(text, results(bad=formula, good="x + y")))
    bad, good = bands["bad"], bands["good"]
    assert bad.value is None
    assert bad.standard_uncertainty is None
    assert bad.interval is None
    assert bad.reason
    assert bad.reason.startswith("bad")
    assert good.standard_uncertainty == pytest.approx(math.sqrt(5), rel=1e-12)
    assert good.reason is None


def test_a_failed_law_leaves_the_trials_alone() -> None:
    text = "inputs:\n  x: {value: 0, standard_uncertainty: 1}\n"
    case = case_of(text, results(y="abs(x)"))
    study = run(case, with_options(case.settings, trials=131_072))
    band = study.bands[0]
    assert band.linear.value is None
    assert band.agrees is None
    half_normal = math.sqrt(2 / math.pi)
    assert band.summary.mean == pytest.approx(half_normal, abs=4 * band.summary.simulation.mean)
    assert any("no first-order value" in remark.what for remark in study.remarks)


@pytest.mark.parametrize("formula", ["k**0.3", "sqrt(k)", "log(k)", "1/(k + 8)", "asin(k)"])
def test_an_unused_formula_cannot_spoil_a_result(formula: str) -> None:
    """A formula that no result uses may have no value; nothing of the results needs it."""
    text = f"""
        inputs:
          k: {{constant: -8}}
          x: {{value: 1, standard_uncertainty: 0.1}}
        formulas:
          unused: {formula}
        """
    band = bands_of(case_of(text, results(y="x")))["y"]
    assert band.standard_uncertainty == pytest.approx(0.1, rel=1e-12)


@pytest.mark.parametrize(
    ("formula", "value"),
    [("abs(k)", 0.0), ("max(k, 0)", 0.0), ("min(m, 3)", 3.0), ("sqrt(k)", 0.0), ("2*m", 6.0)],
)
def test_a_constant_has_a_value_and_no_uncertainty(formula: str, value: float) -> None:
    text = """
        inputs:
          k: {constant: 0}
          m: {constant: 3}
        """
    band = bands_of(case_of(text, results(y=formula)))["y"]
    assert band.reason is None
    assert band.value == value
    assert band.standard_uncertainty == 0.0
    assert band.interval == Interval(value, value)


def test_a_linear_case_agrees_with_the_trials() -> None:
    """u and the mean of the trials within 4.5 simulation errors of the exact law."""
    case = case_of(THREE, results(y="2*a - 3*b + c"))
    (count,) = counted(case, 131_072)
    summary = summarise(count, 0.95, math.inf, "")
    band = bands_of(case)["y"]
    simulation = summary.simulation
    assert simulation.standard_uncertainty is not None
    assert simulation.standard_uncertainty < 0.003
    assert summary.mean == pytest.approx(band.value, abs=4.5 * simulation.mean)
    assert summary.standard_uncertainty == pytest.approx(
        band.standard_uncertainty, abs=4.5 * simulation.standard_uncertainty
    )
