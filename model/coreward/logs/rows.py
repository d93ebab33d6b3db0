"""Which rows of a log stay, and their order in time."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from coreward.logs.log import Floats
from coreward.logs.parts import LEFT_OUT, Question, Reading, Table, short, time_cell
from coreward.logs.text import is_header, is_other_header
from coreward.logs.time_forms import DAY_S

_FEW_OTHERS = 0.1  # share of rows with the time of another and other readings
_FEW = 0.25  # share of short rows below which they are no habit of the logger


def are_short_rows_broken(table: Table) -> bool:
    """Tell whether a row with too few cells broke off.

    Some loggers leave out empty cells at the end of every row; where most rows are whole,
    a short one was cut off, and its last number may be half a number.
    """
    width = len(table.header)
    short_rows = sum(len(cells) < width for cells in table.rows)
    return short_rows <= _FEW * len(table.rows)


def kept_rows(
    table: Table, times: Floats, time_columns: list[int], width: int, reading: Reading
) -> NDArray[np.int64]:
    """Return the rows whose time can be read and whose cells fit the header."""
    column = table.header[time_columns[-1]]
    if table.cut_off:
        times[-1] = np.nan
    bad = np.flatnonzero(~np.isfinite(times))
    if 2 * bad.size > times.size:
        first = int(bad[0])
        reading.fail(
            f"More than half of the times cannot be read, for example "
            f"{short(time_cell(table.rows[first], time_columns))}.",
            "Write them all in one form, such as 2026-05-02T14:03:00.",
            table.numbers[first],
            column,
        )
    long = [
        i
        for i, cells in enumerate(table.rows)
        if len(cells) > width and any(cell.strip() for cell in cells[width:])
    ]
    if 2 * len(long) > times.size:
        reading.fail(
            f"The row has {len(table.rows[long[0]])} cells where the header has {width}.",
            "If the numbers carry a decimal comma, separate the columns by semicolons.",
            table.numbers[long[0]],
        )
    for i in bad.tolist():
        number, row = table.numbers[i], table.rows[i]
        if i + 1 < times.size and is_header(row, {}) and is_other_header(row, table.header):
            reading.fail(
                "Another header stands here, and below it the columns hold something else.",
                "Cut the file here, or read it with read_in_order, which goes by each header.",
                number,
            )
        if table.cut_off and i == times.size - 1:
            reason = "the file ends within the row"
            reading.leave_out(number, "half-written", ",".join(row), reason)
            continue
        reason = "without its time a reading cannot be placed"
        shown = time_cell(row, time_columns)
        reading.leave_out(number, "time unreadable", shown, reason, column)
    for i in long:
        if np.isfinite(times[i]):
            was, reason = f"{len(table.rows[i])} cells", f"the header has {width}"
            reading.leave_out(table.numbers[i], "too many cells", was, reason)
    usable = np.isfinite(times)
    usable[long] = False
    for i in _broken_off(table, width) if table.is_cut_at_cells else ():
        if usable[i]:
            usable[i] = False
            was = ",".join(table.rows[i])
            reason = f"the header has {width}; its last cell may be half a number"
            reading.leave_out(table.numbers[i], "too few cells", was, reason)
    return np.flatnonzero(usable)


def _broken_off(table: Table, width: int) -> list[int]:
    if not are_short_rows_broken(table):
        return []
    return [i for i, cells in enumerate(table.rows) if len(cells) < width]


def past_midnight(seconds: Floats, reading: Reading) -> Floats:
    """Add the days that a time of day does not show."""
    steps = np.diff(seconds)
    half = DAY_S / 2
    small = steps[np.abs(steps) <= half]
    if np.sum(small < 0) > np.sum(small > 0):  # newest row first
        return past_midnight(seconds[::-1], reading)[::-1].copy()
    day = np.cumsum(np.concatenate(([0.0], np.where(steps < -half, DAY_S, 0.0))))
    # A row from before midnight that comes late, between two from after it.
    late = np.flatnonzero((steps[:-1] > half) & (steps[1:] < -half)) + 1
    for i in late.tolist():
        day[i + 1 :] -= DAY_S
        day[i] -= DAY_S
    result = np.asarray(seconds + day)
    nights = int(result.max() // DAY_S - result.min() // DAY_S)
    if nights > 0:
        times = "once" if nights == 1 else f"{nights} times"
        reading.understood.append(
            f"The clock passes midnight {times}; a time of day cannot show "
            "a gap of a whole day."
        )
    return result


def in_order(
    seconds: Floats, numbers: NDArray[np.int64], reading: Reading
) -> NDArray[np.int64]:
    """Return the order of time; refuse times that overlap."""
    steps = np.diff(seconds)
    if np.all(steps >= 0):
        return np.arange(seconds.size)
    if np.all(steps <= 0):
        reading.record(
            int(numbers[0]),
            "order",
            "newest row first",
            "oldest row first",
            "the file runs backwards",
            last=int(numbers[-1]),
        )
        return np.arange(seconds.size)[::-1].copy()
    highest = np.maximum.accumulate(seconds)
    late = np.concatenate(([False], seconds[1:] < highest[:-1]))
    on_time = seconds[~late]
    edges = np.flatnonzero(np.diff(np.concatenate(([0], late.astype(np.int8), [0]))))
    least = int(reading.limits["clock_set_back_rows"])
    forward = np.diff(on_time)
    room = reading.limits["follow_hole"] * (float(np.median(forward)) if forward.size else 0.0)
    for first, end in zip(edges[0::2].tolist(), edges[1::2].tolist(), strict=True):
        block = seconds[first:end]
        low, high = np.searchsorted(on_time, [block.min(), block.max()], side="left")
        if end - first >= least and (high - low >= 2 or high == 0):
            reading.fail(
                f"From here {end - first} rows go back over times already written: the clock "
                "was set back, or two logs stand in one file."
                if high
                else f"From here {end - first} rows lie before the first one: the clock was "
                "set back, or two logs stand in one file.",
                "Cut the file here, or export it with a zone (2026-10-25T02:10:00+01:00) or as "
                "elapsed seconds. If summer time ended there, state zone=; read_in_order goes "
                "by the order of the rows instead.",
                int(numbers[first]),
                question=Question("zone", "In which time zone were these local times written?"),
            )
        before = block.min() - on_time[low - 1] if low else np.inf
        after = on_time[high] - block.max()
        if high > low or min(before, after) > room or before + after <= room:
            # Not what comes late into a hole: the clock may have been set, by so much.
            _mark_block(first, end, numbers, reading)
            for at in (low - 1, high):
                if 0 <= at < on_time.size:
                    other = int(numbers[np.flatnonzero(~late)[at]])
                    reading.unknown.append((int(numbers[first]), other))
    for first, end in zip(edges[0::2].tolist(), edges[1::2].tolist(), strict=True):
        reading.record(
            int(numbers[first]),
            "order",
            "after a later time",
            "moved to its place in time",
            "rows must run forward in time",
            last=int(numbers[end - 1]),
        )
    return np.argsort(seconds, kind="stable")


def _mark_block(first: int, end: int, numbers: NDArray[np.int64], reading: Reading) -> None:
    """Mark the time before, over and after rows that go back as not known."""
    reading.unknown.append((int(numbers[first - 1]), int(numbers[first])))
    if end < numbers.size:
        reading.unknown.append((int(numbers[end - 1]), int(numbers[end])))


def unknown_between(
    marks: Sequence[tuple[int, int]],
    numbers: NDArray[np.int64],
    seconds: Floats,
    time_s: Floats,
    start_s: float,
) -> tuple[tuple[float, float], ...]:
    """Return the spans of unknown time between neighbouring samples that are kept.

    Parameters
    ----------
    marks : sequence of (int, int)
        Rows of the file between which an unknown time passed.
    numbers, seconds : ndarray
        Row and time of every row in order, those that repeat another too. [s]
    time_s : ndarray
        Times of the samples that are kept, from 0. [s]
    start_s : float
        Time of the first of them. [s]
    """
    if not marks:
        return ()
    at = dict(zip(numbers.tolist(), (seconds - start_s).tolist(), strict=True))
    unknown = np.zeros(time_s.size - 1, dtype=bool)
    for one, other in marks:
        if one not in at or other not in at:
            continue
        low, high = sorted((at[one], at[other]))
        if low == high:  # a second row with that time: how long it lasted is not known
            unknown |= time_s[:-1] == low
        else:
            unknown |= (time_s[:-1] < high) & (time_s[1:] > low)
    return tuple(
        (float(time_s[i]), float(time_s[i + 1])) for i in np.flatnonzero(unknown).tolist()
    )


def spread_minutes(
    seconds: Floats,
    numbers: NDArray[np.int64],
    table: Table,
    kept: NDArray[np.int64],
    reading: Reading,
) -> Floats:
    """Spread rows that share a minute: the clock shows less than the log knows."""
    starts = np.flatnonzero(np.diff(seconds, prepend=np.nan) != 0)
    distinct, counts = seconds[starts], np.diff(starts, append=seconds.size)
    if counts.size < 2 or distinct.size == seconds.size:
        return seconds
    usual = float(np.median(counts))
    if usual == 1.0:
        return _spread_few(seconds, distinct, counts, numbers, table, kept, reading)
    result = seconds.copy()
    position = 0
    for k, (minute, count) in enumerate(zip(distinct.tolist(), counts.tolist(), strict=True)):
        if count >= 2 * usual:  # rows written at once, or a clock that stood still
            for i in range(position, position + count - 1):
                reading.unknown.append((int(numbers[i]), int(numbers[i + 1])))
        step = 60.0 / max(usual, count)
        lead = 60.0 - count * step if k == 0 else 0.0
        result[position : position + count] = minute + lead + step * np.arange(count)
        position += count
    reading.record(
        int(numbers.min()),
        "whole minutes",
        "several rows with the same minute",
        f"spread over the minute, {60.0 / usual:.3g} s apart",
        "the times show no seconds; each is uncertain by up to a minute",
        last=int(numbers.max()),
    )
    return result


def _spread_few(
    seconds: Floats,
    distinct: Floats,
    counts: NDArray[np.int64],
    numbers: NDArray[np.int64],
    table: Table,
    kept: NDArray[np.int64],
    reading: Reading,
) -> Floats:
    """Spread the few rows that share a minute with another; the same row again stays."""
    result = seconds.copy()
    usual = float(np.median(np.diff(distinct)))
    ends = np.cumsum(counts)
    for k in np.flatnonzero(counts > 1).tolist():
        minute = float(distinct[k])
        places = range(int(ends[k] - counts[k]), int(ends[k]))
        seen: dict[tuple[str, ...], int] = {}
        for i in places:
            seen.setdefault(tuple(table.rows[int(kept[i])]), len(seen))
        if len(seen) == 1:
            continue
        for i in places:
            result[i] = minute + 60.0 * seen[tuple(table.rows[int(kept[i])])] / len(seen)
        first, last = int(numbers[places[0]]), int(numbers[places[-1]])
        before = minute - distinct[k - 1] if k else np.inf
        after = distinct[k + 1] - minute if k + 1 < distinct.size else np.inf
        is_jitter = len(seen) == 2 and max(before, after) > 1.5 * usual
        if not is_jitter:  # no minute is missing beside it: the clock was set, or stood still
            reading.unknown.append((first, last))
        reading.record(
            min(first, last),
            "whole minutes",
            "several rows with the same minute",
            f"spread over the minute, {60.0 / len(seen):.3g} s apart",
            "the times show no seconds"
            + ("" if is_jitter else "; how long it was between these rows is not known"),
            last=max(first, last),
        )
    return result


def without_repeats(
    seconds: Floats,
    numbers: NDArray[np.int64],
    table: Table,
    kept: NDArray[np.int64],
    reading: Reading,
) -> NDArray[np.int64]:
    """Return the rows to keep: the first of each time."""
    again = np.concatenate(([False], np.diff(seconds) == 0))
    first = 0
    others = 0
    for i in np.flatnonzero(again).tolist():
        first = i - 1
        while again[first]:
            first -= 1
        same = table.rows[int(kept[i])] == table.rows[int(kept[first])]
        if not same:
            others += 1
            reading.unknown.append((int(numbers[first]), int(numbers[i])))
            if others >= 3 and others > _FEW_OTHERS * seconds.size:
                reading.fail(
                    f"The row has the same time as row {numbers[first]} and other readings, "
                    f"and it is not the only one: of {seconds.size} rows, "
                    f"{int(np.count_nonzero(again))} repeat a time.",
                    "If each row holds one probe, name the column that says which 'sensor', or "
                    "export one row per time; if two logs stand in one file, cut it.",
                    int(numbers[i]),
                )
        stays = f"the same time as row {numbers[first]}, which stays, with other readings"
        reading.record(
            int(numbers[i]),
            "duplicate",
            ", ".join(table.rows[int(kept[i])])[:80],
            LEFT_OUT,
            f"the same as row {numbers[first]}" if same else stays,
        )
    return np.flatnonzero(~again)
