"""Reading probe logs: what is understood, repaired, refused, and never guessed."""

from __future__ import annotations

import datetime as dt
import math
import random
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from coreward import tables
from coreward.errors import InputError, LogError
from coreward.logs import (
    Channel,
    LogReadError,
    ProbeLog,
    RawRows,
    Repair,
    read_in_order,
    read_log,
)
from coreward.logs.read import COLUMN_ROLES

pytestmark = pytest.mark.quick

QUIET = settings(
    max_examples=150,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)


@pytest.fixture
def write(tmp_path):
    """Write text or bytes to a file and return its path."""

    def writer(content: str | bytes, encoding: str = "utf-8", name: str = "log.csv") -> Path:
        target = tmp_path / name
        data = content if isinstance(content, bytes) else content.encode(encoding)
        target.write_bytes(data)
        return target

    return writer


def kinds(log: ProbeLog) -> list[str]:
    return [repair.kind for repair in log.repairs]


def good_text(rows: int = 30, step: int = 60) -> str:
    body = "".join(f"{i * step},{110 + i % 3},{4 + 0.5 * i:.1f}\n" for i in range(rows))
    return "time_s,air_c,meat_c\n" + body


def refused(path: Path, **options) -> LogReadError:
    with pytest.raises(LogReadError) as caught:
        read_log(path, **options)
    error = caught.value
    assert error.file == path.name
    assert error.what
    assert error.remedy.endswith((".", "_C'.", "meat_C"))
    assert error.what in str(error)
    assert error.remedy in str(error)
    return error


# --- what is understood --------------------------------------------------------------


def test_plain_log(write):
    log = read_log(write(good_text()))
    assert log.time_s[:3].tolist() == [0.0, 60.0, 120.0]
    assert [channel.role for channel in log.channels] == ["air", "meat"]
    assert log.air_c[1] == 111.0
    assert log.meat(1).temperature_c[1] == 4.5
    assert log.repairs == ()
    assert log.gaps == ()
    assert log.interval_s == 60.0
    assert log.duration_s == 29 * 60.0
    assert log.source == "log.csv"
    assert log.start is None


@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
@pytest.mark.parametrize(
    "encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "cp1252", "utf-32"]
)
@pytest.mark.parametrize("newline", ["\n", "\r\n", "\r"])
def test_delimiters_encodings_and_line_ends(write, delimiter, encoding, newline):
    rows = ["Zeit [min]", "Luft °C", "Kern °C"], ["0", "107.5", "4.2"], ["5", "108.5", "4.9"]
    text = newline.join(delimiter.join(row) for row in rows) + newline
    log = read_log(write(text, encoding))
    assert log.time_s.tolist() == [0.0, 300.0]
    assert log.air_c.tolist() == [107.5, 108.5]
    assert log.meat().temperature_c.tolist() == [4.2, 4.9]


@pytest.mark.parametrize("delimiter", [";", "\t"])
def test_decimal_comma(write, delimiter):
    text = "time_s;air_c;meat_c\n0;107,5;4,2\n60,5;108,5;4,9\n".replace(";", delimiter)
    log = read_log(write(text))
    assert log.time_s.tolist() == [0.0, 60.5]
    assert log.meat().temperature_c.tolist() == [4.2, 4.9]


def test_decimal_comma_in_quotes(write):
    log = read_log(write('time_s,air_c,meat_c\n0,"107,5","4,2"\n60,"108","4,9"\n'))
    assert log.air_c.tolist() == [107.5, 108.0]


def test_decimal_comma_between_commas_is_refused(write):
    error = refused(write("time_s,air_c,meat_c\n0,107,5,4,2\n60,107,5,4,9\n"))
    assert error.row == 2
    assert "semicolon" in error.remedy


def test_fahrenheit_from_heading_is_said(write):
    log = read_log(write("time_s,Pit (°F),Meat degF\n0,212,32\n60,212,50\n"))
    assert log.air_c.tolist() == [100.0, 100.0]
    assert log.meat().temperature_c.tolist() == [0.0, 10.0]
    assert any("°F: its heading says so" in sentence for sentence in log.understood)


def test_unit_is_asked_for_and_can_be_stated(write):
    path = write("time_s,Pit,Meat\n0,225,40\n60,226,41\n")
    error = refused(path)
    assert "units='F'" in error.remedy
    assert error.column == "Pit"
    assert read_log(path, units="F").meat().temperature_c[1] == pytest.approx(5.0)
    assert read_log(path, units="C").air_c[0] == 225.0


def test_unit_from_note_and_from_cells(write):
    noted = read_log(write("# units: F\ntime_s,Pit,Meat\n0,212,32\n60,212,50\n"))
    assert noted.air_c[0] == 100.0
    assert ("units", "F") in noted.metadata
    celled = read_log(write("time_s,Pit,Meat\n0,212 F,32 °F\n60,212 F,50 °F\n"))
    assert celled.meat().temperature_c.tolist() == [0.0, 10.0]


def test_unit_contradictions_are_refused(write):
    assert "units='F'" in refused(write(good_text()), units="F").what
    noted = refused(write("# units: F\n" + good_text()))
    assert "note" in noted.what


