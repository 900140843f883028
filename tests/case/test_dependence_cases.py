"""Inputs that depend on each other: what `correlations:`, `joint:` and `draws:` make of a case.

Numbers of our own stand in the place of the draws, so each input is known to the last digits; the
coefficients of the scores are closed forms for the laws that have one (derived).
"""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from scipy import special
from small_case import complaints, laws, understood, values

from effband.case.model import Case
from effband.evidence.scatter import ScatterFactor
from effband.report import understood as report
from effband.study import run

TITLE = "effband: 1\ntitle: together\n"
NORMAL = "{value: 3, standard_uncertainty: 0.2}"
LIMITS = "{value: 10, plus_minus: 2}"
FACTOR = "{value: 5, within_factor: 1.5}"


def results(*names: str) -> str:
    return "results:\n" + "".join(
        f"  r_{n}: {{formula: '{n}', unit: 1, is: ratio}}\n" for n in names
    )


def pair(one: str, other: str, coefficient: float) -> Case:
    return understood(
        f"{TITLE}inputs:\n  a: {one}\n  b: {other}\n"
        f"correlations: [{{between: [b, a], coefficient: {coefficient!r}}}]\n" + results("a", "b")
    )


def source_of(case: Case, member: str, item: str | None = None) -> str:
    """Return the name of the normal score that a member of the one set has of its own."""
    (found,) = [i for i in case.items if i.kind == "joint set" and item in (None, i.name)]
    drawn = laws(case)
    names = [n for n in found.sources if not isinstance(drawn[n], ScatterFactor)]
    (name,) = [n for n in names if n.replace("]", "").endswith(member)]
    return name


# -- correlations -----------------------------------------------------------------------------

S = math.log(1.5) / special.ndtri(0.975)  # of a factor of 1.5 that holds with 95 %
AGAINST_UNIFORM = math.sqrt(3 / math.pi)
FORMS = [
    (NORMAL, NORMAL, 0.6, 0.6),
    (NORMAL, LIMITS, 0.6, 0.6 / AGAINST_UNIFORM),
    (LIMITS, LIMITS, -0.6, -2 * math.sin(math.pi * 0.6 / 6)),
    (NORMAL, FACTOR, 0.6, 0.6 * math.sqrt(math.expm1(S * S)) / S),
    (FACTOR, FACTOR, 0.6, math.log1p(0.6 * math.expm1(S * S)) / (S * S)),
]


@pytest.mark.parametrize(("one", "other", "pearson", "score"), FORMS)
def test_the_scores_have_the_coefficient_that_gives_pearsons(
    one: str, other: str, pearson: float, score: float
) -> None:
    case = pair(one, other, pearson)
    z = np.array([0.4, -1.1])
    found = values(case, {source_of(case, n): float(x) for n, x in zip("ab", z, strict=True)})
    mixed = [z[0], score * z[0] + math.sqrt(1 - score * score) * z[1]]
    of = {
        NORMAL: lambda y: 3 + 0.2 * y,
        LIMITS: lambda y: 8 + 4 * special.ndtr(y),
        FACTOR: lambda y: 5 * math.exp(S * y),
    }
    assert found["r_a", None] == pytest.approx(of[one](mixed[0]), rel=1e-6)
    assert found["r_b", None] == pytest.approx(of[other](mixed[1]), rel=1e-6)


@pytest.mark.parametrize("law", [NORMAL, LIMITS, "{low: 1, likely: 2, high: 4}", FACTOR])
def test_a_coefficient_of_1_makes_two_of_one_law_the_same(law: str) -> None:
    case = pair(law, law, 1.0)
    for z in (-2.0, 0.3, 1.7):
        found = values(case, {source_of(case, "a"): z})
        assert found["r_a", None] == pytest.approx(found["r_b", None], rel=1e-12)


@pytest.mark.parametrize(("law", "middle"), [(NORMAL, 3), (LIMITS, 10)])
def test_a_coefficient_of_minus_1_mirrors(law: str, middle: float) -> None:
    case = pair(law, law, -1.0)
    for z in (-2.0, 0.3, 1.7):
        found = values(case, {source_of(case, "a"): z})
        assert found["r_a", None] + found["r_b", None] == pytest.approx(2 * middle, rel=1e-12)


