"""`effband plan`: before the test, what it takes to reach a target."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from effband.commands import options
from effband.commands.working import Progress, run_stoppable

if TYPE_CHECKING:
    import threading

    from effband.decide.plan import Plan


@click.command(
    short_help="How many runs, how long or which instrument for a target.",
    epilog="\b\nFor example:\n"
    '  effband plan cases/wren_bench.yaml --target "0.5 points"\n'
    '  effband plan cases/wren_bench.yaml --target "5 % of value" --run light',
)
@click.argument("case", type=click.Path())
@click.option(
    "--target",
    required=True,
    metavar="X",
    help='The half-width wanted: "0.5 points", "20 W", "5 % of value".',
)
@click.option("--result", metavar="NAME", help="Plan for this result; the headline else.")
@click.option("--run", "of_run", metavar="NAME", help="Plan for this run, or group of runs.")
@click.option(
    "--trials", type=click.IntRange(1_000, 100_000_000), help="Monte Carlo trials of each step."
)
@options.SEED
@options.PROBABILITY
@options.WORKERS
@options.AS_JSON
def plan(
    case: str,
    target: str,
    result: str | None,
    of_run: str | None,
    trials: int | None,
    seed: int | None,
    probability: float | None,
    workers: int | None,
    as_json: bool,
) -> None:
    """Say what it takes for a result of CASE to be known to a half-width.

    Write the readings that you expect, with `expected: true` under `runs:`. Then more runs,
    longer runs, the upgrades of the case and better instruments are tried, one at a time.
    """
    import os

    from effband import study as studies
    from effband.decide import plan as planning
    from effband.decide.common_draws import CommonDraws
    from effband.decide.options import output_of
    from effband.problems import Misread
    from effband.propagate.variants import TRIALS
    from effband.report.machine import to_json
    from effband.report.plan import document, screen

    loaded = studies.load(case)
    settings = studies.with_options(loaded.settings, trials or TRIALS, seed, probability)
    count = workers or os.cpu_count() or 1

    def work(stop: threading.Event) -> Plan:
        draws = CommonDraws(settings.seed, settings.probability, settings.trials, count, stop)
        return planning.plan(loaded, output, target, draws, Progress())

    try:
        output = output_of(loaded, result, of_run)
    except ValueError as error:
        raise click.UsageError(str(error)) from None
    try:
        found = run_stoppable(work)
    except Misread as error:
        raise click.BadParameter(f"{error.what}: {error.remedy}", param_hint="--target") from None
    click.echo(to_json(document(found)) if as_json else screen(found), nl=False)
