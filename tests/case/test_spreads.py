"""How a spread is declared: every way of stating one, and what is said of every wrong one.

The laws are those of the contract's table; clause numbers are of JCGM 101:2008, from memory.
Limits, widths and parameters are compared in SI units.
"""

from __future__ import annotations

import math
import re

import pytest
from scipy import special
from small_case import Complaint, answers, complaints, laws, understood, values

from effband.evidence import distributions as known
from effband.evidence.distributions import Distribution

CASE = """\
effband: 1
title: spreads
instruments:
  scale: {accuracy: 1 % of reading, span: [0 L, 200 L]}
inputs:
  x: ENTRY
results:
  r: {formula: x, unit: UNIT, is: quantity}
"""


def case_of(entry: str, unit: str = "L") -> str:
    return CASE.replace("ENTRY", entry).replace("UNIT", unit)


def same_law(found: Distribution, expected: Distribution) -> bool:
    if type(found) is not type(expected):
        return False
    return all(
        same_law(own, theirs)
        if isinstance(own, Distribution)
        else own == pytest.approx(theirs, rel=1e-12, abs=1e-15)
        for own, theirs in zip(vars(found).values(), vars(expected).values(), strict=True)
    )


Z80 = float(special.ndtri(0.9))  # 1.2816 of a normal leaves 10 % above
Z999 = float(special.ndtri(0.9995))

