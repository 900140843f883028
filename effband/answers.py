"""The face for Python: a case in, an answer out, in the user's units.

Numbers here are never rounded; what `print` and a notebook show comes from `report`.
"""

from __future__ import annotations

import math
import os
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING, Any

from effband import study as studies
from effband.case.model import Case, Leaf
from effband.case.resolve import LEAST_PROBABILITY, LEAST_TRIALS, MOST_PROBABILITY, MOST_TRIALS
from effband.decide import compare as comparing
from effband.decide.compare import Compared
from effband.decide.pairs import pairs_of
from effband.problems import nearest, printable
from effband.propagate.sampling import SAMPLINGS
from effband.report import comparison, words
from effband.report.machine import document, to_json
from effband.report.notebook import notebook
from effband.report.screen import WHOLE, screen
from effband.study import Band, Study

if TYPE_CHECKING:
    from matplotlib.figure import Figure
    from pandas import DataFrame

LARGEST_SEED, MOST_WORKERS = 2**63 - 1, 256
TEXTS = frozenset(
    "result run unit is widest source kind input known evidence reads instrument note".split()
)


def load(file: str | os.PathLike[str]) -> Case:
    """Read and understand a case file. Raises CaseError with every problem, place and remedy."""
    return studies.load(os.fsdecode(file))


def run(
    case: Case | str | os.PathLike[str],
    *,
    trials: int | None = None,
    seed: int | None = None,
    probability: float | None = None,
    workers: int | None = None,
    adaptive: bool = False,
    sampling: str = "random",
    crosscheck_ranking: bool = False,
) -> Answer:
    """Work out a case.

    Parameters
    ----------
    case
        From `load`, or the name of a case file.
    trials, seed, probability
        In place of the case's own: 1000 to 100 000 000; 0 or more; 0.5 to 0.9999.
    workers
        Threads, 1 to 256; one for each processor when left out. No number depends on them.
    adaptive
        Whether to stop once the digits are settled; `trials` is the most then.
    sampling
        "random", or "quasi" for quasi-random trials.
    crosscheck_ranking
        Whether SALib works the indices of the ranking out as well, from the same rows.

    Raises
    ------
    CaseError
        When the case is refused.
    ComputationRefused
        When a value is not finite, or a band cannot be given.
    ValueError
        When one of the numbers is out of its range.
    """
    if sampling not in SAMPLINGS:
        raise ValueError(f"sampling is {sampling!r}: give one of {', '.join(SAMPLINGS)}")
    trials, seed, probability, threads = _options(trials, seed, probability, workers)
    known = case if isinstance(case, Case) else load(case)
    settings = studies.with_options(known.settings, trials, seed, probability, adaptive, sampling)
    return Answer(studies.run(known, settings, threads, crosscheck_ranking=crosscheck_ranking))


def compare(
    before: Case | str | os.PathLike[str],
    after: Case | str | os.PathLike[str],
    *,
    by: str | None = None,
    result: str | None = None,
    run: str | None = None,
    trials: int | None = None,
    seed: int | None = None,
    probability: float | None = None,
    workers: int | None = None,
) -> Comparison:
    """Work out the change between two cases; what both define alike is drawn once for both.

    Parameters
    ----------
    before, after
        From `load`, or names of case files.
    by
        A change to ask about, such as "2 points" or "-5 W".
    result, run
        The only ones to compare.
    trials, seed, probability, workers
        As for `run`, in place of those of the case before.

    Raises
    ------
    CaseError
        When a case is refused, or no result stands in both.
    ComputationRefused
        When a value is not finite, or a band cannot be given.
    ValueError
        When a number is out of its range, `by` fits no result, or there is no such result or run.
    """
    trials, seed, probability, threads = _options(trials, seed, probability, workers)
    was, now = (case if isinstance(case, Case) else load(case) for case in (before, after))
    settings = studies.with_options(was.settings, trials, seed, probability)
    pairs = pairs_of(was, now, by, result, run)
    return Comparison(comparing.compare(was, now, pairs, settings, threads))


def _options(
    trials: int | None, seed: int | None, probability: float | None, workers: int | None
) -> tuple[int | None, int | None, float | None, int]:
    """Return trials, seed, probability and threads; raises ValueError where one is out of range."""
    trials = _whole("trials", trials, LEAST_TRIALS, MOST_TRIALS)
    seed = _whole("seed", seed, 0, LARGEST_SEED)
    workers = _whole("workers", workers, 1, MOST_WORKERS)
    if probability is not None and not LEAST_PROBABILITY <= probability <= MOST_PROBABILITY:
        raise ValueError(
            f"probability is {probability}: give one from {LEAST_PROBABILITY} to {MOST_PROBABILITY}"
        )
    return trials, seed, probability, workers or os.cpu_count() or 1


def _whole(name: str, number: int | None, low: int, high: int) -> int | None:
    if number is None:
        return None
    if not low <= number <= high or number != int(number):
        raise ValueError(f"{name} is {number}: give a whole number from {low} to {high}")
    return int(number)


