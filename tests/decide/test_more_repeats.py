"""More repeats, fewer, and none, against closed forms and against cases that have the rows."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Sequence

import numpy as np
import pytest
from scipy import integrate, optimize, stats

from effband.case.model import Case
from effband.case.resolve import understand
from effband.case.text import parse_case
from effband.decide.better import can_be_better, with_item_better
from effband.decide.repeats import (
    RepeatAdvice,
    advice_on_repeats,
    scatters_by_run,
    with_endless_repeats,
    with_repeats,
)
from effband.propagate.engine import Engine
from effband.propagate.linear import propagate_linearly
from effband.propagate.ranking import Ranking, rank
from effband.propagate.summary import summarise
from effband.propagate.variants import half_widths_of
from effband.report.words import repeat_advice_words
from effband.units import parse_unit

TRIALS = 262_144
Z = stats.norm.ppf(0.975)


def case_of(text: str) -> Case:
    text = "effband: 1\ntitle: invented for a test\n" + textwrap.dedent(text)
    return understand(parse_case(text.encode(), "case.yaml"))


def half(case: Case, run: str | None, result: str = "y", trials: int = TRIALS) -> float:
    """Return a half-width in SI units."""
    (at,) = [k for k, o in enumerate(case.outputs) if (o.target.name, o.run) == (result, run)]
    return half_widths_of(case, [at], 1, 0.95, trials)[0]


def error_of(case: Case, run: str | None) -> float:
    """Return one standard uncertainty of the simulation of a half-width, at TRIALS."""
    (at,) = [k for k, o in enumerate(case.outputs) if o.run == run]
    found = summarise(Engine(case, 1, TRIALS).run()[at], 0.95, 30, "").simulation
    return math.hypot(found.low, found.high) / 2


def u_of(case: Case, run: str) -> float:
    """Return the standard uncertainty of the first-order law, which takes a scatter as known."""
    (at,) = [k for k, o in enumerate(case.outputs) if o.run == run]
    found = propagate_linearly(case, 0.95)[at].standard_uncertainty
    assert found is not None
    return found


def meter_and_scatter(scatter: float, meter: float) -> Case:
    """Return one run that scatters, plus a meter's error that every run shares."""
    return case_of(f"""
        inputs: {{off: {{value: 0 W, standard_uncertainty: {meter} W}}}}
        runs:
          readings: {{p: {{unit: W, standard_uncertainty: {scatter} W}}}}
          rows: {{full: {{p: 100}}}}
        results: {{y: {{formula: p + off, unit: W}}}}
        """)


def t_plus_normal(dof: float, scale: float, sd: float) -> float:
    """Return the 97.5 % quantile of scale t(dof) + sd N(0, 1), by integration."""

    def above(x: float) -> float:
        def part(z: float) -> float:
            return float(stats.norm.pdf(z) * stats.t.cdf((x - sd * z) / scale, dof))

        return integrate.quad(part, -9, 9, epsabs=1e-10)[0] - 0.975

    return float(optimize.brentq(above, 0.0, 1000 * (scale + sd)))


# -- a run alone ------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("scatter", "meter", "number", "u"),
    # sqrt(meter^2 + scatter^2/n), worked by hand
    [(2, 1, 1, 2.236), (2, 1, 4, 1.414), (2, 1, 16, 1.118), (1, 2, 1, 2.236), (1, 2, 100, 2.002)],
)
def test_repeats_shrink_only_what_scatters(
    scatter: float, meter: float, number: int, u: float
) -> None:
    case = with_repeats(meter_and_scatter(scatter, meter), "full", number)
    assert u_of(case, "full") == pytest.approx(u, abs=0.0006)
    exact = Z * u if number == 1 else t_plus_normal(number - 1, scatter / math.sqrt(number), meter)
    assert half(case, "full") == pytest.approx(exact, abs=4 * error_of(case, "full") + 0.0006 * Z)


def test_endless_repeats_leave_the_meter() -> None:
    case = with_endless_repeats(meter_and_scatter(2, 1), "full")
    assert u_of(case, "full") == pytest.approx(1.0, rel=1e-12)
    assert half(case, "full") == pytest.approx(Z, abs=4 * error_of(case, "full"))


@pytest.mark.parametrize(
    ("number", "factor"),
    # t(95 %, n - 1)/sqrt(n), tables of Student's t (GUM G.2, from memory)
    [(3, 2.48), (4, 1.59), (5, 1.24), (6, 1.05), (8, 0.84), (10, 0.72), (20, 0.47)],
)
def test_the_band_of_a_scatter_alone_is_t_over_the_root(number: int, factor: float) -> None:
    case = case_of("""
        runs:
          readings: {p: {unit: W, standard_uncertainty: 1 W}}
          rows: {full: {p: 100}}
        results: {y: {formula: p, unit: W}}
        """)
    done = with_repeats(case, None, number)
    assert half(done, "full") == pytest.approx(factor, abs=4 * error_of(done, "full") + 0.005)