TABLE = [
    # nothing known but limits: rectangular (6.4.2)
    ("{value: 90 L, plus_minus: 2 L}", "L", known.Rectangular(0.088, 0.092), 90.0),
    ("{value: 90 L, plus_minus: 500 mL}", "L", known.Rectangular(0.0895, 0.0905), 90.0),
    ("{value: 90 L, plus_minus: 5 %}", "L", known.Rectangular(0.0855, 0.0945), 90.0),
    ("{value: 90 L, plus_minus: 5 % of value}", "L", known.Rectangular(0.0855, 0.0945), 90.0),
    ("{value: 90 L, plus_minus: 5 % of the value}", "L", known.Rectangular(0.0855, 0.0945), 90.0),
    ("{value: 90 L, plus_minus: 5000 ppm of value}", "L", known.Rectangular(0.08955, 0.09045), 90),
    ("{value: -90 L, plus_minus: 5 %}", "L", known.Rectangular(-0.0945, -0.0855), -90.0),
    ("{value: 0.5, plus_minus: 5 %}", "1", known.Rectangular(0.475, 0.525), 0.5),
    ("{value: 50 %, plus_minus: 5 points}", "%", known.Rectangular(0.45, 0.55), 50.0),
    ("{value: 50 %, plus_minus: 5 % of value}", "%", known.Rectangular(0.475, 0.525), 50.0),
    ("{low: 88 L, high: 93 L}", "L", known.Rectangular(0.088, 0.093), 90.5),
    ("{low: 88 L, high: 0.093 m^3}", "L", known.Rectangular(0.088, 0.093), 90.5),
    # psi = 6894.757293168 Pa, NIST SP 811
    (
        "{value: 9 bar, plus_minus: 2 psi}",
        "bar",
        known.Rectangular(9e5 - 13789.514586336727, 9e5 + 13789.514586336727),
        9.0,
    ),
    (
        "{value: 100 psi, plus_minus: 0.1 bar}",
        "psi",
        known.Rectangular(679475.7293168361, 699475.7293168361),
        100,
    ),
    # temperatures: a point with a width
    ("{value: 20 degC, plus_minus: 2 K}", "degC", known.Rectangular(291.15, 295.15), 20.0),
    ("{value: 20 degC, plus_minus: 2 delta_degC}", "degC", known.Rectangular(291.15, 295.15), 20),
    ("{value: 68 degF, plus_minus: 9 delta_degF}", "degF", known.Rectangular(288.15, 298.15), 68.0),
    ("{value: 300 K, plus_minus: 1 %}", "K", known.Rectangular(297.0, 303.0), 300.0),
    ("{low: 10 degC, high: 68 degF}", "degC", known.Rectangular(283.15, 293.15), 15.0),
    # more is known inside the limits (6.4.4 to 6.4.6)
    (
        "{value: 90 L, plus_minus: 2 L, shape: triangular}",
        "L",
        known.Triangular(0.088, 0.09, 0.092),
        90.0,
    ),
    ("{value: 90 L, plus_minus: 2 L, shape: arcsine}", "L", known.Arcsine(0.088, 0.092), 90.0),
    (
        "{value: 90 L, plus_minus: 2 L, shape: rectangular}",
        "L",
        known.Rectangular(0.088, 0.092),
        90.0,
    ),
    (
        "{value: 90 L, plus_minus: 2 L, shape: trapezoidal, top: 0.4}",
        "L",
        known.Trapezoidal(0.088, 0.092, 0.4),
        90.0,
    ),
    (
        "{value: 90 L, plus_minus: 2 L, shape: trapezoidal, top: 2/5}",
        "L",
        known.Trapezoidal(0.088, 0.092, 0.4),
        90.0,
    ),
    ("{low: 88 L, high: 92 L, shape: triangular}", "L", known.Triangular(0.088, 0.09, 0.092), 90.0),
    ("{low: 88 L, high: 92 L, shape: arcsine}", "L", known.Arcsine(0.088, 0.092), 90.0),
    # limits that are themselves inexact (6.4.3)
    (
        "{low: 88 L, high: 92 L, inexact: 0.2 L}",
        "L",
        known.CurvilinearTrapezoid(0.088, 0.092, 0.0002),
        90.0,
    ),
    (
        "{low: 10 degC, high: 20 degC, inexact: 1 K}",
        "degC",
        known.CurvilinearTrapezoid(283.15, 293.15, 1.0),
        15.0,
    ),
    # a judged best guess
    (
        "{low: 45 %, likely: 54 %, high: 62 %}",
        "%",
        known.Triangular(0.45, 0.54, 0.62),
        54.0,
    ),
    ("{low: 0 L, likely: 0 L, high: 2 L}", "L", known.Triangular(0.0, 0.0, 0.002), 0.0),
    # a judge who is only so sure
    (
        "{low: 80 L, high: 100 L, chance_inside: 80 %}",
        "L",
        known.Normal(0.09, 0.01 / Z80),
        90.0,
    ),
    (
        "{low: 80 L, high: 100 L, chance_inside: 0.999}",
        "L",
        known.Normal(0.09, 0.01 / Z999),
        90.0,
    ),
    (
        "{low: 45 %, likely: 54 %, high: 62 %, chance_inside: 80 %}",
        "%",
        known.TwoPieceNormal(0.54, 0.09 / Z80, 0.08 / Z80),
        54.0,
    ),
    # one standard deviation (6.4.7), with degrees of freedom (6.4.9.7)
    ("{value: 90 L, standard_uncertainty: 2 L}", "L", known.Normal(0.09, 0.002), 90.0),
    ("{value: 90 L, standard_uncertainty: 2 %}", "L", known.Normal(0.09, 0.0018), 90.0),
    ("{value: 20 degC, standard_uncertainty: 2 K}", "degC", known.Normal(293.15, 2.0), 20.0),
    (
        "{value: 90 L, standard_uncertainty: 2 L, degrees_of_freedom: 7}",
        "L",
        known.StudentT(0.09, 0.002, 7.0),
        90.0,
    ),
    # a certificate
    (
        "{value: 90 L, expanded_uncertainty: 2 L, coverage_factor: 2}",
        "L",
        known.Normal(0.09, 0.001),
        90.0,
    ),
    (
        "{value: 90 L, expanded_uncertainty: 2 L, coverage_factor: 2.5, degrees_of_freedom: 4.5}",
        "L",
        known.StudentT(0.09, 0.0008, 4.5),
        90.0,
    ),
    # repeats: mean 7.8, s 0.1, n 3 (6.4.9)
    (
        "{repeats: [7.7, 7.8, 7.9], unit: L}",
        "L",
        known.StudentT(0.0078, 0.0001 / math.sqrt(3), 2),
        7.8,
    ),
    (
        "{repeats: [7.7 L, 7.8 L, 7900 mL]}",
        "L",
        known.StudentT(0.0078, 0.0001 / math.sqrt(3), 2),
        7.8,
    ),
    (
        "{repeats: [20, 22], unit: degC}",
        "degC",
        known.StudentT(294.15, 1.0, 1),
        21.0,
    ),
    # known to a factor; counted events (6.4.11); only the mean known (6.4.10)
    ("{value: 90 L, within_factor: 1.5}", "L", known.Lognormal(0.09, 1.5), 90.0),
    ("{random_events: 240}", "1", known.CountedEvents(240), 240.0),
    ("{random_events: 0}", "1", known.CountedEvents(0), 0.0),
    ("{mean: 5 L, shape: exponential}", "L", known.Exponential(0.005), 5.0),
]


