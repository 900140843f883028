"""Cross-checks through the whole tool: the text of a case in, the JSON document out.

Two results are compatible when their difference is less than about two of its own standard
uncertainties (VIM 2.47, from memory). Numbers are those of the normal law (scipy), of algebra, or
of a sample drawn here with numpy.
"""

from __future__ import annotations

import functools
import json
import math
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from scipy.optimize import brentq
from scipy.special import ndtr, ndtri

from effband import study as studies
from effband.problems import CaseError
from effband.report import judgements
from effband.report.machine import document, to_json
from effband.report.screen import screen
from effband.study import Study

MILLION = 1_000_000
FEW = 50_000
Z = float(ndtri(0.975))

Found = dict[str, Any]
StudyOf = Callable[..., Study]


@pytest.fixture(scope="module")
def study_of(tmp_path_factory: pytest.TempPathFactory) -> StudyOf:
    """Return a function from the text of a case to its study."""

    @functools.cache
    def work(text: str, trials: int = FEW, seed: int = 1) -> Study:
        file = tmp_path_factory.mktemp("case") / "case.yaml"
        file.write_text("effband: 1\ntitle: cross-checks\n" + text, encoding="utf-8")
        case = studies.load(str(file))
        return studies.run(case, replace(case.settings, trials=trials, seed=seed))

    return work


def checks_in(study: Study) -> list[Found]:
    """Return the cross-checks of the JSON document, read back."""
    return list(json.loads(to_json(document(study)))["cross_checks"])


def estimates(values: list[tuple[float, float]], more: str = "", top: str = "") -> str:
    """Return a case of normal estimates e0, e1, ..., of plain numbers, and one cross-check."""
    names = [f"e{k}" for k in range(len(values))]
    inputs = "".join(
        f"  x{k}: {{value: {y}, standard_uncertainty: {u}}}\n" for k, (y, u) in enumerate(values)
    )
    formulas = "".join(f"  e{k}: x{k}\n" for k in range(len(values)))
    return (
        f"{top}inputs:\n{inputs}formulas:\n{formulas}"
        "results: {first: {formula: e0, unit: 1, is: ratio}}\n"
        f"cross_checks: {{same: {{between: [{', '.join(names)}]{more}}}}}\n"
    )


def the_check(study: Study) -> Found:
    (found,) = checks_in(study)
    return found


# -- do they agree --------------------------------------------------------------------------------

APART = math.hypot(0.010, 0.012)  # of two independent estimates: 0.01562
TOGETHER = math.sqrt(0.010**2 + 0.012**2 - 2 * 0.8 * 0.010 * 0.012)  # with r = 0.8: 0.00721
CORRELATED = "correlations: [{between: [x0, x1], coefficient: 0.8}]\n"


@pytest.mark.parametrize(
    ("first", "top", "apart", "times", "verdict"),
    [
        (0.33, "", APART, 1.92, "agree"),
        (0.36, "", APART, 3.84, "disagree"),
        # the same 0.33 and 0.30: what they share cancels, so they must lie closer together
        (0.33, CORRELATED, TOGETHER, 4.16, "disagree"),
    ],
)
def test_two_estimates(
    study_of: StudyOf, first: float, top: str, apart: float, times: float, verdict: str
) -> None:
    check = the_check(study_of(estimates([(first, 0.010), (0.30, 0.012)], top=top), MILLION))
    (pair,) = check["pairs"]
    assert (first - 0.30) / apart == pytest.approx(times, abs=0.005)
    assert check["verdict"] == pair["verdict"] == verdict
    assert check["level"] == pytest.approx(0.95, rel=1e-12)
    assert pair["median"] == pytest.approx(first - 0.30, abs=1e-4)
    assert pair["interval"]["low"] == pytest.approx(first - 0.30 - Z * apart, abs=2e-4)
    assert pair["interval"]["high"] == pytest.approx(first - 0.30 + Z * apart, abs=2e-4)


@pytest.mark.parametrize("members", [3, 4])
def test_with_more_members_each_pair_is_judged_more_mildly(study_of: StudyOf, members: int) -> None:
    """Bonferroni: m pairs at 1 - 0.05/m each, 98.3 % of three, 99.2 % of six."""
    values = [(0.30 + 0.001 * k, 0.01) for k in range(members)]
    check = the_check(study_of(estimates(values), MILLION))
    pairs = math.comb(members, 2)
    assert len(check["pairs"]) == pairs
    assert check["level"] == pytest.approx(1 - 0.05 / pairs, rel=1e-12)
    z = ndtri(1 - 0.05 / pairs / 2)
    for pair in check["pairs"]:
        interval = pair["interval"]
        half = (interval["high"] - interval["low"]) / 2
        assert half == pytest.approx(z * 0.01 * math.sqrt(2), rel=0.01)


