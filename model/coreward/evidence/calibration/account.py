"""What is calibrated: accounts of how water travels, their shared numbers, and their cooks."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cache
from types import MappingProxyType
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray
from scipy import special

from coreward import tables
from coreward.cook.light import LIGHT_CELLS, Leg, LightCook, LightRun, run_light
from coreward.cook.march import (
    chamber_constants,
    convection,
    make_forcing,
    surface_conditions,
)
from coreward.cook.stages import Around, Chamber, Piece, Series, Stage, Surroundings
from coreward.evidence.calibration.measured import LOGARITHMIC, Bout, Measured, Reading
from coreward.physics.body import FiniteShape, Mesh, Shape, make_mesh
from coreward.physics.meat import Material, constant_material, meat, with_bone
from coreward.physics.statement import MaterialConstants
from coreward.physics.water import saturation_temperature

Floats = NDArray[np.float64]
HOUR_S = 3600.0


@dataclass(frozen=True)
class Account:
    """A way of moving water, and of saying how damp an oven is.

    Attributes
    ----------
    name : str
    transport, water_holding : str
        Sets of these tables from which the shared numbers depart.
    sized : bool
        Whether juice is let go at the pace of the slowest decay of pressed flow, which
        depends on size; else at one rate for every size.
    chamber : bool
        Whether ovens and pits are closed rooms that the meat makes damp.
    changed : tuple of (str, float)
        Numbers of `transport` from which it departs instead.
    """

    name: str
    transport: str
    water_holding: str
    sized: bool = False
    chamber: bool = False
    changed: tuple[tuple[str, float], ...] = ()

    @property
    def shared(self) -> tuple[str, ...]:
        """Names of its shared numbers."""
        return tuple(
            name
            for name in SHARED
            if not (name == "release" and self.transport == "swelling_pressure")
            and not (name == "surface_share" and self.transport == "swelling_pressure")
            and not (name == "permeability" and self.transport == "expulsion")
        )


ACCOUNTS: Final[tuple[Account, ...]] = (
    Account("expulsion", "expulsion", "honikel_fit"),
    Account("swelling_pressure", "swelling_pressure", "through_flow"),
    Account("both", "both", "honikel_fit"),
    Account("sized release in a chamber", "expulsion", "through_flow", True, True),
    Account("swelling_pressure in a chamber", "swelling_pressure", "through_flow", False, True),
    # Slower flow, and a part that is let go within hours and mostly runs off.
    Account(
        "flow and drain", "both", "through_flow",
        changed=(("permeability", 1e-16), ("expulsion_rate", 1.0 / 7200.0),
                 ("surface_share", 0.4)),
    ),
)  # fmt: skip


@dataclass(frozen=True)
class Shared:
    """A shared number: ``middle`` and ``spread`` of its bell curve, and on what scale."""

    middle: float
    spread: float
    scale: str
    reason: str


SHARED: Final[Mapping[str, Shared]] = MappingProxyType(
    {
        "film": Shared(
            math.log(1.2), 0.25, "ln",
            "real air is turbulent: smooth-stream coefficients are too low, none to twofold",
        ),
        "conductivity": Shared(0.0, 0.07, "ln", "models of it scatter by 7 to 10 %"),
        "hold_midpoint": Shared(0.0, 2.5, "K", "as in table forecast"),
        "hold_drop": Shared(0.0, 0.12, "ln", "as in table forecast"),
        "hold_width": Shared(0.0, 0.2, "ln", "4 to 13 K in print"),
        "release": Shared(0.0, 0.8, "ln", "20 min to 3 h in use for 2 cm of volume per area"),
        "surface_share": Shared(0.0, 1.0, "logit", "no measurement; 0.3 to 1 in the table"),
        "permeability": Shared(0.0, 1.2, "ln", "6.8e-18 to 1.9e-16 m2 across the grain"),
        "rendering": Shared(0.0, 0.7, "logit", "share of the fat lost runs from 0 to 0.5"),
        "cover": Shared(
            0.0, 0.8, "logit",
            "share of a bare surface's vapour that passes a cap of fat, bones or skin, about "
            "0.6: fat as low as half of lean (Lovett 1978, read), on part of the surface",
        ),
        "damp": Shared(0.0, 1.0, "-", "of ovens in general: 8 K, or a factor of 1.8 of air"),
        "size": Shared(
            0.0, 0.1, "ln",
            "usual proportions (table piece) are common practice: one piece strays from them "
            "by 12 to 20 % in thickness, so their middle may be off by about half of that",
        ),
    }
)  # fmt: skip
"""Prior of the shared numbers, about what the tables say (the film: about a stream that is
moderately turbulent)."""

# Dew point of ordinary ovens and pits where an account states it, how far the middle of all
# and one of them may lie off; fresh air likewise where the meat makes its own damp.
_DEW_C = {"oven": 42.0, "pit": 35.0}
_DEW_SHARED_K, _DEW_OWN_K = 8.0, 9.0
_FRESH_KG_H = {"oven": 4.0, "pit": 8.0}
_FRESH_SHARED, _FRESH_OWN = 0.6, 0.7
_ROOM_M3 = {"oven": 0.06, "pit": 0.1}
_FIRE_WATER_KG_H = {"oven": 0.0, "pit": 0.15}
_WALL_OFFSET_K = {"pit": -5.0}
# Of a vacuum bag, a mould: two films of plastic or metal and what air is trapped.
_PACK_M2K_W = 0.002
_BATH_W_M2K = 300.0
_SLOWEST = math.pi**2 / 6.0
_SHARE = (0.2, 1.0)
_COVERED, _COVERED_RANGE = 0.6, (0.15, 1.0)
# The body that stands for a piece with ends stores too much heat outside. Exact products for
# finite cylinders rise 0.69 to 0.79 times as far in the rest (a test computes them).
LIKE_RISE = 0.73
_DEPTHS = np.array([0.2, 0.5, 0.72, 0.88, 1.0])
_STEP_S = 240.0


def _stretched(z: float, middle: float, low: float, high: float) -> float:
    at = special.logit(np.clip((middle - low) / (high - low), 0.02, 0.98))
    return float(low + (high - low) * special.expit(at + z))


@cache
def _like(shape: Shape) -> Shape:
    """What a shape is computed as; found once, for it does not change with size."""
    return shape.like() if isinstance(shape, FiniteShape) else shape


@cache
def _smooth_film(shape: Shape, start_c: float, speed: float | None, air_c: float) -> float:
    """Coefficient of a smooth stream. [W/(m² K)]."""
    dry = Piece(shape, constant_material(0.45, 1050.0, 3500.0), start_c)
    around = Surroundings(air_c, dew_point_c=-20.0, air_speed=speed)
    return float(convection(dry, around, np.array([air_c]))[0])


@cache
def _usual_meat(cut: str, transport: str, holding: str, bone: float) -> Material:
    return with_bone(meat(cut, transport=transport, water_holding=holding), bone)


def matters(row: Measured, account: Account) -> tuple[bool, ...]:
    """Which of an account's shared numbers can move what a row reads."""
    hot = {bout.place for bout in row.recipe.bouts}
    still = {"film", "conductivity", "size"}
    idle: set[str] = set() if hot & {"oven", "pit"} else {"damp"}
    if hot <= {"bath"}:
        idle |= {"film"}
    if not row.recipe.covered:
        idle |= {"cover"}
    if not row.recipe.weighed:
        idle |= {"size"}
    return tuple(
        name not in idle and (row.recipe.moving or name in still) for name in account.shared
    )


