"""The section of a piece: temperature, water, the slowest point and the probe."""

from __future__ import annotations

import math
from typing import Any, Final

import numpy as np
from matplotlib.axes import Axes
from matplotlib.colors import LinearSegmentedColormap
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator
from numpy.typing import NDArray

from coreward.cook.section import SectionResult
from coreward.drawing.style import (
    FONT_SIZE,
    PALETTE,
    apply_style,
    format_hours,
    label_length,
    legend,
    length,
    temperature,
    temperature_symbol,
)
from coreward.errors import InputError
from coreward.physics.body import FiniteCylinder
from coreward.questions.probe.answer import ProbeError, read_at
from coreward.words import UnitChoice, as_units

Floats = NDArray[np.float64]
# From light to dark, so that a grey print keeps the order.
_HEAT: Final = LinearSegmentedColormap.from_list("heat", ["#fdf6e3", "#e8a04c", "#7a1f2b"])
_WATER: Final = LinearSegmentedColormap.from_list("water", ["#f4f1ea", "#7fb0c9", "#123f63"])
_WIDTH: Final = 8.6
_LEVELS: Final = 9
_FLAT: Final = 1e-3


def _mirrored(values: Floats, axis: int) -> Floats:
    """Both halves of what the symmetry left out."""
    rest = np.take(values, np.arange(values.shape[axis] - 1, 0, -1), axis=axis)
    return np.concatenate((rest, values), axis=axis)


def _whole(places: Floats) -> Floats:
    return np.concatenate((-places[:0:-1], places))


def _contours(ax: Axes, x: Floats, y: Floats, field: Floats, cmap: Any, digits: int) -> None:
    """Fill between lines of equal value and write the value on each."""
    if float(np.ptp(field)) < _FLAT:
        ax.text(0.5, 0.5, f"{field.mean():.{digits}f} throughout", transform=ax.transAxes)
        return
    levels = MaxNLocator(nbins=_LEVELS).tick_values(float(field.min()), float(field.max()))
    ax.contourf(x, y, field, levels=levels, cmap=cmap)
    lines = ax.contour(x, y, field, levels=levels[1:-1], colors="#20262b", linewidths=0.7)
    words = ax.clabel(lines, fmt=f"%.{digits}f", fontsize=FONT_SIZE - 2, inline=True)
    for word in words or ():
        word.set_bbox({"facecolor": "white", "alpha": 0.75, "edgecolor": "none", "pad": 0.6})


def _probe(ax: Axes, answer: ProbeError, units: UnitChoice) -> None:
    """Draw the stem thin and what feels thick, with its value in words."""
    section = answer.cook.section
    assert section is not None
    lean = math.radians(answer.angle_deg)
    step = np.array([math.sin(lean), math.cos(lean)])  # along, across
    end = np.array([answer.along_m, answer.across_m])
    reach = 1.25 * max(section.across_m[-1], section.along_m[-1])
    for far, width, colour, word in (
        (reach, 2.2, "#20262b", ""),
        (answer.tip_m, 5.0, "#ffffff", ""),
        (answer.tip_m, 3.2, PALETTE["caution"], "what the probe feels"),
    ):
        line = np.column_stack((end, end + far * step))
        ax.plot(
            *length(line, units), color=colour, linewidth=width, label=word or None, zorder=5,
            solid_capstyle="round",
        )  # fmt: skip


def section_figure(
    shown: ProbeError | SectionResult, units: str | UnitChoice = "C", at_s: float | None = None
) -> Figure:
    """Draw the section of a cook at a moment, and the probe if one is asked about.

    Parameters
    ----------
    at_s : float, optional
        When. The moment of comparison of a probe, or the end of a cook, if not given. [s]

    Raises
    ------
    InputError
        If the cook has no section.
    """
    answer = shown if isinstance(shown, ProbeError) else None
    cook = shown.cook if isinstance(shown, ProbeError) else shown
    section = cook.section
    if section is None:
        raise InputError("This cook has no section: compute it with engine='section'.")
    units = as_units(units)
    if at_s is None:
        at_s = answer.core_s if answer else cook.duration_s
    x, y = (length(_whole(p), units) for p in (section.along_m, section.across_m))
    tall = float(np.ptp(y) / np.ptp(x)) * (_WIDTH - 1.2)
    moist = cook.piece.material.moist
    parts = 2 if moist else 1
    figure = Figure(figsize=(_WIDTH, parts * (min(max(tall, 1.4), 5.0) + 1.0) + 0.7))
    axes = figure.subplots(parts, 1, sharex=True, squeeze=False)[:, 0]
    hot = temperature(section.at(at_s), units)
    title = f"temperature ({temperature_symbol(units)}) after {format_hours(at_s)}"
    fields = [(hot, _HEAT, 0, title)]
    if moist:
        water = section.at(at_s, section.water)
        fields.append((water, _WATER, 1, "water (kg per kg dry)"))
    spot = (
        length([section.along_m[section.slowest[1]]], units),
        length([section.across_m[section.slowest[0]]], units),
    )
    for ax, (field, cmap, digits, words) in zip(axes, fields, strict=True):
        apply_style(ax, title=words)
        ax.grid(visible=False)
        both = _mirrored(_mirrored(field, 0), 1)
        _contours(ax, x, y, both, cmap, digits)
        ax.plot(
            *spot, "X", color="white", markeredgecolor="#20262b", markersize=11,
            label="slowest point", zorder=6, linestyle="none",
        )  # fmt: skip
        if answer is not None:
            _probe(ax, answer, units)
        ax.set_xlim(1.06 * x[0], 1.06 * x[-1])
        ax.set_ylim(1.06 * y[0], 1.06 * y[-1])
        ax.set_aspect("equal")
        radial = isinstance(cook.piece.shape, FiniteCylinder)
        ax.set_ylabel(f"{'from the axis' if radial else 'across'} ({as_units(units).length})")
    label_length(axes[-1], units, what="along" if radial else "width and length, as one")
    legend(axes[0], loc="lower left", bbox_to_anchor=(0.45, 1.0), ncol=2)
    figure.tight_layout()
    return figure


def section_words(shown: ProbeError, units: str | UnitChoice = "C") -> str:
    """Say what the picture shows, for those who cannot see it."""
    section = shown.cook.section
    assert section is not None
    here = read_at(section, (shown.across_m, shown.along_m), shown.angle_deg, shown.tip_m)
    reading = float(np.interp(shown.core_s, section.time_s, here))
    field = temperature(section.at(shown.core_s), units)
    return (
        f"Section of the piece after {format_hours(shown.core_s)}: lines of equal temperature "
        f"from {field.min():.0f} at the slowest point to {field.max():.0f} "
        f"{temperature_symbol(as_units(units))} at the edge; the probe reads "
        f"{float(temperature(reading, units)):.0f}. Below it the water."
    )
