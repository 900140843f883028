"""Files appear whole or not at all: which may be replaced, two writers, what the killed left."""

from __future__ import annotations

import hashlib
import json
import os
import signal
import struct
import subprocess
import sys
import threading
import time
import zlib
from collections.abc import Callable
from pathlib import Path

import pytest

from effband.problems import CannotWrite
from effband.report.writing import astray, parts, write_set

OLD_MARK = b"<!-- written by effband -->\n"
NAMES = ("bands.png", "report.md", "result.json")
DAY = 86_400


def made(letter: str, size: int = 100) -> dict[str, bytes]:
    """Return a set as we write it, filled with one letter, so that a mixture would show."""
    text = letter * size
    head = {"effband": {"version": "0.1.0", "format": 1, "engine": 1}, "filling": text}
    picture = (
        _chunk(b"IHDR", struct.pack(">IIBBBBB", 1, 1, 8, 0, 0, 0, 0)),
        _chunk(b"tEXt", b"Software\x00effband"),
        _chunk(b"fiLl", text.encode()),
        _chunk(b"IEND", b""),
    )
    return {
        "bands.png": b"\x89PNG\r\n\x1a\n" + b"".join(picture),
        "report.md": OLD_MARK + text.encode() + b"\nend\n",
        "result.json": json.dumps(head, indent=1).encode() + b"\n",
    }


def sealed(letter: str, size: int = 100, receipt_first: bool = True) -> dict[str, bytes]:
    """Return a set of more kinds, most without a mark, with the receipt that lists them."""
    filling = (letter * size).encode()
    files = made(letter, size)
    files |= {"page.html": b"<!DOCTYPE html>" + filling, "post.txt": filling, "bands.csv": filling}
    listed = {name: hashlib.sha256(data).hexdigest() for name, data in files.items()}
    receipt = {"receipt.json": json.dumps({"effband": {"format": 1}, "parts": listed}).encode()}
    return receipt | files if receipt_first else files | receipt


def _chunk(kind: bytes, data: bytes) -> bytes:
    return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))


def found_in(folder: Path) -> dict[str, bytes]:
    """Return the files in a folder; not those in its folders."""
    return {path.name: path.read_bytes() for path in sorted(folder.iterdir()) if path.is_file()}


def assert_whole(folder: Path, *sets: dict[str, bytes]) -> None:
    """Check that one of the sets is there whole, and nothing else lies about."""
    assert found_in(folder) in sets
    assert [path.name for path in folder.iterdir() if path.is_dir()] == []


def refusal_of(folder: Path, files: dict[str, bytes]) -> str | None:
    try:
        write_set(folder, files)
    except CannotWrite as refusal:
        return str(refusal)
    return None


# -- places --------------------------------------------------------------------------------


def test_a_new_folder_holds_the_set(tmp_path: Path) -> None:
    write_set(tmp_path / "deep" / "er" / "out", made("n"))
    assert found_in(tmp_path / "deep" / "er" / "out") == made("n")
    assert [path.name for path in (tmp_path / "deep" / "er").iterdir()] == ["out"]


def test_a_new_folder_can_be_read_by_others(tmp_path: Path) -> None:
    before = os.umask(0o022)
    try:
        write_set(tmp_path / "out", made("n"))
    finally:
        os.umask(before)
    assert (tmp_path / "out").stat().st_mode & 0o777 == 0o755
    for name in NAMES:
        assert (tmp_path / "out" / name).stat().st_mode & 0o777 == 0o644


def test_an_existing_folder_keeps_what_is_not_ours(tmp_path: Path) -> None:
    (tmp_path / "notes.txt").write_bytes(b"mine")
    write_set(tmp_path, made("n"))
    assert found_in(tmp_path) == made("n") | {"notes.txt": b"mine"}


def test_what_we_wrote_is_replaced_without_asking(tmp_path: Path) -> None:
    write_set(tmp_path / "out", made("o"))
    write_set(tmp_path / "out", made("n"))
    assert found_in(tmp_path / "out") == made("n")


