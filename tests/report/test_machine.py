"""The JSON result: its keys, types and null rules, written from the contract of the format."""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Iterator
from dataclasses import replace
from typing import Any

import jsonschema
import pytest

from effband.report.machine import document, to_json
from effband.study import Study

StudyOf = Callable[..., Study]
Json = dict[str, Any]


def required(**properties: Json) -> Json:
    """Return the schema of an object with at least these keys."""
    return {"type": "object", "required": list(properties), "properties": properties}


def every(item: Json) -> Json:
    return {"type": "array", "items": item}


NUMBER: Json = {"type": "number"}
SIZE: Json = {"type": "number", "minimum": 0}
SHARE: Json = {"type": "number", "minimum": 0, "maximum": 1}
WHOLE: Json = {"type": "integer", "minimum": 0}
TEXT: Json = {"type": "string", "minLength": 1}


def or_null(schema: Json) -> Json:
    return {"anyOf": [schema, {"type": "null"}]}


ENDS = required(low=NUMBER, high=NUMBER)
INDEX = or_null(required(value=NUMBER, low=NUMBER, high=NUMBER))
LINE = required(
    source=TEXT,
    kind=TEXT,
    first_order=INDEX,
    total=INDEX,
    half_width_without=SIZE,
    parts=every(required(part=TEXT, first_order=NUMBER)),
)
RESULT = required(
    result=TEXT,
    run=or_null(TEXT),
    unit=TEXT,
    nominal=NUMBER,
    mean=or_null(NUMBER),
    standard_uncertainty=or_null(SIZE),
    median=NUMBER,
    interval=ENDS,
    shortest=ENDS,
    simulation_uncertainty=required(
        mean=or_null(SIZE), standard_uncertainty=or_null(SIZE), low=SIZE, high=SIZE
    ),
    linear=required(
        value=or_null(NUMBER),
        standard_uncertainty=or_null(SIZE),
        low=or_null(NUMBER),
        high=or_null(NUMBER),
        effective_degrees_of_freedom=or_null({"type": "number", "exclusiveMinimum": 0}),
        tolerance=or_null(SIZE),
        agrees=or_null({"type": "boolean"}),
    ),
    beyond_ceiling=or_null(SHARE),
    evidence={"type": "object", "additionalProperties": SHARE},
    ranking=every(LINE),
)
RESULT["properties"]["is"] = {"enum": ["efficiency", "performance ratio", "ratio", "quantity"]}
RESULT["required"].append("is")
CLAIM = required(
    result=TEXT,
    run=or_null(TEXT),
    says=TEXT,
    verdict=or_null({"enum": ["supported", "contradicted", "not settled"]}),
    probability=or_null(SHARE),
)
DOCUMENT = required(
    effband=required(version=TEXT, format={"const": 1}, engine=WHOLE),
    case=required(title=TEXT, sha256={"type": "string", "pattern": "^[0-9a-f]{64}$"}),
    settings=required(
        seed=WHOLE,
        trials={"type": "integer", "minimum": 1},
        probability={"type": "number", "exclusiveMinimum": 0, "exclusiveMaximum": 1},
        digits=WHOLE,
    ),
    results=every(RESULT) | {"minItems": 1},
    cross_checks={"type": "array"},
    claims=every(CLAIM),
    upgrades={"type": "array"},
    warnings=every(TEXT),
    assumptions=every(TEXT),
)
VALIDATOR = jsonschema.Draft202012Validator(DOCUMENT)

REPEATS = {
    2: "[7.72, 7.80]",
    3: "[7.72, 7.80, 7.71]",
    4: "[7.72, 7.80, 7.71, 7.75]",
    5: "[7.72, 7.80, 7.71, 7.75, 7.69]",
    6: "[7.72, 7.80, 7.71, 7.75, 7.69, 7.83]",
}


def repeated(count: int) -> str:
    return (
        "effband: 1\ntitle: repeats\ninputs:\n"
        f"  t: {{repeats: {REPEATS[count]}, unit: s, evidence: measured}}\n"
        "  d: {value: 0.1 s, plus_minus: 0.05 s, evidence: guess}\n"
        "results:\n  time: {formula: t + d, unit: s}\n"
    )


