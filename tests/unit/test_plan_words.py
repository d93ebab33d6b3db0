"""What a plan says of rests and holds, at the times where another sentence begins."""

from __future__ import annotations

import datetime as dt
import math
from types import SimpleNamespace
from zoneinfo import ZoneInfo

import numpy as np
import pytest

import coreward as cw
from coreward.questions.plan.answer import Hold, PitPlan, PlannedPiece, Wanted
from coreward.questions.plan.day import OddsCurve
from coreward.questions.plan.words import (
    assumptions,
    cannot_be,
    cannot_have,
    clock_text,
    hold_note,
    hold_words,
    past_words,
    pull_words,
    sentences,
    uncomputed,
    wrap_words,
)
from coreward.words import shown

LONDON = ZoneInfo("Europe/London")
SERVE = dt.datetime(2026, 10, 24, 18, 30, tzinfo=LONDON)


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


# -- what stands beside a step, and what cannot be -------------------------------------------


@pytest.mark.parametrize(
    ("core_c", "then_s", "softened", "words"),
    [
        (80.0, 0.0, False, "core 80 °C"),
        (80.0, 0.0, True, "core 80 °C and tender"),
        # The time on top is said even where the core is another than the wish.
        (80.0, 121.0, False, "core 80 °C and 3 min more, for the hold tables"),
        (85.0, 300.0, False, "core 85 °C and 5 min more, for the hold tables"),
        (85.0, 0.0, False, "core 85 °C (80 °C was wanted; the hold tables ask for more)"),
        (70.0, 0.0, True, "core 70 °C and tender (80 °C was wanted and cannot be)"),
    ],
)
def test_a_pull_is_said_with_what_differs_from_the_wish(
    core_c: float, then_s: float, softened: bool, words: str
) -> None:
    wanted = Wanted(80.0, tenderness=0.5, lethality=False)
    item = piece(600.0, 600.0, wanted=wanted)
    assert shown(pull_words(item, core_c, then_s, softened=softened), "C") == words
    plain = pull_words(piece(600.0, 600.0), core_c, then_s, softened=softened)
    assert shown(plain, "C") == words.replace(" and tender", "")


def test_a_wrap_is_said_with_its_core() -> None:
    item = piece(600.0, 600.0, wrap="paper", wrap_at_core_c=66.0)
    assert shown(wrap_words(item), "C") == "in paper, core 66 °C"
    assert shown(wrap_words(item), "F") == "in paper, core 151 °F"


@pytest.mark.parametrize(
    ("pit", "why"),
    [
        (PitPlan(75.0), "the pit of 75 °C is 5.0 K colder than that"),
        # As hot as the wish is not hot enough: a core only nears its pit.
        (PitPlan(80.0), "the pit of 80 °C is 0.0 K colder than that"),
        (
            PitPlan(70.0, turn_up_c=78.0, turn_up_after_s=60.0),
            "the pit of 78 °C is 2.0 K colder than that",
        ),
        (
            PitPlan(70.0, turn_up_c=80.5, turn_up_after_s=60.0),
            "in 25% of the draws it is not ready within the longest cook (36 h)",
        ),
    ],
)
def test_a_core_that_cannot_be_says_why_and_what_is_nearest(pit: PitPlan, why: str) -> None:
    assert shown(cannot_be(piece(600.0, 600.0), pit, 0.25, 71.0), "C") == (
        f"Loin cannot be at 80 °C with the chance wanted: {why}. Nearest possible in this pit: "
        "a core of 71 °C, 9.0 K short; or a hotter pit, an earlier wrap or a smaller piece."
    )


@pytest.mark.parametrize(
    ("wished", "softening", "what"),
    [
        (0.8, 0.799, "softening (79 % of the way to tender is what it reaches)"),
        (0.8, 0.8, "hold"),
        (None, math.nan, "hold"),
    ],
)
def test_a_wish_beside_the_core_that_cannot_be_is_named(wished, softening, what) -> None:
    item = piece(600.0, 600.0, wanted=Wanted(80.0, tenderness=wished, lethality=False))
    assert shown(cannot_have(item, 0.4, softening), "C") == (
        f"Loin cannot have the {what} that is wanted: in 40% of the draws it is not ready "
        "within the longest cook (36 h). Nearest possible: the core of 80 °C without it; or a "
        "hotter pit."
    )


