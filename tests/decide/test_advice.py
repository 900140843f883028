"""What to better first, against closed forms, and against cases with the change typed in.

Where no source is given, the numbers follow from the formulas beside them.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy import optimize, stats

from effband import study
from effband.case.model import Case
from effband.case.resolve import understand
from effband.case.text import parse_case
from effband.decide.common_draws import CommonDraws, Half, ties
from effband.decide.options import Advice, Option, amount_of, output_of
from effband.decide.spending import Candidate, best_purchase
from effband.decide.upgrades import advise

ROOT = Path(__file__).resolve().parents[2]
Z = float(stats.norm.ppf(0.975))
FOUR = 4.0  # simulation uncertainties


def case_of(text: str) -> Case:
    return understand(parse_case(text.encode(), "case.yaml"))


def advice_on(text: str, spend: str | None = None, trials: int = 262_144) -> Advice:
    case = case_of(text)
    amount = None if spend is None else amount_of(case, spend)
    return advise(case, CommonDraws(1, case.settings.probability, trials, 2), None, amount)


def options(advice: Advice) -> dict[str, Option]:
    return {option.name: option for option in advice.options}


def then(option: Option) -> float:
    assert option.then is not None
    return option.then.value


def saved(option: Option) -> float:
    assert option.saved is not None
    return option.saved.value


def scatter(half: Half) -> float:
    """Return one simulation uncertainty of a half-width by itself."""
    return float(np.std(half.batches, ddof=1)) / math.sqrt(len(half.batches))


# -- closed forms ------------------------------------------------------------------------------

SUM = """\
effband: 1
title: a sum of three normal errors
inputs:
  a: {value: 10 W, standard_uncertainty: 3 W}
  b: {value: 20 W, standard_uncertainty: 2 W}
  c: {value: 30 W, standard_uncertainty: 1 W}
results: {y: {formula: a + b + c, unit: W}}
upgrades:
  fine_a: {replaces: a, input: {standard_uncertainty: 1.5 W}, cost: 30 EUR}
  fine_b: {replaces: b, input: {standard_uncertainty: 0.5 W}, cost: 10 EUR}
  all: {replaces: [a, b], input: {standard_uncertainty: 1 W}}
"""


def test_a_linear_normal_case() -> None:
    advice = advice_on(SUM)
    known = {
        "fine_a": math.sqrt(1.5**2 + 4 + 1),
        "fine_b": math.sqrt(9 + 0.25 + 1),
        "all": math.sqrt(3),
    }
    now = Z * math.sqrt(14)
    assert advice.now.value == pytest.approx(now, abs=FOUR * scatter(advice.now))
    assert list(options(advice)) == ["all", "fine_a", "fine_b"]
    for name, option in options(advice).items():
        assert option.saved is not None
        assert option.then is not None
        assert then(option) == pytest.approx(Z * known[name], abs=FOUR * scatter(option.then))
        exact = now - Z * known[name]
        assert saved(option) == pytest.approx(exact, abs=FOUR * option.saved.simulation_uncertainty)
        # common draws: a difference is known better than the half-widths it is made of
        assert option.saved.simulation_uncertainty < 0.9 * scatter(advice.now)
    assert options(advice)["fine_a"].saved_per_cost == pytest.approx(
        saved(options(advice)["fine_a"]) / 30
    )
    assert options(advice)["all"].saved_per_cost is None
    # a and b perfect leave c alone
    assert advice.floor == pytest.approx(Z, rel=0.01)


def test_draws_are_common_to_all_options() -> None:
    # twenty seeds: the scatter of the difference is far below that of two runs by themselves
    apart, alone = [], []
    for seed in range(20):
        case = case_of(SUM.replace("1.5 W", "2.7 W"))  # a tenth better
        found = options(advise(case, CommonDraws(seed, 0.95, 10_000)))["fine_a"]
        apart.append(saved(found))
        alone.append(found.now.value)
    exact = Z * (math.sqrt(14) - math.sqrt(2.7**2 + 5))
    assert np.mean(apart) == pytest.approx(exact, abs=FOUR * np.std(apart) / math.sqrt(20))
    assert np.std(apart) < 0.3 * math.sqrt(2) * np.std(alone)


LOGNORMAL = """\
effband: 1
title: a product of three lognormal numbers
inputs:
  a: {value: 1 W, within_factor: FA}
  b: {value: 1, within_factor: FB}
  c: {value: 1, within_factor: FC}
