r"""The equations, stated once. Every engine calls these functions.

State of a volume: temperature `T` [°C], water `W` [kg per m³ of raw piece;
`X = W / solids_density` is kg water per kg dry fat-free solids], and the
highest temperature `T_max` it has had (what heat has done to protein is not
undone). State of the surface: a film of free water `S` [kg/m²].
Coordinates are those of the raw piece: the mesh does not move.

Energy, per m³ of raw piece, liquid water at 0 °C and dry matter at 0 °C
having none:

.. math::
   h(T, W, T_{max}) = e_d(T) + W e_w(T) + h_{fat}(T) + h_{den}(T_{max})

.. math::
   \partial_t h = \nabla\cdot(k \nabla T) - \nabla\cdot(n\, e_w) - b\,(e_w + L)

Water:

.. math::
   \partial_t W = -\nabla\cdot n_g - x - b

with `n_g` the flux by gradients (diffusion, and flow driven by swelling
pressure), `x` the water squeezed out locally, which then runs outwards as a
stream and carries its heat, `n` the two together, and `b` internal boiling.
Which of the two carries the water is a choice of parameters (table
`transport`), because the literature has not settled it.

Surface, per m²: convection + radiation in; evaporation, condensation and
drip out; see :func:`surface_exchange`.

All functions are scalar and compiled. They know no mesh and no solver.

A surface has one balance for wet, drying, condensing and sealed states. The film covers the
share `S / (S + S0)`; the rest is solid with the activity of its isotherm. When less water
arrives than the air would take, the covered share falls until evaporation equals arrival:
the supply-limited stall needs no switch. A wrap is a resistance to vapour and to heat that
keeps juice; above ambient pressure it vents. Boiling holds wet volumes at the boiling point
of their water activity; a dry crust may pass it. The corner at its onset is rounded over
100 Pa: met by every volume that the front passes, it costs 100 000 steps. Vapour sorbed by
a crust above the dew point belongs to the solid: given to the film it boils off at once, in
a cycle.
"""

from __future__ import annotations

import math
from typing import NamedTuple

from coreward.physics.compiled import compiled, exponential, inlined
from coreward.physics.exchange import (
    mass_coefficient,
    radiative_flux,
    radiative_flux_slope,
    stefan_mass_flux,
    stefan_mass_flux_slope,
)
from coreward.physics.water import latent_heat, saturation_pressure, saturation_pressure_slope

_KELVIN = 273.15


class MaterialConstants(NamedTuple):
    """Numbers of one material, SI, as the compiled equations take them.

    Built from the tables by :mod:`coreward.physics.meat`, which also keeps
    where each number comes from.
    """

    moist: bool
    # dry matter (solids and fat): heat capacity per raw volume, c0 + c1 T + c2 T²
    dry_c0: float
    dry_c1: float
    dry_c2: float
    water_c0: float
    water_c1: float
    water_c2: float
    # kg per m³ of raw piece
    solids_density: float
    fat_density: float
    lean_density: float
    raw_water: float
    bone_density: float
    # conductivity: fixed (dry material) or by composition
    fixed_conductivity: float
    k_water_0: float
    k_water_1: float
    k_water_2: float
    k_solids_0: float
    k_solids_1: float
    k_solids_2: float
    k_fat_0: float
    k_fat_1: float
    k_fat_2: float
    rho_water_0: float
    rho_water_1: float
    rho_water_2: float
    rho_solids_0: float
    rho_solids_1: float
    rho_fat_0: float
    rho_fat_1: float
    mixing_exponent: float
    cooked_factor: float
    cooked_midpoint: float
    cooked_width: float
    # water holding, kg per kg initial lean
    hold_cold: float
    hold_drop: float
    hold_midpoint: float
    hold_width: float
    # transport
    expulsion_rate: float
    surface_share: float
    permeability: float
    modulus_raw: float
    modulus_rise: float
    modulus_midpoint: float
    modulus_width: float
    suction_width: float
    viscosity_a: float
    viscosity_b: float
    viscosity_t0: float
    diffusivity: float
    diffusivity_reference_k: float
    diffusivity_activation: float
    # sorption
    monolayer: float
    gab_c: float
    gab_k: float
    free_activity: float
    # transitions, J per m³ of raw piece
    fusion: float
    fusion_midpoint: float
    fusion_width: float
    denature_1: float
    denature_midpoint_1: float
    denature_width_1: float
    denature_2: float
    denature_midpoint_2: float
    denature_width_2: float
    denature_3: float
    denature_midpoint_3: float
    denature_width_3: float
    # surface
    film_scale: float
    film_capacity: float
    drip_time: float
    rewetting_rate: float
    lewis_power: float


