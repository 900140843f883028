"""Claims judged through the whole tool: the text of a case in, the JSON document out.

The probabilities are those of the normal law (scipy), or of the closed form beside each test.
What a claim asks for, and what may be said of it, follows JCGM 106:2012, 7 and 8, from memory.
"""

from __future__ import annotations

import functools
import json
import math
import re
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from scipy.special import ndtr, ndtri

from effband import study as studies
from effband.decide.claims import CONTRADICTED, NOT_SETTLED, SUPPORTED, Verdict
from effband.propagate.engine import Share
from effband.report import judgements
from effband.report.machine import document, to_json
from effband.report.screen import screen
from effband.study import Study

MILLION = 1_000_000
TIMES_SIMULATION = 4
Z95 = 1.6448536269514722  # 95 % of the normal law lie below it; scipy.special.ndtri(0.95)

Found = dict[str, Any]


@pytest.fixture(scope="module")
def study_of(tmp_path_factory: pytest.TempPathFactory) -> Any:
    """Return a function from the text of a case to its study."""

    @functools.cache
    def work(text: str, trials: int = MILLION, seed: int = 1) -> Study:
        file = tmp_path_factory.mktemp("case") / "case.yaml"
        file.write_text("effband: 1\ntitle: claims\n" + text, encoding="utf-8")
        case = studies.load(str(file))
        return studies.run(case, replace(case.settings, trials=trials, seed=seed))

    return work


def claims_in(study: Study) -> list[Found]:
    """Return the claims of the JSON document, read back."""
    return list(json.loads(to_json(document(study)))["claims"])


def normals(values: list[tuple[float, float]], says: str, unit: str = "%", more: str = "") -> str:
    """Return a case of normal results y0, y1, ..., value and u each in a unit, one claim each."""
    points = {"%": "points"}.get(unit, unit)
    inputs = "".join(
        f"  x{k}: {{value: {y} {unit}, standard_uncertainty: {u} {points}}}\n"
        for k, (y, u) in enumerate(values)
    )
    results = "".join(
        f'  y{k}: {{formula: x{k}, unit: "{unit}", is: ratio}}\n' for k in range(len(values))
    )
    claims = "".join(f"  - {{result: y{k}, says: {says}{more}}}\n" for k in range(len(values)))
    return f"inputs:\n{inputs}results:\n{results}claims:\n{claims}"


def assert_probability(found: Found, exact: float, rounding: float = 0.0) -> None:
    """Hold a probability to its exact value, within the simulation's own uncertainty."""
    error = math.sqrt(exact * (1 - exact) / found["trials"])
    assert abs(found["probability"] - exact) <= TIMES_SIMULATION * error + rounding


# -- one-sided ------------------------------------------------------------------------------------

# y in %, u = 1 point, at least 30 %: y, Phi((y - 30)/1) to four digits, what is to be said.
AT_LEAST = [
    (32.0, 0.9772, SUPPORTED),
    (31.64, 0.9495, NOT_SETTLED),
    (30.5, 0.6915, NOT_SETTLED),
    (30.0, 0.5000, NOT_SETTLED),
    (29.0, 0.1587, NOT_SETTLED),
    (28.36, 0.0505, NOT_SETTLED),
    (28.0, 0.0228, CONTRADICTED),
]


def test_at_least(study_of: Any) -> None:
    found = claims_in(study_of(normals([(y, 1.0) for y, _, _ in AT_LEAST], "at least 30 %")))
    for claim, (y, p, verdict) in zip(found, AT_LEAST, strict=True):
        assert claim["verdict"] == verdict, y
        assert ndtr(y - 30) == pytest.approx(p, abs=5e-5)
        assert_probability(claim, ndtr(y - 30))
        # the one-sided bound of a normal law, and how far inside the limit it lies
        assert claim["bound"] == pytest.approx(y - Z95, abs=0.02)
        assert claim["margin"] == pytest.approx(y - Z95 - 30, abs=0.02)
        assert claim["unit"] == "%"


