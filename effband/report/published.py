"""A published report as a stranger finds it: a file, a folder or a copied post.

Whatever it is, it must hold a block; the receipt comes from there, or lies beside it.
"""

from __future__ import annotations

import hashlib
import os
import stat
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from effband.case.data_files import BadData, read_data
from effband.report.armour import CASE, RECEIPT, BadBlock, Block, read_block, strewn
from effband.report.receipt import CHANGED, canonical, read_receipt
from effband.report.writing import astray, listed_in

LARGEST = 64_000_000  # bytes of a report, and of what lies beside it
FACES = ("report.md", "report.html", "forum.txt")
TABLES = ("result.json", "results.csv", "wideners.csv")
FIGURES = ("claim.png", "loads.png", "wideners.png")
MOST_NAMED = 8  # files that no receipt lists

_PNG = b"\x89PNG"


@dataclass(frozen=True)
class Published:
    """What was found.

    Attributes
    ----------
    name
        What it is called in messages.
    texts
        The texts that a person reads, by name.
    tables
        Files for machines that lie in the folder, by name.
    block
        What the report carries.
    receipt
        None where it cannot be trusted.
    faults
        What does not fit together.
    beside
        Where files that the block only names may lie; None where there is no such folder.
    pictures
        Figures that lie in the folder, by name.
    told
        What is to be known and is nobody's fault.
    in_folder
        Whether it is a whole set, as effband writes one.
    """

    name: str
    texts: Mapping[str, str] = field(repr=False)
    block: Block
    receipt: dict[str, Any] | None = field(repr=False)
    faults: tuple[str, ...] = ()
    tables: Mapping[str, bytes] = field(default_factory=dict, repr=False)
    beside: str | None = None
    pictures: Mapping[str, bytes] = field(default_factory=dict, repr=False)
    told: tuple[str, ...] = ()
    in_folder: bool = False


def found(place: str) -> Published:
    """Return the report in a file, or in a folder that holds a whole set.

    Raises
    ------
    BadBlock
        When it cannot be read, or holds no report.
    """
    try:
        about = os.stat(place)
        if stat.S_ISDIR(about.st_mode):
            return _in_folder(place)
        if not stat.S_ISREG(about.st_mode):
            what = "this is neither a file nor a folder"
            raise BadBlock(what, "save the report in a file, or give it to standard input", place)
        with open(place, "rb") as stream:
            data = stream.read(LARGEST + 1)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        remedy = "name a saved report, or the folder that holds it"
        raise BadBlock(f"cannot read the report: {reason}", remedy, place) from None
    return in_bytes(data, place, os.path.dirname(place) or ".")


def in_bytes(data: bytes, name: str = "the report", beside: str | None = None) -> Published:
    """Return the report in the bytes of a file. Raises BadBlock."""
    text = _decoded(data, name)
    return _put_together(name, {name: text}, beside, None)


def _in_folder(place: str) -> Published:
    held: dict[str, bytes] = {}
    for name in (*FACES, *TABLES, RECEIPT):
        try:
            held[name] = read_data(place, name, LARGEST)
        except BadData as error:
            if os.path.lexists(os.path.join(place, name)):
                raise BadBlock(error.what, error.remedy, place) from None
    texts = {name: _decoded(held[name], name) for name in FACES if name in held}
    if not texts:
        what = f"the folder holds none of {', '.join(FACES)}"
        raise BadBlock(what, "name the report itself", place)
    own = _put_together(place, texts, place, held.get(RECEIPT))
    faults, told = list(own.faults), []
    listed = listed_in(Path(place))
    for name in astray(Path(place)) if RECEIPT in held else ():
        what = f"the figure {name}" if name.endswith(".png") else name
        if os.path.lexists(os.path.join(place, name)):
            faults.append(f"{what} is not as {RECEIPT} says")
        elif name == RECEIPT:
            faults.append(f"{RECEIPT} lists no parts")
        else:
            told.append(f"{what} is not there, though {RECEIPT} lists it")
    others = sorted({*os.listdir(place)} - {*listed, RECEIPT} - ({*held} if not listed else set()))
    if others:
        shown = ", ".join(others[:MOST_NAMED]) + ", ..." * (len(others) > MOST_NAMED)
        told.append(f"no receipt lists what else lies there: {shown}")
    pictures = {}
    for name in (*FIGURES, *(name for name in listed if name.endswith(".png"))):
        try:
            pictures[name] = read_data(place, name, LARGEST)
        except BadData:
            continue
    tables = {name: held[name] for name in TABLES if name in held}
    return replace(
        own,
        faults=tuple(faults),
        tables=tables,
        pictures=pictures,
        told=tuple(told),
        in_folder=True,
    )