@pytest.mark.parametrize(("entry", "unit", "law", "nominal"), TABLE, ids=[r[0] for r in TABLE])
def test_law(entry: str, unit: str, law: Distribution, nominal: float) -> None:
    case = understood(case_of(entry, f'"{unit}"'))
    (source,) = case.sources
    assert same_law(source.distribution, law), source.distribution
    assert source.name == "x"
    assert values(case)[("r", None)] == pytest.approx(nominal, rel=1e-12)


def test_a_constant_has_no_source() -> None:
    case = understood(case_of("{constant: 9.80665 m/s^2}", "m/s^2"))
    assert case.sources == ()
    assert values(case)[("r", None)] == 9.80665
    assert case.leaves[0].evidence == "exact"


@pytest.mark.parametrize(
    ("entry", "evidence"),
    [
        ("{value: 90 L, plus_minus: 2 L}", "unstated"),
        ("{value: 90 L, plus_minus: 2 L, evidence: guess}", "guess"),
        ("{repeats: [7.7, 7.8], unit: L}", "measured"),
        ("{repeats: [7.7, 7.8], unit: L, evidence: handbook}", "handbook"),
        ("{value: 90 L, plus_minus: 2 L, evidence: rule of thumb}", "rule of thumb"),
    ],
)
def test_evidence(entry: str, evidence: str) -> None:
    (source,) = understood(case_of(entry)).sources
    assert source.evidence == evidence


# -- further independent components -----------------------------------------------------------

R = known.Rectangular


@pytest.mark.parametrize(
    ("entry", "expected", "nominal"),
    [
        (
            "{value: 90 L, plus_minus: 2 L, also: {plus_minus: 0.5 L}}",
            {"x": R(0.088, 0.092), "x.also": R(-0.0005, 0.0005)},
            90.0,
        ),
        (
            "{value: 90 L, plus_minus: 2 L, also: {plus_minus: 1 % of value}}",
            {"x": R(0.088, 0.092), "x.also": R(-0.0009, 0.0009)},
            90.0,
        ),
        (
            "{value: 90 L, plus_minus: 2 L, "
            "also: [{plus_minus: 0.5 L}, {standard_uncertainty: 1 L}]}",
            {
                "x": R(0.088, 0.092),
                "x.also1": R(-0.0005, 0.0005),
                "x.also2": known.Normal(0.0, 0.001),
            },
            90.0,
        ),
        (
            "{low: 88 L, high: 92 L, also: {plus_minus: 0.5 L, shape: arcsine}}",
            {"x": R(0.088, 0.092), "x.also": known.Arcsine(-0.0005, 0.0005)},
            90.0,
        ),
        (
            # one-sided: condensate only takes room away
            "{value: 90 L, plus_minus: 2 L, also: {low: -1 L, likely: 0 L, high: 0 L}}",
            {"x": R(0.088, 0.092), "x.also": known.Triangular(-0.001, 0.0, 0.0)},
            90.0,
        ),
        (
            "{value: 90 L, instrument: scale, also: {plus_minus: 0.5 L}}",
            {
                "scale.z1": known.Normal(0.0, 1.0),
                "scale.z2": known.Normal(0.0, 1.0),
                "x.also": R(-0.0005, 0.0005),
            },
            90.0,
        ),
    ],
)
def test_also(entry: str, expected: dict[str, Distribution], nominal: float) -> None:
    case = understood(case_of(entry))
    found = laws(case)
    assert set(found) == set(expected)
    for name, law in expected.items():
        assert same_law(found[name], law), (name, found[name])
    assert values(case)[("r", None)] == pytest.approx(nominal, rel=1e-12)
    # each component adds its own error, and nothing else
    shifted = values(case, {name: 0.0003 for name in found if ".also" in name})
    count = sum(".also" in name for name in found)
    assert shifted[("r", None)] == pytest.approx(nominal + 0.3 * count, rel=1e-12)