def test_two_runs_are_the_mean_of_two_draws() -> None:
    """The mean of two of +- 1 is triangular over +- 1: 95 % within 1 - sqrt(0.05)."""
    case = case_of("""
        runs:
          readings: {p: {unit: W, plus_minus: 1 W}}
          rows: {full: {p: 100}}
        results: {y: {formula: p, unit: W}}
        """)
    two = with_repeats(case, "full", 2)
    expected = 1 - math.sqrt(0.05)
    assert half(two, "full") == pytest.approx(expected, abs=4 * error_of(two, "full"))


def test_a_step_and_what_runs_share_stay() -> None:
    """A limit, a display and a shared spread beside a scatter: only this one goes."""
    case = case_of("""
        instruments: {meter: {accuracy: 0.6 W, digit: 1 W, repeatability: 3 W, each_reading: 2 W,
                              stability: 0.3 W}}
        runs:
          readings:
            p: {unit: W, instrument: meter, also: {plus_minus: 4 W}}
            q: {unit: W, plus_minus: 0.5 W, shared: true}
            r: {unit: W, plus_minus: 5 W}
          rows: {full: {p: 50, q: 1, r: 2}}
        results: {y: {formula: p + q + r, unit: W}}
        """)
    stays = [0.6**2 / 3, 0.5**2 / 3, 0.3**2 / 3, 0.5**2 / 3]
    goes = [3**2, 2**2 / 3, 4**2 / 3, 5**2 / 3]
    for number in (3, 7):
        u = math.sqrt(sum(stays) + sum(goes) / number)
        assert u_of(with_repeats(case, "full", number), "full") == pytest.approx(u, rel=1e-9)
    endless = with_endless_repeats(case, "full")
    assert u_of(endless, "full") == pytest.approx(math.sqrt(sum(stays)), rel=1e-9)
    assert scatters_by_run(case, "full")


def test_few_repeats_of_a_logarithm_have_a_band() -> None:
    """A t with two degrees of freedom would take readings below 0; results stay finite."""
    case = case_of("""
        runs:
          readings:
            p: {unit: W, standard_uncertainty: 8 W}
            q: {unit: W, standard_uncertainty: 1 W}
          rows: {full: {p: 100, q: 20}}
        results: {y: {formula: sqrt(p / q) * log(p / q), unit: 1, is: ratio}}
        """)
    assert math.isfinite(half(with_repeats(case, "full", 3), "full"))


def test_repeats_of_one_run_leave_another_alone() -> None:
    case = case_of("""
        runs:
          readings: {p: {unit: W, standard_uncertainty: 1 W}}
          rows: {a: {p: 100}, b: {p: 50}}
        results: {y: {formula: p, unit: W}, both: {formula: mean_of_runs(p), unit: W}}
        """)
    done = with_repeats(case, "a", 9)
    assert half(done, "b") == half(case, "b")
    assert half(done, "a") < half(case, "a")
    # the whole case gains by what is in it: sqrt(1/9 + 1)/2, and (1/3)/sqrt(2)
    k = [output.target.name for output in case.outputs].index("both")
    for of, u in (("a", math.sqrt(1 / 9 + 1) / 2), (None, 1 / 3 / math.sqrt(2))):
        band = propagate_linearly(with_repeats(case, of, 9), 0.95)[k]
        assert band.standard_uncertainty == pytest.approx(u, rel=1e-9)


def test_the_single_runs_of_a_group_stay_what_they_are() -> None:
    """Only a mean of runs, which takes the declared errors of each, gains by a group's repeats."""
    case = case_of("""
        runs:
          readings: {p: {unit: W, standard_uncertainty: 1 W}}
          rows: {a: {p: 99}, b: {p: 100}, c: {p: 101}, d: {p: 100}}
          groups: {full: [a, b, c]}
        results: {y: {formula: p, unit: W}, all: {formula: mean_of_runs(p), unit: W}}
        """)
    done = with_repeats(case, None, 9)
    assert half(done, "a") == half(case, "a")
    assert half(done, "d") < half(case, "d")
    k = [output.target.name for output in case.outputs].index("all")
    band = propagate_linearly(done, 0.95)[k]
    assert band.standard_uncertainty == pytest.approx(math.sqrt(3 * 3 / 9 + 1 / 9) / 4, rel=1e-9)


