"""One definition of a stall: its slopes, means and spells, each with its value."""

from __future__ import annotations

import numpy as np
import pytest

from coreward import tables
from coreward.events import standstill as stall
from coreward.events.standstill import Stall, find_stalls, find_stalls_in_each, smoothed_slope

pytestmark = pytest.mark.quick

MINUTE, HOUR = 60.0, 3600.0
AIR_C = 110.0


def course(
    stalled: float = 0.2, before_h: float = 3.0, long_h: float = 3.0, after_h: float = 3.0
) -> tuple[np.ndarray, np.ndarray]:
    """A core that follows its air by a quotient, which falls to a share of it for a while."""
    time = np.arange(0.0, (before_h + long_h + after_h) * HOUR + 1.0, MINUTE)
    inside = (time >= before_h * HOUR) & (time < (before_h + long_h) * HOUR)
    quotient = np.where(inside, stalled, 1.0) * 0.25 / HOUR
    passed = np.concatenate(([0.0], np.cumsum(quotient[:-1]) * MINUTE))
    return time, AIR_C - (AIR_C - 5.0) * np.exp(-passed)


def stalls(time: np.ndarray, core: np.ndarray, **options: object) -> tuple[Stall, ...]:
    return find_stalls(time, core, np.full(len(time), AIR_C), **options)  # type: ignore[arg-type]


def test_a_stall_is_where_the_quotient_is_low() -> None:
    time, core = course()
    (found,) = stalls(time, core)
    # Either end is blurred by half the window of the slope.
    blur = 0.5 * tables.load("stall")["slope_window"]
    assert found.begin_s == pytest.approx(3 * HOUR, abs=blur)
    assert found.end_s == pytest.approx(6 * HOUR, abs=blur)
    assert found.duration_s == found.end_s - found.begin_s
    assert found.core_begin_c == np.interp(found.begin_s, time, core)
    assert found.core_end_c == np.interp(found.end_s, time, core)
    assert found.ended


def test_no_quotient_that_stays_and_none_that_falls_too_little() -> None:
    assert stalls(*course(stalled=1.0)) == ()
    depth = tables.load("stall")["depth_share"]
    assert stalls(*course(stalled=depth + 0.05)) == ()
    assert len(stalls(*course(stalled=depth - 0.05))) == 1


def test_a_record_that_stops_in_a_stall_has_not_seen_its_end() -> None:
    time, core = course()
    known = time <= 5 * HOUR
    (found,) = stalls(time[known], core[known])
    assert found.end_s == 5 * HOUR
    assert not found.ended
    # Nor has one that can be judged no further: close to boiling, or in a gap.
    boiling = float(np.interp(4.5 * HOUR, time, core)) + tables.load("stall")["boiling_margin"]
    (found,) = stalls(time, core, boiling_c=boiling)
    assert found.end_s == pytest.approx(4.5 * HOUR, abs=2 * MINUTE)
    assert not found.ended
    usable = time < 4.5 * HOUR
    (found,) = stalls(time, core, usable=usable)
    assert found.end_s < 4.5 * HOUR
    assert not found.ended


def test_a_record_too_short_to_judge_has_none() -> None:
    shortest = tables.load("stall")["shortest"]
    time = np.arange(0.0, shortest, MINUTE)  # a minute short of it
    assert stalls(time, np.linspace(20.0, 21.0, len(time))) == ()
    assert stalls(np.array([0.0, 9e4]), np.array([20.0, 21.0])) == ()


def test_a_core_that_hardly_rose_before_does_not_stall() -> None:
    time, core = course()
    # The same course, so slow that its steepest rise is no rise by the table.
    smallest = tables.load("stall")["steepest_smallest"]
    slowed = time * (core[1] - core[0]) / MINUTE / smallest
    assert len(stalls(slowed * 0.8, core)) == 1
    assert stalls(slowed * 1.3, core) == ()


