"""What a report says and in what order, from the least case to one of many results and runs."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace

import pytest
from sizes import BARE, many

from effband import study as studies
from effband.report import record, words
from effband.report.blocks import (
    MOST_ROWS,
    Bullets,
    Code,
    Paragraph,
    Picture,
    Report,
    Section,
    Table,
    spanned,
)
from effband.report.content import Carried, report
from effband.report.forum import forum
from effband.report.markdown import markdown
from effband.report.record import MOST_ACROSS
from effband.report.screen import what_if_words
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
        "Results", "Mind", "What widens it most", "What was guessed or only stated",
        "What is not in the numbers",
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
    assert f"put in is {into}; got out is {out}" in section(page, "Results")


def test_a_stranger_finds_what_was_guessed(wren: Study) -> None:
    found = section(report(wren), "What was guessed")
    for leaf in wren.case.leaves:
        judged = leaf.evidence in ("guess", "rule of thumb")
        assert (f"- `{leaf.name}`" in found) == judged
    assert "Nobody said how these are known: run_time, speed." in found
    share = words.percent(words.headline_band(wren).ranking.on_judgement)
    assert f"Of the spread of air_to_wire, run full, {share} rests on guesses" in found


def test_a_stranger_finds_guesses_in_instruments(study_of: StudyOf) -> None:
    text = BARE.replace(
        "inputs:", "instruments:\n  tape: {accuracy: 1 mm, evidence: rule of thumb}\ninputs:"
    )
    text = text.replace("plus_minus: 1 m", "instrument: tape")
    found = section(report(study_of(text)), "What was guessed")
    assert "- `a` with `tape`: rule of thumb\n" in found
    assert "100 % rests on guesses" in found


def test_a_stranger_finds_what_was_guessed_beside_a_reading(study_of: StudyOf) -> None:
    """Of one number, a part may be of a data sheet and another a guess."""
    text = BARE.replace("inputs:", "instruments:\n  tape: {accuracy: 1 mm}\ninputs:")
    also = "instrument: tape, also: {plus_minus: 2 mm, evidence: guess}"
    page = report(study_of(text.replace("plus_minus: 1 m", also)))
    spread = "rectangular, limits +- 0.001 m (datasheet); rectangular, -0.002 m to 0.002 m (guess)"
    guess = "10 m, rectangular, -0.002 m to 0.002 m; guess"
    assert f"- `a` with `tape`: {guess}\n" in section(page, "What was guessed")
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


# -- what misleads ---------------------------------------------------------------------------------

TAPE = BARE.replace("inputs:", "instruments:\n  tape: {accuracy: 1 mm}\ninputs:").replace(
    "plus_minus: 1 m", "instrument: tape"
)


@pytest.mark.parametrize(("plus_minus", "told"), [(0.5, True), (0.3, False)])
def test_what_only_a_nameplate_says_is_told_from_a_tenth_of_the_spread(
    study_of: StudyOf, plus_minus: float, told: bool
) -> None:
    """Of a sum of limits 1 and 0.5, the variances are 4/5 and 1/5; of 1 and 0.3, 92 and 8 %."""
    text = BARE.replace("plus_minus: 1 m", "plus_minus: 1 m, evidence: measured")
    b = f"  b: {{value: 9 m, plus_minus: {plus_minus} m, evidence: nameplate}}\nresults:"
    text = text.replace("results:", b).replace("2 * a", "a + b")
    found = section(report(study_of(text)), "What was guessed or only stated")
    assert ("20 % rests on a nameplate: `b`." in found) == told
    assert ("nameplate" in found) == told


def test_inputs_of_unstated_evidence_are_told_with_their_share(study_of: StudyOf) -> None:
    found = section(report(study_of(BARE)), "What was guessed or only stated")
    assert "100 % rests on inputs of which nobody said how they are known: `a`." in found


def test_a_guessed_correction_is_called_one(study_of: StudyOf) -> None:
    """A triangle from -3 over -1 to 1 mm has its mean at -1, one from -1 over 0 to 1 at 0."""
    also = "instrument: tape, also: {{low: {} mm, likely: {} mm, high: 1 mm, evidence: guess}}"
    lopsided, even = (
        section(
            report(study_of(TAPE.replace("instrument: tape", also.format(low, likely)))),
            "What was guessed",
        )
        for low, likely in ((-3, -1), (-1, 0))
    )
    assert "a correction that moves the value itself, by -0.0010 m in the mean" in lopsided
    assert "correction" not in even


def test_a_ceiling_stands_with_the_results(study_of: StudyOf) -> None:
    text = BARE.replace("unit: m}", "unit: m, ceiling: 30 m}")
    page = report(study_of(text))
    assert "`twice`: ceiling: 30 m." in section(page, "Results")
    assert "twice: ceiling: 30 m." in forum(page)
    assert "ceiling" not in section(report(study_of(BARE)), "Results")


def test_what_another_error_curve_would_give_is_in_the_post(wren: Study) -> None:
    (said,) = what_if_words(words.headline_band(wren))
    page = report(wren)
    assert said in forum(page)
    assert said in section(page, "Taken for granted")


def test_a_claim_on_guesses_says_so_on_its_own_line_and_not_often(study_of: StudyOf) -> None:
    text = BARE.replace("1 m}", "1 m, evidence: guess}", 1)
    text += "claims: [{result: twice, says: at least 5 m}]\n"
    post = forum(report(study_of(text)))
    line = "- twice, at least 5 m: [b]supported, but on guesses (100 % of the spread)[/b]\n"
    assert line in post
    assert post.count("guesses (") == 1
    assert post.count("rests on guesses and rules of thumb.[/b]") == 1


def test_readings_stand_in_a_post_where_they_are_few(
    study_of: StudyOf, large: Study, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The large case has twelve columns, as many as are few."""
    heading = "[b]Readings and instruments[/b]"
    assert heading in forum(report(large))
    assert heading not in forum(report(study_of(BARE))), "it has none"
    monkeypatch.setattr(record, "MOST_IN_POST", 11)
    page = report(large)
    assert heading not in forum(page)
    assert "## Readings and instruments" in markdown(page)


