"""The picture of a probe log: air and meat, gaps, repairs, ranges and plateaus."""

from __future__ import annotations

import datetime as dt
from itertools import pairwise
from typing import Any

import matplotlib.dates
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Patch
from numpy.typing import NDArray

from coreward.drawing.style import (
    FONT_SIZE,
    INKS,
    PALETTE,
    apply_style,
    apply_time_ticks,
    label_hours,
    label_temperature,
    legend,
    temperature,
)
from coreward.logs.log import Channel, ProbeLog
from coreward.questions.review.answer import Review, default_ranges_c
from coreward.words import UnitChoice, as_units

Floats = NDArray[np.float64]

_dates: Any = matplotlib.dates  # its functions carry no types

_MEAT_INKS = ("meat", "meat_2", "meat_3", "core", "surface", "mean", "wet_bulb")
_AMBIENT_INK = "dew_point"
_MOST_POINTS = 3000  # twice the pixels of a wide screen; more cannot be seen


def figure_log(
    log: ProbeLog,
    review: Review | None = None,
    units: str | UnitChoice = "C",
) -> Figure:
    """Draw a log.

    Parameters
    ----------
    review : Review, optional
        Gives the shaded ranges and the plateaus; without it the default ranges are used.

    Returns
    -------
    Figure
        Not registered with pyplot, so it needs no closing.

    Raises
    ------
    InputError
        If the unit is unknown.
    """
    chosen = as_units(units)
    axis = TimeAxis(log)
    figure = Figure(figsize=(9.0, 5.2), layout="constrained")
    ax = figure.add_subplot()
    apply_style(ax, title=log.source)
    for channel, ink in _inked(log):
        _draw_channel(ax, log, channel, ink, axis, chosen)
    low, high = _limits(log, chosen)
    ax.set_ylim(low, high)
    _shade_ranges(ax, review, chosen, low, high)
    extra = [*_draw_gaps(ax, log, axis), *_draw_repairs(ax, log, axis)]
    if review is not None:
        extra += _draw_plateaus(ax, review, axis)
    axis.label(ax)
    label_temperature(ax, chosen)
    handles = [*ax.get_legend_handles_labels()[0], *extra]
    # Below the axes: a log fills its whole frame, and the pit runs along its top.
    legend(ax, handles=handles, loc="upper center", bbox_to_anchor=(0.5, -0.13), ncols=3)
    return figure


class TimeAxis:
    """Time of day where the log knows it, else elapsed hours."""

    def __init__(self, log: ProbeLog, end_s: float | None = None) -> None:
        self._by_clock = log.start_clock is not None
        self._dated = log.start is not None
        self._end_s = log.duration_s if end_s is None else end_s
        first = log.start
        if first is None and log.start_clock is not None:
            first = dt.datetime.combine(dt.date(2000, 1, 1), log.start_clock)
        self._first = _dates.date2num(first.replace(tzinfo=None)) if first else 0.0

    def place(self, time_s: Floats | float) -> Floats:
        """Return positions on the axis."""
        seconds = np.asarray(time_s, dtype=float)
        if self._by_clock:
            return np.asarray(self._first + seconds / 86400.0)
        return seconds / 3600.0

    def label(self, ax: Axes) -> None:
        """Label the axis and set its ends."""
        ax.set_xlim(float(self.place(0.0)), float(self.place(self._end_s)))
        if self._by_clock:
            ax.xaxis.set_major_locator(_dates.AutoDateLocator(minticks=3, maxticks=9))
            long = self._dated and self._end_s > 36 * 3600.0
            form = "%d %b %H:%M" if long else "%H:%M"
            ax.xaxis.set_major_formatter(_dates.DateFormatter(form))
            ax.set_xlabel("time of day (h:min)")
        else:
            label_hours(ax)
            apply_time_ticks(ax, self._end_s / 3600.0)


def _inked(log: ProbeLog) -> list[tuple[Channel, str]]:
    inks = iter(_MEAT_INKS)
    pairs = []
    for channel in log.channels:
        if channel.role == "meat":
            pairs.append((channel, next(inks, _MEAT_INKS[-1])))
        else:
            pairs.append((channel, "air" if channel.role == "air" else _AMBIENT_INK))
    return pairs


def _draw_channel(
    ax: Axes, log: ProbeLog, channel: Channel, ink: str, axis: TimeAxis, units: UnitChoice
) -> None:
    times, values = thinned(log.time_s, channel.temperature_c)
    wide = np.flatnonzero(np.diff(times) > max(log.gap_limit_s, 0.0))
    if times.size == log.time_s.size and wide.size:
        times = np.insert(times, wide + 1, times[wide])
        values = np.insert(values, wide + 1, np.nan)
    ax.plot(
        axis.place(times),
        temperature(values, units),
        **{**INKS[ink].kwargs(), "label": f"{channel.name} ({channel.role})"},
    )