# -- groups -----------------------------------------------------------------------------------


def rows_text(rows: np.ndarray) -> str:
    lines = [f"r{j:02}: {{p: {p!r}, q: {q!r}}}" for j, (p, q) in enumerate(rows.tolist())]
    names = ", ".join(f"r{j:02}" for j in range(len(rows)))
    return f"rows: {{{', '.join(lines)}}}\n          groups: {{full: [{names}]}}"


BENCH = """
        instruments: {{meter: {{accuracy: 0.3 W, span: [0 W, 100 W], digit: 0.1 W}}}}
        inputs: {{off: {{value: 3 W, plus_minus: 0.4 W}}}}
        runs:
          readings: {{p: {{unit: W, instrument: meter}}, q: {{unit: W, plus_minus: 2 W}}}}
          {rows}
        results: {{y: {{formula: p - 0.7 * q + off, unit: W}}}}
        """


def with_moments(
    rng: np.random.Generator, n: int, mean: Sequence[float], cov: object
) -> np.ndarray:
    """Return n rows that have exactly this mean and sample covariance."""
    raw = rng.standard_normal((n, 2))
    raw -= raw.mean(axis=0)
    raw = raw @ np.linalg.inv(np.linalg.cholesky(np.cov(raw.T))).T
    found: np.ndarray = raw @ np.linalg.cholesky(np.asarray(cov)).T + np.asarray(mean)
    return found


@pytest.mark.parametrize(("there", "number"), [(4, 12), (4, 3), (8, 4)])
def test_a_group_done_again_is_as_if_it_had_the_rows(there: int, number: int) -> None:
    rng, mean, cov = np.random.default_rng(there), [60.0, 20.0], [[0.5, 0.2], [0.2, 0.3]]
    few, many = (
        case_of(BENCH.format(rows=rows_text(with_moments(rng, n, mean, cov))))
        for n in (there, number)
    )
    done = with_repeats(few, "full", number)
    allowed = 4 * math.hypot(error_of(done, "full"), error_of(many, "full"))
    assert half(done, "full") == pytest.approx(half(many, "full"), abs=allowed)
    assert abs(half(few, "full") - half(many, "full")) > 2 * allowed


@pytest.mark.parametrize("there", [1, 2])
def test_declared_errors_become_the_scatter_of_the_rows(there: int) -> None:
    """Rows that scatter as declared: p by its repeatability, q by its spread."""
    text = BENCH.replace("digit: 0.1 W", "digit: 0.1 W, repeatability: 0.6 W")
    text = text.replace("plus_minus: 2 W", "standard_uncertainty: 0.5 W")
    rows = "rows: {full: {p: 60, q: 20}}"
    if there == 2:
        rows = rows_text(np.array([[60.2, 20.1], [59.8, 19.9]]))
    few = case_of(text.format(rows=rows))
    rng = np.random.default_rng(3)
    made = with_moments(rng, 5, [60.0, 20.0], [[0.6**2, 0.0], [0.0, 0.5**2]])
    many = case_of(text.format(rows=rows_text(made)))
    done = with_repeats(few, "full", 5)
    allowed = 4 * math.hypot(error_of(done, "full"), error_of(many, "full"))
    assert half(done, "full") == pytest.approx(half(many, "full"), abs=allowed)
    assert half(few, "full") > half(done, "full") + allowed
    assert u_of(done, "full") == pytest.approx(u_of(many, "full"), rel=1e-3)


def test_the_scatter_of_a_published_example_seen_in_more_sets() -> None:
    """Five sets of voltage, current and phase (GUM H.2, table H.2, from memory): R = V cos/I.

    Its second way takes the scatter of the five values of R; s(R) and t are numpy's and scipy's.
    """
    volts = [5.007, 4.994, 5.005, 4.990, 4.999]
    amperes = [0.019663, 0.019639, 0.019640, 0.019685, 0.019678]
    phases = [1.0456, 1.0438, 1.0468, 1.0428, 1.0433]
    rows = ", ".join(
        f"s{j}: {{v: {v}, i: {i}, phi: {phi}}}"
        for j, (v, i, phi) in enumerate(zip(volts, amperes, phases, strict=True))
    )
    case = case_of(f"""
        runs:
          readings:
            v: {{unit: V, exact: true}}
            i: {{unit: A, exact: true}}
            phi: {{unit: rad, exact: true}}
          rows: {{{rows}}}
          groups: {{all: [s0, s1, s2, s3, s4]}}
        results: {{y: {{formula: v / i * cos(phi), unit: ohm}}}}
        """)
    s = np.std(np.divide(volts, amperes) * np.cos(phases), ddof=1)
    assert s / math.sqrt(5) == pytest.approx(0.071, abs=0.0005)  # as printed there
    for number in (3, 5, 10, 20):
        done = with_repeats(case, "all", number)
        expected = stats.t.ppf(0.975, number - 1) * s / math.sqrt(number)
        assert half(done, "all") == pytest.approx(expected, abs=4 * error_of(done, "all"))
        assert u_of(done, "all") == pytest.approx(s / math.sqrt(number), rel=1e-9)
    assert half(with_endless_repeats(case, "all"), "all") == 0.0


