"""What a report prints, compared with what is printed of the same study again."""

from __future__ import annotations

import csv
import io
import json
import os
from collections.abc import Iterator, Mapping
from dataclasses import replace
from typing import Any

from effband.report import words
from effband.report.markdown import MARK
from effband.report.printed import Change, Wanted, as_seen, as_source, best, too_long, words_of
from effband.report.publication import FORMATS, files_of
from effband.report.published import Published
from effband.report.receipt import short
from effband.report.rechecked import AGREES, DIFFERS, NOT_COMPARED, PRINTED, Step
from effband.report.side_by_side import same
from effband.report.writing import RECEIPT
from effband.study import Study

_GENERATOR = '<meta name="generator" content="effband">'
_OPTIONAL = "ranking_crosscheck"  # what another library found, only where that was asked for
_FEW = 50  # differences in a table that are told


def printed_again(report: Published, study: Study, told: Mapping[str, Any]) -> Step:
    """Print the study again, and compare every text and table of a report with that.

    Parameters
    ----------
    report
        What was found.
    study
        The study again; its data files must lie beside its case.
    told
        The receipt of the report.
    """
    release = dict(study.versions)["effband"]
    versions = tuple((name, str(told["versions"][name])) for name, _ in study.versions)
    study = replace(study, versions=versions)
    files = files_of(study, FORMATS)
    stamp = json.loads(files[RECEIPT])["receipt_sha256"][:12]

    def text(data: bytes) -> str:
        return data.decode().replace(stamp, short(told))

    page, post, sheet = (text(files[n]) for n in ("report.html", "forum.txt", "report.md"))
    plain = text(files_of(study, ("md",))["report.md"])  # without figures
    told_of: list[str] = []
    lines: list[str] = []
    changes: list[tuple[str, Change]] = []
    found_at_all = 0
    for place, own in report.texts.items():
        name = os.path.basename(place)
        if too_long(own):
            lines.append(f"{name} is too long: keep the part with the report")
            continue
        seen = best(own, _faces_like(own, page, post, sheet, plain))
        if not seen.found:
            lines.append(
                f"{name} holds no report as effband writes it: its words were not compared"
            )
            continue
        found_at_all += 1
        letters = ", letter for letter" if seen.exact else ""
        told_of.append(f"{name}: {seen.numbers} numbers among {seen.words} words{letters}")
        changes += [(name, change) for change in seen.changes]
        if own.lstrip().lower().startswith("<!doctype html") and not seen.exact:
            lines.append(f"{name}: its marks are not those of effband and may hide or add words")
    wrong: list[str] = []
    for name, data in report.tables.items():
        apart = list(_tables_apart(name, data, text(files[name])))
        wrong += apart
        told_of.append(f"{name}: {'differs' if apart else 'every number'}")
    what = "; ".join(told_of)
    if changes and told["versions"]["effband"] != release:
        part = printed_in_part(report, study, told)
        why = (
            f"written by effband {told['versions']['effband']}; this is {release}, which may word "
            "a report otherwise, so only its results count, and what else differs is only told"
        )
        return replace(part, lines=(why, *part.lines), changes=tuple(changes))
    if changes or wrong:
        return Step(PRINTED, DIFFERS, what, (*lines, *wrong), (), tuple(changes))
    if not found_at_all:
        return Step(PRINTED, NOT_COMPARED, what or "no report in words is there", tuple(lines))
    return Step(PRINTED, AGREES, what, tuple(lines))


def printed_in_part(report: Published, study: Study, told: Mapping[str, Any]) -> Step:
    """Compare what the texts print of the results with the receipt, where no more can be done.

    Of every result that a report shows, value, band and half-width must stand there, in digits
    that come from the receipt.
    """
    missing: list[str] = []
    count = 0
    shown = {(band.output.target.name, band.output.run): band for band in words.shown(study.bands)}
    for place, own in report.texts.items():
        name = os.path.basename(place)
        if too_long(own):
            missing.append(f"{name} is too long: keep the part with the report")
            continue
        stream = "\n".join(["", *words_of(own), ""])
        for each in told["results"]:
            band = shown.get((each["result"], each["run"]))
            if band is None:
                continue
            value, ends, half = words.of_receipt(each, band)
            count += 1
            for text in (value, ends, half):
                sought = "\n".join(["", *words_of(text), ""])
                if sought not in stream:
                    missing.append(f'{name}: "{text}" of {each["result"]} should stand there')
    if missing:
        return Step(PRINTED, DIFFERS, "the results, by the receipt", tuple(missing))
    what = f"value, band and half-width of {count} results, by the receipt; nothing else"
    return Step(PRINTED, AGREES, what)


def _faces_like(own: str, page: str, post: str, sheet: str, plain: str) -> Iterator[Wanted]:
    """Yield the faces that a text may be; a file as it was saved must agree in every sign."""
    start = own.lstrip("\ufeff \r\n\t")[:2_000]
    if start.startswith(MARK):
        yield as_source(sheet)
        yield as_source(plain)
    if start.lower().startswith("<!doctype html") and _GENERATOR in start:
        yield as_seen(page, marked=True, strict=True)
    else:
        yield as_seen(post, marked=False)
        for text in (page, sheet, plain):
            yield as_seen(text, marked=True)


# -- files for machines ----------------------------------------------------------------------------


def _tables_apart(name: str, data: bytes, should: str) -> Iterator[str]:
    """Yield what a file for machines says otherwise; numbers may be off by a rounding."""
    try:
        text = data.decode("utf-8-sig")
        if name.endswith(".json"):
            found, right = _leaves(json.loads(text)), _leaves(json.loads(should))
        else:
            found, right = (_leaves(list(csv.reader(io.StringIO(t)))) for t in (text, should))
        own, wished = dict(found), dict(right)
    except (ValueError, csv.Error, RecursionError):
        yield f"{name} cannot be read"
        return
    apart = [key for key in wished | own if not same(own.get(key), wished.get(key))]
    for key in apart[:_FEW]:
        was, is_ = (_told(each.get(key)) for each in (own, wished))
        yield f"{name}, {key}: printed {was}, should be {is_}"


def _leaves(value: Any, path: str = "") -> Iterator[tuple[str, Any]]:
    if isinstance(value, dict):
        for key, inner in value.items():
            if key != _OPTIONAL:
                yield from _leaves(inner, f"{path}.{key}" if path else str(key))
    elif isinstance(value, list):
        for number, inner in enumerate(value, 1):
            yield from _leaves(inner, f"{path} {number}".lstrip())
        yield f"length of {path}", len(value)
    else:
        yield path, _figure(value)


def _figure(value: Any) -> Any:
    """Return a number for the text of one, and everything else as it is."""
    try:
        return float(value) if isinstance(value, str | int | float) else value
    except (ValueError, OverflowError):
        return value


def _told(value: Any) -> str:
    text = str(value)
    return text if len(text) <= 60 else f"{text[:57]}..."
