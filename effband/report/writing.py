"""Files that appear whole or not at all.

A new folder is filled beside its place and renamed into it once. In a folder that is there,
each file is written beside its place, forced to the disk, and renamed over the old one, which
only happens to files that effband wrote itself unless that is asked for.
"""

from __future__ import annotations

import contextlib
import os
import re
import secrets
import shutil
import tempfile
import time
from collections.abc import Iterable
from pathlib import Path

from effband.problems import CannotWrite, printable

# How each kind of file of ours begins.
_MARKS = (b"<!-- written by effband -->", b'{\n "effband": {')
_PNG, _PNG_MARK = b"\x89PNG\r\n\x1a\n", b"tEXtSoftware\0effband"
_LEFT_OVER = 24 * 3600.0  # seconds after which a killed writer's files are removed


def write_set(folder: Path, files: dict[str, bytes], force: bool = False) -> None:
    """Write files into a folder.

    Raises
    ------
    CannotWrite
        When it cannot be done, or would write over a file that is not ours without `force`;
        what was there stays as it was.
    """
    shown = printable(str(folder))
    try:
        if folder.is_symlink():
            raise CannotWrite(f"{shown} is a link: name the folder itself")
        if folder.is_dir():
            _into_existing(folder, files, force)
        elif folder.exists():
            raise CannotWrite(f"{shown} is a file: name a folder")
        else:
            _as_new(folder, files)
    except OSError as error:
        reason = error.strerror or str(error)
        raise CannotWrite(f"cannot write in {shown}: {reason}") from None


def _as_new(folder: Path, files: dict[str, bytes]) -> None:
    folder.parent.mkdir(parents=True, exist_ok=True)
    beside = Path(tempfile.mkdtemp(prefix=f".{folder.name}-", dir=folder.parent))
    try:
        for name, data in files.items():
            _write(beside / name, data)
        beside.chmod(0o755)
        os.rename(beside, folder)
    except BaseException:
        shutil.rmtree(beside, ignore_errors=True)
        raise


def _into_existing(folder: Path, files: dict[str, bytes], force: bool) -> None:
    for name in files:
        place = folder / name
        shown = printable(str(place))
        if place.is_symlink():
            raise CannotWrite(f"{shown} is a link: it is not followed")
        if place.exists() and not place.is_file():
            raise CannotWrite(f"{shown} is not a file: move it away")
        if place.exists() and not force and not _is_ours(place):
            raise CannotWrite(f"{shown} was not written by effband: use --force to replace it")
    _sweep(folder, files)
    beside = {name: folder / f".{name}-{secrets.token_hex(6)}" for name in files}
    try:
        for name, data in files.items():
            _write(beside[name], data)
        for name, path in beside.items():
            os.replace(path, folder / name)
    finally:
        for path in beside.values():
            path.unlink(missing_ok=True)


def _sweep(folder: Path, names: Iterable[str]) -> None:
    """Remove what a killed writer left, once it is a day old."""
    ours = re.compile("|".join(rf"\.{re.escape(name)}-[0-9a-f]{{12}}" for name in names))
    for path in folder.iterdir():
        with contextlib.suppress(FileNotFoundError):  # another writer's, just renamed
            if ours.fullmatch(path.name) and time.time() - path.lstat().st_mtime > _LEFT_OVER:
                path.unlink()


def _write(path: Path, data: bytes) -> None:
    with open(path, "xb") as stream:
        stream.write(data)
        stream.flush()
        os.fsync(stream.fileno())


def _is_ours(path: Path) -> bool:
    with open(path, "rb") as stream:
        head = stream.read(400)
    return head.startswith(_MARKS) or (head.startswith(_PNG) and _PNG_MARK in head)
