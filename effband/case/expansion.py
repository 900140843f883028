"""The formulas of a case, compiled run by run into the list of operations."""

from __future__ import annotations

import graphlib

from effband.case import formula as language
from effband.case.findings import Findings
from effband.case.format import CaseFile, Formula
from effband.case.formula import Call, Expression, Name, every_name, names_in, parse_formula
from effband.case.groups import Groups, Repeat, Where, run_of
from effband.case.model import Group
from effband.case.program import Builder, Scope
from effband.case.text import Path
from effband.physics.functions import FUNCTIONS as PHYSICS
from effband.problems import Misread, nearest


class NoValue(Exception):
    """A formula has no value in a run.

    `reading` is missing there, in `run`; None when something was refused instead.
    """

    def __init__(self, reading: str | None, run: str | None = None) -> None:
        self.reading, self.run = reading, run
        super().__init__(reading)


class Formulas:
    """Turns names and expressions into steps, each once per run."""

    def __init__(
        self,
        file: CaseFile,
        findings: Findings,
        builder: Builder,
        groups: Groups,
    ) -> None:
        self.file = file
        self.findings = findings
        self.builder = builder
        self.groups = groups
        self.columns = file.runs.readings if file.runs else {}
        self.runs: tuple[str, ...] = tuple(file.runs.rows) if file.runs else ()
        self.trees: dict[str, Expression] = {}
        self.values: dict[tuple[str, Where], int | NoValue] = {}
        self.used: set[str] = set()
        self.order: tuple[str, ...] = ()
        self.changing: set[str] = set()  # formulas with one value per run
        self.reducing: set[str] = set()  # formulas with one value, made of values per run

    def place(
        self, steps: dict[tuple[str, Where], int], absent: dict[tuple[str, str], str | None]
    ) -> None:
        """Take in the steps of inputs and readings, and the cells that have none."""
        self.values.update(steps)
        for (reading, run), name in absent.items():
            for where in {run, self.groups.where(run)}:
                self.values[reading, where] = NoValue(name, run)

    def read(self) -> None:
        """Parse every formula and look for circles."""
        for name, entry in self.file.formulas.items():
            path = formula_path(name, entry)
            try:
                self.trees[name] = parse_formula(text_of(entry))
            except Misread as error:
                self.findings.misread(path, error)
                self.findings.broken.add(name)
        self._put_in_order()

    def _put_in_order(self) -> None:
        """Sort the formulas so that each stands after those it uses; refuse circles."""
        uses = {name: sorted(names_in(tree) & set(self.trees)) for name, tree in self.trees.items()}
        while True:
            try:
                self.order = tuple(graphlib.TopologicalSorter(uses).static_order())
                break
            except graphlib.CycleError as error:
                cycle = list(error.args[1])[:0:-1]  # each uses the next
                first = min(cycle, key=list(uses).index)
                at = cycle.index(first)
                self._refuse_circle([*cycle[at:], *cycle[:at], first])
                for name in cycle:
                    uses[name] = []
        for name in self.order:
            if name in self.findings.broken:
                continue
            if self.per_run(self.trees[name]):
                self.changing.add(name)
            elif any(
                self._name_per_run(n) or n in self.reducing for n in names_in(self.trees[name])
            ):
                self.reducing.add(name)

    def _refuse_circle(self, circle: list[str]) -> None:
        names = circle if len(circle) <= 9 else [*circle[:7], "...", circle[-1]]
        what = "formulas go round in a circle: " + " -> ".join(names)
        path = formula_path(circle[0], self.file.formulas[circle[0]])
        self.findings.error(path, what, "break the circle")
        self.findings.broken.update(circle)

    def compile_all(self) -> None:
        """Compile every formula, used or not, so that its problems show."""
        for name in self.order:
            for run in self._runs_of(name):
                try:
                    self.value(name, run)
                except NoValue:
                    continue

    def per_run(self, tree: Expression) -> bool:
        """Return whether an expression has one value per run."""
        return any(self._name_per_run(name) for name in names_in(tree, inside_reducers=False))

    def _name_per_run(self, name: str) -> bool:
        return name in self.columns or name in self.changing

    def _runs_of(self, name: str) -> tuple[str | None, ...]:
        return self.runs if self._name_per_run(name) else (None,)

    def value(self, name: str, run: Where) -> int:
        """Return the step of a name in a run; raises NoValue where it has none."""
        where: Where = run if self._name_per_run(name) else None
        if name in self.reducing and isinstance(run, Repeat):
            where = Repeat("", run.group)  # repeats enter it as repeats, as they would in place
        key = (name, where)
        if key not in self.values:
            self.values[key] = self._compiled(name, where)
        value = self.values[key]
        if isinstance(value, NoValue):
            raise value
        return value

    def _compiled(self, name: str, run: Where) -> int | NoValue:
        if name in self.findings.broken:
            return NoValue(None)
        if name in self.trees:
            owner = f"{name}, run {run_of(run)}" if run_of(run) else name
            path = formula_path(name, self.file.formulas[name])
            try:
                return self.expression(self.trees[name], path, owner, run)
            except NoValue as missing:
                return missing
        return NoValue(None)  # a number that was refused

    def group_value(self, tree: Expression, path: Path, name: str, group: Group) -> int:
        """Return the step of an expression for a group; raises NoValue where it has none."""
        if not self.per_run(tree):
            return self.expression(tree, path, name, None)
        values = {
            run: self.expression(tree, path, f"{name}, run {run}", self.groups.where(run))
            for run in self.groups.runs_for(group)
        }
        return self.groups.value(group, values, self.builder, f"{name}, group {group.name}")

    def expression(self, tree: Expression, path: Path, owner: str, run: Where) -> int:
        """Return the step of an expression in a run; raises NoValue where it has none."""

        def lookup(name: Name) -> int:
            return self._lookup(name, run)

        def reduce(call: Call, scope: Scope) -> int:
            return self._reduce(call, scope, run)

        unknown = [name for name in every_name(tree) if not self._is_known(name.name)]
        for name in unknown:
            if not self.findings.names_lost:
                self.findings.misread(path, self._unknown(name))
        if unknown:
            raise NoValue(None)
        try:
            return self.builder.expression(tree, Scope(path, owner, lookup, reduce))
        except Misread as error:
            self.findings.misread(path, error)
            raise NoValue(None) from None

    def _lookup(self, name: Name, run: Where) -> int:
        word = name.name
        self.used.add(word)
        if word in self.findings.broken:
            raise NoValue(None)
        if word in self.file.inputs or word in self.columns or word in self.file.formulas:
            return self.value(word, run)
        if word in language.CONSTANTS:
            return self.builder.named_constant(word)
        raise self._unknown(name)

    def _is_known(self, word: str) -> bool:
        return (
            word in self.findings.broken
            or word in self.file.inputs
            or word in self.columns
            or word in self.file.formulas
            or word in language.CONSTANTS
        )

    def _unknown(self, name: Name) -> Misread:
        word = name.name
        known = [*self.file.inputs, *self.columns, *self.file.formulas, *language.CONSTANTS]
        remedy = nearest(word, known, "declare it as an input, reading or formula")
        if word in self.file.results:
            remedy = "results are not used in formulas: give it a formula of its own"
        elif word in self.file.instruments:
            remedy = "an instrument is not a number: name the reading"
        elif word in language.FUNCTIONS or word in PHYSICS:
            remedy = f"{word} is a function: write {word}(...)"
        return Misread(name.start, name.length, f"unknown name {word!r}", remedy)

    def _reduce(self, call: Call, scope: Scope, run: Where) -> int:
        inner = call.arguments[0]
        if not self.per_run(inner):
            self.used |= names_in(inner)
            if names_in(inner) & self.findings.broken:
                raise NoValue(None)
            what = f"{call.function}: this does not change from run to run"
            raise Misread(call.start, call.length, what, "leave the function out")

        def in_run(which: str) -> int:
            # in a group, repeats enter as repeats, other runs as they are
            repeat = self.groups.where(which)
            group = run.group if isinstance(run, Repeat) else None
            where = repeat if isinstance(repeat, Repeat) and repeat.group == group else which

            # a name inside is that run's; nested reducers make no sense and find no runs
            def lookup(name: Name) -> int:
                return self._lookup(name, where)

            return self.builder.expression(inner, Scope(scope.path, scope.owner, lookup))

        spot = scope.spot(call)
        if call.function == "in_run":
            return in_run(self._run_named(call))
        values = [in_run(which) for which in sorted(self.runs)]  # sorted: file order is nothing
        if call.function == "total_of_runs":
            return self.builder.total(values, spot)
        return self.builder.mean(values, spot)

    def _run_named(self, call: Call) -> str:
        which = call.arguments[1]
        if isinstance(which, Name) and which.name in self.runs:
            return which.name
        text = which.name if isinstance(which, Name) else f"{getattr(which, 'value', ''):g}"
        if self.file.runs is not None and text in self.file.runs.groups:
            what = f"{text!r} is a group, whose values stand in no formula"
            raise Misread(which.start, which.length, what, "name one of its runs")
        if text in self.findings.broken:
            raise NoValue(None)
        remedy = nearest(text, self.runs, "the runs are: " + ", ".join(self.runs))
        raise Misread(which.start, which.length, f"no run is called {text!r}", remedy)


def text_of(entry: str | Formula) -> str:
    """Return the text of a formula, written plainly or with a meaning."""
    return entry if isinstance(entry, str) else entry.formula


def formula_path(name: str, entry: str | Formula) -> Path:
    """Return where the text of a formula stands in the file."""
    return ("formulas", name) if isinstance(entry, str) else ("formulas", name, "formula")
