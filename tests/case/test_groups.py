"""Groups of repeated runs: what a group's value is made of, to the last digit.

A group's value is worked out here by the rule of the format (section 5) for numbers of our own
choosing in the place of the draws, so nothing is random and no tolerance is needed beyond rounding.
"""

from __future__ import annotations

import math
import re

import numpy as np
import pytest
from scipy import special
from small_case import complaints, laws, understood, values, warnings

from effband.case.model import Case
from effband.evidence.scatter import ScatterFactor
from effband.propagate.engine import Engine
from effband.propagate.scatter import Scatter, scatters
from effband.report import understood as report

TITLE = "effband: 1\ntitle: repeats\n"
VOLTS = "results: {r: {formula: v, unit: V}}\n"


def repeats(
    column: str,
    cells: list[str | float],
    results: str = VOLTS,
    top: str = "",
    more: str = "",
    names: list[str] | None = None,
) -> str:
    """Return a case with one column `v` in V and one group `full` of all runs."""
    names = names or [f"f{j}" for j in range(1, len(cells) + 1)]
    rows = "".join(f"    {n}: {{v: {cell}}}\n" for n, cell in zip(names, cells, strict=True))
    return (
        f"{TITLE}{top}runs:\n  readings: {{v: {{unit: V, {column}}}}}\n  rows:\n{rows}"
        f"  groups: {{full: [{', '.join(names)}]}}\n{more}{results}"
    )


def scatter_sources(case: Case, item: str) -> tuple[str, dict[tuple[str, str], str]]:
    """Return the source of a scatter's factor, and those of (group, run) or ("", run)."""
    (found,) = [each for each in case.items if each.name == item]
    drawn = laws(case)
    factors = [name for name in found.sources if isinstance(drawn[name], ScatterFactor)]
    assert len(factors) == 1, "one factor for the whole group"
    runs = {}
    for name in set(found.sources) - set(factors):
        words = re.findall(r"\w+", name.removeprefix(item))
        runs["".join(words[:-1]), words[-1]] = name
    return factors[0], runs


def weights(g: np.ndarray, chi_square: float) -> np.ndarray:
    """Return w_j of the format, section 5."""
    n = len(g)
    return 1 / n + math.sqrt((n - 1) / chi_square) * (g - g.mean()) / math.sqrt(n * (n - 1))


def drawn_weights(case: Case, runs: list[str], seed: int) -> tuple[dict[str, float], np.ndarray]:
    """Return values for the scatter's sources, and the weights they must give."""
    rng = np.random.default_rng(seed)
    n = len(runs)
    g, chi_square = rng.standard_normal(n), float(rng.chisquare(n - 1))
    factor, by_run = scatter_sources(case, "scatter of full")
    changed = {by_run["", run]: float(g[j]) for j, run in enumerate(runs)}
    changed[factor] = math.sqrt((n - 1) / chi_square)
    return changed, weights(g, chi_square)


def group_sources(case: Case, result: str = "r", group: str = "full") -> set[str]:
    """Return the sources of a group's value, its scatter left out."""
    (output,) = [o for o in case.outputs if (o.target.name, o.run) == (result, group)]
    items = {source.name: source.item for source in case.sources}
    return {n for n in case.program.sources_of[output.step] if "scatter" not in items[n]}


READ = [10.0, 11.0, 12.5, 9.7, 10.2, 10.9, 11.3, 10.4, 12.0]


# -- the rule ---------------------------------------------------------------------------------


@pytest.mark.parametrize("n", [3, 4, 6, 9])
def test_every_formula_is_weighted_with_one_set_of_weights(n: int) -> None:
    results = (
        "results:\n  r: {formula: v, unit: V}\n  square: {formula: v * v, unit: V^2}\n"
        "  rise: {formula: v * v / (v + w), unit: V}\n"
    )
    top = "inputs: {w: {constant: 2 V}}\n"
    case = understood(repeats("plus_minus: 1 V", READ[:n], results, top))
    y = np.array(READ[:n])
    runs = [f"f{j}" for j in range(1, n + 1)]
    for seed in range(5):
        changed, w = drawn_weights(case, runs, seed)
        found = values(case, changed)
        assert found["r", "full"] == pytest.approx(w @ y, rel=1e-12)
        assert found["square", "full"] == pytest.approx(w @ y**2, rel=1e-12)
        assert found["rise", "full"] == pytest.approx(w @ (y * y / (y + 2)), rel=1e-12)
    assert values(case)["r", "full"] == pytest.approx(y.mean(), rel=1e-14)


