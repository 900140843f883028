"""A set of files stays whole whichever call fails, is interrupted, or is the last."""

from __future__ import annotations

import errno
import os
import signal
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from test_writing import assert_whole, found_in, made, refusal_of, sealed

from effband.report import writing
from effband.report.writing import astray, write_set

# -- faults --------------------------------------------------------------------------------

CALLS = ("fsync", "replace", "rename", "mkdir", "rmdir", "unlink", "open", "listdir")


class Faults:
    """Lets the n-th call fail, as a disk would; or each one from then on."""

    def __init__(self, patch: pytest.MonkeyPatch, at: int, number: int, lasting: bool) -> None:
        self.calls, self.at, self.number, self.lasting = 0, at, number, lasting
        for name in CALLS:
            patch.setattr(os, name, self._failing(getattr(os, name)))
        patch.setattr(writing, "open", self._open, raising=False)

    def _failing(self, real: Callable[..., Any]) -> Callable[..., Any]:
        def call(*args: Any, **kwargs: Any) -> Any:
            self.calls += 1
            if self.calls == self.at or (self.lasting and self.calls > self.at):
                raise OSError(self.number, os.strerror(self.number))
            return real(*args, **kwargs)

        return call

    def _open(self, *args: Any) -> Any:
        stream = self._failing(open)(*args)
        if "x" not in args[1]:
            return stream
        return _Written(stream, self._failing(stream.write))


class _Written:
    """A file whose `write` may fail."""

    def __init__(self, stream: Any, write: Callable[..., Any]) -> None:
        self.stream, self.write = stream, write
        self.flush, self.fileno = stream.flush, stream.fileno

    def __enter__(self) -> _Written:
        return self

    def __exit__(self, *_: object) -> None:
        self.stream.close()


def assert_old_or_decided(folder: Path, old: dict[str, bytes], new: dict[str, bytes]) -> None:
    """Check that a set is whole, or known to be mixed and made whole by the next call."""
    found = found_in(folder)
    mixed = found not in (old, new)
    if mixed:
        assert (folder / ".effband-set").is_dir()
        assert "receipt.json" not in old or astray(folder) != ()
    assert all(data in (old.get(name), new[name]) for name, data in found.items())
    write_set(folder, {})
    assert found_in(folder) in ((new,) if mixed else (old, new))


@pytest.mark.parametrize("number", [errno.ENOSPC, errno.EROFS, errno.EACCES, errno.EIO])
@pytest.mark.parametrize("lasting", [False, True], ids=["once", "lasting"])
@pytest.mark.parametrize("kind", [made, sealed])
@pytest.mark.parametrize("exists", [False, True], ids=["new", "existing"])
def test_whichever_call_fails_the_set_is_whole(
    tmp_path: Path,
    exists: bool,
    kind: Callable[[str], dict[str, bytes]],
    lasting: bool,
    number: int,
) -> None:
    old, new = kind("o"), kind("n")
    failures = 0
    for at in range(1, 200):
        folder = tmp_path / str(at) / "out"
        folder.parent.mkdir()
        if exists:
            write_set(folder, old)
        with pytest.MonkeyPatch.context() as patch:
            faults = Faults(patch, at, number, lasting)
            refusal = refusal_of(folder, new)
        if refusal is not None:
            assert "\n" not in refusal
            assert os.strerror(number) in refusal
            failures += 1
        else:
            assert found_in(folder) == new
            if faults.calls < at:
                break
        if not lasting:
            assert [path.name for path in folder.parent.iterdir()] in ([], ["out"])
            if folder.exists():
                assert_whole(folder, *([old, new] if exists else [new]))
        elif exists:
            assert_old_or_decided(folder, old, new)
        elif folder.exists():
            assert found_in(folder) == new
    else:
        pytest.fail("it never completed")
    assert failures >= 3 * len(new) + 2, "each file is made, written and forced to the disk"


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
    if old:
        assert_whole(folder, made("o"))
    else:
        assert list(tmp_path.iterdir()) == []


def test_an_interrupt_among_the_renames_waits_for_the_set(tmp_path: Path) -> None:
    write_set(tmp_path, sealed("o"))
    real, calls = os.replace, []

    def interrupt(*args: Any) -> None:
        calls.append(args)
        if len(calls) == 3:
            raise KeyboardInterrupt
        real(*args)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(os, "replace", interrupt)
        with pytest.raises(KeyboardInterrupt):
            write_set(tmp_path, sealed("n"))
    assert_whole(tmp_path, sealed("n"))


def test_everything_is_on_the_disk_before_anything_is_in_place(tmp_path: Path) -> None:
    write_set(tmp_path, sealed("o"))
    order: list[str] = []
    with pytest.MonkeyPatch.context() as patch:
        for name in ("fsync", "replace", "rename"):
            real = getattr(os, name)

            def call(*args: Any, _name: str = name, _real: Any = real) -> None:
                order.append(_name if _name == "fsync" else Path(args[1]).name)
                _real(*args)

            patch.setattr(os, name, call)
        write_set(tmp_path, sealed("n"))
    first = order.index(".effband-set")
    assert order[:first] == ["fsync"] * (len(sealed("n")) + 1), "the files, and their folder"
    moved = order[first + 1 :]
    assert sorted(moved) == sorted([*sealed("n"), "fsync"])
    assert moved[-2:] == ["receipt.json", "fsync"]


# -- sudden death --------------------------------------------------------------------------

# Writes a set into OUT/1, OUT/2, ... and is killed before the first, second, ... call.
DYING = """
import os, signal, sys
from pathlib import Path
from effband.report.writing import write_set
root, source, *calls = sys.argv[1:]
files = {path.name: path.read_bytes() for path in Path(source).iterdir()}
left = 0
def dying(real):
    def call(*args, **kwargs):
        global left
        left -= 1
        if not left:
            os.kill(os.getpid(), signal.SIGKILL)
        return real(*args, **kwargs)
    return call
for name in calls:
    setattr(os, name, dying(getattr(os, name)))
at = 1
while os.path.isdir(f"{root}/{at}"):
    child = os.fork()
    if not child:
        left = at
        write_set(Path(root) / str(at) / "out", files)
        os._exit(0)
    print(os.WTERMSIG(os.waitpid(child, 0)[1]), flush=True)
    at += 1
"""


@pytest.mark.parametrize("kind", [made, sealed])
@pytest.mark.parametrize("exists", [False, True], ids=["new", "existing"])
def test_killed_before_any_call_a_set_is_whole_or_made_so(
    tmp_path: Path, exists: bool, kind: Callable[[str], dict[str, bytes]]
) -> None:
    old, new = kind("o"), kind("n")
    write_set(tmp_path / "source", new)
    root = tmp_path / "root"
    folders = [root / str(at) / "out" for at in range(1, 41)]
    for folder in folders:
        folder.parent.mkdir(parents=True)
        if exists:
            write_set(folder, old)
    said = subprocess.run(
        [sys.executable, "-c", DYING, root, tmp_path / "source", *CALLS],
        capture_output=True,
        check=True,
        timeout=60,
    ).stdout.split()
    assert len(said) == len(folders)
    deaths = said.count(str(int(signal.SIGKILL)).encode())
    assert len(new) < deaths < len(folders), "killed before each call, and then completed"
    mixed = 0
    for folder in folders:
        if exists:
            mixed += found_in(folder) not in (old, new)
            assert_old_or_decided(folder, old, new)
        else:
            assert not folder.exists() or found_in(folder) == new
    assert found_in(folders[-1]) == new
    assert mixed == (len(new) - 1 if exists else 0), "killed between any two renames"
