"""What was found wrong or doubtful in a case, collected while it is understood."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, field

from effband.case.text import CaseText, Path
from effband.problems import Document, Misread, Place, Problem, in_file_order, nearest


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
    doubted
        Names already warned of, so that each use does not say so again.
    rows_lost
        Whether rows of runs were refused, so that no run can be called unknown.
    elsewhere
        Where a path stands that is not written as such in the case: in another file, or in
        another section.
    """

    text: CaseText
    problems: list[Problem] = field(default_factory=list)
    warnings: list[Problem] = field(default_factory=list)
    broken: set[str] = field(default_factory=set)
    names_lost: bool = False
    doubted: set[str] = field(default_factory=set)
    rows_lost: bool = False
    elsewhere: dict[Path, tuple[Document | None, Place]] = field(default_factory=dict)

    def error(
        self, path: Path, what: str, remedy: str, start: int = 0, length: int | None = None
    ) -> None:
        """Add a problem with the value at a path, or a stretch of its text."""
        document, place = self._elsewhere(path)
        if place is not None and length is not None and document is not None:
            place = place.shifted(start, length)
        place = place or self.text.place(path, start, length)
        self.problems.append(Problem(place, what, remedy, document))

    def misread(self, path: Path, error: Misread) -> None:
        """Add what a parser refused in the text at a path."""
        self.error(path, error.what, error.remedy, error.start, error.length)

    def key_error(self, path: Path, what: str, remedy: str) -> None:
        """Add a problem with the key that ends a path."""
        document, place = self._elsewhere(path)
        self.problems.append(Problem(place or self.text.key(path), what, remedy, document))

    def known(self, name: str, known: Collection[str], path: Path, what: str) -> bool:
        """Return whether a name is known; add a problem where it is not."""
        if name in known:
            return True
        if name not in self.broken:
            remedy = nearest(name, known, f"known: {', '.join(known) or 'none'}")
            self.error(path, f"no {what} is called {name!r}", remedy)
        return False

    def warn(self, path: Path | None, what: str, remedy: str) -> None:
        """Add a warning; path None when it belongs to no line."""
        if path is None:
            self.warnings.append(Problem(None, what, remedy))
            return
        document, place = self._elsewhere(path)
        self.warnings.append(Problem(place or self.text.key(path), what, remedy, document))

    def _elsewhere(self, path: Path) -> tuple[Document | None, Place | None]:
        """Return where a path, or the nearest one above it, stands when not in its own place."""
        while path:
            if path in self.elsewhere:
                return self.elsewhere[path]
            if path in self.text.values or path in self.text.keys:
                break
            path = path[:-1]
        return None, None

    def sorted_warnings(self) -> tuple[Problem, ...]:
        """Return the warnings in file order, each once."""
        return in_file_order(self.warnings)
