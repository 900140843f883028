"""What is said of upgrades: each one worked out, and all of them together."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from effband.case.model import Case, Item, Output, loads
from effband.case.upgrades import Cost, parse_cost
from effband.decide.chances import Chance
from effband.decide.common_draws import CommonDraws, Half, Narrowing
from effband.decide.cross_checks import Agreement
from effband.decide.moved import Moved
from effband.decide.proposals import Proposal
from effband.decide.spending import Spending
from effband.problems import nearest


@dataclass(frozen=True)
class Option:
    """One upgrade, worked out; SI units.

    Attributes
    ----------
    name, label, cost
        As written; None where nothing is.
    output
        What it is for.
    now, then
        The half-width, and what it would be; None where there is no band then.
    saved
        How much less that is.
    repeats
        How many runs of the same load in all would do as much; None where no number would.
    by_repeats
        Whether repeats can do anything for this output at all.
    chances
        Of the claims that are not settled now.
    moved
        Where the upgrade states another value for the output; else None.
    left
        Numbers that may have been read with what it replaces, where it moves the output beyond
        its band.
    why_not
        Why there is no band.
    """

    name: str
    label: str | None
    cost: Cost | None
    output: Output
    now: Half
    then: Half | None
    saved: Narrowing | None
    repeats: int | None
    by_repeats: bool
    chances: tuple[Chance, ...]
    moved: Moved | None
    left: tuple[str, ...] = ()
    why_not: str = ""

    @property
    def beyond(self) -> bool:
        """Whether it moves the output out of its band, so that it betters nothing."""
        return self.moved is not None and self.moved.beyond

    @property
    def saved_per_cost(self) -> float | None:
        """What it saves for one unit of money; None without a cost, or where it is free."""
        if self.cost is None or self.saved is None or not self.cost.amount:
            return None
        return self.saved.value / self.cost.amount


@dataclass(frozen=True)
class Advice:
    """What to better first; SI units.

    Attributes
    ----------
    case, draws
        What was worked out, and how.
    output, now
        The output asked about, and its half-width.
    options
        All upgrades, for each output what saves most first, and what leaves its band last.
    ties
        Names of options for `output` whose half-widths the trials cannot tell apart.
    floor
        The half-width of `output` with all that the options touch held perfect; None where
        nothing is on the list.
    first
        What widens `output` most, where no option saves much; and the half-width without it.
    proposals
        What is not on the list and would narrow it.
    amount, spending
        The money there is, and what it buys best; None where that was not asked.
    failing
        Cross-checks of the case that disagree.
    """

    case: Case
    draws: CommonDraws
    output: Output
    now: Half
    options: tuple[Option, ...]
    ties: tuple[tuple[str, ...], ...]
    floor: float | None
    first: tuple[Item, float] | None
    proposals: tuple[Proposal, ...]
    amount: Cost | None
    spending: Spending | None
    failing: tuple[Agreement, ...] = ()


def output_of(case: Case, result: str | None, run: str | None) -> Output:
    """Return the output asked about: of the headline and its last run or group, if not said.

    Raises
    ------
    ValueError
        When there is no such output; says which there are.
    """
    name = case.outputs[case.headline_output].target.name if result is None else result
    names = list(dict.fromkeys(output.target.name for output in case.outputs))
    if name not in names:
        raise ValueError(f"no result is called {name!r}: {nearest(name, names, _listed(names))}")
    own = [output for output in case.outputs if output.target.name == name]
    if run is None:
        return own[loads(own)[-1]]
    for output in own:
        if output.run == run:
            return output
    runs = [output.run for output in own if output.run is not None]
    if not runs:
        raise ValueError(f"{name} has one value for the whole case, not one per run")
    raise ValueError(f"{name} has no run or group {run!r}: {nearest(run, runs, _listed(runs))}")


def _listed(names: Sequence[str]) -> str:
    return f"known: {', '.join(names)}"


def amount_of(case: Case, text: str) -> Cost:
    """Return the money there is to spend, in the currency of the costs where none is said.

    Raises
    ------
    ValueError
        Where it does not fit the costs.
    """
    costs = [parse_cost(u.cost) for u in case.file.upgrades.values() if u.cost is not None]
    if not costs:
        raise ValueError("no upgrade of the case has a cost, so nothing can be bought")
    bare = re.fullmatch(r"[0-9.]+", text.strip())
    currency = f" {costs[0].currency}" if bare else ""
    amount = parse_cost(text.strip() + currency)  # Misread is a ValueError
    if amount.currency != costs[0].currency:
        raise ValueError(f"the costs of the case are in {costs[0].currency}, not {amount.currency}")
    return amount
