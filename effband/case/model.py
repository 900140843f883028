"""The understood case: independent error sources, one list of operations, what is asked."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from effband.case.format import CaseFile
from effband.case.program import Program
from effband.case.text import CaseText, Path
from effband.evidence.distributions import Distribution
from effband.problems import Problem
from effband.units import Unit


def inline(value: object) -> str:
    """Return a value of the file on one line: a mapping in braces, a range as "0 bar to 16 bar"."""
    if isinstance(value, dict):
        return "{" + ", ".join(f"{key}: {inline(inner)}" for key, inner in value.items()) + "}"
    if isinstance(value, list):
        return " to ".join(inline(inner) for inner in value)
    return str(value)


@dataclass(frozen=True)
class ErrorSource:
    """One independent uncertain number.

    Attributes
    ----------
    name
        Its name, which keys its random numbers: "tank_volume", "receiver_gauge.z1".
    distribution
        Its law, in SI units.
    nominal
        Its value as written (the likely one, the midpoint, the mean of repeats), SI.
    item, part
        The line of the ranking it belongs to, and the part of that line.
    evidence
        Where the number comes from, in the words of the format.
    """

    name: str
    distribution: Distribution
    nominal: float
    item: str
    part: str
    evidence: str


@dataclass(frozen=True)
class Part:
    """The sources of one item that stand together, such as an instrument's common error."""

    name: str
    evidence: str
    sources: tuple[str, ...]


# Kinds of items whose sources are drawn together.
JOINT_SET, GROUP_SCATTER = "joint set", "group scatter"


@dataclass(frozen=True)
class Item:
    """One line of the ranking: an instrument, an input, a column without instrument, or a set."""

    name: str
    kind: str
    parts: tuple[Part, ...]

    @property
    def sources(self) -> tuple[str, ...]:
        """Names of all its sources."""
        return tuple(name for part in self.parts for name in part.sources)


@dataclass(frozen=True)
class Component:
    """One contribution to a value: said in words, and the sources it draws on."""

    role: str
    words: str
    sources: tuple[str, ...]


@dataclass(frozen=True)
class Leaf:
    """One number that the user gave: an input, or a reading in a run.

    Attributes
    ----------
    name, run
        Its name, and the run of a reading.
    value
        As written, SI.
    unit
        The unit it is shown in.
    section
        "inputs" or "readings".
    reads
        What kind of number it is, where that was said.
    instrument
        The specimen it was read with.
    evidence, note
        As the user gave them, the default filled in.
    components
        How it is uncertain; empty for a constant.
    """

    name: str
    run: str | None
    value: float
    unit: Unit
    section: str
    reads: str | None
    instrument: str | None
    evidence: str
    note: str | None
    components: tuple[Component, ...]


@dataclass(frozen=True)
class Target:
    """A result to be worked out: what it is called, counts and may not exceed.

    Attributes
    ----------
    name, label, formula
        As written.
    unit
        The unit it is given in.
    kind
        "efficiency", "performance ratio", "ratio" or "quantity".
    boundary
        What is put in and got out, or None.
    ceiling
        The ceiling as written, or None.
    hand_value
        The answer worked out by hand, SI, or None.
    """

    name: str
    label: str | None
    formula: str
    unit: Unit
    kind: str
    boundary: tuple[str, str] | None
    ceiling: str | None
    hand_value: float | None = None


@dataclass(frozen=True)
class Group:
    """Runs that repeat one load.

    Attributes
    ----------
    name, members
        Its name, and its runs, sorted.
    scatter_seen
        Whether the scatter that was seen stands in the place of the declared fresh errors.
    pooled
        Whether the relative scatter of all groups is taken together.
    """

    name: str
    members: tuple[str, ...]
    scatter_seen: bool
    pooled: bool


@dataclass(frozen=True)
class Output:
    """One value of a target: the whole case's (run None), one run's or one group's.

    `run` is the group's name for a group's value. `step` and `ceiling` are places in the
    program; `ceiling` is None where there is none.
    """

    target: Target
    run: str | None
    step: int
    ceiling: int | None
    group: Group | None = None

    @property
    def title(self) -> str:
        """Name and run, as a person says it."""
        return f"{self.target.name}, {self.where}" if self.where else self.target.name

    @property
    def where(self) -> str:
        """Of what it is: "run full", "group full", or nothing for the whole case."""
        if self.run is None:
            return ""
        return f"run {self.run}" if self.group is None else f"group {self.run}"


@dataclass(frozen=True)
class Claim:
    """A sentence to be judged.

    Attributes
    ----------
    result, run, says, confidence
        As written; no run means every run, where a group stands in the place of its runs.
    way
        "at least", "at most", "between" or "within".
    low, high
        The limits, SI; None where there is none.
    outputs
        The numbers of the case's outputs that it is about.
    absent
        The runs and groups that it would be about as well, had they a value.
    holds, below, above
        Pairs of steps: it holds in a trial where the first lies above the second; some output
        lies below both limits, or above both ("between" and "within" only).
    """

    result: str
    run: str | None
    says: str
    confidence: float
    way: str
    low: float | None
    high: float | None
    outputs: tuple[int, ...]
    absent: tuple[str, ...]
    holds: tuple[int, int]
    below: tuple[int, int] | None
    above: tuple[int, int] | None


