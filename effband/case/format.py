"""The file format, typed: exactly what the user wrote, in his units.

One class per kind of entry; the keys and their meanings are the contract that published
cases rely on. Shapes and single values are checked here, all at once; what needs more than
one entry (names, units that must fit, readings within spans) is checked in `case.resolve`.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Annotated, Any, Literal

from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Discriminator,
    Field,
    PlainValidator,
    Tag,
    WithJsonSchema,
)
from pydantic_core import PydanticCustomError

from effband.evidence.instruments import READS, Accuracy, parse_accuracy
from effband.problems import Misread, nearest, spell
from effband.units import Quantity, Unit, parse_number, parse_quantity, parse_unit

LONGEST_TEXT = 2000
NAME = re.compile(r"[A-Za-z][A-Za-z0-9_]{0,39}")
EVIDENCE = (
    "measured",
    "certificate",
    "datasheet",
    "nameplate",
    "handbook",
    "rule of thumb",
    "guess",
)
MEANS = (
    "engine rating",
    "delivered engine power",
    "motor rating",
    "chain efficiency",
    "stage efficiency",
    "lamp rating",
    "refill energy",
    "refill time",
    "rotor inertia",
    "rotor speed",
    "tare",
    "untared arm",
    "unloaded loss",
    "shaft work",
    "input energy",
    "output energy",
    "hot temperature",
    "cold temperature",
)


def refuse(
    what: str, remedy: str, start: int = 0, length: int | None = None
) -> PydanticCustomError:
    """Return the error of one value: what, remedy, and the stretch of its text."""
    context = {"what": what, "remedy": remedy, "start": start, "length": length}
    return PydanticCustomError("refused", "{what}", context)


def _from_text(parse: Any) -> PlainValidator:
    """Return a validator that reads text through a parser raising Misread."""

    def read(value: Any) -> Any:
        if not isinstance(value, str):
            raise refuse("one value is expected here, not a list or a mapping", "write one value")
        try:
            return parse(value)
        except Misread as error:
            raise refuse(error.what, error.remedy, error.start, error.length) from None

    return PlainValidator(read, json_schema_input_type=str)


_SCALAR = WithJsonSchema({"type": ["string", "number"]})


# -- single values -----------------------------------------------------------------------


@dataclass(frozen=True)
class ShareOfValue:
    """`5 % of value`: a width as a fraction of the value it belongs to."""

    fraction: float


_SHARE = re.compile(r"(?P<number>\S+) *(?P<unit>%|ppm) of (?:the )?value")


def parse_width(text: str) -> Quantity | ShareOfValue:
    """Return a width: a quantity, or a share of the value. Raises Misread."""
    match = _SHARE.fullmatch(text)
    if match is None:
        return parse_quantity(text)
    number = parse_number(match["number"])
    return ShareOfValue(number * parse_unit(match["unit"]).factor)


def parse_fraction(text: str) -> float:
    """Return a plain fraction such as `1/4` or `0.25`, above 0 and at most 1."""
    above, slash, below = text.partition("/")
    number = parse_number(above) / (parse_number(below) or float("nan") if slash else 1.0)
    if not 0.0 < number <= 1.0:
        raise Misread(0, len(text), f"{text!r} is no fraction of a division", "write 1/4")
    return number


def parse_top(text: str) -> float:
    """Return the ratio of top to base of a trapezoid, 0 to 1: `0.4` or `2/5`."""
    above, slash, below = text.partition("/")
    number = parse_number(above) / (parse_number(below) or float("nan") if slash else 1.0)
    if not 0.0 <= number <= 1.0:
        raise Misread(0, len(text), f"{text!r} is no ratio of top to base", "write such as 0.4")
    return number


def parse_share(text: str) -> float:
    """Return a probability written as `95 %` or `0.95`."""
    quantity = parse_quantity(text)
    if any(quantity.unit.dimension) or not 0.0 < quantity.si < 1.0:
        raise Misread(0, len(text), f"{text!r} is no probability", "write such as 95 %")
    return quantity.si


def parse_whole(text: str) -> int:
    """Return a whole number, at most 18 digits."""
    number = parse_number(text)
    if not number.is_integer() or number < 0:
        raise Misread(0, len(text), f"{text!r} is not a whole number", "write digits only")
    return int(text) if text.isdigit() else int(number)


def parse_truth(text: str) -> bool:
    """Return what `true`, `false`, `yes` or `no` say."""
    known = {"true": True, "yes": True, "false": False, "no": False}
    if text not in known:
        raise Misread(0, len(text), f"{text!r} is neither true nor false", "write true or false")
    return known[text]


def _name(text: str) -> str:
    if not NAME.fullmatch(text):
        foreign = next((c for c in text if not c.isascii()), None)
        why = f": {spell(foreign)} is no letter a-z" if foreign else ""
        raise refuse(
            f"{text!r} cannot be a name{why}",
            "use letters a-z, digits and _, a letter first, at most 40; other text goes in label:",
        )
    return text


def _specimen(text: str) -> str:
    name, _, number = text.partition("#")
    if not NAME.fullmatch(name) or ("#" in text and not re.fullmatch(r"[0-9]{1,3}", number)):
        raise refuse(f"{text!r} names no instrument", "write its name, or such as probe#1")
    return text


def _words(text: Any) -> str:
    if not isinstance(text, str):
        raise refuse("plain text is expected here", "write text, in quotes if it holds a colon")
    if len(text) > LONGEST_TEXT:
        raise refuse(f"text of more than {LONGEST_TEXT} characters", "shorten it")
    return text


def one_of(known: tuple[str, ...]) -> AfterValidator:
    """Return a validator that accepts the known words only."""

    def check(text: str) -> str:
        if text not in known:
            otherwise = "write one of: " + ", ".join(known)
            raise refuse(f"{text!r} is not known here", nearest(text, known, otherwise))
        return text

    return AfterValidator(check)


Text = Annotated[
    str,
    BeforeValidator(_words),
    WithJsonSchema({"type": ["string", "number", "boolean"]}),  # as other YAML readers type it
]
Name = Annotated[Text, AfterValidator(_name)]
Specimen = Annotated[Text, AfterValidator(_specimen)]
QuantityText = Annotated[Quantity, _from_text(parse_quantity), _SCALAR]
WidthText = Annotated[Quantity | ShareOfValue, _from_text(parse_width), _SCALAR]
UnitText = Annotated[Unit, _from_text(parse_unit), _SCALAR]
Number = Annotated[float, _from_text(parse_number), _SCALAR]
Whole = Annotated[int, _from_text(parse_whole), _SCALAR]
Truth = Annotated[bool, _from_text(parse_truth), WithJsonSchema({"type": ["boolean", "string"]})]
Probability = Annotated[float, _from_text(parse_share), _SCALAR]
Fraction = Annotated[float, _from_text(parse_fraction), _SCALAR]
Top = Annotated[float, _from_text(parse_top), _SCALAR]
AccuracyText = Annotated[Accuracy, _from_text(parse_accuracy), _SCALAR]
Evidence = Annotated[Text, one_of(EVIDENCE)]
Meaning = Annotated[Text, one_of(MEANS)]
Reads = Annotated[Text, one_of(tuple(READS))]
Shape = Annotated[
    Text, one_of(("rectangular", "triangular", "arcsine", "trapezoidal", "exponential"))
]


def _one_or_list(value: Any) -> Any:
    return [value] if isinstance(value, str | dict) else value


@dataclass(frozen=True)
class _OneOrMany:
    """Says in the JSON Schema that one may stand where a list is read."""

    def __get_pydantic_json_schema__(self, schema: Any, handler: Any) -> Any:
        many = handler(schema)
        return {"anyOf": [many, many["items"]]}


@dataclass(frozen=True)
class _MembersAlone:
    """Says in the JSON Schema that a cross-check may be just the list of its members."""

    def __get_pydantic_json_schema__(self, schema: Any, handler: Any) -> Any:
        return {"anyOf": [handler(schema), {"type": "array", "items": {"type": "string"}}]}


_LISTED = (BeforeValidator(_one_or_list), _OneOrMany())
_TEXTS = (BeforeValidator(lambda v: [v] if isinstance(v, str) else v), _OneOrMany())
Names = Annotated[list[Name], *_TEXTS]
Texts = Annotated[list[Text], *_TEXTS]


class Entry(BaseModel):
    """Anything that may carry a label and a note."""

    model_config = ConfigDict(extra="forbid", frozen=True, arbitrary_types_allowed=True)
    label: Text | None = None
    note: Text | None = None


# -- spreads (section "how a spread is declared") -------------------------------------------


class Draws(Entry):
    """A sample from elsewhere: a column of a CSV file."""

    file: Text
    column: Text


class Spread(Entry):
    """A number and how well it is known; `evidence.statements` says which keys go together."""

    value: QuantityText | None = None
    plus_minus: WidthText | None = None
    shape: Shape | None = None
    top: Top | None = None
    low: QuantityText | None = None
    likely: QuantityText | None = None
    high: QuantityText | None = None
    inexact: QuantityText | None = None
    chance_inside: Probability | None = None
    standard_uncertainty: WidthText | None = None
    degrees_of_freedom: Number | None = None
    expanded_uncertainty: WidthText | None = None
    coverage_factor: Number | None = None
    repeats: list[QuantityText] | None = None
    unit: UnitText | None = None
    within_factor: Number | None = None
    random_events: Whole | None = None
    mean: QuantityText | None = None
    draws: Draws | None = None
    like: Text | None = None
    instrument: Specimen | None = None
    readable_to: Fraction | None = None
    each_reading: QuantityText | None = None
    evidence: Evidence | None = None
    physical: list[QuantityText] | None = Field(default=None, min_length=2, max_length=2)
    also: Annotated[list[Spread], *_LISTED] = []


class Input(Spread):
    """One input: a spread, or `constant:` where there truly is none."""

    constant: QuantityText | None = None
    reads: Reads | None = None
    means: Meaning | None = None
    gas: Annotated[Text, one_of(("settled", "read at once"))] | None = None
    log_only: Truth = False


class Column(Spread):
    """One column of readings; its spread is around each recorded value."""

    unit: UnitText
    reads: Reads | None = None
    exact: Truth = False
    shared: Truth = False
    optional: Truth = False
    in_every_run: QuantityText | None = None
    gas: Annotated[Text, one_of(("settled", "read at once"))] | None = None
    means: Meaning | None = None
    missing: Texts = []


def _text_or_mapping(value: Any) -> str:
    return "mapping" if isinstance(value, dict | BaseModel) else "text"


def _one_value(value: Any) -> str:
    if not isinstance(value, str):
        remedy = "write one value, or `{repeats: [7.72, 7.80]}`"
        raise refuse("one value is expected here, not a list", remedy)
    return _words(value)


CellText = Annotated[str, BeforeValidator(_one_value), _SCALAR]
Cell = Annotated[
    Annotated[CellText, Tag("text")] | Annotated[Spread, Tag("mapping")],
    Discriminator(_text_or_mapping),
]


class Runs(Entry):
    """The readings of each run."""

    readings: dict[Name, Column]
    rows: dict[Name, dict[Name, Cell]] = {}
    file: Text | None = None
    missing: Texts = []
    groups: dict[Name, list[Name]] = {}
    pool: Truth = False
    expected: Truth = False


# -- instruments ------------------------------------------------------------------------------


class Calibration(Entry):
    """A certificate in place of an accuracy statement."""

    expanded_uncertainty: AccuracyText
    coverage_factor: Number


def _range_or_ranges(value: Any) -> Any:
    return [value] if isinstance(value, list) and all(isinstance(v, str) for v in value) else value


Span = Annotated[list[QuantityText], Field(min_length=2, max_length=2)]


class Instrument(Entry):
    """One instrument, as its dial or data sheet describes it."""

    accuracy: AccuracyText | None = None
    class_: Number | None = Field(default=None, alias="class")
    calibration: Calibration | None = None
    like: Text | None = None
    shape: (
        Annotated[Text, one_of(("rectangular", "triangular", "arcsine", "trapezoidal"))] | None
    ) = None
    top: Top | None = None
    span: Annotated[list[Span], BeforeValidator(_range_or_ranges), _OneOrMany()] | None = None
    error_along_scale: Literal["same"] | None = None
    digit: Annotated[list[QuantityText], *_LISTED] | None = None
    division: QuantityText | None = None
    readable_to: Fraction | None = None
    each_reading: QuantityText | None = None
    repeatability: QuantityText | None = None
    stability: AccuracyText | None = None
    reads: Reads | None = None
    true_rms: Annotated[Text, one_of(("yes", "no", "unknown"))] | None = None
    evidence: Evidence | None = None


# -- what is worked out, and what is claimed ---------------------------------------------------


class Formula(Entry):
    """A formula that also says what it means."""

    formula: Text
    means: Meaning | None = None


FormulaEntry = Annotated[
    Annotated[Text, Tag("text")] | Annotated[Formula, Tag("mapping")],
    Discriminator(_text_or_mapping),
]


class Boundary(Entry):
    """What an efficiency counts as put in and as got out."""

    in_: Text = Field(alias="in")
    out: Text


class Result(Entry):
    """One number to be judged."""

    formula: Text
    unit: UnitText
    is_: (
        Annotated[Text, one_of(("efficiency", "performance ratio", "ratio", "quantity"))] | None
    ) = Field(default=None, alias="is")
    boundary: Boundary | None = None
    ceiling: Text | None = None
    hand_value: QuantityText | None = None


class CrossCheck(Entry):
    """Formulas that should give one quantity."""

    between: list[Name]
    combine: Annotated[Text, one_of(("weighted", "mixture"))] | None = None
    anyway: Truth = False


class Claim(Entry):
    """A sentence to be judged, such as `at least 8 %`."""

    result: Name
    says: Text
    run: Name | None = None
    confidence: Probability | None = None


class PlannedReading(Column):
    """A reading that a change of method would add, and the formula that foretells it."""

    expect: Text


class Addition(Entry):
    """What a change of method adds to the case."""

    instruments: dict[Name, Instrument] = {}
    inputs: dict[Name, Input] = {}
    readings: dict[Name, PlannedReading] = {}


class Purpose(Entry):
    """The result and run an upgrade is meant for."""

    result: Name
    run: Name | None = None


class Upgrade(Entry):
    """Something that could be bought or done better."""

    replaces: Names = []
    instrument: Instrument | None = None
    input: Input | None = None
    adds: Addition | None = None
    formulas: dict[Name, Text] = {}
    repeats: Whole | None = None
    cost: Text | None = None
    for_: Purpose | None = Field(default=None, alias="for")


class Correlation(Entry):
    """Pearson's coefficient between inputs."""

    between: list[Name]
    coefficient: Number


