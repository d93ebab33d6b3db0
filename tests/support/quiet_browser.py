"""A browser that nobody listens to while it is measured.

The library that drives our tests is told by the browser of every message that a page gets
over the network, with the whole message: for a picture that is 180 kB through two more
processes, and a fifth of the processor time of a step of a slider. No person's browser does
that. So the page is set up with that library, which then lets go; the keys and the mouse
come over a bare line on which the browser says nothing unasked.
"""

from __future__ import annotations

import contextlib
import json
import subprocess
import tempfile
import time
import urllib.request
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import websocket
from playwright.sync_api import Page, sync_playwright

from support.workbench import LOOPBACK, SERVER_TIMEOUT_S, browser_arguments, end

WINDOW = (1400, 1250)  # outside; a bar that is not shown takes some of the height
_KEYS = {"ArrowLeft": 37, "ArrowRight": 39}


class Line:
    """The bare line to a page."""

    def __init__(self, address: str) -> None:
        self._socket = websocket.create_connection(address, suppress_origin=True)
        self._number = 0
        self._held = False  # the left button of the mouse

    def evaluate(self, script: str) -> Any:
        """Return the value of an expression in the page."""
        told = self._call("Runtime.evaluate", expression=script, returnByValue=True)
        assert "exceptionDetails" not in told, told["exceptionDetails"]
        return told["result"].get("value")

    def press(self, key: str) -> None:
        """Press an arrow key and let it go."""
        which = {"key": key, "code": key, "windowsVirtualKeyCode": _KEYS[key]}
        for kind in ("rawKeyDown", "keyUp"):
            self._call("Input.dispatchKeyEvent", type=kind, **which)

    def mouse(self, kind: str, x: float, y: float) -> None:
        """Move the mouse, press its left button or let it go.

        Parameters
        ----------
        kind : str
            "mouseMoved", "mousePressed" or "mouseReleased".
        x, y : float
            Place in the window. [px]
        """
        self._held = (self._held or kind == "mousePressed") and kind != "mouseReleased"
        button = {} if kind == "mouseMoved" else {"button": "left", "clickCount": 1}
        where = {"x": x, "y": y, "buttons": int(self._held)}
        self._call("Input.dispatchMouseEvent", type=kind, **where, **button)

    def close(self) -> None:
        """Hang up."""
        self._socket.close()

    def _call(self, method: str, **parameters: Any) -> Any:
        self._number += 1
        asked = {"id": self._number, "method": method, "params": parameters}
        self._socket.send(json.dumps(asked))
        while True:
            told = json.loads(self._socket.recv())
            if told.get("id") == self._number:
                assert "error" not in told, told
                return told["result"]


@dataclass(frozen=True)
class QuietBrowser:
    """A running browser with one page."""

    port: int

    def set_up(self, act: Callable[[Page], None]) -> None:
        """Do something with the page by the library of the tests, which then lets go."""
        with sync_playwright() as library:
            browser = library.chromium.connect_over_cdp(f"http://{LOOPBACK}:{self.port}")
            act(browser.contexts[0].pages[0])
            browser.close()  # lets go only: it is not the one who started it

    @contextlib.contextmanager
    def line(self) -> Iterator[Line]:
        """Open a bare line to the page."""
        with urllib.request.urlopen(f"http://{LOOPBACK}:{self.port}/json/list") as told:
            (page,) = [each for each in json.load(told) if each["type"] == "page"]
        line = Line(page["webSocketDebuggerUrl"])
        try:
            yield line
        finally:
            line.close()


@contextlib.contextmanager
def quiet_browser(executable: str) -> Iterator[QuietBrowser]:
    """Start a browser without a screen that waits for a line."""
    arguments = [
        *browser_arguments(),
        "--headless",
        "--remote-debugging-port=0",
        f"--window-size={WINDOW[0]},{WINDOW[1]}",
    ]
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as profile:
        process = subprocess.Popen(
            [executable, *arguments, f"--user-data-dir={profile}", "about:blank"],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        try:
            yield QuietBrowser(_port(Path(profile) / "DevToolsActivePort", process))
        finally:
            end(process)


def _port(file: Path, process: subprocess.Popen[bytes]) -> int:
    """Return the port that the browser has chosen, once it says so."""
    deadline = time.monotonic() + SERVER_TIMEOUT_S
    while time.monotonic() < deadline and process.poll() is None:
        with contextlib.suppress(FileNotFoundError):
            words = file.read_text().split()
            if len(words) > 1:  # the port, then a path
                return int(words[0])
        time.sleep(0.1)
    raise AssertionError("the browser did not start")
