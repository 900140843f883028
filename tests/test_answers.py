"""The face for Python: typed answers, tables, a view for notebooks, and a light start."""

from __future__ import annotations

import doctest
import json
import math
import os
import re
import subprocess
import sys
from dataclasses import FrozenInstanceError, replace
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

import effband
from effband import Answer
from effband.problems import printable
from effband.report.screen import screen

ROOT = Path(__file__).resolve().parents[1]
WREN = ROOT / "cases" / "wren_bench.yaml"
TRIALS = 100_000

# every turn that a value can take: no mean, no variance, no spread, a point in degC, no unit, a
# run without a reading, and names that are also columns of our tables
ODD = """\
effband: 1
title: all sorts
headline: warmth
inputs:
  once: {repeats: [5.1, 5.3], unit: W, note: two are few}
  thrice: {repeats: [4.9, 5.0, 5.4], unit: W}
  four: {constant: 4 W}
  label_power: {value: 20 W, standard_uncertainty: 1 W, evidence: nameplate}
runs:
  readings:
    missing_first: {unit: W, plus_minus: 1 W, optional: true}
    outlet: {unit: degC, plus_minus: 0.5 K}
    source: {unit: 1, exact: true}
    run: {unit: 1, exact: true}
  rows:
    cold: {outlet: 0.1, source: 3, run: 7}
    warm: {missing_first: 2.5, outlet: 20.1, source: 4, run: 8}
formulas:
  counted: source + run
results:
  no_mean: {formula: once / label_power, unit: "1", is: ratio}
  no_variance: {formula: thrice, unit: W}
  steady: {formula: four, unit: mW}
  plain: {formula: 5 * four / label_power, unit: "1", is: ratio}
  warmth: {formula: outlet, unit: degC}
  gappy: {formula: missing_first * counted, unit: W}
"""


@pytest.fixture(scope="module")
def wren() -> Answer:
    return effband.run(WREN, trials=TRIALS, workers=2)


@pytest.fixture(scope="module")
def odd(tmp_path_factory: pytest.TempPathFactory) -> Answer:
    file = tmp_path_factory.mktemp("odd") / "odd.yaml"
    file.write_text(ODD, encoding="utf-8")
    return effband.run(file, trials=TRIALS)


@pytest.fixture(params=["wren", "odd"])
def answer(request: pytest.FixtureRequest) -> Answer:
    found = request.getfixturevalue(request.param)
    assert isinstance(found, Answer)
    return found


# -- values ----------------------------------------------------------------------------------------


def test_values_are_those_of_the_json_document(answer: Answer) -> None:
    results = json.loads(answer.to_json())["results"]
    assert len(results) == len(answer) > 3
    for value, told in zip(answer, results, strict=True):
        assert (value.result, value.run, value.unit) == (told["result"], told["run"], told["unit"])
        assert (value.is_, value.by_hand) == (told["is"], told["nominal"])
        assert (value.mean, value.median) == (told["mean"], told["median"])
        assert value.standard_uncertainty == told["standard_uncertainty"]
        assert {"low": value.low, "high": value.high} == told["interval"]
        assert value.half_width == told["half_width"]
        assert len(value.wideners) == len(told["ranking"])
        for widener, line in zip(value.wideners, told["ranking"], strict=True):
            assert (widener.source, widener.kind) == (line["source"], line["kind"])
            assert widener.half_width_without == line["half_width_without"]
            assert widener.saves == told["half_width"] - line["half_width_without"]
            for index, name in ((widener.first_order, "first_order"), (widener.total, "total")):
                assert index == (line[name] and line[name]["value"])


def test_json_and_text_are_those_of_the_command(wren: Answer) -> None:
    def command(*options: str) -> str:
        done = subprocess.run(
            [sys.executable, "-m", "effband", "run", WREN, "--trials", str(TRIALS), *options],
            capture_output=True,
            text=True,
            encoding="utf-8",
            timeout=60,
            check=True,
        )
        return done.stdout

    assert wren.to_json() == command("--json")
    assert f"{wren}\n" == command() == screen(wren.study)


