"""Numbers as text: rounded once, by the width of their band, all to one decimal place."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from decimal import Decimal
from typing import Any, NamedTuple

import pytest
from hypothesis import given as given_by_hypothesis
from hypothesis import settings
from hypothesis import strategies as st

from effband.case.model import Output, Target
from effband.propagate.linear import LinearBand
from effband.propagate.ranking import Ranking
from effband.propagate.summary import Interval, SimulationUncertainty, Summary
from effband.report import words
from effband.study import Band
from effband.units import parse_unit

UNITS = ("%", "1", "ppm", "W", "kW", "bar", "degC", "degF", "K", "kg*m^2", "J")


def given(*drawn: Any) -> Callable[[Any], Any]:
    """Draw examples without a deadline: the first one may have to wait for imports."""
    return lambda test: settings(deadline=None)(given_by_hypothesis(*drawn)(test))


def band_of(low: float, value: float, high: float, unit: str = "1") -> Band:
    """Return a band whose ends and value, in its unit, are those given."""
    shown = parse_unit(unit)
    target = Target("x", None, "y", shown, "quantity", None, None)
    si = [shown.to_si(number) for number in (low, value, high)]
    interval = Interval(si[0], si[2])
    none = SimulationUncertainty(0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0)
    summary = Summary(
        mean=si[1],
        standard_uncertainty=(si[2] - si[0]) / 4,
        median=si[1],
        interval=interval,
        shortest=interval,
        simulation=none,
        beyond_ceiling=0.0,
        varies=low < high,
        no_variance=None,
        density=([low, high], [1.0]),
    )
    linear = LinearBand(None, None, None, math.inf)
    ranking = Ranking((), (), False)
    return Band(Output(target, None, 0, None), si[1], summary, linear, None, None, ranking, ())


def last_place(text: str) -> float:
    """Return the worth of one step of a number's last digit."""
    return 10.0 ** -len(text.partition(".")[2])


def digits_shown(text: str) -> int:
    return len(text.replace(".", "").replace("-", "").lstrip("0"))


class Numbers(NamedTuple):
    low: float
    value: float
    high: float
    unit: str


@st.composite
def bands(draw: st.DrawFn) -> Numbers:
    """Draw a band with a width between a millionth of its value and a thousand times it."""
    size = draw(st.floats(-4, 6))
    half = 10.0 ** draw(st.floats(size - 6, size + 3).filter(lambda e: -8 <= e <= 6))
    middle = draw(st.sampled_from([-1, 0, 1])) * 10.0**size
    inside = middle + draw(st.floats(-1, 1)) * half
    return Numbers(middle - half, inside, middle + half, draw(st.sampled_from(UNITS)))


@given(st.floats(-10, 1, exclude_max=True).map(lambda exponent: 10.0**exponent))
def test_a_width_below_ten_shows_two_digits(width: float) -> None:
    text = words.fixed(width, words.decimals_for(width))
    assert digits_shown(text) == 2 or float(text) == 10.0
    assert float(text) == pytest.approx(width, rel=0.051)


@given(st.floats(10, 1e6))
def test_a_width_from_ten_on_shows_no_decimals(width: float) -> None:
    assert words.decimals_for(width) == 0


@pytest.mark.parametrize(
    ("width", "text"),
    [
        (0.0994, "0.099"),
        (0.0996, "0.10"),
        (0.994, "0.99"),
        (0.996, "1.0"),
        (9.94, "9.9"),
        (9.96, "10"),
        (99.6, "100"),
        (0.583, "0.58"),
    ],
)
def test_a_width_that_rounds_up_to_a_power_of_ten(width: float, text: str) -> None:
    assert words.fixed(width, words.decimals_for(width)) == text


@given(st.floats(-1e9, 1e9), st.integers(0, 12))
def test_a_number_is_never_a_negative_zero(number: float, decimals: int) -> None:
    text = words.fixed(number, decimals)
    assert not (text.startswith("-") and float(text) == 0)
    assert Decimal(text) == round(Decimal(number), decimals)


@given(bands())
def test_the_numbers_of_a_band_share_their_decimal_place(numbers: Numbers) -> None:
    shown = words.rounded(band_of(*numbers))
    places = {last_place(text) for text in (shown.low, shown.value, shown.high)}
    assert len(places) == 1
    assert last_place(shown.half_width) in places


