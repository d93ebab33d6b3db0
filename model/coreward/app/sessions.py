"""One kernel for each visitor's page, as many as fit, none longer than needed.

A session belongs to a visitor and a page. Loading the page again finds the same session
with everything as it was; leaving it ends the session after a short while.
"""

from __future__ import annotations

import asyncio
import hashlib
import logging
import math
import os
import shutil
import tempfile
import time
import uuid
from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

import nbformat
import psutil
from jupyter_server.utils import ApiPath
from nbclient import NotebookClient
from nbclient.exceptions import CellExecutionError, CellTimeoutError, DeadKernelError

from coreward.app import messages
from coreward.app.kernels import PageKernels, passed_on
from coreward.app.limits import Pace, Paces
from coreward.app.pages import Page
from coreward.errors import CorewardError
from coreward.files import OwnFolder

MOST_SESSIONS: Final = 30
"""As many as a class of students, where memory allows."""
MEMORY_OF_A_COPY: Final = 120 * 2**20
"""What a page takes whose kernel is a copy of the seed: 64 to 112 MB measured. [B]"""
MEMORY_ON_ITS_OWN: Final = 320 * 2**20
"""What a page takes whose kernel was started on its own: 300 MB measured. [B]"""
MEMORY_LEFT_ALONE: Final = 512 * 2**20
"""What is kept free for everything else on the machine. [B]"""
ABANDONED_S: Final = 45.0
"""How long a page may be without a reader, so that loading it again finds it. [s]"""
GIVES_WAY_S: Final = 10.0
"""How long a page is without a reader before it gives way to who finds no place. [s]"""
IDLE_S: Final = 45 * 60.0
"""How long a page may lie open without being touched: a lesson. [s]"""
_SWEEP_S: Final = 1.0
# How long an address is kept back until there is something to see at it.
_PREPARING_S: Final = 60.0
_CELL_TIMEOUT_S: Final = 300
# Pages that one visitor starts: at once, and in a second from then on.
_STARTS: Final = 12, 0.2
# Messages to one page, in number and bytes: a slider that is dragged sends sixty in a second.
_MESSAGES: Final = 600, 120
_BYTES: Final = 2 * messages.LARGEST, 256 * 2**10

_LOG: Final = logging.getLogger("coreward.app")

COMPUTING, READY, BROKEN, ENDED = "computing", "ready", "broken", "ended"


class FullHouseError(CorewardError):
    """No page can be started now."""


@dataclass
class Session:
    """One visitor's page and its kernel."""

    visitor: str
    page: Page
    kernel_id: str
    folder: Path
    started: asyncio.Task[None] | None = None
    state: str = COMPUTING
    words: str = "The controls of this page are being prepared."
    results: list[dict[str, Any]] = field(default_factory=list)
    readers: int = 0
    touched: float = field(default_factory=time.monotonic)
    left: float = field(default_factory=lambda: time.monotonic())
    changed: asyncio.Condition = field(default_factory=asyncio.Condition)
    running: asyncio.Task[None] | None = None
    channels: list[Any] = field(default_factory=list)
    paces: tuple[Pace, Pace] = field(default_factory=lambda: (Pace(*_MESSAGES), Pace(*_BYTES)))

    def touch(self) -> None:
        """Note that somebody moved a control."""
        self.touched = time.monotonic()

    async def say(self, state: str, words: str) -> None:
        """Change the state and tell the page."""
        self.state, self.words = state, words
        async with self.changed:
            self.changed.notify_all()