def test_draws_that_failed_are_counted() -> None:
    words = shown(uncomputed(piece(600.0, 600.0), 7, 40), "C")
    assert words.startswith("Loin is never ready in what was computed (7 of 40 draws failed): ")


@pytest.mark.parametrize(
    ("first", "said"),
    [
        (None, ()),
        (SERVE - dt.timedelta(seconds=1), ()),
        (SERVE, ("Too late for 18:30: the fire cannot be lit before 18:30.",)),
        (
            dt.datetime(2026, 10, 25, 0, 15, tzinfo=dt.UTC),
            ("Too late for 18:30: the fire cannot be lit before Sun 01:15.",),
        ),
    ],
)
def test_an_hour_is_past_from_when_the_fire_can_first_be_lit(first, said) -> None:
    assert past_words(SERVE, first) == said


@pytest.mark.parametrize(
    ("moment", "words"),
    [
        (SERVE, "18:30"),
        (dt.datetime(2026, 10, 23, 6, 5, tzinfo=LONDON), "Fri 06:05"),
        (dt.datetime(2026, 10, 25, 6, 5, tzinfo=LONDON), "Sun 06:05 GMT"),
        (dt.datetime(2026, 10, 24, 6, 5, tzinfo=dt.UTC), "06:05 UTC"),
    ],
)
def test_a_clock_names_the_day_and_the_zone_that_differ(moment, words: str) -> None:
    assert clock_text(moment, SERVE) == words


# -- the sentences of a plan -----------------------------------------------------------------


def outlook(**changes) -> SimpleNamespace:
    """Return a piece of which nothing is to be said."""
    fields = {
        "item": piece(600.0, 7200.0),
        "pull_core_c": 80.0,
        "pull_then_s": 0.0,
        "possible": True,
        "chance_ready": 0.9,
        "chance_as_wanted": 0.9,
        "chance_come_up": 1.0,
        "step": lambda kind: None,
        "hold_note": "",
        "wait_s": 3600.0,
        "most_hold_s": 3600.0,
        "loss": (0.1, 0.15, 0.254),
        "crust_activity": (0.712, 0.8, 0.876),
    } | changes
    return SimpleNamespace(**fields)


def told(*pieces: SimpleNamespace, **changes) -> list[str]:
    """Return the sentences of a plan that is lit at 06:30, with no span for that."""
    lit = SERVE - dt.timedelta(hours=12)
    fields = {
        "serve_at": SERVE,
        "light": SimpleNamespace(planned=lit, earliest=lit, latest=lit),
        "chance_wanted": 0.9,
        "chance_ready": 0.95,
        "chance_in_hold": 0.93,
        "chance_too_early": 0.03,
        "curve": OddsCurve(
            np.array([-3600.0, 0.0, 3600.0]),
            np.array([0.97, 0.95, 0.51]),
            np.array([0.8, 0.93, 0.5]),
            np.array([0.12, 0.03, 0.0]),
        ),
        "pieces": pieces or (outlook(),),
        "warnings": (),
        "not_before": None,
        "nearest_serve_at": None,
        "keeps_chance": True,
    } | changes
    return [shown(one, "C") for one in sentences(SimpleNamespace(**fields))]


LEAD = (
    "Light the fire at 06:30 to serve at 18:30 on Saturday 24 October: ready by then in 95 in "
    "100; it is done too early for its hold in less than 10 in 100."
)
EARLIER = "Lit an hour earlier: ready in 97 in 100, too early for a hold in 12 in 100."
LATER = "Lit an hour later: ready in 51 in 100, too early for a hold in less than 10 in 100."
LIT = SERVE - dt.timedelta(hours=12)


def test_a_plan_without_trouble_says_when_to_light_and_what_an_hour_does() -> None:
    assert told() == [LEAD, EARLIER, LATER]


@pytest.mark.parametrize(
    ("first", "said"),
    [(LIT - dt.timedelta(hours=1), [EARLIER, LATER]), (LIT, [LATER])],
)
def test_what_an_hour_earlier_does_is_said_where_it_can_be_lit(first, said) -> None:
    assert told(not_before=first) == [LEAD, *said]