class SurfaceConditions(NamedTuple):
    """What surrounds the surface during one stage.

    `vapour_factor` is the share of the bare exchange of vapour that passes
    the wrap; 0 also stands for "evaporation switched off". `juice_capacity`
    is what the surface and its wrap can hold before it drips. [kg/m²]
    """

    emissivity: float
    pressure: float
    boiling_c: float
    vapour_factor: float
    thermal_resistance: float
    juice_capacity: float


class SurfaceFluxes(NamedTuple):
    """Surface exchange per m², and its slopes for the implicit solver.

    Heat is positive into the piece; `film_evaporation` and
    `solid_evaporation` are positive when the surface loses water.
    """

    convection: float
    radiation: float
    film_evaporation: float
    solid_evaporation: float
    film_boiling: float
    drip: float
    rewetting: float
    water_activity: float
    heat_slope: float
    film_evaporation_dt: float
    film_evaporation_ds: float
    film_evaporation_dw: float
    solid_evaporation_dt: float
    solid_evaporation_ds: float
    solid_evaporation_dw: float
    film_boiling_dt: float
    film_boiling_ds: float
    drip_ds: float
    rewetting_ds: float
    rewetting_dw: float
    film_evaporation_dp: float
    solid_evaporation_dp: float


# Speed of the boiling limit: how much vapour the depth of a volume, or a
# film, gives off per pascal above ambient pressure. A numerical constant, not
# a property: 20 kW/m², more than any pit gives, is carried off by vapour
# within 0.1 K (about 360 Pa) of boiling. The onset is rounded over
# BOILING_ONSET, or the solver would meet a corner in every volume that the
# boiling front passes.
BOILING_RATE = 2.5e-5  # kg/(m² s Pa)
BOILING_ONSET = 100.0  # Pa
# Of the water that leaves a wet surface freely, per kg of lean: a numerical constant, two
# thousandths of what is there.
OUTLET_ONSET = 0.002
# What it crosses at the surface: a numerical constant, far thinner than anything that counts.
# Half the depth of the outermost volume would be as natural, but lengthens the way by a part
# of the mesh: near first order in a damp chamber.
OUTLET_REACH = 1e-5  # m
BOILING_MARGIN = 0.6  # K below boiling at which the rounded onset is nil
# Inversion of enthalpy, in K: below CHEBYSHEV_STEP the curvature is used too;
# after a step below SETTLED_STEP about 1e-10 K is left.
CHEBYSHEV_STEP = 0.5
SETTLED_STEP = 1e-3
LONGEST_STEP = 10.0
_GAS_CONSTANT = 8.314462618  # J/(mol K), CODATA 2018, exact


@inlined
def _logistic(z: float) -> float:
    return 1.0 / (1.0 + exponential(-z))


@compiled
def water_enthalpy(t: float, m: MaterialConstants) -> float:
    """Enthalpy of liquid water above 0 °C. [J/kg]."""
    return t * (m.water_c0 + t * (m.water_c1 / 2.0 + t * m.water_c2 / 3.0))


@compiled
def water_heat_capacity(t: float, m: MaterialConstants) -> float:
    """Heat capacity of liquid water. [J/(kg K)]."""
    return m.water_c0 + t * (m.water_c1 + t * m.water_c2)


@compiled
def _logistic_slope(z: float, width: float) -> float:
    y = _logistic(z)
    return y * (1.0 - y) / width


