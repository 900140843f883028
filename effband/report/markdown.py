"""The study as one Markdown page.

All text of the user's goes through `escape`, which leaves nothing that Markdown or HTML could
take for a mark: every character but letters, digits and a few harmless ones becomes a numeric
entity.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace

from effband.case.model import Leaf, Output, Settings, Target
from effband.problems import printable
from effband.report import judgements, words
from effband.report.cautions import cautions
from effband.report.screen import what_if_words
from effband.study import Band, Study

_MARKS = re.compile(r"[^A-Za-z0-9_ .,;:%()/+='\"\u00a0-\uffff-]|(?<![A-Za-z0-9])_|_(?![A-Za-z0-9])")
MARK = "<!-- written by effband -->"


def escape(text: str) -> str:
    """Return text that stands for itself in a Markdown paragraph or table cell."""
    one_line = " ".join(printable(text.replace("\n", " ").replace("\t", " ")).split())
    safe = _MARKS.sub(_entities, one_line)
    # a mark at the start of a line makes a list or a heading, "www." a link
    safe = re.sub(
        r"^([-+=:]|[0-9]{1,9}[.)](?= |$))", lambda m: "".join(f"&#{ord(c)};" for c in m[0]), safe
    )
    # an empty comment keeps an address or a scheme from being made a link
    safe = safe.replace("&#64;", "&#64;<!-- -->")
    return re.sub(r"(?i)(https?|ftp|mailto|xmpp|www)([:.])", r"\1<!-- -->\2", safe)


def _entities(match: re.Match[str]) -> str:
    return "".join(f"&#{ord(character)};" for character in match[0])


def code(text: str) -> str:
    """Return a name or a formula as code; their alphabets hold no backtick and no bar."""
    return f"`{' '.join(text.split())}`"


def markdown(study: Study, figure: str | None) -> str:
    """Return the report; `figure` is the file name of the picture beside it."""
    case = study.case
    lines = [MARK, f"# {escape(case.title)}", ""]
    notes = cautions(case.hazards, tuple(call.function for call in case.program.calls))
    if notes:
        lines += ["**Cautions.**", ""] + [f"- {escape(note)}" for note in notes] + [""]
    band = words.headline_band(study)
    if band is not None:
        lines += [f"**{escape(words.sentence(band, study))}**", ""]
    if figure is not None and band is not None:
        alt = escape(words.sentence(band, study)).replace("[", "(").replace("]", ")")
        lines += [f"![{alt}]({figure})", ""]
    lines += [*_judged(study), *_results(study), *_side_by_side(study)]
    lines += [*_wideners(study), *_widened(study)]
    lines += _mind(study)
    lines += [*_inputs(study), *_readings(study), *_single_runs(study)]
    lines += [*_formulas(study), *_method(study)]
    return "\n".join(lines).rstrip() + "\n"


def _named(target: Target) -> str:
    return escape(target.label) if target.label else code(target.name)


def _of(output: Output) -> str:
    """Return of what a value is: a run, a group of runs, or the whole case."""
    if output.run is None:
        return "whole case"
    return code(output.run) if output.group is None else f"group {code(output.run)}"


def _table(head: list[str], rows: list[list[str]]) -> list[str]:
    return [
        "| " + " | ".join(head) + " |",
        "|" + "---|" * len(head),
        *("| " + " | ".join(row) + " |" for row in rows),
        "",
    ]


def _results(study: Study) -> list[str]:
    shown = words.shown(study.bands)
    lines = ["## Results", "", *_results_table(shown, study)]
    lines += [
        "The value is the mean of the trials, or their median where there is no standard "
        "uncertainty; *by hand* is what the numbers as written give; "
        "*on guesses* is the share of the spread that rests on guesses and rules of thumb.",
        "",
    ]
    for target in study.case.targets:
        if target.boundary is not None:
            into, out = (escape(text) for text in target.boundary)
            name = _named(target)
            lines.append(f"- {name}: put in is {into}; got out is {out}.")
    disputed = [
        f"- {_named(band.output.target)}, {_of(band.output)}: {escape(text)}."
        for band in shown
        for text in judgements.disputes(band, study)
    ]
    return [*lines, *disputed, ""]


def _judged(study: Study) -> list[str]:
    """Return claims and cross-checks, what fails first."""
    checks = sorted(
        (judgements.cross_check(c) for c in study.cross_checks), key=lambda c: not c.bad
    )
    sections = {
        "Cross-checks": checks,
        "Claims": [judgements.claim(verdict) for verdict in study.claims],
    }
    lines = []
    for heading in sections if any(c.bad for c in checks) else reversed(sections):
        if sections[heading]:
            lines += [f"## {heading}", ""]
        for each in sections[heading]:
            lines += [f"- {escape(each.title)}: **{escape(each.verdict)}**"]
            lines += [f"    - {escape(text)}" for text in each.lines]
        lines += [""] if sections[heading] else []
    return lines


def _single_runs(study: Study) -> list[str]:
    """Return the runs that stand in groups, by themselves."""
    shown = words.shown(study.bands)
    hidden = [band for band in study.bands if not any(band is other for other in shown)]
    return ["## The runs of the groups", "", *_results_table(hidden, study)] if hidden else []


def _results_table(bands: Sequence[Band], study: Study) -> list[str]:
    chance = words.probability(study.settings.probability)
    rows = []
    for band in bands:
        numbers = words.rounded(band)
        target = band.output.target
        half = f"{numbers.half_width} {target.unit.width_symbol}".rstrip()
        rows.append(
            [
                _named(target),
                _of(band.output),
                escape(numbers.with_unit),
                escape(f"{numbers.low} to {numbers.high} {numbers.unit}"),
                escape(half),
                escape(f"{numbers.by_hand} {numbers.unit}"),
                escape(words.percent(band.ranking.on_judgement)),
            ]
        )
    head = ["result", "run", "value", f"{chance} band", "half-width", "by hand", "on guesses"]
    return _table(head, rows)


def _wideners(study: Study) -> list[str]:
    lines = ["## What widens each band", ""]
    for band in words.shown(study.bands):
        if not band.ranking.lines:
            continue
        unit = band.output.target.unit
        full = band.summary.interval.half_width
        decimals = words.decimals_to_tell_apart(full / unit.factor)
        rows = []
        for line in band.ranking.lines:
            without = words.fixed(line.half_width_without / unit.factor, decimals)
            share = "" if line.first_order is None else words.percent(line.first_order.value)
            parts = ", ".join(f"{p.name} {words.percent(p.first_order)}" for p in line.parts)
            evidence = ", ".join(dict.fromkeys(part.evidence for part in line.item.parts))
            cells = [escape(x) for x in (without, share, parts, evidence)]
            rows.append([code(line.item.name), *cells])
        symbol = unit.width_symbol
        now = f"{words.width(full, unit)} {symbol}".rstrip()
        lines += [f"**{code(band.output.title)}**, half-width now {escape(now)}:", ""]
        head = ["source", "half-width without it", "share of the variance", "of which", "evidence"]
        lines += _table(head, rows)
        lines += [f"The spread by evidence: {escape(words.evidence(band.ranking))}."]
        guessed = words.rests_on_guesses(band.ranking)
        lines += [f"**{escape(guessed)}.**"] if guessed is not None else []
        lines.append("")
    return lines


def _side_by_side(study: Study) -> list[str]:
    bands = words.side_by_side(study)
    if not bands:
        return []
    rows = []
    for band in bands:
        target, cell = band.output.target, words.rounded(band)
        name = _named(target)
        assert target.boundary is not None
        into, out = (escape(text) for text in target.boundary)
        ends = escape(f"{cell.low} to {cell.high} {cell.unit}")
        mark = f"**{name}** (headline)" if target.name == study.case.headline else name
        rows.append([mark, escape(cell.with_unit), ends, into, out])
    where = _of(bands[0].output) if bands[0].output.run else ""
    lines = [f"## The same machine over other inputs{', ' * bool(where)}{where}", ""]
    chance = words.probability(study.settings.probability)
    return [*lines, *_table(["result", "value", f"{chance} band", "put in", "got out"], rows)]


def _widened(study: Study) -> list[str]:
    wider = study.widened
    if wider is None:
        return []
    rows = []
    if wider.summaries is None:
        return [f"## With guesses {wider.factor:g} times as wide", "", escape(wider.why_not), ""]
    for band, summary in zip(study.bands, wider.summaries, strict=True):
        now, then = words.rounded(band), words.rounded(replace(band, summary=summary))
        rows.append(
            [
                code(band.output.title),
                escape(f"{now.low} to {now.high} {now.unit}"),
                escape(f"{then.low} to {then.high} {then.unit}"),
            ]
        )
    lines = [f"## With guesses {wider.factor:g} times as wide", ""]
    return [*lines, *_table(["result", "band now", "band then"], rows)]


def _mind(study: Study) -> list[str]:
    lines = []
    remarks = words.all_remarks(study)
    if remarks:
        lines += ["## Mind", ""]
        lines += [f"- {escape(remark.what)}: {escape(remark.remedy)}." for remark in remarks]
        lines.append("")
    assumed = list(study.case.assumptions)
    for band in words.shown(study.bands):
        assumed += what_if_words(band)
    if assumed:
        lines += ["## Taken for granted", ""]
        lines += [f"- {escape(text)}." for text in assumed]
        lines.append("")
    return lines


def _inputs(study: Study) -> list[str]:
    leaves = [leaf for leaf in study.case.leaves if leaf.section == "inputs"]
    if not leaves:
        return []
    rows = []
    for leaf in leaves:
        spread = "; ".join(component.words for component in leaf.components) or "exact"
        rows.append([code(leaf.name), *(escape(x) for x in (_value(leaf), spread, leaf.evidence))])
        if leaf.note:
            rows[-1][2] += f" ({escape(leaf.note)})"
    return ["## Inputs", "", *_table(["input", "value", "spread", "evidence"], rows)]


def _readings(study: Study) -> list[str]:
    leaves = [leaf for leaf in study.case.leaves if leaf.section == "readings"]
    if not leaves:
        return []
    runs = list(dict.fromkeys(leaf.run for leaf in leaves))
    names = list(dict.fromkeys(leaf.name for leaf in leaves))
    cell = {(leaf.name, leaf.run): leaf for leaf in leaves}
    rows = []
    for name in names:
        values = [cell.get((name, run)) for run in runs]
        known = next(leaf for leaf in values if leaf is not None)
        spread = "; ".join(component.words for component in known.components) or "exact"
        rows.append(
            [
                code(name),
                *(escape(_value(leaf)) if leaf is not None else "" for leaf in values),
                code(known.instrument) if known.instrument else "",
                escape(spread),
            ]
        )
    head = ["reading", *(code(str(run)) for run in runs), "instrument"]
    head.append(f"spread in {code(str(runs[0]))}")
    lines = ["## Readings", "", *_table(head, rows)]
    notes = {leaf.name: leaf.note for leaf in leaves if leaf.note}
    lines += [f"- {code(name)}: {escape(note)}" for name, note in notes.items()]
    for name, text in study.case.instruments:
        lines.append(f"- {code(name)}: {escape(text)}")
    for group in study.case.groups:
        lines.append(f"- group {code(group.name)}: {escape(words.group(group))}")
    for file in study.case.data:
        lines.append(
            f"- numbers from {escape(file.name)}: {file.rows} rows, sha256 {file.sha256[:16]}"
        )
    return [*lines, ""]


def _formulas(study: Study) -> list[str]:
    lines = ["## Formulas", ""]
    lines += [f"- {code(f'{name} = {text}')}" for name, text, _ in study.case.formulas]
    lines += [
        f"- result {code(f'{target.name} = {target.formula}')}" for target in study.case.targets
    ]
    if study.case.about:
        lines += ["", "## Log", ""]
        lines += [f"- {escape(key)}: {escape(text)}" for key, text in study.case.about]
    return [*lines, ""]


def _method(study: Study) -> list[str]:
    settings = study.settings
    versions = ", ".join(f"{name} {number}" for name, number in study.versions)
    agreeing = "; ".join(
        f"{code(band.output.title)}: {words.agreement_words(band)}" for band in study.bands
    )
    return [
        "## Method",
        "",
        f"- {settings.trials} Monte Carlo trials of all formulas (JCGM 101:2008)"
        f"{_drawn(settings)}, seed {settings.seed}; the band leaves equal probability on each "
        "side.",
        "- The readings of one instrument share one error curve; steps of the display or the dial "
        "are drawn afresh for each reading.",
        f"- First-order law (JCGM 100:2008) beside it: {agreeing}.",
        "- Half-width without a source: it is held at one draw, the others vary, averaged over 64 "
        "stratified draws. Shares of the variance: Sobol indices of first order.",
        f"- Case sha256 {study.case.text.sha256[:16]}; {versions}.",
    ]


def _drawn(settings: Settings) -> str:
    """Return how trials were drawn and ended, where that is not the usual way."""
    if settings.sampling == "quasi":
        return ", drawn as Sobol points in 16 scramblings"
    return ", as many as its digits took" if settings.adaptive else ""


def _value(leaf: Leaf) -> str:
    return f"{leaf.unit.from_si(leaf.value):.10g} {leaf.unit.symbol}".rstrip()