class Joint(Entry):
    """Parameters fitted together, with their correlation matrix."""

    values: dict[Name, QuantityText]
    standard_uncertainties: dict[Name, QuantityText]
    correlation: list[list[Number]]
    degrees_of_freedom: Number | None = None


class Balance(Entry):
    """Formulas of the energy balance."""

    in_: Names = Field(alias="in")
    out: Names
    stored: Names = []


class Settings(Entry):
    """How the sums are done."""

    probability: Probability = 0.95
    seed: Whole = 1
    trials: Whole = 1_000_000
    digits: Whole = 1


class CaseFile(Entry):
    """A whole case."""

    effband: Annotated[Text, AfterValidator(lambda text: _version(text))]
    title: Text
    hazards: Texts = []
    about: Any = None
    headline: Name | None = None
    instruments: dict[Name, Instrument] = {}
    inputs: dict[Name, Input] = {}
    runs: Runs | None = None
    formulas: dict[Name, FormulaEntry] = {}
    results: dict[Name, Result]
    correlations: list[Correlation] = []
    joint: dict[Name, Joint] = {}
    cross_checks: dict[
        Name,
        Annotated[
            CrossCheck,
            BeforeValidator(lambda v: {"between": v} if isinstance(v, list) else v),
            _MembersAlone(),
        ],
    ] = {}
    claims: list[Claim] = []
    upgrades: dict[Name, Upgrade] = {}
    altitude: QuantityText | None = None
    balance: Balance | None = None
    settings: Settings = Settings()


def _version(text: str) -> str:
    if text != "1":
        raise refuse(f"format {text!r} is not known to this version", "write effband: 1")
    return text
