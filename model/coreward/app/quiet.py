"""Keep the terminal of a server readable, whatever visitors do.

Each kind of line comes at most once a minute, and then says how many like it there were; a
line is short, in printable letters, and holds the place of an error instead of the way to it.
"""

from __future__ import annotations

import logging
import time
import traceback
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Final, TextIO

EVERY_S: Final = 60.0
"""How often a kind of line comes. [s]"""
MOST_LINES: Final = 20
"""How many lines of all kinds come in that time."""
LONGEST: Final = 300
"""Letters of a line."""


class QuietHandler(logging.StreamHandler[TextIO]):
    """Write each kind of line at most once a minute.

    Parameters
    ----------
    stream : text stream, optional
        Where to; None means standard error.
    """

    def __init__(
        self, stream: TextIO | None = None, clock: Callable[[], float] = time.monotonic
    ) -> None:
        super().__init__(stream)
        self._clock = clock
        # The place in a program that speaks: there are only so many.
        self._last: dict[tuple[str, int, str], float] = {}
        self._kept_back: dict[tuple[str, int, str], int] = {}
        self._begun, self._lines = clock(), 0

    def emit(self, record: logging.LogRecord) -> None:
        """Write a line, or count it."""
        kind = (record.pathname, record.lineno, _name_of(record))
        now = self._clock()
        if now - self._begun >= EVERY_S:
            self._begun, self._lines = now, 0
        too_soon = now - self._last.get(kind, now - EVERY_S) < EVERY_S
        if too_soon or self._lines >= MOST_LINES:
            self._kept_back[kind] = self._kept_back.get(kind, 0) + 1
            return
        self._last[kind] = now
        self._lines += 1
        super().emit(record)

    def format(self, record: logging.LogRecord) -> str:
        """Return the line."""
        try:
            words = record.getMessage()
        except (TypeError, ValueError):
            words = str(record.msg)
        words = words.partition("\n")[0]
        if record.exc_info and record.exc_info[1] is not None:
            words += f": {_name_of(record)}: {record.exc_info[1]}"
            if steps := traceback.extract_tb(record.exc_info[2], limit=-1):
                words += f" ({steps[0].filename}, line {steps[0].lineno})"
        # A letter that moves the cursor would let a visitor write anywhere on the terminal.
        words = "".join(letter if letter.isprintable() else "?" for letter in words[:LONGEST])
        kept_back = self._kept_back.pop((record.pathname, record.lineno, _name_of(record)), 0)
        more = f" (and {kept_back} more like it)" if kept_back else ""
        return f"{time.strftime('%H:%M')} {words}{more}"


def _name_of(record: logging.LogRecord) -> str:
    return record.exc_info[0].__name__ if record.exc_info and record.exc_info[0] else ""


@contextmanager
def quiet_terminal(stream: TextIO | None = None) -> Iterator[None]:
    """Let all that a server logs go through one `QuietHandler` while it runs.

    Parameters
    ----------
    stream : text stream, optional
        Where to; None means standard error.
    """
    handler = QuietHandler(stream)
    # What visitors do wrong is told to them, not to the terminal.
    handler.setLevel(logging.ERROR)
    root = logging.getLogger()
    before, root.handlers = root.handlers, [handler]
    # A handler of its own would write beside this one.
    own = [logging.getLogger(name) for name in ("tornado", "traitlets", "asyncio")]
    kept = [(each, each.handlers, each.propagate) for each in own]
    for each in own:
        each.handlers, each.propagate = [], True
    logging.captureWarnings(True)
    try:
        yield
    finally:
        logging.captureWarnings(False)
        root.handlers = before
        for each, handlers, propagates in kept:
            each.handlers, each.propagate = handlers, propagates
