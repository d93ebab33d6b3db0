"""Cooling limits by the model, never on the careless side."""

from __future__ import annotations

import math

import numpy as np
import pytest

import coreward as cw
from coreward import tables
from coreward.cook.rest import rest_stage
from coreward.errors import InputError
from coreward.physics.growth import growth_bound
from coreward.questions.chill import answer as chilling_module
from coreward.questions.chill.answer import (
    Chilling,
    _comes_and_goes,
    chilling,
    chilling_plan,
    cooling_rule,
)
from coreward.questions.rest.holding import hot_holding_limit
from coreward.words import CUSTOMARY, Held, Needed

pytestmark = pytest.mark.quick

PIECE = cw.Piece(cw.Cylinder(0.12), cw.meat("beef brisket flat"), 75.0)
QUICK = {"cells": 30, "tolerance": 0.05}
HOUR = 3600.0


@pytest.fixture(scope="module")
def iced() -> Chilling:
    return chilling(PIECE, [], "ice bath", **QUICK)


@pytest.fixture(scope="module")
def cooked() -> list[cw.Stage]:
    """A cook in a bath, for the piece from the cold."""
    return [rest_stage("water bath", 40 * HOUR, piece=RAW, air_c=76.0, until_core_c=74.0)]


RAW = cw.Piece(cw.Cylinder(0.11), cw.meat("beef round"), 4.0)


def test_the_joint_that_was_measured_is_not_called_met(cooked):
    """Rolled joints of 110 mm took 4.9 to 5.1 h from 70 to 10 °C in air of 0 °C at 1.2 m/s

    (James and James, table 16.7); the model said 3.95 h from 57 to 5 °C and "met", with
    1.75 of the 2 h of the first leg.
    """
    c = chilling(RAW, cooked, "chiller", **QUICK)
    assert c.state == "cannot tell"
    assert "may or may not meet" in str(c.sentence)
    # The air of the chiller, and not of the bath before it.
    chiller_c = tables.load("rest", "chiller")["air_c"]
    assert f"the place keeps its temperature of {chiller_c:.0f} °C" in str(c.sentence)
    top = int(np.argmax(c.hottest_c))
    fall = [float(np.interp(-at, -c.hottest_c[top:], c.time_s[top:])) for at in (70.0, 10.0)]
    assert fall[1] - fall[0] < 4.9 * HOUR < 5.1 * HOUR
    u = tables.load("holding")
    assert u["slow_cooked"] * (fall[1] - fall[0]) > 5.1 * HOUR
    # A joint that is stated to be hot sweats no more and is no faster than those were.
    hot = chilling(cw.Piece(RAW.shape, RAW.material, 74.0), [], "chiller", **QUICK)
    assert hot.legs[1].elapsed_s > 4.9 * HOUR
    assert hot.state != "met"


def test_the_range_of_a_leg_is_that_of_measured_joints(iced, cooked):
    u = tables.load("holding")
    for leg in iced.legs:
        assert leg.elapsed_s == leg.end_s - leg.begin_s
        assert leg.longest_s == pytest.approx(u["slow_uniform"] * leg.elapsed_s)
        assert leg.shortest_s == pytest.approx(u["fast_uniform"] * leg.elapsed_s)
    for leg in chilling(RAW, cooked, "ice bath", **QUICK).legs:
        assert leg.longest_s == pytest.approx(u["slow_cooked"] * leg.elapsed_s)
        assert leg.shortest_s == pytest.approx(u["fast_cooked"] * leg.elapsed_s)


def test_met_only_by_the_slow_end_and_not_met_only_by_the_fast_one():
    seen = set()
    for size in np.arange(0.04, 0.24, 0.02):
        piece = cw.Piece(cw.Cylinder(float(size)), PIECE.material, 75.0)
        for leg in chilling(piece, [], "ice bath", **QUICK).legs:
            seen.add(leg.state)
            assert (leg.state == "met") == (leg.longest_s <= leg.limit.limit_s)
            assert (leg.state == "not met") == (leg.shortest_s > leg.limit.limit_s)
    assert seen == {"met", "cannot tell", "not met"}


