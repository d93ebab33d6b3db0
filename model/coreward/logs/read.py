"""Read a probe log without guessing in silence and without changing what it says.

The file is read as text, row by row, with the standard library: one pass, bounded in
memory, and every cell that is not taken as written becomes a `Repair`. What the file
does not settle (the unit, the form of the time, which probe is which) is asked for: the
error names the argument that states it.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from coreward import tables
from coreward.errors import InputError
from coreward.logs.cells import check_unit_jumps, read_column
from coreward.logs.headings import assign_columns
from coreward.logs.log import (
    OWN_FORMAT,
    ROLES,
    Channel,
    Floats,
    ProbeLog,
    RawRows,
    Repair,
)
from coreward.logs.own_format import own_channels, restored
from coreward.logs.parts import (
    Column,
    LogReadError,
    Reading,
    Table,
    Unit,
    metadata_of,
    time_cell,
)
from coreward.logs.rows import (
    in_order,
    kept_rows,
    past_midnight,
    spread_minutes,
    without_repeats,
)
from coreward.logs.text import load_text, split_table
from coreward.logs.time_forms import (
    DAY_S,
    TIME_ROLES,
    TimeForm,
    Undecided,
    find_form,
)
from coreward.units import fahrenheit_to_celsius

COLUMN_ROLES: tuple[str, ...] = (*TIME_ROLES, "date", *ROLES, "ignore")
"""What ``columns`` may say about a column."""


def read_log(
    path: str | Path,
    *,
    units: Unit | None = None,
    columns: Mapping[str, str] | None = None,
    start_date: dt.date | str | None = None,
    accept_jumps: bool = False,
) -> ProbeLog:
    """Read a probe log from a table of text.

    Commas, semicolons or tabs; decimal point or comma; UTF-8, UTF-16 or Latin text; time
    as elapsed, clock or date; °C or °F; comment lines beginning with ``#``. What was
    understood is said in `ProbeLog.understood`, each fault is listed in
    `ProbeLog.repairs`, and the file itself stays in `ProbeLog.raw`.

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
    accept_jumps : bool
        Take a jump that looks like a change between °C and °F as real.

    Returns
    -------
    ProbeLog

    Raises
    ------
    LogError
        Always a `LogReadError` with file, row, column and remedy, if the file cannot be
        read or does not settle what its columns mean.
    InputError
        If an argument is not one of those listed.
    """
    stated = _checked_columns(columns)
    if units not in (None, "C", "F"):
        raise InputError(f"units is {units!r}; give 'C', 'F' or None.")
    date = _checked_date(start_date)
    target = Path(path)
    reading = Reading(target.name or str(target), tables.load("log_reading"))
    text = load_text(target, reading)
    raw = RawRows(text)
    table = split_table(text, stated, reading)
    own = reading.notes[:1] == [OWN_FORMAT] and any(
        note.startswith("source: ") for note in reading.notes
    )
    time_columns, temperature_columns = assign_columns(table, stated, units, own, reading)
    return _build(
        raw, table, time_columns, temperature_columns, stated, date, accept_jumps, own, reading
    )


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


def _build(
    raw: RawRows,
    table: Table,
    time_columns: list[int],
    columns: list[Column],
    stated: Mapping[str, str],
    date: dt.date | None,
    accept_jumps: bool,
    own: bool,
    reading: Reading,
) -> ProbeLog:
    width = len(table.header)
    times, form = _times(table, time_columns, stated, reading)
    kept = kept_rows(table, times, time_columns, width, reading)
    if kept.size < 2:
        reading.fail(
            f"Only {kept.size} row can be used; a log needs at least two.",
            "Export the log again.",
            table.numbers[int(kept[0])] if kept.size else table.header_row,
        )
    seconds = times[kept]
    numbers = np.frombuffer(table.numbers, dtype=np.int64)[kept]
    if form.kind == "clock":
        seconds = past_midnight(seconds, reading)
    order = in_order(seconds, numbers, reading)
    kept, seconds, numbers = kept[order], seconds[order], numbers[order]
    if form.whole_minutes:
        seconds = spread_minutes(seconds, numbers, reading)
    unique = without_repeats(seconds, numbers, table, kept, reading)
    kept, seconds, numbers = kept[unique], seconds[unique], numbers[unique]
    if kept.size < 2:
        reading.fail(
            "All rows have the same time.",
            "Export the log with times that count on.",
            int(numbers[0]),
            table.header[time_columns[-1]],
        )
    if seconds[-1] - seconds[0] > reading.limits["duration_limit"]:
        step = int(np.argmax(np.diff(seconds))) + 1
        reading.fail(
            f"The log would last {(seconds[-1] - seconds[0]) / DAY_S:.0f} days, most of it "
            "just before this row.",
            "Correct the date, or the unit of the time.",
            int(numbers[step]),
            table.header[time_columns[-1]],
        )
    read = [
        (column, read_column(column, table, kept, numbers, own, reading)) for column in columns
    ]
    if not own:
        check_unit_jumps(read, numbers, accept_jumps, reading)
    names = own_channels(reading) if own else {}
    channels = []
    for column, values in read:
        if not np.any(np.isfinite(values)) and not own:
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
            continue
        celsius = values if column.unit == "C" else fahrenheit_to_celsius(values)
        name, role = names.get(column.name, (column.name, column.role))
        channels.append(Channel(name, role, celsius))
    if not any(channel.role == "meat" for channel in channels):
        reading.fail(
            "No meat probe gave a single reading.",
            "Check which probe was plugged in, and state it with columns=.",
        )
    start, clock = _start_of(table, time_columns, form, kept, seconds, date)
    time_s = seconds - seconds[0]
    if np.any(np.diff(time_s) <= 0):
        row = int(numbers[int(np.argmin(np.diff(time_s))) + 1])
        reading.fail("The times are too close to tell apart.", "Thin the log.", row)
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
    )
    return restored(log, reading) if own else log


def _times(
    table: Table, time_columns: list[int], stated: Mapping[str, str], reading: Reading
) -> tuple[Floats, TimeForm]:
    name = " ".join(table.header[i] for i in time_columns)
    column = table.header[time_columns[-1]]
    role = stated.get(column, "time")
    texts = [time_cell(cells, time_columns) for cells in table.rows]
    try:
        form = find_form(name, texts, "time" if len(time_columns) == 2 else role)
    except Undecided as error:
        reading.fail(error.what, error.remedy, table.numbers[0], column)
    reading.understood.append(f"Column '{name}' is time: {form.sentence}.")
    values = np.empty(len(texts))
    convert = form.seconds
    for i, text in enumerate(texts):
        value = convert(text)
        values[i] = np.nan if value is None else value
    return values, form


def _warn(channels: Sequence[Channel], reading: Reading) -> None:
    boiling = reading.limits["wet_meat_highest"]
    for channel in channels:
        values = channel.temperature_c[channel.plugged]
        if channel.is_constant:
            reading.warnings.append(
                f"Column '{channel.name}' reads {values[0]:.4g} °C in every row: the probe is "
                "stuck, or never was in use."
            )
        elif channel.role == "meat" and values.size and values.max() > boiling:
            reading.warnings.append(
                f"Column '{channel.name}' reaches {values.max():.4g} °C; wet meat stays below "
                f"boiling. Either the probe lay in the air, or the unit is not the one stated."
            )


def _start_of(
    table: Table,
    time_columns: list[int],
    form: TimeForm,
    kept: NDArray[np.int64],
    seconds: Floats,
    date: dt.date | None,
) -> tuple[dt.datetime | None, dt.time | None]:
    if form.kind == "date":
        moment = form.moment(time_cell(table.rows[int(kept[0])], time_columns))
        return moment, (moment.time() if moment is not None else None)
    if form.kind == "clock":
        midnight = dt.datetime.combine(date or dt.date(2000, 1, 1), dt.time())
        moment = midnight + dt.timedelta(seconds=float(seconds[0]) % DAY_S)
        return (moment if date is not None else None), moment.time()
    return None, None


__all__ = ["COLUMN_ROLES", "LogReadError", "read_log"]
