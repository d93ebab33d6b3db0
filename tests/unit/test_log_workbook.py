"""Logs in workbooks and in JSON go the way of every other table."""

from __future__ import annotations

import datetime as dt
import io
import json
import re
import sys
import zipfile

import numpy as np
import openpyxl
import pytest

from coreward import tables
from coreward.logs import LogReadError, read_log, what_it_holds
from coreward.logs.parts import Reading
from coreward.logs.workbook import (
    _cell,
    _choose,
    _Extent,
    _is_plainly_within,
    _place,
    _sheet,
    _up_to,
    sheet_text,
)

pytestmark = pytest.mark.quick

START = dt.datetime(2026, 5, 2, 23, 58)
HEADINGS = ["date and time", "pit air (°C)", "meat (°C)"]


def book_of(*sheets: tuple[str, list[list[object]]]) -> bytes:
    book = openpyxl.Workbook()
    book.remove(book.active)
    for title, rows in sheets:
        sheet = book.create_sheet(title)
        for row in rows:
            sheet.append(row)
    stream = io.BytesIO()
    book.save(stream)
    return stream.getvalue()


def good_rows(count: int = 10) -> list[list[object]]:
    return [
        [START + dt.timedelta(minutes=i), 110 + i % 3, round(4 + i / 10, 1)]
        for i in range(count)
    ]


@pytest.fixture
def write(tmp_path):
    def writer(data: bytes | str, name: str = "log.xlsx"):
        path = tmp_path / name
        path.write_bytes(data if isinstance(data, bytes) else data.encode())
        return path

    return writer


# --- workbooks ---------------------------------------------------------------------------


def test_workbook_reads_as_its_csv(write):
    data = book_of(("log", [HEADINGS, *good_rows()]))
    log = read_log(write(data))
    lines = [",".join(HEADINGS), *(",".join(map(str, row)) for row in good_rows())]
    plain = read_log(write("\n".join(lines), "log.csv"))
    assert np.array_equal(log.time_s, plain.time_s)
    for one, other in zip(log.channels, plain.channels, strict=True):
        assert (one.name, one.role) == (other.name, other.role)
        assert np.array_equal(one.temperature_c, other.temperature_c)
    assert log.start == START
    assert log.raw.data == data
    assert log.raw[1][1].startswith("2026-05-02 23:58:00")
    assert "Sheet 'log' of a workbook" in log.understood[0]


def test_repairs_name_the_row_of_the_sheet(write):
    rows = good_rows()
    rows[3][2] = "---"
    rows[5][1] = "two\nlines"
    rows[6][2] = None
    body = [["INVENTED supper"], [], HEADINGS, *rows[:8], [], *rows[8:]]
    log = read_log(write(book_of(("log", body))))
    assert [(r.row, r.column, r.kind) for r in log.repairs] == [
        (9, "pit air (°C)", "not a number"),
        (7, "meat (°C)", "unplugged"),
        (10, "meat (°C)", "no reading"),
    ]
    assert log.time_s.size == 10
    assert log.notes == ("INVENTED supper",)


@pytest.mark.parametrize(
    ("heading", "cells", "expected"),
    [
        ("clock", [dt.time(23, 59), dt.time(0, 0), dt.time(0, 1, 30)], [0, 60, 150]),
        ("elapsed", [dt.timedelta(hours=23, seconds=s) for s in (0, 30, 7200)], [0, 30, 7200]),
        ("elapsed", [dt.timedelta(seconds=s / 2) for s in (0, 1, 3)], [0, 0.5, 1.5]),
        ("time_s", [0, 1.5, 3], [0, 1.5, 3]),
        ("time", ["2026-05-02T10:00:00Z", "2026-05-02T12:01:00+02:00"], [0, 60]),
    ],
)
def test_times_of_a_spreadsheet(write, heading, cells, expected):
    rows = [[cell, 110, 50 + i] for i, cell in enumerate(cells)]
    log = read_log(write(book_of(("log", [[heading, "air_c", "meat_c"], *rows]))))
    assert log.time_s.tolist() == expected


