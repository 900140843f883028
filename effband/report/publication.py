"""The files of a published report: one study, several faces, and a receipt for all of them."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator
from typing import Any

from effband.report.armour import FORUM, defused
from effband.report.blocks import Picture
from effband.report.content import Carried, report
from effband.report.forum import forum
from effband.report.machine import document, to_json
from effband.report.markdown import markdown
from effband.report.receipt import case_block, receipt, receipt_text, short
from effband.report.spreadsheet import results_csv, wideners_csv
from effband.report.writing import RECEIPT, parts
from effband.study import Study

FORMATS = ("md", "html", "forum", "json", "png", "csv")


def files_of(study: Study, formats: Collection[str]) -> dict[str, bytes]:
    """Return the files of a report by name, in some of `FORMATS`, and its receipt.

    Raises
    ------
    CaseError, BadBlock
        When the case or its data cannot be carried any more.
    """
    proof = receipt(study)
    files: dict[str, bytes] = {}
    images: dict[str, bytes] = {}
    pictures: list[Picture] = []
    if {"png", "html"} & set(formats):
        for picture, data in _pictures(study, short(proof)):
            pictures.append(picture)
            images[picture.file] = data
    if "png" in formats:
        files |= images
    beside = pictures if "png" in formats else []
    whole = Carried(short(proof), case_block(study, proof=proof))
    if "md" in formats:
        files["report.md"] = _alone(markdown(report(study, beside, whole)), whole)
    if "html" in formats:
        from effband.report.html import html

        files["report.html"] = _alone(html(report(study, pictures, whole), images), whole)
    if "forum" in formats:
        post = Carried(short(proof), case_block(study, FORUM, proof))
        files["forum.txt"] = _alone(forum(report(study, (), post)), post)
    if "json" in formats:
        files["result.json"] = to_json(document(study)).encode()
    if "csv" in formats:
        files["results.csv"] = results_csv(study).encode()
        files["wideners.csv"] = wideners_csv(study).encode()
    files[RECEIPT] = receipt_text(proof, parts(files)).encode()
    return files


def _alone(face: str, carried: Carried) -> bytes:
    """Return a face in which no text of the user's can be taken for the mark of a block."""
    before, block, behind = face.partition(carried.block.rstrip("\n"))
    return f"{defused(before)}{block}{defused(behind)}".encode()


def _pictures(study: Study, stamp: str) -> Iterator[tuple[Picture, bytes]]:
    """Yield the figures that a study has something to show in."""
    from effband.report import figures  # a second to load

    made: list[tuple[str, Callable[..., Any], Callable[..., str | None]]] = [
        ("claim.png", figures.claim_figure, figures.claim_alt),
        ("loads.png", figures.loads_figure, figures.loads_alt),
        ("wideners.png", figures.wideners_figure, figures.wideners_alt),
    ]
    for file, draw, words in made:
        figure = draw(study, stamp)
        if figure is not None:
            yield Picture(file, words(study) or ""), figures.png(figure)
