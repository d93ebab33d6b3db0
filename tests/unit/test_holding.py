"""How long it stays hot, with every doubt to the careful side."""

from __future__ import annotations

import numpy as np
import pytest

import coreward as cw
from coreward import tables
from coreward.cook.rest import BoxPlan, hold_in_box, rest_stage
from coreward.errors import InputError
from coreward.questions.rest.holding import (
    _first_below,
    _until_below,
    holding,
    holding_by_pieces,
    hot_holding_limit,
)
from coreward.words import Held

pytestmark = pytest.mark.quick

SOLID = cw.constant_material(0.5, 1050.0, 3500.0)
WARM = cw.Piece(cw.Cylinder(0.1), SOLID, 70.0)
PIECE = cw.Piece(cw.Cylinder(0.1), cw.meat("beef brisket flat"), 80.0)


def cooled(seconds):
    # A straight fall of a nearly isothermal piece would need no model; this is one of ours.
    return cw.simulate(
        WARM,
        cw.Stage(
            cw.Surroundings(20.0, heat_transfer=5.0, emissivity=0.0, evaporation=False),
            duration_s=seconds,
        ),
    )


def test_times_are_those_of_the_curve():
    h = holding(cooled(5 * 3600.0), serving_c=55.0, probe_error_k=0.0)
    r = h.result
    assert h.limit_c == pytest.approx((135.0 - 32.0) / 1.8)
    assert r.core_c[r.time_s > h.serving_s + 60.0].max() < 55.0
    assert r.core_c[r.time_s < h.serving_s - 60.0].min() > 55.0
    assert r.surface_c[r.time_s < h.hot_s - 60.0].min() > h.limit_c
    # The surface leaves the hot hold before the core does, and that is what counts.
    assert h.hot_s < h.core_hot_s
    assert not h.hot_at_end
    assert "A probe in the core shows it only after" in str(h.sentence)
    assert "does not replace" in str(h.sentence)


def test_only_as_much_is_counted_on_as_the_fastest_measured_joint_leaves():
    h = holding(cooled(5 * 3600.0), probe_error_k=0.0)
    fast = tables.load("holding")["fast_cooked"]
    assert h.sure_hot_s == pytest.approx(fast * h.hot_s)
    # An open end is no better known; a place as hot as the limit needs no luck.
    assert holding(cooled(60.0), probe_error_k=0.0).sure_hot_s == pytest.approx(fast * 60.0)
    oven = rest_stage("warm oven", 4 * 3600.0, piece=PIECE, wrap="foil", air_c=70.0)
    kept = holding(cw.simulate(PIECE, oven))
    assert kept.sure_hot_s == kept.hot_s
    assert "count on" not in str(kept.sentence)


def test_the_sentence_has_its_numbers_in_either_unit():
    h = holding(cooled(5 * 3600.0), serving_c=55.0)
    serving, hot, sure, core = (
        Held(x).shown("C") for x in (h.serving_s, h.hot_s, h.sure_hot_s, h.core_hot_s)
    )
    rest = (
        " This is an outlook of the model and no measurement; assumed: the coldest part "
        "counts, probe error {}. This does not replace a calibrated thermometer, the local "
        "food code or a licensed process authority."
    )
    assert h.sentence.shown("C") == (
        f"The core stays at 55 °C or above for {serving}. Its coldest part falls below the "
        f"hot-holding limit (58.3 °C with the probe's error) after {hot}. Measured joints "
        f"cooled in as little as 0.7 of the time that the model says: count on {sure}. A probe "
        f"in the core shows it only after {core}. From then on it is cooling: eat it, or chill "
        "it at once, counted from 57.2 °C to 21.1 °C within 2 h and 5 °C within 6 h (Food "
        "Code)." + rest.format("1 K")
    )
    in_f = h.sentence.shown("F")
    assert in_f.startswith(f"The core stays at 131 °F or above for {serving}. ")
    assert "(136.8 °F with the probe's error)" in in_f
    assert "counted from 135 °F to 70 °F within 2 h and 41 °F within 6 h" in in_f
    assert "probe error 1.8 °F" in in_f
    assert "°C" not in in_f


