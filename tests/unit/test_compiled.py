import math

import numpy as np
import pytest
from numba import njit

from coreward.physics import statement
from coreward.physics.compiled import exponential
from coreward.physics.meat import meat


@njit
def _exponentials(x):
    out = np.empty_like(x)
    for i in range(x.shape[0]):
        out[i] = exponential(x[i])
    return out


def test_the_exponential_is_exact_to_rounding():
    x = np.concatenate([np.linspace(-690.0, 690.0, 20001), np.linspace(-1e-3, 1e-3, 101)])
    ours = _exponentials(x)
    exact = np.array([math.exp(v) for v in x])
    # two units in the last place: one of the polynomial, one of the last product
    assert np.max(np.abs(ours / exact - 1.0)) < 4.5e-16


def test_the_exponential_is_clamped_and_not_broken_far_out():
    ours = _exponentials(np.array([-1e6, 1e6]))
    assert 0.0 <= ours[0] < 1e-300
    assert np.isfinite(ours[1])


@pytest.mark.parametrize("resistance", [0.0, 0.002, 0.05, 0.25])
@pytest.mark.parametrize("emissivity", [0.0, 0.3, 0.9])
def test_heat_slope_is_the_slope_of_the_heat(emissivity, resistance):
    """The sign of the radiative part was once wrong: wraps did not converge."""
    m = meat().constants
    c = statement.SurfaceConditions(emissivity, 101325.0, 100.0, 1.0, resistance, 0.2)

    def heat(t):
        x = statement.surface_exchange(t, 500.0, 0.01, t, 120.0, 90.0, 3000.0, 8.0, c, m)
        return x.convection + x.radiation

    d = 1e-3
    slope = (heat(60.0 + d) - heat(60.0 - d)) / (2 * d)
    x = statement.surface_exchange(60.0, 500.0, 0.01, 60.0, 120.0, 90.0, 3000.0, 8.0, c, m)
    assert x.heat_slope == pytest.approx(slope, rel=1e-5)
    assert slope < 0.0


def test_a_thick_wrap_with_radiation_solves():
    """Reproduction of the failure: 'could not be continued after 0 s'."""
    import coreward as cw
    from coreward import tables

    wrap = tables.load("wrap", "foil").replace(thermal_resistance=0.25, emissivity=0.9)
    room = cw.Surroundings(21.0, dew_point_c=10.0, heat_transfer=4.2)
    pit = cw.Surroundings(110.0, dew_point_c=30.0, heat_transfer=10.0)
    piece = cw.Piece(cw.Slab(0.06), cw.meat(), 4.0)
    r = cw.simulate(
        piece,
        [cw.Stage(pit, until_core_c=60.0), cw.Stage(room, duration_s=7200.0, wrap=wrap)],
    )
    assert r.core_c[-1] > 40.0
    assert r.balance.energy < 1e-10
