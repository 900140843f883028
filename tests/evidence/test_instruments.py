"""Instruments: statements of accuracy, and one error curve for all readings of one instrument.

The curve is the format's own (section 4 of its description, derived there); laws of single
readings are those of JCGM 101:2008 6.4 (clause from memory). Numbers are invented.
"""

from __future__ import annotations

import math
import textwrap
from pathlib import Path

import numpy as np
import pytest
from scipy import special, stats

from effband.case.model import Case
from effband.case.resolve import understand
from effband.case.text import parse_case
from effband.evidence.instruments import (
    Curve,
    angle_on_scale,
    curve_covariance,
    parse_accuracy,
)
from effband.problems import CaseError, Misread
from effband.propagate.engine import Engine
from effband.propagate.kernel import compile_kernel
from effband.propagate.linear import propagate_linearly
from effband.propagate.streams import TRIALS, fill_uniform, generator
from effband.propagate.summary import summarise
from effband.study import load
from effband.units import parse_unit

HEAD = "effband: 1\ntitle: invented for a test\n"
BAR = 1e5
SHAPES = {
    "rectangular": (None, stats.uniform(-1, 2)),
    "triangular": (None, stats.triang(0.5, -1, 2)),
    "arcsine": (None, stats.arcsine(-1, 2)),
    "trapezoidal": (0.4, stats.trapezoid(0.3, 0.7, -1, 2)),
    None: (None, stats.norm()),
}


def case_of(body: str) -> Case:
    return understand(parse_case((HEAD + textwrap.dedent(body)).encode(), "case.yaml"))


def refused(body: str) -> str:
    with pytest.raises(CaseError) as caught:
        case_of(body)
    return str(caught.value)


def linear_u(case: Case) -> dict[str, float]:
    """Return the first-order standard uncertainty of every output, SI."""
    bands = propagate_linearly(case, 0.95)
    found = {}
    for output, band in zip(case.outputs, bands, strict=True):
        assert band.standard_uncertainty is not None, band.reason
        found[output.title] = band.standard_uncertainty
    return found


def simulated_u(case: Case, trials: int = 200_000) -> dict[str, tuple[float, float]]:
    """Return u and its simulation uncertainty of every output, SI."""
    found = {}
    for output, count in zip(case.outputs, Engine(case, 1, trials).run(), strict=True):
        summary = summarise(count, 0.95, math.inf, "")
        u, se = summary.standard_uncertainty, summary.simulation.standard_uncertainty
        assert u is not None
        assert se is not None
        found[output.title] = (u, se)
    return found


def values(case: Case, size: int = 65_536, seed: int = 1) -> np.ndarray:
    """Return the outputs in the first trials, shape (outputs, size), SI."""
    by_name = {source.name: source for source in case.sources}
    kernel = compile_kernel(case.program, by_name, [o.step for o in case.outputs], reuse=True)
    arrays = [np.empty(size) for _ in range(kernel.slots)]

    def draw(source, out):
        fill_uniform(generator(seed, TRIALS, source.name, 0), out)
        source.distribution.quantile(out, out=out)

    kernel.run(arrays, draw)
    return np.array([np.array(kernel.values(arrays, k)) for k in range(len(case.outputs))])


def correlation_law(rho: np.ndarray) -> np.ndarray:
    return (6 / math.pi) * np.arcsin(rho / 2)


# -- the anchor of the format: class 2.5, 16 bar, 9 and 3 bar ------------------------------------

ANCHOR = """\
instruments:
  dial: {reads: gauge pressure, STATEMENT, span: [0 bar, 16 bar]}
inputs:
  p_start: {value: 9 bar, instrument: dial}
  p_end: {value: 3 bar, instrument: dial}
results:
  start: {formula: p_start, unit: bar}
  end: {formula: p_end, unit: bar}
  drop: {formula: p_start - p_end, unit: bar}
"""
STATEMENTS = ["accuracy: 2.5 % of span", "class: 2.5", "accuracy: 0.4 bar"]


