"""Pictures of a verdict: the cook with its kill, and the map of holds."""

from __future__ import annotations

import textwrap

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from numpy.typing import NDArray

from coreward.drawing.style import (
    INKS,
    apply_style,
    label_hours,
    label_temperature,
    legend,
    temperature,
)
from coreward.questions.verdict import MET, IntegralView, Verdict
from coreward.words import Held, Needed, Published, UnitChoice, as_units, shown

Floats = NDArray[np.float64]
_HOUR = 3600.0
_SHOWN_LOGS = 12.0  # beyond this a count of survivors means nothing
_MARKERS = ("o", "s", "^", "D", "v", "P", "X", "*", "h")
_SIZE = (8.0, 5.6)


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


def figure_record(verdict: Verdict, units: str | UnitChoice = "C") -> Figure:
    """Draw the judged temperature, the reading asked for and its hold, in black: for a file.

    Parameters
    ----------
    units : str or UnitChoice
        "C", "F" or a choice of units.
    """
    choice = as_units(units)
    record, ink = verdict.record, INKS["text"].colour
    figure = Figure(figsize=(8.0, 2.2), layout="constrained")
    ax = figure.subplots()
    hours = record.time_s / _HOUR
    core = temperature(record.coldest_c, choice)
    ax.plot(hours, core, color=ink, linewidth=2.2)
    if record.air_c is not None:
        air = temperature(record.air_c, choice)
        ax.plot(hours, air, color=ink, linewidth=0.9, linestyle="-.")
        ax.annotate(
            "air", (hours[-1], air[-1]), (4, 0), textcoords="offset points", va="center"
        )
    deciding = [item for item in verdict.standards if item.counts and item.limit_c is not None]
    if deciding:
        # The one that asks for most beyond what it has.
        item = min(deciding, key=lambda one: one.margin_s or 0.0)
        assert item.limit_c is not None
        level = float(temperature(item.limit_c, choice))
        ax.axhline(level, color=ink, linewidth=1.0, linestyle=(0, (8, 4)))
        words = f"{shown(Published(item.limit_c), choice)} asked for"
        ax.annotate(words, (hours[0], level), (2, 3), textcoords="offset points", va="bottom")
        begin = _start_of_hold(verdict, item.limit_c)
        low, high = ax.get_ylim()
        if item.required_s is not None:
            said = f"hold asked for: {shown(Needed(item.required_s), choice)}"
            _hold_bar(ax, begin, item.required_s, low + 0.22 * (high - low), said, hatch="////")
        if item.held_s:
            said = f"held: {shown(Held(item.held_s), choice)}"
            _hold_bar(ax, begin, item.held_s, low + 0.38 * (high - low), said)
    label_temperature(ax, choice)
    label_hours(ax)
    apply_style(ax, title="")
    return figure


def _hold_bar(
    ax: Axes, begin: float, seconds: float, level: float, words: str, hatch: str = ""
) -> None:
    low, high = ax.get_ylim()
    ax.barh(
        level,
        seconds / _HOUR,
        left=begin,
        height=0.09 * (high - low),
        color="white" if hatch else "#808080",
        edgecolor=INKS["text"].colour,
        hatch=hatch,
        linewidth=0.8,
    )
    ax.annotate(
        words, (begin, level), (-4, 0), textcoords="offset points", ha="right", va="center"
    )


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
            label=f"{textwrap.fill(shown(item.title, choice), 34)}: {item.state}",
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
