"""Pictures of the rest: the section coloured by temperature, the curves, crust, softening.

`RestPicture` keeps one canvas alive for a slider: the section at the chosen time with the
edges of what heat has changed, beside it temperatures against time with pull and peak,
and below them how wet the surface is and how far tough meat has softened.
"""

from __future__ import annotations

import math
from functools import lru_cache
from typing import Any, Final

import numpy as np
from matplotlib import colormaps
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.colors import Normalize
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.ticker import MaxNLocator
from numpy.typing import NDArray

from coreward.cook.result import Result
from coreward.drawing.canvas import PictureCanvas, set_limits, whole_steps
from coreward.drawing.strokes import Strokes
from coreward.drawing.style import (
    FONT_SIZE,
    INKS,
    PALETTE,
    apply_style,
    format_hours,
    format_temperature,
    label_temperature,
    length,
    temperature,
    temperature_symbol,
)
from coreward.questions.rest.carryover import Carryover
from coreward.questions.rest.tenderness import PROTEINS, Section, Tenderness
from coreward.questions.rest.wrapping import crust
from coreward.words import Reading, UnitChoice, as_units

Floats = NDArray[np.float64]

_HOUR: Final = 3600.0
_MINUTE: Final = 60.0
_SCALE_H: Final = 0.25
"""The scale of time begins on a multiple of this. [h]"""
_SIZE: Final = (10.8, 6.3)
_DPI: Final = 100
# Colours from core to surface; finer than a pixel of the section.
_RINGS: Final = 512
# Fixed, so that a colour means the same temperature in every cook.
_COLOURS_C: Final = (0.0, 100.0)
# Lightness rises with temperature: it reads in grey too.
_MAP: Final = "inferno"
_EDGES: Final[tuple[tuple[str, str, Any], ...]] = (
    (PROTEINS[0], "myosin half set", "-"),
    (PROTEINS[1], "collagen shrunk by half", (0, (6, 2.2))),
    (PROTEINS[2], "actin half set", (0, (1.2, 1.8))),
)


# Colours of the strip and of the word on it: they fall and rise in lightness too.
_SEEN: Final = {
    "red": ("#8e1f2f", "white"),
    "pink": ("#e3a3a0", "black"),
    "brown": ("#7b5c45", "white"),
}
_WIDE_ENOUGH: Final = 0.25
_PARTS: Final = {
    "section": (0.0, 0.18, 0.42, 1.0),
    "scale": (0.0, 0.0, 0.42, 0.18),
    "curves": (0.42, 0.515, 1.0, 1.0),
    "crust": (0.42, 0.315, 1.0, 0.515),
    "soft": (0.42, 0.0, 1.0, 0.315),
}
"""Left, bottom, right and top of what is drawn on its own, as shares of the canvas."""


