"""Rows of trust: yields, roasting, carryover and the cooling of cooked joints."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from coreward.cook.result import Result
from coreward.cook.simulate import simulate
from coreward.cook.stages import Piece, Series, Stage, Surroundings
from coreward.errors import InputError
from coreward.evidence.published import published_rows
from coreward.evidence.trust.row import TrustRow
from coreward.evidence.trust.shared import (
    HOUR,
    LONGEST_H,
    assumed,
    crossing,
    observations,
    roast_shape,
    unmoved_water,
    usual_kitchen,
    usual_oven,
    usual_shape,
)
from coreward.physics.body import Block, Cylinder, Shape, Slab, Sphere
from coreward.physics.exchange import convective_coefficient, wet_surface_temperature
from coreward.physics.meat import Material, constant_material, meat
from coreward.physics.statement import conductivity, heat_capacity
from coreward.physics.water import latent_heat

Floats = NDArray[np.float64]


_POUND_KG = 0.45359237


def yield_rows() -> Iterator[TrustRow]:
    """Compare cooking yields with those that composition tables imply."""
    a = assumed()
    braise = Surroundings(
        a["braise_c"], dew_point_c=60.0, heat_transfer=a["braise_heat_transfer"],
        emissivity=0.0, evaporation=False,
    )  # fmt: skip
    for row in published_rows("cooking_yields.csv"):
        cut, method, end = row["cut"], row["method"], float(row["end_core_c"])
        run = simulate(
            Piece(usual_shape(cut), meat(cut), a["refrigerator_start_c"]),
            Stage(
                braise if method == "braised" else usual_oven(),
                duration_s=LONGEST_H * HOUR,
                until_core_c=end,
            ),
        )
        ours = 100.0 * (1.0 - float(run.mass_loss_fraction[-1]))
        printed = float(row["yield_percent"])
        yield TrustRow(
            topic="yield",
            case=f"{cut}, {method} ({row['cooked_row']})",
            source="derived from composition rows of the USDA Standard Reference",
            status="derived",
            unit="%",
            allowed=(printed - 6.0, printed + 6.0),
            computed=(ours, ours),
            published_text=f"{printed:g} %",
            how=f"yield at an assumed core of {end:g} °C, usual shape and size; ± 6 points: "
            "fat losses of -6.6 % among the rows show their noise",
            published_value=printed,
        )


@dataclass(frozen=True)
class CarryoverCase:
    """One roast, in and out of the oven, with evaporation and as dry conduction."""

    roast: str
    measured_k: float
    pull_c: float
    wet: Result
    dry: Result

    @property
    def wet_rise_k(self) -> float:
        """Rise after the oven with evaporation. [K]."""
        return float(self.wet.core_c.max() - self.pull_c)

    @property
    def dry_rise_k(self) -> float:
        """Rise after the oven of a dry solid of the same size. [K]."""
        return float(self.dry.core_c.max() - self.pull_c)


def carryover_cases() -> tuple[CarryoverCase, ...]:
    """Roast and rest every roast of Lowe's table that went into an oven.

    Returns
    -------
    tuple of CarryoverCase
    """
    a = assumed()
    dry = constant_material(a["dry_conductivity"], a["raw_density"], a["dry_heat_capacity"])
    cases = []
    for row in published_rows("carryover.csv"):
        if not row["cut"]:
            continue
        shape = Cylinder(roast_shape(float(row["mean_raw_kg"])).diameter_m)
        pull = float(row["core_at_removal_c"])

        def run(material: Material, shape: Shape = shape, pull: float = pull) -> Result:
            moist = material.moist
            oven = usual_oven() if moist else Surroundings(
                a["oven_c"], heat_transfer=a["oven_heat_transfer"], evaporation=False
            )  # fmt: skip
            return simulate(
                Piece(shape, material, a["refrigerator_start_c"]),
                [
                    Stage(oven, duration_s=LONGEST_H * HOUR, until_core_c=pull, label="oven"),
                    Stage(usual_kitchen(moist), duration_s=2.0 * HOUR, label="rest"),
                ],
            )

        cases.append(
            CarryoverCase(
                row["roast"], float(row["rise_k"]), pull, run(meat(row["cut"])), run(dry)
            )
        )
    return tuple(cases)


def carryover_rows() -> Iterator[TrustRow]:
    """Compare rise, loss and time of Lowe's roasts."""
    low, high = observations()["carryover"]["range_k"]
    dry_low, dry_high = observations()["carryover"]["dry_range_k"]
    printed = {row["roast"]: row for row in published_rows("carryover.csv")}
    lowe = "Lowe, Experimental Cookery"
    how = (
        "cylinder twice as long as wide, taken as endless; oven 163 °C, natural convection, "
        "dew point 35 °C, kitchen 21 °C: all assumed"
    )
    for case in carryover_cases():
        row = printed[case.roast]
        yield TrustRow(
            topic="carryover",
            case=f"{case.roast}: rise in the rest",
            source=lowe,
            status="read",
            unit="K",
            allowed=(low, high),
            computed=(case.wet_rise_k, case.wet_rise_k),
            published_text=f"{case.measured_k:g} K; all roasts {low:g} to {high:g} K",
            how="range of all roasts; " + how,
            published_value=case.measured_k,
        )
        yield TrustRow(
            topic="carryover",
            case=f"{case.roast}: rise of a dry solid",
            source=observations()["carryover"]["dry_source"],
            status="computed",
            unit="K",
            allowed=(dry_low, dry_high),
            computed=(case.dry_rise_k, case.dry_rise_k),
            published_text=f"{dry_low:g} to {dry_high:g} K",
            how="constant properties, no evaporation; shows that the rise tells whether "
            "evaporation is in the model",
        )
        at_pull = float(np.interp(case.wet.records[0].end_s, case.wet.time_s,
                                  case.wet.mass_loss_fraction))  # fmt: skip
        loss = 100.0 * at_pull
        published_loss = float(row["loss_percent"])
        yield TrustRow(
            topic="carryover",
            case=f"{case.roast}: loss in the oven",
            source=lowe,
            status="read",
            unit="%",
            allowed=(published_loss - 5.0, published_loss + 5.0),
            computed=(loss, loss),
            published_text=f"{published_loss:g} %",
            how="± 5 points for an unknown oven and trim (ours); " + how,
            published_value=published_loss,
        )
        pounds = float(row["mean_raw_kg"]) / _POUND_KG
        minutes = case.wet.records[0].end_s / 60.0 / pounds
        dry_minutes = case.dry.records[0].end_s / 60.0 / pounds
        published_minutes = float(row["minutes_per_pound"])
        yield TrustRow(
            topic="carryover",
            case=f"{case.roast}: minutes per pound",
            source=lowe,
            status="read",
            unit="min/lb",
            allowed=(0.75 * published_minutes, 1.25 * published_minutes),
            computed=(minutes, minutes),
            published_text=f"{published_minutes:g} min/lb",
            how=f"± 25 % for an unknown oven and shape (ours); even a dry solid of this shape "
            f"takes {dry_minutes:.0f} min/lb; " + how,
            published_value=published_minutes,
        )


