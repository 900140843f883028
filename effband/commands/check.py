"""`effband check`: read a case, print all problems, or what was understood."""

from __future__ import annotations

import click


@click.command(short_help="Read a case; print its problems, or how it was understood.")
@click.argument("case", type=click.Path())
def check(case: str) -> None:
    """Read CASE and print every problem, or what was understood with all defaults filled in.

    Example: effband check cases/wren_bench.yaml
    """
    from effband.problems import in_file_order, render_all
    from effband.report.understood import understood
    from effband.study import as_written, load

    found = load(case)
    values, impossible = as_written(found)
    warnings = in_file_order((*found.warnings, *impossible))
    if warnings:
        text = render_all(warnings, found.text.file, found.text.text, "warning")
        click.echo(text, err=True)
    click.echo(understood(found, values), nl=False)
    count = len(warnings)
    note = f"{count} warning{'s' * (count != 1)}" if count else "no warnings"
    click.echo(f"\nno problems, {note}", err=True)
