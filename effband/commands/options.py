"""Options that several commands have, worded once."""

from __future__ import annotations

import math

import click


def a_number(_: click.Context, __: click.Parameter, value: float | None) -> float | None:
    """Return an option's number; raises click.BadParameter where it is none."""
    if value is not None and math.isnan(value):
        raise click.BadParameter("this is not a number")
    return value


MOST_TRIALS, LARGEST_SEED, MOST_WORKERS = 100_000_000, 2**63 - 1, 256

TRIALS = click.option(
    "--trials", type=click.IntRange(1_000, MOST_TRIALS), help="Monte Carlo trials."
)
SEED = click.option(
    "--seed", type=click.IntRange(0, LARGEST_SEED), help="Seed of the random numbers."
)
PROBABILITY = click.option(
    "--probability",
    type=click.FloatRange(0.5, 0.9999),
    callback=a_number,
    help="Of the bands, such as 0.95.",
)
WORKERS = click.option(
    "--workers",
    type=click.IntRange(1, MOST_WORKERS),
    help="Threads; the numbers do not depend on them.",
)
AS_JSON = click.option(
    "--json", "as_json", is_flag=True, help="Print the whole result as JSON, only."
)
