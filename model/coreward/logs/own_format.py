"""What our own format carries besides its table."""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Callable, Iterator
from dataclasses import replace
from typing import Any, TypeVar, cast

import numpy as np

from coreward.logs.log import ROLES, LeftOutColumn, ProbeLog, Repair, Role, are_steps
from coreward.logs.parts import Reading, metadata_of, short
from coreward.words import METRIC, Text, from_plain, shown

_T = TypeVar("_T")
_KEYS = (
    "start",
    "start clock",
    "source",
    "channel",
    "left out",
    "unknown span",
    "repair",
    "understood",
    "warning",
    "note",
)


def own_channels(reading: Reading) -> dict[str, tuple[str, Role]]:
    """Return name and role of each channel by its column in our own format."""

    def channel(value: Any) -> tuple[str, tuple[str, Role]]:
        column, name, role = value["column"], value["name"], value["role"]
        if not (isinstance(column, str) and isinstance(name, str) and role in ROLES):
            raise ValueError
        return column, (name, cast(Role, role))

    return dict(_parsed("channel", channel, reading))


def own_left_out(reading: Reading) -> list[tuple[str | None, LeftOutColumn]]:
    """Return the columns left out, each with the column of our own format that holds it."""

    def left_out(value: Any) -> tuple[str | None, LeftOutColumn]:
        column, name = value["column"], value["name"]
        reason, meat_like = value["reason"], value["meat_like"]
        are_words = isinstance(name, str) and isinstance(reason, str)
        if not (are_words and isinstance(meat_like, bool) and isinstance(column, str | None)):
            raise ValueError
        return column, LeftOutColumn(name, reason, np.empty(0), meat_like)

    return _parsed("left out", left_out, reading)


def own_spans(reading: Reading) -> list[tuple[float, float]]:
    """Return the spans of unknown time that our own format carries. [s]."""

    def span(value: Any) -> tuple[float, float]:
        first, last = map(float, value)
        return first, last

    return _parsed("unknown span", span, reading)


def _parsed(key: str, parse: Callable[[Any], _T], reading: Reading) -> list[_T]:
    """Return what the notes of one key hold; refuse one that is damaged."""
    article = "An" if key[0] in "aeiou" else "A"
    try:
        return [parse(value) for name, value in _own_notes(reading) if name == key]
    except (KeyError, TypeError, ValueError, OverflowError):
        reading.fail(
            f"{article} '{key}' note of our own format is damaged.",
            "Write the file again with to_csv.",
        )


def _own_notes(reading: Reading) -> Iterator[tuple[str, Any]]:
    for note in reading.notes[1:]:
        key, colon, value = note.partition(": ")
        if colon and key in _KEYS:
            try:
                yield key, json.loads(value)
            except (ValueError, RecursionError):
                reading.fail(
                    f"The note {short(note)} of our own format is damaged.",
                    "Write the file again with to_csv, or remove that line.",
                )


def restored(log: ProbeLog, reading: Reading) -> ProbeLog:
    """Put back what our own format carries besides the table."""
    parts: dict[str, list[Any]] = {"repair": [], "understood": [], "warning": [], "note": []}
    start, clock, source = log.start, log.start_clock, log.source
    try:
        for key, value in _own_notes(reading):
            if key in parts:
                parts[key].append(value)
            elif key == "start" and value is not None:
                start = dt.datetime.fromisoformat(value)
            elif key == "start clock" and value is not None:
                clock = dt.time.fromisoformat(value)
            elif key == "source":
                source = str(value)
        repairs = tuple(_own_repair(entry) for entry in parts["repair"])
    except (KeyError, TypeError, ValueError, OverflowError) as error:
        reading.fail(
            f"A note of our own format is damaged ({error}).",
            "Write the file again with to_csv, or remove that line.",
        )
    numbers = {one.name: one.temperature_c for one in log.left_out}
    left_out = []
    for column, one in own_left_out(reading):
        if column is not None and column not in numbers:
            reading.fail(
                f"The column {short(column)} that a note of our own format names is not there.",
                "Write the file again with to_csv.",
            )
        values = np.empty(0) if column is None else numbers[column]
        left_out.append(replace(one, temperature_c=values))
    spans = own_spans(reading)
    if not are_steps(spans, log.time_s):
        reading.fail(
            "An 'unknown span' of our own format lies between no two rows: it is damaged.",
            "Write the file again with to_csv.",
        )
    notes = tuple(str(note) for note in parts["note"])
    warnings = [_own_warning(entry) for entry in parts["warning"]]
    # As text, since files from before sentences held quantities have them as text.
    known = {shown(one, METRIC) for one in warnings}
    return ProbeLog(
        time_s=log.time_s,
        start=start,
        channels=log.channels,
        repairs=(*repairs, *log.repairs),
        understood=tuple(str(one) for one in parts["understood"]),
        source=source,
        warnings=(*warnings, *(one for one in log.warnings if shown(one, METRIC) not in known)),
        start_clock=clock,
        notes=notes,
        metadata=metadata_of(notes),
        raw=log.raw,
        left_out=tuple(left_out),
        unknown_spans=tuple(spans),
    )


def _own_warning(entry: Any) -> Text:
    return from_plain(entry) if isinstance(entry, dict) else str(entry)


def _own_repair(entry: Any) -> Repair:
    repair = Repair(**entry)
    words = (repair.column, repair.kind, repair.was, repair.became, repair.reason)
    rows = (repair.row, repair.last_row)
    if not all(isinstance(word, str) for word in words) or not all(
        row is None or isinstance(row, int) for row in rows
    ):
        raise ValueError("a repair note")
    return repair
