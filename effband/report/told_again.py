"""What another release's report must say all the same: its numbers, as they are printed here."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace
from typing import Any

from effband.propagate.staircase import Interval
from effband.report.blocks import Bullets, Line, Table
from effband.report.content import report
from effband.study import Study

_OF_A_RECEIPT = ("result", "run", "value", "half-width")  # columns; and the band
_KEY = ("Cross-checks that fail", "Claims", "Results", "Cross-checks")


def with_numbers_of(told: Mapping[str, Any], study: Study) -> Study:
    """Return a study with the numbers and verdicts of a receipt in place of its own.

    What widens a band is left out, since a receipt does not hold it.
    """
    results = {(each["result"], each["run"]): each for each in told["results"]}
    bands = []
    for band in study.bands:
        each = results.get((band.output.target.name, band.output.run))
        if each is not None:
            unit, ends = band.output.target.unit, each["interval"]
            mean, median = each["mean"], each["median"]
            summary = replace(
                band.summary,
                mean=None if mean is None else unit.to_si(mean),
                median=unit.to_si(median),
                interval=Interval(*sorted((unit.to_si(ends["low"]), unit.to_si(ends["high"])))),
            )
            ranking = replace(band.ranking, lines=())
            band = replace(band, summary=summary, ranking=ranking)
        bands.append(band)
    judged = zip(study.claims, told["claims"], strict=False)
    claims = tuple(replace(claim, verdict=each["verdict"]) for claim, each in judged)
    return replace(study, bands=tuple(bands), claims=claims)


def key_lines(study: Study, exact: bool) -> list[tuple[str, ...]]:
    """Return what must stand in every face of a report, each in the ways it may be written.

    It is the title, the sentence, every claim and cross-check with its verdict, the table of
    results and their boundaries. Of numbers that are not `exact`, the columns that a receipt does
    not hold are left out.
    """
    found = report(study)
    lines: list[tuple[str, ...]] = [(found.title,), (found.sentence,)]
    for section in found.sections:
        if section.title in _KEY:
            for block in section.blocks:
                if isinstance(block, Bullets):
                    lines += [(_words(line),) for line, _ in block.items]
                elif isinstance(block, Table):
                    lines += _rows(block, exact)
    return lines


def _rows(table: Table, exact: bool) -> Iterator[tuple[str, ...]]:
    head = [_words(cell) for cell in table.head]
    kept = [at for at, name in enumerate(head) if exact or name in _OF_A_RECEIPT or "band" in name]
    for row in table.rows:
        cells = [_words(row[at]) for at in kept]
        named = [f"{head[at]} {_words(row[at])}" for at in kept[1:] if _words(row[at])]
        yield " ".join(cells), "; ".join([cells[0], *named])


def _words(line: Line) -> str:
    return "".join(span if isinstance(span, str) else span.text for span in line)