def test_serial_days_are_asked_for(write):
    text = "time,air_c,meat_c\n" + "".join(
        f"{46144 + i / 1440:.9f},110,{50 + i}\n" for i in range(5)
    )
    path = write(text, "days.csv")
    with pytest.raises(LogReadError, match="serial days") as caught:
        read_log(path)
    assert caught.value.question.choices[0] == "serial days"
    log = read_log(path, columns={"time": "serial days"})
    assert np.allclose(log.time_s, np.arange(5) * 60.0, atol=1e-3)
    assert log.start == dt.datetime(2026, 5, 2)


def test_several_sheets_are_asked_about(write):
    good = [HEADINGS, *good_rows()]
    path = write(book_of(("cook", good), ("notes", [["a note"]]), ("blank", [])))
    with pytest.raises(LogReadError, match="2 sheets") as caught:
        read_log(path)
    assert caught.value.question.argument == "sheet"
    assert caught.value.question.choices == ("cook", "notes")
    assert read_log(path, sheet="cook").time_s.size == 10
    with pytest.raises(LogReadError, match="no sheet 'gone'"):
        read_log(path, sheet="gone")
    seen = what_it_holds(path)
    assert seen.sheets == ("cook", "notes")
    assert [one.argument for one in seen.questions] == ["sheet"]
    assert what_it_holds(path, sheet="cook").is_ready
    assert read_log(write(book_of(("cook", good), ("blank", [])))).time_s.size == 10
    with pytest.raises(LogReadError, match="no workbook"):
        read_log(write("time_s,air_c,meat_c\n0,1,2\n60,1,2\n", "a.csv"), sheet="cook")


def _zip(**files: bytes) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        for name, data in files.items():
            archive.writestr(name, data)
    return out.getvalue()


