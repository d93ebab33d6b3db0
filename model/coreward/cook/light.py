"""Cooks with hardly any rows: the same engine for fits and forecasts that need thousands.

`coreward.simulate` keeps every field at many times, which costs more than solving. Here
a cook is a chain of legs, given as the engine takes them, and what comes back is a few
curves at the times asked for. The equations, the mesh and the engine are the same ones;
a test holds both ways of asking against each other.
"""

from __future__ import annotations

import concurrent.futures
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from coreward.cook.many import usable_cores
from coreward.cook.march import vapour_at_end, vapour_at_start
from coreward.physics import history
from coreward.physics.body import Mesh, Shape, make_mesh
from coreward.physics.chamber import OPEN, ChamberConstants, pascal_per_kilogram
from coreward.physics.engines.fast import solve
from coreward.physics.problem import LEDGER, Forcing, Problem, Raw
from coreward.physics.statement import MaterialConstants, SurfaceConditions

Floats = NDArray[np.float64]

# Coarser than `simulate`: within 0.15 K of it at the core (verification test), far less
# than any fit can tell apart, and five times faster.
LIGHT_CELLS = 24
LIGHT_TOLERANCE = 0.2
# Interpolated as in `march`: cubic where the solution is smooth. [K]
_SMOOTH_K = 0.2
_Q = {name: i for i, name in enumerate(LEDGER)}

_In = TypeVar("_In")
_Out = TypeVar("_Out")


@dataclass(frozen=True)
class Leg:
    """A stretch under one covering, as the engine takes it.

    Attributes
    ----------
    forcing : Forcing
        Times from the start of the leg.
    conditions : SurfaceConditions
    duration_s : float
        At most so long. [s]
    until_core_c : float or None
        Or until the core has this temperature. [°C]
    from_below : bool
        With `until_core_c`: a core that is hotter already ends the leg at once. False
        waits for it to cool.
    chamber : ChamberConstants
        Of a closed pit whose air the meat makes damp; `OPEN` where `forcing` says how damp.
    """

    forcing: Forcing
    conditions: SurfaceConditions
    duration_s: float
    until_core_c: float | None = None
    from_below: bool = False
    chamber: ChamberConstants = OPEN


@dataclass(frozen=True)
class LightCook:
    """A piece and its legs; `injected_water` is what it starts with on top. [kg/m³]."""

    shape: Shape
    constants: MaterialConstants
    start_c: float
    legs: tuple[Leg, ...]
    injected_water: float = 0.0


@dataclass(frozen=True)
class LightRun:
    """Curves of a cook at the times asked for; the last value held beyond its end.

    Attributes
    ----------
    probe_c, core_c, surface_c : ndarray, shape (times,)
        At the depth asked for, at the centre, at the surface. [°C]
    water_loss_fraction, evaporated_fraction : ndarray, shape (times,)
        Of the raw mass of water and dry matter: all water that left, and what of it
        went as vapour. [-]
    film_kg_m2 : ndarray, shape (times,)
        Free water on the surface.
    surface_water : ndarray, shape (times,)
        Water of the surface volume. [kg per m³ of raw piece]
    vapour_pressure : ndarray, shape (times,)
        Of the air around the piece, given or what a chamber made of it. [Pa]
    leg_end_s : tuple of float
        When each leg ended, from the start of the cook.
    reached : tuple of bool
        Whether each leg ended because the core had its temperature.
    """

    probe_c: Floats
    core_c: Floats
    surface_c: Floats
    water_loss_fraction: Floats
    evaporated_fraction: Floats
    film_kg_m2: Floats
    surface_water: Floats
    vapour_pressure: Floats
    leg_end_s: tuple[float, ...]
    reached: tuple[bool, ...]


