"""Read a probe log without guessing in silence and without changing what it says.

The file is read row by row, and every cell that is not taken as written becomes a
`Repair`. What the file does not settle (the unit, the form of the time, which probe is
which) is asked for: the error names the argument that states it, and carries the question.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TypedDict
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from coreward import tables
from coreward.errors import InputError
from coreward.logs.cells import check_unit_jumps, read_column, read_unused
from coreward.logs.half_days import unfold_half_days
from coreward.logs.headings import assign_columns
from coreward.logs.json_rows import is_json, json_table
from coreward.logs.log import (
    OWN_FORMAT,
    ROLES,
    Channel,
    Floats,
    LeftOutColumn,
    ProbeLog,
    RawRows,
    Repair,
)
from coreward.logs.long_rows import one_column_per_probe
from coreward.logs.meat_like import is_meat_like
from coreward.logs.own_format import own_channels, own_left_out, restored
from coreward.logs.parts import (
    Column,
    LogReadError,
    Question,
    Reading,
    Table,
    Unit,
    Unused,
    metadata_of,
    time_cells,
)
from coreward.logs.rows import (
    in_order,
    kept_rows,
    past_midnight,
    spread_minutes,
    unknown_between,
    without_repeats,
)
from coreward.logs.summer_time import follow_local_clock, zone_of
from coreward.logs.text import decode, load_bytes, split_table
from coreward.logs.time_forms import DAY_S, TIME_ROLES, TimeForm, Undecided, find_form
from coreward.logs.workbook import is_workbook, sheet_text
from coreward.units import fahrenheit_to_celsius
from coreward.words import Reading as Shown
from coreward.words import say

COLUMN_ROLES: tuple[str, ...] = (*TIME_ROLES, "date", *ROLES, "ignore")
"""What ``columns`` may say about a column."""

_NEVER = "it has no reading in any row"
_ZONE_NOTES = ("zone", "time zone", "timezone")


class Stating(TypedDict, total=False):
    """What a caller may say about a file that grows, as for `read_log`."""

    units: Unit | None
    columns: Mapping[str, str] | None
    start_date: dt.date | str | None
    zone: str | None
    accept_jumps: bool


@dataclass(frozen=True)
class Stated:
    """What the caller says about a file, checked."""

    columns: dict[str, str]
    """From heading to role."""
    units: Unit | None = None
    """Unit of temperatures that state none."""
    date: dt.date | None = None
    """Date of the first sample."""
    zone: ZoneInfo | None = None
    """Zone of local times."""
    sheet: str | None = None
    """Sheet of a workbook."""
    accept_jumps: bool = False
    """Whether a jump like a change of unit is real."""


@dataclass(frozen=True)
class Plan:
    """How the columns of a table are to be read."""

    time_columns: list[int]
    form: TimeForm
    columns: list[Column]
    unused: list[Unused]
    own: bool


@dataclass(frozen=True)
class Rows:
    """Rows of a table in the order of time."""

    table: Table
    plan: Plan
    """Their cells, and how these are to be read."""
    texts: Sequence[str]
    """Time of every row of the table, as written."""
    kept: NDArray[np.int64]
    """Which rows of the table they are."""
    seconds: Floats
    """Their times. [s]"""
    numbers: NDArray[np.int64]
    """Their rows in the file."""
    half_s: float | None
    """What to add to the first time as written; None where a clock of twelve hours leaves it
    open. [s]"""


def read_log(
    path: str | Path,
    *,
    units: Unit | None = None,
    columns: Mapping[str, str] | None = None,
    start_date: dt.date | str | None = None,
    zone: str | None = None,
    sheet: str | None = None,
    accept_jumps: bool = False,
) -> ProbeLog:
    """Read a probe log from a table of text, a workbook or JSON.

    Text: commas, semicolons or tabs; decimal point or comma; UTF-8, UTF-16 or Latin text;
    comment lines beginning with ``#``. Workbook: ``.xlsx``, values only. JSON: one object
    per line, or an array of objects. Time as elapsed, clock or date with or without a
    zone, or as seconds since 1970; °C or °F. What was understood is said in
    `ProbeLog.understood`, each fault is listed in `ProbeLog.repairs`, and the file itself
    stays in `ProbeLog.raw`. `what_it_holds` shows a file before it is read.

    Parameters
    ----------
    path : str or Path
        The file.
    units : {"C", "F"}, optional
        Unit of the temperatures, where the file does not say it. A contradiction with
        the file is an error.
    columns : mapping, optional
        From heading to what it holds, one of `COLUMN_ROLES`. Columns not named are still
        found by their heading; ``"ignore"`` leaves one out.
    start_date : date or str, optional
        Date of the first sample, where the file has times of day only (ISO 8601 if text).
    zone : str, optional
        Zone of local times, such as ``"Europe/Berlin"``: the hour that summer time skips
        or repeats is then known. Of times that carry a zone, only the start is shown in it.
    sheet : str, optional
        Which sheet of a workbook to read, where several hold values.
    accept_jumps : bool
        Take a jump that looks like a change between °C and °F as real.

    Raises
    ------
    LogError
        Always a `LogReadError` with file, row, column and remedy, if the file cannot be
        read or does not settle what its columns mean; its ``question`` says what to ask.
    InputError
        If an argument is not one of those listed.
    """
    stated = checked(units, columns, start_date, zone, sheet, accept_jumps)
    target = Path(path)
    reading = Reading(target.name or str(target), tables.load("log_reading"))
    table, raw = table_in(load_bytes(target, reading), stated, reading)
    return build(raw, table, stated, reading)


def checked(
    units: Unit | None = None,
    columns: Mapping[str, str] | None = None,
    start_date: dt.date | str | None = None,
    zone: str | None = None,
    sheet: str | None = None,
    accept_jumps: bool = False,
) -> Stated:
    """Return what a caller states, or say which argument is wrong."""
    roles = _checked_columns(columns)
    if units not in (None, "C", "F"):
        raise InputError(f"units is {units!r}; give 'C', 'F' or None.")
    return Stated(
        roles,
        units,
        _checked_date(start_date),
        None if zone is None else zone_of(zone),
        sheet,
        accept_jumps,
    )


def table_in(data: bytes, stated: Stated, reading: Reading) -> tuple[Table, RawRows]:
    """Return the table that the bytes of a file hold, and its rows as written."""
    if is_workbook(data):
        text = sheet_text(data, stated.sheet, reading)
        return split_table(text, stated.columns, reading, True), RawRows(text, data)
    text = decode(data, reading)
    if stated.sheet is not None:
        reading.fail(
            f"The sheet {stated.sheet[:40]!r} was stated, but the file is no workbook.",
            "Leave sheet= out.",
        )
    if is_json(text):
        table, raw = json_table(text, reading)
        raw.data = data
        return table, raw
    return split_table(text, stated.columns, reading), RawRows(text, data)


def widened(table: Table, stated: Stated, reading: Reading) -> tuple[Table, Stated]:
    """Return a table with one column per probe, and what was stated of its columns."""
    wide = one_column_per_probe(table, stated.columns, reading)
    gone = set(table.header) - set(wide.header)
    columns = {name: role for name, role in stated.columns.items() if name not in gone}
    return wide, replace(stated, columns=columns)


def is_own_format(reading: Reading) -> bool:
    """Tell whether the notes read so far are those of our own format."""
    return reading.notes[:1] == [OWN_FORMAT] and any(
        note.startswith("source: ") for note in reading.notes
    )


def plan_for(table: Table, stated: Stated, reading: Reading) -> tuple[Plan, list[str]]:
    """Return how a table is to be read, and the cells of its time; refuse what is unclear."""
    own = is_own_format(reading)
    told = dict(stated.columns)
    if own:
        told |= {name: "ignore" for name, _ in own_left_out(reading) if name in table.header}
    time_columns, columns, unused = assign_columns(table, told, stated.units, own, reading)
    texts = time_cells(table.rows, time_columns)
    form = _form(table, time_columns, texts, stated.columns, reading)
    return Plan(time_columns, form, columns, unused, own), texts


def zone_for(stated: Stated, reading: Reading) -> ZoneInfo | None:
    """Return the zone stated by the caller, or by a note in the file."""
    if stated.zone is not None:
        return stated.zone
    for key, value in metadata_of(reading.notes):
        if key.lower() in _ZONE_NOTES:
            try:
                zone = zone_of(value)
            except InputError:
                continue
            reading.understood.append(f"The zone is {zone.key}: a note in the file says so.")
            return zone
    return None


def _checked_columns(columns: Mapping[str, str] | None) -> dict[str, str]:
    stated: dict[str, str] = {}
    for name, role in (columns or {}).items():
        if role not in COLUMN_ROLES:
            raise InputError(
                f"columns: {role!r} for {name!r} is unknown; use one of "
                f"{', '.join(COLUMN_ROLES)}."
            )
        stated[str(name).strip()] = role
    return stated


def _checked_date(start_date: dt.date | str | None) -> dt.date | None:
    if isinstance(start_date, dt.datetime):
        return start_date.date()
    if start_date is None or isinstance(start_date, dt.date):
        return start_date
    try:
        return dt.date.fromisoformat(start_date)
    except (TypeError, ValueError):
        raise InputError(
            f"start_date is {start_date!r}; give a date such as 2026-05-02."
        ) from None


def build(raw: RawRows, table: Table, stated: Stated, reading: Reading) -> ProbeLog:
    """Return the log in a table."""
    table, stated = widened(table, stated, reading)
    plan, texts = plan_for(table, stated, reading)
    zone = zone_for(stated, reading)
    form = plan.form
    times = times_of(texts, form)
    kept = kept_rows(table, times, plan.time_columns, len(table.header), reading)
    if kept.size < 2:
        reading.fail(
            f"Only {kept.size} row can be used; a log needs at least two.",
            "Export the log again.",
            table.numbers[int(kept[0])] if kept.size else table.header_row,
        )
    numbers = np.frombuffer(table.numbers, dtype=np.int64)[kept]
    seconds, half_s = running_on(times[kept], numbers, texts, form, stated.date, zone, reading)
    order = in_order(seconds, numbers, reading)
    kept, seconds, numbers = kept[order], seconds[order], numbers[order]
    if form.whole_minutes:
        seconds = spread_minutes(seconds, numbers, table, kept, reading)
        again = np.argsort(seconds, kind="stable")
        kept, seconds, numbers = kept[again], seconds[again], numbers[again]
    every = numbers, seconds
    unique = without_repeats(seconds, numbers, table, kept, reading)
    rows = Rows(table, plan, texts, kept[unique], seconds[unique], numbers[unique], half_s)
    return log_of(rows, every, raw, stated, zone, reading)


def running_on(
    seconds: Floats,
    numbers: NDArray[np.int64],
    texts: Sequence[str],
    form: TimeForm,
    date: dt.date | None,
    zone: ZoneInfo | None,
    reading: Reading,
) -> tuple[Floats, float | None]:
    """Return times that run on where a clock begins anew: half days, midnight, summer time.

    The second part is what to add to the first time, or None where a clock of twelve hours
    leaves it open.
    """
    if form.kind == "elapsed" or form.has_zone:
        return seconds, 0.0
    since = _since_midnight(form)
    halves = unfold_half_days(seconds + since, numbers, texts, form.kind == "date", reading)
    if halves is not None:
        seconds = halves[0] - since
    elif form.kind == "clock":
        seconds = past_midnight(seconds, reading)
    start = _local_start(form, date)
    seconds = follow_local_clock(seconds, numbers, start, zone, form.whole_minutes, reading)
    return seconds, 0.0 if halves is None else halves[1]


def log_of(
    rows: Rows,
    every: tuple[NDArray[np.int64], Floats],
    raw: RawRows,
    stated: Stated,
    zone: ZoneInfo | None,
    reading: Reading,
    may_grow: bool = False,
) -> ProbeLog:
    """Return the log of rows in the order of time.

    Parameters
    ----------
    every : tuple of ndarray
        Row of the file and time of every row, those that repeat another too. [s]
    may_grow : bool
        Whether a probe without a reading may still be plugged in.
    """
    table, plan = rows.table, rows.plan
    kept, seconds, numbers = rows.kept, rows.seconds, rows.numbers
    form, own = plan.form, plan.own
    time_heading = table.header[plan.time_columns[-1]]
    if kept.size < 2:
        reading.fail(
            "All rows have the same time.",
            "Export the log with times that count on.",
            int(numbers[0]),
            time_heading,
        )
    if seconds[-1] - seconds[0] > reading.limits["duration_limit"]:
        step = int(np.argmax(np.diff(seconds))) + 1
        reading.fail(
            f"The log would last {(seconds[-1] - seconds[0]) / DAY_S:.0f} days, most of it "
            "just before this row.",
            "Correct the date, or the unit of the time.",
            int(numbers[step]),
            time_heading,
        )
    read = [
        (column, read_column(column, table, kept, numbers, own, reading))
        for column in plan.columns
    ]
    if not own:
        check_unit_jumps(read, numbers, stated.accept_jumps, reading)
    left_out = left_out_of(plan.unused, table, kept)
    left_out += [LeftOutColumn(name, why, np.empty(0), False) for name, why in reading.aside]
    channels, silent = _channels(read, own, may_grow, reading)
    moment = _moment_of(rows, stated)
    if rows.half_s is None:
        reading.warnings.append(
            "The clock does not say a.m. or p.m., so the time of day of the first row is not "
            "known."
        )
        moment = None
    elif moment is not None:
        moment += dt.timedelta(seconds=rows.half_s)
    start, clock = start_of(moment, form.kind, stated.date, zone)
    time_s = seconds - seconds[0]
    if np.any(np.diff(time_s) <= 0):
        row = int(numbers[int(np.argmin(np.diff(time_s))) + 1])
        reading.fail("The times are too close to tell apart.", "Thin the log.", row)
    if form.kind == "clock":  # which may hide a whole day
        wide = np.flatnonzero(np.diff(time_s) > reading.limits["gap_longest"])
        reading.unknown.extend((int(numbers[i]), int(numbers[i + 1])) for i in wide.tolist())
    unknown = unknown_between(reading.unknown, *every, time_s, float(seconds[0]))
    _warn(channels, reading)
    log = ProbeLog(
        time_s=time_s,
        start=start,
        channels=tuple(channels),
        repairs=tuple(reading.repairs),
        understood=tuple(reading.understood),
        source=reading.file,
        warnings=tuple(reading.warnings),
        start_clock=clock,
        notes=tuple(reading.notes),
        metadata=metadata_of(reading.notes),
        raw=raw,
        left_out=(*left_out, *silent),
        unknown_spans=unknown,
    )
    return restored(log, reading) if own else log


def _channels(
    read: Sequence[tuple[Column, Floats]], own: bool, may_grow: bool, reading: Reading
) -> tuple[list[Channel], list[LeftOutColumn]]:
    """Return the probes, and those that were never plugged in."""
    names = own_channels(reading) if own else {}
    channels: list[Channel] = []
    silent: list[LeftOutColumn] = []
    for column, values in read:
        if not np.any(np.isfinite(values)) and not own and not may_grow:
            reading.repair(
                Repair(
                    None,
                    column.name,
                    "unplugged",
                    "no reading in any row",
                    "left out",
                    "the probe was never plugged in",
                )
            )
            why = f"{_NEVER}: the probe was never plugged in"  # perhaps it was in the meat
            is_meat = column.role == "meat"
            silent.append(LeftOutColumn(column.name, why, np.empty(0), is_meat))
            continue
        celsius = values if column.unit == "C" else fahrenheit_to_celsius(values)
        name, role = names.get(column.name, (column.name, column.role))
        channels.append(Channel(name, role, celsius))
    if not any(channel.role == "meat" for channel in channels):
        reading.fail(
            "No meat probe gave a single reading.",
            "Check which probe was plugged in, and state it with columns=.",
        )
    return channels, silent


def _moment_of(rows: Rows, stated: Stated) -> dt.datetime | None:
    """Return date and time of the first row as written; of a time of day, on any day."""
    form, first_s = rows.plan.form, float(rows.seconds[0])
    if form.kind == "clock":
        midnight = dt.datetime.combine(stated.date or dt.date(2000, 1, 1), dt.time())
        return midnight + dt.timedelta(seconds=first_s % DAY_S)
    return form.moment(rows.texts[int(rows.kept[0])])


def left_out_of(
    unused: Sequence[Unused], table: Table, kept: NDArray[np.int64]
) -> list[LeftOutColumn]:
    """Return the columns that are not used, with their numbers and what these look like."""
    found = []
    for one in unused:
        celsius = read_unused(one, table, kept)
        meat_like = one.may_be_meat and is_meat_like(celsius)
        rows = (table.rows[i] for i in kept.tolist())
        is_blank = not celsius.size and not any(
            row[one.index].strip() for row in rows if one.index < len(row)
        )
        reason = f"{one.reason}, and {_NEVER}" if is_blank else one.reason
        found.append(LeftOutColumn(one.name, reason, celsius, meat_like))
    return found


def _form(
    table: Table,
    time_columns: list[int],
    texts: Sequence[str],
    stated: Mapping[str, str],
    reading: Reading,
) -> TimeForm:
    name = " ".join(table.header[i] for i in time_columns)
    column = table.header[time_columns[-1]]
    role = stated.get(column, "time")
    try:
        form = find_form(name, texts, "time" if len(time_columns) == 2 else role)
    except Undecided as error:
        question = Question("columns", error.what, error.choices, column)
        reading.fail(
            error.what,
            error.remedy,
            table.numbers[0],
            column,
            question if error.choices else None,
        )
    reading.understood.append(f"Column '{name}' is time: {form.sentence}.")
    return form


def times_of(texts: Sequence[str], form: TimeForm) -> Floats:
    """Return the seconds of each time as written; NaN where it cannot be read."""
    return np.asarray(list(map(form.seconds, texts)), dtype=float)  # None becomes NaN


def _since_midnight(form: TimeForm) -> float:
    """Return how far from a midnight a form counts 0. [s]."""
    if form.origin is None:
        return 0.0
    midnight = dt.datetime.combine(form.origin.date(), dt.time())
    return (form.origin - midnight).total_seconds()


def _local_start(form: TimeForm, date: dt.date | None) -> dt.datetime | None:
    """Return the local date and time at which a form counts 0, if it is known."""
    if form.kind == "date":
        return form.origin
    return None if date is None else dt.datetime.combine(date, dt.time())


def _warn(channels: Sequence[Channel], reading: Reading) -> None:
    boiling = reading.limits["wet_meat_highest"]
    for channel in channels:
        values = channel.temperature_c[channel.plugged]
        if channel.is_constant:
            reading.warnings.append(
                say(
                    "Column '{0}' reads {1} in every row: the probe is stuck, or never was in "
                    "use.",
                    channel.name,
                    Shown(float(values[0])),
                )
            )
        elif channel.role == "meat" and values.size and values.max() > boiling:
            reading.warnings.append(
                say(
                    "Column '{0}' reaches {1}; wet meat stays below boiling. Either the probe "
                    "lay in the air, or the unit is not the one stated.",
                    channel.name,
                    Shown(float(values.max())),
                )
            )


def start_of(
    moment: dt.datetime | None, form_kind: str, date: dt.date | None, zone: ZoneInfo | None
) -> tuple[dt.datetime | None, dt.time | None]:
    """Return date and time of day of the first sample, as far as they are known.

    Parameters
    ----------
    moment : datetime or None
        Its moment; of a time of day without a date, on any day.
    """
    if form_kind == "elapsed" or moment is None:
        return None, None
    if form_kind == "clock" and date is None:
        return None, moment.time()
    if zone is not None:
        with suppress(OverflowError, ValueError):  # dates at the ends of the calendar
            moment = moment.astimezone(zone) if moment.tzinfo else moment.replace(tzinfo=zone)
    return moment, moment.time()


__all__ = ["COLUMN_ROLES", "LogReadError", "Plan", "Stated", "read_log"]
