r"""A fire in a pit: what burns, what the openings let through, where heat and water go.

One well-mixed gas at ambient pressure (inert, oxygen, carbon dioxide, vapour), a body and a
lid of two layers each, a store of fuel and a pan. With flows `q` of named kinds [kg/s, W],

.. math::
   \dot y = S q(y, t), \qquad \dot L = q,

the states `y` are what is conserved (enthalpy, masses of species and elements) and the ledger
`L` is integrated with them by the Rosenbrock-W method of the fast engine, whose steps keep
linear sums: what the stores gain is what the ledger says came and went, to rounding.

*Draught.* :math:`\Delta p = g H (\rho_0 - \rho) + c_w \rho_0 v^2 / 2` over inlet and outlet
in series, :math:`\dot m^2 = 2 \Delta p / (1/(\rho_0 C^2 A_i^2) + 1/(\rho C^2 A_o^2))`; gaps
count half to either. An open lid exchanges :math:`C/3 \, A \sqrt{g' h}` [1]_. The outflow
follows from the volume that does not change.

*Burning.* Past the fuel flow what the vents let in and what turns over in the pit; lit fuel
takes up oxygen `K` in proportion to the share `Y` that is left there,
:math:`Y (\dot m + \dot m_r + K) = \dot m + \dot m_r Y_{gas}`: air limits a fire whose lit part
is large, and fuel one that is lit throughout. The lit part grows where more is left than by a
settled fire, :math:`1 - 1/\lambda`, and shrinks where less; starved, it goes out.
Moisture leaves with what burns. Combustion is complete: no carbon monoxide, no smoke.

*Energies* count from liquid water, fuel and gases at 0 °C, so a fuel's store is its upper heat.

References
----------
.. [1] The exchange through one large opening, orifice coefficient 0.6; from memory.
"""

from __future__ import annotations

import math
from typing import Any, Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from coreward.errors import SolverError
from coreward.physics.compiled import compiled
from coreward.physics.engines.fast import _A, _ALPHA, _C, _E, _G, _GAMMA, _M
from coreward.physics.exchange import (
    DRY_AIR_GAS_CONSTANT,
    STANDARD_GRAVITY,
    mass_coefficient,
    stefan_mass_flux,
)
from coreward.physics.exchange import STEFAN_BOLTZMANN as _SIGMA
from coreward.physics.water import VAPOUR_GAS_CONSTANT, latent_heat, saturation_pressure

Floats = NDArray[np.float64]

_KELVIN = 273.15
# Standard atomic weights, g/mol.
_MC, _MH, _MO = 12.011, 1.008, 15.999
OXYGEN_PER_CARBON = 2.0 * _MO / _MC
OXYGEN_PER_HYDROGEN = 0.5 * _MO / _MH
WATER_PER_HYDROGEN = 1.0 + OXYGEN_PER_HYDROGEN
OXYGEN_OF_AIR = 0.2314
"""Mass of oxygen in dry air; its 0.06 % of carbon dioxide counts as inert. [kg/kg]"""
_R = 8.314462618e3
_R_O2, _R_CO2 = _R / (2.0 * _MO), _R / (_MC + 2.0 * _MO)
_R_INERT = (DRY_AIR_GAS_CONSTANT - OXYGEN_OF_AIR * _R_O2) / (1.0 - OXYGEN_OF_AIR)
LATENT_0 = float(latent_heat(0.01))
WATER_CP = 4200.0
# Heat capacity at constant pressure against °C/1000, J/(kg K), of inert (nitrogen with
# argon), oxygen, carbon dioxide, vapour: fitted here to the ideal-gas heat capacities of
# CoolProp's equations, -40 to 1727 °C, within 2 %.
_CP = np.array(
    [
        [1022.11, 121.11, 124.24, -66.23],
        [907.08, 352.33, -167.91, 31.59],
        [824.57, 941.48, -623.62, 153.20],
        [1842.09, 452.80, 330.96, -151.68],
    ]
)
# Oxygen decides so steeply how a lit part grows; and a fire leaves none below this share of
# air's, in so long. Assumed here: a settled fire follows its vents within about an hour.
_SPREAD_POWER = 3.0
_DYING_SHARE = 0.25
_DYING_S = 900.0
# The gas of a pit passes its fuel once in so long. Assumed here.
_TURN_OVER_S = 240.0
# Openings let through a little where nothing drives them. [Pa]
_CALM_PA = 0.02
_DISCHARGE = 0.6
# Wind on one side and calm on the other drive so much of their dynamic pressure.
_WIND_SHARE = 0.3
# The last of a store burns, and the last of a pan dries, ever slower. [kg]
_LAST_FUEL, _LAST_WATER = 0.005, 0.03
_PULL_BACK_S = 10.0
_EXCHANGE_VIEW = 0.5  # of what meat and pan see while the lid is open, the sky