WRITTEN = {
    "a": ("{low: 1, likely: 1.2, high: 4}", 1.2),
    "b": ("{low: 1, likely: 1.2, high: 4, chance_inside: 80 %}", 1.2),
    "c": ("{low: 1, high: 4}", 2.5),
    "d": ("{repeats: [1, 2, 4, 5.4], unit: 1}", 3.1),
    "e": (FACTOR, 5.0),
}


def test_a_correlation_does_not_move_the_values_as_written() -> None:
    inputs = "".join(f"  {name}: {law}\n" for name, (law, _) in WRITTEN.items())
    bound = ", ".join(f"{{between: [{n}, z], coefficient: 0.3}}" for n in WRITTEN)
    case = understood(
        f"{TITLE}inputs:\n{inputs}  z: {NORMAL}\ncorrelations: [{bound}]\n"
        + results(*WRITTEN)
        + "settings: {trials: 1000}\n"
    )
    found = [band.nominal for band in run(case).bands]
    assert found == pytest.approx([value for _, value in WRITTEN.values()], rel=1e-12)


def test_three_inputs_make_one_set_whatever_their_order() -> None:
    inputs = {"a": NORMAL, "b": NORMAL, "c": NORMAL, "d": LIMITS}
    bound = ["{between: [a, b], coefficient: 0.5}", "{between: [c, b], coefficient: -0.4}"]

    def case(step: int) -> Case:
        lines = "".join(f"  {n}: {inputs[n]}\n" for n in list(inputs)[::step])
        text = f"{TITLE}inputs:\n{lines}correlations: [{', '.join(bound[::step])}]\n"
        return understood(text + results(*"abcd"))

    one, other = case(1), case(-1)
    assert [item.name for item in one.items] == ["a, b, c", "d"]
    z = {source_of(one, n): x for n, x in zip("abc", (0.3, -0.8, 1.9), strict=True)}
    assert values(one, z) == values(other, z)
    # Cholesky by hand: a and c are not bound to each other
    left = math.sqrt(1 - 0.25)
    b = 0.5 * 0.3 + left * -0.8
    third = -0.4 / left
    c = third * -0.8 + math.sqrt(1 - third**2) * 1.9
    found = values(one, z)
    assert found["r_b", None] == pytest.approx(3 + 0.2 * b, rel=1e-12)
    assert found["r_c", None] == pytest.approx(3 + 0.2 * c, rel=1e-12)


NOT_BOUND = [
    ("t: {value: 1, standard_uncertainty: 1, degrees_of_freedom: 2}", "t has no variance"),
    ("t: {repeats: [1, 2], unit: 1}", "t has no variance"),
    ("t: {value: 1, plus_minus: 1, also: {plus_minus: 1}}", "t has a second spread under `also:`"),
    ("t: {constant: 1}", "t is a constant"),
    ("s: {value: 1, plus_minus: 1}", "no input is called 't'"),
]


@pytest.mark.parametrize(("line", "what"), NOT_BOUND, ids=[row[0] for row in NOT_BOUND])
def test_what_cannot_be_correlated(line: str, what: str) -> None:
    text = (
        f"{TITLE}inputs:\n  a: {NORMAL}\n  {line}\n"
        "correlations: [{between: [a, t], coefficient: 0.5}]\n" + results("a")
    )
    (found,) = complaints(text)
    assert found.what.startswith(what)
    assert found.line == 6
    assert found.remedy


def test_what_stands_in_a_joint_fit_is_not_correlated_again() -> None:
    text = (
        f"{TITLE}inputs: {{a: {NORMAL}}}\n{JOINT}"
        "correlations: [{between: [a, slope], coefficient: 0.5}]\n" + results("a", "slope")
    )
    (found,) = complaints(text)
    assert found.what == "slope stands in `joint:` already"


@pytest.mark.parametrize(
    ("one", "other", "limits"),
    [
        # derived: the mean of a score with the quantile of the law, over its deviation
        (NORMAL, LIMITS, (-AGAINST_UNIFORM, AGAINST_UNIFORM)),
        (LIMITS, "{mean: 1, shape: exponential}", (-math.sqrt(0.75), math.sqrt(0.75))),
        (
            "{mean: 1, shape: exponential}",
            "{mean: 1, shape: exponential}",
            (1 - math.pi**2 / 6, 1.0),
        ),
    ],
)
def test_how_far_two_laws_can_go_together(
    one: str, other: str, limits: tuple[float, float]
) -> None:
    for limit in limits:
        pair(one, other, math.copysign(abs(limit) - 1e-4, limit))
        if abs(limit) < 1:
            text = f"{TITLE}inputs:\n  a: {one}\n  b: {other}\n" + results("a", "b")
            beyond = math.copysign(abs(limit) + 1e-4, limit)
            bound = f"correlations: [{{between: [a, b], coefficient: {beyond!r}}}]\n"
            (found,) = complaints(text + bound)
            assert found.what.startswith("a and b cannot have the coefficient")


