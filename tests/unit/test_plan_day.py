"""The arithmetic under a plan: draws written down by hand, and what is counted of them."""

from __future__ import annotations

import dataclasses
import datetime as dt
import math
from types import SimpleNamespace

import numpy as np
import pytest

import coreward as cw
from coreward.questions.plan.answer import (
    Hold,
    PitPlan,
    PlannedPiece,
    Wanted,
    _as_wanted,
    _band,
    _curve,
    _Day,
    _first_at,
    _leads,
    _light_window,
    _steps,
    _tops,
    _wait,
    _windowed,
)
from coreward.questions.plan.cooks import (
    PieceCooks,
    _Cooked,
    _hottest_enough,
    _share,
    _stays,
    crossings,
    enough_after,
    pit_air,
)
from coreward.questions.plan.day import OddsCurve
from coreward.questions.plan.inputs import checked_chance

pytestmark = pytest.mark.quick

INF, NAN = math.inf, math.nan
HOUR = 3600.0


def flank(**changes) -> PlannedPiece:
    fields = {
        "piece": cw.Piece(cw.Slab(0.03), cw.meat("beef brisket flat"), 4.0),
        "wanted": Wanted(80.0, lethality=False),
        "mass_kg": 2.0,
        "hold": Hold("kitchen", 600.0, 3600.0),
        "slicing_s": 300.0,
    } | changes
    return PlannedPiece("flank", **fields)


def day(pull_s: list[list[float]], **changes) -> _Day:
    """Return a day served at 36 000 s, whose clock is told in whole steps of 300 s."""
    pulls = np.array(pull_s)
    fields = {
        "serve": 36_000.0,
        "warm_s": np.zeros(pulls.shape[1]),
        "pull_s": pulls,
        "least_s": np.zeros((len(pulls), 1)),
        "most_s": np.full((len(pulls), 1), 1e6),
        "not_before": np.full(len(pulls), -INF),
        "first_light": -INF,
        "warm_up": 1200.0,
    } | changes
    return _Day(**fields)


# -- lighting and putting on -----------------------------------------------------------------


@pytest.mark.parametrize(
    ("changes", "leads", "light", "on"),
    [
        # Down to whole steps, and the fire so long before the first piece.
        ({}, [7000.0, 3601.0], 27_600.0, [28_800.0, 32_100.0]),
        ({"warm_up": 1201.0}, [7000.0, 3600.0], 27_300.0, [28_800.0, 32_400.0]),
        # A piece that comes late: the others go on as they would.
        ({"not_before": np.array([30_000.0, -INF])}, [7000.0, 3600.0],
         28_800.0, [30_000.0, 32_400.0]),
        # A fire that cannot be lit before: what is hurt by it goes on when it is warm.
        ({"first_light": 30_900.0}, [7000.0, 3600.0], 30_900.0, [32_100.0, 32_400.0]),
    ],
)  # fmt: skip
def test_a_fire_is_lit_for_the_first_piece(changes, leads, light: float, on) -> None:
    lit, put_on = day([[HOUR], [HOUR]], **changes).times(np.array(leads), 36_000.0)
    assert (lit, list(put_on)) == (light, on)


@pytest.mark.parametrize(
    ("changes", "shift", "light", "on"),
    [
        ({}, 0.0, 27_600.0, [28_800.0, 32_400.0]),
        ({}, 600.0, 28_200.0, [29_400.0, 33_000.0]),
        ({}, -600.0, 27_000.0, [28_200.0, 31_800.0]),
        ({"not_before": np.array([28_500.0, -INF])}, -600.0, 27_300.0, [28_500.0, 31_800.0]),
        ({"first_light": 27_300.0}, -600.0, 27_300.0, [28_500.0, 31_800.0]),
        # Lit late as it is planned, all is put on later from there.
        ({"first_light": 30_900.0}, 600.0, 31_500.0, [32_700.0, 33_000.0]),
    ],
)
def test_a_day_is_moved_as_a_whole(changes, shift: float, light: float, on) -> None:
    one = day([[HOUR], [HOUR]], **changes)
    lit, put_on = one.shifted(np.array([7200.0, 3600.0]), shift)
    assert (lit, list(put_on)) == (light, on)


def test_a_slow_fire_keeps_pieces_waiting() -> None:
    one = day([[HOUR] * 3], warm_s=np.array([600.0, 1200.0, 1800.0]))
    assert one.actual_on(1000.0, np.array([2200.0])).tolist() == [[2200.0, 2200.0, 2800.0]]


