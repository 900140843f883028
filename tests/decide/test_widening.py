"""Guesses drawn out: the law against scipy's, and what it does to a case and to its bands."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from effband import study
from effband.case.model import Case
from effband.decide.widening import with_guesses_widened
from effband.evidence.distributions import (
    Distribution,
    Lognormal,
    Normal,
    Rectangular,
    StudentT,
    Triangular,
    Truncated,
)
from effband.evidence.instruments import Curve
from effband.evidence.widened import Widened
from effband.report.screen import screen

FACTOR = 1.6
TRIALS = 20_000
P = np.linspace(0.0005, 0.9995, 1999)

# A law, the value that it is drawn out about, and what scipy calls the outcome.
LAWS: dict[str, tuple[Distribution, float, stats.distributions.rv_frozen]] = {
    # 10 to 14 about 12: 8.8 to 15.2
    "rectangular": (Rectangular(10.0, 14.0), 12.0, stats.uniform(8.8, 6.4)),
    # about 11, which is not its middle: 11 - 1.6 and 11 + 4.8
    "rectangular aside": (Rectangular(10.0, 14.0), 11.0, stats.uniform(9.4, 6.4)),
    # 45, 54, 62 about 54: 39.6, 54, 66.8
    "triangular": (Triangular(45.0, 54.0, 62.0), 54.0, stats.triang(14.4 / 27.2, 39.6, 27.2)),
    "normal": (Normal(5.0, 0.5), 5.0, stats.norm(5.0, 0.8)),
    "normal aside": (Normal(5.0, 0.5), 4.0, stats.norm(5.6, 0.8)),
    "t": (StudentT(5.0, 0.5, 7.0), 5.0, stats.t(7.0, 5.0, 0.8)),
    "t aside": (StudentT(5.0, 0.5, 7.0), 3.0, stats.t(7.0, 6.2, 0.8)),
}


@pytest.mark.parametrize(("law", "centre", "known"), LAWS.values(), ids=LAWS)
def test_widened_law_is_the_law_of_larger_distances(
    law: Distribution, centre: float, known: stats.distributions.rv_frozen
) -> None:
    wide = Widened(law, centre, FACTOR)
    assert wide.quantile(P) == pytest.approx(known.ppf(P), rel=1e-9, abs=1e-9)
    for x in known.ppf([0.01, 0.3, 0.5, 0.8, 0.99]):
        assert wide.cdf(float(x)) == pytest.approx(known.cdf(x), abs=1e-9)
    assert wide.mean == pytest.approx(known.mean())
    assert wide.sd == pytest.approx(known.std())
    low, high = known.support()
    assert wide.support == (pytest.approx(low), pytest.approx(high))


def test_t_keeps_its_degrees_of_freedom_and_widens_its_scale() -> None:
    wide = Widened(StudentT(5.0, 0.5, 3.0), 5.0, FACTOR)
    assert wide.degrees_of_freedom == 3.0
    assert wide.standard_uncertainty == pytest.approx(0.8)


def test_t_without_a_standard_deviation_gets_none() -> None:
    wide = Widened(StudentT(5.0, 0.5, 2.0), 5.0, FACTOR)
    assert wide.sd is None
    assert wide.mean == pytest.approx(5.0)


def test_factor_of_one_changes_nothing() -> None:
    law = Triangular(45.0, 54.0, 62.0)
    assert Widened(law, 54.0, 1.0).quantile(P) == pytest.approx(law.quantile(P), rel=1e-12)


def test_widened_law_says_so() -> None:
    law = Normal(5.0, 0.5)
    words = Widened(law, 5.0, FACTOR).words(str, str)
    assert words == f"{law.words(str, str)}, widened 1.6 times"


def read(text: str, folder: Path) -> Case:
    file = folder / "case.yaml"
    file.write_text(text, encoding="utf-8")
    return study.load(str(file))


def drawn_out(entry: str, folder: Path, factor: float = FACTOR) -> Distribution:
    """Return the law of one guessed input, drawn out."""
    text = f"effband: 1\ntitle: g\ninputs: {{g: {entry}}}\nresults: {{r: {{formula: g, UNIT}}}}\n"
    unit = 'unit: "%", is: ratio' if "%" in entry else 'unit: "1", is: ratio'
    unit = "unit: kg" if " kg" in entry else unit
    wide, _ = with_guesses_widened(read(text.replace("UNIT", unit), folder), factor)
    return {source.name: source.distribution for source in wide.sources}["g"]


@pytest.mark.parametrize(
    ("entry", "low", "high"),
    [
        ("{low: 80 %, likely: 90 %, high: 98 %, evidence: guess}", 0.90 - 0.16, 1.0),
        ("{low: 1 kg, high: 9 kg, evidence: guess}", 0.0, 5 + 1.6 * 4),
        ("{low: -1, high: 9, evidence: guess}", 4 - 1.6 * 5, 4 + 1.6 * 5),
        ("{value: 90 %, plus_minus: 8 points, physical: [85 %, 100 %], evidence: guess}", 0.85, 1),
        ("{low: 0.6, likely: 0.9, high: 1, physical: [0.5, 1], evidence: guess}", 0.5, 1.0),
    ],
)
def test_what_cannot_be_stays_cut_away(entry: str, low: float, high: float, tmp_path: Path) -> None:
    """Physical limits hold, a size stays above 0, a share between 0 and 1."""
    assert drawn_out(entry, tmp_path).support == pytest.approx((low, high), rel=1e-12, abs=1e-12)


def test_a_factor_is_drawn_out_as_a_factor(tmp_path: Path) -> None:
    law = drawn_out("{value: 2 kg, within_factor: 1.5, evidence: guess}", tmp_path)
    assert law == Lognormal(2.0, 1.5**FACTOR)


def test_what_is_drawn_together_is_named_and_kept(tmp_path: Path) -> None:
    text = """\
