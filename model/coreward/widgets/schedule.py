"""One request slot: the latest value wins and a drag never queues.

A slider that is dragged sends values faster than a picture can be made. Each one
only marks the slot as wanted; the run itself reads the state at the moment it
starts, so whatever arrived in between is already in it. While values keep coming
the runs are previews on a coarse mesh, with a short pause after each so that waiting
messages are read first; once it has been quiet, one full run follows.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from typing import Final

PAUSE_S: Final = 0.012
"""Time left to the event loop between two previews. [s]"""
QUIET_S: Final = 0.25
"""Time without a new value after which the full run starts. [s]"""


class LatestWins:
    """Run a function for the latest request only.

    Parameters
    ----------
    run : callable
        Called with True for a preview and False for a full run. It must not raise.
    pause_s, quiet_s : float
        Pause after a preview, and quiet before the full run. [s]

    Notes
    -----
    Without a running event loop (a script, a test) every request runs at once and in
    full, so that the caller sees the answer when the request returns.
    """

    def __init__(
        self,
        run: Callable[[bool], None],
        *,
        pause_s: float = PAUSE_S,
        quiet_s: float = QUIET_S,
    ) -> None:
        self._run = run
        self._pause_s = pause_s
        self._quiet_s = quiet_s
        self._preview: asyncio.TimerHandle | None = None
        self._full: asyncio.TimerHandle | None = None
        self._not_before = 0.0

    @property
    def is_waiting(self) -> bool:
        """Whether a run is still to come."""
        return self._preview is not None or self._full is not None

    def request(self) -> None:
        """Ask for a run with the values in force when it starts."""
        loop = _running_loop()
        if loop is None:
            self._run(False)
            return
        if self._preview is None:
            wait = max(0.0, self._not_before - loop.time())
            self._preview = loop.call_later(wait, self._run_preview, loop)
        self._arm(loop)

    def settle(self) -> None:
        """Run in full now if anything is waiting."""
        if self.is_waiting:
            self.cancel()
            self._run(False)

    def cancel(self) -> None:
        """Forget what is waiting."""
        for handle in (self._preview, self._full):
            if handle is not None:
                handle.cancel()
        self._preview = self._full = None

    def _arm(self, loop: asyncio.AbstractEventLoop) -> None:
        if self._full is not None:
            self._full.cancel()
        self._full = loop.call_later(self._quiet_s, self._run_full)

    def _run_preview(self, loop: asyncio.AbstractEventLoop) -> None:
        self._preview = None
        self._run(True)
        self._not_before = loop.time() + self._pause_s
        # Quiet counts from the end of the preview: while it ran, nothing was heard.
        self._arm(loop)

    def _run_full(self) -> None:
        self.cancel()
        self._run(False)


def _running_loop() -> asyncio.AbstractEventLoop | None:
    try:
        return asyncio.get_running_loop()
    except RuntimeError:
        return None
