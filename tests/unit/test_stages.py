import numpy as np
import pytest

from coreward.cook.simulate import simulate
from coreward.cook.stages import Liquid, Piece, Stage, Surroundings
from coreward.errors import CorewardError, InputError, SolverError
from coreward.physics.body import Slab, Sphere
from coreward.physics.meat import constant_material, meat

PIT = Surroundings(107.0, dew_point_c=35.0)


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ({"air_c": float("nan")}, "finite"),
        ({"air_c": "hot"}, "number or a pair"),
        ({"air_c": 5000.0}, "must lie between"),
        ({"air_c": 107.0, "dew_point_c": 120.0}, "at or above boiling"),
        ({"air_c": 107.0, "dew_point_c": 95.0, "pressure_pa": 80e3}, "at or above boiling"),
        ({"air_c": 20.0, "dew_point_c": 25.0}, "above the air temperature"),
        ({"air_c": 107.0, "pressure_pa": 101.325}, "between 60 and 105 kPa"),
        ({"air_c": 107.0, "emissivity": 1.2}, "emissivity"),
        ({"air_c": 107.0, "air_speed": -1.0}, "air speed"),
        ({"air_c": 107.0, "radiant_flux": 1e6}, "between 0 and 50 kW/m²"),
        ({"air_c": 107.0, "radiant_flux": -1.0}, "radiant flux"),
        ({"air_c": 107.0, "radiant_flux": float("nan")}, "radiant flux"),
        ({"air_c": 107.0, "radiant_flux": 1e4, "emissivity": 0.0}, "emissivity 0"),
        ({"air_c": 107.0, "heat_transfer": -5.0}, "heat transfer"),
        ({"air_c": ([0.0, 60.0, 30.0], [20.0, 100.0, 100.0])}, r"row 3 \(30 s\)"),
        ({"air_c": ([0.0, 60.0, 60.0], [20.0, 100.0, 100.0])}, "duplicates"),
        ({"air_c": ([0.0, 60.0], [20.0, float("nan")])}, "row 2"),
        ({"air_c": ([0.0, 60.0], [20.0])}, "as many values as times"),
        ({"air_c": ([0.0, 1.0], ["a", "b"])}, "numbers only"),
        ({"air_c": ([0.0, 60.0], [20.0, 9000.0])}, "row 2 of its time series"),
        ({"air_c": (1.0, 2.0, 3.0)}, "pair"),
    ],
)
def test_impossible_surroundings_are_refused_by_name(arguments, message):
    with pytest.raises(InputError, match=message):
        Surroundings(**arguments)


def test_a_late_start_of_a_series_is_held_back_to_the_beginning():
    series = Surroundings(([600.0, 1200.0], [50.0, 100.0])).series()["air_c"]
    assert series.time_s[0] == 0.0
    assert series.at(np.array([0.0]))[0] == 50.0


def test_default_humidity_never_exceeds_saturation():
    for air in (-8.0, 2.0, 15.0, 60.0, 150.0):
        s = Surroundings(air).series()
        assert s["dew_point_c"].value[0] < air


@pytest.mark.parametrize("start", [-5.0, 150.0, float("nan")])
def test_meat_must_start_between_thawed_and_boiling(start):
    with pytest.raises(InputError, match="start temperature"):
        Piece(Slab(0.09), meat(), start)


def test_frozen_meat_is_named_as_outside_the_model():
    with pytest.raises(InputError, match="thaw it first"):
        Piece(Slab(0.09), meat(), -18.0)
    Piece(Slab(0.09), constant_material(0.5, 1000.0, 3500.0), -18.0)


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ({}, "duration"),
        ({"duration_s": -1.0}, "duration"),
        ({"duration_s": float("inf")}, "duration"),
        ({"until_core_c": float("nan")}, "finite"),
        ({"duration_s": 60.0, "wrap": "foli"}, "foil"),
        ({"duration_s": 60.0, "liquid": Liquid(0.2, 20.0, 3.0)}, "needs a wrap that keeps it"),
        ({"duration_s": 60.0, "wrap": "foil", "liquid": 0.2}, "must be a Liquid"),
        (
            {"duration_s": 60.0, "wrap": "foil", "liquid": Liquid(0.2, 100.5, 3.0)},
            "below boiling",
        ),
    ],
)
def test_impossible_stages_are_refused(arguments, message):
    with pytest.raises(CorewardError, match=message):
        Stage(PIT, **arguments)


