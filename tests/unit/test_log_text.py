"""A row of units below the headings, and which line stands for a table that has none."""

from __future__ import annotations

import pytest

from coreward import tables
from coreward.logs.parts import LogReadError, Reading
from coreward.logs.text import _find_header as find_header
from coreward.logs.text import _with_units as with_units
from coreward.logs.text import is_header, lines_of, split_table
from coreward.logs.time_forms import _of_day as of_day
from coreward.logs.time_forms import find_form
from coreward.logs.workbook import _check_part as check_part

HEADER = ("time", "pit", "core")
BELOW = [["0", "110", "4"], ["60", "111", "5"]]


def reading() -> Reading:
    return Reading("log.csv", tables.load("log_reading"))


@pytest.mark.parametrize(
    ("units", "rows", "expected"),
    [
        (["s", "°C", "°C"], BELOW, ("time [s]", "pit [°C]", "core [°C]")),
        (["s", "", "F"], BELOW, ("time [s]", "pit", "core [°F]")),
        # No unit of temperature among them, one alone, or too few rows to tell.
        (["s", "%", "%"], BELOW, HEADER),
        (["", "", "°C"], BELOW, HEADER),
        (["s", "°C", "high"], BELOW, HEADER),
        (["s", "°C"], BELOW, HEADER),
        (["s", "°C", "°C"], BELOW[:1], HEADER),
    ],
)
def test_a_row_of_units_is_one_of_units_only(units, rows, expected) -> None:
    found = reading()
    assert with_units(HEADER, [units, *rows], {}, found) == expected
    assert bool(found.understood) is (expected != HEADER)


def test_units_that_are_stated_or_stand_in_the_heading_are_left() -> None:
    header = ("time", "pit (F)", "core")
    found = with_units(header, [["s", "°C", "°C"], *BELOW], {"core": "meat"}, reading())
    assert found == ("time [s]", "pit (F)", "core")


def test_a_table_without_headings_begins_with_its_first_line() -> None:
    found = find_header("# a note\n1;2;3\n4,5;6;7\n8,9,10,11\n", {}, reading())
    assert found == (";", 2)
    with pytest.raises(LogReadError, match="no comma, semicolon, tab or vertical bar in"):
        find_header("nothing\n1,2\n", {}, reading())


@pytest.mark.parametrize(("letters", "fits"), [(131_072, True), (131_073, False)])
def test_a_cell_without_end_is_refused_with_its_row(letters: int, fits: bool) -> None:
    """No cell of a table may be longer than the library of Python takes."""
    text = f"time,note\n0,1\n60,{'x' * letters}\n120,2\n"
    if fits:
        assert len(split_table(text, {}, reading()).rows) == 3
        return
    with pytest.raises(LogReadError, match="The row cannot be split into cells") as refused:
        split_table(text, {}, reading())
    assert refused.value.row == 3


@pytest.mark.parametrize(
    ("cell", "words"),
    [
        ("2026-10-24T18:30:00", "date and time, ISO 8601, local time without a zone"),
        ("2026-10-24T18:30:00+02:00", "date and time, ISO 8601, zone UTC+02:00"),
        ("2026/10/24 18:30", "date and time, year first, local time without a zone"),
        (
            "24 Oct 2026 18:30",
            "date and time with the month by name, local time without a zone",
        ),
    ],
)
def test_how_a_date_is_read_is_said_with_its_zone(cell: str, words: str) -> None:
    assert find_form("time", [cell, cell], "time").sentence == words


def test_what_a_workbook_holds_beside_its_sheets_is_weighed() -> None:
    """Of a sheet and of its texts the cells are counted; all else has at most 16 MiB."""
    big = b"<x>" + b" " * 2**24 + b"</x>"
    for name in ("xl/styles.xml", "xl/worksheets/drawing.bin", "xl/theme.xml"):
        check_part(name, big[: 2**24], reading())
        with pytest.raises(LogReadError, match="of the workbook holds 16 MiB"):
            check_part(name, big, reading())
    for name in ("xl/worksheets/sheet1.xml", "xl/sharedstrings.xml"):
        check_part(name, big, reading())


@pytest.mark.parametrize(("before", "row"), [("", 1), ("\n", 2), ("time,core\n0,60\n", 3)])
def test_a_line_without_end_is_refused_with_its_row(before: str, row: int) -> None:
    most = int(tables.load("log_reading")["line_limit"])
    whole = before + "x" * most
    assert list(lines_of(whole, reading())) == whole.split("\n")
    assert list(lines_of(whole + "\ny", reading())) == [*whole.split("\n"), "y"]
    with pytest.raises(LogReadError, match="longer than 1,048,576 characters") as refused:
        list(lines_of(whole + "x", reading()))
    assert refused.value.row == row


@pytest.mark.parametrize(
    ("clock", "seconds"),
    [
        (("0", "00", None, None, None), 0.0),
        (("23", "59", "59", "25", None), 86_399.25),
        (("24", "00", None, None, None), None),
        (("12", "60", None, None, None), None),
        (("12", "00", "60", None, None), None),
        # Midnight and noon are the twelves.
        (("12", "05", None, None, "am"), 300.0),
        (("12", "05", None, None, "PM"), 43_500.0),
        (("1", "00", None, None, "p.m."), 46_800.0),
        # A clock of twelve hours has neither a thirteenth nor a noughth.
        (("13", "00", None, None, "pm"), None),
        (("0", "30", None, None, "am"), None),
    ],
)
def test_a_clock_of_the_day_in_seconds(clock, seconds: float | None) -> None:
    assert of_day(*clock) == seconds


@pytest.mark.parametrize(
    ("cells", "header"),
    [
        (["time_s", "meat"], True),
        (["time_s", "pit air"], True),
        (["time_s", "x °C"], True),
        (["time_s", "note"], False),
        (["note", "meat"], False),
        (["s", "°C"], False),
    ],
)
def test_headings_are_of_a_time_and_a_temperature(cells, header: bool) -> None:
    assert is_header(cells, {}) is header
