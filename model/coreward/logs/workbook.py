"""A sheet of an Excel workbook as lines of text, one for each of its rows.

The text goes the way of every other table, so that a repair names the row that the
spreadsheet shows. Values only: a formula counts as the value that was last saved.
"""

from __future__ import annotations

import csv
import io
import warnings
import zipfile
from typing import Any

from coreward.logs.parts import (
    HEADER_SEARCH,
    Question,
    Reading,
    short,
)
from coreward.logs.sheet_rows import careful_rows, damaged, quick_rows

_ZIP = b"PK\x03\x04"
_COMPOUND = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"
_ENCRYPTED = "EncryptedPackage".encode("utf-16-le")
_TO_CSV = "Save the sheet as .xlsx or as CSV and give that."


def is_workbook(data: bytes) -> bool:
    """Tell whether bytes are a workbook, an archive or an old office file."""
    return data.startswith((_ZIP, _COMPOUND))


def sheet_names(data: bytes, reading: Reading) -> tuple[str, ...]:
    """Return the names of the sheets that hold anything."""
    book = _open(data, reading)
    try:
        return tuple(sheet.title for sheet in _filled(book, reading))
    finally:
        book.close()


def sheet_text(data: bytes, sheet: str | None, reading: Reading) -> str:
    """Return one sheet as tab-separated text; refuse a workbook that leaves a choice."""
    book = _open(data, reading)
    try:
        filled = _filled(book, reading)
        chosen = _choose(filled, [one.title for one in book.worksheets], sheet, reading)
        lines = _lines(book, chosen, reading)
    finally:
        book.close()
    reading.understood.append(f"Sheet {short(chosen.title)} of a workbook, values as saved.")
    return lines


def _open(data: bytes, reading: Reading) -> Any:
    if data.startswith(_COMPOUND):
        if _ENCRYPTED in data:
            reading.fail(
                "The workbook is locked with a password.",
                "Open it, take the password off, save it and give that.",
            )
        reading.fail("It is a workbook or document of the old kind (.xls).", _TO_CSV)
    try:
        import openpyxl
    except ImportError:
        reading.fail(
            "Reading a workbook needs the library openpyxl, which is not installed.",
            "Install it, or save the sheet as CSV and give that.",
        )
    _check_archive(data, reading)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # about styles and charts, which are not read
        try:
            return openpyxl.load_workbook(io.BytesIO(data), read_only=True, data_only=True)
        except Exception as error:  # the library raises anything at a damaged file
            damaged(error, reading)


def _check_archive(data: bytes, reading: Reading) -> None:
    """Refuse what is no workbook, and what would unpack without end."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            infos = archive.infolist()
    except (zipfile.BadZipFile, OSError, ValueError, NotImplementedError) as error:
        damaged(error, reading)
    names = {info.filename for info in infos}
    if "xl/workbook.xml" not in names and "[Content_Types].xml" not in names:
        reading.fail("It is an archive, not a workbook.", "Unpack it and give the log in it.")
    if any(info.flag_bits & 1 for info in infos):
        reading.fail(
            "The archive is locked with a password.", "Unpack it and give the log in it."
        )
    size = sum(info.file_size for info in infos)
    if size > reading.limits["byte_limit"]:
        reading.fail(
            f"The workbook unpacks to {size / 2**20:,.0f} MiB, more than the "
            f"{reading.limits['byte_limit'] / 2**20:.0f} MiB that can be read.",
            "Thin it first: keep every tenth row, or cut it into one file per cook.",
        )


def _filled(book: Any, reading: Reading) -> list[Any]:
    """Return the sheets with a value near their top."""
    found = []
    for sheet in book.worksheets:
        for number, cells in careful_rows(sheet, reading):
            if any(cells):
                found.append(sheet)
                break
            if number > HEADER_SEARCH:
                break
    return found


def _choose(filled: list[Any], titles: list[str], wanted: str | None, reading: Reading) -> Any:
    listing = ", ".join(short(title) for title in titles[:12])
    if wanted is not None:
        for one in filled:
            if one.title == wanted:
                return one
        reading.fail(
            f"There is no sheet {short(wanted)} with values in it.",
            f"The workbook has {listing or 'no sheet'}.",
        )
    if not filled:
        reading.fail("The workbook holds no values.", "Export the log again.")
    if len(filled) > 1:
        choices = tuple(one.title for one in filled)
        reading.fail(
            f"The workbook has {len(filled)} sheets with values: {listing}.",
            f"State which one holds the log, for example sheet={choices[0]!r}.",
            question=Question("sheet", "Which sheet holds the log?", choices),
        )
    return filled[0]


def _lines(book: Any, sheet: Any, reading: Reading) -> str:
    most_rows = int(reading.limits["row_limit"])
    most_blank = int(reading.limits["blank_row_limit"])
    out = io.StringIO()
    writer = csv.writer(out, delimiter="\t", lineterminator="\n")
    rows = quick_rows(book, sheet, reading.limits)
    done = 0
    for number, cells in careful_rows(sheet, reading) if rows is None else rows:
        if number > most_rows:
            reading.fail(
                f"The sheet holds more than {most_rows:,} rows.",
                "Thin it first: keep every tenth row, or cut it into one file per cook.",
            )
        if number - done > most_blank:
            reading.fail(
                f"The sheet has more than {most_blank:,} blank rows in a run.",
                "Delete what lies below the log, or save the sheet as CSV and give that.",
                number,
            )
        if any(cells):
            out.write("\n" * (number - done - 1))
            done = number
            writer.writerow(cells)
    return out.getvalue()