def test_a_band_is_read_at_its_longest():
    """From the first fall below its upper end to the last time above its lower one."""
    limit = cooling_rule()[0]  # 57.2 to 21.1 °C
    time = np.array([0.0, 100.0, 200.0, 300.0, 400.0, 500.0])
    curve = np.array([60.0, 50.0, 60.0, 20.0, 30.0, 10.0])
    begin, end = _comes_and_goes(time, curve, limit, 0.0)
    assert begin == pytest.approx(100.0 * (60.0 - limit.from_c) / 10.0)
    assert end == pytest.approx(400.0 + 100.0 * (30.0 - limit.to_c) / 20.0)
    wider = _comes_and_goes(time, curve, limit, 1.0)
    assert wider[0] < begin
    assert wider[1] > end
    # A sample at the very limit has left the band, and has come into it.
    exact = np.array([60.0, limit.from_c, 40.0, limit.to_c])
    assert _comes_and_goes(time[:4], exact, limit, 0.0) == (100.0, 300.0)
    # Cold from the start: the whole record; never cold enough: without end.
    assert _comes_and_goes(time, curve - 10.0, limit, 0.0)[0] == 0.0
    assert _comes_and_goes(time, curve + 40.0, limit, 0.0)[1] == math.inf
    assert _comes_and_goes(time, curve + 50.0, limit, 0.0) == (math.inf, math.inf)
    assert _comes_and_goes(time, np.full(6, 10.0), limit, 0.0) == (0.0, 0.0)


def test_the_sentence_gives_every_number_in_the_units_of_the_reader(iced):
    leg = iced.legs[0]
    said = iced.sentence.shown("C")
    minutes = math.ceil(leg.elapsed_s / 60.0)
    assert f"57.2 °C to 21.1 °C in {minutes // 60} h {minutes % 60:02d} min" in said
    fast = Held(leg.shortest_s).shown("C")
    slow = Needed(leg.longest_s).shown("C")
    assert f"by what measured joints show {fast} to {slow} (limit 2 h)" in said
    assert "57.2 °C to 5 °C in" in said
    assert "(limit 6 h)" in said
    assert "the place keeps its temperature of 1 °C" in said
    assert "probe error 0 K" in said
    assert "between 0.5 and 1.4 times" in said
    assert "an outlook and no measurement" in said
    in_f = iced.sentence.shown("F")
    assert "135 °F to 70 °F in" in in_f
    assert "135 °F to 41 °F in" in in_f
    assert "°C" not in in_f
    odd = chilling(PIECE, [], "ice bath", rule="fsis cooling 1999 rapid", **QUICK)
    assert "130 °F to 80 °F in" in odd.sentence.shown("F")
    assert "(limit 1 h 30 min)" in odd.sentence.shown("F")
    assert "probe error 1.8 °F" in chilling(
        PIECE, [], "ice bath", probe_error_k=1.0, **QUICK
    ).sentence.shown("F")


@pytest.mark.parametrize(
    ("shape", "half"),
    [
        (cw.Slab(0.1), cw.Slab(0.05)),
        (cw.Cylinder(0.1), cw.Cylinder(0.1 / math.sqrt(2.0))),
        (cw.Sphere(0.1), cw.Sphere(0.1 / 2.0 ** (1.0 / 3.0))),
    ],
)
def test_half_of_a_piece_has_half_its_volume_and_the_heat_of_the_hottest_place(shape, half):
    raw = cw.Piece(shape, RAW.material, 60.0)
    rest = rest_stage("kitchen", HOUR, piece=raw)
    before = cw.simulate(raw, rest, **QUICK)
    c = chilling(raw, rest, "chiller", cut="halved", **QUICK)
    assert c.result.piece.shape.size == pytest.approx(half.size)
    assert type(c.result.piece.shape) is type(half)
    hottest = float(before.temperature_c[-1].max())
    assert c.result.piece.start_c == pytest.approx(hottest)
    # What rested before the cut counts by the spread of a piece that goes on.
    leg, u = c.legs[1], tables.load("holding")
    assert leg.begin_s < 0.0
    assert leg.longest_s == pytest.approx(
        u["slow_cooked"] * -leg.begin_s + u["slow_uniform"] * leg.end_s
    )


