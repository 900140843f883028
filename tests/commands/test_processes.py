"""The tool as a process of its own: signals, pipes, terminals, alphabets, limits."""

from __future__ import annotations

import os
import pty
import re
import select
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import pytest

COMMAND = (sys.executable, "-m", "effband")
PATIENCE = 30.0
AT_ONCE = 0.5

CaseFile = Callable[..., Path]


def finished(
    *arguments: str | Path, prefix: tuple[str, ...] = (), **environment: str
) -> subprocess.CompletedProcess[bytes]:
    done = subprocess.run(
        [*prefix, *COMMAND, *map(str, arguments)],
        capture_output=True,
        env=os.environ | environment,
        timeout=PATIENCE,
        check=False,
    )
    assert b"Traceback" not in done.stderr + done.stdout
    assert b"fault of its own" not in done.stderr
    return done


class OnATerminal:
    """A process whose stderr is a terminal; stdout is a pipe."""

    def __init__(self, *arguments: str | Path) -> None:
        self.ours, theirs = pty.openpty()
        self.process = subprocess.Popen(
            [*COMMAND, *map(str, arguments)], stdout=subprocess.PIPE, stderr=theirs
        )
        os.close(theirs)
        self.seen = ""

    def read(self, until: str | None = None) -> bool:
        """Read the terminal until a text appears, or its end; return whether it appeared."""
        stop = time.monotonic() + PATIENCE
        while time.monotonic() < stop:
            if until is not None and until in self.seen:
                return True
            if not select.select([self.ours], [], [], 0.05)[0]:
                continue
            try:
                data = os.read(self.ours, 4096)
            except OSError:  # the other end was closed
                return False
            if not data:
                return False
            self.seen += data.decode()
        return False

    def end(self) -> tuple[int, bytes]:
        """Wait for the end; return the exit code and what stood on stdout."""
        assert self.process.stdout is not None
        try:
            out = self.process.stdout.read()
            code = self.process.wait(timeout=PATIENCE)
        finally:
            self.process.kill()
            self.process.stdout.close()
            os.close(self.ours)
        return code, out


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM], ids=["SIGINT", "SIGTERM"])
def test_an_interrupt_ends_a_long_run_at_once(
    root: Path, tmp_path: Path, number: signal.Signals
) -> None:
    folder = tmp_path / "out"
    case = root / "cases" / "wren_bench.yaml"
    run = OnATerminal("run", case, "--trials", "100000000", "-o", folder)
    try:
        assert run.read(until=" %"), f"no progress on a terminal: {run.seen!r}"
        run.process.send_signal(number)
        start = time.monotonic()
        run.process.wait(timeout=PATIENCE)
        took = time.monotonic() - start
        run.read()
    finally:
        code, out = run.end()
    assert code == 130
    assert took < AT_ONCE
    assert out == b""
    assert "Traceback" not in run.seen
    assert re.match(r"\rtrials +\d+ %", run.seen)
    assert re.split(r"[\r\n]+", run.seen.rstrip())[-1].strip() == "stopped", repr(run.seen)
    assert list(tmp_path.iterdir()) == []


def test_an_interrupt_while_it_starts_is_not_lost(root: Path) -> None:
    ended = []
    for moment in (0.15, 0.2, 0.25, 0.3, 0.35, 0.4):
        process = subprocess.Popen(
            [*COMMAND, "run", str(root / "cases" / "wren_bench.yaml"), "--trials", "100000000"],
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
        )
        time.sleep(moment)
        process.send_signal(signal.SIGINT)
        try:
            out, err = process.communicate(timeout=2 * AT_ONCE)
        except subprocess.TimeoutExpired:
            process.kill()
            process.communicate()
            ended.append("went on as if nothing had been said")
            continue
        assert b"Traceback" not in err
        assert out == b""
        ended.append(process.returncode)
    assert ended == [130] * 6


def test_a_short_run_shows_no_progress(case: CaseFile) -> None:
    run = OnATerminal("run", case())
    run.read()
    code, out = run.end()
    assert code == 0
    assert run.seen == ""
    assert b"whole case" in out


@pytest.mark.parametrize("arguments", [("schema",), ("run", "CASE", "--json")], ids=" ".join)
def test_a_reader_that_goes_away_is_no_trouble(case: CaseFile, arguments: tuple[str, ...]) -> None:
    words = [str(case()) if word == "CASE" else word for word in arguments]
    shell = '"$@" | head -1; echo "${PIPESTATUS[0]}"'
    done = subprocess.run(
        ["bash", "-c", shell, "_", *COMMAND, *words],
        capture_output=True,
        text=True,
        timeout=PATIENCE,
        check=True,
    )
    first, code = done.stdout.splitlines()
    assert first == "{"
    assert done.stderr == ""
    assert int(code) in (0, 141), "1 would mean that the case is refused"


def test_a_closed_pipe_is_quiet() -> None:
    process = subprocess.Popen([*COMMAND, "units"], stdout=subprocess.PIPE, stderr=subprocess.PIPE)
    assert process.stdout is not None
    assert process.stderr is not None
    process.stdout.close()
    assert process.stderr.read() == b""
    process.stderr.close()
    assert process.wait(timeout=PATIENCE) in (0, 141), "1 would mean that a case is refused"


def test_a_full_stdout_is_one_line_and_code_4() -> None:
    with open("/dev/full", "wb") as full:
        done = subprocess.run(
            [*COMMAND, "units"], stdout=full, stderr=subprocess.PIPE, timeout=PATIENCE, check=False
        )
    assert done.returncode == 4
    assert done.stderr == b"cannot write: No space left on device\n"


def test_a_stdout_that_was_closed_is_no_fault_of_ours() -> None:
    done = finished("units", prefix=("bash", "-c", 'exec "$@" >&-', "_"))
    assert done.returncode in (0, 4)
    assert len(done.stderr.splitlines()) <= 1


def test_plain_ascii_does_not_crash(case: CaseFile) -> None:
    file = case(title="Mühle ± 水車")
    done = finished("run", file, PYTHONIOENCODING="ascii")
    assert done.returncode == 0
    assert done.stderr == b""
    spelled = rb"M\xfchle \xb1 \u6c34\u8eca"
    assert done.stdout.splitlines()[0] in (spelled, "Mühle ± 水車".encode())


def test_a_limit_on_the_size_of_files(case: CaseFile, tmp_path: Path) -> None:
    file = case()
    limited = ("bash", "-c", 'ulimit -f 1; exec "$@"', "_")
    done = finished("run", file, "-o", tmp_path / "out", "--format", "md", prefix=limited)
    assert done.returncode == 4
    assert len(done.stderr.splitlines()) == 1
    assert b"File too large" in done.stderr
    assert [path.name for path in tmp_path.iterdir()] == [file.name]
