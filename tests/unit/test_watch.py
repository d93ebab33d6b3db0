"""A running log is watched: each thing is said once, in time; quiet is promised with care."""

from __future__ import annotations

import datetime as dt
import json
import os
import sys
import time
from pathlib import Path

import numpy as np
import pytest

import coreward as cw
from coreward import cli
from coreward.errors import InputError
from coreward.logs.log import Channel, ProbeLog
from coreward.questions.watch.answer import Memory, News, Outlook, Watch, watch
from coreward.questions.watch.wanted import Watched
from coreward.watch_command import Watcher
from coreward.words import shown

pytestmark = pytest.mark.quick

DEMO = Path(__file__).parents[2] / "data" / "demo"
HOUR, MINUTE = 3600.0, 60.0
EVENING = dt.time(18, 0)


def a_log(hours: float, pit: object = 110.0, meat: object = None) -> ProbeLog:
    """A log of a row a minute; pit and meat as functions of the hour, or level."""
    time_s = np.arange(0.0, hours * HOUR + 1.0, MINUTE)
    hour = time_s / HOUR
    air = np.array([pit(h) if callable(pit) else pit for h in hour], dtype=float)
    core = np.array([meat(h) if callable(meat) else 5.0 + 10.0 * h for h in hour], dtype=float)
    channels = (Channel("pit", "air", air), Channel("butt", "meat", core))
    return ProbeLog(time_s, None, channels, start_clock=EVENING)


def cut(log: ProbeLog, until_s: float) -> ProbeLog:
    kept = log.time_s <= until_s
    channels = tuple(Channel(c.name, c.role, c.temperature_c[kept]) for c in log.channels)
    return ProbeLog(log.time_s[kept], log.start, channels, start_clock=log.start_clock)


def live(
    log: ProbeLog, wanted: Watched, begin_s: float = 600.0, step_s: float = 120.0
) -> list[tuple[float, News | str]]:
    """Live through a log minute by minute; return what was said, and when."""
    memory: Memory | None = None
    said: list[tuple[float, News | str]] = []
    for until_s in np.arange(begin_s, log.duration_s + 1.0, step_s):
        answer, memory = watch(cut(log, until_s), wanted, memory)
        said += [(float(until_s), one) for one in answer.news]
        if answer.quiet:
            said.append((float(until_s), shown(answer.quiet, "C")))
    return said


def kinds(said: list[tuple[float, News | str]]) -> list[tuple[float, str, bool]]:
    return [(at / HOUR, one.kind, one.over) for at, one in said if isinstance(one, News)]


def words(answer: Watch, units: str = "C") -> str:
    return " ".join(shown(one.words, units) for one in answer.news)


# -- the pit -------------------------------------------------------------------------------


def test_a_pit_that_dies_is_told_once_and_when_it_is_back() -> None:
    def pit(hour: float) -> float:
        return 80.0 if 2.0 < hour <= 3.0 else 110.0

    said = live(a_log(5.0, pit), Watched(pit_low_c=95.0))
    found = kinds(said)
    assert [(kind, over) for _, kind, over in found] == [("pit low", False), ("pit low", True)]
    # A quarter of an hour of which nine tenths are out; back after the middle of five minutes.
    assert found[0][0] == pytest.approx(2.25, abs=0.05)
    assert found[1][0] == pytest.approx(3.05, abs=0.05)


def test_an_open_lid_calls_nobody() -> None:
    def pit(hour: float) -> float:
        return 70.0 if 2.0 < hour <= 2.15 else 110.0

    assert kinds(live(a_log(4.0, pit), Watched(pit_low_c=95.0, pit_high_c=125.0))) == []