def test_half_stated_units_are_refused(write):
    error = refused(write("time_s,Pit (F),Meat\n0,225,40\n60,226,41\n"))
    assert error.column == "Meat"


@pytest.mark.parametrize(
    ("heading", "cells", "expected"),
    [
        ("time_s", ["0", "1.5", "3"], [0, 1.5, 3]),
        ("elapsed (min)", ["0", "1", "2.5"], [0, 60, 150]),
        ("Elapsed hours", ["0", "0.5", "1"], [0, 1800, 3600]),
        ("time_ms", ["0", "1000", "2000"], [0, 1, 2]),
        ("elapsed", ["0:00:00", "0:01:00", "25:00:00"], [0, 60, 90000]),
        ("time", ["0:00:00", "0:00:30", "0:01:00"], [0, 30, 60]),
        ("time", ["0:00:30", "0:01:00", "0:02:00"], [0, 30, 90]),
        ("elapsed ms", ["200000000", "200001000", "200002000"], [0, 1, 2]),
        ("clock", ["00:01", "00:00", "23:59"], [0, 60, 120]),
        ("clock", ["23:58", "00:00", "23:59", "00:01"], [0, 60, 120, 180]),
        ("clock", ["22:00", "06:00", "19:00", "19:01"], [0, 28800, 75600, 75660]),
        ("time m:ss", ["0:00", "0:30", "75:00"], [0, 30, 4500]),
        ("time h:mm", ["0:00", "0:30", "1:00"], [0, 1800, 3600]),
        ("time", ["14:03", "14:05", "14:06"], [0, 120, 180]),
        ("clock", ["23:59:30", "00:00:00", "00:01:00"], [0, 30, 90]),
        ("time", ["11:59 PM", "12:00 AM", "12:02 a.m."], [0, 60, 180]),
        (
            "time",
            ["2026-05-02T23:59:00", "2026-05-03T00:00:00", "2026-05-03 00:01"],
            [0, 60, 120],
        ),
        (
            "timestamp",
            ["2026-05-02T10:00:00Z", "2026-05-02T12:01:00+02:00", "2026-05-02T10:02:00.500Z"],
            [0, 60, 120.5],
        ),
        ("time", ["02.05.2026 10:00", "02.05.2026 10:01", "02.05.2026 10:02"], [0, 60, 120]),
        (
            "time",
            ["13/05/2026 10:00:00", "13/05/2026 10:00:05", "13/05/2026 10:00:10"],
            [0, 5, 10],
        ),
        (
            "time",
            ["5/13/2026 9:59 AM", "5/13/2026 10:00 AM", "5/13/2026 12:00 PM"],
            [0, 60, 7260],
        ),
        (
            "time",
            ["2026/05/02 10:00:00", "2026/05/02 10:00:01", "2026/05/02 10:00:03"],
            [0, 1, 3],
        ),
        (
            "time",
            ["2 May 2026 10:00:00", "2 May 2026 10:00:01", "May 2, 2026 10:00:03"],
            [0, 1, 3],
        ),
        ("time", ["1777716000", "1777716001", "1777716060"], [0, 1, 60]),
        ("time", ["1777716000000", "1777716001500", "1777716060000"], [0, 1.5, 60]),
    ],
)
def test_forms_of_time(write, heading, cells, expected):
    body = "".join(f'"{cell}",110,{50 + i}\n' for i, cell in enumerate(cells))
    log = read_log(write(f'"{heading}",air_c,meat_c\n{body}'))
    assert log.time_s.tolist() == expected


def test_date_and_clock_in_two_columns(write):
    log = read_log(
        write(
            "Date,Time,air_c,meat_c\n2026-05-02,23:59:00,110,50\n2026-05-03,00:00:00,110,51\n"
        )
    )
    assert log.time_s.tolist() == [0.0, 60.0]
    assert log.start == dt.datetime(2026, 5, 2, 23, 59)


def test_start_from_zone_and_from_stated_date(write):
    zoned = read_log(
        write(
            "time,air_c,meat_c\n2026-05-02T10:00:00+02:00,1,2\n2026-05-02T10:01:00+02:00,1,3\n"
        )
    )
    assert zoned.start is not None
    assert zoned.start.utcoffset() == dt.timedelta(hours=2)
    path = write("clock,air_c,meat_c\n22:00:00,110,5\n22:01:00,111,6\n")
    bare = read_log(path)
    assert bare.start is None
    assert bare.start_clock == dt.time(22)
    dated = read_log(path, start_date="2026-05-02")
    assert dated.start == dt.datetime(2026, 5, 2, 22)


def test_day_and_month_are_told_by_the_shorter_log(write):
    text = "time,air_c,meat_c\n02/05/2026 23:59:00,110,5\n03/05/2026 00:00:00,110,6\n"
    log = read_log(write(text))
    assert log.duration_s == 60.0
    assert log.start == dt.datetime(2026, 5, 2, 23, 59)
    assert any("day first" in sentence for sentence in log.understood)


