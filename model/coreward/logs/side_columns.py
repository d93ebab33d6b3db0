"""Columns that a followed log does not use: their numbers go with its rows all the same."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from coreward import tables
from coreward.logs.cells import CellReader
from coreward.logs.log import Floats, LeftOutColumn
from coreward.logs.meat_like import is_meat_like
from coreward.logs.own_format import own_left_out, own_spans
from coreward.logs.parts import Column, Reading
from coreward.logs.placing import Placer
from coreward.logs.read import Plan
from coreward.units import fahrenheit_to_celsius


class SideReader:
    """Reads the cell of one column that is not used.

    Attributes
    ----------
    place : int
        Where its number stands among the values of a row.
    """

    def __init__(self, column: Column, place: int, limits: tables.ParameterSet) -> None:
        self.place = place
        self._column = column
        self._reader = CellReader(column, limits)

    def read(self, cells: list[str]) -> float:
        """Return the number in a row as a temperature; NaN if it is none. [°C]."""
        column = self._column
        if column.index >= len(cells):
            return float(np.nan)
        value = self._reader.read(cells[column.index])[0]
        return value if column.unit == "C" else float(fahrenheit_to_celsius(value))


@dataclass
class Layout:
    """How the lines of the file at hand are read."""

    plan: Plan
    header: list[str]
    delimiter: str  # empty: JSON
    places: list[int]  # of each column among the values of a row
    readers: list[CellReader]
    side: list[SideReader]  # of columns not used
    short_rows: bool
    per_minute: int  # rows that share a minute; 0 if times tell them apart
    lead_s: float  # what to add to the seconds of this form


class SideColumns:
    """All columns that are not used, over all files of a followed log."""

    def __init__(self, limits: tables.ParameterSet) -> None:
        self._limits = limits
        self._columns: list[tuple[LeftOutColumn, bool, int]] = []
        self._own_spans: list[tuple[float, float]] = []

    def readers(self, plan: Plan, placer: Placer, reading: Reading) -> list[SideReader]:
        """Return how the columns of a file are read that are not used."""
        own: dict[str, LeftOutColumn] = {}
        if plan.own:
            self._own_spans = own_spans(reading)
            for name, one in own_left_out(reading):
                if name is None:
                    self._place(one, False, placer)
                else:
                    own[name] = one
        found = []
        for column in plan.unused:
            one = LeftOutColumn(column.name, column.reason, np.empty(0), False)
            place = self._place(own.get(column.name, one), column.may_be_meat, placer)
            if column.unit is not None:
                as_air = Column(column.index, column.name, "air", column.unit)
                found.append(SideReader(as_air, place, self._limits))
        return found

    def _place(self, one: LeftOutColumn, may_be_meat: bool, placer: Placer) -> int:
        for known, _, place in self._columns:
            if known.name == one.name:
                return place
        place = len(placer.columns)
        self._columns.append((one, may_be_meat, place))
        placer.add_channel(tells_apart=False)
        return place

    def left_out(self, columns: list[Floats]) -> list[LeftOutColumn]:
        """Return the columns with the numbers of all rows so far."""
        return [
            replace(
                one,
                temperature_c=values if np.any(np.isfinite(values)) else np.empty(0),
                meat_like=one.meat_like or (may_be_meat and is_meat_like(values)),
            )
            for one, may_be_meat, place in self._columns
            for values in (columns[place],)
        ]

    def unknown_spans(
        self, placer: Placer, time_s: Floats, is_time_of_day: bool
    ) -> tuple[tuple[float, float], ...]:
        """Return the steps of unknown length, those too that our own format told of. [s]."""
        found = set(placer.unknown_spans)
        steps = list(zip(time_s[:-1].tolist(), time_s[1:].tolist(), strict=True))
        if is_time_of_day:  # which may hide a whole day
            longest = self._limits["gap_longest"]
            found.update(step for step in steps if step[1] - step[0] > longest)
        for low, high in self._own_spans:
            found.update(step for step in steps if step[0] < high and step[1] > low)
        return tuple(sorted(found))