def test_the_acceptance_limit_is_1645_standard_uncertainties_from_the_limit(study_of: Any) -> None:
    """Guarded acceptance: supported from TL + 1.645 u on, contradicted from TL - 1.645 u down."""
    assert ndtri(0.95) == pytest.approx(Z95, rel=1e-14)
    times = [1.66, 1.63, -1.63, -1.66]
    found = claims_in(study_of(normals([(30 + 2 * k, 2.0) for k in times], "at least 30 %")))
    verdicts = [claim["verdict"] for claim in found]
    assert verdicts == [SUPPORTED, NOT_SETTLED, NOT_SETTLED, CONTRADICTED]


def test_another_confidence_moves_the_acceptance_limit(study_of: Any) -> None:
    """99 %: 2.326 u (scipy)."""
    case = normals([(32.40, 1.0), (32.25, 1.0)], "at least 30 %", more=", confidence: 99 %")
    found = claims_in(study_of(case))
    assert [claim["verdict"] for claim in found] == [SUPPORTED, NOT_SETTLED]
    assert found[0]["confidence"] == 0.99
    assert found[0]["bound"] == pytest.approx(32.40 - ndtri(0.99), abs=0.02)


@pytest.mark.parametrize("limit", ["30 %", "31.3 %", "28 %"])
def test_at_least_and_at_most_share_all_trials(study_of: Any, limit: str) -> None:
    text = normals([(30.5, 1.0)], f"at least {limit}")
    text += f"  - {{result: y0, says: at most {limit}}}\n"
    least, most = claims_in(study_of(text))
    trials = least["trials"]
    assert most["trials"] == trials
    assert round((least["probability"] + most["probability"]) * trials, 3) == trials
    assert least["bound"] < 30.5 < most["bound"]


@pytest.mark.parametrize(("number", "limit"), [(0.57, 57), (0.29, 29)])
@pytest.mark.parametrize("way", ["at least", "at most", "between", "within"])
def test_a_number_on_its_limit_keeps_it(study_of: Any, number: float, limit: int, way: str) -> None:
    """0.57 * 100 is 56.99999999999999 in binary arithmetic, 0.29 * 100 28.999999999999996."""
    assert number * 100 < limit
    says = {"between": f"between {limit} and {limit + 1}", "within": f"is {limit - 1} within 1"}
    text = (
        f"inputs: {{a: {{constant: {number}}}}}\n"
        "results:\n  scaled: {formula: a * 100, unit: 1, is: ratio}\n"
        '  share: {formula: a, unit: "%", is: ratio}\n'
        f"claims:\n  - {{result: scaled, says: {says.get(way, f'{way} {limit}')}}}\n"
        f"  - {{result: share, says: at least {limit} %}}\n"
        f"  - {{result: share, says: at most {limit} %}}\n"
    )
    study = study_of(text, 20_000)
    for claim in claims_in(study):
        assert (claim["verdict"], claim["probability"]) == (SUPPORTED, 1.0)
    assert "beyond" not in screen(study)


def test_29_96_is_not_printed_as_30_beside_at_least_30(study_of: Any) -> None:
    text = normals([(29.96, 0.001), (29.96, 0.5), (30.04, 0.001)], "at least 30 %")
    study = study_of(text, 100_000)
    first, second, third = (judgements.claim(verdict) for verdict in study.claims)
    assert [each.verdict for each in (first, second, third)] == [
        CONTRADICTED,
        NOT_SETTLED,
        SUPPORTED,
    ]
    assert "give at least 29.958" in first.lines[1]
    assert first.lines[1].endswith("points below the limit")
    assert "give at least 29.1" in second.lines[1]
    assert "give at least 30.038" in third.lines[1]
    assert third.lines[1].endswith("points above the limit")


# -- two-sided ------------------------------------------------------------------------------------

# Between 20 % and 35 %: y, u, Phi((35-y)/u) - Phi((20-y)/u) to its digits, what is to be said.
BETWEEN = [
    (34.0, 1.0, 0.8413, NOT_SETTLED),
    (30.0, 2.0, 0.9938, SUPPORTED),
    (34.5, 1.0, 0.6915, NOT_SETTLED),
    (27.5, 5.0, 0.8664, NOT_SETTLED),  # in the very middle, yet too blunt
    (27.5, 150.0, 0.0399, NOT_SETTLED),  # holds both limits: contradicts nothing
    (37.0, 1.0, 0.0228, CONTRADICTED),
    (18.0, 1.0, 0.0228, CONTRADICTED),
]


