"""Rows of trust: statements about roasting, carryover and the cooling of cooked joints."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from coreward.cook.result import Result
from coreward.cook.simulate import simulate
from coreward.cook.stages import Piece, Stage, Surroundings
from coreward.evidence.published import published_rows
from coreward.evidence.trust.row import TrustRow
from coreward.evidence.trust.shared import (
    HOUR,
    LONGEST_H,
    assumed,
    crossing,
    observations,
    roast_shape,
    usual_kitchen,
    usual_oven,
)
from coreward.physics.body import Cylinder, Shape, Slab
from coreward.physics.exchange import wet_surface_temperature
from coreward.physics.meat import Material, constant_material, meat
from coreward.physics.statement import heat_capacity
from coreward.physics.water import latent_heat

Floats = NDArray[np.float64]


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
    """Compare Lowe's roasts with what a dry solid of their size would do."""
    dry_low, dry_high = observations()["carryover"]["dry_range_k"]
    for case in carryover_cases():
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


def cooling_rows() -> Iterator[TrustRow]:
    """Compare what is printed of cooling as a bound or a ratio."""
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
    hours = (run.duration_s - begin) / HOUR
    how = "cooked in moist heat to 74 °C, then air of 2 m/s at 1 °C, cylinder of 6.5 kg: ours"
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