def run_light(
    cook: LightCook,
    at_s: Floats,
    depth: float | Floats = 0.0,
    cells: int = LIGHT_CELLS,
    tolerance: float = LIGHT_TOLERANCE,
) -> LightRun:
    """Solve a cook and read its curves at the given times.

    Parameters
    ----------
    cook : LightCook
    at_s : ndarray, shape (times,)
        From the start of the cook, increasing. [s]
    depth : float or ndarray, shape (times,)
        Where the probe sits at each time, from the centre, as a share of the way to the
        surface. [-]
    cells, tolerance
        See :func:`coreward.simulate`.

    Returns
    -------
    LightRun

    Raises
    ------
    SolverError
        If the solution fails.
    """
    mesh = make_mesh(cook.shape, cells)
    m = cook.constants
    last = cells - 1
    sits = np.broadcast_to(np.asarray(depth, dtype=float), np.shape(at_s))
    between = [(d, *_between(mesh, float(d))) for d in np.unique(sits)]
    nodes = np.array(sorted({0, last, *(n + i for _, n, _ in between for i in (0, 1))}))
    place = {int(n): i for i, n in enumerate(nodes)}
    t = np.full(cells, float(cook.start_c))
    w = np.full(cells, m.raw_water + cook.injected_water)
    highest = t
    film = 0.0
    held0 = (m.raw_water + cook.injected_water) * mesh.volume.sum()
    raw_mass = held0 + mesh.volume.sum() * (m.solids_density + m.fat_density + m.bone_density)
    air: tuple[float, float] | None = None  # of a chamber
    out = np.empty((8, len(at_s)))
    begin = 0.0
    evaporated = 0.0
    ends: list[float] = []
    reached: list[bool] = []
    done = 0
    for number, leg in enumerate(cook.legs):
        past = leg.until_core_c is not None and leg.from_below and t[0] >= leg.until_core_c
        if past and number < len(cook.legs) - 1:
            ends.append(begin)
            reached.append(True)
            continue
        room = leg.chamber
        raw = solve(
            Problem(
                cook.shape,
                mesh,
                m,
                leg.conditions,
                leg.forcing,
                t,
                w,
                film,
                highest,
                leg.duration_s,
                leg.until_core_c,
                tolerance,
                room,
                vapour_at_start(leg.forcing, room, air),
            )
        )
        end = begin + float(raw.time_s[-1])
        # A time on the border belongs to the leg that begins there.
        stop = (
            len(at_s)
            if number == len(cook.legs) - 1
            else int(np.searchsorted(at_s, end, side="left"))
        )
        if stop > done:
            local = np.clip(at_s[done:stop] - begin, 0.0, raw.time_s[-1])
            temps = history.interpolate(
                raw.time_s,
                np.ascontiguousarray(raw.temperature_c[:, nodes]),
                np.ascontiguousarray(raw.temperature_slope[:, nodes]),
                local,
                _SMOOTH_K,
            )
            for d, node, weight in between:
                here = sits[done:stop] == d
                low, high = temps[here, place[node]], temps[here, place[node + 1]]
                out[0, done:stop][here] = low + weight * (high - low)
            out[1, done:stop] = temps[:, place[0]]
            out[2, done:stop] = temps[:, place[last]]
            _account(
                out, done, stop, raw, local, mesh, evaporated, raw_mass, held0, m.film_capacity
            )
            out[7, done:stop] = _around(leg, raw, local)
            done = stop
        t, w = raw.temperature_c[-1], raw.water[-1]
        film, highest = float(raw.film[-1]), raw.highest_c[-1]
        air = vapour_at_end(leg.forcing, room, raw)
        evaporated += _vapour(raw)[-1]
        begin = end
        ends.append(end)
        reached.append(leg.until_core_c is not None and raw.reached)
    return LightRun(
        probe_c=out[0],
        core_c=out[1],
        surface_c=out[2],
        water_loss_fraction=out[3],
        evaporated_fraction=out[4],
        film_kg_m2=out[5],
        surface_water=out[6],
        vapour_pressure=out[7],
        leg_end_s=tuple(ends),
        reached=tuple(reached),
    )


def _between(mesh: Mesh, depth: float) -> tuple[int, float]:
    """Node below a depth, and the share of the way to the next."""
    where = depth * mesh.position[-1]
    node = int(np.searchsorted(mesh.position, where, side="right")) - 1
    node = min(max(node, 0), len(mesh.position) - 2)
    return node, (where - mesh.position[node]) / mesh.spacing[node]


def _around(leg: Leg, raw: Raw, local: Floats) -> Floats:
    """Vapour pressure of the air at the local times of a leg. [Pa]."""
    f = leg.forcing
    if raw.vapour is None:
        return np.interp(local, f.time_s, f.vapour_pressure)
    air = np.interp(local, f.time_s, f.air_c)
    per = np.array([pascal_per_kilogram(float(a), leg.chamber) for a in air])
    pressure: Floats = np.interp(local, raw.time_s, raw.vapour) * per
    return pressure


def _vapour(raw: Raw) -> Floats:
    gone: Floats = raw.ledger[:, _Q["evaporated"]] + raw.ledger[:, _Q["boiled"]]
    return gone


def _account(
    out: Floats,
    first: int,
    stop: int,
    raw: Raw,
    local: Floats,
    mesh: Mesh,
    evaporated: float,
    raw_mass: float,
    held0: float,
    film_capacity: float,
) -> None:
    """Water that left, at the local times of a leg."""
    # As in `simulate`: what runs beside the meat in a wrap is lost to it.
    film = np.minimum(raw.film, film_capacity)
    held = raw.water @ mesh.volume + film * mesh.surface_area
    out[3, first:stop] = np.interp(local, raw.time_s, (held0 - held) / raw_mass)
    vapour = (evaporated + _vapour(raw)) / raw_mass
    out[4, first:stop] = np.interp(local, raw.time_s, vapour)
    out[5, first:stop] = np.interp(local, raw.time_s, raw.film)
    out[6, first:stop] = np.interp(local, raw.time_s, raw.water[:, -1])


def spread(
    work: Callable[[_In], _Out], items: Sequence[_In], cores: int | None = None
) -> list[_Out]:
    """Do the same work on many items with a thread for each core, in order.

    The engine runs outside Python's global lock, so threads suffice.
    """
    if cores is None:
        cores = usable_cores()
    if cores == 1 or len(items) < 2:
        return [work(item) for item in items]
    size = max(1, min(32, len(items) // (4 * cores)))
    chunks = [items[i : i + size] for i in range(0, len(items), size)]
    with concurrent.futures.ThreadPoolExecutor(cores) as pool:
        done = pool.map(lambda chunk: [work(item) for item in chunk], chunks)
        return [one for chunk in done for one in chunk]