def test_a_third_member_may_turn_a_verdict(study_of: StudyOf) -> None:
    """zeta = 2.2 lies beyond 1.96 and within 2.39 (scipy)."""
    two = [(0.30 + 2.2 * 0.01 * math.sqrt(2), 0.01), (0.30, 0.01)]
    assert ndtri(1 - 0.025 / 3) == pytest.approx(2.394, abs=5e-4)
    assert the_check(study_of(estimates(two), MILLION))["verdict"] == "disagree"
    three = [*two, (0.315, 0.01)]
    assert the_check(study_of(estimates(three), MILLION))["verdict"] == "agree"


@pytest.mark.parametrize(
    ("u", "verdict"), [(0.025, "agree"), (0.029, "too blunt"), (0.2, "too blunt")]
)
def test_a_wide_difference_is_no_test(study_of: StudyOf, u: float, verdict: str) -> None:
    """Its half-width is 1.96 sqrt(2) u; a quarter of 0.30 is 0.075, reached at u = 0.0271."""
    check = the_check(study_of(estimates([(0.31, u), (0.30, u)]), MILLION))
    assert check["verdict"] == verdict
    assert check["would_close"] == []


def test_an_estimate_agrees_with_itself_under_another_name(study_of: StudyOf) -> None:
    text = estimates([(0.3, 0.05)]).replace("between: [e0]", "between: [e0, again]")
    text = text.replace("formulas:\n", "formulas:\n  again: 1 * x0\n")
    (pair,) = the_check(study_of(text))["pairs"]
    assert pair["verdict"] == "agree"
    assert pair["interval"] == {"low": 0.0, "high": 0.0}


# -- the energy of one refill ---------------------------------------------------------------------

REFILL = """\
inputs:
  counted: {value: 0.12 kWh, plus_minus: 0.005 kWh}
  gain: {value: 1, plus_minus: 0.03}
  plate: {constant: 2.2 kW}
  load: {low: 0.80, likely: 0.95, high: 1.10}
  motor: {low: 0.70, likely: 0.78, high: 0.84}
  time: {value: 206 s, plus_minus: 2 s}
  air: {value: 104.9 kJ, standard_uncertainty: 2.2 % of value}
  compressor: {low: 0.20, likely: 0.30, high: 0.45}
  electric: {value: 8.436 kJ, plus_minus: 0.2 kJ}
formulas:
  by_meter: counted * gain
  as_electrical: plate * load * time
  as_shaft: as_electrical / motor
  by_air: air / compressor
results:
  energy: {formula: by_meter, unit: kJ}
  wall_to_wire: {formula: electric / by_meter, unit: "%", boundary: {in: plug, out: wire}}
cross_checks:
  input: [by_meter, as_electrical]
  output: [by_meter, as_shaft]
  tank: [by_meter, by_air]
"""


@pytest.fixture(scope="module")
def refill(study_of: StudyOf) -> dict[str, Found]:
    return {check["name"]: check for check in checks_in(study_of(REFILL, MILLION))}


def drawn_refill() -> dict[str, np.ndarray]:
    """Return the four estimates in kJ, drawn here by the case's own words."""
    rng, n = np.random.default_rng(1), 2_000_000
    even = functools.partial(rng.uniform, size=n)
    meter = 3600 * (0.12 + even(-0.005, 0.005)) * (1 + even(-0.03, 0.03))
    electrical = 2.2 * rng.triangular(0.80, 0.95, 1.10, n) * (206 + even(-2, 2))
    shaft = electrical / rng.triangular(0.70, 0.78, 0.84, n)
    air = 104.9 * (1 + 0.022 * rng.standard_normal(n)) / rng.triangular(0.20, 0.30, 0.45, n)
    return {"by_meter": meter, "as_electrical": electrical, "as_shaft": shaft, "by_air": air}


def test_refill_verdicts(refill: dict[str, Found]) -> None:
    """The plate as electrical input agrees, as shaft output not; the air is no test at all."""
    verdicts = {name: check["verdict"] for name, check in refill.items()}
    assert verdicts == {"input": "agree", "output": "disagree", "tank": "too blunt"}


@pytest.mark.parametrize(
    ("name", "value", "low", "high"),
    [
        ("by_meter", 432, 408, 456),
        ("as_electrical", 431, 378, 484),
        ("as_shaft", 557, 480, 641),
        ("by_air", 335, 249, 467),
    ],
)
def test_refill_estimates(
    refill: dict[str, Found], name: str, value: float, low: float, high: float
) -> None:
    """In kJ, worked out before by another sample; within 1 kJ of it and of the one drawn here."""
    members = [each for check in refill.values() for each in check["estimates"]]
    found = next(each for each in members if each["formula"] == name)
    drawn = np.quantile(drawn_refill()[name], [0.5, 0.025, 0.975])
    shown = (found["median"], found["interval"]["low"], found["interval"]["high"])
    assert shown == pytest.approx(tuple(drawn), abs=0.7)
    assert shown == pytest.approx((value, low, high), abs=1)
    assert refill["tank"]["unit"] == "kJ"


