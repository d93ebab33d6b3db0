"""Following a growing log: nothing lost, nothing doubled, every line accounted for."""

from __future__ import annotations

import datetime as dt
import gc
import json
import random
import threading
import time

import numpy as np
import pytest

from coreward.errors import InputError
from coreward.logs import LogReadError, ProbeLog, read_log
from coreward.logs.follow import LogFollower, follow_log, read_in_order
from coreward.logs.joining import read_file
from support.growing_log import INTERVAL_S, Logger, meat_c

pytestmark = pytest.mark.quick

HEAD = "time,air_c,meat_c\n"


def rows(first: int, last: int, step: int = 60, shift: int = 0, start: int = 0) -> str:
    """Return rows whose meat reading tells their number."""
    base = dt.datetime(2026, 5, 2, 20)
    return "".join(
        f"{(base + dt.timedelta(seconds=start + i * step + shift)).isoformat()},"
        f"{110 + i % 3},{meat_c(i):.2f}\n"
        for i in range(first, last)
    )


@pytest.fixture
def growing(tmp_path):
    """Return a file, a way to add to it, and its follower."""
    path = tmp_path / "growing.csv"

    class Growing:
        def __init__(self) -> None:
            self.path = path
            self.follower = LogFollower(path)

        def add(self, text: str | bytes):
            with path.open("ab") as stream:
                stream.write(text if isinstance(text, bytes) else text.encode())
            return self.follower.poll()

        def kinds(self) -> list[str]:
            return [repair.kind for repair in self.log.repairs]

        @property
        def log(self):
            assert self.follower.log is not None
            assert self.follower.accounting.is_balanced
            return self.follower.log

        def numbers(self) -> list[int]:
            meat = self.log.meat().temperature_c
            return [round((value - 4.0) / 0.01) for value in meat.tolist()]

    return Growing()


# --- the whole session ---------------------------------------------------------------


def session(logger: Logger) -> None:
    """Write 14 h with everything that goes wrong with a logger."""
    logger.samples(100)
    logger.repeat_last()
    logger.samples(100)
    logger.junk("2026-09-05 21:40:30,110")
    logger.junk("??")
    logger.clock_error_s = 7200  # the clock runs ahead, and is put right
    logger.samples(60)
    logger.clock_error_s = 0
    logger.samples(140)
    logger.repeat_block(12)
    logger.samples(80)
    logger.rotate()
    logger.samples(200)
    logger.rewrite_as_copy()
    logger.samples(100)
    logger.clock_error_s = -1510  # set back, and stays
    logger.samples(150)
    logger.rewrite_the_end(40)
    logger.samples(150)
    logger.rotate(other=True)
    logger.samples(200)
    logger.repeat_last()
    logger.samples(400)


