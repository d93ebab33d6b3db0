"""Which columns of a long table tell the time."""

from __future__ import annotations

from array import array

import pytest

from coreward import tables
from coreward.logs.long_rows import _time_of as time_of
from coreward.logs.long_rows import one_column_per_probe
from coreward.logs.parts import Reading, Table


@pytest.mark.parametrize(
    ("header", "times", "stated", "found"),
    [
        (("date", "clock", "elapsed", "value"), [0, 1, 2], {}, [0, 1]),
        (("clock", "date", "value"), [0, 1], {}, [1, 0]),
        (("clock", "elapsed", "value"), [0, 1], {}, [0]),
        (("date", "day", "value"), [0], {}, [0]),
        (("a", "b", "value"), [0, 1], {"b": "date"}, [1, 0]),
        (("a", "b", "value"), [0, 1], {"a": "date", "b": "date"}, [0]),
        (("a", "b", "clock"), [0, 1, 2], {"a": "date", "b": "date"}, [0, 2]),
    ],
)
def test_a_date_and_one_time_tell_it(header, times, stated, found) -> None:
    table = Table(header, 1, [], array("i"), False)
    assert time_of(table, times, stated) == found


@pytest.mark.parametrize(("later_s", "said"), [(0.0, []), (0.5, ["0.5 s"]), (2.0, ["2 s"])])
def test_a_sweep_over_the_probes_has_one_time(later_s: float, said: list[str]) -> None:
    """Six times of two probes; what the second came later is listed, however little."""
    rows = []
    for sweep in range(6):
        rows += [[f"{60 * sweep}", "core", f"{60 + sweep}"]]
        rows += [[f"{60 * sweep + later_s:g}", "pit", f"{110 + sweep}"]]
    table = Table(("time_s", "probe", "value °C"), 1, rows, array("q", range(2, 14)), False)
    reading = Reading("log.csv", tables.load("log_reading"))
    found = one_column_per_probe(table, {}, reading)
    assert found.header == ("time_s", "core (°C)", "pit (°C)")
    assert found.rows == [[f"{60 * n}", f"{60 + n}", f"{110 + n}"] for n in range(6)]
    listed = [one.was for one in reading.repairs if one.kind == "one time"]
    assert listed == [f"probes read up to {words} after each other" for words in said]
