"""Materials and problems whose exact solution is known, made for the tests."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from coreward.physics.body import Mesh, Shape, make_mesh
from coreward.physics.meat import constant_material, meat
from coreward.physics.problem import Forcing, Problem
from coreward.physics.statement import MaterialConstants, SurfaceConditions
from coreward.physics.water import saturation_temperature

Floats = NDArray[np.float64]
PRESSURE = 101325.0


def bare_constants(
    *,
    k: tuple[float, float],
    dry: tuple[float, float],
    water: float,
    diffusivity: float = 0.0,
    monolayer: float = 0.08,
) -> MaterialConstants:
    """Moist, but with only the terms asked for: k = k0 + k1 T, c = c0 + c1 T.

    Water has no heat capacity, nothing is squeezed out, nothing denatures.
    """
    m = meat().constants
    changes = dict.fromkeys(
        (
            "dry_c2", "water_c0", "water_c1", "water_c2", "rho_water_1", "rho_water_2",
            "rho_solids_1", "rho_fat_1", "k_water_2", "k_solids_2", "k_fat_2",
            "expulsion_rate", "permeability", "rewetting_rate", "fusion",
            "denature_1", "denature_2", "denature_3", "diffusivity_activation",
        ),
        0.0,
    )  # fmt: skip
    return m._replace(
        **changes,
        dry_c0=dry[0],
        dry_c1=dry[1],
        k_water_0=k[0],
        k_water_1=k[1],
        k_solids_0=k[0],
        k_solids_1=k[1],
        k_fat_0=k[0],
        k_fat_1=k[1],
        cooked_factor=1.0,
        raw_water=water,
        diffusivity=diffusivity,
        monolayer=monolayer,
    )


def dry_constants(k: float, capacity: float) -> MaterialConstants:
    """Fixed properties, no water."""
    return constant_material(k, 1000.0, capacity / 1000.0).constants


def conditions(vapour_factor: float = 1.0) -> SurfaceConditions:
    return SurfaceConditions(
        emissivity=0.0,
        pressure=PRESSURE,
        boiling_c=float(saturation_temperature(PRESSURE)),
        vapour_factor=vapour_factor,
        thermal_resistance=0.0,
        juice_capacity=1.0,
    )


def problem(
    shape: Shape,
    material: MaterialConstants,
    forcing: Forcing,
    *,
    cells: int,
    duration_s: float,
    temperature_c: object,
    water: object = None,
    vapour_factor: float = 1.0,
    tolerance: float = 1e-6,
    grading: float = 0.0,
) -> Problem:
    """Build a problem; start fields are functions of position, or numbers."""
    mesh: Mesh = make_mesh(shape, cells, grading)

    def field(given: object) -> Floats:
        if callable(given):
            return np.asarray(given(mesh.position), dtype=float)
        return np.full(cells, float(given))  # type: ignore[arg-type]

    t = field(temperature_c)
    return Problem(
        shape=shape,
        mesh=mesh,
        material=material,
        conditions=conditions(vapour_factor),
        forcing=forcing,
        temperature_c=t,
        water=field(material.raw_water if water is None else water),
        film=0.0,
        highest_c=t.copy(),
        duration_s=duration_s,
        until_core_c=None,
        tolerance=tolerance,
    )


def steady(air_c: float, h: float, vapour_pressure: float = 0.0) -> Forcing:
    """Constant surroundings."""
    one = np.ones(1)
    return Forcing(np.zeros(1), air_c * one, air_c * one, vapour_pressure * one, h * one)
