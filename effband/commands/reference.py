"""`effband physics`, `units` and `schema`: the reference."""

from __future__ import annotations

import click


@click.command(short_help="List the physics functions, or explain one.")
@click.argument("name", required=False)
def physics(name: str | None) -> None:
    """List the physics functions of the formula language, or explain the one NAMEd."""
    from effband.physics.functions import FUNCTIONS, TRADES
    from effband.problems import nearest, printable
    from effband.report.reference import function_line, function_page, language_lines

    if name is None:
        for trade, functions in TRADES.items():
            click.echo(f"{trade}:")
            for function in functions:
                click.echo(f"  {function_line(function)}")
        click.echo(language_lines(), nl=False)
        return
    if name not in FUNCTIONS:
        remedy = nearest(name, FUNCTIONS, "`effband physics` lists them")
        raise click.UsageError(f"no function is called {printable(name)!r}: {remedy}")
    click.echo(function_page(FUNCTIONS[name]), nl=False)


@click.command(short_help="List the units.")
def units() -> None:
    """List every unit, with its size in SI and where that comes from."""
    from effband.report.reference import units_table

    click.echo(units_table(), nl=False)


@click.command(short_help="Print the JSON Schema of the case format.")
def schema() -> None:
    """Print the JSON Schema of the case format, for editors that complete keys."""
    import json

    from effband.case.format import CaseFile

    click.echo(json.dumps(CaseFile.model_json_schema(by_alias=True), indent=1))