def test_anchor_by_covariance() -> None:
    span = (0.0, 16.0)
    nine = Curve("dial", 0.4, angle_on_scale(9.0, span))
    three = Curve("dial", 0.4, angle_on_scale(3.0, span))
    for reading in (nine, three):
        assert reading.standard_uncertainty == pytest.approx(0.4 / math.sqrt(3), rel=1e-14)
        assert curve_covariance(reading, reading) == pytest.approx(0.16 / 3, rel=1e-14)
        assert reading.standard_uncertainty == pytest.approx(0.231, abs=5e-4)
    variance = 2 * 0.16 / 3 - 2 * curve_covariance(nine, three)
    assert math.sqrt(variance) == pytest.approx(0.139, abs=1e-3)
    r = (6 / math.pi) * math.asin(math.cos(math.pi / 2 * 6 / 16) / 2)
    assert variance == pytest.approx(0.32 / 3 * (1 - r), rel=1e-12)


@pytest.mark.parametrize("statement", STATEMENTS)
def test_anchor_through_the_whole_tool(statement: str, tmp_path: Path) -> None:
    file = tmp_path / "anchor.yaml"
    file.write_text(HEAD + ANCHOR.replace("STATEMENT", statement), encoding="utf-8")
    case = load(str(file))
    assert [source.name for source in case.sources] == ["dial.z1", "dial.z2"]
    by_law, by_trials = linear_u(case), simulated_u(case, 500_000)
    for name, expected in {"start": 0.231, "end": 0.231, "drop": 0.139}.items():
        assert by_law[name] / BAR == pytest.approx(expected, abs=1e-3)
        u, se = by_trials[name]
        assert se / BAR < 2e-4  # so that the next line says something
        assert u / BAR == pytest.approx(by_law[name] / BAR, abs=4 * se / BAR)
        assert u / BAR == pytest.approx(expected, abs=1e-3)


# -- exact correlation ---------------------------------------------------------------------------


@pytest.mark.parametrize("law", SHAPES, ids=str)
@pytest.mark.parametrize("apart", [0.0, 0.05, 0.4, 0.9, 1.3, math.pi / 2])
def test_correlation_against_quadrature(law: str | None, apart: float) -> None:
    """E[g(Z1) g(Z2)] over two correlated normals, by a product of 300 point midpoint rules.

    The rule is in probability, so its error is some 1 / 600 of a corner: tolerance 2e-3.
    """
    top, expected = SHAPES[law]
    one, other = Curve("a", 2.0, 0.1, law, top), Curve("a", 3.0, 0.1 + apart, law, top)
    z = special.ndtri((np.arange(1500) + 0.5) / 1500)
    second = math.cos(apart) * z[:, None] + math.sin(apart) * z
    g = expected.ppf(special.ndtr(z))
    mean = np.mean(g * expected.ppf(special.ndtr(second)).T, axis=1).mean()
    assert curve_covariance(one, other) == pytest.approx(6 * mean, abs=2e-3 * 6 * g.var())
    assert curve_covariance(other, one) == curve_covariance(one, other)


@pytest.mark.parametrize("law", SHAPES, ids=str)
def test_correlation_against_brute_force(law: str | None) -> None:
    """A million pairs (seed 11); tolerance 4.5 standard errors of a correlation, (1-r^2)/sqrt(n).

    Bounded laws have a smaller fourth moment than the normal and so a smaller error.
    """
    n = 1_000_000
    top, expected = SHAPES[law]
    rng = np.random.default_rng(11)
    z1, z2 = rng.standard_normal((2, n))
    for here, there in [(0.3, 0.5), (0.2, 0.8), (0.1, 1.2), (0.0, math.pi / 2)]:
        x, y = (
            expected.ppf(special.ndtr(math.cos(t) * z1 + math.sin(t) * z2)) for t in (here, there)
        )
        one, other = Curve("a", 1.0, here, law, top), Curve("a", 1.0, there, law, top)
        exact = curve_covariance(one, other) / one.standard_uncertainty / other.standard_uncertainty
        found = np.corrcoef(x, y)[0, 1]
        assert found == pytest.approx(exact, abs=4.5 * (1 - exact**2) / math.sqrt(n) + 1e-9)


@pytest.mark.parametrize("law", SHAPES, ids=str)
def test_nearby_readings_share_nearly_all_and_ends_nothing(law: str | None) -> None:
    top, _ = SHAPES[law]
    curves = [Curve("dial", 1.0, angle_on_scale(x, (0, 16)), law, top) for x in (0, 9, 9.1, 16)]
    variance = curves[0].standard_uncertainty ** 2
    assert curve_covariance(curves[1], curves[2]) > 0.9995 * variance
    assert curve_covariance(curves[1], curves[2]) < variance
    assert abs(curve_covariance(curves[0], curves[3])) < 1e-12


