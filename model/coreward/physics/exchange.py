"""What passes between a surface and its surroundings: heat, vapour, radiation.

Two groups live here. The correlations give a heat transfer coefficient from
shape, size and air speed; they are plain functions of dimensionless numbers that
refuse arguments outside their published range. The compiled scalars turn a
coefficient into fluxes inside the solvers; they do not raise.

A surface evaporates into still or moving air as
``m = k_m P / (R_v T_f) ln[(P - p_v) / (P - p_s)]``: diffusion through a stagnant
film with the drift of the vapour itself (Stefan flow). The usual linear form is
11 to 27 % too low for a wet surface at 60 to 80 °C.

References
----------
.. [1] F. P. Incropera, D. P. DeWitt, T. L. Bergman and A. S. Lavine,
   "Fundamentals of Heat and Mass Transfer", 6th ed., Wiley (2007). All equations
   and worked values taken from it are from memory.
.. [2] S. W. Churchill and H. H. S. Chu, Int. J. Heat Mass Transfer 18 (1975)
   1049-1053. From memory.
.. [3] S. W. Churchill and M. Bernstein, J. Heat Transfer 99 (1977) 300-306.
   From memory.
.. [4] S. W. Churchill, "Free convection around immersed bodies", in Heat
   Exchanger Design Handbook, Hemisphere (1983). From memory.
.. [5] S. Whitaker, AIChE J. 18 (1972) 361-371. From memory.
.. [6] R. B. Bird, W. E. Stewart and E. N. Lightfoot, "Transport Phenomena",
   2nd ed., Wiley (2002), sections 18.2 and 22.3. From memory.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from numpy.typing import ArrayLike
from scipy.optimize import brentq

from coreward import tables
from coreward.errors import InputError, OutOfRangeError
from coreward.physics import air
from coreward.physics.compiled import compiled
from coreward.physics.water import (
    VAPOUR_GAS_CONSTANT,
    latent_heat,
    saturation_pressure,
    saturation_temperature,
)
from coreward.units import KELVIN_OFFSET

STEFAN_BOLTZMANN = 5.670374419e-8  # W/m²K⁴, exact to the digits given (SI, 2019)
STANDARD_GRAVITY = 9.80665  # m/s², exact by definition (CGPM 1901)

# Specific gas constant of dry air: 8.314462618 / 0.02896546 (CIPM-2007; from memory).
DRY_AIR_GAS_CONSTANT = 287.047

# Heat capacities in J/(kg K), temperatures in °C, pressures in Pa. Fitted for this
# package to CoolProp 8.0.0 from -10 to 250 °C: dry air a + b t + c t² at 1 atm
# (0.02 %); vapour a + b t + c p_v (1 + d t), so that rho cp of damp air at 60 to
# 105 kPa fits with ideal-gas densities (the last term is the non-ideality of steam).
_DRY_AIR_CP = (1005.61, 0.01705, 3.961e-4)
_VAPOUR_CP = (1896.9, 0.2086, 2.332e-3, -3.736e-3)

# Where the vapour takes more than this share of the pressure the logarithm is
# continued by its tangent, so that a surface at and above boiling stays finite.
_TANGENT_FRACTION = 0.995

# A slab in `coreward` has a thickness only; how far the air runs along it is a
# separate guess. Common practice, no source: a large joint is about 0.3 m long.
DEFAULT_PLATE_LENGTH_M = 0.30

AIR_SPEED_RANGE = (0.0, 20.0)
SIZE_RANGE_M = (0.002, 2.0)
SURFACE_RANGE_C = (-30.0, 250.0)
HEAT_TRANSFER_RANGE = (0.1, 1000.0)


# ---------------------------------------------------------------------------
# Correlations: Nusselt number from dimensionless numbers
# ---------------------------------------------------------------------------


def _require_number(name: str, value: float, low: float, high: float, equation: str) -> None:
    if not math.isfinite(value):
        raise InputError(f"the {name} number for {equation} is {value}. Check the inputs.")
    if not low <= value <= high:
        raise OutOfRangeError(
            f"{equation} holds for a {name} number from {low:g} to {high:g}, not {value:.3g}. "
            "Give the heat transfer coefficient directly instead."
        )


def nusselt_natural_cylinder(rayleigh: float, prandtl: float) -> float:
    """Nusselt number of a long horizontal cylinder in still fluid.

    Notes
    -----
    ``Nu = {0.60 + 0.387 Ra^(1/6) / [1 + (0.559/Pr)^(9/16)]^(8/27)}²``, on the
    diameter, properties at the film temperature; 1e-5 ≤ Ra ≤ 1e12. Churchill and
    Chu [2]_; eq. 9.34 of [1]_.

    Worked value: Ra = 5.073e6, Pr = 0.697: [1]_ example 9.4 prints Nu = 23.3; the
    equation itself gives 23.1.
    """
    equation = "the horizontal cylinder (Churchill-Chu)"
    _require_number("Rayleigh", rayleigh, 1e-5, 1e12, equation)
    _require_number("Prandtl", prandtl, 0.5, math.inf, equation)
    damping = (1.0 + (0.559 / prandtl) ** (9 / 16)) ** (8 / 27)
    return float((0.60 + 0.387 * rayleigh ** (1 / 6) / damping) ** 2)


def nusselt_natural_sphere(rayleigh: float, prandtl: float) -> float:
    """Nusselt number of a sphere in still fluid.

    Notes
    -----
    ``Nu = 2 + 0.589 Ra^(1/4) / [1 + (0.469/Pr)^(9/16)]^(4/9)``, on the diameter,
    properties at the film temperature; Ra ≤ 1e11, Pr ≥ 0.7 (hot air, at 0.69, is
    let in: the bracket changes by 0.2 %). Churchill [4]_; eq. 9.35 of [1]_.

    Worked value: none found; the limits Nu → 2 for Ra → 0 and
    (Nu - 2)/Ra^(1/4) → 0.589 for large Pr are tested.
    """
    equation = "the sphere in still air (Churchill)"
    _require_number("Rayleigh", rayleigh, 0.0, 1e11, equation)
    _require_number("Prandtl", prandtl, 0.65, math.inf, equation)
    damping = (1.0 + (0.469 / prandtl) ** (9 / 16)) ** (4 / 9)
    return float(2.0 + 0.589 * rayleigh**0.25 / damping)


def nusselt_natural_plate_unstable(rayleigh: float) -> float:
    """Nusselt number of the side of a horizontal plate that drives flow away.

    The upper side of a hot plate, the lower side of a cold one.

    Notes
    -----
    ``Nu = 0.54 Ra^(1/4)`` for 1e4 ≤ Ra ≤ 1e7 and ``0.15 Ra^(1/3)`` up to 1e11, on
    area over perimeter. McAdams, Lloyd and Moran; eqs. 9.30 and 9.31 of [1]_.

    Worked value: Ra = 1.38e8 gives Nu = 77.5 ([1]_ example 9.3, upper side).
    """
    _require_number("Rayleigh", rayleigh, 1e4, 1e11, "the horizontal plate, unstable side")
    if rayleigh <= 1e7:
        return float(0.54 * rayleigh**0.25)
    return float(0.15 * rayleigh ** (1 / 3))


def nusselt_natural_plate_stable(rayleigh: float) -> float:
    """Nusselt number of the side of a horizontal plate that hinders flow.

    The lower side of a hot plate, the upper side of a cold one.

    Notes
    -----
    ``Nu = 0.27 Ra^(1/4)`` for 1e5 ≤ Ra ≤ 1e10, on area over perimeter. McAdams;
    eq. 9.32 of [1]_. Later editions print ``0.52 Ra^(1/5)``, up to 25 % lower.

    Worked value: Ra = 1.38e8 gives Nu = 29.3 ([1]_ example 9.3, lower side).
    """
    _require_number("Rayleigh", rayleigh, 1e5, 1e10, "the horizontal plate, stable side")
    return float(0.27 * rayleigh**0.25)


def nusselt_forced_cylinder(reynolds: float, prandtl: float) -> float:
    """Nusselt number of a cylinder in cross flow.

    Notes
    -----
    ``Nu = 0.3 + 0.62 Re^(1/2) Pr^(1/3) / [1 + (0.4/Pr)^(2/3)]^(1/4)
    [1 + (Re/282000)^(5/8)]^(4/5)``, on the diameter, properties at the film
    temperature; Re Pr ≥ 0.2. Churchill and Bernstein [3]_; eq. 7.54 of [1]_.

    Worked value: Re = 6071, Pr = 0.70 gives Nu = 40.6 ([1]_ example 7.4).
    """
    equation = "the cylinder in cross flow (Churchill-Bernstein)"
    _require_number("Peclet (Re Pr)", reynolds * prandtl, 0.2, math.inf, equation)
    _require_number("Reynolds", reynolds, 0.0, 1e7, equation)
    laminar = 0.62 * math.sqrt(reynolds) * prandtl ** (1 / 3)
    damping = (1.0 + (0.4 / prandtl) ** (2 / 3)) ** 0.25
    turbulent = (1.0 + (reynolds / 282000.0) ** 0.625) ** 0.8
    return float(0.3 + laminar / damping * turbulent)


def nusselt_forced_sphere(reynolds: float, prandtl: float, viscosity_ratio: float) -> float:
    """Nusselt number of a sphere in a stream.

    Notes
    -----
    ``Nu = 2 + (0.4 Re^(1/2) + 0.06 Re^(2/3)) Pr^0.4 (mu/mu_s)^(1/4)``, on the
    diameter, properties at the temperature of the stream; 3.5 ≤ Re ≤ 7.6e4,
    0.71 ≤ Pr ≤ 380, 1 ≤ mu/mu_s ≤ 3.2. Air has Pr 0.69-0.71 and, when it is the
    colder of the two, mu/mu_s down to 0.7; both are let in, as [1]_ does in its own
    example, and move Nu by a few per cent. Whitaker [5]_; eq. 7.56 of [1]_.

    Worked value: Re = 6510, Pr = 0.709, mu/mu_s = 181.6/197.8 gives Nu = 47.4
    ([1]_ example 7.6).
    """
    equation = "the sphere in a stream (Whitaker)"
    _require_number("Reynolds", reynolds, 3.5, 7.6e4, equation)
    _require_number("Prandtl", prandtl, 0.65, 380.0, equation)
    _require_number("viscosity ratio", viscosity_ratio, 0.6, 3.2, equation)
    flow = 0.4 * math.sqrt(reynolds) + 0.06 * reynolds ** (2 / 3)
    return float(2.0 + flow * prandtl**0.4 * viscosity_ratio**0.25)


def nusselt_forced_plate(reynolds: float, prandtl: float) -> float:
    """Mean Nusselt number of a flat plate along the flow.

    Notes
    -----
    ``Nu = 0.664 Re^(1/2) Pr^(1/3)`` up to Re = 5e5, and
    ``(0.037 Re^(4/5) - 871) Pr^(1/3)`` from there to 1e8, on the length along the
    flow, properties at the film temperature; Pr ≥ 0.6. Eqs. 7.30 and 7.38 of [1]_.

    Worked value: Re = 9597, Pr = 0.687 gives Nu = 57.4 ([1]_ example 7.1).
    """
    equation = "the flat plate along the flow"
    _require_number("Reynolds", reynolds, 0.0, 1e8, equation)
    _require_number("Prandtl", prandtl, 0.6, 60.0, equation)
    if reynolds <= 5e5:
        return float(0.664 * math.sqrt(reynolds) * prandtl ** (1 / 3))
    return float((0.037 * reynolds**0.8 - 871.0) * prandtl ** (1 / 3))


# ---------------------------------------------------------------------------
# Coefficient from shape and air speed
# ---------------------------------------------------------------------------


@dataclass(frozen=True)
class _Flow:
    """What the correlations need to know of the air around one piece."""

    size_m: float
    plate_length_m: float
    air_speed: float
    difference_k: float
    film_k: float
    conductivity: float
    kinematic_viscosity: float
    prandtl: float
    stream_kinematic_viscosity: float
    stream_conductivity: float
    stream_prandtl: float
    viscosity_ratio: float

    def rayleigh(self, length_m: float) -> float:
        buoyancy = STANDARD_GRAVITY * self.difference_k / self.film_k
        return buoyancy * length_m**3 * self.prandtl / self.kinematic_viscosity**2

    def reynolds(self, length_m: float) -> float:
        return self.air_speed * length_m / self.kinematic_viscosity


def _natural_cylinder(flow: _Flow) -> float:
    rayleigh = max(flow.rayleigh(flow.size_m), 1e-5)
    nusselt = nusselt_natural_cylinder(rayleigh, flow.prandtl)
    return nusselt * flow.conductivity / flow.size_m


def _natural_sphere(flow: _Flow) -> float:
    nusselt = nusselt_natural_sphere(flow.rayleigh(flow.size_m), flow.prandtl)
    return nusselt * flow.conductivity / flow.size_m


def _natural_slab(flow: _Flow) -> float:
    # A square of side s has area over perimeter s/4. Below the published range the
    # value at its lower end is kept: the flux is then small whatever is assumed.
    length_m = flow.plate_length_m / 4.0
    rayleigh = flow.rayleigh(length_m)
    unstable = nusselt_natural_plate_unstable(max(rayleigh, 1e4))
    stable = nusselt_natural_plate_stable(max(rayleigh, 1e5))
    return 0.5 * (unstable + stable) * flow.conductivity / length_m


def _forced_cylinder(flow: _Flow) -> float:
    reynolds = flow.reynolds(flow.size_m)
    if reynolds * flow.prandtl < 0.2:
        return 0.0
    return nusselt_forced_cylinder(reynolds, flow.prandtl) * flow.conductivity / flow.size_m


def _forced_sphere(flow: _Flow) -> float:
    reynolds = flow.air_speed * flow.size_m / flow.stream_kinematic_viscosity
    if reynolds < 3.5:
        return 0.0
    nusselt = nusselt_forced_sphere(reynolds, flow.stream_prandtl, flow.viscosity_ratio)
    return nusselt * flow.stream_conductivity / flow.size_m


def _forced_slab(flow: _Flow) -> float:
    reynolds = flow.reynolds(flow.plate_length_m)
    nusselt = nusselt_forced_plate(reynolds, flow.prandtl)
    return nusselt * flow.conductivity / flow.plate_length_m


_CORRELATIONS: dict[str, tuple[Callable[[_Flow], float], Callable[[_Flow], float]]] = {
    "slab": (_natural_slab, _forced_slab),
    "cylinder": (_natural_cylinder, _forced_cylinder),
    "sphere": (_natural_sphere, _forced_sphere),
}


def convective_coefficient(
    shape_name: str,
    size_m: float,
    air_speed: float,
    air_c: float,
    surface_c: float,
    pressure_pa: float = air.STANDARD_PRESSURE_PA,
    dew_point_c: float | None = None,
    *,
    plate_length_m: float = DEFAULT_PLATE_LENGTH_M,
) -> float:
    """Heat transfer coefficient of a piece of meat in air, without radiation.

    Parameters
    ----------
    shape_name : str
        "slab", "cylinder" (lying, air across it) or "sphere".
    size_m : float
        Diameter of a cylinder or sphere; thickness of a slab [m]. A slab's
        thickness does not matter to the air, its `plate_length_m` does.
    air_speed : float
        Speed of the air past the piece [m/s]; 0 is still air.
    air_c : float
        Temperature of the air [°C].
    surface_c : float
        Temperature of the surface [°C].
    pressure_pa : float
        Pressure of the air [Pa].
    dew_point_c : float, optional
        Dew point of the air [°C]; None is dry air.
    plate_length_m : float
        Length of a slab along the flow, and the side of the square it is taken for
        in still air [m]. The default is common practice, no source.

    Returns
    -------
    float
        Coefficient [W/(m² K)], averaged over the surface.

    Raises
    ------
    InputError
        Unknown shape, or a value that is not finite.
    OutOfRangeError
        A value outside the range of the correlations.

    Notes
    -----
    Still and moving air are joined as ``h³ = h_natural³ + h_forced³`` ([1]_ section
    9.9, flow across the buoyancy). Correlations scatter by about 20 % about the
    measurements they were fitted to, and a rack, a pan or a draught near the meat
    does more. Below a correlation's range: natural convection keeps its value at
    the lower end, forced convection (a breath of air) counts as none.
    """
    if shape_name not in _CORRELATIONS:
        raise InputError(
            f"there is no heat transfer correlation for a {shape_name!r}. "
            f"Use one of {', '.join(_CORRELATIONS)}."
        )
    air.require("size", size_m, SIZE_RANGE_M, "m")
    air.require("plate length", plate_length_m, SIZE_RANGE_M, "m")
    air.require("air speed", air_speed, AIR_SPEED_RANGE, "m/s")
    air.require("air temperature", air_c, air.AIR_RANGE_C, "°C")
    air.require("surface temperature", surface_c, SURFACE_RANGE_C, "°C")
    flow = _flow(size_m, plate_length_m, air_speed, air_c, surface_c, pressure_pa, dew_point_c)
    natural, forced = _CORRELATIONS[shape_name]
    return float((natural(flow) ** 3 + forced(flow) ** 3) ** (1 / 3))


def _flow(
    size_m: float,
    plate_length_m: float,
    air_speed: float,
    air_c: float,
    surface_c: float,
    pressure_pa: float,
    dew_point_c: float | None,
) -> _Flow:
    if dew_point_c is not None:
        # Refuse an impossible state of the air itself, in the words of `air`.
        air.vapour_pressure(dew_point_c, pressure_pa)
        air.relative_humidity(air_c, dew_point_c, pressure_pa)
    film_c = 0.5 * (air_c + surface_c)
    conductivity, kinematic_viscosity, prandtl, _ = _film(film_c, pressure_pa, dew_point_c)
    stream = _film(air_c, pressure_pa, dew_point_c)
    at_surface = _film(surface_c, pressure_pa, dew_point_c)
    return _Flow(
        size_m=size_m,
        plate_length_m=plate_length_m,
        air_speed=air_speed,
        difference_k=abs(air_c - surface_c),
        film_k=film_c + KELVIN_OFFSET,
        conductivity=conductivity,
        kinematic_viscosity=kinematic_viscosity,
        prandtl=prandtl,
        stream_conductivity=stream[0],
        stream_kinematic_viscosity=stream[1],
        stream_prandtl=stream[2],
        viscosity_ratio=stream[3] / at_surface[3],
    )


def _film(
    temperature_c: float, pressure_pa: float, dew_point_c: float | None
) -> tuple[float, float, float, float]:
    """Conductivity, kinematic viscosity, Prandtl number, viscosity of the air."""
    temperature_c = max(temperature_c, air.AIR_RANGE_C[0])
    if dew_point_c is not None:
        # Beside a cold surface the air holds no more than saturation allows.
        dew_point_c = min(dew_point_c, temperature_c)
    conductivity = float(air.conductivity(temperature_c, dew_point_c, pressure_pa))
    viscosity = float(air.viscosity(temperature_c, dew_point_c, pressure_pa))
    density = float(air.density(temperature_c, dew_point_c, pressure_pa))
    heat_capacity = float(air.heat_capacity(temperature_c, dew_point_c, pressure_pa))
    prandtl = heat_capacity * viscosity / conductivity
    return conductivity, viscosity / density, prandtl, viscosity


# ---------------------------------------------------------------------------
# Compiled scalars for the solvers
# ---------------------------------------------------------------------------


@compiled
def volumetric_heat_capacity(
    film_temperature_c: float, air_vapour_pressure: float, pressure: float
) -> float:
    """Density times heat capacity of humid air, as a mixture of ideal gases.

    Parameters
    ----------
    film_temperature_c : float
        Temperature [°C].
    air_vapour_pressure : float
        Partial pressure of the vapour [Pa].
    pressure : float
        Pressure of the air [Pa].

    Returns
    -------
    float
        ``rho cp`` [J/(m³ K)]. From -10 to 250 °C and 60 to 105 kPa within 1 % of
        CoolProp while vapour is up to half of the air, within 1.7 % up to nine tenths.
    """
    t = film_temperature_c
    temperature_k = t + 273.15
    dry = (pressure - air_vapour_pressure) / (DRY_AIR_GAS_CONSTANT * temperature_k)
    vapour = air_vapour_pressure / (VAPOUR_GAS_CONSTANT * temperature_k)
    dry_cp = _DRY_AIR_CP[0] + t * (_DRY_AIR_CP[1] + t * _DRY_AIR_CP[2])
    vapour_cp = (
        _VAPOUR_CP[0]
        + t * _VAPOUR_CP[1]
        + air_vapour_pressure * _VAPOUR_CP[2] * (1.0 + t * _VAPOUR_CP[3])
    )
    return dry * dry_cp + vapour * vapour_cp


@compiled
def mass_coefficient(
    h_c: float,
    film_temperature_c: float,
    air_vapour_pressure: float,
    pressure: float,
    lewis_power: float,
) -> float:
    """Mass transfer coefficient from the heat transfer coefficient.

    Parameters
    ----------
    h_c : float
        Convective heat transfer coefficient, without radiation [W/(m² K)].
    film_temperature_c : float
        Mean of air and surface temperature [°C].
    air_vapour_pressure : float
        Partial pressure of the vapour in the air [Pa].
    pressure : float
        Pressure of the air [Pa].
    lewis_power : float
        ``Le^(2/3)`` [-], the parameter ``lewis_number_power`` of the table "surface".

    Returns
    -------
    float
        ``k_m = h_c / (rho cp Le^(2/3))`` [m/s] (Chilton-Colburn [6]_).
    """
    return h_c / (
        volumetric_heat_capacity(film_temperature_c, air_vapour_pressure, pressure)
        * lewis_power
    )


@compiled
def _stefan_potential(fraction: float) -> float:
    """``-ln(1 - x)``, continued by its tangent above the largest allowed fraction."""
    if fraction <= _TANGENT_FRACTION:
        return -math.log(1.0 - fraction)
    gap = 1.0 - _TANGENT_FRACTION
    return -math.log(gap) + (fraction - _TANGENT_FRACTION) / gap


@compiled
def stefan_mass_flux(
    mass_coefficient: float,
    film_temperature_c: float,
    surface_vapour_pressure: float,
    air_vapour_pressure: float,
    pressure: float,
) -> float:
    """Vapour leaving a surface, with the drift of the vapour itself.

    Parameters
    ----------
    mass_coefficient : float
        Mass transfer coefficient at low flux [m/s].
    film_temperature_c : float
        Mean of air and surface temperature [°C].
    surface_vapour_pressure : float
        Water activity times saturation pressure at the surface [Pa].
    air_vapour_pressure : float
        Partial pressure of the vapour in the air [Pa]: on the same footing as the
        surface, ``water.saturation_pressure(dew_point)``.
    pressure : float
        Pressure of the air [Pa].

    Returns
    -------
    float
        Mass flux [kg/(m² s)]: positive evaporates, negative condenses.

    Notes
    -----
    ``m = k_m P / (R_v T_f) ln[(P - p_v)/(P - p_s)]`` [6]_. Where either vapour
    pressure passes 0.995 of the pressure its logarithm is continued by its tangent,
    so value and slope stay finite and continuous at and above boiling.
    """
    scale = mass_coefficient * pressure / (VAPOUR_GAS_CONSTANT * (film_temperature_c + 273.15))
    return scale * (
        _stefan_potential(surface_vapour_pressure / pressure)
        - _stefan_potential(air_vapour_pressure / pressure)
    )


@compiled
def stefan_mass_flux_slope(
    mass_coefficient: float,
    film_temperature_c: float,
    surface_vapour_pressure: float,
    pressure: float,
) -> float:
    """Partial derivative of `stefan_mass_flux` in the surface vapour pressure.

    Parameters
    ----------
    mass_coefficient, film_temperature_c, surface_vapour_pressure, pressure : float
        As for `stefan_mass_flux`; the vapour pressure of the air drops out.

    Returns
    -------
    float
        Slope [kg/(m² s Pa)], the film temperature held constant; always positive.
    """
    fraction = min(surface_vapour_pressure / pressure, _TANGENT_FRACTION)
    return mass_coefficient / (
        VAPOUR_GAS_CONSTANT * (film_temperature_c + 273.15) * (1.0 - fraction)
    )


@compiled
def radiative_flux(emissivity: float, wall_c: float, surface_c: float) -> float:
    """Net radiation from walls that surround the surface.

    Parameters
    ----------
    emissivity : float
        Effective emissivity of the pair [-]; that of the surface alone when the
        walls are much larger than the piece.
    wall_c, surface_c : float
        Temperatures [°C].

    Returns
    -------
    float
        Flux into the surface [W/m²]: ``e sigma (T_w⁴ - T_s⁴)``.
    """
    wall_k = wall_c + 273.15
    surface_k = surface_c + 273.15
    return emissivity * STEFAN_BOLTZMANN * (wall_k**4 - surface_k**4)


@compiled
def radiative_flux_slope(emissivity: float, surface_c: float) -> float:
    """Differentiate `radiative_flux` by the surface temperature [W/(m² K)]; negative."""
    surface_k = surface_c + 273.15
    return -4.0 * emissivity * STEFAN_BOLTZMANN * surface_k**3


@compiled
def equivalent_wall(wall_c: float, flux: float) -> float:
    """Walls that give a surface what walls at `wall_c` and a radiant flux give together.

    Parameters
    ----------
    wall_c : float
        [°C]
    flux : float
        Black radiation that falls on the surface from elsewhere. [W/m²]

    Returns
    -------
    float
        [°C]: ``T⁴ = T_w⁴ + q / sigma`` in kelvin, exact for a grey surface.
    """
    wall_k = wall_c + 273.15
    hotter: float = (wall_k**4 + flux / STEFAN_BOLTZMANN) ** 0.25
    return hotter - 273.15


@compiled
def wet_surface_balance(
    surface_c: float,
    air_c: float,
    air_vapour_pressure: float,
    heat_transfer: float,
    wall_c: float,
    emissivity: float,
    pressure: float,
    water_activity: float,
    lewis_power: float,
) -> float:
    """Heat arriving less heat taken by evaporation [W/m²]."""
    film_c = 0.5 * (air_c + surface_c)
    coefficient = mass_coefficient(
        heat_transfer, film_c, air_vapour_pressure, pressure, lewis_power
    )
    flux = stefan_mass_flux(
        coefficient,
        film_c,
        water_activity * saturation_pressure(surface_c),
        air_vapour_pressure,
        pressure,
    )
    convection = heat_transfer * (air_c - surface_c)
    return (
        convection
        + radiative_flux(emissivity, wall_c, surface_c)
        - latent_heat(surface_c) * flux
    )


def wet_surface_temperature(
    air_c: ArrayLike,
    dew_point_c: ArrayLike,
    heat_transfer: ArrayLike = 10.0,
    wall_c: ArrayLike | None = None,
    emissivity: ArrayLike = 0.9,
    pressure_pa: ArrayLike = air.STANDARD_PRESSURE_PA,
    water_activity: ArrayLike = 1.0,
    lewis_power: float | None = None,
) -> air.FloatOrArray:
    """Steady temperature of a wet surface that passes no heat inwards.

    Parameters
    ----------
    air_c : float or array
        Temperature of the air [°C].
    dew_point_c : float or array
        Dew point of the air [°C].
    heat_transfer : float or array
        Convective coefficient, without radiation [W/(m² K)].
    wall_c : float or array, optional
        Temperature of the walls [°C]; None is that of the air.
    emissivity : float or array
        Effective emissivity of the surface [-]; 0 leaves radiation out.
    pressure_pa : float or array
        Pressure of the air [Pa].
    water_activity : float or array
        Water activity of the surface [-]; 1 is wet.
    lewis_power : float, optional
        ``Le^(2/3)`` [-]; None takes ``lewis_number_power`` of the table "surface".

    Returns
    -------
    float or array
        Temperature [°C].

    Raises
    ------
    InputError
        The dew point is above the dry bulb, or a value is not finite.
    OutOfRangeError
        A value lies outside the range of the equations.

    Notes
    -----
    The root of ``h (T_a - T_s) + e sigma (T_w⁴ - T_s⁴) = L(T_s) m(T_s)``, ``m`` from
    `stefan_mass_flux`, film properties at the mean of air and surface. Without
    radiation this is close to the wet bulb but not the same: the wet bulb comes from
    a balance of flows, this from a balance of rates, and they differ as the Lewis
    number differs from one. The convective flux is not corrected for the vapour
    blowing against it: at 107 to 121 °C that would make the surface 0.1 to 0.3 K colder.
    """
    power = tables.load("surface")["lewis_number_power"] if lewis_power is None else lewis_power
    return air.each(
        lambda *state: _wet_surface_temperature(*state, lewis_power=power),
        air_c,
        dew_point_c,
        heat_transfer,
        air_c if wall_c is None else wall_c,
        emissivity,
        pressure_pa,
        water_activity,
    )


def _wet_surface_temperature(
    air_c: float,
    dew_point_c: float,
    heat_transfer: float,
    wall_c: float,
    emissivity: float,
    pressure_pa: float,
    water_activity: float,
    *,
    lewis_power: float,
) -> float:
    dew_point_c = air.check_state(air_c, dew_point_c, pressure_pa)
    air.require("heat transfer coefficient", heat_transfer, HEAT_TRANSFER_RANGE, "W/(m² K)")
    air.require("wall temperature", wall_c, (-30.0, 500.0), "°C")
    air.require("emissivity", emissivity, (0.0, 1.0), "")
    air.require("water activity", water_activity, (0.01, 1.0), "")
    air.require("Lewis number power", lewis_power, (0.5, 1.5), "")
    air_vapour_pressure = saturation_pressure(dew_point_c)
    # At the lowest of the three nothing cools the surface; at the highest of air, wall
    # and the temperature where the surface's own vapour matches the air's nothing warms it.
    lowest_c = min(air_c, wall_c, dew_point_c)
    matching_c = saturation_temperature(air_vapour_pressure / water_activity)
    highest_c = max(air_c, wall_c, matching_c)
    arguments = (
        air_c,
        air_vapour_pressure,
        heat_transfer,
        wall_c,
        emissivity,
        pressure_pa,
        water_activity,
        lewis_power,
    )
    if lowest_c == highest_c:
        return lowest_c
    return float(brentq(wet_surface_balance, lowest_c, highest_c, args=arguments, xtol=1e-9))
