"""The machinery behind a cook: problems, stages one after the other, rows of a result."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from coreward import tables
from coreward.cook.result import Balance, Result, StageRecord
from coreward.cook.stages import (
    AIR_RANGE_C,
    CRUST_LIMIT_C,
    LONGEST_STAGE_S,
    WALL_RANGE_C,
    Around,
    Chamber,
    Liquid,
    Piece,
    Spray,
    Stage,
    _series,
)
from coreward.errors import InputError, SolverError
from coreward.physics.body import FiniteShape, Mesh
from coreward.physics.chamber import OPEN, ChamberConstants, pascal_per_kilogram
from coreward.physics.exchange import convective_coefficient
from coreward.physics.history import (
    COLUMNS,
    RATES,
    interpolate,
    interpolate_linear,
    step_rates,
    stored,
    surface_history,
)
from coreward.physics.problem import LEDGER, Forcing, Problem, Raw
from coreward.physics.statement import (
    MaterialConstants,
    SurfaceConditions,
    enthalpy,
    temperature,
    water_enthalpy,
)
from coreward.physics.water import saturation_pressure, saturation_temperature
from coreward.words import Degrees, Lasting, Published, Reading, Text, say

Floats = NDArray[np.float64]

# Results carry a row at least this often, besides the solver's own steps.
ROW_SPACING_S = 60.0
_HOUR_S = 3600.0
_KELVIN = 273.15
_MOST_ROWS = 4000
# An engine lands on a target within a few millionths of a kelvin, from either
# side: a core this close is there, and does not wait to come from the other side.
_LANDING_K = 1e-4
# Two moments this close are one. [s]
_SAME_S = 1.0
# Largest departure from a straight line between two steps that is taken for
# the curve of a slow quantity and not for the slope of a stiff one. [K]
_SMOOTH_K = 0.2


def choose_engine(name: str) -> Callable[[Problem], Raw]:
    """Return the `solve` of an engine of one dimension by its name."""
    if name == "fast":
        from coreward.physics.engines.fast import solve

        return solve
    if name == "fipy":
        from coreward.physics.engines.fipy_engine import solve as solve_fipy

        return solve_fipy
    raise InputError(
        f"There is no engine {name!r}; choose 'fast' or 'fipy', or 'section' for a piece with "
        "ends in two dimensions."
    )


def convection(piece: Piece, s: Around, air: Floats) -> Floats:
    """Coefficient from shape and air speed, one value per distinct air temperature.

    The surface is taken at the temperature half way between the start and
    the air, at most 70 °C: natural convection depends on the difference to
    the fourth root, so this choice matters by a few per cent.
    """
    speed = tables.load("fire")["air_speed"] if s.air_speed is None else s.air_speed
    rounded = np.round(air / 5.0) * 5.0
    values = {
        a: convective_coefficient(
            piece.shape.form,
            piece.shape.size,
            speed,
            float(a),
            float(min(max(0.5 * (a + piece.start_c), -10.0), 70.0)),
            s.pressure_pa,
        )
        for a in np.unique(rounded)
    }
    return np.array([values[a] for a in rounded])


def chamber_share(piece: Piece, mesh: Mesh) -> float:
    """How many units of the mesh the piece has, which share the air of a chamber.

    Raises
    ------
    InputError
        If the mass of the piece is not known.
    """
    surface = piece.surface_m2
    if surface is None:
        raise InputError(
            "In a chamber the air becomes as damp as the piece makes it, and for that its size "
            "must be known: give the piece its raw mass (mass_kg)."
        )
    return surface / mesh.surface_area


def chamber_constants(piece: Piece, s: Around, mesh: Mesh) -> ChamberConstants:
    """Return what the engine needs of a chamber; `OPEN` where the humidity is given."""
    if not isinstance(s, Chamber) or not piece.material.moist:
        return OPEN
    share = chamber_share(piece, mesh) / s.portion
    table = tables.load("ventilation")
    # Walls that vapour may condense on: those of a cube of this volume.
    walls = 6.0 * s.volume_m3 ** (2.0 / 3.0)
    return ChamberConstants(
        closed=True,
        volume=s.volume_m3 / share,
        pressure=s.pressure_pa,
        wall_area=walls / share,
        wall_transfer=table["wall_heat_transfer"],
    )


def fresh_vapour(forcing: Forcing, chamber: ChamberConstants) -> float:
    """Vapour in a chamber that is full of fresh air. [kg per unit of the mesh]."""
    if not chamber.closed:
        return 0.0
    # As much vapour per dry air as outside: the air was let in and warmed.
    p = float(forcing.vapour_pressure[0])
    return p / pascal_per_kilogram(float(forcing.air_c[0]), chamber)


def vapour_at_start(
    forcing: Forcing, chamber: ChamberConstants, before: tuple[float, float] | None
) -> float:
    """Vapour in a chamber as a stretch begins. [kg per unit of the mesh].

    Where air has become hotter at once, what was there has swollen and some of it left;
    where colder, fresh air was drawn in.

    Parameters
    ----------
    forcing : Forcing
    chamber : ChamberConstants
    before : tuple of float or None
        Vapour pressure and temperature of its air before; None where it is full of fresh
        air. [Pa], [°C]
    """
    if not chamber.closed or before is None:
        return fresh_vapour(forcing, chamber)
    pressure, was_c = before
    air_c = float(forcing.air_c[0])
    if air_c < was_c:
        left = (air_c + _KELVIN) / (was_c + _KELVIN)
        pressure = left * pressure + (1.0 - left) * float(forcing.vapour_pressure[0])
    return pressure / pascal_per_kilogram(air_c, chamber)


def vapour_at_end(
    forcing: Forcing, chamber: ChamberConstants, raw: Raw
) -> tuple[float, float] | None:
    """What `vapour_at_start` of the next stretch takes."""
    if raw.vapour is None:
        return None
    air_c = float(np.interp(raw.time_s[-1], forcing.time_s, forcing.air_c))
    return float(raw.vapour[-1]) * pascal_per_kilogram(air_c, chamber), air_c


def make_forcing(
    piece: Piece, s: Around, duration: float, mesh: Mesh | None = None, after_s: float = 0.0
) -> tuple[Forcing, list[str]]:
    """Merge the time series of a stage onto common times.

    `mesh` is needed for a chamber, whose flows are per unit of it. `after_s` is how far into
    the stage the forcing begins; its own times begin at zero.
    """
    notes = []
    given = s.series()
    if s.heat_transfer is not None:
        given["heat_transfer"] = _series("heat transfer", s.heat_transfer, 0.0, 1e5, "W/m²K")
    times = np.unique(np.concatenate([x.time_s for x in given.values()])) - after_s
    times = times[(times >= 0.0) & (times < duration)]
    times = np.concatenate((times, [duration])) if duration > 0 else np.array([0.0])
    if times[0] > 0.0:
        times = np.concatenate(([0.0], times))
    if all(len(x.value) == 1 for x in given.values()):
        times = times[:1]
    then = times + after_s
    air = given["air_c"].at(then)
    dew = given["dew_point_c"].at(then)
    flows: dict[str, Floats] = {}
    if isinstance(s, Chamber) and piece.material.moist:
        if mesh is None:
            raise InputError("A chamber is for coreward.simulate; give Surroundings here.")
        per = s.portion / (_HOUR_S * chamber_share(piece, mesh))
        flows = {
            "fresh_air": given["fresh_air"].at(then) * per,
            "brought": given["brought"].at(then) * per,
        }
    wet = dew > air
    if wet.any():
        if piece.material.moist:
            notes.append(
                "The dew point was above the air temperature for part of a stage; the air was "
                "taken as saturated there."
            )
        dew = np.minimum(dew, air)
    pressure = np.array([saturation_pressure(float(d)) for d in np.clip(dew, -60.0, None)])
    h = given["heat_transfer"].at(then) if "heat_transfer" in given else None
    if h is None:
        h = convection(piece, s, air)
    return (
        Forcing(
            time_s=times,
            air_c=air,
            wall_c=given["wall_c"].at(then),
            vapour_pressure=pressure,
            heat_transfer=h,
            **flows,
        ),
        notes,
    )


def surface_conditions(piece: Piece, stage: Stage) -> SurfaceConditions:
    """Return what a stage and its wrap make of the surface."""
    s = stage.surroundings
    wrap = stage.wrap_set()
    bare = wrap.name == "none"
    emissivity = piece.material.meat_emissivity if s.emissivity is None else s.emissivity
    return SurfaceConditions(
        emissivity=emissivity if bare else wrap["emissivity"],
        pressure=s.pressure_pa,
        boiling_c=float(saturation_temperature(s.pressure_pa)),
        vapour_factor=wrap["vapour_permeance_factor"] if s.evaporation else 0.0,
        thermal_resistance=wrap["thermal_resistance"],
        juice_capacity=piece.constants.film_capacity + wrap["juice_capacity"],
    )


@dataclass(frozen=True)
class Part:
    """One stage computed: the solver's own steps, and the rows of the result.

    `poured` is the liquid that it began with and its heat above 0 °C, each per unit of
    what the symmetry of the mesh leaves out. [kg], [J] `continues` is true of a part that
    goes on with the stage of the one before, after a spray.
    """

    record: StageRecord
    time_s: Floats
    raw: Raw
    t: Floats
    w: Floats
    film: Floats
    highest: Floats
    env: Floats
    ledger: Floats
    surface: Floats
    poured: tuple[float, float] = (0.0, 0.0)
    chamber: ChamberConstants = OPEN
    continues: bool = False


def rows_of(time_s: Floats, spacing: float) -> Floats:
    """Output times of a stage: the solver's own steps, and a regular grid."""
    end = time_s[-1]
    grid = np.arange(0.0, end, spacing)
    times = np.unique(np.concatenate((grid, time_s)))
    # A grid time within a hundredth of a second of a step adds nothing.
    keep = np.concatenate(([True], np.diff(times) > 0.01))
    keep[-1] = True
    if len(times) > 1 and times[-1] - times[-2] <= 0.01:
        keep[-2] = False
        keep[0] = True
    return times[keep]


