"""Openings, fuel and levels, found in made-up air."""

from __future__ import annotations

import numpy as np
import pytest

from coreward.events.air import (
    _FallLimits,
    _lid_at,
    _open_at_start,
    _SlowChanges,
    find_lids,
    find_slow_changes,
)
from coreward.events.signals import Track, track

pytestmark = pytest.mark.quick

HOUR = 3600.0


def air_of(change, hours: float = 8.0, level_c: float = 112.0, noise_k: float = 0.7) -> Track:
    """A pit that is warm from the start, plus what `change` says, on the grid."""
    time = np.arange(0.0, hours * HOUR, 30.0)
    noise = np.random.default_rng(5).normal(0.0, noise_k, time.size)
    value = level_c + change(time / HOUR) + noise
    return track(time, value, np.full(time.size, True), 30.0)


def opening(hours: np.ndarray, at: float, deep_k: float, back_h: float = 0.06) -> np.ndarray:
    """A lid open for two minutes, and the air coming back."""
    fall = np.clip((hours - at) / (2.0 / 60.0), 0.0, 1.0)
    back = np.exp(-np.clip(hours - at - 2.0 / 60.0, 0.0, None) / back_h)
    return -deep_k * fall * back


def lids_at(air: Track) -> list[float]:
    return [float(air.time_s[lid.first]) / HOUR for lid in find_lids(air)]


def kinds(air: Track) -> list[str]:
    return [event.kind for event in find_slow_changes(air, find_lids(air), "pit")]


def test_an_opening_ends_where_the_next_begins():
    # The pit cools by 10 K at the first, so that it is never quite made up.
    air = air_of(
        lambda h: opening(h, 2.0, 40.0) + opening(h, 2.35, 40.0) - np.where(h > 2.0, 10.0, 0.0)
    )
    assert lids_at(air) == pytest.approx([2.0, 2.35], abs=0.03)


def test_deep_openings_do_not_hide_a_shallow_one():
    # Nine in three hours: a fifth of all falls behind are theirs.
    often = np.arange(0.8, 3.6, 0.33)
    air = air_of(lambda h: sum(opening(h, at, 50.0) for at in often) + opening(h, 4.0, 14.0))
    assert lids_at(air) == pytest.approx([*often, 4.0], abs=0.03)


def test_a_slow_sag_shows_against_its_own_level():
    def change(h):
        sag = np.clip((h - 3.0) / 1.2, 0.0, 1.0) ** 1.5
        # Back over hours: 6 K in twenty minutes is no more than a fire wanders.
        return -26.0 * sag * np.exp(-np.clip(h - 4.2, 0.0, None) / 1.3)

    air = air_of(change)
    dying, added = find_slow_changes(air, [], "pit")
    assert (dying.kind, added.kind) == ("fuel_dying", "fuel_added")
    # Both are known to the tolerance of the table, 25 min.
    assert dying.time_s == pytest.approx(3.0 * HOUR, abs=1500.0)
    assert added.time_s == pytest.approx(4.2 * HOUR, abs=1500.0)
    assert dying.size == pytest.approx(-26.0, abs=5.0)
    # The fire is back when half of it is made up: after 1.3 h times ln 2.
    assert added.end_s == pytest.approx((4.2 + 1.3 * np.log(2.0)) * HOUR, abs=1500.0)
    assert "came back slowly" in str(dying.why)
    # It stays what it is once found, and is not found before it has come back.
    for hours in (4.0, 4.3, 5.0, 5.6, 5.8, 6.5):
        kept = air.time_s <= hours * HOUR
        short = Track(air.step_s, *(x[kept] for x in
                      (air.time_s, air.value_c, air.known, air.noise_k)))  # fmt: skip
        for event in find_slow_changes(short, [], "pit"):
            assert event.provisional or event in (dying, added)


def test_a_fire_that_swings_as_far_has_no_sag():
    # Slow swings of 12 K to either side: the same depth is nothing out of the ordinary.
    air = air_of(lambda h: 12.0 * np.sin(2.0 * np.pi * h / 2.8), hours=12.0)
    assert "fuel_dying" not in kinds(air)


def test_a_pit_getting_warm_has_no_new_level():
    def change(h):
        return -60.0 * np.exp(-h / 0.2) + opening(h, 0.5, 45.0) + np.where(h > 0.52, 11.0, 0.0)

    assert kinds(air_of(change)) == []
    late = air_of(lambda h: change(h) + np.where(h > 4.0, 16.0, 0.0))
    assert kinds(late) == ["pit_changed"]


def test_back_to_where_it_was_is_no_new_level():
    # Down by 11 K as slowly as a fire wanders, then up again at once.
    air = air_of(lambda h: -11.0 * np.clip((h - 2.0) / 1.5, 0.0, 1.0) * (h < 4.5))
    assert "pit_changed" not in kinds(air)
    # To a level above, it is one.
    air = air_of(
        lambda h: -11.0 * np.clip((h - 2.0) / 1.5, 0.0, 1.0) * (h < 4.5) + 14.0 * (h >= 4.5)
    )
    assert "pit_changed" in kinds(air)


def test_a_fall_just_begun_is_not_yet_a_lower_pit():
    def change(h):
        return -20.0 * (1.0 - np.exp(-np.clip(h - 4.0, 0.0, None) / 0.15))

    assert "pit_changed" not in kinds(air_of(change, hours=4.6))
    assert kinds(air_of(change, hours=8.0)) == ["pit_changed"]


