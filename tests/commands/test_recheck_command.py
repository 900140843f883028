"""`effband recheck`: what a stranger sees of a published report, and how the command ends."""

from __future__ import annotations

import io
import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from effband.commands import main

AGREES, REFUSED, WRONG_USAGE, NO_SUMS, DIFFERS = 0, 1, 2, 3, 7
ROOT = Path(__file__).resolve().parents[2]
CaseFile = Callable[..., Path]
Recheck = Callable[..., tuple[int, str, str]]
CLAIMED = """\
effband: 1
title: claimed
inputs:
  taken: {value: 100 W, plus_minus: 5 W, evidence: nameplate}
  given: {value: 30 W, standard_uncertainty: 1 W, evidence: measured}
results:
  share: {formula: given / taken, unit: "%", boundary: {in: mains, out: shaft}}
claims: [{result: share, says: at least 25 %}]
settings: {trials: 20000}
"""


@pytest.fixture
def recheck(capsys: pytest.CaptureFixture[str]) -> Recheck:
    """Return a function from arguments to exit code, stdout and stderr."""

    def run(*arguments: str | Path) -> tuple[int, str, str]:
        kept = signal.getsignal(signal.SIGTERM)
        capsys.readouterr()
        try:
            with pytest.raises(SystemExit) as ended:
                main(["recheck", *map(str, arguments)])
        finally:
            signal.signal(signal.SIGTERM, kept)
        said = capsys.readouterr()
        assert isinstance(ended.value.code, int)
        assert "Traceback" not in said.out + said.err
        assert "fault of its own" not in said.err
        if ended.value.code not in (AGREES, DIFFERS):
            assert said.out == "", "what was refused has no result"
            assert said.err.strip()
        return ended.value.code, said.out, said.err

    return run


@pytest.fixture
def published(case: CaseFile, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> Path:
    """Return the folder of a report with all its files."""
    folder = tmp_path / "report"
    everything = "md,html,forum,json,png,csv"
    arguments = [
        "run",
        str(case("claimed.yaml", CLAIMED)),
        "-o",
        str(folder),
        "--format",
        everything,
    ]
    with pytest.raises(SystemExit) as ended:
        main(arguments)
    assert ended.value.code == 0
    return folder


def edit(file: Path, was: str, now: str) -> Path:
    text = file.read_text(encoding="utf-8")
    assert was in text
    file.write_text(text.replace(was, now, 1), encoding="utf-8")
    return file


def test_what_was_published_agrees(published: Path, recheck: Recheck) -> None:
    for report in (published, *(published / n for n in ("report.md", "report.html", "forum.txt"))):
        code, out, err = recheck(report)
        assert (code, err) == (AGREES, "")
        assert "DIFFERS" not in out
        assert "AGREES: the case that the report carries gives what the report says." in out
        assert "The case gives: share is 30.0 %" in out
        assert "that the readings are true" in out


def test_the_screen_fits_a_terminal(published: Path, recheck: Recheck) -> None:
    edit(published / "report.md", "share is 30.0 %", "share is 39.0 %")
    _, out, _ = recheck(published / "report.md")
    name = str(published / "report.md")
    assert [line for line in out.replace(name, "report.md").split("\n") if len(line) > 80] == []


def test_a_report_alone_is_enough(published: Path, tmp_path: Path, recheck: Recheck) -> None:
    alone = tmp_path / "elsewhere" / "saved page.html"
    alone.parent.mkdir()
    alone.write_bytes((published / "report.html").read_bytes())
    assert recheck(alone)[0] == AGREES


def test_standard_input(published: Path, recheck: Recheck, monkeypatch: pytest.MonkeyPatch) -> None:
    class Stream:
        buffer = io.BytesIO((published / "forum.txt").read_bytes())

    monkeypatch.setattr(sys, "stdin", Stream)
    code, out, _ = recheck("-")
    assert code == AGREES
    assert out.startswith("standard input: claimed")


@pytest.mark.parametrize(
    ("name", "was", "now"),
    [
        ("report.md", "share is 30.0 %", "share is 39.0 %"),
        ("report.html", "share is 30.0 %", "share is 30.1 %"),
        ("forum.txt", "supported", "contradicted"),
        ("forum.txt", "at least 25 %", "at least 29 %"),
        ("forum.txt", "value: 100 W", "value: 101 W"),
        ("report.md", "seed 1;", "seed 2;"),
    ],
)
def test_what_was_changed_by_hand_is_shown(
    name: str, was: str, now: str, published: Path, recheck: Recheck
) -> None:
    code, out, _ = recheck(edit(published / name, was, now))
    assert code == DIFFERS
    assert "DOES NOT AGREE: printed." in out
    changed = [(a, b) for a, b in zip(was.split(), now.split(), strict=True) if a != b]
    for before, after in changed:
        text = " ".join(out.split())
        assert f'printed "{after.rstrip(";")}", should be "{before.rstrip(";")}"' in text


def test_changes_in_the_json(published: Path, recheck: Recheck) -> None:
    code, out, _ = recheck("--json", edit(published / "forum.txt", "is 30.0 %", "is 39.0 %"))
    found: dict[str, Any] = json.loads(out)
    assert code == DIFFERS
    assert found["agrees"] is False
    assert found["not_checked"]
    (printed,) = [step for step in found["steps"] if step["status"] == "DIFFERS"]
    (change,) = printed["changes"]
    assert (change["text"], change["printed"], change["wanted"]) == ("forum.txt", "39.0", "30.0")


def test_a_changed_folder(published: Path, recheck: Recheck) -> None:
    (published / "claim.png").unlink()
    (published / "holiday.png").write_bytes(b"a picture")
    code, out, _ = recheck(published)
    assert code == AGREES
    assert "the figure claim.png is not there" in " ".join(out.split())
    assert "no receipt lists what else lies there: holiday.png" in " ".join(out.split())
    (published / "claim.png").write_bytes((published / "wideners.png").read_bytes())
    code, out, _ = recheck(published)
    assert code == DIFFERS
    assert "the figure claim.png is not as receipt.json says" in " ".join(out.split())


def test_words_that_were_not_compared_are_no_agreement(published: Path, recheck: Recheck) -> None:
    post = published / "forum.txt"
    text = post.read_text()
    block = text[text.index("BEGIN EFFBAND") : text.rindex("[/code]")]
    post.write_text("It gives 99 %.\n" + block)
    code, out, _ = recheck(post)
    assert code == DIFFERS
    assert "THE WORDS BESIDE IT WERE NOT COMPARED" in " ".join(out.split())
    assert json.loads(recheck("--json", post)[1])["agrees"] is None
    post.write_text(block)
    assert recheck(post)[0] == AGREES


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no such files here")
def test_what_is_neither_file_nor_folder(tmp_path: Path, recheck: Recheck) -> None:
    os.mkfifo(tmp_path / "pipe")
    code, _, err = recheck(tmp_path / "pipe")
    assert code == REFUSED
    assert "neither a file nor a folder" in err


def test_another_seed(published: Path, recheck: Recheck) -> None:
    code, out, _ = recheck(published / "forum.txt", "--seed", "77")
    assert code == AGREES
    assert "with seed 77" in out


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"", "no block"),
        (b"Nice motor!\n", "no block"),
        (b"\x89PNG\r\n\x1a\n....", "a figure, which carries no case"),
        (b"caf\xe9", "no text in UTF-8"),
        (b"BEGIN EFFBAND FORMAT 1 BLOCK\neNqVVU1v2zgQvetXDJJDPGiC2kB7\n", "no END line"),
    ],
)
def test_what_is_no_report(data: bytes, said: str, tmp_path: Path, recheck: Recheck) -> None:
    file = tmp_path / "post.txt"
    file.write_bytes(data)
    code, _, err = recheck(file)
    assert code == REFUSED
    assert said in err
    assert "help: " in err