def test_fourteen_hours_with_everything_going_wrong(tmp_path):
    path = tmp_path / "supper.csv"
    follower = LogFollower(path)
    caught = threading.Condition()
    polls = 0

    def pause() -> None:
        time.sleep(0)

    def caught_up() -> None:
        # The poll that runs may have read before the last line came: wait for two.
        with caught:
            seen = polls
            assert caught.wait_for(lambda: polls >= seen + 2, timeout=20)

    failures: list[BaseException] = []

    def write() -> None:
        nonlocal logger
        try:
            logger = Logger(path, 3, pause, caught_up)
            session(logger)
        except BaseException as error:
            failures.append(error)

    logger: Logger | None = None
    writer = threading.Thread(target=write)
    writer.start()
    while writer.is_alive():
        follower.poll()
        with caught:
            polls += 1
            caught.notify_all()
        time.sleep(0.0005)
    writer.join()
    follower.finish()
    assert not failures
    assert logger is not None
    account = follower.accounting
    log = follower.log
    assert log is not None
    assert logger.number * INTERVAL_S == 14 * 3600
    # Every sample once, in order, at its true time.
    expected = [meat_c(number) for number in range(logger.number)]
    assert log.meat().temperature_c.tolist() == expected
    assert np.array_equal(log.time_s, np.arange(logger.number) * float(INTERVAL_S))
    # Every line in one place.
    assert account.is_balanced
    assert account.waiting == 0
    assert account.used + account.repaired == logger.number
    assert account.duplicate == logger.duplicates
    assert account.refused == logger.garbage
    assert account.files == 4
    assert [channel.role for channel in log.channels] == ["air", "meat", "ambient"]
    layers = {layer.kind: layer for layer in log.layers}
    assert set(layers) == {"duplicate", "clock step", "too few cells", "time unreadable"}
    assert layers["clock step"].effect == "time changed"
    assert len(layers["clock step"].repairs) == 2


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(25))
def test_whatever_happens_every_sample_is_there_once(tmp_path, seed):
    path = tmp_path / "supper.csv"
    follower = LogFollower(path)
    chance = random.Random(seed)

    def pause() -> None:
        if chance.random() < 0.5:
            follower.poll()

    logger = Logger(path, seed, pause, follower.poll)
    logger.samples(15)
    for _ in range(12):
        logger.anything()
    follower.poll()
    follower.finish()
    account, log = follower.accounting, follower.log
    assert log is not None
    found = sorted(round((value - 4.0) / 0.01) for value in log.meat().temperature_c.tolist())
    assert found == list(range(logger.number))
    assert account.is_balanced
    assert account.waiting == 0
    assert account.refused == logger.garbage
    assert account.used + account.repaired == logger.number


# --- one thing at a time --------------------------------------------------------------


def test_no_file_yet_then_rows_as_they_come(growing):
    assert growing.follower.poll() is None
    assert not growing.follower.is_there
    assert growing.follower.log is None
    found = growing.add(HEAD + rows(0, 2))
    assert found.time_s.tolist() == [0.0, 60.0]
    assert [(one.name, one.role) for one in found.channels] == [
        ("air_c", "air"),
        ("meat_c", "meat"),
    ]
    assert found.meat().temperature_c.tolist() == [meat_c(0), meat_c(1)]
    assert growing.add(rows(2, 3)).time_s.tolist() == [0.0, 60.0, 120.0]
    assert found.time_s.size == 2  # a log never changes
    assert growing.follower.poll() is None
    assert growing.log.start == dt.datetime(2026, 5, 2, 20)


def test_cut_at_every_byte(growing):
    data = ("# crew of Jürgen\r\n" + HEAD.replace("_c", " (°C)") + rows(0, 6)).encode()
    data = data.replace(b"\r\n", b"\n").replace(b"\n", b"\r\n")
    for at in range(len(data)):
        growing.add(data[at : at + 1])
    assert growing.numbers() == list(range(6))
    assert growing.log.notes == ("crew of Jürgen",)
    assert growing.log.raw.data == data
    assert growing.log.repairs == ()


@pytest.mark.parametrize(
    "encoding", ["utf-16", "utf-16-le", "utf-16-be", "cp1252", "utf-8-sig"]
)
def test_encodings_cut_anywhere(growing, encoding):
    data = (HEAD.replace("_c", " (°C)") + rows(0, 12)).encode(encoding)
    for at in range(0, len(data), 7):
        growing.add(data[at : at + 7])
    assert growing.numbers() == list(range(12))


def test_same_as_reading_the_finished_file(growing):
    text = (
        "# cook: supper\n"
        + HEAD
        + rows(0, 40).replace(",4.07\n", ",---\n").replace(",4.08\n", ",---\n")
    )
    for piece in text.splitlines(keepends=True):
        growing.add(piece)
    growing.follower.finish()
    whole, followed = read_log(growing.path), growing.log
    assert np.array_equal(whole.time_s, followed.time_s)
    for one, other in zip(whole.channels, followed.channels, strict=True):
        assert np.array_equal(one.temperature_c, other.temperature_c, equal_nan=True)
    assert whole.repairs == followed.repairs
    assert whole.raw.data == followed.raw.data == growing.path.read_bytes()
    assert list(whole.raw) == list(followed.raw)
    assert (whole.start, whole.metadata) == (followed.start, followed.metadata)