def test_a_climb_of_twenty_kelvin_is_not_level() -> None:
    """Three kelvin in two hours stand still, twenty do not however long they take."""
    assert Stall(0.0, 2 * HOUR, 66.0, 69.0, True).level
    assert not Stall(0.0, 2 * HOUR, 66.0, 69.1, True).level
    assert not Stall(0.0, 7 * HOUR, 60.0, 80.0, True).level
    assert Stall(0.0, 2 * HOUR, 69.0, 67.0, True).level
    assert Stall(0.0, HOUR, 66.0, 69.0, True).rise_k == 3.0


def test_several_courses_are_judged_each_by_itself() -> None:
    time, core = course()
    steady = course(stalled=1.0)[1]
    both = find_stalls_in_each(time, np.stack([steady, core]), np.full(len(time), AIR_C))
    assert both == ((), stalls(time, core))


def test_a_slope_is_that_of_the_best_line_through_its_window() -> None:
    rng = np.random.default_rng(2)
    time = np.arange(0.0, 40 * MINUTE + 1.0, MINUTE)
    value = rng.normal(50.0, 5.0, len(time))
    grid, slope = smoothed_slope(time, value, 10 * MINUTE)
    assert np.array_equal(grid, time)
    for at in (0, 3, 20, 38, 40):
        part = slice(max(at - 5, 0), at + 6)
        best = np.polyfit(time[part], value[part], 1)[0]
        assert slope[at] == pytest.approx(best, rel=1e-9)
    assert np.array_equal(smoothed_slope(time[:2], value[:2], 600.0)[1], np.zeros(2))
    assert smoothed_slope(time[:3], value[:3], 600.0)[1][1] == pytest.approx(
        (value[2] - value[0]) / (2 * MINUTE)
    )


def test_a_mean_is_that_of_its_window_shorter_at_the_ends() -> None:
    value = np.array([3.0, 1.0, 4.0, 1.0, 5.0, 9.0])
    expected = [np.mean(value[max(i - 2, 0) : i + 3]) for i in range(6)]
    assert stall.smoothed_mean(value, 4 * MINUTE) == pytest.approx(expected)
    # Never narrower than the neighbours.
    assert stall.smoothed_mean(value, 1.0)[0] == 2.0


@pytest.mark.parametrize("window", [1, 2, 3, 5, 7, 8, 19])
def test_a_lasting_minimum_is_the_least_of_all_windows(window: int) -> None:
    rows = np.random.default_rng(window).normal(size=(3, 20))
    expected = [
        min(row[at : at + window].max() for at in range(20 - window + 1)) for row in rows
    ]
    assert stall._lasting_minimum(rows, window) == pytest.approx(expected)
    # A row no longer than the window is one window.
    assert stall._lasting_minimum(rows, 20) == pytest.approx(rows.max(axis=1))
    assert stall._lasting_minimum(rows, 25) == pytest.approx(rows.max(axis=1))


def test_runs_are_joined_over_breaks_as_long_as_the_bridge() -> None:
    flags = np.array([0, 1, 1, 0, 0, 1, 0, 0, 0, 1, 1], dtype=bool)
    assert stall._runs(flags, 0) == [(1, 2), (5, 5), (9, 10)]
    assert stall._runs(flags, 1) == [(1, 2), (5, 5), (9, 10)]
    assert stall._runs(flags, 2) == [(1, 5), (9, 10)]
    assert stall._runs(flags, 3) == [(1, 10)]
    assert stall._runs(flags[:1], 3) == []


def test_a_spell_counts_from_the_shortest_on() -> None:
    grid = np.arange(10) * MINUTE
    judged = np.ones(10, dtype=bool)
    core = 60.0 + np.arange(10)
    found = stall._spells(grid, core, judged, [(0, 2), (4, 7), (8, 9)], 3 * MINUTE)
    assert found == (Stall(240.0, 420.0, 64.0, 67.0, True),)
    (last,) = stall._spells(grid, core, judged, [(4, 9)], 3 * MINUTE)
    assert not last.ended
    judged[8] = False
    (cut,) = stall._spells(grid, core, judged, [(4, 7)], 3 * MINUTE)
    assert not cut.ended