def test_refill_difference(refill: dict[str, Found]) -> None:
    """As shaft output it is 44 to 213 kJ more than the meter says."""
    (pair,) = refill["output"]["pairs"]
    sample = drawn_refill()
    drawn = np.quantile(sample["by_meter"] - sample["as_shaft"], [0.025, 0.975])
    found = (pair["interval"]["low"], pair["interval"]["high"])
    assert found == pytest.approx(tuple(drawn), abs=0.7)
    assert found == pytest.approx((-213, -44), abs=1)
    assert pair["unit"] == "kJ"


def test_what_would_close_the_refill(refill: dict[str, Found]) -> None:
    """432 kJ = 2.2 kW * load * 206 s / motor, one at a time; the motor alone cannot do it."""
    closing = {each["input"]: each["value"] for each in refill["output"]["would_close"]}
    assert closing["load"] == pytest.approx(432 * 0.78 / 2.2 / 206, rel=1e-9)
    assert closing["time"] == pytest.approx(432 * 0.78 / 2.2 / 0.95, rel=1e-9)
    assert closing["motor"] == pytest.approx(2.2 * 0.95 * 206 / 432, rel=1e-9)
    assert closing["counted"] == pytest.approx(2.2 * 0.95 * 206 / 0.78 / 3600, rel=1e-9)
    assert closing["gain"] == pytest.approx(2.2 * 0.95 * 206 / 0.78 / 432, rel=1e-9)
    assert set(closing) == {"load", "time", "motor", "counted", "gain"}
    first = refill["output"]["would_close"][0]
    assert first["input"] == "load", "the least change for what was said of it comes first"


def test_what_disagrees_is_printed_first_and_beside_what_uses_it(study_of: StudyOf) -> None:
    text = REFILL + "claims: [{result: wall_to_wire, says: at least 1 %}]\n"
    printed = screen(study_of(text))
    lines = printed.splitlines()
    assert lines[3] == "Cross-checks that fail:"
    assert lines[4].strip() == "output: DISAGREE"
    assert printed.index("output: DISAGREE") < printed.index("energy\n")
    assert "its denominator is disputed: cross-check output disagrees" in printed
    assert "a number in it is disputed: cross-check output disagrees" in printed
    assert "supported, but disputed" in printed
    assert "one of them is wrong by more than it says" in " ".join(printed.split())
    assert "too wide to be a test" in " ".join(printed.split())
    assert all(len(line) <= 80 for line in lines)


# -- what would close a gap, against algebra ------------------------------------------------------


def closing_of(study: Study) -> dict[str, float]:
    return {each["input"]: each["value"] for each in the_check(study)["would_close"]}


def test_closing_a_linear_gap(study_of: StudyOf) -> None:
    """a + 2 b = c: 10 + 2 * 5 against 30."""
    text = (
        "inputs:\n  a: {value: 10 V, plus_minus: 0.5 V}\n  b: {value: 5 V, plus_minus: 0.5 V}\n"
        "  c: {value: 30 V, plus_minus: 0.5 V}\n  d: {value: 3 V, plus_minus: 0.5 V}\n"
        "formulas: {sum: a + 2 * b, read: c}\n"
        "results: {r: {formula: sum + d, unit: V}}\n"
        "cross_checks: {same: [sum, read]}\n"
    )
    found = closing_of(study_of(text))
    assert found == pytest.approx({"a": 20.0, "b": 10.0, "c": 20.0}, rel=1e-9)
    each = the_check(study_of(text))["would_close"][0]
    assert each["input"] == "b", "five of its own half-widths, where a and c take ten or more"
    assert (each["unit"], each["run"]) == ("V", None)
    assert each["given"]["low"] == pytest.approx(4.525, abs=0.02)
    assert each["given"]["high"] == pytest.approx(5.475, abs=0.02)
    assert "b alone would close it at 10.00 V; it was given as 4.50 to 5.50" in screen(
        study_of(text)
    )


