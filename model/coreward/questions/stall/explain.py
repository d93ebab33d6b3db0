"""Why has it stopped rising? Heat budget, water budget, regime, stall, in words."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from coreward import tables
from coreward.cook.result import Result
from coreward.errors import OutOfRangeError
from coreward.events.standstill import Stall, find_stalls
from coreward.physics.air import wet_bulb
from coreward.physics.exchange import wet_surface_temperature
from coreward.physics.history import capacities
from coreward.physics.water import saturation_temperature
from coreward.words import Degrees, Lasting, Text, Units, say, shown, together

Floats = NDArray[np.float64]
Words = NDArray[np.str_]
Flags = NDArray[np.bool_]

NO_EVAPORATION = "no evaporation"
SEALED = "sealed"
BOILING = "boiling"
CONDENSING = "condensing"
AIR_LIMITED = "air-limited"
SUPPLY_LIMITED = "supply-limited"
DRY = "dry"
REGIMES = (CONDENSING, AIR_LIMITED, SUPPLY_LIMITED, DRY, BOILING, SEALED, NO_EVAPORATION)


@dataclass(frozen=True)
class Explanation:
    """What the surface did, row by row of the result, and what it means.

    Fluxes are per m² of surface. `evaporation_w_m2` is heat that leaves with
    vapour (negative while vapour condenses); `conduction_w_m2` goes on into
    the meat. `water_demand_kg_m2_s` is what the air would take from a
    surface wet all over at its present temperature; `wet_surface_c` where
    such a surface would settle. `apparent_heat_capacity_j_kg_k` is heat
    taken from the surroundings per kilogram of raw piece and kelvin of mean
    rise, NaN where the mean hardly moves.
    """

    time_s: Floats
    core_c: Floats
    air_c: Floats
    wall_c: Floats
    dew_point_c: Floats
    wet_bulb_c: Floats
    wet_surface_c: Floats
    convection_w_m2: Floats
    radiation_w_m2: Floats
    evaporation_w_m2: Floats
    conduction_w_m2: Floats
    water_supply_kg_m2_s: Floats
    water_demand_kg_m2_s: Floats
    evaporation_kg_m2_s: Floats
    drip_kg_m2_s: Floats
    regime: Words
    apparent_heat_capacity_j_kg_k: Floats
    sensible_heat_capacity_j_kg_k: Floats
    wrapped: Flags
    stalls: tuple[Stall, ...]
    sentence: Text
    warnings: tuple[Text, ...] = ()

    def in_words(self, units: Units = "C") -> str:
        """Return the sentence in the reader's units."""
        return shown(self.sentence, units)


def _by_surroundings(rows: Floats, function: Callable[..., float]) -> Floats:
    """Evaluate once per distinct row of surroundings; NaN where undefined.

    A long varying log has thousands of distinct rows: the surroundings are
    rounded to 0.5 K and 50 Pa, far below what anyone knows of a pit.
    """
    steps = np.array([0.5, 0.5, 50.0, 0.25, 1.0])
    rounded = np.round(rows / steps) * steps
    # Most cooks have one row all along; sorting thousands of equal ones takes longer than
    # the cook itself.
    begins = np.append(True, (rounded[1:] != rounded[:-1]).any(axis=1))
    heads = np.flatnonzero(begins)
    unique, inverse = np.unique(rounded[heads], axis=0, return_inverse=True)
    inverse = inverse.ravel()
    if len(unique) <= 64:
        # few enough to take the exact values
        first = [int(np.flatnonzero(inverse == i)[0]) for i in range(len(unique))]
        unique = rows[heads[first]]
    values = np.empty(len(unique))
    for i, row in enumerate(unique):
        try:
            values[i] = function(*row)
        except OutOfRangeError:
            values[i] = np.nan
    return np.asarray(values[inverse][np.cumsum(begins) - 1])