class RestPicture:
    """Section, curves and softening, cheap to update while a slider moves."""

    def __init__(self) -> None:
        self.figure = Figure(figsize=_SIZE, dpi=_DPI, facecolor="white")
        self.figure.set_layout_engine("none")
        # The drawing library has no types here.
        self._canvas: Any = PictureCanvas(self.figure)
        self.ax_section = self.figure.add_axes((0.045, 0.25, 0.35, 0.66))
        self.ax_scale = self.figure.add_axes((0.08, 0.13, 0.28, 0.022))
        self.ax_curves = self.figure.add_axes((0.475, 0.53, 0.505, 0.41))
        self.ax_crust = self.figure.add_axes((0.475, 0.33, 0.505, 0.125))
        self.ax_soft = self.figure.add_axes((0.475, 0.085, 0.505, 0.165))
        self._norm = Normalize(*_COLOURS_C)
        self._map = colormaps[_MAP]
        self._dressed: UnitChoice | None = None
        self._shown: tuple[Any, ...] = ()
        self._moved = False
        self._pixels = _SectionPixels(self.ax_section, self._norm, self._map)
        self._section = Strokes(self.ax_section)
        self._curves = Strokes(self.ax_curves)
        self._crust = Strokes(self.ax_crust)
        self._soft = Strokes(self.ax_soft)
        # Where one looks: lines that move over the right-hand side.
        self._cursors = [Strokes(ax) for ax in (self.ax_curves, self.ax_crust, self.ax_soft)]

    def update(
        self,
        told: Carryover,
        tender: Tenderness,
        inside: Section,
        at_time_s: float,
        units: str | UnitChoice = "C",
        dry: Carryover | None = None,
        kept: Carryover | None = None,
        *,
        moving: bool = False,
    ) -> bytes:
        """Redraw and return the picture as PNG bytes.

        Parameters
        ----------
        inside : Section
            Of the same cook at `at_time_s`.
        moving : bool
            Whether another picture follows at once: the scales then stay where they suit,
            and the picture has few colours.
        """
        choice = as_units(units)
        moving = moving and choice == self._dressed
        if choice != self._dressed:
            self._dress(choice)
            self._dressed = choice
        wanted = (told, tender, dry, kept, choice)
        same = len(self._shown) == len(wanted) and all(
            old is new for old, new in zip(self._shown, wanted, strict=True)
        )
        # Looking at another time changes the section and the cursors only. A scale that
        # stayed while a slider moved comes to its own when it rests.
        if not same or (self._moved and not moving):
            self._draw_curves(told, choice, dry, kept, moving)
            self._draw_crust(told)
            self._draw_softening(told, tender, moving)
            self._shown, self._moved = wanted, moving
        after_s = at_time_s - told.pull_s
        # Over the curves, which may be made anew under them.
        look = {"color": PALETTE["event"], "linewidth": 1.4, "zorder": 2.5}
        for cursor in self._cursors:
            cursor.upright(after_s / _HOUR, **look)
            cursor.done()
        self._draw_section(told.result, inside, after_s, choice)
        for name, ax in (
            ("section", self.ax_section),
            ("scale", self.ax_scale),
            ("curves", self.ax_curves),
            ("crust", self.ax_crust),
            ("soft", self.ax_soft),
        ):
            self._canvas.draw_part(name, (ax,), _PARTS[name])
        picture: bytes = self._canvas.picture(moving)
        return picture

    def _dress(self, choice: UnitChoice) -> None:
        """Give the axes what stands still: names, ticks, titles, the scale of colours."""
        self.ax_scale.clear()
        self._draw_scale(choice)
        ax = self.ax_section
        apply_style(ax)
        ax.grid(False)
        ax.set_aspect("equal")
        ax.set_xlabel(choice.length)
        ax = self.ax_curves
        apply_style(ax, title="Before and after the pull")
        label_temperature(ax, choice)
        ax.tick_params(labelbottom=False)
        ax = self.ax_crust
        apply_style(ax, title="Crust: water activity")
        ax.set_ylim(0.0, 1.1)
        ax.yaxis.set_major_locator(MaxNLocator(nbins=3))
        ax.set_ylabel("1 is wet")
        ax.tick_params(labelbottom=False)
        ax = self.ax_soft
        apply_style(ax, title="Softening of tough meat, core (100 % is tender)")
        ax.yaxis.set_major_locator(MaxNLocator(nbins=4))
        ax.set_ylabel("%")
        ax.set_xlabel("time after the pull (h)")

    def _draw_section(
        self, result: Result, inside: Section, after_s: float, choice: UnitChoice
    ) -> None:
        ax, strokes = self.ax_section, self._section
        half = float(inside.position_m[-1])
        flat = result.piece.shape.form == "slab"
        size = float(length(half, choice))
        self._pixels.show(inside.position_m / half, inside.temperature_c, size, flat)
        strokes.own(self._pixels)
        angle = np.linspace(0.0, 2.0 * np.pi, 181)
        handles = []
        for name, words, line in _EDGES:
            edge = float(length(inside.edges_m(name), choice))
            # Drawn white on black, so that it shows on every colour of the map.
            for colour, width in (("black", 2.6), ("white", 1.3)):
                look = {"color": colour, "linewidth": width, "linestyle": line}
                if 0.0 < edge < size and flat:
                    strokes.across(edge, **look)
                    strokes.across(-edge, **look)
                elif 0.0 < edge < size:
                    strokes.line(edge * np.cos(angle), edge * np.sin(angle), **look)
            handles.append(
                Line2D([], [], color="black", linewidth=1.3, linestyle=line, label=words)
            )
        self._draw_colour(inside, size)
        when = f"{format_hours(abs(after_s))} {'after' if after_s >= 0 else 'before'} the pull"
        if abs(after_s) < _MINUTE / 2:
            when = "at the pull"
        # A title of its own: the one of the axes stands still.
        strokes.words(
            f"Section, {when}",
            0.0,
            1.0,
            xycoords="axes fraction",
            xytext=(0.0, 6.0),
            textcoords="offset points",
            fontsize=FONT_SIZE + 1,
            fontweight="bold",
            color=PALETTE["text"],
        )
        ax.set_xlim(-1.02 * size, 1.02 * size)
        # Room below for the colours and the legend, without ticks there.
        ax.set_ylim(-1.75 * size, 1.02 * size)
        ax.set_yticks([tick for tick in ax.get_xticks() if abs(tick) <= size])
        core = format_temperature(float(inside.temperature_c[0]), choice)
        strokes.words(
            core,
            0.0,
            0.0,
            ha="center",
            va="center",
            fontsize=FONT_SIZE,
            bbox={"facecolor": "white", "alpha": 0.8, "edgecolor": "none", "pad": 2.0},
        )
        strokes.done()
        self._canvas.set_legend(ax, handles, loc="lower left")

    def _draw_colour(self, inside: Section, size: float) -> None:
        """Draw a strip below the section: what the eye sees along a cut through the middle."""
        half = float(inside.position_m[-1])
        low, high = -1.26 * size, -1.1 * size
        words = np.array(inside.colour)
        starts = np.flatnonzero(np.concatenate(([True], words[1:] != words[:-1])))
        # Between two nodes of different colour the edge is half way.
        edges = [0.0] + [
            float(inside.position_m[i - 1] + inside.position_m[i]) / 2.0 for i in starts[1:]
        ]
        for i, begin, end in zip(starts, edges, [*edges[1:], half], strict=True):
            word = str(words[i])
            near, far = begin / half * size, end / half * size
            strips = [
                [(side * x, y) for x, y in ((near, low), (far, low), (far, high), (near, high))]
                for side in (-1.0, 1.0)
            ]
            self._section.areas(strips, facecolor=_SEEN[word][0], linewidth=0.0)
            if far - near > _WIDE_ENOUGH * size or begin == 0.0:
                middle = 0.0 if begin == 0.0 else 0.5 * (near + far)
                self._section.words(
                    word,
                    middle,
                    0.5 * (low + high),
                    ha="center",
                    va="center",
                    color=_SEEN[word][1],
                    fontsize=FONT_SIZE - 1,
                )

    def _draw_scale(self, choice: UnitChoice) -> None:
        ax = self.ax_scale
        low, high = (float(temperature(value, choice)) for value in _COLOURS_C)
        ax.imshow(
            np.linspace(0.0, 1.0, 256)[None, :],
            cmap=_MAP,
            aspect="auto",
            extent=(low, high, 0.0, 1.0),
        )
        ax.set_yticks([])
        ax.tick_params(labelsize=FONT_SIZE - 1)
        ax.set_xlabel(f"temperature ({temperature_symbol(choice)})", fontsize=FONT_SIZE)

    def _draw_curves(
        self,
        told: Carryover,
        choice: UnitChoice,
        dry: Carryover | None,
        kept: Carryover | None,
        moving: bool,
    ) -> None:
        ax, result, strokes = self.ax_curves, told.result, self._curves
        hours = (result.time_s - told.pull_s) / _HOUR

        def line(x: Floats, y: Floats, meaning: str, **other: Any) -> None:
            strokes.line(x, temperature(y, choice), **(INKS[meaning].kwargs() | other))

        line(hours, result.environment[:, 0], "air", label="air around it")
        for meaning, values in (
            ("surface", result.surface_c),
            ("mean", result.mean_c),
            ("core", told.likely_core_c),
        ):
            line(hours, values, meaning)
        if dry is not None:
            x = (dry.result.time_s - dry.pull_s) / _HOUR
            line(x, dry.result.core_c, "target", label="core of a dry solid")
        if kept is not None:
            x = (kept.result.time_s - kept.pull_s) / _HOUR
            line(x, kept.likely_core_c, "kept")
        peak = told.peak_after_s / _HOUR, float(temperature(told.likely_peak_c, choice))
        strokes.line(*peak, marker="D", color=PALETTE["caution"], linestyle="", label="peak")
        strokes.upright(0.0, color=PALETTE["text"], linewidth=1.0)
        end = float(hours[-1])
        start = -max(end, 0.25)
        worn = _wrapped(told)
        if worn:
            # The moment of wrapping is in the picture, with a little before it.
            start = min(start, worn[0][0] - 0.5)
        start = max(float(hours[0]), start)
        # A scale that follows the length of the cook would have the ticks drawn each time.
        start = math.floor(start / _SCALE_H) * _SCALE_H
        ends_h = start, max(end, start + 0.1)
        shown = result.time_s >= told.pull_s + start * _HOUR
        # The air of a hot oven would press the meat flat.
        high = max(float(result.surface_c[shown].max()), told.peak_core_c) + 25.0
        low = float(result.temperature_c[shown].min())
        low = min(low, float(result.environment[shown, 0].min())) - 3.0
        ends_c = whole_steps(low, high)
        ends = float(temperature(ends_c[0], choice)), float(temperature(ends_c[1], choice))
        set_limits(ax, ends_h, ends, moving)
        self._canvas.set_legend(ax, strokes.done(), loc="upper right", ncols=3)

    def _draw_crust(self, told: Carryover) -> None:
        ax, result, strokes = self.ax_crust, told.result, self._crust
        hours = (result.time_s - told.pull_s) / _HOUR
        for number, (begin, end) in enumerate(_wrapped(told)):
            strokes.stripe(
                begin,
                end,
                facecolor=PALETTE["band"],
                hatch="..",
                edgecolor="white",
                label="wrapped or covered" if number == 0 else "",
            )
        strokes.line(
            hours, result.surface_water_activity, color=PALETTE["water"], linewidth=2.0
        )
        found = crust(result, told.covered_s)
        strokes.line(
            (found.softest_s - told.pull_s) / _HOUR,
            found.softest,
            marker="D",
            color=PALETTE["caution"],
            linestyle="",
            label="softest",
        )
        strokes.upright(0.0, color=PALETTE["text"], linewidth=1.0)
        ax.set_xlim(self.ax_curves.get_xlim())
        # Beside the title: in the strip it would hide the curve.
        self._canvas.set_legend(
            ax, strokes.done(), loc="lower right", bbox_to_anchor=(1.0, 0.95), ncols=2
        )

    def _draw_softening(self, told: Carryover, tender: Tenderness, moving: bool) -> None:
        ax, strokes = self.ax_soft, self._soft
        hours = (tender.time_s - told.pull_s) / _HOUR
        low, high = 100.0 * tender.slow, 100.0 * tender.fast
        strokes.band(hours, low, high, color=PALETTE["band"], label="two published series")
        strokes.line(
            hours, 100.0 * tender.middle, color=PALETTE["supply"], label="their middle"
        )
        strokes.across(
            100.0, color=PALETTE["target"], linewidth=1.0, linestyle=INKS["target"].line
        )
        strokes.upright(0.0, color=PALETTE["text"], linewidth=1.0)
        ends = 0.0, max(110.0, whole_steps(0.0, 1.05 * float(high[-1]))[1])
        set_limits(ax, self.ax_curves.get_xlim(), ends, moving)
        self._canvas.set_legend(ax, strokes.done(), loc="center left")


