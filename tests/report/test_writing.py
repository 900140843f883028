"""Files appear whole or not at all: under faults, two writers, and sudden death."""

from __future__ import annotations

import errno
import json
import os
import random
import signal
import struct
import subprocess
import sys
import threading
import time
import zlib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from effband.problems import CannotWrite
from effband.report.writing import write_set

OLD_MARK = b"<!-- written by effband -->\n"
NAMES = ("bands.png", "report.md", "result.json")
DAY = 86_400
KILLS = 20


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


def _chunk(kind: bytes, data: bytes) -> bytes:
    return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))


def found_in(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in sorted(folder.iterdir())}


def assert_whole(folder: Path, *sets: dict[str, bytes]) -> None:
    """Check that each file is wholly of one of the sets, and nothing else lies about."""
    found = found_in(folder)
    assert set(found) == set(NAMES)
    for name, data in found.items():
        assert data in [files[name] for files in sets]


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


# -- faults --------------------------------------------------------------------------------


class Faults:
    """Lets the n-th call of what writes fail, as a full disk would."""

    WATCHED = ("fsync", "replace", "rename", "mkdir", "chmod", "write", "open")

    def __init__(self, patch: pytest.MonkeyPatch, at: int, number: int) -> None:
        self.calls = 0
        self.at = at
        self.number = number
        for name in self.WATCHED:
            patch.setattr(os, name, self._failing(getattr(os, name)))

    def _failing(self, real: Callable[..., Any]) -> Callable[..., Any]:
        def call(*args: Any, **kwargs: Any) -> Any:
            self.calls += 1
            if self.calls == self.at:
                raise OSError(self.number, os.strerror(self.number))
            return real(*args, **kwargs)

        return call


@pytest.mark.parametrize("number", [errno.ENOSPC, errno.EROFS, errno.EACCES, errno.EIO])
@pytest.mark.parametrize("old", [False, True], ids=["new", "existing"])
def test_whichever_call_fails_no_half_file_and_no_leftover(
    tmp_path: Path, old: bool, number: int
) -> None:
    failures = 0
    for at in range(1, 60):
        parent = tmp_path / str(at)
        folder = parent / "out"
        parent.mkdir()
        if old:
            write_set(folder, made("o"))
        with pytest.MonkeyPatch.context() as patch:
            faults = Faults(patch, at, number)
            try:
                write_set(folder, made("n"))
            except CannotWrite as refusal:
                text = str(refusal)
                assert "\n" not in text
                assert os.strerror(number) in text
                failures += 1
            else:
                if faults.calls < at:
                    assert found_in(folder) == made("n")
                    break
        assert [path.name for path in parent.iterdir()] in ([], ["out"])
        if old:
            assert_whole(folder, made("o"), made("n"))
        elif folder.exists():
            assert found_in(folder) == made("n")
    else:
        pytest.fail("it never completed")
    assert failures >= len(NAMES) + 1, "every file is forced to the disk, then put in place"


@pytest.mark.parametrize("old", [False, True], ids=["new", "existing"])
def test_an_interrupt_leaves_nothing_behind(tmp_path: Path, old: bool) -> None:
    folder = tmp_path / "out"
    if old:
        write_set(folder, made("o"))

    def interrupt(descriptor: int) -> None:
        raise KeyboardInterrupt

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(os, "fsync", interrupt)
        with pytest.raises(KeyboardInterrupt):
            write_set(folder, made("n"))
    assert found_in(folder) == made("o") if old else list(tmp_path.iterdir()) == []


def test_everything_is_on_the_disk_before_anything_is_in_place(tmp_path: Path) -> None:
    write_set(tmp_path, made("o"))
    order: list[str] = []
    with pytest.MonkeyPatch.context() as patch:
        for name in ("fsync", "replace"):
            real = getattr(os, name)

            def call(*args: Any, _name: str = name, _real: Any = real) -> None:
                order.append(_name)
                _real(*args)

            patch.setattr(os, name, call)
        write_set(tmp_path, made("n"))
    assert order[: len(NAMES)] == ["fsync"] * len(NAMES)
    assert order.count("replace") == len(NAMES)