def test_on_the_second_is_ready_and_not_too_early() -> None:
    pulls = [[3000.0, 3001.0, 1000.0, 999.0]]
    one = day(pulls, least_s=np.array([[600.0]]), most_s=np.array([[2600.0]]))
    ready, early = one.judge(0.0, np.zeros(1), 3600.0)
    assert ready.tolist() == [[True, False, True, True]]
    assert early.tolist() == [[False, False, False, True]]


def test_the_least_lead_is_taken_that_gives_the_chance_wanted() -> None:
    """Ten draws that need 1 to 10 times 1200 s; nine of them by nine times as long."""
    pulls = [[1200.0 * n for n in range(1, 11)]]
    assert list(_leads(day(pulls), 0.9, {})) == [10_800.0]
    assert list(_leads(day(pulls), 0.5, {})) == [6000.0]
    # A hold that bears no wait of more than 9600 s: the earliest lead that has both.
    short = day(pulls, most_s=np.array([[9600.0]]))
    assert list(_leads(short, 0.9, {})) == [10_800.0]
    # A hold that bears none at all: being ready comes first.
    none = day(pulls, most_s=np.array([[0.0]]))
    assert list(_leads(none, 0.9, {})) == [10_800.0]
    # Two in ten never: as near as it gets, the lead that the last of the others needs.
    never = day([[1200.0 * n for n in range(1, 9)] + [INF, INF]])
    assert list(_leads(never, 0.5, {})) == [6000.0]


def test_of_two_pieces_both_are_ready_in_the_chance_wanted() -> None:
    """Where the slow draws of one are the quick ones of the other, each must have more."""
    up = [1200.0 * n for n in range(1, 11)]
    leads = _leads(day([up, up[::-1]]), 0.8, {})
    assert list(leads) == [10_800.0, 10_800.0]
    assert list(_leads(day([up, up]), 0.8, {})) == [9600.0, 9600.0]


def test_the_curve_counts_ready_and_too_early_at_each_shift() -> None:
    """Pulled 0, 600, 1200 and 1800 s before the hour, with a hold of 900 s."""
    one = day([[1800.0, 1200.0, 600.0, 0.0]], most_s=np.array([[900.0]]))
    curve = _curve(one, np.array([1800.0]))
    for shift, ready, kept, early in (
        (0.0, 1.0, 0.5, 0.5),
        (300.0, 0.75, 0.5, 0.25),  # 900 s are not too long
        (600.0, 0.75, 0.5, 0.25),
        (-900.0, 1.0, 0.25, 0.75),
        (2100.0, 0.0, 0.0, 0.0),
    ):
        assert curve.at(shift) == (ready, kept, early)
        assert shift in curve.shift_s


# -- what is told of it ------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("kept", "earliest", "window"),
    [
        ([0.2, 0.9, 0.9, 0.95, 0.89], -INF, (-300.0, 300.0)),
        # Just the chance wanted is enough; a break in it ends the window.
        ([0.9, 0.89, 0.9, 0.9, 0.9], -INF, (0.0, 600.0)),
        ([0.9, 0.9, 0.9, 0.9, 0.9], -INF, (-600.0, 600.0)),
        ([0.9, 0.9, 0.9, 0.9, 0.9], -300.0, (-300.0, 600.0)),
        ([0.9, 0.9, 0.9, 0.9, 0.9], -299.0, (0.0, 600.0)),
        ([0.9, 0.9, 0.89, 0.9, 0.9], -INF, (0.0, 0.0)),
    ],
)
def test_a_fire_may_be_lit_as_long_as_the_odds_hold(kept, earliest: float, window) -> None:
    shifts, odds = np.arange(-600.0, 601.0, 300.0), np.array(kept)
    assert _light_window(OddsCurve(shifts, odds, odds, odds), 0.9, earliest) == window


def test_a_window_holds_the_middle_draws_of_those_that_come() -> None:
    """The table leaves a tenth out on either side, of the draws that come at all."""
    seconds = np.array([60.0 * n for n in range(1, 11)] + [INF] * 10)
    (step,) = _windowed("pull", "flank", seconds, lambda s: s, "note")
    assert (step.earliest, step.planned, step.latest) == (60.0, 300.0, 540.0)
    assert (step.kind, step.piece, step.note) == ("pull", "flank", "note")
    # Nine of all twenty.
    assert step.chance == 0.45
    assert _windowed("pull", "flank", np.array([INF]), lambda s: s) == []


def test_the_longest_wait_is_of_those_that_are_ready() -> None:
    """Rest of 600 s and slicing of 300 s before 36 000 s: pulled by 35 100 s at the latest."""
    pulled = np.array([35_100.0, 35_101.0, 30_000.0, INF])
    assert _wait(flank(), pulled, 36_000.0, 0.9) == 5700.0
    assert _wait(flank(), pulled, 36_000.0, 0.5) == 600.0
    assert _wait(flank(), np.array([35_101.0]), 36_000.0, 0.9) == 0.0