# -- the law of each reading, as drawn -----------------------------------------------------------


@pytest.mark.parametrize("law", SHAPES, ids=str)
def test_each_reading_has_exactly_the_declared_law(law: str | None) -> None:
    """Kolmogorov-Smirnov, 65 536 trials, seed 1; p-value above 1e-4 (15 of them)."""
    top, expected = SHAPES[law]
    says = f"accuracy: 0.5 V, shape: {law}" + (f", top: {top}" if top else "")
    if law is None:
        says = "calibration: {expanded_uncertainty: 1 V, coverage_factor: 2}"
    case = case_of(f"""
        instruments:
          meter: {{{says}, span: [-20 V, 20 V]}}
        inputs:
          low: {{value: -20 V, instrument: meter}}
          middle: {{value: 3.3 V, instrument: meter}}
          high: {{value: 20 V, instrument: meter}}
        results:
          low: {{formula: low, unit: V}}
          middle: {{formula: middle, unit: V}}
          high: {{formula: high, unit: V}}
        """)
    found = (values(case) - np.array([[-20.0], [3.3], [20.0]])) / 0.5
    for row in found:
        assert stats.kstest(row, expected.cdf).pvalue > 1e-4
        if law is not None:
            assert np.abs(row).max() <= 1 + 1e-12  # every curve keeps within the class
            assert np.abs(row).max() > 0.99
    # the ends are independent: neither the errors nor their squares go together (5 sd)
    for power in (1, 2):
        ends = np.corrcoef(found[0] ** power, found[2] ** power)[0, 1]
        assert abs(ends) < 5 / math.sqrt(found.shape[1])


def test_neighbours_move_together_in_every_trial() -> None:
    case = case_of("""
        instruments:
          meter: {accuracy: 0.5 V, span: [0 V, 20 V]}
        inputs:
          one: {value: 8.0 V, instrument: meter}
          next: {value: 8.1 V, instrument: meter}
        results:
          one: {formula: one, unit: V}
          step: {formula: next - one, unit: V}
        """)
    one, step = values(case)
    # d e / d t = L sqrt(2/pi)... at most 0.4 L per sd of the other normal: 0.008 rad here
    assert np.std(step) < 0.01 * np.std(one)
    assert np.std(step) > 0


# -- statements ----------------------------------------------------------------------------------

VOLT, AMPERE, CELSIUS = parse_unit("V"), parse_unit("A"), parse_unit("degC")


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("0.5 % of reading", 0.005 * 12),
        ("0.5 % of the reading", 0.005 * 12),
        ("0.5% of reading", 0.005 * 12),
        ("300 ppm of reading", 300e-6 * 12),
        ("1.5 % of span", 0.015 * 25),
        ("3 digits", 0.03),
        ("1 digit", 0.01),
        ("0.3 V", 0.3),
        ("20 mV", 0.02),
        ("0.5 % of reading + 2 digits", 0.06 + 0.02),
        ("0.5 % of reading+2 digits", 0.06 + 0.02),
        ("0.1 % of span + 0.5 % of reading + 2 digits + 1 mV", 0.025 + 0.06 + 0.02 + 0.001),
        ("greater of 0.1 V or 0.5 % of reading", 0.1),
        ("greater of 0.5 % of reading or 0.01 V", 0.06),
        ("greater of 0.1 V or 0.5 % of reading + 2 digits", 0.12),
        ("0 % of reading + 1 digit", 0.01),
    ],
)
def test_limit_at_a_reading(text: str, expected: float) -> None:
    for reading in (12.0, -12.0):
        limit = parse_accuracy(text).limit(reading, VOLT, (-5.0, 20.0), 0.01)
        assert limit == pytest.approx(expected, rel=1e-12)


def test_limit_follows_the_unit_of_the_span() -> None:
    # 0.4 % of 60 degC is 0.24 K, not 0.4 % of 333.15 K (the format's own example)
    assert parse_accuracy("0.4 % of reading").limit(60.0, CELSIUS, None, None) == pytest.approx(
        0.24, rel=1e-12
    )
    thermocouple = parse_accuracy("greater of 2.2 K or 0.75 % of reading")
    assert thermocouple.limit(100.0, CELSIUS, None, None) == pytest.approx(2.2, rel=1e-12)
    assert thermocouple.limit(400.0, CELSIUS, None, None) == pytest.approx(3.0, rel=1e-12)
    milli = parse_unit("mA")
    assert parse_accuracy("1 % of span").limit(3.0, milli, (4.0, 20.0), None) == pytest.approx(
        0.16e-3, rel=1e-12
    )


