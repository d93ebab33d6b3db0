"""JSON as a table: one object per line, or an array of objects.

Keys are headings, and a value that is itself an object or a list gives one column for
each of its parts (``probes.pit``, ``temps.1``), one level down. Numbers stay as they
are written.
"""

from __future__ import annotations

import json
import re
from array import array
from collections.abc import Iterator
from typing import Any

from coreward.logs.log import RawRows, Repair
from coreward.logs.parts import Reading, Table

Flat = dict[str, str]

_BLANK = re.compile(r"[\s,]*")
_NOT_JSON = "Export the log as one JSON object per line, as an array of objects, or as CSV."


class _Doubled(ValueError):
    """A key that occurs twice in one object."""


def _object(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) != len(pairs):
        raise _Doubled("a key occurs twice")
    return found


_DECODER = json.JSONDecoder(
    object_pairs_hook=_object, parse_float=str, parse_int=str, parse_constant=str
)


def is_json(text: str) -> bool:
    """Tell whether a text begins as JSON objects do; notes before them do not count."""
    position = 0
    while True:
        match = _BLANK.match(text, position)
        position = match.end() if match else position
        if text[position : position + 1] != "#":
            break
        end = text.find("\n", position)
        if end < 0:
            return False
        position = end
    return re.match(r"\{\s*[\"}]|\[\s*\{", text[position : position + 200]) is not None


def flatten(line: str) -> Flat:
    """Return one object as cells by heading.

    Raises
    ------
    ValueError
        If the line is not one JSON object; the message says why.
    """
    try:
        value = _DECODER.decode(line)
    except RecursionError:
        raise ValueError("it is nested without end") from None
    if not isinstance(value, dict):
        raise ValueError("it is no object")
    return _flat(value)


def json_table(text: str, reading: Reading) -> tuple[Table, RawRows]:
    """Return the table in a text of JSON, and its rows as they were written.

    A line of its own makes a row in a file of lines; in an array, the first object is
    row 1.
    """
    most = reading.limits["json_value_limit"]
    if sum(map(text.count, ",[{")) > most:
        reading.fail(
            f"It looks like JSON of more than {most:,.0f} values.",
            "Thin it first: keep every tenth row, or cut it into one file per cook.",
        )
    first = text.lstrip()[:1]
    whole = _whole(text, reading) if first != "#" else None
    if whole is not None:
        objects: Iterator[tuple[int, str, Flat | Repair]] = _from_list(whole)
        kind = "an array of JSON objects; row 1 is the first object"
        raw = RawRows("\n".join(json.dumps(_flat(one), ensure_ascii=False) for one in whole))
    elif first == "[":
        pieces = list(_from_array(text, reading))
        objects = iter(pieces)
        kind = "an array of JSON objects; row 1 is the first object"
        raw = RawRows("\n".join(" ".join(piece.split()) for _, piece, _ in pieces))
    else:
        objects = _from_lines(text, reading)
        kind = "JSON, one object per line"
        raw = RawRows(text)
    places: dict[str, int] = {}
    pool: dict[str, str] = {}
    rows: list[list[str]] = []
    numbers: array[int] = array("q")
    faults = 0
    limits = reading.limits
    for number, _, found in objects:
        if isinstance(found, Repair):
            reading.repair(found)
            faults += found.kind != "half-written"
            continue
        row = [""] * len(places)
        for name, cell in found.items():
            at = places.get(name)
            if at is None:
                places[name] = at = len(places)
                if at >= limits["column_limit"]:
                    reading.fail(
                        f"More than {limits['column_limit']:.0f} different keys were found.",
                        "Keep time, air and meat.",
                        number,
                    )
                row.append("")
            row[at] = pool.setdefault(cell, cell)
        if len(rows) >= limits["row_limit"]:
            reading.fail(
                f"The file holds more than {limits['row_limit']:,.0f} rows.",
                "Thin it first: keep every tenth row, or cut it into one file per cook.",
            )
        rows.append(row)
        numbers.append(number)
    if faults > len(rows) or not rows:
        if not reading.repairs:
            reading.fail("There is no object in it.", "Export the log again.")
        worst = reading.repairs[0]
        reading.fail(f"It looks like JSON, but {worst.reason}.", _NOT_JSON, worst.row)
    reading.understood.append(f"{len(rows)} rows and {len(places)} columns from {kind}.")
    table = Table(
        tuple(places), numbers[0], rows, numbers, cut_off=False, is_cut_at_cells=False
    )
    return table, raw


