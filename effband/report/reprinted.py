"""What a report prints, compared with what is printed of the same study again."""

from __future__ import annotations

import base64
import binascii
import csv
import io
import json
import os
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from effband.report import told_again
from effband.report.armour import around_blocks, defused
from effband.report.markdown import MARK
from effband.report.printed import (
    Change,
    Printed,
    Wanted,
    as_seen,
    as_source,
    best,
    lacking,
    other_lines,
    too_long,
    words_of,
)
from effband.report.publication import FORMATS, files_of
from effband.report.published import Published
from effband.report.receipt import short
from effband.report.rechecked import AGREES, DIFFERS, NOT_COMPARED, PRINTED, Step
from effband.report.side_by_side import same
from effband.report.writing import RECEIPT
from effband.study import Study

_OPTIONAL = re.compile(r"results [0-9]+\.ranking_crosscheck")  # another library's, where asked for
_FEW = 50  # differences in a table that are told
_A_PAGE = re.compile(
    r"<(?:!doctype|html|head|body|title|style|script|link|meta|section|svg|iframe|h1)\b",
    re.IGNORECASE,
)
_TAG = re.compile(r"<[/!]?[A-Za-z-][^<>]*>")
_HIDING = re.compile(
    r"(?i)\bhidden\b|\bstyle\b[^<>]*\b(?:display|visibility|size|font|opacity|position|transform"
    r"|clip|content|background|white|transparent|width|height|indent|margin)"
)
_DATA = re.compile('src="data:image/png;base64,([A-Za-z0-9+/=]*)"')
_FOREIGN = "the page holds marks that effband does not write"


@dataclass
class _Found:
    """What is found, text by text."""

    what: list[str] = field(default_factory=list)
    lines: list[str] = field(default_factory=list)
    wrong: list[str] = field(default_factory=list)
    changes: list[tuple[str, Change]] = field(default_factory=list)
    beside: list[str] = field(default_factory=list)
    texts: int = 0
    left: bool = False  # something was not compared


def printed_again(report: Published, study: Study, told: Mapping[str, Any], exact: bool) -> Step:
    """Print the study again, and compare every text, table and figure of a report with that.

    Parameters
    ----------
    report
        What was found.
    study
        The study again; its data files must lie beside its case.
    told
        The receipt of the report.
    exact
        Whether the study's numbers are those of the receipt. Else the receipt's own numbers are
        printed, as far as it has them.
    """
    release = dict(study.versions)["effband"]
    here = {name: str(told["versions"][name]) == value for name, value in study.versions}
    versions = tuple((name, str(told["versions"][name])) for name, _ in study.versions)
    study = replace(study, versions=versions)
    if not exact:
        study = told_again.with_numbers_of(told, study)
    outdated = not exact or not here["effband"]
    files = files_of(study, FORMATS)
    stamp = json.loads(files[RECEIPT])["receipt_sha256"][:12]

    def text(name: str) -> str:
        return files[name].decode().replace(stamp, short(told))

    faces = {name: text(name) for name in ("report.md", "report.html", "forum.txt")}
    plain = files_of(study, ("md",))["report.md"].decode().replace(stamp, short(told))  # no figures
    key = told_again.key_lines(study, exact)
    case = defused(study.case.text.text.rstrip("\n"))
    got = _Found()
    for place, own in report.texts.items():
        name = os.path.basename(place)
        if too_long(own):
            got.wrong.append(f"{name} is too long: keep the part with the report")
            continue
        is_page = _looks_like_a_page(own, faces)
        if is_page and _as_file(own) == _as_file(faces["report.html"]):
            seen = _whole(faces["report.html"])
        else:
            saved = name if report.in_folder else None
            seen = best(own, _faces_like(own, faces, plain, saved, is_page))
            # a page counts as a whole: what stands around the report may hide it
            seen = replace(seen, exact=seen.exact and not is_page)
        if not seen.found:
            if is_page or words_of(own):
                got.left = True
            what = f"{name} holds no report as effband writes it: its words were not compared"
            (got.wrong if report.in_folder else got.lines).append(what)
            continue
        _tell(got, name, seen)
        if is_page and not seen.exact:
            (got.lines if outdated else got.wrong).append(f"{name}: {_FOREIGN}")
            got.left = True
        if not seen.exact:
            for line in other_lines(own, case, seen.copies)[:_FEW]:
                what = f'{name}: this line of the case is not as in the block: "{_told(line)}"'
                got.wrong.append(what)
        if outdated:
            missing = lacking(own, key)
            got.wrong += [f'{name}: "{_told(line)}" should stand there' for line in missing]
    for name, data in report.tables.items():
        if not exact:
            got.lines.append(f"{name} was not compared: its numbers come from other draws")
            continue
        apart = list(_tables_apart(name, data, text(name)))
        got.wrong += apart
        if any(_OPTIONAL.search(path) for path in _paths(data, name)):
            got.lines.append(f"{name}: ranking_crosscheck is another library's, and not compared")
        got.what.append(f"{name}: {'differs' if apart else 'every number'}")
    drawn_alike = exact and all(here.values()) and stamp == short(told)
    _figures(got, report, files, drawn_alike)
    return _judged(got, told, release, exact, outdated)


