"""`effband recheck`: a published report alone, run again."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from effband.commands import options
from effband.commands.working import Progress, run_stoppable

if TYPE_CHECKING:
    import threading

    from effband.report.rechecked import Recheck

DOES_NOT_AGREE = 7
LONGEST = 7 * 24 * 3600.0


@click.command(
    short_help="Run a published report again and say whether it agrees.",
    epilog="\b\nFor example:\n"
    "  effband recheck reports/wren_bench/report.html\n"
    "  effband recheck reports/wren_bench\n"
    "  effband recheck - < post.txt\n\n"
    "Ends with 0 where the report agrees, 7 where it does not or its words were not compared, "
    "1 where it cannot be read or its case is refused, 3 where the sums are refused or the time "
    "is up.",
)
@click.argument("report", type=click.Path(allow_dash=True))
@click.option(
    "--seed",
    type=click.IntRange(0, 2**63 - 1),
    help="Of the run with other random numbers; else the recorded one plus 1.",
)
@click.option(
    "--seconds",
    type=click.FloatRange(0.0, LONGEST, min_open=True),
    default=600.0,
    show_default=True,
    callback=options.a_number,
    help="After which no more is done.",
)
@click.option(
    "--most-trials",
    type=click.IntRange(1_000, 100_000_000),
    default=10_000_000,
    show_default=True,
    help="The most that the report may ask for.",
)
@options.WORKERS
@click.option("--json", "as_json", is_flag=True, help="Print what was compared as JSON, only.")
def recheck(
    report: str,
    seed: int | None,
    seconds: float,
    most_trials: int,
    workers: int | None,
    as_json: bool,
) -> int:
    """Run the case that REPORT carries and say whether the report agrees.

    REPORT is a saved report.md, report.html or forum.txt, a post copied out of a forum, the
    folder of a whole set, or - for standard input. It agrees if its hashes fit, the recorded
    random numbers give its numbers, other ones give the same within the simulation's
    uncertainty, and every number and word that it prints is the one to be printed.
    """
    import os
    import sys
    import tempfile

    from effband.recheck import recheck as run_again
    from effband.report import published
    from effband.report.machine import to_json
    from effband.report.rechecked import document, screen

    if report == "-":
        data = sys.stdin.buffer.read(published.LARGEST + 1)
        found = published.in_bytes(data, "standard input")
    else:
        found = published.found(report)
    count = workers or os.cpu_count() or 1

    # made here, so that an interrupt, which does not wait for the work, removes it as well
    with tempfile.TemporaryDirectory(prefix="effband-", ignore_cleanup_errors=True) as folder:

        def work(stop: threading.Event) -> Recheck:
            how = (seed, seconds, most_trials, count, Progress(), stop, folder)
            return run_again(found, *how)

        done = run_stoppable(work)
    click.echo(to_json(document(done)) if as_json else screen(done), nl=False)
    return 0 if done.agrees else DOES_NOT_AGREE
