"""Properties of liquid water and its saturated vapour, compiled for the solvers.

Every function takes and returns one number, because they are called inside
compiled loops. They do not raise: a solver checks its inputs once, at the edge.

References
----------
.. [1] W. Wagner and A. Pruss, "International equations for the saturation
   properties of ordinary water substance. Revised according to the
   International Temperature Scale of 1990", J. Phys. Chem. Ref. Data 22 (1993)
   783-787; the same equation is IAPWS SR1-86(1992). Coefficients from memory;
   checked against CoolProp's IAPWS-95 equation of state in the tests.
"""

from __future__ import annotations

import math

from coreward.physics.compiled import compiled

# IAPWS: the critical point of ordinary water [1]_.
CRITICAL_TEMPERATURE_K = 647.096
CRITICAL_PRESSURE_PA = 22.064e6

# Specific gas constant of water: 8.314462618 J/(mol K) / 0.018015268 kg/mol.
# The molar gas constant is exact (SI, 2019); the molar mass is that of IAPWS-95.
VAPOUR_GAS_CONSTANT = 461.523

_KELVIN_OFFSET = 273.15

# Coefficients a1..a6 of the auxiliary vapour pressure equation [1]_.
_A1 = -7.85951783
_A2 = 1.84408259
_A3 = -11.7866497
_A4 = 22.6807411
_A5 = -15.9618719
_A6 = 1.80122502

# Latent heat in J/kg as a quartic in °C. Fitted for this package by least
# squares to the IAPWS-95 equation of state as evaluated by CoolProp 8.0.0 at
# 401 even steps from 0.01 to 200 °C; the largest misfit there is 0.004 %.
_L0 = 2.50085274e6
_L1 = -2.36500989e3
_L2 = 1.34895730e-1
_L3 = -6.88557720e-3
_L4 = -2.40103706e-5

# Newton on ln p against 1/T is nearly linear: five steps reach rounding error
# from 1 Pa to the critical pressure; the rest are for safety.
_NEWTON_STEPS = 30


@compiled
def saturation_pressure(temperature_c: float) -> float:
    """Saturation pressure of water vapour over the liquid.

    Parameters
    ----------
    temperature_c : float
        Temperature [°C].

    Returns
    -------
    float
        Pressure [Pa].

    Notes
    -----
    ``ln(p/p_c) = (T_c/T) (a1 t + a2 t^1.5 + a3 t^3 + a4 t^3.5 + a5 t^4 + a6 t^7.5)``
    with ``t = 1 - T/T_c`` [1]_. Valid from 0.01 to 373.946 °C. Below 0.01 °C the
    same formula continues over supercooled liquid (not over ice), which is what
    the thin surface of chilled meat holds. Above the critical point it returns
    the critical pressure.
    """
    temperature_k = temperature_c + _KELVIN_OFFSET
    if temperature_k >= CRITICAL_TEMPERATURE_K:
        return CRITICAL_PRESSURE_PA
    t = 1.0 - temperature_k / CRITICAL_TEMPERATURE_K
    root = math.sqrt(t)
    t3 = t * t * t
    polynomial = (
        _A1 * t
        + _A2 * t * root
        + _A3 * t3
        + _A4 * t3 * root
        + _A5 * t3 * t
        + _A6 * t3 * t3 * t * root
    )
    return CRITICAL_PRESSURE_PA * math.exp(CRITICAL_TEMPERATURE_K / temperature_k * polynomial)


@compiled
def saturation_pressure_slope(temperature_c: float) -> float:
    """Differentiate `saturation_pressure` by temperature.

    Parameters
    ----------
    temperature_c : float
        Temperature [°C].

    Returns
    -------
    float
        Slope [Pa/K]: the exact derivative of the formula, and zero at and above
        the critical point, where the pressure itself is held constant.
    """
    temperature_k = temperature_c + _KELVIN_OFFSET
    if temperature_k >= CRITICAL_TEMPERATURE_K:
        return 0.0
    t = 1.0 - temperature_k / CRITICAL_TEMPERATURE_K
    root = math.sqrt(t)
    t2 = t * t
    t3 = t2 * t
    polynomial = (
        _A1 * t
        + _A2 * t * root
        + _A3 * t3
        + _A4 * t3 * root
        + _A5 * t3 * t
        + _A6 * t3 * t3 * t * root
    )
    derivative = (
        _A1
        + 1.5 * _A2 * root
        + 3.0 * _A3 * t2
        + 3.5 * _A4 * t2 * root
        + 4.0 * _A5 * t3
        + 7.5 * _A6 * t3 * t3 * root
    )
    exponent = CRITICAL_TEMPERATURE_K / temperature_k * polynomial
    return -CRITICAL_PRESSURE_PA * math.exp(exponent) * (exponent + derivative) / temperature_k


@compiled
def saturation_temperature(pressure_pa: float) -> float:
    """Boiling point: the inverse of `saturation_pressure`.

    Parameters
    ----------
    pressure_pa : float
        Pressure [Pa].

    Returns
    -------
    float
        Temperature [°C]. The critical temperature at and above the critical
        pressure; not a number when the pressure is not positive.

    Notes
    -----
    Newton's method on ``ln p`` as a function of ``1/T``.
    """
    if not pressure_pa > 0.0:
        return math.nan
    if pressure_pa >= CRITICAL_PRESSURE_PA:
        return CRITICAL_TEMPERATURE_K - _KELVIN_OFFSET
    target = math.log(pressure_pa)
    # ln(p/p_c) is about -7.2 (T_c/T - 1): good to a few kelvin below 250 °C.
    inverse_k = (1.0 + math.log(CRITICAL_PRESSURE_PA / pressure_pa) / 7.2) / (
        CRITICAL_TEMPERATURE_K
    )
    lowest_inverse_k = 1.0 / CRITICAL_TEMPERATURE_K
    for _ in range(_NEWTON_STEPS):
        temperature_k = 1.0 / inverse_k
        pressure = saturation_pressure(temperature_k - _KELVIN_OFFSET)
        slope = saturation_pressure_slope(temperature_k - _KELVIN_OFFSET)
        step = (target - math.log(pressure)) / (
            -slope / pressure * temperature_k * temperature_k
        )
        following = inverse_k + step
        if following <= lowest_inverse_k:
            # Stay below the critical point, where the slope would vanish.
            following = 0.5 * (inverse_k + lowest_inverse_k)
            step = following - inverse_k
        inverse_k = following
        if abs(step) < 1e-14 * inverse_k:
            break
    return 1.0 / inverse_k - _KELVIN_OFFSET


@compiled
def latent_heat(temperature_c: float) -> float:
    """Latent heat of vaporisation of water.

    Parameters
    ----------
    temperature_c : float
        Temperature [°C].

    Returns
    -------
    float
        Latent heat [J/kg].

    Notes
    -----
    A quartic fitted for this package to CoolProp 8.0.0 (IAPWS-95) from 0.01 to
    200 °C: within 0.004 % there, and within 0.02 % of the equation of state
    continued to -10 °C. Not for use above 250 °C, where the latent heat bends
    down towards zero at the critical point and a quartic does not follow.
    """
    return _L0 + temperature_c * (
        _L1 + temperature_c * (_L2 + temperature_c * (_L3 + temperature_c * _L4))
    )