@given(bands())
def test_a_value_is_printed_inside_its_own_printed_band(numbers: Numbers) -> None:
    shown = words.rounded(band_of(*numbers))
    assert float(shown.low) <= float(shown.value) <= float(shown.high)
    assert float(shown.low) < float(shown.high)


@given(bands())
def test_rounding_moves_each_number_by_half_a_step_at_most(numbers: Numbers) -> None:
    shown = words.rounded(band_of(*numbers))
    step = last_place(shown.value)
    allowed = 0.5 * step + 1e-9 * (abs(numbers.value) + 1000)
    for text, number in zip((shown.low, shown.value, shown.high), numbers[:3], strict=True):
        assert abs(float(text) - number) <= allowed
    half = (numbers.high - numbers.low) / 2
    assert abs(float(shown.half_width) - half) <= allowed


@given(bands())
def test_printed_half_width_and_printed_ends_agree(numbers: Numbers) -> None:
    shown = words.rounded(band_of(*numbers))
    printed = (Decimal(shown.high) - Decimal(shown.low)) / 2
    assert abs(printed - Decimal(shown.half_width)) <= Decimal(last_place(shown.value)).quantize(
        Decimal(shown.half_width)
    )


@given(bands())
def test_no_number_of_a_band_is_a_negative_zero(numbers: Numbers) -> None:
    shown = words.rounded(band_of(*numbers))
    for text in (shown.low, shown.value, shown.high, shown.half_width):
        assert not (text.startswith("-") and float(text) == 0)


@given(
    st.sampled_from([-1, 1]), st.floats(-9, 6).map(lambda exponent: 10.0**exponent), st.booleans()
)
def test_a_number_without_a_spread_is_still_legible(sign: int, size: float, whole: bool) -> None:
    value = sign * (max(1.0, round(size)) if whole else size)
    text = words.rounded(band_of(value, value, value)).value
    assert float(text) == pytest.approx(value, rel=0.005)


@given(st.floats(-6, 4), st.floats(0, 5), st.floats(1.01, 3), st.floats(-5, 5))
def test_steps_of_two_per_cent_of_a_width_show(
    exponent: float, at: float, steps: float, shift: float
) -> None:
    width = 10.0**exponent
    decimals = words.decimals_to_tell_apart(width)
    if 0.02 * width < 1:
        first, second = ((shift + at + more) * width for more in (0.0, 0.02 * steps))
        assert words.fixed(first, decimals) != words.fixed(second, decimals)
    assert decimals <= max(0, math.ceil(-math.log10(0.02 * width)))


@given(st.floats(0, 1))
def test_a_share_is_whole_from_one_per_cent_up(share: float) -> None:
    text = words.percent(share)
    number = text.removesuffix(" %")
    assert text == f"{number} %"
    assert abs(float(number) - 100 * share) <= (0.5 if share >= 0.01 else 0.05) + 1e-9
    assert ("." in number) == (0.0005 <= share < 0.01)


@given(st.floats(-0.02, 0.02))
def test_a_share_is_never_a_negative_zero(share: float) -> None:
    text = words.percent(share).removesuffix(" %")
    assert not (text.startswith("-") and float(text) == 0)


@pytest.mark.parametrize(
    ("share", "text"), [(0.95, "95 %"), (0.999, "99.9 %"), (0.6827, "68.27 %"), (0.29, "29 %")]
)
def test_a_probability_keeps_its_digits(share: float, text: str) -> None:
    assert words.probability(share) == text


@pytest.mark.parametrize(
    ("unit", "symbol", "width"),
    [
        ("%", "%", "points"),
        ("1", "", ""),
        ("W", "W", "W"),
        ("kg*m^2", "kg*m^2", "kg*m^2"),
        ("degC", "degC", "K"),
        ("degF", "degF", "delta_degF"),
    ],
)
def test_symbols_of_a_unit_and_of_its_widths(unit: str, symbol: str, width: str) -> None:
    assert words.rounded(band_of(1.0, 2.0, 3.0, unit)).unit == symbol
    assert parse_unit(unit).width_symbol == width


def test_the_median_stands_for_a_band_without_a_variance() -> None:
    band = band_of(1.0, 2.0, 4.0)
    assert words.central(band) == 2.0
    summary = replace(band.summary, mean=99.0, median=1.9, no_variance="tails")
    assert words.central(replace(band, summary=summary)) == 1.9
    summary = replace(band.summary, mean=None, median=1.8)
    assert words.central(replace(band, summary=summary)) == 1.8
