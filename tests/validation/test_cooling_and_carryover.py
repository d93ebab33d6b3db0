"""Carryover and cooling of real roasts: range tests, each with its source.

Where the model is outside a published range the miss is written down with what we take
for its reason, and the test holds the model to the miss: coming inside fails as well,
until it is recorded. Nothing is adjusted to make a row pass.
"""

from __future__ import annotations

import numpy as np
import pytest

import coreward as cw
from coreward import tables
from coreward.cook.rest import rest_stage
from coreward.evidence.published import published_rows
from coreward.evidence.trust.shared import assumed, roast_shape, usual_oven
from coreward.questions.chill.answer import chilling
from coreward.questions.rest.carryover import (
    TwoCarryovers,
    carryover_by_size_and_pit,
    carryover_of,
)
from coreward.questions.rest.tenderness import softening

pytestmark = pytest.mark.quick

HOUR = 3600.0
QUICK = {"cells": 40, "tolerance": 0.05}
ROASTS = [row for row in published_rows("carryover.csv") if row["cut"]]
# Belle Lowe, Experimental Cookery (read in a copy): 1 to 5 K for all roasts.
# Oven and shape are not in the source; 163 °C and a cylinder twice as long as wide are ours.
MEASURED_K = (1.0, 5.0)
# The model stores more heat in the outer layers than these roasts did.
ABOVE_THE_RANGE = {
    "prime ribs well done",
    "prime ribs medium",
    "ham roasted",
    "veal leg roast",
}


@pytest.fixture(scope="module")
def roasts() -> dict[str, TwoCarryovers]:
    out = {}
    for row in ROASTS:
        piece = cw.Piece(
            cw.Cylinder(roast_shape(float(row["mean_raw_kg"])).diameter_m),
            cw.meat(row["cut"]),
            assumed()["refrigerator_start_c"],
        )
        oven = cw.Stage(
            usual_oven(),
            duration_s=60.0 * HOUR,
            until_core_c=float(row["core_at_removal_c"]),
            label="oven",
        )
        rest = rest_stage("kitchen", 2.0 * HOUR, piece=piece)
        out[row["roast"]] = carryover_of(piece, oven, rest, **QUICK)
    return out


def test_published_carryover_and_the_recorded_misses(roasts):
    low, high = MEASURED_K
    outside = set()
    for row in ROASTS:
        rise = roasts[row["roast"]].wet.rise_k
        print(f"{row['roast']}: measured {row['rise_k']} K, model {rise:.1f} K")
        if not low <= rise <= high:
            outside.add(row["roast"])
    assert outside == ABOVE_THE_RANGE


def test_every_measured_rise_lies_within_the_shares_of_the_table(roasts):
    """Of a computed rise only the least measured share is counted on for bacteria."""
    u = tables.load("carryover")
    shares = [float(row["rise_k"]) / roasts[row["roast"]].wet.rise_k for row in ROASTS]
    print([round(share, 2) for share in shares])
    assert u["rise_low"] <= min(shares) <= u["rise_low"] + 0.1
    assert u["rise_high"] - 0.1 <= max(shares) <= u["rise_high"]
    # Real pieces rise further than these endless ones: 0.53 in the middle against 0.66.
    assert u["rise_usual"] <= np.median(shares) <= u["rise_usual"] + 0.15


def test_dry_conduction_misses_them_all_by_far(roasts):
    """A dry solid rises 14 to 25 K at 163 °C (computed for this project): three times more.

    What the model with water misses of the measured rise is less than half of that.
    """
    for row in ROASTS:
        both = roasts[row["roast"]]
        measured = float(row["rise_k"])
        assert both.dry.rise_k > MEASURED_K[1]
        wet_miss = abs(both.wet.rise_k - measured)
        assert wet_miss < 0.5 * abs(both.dry.rise_k - measured)


def test_culinary_texts_small_average_and_large():
    """Culinary texts (read): about 3 K small cuts, 6 to 8 K average, up to 14 K very large.

    Allowed: within the whole span of those texts, and growing with size.
    """
    piece = cw.Piece(cw.Cylinder(0.1), cw.meat("beef rib roast"), 4.0)
    rows = carryover_by_size_and_pit(
        piece, usual_oven(), "kitchen", 55.0, (0.05, 0.10, 0.16), (163.0,), **QUICK
    )
    rise = [row.rise_k for row in rows]
    assert rise == sorted(rise)
    assert 1.0 < rise[0] < 6.0
    assert 4.0 < rise[1] < 10.0
    assert 6.0 < rise[2] < 14.0