def _cooked(cut: str) -> Material:
    """Meat whose water no longer moves: it was cooked before."""
    return meat(cut, transport=unmoved_water())


def _block_times(
    sides_m: Sequence[float],
    air_c: float,
    heat_transfer: float,
    start_c: float,
    levels_c: Sequence[float],
    cut: str,
) -> list[float]:
    """When the centre of a block passes each level. [s].

    For constant properties the centre of a block is the product of three slabs.
    Radiation is part of `heat_transfer`.
    """
    m = meat(cut)
    c = m.constants
    solid = constant_material(
        conductivity(35.0, c.raw_water, 72.0, c),
        m.raw_density,
        heat_capacity(35.0, c.raw_water, 72.0, c) / m.raw_density,
    )
    grid = np.linspace(0.0, 20.0 * HOUR, 4001)
    product = np.ones_like(grid)
    for side in sides_m:
        run = simulate(
            Piece(Slab(side), solid, start_c),
            Stage(
                Surroundings(
                    air_c, heat_transfer=heat_transfer, emissivity=0.0, evaporation=False
                ),
                duration_s=float(grid[-1]),
            ),
        )
        product *= (np.interp(grid, run.time_s, run.core_c) - air_c) / (start_c - air_c)
    centre = air_c + product * (start_c - air_c)
    return [crossing(grid, centre, level) for level in levels_c]


