"""What crosses a face: area, spacing, mean conductivity, for every shape and closure."""

from __future__ import annotations

import numpy as np
import pytest

import coreward as cw
from coreward.physics import statement
from coreward.physics.body import make_mesh
from coreward.physics.chamber import OPEN
from coreward.physics.engines import fast
from coreward.physics.problem import LEDGER
from coreward.physics.statement import SurfaceConditions


@pytest.mark.parametrize("shape", [cw.Slab(0.08), cw.Cylinder(0.08), cw.Sphere(0.08)])
@pytest.mark.parametrize("closure", ["expulsion", "swelling_pressure"])
def test_the_centre_loses_what_crosses_its_face(shape, closure):
    m = cw.meat("beef brisket flat", transport=closure).constants
    mesh = make_mesh(shape, 12)
    # Cold, so that nothing is expelled; uneven, so that everything flows.
    t = np.linspace(8.0, 20.0, 12)
    w = np.linspace(560.0, 420.0, 12)
    f_e, f_w, k = np.empty(12), np.empty(12), np.empty(12)
    fast._rates(
        t,
        w,
        0.0,
        0.0,
        t.copy(),
        np.array([20.0, 20.0, 1000.0, 0.0]),
        mesh.face_area,
        mesh.spacing,
        mesh.volume,
        mesh.surface_area,
        SurfaceConditions(0.0, 101325.0, 100.0, 0.0, 0.0, 0.2),
        m,
        OPEN,
        f_e,
        f_w,
        np.empty(len(LEDGER)),
        k,
    )
    over = mesh.face_area[0] / mesh.spacing[0]
    middle = 0.5 * (t[0] + t[1])
    water = over * statement.moisture_diffusivity(middle, m) * (w[0] - w[1])
    if closure == "swelling_pressure":
        push = statement.swelling_pressure(t[0], w[0], t[0], m)
        push -= statement.swelling_pressure(t[1], w[1], t[1], m)
        water += (
            over
            * statement.carried_water(w[0], w[1], push)
            * statement.mobility(middle, m)
            * push
        )
    mean = 0.5 * (
        statement.conductivity(t[0], w[0], t[0], m)
        + statement.conductivity(t[1], w[1], t[1], m)
    )
    source = t[0] if water > 0.0 else t[1]
    heat = over * mean * (t[0] - t[1]) + water * statement.water_enthalpy(source, m)
    # rounding only: the same numbers, put together here a second time
    assert f_w[0] == pytest.approx(-water, rel=1e-11)
    assert f_e[0] == pytest.approx(-heat, rel=1e-11)
