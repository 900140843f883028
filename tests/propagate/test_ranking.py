"""The ranking: indices against closed forms and two other implementations; half-widths saved.

Closed forms: Ishigami and Homma 1990, Sobol 1993 (g-function), from memory and recomputed in
each test; sums of normals and products are derived. SALib and scipy.stats are the other
implementations. Seeds are fixed.
"""

from __future__ import annotations

import functools
import math
import threading

import numpy as np
import pytest
from SALib.analyze import sobol
from scipy import stats
from workbench import case_of, ranked, results, summaries_of

from effband.case.model import Case
from effband.problems import ComputationRefused
from effband.propagate import half_widths
from effband.propagate import sobol as rows_and_indices
from effband.propagate.ranking import Line, rank
from effband.propagate.sobol import SCRAMBLINGS, saltelli_jansen
from effband.study import run, with_options

Z = stats.norm.ppf(0.975)
T15 = stats.t.ppf(0.975, SCRAMBLINGS - 1)
PI = "3.141592653589793"


def uniform_case(count: int, low: str, high: str, **formulas: str) -> Case:
    lines = [f"  x{i}: {{low: {low}, high: {high}}}\n" for i in range(1, count + 1)]
    return case_of("inputs:\n" + "".join(lines), results(**formulas))


# -- known indices -------------------------------------------------------------------------------

ISHIGAMI = uniform_case(3, f"-{PI}", PI, y="sin(x1) + 7*sin(x2)**2 + 0.1*x3**4*sin(x1)")
G_COEFFICIENTS = (0, 1, 4.5, 9, 99, 99, 99, 99)
G_FUNCTION = uniform_case(
    8,
    "0",
    "1",
    y=" * ".join(f"(abs(4*x{i} - 2) + {a})/(1 + {a})" for i, a in enumerate(G_COEFFICIENTS, 1)),
)


def ishigami_indices() -> tuple[np.ndarray, np.ndarray]:
    a, b = 7.0, 0.1
    first = np.array([0.5 * (1 + b * math.pi**4 / 5) ** 2, a**2 / 8, 0.0])
    joint = 8 * b**2 * math.pi**8 / 225
    variance = first.sum() + joint
    return first / variance, (first + np.array([joint, 0, joint])) / variance


def g_indices() -> tuple[np.ndarray, np.ndarray]:
    v = 1 / (3 * (1 + np.array(G_COEFFICIENTS)) ** 2)
    everything = np.prod(1 + v)
    return v / (everything - 1), v * everything / (1 + v) / (everything - 1)


KNOWN = {"ishigami": (ISHIGAMI, *ishigami_indices()), "g": (G_FUNCTION, *g_indices())}


def test_closed_forms_are_the_printed_ones() -> None:
    first, total = ishigami_indices()
    assert first == pytest.approx([0.3139, 0.4424, 0.0], abs=6e-5)
    assert total == pytest.approx([0.5576, 0.4424, 0.2437], abs=6e-5)
    first, total = g_indices()
    assert first[:5] == pytest.approx([0.7162, 0.1791, 0.0237, 0.0072, 0.0001], abs=6e-5)
    assert total[:5] == pytest.approx([0.7871, 0.2422, 0.0343, 0.0105, 0.0001], abs=6e-5)


@pytest.mark.parametrize("name", KNOWN)
def test_whole_ranker_on_known_functions(name: str) -> None:
    """Within 4 standard errors of 16 scramblings (their half-interval over t), and 0.01."""
    case, first, total = KNOWN[name]
    (lines,) = ranked(case)
    assert set(lines) == {f"x{i}" for i in range(1, len(first) + 1)}
    for i in range(len(first)):
        line = lines[f"x{i + 1}"]
        for index, truth in ((line.first_order, first[i]), (line.total, total[i])):
            assert index is not None
            error = (index.high - index.low) / 2 / T15
            assert 0 < error < 0.004
            assert index.value == pytest.approx(truth, abs=min(4 * error + 1e-6, 0.01))
            assert index.low < index.value < index.high