@dataclass(frozen=True)
class State:
    """What one stage leaves for the next: fields, film, record of heat, clock.

    `vapour` is the vapour pressure in the air of a chamber and that air's temperature,
    None outside of one. [Pa], [°C]
    """

    temperature_c: Floats
    water: Floats
    film: float
    highest_c: Floats
    time_s: float = 0.0
    vapour: tuple[float, float] | None = None


def start_state(piece: Piece, cells: int) -> State:
    """State of a raw piece at one temperature."""
    t = np.full(cells, float(piece.start_c))
    water = piece.constants.raw_water + piece.injected_water
    return State(t, np.full(cells, water), 0.0, t)


def _film_of(liquid: Liquid | Spray, piece: Piece, mesh: Mesh) -> float:
    """Liquid spread over the whole surface of the piece. [kg/m²]."""
    given = liquid.piece_kg if isinstance(liquid, Liquid) else None
    raw_mass = piece.raw_mass_kg if given is None else given
    if raw_mass is None:
        raise InputError(
            "Give the raw mass of the piece (mass_kg), or give it with the liquid (piece_kg): "
            "a slab or a cylinder is as long as you like, and the liquid spreads over all its "
            "surface."
        )
    # The ends of a cylinder and the rim of a slab are left out, as everywhere.
    area = raw_mass / piece.material.raw_density * mesh.surface_area / float(mesh.volume.sum())
    return liquid.mass_kg / area


