"""Forty layouts in which loggers might write one invented cook, made by a program.

None is the layout of any product: they are put together from the forms of time, units,
headings, separators and habits that tables have. Each says what is true of it.
"""

from __future__ import annotations

import datetime as dt
import io
import json
from dataclasses import dataclass

import numpy as np

ROWS = 180
STEP_S = 120
START = dt.datetime(2026, 5, 2, 18, 40)
SECONDS = np.arange(ROWS) * float(STEP_S)
PIT_C = np.round(112.0 + 6.0 * np.sin(np.arange(ROWS) * 1.7) - 60.0 * np.exp(-SECONDS / 900), 1)
FLAT_C = np.round(88.0 - 83.0 * np.exp(-SECONDS / 9000.0), 1)
POINT_C = np.round(80.0 - 74.0 * np.exp(-SECONDS / 12000.0), 1)
ROOM_C = np.round(17.0 - SECONDS / 9000.0, 1)


def _f(values: np.ndarray) -> np.ndarray:
    return np.round(values * 1.8 + 32.0, 1)


@dataclass(frozen=True)
class Animal:
    """One layout: its bytes, and what must come out of it.

    Attributes
    ----------
    name, file : str
        What is special about it, and a name for its file.
    data : bytes
        The file.
    meats : tuple of ndarray
        Readings of the probes in meat. [°C]
    has_air : bool
        Whether it holds the air.
    within_c : float
        How far a reading may be off, by the digits written.
    """

    name: str
    file: str
    data: bytes
    meats: tuple[np.ndarray, ...]
    has_air: bool = True
    within_c: float = 0.06


def _table(
    head: list[str],
    columns: list[object],
    separator: str = ",",
    before: str = "",
    after: str = "",
    comma: bool = False,
) -> str:
    lines = [separator.join(head)] if head else []
    for row in zip(*columns, strict=True):  # type: ignore[call-overload]
        cells = [cell if isinstance(cell, str) else f"{float(cell):g}" for cell in row]
        if comma:
            cells = [cell.replace(".", ",") if cell.count(".") == 1 else cell for cell in cells]
        lines.append(separator.join(cells))
    return before + "\n".join(lines) + "\n" + after


def _stamps(form: str) -> list[str]:
    return [(START + dt.timedelta(seconds=s)).strftime(form) for s in SECONDS.tolist()]


def _book(rows: list[list[object]], title: str = "log") -> bytes:
    import openpyxl

    book = openpyxl.Workbook()
    sheet = book.active
    sheet.title = title
    for row in rows:
        sheet.append(row)
    stream = io.BytesIO()
    book.save(stream)
    return stream.getvalue()


BOTH = (FLAT_C, POINT_C)