@pytest.mark.parametrize(
    ("data", "word"),
    [
        (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\0" * 600, ".xls"),
        (
            b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + "EncryptedPackage".encode("utf-16-le"),
            "password",
        ),
        (b"PK\x03\x04" + b"\0" * 100, "damaged"),
        (_zip(log=b"time_s,air_c,meat_c\n"), "archive"),
        (book_of(("log", [])), "no values"),
        (book_of(("log", [HEADINGS])), "no reading below"),
        (book_of(("log", [HEADINGS, *good_rows()]))[:-300], "damaged"),
    ],
)
def test_refused_workbooks(write, data, word):
    with pytest.raises(LogReadError, match=word):
        read_log(write(data))


def test_every_kind_of_cell_becomes_its_text(write):
    rows: list[list[object]] = [
        [START, "a & b <c>", True, 0.1, dt.time(1, 2), 1e-7, -3, "1e5", 12345678901],
        [dt.datetime(2026, 5, 4), None, False, 3.0, dt.time(), "x", 1e300, "two\nlines", ""],
        [START, 0.5, "tab\tbed", dt.timedelta(hours=30, seconds=1.5), "", "", "", "", ""],
    ]
    book = book_of(("log", [["title"], [], ["when", *"abcdefgh"], *rows]))
    with pytest.raises(LogReadError) as caught:
        read_log(write(book), columns={"when": "time", "b": "air", "d": "meat"})
    assert caught.value.row in (3, 4, 5)
    text = sheet_text(book, None, Reading("book", tables.load("log_reading")))
    assert text.split("\n") == [
        "title\t\t\t\t\t\t\t\t",
        "",
        "when\ta\tb\tc\td\te\tf\tg\th",
        "2026-05-02 23:58:00\ta & b <c>\tTrue\t0.1\t01:02:00\t1e-07\t-3\t1e5\t12345678901",
        "2026-05-04 00:00:00\t\tFalse\t3\t00:00:00\tx\t1e+300\ttwo lines\t",
        "2026-05-02 23:58:00\t0.5\ttab bed\t30:00:01.500000\t\t\t\t\t",
        "",
    ]


def test_midnight_and_days_without_a_time(write):
    """The library gives midnight as a bare date: its row must not be lost."""
    rows = [
        [dt.datetime(2026, 5, 2, 23, 59) + dt.timedelta(minutes=i), 110, 50] for i in (0, 1, 2)
    ]
    log = read_log(write(book_of(("log", [HEADINGS, *rows]))))
    assert log.time_s.tolist() == [0.0, 60.0, 120.0]
    assert log.repairs == ()
    days = [[dt.date(2026, 5, 2 + i), dt.time(12), 110, 50] for i in (0, 1, 2)]
    log = read_log(write(book_of(("log", [["date", "time", *HEADINGS[1:]], *days]))))
    assert log.time_s.tolist() == [0.0, 86400.0, 172800.0]
    assert log.start == dt.datetime(2026, 5, 2, 12)


@pytest.mark.parametrize("prefix", ["", "x:"])
def test_cells_count_the_same_by_search_and_by_parser(prefix):
    """A sheet of the plainest form is searched, any other is parsed: both find the far cell."""
    for last, column, plain, refused in (
        (12, "C", True, False),
        (1_048_576, "C", True, False),
        (1_048_576, "G", False, True),
        (90, "XFD", False, False),
        (4000, "XFD", False, True),
        (3_000_000, "C", False, True),
    ):
        far = f'<row r="{last}"><c r="{column}{last}"/></row>'
        rows = f'<row r="1"><c r="A1"><v>1</v></c></row>{far}'
        part = f'<worksheet xmlns="m" xmlns:x="m"><sheetData>{rows}</sheetData></worksheet>'
        part = part.replace("<c", f"<{prefix}c").replace("</c", f"</{prefix}c")
        reading = Reading("book", tables.load("log_reading"))
        assert _is_plainly_within(part.encode(), 6_000_000) == (plain and not prefix)
        if refused:
            with pytest.raises(LogReadError, match=r"spread over|outside the sheet"):
                _Extent(reading).check(part.encode())
        else:
            _Extent(reading).check(part.encode())


def test_pattern_for_numbers_up_to_a_bound():
    for last in (1, 9, 10, 19, 20, 99, 100, 101, 345, 999, 1000, 1048):
        found = re.compile(_up_to(last))
        accepted = [n for n in range(1, 2000) if found.fullmatch(str(n))]
        assert accepted == list(range(1, last + 1))


@pytest.mark.slow
def test_sheet_that_lies_about_its_size(write):
    book = book_of(("log", [HEADINGS, *good_rows()]))
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(book)) as old, zipfile.ZipFile(out, "w") as new:
        for name in old.namelist():
            data = old.read(name)
            if name == "xl/worksheets/sheet1.xml":
                data = data.replace(b'ref="A1:C11"', b'ref="A1:XFD1048576"')
            new.writestr(name, data)
    assert read_log(write(out.getvalue())).time_s.size == 10
    far = out.getvalue()
    with (
        zipfile.ZipFile(io.BytesIO(book)) as old,
        zipfile.ZipFile(out := io.BytesIO(), "w") as new,
    ):
        for name in old.namelist():
            data = old.read(name)
            if name == "xl/worksheets/sheet1.xml":
                data = data.replace(b'<row r="11"', b'<row r="999999"').replace(
                    b'"A11"', b'"A999999"'
                )
            new.writestr(name, data)
    assert far != out.getvalue()
    with pytest.raises(LogReadError, match="blank rows"):
        read_log(write(out.getvalue()))


def test_without_the_library(write, monkeypatch):
    monkeypatch.setitem(sys.modules, "python_calamine", None)
    with pytest.raises(LogReadError, match="python-calamine"):
        read_log(write(book_of(("log", [HEADINGS, *good_rows()]))))


# --- JSON --------------------------------------------------------------------------------