def cook(**changes) -> PieceCooks:
    four = np.full(4, NAN)
    fields = {
        "pull_core_c": 80.0, "pull_then_s": 0.0, "wrap_s": four, "pull_s": np.full(4, HOUR),
        "highest_c": np.full(4, 80.0), "loss": np.full(4, 0.2),
        "crust_activity": np.full(4, 0.8), "tenderness": four, "come_up_s": np.full(4, HOUR),
        "time_s": np.zeros(1), "core_c": np.zeros((4, 1)),
    } | changes  # fmt: skip
    return PieceCooks(**fields)


@pytest.mark.parametrize(
    ("wanted", "changes", "good"),
    [
        ({}, {"pull_s": np.array([1.0, INF, NAN, 2.0])}, [1, 0, 0, 1]),
        ({"most_loss": 0.2}, {"loss": np.array([0.2, 0.2001, NAN, 0.1])}, [1, 0, 0, 1]),
        (
            {"crust_activity": 0.8},
            {"crust_activity": np.array([0.8, 0.8001, NAN, 0.1])},
            [1, 0, 0, 1],
        ),
        # The come-up counts where hold tables are waited for: six hours, by FSIS Appendix A.
        (
            {"lethality": True},
            {"come_up_s": np.array([6 * HOUR, 6 * HOUR + 1.0, INF, 1.0])},
            [1, 0, 0, 1],
        ),
        ({"lethality": False}, {"come_up_s": np.full(4, INF)}, [1, 1, 1, 1]),
    ],
)
def test_a_draw_is_as_wanted_up_to_its_limits(wanted, changes, good) -> None:
    item = flank(wanted=Wanted(80.0, **({"lethality": False} | wanted)))
    assert _as_wanted(item, cook(**changes)).tolist() == [bool(one) for one in good]


def test_no_come_up_is_asked_of_what_no_table_covers() -> None:
    fish = cw.Piece(cw.Slab(0.03), cw.meat("salmon side"), 4.0)
    item = flank(piece=fish, wanted=Wanted(60.0))
    assert _as_wanted(item, cook(come_up_s=np.full(4, INF))).all()


def test_steps_of_a_piece_follow_each_other() -> None:
    """On at 1000 s, wrapped after 600 s, pulled after an hour, on the plates at 36 000 s."""
    item = flank(wrap="foil", wrap_at_core_c=60.0)
    one = cook(wrap_s=np.array([600.0, 600.0, 600.0, HOUR]))
    on = np.array([1000.0, 1000.0, 1000.0, 1000.0])
    steps = _steps(item, one, one.pull_s, "core 80", 1000.0, on, 36_000.0, lambda s: s)
    assert [(s.kind, s.planned) for s in steps] == [
        ("on", 1000.0), ("wrap", 1600.0), ("pull", 4600.0), ("hold", 4600.0),
        ("slice", 35_700.0),
    ]  # fmt: skip
    # The draw that would be wrapped at its pull is not wrapped; the three others are.
    assert steps[1].chance == 0.75
    late = _steps(item, one, one.pull_s, "core 80", 1000.0, on, 5000.0, lambda s: s)
    # Pulled late, it rests all the same.
    assert late[-1].planned == 5200.0
    assert late[0].note == ""
    never = _steps(item, one, np.full(4, INF), "", 1000.0, on, 5000.0, lambda s: s)
    assert [s.kind for s in never] == ["on", "wrap"]
    slow = np.array([1000.0, 1000.0, 1000.0, 3000.0])
    told = dataclasses.replace(item, not_before=dt.datetime(2026, 1, 1, tzinfo=dt.UTC))
    first = _steps(told, one, one.pull_s, "", 1000.0, slow, 5000.0, lambda s: s)[0]
    assert first.note == "as soon as it is there"
    # The latest is where nine draws in ten have it on, between 1000 and 3000 s.
    assert first.latest == pytest.approx(1000.0 + 0.7 * 2000.0)


def test_bands_and_first_times_of_draws() -> None:
    assert _band(np.array([NAN, 0.0, 1.0, 2.0])) == pytest.approx((0.1, 1.0, 1.9))
    assert all(math.isnan(one) for one in _band(np.array([NAN])))
    core = np.array([[4.0, 60.0, 59.0], [NAN, NAN, NAN], [4.0, 61.0, NAN]])
    assert _tops(SimpleNamespace(core_c=core)).tolist() == [60.0, -273.0, 61.0]
    times = np.array([0.0, 300.0, 600.0])
    assert _first_at(times, core[0], 60.0) == 300.0
    assert _first_at(times, core[0], 60.1) == INF


