"""The change between two cases, as it is told on a terminal and to machines."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from functools import cache
from typing import Any

import numpy as np
import pytest

from effband.case.resolve import understand
from effband.case.text import parse_case
from effband.decide.compare import Compared, compare
from effband.decide.pairs import pairs_of
from effband.problems import width
from effband.report.comparison import UNSEEN, document, screen

# normal readings, so that every number on the screen is known beforehand
PUMP = """\
effband: 1
title: {title}
headline: eta
inputs:
  gain: {{value: 1, standard_uncertainty: 2 %}}
  read: {{value: {read}, standard_uncertainty: {u}}}
  power: {{value: {power}, plus_minus: 1 W}}
results:
  eta: {{formula: read * gain, unit: "%", boundary: {{in: {into}, out: water}}}}
  power: {{formula: power, unit: W}}
"""


@cache
def told(
    before: tuple[tuple[str, str], ...] = (),
    after: tuple[tuple[str, str], ...] = (("read", "0.64"),),
    by: str | None = None,
    trials: int = 100_000,
) -> Compared:
    plain = {"read": "0.60", "u": "0.002", "power": "100 W", "into": "mains", "title": "pump"}
    cases = [
        understand(parse_case(PUMP.format(**{**plain, **dict(own)}).encode(), f"{name}.yaml"))
        for name, own in (("before", before), ("after", after))
    ]
    settings = replace(cases[0].settings, trials=trials)
    return compare(*cases, pairs_of(*cases, by), settings)


def lines_of(found: Compared) -> list[str]:
    text = screen(found)
    assert text.endswith("\n")
    assert all(width(line) <= 80 for line in text.splitlines())
    return text.splitlines()


def flat(found: Compared) -> str:
    return " ".join(" ".join(lines_of(found)).split())


def test_the_first_lines_say_what_changed_and_whether_it_is_real() -> None:
    """1.96 u, in points: sqrt((60 * 2 %)^2 + 0.2^2), for 64, and sqrt((4 * 2 %)^2 + 2 * 0.2^2)."""
    lines = lines_of(told())
    assert lines[:5] == [
        "before: pump",
        "after:  pump",
        "95 % bands from 100 000 trials",
        "",
        "eta",
    ]
    expected = [
        ("before", 60, np.hypot(1.2, 0.2), "%"),
        ("after", 64, np.hypot(1.28, 0.2), "%"),
        ("change", 4, np.hypot(0.08, 0.2 * 2**0.5), "points"),
        ("ratio", 64 / 60, 64 / 60 * 0.2 * np.hypot(1 / 60, 1 / 64), ""),
    ]
    for line, (name, value, u, unit) in zip(lines[5:9], expected, strict=True):
        found = re.fullmatch(r"  (\w+) +\+?([\d.]+) ?(\S*)  from ([\d.]+) to ([\d.]+) ?(\S*)", line)
        assert found is not None, line
        assert (found[1], found[3], found[6]) == (name, unit, unit)
        numbers = [float(found[k]) for k in (2, 4, 5)]
        half = 1.96 * u
        # half of the last digit, which is at most 5 % of the half-width, and the simulation
        assert numbers == pytest.approx([value, value - half, value + half], abs=0.07 * half)
    assert lines[9] == "  The change is real: after is better in every trial (more than 99.997 %)."


def test_a_fall_is_worse_for_an_efficiency_and_lower_for_a_quantity() -> None:
    found = told(after=(("read", "0.56"), ("power", "90 W")))
    assert "after is worse in every trial" in flat(found)
    assert "100.00 W -> 90.00 W; change -10.0 W" in flat(found)
    assert "after is lower in every trial" in flat(found)
    assert "change -4.00 points" in flat(found)


def test_what_is_not_shown_says_what_is_asked_for() -> None:
    """0.2 points over a u of 0.283: P = 0.760, and no unlike change is hidden by a sign."""
    found = told(after=(("read", "0.602"),))
    assert "Not shown: after is better in 76 % of the trials; 97.5 % are asked for" in flat(found)
    found = told(after=(("read", "0.598"),))
    assert "Not shown: after is worse in 76 % of the trials; 97.5 % are asked for" in flat(found)


def test_both_ends_are_asked_for_where_it_could_have_gone_either_way() -> None:
    """1.8 u: P = 0.964, over 95 % but under 97.5 %, and the band holds 0."""
    found = told(after=(("read", "0.60509"),), by="0 points")
    change = found.changes[0]
    assert change.change.summary.interval.low < 0
    assert change.higher.value == pytest.approx(0.964, abs=0.003)
    assert change.shown(0.95) is False
    assert change.by_shown(0.95) is True
    assert change.shown(0.90) is True
    assert "By 0 points or more: shown, in 96" in flat(found)


def test_too_few_trials_are_said_to_be_too_few() -> None:
    """1.96 u: P = 0.975 itself."""
    found = told(after=(("read", "0.60555"),), trials=2_000)
    assert "Too close to call: after is better in 97" in flat(found)
    assert found.changes[0].shown(0.95) is None


@pytest.mark.parametrize(
    ("by", "said"),
    [
        ("3 points", "By 3 points or more: shown, in 99.9"),
        ("4 points", "By 4 points or more: not shown, in 50 % of the trials (95 % asked for)"),
        ("20 points", "By 20 points or more: not shown, in no trial (less than 0.003 %)"),
        ("-1 points", "By -1 point or further down: not shown, in no trial"),
        ("5 % of value", "By 3 points or more: shown"),
    ],
)
def test_a_change_that_was_asked_about(by: str, said: str) -> None:
    assert said in flat(told(by=by))


def test_bands_that_overlap_are_explained_only_where_they_do() -> None:
    why = "The bands overlap, yet most of their width is error that both tests share."
    assert why in flat(told())
    assert "overlap" not in flat(told(after=(("read", "0.80"),)))
    assert "overlap" not in flat(told(after=(("read", "0.601"),))), "nothing is shown there"
    # 1.5 points over u's of 0.5 each: bands overlap, 1.5/0.707 = 2.1 u; little is shared
    own = (("u", "0.03"),)
    found = told(before=own, after=(("u", "0.031"), ("read", "0.70")), trials=20_000)
    assert "yet to meet both would have to be wrong" in flat(found)


def test_what_sharing_does_is_told() -> None:
    """Apart: 1.96 sqrt((60 * 2 %)^2 + (64 * 2 %)^2 + 2 * 0.2^2) = 3.48 points."""
    found = re.search(
        r"half-width of the change: ([\d.]+) points; ([\d.]+) if nothing were shared",
        flat(told()).replace(" points if", " if"),
    )
    assert found is not None
    assert float(found[1]) == pytest.approx(0.576, abs=0.01)
    assert float(found[2]) == pytest.approx(3.48, abs=0.05)


def test_numbers_that_are_not_the_same_are_told_before_any_number() -> None:
    lines = lines_of(told(after=(("into", "battery"), ("read", "0.64"))))
    at = lines.index("eta")
    assert lines[at + 1].startswith("  NOT THE SAME NUMBER: the denominators differ: mains before")
    assert "NOT THE SAME" not in flat(told())


def test_what_was_shared_and_what_not() -> None:
    text = flat(told())
    assert "drawn once for both: gain, power " in text
    assert "drawn apart: read (defined differently: value)" in text
    assert " ".join(UNSEEN.split()) in text


def test_a_change_without_spread_says_why() -> None:
    found = told(after=())
    text = flat(found)
    assert "The change has no spread, since what is uncertain is the same in both." in text
    assert "both files are the same" in text
    document_ = document(found)
    assert document_["changes"][0]["probability_higher"] is None
    assert document_["changes"][0]["change"]["half_width"] == 0.0


def test_many_results_stay_short() -> None:
    found = told()
    many = replace(found, changes=found.changes[:1] + found.changes[1:] * 9)
    assert "and 3 more changes: see --json, or use --result" in flat(many)


def test_names_from_outside_cannot_touch_the_terminal() -> None:
    found = told()
    evil = replace(found.before, title="\x1b[31mred\u202e " + "long " * 40)
    text = screen(replace(found, before=evil))
    assert "\x1b" not in text
    assert "\u202e" not in text
    lines_of(replace(found, before=evil))


def test_the_document_is_whole_and_in_the_units_of_the_case() -> None:
    found = told(by="3 points")
    told_: dict[str, Any] = json.loads(json.dumps(document(found), allow_nan=False))
    assert next(iter(told_)) == "effband"
    assert told_["before"]["sha256"] == found.before.text.sha256
    assert told_["settings"] == {"seed": 1, "trials": 100_000, "probability": 0.95, "digits": 1}
    first, power = told_["changes"]
    assert (first["result"], first["run"], first["unit"]) == ("eta", None, "%")
    assert first["change_unit"] == "points"
    assert first["before"]["value"] == pytest.approx(60, abs=0.02)
    assert first["change"]["value"] == pytest.approx(4, abs=0.01)
    assert first["change"]["standard_uncertainty"] == pytest.approx(
        100 * (0.04**2 * 0.02**2 + 2 * 0.002**2) ** 0.5, rel=0.01
    )
    ends = first["change"]["interval"]
    assert first["change"]["half_width"] == pytest.approx((ends["high"] - ends["low"]) / 2)
    assert first["by"] == pytest.approx(3)
    assert power["by"] is None
    assert power["probability_by"] is None
    assert first["probability_higher"] == {
        "value": None,
        "less_than": None,
        "more_than": pytest.approx(1 - 3 / 100_000),
        "simulation_uncertainty": 0.0,
        "trials": 100_000,
    }
    assert 0.99 < first["probability_by"]["value"] < 1
    assert first["shown"] is True
    assert first["unshared_half_width"] > 5 * first["change"]["half_width"]
    assert told_["shared"] == ["gain", "power"]
    assert told_["apart"] == [{"source": "read", "why": "defined differently: value"}]
    assert {line["source"] for line in told_["ranking"]} == {
        "gain",
        "read (before)",
        "read (after)",
    }
