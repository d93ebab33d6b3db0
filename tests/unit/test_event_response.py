"""Wraps and stalls, found in how the core answers the air."""

from __future__ import annotations

from dataclasses import replace

import pytest

from coreward.questions.events import find_events
from support.invented_cook import HOUR, Plan, cook

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
