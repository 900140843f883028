"""What a run says of bands, in a builder's words: once, and with the thing to do.

Numbers are those of closed forms: the chance of a normal law beyond a limit (scipy), and t laws,
which have no variance with 2 degrees of freedom (JCGM 101:2008, 6.4.9.4, from memory).
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from scipy.special import ndtr, ndtri

from effband import study
from effband.study import Remark

TRIALS = 200_000


def remarks(text: str, folder: Path) -> list[Remark]:
    """Return what is remarked of a case after a run."""
    file = folder / "case.yaml"
    file.write_text("effband: 1\ntitle: remarks\n" + text, encoding="utf-8")
    case = study.load(str(file))
    return list(study.run(case, replace(case.settings, trials=TRIALS)).remarks)


def of(word: str, found: list[Remark]) -> list[Remark]:
    """Return the remarks with a word in them."""
    return [remark for remark in found if word in remark.what]


BUCKET = (
    """\
inputs:
  bucket: {value: 12 L, plus_minus: 0.1 L, evidence: measured}
  fill_time: {repeats: [4.1, 4.4, 4.3], unit: s, evidence: measured}
  power: {value: 20 W, plus_minus: 1 W, evidence: measured}
formulas:
  flow: bucket / fill_time
  water: flow * 1000 kg/m^3 * standard_gravity * 5 m
results:
  flow_rate: {formula: flow, unit: L/s}
  wheel: {formula: power / water, unit: "%", boundary: {in: water, out: wire}}
""".replace("1000 kg/m^3", "density")
    .replace("5 m", "head")
    .replace(
        "formulas:",
        "  density: {constant: 1000 kg/m^3}\n  head: {constant: 5 m}\nformulas:",
    )
)


def test_three_readings_give_a_band_but_no_figure(tmp_path: Path) -> None:
    (found,) = of("+- figure", remarks(BUCKET, tmp_path))
    assert "three readings of fill_time make a good band" in found.what
    assert found.remedy.startswith("a fourth reading gives that as well; ")
    four = BUCKET.replace("4.3]", "4.3, 4.2]")
    assert of("readings of fill_time", remarks(four, tmp_path)) == []


def test_three_runs_give_a_band_but_no_figure(tmp_path: Path) -> None:
    text = (
        "runs:\n  readings: {w: {unit: W, plus_minus: 1 W, evidence: measured}}\n"
        "  rows: {f_1: {w: 20}, f_2: {w: 21}, f_3: {w: 20.6}}\n"
        "  groups: {f: [f_1, f_2, f_3]}\nresults: {p: {formula: w, unit: W}}\n"
    )
    (found,) = of("+- figure", remarks(text, tmp_path))
    assert found.what.endswith(
        "three runs make a good band, but no standard uncertainty (+- figure)"
    )
    assert found.remedy.startswith("a fourth run gives that as well; ")


def test_a_denominator_near_0_is_told_once_with_its_cause(tmp_path: Path) -> None:
    """A t of 2 degrees about 4.27 s with a scale of 0.09 s goes below 0 in 2e-4 of all trials."""
    (found,) = of("denominator", remarks(BUCKET, tmp_path))
    assert found.remedy == "read fill_time more than three times"
    assert found.what.count("flow") >= 1


def test_a_denominator_that_nobody_repeats_is_to_be_measured_better(tmp_path: Path) -> None:
    text = BUCKET.replace(
        "{repeats: [4.1, 4.4, 4.3], unit: s,", "{value: 4.3 s, standard_uncertainty: 1.5 s,"
    )
    (found,) = of("denominator", remarks(text, tmp_path))
    assert found.remedy == "measure the denominator better"


@pytest.mark.parametrize(
    ("beyond", "claimed", "told"),
    [(5e-5, False, False), (5e-5, True, True), (1e-3, False, True)],
)
def test_a_far_tail_above_a_ceiling_is_told_only_where_it_counts(
    beyond: float, claimed: bool, told: bool, tmp_path: Path
) -> None:
    """A normal law with a given share above 1; below 1e-4 it is noise, but not beside a claim."""
    u = 0.2 / float(ndtri(1 - beyond))
    assert 1 - ndtr(0.2 / u) == pytest.approx(beyond, rel=1e-6)
    text = (
        f"inputs: {{a: {{value: 0.8, standard_uncertainty: {u:.8f}, evidence: measured}}}}\n"
        "results: {e: {formula: a, unit: 1, is: efficiency, boundary: {in: x, out: y}}}\n"
    )
    text += "claims: [{result: e, says: at least 0.5}]\n" * claimed
    assert bool(of("above its ceiling", remarks(text, tmp_path))) == told


UNSTATED = """\
inputs:
  a: {value: 10 W, plus_minus: 1 W}
  b: {value: 10 W, plus_minus: 1 W, evidence: measured}
  c: {value: 10 W, plus_minus: 0.1 W}
results: {p: {formula: a + b + c, unit: W}}
"""


def test_inputs_of_unknown_origin_are_named(tmp_path: Path) -> None:
    """Variances 1, 1 and 0.01 of rectangular laws: a and c make 1.01 / 2.01 of the spread."""
    (found,) = of("`evidence:`", remarks(UNSTATED, tmp_path))
    assert found.what.startswith("a, c: no `evidence:` stands there, for 50 % of the spread of p")


@pytest.mark.parametrize(
    "text",
    [
        UNSTATED.replace("1 W}", "1 W, evidence: guess}"),
        UNSTATED.replace("a: {value: 10 W, plus_minus: 1 W}", "a: {value: 1 W, plus_minus: 0.1 W}"),
    ],
)
def test_what_says_its_origin_or_makes_little_is_left_alone(text: str, tmp_path: Path) -> None:
    assert of("`evidence:`", remarks(text, tmp_path)) == []
