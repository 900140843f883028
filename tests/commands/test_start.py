"""`effband start`: what it writes runs, what is there stays, and the benches are installed."""

from __future__ import annotations

import errno
import os
import re
import shutil
import subprocess
import sys
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
import yaml

import effband as package
from effband.commands import effband as group
from effband.study import load

Effband = Callable[..., Any]
ROOT = Path(__file__).resolve().parents[2]
FIRST = ROOT / "effband" / "first_case.yaml"
BENCHES = {file.stem: file for file in sorted((ROOT / "cases").glob("*.yaml"))}


@pytest.fixture(autouse=True)
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """An empty folder, which every test works in."""
    monkeypatch.chdir(tmp_path)
    return tmp_path


def title_of(file: Path) -> str:
    """Return the title of a case, as any reader of YAML has it."""
    return str(yaml.safe_load(file.read_text(encoding="utf-8"))["title"])


def names_in(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


# -- the first case ----------------------------------------------------------------------------


def test_the_first_case_is_accepted_and_runs(effband: Effband, here: Path) -> None:
    said = effband("start", "wheel")
    assert (said.code, said.err) == (0, "")
    assert names_in(here) == ["wheel.yaml"]
    checked = effband("check", "wheel.yaml")
    assert checked.code == 0
    assert checked.err == "\nno problems, no warnings\n"
    done = effband("run", "wheel.yaml")
    assert (done.code, done.err) == (0, "")
    assert "weight_to_wire   <- headline" in done.out
    assert "lamp (3 runs)" in done.out
    assert "gear_pair is a rule of thumb" in done.out


def test_the_first_case_gives_what_a_pocket_calculator_gives(effband: Effband) -> None:
    effband("start", "wheel")
    answer = package.run("wheel.yaml", trials=20_000)
    # m g h; standard gravity: 3rd CGPM (1901), 9.80665 m/s^2
    runs = {"lamp_1": (1.812, 203), "lamp_2": (1.815, 206), "lamp_3": (1.809, 204)}
    for run, (height, energy) in runs.items():
        by_hand = 100 * energy / (20 * 9.80665 * height)
        assert answer.value("weight_to_wire", run=run).by_hand == pytest.approx(by_hand, rel=1e-12)
        geared = by_hand / 0.97**2
        assert answer.value("generator", run=run).by_hand == pytest.approx(geared, rel=1e-12)


def test_the_first_case_shows_every_part_and_says_where_to_look() -> None:
    text = FIRST.read_text(encoding="utf-8")
    lines = text.splitlines()
    assert 60 <= len(lines) <= 80
    assert max(map(len, lines)) <= 100
    sections = ("instruments", "inputs", "runs", "formulas", "results")
    for section in sections:
        at = lines.index(f"{section}:")
        remark = []
        while lines[at - 1].startswith("#"):
            at -= 1
            remark.append(lines[at])
        assert "YOURS" in "".join(remark), section
    named = set(re.findall(r"`effband (\w+)", text))
    assert named <= set(group.commands)
    assert named >= {"check", "instruments", "rules", "physics", "units"}
    assert "README" in text
    case = load(str(FIRST))
    assert case.hazards == ("rotating parts",)


# -- what is printed ---------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "file", "shown"),
    [
        ("wheel", "wheel.yaml", "wheel.yaml"),
        ("wheel.yaml", "wheel.yaml", "wheel.yaml"),
        ("wheel.yml", "wheel.yml", "wheel.yml"),
        ("wheel.v2", "wheel.v2.yaml", "wheel.v2.yaml"),
        ("there/wheel", "there/wheel.yaml", "there/wheel.yaml"),
        ("there/../wheel", "wheel.yaml", "there/../wheel.yaml"),
        ("./wheel", "wheel.yaml", "wheel.yaml"),
        ("there", "there.yaml", "there.yaml"),
        ("two words", "two words.yaml", "'two words.yaml'"),
        ("Mühle", "Mühle.yaml", "'Mühle.yaml'"),
    ],
)
def test_two_lines_name_the_file_and_the_next_step(
    effband: Effband, here: Path, name: str, file: str, shown: str
) -> None:
    (here / "there").mkdir()
    said = effband("start", name)
    assert (said.code, said.err) == (0, "")
    assert (here / file).read_bytes() == FIRST.read_bytes()
    written, following = said.out.splitlines()
    assert written.startswith(f"{shown}: ")
    assert following == f"next: effband check {shown}, then effband run {shown}"


def test_an_absolute_path_and_a_folder_behind_a_link(effband: Effband, here: Path) -> None:
    (here / "there").mkdir()
    (here / "link").symlink_to("there")
    assert effband("start", here / "there" / "one").code == 0
    assert effband("start", "link/two").code == 0
    assert names_in(here / "there") == ["one.yaml", "two.yaml"]


