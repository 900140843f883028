"""What a report says and in what order, once for all its faces: text, no marks of any format.

First what a reader sees first: the sentence, what fails, the claims. Then where the numbers
come from, what was left out and taken for granted, and last the log and what it takes to run
it again.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from effband.case.model import Leaf, Output, Settings, Target
from effband.report import judgements, words
from effband.report.cautions import cautions
from effband.report.receipt import HONESTY
from effband.report.screen import WHOLE, what_if_words
from effband.study import Band, Study

MOST_RANKINGS = 6  # in full; of more, the rest stands in one table


@dataclass(frozen=True)
class Code:
    """A name or a formula."""

    text: str


@dataclass(frozen=True)
class Strong:
    """What counts more than what stands beside it."""

    text: str


Span = str | Code | Strong
Line = tuple[Span, ...]  # of a user's text, or ours; each face makes it safe


@dataclass(frozen=True)
class Paragraph:
    """One paragraph."""

    line: Line


@dataclass(frozen=True)
class Bullets:
    """Items, each a line and what stands under it."""

    items: tuple[tuple[Line, tuple[str, ...]], ...]


@dataclass(frozen=True)
class Table:
    """A table: the heads of its columns, and its rows, one line for each cell."""

    head: tuple[Line, ...]
    rows: tuple[tuple[Line, ...], ...]


@dataclass(frozen=True)
class Picture:
    """A figure: its file name, and the words that stand for it."""

    file: str
    alt: str


@dataclass(frozen=True)
class Preformatted:
    """Text whose lines and blanks count, such as the case."""

    text: str


Block = Paragraph | Bullets | Table | Picture | Preformatted


@dataclass(frozen=True)
class Section:
    """A heading and what stands under it; `in_post` where a short post has it too."""

    title: str
    blocks: tuple[Block, ...]
    in_post: bool = False


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


@dataclass(frozen=True)
class Report:
    """A whole report."""

    title: str
    cautions: tuple[str, ...]
    sentence: str
    sections: tuple[Section, ...]


def report(
    study: Study, pictures: Sequence[Picture] = (), carried: Carried | None = None
) -> Report:
    """Return what is to be reported of a study.

    `pictures` are the figures that are written beside it; the first stands at the top.
    """
    case = study.case
    checks = [judgements.cross_check(each) for each in study.cross_checks]
    sections = [
        Section("", tuple(pictures[:1])),
        _judged("Cross-checks that fail", [each for each in checks if each.bad]),
        _judged("Claims", [judgements.claim(verdict) for verdict in study.claims]),
        _results(study, pictures[1:]),
        _side_by_side(study),
        _inputs(study),
        _reading_of(study),
        *_wideners(study),
        _widened(study),
        _left_out(study),
        _bullets("Mind", [f"{each.what}: {each.remedy}." for each in words.all_remarks(study)]),
        _bullets("Taken for granted", _taken_for_granted(study)),
        _judged("Cross-checks", [each for each in checks if not each.bad]),
        _method(study),
        _log(study),
        _single_runs(study),
        _formulas(study),
        *([] if carried is None else _to_run_again(study, carried)),
    ]
    return Report(
        case.title,
        tuple(cautions(case.hazards, tuple(call.function for call in case.program.calls))),
        words.sentence(words.headline_band(study), study),
        tuple(section for section in sections if section.blocks),
    )


def _bullets(title: str, texts: Sequence[str]) -> Section:
    items = tuple(((text,), ()) for text in texts)
    return Section(title, (Bullets(items),) if items else ())


def _table(head: Sequence[str], rows: Sequence[Sequence[Span | Line]]) -> Table:
    """Return a table; a cell may be one span or several."""
    return Table(
        tuple((text,) for text in head),
        tuple(tuple(c if isinstance(c, tuple) else (c,) for c in row) for row in rows),
    )


def named(target: Target) -> Span:
    """Return what a result is called."""
    return target.label if target.label else Code(target.name)


def _of(output: Output) -> Line:
    """Return of what a value is: a run, a group of runs, or the whole case."""
    if output.run is None:
        return (WHOLE,)
    return (Code(output.run),) if output.group is None else ("group ", Code(output.run))


def _judged(title: str, found: Sequence[judgements.Judgement]) -> Section:
    items = tuple(((f"{each.title}: ", Strong(each.verdict)), each.lines) for each in found)
    return Section(title, (Bullets(items),) if items else (), in_post=True)


# -- results --------------------------------------------------------------------------------------


def _results(study: Study, pictures: Sequence[Picture]) -> Section:
    shown = words.shown(study.bands)
    blocks: list[Block] = [*pictures, _results_table(shown, study)]
    blocks.append(
        Paragraph(
            (
                "The value is the mean of the trials, or their median where there is no standard "
                "uncertainty; by hand is what the numbers as written give; on guesses is the "
                "share of the spread that rests on guesses and rules of thumb.",
            )
        )
    )
    items: list[tuple[Line, tuple[str, ...]]] = []
    for target in study.case.targets:
        if target.boundary is not None:
            into, out = target.boundary
            items.append(((named(target), f": put in is {into}; got out is {out}."), ()))
    for band in shown:
        for text in judgements.disputes(band, study):
            items.append(((named(band.output.target), ", ", *_of(band.output), f": {text}."), ()))
    if items:
        blocks.append(Bullets(tuple(items)))
    return Section("Results", tuple(blocks), in_post=True)


def _single_runs(study: Study) -> Section:
    """Return the runs that stand in groups, by themselves."""
    shown = words.shown(study.bands)
    hidden = [band for band in study.bands if not any(band is other for other in shown)]
    blocks = (_results_table(hidden, study),) if hidden else ()
    return Section("The runs of the groups", blocks)


def _results_table(bands: Sequence[Band], study: Study) -> Table:
    chance = words.probability(study.settings.probability)
    rows: list[Sequence[Span | Line]] = []
    for band in bands:
        numbers, target = words.rounded(band), band.output.target
        rows.append(
            [
                named(target),
                _of(band.output),
                numbers.with_unit,
                f"{numbers.low} to {numbers.high} {numbers.unit}".rstrip(),
                f"{numbers.half_width} {target.unit.width_symbol}".rstrip(),
                f"{numbers.by_hand} {numbers.unit}".rstrip(),
                words.percent(band.ranking.on_judgement),
            ]
        )
    head = ["result", "run", "value", f"{chance} band", "half-width", "by hand", "on guesses"]
    return _table(head, rows)


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
    return Section(
        title, (_table(["result", "value", f"{chance} band", "put in", "got out"], rows),)
    )


# -- where the numbers come from ------------------------------------------------------------------


def _inputs(study: Study) -> Section:
    leaves = [leaf for leaf in study.case.leaves if leaf.section == "inputs"]
    rows: list[Sequence[Span | Line]] = []
    for leaf in leaves:
        note = f" ({leaf.note})" if leaf.note else ""
        by = Code(leaf.instrument) if leaf.instrument else ""
        rows.append([Code(leaf.name), _value(leaf), by, f"{_spread(leaf)}{note}", leaf.evidence])
    head = ["input", "value", "instrument", "spread", "evidence"]
    return Section("Inputs", (_table(head, rows),) if rows else (), in_post=True)


def _spread(leaf: Leaf) -> str:
    return "; ".join(component.words for component in leaf.components) or "exact"


def _value(leaf: Leaf) -> str:
    return f"{leaf.unit.from_si(leaf.value):.10g} {leaf.unit.symbol}".rstrip()


def _reading_of(study: Study) -> Section:
    """Return how each reading was taken, and the instruments."""
    case = study.case
    rows: list[Sequence[Span | Line]] = []
    first: dict[str, Leaf] = {}
    for leaf in case.leaves:
        if leaf.section == "readings":
            first.setdefault(leaf.name, leaf)
    notes = {leaf.name: leaf.note for leaf in case.leaves if leaf.note}
    for name, leaf in first.items():
        note = f" ({notes[name]})" if name in notes else ""
        by = Code(leaf.instrument) if leaf.instrument else ""
        spread = f"{_spread(leaf)}{note}"
        rows.append([Code(name), by, spread, leaf.evidence])
    blocks: list[Block] = []
    if rows:
        run = next(iter(first.values())).run
        blocks.append(_table(["reading", "instrument", f"spread in run {run}", "evidence"], rows))
    if case.instruments:
        blocks.append(Bullets(tuple(((Code(n), f": {t}"), ()) for n, t in case.instruments)))
    return Section("Readings and instruments", tuple(blocks))


def _wideners(study: Study) -> Iterator[Section]:
    """Yield what widens the headline, then what widens the other results."""
    headline = words.headline_band(study)
    others = [band for band in words.shown(study.bands) if band is not headline]
    shown = [band for band in others if band.ranking.lines]
    shown.sort(key=lambda band: band.output.target is not headline.output.target)
    if headline.ranking.lines:
        yield Section("What widens it most", tuple(_ranking(headline, study)), in_post=True)
    blocks = [block for band in shown[:MOST_RANKINGS] for block in _ranking(band, study)]
    yield Section("What widens the other bands", tuple(blocks))
    rows: list[Sequence[Span | Line]] = []
    for band in shown[MOST_RANKINGS:]:
        line, unit = band.ranking.lines[0], band.output.target.unit
        full = band.summary.interval.half_width
        left = words.width(line.half_width_without, unit, full / unit.factor)
        rows.append(
            [
                named(band.output.target),
                _of(band.output),
                Code(line.item.name),
                f"{words.width(full, unit)} {unit.width_symbol}".rstrip(),
                f"{left} {unit.width_symbol}".rstrip(),
                words.evidence(band.ranking),
            ]
        )
    head = ["result", "run", "widest source", "half-width", "without it", "spread by evidence"]
    yield Section("What widens the rest most", (_table(head, rows),) if rows else ())


def _ranking(band: Band, study: Study) -> Iterator[Block]:
    unit, full = band.output.target.unit, band.summary.interval.half_width
    decimals = words.decimals_to_tell_apart(full / unit.factor)
    rows: list[Sequence[Span | Line]] = []
    for line in band.ranking.lines:
        rows.append(
            [
                Code(line.item.name),
                words.fixed(line.half_width_without / unit.factor, decimals),
                "" if line.first_order is None else words.percent(line.first_order.value),
                ", ".join(f"{p.name} {words.percent(p.first_order)}" for p in line.parts),
                ", ".join(dict.fromkeys(part.evidence for part in line.item.parts)),
            ]
        )
    now = f"{words.width(full, unit)} {unit.width_symbol}".rstrip()
    yield Paragraph((Strong(band.output.title), f", half-width now {now}:"))
    head = ["source", "half-width without it", "share of the variance", "of which", "evidence"]
    yield _table(head, rows)
    yield Paragraph((f"The spread by evidence: {words.evidence(band.ranking)}.",))
    guessed = words.rests_on_guesses(band.ranking)
    if guessed is not None:
        yield Paragraph((Strong(f"{guessed}."),))
    for each in study.advice:
        if each.output == band.output:
            yield Paragraph((f"{words.repeat_advice_words(each, unit)}.",))


def _widened(study: Study) -> Section:
    wider = study.widened
    if wider is None:
        return Section("", ())
    title = f"With guesses {wider.factor:g} times as wide"
    if wider.summaries is None:
        return Section(title, (Paragraph((wider.why_not,)),))
    rows: list[Sequence[Span | Line]] = []
    for band, summary in zip(study.bands, wider.summaries, strict=True):
        now, then = words.rounded(band), words.rounded(replace(band, summary=summary))
        ends = [f"{each.low} to {each.high} {each.unit}".rstrip() for each in (now, then)]
        rows.append([Code(band.output.title), *ends])
    return Section(title, (_table(["result", "band now", "band then"], rows),))


# -- what a reader must know ----------------------------------------------------------------------


def _left_out(study: Study) -> Section:
    """Return what is not in the numbers."""
    case = study.case
    inputs = case.file.inputs
    texts = []
    logged = [name for name, entry in inputs.items() if entry.log_only]
    if logged:
        texts.append(f"Kept for the log only: {', '.join(logged)}.")
    exact = [leaf.name for leaf in case.leaves if not leaf.components and leaf.name not in logged]
    if exact:
        texts.append(f"Taken as exact: {', '.join(dict.fromkeys(exact))}.")
    texts.append(
        "A band covers what was declared and nothing else: no blunder, no reading of the wrong "
        "thing, no loss or energy that the boundary leaves out."
    )
    return _bullets("What is not in the numbers", texts)


def _taken_for_granted(study: Study) -> list[str]:
    found = list(study.case.assumptions)
    for band in words.shown(study.bands):
        found += what_if_words(band)
    return [f"{text}." for text in found]


def _method(study: Study) -> Section:
    settings = study.settings
    versions = ", ".join(f"{name} {number}" for name, number in study.versions)
    told: dict[str, list[str]] = {}
    for band in study.bands:
        told.setdefault(words.agreement_words(band), []).append(band.output.title)
    usual = max(told, key=lambda text: len(told[text]), default="")
    others = "".join(f"; {', '.join(names)}: {t}" for t, names in told.items() if t != usual)
    return _bullets(
        "Method",
        [
            f"{settings.trials} Monte Carlo trials of all formulas (JCGM 101:2008)"
            f"{_drawn(settings)}, seed {settings.seed}; the band leaves equal probability on each "
            "side. Claims are judged on the trials (JCGM 106:2012).",
            "The readings of one instrument share one error curve; steps of the display or the "
            "dial are drawn afresh for each reading.",
            f"First-order law (JCGM 100:2008) beside it: {usual}{others}.",
            "Half-width without a source: it is held at one draw, the others vary, averaged over "
            "64 stratified draws. Shares of the variance: Sobol indices of first order.",
            f"Case sha256 {study.case.text.sha256[:16]}; {versions}.",
        ],
    )


def _drawn(settings: Settings) -> str:
    """Return how trials were drawn and ended, where that is not the usual way."""
    if settings.sampling == "quasi":
        return ", drawn as Sobol points in 16 scramblings"
    return ", as many as its digits took" if settings.adaptive else ""


# -- the log --------------------------------------------------------------------------------------


def _log(study: Study) -> Section:
    case = study.case
    leaves = [leaf for leaf in case.leaves if leaf.section == "readings"]
    runs = list(dict.fromkeys(leaf.run for leaf in leaves))
    names = list(dict.fromkeys(leaf.name for leaf in leaves))
    cell = {(leaf.name, leaf.run): _value(leaf) for leaf in leaves}
    blocks: list[Block] = []
    if runs:
        rows: list[Sequence[Span | Line]] = [
            [Code(str(run)), *(cell.get((name, run), "") for name in names)] for run in runs
        ]
        head: tuple[Line, ...] = (("run",), *((Code(name),) for name in names))
        blocks.append(replace(_table([], rows), head=head))
    texts: list[Line] = [
        ("group ", Code(group.name), f": {words.group(group)}") for group in case.groups
    ]
    texts += [
        (f"numbers from {file.name}: {file.rows} rows, sha256 {file.sha256[:16]}",)
        for file in case.data
    ]
    texts += [(f"{key}: {text}",) for key, text in case.about]
    if texts:
        blocks.append(Bullets(tuple((line, ()) for line in texts)))
    return Section("Log", tuple(blocks))


def _formulas(study: Study) -> Section:
    lines: list[Line] = [(Code(f"{name} = {text}"),) for name, text, _ in study.case.formulas]
    lines += [
        ("result ", Code(f"{target.name} = {target.formula}")) for target in study.case.targets
    ]
    return Section("Formulas", (Bullets(tuple((line, ()) for line in lines)),))


# -- to run it again ------------------------------------------------------------------------------


def _to_run_again(study: Study, carried: Carried) -> Iterator[Section]:
    """Yield the case, for reading and for running, and what its receipt proves."""
    text = study.case.text.text.rstrip("\n")
    yield Section("The case, to read", (Preformatted(text),), in_post=True)
    told = (
        "This block carries the case, its data and the receipt. Save this report, or a copy of the "
        "post, and run `effband recheck FILE`: it runs the case again and compares every number.",
        f"Receipt {carried.stamp}, in the figures as well. {HONESTY}",
    )
    blocks: list[Block] = [Paragraph((sentence,)) for sentence in told]
    blocks.append(Preformatted(carried.block))
    yield Section("The case, to run again", tuple(blocks), in_post=True)