def test_between(study_of: Any) -> None:
    text = normals([(y, u) for y, u, _, _ in BETWEEN], "between 20 % and 35 %")
    for claim, (y, u, p, verdict) in zip(claims_in(study_of(text)), BETWEEN, strict=True):
        below, above = ndtr((20 - y) / u), ndtr((y - 35) / u)
        assert 1 - below - above == pytest.approx(p, abs=5e-5)
        assert claim["verdict"] == verdict, (y, u)
        assert_probability(claim, 1 - below - above)
        for key, exact in (("probability_below", below), ("probability_above", above)):
            error = math.sqrt(exact * (1 - exact) / claim["trials"])
            assert abs(claim[key] - exact) <= TIMES_SIMULATION * error


# 35 % within 2 points, y = 33.7 %: u in points, the probability to its digits, what is to be said.
WITHIN = [
    (0.2, 1.00, SUPPORTED),
    (1.2, 0.717, NOT_SETTLED),
    (5.0, 0.301, NOT_SETTLED),
    (20.0, 0.079, NOT_SETTLED),
    (50.0, 0.032, NOT_SETTLED),  # 0.032 is less than 5 %, yet each side has about a half
]


def test_within(study_of: Any) -> None:
    text = normals([(33.7, u) for u, _, _ in WITHIN], "is 35 % within 2 points")
    for claim, (u, p, verdict) in zip(claims_in(study_of(text)), WITHIN, strict=True):
        exact = ndtr((37 - 33.7) / u) - ndtr((33 - 33.7) / u)
        assert exact == pytest.approx(p, abs=5e-4)
        assert claim["verdict"] == verdict, u
        assert_probability(claim, exact)
    blunt = claims_in(study_of(text))[-1]
    assert 0.47 < blunt["probability_above"] < 0.51
    assert 0.47 < blunt["probability_below"] < 0.51


def test_within_is_contradicted_on_one_side(study_of: Any) -> None:
    """Phi(3) = 0.99865 lie below 33 %."""
    (claim,) = claims_in(study_of(normals([(30.0, 1.0)], "is 35 % within 2 points")))
    assert claim["verdict"] == CONTRADICTED
    assert claim["probability_below"] == pytest.approx(0.99865, abs=2e-4)


def test_a_worse_instrument_never_supports_a_point(study_of: Any) -> None:
    widths = [0.9, 1.1, 2, 4, 8, 16, 32, 64]
    found = claims_in(
        study_of(normals([(35.0, u) for u in widths], "is 35 % within 2 points"), 100_000)
    )
    assert [claim["verdict"] for claim in found] == [SUPPORTED] + 7 * [NOT_SETTLED]
    chances = [claim["probability"] for claim in found]
    assert chances == sorted(chances, reverse=True)


# -- several runs at once -------------------------------------------------------------------------


def runs_of(spread: str, values: list[float], says: str) -> str:
    """Return a case with a run for each value, whose errors of u = 1 V are shared or not."""
    rows = ", ".join(f"run_{k}: {{v: {value}}}" for k, value in enumerate(values))
    return (
        f"runs:\n  readings: {{v: {{unit: V, standard_uncertainty: 1 V{spread}}}}}\n"
        f"  rows: {{{rows}}}\n"
        "results: {r: {formula: v, unit: V}}\n"
        f"claims: [{{result: r, says: {says}}}]\n"
    )


VALUES = [11.0, 10.5, 12.0]
JOINT = [
    # independent errors: the probabilities multiply; one error shared: the worst run decides
    ("", "at least 10 V", ndtr(1.0) * ndtr(0.5) * ndtr(2.0), "run_1"),
    (", shared: true", "at least 10 V", ndtr(0.5), "run_1"),
    ("", "at most 13 V", ndtr(2.0) * ndtr(2.5) * ndtr(1.0), "run_2"),
    (", shared: true", "at most 13 V", ndtr(1.0), "run_2"),
    # 10 to 13 V: one error e must keep -0.5 <= e <= 1
    (", shared: true", "between 10 V and 13 V", ndtr(1.0) - ndtr(-0.5), "run_1"),
]


