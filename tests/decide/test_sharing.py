"""What two cases share: each rule with a pair of files, and what is said of the rest."""

from __future__ import annotations

from pathlib import Path

import pytest

from effband.case.resolve import load_case, understand
from effband.case.text import parse_case
from effband.decide.merge import AFTER, Merged, merge

# every kind of thing that can be uncertain
ALL = """\
effband: 1
title: all kinds of spread
instruments:
  meter: {accuracy: 1 % of reading, span: [0 V, 20 V], digit: 0.01 V, each_reading: 0.02 V}
  loose: {accuracy: 1 % of reading, repeatability: 0.1 V, stability: 0.3 % of reading}
inputs:
  volume: {value: 90 L, plus_minus: 2 L, also: {plus_minus: 1 L}, note: weighed}
  stated: {low: 1 V, high: 3 V, evidence: guess}
  twice: {value: 4 V, plus_minus: 0.1 V, also: [{plus_minus: 0.2 V}, {repeats: [0.1 V, -0.1 V]}]}
  seen: {repeats: [4.9 V, 5.0 V, 5.1 V]}
  counted: {random_events: 240}
  sample: {draws: {file: sample.csv, column: slope}, unit: V}
  held: {value: 11 V, instrument: loose, also: {plus_minus: 0.1 V}}
  one: {value: 1 V, plus_minus: 0.1 V}
  two: {value: 2 V, plus_minus: 0.1 V}
joint:
  fit:
    values: {slope: 2 V, offset: 1 V}
    standard_uncertainties: {slope: 0.1 V, offset: 0.2 V}
    correlation: [[1, -0.9], [-0.9, 1]]
    degrees_of_freedom: 9
correlations: [{between: [one, two], coefficient: 0.5}]
runs:
  readings:
    volt: {unit: V, instrument: meter#1}
    thumb: {unit: V, plus_minus: 0.1 V}
    thumbs: {unit: V, plus_minus: 0.1 V, shared: true}
  rows:
    a: {volt: 12, thumb: 1, thumbs: 2}
    b: {volt: 12.1, thumb: 1, thumbs: 2}
    c: {volt: 12.2, thumb: 1, thumbs: 2}
  groups: {load: [a, b, c]}
formulas:
  ours: stated + twice + seen + sample + held + one + two + slope + offset
  mixed: (volt + thumb + thumbs + ours) * counted * volume
results:
  y: {formula: mixed, unit: L*V}
"""
SHARED = {
    "fit", "fit.offset", "fit.slope", "meter#1.z1", "meter#1.z2", "loose.z1", "loose.z2",
    "one, two.one", "one, two.two", "stated", "twice", "twice.also1", "volume", "volume.also",
}  # fmt: skip


def merged(folder: Path, before: str, after: str) -> tuple[Merged, set[str]]:
    """Return two cases merged for a run and a group, and the sources that both depend on."""
    (folder / "sample.csv").write_text("slope\n" + "\n".join(map(str, range(30))) + "\n")
    cases = []
    for name, text in (("before", before), ("after", after)):
        file = folder / f"{name}.yaml"
        file.write_text(text)
        cases.append(load_case(str(file)))
    ours, theirs = ({o.run: o for o in case.outputs} for case in cases)
    found = merge(*cases, [(ours[where], theirs[where]) for where in ("a", "load")])
    used = found.case.program.sources_of
    before_used = used[ours["a"].step] | used[ours["load"].step]
    after_used = used[theirs["a"].step + found.moved] | used[theirs["load"].step + found.moved]
    assert before_used | after_used == {n for item in found.case.items for n in item.sources}
    return found, set(before_used & after_used)


def test_what_a_case_shares_with_itself(tmp_path: Path) -> None:
    """Fresh errors, spreads of readings, scatter, repeats, counts and samples never."""
    found, shared = merged(tmp_path, ALL, ALL)
    assert shared == SHARED
    assert found.shared == (
        "fit", "loose", "meter#1", "one, two", "stated", "twice", "volume",
    )  # fmt: skip
    told = {(each.name, each.why) for each in found.apart}
    assert told == {
        ("meter#1", "fresh for each reading"),
        ("loose", "fresh for each reading"),
        ("held", "fresh for each reading"),
        ("loose", "stability: one for each test"),
        ("thumb", "a spread of readings"),
        ("thumbs", "a spread of readings"),
        ("scatter of load", "the scatter of runs"),
        ("twice", "repeats"),
        ("seen", "repeats"),
        ("counted", "counted events"),
        ("sample", "a sample"),
    }
    assert not any(each.differs for each in found.apart)


def test_every_source_of_the_case_after_has_a_place(tmp_path: Path) -> None:
    found, _ = merged(tmp_path, ALL, ALL)
    in_items = [name for item in found.case.items for name in item.sources]
    assert len(in_items) == len(set(in_items))
    drawn = {str(step.detail) for step in found.case.program.steps if step.op == "source"}
    assert drawn == {source.name for source in found.case.sources}
    labels = {item.name for item in found.case.items}
    assert {"scatter of load (before)", "scatter of load (after)", "meter#1"} <= labels
    assert not {"meter#1 (before)", "fit (after)"} & labels


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("note: weighed", "note: as on the plate, label: tank"),
        ("evidence: guess", "evidence: measured"),
        ("each_reading: 0.02 V}", "each_reading: 0.02 V, evidence: certificate, note: new}"),
        ("1 % of reading, span", "1  % of reading, span"),
        ("each_reading: 0.02 V", "each_reading: 0.020 V"),
        ("also: {plus_minus: 1 L}", "also: {plus_minus: 1 L, evidence: guess, note: cold}"),
        ("degrees_of_freedom: 9", "degrees_of_freedom: 9\n    note: twelve points"),
        # the order of parameters is nothing
        ("values: {slope: 2 V, offset: 1 V}", "values: {offset: 1 V, slope: 2 V}"),
        ("between: [one, two]", "between: [two, one]"),
        ("title: all", "title: other"),
        ("volt: 12,", "volt: 11,"),
    ],
)
def test_what_makes_no_difference(tmp_path: Path, old: str, new: str) -> None:
    assert old in ALL
    _, shared = merged(tmp_path, ALL, ALL.replace(old, new))
    assert shared == SHARED


