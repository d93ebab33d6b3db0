"""Where the rows of a growing log stand in time, one row after the other.

Loggers repeat rows, deliver them late, and have clocks that are put right while they
run. A row that goes back in time is therefore held until the next ones show what it
means: a repeat, a late row, or a clock that was set back. Nothing is dropped without
being listed, and readings are never changed.
"""

from __future__ import annotations

import statistics
from array import array
from bisect import bisect_left
from collections import deque
from dataclasses import dataclass, field

import numpy as np

from coreward import tables
from coreward.logs.log import Floats, Repair

_JUST_BEGUN = 4  # rows


@dataclass
class Row:
    """One row on its way into the log.

    Attributes
    ----------
    line : int
        Line it stands on, counted from 1 over all lines seen.
    written_s : float
        Its time as written. [s]
    shown : str
        Its time as the file shows it.
    values : list of float
        Readings; NaN where there is none. [°C]
    is_repaired : bool
        True if anything about it is not as written.
    is_seen : bool
        True if the very same line came before.
    shift_s : float
        What the clock was found to be wrong by. [s]
    """

    line: int
    written_s: float
    shown: str
    values: list[float]
    is_repaired: bool = False
    is_seen: bool = False
    shift_s: float = 0.0

    @property
    def time_s(self) -> float:
        """Its time with the steps of the clock taken out. [s]."""
        return self.written_s + self.shift_s


@dataclass
class Placed:
    """What became of the rows handed in.

    Attributes
    ----------
    used : list of Row
        Rows now in the log, in the order they came.
    duplicates, refused : list of Row
        Rows left out.
    repairs : list of Repair
        What was listed for them.
    moved : bool
        True if rows that had been placed before now stand elsewhere.
    retimed : int
        Rows placed before, as written, whose time has changed now.
    """

    used: list[Row] = field(default_factory=list)
    duplicates: list[Row] = field(default_factory=list)
    refused: list[Row] = field(default_factory=list)
    repairs: list[Repair] = field(default_factory=list)
    moved: bool = False
    retimed: int = 0


@dataclass
class _Ahead:
    """A step forward that may turn out to be a clock that ran ahead."""

    index: int
    before_s: float
    line: int


