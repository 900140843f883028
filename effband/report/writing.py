"""Files that appear whole or not at all.

A set is filled in a folder of its own beside its place and forced to the disk. Where nothing is
there yet, that folder is renamed into its place. In a folder that is there it is renamed to
`.effband-set`, which decides that it is the set from now on, and its files are moved over the old
ones. A writer killed before that leaves the old set; one killed later leaves a decided set, and
the next call moves the rest of it before anything else. The folder itself is kept, since
somebody may be standing in it.

A set may hold `receipt.json`, a JSON object that lists the others as `"parts": {name: sha256}`
(see `parts`). It is moved last, so that `astray` can tell a set that is not whole, and what it
lists, unchanged, is known to be ours, of whatever kind.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import re
import secrets
import shutil
import stat
import sys
import time
from collections.abc import Iterator, Mapping
from pathlib import Path

from effband.problems import CannotWrite, printable

if sys.platform != "win32":
    import fcntl

RECEIPT = "receipt.json"
_DECIDED = ".effband-set"
_UNFINISHED = re.compile(r"\.effband-[0-9a-f]{12}")
_SHA256 = re.compile(r"[0-9a-f]{64}")
_LEFT_OVER = 24 * 3600.0  # seconds after which a killed writer's files are removed
# How files of ours begin that no receipt lists.
_MARKS = (b"<!-- written by effband -->", b'{\n "effband": {')
_PNG, _PNG_MARK = b"\x89PNG\r\n\x1a\n", b"tEXtSoftware\0effband"


def parts(files: Mapping[str, bytes]) -> dict[str, str]:
    """Return what a receipt lists of a set: the SHA-256 of every other file, by name."""
    return {name: hashlib.sha256(files[name]).hexdigest() for name in files if name != RECEIPT}


def astray(folder: Path) -> tuple[str, ...]:
    """Return which parts are missing or not as the receipt says; the receipt if there is none."""
    listed = _listed(folder / RECEIPT)
    if not listed:
        return (RECEIPT,)
    return tuple(name for name in listed if _digest(folder / name) != listed[name])


def listed_in(folder: Path) -> tuple[str, ...]:
    """Return the names of the parts that the receipt in a folder lists."""
    return tuple(_listed(folder / RECEIPT))


def write_set(folder: Path, files: dict[str, bytes], force: bool = False) -> None:
    """Write a set of files into a folder.

    Where both it and the set before it have a receipt, what that one lists and this one does
    not is removed, unless it was changed. Other files in the folder are left alone.

    Raises
    ------
    CannotWrite
        When it cannot be done, or would write over a file that is not ours without `force`;
        what was there stays as it was, unless the message says otherwise.
    ValueError
        When the set's receipt does not list its parts.
    """
    if RECEIPT in files and _parts_in(files[RECEIPT]) != parts(files):
        raise ValueError(f"{RECEIPT} does not list the parts of its set")
    shown = printable(str(folder))
    try:
        if not os.path.lexists(folder) and _as_new(folder, files):
            return
        if folder.is_symlink():
            raise CannotWrite(f"{shown} is a link: name the folder itself")
        if not folder.is_dir():
            raise CannotWrite(f"{shown} is a file: name a folder")
        with _alone(folder):
            _into_existing(folder, files, force)
    except OSError as error:
        raise CannotWrite(f"cannot write in {shown}: {_reason(error)}") from None


def _as_new(folder: Path, files: Mapping[str, bytes]) -> bool:
    """Rename a filled folder into its place, unless another writer was sooner."""
    folder.parent.mkdir(parents=True, exist_ok=True)
    with _filled(folder.parent, files) as filled:
        try:
            os.rename(filled, folder)
        except OSError:
            if folder.is_dir():
                return False
            raise
        _force(folder.parent)
    return True


def _into_existing(folder: Path, files: Mapping[str, bytes], force: bool) -> None:
    decided = folder / _DECIDED
    if decided.is_symlink():
        raise CannotWrite(f"{printable(str(decided))} is a link: it is not followed")
    left = os.listdir(decided) if decided.is_dir() else []
    listed = _listed(folder / RECEIPT), _listed(decided / RECEIPT)
    for name in dict.fromkeys([*left, *files]):
        _refuse_foreign(folder / name, force, listed)
    _move(folder)
    with _filled(folder, files) as filled:
        os.rename(filled, decided)
        try:
            _move(folder)
        except BaseException as error:
            # what failed once may pass; an interrupt waits until the set is whole
            _move_or_tell(folder)
            if not isinstance(error, OSError):
                raise


def _refuse_foreign(place: Path, force: bool, listed: tuple[dict[str, str], ...]) -> None:
    shown = printable(str(place))
    if place.is_symlink():
        raise CannotWrite(f"{shown} is a link: it is not followed")
    if not place.exists():
        return
    if not place.is_file():
        raise CannotWrite(f"{shown} is not a file: move it away")
    if force:
        return
    known = [each[place.name] for each in listed if place.name in each]
    if known and _digest(place) not in known:
        raise CannotWrite(f"{shown} was changed by others: use --force to replace it")
    if not known and not (_listed(place) if place.name == RECEIPT else _is_marked(place)):
        raise CannotWrite(f"{shown} was not written by effband: use --force to replace it")


def _move(folder: Path) -> None:
    """Move a decided set into its place, or what is left of it; the receipt comes last."""
    decided = folder / _DECIDED
    if not decided.is_dir():
        return
    names = sorted(os.listdir(decided), key=RECEIPT.__eq__)
    with contextlib.ExitStack() as old:
        for name in names if sys.platform != "win32" else ():
            # held open, an old file is freed after the renames, which so follow at once
            with contextlib.suppress(OSError):
                old.enter_context(open(folder / name, "rb"))
        for name in names:
            if name == RECEIPT:
                _remove_outdated(folder, _listed(decided / RECEIPT))
            os.replace(decided / name, folder / name)
    _force(folder)
    os.rmdir(decided)


def _move_or_tell(folder: Path) -> None:
    try:
        _move(folder)
    except OSError as error:
        raise CannotWrite(
            f"{printable(str(folder))} may hold old and new files, since not all could be "
            f"replaced: {_reason(error)}; run again to complete it"
        ) from None


def _remove_outdated(folder: Path, now: Mapping[str, str]) -> None:
    for name, digest in _listed(folder / RECEIPT).items():
        if name not in now and _digest(folder / name) == digest:
            os.unlink(folder / name)


@contextlib.contextmanager
def _filled(place: Path, files: Mapping[str, bytes]) -> Iterator[Path]:
    """Give a new folder with the files, forced to the disk; unless renamed it is removed."""
    _sweep(place)
    filled = place / f".effband-{secrets.token_hex(6)}"
    try:
        os.mkdir(filled)
        for name, data in files.items():
            with open(filled / name, "xb") as stream:
                stream.write(data)
                stream.flush()
                os.fsync(stream.fileno())
        _force(filled)
        yield filled
    finally:
        shutil.rmtree(filled, ignore_errors=True)


def _sweep(place: Path) -> None:
    """Remove what killed writers left undecided, once it is a day old."""
    with contextlib.suppress(OSError):  # no reason not to write
        for path in place.iterdir():
            if _UNFINISHED.fullmatch(path.name):
                about = path.lstat()
                if stat.S_ISDIR(about.st_mode) and time.time() - about.st_mtime > _LEFT_OVER:
                    shutil.rmtree(path, ignore_errors=True)


@contextlib.contextmanager
def _alone(folder: Path) -> Iterator[None]:
    """Keep other writers waiting; the lock ends with the process, however that ends.

    Where there are no such locks, the second of two writers may be refused.
    """
    if sys.platform == "win32":
        yield
        return
    handle = os.open(folder, os.O_RDONLY | os.O_NOFOLLOW)
    try:
        with contextlib.suppress(OSError):  # some network file systems lock no folders
            fcntl.flock(handle, fcntl.LOCK_EX)
        yield
    finally:
        os.close(handle)


def _force(folder: Path) -> None:
    """Force the names in a folder to the disk, where the system can."""
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def _listed(receipt: Path) -> dict[str, str]:
    """Return what a receipt lists; nothing if it is not there or is none of ours."""
    if receipt.is_symlink() or not receipt.is_file():
        return {}
    return _parts_in(receipt.read_bytes())


def _parts_in(receipt: bytes) -> dict[str, str]:
    try:
        listed = dict(json.loads(receipt)["parts"])
        # a name that leads out of the folder is none of a part
        sound = all(
            name == os.path.basename(name) and _SHA256.fullmatch(digest)
            for name, digest in listed.items()
        )
    except (ValueError, LookupError, TypeError, RecursionError):
        return {}
    return listed if sound else {}


def _digest(path: Path) -> str | None:
    if path.is_symlink() or not path.is_file():
        return None
    with open(path, "rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


def _is_marked(path: Path) -> bool:
    with open(path, "rb") as stream:
        head = stream.read(400)
    return head.startswith(_MARKS) or (head.startswith(_PNG) and _PNG_MARK in head)


def _reason(error: OSError) -> str:
    return error.strerror or str(error)