STATES: Final = (
    "enthalpy", "inert", "oxygen", "carbon_dioxide", "vapour",
    "carbon", "hydrogen", "bound_oxygen", "chemical", "moisture", "lit",
    "body_in", "body_out", "lid_in", "lid_out", "pan_water", "pan_heat",
)  # fmt: skip
FLOWS: Final = (
    "fresh", "out", "heat_in", "heat_out", "vapour_in", "vapour_out", "oxygen_in",
    "oxygen_out", "carbon_dioxide_out", "inert_in", "inert_out",
    "carbon", "hydrogen", "bound_oxygen", "chemical", "moisture", "radiant",
    "gas_body", "gas_lid", "through_body", "through_lid", "body_loss", "lid_loss",
    "lid_inside_loss", "rain", "body_lid", "gas_meat", "wall_meat", "sky_meat",
    "meat_vapour", "meat_vapour_heat", "gas_pan", "wall_pan", "pan_vapour", "pan_vapour_heat",
    "condensed", "condensed_heat", "electric", "lit",
)  # fmt: skip
S: Final = {name: i for i, name in enumerate(STATES)}
Q: Final = {name: i for i, name in enumerate(FLOWS)}
_NS, _NQ = len(STATES), len(FLOWS)


class PitConstants(NamedTuple):
    """A pit and its fire, SI: areas m², masses kg, stores J/K, conductances W/K.

    `feeds` is true where a thermostat feeds the fire; `electric` where nothing burns.
    `oxygen_left` is what a settled fire leaves of the oxygen in the gas, of air's. [-]
    """

    pressure: float
    volume: float
    height: float
    inlet: float
    outlet: float
    leak: float
    lid_opening: float
    lid_opening_height: float
    body_area: float
    lid_area: float
    body_in_store: float
    body_out_store: float
    body_through: float
    lid_in_store: float
    lid_out_store: float
    lid_through: float
    inside_transfer: float
    inner_emissivity: float
    outer_emissivity: float
    still_transfer: float
    wind_transfer: float
    radiant: float
    oxygen_left: float
    burning_rate: float
    wettest: float
    feeds: bool
    electric: bool
    most_power: float
    least_power: float
    band: float
    fan_air: float
    pan_area: float
    lewis_power: float


class Around(NamedTuple):
    """What surrounds the fire between two events; vents and lid as open shares.

    `rain` in kg/(m² s), `sky_below` in K below the air, `set_c` of a thermostat.
    """

    inlet: float
    outlet: float
    lid: float
    wind: float
    outside_c: float
    outside_ratio: float
    sky_below: float
    rain: float
    set_c: float


@compiled
def gas_enthalpy(kind: int, celsius: float) -> float:
    """Of a gas, counted from 0 °C (vapour: from liquid water). [J/kg]."""
    x = celsius * 1e-3
    c = _CP[kind]
    h: float = celsius * (c[0] + x * (c[1] / 2.0 + x * (c[2] / 3.0 + x * c[3] / 4.0)))
    if kind == 3:
        h += LATENT_0
    return h


@compiled
def _capacity(kind: int, celsius: float) -> float:
    x = celsius * 1e-3
    c = _CP[kind]
    found: float = c[0] + x * (c[1] + x * (c[2] + x * c[3]))
    return found


@compiled
def gas_temperature(enthalpy: float, m0: float, m1: float, m2: float, m3: float) -> float:
    """Temperature of a mixture of inert, oxygen, carbon dioxide and vapour. [°C]."""
    t = 100.0
    for _ in range(40):
        h = (
            m0 * gas_enthalpy(0, t)
            + m1 * gas_enthalpy(1, t)
            + m2 * gas_enthalpy(2, t)
            + m3 * gas_enthalpy(3, t)
        )
        slope = (
            m0 * _capacity(0, t)
            + m1 * _capacity(1, t)
            + m2 * _capacity(2, t)
            + m3 * _capacity(3, t)
        )
        step = (enthalpy - h) / slope
        t = min(max(t + step, -150.0), 2500.0)
        if abs(step) < 1e-9:
            break
    return t


