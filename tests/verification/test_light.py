"""The light way of asking the engine says what the full one says."""

from __future__ import annotations

import dataclasses
import itertools
from collections.abc import Sequence

import numpy as np
import pytest

import coreward as cw
from coreward.cook.light import LIGHT_CELLS, Leg, LightCook, run_light, spread
from coreward.cook.march import chamber_constants, make_forcing, surface_conditions
from coreward.cook.stages import LONGEST_STAGE_S
from coreward.physics.body import make_mesh

HOUR = 3600.0
PIT = cw.Surroundings(110.0, dew_point_c=30.0)
CASES = {
    "bare slab": (cw.Slab(0.08), [cw.Stage(PIT, duration_s=8 * HOUR)]),
    "wrapped cylinder": (
        cw.Cylinder(0.11),
        [
            cw.Stage(PIT, until_core_c=66.0),
            cw.Stage(PIT, until_core_c=90.0, wrap="foil"),
        ],
    ),
    "chamber": (
        cw.Slab(0.05),
        [
            cw.Stage(cw.Chamber(107.0, 1.5, heat_transfer=8.0), until_core_c=68.0),
            cw.Stage(cw.Chamber(107.0, 4.0, heat_transfer=8.0), duration_s=2 * HOUR),
        ],
    ),
    "small sphere": (cw.Sphere(0.09), [cw.Stage(PIT, duration_s=3 * HOUR)]),
}


def light_cook(piece: cw.Piece, stages: Sequence[cw.Stage]) -> LightCook:
    """The same cook as legs, as fits and plans make them."""
    legs = []
    mesh = make_mesh(piece.shape, LIGHT_CELLS)
    for stage in stages:
        longest = LONGEST_STAGE_S if stage.duration_s is None else stage.duration_s
        around = stage.surroundings
        forcing, _ = make_forcing(piece, around, longest, mesh)
        surface, chamber = (
            surface_conditions(piece, stage),
            chamber_constants(piece, around, mesh),
        )
        legs.append(Leg(forcing, surface, longest, stage.until_core_c, chamber=chamber))
    constants = piece.material.constants
    return LightCook(piece.shape, constants, piece.start_c, tuple(legs), piece.injected_water)


@pytest.mark.parametrize("name", CASES)
def test_same_settings_same_answer(name: str) -> None:
    shape, stages = CASES[name]
    piece = cw.Piece(shape, cw.meat(), 5.0, 5.0, 0.05)
    full = cw.simulate(piece, stages, cells=40, tolerance=0.05)
    at_s = full.step_time_s[full.step_time_s < full.time_s[-1]]
    light = run_light(light_cook(piece, stages), at_s, cells=40, tolerance=0.05)

    def there(values: np.ndarray) -> np.ndarray:
        return np.interp(at_s, full.time_s, values)

    # The same solver steps, read at the same moments: only rounding may differ, and at
    # the border of two stages which of the two rows is meant.
    assert np.abs(light.core_c - there(full.core_c)).max() < 1e-6
    assert np.abs(light.evaporated_fraction - there(full.evaporated_fraction)).max() < 2e-5
    water = full.mass_loss_fraction - full.rendered_fat_fraction
    assert np.abs(light.water_loss_fraction - there(water)).max() < 2e-3
    assert light.leg_end_s[-1] == pytest.approx(full.time_s[-1], abs=1e-6)
    assert light.vapour_pressure == pytest.approx(there(full.environment[:, 2]), rel=1e-6)


@pytest.mark.parametrize("name", CASES)
def test_coarse_settings_stay_close(name: str) -> None:
    shape, stages = CASES[name]
    piece = cw.Piece(shape, cw.meat(), 5.0, 5.0, 0.05)
    full = cw.simulate(piece, stages)
    at_s = np.arange(0.0, full.time_s[-1], 600.0)
    light = run_light(light_cook(piece, stages), at_s)
    # A fit takes readings to be good to 0.15 K at best (table forecast, noise_least);
    # a sphere's centre is the hardest (does-it-solve-its-equations).
    limit = 0.35 if name == "small sphere" else 0.15
    assert np.abs(light.core_c - np.interp(at_s, full.time_s, full.core_c)).max() < limit


def test_probe_between_core_and_surface() -> None:
    piece = cw.Piece(cw.Slab(0.08), cw.meat(), 5.0)
    cook = light_cook(piece, [cw.Stage(PIT, duration_s=2 * HOUR)])
    at_s = np.arange(0.0, 2 * HOUR, 600.0)
    runs = [run_light(cook, at_s, depth) for depth in (0.0, 0.3, 0.7, 1.0)]
    assert np.array_equal(runs[0].probe_c, runs[0].core_c)
    assert np.allclose(runs[3].probe_c, runs[3].surface_c, atol=1e-9)
    for inner, outer in itertools.pairwise(runs):
        assert (outer.probe_c[1:] >= inner.probe_c[1:]).all()


def test_spread_keeps_the_order_and_any_number_of_cores_agrees() -> None:
    items = list(range(37))
    assert spread(lambda x: x * x, items, cores=1) == [x * x for x in items]
    assert spread(lambda x: x * x, items, cores=3) == [x * x for x in items]


def test_a_core_that_is_past_its_mark_goes_on_at_once() -> None:
    piece = cw.Piece(cw.Slab(0.05), cw.meat(), 5.0)
    first, wrapped = light_cook(
        piece, [cw.Stage(PIT, until_core_c=60.0), cw.Stage(PIT, duration_s=HOUR, wrap="foil")]
    ).legs
    late = dataclasses.replace(first, until_core_c=50.0, from_below=True)
    cook = LightCook(piece.shape, piece.material.constants, 5.0, (first, late, wrapped))
    straight = LightCook(piece.shape, piece.material.constants, 5.0, (first, wrapped))
    at_s = np.arange(0.0, 6 * HOUR, 600.0)
    run = run_light(cook, at_s)
    assert np.array_equal(run.core_c, run_light(straight, at_s).core_c)
    assert run.reached == (True, True, False)
    assert run.leg_end_s[1] == run.leg_end_s[0]