@pytest.mark.parametrize(
    ("heading", "cells"),
    [
        ("time", ["0", "60"]),  # seconds or minutes?
        ("time", ["0:00", "0:30"]),  # h:mm or m:ss?
        ("elapsed", ["1:00", "1:30"]),
        ("time", ["0:30", "1:00"]),
        ("time", ["soon", "later"]),
        (
            "time",
            [
                "03/02/2026 10:00",
                "03/02/2026 10:01",
                "13/13/2026 10:02",
                "02/13/2026 1:00",
                "13/02/2026 1:00",
            ],
        ),
    ],
)
def test_unsettled_time_is_asked_for(write, heading, cells):
    body = "".join(f"{cell},110,{50 + i}\n" for i, cell in enumerate(cells))
    error = refused(write(f"{heading},air_c,meat_c\n{body}"))
    assert error.column == heading


@pytest.mark.parametrize(
    ("role", "cells", "step"),
    [
        ("elapsed s", ["0", "60"], 60),
        ("elapsed min", ["0", "60"], 3600),
        ("elapsed h", ["0", "1"], 3600),
        ("elapsed h:mm", ["0:00", "0:30"], 1800),
        ("elapsed m:ss", ["0:00", "0:30"], 30),
        ("clock", ["0:00", "0:30"], 1800),
    ],
)
def test_form_of_time_can_be_stated(write, role, cells, step):
    body = "".join(f"{cell},110,{50 + i}\n" for i, cell in enumerate(cells))
    log = read_log(write(f"when,air_c,meat_c\n{body}"), columns={"when": role})
    assert log.time_s.tolist() == [0.0, step]


def test_columns_by_mapping_and_ignored_ones(write):
    path = write(
        "Timestamp;A;B;C;D\n2026-05-02T10:00;110;4;5;20\n2026-05-02T10:01;110;4;6;21\n"
    )
    log = read_log(
        path, units="C", columns={"A": "air", "B": "meat", "C": "meat", "D": "ambient"}
    )
    assert [(c.name, c.role) for c in log.channels] == [
        ("A", "air"),
        ("B", "meat"),
        ("C", "meat"),
        ("D", "ambient"),
    ]
    assert log.coldest_meat_c.tolist() == [4.0, 4.0]
    fewer = read_log(path, units="C", columns={"A": "air", "B": "ignore", "C": "meat"})
    assert [c.name for c in fewer.channels] == ["A", "C"]
    assert any("'B'" in s and s.startswith("Not used") for s in fewer.understood)


def test_unnamed_probes_are_meat_only_beside_a_named_air(write):
    rows = "0,110,5,6\n60,110,6,7\n"
    log = read_log(write("time_s,Pit C,Probe 1 (C),Probe 2 (C)\n" + rows))
    assert [c.role for c in log.channels] == ["air", "meat", "meat"]
    error = refused(write("time_s,Probe 1 (C),Probe 2 (C),Probe 3 (C)\n" + rows))
    assert "columns=" in error.remedy


def test_target_and_fan_columns_are_not_probes(write):
    log = read_log(
        write(
            "time_s,pit_c,pit_set_c,meat_c,meat_target_c,fan\n0,1,110,5,93,7\n60,2,110,6,93,8\n"
        )
    )
    assert [c.name for c in log.channels] == ["pit_c", "meat_c"]


def test_notes_are_kept_and_a_preamble_is_skipped(write):
    log = read_log(
        write("# cook: supper\nLogger of the hall\n\n" + good_text() + "# end of log\n")
    )
    assert ("cook", "supper") in log.metadata
    assert "Logger of the hall" in log.notes
    assert "end of log" in log.notes
    assert log.time_s.size == 30


def test_separator_line_of_a_spreadsheet(write):
    assert read_log(write("sep=;\n" + good_text().replace(",", ";"))).time_s.size == 30


# --- what is repaired ----------------------------------------------------------------


@pytest.mark.parametrize(
    ("cell", "kind"),
    [
        ("", "no reading"),
        ("---", "unplugged"),
        ("OPEN", "unplugged"),
        ("ERR", "unplugged"),
        ("NaN", "unplugged"),
        ("-127", "unplugged"),
        ("-127.00", "unplugged"),
        ("999", "unplugged"),
        ("32767", "unplugged"),
        ("inf", "unplugged"),
        ("500", "absurd"),
        ("-60", "absurd"),
        ("warm", "not a number"),
        ("1_0", "not a number"),
        ("١٢", "not a number"),
    ],
)
def test_cells_that_are_no_reading(write, cell, kind):
    text = good_text(10).replace("\n180,110,5.5\n", f"\n180,110,{cell}\n")
    log = read_log(write(text))
    assert math.isnan(log.meat().temperature_c[3])
    assert np.isfinite(log.meat().temperature_c).sum() == 9
    (repair,) = log.repairs
    assert (repair.row, repair.column, repair.kind, repair.was) == (5, "meat_c", kind, cell)
    assert repair.became == "no reading"
    assert repair.reason
    assert log.raw[4] == (5, f"180,110,{cell}")


LIMITS = tables.load("log_reading")


@pytest.mark.parametrize(
    ("cell", "reason"),
    [
        (f"{LIMITS[name]:g}", LIMITS.record(name).note)
        for name in LIMITS
        if name.startswith("code_")
    ]
    + [tuple(text.split(" | ")) for key, text in LIMITS.texts if key.startswith("marker_")],
)
@pytest.mark.parametrize("unit", ["c", "f"])
def test_every_code_of_the_table_is_no_reading(write, cell, reason, unit):
    text = f"time_s,air_{unit},meat_{unit}\n0,200,50\n60,201,{cell.upper()}\n120,202,51\n"
    (repair,) = read_log(write(text)).repairs
    assert (repair.kind, repair.reason) == ("unplugged", reason)