@inlined
def enthalpy_slope_curvature(
    t: float, w: float, t_max: float, m: MaterialConstants
) -> tuple[float, float, float]:
    """Enthalpy per raw volume, its slope at constant water, and the slope's slope.

    [J/m³, J/(m³ K), J/(m³ K²)]. `t_max` is the record *before* `t`: below it,
    denaturation is history and takes no more heat.
    """
    h = t * (m.dry_c0 + t * (m.dry_c1 * 0.5 + t * m.dry_c2 * (1.0 / 3.0)))
    c = m.dry_c0 + t * (m.dry_c1 + t * m.dry_c2)
    k = m.dry_c1 + 2.0 * t * m.dry_c2
    if m.moist:
        h += w * t * (m.water_c0 + t * (m.water_c1 * 0.5 + t * m.water_c2 * (1.0 / 3.0)))
        c += w * (m.water_c0 + t * (m.water_c1 + t * m.water_c2))
        k += w * (m.water_c1 + 2.0 * t * m.water_c2)
        i0 = 1.0 / m.fusion_width
        y = _logistic((t - m.fusion_midpoint) * i0)
        d = y * (1.0 - y) * i0
        h += m.fusion * y
        c += m.fusion * d
        k += m.fusion * d * (1.0 - 2.0 * y) * i0
        x = max(t, t_max)
        i1 = 1.0 / m.denature_width_1
        i2 = 1.0 / m.denature_width_2
        i3 = 1.0 / m.denature_width_3
        y1 = _logistic((x - m.denature_midpoint_1) * i1)
        y2 = _logistic((x - m.denature_midpoint_2) * i2)
        y3 = _logistic((x - m.denature_midpoint_3) * i3)
        h += m.denature_1 * y1 + m.denature_2 * y2 + m.denature_3 * y3
        if t >= t_max:
            d1 = m.denature_1 * y1 * (1.0 - y1) * i1
            d2 = m.denature_2 * y2 * (1.0 - y2) * i2
            d3 = m.denature_3 * y3 * (1.0 - y3) * i3
            c += d1 + d2 + d3
            k += (
                d1 * (1.0 - 2.0 * y1) * i1
                + d2 * (1.0 - 2.0 * y2) * i2
                + d3 * (1.0 - 2.0 * y3) * i3
            )
    return h, c, k


@compiled
def enthalpy(t: float, w: float, t_max: float, m: MaterialConstants) -> float:
    """Enthalpy per raw volume. [J/m³]."""
    return enthalpy_slope_curvature(t, w, t_max, m)[0]


@compiled
def heat_capacity(t: float, w: float, t_max: float, m: MaterialConstants) -> float:
    """dh/dT at constant water, transitions included. [J/(m³ K)]."""
    return enthalpy_slope_curvature(t, w, t_max, m)[1]


@compiled
def temperature(h: float, w: float, t_max: float, guess: float, m: MaterialConstants) -> float:
    """Invert :func:`enthalpy` from a close guess, third order near the root. [°C]."""
    t = guess
    for _ in range(50):
        value, slope, bend = enthalpy_slope_curvature(t, w, t_max, m)
        step = (value - h) / slope
        # The transitions are narrow humps in the slope: a long step is cut
        # so that it cannot swing across them for ever.
        if abs(step) < CHEBYSHEV_STEP:
            step *= 1.0 + 0.5 * step * bend / slope
        else:
            step = min(max(step, -LONGEST_STEP), LONGEST_STEP)
        before = t
        t -= step
        # What is left after a third-order step is of the order of step³; a step
        # across the corner of the slope at `t_max` has to be small instead.
        same_side = (before >= t_max) == (t >= t_max)
        if abs(step) < 1e-6 or (abs(step) < SETTLED_STEP and same_side):
            break
    return t


@compiled
def conductivity(t: float, w: float, t_max: float, m: MaterialConstants) -> float:
    """Thermal conductivity by composition. [W/(m K)].

    Weighted geometric mean of the parallel and series arrangements of water,
    solids and fat (Choi and Okos components), reduced by cooking.
    """
    if not m.moist:
        return m.fixed_conductivity
    k_w = m.k_water_0 + t * (m.k_water_1 + t * m.k_water_2)
    k_s = m.k_solids_0 + t * (m.k_solids_1 + t * m.k_solids_2)
    k_f = m.k_fat_0 + t * (m.k_fat_1 + t * m.k_fat_2)
    r_w = m.rho_water_0 + t * (m.rho_water_1 + t * m.rho_water_2)
    r_s = m.rho_solids_0 + t * m.rho_solids_1
    r_f = m.rho_fat_0 + t * m.rho_fat_1
    # Volumes times the product of the densities: only their ratios matter,
    # and products are cheaper than divisions.
    v_w = max(w, 0.0) * r_s * r_f
    v_s = m.solids_density * r_w * r_f
    v_f = m.fat_density * r_w * r_s
    total = v_w + v_s + v_f
    parallel = v_w * k_w + v_s * k_s + v_f * k_f
    crossed = v_w * k_s * k_f + v_s * k_w * k_f + v_f * k_w * k_s
    product = k_w * k_s * k_f
    series = total * product / crossed
    k: float = series * math.exp(
        m.mixing_exponent * math.log(parallel * crossed / (product * total * total))
    )
    cooked = _logistic((max(t, t_max) - m.cooked_midpoint) / m.cooked_width)
    return k * (1.0 - (1.0 - m.cooked_factor) * cooked)