def test_a_fire_that_was_just_lit_is_not_out_of_its_range() -> None:
    log = a_log(2.0, lambda hour: min(20.0 + 110.0 * hour / 0.8, 110.0))
    assert "pit low" not in [kind for _, kind, _ in kinds(live(log, Watched(pit_low_c=95.0)))]
    never = a_log(2.0, 60.0, lambda hour: 5.0)
    assert [kind for _, kind, _ in kinds(live(never, Watched(pit_low_c=95.0)))] == ["pit low"]


def test_a_pit_that_comes_and_goes_is_told_again_only_after_the_quiet_time() -> None:
    def pit(hour: float) -> float:
        return 140.0 if (hour * 60.0) % 40.0 < 25.0 else 110.0

    wanted = Watched(pit_high_c=125.0, quiet_s=2.0 * HOUR)
    told = [at for at, kind, over in kinds(live(a_log(6.0, pit), wanted)) if not over]
    assert len(told) == 3
    assert min(np.diff(told)) >= 2.0


# -- silence -------------------------------------------------------------------------------


def test_a_silent_logger_is_told_by_the_age_of_its_last_row() -> None:
    log = a_log(3.0)
    answer, memory = watch(log, Watched(), age_s=300.0)
    assert answer.news == ()
    answer, memory = watch(log, Watched(), memory, age_s=700.0)
    assert [one.kind for one in answer.news] == ["logger silent"]
    assert "silent for 11 min: nothing of the cook is known since 21:00" in words(answer)
    assert answer.now_s == log.duration_s + 700.0
    assert answer.until_s is None
    answer, memory = watch(log, Watched(), memory, age_s=4000.0)
    assert answer.news == ()  # once
    answer, _ = watch(log, Watched(), memory, age_s=10.0)
    assert [(one.kind, one.over) for one in answer.news] == [("logger silent", True)]


def test_a_probe_that_shows_nothing_is_told_by_its_name() -> None:
    log = a_log(3.0, meat=lambda hour: np.nan if hour > 2.5 else 5.0 + 10.0 * hour)
    ((at, kind, over),) = kinds(live(log, Watched()))
    assert (kind, over) == ("probe silent: butt", False)
    assert at == pytest.approx(2.5 + 1 / 6, abs=0.04)


# -- wrap, ready, forecast -----------------------------------------------------------------


def test_the_wrap_is_called_for_by_reading_or_by_clock_and_never_twice() -> None:
    log = a_log(8.0, meat=lambda hour: 66.0 + 3.0 * np.sin(hour) if hour > 4.0 else 16.0 * hour)
    found = kinds(live(log, Watched(wrap_at_c=66.0, quiet_s=0.0)))
    assert [kind for _, kind, _ in found].count("wrap") == 1
    found = kinds(live(a_log(6.0), Watched(wrap_at_s=5.0 * HOUR)))
    assert found == [(5.0, "wrap", False)]


def test_ready_soon_by_its_pace_and_ready() -> None:
    said = live(a_log(9.0), Watched(target_c=85.0))
    found = [one for one in kinds(said) if one[1] != "stall"]
    assert [kind for _, kind, _ in found] == ["ready soon", "ready"]
    assert found[0][0] == pytest.approx(7.5, abs=0.05)
    assert found[1][0] == pytest.approx(8.0, abs=0.05)
    soon = next(one for _, one in said if isinstance(one, News) and one.kind == "ready soon")
    told = shown(soon.words, "F")
    assert told.startswith("It will be ready at about 02:00, in 30 min")
    assert "'butt' shows 176" in told


def test_one_hot_reading_is_not_ready() -> None:
    log = a_log(4.0, meat=lambda hour: 99.0 if abs(hour - 3.0) < 0.001 else 5.0 + 10.0 * hour)
    assert "ready" not in [kind for _, kind, _ in kinds(live(log, Watched(target_c=93.0)))]