def test_run_of_the_same_fault_is_one_repair(write):
    lines = good_text(20).splitlines()
    for i in range(5, 9):
        lines[i] = lines[i].rsplit(",", 1)[0] + ",---"
    log = read_log(write("\n".join(lines)))
    (repair,) = log.repairs
    assert (repair.row, repair.last_row) == (6, 9)


def test_probe_never_plugged_in_is_left_out(write):
    text = "time_s,air_c,meat_1_c,meat_2_c\n0,110,5,---\n60,110,6,---\n"
    log = read_log(write(text))
    assert [c.name for c in log.channels] == ["air_c", "meat_1_c"]
    assert log.repairs[-1].row is None
    assert log.repairs[-1].column == "meat_2_c"


def test_duplicates_and_rows_out_of_order(write):
    text = (
        "time_s,air_c,meat_c\n0,110,5\n120,110,7\n60,110,6\n120,110,7\n180,110,8\n180,110,9\n"
    )
    log = read_log(write(text))
    assert log.time_s.tolist() == [0, 60, 120, 180]
    assert log.meat().temperature_c.tolist() == [5, 6, 7, 8]
    assert kinds(log).count("order") == 1
    assert [r.row for r in log.repairs if r.kind == "duplicate"] == [5, 7]
    same, other = (r for r in log.repairs if r.kind == "duplicate")
    assert same.reason.startswith("the same as row 3")
    assert "other readings" in other.reason


def test_late_block_is_moved_into_its_hole(write):
    rows = good_text(40).splitlines()
    moved = [*rows[:11], *rows[21:31], *rows[11:21], *rows[31:]]
    log = read_log(write("\n".join(moved)))
    straight = read_log(write("\n".join(rows)))
    assert np.array_equal(log.meat().temperature_c, straight.meat().temperature_c)
    assert kinds(log) == ["order"]


def test_newest_first(write):
    rows = good_text(10).splitlines()
    log = read_log(write("\n".join([rows[0], *rows[:0:-1]])))
    assert log.meat().temperature_c[0] == 4.0
    assert kinds(log) == ["order"]


def test_clock_set_back_is_refused(write):
    body = "".join(
        f"2026-10-25T{2 + i // 60 - (i >= 90):02d}:{i % 60:02d}:00,110,{4 + i * 0.1:.1f}\n"
        for i in range(150)
    )
    error = refused(write("time,air_c,meat_c\n" + body))
    assert error.row == 92
    assert "zone" in error.remedy


def test_two_logs_in_one_file_are_refused(write):
    text = good_text(20) + good_text(20).split("\n", 1)[1]
    assert refused(write(text)).row == 22


def test_whole_minutes_of_a_fast_log_are_spread(write):
    body = "".join(f"10:{i // 6:02d},110,{4 + i * 0.1:.1f}\n" for i in range(60))
    log = read_log(write("clock,air_c,meat_c\n" + body))
    assert log.time_s.size == 60
    assert np.allclose(np.diff(log.time_s), 10.0)
    assert kinds(log) == ["whole minutes"]
    assert log.unknown_spans == ()


@pytest.mark.parametrize(("rows", "known"), [(11, True), (12, False)])
def test_twice_as_many_rows_in_a_minute_leave_its_time_unknown(write, rows, known):
    """Usually six; twice that many were written at once, or the clock stood still."""
    counts = [6, 6, rows, 6, 6]
    minutes = [m for m, count in enumerate(counts) for _ in range(count)]
    body = "".join(f"10:{m:02d},110,{4 + i * 0.1:.1f}\n" for i, m in enumerate(minutes))
    log = read_log(write("clock,air_c,meat_c\n" + body))
    assert len(log.unknown_spans) == (0 if known else rows - 1)


def test_unreadable_time_and_surplus_cells_drop_the_row(write):
    text = good_text(10) + "later,110,9\n900,110,9,7\n960,110,9,\n1020\n"
    log = read_log(write(text))
    assert log.time_s[-2:].tolist() == [540.0, 960.0]
    assert [(r.row, r.kind) for r in log.repairs][:3] == [
        (12, "time unreadable"),
        (13, "too many cells"),
        (15, "too few cells"),
    ]


def test_cells_left_out_by_habit_are_no_reading(write):
    text = "time_s,air_c,meat_c,ambient_c\n0,110,5\n60,110,6\n120,110,7,15\n"
    log = read_log(write(text))
    assert log.meat().temperature_c.tolist() == [5.0, 6.0, 7.0]
    assert [(r.row, r.last_row, r.kind) for r in log.repairs] == [(2, 3, "no reading")]


def test_half_written_last_row_is_left_out(write):
    log = read_log(write(good_text(10) + "12"))
    assert log.time_s.size == 10
    assert [(r.row, r.kind, r.was) for r in log.repairs] == [(12, "half-written", "12")]


def test_our_pattern_written_by_hand_is_still_checked(write):
    text = "# coreward probe log, format 1\n" + jumping_text(30)
    assert "mixed units" in refused(write(text)).what


