"""Does the engine solve the equations it states? Held against exact answers, live.

Nothing here says that the equations are those of meat; that is asked in
`coreward.evidence.trust`. Solids, sizes and steps of temperature below are
made up: an exact solution depends on them through Biot and Fourier numbers only.
"""

from __future__ import annotations

import csv
import math
import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from coreward.cook.result import Result
from coreward.cook.simulate import DEFAULT_CELLS, DEFAULT_TOLERANCE, simulate
from coreward.cook.stages import Piece, Stage, Surroundings
from coreward.errors import InputError, MissingFeatureError, SolverError
from coreward.evidence.series import modes, roots, series
from coreward.evidence.trust.shared import HOUR
from coreward.physics.body import GRADING, SHAPES, make_mesh
from coreward.physics.engines import fast
from coreward.physics.meat import constant_material
from coreward.physics.problem import Forcing, Problem, Raw
from coreward.physics.statement import SurfaceConditions
from coreward.physics.water import saturation_temperature

Floats = NDArray[np.float64]
Plan = Stage | Sequence[Stage]

BIOTS = (0.01, 0.1, 1.0, 10.0, 100.0)
# A solid and a step of temperature, made up.
_CONDUCTIVITY, _DENSITY, _CAPACITY = 0.5, 1000.0, 3500.0
_DIFFUSIVITY = _CONDUCTIVITY / (_DENSITY * _CAPACITY)
_HALF_M = 0.01
_START_C, STEP_K = 0.0, 100.0
# Before this 300 terms of the series are not enough at the surface.
FIRST_FOURIER = 1e-3
_SMOOTH_BIOT = 2.0
_STANDARD_PRESSURE = 101325.0
# So wide that only the corners of the surroundings limit the step.
_NO_TOLERANCE = 1e6
_FINE_TOLERANCE = 1e-6


# ----------------------------------------------------------------------- series


@dataclass(frozen=True)
class SeriesError:
    """Computed less exact, for one shape and Biot number, at the engine's own steps.

    Attributes
    ----------
    fourier : ndarray, shape (n,)
        From `FIRST_FOURIER` to three time constants of the slowest mode, at least to 3.
    core_k, surface_k, mean_k : ndarray, shape (n,)
        For a step of `STEP_K` between start and air. [K]
    """

    shape: str
    biot: float
    fourier: Floats
    core_k: Floats
    surface_k: Floats
    mean_k: Floats

    def worst(self, name: str) -> tuple[float, float]:
        """Return the largest size of ``"core_k"``, ... and its Fourier number."""
        values = np.abs(getattr(self, name))
        i = int(values.argmax())
        return float(values[i]), float(self.fourier[i])


def series_errors(
    shapes: Sequence[str] = tuple(SHAPES),
    biots: Sequence[float] = BIOTS,
    *,
    cells: int = DEFAULT_CELLS,
    tolerance: float = DEFAULT_TOLERANCE,
) -> tuple[SeriesError, ...]:
    """Hold the fast engine against the exact series.

    Parameters
    ----------
    shapes : sequence of {"slab", "cylinder", "sphere"}
    biots : sequence of float
    cells, tolerance
        As for `simulate`; the defaults are those of every cook.

    Returns
    -------
    tuple of SeriesError

    Raises
    ------
    InputError
        If a shape is unknown or a Biot number not positive.
    """
    material = constant_material(_CONDUCTIVITY, _DENSITY, _CAPACITY)
    unit_s = _HALF_M**2 / _DIFFUSIVITY
    air_c = _START_C + STEP_K
    rows = []
    for shape in shapes:
        for biot in biots:
            exact = series(shape, biot)
            last = max(3.0, 3.0 / float(exact.root[0]) ** 2)
            run = simulate(
                Piece(SHAPES[shape](2.0 * _HALF_M), material, _START_C),
                Stage(
                    Surroundings(
                        air_c,
                        heat_transfer=biot * _CONDUCTIVITY / _HALF_M,
                        emissivity=0.0,
                        evaporation=False,
                    ),
                    duration_s=last * unit_s,
                ),
                cells=cells,
                tolerance=tolerance,
            )
            fourier = run.time_s / unit_s
            # Between its steps the engine interpolates; that is not its solution.
            own = np.isin(run.time_s, run.step_time_s) & (fourier >= FIRST_FOURIER)
            fourier = fourier[own]
            rows.append(
                SeriesError(
                    shape,
                    biot,
                    fourier,
                    run.core_c[own] - air_c + STEP_K * exact.at(0.0, fourier),
                    run.surface_c[own] - air_c + STEP_K * exact.at(1.0, fourier),
                    run.mean_c[own] - air_c + STEP_K * exact.mean(fourier),
                )
            )
    return tuple(rows)


# ----------------------------------------------------------------------- orders


