"""Why has it stopped rising? Heat budget, water budget, regime, stall, in words.

A stall is told by its longest slow spell: held by the air (the surface is wet, the damp
sets how hot) or by the supply (a slope). Only the first tells of the pit, and only while it
is level.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from coreward import tables
from coreward.cook.result import Result
from coreward.cook.simulate import simulate
from coreward.errors import CorewardError, OutOfRangeError
from coreward.events.standstill import Stall, find_stalls
from coreward.physics.exchange import wet_surface_temperature
from coreward.physics.statement import water_held
from coreward.physics.water import saturation_temperature
from coreward.questions.stall.pit_damp import PitDamp, pit_dew_point
from coreward.words import Degrees, Difference, Lasting, Text, Units, say, shown, together

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

WET_PLATEAU = "wet plateau"
SLOPE = "slope"
WRAPPED = "wrapped"
SHUT = "shut to vapour"
STEADY = "no stall"
KINDS = (WET_PLATEAU, SLOPE, WRAPPED, SHUT, STEADY)
"""What may be told of a whole cook."""

_HOUR: Final = 3600.0
_AHEAD_S: Final = 24 * _HOUR
_AHEAD_CELLS, _AHEAD_TOLERANCE_K = 24, 0.05
# Nodes between which temperatures of a wet surface and held water are straight lines.
_NODES: Final = 24
# Air hotter by this than during the stall has ended it.
_HOTTER_K: Final = 5.0


@dataclass(frozen=True)
class Account:
    """What is told of a whole cook."""

    kind: str
    """One of `KINDS`. "wet plateau": the surface is wet, the damp of the air sets how hot it
    is. "slope": what the meat sends sets the pace. "wrapped": a wrap was on before the core
    could stand still, or where it hardly rose."""
    stall: Stall | None = None
    """The longest."""
    ended_by: str = ""
    """What ended it: the free water was spent, less and less of it came, it was wrapped, or the
    air was made hotter. Empty where it is not known."""
    ends_s: float | None = None
    """When it ends; computed further where the cook stops in it. [s]"""
    vapour_share: float = math.nan
    """Of the heat that arrives in it, what leaves as vapour. [-]"""
    free_water: float = math.nan
    """Water that the meat no longer holds and has not lost, as it begins. [of the raw mass]"""
    leaving: float = math.nan
    """What leaves of it in an hour. [of the raw mass per hour]"""
    after_k: float | None = None
    """How far the core climbs in the hour after it. [K]"""
    damp: PitDamp | None = None
    """What the standstill says about the pit; only of a wet plateau."""
    dew_point_c: float = math.nan
    """Of the pit in the computed cook, mean over the stall. [°C]"""


@dataclass(frozen=True)
class Explanation:
    """What the surface did, row by row of the result, and what it means.

    Fluxes are per m² of surface. `evaporation_w_m2` is heat that leaves with
    vapour (negative while vapour condenses); `conduction_w_m2` goes on into
    the meat. `water_demand_kg_m2_s` is what the air would take from a
    surface wet all over at its present temperature; `wet_surface_c` where
    such a surface would settle. `free_water` is water in the meat and on it
    that the network does not hold, as a share of the raw mass.
    """

    time_s: Floats
    core_c: Floats
    air_c: Floats
    wall_c: Floats
    dew_point_c: Floats
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
    free_water: Floats
    wrapped: Flags
    stalls: tuple[Stall, ...]
    account: Account
    sentence: Text
    warnings: tuple[Text, ...] = ()

    def in_words(self, units: Units = "C") -> str:
        """Return the sentence in the reader's units."""
        return shown(self.sentence, units)


def _wet_surfaces(env: Floats, dew: Floats, emissivity: Floats, pressure: float) -> Floats:
    """Where a wet surface would settle, row by row; NaN where undefined. [°C].

    One curve over the dew point for each air, wall, draught and wrap, rounded to 0.5 K and
    0.25 W/(m² K), far below what anyone knows of a pit: a chamber's damp changes in each row.
    """
    rows = np.column_stack([env[:, 0], env[:, 1], env[:, 3], emissivity])
    steps = np.array([0.5, 0.5, 0.25, 1.0])
    rounded = np.round(rows / steps) * steps
    first = rounded[0]
    if (rounded == first).all():
        alike, inverse = rows[:1], np.zeros(len(rows), dtype=np.intp)
    else:
        _, index, inverse = np.unique(rounded, axis=0, return_index=True, return_inverse=True)
        alike, inverse = rows[index], inverse.ravel()
    wet = np.empty(len(rows))
    for number, (air, wall, draught, shine) in enumerate(alike):
        here = inverse == number
        low, high = float(dew[here].min()), float(dew[here].max())
        nodes = np.linspace(low, high, 2 + min(_NODES, int(high - low)))
        curve = [
            _wet_surface(air, min(node, air), draught, wall, shine, pressure) for node in nodes
        ]
        wet[here] = np.interp(dew[here], nodes, curve)
    return wet