def test_end_without_a_line_end(growing):
    growing.add(HEAD + rows(0, 8) + "2026-05-02T20:08:00,110,4.0")
    assert growing.numbers() == list(range(8))
    assert growing.follower.accounting.waiting == 1
    growing.follower.finish()  # no cell is missing, as read_log takes it
    assert growing.log.meat().temperature_c[8] == 4.0
    with pytest.raises(InputError, match="finished"):
        growing.follower.poll()


def test_end_within_a_row_is_refused(growing):
    growing.add(HEAD + rows(0, 8) + "2026-05-02T20:08:00,11")
    growing.follower.finish()
    assert growing.kinds() == ["half-written"]
    assert growing.numbers() == list(range(8))


def test_row_cut_off_by_a_new_file_is_left_out(growing):
    growing.add(HEAD + rows(0, 8) + "2026-05-02T20:08:00,110,4")  # of 4.08
    growing.path.write_text(HEAD + rows(9, 12))
    growing.follower.poll()
    assert growing.numbers() == [*range(8), 9, 10, 11]
    assert growing.kinds() == ["half-written"]
    assert growing.follower.accounting.refused == 1


def test_a_file_that_is_replaced_may_end_within_a_letter(growing):
    growing.path.write_bytes((HEAD + rows(0, 12)).encode("utf-16") + b"\x32")
    growing.follower.poll()
    growing.path.write_text(HEAD + rows(12, 14))
    growing.follower.poll()
    assert growing.numbers() == list(range(14))
    assert growing.kinds() == ["half-written"]


def test_duplicates_and_late_rows(growing):
    growing.add(HEAD + rows(0, 10) + rows(9, 10) + rows(10, 12))
    growing.add(rows(20, 22) + rows(12, 20) + rows(22, 24))  # a block comes late
    assert growing.numbers() == list(range(24))
    assert growing.kinds().count("duplicate") == 1
    assert growing.kinds().count("order") == 8
    assert np.all(np.diff(growing.log.time_s) == 60.0)


def test_clock_set_back_goes_on(growing):
    growing.add(HEAD + rows(0, 20))
    growing.add(rows(20, 22, shift=-600))
    assert growing.numbers() == list(range(20))  # what it means is open
    assert growing.follower.accounting.waiting == 2
    growing.add(rows(22, 30, shift=-600))
    assert growing.numbers() == list(range(30))
    assert np.all(np.diff(growing.log.time_s) == 60.0)
    (step,) = growing.log.repairs
    assert (step.kind, step.row) == ("clock step", 22)
    assert "600 s later" in step.became


def test_clock_ahead_and_put_right(growing):
    growing.add(HEAD + rows(0, 20))
    growing.add(rows(20, 30, shift=7200))
    assert growing.log.time_s[20] == 20 * 60.0 + 7200.0
    growing.add(rows(30, 32))
    assert growing.numbers() == list(range(32))
    assert np.all(np.diff(growing.log.time_s) == 60.0)
    assert growing.kinds() == ["clock step"]


def test_clock_from_long_ago_is_set(growing):
    growing.add(HEAD + rows(0, 10, start=-(10**9)) + rows(10, 20))
    assert growing.numbers() == list(range(20))
    assert np.all(np.diff(growing.log.time_s) == 60.0)
    assert "far forward" in growing.log.repairs[0].reason


def test_single_wrong_time_is_refused(growing):
    growing.add(HEAD + rows(0, 10) + rows(10, 11, start=10**9) + rows(11, 14))
    assert growing.numbers() == [*range(10), *range(11, 14)]
    assert growing.kinds() == ["out of place"]


def test_same_time_with_other_readings_is_refused(growing):
    text = rows(0, 12, start=1).splitlines(keepends=True)
    growing.add(HEAD + "".join(text[:10]) + "2026-05-02T20:09:01,115,7\n" + "".join(text[10:]))
    assert growing.numbers() == list(range(12))
    assert "other readings" in growing.log.repairs[0].reason