@dataclass(frozen=True)
class Widener:
    """An instrument, input or column that widens a band.

    Attributes
    ----------
    source, kind
        Its name, and what it is: "instrument", "input", "column" or the like.
    half_width_without, saves
        The half-width left, on average, if it were known perfectly, and what that saves, in the
        unit of the result's width (points for %). As the two half-widths come from other draws,
        `saves` may fall a little below 0.
    first_order, total
        Its shares of the variance; None where the result has no variance.
    """

    source: str
    kind: str
    half_width_without: float
    saves: float
    first_order: float | None
    total: float | None


@dataclass(frozen=True, repr=False)
class Value:
    """One result, of one run or of the whole case; `str` gives it rounded, on one line.

    Attributes
    ----------
    result, run
        Its name, and the run, or group of runs; None for the whole case.
    unit
        Of all its numbers, "1" for a plain number. Widths are in points for %, in K for degC.
    is_
        "efficiency", "performance ratio", "ratio" or "quantity".
    value
        The number that is printed: the mean, or the median where there is no variance.
    low, high, half_width, probability
        The band, equal chances on either side, and its probability.
    mean, median, standard_uncertainty
        Of the trials; None where there is none.
    by_hand
        What the numbers as written give, without any spread.
    boundary
        What is put in and got out, or None.
    wideners
        What widens it, the worst first.
    """

    result: str
    run: str | None
    unit: str
    is_: str
    value: float
    low: float
    high: float
    half_width: float
    probability: float
    mean: float | None
    median: float
    standard_uncertainty: float | None
    by_hand: float
    boundary: tuple[str, str] | None
    wideners: tuple[Widener, ...]
    _text: str = field(compare=False)

    @property
    def widest(self) -> str | None:
        """The source that widens it most; None when it does not vary."""
        return self.wideners[0].source if self.wideners else None

    def __str__(self) -> str:
        return self._text

    def __repr__(self) -> str:
        return f"<Value {self._text}>"


@dataclass(frozen=True, eq=False, repr=False)
class Answer:
    """Everything worked out from a case: iterate over it for its values.

    `print` gives what `effband run` prints, a notebook shows a table.

    Attributes
    ----------
    study
        What it all comes from, in SI units.
    """

    study: Study

    @cached_property
    def _values(self) -> tuple[Value, ...]:
        told = document(self.study)["results"]
        pairs = zip(told, self.study.bands, strict=True)
        return tuple(_value(each, band, self.study) for each, band in pairs)

    def __iter__(self) -> Iterator[Value]:
        return iter(self._values)

    def __len__(self) -> int:
        return len(self._values)

    @property
    def headline(self) -> Value:
        """The value that the case calls its headline, of the last run that has it."""
        return self._values[self.study.case.headline_output]

    def value(self, result: str, run: str | None = None) -> Value:
        """Return a result; `run` may be left out where there is only one. Raises ValueError."""
        found = self._matching(result, run)
        if len(found) > 1:
            runs = ", ".join(str(value.run) for value in found)
            raise ValueError(f"{result} has several runs: say which of {runs}")
        return found[0]

    def _matching(self, result: str | None, run: str | None) -> Sequence[Value]:
        of_result = [value for value in self if result in (None, value.result)]
        if not of_result and result is not None:
            names = dict.fromkeys(value.result for value in self)
            advice = nearest(result, names, f"there are {', '.join(names)}")
            raise ValueError(f"no result is called {result!r}: {advice}")
        found = [value for value in of_result if run in (None, value.run)]
        if of_result and not found:
            runs = ", ".join(dict.fromkeys(value.run or WHOLE for value in of_result))
            raise ValueError(f"no value in run {run!r}: there are {runs}")
        return found

    def table(self) -> DataFrame:
        """Return a row for every result and run, at full precision, in the result's unit."""
        columns = "result run unit is value low high half_width standard_uncertainty mean median"
        rows = [{**vars(value), "is": value.is_, "widest": value.widest} for value in self]
        return _frame([*columns.split(), "by_hand", "widest"], rows)

    def ranking_table(self, result: str | None = None, run: str | None = None) -> DataFrame:
        """Return a row for every result, run and source, the worst first. Raises ValueError."""
        columns = "result run unit source kind half_width_without saves first_order total".split()
        found = self._matching(result, run)
        rows = [{**vars(value), **vars(line)} for value in found for line in value.wideners]
        return _frame(columns, rows)

    def readings_table(self) -> DataFrame:
        """Return the readings as given: a row for every run, a column such as "p_start (bar)".

        The unit stands in the name, so that columns in different units never end up in one;
        a reading that is missing is NaN.
        """
        from pandas import Index

        columns: dict[str, dict[str, float]] = {}
        for leaf in self.study.case.leaves:
            if leaf.run is not None:
                symbol = f" ({leaf.unit.symbol})" if leaf.unit.symbol else ""
                columns.setdefault(leaf.name + symbol, {})[leaf.run] = _as_given(leaf)
        fullest = sorted(columns.values(), key=len, reverse=True)  # these know the order of runs
        runs = list(dict.fromkeys(run for column in fullest for run in column))
        rows = [{name: column.get(run) for name, column in columns.items()} for run in runs]
        table = _frame(columns, rows, texts=frozenset())
        table.index = Index(runs, dtype="string", name="run")
        return table

    def inputs_table(self) -> DataFrame:
        """Return a row for every input: its value as given, how well it is known, and whence."""
        columns = "input value unit known evidence reads instrument note".split()
        rows = [
            {
                **vars(leaf),
                "input": leaf.name,
                "value": _as_given(leaf),
                "unit": leaf.unit.text,
                "known": " + ".join(part.words for part in leaf.components) or "exact",
            }
            for leaf in self.study.case.leaves
            if leaf.run is None
        ]
        return _frame(columns, rows).set_index("input")

    @property
    def remarks(self) -> tuple[str, ...]:
        """Every warning, with what to do about it."""
        return tuple(f"{each.what}: {each.remedy}" for each in words.all_remarks(self.study))

    @property
    def assumptions(self) -> tuple[str, ...]:
        """What was taken for granted."""
        return self.study.case.assumptions

    def to_json(self) -> str:
        """Return the document that `effband run --json` prints."""
        return to_json(document(self.study))

    def figure(self) -> Figure:
        """Return the bands as a picture, which `savefig` writes."""
        from effband.report.figures import bands_figure

        return bands_figure(self.study)

    def __str__(self) -> str:
        return screen(self.study).rstrip("\n")

    def __repr__(self) -> str:
        title = printable(self.study.case.title)
        return f"<Answer {title!r}: {len(self)} values, headline {self.headline}>"

    def _repr_html_(self) -> str:
        return notebook(self.study)


