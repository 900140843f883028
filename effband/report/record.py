"""What a report says of how the numbers came about: what was given, guessed, read and done."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence

from effband.case.model import Leaf, Settings
from effband.case.values import JUDGED
from effband.evidence.distributions import Distribution
from effband.report import words
from effband.report.blocks import (
    MOST_ROWS,
    Block,
    Bullets,
    Code,
    Line,
    Paragraph,
    Section,
    Span,
    Strong,
    bullets,
    table,
)
from effband.study import Study

SHARED = ", shared with its other readings"
MOST_ACROSS = 80  # letters of a table of readings, on a printed page
MOST_NAMED = 6  # in one sentence
MOST_IN_POST = 12  # readings
ALSO = "also"  # so begins the role of what a number has beside the error of its instrument
IDLE = 0.01  # of its own spread, to which the mean of such a part is no correction


def guessed(study: Study) -> Section:
    """Return what nobody measured or looked up, and what nobody said."""
    known, laws = _evidence(study), {each.name: each.distribution for each in study.case.sources}
    items: list[tuple[Line, tuple[str, ...]]] = []
    unstated: dict[str, None] = {}
    told: set[str] = set()
    for leaf in study.case.leaves:
        if "unstated" in known[leaf]:
            unstated[leaf.name] = None
        if leaf.name in told or not set(known[leaf]) & set(JUDGED):
            continue
        told.add(leaf.name)
        by = (" with ", Code(leaf.instrument)) if leaf.instrument else ()
        items.append(((Code(leaf.name), *by, f": {_guess(leaf, known[leaf], laws)}"), ()))
    ranking = words.headline_band(study).ranking
    of = f"Of the spread of {words.headline_band(study).output.title}, "
    text = f"{words.percent(ranking.on_judgement)} rests on guesses and rules of thumb."
    told_first: Span = Strong(text) if words.rests_on_guesses(ranking) else text
    blocks: list[Block] = [Paragraph((of, told_first))]
    if not items:
        blocks = [Paragraph(("No number was declared a guess or a rule of thumb.",))]
    for share, on, names in words.stated_only(ranking):
        named = [part for name in names for part in (", ", Code(name))][1:]
        blocks.append(Paragraph((of, f"{share} rests on {on}: ", *named, ".")))
    if unstated:
        items.append(((f"Nobody said how these are known: {', '.join(unstated)}.",), ()))
    if items:
        blocks.append(Bullets(tuple(items)))
    return Section("What was guessed or only stated", tuple(blocks), in_post=True)


def _guess(leaf: Leaf, known: Sequence[str], laws: Mapping[str, Distribution]) -> str:
    """Return what of a number is guessed; the errors of its instrument stand beside that."""
    judged = [pair for pair in zip(leaf.components, known, strict=False) if pair[1] in JUDGED]
    evidence = ", ".join(dict.fromkeys(kind for _, kind in judged)) or known[0]
    own = [
        f"{part.words}{_correction(leaf, laws.get(part.sources[0])) * part.role.startswith(ALSO)}"
        for part, _ in judged
        if leaf.instrument is None or part.role.startswith(ALSO)
    ]
    if not own:
        return evidence
    value = f"{_value(leaf)}, " if leaf.run is None else ""
    note = f" ({leaf.note})" if leaf.note else ""
    return f"{value}{'; '.join(own)}{note}; {evidence}"


def _correction(leaf: Leaf, law: Distribution | None) -> str:
    """Return by how much a number is moved by what is added to it; nothing where it is not."""
    if law is None or law.mean is None or abs(law.mean) <= IDLE * (law.sd or 0.0):
        return ""
    moved = words.width(law.mean, leaf.unit, abs(law.mean) / leaf.unit.factor)
    mean = f"{moved} {leaf.unit.width_symbol}".rstrip()
    return f", a correction that moves the value itself, by {mean} in the mean"


def _evidence(study: Study) -> dict[Leaf, tuple[str, ...]]:
    """Return the evidence of each component of what was given; an exact number has its own."""
    of = {source.name: source.evidence for source in study.case.sources}
    return {
        leaf: tuple(
            next((of[name] for name in component.sources if name in of), leaf.evidence)
            for component in leaf.components
        )
        or (leaf.evidence,)
        for leaf in study.case.leaves
    }


def inputs(study: Study) -> Section:
    """Return the inputs, each with how well it is known."""
    rows: list[Sequence[Span | Line]] = [
        [Code(leaf.name), _value(leaf), *cells] for leaf, *cells in _known(study, "inputs")
    ]
    head = ["input", "value", "instrument", "spread", "evidence"]
    return Section("Inputs", (table(head, rows),) if rows else (), in_post=True)


def readings(study: Study) -> Section:
    """Return how each reading was taken, and the instruments."""
    known = _known(study, "readings")
    rows: list[Sequence[Span | Line]] = [[Code(leaf.name), *cells] for leaf, *cells in known]
    blocks: list[Block] = []
    if rows:
        spread = f"spread in run {known[0][0].run}"
        blocks.append(table(["reading", "instrument", spread, "evidence"], rows))
    instruments = study.case.instruments
    if instruments:
        blocks.append(Bullets(tuple(((Code(n), f": {t}"), ()) for n, t in instruments)))
    return Section("Readings and instruments", tuple(blocks), 0 < len(rows) <= MOST_IN_POST)


def _known(study: Study, section: str) -> list[tuple[Leaf, Span, str, str]]:
    """Return each input, or each reading of the first run: instrument, spread and evidence.

    A note may stand in any run.
    """
    leaves = [leaf for leaf in study.case.leaves if leaf.section == section]
    notes = {leaf.name: f" ({leaf.note})" for leaf in reversed(leaves) if leaf.note}
    evidence = _evidence(study)
    read = Counter(leaf.instrument for leaf in study.case.leaves if leaf.components)
    first: dict[str, Leaf] = {}
    for leaf in leaves:
        first.setdefault(leaf.name, leaf)
    return [
        (
            leaf,
            Code(leaf.instrument) if leaf.instrument else "",
            f"{_spread(leaf, evidence[leaf], read[leaf.instrument] > 1)}{notes.get(name, '')}",
            ", ".join(dict.fromkeys(evidence[leaf])),
        )
        for name, leaf in first.items()
    ]


def _spread(leaf: Leaf, evidence: Sequence[str], shared: bool) -> str:
    """Return how uncertain a number is; what rests on different evidence says on which.

    `shared` is whether its instrument took other readings as well.
    """
    several = len(set(evidence)) > 1
    return (
        "; ".join(
            f"{component.words}{SHARED * (shared and component.role == 'common')}"
            f"{f' ({known})' * several}"
            for component, known in zip(leaf.components, evidence, strict=False)
        )
        or "exact"
    )


def _value(leaf: Leaf) -> str:
    return f"{leaf.unit.from_si(leaf.value):.10g} {leaf.unit.symbol}".rstrip()


def left_out(study: Study) -> Section:
    """Return what is not in the numbers."""
    case = study.case
    texts = []
    logged = [name for name, entry in case.file.inputs.items() if entry.log_only]
    if logged:
        texts.append(f"Kept for the log only: {', '.join(logged)}.")
    exact = [leaf.name for leaf in case.leaves if not leaf.components and leaf.name not in logged]
    if exact:
        texts.append(f"Taken as exact: {', '.join(dict.fromkeys(exact))}.")
    texts.append(
        "A band covers what was declared and nothing else: no blunder, no reading of the wrong "
        "thing, no loss or energy that the boundary leaves out."
    )
    return bullets("What is not in the numbers", texts, in_post=True)


def method(study: Study) -> Section:
    """Return how the numbers were worked out, and with what."""
    settings = study.settings
    versions = ", ".join(f"{name} {number}" for name, number in study.versions)
    return bullets(
        "Method",
        [
            f"{settings.trials} Monte Carlo trials of all formulas (JCGM 101:2008)"
            f"{_drawn(settings)}, seed {settings.seed}; the band leaves equal probability on each "
            "side. Claims are judged on the trials (JCGM 106:2012).",
            "The readings of one instrument share one error curve; steps of the display or the "
            "dial are drawn afresh for each reading.",
            f"First-order law (JCGM 100:2008) beside it: {_first_order(study)}.",
            "Half-width without a source: it is held at one draw, the others vary, averaged over "
            "64 stratified draws. Shares of the variance: Sobol indices of first order.",
            f"Case sha256 {study.case.text.sha256[:16]}; {versions}.",
        ],
    )


def _first_order(study: Study) -> str:
    """Return what the first-order law says of most results, and of the others by name."""
    told: dict[str, list[str]] = {}
    for band in study.bands:
        told.setdefault(words.agreement_words(band), []).append(band.output.title)
    usual = max(told, key=lambda text: len(told[text]), default="")
    text = usual
    for other, names in told.items():
        if other != usual:
            more = len(names) - MOST_NAMED
            rest = f" and {more} more" * (more > 0)
            text += f"; {', '.join(names[:MOST_NAMED])}{rest}: {other}"
    return text


def _drawn(settings: Settings) -> str:
    """Return how trials were drawn and ended, where that is not the usual way."""
    if settings.sampling == "quasi":
        return ", drawn as Sobol points in 16 scramblings"
    return ", as many as its digits took" if settings.adaptive else ""


# -- the log --------------------------------------------------------------------------------------


def log(study: Study) -> Section:
    """Return the readings as they were logged, groups, files and what else was noted."""
    case = study.case
    blocks: list[Block] = [*_logged(study)]
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


def _logged(study: Study) -> list[Block]:
    """Return the readings of the runs, some columns at a time."""
    leaves = [leaf for leaf in study.case.leaves if leaf.section == "readings"]
    runs = list(dict.fromkeys(leaf.run for leaf in leaves))
    names = list(dict.fromkeys(leaf.name for leaf in leaves))
    cell = {(leaf.name, leaf.run): _value(leaf) for leaf in leaves}
    blocks: list[Block] = []
    for some in _beside_each_other(names, cell):
        rows: list[Sequence[Span | Line]] = [
            [Code(str(run)), *(cell.get((name, run), "") for name in some)]
            for run in runs[:MOST_ROWS]
        ]
        blocks.append(table(["run", *map(Code, some)], rows))
    if len(runs) > MOST_ROWS:
        more = len(runs) - MOST_ROWS
        blocks.append(Paragraph((f"{more} more runs stand in the case that this report carries.",)))
    return blocks


def _beside_each_other(
    names: Sequence[str], cell: Mapping[tuple[str, str | None], str]
) -> Iterator[list[str]]:
    """Yield columns that stand in one table."""
    wide = {name: len(name) for name in names}
    for (name, _), text in cell.items():
        wide[name] = max(wide[name], len(text))
    some: list[str] = []
    for name in names:
        if some and sum(wide[other] + 2 for other in (*some, name)) > MOST_ACROSS:
            yield some
            some = []
        some.append(name)
    if some:
        yield some


def formulas(study: Study) -> Section:
    """Return every formula, as written."""
    lines: list[Line] = [(Code(f"{name} = {text}"),) for name, text, _ in study.case.formulas]
    lines += [
        ("result ", Code(f"{target.name} = {target.formula}")) for target in study.case.targets
    ]
    return Section("Formulas", (Bullets(tuple((line, ()) for line in lines)),))
