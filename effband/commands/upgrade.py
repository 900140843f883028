"""`effband upgrade`: what to better first."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from effband.commands import options
from effband.commands.working import Progress, run_stoppable

if TYPE_CHECKING:
    import threading

    from effband.decide.options import Advice


@click.command(
    short_help="Tell what to better first, and what money buys best.",
    epilog="\b\nFor example:\n"
    "  effband upgrade cases/wren_bench.yaml\n"
    '  effband upgrade cases/wren_bench.yaml --spend "100 EUR"\n'
    "  effband upgrade cases/wren_loads.yaml --result wall_to_wire --run full",
)
@click.argument("case", type=click.Path())
@click.option("--spend", metavar="AMOUNT", help='The money there is, such as "150 EUR".')
@click.option("--result", metavar="NAME", help="The result to narrow, in place of the headline.")
@click.option("--run", "of_run", metavar="NAME", help="Its run, or group of runs.")
@click.option(
    "--trials",
    type=click.IntRange(1_000, 100_000_000),
    help="Monte Carlo trials of each option; 262144 if not said, since they share their draws.",
)
@options.SEED
@options.PROBABILITY
@options.WORKERS
@options.AS_JSON
def upgrade(
    case: str,
    spend: str | None,
    result: str | None,
    of_run: str | None,
    trials: int | None,
    seed: int | None,
    probability: float | None,
    workers: int | None,
    as_json: bool,
) -> None:
    """Work out what each of the upgrades of CASE would bring, and what to better first.

    They stand under `upgrades:` in the case: a better instrument or input, another method, or
    more runs. Each is run as the case would be with it.
    """
    import os

    from effband import study as studies
    from effband.decide.common_draws import TRIALS, CommonDraws
    from effband.decide.options import amount_of, output_of
    from effband.decide.upgrades import advise
    from effband.report.machine import to_json
    from effband.report.upgrades import document, screen

    found = studies.load(case)
    try:
        asked = output_of(found, result, of_run) if result or of_run else None
        amount = None if spend is None else amount_of(found, spend)
    except ValueError as error:
        raise click.UsageError(str(error)) from None
    settings = studies.with_options(found.settings, trials or TRIALS, seed, probability)
    count = workers or os.cpu_count() or 1

    def work(stop: threading.Event) -> Advice:
        draws = CommonDraws(settings.seed, settings.probability, settings.trials, count, stop)
        return advise(found, draws, asked, amount, Progress())

    advice = run_stoppable(work)
    click.echo(to_json(document(advice)) if as_json else screen(advice), nl=False)