results: {y: {formula: a * b * c, unit: W}}
upgrades:
  half: {replaces: c, input: {within_factor: F2}}
  quarter: {replaces: c, input: {within_factor: F4}}
"""


def test_so_many_times_better_in_a_product() -> None:
    # The logarithm of y is normal with variance v = .01 + .09 + .25, so its variance is
    # e^v (e^v - 1); with the third k times better, v becomes .1 + .25/k^2. Remaining
    # variances .349 and .231, where 1 - S (1 - 1/k^2) with the first-order index
    # S = .6778 would say .492 and .365.
    def factor(s: float) -> str:
        return f"{math.exp(Z * s):.12g}"  # holds 95 %

    text = LOGNORMAL
    for key, s in (("FA", 0.1), ("FB", 0.3), ("FC", 0.5), ("F2", 0.25), ("F4", 0.125)):
        text = text.replace(key, factor(s))
    advice = advice_on(text)
    case = case_of(text)

    def variance(v: float) -> float:
        return math.exp(v) * (math.exp(v) - 1)

    whole = variance(0.35)
    for k, name, printed, by_index in ((2, "half", 0.349, 0.492), (4, "quarter", 0.231, 0.365)):
        v = 0.1 + 0.25 / k**2
        assert variance(v) / whole == pytest.approx(printed, abs=5e-4)
        option = options(advice)[name]
        assert option.then is not None
        exact = (math.exp(Z * math.sqrt(v)) - math.exp(-Z * math.sqrt(v))) / 2
        assert then(option) == pytest.approx(exact, abs=FOUR * scatter(option.then))
        # the variance through the tool, from the same change
        run = study.run(_changed(case, name), replace(case.settings, trials=262_144))
        u = run.bands[0].summary.standard_uncertainty
        assert u is not None
        assert u**2 / whole == pytest.approx(printed, abs=0.01)
        assert abs(u**2 / whole - by_index) > 0.1


def _changed(case: Case, name: str) -> Case:
    from effband.case.resolve import with_change
    from effband.case.upgrades import change_of

    return with_change(case, change_of(case, name))


EVEN_AND_NORMAL = """\
effband: 1
title: an even and a normal error
inputs:
  even: {value: 5 W, plus_minus: 1 W}
  bell: {value: 5 W, standard_uncertainty: 0.53 W}
results: {y: {formula: even + bell, unit: W}}
upgrades:
  no_even: {replaces: even, input: {constant: 5 W}}
  no_bell: {replaces: bell, input: {constant: 5 W}}
"""


def test_what_has_more_variance_is_not_always_better_first() -> None:
    # The even error has variance 1/3, the normal one .281; but without it the 95 % band is
    # 2 * 1.96 * .53 = 2.078 wide, without the normal one only .95 * 2 = 1.900.
    advice = advice_on(EVEN_AND_NORMAL)
    assert [option.name for option in advice.options] == ["no_bell", "no_even"]
    assert 1 / 3 > 0.53**2
    for name, whole in (("no_even", 2 * Z * 0.53), ("no_bell", 1.9)):
        option = options(advice)[name]
        assert option.then is not None
        assert 2 * then(option) == pytest.approx(whole, abs=2 * FOUR * scatter(option.then))
    assert f"{2 * Z * 0.53:.3f}" == "2.078"
    assert advice.floor == 0.0


def test_a_shared_gauge_is_one_purchase() -> None:
    # Two readings of one gauge whose error is the same all along: it cancels in the
    # difference, so a better one saves nothing there, and twice its limit in the sum.
    text = """\