def test_the_factor_has_the_degrees_of_freedom_of_the_group() -> None:
    case = understood(repeats("plus_minus: 1 V", READ[:5]))
    factor, by_run = scatter_sources(case, "scatter of full")
    assert laws(case)[factor] == ScatterFactor(4)
    assert len(by_run) == 5
    (item,) = [item for item in case.items if item.name == "scatter of full"]
    assert item.kind == "group scatter"
    assert {part.evidence for part in item.parts} == {"measured"}


POOLED = """\
runs:
  readings: {v: {unit: V, plus_minus: 1 V}}
  rows: {ROWS}
  groups: {GROUPS}
  pool: true
results: {r: {formula: v * v, unit: V^2}}
"""
POOL = {"a": [9.13, 9.31, 9.07], "b": [3.17, 3.03], "c": [6.3, 6.1, 6.07, 6.2]}


def pooled(reverse: bool = False) -> str:
    rows = [f"{g}{j}: {{v: {y}}}" for g, ys in POOL.items() for j, y in enumerate(ys)]
    groups = [f"{g}: [{', '.join(f'{g}{j}' for j in range(len(ys)))}]" for g, ys in POOL.items()]
    step = -1 if reverse else 1
    text = TITLE + POOLED.replace("ROWS", ", ".join(rows[::step]))
    return text.replace("GROUPS", ", ".join(groups[::step]))


def pooled_draws(case: Case, seed: int) -> tuple[dict[str, float], dict[tuple[str, str], float]]:
    rng = np.random.default_rng(seed)
    factor, by_run = scatter_sources(case, "pooled scatter")
    g = {key: float(rng.standard_normal()) for key in sorted(by_run)}
    changed = {by_run[key]: value for key, value in g.items()}
    return {**changed, factor: math.sqrt(6 / float(rng.chisquare(6)))}, g


def test_pooled_scatter_is_relative_and_of_all_groups() -> None:
    """Group mean * (1 + sum of (y_hj/mean_h - 1) g_hj / sqrt(n W)), 2 + 1 + 3 degrees."""
    case = understood(pooled())
    factor, by_run = scatter_sources(case, "pooled scatter")
    assert laws(case)[factor] == ScatterFactor(6)
    assert len(by_run) == 3 * 9  # g is fresh for each group
    squares = {group: np.square(ys) for group, ys in POOL.items()}
    for seed in range(5):
        changed, g = pooled_draws(case, seed)
        chi_square = 6 / changed[factor] ** 2
        found = values(case, changed)
        for group, own in squares.items():
            total = sum(
                (y / np.mean(ys) - 1) * g[group, f"{h}{j}"]
                for h, ys in squares.items()
                for j, y in enumerate(ys)
            )
            expected = np.mean(own) * (1 + total / math.sqrt(len(own) * chi_square))
            assert found["r", group] == pytest.approx(expected, rel=1e-12)


def test_the_order_of_groups_and_runs_is_nothing_to_the_last_bit() -> None:
    """Section 10 of the format; sums of many terms depend on their order."""
    one, other = understood(pooled()), understood(pooled(reverse=True))
    for seed in range(20):
        changed, _ = pooled_draws(one, seed)
        assert values(one, changed) == values(other, changed)


def test_the_order_of_a_groups_runs_is_nothing_to_the_last_bit() -> None:
    runs = [f"f{j}" for j in range(1, 7)]
    turned = runs[::-1]
    one = understood(repeats("plus_minus: 1 V", READ[:6], names=runs))
    other = understood(repeats("plus_minus: 1 V", READ[:6][::-1], names=turned))
    for seed in range(20):
        changed, _ = drawn_weights(one, runs, seed)
        assert values(one, changed) == values(other, changed)


