"""A browser: headless Chromium, spoken to over its own debugging pipe, with nothing in between.

The protocol's messages are JSON ended by a zero byte, on file descriptors 3 and 4.
"""

import base64
import json
import os
import select
import subprocess
import sys
import tempfile
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

WAIT_S = 30.0

_FLAGS = (
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
    "--disable-dev-shm-usage", "--hide-scrollbars", "--remote-debugging-pipe",
)  # fmt: skip


class BrowserError(RuntimeError):
    """The browser said no, or nothing at all."""


class Browser:
    """One tab. Sizes are CSS pixels; every wait is bounded by `WAIT_S`."""

    def __init__(self, to_browser: int, from_browser: int) -> None:
        self._to, self._from = to_browser, from_browser
        self._number = 0
        self._rest = b""
        self._session = ""
        self.events: list[dict[str, Any]] = []
        target = self.ask("Target.createTarget", url="about:blank")["targetId"]
        self._session = self.ask("Target.attachToTarget", targetId=target, flatten=True)[
            "sessionId"
        ]
        self.ask("Page.enable")
        self.ask("Runtime.enable")
        self.ask("Network.enable")
        self.ask("Log.enable")

    def ask(self, method: str, **params: object) -> Any:
        """One command and its answer."""
        self._number += 1
        message = {"id": self._number, "method": method, "params": params}
        if self._session:
            message["sessionId"] = self._session
        os.write(self._to, json.dumps(message).encode() + b"\0")
        while True:
            answer = self._next()
            if answer.get("id") == self._number:
                if "error" in answer:
                    raise BrowserError(f"{method}: {answer['error']}")
                return answer["result"]
            self.events.append(answer)

    def _next(self) -> dict[str, Any]:
        while b"\0" not in self._rest:
            ready, _, _ = select.select([self._from], [], [], WAIT_S)
            if not ready:
                raise BrowserError(f"nothing from the browser for {WAIT_S:g} s")
            part = os.read(self._from, 1 << 16)
            if not part:
                raise BrowserError("the browser has gone")
            self._rest += part
        first, self._rest = self._rest.split(b"\0", 1)
        message: dict[str, Any] = json.loads(first)
        return message

    def wait_event(self, method: str) -> dict[str, Any]:
        """The next event of that name, those that came meanwhile included."""
        for event in self.events:
            if event.get("method") == method:
                self.events.remove(event)
                return event
        while (event := self._next()).get("method") != method:
            self.events.append(event)
        return event

    def size(self, width: int, height: int, *, phone: bool | None = None) -> None:
        """The window; a narrow one is a phone unless said otherwise."""
        mobile = width < 700 if phone is None else phone
        self.ask(
            "Emulation.setDeviceMetricsOverride",
            width=width,
            height=height,
            deviceScaleFactor=1,
            mobile=mobile,
        )

    def wish(self, *, media: str = "", **features: str) -> None:
        """What the person's phone asks for: `prefers_color_scheme="dark"` and the like."""
        wishes = [{"name": n.replace("_", "-"), "value": v} for n, v in features.items()]
        self.ask("Emulation.setEmulatedMedia", media=media, features=wishes)

    def scripts(self, *, on: bool) -> None:
        """Whether pages may run scripts."""
        self.ask("Emulation.setScriptExecutionDisabled", value=not on)

    def open(self, address: str) -> None:
        """Go there and wait until it is loaded."""
        self.events.clear()
        went = self.ask("Page.navigate", url=address)
        if "errorText" in went:
            raise BrowserError(f"{address}: {went['errorText']}")
        if "loaderId" in went:
            self.wait_event("Page.loadEventFired")

    def run(self, script: str) -> Any:
        """The value of a script in the page; a promise is waited for."""
        result = self.ask(
            "Runtime.evaluate", expression=script, awaitPromise=True, returnByValue=True
        )
        if "exceptionDetails" in result:
            raise BrowserError(str(result["exceptionDetails"]))
        return result["result"].get("value")

    def click(self, selector: str) -> None:
        """Tap an element and wait for the page it leads to."""
        self.events.clear()
        self.run(f"document.querySelector({selector!r}).click()")
        self.wait_event("Page.loadEventFired")

    def tap(self, x: float, y: float) -> None:
        """A finger, or a mouse, at that point of the window."""
        self.events.clear()
        for kind in ("mousePressed", "mouseReleased"):
            self.ask("Input.dispatchMouseEvent", type=kind, x=x, y=y, button="left", clickCount=1)

    def key(self, name: str) -> None:
        """One key, pressed and let go."""
        text = name if len(name) == 1 else ""
        self.ask("Input.dispatchKeyEvent", type="keyDown", key=name, text=text)
        self.ask("Input.dispatchKeyEvent", type="keyUp", key=name)

    def picture(self, path: Path, *, whole: bool = True) -> None:
        """A screenshot as PNG; of the whole page, not only of the window."""
        shot = self.ask("Page.captureScreenshot", format="png", captureBeyondViewport=whole)
        path.write_bytes(base64.b64decode(shot["data"]))

    def complaints(self, base: str) -> list[str]:
        """What the browser logged as errors since the page was opened: scripts, policy, files.

        base: only about this server; a page left behind may still mourn its own.
        """
        said = []
        for event in self.events:
            if event.get("method") == "Log.entryAdded":
                entry = event["params"]["entry"]
                if entry["level"] == "error" and entry.get("url", base).startswith(base):
                    said.append(f"{entry['text']} {entry.get('url', '')}")
            if event.get("method") == "Runtime.exceptionThrown":
                said.append(str(event["params"]["exceptionDetails"]))
        return said


@contextmanager
def browser(program: str = "chromium", extra: Sequence[str] = ()) -> Iterator[Browser]:
    """A fresh browser with an empty profile; ended with the block."""
    to_read, to_write = os.pipe()
    from_read, from_write = os.pipe()
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as profile:
        # a step between moves the two pipes to the numbers the browser listens on
        step = (
            "import fcntl, os, sys; "
            "a, b = (fcntl.fcntl(int(n), fcntl.F_DUPFD, 10) for n in sys.argv[1:3]); "
            "os.dup2(a, 3); os.dup2(b, 4); os.execvp(sys.argv[3], sys.argv[3:])"
        )
        asked = [program, *_FLAGS, f"--user-data-dir={profile}", *extra]
        ends = [str(to_read), str(from_write)]
        process = subprocess.Popen(
            [sys.executable, "-c", step, *ends, *asked],
            pass_fds=(to_read, from_write),
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        os.close(to_read)
        os.close(from_write)
        try:
            yield Browser(to_write, from_read)
        finally:
            process.terminate()
            try:
                process.wait(WAIT_S)
            except subprocess.TimeoutExpired:
                process.kill()
                process.wait(WAIT_S)
            os.close(to_write)
            os.close(from_read)
