"""Conversion at the edge. Inside, everything is SI or degrees Celsius.

The factors are definitions, not measurements: the pound and the inch are
exact in SI since the international agreement of 1959 (NIST SP 811, appendix B).
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, TypeVar

from coreward.errors import InputError

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

KELVIN_OFFSET = 273.15
_KILOGRAM_PER_POUND = 0.45359237
_METRE_PER_INCH = 0.0254

Number = TypeVar("Number", float, "NDArray[np.float64]")
"""A number or an array: what goes in comes out, and numbers need no numpy."""


def celsius_to_fahrenheit(temperature_c: Number) -> Number:
    """Convert a temperature *point* from °C to °F."""
    return temperature_c * 9.0 / 5.0 + 32.0


def fahrenheit_to_celsius(temperature_f: Number) -> Number:
    """Convert a temperature *point* from °F to °C."""
    return (temperature_f - 32.0) * 5.0 / 9.0


def delta_celsius_to_fahrenheit(delta_c: Number) -> Number:
    """Convert a temperature *difference* from K (or °C) to °F."""
    return delta_c * 9.0 / 5.0


def kilograms_to_pounds(mass_kg: Number) -> Number:
    """Convert kg to lb."""
    return mass_kg / _KILOGRAM_PER_POUND


def pounds_to_kilograms(mass_lb: Number) -> Number:
    """Convert lb to kg."""
    return mass_lb * _KILOGRAM_PER_POUND


def metres_to_inches(length_m: Number) -> Number:
    """Convert m to in."""
    return length_m / _METRE_PER_INCH


def inches_to_metres(length_in: Number) -> Number:
    """Convert in to m."""
    return length_in * _METRE_PER_INCH


def metres_to_millimetres(length_m: Number) -> Number:
    """Convert m to mm."""
    return length_m * 1e3


def millimetres_to_metres(length_mm: Number) -> Number:
    """Convert mm to m."""
    return length_mm * 1e-3


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
    return fahrenheit_to_celsius(value) if plain.endswith("F") else value


def read_length(text: str) -> float:
    """Read a length with mm or in behind it; plain numbers are millimetres. [m].

    Raises
    ------
    InputError
        If it is none.
    """
    value, inches = _with_unit(text, ("mm", "in"), "size; write 60 mm or 2.4 in")
    return float(inches_to_metres(value) if inches else millimetres_to_metres(value))


def read_mass(text: str) -> float:
    """Read a mass with kg or lb behind it; plain numbers are kilograms. [kg].

    Raises
    ------
    InputError
        If it is none.
    """
    value, pounds = _with_unit(text, ("kg", "lb"), "weight; write 5.2 kg or 11.5 lb")
    return float(pounds_to_kilograms(value)) if pounds else value


def _with_unit(text: str, units: tuple[str, str], what: str) -> tuple[float, bool]:
    plain = text.strip().lower()
    try:
        value = float(plain.removesuffix(units[0]).removesuffix(units[1]))
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise InputError(f"{text!r} is no {what}.")
    return value, plain.endswith(units[1])
