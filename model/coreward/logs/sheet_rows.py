"""The cells of one sheet of a workbook, as text.

The library reads every sheet with care, but builds an object for each cell: a day of
eight probes at one row a second takes it ten seconds. A sheet that holds nothing but
plain cells, as loggers and spreadsheets write them, is taken apart by pattern here. At
the first thing that does not fit the pattern, the whole sheet is left to the library.
"""

from __future__ import annotations

import datetime as dt
import html
import re
from collections.abc import Iterator, Sequence
from typing import Any, NoReturn

from coreward import tables
from coreward.logs.parts import Reading

_ROW = re.compile(r'<row\b[^>]*?\br="(\d{1,9})"[^>]*>')
_CELL = re.compile(
    r'<c r="([A-Z]{1,3})(\d{1,9})"(?: s="(\d{1,6})")?(?: t="([a-zA-Z]{1,9})")?'
    r"(?: ?/>|>(?:<f>[^<]*</f>|<f/>)?"
    r"(?:<v>([^<]*)</v>|<v ?/>|<is><t(?: [^>]*)?>([^<]*)</t></is>)?</c>)"
)

Numbered = tuple[int, list[str]]


def damaged(error: BaseException, reading: Reading) -> NoReturn:
    """Refuse a workbook that cannot be read."""
    words = " ".join(str(error).split())[:80]
    words = "".join(c if c.isprintable() else "?" for c in words)
    reading.fail(
        f"The workbook is damaged or unfinished ({words or type(error).__name__}).",
        "Save it again from the spreadsheet, as .xlsx or as CSV, and give that.",
    )


def careful_rows(sheet: Any, reading: Reading) -> Iterator[Numbered]:
    """Yield number and cells of each row, by way of the library; refuse what is damaged."""
    most = int(reading.limits["column_limit"]) + 1
    try:
        # What a sheet says about its own size may be wrong by a million columns.
        sheet.reset_dimensions()
        for number, row in enumerate(sheet.iter_rows(values_only=True), start=1):
            yield number, [_one_line(_cell(value)) for value in row[:most]]
    except Exception as error:  # the library raises anything at a damaged sheet
        damaged(error, reading)


def quick_rows(book: Any, sheet: Any, limits: tables.ParameterSet) -> list[Numbered] | None:
    """Return number and cells of each row that has any; None if the sheet is not plain."""
    try:
        with book._archive.open(sheet._worksheet_path) as stream:
            text = stream.read().decode("utf-8")
        shared = sheet._shared_strings
        reader = _Cells(shared, book)
    except Exception:  # another version of the library, or a damaged file: not ours to judge
        return None
    begin, end = text.find("<sheetData>"), text.rfind("</sheetData>")
    if begin < 0 or end < begin or "<!" in text:
        return None
    most = int(limits["column_limit"]) + 1
    found: list[Numbered] = []
    before = 0
    columns: dict[str, int] = {}
    dates = reader.dates
    for piece in text[begin + 11 : end].split("</row>"):
        heads = _ROW.findall(piece)
        cells = _CELL.findall(piece)
        if piece.count("<c") != len(cells) or piece.count("<row") != len(heads):
            return None
        if not heads:
            if piece:
                return None
            continue
        number = int(heads[-1])  # rows without cells may stand before it
        if number <= before:
            return None
        before = number
        row: list[str] = []
        for column, line, style, kind, value, inline in cells:
            at = columns.get(column)
            if at is None:
                at = columns[column] = _place(column)
            if line != heads[-1] or at < len(row):
                return None
            if at >= most:
                break
            if kind not in ("", "n") or (style in dates and value):
                text_of = reader.text(style, kind, value, inline)
                if text_of is None:
                    return None
                value = text_of
            if at > len(row):
                row.extend([""] * (at - len(row)))
            row.append(value)
        if row:
            found.append((number, row))
    return found


def _place(letters: str) -> int:
    """Return the place of a column, counted from 0."""
    at = 0
    for letter in letters:
        at = 26 * at + ord(letter) - ord("A") + 1
    return at - 1


class _Cells:
    """Turns what stands in a cell into text, as the library would."""

    def __init__(self, shared: Sequence[str], book: Any) -> None:
        from openpyxl.utils.datetime import from_excel

        self._from_excel = from_excel
        self._shared = shared
        self.dates = {str(style) for style in book._date_formats}
        self._spans = {str(style) for style in book._timedelta_formats}
        self._epoch = book.epoch

    def text(self, style: str, kind: str, value: str, inline: str) -> str | None:
        """Return the text of a cell that is no plain number; None if it is not understood."""
        if kind in ("", "n"):
            return self._date(value, style in self._spans)
        if kind == "s":
            at = int(value) if value.isdecimal() and value.isascii() else -1
            return _one_line(self._shared[at]) if 0 <= at < len(self._shared) else None
        if kind == "inlineStr":
            return _one_line(html.unescape(inline))
        if kind == "str":
            return _one_line(html.unescape(value))
        if kind == "b":
            return {"1": "True", "0": "False"}.get(value)
        return value if kind == "e" else None

    def _date(self, value: str, is_span: bool) -> str | None:
        try:
            return _cell(self._from_excel(float(value), self._epoch, timedelta=is_span))
        except (ValueError, OverflowError, TypeError):
            return None


def _one_line(cell: str) -> str:
    if "\n" in cell or "\t" in cell or "\r" in cell:
        return " ".join(cell.split())
    return cell


def _cell(value: Any) -> str:
    """Return a value as it would stand in a file of text."""
    if value is None:
        return ""
    if isinstance(value, dt.datetime):
        return value.isoformat(sep=" ")
    if isinstance(value, dt.timedelta):
        return _elapsed(value)
    if isinstance(value, (dt.date, dt.time)):
        return value.isoformat()
    return str(value)


def _elapsed(value: dt.timedelta) -> str:
    seconds, micro = divmod(round(value.total_seconds() * 1e6), 1_000_000)
    sign, seconds = ("-", -seconds) if seconds < 0 else ("", seconds)
    minutes, second = divmod(seconds, 60)
    fraction = f".{micro:06d}" if micro else ""
    return f"{sign}{minutes // 60}:{minutes % 60:02d}:{second:02d}{fraction}"