def test_help_lists_the_benches_by_their_titles(effband: Effband) -> None:
    said = " ".join(effband("start", "--help").out.split())
    assert BENCHES
    for name, file in BENCHES.items():
        assert f"{name} {title_of(file)}" in said


@pytest.mark.parametrize("words", [["start", "--help"], ["start", "x", "--like", "wren_bench"]])
def test_neither_help_nor_writing_loads_anything_heavy(words: list[str]) -> None:
    code = (
        "import sys\nfrom effband.commands import main\n"
        f"try: main({words})\nexcept SystemExit as end: assert not end.code\n"
        "print(*sys.modules, file=sys.stderr)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    loaded = set(done.stderr.split())
    assert "effband.commands.start" in loaded
    assert not loaded & {"numpy", "scipy", "matplotlib", "pandas", "SALib", "pydantic"}


@pytest.mark.parametrize("line", ["start my_machine", "start my_machine --like wren_bench"])
def test_the_examples_of_help_work(effband: Effband, line: str) -> None:
    assert f"  effband {line}\n" in effband("start", "--help").out
    assert effband(*line.split()).code == 0


# -- benches -----------------------------------------------------------------------------------


@pytest.mark.parametrize("bench", BENCHES)
def test_every_bench_is_written_as_it_stands(effband: Effband, here: Path, bench: str) -> None:
    said = effband("start", "mine", "--like", bench)
    assert (said.code, said.err) == (0, "")
    assert (here / "mine.yaml").read_bytes() == BENCHES[bench].read_bytes()
    assert said.out.startswith(f"mine.yaml: {title_of(BENCHES[bench])}\n")


@pytest.mark.parametrize("bench", BENCHES)
def test_no_bench_needs_a_file_beside_it(bench: str) -> None:
    assert "file:" not in BENCHES[bench].read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("bench", "remedy"),
    [
        ("wren-bench", "did you mean wren_bench?"),
        ("WREN_BENCH", "did you mean wren_bench?"),
        ("emberr", "did you mean ember?"),
        ("zzz", "choose one of these"),
        ("", "choose one of these"),
        ("../pyproject", "choose one of these"),
        ("\x1b[31m", "choose one of these"),
    ],
)
def test_a_bench_that_is_none(effband: Effband, here: Path, bench: str, remedy: str) -> None:
    said = effband("start", "mine", "--like", bench)
    assert said.code == 2
    assert f": {remedy}\n" in said.err
    for name in BENCHES:
        assert re.search(rf"(?m)^{name} +[A-Z]", said.err)
    assert names_in(here) == []


# -- refusals ----------------------------------------------------------------------------------


def test_a_file_that_is_there_stays(effband: Effband, here: Path) -> None:
    # even one that begins as effband's own files do
    for mine in ("mine", '{\n "effband": {'):
        (here / "wheel.yaml").write_text(mine)
        said = effband("start", "wheel")
        assert said.code == 4
        assert len(said.err.splitlines()) == 1
        assert "wheel.yaml is there already" in said.err
        assert "--force" in said.err
        assert (here / "wheel.yaml").read_text() == mine
    assert effband("start", "wheel", "--force").code == 0
    assert (here / "wheel.yaml").read_bytes() == FIRST.read_bytes()
    assert names_in(here) == ["wheel.yaml"]


def test_a_folder_that_is_not_there(effband: Effband, here: Path) -> None:
    said = effband("start", "not here/wheel")
    assert said.code == 4
    assert "mkdir -p 'not here'" in said.err
    assert names_in(here) == []


@pytest.mark.parametrize("force", [(), ("--force",)])
def test_what_is_no_plain_file_is_left_alone(
    effband: Effband, here: Path, force: tuple[str, ...]
) -> None:
    (here / "folder.yaml").mkdir()
    (here / "link.yaml").symlink_to("nowhere.yaml")
    for name in ("folder", "link"):
        said = effband("start", name, *force)
        assert said.code == 4
        assert len(said.err.splitlines()) == 1
    assert names_in(here) == ["folder.yaml", "link.yaml"]
    assert names_in(here / "folder.yaml") == []


@pytest.mark.parametrize(
    "name",
    ["", ".", "..", "/", "there/", "there/..", ".yaml", "./.hidden", "a\nb", "\x1b[31m", "\udcff"],
)
def test_names_that_are_none(effband: Effband, here: Path, name: str) -> None:
    (here / "there").mkdir()
    said = effband("start", name)
    assert said.code == 2
    assert "Error: Invalid value" in said.err
    assert names_in(here) == ["there"]
    assert names_in(here / "there") == []