effband: 1
title: two readings of one gauge
instruments: {gauge: {accuracy: 2 W, error_along_scale: same}}
inputs:
  p: {value: 9 W, instrument: gauge}
  q: {value: 3 W, instrument: gauge}
  own: {value: 0 W, standard_uncertainty: 0.1 W}
headline: HEAD
results: {apart: {formula: p - q + own, unit: W}, both: {formula: p + q + own, unit: W}}
upgrades:
  fine: {replaces: gauge, instrument: {accuracy: 1 W, error_along_scale: same}}
  still: {replaces: own, input: {standard_uncertainty: 0.01 W}}
"""
    both = advice_on(text.replace("HEAD", "both"))
    sums = options(both)
    assert both.floor == 0.0  # gauge and own error perfect
    # even over +-4 W and a normal error of 0.1 W: the ends lie where F = .975
    for limit, half in ((4.0, sums["fine"].now.value), (2.0, then(sums["fine"]))):
        assert half == pytest.approx(_even_and_bell(limit, 0.1), rel=0.004)
    apart = advice_on(text.replace("HEAD", "apart"))
    assert saved(options(apart)["fine"]) == pytest.approx(0.0, abs=1e-9)
    assert then(options(apart)["still"]) == pytest.approx(Z * 0.01, rel=0.01)
    assert [option.name for option in apart.options] == ["still", "fine"]


def _even_and_bell(limit: float, u: float) -> float:
    """Return the half-width of the sum of an even and a normal error."""
    nodes, weights = np.polynomial.legendre.leggauss(400)

    def below(x: float) -> float:
        return float(np.sum(weights * stats.norm.cdf((x - limit * nodes) / u)) / 2)

    return float(optimize.brentq(lambda x: below(x) - 0.975, 0.0, 2 * limit))


# -- claims ------------------------------------------------------------------------------------

CLAIM = """\
effband: 1
title: an efficiency of three parts
inputs:
  a: {value: 0.1, standard_uncertainty: 0.008}
  b: {value: 0.1, standard_uncertainty: 0.006}
  c: {value: 0.112, standard_uncertainty: 0.004}
results: {y: {formula: a + b + c, unit: 1, is: ratio}}
claims: [{result: y, says: CLAIM}]
upgrades:
  fine_a: {replaces: a, input: {standard_uncertainty: 0.004}}
  fine_b: {replaces: b, input: {standard_uncertainty: 0.003}}
  fine_c: {replaces: c, input: {standard_uncertainty: 0.002}}