def objects(count: int = 10) -> list[dict[str, object]]:
    return [
        {"time": f"2026-05-02T10:{i:02d}:00Z", "pit_c": 110 + i % 3, "meat_c": 4 + i / 10}
        for i in range(count)
    ]


@pytest.mark.parametrize(
    "form",
    [
        lambda rows: "\n".join(map(json.dumps, rows)) + "\n",
        lambda rows: json.dumps(rows),
        lambda rows: json.dumps(rows, indent=2),
        lambda rows: "# INVENTED\n\n" + "\r\n".join(map(json.dumps, rows)),
        lambda rows: json.dumps({"cook": "supper", "samples": rows}, indent=1),
        lambda rows: "\ufeff" + "\n".join(map(json.dumps, rows)),
    ],
)
def test_forms_of_json(write, form):
    text = form(objects())
    log = read_log(write(text, "log.jsonl"))
    assert np.array_equal(log.time_s, np.arange(10) * 60.0)
    assert log.meat().temperature_c.tolist() == [4 + i / 10 for i in range(10)]
    assert log.start == dt.datetime(2026, 5, 2, 10, tzinfo=dt.UTC)
    assert log.repairs == ()
    assert log.raw.data == text.encode()


def test_nested_values_are_columns(write):
    rows = [
        {
            "time_s": 60 * i,
            "unit": "F",
            "probes": {"pit": 230, "meat": 40 + i},
            "temps": [1, None],
        }
        for i in range(5)
    ]
    log = read_log(write("\n".join(map(json.dumps, rows)), "log.json"))
    assert [(c.name, c.role) for c in log.channels] == [
        ("probes.pit", "air"),
        ("probes.meat", "meat"),
        ("temps.1", "meat"),
    ]
    assert log.air_c[0] == pytest.approx(110.0)
    assert [(one.name, one.meat_like) for one in log.left_out] == [
        ("unit", False),
        ("temps.2", True),
    ]
    assert "never plugged in" in log.left_out[1].reason
    rows[3]["unit"] = "C"
    mixed = write("\n".join(map(json.dumps, rows)), "log.json")
    with pytest.raises(LogReadError, match="mixed units"):
        read_log(mixed)


def test_faults_of_json_name_row_and_key(write):
    lines = [json.dumps(one) for one in objects(12)]
    lines[3] = '{"time": "2026-05-02T10:03:00Z", "pit_c": 110, '
    lines[5] = lines[5].replace("4.5", '"---"')
    lines[6] = "[1, 2]"
    lines[7] = lines[7].replace('"pit_c"', '"time"')
    log = read_log(write("\n".join(lines) + '\n{"time": "2026', "log.jsonl"))
    assert [(r.row, r.column, r.kind) for r in log.repairs] == [
        (4, "", "not an object"),
        (7, "", "not an object"),
        (8, "", "not an object"),
        (13, "", "half-written"),
        (6, "meat_c", "unplugged"),
    ]
    assert log.time_s.size == 9


def test_array_cut_off_and_broken(write):
    text = json.dumps(objects())
    log = read_log(write(text[:-20], "log.json"))
    assert [(r.row, r.kind) for r in log.repairs] == [(10, "half-written")]
    with pytest.raises(LogReadError, match="row 3"):
        read_log(write(text.replace('"2026-05-02T10:02:00Z"', "soon"), "log.json"))


@pytest.mark.parametrize(
    "text",
    [
        *('{"a": 1', "{}", "[{}]", '{"a": 1, "a": 2}', '[{"a": 1, "a": 2}]'),
        *('{"x": 1}\n{"x": 2}', "[{" + "[" * 40_000, '[{"a":' * 20_000, '{"a":' * 20_000),
    ],
)
def test_refused_json(write, text):
    with pytest.raises(LogReadError):
        read_log(write(text, "log.json"))