def joint(mass_kg: float) -> cw.Piece:
    """A cooked joint of a mass, 74 °C throughout."""
    return cw.Piece(cw.Cylinder(roast_shape(mass_kg).diameter_m), cw.meat("beef round"), 74.0)


def reach(c, level_c: float) -> float:
    return float(np.interp(-level_c, -c.hottest_c, c.time_s)) / HOUR


@pytest.mark.parametrize(
    ("place", "least_h", "most_h"), [("chiller", 7.0, 16.0), ("ice bath", 5.0, 12.0)]
)
def test_joints_above_five_kilograms_cool_slowly(place, least_h, most_h):
    """Sun and Wang 2003 (abstract read), joints above 5 kg, 74 to 10 °C: air blast more than

    7 h, immersion more than 5 h. The upper ends are ours: twice those times and a little.
    """
    c = chilling(joint(5.5), [], place, **QUICK)
    hours = reach(c, 10.0)
    print(place, round(hours, 1))
    assert least_h < hours < most_h


@pytest.mark.parametrize("place", ["refrigerator", "chiller"])
def test_a_whole_large_joint_in_air_does_not_meet_the_food_code(place):
    """More than 7 to 9 h to 10 °C (Sun and Wang), so never 57 to 5 °C in 6 h."""
    assert chilling(joint(5.5), [], place, **QUICK).state == "not met"


def test_the_packed_roast_in_water_lies_between_a_long_and_a_flat_one():
    """James and James, table 16.7 (read): 3.75 kg, 330 x 160 x 130 mm, immersion at 1 °C,

    50 to 12 °C in 4.2 h and 12 to 5 °C in 2.8 h. A block is faster than the endless slab of
    its least side and slower than the ball of it; 20 % for the film and the size.
    """
    material = cw.meat("beef round")
    for upper, lower, printed in ((50.0, 12.0, 4.2), (12.0, 5.0, 2.8)):
        hours = []
        for shape in (cw.Sphere(0.13), cw.Slab(0.13)):
            c = chilling(cw.Piece(shape, material, 72.0), [], "ice bath", **QUICK)
            hours.append(reach(c, lower) - reach(c, upper))
        print(upper, lower, printed, [round(h, 2) for h in hours])
        assert 0.8 * hours[0] < printed < 1.2 * hours[1]


def test_survey_of_hams_in_a_chill_room():
    """James and James, table 16.4 (read): 7.26 kg, 178 mm, sealed bag, -3 to -1 °C at 0.3 m/s:

    69 to 50 °C in 3.4 to 3.8 h. Longer than a ball of that diameter, shorter than an
    endless cylinder, 20 % for the film.
    """
    ham = cw.meat("pork ham")
    times = []
    for shape in (cw.Sphere(0.178), cw.Cylinder(0.178)):
        piece = cw.Piece(shape, ham, 68.5)
        stage = rest_stage(
            "chiller", 24 * HOUR, piece=piece, air_c=-2.0, dew_point_c=-5.0, evaporation=False
        )
        r = cw.simulate(piece, stage, **QUICK)
        times.append(float(np.interp(-50.0, -r.core_c, r.time_s)) / HOUR)
    print(times)
    assert 0.8 * times[0] < 3.6 < 1.2 * times[1]


def test_nearest_published_end_of_a_brisket_is_near_tender():
    """Kerth and others (read): whole brisket to 85 °C and 3 h there is as tender as 90 and 3 h.

    The two pork series must have tender, 1, between them for the core of such a cook.
    """
    piece = cw.Piece(cw.Slab(0.08), cw.meat("beef brisket whole"), 4.0)
    pit = cw.Surroundings(99.0, dew_point_c=35.0, heat_transfer=10.0)
    hold = rest_stage("warm oven", 3 * HOUR, piece=piece, wrap="foil", air_c=86.0)
    cook = cw.Stage(pit, duration_s=40 * HOUR, until_core_c=85.0)
    r = cw.simulate(piece, [cook, hold])
    fast = softening(r.time_s, r.core_c)[-1]
    slow = softening(r.time_s, r.core_c, "pork shoulder cubes")[-1]
    print(round(float(slow), 2), round(float(fast), 2))
    assert slow < 1.0 < fast
