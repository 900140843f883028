"""The file format, typed: exactly what the user wrote, in his units.

One class per kind of entry; the keys and their meanings are the contract that published
cases rely on. Shapes and single values are checked here, all at once; what needs more than
one entry (names, units that must fit, readings within spans) is checked in `case.resolve`.
"""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Discriminator,
    Field,
    Tag,
)

from effband.case.values import (
    LISTED,
    AccuracyText,
    CellText,
    Evidence,
    Fraction,
    Meaning,
    MembersAlone,
    Name,
    Names,
    Number,
    OneOrMany,
    Probability,
    QuantityText,
    Reads,
    Shape,
    Specimen,
    Specimens,
    Text,
    Texts,
    Top,
    Truth,
    UnitText,
    Whole,
    WidthText,
    one_of,
    refuse,
)


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
    also: Annotated[list[Spread], *LISTED] = []


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
    span: Annotated[list[Span], BeforeValidator(_range_or_ranges), OneOrMany()] | None = None
    error_along_scale: Literal["same"] | None = None
    digit: Annotated[list[QuantityText], *LISTED] | None = None
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
    """Formulas that should give one quantity, and the unit to show it in."""

    between: list[Name]
    unit: UnitText | None = None
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

    replaces: Specimens = []
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


def _square(value: Any) -> Any:
    if not (isinstance(value, list) and all(isinstance(row, list) for row in value)):
        remedy = "write a row for each parameter, such as [[1, -0.9], [-0.9, 1]]"
        raise refuse("a correlation is a square of numbers here", remedy)
    return value


class Joint(Entry):
    """Parameters fitted together, with their correlation matrix."""

    values: dict[Name, QuantityText]
    standard_uncertainties: dict[Name, QuantityText]
    correlation: Annotated[list[list[Number]], BeforeValidator(_square)]
    degrees_of_freedom: Number | None = None
    evidence: Evidence | None = None


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
            MembersAlone(),
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
