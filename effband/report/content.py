"""What a report says and in what order, once for all its faces: text, no marks of any format.

First what a stranger asks: the number and what it is of, what fails, whether the claims stand,
what to mind, what widens it and what was guessed. Then every number that was given, and last
how to run it again.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from effband.case.model import Output, Target
from effband.propagate.ranking import Line as Ranked
from effband.report import judgements, record, words
from effband.report.blocks import (
    MOST_ROWS,
    Block,
    Bullets,
    Code,
    Line,
    Paragraph,
    Picture,
    Preformatted,
    Report,
    Section,
    Span,
    Strong,
    Table,
    bullets,
    in_short,
    table,
)
from effband.report.cautions import cautions
from effband.report.receipt import HONESTY
from effband.report.screen import TELLING, WHOLE, what_if_words
from effband.study import Band, Study

MOST_RANKINGS = 6  # of the other results; of more, the rest stands in one table
MOST_RANKED, MOST_RANKED_BRIEFLY = 12, 4  # sources of the headline, and of each other result
LEAST_SAVED = 0.01  # of a half-width; what saves less is only counted
USUAL_CEILING = ("efficiency", "100 %")  # goes without saying
ALL_NUMBERS: Line = (
    "stand in the whole result, which ",
    Code("effband run CASE --json"),
    " prints.",
)


@dataclass(frozen=True)
class Carried:
    """What a report carries so that a stranger can run it again.

    Attributes
    ----------
    stamp
        The first characters of the receipt's hash, which stand in the figures as well.
    block
        The case, its data and the receipt as one block.
    """

    stamp: str
    block: str


def report(
    study: Study, pictures: Sequence[Picture] = (), carried: Carried | None = None
) -> Report:
    """Return what is to be reported of a study.

    `pictures` are the figures that are written beside it; the first stands at the top.
    """
    case = study.case
    checks = [judgements.cross_check(each) for each in study.cross_checks]
    remarks = [f"{each.what}: {each.remedy}." for each in words.all_remarks(study)]
    granted = [*case.assumptions, *what_if_words(words.headline_band(study))]
    sections = [
        Section("", tuple(pictures[:1])),
        _judged("Cross-checks that fail", [each for each in checks if each.bad]),
        _judged("Claims", [judgements.claim(verdict) for verdict in study.claims]),
        _results(study, pictures[1:]),
        _side_by_side(study),
        bullets("Mind", remarks, in_post=True),
        _widest(study),
        record.guessed(study),
        _widened(study),
        bullets("Taken for granted", [f"{text}." for text in granted], in_post=True),
        record.left_out(study),
        _judged("Cross-checks", [each for each in checks if not each.bad]),
        record.inputs(study),
        record.readings(study),
        *_other_wideners(study),
        _what_ifs(study),
        record.log(study),
        _single_runs(study),
        record.formulas(study),
        record.method(study),
        *([] if carried is None else _to_run_again(study, carried, bool(pictures))),
    ]
    return Report(
        case.title,
        tuple(cautions(case.hazards, tuple(call.function for call in case.program.calls))),
        _sentence(study),
        tuple(section for section in sections if section.blocks),
    )


def _sentence(study: Study) -> str:
    """Return what a reader sees first; that it is disputed before anything else."""
    band = words.headline_band(study)
    said = words.sentence(band, study)
    doubts = [text.replace(" is disputed", "") for text in judgements.disputes(band, study)]
    return f"DISPUTED, {'; '.join(doubts)}. {said}" if doubts else said


def named(target: Target) -> Span:
    """Return what a result is called."""
    return target.label if target.label else Code(target.name)


def _of(output: Output) -> Line:
    """Return of what a value is: a run, a group of runs, or the whole case."""
    if output.run is None:
        return (WHOLE,)
    return (Code(output.run),) if output.group is None else ("group ", Code(output.run))


def _run(output: Output) -> Line:
    """Return the run or group of a value; nothing for the whole case."""
    return () if output.run is None else _of(output)


def _judged(title: str, found: Sequence[judgements.Judgement]) -> Section:
    items = tuple(((f"{each.title}: ", Strong(each.verdict)), each.lines) for each in found)
    return Section(title, (Bullets(items),) if items else (), in_post=True)


# -- results --------------------------------------------------------------------------------------


def _results(study: Study, pictures: Sequence[Picture]) -> Section:
    shown = words.shown(study.bands)
    headline = words.headline_band(study).output.target
    own = [band for band in shown if band.output.target is headline]
    others = [band for band in shown if band.output.target is not headline]
    blocks: list[Block] = [*pictures]
    if len(shown) <= MOST_ROWS:
        blocks.append(_results_table(shown, study))
    else:
        blocks += in_short(_results_table(own, study), ALL_NUMBERS)
    text = (
        "The value is the mean of the trials, or their median where there is no standard "
        "uncertainty; as written is what the numbers give without any spread; on guesses is the "
        "share of the spread that rests on guesses and rules of thumb."
    )
    if any(numbers.value != numbers.by_hand for numbers in map(words.rounded, shown)):
        text += (
            " Where value and as written differ, lopsided spreads and curved formulas have moved "
            "the value."
        )
    blocks.append(Paragraph((text,)))
    if len(shown) > MOST_ROWS and others:
        text = "The other results, each with its lowest and highest value; all of them "
        blocks += [Paragraph((text, *ALL_NUMBERS)), *in_short(_spans(others), ALL_NUMBERS)]
    items = [(line, ()) for line in _boundaries(study)]
    for band in shown:
        for text in judgements.disputes(band, study):
            items.append(((named(band.output.target), ", ", *_of(band.output), f": {text}."), ()))
    if items:
        blocks.append(Bullets(tuple(items)))
    return Section("Results", tuple(blocks), in_post=True)


def _boundaries(study: Study) -> Iterator[Line]:
    """Yield what is counted as put in and got out, and the ceiling, once for results alike."""
    alike: dict[str, list[Span]] = {}
    for target in study.case.targets:
        texts = []
        if target.boundary is not None:
            into, out = target.boundary
            texts.append(f"put in is {into}; got out is {out}")
        if target.ceiling is not None and (target.kind, target.ceiling) != USUAL_CEILING:
            texts.append(f"ceiling: {target.ceiling}")
        if texts:
            alike.setdefault("; ".join(texts), []).append(named(target))
    for text, names in alike.items():
        told = [part for name in names for part in (", ", name)][1:]
        yield (*told, f": {text}.")


def _single_runs(study: Study) -> Section:
    """Return the runs that stand in groups, by themselves."""
    shown = words.shown(study.bands)
    hidden = [band for band in study.bands if not any(band is other for other in shown)]
    rows = in_short(_results_table(hidden, study), ALL_NUMBERS) if hidden else ()
    return Section("The runs of the groups", rows)


def _results_table(bands: Sequence[Band], study: Study) -> Table:
    chance = words.probability(study.settings.probability)
    rows: list[Sequence[Span | Line]] = []
    for band in bands:
        numbers, target = words.rounded(band), band.output.target
        rows.append(
            [
                named(target),
                _run(band.output),
                numbers.with_unit,
                f"{numbers.low} to {numbers.high} {numbers.unit}".rstrip(),
                f"{numbers.half_width} {target.unit.width_symbol}".rstrip(),
                f"{numbers.by_hand} {numbers.unit}".rstrip(),
                words.percent(band.ranking.on_judgement),
            ]
        )
    head = ["result", "run", "value", f"{chance} band", "half-width", "as written", "on guesses"]
    return table(head, rows)


def _spans(bands: Sequence[Band]) -> Table:
    """Return a row for each result: its lowest and its highest value, each with its band."""
    of: dict[str, list[Band]] = {}
    for band in bands:
        of.setdefault(band.output.target.name, []).append(band)
    rows: list[Sequence[Span | Line]] = []
    for found in of.values():
        least, most = min(found, key=words.central), max(found, key=words.central)
        ends = [_with_band(band) for band in ((least, most) if len(found) > 1 else (least,))]
        rows.append([named(least.output.target), *ends, *[""] * (2 - len(ends))])
    return table(["result", "lowest", "highest"], rows)


def _with_band(band: Band) -> Line:
    numbers = words.rounded(band)
    text = f"{numbers.with_unit} ({numbers.low} to {numbers.high})"
    return (*_run(band.output), ": ", text) if band.output.run else (text,)


def _side_by_side(study: Study) -> Section:
    bands = words.side_by_side(study)
    if not bands:
        return Section("", ())
    rows: list[Sequence[Span | Line]] = []
    for band in bands:
        target, cell = band.output.target, words.rounded(band)
        assert target.boundary is not None
        name = named(target)
        if target.name == study.case.headline:
            name = Strong(f"{target.label or target.name} (headline)")
        ends = f"{cell.low} to {cell.high} {cell.unit}"
        rows.append([name, cell.with_unit, ends, *target.boundary])
    where = bands[0].output.where
    title = f"The same machine over other inputs{', ' * bool(where)}{where}"
    chance = words.probability(study.settings.probability)
    found = table(["result", "value", f"{chance} band", "put in", "got out"], rows)
    return Section(title, in_short(found, ALL_NUMBERS))


# -- what would change them -----------------------------------------------------------------------


def _widest(study: Study) -> Section:
    headline = words.headline_band(study)
    found = tuple(_ranking(headline, study, MOST_RANKED)) if headline.ranking.lines else ()
    return Section("What widens it most", found, in_post=True)


def _other_wideners(study: Study) -> Iterator[Section]:
    """Yield what widens the other results: of a few in full, of the rest the widest source."""
    headline = words.headline_band(study)
    others = [band for band in words.shown(study.bands) if band is not headline]
    shown = [band for band in others if band.ranking.lines]
    shown.sort(key=lambda band: band.output.target is not headline.output.target)
    full = shown[:MOST_RANKINGS]
    blocks = [block for band in full for block in _ranking(band, study, MOST_RANKED_BRIEFLY)]
    yield Section("What widens the other bands", tuple(blocks))
    rows: list[Sequence[Span | Line]] = []
    for band in shown[MOST_RANKINGS:]:
        line, unit = band.ranking.lines[0], band.output.target.unit
        width = band.summary.interval.half_width
        left = words.width(line.half_width_without, unit, width / unit.factor)
        rows.append(
            [
                named(band.output.target),
                _run(band.output),
                Code(line.item.name),
                f"{words.width(width, unit)} {unit.width_symbol}".rstrip(),
                f"{left} {unit.width_symbol}".rstrip(),
                words.evidence(band.ranking),
            ]
        )
    head = ["result", "run", "widest source", "half-width", "without it", "spread by evidence"]
    rest = in_short(table(head, rows), ALL_NUMBERS) if rows else ()
    yield Section("What widens the rest most", rest)


def _ranking(band: Band, study: Study, most: int) -> Iterator[Block]:
    unit, full = band.output.target.unit, band.summary.interval.half_width
    decimals = words.decimals_to_tell_apart(full / unit.factor)
    lines = band.ranking.lines
    told = [line for line in lines if line.half_width_without < (1 - LEAST_SAVED) * full]
    told = told[:most] or list(lines[:1])
    rows: list[Sequence[Span | Line]] = []
    for line in told:
        rows.append(
            [
                Code(line.item.name),
                words.fixed(line.half_width_without / unit.factor, decimals),
                "" if line.first_order is None else words.percent(line.first_order.value),
                _parts(line),
                ", ".join(dict.fromkeys(part.evidence for part in line.item.parts)),
            ]
        )
    now = f"{words.width(full, unit)} {unit.width_symbol}".rstrip()
    yield Paragraph((Strong(band.output.title), f", half-width now {now}:"))
    head = ["source", "half-width without it", "share of the variance", "of which", "evidence"]
    yield table(head, rows)
    less = [part for line in lines[len(told) :] for part in (", ", Code(line.item.name))][1:]
    text = f"The spread by evidence: {words.evidence(band.ranking)}."
    yield Paragraph(("What matters less: ", *less, f". {text}") if less else (text,))
    guessed = words.rests_on_guesses(band.ranking)
    if guessed is not None and band is not words.headline_band(study):  # said of that below
        yield Paragraph((Strong(f"{guessed}."),))
    for each in study.advice:
        if each.output == band.output:
            yield Paragraph((f"{words.repeat_advice_words(each, unit)}.",))


def _parts(line: Ranked) -> str:
    """Return the shares of the parts; those of one name are told apart by their evidence."""
    names = [part.name for part in line.parts]
    return ", ".join(
        f"{part.name}{f' ({part.evidence})' * (names.count(part.name) > 1)} "
        f"{words.percent(part.first_order)}"
        for part in line.parts
    )


def _widened(study: Study) -> Section:
    wider = study.widened
    if wider is None:
        return Section("", ())
    title = f"With guesses {wider.factor:g} times as wide"
    if wider.summaries is None:
        return Section(title, (Paragraph((wider.why_not,)),))
    shown = words.shown(study.bands)
    rows: list[Sequence[Span | Line]] = []
    for band, summary in zip(study.bands, wider.summaries, strict=True):
        if any(band is other for other in shown):
            now, then = words.rounded(band), words.rounded(replace(band, summary=summary))
            ends = [f"{each.low} to {each.high} {each.unit}".rstrip() for each in (now, then)]
            rows.append([Code(band.output.title), *ends])
    found = table(["result", "band now", "band then"], rows)
    return Section(title, in_short(found, ALL_NUMBERS))


def _what_ifs(study: Study) -> Section:
    """Return what each half-width would be if instruments' errors ran otherwise."""
    rows: list[Sequence[Span | Line]] = []
    headline = words.headline_band(study)
    shown = words.shown(study.bands)
    for band in sorted(shown, key=lambda band: band is not headline):
        unit, full = band.output.target.unit, band.summary.interval.half_width
        for each in band.what_ifs:
            halves = (full, each.same_all_along, each.own_for_each_reading)
            if band is not headline and all(abs(h - full) < TELLING * full for h in halves):
                continue
            told = (words.width(half, unit, full / unit.factor) for half in halves)
            cells = (f"{text} {unit.width_symbol}".rstrip() for text in told)
            rows.append(
                [Code(each.instrument), named(band.output.target), _run(band.output), *cells]
            )
    if not rows:
        return Section("", ())
    text = (
        "How the error of an instrument runs along its scale is not known. It is taken to change "
        "smoothly; these are the half-widths if it did, if it were the same everywhere, and if "
        "each reading had its own."
    )
    head = ["instrument", "result", "run", "half-width", "same everywhere", "own for each"]
    found = in_short(table(head, rows), ALL_NUMBERS)
    return Section("If errors ran otherwise along the scale", (Paragraph((text,)), *found))


# -- to run it again ------------------------------------------------------------------------------


def _to_run_again(study: Study, carried: Carried, drawn: bool) -> Iterator[Section]:
    """Yield the case, for reading and for running, and what its receipt proves."""
    text = study.case.text.text.rstrip("\n")
    yield Section("The case, to read", (Preformatted(text),), in_post=True)
    told: Line = (
        "This block carries the case, its data and the receipt. Save this report, or a copy of the "
        "post, and run ",
        Code("effband recheck FILE"),
        ": it runs the case again and compares every printed number and word, but no picture "
        "unless the same versions drew it.",
    )
    proof = f"Receipt {carried.stamp}{', in the figures as well' * drawn}. {HONESTY}"
    blocks = (Paragraph(told), Paragraph((proof,)), Preformatted(carried.block))
    yield Section("The case, to run again", blocks, in_post=True)
