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
from effband.case.model import Component, ErrorSource, Item, Leaf, Part
from effband.case.natures import PRESSURE, UNSTATED, Nature
from effband.case.program import Builder
from effband.case.spreads import BadSpread, Stated, keys_given, repeated_values, stated, unit_of
from effband.case.text import Path
from effband.evidence import distributions as laws
from effband.evidence.distributions import Distribution
from effband.evidence.instruments import READS, Accuracy, Curve, Term, angle_on_scale
from effband.units import POINT, Quantity, Unit, parse_unit

QUARTER = 0.25
UNSTATED_EVIDENCE = "unstated"


@dataclass(frozen=True)
class Given:
    """One number of the user's, before its errors are worked out.

    Attributes
    ----------
    name, run
        Its name, and the run of a reading.
    path
        Where it stands in the file.
    spread
        What is said of its spread; a cell's own, or its column's, or an input's.
    entry
        The input or column it belongs to.
    value
        The number read, for a reading or a column's cell; None for an input's own spread.
    unit
        The unit it is shown in.
    """

    name: str
    run: str | None
    path: Path
    spread: Spread
    entry: Input | Column
    value: Quantity | None
    unit: Unit

    @property
    def source(self) -> str:
        """The name its error sources begin with."""
        return self.name if self.run is None else f"{self.name}[{self.run}]"


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
                path = (*given.path, error.key) if error.key else given.path
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
        if given.spread.instrument is not None:
            value, components, step = self._read(given, read_at)
            evidence = given.spread.evidence or self._evidence_of(given.spread.instrument)
        elif _is_constant(given):
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
        if reads is not None:
            symbol, kind = READS[reads]
            if parse_unit(symbol).dimension != unit.dimension:
                what = f"{given.name} reads {reads}, but its unit is {unit.text}"
                raise BadSpread(None, what, f"give it in {symbol} or a unit of the same kind")
            if unit.kind is not None and unit.kind != kind:
                what = f"{given.name} reads {reads}, but {unit.text} is a {unit.kind}"
                remedy = "write delta_degC or K" if unit.kind == POINT else "write degC or K"
                raise BadSpread(None, what, remedy)
        elif unit.dimension == PRESSURE:
            kind = UNSTATED
        gas = None
        if unit.dimension == PRESSURE:
            gas = (entry.gas or "unsaid", given.name)
        return Nature(unit.dimension, kind, gas=gas)

    def _own_evidence(self, given: Given) -> str:
        default = "measured" if given.spread.repeats else UNSTATED_EVIDENCE
        return given.spread.evidence or given.entry.evidence or default

    def _declared(self, given: Given) -> tuple[float, list[Component], int]:
        spread = given.spread
        shared = isinstance(given.entry, Column) and given.entry.shared
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
        for number, also in enumerate(spreads, start=1):
            suffix = f".also{number}" if len(spreads) > 1 else ".also"
            value = given.value or given.spread.value
            if also.instrument is not None:
                raise BadSpread("also", "an instrument cannot stand under `also:`", "name it above")
            _refuse_later_keys(also)
            law = stated(also, value, given.unit, offset=True)
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
            raise BadSpread(None, what, "give the spread as a width with its unit, not as a share")
        truncated = law.distribution
        if isinstance(truncated, laws.Truncated):
            self.assumptions.append(
                f"{given.source}: only what is physically possible counts; "
                f"this removes {truncated.removed:.2g} of its declared spread"
            )
        words = _in_unit(
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
        ranged = _in_range(instrument, name, reading, given)
        many = len(read_at[specimen]) > 1
        components: list[Component] = []
        step = self.builder.constant(reading)
        for component, error in self._common(given, instrument, ranged, many):
            components.append(component)
            step = self.builder.add("add", (step, error))
        for role, law, words in _fresh(given, instrument, ranged):
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
        self, given: Given, instrument: Instrument, ranged: _Range, many: bool
    ) -> Iterable[tuple[Component, int]]:
        specimen = given.spread.instrument
        assert specimen is not None
        evidence = self._evidence_of(specimen)
        curve = _curve(specimen, instrument, ranged, many)
        if curve is not None and curve.limit > 0.0:
            steps = []
            for z in ("z1", "z2"):
                law = Stated(0.0, given.unit, laws.Normal(0.0, 1.0))
                drawn = self._source(given, f"{specimen}.{z}", law, specimen, "common", evidence)
                steps.append(self._source_step(drawn))
            words = f"{curve.law or 'normal'}, limits +- {_width(curve.limit, given.unit)}"
            if curve.law is None:
                words = f"normal, standard uncertainty {_width(curve.limit, given.unit)}"
            component = Component("common", words, (f"{specimen}.z1", f"{specimen}.z2"))
            yield component, self.builder.add("curve", tuple(steps), (curve, given.source))
            if many and instrument.error_along_scale == "same":
                self._assume(f"{specimen}: its error is taken to be the same all along the scale")
        if instrument.stability is not None:
            limit = ranged.limit(instrument.stability)
            if limit > 0.0:
                law = Stated(0.0, given.unit, laws.Rectangular(-1.0, 1.0))
                source = f"{specimen}.stability"
                drawn = self._source(given, source, law, specimen, "common", evidence)
                words = (
                    f"rectangular, limits +- {_width(limit, given.unit)}, one for the whole case"
                )
                size = self.builder.constant(limit)
                step = self.builder.add("multiply", (self._source_step(drawn), size))
                yield Component("stability", words, (source,)), step

    def _assume(self, words: str) -> None:
        if words not in self.assumptions:
            self.assumptions.append(words)


