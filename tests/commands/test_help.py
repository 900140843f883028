"""Help: every command says in a sentence what it does, and its examples can be typed."""

from __future__ import annotations

import re
import shlex
from collections.abc import Callable
from typing import Any

import click
import pytest

from effband.commands import effband as group

Effband = Callable[..., Any]
COMMANDS = sorted(group.commands)


def test_all_commands_are_listed_with_what_they_do(effband: Effband) -> None:
    said = effband("--help")
    assert said.code == 0
    for name in COMMANDS:
        assert re.search(rf"(?m)^  {name} +[A-Z].{{10,}}\.$", said.out)


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_explains_itself(effband: Effband, name: str) -> None:
    said = effband(name, "--help")
    assert (said.code, said.err) == (0, "")
    assert said.out.startswith(f"Usage: effband {name}")
    sentence = said.out.split("\n\n")[1]
    assert re.search(r"[A-Z][\w ,`]+ ", sentence)
    assert sentence.rstrip().endswith(".")
    assert max(map(len, said.out.splitlines())) <= 80
    assert "\\b" not in said.out, "a mark of the layout is printed"
    for option in group.commands[name].params:
        if isinstance(option, click.Option) and not option.hidden:
            assert option.opts[-1] in said.out
            assert option.help


def examples(text: str) -> list[str]:
    return re.findall(r"(?m)^(?: +|Example: +)(effband .+?)$", text) + re.findall(
        r"Example: (effband .+)$", text, re.MULTILINE
    )


@pytest.mark.parametrize("name", ["check", "run"])
def test_examples_can_be_typed(effband: Effband, name: str) -> None:
    found = examples(effband(name, "--help").out)
    assert found
    for line in found:
        words = shlex.split(line)
        assert words[:2] == ["effband", name]
        assert line.count("effband ") == 1, "one example to a line"
        command = group.commands[name]
        context = command.make_context(name, words[2:])
        assert context.params
