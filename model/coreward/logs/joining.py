"""The files of one log that were read one after the other, as one table.

A logger that rotates its files, begins anew, or writes another header goes on with the same
cook: its rows are joined in the order in which they came, each read as its own header says.
"""

from __future__ import annotations

import re
from array import array
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from coreward.logs.json_rows import is_json, json_table
from coreward.logs.log import Floats, RawRows
from coreward.logs.long_rows import one_column_per_probe
from coreward.logs.parts import Column, LogReadError, Reading, Table, Unused, time_cells
from coreward.logs.read import Plan, Stated, plan_for, times_of
from coreward.logs.rows import kept_rows
from coreward.logs.text import decode, is_header, is_other_header, split_table
from coreward.logs.workbook import is_workbook

_ARRAY = re.compile(rb"(?:\xef\xbb\xbf)?\s*\[\s*\{")


@dataclass
class Part:
    """A table of a file, with its times as written."""

    table: Table
    plan: Plan
    """Its cells, and how these are read."""
    reading: Reading
    """What was found while it was read."""
    texts: list[str]
    """Time of each row, as written."""
    seconds: Floats
    """The same, from the zero of its form. [s]"""
    kept: NDArray[np.int64]
    """Rows that can be used, save those that an earlier file had."""
    not_rows: int = 0
    """Lines that are no row of it, each listed."""
    begins_file: bool = False
    has_replayed: bool = False
    """Whether it is the first of a file, and began with lines of the one before."""

    def marks(self) -> list[int]:
        """Return a number for each row that is kept; rows with the same cells share it."""
        plan, rows = self.plan, self.table.rows
        used = sorted(
            [(one.name, one.index) for one in plan.columns]
            + [(one.name, one.index) for one in plan.unused if one.name]
        )
        return [
            hash((self.texts[i], *((n, rows[i][at]) for n, at in used if at < len(rows[i]))))
            for i in self.kept.tolist()
        ]


@dataclass
class FileRead:
    """A file, its tables, and its lines as they were written."""

    text: str
    """Its lines, decoded."""
    data: bytes
    """Its bytes."""
    reading: Reading
    """What was found besides them."""
    parts: list[Part] = field(default_factory=list)
    """Its tables; empty if it was not understood."""
    is_waiting: bool = False  # what it holds may still be understood

    @property
    def notes(self) -> int:
        """Number of headers, notes and blank lines."""
        if not self.parts:
            return sum(line.strip()[:1] in ("", "#") for line in self.text.split("\n")[:-1])
        rows = sum(len(part.table.rows) for part in self.parts)
        listed = sum(part.not_rows for part in self.parts) + len(self.reading.repairs)
        return self.lines - rows - listed

    @property
    def lines(self) -> int:
        """Number of its lines."""
        return self.text.count("\n") + (self.text != "" and not self.text.endswith("\n"))


def read_file(
    data: bytes, stated: Stated, reading: Reading, before: Sequence[Part]
) -> FileRead:
    """Read the bytes of a file that goes on with others.

    Parameters
    ----------
    reading : Reading
        Its name, its limits, and how many lines came before it.
    before : sequence of Part
        Tables of earlier files: one with the same header is read alike.

    Raises
    ------
    LogReadError
        If it cannot be read, does not settle what its columns mean, or cannot be joined.
    """
    if is_workbook(data):
        reading.fail(
            "A workbook cannot be followed.", "Let the logger write CSV or JSON lines."
        )
    if _ARRAY.match(data):
        reading.fail(
            "An array of JSON cannot be followed.",
            "Let the logger write one object per line.",
        )
    found = FileRead(decode(data, reading), data, reading)
    texts = [found.text]
    while texts:
        text = texts.pop()
        own = Reading(
            reading.file, reading.limits, is_growing=True, lines_before=reading.lines_before
        )
        if is_json(text):
            table = json_table(text, own)[0]
        else:
            table = split_table(text, stated.columns, own)
            heads = [
                i
                for i, cells in enumerate(table.rows)
                if not cells[0][:1].isdigit()
                and not any(cell[:1].isdigit() for cell in cells)
                and is_header(cells, stated.columns)
            ]
            last = len(table.rows) - 1  # may be a header whose rows are to come
            others = [
                i for i in heads if i < last and is_other_header(table.rows[i], table.header)
            ]
            if others:  # read again up to there, and from there
                lines = text.split("\n")
                at = table.numbers[others[0]] - 1
                texts += ["\n" * at + "\n".join(lines[at:]), "\n".join(lines[:at]) + "\n"]
                continue
            if heads:
                table = _without(table, set(heads))
        found.parts.append(_part(table, stated, own, [*before, *found.parts]))
    found.parts[0].begins_file = True
    return found


def not_understood(data: bytes, reading: Reading, is_over: bool) -> FileRead:
    """Return a file that was not understood; if no more will come, its lines are refused."""
    try:
        text = decode(data, reading) if data else ""
    except LogReadError:
        text = data.decode("latin-1")
    if text and not text.endswith("\n"):
        text += "\n"
    found = FileRead(text, data, reading, is_waiting=not is_over)
    for number, line in enumerate(text.split("\n") if is_over else (), start=1):
        if line.strip()[:1] not in ("", "#"):
            reason = "the file ended before it was understood"
            reading.leave_out(number, "not a table row", line, reason)
    return found