@compiled
def water_held(t_max: float, m: MaterialConstants) -> float:
    """Water the protein network holds after `t_max`. [kg/m³ raw]."""
    return m.lean_density * (
        m.hold_cold - m.hold_drop * _logistic((t_max - m.hold_midpoint) / m.hold_width)
    )


@compiled
def water_held_slope(t_max: float, m: MaterialConstants) -> float:
    """d(water held)/dT; negative. [kg/(m³ K)]."""
    return (
        -m.lean_density
        * m.hold_drop
        * _logistic_slope((t_max - m.hold_midpoint) / m.hold_width, m.hold_width)
    )


@compiled
def expulsion(w: float, t_max: float, m: MaterialConstants) -> float:
    """Water squeezed out locally. [kg/(m³ s)]."""
    excess = w - water_held(t_max, m)
    return m.expulsion_rate * excess if excess > 0.0 else 0.0


@compiled
def moisture_diffusivity(t: float, m: MaterialConstants) -> float:
    """Arrhenius diffusivity of water. [m²/s]."""
    return m.diffusivity * math.exp(
        -m.diffusivity_activation
        / _GAS_CONSTANT
        * (1.0 / (t + _KELVIN) - 1.0 / m.diffusivity_reference_k)
    )


@compiled
def swelling_modulus(t_max: float, m: MaterialConstants) -> float:
    """d(swelling pressure)/d(water) of wet meat. [Pa m³/kg]."""
    return (
        m.modulus_raw
        + m.modulus_rise * _logistic((t_max - m.modulus_midpoint) / m.modulus_width)
    ) / m.lean_density


@compiled
def swelling_pressure_slope(
    t: float, w: float, t_max: float, m: MaterialConstants
) -> tuple[float, float]:
    """Pressure of the squeezed network on its water, and its slope by the water.

    [Pa, Pa m³/kg]. Water beyond what the network holds is pressed; what it holds is
    bound and not sucked along, but for a transition of `suction_width` (kg per kg lean):
    below it only diffusion moves water, as in drying meat.
    """
    top = max(t, t_max)
    modulus = swelling_modulus(top, m)
    width = m.suction_width * m.lean_density
    z = (w - water_held(top, m)) / width
    if z > 35.0:
        return modulus * z * width, modulus
    if z < -35.0:
        return 0.0, 0.0
    e = math.exp(z)
    return modulus * width * math.log1p(e), modulus * e / (1.0 + e)


@compiled
def swelling_pressure(t: float, w: float, t_max: float, m: MaterialConstants) -> float:
    """Pressure of the squeezed network on its water. [Pa]."""
    return swelling_pressure_slope(t, w, t_max, m)[0]


@compiled
def outlet(t: float, w: float, t_max: float, m: MaterialConstants) -> tuple[float, float]:
    """Water that flow by pressure brings out of the surface, and its slope by `w`.

    [kg/(m² s), m/s]. At the free surface the gauge pressure is zero: what arrives there
    beyond what the network holds comes out.
    """
    if m.permeability == 0.0:
        return 0.0, 0.0
    top = max(t, t_max)
    excess = w - water_held(top, m)
    if excess <= 0.0:
        return 0.0, 0.0
    # Rounded over a narrow onset, or the solver would meet a corner as the surface dries.
    onset = OUTLET_ONSET * m.lean_density
    if excess < onset:
        free, slope = 0.5 * excess * excess / onset, excess / onset
    else:
        free, slope = excess - 0.5 * onset, 1.0
    lead = mobility(t, m) * swelling_modulus(top, m) / OUTLET_REACH
    return lead * w * free, lead * (w * slope + free)


@compiled
def carried_water(w_inner: float, w_outer: float, push: float) -> float:
    """Water that flow by pressure carries across a face. [kg/m³].

    The mean of the two sides, but never more than the side it leaves has:
    second order where water thins out along the flow, and no volume can give
    what it has not got.
    """
    donor = w_inner if push > 0.0 else w_outer
    return max(min(0.5 * (w_inner + w_outer), donor), 0.0)


@compiled
def mobility(t: float, m: MaterialConstants) -> float:
    """Permeability over viscosity of water. [m²/(Pa s)]."""
    if m.permeability == 0.0:
        return 0.0
    viscosity: float = m.viscosity_a * 10.0 ** (m.viscosity_b / (t + _KELVIN - m.viscosity_t0))
    return m.permeability / viscosity