@pytest.mark.parametrize("name", ["factor", "digit", "z1", "scatter", "also"])
def test_a_run_may_have_any_name(name: str) -> None:
    runs = [name, "f2", "f3"]
    case = understood(repeats("plus_minus: 1 V", READ[:3], names=runs))
    changed, w = drawn_weights(case, runs, 1)
    assert values(case, changed)["r", "full"] == pytest.approx(w @ READ[:3], rel=1e-12)
    assert values(case)["r", "full"] == pytest.approx(np.mean(READ[:3]), rel=1e-14)


# -- what the scatter stands in for -----------------------------------------------------------

METER = (
    "instruments: {m: {accuracy: 1 % of span, span: [0 V, 20 V], digit: 0.1 V, "
    "each_reading: 0.2 V, repeatability: 0.3 V, stability: 0.05 V}}\n"
)
REPLACED = {
    "a column's width": ("plus_minus: 1 V", READ[:3]),
    "a share of the value": ("plus_minus: 2 %", READ[:3]),
    "a second spread": ("plus_minus: 1 V, also: {plus_minus: 2 V}", READ[:3]),
    "a factor": ("within_factor: 1.2", READ[:3]),
    "a cell's own spread": (
        "plus_minus: 1 V",
        ["{value: 10, plus_minus: 3 V}", "{value: 11, standard_uncertainty: 2 V}", "12.5"],
    ),
    "a cell's repeats": ("plus_minus: 1 V", ["{repeats: [9, 11]}", "11", "12.5"]),
    "a cell's limits": ("plus_minus: 1 V", ["{low: 9 V, high: 11 V}", "11", "12.5"]),
    "none": ("exact: true", READ[:3]),
}


@pytest.mark.parametrize(("column", "cells"), REPLACED.values(), ids=REPLACED)
def test_the_scatter_stands_in_the_place_of_declared_spreads(
    column: str, cells: list[str | float]
) -> None:
    case = understood(repeats(column, cells))
    assert group_sources(case) == set()
    assert values(case)["r", "full"] == pytest.approx(np.mean([10, 11, 12.5]), rel=1e-14)


def test_a_value_in_every_run_is_no_longer_fresh_in_a_group() -> None:
    text = TITLE + (
        "runs:\n  readings: {v: {unit: V, in_every_run: 9.6, plus_minus: 1 V},"
        " t: {unit: s, plus_minus: 1 s}}\n"
        "  rows: {f1: {t: 1}, f2: {t: 2}, f3: {t: 4}}\n  groups: {full: [f1, f2, f3]}\n"
        "results: {r: {formula: v * t, unit: V*s}}\n"
    )
    assert group_sources(understood(text)) == set()


def test_of_an_instrument_the_common_error_and_the_step_stay() -> None:
    case = understood(repeats("instrument: m, also: {plus_minus: 1 V}", READ[:3], top=METER))
    assert group_sources(case) == {"m.z1", "m.z2", "m.stability", "v[full].digit"}
    single = next(o for o in case.outputs if o.run == "f2")
    assert case.program.sources_of[single.step] == {
        *("m.z1", "m.z2", "m.stability", "v[f2].digit"),
        *("v[f2].each_reading", "v[f2].repeatability", "v[f2].also"),
    }


def test_common_errors_act_inside_the_formula() -> None:
    """e(x) = L(x) (2 Phi(cos t z1 + sin t z2) - 1), t = (pi/2) x / 20 V, L = 0.2 V."""
    results = "results: {r: {formula: v * v, unit: V^2}}\n"
    top = "instruments: {m: {accuracy: 1 % of span, span: [0 V, 20 V], digit: 0.1 V}}\n"
    case = understood(repeats("instrument: m", READ[:4], results, top))
    changed, w = drawn_weights(case, ["f1", "f2", "f3", "f4"], 3)
    changed |= {"m.z1": 0.7, "m.z2": -1.3, "v[full].digit": 0.6}
    x = np.array(READ[:4])
    t = math.pi / 2 * x / 20
    y = x + 0.2 * (2 * special.ndtr(np.cos(t) * 0.7 - np.sin(t) * 1.3) - 1) + 0.6 * 0.05
    assert values(case, changed)["r", "full"] == pytest.approx(w @ y**2, rel=1e-11)