def test_the_number_printed_is_the_mean_or_else_the_median(odd: Answer) -> None:
    steady, no_variance, no_mean = map(odd.value, ("steady", "no_variance", "no_mean"))
    assert steady.value == steady.mean == pytest.approx(4000.0)
    plain = odd.value("plain")
    assert plain.value == plain.mean != plain.median
    assert no_variance.standard_uncertainty is None
    assert no_variance.value == no_variance.median != no_variance.mean
    assert no_mean.mean is None
    assert no_mean.value == no_mean.median
    assert [line.first_order for line in no_mean.wideners] == [None, None]


def test_numbers_are_in_the_users_units(odd: Answer, wren: Answer) -> None:
    warm = odd.value("warmth", run="warm")
    assert (warm.unit, warm.half_width) == ("degC", pytest.approx(0.475, abs=0.01))
    assert (warm.low, warm.high) == (
        pytest.approx(19.625, abs=0.02),
        pytest.approx(20.575, abs=0.02),
    )
    assert (warm.low + warm.high) / 2 == pytest.approx(20.1, abs=0.02)
    assert warm.half_width == pytest.approx((warm.high - warm.low) / 2)
    assert odd.value("plain").value == pytest.approx(1.0, abs=0.01)
    share = wren.value("air_to_wire", run="full")
    assert (share.unit, share.by_hand) == ("%", pytest.approx(8.04, abs=0.005))


def test_what_does_not_vary_has_no_wideners(odd: Answer) -> None:
    steady = odd.value("steady")
    assert (steady.low, steady.high) == (pytest.approx(4000.0), pytest.approx(4000.0))
    assert steady.wideners == ()
    assert steady.widest is None


def test_a_value_says_itself_in_one_line(wren: Answer, odd: Answer) -> None:
    value = wren.value("air_to_shaft", run="light")
    assert str(value) == "air_to_shaft, run light: 14.3 %, from 12.4 to 16.6 % (95 % band)"
    assert repr(value) == f"<Value {value}>"
    assert str(odd.value("plain")).startswith("plain: 1.0")
    assert str(odd.value("plain")).endswith(" (95 % band)")
    assert "  " not in str(odd.value("plain"))


def test_a_value_is_found_by_result_and_run(wren: Answer, odd: Answer) -> None:
    assert wren.value("air_to_wire", run="full").run == "full"
    assert wren.value("air_to_wire", "light").boundary == (
        "exergy of the receiver air from start to settled end pressure",
        "electrical energy at the alternator terminals",
    )
    assert odd.value("plain").boundary is None
    assert odd.value("gappy").run == "warm"  # the only run that has it
    assert [(value.result, value.run) for value in wren] == [
        ("air_to_wire", "light"),
        ("air_to_wire", "full"),
        ("air_to_shaft", "light"),
        ("air_to_shaft", "full"),
    ]


@pytest.mark.parametrize(
    ("result", "run", "said"),
    [
        ("air_to_wire", None, "air_to_wire has several runs: say which of light, full"),
        ("air_to_wire", "fast", "no value in run 'fast': there are light, full"),
        ("air_wire", None, "no result is called 'air_wire': did you mean air_to_wire?"),
        ("zz", "full", "no result is called 'zz': there are air_to_wire, air_to_shaft"),
    ],
)
def test_a_value_that_is_not_there(wren: Answer, result: str, run: str | None, said: str) -> None:
    with pytest.raises(ValueError, match=f"^{re.escape(said)}$"):
        wren.value(result, run)
    if run is not None or result != "air_to_wire":
        with pytest.raises(ValueError, match=f"^{re.escape(said)}$"):
            wren.ranking_table(result, run)