@dataclass(frozen=True)
class Order:
    """How the error falls as the steps get smaller.

    Attributes
    ----------
    shape : str
    kind : {"space", "time"}
    expected : float
        The order the scheme is built for.
    size : ndarray, shape (n,)
        Largest first: mean spacing over half size, or step over duration.
    error_k : ndarray, shape (n,)
        [K]
    """

    shape: str
    kind: str
    expected: float
    size: Floats
    error_k: Floats

    @property
    def observed(self) -> float:
        """Slope of the straight line through all points, both axes logarithmic."""
        return float(np.polyfit(np.log(self.size), np.log(self.error_k), 1)[0])


def _smooth(shape: str, cells: int, tolerance: float) -> tuple[Problem, Floats]:
    """One eigenmode that decays by itself, and what is left of it at the end."""
    if shape not in SHAPES:
        raise InputError(f"There is no shape {shape!r}; choose from {', '.join(SHAPES)}.")
    body = SHAPES[shape](2.0 * _HALF_M)
    mesh = make_mesh(body, cells, GRADING)
    root = float(roots(shape, _SMOOTH_BIOT, 1)[0])
    mode = modes(shape, root, mesh.position / _HALF_M)[:, 0]
    # One time constant of the mode.
    duration = _HALF_M**2 / _DIFFUSIVITY / root**2
    air_c, one = _START_C + STEP_K, np.ones(1)
    start = air_c - STEP_K * mode
    material = constant_material(_CONDUCTIVITY, _DENSITY, _CAPACITY).constants
    return (
        Problem(
            shape=body,
            mesh=mesh,
            material=material,
            conditions=SurfaceConditions(
                emissivity=0.0,
                pressure=_STANDARD_PRESSURE,
                boiling_c=float(saturation_temperature(_STANDARD_PRESSURE)),
                vapour_factor=1.0,
                thermal_resistance=0.0,
                juice_capacity=1.0,
            ),
            forcing=Forcing(
                np.zeros(1),
                air_c * one,
                air_c * one,
                0.0 * one,
                _SMOOTH_BIOT * _CONDUCTIVITY / _HALF_M * one,
            ),
            temperature_c=start,
            water=np.full(cells, material.raw_water),
            film=0.0,
            highest_c=start.copy(),
            duration_s=duration,
            until_core_c=None,
            tolerance=tolerance,
        ),
        air_c - STEP_K * mode * math.exp(-1.0),
    )


def solve_in_steps(problem: Problem, steps: int) -> Raw:
    """Solve a problem with constant surroundings in equal steps, whatever the error.

    Parameters
    ----------
    problem : Problem
    steps : int

    Returns
    -------
    Raw

    Raises
    ------
    SolverError
        If a step was refused, so that the steps are not equal.
    """
    # Corners in the surroundings that bend nothing: the engine steps on each.
    given = problem.forcing
    times = np.linspace(0.0, problem.duration_s, steps + 1)
    air, wall, vapour, film = (
        np.full(steps + 1, values[0])
        for values in (given.air_c, given.wall_c, given.vapour_pressure, given.heat_transfer)
    )
    flows = (
        None if flow is None else np.full(steps + 1, flow[0])
        for flow in (given.fresh_air, given.brought)
    )
    forcing = Forcing(times, air, wall, vapour, film, *flows)
    raw = fast.solve(replace(problem, forcing=forcing, tolerance=_NO_TOLERANCE))
    if raw.rejected:
        raise SolverError(f"{raw.rejected} of {steps} equal steps were refused; take more.")
    return raw


def order_in_space(
    shape: str, cells: Sequence[int] = (11, 21, 41, 81, 161), tolerance: float = _FINE_TOLERANCE
) -> Order:
    """Refine the mesh of a smooth problem whose exact solution is known.

    Parameters
    ----------
    shape : {"slab", "cylinder", "sphere"}
    cells : sequence of int
        Nodes, coarsest first; the mesh is finer towards the surface, as for a cook.
    tolerance : float
        So tight that only space is seen. [K]

    Returns
    -------
    Order
        Root mean square over the piece after one time constant.
    """
    errors = []
    for count in cells:
        problem, exact = _smooth(shape, count, tolerance)
        wrong = fast.solve(problem).temperature_c[-1] - exact
        errors.append(float(np.sqrt(problem.mesh.mean(wrong**2))))
    return Order(shape, "space", 2.0, 1.0 / (np.array(cells) - 1.0), np.array(errors))


def order_in_time(
    shape: str, steps: Sequence[int] = (16, 32, 64, 128), fine: int = 2048, cells: int = 30
) -> Order:
    """Shorten the steps of a smooth problem on one mesh.

    Parameters
    ----------
    shape : {"slab", "cylinder", "sphere"}
    steps : sequence of int
        Equal steps, fewest first.
    fine : int
        Steps of the run that counts as exact on this mesh.
    cells : int

    Returns
    -------
    Order
        Largest error over the piece after one time constant.
    """
    problem, _ = _smooth(shape, cells, _FINE_TOLERANCE)
    exact = solve_in_steps(problem, fine).temperature_c[-1]
    errors = [
        float(np.abs(solve_in_steps(problem, count).temperature_c[-1] - exact).max())
        for count in steps
    ]
    return Order(shape, "time", 3.0, 1.0 / np.array(steps, dtype=float), np.array(errors))