def pour(
    piece: Piece,
    liquid: Liquid | Spray,
    stage: Stage,
    conditions: SurfaceConditions,
    mesh: Mesh,
    state: State,
) -> tuple[State, tuple[float, float], list[Text]]:
    """Add liquid to the film on the surface, its heat with it.

    The liquid and the outermost volume, some tenths of a millimetre, take one
    temperature at once.

    Returns
    -------
    state : State
    poured : tuple of float
        As in :class:`Part`.
    notes : list of str or Say

    Raises
    ------
    InputError
        If the piece is dry, its mass is not given, or the wrap cannot keep as much.
    """
    m = piece.constants
    sprayed = isinstance(liquid, Spray)
    if not m.moist:
        raise InputError(
            "Liquid under a wrap or on the surface needs a moist material: a solid of constant "
            "properties has no water on it. Use coreward.meat(...)."
        )
    more = _film_of(liquid, piece, mesh)
    if more > conditions.juice_capacity and not sprayed:
        most = liquid.mass_kg * conditions.juice_capacity / more
        raise InputError(
            f"The wrap ({stage.wrap_set().name}) keeps at most {most:.2g} kg of liquid on this "
            f"piece; {liquid.mass_kg:g} kg would run out. Use less, or foil."
        )
    last = len(state.temperature_c) - 1
    t, w = float(state.temperature_c[last]), float(state.water[last])
    record = float(state.highest_c[last])
    film = state.film + more
    volume, area = float(mesh.volume[last]), mesh.surface_area
    heat = area * more * water_enthalpy(liquid.temperature_c, m)
    held = volume * enthalpy(t, w, record, m) + area * state.film * water_enthalpy(t, m)
    # The film's heat is that of as much water more in the volume: the enthalpy is
    # linear in water.
    mixed = temperature((held + heat) / volume, w + film * area / volume, record, t, m)
    temperatures, highest = state.temperature_c.copy(), state.highest_c.copy()
    temperatures[last] = mixed
    highest[last] = max(record, mixed)
    under = "on the surface" if sprayed else "under the wrap"
    notes: list[Text] = [
        f"Liquid {under} is taken as spread over the whole surface, and as warm as the "
        "surface at once."
    ]
    if film > conditions.juice_capacity and not sprayed:
        notes.append(
            "With the juice already there the wrap cannot keep all of the liquid: the rest "
            "drips away."
        )
    if more > conditions.juice_capacity and sprayed:
        most = liquid.mass_kg * conditions.juice_capacity / more
        notes.append(
            f"The bare surface holds about {most:.2g} kg of a spray of {liquid.mass_kg:g} kg; "
            "the rest drips away."
        )
    poured = replace(state, temperature_c=temperatures, film=film, highest_c=highest)
    return poured, (area * more, heat), notes