def test_the_coldest_part_decides_and_its_first_fall_below():
    """A dip below the limit ends the hold, though it comes up again; serving may go on."""
    r = cooled(60.0)
    dip = np.array([70.0, 60.0, 50.0, 60.0, 56.0, 40.0])
    time = 100.0 * np.arange(6)
    assert _first_below(time, dip, 55.0) == (150.0, False)
    assert _until_below(time, dip, 55.0) == (400.0 + 100.0 / 16.0, False)
    assert _first_below(time, dip, 30.0) == (500.0, True)
    assert _first_below(time, dip, 50.0) == (400.0 + 100.0 * 6.0 / 16.0, False)
    assert _until_below(time, dip, 40.0) == (500.0, True)
    assert _first_below(time, dip, 75.0) == (0.0, False)
    assert _until_below(time, dip, 75.0) == (0.0, False)
    assert holding(r).coldest_c[-1] == r.temperature_c[-1].min()


def test_the_probe_error_shortens_the_hold():
    r = cooled(5 * 3600.0)
    assert holding(r).hot_s < holding(r, probe_error_k=0.0).hot_s
    assert holding(r).limit_c == pytest.approx(
        holding(r, probe_error_k=0.0).limit_c + tables.load("verdict")["probe_error"]
    )


def test_a_hold_that_ends_hot_is_a_least_time():
    h = holding(cooled(60.0))
    assert h.serving_at_end
    assert h.hot_at_end
    assert "at least" in str(h.sentence)
    assert "to the end of the hold" in str(h.sentence)
    assert "A probe in the core" not in str(h.sentence)
    assert "From then on" not in str(h.sentence)


def test_a_piece_that_was_never_hot_is_no_hot_hold():
    cold = cw.Piece(cw.Cylinder(0.1), SOLID, 40.0)
    stage = cw.Stage(cw.Surroundings(20.0, evaporation=False), duration_s=600.0)
    h = holding(cw.simulate(cold, stage))
    assert (h.serving_s, h.hot_s) == (0.0, 0.0)
    assert "never at 55 °C" in str(h.sentence)
    assert "a rest and not a hot hold" in str(h.sentence)


def test_limits_by_name():
    assert hot_holding_limit("food code hot holding roast").from_c < hot_holding_limit().from_c
    with pytest.raises(InputError, match="food code hot holding roast"):
        hot_holding_limit("warm enough")
    with pytest.raises(InputError, match="no stage"):
        holding(cooled(60.0), 3)


def test_more_pieces_hold_longer_in_one_box():
    plan = BoxPlan(8 * 3600.0, mass_kg=2.0)
    answers = dict(holding_by_pieces(PIECE, [], plan, (1, 2, 4), cells=30, tolerance=0.05))
    assert answers[1].serving_s < answers[2].serving_s < answers[4].serving_s
    assert answers[1].core_hot_s < answers[4].core_hot_s


def test_a_warm_oven_holds_and_a_kitchen_does_not():
    oven = rest_stage("warm oven", 4 * 3600.0, piece=PIECE, wrap="foil", air_c=70.0)
    assert holding(cw.simulate(PIECE, oven)).hot_at_end
    kitchen = rest_stage("kitchen", 4 * 3600.0, piece=PIECE)
    assert not holding(cw.simulate(PIECE, kitchen)).hot_at_end


def test_a_box_is_read_like_a_result():
    held = hold_in_box(PIECE, [], duration_s=4 * 3600.0, mass_kg=2.0)
    assert holding(held).serving_s == holding(held.result).serving_s


def test_the_clock_of_a_hold_begins_with_its_stage():
    oven = rest_stage("warm oven", 3600.0, piece=PIECE, wrap="foil", air_c=80.0)
    kitchen = rest_stage("kitchen", 4 * 3600.0, piece=PIECE)
    r = cw.simulate(PIECE, [oven, kitchen], cells=30, tolerance=0.05)
    last, both = holding(r), holding(r, 0)
    assert last.time_s[0] == both.time_s[0] == 0.0
    assert (last.time_s[-1], both.time_s[-1]) == (4 * 3600.0, 5 * 3600.0)
    assert both.serving_s == pytest.approx(3600.0 + last.serving_s)
    assert last.core_c[0] == pytest.approx(float(np.interp(3600.0, r.time_s, r.core_c)))