def test_also_of_a_temperature_is_in_kelvin() -> None:
    case = understood(
        case_of("{value: 20 degC, plus_minus: 1 K, also: {plus_minus: 0.9 delta_degF}}", "degC")
    )
    assert same_law(laws(case)["x.also"], R(-0.5, 0.5))
    assert values(case, {"x.also": 0.5})[("r", None)] == pytest.approx(20.5)


def test_also_keeps_its_own_evidence() -> None:
    entry = "{value: 9 L, plus_minus: 2 L, evidence: nameplate, also: ALSO}"
    own = understood(case_of(entry.replace("ALSO", "{plus_minus: 1 L, evidence: guess}")))
    assert {s.name: s.evidence for s in own.sources} == {"x": "nameplate", "x.also": "guess"}
    kept = understood(case_of(entry.replace("ALSO", "{plus_minus: 1 L}")))
    assert {s.name: s.evidence for s in kept.sources} == {"x": "nameplate", "x.also": "nameplate"}


def test_a_value_of_an_added_component_is_its_own_or_refused() -> None:
    """`also: {value: 1 L, ...}` is a shift of 1 L; it can never add the 90 L a second time."""
    text = case_of("{value: 90 L, plus_minus: 2 L, also: {value: 1 L, plus_minus: 0.5 L}}")
    found = answers(text)
    if any("value" in each.what for each in found):
        return
    assert values(understood(text))[("r", None)] == pytest.approx(91.0)


@pytest.mark.parametrize(
    ("also", "key"),
    [
        ("{instrument: scale}", "instrument"),
        ("{plus_minus: 5 kg}", "plus_minus"),
        ("{low: 1 L}", "low"),
        ("{low: -1 degC, high: 1 degC}", "low"),
        ("{random_events: 10}", "random_events"),
        ("{draws: {file: x.csv, column: y}}", "draws"),
        ("{like: something}", "like"),
        ("{plus_minus: 0.5 L, physical: [0 L, 91 L]}", "physical"),
        ("{plus_minus: 0.5 L, also: {plus_minus: 5 L}}", "also"),
        ("{plus_minus: 0.5 L, low: 1 L}", "low"),
    ],
)
def test_refused_also(also: str, key: str) -> None:
    (found,) = complaints(case_of(f"{{value: 90 L, plus_minus: 2 L, also: {also}}}"))
    assert names(found, key), found


# -- what is physically possible --------------------------------------------------------------


@pytest.mark.parametrize(
    ("entry", "unit", "law"),
    [
        (
            "{value: 97 %, plus_minus: 5 points, physical: [0 %, 100 %]}",
            "%",
            known.Truncated(known.Rectangular(0.92, 1.02), 0.0, 1.0),
        ),
        (
            "{value: 2 L, standard_uncertainty: 1 L, physical: [0 L, 1 m^3]}",
            "L",
            known.Truncated(known.Normal(0.002, 0.001), 0.0, 1.0),
        ),
        (
            # nothing to cut away
            "{value: 90 %, plus_minus: 5 points, physical: [0 %, 100 %]}",
            "%",
            known.Rectangular(0.85, 0.95),
        ),
    ],
)
def test_physical(entry: str, unit: str, law: Distribution) -> None:
    case = understood(case_of(entry, f'"{unit}"'))
    (source,) = case.sources
    assert same_law(source.distribution, law), source.distribution
    removed = [words for words in case.assumptions if "physically possible" in words]
    assert len(removed) == isinstance(law, known.Truncated)


def test_physical_says_how_much_it_removes() -> None:
    entry = "{value: 97 %, plus_minus: 5 points, physical: [0 %, 100 %]}"
    (words,) = understood(case_of(entry, '"%"')).assumptions
    assert words.startswith("x: ")
    assert "0.2" in words  # 2 of 10 points lie above 100 %


