"""A headless Chromium, driven over a pipe by its DevTools protocol: no library, no port.

https://chromedevtools.github.io/devtools-protocol/
"""

from __future__ import annotations

import base64
import contextlib
import json
import os
import select
import shutil
import subprocess
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

PATIENCE = 60.0  # seconds for one answer
QUIET = (
    "--headless=new --no-sandbox --disable-gpu --no-first-run --disable-background-networking "
    "--disable-sync --disable-component-update --disable-extensions --hide-scrollbars "
    "--disable-dev-shm-usage --remote-debugging-pipe"
).split()


def found() -> str | None:
    """Return the program, or None where there is none."""
    return shutil.which("chromium") or shutil.which("chromium-browser")


class Browser:
    """One page of a browser, and everything it said."""

    def __init__(self, to_it: int, from_it: int) -> None:
        self._to_it, self._from_it = to_it, from_it
        self._unread, self._last, self._session = b"", 0, ""
        self._heard: list[dict[str, Any]] = []
        target = self.ask("Target.createTarget", url="about:blank")["targetId"]
        attached = self.ask("Target.attachToTarget", targetId=target, flatten=True)
        self._session = attached["sessionId"]
        for domain in ("Page", "Runtime", "Log", "Network"):
            self.ask(f"{domain}.enable")

    def ask(self, method: str, **how: Any) -> dict[str, Any]:
        """Send one command and return its result."""
        self._last += 1
        message: dict[str, Any] = {"id": self._last, "method": method, "params": how}
        if self._session:
            message["sessionId"] = self._session
        rest = json.dumps(message).encode() + b"\0"
        while rest:
            rest = rest[os.write(self._to_it, rest) :]
        while True:
            told = self._next()
            if told.get("id") == self._last:
                assert "error" not in told, (method, told["error"])
                return dict(told["result"])
            self._heard.append(told)

    def _next(self) -> dict[str, Any]:
        until = time.monotonic() + PATIENCE
        while b"\0" not in self._unread:
            ready, _, _ = select.select([self._from_it], [], [], until - time.monotonic())
            more = os.read(self._from_it, 1 << 20) if ready else b""
            assert more, "the browser does not answer"
            self._unread += more
        told, _, self._unread = self._unread.partition(b"\0")
        return dict(json.loads(told))

    def open(self, file: Path) -> None:
        """Open a file and wait until it is loaded; what was said before is forgotten."""
        self._heard.clear()
        self.ask("Page.navigate", url=file.as_uri())
        while not any(told.get("method") == "Page.loadEventFired" for told in self._heard):
            self._heard.append(self._next())
        self.answer("new Promise(done => requestAnimationFrame(() => setTimeout(done, 50)))")

    def answer(self, expression: str) -> Any:
        """Return what an expression comes to; the page's own policy does not bind the tools."""
        found = self.ask(
            "Runtime.evaluate", expression=expression, returnByValue=True, awaitPromise=True
        )
        assert "exceptionDetails" not in found, found
        return found["result"].get("value")

    def said(self) -> list[str]:
        """Return every message of the console, the page's or the browser's, since `open`."""
        found = []
        for told in self._heard:
            match told.get("method"):
                case "Log.entryAdded":
                    found.append(told["params"]["entry"]["text"])
                case "Runtime.consoleAPICalled":
                    found.append(str(told["params"]["args"]))
                case "Runtime.exceptionThrown":
                    found.append(str(told["params"]["exceptionDetails"]))
        return found

    def requests(self) -> list[str]:
        """Return the address of everything that was asked for since `open`."""
        return [
            told["params"]["request"]["url"]
            for told in self._heard
            if told.get("method") == "Network.requestWillBeSent"
        ]

    def sized(self, wide: int, high: int = 900) -> None:
        """Make the window so many pixels wide."""
        self.ask(
            "Emulation.setDeviceMetricsOverride",
            width=wide,
            height=high,
            deviceScaleFactor=1,
            mobile=False,
        )

    def coloured(self, scheme: str) -> None:
        """Prefer "dark" or "light" colours."""
        preferred = [{"name": "prefers-color-scheme", "value": scheme}]
        self.ask("Emulation.setEmulatedMedia", features=preferred)

    def screenshot(self) -> bytes:
        """Return the whole page as PNG."""
        taken = self.ask("Page.captureScreenshot", format="png", captureBeyondViewport=True)
        return base64.b64decode(taken["data"])

    def pdf(self) -> bytes:
        """Return the page as printed, on A4."""
        inches = {"paperWidth": 8.27, "paperHeight": 11.69}
        return base64.b64decode(self.ask("Page.printToPDF", **inches)["data"])


@contextlib.contextmanager
def browser(program: str) -> Iterator[Browser]:
    """Start a browser with a profile of its own, and end it."""
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as profile:
        its_in, to_it = os.pipe()
        from_it, its_out = os.pipe()
        # the protocol is spoken on 3 and 4, which the shell puts in their places
        command = f'exec "$@" 3<&{its_in} 4>&{its_out}'
        process = subprocess.Popen(
            ["bash", "-c", command, "bash", program, *QUIET, f"--user-data-dir={profile}"],
            pass_fds=(its_in, its_out),
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        os.close(its_in)
        os.close(its_out)
        try:
            yield Browser(to_it, from_it)
        finally:
            process.kill()
            process.wait()
            os.close(to_it)
            os.close(from_it)