effband: 1
title: two guesses that go together
inputs:
  a: {value: 1, plus_minus: 0.5, evidence: guess}
  b: {value: 1, plus_minus: 0.5, evidence: guess}
correlations: [{between: [a, b], coefficient: 0.5}]
results:
  r: {formula: a + b, unit: "1", is: ratio}
"""
    case = read(text, tmp_path)
    wide, kept = with_guesses_widened(case, 3.0)
    assert wide.sources == case.sources
    assert kept


def test_bands_stand_where_the_drawn_out_ones_cannot(tmp_path: Path) -> None:
    text = """\
effband: 1
title: a logarithm near 0
inputs:
  g: {value: 1, plus_minus: 0.6, evidence: guess}
  h: {value: 0.2, plus_minus: 0.01, evidence: measured}
results:
  r: {formula: log(g - h), unit: "1", is: ratio}
"""
    case = read(text, tmp_path)
    done = study.run(case, replace(case.settings, trials=TRIALS), widen_guesses=3.0)
    assert done.widened is not None
    assert done.widened.summaries is None
    assert "no finite value" in done.widened.why_not
    assert len(done.bands) == 1
    assert "no bands: " in screen(done)


# -- in a case ------------------------------------------------------------------------------------

CASE = """\
effband: 1
title: One guess among measured numbers
instruments:
  clamp: {{accuracy: 2 % of reading, span: [0 A, 40 A], digit: 0.01 A, evidence: {clamp}}}
  dial: {{accuracy: 2.5 % of span, span: [0 V, 20 V], division: 0.5 V, evidence: {dial}}}
inputs:
  guessed: {{value: 100 W, plus_minus: 10 W, evidence: {guessed}}}
  bounded: {{value: 90 %, standard_uncertainty: 4 points, physical: [0 %, 100 %], evidence: guess}}
  measured: {{value: 50 W, plus_minus: 5 W, evidence: measured}}
  current: {{value: 7.90 A, instrument: clamp}}
  voltage: {{value: 13.6 V, instrument: dial}}
results:
  guess_alone: {{formula: 3 * guessed, unit: W}}
  share: {{formula: bounded, unit: "%", is: ratio}}
  measured_alone: {{formula: measured, unit: W}}
  current: {{formula: current, unit: A}}
  voltage: {{formula: voltage, unit: V}}
"""


def load(folder: Path, guessed: str = "guess", clamp: str = "guess", dial: str = "guess") -> Case:
    """Read the case with where its numbers come from."""
    return read(CASE.format(guessed=guessed, clamp=clamp, dial=dial), folder)


def curves(case: Case) -> dict[str, float]:
    """Return the limit of each instrument's curve at its reading."""
    found = {}
    for step in case.program.steps:
        if step.op == "curve":
            assert isinstance(step.detail, tuple)
            assert isinstance(step.detail[0], Curve)
            found[step.detail[0].specimen] = step.detail[0].limit
    return found


def test_guessed_inputs_are_drawn_out_and_others_are_not(tmp_path: Path) -> None:
    case = load(tmp_path)
    before = {source.name: source.distribution for source in case.sources}
    after = {s.name: s.distribution for s in with_guesses_widened(case, FACTOR)[0].sources}
    assert isinstance(after["guessed"], Widened)
    assert after["guessed"].support == (pytest.approx(84.0), pytest.approx(116.0))
    assert after["measured"] == before["measured"]
    assert isinstance(after["bounded"], Truncated)
    assert after["bounded"].support == (0.0, 1.0)


