"""Follow a log that is still being written.

Each poll reads what was added, takes in the lines that are complete, and costs the same
however long the log has grown; only `LogFollower.log`, which makes arrays of all rows,
grows with them. Every line is accounted for.
"""

from __future__ import annotations

import csv
import datetime as dt
import time
from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np

from coreward import tables
from coreward.errors import InputError
from coreward.logs.cells import CellReader, Fault, check_unit_jumps, without_zeros
from coreward.logs.followed import Accounting, NewRows, SeenLines
from coreward.logs.json_rows import flatten, is_json, json_table
from coreward.logs.log import Channel, ProbeLog, Repair, Role
from coreward.logs.long_rows import one_column_per_probe
from coreward.logs.own_format import own_channels
from coreward.logs.parts import (
    HEADER_SEARCH,
    Column,
    LogReadError,
    Reading,
    Table,
    Unit,
    metadata_of,
    time_cell,
    time_cells,
)
from coreward.logs.placing import Placed, Placer, Row
from coreward.logs.read import Plan, checked, never_plugged, plan_for, start_of, zone_for
from coreward.logs.rows import are_short_rows_broken
from coreward.logs.side_columns import Layout, SideColumns
from coreward.logs.summer_time import LocalClock
from coreward.logs.tail import NewFile, Tail
from coreward.logs.text import is_header, split_table
from coreward.logs.time_forms import DAY_S, Undecided, find_form, minus, rows_per_minute
from coreward.logs.workbook import is_workbook
from coreward.units import celsius_to_fahrenheit, fahrenheit_to_celsius

_Run = tuple[tuple[str, str, str], int, int]  # text, kind and reason; first and last line