def test_a_name_that_would_be_taken_for_an_option(effband: Effband, here: Path) -> None:
    assert effband("start", "--", "-o").code == 2
    assert names_in(here) == []


def test_a_name_that_is_too_long(effband: Effband, here: Path) -> None:
    said = effband("start", "w" * 300)
    assert said.code == 4
    assert len(said.err.splitlines()) == 1
    assert names_in(here) == []


@pytest.mark.parametrize("arguments", [(), ("--like", "wren_bench"), ("a", "b"), ("a", "--like")])
def test_wrong_usage(effband: Effband, here: Path, arguments: tuple[str, ...]) -> None:
    assert effband("start", *arguments).code == 2
    assert names_in(here) == []


def test_a_full_disk_leaves_what_was_there(
    effband: Effband, here: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: Any) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(os, "fsync", full)
    (here / "old.yaml").write_text("mine")
    for arguments in (("new",), ("old", "--force")):
        said = effband("start", *arguments)
        assert said.code == 4
        assert "No space left" in said.err
    assert names_in(here) == ["old.yaml"]
    assert (here / "old.yaml").read_text() == "mine"


@pytest.mark.skipif(
    not hasattr(os, "geteuid") or os.geteuid() == 0, reason="root may write anywhere"
)
def test_a_folder_that_may_not_be_written(effband: Effband, here: Path) -> None:
    (here / "locked").mkdir(mode=0o500)
    said = effband("start", "locked/wheel")
    assert said.code == 4
    assert "Permission denied" in said.err
    assert names_in(here / "locked") == []


# -- installed ---------------------------------------------------------------------------------


def called(*words: str | Path) -> str:
    """Run a program outside the checkout, without this environment's paths; return its stdout."""
    environment = {key: value for key, value in os.environ.items() if key != "PYTHONPATH"}
    done = subprocess.run(
        [str(word) for word in words], capture_output=True, text=True, check=False, env=environment
    )
    assert done.returncode == 0, done.stderr
    return done.stdout


@pytest.fixture(scope="module")
def checkout(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A copy of what the package is made from."""
    copy = tmp_path_factory.mktemp("checkout")
    for name in ("pyproject.toml", "README.md"):
        shutil.copy(ROOT / name, copy)
    for name in ("effband", "cases"):
        shutil.copytree(ROOT / name, copy / name, ignore=shutil.ignore_patterns("__pycache__"))
    return copy


@pytest.fixture(scope="module")
def wheel(checkout: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("wheel")
    called(sys.executable, "-m", "pip", "wheel", "--quiet", "--no-deps", "-w", folder, checkout)
    (made,) = folder.glob("effband-*.whl")
    return made


def installed(folder: Path, *what: str | Path) -> Path:
    """Install into a fresh environment; return its folder of programs."""
    called(sys.executable, "-m", "venv", folder)
    programs = folder / ("Scripts" if os.name == "nt" else "bin")
    called(programs / "python", "-m", "pip", "install", "--quiet", *what)
    return programs


@pytest.mark.slow
def test_the_wheel_holds_the_benches_and_the_first_case(wheel: Path, checkout: Path) -> None:
    with zipfile.ZipFile(wheel) as packed:
        names = packed.namelist()
        for name in BENCHES:
            bench = checkout / "cases" / f"{name}.yaml"
            assert packed.read(f"effband/benches/{name}.yaml") == bench.read_bytes()
        first = checkout / "effband" / "first_case.yaml"
        assert packed.read("effband/first_case.yaml") == first.read_bytes()
    # nothing lands in an environment but the package and what the packer says of it
    assert {name.split("/")[0].split("-")[0] for name in names} == {"effband"}
    assert len([name for name in names if name.startswith("effband/benches/")]) == len(BENCHES)


@pytest.mark.slow
def test_an_installed_wheel_writes_the_benches(wheel: Path, checkout: Path, here: Path) -> None:
    command = installed(here / "fresh", wheel) / "effband"
    for name in BENCHES:
        called(command, "start", name, "--like", name)
        bench = checkout / "cases" / f"{name}.yaml"
        assert (here / f"{name}.yaml").read_bytes() == bench.read_bytes()
    called(command, "start", "wheel")
    called(command, "check", "wheel.yaml")
    assert "57." in called(command, "run", "wheel.yaml")


@pytest.mark.slow
def test_an_editable_install_writes_those_of_the_checkout(checkout: Path, here: Path) -> None:
    own = shutil.copytree(checkout, here / "own")
    command = installed(here / "fresh", "-e", own) / "effband"
    bench = own / "cases" / "ember.yaml"
    bench.write_text(bench.read_text(encoding="utf-8") + "# changed\n", encoding="utf-8")
    called(command, "start", "mine", "--like", "ember")
    assert (here / "mine.yaml").read_bytes() == bench.read_bytes()
