"""Precision and recall of found events."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coreward.events.listed import KINDS, Event
from coreward.evidence.event_scores import default_tolerances, match_events, shown

pytestmark = pytest.mark.quick


def lids(*minutes: float) -> list[Event]:
    return [Event("lid_opened", 60.0 * m, 60.0 * m) for m in minutes]


def test_counted_by_hand():
    found = [*lids(10, 64, 200), Event("pulled", 600.0, 600.0)]
    truth = [*lids(12, 60, 120), Event("meat_on", 0.0, 0.0)]
    scores = match_events(found, truth)
    lid = scores.by_kind["lid_opened"]
    assert (lid.matched, lid.found, lid.true) == (2, 3, 3)
    assert lid.precision == pytest.approx(2 / 3)
    assert lid.recall == pytest.approx(2 / 3)
    assert lid.time_error_s == (-120.0, 240.0)
    assert lid.median_error_s == 180.0
    assert scores.by_kind["pulled"].precision == 0.0
    assert math.isnan(scores.by_kind["pulled"].recall)
    assert math.isnan(scores.by_kind["pulled"].median_error_s)
    assert scores.by_kind["meat_on"].recall == 0.0
    assert (scores.overall.matched, scores.overall.found, scores.overall.true) == (2, 4, 4)
    assert [kind for kind, _ in scores.rows()] == ["meat_on", "lid_opened", "pulled", "all"]


def test_each_event_is_used_once():
    scores = match_events(lids(10, 11, 12), lids(11)).by_kind["lid_opened"]
    assert (scores.matched, scores.found, scores.true) == (1, 3, 1)
    assert scores.time_error_s == (0.0,)


def test_as_many_pairs_as_possible_before_close_ones():
    # The nearest pair first (13 with 12) would leave 9 alone with 16.
    scores = match_events(lids(9, 13), lids(12, 16)).by_kind["lid_opened"]
    assert scores.matched == 2


def test_tolerances_come_from_the_table_and_can_be_given():
    assert set(default_tolerances()) == set(KINDS)
    assert match_events(lids(10), lids(16)).overall.matched == 0
    assert match_events(lids(10), lids(16), {"lid_opened": 360.0}).overall.matched == 1


def test_kinds_can_be_chosen_and_logs_pooled():
    both = [*lids(10), Event("pulled", 0.0, 0.0)]
    one = match_events(both, both, kinds=["pulled"])
    assert list(one.by_kind) == ["pulled"]
    pooled = one + match_events(lids(1), lids(99))
    assert (pooled.overall.matched, pooled.overall.found, pooled.overall.true) == (1, 2, 2)


@given(st.lists(st.floats(0, 200), max_size=6), st.lists(st.floats(0, 200), max_size=6))
def test_matching_is_fair_to_both_sides(found, truth):
    there = match_events(lids(*found), lids(*truth)).overall
    back = match_events(lids(*truth), lids(*found)).overall
    assert there.matched == back.matched
    assert there.matched <= min(len(found), len(truth))
    assert all(abs(error) <= 300.0 for error in there.time_error_s)


def test_what_the_data_do_not_show_counts_neither_way():
    truth = [
        Event("probe_moved", 3600.0, 3600.0, 3.0, "K"),
        Event("probe_moved", 9000.0, 9000.0, 0.1, "K"),
        Event("lid_opened", 0.0, 0.0, 4.0, "K"),
        Event("pulled", 30000.0, 30000.0, 0.1),
    ]
    seen, unseen = shown(truth)
    assert [event.time_s for event in unseen] == [9000.0, 0.0]
    assert [event.time_s for event in seen] == [3600.0, 30000.0]
    found = [Event("probe_moved", t, t) for t in (3600.0, 9060.0, 20000.0)]
    score = match_events(found, seen, ignored=unseen).by_kind["probe_moved"]
    assert (score.matched, score.found, score.true) == (1, 2, 1)
    strict = match_events(found, truth).by_kind["probe_moved"]
    assert (strict.matched, strict.found, strict.true) == (2, 3, 2)