def _wet_surface(
    air: float, dew: float, draught: float, wall: float, shine: float, pressure: float
) -> float:
    try:
        return float(
            wet_surface_temperature(air, dew, max(draught, 1e-3), wall, shine, pressure)
        )
    except OutOfRangeError:
        return math.nan


def _free_water(result: Result) -> Floats:
    """Water in and on the meat that its network does not hold. [of the raw mass]."""
    piece, material = result.piece, result.piece.material
    if not material.moist:
        return np.zeros(len(result.time_s))
    m = material.constants
    highest, water, share = result.everywhere()
    nodes = np.linspace(float(highest.min()), float(highest.max()) + 1e-9, 5 * _NODES)
    held = np.interp(highest, nodes, [water_held(float(t), m) for t in nodes])
    free = np.maximum(water * m.solids_density - held, 0.0) @ share
    film = np.maximum(result.film, 0.0) / piece.shape.volume_per_area
    return np.asarray((free + film) / material.raw_density)


def explain(result: Result) -> Explanation:
    """Explain a cook: budgets, regimes and stalls."""
    d = tables.load("stall")
    s = result.surface
    env = result.environment
    dew = _dew_points(env[:, 2])
    moist = result.piece.material.moist
    conditions = [record.conditions for record in result.records]
    boiling = min(c.boiling_c for c in conditions)
    factor = np.array([c.vapour_factor for c in conditions])[result.stage_index]
    emissivity = np.array([c.emissivity for c in conditions])[result.stage_index]
    open_air = np.array([stage.surroundings.evaporation for stage in result.stages])[
        result.stage_index
    ]
    evaporation = s["evaporation"]
    demand = np.maximum(s["demand"], 0.0)
    regime = np.full(len(env), SUPPLY_LIMITED, dtype="<U16")
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

    draft = Explanation(
        time_s=result.time_s,
        core_c=result.core_c,
        air_c=env[:, 0],
        wall_c=env[:, 1],
        dew_point_c=dew,
        wet_surface_c=_wet_surfaces(env, dew, emissivity, conditions[0].pressure),
        convection_w_m2=s["convection"],
        radiation_w_m2=s["radiation"],
        evaporation_w_m2=s["evaporation_heat"],
        conduction_w_m2=s["conduction"],
        water_supply_kg_m2_s=s["supply"],
        water_demand_kg_m2_s=demand,
        evaporation_kg_m2_s=evaporation,
        drip_kg_m2_s=s["drip"],
        regime=regime,
        free_water=_free_water(result),
        wrapped=np.array([r.wrap != "none" for r in result.records])[result.stage_index],
        stalls=find_stalls(result.time_s, result.core_c, env[:, 0], boiling),
        account=Account(STEADY),
        sentence="",
        warnings=result.warnings,
    )
    told = replace(draft, account=_account(draft, result))
    return replace(told, sentence=_sentence(told))


def _dew_points(pressure: Floats) -> Floats:
    """Dew points of vapour pressures, fine enough for a plot. [°C]."""
    p = np.unique(np.maximum(pressure, 1.0))
    if len(p) > 5 * _NODES:
        p = np.geomspace(p[0], p[-1], 5 * _NODES)
    points = np.array([saturation_temperature(float(x)) for x in p])
    return np.asarray(np.interp(pressure, p, points))