"""
HALVED = {"fine_a": (0.008, 0.41), "fine_b": (0.006, 0.25), "fine_c": (0.004, 0.08)}


def test_chances_that_an_upgrade_settles_a_claim() -> None:
    # y = .312 with u^2 = .008^2 + .006^2 + .004^2, claim at least .30. Halving one leaves
    # u_new, and moves y by a normal shift of sqrt(u^2 - u_new^2): so y - 1.645 u_new clears
    # .30 with probabilities .41, .25 and .08.
    advice = advice_on(CLAIM.replace("CLAIM", "at least 0.3"))
    u2 = 0.008**2 + 0.006**2 + 0.004**2
    bound = float(stats.norm.ppf(0.95))
    for name, (part, printed) in HALVED.items():
        new2 = u2 - 0.75 * part**2
        shift = math.sqrt(u2 - new2)
        exact = stats.norm.cdf((0.312 - bound * math.sqrt(new2) - 0.3) / shift)
        against = stats.norm.cdf((0.3 - bound * math.sqrt(new2) - 0.312) / shift)
        assert round(exact, 2) == printed
        (chance,) = options(advice)[name].chances
        assert chance.supported == pytest.approx(exact, abs=0.008)
        assert chance.contradicted == pytest.approx(against, abs=0.002)


@pytest.mark.parametrize(
    ("says", "low", "high"),
    [
        ("at most 0.325", -math.inf, 0.325),
        ("between 0.29 and 0.33", 0.29, 0.33),
        ("is 0.31 within 0.018", 0.292, 0.328),
    ],
)
def test_chances_of_other_claims(says: str, low: float, high: float) -> None:
    # the same by many shifted normal laws, one by one
    advice = advice_on(CLAIM.replace("CLAIM", says))
    u2 = 0.008**2 + 0.006**2 + 0.004**2
    for name, (part, _) in HALVED.items():
        new = math.sqrt(u2 - 0.75 * part**2)
        shifts = math.sqrt(0.75) * part * stats.norm.ppf((np.arange(20_000) + 0.5) / 20_000)
        below = stats.norm.cdf((low - 0.312 - shifts) / new)
        above = stats.norm.sf((high - 0.312 - shifts) / new)
        (chance,) = options(advice)[name].chances
        assert chance.supported == pytest.approx(np.mean(1 - below - above >= 0.95), abs=0.02)
        outside = (below >= 0.95) | (above >= 0.95)
        assert chance.contradicted == pytest.approx(np.mean(outside), abs=0.01)


def test_a_settled_claim_has_no_chances() -> None:
    for says in ("at least 0.25", "at least 0.35"):
        advice = advice_on(CLAIM.replace("CLAIM", says))
        assert all(option.chances == () for option in advice.options)


# -- repeats -----------------------------------------------------------------------------------

RUNS = """\
effband: 1
title: a meter and what scatters
inputs: {meter: {value: 0 W, standard_uncertainty: SB W}}
runs:
  readings: {x: {unit: W, standard_uncertainty: 2 W}}
  rows: {one: {x: 100}}
formulas: {y: x + meter}
results: {y: {formula: y, unit: W}}
upgrades:
  better: {replaces: meter, input: {standard_uncertainty: NEW W}}
  more: {repeats: 16}
"""


def _of_repeats(meter: float, number: int) -> float:
    """Return the half-width of a normal error and Student's t of so many runs together."""
    t, scale = stats.t(number - 1), 2 / math.sqrt(number)
    nodes, weights = np.polynomial.hermite_e.hermegauss(200)
    weights = weights / weights.sum()

    def below(x: float) -> float:
        return float(np.sum(weights * t.cdf((x - meter * nodes) / scale)))

    return float(optimize.brentq(lambda x: below(x) - 0.975, 0.0, 60.0))


def test_repeats_beside_a_better_meter() -> None:
    advice = advice_on(RUNS.replace("SB", "1").replace("NEW", "0.5"))
    found = options(advice)
    assert advice.now.value == pytest.approx(Z * math.sqrt(5), rel=0.01)
    assert then(found["more"]) == pytest.approx(_of_repeats(1, 16), rel=0.01)
    assert then(found["better"]) == pytest.approx(Z * math.sqrt(4.25), rel=0.01)
    # 3 runs and their t are worse than one with a known scatter; 2 have the mean of two draws
    assert found["better"].repeats == 2
    # the floor of both: meter and scatter perfect
    assert advice.floor == 0.0


def test_how_many_runs_do_as_much_as_a_better_meter() -> None:
    # the least number whose half-width, from the convolution above, is no more than the meter's
    number = options(advice_on(RUNS.replace("SB", "1.5").replace("NEW", "0.01")))["better"].repeats
    target = Z * math.hypot(2, 0.01)
    assert Z * math.hypot(1.5, 2 / math.sqrt(2)) > target  # two runs will not do
    exact = next(n for n in range(3, 100) if _of_repeats(1.5, n) <= target)
    assert exact > 3
    assert number is not None
    assert abs(number - exact) <= 1