def row_spacing(plan: tuple[Stage, ...]) -> float:
    """How far apart rows may lie so that a long plan stays within its rows. [s]."""
    planned = sum(s.duration_s if s.duration_s is not None else 0.0 for s in plan)
    return max(ROW_SPACING_S, planned / _MOST_ROWS)


def march(
    piece: Piece,
    plan: tuple[Stage, ...],
    mesh: Mesh,
    engine: str,
    tolerance: float,
    spacing: float,
) -> tuple[list[Part], State, list[Text]]:
    """Run a piece through stages, each beginning where the one before ended.

    Returns
    -------
    parts : list of Part
    state : State
        At the end.
    notes : list of str or Say
        What a person should know: targets not reached, saturated air.

    Raises
    ------
    InputError
        If air or walls lie outside the range in which meat can be computed.
    SolverError
        If the solution fails.
    """
    solve = choose_engine(engine)
    if piece.material.moist:
        for stage in plan:
            around = stage.surroundings
            _series("air temperature", around.air_c, *AIR_RANGE_C, "°C")
            if around.wall_c is not None:
                _series("wall temperature", around.wall_c, *WALL_RANGE_C, "°C")
    state = start_state(piece, len(mesh.position))
    parts: list[Part] = []
    notes: list[Text] = []
    for number, stage in enumerate(plan):
        name = stage.label or f"stage {number + 1}"
        more, state, told = march_stage(
            piece, stage, name, mesh, state, solve, tolerance, spacing
        )
        parts += more
        notes += [note for note in told if note not in notes]
    return parts, state, notes