def test_a_result_of_the_whole_case_has_no_runs(odd: Answer) -> None:
    with pytest.raises(ValueError, match=r"^no value in run 'warm': there are whole case$"):
        odd.value("plain", run="warm")


def test_the_headline_is_the_case_s_own(wren: Answer, odd: Answer) -> None:
    assert wren.headline is wren.value("air_to_wire", run="full")
    assert odd.headline is odd.value("warmth", run="warm")
    assert "<strong>Wren bench" in wren._repr_html_()


def test_remarks_and_assumptions_are_those_of_the_document(answer: Answer) -> None:
    told = json.loads(answer.to_json())
    assert list(answer.remarks) == told["warnings"]
    assert list(answer.assumptions) == told["assumptions"]


def test_answers_are_fixed_and_short(wren: Answer) -> None:
    for name in ("low", "wideners"):
        with pytest.raises(FrozenInstanceError):
            setattr(wren.value("air_to_wire", "full"), name, 0.0)
    assert repr(wren) == (
        "<Answer 'Wren bench, vane air motor and car alternator off a 90 L receiver': "
        f"4 values, headline {wren.headline}>"
    )


# -- tables ----------------------------------------------------------------------------------------

FLOATS = "value low high half_width standard_uncertainty mean median by_hand".split()


def kinds(table: pd.DataFrame) -> dict[str, str]:
    return {str(name): str(kind) for name, kind in table.dtypes.items()}


def test_the_table_holds_every_value(answer: Answer) -> None:
    table = answer.table()
    texts = dict.fromkeys(("result", "run", "unit", "is", "widest"), "string")
    assert kinds(table) == texts | dict.fromkeys(FLOATS, "float64")
    assert len(table) == len(answer)
    for (_, row), value in zip(table.iterrows(), answer, strict=True):
        assert (row["result"], row["unit"], row["is"]) == (value.result, value.unit, value.is_)
        for name, held in (("run", value.run), ("widest", value.widest)):
            assert row[name] is pd.NA if held is None else row[name] == held
        for name in FLOATS:
            held = getattr(value, name)
            assert math.isnan(row[name]) if held is None else row[name] == held


def test_the_odd_case_has_all_kinds_of_gaps(odd: Answer) -> None:
    gaps = odd.table().isna().any()
    assert set(gaps.index[gaps]) == {"run", "widest", "standard_uncertainty", "mean"}


def test_the_ranking_table_holds_every_widener(answer: Answer) -> None:
    table = answer.ranking_table()
    texts = dict.fromkeys(("result", "run", "unit", "source", "kind"), "string")
    numbers = ("half_width_without", "saves", "first_order", "total")
    assert kinds(table) == texts | dict.fromkeys(numbers, "float64")
    told = [(value, line) for value in answer for line in value.wideners]
    assert len(table) == len(told) > 4
    for (_, row), (value, line) in zip(table.iterrows(), told, strict=True):
        assert (row["result"], row["unit"]) == (value.result, value.unit)
        assert (row["source"], row["kind"]) == (line.source, line.kind)
        for name in numbers:
            held = getattr(line, name)
            assert math.isnan(row[name]) if held is None else row[name] == held


def test_the_ranking_table_of_one_result_or_run(wren: Answer) -> None:
    full = wren.ranking_table("air_to_wire", run="full")
    assert list(full["source"]) == [x.source for x in wren.value("air_to_wire", "full").wideners]
    assert full["half_width_without"].is_monotonic_increasing
    assert set(wren.ranking_table("air_to_wire")["run"]) == {"light", "full"}
    assert set(wren.ranking_table(run="light")["result"]) == {"air_to_wire", "air_to_shaft"}