POOLED = """
        runs:
          readings: {p: {unit: W, plus_minus: 9 W}}
          rows: {a1: {p: 10}, a2: {p: 10.4}, b1: {p: 50}, b2: {p: 51}, b3: {p: 49.5}}
          groups: {a: [a1, a2], b: [b1, b2, b3]}
          pool: true
        results: {y: {formula: p, unit: W}}
        """


@pytest.mark.parametrize(("of", "dof", "runs"), [("a", 8, (7, 3)), (None, 12, (7, 7))])
def test_a_pooled_scatter_has_the_degrees_of_all_groups(
    of: str | None, dof: int, runs: tuple[int, int]
) -> None:
    """Seven runs of a (6 degrees) beside three of b (2), or seven of both."""
    relative = np.concatenate([np.array(x) / np.mean(x) - 1 for x in ([10, 10.4], [50, 51, 49.5])])
    s = math.sqrt((relative**2).sum() / 3)
    done = with_repeats(case_of(POOLED), of, 7)
    for group, mean, n in zip("ab", (10.2, 150.5 / 3), runs, strict=True):
        expected = stats.t.ppf(0.975, dof) * mean * s / math.sqrt(n)
        assert half(done, group) == pytest.approx(expected, abs=4 * error_of(done, group))


# -- what stays, and what is refused ----------------------------------------------------------


def test_as_many_as_there_are_is_the_case_as_it_is() -> None:
    for text, run, number in (
        (BENCH.format(rows="rows: {full: {p: 60, q: 20}}"), "full", 1),
        (BENCH.format(rows=rows_text(np.array([[60.2, 20.1], [59.8, 19.9]]))), "full", 2),
        (POOLED, "b", 3),
    ):
        case = case_of(text)
        done = with_repeats(case, run, number)
        assert half(done, run) == half(case, run)


def test_what_is_not_repeated_keeps_its_name_and_its_draws() -> None:
    case = case_of(BENCH.format(rows="rows: {full: {p: 60, q: 20}}"))
    before = {source.name: source.distribution for source in case.sources}
    for number in (2, 3, 50):
        after = {s.name: s.distribution for s in with_repeats(case, "full", number).sources}
        assert set(before) <= set(after)
        changed = {name for name in before if before[name] != after[name]}
        assert changed <= {"q[full]"}


def test_a_case_done_again_can_be_ranked() -> None:
    case = with_repeats(case_of(BENCH.format(rows="rows: {full: {p: 60, q: 20}}")), "full", 6)
    summaries = [summarise(c, 0.95, 5, "") for c in Engine(case, 1, 20_000).run()]
    lines = rank(case, 1, 0.95, summaries)[0].lines
    assert {line.item.name for line in lines} == {"scatter of full", "meter", "off"}
    assert sum(line.first_order.value for line in lines if line.first_order) == pytest.approx(
        1.0, abs=0.05
    )


def test_what_cannot_be_done_again_is_refused() -> None:
    single = case_of(BENCH.format(rows="rows: {full: {p: 60, q: 20}}"))
    with pytest.raises(ValueError, match="no run or group is called 'light'"):
        with_repeats(single, "light", 3)
    for of in ("b", None):
        with pytest.raises(ValueError, match="two runs or more, not 1"):
            with_repeats(case_of(POOLED), of, 1)
    with pytest.raises(ValueError, match="not 0"):
        with_repeats(single, "full", 0)


# -- more runs, or a better instrument --------------------------------------------------------


def ranking_of(case: Case, at: int) -> Ranking:
    summaries = [summarise(c, 0.95, 30, "") for c in Engine(case, 1, 20_000).run()]
    return rank(case, 1, 0.95, summaries)[at]


