"""When the meat went on, found in logs whose probe was in it before, or lay beside it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from coreward import tables
from coreward.events.air import Lid
from coreward.events.found import find_events
from coreward.events.listed import Event
from coreward.events.meat import (
    Step,
    _meat_on,
    find_pulled,
    step_width,
    tell_steps,
    unseen_opening,
)
from coreward.events.signals import track
from coreward.logs.log import ProbeLog
from support.invented_cook import HOUR, Plan, cook

pytestmark = pytest.mark.quick

# 13 cm thick: its core warms by 2 K only after most of an hour.
THICK = Plan(seed=21, hours=5.0, wander_k=1.5, radius_m=0.065)


def meat_on(log: ProbeLog):
    return next(event for event in find_events(log) if event.kind == "meat_on")


def waiting(log: ProbeLog, hours: float, reading_c: float) -> ProbeLog:
    """Return the log after the probe had read something else for a while, in a hot pit."""
    step = log.time_s[1] - log.time_s[0]
    count = round(hours * HOUR / step)
    rng = np.random.default_rng(4)
    before = {"air": 112.0 + rng.normal(0.0, 0.8, count),
              "meat": reading_c + rng.normal(0.0, 0.05, count)}  # fmt: skip
    channels = tuple(
        replace(c, temperature_c=np.concatenate((before[c.role], c.temperature_c)))
        for c in log.channels
    )
    return replace(log, time_s=np.arange(count + log.time_s.size) * step, channels=channels)


def test_an_opening_before_the_core_warms_need_not_be_when_it_went_on():
    # Half an hour later the lid is opened again; the core is still as cold.
    log, _ = cook(replace(THICK, lids=((0.5, 2.0),)))
    assert meat_on(log).time_s == 0.0
    assert "begins with the probe in the meat" in meat_on(log).why


@pytest.mark.parametrize("later", [0.4, 0.8])
def test_of_several_openings_the_core_says_which(later):
    # In the meat from the first sample, the meat beside the pit; put on at half an hour.
    log, _ = cook(replace(THICK, lids=((later, 2.0),)))
    found = meat_on(waiting(log, 0.5, 6.0))
    assert found.time_s == pytest.approx(0.5 * HOUR, abs=0.2 * HOUR)
    assert "core began to warm" in str(found.why)


def test_a_reading_that_falls_to_cold_meat_tells_when():
    # Six minutes on the table are less than a jump can be judged from.
    log, _ = cook(THICK)
    found = meat_on(waiting(log, 0.1, 21.0))
    assert found.time_s == pytest.approx(0.1 * HOUR, abs=90.0)
    assert "cold meat" in str(found.why)


def test_a_probe_that_was_warm_for_a_moment_was_in_the_meat():
    log, _ = cook(THICK)
    assert meat_on(waiting(log, 60.0 / HOUR, 21.0)).time_s == 0.0


# --- the lid that must have been open for it -------------------------------------------


def openings(log: ProbeLog, until_s: float | None = None):
    return [e for e in find_events(log, until_s=until_s) if e.kind == "lid_opened"]


def test_meat_that_goes_on_passes_an_open_lid_though_the_air_shows_none():
    log, _ = cook(replace(THICK, on_after=0.5))
    (opened,) = openings(log)
    assert opened.time_s == meat_on(log).time_s
    assert np.isnan(opened.size)
    assert "air shows no fall" in str(opened.why)
    assert not opened.provisional
    # The air may still show one: that is known after the longest opening.
    (early,) = openings(log, until_s=0.8 * HOUR)
    assert early.provisional


def test_one_that_the_air_shows_is_not_told_twice():
    log, _ = cook(replace(THICK, on_after=0.5, lids=((0.48, 2.0),)))
    (opened,) = openings(log)
    assert opened.size < -20.0


def test_meat_in_from_the_start_tells_of_no_opening():
    assert openings(cook(THICK)[0]) == []


def test_a_cold_pit_may_have_stood_open():
    log, _ = cook(replace(THICK, on_after=0.5))
    channels = tuple(
        replace(c, temperature_c=np.where(log.time_s < 1.2 * HOUR, 15.0, c.temperature_c))
        if c.role == "air"
        else c
        for c in log.channels
    )
    assert [e for e in openings(replace(log, channels=channels)) if e.time_s < HOUR] == []


def test_a_move_is_sure_once_the_reading_goes_on_after_it() -> None:
    """One that stands still since soon after may be stuck instead."""
    time = np.arange(0.0, 5 * HOUR, 60.0)
    value = np.linspace(5.0, 60.0, time.size)
    value[200:] += 6.0
    meat = track(time, value, np.full(time.size, True), 60.0)
    width = step_width(meat.step_s)
    when = 199 * 60.0

    def moved(still_from_s: float):
        story = tell_steps(meat, None, [], [Step(199, 6.0, 9.0)], still_from_s, "flat")
        (move,) = [event for event in story.events if event.kind == "probe_moved"]
        assert (move.time_s, move.size) == (when, 6.0)
        assert "stepped +6.0 K between neighbours, 9 times" in str(move.why)
        return move

    near = (width + 3) * meat.step_s
    assert moved(when + 0.5 * near).provisional
    for still_from_s in (np.inf, when + near, when, when - 1.0):
        assert not moved(still_from_s).provisional


def test_meat_is_pulled_where_its_fall_begins() -> None:
    """The last bin from which it is not yet down by a third of what counts as pulled."""
    value = np.full(200, 60.0)
    # 4 K down is still in the meat, 5 K and more is on the way out of it.
    value[100:105] = (58.0, 56.0, 55.0, 40.0, 22.0)
    value[105:] = 20.0
    meat = track(30.0 * np.arange(200.0), value, np.full(200, True), 30.0)
    assert find_pulled(meat) == (101, True)
    # What rises again within five minutes was not pulled; what the log ends with may be.
    value[113:] = 60.0
    back = track(30.0 * np.arange(200.0), value, np.full(200, True), 30.0)
    assert find_pulled(back) is None
    early = track(30.0 * np.arange(110.0), value[:110], np.full(110, True), 30.0)
    assert find_pulled(early) == (101, False)


@pytest.mark.parametrize(
    ("on_s", "lid_s", "air_c", "hours", "found"),
    [
        (HOUR, None, 110.0, 5.0, True),
        (0.0, None, 110.0, 5.0, False),
        # One that the air shows, up to a quarter of an hour before or after.
        (HOUR, HOUR - 900.0, 110.0, 5.0, False),
        (HOUR, HOUR + 900.0, 110.0, 5.0, False),
        (HOUR, HOUR - 930.0, 110.0, 5.0, True),
        (HOUR, HOUR + 930.0, 110.0, 5.0, True),
        # One at the first sample is that of a pit just lit.
        (600.0, 0.0, 110.0, 5.0, True),
        # A cold pit may have stood open.
        (HOUR, None, 60.0, 5.0, False),
        (HOUR, None, 60.1, 5.0, True),
    ],
)
def test_a_lid_is_opened_for_the_meat_unless_one_is_seen(on_s, lid_s, air_c, hours, found):
    time = np.arange(0.0, hours * HOUR, 30.0)
    air = track(time, np.full(time.size, air_c), np.full(time.size, True), 30.0)
    at = None if lid_s is None else round(lid_s / 30.0)
    lids = [] if at is None else [Lid(at, at + 2, at + 9, 30.0, 9.0, True, True)]
    on = Event("meat_on", on_s, on_s, confidence=0.9)
    opened = unseen_opening(on, air, lids, "flat")
    assert (opened is not None) is found
    if opened is not None:
        assert opened.time_s == opened.end_s == on_s


@pytest.mark.parametrize(
    ("end_s", "sure", "provisional"),
    [(2400.0, 0.9, True), (2430.0, 0.9, False), (9000.0, 0.4, True)],
)
def test_an_unseen_opening_is_sure_once_the_air_would_have_come_back(end_s, sure, provisional):
    """A quarter of an hour and the 25 min of the longest opening after the meat went on."""
    time = np.arange(0.0, end_s + 600.0 + 1.0, 30.0)
    air = track(time, np.full(time.size, 110.0), np.full(time.size, True), 30.0)
    on = Event("meat_on", 600.0, 600.0, confidence=sure)
    assert unseen_opening(on, air, [], "flat").provisional is provisional


def test_meat_pulled_at_the_second_sample_of_a_slow_log_had_its_first_reading() -> None:
    value = np.array([100.0, 50.0, *[20.0] * 10])
    meat = track(300.0 * np.arange(12.0), value, np.full(12, True), 300.0)
    (pulled,) = (
        event
        for event in tell_steps(meat, None, [], [], np.inf, "flat").events
        if event.kind == "pulled"
    )
    assert (pulled.time_s, pulled.size) == (0.0, 100.0)


@pytest.mark.parametrize(
    ("top_k", "bins", "sure"),
    [
        # Warm for hours, and never twice as warm: it may still be a probe that lies about.
        (1.9, 400, False),
        (2.1, 400, True),
        # One bin of twice as much is enough, wherever it stands.
        (2.1, 1, True),
    ],
)
def test_meat_is_on_for_sure_once_it_is_twice_as_warm(top_k, bins, sure) -> None:
    """A core that rises by so many times what counts as warm, and stays there for hours."""
    rise = tables.load("events")["on_rise"]
    value = np.full(600, 8.0)
    value[60:] += 1.5 * rise
    value[200 : 200 + bins] = 8.0 + top_k * rise
    time = 30.0 * np.arange(value.size)
    meat = track(time, value, np.full(value.size, True), 30.0)
    on, _ = _meat_on(meat, None, [], None, "core")
    assert on.provisional is not sure
