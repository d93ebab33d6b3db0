"""Places to rest in, and what an insulated box refuses."""

from __future__ import annotations

import numpy as np
import pytest

import coreward as cw
from coreward import tables
from coreward.cook.box import Boxed
from coreward.cook.rest import (
    BoxPlan,
    cook_and_rest,
    hold_in_box,
    places,
    rest_stage,
    sear,
    share_box,
)
from coreward.cook.stages import Liquid
from coreward.errors import InputError, TableError

pytestmark = pytest.mark.quick

PIECE = cw.Piece(cw.Cylinder(0.1), cw.meat("beef rib roast"), 4.0)
OVEN = cw.Stage(
    cw.Surroundings(150.0, dew_point_c=35.0, heat_transfer=8.0),
    duration_s=36000.0,
    until_core_c=52.0,
    label="oven",
)


def rested(place, seconds=1800.0, **options):
    return cw.simulate(PIECE, [OVEN, rest_stage(place, seconds, piece=PIECE, **options)])


@pytest.fixture(scope="module")
def in_every_place():
    return {place: rested(place) for place in places()}


def test_every_place_has_the_same_numbers():
    first = set(tables.load("rest"))
    for name in places():
        assert set(tables.load("rest", name)) == first


def test_places_stand_in_the_order_of_what_they_take_away(in_every_place):
    end = {name: float(r.mean_c[-1]) for name, r in in_every_place.items()}
    assert end["kitchen"] < end["tent"] < end["towels"]
    assert end["ice bath"] < end["chiller"] < end["refrigerator"] < end["kitchen"]
    assert end["kitchen"] < end["warm oven"]
    assert end["sear plate"] > end["towels"]


def test_covers_hold_the_vapour_back(in_every_place):
    def vapour(name):
        r = in_every_place[name]
        pull = r.records[0].end_s
        return float(
            r.evaporated_fraction[-1] - np.interp(pull, r.time_s, r.evaporated_fraction)
        )

    assert vapour("kitchen") > vapour("tent") > 0.0
    # Closed: at most what still boils off a surface above 100 °C, which this one is not.
    assert vapour("towels") == pytest.approx(0.0, abs=1e-6)
    assert vapour("ice bath") == pytest.approx(0.0, abs=1e-6)
    assert vapour("sear plate") > vapour("kitchen")


def test_a_wrap_and_a_cover_add_up():
    bare = rest_stage("tent", 60.0, piece=PIECE)
    wrapped = rest_stage("tent", 60.0, piece=PIECE, wrap="paper")
    paper = tables.load("wrap", "paper")
    tent = tables.load("rest", "tent")
    assert wrapped.wrap["thermal_resistance"] == pytest.approx(
        paper["thermal_resistance"] + tent["cover_resistance"]
    )
    assert wrapped.wrap["vapour_permeance_factor"] < bare.wrap["vapour_permeance_factor"]
    assert wrapped.wrap["vapour_permeance_factor"] < paper["vapour_permeance_factor"]
    closed = rest_stage("tent", 60.0, piece=PIECE, wrap="foil")
    assert closed.wrap["vapour_permeance_factor"] == 0.0
    # Bare in the kitchen, the wrap is what it was.
    assert rest_stage("kitchen", 60.0, piece=PIECE, wrap="foil").wrap == "foil"


def test_other_air_moves_the_walls_where_they_were_alike():
    s = rest_stage("warm oven", 60.0, piece=PIECE, air_c=80.0).surroundings
    assert (s.air_c, s.wall_c) == (80.0, 80.0)
    s = rest_stage("radiant sear", 60.0, piece=PIECE, air_c=180.0).surroundings
    assert s.wall_c == tables.load("rest", "radiant sear")["wall_c"]
    # A cold room cannot hold the vapour of the table's.
    s = rest_stage("kitchen", 60.0, piece=PIECE, air_c=2.0).surroundings
    assert s.dew_point_c == 2.0


def test_searing_dries_a_crust_and_hardly_warms_the_core(in_every_place):
    """Seconds on a plate: surface near boiling or above, core untouched."""
    r = rested("sear plate", 60.0)
    pull = r.records[0].end_s
    assert r.surface_c[-1] > 97.0
    # What the core gains in that minute it gains in air too, from the oven's profile.
    plain = rested("kitchen", 60.0)
    assert r.core_c[-1] - np.interp(pull, r.time_s, r.core_c) < 1.0
    assert r.core_c[-1] == pytest.approx(plain.core_c[-1], abs=0.1)


def test_a_wrap_softens_a_dry_crust():
    bare = rested("kitchen", 1800.0)
    wrapped = rested("kitchen", 1800.0, wrap="foil")
    at_pull = np.interp(bare.records[0].end_s - 1.0, bare.time_s, bare.surface_water_activity)
    assert at_pull < 0.9
    assert wrapped.surface_water_activity[-1] > 0.95


def test_a_flux_sears_from_both_faces_and_a_cover_keeps_it_off():
    steak = cw.Piece(cw.Slab(0.04), cw.meat("beef rib roast"), 45.0)
    mild, fierce = (
        cw.simulate(steak, sear(60.0, piece=steak, by="glowing heat", radiant_flux=q))
        for q in (8e3, 2.5e4)
    )
    assert fierce.surface_c[-1] > mild.surface_c[-1] + 20.0
    assert fierce.core_c[-1] < 46.0
    # A prescribed flux does not fall as the meat gets hotter, but for what it radiates
    # itself: 25 kW/m², nine tenths of it, less at most 2 kW/m² back.
    assert fierce.surface["radiation"][-1] == pytest.approx(0.9 * 2.5e4, abs=2e3)
    # Foil throws most of it back.
    foil = rest_stage("glowing heat", 60.0, piece=steak, wrap="foil", radiant_flux=2.5e4)
    wrapped = cw.simulate(steak, foil).surface["radiation"][-1]
    assert wrapped < 0.5 * fierce.surface["radiation"][-1]
    with pytest.raises(InputError, match="covers"):
        rest_stage("tent", 60.0, piece=steak, radiant_flux=1e4)


