"""Numbers as words, rounded to the side that cannot do harm."""

from __future__ import annotations

import datetime as dt
import math
import re

from coreward.figures import style
from coreward.units import (
    celsius_to_fahrenheit,
    delta_celsius_to_fahrenheit,
    metres_to_inches,
)
from coreward.words import UnitChoice, as_units


def clock(seconds: float, start: dt.time | None = None) -> str:
    """Return a time as "3 h 20 min", with the time of day before it where it is known."""
    elapsed = style.format_hours(seconds)
    if start is None or not math.isfinite(seconds):
        return elapsed
    first = dt.datetime.combine(dt.date(2000, 1, 1), start)
    return f"{first + dt.timedelta(seconds=seconds):%H:%M} ({elapsed})"


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


def between(low_c: float | None, high_c: float | None, units: UnitChoice) -> str:
    """Return a range of temperature in words."""

    def degrees(value_c: float) -> str:
        return style.format_temperature(value_c, units)

    if low_c is None and high_c is not None:
        return f"below {degrees(high_c)}"
    if high_c is None and low_c is not None:
        return f"{degrees(low_c)} and above"
    if low_c is None or high_c is None:
        return "all"
    return f"{degrees(low_c)} to {degrees(high_c)}"


def size(value_m: float, units: UnitChoice) -> str:
    """Return a length with its unit."""
    shown = float(style.length(value_m, units))
    return f"{shown:.0f} mm" if units.length == "mm" else f"{shown:.2f} in"


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
