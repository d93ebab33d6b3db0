"""What happened at the surface, row by row of a finished solution. Compiled."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from coreward.physics.compiled import compiled
from coreward.physics.exchange import mass_coefficient, stefan_mass_flux
from coreward.physics.statement import (
    MaterialConstants,
    SurfaceConditions,
    enthalpy,
    surface_exchange,
    water_enthalpy,
    wrap_temperature,
)
from coreward.physics.water import saturation_pressure

Floats = NDArray[np.float64]

# Columns of `surface_history`.
COLUMNS = ("convection", "radiation", "demand", "activity", "outer_c")
# Columns of `step_rates`, per m² of surface.
RATES = ("evaporation", "evaporation_heat", "drip", "supply", "conduction")


@compiled
def interpolate(time, t, dt, times, bulge):  # type: ignore[no-untyped-def]
    """Cubic Hermite interpolation of rows; exact at the solver's own steps.

    Where the end slopes do not fit the chord to within a quarter of `bulge`,
    or would arch the curve by five times that, they are cut so that no value
    leaves the range of its neighbours (Fritsch and Carlson 1980, from
    memory). A stiff node, such as a thin surface volume, follows its
    surroundings at once: its slope at the end of a long step says nothing
    about the step between.
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
            secant = (t[k + 1, i] - t[k, i]) / h
            # A smooth curve obeys the trapezoidal rule: its chord is the mean of
            # its end slopes. The slopes of a stiff node do not.
            uneven = 0.25 * h * abs(0.5 * (d0 + d1) - secant)
            arch = 0.125 * h * abs(d1 - d0)
            if uneven > 0.25 * bulge or arch > 5.0 * bulge:
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


@compiled
def interpolate_linear(time, values, times):  # type: ignore[no-untyped-def]
    """Linear interpolation of rows of a table; both times increase."""
    n = times.shape[0]
    columns = values.shape[1]
    out = np.empty((n, columns))
    k = 0
    for r in range(n):
        x = times[r]
        while k < time.shape[0] - 2 and x > time[k + 1]:
            k += 1
        if time.shape[0] == 1:
            out[r] = values[0]
            continue
        u = min(max((x - time[k]) / (time[k + 1] - time[k]), 0.0), 1.0)
        for q in range(columns):
            out[r, q] = values[k, q] + u * (values[k + 1, q] - values[k, q])
    return out


@compiled
def surface_history(  # type: ignore[no-untyped-def]
    t, w, film, highest, env, c: SurfaceConditions, m: MaterialConstants
):
    """Return what the surroundings do to the surface in each row; see `COLUMNS`.

    `demand` is what the air would take from a surface that is wet all over
    at that temperature.
    """
    n = t.shape[0]
    last = t.shape[1] - 1
    out = np.zeros((n, 5))
    for r in range(n):
        air, wall, pv, h = env[r, 0], env[r, 1], env[r, 2], env[r, 3]
        x = surface_exchange(
            t[r, last], w[r, last], film[r], highest[r, last], air, wall, pv, h, c, m
        )
        out[r, 0] = x.convection
        out[r, 1] = x.radiation
        out[r, 3] = x.water_activity
        out[r, 4] = wrap_temperature(t[r, last], air, wall, h, c)
        if m.moist:
            factor = c.vapour_factor if c.vapour_factor > 0.0 else 1.0
            film_c = 0.5 * (air + t[r, last])
            k_m = factor * mass_coefficient(h, film_c, pv, c.pressure, m.lewis_power)
            out[r, 2] = stefan_mass_flux(
                k_m, film_c, saturation_pressure(t[r, last]), pv, c.pressure
            )
    return out


@compiled
def step_rates(  # type: ignore[no-untyped-def]
    time, t, w, film, highest, ledger, volume, surface_area, m: MaterialConstants
):
    """Return the mean flux of each of the solver's steps, per m²; see `RATES`.

    Taken from what was gained and lost over a step, which is conserved, and
    not from the state at its end: the surface volume and the film are stiff,
    and an error of a hundredth of a kelvin there is a hundred watts per m².

    `supply` is water that leaves the meat for its surface; `conduction` is
    heat that goes on into the meat; `evaporation_heat` is latent heat.
    """
    n = time.shape[0]
    out = np.zeros((max(n - 1, 0), 5))
    if n < 2:
        return out
    energy, water = stored(t[0], w[0], film[0], highest[0], volume, surface_area, m)
    for k in range(n - 1):
        energy_1, water_1 = stored(
            t[k + 1], w[k + 1], film[k + 1], highest[k + 1], volume, surface_area, m
        )
        per = 1.0 / (surface_area * (time[k + 1] - time[k]))
        gone = ledger[k + 1] - ledger[k]
        vapour = gone[1] + gone[3]
        dripped = gone[5]
        held = 0.0
        if m.moist:
            last = t.shape[1] - 1
            held = water_enthalpy(0.5 * (t[k, last] + t[k + 1, last]), m)
        out[k, 0] = vapour * per
        out[k, 1] = (gone[2] + gone[4] - held * vapour) * per
        out[k, 2] = dripped * per
        out[k, 3] = (water - water_1 + surface_area * (film[k + 1] - film[k])) * per
        out[k, 4] = (energy_1 - energy + held * (vapour + dripped)) * per
        energy, water = energy_1, water_1
    return out


@compiled
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