@compiled
def water_activity(w: float, m: MaterialConstants) -> float:
    """Activity of the water in the solid, by the GAB isotherm, at most 1. [-].

    Taken as independent of temperature: READ for 5-40 °C (Trujillo 2003),
    an extrapolation above 50 °C for every isotherm found.
    """
    x = w / m.solids_density
    if x <= 0.0:
        return 0.0
    b = m.monolayer * m.gab_c - (m.gab_c - 2.0) * x
    u = 2.0 * x / (b + math.sqrt(b * b + 4.0 * (m.gab_c - 1.0) * x * x))
    return min(u / m.gab_k, 1.0)


@compiled
def water_activity_slope(w: float, m: MaterialConstants) -> float:
    """d(activity)/d(water), for the implicit solver. [m³/kg]."""
    delta = 1e-4 * m.solids_density
    w = max(w, delta)
    return (water_activity(w + delta, m) - water_activity(w - delta, m)) / (2.0 * delta)


@compiled
def _onset(excess: float) -> tuple[float, float]:
    """Positive part of an excess pressure, rounded, and its slope. [Pa, -]."""
    z = excess / BOILING_ONSET
    if z > 35.0:
        return excess, 1.0
    if z < -35.0:
        return 0.0, 0.0
    e = math.exp(z)
    return BOILING_ONSET * math.log1p(e), e / (1.0 + e)


@compiled
def boiling(
    t: float,
    w: float,
    pressure: float,
    boiling_c: float,
    m: MaterialConstants,
    depth: float = 1e-3,
) -> tuple[float, float, float]:
    """Vapour given off inside a volume, and its slopes by `t` and `w`. [kg/(m³ s)].

    `depth` is the extent of the volume along the flow of heat. [m]
    """
    if not m.moist or t <= boiling_c - BOILING_MARGIN:
        return 0.0, 0.0, 0.0
    p_sat = saturation_pressure(t)
    # Wet meat boils like free water; only a drying crust is held back.
    a_w = min(water_activity(w, m) / m.free_activity, 1.0)
    a_slope = water_activity_slope(w, m) / m.free_activity if a_w < 1.0 else 0.0
    excess, slope = _onset(a_w * p_sat - pressure)
    rate = BOILING_RATE / depth
    return (
        rate * excess,
        rate * slope * a_w * saturation_pressure_slope(t),
        rate * slope * p_sat * a_slope,
    )


@compiled
def wetness(s: float, m: MaterialConstants) -> float:
    """Share of the surface covered by free water. [-].

    Continued with its slope below zero, so that a solver's overshoot by a
    few micrograms is pulled back and meets no corner.
    """
    return s / (s + m.film_scale) if s > 0.0 else s / m.film_scale


@compiled
def wrap_temperature(
    t: float, air_c: float, wall_c: float, h_c: float, c: SurfaceConditions
) -> float:
    """Outer surface of the wrap: what it takes up, it passes on. [°C]."""
    if c.thermal_resistance <= 0.0:
        return t
    outer = t
    for _ in range(4):
        passed = (outer - t) / c.thermal_resistance
        taken = h_c * (air_c - outer) + radiative_flux(c.emissivity, wall_c, outer)
        slope = h_c - radiative_flux_slope(c.emissivity, outer) + 1.0 / c.thermal_resistance
        outer += (taken - passed) / slope
    return outer


