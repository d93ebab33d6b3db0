"""Events and the list a person puts right."""

from __future__ import annotations

import json
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coreward import tables
from coreward.errors import InputError
from coreward.events.listed import KINDS, Edit, Event, EventList, _same

pytestmark = pytest.mark.quick


def an_event(kind="lid_opened", time_s=3600.0, **more) -> Event:
    return Event(kind, time_s, more.pop("end_s", time_s), **more)


def a_list() -> EventList:
    return EventList(
        (
            an_event("meat_on", 0.0),
            an_event("lid_opened", 3600.0, confidence=0.6, channel="pit"),
            an_event("wrapped", 18000.0, confidence=0.4, channel="meat"),
        )
    )


@pytest.mark.parametrize(
    ("given", "message"),
    [
        ({"kind": "eaten"}, "no event of kind 'eaten'"),
        ({"time_s": math.nan}, "finite"),
        ({"time_s": 20.0, "end_s": 10.0}, "swap the two"),
        ({"confidence": 1.5}, "between 0 and 1"),
    ],
)
def test_what_is_no_event_is_refused(given, message):
    with pytest.raises(InputError, match=message):
        an_event(**given)


def test_a_sentence_tells_time_kind_size_and_doubt():
    event = an_event(
        "lid_opened", 11160.0, size=-55.1, unit="K", confidence=0.4, channel="pit", why="Fell."
    )
    assert event.sentence() == "3 h 06 min, 'pit': lid opened, -55.1 K (provisional). Fell."
    assert an_event("pulled", 60.0).sentence() == "1 min: pulled."


def test_confirming_makes_certain_and_keeps_the_found_one():
    edited = a_list().confirm(2)
    assert [event.confidence for event in edited] == [1.0, 0.6, 1.0]
    assert edited.marks == ("found", "found", "confirmed")
    assert edited.found[2].confidence == 0.4
    assert not edited[2].provisional


def test_removing_adding_and_undoing():
    start = a_list()
    removed = start.remove(1)
    assert [event.kind for event in removed] == ["meat_on", "wrapped"]
    added = removed.add(an_event("probe_moved", 7200.0))
    assert [event.kind for event in added] == ["meat_on", "probe_moved", "wrapped"]
    assert added.marks[1] == "added"
    assert added.undo() == removed
    assert added.undo().undo() == start
    assert start.undo() == start
    assert len(start) == 3  # never changed in place


def test_an_added_event_can_be_removed_again():
    edited = a_list().add(an_event("pulled", 30000.0))
    assert edited.remove(3).events == a_list().events


def test_edits_hold_when_the_log_is_searched_again():
    edited = a_list().remove(1).confirm(1)
    assert edited.events[1].kind == "wrapped"
    later = (
        an_event("meat_on", 0.0),
        an_event("lid_opened", 3630.0, channel="pit"),  # the removed one, found half a bin on
        an_event("lid_opened", 9000.0, channel="pit"),  # another one
        an_event("wrapped", 18300.0, channel="meat"),  # the confirmed one, elsewhere
    )
    renewed = edited.with_found(later)
    assert [(event.kind, event.time_s) for event in renewed] == [
        ("meat_on", 0.0),
        ("lid_opened", 9000.0),
        ("wrapped", 18000.0),
    ]
    # A confirmed event stays even where it is no longer found.
    assert [e.kind for e in edited.with_found(later[:1])] == ["meat_on", "wrapped"]


def test_of_two_alike_the_nearer_is_meant():
    two = EventList((an_event(time_s=0.0), an_event(time_s=1200.0)))
    assert [event.time_s for event in two.remove(1)] == [0.0]
    assert [event.time_s for event in two.remove(0)] == [1200.0]


@pytest.mark.parametrize("index", [-1, 3])
def test_a_wrong_place_is_named(index):
    for change in (a_list().confirm, a_list().remove):
        with pytest.raises(InputError, match="this list has 3"):
            change(index)


def test_only_events_can_be_added():
    with pytest.raises(InputError, match="Only an Event"):
        a_list().add("lid")  # type: ignore[arg-type]
    with pytest.raises(InputError, match="no edit 'forget'"):
        Edit("forget", an_event())  # type: ignore[arg-type]


@given(
    st.lists(
        st.builds(
            lambda kind, time, long, size, sure, name: Event(
                kind, time, time + long, size, "K", sure, name, "Because."
            ),
            st.sampled_from(KINDS),
            st.floats(0.0, 1e5),
            st.floats(0.0, 1e4),
            st.one_of(st.floats(-100.0, 100.0), st.just(math.nan)),
            st.floats(0.0, 1.0),
            st.text(max_size=8),
        ),
        max_size=5,
    )
)
def test_json_brings_everything_back(events):
    edited = EventList(tuple(events))
    if events:
        edited = edited.confirm(0).add(events[0])
    if len(edited) > 1:
        edited = edited.remove(1)
    back = EventList.from_json(edited.to_json())
    # NaN is not equal to itself: compare what is written.
    assert back.to_json() == edited.to_json()
    assert back.marks == edited.marks
    assert len(back) == len(edited)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("{", "not JSON"),
        ("[]", "no list of events"),
        ('{"format": "something else"}', "no list of events"),
        ('{"format": "coreward events, format 1", "found": 3}', "must be lists"),
        ('{"format": "coreward events, format 1", "found": [3]}', "must be an object"),
        ('{"format": "coreward events, format 1", "found": [{"kind": "pulled"}]}', "lacks"),
        ('{"format": "coreward events, format 1", "edits": [{}]}', "'action' and an 'event'"),
    ],
)
def test_foreign_json_is_refused_with_a_reason(text, message):
    with pytest.raises(InputError, match=message):
        EventList.from_json(text)


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"time_s": "noon"}, "time_s of an event must be a number"),
        ({"time_s": True}, "time_s of an event must be a number"),
        ({"why": 3}, "why of an event must be text"),
        ({"colour": "red"}, r"unknown entries \['colour'\]"),
    ],
)
def test_a_spoilt_event_is_refused_with_a_reason(change, message):
    plain = json.loads(a_list().to_json())
    plain["found"][0].update(change)
    with pytest.raises(InputError, match=message):
        EventList.from_json(json.dumps(plain))


def test_an_edit_is_about_the_nearest_event_of_its_kind_and_probe_within_reach():
    reach = tables.load("events")["same_event_within"]
    marked = [
        (an_event(time_s=1000.0, channel="pit"), "found"),
        (an_event(time_s=1300.0, channel="pit"), "found"),
        (an_event("meat_on", 1150.0, channel="pit"), "found"),
        (an_event(time_s=1150.0, channel="other"), "found"),
    ]

    def about(time_s: float) -> int | None:
        return _same(marked, an_event(time_s=time_s, channel="pit"))

    assert [about(t) for t in (1000.0, 1149.0, 1150.0, 1151.0)] == [0, 0, 0, 1]
    # As far as the reach, and no further.
    assert about(1300.0 + reach) == 1
    assert about(1300.0 + reach + 1.0) is None
