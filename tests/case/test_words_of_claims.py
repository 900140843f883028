"""Claims as they may be typed: blanks, differences of temperature, widths that are none."""

from __future__ import annotations

import pytest
from small_case import complaints, understood

CASE = """\
effband: 1
title: claims
inputs:
  power: {value: 9 W, plus_minus: 1 W}
  room: {value: 20 degC, plus_minus: 1 K}
  outside: {value: 5 degC, plus_minus: 1 K}
  share: {value: 0.3, plus_minus: 0.1}
results:
  p: {formula: power, unit: W}
  lift: {formula: room - outside, unit: K}
  inside: {formula: room, unit: K}
  part: {formula: share, unit: 1, is: ratio}
  percent: {formula: share, unit: "%", is: ratio}
claims: [{result: RESULT, says: "SAYS"}]
"""


def written(result: str, says: str) -> str:
    return CASE.replace("RESULT", result).replace("SAYS", says)


@pytest.mark.parametrize(
    ("says", "low", "high"),
    [
        ("at least  8 W", 8.0, None),
        ("at  most 8  W", None, 8.0),
        ("between  8 W  and  10 W", 8.0, 10.0),
        ("is  8 W  within  2 W", 6.0, 10.0),
    ],
)
def test_blanks_do_not_count(says: str, low: float | None, high: float | None) -> None:
    (claim,) = understood(written("p", says)).claims
    assert (claim.low, claim.high) == (low, high)


def test_a_difference_of_temperatures_is_claimed_in_either_degree() -> None:
    """Of 43 degrees Fahrenheit: 43 * 5/9 K. No temperature is one."""
    (claim,) = understood(written("lift", "at least 43 delta_degF")).claims
    assert claim.low == pytest.approx(43 * 5 / 9, rel=1e-12)
    (refused,) = complaints(written("inside", "at least 43 delta_degF"))
    assert "difference" in refused.what
    (refused,) = complaints(written("lift", "at least 43 degF"))
    assert refused.remedy == "write it in K"


@pytest.mark.parametrize(
    ("result", "says", "remedy"),
    [
        ("p", "is 8 W within 0 W", "write such as within 2 W"),
        ("percent", "is 30 % within 0 points", "write such as within 2 points"),
        ("part", "is 0.3 within 0", "write such as within 2"),
    ],
)
def test_a_width_of_nothing_is_refused_in_the_unit(result: str, says: str, remedy: str) -> None:
    (refused,) = complaints(written(result, says))
    assert (refused.what, refused.remedy) == ("within what? the width is above 0", remedy)


def test_a_specimen_is_replaced_by_its_type() -> None:
    text = (
        "effband: 1\ntitle: t\n"
        "instruments: {probe: {accuracy: 2 K, span: [0 degC, 100 degC]}}\n"
        "inputs:\n  hot: {value: 50 degC, instrument: probe#1}\n"
        "  cold: {value: 20 degC, instrument: probe#2}\n"
        "results: {dt: {formula: hot - cold, unit: K}}\n"
        "upgrades:\n  one:\n    replaces: probe#1\n"
        "    instrument: {accuracy: 1 K, span: [0 degC, 100 degC]}\n"
    )
    (found,) = complaints(text)
    assert found.what == "probe#1 is one of several of its type, which are replaced together"
    assert found.remedy == "write probe: all of its specimens are replaced"