@compiled
def surface_exchange(
    t: float,
    w: float,
    s: float,
    t_max: float,
    air_c: float,
    wall_c: float,
    vapour_pressure: float,
    h_c: float,
    c: SurfaceConditions,
    m: MaterialConstants,
) -> SurfaceFluxes:
    """Everything that crosses the surface, per m².

    Parameters
    ----------
    t, w, s, t_max : float
        Surface temperature [°C], water at the surface [kg/m³], film [kg/m²],
        highest surface temperature so far [°C].
    air_c, wall_c : float
        [°C]
    vapour_pressure : float
        Of the air. [Pa]
    h_c : float
        Convective coefficient on the outermost surface. [W/(m² K)]
    c : SurfaceConditions
    m : MaterialConstants

    Returns
    -------
    SurfaceFluxes

    Notes
    -----
    The film covers the share `S / (S + S_0)` of the surface, where water has
    activity 1; the rest is solid with the activity of its isotherm. So a
    surface that receives less water than the air can take settles at the
    share that passes on just what arrives: supply-limited evaporation needs
    no switch. Vapour flux with Stefan flow; heat and mass by the
    Chilton-Colburn analogy.
    """
    outer = wrap_temperature(t, air_c, wall_c, h_c, c)
    convection = h_c * (air_c - outer)
    radiation = radiative_flux(c.emissivity, wall_c, outer)
    outer_slope = h_c - radiative_flux_slope(c.emissivity, outer)
    heat_slope = -outer_slope / (1.0 + c.thermal_resistance * outer_slope)

    film_ev = solid_ev = film_boil = drip = rewet = 0.0
    film_dt = film_ds = film_dw = solid_dt = solid_ds = solid_dw = 0.0
    boil_dt = boil_ds = drip_ds = rewet_ds = rewet_dw = film_dp = solid_dp = 0.0
    a_surface = 0.0
    if m.moist:
        share = wetness(s, m)
        share_ds = m.film_scale / (s + m.film_scale) ** 2 if s > 0.0 else 1.0 / m.film_scale
        a_solid = water_activity(w, m)
        a_surface = share + (1.0 - share) * a_solid
        p_sat = saturation_pressure(t)
        p_slope = saturation_pressure_slope(t)
        if c.vapour_factor > 0.0:
            film_c = 0.5 * (air_c + t)
            k_m = c.vapour_factor * mass_coefficient(
                h_c, film_c, vapour_pressure, c.pressure, m.lewis_power
            )
            wet = stefan_mass_flux(k_m, film_c, p_sat, vapour_pressure, c.pressure)
            wet_slope = stefan_mass_flux_slope(k_m, film_c, p_sat, c.pressure)
            p_solid = a_solid * p_sat
            dry = stefan_mass_flux(k_m, film_c, p_solid, vapour_pressure, c.pressure)
            dry_slope = stefan_mass_flux_slope(k_m, film_c, p_solid, c.pressure)
            dry_dw = dry_slope * p_sat * water_activity_slope(w, m)
            # Minus the slope by the air's vapour: the same film, seen from the other side.
            air_slope = stefan_mass_flux_slope(k_m, film_c, vapour_pressure, c.pressure)
            film_dp = -share * air_slope
            solid_dp = -(1.0 - share) * air_slope
            film_ev = share * wet
            film_dt = share * wet_slope * p_slope
            film_ds = share_ds * wet
            if wet < 0.0 and dry < 0.0:
                # Colder than the dew point: vapour condenses on dry parts too
                # and makes the film.
                film_ev += (1.0 - share) * dry
                film_dt += (1.0 - share) * dry_slope * a_solid * p_slope
                film_ds -= share_ds * dry
                film_dw = (1.0 - share) * dry_dw
                film_dp = -air_slope
                solid_dp = 0.0
            else:
                # Negative where a dry crust takes vapour up again.
                solid_ev = (1.0 - share) * dry
                solid_dt = (1.0 - share) * dry_slope * a_solid * p_slope
                solid_ds = -share_ds * dry
                solid_dw = (1.0 - share) * dry_dw
        if t > c.boiling_c - BOILING_MARGIN:
            excess, slope = _onset(p_sat - c.pressure)
            film_boil = BOILING_RATE * share * excess
            boil_dt = BOILING_RATE * share * slope * p_slope
            boil_ds = BOILING_RATE * share_ds * excess
        if s > c.juice_capacity:
            drip = (s - c.juice_capacity) / m.drip_time
            drip_ds = 1.0 / m.drip_time
        missing = water_held(max(t, t_max), m) - w
        if missing > 0.0 and s > 0.0:
            # per m² through the surface volume; the engine multiplies by its depth
            rewet = m.rewetting_rate * share * missing
            rewet_ds = m.rewetting_rate * share_ds * missing
            rewet_dw = -m.rewetting_rate * share
    return SurfaceFluxes(
        convection,
        radiation,
        film_ev,
        solid_ev,
        film_boil,
        drip,
        rewet,
        a_surface,
        heat_slope,
        film_dt,
        film_ds,
        film_dw,
        solid_dt,
        solid_ds,
        solid_dw,
        boil_dt,
        boil_ds,
        drip_ds,
        rewet_ds,
        rewet_dw,
        film_dp,
        solid_dp,
    )


@compiled
def vapour_enthalpy(t: float, m: MaterialConstants) -> float:
    """Enthalpy of the vapour a surface at `t` gives off. [J/kg]."""
    return water_enthalpy(t, m) + latent_heat(t)