class LogFollower:
    """Takes in a growing log, line by line.

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
    path : str or Path
        The file; it need not exist yet.
    units, columns, start_date, zone, accept_jumps
        As for `read_log`.

    Raises
    ------
    InputError
        If an argument is not one of those listed.
    """

    def __init__(
        self,
        path: str | Path,
        *,
        units: Unit | None = None,
        columns: Mapping[str, str] | None = None,
        start_date: dt.date | str | None = None,
        zone: str | None = None,
        accept_jumps: bool = False,
    ) -> None:
        self._stated = checked(units, columns, start_date, zone, None, accept_jumps)
        target = Path(path)
        self._limits = tables.load("log_reading")
        self._reading = Reading(target.name or str(target), self._limits)
        self._tail = Tail(target, self._limits)
        self._lines: list[str] = []
        self._is_finished = False
        self._counts = dict.fromkeys(("notes", "used", "repaired", "duplicate", "refused"), 0)
        self._files = 0
        self._problem: LogReadError | None = None
        self._channels: list[tuple[str, Role]] = []
        self._channel_at: list[int] = []  # where each stands in a row
        self._side = SideColumns(self._limits)
        self._placer: Placer | None = None
        self._runs: dict[str, _Run] = {}
        self._row_before = 0
        self._origin: dt.datetime | None = None
        self._kind = ""
        self._first: tuple[str, float] | None = None
        self._is_local = False
        self._zone: ZoneInfo | None = None
        self._clock: LocalClock | None = None
        self._unit_problem: LogReadError | None = None
        self._placed = Placed()  # not given out yet
        self._written_before: float | None = None
        self._day_s = 0.0
        self._seen: set[int] = set()
        self._minute = (0.0, 0)
        self._layouts: dict[tuple[str, tuple[str, ...]], Layout] = {}
        self._begin_file()

    # -- for the caller ----------------------------------------------------------------

    def poll(self) -> NewRows:
        """Take in what was added since the last time.

        Returns
        -------
        NewRows
            Empty if there is nothing new, or no file at the moment.

        Raises
        ------
        LogReadError
            If the log cannot be understood, for example because its unit is not stated.
            Its lines stay waiting; `state` answers its question.
        """
        if self._is_finished:
            raise InputError("This log was finished; make a new LogFollower to go on.")
        self._read()
        self._try_layout(is_last=False)
        return self._new_rows()

    def finish(self) -> NewRows:
        """Say that no more will come: the rest is read, rows held back are decided.

        Raises
        ------
        LogReadError
            As `poll` does.
        """
        if not self._is_finished:
            while self._read():
                pass
            for event in self._tail.finish():
                if not isinstance(event, NewFile):
                    self._unended_line(event.text, is_certain=True)
            self._end_file()
            self._is_finished = True
        return self._new_rows()

    def _read(self) -> bool:
        """Take in one block of what was added; return whether there was anything."""
        events = self._tail.read(self._reading)
        for event in events:
            if isinstance(event, NewFile):
                self._end_file()
                self._begin_file()
                self._files += 1
                self._is_replay = bool(self._seen)
            elif event.is_complete:
                self._line(event.text)
            else:
                self._unended_line(event.text, is_certain=False)
        return bool(events)

    def close(self) -> None:
        """Let go of the file, without deciding about what was held back."""
        self._tail.close()

    def state(
        self,
        *,
        units: Unit | None = None,
        columns: Mapping[str, str] | None = None,
        start_date: dt.date | str | None = None,
        zone: str | None = None,
        accept_jumps: bool | None = None,
    ) -> None:
        """Answer what an error asked for; the lines that wait are then taken in."""
        told = checked(units, columns, start_date, zone, None, bool(accept_jumps))
        old = self._stated
        self._stated = replace(
            old,
            units=told.units or old.units,
            columns={**old.columns, **told.columns},
            date=told.date or old.date,
            zone=told.zone or old.zone,
            accept_jumps=told.accept_jumps or old.accept_jumps,
        )
        self._problem = None
        self._tried = 0
        if told.accept_jumps:
            self._unit_problem = None

    @property
    def is_there(self) -> bool:
        """True if the file was there at the last poll."""
        return self._tail.is_there

    @property
    def raw(self) -> SeenLines:
        """All lines seen, and the bytes they were read from."""
        return SeenLines(self._lines, self._tail.chunks)

    @property
    def accounting(self) -> Accounting:
        """What became of every line seen."""
        held = self._placer.waiting if self._placer else 0
        return Accounting(
            lines=len(self._lines),
            waiting=len(self._waiting) + held,
            files=self._files,
            **self._counts,
        )

    @property
    def log(self) -> ProbeLog | None:
        """The log of all rows so far; None before there are two.

        Its row numbers count the lines seen, over all files.
        """
        placer = self._placer
        if placer is None or len(placer.times) < 2:
            return None
        times, columns = placer.arrays()
        start, clock = self._start()
        extra = Reading(self._reading.file, self._limits)
        numbers = np.array(placer.lines, dtype=np.int64)
        channels = []
        for (name, role), place in zip(self._channels, self._channel_at, strict=True):
            column = Column(place, name, role, "C")
            values = without_zeros(columns[place], column, numbers, extra)
            channels.append(Channel(name, role, values))
        left_out = self._side.left_out(columns)
        if self._is_finished:  # until then it may still be plugged in
            silent = [one for one in channels if not np.any(one.plugged)]
            if any(one.role == "meat" and np.any(one.plugged) for one in channels):
                channels = [one for one in channels if one not in silent]
                left_out += [never_plugged(one.name, one.role) for one in silent]
        return ProbeLog(
            time_s=times - times[0],
            start=start,
            channels=tuple(channels),
            repairs=(*self._reading.repairs, *self._open_runs(), *extra.repairs),
            understood=tuple(self._reading.understood),
            source=self._reading.file,
            warnings=tuple(self._reading.warnings),
            start_clock=clock,
            notes=tuple(self._reading.notes),
            metadata=metadata_of(self._reading.notes),
            raw=self.raw,
            left_out=tuple(left_out),
            unknown_spans=self._side.unknown_spans(
                placer, times - times[0], self._kind == "clock"
            ),
        )

    # -- files --------------------------------------------------------------------------

    def _begin_file(self) -> None:
        self._layout: Layout | None = None
        self._waiting: list[int] = []  # numbers of lines that wait for the layout
        self._tried = 0
        self._is_replay = False
        self._has_replayed = False
        self._is_new = True
        self._problem = None

    def _end_file(self) -> None:
        """Decide what can still be decided of a file that is no more."""
        self._try_layout(is_last=True)
        if self._layout is None and self._waiting:
            waiting, self._waiting = self._waiting, []
            for number in waiting:
                text = self._lines[number - 1]
                if text.strip():
                    self._refuse(
                        number,
                        "not a table row",
                        text,
                        "the file ended before it was understood",
                    )
                else:
                    self._counts["notes"] += 1
        if self._placer is not None:
            self._count(self._placer.resolve())

    def _line(self, text: str) -> None:
        self._lines.append(text)
        if len(self._lines) > self._limits["row_limit"]:
            self._reading.fail(
                f"More than {self._limits['row_limit']:,.0f} lines were seen.",
                "Thin the log, or begin a new one.",
            )
        self._files = max(self._files, 1)
        self._take_in(len(self._lines), text)

    def _take_in(self, number: int, text: str) -> None:
        if self._layout is None:
            self._waiting.append(number)
        else:
            self._row(number, text)

    def _unended_line(self, text: str, is_certain: bool) -> None:
        """Take in a line whose end was never written: a row only if no cell is missing.

        Where the file was cut off, the last cell may be cut off too, and is no reading.
        """
        layout = self._layout
        cells = self._cells(text, layout) if layout is not None else None
        if layout is not None and cells is not None and len(cells) >= len(layout.header):
            if is_certain or not layout.delimiter:
                self._line(text)
                return
            last = len(layout.header) - 1
            if last not in layout.plan.time_columns and len(cells) == last + 1:
                self._lines.append(text)
                self._row(len(self._lines), text, cut_off=last)
                return
        self._lines.append(text)
        self._files = max(self._files, 1)
        reason = "the file ends within the row"
        self._refuse(len(self._lines), "half-written", text, reason)

    # -- understanding a file ------------------------------------------------------------

    def _try_layout(self, is_last: bool) -> None:
        """Find out how the file is read, once it has rows enough to tell."""
        enough = int(self._limits["follow_examples"])
        most = HEADER_SEARCH + 20 * enough
        waiting = self._waiting[:most]
        if self._layout is not None or (len(waiting) == self._tried and not is_last):
            return
        self._tried = len(waiting)
        lines = [self._lines[number - 1] for number in waiting]
        filled = sum(1 for text in lines if text.strip() and not text.lstrip().startswith("#"))
        if filled < 2:
            return
        reading = Reading(self._reading.file, self._limits)
        try:
            found = self._understand(lines, reading, may_wait=not is_last and filled < most)
        except LogReadError as error:
            # Before there are rows enough, only a question about a column that is there
            # is worth asking; the header itself may still be to come.
            is_sure = error.question is not None and error.question.column != ""
            self._problem = error if is_last or is_sure or filled > enough else None
            return
        if found is None:
            return
        self._problem = None
        self._layout, header_row = found
        self._reading.understood.extend(
            one for one in reading.understood if one not in self._reading.understood
        )
        numbers, self._waiting = self._waiting, []
        for place, number in enumerate(numbers, start=1):
            text = self._lines[number - 1]
            if place < header_row and text.strip() and not text.lstrip().startswith("#"):
                self._reading.notes.append(text.strip())
                self._counts["notes"] += 1
            else:
                self._take_in(number, text)  # which may find another header

    def _understand(
        self, lines: list[str], reading: Reading, may_wait: bool
    ) -> tuple[Layout, int] | None:
        """Return how a file is read and the row of its header; None: wait for more rows."""
        text = "\n".join(lines) + "\n"
        if is_workbook(text[:8].encode("latin-1", "replace")):
            reading.fail(
                "A workbook cannot be followed.", "Let the logger write CSV or JSON lines."
            )
        table: Table
        if is_json(text):
            if text.lstrip().startswith("["):
                reading.fail(
                    "An array of JSON cannot be followed.",
                    "Let the logger write one object per line.",
                )
            table, _ = json_table(text, reading)
            table, delimiter, header_row = replace(table, header_row=0), "", 0
        else:
            table = split_table(text, self._stated.columns, reading)
            delimiter, header_row = table.delimiter, table.header_row
        if one_column_per_probe(table, self._stated.columns, reading) is not table:
            reading.fail(
                "Each row holds one probe; such a log cannot be followed, nor read in the "
                "order of its rows.",
                "Read it with read_log once it is finished, or let the logger write one row "
                "per time.",
                header_row or None,
            )
        same = self._layouts.get((delimiter, table.header))
        if same is not None:  # as in the file before; a rotated file may begin with any time
            texts = time_cells(table.rows, same.plan.time_columns)
            if any(same.plan.form.seconds(text) is not None for text in texts):
                return same, header_row
        plan, texts = plan_for(table, self._stated, reading)
        per_minute = rows_per_minute(plan.form, texts)
        if per_minute < 0 and may_wait:
            return None
        lead = self._lead(plan, reading)
        form = plan.form
        names = own_channels(reading) if plan.own else {}
        placer = self._placer or Placer(0, self._limits)
        places = []
        for column in plan.columns:
            channel = names.get(column.name, (column.name, column.role))
            if channel not in self._channels:
                self._channels.append(channel)
                self._channel_at.append(len(placer.columns))
                placer.add_channel()
            places.append(self._channel_at[self._channels.index(channel)])
        if self._placer is None:
            self._origin, self._kind = form.origin, form.kind
            self._zone = zone_for(self._stated, reading)
            self._is_local = form.kind != "elapsed" and not form.has_zone
        self._placer = placer
        layout = Layout(
            plan=plan,
            header=list(table.header),
            delimiter=delimiter,
            places=places,
            readers=[CellReader(column, self._limits) for column in plan.columns],
            side=self._side.readers(plan, placer, reading),
            short_rows=not delimiter or not are_short_rows_broken(table),
            per_minute=max(per_minute, 0),
            lead_s=lead,
        )
        self._layouts[delimiter, table.header] = layout
        return layout, header_row

    def _lead(self, plan: Plan, reading: Reading) -> float:
        """Return what to add to the seconds of a new file, to go on from the one before."""
        form = plan.form
        if self._placer is None:
            return 0.0
        if form.kind != self._kind:
            reading.fail(
                "The new file writes its times in another form than the one before.",
                "Follow it as a log of its own.",
            )
        if form.origin is None or self._origin is None:
            return 0.0
        if form.has_zone != (self._origin.tzinfo is not None):
            reading.fail(
                "Of the new file and the one before, one writes its times with a zone and one "
                "without.",
                "Follow it as a log of its own.",
            )
        return (form.origin - self._origin).total_seconds()

    # -- rows -------------------------------------------------------------------------------

    def _cells(self, text: str, layout: Layout) -> list[str] | None:
        """Return the cells of a line; None if it cannot be split into cells."""
        try:
            if layout.delimiter:
                if text.count('"') % 2:
                    return None
                return next(
                    csv.reader([text], delimiter=layout.delimiter, skipinitialspace=True), []
                )
            found = flatten(text)
        except (csv.Error, ValueError):
            return None
        for name in found:
            if name not in layout.header and len(layout.header) < self._limits["column_limit"]:
                layout.header.append(name)
                self._reading.warnings.append(
                    f"A key {name[:40]!r} came up later; it is not used."
                )
        return [found.get(name, "") for name in layout.header]

    def _row(self, number: int, text: str, cut_off: int = -1) -> None:
        layout = self._layout
        assert layout is not None
        stripped = text.strip()
        if not stripped or stripped.startswith("#"):
            if stripped:
                self._reading.notes.append(stripped.lstrip("#").strip())
            self._counts["notes"] += 1
            return
        mark = hash(text)
        if self._is_replay and mark in self._seen:
            self._has_replayed = True
            self._counts["duplicate"] += 1
            self._list(
                Repair(
                    number,
                    "",
                    "duplicate",
                    text[:60],
                    "row left out",
                    "a new file begins with lines of the one before",
                    number,
                )
            )
            return
        cells = self._cells(text, layout)
        if cells is None:
            self._refuse(number, "not a table row", text, "it cannot be split into cells")
            return
        if layout.delimiter and [cell.strip() for cell in cells] == layout.header:
            self._counts["notes"] += 1
            return
        width = len(layout.header)
        if len(cells) > width and any(cell.strip() for cell in cells[width:]):
            self._refuse(number, "too many cells", text, f"the header has {width}")
            return
        if len(cells) < width and not layout.short_rows:
            self._refuse(number, "too few cells", text, f"the header has {width}")
            return
        shown = time_cell(cells, layout.plan.time_columns)
        written = self._written(shown, layout)
        if written is None:
            if is_header(cells, self._stated.columns):
                self._other_header(number)
                return
            reason = "without its time a reading cannot be placed"
            self._refuse(number, "time unreadable", text, reason)
            return
        assert self._placer is not None
        values = [np.nan] * len(self._placer.columns)
        for one in layout.side:
            values[one.place] = one.read(cells)
        faults = []
        for column, place, reader in zip(
            layout.plan.columns, layout.places, layout.readers, strict=True
        ):
            cell = cells[column.index] if column.index < len(cells) else ""
            value, fault = reader.read(cell)
            if column.index == cut_off:
                value, fault = np.nan, Fault("half-written", "the row was never ended")
            if fault is not None:
                if fault.kind == "mixed units":
                    self._refuse(number, "mixed units", cell, fault.reason)
                    return
                if not (layout.plan.own and fault.kind == "no reading"):
                    faults.append((column.name, (cell.strip()[:60], fault.kind, fault.reason)))
            values[place] = value if column.unit == "C" else float(fahrenheit_to_celsius(value))
        self._is_replay = False
        is_seen = mark in self._seen
        self._seen.add(mark)
        for name, fault_key in faults:
            self._missing(name, fault_key, number)
        self._row_before = number
        self._place(Row(number, written, shown, values, bool(faults), is_seen))

    def _other_header(self, number: int) -> None:
        """Begin another table in the same file: its header is the first line that waits."""
        if self._placer is not None:
            self._count(self._placer.resolve())
        self._begin_file()
        self._is_new = False
        self._waiting.append(number)

    def _place(self, row: Row) -> None:
        placer = self._placer
        assert placer is not None
        if self._first is None:
            self._first = (row.shown, row.written_s)
            if self._is_local:
                moment = self._moment(row.written_s)
                self._clock = LocalClock(self._zone, moment, self._limits)
        before, self._written_before = self._written_before, row.written_s
        if before is not None and self._clock is not None:
            self._follow_clock(self._clock, before, row, placer)
        if self._is_new:
            self._is_new = False
            placer.repeats_expected = bool(placer.times)
            if self._kind == "elapsed" and placer.times:
                if not self._has_replayed:
                    placer.mark_unknown()  # its zero may be another one
                time_s = row.written_s + placer.shift_s
                if time_s <= placer.times[-1]:
                    by = placer.times[-1] + placer.interval_s - time_s
                    placer.shift_s += by
                    self._list(
                        Repair(
                            row.line,
                            "",
                            "new file",
                            row.shown[:60],
                            f"{by:.6g} s later from here on",
                            "a new file counts its time anew; how much time passed between "
                            "the files is not known and counts as one interval",
                        )
                    )
        self._count(placer.place(row))

    def _follow_clock(self, clock: LocalClock, before: float, row: Row, placer: Placer) -> None:
        """Take a change of summer time out of the step before a row."""
        step = row.written_s - before
        if 0 <= step < self._limits["clock_change_least"]:
            return
        did_follow = clock.follows
        moments = self._moment(before), self._moment(row.written_s)
        change = clock.change(*moments, before, step, placer.interval_s)
        if not clock.is_certain:
            placer.mark_unknown()
        if change is not None:
            placer.shift_s += change.shift_s
            self._list(change.repair("the row before", row.shown[:60], row.line, None))
        if did_follow and not clock.follows:
            self._reading.warnings.append(clock.warning)

    def _count(self, outcome: Placed) -> None:
        for row in outcome.used:
            self._counts["repaired" if row.is_repaired else "used"] += 1
        self._counts["used"] -= outcome.retimed
        self._counts["repaired"] += outcome.retimed
        self._counts["duplicate"] += len(outcome.duplicates)
        self._counts["refused"] += len(outcome.refused)
        for repair in outcome.repairs:
            self._list(repair)
        self._placed.used.extend(outcome.used)
        self._placed.moved = self._placed.moved or outcome.moved

    # -- times ---------------------------------------------------------------------------------

    def _written(self, shown: str, layout: Layout) -> float | None:
        """Return the time of a row on the axis of the log, before any step of the clock."""
        form = layout.plan.form
        value = form.seconds(shown)
        if value is None:
            return None
        if form.unsettled and self._settle(shown, layout):
            value = layout.plan.form.seconds(shown)
            if value is None:
                return None
        value += layout.lead_s
        if form.kind == "clock":
            value = self._past_midnight(value)
        if layout.per_minute > 1:
            value = self._within_minute(value, layout.per_minute)
        return value

    def _past_midnight(self, of_day: float) -> float:
        if self._written_before is None:
            return of_day
        value = of_day + self._day_s
        if value - self._written_before < -DAY_S / 2:
            self._day_s += DAY_S
            value += DAY_S
        elif value - self._written_before > DAY_S / 2 and self._day_s > 0:
            value -= DAY_S  # a row from before midnight that comes late
        return value

    def _within_minute(self, minute: float, usual: int) -> float:
        """Spread the rows that share a minute, as they come."""
        held, count = self._minute
        count = count + 1 if minute == held else 0
        self._minute = (minute, count)
        step = 60.0 / usual
        if count < usual:
            return minute + step * count
        if count + 1 >= 2 * usual and self._placer is not None:
            self._placer.mark_unknown()  # rows written at once, or a clock that stood still
        return minute + 60.0 - step * 0.5 ** (count - usual + 1)

    def _settle(self, shown: str, layout: Layout) -> bool:
        """Look again whether day or month comes first, once a second date is there."""
        first = self._first
        if first is None or shown.split()[:1] == first[0].split()[:1]:
            return False
        try:
            form = find_form("time", [first[0], shown])
        except Undecided:
            return False
        old = layout.plan.form
        if form.origin == old.origin:
            layout.plan = replace(layout.plan, form=replace(old, unsettled=False))
            return False
        # The first date is read anew; within one date the times stay where they are.
        layout.plan = replace(layout.plan, form=form)
        again = form.seconds(first[0])
        layout.lead_s += first[1] - layout.lead_s - (again or 0.0)
        self._origin = None if again is None else minus(form.origin, first[1] - again)
        self._reading.understood.append(f"The dates are {form.sentence}.")
        return True

    def _moment(self, written: float) -> dt.datetime | None:
        start, date = self._origin, self._stated.date
        if start is None and date is not None:
            start = dt.datetime.combine(date, dt.time())
        try:
            return None if start is None else start + dt.timedelta(seconds=written)
        except OverflowError:
            return None

    def _start(self) -> tuple[dt.datetime | None, dt.time | None]:
        placer = self._placer
        assert placer is not None
        if self._kind == "elapsed" or self._first is None:
            return None, None
        first = placer.times[0]
        if self._kind == "clock":
            midnight = dt.datetime.combine(self._stated.date or dt.date(2000, 1, 1), dt.time())
            moment: dt.datetime | None = midnight + dt.timedelta(seconds=first % DAY_S)
        else:
            moment = None if self._origin is None else minus(self._origin, -first)
        return start_of(moment, self._kind, self._stated.date, self._zone)

    # -- what is listed ------------------------------------------------------------------------

    def _list(self, repair: Repair) -> None:
        self._reading.repair(repair)

    def _refuse(self, number: int, kind: str, text: str, reason: str) -> None:
        self._counts["refused"] += 1
        self._list(Repair(number, "", kind, text[:60], "row left out", reason, number))

    def _missing(self, column: str, fault: tuple[str, str, str], number: int) -> None:
        """List a reading that is none; rows that follow each other make one repair."""
        run = self._runs.get(column)
        if run is not None and run[0] == fault and run[2] == self._row_before:
            self._runs[column] = (fault, run[1], number)
            return
        if run is not None:
            self._list(_run_repair(column, run))
        self._runs[column] = (fault, number, number)

    def _open_runs(self) -> tuple[Repair, ...]:
        return tuple(_run_repair(column, run) for column, run in self._runs.items())

    def _check_units(self, rows: int) -> None:
        """Look for a change of unit among the newest rows and those just before them."""
        layout, placer = self._layout, self._placer
        if layout is None or placer is None or layout.plan.own or self._unit_problem:
            return
        window = rows + 2 * int(self._limits["unit_jump_rows"]) + 4
        read = []
        for column, place in zip(layout.plan.columns, layout.places, strict=True):
            values = np.array(placer.columns[place][-window:])
            read.append(
                (column, values if column.unit == "C" else celsius_to_fahrenheit(values))
            )
        reading = Reading(self._reading.file, self._limits)
        numbers = np.array(placer.lines[-window:], dtype=np.int64)
        try:
            check_unit_jumps(read, numbers, self._stated.accept_jumps, reading)
        except LogReadError as error:
            self._unit_problem = error
        for warning in reading.warnings:
            if warning not in self._reading.warnings:
                self._reading.warnings.append(warning)

    def _new_rows(self) -> NewRows:
        """Return what was taken in and not given out; ask what has to be asked first."""
        if self._placed.used:
            self._check_units(len(self._placed.used))
        for problem in (self._problem, self._unit_problem):
            if problem is not None:
                raise problem
        placed, self._placed = self._placed, Placed()
        width = len(self._channels)
        start = self._placer.times[0] if self._placer and self._placer.times else 0.0
        values = [
            [row.values[at] if at < len(row.values) else np.nan for at in self._channel_at]
            for row in placed.used
        ]
        return NewRows(
            np.asarray([row.time_s - start for row in placed.used], dtype=float),
            np.asarray(values, dtype=float).reshape(len(placed.used), width),
            tuple(self._channels),
            placed.moved,
        )


