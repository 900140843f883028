"""Which of the files that a case names are opened, and what their bytes must be."""

from __future__ import annotations

import bz2
import gzip
import io
import lzma
import os
import zipfile
from pathlib import Path

import pytest
from small_table import GOOD

from effband.case import data_files
from effband.case.tables import BadData, read_table


def refusal(folder: Path, name: str, most_bytes: int = 1000) -> tuple[str, str]:
    """Return what is said of a file that must be refused as a whole."""
    with pytest.raises(BadData) as caught:
        read_table(folder, name, 10, most_bytes)
    return caught.value.what, caught.value.remedy


def refused_content(folder: Path, content: bytes) -> tuple[str, str]:
    (folder / "runs.csv").write_bytes(content)
    return refusal(folder, "runs.csv", 10_000_000)


# -- files that are read -----------------------------------------------------------------------


def test_a_file_in_a_folder_below(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "data" / "may").mkdir(parents=True)
    (tmp_path / "data" / "may" / "runs.csv").write_text(GOOD)
    assert len(read_table(tmp_path, "data/may/runs.csv", 3).rows) == 3
    monkeypatch.chdir(tmp_path)
    assert len(read_table("", "data/may/runs.csv", 3).rows) == 3


def test_the_folder_of_the_case_may_itself_be_a_link(tmp_path: Path) -> None:
    (tmp_path / "real").mkdir()
    (tmp_path / "real" / "runs.csv").write_text(GOOD)
    (tmp_path / "link").symlink_to("real")
    assert len(read_table(tmp_path / "link", "runs.csv", 3).rows) == 3


# -- encodings and kinds of file ---------------------------------------------------------------

UTF_8 = "save the file as UTF-8 in your editor or spreadsheet"


def zipped() -> bytes:
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w") as archive:
        archive.writestr("runs.csv", GOOD)
    return stream.getvalue()


CONTENT: dict[str, tuple[bytes, str, str]] = {
    "Latin-1": (
        "run,T\r\na,5 °C\r\n".encode("latin-1"),
        "byte 5 of line 2 of 'runs.csv' (0xb0) is not UTF-8",
        UTF_8,
    ),
    "an umlaut in a Windows code page": (
        "run,note\na,\n\nb,\xf6l\n".encode("cp1252"),
        "byte 3 of line 4 of 'runs.csv' (0xf6) is not UTF-8",
        UTF_8,
    ),
    "Latin-1 with carriage returns": (
        "run,T\ra,5\rb,5 °C\r".encode("latin-1"),
        "byte 5 of line 3 of 'runs.csv' (0xb0) is not UTF-8",
        UTF_8,
    ),
    "half a surrogate": (
        b"run\n\xed\xa0\x80\n",
        "byte 1 of line 2 of 'runs.csv' (0xed) is not UTF-8",
        UTF_8,
    ),
    "a character cut off": (
        "run\n°".encode()[:-1],
        "byte 1 of line 2 of 'runs.csv' (0xc2) is not UTF-8",
        UTF_8,
    ),
    "UTF-16": (GOOD.encode("utf-16"), "'runs.csv' is UTF-16 or UTF-32, not UTF-8", UTF_8),
    "UTF-16, no mark": (
        GOOD.encode("utf-16-be"),
        "'runs.csv' is UTF-16 or UTF-32, not UTF-8",
        UTF_8,
    ),
    "UTF-32": (GOOD.encode("utf-32"), "'runs.csv' is UTF-16 or UTF-32, not UTF-8", UTF_8),
    "empty": (
        b"",
        "'runs.csv' is empty",
        "write the names of the columns in its first line",
    ),
    "blank": (
        b"\xef\xbb\xbf\r\n \t\n",
        "'runs.csv' is empty",
        "write the names of the columns in its first line",
    ),
    "gzip": (
        gzip.compress(GOOD.encode()),
        "'runs.csv' is compressed (gzip), no CSV file",
        "save it as a plain CSV file",
    ),
    "xz": (
        lzma.compress(GOOD.encode()),
        "'runs.csv' is compressed (xz), no CSV file",
        "save it as a plain CSV file",
    ),
    "bzip2": (
        bz2.compress(GOOD.encode()),
        "'runs.csv' is compressed (bzip2), no CSV file",
        "save it as a plain CSV file",
    ),
    "zip": (
        zipped(),
        "'runs.csv' is a zip archive or a spreadsheet, no CSV file",
        "save it as a plain CSV file",
    ),
    "a web page": (
        b"\n<!DOCTYPE html>\n<html>\n",
        "'runs.csv' is a web page or XML, no CSV file",
        "save the CSV file itself, not the page that shows it",
    ),
}