def test_gaps_are_found(write):
    rows = good_text(40).splitlines()
    log = read_log(write("\n".join(rows[:11] + rows[21:])))
    assert log.gaps == ((540.0, 1200.0),)


def test_stuck_probe_and_hot_meat_are_warned_of(write):
    stuck = read_log(write("time_s,air_c,meat_c\n0,110,60\n60,111,60\n120,112,60\n"))
    assert any("stuck" in str(warning) for warning in stuck.warnings)
    hot = read_log(write("time_s,air_c,meat_c\n0,110,100\n60,111,110\n120,112,120\n"))
    assert any("boiling" in str(warning) for warning in hot.warnings)


# --- units that change within a file ---------------------------------------------------


def jumping_text(at: int, back: int | None = None, columns: str = "both") -> str:
    lines = ["time_s,air_c,meat_c"]
    for i in range(60):
        air, meat = 110.0 + i % 2, 50.0 + 0.1 * i
        if at <= i < (back or 60):
            meat = meat * 1.8 + 32.0
            air = air * 1.8 + 32.0 if columns == "both" else air
        lines.append(f"{60 * i},{air:.1f},{meat:.1f}")
    return "\n".join(lines)


@pytest.mark.parametrize("columns", ["both", "meat"])
@pytest.mark.parametrize("back", [None, 31, 40])
def test_mixed_units_are_refused_by_row(write, columns, back):
    path = write(jumping_text(30, back, columns))
    error = refused(path)
    assert error.row == 32
    assert "mixed units" in error.what
    accepted = read_log(path, accept_jumps=True)
    assert any("mixed units" in warning for warning in accepted.warnings)
    assert accepted.meat().temperature_c[30] == pytest.approx(53.0 * 1.8 + 32.0)


@pytest.mark.parametrize(("minutes", "kelvin"), [(1, 0.6), (1, 1.5), (5, 1.2), (5, 2.9)])
@pytest.mark.parametrize("to_fahrenheit", [True, False])
def test_mixed_units_are_refused_however_fast_the_meat_warms(
    write, minutes, kelvin, to_fahrenheit
):
    """Meat that goes on by over half a kelvin between two rows hid the change of unit."""
    lines = ["time_s,air_c,meat_c"]
    for i in range(30):
        air, meat = 110.0 + i % 2, 4.0 + kelvin * i
        if (i >= 12) is to_fahrenheit:
            air, meat = air * 1.8 + 32.0, meat * 1.8 + 32.0
        lines.append(f"{60 * minutes * i},{air:.1f},{meat:.1f}")
    error = refused(write("\n".join(lines)))
    assert (error.row, "mixed units" in error.what) == (14, True)


def test_mixed_units_in_cells_are_refused(write):
    error = refused(write(good_text(10).replace("180,110,5.5", "180,110,41.9 F")))
    assert (error.row, error.column) == (5, "meat_c")


def test_lid_opening_is_not_a_change_of_unit(write):
    # 110 °C to 43.3 °C is exactly the relation of the scales, but the air comes back.
    air = [110.0] * 10 + [43.3, 70.0, 95.0, 105.0] + [110.0] * 10
    body = "".join(f"{60 * i},{a},{50 + 0.1 * i:.1f}\n" for i, a in enumerate(air))
    assert read_log(write("time_s,air_c,meat_c\n" + body)).warnings == ()


def test_probes_pulled_out_together_are_not_a_change_of_unit(write):
    # 193 °F to 89 °F is the relation of the scales, in both meats at once; but they fall on.
    meats = [(193.0, 191.0)] * 10 + [(89.0, 88.0), (69.0, 68.0), (66.0, 65.0)]
    meats += [(65.0, 65.0)] * 5
    body = "".join(f"{60 * i},{240 + i % 3},{a},{b}\n" for i, (a, b) in enumerate(meats))
    assert read_log(write("time_s,air_f,meat_f,meat2_f\n" + body)).warnings == ()


# --- what is refused -------------------------------------------------------------------


@pytest.mark.parametrize(
    ("content", "word"),
    [
        (b"", "empty"),
        (b"\n\n \n", "blank"),
        (b"# only a note\n", "notes"),
        (b"Dear crew,\nthe supper is at six.\n", "No column of time"),
        (b"no table here\nat all\n", "not look like a table"),
        (bytes(range(256)) * 20, "not a text file"),
        (b"PK\x03\x04" + b"\x00" * 100, "workbook"),
        (b"time_s,air_c,meat_c\n", "no reading below"),
        (b"time_s,air_c,meat_c\n0,110,5\n", "at least two"),
        (b"air_c,meat_c\n110,5\n110,6\n", "No column of time"),
        (b"time_s,air_c,fan\n0,110,5\n60,110,6\n", "No meat column"),
        (b"time_s,meat_c\n0,5\n60,6\n", "No air column"),
        (b"time_s,pit_c,grill_c,meat_c\n0,5,5,5\n60,6,6,6\n", "More than one column"),
        (b"time_s,air_c,meat_c,Meat_C\n0,1,5,5\n60,1,6,6\n", "same heading"),
        (b"0,110,5\n60,110,6\n120,110,7\n", "No column of time"),
        (b'time_s,air_c,meat_c\n0,110,"5\n60,110,6\n', "quotation mark"),
        (b"time_s,air_c,meat_c\n0,110,---\n60,110,---\n", "single reading"),
        (b"time_s,air_c,meat_c\n60,110,5\n60,110,6\n", "same time"),
        (b"time_s,air_c,meat_c\n0,110,a\n60,110,b\n120,110,c\n", "no temperatures"),
        (b"time_s,air_c,meat_c\n0,110,203\n60,110,204\n120,110,205\n", "no temperatures"),
        (b"time_s,air_c,meat_c\nx,110,20\ny,110,20\n120,110,20\n", "times"),
        (b"time,air_c,meat_c\n2026-01-01T00:00:00,1,2\n2027-01-01T00:00:00,1,3\n", "days"),
        (b"date,air_c,meat_c\n2026-01-01,1,2\n2026-01-02,1,3\n", "no time of day"),
    ],
)
def test_refusals_say_what_and_how(write, content, word):
    assert word in str(refused(write(content)))