def _put_together(
    name: str, texts: Mapping[str, str], beside: str | None, lying: bytes | None
) -> Published:
    """Return a report from its texts and the receipt that lies beside them."""
    blocks = {each: read_block(text, each) for each, text in texts.items()}
    # the one that carries most; a post leaves out what is too long for it
    main = max(blocks, key=lambda each: len(blocks[each].files))
    block = blocks[main]
    if CASE not in block.files:
        raise BadBlock("the block carries no case", "ask for the report as it was written", main)
    faults = [
        f"{each} carries another {part} than {main}"
        for each, other in blocks.items()
        for part in sorted(other.files)
        if other.files[part] != block.files.get(part)
    ]
    faults += [
        f"{each} names another {part.name} than {main} carries"
        for each, other in blocks.items()
        for part in other.left_out
        if part.name in block.files
        and part.sha256 != hashlib.sha256(block.files[part.name]).hexdigest()
    ]
    for each, text in texts.items():
        added = strewn(text)
        if added:
            shown = added if len(added) <= 60 else f"{added[:57]}..."
            faults.append(
                f"{each}: between BEGIN and END stands what is no part of a block: {shown}"
            )
    receipt, wrong = _receipt(block, main, beside, lying)
    return Published(name, dict(texts), block, receipt, (*faults, *wrong), beside=beside)


def _receipt(
    block: Block, name: str, beside: str | None, lying: bytes | None
) -> tuple[dict[str, Any] | None, list[str]]:
    """Return the receipt of a report, and what is wrong with it."""
    named = {each.name: each for each in block.left_out}
    try:
        if RECEIPT in block.files:
            receipt = read_receipt(_text(block.files[RECEIPT]), name)
            if lying is not None and read_receipt(_text(lying), RECEIPT) != receipt:
                return receipt, [f"{RECEIPT} is another one than {name} carries"]
            return receipt, []
        if lying is None and beside is not None:
            try:
                lying = read_data(beside, RECEIPT, LARGEST)
            except BadData:
                lying = None
        if lying is None:
            what = "the report carries no receipt, so there is nothing to compare with"
            raise BadBlock(what, f"put {RECEIPT} beside it", name)
        receipt = read_receipt(_text(lying), RECEIPT)
    except BadBlock as error:
        if error.what != CHANGED:
            raise
        return None, [error.what]
    digest = hashlib.sha256(canonical(receipt)).hexdigest()
    if RECEIPT in named and digest != named[RECEIPT].sha256:
        return receipt, [f"{RECEIPT} is not the one that {name} names"]
    return receipt, []


def _text(data: bytes) -> str:
    text = data.decode("utf-8", "replace")
    # whatever does not begin as a receipt must not be searched for a block
    return text if text.lstrip("\ufeff \t\r\n").startswith("{") else "{"


def _decoded(data: bytes, name: str) -> str:
    if len(data) > LARGEST:
        what = f"the report is larger than {LARGEST // 1_000_000} MB"
        raise BadBlock(what, "keep the part with the report", name)
    if data.startswith(_PNG):
        what = "this is a figure, which carries no case"
        raise BadBlock(what, "name the report that it belongs to", name)
    wide = data.startswith((b"\xff\xfe", b"\xfe\xff"))
    try:
        return data.decode("utf-16" if wide else "utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        what = f"byte {error.start + 1} of the report, in line {line}, is no text in UTF-8"
        raise BadBlock(what, "save the page or the post as UTF-8 text", name) from None
