"""Follow a log that is still being written: it is read again whole when its file changed.

Each reading goes the way of every other log and gives a new `ProbeLog`; a last line that is
half written waits. A file that is cut, renamed or replaced goes on with the one before, and
every line is accounted for. A day at 15 s is read in a twentieth of a second; whoever polls
rests nine times as long as the last reading took (`LogFollower.rest_s`).
"""

from __future__ import annotations

import math
import os
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import BinaryIO, Unpack

import numpy as np

from coreward import tables
from coreward.errors import InputError
from coreward.logs.followed import Accounting, account_of
from coreward.logs.joining import (
    FileRead,
    Joined,
    Part,
    joined,
    not_understood,
    raw_of,
    read_file,
    without_replays,
)
from coreward.logs.log import Floats, ProbeLog
from coreward.logs.parts import LogReadError, Reading
from coreward.logs.placing import Coming, place
from coreward.logs.read import Rows, Stating, checked, log_of, running_on, zone_for
from coreward.logs.rows import spread_minutes
from coreward.logs.text import read_bytes, whole_lines

_KEEPS_OPEN = os.name == "posix"
"""Whether a file may be renamed and deleted while it is open here.

Where it may, it stays open, and what was written to it before it was renamed is still
read. Where it may not, keeping it open would hinder the logger.
"""
_REST = 9.0
"""Rest after a reading, in times of what it took: a tenth of all time is spent reading."""


