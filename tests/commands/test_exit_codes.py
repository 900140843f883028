"""What each call gives: a code from the contract, the result on stdout, the rest on stderr."""

from __future__ import annotations

import errno
import importlib
import json
import os
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from effband import study

Effband = Callable[..., Any]
CaseFile = Callable[..., Path]


# -- 0: done -------------------------------------------------------------------------------


def test_run_prints_the_result_and_nothing_else(effband: Effband, case: CaseFile) -> None:
    said = effband("run", case())
    assert said.code == 0
    assert said.err == ""
    assert said.out.startswith("tiny\n95 % bands")
    assert "20 000 trials" in said.out.splitlines()[1]
    assert "whole case  30.0 %" in said.out


@pytest.mark.parametrize("seed", ["1", "2", "3"])
def test_the_fewest_trials_that_are_offered_work(
    effband: Effband, case: CaseFile, seed: str
) -> None:
    for law in ("plus_minus: 5 W", "standard_uncertainty: 5 W"):
        text = (
            f"effband: 1\ntitle: few\ninputs: {{x: {{value: 100 W, {law}}}}}\n"
            "results: {y: {formula: x, unit: W}}\n"
        )
        said = effband("run", case("few.yaml", text), "--trials", "1000", "--seed", seed)
        assert said.code == 0
        assert said.err == ""


def test_check_prints_what_was_understood(effband: Effband, case: CaseFile) -> None:
    said = effband("check", case())
    assert said.code == 0
    for part in ("taken = 100 W", "share = given / taken", "seed 1", "rectangular"):
        assert part in said.out
    assert "error" not in said.err


def test_warnings_of_check_go_to_stderr(effband: Effband, case: CaseFile) -> None:
    file = case("unused.yaml")
    file.write_text(file.read_text().replace("results:", "  idle: {constant: 1 W}\nresults:"))
    said = effband("check", file)
    assert said.code == 0
    assert f"{file}:6:" in said.err
    assert "warning" in said.err
    assert "help:" in said.err
    assert "warning" not in said.out


@pytest.mark.parametrize("command", ["physics", "units"])
def test_the_reference_is_printed(effband: Effband, command: str) -> None:
    said = effband(command)
    assert (said.code, said.err) == (0, "")
    assert len(said.out.splitlines()) >= 6


def test_one_function_is_explained(effband: Effband) -> None:
    said = effband("physics", "receiver_exergy")
    assert (said.code, said.err) == (0, "")
    assert said.out.startswith("receiver_exergy(")
    assert "source:" in said.out


def test_the_schema_is_json(effband: Effband) -> None:
    said = effband("schema")
    assert (said.code, said.err) == (0, "")
    assert {"title", "inputs", "results"} <= set(json.loads(said.out)["properties"])


def test_the_version(effband: Effband) -> None:
    from effband import __version__

    said = effband("--version")
    assert (said.code, said.out) == (0, f"effband {__version__}\n")


# -- 1: the case is refused -----------------------------------------------------------------


@pytest.mark.parametrize("command", ["check", "run"])
def test_a_refused_case(effband: Effband, refused: Path, command: str) -> None:
    said = effband(command, refused)
    assert said.code == 1
    assert said.err.startswith(f"{refused}:9:1: error: ")
    assert "nonsense" in said.err
    assert "help:" in said.err


@pytest.mark.parametrize("command", ["check", "run"])
@pytest.mark.parametrize(
    "name", ["missing.yaml", ".", "file/below.yaml", "\udcff.yaml", "a\nb.yaml"]
)
def test_a_case_that_cannot_be_read(
    effband: Effband, tmp_path: Path, command: str, name: str
) -> None:
    (tmp_path / "file").write_text("x")
    said = effband(command, f"{tmp_path}/{name}")
    assert said.code == 1
    assert "cannot read the case" in said.err
    assert len(said.err.splitlines()) <= 2


def test_an_empty_and_a_binary_case(effband: Effband, tmp_path: Path) -> None:
    for data in (b"", b"\x89PNG\r\n\x1a\n\x00\x00", b"\xff\xfe\x00", b"{" * 10_000):
        (tmp_path / "odd.yaml").write_bytes(data)
        said = effband("check", tmp_path / "odd.yaml")
        assert said.code == 1
        assert "help:" in said.err