@pytest.mark.parametrize(
    ("text", "limits"),
    [
        # (reading, limit); an end belongs to the part below it
        ("1 V up to 5 V then 2 V", [(0, 1), (5, 1), (5.001, 2), (-5, 1), (-5.1, 2), (20, 2)]),
        ("1 V up to 5000 mV then 2 V", [(5, 1), (5.001, 2)]),
        ("1 digit up to 500 digits then 3 digits", [(5, 0.01), (5.01, 0.03)]),
        (
            "3 % of span up to 25 % of span then 2 % of span up to 75 % of span then 3 % of span",
            [(-5, 0.75), (1.25, 0.75), (1.26, 0.5), (13.75, 0.5), (13.76, 0.75), (20, 0.75)],
        ),
        ("0.1 V + 1 V up to 5 V then 1 % of reading", [(4, 1.1), (10, 0.2)]),
        ("1 V up to 5 V then 2 V + 0.5 % of reading", [(4, 1.02), (10, 2.05)]),
        ("1 V up to 5 V", [(5, 1), (5.1, math.inf)]),
        ("1 V up to 5 V then 2 V up to 9 V", [(5, 1), (9, 2), (9.1, math.inf)]),
    ],
)
def test_a_statement_in_steps(text: str, limits: list[tuple[float, float]]) -> None:
    statement = parse_accuracy(text)
    for reading, expected in limits:
        limit = statement.limit(reading, VOLT, (-5.0, 20.0), 0.01)
        assert limit == pytest.approx(expected, rel=1e-12), reading


@pytest.mark.parametrize(
    ("text", "start", "length", "word"),
    [
        ("1 V up to 5 V up to 9 V", 0, 23, "says how far"),
        ("1 V then 2 V", 0, 12, "says how far"),
        ("1 digit + 1 V then 2 V", 10, 12, "says how far"),
        ("1 V up to 5 V then 2 V up to 4 V then 3 V", 0, 41, "must go up"),
        ("1 V up to 1 % of reading then 2 V", 0, 33, "share of the reading"),
        ("1 V up to 5 % then 2 V", 10, 3, "of what"),
        ("1 V up to zorks then 2 V", 10, 5, "zorks"),
        ("1 V up to 5 V then -2 V", 19, 4, "negative"),
        ("0.5 %", 0, 5, "of what"),
        ("300 ppm", 0, 7, "of what"),
        ("2 digits + 0.5 %", 11, 5, "of what"),
        ("0.5 % rdg", 0, 9, "% of reading"),
        ("0.5 % of reading + 0.2 % FS", 19, 8, "% of span"),
        ("0.5 % of reading + 2 counts", 19, 8, "digits"),
        ("-1 % of reading", 0, 15, "negative"),
        ("1 % of reading + -2 digits", 17, 9, "negative"),
        ("-0.1 V", 0, 6, "negative"),
        ("0.3 degC", 0, 8, "point"),
        ("1 % of reading +", 16, 1, "missing"),
        ("1 % of reading + + 2 digits", 17, 1, "missing"),
        ("", 0, 1, "missing"),
        ("greater of 2.2 K", 0, 16, "two terms"),
        ("greater of 2.2 K or 0.75 %", 20, 6, "of what"),
        ("greater of 1 % or 2 K", 11, 3, "of what"),
        ("5 zorks", 2, 5, "zorks"),
    ],
)
def test_statement_refused_at_its_place(text: str, start: int, length: int, word: str) -> None:
    with pytest.raises(Misread) as caught:
        parse_accuracy(text)
    error = caught.value
    assert word in f"{error.what} {error.remedy}"
    assert (error.start, error.length) == (start, length)


# -- readings, through the whole reading of a case -----------------------------------------------