# --------------------------------------------------------------------- balances


@dataclass(frozen=True)
class BalanceRow:
    """How well one cook closes.

    Attributes
    ----------
    loss, evaporated : float
        At the end, of the raw mass.
    energy, water : float
        What is missing, relative to what crossed the surface.
    """

    name: str
    hours: float
    core_c: float
    loss: float
    evaporated: float
    energy: float
    water: float


def balances(cooks: Mapping[str, tuple[Piece, Plan]]) -> tuple[BalanceRow, ...]:
    """Cook each and report what is missing from energy and water.

    Parameters
    ----------
    cooks : mapping of str to (Piece, Stage or sequence of Stage)

    Returns
    -------
    tuple of BalanceRow
    """
    rows = []
    for name, (piece, plan) in cooks.items():
        run = simulate(piece, plan)
        rows.append(
            BalanceRow(
                name,
                run.duration_s / HOUR,
                float(run.core_c[-1]),
                float(run.mass_loss_fraction[-1]),
                float(run.evaporated_fraction[-1]),
                run.balance.energy,
                run.balance.water,
            )
        )
    return tuple(rows)


# -------------------------------------------------------------- a second engine


@dataclass(frozen=True)
class EngineDifference:
    """The fast engine and FiPy on one cook.

    Attributes
    ----------
    time_s : ndarray, shape (n,)
        Rows of the fast result. [s]
    own_step : ndarray of bool, shape (n,)
        True where the row is a step of the fast engine, False where it is interpolated.
    core_k, surface_k : ndarray, shape (n,)
        Fast less FiPy. [K]
    loss : ndarray, shape (n,)
        The same of the mass lost, of the raw mass.
    fast_seconds, fipy_seconds : float
        Processor time of each. [s]
    """

    fast: Result
    fipy: Result
    time_s: Floats
    own_step: NDArray[np.bool_]
    core_k: Floats
    surface_k: Floats
    loss: Floats
    fast_seconds: float
    fipy_seconds: float


def compare_engines(piece: Piece, plan: Plan) -> EngineDifference:
    """Cook once with each engine.

    FiPy shares the local physics (what evaporates at a given state) with the fast
    engine and nothing else: not the mesh, not the scheme, not the stepping.

    Parameters
    ----------
    piece : Piece
    plan : Stage or sequence of Stage

    Returns
    -------
    EngineDifference

    Raises
    ------
    MissingFeatureError
        If FiPy is not installed.
    """
    start = time.process_time()
    ours = simulate(piece, plan)
    middle = time.process_time()
    other = simulate(piece, plan, engine="fipy")
    end = time.process_time()
    both = ours.time_s <= other.duration_s
    times = ours.time_s[both]

    def difference(name: str) -> Floats:
        theirs = np.interp(times, other.time_s, getattr(other, name))
        return np.asarray(getattr(ours, name)[both] - theirs)

    return EngineDifference(
        ours,
        other,
        times,
        np.isin(times, ours.step_time_s),
        difference("core_c"),
        difference("surface_c"),
        difference("mass_loss_fraction"),
        middle - start,
        end - middle,
    )


# -------------------------------------------------------------------- mutations

_MUTATIONS = (
    Path(__file__).resolve().parents[3] / "tests" / "verification" / "mutations_found.csv"
)
MUTATION_COLUMNS = ("name", "file", "caught by", "seconds")


@dataclass(frozen=True)
class MutationRow:
    """One equation broken on purpose, and the tests that failed.

    Attributes
    ----------
    name : str
        What was broken.
    file : str
        Where, within the package.
    caught_by : tuple of str
        Empty if no test noticed.
    seconds : float
        NaN if the change could not be made. [s]
    """

    name: str
    file: str
    caught_by: tuple[str, ...]
    seconds: float


def mutation_rows(path: str | Path | None = None) -> tuple[MutationRow, ...]:
    """Read what the script of mutations found when it was last run.

    Parameters
    ----------
    path : path, optional
        The file it wrote; that of the checkout if None.

    Returns
    -------
    tuple of MutationRow

    Raises
    ------
    MissingFeatureError
        If the file is not there.
    InputError
        If it is not such a file.
    """
    file = _MUTATIONS if path is None else Path(path)
    if not file.is_file():
        raise MissingFeatureError(
            "The record of mutations is not here: it belongs to a checkout of the project. "
            "In its folder, type: python tests/verification/mutations.py --csv "
            "tests/verification/mutations_found.csv   (tens of minutes)."
        )
    with file.open(encoding="utf-8", newline="") as lines:
        table = csv.DictReader(lines)
        if tuple(table.fieldnames or ()) != MUTATION_COLUMNS:
            raise InputError(
                f"{file.name} has the columns {table.fieldnames}, not "
                f"{', '.join(MUTATION_COLUMNS)}: write it with "
                "tests/verification/mutations.py --csv."
            )
        return tuple(
            MutationRow(
                row["name"],
                row["file"],
                tuple(test for test in row["caught by"].split("; ") if test),
                float(row["seconds"] or math.nan),
            )
            for row in table
        )
