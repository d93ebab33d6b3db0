"""General integrators on the engine's own discretisation, and the engines, as runners.

What `benchmark` measures: each runner takes a tolerance and gives the core temperature at
full hours. The general integrators get what makes them fast: a compiled right-hand side (the
engine's own `_rates` behind an inversion of enthalpy that starts from the last temperature),
a compiled banded Jacobian, tolerances scaled to each unknown. They are spared the record of
the highest temperature, which only a cooling volume needs.
"""

from __future__ import annotations

import dataclasses
import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numba import njit
from numba.np.unsafe.ndarray import to_fixed_tuple
from numpy.typing import NDArray

from coreward.errors import CorewardError
from coreward.physics.chamber import OPEN
from coreward.physics.engines import fast
from coreward.physics.history import interpolate
from coreward.physics.problem import LEDGER, Problem, Raw
from coreward.physics.statement import (
    MaterialConstants,
    SurfaceConditions,
    enthalpy,
    heat_capacity,
    water_enthalpy,
    water_heat_capacity,
    water_held,
    water_held_slope,
)

Floats = NDArray[np.float64]

HOUR_S = 3600.0
# The smoothness bound that `simulate` uses when it reads between steps.
_SMOOTH_K = 0.2

# An untyped name for the compiler's own function, whose hints mislead.
_fixed_tuple: Any = to_fixed_tuple

# --- the same equations, for integrators that know nothing of them -------------

_MATERIAL_NUMBERS = len(MaterialConstants._fields) - 1
_CONDITION_NUMBERS = len(SurfaceConditions._fields)


@njit(nogil=True)
def _right_hand_side(y, out, numbers, conditions, env, area, spacing, geometry, work):  # type: ignore[no-untyped-def]
    """d(enthalpy, water, film)/dt for y = e0, q0, e1, q1, ..., film.

    `geometry` is the volumes and then the surface area; `work` keeps the last
    temperatures as the guess for the next inversion. The constants travel as
    plain arrays: taking a tuple of 67 numbers apart at each call would cost
    the general integrators more than it should.
    """
    m = MaterialConstants(numbers[0] > 0.5, *_fixed_tuple(numbers[1:], _MATERIAL_NUMBERS))
    c = SurfaceConditions(*_fixed_tuple(conditions, _CONDITION_NUMBERS))
    n = geometry.shape[0] - 1
    volume = geometry[:n]
    surface_area = geometry[n]
    t = work[0]
    w = work[1]
    for i in range(n):
        work[2, i] = y[2 * i]
        work[3, i] = y[2 * i + 1]
        work[7, i] = t[i]
    s = y[2 * n]
    # -inf as record of the highest temperature: the present one is the highest
    fast._primitive(work[2], work[3], s, work[8], work[7], volume, surface_area, m, t, w)
    film, _ = fast._rates(
        t,
        w,
        s,
        0.0,
        work[8],
        env,
        area,
        spacing,
        volume,
        surface_area,
        c,
        m,
        OPEN,
        work[4],
        work[5],
        work[9],
        work[6],
    )
    for i in range(n):
        out[2 * i] = work[4, i]
        out[2 * i + 1] = work[5, i]
    out[2 * n] = film / surface_area


@njit(nogil=True)
def _temperatures(y, numbers, geometry, guess):  # type: ignore[no-untyped-def]
    """Temperatures of one state, by inversion from a rough guess."""
    m = MaterialConstants(numbers[0] > 0.5, *_fixed_tuple(numbers[1:], _MATERIAL_NUMBERS))
    n = geometry.shape[0] - 1
    t = np.empty(n)
    w = np.empty(n)
    none = np.full(n, -1e9)
    fast._primitive(
        y[: 2 * n : 2].copy(),
        y[1 : 2 * n : 2].copy(),
        y[2 * n],
        none,
        np.full(n, guess),
        geometry[:n],
        geometry[n],
        m,
        t,
        w,
    )
    return t


# Interleaved, a volume's rows reach the neighbours' unknowns, 3 places away,
# and the last but one reaches the film, 4 places.
LOWER_BAND, UPPER_BAND = 3, 4
_WIDTH = LOWER_BAND + UPPER_BAND + 1
_EXPULSION = MaterialConstants._fields.index("expulsion_rate")