# Two ways to the flow of a ditch: a bucket's 12 L filled in 4 s, and a float: a section of
# 0.05 m^2 at 0.075 m/s make 3.75 L/s at the factor 1, so the true 3 L/s ask for a factor of 0.8.
FLOAT = """\
instruments: {watch: {reads: time, accuracy: 0.01 s, error_along_scale: same}}
inputs:
  bucket: {value: 12 L, plus_minus: 0.1 L, evidence: measured}
  section: {value: 0.05 m^2, plus_minus: 0.001 m^2, evidence: measured}
  surface: {value: 0.075 m/s, plus_minus: 0.001 m/s, evidence: measured}
  factor: {value: 0.98, plus_minus: 0.02, evidence: guess}
runs:
  readings:
    fill_time: {unit: s, instrument: watch}
  rows: {f_1: {fill_time: 4.0}, f_2: {fill_time: 4.1}, f_3: {fill_time: 3.9}}
  groups: {f: [f_1, f_2, f_3]}
formulas:
  by_bucket: bucket / fill_time
  by_float: section * surface * factor
results: {q: {formula: by_bucket, unit: m^3/s}}
cross_checks: {flows: {between: [by_bucket, by_float], unit: L/s}}
"""


def test_a_guess_is_the_first_suspect_and_the_others_are_counted(study_of: StudyOf) -> None:
    study = study_of(FLOAT)
    (agreement,) = study.cross_checks
    mean_rate = (12 / 4.0 + 12 / 4.1 + 12 / 3.9) / 3  # L/s, of the three runs
    first = agreement.closings[0]
    assert (first.leaf.name, first.judged) == ("factor", True)
    assert first.wanted == pytest.approx(mean_rate / 3.75, rel=1e-9)
    assert first.limits is not None
    assert (first.limits.low, first.limits.high) == pytest.approx((0.96, 1.00))  # as given
    rest = [each.far for each in agreement.closings[1:]]
    assert rest == sorted(rest)
    printed = " ".join(screen(study).split())
    assert (
        "factor alone would close it at 0.800; it was given as 0.960 to 1.000, a guess" in printed
    )
    # of bucket, section, surface, fill_time and factor three are told
    assert "and 2 others" in printed


def test_minutes_typed_for_seconds_are_named_as_a_column(study_of: StudyOf) -> None:
    """4 s read as 0.067 min: every reading is 60 times too small, up to the other errors."""
    text = FLOAT.replace("value: 0.98", "value: 0.80").replace("accuracy: 0.01 s", "accuracy: 1 ms")
    for seconds in ("4.0", "4.1", "3.9"):
        text = text.replace(f"fill_time: {seconds}}}", f"fill_time: {float(seconds) / 60:.6f}}}")
    (agreement,) = study_of(text).cross_checks
    (column,) = agreement.columns
    assert column.name == "fill_time"
    assert column.factor == pytest.approx(60.0, rel=1e-3)
    lines = judgements.cross_check(agreement).lines
    told = [line for line in lines if "close it" in line]
    assert (
        told[0]
        == "fill_time in every run alone would close it, by a factor of 60: look at its unit"
    )


def test_the_unit_asked_for_is_shown(study_of: StudyOf) -> None:
    found = the_check(study_of(FLOAT))
    assert found["unit"] == "L/s"
    assert found["estimates"][1]["median"] == pytest.approx(0.05 * 0.075 * 0.98 * 1000, rel=1e-3)


def test_units_of_the_case_make_one_where_none_fits(study_of: StudyOf) -> None:
    """Volumes in L over times in s are shown in L/s, not in m^3/s."""
    text = FLOAT.replace("unit: L/s", "combine: mixture, anyway: true").replace(
        "results: {q: {formula: by_bucket, unit: m^3/s}}",
        "results: {t: {formula: fill_time, unit: s}}",
    )
    assert the_check(study_of(text))["unit"] == "L/s"


@pytest.mark.parametrize("unit", ["kg/s", "degC"])
def test_a_unit_that_does_not_fit_is_refused(study_of: StudyOf, unit: str) -> None:
    with pytest.raises(CaseError, match="does not fit by_bucket, which is volume flow"):
        study_of(FLOAT.replace("unit: L/s", f"unit: {unit}"))


def test_agreement_says_how_sharp_the_test_was(study_of: StudyOf) -> None:
    """Normal estimates: the half-width is 1.96 hypot(u1, u2), against the smaller value."""
    study = study_of(estimates([(10.0, 0.5), (9.0, 0.4)]))
    (line,) = judgements.cross_check(study.cross_checks[0]).short
    within = Z * math.hypot(0.5, 0.4) / 9.0
    assert line.startswith("e0 10.0 less e1 9.0: ")
    assert line.endswith(f"agree to within {100 * within:.0f} %")