# Linearised exchange with walls at the temperature of the air near 25 °C, emissivity
# 0.9: 4 e sigma T³.
_RADIATION_25_C = 4.0 * 0.9 * 5.670374e-8 * 298.15**3


def _in_air(size: float, speed: float, air_c: float) -> float:
    return convective_coefficient("slab", size, speed, air_c, 25.0) + _RADIATION_25_C


_JAMES = "James and James, Meat Refrigeration (2002), table "


_TENTH_H = 0.1  # the last printed digit


def _joint(product: str, regime: str, column: str) -> float:
    """Read one time of the table of cooled joints. [h]."""
    for row in published_rows("cooling_joints.csv"):
        if row["product"] == product and row["regime"].startswith(regime):
            return float(row[column])
    raise InputError(f"There is no {product!r} in {regime!r} among the cooled joints.")


def cooling_rows() -> Iterator[TrustRow]:
    """Compare the cooling of cooked joints."""
    a = assumed()
    how_block = (
        "± 20 %: the film coefficient is known to 20 % and 5 mm of a side are 8 %; block as "
        "the product of three slabs, constant properties, no evaporation, 72 °C throughout at "
        "first"
    )
    packed = (0.33, 0.16, 0.13)
    thin_side = math.sqrt(0.94 / a["raw_density"] / 0.05)
    thin = (0.05, thin_side, thin_side)
    water = a["water_heat_transfer"]
    beef, slab = "3.75 kg vacuum-packed beef roast", "0.94 kg beef slab"
    blocks: tuple[tuple[str, str, str, Sequence[float], float, float], ...] = (
        (beef, "Immersion", "t50_12_h", packed, 1.0, water),
        (beef, "Air 1 C 2 m/s", "t50_12_h", packed, 1.0, _in_air(0.13, 2.0, 1.0)),
        (beef, "Air 1 C 1 m/s", "t50_12_h", packed, 1.0, _in_air(0.13, 1.0, 1.0)),
        (slab, "Water 0 C", "t70_10_h", thin, 0.0, water),
        (slab, "Air 0 C 1.2 m/s", "t70_10_h", thin, 0.0, _in_air(0.05, 1.2, 0.0)),
    )
    for product, regime, column, sides, air, film in blocks:
        printed = _joint(product, regime, column)
        upper, lower = (float(level) for level in column[1:-2].split("_"))
        name = f"{product}, {regime}, {upper:g} to {lower:g} °C"
        begin, end = _block_times(sides, air, film, 72.0, (upper, lower), "beef round")
        ours = (end - begin) / HOUR
        yield TrustRow(
            topic="cooling",
            case=name,
            source=_JAMES + "16.7",
            status="read",
            unit="h",
            allowed=(0.8 * printed, 1.2 * printed),
            computed=(ours, ours),
            published_text=f"{printed:g} h",
            how=how_block,
            published_value=printed,
        )

    def bracket(shapes: Sequence[Shape], cut: str, start: float, surroundings: Surroundings,
                upper: float, lower: float) -> tuple[float, float]:  # fmt: skip
        times = []
        for shape in shapes:
            run = simulate(
                Piece(shape, _cooked(cut), start),
                Stage(surroundings, duration_s=24.0 * HOUR),
            )
            times.append(
                (crossing(run.time_s, run.core_c, lower)
                 - crossing(run.time_s, run.core_c, upper)) / HOUR
            )  # fmt: skip
        return min(times), max(times)

    computed = bracket(
        (Block(*thin),), "beef round", 72.0,
        Surroundings(0.0, dew_point_c=-3.0, air_speed=1.2), 70.0, 10.0,
    )  # fmt: skip
    printed = _joint(slab, "Air 0 C 1.2 m/s", "t70_10_h")
    yield TrustRow(
        topic="cooling", case=f"{slab}, Air 0 C 1.2 m/s, 70 to 10 °C, bare",
        source=_JAMES + "16.7", status="read", unit="h",
        allowed=(printed - _TENTH_H, printed + _TENTH_H),
        computed=computed, published_text=f"{printed:g} h",
        how="block 50 mm thick, square, of this mass, with evaporation; whether the slab was "
        "bare is not said",
    )  # fmt: skip
    mass = 6.4
    ball = 2.0 * (3.0 * mass / a["raw_density"] / (4.0 * math.pi)) ** (1.0 / 3.0)
    computed = bracket(
        (Sphere(ball), roast_shape(mass)), "turkey breast", 72.0,
        Surroundings(0.0, dew_point_c=-3.0, air_speed=1.2), 70.0, 10.0,
    )  # fmt: skip
    printed = _joint("6.4 kg boned-out turkey", "Air 0 C 1.2 m/s", "t70_10_h")
    yield TrustRow(
        topic="cooling", case="6.4 kg boned turkey, air 0 °C 1.2 m/s, 70 to 10 °C",
        source=_JAMES + "16.7", status="read", unit="h",
        allowed=(printed - _TENTH_H, printed + _TENTH_H),
        computed=computed, published_text=f"{printed:g} h",
        how="bracket: a ball and a cylinder twice as long as wide, of the same mass; with "
        "evaporation, dew point -3 °C assumed",
    )  # fmt: skip
    survey = [r for r in published_rows("cooling_survey.csv") if r["wrap"] == "sealed bag"]
    shop = [r for r in survey if r["regime"].startswith("Shop air 15-7")]
    hours = [float(r["t_to_50C_h"]) for r in shop]
    start = float(np.mean([float(r["initial_C"]) for r in shop]))
    diameter = float(shop[0]["diam_mm"]) * 1e-3
    falling: Series = ([0.0, 13.5 * HOUR], [15.0, 7.0])
    computed = bracket(
        (roast_shape(float(shop[0]["weight_kg"]), diameter),), "pork ham", start,
        Surroundings(falling, dew_point_c=0.0, air_speed=0.2, evaporation=False), start, 50.0,
    )  # fmt: skip
    yield TrustRow(
        topic="cooling", case="6.8 kg hams in bags, shop air, start to 50 °C",
        source=_JAMES + "16.4", status="read", unit="h", allowed=(min(hours), max(hours)),
        computed=computed, published_text=f"{min(hours):g} to {max(hours):g} h (four hams)",
        how="cylinder of the printed diameter and weight, in still air, no "
        "evaporation; start the mean of the four",
    )  # fmt: skip
    chill = [r for r in survey if r["regime"].startswith("Chill room -3")]
    for column, level in (("t_to_50C_h", 50.0), ("t_to_10C_h", 10.0)):
        hours = [float(r[column]) for r in chill]
        start = float(np.mean([float(r["initial_C"]) for r in chill]))
        diameter = float(chill[0]["diam_mm"]) * 1e-3
        computed = bracket(
            (roast_shape(float(chill[0]["weight_kg"]), diameter),), "pork ham", start,
            Surroundings(-2.0, dew_point_c=-5.0, air_speed=0.3, evaporation=False),
            start, level,
        )  # fmt: skip
        yield TrustRow(
            topic="cooling",
            case=f"7.3 kg hams in bags, chill room -2 °C, start to {level:g} °C",
            source=_JAMES + "16.4", status="read", unit="h", allowed=(min(hours), max(hours)),
            computed=computed, published_text=f"{min(hours):g} to {max(hours):g} h (two hams)",
            how="cylinder of the printed diameter and weight, 0.3 m/s, no "
            "evaporation",
        )  # fmt: skip
    yield from _cooling_loss()


