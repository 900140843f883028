"""What all screens of decisions say alike: disputes above the verdict, and amounts in words."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import Any

from effband.case.model import Case, Output
from effband.decide.cross_checks import Agreement
from effband.report.columns import wrapped

MOST_PLACES = 3  # of one cross-check that are told


def amount(number: str, symbol: str) -> str:
    """Return a number with its unit behind it: 2.5 W, 1 point, 3 points."""
    one = symbol == "points" and number.lstrip("-") == "1"
    return f"{number} {'point' if one else symbol}".rstrip()


def above(
    case: Case, failing: Sequence[Agreement], outputs: Iterable[Output], when: str = ""
) -> list[str]:
    """Return the lines that stand above a verdict where cross-checks disagree, the last one blank.

    Parameters
    ----------
    case, failing
        The case, and those of its cross-checks that disagree.
    outputs
        What the verdict is about, of this case.
    when
        Which case, where there are two: "before" or "after".
    """
    asked = tuple(outputs)
    lines = []
    for name in dict.fromkeys(agreement.check.name for agreement in failing):
        own = [agreement for agreement in failing if agreement.check.name == name]
        places = [agreement.check.where for agreement in own if agreement.check.where]
        some = ", ".join(places[:MOST_PLACES])
        more = f" and {len(places) - MOST_PLACES} more" * (len(places) > MOST_PLACES)
        where = "".join(f", {part}" for part in (some + more, when) if part)
        what = "; ".join(_disputed(case, own, asked)) or "nothing shown here is made with it"
        text = f"CROSS-CHECK {name} DISAGREES{where}: {what}"
        lines += wrapped(text, "", "  ")
    if lines:
        text = f"Find out which estimate is wrong first: `effband run {case.text.file}` helps."
        lines += [*wrapped(text, "  ", "  "), ""]
    return lines


def _disputed(case: Case, own: Sequence[Agreement], asked: Sequence[Output]) -> Iterator[str]:
    """Yield what a cross-check disputes, a clause for each place that it has there."""
    found: dict[str, list[str]] = {}
    for output in asked:
        at = case.outputs.index(output)
        touched = [dict(agreement.check.touches).get(at) for agreement in own]
        for place in dict.fromkeys(each for each in touched if each is not None):
            found.setdefault(place, []).append(output.target.name)
    for place, every in found.items():
        first, *others = dict.fromkeys(every)
        named = f"{first} and {len(others)} more" if others else first
        one = len(asked) == 1
        what = f"its {place}" if one else f"the {place} of {named}"
        if not place:
            what = "a number in it" if one else f"a number in {named}"
        yield f"{what} is disputed"


def documents(failing: Sequence[Agreement]) -> list[dict[str, Any]]:
    """Return the cross-checks that disagree as plain values."""
    return [
        {"name": agreement.check.name, "where": agreement.check.where or None}
        for agreement in failing
    ]
