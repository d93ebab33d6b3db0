"""What the cases of the table of trust share: assumed surroundings, small readings."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from coreward import tables
from coreward.cook.stages import Piece, Surroundings
from coreward.cook.usual_piece import piece
from coreward.evidence.published import published_cases
from coreward.physics.body import FiniteCylinder, Shape

Floats = NDArray[np.float64]


HOUR = 3600.0


LONGEST_H = 60.0


def volume(shape: Shape) -> float:
    """Volume per unit of what a slab (m²) or a cylinder (m) leaves out."""
    r = shape.half_size
    return (2.0 * r, math.pi * r * r, 4.0 / 3.0 * math.pi * r**3)[int(shape.exponent)]


def crossing(time_s: Floats, values: Floats, target: float) -> float:
    """Return when a curve first crosses `target`, from either side. NaN if never."""
    before = values[0] < target
    past = (values >= target) if before else (values <= target)
    if not past.any():
        return math.nan
    i = int(np.argmax(past))
    if i == 0:
        return float(time_s[0])
    f = (target - values[i - 1]) / (values[i] - values[i - 1])
    return float(time_s[i - 1] + f * (time_s[i] - time_s[i - 1]))


def observations() -> dict[str, Any]:
    """Return the published cooks, by name."""
    return published_cases("cooks.toml")


def assumed() -> dict[str, Any]:
    """Return what is assumed where the sources are silent."""
    values: dict[str, Any] = observations()["assumed"]
    return values


def usual_oven(air_c: float | None = None) -> Surroundings:
    """Return the assumed oven, at a temperature of choice."""
    a = assumed()
    return Surroundings(
        a["oven_c"] if air_c is None else air_c,
        dew_point_c=a["oven_dew_point_c"],
        heat_transfer=a["oven_heat_transfer"],
    )


def usual_piece(cut: str) -> Piece:
    """Return a cut at its usual weight, in its usual proportions."""
    made: Piece = piece(cut, tables.load("piece", cut)["mass"])
    return made


def roast_shape(mass: float, diameter: float | None = None) -> FiniteCylinder:
    """Return a cylinder of this mass; its length a fixed multiple of it if none is printed."""
    a = assumed()
    volume = mass / a["raw_density"]
    if diameter is None:
        diameter = (4.0 * volume / (math.pi * a["length_over_diameter"])) ** (1.0 / 3.0)
    return FiniteCylinder(diameter, 4.0 * volume / (math.pi * diameter**2))


def usual_kitchen(evaporation: bool = True) -> Surroundings:
    """Return the assumed kitchen."""
    a = assumed()
    return Surroundings(
        a["kitchen_c"],
        dew_point_c=a["kitchen_dew_point_c"],
        air_speed=a["kitchen_air_speed"],
        evaporation=evaporation,
    )


def unmoved_water() -> tables.ParameterSet:
    """Transport that leaves the water where it is."""
    return tables.load("transport", "expulsion").replace(expulsion_rate=0.0)