@compiled
def _fourth(celsius: float) -> float:
    k = celsius + _KELVIN
    return _SIGMA * k * k * k * k


@compiled
def _flows(y, a, ts, meat_vapour, meat_conductance, meat_area, p, q):  # type: ignore[no-untyped-def]
    """Fill `q` with all flows; returns gas temperature and effective wall for the meat."""
    inert, o2, co2, vap = y[1], y[2], y[3], y[4]
    mass = inert + o2 + co2 + vap
    t = gas_temperature(y[0], inert, o2, co2, vap)
    k = t + _KELVIN
    share = max(o2, 0.0) / mass / OXYGEN_OF_AIR
    b1, b2 = y[11] / p.body_in_store, y[12] / p.body_out_store
    l1, l2 = y[13] / p.lid_in_store, y[14] / p.lid_out_store
    t0 = a.outside_c
    # --- draught
    rho0 = p.pressure / (DRY_AIR_GAS_CONSTANT * (t0 + _KELVIN))
    rho = mass / p.volume
    push = STANDARD_GRAVITY * p.height * (rho0 - rho)
    push += 0.5 * _WIND_SHARE * rho0 * a.wind * a.wind
    push = math.sqrt(push * push + _CALM_PA * _CALM_PA)
    a_in = _DISCHARGE * (p.inlet * a.inlet + 0.5 * p.leak)
    a_out = _DISCHARGE * (p.outlet * a.outlet + 0.5 * p.leak)
    resist = 1.0 / (rho0 * a_in * a_in) + 1.0 / (rho * a_out * a_out)
    fresh = math.sqrt(2.0 * push / resist)
    # --- the fire
    fuel = y[5] + y[6] + y[7]
    fuel_kg = max(fuel, 1e-9)
    # What is nearly zero must not come back with its sign changed.
    phi = 0.0
    left_share = share
    need = (
        max(OXYGEN_PER_CARBON * y[5] + OXYGEN_PER_HYDROGEN * y[6] - y[7], 1e-12 * fuel_kg)
        / fuel_kg
    )
    power = 0.0
    if p.feeds or p.electric:
        call = min(max(0.5 + (a.set_c - t) / p.band, 0.0), 1.0)
        if a.set_c < -50.0:
            power = 0.0
        else:
            power = p.least_power + (p.most_power - p.least_power) * call
    q[37] = 0.0
    if p.electric:
        q[37] = power
    elif fuel > 0.0:
        left = fuel / (fuel + _LAST_FUEL)
        if p.feeds:
            net = (y[8] - LATENT_0 * (WATER_PER_HYDROGEN * y[6] + y[9])) / fuel_kg
            phi = power / max(net, 1e6) / fuel_kg * left * share / (share + 0.02)
        else:
            lit = min(max(y[10], 0.0), fuel_kg)
            turned = mass / _TURN_OVER_S
            takes = p.burning_rate * lit * left
            left_share = (fresh + turned * share) / (fresh + turned + takes / OXYGEN_OF_AIR)
            phi = takes * left_share / (need * fuel_kg)
    for i in range(5):
        q[11 + i] = phi * y[5 + i]
    burnt = phi * fuel_kg
    wet = max(1.0 - y[9] / fuel_kg / p.wettest, 0.0)
    lit_share = min(max(y[10], 0.0) / fuel_kg, 1.0)
    gain = (left_share / p.oxygen_left) ** _SPREAD_POWER * wet * (1.0 - lit_share)
    dying = max(1.0 - left_share / (_DYING_SHARE * p.oxygen_left), 0.0)
    q[38] = burnt * (min(gain, 4.0) - 1.0) - max(y[10], 0.0) * dying * dying / _DYING_S
    if p.feeds or p.electric:
        q[38] = 0.0
    released = q[14] - LATENT_0 * (WATER_PER_HYDROGEN * q[12] + q[15]) + q[37]
    q[16] = p.radiant * max(released, 0.0)
    # --- walls
    side = p.body_area / (p.body_area + p.lid_area)
    closed = 1.0 - a.lid
    q[17] = p.inside_transfer * p.body_area * (t - b1)
    q[18] = p.inside_transfer * p.lid_area * closed * (t - l1)
    q[19] = p.body_through * (b1 - b2)
    q[20] = p.lid_through * (l1 - l2)
    sky = 0.5 * (_fourth(t0) + _fourth(t0 - a.sky_below))
    h_out = p.still_transfer + p.wind_transfer * a.wind
    q[21] = p.body_area * (h_out * (b2 - t0) + p.outer_emissivity * (_fourth(b2) - sky))
    q[22] = p.lid_area * (h_out * (l2 - t0) + p.outer_emissivity * (_fourth(l2) - sky))
    q[21] += a.lid * p.lid_opening * p.inner_emissivity * (_fourth(b1) - sky)
    q[23] = a.lid * p.lid_area * (h_out * (l1 - t0) + p.inner_emissivity * (_fourth(l1) - sky))
    dry_off = min(max((l2 - t0) / 60.0, 0.0), 1.0)
    q[24] = (
        a.rain
        * p.lid_area
        * (WATER_CP * (l2 - t0) + dry_off * LATENT_0 if l2 > t0 else WATER_CP * (l2 - t0))
    )
    q[25] = (
        closed * p.inner_emissivity * min(p.lid_area, p.body_area) * (_fourth(b1) - _fourth(l1))
    )
    # --- meat and pan
    wall4 = side * _fourth(b1) + (1.0 - side) * _fourth(l1)
    seen = _EXCHANGE_VIEW * a.lid
    s4 = _fourth(ts)
    q[26] = meat_conductance * (t - ts)
    q[27] = meat_area * (1.0 - seen) * (wall4 - s4)
    q[28] = meat_area * seen * (_fourth(t0) - s4)
    q[29] = meat_vapour
    q[30] = meat_vapour * gas_enthalpy(3, ts)
    p_v = vap * VAPOUR_GAS_CONSTANT * k / p.volume
    p_v = min(max(p_v, 1.0), 0.98 * p.pressure)
    water = max(y[15], 0.0)
    area = p.pan_area * water / (water + _LAST_WATER)
    tp = min(max(y[16] / (WATER_CP * max(y[15], 1e-6)), 0.0), 101.0) if y[15] > 0.0 else 0.0
    q[31] = p.inside_transfer * area * (t - tp)
    q[32] = 0.9 * area * (1.0 - seen) * (wall4 - _fourth(tp))
    film = 0.5 * (t + tp)
    k_m = mass_coefficient(p.inside_transfer, film, p_v, p.pressure, p.lewis_power)
    q[33] = area * max(
        stefan_mass_flux(k_m, film, saturation_pressure(tp), p_v, p.pressure), 0.0
    )
    q[34] = q[33] * gas_enthalpy(3, tp)
    # --- condensation runs off at the temperature of the wall
    q[35] = q[36] = 0.0
    for wall, wall_area, cold in ((0, p.body_area, b1), (1, p.lid_area * closed, l1)):
        over = p_v - saturation_pressure(cold)
        if over > 0.0:
            k_m = mass_coefficient(
                p.inside_transfer, 0.5 * (t + cold), p_v, p.pressure, p.lewis_power
            )
            flow = wall_area * k_m * over / (VAPOUR_GAS_CONSTANT * k)
            if wall == 0:
                q[35] = flow
            else:
                q[36] = flow
    # --- all that is let in
    fresh += p.fan_air * need * burnt / OXYGEN_OF_AIR
    lift = abs(rho0 - rho) + 0.01
    fresh += (
        a.lid
        * p.lid_opening
        * (
            _DISCHARGE / 3.0 * math.sqrt(STANDARD_GRAVITY * p.lid_opening_height * lift * rho0)
            + 0.05 * a.wind * rho0
        )
    )
    y0 = a.outside_ratio
    h_fresh = (
        (1.0 - OXYGEN_OF_AIR) * gas_enthalpy(0, t0)
        + OXYGEN_OF_AIR * gas_enthalpy(1, t0)
        + y0 * gas_enthalpy(3, t0)
    )
    # --- what leaves, by the volume that does not change
    cp = (
        inert * _capacity(0, t) + o2 * _capacity(1, t) + co2 * _capacity(2, t)
        + vap * _capacity(3, t)
    )  # fmt: skip
    gas_r = inert * _R_INERT + o2 * _R_O2 + co2 * _R_CO2 + vap * VAPOUR_GAS_CONSTANT
    use = need * burnt
    made = (1.0 + OXYGEN_PER_CARBON) * q[11]
    steam = WATER_PER_HYDROGEN * q[12] + q[15] + q[29] + q[33] - q[35] - q[36]
    heat = q[14] + q[37] - q[16] - q[17] - q[18] - q[26] + q[30] - q[31] + q[34]
    heat -= (q[35] + q[36]) * gas_enthalpy(3, t)

    warm = (
        heat + use * gas_enthalpy(1, t) - made * gas_enthalpy(2, t) - steam * gas_enthalpy(3, t)
    )
    swell = -use * _R_O2 + made * _R_CO2 + steam * VAPOUR_GAS_CONSTANT
    r0 = (1.0 - OXYGEN_OF_AIR) * _R_INERT + OXYGEN_OF_AIR * _R_O2 + y0 * VAPOUR_GAS_CONSTANT
    h_mixed = (
        (1.0 - OXYGEN_OF_AIR) * gas_enthalpy(0, t)
        + OXYGEN_OF_AIR * gas_enthalpy(1, t)
        + y0 * gas_enthalpy(3, t)
    )
    per = mass / gas_r  # kg pushed out per kg K of gas constant brought in
    pushed = per * swell + warm / cp * mass / k
    pushed += (gas_r * k / (p.pressure * p.volume) - 1.0) * mass / _PULL_BACK_S
    each = per * r0 + (h_fresh - h_mixed) / cp * mass / k
    out = pushed + fresh * each
    if out < 0.0:
        fresh -= out / each
        out = 0.0
    q[0], q[1] = fresh, out
    q[2], q[3] = fresh * h_fresh, out * y[0] / mass
    q[4], q[5] = fresh * y0, out * vap / mass
    q[6], q[7] = fresh * OXYGEN_OF_AIR, out * o2 / mass
    q[8] = out * co2 / mass
    q[9], q[10] = fresh * (1.0 - OXYGEN_OF_AIR), out * inert / mass
    seen4 = (1.0 - seen) * wall4 + seen * _fourth(t0)
    return t, (seen4 / _SIGMA) ** 0.25 - _KELVIN


