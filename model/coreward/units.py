"""Conversion at the edge. Inside, everything is SI or degrees Celsius.

The factors are definitions, not measurements: the pound and the inch are
exact in SI since the international agreement of 1959 (NIST SP 811, appendix B).
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

from coreward.errors import InputError

KELVIN_OFFSET = 273.15
_KILOGRAM_PER_POUND = 0.45359237
_METRE_PER_INCH = 0.0254

Floats = NDArray[np.float64]


def celsius_to_fahrenheit(temperature_c: ArrayLike) -> Floats:
    """Convert a temperature *point* from °C to °F."""
    return np.asarray(temperature_c, dtype=float) * 9.0 / 5.0 + 32.0


def fahrenheit_to_celsius(temperature_f: ArrayLike) -> Floats:
    """Convert a temperature *point* from °F to °C."""
    return (np.asarray(temperature_f, dtype=float) - 32.0) * 5.0 / 9.0


def celsius_to_kelvin(temperature_c: ArrayLike) -> Floats:
    """Convert a temperature *point* from °C to K."""
    return np.asarray(temperature_c, dtype=float) + KELVIN_OFFSET


def kelvin_to_celsius(temperature_k: ArrayLike) -> Floats:
    """Convert a temperature *point* from K to °C."""
    return np.asarray(temperature_k, dtype=float) - KELVIN_OFFSET


def delta_celsius_to_fahrenheit(delta_c: ArrayLike) -> Floats:
    """Convert a temperature *difference* from K (or °C) to °F."""
    return np.asarray(delta_c, dtype=float) * 9.0 / 5.0


def kilograms_to_pounds(mass_kg: ArrayLike) -> Floats:
    """Convert kg to lb."""
    return np.asarray(mass_kg, dtype=float) / _KILOGRAM_PER_POUND


def pounds_to_kilograms(mass_lb: ArrayLike) -> Floats:
    """Convert lb to kg."""
    return np.asarray(mass_lb, dtype=float) * _KILOGRAM_PER_POUND


def metres_to_inches(length_m: ArrayLike) -> Floats:
    """Convert m to in."""
    return np.asarray(length_m, dtype=float) / _METRE_PER_INCH


def inches_to_metres(length_in: ArrayLike) -> Floats:
    """Convert in to m."""
    return np.asarray(length_in, dtype=float) * _METRE_PER_INCH


def metres_to_millimetres(length_m: ArrayLike) -> Floats:
    """Convert m to mm."""
    return np.asarray(length_m, dtype=float) * 1e3


def millimetres_to_metres(length_mm: ArrayLike) -> Floats:
    """Convert mm to m."""
    return np.asarray(length_mm, dtype=float) * 1e-3


def read_temperature(text: str) -> float:
    """Read a temperature with C, F or nothing behind it. [°C].

    Raises
    ------
    InputError
        If it is none.
    """
    plain = text.strip().replace("°", "").replace(" ", "").upper()
    try:
        value = float(plain.rstrip("CF"))
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise InputError(f"{text!r} is not a temperature; write 93, 93C or 200F.")
    return float(fahrenheit_to_celsius(value)) if plain.endswith("F") else value
