"""What can be compared between two cases, and whether it is the same number in both."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass

from effband.case.as_written import values_as_written
from effband.case.formula import names_in, parse_formula
from effband.case.model import Case, Output, Target, loads
from effband.case.values import width_about
from effband.problems import CaseError, Misread, Problem, nearest


@dataclass(frozen=True)
class Pair:
    """A result that both cases have, and the change that was asked about, SI, if it fits."""

    before: Output
    after: Output
    by: float | None = None


def pairs_of(
    before: Case,
    after: Case,
    by: str | None = None,
    result: str | None = None,
    run: str | None = None,
) -> tuple[Pair, ...]:
    """Return what is to be compared, the headline first.

    A group of runs stands in the place of its runs, unless one of these is asked for.

    Parameters
    ----------
    before, after
        The cases.
    by
        A change to be asked about, such as "2 points"; it must fit the headline.
    result, run
        The only ones to be compared.

    Raises
    ------
    CaseError
        When no result can be compared.
    Misread
        When `by` does not fit the headline.
    ValueError
        When there is no such result or run.
    """
    theirs = {_key(output): output for output in after.outputs}
    common = [o for o in before.outputs if _key(o) in theirs and _fit(o, theirs[_key(o)])]
    if not common:
        raise CaseError([_nothing_in_common(before, after)], after.text.file, "")
    _must_be_in_one_run(before, after, result, [o.target.name for o in common])
    _must_be_there("result", result, [o.target.name for o in common])
    found = [output for output in common if result in (None, output.target.name)]
    _must_be_there("run", run, [o.run or "" for o in found])
    found = [output for output in found if run in (None, output.run)]
    found = [found[at] for at in loads(found)]
    head = before.headline or found[0].target.name
    first = [o for o in found if o.target.name == head][-1:]
    ordered = [*first, *(o for o in found if o not in first)]
    widths = _widths(by, ordered, values_as_written(before, [o.step for o in ordered]))
    return tuple(
        Pair(output, theirs[_key(output)], width)
        for output, width in zip(ordered, widths, strict=True)
    )


def _key(output: Output) -> tuple[str, str | None]:
    return output.target.name, output.run


def _fit(one: Output, other: Output) -> bool:
    units = one.target.unit, other.target.unit
    return units[0].dimension == units[1].dimension and units[0].kind == units[1].kind


def _must_be_there(what: str, name: str | None, known: Sequence[str]) -> None:
    if name is not None and name not in known:
        names = list(dict.fromkeys(each for each in known if each))
        advice = nearest(name, names, f"there are {', '.join(names) or 'none'}")
        raise ValueError(f"no {what} that both cases have is called {name!r}: {advice}")


def _must_be_in_one_run(
    before: Case, after: Case, result: str | None, common: Sequence[str]
) -> None:
    """Refuse a result that both cases have, but in other runs or units."""
    both = {t.name for t in before.targets} & {t.name for t in after.targets}
    if result not in both or result in common:
        return
    unlike = [text for text in not_compared(before, after, result) if "unit" in text]
    if unlike:
        raise ValueError(f"{unlike[0]}: give both in units that fit")
    was, now = (_runs_of(case, {result}) for case in (before, after))
    raise ValueError(
        f"both cases have {result}, but in no run of one name: there are {was} before and {now} "
        "after: give runs, or groups of runs, the same name in both files"
    )


def _runs_of(case: Case, results: Collection[str]) -> str:
    """Return the names of the runs in which a case has some results."""
    own = (o.run or "the whole case" for o in case.outputs if o.target.name in results)
    return ", ".join(dict.fromkeys(own))


def _nothing_in_common(before: Case, after: Case) -> Problem:
    first = f"{before.text.file} and this case have no result in common"
    both = {t.name for t in before.targets} & {t.name for t in after.targets}
    if not both:
        names = [", ".join(target.name for target in case.targets) for case in (before, after)]
        what = f"{first}: there are {names[0]} before and {names[1]} after"
        return Problem(None, what, "give what is to be compared the same name in both files")
    unlike = [text for text in not_compared(before, after) if "unit" in text]
    if unlike:
        return Problem(None, f"{first} in one unit: {unlike[0]}", "give both in units that fit")
    runs = [_runs_of(case, both) for case in (before, after)]
    what = f"{first} in one run: there are {runs[0]} before and {runs[1]} after"
    return Problem(None, what, "give runs, or groups of runs, the same name in both files")


def _widths(
    by: str | None, outputs: Sequence[Output], values: Sequence[float]
) -> list[float | None]:
    """Return the change that was asked about for each output; the first is the one it is for.

    Raises Misread where it does not fit that one; the others take it where it fits them.
    """
    if by is None:
        return [None] * len(outputs)
    found: list[float | None] = []
    for output, value in zip(outputs, values, strict=True):
        try:
            found.append(width_about(by, output.target.unit, value))
        except Misread as error:
            if not found:
                name, what = output.target.name, error.what
                if what.endswith("?"):
                    what += f" {name} is in {output.target.unit.text}"
                remedy = f"{error.remedy} (it is asked of {name}; --result names another)"
                raise Misread(error.start, error.length, what, remedy) from None
            found.append(None)
    return found


def not_compared(before: Case, after: Case, result: str | None = None) -> tuple[str, ...]:
    """Return a clause for each result, or each place of one, that cannot be compared."""
    ours, theirs = ({_key(o): o for o in case.outputs} for case in (before, after))
    found = []
    for case, others, word in ((before, theirs, "before"), (after, ours, "after")):
        for at in loads(case.outputs):
            output = case.outputs[at]
            other = others.get(_key(output))
            if result not in (None, output.target.name):
                continue
            if other is None:
                found.append(f"{output.title}: {word} only")
            elif word == "before" and not _fit(output, other):
                units = f"{output.target.unit.text} before, {other.target.unit.text} after"
                found.append(f"{output.title}: its unit is {units}")
    return tuple(found)


def differences(before: Case, after: Case, pair: Pair) -> Iterator[str]:
    """Yield why two results of one name are not the same number, a clause each."""
    one, other = pair.before.target, pair.after.target
    if one.boundary != other.boundary:
        words = ("the denominators differ", "what is got out differs")
        for word, was, now in zip(
            words, one.boundary or ("",) * 2, other.boundary or ("",) * 2, strict=True
        ):
            if was != now:
                yield f"{word}: {was or 'not said'} before, {now or 'not said'} after"
    if one.kind != other.kind:
        yield f"its kind differs: {one.kind} before, {other.kind} after"
    if _bare(one.formula) != _bare(other.formula):
        yield f"its formula differs: {one.formula} before, {other.formula} after"
    formulas = [{name: text for name, text, _ in case.formulas} for case in (before, after)]
    used = _used_by(one, formulas[0]) | _used_by(other, formulas[1])
    for name in sorted(used):
        text, other_text = (found.get(name, "") for found in formulas)
        if _bare(text) != _bare(other_text):
            texts = f"{text or 'no formula'} before, {other_text or 'no formula'} after"
            yield f"the formula {name} differs: {texts}"


def _used_by(target: Target, formulas: dict[str, str]) -> set[str]:
    """Return the formulas that a result is made of."""
    found: set[str] = set()
    open_ = [target.formula]
    while open_:
        for name in names_in(parse_formula(open_.pop())) & set(formulas) - found:
            found.add(name)
            open_.append(formulas[name])
    return found


def _bare(formula: str) -> str:
    return "".join(formula.split())