@pytest.mark.parametrize("evidence", ["guess", "rule of thumb"])
def test_accuracy_that_is_a_guess_is_drawn_out_on_the_whole_curve(
    evidence: str, tmp_path: Path
) -> None:
    case = load(tmp_path, clamp=evidence, dial="datasheet")
    limits = curves(case)
    assert limits["clamp"] == pytest.approx(0.02 * 7.90)
    assert limits["dial"] == pytest.approx(0.025 * 20)
    wide = curves(with_guesses_widened(case, FACTOR)[0])
    assert wide["clamp"] == pytest.approx(FACTOR * 0.02 * 7.90)
    assert wide["dial"] == pytest.approx(0.025 * 20)


def test_step_of_a_display_and_of_a_dial_is_no_guess(tmp_path: Path) -> None:
    case = load(tmp_path)
    before = {source.name: source.distribution for source in case.sources}
    after = {s.name: s.distribution for s in with_guesses_widened(case, FACTOR)[0].sources}
    kept = [name for name in before if name.endswith((".digit", ".division", ".z1", ".z2"))]
    assert {"current.digit", "voltage.division", "clamp.z1", "dial.z2"} <= set(kept)
    assert all(after[name] == before[name] for name in kept)


def test_nothing_changes_where_nothing_is_guessed(tmp_path: Path) -> None:
    file = tmp_path / "case.yaml"
    text = CASE.format(guessed="measured", clamp="datasheet", dial="certificate")
    file.write_text(text.replace("evidence: guess", "evidence: handbook"), encoding="utf-8")
    case = study.load(str(file))
    wide, kept = with_guesses_widened(case, FACTOR)
    assert kept == ()
    assert wide.sources == case.sources
    assert wide.program.steps == case.program.steps


# -- in a run -------------------------------------------------------------------------------------


def half_widths(done: study.Study) -> dict[str, tuple[float, float]]:
    """Return the half-width of each result, as stated and with guesses drawn out."""
    assert done.widened is not None
    found = {}
    for band, wide in zip(done.bands, done.widened.summaries or (), strict=True):
        ends = (band.summary.interval, wide.interval)
        found[band.output.target.name] = (
            0.5 * (ends[0].high - ends[0].low),
            0.5 * (ends[1].high - ends[1].low),
        )
    return found


def test_run_draws_out_the_band_of_a_guess_by_the_factor(tmp_path: Path) -> None:
    case = load(tmp_path)
    done = study.run(case, replace(case.settings, trials=TRIALS), widen_guesses=FACTOR)
    assert done.widened is not None
    assert done.widened.factor == FACTOR
    found = half_widths(done)
    stated, wide = found["guess_alone"]
    # rectangular +-30 W, 95 % of it; the same draws, so the ratio holds to the last bin
    assert stated == pytest.approx(28.5, rel=0.01)
    assert wide / stated == pytest.approx(FACTOR, rel=1e-6)
    assert found["measured_alone"][0] == found["measured_alone"][1]
    # cut at 100 %, so less than 1.6 times as wide
    stated, wide = found["share"]
    known = [stats.truncnorm(-0.9 / u, 0.1 / u, 0.9, u).interval(0.95) for u in (0.04, 0.064)]
    assert wide / stated == pytest.approx(
        (known[1][1] - known[1][0]) / (known[0][1] - known[0][0]), rel=0.02
    )


def test_display_stays_as_fine_as_it_is_while_its_meter_is_doubted(tmp_path: Path) -> None:
    case = load(tmp_path)
    done = study.run(case, replace(case.settings, trials=TRIALS), widen_guesses=FACTOR)
    assert done.widened is not None
    at = [band.output.target.name for band in done.bands].index("voltage")
    u = [done.bands[at].summary.standard_uncertainty]
    u += [done.widened.summaries[at].standard_uncertainty]
    # a quarter of a division, triangular; the limit of the class, rectangular
    division, limit = 0.125 / math.sqrt(6), 0.5 / math.sqrt(3)
    assert u[0] == pytest.approx(math.hypot(division, limit), rel=0.02)
    assert u[1] == pytest.approx(math.hypot(division, FACTOR * limit), rel=0.02)


def test_run_without_the_option_has_one_set_of_bands(tmp_path: Path) -> None:
    case = load(tmp_path)
    assert study.run(case, replace(case.settings, trials=TRIALS)).widened is None


def test_first_bands_do_not_feel_the_option(tmp_path: Path) -> None:
    case = load(tmp_path)
    settings = replace(case.settings, trials=TRIALS)
    plain = study.run(case, settings)
    both = study.run(case, settings, widen_guesses=FACTOR)
    for one, other in zip(plain.bands, both.bands, strict=True):
        assert one.summary.mean == other.summary.mean
        assert one.summary.interval == other.summary.interval
