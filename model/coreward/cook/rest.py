"""After the fire: places to rest in, to hold in, to chill in, and the insulated box.

A place is only another surroundings, with what covers the piece there; see table
``rest``. A box is the one place that the meat itself keeps warm: it is solved together
with the pieces in it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from coreward import tables
from coreward.cook.box import (
    Boxed,
    Lump,
    Occupant,
    before_the_box,
    given_off,
    joined_substeps,
    through_substep,
)
from coreward.cook.march import (
    ROW_SPACING_S,
    assemble,
    choose_engine,
    finish,
    surface_conditions,
)
from coreward.cook.result import Balance, Result, StageRecord
from coreward.cook.simulate import DEFAULT_CELLS, DEFAULT_TOLERANCE, simulate
from coreward.cook.stages import (
    LONGEST_STAGE_S,
    Chamber,
    Liquid,
    Piece,
    Stage,
    Surroundings,
    Wrap,
)
from coreward.errors import InputError
from coreward.physics.body import FiniteShape
from coreward.physics.exchange import convective_coefficient, radiative_flux_slope
from coreward.physics.problem import LEDGER, Forcing
from coreward.physics.statement import (
    conductivity,
    heat_capacity,
)
from coreward.physics.water import saturation_pressure, saturation_temperature
from coreward.words import Text

Floats = NDArray[np.float64]
Place = str | tables.ParameterSet
SECTION_CELLS = 40
"""Nodes along each axis of a rest in two dimensions: its rise within 0.1 K of 60."""
BOX = "box"
"""The place whose air several pieces share, see `hold_in_box`."""

_Q = {name: i for i, name in enumerate(LEDGER)}
# Sub-stages of the box: the wall's temperature is a straight line within each. Short
# enough that the line misses the curve by less than _BEND_K.
_SUBSTEP_RANGE_S = (15.0, 120.0)
_BEND_K = 0.01
_PASSES = 3
# Searing in turn against the full thickness: the middle is within IN_TURN_K while
# diffusivity * time / thickness² is at most IN_TURN_FOURIER (verification test).
IN_TURN_FOURIER = 0.0125
IN_TURN_K = 1.0
# Of ambient pressure: a box saturated at boiling would be pure steam.
_MOST_VAPOUR = 0.97


def places() -> tuple[str, ...]:
    """Names of the places of table ``rest``."""
    return tables.names("rest")


def _place(place: Place) -> tables.ParameterSet:
    return place if isinstance(place, tables.ParameterSet) else tables.load("rest", place)


def _wrap_set(wrap: Wrap) -> tables.ParameterSet:
    if isinstance(wrap, tables.ParameterSet):
        return wrap
    return tables.load("wrap", "none" if wrap is None else wrap)


def _is_cover(place: tables.ParameterSet) -> bool:
    return not (
        place["cover_resistance"] == 0.0
        and place["vapour_share"] == 1.0
        and place["liquid_heat_transfer"] == 0.0
    )


def _covered(
    place: tables.ParameterSet, wrap: Wrap, convective_share: float
) -> tables.ParameterSet:
    """Return the wrap the piece already has with the cover of the place over it.

    Radiation from a cover is part of the coefficient (see `rest_stage`); vapour goes with
    the convective share of it only.
    """
    inner = _wrap_set(wrap)
    shares = inner["vapour_permeance_factor"], place["vapour_share"]
    # Resistances to vapour in series, each counted beyond that of the bare surface.
    vapour = 0.0 if min(shares) <= 0.0 else 1.0 / (1.0 / shares[0] + 1.0 / shares[1] - 1.0)
    # The set named "none" means the bare meat and its own emissivity; a cover has its own.
    base = tables.load("wrap", "foil") if inner.name == "none" else inner
    return base.replace(
        vapour_permeance_factor=vapour * convective_share,
        thermal_resistance=inner["thermal_resistance"] + place["cover_resistance"],
        emissivity=0.0,
        juice_capacity=max(inner["juice_capacity"], place["keeps_juice"]),
    )


def rest_stage(
    place: Place,
    duration_s: float | None = None,
    *,
    piece: Piece,
    until_core_c: float | None = None,
    wrap: Wrap = None,
    air_c: float | None = None,
    dew_point_c: float | None = None,
    radiant_flux: float | None = None,
    pressure_pa: float = 101325.0,
    evaporation: bool = True,
    label: str | None = None,
    liquid: Liquid | None = None,
) -> Stage:
    """Return the stage of a piece in a place of table ``rest``.

    Parameters
    ----------
    place : str or ParameterSet
        "kitchen", "tent", "towels", "board", "warm oven", "holding cabinet",
        "water bath", "ice bath", "refrigerator", "chiller", "sear plate",
        "radiant sear", "glowing heat", or a changed set.
    duration_s : float, optional
        How long. [s]
    piece : Piece
        Its shape sets the coefficient of air.
    until_core_c : float, optional
        Or until the core has this temperature. [°C]
    wrap : str, ParameterSet or None
        What it wears already, from table ``wrap``; the cover of the place comes over it.
    air_c : float, optional
        Another temperature of the air, liquid or plate than the table's. The walls
        follow where the table has them as warm as the air. [°C]
    dew_point_c : float, optional
        Another dew point. [°C]
    radiant_flux : float, optional
        Another prescribed radiation on the whole surface than the table's. [W/m²]
    pressure_pa : float
        [Pa]
    evaporation : bool
        False shuts the surface to vapour, for comparison.
    label : str, optional
        The name of the place if None.
    liquid : Liquid, optional
        Poured under the wrap or the cover as the stage begins.

    Returns
    -------
    Stage

    Raises
    ------
    InputError, TableError
        For an unknown place or values that cannot be used.

    Notes
    -----
    The coefficient of still air is taken once, for the surface temperature the table
    names: over a rest it would vary with the fourth root of the difference. Under a cover
    that temperature is the cover's own outside, little warmer than the room, and its
    radiation is joined to the coefficient, in a straight line about it.
    """
    p = _place(place)
    air = p["air_c"] if air_c is None else float(air_c)
    wall = air if p["wall_c"] == p["air_c"] else p["wall_c"]
    dew = p["dew_point_c"] if dew_point_c is None else float(dew_point_c)
    if dew_point_c is None:
        # A colder room than the table's cannot hold the table's vapour.
        dew = min(dew, air)
    film = p["liquid_heat_transfer"]
    if film == 0.0:
        film = convective_coefficient(
            piece.shape.form,
            piece.shape.size,
            p["air_speed"],
            air,
            p["meat_surface_c"],
            pressure_pa,
        )
    flux = p["radiant_flux"] if radiant_flux is None else float(radiant_flux)
    worn = wrap
    if _is_cover(p):
        if flux > 0.0:
            raise InputError(
                f"A radiant flux does not reach a piece that the place {p.name!r} covers: "
                "leave the flux out or choose a bare place."
            )
        radiative = -radiative_flux_slope(p["emissivity"], 0.5 * (air + p["meat_surface_c"]))
        worn = _covered(p, wrap, film / (film + radiative))
        film += radiative
    around = Surroundings(
        air_c=air,
        dew_point_c=dew,
        heat_transfer=film,
        wall_c=wall,
        pressure_pa=pressure_pa,
        evaporation=evaporation,
        radiant_flux=flux,
    )
    return Stage(
        around,
        duration_s=duration_s,
        until_core_c=until_core_c,
        wrap=worn,
        label=p.name if label is None else label,
        liquid=liquid,
    )


def coldest_around(stage: Stage) -> float:
    """Coldest air or wall that a piece has around it in a stage. [°C]."""
    series = stage.surroundings.series()
    return min(float(series[name].value.min()) for name in ("air_c", "wall_c"))


def _turned_note(piece: Piece, seconds: float) -> str:
    """Return what searing in turn leaves out, and by how much that is known to matter."""
    m = piece.material.constants
    t = piece.start_c
    diffusivity = conductivity(t, m.raw_water, t, m) / heat_capacity(t, m.raw_water, t, m)
    text = (
        "The two faces, seared one after the other, are computed as alike: both half a face's "
        "time in the air, then on the heat, then in the air again. "
    )
    if diffusivity * seconds / piece.shape.size**2 <= IN_TURN_FOURIER:
        text += (
            f"Against the full thickness of a dry solid the middle was at most {IN_TURN_K:g} K "
            "off;"
        )
    else:
        text += "For so long on so thin a piece the middle may be several kelvin off, at first;"
    return text + " the surfaces are as half way between the face done first and the other."


def sear(
    seconds: float,
    *,
    piece: Piece,
    by: Place = "sear plate",
    faces: str = "both",
    between: Place = "kitchen",
    air_c: float | None = None,
    radiant_flux: float | None = None,
) -> tuple[Stage, ...]:
    """Return the stages of searing, to go before or after others.

    Parameters
    ----------
    seconds : float
        On the heat, each face. [s]
    piece : Piece
    by : str or ParameterSet
        "sear plate" (contact), "radiant sear" (glowing walls) or "glowing heat"
        (a prescribed flux), or a changed set.
    faces : {"both", "in turn"}
        Both at once, or one after the other, which only a slab can: the model knows
        half of it, so that is approximated, and the stages say so in the warnings
        of the result.
    between : str or ParameterSet
        Where the face is that is not on the heat.
    air_c : float, optional
        Another temperature of the plate or the air. [°C]
    radiant_flux : float, optional
        Another flux on each face. [W/m²]

    Returns
    -------
    tuple of Stage

    Raises
    ------
    InputError
        For a time that is not one, an unknown choice of faces, or a round piece in turn.
    """
    p = _place(by)
    flat = piece.shape.form == "slab"
    hot = rest_stage(p, seconds, piece=piece, air_c=air_c, radiant_flux=radiant_flux)
    if faces == "both":
        note = (
            ""
            if flat or p["liquid_heat_transfer"] == 0.0
            else "A plate touches a round piece in one place at a time; computed as if all of "
            "it touched at once, which is more heat than it gets."
        )
        return (replace(hot, note=note),)
    if faces != "in turn":
        raise InputError(f"faces is {faces!r}; use 'both' or 'in turn'.")
    if not flat:
        raise InputError(
            "Only a slab has two faces to sear in turn; sear a round piece with faces='both'."
        )
    wait = rest_stage(between, 0.5 * seconds, piece=piece)
    return wait, replace(hot, note=_turned_note(piece, seconds)), wait


@dataclass(frozen=True)
class BoxRest:
    """Pieces in a box, solved together.

    Attributes
    ----------
    results : tuple of Result
        One for each kind of piece: its whole history, the box as last stage. Their
        `balance` is the worse of the piece's own and that of the whole box.
    time_s : ndarray
        Since the lid was closed. [s]
    box_c : ndarray
        Of the box's inside. [°C]
    condensate_kg : ndarray
        Vapour and juice that left the pieces into the box. [kg]
    wall_loss_j : ndarray
        Heat gone through the wall since the lid was closed. [J]
    balance : Balance
        Energy and water of box and pieces together, relative to what they hold.
    """

    results: tuple[Result, ...]
    time_s: Floats
    box_c: Floats
    condensate_kg: Floats
    wall_loss_j: Floats
    balance: Balance

    @property
    def result(self) -> Result:
        """The first kind of piece."""
        return self.results[0]


def share_box(
    contents: Sequence[Boxed],
    box: Place | None = None,
    *,
    duration_s: float,
    preheated_c: float | None = None,
    room_c: float | None = None,
    pressure_pa: float = 101325.0,
    evaporation: bool = True,
    engine: str = "fast",
    cells: int = DEFAULT_CELLS,
    tolerance: float = DEFAULT_TOLERANCE,
    substep_s: float | None = None,
) -> BoxRest:
    """Rest pieces, alike or not, in one insulated box.

    Parameters
    ----------
    contents : sequence of Boxed
    box : str or ParameterSet, optional
        Set of table ``box``; its default if None.
    duration_s : float
        From the closing of the lid. [s]
    preheated_c : float, optional
        Inside of the box when the pieces go in; the room's temperature if None. [°C]
    room_c : float, optional
        Room around the box; the table's if None. [°C]
    pressure_pa : float
        [Pa]
    evaporation : bool
        False shuts the surfaces to vapour.
    engine, cells, tolerance
        As in :func:`coreward.simulate`.
    substep_s : float, optional
        Fixed length of the sub-stages [s]; chosen from the bend of the box's
        temperature if None.

    Returns
    -------
    BoxRest

    Raises
    ------
    InputError, TableError, SolverError

    Notes
    -----
    ``d(C T_b + M e_w(T_b))/dt = heat and water from the pieces - UA (T_b - T_room)``.
    All that leaves a piece, heat, vapour or juice, stays in the box, and only heat
    passes its wall. The air in the box is saturated at its wall, or at the meat where
    that is colder: more vapour than the meat gives there is not. Each sub-stage is
    solved with a guess of the box's temperature at its end, then again with the better
    one; the books are those of the last solution, so that energy closes.
    """
    b = tables.load("box", box) if box is None or isinstance(box, str) else box
    if not contents:
        raise InputError("There is nothing in the box: give at least one Boxed(piece, ...).")
    if not (math.isfinite(duration_s) and 0.0 <= duration_s <= LONGEST_STAGE_S):
        raise InputError(
            f"The time in the box must lie between 0 and {LONGEST_STAGE_S / 3600:g} hours; it "
            f"is {duration_s} s."
        )
    if substep_s is not None and not substep_s > 0.0:
        raise InputError(f"A sub-stage must be longer than nothing; it is {substep_s} s.")
    room = b["room_c"] if room_c is None else float(room_c)
    start = room if preheated_c is None else float(preheated_c)
    boiling = saturation_temperature(pressure_pa)
    if not -30.0 <= start < boiling:
        raise InputError(
            f"The inside of a box must start between -30 °C and boiling ({boiling:.0f} °C); it "
            f"is {start:g} °C."
        )
    gap = b["gap_coefficient"]
    solve = choose_engine(engine)
    occupants: list[Occupant] = []
    notes: list[list[Text]] = []
    for boxed in contents:
        inside = Stage(
            Surroundings(
                start,
                dew_point_c=min(start, 20.0),
                heat_transfer=gap,
                pressure_pa=pressure_pa,
                evaporation=evaporation,
            ),
            duration_s=duration_s,
            wrap=boxed.wrap,
            label="box",
        )
        one, more = before_the_box(boxed, engine, cells, tolerance, inside)
        occupants.append(one)
        notes.append(more)
    wet = next((one.m for one in occupants if one.m.moist), occupants[0].m)
    state = Lump(
        b["liner_mass"] * b["liner_heat_capacity"],
        b["wall_conductance"],
        room,
        start,
        0.0,
        wet,
    )
    at_start = [one.holds() for one in occupants]
    energy_before = state.energy() + sum(e for e, _ in at_start)
    water_before = sum(w for _, w in at_start)

    def vapour(box_c: float, surfaces: Sequence[float]) -> float:
        coldest = min(box_c, max(surfaces))
        return min(float(saturation_pressure(coldest)), _MOST_VAPOUR * pressure_pa)

    shortest, longest = _SUBSTEP_RANGE_S
    seconds = shortest if substep_s is None else substep_s
    clock, lost, slope = 0.0, 0.0, 0.0
    times, box_c, condensate, wall = [0.0], [start], [0.0], [0.0]
    pressures = [vapour(start, [float(one.t[-1]) for one in occupants])]
    while True:
        seconds = min(seconds, duration_s - clock)
        if duration_s - clock - seconds < 1.0:
            seconds = duration_s - clock
        extrapolated = state.t + slope * seconds
        end_c, end_p = extrapolated, pressures[-1]
        for _ in range(_PASSES):
            raws = [
                through_substep(
                    one,
                    solve,
                    seconds,
                    (state.t, end_c),
                    (pressures[-1], end_p),
                    gap,
                    tolerance,
                )
                for one in occupants
            ]
            given = [given_off(one, raw) for one, raw in zip(occupants, raws, strict=True)]
            heat, water = sum(h for h, _ in given), sum(w for _, w in given)
            better, through = state.after(heat, water, seconds)
            change = abs(better - end_c)
            used_c, used_p = end_c, end_p
            end_c = better
            end_p = vapour(end_c, [float(raw.temperature_c[-1, -1]) for raw in raws])
            if change < 0.1 * _BEND_K:
                break
        bend = abs(end_c - extrapolated)
        if substep_s is None and bend > 10.0 * _BEND_K and seconds > 1.01 * shortest:
            seconds = max(shortest, 0.5 * seconds)
            continue
        for one, raw in zip(occupants, raws, strict=True):
            one.raws.append(raw)
            one.t, one.w = raw.temperature_c[-1], raw.water[-1]
            one.film, one.highest = float(raw.film[-1]), raw.highest_c[-1]
        slope = (end_c - state.t) / seconds if seconds > 0.0 else 0.0
        state.t, state.water = end_c, state.water + water
        clock += seconds
        lost += through
        if clock > times[-1]:
            times.append(clock)
            box_c.append(state.t)
            condensate.append(state.water)
            wall.append(lost)
            pressures.append(used_p if abs(used_c - end_c) < 1e-9 else end_p)
        if clock >= duration_s:
            break
        if substep_s is None:
            factor = math.sqrt(_BEND_K / max(bend, 1e-6))
            seconds = min(max(seconds * min(max(factor, 0.5), 2.0), shortest), longest)
        else:
            seconds = substep_s

    ends = [one.holds() for one in occupants]
    energy_after = state.energy() + sum(e for e, _ in ends)
    water_after = state.water + sum(w for _, w in ends)
    energy_scale = max(abs(energy_before), abs(energy_after), abs(lost), 1e-30)
    whole = Balance(
        energy=float(abs(energy_after - energy_before + lost) / energy_scale),
        water=float(abs(water_after - water_before) / water_before) if wet.moist else 0.0,
    )
    series = np.array(times), np.array(box_c), np.array(pressures)
    results = [
        _boxed_result(one, more, series, gap, engine, tolerance, whole)
        for one, more in zip(occupants, notes, strict=True)
    ]
    return BoxRest(
        results=tuple(results),
        time_s=series[0],
        box_c=series[1],
        condensate_kg=np.array(condensate),
        wall_loss_j=np.array(wall),
        balance=whole,
    )


def _boxed_result(
    one: Occupant,
    notes: list[Text],
    series: tuple[Floats, Floats, Floats],
    gap: float,
    engine: str,
    tolerance: float,
    whole: Balance,
) -> Result:
    """Return the ordinary result of one kind of piece, the box its last stage."""
    time, box_c, pressure = series
    piece = one.boxed.piece
    raw = joined_substeps(one.raws, time[: len(one.raws)])
    forcing = Forcing(
        time_s=time,
        air_c=box_c,
        wall_c=box_c,
        vapour_pressure=pressure,
        heat_transfer=np.full(len(time), gap),
    )
    around = one.stage.surroundings
    if isinstance(around, Chamber):
        raise InputError(
            "A box keeps its own air: give the stage in it Surroundings(...), not a Chamber."
        )
    dew = np.array([saturation_temperature(float(p)) for p in pressure])
    several = len(time) > 1
    stage = replace(
        one.stage,
        surroundings=replace(
            around,
            air_c=(time, box_c) if several else float(box_c[0]),
            dew_point_c=(time, dew) if several else min(float(dew[0]), float(box_c[0])),
        ),
    )
    conditions = surface_conditions(piece, one.stage)
    begin = one.parts[-1].record.end_s if one.parts else 0.0
    record = StageRecord(
        label=one.stage.label,
        begin_s=begin,
        end_s=begin + float(raw.time_s[-1]),
        wrap=one.stage.wrap_set().name,
        conditions=conditions,
        reached=None,
        steps=raw.steps,
    )
    part = finish(raw, forcing, conditions, one.mesh, piece, ROW_SPACING_S, record)
    plan = (*one.boxed.stages, stage)
    result = assemble(piece, plan, [*one.parts, part], one.mesh, engine, tolerance, notes)
    return replace(
        result,
        balance=Balance(
            energy=float(max(result.balance.energy, whole.energy)),
            water=float(max(result.balance.water, whole.water)),
        ),
    )


def hold_in_box(
    piece: Piece,
    stages_before: Stage | Sequence[Stage],
    box: Place | None = None,
    *,
    duration_s: float,
    mass_kg: float | None = None,
    pieces: int = 1,
    wrap: Wrap = "foil",
    preheated_c: float | None = None,
    room_c: float | None = None,
    **options: Any,
) -> BoxRest:
    """Rest one piece, or several alike, in an insulated box.

    Parameters
    ----------
    piece : Piece
    stages_before : Stage or sequence of Stage
        What happened to it before the box; may be empty.
    box, duration_s, preheated_c, room_c
        As in :func:`share_box`.
    mass_kg : float, optional
        Raw mass of one piece [kg]; needed unless it is a sphere.
    pieces : int
        How many alike.
    wrap : str, ParameterSet or None
        What they wear in the box.
    **options
        Passed on to :func:`share_box`.

    Returns
    -------
    BoxRest
    """
    before = (stages_before,) if isinstance(stages_before, Stage) else tuple(stages_before)
    return share_box(
        [Boxed(piece, before, mass_kg, pieces, wrap)],
        box,
        duration_s=duration_s,
        preheated_c=preheated_c,
        room_c=room_c,
        **options,
    )


@dataclass(frozen=True)
class BoxPlan:
    """A rest in an insulated box, as an argument; see :func:`hold_in_box`."""

    duration_s: float
    mass_kg: float | None = None
    pieces: int = 1
    box: Place | None = None
    wrap: Wrap = "foil"
    preheated_c: float | None = None
    room_c: float | None = None


Rest = Stage | Sequence[Stage] | BoxPlan


def cook_and_rest(
    piece: Piece, stages: Stage | Sequence[Stage], rest: Rest, **options: Any
) -> Result:
    """Cook, then rest, on one state.

    A piece with ends is computed in two dimensions, where it is a product of two bodies and
    nothing is poured or sprayed over it: the body of one dimension that stands for it keeps the
    hours and not the heat outside the core, and its core rises a sixth further (as long as
    wide) to twice as far (flat ones).

    Parameters
    ----------
    piece : Piece
    stages : Stage or sequence of Stage
    rest : Stage, sequence of Stage or BoxPlan
    **options
        Passed on to :func:`coreward.simulate` or :func:`hold_in_box`.

    Returns
    -------
    Result
    """
    before = (stages,) if isinstance(stages, Stage) else tuple(stages)
    plan = [*before]
    if isinstance(rest, BoxPlan):
        alone = {"engine": "fast"} if "engine" not in options else {}
        boxed = hold_in_box(
            piece,
            before,
            rest.box,
            duration_s=rest.duration_s,
            mass_kg=rest.mass_kg,
            pieces=rest.pieces,
            wrap=rest.wrap,
            preheated_c=rest.preheated_c,
            room_c=rest.room_c,
            **options | alone,
        ).result
        if options.get("engine", "section") != "section" or not _in_two_dimensions(piece, plan):
            return boxed
        # The air of the box hangs on the heat that the piece gives off, of which both bodies
        # give nearly as much: it is taken as that body left it.
        plan += [boxed.stages[-1]]
    else:
        plan += [rest] if isinstance(rest, Stage) else rest
    if "engine" not in options and _in_two_dimensions(piece, plan):
        options = {"cells": SECTION_CELLS} | options | {"engine": "section"}
    return simulate(piece, plan, **options)


def _in_two_dimensions(piece: Piece, plan: Sequence[Stage]) -> bool:
    if not isinstance(piece.shape, FiniteShape) or piece.shape.axes() is None:
        return False
    return all(stage.liquid is None and stage.spray is None for stage in plan)
