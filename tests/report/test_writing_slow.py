"""Sudden death at random moments, writers in numbers, and files that may not grow.

Needs minutes: `python -m pytest -m slow tests/report/test_writing_slow.py -s` prints the counts.
"""

from __future__ import annotations

import collections
import contextlib
import errno
import os
import random
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from test_writing import assert_whole, found_in, sealed

from effband.report.writing import astray, write_set

pytestmark = pytest.mark.slow

KILLS, RUNS_KILLED, ROUNDS = 200, 60, 100
SIZES = (200, 400_000)
CASE = """\
effband: 1
title: tiny
inputs:
  taken: {value: 100 W, plus_minus: 5 W, evidence: nameplate}
  given: {value: 30 W, standard_uncertainty: 1 W, evidence: measured}
results:
  share: {formula: given / taken, unit: "%", boundary: {in: mains, out: shaft}}
settings: {trials: 20000}
"""
# Writes the sets found in its folders, in turn, into each folder that it reads a line of.
WRITER = """
import itertools, os, sys
from pathlib import Path
from effband.commands import interrupt
from effband.report.writing import write_set
interrupt.listen()
sets = [{path.name: path.read_bytes() for path in Path(each).iterdir()} for each in sys.argv[1:]]
try:
    print("ready", flush=True)
    for line, files in zip(sys.stdin, itertools.cycle(sets)):
        write_set(Path(line.rstrip()), files)
        print("done", flush=True)
except KeyboardInterrupt:
    os._exit(130)
"""


@contextlib.contextmanager
def writer(*sources: Path) -> Iterator[subprocess.Popen[bytes]]:
    """Give a writer that is ready; it is killed at the end if it still lives."""
    process = subprocess.Popen(
        [sys.executable, "-c", WRITER, *sources], stdin=subprocess.PIPE, stdout=subprocess.PIPE
    )
    assert process.stdin is not None
    assert process.stdout is not None
    try:
        assert process.stdout.readline() == b"ready\n"
        yield process
    finally:
        process.kill()
        process.wait(timeout=20)
        process.stdout.close()
        with contextlib.suppress(BrokenPipeError):
            process.stdin.close()


def tell(process: subprocess.Popen[bytes], folder: Path, times: int = 1) -> None:
    assert process.stdin is not None
    process.stdin.write(f"{folder}\n".encode() * times)
    process.stdin.flush()


def prepared(tmp_path: Path, size: int) -> tuple[list[dict[str, bytes]], list[Path]]:
    sets = [sealed("a", size), sealed("b", size)]
    sources = [tmp_path / "a", tmp_path / "b"]
    for source, files in zip(sources, sets, strict=True):
        write_set(source, files)
    return sets, sources


def test_each_length_of_file_that_the_system_refuses_leaves_the_old_set(tmp_path: Path) -> None:
    limited = (
        "import resource, sys\nfrom pathlib import Path\n"
        "from effband.problems import CannotWrite\nfrom effband.report.writing import write_set\n"
        "files = {path.name: path.read_bytes() for path in Path(sys.argv[1]).iterdir()}\n"
        "resource.setrlimit(resource.RLIMIT_FSIZE, (int(sys.argv[3]),) * 2)\n"
        "try:\n    write_set(Path(sys.argv[2]), files)\n"
        "except CannotWrite as refusal:\n    print(refusal)\n    sys.exit(refusal.exit_code)\n"
    )
    old, new = sealed("o"), sealed("n", 10_000)
    largest = max(len(data) for data in new.values())
    write_set(tmp_path / "source", new)
    for limit in (0, 1, 100, 4096, largest - 1, largest):
        folders = tmp_path / f"old{limit}", tmp_path / f"new{limit}"
        write_set(folders[0], old)
        for folder in folders:
            done = subprocess.run(
                [sys.executable, "-c", limited, tmp_path / "source", folder, str(limit)],
                capture_output=True,
                text=True,
                check=False,
                timeout=20,
            )
            assert done.stderr == ""
            if limit == largest:
                assert_whole(folder, new)
                continue
            assert done.returncode == 4
            assert done.stdout == f"cannot write in {folder}: {os.strerror(errno.EFBIG)}\n"
        if limit < largest:
            assert_whole(folders[0], old)
            assert not folders[1].exists()
    assert not [path for path in tmp_path.iterdir() if path.name.startswith(".")]


def kill_at_work(process: subprocess.Popen[bytes], rng: random.Random) -> None:
    """Kill a writer some time after it has written a few sets."""
    assert process.stdout is not None
    for _ in range(rng.randrange(4)):
        assert process.stdout.readline() == b"done\n"
    time.sleep(rng.uniform(0.0, 0.02))
    process.send_signal(signal.SIGKILL)
    assert process.wait(timeout=20) == -signal.SIGKILL


@pytest.mark.parametrize("size", SIZES)
def test_killed_at_any_moment_a_new_folder_is_whole(tmp_path: Path, size: int) -> None:
    rng = random.Random(9)
    sets, sources = prepared(tmp_path, size)
    place = tmp_path / "place"
    unfinished = written = 0
    for _ in range(KILLS):
        with writer(*sources) as process:
            for number in range(100):
                tell(process, place / str(number))
            kill_at_work(process, rng)
        for folder in place.glob("[0-9]*"):
            assert_whole(folder, *sets)
            written += 1
        unfinished += len(list(place.glob(".effband-*")))
        shutil.rmtree(place, ignore_errors=True)
    print(f"\n{KILLS} killed, {size} bytes, new: {written} whole, {unfinished} left unfinished")
    assert written > KILLS
    assert unfinished > KILLS / 10, "too few were killed at work"