def test_finished_file_in_the_order_of_its_rows(growing, tmp_path):
    growing.add(HEAD + rows(0, 20) + rows(20, 40, shift=-600))
    with pytest.raises(LogReadError, match="read_in_order"):
        read_log(growing.path)
    log = read_in_order(growing.path)
    assert np.array_equal(log.time_s, np.arange(40) * 60.0)
    assert [layer.kind for layer in log.layers] == ["clock step"]
    back = read_log(log.to_csv(tmp_path / "own.csv"))
    assert np.array_equal(back.time_s, log.time_s)
    assert back.repairs == log.repairs
    with pytest.raises(LogReadError, match="no such file"):
        read_in_order(tmp_path / "gone.csv")
    (tmp_path / "one.csv").write_text(HEAD + rows(0, 1))
    with pytest.raises(LogReadError, match="Fewer than two"):
        read_in_order(tmp_path / "one.csv")


def test_gap_stays_a_gap(growing):
    growing.add(HEAD + rows(0, 10) + rows(10, 20, shift=3000))
    assert growing.log.gaps == ((540.0, 3600.0),)
    assert growing.log.repairs == ()


def test_vanished_and_back(growing):
    growing.add(HEAD + rows(0, 10))
    growing.path.unlink()
    assert growing.follower.poll() is None
    assert not growing.follower.is_there
    growing.add(HEAD + rows(0, 12))
    assert growing.follower.is_there
    assert growing.numbers() == list(range(12))
    account = growing.follower.accounting
    assert (account.files, account.duplicate) in ((1, 0), (2, 10))  # a copy goes on


def test_rotation_loses_nothing_written_before_it(growing):
    growing.add(HEAD + rows(0, 10))
    with growing.path.open("a") as stream:
        stream.write(rows(10, 15))
    growing.path.rename(growing.path.with_suffix(".old"))
    growing.add(HEAD + rows(15, 20))
    assert growing.numbers() == list(range(20))
    assert growing.follower.accounting.files == 2


def test_file_rotated_at_midnight_is_read_as_the_one_before(growing):
    head = "time,air_c,meat_c\n"  # times that begin at zero would look elapsed
    growing.add(head + "23:58:00,110,4\n23:59:00,110,4.01\n")
    growing.path.rename(growing.path.with_suffix(".old"))
    assert growing.add(head + "00:00:00,110,4.02\n").time_s[2:].tolist() == [120.0]
    assert growing.add("00:01:00,110,4.03\n").time_s[2:].tolist() == [120.0, 180.0]
    assert growing.log.repairs == ()


def test_other_header_and_another_unit(growing):
    growing.add(HEAD + rows(0, 10))
    other = "time;outside (°F);meat_c (°F);air_c (°F)\n"
    growing.path.write_text(
        other + "2026-05-02T20:10:00;59;41;230\n2026-05-02T20:11:00;59;42.8;230\n"
    )
    growing.follower.poll()
    growing.follower.finish()
    log = growing.log
    assert [(c.name, c.role) for c in log.channels[:2]] == [
        ("air_c", "air"),
        ("meat_c", "meat"),
    ]
    assert log.time_s.size == 12
    assert log.by_role("ambient")[0].temperature_c[-1] == pytest.approx(15.0)
    assert np.isnan(log.by_role("ambient")[0].temperature_c[0])


def test_header_repeated_and_another_header_in_the_same_file(growing):
    growing.add(HEAD + rows(0, 9) + HEAD + rows(9, 12))
    assert growing.numbers() == list(range(12))
    growing.add(
        "time,meat_c,air_c\n2026-05-02T20:12:00,4.12,111\n2026-05-02T20:13:00,4.13,112\n"
    )
    assert growing.numbers() == list(range(14))
    assert growing.log.air_c[-1] == 112.0


