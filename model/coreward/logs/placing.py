"""Where the rows of a log stand in time, if they are taken in the order in which they came.

Loggers repeat rows, deliver them late, and have clocks that are put right while they run.
A row that goes back in time is therefore held until the next ones show what it means: a
repeat, a late row, or a clock that was set back. Nothing is dropped without being listed,
and readings are never changed. Rows that simply run on are taken as they are, all at once.
"""

from __future__ import annotations

import statistics
from bisect import bisect_left
from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from coreward.logs.log import Floats
from coreward.logs.parts import LEFT_OUT, Reading

_JUST_BEGUN = 4  # rows


@dataclass(frozen=True)
class Coming:
    """Rows in the order in which they came."""

    seconds: Floats
    """Their times as written. [s]"""
    numbers: NDArray[np.int64]
    """Line of each, counted over all files."""
    shown: Sequence[str]
    """Their times as the files show them."""
    cells: Callable[[int], tuple[str, ...]]
    """Row to all its cells: rows with the same ones are repeats."""
    readings: Callable[[int], tuple[str, ...]]
    """Row to its cells that tell it from others with its time."""
    begins: Sequence[int] = ()
    """First rows of tables that follow another."""
    new_files: Sequence[int] = ()
    """Those of them that begin a file."""
    replayed: Sequence[int] = ()
    """Those before which rows were left out that an earlier file had."""
    counts_anew: bool = False
    """Whether each file may count its time from another zero."""


@dataclass(frozen=True)
class Placed:
    """What became of them."""

    rows: NDArray[np.int64]
    """Those in the log, in the order of time."""
    seconds: Floats
    """Their times, with the steps of the clock taken out. [s]"""
    retimed: NDArray[np.bool_]
    """Which of them do not stand where they were written."""
    waiting: int
    """Rows held until the next ones show what they mean."""


def place(coming: Coming, is_last: bool, reading: Reading) -> Placed:
    """Place rows in time; what is unknown of it and what was changed goes to the reading.

    Parameters
    ----------
    is_last : bool
        Whether no more rows will come: those held are then decided.
    reading : Reading
        Takes the repairs, and the rows between which an unknown time passed.
    """
    placer = _Placer(coming, reading)
    placer.take_all()
    if is_last:
        placer.release()
    rows = np.array(placer.rows, dtype=np.int64)
    numbers = coming.numbers[rows]
    for at in (at for at, row in enumerate(placer.rows) if row in placer.unknown and at):
        reading.unknown.append((int(numbers[at - 1]), int(numbers[at])))
    seconds = np.array(placer.times)
    retimed = seconds != coming.seconds[rows]
    retimed |= np.isin(rows, list(placer.moved))
    return Placed(rows, seconds, retimed, len(placer.held))


@dataclass
class _Ahead:
    """A step forward that may turn out to be a clock that ran ahead."""

    index: int
    before_s: float
    row: int