@njit(nogil=True)
def _banded_jacobian(  # type: ignore[no-untyped-def]
    y, band, numbers, still, conditions, env, area, spacing, geometry, scale, work, room
):
    """Jacobian in the rows of a band, ``band[i - j + UPPER_BAND, j]``.

    Every volume sends its expelled water past all others to the surface: that
    part of the Jacobian is no band. Differences in groups of columns, as the
    integrators would take them for themselves, mix it into the entries of the
    band and ruin their steps (seen: a hundred times as many). So the groups
    are taken with expulsion standing still (`still`), and what expulsion does
    to its own volume and the next is added as a formula.
    """
    size = y.shape[0]
    n = geometry.shape[0] - 1
    base = room[0]
    moved = room[1]
    out = room[2]
    band[:] = 0.0
    _right_hand_side(y, base, still, conditions, env, area, spacing, geometry, work)
    for group in range(_WIDTH):
        moved[:] = y
        for j in range(group, size, _WIDTH):
            moved[j] += 1e-4 * scale[j]
        _right_hand_side(moved, out, still, conditions, env, area, spacing, geometry, work)
        for j in range(group, size, _WIDTH):
            delta = moved[j] - y[j]
            for i in range(max(0, j - UPPER_BAND), min(size, j + LOWER_BAND + 1)):
                band[i - j + UPPER_BAND, j] = (out[i] - base[i]) / delta
    _right_hand_side(y, base, still, conditions, env, area, spacing, geometry, work)
    m = MaterialConstants(numbers[0] > 0.5, *_fixed_tuple(numbers[1:], _MATERIAL_NUMBERS))
    if m.expulsion_rate <= 0.0:
        return
    stream = 0.0
    for i in range(n):
        t = work[0, i]
        w = work[1, i]
        ew = water_enthalpy(t, m)
        capacity = heat_capacity(t, w, t, m)
        if i == n - 1:
            capacity += geometry[n] / geometry[i] * y[2 * n] * water_heat_capacity(t, m)
        by_e = 1.0 / capacity
        e, q = 2 * i, 2 * i + 1
        excess = w - water_held(t, m)
        out_e = 0.0
        out_q = 0.0
        if excess > 0.0:
            slope = water_held_slope(t, m)
            stream += geometry[i] * m.expulsion_rate * excess
            out_e = -m.expulsion_rate * slope * by_e
            out_q = m.expulsion_rate * (1.0 + slope * by_e * ew)
        # what runs past has the temperature of this volume
        onward = water_enthalpy(work[0, i + 1], m) if i < n - 2 else 0.0
        warms = stream * water_heat_capacity(t, m) * by_e / geometry[i]
        # more film at the same enthalpy is less heat for the volume under it
        by_film = -ew * geometry[n]
        for j, d, passed in (
            (e, out_e, warms),
            (q, out_q, -warms * ew),
            (2 * n, by_film * out_e, by_film * warms),
        ):
            if j == 2 * n and i < n - 1:
                continue
            band[q - j + UPPER_BAND, j] -= d
            if i < n - 1:
                band[e - j + UPPER_BAND, j] -= ew * d + passed
                band[e + 2 - j + UPPER_BAND, j] += (ew - onward) * d + passed
            else:
                # what reaches the film keeps its heat here; the rest drips
                band[e - j + UPPER_BAND, j] -= (1.0 - m.surface_share) * (ew * d + passed)
                band[q + 1 - j + UPPER_BAND, j] += m.surface_share * d / geometry[n]


@njit
def _unpack(band, full):  # type: ignore[no-untyped-def]
    size = band.shape[1]
    for j in range(size):
        for i in range(max(0, j - UPPER_BAND), min(size, j + LOWER_BAND + 1)):
            full[i, j] = band[i - j + UPPER_BAND, j]


