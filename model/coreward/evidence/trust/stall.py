"""Rows of trust: smoked brisket, the stall, and what cooks take for granted.

The closures for the transport of water are compared here too.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from coreward import tables
from coreward.cook.result import Result
from coreward.cook.simulate import simulate
from coreward.cook.stages import Chamber, Piece, Series, Stage, Surroundings, fresh_air
from coreward.evidence.trust.row import TrustRow
from coreward.evidence.trust.shared import (
    HOUR,
    LONGEST_H,
    assumed,
    crossing,
    observations,
    unmoved_water,
    usual_piece,
)
from coreward.physics.body import Shape, Slab
from coreward.physics.meat import FLOWING, meat
from coreward.physics.water import saturation_temperature

Floats = NDArray[np.float64]


_WRAPPED_H = 12.0


# The range of core temperatures in which cooks look for a stall (design note).
STALL_CORE_C = (60.0, 78.0)

# Where the longest stand is looked for: nearer to the pit every core is slow.
_STANDS_C = (50.0, 80.0)


def pit_cook(
    *,
    transport: str | tables.ParameterSet | None = None,
    pit_c: float | None = None,
    dew_point_c: float | None = None,
    thickness_m: float | None = None,
    shape: Shape | None = None,
    cut: str = "beef brisket flat",
    evaporation: bool = True,
    hours: float = 24.0,
    until_core_c: float | None = None,
) -> Result:
    """Cook the bare slab that the checks of the stall share.

    Parameters
    ----------
    transport : str or ParameterSet, optional
        Closure for the transport of water; the table's default if None.
    pit_c, dew_point_c, thickness_m : float, optional
        107 °C, 35 °C and 0.09 m if None.
    shape : Shape, optional
        Another shape than a slab.
    cut : str
    evaporation : bool
    hours : float
    until_core_c : float, optional
        Stop once the core has this temperature. [°C]

    Returns
    -------
    Result
    """
    a = assumed()
    return simulate(
        Piece(
            shape or Slab(a["slab_m"] if thickness_m is None else thickness_m),
            meat(cut, transport=transport),
            a["refrigerator_start_c"],
        ),
        Stage(
            Surroundings(
                a["pit_c"] if pit_c is None else pit_c,
                dew_point_c=a["pit_dew_point_c"] if dew_point_c is None else dew_point_c,
                heat_transfer=a["pit_heat_transfer"],
                evaporation=evaporation,
            ),
            duration_s=hours * HOUR,
            until_core_c=until_core_c,
        ),
    )


def core_rate(run: Result, core_c: Floats) -> Floats:
    """Rate of rise of the core when it passes each temperature; 0 where it never does. [K/h].

    Taken over one kelvin to either side, so that it needs no smoothing.
    """
    rates = np.zeros(len(core_c))
    for i, level in enumerate(core_c):
        below = crossing(run.time_s, run.core_c, float(level) - 1.0)
        above = crossing(run.time_s, run.core_c, float(level) + 1.0)
        if math.isfinite(above) and above > below:
            rates[i] = 2.0 / (above - below) * HOUR
    return rates


def least_rise(run: Result, window_h: float, from_core_c: float, to_core_c: float) -> float:
    """Smallest rise of the core over a window, between two core temperatures. [K]."""
    time = np.arange(0.0, run.duration_s - window_h * HOUR, 120.0)
    begin = np.interp(time, run.time_s, run.core_c)
    end = np.interp(time + window_h * HOUR, run.time_s, run.core_c)
    counted = (begin >= from_core_c) & (end <= to_core_c)
    return float((end - begin)[counted].min()) if counted.any() else math.nan


def longest_stand(
    run: Result, band_k: float, from_core_c: float, to_core_c: float
) -> tuple[float, float]:
    """Longest time that the core stays within a band, and the middle of that band.

    Of all that begin between two core temperatures. [h, °C]
    """
    time = np.arange(0.0, run.duration_s, 120.0)
    core = np.maximum.accumulate(np.interp(time, run.time_s, run.core_c))
    begins = np.flatnonzero((core >= from_core_c) & (core + band_k <= to_core_c))
    if not len(begins):
        return 0.0, math.nan
    leaves = np.searchsorted(core, core[begins] + band_k)
    longest = int(np.argmax(leaves - begins))
    stays = (leaves - begins)[longest] * 120.0 / HOUR
    return float(stays), float(core[begins[longest]] + 0.5 * band_k)


def standstill(
    injected: float, fresh_air_kg_h: float, *, evaporation: bool = True, hours: float = 24.0
) -> Result:
    """Cook the published standstill: a small injected brisket in a tight electric chamber.

    Nothing in it was chosen for the standstill: closure and permeability are those that
    give cubes and a roast their losses (`FLOWING`), the chamber is set "tight" of table
    ``ventilation``; mass, thickness and pan are assumed in the published cases.

    Parameters
    ----------
    injected : float
        Water injected, of the raw mass. [-]
    fresh_air_kg_h : float
        [kg/h]
    evaporation : bool
        False is the same piece sealed.
    hours : float

    Returns
    -------
    Result
    """
    case, a = observations()["stall"], assumed()
    return simulate(
        Piece(
            Slab(case["thickness_m"]),
            meat("beef brisket flat", **FLOWING),
            a["refrigerator_start_c"],
            case["mass_kg"],
            injected,
        ),
        Stage(
            Chamber.of(
                case["pit_c"],
                "tight",
                fire="electric",
                pan_kg_h=case["pan_kg_h"],
                fresh_air_kg_h=fresh_air_kg_h,
                heat_transfer=a["oven_heat_transfer"],
                evaporation=evaporation,
            ),
            duration_s=hours * HOUR,
        ),
    )


def standstill_rows() -> Iterator[TrustRow]:
    """The published standstill in a chamber that the meat makes damp."""
    observed = observations()
    case = observed["stall"]
    fresh = fresh_air(tables.load("ventilation", "tight"))
    least, most = case["injected"]
    stands = [
        longest_stand(standstill(injected, air), case["band_k"], *_STANDS_C)
        for injected in (least, most)
        for air in (fresh.range[0], fresh.value, fresh.range[1])
    ]
    how = (
        f"bracket: {least:.0%} to {most:.0%} injected, {fresh.range[0]:g} to "
        f"{fresh.range[1]:g} kg/h of fresh air, its dew point computed; flow of set "
        "along_the_grain, 3 kg, slab of 60 mm, pan 0.1 kg/h: assumed"
    )
    low, high = min(h for h, _ in stands), max(h for h, _ in stands)
    yield TrustRow(
        topic="smoking", case="small injected brisket in a damp chamber: longest time in 5 K",
        source=case["source"], status=case["status"], unit="h",
        allowed=(case["least_hours"], case["hours"]), computed=(low, high),
        published_text="stands at 67 °C for almost 6 h", how=how,
    )  # fmt: skip
    levels = [level for _, level in stands]
    yield TrustRow(
        topic="smoking", case="small injected brisket in a damp chamber: where it stands",
        source=case["source"], status=case["status"], unit="°C",
        allowed=(case["core_c"] - 0.5 * case["band_k"], case["core_c"] + 0.5 * case["band_k"]),
        computed=(min(levels), max(levels)), published_text="67 °C", how=how,
    )  # fmt: skip
    sealed = standstill(most, fresh.value, evaporation=False, hours=12.0)
    hours = longest_stand(sealed, case["band_k"], *_STANDS_C)[0]
    yield TrustRow(
        topic="smoking", case="the same brisket sealed: longest time in 5 K, 50 to 80 °C",
        source=observed["sealed"]["source"], status=observed["sealed"]["status"], unit="h",
        allowed=(0.0, observed["sealed"]["most_hours"]), computed=(hours, hours),
        published_text="steady, no stall", how="as above, no vapour leaves it",
    )  # fmt: skip


@dataclass(frozen=True)
class ClosureRow:
    """What one closure for water transport does in one cook."""

    closure: str
    pit_c: float
    dew_point_c: float
    thickness_m: float
    hours_60_to_78: float
    rate_k_per_h: tuple[float, ...]
    slowing: tuple[float, ...]
    slowest_core_c: float
    recovers: bool
    loss_12_h: float
    dripped_12_h: float
    surface_activity_12_h: float

    @property
    def at_release(self) -> bool:
        """Whether the core is slowed most at 65 to 75 °C."""
        return 65.0 <= self.slowest_core_c <= 75.0


SLOWING_CORE_C = np.arange(45.0, 88.0, 2.5)
"""Core temperatures at which `compare_closures` reads the slowing. [°C]"""


CLOSURE_COOKS: tuple[tuple[float, float, float], ...] = (
    (107.0, 35.0, 0.09),
    (107.0, 15.0, 0.09),
    (107.0, 65.0, 0.09),
    (99.0, 35.0, 0.09),
    (121.0, 35.0, 0.09),
    (107.0, 35.0, 0.05),
    (107.0, 35.0, 0.13),
)
"""Pit [°C], dew point [°C] and thickness [m] of the cooks in which closures are compared."""


def closures() -> dict[str, str | tables.ParameterSet]:
    """Return the ways of moving water that are compared, by a name for the table."""
    flow = tables.load("transport", "swelling_pressure")
    squeezed = tables.load("transport", "expulsion")
    most = flow.record("permeability").range[1]
    return {
        "expulsion": "expulsion",
        "expulsion, all to the surface": squeezed.replace(
            surface_share=squeezed.record("surface_share").range[1]
        ),
        "swelling_pressure": "swelling_pressure",
        "swelling_pressure, a tenth as permeable": flow.replace(
            permeability=flow["permeability"] / 10.0
        ),
        "swelling_pressure, as permeable as its range allows": flow.replace(permeability=most),
        "both": "both",
    }


def compare_closures(
    cooks: Sequence[tuple[float, float, float]] = CLOSURE_COOKS,
    names: Sequence[str] | None = None,
) -> tuple[ClosureRow, ...]:
    """Run the closures side by side and say where each slows the core most.

    "Slowing" is the rate of rise of the same piece if no water moved or left it, over the
    rate with this closure, at the same core temperature: it takes the falling difference
    to the pit out of the comparison.

    Parameters
    ----------
    cooks : sequence of (pit_c, dew_point_c, thickness_m)
    names : sequence of str, optional
        Some of the names of `closures`; all if None.

    Returns
    -------
    tuple of ClosureRow
    """
    ways = closures()
    unmoved = unmoved_water()
    rows = []
    for pit, dew, thick in cooks:
        for name in ways if names is None else names:
            way = ways[name]
            bare = pit_cook(
                transport=way, pit_c=pit, dew_point_c=dew, thickness_m=thick, hours=48.0
            )
            shut = pit_cook(
                transport=unmoved, pit_c=pit, dew_point_c=dew, thickness_m=thick,
                evaporation=False, hours=48.0, until_core_c=90.0,
            )  # fmt: skip
            rate, dry = core_rate(bare, SLOWING_CORE_C), core_rate(shut, SLOWING_CORE_C)
            passed = (rate > 0.0) & (dry > 0.0)
            slowing = np.where(passed, dry / np.where(passed, rate, 1.0), np.nan)
            peak = int(np.nanargmax(slowing))
            begin = bare.time_at_core(STALL_CORE_C[0])
            end = bare.time_at_core(STALL_CORE_C[1])
            at = 12.0 * HOUR
            rows.append(
                ClosureRow(
                    closure=name,
                    pit_c=pit,
                    dew_point_c=dew,
                    thickness_m=thick,
                    hours_60_to_78=(
                        math.nan if begin is None or end is None else (end - begin) / HOUR
                    ),
                    rate_k_per_h=tuple(map(float, rate)),
                    slowing=tuple(map(float, slowing)),
                    slowest_core_c=float(SLOWING_CORE_C[peak]),
                    recovers=bool(np.any(rate[peak:] > 1.1 * rate[peak])),
                    loss_12_h=float(np.interp(at, bare.time_s, bare.mass_loss_fraction)),
                    dripped_12_h=float(np.interp(at, bare.time_s, bare.dripped_fraction)),
                    surface_activity_12_h=float(
                        np.interp(at, bare.time_s, bare.surface_water_activity)
                    ),
                )
            )
    return tuple(rows)


def smoking_rows() -> Iterator[TrustRow]:
    """Compare smoked brisket and its stall with what was published."""
    observed = observations()
    case = observed["stall"]
    small = pit_cook(
        pit_c=case["pit_c"], dew_point_c=case["dew_point_c"], thickness_m=case["thickness_m"],
        hours=36.0,
    )  # fmt: skip
    rise = least_rise(small, case["hours"], 50.0, 95.0)
    yield TrustRow(
        topic="smoking", case="small brisket: least rise of the core in 6 h",
        source=case["source"], status=case["status"], unit="K", allowed=(0.0, case["band_k"]),
        computed=(rise, rise), published_text="stands at 67 °C for almost 6 h",
        how="60 mm slab, dew point 50 °C; at most 5 K in 6 h would still look like standing: "
        "all assumed",
    )  # fmt: skip
    row = compare_closures(
        ((case["pit_c"], case["dew_point_c"], case["thickness_m"]),), ("expulsion",)
    )[0]
    yield TrustRow(
        topic="smoking", case="small brisket: core temperature of the greatest slowing",
        source=case["source"], status=case["status"], unit="°C",
        allowed=(case["core_c"] - 5.0, case["core_c"] + 5.0),
        computed=(row.slowest_core_c, row.slowest_core_c), published_text="67 °C",
        how="slowing against the same cook without evaporation; ± 5 K: one dial, one run",
        published_value=case["core_c"],
    )  # fmt: skip
    sealed = pit_cook(evaporation=False)
    rate = core_rate(sealed, np.arange(40.0, 81.0, 2.0))
    least = float(np.min(rate) / np.max(rate))
    yield TrustRow(
        topic="smoking", case="sealed brisket: slowest rate over fastest, 40 to 80 °C",
        source=observed["sealed"]["source"], status=observed["sealed"]["status"], unit="",
        allowed=(0.25, 1.0), computed=(least, least), published_text="steady, no stall",
        how="the difference to the pit alone makes (107 - 80)/(107 - 40) = 0.4; less than a "
        "quarter would be a stall",
    )  # fmt: skip
    yield from standstill_rows()


def trade_rows() -> Iterator[TrustRow]:
    """Hold the model to what cooks take for granted."""
    a = assumed()
    trade = observations()["trade"]

    def row(case: str, value: float, allowed: tuple[float, float], unit: str, says: str,
            how: str) -> TrustRow:  # fmt: skip
        return TrustRow(
            topic="trade", case=case, source=trade["source"], status=trade["status"],
            unit=unit, allowed=allowed, computed=(value, value), published_text=says, how=how,
        )  # fmt: skip

    open_at, pit = 4.0 * HOUR, a["pit_c"]
    lid: Series = (
        [0.0, open_at, open_at + 30.0, open_at + 120.0, open_at + 420.0, open_at + 421.0],
        [pit, pit, 50.0, 50.0, pit, pit],
    )
    still = pit_cook(hours=14.0)
    opened = simulate(
        still.piece,
        Stage(
            Surroundings(
                lid, dew_point_c=a["pit_dew_point_c"], heat_transfer=a["pit_heat_transfer"]
            ),
            duration_s=14.0 * HOUR,
        ),
    )
    grid = np.arange(open_at, 14.0 * HOUR, 60.0)
    change = np.interp(grid, still.time_s, still.core_c) - np.interp(
        grid, opened.time_s, opened.core_c
    )
    yield row(
        "lid open for two minutes: largest change of the core",
        float(np.abs(change).max()), (0.0, 1.0), "K", "the core hardly notices",
        "air to 50 °C in 30 s, back within 5 min; the air is given to the model, not computed: "
        "that it drops and returns in minutes is an input here",
    )  # fmt: skip

    warm = meat("beef round")
    seared = simulate(
        Piece(Slab(0.04), warm, 54.0),
        Stage(
            Surroundings(230.0, dew_point_c=30.0, heat_transfer=450.0, emissivity=0.0),
            duration_s=45.0,
        ),
    )
    hot = seared.position_m[seared.temperature_c[-1] >= 70.0]
    depth = float(seared.piece.shape.half_size - hot.min()) * 1e3 if len(hot) else 0.0
    yield row(
        "sear of 45 s on 54 °C meat: depth above 70 °C", depth, (0.2, 5.0), "mm",
        "hot only within millimetres", "contact at 230 °C and 450 W/m²K (middle of 250 to 650 "
        "read for plates), both faces",
    )  # fmt: skip

    whole = pit_cook(
        shape=usual_piece("beef brisket whole").shape, cut="beef brisket whole", hours=LONGEST_H
    )
    done = (whole.time_at_core(90.0) or math.nan) / HOUR
    yield row(
        "whole brisket of 6 kg to 90 °C at 107 °C", done, (8.0, 18.0), "h",
        "twelve-hour cooks are ordinary", "bare throughout, dew point 35 °C",
    )  # fmt: skip

    dry = pit_cook(evaporation=False)
    slowest = float(core_rate(dry, np.arange(40.0, 86.0, 2.0)).min())
    yield row(
        "no evaporation, 90 mm: slowest rise between 40 and 85 °C", slowest, (4.0, 40.0), "K/h",
        "never stalls", "4 K/h would still be an hour for each 4 K",
    )  # fmt: skip

    def through(run: Result) -> float:
        begin, end = (run.time_at_core(level) for level in STALL_CORE_C)
        return math.nan if begin is None or end is None else (end - begin) / HOUR

    extra = through(pit_cook()) - through(dry)
    yield row(
        "hours that evaporation adds between 60 and 78 °C", extra, (2.0, 12.0), "h",
        "a stall lasting hours", "90 mm slab, default transport, against no evaporation",
    )  # fmt: skip
    loss = 100.0 * float(still.mass_loss_fraction[-1])
    yield row(
        "loss in 14 h", loss, (28.0, 44.0), "%", "as cooking yields of brisket",
        "published yields of brisket run from 56 % (smoked) to 72 % (braised)",
    )  # fmt: skip

    for pressure in (101325.0, 80000.0):
        bare_pit = Surroundings(
            pit, dew_point_c=a["pit_dew_point_c"], heat_transfer=a["pit_heat_transfer"],
            pressure_pa=pressure,
        )  # fmt: skip
        begin = Stage(bare_pit, duration_s=LONGEST_H * HOUR, until_core_c=68.0)
        foiled = simulate(
            still.piece, [begin, Stage(bare_pit, duration_s=_WRAPPED_H * HOUR, wrap="foil")]
        )
        bare = simulate(still.piece, [begin, Stage(bare_pit, duration_s=_WRAPPED_H * HOUR)])
        boiling = float(saturation_temperature(pressure))
        at = f"{pressure / 1e3:g} kPa"
        top = float(foiled.core_c.max()) - boiling
        yield row(
            f"foil at 68 °C, {at}: highest core less boiling ({boiling:.1f} °C)", top,
            (-8.0, 0.05), "K", "levels just below boiling",
            f"{_WRAPPED_H:g} h in foil at 107 °C; after some 16 h at 80 kPa the juice in the "
            "foil has boiled away and the core rises again",
        )  # fmt: skip
        if pressure > 1e5:
            level = np.array([74.0])
            gain = float(core_rate(foiled, level)[0] / core_rate(bare, level)[0])
            yield row(
                "foil at 68 °C: rate at 74 °C over that left bare", gain, (2.0, 10.0), "",
                "the slope at least doubles", "the foil reflects radiation too",
            )  # fmt: skip
