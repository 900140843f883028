"""A published report, run again: whether the case that it carries gives what the report says.

The case is loaded from a private folder that is there only while it is read. Numbers that come
from the recorded random numbers must be the published ones; numbers that come from others may
lie as far apart as the simulation is uncertain. Identity is no honesty: whoever changes a case
and makes its report anew has a report that agrees.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import tempfile
import threading
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from effband import study as studies
from effband.case.data_files import BadData, name_parts, read_data
from effband.case.model import Case, Settings
from effband.problems import CaseError, ComputationRefused, EffbandError
from effband.report import words
from effband.report.armour import CASE, RECEIPT, BadBlock
from effband.report.published import LARGEST, Published, in_bytes
from effband.report.receipt import canonical, receipt, short
from effband.report.rechecked import AGREES, DIFFERS, NOT_COMPARED, Recheck, Step
from effband.report.reprinted import printed_again
from effband.report.side_by_side import other_draws, same_draws, verdicts
from effband.study import Progress, Study

MOST_TRIALS = 10_000_000  # that a report may ask for unless more is allowed


@dataclass(frozen=True)
class _Way:
    """How the runs are done."""

    workers: int
    progress: Progress | None
    stop: threading.Event
    folder: str | None

    def run(self, case: Case, settings: Settings, widened: float | None) -> Study:
        return studies.run(
            case, settings, self.workers, self.progress, self.stop, widen_guesses=widened
        )


def recheck(
    report: str | bytes | Published,
    seed: int | None = None,
    seconds: float = 600.0,
    most_trials: int = MOST_TRIALS,
    workers: int = 1,
    progress: Progress | None = None,
    stop: threading.Event | None = None,
    folder: str | None = None,
) -> Recheck:
    """Run a published report again and say whether it agrees.

    Parameters
    ----------
    report
        Its text or bytes, or what `published.found` returned for a file or folder.
    seed
        Of the run with other random numbers; by default, or if it is the recorded one, that
        plus 1.
    seconds
        After which no more is done.
    most_trials
        The most that the report may ask for.
    workers, progress, stop
        As in `study.run`.
    folder
        Where the case is laid out for a moment; by default among the temporary files.

    Raises
    ------
    BadBlock
        When it holds no report that can be read, or none that can be run again.
    CaseError
        When the case is refused, and nothing else was found to differ.
    ComputationRefused
        When the sums are, or the time is up, and nothing else was found to differ.
    """
    if not isinstance(report, Published):
        report = in_bytes(report.encode("utf-8", "replace") if isinstance(report, str) else report)
    stop = stop or threading.Event()
    late = threading.Event()

    def end() -> None:
        late.set()
        stop.set()

    timer = threading.Timer(seconds, end)
    timer.daemon = True
    timer.start()
    steps: list[Step] = []
    stamp = "" if report.receipt is None else short(report.receipt)
    pictured = any(".png" in text or "<img" in text for text in report.texts.values())
    told = Recheck(report.name, "", stamp, figures=pictured)
    try:
        told = _steps(
            report, seed, most_trials, _Way(workers, progress, stop, folder), steps, told, late
        )
    except EffbandError as refused:
        why = refused
        if late.is_set():
            remedy = "allow more with --seconds"
            why = ComputationRefused(f"not done within {seconds:g} seconds", remedy)
        if all(step.status != DIFFERS for step in steps):
            raise why from None
        steps.append(Step("run", NOT_COMPARED, "it cannot be run", tuple(str(why).split("\n"))))
    finally:
        timer.cancel()
    return replace(told, steps=tuple(steps))


def _steps(
    report: Published,
    seed: int | None,
    most_trials: int,
    way: _Way,
    steps: list[Step],
    told: Recheck,
    late: threading.Event,
) -> Recheck:
    """Do all steps, as far as they can be done; returns what else is told."""
    steps.append(_read(report))
    data, missing = _data(report)
    steps.append(_hashes(report, data))
    published = report.receipt
    if published is None:
        return told
    if missing:
        what = f"the run needs {', '.join(missing)}, which the report names and does not carry"
        remedy = "save the report in a file and put those very files beside it"
        raise BadBlock(what, remedy, report.name)
    case = _loaded(report, data, way.folder)
    if (
        hashlib.sha256(canonical(case.text.tree)).hexdigest()
        != published["case"]["canonical_sha256"]
    ):
        line = "what the case means was changed: its canonical hash is not the one in the receipt"
        steps[-1] = replace(steps[-1], status=DIFFERS, lines=(*steps[-1].lines, line))
    told = replace(told, title=case.title)
    settings, widened = _settings(published, case, most_trials, report.name)
    again = way.run(case, settings, widened)
    told = replace(told, sentence=words.sentence(words.headline_band(again), again))
    mine = receipt(again)
    same = same_draws(published, mine)
    steps.append(same)
    recorded = published["settings"]["seed"]
    other = recorded + 1 if seed in (None, recorded) else seed
    fresh: list[dict[str, Any]] = []
    try:
        for each in (other, other + 1):
            drawn = way.run(case, replace(settings, seed=each % 2**63), widened)
            fresh.append(receipt(drawn))
            step = other_draws(published, fresh)
            if step.status == AGREES:
                break
    except ComputationRefused:
        if not late.is_set():
            raise
    if not fresh:
        step = Step("other draws", NOT_COMPARED, "the time was up")
    steps += [step, verdicts(published, mine, fresh[0] if fresh else None)]
    with _laid_out(report, data, way.folder) as file:
        laid = replace(again, case=replace(case, text=replace(case.text, file=file)))
        steps.append(printed_again(report, laid, published, same.exact))
    return told


# -- what was found --------------------------------------------------------------------------------


def _read(report: Published) -> Step:
    names = ", ".join(sorted(report.block.files))
    what = f"{', '.join(map(os.path.basename, report.texts))}; the block carries {names}"
    if report.faults:
        return Step("read", DIFFERS, what, (*report.faults, *report.told))
    return Step("read", AGREES, what, report.told)


def _data(report: Published) -> tuple[dict[str, bytes], list[str]]:
    """Return the data files, and which are named only and lie nowhere."""
    data = {n: each for n, each in report.block.files.items() if n not in (CASE, RECEIPT)}
    missing = []
    for each in report.block.left_out:
        if each.name == RECEIPT:
            continue
        try:
            if report.beside is None:
                raise BadData("nowhere to look", "")
            lying = read_data(report.beside, each.name, LARGEST)
        except BadData:
            lying = b""
        if len(lying) == each.size and hashlib.sha256(lying).hexdigest() == each.sha256:
            data[each.name] = lying
        else:
            missing.append(f"{each.name} ({each.size} bytes, sha256 {each.sha256[:16]}...)")
    return data, missing


def _hashes(report: Published, data: Mapping[str, bytes]) -> Step:
    """Compare the case and the data with the hashes in the receipt."""
    name = "hashes"
    told = report.receipt
    if told is None:
        return Step(name, DIFFERS, "the receipt cannot be trusted, so nothing more is compared")
    lines = []
    if hashlib.sha256(report.block.files[CASE]).hexdigest() != told["case"]["sha256"]:
        lines.append("the case was changed: its hash is not the one in the receipt")
    listed = {each["name"]: each["sha256"] for each in told["data"]}
    for each, bytes_ in data.items():
        if each not in listed:
            lines.append(f"the report carries {each}, which its receipt does not name")
        elif hashlib.sha256(bytes_).hexdigest() != listed[each]:
            lines.append(f"{each} was changed: its hash is not the one in the receipt")
    named = {each.name: each.sha256 for each in report.block.left_out}
    for each, digest in listed.items():
        if each not in data and named.get(each) != digest:
            lines.append(f"the receipt names {each}, which the report does not carry")
    what = (
        f"case and {len(listed)} data file{'s' * (len(listed) != 1)} against receipt {short(told)}"
    )
    return Step(name, DIFFERS if lines else AGREES, what, tuple(lines))


# -- to run it -------------------------------------------------------------------------------------


@contextlib.contextmanager
def _laid_out(report: Published, data: Mapping[str, bytes], within: str | None) -> Iterator[str]:
    """Give the case file in a private folder with its data, which is removed afterwards."""
    with tempfile.TemporaryDirectory(prefix="effband-", dir=within) as folder:
        try:
            for each, content in {CASE: report.block.files[CASE], **data}.items():
                file = Path(folder, *name_parts(each))
                file.parent.mkdir(parents=True, exist_ok=True)
                with open(file, "xb") as stream:
                    stream.write(content)
        except OSError as error:
            what = f"the case cannot be laid out to be read: {error.strerror or error}"
            remedy = "see that there is room for temporary files"
            raise BadBlock(what, remedy, report.name) from None
        yield str(Path(folder, CASE))


def _loaded(report: Published, data: Mapping[str, bytes], within: str | None) -> Case:
    """Return the case that a report carries; messages call it case.yaml."""
    with _laid_out(report, data, within) as file:
        try:
            case = studies.load(file)
        except CaseError as error:
            raise CaseError(error.problems, f"{report.name}, {CASE}", error.text) from None
    return replace(case, text=replace(case.text, file=CASE))


def _settings(
    told: Mapping[str, Any], case: Case, most_trials: int, name: str
) -> tuple[Settings, float | None]:
    """Return how a report says that it was run. Raises BadBlock where nothing can be run so."""
    asked = told["settings"]
    seed, trials, probability, widened = (
        asked[key] for key in ("seed", "trials", "probability", "widen_guesses")
    )
    possible = (
        0 <= seed < 2**63
        and 1_000 <= trials <= 100_000_000
        and 0.5 <= probability <= 0.9999
        and asked["sampling"] in ("random", "quasi")
        and (widened is None or 1.0 < widened <= 10.0)
    )
    try:
        if not possible:
            raise ValueError("no run has such settings")
        settings = studies.with_options(
            case.settings, trials, seed, probability, asked["adaptive"], asked["sampling"]
        )
    except ValueError as error:
        what = f"the receipt tells of a run that cannot be: {error}"
        raise BadBlock(what, "do not trust it: effband did not write it", name) from None
    if trials > most_trials:
        what = f"the report asks for {trials} trials, more than the {most_trials} that are allowed"
        raise BadBlock(what, f"allow them with --most-trials {trials}", name)
    return settings, widened