class System:
    """The reference problem as ``y' = f(t, y)``, with compiled ``f``."""

    def __init__(self, problem: Problem) -> None:
        mesh, m = problem.mesh, problem.material
        n = len(mesh.volume)
        self.cells = n
        self.hours = np.arange(0.0, problem.duration_s + 1.0, HOUR_S)
        self.numbers = np.array([float(x) for x in m])
        self.conditions = np.array([float(x) for x in problem.conditions])
        self.geometry = np.append(mesh.volume, mesh.surface_area)
        self.area, self.spacing = mesh.face_area, mesh.spacing
        f = problem.forcing
        self.env = np.array([f.air_c[0], f.wall_c[0], f.vapour_pressure[0], f.heat_transfer[0]])
        self.work = np.zeros((10, max(n, len(LEDGER))))[:, :n].copy()
        self.still = self.numbers.copy()
        self.still[_EXPULSION] = 0.0
        self.evaluations = 0
        t, w, s = problem.temperature_c, problem.water, problem.film
        self.start = np.empty(2 * n + 1)
        for i in range(n):
            self.start[2 * i] = mesh.volume[i] * enthalpy(t[i], w[i], t[i], m)
            self.start[2 * i + 1] = mesh.volume[i] * w[i]
        self.start[2 * n - 2] += mesh.surface_area * s * water_enthalpy(t[-1], m)
        self.start[2 * n] = s
        self.start_t = t
        # What one kelvin of the fast engine's tolerance means to each unknown.
        self.scale = np.empty(2 * n + 1)
        capacity = (enthalpy(41.0, w[0], 41.0, m) - enthalpy(39.0, w[0], 39.0, m)) / 2.0
        self.scale[0 : 2 * n : 2] = mesh.volume * capacity
        self.scale[1 : 2 * n : 2] = mesh.volume * 0.05 * m.raw_water
        self.scale[2 * n] = 5.0 * m.film_scale
        self.band = np.zeros((_WIDTH, 2 * n + 1))
        self.room = np.zeros((3, 2 * n + 1))

    def reset(self) -> None:
        """Forget the guesses and the count of the last run."""
        self.work[:] = 0.0
        self.work[0] = self.start_t
        self.work[8] = -1e9
        self.evaluations = 0

    def __call__(self, t: float, y: Floats, out: Floats) -> None:
        """Evaluate f into `out`."""
        self.evaluations += 1
        _right_hand_side(
            y,
            out,
            self.numbers,
            self.conditions,
            self.env,
            self.area,
            self.spacing,
            self.geometry,
            self.work,
        )

    def jacobian(self, t: float, y: Floats) -> Floats:
        """Banded Jacobian; its evaluations of f are counted. The array is reused."""
        self.evaluations += _WIDTH + 2
        _banded_jacobian(
            y,
            self.band,
            self.numbers,
            self.still,
            self.conditions,
            self.env,
            self.area,
            self.spacing,
            self.geometry,
            self.scale,
            self.work,
            self.room,
        )
        return self.band

    def core(self, states: Floats) -> Floats:
        """Core temperature of each state (rows). [°C]."""
        return np.array(
            [
                _temperatures(np.ascontiguousarray(y), self.numbers, self.geometry, 50.0)[0]
                for y in states
            ]
        )


# --- the runners: each returns core temperatures at full hours, and its steps ---


@dataclass(frozen=True)
class Run:
    """One run of one method."""

    core_c: Floats
    steps: int
    evaluations: int
    seconds: float


Runner = Callable[[float], Run]


def _core_at(raw: Raw, times: Floats) -> Floats:
    t = interpolate(
        raw.time_s,
        np.ascontiguousarray(raw.temperature_c[:, :1]),
        np.ascontiguousarray(raw.temperature_slope[:, :1]),
        times,
        _SMOOTH_K,
    )
    core: Floats = t[:, 0]
    return core


def engine_runner(problem: Problem, solve: Callable[[Problem], Raw]) -> Runner:
    """Return a runner of one of the package's own engines."""
    hours = np.arange(0.0, problem.duration_s + 1.0, HOUR_S)

    def run(tolerance: float) -> Run:
        given = dataclasses.replace(problem, tolerance=tolerance)
        begin = time.perf_counter()
        raw = solve(given)
        seconds = time.perf_counter() - begin
        tries = raw.steps + raw.rejected
        return Run(_core_at(raw, hours), raw.steps, raw.steps + 3 * tries, seconds)

    return run


def _lsoda_runner(system: System) -> Runner:
    from scipy.integrate import odeint

    out = np.empty(len(system.start))

    def f(t: float, y: Floats) -> Floats:
        system(t, y, out)
        return out

    def run(tolerance: float) -> Run:
        system.reset()
        begin = time.perf_counter()
        y, info = odeint(
            f,
            system.start,
            system.hours,
            tfirst=True,
            Dfun=system.jacobian,
            ml=LOWER_BAND,
            mu=UPPER_BAND,
            rtol=0.0,
            atol=tolerance * system.scale,
            mxstep=100_000,
            full_output=True,
        )
        seconds = time.perf_counter() - begin
        if info["message"] != "Integration successful.":
            raise CorewardError(f"LSODA: {info['message']}")
        return Run(system.core(y), int(info["nst"][-1]), system.evaluations, seconds)

    return run