@dataclass(frozen=True, eq=False, repr=False)
class Comparison:
    """The change between two cases; `print` gives what `effband compare` prints.

    Attributes
    ----------
    compared
        What it all comes from, in SI units.
    """

    compared: Compared

    @property
    def changes(self) -> list[dict[str, Any]]:
        """The changes at full precision, the headline's first, as they stand in the JSON."""
        found: list[dict[str, Any]] = comparison.document(self.compared)["changes"]
        return found

    def to_json(self) -> str:
        """Return the document that `effband compare --json` prints."""
        return to_json(comparison.document(self.compared))

    def figure(self) -> Figure | None:
        """Return before, after and the change as a picture; None where nothing varies."""
        from effband.report.figures import change_figure

        return change_figure(self.compared)

    def __str__(self) -> str:
        return comparison.screen(self.compared).rstrip("\n")

    def __repr__(self) -> str:
        titles = (printable(case.title) for case in (self.compared.before, self.compared.after))
        count = len(self.compared.changes)
        return f"<Comparison {' -> '.join(map(repr, titles))}: {count} change{'s' * (count != 1)}>"


def _value(told: dict[str, Any], band: Band, study: Study) -> Value:
    """Return one result of the JSON document as a value."""
    numbers = words.rounded(band)
    ends = f"from {numbers.low} to {numbers.high} {numbers.unit}".rstrip()
    chance = words.probability(study.settings.probability)
    return Value(
        **{key: told[key] for key in ("result", "run", "unit", "mean", "median", "half_width")},
        **told["interval"],
        is_=told["is"],
        value=band.output.target.unit.from_si(words.central(band)),
        probability=study.settings.probability,
        standard_uncertainty=told["standard_uncertainty"],
        by_hand=told["nominal"],
        boundary=band.output.target.boundary,
        wideners=tuple(_widener(line, told["half_width"]) for line in told["ranking"]),
        _text=f"{printable(band.output.title)}: {numbers.with_unit}, {ends} ({chance} band)",
    )


def _widener(told: dict[str, Any], half_width: float) -> Widener:
    first, total = (index and index["value"] for index in (told["first_order"], told["total"]))
    left = told["half_width_without"]
    return Widener(told["source"], told["kind"], left, half_width - left, first, total)


def _as_given(leaf: Leaf) -> float:
    """Return a number as it was written, without what the way to SI and back has added."""
    number = leaf.unit.from_si(leaf.value)
    size = max(abs(leaf.value), abs(leaf.unit.zero)) / leaf.unit.factor
    return round(number, 14 - math.floor(math.log10(size))) if size > 0.0 else number


def _frame(
    columns: Iterable[str], rows: Sequence[Mapping[str, Any]], texts: frozenset[str] = TEXTS
) -> DataFrame:
    """Return rows as a table: text columns may hold NA, all others are floats with NaN."""
    from pandas import DataFrame, Series

    kinds = {name: "string" if name in texts else "float64" for name in columns}
    return DataFrame(
        {name: Series([row[name] for row in rows], dtype=kind) for name, kind in kinds.items()}
    )
