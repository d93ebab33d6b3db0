"""Pictures and tables of how exactly the engine solves its equations."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from html import escape

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.layout_engine import ConstrainedLayoutEngine
from matplotlib.ticker import NullFormatter

from coreward.drawing.style import (
    FONT_SIZE,
    INKS,
    PALETTE,
    Ink,
    apply_style,
    apply_time_ticks,
    label_hours,
    label_temperature,
    legend,
    temperature,
)
from coreward.evidence.verification import (
    STEP_K,
    BalanceRow,
    EngineDifference,
    MutationRow,
    Order,
    SeriesError,
)
from coreward.words import Degrees, UnitChoice, as_units

_BIOT_INKS = ("dew_point", "wet_bulb", "core", "surface", "event")
# Ink, marker and its size: lines that coincide stay countable.
_SHAPE_STYLES = {
    "slab": ("core", "s", 11.0),
    "cylinder": ("surface", "o", 8.0),
    "sphere": ("evaporation", "^", 5.0),
}
# Smaller errors are not shown: only noise is left there of a step of 100 K.
_FLOOR_K = 1e-5
# What is asked of the core in an all-day cook at usual settings. [K]
PROMISE_K = 0.05
_RAISED = str.maketrans("0123456789-", "⁰¹²³⁴⁵⁶⁷⁸⁹⁻")


def figure_series(errors: Sequence[SeriesError]) -> Figure:
    """Draw the error of core and surface against Fourier number.

    Parameters
    ----------
    errors : sequence of SeriesError
        One panel for each shape, one line for each Biot number.

    Returns
    -------
    Figure
        Not registered with pyplot, so it needs no closing.
    """
    shapes = list(dict.fromkeys(row.shape for row in errors))
    biots = list(dict.fromkeys(row.biot for row in errors))
    inks: dict[float, Ink] = {
        biot: INKS[_BIOT_INKS[i % len(_BIOT_INKS)]] for i, biot in enumerate(biots)
    }
    figure = Figure(figsize=(10.0, 6.4), layout=ConstrainedLayoutEngine(h_pad=0.1, w_pad=0.08))
    panels = figure.subplots(2, len(shapes), squeeze=False, sharex=True, sharey=True)
    for column, shape in enumerate(shapes):
        for ax, place in zip(panels[:, column], ("core", "surface"), strict=True):
            apply_style(ax, title=f"{shape}, {place}")
            for row in (row for row in errors if row.shape == shape):
                # Below the axis, but finite: a logarithm has no place for nought.
                size = np.maximum(np.abs(getattr(row, f"{place}_k")), 1e-3 * _FLOOR_K)
                style = inks[row.biot].kwargs() | {
                    "label": f"Biot {row.biot:g}",
                    "markevery": 3,
                    "linewidth": 1.6,
                }
                ax.plot(row.fourier, size, **style)
            ax.axhline(PROMISE_K, color=PALETTE["target"], linewidth=1.1, linestyle=(0, (4, 2)))
            ax.set_xscale("log")
            ax.set_yscale("log")
            ax.xaxis.set_minor_formatter(NullFormatter())
        panels[1, column].set_xlabel("Fourier number")
    panels[0, 0].set_ylim(_FLOOR_K, 0.5)
    panels[0, 0].text(
        0.02, PROMISE_K * 1.2, f"{PROMISE_K:g} K, the promise",
        transform=panels[0, 0].get_yaxis_transform(), fontsize=FONT_SIZE - 2,
        color=PALETTE["text"], va="bottom",
    )  # fmt: skip
    for ax in panels[:, 0]:
        ax.set_ylabel(f"error (K of {STEP_K:g} K)")
    handles, labels = panels[0, 0].get_legend_handles_labels()
    figure.legend(
        handles, labels, loc="outside lower center", ncols=len(biots), frameon=False,
        fontsize=FONT_SIZE - 1, handlelength=3.2,
    )  # fmt: skip
    return figure


def series_table(studies: Mapping[str, Sequence[SeriesError]]) -> str:
    """Return the largest errors as a table for a notebook.

    Parameters
    ----------
    studies : mapping of str to sequence of SeriesError
        By the name of their settings; the same shapes and Biot numbers in each.

    Returns
    -------
    str
        Errors in millikelvin, with the Fourier number of the largest in the core.
    """
    places = (("core_k", "core"), ("surface_k", "surface"), ("mean_k", "mean"))
    top = "".join(f'<th colspan="4">{escape(name)}</th>' for name in studies)
    below = "".join(f"<th>{name}</th>" for _, name in places) + "<th>core worst at Fo</th>"
    lines = [
        '<table><thead><tr><th rowspan="2">shape</th><th rowspan="2">Biot</th>'
        f"{top}</tr><tr>{below * len(studies)}</tr></thead><tbody>"
    ]
    for rows in zip(*studies.values(), strict=True):
        cells = ""
        for row in rows:
            for key, _ in places:
                worst = row.worst(key)[0]
                text = f"{worst * 1e3:.1f} mK"
                cells += f"<td>{f'<b>{text}</b>' if worst > PROMISE_K else text}</td>"
            at = row.worst("core_k")[1]
            cells += f"<td>{at:.0f}</td>" if at >= 10.0 else f"<td>{at:.2g}</td>"
        lines.append(f"<tr><td>{rows[0].shape}</td><td>{rows[0].biot:g}</td>{cells}</tr>")
    lines.append("</tbody></table>")
    return "".join(lines)


def figure_orders(space: Sequence[Order], time: Sequence[Order]) -> Figure:
    """Draw error against step, in space and in time, with the slope each should have.

    Parameters
    ----------
    space, time : sequence of Order

    Returns
    -------
    Figure
    """
    figure = Figure(figsize=(10.0, 4.2), layout="constrained")
    left, right = figure.subplots(1, 2)
    for ax, orders, title, label in (
        (left, space, "in space", "mean spacing / half size"),
        (right, time, "in time", "step / duration"),
    ):
        apply_style(ax, title=f"{title}: order {orders[0].expected:g} expected")
        for order in orders:
            ink, marker, marker_size = _SHAPE_STYLES[order.shape]
            style = INKS[ink].kwargs() | {
                "label": f"{order.shape}: {order.observed:.2f}",
                "marker": marker,
                "markevery": 1,
                "markersize": marker_size,
                "markerfacecolor": "white",
                "markeredgewidth": 1.5,
                "linestyle": "-",
                "linewidth": 1.4,
            }
            ax.plot(order.size, order.error_k, **style)
        _reference(ax, orders)
        ax.set_xscale("log", base=2)
        ax.set_yscale("log")
        sizes = orders[0].size
        ax.set_xticks(sizes, [f"1/{1.0 / size:.0f}" for size in sizes])
        ax.xaxis.set_minor_formatter(NullFormatter())
        ax.set_xlabel(label)
        ax.set_ylabel(f"error (K of {STEP_K:g} K)")
        legend(ax, loc="upper left", title="fitted slope", title_fontsize=FONT_SIZE - 1.5)
    return figure


def _reference(ax: Axes, orders: Sequence[Order]) -> None:
    """A dashed line of the expected slope below the points, named where it ends."""
    size, slope = orders[0].size, orders[0].expected
    lowest = min(float(order.error_k[0] / order.size[0] ** slope) for order in orders)
    line = 0.45 * lowest * size**slope
    ax.plot(size, line, color=PALETTE["target"], linestyle=(0, (5, 3)), linewidth=1.2)
    ax.annotate(
        f"slope {slope:g}", (size[1], line[1]), xytext=(6, -4), textcoords="offset points",
        fontsize=FONT_SIZE - 1.5, color=PALETTE["text"], ha="left", va="top",
    )  # fmt: skip


def orders_in_words(orders: Sequence[Order]) -> str:
    """Say the order seen of each study, one line each."""
    return "\n".join(
        f"{order.shape} in {order.kind}: order {order.observed:.2f} "
        f"({order.expected:g} expected), error from {order.error_k[0]:.1e} K down to "
        f"{order.error_k[-1]:.1e} K."
        for order in orders
    )


def balance_table(rows: Sequence[BalanceRow], units: str | UnitChoice = "C") -> str:
    """Return what is missing from energy and water as a table for a notebook."""
    heads = (
        "cook", "hours", "core at the end", "loss", "evaporated",
        "energy missing", "water missing",
    )  # fmt: skip
    lines = ["<table><thead><tr>", *(f"<th>{h}</th>" for h in heads), "</tr></thead><tbody>"]
    for row in rows:
        cells = (
            escape(row.name), f"{row.hours:.1f}", Degrees(row.core_c, 1).shown(units),
            f"{100 * row.loss:.1f} %", f"{100 * row.evaporated:.1f} %",
            _power(row.energy), _power(row.water),
        )  # fmt: skip
        lines.append("<tr>" + "".join(f"<td>{text}</td>" for text in cells) + "</tr>")
    lines.append("</tbody></table>")
    return "".join(lines)


def _power(value: float) -> str:
    if value == 0.0:
        return "0"
    digits, exponent = f"{value:.0e}".split("e")
    return f"{digits} · 10{str(int(exponent)).translate(_RAISED)}"


def figure_engines(found: EngineDifference, units: str | UnitChoice = "C") -> Figure:
    """Draw both engines' core and surface, and below it how far they differ.

    Parameters
    ----------
    found : EngineDifference
    units : {"C", "F"} or UnitChoice

    Returns
    -------
    Figure
    """
    choice = as_units(units)
    hours = found.time_s / 3600.0
    figure = Figure(figsize=(9.0, 7.0), layout="constrained")
    above, core, surface = figure.subplots(3, 1, sharex=True, height_ratios=(5, 3, 3))
    apply_style(above, title="One cook, two engines")
    for place, marker in (("surface", "o"), ("core", "s")):
        ink = INKS[place]
        above.plot(
            found.fast.time_s / 3600.0,
            temperature(getattr(found.fast, f"{place}_c"), choice),
            color=ink.colour, linewidth=ink.width, label=f"{place}, fast",
        )  # fmt: skip
        times = np.linspace(0.0, float(found.time_s[-1]), 25)
        values = np.interp(times, found.fipy.time_s, getattr(found.fipy, f"{place}_c"))
        above.plot(
            times / 3600.0, temperature(values, choice), linestyle="", marker=marker,
            markersize=5.5, markerfacecolor="none", markeredgecolor=PALETTE["text"],
            label=f"{place}, FiPy",
        )  # fmt: skip
    label_temperature(above, choice)
    legend(above, loc="lower right", ncols=2)
    limit = PROMISE_K * 1e3
    for ax, place in ((core, "core"), (surface, "surface")):
        apply_style(ax, title=f"{place}: fast less FiPy")
        ax.axhspan(-limit, limit, color=PALETTE["band"], alpha=0.55, zorder=0)
        values = getattr(found, f"{place}_k") * 1e3
        ink = INKS[place]
        ax.plot(hours, values, color=ink.colour, linewidth=0.9, label="between its steps")
        ax.plot(
            hours[found.own_step], values[found.own_step], linestyle="", marker="o",
            markersize=4.5, color=ink.colour, label="steps of the fast engine",
        )  # fmt: skip
        reach = 1.15 * max(limit, float(np.abs(values).max()))
        ax.set_ylim(-reach, reach)
        ax.set_ylabel("mK")
        legend(ax, loc="upper right", ncols=2)
    core.text(
        0.01, -0.94 * limit, f"± {limit:g} mK: the promise for the core", va="bottom",
        transform=core.get_yaxis_transform(), fontsize=FONT_SIZE - 2, color=PALETTE["text"],
    )  # fmt: skip
    label_hours(surface)
    apply_time_ticks(surface, float(hours[-1]))
    surface.set_xlim(0.0, float(hours[-1]))
    return figure


def engines_in_words(found: EngineDifference) -> str:
    """Say the largest differences between the engines, and what each run cost."""
    own = found.own_step
    core, surface = np.abs(found.core_k) * 1e3, np.abs(found.surface_k) * 1e3
    worst = int(core.argmax())
    return (
        f"Core: at most {core[worst]:.1f} mK apart, after "
        f"{found.time_s[worst] / 60.0:.0f} min.\n"
        f"Surface: at most {surface[own].max():.0f} mK apart at the steps of the fast engine "
        f"(half of them within {np.median(surface[own]):.1f} mK);\n"
        f"    between its steps, where rows are interpolated, up to {surface.max():.0f} mK.\n"
        f"Mass lost: at most {np.abs(found.loss).max() * 100:.4f} % of the raw mass apart.\n"
        f"Processor time: fast {found.fast_seconds:.3f} s, FiPy {found.fipy_seconds:.1f} s."
    )


def mutations_table(rows: Sequence[MutationRow]) -> str:
    """Return which test noticed which broken equation as a table for a notebook."""
    heads = ("what was broken", "in", "noticed by")
    lines = ["<table><thead><tr>", *(f"<th>{h}</th>" for h in heads), "</tr></thead><tbody>"]
    for row in rows:
        if row.caught_by:
            noticed = "<br>".join(escape(test) for test in row.caught_by)
        elif math.isfinite(row.seconds):
            noticed = "<b>nothing</b>"
        else:
            noticed = "<b>the change could not be made</b>"
        lines.append(
            f"<tr><td>{escape(row.name)}</td><td>{escape(row.file)}</td><td>{noticed}</td></tr>"
        )
    lines.append("</tbody></table>")
    return "".join(lines)