def test_a_span_for_lighting_is_said_with_the_chance_wanted() -> None:
    minutes = dt.timedelta(minutes=1)
    light = SimpleNamespace(planned=LIT, earliest=LIT - 20 * minutes, latest=LIT + 10 * minutes)
    span = "Lit between 06:10 and 06:40 the odds stay at 90 in 100 or better."
    assert told(light=light) == [LEAD, span, EARLIER, LATER]


def pulled_at(moment: dt.datetime):
    return lambda kind: SimpleNamespace(planned=moment) if kind == "pull" else None


LOSSY = piece(600.0, 600.0, wanted=Wanted(80.0, most_loss=0.2, lethality=False))
CRISP = piece(600.0, 600.0, wanted=Wanted(80.0, crust_activity=0.75))
LATE = piece(600.0, 600.0, not_before=SERVE - dt.timedelta(hours=3))


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        # Hold tables that ask for more.
        (
            {"pull_core_c": 85.0},
            "Loin is pulled at a core of 85 °C and not of 80 °C: only there are the hold "
            "tables met in every draw.",
        ),
        (
            {"pull_then_s": 601.0},
            "Loin is pulled 11 min after a core of 80 °C: only then are the hold tables met in "
            "every draw.",
        ),
        ({"pull_core_c": 79.0}, None),
        ({"pull_core_c": 85.0, "possible": False}, None),
        # A piece that comes late.
        (
            {"item": LATE, "chance_ready": 0.899},
            "Loin comes late: with it the hour is kept in 89 in 100 only.",
        ),
        ({"item": LATE, "chance_ready": 0.9}, None),
        ({"chance_ready": 0.5}, None),
        ({"item": LATE, "chance_ready": 0.5, "possible": False}, None),
        # Pulled when all should be eating.
        (
            {"step": pulled_at(SERVE + dt.timedelta(minutes=1))},
            "Loin is pulled at about 18:31, after the serving hour.",
        ),
        ({"step": pulled_at(SERVE)}, None),
        # Limits that are not kept.
        (
            {"item": LOSSY, "chance_as_wanted": 0.899},
            "Loin is as wanted in 89 in 100 only: loss 10% to 25%, wanted 20%.",
        ),
        ({"item": LOSSY, "chance_as_wanted": 0.9}, None),
        ({"item": LOSSY, "chance_as_wanted": 0.2, "possible": False}, None),
        (
            {"item": CRISP, "chance_as_wanted": 0.3, "chance_come_up": 0.42},
            "Loin is as wanted in 30 in 100 only: water activity of the crust 0.71 to 0.88, "
            "wanted 0.75; come-up within the published limit in 42 in 100.",
        ),
        (
            {"item": CRISP, "chance_as_wanted": 0.3},
            "Loin is as wanted in 30 in 100 only: water activity of the crust 0.71 to 0.88, "
            "wanted 0.75.",
        ),
    ],
)
def test_what_is_said_of_a_piece_and_from_where_on(changes, said: str | None) -> None:
    assert set(told(outlook(**changes))) - {LEAD, EARLIER, LATER} == ({said} - {None})


def test_the_nearest_hour_and_the_waits_come_last() -> None:
    long = outlook(wait_s=3601.0, most_hold_s=3599.0, hold_note="A note.")
    fine = outlook(wait_s=3600.0, most_hold_s=3600.0)
    nearest = SERVE + dt.timedelta(minutes=45)
    ask = {"nearest_serve_at": nearest, "keeps_chance": False}
    late = told(long, fine, chance_ready=0.899, **ask)
    wait = "loin may have to wait 1 h 01 min and its hold allows 59 min"
    assert late[3:] == [
        "18:30 cannot be kept with the chance wanted. Nearest possible: serve at 19:15.",
        "A note.",
        f"Lit then, {wait}.",
    ]
    ready = told(long, fine, chance_ready=0.9, **ask)
    assert ready[-1].startswith(f"To be ready with the chance wanted, {wait}. A log narrows")
    # Where the chance is kept, or no piece waits too long, no wait is said.
    assert told(long, keeps_chance=True) == [*told(), "A note."]
    assert told(fine, keeps_chance=False) == told()
    assert told(warnings=("Beware.",)) == ["Beware.", *told()]
