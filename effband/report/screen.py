"""The study on a terminal: every result with its band, and what widens it, at a glance.

Two runs of two results fit 80 columns by 40 lines.
"""

from __future__ import annotations

from dataclasses import replace

from effband.problems import printable, width
from effband.propagate.ranking import Line
from effband.report import judgements, words
from effband.report.bars import bars, telling
from effband.report.columns import COLUMNS, wrapped
from effband.study import Band, Study
from effband.units import Unit

WHOLE = "whole case"
LEAST_SIDE_BY_SIDE = 3
MOST_IN_FULL = 3  # results; of more, only the headline is shown with all that widens it
CHANGED = 0.01  # relative change of a half-width from which a band counts as changed
TELLING = 0.1  # relative change of a half-width that is worth a line


def screen(study: Study) -> str:
    """Return the text for a terminal, ending in a newline."""
    lines = [*wrapped(study.case.title, "")]
    chance = words.probability(study.settings.probability)
    trials = f"{study.settings.trials:,}".replace(",", " ")
    if study.settings.sampling == "quasi":
        trials += " quasi-random"
    if study.settings.adaptive:
        trials += " adaptive"
    medians = any(band.summary.no_variance for band in study.bands)
    if medians:
        lines.append(f"{chance} bands from {trials} trials; a value without variance is a median")
    else:
        lines.append(f"{chance} bands; each value is the mean of {trials} trials")
    names = list(dict.fromkeys(band.output.target.name for band in study.bands))
    first = study.case.headline or names[0]
    checks = [judgements.cross_check(each) for each in study.cross_checks]
    lines += _judged("Cross-checks that fail", _in_one([each for each in checks if each.bad]))
    for name in names:
        bands = [band for band in study.bands if band.output.target.name == name]
        short = len(names) > MOST_IN_FULL and name != first
        lines += ["", *_result(words.shown(bands), study, short)]
    left_out = ["the single runs of the groups"] * (
        len(words.shown(study.bands)) < len(study.bands)
    )
    left_out += ["what else widens each result"] * (len(names) > MOST_IN_FULL)
    if left_out:
        what = " and ".join(left_out)
        lines += ["", *wrapped(f"In the report and in --json: {what}.", "")]
    rankings = [band.ranking for band in study.bands if band.ranking.lines]
    checked = [ranking.crosscheck for ranking in rankings if ranking.crosscheck is not None]
    if checked:
        told = f"SALib finds the same shares from the same rows, to {max(checked):.1g}"
        lines += ["", *wrapped(told, "")]
    lines += _judged("Claims", [judgements.claim(verdict) for verdict in study.claims])
    lines += _judged("Cross-checks", _in_one([each for each in checks if not each.bad]))
    lines += [*_side_by_side(study), *_widened(study), *_remarks(study)]
    return "\n".join(line.rstrip() for line in lines) + "\n"


def _judged(heading: str, found: list[judgements.Judgement]) -> list[str]:
    """Return claims or cross-checks, each with its verdict and what it comes from."""
    lines = ["", f"{heading}:"] if found else []
    for each in found:
        lines += wrapped(f"{each.title}: {each.verdict}", "  ", "    ")
        for text in each.short:
            lines += wrapped(text, "    ", "      ")
    return lines


def _in_one(checks: list[judgements.Judgement]) -> list[judgements.Judgement]:
    """Return a line for many cross-checks of one name that come out alike.

    Of those that fail, the first stands for all.
    """
    alike: dict[tuple[str, str], list[judgements.Judgement]] = {}
    for each in checks:
        alike.setdefault((each.name, each.verdict), []).append(each)
    shown = []
    for (name, _), found in alike.items():
        first = found[0]
        if len(found) <= MOST_IN_FULL:
            shown += found
        elif first.bad:
            shown.append(replace(first, title=f"{first.title} and {len(found) - 1} more"))
        else:
            shown.append(replace(first, title=f"{name}, in {len(found)} runs", short=()))
    return shown


