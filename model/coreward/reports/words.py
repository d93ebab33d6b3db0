"""What the reports of a verdict and of a rest still use; everything else is in `words`.

Nothing new belongs here: it goes when those two say quantities.
"""

from __future__ import annotations

import math
import re

from coreward.units import (
    celsius_to_fahrenheit,
    delta_celsius_to_fahrenheit,
    metres_to_inches,
)
from coreward.words import UnitChoice, as_units


def held(seconds: float) -> str:
    """Return a time that was held or is left over, rounded down."""
    return _span(math.floor(seconds + 1e-9))


def asked(seconds: float) -> str:
    """Return a time that is asked for or missing, rounded up."""
    return _span(math.ceil(seconds - 1e-9))


def _span(seconds: int) -> str:
    if seconds < 100:
        return f"{seconds} s"
    if seconds < 6000:
        minutes, rest = divmod(seconds, 60)
        return f"{minutes} min {rest:02d} s" if rest else f"{minutes} min"
    return f"{seconds // 3600} h {seconds % 3600 // 60:02d} min {seconds % 60:02d} s"


def earned(value: float, most: float, unit: str = "") -> str:
    """Return minutes or logs that were earned, rounded down; "more than" beyond `most`."""
    behind = f" {unit}" if unit else ""
    if value > most:
        return f"more than {most:,.0f}{behind}"
    return f"{math.floor(value * 10.0 + 1e-9) / 10.0:,.1f}{behind}"


def required(value: float) -> str:
    """Return what is asked for, rounded up."""
    return f"{math.ceil(value * 10.0 - 1e-9) / 10.0:.1f}"


def difference(kelvin: float, units: UnitChoice) -> str:
    """Return a difference of temperature with its unit."""
    if units.temperature == "F":
        return f"{float(delta_celsius_to_fahrenheit(kelvin)):.1f} °F"
    return f"{kelvin:.1f} K"


_TEMPERATURES = re.compile(r"(-?\d+(?:\.\d+)?)(?:( to )(-?\d+(?:\.\d+)?))? °C")
_DIFFERENCES = re.compile(r"(\d+(?:\.\d+)?) K\b(?!/)")
_LENGTHS = re.compile(r"(\d+(?:\.\d+)?) mm\b")


def in_units(text: str, units: str | UnitChoice) -> str:
    """Return prose that was written in °C, K and mm in the reader's units.

    A number with a decimal is taken for a limit and rounded upwards, others to the nearest.
    """
    choice = as_units(units)
    if choice.temperature == "F":

        def point(text: str) -> str:
            value = float(celsius_to_fahrenheit(float(text)))
            # Only limits are written with a decimal; they are rounded to the cautious side.
            return (
                f"{math.ceil(value * 10.0 - 1e-9) / 10.0:.1f}"
                if "." in text
                else f"{value:.0f}"
            )

        text = _TEMPERATURES.sub(
            lambda m: point(m[1]) + (f"{m[2]}{point(m[3])}" if m[2] else "") + " °F", text
        )
        text = _DIFFERENCES.sub(
            lambda m: f"{float(delta_celsius_to_fahrenheit(float(m[1]))):.3g} °F", text
        )
    if choice.length == "in":
        text = _LENGTHS.sub(
            lambda m: f"{float(metres_to_inches(float(m[1]) / 1e3)):.3g} in", text
        )
    return text