# -- two writers ---------------------------------------------------------------------------


@pytest.mark.parametrize("exists", [False, True], ids=["new", "existing"])
def test_two_writers_at_once_never_mix_halves(tmp_path: Path, exists: bool) -> None:
    sets = [made("a", 200_000), made("b", 200_000)]
    for attempt in range(15):
        folder = tmp_path / str(attempt) / "out"
        if exists:
            write_set(folder, made("o"))
        start = threading.Barrier(2)
        refusals: list[CannotWrite] = []

        def work(
            files: dict[str, bytes], at: Path, go: threading.Barrier, said: list[CannotWrite]
        ) -> None:
            go.wait()
            try:
                write_set(at, files)
            except CannotWrite as refusal:
                said.append(refusal)

        threads = [threading.Thread(target=work, args=(s, folder, start, refusals)) for s in sets]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        assert_whole(folder, *sets)
        assert [path.name for path in folder.parent.iterdir()] == ["out"]
        assert len(refusals) <= (0 if exists else 1)


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


# -- sudden death --------------------------------------------------------------------------

WRITER = """
import itertools, sys
from pathlib import Path
from effband.report.writing import write_set
folder, *sources = map(Path, sys.argv[1:])
sets = [{path.name: path.read_bytes() for path in source.iterdir()} for source in sources]
print("ready", flush=True)
for files in itertools.cycle(sets):
    write_set(folder, files)
"""


def test_killed_at_any_moment_each_file_is_old_or_new(tmp_path: Path) -> None:
    rng = random.Random(9)
    sets = [made("o", 400_000), made("a", 400_000), made("b", 400_000)]
    folder = tmp_path / "out"
    write_set(folder, sets[0])
    sources = [tmp_path / "a", tmp_path / "b"]
    for source, files in zip(sources, sets[1:], strict=True):
        write_set(source, files)
    changed = 0
    for _ in range(KILLS):
        before = found_in(folder)
        writer = subprocess.Popen(
            [sys.executable, "-c", WRITER, folder, *sources], stdout=subprocess.PIPE
        )
        assert writer.stdout is not None
        assert writer.stdout.readline() == b"ready\n"
        time.sleep(rng.uniform(0.0, 0.05))
        os.kill(writer.pid, signal.SIGKILL)
        assert writer.wait(timeout=10) == -signal.SIGKILL
        writer.stdout.close()
        found = found_in(folder)
        for name in NAMES:
            assert found[name] in [files[name] for files in sets]
        assert all(name in NAMES or name.startswith(".") for name in found)
        changed += any(found[name] != before[name] for name in NAMES)
    assert changed > 0, "the kills came too early to prove anything"
    write_set(folder, made("n"))
    for name in NAMES:
        assert (folder / name).read_bytes() == made("n")[name]


def test_what_a_killed_writer_left_is_cleared_after_a_day(tmp_path: Path) -> None:
    folder = tmp_path / "out"
    write_set(folder, made("o"))
    left = _left_by_a_killed_writer(folder)
    assert left, "a killed writer leaves its unfinished files"
    keep = folder / ".keep-this"
    keep.write_bytes(b"mine")
    for path in (*left, keep):
        os.utime(path, (time.time() - 2 * DAY,) * 2)
    write_set(folder, made("n"))
    assert found_in(folder) == made("n") | {".keep-this": b"mine"}


def _left_by_a_killed_writer(folder: Path) -> list[Path]:
    dying = (
        "import os, sys, signal\nfrom pathlib import Path\n"
        "from effband.report.writing import write_set\n"
        "os.fsync = lambda _: os.kill(os.getpid(), signal.SIGKILL)\n"
        "write_set(Path(sys.argv[1]), {'report.md': b'<!-- written by effband -->'})\n"
    )
    done = subprocess.run([sys.executable, "-c", dying, str(folder)], check=False, timeout=20)
    assert done.returncode == -signal.SIGKILL
    return [path for path in folder.iterdir() if path.name not in NAMES]