def test_one_refused_case_among_several_stops_before_any_is_written(
    effband: Effband, case: CaseFile, refused: Path, tmp_path: Path
) -> None:
    said = effband("run", case(), refused, "-o", tmp_path / "out")
    assert said.code == 1
    assert not (tmp_path / "out").exists()


# -- 2: wrong usage ---------------------------------------------------------------------------


@pytest.mark.parametrize(
    "arguments",
    [
        (),
        ("dance",),
        ("run",),
        ("check",),
        ("run", "CASE", "--nonsense"),
        ("run", "CASE", "--trials", "999"),
        ("run", "CASE", "--trials", "1e6"),
        ("run", "CASE", "--trials", "100000001"),
        ("run", "CASE", "--seed", "-1"),
        ("run", "CASE", "--probability", "95"),
        ("run", "CASE", "--probability", "nan"),
        ("run", "CASE", "--workers", "0"),
        ("run", "CASE", "--format", "pdf"),
        ("run", "CASE", "--format", ""),
        ("check", "CASE", "CASE"),
        ("physics", "no_such_function"),
        ("physics", "\x1b[31m"),
        ("units", "extra"),
    ],
    ids=" ".join,
)
def test_wrong_usage(effband: Effband, case: CaseFile, arguments: tuple[str, ...]) -> None:
    file = str(case())
    said = effband(*(file if argument == "CASE" else argument for argument in arguments))
    assert said.code == 2
    assert "Usage: effband" in said.err or "Error: " in said.err


def test_two_cases_of_one_name_are_refused(
    effband: Effband, case: CaseFile, tmp_path: Path
) -> None:
    first, second = case("a/bench.yaml"), case("b/bench.yml")
    said = effband("run", first, second, "-o", tmp_path / "out")
    assert said.code == 2
    assert "same name" in said.err
    assert not (tmp_path / "out").exists()
    assert effband("run", first, second).code == 0


# -- 3: the sums are refused -------------------------------------------------------------------


def test_sums_that_are_not_finite(effband: Effband, not_finite: Path, tmp_path: Path) -> None:
    said = effband("run", not_finite, "-o", tmp_path / "out")
    assert said.code == 3
    assert "y" in said.err.split()
    assert len(said.err.splitlines()) <= 2
    assert not (tmp_path / "out").exists()
    assert effband("check", not_finite).code == 0