def test_a_halved_joint_that_keeps_no_limit_is_not_called_met():
    """A mutant that took a quarter for a half survived."""
    states = {}
    for size in (0.06, 0.12, 0.2):
        piece = cw.Piece(cw.Slab(size), RAW.material, 74.0)
        states[size] = chilling(piece, [], "chiller", cut="halved", **QUICK).state
        alone = cw.Piece(cw.Slab(0.5 * size), RAW.material, 74.0)
        assert states[size] == chilling(alone, [], "chiller", **QUICK).state
    assert states == {0.06: "met", 0.12: "cannot tell", 0.2: "not met"}


@pytest.mark.parametrize(("slice_m", "used"), [(None, 0.025), (0.04, 0.04), (0.5, 0.12)])
def test_slices_are_as_thick_as_said_and_never_thicker_than_the_piece(slice_m, used):
    c = chilling(PIECE, [], "ice bath", cut="sliced", slice_m=slice_m, **QUICK)
    assert c.result.piece.shape == cw.Slab(used)


def test_the_thickness_of_a_slice_is_said():
    c = chilling(PIECE, [], "ice bath", cut="sliced", **QUICK)
    assert c.sentence.shown("C").startswith("Sliced 25 mm thick, ice bath: meets")
    assert c.sentence.shown(CUSTOMARY).startswith("Sliced 0.98 in thick")


def test_the_rule_is_the_published_one():
    legs = cooling_rule()
    assert [
        (round(leg.from_c, 1), round(leg.to_c, 1), leg.limit_s / 3600.0) for leg in legs
    ] == [
        (57.2, 21.1, 2.0),
        (57.2, 5.0, 6.0),
    ]
    assert hot_holding_limit().from_c == pytest.approx(legs[0].from_c)


def test_times_are_those_of_the_hottest_place(iced):
    c = iced
    for leg in c.legs:
        inside = (c.time_s > leg.begin_s + 60.0) & (c.time_s < leg.end_s - 60.0)
        assert (c.hottest_c[inside] < leg.limit.from_c).all()
        assert (c.hottest_c[inside] > leg.limit.to_c).all()
    top = c.result.temperature_c.max(axis=1)
    assert c.hottest_c[0] == pytest.approx(top[0])


def test_cutting_and_ice_are_faster():
    def last(cut, place):
        return chilling(PIECE, [], place, cut=cut, **QUICK).legs[-1].end_s

    for place in ("refrigerator", "chiller", "ice bath"):
        assert last("sliced", place) < last("halved", place) < last("whole", place)
    for cut in ("whole", "halved", "sliced"):
        assert last(cut, "ice bath") < last(cut, "chiller") < last(cut, "refrigerator")


@pytest.mark.parametrize("shape", [cw.Slab(0.1), cw.Cylinder(0.1), cw.Sphere(0.1)])
def test_half_of_any_shape_is_faster_than_the_whole(shape):
    piece = cw.Piece(shape, PIECE.material, 75.0)
    whole = chilling(piece, [], "chiller", **QUICK)
    half = chilling(piece, [], "chiller", cut="halved", **QUICK)
    assert half.legs[-1].end_s < whole.legs[-1].end_s


def test_a_whole_joint_in_a_refrigerator_does_not_and_the_fix_does():
    plan = chilling_plan(PIECE, [], **QUICK)
    assert plan.answers[0].state == "not met"
    assert plan.fix is not None
    assert plan.fix.state == "met"
    assert plan.fix is plan.answers[-1]
    assert f"{plan.fix.cut}, {plan.fix.place}" in str(plan.sentence)
    assert "does not replace" in str(plan.sentence)
    every = chilling_plan(PIECE, [], all_ways=True, **QUICK)
    # Nothing is assumed of a probe unless it is said, and what is said is passed on.
    alone = chilling(PIECE, [], "refrigerator", **QUICK)
    assert plan.answers[0].legs == alone.legs
    doubted = chilling_plan(
        PIECE, [], ways=[("whole", "ice bath")], probe_error_k=1.0, **QUICK
    ).answers[0]
    sure = chilling(PIECE, [], "ice bath", probe_error_k=1.0, **QUICK)
    assert doubted.legs == sure.legs
    assert "probe error 1 K" in str(doubted.sentence)
    assert len(every.answers) == 6
    assert every.fix.cut == plan.fix.cut


