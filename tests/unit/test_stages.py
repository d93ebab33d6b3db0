import numpy as np
import pytest

from coreward.cook.stages import Piece, Stage, Surroundings
from coreward.errors import CorewardError, InputError
from coreward.physics.body import Slab
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
    ],
)
def test_impossible_stages_are_refused(arguments, message):
    with pytest.raises(CorewardError, match=message):
        Stage(PIT, **arguments)


def test_pressure_at_altitude_is_the_standard_atmosphere():
    # ICAO standard atmosphere: 101 325 Pa at 0 m, 79 495 Pa at 2000 m (from memory)
    assert Surroundings.pressure_at(0.0) == pytest.approx(101325.0)
    assert Surroundings.pressure_at(2000.0) == pytest.approx(79495.0, rel=1e-3)