def test_closing_a_gap_of_products(study_of: StudyOf) -> None:
    """v i t = m h: 12 V * 2 A * 100 s = 2400 J against 1 kg * 3000 J/kg."""
    text = (
        "inputs:\n  v: {value: 12 V, plus_minus: 0.1 V}\n  i: {value: 2 A, plus_minus: 0.02 A}\n"
        "  t: {value: 100 s, plus_minus: 1 s}\n  m: {value: 1 kg, plus_minus: 0.01 kg}\n"
        "  h: {value: 3 kJ/kg, plus_minus: 0.01 kJ/kg}\n"
        "formulas: {electric: v * i * t, heat: m * h}\n"
        "results: {r: {formula: electric / heat, unit: 1, is: ratio}}\n"
        "cross_checks: {same: [electric, heat]}\n"
    )
    found = closing_of(study_of(text))
    wanted = {"v": 15.0, "i": 2.5, "t": 125.0, "m": 0.8, "h": 2.4}
    assert found == pytest.approx(wanted, rel=1e-9)


def test_a_number_above_0_and_a_share_keep_their_bounds(study_of: StudyOf) -> None:
    """A share is closed at 0.96, near 1; one that would have to be 1.2 is not named."""

    def shares(goal: float) -> dict[str, float]:
        text = (
            "inputs: {s: {value: 0.6, plus_minus: 0.15}, k: {value: 500 W, plus_minus: 9 W},\n"
            "  whole: {constant: 500 W}}\n"
            f"formulas: {{a: whole * s, b: {goal} * k}}\n"
            "results: {r: {formula: a, unit: W}}\n"
            "cross_checks: {same: [a, b]}\n"
        )
        return closing_of(study_of(text))

    assert shares(0.96) == pytest.approx({"s": 0.96, "k": 500 * 0.6 / 0.96}, rel=1e-9)
    assert shares(1.2) == pytest.approx({"k": 250.0}, rel=1e-9)


def test_a_small_number_is_found_near_0(study_of: StudyOf) -> None:
    """557 kJ would have to be 95 kJ: less than its own spread away from 0."""
    text = (
        "inputs: {p: {value: 557 kJ, standard_uncertainty: 50 kJ},\n"
        "  q: {value: 95 kJ, standard_uncertainty: 1 kJ}}\n"
        "formulas: {a: p, b: q}\nresults: {r: {formula: p, unit: kJ}}\n"
        "cross_checks: {same: [a, b]}\n"
    )
    assert closing_of(study_of(text)) == pytest.approx({"p": 95.0, "q": 557.0}, rel=1e-9)


def test_a_jump_over_a_pole_closes_nothing(study_of: StudyOf) -> None:
    """5/(x - 5) + 2 changes its sign at its pole, 5, on the way from 10 to its zero, 2.5."""
    text = (
        "inputs: {x: {value: 10, plus_minus: 0.4}, y: {value: 0.3, plus_minus: 0.1}}\n"
        "formulas: {a: 5 / (x - 5), b: 0 * y - 2}\n"
        "results: {r: {formula: a, unit: 1, is: ratio}}\n"
        "cross_checks: {same: [a, b]}\n"
    )
    assert closing_of(study_of(text)) == pytest.approx({"x": 2.5}, rel=1e-9)


RUNS = """\
inputs: {scale: {value: 1, standard_uncertainty: 0.001}}
runs:
  readings:
    v: {unit: V, standard_uncertainty: 0.1 V}
    w: {unit: V, standard_uncertainty: 0.1 V}
  rows: {good: {v: 10, w: 10.1}, bad: {v: 10, w: 12}, worse: {v: 10, w: 15}}
formulas: {a: v * scale, b: w}
results: {r: {formula: a / b, unit: 1, is: ratio}, other: {formula: v, unit: V}}
cross_checks: {same: [a, b]}
claims:
  - {result: r, says: at least 0.1}
  - {result: r, run: good, says: at least 0.1}
  - {result: r, run: bad, says: at least 0.1}
  - {result: other, says: at least 1 V}
"""


def test_each_run_is_compared_by_itself(study_of: StudyOf) -> None:
    study = study_of(RUNS)
    found = checks_in(study)
    assert [(each["run"], each["verdict"]) for each in found] == [
        ("good", "agree"),
        ("bad", "disagree"),
        ("worse", "disagree"),
    ]
    closing = {(each["input"], each["run"]): each["value"] for each in found[1]["would_close"]}
    assert closing[("v", "bad")] == pytest.approx(12.0, rel=1e-9)
    assert closing[("w", "bad")] == pytest.approx(10.0, rel=1e-9)
    assert closing[("scale", None)] == pytest.approx(1.2, rel=1e-9)
    assert {run for _, run in closing} <= {"bad", None}
    assert "v in run bad alone would close it at 12.00 V" in screen(study)


def test_only_the_runs_that_disagree_are_disputed(study_of: StudyOf) -> None:
    study = study_of(RUNS)
    disputed = {band.output.run: judgements.disputes(band, study) for band in study.bands[:3]}
    assert disputed["good"] == []
    assert (
        disputed["bad"]
        == disputed["worse"]
        == ["a number in it is disputed: cross-check same disagrees"]
    )
    assert not any(judgements.disputes(band, study) for band in study.bands[3:])
    found = json.loads(to_json(document(study)))["claims"]
    assert [claim["disputed_by"] for claim in found] == [["same"], [], ["same"], []]


