r"""The second opinion: the same statement, discretised independently with FiPy.

What differs from the fast engine, so that agreement means something: FiPy's
own one-dimensional meshes, cell-centred (no node on the surface, none in the
centre); temperature and water of the surface found from the balance of fluxes
on a surface without volume; central instead of upwind differences for what
water carries; linear multistep formulas (second order, variable step) with
sweeps to convergence instead of a Rosenbrock method; its own error control.

What is shared is the statement itself. One part of it speaks of a *surface
volume*: water squeezed out there, and free water soaked up again, scale with
its depth. That depth is taken from the mesh of the problem.

It is slow, some thousand times slower than the fast engine, and is meant for
checking and for trying new terms.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numba import njit
from numpy.typing import NDArray
from scipy.interpolate import PchipInterpolator
from scipy.optimize import brentq

from coreward.errors import MissingFeatureError, SolverError
from coreward.physics.chamber import (
    ChamberRates,
    chamber_rates,
    humidity_ratio,
    pascal_per_kilogram,
)
from coreward.physics.problem import LEDGER, Problem, Raw
from coreward.physics.statement import (
    boiling,
    conductivity,
    enthalpy,
    heat_capacity,
    mobility,
    moisture_diffusivity,
    outlet,
    surface_exchange,
    swelling_pressure,
    swelling_pressure_slope,
    vapour_enthalpy,
    water_enthalpy,
    water_held,
    water_held_slope,
)

Floats = NDArray[np.float64]

CELLS = 200
# Share of the problem's tolerance allowed per step, largest over the cells;
# the rest is left to the long memory of heat: measured against the fast engine
_TOLERANCE_SHARE = 0.1
_LONGEST_STEP_S = 120.0
_FIRST_STEP_S = 0.5
_SHORTEST_STEP_S = 1e-4
_MOST_STEPS = 20_000
_MOST_SWEEPS = 12
_SWEEP_K = 5e-4
_SWEEP_WATER = 5e-3  # kg/m³
_SWEEP_PA = 0.5
_FLUXES = 11
_STILL = ChamberRates(*[0.0] * len(ChamberRates._fields))
# Growth of the step; variable-step BDF2 is stable up to 1 + sqrt(2).
_MOST_GROWTH = 1.4
# A bend of the surroundings that would move the air by this much within half
# a minute restarts the multistep formula; a smaller one is only landed on.
_BEND_K = 1.0
_BEND_PA = 200.0
_BEND_COEFFICIENT = 1.0
_BEND_S = 30.0
# Brings the water equation to the size of the energy equation, J/kg: FiPy
# judges both by one residual.
_WATER_SCALE = 1e6

(
    _H,
    _CAP,
    _K,
    _D,
    _MOB,
    _PUSH,
    _MODULUS,
    _X,
    _X_T,
    _X_W,
    _B,
    _B_T,
    _B_W,
    _EW,
    _HV,
) = range(15)


@njit(cache=True, error_model="numpy")
def _cell_terms(t, w, t_max, thickness, pressure, boiling_c, m, out):  # type: ignore[no-untyped-def]
    """Everything local to a cell, one row per quantity."""
    n = t.shape[0]
    for i in range(n):
        out[_H, i] = enthalpy(t[i], w[i], t_max[i], m)
        out[_CAP, i] = heat_capacity(t[i], w[i], t_max[i], m)
        out[_K, i] = conductivity(t[i], w[i], t_max[i], m)
        if not m.moist:
            continue
        out[_D, i] = moisture_diffusivity(t[i], m)
        out[_EW, i] = water_enthalpy(t[i], m)
        out[_HV, i] = vapour_enthalpy(t[i], m)
        top = max(t[i], t_max[i])
        out[_MOB, i] = mobility(t[i], m)
        push = swelling_pressure_slope(t[i], w[i], t_max[i], m)
        out[_PUSH, i], out[_MODULUS, i] = push
        rate = m.expulsion_rate
        excess = w[i] - water_held(top, m)
        out[_X, i] = out[_X_T, i] = out[_X_W, i] = 0.0
        if excess > 0.0:
            out[_X, i] = rate * excess
            out[_X_W, i] = rate
            if t[i] >= t_max[i]:
                out[_X_T, i] = -rate * water_held_slope(t[i], m)
        out[_B, i], out[_B_T, i], out[_B_W, i] = boiling(
            t[i], w[i], pressure, boiling_c, m, thickness[i]
        )


@njit(cache=True, error_model="numpy")
def _surface_residual(  # type: ignore[no-untyped-def]
    y, t_p, w_p, top_p, top_s, half, depth, stream, a0, past_s, past_e, env, c, m, r, flux
):
    """Balance of heat, of water in the solid, of the film, on the bare surface.

    `flux` receives: heat conducted out of the last cell, gradient flux of
    water out of it, soaking into it, then the ledger per m², at last the slope of what
    evaporates by the vapour pressure of the air.
    """
    t_s, w_s, s = y[0], y[1], y[2]
    x = surface_exchange(t_s, w_s, s, top_s, env[0], env[1], env[2], env[3], c, m)
    k = 0.5 * (conductivity(t_p, w_p, top_p, m) + conductivity(t_s, w_s, top_s, m))
    conduction = k * (t_p - t_s) / half
    heat_in = x.convection + x.radiation
    flux[0] = conduction
    flux[3] = heat_in
    r[0] = heat_in + conduction
    r[1] = w_s - w_p
    r[2] = s
    if not m.moist:
        return
    t_f = 0.5 * (t_p + t_s)
    n_g = moisture_diffusivity(t_f, m) * (w_p - w_s) / half
    if m.permeability > 0.0:
        push = swelling_pressure(t_p, w_p, top_p, m) - swelling_pressure(t_s, w_s, top_s, m)
        n_g += max(0.5 * (w_p + w_s), 0.0) * mobility(t_f, m) * push / half
    soak = 0.0
    if s > 0.0:
        soak = (
            depth
            * surface_exchange(
                t_p, w_p, s, top_p, env[0], env[1], env[2], env[3], c, m
            ).rewetting
        )
    e_s = water_enthalpy(t_s, m)
    film_loss = x.film_evaporation + x.film_boiling
    evaporated = film_loss + x.solid_evaporation
    out = outlet(t_s, w_s, top_s, m)[0]
    caught = m.surface_share * (stream + out)
    r[0] += (
        (n_g - out + caught - soak - x.drip) * e_s
        - evaporated * vapour_enthalpy(t_s, m)
        - (a0 * s * e_s + past_e)
    )
    r[1] = n_g - out - x.solid_evaporation
    r[2] = caught - film_loss - soak - x.drip - (a0 * s + past_s)
    flux[1] = n_g
    flux[2] = soak
    flux[4] = evaporated
    flux[5] = evaporated * vapour_enthalpy(t_s, m)
    dripped = x.drip + stream + out - caught
    flux[8] = dripped
    flux[9] = dripped * e_s
    flux[10] = x.film_evaporation_dp + x.solid_evaporation_dp


@njit(cache=True, error_model="numpy")
def _norm(r):  # type: ignore[no-untyped-def]
    return (abs(r[0]) / 100.0 + abs(r[1]) / 1e-4 + abs(r[2]) / 1e-4) / 3.0


@njit(cache=True, error_model="numpy")
def _solve_surface(  # type: ignore[no-untyped-def]
    y, t_p, w_p, top_p, top_s, half, depth, stream, a0, past_s, past_e, env, c, m, flux
):
    """Damped Newton with slopes by differences, for three unknowns."""
    size = 3 if m.moist else 1
    nudge = np.array([1e-5, 1e-4, 1e-8])
    r = np.zeros(3)
    q = np.zeros(3)
    scrap = np.zeros(_FLUXES)
    jac = np.zeros((size, size))
    trial = y.copy()
    _surface_residual(
        y, t_p, w_p, top_p, top_s, half, depth, stream, a0, past_s, past_e, env, c, m, r, flux
    )
    for _ in range(80):
        for j in range(size):
            trial[:] = y
            trial[j] += nudge[j]
            _surface_residual(
                trial, t_p, w_p, top_p, top_s, half, depth, stream, a0, past_s, past_e,
                env, c, m, q, scrap,
            )  # fmt: skip
            for i in range(size):
                jac[i, j] = (q[i] - r[i]) / nudge[j]
        step = np.linalg.solve(jac, r[:size])
        before = _norm(r)
        scale = 1.0
        for _halving in range(12):
            trial[:] = y
            for j in range(size):
                trial[j] -= scale * step[j]
            _surface_residual(
                trial, t_p, w_p, top_p, top_s, half, depth, stream, a0, past_s, past_e,
                env, c, m, q, scrap,
            )  # fmt: skip
            if _norm(q) < before or before < 1e-9:
                break
            scale *= 0.5
        y[:] = trial
        r[:] = q
        flux[:] = scrap
        done = abs(step[0]) < 1e-8
        if size == 3:
            done = done and abs(step[1]) < 1e-6 and abs(step[2]) < 1e-10
        if done:
            break


@dataclass
class _State:
    """One time level: cells, surface, and what has been booked."""

    time: float
    t: Floats
    w: Floats
    surface: Floats  # temperature, water, film
    ledger: Floats
    stored: Floats  # enthalpy per cell volume
    film_energy: float
    vapour: float = 0.0  # in the air of a chamber


def _import_fipy() -> Any:
    # FiPy chooses its solvers when it is imported; SciPy's are always there,
    # so results do not depend on what else is installed.
    os.environ.setdefault("FIPY_SOLVERS", "scipy")
    try:
        import fipy
    except ImportError:
        raise MissingFeatureError(
            "The engine 'fipy' needs the package FiPy, which is not installed. Install "
            "coreward with its extra 'fipy', or use engine='fast'."
        ) from None
    return fipy


def _edges(problem: Problem, cells: int) -> Floats:
    """Faces of the cells: the outermost as deep as the problem's surface volume.

    A problem cut so coarsely that even equal cells are thinner gets equal cells.
    """
    half_size = problem.shape.half_size
    depth = problem.mesh.volume[-1] / problem.mesh.surface_area
    s = np.linspace(0.0, 1.0, cells + 1)

    def outermost(g: float) -> float:
        return float(np.sinh(g / cells) / np.sinh(g) - depth / half_size)

    if outermost(1e-3) <= 0.0:
        return half_size * s
    g = brentq(outermost, 1e-3, 40.0)
    edges: Floats = half_size * (1.0 - np.sinh(g * (1.0 - s)) / np.sinh(g))
    edges[0], edges[-1] = 0.0, half_size
    return edges


class _Grid:
    """FiPy's mesh, variables and equations for one problem."""

    def __init__(self, problem: Problem, cells: int) -> None:
        fp = _import_fipy()
        edges = _edges(problem, cells)
        kind = {
            "cylinder": fp.CylindricalGrid1D,
            "sphere": fp.SphericalGrid1D,
        }.get(problem.shape.name, fp.Grid1D)
        # An array of spacings makes FiPy build its general mesh; the uniform
        # ones lack distances at the boundary.
        axis = "dx" if kind is fp.Grid1D else "dr"
        mesh = kind(**{axis: np.diff(edges)})
        power = problem.shape.exponent + 1
        self.volume = np.diff(edges**power) / power
        # FiPy 4.0.3 takes half the difference of cubes, not a third, for the
        # cells of its non-uniform sphere: what is given per volume is scaled.
        self.weight = self.volume / np.array(mesh.cellVolumes)
        self.area = edges ** (power - 1)
        # Bodies of a dimensionality that FiPy has no grid for: a slab whose faces conduct
        # in proportion to their area.
        self.opening = self.area[1:-1] if kind is fp.Grid1D else np.ones(cells - 1)
        self.centre = np.array(mesh.cellCenters.value[0])
        self.face = edges
        self.thickness = np.diff(edges)
        self.gap = np.diff(self.centre)
        # weight of the outer cell in linear interpolation to a face
        self.outer = (edges[1:-1] - self.centre[:-1]) / self.gap
        self.half = edges[-1] - self.centre[-1]
        self.depth = float(self.volume[-1] / self.area[-1])
        self.moist = bool(problem.material.moist)

        def cell_variable(name: str) -> Any:
            return fp.CellVariable(mesh=mesh, name=name, value=0.0)

        self.t = cell_variable("temperature")
        self.w = cell_variable("water")
        self.tt, self.tw, self.ts = (cell_variable(x) for x in ("tt", "tw", "ts"))
        self.wt, self.ww, self.ws = (cell_variable(x) for x in ("wt", "ww", "ws"))
        self.k = fp.FaceVariable(mesh=mesh, value=0.0)
        self.d = fp.FaceVariable(mesh=mesh, value=0.0)
        heat = fp.ImplicitSourceTerm(coeff=self.tt, var=self.t) == (
            fp.DiffusionTerm(coeff=self.k, var=self.t) + self.ts
        )
        if self.moist:
            heat = fp.ImplicitSourceTerm(coeff=self.tt, var=self.t) + fp.ImplicitSourceTerm(
                coeff=self.tw, var=self.w
            ) == (fp.DiffusionTerm(coeff=self.k, var=self.t) + self.ts)
            water = fp.ImplicitSourceTerm(coeff=self.ww, var=self.w) + fp.ImplicitSourceTerm(
                coeff=self.wt, var=self.t
            ) == (fp.DiffusionTerm(coeff=self.d, var=self.w) + self.ws)
            self.equation = heat & water
        else:
            self.equation = heat
        # FiPy's own default of 1e-5 skips the solve where a step changes little.
        self.solver = fp.LinearLUSolver(tolerance=1e-12, iterations=10)

    def to_faces(self, values: Floats) -> Floats:
        """Linear interpolation to the inner faces."""
        result: Floats = values[:-1] + self.outer * (values[1:] - values[:-1])
        return result

    def divergence(self, inner: Floats, surface: float) -> Floats:
        """Of a flux given on the inner faces and on the surface."""
        through = np.concatenate(([0.0], self.area[1:-1] * inner, [self.area[-1] * surface]))
        result: Floats = np.diff(through) / self.volume
        return result

    def core(self, values: Floats) -> float:
        """Value in the centre: even parabola through the two innermost cells."""
        a, b = self.centre[0] ** 2, self.centre[1] ** 2
        return float(values[0] - (values[1] - values[0]) * a / (b - a))