class Sessions:
    """All sessions of a server.

    Parameters
    ----------
    most : int
        No more sessions than this, even where memory would allow more.
    memory_each : int
        What a session may be expected to take. [B]
    caches : iterable of Path
        Folders of compiled code and fonts that kernels may write.
    stderr : int, optional
        Where kernels write what goes wrong; None means the terminal.
    abandoned_s, idle_s : float
        When a session without reader, or without a touch, ends. [s]
    home : Path, optional
        The settings of the one person that all is for; None where there are others.
    """

    def __init__(
        self,
        kernels: PageKernels,
        folder: Path,
        *,
        most: int = MOST_SESSIONS,
        memory_each: int = MEMORY_OF_A_COPY,
        caches: Iterable[Path] = (),
        stderr: int | None = None,
        abandoned_s: float = ABANDONED_S,
        idle_s: float = IDLE_S,
        home: Path | None = None,
    ) -> None:
        self._home = home
        self._kernels = kernels
        self._folder = folder
        self._caches = [str(cache) for cache in caches]
        self.most = most
        # All ten notebooks of one person at home, and never all places.
        self.most_of_a_visitor = max(2, most // 3)
        self._starts = Paces(*_STARTS)
        self._stderr = stderr
        self._memory_each = memory_each
        self._abandoned_s = abandoned_s
        self._idle_s = idle_s
        self._sessions: dict[str, Session] = {}
        self._ending: set[asyncio.Task[None]] = set()
        self._folder_of_all = OwnFolder("pages")
        self._own = self._folder_of_all.path

    def __len__(self) -> int:
        return len(self._sessions)

    def find(self, visitor: str, page: Page) -> Session | None:
        """Return the session of a visitor's page if it still lives."""
        for session in self._sessions.values():
            if session.visitor == visitor and session.page.name == page.name:
                return session
        return None

    def of_kernel(self, visitor: str, kernel_id: str) -> Session | None:
        """Return the session behind a kernel if it is this visitor's own."""
        session = self._sessions.get(kernel_id)
        return session if session is not None and session.visitor == visitor else None

    def open(self, visitor: str, page: Page) -> Session:
        """Return the visitor's session of a page; its kernel starts meanwhile if need be.

        Raises
        ------
        FullHouseError
            If as many sessions run as may, of all or of this visitor, or as fit into memory.
        """
        found = self.find(visitor, page) or self._take_prepared(visitor, page)
        if found is not None:
            found.left = time.monotonic()
            return found
        self._refuse_if_too_many(visitor)
        self._refuse_if_full()
        return self._new(visitor, page)

    def _new(self, visitor: str, page: Page) -> Session:
        own = Path(tempfile.mkdtemp(dir=self._own))
        session = Session(visitor, page, str(uuid.uuid4()), own)
        self._sessions[session.kernel_id] = session
        session.started = asyncio.create_task(self._start(session))
        return session

    async def prepare(self, page: Page) -> None:
        """Run a page that somebody is about to open; whoever comes first gets it.

        Only at home: there, what it is set to is nobody else's.
        """
        assert self._home is not None
        waiting = self._new("", page)
        waiting.readers = 1  # it is not abandoned
        self.run(waiting)
        assert waiting.running is not None
        await self.is_started(waiting)
        await asyncio.wait({waiting.running}, timeout=_PREPARING_S)

    def _take_prepared(self, visitor: str, page: Page) -> Session | None:
        prepared = self.find("", page)
        if prepared is not None:
            prepared.visitor, prepared.readers = visitor, 0
            prepared.touch()
        return prepared

    def _refuse_if_too_many(self, visitor: str) -> None:
        mine = [each for each in self._sessions.values() if each.visitor == visitor]
        if len(mine) >= self.most_of_a_visitor and not self._free_one(mine):
            raise FullHouseError(
                f"You have {len(mine)} pages with live controls open, and others want some "
                "as well. Close one of them, wait a moment and load this page again."
            )
        wait_s = self._starts.of(visitor).refused_s()
        if wait_s:
            raise FullHouseError(
                "You have opened many pages one after the other. Load this page again in "
                f"{math.ceil(wait_s)} seconds."
            )

    def _free_one(self, sessions: Iterable[Session]) -> bool:
        """End the one of some sessions that has been without a reader for longest."""
        now = time.monotonic()
        left = [
            each
            for each in sessions
            if each.readers == 0 and now - each.left > min(GIVES_WAY_S, self._abandoned_s)
        ]
        if not left:
            return False
        oldest = min(left, key=lambda each: each.left)
        # Its place is free at once; its kernel ends meanwhile.
        del self._sessions[oldest.kernel_id]
        task = asyncio.create_task(self.end(oldest, "This page was left."))
        self._ending.add(task)
        task.add_done_callback(self._ending.discard)
        return True

    def _refuse_if_full(self) -> None:
        if len(self) >= self.most and not self._free_one(self._sessions.values()):
            raise FullHouseError(
                f"All {self.most} places for pages with live controls are taken. Try again "
                "in a few minutes; a place is free as soon as somebody closes a page."
            )
        if psutil.virtual_memory().available < MEMORY_LEFT_ALONE + self._memory_each:
            raise FullHouseError(
                "The computer that serves these pages is short of memory. Try again in a few "
                "minutes, or ask whoever runs it to close other programs."
            )

    async def _start(self, session: Session) -> None:
        own = session.folder
        environment = passed_on(os.environ) | {
            # One visitor's choice of units is not another's, nor the host's; but it holds
            # on all pages of that visitor.
            "COREWARD_CONFIG_DIR": str(self._settings_of(session.visitor)),
            "COREWARD_SERVES": "visitor",
            "SCRIPT_NAME": session.page.address,
            "IPYTHONDIR": str(own / "ipython"),
            "TMPDIR": str(own), "TEMP": str(own), "TMP": str(own),
            # Many kernels on few cores: each does one thing at a time.
            "OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1",
        }  # fmt: skip
        await self._kernels.start_kernel(
            kernel_id=session.kernel_id,
            kernel_name="python3",
            path=ApiPath("notebooks"),
            env=environment,
            extra_arguments=["--HistoryManager.enabled=False", "--IPKernelApp.log_level=ERROR"],
            **{name: self._stderr for name in ("stdout", "stderr") if self._stderr is not None},
        )

    def _settings_of(self, visitor: str) -> Path:
        if self._home is not None:
            self._home.mkdir(parents=True, exist_ok=True)
            return self._home
        name = hashlib.sha256(visitor.encode()).hexdigest()[:20]
        folder = self._own / f"settings-{name}"
        folder.mkdir(exist_ok=True)
        return folder

    async def is_started(self, session: Session) -> bool:
        """Wait for a session's kernel; tell whether there is one now."""
        assert session.started is not None
        try:
            await asyncio.shield(session.started)
        except (OSError, RuntimeError, CorewardError):
            return False
        return session.kernel_id in self._kernels

    def run(self, session: Session) -> None:
        """Run the page's cells, once for the life of the session."""
        if session.running is None:
            session.running = asyncio.create_task(self._run(session))

    async def _run(self, session: Session) -> None:
        if not await self.is_started(session):
            await session.say(BROKEN, _DIED)
            return
        cells = [nbformat.v4.new_code_cell(source) for source in session.page.sources]
        fence = self._fence(session)
        client = NotebookClient(
            nbformat.v4.new_notebook(cells=[fence, *cells]),
            km=self._kernels.get_kernel(session.kernel_id),
            timeout=_CELL_TIMEOUT_S,
            # A cell that fails does not stop the others.
            allow_errors=True,
        )
        broken = 0
        try:
            await client.async_start_new_kernel_client()
            await client.async_execute_cell(fence, 0, store_history=False)
            if any(each.output_type == "error" for each in fence.outputs):
                raise RuntimeError("the fence around the kernel could not be put up")
            for number, cell in enumerate(cells, 1):
                await session.say(
                    COMPUTING, f"Computing part {number} of {len(cells)}; the pictures "
                    "below are from the page as it was saved until theirs is done.",
                )  # fmt: skip
                try:
                    await client.async_execute_cell(cell, number, store_history=False)
                except (CellExecutionError, CellTimeoutError) as error:
                    cell.outputs = [_apology(type(error).__name__, "")]
                failures = [each for each in cell.outputs if each.output_type == "error"]
                for each in failures:
                    # The visitor gets a sentence; whoever serves the page gets the reason.
                    _LOG.error(
                        "%s, part %d: %s: %s",
                        session.page.name,
                        number,
                        each.ename,
                        each.evalue,
                    )
                broken += _without_tracebacks(cell)
                session.results.append({"outputs": cell.outputs})
                async with session.changed:
                    session.changed.notify_all()
        except (DeadKernelError, RuntimeError, OSError):
            await session.say(BROKEN, _DIED)
            return
        finally:
            if client.kc is not None:
                client.kc.stop_channels()
        words = (
            "" if not broken else "A part of this page could not be computed; it says where."
        )
        await session.say(READY, words)

    def _fence(self, session: Session) -> nbformat.NotebookNode:
        readable = [str(self._folder / "notebooks"), str(self._folder / "data")]
        own = [session.folder, self._settings_of(session.visitor)]
        writable = [*(str(each) for each in own), *self._caches]
        cell: nbformat.NotebookNode = nbformat.v4.new_code_cell(
            "from coreward.app import guard as _guard\n"
            f"_guard.close({readable!r}, {writable!r})\n"
            "del _guard"
        )
        return cell

    async def end(self, session: Session, words: str) -> None:
        """End a session and tell its page why."""
        self._sessions.pop(session.kernel_id, None)
        for task in (session.started, session.running):
            if task is not None:
                task.cancel()
        await session.say(ENDED, words)
        if session.kernel_id in self._kernels:
            await self._kernels.shutdown_kernel(session.kernel_id, now=True)
        shutil.rmtree(session.folder, ignore_errors=True)

    async def sweep(self) -> None:
        """Look after all sessions for ever: dead kernels, abandoned and idle pages."""
        while True:
            await asyncio.sleep(_SWEEP_S)
            now = time.monotonic()
            for session in list(self._sessions.values()):
                if not await self._has_not_died(session):
                    await self.end(session, _DIED)
                elif session.readers == 0 and now - session.left > self._abandoned_s:
                    await self.end(session, "This page was left.")
                elif now - session.touched > self._idle_s and session.state != COMPUTING:
                    await self.end(
                        session,
                        "Nobody touched this page for a long while, so its place was given "
                        "free. What you see stays; the controls no longer answer.",
                    )

    async def _has_not_died(self, session: Session) -> bool:
        assert session.started is not None
        if not session.started.done():
            return True
        if not await self.is_started(session):
            return False
        kernel: Any = self._kernels.get_kernel(session.kernel_id)
        return bool(await kernel.is_alive())

    async def close(self) -> None:
        """End everything."""
        for session in list(self._sessions.values()):
            await self.end(session, "The server has been stopped.")
        if self._ending:
            await asyncio.wait(self._ending)
        self._folder_of_all.remove()


_DIED: Final = (
    "The program that computes this page has stopped unexpectedly. What you see stays; the "
    "controls no longer answer."
)


def _apology(kind: str, words: str) -> Any:
    """Return the sentence in place of a result; what is internal stays inside."""
    told = kind in {"SystemExit", *_told_errors()}
    sentence = f": {words}" if told else f" ({kind})."
    return nbformat.v4.new_output(
        "stream", name="stdout", text=f"This part could not be computed{sentence}"
    )


def _told_errors() -> set[str]:
    """Return the names of the errors whose words are made for the person."""
    family = [CorewardError]
    for each in family:
        family += each.__subclasses__()
    return {each.__name__ for each in family}


def _without_tracebacks(cell: nbformat.NotebookNode) -> int:
    """Put a sentence where a cell failed; drop warnings. Return how many failed."""
    failed = [each for each in cell.outputs if each.output_type == "error"]
    kept = [
        each
        for each in cell.outputs
        if each.output_type != "error" and each.get("name") != "stderr"
    ]
    cell.outputs = kept + [_apology(each.ename, each.evalue) for each in failed]
    return len(failed)


def sessions_that_fit(
    available: int, memory_each: int = MEMORY_OF_A_COPY, most: int = MOST_SESSIONS
) -> int:
    """Return how many sessions fit into the memory there is, at least one.

    Parameters
    ----------
    available : int
        Memory that could be used now. [B]
    memory_each : int
        What each takes. [B]
    most : int
        The answer is never larger.
    """
    return max(1, min(most, (available - MEMORY_LEFT_ALONE) // memory_each))