def test_a_fault_of_our_own_is_one_plain_message(
    case: CaseFile, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    from effband import commands

    def broken(file: str) -> None:
        raise RuntimeError("inside\x1b[31m\nout")

    monkeypatch.setattr(study, "load", broken)
    assert commands._exit_code(["check", str(case())]) == 3
    said = capsys.readouterr()
    assert said.out == ""
    assert "Traceback" not in said.err
    assert "\x1b" not in said.err
    assert len(said.err.splitlines()) == 2


# -- 4: could not write --------------------------------------------------------------------------


def test_a_file_in_the_way(effband: Effband, case: CaseFile, tmp_path: Path) -> None:
    (tmp_path / "file").write_text("x")
    for place in ("file", "file/out"):
        said = effband("run", case(), "-o", tmp_path / place, "--format", "md")
        assert said.code == 4
        assert len(said.err.splitlines()) == 1
    assert (tmp_path / "file").read_text() == "x"


def test_a_full_disk_is_one_line(
    effband: Effband, case: CaseFile, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    file = case()

    def full(*_: Any) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(os, "fsync", full)
    said = effband("run", file, "-o", tmp_path / "out", "--format", "md")
    assert said.code == 4
    assert len(said.err.splitlines()) == 1
    assert "No space left" in said.err
    assert [path.name for path in tmp_path.iterdir()] == [file.name]


def test_a_foreign_file_needs_force(effband: Effband, case: CaseFile, tmp_path: Path) -> None:
    folder = tmp_path / "out"
    folder.mkdir()
    (folder / "report.md").write_text("mine")
    arguments = ("run", case(), "-o", folder, "--format", "md")
    said = effband(*arguments)
    assert said.code == 4
    assert "--force" in said.err
    assert (folder / "report.md").read_text() == "mine"
    assert effband(*arguments, "--force").code == 0
    assert (folder / "report.md").read_text().startswith("<!-- written by effband -->\n# tiny\n")


# -- reports ----------------------------------------------------------------------------------


def test_reports_are_written_and_written_again(
    effband: Effband, case: CaseFile, tmp_path: Path
) -> None:
    folder = tmp_path / "out"
    arguments = ("run", case(), "-o", folder, "--format", "md,png,json")
    for _ in range(2):
        said = effband(*arguments)
        assert said.code == 0, said.err
        assert str(folder) in said.err
        assert "whole case" in said.out
        names = sorted(path.name for path in folder.iterdir())
        assert names == [
            "claim.png", "receipt.json", "report.md", "result.json", "wideners.png"
        ]  # fmt: skip
    assert (folder / "claim.png").read_bytes().startswith(b"\x89PNG")
    document = json.loads((folder / "result.json").read_text(encoding="utf-8"))
    assert document["case"]["title"] == "tiny"
    assert "](claim.png)" in (folder / "report.md").read_text(encoding="utf-8")


def test_a_page_without_the_picture_does_not_point_at_one(
    effband: Effband, case: CaseFile, tmp_path: Path
) -> None:
    assert effband("run", case(), "-o", tmp_path / "out", "--format", "md").code == 0
    assert [path.name for path in (tmp_path / "out").iterdir()] == [
        "receipt.json",
        "report.md",
    ]
    assert "bands.png" not in (tmp_path / "out" / "report.md").read_text(encoding="utf-8")


def test_several_cases_have_a_folder_each(effband: Effband, case: CaseFile, tmp_path: Path) -> None:
    files = [case("one.yaml", title="first"), case("two.yaml", title="second")]
    said = effband("run", *files, "-o", tmp_path / "out", "--format", "md")
    assert said.code == 0
    assert said.out.index("first\n") < said.out.index("second\n")
    for name, title in (("one", "first"), ("two", "second")):
        page = (tmp_path / "out" / name / "report.md").read_text(encoding="utf-8")
        assert f"# {title}\n" in page
    assert sorted(path.name for path in (tmp_path / "out").iterdir()) == ["one", "two"]


def test_names_of_files_cannot_move_the_terminal(
    effband: Effband, case: CaseFile, tmp_path: Path
) -> None:
    files = [case("\x1b]0;mine\x07.yaml"), case("\u202eflip.yaml")]
    said = effband("run", *files, "-o", tmp_path / "out", "--format", "md")
    assert said.code == 0
    assert "report in" in said.err


# -- json ----------------------------------------------------------------------------------------


def test_json_is_all_there_is_on_stdout(effband: Effband, case: CaseFile, tmp_path: Path) -> None:
    said = effband("run", case(), "--json", "-o", tmp_path / "out", "--format", "json")
    assert said.code == 0
    assert said.out.startswith("{")
    assert json.loads(said.out)["results"][0]["result"] == "share"
    assert (tmp_path / "out" / "result.json").read_text(encoding="utf-8") == said.out


def test_json_of_several_cases_is_a_list(effband: Effband, case: CaseFile) -> None:
    files = [case("one.yaml", title="first"), case("two.yaml", title="second")]
    said = effband("run", *files, "--json")
    assert (said.code, said.err) == (0, "")
    assert [each["case"]["title"] for each in json.loads(said.out)] == ["first", "second"]


def test_options_reach_the_sums(effband: Effband, case: CaseFile) -> None:
    file = case()
    given = ("--trials", "30000", "--seed", "5", "--probability", "0.9")
    found = json.loads(effband("run", file, "--json", *given).out)
    assert found["settings"] == {
        "seed": 5,
        "trials": 30_000,
        "probability": 0.9,
        "digits": 1,
        "adaptive": False,
        "sampling": "random",
    }
    plain = json.loads(effband("run", file, "--json").out)
    widths = [each["results"][0]["half_width"] for each in (found, plain)]
    assert widths[0] == pytest.approx(widths[1] * 1.645 / 1.96, rel=0.03)
    alone = effband("run", file, "--json", *given, "--workers", "1").out
    assert json.loads(alone)["results"] == found["results"]


# -- terminal ------------------------------------------------------------------------------------


def test_progress_is_for_terminals_only(
    effband: Effband, case: CaseFile, monkeypatch: pytest.MonkeyPatch
) -> None:
    # the package's `run` is the command; its module is behind the same name
    module = importlib.import_module("effband.commands.working")
    monkeypatch.setattr(module, "QUIET_SECONDS", 0.0)
    assert effband("run", case()).err == ""
    shown = effband("run", case(), terminal=True).err
    assert shown.startswith("\rtrials 100 %")
    assert shown.endswith("\r"), "the line is wiped when the trials are done"
    assert shown.rstrip("\r").endswith(" ")
