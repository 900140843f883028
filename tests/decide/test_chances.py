"""Chances to settle a claim about several runs, against normal laws worked out with numpy."""

from __future__ import annotations

import textwrap

import numpy as np
import pytest
from scipy import stats

from effband import study
from effband.case.model import Case
from effband.case.resolve import understand
from effband.case.text import parse_case
from effband.decide.chances import Chance, unsettled
from effband.decide.common_draws import CommonDraws, key_of
from effband.decide.upgrades import advise

DRAWS = CommonDraws(1, 0.95)
ALLOWED = 0.015  # of a chance: 32 768 trials tell a share of 5 % to 0.0012, where the chance
# of three runs changes by at most 6 for 1; 1 024 shifts add 0.005

APART = """
    instruments: {{m: {{repeatability: 1 W}}}}
    runs:
      readings: {{p: {{unit: W, instrument: m}}}}
      rows: {{a1: {{p: {0}}}, a2: {{p: {1}}}, a3: {{p: {2}}}}}
    results: {{x: {{formula: p, unit: W}}}}
    claims: [{{result: x, says: {says}}}]
    upgrades:
      u: {{replaces: m, instrument: {{repeatability: 0.5 W}}}}
    """


def case_of(text: str) -> Case:
    text = "effband: 1\ntitle: invented for a test\n" + textwrap.dedent(text)
    return understand(parse_case(text.encode(), "case.yaml"))


def chance_of(case: Case) -> Chance:
    (option,) = advise(case, DRAWS).options
    (chance,) = option.chances
    return chance


def open_claims(case: Case) -> list[str]:
    keys = {key_of(case.outputs[at]) for claim in case.claims for at in claim.outputs}
    found = unsettled(case, DRAWS.counts(case, keys), DRAWS)
    return [claim.says for claim in found]


# -- what is open -----------------------------------------------------------------------------

THREE = """
    runs:
      readings: {p: {unit: W, standard_uncertainty: 1 W}}
      rows: {a: {p: VALUE}, b: {p: VALUE}, c: {p: VALUE}}
    results: {power: {formula: p, unit: W}}
    claims:
      - {result: power, says: at least 10 W}
      - {result: power, says: between 10 W and 100 W}
      - {result: power, says: at most 12 W}
    """


@pytest.mark.parametrize("value", [9.0, 9.5, 11.0, 12.0, 12.5, 13.5])
def test_open_claims_are_those_that_a_run_leaves_open(value: float) -> None:
    case = case_of(THREE.replace("VALUE", str(value)))
    # three independent normal values: all at once, by hand
    low, high = stats.norm.cdf(value - 10) ** 3, stats.norm.cdf(12 - value) ** 3
    # of "between" only that some value lies below contradicts; above 100 W none ever does
    decided = [not 0.05 < low < 0.95, low >= 0.95 or 1 - low >= 0.95, not 0.05 < high < 0.95]
    says = [claim.says for claim in case.claims]
    assert open_claims(case) == [s for s, done in zip(says, decided, strict=True) if not done]
    verdicts = study.run(case, case.settings).claims
    judged = [v.claim.says for v in verdicts if v.verdict == "not settled"]
    assert open_claims(case) == judged


def test_what_is_contradicted_by_all_runs_together_has_no_chances() -> None:
    # each run alone leaves it open (16 %); that all three hold has .159^3 = 0.4 %
    case = case_of(APART.format(9, 9, 9, says="at least 10 W"))
    assert open_claims(case) == []
    assert all(option.chances == () for option in advise(case, DRAWS).options)


# -- what a better meter would do -----------------------------------------------------------------


