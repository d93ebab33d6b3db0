"""Humid air: how damp it is, where a wet thing settles in it, and how it flows.

Inputs are in °C and Pa. A single number in gives a float; an array in gives an
array, with the usual broadcasting. The real-gas equations are those of
CoolProp's humid-air library [1]_; what is added here is the checking: every wet
bulb is put back into the adiabatic saturation balance before it is returned.

Good for dry bulbs from -10 to 250 °C and pressures from 60 to 105 kPa.

Below 0.01 °C a dew point here is a frost point and a wet bulb an ice bulb, as
in the library. The partial pressures include the enhancement factor of real air
(about 1.004), so `vapour_pressure` is up to 0.6 % above
`coreward.physics.water.saturation_pressure` at the same dew point.

References
----------
.. [1] I. H. Bell et al., "Pure and pseudo-pure fluid thermophysical property
   evaluation and the open-source thermophysical property library CoolProp",
   Ind. Eng. Chem. Res. 53 (2014) 2498-2508, doi:10.1021/ie4033999; humid air
   after S. Herrmann, H.-J. Kretzschmar and D. P. Gatley, HVAC&R Research 15
   (2009) 961-986. References from memory.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import lru_cache
from typing import Any, TypeAlias

import numpy as np
from numpy.typing import ArrayLike
from scipy.optimize import brentq

from coreward.errors import InputError, OutOfRangeError
from coreward.physics import water
from coreward.units import KELVIN_OFFSET

# A float for numbers in, an array for arrays in. Numpy's own functions are typed
# the same way: a union would force every caller to prove which one came back.
FloatOrArray: TypeAlias = Any

STANDARD_PRESSURE_PA = 101325.0
AIR_RANGE_C = (-10.0, 250.0)
DEW_POINT_RANGE_C = (-60.0, 105.0)
PRESSURE_RANGE_PA = (60e3, 105e3)

# The library's virial equations stop at 0.94145 moles of vapour per mole.
_LARGEST_VAPOUR_FRACTION = 0.94

# A wet bulb whose balance is out by more than this is solved again.
_WET_BULB_TOLERANCE_K = 0.005

# A psychrometer's readings are rarely known better than this, so an excess of
# rounding size of a dew point or wet bulb over the dry bulb means "saturated".
_ROUNDING_K = 1e-6

# Closer than this to its dew point, air is treated as saturated: the enthalpies of
# the two states then differ by less than the library resolves.
_SATURATED_K = 1e-4

# Ice: heat of fusion at 0 °C and heat capacity near there (IAPWS R10-06, from memory).
_ICE_FUSION = 333.43e3
_ICE_HEAT_CAPACITY = 2.1e3
_FREEZING_C = 0.01

# ICAO standard atmosphere (Doc 7488): the troposphere. All exact by definition.
_ICAO_TEMPERATURE_K = 288.15
_ICAO_LAPSE_K_PER_M = 0.0065
_ICAO_GRAVITY = 9.80665
_ICAO_GAS_CONSTANT = 287.05287
ALTITUDE_RANGE_M = (-500.0, 11000.0)


def dew_point(
    air_c: ArrayLike,
    *,
    relative_humidity: ArrayLike | None = None,
    wet_bulb_c: ArrayLike | None = None,
    vapour_pressure_pa: ArrayLike | None = None,
    pressure_pa: ArrayLike = STANDARD_PRESSURE_PA,
) -> FloatOrArray:
    """Dew point of air from one measure of its dampness.

    Parameters
    ----------
    air_c : float or array
        Dry bulb temperature [°C].
    relative_humidity : float or array, optional
        Vapour pressure over that of saturated air at the same dry bulb, as a
        fraction from 0 to 1 [-]. In air hotter than the boiling point it can
        never reach 1.
    wet_bulb_c : float or array, optional
        Thermodynamic wet bulb [°C].
    vapour_pressure_pa : float or array, optional
        Partial pressure of the vapour [Pa].
    pressure_pa : float or array
        Pressure of the air [Pa].

    Returns
    -------
    float or array
        Dew point [°C].

    Raises
    ------
    InputError
        Not exactly one measure was given, or it is impossible at this dry bulb.
    OutOfRangeError
        A value lies outside the range of the equations.
    """
    given = {
        "relative_humidity": (relative_humidity, _dew_point_from_relative_humidity),
        "wet_bulb_c": (wet_bulb_c, _dew_point_from_wet_bulb),
        "vapour_pressure_pa": (vapour_pressure_pa, _dew_point_from_vapour_pressure),
    }
    used = [(value, rule) for value, rule in given.values() if value is not None]
    if len(used) != 1:
        raise InputError(
            f"dew_point needs exactly one of {', '.join(given)}; {len(used)} were given. "
            "Give the one that was measured."
        )
    value, rule = used[0]
    return each(rule, air_c, value, pressure_pa)


def wet_bulb(
    air_c: ArrayLike, dew_point_c: ArrayLike, pressure_pa: ArrayLike = STANDARD_PRESSURE_PA
) -> FloatOrArray:
    """Thermodynamic wet bulb: the adiabatic saturation temperature of the air.

    Parameters
    ----------
    air_c : float or array
        Dry bulb temperature [°C].
    dew_point_c : float or array
        Dew point [°C].
    pressure_pa : float or array
        Pressure of the air [Pa].

    Returns
    -------
    float or array
        Wet bulb [°C].

    Raises
    ------
    InputError
        The dew point is above the dry bulb, or a value is not finite.
    OutOfRangeError
        A value lies outside the range of the equations.

    Notes
    -----
    The root ``t`` of ``h(air) + (W_s(t) - W) h_w(t) = h_s(t)``, enthalpies per
    kg of dry air, ``h_w`` that of liquid water (of ice below 0.01 °C). The
    library's own answer is kept when it satisfies this balance to 0.005 K;
    otherwise the balance is solved here.

    A wet *surface* in a cooker settles elsewhere, because walls radiate to it:
    see `coreward.physics.exchange.wet_surface_temperature`.
    """
    return each(_wet_bulb, air_c, dew_point_c, pressure_pa)


def vapour_pressure(
    dew_point_c: ArrayLike, pressure_pa: ArrayLike = STANDARD_PRESSURE_PA
) -> FloatOrArray:
    """Partial pressure of the vapour in air of a given dew point.

    Parameters
    ----------
    dew_point_c : float or array
        Dew point [°C].
    pressure_pa : float or array
        Pressure of the air [Pa].

    Returns
    -------
    float or array
        Vapour pressure [Pa].
    """
    return each(_vapour_pressure, dew_point_c, pressure_pa)


def relative_humidity(
    air_c: ArrayLike, dew_point_c: ArrayLike, pressure_pa: ArrayLike = STANDARD_PRESSURE_PA
) -> FloatOrArray:
    """Relative humidity as a fraction [-]; arguments as for `wet_bulb`.

    Above the boiling point the reference is still the saturation pressure at the
    dry bulb, so pure steam at 120 °C has a relative humidity near 0.5.
    """
    return each(_relative_humidity, air_c, dew_point_c, pressure_pa)


def humidity_ratio(
    air_c: ArrayLike, dew_point_c: ArrayLike, pressure_pa: ArrayLike = STANDARD_PRESSURE_PA
) -> FloatOrArray:
    """Mass of vapour per mass of dry air [kg/kg]; arguments as for `wet_bulb`."""
    return each(lambda *state: _property("W", *state), air_c, dew_point_c, pressure_pa)


def density(
    air_c: ArrayLike,
    dew_point_c: ArrayLike | None = None,
    pressure_pa: ArrayLike = STANDARD_PRESSURE_PA,
) -> FloatOrArray:
    """Density of the (humid) air [kg/m³]; no dew point means dry air."""
    return _transport("Vha", air_c, dew_point_c, pressure_pa) ** -1.0


def heat_capacity(
    air_c: ArrayLike,
    dew_point_c: ArrayLike | None = None,
    pressure_pa: ArrayLike = STANDARD_PRESSURE_PA,
) -> FloatOrArray:
    """Heat capacity per kg of (humid) air [J/(kg K)]; no dew point means dry air."""
    return _transport("cp_ha", air_c, dew_point_c, pressure_pa)


def conductivity(
    air_c: ArrayLike,
    dew_point_c: ArrayLike | None = None,
    pressure_pa: ArrayLike = STANDARD_PRESSURE_PA,
) -> FloatOrArray:
    """Thermal conductivity of the (humid) air [W/(m K)]; no dew point means dry air."""
    return _transport("K", air_c, dew_point_c, pressure_pa)


def viscosity(
    air_c: ArrayLike,
    dew_point_c: ArrayLike | None = None,
    pressure_pa: ArrayLike = STANDARD_PRESSURE_PA,
) -> FloatOrArray:
    """Dynamic viscosity of the (humid) air [Pa s]; no dew point means dry air."""
    return _transport("mu", air_c, dew_point_c, pressure_pa)


def pressure_at_altitude(altitude_m: ArrayLike) -> FloatOrArray:
    """Pressure of the ICAO standard atmosphere.

    Parameters
    ----------
    altitude_m : float or array
        Height above sea level [m], -500 to 11 000.

    Returns
    -------
    float or array
        Pressure [Pa]. The weather moves the true pressure by about 2 kPa.

    Raises
    ------
    InputError
        The altitude is not finite.
    OutOfRangeError
        The altitude lies outside the lowest layer of the standard atmosphere.

    Notes
    -----
    ``p = 101325 (1 - 0.0065 z / 288.15)^(g / (0.0065 R))``, geopotential height,
    g = 9.80665 m/s², R = 287.05287 J/(kg K): ICAO Doc 7488 (from memory).
    """
    return each(_pressure_at_altitude, altitude_m)


def _vapour_pressure(dew_point_c: float, pressure_pa: float) -> float:
    # The dew point fixes the vapour whatever the dry bulb: any allowed one will do.
    return _property("P_w", max(dew_point_c, AIR_RANGE_C[0]), dew_point_c, pressure_pa)


def _pressure_at_altitude(altitude_m: float) -> float:
    require("altitude", altitude_m, ALTITUDE_RANGE_M, "m")
    ratio = 1.0 - _ICAO_LAPSE_K_PER_M * altitude_m / _ICAO_TEMPERATURE_K
    exponent = _ICAO_GRAVITY / (_ICAO_LAPSE_K_PER_M * _ICAO_GAS_CONSTANT)
    return float(STANDARD_PRESSURE_PA * ratio**exponent)


def each(function: Callable[..., float], *arguments: ArrayLike) -> FloatOrArray:
    """Call `function` for every element of the broadcast arguments."""
    try:
        arrays = np.broadcast_arrays(*(np.asarray(a, dtype=float) for a in arguments))
    except (TypeError, ValueError) as error:
        raise InputError(
            f"these values cannot be used together as numbers: {error}. "
            "Give numbers, or arrays of one shape."
        ) from error
    if arrays[0].ndim == 0:
        return function(*(float(a) for a in arrays))
    flat = [
        function(*map(float, row)) for row in zip(*(a.ravel() for a in arrays), strict=True)
    ]
    return np.array(flat, dtype=float).reshape(arrays[0].shape)


def require(name: str, value: float, bounds: tuple[float, float], unit: str) -> None:
    """Refuse a number that is not finite or outside its bounds, naming it."""
    if not math.isfinite(value):
        raise InputError(
            f"the {name} is {value}, not a finite number. Give a number in {unit}."
        )
    low, high = bounds
    if not low <= value <= high:
        raise OutOfRangeError(
            f"the {name} {value:g} {unit} lies outside {low:g} to {high:g} {unit}, where the "
            f"equations hold. Check the value and that it is in {unit}."
        )


def _steam_limit(pressure_pa: float) -> float:
    """Saturation temperature beyond which the air counts as nearly pure steam [°C]."""
    return float(water.saturation_temperature(_LARGEST_VAPOUR_FRACTION * pressure_pa))


def check_state(air_c: float, dew_point_c: float, pressure_pa: float) -> float:
    """Check a state; return the dew point, trimmed of a rounding excess over the dry bulb."""
    require("dry bulb", air_c, AIR_RANGE_C, "°C")
    require("pressure", pressure_pa, PRESSURE_RANGE_PA, "Pa")
    require("dew point", dew_point_c, DEW_POINT_RANGE_C, "°C")
    if dew_point_c > air_c + _ROUNDING_K:
        raise InputError(
            f"the dew point {dew_point_c:g} °C is above the dry bulb {air_c:g} °C: such air "
            "would be fog. Lower the dew point or check which reading is which."
        )
    if dew_point_c >= water.saturation_temperature(pressure_pa):
        raise OutOfRangeError(
            f"the dew point {dew_point_c:g} °C is at or above the boiling point "
            f"{water.saturation_temperature(pressure_pa):.1f} °C at {pressure_pa / 1e3:g} kPa: "
            "no air would be left. Give a lower dew point, or check the pressure."
        )
    limit_c = _steam_limit(pressure_pa)
    if dew_point_c > limit_c:
        raise OutOfRangeError(
            f"the dew point {dew_point_c:g} °C means nearly pure steam; the humid-air "
            f"equations hold up to a dew point of {limit_c:.1f} °C at "
            f"{pressure_pa / 1e3:g} kPa. Give a lower dew point."
        )
    return min(dew_point_c, air_c)


# The same few states come again in each cook that is tried for an answer.
@lru_cache(maxsize=4096)
def _library(
    output: str, air_c: float, pressure_pa: float, measure: str, value: float
) -> float:
    """One property from the library, its complaints turned into ours."""
    # Late, here and below: loading it takes seconds, and not every question needs air.
    from CoolProp.HumidAirProp import HAPropsSI

    try:
        result = float(
            HAPropsSI(output, "T", air_c + KELVIN_OFFSET, "P", pressure_pa, measure, value)
        )
    except ValueError as error:
        raise OutOfRangeError(
            f"the humid-air library has no {output} at {air_c:g} °C, {pressure_pa / 1e3:g} kPa "
            f"and {measure} = {value:g} ({error}). Use drier air or a lower temperature."
        ) from error
    if not math.isfinite(result):
        raise OutOfRangeError(
            f"the humid-air library gave {result} for {output} at {air_c:g} °C, "
            f"{pressure_pa / 1e3:g} kPa and {measure} = {value:g}. Use drier air."
        )
    return result


def _property(output: str, air_c: float, dew_point_c: float, pressure_pa: float) -> float:
    dew_point_c = check_state(air_c, dew_point_c, pressure_pa)
    return _library(output, air_c, pressure_pa, "D", dew_point_c + KELVIN_OFFSET)


def _relative_humidity(air_c: float, dew_point_c: float, pressure_pa: float) -> float:
    dew_point_c = check_state(air_c, dew_point_c, pressure_pa)
    if air_c - dew_point_c < _SATURATED_K:
        # The library refuses its own answer when rounding puts it above one.
        return 1.0
    return _property("R", air_c, dew_point_c, pressure_pa)


def _dry_property(output: str, air_c: float, pressure_pa: float) -> float:
    require("dry bulb", air_c, AIR_RANGE_C, "°C")
    require("pressure", pressure_pa, PRESSURE_RANGE_PA, "Pa")
    return _library(output, air_c, pressure_pa, "W", 0.0)


def _transport(
    output: str, air_c: ArrayLike, dew_point_c: ArrayLike | None, pressure_pa: ArrayLike
) -> FloatOrArray:
    if dew_point_c is None:
        return each(lambda *state: _dry_property(output, *state), air_c, pressure_pa)
    return each(lambda *state: _property(output, *state), air_c, dew_point_c, pressure_pa)


def _condensed_enthalpy(temperature_c: float, pressure_pa: float) -> float:
    """Enthalpy of the water or ice that a wet bulb evaporates [J/kg]."""
    if temperature_c > _FREEZING_C:
        from CoolProp.CoolProp import PropsSI

        return float(
            PropsSI("H", "T", temperature_c + KELVIN_OFFSET, "P", pressure_pa, "Water")
        )
    return -_ICE_FUSION + _ICE_HEAT_CAPACITY * temperature_c


def _saturation_imbalance(
    wet_bulb_c: float, enthalpy: float, ratio: float, pressure_pa: float
) -> float:
    """Surplus heat of the air over saturating itself at `wet_bulb_c` [J/kg dry air]."""
    saturated_enthalpy = _library("H", wet_bulb_c, pressure_pa, "R", 1.0)
    saturated_ratio = _library("W", wet_bulb_c, pressure_pa, "R", 1.0)
    added = saturated_ratio - ratio
    return enthalpy + added * _condensed_enthalpy(wet_bulb_c, pressure_pa) - saturated_enthalpy


def _wet_bulb(air_c: float, dew_point_c: float, pressure_pa: float) -> float:
    dew_point_c = check_state(air_c, dew_point_c, pressure_pa)
    if air_c - dew_point_c < _SATURATED_K:
        return air_c
    enthalpy = _property("H", air_c, dew_point_c, pressure_pa)
    ratio = _property("W", air_c, dew_point_c, pressure_pa)

    def imbalance(temperature_c: float) -> float:
        return _saturation_imbalance(temperature_c, enthalpy, ratio, pressure_pa)

    try:
        candidate = (
            _library("B", air_c, pressure_pa, "D", dew_point_c + KELVIN_OFFSET) - KELVIN_OFFSET
        )
        if (
            dew_point_c <= candidate <= min(air_c, _steam_limit(pressure_pa))
            and imbalance(candidate - _WET_BULB_TOLERANCE_K) >= 0.0
            and imbalance(candidate + _WET_BULB_TOLERANCE_K) <= 0.0
        ):
            return candidate
    except OutOfRangeError:
        # The library gave up or left its own range: solve the balance instead.
        pass
    return _solved_wet_bulb(imbalance, air_c, dew_point_c, pressure_pa)


def _solved_wet_bulb(
    imbalance: Callable[[float], float], air_c: float, dew_point_c: float, pressure_pa: float
) -> float:
    """Root of the adiabatic saturation balance between dew point and dry bulb."""
    limit_c = _steam_limit(pressure_pa)
    highest_c = min(air_c, limit_c)
    if imbalance(highest_c) > 0.0:
        raise OutOfRangeError(
            f"air at {air_c:g} °C with a dew point of {dew_point_c:g} °C has a wet bulb above "
            f"{limit_c:.1f} °C, where it is nearly pure steam at {pressure_pa / 1e3:g} kPa and "
            "the humid-air equations end. Give a lower dew point."
        )
    return float(brentq(imbalance, dew_point_c, highest_c, xtol=1e-6))


def _dew_point_from_relative_humidity(
    air_c: float, fraction: float, pressure_pa: float
) -> float:
    require("dry bulb", air_c, AIR_RANGE_C, "°C")
    require("pressure", pressure_pa, PRESSURE_RANGE_PA, "Pa")
    if not 0.0 < fraction <= 1.0:
        raise InputError(
            f"the relative humidity is {fraction:g}; it must be above 0 and at most 1. "
            "Give a fraction, not per cent; for dry air give a low dew point instead."
        )
    pressure = fraction * water.saturation_pressure(air_c)
    if pressure > _LARGEST_VAPOUR_FRACTION * pressure_pa:
        raise OutOfRangeError(
            f"a relative humidity of {fraction:g} at {air_c:g} °C means a vapour pressure of "
            f"{pressure / 1e3:.1f} kPa in air of {pressure_pa / 1e3:g} kPa: more than the "
            f"humid-air equations allow ({_LARGEST_VAPOUR_FRACTION:g} of it). In air near or "
            "above the boiling point give the dew point or a smaller fraction."
        )
    return _checked_dew_point(air_c, "R", fraction, pressure_pa)


def _dew_point_from_vapour_pressure(air_c: float, pressure: float, pressure_pa: float) -> float:
    require("dry bulb", air_c, AIR_RANGE_C, "°C")
    require("pressure", pressure_pa, PRESSURE_RANGE_PA, "Pa")
    require("vapour pressure", pressure, (0.0, _LARGEST_VAPOUR_FRACTION * pressure_pa), "Pa")
    return _checked_dew_point(air_c, "P_w", pressure, pressure_pa)


def _checked_dew_point(air_c: float, measure: str, value: float, pressure_pa: float) -> float:
    result = _library("D", air_c, pressure_pa, measure, value) - KELVIN_OFFSET
    return check_state(air_c, result, pressure_pa)


def _dew_point_from_wet_bulb(air_c: float, wet_bulb_c: float, pressure_pa: float) -> float:
    require("dry bulb", air_c, AIR_RANGE_C, "°C")
    require("pressure", pressure_pa, PRESSURE_RANGE_PA, "Pa")
    require("wet bulb", wet_bulb_c, DEW_POINT_RANGE_C, "°C")
    if wet_bulb_c > air_c + _ROUNDING_K:
        raise InputError(
            f"the wet bulb {wet_bulb_c:g} °C is above the dry bulb {air_c:g} °C. "
            "Check which thermometer carries the wick."
        )
    if wet_bulb_c > _steam_limit(pressure_pa):
        raise OutOfRangeError(
            f"the wet bulb {wet_bulb_c:g} °C means nearly pure steam; the humid-air equations "
            f"hold up to a wet bulb of {_steam_limit(pressure_pa):.1f} °C at "
            f"{pressure_pa / 1e3:g} kPa. Check the reading and the pressure."
        )
    highest_c = min(wet_bulb_c, air_c)

    def imbalance(dew_point_c: float) -> float:
        enthalpy = _property("H", air_c, dew_point_c, pressure_pa)
        ratio = _property("W", air_c, dew_point_c, pressure_pa)
        return _saturation_imbalance(highest_c, enthalpy, ratio, pressure_pa)

    if air_c - highest_c < _SATURATED_K:
        return air_c
    lowest_c = DEW_POINT_RANGE_C[0]
    if imbalance(lowest_c) > 0.0:
        driest = _wet_bulb(air_c, lowest_c, pressure_pa)
        raise InputError(
            f"a wet bulb of {wet_bulb_c:g} °C is too low for air at {air_c:g} °C: even "
            f"bone-dry air has {driest:.1f} °C. Check the wick, the readings and the pressure."
        )
    return float(brentq(imbalance, lowest_c, highest_c, xtol=1e-6))