def test_no_number_of_runs_does_what_a_better_meter_does() -> None:
    # without end they leave the meter's 1.96 W
    text = RUNS.replace("SB", "1").replace("NEW", "0.01")
    text = text.replace("standard_uncertainty: 2 W", "standard_uncertainty: 0.8 W")
    found = options(advice_on(text))["better"]
    assert found.by_repeats
    assert then(found) == pytest.approx(Z * 0.8, rel=0.01)
    assert found.repeats is None


def test_repeats_are_nothing_where_there_are_no_runs() -> None:
    assert all(not option.by_repeats for option in advice_on(SUM).options)


# -- money -------------------------------------------------------------------------------------


def _half(value: float) -> Half:
    return Half(value, np.full(8, value))


def _sums(parts: dict[str, float], rest: float) -> object:
    def half_of(names: Sequence[str]) -> Half:
        return _half(math.sqrt(rest + sum(v for n, v in parts.items() if n not in names)))

    return half_of


def test_the_best_set_is_the_best_of_all() -> None:
    # against trying every set, where variances add up exactly
    generator = np.random.default_rng(5)
    for _ in range(30):
        parts = {f"n{k}": float(v) for k, v in enumerate(generator.uniform(0.1, 3, 7))}
        costs = {
            name: float(c) for name, c in zip(parts, generator.integers(5, 60, 7), strict=True)
        }
        half_of = _sums(parts, 1.0)
        assert callable(half_of)
        now = half_of(())
        candidates = [Candidate(n, costs[n], half_of((n,))) for n in parts]
        found = best_purchase(candidates, now, 100.0, lambda _: True, half_of)
        sets = [[n for k, n in enumerate(parts) if bits >> k & 1] for bits in range(1, 2**7)]
        within = [s for s in sets if sum(costs[n] for n in s) <= 100]
        least = min(half_of(s).value for s in within)
        assert found.best is not None
        assert found.best.then.value == pytest.approx(least)
        assert found.best.cost <= 100
        assert not found.greedy


def test_many_options_are_put_together_one_by_one_and_it_is_said() -> None:
    parts = {f"n{k:02}": 1.0 + k / 10 for k in range(13)}
    half_of = _sums(parts, 1.0)
    assert callable(half_of)
    candidates = [Candidate(n, 10.0, half_of((n,))) for n in parts]
    found = best_purchase(candidates, half_of(()), 35.0, lambda _: True, half_of)
    assert found.greedy
    assert found.best is not None
    assert found.best.names == ("n10", "n11", "n12")


def test_of_two_sets_that_tie_the_cheaper_is_bought() -> None:
    halves = {"cheap": _half(1.0), "dear": _half(1.0)}
    candidates = [Candidate("cheap", 5.0, halves["cheap"]), Candidate("dear", 9.0, halves["dear"])]
    found = best_purchase(
        candidates, _half(2.0), 10.0, lambda names: len(names) == 1, lambda _: None
    )
    assert found.tie
    assert found.best is not None
    assert found.best.names == ("cheap",)


def test_an_option_that_states_another_value_is_told_apart() -> None:
    # y = a * b with a = 10 or 9.5: a smaller value, and a smaller width with it
    text = """\
effband: 1
title: another value
inputs:
  a: {value: 10 W, standard_uncertainty: 0.3 W}
  b: {value: 1, standard_uncertainty: 0.1}
results: {y: {formula: a * b, unit: W}}
upgrades:
  other: {replaces: a, input: {value: 9.5 W, standard_uncertainty: 0.3 W}}
  same: {replaces: a, input: {standard_uncertainty: 0.2 W}}
"""
    advice = advice_on(text)
    found = options(advice)
    moved = found["other"].moved
    assert moved is not None
    assert (moved.now, moved.then) == (10.0, 9.5)
    assert not found["other"].beyond
    assert found["same"].moved is None
    # no option passes the floor
    assert advice.floor == pytest.approx(Z * 0.95, rel=0.01)
    assert all(advice.floor < then(option) for option in advice.options)