@pytest.mark.parametrize(("minutes", "quickly"), [(29.5, True), (30.0, False)])
def test_a_fall_is_quick_that_takes_less_than_half_an_hour(minutes: float, quickly: bool):
    """From a fifth to four fifths of it, in straight lines of half a minute."""
    changes = _SlowChanges(air_of(lambda h: 0.0 * h), [], "pit")
    step = round(minutes * 2.0)
    part = np.zeros(200)
    part[20:] = 0.21
    part[20 + step :] = 0.81
    changes._air = 100.0 - 30.0 * part
    assert changes._fell_quickly(0, 200, 100.0, -30.0) is quickly
    # One that never comes so far is none.
    assert changes._fell_quickly(0, 20 + step, 100.0, -30.0) is False


def test_what_is_explained_is_what_lies_around():
    changes = _SlowChanges(air_of(lambda h: 0.0 * h), [], "pit")
    changes._note("fuel_added", 100, 120, 5.0, 0.9, "{0} in {1}")
    at = [place for place in range(50, 200) if changes._explained(place, 10)]
    # Ten bins to either side of it, both ends included.
    assert (at[0], at[-1]) == (90, 130)


def test_the_level_before_an_opening_is_that_of_minutes():
    """Neither the first bin of them nor the fall that has begun says what it fell from."""
    before = [80.0, 100.0, 100.0, 100.0, 100.0, 100.0, 100.0]
    value = np.array([*before, 96.0, 92.0, 84.0, 60.0, 99.0, 100.0, 100.0, 100.0])
    first, lowest, last, depth, settled = _lid_at(value, 10, 4, 6, 5, 10.0)
    assert (lowest, depth, settled) == (10, 40.0, True)
    assert value[first] >= 96.0
    assert last == 11
    # Where the air rose just before, that is what it fell from.
    value[6:10] = 110.0
    assert _lid_at(value, 10, 4, 6, 5, 10.0)[3] == 50.0


def plain(value: np.ndarray, step_s: float = 30.0) -> Track:
    """Return a track of just these values, with hardly any noise."""
    time = step_s * np.arange(value.size)
    return Track(step_s, time, value, np.full(value.size, True), np.full(value.size, 0.1))


@pytest.mark.parametrize(("bottom", "half_s"), [(0, 360.0), (2, 360.0), (6, 360.0)])
def test_a_lid_open_at_the_start_comes_back_within_minutes(bottom: int, half_s: float) -> None:
    """Half of it is made up six minutes after the lowest bin, or a fire was just lit."""

    def found(back_s: float):
        value = np.full(200, 110.0)
        value[: bottom + round(back_s / 30.0)] = 71.0
        value[bottom] = 70.0
        return _open_at_start(plain(value))

    (lid,) = found(half_s)
    assert (lid.first, lid.lowest, lid.depth_k) == (0, bottom, 40.0)
    assert found(half_s + 30.0) == []


def test_a_sink_that_ends_in_a_fall_is_no_fuel_added() -> None:
    """By 26 K within an hour and a half, then by 20 K at once: the air never rises again."""

    def change(h):
        sink = 26.0 * np.clip((h - 3.0) / 1.5, 0.0, 1.0) ** 1.5
        return -sink - 20.0 * (1.0 - np.exp(-np.clip(h - 4.5, 0.0, None) / 0.12))

    assert kinds(air_of(change, hours=10.0, level_c=140.0)) == ["pit_changed"]


@pytest.mark.parametrize(("minutes", "noted"), [(44.5, True), (44.0, False)])
def test_a_slow_sag_shows_once_the_level_is_known(minutes: float, noted: bool) -> None:
    """Three quarters of an hour of level, the bin included at which the sag begins."""
    level = round(2.0 * minutes)
    sag = np.full(level + 229, 110.0)
    sag[level : level + 29] -= 30.0 * (np.arange(29) / 28.0) ** 1.5
    changes = _SlowChanges(plain(sag), [], "pit")
    changes._air = sag
    changes._slow_sag(0, level + 28, 180)
    assert ([event.kind for event in changes._found] == ["fuel_dying", "fuel_added"]) is noted
    if noted:
        assert changes._found[0].time_s == 30.0 * level
        assert changes._found[0].size == pytest.approx(-30.0, abs=0.01)


@pytest.mark.parametrize(
    ("changes", "limit_k"),
    [
        # To and fro by as much: three times what most falls are, from 9 K on.
        ([4.0, -4.0] * 50, 12.0),
        ([2.0, -2.0] * 50, 9.0),
        ([0.0, -0.1] * 50, 9.0),
        # A few deep falls: six times the scatter of all changes, 1.4826 of their middle.
        ([2.0, -2.0] * 30 + [-20.0] * 20, 6.0 * 1.4826 * 2.0),
        # Of fewer than eight falls nothing is known.
        ([4.0] * 50 + [-4.0] * 7, 11.0),
        ([4.0] * 50 + [-4.0] * 8, 12.0),
    ],
)
def test_a_fall_must_pass_what_is_usual_here(changes, limit_k: float) -> None:
    limits = _FallLimits(np.array([*changes, -50.0, -50.0]), 30.0)
    # What comes later is not looked at, nor what was an opening.
    assert limits._limit(len(changes)) == pytest.approx(limit_k, rel=1e-3)
    limits.leave_out(len(changes), len(changes) + 1)
    assert limits._limit(len(changes) + 2) == pytest.approx(limit_k, rel=1e-3)
