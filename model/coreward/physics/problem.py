"""What an engine is given, and what it gives back. No meat, no cook, no units."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from coreward.physics.body import Mesh, Shape
from coreward.physics.chamber import OPEN, ChamberConstants
from coreward.physics.statement import MaterialConstants, SurfaceConditions

Floats = NDArray[np.float64]

# What an engine keeps account of, in this order, each per unit of what the
# symmetry of the mesh leaves out (see `Mesh`), since the start of the stage.
LEDGER = (
    "heat_in",
    "evaporated",
    "evaporated_energy",
    "boiled",
    "boiled_energy",
    "dripped",
    "dripped_energy",
    "vapour_in",
    "vapour_out",
    "condensed",
)


@dataclass(frozen=True)
class Forcing:
    """Surroundings through one stage, linear between the given times.

    Attributes
    ----------
    time_s : ndarray, shape (n,)
        From the start of the stage, first 0, strictly increasing. [s]
    air_c, wall_c : ndarray, shape (n,)
        [°C]
    vapour_pressure : ndarray, shape (n,)
        Of the air where the humidity is given, of the fresh air in a chamber. [Pa]
    heat_transfer : ndarray, shape (n,)
        Convective coefficient. [W/(m² K)]
    fresh_air, brought : ndarray, shape (n,), or None
        In a chamber: dry fresh air, and vapour from fuel and pan, per unit of the mesh.
        [kg/s]
    """

    time_s: Floats
    air_c: Floats
    wall_c: Floats
    vapour_pressure: Floats
    heat_transfer: Floats
    fresh_air: Floats | None = None
    brought: Floats | None = None


@dataclass(frozen=True)
class Problem:
    """One stage: the statement's constants, a mesh, a start and surroundings.

    `vapour` is what the air of a closed `chamber` holds at the start, per unit of the
    mesh. [kg]
    """

    shape: Shape
    mesh: Mesh
    material: MaterialConstants
    conditions: SurfaceConditions
    forcing: Forcing
    temperature_c: Floats
    water: Floats
    film: float
    highest_c: Floats
    duration_s: float
    until_core_c: float | None
    tolerance: float
    chamber: ChamberConstants = OPEN
    vapour: float = 0.0


@dataclass(frozen=True)
class Raw:
    """Solution of one stage at the solver's own steps.

    `water` is kg per m³ of raw piece; `film` kg/m²; the slopes serve cubic
    interpolation between steps; `ledger` has one column for each of `LEDGER`; `vapour` is
    what a chamber's air holds, per unit of the mesh [kg], None where there is none.
    """

    time_s: Floats
    temperature_c: Floats
    water: Floats
    film: Floats
    highest_c: Floats
    temperature_slope: Floats
    water_slope: Floats
    film_slope: Floats
    ledger: Floats
    reached: bool
    steps: int
    rejected: int
    vapour: Floats | None = None
