"""`CaseFile` to `Case`: names, expansion over runs, error sources listed. Never evaluates."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace
from typing import Any

from effband.case import formula as language
from effband.case import natures
from effband.case.balance import check_balance
from effband.case.claims import read_claims
from effband.case.cross_checks import CrossChecks
from effband.case.dependence import Dependence
from effband.case.expansion import Formulas, NoValue, text_of
from effband.case.findings import Findings
from effband.case.format import CaseFile, Column, Instrument, Result
from effband.case.formula import Expression, names_in, parse_formula
from effband.case.given import Numbers
from effband.case.groups import Groups
from effband.case.instruments import check_instrument
from effband.case.model import Case, Group, Likeness, Output, Settings, Target, inline
from effband.case.program import Builder
from effband.case.readings import Evidence
from effband.case.run_tables import DataFiles
from effband.case.text import CaseText, Path, read_case
from effband.case.upgrade_keys import check_upgrades
from effband.case.upgrades import Change, changed, check_changes
from effband.case.validate import typed
from effband.problems import CaseError, Misread, nearest
from effband.units import parse_quantity, parse_unit

_PRIORS = {"rule of thumb": "a rule of thumb", "handbook": "a handbook value"}
LEAST_TRIALS, MOST_TRIALS = 1_000, 100_000_000
LEAST_PROBABILITY, MOST_PROBABILITY = 0.5, 0.9999


def load_case(file: str) -> Case:
    """Read, check and understand a case file. Raises CaseError with every problem found."""
    return understand(read_case(file))


def understand(text: CaseText) -> Case:
    """Return what a case says. Raises CaseError with every problem found."""
    findings = Findings(text)
    case_file, likes = typed(text, findings)
    case = _Resolver(case_file, likes, findings).case()
    if not findings.problems:
        check_changes(case, findings, _resolved)
    if findings.problems:
        raise CaseError(findings.problems, text.file, text.text)
    return replace(case, warnings=findings.sorted_warnings())


def with_change(case: Case, change: Change) -> Case:
    """Return a case as it would be after a change. Raises CaseError with every problem found."""
    return changed(case, change, _resolved)


def _resolved(file: CaseFile, findings: Findings) -> Case:
    return _Resolver(file, (), findings).case()


def with_longer_runs(case: Case, grown: Mapping[str, float]) -> Case:
    """Return a case with some readings so many times as large, and the errors they have there.

    Formulas get the share that stands in the case, so results stay what they are. `grown` are
    columns, by name. Raises CaseError where a reading is then beyond its instrument.
    """
    itself: dict[Path, Path] = {(key,): (key,) for key in case.text.tree}
    return changed(
        case,
        Change(moved=itself),
        lambda file, findings: _Resolver(file, (), findings, grown).case(),
    )


class _Resolver:
    def __init__(
        self,
        file: CaseFile,
        likes: tuple[Likeness, ...],
        findings: Findings,
        grown: Mapping[str, float] | None = None,
    ) -> None:
        self.likes = likes
        self.grown = grown
        self.findings = findings
        self.builder = Builder()
        self.files = DataFiles(findings)
        dependence = Dependence(self.files.with_rows(file), findings)
        self.file = file = dependence.with_parameters()
        self.columns: dict[str, Column] = file.runs.readings if file.runs else {}
        self.groups = Groups(file, findings)
        self.formulas = Formulas(file, findings, self.builder, self.groups)
        self.runs = self.formulas.runs
        usable = {
            name: entry
            for name, entry in file.instruments.items()
            if check_instrument(name, entry, findings)
        }
        findings.broken.update(set(file.instruments) - set(usable))
        self.evidence = Evidence(
            findings, self.builder, usable, self.groups, dependence, self.files
        )

    def case(self) -> Case:
        self._check_names()
        self.formulas.read()
        numbers = Numbers(self.file, self.findings, self.grown)
        self.evidence.add_all(numbers.all())
        self.formulas.place(self.evidence.steps, numbers.absent)
        self.formulas.compile_all()
        targets, outputs = self._results()
        cross_checks = CrossChecks(self.file, self.formulas, self.findings)
        checked = natures.check_natures(self.builder.program(), self.findings)
        self._check_results(outputs, checked)
        check_balance(self.file, self.findings)
        check_upgrades(self.file, outputs, self.findings)
        # what follows judges values whose natures are known by now
        claims = read_claims(self.file, outputs, self.builder, self.findings)
        judged = cross_checks.judged(outputs, checked, self.evidence.leaves)
        program = self.builder.program()
        self._warn_unused()
        used = set().union(*(program.sources_of[output.step] for output in outputs))
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
            program=program,
            leaves=tuple(self.evidence.leaves),
            formulas=tuple(
                (name, text_of(entry), self._nature_of(name, checked))
                for name, entry in file.formulas.items()
            ),
            targets=targets,
            outputs=outputs,
            instruments=tuple(
                (name, self._instrument_words(name, entry))
                for name, entry in file.instruments.items()
            ),
            groups=self.groups.all,
            data=tuple(self.files.read.values()),
            likes=self.likes,
            file=file,
            named={
                (name, where): step
                for (name, where), step in self.formulas.values.items()
                if isinstance(step, int) and (where is None or isinstance(where, str))
            },
            claims=claims,
            cross_checks=judged,
            warnings=self.findings.sorted_warnings(),
            assumptions=tuple(self._assumptions()),
        )

    # -- names -------------------------------------------------------------------------------

    def _check_names(self) -> None:
        # not the physics functions: a new one must not break an old case, and `f(` tells a call
        language_words = {*language.FUNCTIONS, *language.REDUCERS, *language.CONSTANTS}
        words = {word.casefold(): word for word in language_words | {"note", "label"}}
        numbers: list[tuple[Path, Any]] = [
            (("instruments",), self.file.instruments),
            (("inputs",), self.file.inputs),
            (("runs", "readings"), self.columns),
            (("formulas",), self.file.formulas),
        ]
        for path, entries in numbers:
            for name in entries:
                word = words.get(name.casefold())
                if word is not None:
                    of = "a word of the formula language"
                    what = f"{name!r} is {of}"
                    if word != name:
                        what = f"{name!r} differs only in case from {word}, {of}"
                    self.findings.key_error((*path, name), what, "choose another name")
        self._check_distinct(numbers)
        runs = self.file.runs
        sets: list[tuple[Path, Any]] = [(("runs", "rows"), runs.rows if runs else {})]
        sets.append((("runs", "groups"), runs.groups if runs else {}))
        self._check_distinct(sets)
        self._check_distinct([(("results",), self.file.results)])

    def _check_distinct(self, sections: list[tuple[Path, Any]]) -> None:
        """Report names of one set that are the same, or differ only in case."""
        seen: dict[str, tuple[str, str]] = {}
        for path, entries in sections:
            for name in entries:
                section, other = seen.setdefault(name.casefold(), (str(path[-1]), name))
                if other != name:
                    what = f"{name!r} differs only in case from {section}: {other}"
                elif section != path[-1] and section != "rows":
                    what = f"{name!r} is already the name of something else ({section}: {other})"
                else:
                    continue
                self.findings.key_error((*path, name), what, "choose another name")

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
                self.formulas.used |= names_in(tree)
                continue
            targets.append(target)
            wanted: tuple[str | Group | None, ...] = (None,)
            if self.formulas.per_run(tree):
                wanted = (*self.runs, *self.groups.all)
            if wanted == () and not self.findings.problems:
                what = f"{name} has one value per run, but there are no runs"
                self.findings.key_error(path, what, "add `rows:` under `runs:`")
            outputs += self._outputs(target, entry, tree, wanted)
        if targets and not outputs and not self.findings.problems:
            what = "no result has a value in any run: a reading is missing for each"
            self.findings.key_error(("results",), what, "write the readings that are warned of")
        if self.groups.all and outputs and not any(output.group for output in outputs):
            what = "no result has a value for a group, so the scatter that was seen counts nowhere"
            remedy = "ask for a result per run; means and totals of runs take the declared errors"
            self.findings.warn(("runs", "groups"), what, remedy)
        return tuple(targets), tuple(outputs)

    def _outputs(
        self,
        target: Target,
        entry: Result,
        tree: Expression,
        wanted: tuple[str | Group | None, ...],
    ) -> list[Output]:
        found = []
        path: Path = ("results", target.name)
        for of in wanted:
            group = of if isinstance(of, Group) else None
            run = of.name if isinstance(of, Group) else of
            try:
                step = self._value(tree, (*path, "formula"), target.name, of)
                ceiling = self._ceiling(entry, target, path, of)
                found.append(Output(target, run, step, ceiling, group))
            except NoValue as missing:
                if missing.reading is not None:
                    self._warn_missing(Output(target, run, 0, None, group), missing)
        return found

    def _value(self, tree: Expression, path: Path, name: str, of: str | Group | None) -> int:
        """Return the step of an expression in a run, in a group, or for the whole case."""
        if isinstance(of, Group):
            return self.formulas.group_value(tree, path, name, of)
        owner = name if of is None else f"{name}, run {of}"
        return self.formulas.expression(tree, path, owner, of)

    def _warn_missing(self, output: Output, missing: NoValue) -> None:
        where = f" in {output.where}" if output.where else ""
        cell = f"{missing.reading} is empty"
        if missing.run != output.run:
            cell += f" in run {missing.run}"
        what = f"{output.target.name} has no value{where}: {cell}"
        remedy = "write the reading"
        if output.group is not None:
            remedy += f", or take run {missing.run} out of the group"
        self.findings.warn(("runs", "rows", missing.run or ""), what, remedy)

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
        if ceiling == "none":
            ceiling = None
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
            hand_value=None if hand is None else hand.si,
        )

    def _ceiling(
        self, entry: Result, target: Target, path: Path, of: str | Group | None
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
            return self._value(tree, where, f"{target.name}, ceiling", of)
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
                what = refused.what + self._what_is_in(output, checked)
                self.findings.error(path, what, refused.remedy)
            above = None if output.ceiling is None else checked[output.ceiling]
            ceiling_is_formula = (
                output.ceiling is not None and self.builder.literal(output.ceiling) is None
            )
            if ceiling_is_formula and above is not None:
                refused = natures.fits_unit(above, output.target.unit)
                if refused is not None:
                    path = ("results", output.target.name, "ceiling")
                    self.findings.error(path, refused.what, refused.remedy)

    def _what_is_in(self, output: Output, checked: tuple[natures.Nature | None, ...]) -> str:
        """Return what each name in a result is, to show where a unit goes astray."""
        names = sorted(names_in(parse_formula(output.target.formula)))
        found = [(name, self._nature_of(name, checked)) for name in names]
        known = [f"{name} is {nature}" for name, nature in found if nature]
        return f" ({'; '.join(known)})" if known else ""

    def _nature_of(self, name: str, checked: tuple[natures.Nature | None, ...]) -> str:
        """Return what the values of a name are, in words; nothing for one without a value."""
        for (known, _), step in self.formulas.values.items():
            nature = checked[step] if known == name and isinstance(step, int) else None
            if nature is not None:
                return nature.words()
        return ""

    def _instrument_words(self, name: str, entry: Instrument) -> str:
        """Return an instrument as the user wrote it, and what was filled in."""
        written = self.findings.text.tree.get("instruments", {}).get(
            name, {}
        )  # none: of an upgrade
        words = ", ".join(f"{key}: {inline(value)}" for key, value in written.items())
        filled = [like.words for like in self.likes if like.path == ("instruments", name)]
        if entry.shape is None and entry.calibration is None:
            filled.append("shape: rectangular")
        if entry.division is not None and entry.readable_to is None:
            filled.append("readable_to: 1/4")
        if entry.evidence is None:
            filled.append("evidence: datasheet")
        return words + (f" (filled in: {', '.join(filled)})" if filled else "")

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
            if name not in self.formulas.used and not entry.log_only:
                remedy = "use it in a formula, or say `log_only: true`"
                self.findings.warn(("inputs", name), f"{name} is not used", remedy)
        for name, column in self.columns.items():
            if name not in self.formulas.used and not column.exact and self.runs:
                what = f"the reading {name} is not used in a formula"
                self.findings.warn(("runs", "readings", name), what, "use it, or leave it as a log")
        for name in self.file.instruments:
            if name not in self.evidence.used_instruments:
                what = f"no reading was taken with {name}"
                self.findings.warn(("instruments", name), what, "name it as `instrument:`")

    def _priors(self) -> Iterator[str]:
        """Yield what stands on a rule of thumb or a handbook: never used silently."""
        leaves = {leaf.name: leaf for leaf in self.evidence.leaves if leaf.section == "inputs"}
        usual = [
            str(like.path[-1])
            for like in self.likes
            if like.path[0] == "instruments"
            and like.evidence in _PRIORS
            and "accuracy" in dict(like.filled)
        ]
        if usual:
            yield (
                f"the accuracy of {', '.join(usual)} is what is usual for such instruments, a rule "
                "of thumb; `effband instruments` says which and whose"
            )
        for like in self.likes:
            section, name = str(like.path[0]), str(like.path[-1])
            if section != "inputs" or name not in leaves:
                continue
            words = "; ".join(component.words for component in leaves[name].components)
            said = f"{words} ({like.source})" if like.rests_on_catalogue else words
            own = f" with {' and '.join(f'`{key}`' for key in like.own)} of your own" * bool(
                like.own
            )
            yield f"{name} is {_PRIORS[like.evidence]}, {like.name}{own}: {said}"

    def _assumptions(self) -> list[str]:
        found = [*self._priors(), *dict.fromkeys(self.evidence.assumptions)]
        if self.file.runs is not None and self.file.runs.expected:
            found.append("the readings are expected ones: nothing has been measured yet")
        for unit in sorted({leaf.unit.text for leaf in self.evidence.leaves} & {"hp", "oz"}):
            found.append(f"{unit} is the {parse_unit(unit).note.partition(';')[0]}")
        return found


def _flat(about: Any, prefix: str = "") -> list[tuple[str, str]]:
    if not isinstance(about, dict):
        return [] if about is None else [(prefix, inline(about))]
    return [
        pair for key, value in about.items() for pair in _flat(value, f"{prefix} {key}".strip())
    ]