@pytest.mark.parametrize(
    ("values", "says", "low", "high"),
    [
        ((10, 10, 10), "at least 9 W", 9.0, np.inf),
        ((10, 11, 10.5), "at least 9 W", 9.0, np.inf),
        ((10, 10, 10), "at most 11.5 W", -np.inf, 11.5),
        ((10, 10, 10), "between 8.5 W and 11.5 W", 8.5, 11.5),
    ],
)
def test_runs_that_share_nothing_move_apart(
    values: tuple[float, ...], says: str, low: float, high: float
) -> None:
    # each moves by sqrt(1 - .5^2) of its own; then all lie within at once with the product
    rng = np.random.default_rng(5)
    moved = np.array(values) + np.sqrt(0.75) * rng.standard_normal((400_000, 3))
    below, above = stats.norm.cdf((low - moved) / 0.5), stats.norm.sf((high - moved) / 0.5)
    holds = np.prod(1 - below - above, axis=1)
    some_below, some_above = (1 - np.prod(1 - each, axis=1) for each in (below, above))
    chance = chance_of(case_of(APART.format(*values, says=says)))
    assert chance.supported == pytest.approx(np.mean(holds >= 0.95), abs=ALLOWED)
    against = np.mean((some_below >= 0.95) | (some_above >= 0.95))
    assert chance.contradicted == pytest.approx(against, abs=ALLOWED)
    if says == "at least 9 W" and values == (10, 10, 10):
        assert (round(float(np.mean(holds >= 0.95)), 2), round(float(against), 2)) == (0.17, 0.07)


def test_what_runs_share_moves_them_together() -> None:
    # an error of 1 W for all runs, which the upgrade halves, and .5 W of each run's own
    case = case_of("""
        inputs: {off: {value: 0 W, standard_uncertainty: 1 W}}
        runs:
          readings: {p: {unit: W, standard_uncertainty: 0.5 W}}
          rows: {a: {p: 10}, b: {p: 10}, c: {p: 10}}
        results: {x: {formula: p + off, unit: W}}
        claims: [{result: x, says: at least 9 W}]
        upgrades: {u: {replaces: off, input: {standard_uncertainty: 0.5 W}}}
        """)
    shifts = np.sqrt(0.75) * stats.norm.ppf((np.arange(4_000) + 0.5) / 4_000)
    nodes, weights = np.polynomial.hermite_e.hermegauss(60)
    at = 10 + shifts[:, np.newaxis] + 0.5 * nodes
    holds = stats.norm.cdf((at - 9) / 0.5) ** 3 @ (weights / weights.sum())
    chance = chance_of(case)
    assert chance.supported == pytest.approx(np.mean(holds >= 0.95), abs=ALLOWED)
    assert chance.contradicted == pytest.approx(np.mean(holds <= 0.05), abs=ALLOWED)


def test_runs_that_are_read_as_before_stay_where_they_are() -> None:
    # a better meter for one run of three: only that one moves
    case = case_of("""
        instruments: {m: {repeatability: 1 W}, n: {repeatability: 1 W}}
        runs:
          readings: {p: {unit: W, instrument: n}}
          rows: {a: {p: {value: 10 W, instrument: m}}, b: {p: 11.2}, c: {p: 11.5}}
        results: {x: {formula: p, unit: W}}
        claims: [{result: x, says: at least 9 W}]
        upgrades: {u: {replaces: m, instrument: {repeatability: 0.5 W}}}
        """)
    others = stats.norm.cdf(2.2) * stats.norm.cdf(2.5)
    # supported where the moved value leaves all three in 95 %
    needed = 9 + 0.5 * stats.norm.ppf(0.95 / others)
    exact = stats.norm.sf((needed - 10) / np.sqrt(0.75))
    assert chance_of(case).supported == pytest.approx(exact, abs=ALLOWED)


def test_one_run_beside_itself_is_one_run() -> None:
    # two results that are one and the same hold together as often as one does
    one = """
        inputs: {off: {value: 10 W, standard_uncertainty: 1 W}}
        runs:
          readings: {p: {unit: W, exact: true}}
          rows: {ROWS}
        results: {x: {formula: p + off, unit: W}}
        claims: [{result: x, says: at least 9 W}]
        upgrades: {u: {replaces: off, input: {standard_uncertainty: 0.5 W}}}
        """
    alone, twice = (
        chance_of(case_of(one.replace("ROWS", rows)))
        for rows in ("a: {p: 0}", "a: {p: 0}, b: {p: 0}")
    )
    exact = stats.norm.cdf((1 - stats.norm.ppf(0.95) * 0.5) / np.sqrt(0.75))
    assert alone.supported == pytest.approx(exact, abs=0.008)
    assert twice.supported == pytest.approx(exact, abs=ALLOWED)