def test_too_many_columns_and_probes(write):
    wide = ",".join(f"x{i}" for i in range(100))
    assert "columns are more" in refused(write(f"time_s,air_c,meat_c,{wide}\n0\n1\n")).what
    eight = ",".join(f"meat_{i}_c" for i in range(8))
    cells = ",5" * 8
    assert (
        "meat columns"
        in refused(write(f"time_s,air_c,{eight}\n0,110{cells}\n60,110{cells}\n")).what
    )
    seven = ",".join(f"meat_{i}_c" for i in range(7))
    cells = ",5" * 7
    log = read_log(write(f"time_s,air_c,{seven}\n0,110{cells}\n60,110{cells}\n"))
    assert len(log.meats) == 7


def test_missing_folder_and_forbidden(write, tmp_path, monkeypatch):
    assert "no such file" in refused(tmp_path / "gone.csv").what
    assert "folder" in refused(tmp_path).what
    refused_name = tmp_path / "a\x00b.csv"
    with pytest.raises(LogReadError):
        read_log(refused_name)
    path = write(good_text())

    def forbidden(self, *arguments, **options):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "open", forbidden)
    assert "may not read" in refused(path).what


def test_too_many_rows_are_refused_without_reading_all(tmp_path, monkeypatch):
    path = tmp_path / "long.csv"
    with path.open("wb") as stream:
        stream.write(b"time_s,air_c,meat_c\n")
        for _ in range(100):
            stream.write(b"1,110,50\n" * 100_000)  # ten million rows, 90 MB
    read = 0
    plain_open = Path.open

    def counted(self, *arguments, **options):
        stream = plain_open(self, *arguments, **options)
        plain_read = stream.read

        class Counting:
            def __enter__(self):
                return self

            def __exit__(self, *arguments):
                stream.close()

            def read(self, size):
                nonlocal read
                block = plain_read(size)
                read += len(block)
                return block

        return Counting()

    monkeypatch.setattr(Path, "open", counted)
    error = refused(path)
    assert "2,000,000 rows" in error.what
    assert "every tenth row" in error.remedy
    assert read < 25e6  # two million rows of 9 bytes and a block


def test_faults_beyond_counting_are_refused(write, monkeypatch):
    small = tables.load("log_reading").replace(repair_limit=5)
    monkeypatch.setattr(tables, "load", lambda kind, name=None: small)
    body = "".join(f"{60 * i},110,{'---' if i % 2 else 50 + i}\n" for i in range(40))
    assert "separate faults" in refused(write("time_s,air_c,meat_c\n" + body)).what


def test_arguments_are_checked(write):
    path = write(good_text())
    for options in (
        {"units": "K"},
        {"columns": {"air_c": "wood"}},
        {"start_date": "yesterday"},
    ):
        with pytest.raises(InputError):
            read_log(path, **options)
    assert "not in the file" in refused(path, columns={"gone": "air"}).what


# --- the log itself --------------------------------------------------------------------


def test_coldest_is_the_lowest_plugged(write):
    log = read_log(
        write(
            "time_s,air_c,meat_1_c,meat_2_c\n0,110,5,7\n60,110,---,8\n120,110,9,6\n180,110,,\n"
        )
    )
    assert log.coldest_meat_c[:3].tolist() == [5.0, 8.0, 6.0]
    assert math.isnan(log.coldest_meat_c[3])
    assert log.all_meat_plugged.tolist() == [True, False, True, False]


def test_log_is_frozen_and_checked():
    channel = Channel("meat", "meat", np.array([1.0, 2.0]))
    log = ProbeLog(np.array([0.0, 1.0]), None, (channel,))
    with pytest.raises(ValueError, match="read-only"):
        log.time_s[0] = 5.0
    with pytest.raises(InputError, match="no meat probe 2"):
        log.meat(2)
    for time_s in ([0.0], [1.0, 2.0], [0.0, 0.0], [0.0, math.nan]):
        with pytest.raises(InputError):
            ProbeLog(np.array(time_s), None, (channel,))
    with pytest.raises(InputError, match="role"):
        Channel("x", "wood", np.array([1.0]))
    with pytest.raises(InputError, match="meat channel"):
        ProbeLog(np.array([0.0, 1.0]), None, (Channel("a", "air", np.array([1.0, 2.0])),))


