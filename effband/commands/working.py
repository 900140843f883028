"""What commands that work long share: an interrupt ends them at once, a terminal sees how far."""

from __future__ import annotations

import sys
import threading
import time
from collections.abc import Callable
from typing import TypeVar

import click

from effband.commands import interrupt

QUIET_SECONDS = 1.0

_Done = TypeVar("_Done")


def run_stoppable(job: Callable[[threading.Event], _Done]) -> _Done:
    """Return what a job gives, done in a thread, so that an interrupt is seen at once.

    The job is to end soon after the event it is given is set.
    """
    stop = threading.Event()
    done: list[_Done] = []
    failed: list[BaseException] = []

    def work() -> None:
        try:
            done.append(job(stop))
        except BaseException as error:
            failed.append(error)

    thread = threading.Thread(target=work, daemon=True)
    thread.start()
    try:
        while thread.is_alive():
            thread.join(0.1)
            interrupt.check()
    except KeyboardInterrupt:
        stop.set()
        thread.join(0.3)
        raise
    if failed:
        raise failed[0]
    return done[0]


class Progress:
    """One line on a terminal, once the work has taken a second; nothing elsewhere."""

    def __init__(self) -> None:
        self.start = time.monotonic()
        self.shown = False

    def __call__(self, what: str, done: int, total: int) -> None:
        """Show how much is done, and of how much."""
        if not sys.stderr.isatty() or time.monotonic() - self.start < QUIET_SECONDS:
            return
        self.shown = True
        click.echo(f"\r{what} {100 * done // total:3d} %", err=True, nl=False)
        if done == total:
            click.echo("\r" + " " * 20 + "\r", err=True, nl=False)