@dataclass(frozen=True)
class CrossCheck:
    """Formulas that should give one quantity, for the whole case, in one run or for one group.

    Attributes
    ----------
    name, members
        As written.
    where
        Of what they are the values: "run full", "group full", or nothing for the whole case.
    values
        An output for each member, in a unit of the case's own.
    pairs
        For every two members their numbers, and an output that is their difference.
    combine, anyway
        As written.
    touches
        The numbers of the case's outputs that are made with a member, and where the member
        stands: in the "denominator" or elsewhere ("").
    """

    name: str
    members: tuple[str, ...]
    where: str
    values: tuple[Output, ...]
    pairs: tuple[tuple[int, int, Output], ...]
    combine: str | None
    anyway: bool
    touches: tuple[tuple[int, str], ...]


@dataclass(frozen=True)
class DataFile:
    """A file that the case takes numbers from: its name, the hash of its bytes, its rows."""

    name: str
    sha256: str
    size: int
    rows: int


@dataclass(frozen=True)
class Likeness:
    """What `like:` filled in.

    Attributes
    ----------
    path
        Where it stands in the case.
    name, evidence, source
        The entry of the catalogue, and what that rests on.
    filled
        The keys and values that the user had not written.
    own
        Keys of its spread that the user wrote over.
    """

    path: Path
    name: str
    evidence: str
    source: str
    filled: tuple[tuple[str, object], ...]
    own: tuple[str, ...] = ()

    @property
    def rests_on_catalogue(self) -> bool:
        """Whether any number of its spread is the catalogue's."""
        return any(key != "evidence" for key, _ in self.filled)

    @property
    def words(self) -> str:
        """The keys as they would stand in the file, and their source."""
        keys = ", ".join(f"{key}: {inline(value)}" for key, value in self.filled)
        return f"{keys or 'nothing'} ({self.source})"


@dataclass(frozen=True)
class Settings:
    """How the sums are done.

    Attributes
    ----------
    probability, seed, trials, digits
        As the format says. `trials` are the most there may be where the run is adaptive.
    adaptive
        Whether the run stops once its numbers are known to the digits.
    sampling
        "random" or "quasi".
    """

    probability: float = 0.95
    seed: int = 1
    trials: int = 1_000_000
    digits: int = 1
    adaptive: bool = False
    sampling: str = "random"


@dataclass(frozen=True)
class Case:
    """A case, understood; everything below works on this alone.

    Attributes
    ----------
    text
        The file it came from.
    sources
        Independent error sources, sorted by name.
    items
        The lines of the ranking, sorted by name.
    program
        The list of operations; its sources are those above.
    leaves, formulas, targets, outputs
        What was given; each formula's name, text and nature in words; what is asked, and each
        value of what is asked.
    groups, data
        Runs that repeat one load, and the files that the case takes numbers from.
    likes
        What the catalogue filled in.
    file
        What the user wrote, typed.
    named
        The step of each input, reading and formula, by name and run (None where it has one
        value).
    warnings, assumptions
        What a reader should doubt, and what was taken for granted.
    """

    text: CaseText
    title: str
    headline: str | None
    hazards: tuple[str, ...]
    about: tuple[tuple[str, str], ...]
    settings: Settings
    sources: tuple[ErrorSource, ...]
    items: tuple[Item, ...]
    program: Program
    leaves: tuple[Leaf, ...]
    formulas: tuple[tuple[str, str, str], ...]
    targets: tuple[Target, ...]
    outputs: tuple[Output, ...]
    instruments: tuple[tuple[str, str], ...]
    groups: tuple[Group, ...]
    data: tuple[DataFile, ...]
    likes: tuple[Likeness, ...]
    file: CaseFile
    named: Mapping[tuple[str, str | None], int]
    claims: tuple[Claim, ...]
    cross_checks: tuple[CrossCheck, ...]
    warnings: tuple[Problem, ...]
    assumptions: tuple[str, ...]

    @property
    def headline_output(self) -> int:
        """The number of the headline's output, or of the first result's: its last run or group."""
        shown = loads(self.outputs)
        names = [self.outputs[at].target.name for at in shown]
        chosen = self.headline if self.headline in names else names[0]
        return [at for at, name in zip(shown, names, strict=True) if name == chosen][-1]


def loads(outputs: Sequence[Output]) -> list[int]:
    """Return the numbers of the outputs to show where there is room for few.

    A group of runs stands in the place of its runs, since these only repeat one load.
    """
    place: dict[tuple[str, str | None], int] = {}
    for at, output in enumerate(outputs):
        place.setdefault((output.target.name, output.run), at)
    hidden: set[int] = set()
    order = {}
    for at, output in enumerate(outputs):
        runs = () if output.group is None else output.group.members
        own = [place[key] for run in runs if (key := (output.target.name, run)) in place]
        hidden.update(own)
        order[at] = min(own, default=at)
    return sorted(set(order) - hidden, key=lambda at: order[at])