@pytest.mark.parametrize(
    ("entry", "key"),
    [
        ("{value: 5 L, plus_minus: 1 L, physical: [7 L, 3 L]}", "physical"),
        ("{value: 5 L, plus_minus: 1 L, physical: [3 kg, 7 kg]}", "physical"),
        ("{value: 5 L, plus_minus: 1 L, physical: [3, 7]}", "physical"),
        ("{value: 5 L, plus_minus: 1 L, physical: [5.5 L, 7 L]}", "physical"),
        ("{value: 5 L, plus_minus: 1 L, physical: [7 L, 9 L]}", "physical"),
        ("{value: 5 L, standard_uncertainty: 1 L, physical: [7.5 L, 9 L]}", "physical"),
        # single-component inputs only
        (
            "{value: 5 L, plus_minus: 1 L, physical: [0 L, 5.5 L], also: {plus_minus: 1 L}}",
            "physical",
        ),
        ("{value: 5 L, instrument: scale, physical: [0 L, 5.5 L]}", "physical"),
        ("{constant: 5 L, physical: [0 L, 5.5 L]}", "physical"),
    ],
)
def test_refused_physical(entry: str, key: str) -> None:
    (found,) = complaints(case_of(entry))
    assert names(found, key), found


# -- wrong combinations -----------------------------------------------------------------------


def names(found: Complaint, key: str) -> bool:
    """Return whether a complaint names a key, in its words or by what it marks."""
    return found.marked == key or re.search(rf"\b{key}\b", found.what) is not None