class _Stepper:
    """One implicit step from one or two earlier levels."""

    def __init__(self, problem: Problem, grid: _Grid) -> None:
        self.problem = problem
        self.grid = grid
        self.m = problem.material
        self.c = problem.conditions
        forcing = problem.forcing
        self.times = forcing.time_s
        self.table = (
            forcing.air_c,
            forcing.wall_c,
            forcing.vapour_pressure,
            forcing.heat_transfer,
        )
        self.terms = np.zeros((15, len(grid.centre)))

    def surroundings(self, time: float, vapour: float) -> Floats:
        env = np.array([np.interp(time, self.times, column) for column in self.table])
        if self.problem.chamber.closed:
            env[2] = vapour * pascal_per_kilogram(env[0], self.problem.chamber)
        return env

    def air(self, time: float, vapour: float, given_off: float) -> ChamberRates:
        """Vapour balance of the chamber's air at the end of a step."""
        f, m = self.problem.forcing, self.m
        assert f.fresh_air is not None
        assert f.brought is not None
        at = int(np.clip(np.searchsorted(self.times, time) - 1, 0, len(self.times) - 1))
        after = min(at + 1, len(self.times) - 1)
        rise = 0.0
        if after > at and time <= self.times[-1]:
            rise = (f.air_c[after] - f.air_c[at]) / (self.times[after] - self.times[at])

        def now(column: Floats) -> float:
            return float(np.interp(time, self.times, column))

        pressure = self.problem.chamber.pressure
        rates: ChamberRates = chamber_rates(
            vapour,
            given_off,
            now(f.air_c),
            float(rise),
            now(f.wall_c),
            now(f.fresh_air),
            now(f.brought),
            humidity_ratio(now(f.vapour_pressure), pressure),
            m.lewis_power,
            self.problem.chamber,
        )
        return rates

    def step(
        self, past: list[_State], h: float, top: Floats, top_s: float, guess: _State
    ) -> tuple[_State, bool, int]:
        """Return the new level, whether the sweeps converged, and their number."""
        g, m, c, terms = self.grid, self.m, self.c, self.terms
        last = past[-1]
        if len(past) == 1:
            a0, a1, a2 = 1.0 / h, -1.0 / h, 0.0
            before = last
        else:
            before = past[-2]
            ratio = h / (last.time - before.time)
            a0 = (1.0 + 2.0 * ratio) / (1.0 + ratio) / h
            a1 = -(1.0 + ratio) / h
            a2 = ratio * ratio / (1.0 + ratio) / h
        past_h = a1 * last.stored + a2 * before.stored
        past_w = a1 * last.w + a2 * before.w
        past_s = a1 * last.surface[2] + a2 * before.surface[2]
        past_e = a1 * last.film_energy + a2 * before.film_energy
        closed = self.problem.chamber.closed
        past_v = a1 * last.vapour + a2 * before.vapour
        vapour = guess.vapour
        pit = _STILL

        g.t.setValue(guess.t)
        g.w.setValue(guess.w)
        surface = guess.surface.copy()
        flux = np.zeros(_FLUXES)
        scrap = np.zeros(_FLUXES)
        converged = False
        sweeps = 0
        for sweeps in range(1, _MOST_SWEEPS + 1):  # noqa: B007
            t = np.array(g.t.value)
            w = np.array(g.w.value)
            _cell_terms(t, w, top, g.thickness, c.pressure, c.boiling_c, m, terms)
            stream_faces = np.cumsum(terms[_X] * g.volume)
            stream = float(stream_faces[-1]) / g.area[-1]
            env = self.surroundings(last.time + h, vapour)
            common = (
                top[-1], top_s, g.half, g.depth, stream, a0, past_s, past_e, env, c, m,
            )  # fmt: skip
            _solve_surface(surface, t[-1], w[-1], *common, flux)
            moved_v = 0.0
            if closed:
                area = float(g.area[-1])
                given_off = area * flux[4] + float(terms[_B] @ g.volume)
                pit = self.air(last.time + h, vapour, given_off)
                per = pascal_per_kilogram(env[0], self.problem.chamber)
                slope = a0 - pit.rate_dv - pit.rate_de * area * flux[10] * per
                moved_v = (pit.rate - a0 * vapour - past_v) / slope
                vapour = max(vapour + moved_v, 0.0)
                moved_v *= per
            self._fill(t, w, surface, flux, scrap, common, stream_faces, (a0, past_h, past_w))
            g.equation.sweep(var=None if g.moist else g.t, solver=g.solver, dt=1.0)
            new_t = np.array(g.t.value)
            new_w = np.array(g.w.value)
            if not (np.isfinite(new_t).all() and np.isfinite(new_w).all()):
                break
            moved_t = np.abs(new_t - t).max()
            if moved_t > 20.0:
                # A long Newton step across the onset of boiling: take part of it.
                f = 20.0 / moved_t
                g.t.setValue(t + f * (new_t - t))
                g.w.setValue(w + f * (new_w - w))
            elif (
                moved_t < _SWEEP_K
                and np.abs(new_w - w).max() < _SWEEP_WATER
                and abs(moved_v) < _SWEEP_PA
            ):
                converged = True
                break
        t = np.array(g.t.value)
        w = np.array(g.w.value)
        if not converged:
            return guess, False, sweeps
        # The fluxes that the last sweep used, so that what is booked is what
        # the cells were given.
        ledger_rate = np.zeros(len(LEDGER))
        ledger_rate[0] = g.area[-1] * flux[3]
        ledger_rate[1] = g.area[-1] * flux[4]
        ledger_rate[2] = g.area[-1] * flux[5]
        ledger_rate[3] = float(terms[_B] @ g.volume)
        ledger_rate[4] = float((terms[_B] * terms[_HV]) @ g.volume)
        ledger_rate[5] = g.area[-1] * flux[8]
        ledger_rate[6] = g.area[-1] * flux[9]
        ledger_rate[7] = pit.carried_in
        ledger_rate[8] = pit.carried_out
        ledger_rate[9] = pit.condensed
        ledger = (ledger_rate - a1 * last.ledger - a2 * before.ledger) / a0
        _cell_terms(t, w, top, g.thickness, c.pressure, c.boiling_c, m, terms)
        e_s = water_enthalpy(surface[0], m) if m.moist else 0.0
        return (
            _State(
                last.time + h,
                t,
                w,
                surface,
                ledger,
                terms[_H].copy(),
                surface[2] * e_s,
                vapour,
            ),
            True,
            sweeps,
        )

    def _fill(
        self,
        t: Floats,
        w: Floats,
        surface: Floats,
        flux: Floats,
        scrap: Floats,
        common: tuple[Any, ...],
        stream_faces: Floats,
        history: tuple[float, Floats, Floats],
    ) -> None:
        """Linearise about `t`, `w` and hand the coefficients to FiPy."""
        g, m, terms = self.grid, self.m, self.terms
        a0, past_h, past_w = history
        stream = common[4]
        k_faces = g.to_faces(terms[_K])
        g.k.setValue(np.concatenate(([0.0], k_faces * g.opening, [0.0])))

        def leaving(f: Floats, e_s: float) -> tuple[float, float]:
            """Energy and water that leave the last cell through the surface."""
            return f[0] + (stream + f[1] - f[2]) * e_s, f[1] - f[2]

        e_s = water_enthalpy(surface[0], m) if m.moist else 0.0
        heat_out, water_out = leaving(flux, e_s)
        slopes = []
        for dt, dw in ((1e-3, 0.0), (0.0, 1e-2)) if m.moist else ((1e-3, 0.0),):
            y = surface.copy()
            _solve_surface(y, t[-1] + dt, w[-1] + dw, *common, scrap)  # type: ignore[call-arg]
            moved = leaving(scrap, water_enthalpy(y[0], m) if m.moist else 0.0)
            slopes.append(
                ((moved[0] - heat_out) / (dt + dw), (moved[1] - water_out) / (dt + dw))
            )
        per_volume = g.area[-1] / g.volume[-1]

        tt = a0 * terms[_CAP]
        rest = -(a0 * terms[_H] + past_h)
        rest[-1] -= per_volume * (heat_out if not m.moist else flux[0])
        if m.moist:
            fall = -np.diff(w) / g.gap
            d_faces = g.to_faces(terms[_D])
            w_faces = g.to_faces(np.maximum(w, 0.0))
            carry = w_faces * g.to_faces(terms[_MOB])
            n_faces = d_faces * fall - carry * np.diff(terms[_PUSH]) / g.gap
            d_eff = d_faces + carry * g.to_faces(terms[_MODULUS])
            carried = (n_faces + stream_faces[:-1] / g.area[1:-1]) * g.to_faces(terms[_EW])
            rest -= g.divergence(carried, (stream + flux[1] - flux[2]) * e_s)
            rest -= terms[_B] * terms[_HV]
            tt = tt + terms[_HV] * terms[_B_T]
            tw = a0 * terms[_EW] + terms[_HV] * terms[_B_W]
            ww = a0 + terms[_X_W] + terms[_B_W]
            wt = terms[_X_T] + terms[_B_T]
            tw[-1] += per_volume * slopes[1][0]
            ww[-1] += per_volume * slopes[1][1]
            wt[-1] += per_volume * slopes[0][1]
            tt[-1] += per_volume * slopes[0][0]
            rest_w = (
                -(a0 * w + past_w)
                - terms[_X]
                - terms[_B]
                - g.divergence(n_faces - d_eff * fall, water_out)
            )
            g.d.setValue(_WATER_SCALE * np.concatenate(([0.0], d_eff * g.opening, [0.0])))
            g.tw.setValue(g.weight * tw)
            g.ww.setValue(g.weight * _WATER_SCALE * ww)
            g.wt.setValue(g.weight * _WATER_SCALE * wt)
            g.ws.setValue(g.weight * _WATER_SCALE * (rest_w + ww * w + wt * t))
            g.ts.setValue(g.weight * (rest + tt * t + tw * w))
        else:
            tt[-1] += per_volume * slopes[0][0]
            g.ts.setValue(g.weight * (rest + tt * t))
        g.tt.setValue(g.weight * tt)