METER, LOOSE = {"meter#1.z1", "meter#1.z2"}, {"loose.z1", "loose.z2"}
FIT, PAIR = {"fit", "fit.offset", "fit.slope"}, {"one, two.one", "one, two.two"}


@pytest.mark.parametrize(
    ("old", "new", "lost", "told"),
    [
        ("[0 V, 20 V]", "[0 V, 60 V]", METER, ("meter#1", "defined differently: span")),
        (
            "digit: 0.01 V, each_reading: 0.02 V",
            "digit: 0.1 V, each_reading: 0.03 V",
            METER,
            ("meter#1", "defined differently: digit, each_reading"),
        ),
        ("accuracy: 1 % of reading, span", "accuracy: 2 % of reading, span", METER,
         ("meter#1", "defined differently: accuracy")),
        ("20 V], digit", "20 V], true_rms: yes, digit", METER,
         ("meter#1", "defined differently: true_rms")),
        ("instrument: meter#1", "instrument: meter#2", METER, ("meter#1", "before only")),
        ("plus_minus: 2 L", "plus_minus: 3 L", {"volume", "volume.also"},
         ("volume", "defined differently: plus_minus")),
        ("also: {plus_minus: 1 L}", "also: {plus_minus: 2 L}", {"volume", "volume.also"},
         ("volume", "defined differently: also")),
        (", also: {plus_minus: 1 L}", "", {"volume", "volume.also"},
         ("volume", "defined differently: also")),
        ("stated: {low", "stated: {reads: DC voltage, low", {"stated"}, None),
        ("low: 1 V", "low: 1.5 V", {"stated"}, ("stated", "defined differently: low")),
        ("slope: 0.1 V", "slope: 0.2 V", FIT, ("fit", "defined differently: slope")),
        ("[[1, -0.9], [-0.9, 1]]", "[[1, -0.8], [-0.8, 1]]", FIT,
         ("fit", "defined differently: correlation")),
        ("degrees_of_freedom: 9", "degrees_of_freedom: 8", FIT,
         ("fit", "defined differently: offset, slope")),
        ("coefficient: 0.5", "coefficient: 0.4", PAIR,
         ("one, two", "defined differently: one with two")),
        ("one: {value: 1 V", "one: {value: 1.2 V", PAIR, ("one, two", "defined differently: one")),
        ("correlations: [{between: [one, two], coefficient: 0.5}]\n", "", PAIR, None),
        # with nothing said of its scale, two readings may have errors that go any way
        ("value: 11 V, instrument", "value: 12 V, instrument", LOOSE, None),
    ],
)  # fmt: skip
def test_one_key_that_differs_draws_it_apart(
    tmp_path: Path, old: str, new: str, lost: set[str], told: tuple[str, str] | None
) -> None:
    assert old in ALL
    found, shared = merged(tmp_path, ALL, ALL.replace(old, new))
    assert shared == SHARED - lost
    if told is not None:
        assert told in {(each.name, each.why) for each in found.apart}


def test_a_meter_defined_differently_is_told_from_what_was_measured_anew(tmp_path: Path) -> None:
    other = ALL.replace("[0 V, 20 V]", "[0 V, 60 V]").replace("low: 1 V", "low: 1.5 V")
    other = other.replace("plus_minus: 2 L", "plus_minus: 3 L")
    found, _ = merged(tmp_path, ALL, other)
    assert {each.name for each in found.apart if each.differs} == {"meter#1", "volume"}
    assert {"meter#1 (before)", "meter#1 (after)"} <= {item.name for item in found.case.items}


def test_one_span_more_lets_two_readings_share(tmp_path: Path) -> None:
    text = ALL.replace("repeatability: 0.1 V", "repeatability: 0.1 V, span: [0 V, 20 V]")
    _, shared = merged(tmp_path, text, text.replace("value: 11 V", "value: 12 V"))
    assert shared >= LOOSE


def test_the_same_name_for_another_kind_of_thing() -> None:
    head, tail = "effband: 1\ntitle: t\n", "results: {y: {formula: x, unit: V}}\n"
    one = f"{head}inputs: {{x: {{value: 1 V, plus_minus: 0.1 V}}}}\n{tail}"
    other = (
        f"{head}instruments: {{m: {{accuracy: 1 % of reading}}}}\n"
        f"inputs: {{x: {{value: 1 V, instrument: m}}}}\n{tail}"
    )
    cases = [understand(parse_case(text.encode(), "case.yaml")) for text in (one, other)]
    found = merge(cases[0], cases[1], [(cases[0].outputs[0], cases[1].outputs[0])])
    assert found.shared == ()
    assert {each.name for each in found.apart} == {"x", "m"}


def test_nothing_is_shared_where_that_is_asked_for(tmp_path: Path) -> None:
    (tmp_path / "sample.csv").write_text("slope\n" + "\n".join(map(str, range(30))) + "\n")
    file = tmp_path / "case.yaml"
    file.write_text(ALL)
    case = load_case(str(file))
    both = [(output, output) for output in case.outputs if output.run == "load"]
    found = merge(case, case, both, share=False)
    assert found.shared == ()
    names = {source.name for source in found.case.sources}
    ours = {name for name in names if not name.startswith(AFTER)}
    assert {AFTER + name for name in ours} == names - ours