GROUPED = """\
runs:
  readings:
    v: {unit: V, standard_uncertainty: 0.1 V}
    w: {unit: V, standard_uncertainty: 0.1 V}
  rows: {f1: {v: 10, w: 12.1}, f2: {v: 10.1, w: 12}, f3: {v: 9.9, w: 11.9}, alone: {v: 5, w: 5}}
  groups: {full: [f1, f2, f3]}
formulas: {a: v, b: 1 * w}
results: {r: {formula: w / a, unit: 1, is: ratio}}
cross_checks: {same: [a, b]}
"""


def test_a_group_is_compared_in_the_place_of_its_runs(study_of: StudyOf) -> None:
    """The mean difference is -2 V; its band is Student's, with 2 degrees of freedom."""
    study = study_of(GROUPED, MILLION)
    alone, full = checks_in(study)
    assert (alone["run"], alone["verdict"]) == ("alone", "agree")
    assert (full["run"], full["verdict"]) == ("full", "disagree")
    (pair,) = full["pairs"]
    apart = np.array([10 - 12.1, 10.1 - 12, 9.9 - 11.9])
    t = 4.302652729911275  # scipy.stats.t(2).ppf(0.975)
    half = t * np.std(apart, ddof=1) / math.sqrt(3)
    assert pair["median"] == pytest.approx(-2.0, abs=1e-3)
    assert pair["interval"]["low"] == pytest.approx(-2.0 - half, rel=0.01)
    assert pair["interval"]["high"] == pytest.approx(-2.0 + half, rel=0.01)
    runs = {each["run"] for each in full["would_close"]}
    assert runs <= {"f1", "f2", "f3"}
    disputed = {band.output.run: bool(judgements.disputes(band, study)) for band in study.bands}
    assert disputed == {"f1": True, "f2": True, "f3": True, "full": True, "alone": False}
    assert "its denominator is disputed" in screen(study)


def test_many_runs_that_agree_take_one_line(study_of: StudyOf) -> None:
    rows = ", ".join(f"r{k}: {{v: 10, w: 10.0{k}}}" for k in range(6))
    head, _, tail = RUNS.partition("claims:")[0].partition("rows: ")
    tail = tail.partition("\n")[2]
    printed = screen(study_of(f"{head}rows: {{{rows}}}\n{tail}"))
    assert "same, in 6 runs: agree" in printed


def test_many_runs_that_disagree_take_no_screen_each(study_of: StudyOf) -> None:
    rows = ", ".join(f"r{k}: {{v: 10, w: 1{k}}}" for k in range(2, 9))
    head, _, tail = RUNS.partition("claims:")[0].partition("rows: ")
    tail = tail.partition("\n")[2]
    study = study_of(f"{head}rows: {{{rows}}}\n{tail}")
    printed = screen(study)
    assert "same, run r2 and 6 more: DISAGREE" in printed
    assert printed.count("DISAGREE") == 1
    assert [each["verdict"] for each in checks_in(study)] == 7 * ["disagree"]


# -- one value of several -------------------------------------------------------------------------

DISCREPANT = [(0.36, 0.010), (0.30, 0.012)]
FOUR = [(0.312, 0.006), (0.298, 0.008), (0.335, 0.010), (0.290, 0.009)]


def combined(study: Study) -> Found:
    found = the_check(study)["combined"]
    assert found is not None
    return dict(found)


def test_weighted_mean_of_two_that_disagree(study_of: StudyOf) -> None:
    """0.3354 +- 0.0295: 1/u^2 weights, drawn out by |zeta| = 3.84 (Birge's ratio of two)."""
    found = combined(study_of(estimates(DISCREPANT, ", combine: weighted, anyway: true"), MILLION))
    weights = [0.010**-2, 0.012**-2]
    share = weights[0] / sum(weights)
    assert found["weights"] == pytest.approx([share, 1 - share], rel=2e-3)
    assert found["mean"] == pytest.approx(0.3354, abs=1e-4)
    assert found["drawn_out"] == pytest.approx(0.06 / APART, rel=3e-3)
    assert found["standard_uncertainty"] == pytest.approx(0.0295, abs=1e-4)
    half = (found["interval"]["high"] - found["interval"]["low"]) / 2
    assert half == pytest.approx(Z * 0.0295, rel=0.01)