def test_readings_are_those_written(wren: Answer) -> None:
    table = wren.readings_table()
    assert table.index.name == "run"
    assert table.to_dict("index") == {
        "light": {
            "p_start (bar)": 9.0,
            "p_end (bar)": 3.0,
            "run_time (s)": 152.0,
            "voltage (V)": 13.90,
            "current (A)": 3.70,
            "speed (rpm)": 2900,
        },
        "full": {
            "p_start (bar)": 9.0,
            "p_end (bar)": 3.0,
            "run_time (s)": 78.4,
            "voltage (V)": 13.62,
            "current (A)": 7.90,
            "speed (rpm)": 2600,
        },
    }


def test_readings_keep_the_order_of_runs_and_show_gaps(odd: Answer) -> None:
    table = odd.readings_table()
    assert list(table.columns) == ["missing_first (W)", "outlet (degC)", "source", "run"]
    assert list(table.index) == ["cold", "warm"]
    assert list(table["outlet (degC)"]) == [0.1, 20.1]  # to the last digit, through K and back
    assert set(kinds(table).values()) == {"float64"}
    assert np.isnan(table.loc["cold", "missing_first (W)"])
    assert list(table.loc["warm"]) == [2.5, 20.1, 4.0, 8.0]


def test_inputs_say_how_well_they_are_known(wren: Answer, odd: Answer) -> None:
    table = wren.inputs_table()
    columns = "value unit known evidence reads instrument note".split()
    assert kinds(table) == {n: "float64" if n == "value" else "string" for n in columns}
    assert table.loc["barometer"].dropna().to_dict() == {
        "value": 985.0,
        "unit": "hPa",
        "known": "rectangular, 980 hPa to 990 hPa",
        "evidence": "measured",
        "reads": "absolute pressure",
    }
    assert list(table.index) == [
        "tank_volume",
        "pipe_volume",
        "barometer",
        "rotor_inertia",
        "alternator_efficiency",
    ]
    assert odd.inputs_table().loc["four", "known"] == "exact"
    assert odd.inputs_table().loc["once", ["value", "note"]].to_list() == [5.2, "two are few"]


# -- in a notebook ---------------------------------------------------------------------------------

HOSTILE = (
    "<script>alert(1)</script>",
    '"onmouseover="alert(1)',
    "' style='position:fixed",
    "</td></table><img src=x onerror=alert(1)>",
    "<!-- &lt;b&gt; &#60;i&#62; ]]>",
    "red\x1b[31m \x9b2J \u202eflipped \u200bzero\x00 end",
)


class Seen(HTMLParser):
    """What a browser makes of a page: elements with their attributes, and the visible text."""

    def __init__(self, page: str) -> None:
        super().__init__(convert_charrefs=True)
        self.elements: list[tuple[str, tuple[tuple[str, str | None], ...]]] = []
        self.open: list[str] = []
        self.other: list[str] = []
        self.texts: list[str] = []
        self.feed(page)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, tuple(attrs)))
        self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        self.texts.append(data)

    def handle_comment(self, data: str) -> None:
        self.other.append(data)

    handle_decl = handle_pi = unknown_decl = handle_comment


def entitled(answer: Answer, text: str) -> Answer:
    """Return an answer with a text of the user's wherever the notebook shows one."""
    bands = []
    for band in answer.study.bands:
        target = replace(band.output.target, name=text, label=text, boundary=(text, text))
        lines = tuple(replace(x, item=replace(x.item, name=text)) for x in band.ranking.lines)
        output = replace(band.output, target=target, run=text)
        bands.append(replace(band, output=output, ranking=replace(band.ranking, lines=lines)))
    case = replace(answer.study.case, title=text, headline=text)
    remarks = tuple(replace(x, what=text, remedy=text) for x in answer.study.remarks)
    return Answer(replace(answer.study, case=case, bands=tuple(bands), remarks=remarks))