UNITS = """\
effband: 1
title: one number in several units
inputs:
  given: {value: 30 W, standard_uncertainty: 1 W}
  taken: {value: 100 W, plus_minus: 5 W}
  heat: {value: 20 degC, plus_minus: 0.5 K}
results:
  in_percent: {formula: given / taken, unit: "%", is: ratio}
  in_one: {formula: given / taken, unit: "1", is: ratio}
  in_ppm: {formula: given / taken, unit: ppm, is: ratio}
  in_kW: {formula: given, unit: kW}
  in_W: {formula: given, unit: W}
  in_degC: {formula: heat, unit: degC}
  in_degF: {formula: heat, unit: degF}
  in_K: {formula: heat, unit: K}
"""


def read(study: Study) -> Json:
    """Return the document as a strict reader of its text gets it."""

    def refuse(word: str) -> float:
        raise AssertionError(f"{word} is no JSON")

    found = json.loads(to_json(document(study)), parse_constant=refuse)
    VALIDATOR.validate(found)
    return dict(found)


def one(study: Study) -> Json:
    results = read(study)["results"]
    assert len(results) == 1
    return dict(results[0])


def numbers_in(value: Any, path: str = "") -> Iterator[tuple[str, float]]:
    """Yield every number of a document with its place."""
    if isinstance(value, dict):
        for key, inner in value.items():
            yield from numbers_in(inner, f"{path}.{key}")
    elif isinstance(value, list):
        for at, inner in enumerate(value):
            yield from numbers_in(inner, f"{path}[{at}]")
    elif isinstance(value, int | float) and not isinstance(value, bool):
        yield path, value


def nulls_in(value: Any, path: str = "") -> Iterator[str]:
    if isinstance(value, dict):
        for key, inner in value.items():
            yield from nulls_in(inner, f"{path}.{key}".lstrip("."))
    elif isinstance(value, list):
        for inner in value:
            yield from nulls_in(inner, f"{path}[]")
    elif value is None:
        yield path


# -- the demo ----------------------------------------------------------------------------


def test_the_schema_itself_refuses_what_the_contract_forbids(wren: Study) -> None:
    good = read(wren)
    for spoil in (
        lambda d: d["results"][0].pop("median"),
        lambda d: d["results"][0].update(median=None),
        lambda d: d["results"][0]["interval"].update(low="7.49"),
        lambda d: d["results"][0]["ranking"][0].pop("parts"),
        lambda d: d["settings"].update(trials=1e6 + 0.5),
        lambda d: d.update(claims=[{}]),
        lambda d: d["case"].update(sha256="0"),
    ):
        bad = json.loads(json.dumps(good))
        spoil(bad)
        assert not VALIDATOR.is_valid(bad)


def test_the_demo_says_what_was_run(wren: Study) -> None:
    found = read(wren)
    assert found["case"] == {"title": wren.case.title, "sha256": wren.case.text.sha256}
    assert found["settings"] == {
        "seed": 1,
        "trials": 1_000_000,
        "probability": 0.95,
        "digits": 1,
        "adaptive": False,
        "sampling": "random",
    }
    assert found["effband"]["engine"] == 2
    keys = [(result["result"], result["run"]) for result in found["results"]]
    names, runs = ("air_to_wire", "air_to_shaft"), ("light", "full")
    assert keys == [(name, run) for name in names for run in runs]


def test_the_demo_has_a_value_everywhere(wren: Study) -> None:
    allowed = {"linear.effective_degrees_of_freedom"}
    for result in read(wren)["results"]:
        assert set(nulls_in(result)) == allowed
        assert result["is"] == "efficiency"
        assert result["unit"] == "%"
        assert result["beyond_ceiling"] == 0.0
        assert result["linear"]["agrees"] is True


def test_a_claim_without_a_verdict_has_its_reason(wren: Study) -> None:
    found = read(wren)
    assert [(c["result"], c["run"], c["says"]) for c in found["claims"]] == [
        ("air_to_wire", "full", "at least 8 %")
    ]
    if found["claims"][0]["verdict"] is None:
        assert found["claims"][0]["probability"] is None
        assert any("claims" in warning for warning in found["warnings"])


def test_every_number_is_finite_and_exact(wren: Study) -> None:
    found = dict(numbers_in(document(wren)))
    assert len(found) > 200
    assert all(math.isfinite(number) for number in found.values())
    again = dict(numbers_in(json.loads(to_json(document(wren)))))
    assert again == found, "full precision: the text must give back every number"
    median = 100 * wren.bands[1].summary.median
    assert found[".results[1].median"] == pytest.approx(median, rel=1e-15)


def test_plain_numbers_only(wren: Study) -> None:
    for path, number in numbers_in(document(wren)):
        assert type(number) in (int, float), path


