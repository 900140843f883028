"""Plans against closed forms: least numbers of runs, lengths, instruments, and what is said."""

from __future__ import annotations

import functools
import math
import textwrap

import pytest
from scipy import integrate, optimize, stats

from effband.case.as_written import values_as_written
from effband.case.model import Case
from effband.case.resolve import understand, with_longer_runs
from effband.case.text import parse_case
from effband.decide.common_draws import CommonDraws
from effband.decide.options import output_of
from effband.decide.plan import Plan, plan
from effband.decide.target import parse_target
from effband.problems import CaseError, ComputationRefused, Misread, width
from effband.propagate.linear import propagate_linearly
from effband.report import words
from effband.report.plan import document, screen, verdict
from effband.units import parse_unit

Z = stats.norm.ppf(0.975)
TRIALS = 131_072

# Invented: a small water wheel, with the readings that are expected of it.
MILL = """
    headline: wheel_to_wire
    instruments:
      counter: {reads: energy, accuracy: 1 % of reading, error_along_scale: same, digit: 1 kJ}
      bucket: {accuracy: 0.5 kg, span: [0 kg, 3000 kg], digit: 0.5 kg}
    inputs:
      head: {value: 3.2 m, plus_minus: 2 cm, evidence: measured}
    runs:
      expected: true
      readings:
        water: {unit: kg, instrument: bucket}
        made: {unit: kJ, instrument: counter}
        evenness: {unit: "1", standard_uncertainty: 0.03}
      rows:
        noon: {water: 400, made: 5, evenness: 1}
    formulas:
      fallen: water * standard_gravity * head * evenness
    results:
      wheel_to_wire:
        formula: made / fallen
        unit: "%"
        boundary: {in: fall of the water, out: energy at the counter}
    """


def case_of(text: str) -> Case:
    text = "effband: 1\ntitle: invented for a test\n" + textwrap.dedent(text)
    return understand(parse_case(text.encode(), "case.yaml"))


def planned(case: Case, target: str, run: str | None = None, trials: int = TRIALS) -> Plan:
    return plan(case, output_of(case, None, run), target, CommonDraws(1, 0.95, trials))


def meter_and_scatter(scatter: float, meter: float, upgrades: str = "") -> Case:
    """Return one run that scatters, plus a meter's error that every run shares."""
    return case_of(f"""
    inputs: {{off: {{value: 0 W, standard_uncertainty: {meter} W}}}}
    runs:
      readings: {{p: {{unit: W, standard_uncertainty: {scatter} W}}}}
      rows: {{full: {{p: 100}}}}
    results: {{y: {{formula: p + off, unit: W}}}}
    {upgrades}
    """)


def t_plus_normal(dof: float, scale: float, sd: float) -> float:
    """Return the 97.5 % quantile of scale t(dof) + sd N(0, 1), by integration."""

    def above(x: float) -> float:
        def part(z: float) -> float:
            return float(stats.norm.pdf(z) * stats.t.cdf((x - sd * z) / scale, dof))

        return integrate.quad(part, -9, 9, epsabs=1e-10)[0] - 0.975

    return float(optimize.brentq(above, 0.0, 1000 * (scale + sd)))


@functools.cache
def exact_half(number: int, scatter: float, meter: float) -> float:
    if number < 3:
        return Z * math.hypot(meter, scatter / math.sqrt(number))
    return t_plus_normal(number - 1, scatter / math.sqrt(number), meter)


# -- repeats ----------------------------------------------------------------------------------


@pytest.mark.parametrize("target", [3.5, 2.9, 2.75, 2.45])
def test_the_least_number_of_runs(target: float) -> None:
    """Beside a scatter of 2 W and a meter of 1 W: the first number whose exact band is enough."""
    number = next(n for n in range(1, 101) if exact_half(n, 2, 1) <= target)
    found = planned(meter_and_scatter(2, 1), f"{target} W").repeats
    assert found is not None
    # the target lies well between two numbers, so that the trials decide alike
    halves = [exact_half(n, 2, 1) for n in (number - 1, number)]
    assert min(abs(half - target) for half in halves) > 0.025
    assert found.least == number
    assert found.floor == pytest.approx(Z, rel=0.01)
    assert [w.item.name for w in found.limits] == ["off"]
    for n, half in found.halves:
        assert half == pytest.approx(exact_half(n, 2, 1), rel=0.015)
    assert [n for n, _ in found.halves] == [1, 2, 3, 4, 5, 6, 8, 10, 20]


