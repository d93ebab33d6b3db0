"""What a plan says of rests and holds, at the times where another sentence begins."""

from __future__ import annotations

import pytest

import coreward as cw
from coreward.questions.plan.answer import Hold, PitPlan, PlannedPiece, Wanted
from coreward.questions.plan.words import assumptions, hold_note, hold_words
from coreward.words import shown


def piece(least_s: float, most_s: float, place: str = "kitchen", **changes) -> PlannedPiece:
    fields = {
        "piece": cw.Piece(cw.Slab(0.03), cw.meat("pork loin"), 4.0),
        "wanted": Wanted(80.0, lethality=False),
        "mass_kg": 2.0,
        "hold": Hold(place, least_s, most_s),
    } | changes
    return PlannedPiece("loin", **fields)


@pytest.mark.parametrize(
    ("hot_s", "when"),
    [
        (59.9, "from the start: that is a rest and no hot hold."),
        (60.0, "after 60 s, within its rest of 30 min: that is a rest and no hot hold."),
        (1799.0, "after 29 min, within its rest of 30 min: that is a rest and no hot hold."),
        (1800.0, "after 30 min, not the 2 h asked for."),
    ],
)
def test_a_hold_that_cools_is_a_rest_up_to_its_least_time(hot_s: float, when: str) -> None:
    note = hold_note(piece(1800.0, 7200.0), 58.2, hot_s)
    start = "Loin in its kitchen falls below the hot-holding limit "
    assert shown(note, "C") == f"{start}(58.2 °C with the probe's error) {when}"


@pytest.mark.parametrize(
    ("least_s", "words"),
    [
        (0.0, "kitchen, no rest asked for"),
        # A rest is never said to be shorter than it must be.
        (601.0, "kitchen, at least 11 min"),
        (600.0, "kitchen, at least 10 min"),
    ],
)
def test_a_rest_is_said_at_its_least(least_s: float, words: str) -> None:
    assert shown(hold_words(piece(least_s, 3600.0)), "C") == words


@pytest.mark.parametrize(
    ("place", "changes", "said"),
    [
        ("box", {}, True),
        ("kitchen", {}, False),
        ("box", {"wrap": "foil", "wrap_at_core_c": 60.0}, False),
        ("kitchen", {"wrap": "foil", "wrap_at_core_c": 60.0}, False),
    ],
)
def test_only_a_bare_piece_is_wrapped_for_its_box(place: str, changes, said: bool) -> None:
    told = [shown(one, "C") for one in
            assumptions(PitPlan(), (piece(600.0, 600.0, place, **changes),), 40)]  # fmt: skip
    assert ("A bare piece is wrapped in foil for the box." in told) is said
    assert not any("turned up" in one for one in told)
    assert told[0].startswith("40 draws of piece, meat, pit and weather")