# A larger tub also takes longer to fill; who forgets that has ten times the flow.
TUB = """\
effband: 1
title: a bucket and a watch
inputs:
  bucket: {value: 20 L, standard_uncertainty: 0.2 L}
  time: {value: 5 s, standard_uncertainty: 0.1 s}
  drop: {constant: 1 W*s/L}
formulas: {flow: bucket / time}
results: {y: {formula: drop * flow, unit: W}}
claims: [{result: y, says: at least 3.9 W}]
upgrades:
  forgotten: {replaces: bucket, input: {value: 200 L, standard_uncertainty: 0.2 L}, cost: 5 EUR}
  tub:
    adds:
      inputs:
        tub: {value: 200 L, standard_uncertainty: 0.2 L}
        tub_time: {value: 50 s, standard_uncertainty: 0.1 s}
    formulas: {flow: tub / tub_time}
    cost: 9 EUR
"""


def test_an_option_that_leaves_the_band_is_neither_ranked_nor_bought() -> None:
    """Relative u: sqrt(0.01^2 + 0.02^2) now, and sqrt(0.001^2 + 0.002^2) with all written."""
    advice = advice_on(TUB, "20 EUR")
    assert [option.name for option in advice.options] == ["tub", "forgotten"]
    tub, forgotten = advice.options
    assert forgotten.beyond
    assert forgotten.moved is not None
    assert forgotten.moved.then == pytest.approx(40.0)
    half = 4 * Z * math.hypot(0.01, 0.02)
    band = forgotten.moved.band
    assert (band.low, band.high) == pytest.approx((4 - half, 4 + half), abs=0.02)
    assert forgotten.left == ("time",)
    assert forgotten.saved is None
    assert forgotten.chances == ()
    assert not tub.beyond
    assert then(tub) == pytest.approx(4 * Z * math.hypot(0.001, 0.002), rel=0.02)
    assert len(tub.chances) == 1
    assert advice.spending is not None
    assert advice.spending.best is not None
    assert advice.spending.best.names == ("tub",)
    assert advice.spending.second is None
    assert advice.ties == ()


def test_nothing_is_bought_for_too_little_money() -> None:
    assert advice_on(SUM, "5 EUR").spending is not None
    spending = advice_on(SUM, "5 EUR").spending
    assert spending is not None
    assert spending.best is None


def test_a_set_is_worked_out_as_one_case() -> None:
    spending = advice_on(SUM, "40 EUR").spending
    assert spending is not None
    assert spending.best is not None
    assert spending.best.names == ("fine_a", "fine_b")
    assert spending.best.then.value == pytest.approx(
        Z * math.sqrt(1.5**2 + 0.25 + 1), abs=FOUR * scatter(spending.best.then)
    )
    assert spending.second is not None
    assert spending.second.names == ("fine_a",)


def test_what_a_method_makes_idle_is_not_bought_with_it() -> None:
    text = SUM.replace(
        "results: {y: {formula: a + b + c",
        "formulas: {part: a + b}\nresults: {y: {formula: part + c",
    )
    text = text.replace(
        "  all:",
        "  meter: {adds: {inputs: {m: {value: 30 W, standard_uncertainty: 0.1 W}}}, "
        "formulas: {part: m}, cost: 5 EUR}\n  all:",
    )
    spending = advice_on(text, "100 EUR").spending
    assert spending is not None
    assert spending.best is not None
    assert spending.best.names == ("meter",)  # a and b no longer count


def test_ties_are_what_the_trials_cannot_tell_apart() -> None:
    noisy = Half(1.0, np.array([0.9, 1.1, 0.9, 1.1, 0.9, 1.1, 0.9, 1.1]))
    close = Half(1.01, np.array([1.1, 0.9, 1.1, 0.9, 1.1, 0.9, 1.1, 0.9]))
    far = Half(3.0, np.full(8, 3.0))
    assert ties([("a", noisy), ("b", close), ("c", far)]) == (("a", "b"),)
    assert ties([("a", noisy), ("c", far)]) == ()
    twice = SUM.replace(
        "  all:", "  same_a: {replaces: a, input: {standard_uncertainty: 1.5 W}}\n  all:"
    )
    assert advice_on(twice).ties == (("fine_a", "same_a"),)


