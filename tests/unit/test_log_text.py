"""A row of units below the headings, and which line stands for a table that has none."""

from __future__ import annotations

import pytest

from coreward import tables
from coreward.logs.parts import LogReadError, Reading
from coreward.logs.text import _find_header as find_header
from coreward.logs.text import _with_units as with_units

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
