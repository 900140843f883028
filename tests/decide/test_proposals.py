"""What the catalogue would bring for one specimen of several, against numpy and closed forms."""

from __future__ import annotations

import textwrap

import numpy as np
import pytest

from effband.case.model import Case
from effband.case.resolve import understand
from effband.case.text import parse_case
from effband.decide.common_draws import CommonDraws
from effband.decide.plan import plan
from effband.decide.proposals import Proposal, proposals
from effband.decide.upgrades import advise

DRAWS = CommonDraws(1, 0.95)
ALLOWED = 0.01  # of a half-width: four simulation uncertainties on either side


def case_of(text: str) -> Case:
    text = "effband: 1\ntitle: invented for a test\n" + textwrap.dedent(text)
    return understand(parse_case(text.encode(), "case.yaml"))


def proposed(case: Case) -> dict[str, Proposal]:
    found = advise(case, DRAWS).proposals
    return {proposal.item.name: proposal for proposal in found}


def half_of_sum(*limits: float) -> float:
    """Return the half-width of a sum of even errors within +- so much, from numpy."""
    rng = np.random.default_rng(7)
    total = np.sum([rng.uniform(-a, a, 1_000_000) for a in limits], axis=0)
    return float(np.subtract(*np.quantile(total, [0.975, 0.025]))) / 2


TWO = """
    instruments:
      probe: {reads: temperature, accuracy: 2 K, span: [0 degC, 100 degC],
              error_along_scale: same}
    inputs:
      hot: {value: 40 degC, instrument: probe#1}
      cold: {value: 20 degC, instrument: probe#2}
    results: {dt: {formula: hot - cold, unit: K}}
    """


def test_one_specimen_exchanged_leaves_the_other_as_it_is() -> None:
    # class A errs by 0.15 K + 0.002 |t| (IEC 60751, from memory): 0.23 K at 40 degC, 0.19 K at
    # 20 degC; class AA would hardly show beside the other's 2 K
    found = proposed(case_of(TWO))
    assert found["probe#1"].then.value == pytest.approx(half_of_sum(2, 0.23), rel=ALLOWED)
    assert found["probe#2"].then.value == pytest.approx(half_of_sum(2, 0.19), rel=ALLOWED)
    likes = {proposal.like for proposal in found.values()}
    assert likes == {"resistance thermometer Pt100 class A"}


def test_a_specimen_without_a_number_is_one_of_several() -> None:
    found = proposed(case_of(TWO.replace("probe#1", "probe")))
    assert set(found) == {"probe", "probe#2"}
    assert found["probe"].then.value == pytest.approx(half_of_sum(2, 0.23), rel=ALLOWED)


def test_one_probe_for_both_is_exchanged_for_both() -> None:
    # the only specimen there is: as good as an entry of the catalogue in its place
    text = TWO.replace("probe#2", "probe#1").replace("hot - cold", "hot + 2 * (hot - cold)")
    text = text.replace("unit: K", "unit: degC")
    (found,) = proposed(case_of(text)).values()
    assert found.then.value < 0.15 * 0.95 * 2


def test_readings_of_runs_and_single_cells_go_with_their_specimen() -> None:
    # a column read with probe#1, but one cell of it with probe#2
    case = case_of("""
        instruments:
          probe: {reads: temperature, accuracy: 2 K, span: [0 degC, 100 degC],
                  error_along_scale: same}
        runs:
          readings: {t: {unit: degC, instrument: probe#1}}
          rows: {a: {t: 40}, b: {t: 41}, c: {t: {value: 20 degC, instrument: probe#2}}}
        results: {dt: {formula: "in_run(t, a) - in_run(t, c)", unit: K}}
        """)
    found = proposed(case)
    assert found["probe#1"].then.value == pytest.approx(half_of_sum(2, 0.23), rel=ALLOWED)
    assert found["probe#2"].then.value == pytest.approx(half_of_sum(2, 0.19), rel=ALLOWED)


def test_the_other_specimen_is_drawn_alike() -> None:
    # nothing is left but what probe#2 gives: the same draws, so the same to rounding
    case = case_of(TWO.replace("hot - cold", "cold + 0 * hot").replace("unit: K", "unit: degC"))
    item = next(item for item in case.items if item.name == "probe#1")
    now = DRAWS.half_of(case, ("dt", None))
    assert now is not None
    assert proposals(case, [item], ("dt", None), now, DRAWS) == ()


def test_a_plan_does_not_say_that_one_of_two_reaches_it() -> None:
    case = case_of(TWO)
    found = plan(case, case.outputs[0], "0.5 K", DRAWS)
    assert [each.name for each in found.better] != []
    assert found.reaching == ()