def test_writing_where_one_may_not(tmp_path):
    log = ProbeLog(np.array([0.0, 1.0]), None, (Channel("m", "meat", np.array([1.0, 2.0])),))
    with pytest.raises(InputError, match="cannot be written"):
        log.to_csv(tmp_path / "no" / "such" / "folder.csv")


@given(st.text(alphabet=st.characters(blacklist_characters="\r", codec="utf-8"), max_size=60))
def test_raw_rows_are_the_lines(text):
    lines = text.split("\n")
    if lines[-1] == "" and len(lines) > 1:
        lines.pop()
    expected = [] if not text else list(enumerate(lines, start=1))
    assert list(RawRows(text)) == expected


def test_raw_is_the_file(write):
    text = good_text() + "junk\n"
    log = read_log(write(text))
    assert [line for _, line in log.raw] == text.splitlines()
    assert log.raw[-1] == (32, "junk")
    assert log.raw[1:3] == ((2, "0,110,4.0"), (3, "60,111,4.5"))


plain_text = st.text(max_size=20)
meat_values = st.one_of(st.just(math.nan), st.floats(-40.0, 150.0))
air_values = st.one_of(st.just(math.nan), st.floats(-40.0, 450.0))
moments = st.one_of(
    st.none(),
    st.datetimes(dt.datetime(1990, 1, 1), dt.datetime(2090, 1, 1)),
    st.datetimes(
        dt.datetime(1990, 1, 1),
        dt.datetime(2090, 1, 1),
        timezones=st.just(dt.timezone(dt.timedelta(hours=5, minutes=30))),
    ),
)
any_repair = st.builds(
    Repair,
    row=st.one_of(st.none(), st.integers(1, 10**7)),
    column=plain_text,
    kind=plain_text,
    was=plain_text,
    became=plain_text,
    reason=plain_text,
    last_row=st.one_of(st.none(), st.integers(1, 10**7)),
)


@st.composite
def logs(draw) -> ProbeLog:
    steps = draw(st.lists(st.floats(1e-3, 1e5), min_size=1, max_size=12))
    time_s = np.concatenate(([0.0], np.cumsum(steps)))
    roles = ["meat"] * draw(st.integers(1, 4))
    roles += draw(st.sampled_from([[], ["air"], ["air", "ambient"]]))
    channels = []
    for role in draw(st.permutations(roles)):
        values = meat_values if role == "meat" else air_values
        cells = draw(st.lists(values, min_size=time_s.size, max_size=time_s.size))
        channels.append(Channel(draw(plain_text), role, np.array(cells)))
    first = next(i for i, channel in enumerate(channels) if channel.role == "meat")
    channels[first] = Channel(channels[first].name, "meat", np.linspace(4.0, 90.0, time_s.size))
    start = draw(moments)
    return ProbeLog(
        time_s=time_s,
        start=start,
        channels=tuple(channels),
        repairs=tuple(draw(st.lists(any_repair, max_size=3))),
        understood=tuple(draw(st.lists(plain_text, max_size=3))),
        source=draw(plain_text),
        start_clock=start.time() if start else draw(st.one_of(st.none(), st.times())),
        notes=tuple(draw(st.lists(plain_text, max_size=3))),
    )


def assert_same(one: ProbeLog, other: ProbeLog) -> None:
    assert np.array_equal(one.time_s, other.time_s)
    assert one.start == other.start
    assert (one.start is None) or one.start.utcoffset() == other.start.utcoffset()
    assert one.start_clock == other.start_clock
    assert len(one.channels) == len(other.channels)
    for a, b in zip(one.channels, other.channels, strict=True):
        assert (a.name, a.role) == (b.name, b.role)
        assert np.array_equal(a.temperature_c, b.temperature_c, equal_nan=True)
    for field in ("repairs", "understood", "source", "notes", "gaps", "interval_s"):
        assert getattr(one, field) == getattr(other, field), field


@pytest.mark.slow
@QUIET
@given(log=logs())
def test_our_own_format_is_read_back_exactly(log, tmp_path):
    back = read_log(log.to_csv(tmp_path / "own.csv"))
    assert_same(log, back)
    again = read_log(back.to_csv(tmp_path / "own2.csv"))
    assert_same(back, again)
    assert back.warnings == again.warnings


def test_repairs_survive_our_own_format(write, tmp_path):
    text = good_text(10).replace("180,110,5.5", "180,110,ERR") + "x,1,2\n"
    log = read_log(write("# cook: supper\n" + text))
    back = read_log(log.to_csv(tmp_path / "own.csv"))
    assert_same(log, back)
    assert back.metadata == log.metadata
    assert len(back.repairs) == 2


def test_damaged_own_format_is_refused(tmp_path):
    log = ProbeLog(np.array([0.0, 1.0]), None, (Channel("m", "meat", np.array([1.0, 2.0])),))
    text = log.to_csv_text()
    for old, new in (
        ("# start: null", '# start: "soon"'),
        ("# start: null", "# start: 7"),
        ('# source: ""', "# source: {"),
        ('"role": "meat"', '"role": "wood"'),
        ('{"column"', '["column"'),
        ('# source: ""', '# repair: {"row": "one"}\n# source: ""'),
    ):
        assert old in text
        path = tmp_path / "bad.csv"
        path.write_text(text.replace(old, new), encoding="utf-8")
        assert "damaged" in refused(path).what