@pytest.mark.parametrize(
    ("entry", "key"),
    [
        # too little
        ("{value: 5 L}", "value"),
        ("{plus_minus: 5 L}", "plus_minus"),
        ("{low: 1 L}", "low"),
        ("{high: 1 L}", "high"),
        ("{likely: 1 L}", "likely"),
        ("{low: 1 L, likely: 2 L}", "high"),
        ("{chance_inside: 80 %, low: 1 L}", "high"),
        ("{inexact: 1 L, high: 5 L}", "low"),
        ("{value: 5 L, expanded_uncertainty: 1 L}", "coverage_factor"),
        ("{value: 5 L, coverage_factor: 2}", "expanded_uncertainty"),
        ("{value: 5 L, degrees_of_freedom: 2}", "degrees_of_freedom"),
        ("{standard_uncertainty: 1 L}", "standard_uncertainty"),
        ("{within_factor: 1.5}", "within_factor"),
        ("{value: 5 L, shape: triangular}", "shape"),
        ("{value: 5 L, top: 0.4}", "top"),
        ("{mean: 5 L}", "mean"),
        ("{shape: exponential}", "shape"),
        # too much
        ("{value: 5 L, plus_minus: 1 L, standard_uncertainty: 1 L}", "standard_uncertainty"),
        ("{value: 5 L, plus_minus: 1 L, expanded_uncertainty: 1 L}", "expanded_uncertainty"),
        ("{value: 5 L, plus_minus: 1 L, coverage_factor: 2}", "coverage_factor"),
        ("{value: 5 L, plus_minus: 1 L, degrees_of_freedom: 3}", "degrees_of_freedom"),
        ("{value: 5 L, plus_minus: 1 L, within_factor: 1.5}", "within_factor"),
        ("{value: 5 L, plus_minus: 1 L, low: 1 L}", "low"),
        ("{value: 5 L, plus_minus: 1 L, likely: 5 L}", "likely"),
        ("{value: 5 L, plus_minus: 1 L, chance_inside: 80 %}", "chance_inside"),
        ("{value: 5 L, plus_minus: 1 L, inexact: 0.1 L}", "inexact"),
        ("{value: 5 L, plus_minus: 1 L, repeats: [5 L, 6 L]}", "repeats"),
        ("{value: 5 L, plus_minus: 1 L, random_events: 5}", "random_events"),
        ("{value: 5 L, plus_minus: 1 L, mean: 5 L}", "mean"),
        ("{value: 5 L, low: 1 L, high: 9 L}", "value"),
        ("{value: 5 L, standard_uncertainty: 1 L, coverage_factor: 2}", "coverage_factor"),
        ("{value: 5 L, standard_uncertainty: 1 L, shape: triangular}", "shape"),
        ("{value: 5 L, within_factor: 1.5, degrees_of_freedom: 3}", "degrees_of_freedom"),
        ("{low: 1 L, likely: 2 L, high: 3 L, shape: triangular}", "shape"),
        ("{low: 1 L, likely: 2 L, high: 3 L, inexact: 0.1 L}", "inexact"),
        ("{low: 1 L, high: 3 L, chance_inside: 80 %, shape: triangular}", "shape"),
        ("{low: 1 L, high: 3 L, chance_inside: 80 %, inexact: 0.1 L}", "inexact"),
        ("{low: 1 L, high: 3 L, inexact: 0.1 L, shape: triangular}", "shape"),
        ("{low: 1 L, high: 3 L, inexact: 0.1 L, shape: trapezoidal, top: 0.4}", "shape"),
        ("{low: 1 L, high: 3 L, inexact: 0.1 L, top: 0.4}", "top"),
        ("{repeats: [5, 6], unit: L, value: 5 L}", "value"),
        ("{repeats: [5, 6], unit: L, plus_minus: 5 L}", "plus_minus"),
        ("{repeats: [5, 6], unit: L, degrees_of_freedom: 5}", "degrees_of_freedom"),
        ("{random_events: 5, value: 5}", "value"),
        ("{random_events: 5, unit: L}", "unit"),
        ("{mean: 5 L, shape: exponential, low: 1 L}", "low"),
        ("{value: 5 L, plus_minus: 1 L, unit: m^3}", "unit"),
        ("{value: 5, unit: L, plus_minus: 1 L}", "unit"),
        ("{constant: 5 L, plus_minus: 1 L}", "constant"),
        ("{constant: 5 L, value: 5 L}", "constant"),
        ("{constant: 5 L, instrument: scale}", "constant"),
        ("{constant: 5 L, also: {plus_minus: 1 L}}", "constant"),
        ("{value: 5 L, instrument: scale, plus_minus: 1 L}", "plus_minus"),
        ("{value: 5 L, instrument: scale, low: 1 L}", "low"),
        ("{value: 5 L, instrument: scale, repeats: [5 L, 6 L]}", "repeats"),
        ("{value: 5 L, plus_minus: 1 L, each_reading: 1 L}", "each_reading"),
        ("{value: 5 L, plus_minus: 1 L, readable_to: 1/2}", "readable_to"),
        # shapes that do not go
        ("{value: 5 L, plus_minus: 1 L, shape: exponential}", "shape"),
        ("{value: 5 L, plus_minus: 1 L, shape: trapezoidal}", "shape"),
        ("{value: 5 L, plus_minus: 1 L, shape: triangular, top: 0.4}", "top"),
        ("{value: 5 L, plus_minus: 1 L, top: 0.4}", "top"),
        ("{mean: 5 L, shape: triangular}", "shape"),
        # numbers that do not go
        ("{value: 5 L, plus_minus: 0 L}", "plus_minus"),
        ("{value: 5 L, plus_minus: -1 L}", "plus_minus"),
        ("{value: 0 L, plus_minus: 5 %}", "plus_minus"),
        ("{value: 5 L, standard_uncertainty: 0 L}", "standard_uncertainty"),
        ("{low: 3 L, high: 1 L}", "low"),
        ("{low: 1 L, high: 1 L}", "low"),
        ("{low: 1 L, likely: 4 L, high: 3 L}", "likely"),
        ("{low: 1 L, high: 3 L, inexact: 1 L}", "inexact"),
        ("{low: 1 L, high: 3 L, inexact: 0 L}", "inexact"),
        ("{low: 1 L, high: 3 L, chance_inside: 49 %}", "chance_inside"),
        ("{low: 1 L, high: 3 L, chance_inside: 99.95 %}", "chance_inside"),
        ("{low: 3 L, high: 1 L, chance_inside: 80 %}", "low"),
        ("{low: 1 L, likely: 3 L, high: 3 L, chance_inside: 80 %}", "likely"),
        (
            "{value: 5 L, standard_uncertainty: 1 L, degrees_of_freedom: 0}",
            "degrees_of_freedom",
        ),
        ("{value: 5 L, expanded_uncertainty: 1 L, coverage_factor: 0}", "coverage_factor"),
        ("{value: 5 L, within_factor: 1}", "within_factor"),
        ("{value: -5 L, within_factor: 1.5}", "within_factor"),
        ("{repeats: [5], unit: L}", "repeats"),
        ("{repeats: [5, 5, 5], unit: L}", "repeats"),
        ("{repeats: [5 L, 6 kg]}", "repeat"),
        ("{mean: -5 L, shape: exponential}", "mean"),
        # units that do not go
        ("{value: 5 L, plus_minus: 1 kg}", "plus_minus"),
        ("{value: 5 L, plus_minus: 1}", "plus_minus"),
        ("{value: 5, plus_minus: 1 L}", "plus_minus"),
        ("{low: 1 L, high: 3 kg}", "high"),
        ("{low: 1 L, likely: 2 kg, high: 3 L}", "low"),
        ("{value: 5 L, standard_uncertainty: 1 kg}", "standard_uncertainty"),
        ("{value: 5 L, expanded_uncertainty: 1 kg, coverage_factor: 2}", "expanded_uncertainty"),
        ("{low: 1 L, high: 3 L, inexact: 1 kg}", "inexact"),
        ("{low: 1 L, high: 3 L, inexact: 2 %}", "inexact"),
    ],
)
def test_wrong_combination_names_the_key(entry: str, key: str) -> None:
    (found,) = complaints(case_of(entry))
    assert found.line == 6
    assert names(found, key) or f"`{key}`" in found.remedy, found