def march_stage(
    piece: Piece,
    stage: Stage,
    name: str,
    mesh: Mesh,
    state: State,
    solve: Callable[[Problem], Raw],
    tolerance: float,
    spacing: float,
) -> tuple[list[Part], State, list[Text]]:
    """Run one stage from a state: one part, or one for each time between sprays.

    Returns
    -------
    parts : list of Part
    state : State
        At the end.
    notes : list of str or Say
    """
    way = Way(stage, name, state.time_s)
    parts: list[Part] = []
    notes: list[Text] = []
    while not way.done:
        part, state, told, way = march_leg(piece, way, mesh, state, solve, tolerance, spacing)
        parts.append(part)
        notes += [note for note in told if note not in notes]
    return parts, state, notes


@dataclass(frozen=True)
class Way:
    """How far a stage has come: legs done, sprays done, and whether it is over.

    `origin_s` is when the clock of its time series starts; with the stage if None.
    """

    stage: Stage
    name: str
    begun_s: float
    legs: int = 0
    sprays: int = 0
    done: bool = False
    origin_s: float | None = None


def march_leg(
    piece: Piece,
    way: Way,
    mesh: Mesh,
    state: State,
    solve: Callable[[Problem], Raw],
    tolerance: float,
    spacing: float,
    stop_s: float = math.inf,
) -> tuple[Part, State, list[Text], Way]:
    """Run a stage on to its next spray, its end or `stop_s`, whatever comes first.

    Returns
    -------
    part : Part
    state : State
        At the end.
    notes : list of str or Say
    way : Way
    """
    stage = way.stage
    longest = LONGEST_STAGE_S if stage.duration_s is None else stage.duration_s
    conditions = surface_conditions(piece, stage)
    chamber = chamber_constants(piece, stage.surroundings, mesh)
    until_c = stage.until_core_c
    spent = state.time_s - way.begun_s
    sprays = way.sprays
    poured = (0.0, 0.0)
    notes: list[Text] = []
    liquid: Liquid | Spray | None = stage.liquid if not way.legs else None
    if stage.spray is not None and way.legs:
        due = (sprays + 1) * stage.spray.every_s
        if spent >= due - _SAME_S:
            liquid, sprays = stage.spray, sprays + 1
    left = longest - spent if way.legs else longest
    seconds = min(left, stop_s - state.time_s)
    if stage.spray is not None:
        ahead = (sprays + 1) * stage.spray.every_s - spent
        if ahead < seconds - _SAME_S:
            seconds = ahead
    away = math.inf if until_c is None else abs(float(state.temperature_c[0]) - until_c)
    there = away <= _LANDING_K
    target = until_c
    if there:
        seconds, left, target = 0.0, 0.0, None
    into = spent if way.origin_s is None else state.time_s - way.origin_s
    forcing, more = make_forcing(
        piece, stage.surroundings, seconds, mesh, into if way.legs or into else 0.0
    )
    notes += more
    if liquid is not None:
        state, poured, told = pour(piece, liquid, stage, conditions, mesh, state)
        notes += told
    notes += [stage.note] if stage.note else []
    problem = Problem(
        shape=piece.shape,
        mesh=mesh,
        material=piece.constants,
        conditions=conditions,
        forcing=forcing,
        temperature_c=state.temperature_c,
        water=state.water,
        film=state.film,
        highest_c=state.highest_c,
        duration_s=seconds,
        until_core_c=target,
        tolerance=tolerance,
        chamber=chamber,
        vapour=vapour_at_start(forcing, chamber, state.vapour),
    )
    raw = _solve(solve, problem, stage.surroundings.radiant_flux)
    hottest = float(raw.temperature_c[:, -1].max())
    if piece.material.moist and hottest > CRUST_LIMIT_C:
        notes.append(BURNT)
    end = state.time_s + float(raw.time_s[-1])
    reached = None if until_c is None else raw.reached or there
    record = StageRecord(
        label=way.name,
        begin_s=state.time_s,
        end_s=end,
        wrap=stage.wrap_set().name,
        conditions=conditions,
        reached=reached,
        steps=raw.steps,
    )
    part = finish(raw, forcing, conditions, mesh, piece, spacing, record, chamber)
    part = replace(part, poured=poured, continues=way.legs > 0)
    state = State(
        raw.temperature_c[-1],
        raw.water[-1],
        float(raw.film[-1]),
        raw.highest_c[-1],
        end,
        vapour_at_end(forcing, chamber, raw),
    )
    done = bool(reached) or seconds >= left - 1e-6
    if done and until_c is not None and not reached:
        core_c = float(state.temperature_c[0])
        notes.append(target_missed(until_c, way.name, core_c, end - way.begun_s))
    return part, state, notes, replace(way, legs=way.legs + 1, sprays=sprays, done=done)