@pytest.mark.parametrize("size", SIZES)
def test_killed_at_any_moment_a_set_is_whole_or_made_so(tmp_path: Path, size: int) -> None:
    rng = random.Random(9)
    sets, sources = prepared(tmp_path, size)
    folder = tmp_path / "place" / "out"
    wholes = [files | {"photo.jpg": b"mine"} for files in (sealed("o", size), *sets)]
    counts: collections.Counter[str] = collections.Counter()
    for _ in range(KILLS):
        write_set(folder, sealed("o", size))
        (folder / "photo.jpg").write_bytes(b"mine")
        with writer(*sources) as process:
            tell(process, folder, 100)
            kill_at_work(process, rng)
        found = found_in(folder)
        counts[("old", "a", "b")[wholes.index(found)] if found in wholes else "mixed"] += 1
        if found not in wholes:
            assert astray(folder) != ()
            for name, data in found.items():
                assert data in [files[name] for files in wholes], "no file is torn"
        write_set(folder, {})
        assert found_in(folder) in wholes
        assert astray(folder) == ()
    unfinished = len(list(folder.glob(".effband-*")))
    print(f"\n{KILLS} killed, {size} bytes, existing: {dict(counts)}, {unfinished} left unfinished")
    assert all(counts[which] > 0 for which in ("old", "a", "b"))
    assert unfinished > KILLS / 10, "too few were killed at work"


def test_a_request_to_end_leaves_nothing_behind(tmp_path: Path) -> None:
    rng = random.Random(7)
    sets, sources = prepared(tmp_path, 400_000)
    folder = tmp_path / "place" / "out"
    for turn in range(ROUNDS):
        with writer(*sources) as process:
            tell(process, folder, 100)
            time.sleep(rng.uniform(0.0, 0.05))
            number = (signal.SIGTERM, signal.SIGINT)[turn % 2]
            process.send_signal(number)
            assert process.wait(timeout=20) == 130
        if folder.exists():
            assert_whole(folder, *sets)
        assert [path.name for path in tmp_path.glob("place/*")] in ([], ["out"])
    assert folder.exists()


@pytest.mark.parametrize("one_dies", [False, True], ids=["both-live", "one-dies"])
@pytest.mark.parametrize("exists", [False, True], ids=["new", "existing"])
def test_two_writers_never_mix(tmp_path: Path, exists: bool, one_dies: bool) -> None:
    rng = random.Random(5)
    sets, sources = prepared(tmp_path, 200_000)
    last: collections.Counter[str] = collections.Counter()
    with writer(sources[0]) as first, contextlib.ExitStack() as others:
        second = others.enter_context(writer(sources[1]))
        for number in range(ROUNDS):
            folder = tmp_path / "place" / str(number)
            if exists:
                write_set(folder, sealed("o"))
            tell(second, folder)
            tell(first, folder)
            if one_dies:
                time.sleep(rng.uniform(0.0, 0.02))
                second.kill()
                second = others.enter_context(writer(sources[1]))
            for process in (first,) if one_dies else (first, second):
                assert process.stdout is not None
                assert process.stdout.readline() == b"done\n", "it was refused"
            if one_dies and found_in(folder) not in sets:
                assert astray(folder) != ()
                last["mixed by the death, and told"] += 1
                write_set(folder, {})
            assert found_in(folder) in sets
            last["ab"[sets.index(found_in(folder))]] += 1
            if not one_dies:
                assert_whole(folder, *sets)
    if not one_dies:
        names = sorted(path.name for path in (tmp_path / "place").iterdir())
        assert names == sorted(str(number) for number in range(ROUNDS))
    print(f"\n{ROUNDS} rounds, exists={exists}, one_dies={one_dies}: last was {dict(last)}")


def test_a_run_that_is_killed_leaves_the_report_whole(tmp_path: Path) -> None:
    rng = random.Random(3)
    commands, wholes = [], []
    for number in (1, 2):
        case = tmp_path / f"case{number}.yaml"
        case.write_text(CASE.replace("trials: 20000", f"trials: 20000, seed: {number}"))
        run = [sys.executable, "-m", "effband", "run", str(case), "--format", "md,png,json", "-o"]
        commands.append(run)
        subprocess.run([*run, tmp_path / f"whole{number}"], check=True, capture_output=True)
        wholes.append(found_in(tmp_path / f"whole{number}"))
    assert wholes[0] != wholes[1]
    folder = tmp_path / "out"
    counts: collections.Counter[str] = collections.Counter()
    for turn in range(RUNS_KILLED):
        before = found_in(folder) if folder.exists() else {}
        process = subprocess.Popen(
            [*commands[turn % 2], folder], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
        )
        if turn % 4 == 3:
            time.sleep(rng.uniform(0.0, 1.0))
        else:
            wait_for_work(process, folder if folder.exists() else tmp_path)
            time.sleep(rng.uniform(0.0, 0.01))
        process.kill()
        process.wait(timeout=20)
        found = found_in(folder) if folder.exists() else {}
        new = wholes[turn % 2]
        if found not in (before, new):
            assert (folder / ".effband-set").is_dir()
            write_set(folder, {})
            assert found_in(folder) == new
            counts["mixed until the next call"] += 1
        counts["old" if found == before else "new"] += 1
    print(f"\n{RUNS_KILLED} runs killed: {dict(counts)}")
    assert counts["old"] > 0
    assert counts["new"] > 0


def wait_for_work(process: subprocess.Popen[bytes], place: Path) -> None:
    """Wait until a writer has made its folder, beside those of the dead."""
    before = set(os.listdir(place))
    while process.poll() is None and set(os.listdir(place)) <= before:
        time.sleep(0.0002)