def test_no_fix_is_said():
    big = cw.Piece(cw.Cylinder(0.25), PIECE.material, 75.0)
    plan = chilling_plan(big, [], ways=[("whole", "refrigerator")], **QUICK)
    assert plan.fix is None
    assert "None of the 1 ways" in str(plan.sentence)
    with pytest.raises(InputError, match="at least one way"):
        chilling_plan(big, [], ways=[])


def test_what_holds_only_by_a_hair_cannot_be_told():
    """Among growing pieces, "met" turns to "cannot tell" before it turns to "not met"."""
    states = []
    for size in np.arange(0.06, 0.24, 0.005):
        piece = cw.Piece(cw.Cylinder(float(size)), PIECE.material, 75.0)
        states.append(chilling(piece, [], "ice bath", **QUICK).state)
    order = {"met": 0, "cannot tell": 1, "not met": 2}
    ranks = [order[state] for state in states]
    assert ranks == sorted(ranks)
    assert set(ranks) == {0, 1, 2}


def test_the_probe_error_only_makes_it_harder(iced):
    plain = iced
    careful = chilling(PIECE, [], "ice bath", probe_error_k=1.0, **QUICK)
    for a, b in zip(plain.legs, careful.legs, strict=True):
        assert b.elapsed_s > a.elapsed_s


def test_the_clock_runs_while_it_rests_before_the_chill():
    """Rested in the kitchen until below the band, the time there counts."""
    rest = rest_stage("kitchen", 4 * 3600.0, piece=PIECE)
    late = chilling(PIECE, rest, "ice bath", cut="sliced", **QUICK)
    assert late.legs[0].begin_s < 0.0
    assert late.legs[0].elapsed_s > late.legs[0].end_s
    whole = chilling(PIECE, rest, "ice bath", **QUICK)
    assert whole.legs[0].begin_s == pytest.approx(late.legs[0].begin_s, abs=60.0)


def test_a_place_that_is_too_warm_never_gets_there():
    warm = chilling(PIECE, [], "kitchen", **QUICK)
    assert warm.state == "not met"
    assert math.isinf(warm.legs[-1].end_s)
    assert "57.2 °C to 5 °C not within 30 h (limit 6 h)" in str(warm.sentence)
    assert warm.legs[-1].elapsed_s == warm.legs[-1].shortest_s == math.inf


def test_what_cannot_be_is_refused_by_name():
    with pytest.raises(InputError, match="whole, halved, sliced"):
        chilling(PIECE, [], cut="minced")
    with pytest.raises(InputError, match="food code cooling"):
        chilling(PIECE, [], rule="quick enough")


def test_growth_is_that_of_the_worst_place_rounded_up(iced):
    """By hand from the rows of the result, place by place, at the slow end."""
    c = iced
    by_hand = max(
        float(growth_bound(c.time_s, course, "perfringens beef")[-1])
        for course in c.result.temperature_c.T
    )
    g = c.growth
    assert g.curves == ("perfringens beef",)
    slow = tables.load("holding")["slow_uniform"]
    assert g.log10 == pytest.approx(math.ceil(10.0 * slow * by_hand) / 10.0)
    assert f"at most {g.log10:.1f} log" in str(c.sentence)
    assert g.valid_c == (10.3, 53.4)
    assert "10.3 to 53.4 °C" in str(g.sentence)
    assert any("perfringens" in title for title in g.sources)
    assert "does not replace" in str(c.sentence)


