"""`effband compare`: the change between two cases."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from effband.commands import options
from effband.commands.working import Progress, run_stoppable

if TYPE_CHECKING:
    import threading

    from effband.decide.compare import Compared


@click.command(
    short_help="Work out what changed from one case to another.",
    epilog="\b\nFor example:\n"
    "  effband compare cases/dray_belt.yaml cases/dray_gear.yaml\n"
    '  effband compare cases/dray_belt.yaml cases/dray_gear.yaml --by "2 points"',
)
@click.argument("before", type=click.Path())
@click.argument("after", type=click.Path())
@click.option("--by", metavar="X", help='A change to ask about: "2 points", "-5 W".')
@click.option("--result", metavar="NAME", help="Compare this result only.")
@click.option("--run", "of_run", metavar="NAME", help="Compare this run, or group of runs, only.")
@options.TRIALS
@options.SEED
@options.PROBABILITY
@options.WORKERS
@click.option("-o", "--output", type=click.Path(), help="Folder for the figure and the JSON.")
@click.option("--force", is_flag=True, help="Replace files that effband did not write.")
@options.AS_JSON
def compare(
    before: str,
    after: str,
    by: str | None,
    result: str | None,
    of_run: str | None,
    trials: int | None,
    seed: int | None,
    probability: float | None,
    workers: int | None,
    output: str | None,
    force: bool,
    as_json: bool,
) -> None:
    """Work out the change from the case BEFORE to the case AFTER, and how sure it is.

    What both files define alike, under one name, is drawn once for both: the same meter is
    wrong in the same way. With --by, also how sure it is that the change is that much or more.
    """
    import os

    from effband import study as studies
    from effband.decide import compare as comparing
    from effband.decide.pairs import pairs_of
    from effband.report.comparison import document, screen
    from effband.report.machine import to_json

    if output == "":
        raise click.UsageError("-o needs the name of a folder")
    was, now = studies.load(before), studies.load(after)
    try:
        pairs = pairs_of(was, now, by, result, of_run)
    except ValueError as error:
        raise click.UsageError(str(error)) from None
    settings = studies.with_options(was.settings, trials, seed, probability)
    count = workers or os.cpu_count() or 1

    def work(stop: threading.Event) -> Compared:
        return comparing.compare(was, now, pairs, settings, count, Progress(), stop)

    found = run_stoppable(work)
    if output is not None:
        _write(found, output, force)
    click.echo(to_json(document(found)) if as_json else screen(found), nl=False)


def _write(found: Compared, folder: str, force: bool) -> None:
    """Write the figure of the change, where there is one, and the JSON beside it."""
    from pathlib import Path

    from effband.problems import printable
    from effband.report.comparison import document
    from effband.report.figures import change_figure, png
    from effband.report.machine import to_json
    from effband.report.writing import RECEIPT, parts, write_set

    files = {"change.json": to_json(document(found)).encode()}
    figure = change_figure(found)
    if figure is not None:
        files["change.png"] = png(figure)
    files[RECEIPT] = to_json({"parts": parts(files)}).encode()  # so that the set is known as ours
    write_set(Path(folder), files, force)
    click.echo(f"figure and JSON in {printable(folder)}", err=True)