class Placer:
    """Keeps times and readings in order of time while rows arrive."""

    def __init__(self, channels: int, limits: tables.ParameterSet) -> None:
        self.times = array("d")
        self.lines = array("q")
        self.columns = [array("d") for _ in range(channels)]
        self._limits = limits
        self._steps: deque[float] = deque(maxlen=int(limits["follow_steps"]))
        self._held: list[Row] = []
        self._held_differ = False  # whether one of them is no repeat
        self._is_repaired = bytearray()  # of each row
        self._written_before = 0.0
        self._ahead: _Ahead | None = None
        self.shift_s = 0.0
        self.repeats_expected = False
        self.unknown: set[int] = set()  # lines before which an unknown time passed
        self.compared: list[bool] = []  # of each column, whether it tells rows apart
        self._is_unknown = False  # of the step before the next row

    @property
    def waiting(self) -> int:
        """Number of rows held until the next ones show what they mean."""
        return len(self._held)

    @property
    def interval_s(self) -> float:
        """The usual step of late. [s]."""
        if not self._steps:
            return self._limits["gap_shortest"]
        return float(statistics.median(self._steps))

    @property
    def gap_limit_s(self) -> float:
        """Longest step that is not a gap. [s]."""
        limits = self._limits
        least, most = limits["gap_shortest"], limits["gap_longest"]
        return float(min(max(limits["gap_factor"] * self.interval_s, least), most))

    @property
    def unknown_spans(self) -> tuple[tuple[float, float], ...]:
        """Neighbouring rows between which an unknown time passed. [s]."""
        if not self.unknown:
            return ()
        start, times, lines = self.times[0], self.times, self.lines
        return tuple(
            (times[i - 1] - start, times[i] - start)
            for i in range(1, len(times))
            if lines[i] in self.unknown
        )

    def mark_unknown(self) -> None:
        """Say that how much time passes before the next row is not known."""
        self._is_unknown = bool(self.times)

    def add_channel(self, tells_apart: bool = True) -> None:
        """Begin another channel; it has no reading in the rows so far."""
        self.compared.append(tells_apart)
        self.columns.append(array("d", [np.nan]) * len(self.times))

    def place(self, row: Row) -> Placed:
        """Take one row in."""
        placed = Placed()
        row.shift_s = self.shift_s
        self._take(row, placed)
        self._written_before = row.written_s
        return placed

    def resolve(self) -> Placed:
        """Decide about the rows held, because no more will come."""
        placed = Placed()
        self._release(placed)
        return placed

    # -- one row ---------------------------------------------------------------------

    def _take(self, row: Row, placed: Placed) -> None:
        times = self.times
        if not times:
            self._append(row, placed)
            return
        step = row.time_s - times[-1]
        if step == 0.0 and self._repeats(row):
            self._leave_out(row, placed)
            return
        if row.is_seen and not self._goes_on(row):
            self._hold(row, placed)
            return
        if self._held and row.time_s <= self._held[-1].time_s:
            self._release(placed)  # the run is broken
        if step > self._limits["duration_limit"]:
            self._hold(row, placed)
        elif step > 0 and self._shows_clock_set(row, step):
            self._held.append(row)
            self._set_clock(placed)
        elif step > 0:
            self._release(placed)
            self._append(row, placed)
        elif self._is_ahead(row):
            self._pull_back(row, placed)
            self._take(row, placed)
        elif self._fills_hole(row):
            self._release(placed)
            self._insert(row, placed)
        elif self.repeats_expected and self._repeats(row):
            self._leave_out(row, placed)
        else:
            self._hold(row, placed)

    def _is_next(self, since_s: float) -> bool:
        return 0.0 < since_s <= self._limits["follow_hole"] * self.interval_s

    def _goes_on(self, row: Row) -> bool:
        """Tell whether a line that came before is new all the same: its time just goes on."""
        if self._held and not self._held_differ:
            return False  # one more of a run of repeats
        return self._is_next(row.written_s - self._written_before)

    def _shows_clock_set(self, row: Row, step: float) -> bool:
        """Tell whether a row goes on from those held rather than from those placed."""
        if not self._held or not self._held_differ:
            return False
        usual = self.interval_s
        miss = abs(row.written_s - self._held[-1].written_s - usual)
        return miss < min(abs(step - usual), 0.5 * usual)

    def _append(self, row: Row, placed: Placed) -> None:
        if self.times:
            step = row.time_s - self.times[-1]
            self._steps.append(step)
            if step > self.gap_limit_s:
                self._ahead = _Ahead(len(self.times), self.times[-1], row.line)
        self.repeats_expected = False
        row.is_repaired = row.is_repaired or row.shift_s != 0.0
        self._is_repaired.append(row.is_repaired)
        if self._is_unknown:
            self.unknown.add(row.line)
            self._is_unknown = False
        self.times.append(row.time_s)
        self.lines.append(row.line)
        for column, value in zip(self.columns, row.values, strict=True):
            column.append(value)
        placed.used.append(row)

    def _insert(self, row: Row, placed: Placed) -> None:
        at = bisect_left(self.times, row.time_s)
        if at < len(self.lines) and self.lines[at] in self.unknown:
            self.unknown.add(row.line)  # where in the unknown time it lies is not known
        room = self._limits["follow_hole"] * self.interval_s
        if at and (
            self.times[at] - self.times[at - 1] <= room
            or min(row.time_s - self.times[at - 1], self.times[at] - row.time_s) > room
        ):  # no hole that it fills: the clock may have been set
            self.unknown.update((row.line, self.lines[at]))
        self.times.insert(at, row.time_s)
        self.lines.insert(at, row.line)
        for column, value in zip(self.columns, row.values, strict=True):
            column.insert(at, value)
        if self._ahead is not None and at <= self._ahead.index:
            self._ahead = None
        row.is_repaired = True
        self._is_repaired.insert(at, True)
        placed.used.append(row)
        placed.moved = True
        placed.repairs.append(
            _repair(row, "order", "moved to its place in time", "it comes after a later time")
        )

    def _index_of(self, time_s: float) -> int | None:
        at = bisect_left(self.times, time_s)
        return at if at < len(self.times) and self.times[at] == time_s else None

    def _repeats(self, row: Row) -> bool:
        """Tell whether the log has a row with this time and these readings."""
        if row.is_seen:
            return True
        at = self._index_of(row.time_s)
        if at is None:
            return False
        return all(
            column[at] == value or (column[at] != column[at] and value != value)
            for column, value, counts in zip(
                self.columns, row.values, self.compared, strict=True
            )
            if counts
        )

    def _fills_hole(self, row: Row) -> bool:
        at = bisect_left(self.times, row.time_s)
        if at < len(self.times) and self.times[at] == row.time_s:
            return False
        room = self._limits["follow_hole"] * self.interval_s
        if at == 0:  # before the first row: only where the log has just begun
            return len(self.times) < _JUST_BEGUN and self.times[0] - row.time_s <= room
        before, after = row.time_s - self.times[at - 1], self.times[at] - row.time_s
        # What comes late begins or ends where the hole does; a clock that was set does not.
        return before + after > room and min(before, after) <= room

    def _leave_out(self, row: Row, placed: Placed) -> None:
        placed.duplicates.append(row)
        reason = "the row is there already"
        placed.repairs.append(_repair(row, "duplicate", "row left out", reason))

    # -- a clock that ran ahead --------------------------------------------------------

    def _is_ahead(self, row: Row) -> bool:
        """Tell whether the rows after the last gap must have been written before this one.

        They are if just as many intervals have passed since the gap as there are rows.
        """
        ahead = self._ahead
        if ahead is None or not ahead.before_s < row.time_s < self.times[ahead.index]:
            return False
        count = len(self.times) - ahead.index
        miss = row.time_s - ahead.before_s - (count + 1) * self.interval_s
        room = (0.5 + self._limits["follow_ahead_share"] * count) * self.interval_s
        return abs(miss) <= room

    def _pull_back(self, row: Row, placed: Placed) -> None:
        ahead = self._ahead
        assert ahead is not None
        times, first = self.times, ahead.index
        count = len(times) - first
        span = row.time_s - ahead.before_s
        by = times[first] - ahead.before_s - min(self.interval_s, span / (count + 1))
        spread = times[-1] - times[first]
        room = span - (times[first] - by - ahead.before_s)
        squeeze = 1.0 if spread < room else count / (count + 1) * room / spread
        start = times[first]
        for i in range(first, len(times)):
            times[i] = start - by + squeeze * (times[i] - start)
            placed.retimed += not self._is_repaired[i]
            self._is_repaired[i] = True
        self.unknown.add(self.lines[first])  # it may as well have been a pause
        self._ahead = None
        if self._steps:  # the step of the clock is no step of the log
            most = self.gap_limit_s
            usual = [step for step in self._steps if step <= most]
            self._steps = deque(usual, maxlen=self._steps.maxlen)
        placed.moved = True
        placed.repairs.append(
            Repair(
                ahead.line,
                "",
                "clock step",
                f"{by:.6g} s ahead",
                f"{by:.6g} s earlier",
                "the clock ran ahead and was put right; as many rows as intervals lie between",
                row.line - 1,
            )
        )

    # -- rows that wait ------------------------------------------------------------------

    def _hold(self, row: Row, placed: Placed) -> None:
        repeats = self._repeats(row)
        is_other = self._held and not self._held_differ and not repeats
        # After a run of repeats: the same run goes on only if the times do.
        if is_other and not self._is_next(row.written_s - self._held[-1].written_s):
            self._release(placed)
        self._held.append(row)
        self._held_differ = self._held_differ or not repeats
        if len(self._held) >= self._limits["clock_set_back_rows"] and self._held_differ:
            self._set_clock(placed)

    def _set_clock(self, placed: Placed) -> None:
        """Take the rows held for what they are: the next rows, under a clock that was set."""
        held, self._held, self._held_differ = self._held, [], False
        by = self.times[-1] + self.interval_s - held[0].time_s
        self.shift_s += by
        placed.repairs.append(
            _repair(
                held[0],
                "clock step",
                f"{abs(by):.6g} s {'later' if by > 0 else 'earlier'} from here on",
                f"the clock was set {'back' if by > 0 else 'far forward'}; how much time "
                "passed meanwhile is not known and counts as one interval",
            )
        )
        self.mark_unknown()
        for row in held:
            row.shift_s, row.is_seen = self.shift_s, False
            self._take(row, placed)

    def _release(self, placed: Placed) -> None:
        """Decide about rows held that were too few for a clock that was set."""
        held, self._held, self._held_differ = self._held, [], False
        for row in held:
            if self._repeats(row):
                self._leave_out(row, placed)
            elif (
                self._index_of(row.time_s) is None
                and self.times[0] < row.time_s < self.times[-1]
            ):
                self._insert(row, placed)
            else:
                placed.refused.append(row)
                at = self._index_of(row.time_s)
                if at is None:
                    reason = "its time lies far from those around it"
                else:  # a clock set back by so little that its rows meet others
                    reason = "a row with this time is there already, with other readings"
                    if at + 1 < len(self.lines):
                        self.unknown.add(self.lines[at + 1])
                    else:
                        self.mark_unknown()
                placed.repairs.append(_repair(row, "out of place", "row left out", reason))

    def arrays(self) -> tuple[Floats, list[Floats]]:
        """Return times and readings as arrays of their own."""
        return np.array(self.times), [np.array(column) for column in self.columns]


def _repair(row: Row, kind: str, became: str, reason: str) -> Repair:
    return Repair(row.line, "", kind, row.shown[:60], became, reason, row.line)