def test_below_the_floor_no_number_of_runs_is_enough() -> None:
    found = planned(meter_and_scatter(2, 1), "1.9 W")
    assert found.repeats is not None
    assert found.repeats.least is None
    assert found.floor == pytest.approx(Z, rel=0.01)
    assert not found.reached


def test_what_more_than_a_hundred_runs_would_need_is_not_reached() -> None:
    """With 100 runs 2.0035 W of 1.96 W for ever: 1.98 W would take over 200."""
    found = planned(meter_and_scatter(2, 1), "1.98 W")
    assert found.repeats is not None
    assert found.repeats.floor < 1.98 < exact_half(100, 2, 1)
    assert found.repeats.least is None
    assert "not reached by 100 runs" in screen(found)
    assert verdict(found)[0].endswith("; more than 100 runs would")


def test_where_nothing_scatters_runs_change_nothing() -> None:
    case = case_of("""
    inputs: {a: {value: 3 W, plus_minus: 1 W}}
    results: {y: {formula: a, unit: W}}
    """)
    found = planned(case, "0.3 W")
    assert found.repeats is None
    assert found.longer is None
    assert found.floor == found.now
    assert "More runs change nothing" in screen(found)
    assert verdict(found)[0] == (
        "no single step listed here reaches 0.3 W; more runs change nothing"
    )


def test_a_group_that_is_there_counts_its_runs() -> None:
    case = case_of("""
    runs:
      readings: {p: {unit: W, plus_minus: 9 W}}
      rows: {a: {p: 49}, b: {p: 50}, c: {p: 50}, d: {p: 51}}
      groups: {full: [a, b, c, d]}
    results: {y: {formula: p, unit: W}}
    """)
    found = planned(case, "0.7 W").repeats
    assert found is not None
    assert found.there == (4,)
    s = math.sqrt(2 / 3)
    assert [n for n, _ in found.halves] == [2, 3, 4, 5, 6, 8, 10, 20]
    for n, half in found.halves:
        assert half == pytest.approx(stats.t.ppf(0.975, n - 1) * s / math.sqrt(n), rel=0.03)
    assert found.least == next(
        n for n in range(4, 100) if stats.t.ppf(0.975, n - 1) * s / math.sqrt(n) <= 0.7
    )
    assert found.floor == 0.0
    assert found.limits == ()


# -- longer runs ------------------------------------------------------------------------------

LENGTH = """
    instruments:
      joules: {{accuracy: {accuracy}, error_along_scale: same}}
    inputs: {{share: {{value: 1, standard_uncertainty: 0.01}}}}
    runs:
      readings: {{e: {{unit: kJ, instrument: joules}}, p: {{unit: bar, standard_uncertainty: {p}}}}}
      rows: {rows}
    results: {{y: {{formula: e * share * p, unit: kJ*bar}}}}
    """
ONE_RUN = "{full: {e: 100, p: 1}}"


def u_of(case: Case, run: str) -> float:
    """Return the relative standard uncertainty of the first-order law."""
    (at,) = [k for k, o in enumerate(case.outputs) if o.run == run]
    band = propagate_linearly(case, 0.95)[at]
    assert band.standard_uncertainty is not None
    assert band.value is not None
    return band.standard_uncertainty / band.value


