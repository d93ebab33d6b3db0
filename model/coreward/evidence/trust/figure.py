"""Pictures of how far the model agrees with what was published."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

import numpy as np
from matplotlib.figure import Figure

from coreward.drawing.style import (
    FONT_SIZE,
    INKS,
    PALETTE,
    Ink,
    apply_style,
    label_temperature,
    legend,
    temperature,
)
from coreward.evidence.trust import (
    SLOWING_CORE_C,
    TOPICS,
    CarryoverCase,
    ClosureRow,
    TrustRow,
)
from coreward.units import delta_celsius_to_fahrenheit
from coreward.words import (
    Degrees,
    DegreesBetween,
    Length,
    UnitChoice,
    as_units,
    say,
    together,
)

_MOST = 4.0  # half-widths of the allowed range; farther points sit on the edge
# Core temperatures at which the design supposes the stall. [°C]
_RELEASE_C = (65.0, 75.0)
_CLOSURE_INKS = ("core", "surface", "supply", "wet_bulb", "event", "air")


def figure_trust(rows: Sequence[TrustRow]) -> Figure:
    """Draw every row against its allowed range, topic by topic.

    The allowed range of each row is stretched to the grey band from -1 to 1; filled
    circles are inside, diamonds outside. Rows farther off than the axis reaches sit on its
    edge as arrow heads.

    Parameters
    ----------
    rows : sequence of TrustRow

    Returns
    -------
    Figure
        Not registered with pyplot, so it needs no closing.
    """
    topics = [topic for topic in TOPICS if any(row.topic == topic for row in rows)]
    figure = Figure(figsize=(9.0, 0.55 * len(topics) + 1.7), layout="constrained")
    ax = figure.add_subplot()
    apply_style(ax, title="Ours, on the scale of what was allowed")
    ax.axvspan(-1.0, 1.0, color=PALETTE["band"], zorder=0)
    inside, outside = INKS["supply"], INKS["caution"]
    shown: set[str] = set()
    labels = []
    for line, topic in enumerate(topics):
        chosen = [row for row in rows if row.topic == topic]
        count = sum(row.verdict == "inside" for row in chosen)
        labels.append(f"{TOPICS[topic]}\n{count} of {len(chosen)} inside")
        spread = np.linspace(-0.28, 0.28, len(chosen)) if len(chosen) > 1 else np.zeros(1)
        for row, lift in zip(chosen, spread, strict=True):
            place = _place(row)
            good = row.verdict == "inside"
            ink = inside if good else outside
            marker = "o" if good else "D"
            if abs(place) >= _MOST:
                marker = ">" if place > 0 else "<"
            ax.plot(
                [np.clip(place, -_MOST, _MOST)],
                [line + lift],
                linestyle="",
                marker=marker,
                markersize=5.0,
                color=ink.colour,
                label=None if row.verdict in shown else row.verdict,
            )
            shown.add(row.verdict)
    ax.set_yticks(range(len(topics)), labels, fontsize=FONT_SIZE - 1.5)
    ax.set_ylim(len(topics) - 0.5, -0.5)
    ax.set_xlim(-_MOST - 0.2, _MOST + 0.2)
    ax.set_xlabel("below  ←  half-widths of the allowed range  →  above")
    legend(ax, loc="lower right")
    return figure


def _place(row: TrustRow) -> float:
    low, high = row.allowed
    ours = 0.5 * (row.computed[0] + row.computed[1])
    if not np.isfinite(ours):
        return _MOST
    if row.verdict == "inside":  # a bracket may be wider than what it is held against
        ours = min(max(ours, low), high)
    return (ours - 0.5 * (low + high)) / (0.5 * (high - low))


def html_table(rows: Sequence[TrustRow], *, verdict: str | None = None) -> str:
    """Return the rows as a table for a notebook.

    Parameters
    ----------
    rows : sequence of TrustRow
    verdict : {"inside", "outside"}, optional
        Only these; all if None.

    Returns
    -------
    str
    """
    heads = ("case", "published", "ours", "difference", "verdict", "source", "how compared")
    lines = ["<table><thead><tr>", *(f"<th>{h}</th>" for h in heads), "</tr></thead><tbody>"]
    topic = ""
    for row in rows:
        if verdict is not None and row.verdict != verdict:
            continue
        if row.topic != topic:
            topic = row.topic
            lines.append(
                f'<tr><th colspan="{len(heads)}" style="text-align:left">'
                f"{escape(TOPICS[topic])}</th></tr>"
            )
        how = row.how if row.independent else row.how + " (in view when the model was made)"
        cells = (row.case, row.published, row.ours, row.difference)
        mark = "<b>outside</b>" if row.verdict == "outside" else "inside"
        lines.append("<tr>" + "".join(f"<td>{escape(text)}</td>" for text in cells))
        lines.append(f"<td>{mark}</td><td>{escape(row.source)} ({escape(row.status)})</td>")
        lines.append(f"<td>{escape(how)}</td></tr>")
    lines.append("</tbody></table>")
    return "".join(lines)


def figure_carryover(cases: Sequence[CarryoverCase], units: str | UnitChoice = "C") -> Figure:
    """Draw measured rises in the rest beside ours with evaporation and as a dry solid.

    Parameters
    ----------
    cases : sequence of CarryoverCase
    units : {"C", "F"} or UnitChoice

    Returns
    -------
    Figure
    """
    fahrenheit = as_units(units).temperature == "F"
    figure = Figure(figsize=(9.0, 0.45 * len(cases) + 1.6), layout="constrained")
    ax = figure.add_subplot()
    apply_style(ax, title="How far the core rises after the oven")
    lines = np.arange(len(cases))
    for label, ink, marker, values in (
        ("measured", INKS["core"], "o", [case.measured_k for case in cases]),
        ("ours", INKS["evaporation"], "s", [case.wet_rise_k for case in cases]),
        ("a dry solid", INKS["caution"], "D", [case.dry_rise_k for case in cases]),
    ):
        rise = np.asarray(values, dtype=float)
        ax.plot(
            delta_celsius_to_fahrenheit(rise) if fahrenheit else rise, lines, linestyle="",
            marker=marker, markersize=6.5, color=ink.colour, label=label,
        )  # fmt: skip
    ax.set_yticks(lines, [case.roast for case in cases], fontsize=FONT_SIZE - 1)
    ax.set_ylim(len(cases) - 0.5, -0.5)
    ax.set_xlim(left=0.0)
    ax.set_xlabel("rise (°F)" if fahrenheit else "rise (K)")
    legend(ax, loc="lower center")
    return figure


def figure_closures(rows: Sequence[ClosureRow], units: str | UnitChoice = "C") -> Figure:
    """Draw how much each closure slows the core, against core temperature.

    One panel for each cook among the rows.

    Parameters
    ----------
    rows : sequence of ClosureRow
    units : {"C", "F"} or UnitChoice

    Returns
    -------
    Figure
    """
    choice = as_units(units)
    cooks = list(dict.fromkeys((row.pit_c, row.dew_point_c, row.thickness_m) for row in rows))
    names = list(dict.fromkeys(row.closure for row in rows))
    inks: dict[str, Ink] = dict(zip(names, (INKS[key] for key in _CLOSURE_INKS), strict=False))
    figure = Figure(figsize=(9.0, 3.2 * ((len(cooks) + 1) // 2) + 0.8), layout="constrained")
    columns = min(2, len(cooks))
    panels = figure.subplots(
        -(-len(cooks) // columns), columns, squeeze=False, sharex=True, sharey=True
    )
    for ax in panels.flat[len(cooks) :]:
        ax.set_visible(False)
    at = temperature(SLOWING_CORE_C, choice)
    low, high = temperature(_RELEASE_C, choice)
    highest = 0.0
    for ax, (pit, dew, thick) in zip(panels.flat, cooks, strict=False):
        apply_style(ax, title=_cook_title(pit, dew, thick, choice))
        ax.axvspan(float(low), float(high), color=PALETTE["stall"], zorder=0)
        for row in rows:
            if (row.pit_c, row.dew_point_c, row.thickness_m) == (pit, dew, thick):
                style = inks[row.closure].kwargs() | {"label": row.closure}
                ax.plot(at, row.slowing, **style)
                highest = max(highest, float(np.nanmax(row.slowing)))
        label_temperature(ax, choice, axis="x")
        ax.set_ylabel("times slower")
    panels[0, 0].set_ylim(0.0, min(1.08 * highest, 10.0))
    handles, labels = panels[0, 0].get_legend_handles_labels()
    figure.legend(
        handles, labels, loc="outside lower center", ncols=2, frameon=False,
        fontsize=FONT_SIZE - 1.5, handlelength=3.2,
    )  # fmt: skip
    return figure


def _cook_title(pit: float, dew: float, thick: float, choice: UnitChoice) -> str:
    title = say("pit {0}, dew point {1}, {2}", Degrees(pit), Degrees(dew), Length(thick))
    return title.shown(choice)


def closures_in_words(rows: Sequence[ClosureRow], units: str | UnitChoice = "C") -> str:
    """Say, from the rows, whether the stall sits where water is released, and where not.

    Parameters
    ----------
    rows : sequence of ClosureRow
    units : {"C", "F"} or UnitChoice

    Returns
    -------
    str
        One line for each closure.
    """
    lines = []
    for name in dict.fromkeys(row.closure for row in rows):
        own = [row for row in rows if row.closure == name]
        hits = sum(row.at_release for row in own)
        places = sorted(row.slowest_core_c for row in own)
        rises = sum(row.recovers for row in own)
        last = float(SLOWING_CORE_C[-1])
        where = (
            Degrees(places[0], None) if places[0] == places[-1]
            else DegreesBetween(places[0], places[-1], None)
        )  # fmt: skip
        lines.append(
            say(
                "{0}: slowed most at a core of {1}{2}; between {3} and {4} in "
                f"{hits} of {len(own)} cooks; the core picks up speed again afterwards in "
                f"{rises} of {len(own)}.",
                name,
                where,
                " (the end of the range looked at)" if places[-1] >= last else "",
                *map(Degrees, _RELEASE_C),
            )
        )
    return together(lines, "\n").shown(units)
