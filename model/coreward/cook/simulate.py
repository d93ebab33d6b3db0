"""Run a piece through its stages."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from coreward import tables
from coreward.cook.result import Balance, Result, StageRecord
from coreward.cook.stages import (
    AIR_RANGE_C,
    LONGEST_STAGE_S,
    WALL_RANGE_C,
    Piece,
    Stage,
    Surroundings,
    _series,
)
from coreward.errors import InputError
from coreward.physics.body import Mesh, make_mesh
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
from coreward.physics.statement import MaterialConstants, SurfaceConditions
from coreward.physics.water import saturation_pressure, saturation_temperature

Floats = NDArray[np.float64]

DEFAULT_CELLS = 60
# [K] per step, in the norm of the engine. Chosen so that the core of an
# all-day cook is within 0.05 K of a converged run (verification tests).
DEFAULT_TOLERANCE = 0.02
# Results carry a row at least this often, besides the solver's own steps.
_ROW_SPACING_S = 60.0
_MOST_ROWS = 4000
# Largest departure from a straight line between two steps that is taken for
# the curve of a slow quantity and not for the slope of a stiff one. [K]
_SMOOTH_K = 0.2


def _engine(name: str) -> Callable[[Problem], Raw]:
    if name == "fast":
        from coreward.physics.engines.fast import solve

        return solve
    if name == "fipy":
        from coreward.physics.engines.fipy_engine import solve as solve_fipy

        return solve_fipy
    raise InputError(f"There is no engine {name!r}; choose 'fast' or 'fipy'.")


def _convection(piece: Piece, s: Surroundings, air: Floats) -> Floats:
    """Coefficient from shape and air speed, one value per distinct air temperature.

    The surface is taken at the temperature half way between the start and
    the air, at most 70 °C: natural convection depends on the difference to
    the fourth root, so this choice matters by a few per cent.
    """
    speed = tables.load("fire")["air_speed"] if s.air_speed is None else s.air_speed
    rounded = np.round(air / 5.0) * 5.0
    values = {
        a: convective_coefficient(
            piece.shape.name,
            piece.shape.size,
            speed,
            float(a),
            float(min(max(0.5 * (a + piece.start_c), -10.0), 70.0)),
            s.pressure_pa,
        )
        for a in np.unique(rounded)
    }
    return np.array([values[a] for a in rounded])


def _forcing(piece: Piece, s: Surroundings, duration: float) -> tuple[Forcing, list[str]]:
    """Merge the time series of a stage onto common times."""
    notes = []
    given = s.series()
    if s.heat_transfer is not None:
        given["heat_transfer"] = _series("heat transfer", s.heat_transfer, 0.0, 1e5, "W/m²K")
    times = np.unique(np.concatenate([x.time_s for x in given.values()]))
    times = times[(times >= 0.0) & (times < duration)]
    times = np.concatenate((times, [duration])) if duration > 0 else np.array([0.0])
    if times[0] > 0.0:
        times = np.concatenate(([0.0], times))
    if all(len(x.value) == 1 for x in given.values()):
        times = times[:1]
    air = given["air_c"].at(times)
    dew = given["dew_point_c"].at(times)
    wet = dew > air
    if wet.any():
        if piece.material.moist:
            notes.append(
                "The dew point was above the air temperature for part of a stage; the air was "
                "taken as saturated there."
            )
        dew = np.minimum(dew, air)
    pressure = np.array([saturation_pressure(float(d)) for d in np.clip(dew, -60.0, None)])
    h = given["heat_transfer"].at(times) if "heat_transfer" in given else None
    if h is None:
        h = _convection(piece, s, air)
    return (
        Forcing(
            time_s=times,
            air_c=air,
            wall_c=given["wall_c"].at(times),
            vapour_pressure=pressure,
            heat_transfer=h,
        ),
        notes,
    )


def _conditions(piece: Piece, stage: Stage) -> SurfaceConditions:
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
        juice_capacity=piece.material.constants.film_capacity + wrap["juice_capacity"],
    )


@dataclass
class _Part:
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


def _rows(raw: Raw, spacing: float) -> Floats:
    """Output times of a stage: the solver's own steps, and a regular grid."""
    end = raw.time_s[-1]
    grid = np.arange(0.0, end, spacing)
    times = np.unique(np.concatenate((grid, raw.time_s)))
    # A grid time within a hundredth of a second of a step adds nothing.
    keep = np.concatenate(([True], np.diff(times) > 0.01))
    keep[-1] = True
    if len(times) > 1 and times[-1] - times[-2] <= 0.01:
        keep[-2] = False
        keep[0] = True
    return times[keep]