ADVISED = """
        instruments:
          meter:
            error_along_scale: same
            calibration: {expanded_uncertainty: 0.6 W, coverage_factor: 2}
        runs:
          readings: {p: {unit: W, instrument: meter}}
          rows: {a: {p: 49.6}, b: {p: 50}, c: {p: 50}, d: {p: 50}, e: {p: 50.4}}
          groups: {full: [a, b, c, d, e]}
        results: {y: {formula: p, unit: W}}
        """


def test_advice_sets_runs_against_the_instrument() -> None:
    """A scatter of sqrt(0.08) = 0.2828 W in five runs beside a meter with u = 0.3 W."""
    case = case_of(ADVISED)
    at = len(case.outputs) - 1
    advice = advice_on_repeats(case, at, ranking_of(case, at), 1, 0.95, TRIALS)
    assert advice is not None
    assert advice.output.run == "full"
    s, allowed = math.sqrt(0.08), 4 * error_of(case, "full")
    assert advice.now == pytest.approx(t_plus_normal(4, s / math.sqrt(5), 0.3), abs=allowed)
    assert advice.with_more == pytest.approx(t_plus_normal(8, s / 3, 0.3), abs=allowed)
    assert advice.endless == pytest.approx(Z * 0.3, abs=allowed)
    assert advice.instrument == "meter"
    assert advice.with_better == pytest.approx(
        t_plus_normal(4, s / math.sqrt(5), 0.15), abs=allowed
    )


def test_there_is_no_advice_without_a_group_or_an_instrument() -> None:
    case = case_of(ADVISED)
    assert advice_on_repeats(case, 0, ranking_of(case, 0), 1, 0.95) is None
    plain = case_of(ADVISED.replace("instrument: meter}", "plus_minus: 1 W}"))
    at = len(plain.outputs) - 1
    advice = advice_on_repeats(plain, at, ranking_of(plain, at), 1, 0.95)
    assert advice is not None
    assert advice.instrument is None
    assert advice.endless == 0.0
    two = case_of(
        """
        instruments: {meter: {digit: 1 W}}
        runs:
          readings: {p: {unit: W, instrument: meter}}
          rows: {a: {p: 50}, b: {p: 50}}
          groups: {full: [a, b]}
        results: {y: {formula: p, unit: W}}
        """
    )
    assert advice_on_repeats(two, 2, ranking_of(two, 2), 1, 0.95) is None


def test_the_advice_in_words() -> None:
    """The half-widths of a worked bench: 5 runs 0.51, 9 runs 0.46, floor 0.44 points."""
    output = case_of(ADVISED).outputs[-1]
    advice = RepeatAdvice(output, 4, 0.0051, 0.0046, 0.0044, "receiver_gauge", 0.0038)
    assert repeat_advice_words(advice, parse_unit("%")) == (
        "4 more runs: half-width 0.51 -> 0.46 points; endless runs 0.44; "
        "receiver_gauge twice as good: 0.38"
    )
    plain = RepeatAdvice(output, 4, 12.0, 11.6, 11.0, None, None)
    assert repeat_advice_words(plain, parse_unit("W")) == (
        "4 more runs: half-width 12 -> 12 W; endless runs 11"
    )


def test_twice_as_good_is_half_of_every_error() -> None:
    case = case_of("""
        instruments: {meter: {accuracy: 0.6 W, digit: 1 W, repeatability: 3 W, stability: 0.3 W}}
        inputs:
          off: {value: 1 W, plus_minus: 0.4 W}
          share: {value: 0.5, within_factor: 1.2}
        runs:
          readings: {p: {unit: W, instrument: meter}, q: {unit: W, plus_minus: 5 W}}
          rows: {full: {p: 50, q: 2}}
        results: {y: {formula: p + q + off, unit: W}, z: {formula: share, unit: 1, is: ratio}}
        """)
    parts = {
        "meter": (0.6**2 + 0.5**2 + 0.3**2) / 3 + 3**2,
        "q": 5**2 / 3,
        "off": 0.4**2 / 3,
    }
    items = {item.name: item for item in case.items}
    for name, part in parts.items():
        assert can_be_better(items[name])
        u = math.sqrt(sum(parts.values()) - part * (1 - 1 / 4))
        assert u_of(with_item_better(case, items[name]), "full") == pytest.approx(u, rel=1e-9)
    # a factor of 1.2 either way becomes one of sqrt(1.2): 95 % of the trials
    better = with_item_better(case, items["share"])
    low, high = 0.5 / math.sqrt(1.2), 0.5 * math.sqrt(1.2)
    law = next(s.distribution for s in better.sources if s.name == "share")
    assert law.cdf(high) - law.cdf(low) == pytest.approx(0.95, abs=1e-3)
    assert half(better, None, "z") == pytest.approx((high - low) / 2, rel=0.01)
