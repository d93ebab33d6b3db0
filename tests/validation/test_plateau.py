"""The standstill: how high, how long, and what ends it.

Beside the model: a core that stood at 67 °C for almost six hours at 107 °C in a small
closed electric chamber with a water pan, the piece injected with broth (a published trial,
read as summarised in the project's own notes on the physics; its log was not seen). The
bounds are those of ordinary cooks as the trade tells them, common practice, no source.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

import coreward as cw
from coreward import tables
from coreward.cook.result import Result
from coreward.evidence.trust.stall import longest_stand, standstill
from coreward.physics.exchange import wet_surface_temperature

HOUR = 3600.0
AREA = 0.3  # m², brisket flat of 7 kg, both faces


def flat(thickness: float = 0.045, **changes: float) -> cw.Piece:
    transport = tables.load("transport", cw.FLOWING["transport"]).replace(**changes)
    material = cw.meat("beef brisket flat", **{**cw.FLOWING, "transport": transport})
    mass = AREA * thickness / 2.0 * material.raw_density
    return cw.Piece(cw.Slab(thickness), material, 4.0, mass)


def pit(fresh_air_kg_h: float) -> cw.Chamber:
    return cw.Chamber(107.0, fresh_air_kg_h, outside_dew_point_c=10.0, heat_transfer=8.0)


def least_rise(r: Result, hours: float) -> tuple[float, float]:
    """Least rise of the core over so many hours while it is at 60 to 80 °C, and from where."""
    times = np.arange(0.0, r.duration_s, 60.0)
    core = np.interp(times, r.time_s, r.core_c)
    ahead = int(hours * 60)
    begin, rise = core[:-ahead], core[ahead:] - core[:-ahead]
    rise = np.where((begin >= 60.0) & (begin + rise <= 80.0), rise, np.inf)
    at = int(np.argmin(rise))
    return float(rise[at]), float(begin[at])


@pytest.fixture(scope="module")
def tight() -> Result:
    return cw.simulate(flat(), cw.Stage(pit(1.5), duration_s=14 * HOUR))


def test_a_tight_pit_that_the_meat_makes_damp_gives_a_plateau(tight: Result) -> None:
    rise, begin = least_rise(tight, 2.0)
    assert rise <= 3.0
    assert 60.0 <= begin <= 80.0
    assert least_rise(tight, 4.0)[0] <= 10.0
    inside = np.interp(begin, tight.core_c, tight.time_s)
    assert 55.0 <= np.interp(inside + HOUR, tight.time_s, tight.dew_point_c) <= 68.0


def test_it_ends_when_the_stock_is_spent(tight: Result) -> None:
    """Then the film is gone, the core goes on at 2 K/h or more, and is done in time."""
    finish = tight.time_at_core(85.0)
    assert finish is not None
    assert 8 * HOUR <= finish <= 14 * HOUR
    begin = least_rise(tight, 2.0)[1]
    start = float(np.interp(begin, tight.core_c, tight.time_s))
    end = start + 3 * HOUR
    later = np.interp([end, end + HOUR], tight.time_s, tight.core_c)
    assert later[1] - later[0] >= 2.0
    assert np.interp(start, tight.time_s, tight.film) > 0.1
    assert np.interp(end, tight.time_s, tight.film) < 0.01


def test_its_height_is_the_wet_surface_of_that_dew_point(tight: Result) -> None:
    """What a flat plateau says about the pit: its dew point, read off the core."""
    begin = least_rise(tight, 2.0)[1]
    moment = float(np.interp(begin, tight.core_c, tight.time_s)) + HOUR
    dew = float(np.interp(moment, tight.time_s, tight.dew_point_c))
    core = float(np.interp(moment, tight.time_s, tight.core_c))
    wet = float(wet_surface_temperature(107.0, dew, 8.0))
    # The surface passes on a little heat: the core follows a degree or two below it.
    assert wet - 3.0 <= core <= wet + 0.5


def test_a_dry_leaky_pit_has_a_slope_instead() -> None:
    r = cw.simulate(flat(), cw.Stage(pit(30.0), duration_s=14 * HOUR))
    assert least_rise(r, 2.0)[0] > 4.0


def test_foil_ends_it(tight: Result) -> None:
    """Wrapped at the plateau the core leaves it within the hour."""
    stages = (
        cw.Stage(pit(1.5), until_core_c=67.5),
        cw.Stage(pit(1.5), duration_s=2 * HOUR, wrap="foil"),
    )
    wrapped = cw.simulate(flat(), stages)
    start = wrapped.records[0].end_s
    core = np.interp([start, start + HOUR], wrapped.time_s, wrapped.core_c)
    bare = np.interp(start + HOUR, tight.time_s, tight.core_c)
    assert core[1] - core[0] > 4.0
    assert core[1] > bare + 2.0


@pytest.mark.parametrize(
    ("temperature_c", "printed"),
    [
        (20.0, 0.0),
        (30.0, 0.0),
        (40.0, 2.0),
        (50.0, 6.0),
        (55.0, 9.0),
        (100.0, 45.0),
        (60.0, 13.0),
        (65.0, 18.0),
        (70.0, 23.0),
        (75.0, 28.0),
        (80.0, 33.0),
        (90.0, 41.0),
    ],
)
def test_one_law_gives_the_cubes_their_loss(temperature_c: float, printed: float) -> None:
    """Lean beef of 100 to 120 g, 75 % water, 2.5 K/min, held 40 min: loss in per cent.

    Honikel's table 6.1 in the Handbook of Meat Processing, as in the sources of table
    ``water_holding``, which was fitted to it: this asks that one permeability does it for
    cubes and, above, for a piece of 7 kg. A ball of the cubes' volume stands for a cube, and
    as in a cube a third of its ways out runs along the fibres.
    """
    lean = {"water": 0.75, "protein": 0.22, "fat": 0.02, "ash": 0.01, "carbohydrate": 0.0}
    material = cw.meat(
        "beef brisket flat",
        composition=lean,
        **cw.FLOWING,
    )
    ramp = (temperature_c - 10.0) / 2.5 * 60.0
    bath = cw.Surroundings(
        ([0.0, ramp, ramp + 1.0], [10.0, temperature_c, temperature_c]),
        dew_point_c=5.0,
        heat_transfer=500.0,
        evaporation=False,
    )
    r = cw.simulate(
        cw.Piece(cw.Sphere(0.058), material, 10.0),
        cw.Stage(bath, duration_s=ramp + 40 * 60.0),
    )
    assert 100.0 * r.mass_loss_fraction[-1] == pytest.approx(printed, abs=3.0)


def test_the_same_law_gives_a_roast_its_loss() -> None:
    """Beef bottom round, 163 °C to 60 °C: 16.0 % measured (n 20, SD 2.7).

    The measured yields of the sources; size and humidity of the oven are not in print. An
    endless cylinder of 100 mm and a dew point of 35 to 55 °C meet it. But no piece of 1.5 kg
    has so little surface (25 mm of volume per area; a ball of that mass has 23). One with
    ends loses 22 to 25 %: outside of the yield, and what the same table says of the same
    cut's water and fat, -20.6 and -2.8 % of the raw mass of other samples. Which of the two
    the roasts did is not known; the disagreement is the table's before it is ours.
    """
    material = cw.meat("beef brisket flat", **cw.FLOWING)
    length = 1.5 / material.raw_density / (math.pi * 0.055**2)
    for shape, low, high in (
        (cw.Cylinder(0.1), 16.0 - 2.7, 16.0 + 2.7),
        (cw.FiniteCylinder(0.11, length), 23.4 - 2.7, 23.4 + 2.7),
    ):
        for dew in (35.0, 55.0):
            around = cw.Surroundings(163.0, dew_point_c=dew, heat_transfer=8.0)
            piece = cw.Piece(shape, material, 5.0)
            r = cw.simulate(piece, cw.Stage(around, until_core_c=60.0))
            loss = 100.0 * r.mass_loss_fraction[-1]
            print(f"{shape.name}, dew point {dew:g} °C: {loss:.1f} %")
            assert low <= loss <= high


def test_a_law_without_grain_loses_too_much_in_long_cooks(tight: Result) -> None:
    """Why the fibres have to have a direction.

    If water flows alike in all directions, a permeability that gives a brisket its plateau
    lets a cube go on giving for hours after the 40 min of the table, so what a cube holds in
    the end must be little, and a brisket, which has the hours, gives it all: 45 % at 85 °C.
    Composition rows of braised brisket and smoked yields have 28 to 41 % at that core
    (data/published), trimmed brisket after 12 h over wood 42 % (common practice, no source).
    Four fifths of a cube's water leaves along its fibres, a slab's hardly any: then the cube
    is nearly done after 40 min and the brisket is within what was measured.
    """
    alike = cw.meat(
        "beef brisket flat", transport="swelling_pressure", water_holding="through_flow"
    )
    piece = cw.Piece(cw.Slab(0.045), alike, 4.0, tight.piece.mass_kg)
    r = cw.simulate(piece, cw.Stage(pit(1.5), duration_s=14 * HOUR))

    def loss_at_85(cook: Result) -> float:
        done = cook.time_at_core(85.0)
        assert done is not None
        return 100.0 * float(np.interp(done, cook.time_s, cook.mass_loss_fraction))

    print(f"{loss_at_85(r):.1f} and {loss_at_85(tight):.1f} %")
    assert loss_at_85(r) > 43.0
    assert 28.0 <= loss_at_85(tight) <= 41.0
    after_12_h = 100.0 * float(np.interp(12 * HOUR, tight.time_s, tight.mass_loss_fraction))
    assert after_12_h == pytest.approx(42.0, abs=3.0)


def test_the_published_standstill_is_nearly_met_without_a_parameter_made_for_it() -> None:
    """67 °C for almost six hours: how near, with which amount injected.

    Within 5 K still looks like standing on a dial. Nothing was chosen for this cook: the
    permeability is that of the cubes and the roast, the chamber is set "tight" of its table.
    Found (see the table of trust): 2.3 to 3.7 h without injection, 2.9 to 4.8 h with 10 %, 3.7
    to 5.5 h with 20 %, over 3 to 0.75 kg/h of fresh air; about 63 to 72 °C. So with 20 % three
    fifths to nine tenths of the length, at the right height. What is missing is in the film's
    capacity and the permeability: at the ends of their ranges it stands for six hours.
    """
    fresh = tables.load("ventilation", "tight")["fresh_air_nearly_closed"]
    stands = {
        injected: longest_stand(standstill(injected, fresh), 5.0, 50.0, 80.0)
        for injected in (0.0, 0.1, 0.2)
    }
    hours = {injected: stand[0] for injected, stand in stands.items()}
    print({k: f"{v:.1f} h about {stands[k][1]:.0f} °C" for k, v in hours.items()})
    # More injected stands longer, none of them as long as printed.
    assert 2.0 <= hours[0.0] < hours[0.1] < hours[0.2] <= 6.0
    assert hours[0.2] >= 0.6 * 6.0
    for _, level in stands.values():
        # Half a band, and as much again: mass, pan and fresh air are assumed.
        assert level == pytest.approx(67.0, abs=5.0)
    sealed = standstill(0.2, fresh, evaporation=False, hours=10.0)
    assert longest_stand(sealed, 5.0, 50.0, 80.0)[0] < 1.0


def test_the_length_of_the_standstill_is_as_unsure_as_film_and_permeability() -> None:
    """Over their ranges the same injected piece stands between three and over six hours."""
    film = tables.load("surface").record("film_capacity")
    lengths = []
    for permeability, capacity in ((0.8e-16, film.range[1]), (1.9e-16, film.range[0])):
        transport = tables.load("transport", cw.FLOWING["transport"])
        material = cw.meat(
            "beef brisket flat",
            transport=transport.replace(permeability=permeability),
            water_holding=cw.FLOWING["water_holding"],
            surface=tables.load("surface").replace(film_capacity=capacity),
        )
        # The chamber so tight that the plateau has the printed height.
        around = cw.Chamber(
            107.0, 0.75, outside_dew_point_c=10.0, heat_transfer=8.0, water_kg_h=0.1
        )
        piece = cw.Piece(cw.Slab(0.06), material, 4.0, 3.0, 0.2)
        r = cw.simulate(piece, cw.Stage(around, duration_s=24 * HOUR))
        lengths.append(longest_stand(r, 5.0, 50.0, 80.0)[0])
    print([f"{hours:.1f} h" for hours in lengths])
    assert lengths[0] > 6.0
    assert lengths[1] < lengths[0] - 1.0
