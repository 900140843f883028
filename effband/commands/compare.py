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
    click.echo(to_json(document(found)) if as_json else screen(found), nl=False)