@pytest.mark.parametrize("times", [1.0, 2.0, 5.5, 10.0])
def test_a_reading_that_grows_errs_by_a_smaller_share(times: float) -> None:
    """2 kJ of 100 kJ once, 1 % always: sqrt((2 %/sqrt(3)/k)^2 + (1 %/sqrt(3))^2 + 1 %^2)."""
    for accuracy, fixed, share in (("2 kJ", 0.02, 0.0), ("2 kJ + 1 % of reading", 0.02, 0.01)):
        case = case_of(LENGTH.format(accuracy=accuracy, p="0.001 bar", rows=ONE_RUN))
        longer = with_longer_runs(case, {"e": times})
        u = math.sqrt((fixed / times + share) ** 2 / 3 + 0.01**2 + 0.001**2)
        assert u_of(longer, "full") == pytest.approx(u, rel=1e-6)
        now, then = (values_as_written(c, [c.outputs[0].step]) for c in (case, longer))
        assert then == pytest.approx(now, rel=1e-12)


def test_the_runs_of_a_group_grow_as_well() -> None:
    rows = (
        "{a: {e: 99, p: 1}, b: {e: 100, p: 1}, c: {e: 101, p: 1}}\n      groups: {full: [a, b, c]}"
    )
    case = case_of(LENGTH.format(accuracy="2 kJ", p="0.001 bar", rows=rows))
    for times in (1.0, 4.0):
        u = math.sqrt((0.02 / times) ** 2 / 3 + 0.01**2 + 0.01**2 / 3)
        longer = with_longer_runs(case, {"e": times})
        assert u_of(longer, "full") == pytest.approx(u, rel=1e-3)
        values = values_as_written(longer, [output.step for output in longer.outputs])
        assert values == pytest.approx([9.9e9, 1e10, 1.01e10, 1e10], rel=1e-12)


def test_the_least_length() -> None:
    """A normal 2 kJ beside 1 %: Z sqrt((2/k)^2 + 1) % of the value, so k is known."""
    text = LENGTH.format(accuracy="2 kJ", p="0.0001 bar", rows=ONE_RUN)
    text = text.replace(
        "accuracy: 2 kJ", "calibration: {expanded_uncertainty: 4 kJ, coverage_factor: 2}"
    )
    case = case_of(text)
    for target in (3.5, 2.6, 2.15):
        found = planned(case, f"{target} % of value").longer
        assert found is not None
        assert (found.grown, found.kept) == (("e",), ("p",))
        k = 2 / math.sqrt((target / Z) ** 2 - 1)
        assert found.least == pytest.approx(math.ceil(10 * k) / 10, abs=0.1001)
        assert found.least is not None
        assert found.least >= k - 0.05
        for times, half in found.halves:
            exact = Z * math.hypot(2 / times, 1) / 100 * 1e5 * 1e3 * 100
            assert half == pytest.approx(exact, rel=0.01)
    found = planned(case, "1.9 % of value").longer
    assert found is not None
    assert found.least is None


def test_a_run_too_long_for_an_instrument_is_said() -> None:
    """400 kg on a scale to 3000 kg: 7.5 times at most."""
    found = planned(case_of(MILL), "1 points")
    assert found.longer is not None
    assert found.longer.grown == ("water", "made")
    assert found.longer.kept == ("evenness",)
    assert found.longer.refused is not None
    most, why = found.longer.refused
    assert most == pytest.approx(7.5)
    assert "lies outside the span of bucket" in why
    assert found.longer.halves[-1][0] == pytest.approx(7.5)
    text = " ".join(screen(found).split())
    assert "more than 7.5 times as long cannot be: water:" in text
    with pytest.raises(CaseError, match="outside the span of bucket"):
        with_longer_runs(case_of(MILL), {"water": 8.0})
    tight = case_of(MILL.replace("3000 kg", "400 kg"))
    short = planned(tight, "1 points").longer
    assert short is not None
    assert short.halves == ()
    assert short.refused is not None
    assert short.refused[0] == 1.0