def test_readings_of_a_multi_range_meter() -> None:
    """Each reading is judged in the narrowest range that holds it, with that range's digit."""
    case = case_of("""
        instruments:
          clamp:
            accuracy: 1 % of span + 2 % of reading + 3 digits
            span: [[0 A, 4 A], [0 A, 40 A]]
            digit: [0.001 A, 0.01 A]
            evidence: datasheet
        inputs:
          small: {value: 3.7 A, instrument: clamp}
          large: {value: 7.9 A, instrument: clamp}
        results:
          small: {formula: small, unit: A}
          large: {formula: large, unit: A}
        """)
    found = linear_u(case)
    small = (0.04 + 0.074 + 0.003) ** 2 / 3 + 0.001**2 / 12
    large = (0.4 + 0.158 + 0.03) ** 2 / 3 + 0.01**2 / 12
    assert found["small"] == pytest.approx(math.sqrt(small), rel=1e-12)
    assert found["large"] == pytest.approx(math.sqrt(large), rel=1e-12)


def test_percent_of_reading_in_the_unit_of_the_span() -> None:
    """60 degC written as 333.15 K on a thermometer with a span in degC: 0.4 % is 0.24 K."""
    case = case_of("""
        instruments:
          probe: {accuracy: 0.4 % of reading, span: [0 degC, 100 degC]}
        inputs:
          celsius: {value: 60 degC, instrument: probe}
          kelvin: {value: 333.15 K, instrument: probe}
        results:
          celsius: {formula: celsius, unit: degC}
          kelvin: {formula: kelvin, unit: K}
        """)
    for u in linear_u(case).values():
        assert u == pytest.approx(0.24 / math.sqrt(3), rel=1e-9)


FRESH = """
instruments:
  meter: {SAYS}
inputs:
  x: {value: 8 V, instrument: meter EXTRA}
results:
  x: {formula: x, unit: V}
"""


@pytest.mark.parametrize(
    ("says", "extra", "variance"),
    [
        ("digit: 0.01 V", "", 0.01**2 / 12),
        ("division: 0.5 V", "", 0.125**2 / 6),
        ("division: 0.5 V, readable_to: 1/2", "", 0.25**2 / 6),
        ("division: 0.5 V, readable_to: 1/2", ", readable_to: 1/5", 0.1**2 / 6),
        ("each_reading: 0.3 V", "", 0.3**2 / 3),
        ("each_reading: 0.3 V", ", each_reading: 0.6 V", 0.6**2 / 3),
        ("repeatability: 0.2 V", "", 0.2**2),
        ("stability: 0.5 % of reading", "", 0.04**2 / 3),
        ("digit: 0.01 V, accuracy: 1 % of reading", "", 0.01**2 / 12 + 0.08**2 / 3),
        ("calibration: {expanded_uncertainty: 0.4 V, coverage_factor: 2}", "", 0.2**2),
        ("accuracy: 0.4 V, shape: triangular", "", 0.4**2 / 6),
        ("accuracy: 0.4 V, shape: arcsine", "", 0.4**2 / 2),
        ("accuracy: 0.4 V, shape: trapezoidal, top: 0.4", "", 0.4**2 * 1.16 / 6),
        ("digit: 0.01 V", ", also: {plus_minus: 0.1 V}", 0.01**2 / 12 + 0.1**2 / 3),
    ],
)
def test_variance_of_one_reading(says: str, extra: str, variance: float) -> None:
    """JCGM 101 6.4, table 1, from memory; a quarter of a division is the format's choice."""
    case = case_of(FRESH.replace("SAYS", says).replace(" EXTRA", extra))
    assert linear_u(case)["x"] == pytest.approx(math.sqrt(variance), rel=1e-12)
    u, se = simulated_u(case)["x"]
    assert u == pytest.approx(math.sqrt(variance), abs=4.5 * se)


def test_two_specimens_are_independent_and_one_is_not() -> None:
    """Difference of two equal readings: sqrt(2) L / sqrt(3) with two probes, 0 with one."""
    text = """
        instruments:
          probe: {accuracy: 0.5 K, span: [0 degC, 100 degC]}
        inputs:
          a: {value: 40 degC, instrument: "probe#1"}
          b: {value: 40 degC, instrument: "probe#2"}
        results:
          d: {formula: a - b, unit: K}
        """
    two, one = case_of(text), case_of(text.replace("#2", "#1"))
    assert linear_u(two)["d"] == pytest.approx(0.5 * math.sqrt(2 / 3), rel=1e-12)
    u, se = simulated_u(two)["d"]
    assert u == pytest.approx(0.5 * math.sqrt(2 / 3), abs=4 * se)
    assert linear_u(one)["d"] == pytest.approx(0.0, abs=1e-12)
    assert np.ptp(values(one)) == 0.0
    assert {item.name for item in two.items} == {"probe#1", "probe#2"}