def test_the_notebook_shows_what_the_screen_says(wren: Answer) -> None:
    seen = Seen(wren._repr_html_())
    assert seen.texts[0] == wren.study.case.title
    assert seen.texts[1].startswith("air_to_wire at run full is 8.05 %, between 7.49 and 8.65 %")
    at = seen.texts.index("full")
    assert seen.texts[at : at + 5] == ["full", "8.05 %", "7.49 to 8.65 %", "0.58 points", "8.04"]
    at = seen.texts.index("receiver_gauge")
    assert re.fullmatch("\N{FULL BLOCK}{10} 43 %", seen.texts[at + 1])
    assert seen.texts[at + 2] == "0.33 points"
    assert [text for text in seen.texts if text in wren.remarks] == list(wren.remarks)


def test_the_notebook_shows_a_result_that_does_not_vary(odd: Answer) -> None:
    texts = Seen(odd._repr_html_()).texts
    at = texts.index("steady")
    assert texts[at : at + 3] == [
        "steady",
        "whole case",
        odd.value("steady")._text.split()[1] + " mW",
    ]


def test_the_notebook_brings_nothing_but_plain_elements(answer: Answer) -> None:
    seen = Seen(answer._repr_html_())
    assert seen.open == seen.other == []
    assert {tag for tag, _ in seen.elements} <= set("div p strong table tr th td ul li".split())
    attributes = {attribute for _, held in seen.elements for attribute in held}
    assert {name for name, _ in attributes} == {"style"}
    for _, style in attributes:
        assert style is not None
        assert re.search("url|color|background|position|@|expression", style) is None


@pytest.mark.parametrize("text", HOSTILE)
def test_a_hostile_text_is_shown_and_nothing_else(wren: Answer, text: str) -> None:
    plain, seen = (Seen(entitled(wren, each)._repr_html_()) for each in ("plain", text))
    assert seen.elements == plain.elements
    assert seen.other == []
    assert seen.texts[0] == printable(text)
    shown = [each.replace(printable(text), "plain") for each in seen.texts]
    assert shown == plain.texts
    assert all(character.isprintable() for each in seen.texts for character in each)


@pytest.mark.parametrize("text", HOSTILE)
def test_a_hostile_text_stays_on_its_line(wren: Answer, text: str) -> None:
    hostile = entitled(wren, text)
    assert printable(text) in str(hostile.headline)
    for said in (repr(hostile), str(hostile.headline), repr(hostile.headline)):
        assert said.isprintable()


def test_the_figure_is_that_of_the_report(wren: Answer, tmp_path: Path) -> None:
    figure = wren.figure()
    assert len(figure.axes) == 2
    figure.savefig(tmp_path / "bands.png")
    assert (tmp_path / "bands.png").read_bytes().startswith(b"\x89PNG")


# -- what is refused -------------------------------------------------------------------------------


def test_a_broken_case_says_where(tmp_path: Path) -> None:
    file = tmp_path / "broken.yaml"
    file.write_text(ODD.replace("20 W, stan", "20 wat, stan"), encoding="utf-8")
    for read in (effband.load, effband.run):
        with pytest.raises(
            effband.CaseError, match=r"broken\.yaml:8:27: error: unknown unit 'wat'"
        ) as caught:
            read(file)
        assert "\n  help: " in str(caught.value)


def test_sums_that_cannot_be_done_are_refused(tmp_path: Path) -> None:
    file = tmp_path / "zero.yaml"
    never = ODD.replace("5 * four / label_power", "four / (label_power - label_power)")
    file.write_text(never, encoding="utf-8")
    with pytest.raises(effband.ComputationRefused, match="plain has no finite value"):
        effband.run(file, trials=TRIALS)


@pytest.mark.parametrize(
    ("options", "said"),
    [
        ({"trials": 999}, "trials is 999: give a whole number from 1000 to 100000000"),
        ({"trials": 100_000_001}, "trials is 100000001: "),
        ({"trials": 1000.5}, "trials is 1000.5: "),
        ({"trials": math.nan}, "trials is nan: "),
        ({"seed": -1}, "seed is -1: give a whole number from 0 to 9223372036854775807"),
        ({"seed": 2**63}, "seed is 9223372036854775808: "),
        ({"workers": 0}, "workers is 0: give a whole number from 1 to 256"),
        ({"probability": 0.49}, "probability is 0.49: give one from 0.5 to 0.9999"),
        ({"probability": 95}, "probability is 95: "),
        ({"probability": math.nan}, "probability is nan: "),
    ],
)
def test_numbers_out_of_range(options: dict[str, Any], said: str) -> None:
    with pytest.raises(ValueError, match=f"^{re.escape(said)}"):
        effband.run(WREN, **options)