@pytest.mark.parametrize(("spread", "says", "exact", "worst"), JOINT)
def test_no_run_named_means_all_at_once(
    study_of: Any, spread: str, says: str, exact: float, worst: str
) -> None:
    study = study_of(runs_of(spread, VALUES, says))
    (claim,) = claims_in(study)
    assert claim["run"] is None
    assert_probability(claim, exact)
    assert claim["worst_run"] == worst
    printed = "\n".join(judgements.claim(study.claims[0]).lines)
    assert "in every run at once" in printed
    assert f"run {worst}" in printed


def test_between_for_all_runs_counts_some_run_outside(study_of: Any) -> None:
    (claim,) = claims_in(study_of(runs_of("", VALUES, "between 10 V and 13 V")))
    inside = [ndtr(13 - v) - ndtr(10 - v) for v in VALUES]
    assert_probability(claim, math.prod(inside))
    some_below = 1 - math.prod(ndtr(v - 10) for v in VALUES)
    some_above = 1 - math.prod(ndtr(13 - v) for v in VALUES)
    assert claim["probability_below"] == pytest.approx(some_below, abs=0.002)
    assert claim["probability_above"] == pytest.approx(some_above, abs=0.002)


def test_runs_that_would_each_do_may_not_do_together(study_of: Any) -> None:
    """0.975 each, 0.975^3 = 0.927 at once."""
    study = study_of(runs_of("", [11.96, 11.96, 11.96], "at least 10 V"))
    (claim,) = claims_in(study)
    assert claim["verdict"] == NOT_SETTLED
    assert claim["margin"] > 0
    assert claim["half_width_wanted"] is None
    assert "each run by itself would do, but not all of them at once" in screen(study)


def test_one_run_that_fails_fails_all(study_of: Any) -> None:
    (claim,) = claims_in(study_of(runs_of("", [20.0, 20.0, 8.0], "at least 10 V")))
    assert (claim["verdict"], claim["worst_run"]) == (CONTRADICTED, "run_2")


# -- ceilings -------------------------------------------------------------------------------------


def heat_engine(work: float, ceiling: str = "ceiling: 1 - cold / hot, ") -> str:
    """Return a heat engine between 373.15 K and 293.15 K, whose limit is 21.44 %."""
    return (
        "inputs:\n"
        f"  work: {{value: {work} J, standard_uncertainty: 6 J}}\n"
        "  heat: {value: 1000 J, standard_uncertainty: 30 J}\n"
        "  hot: {value: 373.15 K, standard_uncertainty: 0.5 K}\n"
        "  cold: {value: 293.15 K, standard_uncertainty: 0.5 K}\n"
        "results:\n"
        f'  eta: {{formula: work / heat, unit: "%", {ceiling}'
        "boundary: {in: heat, out: work}}\n"
        "  unused: {formula: cold / hot, unit: 1, is: ratio}\n"
        "claims:\n"
        "  - {result: eta, says: at least 20 %}\n"
        "  - {result: eta, says: at most 30 %}\n"
        "  - {result: eta, says: at least 26 %}\n"
    )


def test_what_cannot_be_told_from_its_ceiling_supports_nothing(study_of: Any) -> None:
    """215 J of 1000 J: 52.7 % of the trials beat the law, an honest draw about the limit."""
    study = study_of(heat_engine(215))
    least, most, too_much = claims_in(study)
    for claim in (least, most):
        assert claim["beyond_ceiling"] == pytest.approx(0.527, abs=0.0025)
        assert claim["probability"] > 0.955  # enough by itself
        assert claim["verdict"] == NOT_SETTLED
        assert "above its ceiling" in claim["reason"]
    assert too_much["verdict"] == CONTRADICTED  # no ceiling is in the way of that
    assert too_much["reason"] is None
    assert "above its ceiling in 53 % of the trials" in screen(study)


def test_what_is_impossible_gets_no_verdict(study_of: Any) -> None:
    """230 J of 1000 J: 95.9 % beat the law."""
    study = study_of(heat_engine(230))
    for claim in claims_in(study):
        assert claim["beyond_ceiling"] == pytest.approx(0.959, abs=0.0013)
        assert claim["verdict"] is None
        assert "look for the error" in claim["reason"]
    printed = screen(study)
    assert "IMPOSSIBLE" in printed
    assert printed.count("NO VERDICT") == 3