def test_cells_with_limits_of_their_own_and_tares_stay() -> None:
    case = case_of("""
    runs:
      readings:
        a: {unit: kJ, plus_minus: 2 kJ}
        b: {unit: s, plus_minus: 1 s}
        c: {unit: kg, plus_minus: 1 kg, means: tare}
        d: {unit: kg, plus_minus: 1 kg}
      rows:
        full: {a: 100, b: {low: 40 s, likely: 50 s, high: 60 s}, c: 2, d: 60}
    results: {y: {formula: a / b * (d - c), unit: W*kg}}
    """)
    found = planned(case, "1 W*kg").longer
    assert found is not None
    assert found.grown == ("a", "d")
    assert found.kept == ("b", "c")


# -- better instruments -----------------------------------------------------------------------

UPGRADES = """
    upgrades:
      good_meter: {replaces: off, input: {standard_uncertainty: 0.2 W}}
      nine_runs: {repeats: 9}
    """


def test_upgrades_and_the_widest_done_better() -> None:
    text = UPGRADES.strip("\n")
    case = meter_and_scatter(2, 1, text.lstrip())
    found = planned(case, "3 W")
    halves = {(each.name, each.way): each.half_width for each in found.better}
    expected = {
        ("good_meter", "upgrade"): Z * math.hypot(2, 0.2),
        ("nine_runs", "upgrade"): exact_half(9, 2, 1),
        ("p", "twice as good"): Z * math.hypot(1, 1),
        ("off", "twice as good"): Z * math.hypot(2, 0.5),
    }
    assert set(halves) == set(expected)
    for key, half in expected.items():
        assert halves[key] == pytest.approx(half, rel=0.015)
    assert {(each.name, each.way) for each in found.reaching} == {
        ("nine_runs", "upgrade"),
        ("p", "twice as good"),
    }


# -- what is asked ----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "unit", "nominal", "wanted"),
    [
        ("0.5 points", "%", 0.08, 0.005),
        ("1 point", "%", 0.08, 0.01),
        ("5 % of value", "%", 0.08, 0.004),
        ("5% of the value", "W", -200.0, 10.0),
        ("0.02", "1", 1.3, 0.02),
        ("2 points", "1", 1.3, 0.02),
        ("0.2 kW", "W", 900.0, 200.0),
        ("1.5 K", "degC", 293.15, 1.5),
    ],
)
def test_a_target_is_a_width(text: str, unit: str, nominal: float, wanted: float) -> None:
    assert parse_target(text, parse_unit(unit), nominal) == pytest.approx(wanted, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "unit", "remedy"),
    [
        ("0.5 %", "%", "write `0.5 points`, or `0.5 % of value`"),
        ("0.5", "%", "write `0.5 points`"),
        ("1", "%", "write `1 point`"),
        ("5 %", "W", "write `5 % of value`"),
        ("20", "W", "write `20 W`"),
        ("2 bar", "W", "write such as `0.5 W` or `5 % of value`"),
        ("1 degC", "degC", "write K"),
        ("5 % of value", "degC", "write such as `0.5 K`"),
        ("0 W", "W", "write such as"),
        ("-3 W", "W", "write such as"),
        ("0,5 points", "%", "point for decimals"),
        ("narrow", "W", "write digits"),
        ("", "W", "write digits"),
    ],
)
def test_what_is_no_target_is_refused_with_a_remedy(text: str, unit: str, remedy: str) -> None:
    with pytest.raises(Misread) as caught:
        parse_target(text, parse_unit(unit), 300.0)
    assert remedy in caught.value.remedy


def test_a_result_without_a_value_is_refused() -> None:
    case = case_of("""
    inputs: {a: {value: 0 W, plus_minus: 1 W}, b: {value: 1 W, plus_minus: 0.1 W}}
    results: {y: {formula: b / a, unit: 1, is: ratio}}
    """)
    with pytest.raises(ComputationRefused):
        planned(case, "0.1")


# -- what is said -----------------------------------------------------------------------------


def test_the_screen_says_it_in_one_breath() -> None:
    for target in ("1 points", "3 points", "9 points", "2.7 points"):
        lines = screen(planned(case_of(MILL), target)).splitlines()
        assert max(map(width, lines)) <= 80
        assert len(lines) <= 45
        assert "expected readings" in lines[1]