def _result(bands: list[Band], study: Study, short: bool) -> list[str]:
    """Return a result; in short, without its boundary and with its first widener only."""
    target = bands[0].output.target
    mark = "   <- headline" if target.name == study.case.headline else ""
    lines = wrapped(target.label or target.name, "")
    if width(lines[-1] + mark) > COLUMNS:
        lines.append("")
    lines[-1] += mark
    if target.boundary is not None and not short:
        lines += wrapped(target.boundary[0], "  in:  ")
        lines += wrapped(target.boundary[1], "  out: ")
    labels = [_label(band) for band in bands]
    margin = max(width(label) for label in labels)
    cells = [words.rounded(band) for band in bands]
    across = max(len(cell.with_unit) for cell in cells)
    for label, cell in zip(labels, cells, strict=True):
        lines += _row(f"  {label:<{margin}}  {cell.with_unit:>{across}}", cell, target.unit)
    lines += _impossible(bands)
    for text in dict.fromkeys(line for band in bands for line in judgements.disputes(band, study)):
        lines += wrapped(text, "  ", "    ")
    lines += _in_short(_shown(bands)) if short else _wideners(_shown(bands))
    return lines + _advice(_shown(bands), study)


def _advice(band: Band, study: Study) -> list[str]:
    """Return whether more runs of a group or a better instrument would help."""
    found = [each for each in study.advice if each.output == band.output]
    texts = (words.repeat_advice_words(each, each.output.target.unit) for each in found)
    return [line for text in texts for line in wrapped(text, "  ", "    ")]


def _side_by_side(study: Study) -> list[str]:
    """Return the efficiencies of one run over what each counts as put in."""
    bands = words.side_by_side(study)
    if len(bands) < LEAST_SIDE_BY_SIDE:
        return []
    chosen = words.headline_band(study)
    where = f", {chosen.output.where}" if chosen.output.where else ""
    lines = ["", f"Side by side{where} (* is the headline):"]
    cells = [words.rounded(band) for band in bands]
    across = max(len(cell.with_unit) for cell in cells)
    ends = [f"{cell.low} to {cell.high}" for cell in cells]
    margin = max(len(text) for text in ends)
    for band, cell, text in zip(bands, cells, ends, strict=True):
        target = band.output.target
        mark = "*" if target.name == study.case.headline else " "
        start = f"  {mark} {cell.with_unit:>{across}}  {text:<{margin}}  "
        into = "" if target.boundary is None else target.boundary[0]
        lines += wrapped(f"{target.name}, of {into}", start)
    return lines


def _widened(study: Study) -> list[str]:
    """Return what the bands would be with guesses drawn out."""
    wider = study.widened
    if wider is None:
        return []
    lines = ["", f"With guesses and rules of thumb {wider.factor:g} times as wide:"]
    if wider.summaries is None:
        return [*lines, *wrapped(f"no bands: {wider.why_not}", "  ", "    ")]
    changed = []
    pairs = zip(study.bands, wider.summaries, strict=True)
    summaries = {id(band): summary for band, summary in pairs}
    shown = words.shown(study.bands)
    for name in dict.fromkeys(band.output.target.name for band in shown):
        band = _shown([band for band in shown if band.output.target.name == name])
        summary = summaries[id(band)]
        full, more = band.summary.interval.half_width, summary.interval.half_width
        if more > (1 + CHANGED) * full:
            unit, cell = band.output.target.unit, words.rounded(replace(band, summary=summary))
            before = f"{words.width(full, unit)} {unit.width_symbol}".rstrip()
            half = f"{cell.half_width} {unit.width_symbol}".rstrip()
            text = f"{band.output.title}: from {cell.low} to {cell.high} {cell.unit}".rstrip()
            changed += wrapped(f"{text} (half-width {half}, now {before})", "  ", "    ")
    if wider.kept:
        text = f"kept as they are, drawn together or from a sample: {', '.join(wider.kept)}"
        lines += wrapped(text, "  ", "    ")
    return [*lines, *(changed or ["  no half-width grows by a hundredth"])]


def _label(band: Band) -> str:
    """Return of what a band is: a run, a group with how many runs, or the whole case."""
    group = band.output.group
    label = printable(band.output.run or WHOLE)
    return label if group is None else f"{label} ({len(group.members)} runs)"


def _row(start: str, cell: words.Rounded, unit: Unit) -> list[str]:
    ends = f"{start}  from {cell.low} to {cell.high} {cell.unit}".rstrip()
    half = f"half-width {cell.half_width} {unit.width_symbol}".rstrip()
    by_hand = f"; as written {cell.by_hand}" if cell.by_hand != cell.value else ""
    whole = f"{ends}  ({half}{by_hand})"
    return [whole] if width(whole) <= COLUMNS else [ends, f"      ({half}{by_hand})"]


