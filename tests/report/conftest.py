"""Studies for the tests of the telling side: each is worked out once per session."""

from __future__ import annotations

import functools
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from effband import study as studies
from effband.study import Study

ROOT = Path(__file__).resolve().parents[2]

StudyOf = Callable[..., Study]


@pytest.fixture(scope="session")
def root() -> Path:
    return ROOT


@pytest.fixture(scope="session")
def wren() -> Study:
    """The demo case with its own settings."""
    return studies.run(studies.load(str(ROOT / "cases" / "wren_bench.yaml")))


@pytest.fixture(scope="session")
def study_of(tmp_path_factory: pytest.TempPathFactory) -> StudyOf:
    """Return a function from the text of a case to its study, with few trials."""

    @functools.cache
    def work(text: str, trials: int = 20_000) -> Study:
        file = tmp_path_factory.mktemp("case") / "case.yaml"
        file.write_text(text, encoding="utf-8")
        case = studies.load(str(file))
        return studies.run(case, replace(case.settings, trials=trials))

    return work
