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
from coreward.questions.chilling import chilling, chilling_plan, cooling_rule
from coreward.questions.holding import hot_holding_limit

PIECE = cw.Piece(cw.Cylinder(0.12), cw.meat("beef brisket flat"), 75.0)
QUICK = {"cells": 30, "tolerance": 0.05}


def test_the_rule_is_the_published_one():
    legs = cooling_rule()
    assert [
        (round(leg.from_c, 1), round(leg.to_c, 1), leg.limit_s / 3600.0) for leg in legs
    ] == [
        (57.2, 21.1, 2.0),
        (57.2, 5.0, 6.0),
    ]
    assert hot_holding_limit().from_c == pytest.approx(legs[0].from_c)


def test_times_are_those_of_the_hottest_place():
    c = chilling(PIECE, [], "ice bath", **QUICK)
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
    assert f"{plan.fix.cut}, {plan.fix.place}" in plan.sentence
    assert "does not replace" in plan.sentence
    every = chilling_plan(PIECE, [], all_ways=True, **QUICK)
    assert len(every.answers) == 6
    assert every.fix.cut == plan.fix.cut


def test_no_fix_is_said():
    big = cw.Piece(cw.Cylinder(0.25), PIECE.material, 75.0)
    plan = chilling_plan(big, [], ways=[("whole", "refrigerator")], **QUICK)
    assert plan.fix is None
    assert "None of the 1 ways" in plan.sentence
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


def test_the_probe_error_only_makes_it_harder():
    plain = chilling(PIECE, [], "ice bath", **QUICK)
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
    assert "more than a day" in warm.sentence


def test_what_cannot_be_is_refused_by_name():
    with pytest.raises(InputError, match="whole, halved, sliced"):
        chilling(PIECE, [], cut="minced")
    with pytest.raises(InputError, match="food code cooling"):
        chilling(PIECE, [], rule="quick enough")


def test_growth_is_that_of_the_worst_place_rounded_up():
    """By hand from the rows of the result, place by place, both heat transfers."""
    c = chilling(PIECE, [], "ice bath", **QUICK)
    by_hand = max(
        float(growth_bound(c.time_s, course, "perfringens beef")[-1])
        for course in c.result.temperature_c.T
    )
    g = c.growth
    assert g.curves == ("perfringens beef",)
    # Never less than the nominal chill, and the slower one is more.
    assert g.log10 > by_hand
    assert g.log10 * 10.0 == pytest.approx(round(g.log10 * 10.0))
    # A fifth less heat transfer costs at most a quarter more time, and growth.
    assert g.log10 < 1.3 * by_hand + 0.1
    assert f"at most {g.log10:.1f} log" in c.sentence
    assert g.valid_c == (10.3, 53.4)
    assert "10.3 and 53.4 °C" in g.sentence
    assert any("perfringens" in title for title in g.sources)
    assert "does not replace" in c.sentence


def test_growth_within_the_limit_is_met_and_more_condemns_nothing():
    thin = cw.Piece(cw.Slab(0.02), PIECE.material, 75.0)
    quick = chilling(thin, [], "ice bath", **QUICK).growth
    assert quick.log10 <= quick.limit == tables.load("holding")["most_growth"]
    assert quick.state == "met"
    slow = chilling(PIECE, [], "refrigerator", **QUICK)
    assert slow.growth.log10 > 1.0
    assert slow.growth.state == "cannot tell"
    assert "decides nothing" in slow.growth.sentence
    # The state of the rule is its own.
    assert slow.state == "not met"


def test_a_meat_it_was_not_measured_in_gets_no_verdict():
    thin = cw.Piece(cw.Slab(0.02), cw.meat("pork loin"), 75.0)
    g = chilling(thin, [], "ice bath", **QUICK).growth
    assert g.log10 <= 1.0
    assert g.state == "cannot tell"
    assert g.curves == ("perfringens beef", "perfringens chicken")
    assert "not one it was measured in" in g.sentence
    bird = cw.Piece(cw.Slab(0.02), cw.meat("chicken breast"), 75.0)
    assert chilling(bird, [], "ice bath", **QUICK).growth.curves == ("perfringens chicken",)


def test_a_chill_that_ends_in_the_range_of_growth_gets_no_number():
    g = chilling(PIECE, [], "kitchen", **QUICK).growth
    assert math.isinf(g.log10)
    assert g.state == "cannot tell"
    assert "no bound is given" in g.sentence


def test_growth_in_the_rest_before_the_chill_counts_cut_or_not():
    rest = rest_stage("kitchen", 4 * 3600.0, piece=PIECE)
    for cut in ("whole", "sliced"):
        at_once = chilling(PIECE, [], "ice bath", cut=cut, **QUICK).growth.log10
        late = chilling(PIECE, rest, "ice bath", cut=cut, **QUICK).growth.log10
        assert late > at_once + 1.0
