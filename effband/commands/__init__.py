"""The command line: arguments in, exit code out. Heavy imports stand inside command bodies."""

from __future__ import annotations

import os
import sys

import click

from effband import __version__
from effband.commands import interrupt
from effband.commands.check import check
from effband.commands.compare import compare
from effband.commands.plan import plan
from effband.commands.recheck import recheck
from effband.commands.reference import instruments, physics, rules, schema, units
from effband.commands.run import run
from effband.commands.start import start
from effband.commands.upgrade import upgrade

INTERRUPTED, PIPE_CLOSED = 130, 141


@click.group(context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, message="effband %(version)s")
def effband() -> None:
    """Bands and their wideners for efficiency claims about small machines.

    Write what you read, with what, and how well you know the rest into a case file;
    `check` shows how it was understood, `run` gives the band of every result and what
    widens it most.
    """


for command in (
    start,
    check,
    run,
    compare,
    upgrade,
    plan,
    recheck,
    physics,
    instruments,
    rules,
    units,
    schema,
):
    effband.add_command(command)


def main(arguments: list[str] | None = None) -> None:
    """Run the command line and exit; never with a traceback."""
    for stream in (sys.stdout, sys.stderr):
        # a terminal without this alphabet gets an escape in place of a crash
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="backslashreplace")
    interrupt.listen()
    code = _exit_code(arguments)
    if code == INTERRUPTED:
        os._exit(code)  # threads and half-done imports need not end in order
    sys.exit(code)


def _exit_code(arguments: list[str] | None) -> int:
    try:
        result = effband.main(arguments, "effband", standalone_mode=False)
        if sys.stdout is not None:
            sys.stdout.flush()
        return result if isinstance(result, int) else 0
    except click.exceptions.Exit as done:
        return done.exit_code
    except click.UsageError as error:
        error.show()
        return 2
    except (click.Abort, KeyboardInterrupt):
        click.echo("stopped", err=True)
        return INTERRUPTED
    except (BrokenPipeError, SystemExit):
        # the reader of a pipe went away: not our fault, and no place to say so
        _leave_stdout()
        return PIPE_CLOSED
    except OSError as error:
        click.echo(f"cannot write: {error.strerror or error}", err=True)
        _leave_stdout()
        return 4
    except Exception as error:
        from effband.problems import EffbandError, printable  # only needed when something is wrong

        if isinstance(error, EffbandError):
            click.echo(str(error), err=True)
            return error.exit_code
        what = printable(f"{type(error).__name__}: {error}")
        click.echo(f"effband has a fault of its own: {what}", err=True)
        click.echo("please report it with the case that shows it", err=True)
        return 3


def _leave_stdout() -> None:
    """Point standard output nowhere, so that the interpreter's last flush cannot fail."""
    if sys.stdout is not None:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