def _cooling_loss() -> Iterator[TrustRow]:
    case = observations()["air_cooling_loss"]
    a = assumed()
    shape = roast_shape(case["mass_kg"])
    steam = Surroundings(
        95.0, dew_point_c=60.0, heat_transfer=a["water_heat_transfer"], emissivity=0.0,
        evaporation=False,
    )  # fmt: skip
    run = simulate(
        Piece(shape, meat("beef round"), a["refrigerator_start_c"]),
        [
            Stage(steam, duration_s=24.0 * HOUR, until_core_c=case["start_c"]),
            Stage(
                Surroundings(
                    case["air_c"], dew_point_c=case["dew_point_c"], air_speed=case["air_speed"]
                ),
                duration_s=48.0 * HOUR,
                until_core_c=case["end_c"],
            ),
        ],
    )
    begin = run.records[1].begin_s
    before = float(np.interp(begin, run.time_s, run.mass_loss_fraction))
    loss = 100.0 * (float(run.mass_loss_fraction[-1]) - before) / (1.0 - before)
    hours = (run.duration_s - begin) / HOUR
    how = "cooked in moist heat to 74 °C, then air of 2 m/s at 1 °C, cylinder of 6.5 kg: ours"
    low, high = case["loss_percent"]
    yield TrustRow(
        topic="cooling", case="loss of a joint cooled in air", source=case["source"],
        status=case["status"], unit="%", allowed=(low, high), computed=(loss, loss),
        published_text=f"{low:g} to {high:g} %", how=how,
    )  # fmt: skip
    yield TrustRow(
        topic="cooling", case="time of a joint cooled in air", source=case["source"],
        status=case["status"], unit="h", allowed=(case["least_hours"], 12.0),
        computed=(hours, hours), published_text="more than 7 h",
        how=how + "; at most 12 h: ours",
    )  # fmt: skip
    vacuum = observations()["vacuum_cooling"]
    m = meat("beef round")
    c = m.constants
    at = vacuum["mean_c"]
    per_percent = (
        latent_heat(at) / 100.0 / (heat_capacity(at, c.raw_water, 74.0, c) / m.raw_density)
    )
    low, high = vacuum["kelvin_per_percent"]
    yield TrustRow(
        topic="cooling", case="kelvin of cooling per per cent evaporated",
        source=vacuum["source"], status=vacuum["status"], unit="K/%",
        allowed=(low - vacuum["tolerance"], high + vacuum["tolerance"]),
        computed=(per_percent, per_percent), published_text=f"{low:g} to {high:g} K/%",
        how="latent heat over heat capacity of our table; ± 0.5 for the unknown joint",
    )  # fmt: skip


