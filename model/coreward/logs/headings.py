"""What the columns of a log hold: their roles and units, found, stated or asked for."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import cast

from coreward.logs.log import (
    ROLES,
    Role,
)
from coreward.logs.parts import (
    TEMPERATURE_CELL,
    UNIT_NAMES,
    Column,
    Question,
    Reading,
    Table,
    Unit,
    short,
)
from coreward.logs.time_forms import (
    TIME_ROLES,
    looks_like_date_only,
    looks_like_time,
)

_UNIT_MARKS: tuple[tuple[Unit, re.Pattern[str]], ...] = tuple(
    (
        cast(Unit, letter),
        re.compile(
            rf"[°º˚]\s*{letter}(?![a-z])|{sign}|\bdeg(?:ree|rees)?[ _.]*{letter}(?![a-z])"
            rf"|(?<![a-z]){name}|[\[(]\s*{letter}\s*[\])]|[_,/]\s*{letter}$"
            rf"|\b(?:air|pit|temp|temperature|core|internal)\s+{letter}$",
            re.IGNORECASE,
        ),
    )
    for letter, sign, name in (("C", "℃", "celsius"), ("F", "℉", "fahrenheit"))
)

_UNIT_HEADINGS = ("unit", "units", "temperature unit", "temperature units")
_UNUSED_WORDS = frozenset(
    {
        "set",
        "setpoint",
        "target",
        "goal",
        "alarm",
        "limit",
        "fan",
        "damper",
        "humidity",
        "rh",
        "battery",
        "signal",
        "eta",
        "remaining",
        "estimate",
        "estimated",
        "predicted",
        "rate",
        "delta",
        "weight",
        "mass",
        "note",
        "notes",
        "comment",
        "event",
        "dew",
        "wet",
        "bulb",
    }
)
_TIME_WORDS = frozenset(
    {
        "time",
        "timestamp",
        "datetime",
        "elapsed",
        "clock",
        "date",
        "duration",
        "zeit",
        "uhrzeit",
        "datum",
        "seconds",
        "minutes",
        "hours",
        "heure",
        "hora",
        "tijd",
    }
)
_DATE_WORDS = frozenset({"date", "datum", "day"})
_AIR_WORDS = frozenset(
    {
        "air",
        "pit",
        "grill",
        "grate",
        "smoker",
        "cooker",
        "oven",
        "chamber",
        "barrel",
        "luft",
        "garraum",
        "ofen",
        "kammer",
    }
)
_AMBIENT_WORDS = frozenset({"ambient", "outdoor", "outdoors", "outside", "weather", "shade"})
_MEAT_WORDS = frozenset(
    {
        "meat",
        "core",
        "food",
        "internal",
        "piece",
        "brisket",
        "beef",
        "chuck",
        "pork",
        "shoulder",
        "butt",
        "belly",
        "ham",
        "loin",
        "rib",
        "ribs",
        "chicken",
        "turkey",
        "breast",
        "thigh",
        "leg",
        "lamb",
        "salmon",
        "fish",
        "flat",
        "point",
        "roast",
        "joint",
        "fleisch",
        "kern",
        "viande",
        "carne",
    }
)
_PROBE_WORDS = frozenset({"probe", "probes", "sonde", "fühler"})


def _words_of(name: str) -> set[str]:
    spaced = re.sub(r"(?<=[a-z])(?=[A-Z])", " ", name)
    return set(re.findall(r"[^\W\d_]+", spaced.lower()))


def role_of(name: str) -> str:
    """Return what a heading says its column holds; empty if nothing known."""
    words = _words_of(name)
    if words & _UNUSED_WORDS:
        return ""
    if words & _TIME_WORDS:
        return "date" if words & _DATE_WORDS and not words & {"time", "clock"} else "time"
    if words & _AIR_WORDS:
        return "air"
    if words & _AMBIENT_WORDS:
        return "ambient"
    if words & _MEAT_WORDS:
        return "meat"
    return "probe" if words & _PROBE_WORDS else ""


def unit_of(name: str) -> Unit | None:
    """Return the unit a heading states; None if it states none, or both."""
    found = [unit for unit, mark in _UNIT_MARKS if mark.search(name.strip())]
    return found[0] if len(found) == 1 else None


def assign_columns(
    table: Table,
    stated: Mapping[str, str],
    units: Unit | None,
    own: bool,
    reading: Reading,
) -> tuple[list[int], list[Column]]:
    """Return the time columns and the temperature columns; refuse what is unclear."""
    header = table.header
    _check_header(table, stated, reading)
    roles = [stated.get(name) or role_of(name) for name in header]
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
    unused = [
        name
        for name, role in zip(header, roles, strict=True)
        if name and role in ("", "ignore")
    ]
    if unused:
        reading.understood.append(f"Not used: {', '.join(short(name) for name in unused)}.")
    chosen = [
        (i, name, role)
        for i, (name, role) in enumerate(zip(header, roles, strict=True))
        if role in ROLES
    ]
    for _, name, role in chosen:
        why = "as stated" if stated.get(name) == role else "by its heading"
        reading.understood.append(f"Column '{name}' is {role}, {why}.")
    found = _units(table, chosen, units, reading)
    columns = [Column(i, name, role, found[i]) for i, name, role in chosen]
    return _time_columns(table, roles, stated, reading), columns


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