def thinned(times: Floats, values: Floats) -> tuple[Floats, Floats]:
    """Keep lowest and highest of each stretch, so that no peak and no dip is lost."""
    if times.size <= _MOST_POINTS:
        return times, values
    blocks = np.array_split(np.arange(times.size), _MOST_POINTS // 2)
    kept: set[int] = set()
    for block in blocks:
        part = values[block]
        known = np.flatnonzero(np.isfinite(part))
        if known.size < part.size:
            kept.add(int(block[np.flatnonzero(~np.isfinite(part))[0]]))
        if known.size:
            kept.add(int(block[known[np.argmin(part[known])]]))
            kept.add(int(block[known[np.argmax(part[known])]]))
    index = np.asarray(sorted(kept))
    return times[index], values[index]


def _limits(log: ProbeLog, units: UnitChoice) -> tuple[float, float]:
    stack = np.concatenate([channel.temperature_c for channel in log.channels])
    known = temperature(stack[np.isfinite(stack)], units)
    low, high = (float(known.min()), float(known.max())) if known.size else (0.0, 1.0)
    margin = 0.06 * max(high - low, 5.0)
    return low - margin, high + 3.0 * margin


def _shade_ranges(
    ax: Axes, review: Review | None, units: UnitChoice, low: float, high: float
) -> None:
    if review is None:
        edges_c = default_ranges_c()
    else:
        edges_c = tuple(
            entry.high_c for entry in review.coldest.ranges if entry.high_c is not None
        )
    edges = [float(temperature(edge, units)) for edge in edges_c]
    bounds = [low, *(edge for edge in edges if low < edge < high), high]
    for number, (bottom, top) in enumerate(pairwise(bounds)):
        if number % 2:
            ax.axhspan(bottom, top, color=PALETTE["band"], alpha=0.35, linewidth=0.0, zorder=0)
    for edge in bounds[1:-1]:
        ax.annotate(
            f"{edge:.0f}",
            (1.0, edge),
            xycoords=("axes fraction", "data"),
            xytext=(3, 0),
            textcoords="offset points",
            va="center",
            fontsize=FONT_SIZE - 3,
            color=PALETTE["text"],
            annotation_clip=False,
        )


def _draw_gaps(ax: Axes, log: ProbeLog, axis: TimeAxis) -> list[Patch]:
    for start, end in log.gaps:
        ax.axvspan(
            float(axis.place(start)),
            float(axis.place(end)),
            facecolor="none",
            edgecolor=PALETTE["caution"],
            hatch="xxx",
            alpha=0.4,
            linewidth=0.8,
        )
    if not log.gaps:
        return []
    return [
        Patch(facecolor="none", edgecolor=PALETTE["caution"], hatch="xxx", label="gap: no rows")
    ]


def _draw_repairs(ax: Axes, log: ProbeLog, axis: TimeAxis) -> list[Patch]:
    """Mark where cells count as missing: a short bar of triangles under the curves."""
    missing = ~np.all(np.vstack([channel.plugged for channel in log.channels]), axis=0)
    places = log.time_s[missing]
    if places.size:
        if places.size > _MOST_POINTS:
            places = places[:: places.size // _MOST_POINTS + 1]
        ink = INKS["event"]
        ax.plot(
            axis.place(places),
            np.full(places.shape, 0.02),
            ink.marker,
            color=ink.colour,
            markersize=4.0,
            transform=ax.get_xaxis_transform(),
            label="a probe without reading",
            clip_on=False,
            zorder=4,
        )
    dropped = [repair for repair in log.repairs if repair.row is not None and not repair.column]
    if dropped:
        rows = sum(
            (repair.last_row or repair.row or 0) - (repair.row or 0) + 1 for repair in dropped
        )
        return [
            Patch(
                facecolor="none",
                edgecolor="none",
                label=f"{rows} rows moved or left out (see the list)",
            )
        ]
    return []


def _draw_plateaus(ax: Axes, review: Review, axis: TimeAxis) -> list[Patch]:
    ink = INKS["stall"]
    shown = [plateau for plateau in review.coldest.plateaus if plateau.kind == "stall"]
    for plateau in shown:
        ax.axvspan(
            float(axis.place(plateau.start_s)),
            float(axis.place(plateau.end_s)),
            facecolor=ink.colour,
            edgecolor="#b9a377",
            hatch=ink.hatch,
            alpha=0.45,
            linewidth=0.0,
            zorder=0.5,
        )
    if not shown:
        return []
    return [
        Patch(
            facecolor=ink.colour,
            edgecolor="#b9a377",
            hatch=ink.hatch,
            alpha=0.45,
            label="stall, coldest probe",
        )
    ]
