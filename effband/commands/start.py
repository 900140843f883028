"""`effband start`: a first case that runs as it is, or one of the benches, as a file to change."""

from __future__ import annotations

import os.path
import shlex
from pathlib import Path

import click

PACKAGE = Path(__file__).resolve().parents[1]
FIRST_CASE = PACKAGE / "first_case.yaml"
ENDINGS = (".yaml", ".yml")


class _WithBenches(click.Command):
    """A command whose help ends with the benches; they are looked at only then."""

    def format_epilog(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write the list of benches, then examples."""
        with formatter.section("Benches for --like"):
            formatter.write_dl([(name, _title(file)) for name, file in _benches().items()])
        super().format_epilog(ctx, formatter)


@click.command(
    cls=_WithBenches,
    short_help="Write a first case, to be made yours.",
    epilog="\b\nFor example:\n"
    "  effband start my_machine\n"
    "  effband start my_machine --like wren_bench",
)
@click.argument("name", type=click.Path())
@click.option("--like", "bench", metavar="BENCH", help="Write this bench in its place.")
@click.option("--force", is_flag=True, help="Replace the file if there is one.")
def start(name: str, bench: str | None, force: bool) -> None:
    """Write a first case into the file NAME.yaml, with comments that say what to change.

    It is a small invented test that runs as it is. With --like it is one of the benches:
    larger invented tests, each of another trade.
    """
    from effband.problems import CannotWrite
    from effband.report.writing import write_set

    file = _file(name)
    source = FIRST_CASE if bench is None else _bench(bench)
    shown = shlex.quote(str(file))
    # os.path, since a name that is too long is then told of by the writer
    if not os.path.isdir(file.parent):
        folder = shlex.quote(str(file.parent))
        raise CannotWrite(f"the folder {folder} is not there: make it first (mkdir -p {folder})")
    if os.path.isdir(file):
        raise CannotWrite(f"{shown} is a folder: choose another name")
    if os.path.exists(file) and not force:
        raise CannotWrite(f"{shown} is there already: choose another name, or --force replaces it")
    # a folder may be reached by a link; a file that is one is refused
    write_set(file.parent.resolve(), {file.name: source.read_bytes()}, force)
    what = (
        "an invented test; where it says YOURS, put your own" if bench is None else _title(source)
    )
    click.echo(f"{shown}: {what}")
    click.echo(f"next: effband check {shown}, then effband run {shown}")


def _file(name: str) -> Path:
    """Return the file that a name stands for; raises click.BadParameter."""
    from effband.problems import printable

    path = Path(name)
    if name.endswith(("/", "\\")) or not path.name or path.name[0] in ".-":
        raise click.BadParameter(
            f"{printable(name)!r} is no name of a file: write one such as my_machine"
        )
    if printable(name) != name:
        raise click.BadParameter(
            f"{printable(name)} holds characters that cannot be shown: use letters, digits and _"
        )
    return path if path.suffix in ENDINGS else path.with_name(path.name + ENDINGS[0])


def _benches() -> dict[str, Path]:
    """Return the benches by name: inside the package, or beside it in a checkout."""
    inside = PACKAGE / "benches"
    folder = inside if inside.is_dir() else PACKAGE.parent / "cases"
    return {file.stem: file for file in sorted(folder.glob("*.yaml"))}


def _title(file: Path) -> str:
    """Return the title of a bench, without reading it as a case, which takes too long for help."""
    for line in file.read_text(encoding="utf-8").splitlines():
        if line.startswith("title:"):
            return line.partition(":")[2].strip()
    return ""


def _bench(name: str) -> Path:
    """Return the file of a bench by its name; raises click.BadParameter."""
    from effband.problems import nearest, printable

    known = _benches()
    if name in known:
        return known[name]
    formatter = click.HelpFormatter()
    formatter.write_dl([(each, _title(file)) for each, file in known.items()])
    remedy = nearest(name, known, "choose one of these")
    raise click.BadParameter(
        f"no bench is called {printable(name)!r}: {remedy}\n{formatter.getvalue().rstrip()}",
        param_hint="--like",
    )
