"""Who may import whom, and what a start may not load.

Imports between the rooms go down one list; no module imports itself by way of others; the
physics functions are data; help is shown without loading anything heavy.
"""

from __future__ import annotations

import ast
import json
import subprocess
import sys
from pathlib import Path

import pytest

PACKAGE = Path(__file__).resolve().parents[1] / "effband"
ROOMS = (
    ("",),
    ("__main__",),
    ("commands",),
    ("answers",),
    ("recheck",),
    ("report",),
    ("study",),
    ("decide",),
    ("propagate",),
    ("case",),
    ("evidence", "physics"),
    ("units",),
    ("problems",),
)
FLOOR = {room: floor for floor, rooms in enumerate(ROOMS) for room in rooms}
HEAVY = {"numpy", "scipy", "matplotlib", "pandas", "SALib"}


def name_of(file: Path) -> str:
    parts = file.relative_to(PACKAGE.parent).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


MODULES = {name_of(file): file for file in sorted(PACKAGE.rglob("*.py"))}


def imports_of(module: str) -> set[str]:
    """Return the modules of effband that a module imports anywhere, functions included."""
    return imports_in(MODULES[module].read_text(encoding="utf-8"), module)


def imports_in(source: str, module: str) -> set[str]:
    found = set()
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            base = node.module or ""
            if node.level:
                package = (
                    module if MODULES[module].name == "__init__.py" else module.rpartition(".")[0]
                )
                above = package.split(".")[: len(package.split(".")) - node.level + 1]
                base = ".".join([*above, *([base] if base else [])])
            for alias in node.names:
                inner = f"{base}.{alias.name}"
                found.add(inner if inner in MODULES else base)
    return {name for name in found if name.split(".")[0] == "effband"}


def room_of(module: str) -> str:
    """Return the room of a module; the package itself is the room ''."""
    return [*module.split("."), ""][1]


def test_the_walk_sees_every_way_of_importing() -> None:
    source = (
        "import effband.units\n"
        "from effband import study as s, __version__\n"
        "from effband.case import formula\n"
        "from effband.problems import Misread\n"
        "from .. import propagate\n"
        "from . import text\n"
        "import numpy\n"
        "def later():\n    from effband.report.screen import screen\n"
    )
    assert imports_in(source, "effband.case.resolve") == {
        "effband.units",
        "effband.study",
        "effband",
        "effband.case.formula",
        "effband.problems",
        "effband.propagate",
        "effband.case.text",
        "effband.report.screen",
    }


def test_every_module_stands_in_a_room() -> None:
    assert len(MODULES) > 30
    assert {room_of(module) for module in MODULES} - {""} <= set(FLOOR)


@pytest.mark.parametrize("module", MODULES)
def test_imports_go_down(module: str) -> None:
    own = room_of(module)
    for other in sorted(imports_of(module)):
        room = room_of(other)
        if room in ("", own):
            continue  # the package's own name and version, and neighbours in the room
        assert own in FLOOR, f"{module} stands above all rooms and imports {other}"
        assert FLOOR[own] < FLOOR[room], f"{module} imports {other}"


def test_no_circle() -> None:
    graph = {module: imports_of(module) & set(MODULES) for module in MODULES}
    done: set[str] = set()

    def walk(module: str, trail: tuple[str, ...]) -> None:
        assert module not in trail, " -> ".join([*trail[trail.index(module) :], module])
        if module not in done:
            for other in sorted(graph[module] - {"effband"}):
                walk(other, (*trail, module))
            done.add(module)

    for module in MODULES:
        walk(module, ())


@pytest.mark.parametrize("module", [m for m in MODULES if room_of(m) == "physics"])
def test_physics_knows_nothing_but_its_own_forms(module: str) -> None:
    assert {room_of(other) for other in imports_of(module)} <= {"physics"}


def loaded_by(statement: str) -> set[str]:
    """Return the names of all that is loaded after a statement, in a fresh interpreter."""
    code = (
        "import sys, json, io, contextlib\n"
        "with contextlib.redirect_stdout(io.StringIO()), contextlib.suppress(SystemExit):\n"
        f"    {statement}\n"
        "print(json.dumps(sorted(sys.modules)))\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, timeout=60, check=False
    )
    assert done.returncode == 0, done.stderr
    return {name.split(".")[0] for name in json.loads(done.stdout)}


@pytest.mark.parametrize(
    "statement",
    [
        "import effband",
        "from effband.commands import main; main(['--help'])",
        "from effband.commands import main; main(['--version'])",
        "from effband.commands import main; main(['run', '--help'])",
        "from effband.commands import main; main(['run', '--no-such-option'])",
        "import effband.__main__",
    ],
)
def test_a_start_loads_nothing_heavy(statement: str) -> None:
    loaded = loaded_by(statement)
    assert "effband" in loaded
    assert loaded & HEAVY == set()


def test_the_check_would_see_something_heavy() -> None:
    assert "numpy" in loaded_by("import effband.study")
