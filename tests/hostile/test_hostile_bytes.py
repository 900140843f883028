"""Encodings, and files that are none."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from attack import RESULT, attempt, never_wrong

from effband.case.resolve import load_case
from effband.case.text import parse_case
from effband.problems import CaseError

UTF8 = "save the file as UTF-8 in your editor"
HEAD = "effband: 1\n"

# name: bytes, line, column, what, help
BYTES: dict[str, tuple[bytes, int, int, str, str]] = {
    "a lone byte 0xff": (
        b"effband: 1\ntitle: a \xff b\n",
        *(2, 10, "byte 0xff is not UTF-8 text", UTF8),
    ),
    "a degree sign in Latin-1": (
        b"effband: 1\ntitle: 20 \xb0C\n",
        *(2, 11, "byte 0xb0 is not UTF-8 text", UTF8),
    ),
    "behind characters of two bytes": (
        "effband: 1\ntitle: éé ".encode() + b"\xb0C\n",
        *(2, 11, "byte 0xb0 is not UTF-8 text", UTF8),
    ),
    "behind Windows line ends": (
        b"effband: 1\r\ntitle: a \xff b\r\n",
        *(2, 10, "byte 0xff is not UTF-8 text", UTF8),
    ),
    "UTF-16 with its mark": (
        "effband: 1\n".encode("utf-16"),
        *(1, 1, "byte 0xff is not UTF-8 text", UTF8),
    ),
    "UTF-16 big-endian with its mark": (
        b"\xfe\xff" + "effband: 1\n".encode("utf-16-be"),
        *(1, 1, "byte 0xfe is not UTF-8 text", UTF8),
    ),
    "an encoded surrogate": (
        b"effband: 1\ntitle: a \xed\xa0\x80 b\n",
        *(2, 10, "byte 0xed is not UTF-8 text", UTF8),
    ),
    "an overlong slash": (
        b"effband: 1\ntitle: a \xc0\xaf b\n",
        *(2, 10, "byte 0xc0 is not UTF-8 text", UTF8),
    ),
    "beyond Unicode": (
        b"effband: 1\ntitle: a \xf4\x90\x80\x80 b\n",
        *(2, 10, "byte 0xf4 is not UTF-8 text", UTF8),
    ),
    "cut off inside a character": (
        b"effband: 1\ntitle: a \xe2\x82",
        *(2, 10, "byte 0xe2 is not UTF-8 text", UTF8),
    ),
    "compressed": (
        b"\x1f\x8b\x08\x00\x00\x00\x00\x00",
        *(1, 2, "byte 0x8b is not UTF-8 text", UTF8),
    ),
}


@pytest.mark.parametrize("name", BYTES)
def test_not_utf_8(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    data, line, column, what, remedy = BYTES[name]
    outcome = attempt(data, capsys)
    assert outcome.code == 1
    first, *_, last = outcome.stderr.rstrip("\n").split("\n")
    assert first == f"case.yaml:{line}:{column}: error: {what}"
    assert last == f"  help: {remedy}"


def test_utf_16_without_its_mark(capsys: pytest.CaptureFixture[str]) -> None:
    outcome = attempt("effband: 1\n".encode("utf-16-le"), capsys)
    assert outcome.code == 1
    first, *_, last = outcome.stderr.rstrip("\n").split("\n")
    assert first == "case.yaml:1:2: error: U+0000 (a control character) is not allowed in a case"
    assert last.startswith("  help: ")
    assert outcome.stderr.count("error:") <= 20


@pytest.mark.parametrize("data", [b"", b"\xef\xbb\xbf", b"\n\n", b" ", b"# nothing\n"])
def test_nothing_in_it(data: bytes, capsys: pytest.CaptureFixture[str]) -> None:
    outcome = attempt(data, capsys)
    assert outcome.code == 1
    assert outcome.stderr.startswith("case.yaml:1:1: error: ")
    assert outcome.stderr.count("error:") == 1
    assert "help: " in outcome.stderr


def test_hash_is_of_the_bytes() -> None:
    plain = (HEAD + "title: bench\n" + RESULT).encode()
    marked = b"\xef\xbb\xbf" + plain
    windows = plain.replace(b"\n", b"\r\n")
    texts = [parse_case(data, "case.yaml") for data in (plain, marked, windows)]
    assert len({text.sha256 for text in texts}) == 3
    assert len({text.text for text in texts}) == 1
    assert all(text.tree == texts[0].tree for text in texts)


@pytest.mark.parametrize(
    ("name", "reason", "remedy"),
    [
        ("missing.yaml", "No such file or directory", "check the file's name"),
        (".", "Is a directory", "name a case file, not a folder"),
        ("x" * 300 + ".yaml", "File name too long", "check the file's name"),
        ("nothing/missing.yaml", "No such file or directory", "check the file's name"),
        ("case\0.yaml", "embedded null byte", "check the file's name"),
    ],
)
def test_no_file(name: str, reason: str, remedy: str) -> None:
    with pytest.raises(CaseError) as refused:
        load_case(name)
    shown = name.replace("\0", "<U+0000>")
    assert str(refused.value) == (
        f"{shown}: error: cannot read the case: {reason}\n  help: {remedy}"
    )


def test_a_circle_of_links() -> None:
    os.symlink("one.yaml", "two.yaml")
    os.symlink("two.yaml", "one.yaml")
    with pytest.raises(CaseError, match="Too many levels of symbolic links"):
        load_case("one.yaml")


@pytest.mark.parametrize("name", ["a\x1b[31mb.yaml", "a\nb.yaml", "a\u202eb.yaml", "a\x9bb.yaml"])
def test_hostile_file_name(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    Path(name).write_text("effband: 2\n")
    Path("case.yaml").write_text("")
    with pytest.raises(CaseError) as refused:
        load_case(name)
    first = str(refused.value).split("\n")[0]
    code = f"<U+{ord(next(c for c in name if not c.isprintable())):04X}>"
    assert first.startswith("a" + code)
    assert first.endswith(":1:1: error: 'title' is missing")
    outcome = attempt("effband: 2\n", capsys, ("check", name))
    assert outcome.code == 1
    never_wrong(outcome)