# -- what is not on the list -------------------------------------------------------------------


def test_what_to_measure_first_where_nothing_saves_much() -> None:
    text = SUM[: SUM.index("upgrades:")]
    text += "upgrades: {little: {replaces: c, input: {standard_uncertainty: 0.9 W}}}\n"
    advice = advice_on(text)
    assert advice.first is not None
    item, without = advice.first
    assert item.name == "a"
    assert without == pytest.approx(Z * math.sqrt(5), rel=0.02)
    assert advice_on(SUM).first is None
    halved = {each.item.name: each.then.value for each in advice.proposals}
    assert set(halved) == {"a", "b"}
    assert halved["a"] == pytest.approx(Z * math.sqrt(2.25 + 4 + 1), rel=0.01)
    assert halved["b"] == pytest.approx(Z * math.sqrt(9 + 1 + 1), rel=0.01)


def test_the_catalogue_is_tried_out_with_the_span_there_is() -> None:
    text = """\
effband: 1
title: a dial gauge
instruments: {gauge: {reads: gauge pressure, class: 2.5, span: [0 bar, 10 bar], division: DIV}}
inputs: {p: {value: 5 bar, instrument: gauge}}
results: {p: {formula: p, unit: bar}}
"""
    # class k: even over +- k/10 bar; the division adds a triangle of a quarter of it either way
    advice = advice_on(text.replace("DIV", "0.001 bar"))
    (proposal,) = advice.proposals
    assert proposal.like == "dial gauge class 0.1"
    assert proposal.then.value == pytest.approx(0.95 * 0.01e5, rel=0.01)
    assert advice.now.value == pytest.approx(0.95 * 0.25e5, rel=0.01)
    # a coarse dial hides what a fine class would bring: the plainest that is nearly as good
    advice = advice_on(text.replace("DIV", "1 bar"))
    (proposal,) = advice.proposals
    assert proposal.like in ("dial gauge class 0.25", "dial gauge class 0.6")


# -- from the whole tool -----------------------------------------------------------------------


def test_output_asked_about() -> None:
    case = study.load(str(ROOT / "cases" / "wren_bench.yaml"))
    assert output_of(case, None, None).title == "air_to_wire, run full"
    assert output_of(case, None, "light").title == "air_to_wire, run light"
    assert output_of(case, "air_to_shaft", None).title == "air_to_shaft, run full"
    with pytest.raises(ValueError, match="did you mean air_to_wire"):
        output_of(case, "air_to_wires", None)
    with pytest.raises(ValueError, match="has no run or group 'ful': did you mean full"):
        output_of(case, None, "ful")
    with pytest.raises(ValueError, match="one value for the whole case"):
        output_of(case_of(SUM), "y", "full")


def test_money_that_does_not_fit() -> None:
    case = case_of(SUM)
    assert amount_of(case, "40 EUR").amount == 40
    assert amount_of(case, "40") == amount_of(case, "40 EUR")
    for text, what in (("40 GBP", "in EUR, not GBP"), ("-40", "no cost"), ("much", "no cost")):
        with pytest.raises(ValueError, match=what):
            amount_of(case, text)
    with pytest.raises(ValueError, match="no upgrade of the case has a cost"):
        amount_of(case_of(SUM[: SUM.index("upgrades")]), "40 EUR")


def test_numbers_do_not_depend_on_workers() -> None:
    case = case_of(SUM)
    one, two = (advise(case, CommonDraws(1, 0.95, 100_000, workers)) for workers in (1, 2))
    assert [then(o) for o in one.options] == [then(o) for o in two.options]
