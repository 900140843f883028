"""`effband run`: the main job."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from effband.commands import options
from effband.commands.working import Progress, run_stoppable

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from effband.decide.claims import Verdict
    from effband.study import Study

FORMATS = ("md", "html", "forum", "json", "png", "csv")
GATE_CONTRADICTED, GATE_NOT_SUPPORTED = 5, 6


def _formats(_: click.Context, __: click.Parameter, value: str) -> tuple[str, ...]:
    names = tuple(name.strip() for name in value.split(","))
    for name in names:
        if name not in FORMATS:
            raise click.BadParameter(f"{name!r} is none of {', '.join(FORMATS)}")
    return names


@click.command(
    short_help="Work out the band of every result and what widens it.",
    epilog="\b\nFor example:\n"
    "  effband run cases/wren_bench.yaml\n"
    "  effband run cases/wren_bench.yaml -o reports/wren_bench\n"
    "  effband run cases/wren_bench.yaml --json",
)
@click.argument("cases", nargs=-1, required=True, type=click.Path())
@options.TRIALS
@options.SEED
@options.PROBABILITY
@options.WORKERS
@click.option("-o", "--output", type=click.Path(), help="Folder for the reports.")
@click.option(
    "--format",
    "formats",
    default="md,html,forum,png",
    show_default=True,
    callback=_formats,
    help=f"Reports to write, of {','.join(FORMATS)}.",
)
@click.option("--force", is_flag=True, help="Replace files that effband did not write.")
@options.AS_JSON
@click.option(
    "--adaptive", is_flag=True, help="Stop once the digits are settled; --trials is the most."
)
@click.option(
    "--sampling",
    type=click.Choice(["random", "quasi"]),
    default="random",
    show_default=True,
    help="Quasi-random trials settle a smooth result sooner.",
)
@click.option("--crosscheck-ranking", is_flag=True, help="Have SALib work out the indices as well.")
@click.option(
    "--widen-guesses",
    type=click.FloatRange(1.0, 10.0, min_open=True),
    callback=options.a_number,
    help="Show the bands as well with guesses so many times as wide; 1.6 is a usual factor.",
)
@click.option(
    "--gate",
    is_flag=True,
    help="End with 5 where a claim is contradicted, 6 where one is not supported or disputed.",
)
def run(
    cases: tuple[str, ...],
    trials: int | None,
    seed: int | None,
    probability: float | None,
    workers: int | None,
    output: str | None,
    formats: tuple[str, ...],
    force: bool,
    as_json: bool,
    adaptive: bool,
    sampling: str,
    crosscheck_ranking: bool,
    widen_guesses: float | None,
    gate: bool,
) -> int:
    """Work out the band of every result in each CASE, and what widens it most."""
    from effband import study as studies
    from effband.problems import printable
    from effband.report.machine import document, to_json
    from effband.report.screen import screen

    named = click.get_current_context().get_parameter_source("formats")
    if output is None and named is not click.core.ParameterSource.DEFAULT:
        raise click.UsageError("--format says which reports to write: say where with -o DIR")
    loaded = [studies.load(case) for case in cases]
    if gate and not any(case.claims for case in loaded):
        raise click.UsageError("--gate judges claims, and there are none: add `claims:`")
    folders = _folders(output, cases)
    found = []
    for case, folder in zip(loaded, folders, strict=True):
        try:
            settings = studies.with_options(
                case.settings, trials, seed, probability, adaptive, sampling
            )
        except ValueError as error:
            raise click.UsageError(str(error)) from None
        study = _run_stoppable(case, settings, workers, crosscheck_ranking, widen_guesses)
        if folder is not None:
            _write(study, folder, formats, force)
        found.append(study)
    if as_json:
        documents = [document(study) for study in found]
        click.echo(to_json(documents[0] if len(documents) == 1 else documents), nl=False)
    else:
        click.echo("\n".join(screen(study) for study in found), nl=False)
    for folder in folders:
        if folder is not None:
            click.echo(f"report in {printable(str(folder))}", err=True)
    return _verdict_code([verdict for study in found for verdict in study.claims]) if gate else 0


def _verdict_code(verdicts: Sequence[Verdict]) -> int:
    """Return the exit code of a gate: 0 only where every claim is supported and undisputed."""
    from effband.decide.claims import CONTRADICTED, SUPPORTED

    if any(verdict.verdict == CONTRADICTED for verdict in verdicts):
        return GATE_CONTRADICTED
    open_ = any(verdict.verdict != SUPPORTED or verdict.disputed for verdict in verdicts)
    return GATE_NOT_SUPPORTED if open_ else 0


def _folders(output: str | None, cases: tuple[str, ...]) -> list[Path | None]:
    from pathlib import Path

    if output is None:
        return [None] * len(cases)
    if not output:
        raise click.UsageError("-o needs the name of a folder")
    if len(cases) == 1:
        return [Path(output)]
    stems = [Path(case).stem for case in cases]
    if len(set(stems)) != len(stems):
        raise click.UsageError("two of the cases have the same name: give each an -o of its own")
    return [Path(output) / stem for stem in stems]


def _run_stoppable(
    case: Any, settings: Any, workers: int | None, crosscheck: bool, widen_guesses: float | None
) -> Study:
    """Run in a thread, so that an interrupt is seen at once and ends the work."""
    import os

    from effband import study as studies

    count = workers or os.cpu_count() or 1
    return run_stoppable(
        lambda stop: studies.run(case, settings, count, Progress(), stop, crosscheck, widen_guesses)
    )


def _write(study: Study, folder: Path, formats: tuple[str, ...], force: bool) -> None:
    from effband.report.publication import files_of
    from effband.report.writing import write_set

    write_set(folder, files_of(study, formats), force)