# -- the cooks ----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("after_s", "late_s", "at", "air"),
    [
        (HOUR, 0.0, [0.0, 3600.0, 4500.0, 36_000.0], [110.0, 110.0, 150.0, 150.0]),
        # A later piece meets it sooner; within the ramp, part of the way up.
        (HOUR, 3900.0, [0.0, 600.0, 36_000.0], [110.0 + 40.0 / 3.0, 150.0, 150.0]),
        (HOUR, 4500.0, [0.0, 36_000.0], [150.0, 150.0]),
        (0.5, 0.0, [0.0, 0.5, 900.5, 36_000.0], [110.0, 110.0, 150.0, 150.0]),
        (40_000.0, 0.0, [0.0, 36_000.0], [110.0, 110.0]),
        (35_550.0, 0.0, [0.0, 35_550.0, 36_000.0], [110.0, 110.0, 130.0]),
    ],
)
def test_a_pit_is_turned_up_within_a_quarter_of_an_hour(after_s, late_s, at, air) -> None:
    pit = PitPlan(110.0, turn_up_c=150.0, turn_up_after_s=after_s)
    times, values = pit_air(pit, late_s, 36_000.0)
    assert times.tolist() == at
    assert values == pytest.approx(air)
    times, values = pit_air(PitPlan(110.0), late_s, 36_000.0)
    assert (times.tolist(), values.tolist()) == ([0.0, 36_000.0], [110.0, 110.0])


def test_a_core_crosses_levels_between_its_readings() -> None:
    time, core = np.array([0.0, 100.0, 200.0, 300.0]), np.array([10.0, 20.0, 20.0, 40.0])
    found = crossings(time, core, np.array([5.0, 10.0, 15.0, 20.0, 30.0, 40.0, 40.1]))
    assert found.tolist() == [0.0, 0.0, 50.0, 100.0, 250.0, 300.0, INF]
    # The first row that is through counts: 150 s from 15 °C, or 10 s from 30 °C.
    rows = np.array([15.0, 30.0])
    assert enough_after(time, core, rows, np.array([150.0, 10.0])) == 200.0
    assert enough_after(time, core, rows, np.array([250.0, 10.0])) == 260.0


def drawn(enough_s: float, core_c: tuple[float, ...] = (0.0, 50.0, 100.0)) -> _Cooked:
    """Return a draw that warms by 50 °C in an hour, or as given."""
    time, core = np.array([0.0, HOUR, 2 * HOUR]), np.array(core_c)
    return _Cooked(None, None, None, time, core, np.maximum.accumulate(core), enough_s)


def test_the_rule_of_a_pull_is_the_one_of_the_worst_draw() -> None:
    flat = drawn(5400.0, (0.0, 40.0, 40.0))
    found = [drawn(HOUR), None, drawn(4320.0), drawn(INF), drawn(-INF), flat]
    # 4320 s are at 60 °C on the curve; what never is through, or needs nothing, is not asked.
    assert _hottest_enough(found) == pytest.approx(60.0)
    assert _hottest_enough([None, drawn(-INF)]) == -INF
    # From 50 °C on: none, 720 s; what does not get there has no stay. In steps of 300 s.
    assert _stays(found, 50.0) == 900.0
    assert _stays(found, 40.0) == 1800.0  # 5400 s, where the flat one was there after 3600 s
    assert _stays([drawn(HOUR)], 50.0) == 0.0
    assert _stays([drawn(HOUR)], 60.0) == 0.0  # through before it is there
    assert _stays([None], 50.0) == 0.0


def test_draws_are_pulled_within_the_longest_cook_or_not() -> None:
    found = [drawn(HOUR), None, drawn(INF), drawn(-INF)]
    # 60 °C after 4320 s; the draw whose tables are never through is not pulled.
    assert _share(found, 4320.0, 60.0, 0.0) == 0.5
    assert _share(found, 4319.0, 60.0, 0.0) == 0.0
    assert _share(found, 4620.0, 60.0, 300.0) == 0.5
    assert _share(found, 4620.0, 60.0, 301.0) == 0.0


@pytest.mark.parametrize(("chance", "wanted"), [(0.5, True), (0.99, True), (0.499, False),
                                                (0.991, False)])  # fmt: skip
def test_a_chance_is_wanted_from_even_on(chance: float, wanted: bool) -> None:
    if wanted:
        assert checked_chance(chance) == chance
        return
    with pytest.raises(cw.InputError, match=r"give one between 0\.5 and 0\.99"):
        checked_chance(chance)
