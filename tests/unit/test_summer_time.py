"""Local clocks that change while the log runs, zones, and what becomes of raw rows."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from coreward.errors import InputError
from coreward.logs import LogReadError, ProbeLog, read_log, what_it_holds

pytestmark = pytest.mark.quick

STEPS = 180


@pytest.fixture
def write(tmp_path):
    def writer(heading: str, times: list[str], name: str = "log.csv"):
        body = "".join(f"{time},110,{4 + i * 0.1:.1f}\n" for i, time in enumerate(times))
        path = tmp_path / name
        path.write_text(f"{heading},air_c,meat_c\n{body}")
        return path

    return writer


def local_times(zone: str, start_utc: dt.datetime, step_s: int = 60) -> list[dt.datetime]:
    moments = [start_utc + dt.timedelta(seconds=step_s * i) for i in range(STEPS)]
    return [
        moment.replace(tzinfo=dt.UTC).astimezone(ZoneInfo(zone)).replace(tzinfo=None)
        for moment in moments
    ]


# Dates and hours from the tz database, which the tests read through zoneinfo as well.
CHANGES = [
    ("Europe/Berlin", dt.datetime(2026, 10, 25, 0, 0)),
    ("Europe/Berlin", dt.datetime(2026, 3, 29, 0, 0)),
    ("America/New_York", dt.datetime(2026, 11, 1, 5, 0)),
    ("America/New_York", dt.datetime(2026, 3, 8, 6, 0)),
    ("Australia/Sydney", dt.datetime(2026, 4, 4, 15, 0)),
    ("Australia/Sydney", dt.datetime(2026, 10, 3, 15, 0)),
]


@pytest.mark.parametrize("known", ["zone", "date"])
@pytest.mark.parametrize("step_s", [1, 30, 60, 300])
@pytest.mark.parametrize(("zone", "start"), CHANGES)
def test_hour_repeated_or_skipped(write, zone, start, step_s, known):
    start = start + dt.timedelta(seconds=3600 - step_s * STEPS // 2)  # the change in the middle
    path = write("time", [t.isoformat() for t in local_times(zone, start, step_s)])
    log = read_log(path, zone=zone if known == "zone" else None)
    assert np.array_equal(log.time_s, np.arange(STEPS) * float(step_s))
    (repair,) = log.repairs
    assert repair.kind == "summer time"
    assert repair.row is not None
    assert abs(repair.row - STEPS / 2) <= 3
    assert repair.last_row == STEPS + 1
    (layer,) = log.layers
    assert layer.effect == "time changed"
    if known == "zone":
        assert zone in repair.reason
        assert log.start is not None
        assert log.start.astimezone(dt.UTC) == start.replace(tzinfo=dt.UTC)
    else:
        assert "no zone is stated" in repair.reason


def test_newest_first_with_a_repeated_hour(write):
    times = local_times("Europe/Berlin", dt.datetime(2026, 10, 24, 23, 30))
    log = read_log(write("time", [t.isoformat() for t in times[::-1]]), zone="Europe/Berlin")
    assert np.array_equal(log.time_s, np.arange(STEPS) * 60.0)
    assert sorted(r.kind for r in log.repairs) == ["order", "summer time"]


def test_time_of_day_alone(write):
    times = local_times("Europe/Berlin", dt.datetime(2026, 10, 24, 23, 30))
    path = write("clock", [t.time().isoformat() for t in times])
    bare = read_log(path)
    assert np.array_equal(bare.time_s, np.arange(STEPS) * 60.0)
    assert "no date is known" in bare.repairs[0].reason
    dated = read_log(path, start_date="2026-10-25", zone="Europe/Berlin")
    assert np.array_equal(dated.time_s, bare.time_s)
    assert dated.start == dt.datetime(2026, 10, 25, 1, 30, tzinfo=ZoneInfo("Europe/Berlin"))
    # On another date the zone says that nothing changed: refused as any clock set back.
    with pytest.raises(LogReadError, match="set back"):
        read_log(path, start_date="2026-10-11", zone="Europe/Berlin")


def test_skipped_hour_without_a_date_is_only_warned_of(write):
    times = local_times("Europe/Berlin", dt.datetime(2026, 3, 29, 0, 0))
    path = write("clock", [t.time().isoformat() for t in times])
    log = read_log(path)
    assert log.repairs == ()
    assert log.gaps
    assert any("start_date= and zone=" in warning for warning in log.warnings)
    told = read_log(path, start_date="2026-03-29", zone="Europe/Berlin")
    assert told.gaps == ()


def test_gap_over_the_change_is_reckoned_by_the_zone(write):
    times = local_times("Europe/Berlin", dt.datetime(2026, 10, 24, 23, 30))
    kept = [t.isoformat() for i, t in enumerate(times) if not 10 <= i < 170]
    log = read_log(write("time", kept), zone="Europe/Berlin")
    assert log.time_s[10] == 170 * 60.0


def test_clock_that_is_never_changed(write):
    base = dt.datetime(2026, 10, 25, 1, 30)
    times = [(base + dt.timedelta(minutes=i)).isoformat() for i in range(120)]
    times += [(base + dt.timedelta(minutes=i)).isoformat() for i in range(180, 200)]
    log = read_log(write("time", times), zone="Europe/Berlin")
    assert log.time_s[-1] == 199 * 60.0
    assert any("was not changed" in warning for warning in log.warnings)


def test_late_row_within_the_doubled_hour_is_no_change(write):
    base = dt.datetime(2026, 10, 25, 2, 5)
    times = [(base + dt.timedelta(minutes=i)).isoformat() for i in (0, 1, 2, 4, 3, 5, 6, 7)]
    log = read_log(write("time", times), zone="Europe/Berlin")
    assert np.array_equal(log.time_s, np.arange(8) * 60.0)
    assert [r.kind for r in log.repairs] == ["order"]


def test_zone_shows_the_start_of_times_that_carry_one(write):
    for times in (
        ["2026-07-01T10:00:00Z", "2026-07-01T10:01:00Z"],
        ["1782900000", "1782900060"],
        ["20260701T100000Z", "20260701T100100Z"],
        ["2026-07-01 10:00:00 GMT", "2026-07-01 10:01:00 GMT"],
        ["1782900000000000", "1782900060000000"],
    ):
        log = read_log(write("time", times), zone="Europe/Berlin")
        assert log.time_s.tolist() == [0.0, 60.0]
        assert log.start == dt.datetime(2026, 7, 1, 10, tzinfo=dt.UTC)
        assert log.start.utcoffset() == dt.timedelta(hours=2)
        assert log.start_clock == dt.time(12)


def test_zone_from_a_note_and_wrong_zones(tmp_path, write):
    path = tmp_path / "noted.csv"
    path.write_text(
        "# zone: Europe/Berlin\ntime,air_c,meat_c\n"
        "2026-07-01T12:00,1,2\n2026-07-01T12:01,1,2.5\n"
    )
    assert read_log(path).start.utcoffset() == dt.timedelta(hours=2)
    good = write("time_s", ["0", "60"])
    assert read_log(good, zone="Europe/Berlin").start is None
    for name in ("Mars/Olympus", "", "../etc", "Europe", "\0", "a" * 5000):
        with pytest.raises(InputError, match="time zone"):
            read_log(good, zone=name)


def test_round_trip_of_a_zoned_repaired_log(write, tmp_path):
    times = local_times("Europe/Berlin", dt.datetime(2026, 10, 24, 23, 30))
    log = read_log(write("time", [t.isoformat() for t in times]), zone="Europe/Berlin")
    back = read_log(log.to_csv(tmp_path / "own.csv"))
    assert np.array_equal(back.time_s, log.time_s)
    assert back.start == log.start
    assert back.start.utcoffset() == log.start.utcoffset()
    assert back.repairs == log.repairs
    assert back.layers == log.layers


# --- raw rows and layers -----------------------------------------------------------------


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
@pytest.mark.parametrize("newline", ["\n", "\r\n", "\r"])
def test_raw_is_the_file_byte_for_byte(tmp_path, encoding, newline):
    text = (
        "# crew of Jürgen\ntime_s,air (°C),meat (°C)\n0,110,5\n120,110,---\n60,110,6\n"
        "120,110,---\nlater,1,2\n180,110,7000\n240,110,8"
    )
    data = text.replace("\n", newline).encode(encoding)
    path = tmp_path / "log.csv"
    path.write_bytes(data)
    log = read_log(path)
    assert log.raw.data == data == path.read_bytes()
    assert [line for _, line in log.raw] == text.split("\n")
    # Each layer says what it changed; together they are all repairs.
    layers = {layer.kind: layer for layer in log.layers}
    assert list(layers) == ["time unreadable", "duplicate", "order", "unplugged", "absurd"]
    assert layers["duplicate"].effect == "row left out"
    assert layers["order"].effect == "time changed"
    assert layers["absurd"].effect == "reading missing"
    assert layers["absurd"].repairs[0].was == "7000"
    assert layers["duplicate"].rows_touched == 1
    assert "1 place, 1 row" in layers["absurd"].sentence()
    assert sum(len(layer.repairs) for layer in log.layers) == len(log.repairs)
    # A reading in the log is one in the file: no layer makes a number.
    cells = {cell for line in text.split("\n") for cell in line.split(",")}
    for channel in log.channels:
        for value in channel.temperature_c[channel.plugged].tolist():
            assert f"{value:g}" in cells


# --- what a file seems to hold -----------------------------------------------------------


def test_contents_of_a_clear_file(write):
    seen = what_it_holds(write("time_s", ["0", "60"]))
    assert seen.is_ready
    assert (seen.rows, seen.questions, seen.problem) == (2, (), "")
    time, air, meat = seen.columns
    assert time.role == "time"
    assert (air.role, air.unit, air.role_confidence) == ("air", "C", "said by the file")
    assert meat.examples == ("4.0", "4.1")


def test_questions_are_answered_one_by_one(tmp_path):
    path = tmp_path / "odd.csv"
    path.write_text("when;A;B;fan\n0;230;40;10\n60;231;41;20\n120;229;42;30\n")
    known: dict[str, object] = {}
    roles = {"when": "time", "A": "air", "B": "meat", "fan": "ignore"}
    forms = {"when": "elapsed s"}
    asked = []
    for _ in range(8):
        seen = what_it_holds(path, **known)
        if seen.is_ready:
            break
        question = seen.questions[0]
        asked.append((question.argument, question.column))
        columns = dict(known.get("columns", {}))
        if question.argument == "units":
            known["units"] = "F"
        elif question.column:
            answer = forms if "elapsed s" in question.choices else roles
            columns[question.column] = answer[question.column]
            known["columns"] = columns
        else:
            columns["when"] = question.role
            known["columns"] = columns
    assert seen.is_ready, seen
    assert ("units", "A") in asked
    log = read_log(path, **seen.arguments(units="F"))
    assert log.air_c[0] == pytest.approx(110.0)
    assert log.time_s.tolist() == [0.0, 60.0, 120.0]


def test_open_proposals_are_never_arguments(tmp_path):
    path = tmp_path / "probes.csv"
    path.write_text("time_s,probe 1,probe 2\n0,230,40\n60,231,41\n")
    seen = what_it_holds(path, units="F")
    assert [guess.role_confidence for guess in seen.columns[1:]] == ["open", "open"]
    assert seen.arguments() == {"columns": {"time_s": "time"}}
    assert [one.column for one in seen.questions] == ["probe 1", "probe 2"]
    told = seen.arguments({"probe 1": "air", "probe 2": "meat"}, units="F")
    assert read_log(path, **told).channels[0].role == "air"


def test_errors_carry_the_question(tmp_path):
    path = tmp_path / "log.csv"
    for text, argument, column in (
        ("time_s,air,meat\n0,110,5\n60,110,6\n", "units", "air"),
        ("time,air_c,meat_c\n0,110,5\n60,110,6\n", "columns", "time"),
        ("time_s,probe a,probe b\n0,110,5\n60,110,6\n", "columns", ""),
        ("time_s,meat_c\n0,5\n60,6\n", "columns", ""),
        ("a,b\n0,5\n60,6\n", "columns", ""),
    ):
        path.write_text(text)
        with pytest.raises(LogReadError) as caught:
            read_log(path)
        question = caught.value.question
        assert question is not None
        assert (question.argument, question.column) == (argument, column)
        assert question.choices
        assert question.text.endswith(("?", ".")), question


def _paused(start: str, pause_min: int, zone: str | None, tmp_path: Path) -> ProbeLog:
    """A local clock of Berlin through 25 October 2026, each minute, with one pause."""
    begin = dt.datetime.fromisoformat(start).replace(tzinfo=ZoneInfo("Europe/Berlin"))
    minutes = [*range(120), *range(120 + pause_min, 300 + pause_min)]
    rows = ["time,pit_c,meat_c"]
    for number, minute in enumerate(minutes):
        # In UTC and back, as a clock in the kitchen goes.
        moment = (begin.astimezone(dt.UTC) + dt.timedelta(minutes=minute)).astimezone(
            ZoneInfo("Europe/Berlin")
        )
        rows.append(f"{moment:%Y-%m-%d %H:%M:%S},{110 + number % 2},{4 + 0.2 * number:.1f}")
    path = tmp_path / "log.csv"
    path.write_text("\n".join(rows) + "\n", encoding="utf-8")
    return read_log(path, zone=zone) if zone else read_log(path)


@pytest.mark.parametrize(
    ("start", "pause_min", "hidden"),
    [
        # 2:54 and then 3:00, of which the clock shows six minutes: 66 passed.
        ("2026-10-25T00:55:00", 66, True),
        # From 1:50 to 2:20 of the second time.
        ("2026-10-24T23:51:00", 90, True),
        # Over before two, and begun after three: nothing can be hidden.
        ("2026-10-24T18:00:00", 30, False),
        ("2026-10-25T03:10:00", 30, False),
    ],
)
def test_an_hour_may_hide_in_a_pause_when_summer_time_ends(
    start, pause_min, hidden, tmp_path
) -> None:
    """Before, the pause was taken for as short as the clock showed it, zone or none."""
    known = _paused(start, pause_min, "Europe/Berlin", tmp_path)
    unsaid = _paused(start, pause_min, None, tmp_path)
    assert bool(unsaid.unknown_spans) is hidden
    total = 60.0 * (299 + pause_min)
    assert unsaid.duration_s == pytest.approx(total - 3600.0 * hidden)
    assert known.duration_s == pytest.approx(total) or known.unknown_spans