def test_a_header_waits_for_its_first_row(growing):
    growing.add(HEAD + rows(0, 9))
    growing.add("time,meat_c,air_c\n")
    assert growing.numbers() == list(range(9))
    assert growing.follower.accounting.notes == 2
    growing.add("2026-05-02T20:09:00,4.09,111\n")
    assert growing.numbers() == list(range(10))
    assert growing.log.air_c[-1] == 111.0


def test_rows_before_a_rotation_are_told_while_the_new_file_has_none(growing):
    growing.add(HEAD + rows(0, 10))
    with growing.path.open("a") as stream:
        stream.write(rows(10, 15))
    growing.path.rename(growing.path.with_suffix(".old"))
    assert growing.add(HEAD).time_s.size == 15
    assert growing.follower.accounting.waiting == 1
    growing.add(rows(15, 16))
    assert growing.numbers() == list(range(16))


def test_elapsed_times_begin_anew_in_a_new_file(growing):
    head = "time_s,air_c,meat_c\n"
    body = [f"{60 * i},{110 + i % 3},{meat_c(i):.2f}\n" for i in range(20)]
    growing.add(head + "".join(body[:10]))
    growing.path.write_text(
        head + "".join(f"{60 * i},{110 + i % 3},{meat_c(i + 10):.2f}\n" for i in range(10))
    )
    growing.follower.poll()
    assert growing.numbers() == list(range(20))
    assert growing.kinds() == ["new file"]
    # A file written anew with more rows is no new time.
    growing.path.write_text(head + "".join(body[:10]))
    growing.follower.poll()
    assert growing.numbers() == list(range(20))
    assert growing.follower.accounting.duplicate == 10


def test_clock_times_pass_midnight(growing):
    text = "clock,air_c,meat_c\n23:58:00,110,4\n23:59:00,110,4.01\n"
    growing.add(text)
    growing.add("00:00:00,110,4.02\n00:01:00,110,4.03\n23:59:30,110,4.04\n00:02:00,110,4.05\n")
    assert growing.log.time_s.tolist() == [0, 60, 90, 120, 180, 240]
    assert growing.log.start_clock == dt.time(23, 58)


def test_day_or_month_first_is_settled_at_midnight(growing):
    growing.add("time,air_c,meat_c\n02/05/2026 23:58:00,110,4\n02/05/2026 23:59:00,110,4.01\n")
    assert growing.log.start == dt.datetime(2026, 5, 2, 23, 58)
    growing.add("02/06/2026 00:00:00,110,4.02\n02/06/2026 00:01:00,110,4.03\n")
    assert growing.log.time_s.tolist() == [0, 60, 120, 180]
    assert growing.log.start == dt.datetime(2026, 2, 5, 23, 58)
    assert any("month first" in sentence for sentence in growing.log.understood)


def test_whole_minutes_are_spread_as_they_come(growing):
    body = [f"10:{i // 6:02d},{110 + i % 2},{meat_c(i):.2f}\n" for i in range(60)]
    growing.add("clock,air_c,meat_c\n" + "".join(body[:9]))
    for line in body[9:]:
        growing.add(line)
    assert growing.numbers() == list(range(60))
    assert np.allclose(np.diff(growing.log.time_s), 10.0)


@pytest.mark.parametrize("zone", ["Europe/Berlin", None])
def test_summer_time_ends_and_begins(tmp_path, zone):
    for month, day, hour, jump in ((10, 25, 3, -3600), (3, 29, 2, 3600)):
        path = tmp_path / f"{month}.csv"
        base = dt.datetime(2026, month, day, hour - 1, 30)
        lines = [HEAD]
        for i in range(120):
            local = base + dt.timedelta(seconds=60 * i + (jump if i >= 30 else 0))
            lines.append(f"{local.isoformat()},110,{meat_c(i):.2f}\n")
        follower = LogFollower(path, zone=zone)
        for at in range(0, 120, 7):
            with path.open("a") as stream:
                stream.write("".join(lines[at : at + 7]))
            follower.poll()
        path.write_text("".join(lines))
        follower.poll()
        log = follower.log
        assert log is not None
        assert np.array_equal(log.time_s, np.arange(120) * 60.0)
        (repair,) = (one for one in log.repairs if one.kind == "summer time")
        assert repair.row == 32
        assert follower.accounting.is_balanced
        if zone:
            assert log.start is not None
            assert log.start.utcoffset() == dt.timedelta(hours=2 if month == 10 else 1)


