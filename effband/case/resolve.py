"""`CaseFile` to `Case`: names, expansion over runs, error sources listed. Never evaluates."""

from __future__ import annotations

from typing import Any

from effband.case import formula as language
from effband.case import natures
from effband.case.deferred import check_deferred
from effband.case.findings import Findings
from effband.case.format import CaseFile, Column, Formula, Result, Spread
from effband.case.formula import Call, Expression, Name, names_in, parse_formula
from effband.case.instruments import check_instrument, missing_instrument
from effband.case.model import Case, Output, Settings, Target
from effband.case.program import Builder, Scope
from effband.case.readings import Evidence, Given, given_input
from effband.case.spreads import keys_given
from effband.case.text import CaseText, Path, read_case
from effband.case.validate import typed
from effband.physics.functions import FUNCTIONS as PHYSICS
from effband.problems import CaseError, Misread, nearest
from effband.units import ONE, Quantity, parse_quantity, parse_unit

LEAST_TRIALS, MOST_TRIALS = 1_000, 100_000_000
LEAST_PROBABILITY, MOST_PROBABILITY = 0.5, 0.9999


class _NoValue(Exception):
    """A formula has no value in a run; `reading` is missing there, None if it was refused."""

    def __init__(self, reading: str | None) -> None:
        self.reading = reading
        super().__init__(reading)


def load_case(file: str) -> Case:
    """Read, check and understand a case file. Raises CaseError with every problem found."""
    return understand(read_case(file))


def understand(text: CaseText) -> Case:
    """Return what a case says. Raises CaseError with every problem found."""
    findings = Findings(text)
    case_file = typed(text, findings)
    case = _Resolver(case_file, findings).case()
    if findings.problems:
        raise CaseError(findings.problems, text.file, text.text)
    return case


