"""Inputs that depend on each other: declared correlations, and parameters fitted together.

Both become independent sources: standard normals, one for each input of a set, mixed by the
lower-triangular factor of the set's matrix. `joint:` gives a normal law, or with degrees of
freedom a multivariate t; `correlations:` bind inputs of any law through their normal scores,
by the coefficient of the scores that gives the declared Pearson coefficient.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, field

import numpy as np

from effband.case.findings import Findings
from effband.case.format import CaseFile, Correlation, Input, Joint
from effband.case.given import Given, is_constant
from effband.case.model import ErrorSource
from effband.case.program import Builder
from effband.case.spreads import BadSpread, stated
from effband.case.text import Path
from effband.case.values import EVIDENCE
from effband.evidence.dependence import (
    Marginal,
    NotPossible,
    Unattainable,
    copula_for,
    lower_factor,
)
from effband.evidence.distributions import Distribution, Normal
from effband.evidence.scatter import ScatterFactor
from effband.evidence.tables import FloatArray
from effband.problems import nearest

LONGEST_NAME = 40
# from the best to the poorest
_BY_WORTH = (*EVIDENCE[:-2], "unstated", *EVIDENCE[-2:])


@dataclass(frozen=True)
class JointSet:
    """Inputs drawn together.

    Attributes
    ----------
    name
        Its line in the ranking.
    members
        Names of the inputs, sorted.
    matrix
        Pearson's coefficients as declared, shape (members, members).
    factor
        Lower-triangular factor of the matrix of the normal scores, same shape.
    degrees_of_freedom
        Of a multivariate t, else None.
    laws
        Marginal laws of inputs bound by `correlations:`; None for `joint:`.
    evidence
        That of the poorest member.
    """

    name: str
    members: tuple[str, ...]
    matrix: FloatArray
    factor: FloatArray
    degrees_of_freedom: float | None
    laws: tuple[Distribution, ...] | None
    evidence: str

    def sources(self) -> list[ErrorSource]:
        """Return what draws the set."""
        found = [
            ErrorSource(
                f"{self.name}.{n}", Normal(0.0, 1.0), 0.0, self.name, "joint", self.evidence
            )
            for n in self.members
        ]
        if self.degrees_of_freedom is not None:
            law = ScatterFactor(self.degrees_of_freedom)
            found.append(ErrorSource(self.name, law, 1.0, self.name, "joint", self.evidence))
        return found

    def step(self, member: str, value: float, width: float, builder: Builder) -> int:
        """Return the step of one member, with its value as written and its width (SI)."""
        at = self.members.index(member)
        score: int | None = None
        for weight, other in zip(self.factor[at], self.members, strict=True):
            if weight != 0.0:
                drawn = builder.add("source", (), f"{self.name}.{other}")
                part = builder.add("multiply", (drawn, builder.constant(float(weight))))
                score = part if score is None else builder.add("add", (score, part))
        assert score is not None  # a row of a correlation matrix is never all 0
        if self.laws is not None:
            row = tuple(float(r) for r in self.matrix[at])
            marginal = Marginal(self.name, at, self.laws[at], row)
            return builder.add("dependent", (score,), (marginal, value))
        if self.degrees_of_freedom is not None:
            factor = builder.add("source", (), self.name)
            score = builder.add("multiply", (score, factor))
        swing = builder.add("multiply", (score, builder.constant(width)))
        return builder.add("add", (builder.constant(value), swing))

    def words(self, member: str) -> str:
        """Return with what a member is correlated, and how far."""
        at = self.members.index(member)
        others = [
            f"{other} ({self.matrix[at, k]:g})"
            for k, other in enumerate(self.members)
            if other != member and self.matrix[at, k] != 0.0
        ]
        return f"; correlated with {', '.join(others)}" if others else ""


@dataclass
class Dependence:
    """Reads the sets of a case; problems go to the findings.

    Attributes
    ----------
    of
        The set of each input that has one.
    """

    file: CaseFile
    findings: Findings
    of: dict[str, JointSet] = field(default_factory=dict)

    # -- joint -------------------------------------------------------------------------------

    def with_parameters(self) -> CaseFile:
        """Return the case file with the parameters of `joint:` among its inputs."""
        added: dict[str, Input] = {}
        taken = {*self.file.inputs, *self.file.instruments, *self.file.formulas}
        taken |= set(self.file.runs.readings if self.file.runs else ())
        for name, entry in self.file.joint.items():
            if not self._joint_fits(name, entry, taken):
                self.findings.broken.update(entry.values)
                continue
            taken |= {name, *entry.values}
            for parameter, value in entry.values.items():
                added[parameter] = Input.model_construct(
                    value=value,
                    standard_uncertainty=entry.standard_uncertainties[parameter],
                    degrees_of_freedom=entry.degrees_of_freedom,
                    evidence=entry.evidence,
                    note=entry.note,
                )
                text, own = self.findings.text, ("inputs", parameter)
                place = text.key(("joint", name, "values", parameter))
                self.findings.elsewhere[own] = (None, place)
                place = text.place(("joint", name, "standard_uncertainties", parameter))
                self.findings.elsewhere[(*own, "standard_uncertainty")] = (None, place)
        self.file = self.file.model_copy(update={"inputs": {**self.file.inputs, **added}})
        return self.file

    def _joint_fits(self, name: str, entry: Joint, taken: set[str]) -> bool:
        path: Path = ("joint", name)
        before = len(self.findings.problems)
        names, size = tuple(entry.values), len(entry.values)
        for word in (name, *names):
            if word in taken or (word == name and word in names):
                what = f"{word!r} is already the name of something else"
                place = path if word == name else (*path, "values", word)
                self.findings.key_error(place, what, "choose another name")
        if size == 0:
            self.findings.key_error(path, f"the fit {name} has no parameters", "or delete it")
            return False
        square = len(entry.correlation) == size and all(len(r) == size for r in entry.correlation)
        if set(entry.standard_uncertainties) != set(names) or not square:
            what = "values, standard_uncertainties and correlation do not match in size"
            self.findings.key_error(path, what, "give one of each, and a square matrix")
        for parameter, width in entry.standard_uncertainties.items():
            value = entry.values.get(parameter)
            where = (*path, "standard_uncertainties", parameter)
            if value is not None and width.unit.dimension != value.unit.dimension:
                what = f"the uncertainty of {parameter} is in {width.unit.text}"
                self.findings.error(where, what, "give both in one unit")
            elif not width.number > 0.0:
                what = f"the uncertainty of {parameter} must be more than 0"
                remedy = "take it out of the fit and make it an exact input"
                self.findings.error(where, what, remedy)
        degrees = entry.degrees_of_freedom
        if degrees is not None and not degrees >= 1.0:
            what = "degrees_of_freedom must be at least 1"
            self.findings.error((*path, "degrees_of_freedom"), what, "points less parameters")
        if len(self.findings.problems) != before:
            return False
        return self._joint_matrix(name, entry, path)

    def _joint_matrix(self, name: str, entry: Joint, path: Path) -> bool:
        where = (*path, "correlation")
        given = np.array(entry.correlation, dtype=np.float64)
        wrong = None
        if np.any(np.abs(given) > 1.0):
            wrong = ("a correlation lies from -1 to 1", "check the matrix")
        elif np.any(np.diag(given) != 1.0):
            wrong = ("each parameter has the correlation 1 with itself", "write 1 on the diagonal")
        elif not np.array_equal(given, given.T):
            wrong = ("the matrix is not the same above and below its diagonal", "check the matrix")
        if wrong is not None:
            self.findings.error(where, *wrong)
            return False
        written = list(entry.values)
        members = tuple(sorted(written))
        order = [written.index(member) for member in members]
        matrix = given[np.ix_(order, order)]
        try:
            factor = lower_factor(matrix)
        except NotPossible as error:
            self._refuse_matrix(error, members, where)
            return False
        evidence = entry.evidence or "unstated"
        degrees = entry.degrees_of_freedom
        found = JointSet(name, members, matrix, factor, degrees, None, evidence)
        self.of.update(dict.fromkeys(members, found))
        return True

    def _refuse_matrix(self, error: NotPossible, members: tuple[str, ...], path: Path) -> None:
        what = (
            f"these correlations cannot hold all at once (least eigenvalue {error.least:.3g}); "
            f"look first at {members[error.i]} and {members[error.j]}"
        )
        self.findings.error(path, what, "check the coefficients, their signs above all")

    # -- correlations ------------------------------------------------------------------------

    def bind(self, numbers: Iterable[Given]) -> None:
        """Work out the sets that `correlations:` makes of the inputs."""
        inputs = {given.name: given for given in numbers if isinstance(given.entry, Input)}
        pairs: dict[tuple[str, str], tuple[float, Path]] = {}
        for at, entry in enumerate(self.file.correlations):
            path: Path = ("correlations", at)
            pair = self._pair(entry, path, inputs)
            if pair is None:
                continue
            if pair in pairs:
                what = f"the correlation of {pair[0]} and {pair[1]} is given twice"
                self.findings.error(path, what, "keep one")
                continue
            pairs[pair] = (entry.coefficient, path)
        for members in _connected(pairs):
            self._correlated(members, pairs, inputs)

    def _pair(
        self, entry: Correlation, path: Path, inputs: dict[str, Given]
    ) -> tuple[str, str] | None:
        before = len(self.findings.problems)
        if len(entry.between) != 2 or len(set(entry.between)) != 2:
            what = "a correlation is between two inputs"
            self.findings.error((*path, "between"), what, "write [a, b]")
        if not -1.0 <= entry.coefficient <= 1.0:
            what = "a coefficient lies from -1 to 1"
            self.findings.error((*path, "coefficient"), what, "check the number")
        lost = set(entry.between) & self.findings.broken
        path = (*path, "between")
        for name in sorted(set(entry.between) - lost):
            if name not in inputs:
                known = sorted(self.file.inputs)
                remedy = nearest(name, known, f"known: {', '.join(known) or 'none'}")
                self.findings.error(path, f"no input is called {name!r}", remedy)
            elif (reason := self._not_bindable(inputs[name])) is not None:
                self.findings.error(path, f"{name} {reason[0]}", reason[1])
        if lost or len(self.findings.problems) != before:
            return None
        first, second = sorted(entry.between)
        return first, second

    def _not_bindable(self, given: Given) -> tuple[str, str] | None:
        """Return why an input has no spread that could be bound to another, and the remedy."""
        if is_constant(given):
            return "is a constant, so it varies with nothing", "give it a spread"
        if given.spread.instrument:
            remedy = "readings with one instrument share its error already"
            return "is a reading with an instrument", remedy
        if given.spread.also:
            remedy = "make the part that is correlated an input of its own"
            return "has a second spread under `also:`", remedy
        if given.spread.draws is not None:
            return "is a sample", "columns of one file share the row already"
        if given.name in self.of:
            return "stands in `joint:` already", "put the coefficient into the matrix there"
        return None

    def _correlated(
        self,
        members: tuple[str, ...],
        pairs: dict[tuple[str, str], tuple[float, Path]],
        inputs: dict[str, Given],
    ) -> None:
        try:
            laws = [stated(inputs[n].spread, None, inputs[n].unit).distribution for n in members]
        except BadSpread:
            return  # reported where the input is read
        size = len(members)
        pearson, scores = np.eye(size), np.eye(size)
        before = len(self.findings.problems)
        first_path: Path = ("correlations",)
        for i, one in enumerate(members):
            for j in range(i + 1, size):
                if (one, members[j]) in pairs:
                    coefficient, first_path = pairs[one, members[j]]
                    score = self._score(
                        (one, laws[i]), (members[j], laws[j]), coefficient, first_path
                    )
                    pearson[i, j] = pearson[j, i] = coefficient
                    scores[i, j] = scores[j, i] = score
        if len(self.findings.problems) != before:
            return
        try:
            factor = lower_factor(scores)
        except NotPossible as error:
            blamed = (members[error.i], members[error.j])
            self._refuse_matrix(error, members, pairs.get(blamed, (0.0, first_path))[1])
            return
        evidence = poorest(*(inputs[n].spread.evidence or "unstated" for n in members))
        known = tuple(law for law in laws if law is not None)
        found = JointSet(set_name(members), members, pearson, factor, None, known, evidence)
        self.of.update(dict.fromkeys(members, found))

    def _score(
        self,
        one: tuple[str, Distribution | None],
        other: tuple[str, Distribution | None],
        coefficient: float,
        path: Path,
    ) -> float:
        """Return the coefficient of the normal scores; 0 with a problem reported."""
        for name, law in (one, other):
            if law is None or law.sd is None:
                what = f"{name} has no variance, so it has no correlation"
                self.findings.error(path, what, "give it more degrees of freedom, or limits")
                return 0.0
        assert one[1] is not None
        assert other[1] is not None
        try:
            return copula_for(one[1], other[1], coefficient)
        except Unattainable as error:
            what = (
                f"{one[0]} and {other[0]} cannot have the coefficient {coefficient:g}: with these "
                f"two laws it lies from {_inwards(error.low)} to {_inwards(error.high)}"
            )
            self.findings.error(path, what, "check the coefficient, or the laws")
            return 0.0


def _inwards(limit: float) -> str:
    """Return a limit to three decimals that is itself within the limit."""
    return f"{math.trunc(1000 * limit) / 1000:g}"


def poorest(*evidence: str) -> str:
    """Return the poorest of some kinds of evidence, as which a set of them counts."""
    return max(evidence, key=_BY_WORTH.index)


def set_name(members: Iterable[str]) -> str:
    """Return the name of a set that has none: its members, or the first two of many."""
    names = sorted(members)
    whole = ", ".join(names)
    if len(whole) <= LONGEST_NAME or len(names) <= 2:
        return whole
    return f"{names[0]}, {names[1]} and {len(names) - 2} more"


def _connected(pairs: Iterable[tuple[str, str]]) -> list[tuple[str, ...]]:
    """Return the sets of names that pairs hold together, each sorted."""
    sets: list[set[str]] = []
    for one, other in pairs:
        touching = [s for s in sets if s & {one, other}]
        sets = [s for s in sets if s not in touching]
        sets.append({one, other}.union(*touching))
    return sorted(tuple(sorted(s)) for s in sets)
