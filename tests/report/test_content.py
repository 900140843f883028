"""What a report says and in what order, from the least case to one of many results and runs."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace

import pytest
from sizes import BARE, many

from effband import study as studies
from effband.report import words
from effband.report.blocks import MOST_ROWS, Bullets, Paragraph, Report, Section, Table
from effband.report.content import Carried, report
from effband.report.forum import forum
from effband.report.markdown import markdown
from effband.report.record import MOST_ACROSS
from effband.study import Remark, Study

StudyOf = Callable[..., Study]
MOST_LINES = 700  # of a page, the case itself left out

ORDER = [
    "Cross-checks that fail", "Claims", "Results", "The same machine over other inputs", "Mind",
    "What widens it most", "What was guessed", "With guesses 2 times as wide", "Taken for granted",
    "What is not in the numbers", "Cross-checks", "Inputs", "Readings and instruments",
    "What widens the other bands", "What widens the rest most",
    "If errors ran otherwise along the scale", "Log", "The runs of the groups", "Formulas",
    "Method", "The case, to read", "The case, to run again",
]  # fmt: skip


def text_of(section: Section) -> str:
    return markdown(Report("t", (), "s", (section,)))


def section(page: Report, title: str) -> str:
    """Return the text of the section whose title begins so."""
    (found,) = (each for each in page.sections if each.title.startswith(title))
    return text_of(found)


def tables(page: Report) -> Iterator[Table]:
    for each in page.sections:
        yield from (block for block in each.blocks if isinstance(block, Table))


def well_made(page: Report) -> None:
    """Fail where a heading, a table, a list or a column has nothing to say."""
    for each in page.sections:
        assert each.blocks, each.title
        for block in each.blocks:
            assert not isinstance(block, Bullets) or block.items
            assert not isinstance(block, Paragraph) or any(block.line)
    for table in tables(page):
        assert 1 <= len(table.rows) <= MOST_ROWS
        assert all(len(row) == len(table.head) for row in table.rows)
        assert all(
            any(cell not in ((), ("",)) for cell in column)
            for column in zip(*table.rows, strict=True)
        )
    titles = [each.title for each in page.sections if each.title]
    assert len(titles) == len(set(titles))
    places = [
        next(k for k, known in enumerate(ORDER) if title.startswith(known)) for title in titles
    ]
    assert places[1:] == sorted(places[1:])


@pytest.fixture(scope="module")
def large(tmp_path_factory: pytest.TempPathFactory) -> Study:
    """A study of more values than a table has room for."""
    file = tmp_path_factory.mktemp("case") / "many.yaml"
    file.write_text(many(14, 6), encoding="utf-8")
    case = studies.load(str(file))
    found = studies.run(case, replace(case.settings, trials=20_000))
    assert len(found.bands) > MOST_ROWS
    return found


def test_the_least_case_has_the_least_report(study_of: StudyOf) -> None:
    page = report(study_of(BARE))
    well_made(page)
    assert [each.title for each in page.sections] == [
        "Results", "Mind", "What widens it most", "What was guessed", "What is not in the numbers",
        "Inputs", "Formulas", "Method",
    ]  # fmt: skip
    assert not page.cautions
    assert len(markdown(page).splitlines()) < 60


def test_many_results_are_told_in_short(large: Study) -> None:
    page = report(large, (), Carried("0123", "BLOCK"))
    well_made(page)
    lines = markdown(replace(page, sections=page.sections[:-2])).splitlines()
    assert len(lines) < MOST_LINES
    headline, others = (t for t in page.sections[0].blocks if isinstance(t, Table))
    assert len(headline.rows) == 6
    assert len(others.rows) == 13
    said = section(page, "Results")
    assert "effband run CASE --json" in said
    assert said.count("got out is") == 6, "results that share a boundary are told together"


def test_the_lowest_and_highest_are_those_of_the_bands(large: Study) -> None:
    found = section(report(large), "Results")
    for name in ("share_00", "share_13"):
        bands = [band for band in large.bands if band.output.target.name == name]
        ends = [min(bands, key=words.central), max(bands, key=words.central)]
        low, high = (words.rounded(band) for band in ends)
        assert (
            f"| `{name}` | `{ends[0].output.run}`: {low.with_unit} ({low.low} to {low.high}) "
            f"| `{ends[1].output.run}`: {high.with_unit} ({high.low} to {high.high}) |"
        ) in found


def test_readings_stand_in_tables_that_fit_a_page(large: Study) -> None:
    (log,) = (each for each in report(large).sections if each.title == "Log")
    found = [block for block in log.blocks if isinstance(block, Table)]
    assert len(found) > 1
    names = [cell[0].text for table in found for cell in table.head[1:]]
    assert names == [f"power_{k}" for k in range(12)]
    for table in found:
        assert sum(len(cell[0].text) + 2 for cell in table.head[1:]) <= MOST_ACROSS


@pytest.mark.slow
def test_forty_results_of_thirty_runs_are_told_in_short(study_of: StudyOf) -> None:
    page = report(study_of(many(40, 30), 20_000))
    well_made(page)
    assert len(markdown(page).splitlines()) < MOST_LINES
    assert len(forum(page)) < 30_000


# -- what a stranger asks --------------------------------------------------------------------------


def test_a_stranger_finds_what_the_number_is_of(wren: Study) -> None:
    page = report(wren)
    into, out = wren.case.targets[0].boundary or ("", "")
    assert f"Counted as put in: {into}. Counted as got out: {out}." in page.sentence
    assert f"put in is {into}; got out is {out}." in section(page, "Results")


def test_a_stranger_finds_what_was_guessed(wren: Study) -> None:
    found = section(report(wren), "What was guessed")
    for leaf in wren.case.leaves:
        judged = leaf.evidence in ("guess", "rule of thumb")
        assert (f"- `{leaf.name}`" in found) == judged
    assert "Nobody said how these are known: run_time, speed." in found
    share = words.percent(words.headline_band(wren).ranking.on_judgement)
    assert f"Of the spread of air_to_wire, run full, {share} rest on guesses" in found


def test_a_stranger_finds_guesses_in_instruments(study_of: StudyOf) -> None:
    text = BARE.replace(
        "inputs:", "instruments:\n  tape: {accuracy: 1 mm, evidence: rule of thumb}\ninputs:"
    )
    text = text.replace("plus_minus: 1 m", "instrument: tape")
    found = section(report(study_of(text)), "What was guessed")
    assert "- `a` with `tape`" in found
    assert "100 % rest on guesses" in found


def test_a_stranger_finds_what_was_guessed_beside_a_reading(study_of: StudyOf) -> None:
    """Of one number, a part may be of a data sheet and another a guess."""
    text = BARE.replace("inputs:", "instruments:\n  tape: {accuracy: 1 mm}\ninputs:")
    also = "instrument: tape, also: {plus_minus: 2 mm, evidence: guess}"
    page = report(study_of(text.replace("plus_minus: 1 m", also)))
    spread = "rectangular, limits +- 0.001 m (datasheet); rectangular, -0.002 m to 0.002 m (guess)"
    assert f"- `a` with `tape`: 10 m, {spread}\n" in section(page, "What was guessed")
    assert f"| {spread} | datasheet, guess |" in section(page, "Inputs")


def test_a_stranger_finds_what_would_change_the_answer(wren: Study) -> None:
    page = report(wren)
    assert "would settle it" in section(page, "Claims")
    found = section(page, "What widens it most")
    first = words.headline_band(wren).ranking.lines[0]
    assert f"| `{first.item.name}` | " in found
    # where error curves are assumed, the report says what others would give
    assert "if each reading had its own" in section(page, "If errors ran otherwise")


def test_a_stranger_finds_how_to_run_it_again(wren: Study) -> None:
    page = report(wren, (), Carried("0123456789ab", "BLOCK"))
    found = section(page, "The case, to run again")
    assert "`effband recheck FILE`" in found
    assert "0123456789ab" in found
    assert "BLOCK" in found
    assert "it proves neither who measured nor that the readings are true" in found
    assert wren.case.text.text.splitlines()[0] in section(page, "The case, to read")


def test_warnings_stand_before_what_was_given_and_in_a_post(study_of: StudyOf) -> None:
    study = replace(study_of(BARE), remarks=(Remark("this is doubtful", "look again"),))
    page = report(study)
    titles = [each.title for each in page.sections]
    assert titles.index("Mind") < titles.index("Inputs")
    assert "[b]Mind[/b]\n- this is doubtful: look again.\n" in forum(page)