def test_late_and_many_keys(write):
    rows = objects()
    rows[7]["outside_c"] = 15
    log = read_log(write("\n".join(map(json.dumps, rows)), "log.json"))
    assert log.time_s.size == 10
    assert np.isfinite(log.by_role("ambient")[0].temperature_c).tolist() == [
        i == 7 for i in range(10)
    ]
    rows[8].update({f"k{i}": i for i in range(100)})
    with pytest.raises(LogReadError, match="different keys"):
        read_log(write("\n".join(map(json.dumps, rows)), "log.json"))


@pytest.mark.parametrize(("most", "within"), [(19, False), (20, True)])
def test_a_sheet_lies_within_its_rectangle_of_cells(most: int, within: bool) -> None:
    """Ten rows of two columns are twenty cells, however few of them are filled."""
    rows = "".join(f'<row r="{n}"><c r="A{n}"/><c r="B{n}"/></row>' for n in (1, 10))
    part = f'<?xml version="1.0" encoding="UTF-8"?><sheetData>{rows}</sheetData>'.encode()
    assert _is_plainly_within(part, most) is within


def test_a_sheet_that_the_library_cannot_read_is_damaged() -> None:
    class Book:
        def get_sheet_by_name(self, name: str) -> None:
            raise RuntimeError(f"no part of {name}")

    with pytest.raises(LogReadError, match=r"damaged or unfinished \(no part of log\)"):
        _sheet(Book(), "log", Reading("log.xlsx", tables.load("log_reading")))


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (71.0, "71"),
        (71.25, "71.25"),
        (1e15, "1000000000000000.0"),
        (999_999_999_999_999.0, "999999999999999"),
        ("two\nlines\tand  more", "two lines and more"),
        ("two  blanks", "two  blanks"),
        (dt.datetime(2026, 5, 2, 23, 58), "2026-05-02 23:58:00"),
        (dt.date(2026, 5, 2), "2026-05-02"),
        (dt.time(23, 58), "23:58:00"),
        (dt.timedelta(hours=30, seconds=59), "30:00:59"),
        (dt.timedelta(minutes=61, microseconds=250_000), "1:01:00.250000"),
        (dt.timedelta(seconds=-90), "-0:01:30"),
        (dt.timedelta(seconds=-1.5), "-0:00:01.500000"),
        (True, "True"),
    ],
)
def test_a_value_of_a_sheet_is_written_as_a_file_of_text_would(value, text: str) -> None:
    assert _cell(value) == text


def test_columns_of_a_sheet_are_counted_from_nought() -> None:
    assert [_place(name) for name in ("A", "z", "AA", "AZ", "BA", "ZZ", "AAA")] == [
        0, 25, 26, 51, 52, 701, 702,
    ]  # fmt: skip


def test_which_sheet_is_read() -> None:
    reading = Reading("log.xlsx", tables.load("log_reading"))
    assert _choose(["log"], ["log", "notes"], None, reading) == "log"
    assert _choose(["log", "more"], ["log", "more"], "more", reading) == "more"
    for filled, wanted, words in (
        (
            ["log"],
            "notes",
            "There is no sheet 'notes' with values in it. The workbook has 'log'",
        ),
        ([], None, "The workbook holds no values."),
        (["log", "more"], None, "The workbook has 2 sheets with values: 'log', 'notes'."),
    ):
        with pytest.raises(LogReadError, match=words):
            _choose(filled, ["log", "notes"], wanted, reading)


def test_columns_left_blank_before_a_table_stay_blank() -> None:
    """A column of a log is where the sheet has it."""
    rows = [[None, None, *row] for row in ([*HEADINGS], *good_rows(2))]
    text = sheet_text(book_of(("log", rows)), None, Reading("book", tables.load("log_reading")))
    assert [line.split("\t")[:3] for line in text.splitlines()] == [
        ["", "", "date and time"],
        ["", "", "2026-05-02 23:58:00"],
        ["", "", "2026-05-02 23:59:00"],
    ]
