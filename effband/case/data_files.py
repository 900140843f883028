"""Data files that a case names: which may be opened at all, and their bytes as text.

A name means the same on every system, and leads to a plain file in the folder of the case or
below it: nothing is followed, fetched or unpacked.
"""

from __future__ import annotations

import errno
import itertools
import os
import re
import stat
import unicodedata
from pathlib import Path

from effband.problems import nearest, spell

LONGEST_NAME = 200

_DEVICE = re.compile("(con|prn|aux|nul|conin\\$|conout\\$|(com|lpt)[0-9\u00b9\u00b2\u00b3])", re.I)
_PACKED = {
    b"\x1f\x8b": "compressed (gzip)",
    b"PK\x03\x04": "a zip archive or a spreadsheet",
    b"PK\x05\x06": "a zip archive or a spreadsheet",
    b"\xfd7zXZ\x00": "compressed (xz)",
    b"BZh": "compressed (bzip2)",
    b"\x28\xb5\x2f\xfd": "compressed (zstandard)",
    b"7z\xbc\xaf\x27\x1c": "compressed (7z)",
    b"\xd0\xcf\x11\xe0": "an old spreadsheet or document",
}
_WIDE = (b"\xff\xfe", b"\xfe\xff", b"\x00\x00\xfe\xff")
_AS_UTF_8 = "save the file as UTF-8 in your editor or spreadsheet"
_PLAIN_NAME = "write a name such as runs.csv or data/runs.csv"
_READ_ONLY = os.O_RDONLY | getattr(os, "O_CLOEXEC", 0) | getattr(os, "O_BINARY", 0)
_NO_LINK = getattr(os, "O_NOFOLLOW", 0)
_NO_WAIT = getattr(os, "O_NONBLOCK", 0)


class BadData(Exception):
    """A data file is refused as a whole.

    Attributes
    ----------
    what, remedy
        What is wrong with it, and what to do.
    """

    def __init__(self, what: str, remedy: str) -> None:
        self.what, self.remedy = what, remedy
        super().__init__(f"{what}: {remedy}")


def read_data(folder: str | Path, name: str, most_bytes: int) -> bytes:
    """Return the bytes of a file in the folder of the case, or below it.

    Every folder on the way is opened from the one before it and no link is followed, so that
    what was checked is what is read.

    Parameters
    ----------
    folder
        The folder of the case; "" is the current one.
    name
        The file's name as written in the case, with / between folders.
    most_bytes
        The largest size that is read.

    Raises
    ------
    BadData
        When the name, the file or its size is refused, or it cannot be read.
    """
    parts = name_parts(name)
    try:
        return _read(os.fspath(folder) or ".", parts, name, most_bytes)
    except FileNotFoundError:
        remedy = _like_it(folder, name)
        raise BadData(f"there is no file {name!r} in the folder of the case", remedy) from None
    except PermissionError:
        raise BadData(f"{name!r} may not be read", "give yourself the right to read it") from None
    except (OSError, ValueError) as error:
        if isinstance(error, OSError) and error.errno == errno.ELOOP:
            raise _link(name) from None
        reason = getattr(error, "strerror", None) or str(error)
        raise BadData(f"{name!r} cannot be read: {reason}", "check the file") from None


def name_parts(name: str) -> list[str]:
    """Return the folders and the file that a name goes through. Raises BadData.

    Refused is every name that would mean something else, or nothing, on another system.
    """
    shown = repr(name if len(name) <= 60 else name[:57] + "...")
    if not name.strip():
        raise BadData("the name of a data file is empty", _PLAIN_NAME)
    if re.match("[A-Za-z][A-Za-z0-9+.-]+://|(https?|ftp|file|data):", name, re.I):
        remedy = "save the file in the folder of the case and write its name"
        raise BadData(f"{shown} is an address, and nothing is fetched", remedy)
    for character in name:
        if not character.isprintable():
            what = f"{spell(character)} cannot stand in the name of a data file"
            raise BadData(what, _PLAIN_NAME)
    if "\\" in name:
        raise BadData(f"{shown} holds a backslash", "write / between folders: data/runs.csv")
    if name.startswith(("/", "~")) or re.match("[A-Za-z]:", name):
        remedy = "keep the file in the folder of the case and write its name alone"
        raise BadData(f"{shown} does not start from the folder of the case", remedy)
    if odd := re.search('[<>:"|?*]', name):
        what = f"{odd.group()!r} cannot stand in the name of a data file"
        raise BadData(what, _PLAIN_NAME)
    if len(name.encode()) > LONGEST_NAME:
        what = f"the name of a data file is longer than {LONGEST_NAME} letters"
        raise BadData(what, "shorten it")
    if unicodedata.normalize("NFC", name) != name:
        what = f"{shown} holds a letter that is spelled in two parts"
        raise BadData(what, "rename the file with plain letters")
    parts = name.split("/")
    for part in parts:
        _check_part(part, shown)
    return parts