class _Resolver:
    def __init__(self, file: CaseFile, findings: Findings) -> None:
        self.file = file
        self.findings = findings
        self.builder = Builder()
        self.columns: dict[str, Column] = file.runs.readings if file.runs else {}
        self.runs: tuple[str, ...] = tuple(file.runs.rows) if file.runs else ()
        self.trees: dict[str, Expression] = {}
        self.values: dict[tuple[str, str | None], int | _NoValue] = {}
        self.underway: list[str] = []
        self.used: set[str] = set()
        usable = {
            name: entry
            for name, entry in file.instruments.items()
            if check_instrument(name, entry, findings)
        }
        findings.broken.update(set(file.instruments) - set(usable))
        self.evidence = Evidence(findings, self.builder, usable)

    def case(self) -> Case:
        self._check_names()
        self._read_formulas()
        self.evidence.add_all([*self._inputs(), *self._cells()])
        self._check_formulas()
        targets, outputs = self._results()
        checked = natures.check_natures(self.builder.program(), self.findings)
        self._check_results(outputs, checked)
        check_deferred(self.file, self.runs, self.findings)
        self._warn_unused()
        used = set().union(*(self.builder.program().sources_of[o.step] for o in outputs))
        items = self.evidence.items()
        file = self.file
        return Case(
            text=self.findings.text,
            title=file.title,
            headline=self._headline(),
            hazards=tuple(file.hazards),
            about=tuple(_flat(file.about)),
            settings=self._settings(),
            sources=tuple(self.evidence.sources[name] for name in sorted(self.evidence.sources)),
            items=tuple(item for item in items if used & set(item.sources)),
            program=self.builder.program(),
            leaves=tuple(self.evidence.leaves),
            formulas=tuple((name, _text_of(entry)) for name, entry in file.formulas.items()),
            targets=targets,
            outputs=outputs,
            instruments=tuple(
                (name, _instrument_words(self.findings.text.tree, name))
                for name in file.instruments
            ),
            claims=tuple(
                {"result": claim.result, "run": claim.run, "says": claim.says}
                for claim in file.claims
            ),
            warnings=self.findings.sorted_warnings(),
            assumptions=tuple(self._assumptions()),
        )

    # -- names -------------------------------------------------------------------------------

    def _check_names(self) -> None:
        reserved = {*language.FUNCTIONS, *language.REDUCERS, *language.CONSTANTS, *PHYSICS}
        reserved |= {"note", "label"}
        seen: dict[str, str] = {}
        sections: list[tuple[Path, dict[str, Any]]] = [
            (("instruments",), self.file.instruments),
            (("inputs",), self.file.inputs),
            (("runs", "readings"), self.columns),
            (("formulas",), self.file.formulas),
        ]
        for path, entries in sections:
            for name in entries:
                where = (*path, name)
                if name in reserved:
                    what = f"{name!r} is a word of the formula language"
                    self.findings.key_error(where, what, "choose another name")
                elif name.casefold() in seen:
                    other = seen[name.casefold()]
                    what = f"{name!r} is already the name of something else ({other})"
                    if other.split()[-1] != name:
                        what = f"{name!r} differs only in case from {other}"
                    self.findings.key_error(where, what, "choose another name")
                seen.setdefault(name.casefold(), f"{path[-1]}: {name}")

    def _known_names(self) -> list[str]:
        return [*self.file.inputs, *self.columns, *self.file.formulas, *language.CONSTANTS]

    # -- what was given ----------------------------------------------------------------------

    def _inputs(self) -> list[Given]:
        found = []
        for name, entry in self.file.inputs.items():
            path: Path = ("inputs", name)
            if entry.instrument is not None and missing_instrument(
                entry.instrument, (*path, "instrument"), self.file.instruments, self.findings
            ):
                self.findings.broken.add(name)
                continue
            given = given_input(name, entry, self.findings)
            if given is None or self._uses_broken(entry):
                self.findings.broken.add(name)
            else:
                found.append(given)
        return found

    def _uses_broken(self, spread: Spread) -> bool:
        return (spread.instrument or "").partition("#")[0] in self.findings.broken

    def _cells(self) -> list[Given]:
        found: list[Given] = []
        if self.file.runs is None:
            return found
        for name, column in self.columns.items():
            if self._column_fits(name, column):
                for run in self.runs:
                    given = self._cell(name, column, run)
                    if given is not None:
                        found.append(given)
            else:
                self.findings.broken.add(name)
        for run, row in self.file.runs.rows.items():
            for name in row:
                known = {*self.columns, *self.findings.broken, "note", "label"}
                if name not in known:
                    remedy = nearest(name, self.columns, "declare it under `readings:`")
                    what = f"no reading is called {name!r}"
                    self.findings.key_error(("runs", "rows", run, name), what, remedy)
        return found

    def _column_fits(self, name: str, column: Column) -> bool:
        path: Path = ("runs", "readings", name)
        before = len(self.findings.problems)
        if column.instrument is not None:
            missing_instrument(
                column.instrument, (*path, "instrument"), self.file.instruments, self.findings
            )
        ways = keys_given(column)
        around = {"plus_minus", "standard_uncertainty", "expanded_uncertainty", "within_factor"}
        for key in sorted(
            ways - around - {"shape", "top", "coverage_factor", "degrees_of_freedom"}
        ):
            what = f"a column's spread is around each reading; `{key}` is not"
            self.findings.key_error((*path, key), what, "use `plus_minus:`, or give it in the cell")
        for key in ("like", "draws"):
            if getattr(column, key) is not None:
                what = f"`{key}:` is not acted on yet"
                self.findings.key_error((*path, key), what, "write the spread out for now")
        if column.exact and (ways or column.instrument or column.also):
            self.findings.key_error((*path, "exact"), "an exact column has no spread", "drop one")
        elif column.instrument is not None and ways:
            key = sorted(ways)[0]
            what = f"`{key}` does not go with an instrument, which says how well it reads"
            self.findings.key_error((*path, key), what, "put a second spread under `also:`")
        elif not (column.exact or ways or column.instrument) and not self._cells_speak(name):
            remedy = "add `instrument:` or `plus_minus:`, or `exact: true` if it truly has none"
            self.findings.key_error(path, f"the column {name} has no spread", remedy)
        if column.shared and column.instrument is not None:
            what = "an instrument already shares its common error among all runs"
            self.findings.key_error((*path, "shared"), what, "delete `shared:`")
        return len(self.findings.problems) == before and not self._uses_broken(column)

    def _cells_speak(self, name: str) -> bool:
        rows = self.file.runs.rows if self.file.runs else {}
        return bool(rows) and all(isinstance(row.get(name), Spread) for row in rows.values())

    def _cell(self, name: str, column: Column, run: str) -> Given | None:
        assert self.file.runs is not None
        path: Path = ("runs", "rows", run, name)
        cell = self.file.runs.rows[run].get(name)
        spread: Spread = column
        if cell is None or cell == "":
            if column.in_every_run is not None:
                return self._at(name, run, path, column, column, column.in_every_run)
            if not column.optional and not (self.findings.broken & {name, run}):
                what = f"run {run} has no reading {name}"
                remedy = "write it, or say `optional: true` on the column"
                self.findings.key_error(("runs", "rows", run), what, remedy)
            self.values[(name, run)] = _NoValue(name if column.optional else None)
            return None
        if isinstance(cell, Spread):
            return self._spread_cell(name, run, path, column, cell)
        try:
            value = parse_quantity(cell)
        except Misread as error:
            self.findings.misread(path, error)
            self.findings.broken.add(name)
            return None
        return self._at(name, run, path, spread, column, value)

    def _spread_cell(
        self, name: str, run: str, path: Path, column: Column, cell: Spread
    ) -> Given | None:
        """Return a cell with its own spread; one that only adds to the column's keeps that."""
        value = cell.value
        own = keys_given(cell) - {"value"}
        if own and cell.instrument is None:
            if value is None and cell.repeats is None:
                unit = column.unit
                return Given(name, run, path, cell, column, None, unit)
            return self._at(name, run, path, cell, column, value)
        kept = {
            "instrument": cell.instrument or column.instrument,
            "readable_to": cell.readable_to,
            "each_reading": cell.each_reading,
            "also": cell.also,
            "repeats": cell.repeats,
            "note": cell.note,
        }
        if cell.instrument is not None and missing_instrument(
            cell.instrument, (*path, "instrument"), self.file.instruments, self.findings
        ):
            self.findings.broken.add(name)
            return None
        spread = column.model_copy(update={k: v for k, v in kept.items() if v})
        return self._at(name, run, path, spread, column, value)

    def _at(
        self,
        name: str,
        run: str,
        path: Path,
        spread: Spread,
        column: Column,
        value: Quantity | None,
    ) -> Given | None:
        """Return a cell as a number of the column; a bare number is in the column's unit."""
        if value is None:
            if not spread.repeats:
                self.findings.key_error(path, "this cell has no value", "write `value:`")
                return None
            value = Quantity(
                sum(r.number for r in spread.repeats) / len(spread.repeats), spread.repeats[0].unit
            )
        if value.unit is ONE:
            value = Quantity(value.number, column.unit)
        if value.unit.dimension != column.unit.dimension:
            what = (
                f"{value.unit.text} does not fit the column {name}, which is in {column.unit.text}"
            )
            self.findings.error(path, what, f"write it in {column.unit.text}")
            self.findings.broken.add(name)
            return None
        return Given(name, run, path, spread, column, value, column.unit)

    # -- formulas ----------------------------------------------------------------------------

    def _read_formulas(self) -> None:
        for name, entry in self.file.formulas.items():
            path = _formula_path(name, entry)
            try:
                self.trees[name] = parse_formula(_text_of(entry))
            except Misread as error:
                self.findings.misread(path, error)
                self.findings.broken.add(name)
        for name in self.trees:
            self._find_cycle(name, [])

    def _find_cycle(self, name: str, trail: list[str]) -> None:
        if name in trail:
            cycle = trail[trail.index(name) :]
            if not self.findings.broken & set(cycle):
                what = "formulas go round in a circle: " + " -> ".join([*cycle, name])
                path = _formula_path(cycle[0], self.file.formulas[cycle[0]])
                self.findings.error(path, what, "break the circle")
            self.findings.broken.update(cycle)
            return
        if name in self.trees and name not in self.findings.broken:
            for inner in sorted(names_in(self.trees[name])):
                if inner in self.file.formulas:
                    self._find_cycle(inner, [*trail, name])

    def _check_formulas(self) -> None:
        """Compile every formula, used or not, so that its problems show."""
        for name in self.trees:
            for run in self._runs_of(name):
                try:
                    self._value(name, run)
                except _NoValue:
                    continue

    def _per_run(self, tree: Expression) -> bool:
        return any(self._name_per_run(name) for name in names_in(tree, inside_reducers=False))

    def _name_per_run(self, name: str) -> bool:
        if name in self.columns:
            return True
        if name in self.findings.broken or name not in self.trees:
            return False
        return self._per_run(self.trees[name])

    def _runs_of(self, name: str) -> tuple[str | None, ...]:
        return self.runs if self._name_per_run(name) else (None,)

    def _value(self, name: str, run: str | None) -> int:
        """Return the step of a name in a run; raises _NoValue where it has none."""
        key = (name, run if self._name_per_run(name) else None)
        if key not in self.values:
            self.values[key] = self._compiled(name, key[1])
        value = self.values[key]
        if isinstance(value, _NoValue):
            raise value
        return value

    def _compiled(self, name: str, run: str | None) -> int | _NoValue:
        if name in self.findings.broken:
            return _NoValue(None)
        if name in self.trees:
            owner = name if run is None else f"{name}, run {run}"
            path = _formula_path(name, self.file.formulas[name])
            try:
                return self._expression(self.trees[name], path, owner, run)
            except _NoValue as missing:
                return missing
        step = self.evidence.steps.get((name, run))
        return _NoValue(None) if step is None else step

    def _expression(self, tree: Expression, path: Path, owner: str, run: str | None) -> int:
        def lookup(name: Name) -> int:
            return self._lookup(name, run)

        def reduce(call: Call, scope: Scope) -> int:
            return self._reduce(call, scope, run)

        try:
            return self.builder.expression(tree, Scope(path, owner, lookup, reduce))
        except Misread as error:
            self.findings.misread(path, error)
            raise _NoValue(None) from None

    def _lookup(self, name: Name, run: str | None) -> int:
        word = name.name
        self.used.add(word)
        if word in self.findings.broken:
            raise _NoValue(None)
        if word in self.file.inputs or word in self.columns or word in self.file.formulas:
            return self._value(word, run)
        if word in language.CONSTANTS:
            return self.builder.named_constant(word)
        remedy = nearest(word, self._known_names(), "declare it as an input, reading or formula")
        if word in self.file.results:
            remedy = "results are not used in formulas: give it a formula of its own"
        elif word in self.file.instruments:
            remedy = "an instrument is not a number: name the reading"
        elif word in language.FUNCTIONS or word in PHYSICS:
            remedy = f"{word} is a function: write {word}(...)"
        raise Misread(name.start, name.length, f"unknown name {word!r}", remedy)

    def _reduce(self, call: Call, scope: Scope, run: str | None) -> int:
        inner = call.arguments[0]
        if not self._per_run(inner):
            self.used |= names_in(inner)
            if names_in(inner) & self.findings.broken:
                raise _NoValue(None)
            what = f"{call.function}: this does not change from run to run"
            raise Misread(call.start, call.length, what, "leave the function out")

        def in_run(which: str) -> int:
            # a name inside is that run's; nested reducers make no sense and find no runs
            def lookup(name: Name) -> int:
                return self._lookup(name, which)

            return self.builder.expression(inner, Scope(scope.path, scope.owner, lookup))

        spot = scope.spot(call)
        if call.function == "in_run":
            return in_run(self._run_named(call))
        values = [in_run(which) for which in sorted(self.runs)]  # sorted: file order is nothing
        first = values[0]
        if call.function == "total_of_runs":
            for value in values[1:]:
                first = self.builder.add("add", (first, value), None, spot)
            return first
        # a mean by differences, so that means of gauge pressures and of degC are what they are
        rest: int | None = None
        for value in values[1:]:
            step = self.builder.add("subtract", (value, values[0]), None, spot)
            rest = step if rest is None else self.builder.add("add", (rest, step), None, spot)
        if rest is None:
            return first
        count = self.builder.constant(float(len(values)))
        share = self.builder.add("divide", (rest, count), None, spot)
        return self.builder.add("add", (first, share), None, spot)

    def _run_named(self, call: Call) -> str:
        which = call.arguments[1]
        if isinstance(which, Name) and which.name in self.runs:
            return which.name
        text = which.name if isinstance(which, Name) else ""
        if self.file.runs is not None and text in self.file.runs.groups:
            what = f"{text!r} is a group; groups are not acted on yet"
            raise Misread(which.start, which.length, what, "name a run")
        if text in self.findings.broken:
            raise _NoValue(None)
        remedy = nearest(text, self.runs, "the runs are: " + ", ".join(self.runs))
        raise Misread(which.start, which.length, f"no run is called {text!r}", remedy)

    # -- results -----------------------------------------------------------------------------

    def _results(self) -> tuple[tuple[Target, ...], tuple[Output, ...]]:
        targets, outputs = [], []
        if not self.file.results and not self.findings.problems:
            self.findings.key_error(("results",), "no result is asked for", "add one to `results:`")
        for name, entry in self.file.results.items():
            path: Path = ("results", name)
            target = self._target(name, entry, path)
            try:
                tree = parse_formula(entry.formula)
            except Misread as error:
                self.findings.misread((*path, "formula"), error)
                continue
            if target is None:
                self.used |= names_in(tree)
                continue
            targets.append(target)
            runs: tuple[str | None, ...] = self.runs if self._per_run(tree) else (None,)
            if runs == () and not self.findings.problems:
                what = f"{name} has one value per run, but there are no runs"
                self.findings.key_error(path, what, "add `rows:` under `runs:`")
            outputs += self._outputs(target, entry, tree, runs)
        return tuple(targets), tuple(outputs)

    def _outputs(
        self, target: Target, entry: Result, tree: Expression, runs: tuple[str | None, ...]
    ) -> list[Output]:
        found = []
        path: Path = ("results", target.name)
        for run in runs:
            owner = target.name if run is None else f"{target.name}, run {run}"
            try:
                step = self._expression(tree, (*path, "formula"), owner, run)
                ceiling = self._ceiling(entry, target, path, owner, run)
                found.append(Output(target, run, step, ceiling))
            except _NoValue as missing:
                if missing.reading is not None:
                    what = f"{target.name} has no value in run {run}: {missing.reading} is empty"
                    self.findings.warn(("runs", "rows", run or ""), what, "write the reading")
        return found

    def _target(self, name: str, entry: Result, path: Path) -> Target | None:
        before = len(self.findings.problems)
        plain = not any(entry.unit.dimension)
        kind = entry.is_ or ("efficiency" if plain else "quantity")
        if kind != "quantity" and not plain:
            what = f"an {kind}" if kind[0] == "e" else f"a {kind}"
            self.findings.error(
                (*path, "unit"), f"{what} has no unit such as {entry.unit.text}", "write % or 1"
            )
        if kind in ("efficiency", "performance ratio") and entry.boundary is None:
            what = f"{name} is an {kind}, so what is put in and got out must be said"
            remedy = "add `boundary: {in: ..., out: ...}`, or `is: ratio` if it is none"
            self.findings.key_error(path, what.replace("an perf", "a perf"), remedy)
        hand = entry.hand_value
        if hand is not None and hand.unit.dimension != entry.unit.dimension:
            self.findings.error(
                (*path, "hand_value"),
                f"{hand.unit.text} does not fit {entry.unit.text}",
                "check it",
            )
        ceiling = entry.ceiling or ("100 %" if kind == "efficiency" else None)
        boundary = entry.boundary
        if len(self.findings.problems) != before:
            return None
        return Target(
            name=name,
            label=entry.label,
            formula=entry.formula,
            unit=entry.unit,
            kind=kind,
            boundary=None if boundary is None else (boundary.in_, boundary.out),
            ceiling=ceiling,
        )

    def _ceiling(
        self, entry: Result, target: Target, path: Path, owner: str, run: str | None
    ) -> int | None:
        if target.ceiling is None:
            return None
        try:
            quantity = parse_quantity(target.ceiling)
        except Misread:
            where = (*path, "ceiling")
            try:
                tree = parse_formula(entry.ceiling or "")
            except Misread as error:
                self.findings.misread(where, error)
                return None
            return self._expression(tree, where, owner + ", ceiling", run)
        if quantity.unit.dimension != target.unit.dimension:
            what = f"the ceiling is in {quantity.unit.text}, the result in {target.unit.text}"
            self.findings.error((*path, "ceiling"), what, "give both in one unit")
        return self.builder.constant(quantity.si)

    def _check_results(
        self, outputs: tuple[Output, ...], checked: tuple[natures.Nature | None, ...]
    ) -> None:
        for output in outputs:
            nature = checked[output.step]
            refused = None if nature is None else natures.fits_unit(nature, output.target.unit)
            if refused is not None:
                path: Path = ("results", output.target.name, "unit")
                self.findings.error(path, refused.what, refused.remedy)
            above = None if output.ceiling is None else checked[output.ceiling]
            ceiling_is_formula = (
                output.ceiling is not None and self.builder.literal(output.ceiling) is None
            )
            if ceiling_is_formula and above is not None:
                refused = natures.fits_unit(above, output.target.unit)
                if refused is not None:
                    path = ("results", output.target.name, "ceiling")
                    self.findings.error(path, refused.what, refused.remedy)

    # -- the rest ----------------------------------------------------------------------------

    def _headline(self) -> str | None:
        headline = self.file.headline
        known = {*self.file.results, *self.findings.broken}
        if headline is not None and headline not in known:
            remedy = nearest(headline, self.file.results, "name one of the results")
            self.findings.error(("headline",), f"no result is called {headline!r}", remedy)
        return headline

    def _settings(self) -> Settings:
        given = self.file.settings
        bounds: list[tuple[str, float, float, float]] = [
            ("trials", given.trials, LEAST_TRIALS, MOST_TRIALS),
            ("probability", given.probability, LEAST_PROBABILITY, MOST_PROBABILITY),
            ("digits", given.digits, 1, 2),
            ("seed", given.seed, 0, 2**63 - 1),
        ]
        for key, value, least, most in bounds:
            if not least <= value <= most:
                what = f"{key} must lie between {least:g} and {most:g}"
                self.findings.error(("settings", key), what, "check the number")
        return Settings(given.probability, given.seed, given.trials, given.digits)

    def _warn_unused(self) -> None:
        if self.findings.problems:
            return
        for name, entry in self.file.inputs.items():
            if name not in self.used and not entry.log_only:
                remedy = "use it in a formula, or say `log_only: true`"
                self.findings.warn(("inputs", name), f"{name} is not used", remedy)
        for name, column in self.columns.items():
            if name not in self.used and not column.exact:
                what = f"the reading {name} is not used in a formula"
                self.findings.warn(("runs", "readings", name), what, "use it, or leave it as a log")
        for name in self.file.instruments:
            if name not in self.evidence.used_instruments:
                what = f"no reading was taken with {name}"
                self.findings.warn(("instruments", name), what, "name it as `instrument:`")

    def _assumptions(self) -> list[str]:
        found = list(dict.fromkeys(self.evidence.assumptions))
        if self.file.runs is not None and self.file.runs.expected:
            found.append("the readings are expected ones: nothing has been measured yet")
        for unit in sorted({leaf.unit.text for leaf in self.evidence.leaves} & {"hp", "oz"}):
            found.append(f"{unit} is the {parse_unit(unit).note.partition(';')[0]}")
        return found


def _text_of(entry: str | Formula) -> str:
    return entry if isinstance(entry, str) else entry.formula


def _formula_path(name: str, entry: str | Formula) -> Path:
    return ("formulas", name) if isinstance(entry, str) else ("formulas", name, "formula")


def _instrument_words(tree: dict[str, Any], name: str) -> str:
    """Return an instrument as the user wrote it, on one line."""
    entry = tree.get("instruments", {}).get(name, {})
    return ", ".join(f"{key}: {_inline(value)}" for key, value in entry.items() if key != "label")


def _inline(value: Any) -> str:
    if isinstance(value, dict):
        return "{" + ", ".join(f"{k}: {_inline(v)}" for k, v in value.items()) + "}"
    if isinstance(value, list):
        return " to ".join(_inline(v) for v in value)
    return str(value)


def _flat(about: Any, prefix: str = "") -> list[tuple[str, str]]:
    if not isinstance(about, dict):
        return [] if about is None else [(prefix, _inline(about))]
    return [
        pair for key, value in about.items() for pair in _flat(value, f"{prefix} {key}".strip())
    ]
