"""A sheet of an Excel workbook as lines of text, one for each of its rows.

The text goes the way of every other table, so that a repair names the row that the
spreadsheet shows. Values only: a formula counts as the value that was last saved.

A small archive can unpack to any size, and one cell at the far end of a sheet makes a
reader reserve room for all between. So the parts that are needed are unpacked here,
within a limit, their cells are counted, and only what fits is handed to the library.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
import re
import string
import zipfile
from typing import Any, NoReturn
from xml.parsers import expat

from coreward.logs.parts import HEADER_SEARCH, Question, Reading, short

_ZIP = b"PK\x03\x04"
_COMPOUND = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"
_ENCRYPTED = "EncryptedPackage".encode("utf-16-le")
_TO_CSV = "Save the sheet as .xlsx or as CSV and give that."
_THIN = "Thin it first: keep every tenth row, or cut it into one file per cook."
_NOT_NEEDED = (
    "docprops/",
    "customxml/",
    "xl/theme/",
    "xl/drawings/",
    "xl/charts/",
    "xl/media/",
)
_MOST_ROWS, _MOST_COLUMNS = 1_048_576, 16_384  # what a sheet can have (ECMA-376)

_UTF_8 = re.compile(
    rb"(?:\xef\xbb\xbf)?(?:<\?xml(?:(?!encoding)[^>])*(?:encoding=[\"']utf-8[\"'][^>]*)?>|<(?!\?))",
    re.IGNORECASE,
)
_ROW = re.compile(rb'<row[^>]*? r="(\d{1,9})"')
_COLUMN = re.compile(rb'<c r="([A-Z]{1,3})\d')
_CELL = re.compile(r"[A-Za-z]{1,3}\d{1,9}", re.ASCII)
_BEGINNING = 65536  # bytes of a sheet in which its widest row is looked for


def is_workbook(data: bytes) -> bool:
    """Tell whether bytes are a workbook, an archive or an old office file."""
    return data.startswith((_ZIP, _COMPOUND))


def sheet_names(data: bytes, reading: Reading) -> tuple[str, ...]:
    """Return the names of the sheets that hold anything."""
    return tuple(_filled(_open(data, reading), reading))


def sheet_text(data: bytes, sheet: str | None, reading: Reading) -> str:
    """Return one sheet as tab-separated text; refuse a workbook that leaves a choice."""
    book = _open(data, reading)
    filled = _filled(book, reading)
    chosen = _choose(list(filled), list(book.sheet_names), sheet, reading)
    lines = _lines(filled[chosen] or _sheet(book, chosen, reading), reading)
    reading.understood.append(f"Sheet {short(chosen)} of a workbook, values as saved.")
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
        import python_calamine
    except ImportError:
        reading.fail(
            "Reading a workbook needs the library python-calamine, which is not installed.",
            "Install it, or save the sheet as CSV and give that.",
        )
    plain = _unpacked(data, reading)
    try:
        return python_calamine.CalamineWorkbook.from_filelike(plain)
    except BaseException as error:  # the library raises anything at a damaged file
        _damaged(error, reading)


def _damaged(error: BaseException, reading: Reading) -> NoReturn:
    """Refuse a workbook that cannot be read."""
    if isinstance(error, (KeyboardInterrupt, SystemExit, MemoryError)):
        raise error
    words = " ".join(str(error).split())[:80]
    words = "".join(c if c.isprintable() else "?" for c in words)
    reading.fail(
        f"The workbook is damaged or unfinished ({words or type(error).__name__}).",
        "Save it again from the spreadsheet, as .xlsx or as CSV, and give that.",
    )


def _unpacked(data: bytes, reading: Reading) -> io.BytesIO:
    """Return the parts that are needed in an archive of their own, each within bounds."""
    most = int(reading.limits["workbook_byte_limit"])
    plain = io.BytesIO()
    size = 0
    try:
        with (
            zipfile.ZipFile(io.BytesIO(data)) as archive,
            zipfile.ZipFile(plain, "w", zipfile.ZIP_STORED) as copy,
        ):
            infos = {info.filename: info for info in archive.infolist()}
            if "xl/workbook.xml" not in infos and "[Content_Types].xml" not in infos:
                reading.fail(
                    "It is an archive, not a workbook.", "Unpack it and give the log in it."
                )
            if any(info.flag_bits & 1 for info in infos.values()):
                reading.fail(
                    "The archive is locked with a password.",
                    "Unpack it and give the log in it.",
                )
            for name, info in infos.items():
                lowered = name.lower()
                if not lowered.endswith((".xml", ".rels")) or lowered.startswith(_NOT_NEEDED):
                    continue
                size += info.file_size
                if size > most:
                    reading.fail(
                        f"The workbook unpacks to more than the {most / 2**20:.0f} MiB that "
                        "can be read.",
                        _THIN,
                    )
                # No more than the size that the archive states is ever unpacked.
                with archive.open(info) as stream:
                    part = stream.read(info.file_size + 1)
                _check_part(lowered, part, reading)
                copy.writestr(name, part)
    except (zipfile.BadZipFile, OSError, ValueError, NotImplementedError, EOFError) as error:
        _damaged(error, reading)
    except Exception as error:
        if type(error).__module__ in ("zlib", "_lzma", "lzma"):
            _damaged(error, reading)
        raise
    plain.seek(0)
    return plain


def _check_part(name: str, part: bytes, reading: Reading) -> None:
    if "worksheets/" in name and name.endswith(".xml"):
        _Extent(reading).check(part)
    elif name.endswith("sharedstrings.xml"):
        _Extent(reading, "si").check(part)
    elif len(part) > reading.limits["workbook_part_limit"]:
        reading.fail(
            f"The part {short(name)} of the workbook holds {len(part) / 2**20:,.0f} MiB.",
            _TO_CSV,
        )


class _Extent:
    """Counts the cells of a sheet, and how far apart they lie, without keeping any."""

    def __init__(self, reading: Reading, element: str = "c") -> None:
        self._reading = reading
        self._most = int(reading.limits["workbook_cell_limit"])
        self._element = element
        self._count = 0
        self._columns: set[str] = set()
        self._lines: set[str] = set()
        self._line = ""

    def check(self, part: bytes) -> None:
        """Refuse a part that holds, or would take, more cells than the limit."""
        name = self._element.encode()
        if sum(part.count(b"<" + name + end) for end in (b" ", b"/", b">")) > self._most:
            self._too_many()
        if self._element == "c" and _is_plainly_within(part, self._most):
            return
        parser = expat.ParserCreate(namespace_separator="}")
        parser.StartElementHandler = self._begin
        parser.StartDoctypeDeclHandler = self._no_declarations
        try:
            parser.Parse(part, True)
        except expat.ExpatError as error:
            _damaged(error, self._reading)
        if self._element != "c" or not self._count:
            return
        # A cell without a name takes the next place; then only the count bounds them.
        columns = [_place(name) for name in self._columns] or [0]
        lines = [int(line) for line in self._lines] or [1]
        wide = max(columns) - min(columns) + 1
        high = max(lines) - min(lines) + 1
        if max(columns) >= _MOST_COLUMNS or max(lines) > _MOST_ROWS:
            _damaged(ValueError("a cell lies outside the sheet"), self._reading)
        if wide * high > self._most:
            self._reading.fail(
                f"The cells of a sheet are spread over {high:,} rows and {wide:,} columns.",
                "Delete what lies far from the log, or save the log alone as CSV.",
            )

    def _begin(self, name: str, attributes: dict[str, str]) -> None:
        if name.rpartition("}")[2] != self._element:
            return
        self._count += 1
        if self._count > self._most:
            self._too_many()
        place = attributes.get("r")
        if not place:
            return
        column = place.rstrip(string.digits)
        self._columns.add(column)
        line = place[len(column) :]
        if line != self._line:
            self._line = line
            if self._element == "c" and not _CELL.fullmatch(place):
                _damaged(ValueError(f"a cell is named {place[:20]}"), self._reading)
            self._lines.add(line)

    def _too_many(self) -> NoReturn:
        self._reading.fail(
            f"The workbook holds more than {self._most:,} cells in one of its sheets.", _THIN
        )

    def _no_declarations(self, *_: object) -> None:
        _damaged(ValueError("it declares entities of its own"), self._reading)


def _is_plainly_within(part: bytes, most: int) -> bool:
    """Tell whether a sheet is of the plainest form and its cells lie close together.

    It asks, in one search, for a cell outside the rectangle that the sheet seems to have;
    a day of eight probes at one row a second takes a second less than counting.
    """
    if b"<!" in part or b":c" in part or not _UTF_8.match(part):
        return False
    last = max(map(int, _ROW.findall(part)), default=0)
    columns = {_place(name.decode()) for name in _COLUMN.findall(part, 0, _BEGINNING)}
    wide = max(columns, default=0) + 1
    if not last or wide > 26 or last * wide > most:
        return False
    letters = f"[A-{string.ascii_uppercase[wide - 1]}]"
    outside = rf'<c(?=[\s/>])(?! r="{letters}(?:{_up_to(last)})")'
    return re.search(outside.encode(), part) is None and part.count(b"<c ") <= most


def _up_to(last: int) -> str:
    """Return a pattern for the whole numbers from 1 to `last`."""
    digits = str(last)
    found = [digits]
    for at, digit in enumerate(digits):
        lowest = 1 if at == 0 else 0
        if int(digit) > lowest:
            rest = len(digits) - at - 1
            found.append(rf"{digits[:at]}[{lowest}-{int(digit) - 1}]\d{{{rest}}}")
    if len(digits) > 1:
        found.append(rf"[1-9]\d{{0,{len(digits) - 2}}}")
    return "|".join(found)


def _place(letters: str) -> int:
    """Return the place of a column, counted from 0."""
    at = 0
    for letter in letters.upper():
        at = 26 * at + ord(letter) - ord("A") + 1
    return at - 1


def _sheet(book: Any, name: str, reading: Reading) -> Any:
    try:
        return book.get_sheet_by_name(name)
    except BaseException as error:  # the library raises anything at a damaged sheet
        _damaged(error, reading)


def _filled(book: Any, reading: Reading) -> dict[str, Any]:
    """Return the sheets with a value near their top; the last of them is kept open."""
    found: dict[str, Any] = {}
    for name in book.sheet_names:
        sheet = _sheet(book, name, reading)
        if sheet.start is not None and sheet.start[0] < HEADER_SEARCH:
            found = {**dict.fromkeys(found), name: sheet}
    return found


def _choose(filled: list[str], titles: list[str], wanted: str | None, reading: Reading) -> str:
    listing = ", ".join(short(title) for title in titles[:12])
    if wanted is not None:
        if wanted in filled:
            return wanted
        reading.fail(
            f"There is no sheet {short(wanted)} with values in it.",
            f"The workbook has {listing or 'no sheet'}.",
        )
    if not filled:
        reading.fail("The workbook holds no values.", "Export the log again.")
    if len(filled) > 1:
        choices = tuple(filled)
        reading.fail(
            f"The workbook has {len(filled)} sheets with values: {listing}.",
            f"State which one holds the log, for example sheet={choices[0]!r}.",
            question=Question("sheet", "Which sheet holds the log?", choices),
        )
    return filled[0]


def _lines(sheet: Any, reading: Reading) -> str:
    most_blank = int(reading.limits["blank_row_limit"])
    most = int(reading.limits["column_limit"]) + 1
    out = io.StringIO()
    writer = csv.writer(out, delimiter="\t", lineterminator="\n")
    first_row, first_column = sheet.start
    lead = [""] * first_column
    # The library gives midnight as a bare date, in the midst of dates with times too.
    timed = {
        at
        for row in sheet.iter_rows()
        for at, value in enumerate(row)
        if type(value) is dt.datetime
    }
    done = 0
    for number, row in enumerate(sheet.iter_rows(), start=1):
        if number <= first_row:
            continue
        if number - done - first_row > most_blank:
            reading.fail(
                f"The sheet has more than {most_blank:,} blank rows in a run.",
                "Delete what lies below the log, or save the sheet as CSV and give that.",
                number,
            )
        cells = [*lead, *map(_cell, row)][:most]
        if any(cells):
            for at in timed if dt.date in map(type, row) else ():
                if type(row[at]) is dt.date and at + first_column < most:
                    cells[at + first_column] += " 00:00:00"
            out.write("\n" * (number - done - 1))
            done = number
            writer.writerow(cells)
    return out.getvalue()


def _cell(value: Any) -> str:
    """Return a value as it would stand in a file of text."""
    if type(value) is float:
        return str(int(value)) if value.is_integer() and abs(value) < 1e15 else repr(value)
    if type(value) is str:
        if "\n" in value or "\t" in value or "\r" in value:
            return " ".join(value.split())
        return value
    if isinstance(value, dt.datetime):
        return value.isoformat(sep=" ")
    if isinstance(value, dt.timedelta):
        return _elapsed(value)
    if isinstance(value, (dt.date, dt.time)):
        return value.isoformat()
    return str(value)


def _elapsed(value: dt.timedelta) -> str:
    sign = "-" if value < dt.timedelta(0) else ""
    seconds, micro = divmod(round(abs(value).total_seconds() * 1e6), 1_000_000)
    minutes, second = divmod(seconds, 60)
    fraction = f".{micro:06d}" if micro else ""
    return f"{sign}{minutes // 60}:{minutes % 60:02d}:{second:02d}{fraction}"
