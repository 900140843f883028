"""What was found wrong or doubtful in a case, collected while it is understood."""

from __future__ import annotations

from dataclasses import dataclass, field

from effband.case.text import CaseText, Path
from effband.problems import Misread, Place, Problem, in_file_order


@dataclass
class Findings:
    """Problems and warnings of one case, and the names that no message should follow from.

    Attributes
    ----------
    text
        The case, for places.
    problems, warnings
        What was found so far.
    broken
        Names already complained about; whatever uses them is not reported again.
    names_lost
        Whether a whole section of names was refused, so that no name can be called unknown.
    """

    text: CaseText
    problems: list[Problem] = field(default_factory=list)
    warnings: list[Problem] = field(default_factory=list)
    broken: set[str] = field(default_factory=set)
    names_lost: bool = False

    def error(
        self, path: Path, what: str, remedy: str, start: int = 0, length: int | None = None
    ) -> None:
        """Add a problem with the value at a path, or a stretch of its text."""
        self.problems.append(Problem(self.text.place(path, start, length), what, remedy))

    def misread(self, path: Path, error: Misread) -> None:
        """Add what a parser refused in the text at a path."""
        self.error(path, error.what, error.remedy, error.start, error.length)

    def key_error(self, path: Path, what: str, remedy: str) -> None:
        """Add a problem with the key that ends a path."""
        self.problems.append(Problem(self.text.key(path), what, remedy))

    def warn(self, path: Path | None, what: str, remedy: str) -> None:
        """Add a warning; path None when it belongs to no line."""
        place: Place | None = None if path is None else self.text.key(path)
        self.warnings.append(Problem(place, what, remedy))

    def sorted_warnings(self) -> tuple[Problem, ...]:
        """Return the warnings in file order, each once."""
        return in_file_order(self.warnings)