def test_ranges_with_other_steps_share_one_draw_of_the_step() -> None:
    top = (
        "instruments: {m: {accuracy: 1 mV, span: [[0 V, 2 V], [0 V, 20 V]], "
        "digit: [0.001 V, 0.01 V]}}\n"
    )
    case = understood(repeats("instrument: m", [1.95, 2.1, 1.99], top=top))
    assert group_sources(case) == {"m.z1", "m.z2", "v[full].digit"}
    moved = values(case, {"v[full].digit": 1.0})["r", "full"] - values(case)["r", "full"]
    assert moved == pytest.approx((0.0005 + 0.005 + 0.0005) / 3, rel=1e-9)


def test_a_dial_is_read_to_a_part_of_its_division_in_a_group_too() -> None:
    top = "instruments: {m: {accuracy: 0.1 V, span: [0 V, 20 V], division: 0.4 V}}\n"
    cells = ["10", "{value: 11, readable_to: 1/2}", "12.5"]
    case = understood(repeats("instrument: m", cells, top=top))
    moved = values(case, {"v[full].division": 1.0})["r", "full"] - values(case)["r", "full"]
    assert moved == pytest.approx((0.1 + 0.2 + 0.1) / 3, rel=1e-9)


def test_two_specimens_and_two_columns_have_steps_of_their_own() -> None:
    text = TITLE + (
        "instruments: {m: {accuracy: 0.1 V, digit: 0.1 V, error_along_scale: same}}\n"
        "runs:\n  readings: {v: {unit: V, instrument: m#1}, w: {unit: V, instrument: m#1}}\n"
        "  rows:\n    f1: {v: 1, w: 2}\n    f2: {v: {value: 1.1, instrument: m#2}, w: 2}\n"
        "    f3: {v: 1, w: 2.2}\n  groups: {full: [f1, f2, f3]}\n"
        "results: {r: {formula: v + w, unit: V}}\n"
    )
    case = understood(text)
    steps = {name for name in group_sources(case) if "digit" in name}
    assert len(steps) == 3
    swing = sorted(
        values(case, {name: 1.0})["r", "full"] - values(case)["r", "full"] for name in steps
    )
    assert swing == pytest.approx([0.05 / 3, 0.05 * 2 / 3, 0.05], rel=1e-9)


def test_an_error_that_runs_share_stays() -> None:
    case = understood(repeats("plus_minus: 1 V, shared: true", READ[:3]))
    assert group_sources(case) == {"v"}
    changed, w = drawn_weights(case, ["f1", "f2", "f3"], 2)
    assert values(case, {**changed, "v": 0.4})["r", "full"] == pytest.approx(
        w @ READ[:3] + 0.4, rel=1e-12
    )


def test_two_runs_keep_what_was_declared() -> None:
    case = understood(repeats("plus_minus: 1 V, also: {plus_minus: 2 V}", [10, 11]))
    assert group_sources(case) == {"v[f1]", "v[f2]", "v[f1].also", "v[f2].also"}
    assert not [item for item in case.items if "scatter" in item.name]
    found = values(case, {"v[f1]": 10.5, "v[f2].also": -0.2})
    assert found["r", "full"] == pytest.approx((10.5 + 10.8) / 2, rel=1e-14)


# -- formulas over runs, inside groups --------------------------------------------------------

REDUCED = ["mean_of_runs(v)", "total_of_runs(v)", "in_run(v, f1)", "in_run(v, z)"]


def with_a_reducer(reducer: str, named: bool) -> Case:
    formulas = f"formulas: {{whole: '{reducer}'}}\n" if named else ""
    whole = "whole" if named else reducer
    text = repeats("plus_minus: 1 V", [10, 11, 12.5, 10.5, 5], names=["f1", "f2", "f3", "f4", "z"])
    text = text.replace("full: [f1, f2, f3, f4, z]", "full: [f1, f2, f3, f4]")
    result = f"results: {{r: {{formula: 'v / {whole}', unit: 1, is: ratio}}}}\n"
    return understood(text.replace(VOLTS, formulas + result))