@pytest.mark.parametrize(
    ("numbers", "message"),
    [
        ((0.0, 20.0, 3.0), "mass of the liquid"),
        ((0.2, 20.0, -3.0), "mass of the piece"),
        ((float("nan"), 20.0, 3.0), "mass of the liquid"),
        ((0.2, -5.0, 3.0), "0 °C or warmer"),
    ],
)
def test_impossible_liquids_are_refused(numbers, message):
    with pytest.raises(InputError, match=message):
        Liquid(*numbers)


@pytest.mark.parametrize(
    ("shape", "material", "wrap", "liquid", "message"),
    [
        # The mass says how much surface there is.
        (Slab(0.05), meat(), "foil", Liquid(0.24, 20.0), "raw mass of the piece"),
        # A sheet of paper soaks up a few spoons and not a cup.
        (Slab(0.05), meat(), "paper", Liquid(0.24, 20.0, 3.0), "keeps at most 0.0"),
        (
            Slab(0.05),
            constant_material(0.5, 1000.0, 3500.0),
            "foil",
            Liquid(0.24, 20.0, 3.0),
            "moist material",
        ),
    ],
)
def test_liquid_that_cannot_be_used_is_refused(shape, material, wrap, liquid, message):
    stage = Stage(PIT, duration_s=60.0, wrap=wrap, liquid=liquid)
    with pytest.raises(InputError, match=message):
        simulate(Piece(shape, material, 20.0), stage)


def test_a_ball_knows_how_much_surface_the_liquid_has():
    ball = Piece(Sphere(0.12), meat(), 20.0)
    mass = ball.material.raw_density * np.pi / 6.0 * 0.12**3

    def film(liquid):
        stage = Stage(PIT, duration_s=0.0, wrap="foil", liquid=liquid)
        return simulate(ball, stage).film[-1]

    assert film(Liquid(0.1, 20.0)) == pytest.approx(0.1 / (np.pi * 0.12**2), rel=1e-9)
    assert film(Liquid(0.1, 20.0, mass)) == pytest.approx(film(Liquid(0.1, 20.0)), rel=1e-9)


def test_what_the_wrap_cannot_keep_drips_and_is_said():
    """Paper keeps 0.3 kg/m² with the film; the juice of two pours does not fit."""
    small = Liquid(0.02, 20.0, 3.0)
    stage = Stage(PIT, duration_s=600.0, wrap="paper", liquid=small)
    result = simulate(Piece(Slab(0.05), meat(), 20.0), [stage, stage])
    assert any("cannot keep all" in note for note in result.warnings)
    assert result.dripped_fraction[-1] > 0.0
    assert result.film[-1] < result.film.max()
    once = simulate(Piece(Slab(0.05), meat(), 20.0), stage)
    assert not any("cannot keep all" in note for note in once.warnings)
    assert any("spread over the whole surface" in note for note in once.warnings)


def test_a_flux_is_part_of_the_wall_and_burns_are_said():
    series = Surroundings(100.0, radiant_flux=2e4).series()
    assert series["wall_c"].value[0] > 500.0
    assert series["air_c"].value[0] == 100.0
    piece = Piece(Slab(0.04), meat(), 20.0)
    hot = Surroundings(100.0, radiant_flux=5e4)
    result = simulate(piece, Stage(hot, duration_s=60.0))
    assert result.surface_c[-1] > 250.0
    assert any("browning and charring" in str(note) for note in result.warnings)
    with pytest.raises(SolverError, match=r"50 kW/m² for so long burns"):
        simulate(piece, Stage(hot, duration_s=1800.0))
    mild = simulate(piece, Stage(Surroundings(100.0, radiant_flux=1e4), duration_s=30.0))
    assert not mild.warnings


def test_a_note_of_a_stage_comes_with_the_result():
    piece = Piece(Slab(0.04), meat(), 20.0)
    stage = Stage(PIT, duration_s=60.0, note="Only nearly so.")
    assert simulate(piece, [stage, stage]).warnings == ("Only nearly so.",)


@pytest.mark.parametrize("off_k", [0.0, 5e-6, -5e-6])
def test_a_core_that_is_there_does_not_wait_to_come_from_the_other_side(off_k):
    """A second stage to the same core is over at once, wherever the first one landed."""
    piece = Piece(Slab(0.04), meat(), 20.0)
    stages = [Stage(PIT, until_core_c=50.0), Stage(PIT, until_core_c=50.0 + off_k)]
    result = simulate(piece, stages)
    assert result.records[1].end_s - result.records[1].begin_s < 1.0
    assert [record.reached for record in result.records] == [True, True]
    assert not result.warnings


def test_a_grain_that_is_no_direction_is_refused():
    with pytest.raises(InputError, match=r"lengthwise, crosswise or through; it is 'upwards'"):
        Piece(Slab(0.05), meat("beef brisket flat"), 4.0, grain="upwards")
