"""Claims near their threshold are counted again before they count as settled.

At least L of a normal of mean 10 W and 1 W holds with probability Phi(10 - L), a closed form.
"""

from __future__ import annotations

import pytest
from scipy import special

from effband.case.model import Case
from effband.case.resolve import understand
from effband.case.text import parse_case
from effband.decide.chances import unsettled
from effband.decide.common_draws import CommonDraws, key_of

TRIALS = 20_000  # of which a share near 95 % has a standard deviation of 0.15 %


def claimed(holds: float) -> Case:
    limit = 10 - float(special.ndtri(holds))
    text = f"""\
effband: 1
title: a claim near its threshold
inputs: {{x: {{value: 10 W, standard_uncertainty: 1 W}}}}
results: {{p: {{formula: x, unit: W}}}}
claims: [{{result: p, says: at least {limit:.12f} W}}]
"""
    return understand(parse_case(text.encode(), "case.yaml"))


@pytest.mark.parametrize(("holds", "left_open"), [(0.9485, True), (0.9515, False)])
def test_chance_settles_no_claim_near_its_threshold(holds: float, left_open: bool) -> None:
    """One standard deviation off 95 %: of 20 seeds some three lie on the wrong side at first."""
    case = claimed(holds)
    for seed in range(20):
        draws = CommonDraws(seed, 0.95, TRIALS)
        counts = draws.counts(case, [key_of(case.outputs[0])])
        assert bool(unsettled(case, counts, draws)) is left_open, seed