def simulate(
    piece: Piece,
    stages: Stage | Sequence[Stage],
    engine: str = "fast",
    cells: int = DEFAULT_CELLS,
    tolerance: float = DEFAULT_TOLERANCE,
) -> Result:
    """Cook a piece.

    Parameters
    ----------
    piece : Piece
    stages : Stage or sequence of Stage
        Each begins with the state the one before left.
    engine : {"fast", "fipy"}
    cells : int
        Nodes from core to surface.
    tolerance : float
        Local error allowed per step. [K]

    Returns
    -------
    Result

    Raises
    ------
    InputError, TableError
        If something given cannot be used.
    SolverError
        If the solution fails; nothing is returned then.
    """
    if not isinstance(piece, Piece):
        raise InputError("The first argument must be a Piece(shape, material, start_c).")
    plan = (stages,) if isinstance(stages, Stage) else tuple(stages)
    if not plan or not all(isinstance(stage, Stage) for stage in plan):
        raise InputError("A cook needs at least one Stage(...).")
    if not 1e-7 <= tolerance <= 5.0:
        raise InputError(f"The tolerance must lie between 1e-7 and 5 K; it is {tolerance}.")
    solve = _engine(engine)
    material = piece.material
    m = material.constants
    mesh = make_mesh(piece.shape, cells)
    if material.moist:
        for stage in plan:
            around = stage.surroundings
            _series("air temperature", around.air_c, *AIR_RANGE_C, "°C")
            if around.wall_c is not None:
                _series("wall temperature", around.wall_c, *WALL_RANGE_C, "°C")

    t = np.full(cells, float(piece.start_c))
    w = np.full(cells, m.raw_water)
    film = 0.0
    highest = t.copy()
    begin = 0.0
    parts: list[_Part] = []
    notes: list[str] = []
    total_planned = sum(s.duration_s if s.duration_s is not None else 0.0 for s in plan)
    spacing = max(_ROW_SPACING_S, total_planned / _MOST_ROWS)
    for number, stage in enumerate(plan):
        longest = LONGEST_STAGE_S if stage.duration_s is None else stage.duration_s
        forcing, more = _forcing(piece, stage.surroundings, longest)
        notes += [note for note in more if note not in notes]
        conditions = _conditions(piece, stage)
        problem = Problem(
            shape=piece.shape,
            mesh=mesh,
            material=m,
            conditions=conditions,
            forcing=forcing,
            temperature_c=t,
            water=w,
            film=film,
            highest_c=highest,
            duration_s=longest,
            until_core_c=stage.until_core_c,
            tolerance=tolerance,
        )
        raw = solve(problem)
        reached = None if stage.until_core_c is None else raw.reached
        label = stage.label or f"stage {number + 1}"
        if reached is False:
            notes.append(
                f"The core did not reach {stage.until_core_c:.1f} °C in {label}; it ended at "
                f"{raw.temperature_c[-1, 0]:.1f} °C after {raw.time_s[-1] / 3600:.1f} h."
            )
        parts.append(
            _finish(
                raw,
                forcing,
                conditions,
                mesh,
                piece,
                spacing,
                StageRecord(
                    label=label,
                    begin_s=begin,
                    end_s=begin + float(raw.time_s[-1]),
                    wrap=stage.wrap_set().name,
                    conditions=conditions,
                    reached=reached,
                    steps=raw.steps,
                ),
            )
        )
        t, w = raw.temperature_c[-1], raw.water[-1]
        film = float(raw.film[-1])
        highest = raw.highest_c[-1]
        begin += float(raw.time_s[-1])
    return _assemble(piece, plan, parts, mesh, engine, tolerance, notes)


def _finish(
    raw: Raw,
    forcing: Forcing,
    conditions: SurfaceConditions,
    mesh: Mesh,
    piece: Piece,
    spacing: float,
    record: StageRecord,
) -> _Part:
    times = _rows(raw, spacing)
    m = piece.material.constants
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
    return _Part(
        record=record,
        time_s=times,
        raw=raw,
        t=t,
        w=w,
        film=film,
        highest=highest,
        env=env,
        ledger=interpolate_linear(raw.time_s, raw.ledger, times),
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


def _balance(parts: list[_Part], mesh: Mesh, piece: Piece) -> Balance:
    """Worst residual of any stage, relative to what crossed the surface."""
    m = piece.material.constants
    worst_energy = worst_water = 0.0
    q = {name: i for i, name in enumerate(LEDGER)}
    for part in parts:
        raw = part.raw
        e0, w0 = stored(
            raw.temperature_c[0],
            raw.water[0],
            raw.film[0],
            raw.highest_c[0],
            mesh.volume,
            mesh.surface_area,
            m,
        )
        e1, w1 = stored(
            raw.temperature_c[-1],
            raw.water[-1],
            raw.film[-1],
            raw.highest_c[-1],
            mesh.volume,
            mesh.surface_area,
            m,
        )
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
        worst_energy = max(worst_energy, abs(e1 - e0 - gained) / scale)
        if m.moist:
            worst_water = max(worst_water, abs(w1 - w0 + lost) / w0)
    return Balance(energy=float(worst_energy), water=float(worst_water))


def _assemble(
    piece: Piece,
    plan: tuple[Stage, ...],
    parts: list[_Part],
    mesh: Mesh,
    engine: str,
    tolerance: float,
    notes: list[str],
) -> Result:
    material = piece.material
    m = material.constants
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

    def join(get: Callable[[_Part], Floats]) -> Floats:
        return np.concatenate([get(part)[rows] for _, part, rows, _ in chunks])

    time = np.concatenate(
        [part.record.begin_s + part.time_s[rows] for _, part, rows, _ in chunks]
    )
    index = np.concatenate(
        [np.full(len(part.time_s[rows]), i, dtype=np.int64) for i, part, rows, _ in chunks]
    )
    ledger = np.concatenate([part.ledger[rows] + base for _, part, rows, base in chunks])
    t = join(lambda part: part.t)
    w = join(lambda part: part.w)
    film = join(lambda part: part.film)
    highest = np.maximum(np.maximum.accumulate(t, axis=0), join(lambda part: part.highest))
    surface = join(lambda part: part.surface)
    env = join(lambda part: part.env)
    steps = np.concatenate([part.record.begin_s + part.raw.time_s for part in parts])

    raw_mass = material.raw_density * mesh.volume.sum()
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
        loss = (m.raw_water * mesh.volume.sum() - water_left) / raw_mass + fat
        ratio = w / m.solids_density
        lost_volume = loss[-1] * material.raw_density / 1000.0
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
        records=tuple(part.record for part in parts),
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
        stage_index=index,
        balance=_balance(parts, mesh, piece),
        final_size_m=float(final),
        warnings=tuple(notes),
        step_time_s=np.unique(steps),
    )
