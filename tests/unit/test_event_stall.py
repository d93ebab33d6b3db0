"""Stalls of a noisy core: the courses that its readings allow, and what most of them say."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.linalg import cholesky_banded

from coreward import tables
from coreward.events import stalls as event_stall
from coreward.events.response import Core
from coreward.events.stalls import _Mark, _settle, stall_events
from coreward.events.standstill import find_stalls, find_stalls_in_each

pytestmark = pytest.mark.quick

HOUR = 3600.0
STEP_S = 60.0


def stalling(hours: float = 10.0, noise_k: float = 0.15, seed: int = 0) -> Core:
    """Return a core that rises by 16 K/h, hardly from 3 h to 6 h, and again after it."""
    time = np.arange(0.0, hours * HOUR, STEP_S)
    rate = np.interp(
        time / HOUR, [0.0, 2.6, 3.4, 5.6, 6.4, 24.0], [16.0, 16.0, 1.0, 1.0, 9.0, 9.0]
    )
    true = 8.0 + np.cumsum(rate) * STEP_S / HOUR
    noise = np.random.default_rng(seed).normal(0.0, noise_k, time.size)
    air = np.full(time.size, 120.0)
    return Core(
        time_s=time,
        core_c=true + noise,
        air_c=air,
        step_s=STEP_S,
        noise_k=noise_k,
        reading_c=true + noise,
    )


def told(core: Core, taken_off: bool = False) -> list[tuple[str, float, bool]]:
    return [(e.kind, e.time_s, e.provisional) for e in stall_events(core, "meat", taken_off)]


def test_many_courses_are_asked_as_each_is():
    rng = np.random.default_rng(3)
    core = stalling()
    courses = np.stack(
        [core.core_c + 0.02 * rng.normal(size=core.core_c.size) for _ in range(5)]
    )
    together = find_stalls_in_each(core.time_s, courses, core.air_c)
    assert together == tuple(find_stalls(core.time_s, row, core.air_c) for row in courses)
    assert any(together)


@pytest.mark.parametrize("seed", range(4))
def test_a_stall_is_found_through_the_noise(seed):
    core = stalling(seed=seed)
    exact = find_stalls(core.time_s, stalling(noise_k=1e-6).core_c, core.air_c)
    (begins, ends) = told(core)
    assert (begins[0], ends[0]) == ("stall_begins", "stall_ends")
    # The bends last 0.8 h: noise moves the edges within them by a part of that.
    assert begins[1] == pytest.approx(exact[0].begin_s, abs=0.25 * HOUR)
    assert ends[1] == pytest.approx(exact[0].end_s, abs=0.25 * HOUR)
    assert not begins[2]
    assert not ends[2]


def test_a_core_that_rises_evenly_has_none():
    time = np.arange(0.0, 6.0 * HOUR, STEP_S)
    # A steady answer to the air: the drive and the rise fall together.
    true = 120.0 - 112.0 * np.exp(-time / (7.0 * HOUR))
    reading = true + np.random.default_rng(2).normal(0.0, 0.15, time.size)
    air = np.full(time.size, 120.0)
    assert told(Core(time, reading, reading, air, noise_k=0.15, step_s=STEP_S)) == []


@pytest.mark.parametrize("hours", [0.0, 0.02, 0.1, 0.5, 1.0])
def test_a_core_just_begun_tells_nothing(hours):
    assert told(stalling(hours=hours)) == []


def test_what_is_settled_stays_and_what_is_not_may_go():
    whole = [event for event in told(stalling(12.0)) if not event[2]]
    assert len(whole) == 2
    core = stalling(12.0)
    checked = 0
    for hours in np.arange(1.0, 12.0, 0.7):
        size = int(hours * HOUR / STEP_S)
        part = replace(
            core,
            time_s=core.time_s[:size],
            core_c=core.core_c[:size],
            air_c=core.air_c[:size],
            reading_c=core.reading_c[:size],
        )
        for event in told(part):
            if not event[2]:
                assert event in whole
                checked += 1
    assert checked > 2


def test_a_beginning_is_not_settled_before_its_end():
    # Half way through it has been there for long, and its deepest level may be to come.
    during = told(stalling(5.4))
    assert [kind for kind, _, provisional in during if not provisional] == []


def test_all_is_settled_once_nothing_more_can_come():
    during = told(stalling(6.8))
    assert any(provisional for _, _, provisional in during)
    assert not any(provisional for _, _, provisional in told(stalling(6.8), taken_off=True))


def test_the_courses_spread_as_their_posterior_does():
    """Mean and covariance against the full matrices, for a small core."""
    rows, noise_k, bend = 40, 0.2, 0.01
    reading = 5.0 + np.arange(rows) ** 1.5 / 10.0
    weight = noise_k**-2
    _, mean, factor = event_stall._fit(reading, weight, bend)
    differences = np.diff(np.eye(rows), 3, axis=0)
    precision = differences.T @ differences / bend**2 + weight * np.eye(rows)
    assert mean == pytest.approx(np.linalg.solve(precision, weight * reading), abs=1e-8)
    assert factor == pytest.approx(
        cholesky_banded(
            np.stack([np.append(np.diag(precision, -k), np.zeros(k)) for k in range(4)]),
            lower=True,
        ),
        rel=1e-9,
    )


def test_the_likelihood_is_that_of_the_differences():
    """Against the density of the third differences of the readings, by full matrices."""
    rng = np.random.default_rng(6)
    rows, noise_k = 60, 0.1
    reading = (
        5.0 + np.cumsum(np.cumsum(rng.normal(0.0, 0.02, rows))) + rng.normal(0.0, 0.1, rows)
    )
    differences = np.diff(np.eye(rows), 3, axis=0)
    seen = differences @ reading

    def density(bend: float) -> float:
        covariance = bend**2 * np.eye(rows - 3) + noise_k**2 * differences @ differences.T
        _, size = np.linalg.slogdet(covariance)
        return float(-0.5 * size - 0.5 * seen @ np.linalg.solve(covariance, seen))

    bends = (0.003, 0.01, 0.05)
    ours = [event_stall._fit(reading, noise_k**-2, bend)[0] for bend in bends]
    theirs = [density(bend) for bend in bends]
    # Up to what does not depend on the bend.
    assert np.diff(ours) == pytest.approx(np.diff(theirs), abs=1e-6)


def mark(kind, hours: float, share: float) -> event_stall._Mark:
    return event_stall._Mark(kind, hours * HOUR, share, True)


def test_beginnings_and_ends_take_turns_by_what_most_say():
    marks = [
        mark("stall_begins", 2.0, 0.3),
        mark("stall_begins", 3.0, 0.9),
        mark("stall_ends", 5.0, 0.8),
        mark("stall_ends", 5.9, 0.4),
        mark("stall_begins", 8.0, 0.1),
    ]
    least = tables.load("events")["stall_share"]
    picked = event_stall._in_turn(marks, least)
    assert [one.time_s / HOUR for one in picked] == [3.0, 5.0]
    assert event_stall._in_turn([], least) == []


def test_times_near_one_another_are_one_and_others_are_others():
    times = [(hours * HOUR, True) for hours in (2.9, 3.0, 3.1, 6.0, 6.1)]
    modes = list(event_stall._modes("stall_begins", times, 10, 0.5 * HOUR))
    assert [(one.time_s / HOUR, one.share) for one in modes] == [
        (pytest.approx(3.0), 0.3),
        (pytest.approx(6.05), 0.2),
    ]


def test_an_end_is_seen_where_more_than_half_of_the_courses_saw_it():
    def seen(*over: bool) -> bool:
        told_by = [(1000.0 + 10.0 * n, ended) for n, ended in enumerate(over)]
        (mark,) = event_stall._modes("stall_begins", told_by, 4, 600.0)
        return mark.over

    assert [seen(True, True, False), seen(True, False), seen(True, False, False)] == [
        True,
        False,
        False,
    ]
    # Two apart by the very reach are one, and by more are two; the more told comes first.
    both = [(0.0, True), (600.0, True), (1800.0, True)]
    marks = list(event_stall._modes("stall_begins", both, 3, 600.0))
    assert [(mark.time_s, mark.share) for mark in marks] == [
        (300.0, pytest.approx(2 / 3)),
        (1800.0, pytest.approx(1 / 3)),
    ]


@pytest.mark.parametrize(
    ("mark", "sure"),
    [
        (_Mark("stall_begins", HOUR, 0.8, True), True),
        (_Mark("stall_begins", HOUR, 0.79, True), False),
        # Its deepest level may be to come.
        (_Mark("stall_begins", HOUR, 1.0, False), False),
    ],
)
def test_a_beginning_is_settled_by_most_courses_once_its_stall_is_over(mark, sure) -> None:
    settled: list[_Mark] = []
    _settle(settled, [[mark], [mark]])
    assert settled == ([mark] if sure else [])
    end = _Mark("stall_ends", 3 * HOUR, 0.8, False)
    _settle(settled, [[mark, end], [mark, end]])
    assert settled == ([mark, end] if sure else [])


@pytest.mark.parametrize(("other_s", "sure"), [(HOUR + 600.0, True), (HOUR + 601.0, False)])
def test_all_answers_tell_the_same_time_to_ten_minutes(other_s: float, sure: bool) -> None:
    last, before = (_Mark("stall_begins", at, 0.9, True) for at in (HOUR, other_s))
    settled: list[_Mark] = []
    _settle(settled, [[before], [last]])
    assert settled == ([last] if sure else [])
    # One that knows nothing of it, or another kind of it, does not agree.
    _settle(settled := [], [[], [last]])
    assert settled == []
    _settle(settled := [], [[replace(last, kind="stall_ends")], [last]])
    assert settled == []