# -- joint fits -------------------------------------------------------------------------------

JOINT = """\
joint:
  fit:
    values: {slope: 2, offset: 1, bend: 0.1}
    standard_uncertainties: {slope: 0.1, offset: 0.3, bend: 0.02}
    correlation: [[1, -0.9, 0.2], [-0.9, 1, 0.1], [0.2, 0.1, 1]]
    degrees_of_freedom: 9
"""


def test_parameters_of_a_fit_have_its_covariance() -> None:
    """Slopes of each member against each score, times themselves: u_i u_j r_ij."""
    case = understood(TITLE + JOINT + results("slope", "offset", "bend"))
    names = ["slope", "offset", "bend"]
    at_rest = values(case)
    assert [at_rest[f"r_{n}", None] for n in names] == [2, 1, 0.1]
    slopes = np.array(
        [
            [
                values(case, {source_of(case, score): 1.0})[f"r_{n}", None]
                - at_rest[f"r_{n}", None]
                for score in names
            ]
            for n in names
        ]
    )
    u = np.array([0.1, 0.3, 0.02])
    r = np.array([[1, -0.9, 0.2], [-0.9, 1, 0.1], [0.2, 0.1, 1]])
    assert slopes @ slopes.T == pytest.approx(np.outer(u, u) * r, rel=1e-9)


def test_a_multivariate_t_has_one_factor_for_all() -> None:
    """JCGM 102 (from memory): normal scores over one root of chi-square over its degrees."""
    case = understood(TITLE + JOINT + results("slope", "offset"))
    (factor,) = [n for n, law in laws(case).items() if law == ScatterFactor(9)]
    score = source_of(case, "offset")
    plain, wide = values(case, {score: 1.0}), values(case, {score: 1.0, factor: 2.5})
    for name, middle in (("r_slope", 2), ("r_offset", 1)):
        assert wide[name, None] - middle == pytest.approx(2.5 * (plain[name, None] - middle))
    normal = understood(TITLE + JOINT.replace("    degrees_of_freedom: 9\n", "") + results("slope"))
    assert not [law for law in laws(normal).values() if isinstance(law, ScatterFactor)]


def test_the_order_of_parameters_is_nothing() -> None:
    turned = """\
joint:
  fit:
    values: {bend: 0.1, slope: 2, offset: 1}
    standard_uncertainties: {offset: 0.3, bend: 0.02, slope: 0.1}
    correlation: [[1, 0.2, 0.1], [0.2, 1, -0.9], [0.1, -0.9, 1]]
    degrees_of_freedom: 9
"""
    asked = results("slope", "offset", "bend")
    one, other = understood(TITLE + JOINT + asked), understood(TITLE + turned + asked)
    z = {source_of(one, n): x for n, x in (("slope", 0.3), ("offset", -1.0), ("bend", 2.0))}
    assert values(one, z) == values(other, z)


@pytest.mark.parametrize("name", ["factor", "z1", "joint", "also"])
def test_a_parameter_may_have_any_name(name: str) -> None:
    case = understood(TITLE + JOINT.replace("offset", name) + results(name))
    assert values(case)[f"r_{name}", None] == 1
    assert len([law for law in laws(case).values() if law == ScatterFactor(9)]) == 1


def test_a_fit_of_one_parameter() -> None:
    text = "joint: {fit: {values: {p: 2}, standard_uncertainties: {p: 0.1}, correlation: [[1]]}}\n"
    case = understood(TITLE + text + results("p"))
    assert values(case, {source_of(case, "p"): 2.0})["r_p", None] == pytest.approx(2.2)


JOINT_FAULTS = [
    ("{values: {}, standard_uncertainties: {}, correlation: []}", "fit"),
    ("{values: {p: 2}, standard_uncertainties: {p: 0}, correlation: [[1]]}", "0"),
    ("{values: {p: 2}, standard_uncertainties: {p: -1}, correlation: [[1]]}", "-1"),
    ("{values: {p: 2 degC}, standard_uncertainties: {p: 1 degC}, correlation: [[1]]}", "1 degC"),
    ("{values: {p: 2 %}, standard_uncertainties: {p: 1 %}, correlation: [[1]]}", "1 %"),
]


