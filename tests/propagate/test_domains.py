"""Physics functions outside their domain: said with the numbers, or refused; in trials as well."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from effband.case.model import Case
from effband.problems import CaseError, Problem
from effband.study import Study, load, run, with_options

Load = Callable[[str], Case]
CASE = """\
effband: 1
title: domains
inputs:
  p: {value: P bar, plus_minus: 1 bar, reads: absolute pressure, gas: settled}
  b: {value: 1 bar, plus_minus: 5 mbar, reads: absolute pressure}
  v: {value: 12 L, plus_minus: 0.1 L}
  pf: PF
runs:
  readings:
    volts: {unit: V, plus_minus: 1 V}
  rows: ROWS
formulas:
  air: receiver_exergy(p, v, b)
  lamp: lamp_power(rating, rated_volts, volts, 1.57)
  mains: ac_power(current, volts, pf)
  current: one_amp
  rated_volts: one_volt * 230
  rating: 60 * one_volt * one_amp
results:
  air: {formula: air, unit: kJ}
  lamp: {formula: lamp, unit: W}
  mains: {formula: mains, unit: W}
"""
CONSTANTS = "  one_amp: {constant: 1 A}\n  one_volt: {constant: 1 V}\n"


def case_text(p: str = "9", pf: str = "{value: 0.9, plus_minus: 0.02}", rows: str = "") -> str:
    text = CASE.replace("P bar,", f"{p} bar,").replace("PF", pf)
    text = text.replace("ROWS", rows or "{a: {volts: 225}, b: {volts: 210}}")
    text = text.replace("ac_power(current, volts, pf)", "ac_power(volts, current, pf)")
    return text.replace("runs:\n", CONSTANTS + "runs:\n", 1)


@pytest.fixture
def loaded(tmp_path: Path) -> Load:
    def read(text: str) -> Case:
        file = tmp_path / "case.yaml"
        file.write_text(text, encoding="utf-8")
        return load(str(file))

    return read


def said(case: Case) -> list[Problem]:
    return [each for each in case.warnings if "`effband physics" in each.remedy]


def marked(case_text: str, problem: Problem) -> str:
    place = problem.place
    assert place is not None
    line = case_text.split("\n")[place.line - 1]
    return line[place.column - 1 : place.column - 1 + place.length]


def remarks(study: Study) -> list[str]:
    return [remark.what for remark in study.remarks]


def worked(case: Case) -> Study:
    return run(case, with_options(case.settings, trials=20_000))


def test_inside_nothing_is_said(loaded: Load) -> None:
    case = loaded(case_text())
    assert said(case) == []
    assert not any(
        " in 1 of " in what or "trials looked at" in what for what in remarks(worked(case))
    )


def test_outside_is_said_with_the_number_the_bound_and_the_reason(loaded: Load) -> None:
    text = case_text(p="201")
    (problem,) = said(loaded(text))
    assert problem.what == "receiver_exergy: p is 201 bar, above 50 bar"
    assert problem.remedy.endswith("; `effband physics receiver_exergy` says where it holds")
    assert marked(text, problem) == "receiver_exergy"


def test_what_was_said_of_the_numbers_as_written_is_not_said_again_of_the_trials(
    loaded: Load,
) -> None:
    assert not any(
        "receiver_exergy" in what for what in remarks(worked(loaded(case_text(p="201"))))
    )


def test_runs_are_named_and_the_worst_is_shown(loaded: Load) -> None:
    rows = "{a: {volts: 225}, b: {volts: 150}, c: {volts: 170}}"
    problems = said(loaded(case_text(rows=rows)))
    (problem,) = [each for each in problems if each.what.startswith("lamp_power")]
    assert " in runs b, c, " in problem.what
    assert f"{150 / 230:.5g}" in problem.what
    assert problem.what.endswith("below 0.8")


def test_many_runs_are_counted(loaded: Load) -> None:
    rows = "{" + ", ".join(f"r{k}: {{volts: {150 + k}}}" for k in range(6)) + "}"
    (problem,) = [p for p in said(loaded(case_text(rows=rows))) if p.what.startswith("lamp")]
    assert " at the worst of 6 runs, " in problem.what


def test_where_the_result_would_mean_nothing_the_case_is_refused(loaded: Load) -> None:
    text = case_text(pf="{value: 1.1, plus_minus: 0.02}")
    with pytest.raises(CaseError) as refused:
        loaded(text)
    (problem,) = refused.value.problems
    assert problem.what == "ac_power: power_factor is 1.1 in runs a, b, above 1"
    assert marked(text, problem) == "ac_power"
    assert refused.value.exit_code == 1


def test_trials_that_leave_a_domain_are_counted(loaded: Load) -> None:
    case = loaded(case_text(p="49.5"))  # even from 48.5 to 50.5: a quarter lies above 50
    (what,) = [what for what in remarks(worked(case)) if "receiver_exergy" in what]
    head, share, tail = what.partition("above 50 bar in ")
    assert head == "air: receiver_exergy has p "
    number = float(tail.split()[0]) / 100
    assert share
    assert number == pytest.approx(0.25, abs=4 * (0.25 * 0.75 / 8192) ** 0.5)


def test_a_far_tail_is_no_reason_for_a_warning_but_for_what_is_meaningless(loaded: Load) -> None:
    # one in 10 000 or so above: p by 3.7 deviations; the power factor by as many
    p = case_text().replace(
        "value: 9 bar, plus_minus: 1 bar", "value: 46.3 bar, standard_uncertainty: 1 bar"
    )
    assert not any("receiver_exergy" in what for what in remarks(worked(loaded(p))))
    pf = case_text(pf="{value: 0.9, standard_uncertainty: 0.03}")
    assert any(
        "ac_power has power_factor above 1 in" in what for what in remarks(worked(loaded(pf)))
    )


def test_a_bound_belongs_to_the_domain_in_any_unit(loaded: Load) -> None:
    psi = 50e5 / 6894.757293168361
    text = case_text().replace(
        "value: 9 bar, plus_minus: 1 bar", f"value: {psi!r} psi, plus_minus: 0.1 psi"
    )
    assert said(loaded(text)) == []


def test_a_divisor_of_nought_in_a_bound_is_refused_in_words(loaded: Load) -> None:
    text = case_text().replace("rated_volts: one_volt * 230", "rated_volts: 0 * one_volt")
    with pytest.raises(CaseError) as refused:
        loaded(text)
    assert any("rated_voltage is 0 V" in problem.what for problem in refused.value.problems)


def test_the_numbers_do_not_depend_on_the_bounds(loaded: Load) -> None:
    """The same formula written out has no bounds, and the same numbers to the last bit."""
    text = case_text()
    out = text.replace("receiver_exergy(p, v, b)", "v * (p * log(p / b) - p + b)")
    ours, plain = worked(loaded(text)).bands, worked(loaded(out)).bands
    assert [b.summary.interval for b in ours] == [b.summary.interval for b in plain]
