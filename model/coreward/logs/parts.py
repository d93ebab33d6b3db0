"""What the steps of reading a log hand to one another, and how they fail."""

from __future__ import annotations

import re
from array import array
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Literal, NoReturn

from coreward import tables
from coreward.errors import LogError
from coreward.logs.log import Repair, Role
from coreward.words import Text

Unit = Literal["C", "F"]
UNIT_NAMES: dict[Unit, str] = {"C": "°C", "F": "°F"}
LEFT_OUT = "row left out"
HEADER_SEARCH = 30  # lines of preamble a logger may write before its header

TEMPERATURE_CELL = re.compile(
    r"([+-]?\d{1,20}(?:[.,]\d{0,25})?(?:[eE][+-]?\d{1,3})?)\s*(?:[°º˚]|deg\.?)?\s*([cCfF])?",
    re.ASCII,
)


@dataclass(frozen=True)
class Question:
    """What a file does not settle, in a form that a screen can put to a person."""

    argument: str
    """Argument of `read_log` that answers it: ``"units"``, ``"columns"``, ``"sheet"``,
    ``"zone"`` or ``"accept_jumps"``."""
    text: str
    """The question, in one or two sentences."""
    choices: tuple[str, ...] = ()
    """Possible answers; empty if any text may be one. For ``"columns"`` they are what the
    column may hold."""
    column: str = ""
    """Heading of the column it is about; empty for the whole file."""
    role: str = ""
    """For ``"columns"`` without a column: the choices are headings, and the one chosen gets
    this role."""


class LogReadError(LogError):
    """A probe log that cannot be read.

    Attributes
    ----------
    row : int or None
        Row of the file, counted from 1 with every line.
    question : Question or None
        What has to be answered, if an answer would help.
    """

    def __init__(
        self,
        file: str,
        what: str,
        remedy: str,
        row: int | None = None,
        column: str = "",
        question: Question | None = None,
    ) -> None:
        what, remedy = _shown(what), _shown(remedy)  # both may quote the file
        place = short(file, 80)
        if row is not None:
            place += f", row {row}"
        if column:
            place += f", column {short(column)}"
        super().__init__(f"{place}: {what} {remedy}")
        self.file = file
        self.row = row
        self.column = column
        self.what = what
        self.remedy = remedy
        self.question = question


@dataclass
class Reading:
    """What gathers while one file is read."""

    file: str
    limits: tables.ParameterSet
    repairs: list[Repair] = field(default_factory=list)
    understood: list[str] = field(default_factory=list)
    warnings: list[Text] = field(default_factory=list)
    unknown: list[tuple[int, int]] = field(default_factory=list)  # rows: unknown time between
    notes: list[str] = field(default_factory=list)
    aside: list[tuple[str, str]] = field(default_factory=list)  # columns left out, and why
    is_growing: bool = False  # a line that is no row is then left out, and the rest is read
    lines_before: int = 0  # in files that were read before this one

    def fail(
        self,
        what: str,
        remedy: str,
        row: int | None = None,
        column: str = "",
        question: Question | None = None,
    ) -> NoReturn:
        """Raise the error for this file."""
        raise LogReadError(self.file, what, remedy, row, column, question)

    def gather(self, other: Reading) -> None:
        """Take what was found in a file that is read with this one."""
        self.repairs += other.repairs
        self.notes += other.notes
        self.unknown += other.unknown
        self.understood += [one for one in other.understood if one not in self.understood]
        self.warnings += [one for one in other.warnings if one not in self.warnings]
        self.aside += other.aside

    def record(
        self,
        row: int,
        kind: str,
        was: str,
        became: str,
        reason: str,
        *,
        column: str = "",
        last: int | None = None,
    ) -> None:
        """List a repair of a row, or of all from it to the last one."""
        self.repair(
            Repair(row, column, kind, was, became, reason, row if last is None else last)
        )

    def leave_out(self, row: int, kind: str, was: str, reason: str, column: str = "") -> None:
        """List a row that is left out."""
        self.record(row, kind, was[:60], LEFT_OUT, reason, column=column)

    def repair(self, repair: Repair) -> None:
        """List a repair; refuse a file with more of them than a log can have."""
        if self.lines_before and repair.row is not None:
            last = None if repair.last_row is None else repair.last_row + self.lines_before
            repair = replace(repair, row=repair.row + self.lines_before, last_row=last)
        self.repairs.append(repair)
        if len(self.repairs) > self.limits["repair_limit"]:
            self.fail(
                f"More than {self.limits['repair_limit']:.0f} separate faults were found up "
                f"to here; the last: {repair.reason}.",
                "This is not a usable log; export it again, or cut out the faulty part.",
                repair.row,
                repair.column,
            )


@dataclass(frozen=True)
class Table:
    """The cells of a file: header and rows, each with its row in the file."""

    header: tuple[str, ...]
    header_row: int
    rows: list[list[str]]
    numbers: array[int]
    cut_off: bool
    delimiter: str = ","
    is_cut_at_cells: bool = True  # false where an empty cell is just not there


@dataclass(frozen=True)
class Column:
    """A temperature column to be read."""

    index: int
    name: str
    role: Role
    unit: Unit
    scale: float = 1.0  # 0.1 where the heading says tenths


@dataclass(frozen=True)
class Unused:
    """A column that is not read as a probe."""

    index: int
    name: str
    """Its place and its heading."""
    reason: str
    """Why it is left out, in plain words."""
    unit: Unit | None
    """Unit of its numbers, if they may be temperatures."""
    may_be_meat: bool
    """Whether its readings are to be asked if they move as meat does."""


def _shown(text: str, most: int = 500) -> str:
    """Return text without control characters, cut if a file made it long."""
    shown = "".join(c if c.isprintable() else "?" for c in text)
    return shown if len(shown) <= most else shown[: most - 1] + "…"


def short(text: str, most: int = 40) -> str:
    """Return text in quotes, cut and without control characters, for a message."""
    shown = text if len(text) <= most else text[: most - 1] + "…"
    return "'" + "".join(c if c.isprintable() else "?" for c in shown) + "'"


def metadata_of(notes: Sequence[str]) -> tuple[tuple[str, str], ...]:
    """Return the notes of the form ``key: value``."""
    pairs = []
    for note in notes:
        key, colon, value = note.partition(":")
        if colon and key.strip() and len(key) <= 60:
            pairs.append((key.strip(), value.strip()))
    return tuple(pairs)


def time_cell(cells: Sequence[str], time_columns: Sequence[int]) -> str:
    """Return the time of a row as text; date and clock joined; empty if cut off."""
    if max(time_columns) >= len(cells):
        return ""
    return " ".join(cells[i].strip() for i in time_columns)


def time_cells(rows: Sequence[Sequence[str]], time_columns: Sequence[int]) -> list[str]:
    """Return the times of all rows as `time_cell` does."""
    if len(time_columns) == 1:
        (index,) = time_columns
        return [cells[index].strip() if index < len(cells) else "" for cells in rows]
    return [time_cell(cells, time_columns) for cells in rows]
