"""One request slot: the latest value wins and a drag never queues.

A slider that is dragged sends values faster than a picture can be made. Each one
only marks the slot as wanted; the run itself reads the state at the moment it
starts, so whatever arrived in between is already in it. While values keep coming
the runs are previews on a coarse mesh, with a short pause after each so that waiting
messages are read first; once it has been quiet, one full run follows.

What takes longer than a moment is started with `LatestWins.start`: it runs in a thread
of its own, says how far it is, and can be stopped. A new request stops it, and there is
never more than one.
"""

from __future__ import annotations

import asyncio
import contextlib
import contextvars
import threading
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from typing import Any, Final

PAUSE_S: Final = 0.012
"""Time left to the event loop between two previews. [s]"""
QUIET_S: Final = 0.25
"""Time without a new value after which the full run starts. [s]"""
LOOK_S: Final = 0.1
"""Time between two looks at how far a long computation is. [s]"""

Progress = Callable[[float, str], None]
"""Told the share that is done, 0 to 1, and words for it. Raises `Stopped`."""
Cancelled = Callable[[], bool]
"""Tells whether nobody waits for the answer any more."""
Compute = Callable[[Progress, Cancelled], Any]


class Stopped(Exception):
    """A long computation was stopped; its answer is not wanted."""


@dataclass(eq=False)
class _Work:
    """One long computation and whom to tell."""

    compute: Compute
    done: Callable[[Any], None]
    failed: Callable[[Exception], None]
    progressed: Progress
    share: float = 0.0
    words: str = ""
    stop: threading.Event = field(default_factory=threading.Event)
    begun: bool = False
    ended: bool = False
    outcome: Any = None
    error: Exception | None = None

    def report(self, share: float, words: str) -> None:
        """Note how far it is; called from the thread."""
        if self.stop.is_set():
            raise Stopped
        self.share, self.words = min(max(share, 0.0), 1.0), words

    def run(self) -> None:
        """Compute; whatever goes wrong is kept for whoever waits."""
        try:
            self.outcome = self.compute(self.report, self.stop.is_set)
        except Exception as error:  # a thread has nobody else to tell
            self.error = error
        self.ended = True

    def finish(self) -> None:
        """Compute and tell, here and now."""
        self.run()
        self.tell()

    def tell(self) -> None:
        """Tell how it ended."""
        if self.error is not None:
            self.failed(self.error)
        else:
            self.done(self.outcome)


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
        self._held = self._wanted = False
        self._work: _Work | None = None
        self._running: threading.Thread | None = None

    @property
    def is_waiting(self) -> bool:
        """Whether a run is still to come."""
        return self._preview is not None or self._full is not None

    @property
    def is_working(self) -> bool:
        """Whether a long computation is under way."""
        return self._work is not None

    def request(self) -> None:
        """Ask for a run with the values in force when it starts."""
        if self._held:
            self._wanted = True
            return
        self._drop()
        loop = _running_loop()
        if loop is None:
            self._run(False)
            return
        if self._preview is None:
            wait = max(0.0, self._not_before - loop.time())
            self._preview = loop.call_later(wait, self._run_preview, loop)
        self._arm(loop)

    @contextlib.contextmanager
    def together(self) -> Iterator[None]:
        """Make one request of all that are made inside."""
        self._held, self._wanted = True, False
        try:
            yield
        finally:
            self._held = False
            if self._wanted:
                self.request()

    def settle(self) -> None:
        """Run in full now if anything is waiting, and wait for what takes long."""
        if self.is_waiting:
            self.cancel()
            self._run(False)
        work, self._work = self._work, None
        if work is None:
            return
        if self._running is not None:  # this work, or one before that lets go
            self._running.join()
        if not work.ended:
            work.run()
        work.tell()

    def cancel(self) -> None:
        """Forget what is waiting."""
        for handle in (self._preview, self._full):
            if handle is not None:
                handle.cancel()
        self._preview = self._full = None

    def start(
        self,
        compute: Compute,
        *,
        done: Callable[[Any], None],
        failed: Callable[[Exception], None],
        progressed: Progress,
    ) -> None:
        """Compute what takes long, without holding up the page.

        Parameters
        ----------
        compute : callable
            Called with a function to tell progress to and one that tells whether it was
            stopped. It runs in another thread and must touch neither state nor widgets.
        done : callable
            Called with the answer, unless it was stopped before.
        failed : callable
            Called with the exception, `Stopped` when a person stopped it.
        progressed : callable
            Called a few times a second with the share that is done and the words for it.
        """
        self._drop()
        work = _Work(compute, done, failed, progressed)
        loop = _running_loop()
        if loop is None:
            work.finish()
            return
        self._work = work
        self._look(loop, work)

    def stop(self) -> None:
        """Stop the long computation, for a person who does not want to wait."""
        work = self._drop()
        if work is not None:
            work.failed(Stopped())

    def _drop(self) -> _Work | None:
        work, self._work = self._work, None
        if work is not None:
            work.stop.set()
        return work

    def _look(self, loop: asyncio.AbstractEventLoop, work: _Work) -> None:
        """Start the work when the one before has let go; then see how far it is."""
        if self._work is not work:
            return
        if work.ended:
            self._work = None
            work.tell()
            return
        if not work.begun and (self._running is None or not self._running.is_alive()):
            work.begun = True
            self._running = threading.Thread(
                target=contextvars.copy_context().run, args=(_run, work, loop, self._look)
            )
            # A program that ends does not wait for an answer that nobody will see.
            self._running.daemon = True
            self._running.start()
        work.progressed(work.share, work.words)
        loop.call_later(LOOK_S, self._look, loop, work)

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


class Later:
    """Do the latest of what was asked for a moment later, out of the way of a picture.

    Whatever a page is sent before a picture, or with it, is laid out before the picture can
    be seen, and the two cores of a small machine have enough to do until then.

    Parameters
    ----------
    wait_s : float
        Time from the last request until it is done. [s]
    most_s : float
        Time from the first request that was not done; it is not put off beyond. [s]

    Notes
    -----
    Without a running event loop what is asked for is done at once.
    """

    def __init__(self, wait_s: float, most_s: float) -> None:
        self._wait_s = wait_s
        self._most_s = most_s
        self._timer: asyncio.TimerHandle | None = None
        self._since: float | None = None

    def ask(self, act: Callable[[], None]) -> None:
        """Do this later, in place of what was asked for before."""
        loop = _running_loop()
        if loop is None:
            self.do(act)
            return
        since = loop.time() if self._since is None else self._since
        self.drop()
        self._since = since
        due = min(loop.time() + self._wait_s, since + self._most_s)
        self._timer = loop.call_at(due, self.do, act)

    def do(self, act: Callable[[], None]) -> None:
        """Do this now, in place of what was asked for before."""
        self.drop()
        act()

    def drop(self) -> None:
        """Forget what was asked for."""
        if self._timer is not None:
            self._timer.cancel()
        self._timer = self._since = None


def _run(work: _Work, loop: asyncio.AbstractEventLoop, look: Callable[..., None]) -> None:
    """Be the thread: compute, then have the end looked at without delay."""
    work.run()
    with contextlib.suppress(RuntimeError):  # the loop has been closed meanwhile
        loop.call_soon_threadsafe(look, loop, work)


def _running_loop() -> asyncio.AbstractEventLoop | None:
    try:
        return asyncio.get_running_loop()
    except RuntimeError:
        return None
