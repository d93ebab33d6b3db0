"""Colours, line styles, units and axis furniture shared by every picture.

Meaning is carried three times over: by hue, by lightness and by line style or
marker. A picture therefore survives a grey print and the common kinds of colour
blindness. The colours are our own; :func:`lightness` lets a test check that the
inks which share an axis stay apart when hue is taken away.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any, Final

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import Patch
from matplotlib.ticker import AutoMinorLocator, MaxNLocator
from numpy.typing import ArrayLike, NDArray

from coreward import units as convert
from coreward.words import METRIC, Degrees, Lasting, UnitChoice, as_units
from coreward.words import temperature_symbol as temperature_symbol

Floats = NDArray[np.float64]
Dash = str | tuple[float, tuple[float, ...]]


@dataclass(frozen=True)
class Ink:
    """How one meaning is drawn."""

    colour: str
    """Hex colour."""
    line: Dash
    """Matplotlib line style."""
    marker: str
    """Marker drawn at a few points along the line, empty for none."""
    width: float
    """Line width in points."""
    label: str
    """The words of the legend."""
    hatch: str = ""
    """Hatching where the meaning is an area instead of a line."""

    def kwargs(self) -> dict[str, Any]:
        """Return the keyword arguments for ``Axes.plot``."""
        return {
            "color": self.colour,
            "linestyle": self.line,
            "marker": self.marker or None,
            "markevery": 0.11,
            "markersize": 4.5,
            "markeredgewidth": 0.0 if self.marker not in {"x", "+"} else 1.2,
            "linewidth": self.width,
            "label": self.label,
            "solid_capstyle": "round",
        }


_DASH: Final[Dash] = (0, (6, 2.2))
_DOT: Final[Dash] = (0, (1.2, 1.8))
_DASH_DOT: Final[Dash] = (0, (7, 2, 1.4, 2))
_LONG: Final[Dash] = (0, (12, 3))
_DOUBLE_DOT: Final[Dash] = (0, (7, 2, 1.4, 2, 1.4, 2))

INKS: Final[Mapping[str, Ink]] = MappingProxyType(
    {
        "core": Ink("#5e0f34", "-", "", 2.6, "core"),
        "mean": Ink("#9c4a5c", _DASH, "", 1.9, "mean"),
        "surface": Ink("#d17a1c", "-", "o", 1.9, "surface"),
        "air": Ink("#4f575f", _DASH_DOT, "", 1.5, "pit air"),
        "wall": Ink("#8b8275", _DASH_DOT, "x", 1.4, "pit wall"),
        "wet_bulb": Ink("#2390a6", _DASH, "s", 1.5, "wet bulb"),
        "dew_point": Ink("#274690", _DOT, "", 1.9, "dew point"),
        "evaporation": Ink("#1d5c8f", "-", "s", 2.2, "evaporation", "//"),
        "convection": Ink("#bf4f2b", "-", "", 2.0, "convection", ""),
        "radiation": Ink("#c9932e", _DASH, "^", 1.9, "radiation", ".."),
        "conduction": Ink("#45133c", _DASH_DOT, "", 2.0, "into the meat", "xx"),
        "supply": Ink("#12603f", "-", "", 2.4, "water supply", ""),
        "demand": Ink("#6f9ed4", _DASH, "o", 2.0, "the air's demand", ""),
        "drip": Ink("#7a6a2f", _DOT, "", 2.0, "drip", ""),
        "water": Ink("#1f6f97", _DASH, "s", 2.0, "water content", ""),
        "meat": Ink("#5e0f34", "-", "", 2.4, "meat probe"),
        "meat_2": Ink("#b0603f", _DASH, "^", 2.0, "second probe"),
        "meat_3": Ink("#7a7fb8", _DASH_DOT, "s", 2.0, "third probe"),
        "kept": Ink("#8a8a8a", (0, (4, 2)), "", 1.4, "kept for comparison"),
        "stall": Ink("#e9dcc0", "-", "", 0.0, "stall", "////"),
        "caution": Ink("#8c1c13", "-", "D", 2.0, "caution", "\\\\"),
        "target": Ink("#2f2f2f", _LONG, "", 1.3, "target"),
        "band": Ink("#cfd6dd", "-", "", 0.0, "likely band"),
        "event": Ink("#6b3fa0", _DOUBLE_DOT, "v", 1.4, "event"),
        "text": Ink("#20262b", "-", "", 1.0, "text"),
        "grid": Ink("#dfe3e6", "-", "", 0.6, "grid"),
    }
)
"""Every meaning and how it is drawn."""

PALETTE: Final[Mapping[str, str]] = MappingProxyType(
    {meaning: ink.colour for meaning, ink in INKS.items()}
)
"""Colour by meaning, for pictures that need no line."""

BAND_WIDE: Final = "#d9dee3"
"""Fill of the band that nine in ten lie in."""
BAND_NARROW: Final = "#aab6c1"
"""Fill of the band that half lie in."""


def temperature(value_c: ArrayLike, units: str | UnitChoice) -> Floats:
    """Return temperature points in the chosen unit. `value_c` is in °C."""
    values = np.asarray(value_c, dtype=float)
    return (
        convert.celsius_to_fahrenheit(values) if as_units(units).temperature == "F" else values
    )


def length(value_m: ArrayLike, units: str | UnitChoice) -> Floats:
    """Return lengths in the chosen unit. `value_m` is in metres."""
    values = np.asarray(value_m, dtype=float)
    if as_units(units).length == "in":
        return convert.metres_to_inches(values)
    return convert.metres_to_millimetres(values)


def mass(value_kg: ArrayLike, units: str | UnitChoice) -> Floats:
    """Return masses in the chosen unit. `value_kg` is in kilograms."""
    values = np.asarray(value_kg, dtype=float)
    return convert.kilograms_to_pounds(values) if as_units(units).mass == "lb" else values


def format_temperature(value_c: float, units: str | UnitChoice, digits: int = 0) -> str:
    """Return one temperature as text, such as "71 °C"; "unknown" if not finite."""
    return Degrees(float(value_c), digits).shown(units)


def format_hours(seconds: float) -> str:
    """Return a time as "3 h 20 min" or "50 min"; "unknown" if not finite."""
    return Lasting(float(seconds)).shown(METRIC)


def label_temperature(ax: Axes, units: str | UnitChoice = "C", *, axis: str = "y") -> None:
    """Label an axis as temperature in the chosen unit."""
    words = f"temperature ({temperature_symbol(units)})"
    (ax.set_xlabel if axis == "x" else ax.set_ylabel)(words)


def label_hours(ax: Axes) -> None:
    """Label the horizontal axis as time in hours."""
    ax.set_xlabel("time (h)")


def label_length(ax: Axes, units: str | UnitChoice = "C", *, what: str = "position") -> None:
    """Label the horizontal axis as a length in the chosen unit."""
    ax.set_xlabel(f"{what} ({as_units(units).length})")


FONT_SIZE: Final = 10.0


def apply_style(ax: Axes, *, title: str = "") -> None:
    """Give one axes the shared look: quiet frame, light grid, left title.

    Parameters
    ----------
    title : str
        A short title in words, set at the left.
    """
    ink = PALETTE["text"]
    ax.set_facecolor("white")
    for side in ("top", "right"):
        ax.spines[side].set_visible(False)
    for side in ("left", "bottom"):
        ax.spines[side].set_color("#8c949b")
        ax.spines[side].set_linewidth(0.8)
    ax.grid(True, which="major", color=PALETTE["grid"], linewidth=0.7)
    ax.set_axisbelow(True)
    ax.tick_params(colors=ink, labelsize=FONT_SIZE - 1, length=3.5, width=0.8)
    ax.xaxis.label.set_color(ink)
    ax.yaxis.label.set_color(ink)
    ax.xaxis.label.set_fontsize(FONT_SIZE)
    ax.yaxis.label.set_fontsize(FONT_SIZE)
    if title:
        # A stated place: looking for one measures every label, a third of a redraw.
        ax.set_title(
            title, loc="left", y=1.0, fontsize=FONT_SIZE + 1, color=ink, fontweight="bold"
        )


def apply_time_ticks(ax: Axes, end_hours: float) -> None:
    """Set hour ticks that stay whole and few."""
    ax.xaxis.set_major_locator(MaxNLocator(nbins=8, integer=end_hours > 4, min_n_ticks=3))
    ax.xaxis.set_minor_locator(AutoMinorLocator(2))


def legend(ax: Axes, **options: Any) -> Any:
    """Add the shared legend: no frame, small, above the lines."""
    settings: dict[str, Any] = {
        "frameon": True,
        "framealpha": 0.85,
        "edgecolor": "none",
        "fontsize": FONT_SIZE - 1.5,
        "handlelength": 3.2,
        "labelspacing": 0.3,
        "borderpad": 0.25,
        **options,
    }
    return ax.legend(**settings)


def area(meaning: str, **options: Any) -> Patch:
    """Return a legend patch for a meaning that is drawn as an area."""
    ink = INKS[meaning]
    return Patch(facecolor=ink.colour, hatch=ink.hatch, label=ink.label, **options)
