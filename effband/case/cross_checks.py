"""Cross-checks: several formulas that should give one quantity, and their differences.

A difference is a step like any other, so what two estimates share cancels in it.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Mapping, Sequence

from effband.case.expansion import Formulas, NoValue
from effband.case.findings import Findings
from effband.case.format import CaseFile
from effband.case.format import CrossCheck as Written
from effband.case.formula import Binary, Call, Expression, Name, Negative, parse_formula
from effband.case.model import CrossCheck, Group, Leaf, Output, Target
from effband.case.natures import Nature
from effband.case.text import Path
from effband.units import DIFFERENCE, POINT, Unit, parse_unit, same_dimension, si_unit

# Where a value stands: the name of a run or group, or None for the whole case.
_Place = str | Group | None


class CrossChecks:
    """Reads the cross-checks of a case.

    The values of all members are compiled when it is made, so that their natures are checked
    with those of everything else; `judged` adds the differences.
    """

    def __init__(self, file: CaseFile, formulas: Formulas, findings: Findings) -> None:
        self.file, self.formulas, self.findings = file, formulas, findings
        self.values: dict[str, list[tuple[_Place, list[int]]]] = {}
        for name, entry in file.cross_checks.items():
            if self._fits(name, entry):
                self.values[name] = list(self._compiled(name, entry))

    def _fits(self, name: str, entry: Written) -> bool:
        path: Path = ("cross_checks", name)
        before = len(self.findings.problems)
        members = entry.between
        if len(members) < 2:
            what = "a cross-check is between two formulas or more"
            self.findings.error(path, what, "write [a, b]")
        elif len(set(members)) < len(members):
            what = "a formula stands twice in the cross-check"
            self.findings.error(path, what, "name each once: it agrees with itself")
        listed: Path = (*path, "between")
        listed = listed if listed in self.findings.text.keys else path
        known = [self._known(member, (*listed, at)) for at, member in enumerate(members)]
        if entry.anyway and entry.combine is None:
            what = "`anyway:` lets estimates that disagree be combined, but none are"
            remedy = "add `combine: weighted` or `combine: mixture`, or delete it"
            self.findings.key_error((*path, "anyway"), what, remedy)
        return all(known) and len(self.findings.problems) == before

    def _known(self, member: str, path: Path) -> bool:
        given = {} if self.file.runs is None else self.file.runs.readings
        if member in self.formulas.trees or member not in {*self.file.inputs, *given}:
            return self.findings.known(member, self.formulas.trees, path, "formula")
        what = f"{member} is no formula, and a cross-check is between formulas"
        self.findings.error(path, what, f"write it as one, such as `{member}_as_given: {member}`")
        return False

    def _compiled(self, name: str, entry: Written) -> Iterator[tuple[_Place, list[int]]]:
        """Yield each place where all members have a value, and the steps of these."""
        trees = [parse_formula(member) for member in entry.between]
        places: tuple[_Place, ...] = (None,)
        if any(self.formulas.per_run(tree) for tree in trees):
            groups = self.formulas.groups
            alone = [run for run in self.formulas.runs if run not in groups.group_of]
            places = (*alone, *groups.all)
        absent: dict[str, str] = {}
        for place in places:
            try:
                yield place, [self._value(tree, name, place) for tree in trees]
            except NoValue as missing:  # a reading is missing there, or its formula was refused
                if missing.reading is not None:
                    where = place.name if isinstance(place, Group) else str(place)
                    absent[where] = f"{missing.reading} is empty in run {missing.run}"
        if absent:
            what = f"{name} is not compared in {', '.join(absent)}: {next(iter(absent.values()))}"
            self.findings.warn(("cross_checks", name), what, "write the reading")

    def _value(self, tree: Expression, name: str, place: _Place) -> int:
        path: Path = ("cross_checks", name)
        if isinstance(place, Group):
            return self.formulas.group_value(tree, path, name, place)
        return self.formulas.expression(tree, path, name, place)

    def judged(
        self,
        outputs: Sequence[Output],
        natures: Sequence[Nature | None],
        leaves: Sequence[Leaf],
    ) -> tuple[CrossCheck, ...]:
        """Return the cross-checks, a differing dimension or kind refused.

        Parameters
        ----------
        outputs
            Those of the case, of which it is said which a cross-check touches.
        natures
            What each step is.
        leaves
            What was given; a difference is shown in a unit used there.
        """
        found = []
        for name, places in self.values.items():
            entry = self.file.cross_checks[name]
            for place, steps in places:
                known = [nature for step in steps if (nature := natures[step]) is not None]
                if len(known) < len(steps) or not self._alike(name, entry, known):
                    break
                if not self._unit_fits(name, entry, known[0]):
                    break
                unit = entry.unit or _unit_for(known[0], outputs, leaves)
                found.append(self._check(name, entry, place, steps, unit, outputs))
        return tuple(found)

    def _alike(self, name: str, entry: Written, natures: list[Nature]) -> bool:
        first, *others = natures
        for member, nature in zip(entry.between[1:], others, strict=True):
            if not same_dimension(first.dimension, nature.dimension) or first.kind != nature.kind:
                what = (
                    f"{entry.between[0]} is {first.words()}, {member} is {nature.words()}: they "
                    "cannot give one quantity"
                )
                remedy = "compare like with like: both gauge or both absolute, say"
                self.findings.error(("cross_checks", name), what, remedy)
                return False
        return True

    def _unit_fits(self, name: str, entry: Written, nature: Nature) -> bool:
        """Return whether the unit asked for, if any, is one of what is compared."""
        if entry.unit is None:
            return True
        unit, path = entry.unit, ("cross_checks", name, "unit")
        own = si_unit(nature.dimension)
        if not same_dimension(unit.dimension, nature.dimension):
            what = f"{unit.text} does not fit {entry.between[0]}, which is {nature.words()}"
            self.findings.error(path, what, f"write {own.text} or a unit of the same kind")
            return False
        if unit.kind is not None and unit.kind != nature.kind:
            what = f"{unit.text} is a {unit.kind}, and {entry.between[0]} is {nature.words()}"
            self.findings.error(path, what, "write K, degC for points on the scale")
            return False
        return True

    def _check(
        self,
        name: str,
        entry: Written,
        place: _Place,
        steps: list[int],
        unit: Unit,
        outputs: Sequence[Output],
    ) -> CrossCheck:
        group = place if isinstance(place, Group) else None
        run = place.name if isinstance(place, Group) else place
        apart = parse_unit("K") if unit.kind == POINT else unit

        def output(named: str, step: int, shown: Unit) -> Output:
            return Output(
                Target(named, None, named, shown, "quantity", None, None), run, step, None, group
            )

        values = tuple(output(m, s, unit) for m, s in zip(entry.between, steps, strict=True))
        pairs = tuple(
            (
                i,
                k,
                output(
                    f"{entry.between[i]} - {entry.between[k]}",
                    self.formulas.builder.add("subtract", (steps[i], steps[k])),
                    apart,
                ),
            )
            for i, k in itertools.combinations(range(len(steps)), 2)
        )
        return CrossCheck(
            name,
            tuple(entry.between),
            values[0].where,
            values,
            pairs,
            entry.combine,
            entry.anyway,
            tuple(self._touched(entry.between, place, outputs)),
        )

    def _touched(
        self, members: Sequence[str], place: _Place, outputs: Sequence[Output]
    ) -> Iterator[tuple[int, str]]:
        """Yield the numbers of the outputs that use a member, and where it stands in them."""
        runs: set[str | None] = {place if not isinstance(place, Group) else place.name}
        runs |= set(place.members) if isinstance(place, Group) else set()
        trees = self.formulas.trees
        # a member that only passes a number on: who uses that number uses the member
        passed = {tree.name for m in members if isinstance(tree := trees[m], Name)}
        for at, output in enumerate(outputs):
            if place is not None and output.run is not None and output.run not in runs:
                continue
            tree = parse_formula(output.target.formula)
            counted = None if place is None else runs
            below = _where_in(tree, set(members), trees, counted)
            below = below or _where_in(tree, passed, trees, counted)
            if below:
                yield at, "denominator" if below == {True} else ""


def _where_in(
    tree: Expression,
    members: set[str],
    trees: Mapping[str, Expression],
    runs: set[str | None] | None,
) -> set[bool]:
    """Return whether members stand in an expression above (False) or below (True) a fraction.

    `runs` are those that count, None for all: `in_run` of another one does not.
    """
    found: set[bool] = set()
    seen: set[tuple[str, bool]] = set()

    def walk(part: Expression, below: bool) -> None:
        match part:
            case Name():
                if part.name in members:
                    found.add(below)
                elif part.name in trees and (part.name, below) not in seen:
                    seen.add((part.name, below))
                    walk(trees[part.name], below)
            case Negative():
                walk(part.part, below)
            case Binary():
                walk(part.left, below)
                walk(part.right, below != (part.operation == "divide"))
            case Call(function="in_run", arguments=(inner, Name(name=run))):
                if runs is None or run in runs:
                    walk(inner, below)
            case Call():
                for argument in part.arguments:
                    walk(argument, below)

    walk(tree, False)
    return found


def _unit_for(nature: Nature, outputs: Sequence[Output], leaves: Sequence[Leaf]) -> Unit:
    """Return the unit to show a value in: one that the case uses, or made of two, else the SI's."""
    used = [output.target.unit for output in outputs] + [leaf.unit for leaf in leaves]
    alike = [unit for unit in used if unit.dimension == nature.dimension]
    if nature.kind in (POINT, DIFFERENCE):
        alike = [unit for unit in alike if unit.kind in (nature.kind, None)]
    own = si_unit(nature.dimension)
    return next(iter(alike), None) or _quotient(own, used) or own


def _quotient(own: Unit, used: Sequence[Unit]) -> Unit | None:
    """Return one unit of the case over another, such as L/s, where the SI unit is no one word."""
    if own.text.isalpha() or own.text == "1":
        return None
    simple = {unit.text: unit for unit in used if unit.text.isalpha()}
    pairs = itertools.permutations(simple.values(), 2)
    texts = (f"{above.text}/{below.text}" for above, below in pairs)
    found = (unit for text in texts if (unit := parse_unit(text)).dimension == own.dimension)
    return next(found, None)