def _corners(problem: Problem) -> list[tuple[float, bool]]:
    """Times the steps must land on, and whether the formula restarts there."""
    f = problem.forcing
    result = []
    columns = (
        (f.air_c, _BEND_K),
        (f.wall_c, _BEND_K),
        (f.vapour_pressure, _BEND_PA),
        (f.heat_transfer, _BEND_COEFFICIENT),
    )
    bend = np.zeros(max(len(f.time_s) - 2, 0))
    for values, scale in columns:
        if len(bend):
            slope = np.diff(values) / np.diff(f.time_s)
            bend = np.maximum(bend, np.abs(np.diff(slope)) * _BEND_S / scale)
    for time, sharp in zip(f.time_s[1:-1], bend, strict=True):
        if 0.0 < time < problem.duration_s:
            result.append((float(time), bool(sharp > 1.0)))
    result.append((float(problem.duration_s), False))
    return result


def _extrapolate(past: list[_State], time: float, get: Callable[[_State], Floats]) -> Floats:
    """Polynomial through up to three earlier levels."""
    levels = past[-3:]
    total = np.zeros_like(get(levels[-1]))
    for i, a in enumerate(levels):
        weight = 1.0
        for j, b in enumerate(levels):
            if i != j:
                weight *= (time - b.time) / (a.time - b.time)
        total = total + weight * get(a)
    return total