def test_faces_in_turn_are_for_slabs_and_say_what_they_leave_out():
    thick, thin = (
        cw.Piece(cw.Slab(size), cw.meat("beef rib roast"), 20.0) for size in (0.05, 0.02)
    )
    stages = sear(60.0, piece=thick, faces="in turn")
    assert [stage.duration_s for stage in stages] == [30.0, 60.0, 30.0]
    said = cw.simulate(thick, stages).warnings
    assert any("at most 1 K off" in note for note in said)
    said = cw.simulate(thin, sear(60.0, piece=thin, faces="in turn")).warnings
    assert any("several kelvin off" in note for note in said)
    assert cw.simulate(thick, sear(60.0, piece=thick)).warnings == ()
    with pytest.raises(InputError, match="Only a slab"):
        sear(60.0, piece=PIECE, faces="in turn")
    with pytest.raises(InputError, match="in turn"):
        sear(60.0, piece=thick, faces="one")
    assert any(
        "all of it touched" in n for n in cw.simulate(PIECE, sear(5.0, piece=PIECE)).warnings
    )


def test_liquid_under_a_cover_and_in_the_box_after():
    """A pour before the box is still there in it, and the books of the box close."""
    wet = cw.Stage(
        cw.Surroundings(120.0, dew_point_c=35.0),
        duration_s=3600.0,
        wrap="foil",
        liquid=Liquid(0.2, 20.0, 2.0),
    )
    held = hold_in_box(PIECE, [OVEN, wet], duration_s=1800.0, mass_kg=2.0)
    assert held.balance.water <= 1e-10
    assert held.result.balance.energy <= 1e-10
    assert held.result.added_fraction[-1] == pytest.approx(0.1)
    assert held.result.film[-1] > 1.0
    towels = rest_stage("towels", 60.0, piece=PIECE, liquid=Liquid(0.05, 60.0, 2.0))
    assert cw.simulate(PIECE, towels).film[-1] > 0.2
    with pytest.raises(InputError, match="bare"):
        rest_stage("kitchen", 60.0, piece=PIECE, liquid=Liquid(0.05, 60.0, 2.0))


def test_unknown_places_are_refused_by_name():
    with pytest.raises(TableError, match="kitchen"):
        rest_stage("kitchin", 60.0, piece=PIECE)
    with pytest.raises(InputError, match="duration"):
        rest_stage("kitchen", piece=PIECE)


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ({"mass_kg": None}, "mass"),
        ({"mass_kg": -1.0}, "greater than zero"),
        ({"mass_kg": 2.0, "pieces": 0}, "one piece or more"),
        ({"mass_kg": 2.0, "duration_s": -1.0}, "time in the box"),
        ({"mass_kg": 2.0, "preheated_c": 120.0}, "boiling"),
        ({"mass_kg": 2.0, "substep_s": 0.0}, "sub-stage"),
    ],
)
def test_what_a_box_refuses(arguments, message):
    given = {"duration_s": 600.0, **arguments}
    with pytest.raises(InputError, match=message):
        hold_in_box(PIECE, OVEN, **given)


def test_an_empty_box_is_refused():
    with pytest.raises(InputError, match="nothing in the box"):
        share_box([], duration_s=600.0)


def test_more_meat_and_a_warm_box_keep_longer():
    def end(**options):
        held = hold_in_box(PIECE, OVEN, duration_s=3 * 3600.0, mass_kg=2.0, **options)
        return float(held.result.core_c[-1])

    one = end()
    assert end(pieces=3) > one + 1.0
    assert end(preheated_c=70.0) > one + 1.0
    assert end(box=tables.load("box").replace(wall_conductance=0.2)) > one
    assert end(room_c=5.0) < one


def test_a_ball_knows_its_own_mass():
    ball = cw.Piece(cw.Sphere(0.1), cw.meat("beef rib roast"), 60.0)
    mass = ball.material.raw_density * np.pi / 6.0 * 0.1**3
    assert Boxed(ball, ()).mass() == pytest.approx(mass)
    free = hold_in_box(ball, [], duration_s=1800.0)
    given = hold_in_box(ball, [], duration_s=1800.0, mass_kg=mass)
    assert free.box_c[-1] == pytest.approx(given.box_c[-1], abs=1e-9)


def test_a_rest_is_a_stage_several_or_a_box():
    kitchen = rest_stage("kitchen", 600.0, piece=PIECE)
    one = cook_and_rest(PIECE, OVEN, kitchen)
    two = cook_and_rest(PIECE, OVEN, [kitchen, kitchen])
    boxed = cook_and_rest(PIECE, OVEN, BoxPlan(600.0, mass_kg=2.0))
    assert [len(r.records) for r in (one, two, boxed)] == [2, 3, 2]
    assert boxed.records[-1].label == "box"
    # The stage before that was not reached is still said.
    slow = cw.Stage(OVEN.surroundings, duration_s=60.0, until_core_c=90.0, label="oven")
    late = cook_and_rest(PIECE, slow, BoxPlan(600.0, mass_kg=2.0))
    assert any("did not reach" in str(note) for note in late.warnings)
