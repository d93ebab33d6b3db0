"""Files made to harm a reader: each is small, and none is a log."""

from __future__ import annotations

import io
import json
import subprocess
import sys
import zipfile
from collections.abc import Callable, Iterable
from pathlib import Path

MODEL = Path(__file__).parents[2] / "model"

_HEAD = (
    '<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData>'
)
_TAIL = "</sheetData></worksheet>"
_BOOK = {
    "[Content_Types].xml": (
        '<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types">'
        '<Default Extension="xml" ContentType="application/xml"/>'
        '<Default Extension="rels" ContentType='
        '"application/vnd.openxmlformats-package.relationships+xml"/>'
        '<Override PartName="/xl/workbook.xml" ContentType='
        '"application/vnd.openxmlformats-officedocument.spreadsheetml.sheet.main+xml"/>'
        '<Override PartName="/xl/worksheets/sheet1.xml" ContentType='
        '"application/vnd.openxmlformats-officedocument.spreadsheetml.worksheet+xml"/></Types>'
    ),
    "_rels/.rels": (
        '<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">'
        '<Relationship Id="rId1" Type="http://schemas.openxmlformats.org/officeDocument/2006/'
        'relationships/officeDocument" Target="xl/workbook.xml"/></Relationships>'
    ),
    "xl/workbook.xml": (
        '<workbook xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main" '
        'xmlns:r="http://schemas.openxmlformats.org/officeDocument/2006/relationships">'
        '<sheets><sheet name="log" sheetId="1" r:id="rId1"/></sheets></workbook>'
    ),
    "xl/_rels/workbook.xml.rels": (
        '<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">'
        '<Relationship Id="rId1" Type="http://schemas.openxmlformats.org/officeDocument/2006/'
        'relationships/worksheet" Target="worksheets/sheet1.xml"/></Relationships>'
    ),
}


def _book(
    sheet: Iterable[bytes],
    parts: Iterable[tuple[str, Iterable[bytes]]] = (),
    *,
    level: int = 9,
) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED, compresslevel=level) as archive:
        for name, text in _BOOK.items():
            archive.writestr(name, text)
        for name, pieces in (("xl/worksheets/sheet1.xml", sheet), *parts):
            with archive.open(name, "w", force_zip64=True) as stream:
                for piece in pieces:
                    stream.write(piece)
    return out.getvalue()


def _sheet(body: bytes, times: int = 1) -> Iterable[bytes]:
    yield _HEAD.encode()
    for _ in range(times):
        yield body
    yield _TAIL.encode()


_HEADER = (
    b'<row r="1"><c r="A1" t="inlineStr"><is><t>time_s</t></is></c>'
    b'<c r="B1" t="inlineStr"><is><t>air_c</t></is></c>'
    b'<c r="C1" t="inlineStr"><is><t>meat_c</t></is></c></row>'
)


def cells_without_end() -> bytes:
    """About 450 kB that unpack to 250 MB of empty cells."""
    row = b'<row r="1">' + b'<c r="A1"/>' * 1000 + b"</row>"
    return _book(_sheet(row, 22_000))


def cells_up_to_the_limit() -> bytes:
    """As many cells with a value as may be."""

    cells = b"".join(b'<c r="%c%%d"><v>1</v></c>' % letter for letter in b"ABCDEFG")
    row = b'<row r="%d">' + cells + b"</row>"

    def rows() -> Iterable[bytes]:
        yield _HEAD.encode()
        for at in range(1, 400_001):
            yield row % ((at,) * 8)
        yield _TAIL.encode()

    return _book(rows(), level=1)


def far_cell() -> bytes:
    """Two cells with all the cells of a sheet between them."""
    return _book(_sheet(_HEADER + b'<row r="1048576"><c r="XFD1048576"><v>1</v></c></row>'))


def cell_beyond_the_sheet() -> bytes:
    """A cell at a place that no sheet has."""
    return _book(_sheet(_HEADER + b'<row r="99999999"><c r="ZZZ99999999"><v>1</v></c></row>'))


def texts_without_end() -> bytes:
    """Twenty million shared texts that no cell uses."""
    strings = (b"<sst>", *[b"<si/>" * 100_000] * 200, b"</sst>")
    return _book(_sheet(_HEADER), [("xl/sharedStrings.xml", strings)])


def styles_without_end() -> bytes:
    """A list of styles of 100 MB."""
    styles = (b"<styleSheet><cellXfs>", *[b"<xf/>" * 100_000] * 200, b"</cellXfs></styleSheet>")
    return _book(_sheet(_HEADER), [("xl/styles.xml", styles)])


