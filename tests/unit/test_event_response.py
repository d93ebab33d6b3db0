"""Wraps and stalls, found in how the core answers the air."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from coreward import tables
from coreward.events.air import Lid
from coreward.events.found import _without_preheating as without_preheating
from coreward.events.found import find_events
from coreward.events.listed import Event
from coreward.events.response import Core, _answer, _Opening, find_taken_off, until
from coreward.events.signals import runs, track
from support.invented_cook import HOUR, Plan, cook

pytestmark = pytest.mark.quick

WRAPPED = Plan(seed=6, hours=9.0, wander_k=1.5, radius_m=0.065, lids=((4.0, 3.0),))


def wraps(plan: Plan, until_h: float | None = None):
    log, _ = cook(plan)
    events = find_events(log, until_s=None if until_h is None else until_h * HOUR)
    return [event for event in events if event.kind == "wrapped"]


def test_foil_is_found_by_the_answer_and_says_so():
    (found,) = wraps(replace(WRAPPED, wrap_at=4.02))
    assert found.time_s == pytest.approx(4.0 * HOUR, abs=120.0)
    assert found.size > 1.5
    assert "from then on the core took up" in str(found.why)
    assert not found.provisional


def test_a_short_opening_without_an_answer_is_no_wrap():
    assert wraps(replace(WRAPPED, lids=((4.0, 1.5),))) == []


def test_a_wrap_without_an_opening_is_not_guessed():
    # The end of a stall looks the same.
    assert wraps(replace(WRAPPED, lids=(), wrap_at=4.02)) == []


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ({"new_levels": ((4.0, 16.0),)}, "the pit was raised at it"),
        ({"moves": ((4.02, 0.4),)}, "the probe was set anew"),
    ],
)
def test_what_was_done_at_an_opening_speaks_for_a_wrap(more, words):
    """The same opening alone is none: see above."""
    opened = replace(WRAPPED, lids=((4.0, 4.0),))
    assert wraps(opened) == []
    (found,) = wraps(replace(opened, **more))
    assert words in str(found.why)


@pytest.mark.parametrize(("wrap_at", "at"), [(3.62, 3.6), (4.22, 4.2)])
def test_of_two_openings_the_likelier_was_the_wrap(wrap_at, at):
    minutes = (3.0, 2.0) if at < 4.0 else (2.0, 3.0)
    lids = tuple(zip((3.6, 4.2), minutes, strict=True))
    (found,) = wraps(replace(WRAPPED, lids=lids, wrap_at=wrap_at))
    assert found.time_s == pytest.approx(at * HOUR, abs=120.0)


def test_a_wrap_is_settled_once_no_other_opening_can_be_it():
    plan = replace(WRAPPED, wrap_at=4.02)
    (early,) = wraps(plan, until_h=5.3)
    assert early.provisional
    # An hour and a half for rivals, 25 min to know an opening, and some.
    (late,) = wraps(plan, until_h=6.2)
    assert not late.provisional


def test_a_stall_is_settled_when_it_is_over_and_the_meat_is_off():
    plan = replace(WRAPPED, wrap_at=4.02, pulled_at=7.0, hours=8.0)
    log, _ = cook(plan)

    def stalls(until_h: float):
        return [e for e in find_events(log, until_s=until_h * HOUR) if "stall" in e.kind]

    assert stalls(3.0)
    assert all(event.provisional for event in stalls(3.0))
    assert [event.kind for event in stalls(8.0)] == ["stall_begins", "stall_ends"]
    assert not any(event.provisional for event in stalls(8.0))


def test_meat_is_taken_off_at_the_opening_nearby() -> None:
    """The core answers late: an opening up to a quarter of an hour after the turn is it."""
    time = np.arange(0.0, 6 * HOUR, 60.0)
    turn = 4 * HOUR
    core_c = np.where(
        time <= turn,
        110.0 - 105.0 * np.exp(-time / (4 * HOUR)),
        20.0 + (90.0 - 105.0 * np.exp(-1.0)) * np.exp(-(time - turn) / (2 * HOUR)),
    )
    air_c = np.full(time.size, 110.0)
    core = Core(time, core_c, core_c, air_c, 0.05, 60.0)
    air = track(time, air_c, np.full(time.size, True), 60.0)

    def taken_off(*opened_s: float):
        lids = [
            Lid(
                round(at / 60.0),
                round(at / 60.0) + 2,
                round(at / 60.0) + 5,
                30.0,
                8.0,
                True,
                True,
            )
            for at in opened_s
        ]
        (event,), last = find_taken_off(core, lids, air, "flat")
        assert event.kind == "pulled"
        assert last == round(event.time_s / 60.0)
        return event.time_s

    alone = taken_off()
    # The slope is taken over half an hour.
    assert alone == pytest.approx(turn, abs=1200.0)
    assert taken_off(alone + 900.0) == alone + 900.0
    assert taken_off(alone + 960.0) == alone
    assert taken_off(alone - 600.0) == alone - 600.0
    # Of several the last, and none of long before or after.
    assert taken_off(alone - 600.0, alone + 300.0) == alone + 300.0
    assert taken_off(HOUR, alone + HOUR) == alone
    # A core that goes on rising is on the fire to the end.
    rising = Core(time[:200], core_c[:200], core_c[:200], air_c[:200], 0.05, 60.0)
    assert find_taken_off(rising, [], air, "flat") == ([], 199)


def test_an_opening_before_the_first_sample_goes_with_meat_put_on_later() -> None:
    lid = Event("lid_opened", 0.0, 60.0, confidence=0.8)
    later = Event("lid_opened", 300.0, 360.0)
    on = Event("meat_on", 1800.0, 1800.0)
    assert without_preheating([lid, later, on]) == [later, on]
    assert without_preheating([lid, later]) == [lid, later]
    start = Event("meat_on", 0.0, 0.0)
    assert without_preheating([lid, start]) == [lid, start]
    # Of meat that may yet turn out to have gone on later, no more is known.
    unsure = Event("meat_on", 0.0, 0.0, confidence=0.3)
    assert without_preheating([lid, unsure])[0].confidence == 0.3


def test_of_a_log_too_short_all_bins_are_on_the_fire():
    numbers = tables.load("events")
    step = 60.0
    enough = round(numbers["wrap_after"] / step) + round(numbers["off_lasts"] / step)
    for size in (3, enough):
        time = step * np.arange(size)
        rising = 5.0 + 0.1 * np.arange(size)
        core = Core(time, rising, rising, np.full(size, 110.0), 0.1, step)
        air = track(time, np.full(size, 110.0), np.full(size, True), step)
        assert find_taken_off(core, [], air, "flat") == ([], size - 1)


@pytest.mark.parametrize(
    ("ratio", "handled", "tells", "words"),
    [
        (1.25, (), True, "; from then on the core took up 1.2 times as much per kelvin"),
        (
            1.249,
            (),
            False,
            "; this rests on that opening alone, for the core took up 1.2 times",
        ),
        (
            1.249,
            ("the pit was raised at it", "the probe was set anew"),
            True,
            ", the pit was raised at it and the probe was set anew; this rests on what was "
            "done at it, for the core took up 1.2 times",
        ),
    ],
)
def test_an_opening_tells_by_its_answer_or_what_was_done(ratio, handled, tells, words) -> None:
    one = _Opening(0.0, 66.4, ratio, 3.0, handled, 0.9, True)
    assert one.tells is tells
    said = str(one.why())
    assert said.startswith(f"The lid was open for 3 min with the core at 66 °C{words}")
    assert said.endswith("a guess to confirm or remove.") is (not tells)


def test_meat_taken_off_is_sure_once_the_smoothing_has_seen_it() -> None:
    """It falls for ten minutes, and a smoothing of twenty has no part that is to come."""
    time = np.arange(0.0, 6 * HOUR, 60.0)
    core_c = np.interp(time / HOUR, [0.0, 4.0, 6.0], [5.0, 75.0, 35.0])
    air_c = np.full(time.size, 110.0)
    core = Core(time, core_c, core_c, air_c, 0.05, 60.0)
    air = track(time, air_c, np.full(time.size, True), 60.0)

    def first_fall(size: int) -> int:
        part = until(core, size - 1)
        quotient, _ = _answer(part)
        falls = quotient < -tables.load("events")["off_share"] * quotient.max()
        return next(first for first, last in runs(falls) if last - first > 9)

    for size in range(245, 300):
        (events, _) = find_taken_off(until(core, size - 1), [], air, "flat")
        if events:
            assert events[0].provisional is not (size > first_fall(size) + 10 + 20)
    assert not events[0].provisional