@compiled
def _gains(q, y, a, p, dy):  # type: ignore[no-untyped-def]
    """Rates of the states from the flows: every flow leaves one store and enters another."""
    use = OXYGEN_PER_CARBON * q[11] + OXYGEN_PER_HYDROGEN * q[12] - q[13]
    t = gas_temperature(y[0], y[1], y[2], y[3], y[4])
    h_v = gas_enthalpy(3, t)
    wet_body, wet_lid = q[35], q[36]
    dy[0] = (
        q[2] - q[3] + q[14] + q[37] - q[16] - q[17] - q[18] - q[26] + q[30] - q[31] + q[34]
        - (wet_body + wet_lid) * h_v
    )  # fmt: skip
    dy[1] = q[9] - q[10]
    dy[2] = q[6] - q[7] - use
    dy[3] = (1.0 + OXYGEN_PER_CARBON) * q[11] - q[8]
    dy[4] = (
        q[4] - q[5] + WATER_PER_HYDROGEN * q[12] + q[15] + q[29] + q[33] - wet_body - wet_lid
    )
    for i in range(5):
        dy[5 + i] = -q[11 + i]
    dy[10] = q[38]
    side = p.body_area / (p.body_area + p.lid_area)
    b1, l1 = y[11] / p.body_in_store, y[13] / p.lid_in_store
    to_others = q[27] + q[32]
    dy[11] = (
        q[17] + side * q[16] - q[19] - q[25] - side * to_others
        + wet_body * (h_v - WATER_CP * b1)
    )  # fmt: skip
    dy[13] = (
        q[18] + (1.0 - side) * q[16] - q[20] - q[23] + q[25] - (1.0 - side) * to_others
        + wet_lid * (h_v - WATER_CP * l1)
    )  # fmt: skip
    # What shines out through an open lid is booked with the outer losses of the body.
    sky = 0.5 * (_fourth(a.outside_c) + _fourth(a.outside_c - a.sky_below))
    shone = a.lid * p.lid_opening * p.inner_emissivity * (_fourth(b1) - sky)
    dy[11] -= shone
    dy[12] = q[19] - (q[21] - shone)
    dy[14] = q[20] - q[22] - q[24]
    dy[15] = -q[33]
    dy[16] = q[31] + q[32] - q[34]
    # As a ledger both walls' condensate is one, and its heat is what runs off with it.
    q[35] = wet_body + wet_lid
    q[36] = WATER_CP * (wet_body * b1 + wet_lid * l1)