def test_the_verdict_names_every_step_that_reaches_it() -> None:
    reached = planned(meter_and_scatter(2, 1), "5 W")
    assert verdict(reached) == ["the case as it is reaches it"]
    one = planned(case_of(MILL), "3 points")
    (said,) = verdict(one)
    assert said.startswith("what reaches it: a run ")
    several = planned(meter_and_scatter(2, 1), "3 W")
    assert verdict(several) == [
        "each of these reaches it by itself: 6 runs in all; p twice as good"
    ]
    none = planned(meter_and_scatter(2, 1), "1.5 W")
    assert verdict(none) == [
        "no single step listed here reaches 1.5 W; more runs alone cannot pass 2.0 W",
        "what limits it then: off",
    ]


def test_several_upgrades_may_do_what_none_does_alone() -> None:
    upgrades = """
    upgrades:
      good_meter: {replaces: off, input: {standard_uncertainty: 0.2 W}, cost: 70 EUR}
      nine_runs: {repeats: 9, cost: 9.50 EUR}
    """
    said = verdict(planned(meter_and_scatter(2, 1, upgrades.strip("\n").lstrip()), "0.5 W"))
    (last,) = [each for each in said if "together" in each]
    assert '`effband upgrade case.yaml --spend "79.5 EUR"`' in last
    free = upgrades.replace(", cost: 70 EUR", "").replace(", cost: 9.50 EUR", "")
    said = verdict(planned(meter_and_scatter(2, 1, free.strip("\n").lstrip()), "0.5 W"))
    assert "give each a `cost:`" in said[-1]


def test_an_upgrade_that_gives_another_number_reaches_nothing() -> None:
    upgrades = """
    upgrades:
      other: {replaces: off, input: {value: 90 W, standard_uncertainty: 0.2 W}}
    """
    found = planned(meter_and_scatter(2, 1, upgrades.strip("\n").lstrip()), "3 W")
    (other,) = [each for each in found.better if each.way == "upgrade"]
    assert other.half_width is None
    assert "it moves the value out of its band" in other.why_not
    assert other not in found.reaching


@pytest.mark.parametrize(
    ("size", "limit", "now", "shown"),
    [
        (2.62, 2.6, 4.9, "2.62"),
        (2.56, 2.6, 4.9, "2.6"),
        (0.504, 0.5, 0.6, "0.504"),
        (0.497, 0.5, 0.6, "0.50"),
        (8.96, 10.0, 9.3, "9.0"),
    ],
)
def test_no_number_shown_lies_on_the_wrong_side_of_the_target(
    size: float, limit: float, now: float, shown: str
) -> None:
    assert words.beside_a_limit(size, limit, now) == shown


def test_two_runs_that_reach_it_do_so_by_what_is_declared() -> None:
    """3.39 W with two runs, 5.25 W with three, whose scatter is only what they show."""
    (said,) = verdict(planned(meter_and_scatter(2, 1), "3.5 W"))
    assert "2 runs in all (by the declared spreads; few more may not)" in said


def test_the_document_holds_what_the_screen_says() -> None:
    found = planned(meter_and_scatter(2, 1), "2.6 W")
    told = document(found)
    assert told["target"] == pytest.approx(2.6)
    assert told["half_width"] == pytest.approx(found.now)
    assert told["repeats"]["least"] == 8
    assert told["longer_run"] is None
    assert told["floor"]["limited_by"] == "off"
    assert [each["way"] for each in told["better"]] == ["twice as good", "twice as good"]
    assert told["ranking"][0]["source"] == "p"
    points = document(planned(case_of(MILL), "3 points"))
    assert (points["unit"], points["target"]) == ("%", pytest.approx(3.0))
    assert points["case"]["expected"] is True
    assert points["longer_run"]["refused"]["times"] == pytest.approx(7.5)


def test_workers_change_nothing() -> None:
    case = meter_and_scatter(2, 1)
    output = output_of(case, None, None)
    one, two = (
        document(plan(case, output, "3 W", CommonDraws(1, 0.95, TRIALS, workers)))
        for workers in (1, 2)
    )
    assert one == two