def test_json_lines_with_a_key_that_comes_later(growing):
    def line(i: int, **more) -> str:
        values = {"time": 1777716000 + 60 * i, "probes": {"pit_c": 110.0, "meat_c": meat_c(i)}}
        return json.dumps({**values, **more}) + "\n"

    growing.add("".join(line(i) for i in range(9)))
    growing.add(line(9, fan=3) + '{"time": 1777716600, "probes": {"pit_c"' + "\n" + line(11))
    assert [channel.name for channel in growing.log.channels] == [
        "probes.pit_c",
        "probes.meat_c",
    ]
    assert growing.numbers() == [*range(10), 11]
    assert growing.kinds() == ["not an object"]
    assert [one.name for one in growing.log.left_out] == ["fan"]


# --- what is asked, what is refused ---------------------------------------------------------


def test_unit_is_asked_for_and_nothing_is_lost(growing):
    with pytest.raises(LogReadError, match="No unit") as caught:
        growing.add("time,air,meat\n" + rows(0, 1))  # at once, however slow the log
    assert caught.value.question is not None
    assert caught.value.question.argument == "units"
    with pytest.raises(LogReadError):
        growing.add(rows(1, 14))
    assert growing.follower.accounting.waiting == 15
    growing.follower = LogFollower(growing.path, units="C")
    growing.follower.poll()
    assert growing.numbers() == list(range(14))


def test_a_long_preamble_is_no_question(growing):
    preamble = "".join(f"logger, channel {i}, serial\n" for i in range(6))
    for line in (preamble + HEAD + rows(0, 5)).splitlines(keepends=True):
        growing.add(line)
    assert growing.numbers() == list(range(5))
    assert growing.follower.accounting.notes == 7
    never = LogFollower(growing.path.with_suffix(".txt"))
    growing.path.with_suffix(".txt").write_text(9 * preamble)
    with pytest.raises(LogReadError, match="No column of time"):
        never.poll()


def test_change_of_unit_is_asked_about(growing):
    growing.add(HEAD + "".join(f"2026-05-02T20:{i:02d}:00,110,50\n" for i in range(10)))
    with pytest.raises(LogReadError, match="mixed units"):
        growing.add("".join(f"2026-05-02T20:{i:02d}:00,230,122\n" for i in range(10, 20)))
    with pytest.raises(LogReadError, match="mixed units"):
        growing.follower.poll()
    growing.follower = LogFollower(growing.path, accept_jumps=True)
    assert growing.follower.poll().time_s.size == 20
    assert any("mixed units" in warning for warning in growing.log.warnings)


def test_workbook_array_and_folder_cannot_be_followed(growing, tmp_path):
    growing.path.write_text('[\n{"time_s": 0, "air_c": 110, "meat_c": 4},\n{"time_s": 60}\n')
    with pytest.raises(LogReadError, match="array"):
        growing.follower.finish()
    with pytest.raises(LogReadError, match="folder"):
        LogFollower(tmp_path).poll()
    with pytest.raises(InputError):
        LogFollower(tmp_path, zone="Mars/Olympus")


def test_short_rows_and_long_lines_are_refused(growing):
    growing.add(HEAD + rows(0, 9) + "2026-05-02T20:09:00,11\n" + rows(10, 11))
    growing.add("x" * 70000)
    growing.add("\n" + rows(11, 12))
    assert growing.numbers() == [*range(9), 10, 11]
    assert growing.kinds() == ["time unreadable", "too few cells"]


