"""The command line in this process: what it says on each stream, and its exit code."""

from __future__ import annotations

import io
import re
import signal
import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pytest

from effband.commands import main

ROOT = Path(__file__).resolve().parents[2]
CODES = {0, 1, 2, 3, 4, 130}
CONTROLS = re.compile(r"[\x00-\x09\x0b-\x1f\x7f-\x9f\u2028-\u202e\u2066-\u2069]")

TINY = """\
effband: 1
title: {title}
inputs:
  taken: {{value: 100 W, plus_minus: 5 W, evidence: nameplate}}
  given: {{value: 30 W, standard_uncertainty: 1 W, evidence: measured}}
results:
  share: {{formula: given / taken, unit: "%", boundary: {{in: mains, out: shaft}}}}
settings: {{trials: 20000}}
"""
REFUSED = TINY.format(title="refused") + "nonsense: 1\n"
NOT_FINITE = """\
effband: 1
title: the logarithm of a number that may be negative
inputs: {x: {value: 0.5, plus_minus: 1}}
results: {y: {formula: log(x), unit: "1", is: ratio}}
settings: {trials: 20000}
"""


@dataclass(frozen=True)
class Said:
    """What one call of the command line gave."""

    code: int
    out: str
    err: str


Effband = Callable[..., Said]
CaseFile = Callable[..., Path]


class _Stream(io.TextIOWrapper):
    """A stream in memory that may pass for a terminal."""

    def __init__(self, terminal: bool) -> None:
        super().__init__(io.BytesIO(), encoding="utf-8", write_through=True)
        self.terminal = terminal

    def isatty(self) -> bool:
        return self.terminal

    def said(self) -> str:
        self.flush()
        assert isinstance(self.buffer, io.BytesIO)
        return self.buffer.getvalue().decode("utf-8")


def call(*arguments: str | Path, terminal: bool = False) -> Said:
    """Call the command line here; check what must hold of every call."""
    streams = _Stream(False), _Stream(terminal)
    kept = sys.stdout, sys.stderr, signal.getsignal(signal.SIGTERM)
    try:
        sys.stdout, sys.stderr = streams
        with pytest.raises(SystemExit) as ended:
            main([str(argument) for argument in arguments])
        out, err = (stream.said() for stream in streams)
    finally:
        sys.stdout, sys.stderr = kept[:2]
        signal.signal(signal.SIGTERM, kept[2])
    code = ended.value.code
    assert code in CODES
    assert isinstance(code, int)
    assert "Traceback" not in out + err
    assert "fault of its own" not in err
    assert not CONTROLS.search(out)
    assert terminal or not CONTROLS.search(err)
    if code:
        assert out == "", "what was refused has no result"
        assert err.strip()
    return Said(code, out, err)


@pytest.fixture(scope="session")
def effband() -> Effband:
    return call


@pytest.fixture(scope="session")
def wren_run() -> Said:
    """`effband run` on the demo case, as the README has it."""
    return call("run", ROOT / "cases" / "wren_bench.yaml")


@pytest.fixture(scope="session")
def root() -> Path:
    return ROOT


@pytest.fixture
def case(tmp_path: Path) -> CaseFile:
    """Return a function that writes a small case and gives its path."""

    def write(name: str = "tiny.yaml", text: str | None = None, title: str = "tiny") -> Path:
        file = tmp_path / name
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_text(TINY.format(title=title) if text is None else text, encoding="utf-8")
        return file

    return write


@pytest.fixture
def refused(case: CaseFile) -> Path:
    return case("refused.yaml", REFUSED)


@pytest.fixture
def not_finite(case: CaseFile) -> Path:
    return case("not_finite.yaml", NOT_FINITE)
