"""The picture of a fire with meat over it, and of where its heat and water go."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any, Final

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from coreward.drawing import png
from coreward.drawing.canvas import PictureCanvas, empty
from coreward.drawing.style import (
    FONT_SIZE,
    INKS,
    PALETTE,
    apply_style,
    legend,
    mass,
    temperature,
    temperature_symbol,
)
from coreward.questions.pit.answer import PitDay, Share
from coreward.words import (
    METRIC,
    Degrees,
    Lasting,
    Mass,
    Text,
    Units,
    as_units,
    say,
    shown,
    together,
)

_HOUR: Final = 3600.0
_KWH: Final = 3.6e6
_SIZE: Final = (10.8, 6.6)
_DPI: Final = 100
_SMALL: Final = FONT_SIZE - 1.5
_INKS: Final = {
    "through walls and lid": "convection",
    "up the stack as heat": "radiation",
    "up the stack as vapour of meat and pan": "evaporation",
    "into the meat, to stay": "core",
    "rain and condensate": "wet_bulb",
    "kept in walls, pan and gas": "band",
    "the meat": "core",
    "the fire": "convection",
    "the pan": "evaporation",
    "fresh air": "band",
    "up the stack": "wet_bulb",
    "condensed on walls": "dew_point",
    "in the air of the pit": "band",
}


def _curves(ax: Axes, answer: PitDay, units: Units) -> None:
    hours = answer.time_s / _HOUR
    for name, ink in (
        ("air_c", "air"), ("core", "core"), ("surface", "surface"), ("dew_point_c", "dew_point")
    ):  # fmt: skip
        ax.plot(
            hours, temperature(getattr(answer, name), as_units(units)), **INKS[ink].kwargs()
        )
    ax.axhline(float(temperature(answer.core_c, as_units(units))), **INKS["target"].kwargs())
    for event in answer.plan.events:
        ax.axvline(event.at_s / _HOUR, color=PALETTE["event"], linewidth=1.0, linestyle=":")
    if math.isfinite(answer.ready_s):
        ax.axvline(answer.ready_s / _HOUR, color=PALETTE["supply"], linewidth=3.0, alpha=0.5)
    ax.set_xlim(0.0, hours[-1])
    ax.tick_params(labelbottom=False)
    apply_style(ax, title=f"Pit and meat ({temperature_symbol(as_units(units))})")
    legend(ax, loc="upper center", bbox_to_anchor=(0.5, -0.01), ncols=5)


def _fire(ax: Axes, answer: PitDay, units: Units) -> None:
    hours = answer.time_s / _HOUR
    chosen = as_units(units)
    tens = mass(answer.fresh_air_kg_h, chosen) / 10.0
    ax.plot(
        hours,
        answer.power_w / 1e3,
        **(INKS["convection"].kwargs() | {"label": "heat of the fire (kW)"}),
    )
    ax.plot(
        hours,
        tens,
        **(INKS["demand"].kwargs() | {"label": f"fresh air (10 {chosen.mass}/h)"}),
    )
    ax.plot(
        hours,
        answer.oxygen,
        **(INKS["dew_point"].kwargs() | {"label": "oxygen, of fresh air's"}),
    )
    # A lid lets so much in that nothing else would be seen.
    usual = np.percentile(np.concatenate((answer.power_w / 1e3, tens)), 98)
    ax.set_ylim(0.0, max(1.1, 1.25 * float(usual)))
    ax.set_xlim(0.0, hours[-1])
    ax.set_xlabel("hours after the meat went in")
    apply_style(ax, title="Fire")
    legend(ax, loc="upper center", bbox_to_anchor=(0.5, -0.33), ncols=3)


def _bars(ax: Axes, shares: Sequence[Share], words: list[str], title: str) -> None:
    empty(ax)
    most = max((abs(share.amount) for share in shares), default=1.0) or 1.0
    for row, (share, said) in enumerate(zip(shares, words, strict=True)):
        ink = _INKS[share.name]
        ax.barh(
            row, share.amount / most, height=0.34, color=PALETTE[ink], hatch=INKS[ink].hatch,
            edgecolor="#6b6b6b", linewidth=0.6,
        )  # fmt: skip
        ax.text(0.0, row - 0.24, said, fontsize=_SMALL, ha="left", va="bottom")
    # As tall as all parts need, so that bars do not swell where there are few.
    ax.set_ylim(max(len(shares), 5) - 0.5, -0.75)
    ax.set_xlim(-0.02, 1.02)
    ax.set_axis_off()
    ax.set_title(title, loc="left", fontsize=FONT_SIZE)


def _plain(value: float, digits: int) -> str:
    """As text, without a minus before a zero."""
    return f"{round(value, digits) + 0.0:.{digits}f}"


def _seen(shares: Sequence[Share]) -> list[Share]:
    """Those of half a per cent or more."""
    whole = sum(share.amount for share in shares) or 1.0
    return [share for share in shares if abs(share.amount) >= 0.005 * whole]


def heat_words(answer: PitDay) -> list[str]:
    """Return each part of the heat with its share, as text."""
    whole = sum(share.amount for share in answer.heat) or 1.0
    return [
        f"{share.name}: {_plain(share.amount / _KWH, 1)} kWh, "
        f"{_plain(100.0 * share.amount / whole, 0)} %"
        for share in _seen(answer.heat)
    ]


def water_words(answer: PitDay) -> list[Text]:
    """Return where the water came from and where it went."""
    whole = sum(share.amount for share in answer.water_in) or 1.0
    return [
        say(
            f"{way} {share.name}: {{0}}, {100.0 * share.amount / whole:.0f} %",
            Mass(share.amount),
        )
        for way, shares in (("from", answer.water_in), ("gone", answer.water))
        for share in _seen(shares)
    ]


class PitPicture:
    """The picture kept alive for a panel."""

    def __init__(self) -> None:
        self.figure = Figure(figsize=_SIZE, dpi=_DPI, facecolor="white")
        self.figure.set_layout_engine("none")
        self._canvas: Any = PictureCanvas(self.figure)
        add = self.figure.add_axes
        self._axes = (
            add((0.055, 0.43, 0.555, 0.51)),
            add((0.055, 0.135, 0.555, 0.2)),
            add((0.645, 0.505, 0.345, 0.435)),
            add((0.645, 0.03, 0.345, 0.41)),
        )

    def draw(self, answer: PitDay, units: Units = METRIC) -> Figure:
        """Draw it anew."""
        for ax in self._axes:
            empty(ax)
        _curves(self._axes[0], answer, units)
        _fire(self._axes[1], answer, units)
        _bars(
            self._axes[2], _seen(answer.heat), heat_words(answer), "Where the fire's heat went"
        )
        shares = (*_seen(answer.water_in), *_seen(answer.water))
        said = [shown(words, units) for words in water_words(answer)]
        _bars(self._axes[3], shares, said, "Where the water came from and went")
        return self.figure

    def update(self, answer: PitDay, units: Units = METRIC) -> bytes:
        """Redraw and return the picture as PNG bytes."""
        self.draw(answer, units)
        self._canvas.draw()
        return png.encode(self._canvas.buffer_rgba())


def figure_pit(answer: PitDay, units: Units = METRIC) -> Figure:
    """Return the picture as a figure for a report."""
    return PitPicture().draw(answer, units)


def alt_text(answer: PitDay, units: Units = METRIC) -> str:
    """Describe the picture in words."""
    ready: Text = (
        say("the core is ready after {0}", Lasting(answer.ready_s))
        if math.isfinite(answer.ready_s)
        else "the core is not ready in that time"
    )
    now = answer.now_s
    words = say(
        "Temperatures of air, surface, core and dew point over {0}: {1}; after {2} the air is "
        "at {3} and its dew point at {4}. Below, heat of the fire, fresh air and oxygen. "
        "Beside it, heat: {5}. Water: {6}.",
        Lasting(float(answer.time_s[-1])), ready, Lasting(now),
        Degrees(answer.at("air_c", now)),
        Degrees(answer.at("dew_point_c", now)), "; ".join(heat_words(answer)),
        together(water_words(answer), "; "),
    )  # fmt: skip
    return shown(words, units)
