"""The README holds: its commands, options, keys, numbers and links are those of the tool."""

from __future__ import annotations

import re
import subprocess
from pathlib import Path
from typing import Any

import click
import pytest

from effband.case import spreads
from effband.commands import effband as group
from effband.report.cautions import known_hazards

TOP = {"README.md", "DEVELOPERS.md", "pyproject.toml", "effband", "tests", "cases", "reports"}


@pytest.fixture(scope="module")
def readme(root: Path) -> str:
    return (root / "README.md").read_text(encoding="utf-8")


def rows_after(text: str, head: str) -> list[list[str]]:
    """Return the cells of the table whose head starts so."""
    lines = text.splitlines()
    at = next(k for k, line in enumerate(lines) if line.startswith(head))
    rows = []
    for line in lines[at + 2 :]:
        if not line.startswith("|"):
            break
        rows.append([cell.strip() for cell in re.split(r"(?<!\\)\|", line)[1:-1]])
    assert rows
    return rows


def test_the_table_of_commands_is_complete(readme: str) -> None:
    named = [
        re.findall(r"`effband (\w+)[^`]*`", row[0])
        for row in rows_after(readme, "| command | does")
    ]
    assert all(named)
    assert sorted(name for names in named for name in names) == sorted(group.commands)


def test_options_named_exist_and_are_all_named(readme: str) -> None:
    options = {
        (command.name, option): param
        for command in group.commands.values()
        for param in command.params
        if isinstance(param, click.Option)
        for option in (*param.opts, *param.secondary_opts)
    }
    of_run = {option: param for (name, option), param in options.items() if name == "run"}
    named = set(re.findall(r"`(--?[a-z][a-z-]*)", readme))
    named |= set(re.findall(r"effband run[^`\n]* (--?[a-z][a-z-]*)", readme))
    assert named
    assert named <= {option for _, option in options}
    offered = {param.opts[-1] for param in of_run.values() if not param.hidden}
    assert offered - {"--output", "--help"} <= named


def test_options_are_refused_with_the_codes_named(readme: str) -> None:
    codes = re.search(r"Exit codes: (.+?)\.\n", readme)
    assert codes
    found = [int(code) for code in re.findall(r"(\d+) [a-z]", codes[1])]
    assert found == [0, 1, 2, 3, 4, 5, 6, 7, 130]


def test_the_printed_excerpt_is_what_run_prints(readme: str, wren_run: Any) -> None:
    assert wren_run.code == 0
    blocks = re.findall(r"(?ms)^```text\n(.+?)^```$", readme)
    assert len(blocks) == 4
    assert len(blocks[0].splitlines()) >= 8
    assert blocks[0] in wren_run.out


def test_the_printed_change_is_what_compare_prints(
    readme: str, effband: Any, root: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(root)
    said = effband("compare", "cases/dray_belt.yaml", "cases/dray_gear.yaml")
    assert re.findall(r"(?ms)^```text\n(.+?)^```$", readme)[2] in said.out


def test_the_printed_post_is_the_one_in_the_reports(readme: str, root: Path) -> None:
    post = (root / "reports" / "wren_bench" / "forum.txt").read_text(encoding="utf-8")
    assert re.findall(r"(?ms)^```text\n(.+?)^```$", readme)[3] in post


DIVER = """\
effband: 1
title: a bottle

inputs:
  p_bottle:
    {value: 201 bar, plus_minus: 5 bar, reads: absolute pressure, gas: settled}
  bottle: {value: 12 L, plus_minus: 0.1 L}
  barometer:
    {value: 1.013 bar, plus_minus: 5 mbar, reads: absolute pressure}
results:
  air: {formula: air, unit: kJ}

formulas:
  air: receiver_exergy(p_bottle, bottle, barometer)
"""


def test_the_printed_warning_is_what_check_prints(
    readme: str, effband: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("case.yaml").write_text(DIVER, encoding="utf-8")
    said = effband("check", "case.yaml")
    assert said.code == 0
    block = re.findall(r"(?ms)^```text\n(.+?)^```$", readme)[1]
    assert block in said.err


def test_whole_cases_are_accepted_and_run(readme: str, effband: Any, tmp_path: Path) -> None:
    blocks = re.findall(r"(?ms)^```yaml\n(.+?)^```$", readme)
    whole = [block for block in blocks if block.startswith("effband: 1")]
    assert len(whole) == 2
    for block in whole:
        file = tmp_path / "case.yaml"
        file.write_text(block, encoding="utf-8")
        said = effband("run", str(file), "--trials", "10000")
        assert said.code == 0, said.err


def test_numbers_explained_are_numbers_printed(readme: str, wren_run: Any) -> None:
    paragraph = next(p for p in readme.split("\n\n") if p.startswith("Read it like this"))
    numbers = set(re.findall(r"\b\d+\.\d+", paragraph))
    assert len(numbers) >= 5
    printed = set(re.findall(r"\b\d+\.\d+", wren_run.out))
    assert numbers <= printed


def test_the_table_of_spreads_covers_every_form(readme: str) -> None:
    rows = [
        set(re.findall(r"[a-z_]+", " ".join(re.findall(r"`([^`]*)`", row[0]))))
        for row in rows_after(readme, "| write | when | it means")
    ]
    everywhere = set().union(*rows)
    for form in spreads._FORMS:
        assert any(form.needs <= row for row in rows), f"no row for {sorted(form.needs)}"
        assert form.allows <= everywhere, f"{sorted(form.allows - everywhere)} not in the table"


def test_every_key_of_the_table_is_a_key(readme: str) -> None:
    from effband.case.format import Input

    values = {"triangular", "arcsine", "trapezoidal", "exponential"}
    for row in rows_after(readme, "| write | when | it means"):
        for text in re.findall(r"`([^`]*)`", row[0]):
            for word in re.findall(r"[a-z_]{2,}", text):
                assert word in Input.model_fields or word in values, word


def test_every_hazard_with_a_caution_is_named(readme: str) -> None:
    named = re.search(r"cautions at its head: (.+?); a physics function", readme)
    assert named
    assert sorted(named[1].split(", ")) == sorted(known_hazards())


def test_links_lead_somewhere(readme: str, root: Path) -> None:
    targets = re.findall(r"\]\(([^)]+)\)", readme)
    assert targets
    for target in targets:
        assert (root / target.partition("#")[0]).exists(), target


def test_the_two_commands_stand_alone(readme: str) -> None:
    blocks = re.findall(r"(?ms)^```sh\n(.+?)^```$", readme)
    assert [len(block.splitlines()) for block in blocks] == [1, 1]
    assert "effband run cases/wren_bench.yaml" in blocks[0]
    assert "pytest" in blocks[1]


def test_the_map_for_developers_names_what_is_there(root: Path) -> None:
    text = (root / "DEVELOPERS.md").read_text(encoding="utf-8")
    modules = {
        name for row in rows_after(text, "| room |") for name in re.findall(r"[\w/]+\.py", row[0])
    }
    assert len(modules) > 10
    package = {str(path.relative_to(root / "effband")) for path in (root / "effband").rglob("*.py")}
    for name in modules:
        assert any(path == name or path.endswith("/" + name) for path in package), name


def test_the_top_level_holds_what_it_should(root: Path) -> None:
    if (root / ".git").exists():
        listed = subprocess.run(
            ["git", "ls-files"], cwd=root, capture_output=True, text=True, check=True
        ).stdout.splitlines()
    else:  # a fresh copy of what is tracked
        listed = [path.name for path in root.iterdir()]
    top = {name.partition("/")[0] for name in listed}
    assert {name for name in top if not name.startswith(".")} == TOP
