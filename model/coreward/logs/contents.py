"""What a file seems to hold, column by column, before anybody relies on it.

`read_log` refuses what is unclear; `what_it_holds` shows it instead: each column with
examples and a proposal, and what has to be asked. A screen puts the questions, and
`FileContents.arguments` turns the proposals and the answers into what `read_log` takes.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

from coreward import tables
from coreward.logs.heading_words import role_of, unit_of
from coreward.logs.headings import Proposal, propose, unit_in_cells, unit_in_notes
from coreward.logs.log import ROLES
from coreward.logs.parts import TEMPERATURE_CELL, LogReadError, Question, Reading, Table, Unit
from coreward.logs.read import build, checked, is_own_format, table_in, widened
from coreward.logs.text import load_bytes
from coreward.logs.time_forms import (
    TIME_ROLES,
    Undecided,
    find_form,
    looks_like_date_only,
    looks_like_time,
)
from coreward.logs.workbook import is_workbook, sheet_names

Confidence = Literal["stated", "said by the file", "likely", "open"]
"""How far a proposal goes: the caller said it, the file says it, it looks so, or ask."""

_EXAMPLES = 5
_LOOK = 2000  # rows looked at for a proposal


@dataclass(frozen=True)
class ColumnGuess:
    """One column, and what it seems to hold."""

    heading: str
    """Its heading as written."""
    examples: tuple[str, ...]
    """The first different cells that are not empty."""
    role: str
    """Proposed role, one of `COLUMN_ROLES`; ``"ignore"`` where nothing is proposed."""
    role_confidence: Confidence
    """One of `Confidence`."""
    unit: Unit | None
    """Unit of a temperature column; None if it is open, or no temperature."""
    unit_confidence: Confidence
    """One of `Confidence`; ``"said by the file"`` for a column without a temperature."""
    why: str
    """Where the proposal comes from, in a few words."""


@dataclass(frozen=True)
class FileContents:
    """What a file holds, for a screen on which a person maps its columns."""

    file: str
    """Name of the file."""
    kind: str
    """What sort of file it is, in words."""
    rows: int
    """Rows below the header."""
    columns: tuple[ColumnGuess, ...]
    """Its columns, in the order of the file; empty if it has no table."""
    sheets: tuple[str, ...]
    """Sheets with values, of a workbook."""
    questions: tuple[Question, ...]
    """What has to be answered before the file can be read."""
    problem: str
    """Why the file cannot be read at all as it stands, or with these proposals; empty if only
    the questions stand in the way, or nothing does."""

    @property
    def is_ready(self) -> bool:
        """True if `read_log` reads the file as proposed."""
        return not self.questions and not self.problem

    def arguments(
        self, roles: Mapping[str, str] | None = None, **answers: Any
    ) -> dict[str, Any]:
        """Return keyword arguments for `read_log`: what is proposed, and what was answered.

        A proposal that is open is left out, so that nothing is guessed in silence, and so
        is one to leave a column out: only a person may say that.

        Parameters
        ----------
        roles : mapping, optional
            From heading to role, as a person chose.
        **answers
            ``units``, ``zone``, ``sheet``, ``start_date``, ``accept_jumps``, as answered.
            A column whose heading states its unit is not touched by ``units``.
        """
        columns = {
            guess.heading: guess.role
            for guess in self.columns
            if guess.heading
            and guess.role_confidence != "open"
            and (guess.role != "ignore" or guess.role_confidence == "stated")
        }
        columns.update(roles or {})
        return {"columns": columns, **answers}


def what_it_holds(
    path: str | Path,
    *,
    units: Unit | None = None,
    columns: Mapping[str, str] | None = None,
    start_date: dt.date | str | None = None,
    zone: str | None = None,
    sheet: str | None = None,
    accept_jumps: bool = False,
) -> FileContents:
    """Look into a file and say what it seems to hold, and what has to be asked.

    The arguments are those of `read_log`: call it again with what was answered, until
    `FileContents.is_ready`.

    Parameters
    ----------
    path : str or Path
        The file.
    units, columns, start_date, zone, sheet, accept_jumps
        What is known already.

    Raises
    ------
    LogError
        If the file cannot be opened, or holds nothing like a table.
    InputError
        If an argument is not one of those listed.
    """
    stated = checked(units, columns, start_date, zone, sheet, accept_jumps)
    target = Path(path)
    limits = tables.load("log_reading")
    reading = Reading(target.name or str(target), limits)
    data = load_bytes(target, reading)
    sheets = sheet_names(data, reading) if is_workbook(data) else ()
    try:
        table, raw = table_in(data, stated, reading)
    except LogReadError as error:
        if error.question is None:
            raise
        kind = "a workbook with several sheets"
        return FileContents(reading.file, kind, 0, (), sheets, (error.question,), "")
    kind = " ".join(reading.understood)
    with suppress(LogReadError):  # what is unclear about it is said below
        table, stated = widened(table, stated, reading)
    guesses = _guesses(table, stated.columns, units, reading)
    questions: tuple[Question, ...] = ()
    problem = ""
    again = Reading(reading.file, limits, notes=list(reading.notes))
    try:
        build(raw, table, stated, again)
    except LogReadError as error:
        questions = _questions(guesses, table)
        asked = {(one.argument, one.column) for one in questions}
        if error.question is None:
            problem = f"{error.what} {error.remedy}"
        elif (error.question.argument, error.question.column) not in asked and not (
            error.question.argument == "columns" and questions
        ):
            questions = (*questions, error.question)
    return FileContents(
        reading.file, kind, len(table.rows), guesses, sheets, questions, problem
    )


def _guesses(
    table: Table, stated: Mapping[str, str], units: Unit | None, reading: Reading
) -> tuple[ColumnGuess, ...]:
    overall = unit_in_notes(reading)
    own = is_own_format(reading)
    proposals = propose(table, stated, units, reading)
    roles = [proposal.role for proposal in proposals]
    has_air, has_meat = "air" in roles, "meat" in roles
    found = []
    for index, name in enumerate(table.header):
        cells = [row[index].strip() for row in table.rows[:_LOOK] if index < len(row)]
        filled = [cell for cell in cells if cell]
        examples = tuple(dict.fromkeys(filled))[:_EXAMPLES]
        role, confidence, why = _role(name, proposals[index], filled, stated, has_air, table)
        if role == "ignore" and confidence != "stated" and not has_meat and _warm(filled):
            confidence, why = "open", "its cells are numbers, its heading says nothing known"
        unit: Unit | None = None
        unit_confidence: Confidence = "said by the file"
        if role in ROLES:
            unit = unit_of(name) or unit_in_cells(table, index) or overall
            if own:
                unit = "C"
            if unit is None:
                unit = units
                unit_confidence = "stated" if units else "open"
        elif role in TIME_ROLES:
            try:
                find_form(name, cells, role)
            except Undecided as error:
                confidence, why = "open", error.what
        found.append(ColumnGuess(name, examples, role, confidence, unit, unit_confidence, why))
    return tuple(found)


def _warm(cells: list[str]) -> bool:
    """Tell whether most cells are numbers that may be temperatures."""
    hits = sum(1 for cell in cells if TEMPERATURE_CELL.fullmatch(cell))
    return 2 * hits > len(cells) > 0


def _role(
    name: str,
    proposal: Proposal,
    cells: list[str],
    stated: Mapping[str, str],
    has_air: bool,
    table: Table,
) -> tuple[str, Confidence, str]:
    """Return the proposed role of a column, how far it goes, and why."""
    if name in stated:
        return stated[name], "stated", "as stated"
    by_heading = proposal.role
    if by_heading in ("date", "time") and cells:
        pure = looks_like_date_only(cells)
        role = "date" if pure else "time"
        return role, "said by the file", "by its heading"
    if by_heading in ROLES:
        return by_heading, "said by the file", proposal.why
    if by_heading == "probe":
        if has_air:
            return "meat", "likely", "a probe beside a column of air"
        return "meat", "open", "its heading says that it is a probe, not where it sits"
    if looks_like_time(cells) and not any(
        role_of(other) in ("time", "date") for other in table.header
    ):
        return "time", "likely", "its cells look like times"
    if cells and unit_of(name) is not None:
        return "meat", "open", "its heading states a unit of temperature"
    return "ignore", "likely", "neither heading nor cells say that it is time or temperature"


def _questions(guesses: tuple[ColumnGuess, ...], table: Table) -> tuple[Question, ...]:
    """Return what the proposals leave open."""
    found = []
    headings = tuple(guess.heading for guess in guesses if guess.heading)
    if not any(guess.role in (*TIME_ROLES, "date") for guess in guesses):
        text = "Which column holds the time?"
        found.append(Question("columns", text, headings, role="time"))
    for index, guess in enumerate(guesses):
        if guess.role in TIME_ROLES and guess.role_confidence == "open":
            cells = [row[index] for row in table.rows[:_LOOK] if index < len(row)]
            try:
                find_form(guess.heading, cells, guess.role)
            except Undecided as error:
                choices = error.choices or TIME_ROLES
                found.append(Question("columns", error.what, choices, guess.heading))
    for guess in guesses:
        if guess.role in (*ROLES, "ignore") and guess.role_confidence == "open":
            text = f"What does the column '{guess.heading}' hold?"
            found.append(Question("columns", text, (*ROLES, "ignore"), guess.heading))
    if not any(guess.role == "meat" or guess.role_confidence == "open" for guess in guesses):
        text = "Which column holds the meat?"
        found.append(Question("columns", text, headings, role="meat"))
    open_units = [guess for guess in guesses if guess.role in ROLES and guess.unit is None]
    if open_units:
        examples = ", ".join(open_units[0].examples[:3])
        text = f"In which unit are the temperatures (for example {examples})?"
        found.append(Question("units", text, ("C", "F"), open_units[0].heading))
    return tuple(found)


__all__ = ["ColumnGuess", "Confidence", "FileContents", "Question", "what_it_holds"]
