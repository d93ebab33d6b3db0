"""Events marked on the picture of a log."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from coreward.drawing.style import FONT_SIZE, PALETTE, Dash, legend
from coreward.events.listed import KIND_WORDS, Event
from coreward.logs.log import ProbeLog
from coreward.questions.review.answer import Review
from coreward.questions.review.figure import figure_log
from coreward.words import UnitChoice

# What an event is about is told by the line and the mark; what it is, by its word.
_GROUPS: dict[str, tuple[tuple[str, ...], Dash, str, str]] = {
    "the fire": (
        ("lid_opened", "fuel_dying", "fuel_added", "pit_changed"),
        (0, (1.2, 1.8)),
        "v",
        PALETTE["air"],
    ),
    "the meat": (
        ("meat_on", "wrapped", "stall_begins", "stall_ends", "pulled"),
        "-",
        "D",
        PALETTE["meat"],
    ),
    "the probe": (
        ("probe_moved", "probe_unplugged", "sensor_fault"),
        (0, (6, 2.2)),
        "X",
        PALETTE["event"],
    ),
}
_CLOSE = 0.012  # of the width: words nearer than this are written as one
_HEAD_ROOM = 0.28  # of the height, added above the curves for words and marks
_MARK_AT = 0.78  # of the height then


def figure_events(
    log: ProbeLog,
    events: Sequence[Event],
    review: Review | None = None,
    units: str | UnitChoice = "C",
    *,
    clock: bool | None = None,
) -> Figure:
    """Draw a log with its events.

    Parameters
    ----------
    log : ProbeLog
        What to draw.
    events : sequence of Event
        From `find_events`, or `EventList.events` once a person has put them right.
    review, units, clock
        As for `figure_log`.

    Returns
    -------
    Figure
        Not registered with pyplot, so it needs no closing.

    Raises
    ------
    InputError
        If the unit is unknown.
    """
    figure = figure_log(log, review, units, clock=clock)
    ax = figure.axes[0]
    handles = mark_events(ax, log, events)
    if handles:
        old = ax.get_legend()
        known = list(old.legend_handles) if old is not None else []
        shown = [handle for handle in known if handle is not None]
        legend(
            ax,
            handles=[*shown, *handles],
            loc="upper center",
            bbox_to_anchor=(0.5, -0.13),
            ncols=3,
        )
    return figure


def mark_events(ax: Axes, log: ProbeLog, events: Sequence[Event]) -> list[Line2D]:
    """Mark events on axes whose horizontal limits are the ends of the log.

    A line tells by its dashes and its mark whether the fire, the meat or the probe is
    meant; the word along it tells what happened. A provisional event has a hollow mark
    and a question mark. A stretch is drawn as a bar along the top. The axes are made
    higher, so that the words stand clear of the curves.

    Returns
    -------
    list of Line2D
        Handles for a legend: one for each of the three that occurs.
    """
    left, right = ax.get_xlim()
    if not events:
        return []
    low, high = ax.get_ylim()
    ax.set_ylim(low, high + _HEAD_ROOM * (high - low))
    width = right - left
    ordered = sorted(events, key=lambda event: event.time_s)
    places = [left + width * event.time_s / log.duration_s for event in ordered]
    used: dict[str, Line2D] = {}
    for event, place in zip(ordered, places, strict=True):
        group = _group_of(event)
        _, dashes, marker, colour = _GROUPS[group]
        face = "white" if event.provisional else colour
        style: dict[str, Any] = {"color": colour, "linestyle": dashes, "linewidth": 1.0}
        ax.axvline(
            place,
            ymax=_MARK_AT,
            color=colour,
            linestyle=dashes,
            linewidth=1.0,
            alpha=0.8,
            zorder=3,
        )
        ax.plot(
            [place],
            [_MARK_AT],
            marker,
            color=colour,
            markerfacecolor=face,
            markersize=5.0,
            transform=ax.get_xaxis_transform(),
            zorder=5,
            clip_on=False,
        )
        end = left + width * min(event.end_s, log.duration_s) / log.duration_s
        if end - place > _CLOSE * width:
            ax.plot(
                [place, end],
                [_MARK_AT, _MARK_AT],
                color=colour,
                linewidth=1.6,
                alpha=0.7,
                transform=ax.get_xaxis_transform(),
                zorder=4,
            )
        if group not in used:
            used[group] = Line2D([], [], **style, marker=marker, markersize=5.0)
            used[group].set_label(f"event of {group}")
    for place, words in _words(ordered, places, _CLOSE * width):
        ax.text(
            place,
            _MARK_AT + 0.025,
            words,
            rotation=90,
            ha="center",
            va="bottom",
            fontsize=FONT_SIZE - 3,
            color=PALETTE["text"],
            transform=ax.get_xaxis_transform(),
            zorder=6,
        )
    return [used[group] for group in _GROUPS if group in used]


def _group_of(event: Event) -> str:
    return next(name for name, group in _GROUPS.items() if event.kind in group[0])


def _words(
    events: Sequence[Event], places: Sequence[float], close: float
) -> list[tuple[float, str]]:
    """Words and where they stand; those of events close together are joined."""
    joined: list[tuple[list[float], list[str]]] = []
    for event, place in zip(events, places, strict=True):
        word = KIND_WORDS[event.kind] + ("?" if event.provisional else "")
        if joined and place - joined[-1][0][0] < close:
            joined[-1][0].append(place)
            if word not in joined[-1][1]:
                joined[-1][1].append(word)
        else:
            joined.append(([place], [word]))
    return [(float(np.mean(where)), "\n".join(words)) for where, words in joined]


__all__ = ["figure_events", "mark_events"]
