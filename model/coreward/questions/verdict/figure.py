"""Pictures of a verdict: the cook with its kill, and the map of holds."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from numpy.typing import NDArray

from coreward.drawing.style import (
    INKS,
    apply_style,
    format_temperature,
    label_hours,
    label_temperature,
    legend,
    temperature,
)
from coreward.errors import InputError
from coreward.physics.lethality import CREDIT_FROM_C, Kinetics, load_kinetics
from coreward.questions.verdict import MET, IntegralView, Verdict
from coreward.tables.standards import Standard, load_standard
from coreward.words import UnitChoice, as_units, shown

Floats = NDArray[np.float64]
_HOUR = 3600.0
_MINUTE = 60.0
_SHOWN_LOGS = 12.0  # beyond this a count of survivors means nothing
_LOG_LINES = (1, 3, 5, 6.5, 9)
_MARKERS = ("o", "s", "^", "D", "v", "P", "X", "*", "h")
_SIZE = (8.0, 5.6)
_MAP_SIZE = (7.4, 5.4)


def figure_verdict(verdict: Verdict, units: str | UnitChoice = "C") -> Figure:
    """Draw the coldest point, every standard on it, and the kill added up below.

    Above: the judged temperature and every limit on the history on one time axis (the
    growth range and the come-up in it, the floor of hot holding, cooling limits and, if
    judged, reheating), and a mark at each row that a standard asks for (from where it is
    first reached, as long as its time; solid where met). Below: cumulative log reduction,
    as read and with 95 % confidence, for each log10 view.

    Parameters
    ----------
    verdict : Verdict
        From `coreward.questions.verdict.verdict`.
    units : str or UnitChoice
        "C", "F" or a choice of units.

    Returns
    -------
    Figure
        A new figure; the caller closes it.

    Raises
    ------
    InputError
        Unknown units.
    """
    choice = as_units(units)
    figure = Figure(figsize=_SIZE, layout="constrained")
    upper, lower = figure.subplots(2, 1, sharex=True, height_ratios=(3, 2))
    _draw_history(upper, verdict, choice)
    _draw_kill(lower, verdict)
    label_hours(lower)
    figure.align_ylabels()
    return figure


def _draw_history(ax: Axes, verdict: Verdict, choice: UnitChoice) -> None:
    record = verdict.record
    hours = record.time_s / _HOUR
    core = INKS["core"].kwargs() | {"label": shown(record.point, choice)}
    ax.plot(hours, temperature(record.coldest_c, choice), **core)
    if record.surface_c is not None:
        ax.plot(hours, temperature(record.surface_c, choice), **INKS["surface"].kwargs())
    come_up = next(item for item in verdict.limits if item.kind == "come-up")
    low, high = (float(temperature(t, choice)) for t in (come_up.from_c, come_up.to_c))
    ax.axhspan(low, high, facecolor=INKS["band"].colour, alpha=0.22, linewidth=0.0, zorder=0)
    _name_band(ax, low, high, "growth range")
    if come_up.start_s is not None and come_up.end_s is not None:
        late = come_up.state == "not met"
        ink = INKS["caution" if late else "band"]
        ax.fill_between(
            [come_up.start_s / _HOUR, come_up.end_s / _HOUR],
            low,
            high,
            facecolor=ink.colour,
            alpha=0.25 if late else 0.6,
            hatch=ink.hatch or None,
            linewidth=0.0,
            label=f"come-up band, {'past' if late else 'within'} {come_up.limit_s / _HOUR:g} h",
        )
        limit_h = (come_up.start_s + come_up.limit_s) / _HOUR
        if limit_h <= hours[-1]:
            ax.plot(
                [limit_h] * 2,
                [low, high],
                color=INKS["caution"].colour,
                linestyle="--",
                label="come-up limit",
            )
    _draw_cooling(ax, verdict, choice)
    _draw_reheating(ax, verdict, choice)
    _draw_hot_holding(ax, verdict, choice)
    for number, item in enumerate(item for item in verdict.standards if item.counts):
        if item.limit_c is None or item.required_s is None:
            continue
        start = _start_of_hold(verdict, item.limit_c)
        end = start + item.required_s / _HOUR
        level = float(temperature(item.limit_c, choice))
        met = item.state == MET
        ink = INKS["target" if met else "caution"]
        ax.plot(
            [start, end],
            [level, level],
            color=ink.colour,
            linestyle="-" if met else ":",
            marker=_MARKERS[number % len(_MARKERS)],
            markersize=5,
            markerfacecolor=ink.colour if met else "none",
            linewidth=2.2,
            label=f"{item.name}: {item.state}",
        )
    label_temperature(ax, choice)
    apply_style(
        ax, title=f"{verdict.state}: {' and '.join(verdict.meats)}, {verdict.condition}"
    )
    legend(ax, fontsize="x-small", loc="center left", bbox_to_anchor=(1.01, 0.5))


def _draw_cooling(ax: Axes, verdict: Verdict, choice: UnitChoice) -> None:
    """Draw each cooling limit as a step: in at the upper end, out at the lower in time."""
    labelled = False
    for item in verdict.limits:
        if item.kind != "cooling" or item.start_s is None:
            continue
        start, end = item.start_s / _HOUR, (item.start_s + item.limit_s) / _HOUR
        upper, lower = (float(temperature(t, choice)) for t in (item.from_c, item.to_c))
        ink = INKS["caution" if item.state == "not met" else "wet_bulb"]
        ax.plot(
            [start, end, end],
            [upper, upper, lower],
            color=ink.colour,
            linestyle=ink.line,
            linewidth=1.5,
            label=None if labelled else f"{item.name}: stay below this corner",
        )
        labelled = True


def _name_band(ax: Axes, low: float, high: float, name: str) -> None:
    """Write the name of a band at its right edge, inside."""
    ax.text(
        0.995,
        0.5 * (low + high),
        name,
        transform=ax.get_yaxis_transform(),
        rotation=90.0,
        horizontalalignment="right",
        verticalalignment="center",
        fontsize="x-small",
        color=INKS["text"].colour,
    )


def _draw_reheating(ax: Axes, verdict: Verdict, choice: UnitChoice) -> None:
    """Draw reheating as a step: out of the cold at its left, hot by its right edge."""
    for item in verdict.limits:
        if item.kind != "reheating" or item.start_s is None or item.reading_c is None:
            continue
        start, end = item.start_s / _HOUR, (item.start_s + item.limit_s) / _HOUR
        cold, hot = (float(temperature(t, choice)) for t in (item.from_c, item.reading_c))
        ink = INKS["target" if item.state == MET else "caution"]
        ax.plot(
            [start, start, end],
            [cold, hot, hot],
            color=ink.colour,
            linestyle="-" if item.state == MET else ":",
            marker="",
            linewidth=1.5,
            label=f"{item.name}: {item.state}; cross this line",
        )


def _draw_hot_holding(ax: Axes, verdict: Verdict, choice: UnitChoice) -> None:
    """Draw the reading to stay above, from the first to the last reading that reached it."""
    named: set[str] = set()
    for hot in verdict.limits:
        if hot.kind != "hot holding" or hot.reading_c is None:
            continue
        if hot.start_s is None or hot.end_s is None:
            continue
        floor = float(temperature(hot.reading_c, choice))
        ink = INKS["caution" if hot.state == "not met" else "drip"]
        ax.plot(
            [hot.start_s / _HOUR, hot.end_s / _HOUR],
            [floor, floor],
            color=ink.colour,
            linestyle=INKS["drip"].line,
            linewidth=1.6,
            label=None if hot.state in named else f"hot-holding floor: {hot.state}",
        )
        named.add(hot.state)


def _start_of_hold(verdict: Verdict, limit_c: float) -> float:
    """Hour at which the mark of a row begins: where it is first reached, or the end."""
    record = verdict.record
    above = np.flatnonzero(np.nan_to_num(record.coldest_c, nan=-np.inf) >= limit_c)
    return float(record.time_s[above[0] if above.size else -1]) / _HOUR


def _draw_kill(ax: Axes, verdict: Verdict) -> None:
    views = [view for view in verdict.integrals if view.unit == "log10"]
    inks = [INKS[name] for name in ("meat", "meat_2", "meat_3")]
    highest = 1.0
    for number, view in enumerate(views):
        ink = inks[number % len(inks)]
        hours = view.history.time_s / _HOUR
        drawn = ink.kwargs() | {"marker": None}
        ax.plot(hours, _shown(view.history.cumulative), **drawn | {"label": view.name})
        ax.plot(
            hours,
            _shown(view.confident_curve),
            color=ink.colour,
            linestyle=":",
            linewidth=1.6,
            label=f"{view.name}, 95 %",
        )
        ax.axhline(
            min(view.required, _SHOWN_LOGS),
            color=ink.colour,
            linewidth=0.9,
            linestyle=INKS["target"].line,
        )
        highest = max(highest, view.required, _top(view))
    ax.set_ylim(0.0, min(highest, _SHOWN_LOGS) * 1.08)
    ax.set_ylabel(f"log reduction\n(drawn to {_SHOWN_LOGS:g})")
    apply_style(ax, title="")
    legend(ax, fontsize="x-small", loc="center left", bbox_to_anchor=(1.01, 0.5))


def _shown(values: Floats) -> Floats:
    return np.minimum(values, _SHOWN_LOGS)


def _top(view: IntegralView) -> float:
    return float(view.history.cumulative[-1])


def figure_hold_map(
    kinetics: Kinetics | str | None = None,
    standard_points: Sequence[Standard | str] = ("us meat 6.5 log", "uk 70 for 2 min"),
    units: str | UnitChoice = "C",
    *,
    mark: tuple[float, float] | None = None,
    verdict: Verdict | None = None,
) -> Figure:
    """Map temperature against hold time, with lines of equal log reduction.

    Parameters
    ----------
    kinetics : Kinetics or str, optional
        Which organism; the default of the table when absent.
    standard_points : sequence of Standard or str
        Standards whose rows are drawn, at the time that is *used*.
    units : str or UnitChoice
        "C", "F" or a choice of units.
    mark : tuple of float, optional
        The user's hold: temperature [°C] and time. [s]
    verdict : Verdict, optional
        A cook to draw as a curve: for each temperature, how long the record was at or
        above it.

    Returns
    -------
    Figure
        A new figure; the caller closes it.

    Raises
    ------
    InputError, TableError
        Unknown units, kinetics or standard; a mark that is no hold.
    """
    choice = as_units(units)
    chosen = kinetics if isinstance(kinetics, Kinetics) else load_kinetics(kinetics)
    standards = [
        item if isinstance(item, Standard) else load_standard(item) for item in standard_points
    ]
    figure = Figure(figsize=_MAP_SIZE, layout="constrained")
    ax = figure.subplots()
    low, high = max(chosen.valid_low_c, CREDIT_FROM_C), chosen.valid_high_c
    levels = np.linspace(low, high, 60)
    d_minutes = chosen.d_minutes(levels)
    for number, logs in enumerate(_LOG_LINES):
        ax.plot(
            temperature(levels, choice),
            logs * d_minutes,
            color=INKS["meat_3"].colour,
            linewidth=1.0 + 0.15 * number,
            linestyle="-",
        )
        ax.annotate(
            f"{logs:g} log",
            (float(temperature(levels[-1], choice)), float(logs * d_minutes[-1])),
            textcoords="offset points",
            xytext=(3, -3),
            fontsize="x-small",
            color=INKS["meat_3"].colour,
        )
    for number, standard in enumerate(standards):
        rows = standard.temperatures_c
        ax.plot(
            temperature(rows, choice),
            [standard.required_s(row) / _MINUTE for row in rows],
            linestyle="none",
            marker=_MARKERS[number % len(_MARKERS)],
            markersize=5,
            markerfacecolor="none" if number % 2 else INKS["target"].colour,
            markeredgecolor=INKS["target"].colour,
            label=standard.name,
        )
    if verdict is not None:
        _draw_cook(ax, verdict, choice)
    if mark is not None:
        _draw_mark(ax, mark, choice)
    ax.set_yscale("log")
    ax.set_ylabel("hold at that minimum, min")
    label_temperature(ax, choice, axis="x")
    ends = f"{format_temperature(low, choice, 1)} to {format_temperature(high, choice, 1)}"
    apply_style(ax, title=f"{chosen.organism} in {chosen.food}\nvalid {ends}")
    legend(ax, fontsize="x-small", loc="upper right")
    return figure


def _draw_cook(ax: Axes, verdict: Verdict, choice: UnitChoice) -> None:
    time, coldest = verdict.record.known()
    if time.size < 2:
        return
    width = np.diff(time)
    lower = np.minimum(coldest[:-1], coldest[1:])
    counted = width <= verdict.record.longest_gap_s
    levels = np.linspace(CREDIT_FROM_C, max(float(np.max(coldest)), CREDIT_FROM_C + 0.1), 80)
    held = np.array([float(np.sum(width[counted & (lower >= level)])) for level in levels])
    some = held > 0.0
    ax.plot(
        temperature(levels[some], choice),
        held[some] / _MINUTE,
        **INKS["core"].kwargs() | {"label": "this cook: time at or above"},
    )


def _draw_mark(ax: Axes, mark: tuple[float, float], choice: UnitChoice) -> None:
    at_c, held_s = mark
    if not (np.isfinite(at_c) and np.isfinite(held_s) and held_s > 0.0):
        raise InputError(
            f"the mark is {mark!r}: give a temperature in °C and a hold above zero seconds."
        )
    ax.plot(
        [float(temperature(at_c, choice))],
        [held_s / _MINUTE],
        linestyle="none",
        marker=INKS["event"].marker,
        markersize=11,
        color=INKS["event"].colour,
        label="your hold",
    )
