"""Pictures of how good the forecasts were on cooks whose end is known."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.figure import Figure

from coreward.drawing.style import BAND_NARROW, BAND_WIDE, PALETTE, apply_style, legend
from coreward.evidence.backtest import FRACTIONS, Trial, summarise

_MARKS = ("o", "s", "^", "D")
_LINES = ("-", (0, (5, 2)), (0, (1.5, 1.5)))


def figure_errors(found: Sequence[Trial], mode: str) -> Figure:
    """Draw the median miss of forecast and simple ways as the cook goes on.

    Parameters
    ----------
    found : sequence of Trial
    mode : str
        Which trials.
    """
    figure = Figure(figsize=(7.5, 4.0), layout="constrained")
    ax = figure.add_subplot()
    sums = [summarise(found, mode, fraction) for fraction in FRACTIONS]
    x = 100.0 * np.array(FRACTIONS)
    rows = (
        ("forecast", [s.error for s in sums], PALETTE["core"]),
        ("straight line of the last hour", [s.line_error for s in sums], PALETTE["air"]),
        ("exponential approach", [s.curve_error for s in sums], PALETTE["convection"]),
    )
    for (name, values, colour), mark, line in zip(rows, _MARKS, _LINES, strict=False):
        shown = np.minimum(100.0 * np.array(values), 200.0)
        ax.plot(x, shown, color=colour, marker=mark, linestyle=line, label=name)
    ax.set_xlabel("made at (% of the cook)")
    ax.set_ylabel("median miss (% of the time left)")
    ax.set_ylim(bottom=0.0)
    apply_style(ax, title=mode)
    legend(ax)
    return figure


def figure_calibration(found: Sequence[Trial], mode: str, fraction: float) -> Figure:
    """Draw every forecast of one moment as a bar, and what came as a mark.

    Parameters
    ----------
    found : sequence of Trial
    mode : str
    fraction : float
        Of the cook.
    """
    mine = sorted(
        (t for t in found if t.mode == mode and abs(t.fraction - fraction) < 1e-9),
        key=lambda t: t.truth_h,
    )
    figure = Figure(figsize=(9.0, 4.2), layout="constrained")
    ax = figure.add_subplot()
    top = 1.35 * max(t.truth_h for t in mine)
    x = np.arange(len(mine))
    low = np.array([t.p5_h for t in mine])
    high = np.array([min(t.p95_h, top) for t in mine])
    lower = np.array([t.p25_h for t in mine])
    upper = np.array([min(t.p75_h, top) for t in mine])
    truth = np.array([t.truth_h for t in mine])
    ax.bar(x, high - low, 0.7, low, color=BAND_WIDE, label="nine in ten")
    ax.bar(x, upper - lower, 0.7, lower, color=BAND_NARROW, label="middle half")
    inside = (low <= truth) & (truth <= high)
    ax.plot(x[inside], truth[inside], "o", color=PALETTE["core"], label="finish, in the band")
    ax.plot(
        x[~inside],
        truth[~inside],
        "X",
        color=PALETTE["caution"],
        label="finish, outside it",
    )
    ax.set_xlabel("invented cooks, by the time left")
    ax.set_ylabel("hours until the probe shows the target")
    ax.set_ylim(0.0, top)
    ax.set_xticks([])
    apply_style(ax, title=f"{mode}, made at {fraction:.0%} of the cook")
    legend(ax)
    return figure