def roasting_rows() -> Iterator[TrustRow]:
    """Compare what published roasting trials report."""
    observed = observations()
    case = observed["bengtsson"]
    runs = [
        simulate(
            Piece(Cylinder(case["diameter_m"]), meat("beef round"), case["start_c"]),
            Stage(
                Surroundings(
                    oven, dew_point_c=case["dew_point_c"], heat_transfer=case["heat_transfer"]
                ),
                duration_s=24.0 * HOUR,
                until_core_c=case["end_core_c"],
            ),
        )
        for oven in case["oven_c"]
    ]
    how = "cylinder of 90 mm, 12 W/m²K, dew point 35 °C: assumed"
    for oven, run in zip(case["oven_c"], runs, strict=True):
        at = crossing(run.time_s, run.core_c, case["turning_core_c"])
        gone = float(np.interp(at, run.time_s, run.evaporated_fraction))
        drip = float(np.interp(at, run.time_s, run.dripped_fraction))
        share = gone / (gone + drip)
        yield TrustRow(
            topic="roasting", case=f"{oven:g} °C oven: share evaporated of the loss by 65 °C",
            source=case["source"], status=case["status"], unit="",
            allowed=(case["least_evaporated_share"], 1.0), computed=(share, share),
            published_text="almost entirely evaporation up to 65 to 70 °C",
            how=how + "; nine tenths is taken for almost entirely",
            independent=case["independent_share"],
        )  # fmt: skip
        wet = float(wet_surface_temperature(oven, case["dew_point_c"], case["heat_transfer"]))
        mid = crossing(run.time_s, run.core_c, 40.0)
        excess = float(np.interp(mid, run.time_s, run.surface_c)) - wet
        yield TrustRow(
            topic="roasting", case=f"{oven:g} °C oven: surface less wet surface, core at 40 °C",
            source=case["source"], status=case["status"], unit="K", allowed=(-15.0, 10.0),
            computed=(excess, excess), published_text="wet, at the wet bulb of the oven air",
            how=how + "; -15 to +10 K: heat still flows inwards, a thermocouple sits below",
        )  # fmt: skip
    ratio = runs[1].duration_s / runs[0].duration_s
    yield TrustRow(
        topic="roasting", case="time at 225 °C over time at 175 °C", source=case["source"],
        status=case["status"], unit="", allowed=(0.0, 0.99), computed=(ratio, ratio),
        published_text="shorter", how=how,
    )  # fmt: skip
    change = 100.0 * float(runs[1].mass_loss_fraction[-1] - runs[0].mass_loss_fraction[-1])
    yield TrustRow(
        topic="roasting", case="loss at 225 °C less loss at 175 °C", source=case["source"],
        status=case["status"], unit="points", allowed=(0.5, 20.0), computed=(change, change),
        published_text="lower yield at 225 °C", how=how + "; half a point at least",
    )  # fmt: skip
    yield from _bayne(observed["bayne"])
    yield from _gredell(observed["gredell"])


