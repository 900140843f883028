"""`effband physics`, `instruments`, `rules`, `units` and `schema`: the reference."""

from __future__ import annotations

import shlex
from collections.abc import Mapping
from typing import TypeVar

import click

_Entry = TypeVar("_Entry")


@click.command(short_help="List the physics functions, or explain one.")
@click.argument("name", required=False)
def physics(name: str | None) -> None:
    """List the physics functions of the formula language, or explain the one NAMEd.

    Example: effband physics receiver_exergy
    """
    from effband.physics.functions import FUNCTIONS, TRADES
    from effband.report.reference import function_page, functions_list

    if name is None:
        click.echo(functions_list(TRADES.items()), nl=False)
        return
    click.echo(function_page(_known(name, FUNCTIONS, "function", "physics")), nl=False)


@click.command(short_help="List the instruments as sold, or explain one.")
@click.argument("name", required=False)
def instruments(name: str | None) -> None:
    """List what an instrument of a case may name by `like:`, or explain the one NAMEd.

    Example: effband instruments "dial gauge class 2.5"
    """
    from effband.evidence.as_sold import INSTRUMENTS, INSTRUMENTS_BY_NAME
    from effband.report.reference import catalogue_list, template_page

    if name is None:
        click.echo(catalogue_list(INSTRUMENTS, "instruments"), nl=False)
        return
    found = _known(name, INSTRUMENTS_BY_NAME, "instrument", "instruments")
    click.echo(template_page(found), nl=False)


@click.command(short_help="List the rules of thumb, or explain one.")
@click.argument("name", required=False)
def rules(name: str | None) -> None:
    """List the rules of thumb that an input may name by `like:`, or explain the one NAMEd.

    Handbook values are among them. Example: effband rules "V-belt efficiency"
    """
    from effband.evidence.rules_of_thumb import RULES, RULES_BY_NAME
    from effband.report.reference import catalogue_list, template_page

    if name is None:
        click.echo(catalogue_list(RULES, "rules"), nl=False)
        return
    click.echo(template_page(_known(name, RULES_BY_NAME, "rule of thumb", "rules")), nl=False)


def _known(name: str, known: Mapping[str, _Entry], what: str, command: str) -> _Entry:
    """Return the entry of a name, however its letters are written; raises click.UsageError."""
    from effband.evidence.as_sold import INSTRUMENTS_BY_NAME
    from effband.evidence.catalogue import entry_named, suggestion
    from effband.evidence.rules_of_thumb import RULES_BY_NAME
    from effband.physics.functions import FUNCTIONS
    from effband.problems import printable

    found = entry_named(name, known)
    if found is not None:
        return found[1]
    remedy = suggestion(name, known, f"`effband {command}` lists them")
    lists: dict[str, Mapping[str, object]] = {
        "physics": FUNCTIONS,
        "instruments": INSTRUMENTS_BY_NAME,
        "rules": RULES_BY_NAME,
    }
    for other, names in lists.items():
        elsewhere = entry_named(name, names)
        if elsewhere is not None:
            remedy = f"write `effband {other} {shlex.quote(elsewhere[0])}`"
    raise click.UsageError(f"no {what} is called {printable(name)!r}: {remedy}")


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