def follow_log(
    path: str | Path,
    *,
    every_s: float = 1.0,
    idle_s: float | None = None,
    stop: Callable[[], bool] | None = None,
    units: Unit | None = None,
    columns: Mapping[str, str] | None = None,
    start_date: dt.date | str | None = None,
    zone: str | None = None,
    accept_jumps: bool = False,
) -> Iterator[ProbeLog]:
    """Follow a growing log: yield the log of all rows so far, each time there are more.

    Parameters
    ----------
    path : str or Path
        The file; it need not exist yet.
    every_s : float
        Pause between two looks at the file. [s]
    idle_s : float, optional
        End after so long without a new row; by default never. [s]
    stop : callable, optional
        Asked before each look; true ends the following, after one last look.
    units, columns, start_date, zone, accept_jumps
        As for `read_log`.

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
    follower = LogFollower(
        path,
        units=units,
        columns=columns,
        start_date=start_date,
        zone=zone,
        accept_jumps=accept_jumps,
    )
    last_new = time.monotonic()
    while stop is None or not stop():
        rows = follower.poll()
        if len(rows) or rows.moved:
            last_new = time.monotonic()
            log = follower.log
            if log is not None:
                yield log
        elif idle_s is not None and time.monotonic() - last_new >= idle_s:
            break
        time.sleep(every_s)
    rows = follower.finish()
    log = follower.log
    if log is not None and (len(rows) or rows.moved):
        yield log


def read_in_order(
    path: str | Path,
    *,
    units: Unit | None = None,
    columns: Mapping[str, str] | None = None,
    start_date: dt.date | str | None = None,
    zone: str | None = None,
    accept_jumps: bool = False,
) -> ProbeLog:
    """Read a finished file as following it would have: its rows in the order they came.

    `read_log` goes by the times and refuses a file whose clock was set back; here the
    order of the rows counts, and each step of the clock is taken out and listed. Two logs
    in one file would be joined, so do not use it where that may be.

    Parameters
    ----------
    path : str or Path
        A file of text or of JSON lines.
    units, columns, start_date, zone, accept_jumps
        As for `read_log`.

    Returns
    -------
    ProbeLog

    Raises
    ------
    LogError
        If the file cannot be read or does not settle what its columns mean.
    InputError
        If an argument is not one of those listed.
    """
    follower = LogFollower(
        path,
        units=units,
        columns=columns,
        start_date=start_date,
        zone=zone,
        accept_jumps=accept_jumps,
    )
    try:
        follower.finish()
    finally:
        follower.close()
    name, log = Path(path).name, follower.log
    if not follower.is_there:
        raise LogReadError(name, "There is no such file.", "Check the path and the spelling.")
    if log is None:
        raise LogReadError(name, "Fewer than two rows can be used.", "Export the log again.")
    return log


def _run_repair(column: str, run: _Run) -> Repair:
    (text, kind, reason), first, last = run
    return Repair(first, column, kind, text, "no reading", reason, last)
