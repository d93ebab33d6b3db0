"""Tables that hold one probe per row: a column says which, another holds its reading.

They are turned into one column per probe before anything else is understood. Rows of one
sweep over the probes share the time of its first row; nothing is filled in where a probe
gave no reading in a sweep.
"""

from __future__ import annotations

from array import array
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from coreward.logs.heading_words import (
    AIR,
    AMBIENT,
    MEAT,
    PROBE,
    QUANTITY,
    SETTING,
    role_of,
    unit_of,
    words_of,
)
from coreward.logs.headings import unit_in_cells, unit_in_column
from coreward.logs.log import ROLES, Floats
from coreward.logs.parts import TEMPERATURE_CELL, Reading, Table, short, time_cells
from coreward.logs.time_forms import TIME_ROLES, Undecided, find_form

_KEY_WORDS = PROBE | {
    *("id", "name", "device", "source", "location", "place", "position", "series", "tag"),
    *("variable", "field", "label", "entity", "quelle", "ort", "platz", "stelle", "gerät"),
    *("nom", "nombre", "nome", "naam", "namn", "navn"),
}
_VALUE_WORDS = {"value", "reading", "wert", "messwert", "valeur", "valor"}
_LOOK = 400
_MOST_PROBES = 16
_HIGHEST_NUMBER = 100  # of a probe
_TOGETHER_S = 60.0  # rows of one sweep are hardly further apart
_SHARE = 0.25  # nor do they fill more than so much of the time to the next sweep


@dataclass(frozen=True)
class _Long:
    key: int
    value: int
    times: list[int]
    keys: list[str]  # in the order in which they come


def one_column_per_probe(table: Table, stated: Mapping[str, str], reading: Reading) -> Table:
    """Return a table with a column for each probe; the table itself if it has them.

    Raises
    ------
    LogReadError
        If each row holds one probe, but which column holds its reading is not clear.
    """
    long = _find(table, stated, reading)
    if long is None:
        return table
    texts = time_cells(table.rows, long.times)
    seconds = _seconds(table, long, texts, stated)
    sweeps = _sweeps(table, long, texts, seconds)
    heading = table.header[long.value]
    unit = (
        unit_of(heading) or unit_in_cells(table, long.value) or unit_in_column(table, reading)
    )
    names = {key: _name(key, table.header[long.key], unit) for key in long.keys}
    header = (*(table.header[i] for i in long.times), *names.values())
    place = {key: len(long.times) + at for at, key in enumerate(long.keys)}
    rows: list[list[str]] = []
    numbers: array[int] = array("q")
    moved = 0.0
    for sweep in sweeps:
        first = table.rows[sweep[0]]
        cells = [first[i] if i < len(first) else "" for i in long.times] + [""] * len(names)
        for i in sweep:
            row = table.rows[i]
            key = row[long.key].strip() if long.key < len(row) else ""
            if key in place and long.value < len(row):
                cells[place[key]] = row[long.value]
            if np.isfinite(seconds[i]) and np.isfinite(seconds[sweep[0]]):
                moved = max(moved, float(seconds[i] - seconds[sweep[0]]))
        rows.append(cells)
        numbers.append(table.numbers[sweep[0]])
    reading.understood.append(
        f"Each row holds one probe, named in column '{table.header[long.key]}': "
        f"{len(table.rows)} rows are {len(rows)} times of {len(names)} probes. A row that is "
        "named below is the first of its time."
    )
    if moved > 0:
        reading.record(
            int(table.numbers[0]),
            "one time",
            f"probes read up to {moved:.3g} s after each other",
            "one time for each sweep, that of its first row",
            "each row holds one probe",
            last=int(table.numbers[-1]),
        )
    for at, name in enumerate(table.header):
        if at not in (long.key, long.value, *long.times) and name:
            reading.aside.append((name, "each row holds one probe, and it is not its reading"))
    return replace(table, header=header, rows=rows, numbers=numbers)


def _find(table: Table, stated: Mapping[str, str], reading: Reading) -> _Long | None:
    header, rows = table.header, table.rows
    roles = [stated.get(name) or role_of(name) for name in header]
    times = [i for i, role in enumerate(roles) if role in TIME_ROLES or role == "date"]
    if not times or len(rows) < 4:
        return None
    for index, name in enumerate(header):
        if index in times or stated.get(name) or unit_of(name):
            continue
        keys = _keys(table, index)
        words = words_of(name)
        named = bool(words & _KEY_WORDS) and "air" not in roles
        if len(keys) < 2 or words & (QUANTITY | SETTING | AIR | AMBIENT | MEAT):
            continue
        if not (named or _names_probes(keys)) or not _is_sweep(table, index, times, named):
            continue
        values = [
            i
            for i, other in enumerate(header)
            if i not in (index, *times) and _is_temperature(table, i, other, stated)
        ]
        if len(values) != 1:
            plain = [i for i in values if not words_of(header[i]) & (SETTING | QUANTITY)]
            values = plain if len(plain) == 1 else values
        if not values:
            return None
        if len(values) > 1:
            reading.fail(
                f"Each row holds one probe, named in column {short(name)}, but "
                f"{', '.join(short(header[i]) for i in values)} may each be its reading.",
                "Leave out the others, for example "
                f"columns={{{header[values[-1]]!r}: 'ignore'}}.",
                table.header_row,
                name,
            )
        return _Long(index, values[0], _time_of(table, times, stated), keys)
    return None