def target_missed(until_c: float, name: str, core_c: float, lasted_s: float) -> Text:
    """Say that a stage ended before the core had its temperature."""
    return say(
        "The core did not reach {0} in {1}; it ended at {2} after {3}.",
        Published(until_c),
        name,
        Reading(core_c),
        Lasting(lasted_s),
    )


BURNT = say(
    "The surface comes above {0}: what browning and charring do there is not in the model, and "
    "its temperature is a rough guess.",
    Degrees(CRUST_LIMIT_C),
)


def _solve(solve: Callable[[Problem], Raw], problem: Problem, flux: float) -> Raw:
    try:
        return solve(problem)
    except SolverError as error:
        if flux == 0.0:
            raise
        raise SolverError(
            f"{error} A radiant flux of {flux / 1e3:g} kW/m² for so long burns the surface, "
            "which is not in the model: shorten the stage or lower the flux."
        ) from error


def finish(
    raw: Raw,
    forcing: Forcing,
    conditions: SurfaceConditions,
    mesh: Mesh,
    piece: Piece,
    spacing: float,
    record: StageRecord,
    chamber: ChamberConstants = OPEN,
) -> Part:
    """Lay the rows of a result over a solved stage."""
    times = rows_of(raw.time_s, spacing)
    m = piece.constants
    t = interpolate(raw.time_s, raw.temperature_c, raw.temperature_slope, times, _SMOOTH_K)
    w = interpolate(raw.time_s, raw.water, raw.water_slope, times, 0.0)
    film = np.interp(times, raw.time_s, raw.film)
    highest = interpolate_linear(raw.time_s, raw.highest_c, times)
    env = np.column_stack(
        [
            np.interp(times, forcing.time_s, column)
            for column in (
                forcing.air_c,
                forcing.wall_c,
                forcing.vapour_pressure,
                forcing.heat_transfer,
            )
        ]
    )
    if raw.vapour is not None:
        held = np.interp(times, raw.time_s, raw.vapour)
        env[:, 2] = held * [pascal_per_kilogram(float(a), chamber) for a in env[:, 0]]
    return Part(
        record=record,
        time_s=times,
        raw=raw,
        t=t,
        w=w,
        film=film,
        highest=highest,
        env=env,
        ledger=interpolate_linear(raw.time_s, raw.ledger, times),
        chamber=chamber,
        surface=np.column_stack(
            [
                surface_history(t, w, film, highest, env, conditions, m),
                _rates_at(times, raw, mesh, m),
            ]
        ),
    )


def _rates_at(times: Floats, raw: Raw, mesh: Mesh, m: MaterialConstants) -> Floats:
    """Step means, taken to hold at the middle of their steps, at other times."""
    rates = step_rates(
        raw.time_s,
        raw.temperature_c,
        raw.water,
        raw.film,
        raw.highest_c,
        raw.ledger,
        mesh.volume,
        mesh.surface_area,
        m,
    )
    if not len(rates):
        return np.zeros((len(times), len(RATES)))
    middle = 0.5 * (raw.time_s[1:] + raw.time_s[:-1])
    return np.column_stack([np.interp(times, middle, column) for column in rates.T])