@pytest.mark.parametrize("reducer", REDUCED)
def test_a_reducer_with_a_name_is_the_same_as_without(reducer: str) -> None:
    plain, named = with_a_reducer(reducer, False), with_a_reducer(reducer, True)
    assert group_sources(named) == group_sources(plain)
    changed, _ = drawn_weights(plain, ["f1", "f2", "f3", "f4"], 4)
    assert values(named, changed)["r", "full"] == values(plain, changed)["r", "full"]


def test_runs_of_no_group_keep_their_errors_in_a_reducer() -> None:
    case = with_a_reducer("mean_of_runs(v)", False)
    assert "v[z]" in group_sources(case)
    changed, w = drawn_weights(case, ["f1", "f2", "f3", "f4"], 5)
    y = np.array([10, 11, 12.5, 10.5])
    found = values(case, {**changed, "v[z]": 5.5})["r", "full"]
    assert found == pytest.approx(w @ (y / ((y.sum() + 5.5) / 5)), rel=1e-12)


@pytest.mark.parametrize(("beside", "share"), [("+ 0.001", 0.0), ("- 0.001", 1.0)])
def test_a_ceiling_has_the_weights_of_its_result(beside: str, share: float) -> None:
    """A ceiling that is the result itself, a little aside, is never or always passed."""
    results = f"results: {{r: {{formula: v / w, unit: 1, is: ratio, ceiling: 'v / w {beside}'}}}}\n"
    top = "inputs: {w: {value: 20 V, plus_minus: 1 V}}\n"
    case = understood(repeats("plus_minus: 1 V", READ[:4], results, top))
    for output, count in zip(case.outputs, Engine(case, 1, 20_000).run(), strict=True):
        assert count.above_ceiling / 20_000 == share, output.run


# -- kinds and missing readings ---------------------------------------------------------------

KINDS = """\
inputs: {b: {value: 985 hPa, plus_minus: 5 hPa, reads: absolute pressure}}
runs:
  readings:
    p: {unit: bar, reads: gauge pressure, plus_minus: 0.1 bar}
    t: {unit: degC, plus_minus: 1 K}
  rows:
    f1: {p: 3, t: 20}
    f2: {p: 3.1, t: 21}
    f3: {p: 3.3, t: 22.5}
    g1: {p: 2, t: 5}
    g2: {p: 2.2, t: 6}
  groups: {full: [f1, f2, f3], cold: [g1, g2]}
POOL
results:
  p: {formula: p, unit: bar}
  a: {formula: "absolute(p, b)", unit: bar}
  t: {formula: t, unit: UNIT}
"""


@pytest.mark.parametrize("pool", ["", "  pool: true"])
def test_gauge_pressures_and_temperatures_keep_their_kind(pool: str) -> None:
    case = understood(TITLE + KINDS.replace("POOL", pool).replace("UNIT", "degC"))
    assert case.warnings == ()
    found = values(case)
    assert found["p", "full"] == pytest.approx(9.4 / 3)
    assert found["a", "full"] == pytest.approx(9.4 / 3 + 0.985)
    assert found["t", "full"] == pytest.approx(63.5 / 3)
    assert found["t", "cold"] == pytest.approx(5.5)


def test_a_point_on_a_scale_is_refused_as_a_difference_once_for_runs_and_groups() -> None:
    (found,) = complaints(TITLE + KINDS.replace("POOL", "").replace("UNIT", "delta_degC"))
    assert found.marked == "delta_degC"


def test_a_group_with_a_missing_reading_has_no_value_and_says_so() -> None:
    text = repeats("plus_minus: 1 V, optional: true", [10, "", 12.5, 11], VOLTS)
    case = understood(text)
    assert [o.run for o in case.outputs] == ["f1", "f3", "f4"]
    assert [w.what for w in case.warnings] == [
        "r has no value in run f2: v is empty",
        "r has no value in group full: v is empty in run f2",
        "no result has a value for a group, so the scatter that was seen counts nowhere",
    ]


# -- what is refused --------------------------------------------------------------------------

