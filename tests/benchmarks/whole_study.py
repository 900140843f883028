"""Where one whole study spends its time."""

from __future__ import annotations

import functools
import time
from collections.abc import Callable
from typing import Any

import problem
from goals import say

from effband import study
from effband.propagate import ranking
from effband.propagate.engine import Engine

# What is called (in turn, each only where no other of them is running), and its name here.
CALLS: tuple[tuple[Any, str, str], ...] = (
    (Engine, "run", "trials"),
    (study, "summarise", "summaries"),
    (study, "propagate_linearly", "first-order law"),
    (ranking, "half_widths_without", "half-widths without each item"),
    (ranking, "find_indices", "indices"),
    (study, "what_if", "what if"),
    (study, "_nominal", "nominal values"),
    (study, "_near_zero", "denominators near zero"),
)


def profile(repeats: int = 3) -> None:
    """Print wall seconds of the parts of `study.run`, the middle one of some repeats."""
    case = problem.case()
    runs = []
    for _ in range(repeats):
        spent: dict[str, float] = {}
        with_clocks(spent)
        start = time.perf_counter()
        study.run(case)
        runs.append((time.perf_counter() - start, spent))
    whole, spent = sorted(runs, key=lambda each: each[0])[repeats // 2]
    say(f"PROFILE of study.run, {case.settings.trials} trials, one worker: {whole:.3f} s wall")
    for name, seconds in [*spent.items(), ("all the rest", whole - sum(spent.values()))]:
        say(f"     {name:30s} {seconds:7.3f} s {100 * seconds / whole:5.1f} %")
    say("     (scipy.stats is imported within the indices of the first repeat)")


def with_clocks(spent: dict[str, float]) -> None:
    """Put a clock around each call; a call inside another counts to the outer one."""
    running: list[str] = []
    for place, attribute, name in CALLS:
        if not hasattr(place, attribute):
            say(f"     {name}: `{attribute}` is no longer called so")
            continue
        found = getattr(place, attribute)
        found = getattr(found, "unclocked", found)
        setattr(place, attribute, _clocked(found, name, spent, running))


def _clocked(
    function: Callable[..., Any], name: str, spent: dict[str, float], running: list[str]
) -> Callable[..., Any]:
    @functools.wraps(function)
    def clocked(*arguments: Any, **options: Any) -> Any:
        if running:
            return function(*arguments, **options)
        running.append(name)
        start = time.perf_counter()
        try:
            return function(*arguments, **options)
        finally:
            spent[name] = spent.get(name, 0.0) + time.perf_counter() - start
            running.clear()

    vars(clocked)["unclocked"] = function
    return clocked