@compiled
def _rates(y, t, a, knots, surface_c, vapour, meat_conductance, meat_area, p, q, dy):  # type: ignore[no-untyped-def]
    ts = np.interp(t, knots, surface_c)
    given = np.interp(t, knots, vapour)
    found = _flows(y, a, ts, given, meat_conductance, meat_area, p, q)
    _gains(q, y, a, p, dy)
    return found


@compiled
def _factor(m, pivots):  # type: ignore[no-untyped-def]
    n = m.shape[0]
    for k in range(n):
        best = k
        for i in range(k + 1, n):
            if abs(m[i, k]) > abs(m[best, k]):
                best = i
        pivots[k] = best
        if best != k:
            for j in range(n):
                m[k, j], m[best, j] = m[best, j], m[k, j]
        for i in range(k + 1, n):
            m[i, k] /= m[k, k]
            f = m[i, k]
            if f != 0.0:
                for j in range(k + 1, n):
                    m[i, j] -= f * m[k, j]


@compiled
def _solve(m, pivots, x):  # type: ignore[no-untyped-def]
    n = m.shape[0]
    for k in range(n):
        best = pivots[k]
        x[k], x[best] = x[best], x[k]
    for i in range(n):
        for j in range(i):
            x[i] -= m[i, j] * x[j]
    for i in range(n - 1, -1, -1):
        for j in range(i + 1, n):
            x[i] -= m[i, j] * x[j]
        x[i] /= m[i, i]