class _SectionPixels(Artist):
    """The section of a piece, one colour for each distance from the middle.

    Drawn pixel for pixel: to scale a finished image would take longer than all the rest.
    """

    def __init__(self, ax: Axes, norm: Any, colours: Any) -> None:
        # The drawing library has no types here.
        base: Any = super()
        base.__init__()
        self._ax, self._norm, self._colours = ax, norm, colours
        self.set_zorder(0.0)

    def show(self, share: Floats, temperature_c: Floats, size: float, flat: bool) -> None:
        """Take the temperatures by share of the way out, the half size, and the shape."""
        rings = (np.arange(_RINGS) + 0.5) / _RINGS
        values = self._norm(np.interp(rings, share, temperature_c))
        outside = np.zeros((1, 4), dtype=np.uint8)
        self._rings = np.concatenate((self._colours(values, bytes=True), outside))
        self._size, self._flat = size, flat

    def draw(self, renderer: Any) -> None:
        """Draw it at the size that the axes have."""
        corners = self._ax.transData.transform([[-self._size] * 2, [self._size] * 2])
        (left, low), (right, _) = corners
        count = round((right - left) * renderer.get_image_magnification())
        pen = renderer.new_gc()
        pixels = self._rings[_ring_numbers(count, self._flat)]
        renderer.draw_image(pen, round(left), round(low), pixels)
        pen.restore()