def test_ends_are_in_order_and_hold_the_median(wren: Study) -> None:
    for result in read(wren)["results"]:
        ends, shortest = result["interval"], result["shortest"]
        assert ends["low"] < result["median"] < ends["high"]
        width = ends["high"] - ends["low"]
        assert result["half_width"] == pytest.approx(width / 2)
        assert shortest["high"] - shortest["low"] <= width * (1 + 1e-3)


def test_evidence_adds_up_to_one_in_the_words_of_the_format(wren: Study) -> None:
    words = {
        "measured", "certificate", "datasheet", "nameplate", "handbook", "rule of thumb", "guess",
        "unstated",
    }  # fmt: skip
    for result in read(wren)["results"]:
        assert sum(result["evidence"].values()) == pytest.approx(1.0)
        assert set(result["evidence"]) <= words
    shares = read(wren)["results"][1]["evidence"]
    assert shares["datasheet"] == pytest.approx(0.84, abs=0.02)
    assert shares["nameplate"] == pytest.approx(0.11, abs=0.02)
    assert shares["unstated"] == pytest.approx(0.04, abs=0.02)


def test_the_ranking_is_ordered_by_half_width_saved(wren: Study) -> None:
    for result in read(wren)["results"]:
        without = [entry["half_width_without"] for entry in result["ranking"]]
        assert without == sorted(without)
        sources = [entry["source"] for entry in result["ranking"]]
        assert len(set(sources)) == len(sources)
        for entry in result["ranking"]:
            for index in ("first_order", "total"):
                assert entry[index]["low"] <= entry[index]["value"] <= entry[index]["high"]


def test_parts_add_up_to_their_instrument(wren: Study) -> None:
    seen = 0
    for result in read(wren)["results"]:
        for entry in result["ranking"]:
            if entry["parts"]:
                seen += 1
                assert entry["kind"] == "instrument"
                whole = sum(part["first_order"] for part in entry["parts"])
                assert whole == pytest.approx(entry["first_order"]["value"], abs=0.01)
    assert seen == 12


# -- units ---------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def in_units(study_of: StudyOf) -> dict[str, Json]:
    return {result["result"]: result for result in read(study_of(UNITS))["results"]}


POINTS = ("nominal", "mean", "median", "interval", "shortest", "linear")


@pytest.mark.parametrize(
    ("name", "other", "factor", "zero"),
    [
        ("in_one", "in_percent", 100.0, 0.0),
        ("in_one", "in_ppm", 1e6, 0.0),
        ("in_kW", "in_W", 1000.0, 0.0),
        ("in_K", "in_degC", 1.0, -273.15),
        ("in_degC", "in_degF", 1.8, 32.0),
    ],
)
def test_numbers_are_in_the_unit_of_the_result(
    in_units: dict[str, Json], name: str, other: str, factor: float, zero: float
) -> None:
    first, second = in_units[name], in_units[other]
    assert second["unit"] == other.removeprefix("in_").replace("percent", "%")
    for key in ("nominal", "mean", "median"):
        assert second[key] == pytest.approx(factor * first[key] + zero, rel=1e-12)
    for key in ("interval", "shortest", "linear"):
        for end in ("low", "high"):
            wanted = factor * first[key][end] + zero
            assert second[key][end] == pytest.approx(wanted, rel=1e-9)
    sizes = [(r["standard_uncertainty"], r["half_width"]) for r in (first, second)]
    for one_size, other_size in zip(*sizes, strict=True):
        assert other_size == pytest.approx(factor * one_size, rel=1e-9)
    for key in ("mean", "standard_uncertainty", "low", "high"):
        pair = [result["simulation_uncertainty"][key] for result in (first, second)]
        assert pair[1] == pytest.approx(factor * pair[0], rel=1e-6)
    for one_line, other_line in zip(first["ranking"], second["ranking"], strict=True):
        assert one_line["source"] == other_line["source"]
        wanted = factor * one_line["half_width_without"]
        assert other_line["half_width_without"] == pytest.approx(wanted, rel=1e-6, abs=1e-12)


def test_the_expected_numbers_of_one_unit(in_units: dict[str, Json]) -> None:
    heat = in_units["in_degC"]
    assert heat["nominal"] == pytest.approx(20.0)
    assert heat["standard_uncertainty"] == pytest.approx(0.5 / math.sqrt(3), rel=0.01)
    assert heat["interval"]["low"] == pytest.approx(19.525, abs=0.01)
    assert heat["interval"]["high"] == pytest.approx(20.475, abs=0.01)
    assert heat["run"] is None
    assert heat["is"] == "quantity"