@pytest.mark.parametrize(
    ("entry", "unit", "remedy"),
    [
        (
            "{value: 50 %, plus_minus: 5 %}",
            "%",
            "write `5 points` or `5 % of value`",
        ),
        (
            "{value: 50 %, standard_uncertainty: 2.5 %}",
            "%",
            "write `2.5 points` or `2.5 % of value`",
        ),
        ("{value: 50 %, plus_minus: 5000 ppm}", "%", "write `0.5 points` or `5000 ppm of value`"),
        ("{value: 20 degC, plus_minus: 2 degC}", "degC", "write K or delta_degC"),
        ("{value: 68 degF, plus_minus: 2 degF}", "degF", "write K or delta_degF"),
        ("{low: 10 degC, high: 20 degC, inexact: 1 degC}", "degC", "write K or delta_degC"),
        ("{value: 20 degC, plus_minus: 2 %}", "degC", "write a width in K"),
        ("{value: 20 degC, plus_minus: 2 % of value}", "degC", "write a width in K"),
    ],
)
def test_shares_and_points(entry: str, unit: str, remedy: str) -> None:
    (found,) = complaints(case_of(entry, f'"{unit}"'))
    assert found.remedy == remedy
    assert found.marked in ("plus_minus", "standard_uncertainty", "inexact")


def test_limits_are_said_in_the_unit_they_were_written_in() -> None:
    """0.001 and 0.003 would be cubic metres that nobody wrote."""
    (found,) = complaints(case_of("{low: 1 L, likely: 4 L, high: 3 L}"))
    assert "0.00" not in found.what


def test_gas_means_nothing_on_what_is_no_pressure() -> None:
    assert any(
        "gas" in found.what
        for found in answers(case_of("{value: 5 L, plus_minus: 1 L, gas: settled}"))
    )


# -- repeats read with an instrument ----------------------------------------------------------


def test_repeats_with_an_instrument_scatter_about_its_common_error() -> None:
    case = understood(case_of("{repeats: [80, 82, 84], unit: L, instrument: scale}"))
    found = laws(case)
    assert same_law(found["x.repeats"], known.StudentT(0.0, 0.002 / math.sqrt(3), 2))
    assert {"scale.z1", "scale.z2"} < set(found)
    assert values(case)[("r", None)] == pytest.approx(82.0)