def solve(problem: Problem, cells: int = CELLS) -> Raw:
    """Integrate one stage with FiPy.

    Parameters
    ----------
    problem : Problem
        Its mesh says where results are wanted and how deep the surface volume
        is; the equations are solved on a mesh of FiPy's own.
    cells : int
        Of that mesh.

    Returns
    -------
    Raw
        Interpolated to the nodes of the problem's mesh (monotone cubics), so
        that its balance shows the error of interpolation, about 1e-4.

    Raises
    ------
    MissingFeatureError
        If FiPy is not installed.
    SolverError
        If the sweeps do not converge at the shortest step.
    """
    grid = _Grid(problem, cells)
    # FiPy divides by zero on purpose in places and replaces the result.
    with np.errstate(divide="ignore", invalid="ignore"):
        return _integrate(problem, grid, _Stepper(problem, grid))


def _integrate(problem: Problem, grid: _Grid, stepper: _Stepper) -> Raw:
    m = problem.material
    position = problem.mesh.position
    points = np.concatenate(([0.0], grid.centre, [position[-1]]))
    last_row: dict[str, list[Any]] = {
        name: []
        for name in ("time", "t", "w", "film", "top", "dt", "dw", "ds", "ledger", "vapour")
    }

    def to_nodes(values: Floats, at_surface: float) -> Floats:
        full = np.concatenate(([grid.core(values)], values, [at_surface]))
        result: Floats = PchipInterpolator(points, full)(position)
        return result

    def from_nodes(values: Floats) -> Floats:
        result: Floats = PchipInterpolator(position, values)(grid.centre)
        return result

    t = from_nodes(problem.temperature_c)
    w = from_nodes(problem.water)
    top = np.maximum(from_nodes(problem.highest_c), t)
    top_s = float(max(problem.highest_c[-1], problem.temperature_c[-1]))
    surface = np.array([problem.temperature_c[-1], problem.water[-1], problem.film])
    c = problem.conditions
    _cell_terms(t, w, top, grid.thickness, c.pressure, c.boiling_c, m, stepper.terms)
    e_s = water_enthalpy(surface[0], m) if m.moist else 0.0
    now = _State(
        0.0,
        t,
        w,
        surface,
        np.zeros(len(LEDGER)),
        stepper.terms[_H].copy(),
        surface[2] * e_s,
        problem.vapour,
    )
    past = [now]

    def keep(state: _State, rates: tuple[Floats, Floats, float]) -> None:
        nodes_t = to_nodes(state.t, state.surface[0])
        last_row["time"].append(state.time)
        last_row["t"].append(nodes_t)
        last_row["w"].append(to_nodes(state.w, state.surface[1]))
        last_row["film"].append(state.surface[2])
        last_row["top"].append(np.maximum(to_nodes(top, top_s), nodes_t))
        last_row["dt"].append(rates[0])
        last_row["dw"].append(rates[1])
        last_row["ds"].append(rates[2])
        last_row["ledger"].append(state.ledger.copy())
        last_row["vapour"].append(state.vapour)

    flat = np.zeros(len(position))
    keep(now, (flat, flat, 0.0))
    # The first row is what was given, to the last digit.
    last_row["t"][0] = problem.temperature_c.copy()
    last_row["w"][0] = problem.water.copy()
    last_row["top"][0] = np.maximum(problem.highest_c, problem.temperature_c)

    target = problem.until_core_c
    direction = 0.0
    reached = False
    if target is not None:
        direction = 1.0 if problem.temperature_c[0] < target else -1.0
        reached = direction * (problem.temperature_c[0] - target) >= 0.0
    tol_t = _TOLERANCE_SHARE * problem.tolerance
    tol_w = 0.05 * tol_t * m.raw_water if m.moist else 1.0
    steps = rejected = 0
    h = min(_FIRST_STEP_S, problem.duration_s)
    corners = _corners(problem)
    corner = 0
    landing = 0
    while not reached and now.time < problem.duration_s * (1.0 - 1e-13):
        if steps + rejected > _MOST_STEPS:
            raise SolverError(
                f"The FiPy engine needed more than {_MOST_STEPS} steps; use engine='fast'."
            )
        limit = corners[corner][0] - now.time
        lands = h >= 0.999 * limit
        h = limit if lands else min(h, 0.5 * limit) if h > 0.5 * limit else h
        guess = _State(
            now.time + h,
            _extrapolate(past, now.time + h, lambda q: q.t),
            np.maximum(_extrapolate(past, now.time + h, lambda q: q.w), 0.0),
            now.surface.copy(),
            now.ledger,
            now.stored,
            now.film_energy,
            max(float(_extrapolate(past, now.time + h, lambda q: np.array(q.vapour))), 0.0),
        )
        new, good, sweeps = stepper.step(past[-2:], h, top, top_s, guess)
        if not good or (m.moist and new.w.min() < -1e-6 * m.raw_water):
            rejected += 1
            h *= 0.3
            landing = 0
            if h < _SHORTEST_STEP_S:
                raise SolverError(
                    f"The FiPy engine could not continue after {now.time:.0f} s of this stage; "
                    "use engine='fast'."
                )
            continue
        if len(past) >= 2:
            # difference to the predictor, turned into the error of the formula
            share = 0.2 if len(past) >= 3 else 0.3
            e_t = share * (new.t - guess.t) / tol_t
            e_w = share * (new.w - guess.w) / tol_w if m.moist else np.zeros(1)
            error = float(max(np.abs(e_t).max(), np.sqrt(np.mean(e_w**2))))
        else:
            # backward Euler from rest: half the change is a bound on its error
            error = 0.1 * float(np.abs(new.t - now.t).max()) / tol_t
        if error > 1.0 and h > 0.02:
            rejected += 1
            h *= max(0.25, 0.85 * error ** (-1.0 / 3.0))
            landing = 0
            continue
        core = grid.core(new.t)
        if direction and target is not None:
            before = grid.core(now.t)
            if direction * (core - target) > 1e-7 and landing < 30 and h > 1e-6:
                h = max(h * (target - before) / (core - before), 1e-6)
                landing += 1
                # shorter than the step to any corner
                continue
            reached = direction * (core - target) >= -1e-7
        landing = 0
        ratio_rates = _rates(past, new, to_nodes)
        if len(last_row["time"]) == 1:
            # forward difference, for the curve through the first interval
            last_row["dt"][0] = (to_nodes(new.t, new.surface[0]) - last_row["t"][0]) / h
            last_row["dw"][0] = (to_nodes(new.w, new.surface[1]) - last_row["w"][0]) / h
            last_row["ds"][0] = (new.surface[2] - now.surface[2]) / h
        past = [*past[-2:], new]
        top = np.maximum(top, new.t)
        top_s = max(top_s, float(new.surface[0]))
        now = new
        steps += 1
        keep(now, ratio_rates)
        grown = h * min(_MOST_GROWTH, 0.85 * max(error, 1e-3) ** (-1.0 / 3.0))
        if sweeps > 8:
            grown = min(grown, h)
        h = min(grown, _LONGEST_STEP_S)
        if lands and not reached:
            now.time = corners[corner][0]
            last_row["time"][-1] = now.time
            if corners[corner][1]:
                past = [now]
                h = _FIRST_STEP_S
            corner = min(corner + 1, len(corners) - 1)
    return Raw(
        time_s=np.array(last_row["time"]),
        temperature_c=np.array(last_row["t"]),
        water=np.array(last_row["w"]),
        film=np.array(last_row["film"], dtype=float),
        highest_c=np.array(last_row["top"]),
        temperature_slope=np.array(last_row["dt"]),
        water_slope=np.array(last_row["dw"]),
        film_slope=np.array(last_row["ds"], dtype=float),
        ledger=np.array(last_row["ledger"]),
        reached=reached,
        steps=steps,
        rejected=rejected,
        vapour=np.array(last_row["vapour"], dtype=float) if problem.chamber.closed else None,
    )


def _rates(
    past: list[_State], new: _State, to_nodes: Callable[[Floats, float], Floats]
) -> tuple[Floats, Floats, float]:
    """Slopes at the new level: derivative of the polynomial through the last levels."""
    levels = [*past[-2:], new]
    if len(levels) == 2:
        h = new.time - levels[0].time
        weights = np.array([-1.0 / h, 1.0 / h])
    else:
        h = new.time - levels[1].time
        ratio = h / (levels[1].time - levels[0].time)
        weights = np.array(
            [
                ratio * ratio / (1.0 + ratio) / h,
                -(1.0 + ratio) / h,
                (1.0 + 2.0 * ratio) / (1.0 + ratio) / h,
            ]
        )
    t = np.array([to_nodes(q.t, q.surface[0]) for q in levels])
    w = np.array([to_nodes(q.w, q.surface[1]) for q in levels])
    film = np.array([q.surface[2] for q in levels])
    return weights @ t, weights @ w, float(weights @ film)