def _account(e: Explanation, result: Result) -> Account:
    """Tell what kind of cook it is, from its longest stall."""
    if not e.stalls:
        shut = (e.regime == NO_EVAPORATION).any()
        kind = SHUT if shut else WRAPPED if e.wrapped.any() else STEADY
        return Account(kind)
    stall = max(e.stalls, key=lambda x: x.duration_s)
    inside = (e.time_s >= stall.begin_s) & (e.time_s <= stall.end_s)
    seconds = np.gradient(e.time_s[inside]) if inside.sum() > 1 else np.ones(1)
    heat = float(((e.convection_w_m2 + e.radiation_w_m2)[inside] * seconds).sum())
    spent = float((e.evaporation_w_m2[inside] * seconds).sum())
    per_area = result.piece.material.raw_density * result.piece.shape.volume_per_area
    leaving = (e.evaporation_kg_m2_s + e.drip_kg_m2_s)[inside]
    regime = _mostly(e.regime[inside])
    if e.wrapped[inside].mean() > 0.5:
        kind = WRAPPED
    elif regime == AIR_LIMITED:
        kind = WET_PLATEAU
    else:
        kind = SHUT if regime in (SEALED, NO_EVAPORATION, BOILING) else SLOPE
    ended_by, ends_s = _end(e, stall, kind, result)
    after_k = None
    if stall.ended and e.time_s[-1] >= stall.end_s + _HOUR:
        later = np.interp(stall.end_s + _HOUR, e.time_s, e.core_c)
        after_k = float(later) - stall.core_end_c
    return Account(
        kind,
        stall,
        ended_by,
        ends_s,
        spent / heat if heat > 0 else 0.0,
        float(np.interp(stall.begin_s, e.time_s, e.free_water)),
        float((leaving * seconds).sum() / seconds.sum()) * _HOUR / per_area,
        after_k,
        _damp(e, inside, stall, result) if kind == WET_PLATEAU and stall.level else None,
        float(e.dew_point_c[inside].mean()),
    )


def _mostly(regimes: Words) -> str:
    names, counts = np.unique(regimes, return_counts=True)
    return str(names[np.argmax(counts)])


def _damp(e: Explanation, inside: Flags, stall: Stall, result: Result) -> PitDamp | None:
    """Read the dew point off the plateau as a cook would, who knows core and air only."""
    try:
        return pit_dew_point(
            0.5 * (stall.core_begin_c + stall.core_end_c),
            float(e.air_c[inside].mean()),
            pressure_pa=result.records[0].conditions.pressure,
        )
    except CorewardError:
        return None


def _end(e: Explanation, stall: Stall, kind: str, result: Result) -> tuple[str, float | None]:
    """Tell what ends a stall and when; computed further where the cook stops in it."""
    if not stall.ended:
        ahead = _ahead(result, stall)
        return ("stock" if kind == WET_PLATEAU else "supply" if kind == SLOPE else ""), ahead
    blur = 0.5 * tables.load("stall")["slope_window"]
    edge = (e.time_s >= stall.end_s - blur) & (e.time_s <= stall.end_s + blur)
    before = (e.time_s >= stall.begin_s) & (e.time_s < stall.end_s - blur)
    if kind != WRAPPED and e.wrapped[edge].any():
        return "wrap", stall.end_s
    if before.any() and e.air_c[edge].max() > e.air_c[before].mean() + _HOTTER_K:
        return "air", stall.end_s
    if kind == WET_PLATEAU:
        return "stock", stall.end_s
    return ("supply" if kind == SLOPE else ""), stall.end_s


def _ahead(result: Result, stall: Stall) -> float | None:
    """Cook on as at the end and tell when the stall is over, or None within a day. [s]."""
    begin, last = result.records[-1].begin_s, result.stages[-1]
    stages = [
        replace(stage, duration_s=record.end_s - record.begin_s, until_core_c=None)
        for stage, record in zip(result.stages, result.records, strict=True)
    ]
    stages[-1] = replace(
        last, duration_s=result.duration_s - begin + _AHEAD_S, until_core_c=None
    )
    try:
        longer = simulate(
            result.piece, stages, cells=_AHEAD_CELLS, tolerance=_AHEAD_TOLERANCE_K
        )
    except CorewardError:
        return None
    boiling = min(record.conditions.boiling_c for record in result.records)
    found = find_stalls(longer.time_s, longer.core_c, longer.environment[:, 0], boiling)
    for each in found:
        if each.ended and each.begin_s <= stall.end_s <= each.end_s:
            return each.end_s
    return None