def _check_part(part: str, shown: str) -> None:
    if part == "..":
        remedy = "keep the file in the folder of the case, or below it"
        raise BadData(f"{shown} leads out of the folder of the case", remedy)
    if part in ("", "."):
        raise BadData(f"{shown} holds a folder without a name", _PLAIN_NAME)
    if part != part.strip(" ") or part.endswith("."):
        what = f"in {shown} a name starts or ends with a blank, or ends with a point"
        raise BadData(what, "rename it; some systems drop such an end")
    if _DEVICE.fullmatch(part.split(".")[0].rstrip(" ")):
        raise BadData(f"{part!r} is the name of a device on some systems", "rename the file")


def _link(name: str) -> BadData:
    what = f"{name!r} is a link, or lies behind one"
    return BadData(what, "put the file itself into the folder of the case")


def _read(folder: str, parts: list[str], name: str, most_bytes: int) -> bytes:
    by_folders = os.open in os.supports_dir_fd and os.stat in os.supports_dir_fd
    at = _open_in_turn(folder, parts, name) if by_folders else _open_path(folder, parts, name)
    try:
        return _read_open(at, name, most_bytes)
    finally:
        os.close(at)


def _open_in_turn(folder: str, parts: list[str], name: str) -> int:
    at = os.open(folder, _READ_ONLY | os.O_DIRECTORY)
    for left, part in zip(range(len(parts) - 1, -1, -1), parts, strict=True):
        try:
            found = os.stat(part, dir_fd=at, follow_symlinks=False)
            _check_kind(found, part, name, last=not left)
            inner = os.open(part, _READ_ONLY | _NO_LINK | _NO_WAIT, dir_fd=at)
        finally:
            os.close(at)
        at = inner
    return at


def _open_path(folder: str, parts: list[str], name: str) -> int:
    """Open the file where the system cannot open from an open folder."""
    path = folder
    for left, part in zip(range(len(parts) - 1, -1, -1), parts, strict=True):
        path = os.path.join(path, part)
        _check_kind(os.lstat(path), part, name, last=not left)
    return os.open(path, _READ_ONLY | _NO_LINK | _NO_WAIT)


def _check_kind(found: os.stat_result, part: str, name: str, last: bool) -> None:
    """Refuse all but folders on the way and a plain file at its end."""
    kind = stat.S_IFMT(found.st_mode)
    if kind == (stat.S_IFREG if last else stat.S_IFDIR):
        return
    if kind == stat.S_IFLNK:
        raise _link(name)
    if kind == stat.S_IFDIR:
        raise BadData(f"{name!r} is a folder", "name a file in it, such as data/runs.csv")
    if kind == stat.S_IFREG:
        raise BadData(f"in {name!r}, {part!r} is a file, no folder", _PLAIN_NAME)
    raise BadData(f"{name!r} is no plain file", "name a CSV file")


def _read_open(descriptor: int, name: str, most_bytes: int) -> bytes:
    found = os.fstat(descriptor)
    _check_kind(found, name, name, last=True)
    if found.st_size > most_bytes:
        what = f"{name!r} is larger than {most_bytes / 1e6:g} MB"
        raise BadData(what, "keep only the columns and rows that the case needs")
    with os.fdopen(descriptor, "rb", closefd=False) as stream:
        data = stream.read(found.st_size + 1)
    if len(data) != found.st_size:
        what = f"{name!r} changed while it was read"
        raise BadData(what, "wait until the file is complete, then run again")
    return data


def _like_it(folder: str | Path, name: str) -> str:
    """Return advice with the nearest names of CSV files in the folder itself."""
    otherwise = "put the file beside the case, or check its name"
    try:
        with os.scandir(os.fspath(folder) or ".") as entries:
            files = [
                entry.name
                for entry in itertools.islice(entries, 1000)
                if entry.name.casefold().endswith(".csv") and entry.is_file(follow_symlinks=False)
            ]
    except (OSError, ValueError):
        return otherwise
    return nearest(name, files, otherwise)


def decode(data: bytes, name: str) -> str:
    r"""Return the bytes as text with `\n` between lines. Raises BadData unless it is UTF-8."""
    for magic, kind in _PACKED.items():
        if data.startswith(magic):
            raise BadData(f"{name!r} is {kind}, no CSV file", "save it as a plain CSV file")
    start = data[:400]
    if data.startswith(_WIDE) or start.count(0) * 4 > len(start) > 1:
        raise BadData(f"{name!r} is UTF-16 or UTF-32, not UTF-8", _AS_UTF_8)
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        before = data[: error.start].replace(b"\r\n", b"\n").replace(b"\r", b"\n")
        line = before.count(b"\n") + 1
        byte = len(before) - before.rfind(b"\n")
        what = f"byte {byte} of line {line} of {name!r} (0x{data[error.start]:02x}) is not UTF-8"
        raise BadData(what, _AS_UTF_8) from None
    if text[:1000].lstrip().startswith("<"):
        remedy = "save the CSV file itself, not the page that shows it"
        raise BadData(f"{name!r} is a web page or XML, no CSV file", remedy)
    return text.replace("\r\n", "\n").replace("\r", "\n")
