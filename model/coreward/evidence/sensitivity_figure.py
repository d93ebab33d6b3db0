"""The picture of what moves the outcomes of a study."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.figure import Figure

from coreward.drawing.style import FONT_SIZE, INKS, apply_style, legend
from coreward.evidence.sensitivity import OUTCOMES, Sensitivity


def figure_sensitivity(
    study: Sensitivity, outcomes: Sequence[tuple[str, str]] = OUTCOMES
) -> Figure:
    """Draw the total and first-order index of every input, one panel for each outcome.

    Parameters
    ----------
    study : Sensitivity
    outcomes : sequence of (str, str)
        Names and units, as of the study.

    Returns
    -------
    Figure
        Inputs from the strongest for the first outcome down; whiskers are 95 % confidence.
    """
    order = np.argsort(-study.total[0])
    lines = np.arange(len(order))
    figure = Figure(figsize=(10.0, 0.3 * len(order) + 1.6), layout="constrained")
    panels = figure.subplots(1, len(outcomes), sharey=True, squeeze=False)[0]
    total_ink, first_ink = INKS["supply"], INKS["core"]
    for number, (ax, (name, unit)) in enumerate(zip(panels, outcomes, strict=True)):
        apply_style(ax, title=name)
        total = study.total[number, order]
        below = np.clip(total - study.total_low[number, order], 0.0, None)
        above = np.clip(study.total_high[number, order] - total, 0.0, None)
        ax.barh(
            lines, total, height=0.6, color=total_ink.colour, alpha=0.55, label="total",
            xerr=np.vstack((below, above)), error_kw={"elinewidth": 1.0, "capsize": 2.0},
        )  # fmt: skip
        ax.plot(
            study.first[number, order], lines, linestyle="", marker="D", markersize=5.0,
            color=first_ink.colour, label="alone",
        )  # fmt: skip
        ax.set_xlim(-0.08, 1.05)
        ax.set_xlabel(
            f"share of the variance\n{study.middle[number]:.2g} {unit}, nine in ten from "
            f"{study.low[number]:.2g} to {study.high[number]:.2g}",
            fontsize=FONT_SIZE - 2,
        )
    panels[0].set_yticks(
        lines, [study.inputs[i].label for i in order], fontsize=FONT_SIZE - 1.5
    )
    panels[0].set_ylim(len(order) - 0.4, -0.6)
    legend(panels[0], loc="lower right")
    return figure


def sensitivity_table(
    study: Sensitivity, outcomes: Sequence[tuple[str, str]] = OUTCOMES
) -> str:
    """Return the indices as a table for a notebook."""
    head = "".join(f"<th>{name}: alone</th><th>total</th>" for name, _ in outcomes)
    lines = [f"<table><thead><tr><th>input</th><th>range</th>{head}</tr></thead><tbody>"]
    for i in np.argsort(-study.total[0]):
        item = study.inputs[int(i)]
        unit = {"-": "", "degC": " °C", "1/s": " 1/s"}.get(item.unit, f" {item.unit}")
        cells = "".join(
            f"<td>{study.first[n, i]:.2f}</td><td>{study.total[n, i]:.2f}</td>"
            for n in range(len(outcomes))
        )
        lines.append(
            f"<tr><td>{item.label}</td><td>{item.low:.3g} to {item.high:.3g}{unit}</td>"
            f"{cells}</tr>"
        )
    lines.append("</tbody></table>")
    return "".join(lines)