@pytest.mark.parametrize(("fit", "marked"), JOINT_FAULTS, ids=[row[0] for row in JOINT_FAULTS])
def test_a_fault_of_a_fit_is_marked_where_it_stands(fit: str, marked: str) -> None:
    text = (
        f"{TITLE}inputs: {{x: {NORMAL}}}\njoint: {{fit: {fit}}}\n"
        "results: {r: {formula: x, unit: 1, is: ratio}}\n"
    )
    (found,) = complaints(text)
    assert found.marked == marked
    assert "constant:" not in found.remedy, "a parameter of a fit cannot be a constant"


# -- samples ----------------------------------------------------------------------------------

SAMPLE = "x,t,same\n1,20,5\n2,25,5\n4,21,5\n7,30,5\n"


@pytest.fixture
def sample(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "s.csv").write_text(SAMPLE)
    return tmp_path


def drawn(keys: str, more: str = "") -> str:
    return (
        f"{TITLE}inputs:\n  p: {{draws: {{file: s.csv, column: x}}, {keys}}}\n{more}"
        "results: {r: {formula: p, unit: bar}}\n"
    )


GAUGE = "unit: bar, reads: gauge pressure"


@pytest.mark.usefixtures("sample")
def test_columns_of_one_file_share_the_row_in_their_units() -> None:
    """The row is the one that a number from 0 to 1 falls in."""
    more = "  t: {draws: {file: s.csv, column: t}, unit: degC, evidence: guess}\n"
    case = understood(drawn(GAUGE, more).rstrip("}\n") + "}, t: {formula: t, unit: degC}}\n")
    (item,) = case.items
    (row,) = item.sources
    assert (item.name, item.kind) == ("p, t", "joint set")
    assert [part.evidence for part in item.parts] == ["guess"]
    rows = [(1, 20), (2, 25), (4, 21), (7, 30)]
    for u, (p, t) in zip((0.0, 0.25, 0.74, 1 - 2**-53), rows, strict=True):
        found = values(case, {row: u})
        assert found["r", None] == pytest.approx(p, rel=1e-14)
        assert found["t", None] == pytest.approx(t, rel=1e-14)


@pytest.mark.usefixtures("sample")
@pytest.mark.parametrize(
    "key",
    [
        "value: 3 bar",
        "plus_minus: 1 bar",
        "also: {plus_minus: 1 bar}",
        "physical: [0 bar, 9 bar]",
        "constant: 3 bar",
        "each_reading: 1 bar",
        "readable_to: 1/2",
        "repeats: [1, 2]",
    ],
)
def test_a_sample_is_the_whole_spread(key: str) -> None:
    """One way per input: no key beside `draws:` may be passed over."""
    (found,) = complaints(drawn(f"{GAUGE}, {key}"))
    assert found.marked == key.partition(":")[0]
    assert found.remedy


SAMPLE_FAULTS = [
    ("column: x", "column: z", "z", "s.csv has no column 'z'"),
    ("column: x", "column: same", "same", "the column same of s.csv does not vary"),
    ("s.csv", "t.csv", "t.csv", "there is no file 't.csv'"),
    (", unit: bar", "", "draws", "p does not say in which unit the column is"),
]


@pytest.mark.usefixtures("sample")
@pytest.mark.parametrize(("old", "new", "marked", "what"), SAMPLE_FAULTS)
def test_a_sample_that_cannot_be_read(old: str, new: str, marked: str, what: str) -> None:
    (found,) = complaints(drawn(GAUGE).replace(old, new, 1))
    assert found.marked == marked
    assert found.what.startswith(what)


# -- as a person sees them --------------------------------------------------------------------


def test_check_says_what_goes_together() -> None:
    text = report.understood(
        understood(
            f"{TITLE}inputs:\n  a: {NORMAL}\n  b: {LIMITS}\n{JOINT}"
            "correlations: [{between: [a, b], coefficient: 0.5}]\n" + results("a", "b", "slope")
        )
    )
    assert "correlated with b (0.5)" in text
    assert "correlated with a (0.5)" in text
    assert "9 degrees of freedom; correlated with bend (0.2), offset (-0.9)" in text