@pytest.mark.parametrize(
    "foreign",
    [
        b"my own notes\n",
        b"",
        b"# Why I use effband\n\nIt gives bands.\n",
        b'{"name": "a list of effband cases"}\n',
    ],
    ids=["plain", "empty", "names-us", "json-names-us"],
)
@pytest.mark.parametrize("name", ["report.md", "result.json"])
def test_a_foreign_file_is_replaced_by_force_only(
    tmp_path: Path, foreign: bytes, name: str
) -> None:
    (tmp_path / name).write_bytes(foreign)
    with pytest.raises(CannotWrite, match="--force"):
        write_set(tmp_path, made("n"))
    assert found_in(tmp_path) == {name: foreign}, "nothing may have been written"
    write_set(tmp_path, made("n"), force=True)
    assert found_in(tmp_path) == made("n")


@pytest.mark.parametrize("force", [False, True])
def test_a_link_in_place_of_a_file_is_refused(tmp_path: Path, force: bool) -> None:
    outside, folder = tmp_path / "outside", tmp_path / "out"
    folder.mkdir()
    outside.write_bytes(OLD_MARK + b"precious")
    (folder / "report.md").symlink_to(outside)
    with pytest.raises(CannotWrite, match="link"):
        write_set(folder, made("n"), force)
    assert outside.read_bytes() == OLD_MARK + b"precious"
    assert [path.name for path in folder.iterdir()] == ["report.md"]


@pytest.mark.parametrize("force", [False, True])
def test_a_link_that_leads_nowhere_is_refused(tmp_path: Path, force: bool) -> None:
    (tmp_path / "report.md").symlink_to(tmp_path / "nowhere")
    with pytest.raises(CannotWrite, match="link"):
        write_set(tmp_path, made("n"), force)
    assert not (tmp_path / "nowhere").exists()


@pytest.mark.parametrize("exists", [False, True])
def test_a_link_in_place_of_the_folder_is_refused(tmp_path: Path, exists: bool) -> None:
    real = tmp_path / "real"
    if exists:
        real.mkdir()
    (tmp_path / "out").symlink_to(real)
    with pytest.raises(CannotWrite, match="link"):
        write_set(tmp_path / "out", made("n"), force=True)
    assert not exists or list(real.iterdir()) == []
    assert exists or not real.exists()


def test_a_file_in_place_of_the_folder_is_refused(tmp_path: Path) -> None:
    (tmp_path / "out").write_bytes(OLD_MARK)
    with pytest.raises(CannotWrite, match="is a file"):
        write_set(tmp_path / "out", made("n"), force=True)
    assert found_in(tmp_path) == {"out": OLD_MARK}


def test_a_file_above_the_folder_is_refused(tmp_path: Path) -> None:
    (tmp_path / "file").write_bytes(b"x")
    with pytest.raises(CannotWrite) as refusal:
        write_set(tmp_path / "file" / "out", made("n"))
    assert "\n" not in str(refusal.value)
    assert found_in(tmp_path) == {"file": b"x"}


@pytest.mark.parametrize("force", [False, True])
def test_a_folder_in_place_of_a_file_is_refused_whole(tmp_path: Path, force: bool) -> None:
    write_set(tmp_path, made("o"))
    (tmp_path / "report.md").unlink()
    (tmp_path / "report.md").mkdir()
    with pytest.raises(CannotWrite):
        write_set(tmp_path, made("n"), force)
    assert (tmp_path / "bands.png").read_bytes() == made("o")["bands.png"]
    assert (tmp_path / "result.json").read_bytes() == made("o")["result.json"]
    assert sorted(path.name for path in tmp_path.iterdir()) == sorted(NAMES)


def test_a_pipe_in_place_of_a_file_does_not_hang(tmp_path: Path) -> None:
    pipe = tmp_path / "report.md"
    os.mkfifo(pipe)
    outcome: list[BaseException | None] = []

    def work() -> None:
        try:
            write_set(tmp_path, made("n"))
            outcome.append(None)
        except BaseException as error:
            outcome.append(error)

    thread = threading.Thread(target=work, daemon=True)
    thread.start()
    thread.join(1.0)
    hung = thread.is_alive()
    if hung:  # let it go: someone opens the other end and says nothing
        os.close(os.open(pipe, os.O_WRONLY | os.O_NONBLOCK))
        thread.join(5.0)
    assert not hung, "reading the pipe to see whose it is waits for ever"
    assert isinstance(outcome[0], CannotWrite)


# -- the receipt ---------------------------------------------------------------------------