class _Placer:
    """Keeps rows in order of time while they come."""

    def __init__(self, coming: Coming, reading: Reading) -> None:
        self.coming = coming
        self.reading = reading
        self.limits = reading.limits
        self.times: list[float] = []
        self.rows: list[int] = []
        self.held: list[int] = []
        self.unknown: set[int] = set()  # rows before which an unknown time passed
        self.moved: set[int] = set()
        self.held_differ = False  # whether one of them is no repeat
        self.shift_s = 0.0
        self.most_steps = int(self.limits["follow_steps"])
        self.steps: deque[float] = deque(maxlen=self.most_steps)
        self.ahead: _Ahead | None = None
        self.is_unknown = False  # of the step before the next row
        self.expects_repeats = False
        self.seen = _repeated(coming)

    def take_all(self) -> None:
        """Take all rows: one by one where something is amiss, else many at once."""
        coming, size = self.coming, self.coming.seconds.size
        step = np.diff(coming.seconds, prepend=-np.inf)
        is_amiss = (step <= 0) | (step > self.limits["gap_shortest"]) | self.seen
        is_amiss[list(coming.begins)] = True
        amiss = np.flatnonzero(is_amiss).tolist()
        row = 0
        while row < size:
            if row in coming.begins:
                self.release()
            if row in coming.new_files:
                self._begin_file(row)
            self._take(row)
            row += 1
            if not self.held and self.rows[-1] == row - 1:
                at = bisect_left(amiss, row)
                row = self._take_many(row, amiss[at] if at < len(amiss) else size)

    def _take_many(self, first: int, end: int) -> int:
        """Append rows that run on; return the next one."""
        run = self.coming.seconds[first:end] + self.shift_s
        if run.size:
            self.steps.extend(np.diff(run, prepend=self.times[-1])[-self.most_steps :])
            self.times.extend(run.tolist())
            self.rows.extend(range(first, end))
        return end

    def _begin_file(self, row: int) -> None:
        self.expects_repeats = bool(self.times)
        if not self.coming.counts_anew or not self.times:
            return
        if row not in self.coming.replayed:
            self._mark_unknown()  # its zero may be another one
        by = self.times[-1] + self.interval_s - self._time(row)
        if self._time(row) <= self.times[-1]:
            self.shift_s += by
            self._list(
                row,
                "new file",
                "a new file counts its time anew; how much time passed between the files is "
                "not known and counts as one interval",
                f"{by:.6g} s later from here on",
            )

    @property
    def interval_s(self) -> float:
        """The usual step of late. [s]."""
        return float(statistics.median(self.steps or [self.limits["gap_shortest"]]))

    @property
    def _gap_limit_s(self) -> float:
        limits = self.limits
        least, most = limits["gap_shortest"], limits["gap_longest"]
        return float(min(max(limits["gap_factor"] * self.interval_s, least), most))

    def _mark_unknown(self) -> None:
        """Say that how much time passes before the next row is not known."""
        self.is_unknown = bool(self.times)

    def _time(self, row: int) -> float:
        return float(self.coming.seconds[row]) + self.shift_s

    # -- one row ---------------------------------------------------------------------

    def _take(self, row: int) -> None:
        if not self.times:
            self._append(row)
            return
        step = self._time(row) - self.times[-1]
        if step == 0.0 and self._repeats(row):
            self._leave_out(row)
        elif self.seen[row] and not self._goes_on(row):
            self._hold(row)
        else:
            if self.held and self._time(row) <= self._time(self.held[-1]):
                self.release()  # the run is broken
            self._take_new(row, step)

    def _take_new(self, row: int, step: float) -> None:
        if step > self.limits["duration_limit"]:
            self._hold(row)
        elif step > 0 and self._shows_clock_set(row, step):
            self.held.append(row)
            self._set_clock()
        elif step > 0:
            self.release()
            self._append(row)
        elif self._is_ahead(row):
            self._pull_back(row)
            self._take(row)
        elif self._fills_hole(row):
            self.release()
            self._insert(row)
        elif self.expects_repeats and self._repeats(row):
            self._leave_out(row)
        else:
            self._hold(row)

    def _since(self, row: int, other: int) -> float:
        return float(self.coming.seconds[row] - self.coming.seconds[other])

    def _is_next(self, since_s: float) -> bool:
        return 0.0 < since_s <= self.limits["follow_hole"] * self.interval_s

    def _goes_on(self, row: int) -> bool:
        """Tell whether a line that came before is new all the same: its time just goes on."""
        if self.held and not self.held_differ:
            return False  # one more of a run of repeats
        return self._is_next(self._since(row, row - 1))

    def _shows_clock_set(self, row: int, step: float) -> bool:
        """Tell whether a row goes on from those held rather than from those placed."""
        if not self.held or not self.held_differ:
            return False
        usual = self.interval_s
        miss = abs(self._since(row, self.held[-1]) - usual)
        return miss < min(abs(step - usual), 0.5 * usual)

    def _append(self, row: int) -> None:
        time_s = self._time(row)
        if self.times:
            step = time_s - self.times[-1]
            self.steps.append(step)
            if step > self._gap_limit_s:
                self.ahead = _Ahead(len(self.times), self.times[-1], row)
        self.expects_repeats = False
        if self.is_unknown:
            self.unknown.add(row)
            self.is_unknown = False
        self.times.append(time_s)
        self.rows.append(row)

    def _insert(self, row: int) -> None:
        time_s = self._time(row)
        at = bisect_left(self.times, time_s)
        if at < len(self.rows) and self.rows[at] in self.unknown:
            self.unknown.add(row)  # where in the unknown time it lies is not known
        room = self.limits["follow_hole"] * self.interval_s
        if at and (
            self.times[at] - self.times[at - 1] <= room
            or min(time_s - self.times[at - 1], self.times[at] - time_s) > room
        ):  # no hole that it fills: the clock may have been set
            self.unknown.update((row, self.rows[at]))
        self.times.insert(at, time_s)
        self.rows.insert(at, row)
        if self.ahead is not None and at <= self.ahead.index:
            self.ahead = None
        self.moved.add(row)
        self._list(row, "order", "it comes after a later time", "moved to its place in time")

    def _index_of(self, time_s: float) -> int | None:
        at = bisect_left(self.times, time_s)
        return at if at < len(self.times) and self.times[at] == time_s else None

    def _repeats(self, row: int) -> bool:
        """Tell whether the log has a row with this time and these readings."""
        if self.seen[row]:
            return True
        at = self._index_of(self._time(row))
        readings = self.coming.readings
        return at is not None and readings(self.rows[at]) == readings(row)

    def _fills_hole(self, row: int) -> bool:
        time_s = self._time(row)
        at = bisect_left(self.times, time_s)
        if at < len(self.times) and self.times[at] == time_s:
            return False
        room = self.limits["follow_hole"] * self.interval_s
        if at == 0:  # before the first row: only where the log has just begun
            return len(self.times) < _JUST_BEGUN and self.times[0] - time_s <= room
        before, after = time_s - self.times[at - 1], self.times[at] - time_s
        # What comes late begins or ends where the hole does; a clock that was set does not.
        return before + after > room and min(before, after) <= room

    def _leave_out(self, row: int) -> None:
        self._list(row, "duplicate", "the row is there already")

    def _list(self, row: int, kind: str, reason: str, became: str = LEFT_OUT) -> None:
        number, shown = int(self.coming.numbers[row]), self.coming.shown[row][:60]
        self.reading.record(number, kind, shown, became, reason)

    # -- a clock that ran ahead --------------------------------------------------------

    def _is_ahead(self, row: int) -> bool:
        """Tell whether the rows after the last gap must have been written before this one.

        They are if just as many intervals have passed since the gap as there are rows.
        """
        ahead, time_s = self.ahead, self._time(row)
        if ahead is None or not ahead.before_s < time_s < self.times[ahead.index]:
            return False
        count = len(self.times) - ahead.index
        miss = time_s - ahead.before_s - (count + 1) * self.interval_s
        room = (0.5 + self.limits["follow_ahead_share"] * count) * self.interval_s
        return abs(miss) <= room

    def _pull_back(self, row: int) -> None:
        ahead = self.ahead
        assert ahead is not None
        times, first = self.times, ahead.index
        count = len(times) - first
        span = self._time(row) - ahead.before_s
        by = times[first] - ahead.before_s - min(self.interval_s, span / (count + 1))
        spread = times[-1] - times[first]
        room = span - (times[first] - by - ahead.before_s)
        squeeze = 1.0 if spread < room else count / (count + 1) * room / spread
        start = times[first]
        times[first:] = [start - by + squeeze * (one - start) for one in times[first:]]
        self.unknown.add(self.rows[first])  # it may as well have been a pause
        self.ahead = None
        # The step of the clock is no step of the log.
        most = self._gap_limit_s
        usual = [step for step in self.steps if step <= most]
        self.steps = deque(usual, maxlen=self.most_steps)
        self.reading.record(
            int(self.coming.numbers[ahead.row]),
            "clock step",
            f"{by:.6g} s ahead",
            f"{by:.6g} s earlier",
            "the clock ran ahead and was put right; as many rows as intervals lie between",
            last=int(self.coming.numbers[row]) - 1,
        )

    # -- rows that wait ------------------------------------------------------------------

    def _hold(self, row: int) -> None:
        repeats = self._repeats(row)
        is_other = self.held and not self.held_differ and not repeats
        # After a run of repeats: the same run goes on only if the times do.
        if is_other and not self._is_next(self._since(row, self.held[-1])):
            self.release()
        self.held.append(row)
        self.held_differ = self.held_differ or not repeats
        if len(self.held) >= self.limits["clock_set_back_rows"] and self.held_differ:
            self._set_clock()

    def _set_clock(self) -> None:
        """Take the rows held for what they are: the next rows, under a clock that was set."""
        held, self.held, self.held_differ = self.held, [], False
        by = self.times[-1] + self.interval_s - self._time(held[0])
        self.shift_s += by
        self._list(
            held[0],
            "clock step",
            f"the clock was set {'back' if by > 0 else 'far forward'}; how much time "
            "passed meanwhile is not known and counts as one interval",
            f"{abs(by):.6g} s {'later' if by > 0 else 'earlier'} from here on",
        )
        self._mark_unknown()
        for row in held:
            self.seen[row] = False
            self._take(row)

    def release(self) -> None:
        """Decide about rows held that were too few for a clock that was set."""
        held, self.held, self.held_differ = self.held, [], False
        for row in held:
            time_s = self._time(row)
            at = self._index_of(time_s)
            if self._repeats(row):
                self._leave_out(row)
            elif at is None and self.times[0] < time_s < self.times[-1]:
                self._insert(row)
            elif at is None:
                self._list(row, "out of place", "its time lies far from those around it")
            else:  # a clock set back by so little that its rows meet others
                if at + 1 < len(self.rows):
                    self.unknown.add(self.rows[at + 1])
                else:
                    self._mark_unknown()
                self._list(
                    row,
                    "out of place",
                    "a row with this time is there already, with other readings",
                )


def _repeated(coming: Coming) -> NDArray[np.bool_]:
    """Mark the rows that came before, word for word."""
    found = np.zeros(coming.seconds.size, dtype=bool)
    if len(coming.begins) or np.any(np.diff(coming.seconds) <= 0):
        known: set[tuple[str, ...]] = set()
        for row in range(found.size):
            cells = coming.cells(row)
            found[row] = cells in known
            known.add(cells)
    return found