def zoo() -> list[Animal]:
    """Return the forty layouts."""
    found: list[Animal] = []

    def add(
        name: str,
        text: str | bytes,
        meats: tuple[np.ndarray, ...] = BOTH,
        file: str = "log.csv",
        has_air: bool = True,
        within_c: float = 0.06,
        encoding: str = "utf-8",
    ) -> None:
        data = text if isinstance(text, bytes) else text.encode(encoding)
        found.append(Animal(name, file, data, meats, has_air, within_c))

    iso = _stamps("%Y-%m-%dT%H:%M:%S")
    celsius: list[object] = [PIT_C, FLAT_C, POINT_C]
    fahrenheit: list[object] = [_f(PIT_C), _f(FLAT_C), _f(POINT_C)]
    unit_c = ["pit (°C)", "flat (°C)", "point (°C)"]

    add("plain", _table(["time_s", "pit_c", "flat_c", "point_c"], [SECONDS, *celsius]))
    add("t in seconds", _table(["t [s]", *unit_c], [SECONDS, *celsius]))
    add("min", _table(["min", "Pit F", "Meat 1 F", "Meat 2 F"], [SECONDS / 60, *fahrenheit]))
    add(
        "ts of 1970",
        _table(["ts", *unit_c], [[f"{1777747200 + s:.0f}" for s in SECONDS], *celsius]),
    )
    add(
        "hours",
        _table(["elapsed_h", *unit_c], [[f"{s / 3600:.6f}" for s in SECONDS], *celsius]),
    )
    add("iso", _table(["timestamp", "pit °F", "flat °F", "point °F"], [iso, *fahrenheit]))
    zoned = [text + "+02:00" for text in iso]
    add("iso with a zone", _table(["datetime", *unit_c], [zoned, *celsius]))
    add(
        "milliseconds",
        _table(["time_ms", *unit_c], [[f"{s * 1000:.0f}" for s in SECONDS], *celsius]),
    )
    german = [
        "Zeit",
        "Garraumtemperatur [°C]",
        "Kerntemperatur 1 [°C]",
        "Kerntemperatur 2 [°C]",
    ]
    add("german", _table(german, [_stamps("%d.%m.%Y %H:%M:%S"), *celsius], ";", comma=True))
    french = ["Heure", "Four (°C)", "Viande 1 (°C)", "Viande 2 (°C)"]
    add(
        "french",
        _table(french, [_stamps("%d/%m/%Y %H:%M"), *celsius], ";", comma=True),
        encoding="cp1252",
    )
    spanish = ["Tiempo (min)", "Horno °C", "Carne 1 °C", "Carne 2 °C"]
    add("spanish", _table(spanish, [SECONDS / 60, *celsius]))
    italian = ["Ora", "Forno °C", "Manzo °C", "Spalla °C"]
    add("italian", _table(italian, [_stamps("%H:%M:%S"), *celsius], ";"))
    dutch = ["Tijd", "Oventemperatuur °C", "Vlees 1 °C", "Vlees 2 °C"]
    add("dutch", _table(dutch, [_stamps("%H:%M:%S"), *celsius], "\t"))
    swedish = ["Tid", "Ugn °C", "Kött 1 °C", "Kött 2 °C"]
    add("swedish", _table(swedish, [_stamps("%Y-%m-%d %H:%M:%S"), *celsius], ";"))
    title = "Cook of May, a pit and two meats, time in seconds\n\n"
    add("a title with commas", _table(["time_s", *unit_c], [SECONDS, *celsius], before=title))
    keys = "Device: none\nOwner: nobody\nSample period: 2 min\n\n"
    add("a preamble", _table(["time_s", *unit_c], [SECONDS, *celsius], before=keys))
    add(
        "units in a row of their own",
        _table(
            ["time", "pit", "flat", "point"],
            [
                ["s", *map(str, SECONDS)],
                *(
                    ["°C", *map(str, column)]
                    for column in (PIT_C, FLAT_C, POINT_C)  # type: ignore[misc]
                ),
            ],
        ),
    )
    add(
        "unit in a note",
        _table(
            ["time_s", "pit", "flat", "point"], [SECONDS, *fahrenheit], before="# units: F\n"
        ),
    )
    marked = [[f"{v:g} °F" for v in column] for column in fahrenheit]  # type: ignore[attr-defined]
    add("units in the cells", _table(["time_s", "pit", "flat", "point"], [SECONDS, *marked]))
    tenths = [[f"{round(v * 10):d}" for v in column] for column in celsius]  # type: ignore[attr-defined]
    add(
        "tenths",
        _table(
            ["time_s", "pit (0.1 °C)", "flat (0.1 °C)", "point (0.1 °C)"], [SECONDS, *tenths]
        ),
    )
    add("tenths unsaid", _table(["time_s", *unit_c], [SECONDS, *tenths]))
    zero = _f(POINT_C).copy()
    zero[:20] = 32.0
    late = POINT_C.copy()
    late[:20] = np.nan
    empty = np.full(ROWS, 32.0)
    add(
        "32 °F for no probe",
        _table(
            ["time_s", "pit_f", "flat_f", "point_f", "third_f"],
            [SECONDS, *fahrenheit[:2], zero, empty],
        ),
        (FLAT_C, late),
    )
    add(
        "date and clock",
        _table(["Date", "Time", *unit_c], [_stamps("%Y-%m-%d"), _stamps("%H:%M:%S"), *celsius]),
    )
    add("a.m. and p.m.", _table(["Time", *unit_c], [_stamps("%I:%M:%S %p"), *celsius]))
    later = [START + dt.timedelta(hours=2, seconds=s) for s in SECONDS.tolist()]
    halves = [moment.strftime("%I:%M") for moment in later]
    add("twelve hours", _table(["Time", *unit_c], [halves, *celsius]))
    add("month by name", _table(["Time", *unit_c], [_stamps("%d %b %Y %H:%M:%S"), *celsius]))
    add(
        "newest first",
        _table(["time", *unit_c], [iso[::-1], *(c[::-1] for c in (PIT_C, FLAT_C, POINT_C))]),
    )
    extra = [
        "time",
        "pit_c",
        "pit set_c",
        "fan %",
        "flat_c",
        "flat target_c",
        "point_c",
        "battery V",
    ]
    add(
        "set points and a fan",
        _table(
            extra,
            [
                iso,
                PIT_C,
                np.full(ROWS, 110.0),
                np.arange(ROWS) % 3 * 50.0,
                FLAT_C,
                np.full(ROWS, 93.0),
                POINT_C,
                np.full(ROWS, 3.7),
            ],
        ),
    )
    add(
        "places as names",
        _table(
            ["time", "grate °C", "brisket flat fan side °C", "brisket point (target 80) °C"],
            [iso, *celsius],
        ),
    )
    add(
        "room and pit",
        _table(["time", "ambient_c", "pit_c", "flat_c", "point_c"], [iso, ROOM_C, *celsius]),
    )
    add("numbers alone", _table(["time", "T1 (°C)", "T2 (°C)", "T3 (°C)"], [iso, *celsius]))
    add(
        "channels beside an air",
        _table(["time", "air °C", "Ch 1 °C", "Ch 2 °C"], [iso, *celsius]),
    )
    long_rows = [
        (stamp, key, value)
        for i, stamp in enumerate(iso)
        for key, value in (("pit", PIT_C[i]), ("flat", FLAT_C[i]), ("point", POINT_C[i]))
    ]
    add(
        "a probe in each row",
        _table(
            ["time", "probe", "temperature °C"], [list(c) for c in zip(*long_rows, strict=True)]
        ),
    )
    as_json = [
        {
            "time": stamp,
            "pit_c": float(PIT_C[i]),
            "meat": {"flat_c": float(FLAT_C[i]), "point_c": float(POINT_C[i])},
        }
        for i, stamp in enumerate(iso)
    ]
    add("json lines", "\n".join(map(json.dumps, as_json)) + "\n", file="log.jsonl")
    add("json array", json.dumps(as_json, indent=1), file="log.json")
    lists = [
        {"t": stamp, "temps_c": [float(PIT_C[i]), float(FLAT_C[i])]}
        for i, stamp in enumerate(iso)
    ]
    add("json lists", json.dumps(lists), (FLAT_C,), file="log.json")
    book: list[list[object]] = [["Cook of May"], [], ["date and time", *unit_c]]
    moments = [START + dt.timedelta(seconds=s) for s in SECONDS.tolist()]
    book += [
        [moments[i], float(PIT_C[i]), float(FLAT_C[i]), float(POINT_C[i])] for i in range(ROWS)
    ]
    add("workbook", _book(book), file="log.xlsx")
    add(
        "words unknown", _table(["klo_s", "uuni_c", "paisti_c", "rinta_c"], [SECONDS, *celsius])
    )
    whole = [np.round(_f(c)) for c in (PIT_C, FLAT_C, POINT_C)]
    add(
        "whole degrees",
        _table(["elapsed_min", "smoker_f", "flat_f", "point_f"], [SECONDS / 60, *whole]),
        within_c=0.34,
    )
    add("no unit", _table(["time_s", "pit", "flat", "point"], [SECONDS, *fahrenheit]))
    return found