def _holds(raw: Raw, row: int, mesh: Mesh, m: MaterialConstants) -> tuple[float, float]:
    """Energy and water in the piece and on it, at one of the solver's steps."""
    energy, water = stored(
        raw.temperature_c[row],
        raw.water[row],
        raw.film[row],
        raw.highest_c[row],
        mesh.volume,
        mesh.surface_area,
        m,
    )
    return float(energy), float(water)


def _balance(parts: list[Part], mesh: Mesh, piece: Piece) -> Balance:
    """Worst residual of any stage or change of stage, relative to what was stored or crossed.

    At a change of stage nothing may come or go but the liquid that was poured.
    """
    m = piece.constants
    worst_energy = worst_water = worst_vapour = 0.0
    q = {name: i for i, name in enumerate(LEDGER)}
    raw_state = start_state(piece, len(mesh.position))
    before_e, before_w = stored(
        raw_state.temperature_c,
        raw_state.water,
        raw_state.film,
        raw_state.highest_c,
        mesh.volume,
        mesh.surface_area,
        m,
    )
    for part in parts:
        raw = part.raw
        e0, w0 = _holds(raw, 0, mesh, m)
        e1, w1 = _holds(raw, -1, mesh, m)
        book = raw.ledger[-1]
        gained = (
            book[q["heat_in"]]
            - book[q["evaporated_energy"]]
            - book[q["boiled_energy"]]
            - book[q["dripped_energy"]]
        )
        lost = book[q["evaporated"]] + book[q["boiled"]] + book[q["dripped"]]
        # The scale of energy is what is stored above 0 °C or crossed, the
        # larger: a piece at rest with its surroundings has nothing to close.
        scale = max(abs(e0), abs(e1), np.abs(raw.ledger[:, 0]).max(), 1e-30)
        kept, warmth = part.poured
        jump = abs(e0 - before_e - warmth)
        worst_energy = max(worst_energy, abs(e1 - e0 - gained) / scale, jump / scale)
        if m.moist:
            jump = abs(w0 - before_w - kept)
            worst_water = max(worst_water, abs(w1 - w0 + lost) / w0, jump / w0)
        if raw.vapour is not None:
            came = book[q["vapour_in"]] + book[q["evaporated"]] + book[q["boiled"]]
            went = book[q["vapour_out"]] + book[q["condensed"]]
            kept_here = raw.vapour[-1] - raw.vapour[0]
            crossed = max(came, went, float(raw.vapour.max()))
            worst_vapour = max(worst_vapour, abs(kept_here - came + went) / crossed)
        before_e, before_w = e1, w1
    return Balance(float(worst_energy), float(worst_water), float(worst_vapour))


def _records(parts: Sequence[Part]) -> tuple[StageRecord, ...]:
    """One record for each stage."""
    records: list[StageRecord] = []
    for part in parts:
        if part.continues:
            so_far, now = records.pop(), part.record
            now = replace(now, begin_s=so_far.begin_s, steps=so_far.steps + now.steps)
            records.append(now)
        else:
            records.append(part.record)
    return tuple(records)


ENDS_NOTE = (
    "A piece with ends is computed as a body of one dimension with its volume per surface: in "
    "dry checks its core was there up to a fifth of the time too early or too late, a tenth in "
    "the mean, and its outside was too hot, so that it rises less after the pull than computed."
)


