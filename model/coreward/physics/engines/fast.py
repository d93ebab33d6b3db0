r"""The fast engine: compiled, linearly implicit, with error control.

Finite volumes on the nodes of :class:`~coreward.physics.body.Mesh`; in time a
four-stage Rosenbrock-W method of third order, stiffly accurate and L-stable
(ROS34PW2 of Rang and Angermann 2005, BIT 45, 761-787; coefficients from
memory, their order conditions are checked in the verification tests).

Why a W-method on the *conserved* quantities (enthalpy and water, not
temperature): every Runge-Kutta combination of the stages keeps a linear
invariant, so energy and water close to rounding error without Newton
iterations, and the Jacobian may leave out what is not stiff (the slope of the
conductivity, the stream of expelled water), which keeps it block-tridiagonal.

The ledger of what crossed the surface is computed at the surface, apart from the fields, so
that the balance in every result proves something. Fluxes in a result are means over steps
taken from it: the thin surface volume and the film are stiff, and an error of 0.01 K there
would show as 100 W/m².

Traps met: explicit surface evaporation goes negative, then NaN; a film tolerance that looks
small (1 g/m²) lets the surface swing by kelvins; cubic interpolation with the end slopes of
a stiff node draws waves that are not there; numba does not notice changes in functions
called from other files (`physics/_cache.py` does). A step's error is a mean over all
volumes, and a boiling one counts for itself as well: a step of the outermost was once seen
0.22 K above.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from coreward.errors import SolverError
from coreward.physics import history
from coreward.physics.body import Slab, make_mesh
from coreward.physics.chamber import (
    chamber_rates,
    humidity_ratio,
    pascal_per_kilogram,
)
from coreward.physics.compiled import compiled
from coreward.physics.meat import constant_material, meat
from coreward.physics.problem import LEDGER, Forcing, Problem, Raw
from coreward.physics.statement import (
    BOILING_MARGIN,
    CHEBYSHEV_STEP,
    LONGEST_STEP,
    OUTLET_REACH,
    SETTLED_STEP,
    SurfaceConditions,
    boiling,
    carried_water,
    conductivity,
    enthalpy,
    enthalpy_slope_curvature,
    expulsion,
    mobility,
    moisture_diffusivity,
    outlet,
    surface_exchange,
    swelling_modulus,
    swelling_pressure,
    swelling_pressure_slope,
    temperature,
    vapour_enthalpy,
    water_enthalpy,
    water_heat_capacity,
    water_held,
    water_held_slope,
)
from coreward.physics.water import saturation_temperature

Floats = NDArray[np.float64]

_STAGES = 4


def _coefficients() -> tuple[float, Floats, Floats, Floats, Floats, Floats]:
    """ROS34PW2 in the form that needs no product with the Jacobian.

    With stage increments u = Gamma k: A = alpha Gamma^-1,
    C = diag(1/gamma) - Gamma^-1, m = b Gamma^-1 (Hairer and Wanner, Solving
    Ordinary Differential Equations II, section IV.7; from memory).
    """
    g = 0.43586652150845900
    alpha = np.zeros((4, 4))
    alpha[1, 0] = 0.87173304301691801
    alpha[2, 0], alpha[2, 1] = 0.84457060015369423, -0.11299064236484185
    alpha[3, 2] = 1.0
    gamma = np.diag([g] * 4)
    gamma[1, 0] = -0.87173304301691801
    gamma[2, 0], gamma[2, 1] = -0.90338057013044082, 0.054180672388095326
    gamma[3, 0], gamma[3, 1], gamma[3, 2] = (
        0.24212380706095346,
        -1.2232505839045147,
        0.54526025533510214,
    )
    b = np.array([0.24212380706095346, -1.2232505839045147, 1.5452602553351020, g])
    b_hat = np.array([0.37810903145819369, -0.096042292212423178, 0.5, 0.21793326075422950])
    inverse = np.linalg.inv(gamma)
    return (
        g,
        alpha @ inverse,
        np.diag([1.0 / g] * 4) - inverse,
        b @ inverse,
        (b - b_hat) @ inverse,
        gamma.sum(axis=1),
    )


_G, _A, _C, _M, _E, _GAMMA = _coefficients()
_ALPHA = np.array([0.0, 0.87173304301691801, 0.73157995778885238, 1.0])

_ORDER_EXPONENT = -1.0 / 3.0
_LEDGER_SIZE = len(LEDGER)
# A kelvin of dew point in vapour pressure: 4.5 % of it near 60 °C, and never less than
# that of a few degrees of frost. [1/K], [Pa/K]
_DEW_SLOPE = 0.045
_LEAST_SLOPE = 20.0
# How much more than the mean over the volumes a boiling one may be wrong: at the default
# tolerance 0.1 K, what was thought of as the bound before one was seen 0.22 K over.
_WORST_BOILING = 5.0
_STATUS_OK, _STATUS_REACHED, _STATUS_STUCK, _STATUS_FULL = 0, 1, 2, 3


@compiled
def _surroundings(t, k, times, table, vapour, r, out):  # type: ignore[no-untyped-def]
    """Linear interpolation in segment k of the forcing table.

    In a chamber what is given is the vapour pressure of the fresh air; that around the
    piece is the state. `out` then ends with the humidity ratio of the fresh air and the
    rise of the air's temperature. [kg/kg, K/s]
    """
    n = times.shape[0]
    columns = table.shape[1]
    rise = 0.0
    if n == 1 or t >= times[n - 1]:
        for c in range(columns):
            out[c] = table[n - 1, c]
    else:
        width = times[k + 1] - times[k]
        f = (t - times[k]) / width
        for c in range(columns):
            out[c] = table[k, c] + f * (table[k + 1, c] - table[k, c])
        rise = (table[k + 1, 0] - table[k, 0]) / width
    if r.closed:
        out[columns] = humidity_ratio(out[2], r.pressure)
        out[columns + 1] = rise
        out[2] = vapour * pascal_per_kilogram(out[0], r)


@compiled
def _chamber(vapour, given_off, env, m, r):  # type: ignore[no-untyped-def]
    """Vapour balance of the chamber in surroundings from :func:`_surroundings`."""
    return chamber_rates(
        vapour, given_off, env[0], env[7], env[1], env[4], env[5], env[6], m.lewis_power, r
    )


@compiled
def _fluxes(  # type: ignore[no-untyped-def]
    t, w, t_max, area, spacing, volume, m, f_e, f_w, k_node, gradient_flow
):
    """Exchange between volumes, any closure; returns the stream at the surface volume."""
    n = t.shape[0]
    stream = 0.0
    pressed = 0.0
    if m.permeability > 0.0:
        pressed = swelling_pressure(t[0], w[0], t_max[0], m)
    for i in range(n - 1):
        g = area[i] / spacing[i]
        flux_e = g * 0.5 * (k_node[i] + k_node[i + 1]) * (t[i] - t[i + 1])
        if gradient_flow:
            t_face = 0.5 * (t[i] + t[i + 1])
            flux_w = moisture_diffusivity(t_face, m) * (w[i] - w[i + 1])
            if m.permeability > 0.0:
                inner = pressed
                pressed = swelling_pressure(t[i + 1], w[i + 1], t_max[i + 1], m)
                push = inner - pressed
                flux_w += carried_water(w[i], w[i + 1], push) * mobility(t_face, m) * push
            flux_w *= g
            flux_e += flux_w * water_enthalpy(t[i] if flux_w > 0.0 else t[i + 1], m)
            f_w[i] -= flux_w
            f_w[i + 1] += flux_w
        if m.expulsion_rate > 0.0:
            out = volume[i] * expulsion(w[i], max(t[i], t_max[i]), m)
            f_w[i] -= out
            stream += out
            flux_e += stream * water_enthalpy(t[i], m)
        f_e[i] -= flux_e
        f_e[i + 1] += flux_e
    return stream


@compiled
def _rates(  # type: ignore[no-untyped-def]
    t,
    w,
    s,
    vapour,
    t_max,
    env,
    area,
    spacing,
    volume,
    surface_area,
    c,
    m,
    r,
    f_e,
    f_w,
    ledger,
    k_node,
):
    """Right-hand side: d(enthalpy)/dt, d(water)/dt per volume.

    Returns the film's, and that of the vapour in a chamber's air.

    `ledger` receives the boundary fluxes, computed at the boundary and not
    from the sums of the volumes, so that closing the balance proves something.
    """
    n = t.shape[0]
    for i in range(n):
        f_e[i] = 0.0
        f_w[i] = 0.0
    for q in range(_LEDGER_SIZE):
        ledger[q] = 0.0

    for i in range(n):
        k_node[i] = conductivity(t[i], w[i], t_max[i], m)
    gradient_flow = m.moist and (m.diffusivity > 0.0 or m.permeability > 0.0)
    stream = 0.0
    if m.moist and m.permeability == 0.0:
        # Without pressure all but the running stream is computed side by side.
        for i in range(n):
            f_w[i] = volume[i] * expulsion(w[i], max(t[i], t_max[i]), m)
        if m.diffusivity > 0.0:
            for i in range(n - 1):
                f_e[i] = (
                    moisture_diffusivity(0.5 * (t[i] + t[i + 1]), m)
                    * (w[i] - w[i + 1])
                    * area[i]
                    / spacing[i]
                )
        before_e = 0.0
        before_w = 0.0
        for i in range(n - 1):
            flux_w = f_e[i]
            out = f_w[i]
            stream += out
            flux_e = (
                area[i] / spacing[i] * 0.5 * (k_node[i] + k_node[i + 1]) * (t[i] - t[i + 1])
            )
            flux_e += flux_w * water_enthalpy(t[i] if flux_w > 0.0 else t[i + 1], m)
            flux_e += stream * water_enthalpy(t[i], m)
            f_w[i] = before_w - flux_w - out
            f_e[i] = before_e - flux_e
            before_w = flux_w
            before_e = flux_e
        f_w[n - 1] = before_w
        f_e[n - 1] = before_e
    else:
        stream = _fluxes(t, w, t_max, area, spacing, volume, m, f_e, f_w, k_node, gradient_flow)
    last = n - 1
    ew = water_enthalpy(t[last], m) if m.moist else 0.0
    f_s = 0.0
    x = surface_exchange(t[last], w[last], s, t_max[last], env[0], env[1], env[2], env[3], c, m)
    heat = surface_area * (x.convection + x.radiation)
    f_e[last] += heat
    ledger[0] = heat
    if m.moist:
        out = volume[last] * expulsion(w[last], max(t[last], t_max[last]), m)
        out += surface_area * outlet(t[last], w[last], t_max[last], m)[0]
        f_w[last] -= out
        stream += out
        hv = vapour_enthalpy(t[last], m)
        film_loss = surface_area * (x.film_evaporation + x.film_boiling)
        solid_loss = surface_area * x.solid_evaporation
        soaked = x.rewetting * volume[last]
        dripping = surface_area * x.drip
        bypass = (1.0 - m.surface_share) * stream
        f_s = stream - bypass - film_loss - soaked - dripping
        f_w[last] += soaked - solid_loss
        evaporated = film_loss + solid_loss
        dripped = dripping + bypass
        f_e[last] -= evaporated * hv + dripped * ew
        ledger[1] = evaporated
        ledger[2] = evaporated * hv
        ledger[5] = dripped
        ledger[6] = dripped * ew
        for i in range(n):
            if t[i] > c.boiling_c - BOILING_MARGIN:
                b = (
                    volume[i]
                    * boiling(t[i], w[i], c.pressure, c.boiling_c, m, _depth(i, spacing))[0]
                )
                if b > 0.0:
                    hv = vapour_enthalpy(t[i], m)
                    f_w[i] -= b
                    f_e[i] -= b * hv
                    ledger[3] += b
                    ledger[4] += b * hv
    f_v = 0.0
    if r.closed:
        pit = _chamber(vapour, ledger[1] + ledger[3], env, m, r)
        f_v = pit.rate
        ledger[7] = pit.carried_in
        ledger[8] = pit.carried_out
        ledger[9] = pit.condensed
    return f_s, f_v


@compiled
def _depth(i, spacing):  # type: ignore[no-untyped-def]
    """Extent of volume i from face to face. [m]."""
    inner = spacing[i - 1] if i > 0 else 0.0
    outer = spacing[i] if i < spacing.shape[0] else 0.0
    return 0.5 * (inner + outer)


@compiled
def _matrix(  # type: ignore[no-untyped-def]
    h,
    t,
    w,
    s,
    vapour,
    t_max,
    env,
    area,
    spacing,
    volume,
    surface_area,
    c,
    m,
    r,
    k_node,
    capacity,
    lo,
    di,
    up,
    mass,
    edge,
    room,
):
    """(M / (gamma h) - J) for increments of temperature and water.

    lo, di, up : (n, 4) blocks [eT, eW, wT, wW]; mass : (n, 2) dh/dT and dh/dW
    times volume; edge, room : everything that couples the film and the chamber's air,
    see below.
    """
    n = t.shape[0]
    inv = 1.0 / (_G * h)
    for i in range(n):
        mass[i, 0] = volume[i] * capacity[i]
        mass[i, 1] = volume[i] * water_enthalpy(t[i], m) if m.moist else 0.0
    last = n - 1
    ew = 0.0
    if m.moist:
        ew = water_enthalpy(t[last], m)
        mass[last, 0] += surface_area * s * water_heat_capacity(t[last], m)
    for i in range(n):
        di[i, 0] = mass[i, 0] * inv
        di[i, 1] = mass[i, 1] * inv
        di[i, 2] = 0.0
        di[i, 3] = volume[i] * inv
    gradient_flow = m.moist and (m.diffusivity > 0.0 or m.permeability > 0.0)
    p_r = e_r = 0.0
    if m.permeability > 0.0:
        p_r, e_r = swelling_pressure_slope(t[0], w[0], t_max[0], m)
    for i in range(n - 1):
        geo = area[i] / spacing[i]
        g = geo * 0.5 * (k_node[i] + k_node[i + 1])
        di[i, 0] += g
        di[i + 1, 0] += g
        up[i, 0] = -g
        lo[i + 1, 0] = -g
        up[i, 1] = up[i, 2] = up[i, 3] = 0.0
        lo[i + 1, 1] = lo[i + 1, 2] = lo[i + 1, 3] = 0.0
        if gradient_flow:
            t_face = 0.5 * (t[i] + t[i + 1])
            d = moisture_diffusivity(t_face, m)
            n_wl = geo * d
            n_wr = -n_wl
            n_tl = 0.0
            n_tr = 0.0
            flux = d * (w[i] - w[i + 1])
            if m.permeability > 0.0:
                p_l, e_l = p_r, e_r
                p_r, e_r = swelling_pressure_slope(t[i + 1], w[i + 1], t_max[i + 1], m)
                push = p_l - p_r
                lead = geo * mobility(t_face, m)
                carried = lead * carried_water(w[i], w[i + 1], push)
                flux += carried * push / geo
                n_wl += carried * e_l
                n_wr -= carried * e_r
                n_wl += 0.5 * lead * push
                n_wr += 0.5 * lead * push
                if t[i] >= t_max[i]:
                    n_tl = -carried * e_l * water_held_slope(t[i], m)
                if t[i + 1] >= t_max[i + 1]:
                    n_tr = carried * e_r * water_held_slope(t[i + 1], m)
            e_up = water_enthalpy(t[i] if flux > 0.0 else t[i + 1], m)
            di[i, 2] += n_tl
            di[i, 3] += n_wl
            up[i, 2] += n_tr
            up[i, 3] += n_wr
            di[i, 0] += e_up * n_tl
            di[i, 1] += e_up * n_wl
            up[i, 0] += e_up * n_tr
            up[i, 1] += e_up * n_wr
            lo[i + 1, 2] -= n_tl
            lo[i + 1, 3] -= n_wl
            di[i + 1, 2] -= n_tr
            di[i + 1, 3] -= n_wr
            lo[i + 1, 0] -= e_up * n_tl
            lo[i + 1, 1] -= e_up * n_wl
            di[i + 1, 0] -= e_up * n_tr
            di[i + 1, 1] -= e_up * n_wr

    x = surface_exchange(t[last], w[last], s, t_max[last], env[0], env[1], env[2], env[3], c, m)
    for j in range(edge.shape[0]):
        edge[j] = 0.0
    edge[0] = surface_area * x.heat_slope
    di[last, 0] -= edge[0]
    edge[1] = surface_area * inv  # film row, film column
    if m.moist:
        hv = vapour_enthalpy(t[last], m)
        ex_w = 0.0
        if w[last] > water_held(max(t[last], t_max[last]), m):
            ex_w = volume[last] * m.expulsion_rate
        came, steep = outlet(t[last], w[last], t_max[last], m)
        if r.closed and came > 0.0:
            # As steep as it gets once the onset is passed: a wet surface lives on the onset,
            # and a step that takes the slope from there swings. Only where the air is a
            # state, so that cooks in given air stay as they were checked, to the last bit.
            top = max(t[last], t_max[last])
            whole = mobility(t[last], m) * swelling_modulus(top, m) / OUTLET_REACH * w[last]
            steep = max(steep, whole)
        ex_w += surface_area * steep
        ex_t = 0.0
        if t[last] >= t_max[last]:
            ex_t = -ex_w * water_held_slope(t[last], m)
        film_t = surface_area * (x.film_evaporation_dt + x.film_boiling_dt)
        film_w = surface_area * x.film_evaporation_dw
        film_s = surface_area * (x.film_evaporation_ds + x.film_boiling_ds)
        solid_t = surface_area * x.solid_evaporation_dt
        solid_w = surface_area * x.solid_evaporation_dw
        solid_s = surface_area * x.solid_evaporation_ds
        soak_w = volume[last] * x.rewetting_dw
        soak_s = volume[last] * x.rewetting_ds
        drip_s = surface_area * x.drip_ds
        past = 1.0 - m.surface_share
        # slopes of the boundary fluxes, for the ledger: evaporated by T, W, S;
        # dripped by T, W, S
        edge[2] = film_t + solid_t
        edge[3] = film_w + solid_w
        edge[4] = film_s + solid_s
        edge[5] = past * ex_t
        edge[6] = past * ex_w
        edge[7] = drip_s
        edge[8] = hv
        edge[9] = ew
        # film row: d(film)/dt by T, W; film column of the energy and water rows
        edge[10] = (1.0 - past) * ex_t - film_t
        edge[11] = (1.0 - past) * ex_w - film_w - soak_w
        edge[1] += film_s + soak_s + drip_s
        edge[12] = surface_area * ew * inv + hv * edge[4] + ew * drip_s
        edge[13] = -(soak_s - solid_s)
        di[last, 0] += hv * edge[2] + ew * edge[5]
        di[last, 1] += hv * edge[3] + ew * edge[6]
        di[last, 2] += ex_t + solid_t
        di[last, 3] += ex_w + solid_w - soak_w
        for i in range(n):
            if t[i] > c.boiling_c - BOILING_MARGIN:
                b = boiling(t[i], w[i], c.pressure, c.boiling_c, m, _depth(i, spacing))
                if b[0] > 0.0:
                    hv = vapour_enthalpy(t[i], m)
                    di[i, 0] += hv * volume[i] * b[1]
                    di[i, 1] += hv * volume[i] * b[2]
                    di[i, 2] += volume[i] * b[1]
                    di[i, 3] += volume[i] * b[2]
    # Fold the film, which touches the last volume only, into its block.
    d_s = edge[1]
    if not r.closed:
        di[last, 0] += edge[12] * edge[10] / d_s
        di[last, 1] += edge[12] * edge[11] / d_s
        di[last, 2] += edge[13] * edge[10] / d_s
        di[last, 3] += edge[13] * edge[11] / d_s
        return
    # The chamber's air touches film and last volume: fold both at once.
    per = surface_area * pascal_per_kilogram(env[0], r)
    film_v = per * x.film_evaporation_dp
    solid_v = per * x.solid_evaporation_dp
    evaporated = surface_area * (x.film_evaporation + x.film_boiling + x.solid_evaporation)
    pit = _chamber(vapour, evaporated, env, m, r)
    # slopes of what evaporates by the vapour in the air, and of the air's own balance
    room[0] = film_v + solid_v
    room[1] = pit.condensed_dv
    room[2] = pit.rate_de
    room[3] = pit.rate_dv + pit.rate_de * room[0]
    # columns of the vapour in the rows of film, energy and water; row of the vapour
    b_s = film_v
    room[4] = edge[8] * room[0]
    room[5] = solid_v
    room[6] = room[2] * edge[2]
    room[7] = room[2] * edge[3]
    c_s = -room[2] * edge[4]
    d_v = inv - room[3]
    # inverse of the block of film and vapour
    det = d_s * d_v - b_s * c_s
    room[8] = d_v / det
    room[9] = -b_s / det
    room[10] = -c_s / det
    room[11] = d_s / det
    s_t = room[8] * edge[10] + room[9] * room[6]
    s_w = room[8] * edge[11] + room[9] * room[7]
    v_t = room[10] * edge[10] + room[11] * room[6]
    v_w = room[10] * edge[11] + room[11] * room[7]
    di[last, 0] += edge[12] * s_t + room[4] * v_t
    di[last, 1] += edge[12] * s_w + room[4] * v_w
    di[last, 2] += edge[13] * s_t + room[5] * v_t
    di[last, 3] += edge[13] * s_w + room[5] * v_w


@compiled
def _factor(lo, di, up):  # type: ignore[no-untyped-def]
    """Block elimination; leaves inverse diagonal blocks in `di`, lo·inv in `lo`."""
    n = di.shape[0]
    for i in range(n):
        if i > 0:
            a, b, p, q = lo[i, 0], lo[i, 1], lo[i, 2], lo[i, 3]
            e, f, g, k = di[i - 1, 0], di[i - 1, 1], di[i - 1, 2], di[i - 1, 3]
            l0 = a * e + b * g
            l1 = a * f + b * k
            l2 = p * e + q * g
            l3 = p * f + q * k
            lo[i, 0], lo[i, 1], lo[i, 2], lo[i, 3] = l0, l1, l2, l3
            e, f, g, k = up[i - 1, 0], up[i - 1, 1], up[i - 1, 2], up[i - 1, 3]
            di[i, 0] -= l0 * e + l1 * g
            di[i, 1] -= l0 * f + l1 * k
            di[i, 2] -= l2 * e + l3 * g
            di[i, 3] -= l2 * f + l3 * k
        det = di[i, 0] * di[i, 3] - di[i, 1] * di[i, 2]
        a = di[i, 0]
        di[i, 0] = di[i, 3] / det
        di[i, 3] = a / det
        di[i, 1] = -di[i, 1] / det
        di[i, 2] = -di[i, 2] / det


@compiled
def _solve(lo, di, up, edge, room, closed, r_e, r_w, r_s, r_v):  # type: ignore[no-untyped-def]
    """Solve in place: r_e, r_w become the increments of T and W.

    Returns those of the film and of the vapour in the chamber's air.
    """
    n = di.shape[0]
    last = n - 1
    if closed:
        s_0 = room[8] * r_s + room[9] * r_v
        v_0 = room[10] * r_s + room[11] * r_v
        r_e[last] -= edge[12] * s_0 + room[4] * v_0
        r_w[last] -= edge[13] * s_0 + room[5] * v_0
    else:
        r_e[last] -= edge[12] * r_s / edge[1]
        r_w[last] -= edge[13] * r_s / edge[1]
    for i in range(1, n):
        r_e[i] -= lo[i, 0] * r_e[i - 1] + lo[i, 1] * r_w[i - 1]
        r_w[i] -= lo[i, 2] * r_e[i - 1] + lo[i, 3] * r_w[i - 1]
    e = di[last, 0] * r_e[last] + di[last, 1] * r_w[last]
    r_w[last] = di[last, 2] * r_e[last] + di[last, 3] * r_w[last]
    r_e[last] = e
    for i in range(n - 2, -1, -1):
        a = r_e[i] - up[i, 0] * r_e[i + 1] - up[i, 1] * r_w[i + 1]
        b = r_w[i] - up[i, 2] * r_e[i + 1] - up[i, 3] * r_w[i + 1]
        r_e[i] = di[i, 0] * a + di[i, 1] * b
        r_w[i] = di[i, 2] * a + di[i, 3] * b
    r_s += edge[10] * r_e[last] + edge[11] * r_w[last]
    if not closed:
        return r_s / edge[1], 0.0
    r_v += room[6] * r_e[last] + room[7] * r_w[last]
    return room[8] * r_s + room[9] * r_v, room[10] * r_s + room[11] * r_v


@compiled
def _primitive(  # type: ignore[no-untyped-def]
    u_e, u_w, s, t_max, guess, volume, surface_area, m, t, w
):
    """Temperature and water from the conserved quantities; `guess` is overwritten.

    Up to three passes over all volumes at once, without a branch, then one by
    one for the few that have not settled.
    """
    n = u_e.shape[0]
    last = n - 1
    # The film has the temperature of the surface volume: to the inversion it
    # is more water in that volume.
    film = surface_area * s / volume[last] if m.moist else 0.0
    for i in range(n):
        w[i] = u_w[i] / volume[i]
    w[last] += film
    for i in range(n):
        t[i] = guess[i]
    for _ in range(3):
        worst = 0.0
        for i in range(n):
            x = t[i]
            value, slope, bend = enthalpy_slope_curvature(x, w[i], t_max[i], m)
            step = (value - u_e[i] / volume[i]) / slope
            step = min(max(step, -LONGEST_STEP), LONGEST_STEP)
            cut = step * (1.0 + 0.5 * step * bend / slope)
            t[i] = x - (cut if abs(step) < CHEBYSHEV_STEP else step)
            guess[i] = x
        for i in range(n):
            worst = max(worst, abs(t[i] - guess[i]))
        if worst < SETTLED_STEP:
            break
    for i in range(n):
        x = guess[i]
        moved = abs(t[i] - x)
        if moved > SETTLED_STEP or (moved > 1e-6 and (x >= t_max[i]) != (t[i] >= t_max[i])):
            t[i] = temperature(u_e[i] / volume[i], w[i], t_max[i], t[i], m)
    w[last] = u_w[last] / volume[last]


@compiled
def _integrate(  # type: ignore[no-untyped-def]
    t0,
    w0,
    s0,
    vapour0,
    t_max0,
    area,
    spacing,
    volume,
    surface_area,
    times,
    table,
    c,
    m,
    r,
    duration,
    target,
    direction,
    tolerance,
    coef_a,
    coef_c,
    coef_m,
    coef_e,
    coef_alpha,
    coef_gamma,
    most_steps,
):
    n = t0.shape[0]
    last = n - 1
    capacity = 256
    o_time = np.empty(capacity)
    o_t = np.empty((capacity, n))
    o_w = np.empty((capacity, n))
    o_m = np.empty((capacity, n))
    o_dt = np.empty((capacity, n))
    o_dw = np.empty((capacity, n))
    o_s = np.empty((capacity, 2))
    o_l = np.empty((capacity, _LEDGER_SIZE))
    o_v = np.empty(capacity)

    t = t0.copy()
    w = w0.copy()
    t_max = t_max0.copy()
    s = s0
    vapour = vapour0
    u_e = np.empty(n)
    u_w = np.empty(n)
    for i in range(n):
        u_e[i] = volume[i] * enthalpy(t[i], w[i], t_max[i], m)
        u_w[i] = volume[i] * w[i]
    if m.moist:
        u_e[last] += surface_area * s * water_enthalpy(t[last], m)
    total = np.zeros(_LEDGER_SIZE)

    env = np.empty(table.shape[1] + 2)
    env_later = np.empty(table.shape[1] + 2)
    lo = np.zeros((n, 4))
    di = np.zeros((n, 4))
    up = np.zeros((n, 4))
    mass = np.zeros((n, 2))
    edge = np.zeros(14)
    room = np.zeros(12)
    boil = np.zeros((n, 3))
    v_t = np.zeros((_STAGES, n))
    v_w = np.zeros((_STAGES, n))
    u_ek = np.zeros((_STAGES, n))
    u_wk = np.zeros((_STAGES, n))
    v_s = np.zeros(_STAGES)
    v_v = np.zeros(_STAGES)
    u_lk = np.zeros((_STAGES, _LEDGER_SIZE))
    f_e = np.empty(n)
    f_w = np.empty(n)
    led = np.zeros(_LEDGER_SIZE)
    first_e = np.empty(n)
    first_w = np.empty(n)
    first_ledger = np.zeros(_LEDGER_SIZE)
    k_first = np.empty(n)
    k_node = np.empty(n)
    heat_cap = np.empty(n)
    led_t = np.zeros(_LEDGER_SIZE)
    t_y = t.copy()
    w_y = w.copy()
    e_y = np.empty(n)
    q_y = np.empty(n)
    guess = np.empty(n)
    new_t = np.empty(n)
    new_w = np.empty(n)

    tol_w = 0.05 * tolerance * m.raw_water if m.moist else 1.0
    # The film is thin and its evaporation strong: an error of this size in it
    # is a few watts per m².
    tol_s = 0.05 * tolerance * m.film_scale if m.moist else 1.0

    now = 0.0
    segment = 0
    count = 0
    rejected = 0
    h = min(1.0, duration)
    status = _STATUS_OK
    finishing = False
    attempts = 0
    while True:
        while segment < times.shape[0] - 2 and now >= times[segment + 1] * (1.0 - 1e-14):
            segment += 1
        _surroundings(now, segment, times, table, vapour, r, env)
        f_s0, f_v0 = _rates(
            t,
            w,
            s,
            vapour,
            t_max,
            env,
            area,
            spacing,
            volume,
            surface_area,
            c,
            m,
            r,
            first_e,
            first_w,
            first_ledger,
            k_first,
        )
        # keep the state and its slopes: they serve interpolation and plots
        if count == capacity:
            capacity *= 2
            o_time = _grow1(o_time, capacity)
            o_t = _grow2(o_t, capacity)
            o_w = _grow2(o_w, capacity)
            o_m = _grow2(o_m, capacity)
            o_dt = _grow2(o_dt, capacity)
            o_dw = _grow2(o_dw, capacity)
            o_s = _grow2(o_s, capacity)
            o_l = _grow2(o_l, capacity)
            o_v = _grow1(o_v, capacity)
        for i in range(n):
            heat_cap[i] = enthalpy_slope_curvature(t[i], w[i], t_max[i], m)[1]
        o_time[count] = now
        o_v[count] = vapour
        o_s[count, 0] = s
        o_s[count, 1] = f_s0 / surface_area
        for q in range(_LEDGER_SIZE):
            o_l[count, q] = total[q]
        for i in range(n):
            o_t[count, i] = t[i]
            o_w[count, i] = w[i]
            o_m[count, i] = t_max[i]
            o_dw[count, i] = first_w[i] / volume[i]
            cap = heat_cap[i]
            rate = first_e[i] / volume[i]
            if m.moist:
                rate -= water_enthalpy(t[i], m) * o_dw[count, i]
                if i == last:
                    film = surface_area / volume[i]
                    rate -= water_enthalpy(t[i], m) * film * o_s[count, 1]
                    cap += film * s * water_heat_capacity(t[i], m)
            o_dt[count, i] = rate / cap
        count += 1

        if now >= duration * (1.0 - 1e-14) or finishing:
            break
        if direction * (t[0] - target) >= 0.0 and direction != 0.0:
            status = _STATUS_REACHED
            break
        if count > most_steps:
            status = _STATUS_FULL
            break

        # a step must not pass a corner of the surroundings nor the end
        limit = duration - now
        if segment < times.shape[0] - 1 and times[segment + 1] > now:
            limit = min(limit, times[segment + 1] - now)
        planned = h
        while True:
            attempts += 1
            h = planned
            if h >= limit * 0.999:
                h = limit
            elif h > 0.5 * limit:
                h = 0.5 * limit
            # surroundings change with time: their slope enters each stage
            hv = vapour_enthalpy(t[last], m) if m.moist else 0.0
            heat_rate = film_rate = solid_rate = 0.0
            if times.shape[0] > 1:
                nudge = 0.25 * h
                _surroundings(now + nudge, segment, times, table, vapour, r, env_later)
                x0 = surface_exchange(
                    t[last], w[last], s, t_max[last], env[0], env[1], env[2], env[3], c, m
                )
                x1 = surface_exchange(
                    t[last],
                    w[last],
                    s,
                    t_max[last],
                    env_later[0],
                    env_later[1],
                    env_later[2],
                    env_later[3],
                    c,
                    m,
                )
                heat_rate = (
                    surface_area * (x1.convection + x1.radiation - x0.convection - x0.radiation)
                ) / nudge
                film_rate = surface_area * (x1.film_evaporation - x0.film_evaporation) / nudge
                solid_rate = (
                    surface_area * (x1.solid_evaporation - x0.solid_evaporation) / nudge
                )
            for q in range(_LEDGER_SIZE):
                led_t[q] = 0.0
            led_t[0] = heat_rate
            led_t[1] = film_rate + solid_rate
            led_t[2] = hv * led_t[1]

            _matrix(
                h,
                t,
                w,
                s,
                vapour,
                t_max,
                env,
                area,
                spacing,
                volume,
                surface_area,
                c,
                m,
                r,
                k_first,
                heat_cap,
                lo,
                di,
                up,
                mass,
                edge,
                room,
            )
            any_boiling = False
            if m.moist:
                for i in range(n):
                    boil[i, 0] = boil[i, 1] = boil[i, 2] = 0.0
                    if t[i] > c.boiling_c - BOILING_MARGIN:
                        b = boiling(t[i], w[i], c.pressure, c.boiling_c, m, _depth(i, spacing))
                        if b[0] > 0.0:
                            any_boiling = True
                            boil[i, 0] = volume[i] * b[1]
                            boil[i, 1] = volume[i] * b[2]
                            boil[i, 2] = vapour_enthalpy(t[i], m)
            _factor(lo, di, up)
            ew = edge[9]
            for stage in range(_STAGES):
                s_y = s
                vapour_y = vapour
                if stage == 0:
                    f_s = f_s0
                    r_v = f_v0
                    for i in range(n):
                        f_e[i] = first_e[i]
                        f_w[i] = first_w[i]
                    for q in range(_LEDGER_SIZE):
                        led[q] = first_ledger[q]
                else:
                    for i in range(n):
                        e_y[i] = u_e[i]
                        q_y[i] = u_w[i]
                        guess[i] = t[i]
                    for j in range(stage):
                        a = coef_a[stage, j]
                        if a != 0.0:
                            s_y += a * v_s[j]
                            vapour_y += a * v_v[j]
                            for i in range(n):
                                e_y[i] += a * u_ek[j, i]
                                q_y[i] += a * u_wk[j, i]
                                guess[i] += a * v_t[j, i]
                    _primitive(e_y, q_y, s_y, t_max, guess, volume, surface_area, m, t_y, w_y)
                    then = now + coef_alpha[stage] * h
                    _surroundings(then, segment, times, table, vapour_y, r, env_later)
                    f_s, r_v = _rates(
                        t_y,
                        w_y,
                        s_y,
                        vapour_y,
                        t_max,
                        env_later,
                        area,
                        spacing,
                        volume,
                        surface_area,
                        c,
                        m,
                        r,
                        f_e,
                        f_w,
                        led,
                        k_node,
                    )
                r_s = f_s - coef_gamma[stage] * h * film_rate
                r_t = coef_gamma[stage] * h
                f_e[last] += r_t * (heat_rate - hv * (film_rate + solid_rate))
                f_w[last] -= r_t * solid_rate
                for q in range(_LEDGER_SIZE):
                    led[q] += r_t * led_t[q]
                for j in range(stage):
                    cc = coef_c[stage, j] / h
                    if cc != 0.0:
                        r_s += cc * surface_area * v_s[j]
                        r_v += cc * v_v[j]
                        for i in range(n):
                            f_e[i] += cc * u_ek[j, i]
                            f_w[i] += cc * u_wk[j, i]
                        for q in range(_LEDGER_SIZE):
                            led[q] += cc * u_lk[j, q]
                ds, dv = _solve(lo, di, up, edge, room, r.closed, f_e, f_w, r_s, r_v)
                v_s[stage] = ds
                v_v[stage] = dv
                for i in range(n):
                    v_t[stage, i] = f_e[i]
                    v_w[stage, i] = f_w[i]
                    u_ek[stage, i] = mass[i, 0] * f_e[i] + mass[i, 1] * f_w[i]
                    u_wk[stage, i] = volume[i] * f_w[i]
                u_ek[stage, last] += surface_area * ew * ds
                # the ledger takes the same linear terms as the equations
                d_t = f_e[last]
                d_w = f_w[last]
                led[0] += edge[0] * d_t
                ev = edge[2] * d_t + edge[3] * d_w + edge[4] * ds + room[0] * dv
                led[1] += ev
                led[2] += edge[8] * ev
                dr = edge[5] * d_t + edge[6] * d_w + edge[7] * ds
                led[5] += dr
                led[6] += ew * dr
                boiled = 0.0
                if any_boiling:
                    for i in range(n):
                        if boil[i, 2] > 0.0:
                            bb = boil[i, 0] * f_e[i] + boil[i, 1] * f_w[i]
                            led[3] += bb
                            led[4] += boil[i, 2] * bb
                            boiled += bb
                if r.closed:
                    gained = room[2] * (ev - room[0] * dv) + room[3] * dv
                    condensed = room[1] * dv
                    led[8] += ev + boiled - condensed - gained
                    led[9] += condensed
                for q in range(_LEDGER_SIZE):
                    u_lk[stage, q] = _G * h * led[q]

            error = 0.0
            e_s = 0.0
            for j in range(_STAGES):
                e_s += coef_e[j] * v_s[j]
            error = (e_s / tol_s) ** 2
            if r.closed:
                e_v = 0.0
                for j in range(_STAGES):
                    e_v += coef_e[j] * v_v[j]
                per = pascal_per_kilogram(env[0], r)
                # in kelvin of dew point: d(ln p)/dT is near 0.045 per kelvin at 60 °C
                tol_v = tolerance * (_LEAST_SLOPE + _DEW_SLOPE * vapour * per)
                error += (e_v * per / tol_v) ** 2
            worst = 0.0
            for i in range(n):
                e_t = 0.0
                e_w = 0.0
                for j in range(_STAGES):
                    e_t += coef_e[j] * v_t[j, i]
                    e_w += coef_e[j] * v_w[j, i]
                error += (e_t / tolerance) ** 2 + (e_w / tol_w) ** 2
                if any_boiling and boil[i, 2] > 0.0:
                    worst = max(worst, abs(e_t))
            # One volume of many, where boiling passes, drowns in the mean.
            error = max(math.sqrt(error / n), worst / (_WORST_BOILING * tolerance))
            ok = math.isfinite(error) and error <= 1.0
            if ok:
                s_new = s
                vapour_new = vapour
                for j in range(_STAGES):
                    s_new += coef_m[j] * v_s[j]
                    vapour_new += coef_m[j] * v_v[j]
                for i in range(n):
                    e = u_e[i]
                    q0 = u_w[i]
                    g = t[i]
                    for j in range(_STAGES):
                        e += coef_m[j] * u_ek[j, i]
                        q0 += coef_m[j] * u_wk[j, i]
                        g += coef_m[j] * v_t[j, i]
                    e_y[i] = e
                    q_y[i] = q0
                    guess[i] = g
                _primitive(e_y, q_y, s_new, t_max, guess, volume, surface_area, m, new_t, new_w)
                # Error control keeps water above zero to within its
                # tolerance; a step that ends below is not accepted.
                for i in range(n):
                    if not math.isfinite(new_t[i]) or (m.moist and new_w[i] < 0.0):
                        ok = False
                if s_new < -0.1 * tol_s or vapour_new < 0.0:
                    ok = False
                if not ok:
                    error = 8.0
            if not math.isfinite(error):
                error = 100.0
            factor = 0.9 * max(error, 1e-8) ** _ORDER_EXPONENT
            if ok:
                crossed = direction != 0.0 and direction * (new_t[0] - target) > 1e-9
                if crossed and abs(new_t[0] - target) > 1e-6 and attempts < 60:
                    # land on the target: secant through the start of the step
                    f = (target - t[0]) / (new_t[0] - t[0])
                    planned = max(h * f, 1e-6)
                    limit = planned
                    continue
                break
            rejected += 1
            planned = h * min(0.5, max(0.1, factor))
            if planned < 1e-7 or attempts > 100000:
                status = _STATUS_STUCK
                break
        if status == _STATUS_STUCK:
            break
        attempts = 0
        if direction != 0.0 and direction * (new_t[0] - target) >= -1e-9:
            finishing = True
            status = _STATUS_REACHED
        now += h
        # exactly on the corner, so that rounding never skips one
        corner = times[segment + 1] if segment < times.shape[0] - 1 else np.inf
        if limit == h and not finishing and abs(now - corner) < 1e-6 * max(1.0, h):
            now = corner
        s = s_new
        vapour = vapour_new
        for q in range(_LEDGER_SIZE):
            for j in range(_STAGES):
                total[q] += coef_m[j] * u_lk[j, q]
        for i in range(n):
            u_e[i] = e_y[i]
            u_w[i] = q_y[i]
            t[i] = new_t[i]
            w[i] = new_w[i]
            if t[i] > t_max[i]:
                t_max[i] = t[i]
        grown = h * min(5.0, max(0.2, factor))
        # A step cut short by a corner says nothing against the longer one planned.
        h = max(grown, planned) if h < planned else grown
    return (
        o_time[:count].copy(),
        o_t[:count].copy(),
        o_w[:count].copy(),
        o_m[:count].copy(),
        o_dt[:count].copy(),
        o_dw[:count].copy(),
        o_s[:count].copy(),
        o_l[:count].copy(),
        o_v[:count].copy(),
        status,
        rejected,
    )


@compiled
def _grow1(a, capacity):  # type: ignore[no-untyped-def]
    b = np.empty(capacity)
    b[: a.shape[0]] = a
    return b


@compiled
def _grow2(a, capacity):  # type: ignore[no-untyped-def]
    b = np.empty((capacity, a.shape[1]))
    b[: a.shape[0]] = a
    return b


MOST_STEPS = 200_000


def solve(problem: Problem) -> Raw:
    """Integrate one stage.

    Parameters
    ----------
    problem : Problem

    Returns
    -------
    Raw

    Raises
    ------
    SolverError
        If the step size collapses or the number of steps explodes.
    """
    forcing = problem.forcing
    columns = [forcing.air_c, forcing.wall_c, forcing.vapour_pressure, forcing.heat_transfer]
    if problem.chamber.closed:
        assert forcing.fresh_air is not None
        assert forcing.brought is not None
        columns += [forcing.fresh_air, forcing.brought]
    table = np.column_stack(columns)
    start = problem.temperature_c
    target, direction = 0.0, 0.0
    if problem.until_core_c is not None:
        target = problem.until_core_c
        direction = 1.0 if start[0] < target else -1.0
    mesh = problem.mesh
    out = _integrate(
        np.ascontiguousarray(start),
        np.ascontiguousarray(problem.water),
        float(problem.film),
        float(problem.vapour),
        np.ascontiguousarray(problem.highest_c),
        mesh.face_area,
        mesh.spacing,
        mesh.volume,
        mesh.surface_area,
        np.ascontiguousarray(forcing.time_s),
        np.ascontiguousarray(table),
        problem.conditions,
        problem.material,
        problem.chamber,
        float(problem.duration_s),
        target,
        direction,
        float(problem.tolerance),
        _A,
        _C,
        _M,
        _E,
        _ALPHA,
        _GAMMA,
        MOST_STEPS,
    )
    time_s, t, w, highest, dt, dw, film, ledger, vapour, status, rejected = out
    if status == _STATUS_STUCK:
        raise SolverError(
            f"The solution could not be continued after {time_s[-1]:.0f} s of this stage "
            f"(surface {t[-1, -1]:.1f} °C). Please check the surroundings at that time; "
            "a smaller tolerance or fewer cells may help."
        )
    if status == _STATUS_FULL:
        raise SolverError(
            f"More than {MOST_STEPS} steps were needed; thin the surroundings' time series."
        )
    return Raw(
        time_s=time_s,
        temperature_c=t,
        water=w,
        film=film[:, 0],
        highest_c=highest,
        temperature_slope=dt,
        water_slope=dw,
        film_slope=film[:, 1],
        ledger=ledger,
        reached=status == _STATUS_REACHED,
        steps=len(time_s) - 1,
        rejected=int(rejected),
        vapour=vapour if problem.chamber.closed else None,
    )


def warm_up() -> None:
    """Compile everything a cook needs, or load it from the cache.

    Solves a minute of a small moist and a small dry piece, so that no panel
    waits for the compiler later.
    """
    shape = Slab(0.05)
    mesh = make_mesh(shape, 8)
    one = np.array([0.0])
    for material in (meat(), constant_material(0.5, 1000.0, 3500.0)):
        m = material.constants
        pressure = 101325.0
        boiling_c = float(saturation_temperature(pressure))
        start = np.full(8, 20.0)
        conditions = SurfaceConditions(0.9, pressure, boiling_c, 1.0, 0.0, m.film_capacity)
        raw = solve(
            Problem(
                shape=shape,
                mesh=mesh,
                material=m,
                conditions=conditions,
                forcing=Forcing(one, one + 100.0, one + 100.0, one + 2000.0, one + 10.0),
                temperature_c=start,
                water=np.full(8, m.raw_water),
                film=0.0,
                highest_c=start,
                duration_s=60.0,
                until_core_c=None,
                tolerance=0.1,
            )
        )
        times = raw.time_s
        t = history.interpolate(times, raw.temperature_c, raw.temperature_slope, times, 0.2)
        history.interpolate_linear(times, raw.ledger, times)
        env = np.tile(np.array([100.0, 100.0, 2000.0, 10.0]), (len(times), 1))
        history.surface_history(t, raw.water, raw.film, raw.highest_c, env, conditions, m)
        history.step_rates(
            times,
            raw.temperature_c,
            raw.water,
            raw.film,
            raw.highest_c,
            raw.ledger,
            mesh.volume,
            mesh.surface_area,
            m,
        )