# -- no value ------------------------------------------------------------------------------


@pytest.mark.parametrize("count", [2, 3])
def test_without_a_variance_there_is_no_uncertainty_and_no_index(
    study_of: StudyOf, count: int
) -> None:
    result = one(study_of(repeated(count)))
    assert result["standard_uncertainty"] is None
    assert result["simulation_uncertainty"]["standard_uncertainty"] is None
    assert result["linear"]["agrees"] is None
    assert len(result["ranking"]) == 2
    for entry in result["ranking"]:
        assert entry["first_order"] is None
        assert entry["total"] is None
        assert entry["half_width_without"] > 0
    assert result["interval"]["low"] < result["median"] < result["interval"]["high"]
    assert result["ranking"][0]["source"] == "t"


@pytest.mark.parametrize(("count", "has_mean"), [(2, False), (3, True)])
def test_one_degree_of_freedom_has_no_mean(study_of: StudyOf, count: int, has_mean: bool) -> None:
    result = one(study_of(repeated(count)))
    assert (result["mean"] is not None) == has_mean


@pytest.mark.parametrize(
    ("count", "has_u", "has_error"),
    [(2, False, False), (3, False, False), (4, True, False), (5, True, False), (6, True, True)],
)
def test_what_there_is_by_degrees_of_freedom(
    study_of: StudyOf, count: int, has_u: bool, has_error: bool
) -> None:
    result = one(study_of(repeated(count)))
    assert (result["standard_uncertainty"] is not None) == has_u
    simulation = result["simulation_uncertainty"]
    assert (simulation["standard_uncertainty"] is not None) == has_error


@pytest.mark.parametrize("count", [2, 3, 4, 5])
def test_the_reason_for_no_value_is_among_the_warnings(study_of: StudyOf, count: int) -> None:
    found = read(study_of(repeated(count)))
    wanted = {2: "no mean", 3: "no standard uncertainty"}.get(count, "simulation")
    about = [w for w in found["warnings"] if "time" in w and wanted in w]
    assert about, f"{sorted(set(nulls_in(found['results'])))} without a reason: {found['warnings']}"
    assert "of t " in about[0] or "degree" in about[0]


@pytest.mark.parametrize("count", [2, 3])
def test_evidence_by_half_width_says_so(study_of: StudyOf, count: int) -> None:
    found = read(study_of(repeated(count)))
    evidence = found["results"][0]["evidence"]
    assert sum(evidence.values()) == pytest.approx(1.0)
    assert evidence["measured"] > evidence["guess"]
    told = " ".join([*found["warnings"], *found["assumptions"]])
    assert "evidence" in told or "guesses" in told


@pytest.mark.parametrize("trials", [1_000, 20_000])
def test_few_trials_leave_no_value_without_a_reason(study_of: StudyOf, trials: int) -> None:
    found = read(study_of(UNITS, trials))
    missing = set(nulls_in(found["results"]))
    missing -= {"[].run", "[].linear.effective_degrees_of_freedom", "[].beyond_ceiling"}
    told = [w for w in found["warnings"] if "trials" in w or "simulation" in w]
    assert not missing or told, f"{sorted(missing)} are null for no stated reason"


def test_a_result_that_does_not_vary(study_of: StudyOf) -> None:
    result = one(
        study_of(
            "effband: 1\ntitle: exact\ninputs:\n  m: {constant: 5 kg}\n"
            "results:\n  mass: {formula: m, unit: kg}\n"
        )
    )
    assert result["interval"] == {"low": 5.0, "high": 5.0}
    assert result["standard_uncertainty"] == 0.0
    assert result["ranking"] == []


def test_a_number_that_is_not_finite_is_never_written(wren: Study) -> None:
    band = wren.bands[0]
    for bad in (math.nan, math.inf):
        spoilt = replace(band, summary=replace(band.summary, median=bad))
        with pytest.raises(ValueError, match="JSON"):
            to_json(document(replace(wren, bands=(spoilt,))))


def test_text_is_kept_as_it_is(wren: Study) -> None:
    title = 'wide 水, "quoted", \x1b[31m, \u202e, </script>'
    study = replace(wren, case=replace(wren.case, title=title))
    text = to_json(document(study))
    assert json.loads(text)["case"]["title"] == title
    assert text.endswith("}\n")


def test_one_document_or_a_list(wren: Study) -> None:
    found = json.loads(to_json([document(wren), document(wren)]))
    assert isinstance(found, list)
    assert len(found) == 2
    for each in found:
        VALIDATOR.validate(each)
