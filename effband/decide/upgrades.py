"""What to better first: every upgrade of a case worked out, per cost, and what money buys best.

Each upgrade is answered by running the case as it would be, never by indices: these say how far
a spread would shrink on average, not how wide the band then is. All half-widths take the
readings as they are; where the value will lie, nobody knows before.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace

from effband.case.model import Case, Claim, Output
from effband.case.program import Step
from effband.case.upgrades import Cost, change_of, parse_cost, together
from effband.decide.chances import Chance, chance, unsettled
from effband.decide.common_draws import CommonDraws, Half, Key, key_of, ties
from effband.decide.cross_checks import Agreement, failing_cross_checks
from effband.decide.moved import Moved, moved, read_beside
from effband.decide.options import Advice, Option, output_of
from effband.decide.proposals import proposals
from effband.decide.repeats import scatters_by_run, with_endless_repeats, with_repeats
from effband.decide.spending import Candidate, Spending, best_purchase
from effband.decide.upgraded import refuse_lost_scatter, repeated, with_upgrades
from effband.problems import CaseError, ComputationRefused
from effband.propagate.counting import Counts
from effband.propagate.half_widths import wideners
from effband.propagate.variants import Rewriting

LITTLE = 0.05  # of the half-width: if nothing on the list saves more, something else comes first
MOST_REPEATS = 100
LEAST_RUNS_FOR_T = 3

Progress = Callable[[str, int, int], None]


def advise(
    case: Case,
    draws: CommonDraws,
    asked: Output | None = None,
    amount: Cost | None = None,
    progress: Progress | None = None,
) -> Advice:
    """Return what to better first.

    Parameters
    ----------
    case
        As loaded.
    draws
        Seed, trials, probability.
    asked
        From `output_of`: what all options are judged by. Without it the headline counts, and
        for options with a `for:` that.
    amount
        From `amount_of`: the money there is.
    progress
        Called with what is being done, how much is done, and of how much.

    Raises
    ------
    ComputationRefused
        When the case itself has no band.
    """
    return _Adviser(case, draws, asked, progress).advice(amount)


class _Adviser:
    def __init__(
        self, case: Case, draws: CommonDraws, asked: Output | None, progress: Progress | None
    ) -> None:
        self.case, self.draws, self.progress = case, draws, progress
        self.output = asked or output_of(case, None, None)
        self.key = key_of(self.output)
        self.upgrades = case.file.upgrades
        self.outputs = {name: self._purpose(name, asked) for name in self.upgrades}
        claimed = {key_of(case.outputs[at]) for claim in case.claims for at in claim.outputs}
        self.wanted = {self.key, *map(key_of, self.outputs.values()), *claimed}
        self.counts = draws.counts(case, self.wanted)
        self.now = {key: draws.half(counts) for key, counts in self.counts.items()}
        self.claims = unsettled(case, self.counts, draws)
        self.repeated: dict[tuple[Key, float], float] = {}
        self.done = 0

    def _purpose(self, name: str, asked: Output | None) -> Output:
        purpose = self.upgrades[name].for_
        if asked is not None or purpose is None:
            return self.output
        return output_of(self.case, purpose.result, purpose.run)

    def advice(self, amount: Cost | None) -> Advice:
        changed: dict[str, Case] = {}
        then: dict[str, dict[Key, Counts]] = {}
        options = []
        for name in self.upgrades:
            why_not = ""
            try:
                changed[name] = with_upgrades(self.case, [name])
                for key in (key_of(self.outputs[name]), self.key):
                    refuse_lost_scatter(self.case, changed[name], key)
                then[name] = self.draws.counts(changed[name], self.wanted)
            except (ComputationRefused, CaseError) as refused:
                if self.draws.stop.is_set():
                    raise
                changed.pop(name, None)
                why_not = refused.what if isinstance(refused, ComputationRefused) else str(refused)
            options.append(self._option(name, changed.get(name), then.get(name, {}), why_not))
            self._tell("upgrades", len(self.upgrades) + 2)
        for name in [n for n, other in changed.items() if self._strays(n, other)]:
            del changed[name], then[name]  # another number, and no better known one
        halves = {n: self.draws.half(c[self.key]) for n, c in then.items() if self.key in c}
        spending = None
        if amount is not None:
            spending = self._spending(options, changed, halves, amount.amount)
        now = self.now[self.key]
        own = {name: other for name, other in changed.items() if name in halves}
        floor = self._floor(own) if own else None
        self._tell("upgrades", len(self.upgrades) + 2)
        widest = wideners(
            *(self.case, self.output, now.value, self.draws.seed, self.draws.probability),
            self.draws.stop,
        )
        offered = self._touched(own)
        most = max((now.value - half.value for half in halves.values()), default=0.0)
        others = [item for item, _ in widest if not offered & set(item.sources)]
        found = proposals(self.case, others, self.key, now, self.draws)
        self._tell("upgrades", len(self.upgrades) + 2)
        order = list(dict.fromkeys([self.key, *map(key_of, self.outputs.values())]))
        return Advice(
            self.case,
            self.draws,
            self.output,
            now,
            tuple(sorted(options, key=lambda option: _place(option, order))),
            ties((n, half) for n, half in halves.items() if now.less(half).shows),
            floor,
            widest[0] if widest and most <= LITTLE * now.value else None,
            found,
            amount,
            spending,
            self._failing(),
        )

    def _failing(self) -> tuple[Agreement, ...]:
        """Return the cross-checks that disagree, in as many trials as a run has."""
        draws = self.draws
        settings = replace(self.case.settings, seed=draws.seed, probability=draws.probability)
        return failing_cross_checks(self.case, settings, draws.workers, draws.stop)

    def _tell(self, what: str, total: int) -> None:
        self.done += 1
        if self.progress is not None:
            self.progress(what, min(self.done, total), total)

    # -- one upgrade, or several -------------------------------------------------------------

    def _apart(self, changed: Mapping[str, Case]) -> set[frozenset[str]]:
        """Return the pairs that cannot be bought together, or of which one makes the other idle."""
        touched = {name: self._touched({name: other}) for name, other in changed.items()}
        used = {name: self._used(other) for name, other in changed.items()}
        repeating = {name for name in changed if self.upgrades[name].repeats is not None}

        def idle(one: str, other: str) -> bool:
            # repeats better what others bring as well
            return one not in repeating and not touched[one] & used[other]

        return {
            frozenset(pair)
            for pair in itertools.combinations(changed, 2)
            if repeating.issuperset(pair)
            or together(change_of(self.case, name) for name in pair) is None
            or idle(*pair)
            or idle(*reversed(pair))
        }

    def _option(
        self, name: str, changed: Case | None, then: dict[Key, Counts], why_not: str
    ) -> Option:
        upgrade, output = self.upgrades[name], self.outputs[name]
        key = key_of(output)
        now = self.now[key]
        half = self.draws.half(then[key]) if key in then else None
        if half is None and not why_not:
            why_not = f"{output.title} has no value then"
        shift = None if changed is None or half is None else self._moved(changed, key)
        if shift is not None and shift.beyond:
            left = read_beside(self.case, upgrade.replaces)
            cost = None if upgrade.cost is None else parse_cost(upgrade.cost)
            return Option(
                *(name, upgrade.label, cost, output, now, half, None, None, False, (), shift, left)
            )
        saved = None if half is None else now.less(half)
        repeats, possible = None, False
        if upgrade.repeats is None and output.run is not None:
            possible = scatters_by_run(self.case, output.run)
            if possible and half is not None and saved is not None and saved.value > 0:
                repeats = self._repeats_like(output, half.value) if saved.shows else None
        return Option(
            name,
            upgrade.label,
            None if upgrade.cost is None else parse_cost(upgrade.cost),
            output,
            now,
            half,
            saved,
            repeats,
            possible,
            () if changed is None else self._chances(changed, then),
            shift,
            why_not=why_not,
        )

    def _moved(self, changed: Case, key: Key) -> Moved | None:
        """Return how an upgrade moves an output."""
        return moved(self.case, changed, key, self.counts[key], self.draws.probability)

    def _strays(self, name: str, changed: Case) -> bool:
        """Return whether an upgrade moves what it is for, or what is asked about, too far."""
        there = set(map(key_of, changed.outputs))
        shifts = (
            self._moved(changed, key) for key in {self.key, key_of(self.outputs[name])} & there
        )
        return any(shift is not None and shift.beyond for shift in shifts)

    def _chances(self, changed: Case, then: dict[Key, Counts]) -> tuple[Chance, ...]:
        found = (
            chance(claim, self.case, changed, self.counts, then, self.draws)
            for claim in self.claims
        )
        return tuple(
            each for each in found if each is not None and not self._leaves(changed, each.claim)
        )

    def _leaves(self, changed: Case, claim: Claim) -> bool:
        """Return whether a result of a claim would leave its band, so that nothing is settled."""
        shifts = (self._moved(changed, key_of(self.case.outputs[at])) for at in claim.outputs)
        return any(shift is not None and shift.beyond for shift in shifts)

    # -- repeats -----------------------------------------------------------------------------

    def _repeats_like(self, output: Output, half: float) -> int | None:
        """Return the least number of runs in all that leaves as little, None where none does."""
        there = 1 if output.group is None else len(output.group.members)

        def enough(number: int) -> bool:
            return self._with_runs(output, number) <= half

        if there < 2 and enough(2):
            return 2
        least, most = max(there, LEAST_RUNS_FOR_T - 1), MOST_REPEATS  # too few; enough, it may be
        if self._with_runs(output, None) > half or not enough(most):
            return None
        while most - least > 1:
            middle = (least + most) // 2
            least, most = (least, middle) if enough(middle) else (middle, most)
        return most

    def _with_runs(self, output: Output, number: int | None) -> float:
        """Return the half-width with so many runs in all, or with runs without end."""
        key = key_of(output)
        which = (key, float("inf") if number is None else float(number))
        if which not in self.repeated:
            if number is None:
                case = with_endless_repeats(self.case, output.run)
            else:
                case = with_repeats(self.case, output.run, number)
            half = self.draws.half_of(case, key)
            assert half is not None
            self.repeated[which] = half.value
        return self.repeated[which]

    # -- all together ------------------------------------------------------------------------

    def _touched(self, changed: Mapping[str, Case]) -> set[str]:
        """Return the sources of the output that any upgrade betters or does without."""
        used = self._used(self.case)
        laws = {source.name: source.distribution for source in self.case.sources}
        found: set[str] = set()
        for name, other in changed.items():
            replaced = set(self.upgrades[name].replaces)
            items = [i for i in self.case.items if i.name.partition("#")[0] in replaced]
            found.update(source for item in items for source in item.sources)
            then = {source.name: source.distribution for source in other.sources}
            still = self._used(other)
            found.update(s for s in used if s not in still or then.get(s) != laws[s])
        return found & used

    def _used(self, case: Case) -> set[str]:
        """Return the names of the sources that the output is made of."""
        steps = [output.step for output in case.outputs if key_of(output) == self.key]
        return set().union(*(case.program.sources_of[step] for step in steps))

    def _floor(self, changed: dict[str, Case]) -> float:
        """Return the half-width with all that upgrades touch held perfect."""
        case = self.case
        once = {n: other for n, other in changed.items() if self.upgrades[n].repeats is None}
        for name in changed.keys() - once.keys():
            case = with_endless_repeats(case, repeated(self.case, name))
        touched = self._touched(once)
        halves = [self.draws.half_of(_perfect(case, touched), self.key)]
        known = {source.name for source in self.case.sources}
        for other in once.values():
            if self._moved(other, self.key):
                new = {source.name for source in other.sources} - known
                halves.append(self.draws.half_of(_perfect(other, touched | new), self.key))
        return min(half.value for half in halves if half is not None)

    def _spending(
        self,
        options: Sequence[Option],
        changed: Mapping[str, Case],
        halves: Mapping[str, Half],
        amount: float,
    ) -> Spending:
        costs = {o.name: o.cost.amount for o in options if o.cost is not None}
        now = self.now[self.key]
        candidates = [
            Candidate(name, costs[name], half)
            for name, half in halves.items()
            if name in costs and now.less(half).shows and half.value < now.value
        ]

        def half_of(names: Sequence[str]) -> Half | None:
            try:
                return self.draws.half_of(with_upgrades(self.case, names), self.key)
            except (CaseError, ComputationRefused):
                if self.draws.stop.is_set():
                    raise
                return None  # they do not go together

        apart = self._apart({n: other for n, other in changed.items() if n in halves})

        def allowed(names: Sequence[str]) -> bool:
            pairs = itertools.combinations(names, 2)
            return not any(frozenset(pair) in apart for pair in pairs)

        return best_purchase(candidates, now, amount, allowed, half_of)


def _place(option: Option, order: Sequence[Key]) -> tuple[int, bool, float, str]:
    """Return where an option stands: by what it is for, then by what it saves."""
    saved = float("-inf") if option.saved is None else option.saved.value
    return order.index(key_of(option.output)), option.beyond, -saved, option.name


def _perfect(case: Case, sources: set[str]) -> Case:
    """Return the case with sources held at their values as written."""
    nominal = {source.name: source.nominal for source in case.sources}
    rewriting = Rewriting(case.program)

    def change(step: Step) -> Step:
        if step.op == "source" and step.detail in sources:
            return Step("constant", (), nominal[str(step.detail)])
        if any(rewriting.steps[i].op != "constant" for i in step.inputs):
            return step
        if step.op == "curve":  # an error around 0
            return Step("constant", (), 0.0)
        if step.op == "dependent":
            assert isinstance(step.detail, tuple)
            return Step("constant", (), step.detail[1])
        return step

    return rewriting.case(case, rewriting.copy(change))