def _sentence(e: Explanation) -> Text:
    """Plain words for a whole cook."""
    if len(e.time_s) < 3:
        return "Nothing has happened yet."
    account = e.account
    stall = account.stall
    if stall is None:
        return _no_stall(e)
    inside = (e.time_s >= stall.begin_s) & (e.time_s <= stall.end_s)
    does = "stands still" if stall.level else "climbs slowly"
    span = say(
        f"The core {does} for {{0}}, from {{1}} at {{2}} to {{3}} at {{4}}"
        + ("." if stall.ended else ", and has not picked up by the end."),
        Lasting(stall.duration_s),
        Degrees(stall.core_begin_c),
        Lasting(stall.begin_s),
        Degrees(stall.core_end_c),
        Lasting(stall.end_s),
    )
    why = (
        f"In that time {100.0 * account.vapour_share:.0f} % of the heat that arrives leaves "
        "again as vapour."
    )
    if account.kind == SLOPE:
        supply = float(np.trapezoid(e.evaporation_kg_m2_s[inside], e.time_s[inside]))
        want = float(np.trapezoid(e.water_demand_kg_m2_s[inside], e.time_s[inside]))
        times = want / supply if supply > 0 else float("inf")
        slope = (
            f"The air could take {times:.0f} times more water than reaches the surface, so "
            "the water that heat squeezes out of the meat sets the pace: each kelvin of "
            "rise frees more, and evaporating it takes the heat. Drier air would change "
            "little. A wrap stops it, a hotter pit shortens it."
        )
        return together((span, why, slope, *_ending(account)))
    if account.kind == WET_PLATEAU:
        settles = say(
            "The surface stays wet and the damp of the air sets how hot it gets: it settles "
            "near {0}, where evaporation takes all the heat that arrives. Somewhat drier air "
            "holds it lower, damper air higher. A wrap or a hotter pit ends it.",
            Degrees(float(np.nanmean(e.wet_surface_c[inside]))),
        )
        return together((span, why, settles, *_read_off(account), *_ending(account)))
    boils = _mostly(e.regime[inside]) == BOILING
    if boils:
        why = "The surface boils at this air pressure: it gets no hotter while water is left."
        if account.kind == WRAPPED:
            why = (
                "The wrapped piece has reached boiling at this air pressure and cannot go "
                "further."
            )
    elif _mostly(e.regime[inside]) in (SEALED, NO_EVAPORATION):
        where = "through the wrap" if account.kind == WRAPPED else "the surface"
        why = (
            f"Hardly any vapour leaves {where}; the core is slow because it nears the "
            "temperature around it."
        )
    elif account.kind == WRAPPED:
        why += " A tighter wrap stops it."
    return together((span, why))


def _read_off(account: Account) -> list[Text]:
    if account.damp is None:
        return []
    return [
        account.damp.sentence,
        say("In this cook it is {0}.", Degrees(account.dew_point_c)),
    ]


def _ending(account: Account) -> list[Text]:
    """Say what ends the stall, about when, and what follows."""
    stall = account.stall
    if stall is None or not account.ended_by:
        return []
    if account.ended_by == "wrap":
        parts: list[Text] = [say("It ends at {0}: the wrap goes on.", Lasting(stall.end_s))]
    elif account.ended_by == "air":
        parts = [say("It ends at {0}: the pit gets hotter.", Lasting(stall.end_s))]
    elif account.ends_s is None:
        parts = ["It does not end within a day as things are."]
    else:
        ends = "It ends" if stall.ended else "Left alone it ends"
        runs_out = "as less and less water comes"
        if account.ended_by == "stock":
            runs_out = (
                "when the free water is spent: as it began, that was "
                f"{100.0 * account.free_water:.0f} % of the raw weight, and "
                f"it went at {100.0 * account.leaving:.0f} % an hour"
            )
        parts = [say(f"{ends} at about {{0}}, {runs_out}.", Lasting(account.ends_s))]
    if account.after_k is not None:
        parts.append(
            say("In the hour after it the core climbs {0}.", Difference(account.after_k, 1))
        )
    return parts


def _no_stall(e: Explanation) -> Text:
    parts: list[Text] = [
        say(
            "No stall: the core goes to {0} without slowing more than the shrinking difference "
            "to the air explains.",
            Degrees(float(e.core_c.max())),
        )
    ]
    boils = np.flatnonzero(e.regime == BOILING)
    if e.account.kind == SHUT:
        off = "Evaporation is off, so nothing takes the heat away at the surface"
        # What boils leaves as vapour whatever else is switched off.
        parts.append(
            say(f"{off} until it boils, at {{0}}.", Lasting(float(e.time_s[boils[0]])))
            if boils.size
            else f"{off}."
        )
    elif e.account.kind == WRAPPED:
        on = int(np.argmax(e.wrapped))
        parts.append(
            say(
                "The wrap went on at {0}, the core at {1}: it keeps the vapour in, so little "
                "heat is lost at the surface.",
                Lasting(float(e.time_s[on])),
                Degrees(float(e.core_c[on])),
            )
        )
    elif _mostly(e.regime) == SEALED:
        parts.append("No vapour leaves, so little heat is lost at the surface.")
    elif _mostly(e.regime) == BOILING:
        parts.append("The surface boils: it gets no hotter while water is left to go as steam.")
    return together(parts)
