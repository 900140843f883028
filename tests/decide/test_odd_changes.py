"""Changes without spread, and reasons that name what differs. Expected values are by hand."""

from __future__ import annotations

from pathlib import Path

import pytest

from effband import study
from effband.decide.compare import Compared, compare
from effband.decide.pairs import pairs_of
from effband.report.comparison import document, screen

SHIFTED = """\
effband: 1
title: a constant beside what both share
inputs: {{x: {{value: 10 W, plus_minus: 1 W}}, y: {{constant: {y} W}}}}
results:
  s: {{formula: x + y, unit: W}}
  r: {{formula: {r}, unit: W}}
"""
BOUND = """\
effband: 1
title: two inputs that go together
inputs:
  c: {value: 20 W, standard_uncertainty: 1 W}
  d: {value: 25 W, standard_uncertainty: 1 W}
correlations: [{between: [c, d], coefficient: 0.9}]
results: {cd: {formula: c - d, unit: W}, onlyc: {formula: c, unit: W}}
"""
RUNS = """\
effband: 1
title: runs
inputs: {k: {value: 2, plus_minus: 0.1}}
runs:
  readings: {p: {unit: W, plus_minus: 1 W}}
  rows: {light: {p: 10}, f1: {p: 20}, f2: {p: 20.5}, f3: {p: 21}}
  groups: {full: [f1, f2, f3]}
results: {power: {formula: p * k, unit: W}, whole: {formula: k, unit: "1", is: ratio}}
"""


def compared(
    tmp_path: Path, texts: tuple[str, str], result: str | None = None, by: str | None = None
) -> Compared:
    cases = []
    for name, text in zip(("before", "after"), texts, strict=True):
        file = tmp_path / f"{name}.yaml"
        file.write_text(text, encoding="utf-8")
        cases.append(study.load(str(file)))
    before, after = cases
    settings = study.with_options(before.settings, 32_768, None, None)
    return compare(before, after, pairs_of(before, after, by, result), settings)


@pytest.mark.parametrize(
    ("by", "reached"),
    [("2 W", True), ("1.9 W", True), ("2.1 W", False), ("-2 W", False)],
)
def test_a_change_by_exactly_as_much_is_that_much(tmp_path: Path, by: str, reached: bool) -> None:
    """From 10 + 0.1 to 10 + 2.1: exactly 2 but for rounding, and 2 or more was asked."""
    texts = SHIFTED.format(y=0.1, r="x"), SHIFTED.format(y=2.1, r="x")
    found = compared(tmp_path, texts, "s", by)
    assert found.changes[0].by_shown(0.95) is reached
    (change,) = document(found)["changes"]
    assert (change["probability_by"]["less_than"] is None) is reached
    down = "further down" if by.startswith("-") else "more"
    assert f"By {by} or {down}: {'' if reached else 'not '}reached." in screen(found)


def test_rounding_is_no_spread(tmp_path: Path) -> None:
    """Three thirds of a number are that number."""
    found = compared(
        tmp_path, (SHIFTED.format(y=1, r="x / 3 + x / 3 + x / 3"), SHIFTED.format(y=1, r="x")), "r"
    )
    change = found.changes[0]
    assert not change.change.summary.varies
    assert (change.change.value, change.higher.value, change.lower.value) == (0.0, 0.0, 0.0)
    text = screen(found)
    assert "has no spread, since what is uncertain is the same in both" in text
    assert "0.0000" not in text
    assert "half-width of the change" not in text


def test_a_small_change_is_no_rounding(tmp_path: Path) -> None:
    """A millionth of what is measured still varies: 1e-6 of 10 W with 1 W."""
    texts = SHIFTED.format(y=1, r="x"), SHIFTED.format(y=1, r="x * 1.000001")
    change = compared(tmp_path, texts, "r").changes[0]
    assert change.change.summary.varies
    assert change.change.summary.interval.half_width == pytest.approx(0.95e-6, rel=0.05)


@pytest.mark.parametrize(("result", "names"), [("cd", {"c", "d"}), ("onlyc", {"c"})])
@pytest.mark.parametrize("turned", [False, True])
def test_a_correlation_in_one_file_only_is_named(
    tmp_path: Path, result: str, names: set[str], turned: bool
) -> None:
    lines = [line for line in BOUND.splitlines() if "correlations" not in line]
    texts = BOUND, "\n".join(lines) + "\n"
    found = compared(tmp_path, texts[::-1] if turned else texts, result)
    assert {(each.name, each.why) for each in found.apart} == {
        (name, "the correlation differs") for name in names
    }
    assert len(found.apart) == len(names)


def test_a_result_in_other_runs_is_not_called_missing(tmp_path: Path) -> None:
    renamed = RUNS.replace("light", "low").replace("full", "high").replace("f1", "g1")
    renamed = renamed.replace("f2", "g2").replace("f3", "g3")
    with pytest.raises(ValueError, match="both cases have power, but in no run of one name") as why:
        compared(tmp_path, (RUNS, renamed), "power")
    assert "light, f1, f2, f3, full before and low, g1, g2, g3, high after" in str(why.value)


def test_a_group_against_one_run_of_its_name_is_told(tmp_path: Path) -> None:
    single = RUNS.replace("  groups: {full: [f1, f2, f3]}\n", "").replace("f1:", "full:")
    found = compared(tmp_path, (RUNS, single), "power")
    assert "full is a group of 3 runs before and one run after" in screen(found)
    alike = compared(tmp_path, (RUNS, RUNS), "power")
    assert "is a group of" not in screen(alike)


def test_half_widths_that_are_alike_are_told_once(tmp_path: Path) -> None:
    """Where k is shared but hardly matters, what it would be unshared says nothing."""
    texts = tuple(
        SHIFTED.format(y=1, r=f"x + {name}").replace(
            "inputs: {", f"inputs: {{{name}: {{value: 1 W, plus_minus: 40 W}}, "
        )
        for name in ("u", "v")
    )
    text = screen(compared(tmp_path, (texts[0], texts[1]), "r"))
    (line,) = (line for line in text.splitlines() if "half-width of the change" in line)
    assert line.count(" W") == 1


def test_a_source_of_the_case_after_is_called_so(tmp_path: Path) -> None:
    repeats = SHIFTED.format(y=1, r="x + e").replace(
        "inputs: {", "inputs: {e: {repeats: [1.0, 1.2, 1.1], unit: W}, "
    )
    texts = SHIFTED.format(y=1, r="x"), repeats
    found = compared(tmp_path, texts, "r")
    (what,) = (what for what, _ in found.warnings if "no +- figure" in what)
    assert "since e (after) has 2 degrees of freedom" in what
