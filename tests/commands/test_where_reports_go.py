"""Options that say which reports to write, and where, are not dropped in silence."""

from __future__ import annotations

from typing import Any

import pytest


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("--format", "md"), "say where with -o DIR"),
        (("--format", "md,html,forum,png"), "say where with -o DIR"),
        (("-o", ""), "-o needs the name of a folder"),
    ],
)
def test_wrong_usage_is_said(
    effband: Any, case: Any, arguments: tuple[str, ...], said: str
) -> None:
    done = effband("run", case(), *arguments)
    assert done.code == 2
    assert said in done.err
    assert done.out == ""
