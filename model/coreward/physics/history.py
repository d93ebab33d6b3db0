"""What happened at the surface, row by row of a finished solution. Compiled."""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

from coreward.physics.exchange import mass_coefficient, stefan_mass_flux
from coreward.physics.statement import (
    MaterialConstants,
    SurfaceConditions,
    conductivity,
    enthalpy,
    expulsion,
    mobility,
    moisture_diffusivity,
    surface_exchange,
    swelling_pressure,
    water_enthalpy,
    wrap_temperature,
)
from coreward.physics.water import saturation_pressure

Floats = NDArray[np.float64]

# Columns of `surface_history`, per m² of surface.
COLUMNS = (
    "convection",
    "radiation",
    "evaporation",
    "drip",
    "supply",
    "demand",
    "activity",
    "outer_c",
    "conduction",
)


@njit(cache=True)
def interpolate(time, t, dt, times, bulge):  # type: ignore[no-untyped-def]
    """Cubic Hermite interpolation of rows; exact at the solver's own steps.

    Where the cubic would depart from the straight line by more than `bulge`,
    its slopes are cut so that no value leaves the range of its neighbours
    (Fritsch and Carlson 1980, from memory). A stiff node, such as a thin
    surface volume, follows its surroundings at once: its slope at the end of
    a long step says nothing about the step between.
    """
    n = times.shape[0]
    cells = t.shape[1]
    out = np.empty((n, cells))
    k = 0
    for r in range(n):
        x = times[r]
        while k < time.shape[0] - 2 and x > time[k + 1]:
            k += 1
        if time.shape[0] == 1:
            out[r] = t[0]
            continue
        h = time[k + 1] - time[k]
        u = min(max((x - time[k]) / h, 0.0), 1.0)
        a = (1.0 + 2.0 * u) * (1.0 - u) * (1.0 - u)
        b = u * (1.0 - u) * (1.0 - u) * h
        c = u * u * (u - 1.0) * h
        for i in range(cells):
            d0 = dt[k, i]
            d1 = dt[k + 1, i]
            if 0.125 * h * abs(d0 - d1) > bulge:
                secant = (t[k + 1, i] - t[k, i]) / h
                if secant * d0 <= 0.0:
                    d0 = 0.0
                elif abs(d0) > 3.0 * abs(secant):
                    d0 = 3.0 * secant
                if secant * d1 <= 0.0:
                    d1 = 0.0
                elif abs(d1) > 3.0 * abs(secant):
                    d1 = 3.0 * secant
            out[r, i] = a * t[k, i] + (1.0 - a) * t[k + 1, i] + b * d0 + c * d1
    return out


@njit(cache=True)
def interpolate_linear(time, values, times):  # type: ignore[no-untyped-def]
    """Linear interpolation of rows of a table."""
    n = times.shape[0]
    columns = values.shape[1]
    out = np.empty((n, columns))
    for q in range(columns):
        out[:, q] = np.interp(times, time, values[:, q])
    return out


@njit(cache=True)
def surface_history(  # type: ignore[no-untyped-def]
    t,
    w,
    film,
    highest,
    env,
    spacing,
    area,
    volume,
    surface_area,
    c: SurfaceConditions,
    m: MaterialConstants,
):
    """Surface fluxes of each row, per m²; see `COLUMNS`.

    `supply` is all water that arrives at the surface, and `demand` what the
    air would take from a surface that is wet all over at that temperature.
    """
    n = t.shape[0]
    last = t.shape[1] - 1
    out = np.zeros((n, 9))
    for r in range(n):
        air, wall, pv, h = env[r, 0], env[r, 1], env[r, 2], env[r, 3]
        x = surface_exchange(
            t[r, last], w[r, last], film[r], highest[r, last], air, wall, pv, h, c, m
        )
        out[r, 0] = x.convection
        out[r, 1] = x.radiation
        out[r, 2] = x.film_evaporation + x.solid_evaporation + x.film_boiling
        out[r, 3] = x.drip
        out[r, 6] = x.water_activity
        out[r, 7] = wrap_temperature(t[r, last], air, wall, h, c)
        k = 0.5 * (
            conductivity(t[r, last], w[r, last], highest[r, last], m)
            + conductivity(t[r, last - 1], w[r, last - 1], highest[r, last - 1], m)
        )
        out[r, 8] = (
            area[last - 1]
            / surface_area
            * k
            * (t[r, last] - t[r, last - 1])
            / spacing[last - 1]
        )
        if m.moist:
            supply = 0.0
            for i in range(last + 1):
                supply += volume[i] * expulsion(w[r, i], max(t[r, i], highest[r, i]), m)
            tf = 0.5 * (t[r, last] + t[r, last - 1])
            flux = moisture_diffusivity(tf, m) * (w[r, last - 1] - w[r, last])
            if m.permeability > 0.0:
                push = swelling_pressure(
                    t[r, last - 1], w[r, last - 1], highest[r, last - 1], m
                ) - swelling_pressure(t[r, last], w[r, last], highest[r, last], m)
                carried = w[r, last - 1] if push > 0.0 else w[r, last]
                flux += max(carried, 0.0) * mobility(tf, m) * push
            out[r, 3] += (1.0 - m.surface_share) * supply / surface_area
            out[r, 4] = (
                supply / surface_area + area[last - 1] / surface_area * flux / spacing[last - 1]
            )
            factor = c.vapour_factor if c.vapour_factor > 0.0 else 1.0
            film_c = 0.5 * (air + t[r, last])
            k_m = factor * mass_coefficient(h, film_c, pv, c.pressure, m.lewis_power)
            out[r, 5] = stefan_mass_flux(
                k_m, film_c, saturation_pressure(t[r, last]), pv, c.pressure
            )
    return out


@njit(cache=True)
def stored(t, w, film, highest, volume, surface_area, m):  # type: ignore[no-untyped-def]
    """Energy and water in the piece, per unit of the mesh. [J, kg]."""
    energy = 0.0
    water = 0.0
    last = t.shape[0] - 1
    for i in range(t.shape[0]):
        energy += volume[i] * enthalpy(t[i], w[i], highest[i], m)
        water += volume[i] * w[i]
    if m.moist:
        energy += surface_area * film * water_enthalpy(t[last], m)
        water += surface_area * film
    return energy, water
