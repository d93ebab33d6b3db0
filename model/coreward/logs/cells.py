"""From the cells of one column to temperatures; units that change are refused."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import cast

import numpy as np
from numpy.typing import NDArray

from coreward import tables
from coreward.logs.log import Floats, Role
from coreward.logs.parts import (
    TEMPERATURE_CELL,
    UNIT_NAMES,
    Column,
    Question,
    Reading,
    Table,
    Unit,
    Unused,
    short,
)
from coreward.units import fahrenheit_to_celsius

_ZEROS: dict[Unit, tuple[float, ...]] = {
    "C": (0.0, -17.8, -17.78, float(fahrenheit_to_celsius(0.0))),
    "F": (0.0, 32.0),
}
"""Zero, and the zero of the other scale."""


def read_column(
    column: Column,
    table: Table,
    kept: NDArray[np.int64],
    numbers: NDArray[np.int64],
    own: bool,
    reading: Reading,
) -> Floats:
    """Return one column in the unit of the file, NaN where there is no reading."""
    cells, known, faults = _read(column, table, kept, reading.limits)
    if own:
        faults = {cell: fault for cell, fault in faults.items() if fault.kind != "no reading"}
    values = [known[cell] for cell in cells]
    unusable = 0
    amiss = [i for i, cell in enumerate(cells) if cell in faults] if faults else []
    runs = groupby(enumerate(amiss), lambda one: (cells[one[1]].strip(), one[1] - one[0]))
    for (text, _), places in runs:
        run = [at for _, at in places]
        fault = faults[cells[run[0]]]
        if fault.kind == "mixed units":
            reading.fail(
                fault.reason,
                "Write the whole column in one unit, or cut the file where it changes.",
                int(numbers[run[0]]),
                column.name,
            )
        unusable += len(run) * (fault.kind in ("absurd", "not a number"))
        reading.record(
            int(numbers[run[0]]),
            fault.kind,
            text[:60],
            "no reading",
            fault.reason,
            column=column.name,
            last=int(numbers[run[-1]]),
        )
    result = np.asarray(values)
    if not own:
        result = _without_zeros(result, column, numbers, reading)
    if 2 * unusable > result.size:
        fault_row = next(
            r
            for r in reading.repairs
            if r.column == column.name and r.kind in ("absurd", "not a number")
        )
        reading.fail(
            f"More than half of its cells are no temperatures in {UNIT_NAMES[column.unit]}, "
            f"for example {short(fault_row.was)}.",
            "Check which column and which unit it is, and state them with columns= and units=.",
            fault_row.row,
            column.name,
        )
    return result


def read_unused(unused: Unused, table: Table, kept: NDArray[np.int64]) -> Floats:
    """Return the numbers of a column that is not used as temperatures; empty if none. [°C]."""
    if unused.unit is None:
        return np.empty(0)
    column = Column(unused.index, unused.name, "air", unused.unit)
    cells, known, _ = _read(column, table, kept, tables.load("log_reading"))
    values = np.asarray([known[cell] for cell in cells])
    if not np.any(np.isfinite(values)):
        return np.empty(0)
    return values if unused.unit == "C" else fahrenheit_to_celsius(values)


def _read(
    column: Column, table: Table, kept: NDArray[np.int64], limits: tables.ParameterSet
) -> tuple[list[str], dict[str, float], dict[str, _Fault]]:
    """Return the cells of a column, the reading of each, and what is wrong with it.

    A log repeats itself: each different cell is read once, with all care.
    """
    reader = _CellReader(column, limits)
    rows, index = table.rows, column.index
    cells = [rows[i][index] if index < len(rows[i]) else "" for i in kept.tolist()]
    found = {cell: reader.read(cell) for cell in dict.fromkeys(cells)}
    known = {cell: value for cell, (value, _) in found.items()}
    return cells, known, {cell: fault for cell, (_, fault) in found.items() if fault}


def _without_zeros(
    values: Floats, column: Column, numbers: NDArray[np.int64], reading: Reading
) -> Floats:
    """Return readings without the zeros that a logger writes for no probe, each listed.

    A zero counts as none where nothing else is ever read, or where the readings beside it
    are so far away that neither meat nor air can have been at zero in between.
    """
    if column.role == "ambient":
        return values
    codes = _ZEROS[column.unit]
    is_zero = np.isin(values, codes)
    if not np.any(is_zero):
        return values
    limits = reading.limits
    degree = 1.8 if column.unit == "F" else 1.0
    known = np.flatnonzero(np.isfinite(values))
    result = values.copy()
    alone = bool(np.all(values[known] == values[known[0]])) and known.size > 1
    marks = np.concatenate(([0], is_zero[known].astype(np.int8), [0]))
    edges = np.flatnonzero(np.diff(marks))
    for first, end in zip(edges[0::2].tolist(), edges[1::2].tolist(), strict=True):
        run = known[first:end]
        beside = [known[at] for at in (first - 1, end) if 0 <= at < known.size]
        value = float(values[run[0]])
        stays = end - first >= limits["zero_rows"]
        far = degree * limits["zero_jump_after_rows" if stays else "zero_jump"]
        if not alone and not any(abs(values[at] - value) >= far for at in beside):
            continue
        result[run] = np.nan
        reading.record(
            int(numbers[run[0]]),
            "unplugged",
            f"{value:.6g}",
            "no reading",
            "nothing but zero is ever read: no probe is plugged in"
            if alone
            else "zero stands beside readings far from it: it is written for no probe",
            column=column.name,
            last=int(numbers[run[-1]]),
        )
    return result


@dataclass(frozen=True)
class _Fault:
    """Why a cell gives no reading: a short name, and the reason in plain words."""

    kind: str
    reason: str


class _CellReader:
    """Turns the cells of one column into numbers, with the fault of each that is none."""

    def __init__(self, column: Column, limits: tables.ParameterSet) -> None:
        edge = "meat" if column.role == "meat" else "air"
        self._low, self._high = (limits[f"{edge}_{end}"] for end in ("lowest", "highest"))
        if column.unit == "F":
            self._low, self._high = (t * 9.0 / 5.0 + 32.0 for t in (self._low, self._high))
        self._codes = {
            limits[name]: limits.record(name).note
            for name in limits
            if name.startswith("code_")
        }
        pairs = [
            value.split(" | ", 1) for key, value in limits.texts if key.startswith("marker_")
        ]
        self._markers = {text: reason for text, reason in pairs}
        self._unit = column.unit
        self._scale = column.scale

    def read(self, cell: str) -> tuple[float, _Fault | None]:
        """Return the reading, or NaN with its fault."""
        try:
            value = float(cell)
        except ValueError:
            return self._slowly(cell)
        if self._scale != 1.0:
            return self._slowly(cell)
        if (
            self._low <= value <= self._high
            and value not in self._codes
            and "_" not in cell
            and cell.isascii()
        ):
            return value, None
        return self._slowly(cell)

    def _slowly(self, cell: str) -> tuple[float, _Fault | None]:
        text = cell.strip()
        if not text:
            return np.nan, _Fault("no reading", "the cell is empty")
        reason = self._markers.get(text.lower())
        if reason is not None:
            return np.nan, _Fault("unplugged", reason)
        match = TEMPERATURE_CELL.fullmatch(text)
        if match is None:
            return np.nan, _Fault("not a number", "the cell holds no temperature")
        value = float(match[1].replace(",", "."))
        if value in self._codes:
            return np.nan, _Fault("unplugged", self._codes[value])
        if match[2] and match[2].upper() != self._unit:
            return np.nan, _Fault(
                "mixed units",
                f"The cell {short(text)} is in {UNIT_NAMES[cast(Unit, match[2].upper())]}, "
                f"but the column is in {UNIT_NAMES[self._unit]}: mixed units.",
            )
        if self._scale != 1.0:
            value = round(value * self._scale, 6)
        if not self._low <= value <= self._high:
            return np.nan, _Fault(
                "absurd",
                f"outside {self._low:.4g} to {self._high:.4g} {UNIT_NAMES[self._unit]}",
            )
        return value, None


def check_unit_jumps(
    read: Sequence[tuple[Column, Floats]],
    numbers: NDArray[np.int64],
    accept: bool,
    reading: Reading,
) -> None:
    """Find columns that jump from t °C to the same t in °F, or back; never convert."""
    marks = [_unit_jumps(values, reading.limits) for _, values in read]
    together = np.sum([mark != 0 for mark in marks], axis=0) if marks else np.zeros(0)
    found: list[tuple[int, str, str]] = []

    def calm(number: int, i: int) -> bool:
        column, values = read[number]
        return _calm_around(values, i, column.role, reading.limits)

    for number, ((column, values), mark) in enumerate(zip(read, marks, strict=True)):
        for i in np.flatnonzero(mark).tolist():
            # Columns that jump together vouch for each other. But probes pulled out of
            # the meat together fall on; after a change of unit some probe reads steadily.
            meats = [n for n, m in enumerate(marks) if m[i] and read[n][0].role == "meat"]
            asked = [number] if together[i] < 2 else meats
            if asked and not any(calm(n, i) for n in asked):
                continue
            change = "°C to °F" if mark[i] > 0 else "°F to °C"
            found.append(
                (
                    int(numbers[i + 1]),
                    column.name,
                    f"The readings jump from {values[i]:.6g} to {values[i + 1]:.6g}, just as "
                    f"from {change}: mixed units.",
                )
            )
            break
    if not found:
        return
    row, name, what = min(found)
    if accept:
        reading.warnings.append(f"Row {row}, column '{name}': {what} Taken as real, as stated.")
        return
    others = ", ".join(f"'{other}' row {at}" for at, other, _ in sorted(found) if other != name)
    reading.fail(
        what + (f" Likewise {others}." if others else ""),
        "Cut the file at this row or write all rows in one unit; nothing was converted. If the "
        "jump is real, state accept_jumps=True.",
        row,
        name,
        Question("accept_jumps", what + " Is the jump real?", ("no", "yes"), name),
    )


def _unit_jumps(values: Floats, limits: tables.ParameterSet) -> NDArray[np.int8]:
    """Mark each step that follows the relation of the scales: +1 to °F, -1 to °C.

    Meanwhile the meat went on as in the step before, or less.
    """
    before, after = values[:-1], values[1:]
    tolerance, least = limits["unit_jump_tolerance"], limits["unit_jump_smallest"]
    known = np.isfinite(before) & np.isfinite(after)
    large = known & (np.abs(np.where(known, after - before, 0.0)) >= least)
    moved = np.diff(values, prepend=values[:1])[:-1]
    calm = np.abs(np.nan_to_num(moved)) <= limits["unit_jump_calm"]
    further = before + np.where(calm, np.nan_to_num(moved), 0.0)
    low, high = np.fmin(before, further), np.fmax(before, further)
    up = large & (low * 1.8 + 32.0 - tolerance <= after)
    up &= after <= high * 1.8 + 32.0 + tolerance
    down = large & ((low - 32.0) / 1.8 - tolerance <= after)
    down &= after <= (high - 32.0) / 1.8 + tolerance
    return up.astype(np.int8) - down.astype(np.int8)


def _calm_around(values: Floats, i: int, role: Role, limits: tables.ParameterSet) -> bool:
    """Tell whether a jump stands alone between calm readings, as a change of unit does.

    A meat probe cannot jump so, hence one row in the other unit is enough. The air can,
    when the lid is opened: it must stay at the new level.
    """
    calm = limits["unit_jump_calm"]
    rows = int(limits["unit_jump_rows"])
    if i > 0 and not abs(values[i] - values[i - 1]) <= calm:
        return False
    following = values[i + 1 : i + 2 + rows]
    # As calm as before, in degrees of the unit that it is now in.
    degree = 1.8 if values[i + 1] > values[i] else 1.0
    steps = np.abs(np.diff(following)) / (degree if role == "meat" else 1.0)
    if role == "meat":
        if following.size == 1:
            return True
        returns = abs(values[i + 2] - values[i]) <= calm
        return bool(steps[0] <= calm or returns)
    return bool(steps.size == rows and np.all(steps <= calm))