def _without(table: Table, gone: set[int]) -> Table:
    kept = [i for i in range(len(table.rows)) if i not in gone]
    numbers = array("q", (table.numbers[i] for i in kept))
    return replace(table, rows=[table.rows[i] for i in kept], numbers=numbers)


def _part(table: Table, stated: Stated, reading: Reading, before: Sequence[Part]) -> Part:
    if one_column_per_probe(table, stated.columns, reading) is not table:
        reading.fail(
            "Each row holds one probe; such a log cannot be followed, nor read in the order "
            "of its rows.",
            "Read it with read_log once it is finished, or let the logger write one row per "
            "time.",
            table.header_row,
        )
    first = before[0].plan.form if before else None
    for one in before:
        if one.table.header != table.header:
            continue  # as in the file before: a rotated file may begin with any time
        texts = time_cells(table.rows, one.plan.time_columns)
        if any(one.plan.form.seconds(text) is not None for text in texts):
            plan = one.plan
            break
    else:
        plan, texts = plan_for(table, stated, reading)
    form = plan.form
    if first is not None and form.kind != first.kind:
        reading.fail(
            "The new file writes its times in another form than the one before.",
            "Follow it as a log of its own.",
        )
    if first is not None and form.has_zone != first.has_zone:
        reading.fail(
            "Of the new file and the one before, one writes its times with a zone and one "
            "without.",
            "Follow it as a log of its own.",
        )
    seconds = times_of(texts, form)
    not_rows = len(reading.repairs)
    kept = kept_rows(table, seconds, plan.time_columns, len(table.header), reading)
    if first is not None and form.origin is not None and first.origin is not None:
        seconds += (form.origin - first.origin).total_seconds()
    return Part(table, plan, reading, texts, seconds, kept, not_rows)


def without_replays(read: FileRead, seen: set[int]) -> None:
    """Leave out the rows with which a file begins that an earlier one had, each listed."""
    for part in read.parts if seen else ():
        marks = part.marks()
        count = next((i for i, mark in enumerate(marks) if mark not in seen), len(marks))
        part.has_replayed = count > 0
        for i in part.kept[:count].tolist():
            reason = "a new file begins with lines of the one before"
            part.reading.leave_out(part.table.numbers[i], "duplicate", part.texts[i], reason)
        part.kept = part.kept[count:]
        if count < len(marks):
            break


@dataclass(frozen=True)
class Joined:
    """All rows that can be used, in the order in which they came, as one table."""

    table: Table
    plan: Plan
    texts: list[str]
    seconds: Floats
    """As for a `Part`."""
    numbers: NDArray[np.int64]
    """Line of each row, counted over all files."""
    begins: list[int]
    new_files: list[int]
    """First rows of tables that follow another, and those that begin a file."""
    replayed: list[int]
    """Those of them before which rows were left out that an earlier file had."""


def joined(parts: Sequence[Part]) -> Joined:
    """Return the rows of tables one after the other; columns of another name stand apart."""
    first = parts[0]
    header = list(first.table.header)
    columns, unused = list(first.plan.columns), list(first.plan.unused)
    rows: list[list[str]] = []
    texts: list[str] = []
    numbers: list[NDArray[np.int64]] = []
    begins: list[int] = []
    for part in parts:
        begins.append(len(rows))
        kept = part.kept.tolist()
        lines = np.frombuffer(part.table.numbers, dtype=np.int64)[part.kept]
        numbers.append(lines + part.reading.lines_before)
        texts += [part.texts[i] for i in kept]
        if (
            part.table.header == first.table.header
            and part.plan.columns == columns[: len(part.plan.columns)]
        ):
            rows += [part.table.rows[i] for i in kept]
            continue
        places = {
            **dict(zip(part.plan.time_columns, first.plan.time_columns, strict=False)),
            **_places(part.plan, header, columns, unused),
        }
        for i in kept:
            row = [""] * len(header)
            for at, cell in enumerate(part.table.rows[i]):
                if at in places:
                    row[places[at]] = cell
            rows.append(row)
    table = Table(
        tuple(header),
        first.table.header_row,
        rows,
        array("q", np.concatenate(numbers).tolist()),
        cut_off=False,
    )
    later = [(at, part) for at, part in zip(begins, parts, strict=True) if part is not first]
    return Joined(
        table,
        replace(first.plan, columns=columns, unused=unused),
        texts,
        np.concatenate([part.seconds[part.kept] for part in parts]),
        np.concatenate(numbers),
        [at for at, _ in later],
        [at for at, part in later if part.begins_file],
        [at for at, part in later if part.has_replayed],
    )


def _places(
    plan: Plan, header: list[str], columns: list[Column], unused: list[Unused]
) -> dict[int, int]:
    """Return where each column of a table stands among those of all; new ones are added."""
    found = {}
    for column in plan.columns:
        same = [one for one in columns if replace(one, index=column.index) == column]
        if not same:
            same = [replace(column, index=len(header))]
            header.append(column.name)
            columns.extend(same)
        found[column.index] = same[0].index
    for other in plan.unused:
        known = [one for one in unused if one.name == other.name]
        if not known:
            known = [replace(other, index=len(header))]
            header.append(other.name)
            unused.extend(known)
        found[other.index] = known[0].index
    return found


def raw_of(files: Sequence[FileRead]) -> RawRows:
    """Return the lines of all files as they were written."""
    return RawRows("".join(one.text for one in files), b"".join(one.data for one in files))
