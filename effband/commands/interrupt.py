"""An interrupt is never lost: the signal raises, and leaves a mark.

An exception raised while a module is imported can vanish in a callback of the import system;
whoever waits for work looks at the mark as well.
"""

from __future__ import annotations

import signal
import threading
from typing import Any

asked = threading.Event()


def listen() -> None:
    """Take interrupts and requests to terminate."""
    asked.clear()
    for number in (signal.SIGINT, signal.SIGTERM):
        signal.signal(number, _heard)


def _heard(*_: Any) -> None:
    asked.set()
    raise KeyboardInterrupt


def check() -> None:
    """Raise KeyboardInterrupt if one was asked for and got lost."""
    if asked.is_set():
        raise KeyboardInterrupt