def _vode_runner(system: System) -> Runner:
    from scipy.integrate import ode

    out = np.empty(len(system.start))

    def f(t: float, y: Floats) -> Floats:
        system(t, y, out)
        return out

    def run(tolerance: float) -> Run:
        system.reset()
        begin = time.perf_counter()
        solver = ode(f, system.jacobian).set_integrator(
            "vode",
            method="bdf",
            lband=LOWER_BAND,
            uband=UPPER_BAND,
            rtol=0.0,
            atol=tolerance * system.scale,
            nsteps=100_000,
        )
        solver.set_initial_value(system.start, 0.0)
        rows = [system.start]
        for hour in system.hours[1:]:
            rows.append(solver.integrate(hour))
            if not solver.successful():
                raise CorewardError("VODE could not continue.")
        seconds = time.perf_counter() - begin
        steps = getattr(solver._integrator, "iwork", None)
        count = int(steps[10]) if steps is not None and len(steps) > 10 else 0
        return Run(system.core(np.array(rows)), count, system.evaluations, seconds)

    return run


def _bdf_runner(system: System) -> Runner:
    from scipy.integrate import solve_ivp
    from scipy.sparse import csc_matrix, dia_matrix

    size = len(system.start)
    offsets = np.arange(UPPER_BAND, -LOWER_BAND - 1, -1)

    def f(t: float, y: Floats) -> Floats:
        out = np.empty(size)
        system(t, np.ascontiguousarray(y), out)
        return out

    def jacobian(t: float, y: Floats) -> Any:
        band = system.jacobian(t, np.ascontiguousarray(y))
        return csc_matrix(dia_matrix((band, offsets), shape=(size, size)))

    def run(tolerance: float) -> Run:
        system.reset()
        begin = time.perf_counter()
        # It keeps every step when it has to report at given times; so the
        # steps are counted from a list of its own.
        answer = solve_ivp(
            f,
            (0.0, system.hours[-1]),
            system.start,
            method="BDF",
            dense_output=True,
            jac=jacobian,
            rtol=1e-12,
            atol=tolerance * system.scale,
        )
        seconds = time.perf_counter() - begin
        if not answer.success:
            raise CorewardError(f"BDF: {answer.message}")
        rows = np.ascontiguousarray(answer.sol(system.hours).T)
        return Run(system.core(rows), len(answer.t) - 1, system.evaluations, seconds)

    return run


def _cvode_runner(system: System) -> Runner:
    from sksundae.cvode import CVODE

    def jacobian(t: float, y: Floats, slope: Floats, full: Floats) -> None:
        _unpack(system.jacobian(t, y), full)

    def run(tolerance: float) -> Run:
        system.reset()
        begin = time.perf_counter()
        solver = CVODE(
            system,
            method="BDF",
            linsolver="band",
            jacfn=jacobian,
            lband=LOWER_BAND,
            uband=UPPER_BAND,
            rtol=0.0,
            atol=tolerance * system.scale,
            max_num_steps=100_000,
        )
        answer = solver.solve(system.hours, system.start)
        seconds = time.perf_counter() - begin
        if not answer.success:
            raise CorewardError(f"CVODE: {answer.message}")
        # The binding does not tell its steps.
        return Run(system.core(answer.y), 0, system.evaluations, seconds)

    return run


METHODS = {
    "fast": "fast engine",
    "lsoda": "SciPy LSODA, banded",
    "vode": "SciPy VODE BDF, banded",
    "bdf": "SciPy BDF, sparse band",
    "cvode": "SUNDIALS CVODE, banded",
    "fipy": "FiPy engine",
}
PACKAGES = {"cvode": "scikit-sundae", "fipy": "fipy"}


def runner(method: str, problem: Problem) -> Runner:
    """Return a function from tolerance [K] to a `Run`.

    Raises
    ------
    ImportError
        If the package of that method is not installed.
    """
    if method == "fast":
        return engine_runner(problem, fast.solve)
    if method == "fipy":
        import fipy  # noqa: F401

        from coreward.physics.engines.fipy_engine import solve

        return engine_runner(problem, solve)
    make = {
        "lsoda": _lsoda_runner,
        "vode": _vode_runner,
        "bdf": _bdf_runner,
        "cvode": _cvode_runner,
    }[method]
    return make(System(problem))