def _judged(
    got: _Found, told: Mapping[str, Any], release: str, exact: bool, outdated: bool
) -> Step:
    what, changes, beside = "; ".join(got.what), tuple(got.changes), tuple(got.beside)
    lines = tuple(got.lines)
    if got.wrong or (got.changes and not outdated):
        return Step(PRINTED, DIFFERS, what, (*got.wrong, *lines), (), changes, beside=beside)
    if not got.texts:
        status = NOT_COMPARED if got.left else AGREES
        what = what or "" if got.left else "the block stands alone: there are no words to compare"
        return Step(PRINTED, status, what, lines, bare=not got.left)
    if outdated and (got.changes or not exact):
        why = (
            f"written by effband {told['versions']['effband']}, engine "
            f"{told['versions']['engine']}; this is {release}, which may word a report otherwise: "
            "title, sentence, claims and results stand there, and what else differs is only told"
        )
        return Step(PRINTED, NOT_COMPARED, what, (why, *lines), (), changes, beside=beside)
    return Step(PRINTED, NOT_COMPARED if got.left else AGREES, what, lines, beside=beside)


def _tell(got: _Found, name: str, seen: Printed) -> None:
    """Add what was seen of a text that holds the report."""
    got.texts += 1
    letters = ", letter for letter" if seen.exact and not seen.changes else ""
    got.what.append(f"{name}: {seen.numbers} numbers among {seen.words} words{letters}")
    got.changes += [(name, change) for change in seen.changes]
    if seen.more:
        got.left = True
        got.lines.append(f"{name} holds more copies of the report than were looked at")
    parts = [
        f"{where} it {words} word{'s' * (words != 1)}, {numbers} of them numbers"
        for where, (words, numbers) in (
            ("before", seen.before),
            ("between its copies and within", seen.between),
            ("behind", seen.behind),
        )
        if words
    ]
    if parts:
        got.beside.append(f"{name}: {'; '.join(parts)}: not compared")


# -- faces -----------------------------------------------------------------------------------------


def _looks_like_a_page(own: str, faces: Mapping[str, str]) -> bool:
    """Return whether a text is a page, or the source of one, rather than a post or Markdown.

    What stands in the post or the Markdown as well is text of the user's.
    """
    start = own.lstrip("\ufeff \r\n\t")[:9].lower()
    if start == "<!doctype" or start.startswith("<html"):
        return True
    texts = around_blocks(faces["forum.txt"]), around_blocks(faces["report.md"])
    known = {tag.lower() for text in texts for part in text for tag in _TAG.findall(part)}
    tags = {tag.lower() for part in around_blocks(own) for tag in _TAG.findall(part)} - known
    if start and own.lstrip("\ufeff \r\n\t").startswith(MARK):
        return bool(tags)
    return any(_A_PAGE.match(tag) or _HIDING.search(tag) for tag in tags)


