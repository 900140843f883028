"""One hostile case through the command line, in this process: what came out, and how long it took.

Whatever the case, some things always hold; `attempt` asserts them: no traceback, no fault of
effband's own, no control character in the output, nothing on stdout when refused, and no hang.
"""

from __future__ import annotations

import re
import signal
import sys
import time
import unicodedata
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import pytest

from effband.commands import main

LONGEST_SECONDS = 2.0
PRELUDE = "effband: 1\ntitle: bench\n"
RESULT = "results: {g: {formula: standard_gravity, unit: m/s^2}}\n"


@dataclass(frozen=True)
class Outcome:
    """What one command did."""

    code: int
    stdout: str
    stderr: str


class TooSlow(BaseException):
    """Raised by the alarm; not an Exception, so that nothing under test can swallow it."""


@contextmanager
def within(seconds: float) -> Iterator[None]:
    """Fail a block that takes longer; an endless one is broken off."""

    def ring(*_: object) -> None:
        raise TooSlow

    before = signal.signal(signal.SIGALRM, ring)
    signal.setitimer(signal.ITIMER_REAL, seconds)
    start = time.monotonic()
    try:
        yield
    except TooSlow:
        pytest.fail(f"not done within {seconds:g} s", pytrace=False)
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0.0)
        signal.signal(signal.SIGALRM, before)
    assert time.monotonic() - start < seconds


def complete(body: str) -> str:
    """Return a whole case around a few sections: two lines before, a result where none is."""
    if re.search(r"^results:", body, re.MULTILINE):
        return PRELUDE + body
    return PRELUDE + body + RESULT


def attempt(
    data: bytes | str,
    capsys: pytest.CaptureFixture[str],
    command: tuple[str, ...] = ("check", "case.yaml"),
    seconds: float = LONGEST_SECONDS,
) -> Outcome:
    """Run a command on `case.yaml` in the current folder, which is written first."""
    raw = data if isinstance(data, bytes) else data.encode("utf-8", "surrogatepass")
    Path("case.yaml").write_bytes(raw)
    files = sorted(Path().iterdir())
    terminated = signal.getsignal(signal.SIGTERM)
    capsys.readouterr()
    try:
        with within(seconds), pytest.raises(SystemExit) as ended:
            main(list(command))
    finally:
        signal.signal(signal.SIGTERM, terminated)
    out, err = capsys.readouterr()
    assert sorted(Path().iterdir()) == files, "a file was left behind"
    outcome = Outcome(int(ended.value.code or 0), out, err)
    never_wrong(outcome)
    return outcome


def never_wrong(outcome: Outcome) -> None:
    """Assert what holds for every outcome."""
    for text in (outcome.stdout, outcome.stderr):
        assert "Traceback" not in text
        assert "fault of its own" not in text
        assert not controls_in(text)
    if outcome.code != 0:
        assert outcome.stdout == ""
        assert outcome.stderr != ""


def controls_in(text: str) -> set[str]:
    """Return the characters of a text that could move a terminal's cursor or hide."""
    return {c for c in text if c != "\n" and unicodedata.category(c) in ("Cc", "Cf", "Cs", "Zl")}


def python() -> str:
    """Return the interpreter, for the few tests that need a process of their own."""
    return sys.executable