@pytest.mark.parametrize("name", CONTENT)
def test_content_that_is_no_csv_file(tmp_path: Path, name: str) -> None:
    content, what, remedy = CONTENT[name]
    assert refused_content(tmp_path, content) == (what, remedy)


# -- names and containment ---------------------------------------------------------------------

NO_NAME = "write a name such as runs.csv or data/runs.csv"
HERE = "keep the file in the folder of the case and write its name alone"
BELOW = "keep the file in the folder of the case, or below it"
SAVED = "save the file in the folder of the case and write its name"
ENDS = "rename it; some systems drop such an end"
ODD_NAMES: dict[str, tuple[str, str]] = {
    "": ("the name of a data file is empty", NO_NAME),
    "  ": ("the name of a data file is empty", NO_NAME),
    "/etc/passwd": ("'/etc/passwd' does not start from the folder of the case", HERE),
    "~/runs.csv": ("'~/runs.csv' does not start from the folder of the case", HERE),
    "~runs.csv": ("'~runs.csv' does not start from the folder of the case", HERE),
    "C:runs.csv": ("'C:runs.csv' does not start from the folder of the case", HERE),
    "c:/runs.csv": ("'c:/runs.csv' does not start from the folder of the case", HERE),
    "../runs.csv": ("'../runs.csv' leads out of the folder of the case", BELOW),
    "data/../runs.csv": ("'data/../runs.csv' leads out of the folder of the case", BELOW),
    "..": ("'..' leads out of the folder of the case", BELOW),
    ".": ("'.' holds a folder without a name", NO_NAME),
    "./runs.csv": ("'./runs.csv' holds a folder without a name", NO_NAME),
    "data//runs.csv": ("'data//runs.csv' holds a folder without a name", NO_NAME),
    "runs.csv/": ("'runs.csv/' holds a folder without a name", NO_NAME),
    "data\\runs.csv": (
        "'data\\\\runs.csv' holds a backslash",
        "write / between folders: data/runs.csv",
    ),
    "http://bench.example/runs.csv": (
        "'http://bench.example/runs.csv' is an address, and nothing is fetched",
        SAVED,
    ),
    "file:///etc/hostname": ("'file:///etc/hostname' is an address, and nothing is fetched", SAVED),
    "s3://bench/runs.csv": ("'s3://bench/runs.csv' is an address, and nothing is fetched", SAVED),
    "data:text/csv,a": ("'data:text/csv,a' is an address, and nothing is fetched", SAVED),
    "runs.csv:hidden": ("':' cannot stand in the name of a data file", NO_NAME),
    "runs?.csv": ("'?' cannot stand in the name of a data file", NO_NAME),
    "runs\0.csv": ("U+0000 (a control character) cannot stand in the name of a data file", NO_NAME),
    "runs\n.csv": ("U+000A (a control character) cannot stand in the name of a data file", NO_NAME),
    "runs\u202e.csv": (
        "U+202E (right-to-left override) cannot stand in the name of a data file",
        NO_NAME,
    ),
    "runs\udc80.csv": (
        "U+DC80 (half a character) cannot stand in the name of a data file",
        NO_NAME,
    ),
    "o\u0308l.csv": (
        "'o\u0308l.csv' holds a letter that is spelled in two parts",
        "rename the file with plain letters",
    ),
    "CON": ("'CON' is the name of a device on some systems", "rename the file"),
    "nul.csv": ("'nul.csv' is the name of a device on some systems", "rename the file"),
    "NUL .csv": ("'NUL .csv' is the name of a device on some systems", "rename the file"),
    "data/COM1.tar.csv": (
        "'COM1.tar.csv' is the name of a device on some systems",
        "rename the file",
    ),
    "aux/runs.csv": ("'aux' is the name of a device on some systems", "rename the file"),
    "lpt\u00b2": ("'lpt\u00b2' is the name of a device on some systems", "rename the file"),
    "runs.csv.": (
        "in 'runs.csv.' a name starts or ends with a blank, or ends with a point",
        ENDS,
    ),
    "data /runs.csv": (
        "in 'data /runs.csv' a name starts or ends with a blank, or ends with a point",
        ENDS,
    ),
    " runs.csv": (
        "in ' runs.csv' a name starts or ends with a blank, or ends with a point",
        ENDS,
    ),
    "r" * 300 + ".csv": ("the name of a data file is longer than 200 letters", "shorten it"),
    "data/" * 41 + "x": ("the name of a data file is longer than 200 letters", "shorten it"),
}