class LogFollower:
    """Reads a growing log, again and again.

    Half-written lines wait for their end. Repeated rows, rows that come late, a clock that
    is set back, runs ahead or changes to summer time, and a file that is truncated,
    renamed, copied or replaced are recognised, listed as repairs and accounted for.

    What no reader can know is not claimed. Lines that were truncated away between two
    polls are lost. A clock that jumps forward and never comes back is a gap; one set back
    by less than an interval is a short step. Where a clock was set, or elapsed times began
    anew, the time that passed meanwhile counts as one interval. A block of rows that
    repeats time and readings exactly counts as a repeat.

    Parameters
    ----------
    **stated
        As for `read_log`: ``units``, ``columns``, ``start_date``, ``zone``, ``accept_jumps``.

    Attributes
    ----------
    log : ProbeLog or None
        All rows so far; None before there are two. Its row numbers count the lines seen,
        over all files.
    is_there : bool
        True if the file was there at the last poll.
    rest_s : float
        How long to rest before the next poll, so that no more than a tenth of the time is
        spent reading. [s]

    Raises
    ------
    InputError
        If an argument is not one of those listed.
    """

    def __init__(self, path: str | Path, **stated: Unpack[Stating]) -> None:
        self._stated = checked(**stated)
        self._path = Path(path)
        self._limits = tables.load("log_reading")
        self._stream: BinaryIO | None = None
        self._stamp: tuple[int, ...] = ()
        self._files: list[FileRead] = []  # that are no more
        self._seen: set[int] = set()  # marks of their rows
        self._data = b""  # of the file at hand
        self._taken: bytes | None = None  # of it, what the last reading took
        self._problem: LogReadError | None = None
        self._is_finished = False
        self.log: ProbeLog | None = None
        self._account = Accounting()
        self.is_there = False
        self.rest_s = 0.0

    def poll(self) -> ProbeLog | None:
        """Read the file if it has changed.

        Returns
        -------
        ProbeLog or None
            The new log; None if no line came to it, or it has no two rows yet.

        Raises
        ------
        LogReadError
            If the log cannot be understood, for example because its unit is not stated. Its
            lines stay waiting.
        """
        if self._is_finished:
            raise InputError("This log was finished; make a new LogFollower to go on.")
        began = time.monotonic()
        self._load()
        log = self._read(whole_lines(self._data), False)
        self.rest_s = _REST * (time.monotonic() - began)
        return log

    def finish(self) -> ProbeLog | None:
        """Say that no more will come: the last line is taken, rows held back are decided.

        Raises
        ------
        LogReadError
            As `poll` does.
        """
        if self._is_finished:
            return None
        self._load()
        self._is_finished = True
        self.close()
        self._taken = None
        return self._read(self._data, True)

    def close(self) -> None:
        """Let go of the file."""
        if self._stream is not None:
            self._stream.close()
            self._stream = None

    def __del__(self) -> None:
        if hasattr(self, "_stream"):
            self.close()

    # -- the file ------------------------------------------------------------------------

    def _reading(self) -> Reading:
        before = sum(file.lines for file in self._files)
        name = self._path.name or str(self._path)
        return Reading(name, self._limits, is_growing=True, lines_before=before)

    def _load(self) -> None:
        """Take the bytes of the file if it has changed, and end the one before."""
        reading = self._reading()
        try:
            if self._path.is_dir():
                reading.fail("This is a folder, not a file.", "Give the path of the log in it.")
            state = self._path.stat()
        except (FileNotFoundError, NotADirectoryError):
            self.is_there = False
            self._load_rest(reading)
            return
        except (OSError, ValueError) as error:
            reading.fail(f"It cannot be opened ({error}).", "Check the path.")
        if self._stamp == _stamp(state):
            return
        try:
            stream = self._path.open("rb")
            state = os.fstat(stream.fileno())
            if self._stamp[:2] != _stamp(state)[:2]:
                self._load_rest(reading)
            self.close()
            self._stream = stream
            data = read_bytes(stream, reading)
        except PermissionError:
            self.is_there = False  # the logger may hold it for a moment
            return
        except OSError as error:
            reading.fail(
                f"It cannot be read ({error.strerror or error}).",
                "Check the file and its disk.",
            )
        if not _KEEPS_OPEN:
            self.close()
        self.is_there = True
        self._stamp = _stamp(state)
        self._take(data)

    def _load_rest(self, reading: Reading) -> None:
        """Take what was written to a file that was renamed or deleted."""
        if self._stream is not None:
            self._stream.seek(0)
            self._take(read_bytes(self._stream, reading))

    def _take(self, data: bytes) -> None:
        if not data.startswith(whole_lines(self._data)):
            self._end_file()
        self._data = data

    def _end_file(self) -> None:
        """Keep the rows of a file that is no more."""
        whole = whole_lines(self._data)
        try:
            file = read_file(whole, self._stated, self._reading(), self._parts())
            without_replays(file, self._seen)
        except LogReadError:
            file = not_understood(whole, self._reading(), True)
        if rest := self._data[len(whole) :]:
            text = " ".join(rest.replace(b"\0", b"").decode("utf-8", "replace").split())
            number, reason = file.lines + 1, "the file ends within the row"
            file.reading.leave_out(number, "half-written", text, reason)
            file.text, file.data = f"{file.text}{text}\n", file.data + rest
        for part in file.parts:
            self._seen.update(part.marks())
        self._files.append(file)
        self._data, self._taken = b"", None

    def _parts(self) -> list[Part]:
        return [part for file in self._files for part in file.parts]

    # -- the log -------------------------------------------------------------------------

    @property
    def accounting(self) -> Accounting:
        """What became of every line seen."""
        account = self._account
        if self._is_finished or len(whole_lines(self._data)) == len(self._data):
            return account
        return replace(account, lines=account.lines + 1, waiting=account.waiting + 1)

    def _read(self, data: bytes, is_last: bool) -> ProbeLog | None:
        """Read all rows, unless they are those of the last time."""
        if data == self._taken:
            if self._problem is not None:
                raise self._problem
            return None
        self._taken, self._problem = data, None
        files = list(self._files)
        try:
            if data:
                files.append(read_file(data, self._stated, self._reading(), self._parts()))
                without_replays(files[-1], self._seen)
            log = self._log_of(files, is_last)
        except LogReadError as error:
            # Before there are rows enough, only a question about a column that is there is
            # worth asking; the header itself may still be to come.
            asked = error.question is not None and error.question.column != ""
            few = 1 if is_last else self._limits["follow_examples"]
            unread = not_understood(data, self._reading(), is_last)
            self._account = account_of([*self._files, unread])
            if asked or unread.lines - unread.notes > few:
                self._problem = error
                raise
            log = self._log_of([*self._files, unread], is_last) if self._files else None
            if (
                log is not None
                and self.log is not None
                and log.duration_s == self.log.duration_s
            ):
                return None
        self.log = log or self.log
        return log

    def _log_of(self, files: list[FileRead], is_last: bool) -> ProbeLog | None:
        """Return the log of all rows, and account for them."""
        reading = Reading(self._path.name or str(self._path), self._limits)
        if sum(file.lines for file in files) > self._limits["row_limit"]:
            reading.fail(
                f"More than {self._limits['row_limit']:,.0f} lines were seen.",
                "Thin the log, or begin a new one.",
            )
        for file in files:
            reading.gather(file.reading)
            for part in file.parts:
                reading.gather(part.reading)
        parts = [part for file in files for part in file.parts if part.kept.size]
        if sum(part.kept.size for part in parts) < 2:
            if is_last:
                reading = self._reading()
                files = [not_understood(one.data, reading, True) for one in files]
            self._account = account_of(files)
            return None
        stated = self._stated
        zone = zone_for(stated, reading)
        table = joined(parts)
        form = table.plan.form
        seconds, half_s = running_on(
            table.seconds, table.numbers, table.texts, form, stated.date, zone, reading
        )
        every = np.arange(seconds.size)
        if form.whole_minutes:
            seconds = spread_minutes(seconds, table.numbers, table.table, every, reading)
        placed = place(_coming(table, seconds), is_last, reading)
        kept = placed.rows
        numbers = table.numbers[kept]
        rows = Rows(table.table, table.plan, table.texts, kept, placed.seconds, numbers, half_s)
        raw, times = raw_of(files), (numbers, placed.seconds)
        log = log_of(rows, times, raw, stated, zone, reading, may_grow=not is_last)
        self._account = account_of(files, reading, numbers, placed)
        return log