def explain(result: Result) -> Explanation:
    """Explain a cook: budgets, regimes and stalls.

    Parameters
    ----------
    result : Result

    Returns
    -------
    Explanation
    """
    d = tables.load("stall")
    s = result.surface
    t = result.surface_c
    env = result.environment
    moist = result.piece.material.moist
    pressure = np.array([r.conditions.pressure for r in result.records])[result.stage_index]
    boiling = np.array([r.conditions.boiling_c for r in result.records])[result.stage_index]
    factor = np.array([r.conditions.vapour_factor for r in result.records])[result.stage_index]
    emissivity = np.array([r.conditions.emissivity for r in result.records])[result.stage_index]
    open_air = np.array([stage.surroundings.evaporation for stage in result.stages])[
        result.stage_index
    ]
    dew = np.interp(env[:, 2], *_dew_table(env[:, 2]))
    rows = np.column_stack([env[:, 0], env[:, 1], env[:, 2], env[:, 3], emissivity])
    place = float(pressure[0])
    bulb = _by_surroundings(
        rows,
        lambda air, wall, pv, h, e: float(
            wet_bulb(air, min(saturation_temperature(max(pv, 1.0)), air), place)
        ),
    )
    wet = _by_surroundings(
        rows,
        lambda air, wall, pv, h, e: float(
            wet_surface_temperature(
                air,
                min(saturation_temperature(max(pv, 1.0)), air),
                heat_transfer=max(h, 1e-3),
                wall_c=wall,
                emissivity=e,
                pressure_pa=place,
            )
        ),
    )
    evaporation = s["evaporation"]
    demand = np.maximum(s["demand"], 0.0)
    regime = np.full(len(t), SUPPLY_LIMITED, dtype="<U16")
    ratio = np.divide(evaporation, demand, out=np.zeros_like(demand), where=demand > 0)
    regime[ratio >= d["air_limited_share"]] = AIR_LIMITED
    regime[ratio < d["dry_share"]] = DRY
    regime[evaporation < 0.0] = CONDENSING
    regime[factor == 0.0] = SEALED
    regime[~open_air] = NO_EVAPORATION
    # Through a shut surface only boiling drives vapour out.
    regime[(factor == 0.0) & (evaporation > d["boiling_flux"])] = BOILING
    if not moist:
        regime[:] = NO_EVAPORATION

    raw_density = result.piece.material.raw_density
    m = result.piece.material.constants
    mesh = result.mesh
    grid = np.arange(result.time_s[0], result.time_s[-1] + 1.0, 60.0)
    if len(grid) >= 3:
        slope = np.interp(
            result.time_s,
            grid,
            np.gradient(np.interp(grid, result.time_s, result.mean_c), grid),
        )
    else:
        slope = np.zeros(len(t))
    mass = raw_density * mesh.volume.sum() / mesh.surface_area
    taken = s["convection"] + s["radiation"]
    moving = np.abs(slope) > 1e-4
    apparent = np.full(len(t), np.nan)
    apparent[moving] = taken[moving] / (mass * slope[moving])
    mean_water = result.water @ mesh.volume / mesh.volume.sum() * m.solids_density
    sensible = capacities(result.mean_c, mean_water, m) / raw_density
    stalls = find_stalls(result.time_s, result.core_c, env[:, 0], float(boiling.min()))
    draft = Explanation(
        time_s=result.time_s,
        core_c=result.core_c,
        air_c=env[:, 0],
        wall_c=env[:, 1],
        dew_point_c=dew,
        wet_bulb_c=bulb,
        wet_surface_c=wet,
        convection_w_m2=s["convection"],
        radiation_w_m2=s["radiation"],
        evaporation_w_m2=s["evaporation_heat"],
        conduction_w_m2=s["conduction"],
        water_supply_kg_m2_s=s["supply"],
        water_demand_kg_m2_s=demand,
        evaporation_kg_m2_s=evaporation,
        drip_kg_m2_s=s["drip"],
        regime=regime,
        apparent_heat_capacity_j_kg_k=apparent,
        sensible_heat_capacity_j_kg_k=sensible,
        wrapped=np.array([r.wrap != "none" for r in result.records])[result.stage_index],
        stalls=stalls,
        sentence="",
        warnings=result.warnings,
    )
    return replace(draft, sentence=_sentence(draft))