def _bayne(case: dict[str, Any]) -> Iterator[TrustRow]:
    a = assumed()
    loss: dict[tuple[int, int], float] = {}
    hours: dict[tuple[int, int], float] = {}
    for i, (oven, end) in enumerate(zip(case["oven_c"], case["end_core_c"], strict=True)):
        for j, diameter in enumerate(case["diameter_m"]):
            run = simulate(
                Piece(Cylinder(diameter), meat("beef round"), a["refrigerator_start_c"]),
                Stage(usual_oven(oven), duration_s=LONGEST_H * HOUR, until_core_c=end),
            )
            loss[i, j] = 100.0 * float(run.mass_loss_fraction[-1])
            hours[i, j] = run.duration_s / HOUR
    for j, size in enumerate(("small", "large")):
        change = loss[1, j] - loss[0, j]
        yield TrustRow(
            topic="roasting", case=f"{size} roast: loss at 149 °C less loss at 93 °C",
            source=case["source"], status=case["status"], unit="points", allowed=(0.5, 30.0),
            computed=(change, change), published_text="lower loss at 93 °C",
            how="cylinders of 80 and 140 mm: assumed; half a point at least",
        )  # fmt: skip
    longer = hours[0, 1] / hours[1, 1]
    yield TrustRow(
        topic="roasting", case="time at 93 °C over time at 149 °C", source=case["source"],
        status=case["status"], unit="", allowed=(1.01, 10.0), computed=(longer, longer),
        published_text="longer", how="cylinder of 140 mm: assumed",
    )  # fmt: skip
    for i, oven in enumerate(("93 °C", "149 °C")):
        change = loss[i, 0] - loss[i, 1]
        yield TrustRow(
            topic="roasting", case=f"{oven}: loss of a small roast less that of a large one",
            source=case["source"], status=case["status"], unit="points", allowed=(0.5, 30.0),
            computed=(change, change), published_text="small roasts lose more",
            how="cylinders of 80 and 140 mm: assumed; half a point at least",
        )  # fmt: skip


def _gredell(case: dict[str, Any]) -> Iterator[TrustRow]:
    a = assumed()
    runs = [
        simulate(
            Piece(Slab(case["thickness_m"]), meat("beef round"), a["refrigerator_start_c"]),
            Stage(
                Surroundings(
                    case["oven_c"], dew_point_c=dew, heat_transfer=case["heat_transfer"]
                ),
                duration_s=24.0 * HOUR,
                until_core_c=case["end_core_c"],
            ),
        )
        for dew in case["dew_point_c"]
    ]
    how = "25 mm slab of round to 65 °C, dew points 5 and 65 °C: assumed"
    longer = runs[0].duration_s / runs[1].duration_s
    more = 100.0 * float(runs[0].mass_loss_fraction[-1] - runs[1].mass_loss_fraction[-1])
    yield TrustRow(
        topic="roasting", case="steak at 80 °C: time in dry air over time in damp air",
        source=case["source"], status=case["status"], unit="", allowed=(1.2, 20.0),
        computed=(longer, longer), published_text="humidity strongly changes the rate",
        how=how + "; a fifth at least",
    )  # fmt: skip
    yield TrustRow(
        topic="roasting", case="steak at 80 °C: loss in dry air less loss in damp air",
        source=case["source"], status=case["status"], unit="points", allowed=(0.5, 60.0),
        computed=(more, more), published_text="dry air: the greatest loss",
        how=how + "; half a point at least",
    )  # fmt: skip