def test_follow_log_yields_until_nothing_comes(tmp_path):
    path = tmp_path / "log.csv"
    path.write_text(HEAD + rows(0, 12))
    logs = list(follow_log(path, every_s=0.001, idle_s=0.01))
    assert [log.time_s.size for log in logs] == [12]
    (last,) = follow_log(path, every_s=0.001, stop=lambda: True)
    assert last.time_s.size == 12
    assert list(follow_log(tmp_path / "none.csv", every_s=0.001, stop=lambda: True)) == []
    with pytest.raises(InputError, match="every_s"):
        next(follow_log(path, every_s=0.0))


# --- how often, how much ----------------------------------------------------------------------


def test_a_log_is_one_object_until_there_is_another(growing):
    """Failed before: each look at it made another, from rows that a poll could change."""
    growing.add(HEAD + rows(0, 12))
    log = growing.follower.log
    assert growing.follower.log is log
    growing.add(rows(12, 13)[:10])  # half a line is no news
    assert growing.follower.log is log
    assert growing.follower.accounting.waiting == 1


class Clock:
    """Time that passes only when somebody sleeps, and a file that grows meanwhile."""

    def __init__(self, path, lines: dict[int, str]) -> None:
        self.now, self._path, self._lines = 0.0, path, lines
        self.slept: list[float] = []

    def monotonic(self) -> float:
        return self.now

    def sleep(self, seconds: float) -> None:
        self.slept.append(seconds)
        self.now += seconds
        for at in [at for at in self._lines if at <= self.now]:
            with self._path.open("a") as stream:
                stream.write(self._lines.pop(at))


def test_a_row_held_back_is_told_of_when_its_time_is_up(tmp_path, monkeypatch):
    """Failed before: it waited for the next row, or for the end."""
    path = tmp_path / "log.csv"
    path.write_text(HEAD + rows(0, 12))
    clock = Clock(path, {5: rows(12, 13), 7: rows(13, 14)})
    monkeypatch.setattr("coreward.logs.follow.time", clock)
    logs = follow_log(path, apart_s=60.0, idle_s=500.0)
    assert (next(logs).time_s.size, clock.now) == (12, 0.0)
    assert (next(logs).time_s.size, clock.now) == (14, 60.0)
    assert list(logs) == []
    assert clock.now == pytest.approx(507.0, abs=2.0)


def test_no_more_than_a_tenth_of_the_time_is_spent_reading(tmp_path, monkeypatch):
    path = tmp_path / "log.csv"
    path.write_text(HEAD + rows(0, 12))
    clock = Clock(path, {})
    monkeypatch.setattr("coreward.logs.follow.time", clock)

    def slow(*stated, **how):
        clock.now += 2.0
        return read_file(*stated, **how)

    monkeypatch.setattr("coreward.logs.follow.read_file", slow)
    list(follow_log(path, every_s=1.0, idle_s=30.0))
    assert clock.slept[0] == pytest.approx(18.0)
    assert set(clock.slept[1:]) == {1.0}  # a file that has not changed is not read


@pytest.mark.slow
def test_days_of_following_take_no_more_memory_than_their_rows(growing):
    growing.add(HEAD + rows(0, 2000))
    taken = []
    for at in range(2000, 2061):
        growing.add(rows(at, at + 1))
        if at % 20 == 0:  # counting goes through all that any test has left behind
            gc.collect()
            taken.append(sum(isinstance(one, ProbeLog) for one in gc.get_objects()))
    assert max(taken) == min(taken)


def test_garbage_of_a_logger_without_power_costs_its_own_lines_only(growing):
    """Zeros, and a quotation mark that is never closed: `read_log` refuses such a file."""
    growing.add(HEAD + rows(0, 9) + '2026-05-02T20:09:00,"110,4\n' + rows(9, 10))
    growing.add(b"\0" * 40 + b"\n" + rows(10, 12).encode())
    assert growing.numbers() == list(range(12))
    assert sorted(growing.kinds()) == ["not a table row", "time unreadable"]
    assert growing.follower.accounting.refused == 2