def _is_constant(given: Given) -> bool:
    if isinstance(given.entry, Input):
        return given.entry.constant is not None
    return given.entry.exact


def _refuse_later_keys(spread: Spread) -> None:
    """Refuse the keys that would change a number but are not acted on yet."""
    if spread.draws is not None:
        raise BadSpread("draws", "`draws:` is not acted on yet", "declare a spread for now")
    if spread.like is not None:
        raise BadSpread("like", "`like:` is not acted on yet", "write the spread out for now")


# -- an instrument at one reading --------------------------------------------------------------


@dataclass(frozen=True)
class _Range:
    """The range a reading falls in: numbers in `unit`, the last digit in SI units."""

    reading: float
    unit: Unit
    span: tuple[float, float] | None
    digit: float | None

    def limit(self, accuracy: Accuracy) -> float:
        return accuracy.limit(self.reading, self.unit, self.span, self.digit)


def _in_range(instrument: Instrument, name: str, reading: float, given: Given) -> _Range:
    unit = given.unit
    digits = instrument.digit or []
    if instrument.span is None:
        digit = _own_width("digit", digits[0], given, name) if digits else None
        return _Range(unit.from_si(reading), unit, None, digit)
    fitting = []
    for which, (low, high) in enumerate(instrument.span):
        if low.unit.dimension != unit.dimension:
            what = f"{given.name} is in {unit.text}, but the span of {name} is in {low.unit.text}"
            raise BadSpread(None, what, "check the instrument that is named, and the unit")
        if low.si <= reading <= high.si:
            fitting.append((high.si - low.si, which))
    if not fitting:
        number = unit.from_si(reading)
        ranges = ", ".join(
            f"{low.number:g} to {high.number:g} {high.unit.text}" for low, high in instrument.span
        )
        what = f"{given.name}: {number:g} {unit.text} lies outside the span of {name}, {ranges}"
        raise BadSpread(None, what, "check the reading, or the span")
    _, which = min(fitting)
    low, high = instrument.span[which]
    own = low.unit
    digit = None
    if digits:
        digit = _own_width("digit", digits[min(which, len(digits) - 1)], given, name)
    return _Range(own.from_si(reading), own, (low.number, own.from_si(high.si)), digit)


def _own_width(key: str, quantity: Quantity, given: Given, name: str) -> float:
    if quantity.unit.dimension != given.unit.dimension:
        what = (
            f"{key} of {name} is in {quantity.unit.text}, but {given.name} is in {given.unit.text}"
        )
        raise BadSpread(None, what, "check the instrument that is named, and the units")
    return quantity.si_width