@pytest.mark.parametrize(("work", "mean", "u"), [(215, 21.52, 0.88), (230, 23.02, 0.92)])
def test_a_ceiling_clips_nothing(study_of: Any, work: float, mean: float, u: float) -> None:
    """Clipped, 230 J would look like 21.4 %; discarded, like 21.2 %."""
    with_it, without = (
        document(study_of(heat_engine(work, ceiling)))["results"][0]
        for ceiling in ("ceiling: 1 - cold / hot, ", "ceiling: none, ")
    )
    assert with_it["mean"] == without["mean"]
    assert with_it["interval"] == without["interval"]
    assert with_it["mean"] == pytest.approx(mean, abs=0.01)
    assert with_it["standard_uncertainty"] == pytest.approx(u, abs=0.01)


# -- nothing hangs on chance ----------------------------------------------------------------------


def test_what_never_happens_has_a_bound_of_3_in_the_number_of_trials(study_of: Any) -> None:
    study = study_of(normals([(40.0, 1.0), (20.0, 1.0)], "at least 30 %"), 20_000)
    always, never = claims_in(study)
    assert (always["probability"], never["probability"]) == (1.0, 0.0)
    assert always["probability_bound"] == pytest.approx(1 - 3 / 20_000, rel=1e-12)
    assert never["probability_bound"] == pytest.approx(3 / 20_000, rel=1e-12)
    first, second = (judgements.claim(verdict).lines[0] for verdict in study.claims)
    assert first == "holds in all (more than 99.98 %) of the trials; 95 % are asked for"
    assert second == "holds in none (less than 0.015 %) of the trials; 95 % are asked for"
    seldom = claims_in(study_of(normals([(33.0, 1.0)], "at least 30 %"), 20_000))[0]
    assert seldom["probability_bound"] is None


def even(limit: str, says: str = "at most") -> str:
    """Return a case of a result anywhere from 0 to 1 m, so that `at most p m` holds in p."""
    return (
        "inputs: {x: {low: 0 m, high: 1 m}}\nresults: {r: {formula: x, unit: m}}\n"
        f"claims: [{{result: r, says: {says} {limit}}}]\n"
    )


@pytest.mark.parametrize("limit", ["0.95 m", "0.05 m"])
def test_what_lies_on_a_threshold_is_not_settled_and_says_why(study_of: Any, limit: str) -> None:
    study = study_of(even(limit), 10_000)
    (claim,) = claims_in(study)
    assert claim["verdict"] == NOT_SETTLED
    assert "too near the threshold" in claim["reason"]
    assert claim["trials"] == 10_000_000
    assert claim["half_width_wanted"] is None or claim["half_width_wanted"] > 0
    assert "too near the threshold" in screen(study)


@pytest.mark.parametrize(
    ("limit", "verdict"),
    [("0.951 m", SUPPORTED), ("0.949 m", NOT_SETTLED), ("0.049 m", CONTRADICTED)],
)
def test_no_seed_judges_otherwise(study_of: Any, limit: str, verdict: str) -> None:
    """At 10 000 trials the share scatters by 0.0022, twice its distance from the threshold."""
    found = [claims_in(study_of(even(limit), 10_000, seed))[0] for seed in range(1, 21)]
    assert {claim["verdict"] for claim in found} == {verdict}
    assert max(claim["trials"] for claim in found) > 10_000


def test_many_trials_are_run_where_few_say_nothing_of_a_high_confidence(study_of: Any) -> None:
    """1000 trials without one outside leave room for 3/1000, thirty times what 99.99 % allow."""
    text = normals([(40.0, 1.0)], "at least 30 %", more=", confidence: 99.99 %")
    (claim,) = claims_in(study_of(text, 1_000))
    assert claim["verdict"] == SUPPORTED
    assert claim["trials"] > 3 / 1e-4


def test_trials_are_not_raised_for_nothing(study_of: Any) -> None:
    (claim,) = claims_in(study_of(normals([(32.5, 1.0)], "at least 30 %"), 20_000))
    assert claim["trials"] == 20_000


# -- what would settle it -------------------------------------------------------------------------