def _as_file(text: str) -> str:
    """Return a page as it was written, without block, data of figures and blanks around."""
    return "\n".join(as_source(part).text for part in around_blocks(text))


def _whole(face: str) -> Printed:
    wanted = as_seen(face, marked=True, strict=True)
    numbers = sum(any(letter.isdigit() for letter in word) for word in wanted.tokens)
    return Printed(True, numbers, len(wanted.tokens), exact=True)


def _faces_like(
    own: str, faces: Mapping[str, str], plain: str, saved: str | None, is_page: bool
) -> Iterator[Wanted]:
    """Yield the faces that a text may be; a file as it was saved must agree in every sign."""
    page, post, sheet = (faces[name] for name in ("report.html", "forum.txt", "report.md"))
    if is_page:
        yield as_seen(page, marked=True, strict=True)
        return
    if own.lstrip("\ufeff \r\n\t").startswith(MARK) or saved == "report.md":
        yield as_source(sheet)
        yield as_source(plain)
        return
    if saved == "forum.txt" or as_source(post).text in as_source(own).text:
        yield as_source(post)
        return
    yield as_seen(post, marked=False)
    copied = re.sub(r"(?m)^!\[.*\n\n?", "", sheet)  # as text is copied, which leaves figures behind
    for text in (sheet, plain, page, copied):
        yield as_seen(text, marked=True)


# -- figures ---------------------------------------------------------------------------------------


def _figures(got: _Found, report: Published, files: Mapping[str, bytes], drawn_alike: bool) -> None:
    """Compare the figures of a folder and of a page, byte by byte where the same was drawn."""
    apart = [name for name, data in report.pictures.items() if files.get(name) != data]
    wanted = [files[name] for name in ("claim.png", "loads.png", "wideners.png") if name in files]
    for place, own in report.texts.items():
        found = [_picture(data) for data in _DATA.findall(own)]
        if found and found != wanted:
            apart.append(f"one in {os.path.basename(place)}")
        elif found:
            got.what.append(f"{len(found)} figures in {os.path.basename(place)}, byte for byte")
    same_ = len(report.pictures) - sum(name in report.pictures for name in apart)
    if same_:
        got.what.append(f"{same_} figures, byte for byte")
    for name in apart:
        if drawn_alike:
            got.wrong.append(f"the figure {name} is not the one that is drawn of this case")
        else:
            got.lines.append(f"the figure {name} was not compared: other releases drew it")


def _picture(letters: str) -> bytes:
    try:
        return base64.b64decode(letters, validate=True)
    except binascii.Error:
        return b""


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
    apart = [
        key
        for key in wished | own
        if not same(own.get(key), wished.get(key))
        and not (
            _OPTIONAL.fullmatch(key) and isinstance(own.get(key), float) and wished.get(key) is None
        )
    ]
    for key in apart[:_FEW]:
        was, is_ = (_told(each.get(key)) for each in (own, wished))
        yield f"{name}, {key}: printed {was}, should be {is_}"


def _paths(data: bytes, name: str) -> Iterator[str]:
    """Yield where the values of a JSON result stand."""
    if name.endswith(".json"):
        try:
            yield from (path for path, _ in _leaves(json.loads(data.decode("utf-8-sig"))))
        except (ValueError, RecursionError):
            return


def _leaves(value: Any, path: str = "") -> Iterator[tuple[str, Any]]:
    if isinstance(value, dict):
        for key, inner in value.items():
            yield from _leaves(inner, f"{path}.{key}" if path else str(key))
        yield f"keys of {path}".rstrip(), len(value) - ("ranking_crosscheck" in value)
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