def test_readings_of_one_instrument_say_what_they_share(study_of: StudyOf) -> None:
    alone = section(report(study_of(TAPE)), "Inputs")
    assert "shared" not in alone
    text = TAPE.replace("accuracy: 1 mm", "accuracy: 1 mm, digit: 1 mm, error_along_scale: same")
    text = text.replace("results:", "  b: {value: 4 m, instrument: tape}\nresults:")
    found = section(report(study_of(text.replace("2 * a", "a - b"))), "Inputs")
    limits = "rectangular, limits +- 0.001 m, shared with its other readings; "
    assert found.count(limits + "rectangular, half a digit, +- 0.0005 m |") == 2


def test_another_band_is_told_with_its_ends(study_of: StudyOf) -> None:
    """The square of 1 with u = 0.5: y = 1 and u = 1 by the first-order law, so 1 -+ 1.96."""
    text = BARE.replace("value: 10 m, plus_minus: 1 m", "value: 1 m, standard_uncertainty: 0.5 m")
    text = text.replace("2 * a", "a**2").replace("unit: m}", "unit: m^2}")
    found = section(report(study_of(text, 100_000)), "Mind")
    assert "gives another band (-1.0 to 3.0 m" in found


@pytest.mark.parametrize(("likely", "told"), [(10, False), (9.2, True)])
def test_why_the_value_is_not_as_written_is_said_where_it_shows(
    study_of: StudyOf, likely: float, told: bool
) -> None:
    text = BARE.replace("value: 10 m, plus_minus: 1 m", f"low: 9 m, likely: {likely} m, high: 11 m")
    found = section(report(study_of(text, 100_000)), "Results")
    assert "by hand" not in found
    assert ("lopsided spreads and curved formulas have moved the value" in found) == told


def test_only_a_report_with_figures_speaks_of_them(wren: Study) -> None:
    carried = Carried("0123456789ab", "BLOCK")
    assert "figures" not in section(report(wren, (), carried), "The case, to run again")
    found = report(wren, [Picture("claim.png", "dots")], carried)
    assert "0123456789ab, in the figures as well." in section(found, "The case, to run again")


def test_commands_and_keys_in_a_sentence_are_code() -> None:
    line = spanned("see `effband instruments`, write `evidence:`, not `<b>`")
    assert line == (
        "see ", Code("effband instruments"), ", write ", Code("evidence:"), ", not `<b>`",
    )  # fmt: skip
    page = Report("t", (), "s", (Section("", (Paragraph(line),), in_post=True),))
    assert "see `effband instruments`, write `evidence:`, not" in markdown(page)
    assert "see effband instruments, write evidence:, not" in forum(page)
