"""The picture of a running cook: what was read, what the fit says, where it goes."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Patch
from numpy.typing import NDArray

from coreward.drawing.style import (
    BAND_NARROW,
    BAND_WIDE,
    INKS,
    PALETTE,
    apply_style,
    format_hours,
    format_temperature,
    label_temperature,
    legend,
    temperature,
)
from coreward.events.found import Event
from coreward.logs.log import ProbeLog
from coreward.questions.forecast.answer import BANDS, Forecast
from coreward.questions.review.figure import TimeAxis, thinned
from coreward.words import UnitChoice, as_units

Floats = NDArray[np.float64]

_LONGEST_AHEAD_S = 16 * 3600.0
_BINS = 40
# Events that a person would look for on the curve; the rest only clutter it.
_MARKED = (
    "meat_on",
    "lid_opened",
    "fuel_dying",
    "fuel_added",
    "wrapped",
    "pit_changed",
    "probe_moved",
    "probe_unplugged",
    "sensor_fault",
    "pulled",
)
_LETTERS: Mapping[str, str] = {
    "meat_on": "on",
    "lid_opened": "lid",
    "fuel_dying": "fire −",
    "fuel_added": "fire +",
    "wrapped": "wrap",
    "pit_changed": "pit",
    "probe_moved": "moved",
    "probe_unplugged": "out",
    "sensor_fault": "fault",
    "pulled": "pull",
}


def figure_forecast(
    answer: Forecast,
    log: ProbeLog,
    events: Sequence[Event] = (),
    *,
    meat: int = 1,
    units: str | UnitChoice = "C",
) -> Figure:
    """Draw a log up to now, its fit, its events and the fan of what may come.

    Parameters
    ----------
    events : sequence of Event
        Marked along the top.
    meat : int
        Which meat probe, from 1.

    Returns
    -------
    Figure
        Not registered with pyplot.
    """
    chosen = as_units(units)
    end_s = _right_end(answer, log)
    axis = TimeAxis(log, end_s)
    figure = Figure(figsize=(9.0, 6.0), layout="constrained")
    top, ax = figure.subplots(2, 1, sharex=True, height_ratios=(1.0, 5.0))
    _draw_past(ax, log, answer, meat, axis, chosen)
    ahead = answer.time_s <= end_s
    _draw_fan(ax, answer, ahead, axis, chosen)
    target = answer.target
    if target.kind == "core":
        level = float(temperature(target.value, chosen))
        ax.axhline(level, **{**INKS["target"].kwargs(), "label": None, "marker": None})
        ax.annotate(
            f"target {format_temperature(target.value, chosen)}",
            (0.995, level),
            xycoords=("axes fraction", "data"),
            ha="right",
            va="bottom",
            fontsize="small",
            color=PALETTE["target"],
        )
    now = float(axis.place(answer.now_s))
    ax.axvline(now, color=PALETTE["text"], linewidth=1.0)
    ax.annotate("now", (now, 0.01), xycoords=("data", "axes fraction"), fontsize="small")
    _mark_events(ax, events, answer.now_s, axis)
    apply_style(ax)
    label_temperature(ax, chosen)
    axis.label(ax)
    handles = [
        *ax.get_legend_handles_labels()[0],
        Patch(facecolor=BAND_NARROW, label="middle half"),
        Patch(facecolor=BAND_WIDE, label="nine in ten"),
    ]
    legend(ax, handles=handles, loc="upper center", bbox_to_anchor=(0.5, -0.14), ncols=4)
    _draw_finish(top, answer, axis, end_s)
    return figure


def _right_end(answer: Forecast, log: ProbeLog) -> float:
    late = answer.quantile_s(BANDS[-1])
    if not math.isfinite(late):
        late = answer.now_s + _LONGEST_AHEAD_S
    past = answer.now_s
    return min(
        max(late + 0.06 * (late - past) + 1800.0, past + 3600.0), past + answer.horizon_s
    )


def _draw_past(
    ax: Axes, log: ProbeLog, answer: Forecast, meat: int, axis: TimeAxis, units: UnitChoice
) -> None:
    known = log.time_s <= answer.now_s
    if np.isfinite(log.air_c).any():
        times, values = thinned(log.time_s[known], log.air_c[known])
        ax.plot(axis.place(times), temperature(values, units), **INKS["air"].kwargs())
    channel = log.meat(meat)
    times, values = thinned(log.time_s[known], channel.temperature_c[known])
    ax.plot(
        axis.place(times),
        temperature(values, units),
        **{**INKS["meat"].kwargs(), "label": channel.name},
    )
    past = answer.fitted.past
    if answer.pooled is not None and not answer.pooled.explains:
        return
    ax.plot(
        axis.place(past.begin_s + past.time_s),
        temperature(answer.fitted.predicted_c, units),
        **{**INKS["kept"].kwargs(), "label": "fit"},
    )


def _draw_fan(
    ax: Axes, answer: Forecast, ahead: NDArray[np.bool_], axis: TimeAxis, units: UnitChoice
) -> None:
    x = axis.place(answer.time_s[ahead])
    low, lower, middle, upper, high = (temperature(row[ahead], units) for row in answer.bands_c)
    ax.fill_between(x, low, high, color=BAND_WIDE, linewidth=0.0)
    ax.fill_between(x, lower, upper, color=BAND_NARROW, linewidth=0.0)
    ax.plot(x, middle, color=PALETTE["core"], linestyle=(0, (5, 2)), label="most likely")


def _mark_events(ax: Axes, events: Sequence[Event], now_s: float, axis: TimeAxis) -> None:
    shown = [e for e in events if e.kind in _MARKED and e.time_s <= now_s]
    last = -math.inf
    row = 0
    span = float(axis.place(now_s) - axis.place(0.0)) or 1.0
    for event in shown:
        x = float(axis.place(event.time_s))
        # Labels that would touch go one row lower.
        row = (row + 1) % 3 if x - last < 0.1 * span else 0
        last = x
        ax.axvline(x, color=PALETTE["event"], linestyle=INKS["event"].line, linewidth=0.8)
        ax.annotate(
            _LETTERS[event.kind] + ("?" if event.provisional else ""),
            (x, 0.985 - 0.05 * row),
            xycoords=("data", "axes fraction"),
            fontsize="x-small",
            va="top",
            color=PALETTE["event"],
        )


def _draw_finish(ax: Axes, answer: Forecast, axis: TimeAxis, end_s: float) -> None:
    """Chance of each time of being ready, as columns."""
    finite = answer.finish_s[np.isfinite(answer.finish_s)]
    inside = finite[finite <= end_s]
    if answer.already_s is None and len(inside) > 1:
        edges = np.linspace(answer.now_s, end_s, _BINS + 1)
        count, _ = np.histogram(inside, edges)
        ax.bar(
            axis.place(edges[:-1]),
            100.0 * count / len(answer.finish_s),
            width=np.diff(axis.place(edges)),
            align="edge",
            color=BAND_NARROW,
            edgecolor=PALETTE["text"],
            linewidth=0.4,
        )
    ax.axvline(float(axis.place(answer.now_s)), color=PALETTE["text"], linewidth=1.0)
    if math.isfinite(answer.median_s):
        x = float(axis.place(answer.median_s))
        ax.axvline(x, color=PALETTE["core"], linewidth=1.4)
    apply_style(ax)
    ax.set_ylabel("chance (%)")
    ax.tick_params(labelbottom=False)


def figure_ways(
    ways: Mapping[str, Forecast], log: ProbeLog, units: str | UnitChoice = "C"
) -> Figure:
    """Draw when each way of going on would be ready, one row each.

    Parameters
    ----------
    ways : mapping of str to Forecast
        From `coreward.questions.forecast.answer.compare_changes`.
    """
    as_units(units)
    figure = Figure(figsize=(9.0, 0.9 + 0.62 * len(ways)), layout="constrained")
    ax = figure.add_subplot()
    end_s = max(_right_end(answer, log) for answer in ways.values())
    first = next(iter(ways.values())).now_s
    axis = TimeAxis(log, end_s)
    for row, answer in enumerate(ways.values()):
        low, lower, middle, upper, high = (min(answer.quantile_s(p), end_s) for p in BANDS)
        for a, b, colour in ((low, high, BAND_WIDE), (lower, upper, BAND_NARROW)):
            left, right = float(axis.place(a)), float(axis.place(b))
            ax.barh(row, right - left, 0.5, left, color=colour, edgecolor="none")
        ax.plot(
            [float(axis.place(middle))], [row], color=PALETTE["core"], marker="|", markersize=16
        )
    apply_style(ax, title="Ready: most likely, middle half and nine in ten")
    names = [
        f"{name}\n({answer.never_share:.0%} not within {format_hours(answer.horizon_s)})"
        if answer.never_share > 0.01
        else name
        for name, answer in ways.items()
    ]
    ax.set_yticks(range(len(ways)), names)
    ax.invert_yaxis()
    axis.label(ax)
    ax.set_xlim(float(axis.place(first)), float(axis.place(end_s)))
    return figure
