"""The probe log itself: readings, what was understood, and every repair.

A log never changes. What the file said is kept row by row in `ProbeLog.raw`; what was
left out or marked as missing is listed in `ProbeLog.repairs`.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
import json
from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Literal, overload

import numpy as np
from numpy.typing import NDArray

from coreward import tables
from coreward.errors import InputError
from coreward.files import write_atomically
from coreward.words import Text, to_plain

Floats = NDArray[np.float64]
Role = Literal["air", "meat", "ambient"]
ROLES: tuple[Role, ...] = ("air", "meat", "ambient")

OWN_FORMAT = "coreward probe log, format 1"
"""First comment line of our own files."""

_OWN_HELP = (
    "Lines that begin with # are notes; then one header row and one row per sample.",
    "time_s: seconds since the first sample. Temperatures in °C; an empty cell: no reading.",
    "Notes 'start', 'start clock', 'source', 'channel', 'left out', 'unknown span', 'repair',",
    "'understood', 'warning' and 'note' carry JSON after the colon.",
)


@dataclass(frozen=True)
class Repair:
    """One thing that was not taken as written."""

    row: int | None
    """Row of the file, counted from 1 with every line; None for a whole column."""
    column: str
    """Name of the column; empty when the whole row is meant."""
    kind: str
    """Short name of the fault, such as ``"unplugged"`` or ``"duplicate"``."""
    was: str
    became: str
    """The cell or row as written, and what it counts as now."""
    reason: str
    """Why, in plain words."""
    last_row: int | None = None
    """Last row of a run with the same fault; equals `row` for a single one."""

    def sentence(self) -> str:
        """Return the repair as one sentence."""
        if self.row is None:
            where = "All rows"
        elif self.last_row is not None and self.last_row != self.row:
            where = f"Rows {self.row} to {self.last_row}"
        else:
            where = f"Row {self.row}"
        if self.column:
            where += f", column '{self.column}'"
        return f"{where}: '{self.was}' became {self.became} ({self.kind}: {self.reason})."


_EFFECTS = {
    "row left out": (
        "half-written",
        "not an object",
        "time unreadable",
        "too many cells",
        "too few cells",
        "not a table row",
        "duplicate",
        "out of place",
    ),
    "time changed": (
        "summer time",
        "clock step",
        "new file",
        "order",
        "whole minutes",
        "half days",
        "one time",
    ),
    "reading missing": ("no reading", "unplugged", "not a number", "absurd"),
}
_EFFECT_OF = {kind: effect for effect, kinds in _EFFECTS.items() for kind in kinds}


@dataclass(frozen=True)
class RepairLayer:
    """All repairs of one kind: one layer between the file and the log."""

    kind: str
    """Short name of the fault, as in `Repair.kind`."""
    effect: str
    """What the layer does: ``"row left out"``, ``"time changed"``, ``"reading missing"`` or
    ``"other"``. None of them puts a number in the place of another."""
    repairs: tuple[Repair, ...]
    """What it changed, place by place."""

    @property
    def rows_touched(self) -> int:
        """Rows of the file that the layer changed; a whole column counts as none."""
        return sum(
            (repair.row if repair.last_row is None else repair.last_row) - repair.row + 1
            for repair in self.repairs
            if repair.row is not None
        )

    def sentence(self) -> str:
        """Return the layer as one sentence."""
        places, rows = len(self.repairs), self.rows_touched
        return (
            f"{self.kind}: {self.effect}, {places} place{'s' if places != 1 else ''}, "
            f"{rows} row{'s' if rows != 1 else ''}."
        )


@dataclass(frozen=True, eq=False)
class Channel:
    """One probe."""

    name: str
    """Name of the column in the file."""
    role: Role
    """What it measures; ambient is the air outside the cooker."""
    temperature_c: Floats
    """Readings. NaN where there is none. [°C] Shape (samples,)."""

    def __post_init__(self) -> None:
        if self.role not in ROLES:
            raise InputError(
                f"Channel {self.name!r}: role {self.role!r} is unknown; use one of "
                f"{', '.join(ROLES)}."
            )
        object.__setattr__(self, "temperature_c", _frozen(self.temperature_c))

    @property
    def plugged(self) -> NDArray[np.bool_]:
        """True where the probe gave a reading."""
        return np.isfinite(self.temperature_c)

    @property
    def is_constant(self) -> bool:
        """True if every reading is the same number: the probe is stuck or simulated."""
        values = self.temperature_c[self.plugged]
        return bool(values.size > 1 and np.all(values == values[0]))


@dataclass(frozen=True, eq=False)
class LeftOutColumn:
    """A column of the file that did not become a channel."""

    name: str
    reason: str
    """Its heading, and why it was left out, in plain words."""
    temperature_c: Floats
    """Its numbers, read as temperatures on the log's own times; empty where it holds none. [°C]
    Shape (samples,)."""
    meat_like: bool
    """Whether its numbers could be those of a probe in meat, or whether it is a probe for meat
    that never gave one: then only a person can say what it was, and no verdict may pass over
    it."""

    def __post_init__(self) -> None:
        object.__setattr__(self, "temperature_c", _frozen(self.temperature_c))


class RawRows(Sequence[tuple[int, str]]):
    """The file as it was written: pairs of row number and text, held compactly.

    Attributes
    ----------
    data : bytes
        The file itself, byte for byte; empty if the rows came from elsewhere.
    """

    __slots__ = ("_starts", "_text", "data")

    def __init__(self, text: str, data: bytes = b"") -> None:
        self._text = text
        self.data = data
        starts = [0]
        position = text.find("\n")
        while position >= 0:
            starts.append(position + 1)
            position = text.find("\n", position + 1)
        if starts[-1] == len(text) and len(starts) > 1:
            starts.pop()
        self._starts = np.asarray(starts, dtype=np.int64)

    def __len__(self) -> int:
        return int(self._starts.size) if self._text else 0

    @overload
    def __getitem__(self, index: int) -> tuple[int, str]: ...

    @overload
    def __getitem__(self, index: slice) -> Sequence[tuple[int, str]]: ...

    def __getitem__(self, index: int | slice) -> tuple[int, str] | Sequence[tuple[int, str]]:
        if isinstance(index, slice):
            return tuple(self[i] for i in range(*index.indices(len(self))))
        size = len(self)
        number = index + size if index < 0 else index
        if not 0 <= number < size:
            raise IndexError(index)
        start = int(self._starts[number])
        end = int(self._starts[number + 1]) if number + 1 < size else len(self._text)
        return number + 1, self._text[start:end].removesuffix("\n")

    def __iter__(self) -> Iterator[tuple[int, str]]:
        return (self[i] for i in range(len(self)))

    def __repr__(self) -> str:
        return f"RawRows({len(self)} rows)"


@dataclass(frozen=True, eq=False)
class ProbeLog:
    """A probe log as it was understood."""

    time_s: Floats
    """Time since the first kept sample, strictly increasing. [s] Shape (samples,)."""
    start: dt.datetime | None
    """Date and time of the first kept sample, if the file or the caller gave a date."""
    channels: tuple[Channel, ...]
    """The probes, in the order of the file."""
    repairs: tuple[Repair, ...] = ()
    """Everything that was not taken as written."""
    understood: tuple[str, ...] = ()
    """How the file was read, in sentences."""
    source: str = ""
    """Name of the file, without its folder."""
    warnings: tuple[Text, ...] = ()
    """What the reader should look at; nothing was changed for it."""
    start_clock: dt.time | None = None
    """Time of day of the first kept sample, known even without a date."""
    notes: tuple[str, ...] = ()
    """Comment lines of the file."""
    metadata: tuple[tuple[str, str], ...] = ()
    """Notes of the form ``key: value``."""
    raw: Sequence[tuple[int, str]] = field(default=(), repr=False)
    """Row numbers and text of the file."""
    left_out: tuple[LeftOutColumn, ...] = ()
    """Columns of the file that did not become channels."""
    unknown_spans: tuple[tuple[float, float], ...] = ()
    """Neighbouring samples between which an unknown time passed (a restored order, a restart, a
    clock without am or pm): no hold, come-up or cooling crosses them. [s]"""

    def __post_init__(self) -> None:
        time_s = _frozen(self.time_s)
        object.__setattr__(self, "time_s", time_s)
        if time_s.ndim != 1 or time_s.size < 2:
            raise InputError("A log needs at least two samples; give more time.")
        if not np.all(np.isfinite(time_s)) or time_s[0] != 0.0 or np.any(np.diff(time_s) <= 0):
            raise InputError(
                "The time of a log must start at 0 and increase strictly; sort it and "
                "subtract the first time."
            )
        for channel in self.channels:
            if channel.temperature_c.shape != time_s.shape:
                raise InputError(
                    f"Channel {channel.name!r} has {channel.temperature_c.size} readings for "
                    f"{time_s.size} times; give one per time, NaN where there is none."
                )
        for column in self.left_out:
            if column.temperature_c.shape not in (time_s.shape, (0,)):
                raise InputError(
                    f"Column {column.name!r}, left out, has {column.temperature_c.size} "
                    f"readings for {time_s.size} times; give one per time, or none at all."
                )
        if not are_steps(self.unknown_spans, time_s):
            raise InputError(
                "A span of unknown time must lie between two neighbouring samples; give their "
                "times."
            )
        if not any(channel.role == "meat" for channel in self.channels):
            raise InputError("A log needs at least one meat channel; state which it is.")

    @property
    def interval_s(self) -> float:
        """Median step between samples. [s]."""
        return float(np.median(np.diff(self.time_s)))

    @property
    def duration_s(self) -> float:
        """Time from the first to the last sample. [s]."""
        return float(self.time_s[-1])

    @property
    def gap_limit_s(self) -> float:
        """Longest step that is not a gap, from table ``log_reading``. [s]."""
        limits = tables.load("log_reading")
        return float(
            np.clip(
                limits["gap_factor"] * self.interval_s,
                limits["gap_shortest"],
                limits["gap_longest"],
            )
        )

    @property
    def gaps(self) -> tuple[tuple[float, float], ...]:
        """Start and end of every stretch without samples. [s]."""
        return self.gaps_between(np.ones(self.time_s.size, dtype=bool))

    def gaps_between(self, kept: NDArray[np.bool_]) -> tuple[tuple[float, float], ...]:
        """Return start and end of every stretch without a sample that is kept. [s]."""
        times = self.time_s[kept]
        wide = np.flatnonzero(np.diff(times) > self.gap_limit_s)
        return tuple((float(times[i]), float(times[i + 1])) for i in wide)

    @property
    def layers(self) -> tuple[RepairLayer, ...]:
        """The repairs by kind: first what left rows out, then times, then readings."""
        by_kind: dict[str, list[Repair]] = {}
        for repair in self.repairs:
            by_kind.setdefault(repair.kind, []).append(repair)
        order = [*_EFFECT_OF, *(kind for kind in by_kind if kind not in _EFFECT_OF)]
        return tuple(
            RepairLayer(kind, _EFFECT_OF.get(kind, "other"), tuple(by_kind[kind]))
            for kind in order
            if kind in by_kind
        )

    def by_role(self, role: Role) -> tuple[Channel, ...]:
        """Return the channels of one role."""
        return tuple(channel for channel in self.channels if channel.role == role)

    @property
    def meats(self) -> tuple[Channel, ...]:
        """The meat channels, in the order of the file."""
        return self.by_role("meat")

    @property
    def air_c(self) -> Floats:
        """Air in the cooker; NaN throughout if the log has no air channel. [°C]."""
        air = self.by_role("air")
        return air[0].temperature_c if air else _frozen(np.full(self.time_s.shape, np.nan))

    def meat(self, number: int = 1) -> Channel:
        """Return a meat channel, counted from 1.

        Raises
        ------
        InputError
            If there is no such channel.
        """
        meats = self.meats
        if not 1 <= number <= len(meats):
            raise InputError(
                f"There is no meat probe {number}; this log has 1 to {len(meats)}."
            )
        return meats[number - 1]

    @property
    def coldest_meat_c(self) -> Floats:
        """Lowest reading among the plugged meat probes, sample by sample. [°C].

        NaN where no meat probe gave a reading. Beware: where the coldest probe is
        unplugged this is the next one; `all_meat_plugged` tells where.
        """
        stack = np.vstack([channel.temperature_c for channel in self.meats])
        lowest = np.where(np.isfinite(stack), stack, np.inf).min(axis=0)
        return _frozen(np.where(np.isfinite(lowest), lowest, np.nan))

    @property
    def all_meat_plugged(self) -> NDArray[np.bool_]:
        """True where every meat probe gave a reading."""
        plugged = np.vstack([channel.plugged for channel in self.meats])
        return np.asarray(plugged.all(axis=0))

    def to_csv(self, path: str | Path) -> Path:
        """Write the log in our own plain format, which `read_log` reads back exactly.

        A comma-separated UTF-8 table ``time_s, air_c, meat_1_c, ...`` under comment lines
        that say what it is. Repairs, sentences and notes go with it; the raw rows of the
        first file do not.

        Raises
        ------
        InputError
            If the file cannot be written.
        """
        return write_atomically(path, self.to_csv_text().encode("utf-8"), what="log")

    def to_csv_text(self) -> str:
        """Return what `to_csv` writes."""
        lines = [OWN_FORMAT, *_OWN_HELP]

        def carry(key: str, value: object) -> None:
            lines.append(f"{key}: {json.dumps(value, ensure_ascii=True)}")

        carry("start", self.start.isoformat() if self.start else None)
        carry("start clock", self.start_clock.isoformat() if self.start_clock else None)
        carry("source", self.source)
        names = own_columns(self.channels)
        for name, channel in zip(names, self.channels, strict=True):
            carry("channel", {"column": name, "name": channel.name, "role": channel.role})
        extra: list[tuple[str, Floats]] = []
        for column in self.left_out:
            own = f"left_out_{len(extra) + 1}_c" if column.temperature_c.size else None
            if own is not None:
                extra.append((own, column.temperature_c))
            carry(
                "left out",
                {
                    "column": own,
                    "name": column.name,
                    "reason": column.reason,
                    "meat_like": column.meat_like,
                },
            )
        for span in self.unknown_spans:
            carry("unknown span", list(span))
        for repair in self.repairs:
            carry("repair", asdict(repair))
        for sentence in self.understood:
            carry("understood", sentence)
        for warning in self.warnings:
            carry("warning", to_plain(warning))
        for note in self.notes:
            carry("note", note)
        out = io.StringIO()
        for line in lines:
            out.write(f"# {line}\n")
        writer = csv.writer(out, lineterminator="\n")
        writer.writerow(["time_s", *names, *(name for name, _ in extra)])
        series = [channel.temperature_c for channel in self.channels]
        columns = [
            ["" if value != value else repr(value) for value in values.tolist()]
            for values in (*series, *(values for _, values in extra))
        ]
        writer.writerows(zip(map(repr, self.time_s.tolist()), *columns, strict=True))
        return out.getvalue()


def are_steps(spans: Sequence[tuple[float, float]], time_s: Floats) -> bool:
    """Tell whether each span lies between two neighbouring samples."""
    places = np.searchsorted(time_s[:-1], [low for low, _ in spans])
    return all(
        at + 1 < time_s.size and (time_s[at], time_s[at + 1]) == (low, high)
        for at, (low, high) in zip(places.tolist(), spans, strict=True)
    )


def own_columns(channels: Sequence[Channel]) -> tuple[str, ...]:
    """Return the column names that our own format gives to channels."""
    counts: dict[str, int] = {}
    names = []
    for channel in channels:
        counts[channel.role] = counts.get(channel.role, 0) + 1
        number = counts[channel.role]
        names.append(
            "air_c" if channel.role == "air" and number == 1 else f"{channel.role}_{number}_c"
        )
    return tuple(names)


def _frozen(values: Floats) -> Floats:
    array = np.array(values, dtype=np.float64)
    array.setflags(write=False)
    return array