def test_options_are_acted_on(wren: Answer) -> None:
    case = effband.load(os.fspath(WREN))
    options: dict[str, Any] = {"trials": 1e4, "probability": 0.99, "seed": 7, "workers": 1}
    wide = effband.run(case, **options)
    assert json.loads(wide.to_json())["settings"] == {
        "seed": 7,
        "trials": 10_000,
        "probability": 0.99,
        "digits": 1,
        "adaptive": False,
        "sampling": "random",
    }
    assert {value.probability for value in wide} == {0.99}
    half_widths = [each.value("air_to_wire", "full").half_width for each in (wren, wide)]
    assert half_widths[1] > 1.2 * half_widths[0]
    again = effband.run(case, trials=TRIALS, workers=1)
    assert again.to_json() == wren.to_json()  # neither the reading nor the workers matter


# -- a light start ---------------------------------------------------------------------------------

HEAVY = {"numpy", "scipy", "matplotlib", "pandas", "SALib", "pydantic", "yaml"}


def loaded_by(statement: str) -> set[str]:
    """Return the names of all that is loaded after a statement, in a fresh interpreter."""
    code = f"import sys\n{statement}\nprint(*sys.modules)"
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, timeout=60, check=True
    )
    return {name.split(".")[0] for name in done.stdout.split()}


@pytest.mark.parametrize(
    "statement",
    [
        "import effband",
        "import effband; dir(effband); effband.__version__",
        "from effband import CaseError, ComputationRefused",
    ],
)
def test_a_start_loads_nothing_heavy(statement: str) -> None:
    assert loaded_by(statement) & HEAVY == set()


def test_tables_and_pictures_are_loaded_when_asked_for() -> None:
    loaded = loaded_by("from effband import run")
    assert "numpy" in loaded
    assert loaded & {"pandas", "matplotlib"} == set()


def test_public_names() -> None:
    assert set(effband.__all__) <= set(dir(effband))
    assert [name for name in dir(effband) if not name.startswith("_")] == [
        "Answer",
        "CaseError",
        "Comparison",
        "ComputationRefused",
        "Value",
        "Widener",
        "compare",
        "load",
        "run",
    ]
    for name in effband.__all__:
        assert getattr(effband, name) is not None
    from effband import answers, problems

    assert (effband.run, effband.Value) == (answers.run, answers.Value)
    assert effband.CaseError is problems.CaseError
    for name in ("rum", "study_of", "os"):
        with pytest.raises(AttributeError, match=f"no attribute '{name}'"):
            getattr(effband, name)
    assert (ROOT / "effband" / "py.typed").read_bytes() == b""


# -- the README ------------------------------------------------------------------------------------


def test_the_examples_of_the_readme(monkeypatch: pytest.MonkeyPatch) -> None:
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    section = re.search(r"^## In Python\n(.*?)^## ", readme, re.MULTILINE | re.DOTALL)
    assert section is not None, "README.md has no section `## In Python`"
    examples = "\n".join(re.findall(r"^```pycon\n(.*?)^```$", section[1], re.MULTILINE | re.DOTALL))
    assert examples.count(">>> ") > 10
    monkeypatch.chdir(ROOT)
    said: list[str] = []
    test = doctest.DocTestParser().get_doctest(examples, {}, "In Python", "README.md", 0)
    outcome = doctest.DocTestRunner().run(test, out=said.append)
    assert outcome.failed == 0, "".join(said)