def _keys(table: Table, index: int) -> list[str]:
    """Return the different cells of a column, if there are few and every row has one."""
    rows = table.rows
    step = max(1, len(rows) // _LOOK)
    for part in (rows[:_LOOK], rows[::step], rows):
        found = dict.fromkeys(row[index].strip() if index < len(row) else "" for row in part)
        if len(found) > _MOST_PROBES + 1:
            return []
    found.pop("", None)
    if 2 * len(found) > len(rows) or any(len(key) > 40 for key in found):
        return []
    numbers = [key for key in found if not any(c.isalpha() for c in key)]
    is_count = all(key.isdecimal() and int(key) < _HIGHEST_NUMBER for key in numbers)
    return list(found) if is_count else []


def _names_probes(keys: Sequence[str]) -> bool:
    return sum(role_of(key) in (*ROLES, "probe") for key in keys) * 2 > len(keys)


def _is_sweep(table: Table, index: int, times: Sequence[int], is_named: bool) -> bool:
    """Tell whether the column changes as one does that says which probe a row holds."""
    cells = [row[index].strip() if index < len(row) else "" for row in table.rows]
    texts = time_cells(table.rows, times)
    pairs = set(zip(texts, cells, strict=True))
    distinct = len(set(texts))
    if len(pairs) >= 0.9 * len(cells) and distinct < 0.8 * len(cells):
        return True  # times repeat, but never with the same probe
    keys = len(set(cells))
    again = sum(one == other for one, other in zip(cells, cells[keys:], strict=False))
    is_cycle = 2 * _changes(cells) > len(cells) and again > 0.6 * (len(cells) - keys)
    return is_named and (is_cycle or _changes(cells) + 1 == keys)


def _changes(cells: Sequence[str]) -> int:
    return sum(one != other for one, other in pairwise(cells))


def _is_temperature(table: Table, index: int, name: str, stated: Mapping[str, str]) -> bool:
    if name in stated:
        return stated[name] in ROLES
    sample = table.rows[:: max(1, len(table.rows) // _LOOK)]
    cells = [row[index].strip() for row in sample if index < len(row)]
    filled = [cell for cell in cells if cell]
    hits = sum(1 for cell in filled if TEMPERATURE_CELL.fullmatch(cell))
    if 2 * hits <= len(filled) or not filled:
        return False
    words = words_of(name)
    said = unit_of(name) or unit_in_cells(table, index) or role_of(name) in (*ROLES, "probe")
    return bool(said or words & _VALUE_WORDS)


def _time_of(table: Table, times: list[int], stated: Mapping[str, str]) -> list[int]:
    dates = [
        i for i in times if (stated.get(table.header[i]) or role_of(table.header[i])) == "date"
    ]
    others = [i for i in times if i not in dates]
    return [*dates[:1], *others[:1]] if others else dates[:1]


def _seconds(
    table: Table, long: _Long, texts: Sequence[str], stated: Mapping[str, str]
) -> Floats:
    name = " ".join(table.header[i] for i in long.times)
    role = stated.get(table.header[long.times[-1]], "time")
    try:
        form = find_form(name, texts, role if len(long.times) == 1 else "time")
    except Undecided:  # asked about where the time is read
        same = {text: float(at) for at, text in enumerate(dict.fromkeys(texts))}
        return np.asarray([same[text] for text in texts]) * 1e6
    return np.asarray([form.seconds(text) for text in texts], dtype=float)


def _sweeps(
    table: Table, long: _Long, texts: Sequence[str], seconds: Floats
) -> list[list[int]]:
    """Return the rows of each sweep over the probes, in the order of the file."""
    cells = [row[long.key].strip() if long.key < len(row) else "" for row in table.rows]
    order: NDArray[np.int64] | range = range(len(cells))
    if _changes(cells) + 1 == len(long.keys):  # one probe after the other
        order = np.argsort(seconds, kind="stable")
    first = np.asarray([s for s, cell in zip(seconds, cells, strict=True) if cell == cells[0]])
    steps = np.abs(np.diff(first))
    steps = steps[np.isfinite(steps) & (steps > 0)]
    apart = min(_TOGETHER_S, _SHARE * float(np.median(steps))) if steps.size else 0.0
    sweeps: list[list[int]] = []
    seen: dict[str, int] = {}
    begin = np.nan
    for i in map(int, order):
        late = abs(seconds[i] - begin)
        is_same = bool(sweeps) and texts[i] == texts[sweeps[-1][0]]
        repeats = cells[i] in seen
        if repeats and is_same and _same_reading(table, long, seen[cells[i]], i):
            sweeps[-1].append(i)
            continue
        if repeats or not cells[i] or not (is_same or late <= apart):
            sweeps.append([])
            seen = {}
            begin = float(seconds[i])
        seen[cells[i]] = i
        sweeps[-1].append(i)
    return sweeps


def _same_reading(table: Table, long: _Long, one: int, other: int) -> bool:
    return (
        table.rows[one][long.value : long.value + 1]
        == table.rows[other][long.value : long.value + 1]
    )


def _name(key: str, heading: str, unit: str | None) -> str:
    words = key if any(c.isalpha() for c in key) else f"{heading} {key}"
    return f"{words} (°{unit})" if unit and unit_of(words) is None else words
