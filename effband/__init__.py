"""Uncertainty bands for efficiency claims about small energy machines.

From Python: `load` reads a case, `run` works it out and returns an `Answer`, `compare` works
out the change between two and returns a `Comparison`. Nothing else is loaded until one of these
names is asked for, so that a start is quick.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from effband.answers import Answer, Comparison, Value, Widener, compare, load, run
    from effband.problems import CaseError, ComputationRefused

__version__ = "0.1.0"
__all__ = [
    "Answer",
    "CaseError",
    "Comparison",
    "ComputationRefused",
    "Value",
    "Widener",
    "__version__",
    "compare",
    "load",
    "run",
]

if not TYPE_CHECKING:  # a type checker sees the names above, and no others

    def __getattr__(name: str) -> object:
        """Return a public name, loading its room the first time."""
        from importlib import import_module

        if name not in __all__:
            raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
        room = "problems" if name in ("CaseError", "ComputationRefused") else "answers"
        found = getattr(import_module(f"{__name__}.{room}"), name)
        globals()[name] = found  # next time it is found without us
        return found


def __dir__() -> list[str]:
    """Return the public names and what every module has."""
    return sorted({*__all__, *(name for name in globals() if name.startswith("__"))})