@lru_cache(maxsize=8)
def _ring_numbers(count: int, flat: bool) -> NDArray[np.intp]:
    """Return which ring each pixel of a square section lies in; beyond the last, outside."""
    across = (np.arange(count) + 0.5) / count * 2.0 - 1.0
    away = np.hypot(0.0 if flat else across[None, :], across[:, None])
    away = np.broadcast_to(away, (count, count))
    return np.minimum((away * _RINGS).astype(np.intp), _RINGS)


def _wrapped(told: Carryover) -> list[tuple[float, float]]:
    """When it wears a wrap or a cover, in hours after the pull."""
    return [
        ((record.begin_s - told.pull_s) / _HOUR, (record.end_s - told.pull_s) / _HOUR)
        for record in told.result.records
        if record.wrap != "none" and record.end_s > record.begin_s
    ]


def alt_text(told: Carryover, inside: Section, units: str | UnitChoice = "C") -> str:
    """Describe the picture in words."""
    choice = as_units(units)

    def degrees(value: float) -> str:
        return format_temperature(value, choice)

    return (
        f"Section coloured by temperature, {degrees(float(inside.temperature_c[0]))} at the "
        f"core and {degrees(float(inside.temperature_c[-1]))} at the surface; a cut shows "
        f"{', '.join(dict.fromkeys(inside.colour))} from core to surface; curves of core, "
        f"mean and surface: pulled at {degrees(told.pull_core_c)}, peak "
        f"{Reading(told.likely_peak_c).shown(choice)} {format_hours(told.peak_after_s)} later. "
        f"{crust(told.result, told.covered_s).sentence}"
    )
