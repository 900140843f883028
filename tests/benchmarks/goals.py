"""What is printed: one line a goal."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Goal:
    """A measured number and what was asked of it; without a limit it is only told."""

    name: str
    what: str
    measured: float
    limit: float | None = None
    at_least: bool = False
    unit: str = "x"
    stretch: float | None = None
    remark: str = ""

    @property
    def met(self) -> bool | None:
        if self.limit is None:
            return None
        return self.measured >= self.limit if self.at_least else self.measured <= self.limit

    def line(self) -> str:
        sign = ">=" if self.at_least else "<="
        text = f"{self.name:4s} {self.what}: {self.measured:.4g} {self.unit}"
        if self.limit is not None:
            text += f"; goal {sign} {self.limit:g}: "
            missed = abs(self.measured - self.limit)
            text += "met" if self.met else f"NOT MET by {missed:.3g}"
        if self.stretch is not None:
            reached = (
                self.measured >= self.stretch if self.at_least else self.measured <= self.stretch
            )
            text += f" (stretch {self.stretch:g}: {'met' if reached else 'not met'})"
        return text + (f"; {self.remark}" if self.remark else "")


def say(text: str) -> None:
    print(text, flush=True)


def tell(*goals: Goal) -> None:
    for goal in goals:
        say(goal.line())
