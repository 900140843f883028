"""What the user gave, as steps: inputs and readings, each with its error sources.

An input with a declared spread is one source. A reading taken with an instrument is the
number read, plus the instrument's common error at that number, plus fresh errors.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field

from effband.case.findings import Findings
from effband.case.format import Column, Input, Instrument, Spread
from effband.case.given import Given, is_constant, refuse_later_keys
from effband.case.model import Component, ErrorSource, Item, Leaf, Part
from effband.case.natures import PRESSURE, UNSTATED, Nature
from effband.case.one_reading import (
    Range,
    curve_at,
    fresh_errors,
    in_range,
    law_in_unit,
    width_words,
)
from effband.case.program import Builder
from effband.case.spreads import BadSpread, Stated, keys_given, repeated_values, stated
from effband.case.text import Path
from effband.evidence import distributions as laws
from effband.evidence.instruments import PRESSURE_DIFFERENCE, READS
from effband.units import POINT, parse_unit, same_dimension

UNSTATED_EVIDENCE = "unstated"
PER_TIME = parse_unit("1/s").dimension


@dataclass
class Evidence:
    """Collects leaves, sources and ranking items while the case is understood."""

    findings: Findings
    builder: Builder
    instruments: dict[str, Instrument]
    sources: dict[str, ErrorSource] = field(default_factory=dict)
    leaves: list[Leaf] = field(default_factory=list)
    kinds: dict[str, str] = field(default_factory=dict)
    assumptions: list[str] = field(default_factory=list)
    steps: dict[tuple[str, str | None], int] = field(default_factory=dict)
    used_instruments: set[str] = field(default_factory=set)

    def add_all(self, numbers: Iterable[Given]) -> None:
        """Add every number; readings of one instrument are looked at together first."""
        numbers = list(numbers)
        read_at: dict[str, set[float]] = defaultdict(set)
        for given in numbers:
            if given.spread.instrument is not None and given.value is not None:
                read_at[given.spread.instrument].add(given.value.si)
        for given in numbers:
            try:
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
        nature = self._nature(given)
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
        self.steps[(given.name, given.run)] = self.builder.add("become", (step,), nature)
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

    def _nature(self, given: Given) -> Nature:
        entry, unit = given.entry, given.unit
        reads = entry.reads
        theirs = self._reads_of(given.spread.instrument)
        if reads is not None and theirs is not None and reads != theirs:
            what = f"{given.name} reads {reads}, but its instrument reads {theirs}"
            raise BadSpread(None, what, "say the same in both places, or only on the instrument")
        reads = reads or theirs
        kind = unit.kind
        is_pressure = same_dimension(unit.dimension, PRESSURE)
        if reads is not None:
            symbol, kind = READS[reads]
            if parse_unit(symbol).dimension != unit.dimension:
                what = f"{given.name} reads {reads}, but its unit is {unit.text}"
                remedy = f"give it in {symbol} or a unit of the same kind"
                if unit.text in ("C", "F"):
                    remedy = f"write deg{unit.text}; {unit.text} is the {unit.note.split(';')[0]}"
                raise BadSpread(None, what, remedy, self._unit_path(given))
            if unit.kind is not None and unit.kind != kind:
                what = f"{given.name} reads {reads}, but {unit.text} is a {unit.kind}"
                remedy = "write delta_degC or K" if unit.kind == POINT else "write degC or K"
                raise BadSpread(None, what, remedy)
        elif is_pressure:
            kind = UNSTATED
        gas = None
        if entry.gas or (is_pressure and kind != PRESSURE_DIFFERENCE):
            gas = (entry.gas or "unsaid", given.name)
        if entry.gas and not is_pressure:
            what = f"`gas` is said of pressures only; this is in {unit.text}"
            raise BadSpread("gas", what, "delete it")
        return Nature(unit.dimension, kind, gas=gas)

    def _unit_path(self, given: Given) -> Path:
        """Return where the unit of a number was written."""
        if isinstance(given.entry, Column):
            return ("runs", "readings", given.name, "unit")
        return given.path

    def _doubts(self, given: Given) -> None:
        """Warn of what is most likely a slip, though it can be reckoned with."""
        if given.unit.dimension == PER_TIME:
            what = f"{given.name} is in {given.unit.text}, which counts no turns"
            remedy = "a turning speed is in rpm or rev/s; they enter formulas as rad/s"
            self.findings.warn(self._unit_path(given), what, remedy)

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
        law = stated(spread, given.value, given.unit)
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
        truncated = law.distribution
        if isinstance(truncated, laws.Truncated):
            self.assumptions.append(
                f"{given.source}: only what is physically possible counts; "
                f"this removes {truncated.removed:.2g} of its declared spread"
            )
        words = law_in_unit(
            law.distribution, law.unit, offset=part.startswith("also") or item != given.name
        )
        return Component(part, words, (name,))

    def _source_step(self, component: Component) -> int:
        return self.builder.add("source", (), component.sources[0])

    # -- readings ----------------------------------------------------------------------------

    def _reads_of(self, specimen: str | None) -> str | None:
        instrument = self.instruments.get((specimen or "").partition("#")[0])
        return None if instrument is None else instrument.reads

    def _evidence_of(self, specimen: str) -> str:
        return self.instruments[specimen.partition("#")[0]].evidence or "datasheet"

    def _read(
        self, given: Given, read_at: dict[str, set[float]]
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


def _added(also: Spread, given: Given) -> Stated:
    """Return a component under `also:` as a law around 0; raises BadSpread."""
    for key in ("instrument", "also", "physical", "unit", "each_reading", "readable_to"):
        if getattr(also, key):
            what = f"`{key}:` cannot stand under `also:`"
            raise BadSpread(None, what, "give a plain spread, such as plus_minus: 0.3 K")
    refuse_later_keys(also)
    if not keys_given(also):
        what = "nothing says how wide this component is"
        raise BadSpread(None, what, "write such as `also: {plus_minus: 2 L}`")
    return stated(also, given.value or given.spread.value, given.unit, offset=True)
