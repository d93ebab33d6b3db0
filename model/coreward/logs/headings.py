"""What the columns of a log hold: their roles and units, found, stated or asked for."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import cast

import numpy as np

from coreward.logs.heading_words import (
    AMBIENT,
    MEAT,
    QUANTITY,
    SETTING,
    is_in_tenths,
    is_only_quantity,
    role_of,
    states_other_unit,
    unit_of,
    words_of,
)
from coreward.logs.log import ROLES, Role
from coreward.logs.meat_like import is_meat_like
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
from coreward.logs.time_forms import TIME_ROLES, looks_like_date_only, looks_like_time
from coreward.units import fahrenheit_to_celsius

_UNIT_HEADINGS = ("unit", "units", "temperature unit", "temperature units", "einheit")
_LOOK = 400  # cells of a column looked at
_NO_TEMPERATURE = 1e6


@dataclass(frozen=True)
class Proposal:
    """What a column is taken for, and why."""

    role: str
    """A role, ``"probe"`` where only its place is open, or empty if it is not used."""
    why: str = "by its heading"
    """Where the role comes from, in a few words."""
    left_out: str = ""
    """Why it is not used, in plain words; empty if it is."""
    may_be_meat: bool = False
    """Whether only its readings can tell that it is no probe in meat."""


def propose(
    table: Table, stated: Mapping[str, str], units: Unit | None, reading: Reading
) -> list[Proposal]:
    """Return what each column is taken for: as stated, by its heading, by its readings.

    No list of words outvotes a unit of temperature and readings that move as meat does.
    """
    overall = unit_in_notes(reading) or unit_in_column(table, reading) or units
    return [
        Proposal(
            "" if stated[name] == "ignore" else stated[name],
            "as stated",
            "it was stated to be left out" if stated[name] == "ignore" else "",
        )
        if name in stated
        else _proposal(table, index, name, overall)
        for index, name in enumerate(table.header)
    ]


def _proposal(table: Table, index: int, name: str, overall: Unit | None) -> Proposal:
    role, words = role_of(name), words_of(name)
    others = words & (QUANTITY | SETTING)
    if role in TIME_ROLES or role in ("date", "probe", "meat"):
        return Proposal(role)
    if name.strip().lower() in _UNIT_HEADINGS:
        return Proposal("", left_out="it holds the unit of the others")
    if role in ("air", "ambient") and not words & MEAT:
        return Proposal(role)
    own_unit = unit_of(name) or unit_in_cells(table, index)
    meat_like = not states_other_unit(name) and _moves_as_meat(
        table, index, own_unit or overall, 0.1 if is_in_tenths(name) else 1.0
    )
    by_curve = "because its readings move as those of meat do"
    if words & MEAT and meat_like:
        return Proposal("meat", f"by its heading, and {by_curve}")
    if role in ("air", "ambient"):
        return Proposal(role)
    if own_unit and meat_like and not words & SETTING and not words & AMBIENT:
        return Proposal("meat", f"by its unit, and {by_curve}")
    if others:
        reason = f"its heading speaks of '{sorted(others)[0]}'"
    else:
        reason = "its heading names neither time, air nor meat"
    may_be = not states_other_unit(name) and (bool(own_unit) or not is_only_quantity(name))
    return Proposal("", "", reason, may_be)


def _moves_as_meat(table: Table, index: int, unit: Unit | None, scale: float) -> bool:
    """Tell whether a column may be a probe in meat; of an open unit, in either."""
    step = max(1, len(table.rows) // _LOOK)
    values = []
    for cells in table.rows[::step]:
        cell = cells[index].strip() if index < len(cells) else ""
        match = TEMPERATURE_CELL.fullmatch(cell)
        if match:
            value = float(match[1].replace(",", ".")) * scale
            values.append(value if abs(value) < _NO_TEMPERATURE else _NO_TEMPERATURE)
        elif cell.isalpha() and len(cell) > 12:
            return False
    known = np.asarray(values, dtype=float)
    return (unit != "F" and is_meat_like(known)) or (
        unit != "C" and is_meat_like(fahrenheit_to_celsius(known))
    )


def assign_columns(
    table: Table,
    stated: Mapping[str, str],
    units: Unit | None,
    own: bool,
    reading: Reading,
) -> tuple[list[int], list[Column], list[Unused]]:
    """Return columns of time, of temperature, and those not used; refuse what is unclear."""
    header = table.header
    _check_header(table, stated, reading)
    proposals = propose(table, stated, units, reading)
    roles = [proposal.role for proposal in proposals]
    if "air" not in roles and roles.count("ambient") == 1:
        where = roles.index("ambient")
        if stated.get(header[where]) is None:
            roles[where] = "air"
            reading.understood.append(
                f"Column '{header[where]}' was taken for the air in the cooker, because no "
                "other column is."
            )
    if "air" in roles:
        named = [name for name, role in zip(header, roles, strict=True) if role == "probe"]
        roles = ["meat" if role == "probe" else role for role in roles]
        if named:
            reading.understood.append(
                f"Probes without a further name were taken for meat: {', '.join(named)}."
            )
    listing = ", ".join(short(name, 20) for name in header[:12])
    how = (
        "State it, for example "
        "columns={'<heading>': 'time', '<heading>': 'air', '<heading>': 'meat'}."
    )
    if not any(role in TIME_ROLES or role == "date" for role in roles):
        reading.fail(
            f"No column of time was found among {listing}.",
            how + " A table without a header row needs one.",
            table.header_row,
            question=Question(
                "columns", "Which column holds the time?", tuple(header), role="time"
            ),
        )
    if "probe" in roles:
        reading.fail(
            f"Which probe is the air and which the meat cannot be told from {listing}.",
            how,
            table.header_row,
            question=_which("air", header, roles),
        )
    if "meat" not in roles:
        reading.fail(
            f"No meat column was found among {listing}.",
            how,
            table.header_row,
            question=_which("meat", header, roles),
        )
    if roles.count("air") > 1:
        several = [name for name, role in zip(header, roles, strict=True) if role == "air"]
        reading.fail(
            f"More than one column may be the air: {', '.join(map(short, several))}.",
            f"Leave out the others, for example columns={{'{several[-1]}': 'ignore'}}.",
            table.header_row,
            question=Question(
                "columns",
                "Which column holds the air in the cooker?",
                tuple(several),
                role="air",
            ),
        )
    if "air" not in roles:
        if not stated and not own:
            reading.fail(
                f"No air column was found among {listing}.",
                how + " For a log without one, state the meat columns.",
                table.header_row,
                question=_which("air", header, roles),
            )
        reading.understood.append("There is no air column.")
    meats = roles.count("meat")
    most = reading.limits["meat_limit"] + ("air" not in roles)  # eight probes in all
    if meats > most:
        reading.fail(
            f"{meats} meat columns are more than the {most:.0f} that can be read.",
            "Leave some out, for example columns={'<heading>': 'ignore'}.",
            table.header_row,
        )
    unused = [name for name, role in zip(header, roles, strict=True) if name and not role]
    if unused:
        reading.understood.append(f"Not used: {', '.join(short(name) for name in unused)}.")
    chosen = [
        (i, name, role)
        for i, (name, role) in enumerate(zip(header, roles, strict=True))
        if role in ROLES
    ]
    for i, name, role in chosen:
        why = proposals[i].why or "by its heading"
        reading.understood.append(f"Column '{name}' is {role}, {why}.")
    found = _units(table, chosen, units, reading)
    columns = [
        Column(i, name, role, found[i], 0.1 if is_in_tenths(name) else 1.0)
        for i, name, role in chosen
    ]
    times = _time_columns(table, roles, stated, reading)
    return times, columns, _unused(table, proposals, roles, times, found, reading)


def _unused(
    table: Table,
    proposals: Sequence[Proposal],
    roles: Sequence[str],
    times: Sequence[int],
    units: Mapping[int, Unit],
    reading: Reading,
) -> list[Unused]:
    usual = next(iter(units.values()), None)
    unused = []
    for index, (name, proposal) in enumerate(zip(table.header, proposals, strict=True)):
        if index in times or roles[index] in ROLES:
            continue
        if proposal.role:
            unused.append(Unused(index, name, "it is another column of time", None, False))
            continue
        if not name and not any(row[index].strip() for row in table.rows if index < len(row)):
            continue  # the end of every row
        unit = unit_of(name) or unit_in_cells(table, index) or unit_in_notes(reading) or usual
        if states_other_unit(name):
            unit = None
        unused.append(Unused(index, name, proposal.left_out, unit, proposal.may_be_meat))
    return unused


def _check_header(table: Table, stated: Mapping[str, str], reading: Reading) -> None:
    header = table.header
    if len(header) < 2:
        reading.fail(
            "It does not look like a table of columns.",
            "Give a CSV file with a header such as: time_s,air_C,meat_C",
            table.header_row,
        )
    if len(header) > reading.limits["column_limit"]:
        reading.fail(
            f"{len(header)} columns are more than the "
            f"{reading.limits['column_limit']:.0f} that can be read.",
            "Keep time, air and meat.",
            table.header_row,
        )
    seen: dict[str, int] = {}
    for position, name in enumerate(header, start=1):
        key = name.casefold()
        if name and key in seen:
            reading.fail(
                f"Columns {seen[key]} and {position} have the same heading.",
                "Give each its own heading.",
                table.header_row,
                name,
            )
        seen[key] = position
    for name in stated:
        if name not in header:
            reading.fail(
                f"The column {short(name)} that was stated is not in the file.",
                f"Its headings are {', '.join(short(one, 20) for one in header[:12])}.",
                table.header_row,
            )


def _units(
    table: Table,
    chosen: Sequence[tuple[int, str, Role]],
    units: Unit | None,
    reading: Reading,
) -> dict[int, Unit]:
    """Return the unit of each temperature column, from the file or as stated."""
    overall = unit_in_notes(reading) or unit_in_column(table, reading)
    found: dict[int, Unit] = {}
    asked: list[tuple[int, str, Role]] = []
    for index, name, role in chosen:
        by_header = unit_of(name)
        by_cell = unit_in_cells(table, index)
        says = by_header or by_cell or overall
        for other, where in (
            (by_cell, "its cells say"),
            (overall, "a note or column in the file says"),
        ):
            if by_header and other and other != by_header:
                reading.fail(
                    f"The heading says {UNIT_NAMES[by_header]}, but {where} "
                    f"{UNIT_NAMES[other]}.",
                    "Correct the one that is wrong.",
                    table.header_row,
                    name,
                )
        if says and units and says != units:
            reading.fail(
                f"The file says {UNIT_NAMES[says]}, but units={units!r} was stated.",
                "State no unit, or correct the heading.",
                table.header_row,
                name,
            )
        final = says or units
        if final is None:
            asked.append((index, name, role))
            continue
        found[index] = final
        if by_header:
            why = "its heading says so"
        elif by_cell:
            why = "its cells say so"
        elif overall:
            why = "a note or column in the file says so"
        else:
            why = "as stated"
        reading.understood.append(f"Column '{name}' is in {UNIT_NAMES[final]}: {why}.")
    if asked:
        index, name, role = asked[0]
        reading.fail(
            f"No unit is stated for its temperatures.{_unit_hint(table, index, role)}",
            f"State units='C' or units='F' (on the command line --units), or write it in the "
            f"heading, for example '{name}_C'.",
            table.header_row,
            name,
            Question(
                "units",
                f"In which unit are the temperatures?{_unit_hint(table, index, role)}",
                ("C", "F"),
                name,
            ),
        )
    return found


def _which(role: Role, header: Sequence[str], roles: Sequence[str]) -> Question:
    """Return the question which column has a role, among those that may have it."""
    what = "the air in the cooker" if role == "air" else "the meat"
    open_ones = tuple(
        name
        for name, one in zip(header, roles, strict=True)
        if name and one in ("", "probe", "meat")
    )
    return Question("columns", f"Which column holds {what}?", open_ones, role=role)


def unit_in_notes(reading: Reading) -> Unit | None:
    """Return the unit that a note in the file states."""
    for note in reading.notes:
        key, _, value = note.partition(":")
        if key.strip().lower() in _UNIT_HEADINGS:
            text = value.strip()
            if text.upper() in ("C", "F"):
                return cast(Unit, text.upper())
            return unit_of(text)
    return None


def unit_in_column(table: Table, reading: Reading) -> Unit | None:
    """Return the unit that a column of units states in every row alike."""
    for index, name in enumerate(table.header):
        if name.strip().lower() not in _UNIT_HEADINGS:
            continue
        cells = {row[index].strip() for row in table.rows if index < len(row)} - {""}
        said = {cell.upper() if cell.upper() in ("C", "F") else unit_of(cell) for cell in cells}
        if len(said) > 1:
            reading.fail(
                "The unit changes from row to row: mixed units.",
                "Cut the file where it changes, one file per unit.",
                table.header_row,
                name,
            )
        if said:
            return cast("Unit | None", said.pop())
    return None


def unit_in_cells(table: Table, index: int) -> Unit | None:
    """Return the unit that the cells of a column carry; None if none or several."""
    step = max(1, len(table.rows) // 200)
    found = set()
    for cells in table.rows[::step]:
        if index < len(cells):
            match = TEMPERATURE_CELL.fullmatch(cells[index].strip())
            if match:
                found.add((match[2] or "").upper())
    return cast(Unit, found.pop()) if len(found) == 1 and found != {""} else None


def _unit_hint(table: Table, index: int, role: Role) -> str:
    values = []
    for cells in table.rows[:: max(1, len(table.rows) // 200)]:
        match = TEMPERATURE_CELL.fullmatch(cells[index].strip()) if index < len(cells) else None
        if match:
            values.append(float(match[1].replace(",", ".")))
    if not values:
        return ""
    return (
        f" Its readings run from {min(values):.6g} to {max(values):.6g}, which is no proof of "
        "either."
    )


def _time_columns(
    table: Table, roles: Sequence[str], stated: Mapping[str, str], reading: Reading
) -> list[int]:
    """Return the time column, or the date column and the clock column."""
    header = table.header
    candidates = [i for i, role in enumerate(roles) if role in TIME_ROLES]
    dates = [i for i, role in enumerate(roles) if role == "date"]
    by_statement = [i for i in candidates if header[i] in stated]
    if by_statement:
        candidates = by_statement
    sample = table.rows[:: max(1, len(table.rows) // 200)]

    def cells_of(index: int) -> list[str]:
        return [cells[index] for cells in sample if index < len(cells) and cells[index].strip()]

    full = [i for i in dates if not looks_like_date_only(cells_of(i))]
    pure = [i for i in dates if i not in full]
    candidates = sorted([*candidates, *full])
    if not candidates:
        reading.fail(
            "There is a date but no time of day.",
            "Export the log again with times.",
            table.header_row,
            header[dates[0]],
        )
    if len(candidates) > 1:
        chosen = next((i for i in candidates if looks_like_time(cells_of(i))), candidates[0])
        reading.understood.append(f"Of the columns of time, '{header[chosen]}' was used.")
    else:
        chosen = candidates[0]
    if (
        pure
        and any(":" in cell for cell in cells_of(chosen))
        and not any("-" in cell or "/" in cell for cell in cells_of(chosen))
    ):
        return [pure[0], chosen]
    return [chosen]