def _dew_table(pressure: Floats) -> tuple[Floats, Floats]:
    """Vapour pressures and their dew points, fine enough for a plot."""
    p = np.unique(pressure)
    if len(p) > 400:
        p = np.linspace(p[0], p[-1], 400)
    return p, np.array([saturation_temperature(max(float(x), 1.0)) for x in p])


def _sentence(e: Explanation) -> Text:
    """Plain words for a whole cook."""
    if len(e.time_s) < 3:
        return "Nothing has happened yet."
    if not e.stalls:
        return _no_stall(e)
    stall = max(e.stalls, key=lambda x: x.duration_s)
    inside = (e.time_s >= stall.begin_s) & (e.time_s <= stall.end_s)
    names, counts = np.unique(e.regime[inside], return_counts=True)
    regime = str(names[np.argmax(counts)])
    seconds = np.gradient(e.time_s[inside]) if inside.sum() > 1 else np.ones(1)
    heat = float(((e.convection_w_m2 + e.radiation_w_m2)[inside] * seconds).sum())
    spent = float((e.evaporation_w_m2[inside] * seconds).sum())
    share = 100.0 * spent / heat if heat > 0 else 0.0
    wrapped = e.wrapped[inside].mean() > 0.5
    span = say(
        "The core stalls for {0}, from {1} at {2} to {3} at {4}"
        + ("." if stall.ended else ", and has not picked up by the end."),
        Lasting(stall.duration_s),
        Degrees(stall.core_begin_c),
        Lasting(stall.begin_s),
        Degrees(stall.core_end_c),
        Lasting(stall.end_s),
    )
    why = f"In that time {share:.0f} % of the heat that arrives leaves again as vapour."
    wrap = "A tighter wrap" if wrapped else "A wrap"
    if regime == SUPPLY_LIMITED:
        supply = float((e.evaporation_kg_m2_s[inside] * seconds).sum())
        want = float((e.water_demand_kg_m2_s[inside] * seconds).sum())
        times = want / supply if supply > 0 else float("inf")
        return together(
            (
                span,
                why,
                f"The air could take {times:.0f} times more water than reaches the surface, so "
                "the water that heat squeezes out of the meat sets the pace: each kelvin of "
                "rise frees more, and evaporating it takes the heat. Damper air would change "
                f"little. {wrap} stops it, a hotter pit shortens it.",
            )
        )
    if regime == AIR_LIMITED:
        settles = say(
            "The surface stays wet and the air sets the pace: it settles near {0}, where "
            "evaporation takes all the heat that arrives. Drier air holds it lower, damper air "
            "higher. {1} or a hotter pit ends it.",
            Degrees(float(np.nanmean(e.wet_surface_c[inside]))),
            wrap,
        )
        return together((span, why, settles))
    if regime == SEALED:
        where = "through the wrap" if wrapped else "the surface"
        why = (
            f"Hardly any vapour leaves {where}; the core is slow because it nears the "
            "temperature around it."
        )
    elif regime == BOILING:
        why = (
            "The wrapped piece has reached boiling at this air pressure and cannot go further."
        )
    return together((span, why))


def _no_stall(e: Explanation) -> Text:
    names, counts = np.unique(e.regime, return_counts=True)
    regime = str(names[np.argmax(counts)])
    parts: list[Text] = [
        say(
            "No stall: the core goes to {0} without slowing more than the shrinking difference "
            "to the air explains.",
            Degrees(float(e.core_c.max())),
        )
    ]
    boils = np.flatnonzero(e.regime == BOILING)
    if (e.regime == NO_EVAPORATION).any():
        off = "Evaporation is off, so nothing takes the heat away at the surface"
        # What boils leaves as vapour whatever else is switched off.
        parts.append(
            say(f"{off} until it boils, at {{0}}.", Lasting(float(e.time_s[boils[0]])))
            if boils.size
            else f"{off}."
        )
    elif regime in (SEALED, BOILING) and e.wrapped.mean() > 0.5:
        parts.append("The wrap keeps the vapour in, so little heat is lost at the surface.")
    elif regime == SEALED:
        parts.append("No vapour leaves, so little heat is lost at the surface.")
    elif regime == BOILING:
        parts.append("The surface boils: it gets no hotter while water is left to go as steam.")
    return together(parts)