@compiled
def _march(  # type: ignore[no-untyped-def]
    y, book, begin, end, first, longest, scale, a, knots, surface_c, vapour, conductance,
    area, p, times, states, books,
):  # fmt: skip
    """March from `begin` to `end`; returns rows written (negative where it is stuck), step."""
    n, nq = _NS, _NQ
    q, q0, dy, f0 = np.zeros(nq), np.zeros(nq), np.zeros(n), np.zeros(n)
    q1, f1 = np.zeros(nq), np.zeros(n)
    jac, jac_q = np.zeros((n, n)), np.zeros((nq, n))
    late, late_q = np.zeros(n), np.zeros(nq)
    m = np.zeros((n, n))
    pivots = np.zeros(n, dtype=np.int64)
    u, uq = np.zeros((4, n)), np.zeros((4, nq))
    trial, right, right_q = np.zeros(n), np.zeros(n), np.zeros(nq)
    t, h, row = begin, min(first, end - begin), 0
    fresh = True
    most = times.shape[0]
    while t < end - 1e-9:
        if row >= most:
            return row, -1.0
        h = min(h, longest, end - t)
        if end - t - h < 0.01 * h:
            h = end - t
        if h < 1e-8:
            return -row - 1, h
        if fresh:
            _rates(y, t, a, knots, surface_c, vapour, conductance, area, p, q0, f0)
            for j in range(n):
                step = 1e-3 * scale[j]
                if y[j] < 0.0:
                    step = -step
                for i in range(n):
                    trial[i] = y[i]
                trial[j] = y[j] + step
                _rates(trial, t, a, knots, surface_c, vapour, conductance, area, p, q1, f1)
                for i in range(n):
                    jac[i, j] = (f1[i] - f0[i]) / step
                for i in range(nq):
                    jac_q[i, j] = (q1[i] - q0[i]) / step
            shift = min(1.0, 0.5 * h)
            _rates(y, t + shift, a, knots, surface_c, vapour, conductance, area, p, q1, f1)
            for i in range(n):
                late[i] = (f1[i] - f0[i]) / shift
            for i in range(nq):
                late_q[i] = (q1[i] - q0[i]) / shift
            fresh = False
        for i in range(n):
            for j in range(n):
                m[i, j] = -jac[i, j]
            m[i, i] += 1.0 / (_G * h)
        _factor(m, pivots)
        good = True
        for s in range(4):
            for i in range(n):
                trial[i] = y[i]
                for k in range(s):
                    trial[i] += _A[s, k] * u[k, i]
            _rates(
                trial, t + _ALPHA[s] * h, a, knots, surface_c, vapour, conductance, area, p,
                q, dy,
            )  # fmt: skip
            for i in range(n):
                right[i] = dy[i] + _GAMMA[s] * h * late[i]
                for k in range(s):
                    right[i] += _C[s, k] / h * u[k, i]
            for i in range(nq):
                right_q[i] = q[i] + _GAMMA[s] * h * late_q[i]
                for k in range(s):
                    right_q[i] += _C[s, k] / h * uq[k, i]
            _solve(m, pivots, right)
            for i in range(n):
                u[s, i] = right[i]
                if not math.isfinite(right[i]):
                    good = False
            for i in range(nq):
                gained = right_q[i]
                for j in range(n):
                    gained += jac_q[i, j] * u[s, j]
                uq[s, i] = _G * h * gained
        worst = 0.0
        for i in range(n):
            miss, moved = 0.0, 0.0
            for s in range(4):
                miss += _E[s] * u[s, i]
                moved += _M[s] * u[s, i]
            trial[i] = y[i] + moved
            worst = max(worst, abs(miss) / scale[i])
        gas = trial[1] + trial[2] + trial[3] + trial[4]
        if not (gas > 0.0 and trial[1] > 0.0 and trial[4] > -scale[4]):
            good = False
        if not good or not math.isfinite(worst):
            h *= 0.2
            continue
        factor = 0.9 * max(worst, 1e-8) ** (-1.0 / 3.0)
        if worst > 1.0:
            h *= min(max(factor, 0.1), 0.9)
            continue
        for i in range(n):
            y[i] = trial[i]
        for i in range(nq):
            for s in range(4):
                book[i] += _M[s] * uq[s, i]
        t += h
        times[row] = t
        for i in range(n):
            states[row, i] = y[i]
        for i in range(nq):
            books[row, i] = book[i]
        row += 1
        h *= min(max(factor, 0.2), 4.0)
        fresh = True
    return row, h