def test_the_half_width_that_would_settle_it(study_of: Any) -> None:
    """Normal: u = (y - limit)/1.645 settles "at least", so a half-width of 1.96/1.645 of that."""
    study = study_of(normals([(31.0, 1.0), (29.0, 1.0), (30.0, 1.0)], "at least 30 %"))
    holds, fails, on_it = claims_in(study)
    for claim in (holds, fails):
        assert claim["verdict"] == NOT_SETTLED
        assert claim["half_width"] == pytest.approx(1.96, abs=0.01)
        assert claim["half_width_wanted"] == pytest.approx(ndtri(0.975) / Z95, abs=0.02)
    assert "a half-width of 1.2 points (now 2.0) would settle it" in screen(study)
    # the median lies on the limit within what the trials know: no width to name
    assert (on_it["verdict"], on_it["half_width_wanted"]) == (NOT_SETTLED, None)
    assert "the value lies on the limit" in " ".join(screen(study).split())


def test_settled_claims_want_nothing(study_of: Any) -> None:
    found = claims_in(study_of(normals([(35.0, 1.0), (25.0, 1.0)], "at least 30 %"), 20_000))
    assert [claim["half_width_wanted"] for claim in found] == [None, None]


# -- what it rests on -----------------------------------------------------------------------------


@pytest.mark.parametrize(("guessed", "share"), [(2.0, 0.8), (0.5, 0.2)])
def test_a_verdict_says_when_it_rests_on_judgement(
    study_of: Any, guessed: float, share: float
) -> None:
    """A sum: the guess has its variance over that of both, 4/5 or 1/5."""
    text = (
        "inputs:\n"
        f"  a: {{value: 20 W, standard_uncertainty: {guessed} W, evidence: guess}}\n"
        "  b: {value: 20 W, standard_uncertainty: 1 W, evidence: measured}\n"
        "results: {r: {formula: a + b, unit: W}}\n"
        "claims: [{result: r, says: at least 30 W}]\n"
    )
    study = study_of(text, 100_000)
    (claim,) = claims_in(study)
    assert claim["rests_on_guesses"] == pytest.approx(share, abs=0.02)
    assert ("on guesses (" in screen(study)) == (share > 0.5)


KEYS = {
    "result", "run", "says", "confidence", "verdict", "probability", "probability_bound",
    "probability_below", "probability_above", "simulation_uncertainty", "trials", "unit",
    "worst_run", "absent_runs", "bound", "margin", "half_width", "half_width_wanted",
    "rests_on_guesses", "beyond_ceiling", "disputed_by", "reason",
}  # fmt: skip


def test_the_keys_of_a_claim(study_of: Any) -> None:
    (one_sided,) = claims_in(study_of(normals([(32.5, 1.0)], "at least 30 %"), 20_000))
    (two_sided,) = claims_in(study_of(normals([(32.5, 1.0)], "between 30 % and 40 %"), 20_000))
    assert set(one_sided) == set(two_sided) == KEYS
    assert (one_sided["probability_below"], one_sided["probability_above"]) == (None, None)
    assert one_sided["says"] == "at least 30 %"
    assert one_sided["disputed_by"] == []


def test_a_case_without_claims_has_an_empty_list(study_of: Any) -> None:
    text = normals([(32.5, 1.0)], "at least 30 %").partition("claims:")[0]
    assert claims_in(study_of(text, 20_000)) == []
    assert "Claims" not in screen(study_of(text, 20_000))


# -- printed digits never contradict a verdict ----------------------------------------------------

chances = st.one_of(
    st.floats(0.0, 1.0),
    st.floats(0.9499, 0.9501),
    st.floats(0.0499, 0.0501),
    st.floats(0.999, 1.0),
    st.floats(0.0, 1e-3),
)


@example(1.0, 0.95, MILLION)
@example(1.0, 0.95, 7_000)
@example(0.0, 0.95, 7_000_000)
@given(chances, st.sampled_from([0.95, 0.05, 0.99, 0.5]), st.integers(1_000, 10**8))
def test_a_printed_share_lies_on_the_side_of_its_threshold(
    value: float, threshold: float, trials: int
) -> None:
    text = judgements.share(value, trials, [threshold])
    (number,) = re.findall(r"\d+(?:\.\d+)?", text)
    shown = float(number) / 100
    if 0.0 < value < 1.0 and abs(value - threshold) > 1e-9:
        assert (shown > threshold) == (value > threshold), text
        assert shown > 0.0 or value < 1e-12, text
        assert shown < 1.0 or value > 1 - 1e-12, text
    if value == 1.0:
        assert text.startswith("all (more than")
        assert shown <= 1 - 3 / trials + 1e-13, "never more than is known"
    if value == 0.0:
        assert text.startswith("none (less than")
        assert shown >= 3 / trials - 1e-13, "never less than is possible"