# --- nothing but LogError comes out ------------------------------------------------------


def read_or_refuse(path: Path, **options) -> None:
    try:
        log = read_log(path, **options)
    except LogError as error:
        assert str(error)  # noqa: PT017 - either outcome is right
        return
    assert log.time_s[0] == 0.0
    assert np.all(np.diff(log.time_s) > 0)
    assert any(channel.role == "meat" for channel in log.channels)
    for channel in log.channels:
        limit = 150.0 if channel.role == "meat" else 450.0
        known = channel.temperature_c[channel.plugged]
        assert np.all((known >= -40.0) & (known <= limit))


@pytest.mark.slow
@QUIET
@given(data=st.binary(max_size=400))
def test_random_bytes(data, tmp_path):
    path = tmp_path / "fuzz.csv"
    path.write_bytes(data)
    read_or_refuse(path)


cells = st.one_of(
    st.sampled_from(
        [
            "",
            "0",
            "60",
            "1e308",
            "-1e999",
            "nan",
            "---",
            "999",
            "12:00",
            "25:61:99",
            "0:00",
            "2026-05-02T10:00:00Z",
            "9999-12-31T23:59:59+00:00",
            "0001-01-01T00:00:00+14:00",
            "02/05/2026 10:00",
            "99/99/9999 99:99",
            "63.5 C",
            "145 F",
            "63,5",
            '"',
            "#",
            "\ufeff",
            "1777716000",
            "31 Feb 2026 10:00",
            "time_s",
            "air_c",
            "meat_c",
            "Pit F",
            "date",
        ]
    ),
    st.text(max_size=8),
    st.floats().map(repr),
    st.integers().map(str),
)
tables_of_cells = st.lists(st.lists(cells, min_size=1, max_size=5), max_size=8)


@pytest.mark.slow
@QUIET
@given(
    head=st.sampled_from(
        [
            "time_s,air_c,meat_c",
            "time,pit F,meat F",
            "date,time,air_c,meat_c",
            "clock;air;meat",
            "elapsed\tair_c\tmeat_c",
            "# coreward probe log, format 1\ntime_s,meat_1_c",
            "",
        ]
    ),
    rows=tables_of_cells,
    delimiter=st.sampled_from([",", ";", "\t"]),
    options=st.fixed_dictionaries(
        {},
        optional={
            "units": st.sampled_from(["C", "F"]),
            "columns": st.dictionaries(
                st.sampled_from(["time_s", "time", "air_c", "meat_c", "date", "clock"]),
                st.sampled_from(COLUMN_ROLES),
                max_size=3,
            ),
            "accept_jumps": st.booleans(),
        },
    ),
)
def test_random_tables(head, rows, delimiter, options, tmp_path):
    path = tmp_path / "fuzz.csv"
    text = head + "\n" + "\n".join(delimiter.join(row) for row in rows)
    path.write_bytes(text.encode("utf-8", "surrogatepass"))
    read_or_refuse(path, **options)


@pytest.mark.slow
@QUIET
@given(seed=st.integers(0, 2**32), changes=st.integers(1, 12))
def test_mutations_of_a_good_file(seed, changes, tmp_path):
    chance = random.Random(seed)
    log = ProbeLog(
        np.arange(30) * 60.0,
        dt.datetime(2026, 5, 2, 22),
        (Channel("pit", "air", np.full(30, 110.0)), Channel("flat", "meat", np.arange(30.0))),
    )
    data = bytearray(chance.choice([good_text(), log.to_csv_text()]).encode())
    for _ in range(changes):
        place = chance.randrange(len(data))
        action = chance.randrange(4)
        if action == 0:
            data[place] = chance.randrange(256)
        elif action == 1:
            del data[place : place + chance.randrange(1, 40)]
        elif action == 2:
            data[place:place] = bytes(chance.choices(b'0123456789.,;:-\n\t#"CFe ', k=9))
        else:
            data[place:place] = data[place : place + 60]
        if not data:
            break
    path = tmp_path / "fuzz.csv"
    path.write_bytes(bytes(data))
    read_or_refuse(path)


def test_another_header_below_is_no_row(tmp_path):
    """Failed before: below it meat was read as air and air as meat, and nothing was said."""
    path = tmp_path / "two.csv"
    lines = [f"{60 * i},{110 + i % 3},{40 + i}" for i in range(10)]
    later = [f"{600 + 60 * i},{50 + i},{111 + i % 3}" for i in range(10)]
    path.write_text("\n".join(["time_s,air_c,meat_c", *lines, "time_s,meat_c,air_c", *later]))
    with pytest.raises(LogReadError, match="Another header stands here") as caught:
        read_log(path)
    assert caught.value.row == 12
    log = read_in_order(path)
    assert log.meat().temperature_c.tolist() == [40.0 + i for i in range(20)]
    assert np.all(log.air_c > 100.0)
    again = "time_s,air_c,meat_c"  # the same once more is a row that is left out, as ever
    path.write_text("\n".join([again, *lines, again, "600,110,50"]))
    assert [repair.kind for repair in read_log(path).repairs] == ["time unreadable"]