@compiled
def _look(times, states, a, knots, surface_c, vapour, conductance, area, p, seen):  # type: ignore[no-untyped-def]
    """Air, wall that the meat sees, and flows at each row, for pictures and chambers."""
    q, dy = np.zeros(_NQ), np.zeros(_NS)
    for row in range(times.shape[0]):
        t, wall = _rates(
            states[row], times[row], a, knots, surface_c, vapour, conductance, area, p, q, dy
        )
        seen[row, 0], seen[row, 1] = t, wall
        for i in range(_NQ):
            seen[row, 2 + i] = q[i]


class Meat(NamedTuple):
    """What the fire sees of the meat: surface [°C] and vapour [kg/s] over time [s].

    `conductance` is convective [W/K]; `area` the surface times its emissivity. [m²]
    """

    time_s: Floats
    surface_c: Floats
    vapour: Floats
    conductance: float
    area: float


NO_MEAT: Final = Meat(np.array([0.0, 1.0]), np.full(2, 50.0), np.zeros(2), 0.0, 0.0)


class Stretch(NamedTuple):
    """A stretch between two events: rows of time, states, ledger, and what is seen.

    `seen` holds air [°C], wall as the meat sees it [°C], and then the flows.
    """

    time_s: Floats
    states: Floats
    ledger: Floats
    seen: Floats
    next_step_s: float


_MOST_ROWS = 60000
LONGEST_STEP_S = 120.0


def scales(p: PitConstants, tolerance: float) -> Floats:
    """How far each state may be out in a step: `tolerance` in K, and masses alike."""
    gas = p.pressure * p.volume / (DRY_AIR_GAS_CONSTANT * 380.0)
    share = 4e-3 * tolerance
    found = np.full(_NS, share * gas)
    found[S["enthalpy"]] = 1005.0 * gas * tolerance
    found[S["carbon"] : S["moisture"] + 1] = 5e-4 * tolerance
    found[S["chemical"]] = 3e7 * 5e-4 * tolerance
    found[S["lit"]] = 5e-3 * tolerance
    for name in ("body_in", "body_out", "lid_in", "lid_out"):
        found[S[name]] = getattr(p, f"{name}_store") * tolerance
    found[S["pan_water"]] = 1e-2 * tolerance
    found[S["pan_heat"]] = WATER_CP * tolerance
    return found