def test_mixture_of_two_that_disagree(study_of: StudyOf) -> None:
    """0.3300 +- 0.0320, 95 % from 0.280 to 0.376."""
    found = combined(study_of(estimates(DISCREPANT, ", combine: mixture, anyway: true"), MILLION))
    assert found["mean"] == pytest.approx(0.3300, abs=1e-4)
    exact = math.sqrt((0.010**2 + 0.012**2) / 2 + 0.03**2)
    assert found["standard_uncertainty"] == pytest.approx(exact, rel=2e-3)
    assert exact == pytest.approx(0.0320, abs=5e-5)
    ends = [
        brentq(lambda x, p=p: sum(ndtr((x - y) / u) for y, u in DISCREPANT) / 2 - p, 0.2, 0.5)
        for p in (0.025, 0.975)
    ]
    assert ends == pytest.approx([0.280, 0.376], abs=5e-4)
    assert found["interval"]["low"] == pytest.approx(ends[0], abs=3e-4)
    assert found["interval"]["high"] == pytest.approx(ends[1], abs=3e-4)
    assert found["weights"] == [0.5, 0.5]


def test_four_estimates_and_birges_ratio(study_of: StudyOf) -> None:
    """chi-square 13.30 of 3 degrees of freedom: R_B 2.105, u 0.00390 becomes 0.00821."""
    found = combined(study_of(estimates(FOUR, ", combine: weighted, anyway: true"), MILLION))
    weights = np.array([u**-2 for _, u in FOUR])
    values = np.array([y for y, _ in FOUR])
    mean = float(weights @ values / weights.sum())
    chi = float(weights @ (values - mean) ** 2)
    assert mean == pytest.approx(0.30804, abs=5e-6)
    assert chi == pytest.approx(13.30, abs=5e-3)
    assert math.sqrt(chi / 3) == pytest.approx(2.105, abs=1e-3)
    assert weights.sum() ** -0.5 == pytest.approx(0.00390, abs=5e-6)
    assert found["mean"] == pytest.approx(mean, abs=3e-5)
    assert found["drawn_out"] == pytest.approx(2.105, rel=5e-3)
    assert found["standard_uncertainty"] == pytest.approx(0.00821, rel=5e-3)
    assert found["weights"] == pytest.approx(list(weights / weights.sum()), rel=1e-2)


def test_agreement_never_makes_a_band_narrower(study_of: StudyOf) -> None:
    """All three give 0.300: Birge's ratio is 0, and nothing shrinks."""
    found = combined(study_of(estimates(3 * [(0.300, 0.01)], ", combine: weighted"), MILLION))
    assert found["drawn_out"] == 1.0
    assert found["standard_uncertainty"] == pytest.approx(0.01 / math.sqrt(3), rel=5e-3)
    assert found["mean"] == pytest.approx(0.300, abs=1e-4)


def test_what_two_share_does_not_average_out(study_of: StudyOf) -> None:
    """r = 0.8, equal u: the mean has u sqrt((1 + r)/2), not u/sqrt(2)."""
    text = estimates([(0.300, 0.01), (0.301, 0.01)], ", combine: weighted", CORRELATED)
    found = combined(study_of(text, MILLION))
    assert found["drawn_out"] == 1.0
    assert found["standard_uncertainty"] == pytest.approx(0.01 * math.sqrt(0.9), rel=5e-3)


@pytest.mark.parametrize("way", ["weighted", "mixture"])
def test_what_disagrees_is_not_combined_unasked(study_of: StudyOf, way: str) -> None:
    study = study_of(estimates(DISCREPANT, f", combine: {way}"))
    check = the_check(study)
    assert check["combined"] is None
    assert "find out which is wrong" in check["not_combined"]
    printed = " ".join(screen(study).split())
    assert "not combined: they disagree" in printed
    assert "combined: 0" not in printed


def test_nothing_is_combined_that_was_not_asked_for(study_of: StudyOf) -> None:
    check = the_check(study_of(estimates([(0.30, 0.01), (0.31, 0.01)])))
    assert check["combined"] is None
    assert check["not_combined"] is None


def test_how_it_was_combined_is_printed(study_of: StudyOf) -> None:
    study = study_of(estimates(DISCREPANT, ", combine: weighted, anyway: true"), MILLION)
    printed = " ".join(screen(study).split())
    assert "combined: 0.335, from 0.278 to 0.393" in printed
    assert "weighted by how well each is known (e0 59 %, e1 41 %)" in printed
    assert "drawn out 3.84 times" in printed
    mixed = study_of(estimates(DISCREPANT, ", combine: mixture, anyway: true"), MILLION)
    printed = " ".join(screen(mixed).split())
    assert "combined: 0.330, from 0.280 to 0.376" in printed
    assert "as if one were right and nobody knew which" in printed