def _shown(bands: list[Band]) -> Band:
    """Return the band whose ranking is shown: the one with the widest band for its value."""
    return max(bands, key=lambda band: band.summary.interval.half_width)


def _wideners(band: Band) -> list[str]:
    if not band.ranking.lines:
        return ["  it does not vary"] if not band.summary.varies else []
    unit = band.output.target.unit
    full = band.summary.interval.half_width
    run = f" in {band.output.where}" if band.output.where else ""
    lines = [f"  what widens it most{run}, and the half-width left without it:"]
    decimals = words.decimals_to_tell_apart(full / unit.factor)

    def told(half: float) -> str:
        left = words.fixed(half / unit.factor, decimals)
        saves = words.fixed(max(full - half, 0.0) / unit.factor, decimals)
        return f"{left} (saves {saves})"

    items = [(line.item.name, line.half_width_without) for line in band.ranking.lines]
    lines += bars(items, full, told, "    ")
    guessed = words.rests_on_guesses(band.ranking)
    if guessed is not None:
        return [*lines, f"  {guessed}"]
    return lines + wrapped(words.evidence(band.ranking), "  the spread by evidence: ", "    ")


def _impossible(bands: list[Band]) -> list[str]:
    """Return the line for results that nothing can be."""
    if not any(words.is_impossible(band) for band in bands):
        return []
    ceiling = bands[0].output.target.ceiling
    text = f"IMPOSSIBLE: above its ceiling ({ceiling}); look for an error before anything else"
    return wrapped(text, "  ", "    ")


def _in_short(band: Band) -> list[str]:
    """Return in a line or two what widens a band most, and what it rests on."""
    if not band.ranking.lines:
        return _wideners(band)
    line, _ = telling_lines(band)[0]
    unit, full = band.output.target.unit, band.summary.interval.half_width
    left = f"{words.width(line.half_width_without, unit, full / unit.factor)} {unit.width_symbol}"
    text = f"widened most by {printable(line.item.name)}, {left.rstrip()} without it; "
    resting = words.rests_on_guesses(band.ranking)
    lines = wrapped(text + f"by evidence: {words.evidence(band.ranking)}", "  ", "    ")
    return lines if resting is None else [*lines, f"  {resting}"]


def telling_lines(band: Band) -> list[tuple[Line, float]]:
    """Return the first lines of a ranking that tell something, with the share each saves."""
    lines = band.ranking.lines
    found = telling([line.half_width_without for line in lines], band.summary.interval.half_width)
    return [(lines[at], share) for at, share in found]


def _remarks(study: Study) -> list[str]:
    lines: list[str] = []
    notes = [f"{remark.what}: {remark.remedy}" for remark in words.all_remarks(study)]
    if notes:
        lines += ["", "Mind:"]
        for note in notes:
            lines += wrapped(note, "  - ", "    ")
    assumed = [*study.case.assumptions, *_what_ifs(study)]
    if assumed:
        lines += ["", "Taken for granted:"]
        for text in assumed:
            lines += wrapped(text, "  - ", "    ")
    return lines


def _what_ifs(study: Study) -> list[str]:
    return what_if_words(words.headline_band(study))


def what_if_words(band: Band) -> list[str]:
    """Return what another error curve would give, for instruments where it matters."""
    unit = band.output.target.unit
    full = band.summary.interval.half_width
    alike: dict[tuple[str, ...], list[str]] = {}
    for each in band.what_ifs:
        halves = (each.same_all_along, each.own_for_each_reading)
        if all(abs(half - full) < TELLING * full for half in halves):
            continue
        told = tuple(
            f"{words.width(half, unit, full / unit.factor)} {unit.width_symbol}".rstrip()
            for half in (full, *halves)
        )
        alike.setdefault(told, []).append(each.instrument)
    return [
        f"the error of {', and likewise of '.join(names)}{',' * (len(names) > 1)} is taken to "
        f"change smoothly along its scale. The half-width of {band.output.title} is {now}; it "
        f"would be {same} if the error were the same everywhere, {own} if each reading had its own"
        for (now, same, own), names in alike.items()
    ]