def march(
    p: PitConstants,
    state: Floats,
    ledger: Floats,
    begin_s: float,
    end_s: float,
    around: Around,
    meat: Meat = NO_MEAT,
    tolerance: float = 0.1,
    first_step_s: float = 0.05,
) -> Stretch:
    """Follow the fire from one event to the next.

    Parameters
    ----------
    p : PitConstants
    state, ledger : ndarray
        At the start; they are not changed.
    begin_s, end_s : float
        [s]
    around : Around
    meat : Meat
    tolerance : float
        What a step may be out, as a temperature. [K]
    first_step_s : float
        [s]

    Raises
    ------
    SolverError
        Where no step is small enough.
    """
    y, book = state.copy(), ledger.copy()
    times = np.empty(_MOST_ROWS)
    states, books = np.empty((_MOST_ROWS, _NS)), np.empty((_MOST_ROWS, _NQ))
    rows, step = _march(
        y, book, begin_s, end_s, first_step_s, LONGEST_STEP_S, scales(p, tolerance), around,
        meat.time_s, meat.surface_c, meat.vapour, meat.conductance, meat.area, p, times,
        states, books,
    )  # fmt: skip
    if rows < 0 or step < 0.0:
        raise SolverError(
            f"The fire could not be followed beyond {begin_s / 3600.0:.2f} h: change what "
            "happens then, or give a larger pit or less fuel."
        )
    time = np.concatenate(([begin_s], times[:rows]))
    kept = np.concatenate((state[None], states[:rows]))
    seen = np.empty((rows + 1, 2 + _NQ))
    _look(
        time, kept, around, meat.time_s, meat.surface_c, meat.vapour, meat.conductance,
        meat.area, p, seen,
    )  # fmt: skip
    return Stretch(time, kept, np.concatenate((ledger[None], books[:rows])), seen, step)


def warm_up() -> None:
    """Compile the march, or load it from the cache, so that no page waits for it."""
    numbers: dict[str, Any] = dict.fromkeys(PitConstants._fields, 1.0)
    numbers |= {"feeds": False, "electric": False, "pressure": 101325.0, "volume": 0.1}
    p = PitConstants(**numbers)
    state = np.zeros(_NS)
    masses = ((1.0 - OXYGEN_OF_AIR) * 0.12, OXYGEN_OF_AIR * 0.12, 0.0, 1e-3)
    state[1:5] = masses
    state[0] = sum(m * gas_enthalpy(kind, 20.0) for kind, m in enumerate(masses))
    state[S["body_in"] : S["lid_out"] + 1] = 20.0
    around = Around(0.0, 0.0, 0.0, 0.0, 20.0, 0.008, 0.0, 0.0, 100.0)
    march(p, state, np.zeros(_NQ), 0.0, 0.1, around)


def flame_temperature(
    carbon: float,
    hydrogen: float,
    oxygen: float,
    lower_heat: float,
    excess_air: float = 1.0,
    moisture: float = 0.0,
    air_c: float = 25.0,
) -> float:
    """Temperature of complete combustion without loss or dissociation. [°C].

    Parameters
    ----------
    carbon, hydrogen, oxygen : float
        Of the dry fuel. [kg/kg]
    lower_heat : float
        Of the dry fuel. [J/kg]
    excess_air : float
        Air over the least that burns it. [-]
    moisture : float
        Liquid water per dry fuel. [kg/kg]
    air_c : float
        Of air and fuel. [°C]
    """
    need = OXYGEN_PER_CARBON * carbon + OXYGEN_PER_HYDROGEN * hydrogen - oxygen
    air = excess_air * need / OXYGEN_OF_AIR
    water = WATER_PER_HYDROGEN * hydrogen
    inert, rest = air * (1.0 - OXYGEN_OF_AIR), air * OXYGEN_OF_AIR
    enthalpy = (
        lower_heat
        + LATENT_0 * water
        + inert * gas_enthalpy(0, air_c)
        + rest * gas_enthalpy(1, air_c)
        + moisture * WATER_CP * air_c
    )
    return float(
        gas_temperature(
            enthalpy, inert, rest - need, (1.0 + OXYGEN_PER_CARBON) * carbon, water + moisture
        )
    )