def coverage(name: str, repeats: int) -> tuple[np.ndarray, np.ndarray]:
    """Return whether each interval holds the truth, and z of each: (repeats, 2, inputs)."""
    case, first, total = KNOWN[name]
    summaries = summaries_of(case, 20_000)
    held = np.empty((repeats, 2, len(first)), dtype=bool)
    scores = np.empty((repeats, 2, len(first)))
    for repeat in range(repeats):
        (found,) = rank(case, 1000 + repeat, 0.95, summaries)
        for line in found.lines:
            i = int(line.item.name[1:]) - 1
            for kind, (index, truth) in enumerate(
                ((line.first_order, first[i]), (line.total, total[i]))
            ):
                assert index is not None
                held[repeat, kind, i] = index.low <= truth <= index.high
                scores[repeat, kind, i] = (index.value - truth) * T15 * 2 / (index.high - index.low)
    return held, scores


def check_coverage(name: str, repeats: int) -> None:
    """Judge coverage averaged over the inputs.

    Inputs of one repeat share their rows, so the average over them may vary like one binomial
    draw per repeat: bound 3.5 sqrt(0.95 0.05 / repeats). Too wide intervals hide from that bound
    (1 is near 0.95), so the sizes are checked as well: the scores are t of 15 degrees, and their
    root mean square is sqrt(15 / 13), within 3.5 / sqrt(2 repeats) of it relative.
    """
    held, scores = coverage(name, repeats)
    bound = 3.5 * math.sqrt(0.95 * 0.05 / repeats)
    size = math.sqrt(float(np.mean(scores**2)) / (15 / 13))
    for kind in (0, 1):
        assert abs(held[:, kind].mean() - 0.95) <= bound, held[:, kind].mean(axis=0)
    assert abs(size - 1) <= 3.5 / math.sqrt(2 * repeats), size