def assemble(
    piece: Piece,
    plan: tuple[Stage, ...],
    parts: list[Part],
    mesh: Mesh,
    engine: str,
    tolerance: float,
    notes: Sequence[Text],
) -> Result:
    """Join stages to the result of a cook."""
    material = piece.material
    m = piece.constants
    chunks = []
    before = np.zeros(len(LEDGER))
    for i, part in enumerate(parts):
        # The last row of a stage is the first of the next: keep the later,
        # which has the surroundings that act from then on.
        stop = len(part.time_s) if i == len(parts) - 1 else len(part.time_s) - 1
        if stop == 0:
            before = before + part.ledger[-1]
            continue
        chunks.append((i, part, slice(0, stop), before))
        before = before + part.ledger[-1]
    if not chunks:
        chunks = [(len(parts) - 1, parts[-1], slice(0, 1), before)]

    def join(get: Callable[[Part], Floats]) -> Floats:
        return np.concatenate([get(part)[rows] for _, part, rows, _ in chunks])

    time = np.concatenate(
        [part.record.begin_s + part.time_s[rows] for _, part, rows, _ in chunks]
    )
    index = np.concatenate(
        [np.full(len(part.time_s[rows]), i, dtype=np.int64) for i, part, rows, _ in chunks]
    )
    stage_of = np.cumsum([not part.continues for part in parts]) - 1
    ledger = np.concatenate([part.ledger[rows] + base for _, part, rows, base in chunks])
    poured = np.cumsum([part.poured[0] for part in parts])
    t = join(lambda part: part.t)
    w = join(lambda part: part.w)
    film = join(lambda part: part.film)
    highest = np.maximum(np.maximum.accumulate(t, axis=0), join(lambda part: part.highest))
    surface = join(lambda part: part.surface)
    env = join(lambda part: part.env)
    steps = np.concatenate([part.record.begin_s + part.raw.time_s for part in parts])

    gained = 1.0 + piece.injected_fraction
    raw_mass = material.raw_density * mesh.volume.sum() * gained
    q = {name: i for i, name in enumerate(LEDGER)}
    if material.moist:
        evaporated = (ledger[:, q["evaporated"]] + ledger[:, q["boiled"]]) / raw_mass
        dripped = ledger[:, q["dripped"]] / raw_mass
        share, midpoint, width = material.fat_rendering
        melted = share / (1.0 + np.exp(-np.clip((highest - midpoint) / width, -60, 60)))
        fat = m.fat_density * (melted @ mesh.volume) / raw_mass
        fat = fat - fat[0]
        held = np.minimum(film, m.film_capacity) * mesh.surface_area
        water_left = w @ mesh.volume + held
        start_water = m.raw_water + piece.injected_water
        loss = (start_water * mesh.volume.sum() - water_left) / raw_mass + fat
        ratio = w / m.solids_density
        # Of the piece before an injection: what that brought does not swell it.
        lost = loss[-1] * gained - piece.injected_fraction
        lost_volume = lost * material.raw_density / 1000.0
        shrinkage = tables.load("surface", material.sets.get("surface"))["shrinkage"]
        final = piece.shape.size * max(1.0 - shrinkage * lost_volume, 0.1) ** (1.0 / 3.0)
    else:
        zero = np.zeros(len(time))
        evaporated = dripped = fat = loss = zero
        ratio = np.zeros_like(w)
        final = piece.shape.size
    return Result(
        piece=piece,
        stages=plan,
        records=_records(parts),
        mesh=mesh,
        engine=engine,
        tolerance=tolerance,
        time_s=time,
        core_c=t[:, 0].copy(),
        surface_c=t[:, -1].copy(),
        mean_c=mesh.mean(t),
        mass_loss_fraction=loss,
        evaporated_fraction=evaporated,
        dripped_fraction=dripped,
        rendered_fat_fraction=fat,
        surface_water_activity=surface[:, COLUMNS.index("activity")].copy(),
        position_m=mesh.position.copy(),
        temperature_c=t,
        water=ratio,
        film=film,
        highest_c=highest,
        environment=env,
        surface={name: surface[:, i].copy() for i, name in enumerate((*COLUMNS, *RATES))},
        stage_index=stage_of[index],
        balance=_balance(parts, mesh, piece),
        final_size_m=float(final),
        warnings=(*notes, ENDS_NOTE) if isinstance(piece.shape, FiniteShape) else tuple(notes),
        step_time_s=np.unique(steps),
        added_fraction=poured[index] / raw_mass,
    )