def test_a_damaged_block_is_located(published: Path, recheck: Recheck) -> None:
    text = (published / "forum.txt").read_text()
    line = text[: text.index("BEGIN EFFBAND")].count("\n") + 2
    lines = text.split("\n")
    letter = "a" if lines[line - 1][20] != "a" else "b"
    lines[line - 1] = lines[line - 1][:20] + letter + lines[line - 1][21:]
    (published / "forum.txt").write_text("\n".join(lines))
    code, _, err = recheck(published / "forum.txt")
    assert code == REFUSED
    assert f":{line}:1: error: line 1 of the block is damaged" in err


def test_a_folder_without_a_report_and_no_file(tmp_path: Path, recheck: Recheck) -> None:
    assert recheck(tmp_path)[0] == REFUSED
    code, _, err = recheck(tmp_path / "none.md")
    assert code == REFUSED
    assert "No such file" in err


@pytest.mark.parametrize(
    "arguments",
    [(), ("a", "b"), ("a", "--seconds", "0"), ("a", "--most-trials", "2"), ("a", "--x")],
)
def test_wrong_usage(arguments: tuple[str, ...], recheck: Recheck) -> None:
    assert recheck(*arguments)[0] == WRONG_USAGE


def test_the_time_is_up(published: Path, recheck: Recheck) -> None:
    code, _, err = recheck(published / "forum.txt", "--seconds", "0.001")
    assert code == NO_SUMS
    assert "--seconds" in err


def test_too_many_trials(published: Path, recheck: Recheck) -> None:
    code, _, err = recheck(published / "forum.txt", "--most-trials", "1000")
    assert code == REFUSED
    assert "--most-trials 20000" in err


def test_an_interrupt_leaves_nothing_behind(tmp_path: Path) -> None:
    reports, place = tmp_path / "wren", tmp_path / "temporary"
    place.mkdir()
    command = [sys.executable, "-m", "effband"]
    case = str(ROOT / "cases" / "wren_bench.yaml")
    subprocess.run([*command, "run", case, "-o", reports], check=True, capture_output=True)
    surroundings = {**os.environ, "TMPDIR": str(place)}
    ends = set()
    for wait in (0.8, 1.4, 2.0):
        process = subprocess.Popen(
            [*command, "recheck", str(reports)], env=surroundings, stdout=subprocess.PIPE
        )
        time.sleep(wait)
        process.send_signal(signal.SIGINT)
        process.communicate(timeout=30)
        ends.add(process.returncode)
        assert list(place.glob("effband-*")) == []
    assert 130 in ends