def test_a_forecast_that_slips_is_told_once() -> None:
    log, wanted = a_log(4.0), Watched(target_c=93.0, slip_s=30.0 * MINUTE, quiet_s=0.0)
    _, memory = watch(log, wanted, outlook=Outlook(10.0 * HOUR, 8.0 * HOUR))
    answer, memory = watch(log, wanted, memory, outlook=Outlook(10.4 * HOUR, 8.0 * HOUR))
    assert answer.news == ()
    answer, memory = watch(log, wanted, memory, outlook=Outlook(10.6 * HOUR, 8.0 * HOUR))
    assert words(answer) == "The forecast has moved 36 min later: ready at about 04:36."
    answer, memory = watch(log, wanted, memory, outlook=Outlook(10.7 * HOUR, 8.0 * HOUR))
    assert answer.news == ()
    answer, memory = watch(log, wanted, memory, outlook=Outlook(np.inf, np.inf))
    assert "no longer says when it is ready; before it said 04:36" in words(answer)
    answer, memory = watch(log, wanted, memory, outlook=Outlook(np.inf, np.inf))
    assert answer.news == ()
    answer, _ = watch(log, wanted, memory, outlook=Outlook(9.0 * HOUR, 8.0 * HOUR))
    assert "now says ready at about 03:00" in words(answer)


# -- hold and chill ------------------------------------------------------------------------


def test_a_hold_that_cools_is_told_before_its_limit_and_at_it() -> None:
    """57.2 °C of the rule, 1 K for the probe: near from 61.2 °C down, passed at 58.2 °C."""
    log = a_log(6.0, 60.0, lambda hour: 85.0 - 5.0 * hour)
    found = kinds(live(log, Watched(hold=True)))
    begun = [kind for _, kind, over in found if not over]
    assert begun == ["hold limit near", "hold limit passed"]
    assert found[0][0] == pytest.approx((85.0 - 61.22) / 5.0, abs=0.04)
    passed = next(at for at, kind, _ in found if kind == "hold limit passed")
    assert passed == pytest.approx((85.0 - 58.22) / 5.0, abs=0.04)
    assert kinds(live(log, Watched())) == []


def test_a_chill_is_told_half_an_hour_before_each_limit() -> None:
    """From 57.2 °C (with 1 K for the probe): 21.1 °C within 2 h, 5 °C within 6 h."""
    log = a_log(8.0, 4.0, lambda hour: 60.0 - 1.78 * 1.0 if hour < 0.01 else 60.0 - 6.0 * hour)
    wanted = Watched(chill=True)
    found = kinds(live(log, wanted))
    began = (60.0 - 58.22) / 6.0
    near = [at for at, kind, _ in found if kind.startswith("chill limit near")]
    passed = [at for at, kind, _ in found if kind.startswith("chill limit passed")]
    assert near[0] == pytest.approx(began + 1.5, abs=0.05)
    assert passed[0] == pytest.approx(began + 2.0, abs=0.05)
    assert near[1] == pytest.approx(began + 5.5, abs=0.05)
    fast = a_log(8.0, 4.0, lambda hour: max(60.0 - 45.0 * hour, 2.0))
    assert kinds(live(fast, wanted)) == []


# -- the standstill ------------------------------------------------------------------------


@pytest.mark.slow
def test_a_stall_is_told_when_it_begins_and_when_it_ends_and_never_flickers() -> None:
    """The invented supper: begins at 4:29 of its record, ends at 8:07, as a review has it."""
    log = cw.read_log(DEMO / "harvest-supper.csv")
    said = live(log, Watched(), step_s=300.0)
    found = [(at, over) for at, kind, over in kinds(said) if kind == "stall"]
    assert [over for _, over in found] == [False, True]
    assert 4.4 < found[0][0] < 5.6
    assert 8.1 < found[1][0] < 9.6


# -- nobody is needed ----------------------------------------------------------------------