@pytest.mark.parametrize("receipt_first", [False, True])
def test_what_the_receipt_lists_is_ours_of_whatever_kind(
    tmp_path: Path, receipt_first: bool
) -> None:
    folder = tmp_path / "out"
    write_set(folder, sealed("o", receipt_first=receipt_first))
    (folder / "photo.jpg").write_bytes(b"mine")
    write_set(folder, sealed("n", receipt_first=receipt_first))
    assert found_in(folder) == sealed("n") | {"photo.jpg": b"mine"}
    assert astray(folder) == ()


@pytest.mark.parametrize("name", ["page.html", "post.txt", "bands.csv", "report.md"])
def test_what_was_changed_since_is_replaced_by_force_only(tmp_path: Path, name: str) -> None:
    write_set(tmp_path, sealed("o"))
    edited = sealed("o")[name] + b"and a line of mine"
    (tmp_path / name).write_bytes(edited)
    assert astray(tmp_path) == (name,)
    with pytest.raises(CannotWrite, match="changed by others: use --force"):
        write_set(tmp_path, sealed("n"))
    assert found_in(tmp_path) == sealed("o") | {name: edited}
    write_set(tmp_path, sealed("n"), force=True)
    assert found_in(tmp_path) == sealed("n")


@pytest.mark.parametrize(
    "mine",
    [
        b"",
        b"[" * 100_000,
        b'{"parts": {}}',
        b'{"parts": {"bolt": 2}}',
        b'{"parts": ["bolt"]}',
        b'{"parts": {"../x": "' + b"0" * 64 + b'"}}',
        b"\xff",
        b"[1]",
    ],
)
def test_a_foreign_receipt_is_replaced_by_force_only(tmp_path: Path, mine: bytes) -> None:
    (tmp_path / "receipt.json").write_bytes(mine)
    assert astray(tmp_path) == ("receipt.json",)
    with pytest.raises(CannotWrite, match="--force"):
        write_set(tmp_path, sealed("n"))
    assert found_in(tmp_path) == {"receipt.json": mine}
    write_set(tmp_path, sealed("n"), force=True)
    assert found_in(tmp_path) == sealed("n")


def test_parts_that_the_new_set_lacks_are_removed_unless_changed(tmp_path: Path) -> None:
    write_set(tmp_path, sealed("o"))
    (tmp_path / "post.txt").write_bytes(b"mine")
    files = {"report.md": made("n")["report.md"]}
    files["receipt.json"] = json.dumps({"parts": parts(files)}).encode()
    write_set(tmp_path, files)
    assert found_in(tmp_path) == files | {"post.txt": b"mine"}


def test_one_file_more_leaves_the_set_beside_it_alone(tmp_path: Path) -> None:
    write_set(tmp_path, sealed("o"))
    write_set(tmp_path, {"case.yaml": b"effband: 1"})
    assert found_in(tmp_path) == sealed("o") | {"case.yaml": b"effband: 1"}


def test_a_mixed_set_is_told(tmp_path: Path) -> None:
    write_set(tmp_path, sealed("o"))
    (tmp_path / "bands.png").write_bytes(sealed("n")["bands.png"])
    (tmp_path / "post.txt").unlink()
    assert astray(tmp_path) == ("bands.png", "post.txt")


def test_a_receipt_of_another_set_is_a_fault_of_the_caller(tmp_path: Path) -> None:
    with pytest.raises(ValueError, match="does not list"):
        write_set(tmp_path / "out", sealed("n") | {"post.txt": b"other"})
    assert list(tmp_path.iterdir()) == []


# -- two writers ---------------------------------------------------------------------------


@pytest.mark.parametrize("kind", [made, sealed])
@pytest.mark.parametrize("exists", [False, True], ids=["new", "existing"])
def test_two_writers_at_once_never_mix(
    tmp_path: Path, exists: bool, kind: Callable[..., dict[str, bytes]]
) -> None:
    sets = [kind("a", 200_000), kind("b", 200_000)]
    for attempt in range(15):
        folder = tmp_path / str(attempt) / "out"
        if exists:
            write_set(folder, kind("o"))
        start, refusals = threading.Barrier(2), []

        def work(
            files: dict[str, bytes],
            at: Path = folder,
            go: threading.Barrier = start,
            said: list[str | None] = refusals,
        ) -> None:
            go.wait()
            said.append(refusal_of(at, files))

        threads = [threading.Thread(target=work, args=(files,)) for files in sets]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        assert_whole(folder, *sets)
        assert [path.name for path in folder.parent.iterdir()] == ["out"]
        assert refusals == [None, None]