def _cell(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    return " ".join(value.split()) if isinstance(value, str) else "(nested too deep)"


def _flat(value: dict[str, Any]) -> Flat:
    cells: Flat = {}
    for key, part in value.items():
        name = key.strip()
        if type(part) is str:
            cells[name] = part if part.isascii() and part.isprintable() else _cell(part)
        elif isinstance(part, dict):
            for inner, one in part.items():
                cells[f"{name}.{inner.strip()}"] = _cell(one)
        elif isinstance(part, list):
            for at, one in enumerate(part, start=1):
                cells[f"{name}.{at}"] = _cell(one)
        else:
            cells[name] = _cell(part)
    return cells


def _whole(text: str, reading: Reading) -> list[dict[str, Any]] | None:
    """Return the samples of a single object that holds them as a list, else None."""
    if text.count("\n", 0, text.find("}") + 1) == 0 and "[" not in text[:2000]:
        return None  # an object per line: do not parse it all to find out
    try:
        value = _DECODER.decode(text.strip())
    except (ValueError, RecursionError):
        return None
    if not isinstance(value, dict):
        return None
    lists = {
        key: part
        for key, part in value.items()
        if isinstance(part, list) and part and all(isinstance(one, dict) for one in part)
    }
    if len(lists) != 1:
        return None
    (name,) = lists
    reading.notes.extend(
        f"{key}: {part}" for key, part in value.items() if isinstance(part, str)
    )
    reading.understood.append(f"The samples stand under '{name[:40]}'.")
    return lists[name]


def _from_list(objects: list[dict[str, Any]]) -> Iterator[tuple[int, str, Flat | Repair]]:
    for number, value in enumerate(objects, start=1):
        yield number, "", _flat(value)


def _from_array(text: str, reading: Reading) -> Iterator[tuple[int, str, Flat | Repair]]:
    position = text.index("[") + 1
    number = 0
    while True:
        match = _BLANK.match(text, position)
        position = match.end() if match else position
        if position >= len(text) or text[position] == "]":
            return
        number += 1
        try:
            value, end = _DECODER.raw_decode(text, position)
        except _Doubled as error:
            reading.fail(f"In the object {error}.", "Give each its own key.", number)
        except (ValueError, RecursionError):
            rest = text[position:]
            if number > 1 and "}" not in rest:
                yield number, rest, _cut_off(number, rest)
                return
            reading.fail(
                "The object cannot be read: a comma, bracket or quotation mark is wrong.",
                "Correct it, or export the log again.",
                number,
            )
        piece = text[position:end]
        position = end
        if isinstance(value, dict):
            yield number, piece, _flat(value)
        else:
            yield number, piece, _no_object(number, piece, "it is no object")


def _from_lines(text: str, reading: Reading) -> Iterator[tuple[int, str, Flat | Repair]]:
    lines = text.split("\n")
    last = len(lines)
    for number, line in enumerate(lines, start=1):
        stripped = line.strip()
        if not stripped:
            continue
        if stripped.startswith("#"):
            reading.notes.append(stripped.lstrip("#").strip())
            continue
        try:
            found: Flat | Repair = flatten(stripped)
        except ValueError as error:
            if number == last and not stripped.endswith("}"):
                found = _cut_off(number, stripped)
            else:
                reason = getattr(error, "msg", None) or str(error)
                found = _no_object(number, stripped, f"the line is not JSON ({reason})")
        yield number, line, found


def _cut_off(number: int, piece: str) -> Repair:
    reason = "the file ends within the row"
    return Repair(number, "", "half-written", piece[:60], "row left out", reason, number)


def _no_object(number: int, piece: str, reason: str) -> Repair:
    return Repair(number, "", "not an object", piece[:60], "row left out", reason, number)
