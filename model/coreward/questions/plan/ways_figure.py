"""Pictures of ways side by side: what each trades for what."""

from __future__ import annotations

from typing import Final

import numpy as np
from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from coreward.drawing.style import FONT_SIZE, PALETTE, apply_style, legend
from coreward.questions.plan.ways import Ways
from coreward.words import METRIC, Units, shown

_HOUR: Final = 3600.0
_SIZE: Final = (10.8, 4.8)
_MARKERS: Final = ("o", "s", "^", "D", "v", "P", "X", "<", ">", "h")


def figure_ways(answer: Ways, best: Ways | None = None, units: Units = METRIC) -> Figure:
    """Return time against loss for each way, and how dry each crust is.

    Parameters
    ----------
    best : Ways, optional
        Ways found by search, compared on the same draws, in the order of the front.
    """
    figure = Figure(figsize=_SIZE, dpi=100, facecolor="white")
    figure.set_layout_engine("none")
    left = figure.add_axes((0.07, 0.13, 0.46, 0.75))
    right = figure.add_axes((0.72, 0.13, 0.26, 0.75))
    if best is not None:
        points = np.array([(r.ready_band_s[1] / _HOUR, 100.0 * r.loss[1]) for r in best.rows])
        left.plot(
            points[:, 0],
            points[:, 1],
            linestyle=":",
            marker="*",
            markersize=10,
            color=PALETTE["event"],
            label="found by search",
        )
    for number, row in enumerate(answer.rows):
        low, middle, high = (value / _HOUR for value in row.ready_band_s)
        if not np.isfinite(middle):
            continue
        colour = PALETTE["supply"] if row.pareto else PALETTE["air"]
        right_end = high if np.isfinite(high) else middle
        y = 100.0 * row.loss[1]
        left.plot([low, right_end], [y, y], color=colour, linewidth=1.2)
        left.plot(
            middle,
            y,
            marker=_MARKERS[number % len(_MARKERS)],
            color=colour,
            markersize=8,
            markeredgecolor="black" if row.pareto else "none",
            linestyle="",
            label=row.way.said(units) + (" *" if row.pareto else ""),
        )
    apply_style(left, title="Time against loss")
    left.set_xlabel("ready after (h): middle, and nine draws in ten")
    left.set_ylabel("water lost at the pull (%)")
    legend(left, loc="best")
    names = [row.way.said(units) for row in answer.rows]
    rows = np.arange(len(names))
    crust = [row.crust_activity[1] for row in answer.rows]
    held = [row.held_crust for row in answer.rows]
    right.plot(crust, rows, linestyle="", marker="o", color=PALETTE["surface"])
    right.plot(held, rows, linestyle="", marker="|", markersize=12, color=PALETTE["dew_point"])
    right.set_yticks(rows, names)
    right.invert_yaxis()
    right.set_xlim(-0.02, 1.05)
    apply_style(right, title="Crust: 0 dry, 1 wet")
    right.set_xlabel("water activity of the surface")
    legend(
        right,
        handles=[
            Line2D(
                [],
                [],
                linestyle="",
                marker="o",
                color=PALETTE["surface"],
                label="at the wrap or pull",
            ),
            Line2D(
                [],
                [],
                linestyle="",
                marker="|",
                markersize=12,
                color=PALETTE["dew_point"],
                label="after the hold",
            ),
        ],
        loc="center",
    )
    figure.text(
        0.07,
        0.945,
        "* no other way here is better in time, loss and crust at once",
        fontsize=FONT_SIZE - 1,
        color=PALETTE["text"],
    )
    return figure


def alt_text(answer: Ways, units: Units = METRIC) -> str:
    """Describe the picture in words."""
    said = shown(answer.sentence, units)
    return f"{len(answer.rows)} ways by time, loss and crust. {said}"