BAD = [
    ("{full: [f1, f2, f4]}", "no run is called 'f4'"),
    ("{full: [f1, f1, f2]}", "a run stands twice in the group"),
    ("{full: [f1]}", "a group is of two runs or more"),
    ("{full: []}", "a group is of two runs or more"),
    ("{f3: [f1, f2]}", "'f3' is already the name of a run"),
    ("{F3: [f1, f2]}", "'F3' differs only in case from rows: f3"),
    ("{a: [f1, f2], b: [f2, f3]}", "run f2 stands in the group a already"),
]


@pytest.mark.parametrize(("groups", "what"), BAD, ids=[row[0] for row in BAD])
def test_a_group_that_cannot_be(groups: str, what: str) -> None:
    text = repeats("plus_minus: 1 V", READ[:3]).replace("{full: [f1, f2, f3]}", groups)
    (found,) = complaints(text)
    assert found.what == what
    assert found.remedy
    assert text.split("\n")[found.line - 1].startswith("  groups:")


def test_a_group_stands_in_no_formula() -> None:
    text = repeats("plus_minus: 1 V", READ[:3]).replace(
        "formula: v,", "formula: 'v - in_run(v, full)',"
    )
    (found,) = complaints(text)
    assert found.marked == "full"
    assert "is a group" in found.what


def test_pooling_needs_two_groups() -> None:
    (found,) = complaints(repeats("plus_minus: 1 V", READ[:3], more="  pool: true\n"))
    assert found.marked == "pool"


def test_a_refused_run_is_not_reported_again_by_its_group() -> None:
    text = repeats("plus_minus: 1 V", [10, "high", 12.5])
    assert [found.marked for found in complaints(text)] == ["high"]


# -- whether the scatter is what was declared -------------------------------------------------

U = 1 / math.sqrt(3)  # of plus_minus: 1 V


def scatter(text: str) -> Scatter:
    """Return how the one group of a case scatters, for its one result in V."""
    case = understood(text)
    found = values(case)
    (only,) = scatters(case, [found[o.target.name, o.run] for o in case.outputs])
    return only


@pytest.mark.parametrize(("share", "doubted"), [(0.999, False), (1.001, True)])
def test_two_runs_are_doubted_beyond_1_96_sqrt_2_u(share: float, doubted: bool) -> None:
    apart = share * 1.959963984540054 * math.sqrt(2) * U
    found = scatter(repeats("plus_minus: 1 V", [10.0, 10.0 + apart]))
    assert found.declared == pytest.approx(U)
    assert found.more_than_declared is doubted


@pytest.mark.parametrize(
    ("n", "chi_square"),
    [(3, 5.991464547107979), (4, 7.814727903251179), (6, 11.070497693516351)],
)
@pytest.mark.parametrize(("share", "doubted"), [(0.999, False), (1.001, True)])
def test_more_runs_are_doubted_beyond_the_95_percent_point_of_chi_square(
    n: int, chi_square: float, share: float, doubted: bool
) -> None:
    """Points of common chi-square tables, to full precision from scipy 1.17."""
    shape = np.arange(n) - (n - 1) / 2
    wanted = share * U * math.sqrt(chi_square / (n - 1))
    cells = 10 + shape * wanted / shape.std(ddof=1)
    found = scatter(repeats("plus_minus: 1 V", [repr(float(x)) for x in cells]))
    assert found.seen == pytest.approx(wanted)
    assert found.more_than_declared is doubted


def test_what_runs_share_explains_no_scatter() -> None:
    top = "instruments: {m: {accuracy: 5 V, span: [0 V, 20 V], repeatability: 0.1 V}}\n"
    found = scatter(repeats("instrument: m", READ[:3], top=top))
    assert found.declared == pytest.approx(0.1)
    assert found.more_than_declared


def test_declared_groups_are_silent_in_reading() -> None:
    assert warnings(repeats("plus_minus: 1 V", READ[:3])) == []


def test_check_says_how_each_group_is_taken() -> None:
    text = report.understood(understood(repeats("plus_minus: 1 V", READ[:3])))
    assert "\ngroups:\n  full: f1, f2, f3; scatter as seen" in text
    assert "runs f1, f2, f3, full" in text
    text = report.understood(understood(repeats("plus_minus: 1 V", READ[:2])))
    assert "  full: f1, f2; two runs are too few" in text
    text = report.understood(understood(pooled()))
    assert "  b: b0, b1; scatter as seen, relative" in text