def test_growth_within_the_limit_is_met_and_more_condemns_nothing():
    thin = cw.Piece(cw.Slab(0.02), PIECE.material, 75.0)
    quick = chilling(thin, [], "ice bath", **QUICK).growth
    assert quick.log10 <= quick.limit == tables.load("holding")["most_growth"]
    assert quick.state == "met"
    slow = chilling(PIECE, [], "refrigerator", **QUICK)
    assert slow.growth.log10 > 1.0
    assert slow.growth.state == "cannot tell"
    assert "decides nothing" in str(slow.growth.sentence)
    # The state of the rule is its own.
    assert slow.state == "not met"


def test_a_meat_it_was_not_measured_in_gets_no_verdict():
    thin = cw.Piece(cw.Slab(0.02), cw.meat("pork loin"), 75.0)
    g = chilling(thin, [], "ice bath", **QUICK).growth
    assert g.log10 <= 1.0
    assert g.state == "cannot tell"
    assert g.curves == ("perfringens beef", "perfringens chicken")
    assert "not one it was measured in" in str(g.sentence)
    bird = cw.Piece(cw.Slab(0.02), cw.meat("chicken breast"), 75.0)
    assert chilling(bird, [], "ice bath", **QUICK).growth.curves == ("perfringens chicken",)


def test_a_chill_that_ends_in_the_range_of_growth_gets_no_number():
    g = chilling(PIECE, [], "kitchen", **QUICK).growth
    assert math.isinf(g.log10)
    assert g.state == "cannot tell"
    assert "no bound is given" in str(g.sentence)


def test_growth_in_the_rest_before_the_chill_counts_cut_or_not():
    rest = rest_stage("kitchen", 4 * 3600.0, piece=PIECE)
    for cut in ("whole", "sliced"):
        at_once = chilling(PIECE, [], "ice bath", cut=cut, **QUICK).growth.log10
        late = chilling(PIECE, rest, "ice bath", cut=cut, **QUICK).growth.log10
        assert late > at_once + 1.0


def test_growth_of_a_rest_is_that_of_each_place_until_it_is_cut():
    """Whole: each place through rest and chill. Cut: the most of any place of each part."""
    hot = cw.Piece(cw.Slab(0.08), RAW.material, 70.0)
    rest = rest_stage("kitchen", 3 * HOUR, piece=hot)
    u = tables.load("holding")
    curve = "perfringens beef"

    def most(time, places) -> float:
        return max(float(growth_bound(time, course, curve)[-1]) for course in places.T)

    whole = chilling(hot, rest, "ice bath", **QUICK)
    r = whole.result
    by_hand = u["slow_cooked"] * most(r.time_s, r.temperature_c)
    # The earlier rows come of a run of their own: within a step of it.
    assert whole.growth.log10 == pytest.approx(by_hand, abs=0.11)
    cut = chilling(hot, rest, "ice bath", cut="sliced", **QUICK)
    before = cw.simulate(hot, rest, **QUICK)
    parts = u["slow_cooked"] * most(before.time_s, before.temperature_c) + u[
        "slow_uniform"
    ] * most(cut.result.time_s, cut.result.temperature_c)
    assert cut.growth.log10 == pytest.approx(math.ceil(10.0 * parts) / 10.0)
    # The outside grows in the rest and the inside in the chill: not the same place.
    apart = u["slow_cooked"] * (
        most(before.time_s, before.temperature_c)
        + most(whole.time_s[whole.time_s >= 0.0], r.temperature_c[r.time_s >= 3 * HOUR])
    )
    assert apart > by_hand + 0.3


def test_time_before_and_in_the_chill_has_its_own_spread():
    spread = chilling_module._Spread((0.9, 1.2), (0.8, 1.5))
    assert spread.lengths(-100.0, 50.0) == pytest.approx((90.0 + 40.0, 120.0 + 75.0))
    assert spread.lengths(-100.0, -50.0) == pytest.approx((45.0, 60.0))
    assert spread.lengths(0.0, 0.5) == pytest.approx((0.4, 0.75))
    assert spread.lengths(0.0, math.inf) == (math.inf, math.inf)