def test_a_reader_never_sees_half_a_file(tmp_path: Path) -> None:
    sets = [made("a", 300_000), made("b", 300_000)]
    write_set(tmp_path, sets[0])
    whole = {files["report.md"] for files in sets}
    torn: list[int] = []
    done = threading.Event()

    def read() -> None:
        while not done.is_set():
            data = (tmp_path / "report.md").read_bytes()
            if data not in whole:
                torn.append(len(data))

    reader = threading.Thread(target=read)
    reader.start()
    for turn in range(30):
        write_set(tmp_path, sets[turn % 2])
    done.set()
    reader.join()
    assert torn == []


# -- what killed writers left ---------------------------------------------------------------


def test_what_is_left_of_a_decided_set_does_not_go_over_foreign_files(tmp_path: Path) -> None:
    write_set(tmp_path, sealed("o"))
    left = tmp_path / ".effband-set"
    write_set(left, sealed("n"))
    (tmp_path / "post.txt").write_bytes(b"mine")
    with pytest.raises(CannotWrite, match=r"post\.txt was changed"):
        write_set(tmp_path, {"case.yaml": b"effband: 1"})
    assert found_in(tmp_path) == sealed("o") | {"post.txt": b"mine"}
    write_set(tmp_path, {"case.yaml": b"effband: 1"}, force=True)
    assert found_in(tmp_path) == sealed("n") | {"case.yaml": b"effband: 1"}


def test_what_a_killed_writer_moved_already_is_ours(tmp_path: Path) -> None:
    write_set(tmp_path, sealed("o"))
    left = tmp_path / ".effband-set"
    write_set(left, sealed("n"))
    (left / "post.txt").replace(tmp_path / "post.txt")
    write_set(tmp_path, sealed("m"))
    assert_whole(tmp_path, sealed("m"))


@pytest.mark.parametrize("force", [False, True])
def test_a_link_in_place_of_a_decided_set_is_refused(tmp_path: Path, force: bool) -> None:
    write_set(tmp_path / "elsewhere", sealed("x"))
    write_set(tmp_path / "out", sealed("o"))
    (tmp_path / "out" / ".effband-set").symlink_to(tmp_path / "elsewhere")
    with pytest.raises(CannotWrite, match="link"):
        write_set(tmp_path / "out", sealed("n"), force)
    assert found_in(tmp_path / "elsewhere") == sealed("x")
    assert found_in(tmp_path / "out") == sealed("o")


def test_what_a_killed_writer_left_is_cleared_after_a_day(tmp_path: Path) -> None:
    folder = tmp_path / "out"
    left = [_left_by_a_killed_writer(folder, tmp_path)]
    write_set(folder, made("o"))
    assert left[0].exists(), "its writer may be alive"
    left.append(_left_by_a_killed_writer(folder, folder))
    keep, link, outside = folder / ".keep", folder / f".effband-{'0' * 12}", tmp_path / "outside"
    keep.write_bytes(b"mine")
    outside.mkdir()
    link.symlink_to(outside)
    for path in (*left, keep, outside):
        os.utime(path, (time.time() - 2 * DAY,) * 2)
    write_set(folder, made("n"))
    assert not left[1].exists()
    assert found_in(folder) == made("n") | {".keep": b"mine"}
    assert link.is_symlink()
    assert outside.is_dir()
    write_set(tmp_path / "second", made("n"))
    assert not left[0].exists()


def _left_by_a_killed_writer(folder: Path, beside: Path) -> Path:
    before = set(beside.iterdir())
    dying = (
        "import os, sys, signal\nfrom pathlib import Path\n"
        "from effband.report.writing import write_set\n"
        "os.fsync = lambda _: os.kill(os.getpid(), signal.SIGKILL)\n"
        "write_set(Path(sys.argv[1]), {'report.md': b'<!-- written by effband -->'})\n"
    )
    done = subprocess.run([sys.executable, "-c", dying, str(folder)], check=False, timeout=20)
    assert done.returncode == -signal.SIGKILL
    (left,) = set(beside.iterdir()) - before
    return left