def test_an_estimate_without_variance_cannot_be_weighed(study_of: StudyOf) -> None:
    text = (
        "inputs:\n  x: {unit: V, repeats: [9.9, 10.1]}\n  y: {value: 10 V, plus_minus: 0.5 V}\n"
        "formulas: {a: x, b: y}\nresults: {r: {formula: y, unit: V}}\n"
        "cross_checks: {same: {between: [a, b], combine: weighted}}\n"
    )
    check = the_check(study_of(text))
    assert check["combined"] is None
    assert "no standard uncertainty" in check["not_combined"]


KEYS = {
    "name", "run", "verdict", "level", "unit", "estimates", "pairs", "would_close", "combined",
    "not_combined",
}  # fmt: skip


def test_the_keys_of_a_cross_check(study_of: StudyOf) -> None:
    check = the_check(study_of(estimates(DISCREPANT)))
    assert set(check) == KEYS
    assert set(check["pairs"][0]) == {"between", "verdict", "unit", "median", "interval"}
    assert set(check["estimates"][0]) == {"formula", "nominal", "median", "interval"}
    closing = {"between", "input", "run", "unit", "value", "given"}
    assert set(check["would_close"][0]) == closing
    assert check["pairs"][0]["between"] == ["e0", "e1"]


def test_a_cross_check_moves_no_result(study_of: StudyOf) -> None:
    second = "is: ratio}, second: {formula: e1, unit: 1, is: ratio}}"
    text = estimates(DISCREPANT).replace("is: ratio}}", second)
    plain = document(study_of(text.partition("cross_checks:")[0]))
    assert plain["results"] == document(study_of(text))["results"]


def test_one_sum_written_in_two_ways_agrees_with_itself(study_of: StudyOf) -> None:
    """v i t and v i t / n n differ in the last digit only."""
    study = study_of(
        "inputs:\n  v: {value: 12.3 V, plus_minus: 0.1 V}\n  i: {value: 4.1 A, plus_minus: 0.1 A}\n"
        "  n: {constant: 3}\n"
        "formulas: {one: v * i, other: v * i / n * n}\n"
        "results: {p: {formula: one, unit: W}}\ncross_checks: {same: [one, other]}\n"
    )
    assert the_check(study)["verdict"] == "agree"


SHARED = """inputs:
  common: {value: 0, standard_uncertainty: 3}
  a: {value: 10, standard_uncertainty: 1}
  b: {value: 14, standard_uncertainty: 1}
  c: {value: 11, standard_uncertainty: 0.5}
formulas: {x: a + common, y: b + common, z: c + common}
results: {r: {formula: x, unit: 1, is: ratio}}
cross_checks: {same: {between: MEMBERS, combine: weighted, anyway: true}}
"""


@pytest.mark.parametrize("members", ["[x, y]", "[x, y, z]"])
def test_only_what_is_each_ones_own_is_weighed_and_drawn_out(
    study_of: StudyOf, members: str
) -> None:
    """Birge's ratio of the independent parts, by hand; the common 3 stays as it is."""
    own = {"x": (10.0, 1.0), "y": (14.0, 1.0), "z": (11.0, 0.5)}
    values, u = np.array([own[name] for name in members.strip("[]").split(", ")]).T
    weights = u**-2 / np.sum(u**-2)
    mean = float(weights @ values)
    birge = math.sqrt(float(np.sum(((values - mean) / u) ** 2)) / (len(u) - 1))
    spread = math.sqrt(9.0 + birge**2 / float(np.sum(u**-2)))
    found = combined(study_of(SHARED.replace("MEMBERS", members), MILLION))
    assert found["weights"] == pytest.approx(list(weights), abs=0.02)
    assert found["drawn_out"] == pytest.approx(birge, rel=0.02)
    assert found["mean"] == pytest.approx(mean, abs=0.03)
    assert found["standard_uncertainty"] == pytest.approx(spread, rel=0.01)


USED = """inputs: {s: {value: 2 s, plus_minus: 0.1 s}}
runs:
  readings:
    a: {unit: V, standard_uncertainty: 0.1 V}
    b: {unit: V, standard_uncertainty: 0.1 V}
  rows: {light: {a: 5, b: 5}, full: {a: 10, b: 12}}
formulas: {given: a, seen: 1 * b}
results:
  direct: {formula: a / s, unit: V/s}
  other_run: {formula: "in_run(seen, light) / s", unit: V/s}
  this_run: {formula: "in_run(seen, full) / s", unit: V/s}
cross_checks: {same: [seen, given]}
"""


def test_a_dispute_reaches_who_uses_the_number_and_nobody_else(study_of: StudyOf) -> None:
    study = study_of(USED)
    found = {
        (band.output.target.name, band.output.run): bool(judgements.disputes(band, study))
        for band in study.bands
    }
    assert found == {
        ("direct", "light"): False,
        ("direct", "full"): True,
        ("other_run", None): False,
        ("this_run", None): True,
    }
