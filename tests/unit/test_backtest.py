"""The judge of the forecasts: truth, simple ways, summaries, tables."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

import coreward as cw
from coreward.evidence import backtest
from coreward.evidence.backtest import MadeUpCook, Trial
from coreward.logs.log import Channel, ProbeLog
from coreward.questions.forecast.fit import Past

HOUR = 3600.0


def past(reading: np.ndarray, time_s: np.ndarray) -> Past:
    air = np.full(len(time_s), 110.0)
    return Past(
        0.0, time_s[-1], time_s, air, time_s, reading, np.zeros(len(time_s), np.int64), 0.1
    )


def test_a_straight_line_is_followed() -> None:
    time = np.arange(0.0, 4 * HOUR + 1, 300.0)
    rising = past(40.0 + 5.0 * time / HOUR, time)
    assert backtest.straight_line_s(rising, 80.0) == pytest.approx(4 * HOUR, rel=1e-6)
    assert backtest.straight_line_s(past(70.0 - time / HOUR, time), 80.0) == math.inf


def test_an_exponential_approach_is_recovered() -> None:
    time = np.arange(0.0, 4 * HOUR + 1, 300.0)
    rate = 1.0 / (3 * HOUR)
    curve = past(110.0 - 105.0 * np.exp(-rate * time), time)
    exact = math.log(105.0 / 20.0) / rate - time[-1]
    assert backtest.exponential_s(curve, 110.0, 90.0) == pytest.approx(exact, rel=1e-6)
    assert backtest.exponential_s(curve, 110.0, 111.0) == math.inf


def log_of(time: np.ndarray, reading: np.ndarray) -> ProbeLog:
    return ProbeLog(
        time_s=time,
        start=None,
        channels=(Channel("air", "air", reading + 50), Channel("meat", "meat", reading)),
        repairs=(),
        understood=(),
        source="x",
    )


def test_truth_is_what_the_probe_showed_without_its_faults(tmp_path: Path) -> None:
    time = np.arange(0.0, 3 * HOUR, 60.0)
    reading = 20.0 + 25.0 * time / HOUR
    reading[60] = 200.0
    log = log_of(time, reading)
    fault = {"kind": "sensor_fault", "time_s": 3600.0, "end_s": 3600.0}
    cook = MadeUpCook("x", tmp_path, {"target_core_c": 70.0}, (fault,), 0.0)
    assert backtest.finish_shown_s(cook, log) == pytest.approx(2 * HOUR, abs=61.0)
    never = MadeUpCook("x", tmp_path, {"target_core_c": 99.0}, (fault,), 0.0)
    assert backtest.finish_shown_s(never, log) is None


def test_what_a_probe_drifted_is_taken_off_the_truth(tmp_path: Path) -> None:
    # It gains 5 K in the second hour and keeps them; a fault of the other probe is no matter.
    time = np.arange(0.0, 4 * HOUR, 60.0)
    reading = 20.0 + 20.0 * time / HOUR + 5.0 * np.clip(time / HOUR - 1.0, 0.0, 1.0)
    log = log_of(time, reading)
    faults = (
        {
            "kind": "sensor_fault",
            "time_s": HOUR,
            "end_s": 2 * HOUR,
            "size": 5.0,
            "fault": "drift",
            "channel": "meat",
        },
        {"kind": "sensor_fault", "time_s": 0.0, "end_s": 9 * HOUR, "channel": "meat 2"},
    )
    cook = MadeUpCook("x", tmp_path, {"target_core_c": 80.0}, faults, 0.0)
    assert backtest.finish_shown_s(cook, log) == pytest.approx(3 * HOUR, abs=61.0)


def trial(truth: float, middle: float, cook: str = "a") -> Trial:
    return Trial(
        cook,
        "hold as now",
        0.6,
        truth,
        middle - 1,
        middle - 0.4,
        middle,
        middle + 0.4,
        middle + 1,
        2 * truth,
        math.inf,
    )


def test_summaries_count_what_lies_inside() -> None:
    found = [trial(4.0, 4.1), trial(4.0, 4.6), trial(4.0, 5.5)]
    s = backtest.summarise(found, "hold as now", 0.6)
    assert (s.trials, s.inside_90, s.inside_50) == (
        3,
        pytest.approx(2 / 3),
        pytest.approx(1 / 3),
    )
    assert s.error == pytest.approx(0.15)
    assert s.line_error == pytest.approx(1.0)
    assert s.curve_error == math.inf
    assert "67% of 3 truths" in backtest.sentence(s)
    with pytest.raises(cw.InputError, match="no trials"):
        backtest.summarise(found, "stated pit", 0.6)


def test_trials_survive_the_table(tmp_path: Path) -> None:
    found = [trial(4.0, 4.1), trial(2.0, 2.5, "b")]
    backtest.write_trials(found, tmp_path / "t.csv")
    assert "INVENTED" in (tmp_path / "t.csv").read_text(encoding="utf-8").splitlines()[0]
    again = backtest.read_trials(tmp_path / "t.csv")
    assert [t.cook for t in again] == ["a", "b"]
    assert again[0].p95_h == pytest.approx(found[0].p95_h, abs=1e-4)
    assert again[0].curve_h == math.inf


def test_a_folder_without_cooks_says_what_to_do(tmp_path: Path) -> None:
    with pytest.raises(cw.InputError, match="make_backtest_logs"):
        backtest.load_cooks(tmp_path)


def test_each_probe_is_asked_and_what_leaves_no_trace_can_be_set_aside(tmp_path: Path) -> None:
    # The second probe is unplugged for half an hour; a lid that takes nothing is no event.
    rows = ["time_s,air_c,meat_c,meat2_c"]
    for i in range(240):
        second = "" if 100 <= i < 130 else f"{5 + 0.2 * i:.1f}"
        rows.append(f"{60 * i},{110 + i % 2},{5 + 0.25 * i:.1f},{second}")
    file = tmp_path / "two.csv"
    file.write_text("\n".join(rows), encoding="utf-8")
    events = (
        {"kind": "probe_unplugged", "time_s": 6000.0, "end_s": 7800.0, "size": 1800.0},
        {"kind": "lid_opened", "time_s": 3000.0, "end_s": 3060.0, "size": 0.5},
    )
    cook = MadeUpCook("x", file, {}, events, 0.0)
    every, seen = (backtest.event_scores([cook], shown_only=s) for s in (False, True))
    assert every.by_kind["probe_unplugged"].matched == 1
    assert every.by_kind["lid_opened"].true == 1
    assert "lid_opened" not in seen.by_kind
