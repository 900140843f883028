"""What widens a number, a bar for each item: alike on all screens."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from effband.problems import printable, width

BAR = 24
LONGEST_RANKING = 4
LEAST_SHOWN = 0.02  # of the half-width saved; below it an item is only counted


def telling(halves: Sequence[float], full: float) -> list[tuple[int, float]]:
    """Return the places of the first items that tell something, and the share each saves.

    Parameters
    ----------
    halves
        The half-widths without each item, the widest item first.
    full
        The half-width with all, above 0, in the same unit.
    """
    shares = list(enumerate(max(1 - half / full, 0.0) for half in halves))
    return [each for each in shares if each[1] >= LEAST_SHOWN][:LONGEST_RANKING] or shares[:1]


def bars(
    items: Sequence[tuple[str, float]], full: float, told: Callable[[float], str], indent: str
) -> list[str]:
    """Return a line with a bar for each item that tells something, and how many do not.

    Parameters
    ----------
    items
        The names, and the half-widths left without them, the widest item first.
    full
        The half-width with all, in the same unit; where it is 0 there is no line.
    told
        Writes what stands behind a bar, of a half-width left.
    indent
        What each line begins with.
    """
    if not items or not full > 0.0:
        return []
    shown = telling([half for _, half in items], full)
    names = [printable(items[at][0]) for at, _ in shown]
    margin = max(map(width, names))
    lines = []
    for name, (at, share) in zip(names, shown, strict=True):
        bar = "#" * max(1, round(BAR * share))
        gap = " " * (margin - width(name))
        lines.append(f"{indent}{name}{gap}  {bar:.<{BAR}}  {told(items[at][1])}")
    rest = len(items) - len(shown)
    return [*lines, f"{indent}and {rest} that matter less"] if rest else lines