class Cook:
    """One row as one guess of the shared numbers and of the row's own makes it.

    Parameters
    ----------
    row : Measured
    account : Account
    shared, own : mapping
        In standard deviations, by name; what is missing is 0.
    """

    def __init__(
        self,
        row: Measured,
        account: Account,
        shared: Mapping[str, float],
        own: Mapping[str, float],
    ) -> None:
        self.row, self.account = row, account
        self._at = {
            name: SHARED[name].middle + SHARED[name].spread * shared.get(name, 0.0)
            for name in SHARED
        }
        self._z = shared
        spreads = {u.name: u.spread for u in row.unknowns}
        self._own = {name: spreads[name] * z for name, z in own.items()}
        self._own_z = own
        recipe = row.recipe
        bone = max(recipe.bone + self._own.get("bone", 0.0), 0.0) if recipe.bone else 0.0
        if bone:
            bone = min(bone, 0.5)
        self.material = _usual_meat(
            recipe.cut, account.transport, account.water_holding, round(bone, 5)
        )
        size = self._own.get("size", 0.0) + (self._at["size"] if recipe.weighed else 0.0)
        shape = _like(recipe.shape).scaled(math.exp(size))
        start = recipe.start_c + self._own.get("start", 0.0)
        injected = float(np.clip(recipe.injected + self._own.get("injected", 0.0), 0.0, 0.4))
        self.piece = Piece(
            shape, replace(self.material, constants=self._constants(shape.volume_per_area)),
            start, recipe.mass_kg, injected if recipe.injected else 0.0,
        )  # fmt: skip
        self.mesh: Mesh = make_mesh(shape, LIGHT_CELLS)

    def _constants(self, volume_per_area: float) -> MaterialConstants:
        m, at = self.material.constants, self._at
        departs: dict[str, Any] = dict(self.account.changed)
        m = m._replace(**departs)
        k = math.exp(at["conductivity"])
        changed: dict[str, Any] = {
            name: getattr(m, name) * k
            for name in m._fields
            if name.startswith(("k_water", "k_solids", "k_fat"))
        }
        changed["hold_midpoint"] = m.hold_midpoint + at["hold_midpoint"]
        changed["hold_drop"] = min(m.hold_drop * math.exp(at["hold_drop"]), 0.99 * m.hold_cold)
        changed["hold_width"] = m.hold_width * math.exp(at["hold_width"])
        changed["permeability"] = m.permeability * math.exp(at["permeability"])
        rate = m.expulsion_rate
        if self.account.sized:
            reach = tables.load("forecast", "prior")["release_reach"]
            rate = _SLOWEST * reach / volume_per_area**2
        if m.expulsion_rate > 0.0:
            changed["expulsion_rate"] = rate * math.exp(at["release"])
            changed["surface_share"] = _stretched(at["surface_share"], m.surface_share, *_SHARE)
        if not self.row.recipe.moving:
            changed |= {"expulsion_rate": 0.0, "permeability": 0.0}
        return m._replace(**changed)

    def _around(self, bout: Bout) -> Around:
        air: Series = bout.air_c
        offset = self._own.get("air", 0.0) if bout.place != "kitchen" else 0.0
        air = air + offset if isinstance(air, float) else (air[0], [x + offset for x in air[1]])
        if bout.place == "bath":
            return Surroundings(
                air, dew_point_c=-5.0, heat_transfer=_BATH_W_M2K, emissivity=0.0,
                evaporation=False,
            )  # fmt: skip
        if isinstance(air, float):
            air = min(air, 249.0)
        hottest = air if isinstance(air, float) else max(air[1])
        film = _smooth_film(
            self.row.recipe.shape, self.row.recipe.start_c, bout.air_speed,
            5.0 * round(hottest / 5.0),
        )  # fmt: skip
        film *= math.exp(self._at["film"] + self._own.get("film", 0.0))
        wall = hottest + _WALL_OFFSET_K.get(bout.place, 0.0)
        wall_c = wall if isinstance(air, float) else None
        hot = bout.place in _DEW_C and not bout.bag
        if hot and self.account.chamber:
            fresh = _FRESH_KG_H[bout.place] * math.exp(
                -_FRESH_SHARED * self._z.get("damp", 0.0)
                - _FRESH_OWN * self._own_z.get("damp", 0.0)
            )
            return Chamber(
                air, fresh, water_kg_h=_FIRE_WATER_KG_H[bout.place],
                volume_m3=_ROOM_M3[bout.place], wall_c=wall_c, heat_transfer=film,
            )  # fmt: skip
        if hot:
            dew = _DEW_C[bout.place] + _DEW_SHARED_K * self._z.get("damp", 0.0)
            dew = min(dew + _DEW_OWN_K * self._own_z.get("damp", 0.0), hottest - 1.0, 95.0)
        else:
            dew = -5.0 if bout.dew_point_c is None else bout.dew_point_c
            if bout.place == "air" and not bout.bag:
                dew += 1.5 * self._own_z.get("damp", 0.0)
        return Surroundings(
            air, dew_point_c=dew, wall_c=wall_c, heat_transfer=film, evaporation=not bout.bag
        )

    def _leg(self, bout: Bout) -> Leg:
        around = self._around(bout)
        stage = Stage(around, duration_s=0.0)
        conditions = surface_conditions(self.piece, stage)
        if bout.bag:
            pack = _PACK_M2K_W * math.exp(self._own.get("pack", 0.0))
            conditions = conditions._replace(
                thermal_resistance=pack if bout.place == "air" else 0.5 * pack
            )
        until = bout.until_core_c
        if until is not None and bout.place in ("oven", "pit", "bath") and not bout.bag:
            until += self._own.get("end", 0.0)
        if "cover" in self._own and bout.place == "air":
            conditions = conditions._replace(
                vapour_factor=float(special.expit(self._own["cover"]))
            )
        elif self.row.recipe.covered and not bout.bag:
            passes = _stretched(self._at["cover"], _COVERED, *_COVERED_RANGE)
            conditions = conditions._replace(vapour_factor=conditions.vapour_factor * passes)
        duration = bout.hours * HOUR_S
        return Leg(
            make_forcing(self.piece, around, duration, self.mesh)[0], conditions, duration,
            until, chamber=chamber_constants(self.piece, around, self.mesh),
        )  # fmt: skip

    def predictions(self) -> Floats:
        """Cook it, and read what was measured; hours as logarithms."""
        recipe = self.row.recipe
        legs = tuple(self._leg(bout) for bout in recipe.bouts)
        cook = LightCook(
            self.piece.shape, self.piece.material.constants, self.piece.start_c,
            legs[: recipe.main + 1], self.piece.injected_water,
        )  # fmt: skip
        # What is asked for beyond the end of a cook is what it ended with.
        end = run_light(cook, np.full(len(_DEPTHS), 1e9), _DEPTHS)
        finish = end.leg_end_s[-1]
        fat = self._rendered(end.probe_c)
        loss = 100.0 * (float(end.water_loss_fraction[-1]) + fat + self._clinging(end))
        found = []
        curve = None
        for reading in self.row.readings:
            if reading.kind == "hours" and reading.between_c is None:
                value = finish / HOUR_S
            elif reading.kind == "loss":
                value = loss
            elif reading.kind == "vapour":
                value = 100.0 * float(end.evaporated_fraction[-1])
            elif reading.kind == "share":
                gone = float(end.evaporated_fraction[-1])
                value = gone / max(float(end.water_loss_fraction[-1]), 1e-9)
            elif reading.kind == "surface":
                value = float(end.surface_c[-1])
            elif reading.kind == "dew point":
                value = float(saturation_temperature(float(end.vapour_pressure[-1])))
            elif reading.kind == "rise":
                after = finish + np.arange(0.0, 1.4 * HOUR_S, 180.0)
                rest = run_light(replace(cook, legs=legs), after)
                value = float(rest.core_c.max() - rest.core_c[0])
                if isinstance(recipe.shape, FiniteShape):
                    value *= LIKE_RISE
            else:
                if curve is None:
                    begin = end.leg_end_s[-2] if len(end.leg_end_s) > 1 else 0.0
                    grid = np.arange(begin, finish + _STEP_S, _STEP_S)
                    curve = run_light(cook, grid)
                value = self._along(reading, grid, curve.core_c, curve.water_loss_fraction)
            found.append(math.log(max(value, 1e-3)) if reading.kind in LOGARITHMIC else value)
        return np.array(found)

    def _clinging(self, end: LightRun) -> float:
        """Juice on the surface, of the raw mass, where it was left behind in bath or bag."""
        if self.row.recipe.bouts[self.row.recipe.main].place != "bath":
            return 0.0
        film = min(float(end.film_kg_m2[-1]), self.piece.material.constants.film_capacity)
        per = self.piece.material.raw_density * self.piece.shape.volume_per_area
        return film / per

    def _along(self, reading: Reading, time_s: Floats, core_c: Floats, lost: Floats) -> float:
        """Read what needs the course of the main bout."""
        if reading.kind == "cooling loss":
            return 100.0 * float(lost[-1] - lost[0]) / (1.0 - float(lost[0]))
        if reading.kind == "hours":
            assert reading.between_c is not None
            falling = np.maximum.accumulate(-core_c)
            upper, lower = (
                float(np.interp(-level, falling, time_s)) for level in reading.between_c
            )
            return (lower - upper) / HOUR_S
        core = np.maximum.accumulate(core_c)
        assert reading.between_c is not None
        into, past = (float(np.interp(level, core, time_s)) for level in reading.between_c)
        return max(past - into, 60.0) / HOUR_S

    def _rendered(self, depths_c: Floats) -> float:
        """Share of the raw mass that left as fat, from temperatures at `_DEPTHS`."""
        share, midpoint, width = self.material.fat_rendering
        share = _stretched(self._at["rendering"], share, 0.0, 0.7)
        c = self.material.constants
        mass = c.raw_water + c.solids_density + c.fat_density + c.bone_density
        power = self.piece.shape.exponent
        fine = np.linspace(0.0, 1.0, 41)
        at = np.interp(fine, np.concatenate(([0.0], _DEPTHS)),
                       np.concatenate((depths_c[:1], depths_c)))  # fmt: skip
        melted = special.expit((at - midpoint) / width)
        weight = fine**power
        return float(share * c.fat_density / mass * (melted @ weight) / weight.sum())