def entities() -> bytes:
    """Entities that stand for ten of the one before."""
    levels = "".join(f'<!ENTITY e{i} "{f"&e{i - 1};" * 10 if i else "ha"}">' for i in range(12))
    row = "<row r='1'><c r='A1' t='str'><v>&e11;</v></c></row>"
    return _book([f"<!DOCTYPE worksheet [{levels}]>{_HEAD}{row}{_TAIL}".encode()])


def size_that_lies() -> bytes:
    """An archive whose directory says that 250 MB are 1000 bytes."""
    data = bytearray(cells_without_end())
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        size = archive.getinfo("xl/worksheets/sheet1.xml").file_size
    place = data.rindex(b"PK\x01\x02")
    assert int.from_bytes(data[place + 24 : place + 28], "little") == size
    data[place + 24 : place + 28] = (1000).to_bytes(4, "little")
    return bytes(data)


def wide_row() -> bytes:
    """A row of sixty million cells."""
    return b"time_s,air_c,meat_c\n0,110,4\n" + b"," * 60_000_000 + b"\n60,110,5\n"


def wide_header() -> bytes:
    """A header of three million columns."""
    return b"time_s,air_c,meat_c" + b",x" * 3_000_000 + b"\n0,110,4\n60,110,5\n"


def many_wide_rows() -> bytes:
    """A million rows of a hundred empty cells."""
    return b"time_s,air_c,meat_c\n" + (b"0,110,4" + b"," * 100 + b"\n") * 1_000_000


def wide_letters() -> bytes:
    """A letter of four bytes in a text of 250 MB, which makes all its letters as wide."""
    row = b"0,110,4," + b"x" * 80 + b"\n"
    return "time_s,air_c,meat_c,\U0001f525\n".encode() + row * (250_000_000 // len(row) // 2)


def nested_json() -> bytes:
    """A hundred thousand lists in each other."""
    return b'{"time_s":0,"air_c":110,"meat_c":' + b"[" * 100_000 + b"]" * 100_000 + b"}\n"


def nested_array() -> bytes:
    """A sample that is nested without end, in an array."""
    return b'[{"time_s":0,"air_c":110,"meat_c":4},{"a":' + b'{"a":' * 100_000 + b"1"


def many_keys() -> bytes:
    """A row with two hundred thousand keys."""
    keys = {f"k{i}": i for i in range(200_000)}
    return json.dumps({"time_s": 0, "air_c": 110, "meat_c": 4, **keys}).encode() + b"\n"


def long_list() -> bytes:
    """A key that holds twenty million numbers."""
    return b'{"time_s":0,"air_c":110,"meat_c":[' + b"1," * 20_000_000 + b"1]}\n"


HOSTILE: dict[str, tuple[Callable[[], bytes], str]] = {
    "cells without end": (cells_without_end, "more than the 128 MiB"),
    "cells up to the limit": (cells_up_to_the_limit, "same heading"),
    "far cell": (far_cell, "spread over 1,048,576 rows and 16,384 columns"),
    "cell beyond the sheet": (cell_beyond_the_sheet, "outside the sheet"),
    "texts without end": (texts_without_end, "more than 3,200,000"),
    "styles without end": (styles_without_end, "the workbook holds 95 MiB"),
    "entities": (entities, "declares entities"),
    "size that lies": (size_that_lies, "damaged"),
    "wide row": (wide_row, "row 3: The row is longer than"),
    "wide header": (wide_header, "row 1: The row is longer than"),
    "many wide rows": (many_wide_rows, "more than"),
    "wide letters": (wide_letters, "letters of four bytes"),
    "nested json": (nested_json, "nested without end"),
    "nested array": (nested_array, "Only 1 row can be used"),
    "many keys": (many_keys, "More than 64 different keys"),
    "long list": (long_list, "JSON of more than 8,000,000 values"),
}
"""Name, maker, and words of the sentence that refuses it."""

_CHILD = """
import resource, sys
resource.setrlimit(resource.RLIMIT_AS, (int(sys.argv[2]),) * 2)
resource.setrlimit(resource.RLIMIT_CPU, (120, 120))
from coreward.errors import LogError
from coreward.logs import read_log
before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
try:
    read_log(sys.argv[1])
    said = "read"
except LogError as error:
    said = str(error)
after = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
print(int((after - before) / 1024))
print(said)
"""


def read_in_child(path: Path, most_bytes: int) -> tuple[int, str, str]:
    """Read a file in a process of limited memory.

    Returns the memory that it took [MiB], the sentence, and what went to the terminal.
    """
    done = subprocess.run(
        [sys.executable, "-c", _CHILD, str(path), str(most_bytes)],
        capture_output=True,
        text=True,
        timeout=300,
        env={"PYTHONPATH": str(MODEL), "OPENBLAS_NUM_THREADS": "1", "PATH": ""},
        check=False,
    )
    mebibytes, _, said = done.stdout.partition("\n")
    return int(mebibytes or -1), said.strip(), done.stderr