def _coming(rows: Joined, seconds: Floats) -> Coming:
    """Return joined rows as they are placed in time."""
    plan, cells, texts = rows.plan, rows.table.rows, rows.texts
    probes = [column.index for column in plan.columns]
    others = [column.index for column in plan.unused]

    def of(row: int, places: list[int]) -> tuple[str, ...]:
        found = cells[row]
        return tuple(found[at] if at < len(found) else "" for at in places)

    return Coming(
        seconds,
        rows.numbers,
        texts,
        lambda row: (texts[row], *of(row, probes), *of(row, others)),
        lambda row: of(row, probes),
        rows.begins,
        rows.new_files,
        rows.replayed,
        plan.form.kind == "elapsed",
    )


def _stamp(state: os.stat_result) -> tuple[int, ...]:
    return (state.st_dev, state.st_ino, state.st_size, state.st_mtime_ns)


def follow_log(
    path: str | Path,
    *,
    every_s: float = 1.0,
    apart_s: float = 0.0,
    idle_s: float | None = None,
    stop: Callable[[], bool] | None = None,
    **stated: Unpack[Stating],
) -> Iterator[ProbeLog]:
    """Follow a growing log: yield the log of all rows so far, each time there are more.

    Parameters
    ----------
    path : str or Path
        The file; it need not exist yet.
    every_s : float
        Pause between two looks at the file; longer where reading it takes more than a tenth
        of that. [s]
    apart_s : float
        Least time between two logs; a row that comes sooner is told of when it is over. [s]
    idle_s : float, optional
        End after so long without a new row; by default never. [s]
    stop : callable, optional
        Asked before each look; true ends the following, after one last look.
    **stated
        As for `read_log`: ``units``, ``columns``, ``start_date``, ``zone``, ``accept_jumps``.

    Yields
    ------
    ProbeLog

    Raises
    ------
    LogError
        If the log cannot be understood.
    InputError
        If an argument is not one of those listed.
    """
    if not every_s > 0:
        raise InputError(f"every_s is {every_s!r}; give a positive number of seconds.")
    follower = LogFollower(path, **stated)
    last_new, last_told = time.monotonic(), -math.inf
    waiting = told = None
    while stop is None or not stop():
        log = follower.poll()
        now = time.monotonic()
        if log is not None:
            last_new, waiting = now, log
        elif idle_s is not None and now - last_new >= idle_s:
            break
        if waiting is not None and now - last_told >= apart_s:
            told, waiting, last_told = waiting, None, now
            yield told
        time.sleep(max(every_s, follower.rest_s))
    log = follower.finish() or waiting
    if log is not None and (told is None or log.time_s.size != told.time_s.size):
        yield log


def read_in_order(path: str | Path, **stated: Unpack[Stating]) -> ProbeLog:
    """Read a finished file as following it would have: its rows in the order they came.

    `read_log` goes by the times and refuses a file whose clock was set back; here the
    order of the rows counts, and each step of the clock is taken out and listed. Two logs
    in one file would be joined, so do not use it where that may be.

    Parameters
    ----------
    path : str or Path
        A file of text or of JSON lines.
    **stated
        As for `read_log`: ``units``, ``columns``, ``start_date``, ``zone``, ``accept_jumps``.

    Raises
    ------
    LogError
        If the file cannot be read or does not settle what its columns mean.
    InputError
        If an argument is not one of those listed.
    """
    follower = LogFollower(path, **stated)
    log = follower.finish()
    name = Path(path).name
    if not follower.is_there:
        raise LogReadError(name, "There is no such file.", "Check the path and the spelling.")
    if log is None:
        raise LogReadError(name, "Fewer than two rows can be used.", "Export the log again.")
    return log
