"""Pictures the size of a playing card, for the page where one chooses a question.

Each is drawn from a computed answer. There is room for one thing: the curve, what it is
about, and the units at the ends of the axes.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from typing import Any, Final

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator
from numpy.typing import NDArray

from coreward.drawing import style
from coreward.drawing.style import INKS, PALETTE
from coreward.words import UnitChoice

Floats = NDArray[np.float64]

_SIZE: Final = (3.0, 1.75)
_FONT: Final = 8.0
_HOUR: Final = 3600.0
_MOST_POINTS: Final = 240


def _card(across: str, up: str) -> tuple[Figure, Axes]:
    figure = Figure(figsize=_SIZE)
    ax = figure.add_axes((0.14, 0.22, 0.83, 0.65))
    for side in ("top", "right"):
        ax.spines[side].set_visible(False)
    for side in ("left", "bottom"):
        ax.spines[side].set_color("#8c949b")
    ax.tick_params(labelsize=_FONT - 1, length=2, pad=2, colors=PALETTE["text"])
    ax.xaxis.set_major_locator(MaxNLocator(4, integer=True))
    ax.yaxis.set_major_locator(MaxNLocator(4, integer=True))
    ax.set_xlabel(across, fontsize=_FONT, labelpad=1, loc="right", color=PALETTE["text"])
    # Above the axis: beside it a rotated word would take a third of the card.
    ax.annotate(
        up,
        (0.0, 1.0),
        xycoords="axes fraction",
        xytext=(-14, 3),
        textcoords="offset points",
        fontsize=_FONT,
        color=PALETTE["text"],
    )
    return figure, ax


def _line(ax: Axes, meaning: str, x: Floats, y: Floats) -> None:
    step = max(1, len(x) // _MOST_POINTS)
    kwargs = INKS[meaning].kwargs() | {"marker": None}
    ax.plot(x[::step], y[::step], **kwargs)


def _say(ax: Axes, words: str, x: float, y: float, **options: Any) -> None:
    ax.text(x, y, words, fontsize=_FONT, color=PALETTE["text"], **options)


def thumb_stall(cook: Any, told: Any, units: str | UnitChoice = "C") -> Figure:
    """Draw core and pit, with the longest stall shaded."""
    figure, ax = _card("h", style.temperature_symbol(units))
    hours = cook.time_s / _HOUR
    for stall in told.stalls:
        begin, end = stall.begin_s / _HOUR, stall.end_s / _HOUR
        ax.axvspan(
            begin, end, facecolor=INKS["stall"].colour, hatch="////", edgecolor="#cbb88d"
        )
    _line(ax, "air", hours, style.temperature(told.air_c, units))
    _line(ax, "core", hours, style.temperature(cook.core_c, units))
    ax.set_xlim(0.0, hours[-1])
    return figure


def thumb_log(log: Any, units: str | UnitChoice = "C") -> Figure:
    """Draw the curves of a log."""
    figure, ax = _card("h", style.temperature_symbol(units))
    hours = log.time_s / _HOUR
    _line(ax, "air", hours, style.temperature(log.air_c, units))
    for meaning, channel in zip(("meat", "meat_2", "meat_3"), log.meats, strict=False):
        _line(ax, meaning, hours, style.temperature(channel.temperature_c, units))
    ax.set_xlim(0.0, hours[-1])
    return figure


def thumb_day(rows: Sequence[tuple[str, float, float]], serve: dt.datetime) -> Figure:
    """Draw a bar for each piece, from the pit to the plate.

    Parameters
    ----------
    rows : sequence of (name, on, pulled)
        Hours before the serving, both positive.
    serve : datetime
    """
    figure, ax = _card("", "")
    first = max(on for _, on, _ in rows)
    for number, (name, on, pulled) in enumerate(rows):
        ax.barh(number, on - pulled, left=-on, height=0.6, color=PALETTE["core"])
        ax.barh(
            number,
            pulled,
            left=-pulled,
            height=0.6,
            color=PALETTE["band"],
            hatch="//",
            edgecolor="#8c949b",
        )
        _say(ax, name, -on - 0.15, number, ha="right", va="center")
    ax.axvline(0.0, color=PALETTE["caution"], linewidth=1.6)
    ax.set_xlim(-1.45 * first, 0.06 * first)
    ax.set_ylim(len(rows) - 0.4, -0.6)
    ax.set_yticks([])
    ax.spines["left"].set_visible(False)
    hours = np.arange(0.0, 1.2 * first, 4.0 if first > 9.0 else 2.0)
    clocks = [f"{serve - dt.timedelta(hours=float(hour)):%H:%M}" for hour in hours]
    ax.set_xticks(-hours, clocks)
    return figure


def thumb_pull(cook: Any, pull_s: float, units: str | UnitChoice = "C") -> Figure:
    """Draw the core through the pull, with its peak marked."""
    figure, ax = _card("h", style.temperature_symbol(units))
    hours = cook.time_s / _HOUR
    core = style.temperature(cook.core_c, units)
    _line(ax, "surface", hours, style.temperature(cook.surface_c, units))
    _line(ax, "core", hours, core)
    ax.axvline(pull_s / _HOUR, color=PALETTE["event"], linewidth=1.2, linestyle=(0, (4, 2)))
    peak = int(np.argmax(core))
    ax.plot(hours[peak], core[peak], "o", color=PALETTE["core"], markersize=6)
    ax.set_xlim(0.0, hours[-1])
    return figure


def thumb_hold(
    levels_c: Floats, asked_s: Floats, held_s: Floats, units: str | UnitChoice = "C"
) -> Figure:
    """Draw the time a standard asks for at each temperature, and the time a cook held."""
    figure, ax = _card(style.temperature_symbol(units), "min")
    across = style.temperature(levels_c, units)
    ax.plot(across, asked_s / 60.0, "s", color=PALETTE["target"], markersize=3.5)
    some = held_s > 0.0
    _line(ax, "core", across[some], held_s[some] / 60.0)
    ax.set_yscale("log")
    ax.yaxis.set_major_formatter("{x:g}")
    ax.set_ylim(0.1, 400.0)
    _say(ax, "asked", across[0], float(asked_s[0]) / 40.0)
    return figure


def thumb_bands(
    time_s: Floats,
    low_c: Floats,
    middle_c: Floats,
    high_c: Floats,
    target_c: float,
    came_s: float | None,
    units: str | UnitChoice = "C",
) -> Figure:
    """Draw a forecast: band and middle, the temperature it waits for, and when that came."""
    figure, ax = _card("h", style.temperature_symbol(units))
    hours = time_s / _HOUR
    ax.fill_between(
        hours,
        style.temperature(low_c, units),
        style.temperature(high_c, units),
        facecolor=PALETTE["band"],
        edgecolor="#8c949b",
    )
    _line(ax, "core", hours, style.temperature(middle_c, units))
    level = float(style.temperature(target_c, units))
    ax.axhline(level, color=PALETTE["target"], linewidth=1.0)
    if came_s is not None:
        ax.plot(came_s / _HOUR, level, "v", color=PALETTE["event"], markersize=7)
    ax.set_xlim(hours[0], hours[-1])
    return figure


def thumb_pairs(measured: Sequence[float], computed: Sequence[float], unit: str) -> Figure:
    """Draw computed against measured, with the line on which they would agree."""
    figure, ax = _card(f"measured, {unit}", f"computed, {unit}")
    most = 1.1 * max(*measured, *computed)
    ax.plot([0.0, most], [0.0, most], color=PALETTE["target"], linewidth=1.0, linestyle="--")
    ax.plot(measured, computed, "D", color=PALETTE["caution"], markersize=5)
    ax.set_xlim(0.0, most)
    ax.set_ylim(0.0, most)
    return figure


def thumb_errors(over: Floats, error_k: Floats) -> Figure:
    """Draw the distance to an exact series through the heating."""
    figure, ax = _card("time", "K off")
    ax.plot(over, np.maximum(np.abs(error_k), 1e-6), color=PALETTE["convection"], linewidth=1.6)
    ax.set_yscale("log")
    ax.set_ylim(1e-5, 1.0)
    ax.set_yticks([1e-4, 1e-2, 1.0], ["0.0001", "0.01", "1"])
    ax.set_xticks([])
    return figure


def thumb_class(steps: Sequence[Any]) -> Figure:
    """Draw a class as a row of stretches, as long as they last."""
    figure, ax = _card("min", "")
    fills = (PALETTE["band"], PALETTE["stall"])
    start = 0
    for number, step in enumerate(steps):
        ax.barh(
            0,
            step.minutes,
            left=start,
            height=0.8,
            color=fills[number % 2],
            edgecolor="#6d757c",
            linewidth=0.6,
        )
        _say(ax, str(number + 1), start + step.minutes / 2, 0, ha="center", va="center")
        start += step.minutes
    ax.set_xlim(0, start)
    ax.set_ylim(-1.0, 1.0)
    ax.set_yticks([])
    ax.spines["left"].set_visible(False)
    return figure