def test_stability_is_shared_by_all_readings_and_runs() -> None:
    """y = 20 V - 8 V moves with (20 - 8) 0.3 % of one draw; a mean of runs keeps all of it."""
    case = case_of("""
        instruments:
          meter: {stability: 0.3 % of reading}
        runs:
          readings:
            v: {unit: V, instrument: meter}
          rows:
            one: {v: 8}
            two: {v: 20}
        results:
          rise: {formula: "in_run(v, two) - in_run(v, one)", unit: V}
          mean: {formula: mean_of_runs(v), unit: V}
        """)
    assert [source.name for source in case.sources] == ["meter.stability"]
    expected = {"rise": 0.003 * 12 / math.sqrt(3), "mean": 0.003 * 14 / math.sqrt(3)}
    assert linear_u(case) == pytest.approx(expected, rel=1e-12)
    for name, (u, se) in simulated_u(case).items():
        assert u == pytest.approx(expected[name], abs=4 * se)


TARE = """
instruments:
  scale: {accuracy: ACCURACY, error_along_scale: same}
inputs:
  gross: {value: 12.3 N, instrument: scale}
  empty: {value: 0.4 N, instrument: scale}
results:
  gross: {formula: gross, unit: N}
  force: {formula: gross - empty, unit: N}
"""


def test_a_tare_cancels_a_constant_error() -> None:
    case = case_of(TARE.replace("ACCURACY", "0.1 N"))
    assert linear_u(case) == pytest.approx({"gross": 0.1 / math.sqrt(3), "force": 0.0}, abs=1e-12)
    gross, force = values(case)
    assert np.ptp(gross) > 0.19
    assert np.ptp(force) < 1e-13
    assert any("same all along" in text for text in case.assumptions)


def test_a_tare_keeps_what_grows_with_the_reading() -> None:
    case = case_of(TARE.replace("ACCURACY", "1 % of reading"))
    expected = {"gross": 0.123 / math.sqrt(3), "force": 0.119 / math.sqrt(3)}
    assert linear_u(case) == pytest.approx(expected, rel=1e-12)
    u, se = simulated_u(case)["force"]
    assert u == pytest.approx(expected["force"], abs=4 * se)


# -- what is refused -----------------------------------------------------------------------------


def test_two_values_without_a_span_are_refused_and_one_is_not() -> None:
    text = TARE.replace("ACCURACY", "0.1 N").replace(", error_along_scale: same", "")
    said = refused(text)
    assert "span" in said
    assert "error_along_scale: same" in said
    case = case_of(text.replace("value: 0.4 N", "value: 12.3 N"))
    assert linear_u(case)["force"] == pytest.approx(0.0, abs=1e-12)


@pytest.mark.parametrize("reading", ["16.1 bar", "-0.1 bar", "1.7 MPa"])
def test_a_reading_outside_its_span_is_refused(reading: str) -> None:
    text = ANCHOR.replace("STATEMENT", "class: 2.5").replace("9 bar", reading)
    assert "outside the span" in refused(text)


@pytest.mark.parametrize(
    ("reading", "span"),
    [
        ("1.1 bar", "[0 kPa, 110 kPa]"),
        ("110 kPa", "[0 bar, 1.1 bar]"),
        ("2.3 bar", "[0 mbar, 2300 mbar]"),
        ("0.1 MPa", "[0 bar, 1 bar]"),
        ("16 bar", "[0 bar, 16 bar]"),
    ],
)
def test_the_end_of_a_span_belongs_to_it_in_any_unit(reading: str, span: str) -> None:
    case = case_of(f"""
        instruments:
          dial: {{reads: gauge pressure, class: 1, span: {span}}}
        inputs:
          p: {{value: {reading}, instrument: dial}}
        results:
          p: {{formula: p, unit: bar}}
        """)
    assert linear_u(case)["p"] > 0


def test_a_share_of_the_span_needs_the_span() -> None:
    text = ANCHOR.replace("STATEMENT", "class: 2.5").replace(", span: [0 bar, 16 bar]", "")
    assert "span" in refused(text)
    text = FRESH.replace("SAYS", "accuracy: 2 digits").replace(" EXTRA", "")
    assert "digit" in refused(text)