@pytest.mark.parametrize("name", ODD_NAMES)
def test_names_that_are_refused_whatever_is_there(
    tmp_path: Path, name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    def touched(*_: object, **__: object) -> None:
        raise AssertionError("the disk was touched")

    monkeypatch.setattr(os, "open", touched)
    monkeypatch.setattr(os, "stat", touched)
    assert refusal(tmp_path, name) == ODD_NAMES[name]


@pytest.mark.parametrize("name", ["company.csv", "common.csv", "null.csv", "öl.csv", "con1.csv"])
def test_names_that_look_odd_but_are_plain(tmp_path: Path, name: str) -> None:
    (tmp_path / name).write_text(GOOD)
    assert len(read_table(tmp_path, name, 3).rows) == 3


@pytest.fixture(params=["folder by folder", "by path"])
def opening(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> str:
    """Both ways of opening; the second is that of systems that lack the first."""
    if request.param == "by path":
        monkeypatch.setattr(os, "supports_dir_fd", set())
    return str(request.param)


LINKED = "put the file itself into the folder of the case"


def test_nothing_but_a_plain_file_is_opened(tmp_path: Path, opening: str) -> None:
    case, outside = tmp_path / "case", tmp_path / "case-evil"
    for folder in (case, outside, case / "data"):
        folder.mkdir()
    (outside / "runs.csv").write_text(GOOD)
    (case / "data" / "runs.csv").write_text(GOOD)
    (case / "out.csv").symlink_to(outside / "runs.csv")
    (case / "in.csv").symlink_to("data/runs.csv")
    (case / "folder").symlink_to(outside)
    (case / "loop").symlink_to("loop")
    (case / "gone").symlink_to("nowhere")
    os.mkfifo(case / "fifo")
    assert len(read_table(case, "data/runs.csv", 3).rows) == 3
    for name in ("out.csv", "in.csv", "folder/runs.csv", "loop", "loop/runs.csv", "gone"):
        assert refusal(case, name) == (f"{name!r} is a link, or lies behind one", LINKED), name
    assert refusal(case, "fifo") == ("'fifo' is no plain file", "name a CSV file")
    assert refusal(case, "fifo/runs.csv") == ("'fifo/runs.csv' is no plain file", "name a CSV file")
    assert refusal(case, "data")[0] == "'data' is a folder"
    assert refusal(case, "data/runs.csv/x")[0] == (
        "in 'data/runs.csv/x', 'runs.csv' is a file, no folder"
    )
    assert refusal(Path("/dev"), "null") == ("'null' is no plain file", "name a CSV file")
    assert refusal(case, "data/run.csv") == (
        "there is no file 'data/run.csv' in the folder of the case",
        "put the file beside the case, or check its name",
    )
    assert refusal(outside, "Runs.csv")[1] == "did you mean runs.csv?"
    assert refusal(tmp_path / "none", "runs.csv")[0].startswith("there is no file 'runs.csv'")
    assert refusal(outside / "runs.csv", "runs.csv")[0].startswith("'runs.csv' cannot be read: ")
    assert refusal("a\0b", "runs.csv")[0].startswith("'runs.csv' cannot be read: ")


def test_a_file_without_leave_to_read(
    tmp_path: Path, opening: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "runs.csv").write_text(GOOD)

    def without_leave(path: object, flags: int, *, dir_fd: int | None = None) -> int:
        if str(path).endswith("runs.csv"):
            raise PermissionError(13, "Permission denied")
        return opens(path, flags, dir_fd=dir_fd)

    opens = os.open
    monkeypatch.setattr(os, "open", without_leave)
    monkeypatch.setattr(
        os,
        "supports_dir_fd",
        {*os.supports_dir_fd, without_leave} if "folder" in opening else set(),
    )
    assert refusal(tmp_path, "runs.csv") == (
        "'runs.csv' may not be read",
        "give yourself the right to read it",
    )


def test_a_link_that_appears_after_the_look_is_not_followed(
    tmp_path: Path, opening: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "secret.csv").write_text(GOOD)
    (tmp_path / "runs.csv").write_text(GOOD)
    looks = data_files._check_kind

    def swap(found: os.stat_result, part: str, name: str, last: bool) -> None:
        looks(found, part, name, last)
        (tmp_path / "runs.csv").unlink()
        (tmp_path / "runs.csv").symlink_to("secret.csv")

    monkeypatch.setattr(data_files, "_check_kind", swap)
    assert refusal(tmp_path, "runs.csv") == ("'runs.csv' is a link, or lies behind one", LINKED)


def test_a_pipe_that_appears_after_the_look_does_not_hang(
    tmp_path: Path, opening: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "runs.csv").write_text(GOOD)
    looks = data_files._check_kind

    def swap(found: os.stat_result, part: str, name: str, last: bool) -> None:
        looks(found, part, name, last)
        (tmp_path / "runs.csv").unlink()
        os.mkfifo(tmp_path / "runs.csv")

    monkeypatch.setattr(data_files, "_check_kind", swap)
    assert refusal(tmp_path, "runs.csv") == ("'runs.csv' is no plain file", "name a CSV file")


def test_size_is_capped_before_reading(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    content = GOOD.encode()
    (tmp_path / "runs.csv").write_bytes(content)
    assert len(read_table(tmp_path, "runs.csv", 3, len(content)).rows) == 3
    with (tmp_path / "huge.csv").open("wb") as stream:
        stream.truncate(10**12)  # a hole; reading it would end in the lack of memory
    assert refusal(tmp_path, "huge.csv", 50_000_000) == (
        "'huge.csv' is larger than 50 MB",
        "keep only the columns and rows that the case needs",
    )
    monkeypatch.setattr(os, "fdopen", lambda *_, **__: pytest.fail("it was read"))
    assert refusal(tmp_path, "runs.csv", len(content) - 1)[0].startswith("'runs.csv' is larger")


def test_a_file_that_grows_while_it_is_read(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "runs.csv").write_text(GOOD)
    opens = os.fdopen

    def grow(descriptor: int, *args: object, **options: object) -> object:
        with (tmp_path / "runs.csv").open("a") as stream:
            stream.write("full_2,5,\n")
        return opens(descriptor, *args, **options)

    monkeypatch.setattr(os, "fdopen", grow)
    what, remedy = refusal(tmp_path, "runs.csv")
    assert what == "'runs.csv' changed while it was read"
    assert remedy == "wait until the file is complete, then run again"


@pytest.mark.parametrize("name", ["runs.csv", "out.csv", "data", "data/none.csv", "fifo"])
def test_no_descriptor_stays_open(tmp_path: Path, opening: str, name: str) -> None:
    (tmp_path / "data").mkdir()
    (tmp_path / "runs.csv").write_text(GOOD)
    (tmp_path / "out.csv").symlink_to("runs.csv")
    os.mkfifo(tmp_path / "fifo")
    before = sorted(os.listdir("/proc/self/fd"))
    if name == "runs.csv":
        read_table(tmp_path, name, 3)
    else:
        refusal(tmp_path, name)
    assert sorted(os.listdir("/proc/self/fd")) == before


def test_a_descriptor_is_not_passed_on(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "runs.csv").write_text(GOOD)
    seen = []
    stats = os.fstat

    def look(descriptor: int) -> os.stat_result:
        seen.append(os.get_inheritable(descriptor))
        return stats(descriptor)

    monkeypatch.setattr(os, "fstat", look)
    read_table(tmp_path, "runs.csv", 3)
    assert seen
    assert not any(seen)