def test_until_when_nobody_is_needed() -> None:
    wanted = Watched(target_c=93.0, pit_low_c=95.0)
    answer, memory = watch(a_log(4.0), wanted, outlook=Outlook(9.0 * HOUR, 8.27 * HOUR))
    # Half an hour before the early end, down to five minutes.
    assert answer.until_s == pytest.approx(7.75 * HOUR)
    assert shown(answer.quiet, "C") == (
        "Nothing needs you before 01:45 unless the pit falls below 95 °C."
    )
    assert "falls below 203 °F" in shown(answer.quiet, "F")
    answer, _ = watch(a_log(4.1), wanted, memory, outlook=Outlook(9.0 * HOUR, 8.3 * HOUR))
    assert shown(answer.quiet, "C") == ""  # said before
    answer, _ = watch(a_log(4.1), wanted, memory, outlook=Outlook(8.0 * HOUR, 7.0 * HOUR))
    assert "before 00:30" in shown(answer.quiet, "C")  # sooner than was said


def test_without_a_forecast_it_goes_by_the_fastest_climb_and_more() -> None:
    """10 K/h all along, taken as 12.5: 93 °C is 48 K away, 3.84 h, less half an hour."""
    answer, _ = watch(a_log(4.0), Watched(target_c=93.0))
    assert answer.until_s == pytest.approx((4.0 + 3.84 - 0.5) * HOUR, abs=300.0)
    assert "as long as the pit holds" in shown(answer.quiet, "C")


def test_quiet_is_not_promised_while_somebody_is_needed_or_nothing_is_known() -> None:
    dead = a_log(4.0, lambda hour: 60.0 if hour > 2.0 else 110.0)
    assert watch(dead, Watched(target_c=93.0, pit_low_c=95.0))[0].until_s is None
    assert watch(a_log(4.0), Watched())[0].until_s is None
    assert watch(a_log(0.5), Watched(target_c=93.0))[0].until_s is None
    soon = Outlook(4.8 * HOUR, 4.6 * HOUR)
    assert watch(a_log(4.0), Watched(target_c=93.0), outlook=soon)[0].until_s is None


def test_what_needs_a_person_first_decides() -> None:
    outlook = Outlook(9.0 * HOUR, 8.0 * HOUR, wrap_early_s=5.5 * HOUR)
    wanted = Watched(target_c=93.0, wrap_at_c=66.0)
    assert watch(a_log(4.0), wanted, outlook=outlook)[0].until_s == 5.5 * HOUR
    by_clock = Watched(target_c=93.0, wrap_at_s=5.0 * HOUR)
    assert watch(a_log(4.0), by_clock, outlook=outlook)[0].until_s == 5.0 * HOUR


def test_settings_that_cannot_be() -> None:
    with pytest.raises(InputError, match="goes from 120 °C to 100 °C"):
        Watched(pit_low_c=120.0, pit_high_c=100.0)
    with pytest.raises(InputError, match="quiet_s"):
        Watched(quiet_s=-1.0)
    with pytest.raises(InputError, match="no meat probe 3"):
        watch(a_log(1.0), Watched(meat=3))


# -- the command ---------------------------------------------------------------------------


def options(*more: str):
    return cli.build_parser().parse_args(["watch", "log.csv", *more])