@pytest.fixture(scope="module")
def a_verdict(study_of: Any) -> Verdict:
    found: Verdict = study_of(normals([(32.5, 1.0)], "at least 30 %"), 20_000).claims[0]
    return found


@given(
    limit=st.floats(1.0, 60.0).map(lambda x: round(x, 2)),
    off=st.floats(-5.0, 5.0).filter(lambda x: abs(x) > 1e-9),
    half=st.floats(1e-3, 20.0),
    chance=st.floats(0.0, 1.0),
    least=st.booleans(),
)
def test_a_printed_bound_lies_on_the_side_of_its_limit(
    a_verdict: Verdict, limit: float, off: float, half: float, chance: float, least: bool
) -> None:
    way = "at least" if least else "at most"
    one = replace(a_verdict.claim, way=way, says=f"{way} {limit} %")
    bound = limit + (off if least else -off)
    verdict = replace(
        a_verdict,
        claim=one,
        verdict=SUPPORTED if chance >= 0.95 else NOT_SETTLED if chance > 0.05 else CONTRADICTED,
        holds=Share(chance, 1e-4, MILLION),
        bound=bound / 100,
        limit=limit / 100,
        margin=off / 100,
        half_width=half / 100,
    )
    line = judgements.claim(verdict).lines[1]
    found = re.fullmatch(
        rf"95 % give {way} (-?[\d.]+) % \(one side only\): "
        r"(?:([\d.]+) points (above|below) the limit|right on the limit)",
        line,
    )
    assert found, line
    shown, size, side = found.groups()
    if (off > 0) != (chance >= 0.95):  # the bound comes from fewer trials than the verdict
        assert side is None, line
        return
    assert side == ("above" if bound > limit else "below")
    assert float(size) > 0, line
    assert (float(shown) > limit) == (bound > limit), line


@given(below=st.floats(0.0, 1.0), rest=st.floats(0.0, 1.0))
def test_printed_sides_lie_on_the_side_of_the_confidence(
    a_verdict: Verdict, below: float, rest: float
) -> None:
    above = (1 - below) * rest
    inside = max(1 - below - above, 0.0)
    shares = [Share(each, 1e-4, MILLION) for each in (inside, below, above)]
    verdict = replace(a_verdict, holds=shares[0], outside=(shares[1], shares[2]))
    first, second = judgements.claim(verdict).lines[:2]
    for value, text in (
        (inside, first.removeprefix("holds in ")),
        (below, second),
        (above, second.partition(", ")[2]),
    ):
        number = re.match(r"(\d+(?:\.\d+)?) %", text)
        if number and abs(value - 0.95) > 1e-9:
            assert (float(number[1]) > 95) == (value > 0.95), (first, second)


def test_a_screen_of_claims_fits_its_columns(study_of: Any) -> None:
    study = study_of(heat_engine(215))
    assert all(len(line) <= 80 for line in screen(study).splitlines())


def test_a_claim_on_every_run_is_not_won_by_leaving_one_empty(study_of: Any) -> None:
    text = (
        "runs:\n  readings:\n    p: {unit: W, plus_minus: 1 W, optional: true}\n"
        "  rows: {a: {p: 12}, b: {p: }, c: {p: 13}}\n"
        "results: {x: {formula: p, unit: W}}\n"
        "claims: [{result: x, says: at least 10 W}, {result: x, run: a, says: at least 10 W}]\n"
    )
    every, one = claims_in(study_of(text, 20_000))
    assert every["absent_runs"] == ["b"]
    assert every["verdict"] == "not settled"
    assert every["reason"] == "it speaks of every run, and has no value in b"
    assert (one["absent_runs"], one["verdict"]) == ([], "supported")