@pytest.mark.parametrize("name", KNOWN)
def test_index_intervals_cover_the_truth(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(half_widths, "STRATA", 2)  # the half-widths are not looked at here
    check_coverage(name, 60)


@pytest.mark.slow
@pytest.mark.parametrize("name", KNOWN)
def test_index_intervals_cover_the_truth_often(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(half_widths, "STRATA", 2)
    check_coverage(name, 1_000)


# -- the estimator against other implementations -------------------------------------------------

ROWS, INPUTS = 512, 5


def model(x: np.ndarray) -> np.ndarray:
    """Return three outputs, shape (rows, 3); the last hardly depends on anything but one input."""
    y1 = x[:, 0] * x[:, 1] + np.sin(3 * x[:, 2]) + 100
    y2 = x[:, 0] + 2 * x[:, 3] ** 2 - x[:, 4] * x[:, 1]
    return np.stack([y1, y2, 1e-3 * x[:, 4] + 1e-6 * x[:, 0] - 7e-3], axis=1)


@functools.cache
def rows() -> tuple[np.ndarray, np.ndarray]:
    return tuple(np.random.default_rng(20260514).random((2, ROWS, INPUTS)))


def swapped_rows(groups: list[list[int]]) -> np.ndarray:
    a, b = rows()
    found = np.repeat(a[None], len(groups), axis=0)
    for i, columns in enumerate(groups):
        found[i][:, columns] = b[:, columns]
    return found


def by_salib(
    ya: np.ndarray, yb: np.ndarray, swapped: np.ndarray, names: list[str], groups: list[str] | None
) -> tuple[np.ndarray, np.ndarray]:
    """Return SALib's indices of one output from the same rows.

    SALib wants A, each AB, B of one row together. Second order is refused explicitly, in step
    with the rows, and the seed is at least 1, since 0 is taken for none.
    """
    problem = {"num_vars": len(names), "names": names, "bounds": [[0, 1]] * len(names)}
    if groups is not None:
        problem["groups"] = groups
    y = np.concatenate([ya[:, None], swapped.T, yb[:, None]], axis=1).ravel()
    found = sobol.analyze(problem, y, calc_second_order=False, num_resamples=2, seed=1)
    return found["S1"], found["ST"]


NAMES = [f"x{i}" for i in range(INPUTS)]
SINGLE = [[i] for i in range(INPUTS)]


@pytest.mark.parametrize("output", [0, 1, 2])
def test_estimator_equals_salib(output: int) -> None:
    a, b = rows()
    swapped = np.array([model(x) for x in swapped_rows(SINGLE)])
    first, total = saltelli_jansen(model(a), model(b), swapped)
    assert first.shape == total.shape == (INPUTS, 3)
    s1, st = by_salib(model(a)[:, output], model(b)[:, output], swapped[..., output], NAMES, None)
    assert total[:, output].max() > 0.1
    np.testing.assert_allclose(first[:, output], s1, rtol=0, atol=1e-12)
    np.testing.assert_allclose(total[:, output], st, rtol=0, atol=1e-12)


@pytest.mark.parametrize("output", [0, 1, 2])
def test_grouped_estimator_equals_salib(output: int) -> None:
    a, b = rows()
    groups = [[0, 3], [1], [2, 4]]
    swapped = np.array([model(x) for x in swapped_rows(groups)])
    first, total = saltelli_jansen(model(a), model(b), swapped)
    s1, st = by_salib(
        model(a)[:, output],
        model(b)[:, output],
        swapped[..., output],
        NAMES,
        ["one", "two", "three", "one", "three"],
    )
    assert total[:, output].max() > 0.1
    np.testing.assert_allclose(first[:, output], s1, rtol=0, atol=1e-12)
    np.testing.assert_allclose(total[:, output], st, rtol=0, atol=1e-12)


def test_estimator_against_scipy() -> None:
    """Total index on the same rows to 1e-12; first order but for where values are centred.

    scipy centres on the rows A and B, here all rows count: first order differs by the shift of
    the centre times mean(AB - A) / variance, exactly.
    """
    a, b = rows()
    swapped = np.array([model(x) for x in swapped_rows(SINGLE)])
    first, total = saltelli_jansen(model(a), model(b), swapped)
    given = {"f_A": model(a).T, "f_B": model(b).T, "f_AB": swapped.transpose(0, 2, 1)}
    # scipy centres the arrays it is given in place
    other = stats.sobol_indices(func={k: v.copy() for k, v in given.items()}, n=ROWS)
    both = np.concatenate([model(a), model(b)])
    all_rows = np.concatenate([both, swapped.reshape(-1, 3)])
    shift = all_rows.mean(axis=0) - both.mean(axis=0)
    moved = (swapped - model(a)).mean(axis=1) * shift / both.var(axis=0)
    assert np.abs(moved).max() > 1e-6
    np.testing.assert_allclose(total, other.total_order.T, rtol=0, atol=1e-12)
    np.testing.assert_allclose(first + moved, other.first_order.T, rtol=0, atol=1e-12)


def test_estimator_takes_scramblings_at_once() -> None:
    rng = np.random.default_rng(5)
    a, b = rng.random((2, 4, 64, 2))
    swapped = rng.random((4, 3, 64, 2))
    first, total = saltelli_jansen(a, b, swapped)
    for r in range(4):
        s1, st = saltelli_jansen(a[r], b[r], swapped[r])
        np.testing.assert_allclose(first[r], s1, rtol=0, atol=1e-14)
        np.testing.assert_allclose(total[r], st, rtol=0, atol=1e-14)


# -- items are groups of sources -----------------------------------------------------------------

INSTRUMENTS = """
instruments:
  dial: {accuracy: 0.4 V, span: [0 V, 16 V], division: 1 V}
  meter: {accuracy: 0.2 V, span: [0 V, 16 V], digit: 0.1 V}
inputs:
  d1: {value: 9 V, instrument: dial}
  d2: {value: 3 V, instrument: dial}
  m1: {value: 12 V, instrument: meter}
  m2: {value: 5 V, instrument: meter}
  free: {value: 2 V, plus_minus: 0.2 V}
  idle: {value: 2 V, plus_minus: 0.2 V}
results:
  sum: {formula: d1 - d2 + m1 - m2 + free + 0 * idle, unit: V}
  product: {formula: d1 * m1 - m2 * free * d1 / d2, unit: V^2}
"""


def captured(
    case: Case, monkeypatch: pytest.MonkeyPatch
) -> tuple[list[dict[str, Line]], list[tuple[np.ndarray, np.ndarray, np.ndarray]]]:
    """Return the ranking, and the rows of whole items that the estimator was given."""
    seen: list[tuple[np.ndarray, np.ndarray, np.ndarray]] = []

    def listen(a, b, swapped):
        if swapped.shape[-3] == len(case.items):
            seen.append((a, b, swapped))
        return saltelli_jansen(a, b, swapped)

    monkeypatch.setattr(rows_and_indices, "saltelli_jansen", listen)
    return ranked(case), seen


def test_an_instrument_is_one_group(monkeypatch: pytest.MonkeyPatch) -> None:
    """Rows of a sum: what one item moves and what the others move add up to B - A, row by row.

    And the indices are SALib's, with each instrument's sources as one of its groups, on the
    very same rows.
    """
    case = case_of(INSTRUMENTS)
    assert [item.name for item in case.items] == ["dial", "free", "idle", "meter"]
    assert [len(item.sources) for item in case.items] == [4, 1, 1, 4]
    lines, seen = captured(case, monkeypatch)
    a, b, swapped = (np.concatenate(parts) for parts in zip(*seen, strict=True))
    assert a.shape == b.shape == (SCRAMBLINGS, rows_and_indices.ROWS, 2)
    moved = (swapped - a[:, None])[..., 0]
    assert np.all(moved[:, [0, 1, 3]].std(axis=(0, 2)) > 0.05)
    np.testing.assert_allclose(moved.sum(axis=1), (b - a)[..., 0], rtol=0, atol=1e-13)
    names = [source for item in case.items for source in item.sources]
    groups = [item.name for item in case.items for _ in item.sources]
    for k in (0, 1):
        by_scrambling = [
            by_salib(a[r, :, k], b[r, :, k], swapped[r, :, :, k], names, groups)
            for r in range(SCRAMBLINGS)
        ]
        s1, st = np.mean(by_scrambling, axis=0)
        for i, item in enumerate(case.items):
            line = lines[k].get(item.name)
            if line is None:
                assert (k, item.name) == (1, "idle")
                assert s1[i] == st[i] == 0.0
                continue
            assert line.first_order.value == pytest.approx(s1[i], abs=1e-12)
            assert line.total.value == pytest.approx(st[i], abs=1e-12)


def test_indices_of_a_sum_are_shares_of_its_variance() -> None:
    """c^2 u^2 / u_c^2 (derived), common and fresh parts beneath; an idle input has exactly 0."""
    lines = ranked(case_of(INSTRUMENTS))[0]
    common = {}
    for name, limit, apart in (("dial", 0.4, 6), ("meter", 0.2, 7)):
        r = (6 / math.pi) * math.asin(math.cos(math.pi / 2 * apart / 16) / 2)
        common[name] = limit**2 / 3 * (2 - 2 * r)
    fresh = {"dial": 2 * 0.25**2 / 6, "meter": 2 * 0.1**2 / 12}
    variance = {name: common[name] + fresh[name] for name in common} | {"free": 0.2**2 / 3}
    whole = sum(variance.values())
    for name, part in variance.items():
        for index in (lines[name].first_order, lines[name].total):
            error = (index.high - index.low) / 2 / T15
            assert index.value == pytest.approx(part / whole, abs=4 * error)
            assert error < 0.003
    for name in common:
        parts = {part.name: part.first_order for part in lines[name].parts}
        assert set(parts) == {"common", "fresh"}
        assert parts["common"] == pytest.approx(common[name] / whole, abs=0.01)
        assert parts["fresh"] == pytest.approx(fresh[name] / whole, abs=0.01)
    assert lines["idle"].first_order.value == lines["idle"].total.value == 0.0
    assert sum(line.first_order.value for line in lines.values()) == pytest.approx(1, abs=0.01)


def test_a_column_is_one_line_over_all_runs() -> None:
    text = """
        runs:
          readings:
            t: {unit: s, plus_minus: 1 s}
            v: {unit: V, plus_minus: 2 V}
          rows:
            a: {t: 10, v: 5}
            b: {t: 20, v: 6}
        results:
          sum: {formula: total_of_runs(t) + total_of_runs(v) * k, unit: s}
        inputs:
          k: {constant: 1 s/V}
        """
    (lines,) = ranked(case_of(text))
    assert set(lines) == {"t", "v"}
    assert lines["t"].first_order.value == pytest.approx(0.2, abs=0.01)
    assert lines["v"].first_order.value == pytest.approx(0.8, abs=0.01)
    assert lines["t"].item.kind == "column"


# -- half-width without an item ------------------------------------------------------------------


def near(line: Line, expected: float, largest: float) -> None:
    """Compare within 4.5 of the stated simulation uncertainty, itself no more than `largest`."""
    assert 0 < line.simulation_uncertainty <= largest
    assert line.half_width_without == pytest.approx(expected, abs=4.5 * line.simulation_uncertainty)


def test_without_one_of_some_normals() -> None:
    """Half-width z sqrt(sum of the other variances) (derived)."""
    spreads = {"a": 1.0, "b": 2.0, "c": 3.0, "d": 0.1}
    inputs = "".join(
        f"  {n}: {{value: 5, standard_uncertainty: {s}}}\n" for n, s in spreads.items()
    )
    (lines,) = ranked(case_of("inputs:\n" + inputs, results(y="a - b + c + d")))
    for name, spread in spreads.items():
        rest = math.sqrt(sum(s**2 for s in spreads.values()) - spread**2)
        near(lines[name], Z * rest, 0.005 * Z * rest)
    saved = [line.half_width_without for line in lines.values()]
    assert list(lines) == ["c", "b", "a", "d"]
    assert saved == sorted(saved)


def test_variance_and_half_width_may_rank_otherwise() -> None:
    """A rectangle of +-1 beside a normal of 0.53: 0.950 without the normal, 1.039 without the
    rectangle (exact), although the rectangle has the greater variance.
    """
    text = """
        inputs:
          flat: {value: 0, plus_minus: 1}
          bell: {value: 0, standard_uncertainty: 0.53}
        """
    (lines,) = ranked(case_of(text, results(y="flat + bell")))
    assert lines["flat"].half_width_without == pytest.approx(1.039, abs=0.005)
    assert lines["bell"].half_width_without == pytest.approx(0.950, abs=0.005)
    assert lines["flat"].first_order.value > lines["bell"].first_order.value
    assert list(lines) == ["bell", "flat"]


def test_without_a_factor_of_a_product() -> None:
    """Holding a leaves |a| z u_b, on average z u_b E|a| (derived): 19.6 and 9.8 here."""
    text = """
        inputs:
          a: {value: 10, standard_uncertainty: 1}
          b: {value: 5, standard_uncertainty: 1}
        """
    (lines,) = ranked(case_of(text, results(y="a * b")))
    near(lines["a"], Z * 10, 0.3)
    near(lines["b"], Z * 5, 0.3)


def test_without_an_item_against_brute_force() -> None:
    """400 draws of the item times 10 000 of the others by plain numpy, seed 8.

    The half-width differs from draw to draw, so both averages have their own standard error;
    tolerance 4.5 of both together.
    """
    text = """
        inputs:
          x: {value: 1, within_factor: 1.6}
          y: {value: 3, plus_minus: 1}
          w: {mean: 0.5, shape: exponential}
        """
    (lines,) = ranked(case_of(text, results(y="x * y ** 2 + sqrt(w) * x")))
    rng = np.random.default_rng(8)
    sigma = math.log(1.6) / Z

    def draw(name: str, size: int) -> np.ndarray:
        if name == "x":
            return np.exp(sigma * rng.standard_normal(size))
        return rng.uniform(2, 4, size) if name == "y" else rng.exponential(0.5, size)

    for held in ("x", "y", "w"):
        halves = []
        for value in draw(held, 400):
            v = {name: draw(name, 10_000) for name in "xyw"} | {held: value}
            ends = np.quantile(v["x"] * v["y"] ** 2 + np.sqrt(v["w"]) * v["x"], [0.025, 0.975])
            halves.append((ends[1] - ends[0]) / 2)
        error = math.hypot(np.std(halves) / math.sqrt(400), lines[held].simulation_uncertainty)
        assert error < 0.05 * np.mean(halves)
        assert lines[held].half_width_without == pytest.approx(np.mean(halves), abs=4.5 * error)


def test_stated_uncertainty_of_a_half_width_is_honest() -> None:
    """40 seeds of a sum of two normals: 39 scatter^2 / stated^2 is chi-square; bound 1e-4.

    Strata can only make the scatter smaller, so for a sum, where they do nothing, it is equal.
    """
    text = """
        inputs:
          a: {value: 5, standard_uncertainty: 1}
          b: {value: 5, standard_uncertainty: 2}
        """
    case = case_of(text, results(y="a + b"))
    summaries = summaries_of(case, 20_000)
    found = np.empty((40, 2, 2))
    for seed in range(40):
        (each,) = rank(case, 500 + seed, 0.95, summaries)
        for line in each.lines:
            at = "ab".index(line.item.name)
            found[seed, at] = line.half_width_without, line.simulation_uncertainty
    low, high = stats.chi2.ppf([0.5e-4, 1 - 0.5e-4], 39)
    for at, rest in ((0, 2.0), (1, 1.0)):
        ratio = 39 * found[:, at, 0].var(ddof=1) / np.mean(found[:, at, 1] ** 2)
        assert low < ratio < high
        stated = math.sqrt(np.mean(found[:, at, 1] ** 2) / 40)
        # a quantile of 4 096 values is itself off by a few 1e-4 of the width
        assert found[:, at, 0].mean() == pytest.approx(Z * rest, abs=4.5 * stated + 5e-4 * rest)


def test_all_sources_of_an_instrument_are_held_together() -> None:
    """Without the dial only the free input is left: a rectangle, half-width 0.95 of its limit."""
    text = """
        instruments:
          dial: {accuracy: 4 V, span: [0 V, 16 V], division: 1 V, stability: 1 V}
        inputs:
          d1: {value: 9 V, instrument: dial}
          d2: {value: 3 V, instrument: dial}
          free: {value: 2 V, plus_minus: 0.2 V}
        results:
          y: {formula: d1 - d2 + free, unit: V}
        """
    (lines,) = ranked(case_of(text))
    near(lines["dial"], 0.19, 0.0005)


def test_probability_is_that_of_the_study() -> None:
    text = """
        inputs:
          a: {value: 5, standard_uncertainty: 1}
          b: {value: 5, standard_uncertainty: 2}
        """
    case = case_of(text, results(y="a + b"))
    (found,) = rank(case, 1, 0.5, summaries_of(case, 20_000, probability=0.5))
    line = {each.item.name: each for each in found.lines}["b"]
    near(line, stats.norm.ppf(0.75), 0.005)


# -- what has no indices -------------------------------------------------------------------------


def test_an_output_that_does_not_vary_has_no_ranking() -> None:
    text = """
        inputs:
          x: {value: 5, standard_uncertainty: 1}
          k: {constant: 3}
        """
    case = case_of(text, results(k="2 * k", nothing="x - x", zero="0 * x + 7", some="x"))
    study = run(case, with_options(case.settings, trials=20_000))
    for band in study.bands[:3]:
        assert band.ranking.lines == ()
        assert band.ranking.evidence == ()
    assert [line.item.name for line in study.bands[3].ranking.lines] == ["x"]
    assert study.bands[3].ranking.lines[0].first_order.value == pytest.approx(1, abs=0.01)


def test_estimator_gives_zero_not_nan_for_what_does_not_vary() -> None:
    rng = np.random.default_rng(1)
    a, b = rng.random((2, 64, 2))
    swapped = rng.random((3, 64, 2))
    a[:, 1] = b[:, 1] = swapped[..., 1] = 4.2
    first, total = saltelli_jansen(a, b, swapped)
    assert np.all(first[:, 1] == 0.0)
    assert np.all(total[:, 1] == 0.0)
    assert np.all(total[:, 0] > 0.1)


@pytest.mark.parametrize("formula", ["log(x)", "sqrt(x - 0.01)", "exp(2000 * x)"])
def test_rows_that_are_not_finite_are_refused(formula: str) -> None:
    text = "inputs:\n  x: {value: 0.5, plus_minus: 0.5002}\n"
    sound = summaries_of(case_of(text, results(y="x")), 20_000)
    with pytest.raises(ComputationRefused, match="y is not finite"):
        rank(case_of(text, results(y=formula)), 1, 0.95, sound)


def test_stopped_from_outside() -> None:
    stop = threading.Event()
    stop.set()
    with pytest.raises(ComputationRefused, match="stopped"):
        rank(ISHIGAMI, 1, 0.95, summaries_of(ISHIGAMI, 20_000), stop)


@pytest.mark.parametrize("dof", [1, 2])
def test_without_variance_the_half_widths_rank_all_the_same(dof: int) -> None:
    text = f"""
        inputs:
          wild: {{value: 5, standard_uncertainty: 1, degrees_of_freedom: {dof}, evidence: measured}}
          tame: {{value: 5, standard_uncertainty: 1, evidence: guess}}
        """
    case = case_of(text, results(y="wild + tame", z="tame"))
    study = run(case, with_options(case.settings, trials=131_072))
    found = study.bands[0].ranking
    lines = {line.item.name: line for line in found.lines}
    assert list(lines) == ["wild", "tame"]
    assert all(line.first_order is None and line.total is None for line in found.lines)
    near(lines["wild"], Z, 0.01)
    half = stats.t.ppf(0.975, dof)
    assert lines["tame"].half_width_without == pytest.approx(half, rel=0.05)
    assert found.by_half_width
    assert dict(found.evidence)["measured"] > 0.7
    assert sum(share for _, share in found.evidence) == pytest.approx(1, abs=1e-12)
    other = study.bands[1].ranking.lines[0]
    assert other.total is not None
    assert not study.bands[1].ranking.by_half_width


def test_evidence_is_first_order_shares() -> None:
    text = """
        inputs:
          a: {value: 5, standard_uncertainty: 1, evidence: guess}
          b: {value: 5, standard_uncertainty: 2, evidence: datasheet}
          c: {value: 5, standard_uncertainty: 2, evidence: guess}
        """
    case = case_of(text, results(y="a + b + c"))
    study = run(case, with_options(case.settings, trials=20_000))
    evidence = dict(study.bands[0].ranking.evidence)
    assert sum(evidence.values()) == pytest.approx(1, abs=1e-12)
    assert evidence["guess"] == pytest.approx(5 / 9, abs=0.01)
    assert list(evidence) == ["guess", "datasheet"]