def test_a_row_that_is_held_back_is_answered_when_its_time_is_up(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    lines = tmp_path / "lines.jsonl"
    watcher = Watcher(options("--every", "60", "--json", str(lines)))
    log = a_log(3.0)
    now = time.monotonic()
    watcher.look(cut(log, 2.0 * HOUR), True, now)
    watcher.look(log, True, now + 10.0)  # too soon
    assert len(lines.read_text().splitlines()) == 1
    watcher.look(log, False, now + 61.0)  # no new row, but its time is up
    told = [json.loads(line) for line in lines.read_text().splitlines()]
    assert len(told) == 2
    assert told[1]["readings_c"]["butt"] == pytest.approx(35.0)
    assert told[1]["events"][0]["kind"] == "meat_on"
    assert told[1]["age_s"] == pytest.approx(51.0)
    assert told[1]["now_s"] == pytest.approx(3.0 * HOUR + 51.0)


def test_the_last_row_is_answered_at_the_end(capsys: pytest.CaptureFixture[str]) -> None:
    watcher = Watcher(options("--json"))
    now = time.monotonic()
    watcher.look(a_log(2.0), True, now)
    watcher.look(a_log(3.0), True, now + 1.0, last=True)
    watcher.look(a_log(3.0), False, now + 2.0, last=True)
    told = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    assert [round(one["now_s"]) for one in told] == [7200, 10800]


def test_a_file_is_followed_and_a_command_is_run_without_a_shell(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "called.txt"
    program = (
        "import json,sys,pathlib;"
        f"pathlib.Path({str(out)!r}).open('a').write("
        "sys.argv[-1] + '|' + json.load(sys.stdin)['kind'] + '|' + sys.argv[1] + '\\n')"
    )
    log = tmp_path / "log.csv"
    log.write_text(
        "time_s,pit_c,meat_c\n" + "".join(f"{60 * i},110,{i / 2}\n" for i in range(200))
    )
    code = cli.main(
        [
            *("watch", str(log), "--target", "93", "--wrap-at", "66", "--idle", "0.1"),
            *("--run", sys.executable, "-c", program, "$HOME; echo"),
        ]
    )
    assert code == 0
    assert out.read_text() == "It is ready: 'meat_c' shows 99.5 °C.|watch|$HOME; echo\n"
    said = capsys.readouterr()
    assert "3:19  It is ready: 'meat_c' shows 99.5 °C." in said.out
    assert "calibrated thermometer" in said.err


def test_an_old_file_is_as_old_as_it_is(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    log = tmp_path / "log.csv"
    log.write_text("time_s,pit_c,meat_c\n" + "".join(f"{60 * i},110,{i}\n" for i in range(60)))
    os.utime(log, (time.time() - 3600.0,) * 2)
    assert cli.main(["watch", str(log), "--idle", "1"]) == 0
    assert "The logger has been silent for 1 h" in capsys.readouterr().out


def test_a_command_that_fails_ends_nothing(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    bad = ("--run", sys.executable, "-c", "raise SystemExit(3)")
    watcher = Watcher(options("--target", "20", *bad))
    watcher.look(a_log(3.0), True, time.monotonic())
    assert "could not be passed on" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("given", "why"),
    [
        (("--run",), "--run needs a command"),
        (("--run", "no-such-command-here"), "there is no command 'no-such-command-here'"),
        (("--piece", "pork shoulder, 5 kg, 5 C"), "needs --target"),
        (("--every", "0"), "a time above 0"),
        (("--wrap-at", "5:99"), "--wrap-at"),
        (("--wrap-at", "noon"), "not a temperature"),
        (("--pit", "125C..95C"), "goes from"),
    ],
)
def test_options_that_cannot_be(
    given: tuple[str, ...], why: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert cli.main(["watch", str(tmp_path / "x.csv"), *given]) == cli.EXIT_ERROR
    assert why in capsys.readouterr().err


def test_a_range_that_is_none_is_wrong_usage() -> None:
    with pytest.raises(SystemExit) as left:
        options("--pit", "110")
    assert left.value.code == cli.EXIT_USAGE


def test_with_a_piece_it_foresees(capsys: pytest.CaptureFixture[str]) -> None:
    given = ("--piece", "pork shoulder, cylinder, 125 mm, 6.5 C", "--target", "90")
    watcher = Watcher(options(*given, "--pit", "90C..", "--members", "20", "--json"))
    log = cut(cw.read_log(DEMO / "harvest-supper.csv"), 5.0 * HOUR)
    watcher.look(log, True, time.monotonic())
    told = json.loads(capsys.readouterr().out)
    assert 6.0 * HOUR < told["until_s"] < 12.0 * HOUR
    assert told["quiet"].startswith("Nothing needs you before ")