def _curve(specimen: str, instrument: Instrument, ranged: _Range, many: bool) -> Curve | None:
    accuracy, calibration = instrument.accuracy, instrument.calibration
    if instrument.class_ is not None:
        accuracy = Accuracy("class", ((Term("span", instrument.class_ / 100),),))
    if accuracy is None and calibration is None:
        return None
    if many and instrument.span is None and instrument.error_along_scale is None:
        what = f"{specimen} is read at more than one value, but its span is not given"
        remedy = "give the instrument `span: [low, high]`, or say `error_along_scale: same`"
        raise BadSpread(None, what, remedy)
    angle = 0.0
    if instrument.error_along_scale is None:
        angle = angle_on_scale(ranged.reading, ranged.span)
    if calibration is not None:
        limit = ranged.limit(calibration.expanded_uncertainty) / calibration.coverage_factor
        return Curve(specimen, limit, angle, law=None)
    assert accuracy is not None
    law = instrument.shape or "rectangular"
    return Curve(specimen, ranged.limit(accuracy), angle, law, instrument.top)


def _fresh(
    given: Given, instrument: Instrument, ranged: _Range
) -> Iterable[tuple[str, Distribution, str]]:
    """Yield the fresh errors of one reading: role, law around 0, words."""
    own, column = given.spread, given.entry

    def width(quantity: Quantity, key: str) -> float:
        return _own_width(key, quantity, given, given.spread.instrument or "")

    if ranged.digit is not None:
        half = ranged.digit / 2
        words = f"rectangular, half a digit, +- {_width(half, given.unit)}"
        yield "digit", laws.Rectangular(-half, half), words
    if instrument.division is not None:
        share = own.readable_to or column.readable_to or instrument.readable_to or QUARTER
        half = share * width(instrument.division, "division")
        words = f"triangular, {share:g} of a division, +- {_width(half, given.unit)}"
        yield "division", laws.Triangular(-half, 0.0, half), words
    if own.repeats is not None:
        return  # the scatter that was seen stands in their place
    each = own.each_reading or column.each_reading or instrument.each_reading
    if each is not None:
        half = width(each, "each_reading")
        words = f"rectangular, each reading +- {_width(half, given.unit)}"
        yield "each_reading", laws.Rectangular(-half, half), words
    if instrument.repeatability is not None:
        u = width(instrument.repeatability, "repeatability")
        words = f"normal, repeatability, standard uncertainty {_width(u, given.unit)}"
        yield "repeatability", laws.Normal(0.0, u), words


# -- words -----------------------------------------------------------------------------------------


def _in_unit(law: Distribution, unit: Unit, offset: bool) -> str:
    def point(value: float) -> str:
        number = value / unit.factor if offset else unit.from_si(value)
        return f"{number:.6g} {_symbol(unit, offset)}".rstrip()

    return law.words(point, lambda value: _width(value, unit))


def _width(value: float, unit: Unit) -> str:
    return f"{value / unit.factor:.4g} {_symbol(unit, True)}".rstrip()


def _symbol(unit: Unit, difference: bool) -> str:
    if difference and unit.text == "%":
        return "points"
    if difference and unit.kind == POINT:
        return "K" if unit.factor == 1.0 else f"delta_{unit.text}"
    return "" if unit.text == "1" else unit.text


# -- what is given where ---------------------------------------------------------------------------


def given_input(name: str, entry: Input, findings: Findings) -> Given | None:
    """Return an input as a number to add, or None with a problem reported."""
    path: Path = ("inputs", name)
    value, unit = entry.value, unit_of(entry)
    if entry.constant is not None:
        if keys_given(entry) or entry.instrument or entry.also:
            findings.key_error(
                (*path, "constant"), "a constant has no spread", "write `value:` with a spread"
            )
            return None
        value, unit = entry.constant, entry.constant.unit
    try:
        _refuse_later_keys(entry)
    except BadSpread as error:
        findings.key_error((*path, error.key or ""), error.what, error.remedy)
        return None
    if entry.instrument is not None:
        stray = keys_given(entry) - {"value", "repeats"}
        if stray or {"value", "repeats"} <= keys_given(entry):
            key = sorted(stray)[0] if stray else "repeats"
            what = f"`{key}` does not go with an instrument, which says how well it reads"
            findings.key_error((*path, key), what, "put a second, independent spread under `also:`")
            return None
        if value is None and entry.repeats:
            value = Quantity(sum(r.number for r in entry.repeats) / len(entry.repeats), unit)
        return Given(name, None, path, entry, entry, value, unit)
    if entry.constant is None:
        value = None
    return Given(name, None, path, entry, entry, value, unit)
