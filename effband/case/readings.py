"""What the user gave, as steps: inputs and readings, each with its error sources.

An input with a declared spread is one source. A reading taken with an instrument is the
number read, plus the instrument's common error at that number, plus fresh errors.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Hashable, Iterable
from dataclasses import dataclass, field, replace

from effband.case.dependence import Dependence, JointSet, poorest, set_name
from effband.case.findings import Findings
from effband.case.format import Column, Input, Instrument, Spread
from effband.case.given import Given, is_constant, refuse_idle_keys
from effband.case.groups import Groups, Repeat, Where
from effband.case.kinds import PER_TIME, nature_of, unit_path
from effband.case.model import (
    GROUP_SCATTER,
    JOINT_SET,
    Component,
    ErrorSource,
    Item,
    Leaf,
    Part,
)
from effband.case.one_reading import (
    Range,
    curve_at,
    fresh_errors,
    in_range,
    law_in_unit,
    width_words,
)
from effband.case.program import Builder
from effband.case.run_tables import DataFiles
from effband.case.spreads import BadSpread, Stated, keys_given, repeated_values, stated
from effband.case.text import Path
from effband.evidence import distributions as laws
from effband.evidence.dependence import Drawn
from effband.evidence.distributions import unit_shape

UNSTATED_EVIDENCE = "unstated"


@dataclass
class Evidence:
    """Collects leaves, sources and ranking items while the case is understood."""

    findings: Findings
    builder: Builder
    instruments: dict[str, Instrument]
    groups: Groups
    dependence: Dependence
    files: DataFiles
    sources: dict[str, ErrorSource] = field(default_factory=dict)
    leaves: list[Leaf] = field(default_factory=list)
    kinds: dict[str, str] = field(default_factory=dict)
    assumptions: list[str] = field(default_factory=list)
    steps: dict[tuple[str, Where], int] = field(default_factory=dict)
    used_instruments: set[str] = field(default_factory=set)

    def add_all(self, numbers: Iterable[Given]) -> None:
        """Add every number; readings of one instrument are looked at together first."""
        numbers = list(numbers)
        self.dependence.bind(numbers)
        self.sources.update(self.groups.sources)
        self.kinds.update({s.item: GROUP_SCATTER for s in self.groups.sources.values()})
        drawn_from = _inputs_by_file(numbers)
        read_at: dict[str, set[float]] = defaultdict(set)
        for given in numbers:
            if given.spread.instrument is not None and given.value is not None:
                read_at[given.spread.instrument].add(given.value.si)
        for given in numbers:
            try:
                if given.spread.draws is not None:
                    self._add_drawn(given, drawn_from)
                else:
                    self._add(given, read_at)
            except BadSpread as error:
                path = given.path if error.path is None else error.path
                key = error.key
                if isinstance(given.entry, Column) and given.spread is given.entry:
                    if error.by_value:
                        key = None
                    elif key and error.path is None:
                        path = ("runs", "readings", given.name)
                path = (*path, key) if key else path
                self.findings.key_error(path, error.what, error.remedy)
                self.findings.broken.add(given.name)

    def items(self) -> tuple[Item, ...]:
        """Return the lines of the ranking, by name, with their parts."""
        parts: dict[str, dict[tuple[str, str], list[str]]] = defaultdict(lambda: defaultdict(list))
        for name in sorted(self.sources):
            source = self.sources[name]
            parts[source.item][(source.part, source.evidence)].append(name)
        return tuple(
            Item(
                name,
                self.kinds[name],
                tuple(
                    Part(part, evidence, tuple(sources))
                    for (part, evidence), sources in sorted(parts[name].items())
                ),
            )
            for name in sorted(parts)
        )

    # -- one number --------------------------------------------------------------------------

    def _add(self, given: Given, read_at: dict[str, set[float]]) -> None:
        nature = nature_of(given, self._reads_of(given.spread.instrument))
        self._doubts(given)
        spread, many = given.spread, given.spread.also or given.entry.also
        if spread.physical is not None and (many or spread.instrument or is_constant(given)):
            what = "`physical:` cuts one declared spread, not a sum of errors"
            raise BadSpread("physical", what, "leave it out, or declare a single spread")
        if given.spread.instrument is not None:
            value, components, step = self._read(given, read_at)
            evidence = given.spread.evidence or self._evidence_of(given.spread.instrument)
        elif is_constant(given):
            value = given.value.si if given.value is not None else 0.0
            components, step = [], self.builder.constant(value)
            evidence = given.spread.evidence or "exact"
        else:
            value, components, step = self._declared(given)
            evidence = self._own_evidence(given)
        for component, also in self._also(given):
            components.append(component)
            step = self.builder.add("add", (step, also))
        self.steps[(given.name, given.run)] = self._share(given, step, nature)
        repeat = None if given.run is None else self.groups.where(given.run)
        if isinstance(repeat, Repeat):
            step = self._as_repeat(given, read_at, repeat, value)
            self.steps[(given.name, repeat)] = self._share(given, step, nature)
        self._add_leaf(given, value, evidence, components)

    def _share(self, given: Given, step: int, nature: Hashable) -> int:
        """Return the step of what formulas get of a number."""
        if given.times != 1.0:
            step = self.builder.add("multiply", (step, self.builder.constant(1 / given.times)))
        return self.builder.add("become", (step,), nature)

    def _add_leaf(
        self, given: Given, value: float, evidence: str, components: list[Component]
    ) -> None:
        self.leaves.append(
            Leaf(
                name=given.name,
                run=given.run,
                value=value,
                unit=given.unit,
                section="inputs" if isinstance(given.entry, Input) else "readings",
                reads=given.entry.reads or self._reads_of(given.spread.instrument),
                instrument=given.spread.instrument,
                evidence=evidence,
                note=given.spread.note or given.entry.note,
                components=tuple(components),
            )
        )

    def _as_repeat(
        self, given: Given, read_at: dict[str, set[float]], repeat: Repeat, value: float
    ) -> int:
        """Return the step of a reading as one of its group.

        What scatters from run to run is seen in the group; what the runs share is not, nor is
        the step of a display that hides it.
        """
        if given.spread.instrument is not None:
            return self._read(given, read_at, repeat)[2]
        if isinstance(given.entry, Column) and given.entry.shared and not is_constant(given):
            return self._declared(given)[2]
        return self.builder.constant(value)

    def _add_drawn(self, given: Given, drawn_from: dict[str, list[str]]) -> None:
        """Add an input that is a column of a sample; columns of one file share the row."""
        draws = given.spread.draws
        assert draws is not None
        nature = nature_of(given, None)
        values = self.files.sample(draws, given.unit, (*given.path, "draws"))
        if values is None:
            self.findings.broken.add(given.name)
            return
        item = set_name(drawn_from[draws.file])
        name = f"row of {draws.file}"
        evidence = self._own_evidence(given)
        self.kinds[item] = "input" if item == given.name else JOINT_SET
        known = self.sources.setdefault(
            name,
            ErrorSource(name, laws.Rectangular(0.0, 1.0), 0.5, item, "drawn", evidence),
        )
        if known.evidence != evidence:
            self.sources[name] = replace(known, evidence=poorest(known.evidence, evidence))
        row = self.builder.add("source", (), name)
        column = Drawn(item, draws.column, values)
        step = self.builder.add("dependent", (row,), (column, float(values.mean())))
        self.steps[(given.name, None)] = self.builder.add("become", (step,), nature)
        mean, sd = float(values.mean()), float(values.std())
        middle = f"{given.unit.from_si(mean):.6g} {given.unit.symbol}".rstrip()
        words = (
            f"sample of {len(values)} from {draws.file}, mean {middle}, "
            f"standard deviation {width_words(sd, given.unit)}"
        )
        self._add_leaf(given, mean, evidence, [Component("drawn", words, (name,))])

    def _doubts(self, given: Given) -> None:
        """Warn of what is most likely a slip, though it can be reckoned with."""
        if given.unit.dimension == PER_TIME:
            what = f"{given.name} is in {given.unit.text}, which counts no turns"
            remedy = "a turning speed is in rpm or rev/s; they enter formulas as rad/s"
            self.findings.warn(unit_path(given), what, remedy)

    def _own_evidence(self, given: Given) -> str:
        default = "measured" if given.spread.repeats else UNSTATED_EVIDENCE
        return given.spread.evidence or given.entry.evidence or default

    def _declared(self, given: Given) -> tuple[float, list[Component], int]:
        spread = given.spread
        shared = isinstance(given.entry, Column) and given.entry.shared
        if shared and spread.within_factor is not None:
            what = "a factor cannot be one error for all runs"
            raise BadSpread("within_factor", what, "give a width, or leave `shared:` out")
        if shared and spread.physical is not None:
            what = "`physical:` cannot cut an error that runs share"
            raise BadSpread("physical", what, "leave one of the two out")
        if shared and given.value is None:
            what = (
                f"the error of {given.name} is one for all runs, so a cell has no limits of its own"
            )
            raise BadSpread(None, what, "write the reading alone, or leave `shared:` out")
        law = stated(spread, given.value, given.unit)
        joint = self.dependence.of.get(given.name) if isinstance(given.entry, Input) else None
        if joint is not None:
            return self._of_set(given, law, joint)
        if shared and given.value is not None:
            # one error for all runs: the same source, around each run's own value
            around = stated(spread, given.value, given.unit, offset=True)
            component = self._source(given, given.name, around, given.name, "shared")
            step = self.builder.add(
                "add",
                (self.builder.constant(given.value.si), self._source_step(component)),
            )
            return given.value.si, [component], step
        part = "stated" if given.run is None else "fresh"
        component = self._source(given, given.source, law, given.name, part)
        return law.nominal, [component], self._source_step(component)

    def _of_set(
        self, given: Given, law: Stated, joint: JointSet
    ) -> tuple[float, list[Component], int]:
        """Return an input that is drawn together with others."""
        assert law.distribution is not None
        self.kinds[joint.name] = JOINT_SET
        self.sources.update({source.name: source for source in joint.sources()})
        width = law.distribution.standard_uncertainty
        step = joint.step(given.name, law.nominal, width, self.builder)
        self._say_removed(given, law.distribution)
        words = law_in_unit(law.distribution, law.unit, offset=False) + joint.words(given.name)
        names = tuple(source.name for source in joint.sources())
        return law.nominal, [Component("joint", words, names)], step

    def _also(self, given: Given) -> Iterable[tuple[Component, int]]:
        spreads = given.spread.also or given.entry.also
        path = given.path if given.spread.also else ("runs", "readings", given.name)
        for number, also in enumerate(spreads, start=1):
            suffix = f".also{number}" if len(spreads) > 1 else ".also"
            place: Path = (*path, "also")
            if (*place, number - 1) in self.findings.text.values:
                place = (*place, number - 1)
            try:
                law = _added(also, given)
            except BadSpread as error:
                raise BadSpread(error.key, error.what, error.remedy, place) from None
            evidence = also.evidence or self._own_evidence(given)
            component = self._source(
                given, given.source + suffix, law, given.name, f"also {number}", evidence
            )
            yield component, self._source_step(component)

    def _source(
        self,
        given: Given,
        name: str,
        law: Stated,
        item: str,
        part: str,
        evidence: str | None = None,
    ) -> Component:
        assert law.distribution is not None
        kind = "input" if isinstance(given.entry, Input) else "column"
        if item != given.name:
            kind = "instrument"
        self.kinds[item] = kind
        source = ErrorSource(
            name, law.distribution, law.nominal, item, part, evidence or self._own_evidence(given)
        )
        known = self.sources.setdefault(name, source)
        if known.distribution != source.distribution:
            what = f"{given.name} is shared by all runs, so its spread must be the same in all"
            remedy = "give the spread as a width with its unit, not as a share"
            raise BadSpread("shared", what, remedy)
        self._say_removed(given, law.distribution)
        words = law_in_unit(
            law.distribution, law.unit, offset=part.startswith("also") or item != given.name
        )
        return Component(part, words, (name,))

    def _say_removed(self, given: Given, law: laws.Distribution) -> None:
        if isinstance(law, laws.Truncated):
            self._assume(
                f"{given.source}: only what is physically possible counts; "
                f"this removes {law.removed:.2g} of its declared spread"
            )

    def _source_step(self, component: Component) -> int:
        return self.builder.add("source", (), component.sources[0])

    # -- readings ----------------------------------------------------------------------------

    def _reads_of(self, specimen: str | None) -> str | None:
        instrument = self.instruments.get((specimen or "").partition("#")[0])
        return None if instrument is None else instrument.reads

    def _evidence_of(self, specimen: str) -> str:
        return self.instruments[specimen.partition("#")[0]].evidence or "datasheet"

    def _read(
        self, given: Given, read_at: dict[str, set[float]], repeat: Repeat | None = None
    ) -> tuple[float, list[Component], int]:
        specimen = given.spread.instrument
        assert specimen is not None
        name = specimen.partition("#")[0]
        instrument = self.instruments[name]
        self.used_instruments.add(name)
        reading = self._reading(given)
        ranged = in_range(instrument, name, reading, given)
        many = len(read_at[specimen]) > 1
        components: list[Component] = []
        step = self.builder.constant(reading)
        for component, error in self._common(given, instrument, ranged, reading, many):
            components.append(component)
            step = self.builder.add("add", (step, error))
        if repeat is not None:
            for error in self._display(given, instrument, ranged, repeat):
                step = self.builder.add("add", (step, error))
            return reading, [], step
        for role, law, words in fresh_errors(given, instrument, ranged):
            part = Stated(0.0, given.unit, law)
            component = self._source(
                given, f"{given.source}.{role}", part, specimen, "fresh", self._evidence_of(name)
            )
            components.append(Component(role, words, component.sources))
            step = self.builder.add("add", (step, self._source_step(component)))
        if given.spread.repeats is not None:
            scatter = stated(given.spread, None, given.unit, offset=True)
            assert isinstance(scatter.distribution, laws.StudentT)
            around = laws.StudentT(
                0.0, scatter.distribution.scale, scatter.distribution.degrees_of_freedom
            )
            zero = Stated(0.0, given.unit, around)
            source = f"{given.source}.repeats"
            component = self._source(given, source, zero, specimen, "fresh", "measured")
            components.append(component)
            step = self.builder.add("add", (step, self._source_step(component)))
        if not components:
            what = f"instrument {name} states no error at this reading"
            raise BadSpread("instrument", what, "give it an accuracy, a step or a repeatability")
        return reading, components, step

    def _display(
        self, given: Given, instrument: Instrument, ranged: Range, repeat: Repeat
    ) -> Iterable[int]:
        """Yield the steps of the display's or dial's errors, one draw for a group and column."""
        specimen = given.spread.instrument
        assert specimen is not None
        for role, law, _ in fresh_errors(given, instrument, ranged, display_only=True):
            other = "" if specimen == given.entry.instrument else f" {specimen}"
            name = f"{given.name}[{repeat.group}].{role}{other}"
            # of unit width, since runs may read on ranges with different steps
            unit = Stated(0.0, given.unit, unit_shape(law.name))
            evidence = self._evidence_of(specimen)
            drawn = self._source(given, name, unit, specimen, "fresh", evidence)
            half = self.builder.constant(law.support[1])
            yield self.builder.add("multiply", (self._source_step(drawn), half))

    def _reading(self, given: Given) -> float:
        if given.spread.repeats is not None:
            values = repeated_values(given.spread, given.unit)
            return sum(values) / len(values)
        if given.value is None:
            raise BadSpread("instrument", "a reading is missing", "write `value:`")
        return given.value.si

    def _common(
        self, given: Given, instrument: Instrument, ranged: Range, reading: float, many: bool
    ) -> Iterable[tuple[Component, int]]:
        specimen = given.spread.instrument
        assert specimen is not None
        evidence = self._evidence_of(specimen)
        curve = curve_at(given, instrument, ranged, many)
        if curve is not None and curve.limit > 0.0:
            if curve.limit > abs(reading - given.unit.zero) > 0.0 and not given.unit.kind:
                what = f"{given.source}: the error of {specimen} is larger than its reading"
                remedy = "check the accuracy: a share of the span, or of the reading?"
                self.findings.warn(given.path, what, remedy)
            steps = []
            for z in ("z1", "z2"):
                law = Stated(0.0, given.unit, laws.Normal(0.0, 1.0))
                drawn = self._source(given, f"{specimen}.{z}", law, specimen, "common", evidence)
                steps.append(self._source_step(drawn))
            words = f"{curve.law or 'normal'}, limits +- {width_words(curve.limit, given.unit)}"
            if curve.law is None:
                words = f"normal, standard uncertainty {width_words(curve.limit, given.unit)}"
            component = Component("common", words, (f"{specimen}.z1", f"{specimen}.z2"))
            yield component, self.builder.add("curve", tuple(steps), (curve, given.source))
            if many and instrument.error_along_scale == "same":
                self._assume(f"{specimen}: its error is taken to be the same all along the scale")
        if instrument.stability is not None:
            limit = ranged.limit(instrument.stability, "stability", given)
            if limit > 0.0:
                law = Stated(0.0, given.unit, laws.Rectangular(-1.0, 1.0))
                source = f"{specimen}.stability"
                drawn = self._source(given, source, law, specimen, "common", evidence)
                half = width_words(limit, given.unit)
                words = f"rectangular, limits +- {half}, one for the whole case"
                scale = self.builder.constant(limit)
                step = self.builder.add("multiply", (self._source_step(drawn), scale))
                yield Component("stability", words, (source,)), step

    def _assume(self, words: str) -> None:
        if words not in self.assumptions:
            self.assumptions.append(words)


def _inputs_by_file(numbers: Iterable[Given]) -> dict[str, list[str]]:
    found: dict[str, list[str]] = defaultdict(list)
    for given in numbers:
        if given.spread.draws is not None:
            found[given.spread.draws.file].append(given.name)
    return found


def _added(also: Spread, given: Given) -> Stated:
    """Return a component under `also:` as a law around 0; raises BadSpread."""
    for key in ("instrument", "also", "physical", "unit", "each_reading", "readable_to"):
        if getattr(also, key):
            what = f"`{key}:` cannot stand under `also:`"
            raise BadSpread(None, what, "give a plain spread, such as plus_minus: 0.3 K")
    refuse_idle_keys(also)
    if not keys_given(also):
        what = "nothing says how wide this component is"
        raise BadSpread(None, what, "write such as `also: {plus_minus: 2 L}`")
    return stated(also, given.value or given.spread.value, given.unit, offset=True)
