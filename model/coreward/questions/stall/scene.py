"""Axes and artists of the picture of a stall; `figure` says when they are drawn."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any, Final

import numpy as np
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch, Rectangle
from matplotlib.ticker import MaxNLocator, NullLocator
from numpy.typing import NDArray

from coreward.cook.result import Result
from coreward.drawing import style
from coreward.events.standstill import Stall
from coreward.questions.stall.explain import Explanation
from coreward.words import UnitChoice, as_units

Floats = NDArray[np.float64]

_NAMED: Final[dict[str, dict[str, Any]]] = {"wet_bulb": {"label": "a wet surface"}}
"""Other names of lines here: a wet bulb that the walls shine on as well."""
_TITLE: Final[dict[str, Any]] = {
    "loc": "left",
    "fontsize": style.FONT_SIZE + 1,
    "color": style.PALETTE["text"],
    "fontweight": "bold",
}
_SECONDS_PER_HOUR: Final = 3600.0
_MOST_POINTS: Final = 360
_LEAST_RATE: Final = 0.01
"""Lower end of the axis of water. [kg/m² h]"""
_MOST_STALLS: Final = 3
_MOST_REGIMES: Final = 14
_SIZE_INCHES: Final = (10.8, 6.9)
_DPI: Final = 100
TILES: Final = {
    "temperature": (0.0, 0.515, 0.648, 1.0),
    "heat": (0.0, 0.300, 0.648, 0.515),
    "water": (0.0, 0.0, 0.648, 0.300),
    "profile": (0.648, 0.475, 1.0, 1.0),
    "stock": (0.648, 0.0, 1.0, 0.475),
}
"""Left, bottom, right, top of each part of the canvas that can be redrawn alone."""


REGIME_WORDS: Final = {
    "condensing": "condensing: the air wets the meat",
    "air-limited": "air-limited: the air takes all it can",
    "supply-limited": "supply-limited: the meat cannot send more",
    "dry": "dry surface",
    "boiling": "boiling",
    "sealed": "sealed in the wrap",
    "no evaporation": "no evaporation",
}
"""Long names; the strip uses the key where there is no room."""

_REGIME_FILL: Final = {
    "condensing": ("#c9d6ea", ".."),
    "air-limited": ("#dcebf2", ""),
    "supply-limited": ("#f2e3c4", ""),
    "dry": ("#ead2c2", "//"),
    "boiling": ("#e3c4c4", "xx"),
    "sealed": ("#d9d9d9", "--"),
    "no evaporation": ("#efefef", ""),
}


def regime_spans(
    time_s: Any, regime: Any, shortest_share: float = 0.012
) -> list[tuple[float, float, str]]:
    """Return (begin, end, name) of each stretch of one regime.

    Parameters
    ----------
    time_s : ndarray
        Times. [s]
    regime : array of str
        Name of the regime at each time.
    shortest_share : float
        A stretch shorter than this share of the whole joins the one before it: it
        could not be read in a picture. The first stretch is never dropped for a
        shorter one before it.
    """
    times = np.asarray(time_s, dtype=float)
    names = np.asarray(regime)
    if times.size == 0:
        return []
    edges = [0, *(np.flatnonzero(names[1:] != names[:-1]) + 1).tolist()]
    ends = [*edges[1:], times.size - 1]
    shortest = shortest_share * (times[-1] - times[0])
    spans: list[tuple[float, float, str]] = []
    for first, last in zip(edges, ends, strict=True):
        begin, end, name = float(times[first]), float(times[last]), str(names[first])
        if spans and (end - begin < shortest or spans[-1][2] == name):
            spans[-1] = (spans[-1][0], end, spans[-1][2])
        elif spans and spans[-1][1] - spans[-1][0] < shortest and len(spans) == 1:
            spans[-1] = (spans[-1][0], end, name)
        else:
            spans.append((begin, end, name))
    return spans


def _nice_step(span: float) -> float:
    """Return 1, 2 or 5 times a power of ten, about a sixth of `span`."""
    if not np.isfinite(span) or span <= 0.0:
        return 1.0
    power = 10.0 ** np.floor(np.log10(span / 6.0))
    for factor in (1.0, 2.0, 5.0, 10.0):
        if span / 6.0 <= factor * power:
            return float(factor * power)
    return float(10.0 * power)


class Scene:
    """Axes, artists and limits. Frame and words are static, the rest moves."""

    def __init__(self, *, animated: bool) -> None:
        self._animated = animated
        self.figure = Figure(figsize=_SIZE_INCHES, dpi=_DPI, facecolor="white")
        self.figure.set_layout_engine("none")
        if not animated:
            FigureCanvasAgg(self.figure)
        self._units: UnitChoice | None = None
        self._limits: dict[str, tuple[float, float]] = {}
        self._words: str = ""
        left, right, wide = 0.058, 0.706, 0.578
        narrow = 0.944 - right
        self.ax_temperature = self.figure.add_axes((left, 0.545, wide, 0.38))
        self.ax_heat = self.figure.add_axes(
            (left, 0.312, wide, 0.165), sharex=self.ax_temperature
        )
        self.ax_regime = self.figure.add_axes(
            (left, 0.234, wide, 0.034), sharex=self.ax_temperature
        )
        self.ax_water = self.figure.add_axes(
            (left, 0.074, wide, 0.155), sharex=self.ax_temperature
        )
        self.ax_profile = self.figure.add_axes((right, 0.545, narrow, 0.38))
        self.ax_profile_water = self.ax_profile.twinx()
        self.ax_stock = self.figure.add_axes(
            (right, 0.074, narrow, 0.325), sharex=self.ax_temperature
        )
        self.tiles: dict[str, tuple[Axes, ...]] = {
            "temperature": (self.ax_temperature,),
            "heat": (self.ax_heat,),
            "water": (self.ax_regime, self.ax_water),
            "profile": (self.ax_profile, self.ax_profile_water),
            "stock": (self.ax_stock,),
        }
        self._stale: set[str] = set()
        self._dress()
        self._make_artists()

    # -- static furniture -------------------------------------------------

    def _dress(self) -> None:
        style.apply_style(self.ax_temperature, title="Temperatures")
        style.apply_style(self.ax_heat, title="Heat at the surface")
        style.apply_style(self.ax_water, title="")
        style.apply_style(self.ax_profile, title="Through the piece")
        style.apply_style(self.ax_stock, title="Free water, and what is lost")
        # Its legend stands between title and frame: the axes are too narrow for both beside.
        self.ax_stock.set_title(self.ax_stock.get_title("left"), **_TITLE, pad=19)
        self.ax_regime.set_facecolor("white")
        for side in ("top", "right", "left", "bottom"):
            self.ax_regime.spines[side].set_visible(False)
        self.ax_regime.set_yticks([])
        self.ax_regime.set_ylim(0.0, 1.0)
        self.ax_regime.tick_params(axis="x", which="both", bottom=False, labelbottom=False)
        self.ax_regime.set_title(
            "Water at the surface",
            **_TITLE,
            pad=3,
        )
        self.ax_temperature.tick_params(labelbottom=False)
        self.ax_heat.tick_params(labelbottom=False)
        self.ax_heat.set_ylabel("W/m²")
        self.ax_water.set_ylabel("kg/m² h")
        self.ax_water.set_yscale("log")
        self.ax_water.yaxis.set_major_formatter("{x:g}")
        self.ax_water.yaxis.set_minor_locator(NullLocator())
        self.ax_stock.set_ylabel("% of the raw weight")
        self.ax_stock.yaxis.set_major_locator(MaxNLocator(7, steps=[1, 2, 5, 10]))
        style.label_hours(self.ax_water)
        style.label_hours(self.ax_stock)
        twin = self.ax_profile_water
        for side in ("top", "left", "bottom"):
            twin.spines[side].set_visible(False)
        twin.spines["right"].set_color("#8c949b")
        twin.tick_params(
            colors=style.PALETTE["text"], labelsize=style.FONT_SIZE - 1, length=3.5, width=0.8
        )
        twin.set_ylabel("water (kg per kg dry)", fontsize=style.FONT_SIZE, labelpad=2)
        twin.set_ylim(0.0, 1.0)
        for ax in (self.ax_temperature, self.ax_heat, self.ax_water):
            ax.yaxis.set_label_coords(-0.072, 0.5)
        self.ax_heat.axhline(0.0, color="#6d757c", linewidth=0.9)

    # -- artists ------------------------------------------------------------

    def _line(self, ax: Axes, meaning: str, **options: Any) -> Line2D:
        settings = {**style.INKS[meaning].kwargs(), **options}
        (line,) = ax.plot([], [], animated=self._animated, **settings)
        return line

    def _make_artists(self) -> None:
        a = self._animated
        self._timed = (self.ax_temperature, self.ax_heat, self.ax_water, self.ax_stock)
        self._spans = [
            (
                Rectangle(
                    (0, 0),
                    0,
                    1,
                    transform=ax.get_xaxis_transform(),
                    facecolor=style.PALETTE["stall"],
                    edgecolor="none",
                    alpha=0.75,
                    animated=a,
                    visible=False,
                )
            )
            for ax in self._timed
            for _ in range(_MOST_STALLS)
        ]
        for index, span in enumerate(self._spans):
            self._timed[index // _MOST_STALLS].add_patch(span)
        self._span_labels = [
            self.ax_temperature.text(
                0,
                0.03,
                "",
                transform=self.ax_temperature.get_xaxis_transform(),
                ha="left",
                va="bottom",
                fontsize=style.FONT_SIZE - 1,
                color=style.PALETTE["text"],
                animated=a,
                zorder=6,
                bbox={
                    "facecolor": style.PALETTE["stall"],
                    "edgecolor": "none",
                    "alpha": 0.8,
                    "pad": 1.0,
                },
            )
            for _ in range(_MOST_STALLS)
        ]
        temperature = self.ax_temperature
        self._kept_lines = [
            self._line(temperature, "kept"),
            self._line(temperature, "kept", label="_", linewidth=1.1),
        ]
        self._temperature_lines = {
            meaning: self._line(temperature, meaning, **_NAMED.get(meaning, {}))
            for meaning in ("air", "dew_point", "wet_bulb", "surface", "mean", "core")
        }
        self._heat_lines = {
            meaning: self._line(self.ax_heat, meaning)
            for meaning in ("convection", "radiation", "conduction", "evaporation")
        }
        self._water_lines = {
            meaning: self._line(self.ax_water, meaning)
            for meaning in ("demand", "supply", "drip")
        }
        self._profile_line = self._line(
            self.ax_profile, "core", label="temperature", markevery=None
        )
        self._profile_water = self._line(self.ax_profile_water, "water")
        self._profile_surface = self._line(
            self.ax_profile,
            "surface",
            linestyle="none",
            label="surface",
            markersize=6,
            markevery=None,
        )
        self._stock_line = self._line(self.ax_stock, "water", label="free water left")
        self._lost_line = self._line(self.ax_stock, "kept", label="lost so far")
        self._markers = [
            ax.axvline(0.0, color=style.PALETTE["text"], linewidth=1.0, animated=a)
            for ax in self._timed
        ]
        self._regimes = [
            Rectangle((0, 0), 0, 1, linewidth=0.6, animated=a, visible=False)
            for _ in range(_MOST_REGIMES)
        ]
        for patch in self._regimes:
            self.ax_regime.add_patch(patch)
        self._regime_words = [
            self.ax_regime.text(
                0,
                0.46,
                "",
                ha="center",
                va="center",
                fontsize=style.FONT_SIZE - 1.5,
                color=style.PALETTE["text"],
                animated=a,
            )
            for _ in range(_MOST_REGIMES)
        ]
        self._profile_time = self.ax_profile.text(
            0.5,
            0.985,
            "",
            transform=self.ax_profile.transAxes,
            ha="center",
            va="top",
            fontsize=style.FONT_SIZE,
            color=style.PALETTE["text"],
            animated=a,
        )
        self._legends()

    def _legends(self) -> None:
        stall = Patch(facecolor=style.PALETTE["stall"], label="stall")
        order = ("core", "mean", "surface", "air", "wet_bulb", "dew_point")
        lines = self._temperature_lines
        self._legend(
            self.ax_temperature,
            [*(lines[meaning] for meaning in order), stall, self._kept_lines[0]],
            loc="lower right",
            ncols=4,
            bbox_to_anchor=(1.01, 1.0),
            borderaxespad=0.1,
            columnspacing=1.2,
            handlelength=2.6,
        )
        self._legend(
            self.ax_heat,
            list(self._heat_lines.values()),
            loc="lower right",
            ncols=4,
            bbox_to_anchor=(1.01, 0.99),
            borderaxespad=0.1,
            columnspacing=1.0,
            handlelength=2.2,
        )
        # The title of the water axes sits over the strip of regimes.
        self._legend(
            self.ax_regime,
            list(self._water_lines.values()),
            loc="lower right",
            ncols=3,
            bbox_to_anchor=(1.01, 0.97),
            borderaxespad=0.1,
            columnspacing=1.2,
            handlelength=2.6,
        )
        self._legend(
            self.ax_profile,
            [self._profile_line, self._profile_surface, self._profile_water],
            loc="lower left",
        )
        self._legend(
            self.ax_stock,
            [self._stock_line, self._lost_line],
            loc="lower left",
            ncols=2,
            bbox_to_anchor=(-0.02, 0.99),
            borderaxespad=0.1,
            columnspacing=1.2,
            handlelength=2.2,
        )

    @staticmethod
    def _legend(ax: Axes, handles: list[Any], **options: Any) -> None:
        # Copies: an animated handle would be left out of the static background.
        twins: list[Any] = []
        for handle in handles:
            if isinstance(handle, Line2D):
                twin = Line2D([], [])
                twin.update_from(handle)
                twin.set_label(str(handle.get_label()))
                twin.set_animated(False)
                twin.set_markevery(None)
                twins.append(twin)
            else:
                twins.append(handle)
        style.legend(ax, handles=twins, **options)

    def moving(self) -> Iterable[Artist]:
        """Yield the artists that change with the data, back to front."""
        yield from (span for span in self._spans if span.get_visible())
        yield from self._kept_lines
        yield from self._temperature_lines.values()
        yield from self._heat_lines.values()
        yield from self._water_lines.values()
        yield from (patch for patch in self._regimes if patch.get_visible())
        yield from (word for word in self._regime_words if word.get_text())
        yield self._profile_line
        yield self._profile_surface
        yield self._profile_water
        yield self._profile_time
        yield self._lost_line
        yield self._stock_line
        yield from self._markers
        yield from (label for label in self._span_labels if label.get_text())

    # -- data ---------------------------------------------------------------

    def update(
        self,
        result: Result,
        explanation: Explanation,
        at_time_s: float,
        units: str | UnitChoice,
        kept: Result | None,
    ) -> frozenset[str]:
        """Set all data. Returns the tiles whose frame, ticks or words changed."""
        choice = as_units(units)
        time_s = np.asarray(result.time_s, dtype=float)
        self._stale = set()
        self._set_units(choice)
        pick = _thin(time_s)
        hours = time_s[pick] / _SECONDS_PER_HOUR

        curves = {
            "core": result.core_c,
            "mean": result.mean_c,
            "surface": result.surface_c,
            "air": explanation.air_c,
            "wet_bulb": explanation.wet_surface_c,
            "dew_point": explanation.dew_point_c,
        }
        shown: list[Floats] = []
        for meaning, values in curves.items():
            y = style.temperature(np.asarray(values, dtype=float)[pick], choice)
            _fill(self._temperature_lines[meaning], hours, y)
            shown.append(y)
        self._set_kept(kept, choice)

        fluxes = {
            "convection": explanation.convection_w_m2,
            "radiation": explanation.radiation_w_m2,
            "evaporation": explanation.evaporation_w_m2,
            "conduction": explanation.conduction_w_m2,
        }
        heat: list[Floats] = []
        for meaning, values in fluxes.items():
            y = np.asarray(values, dtype=float)[pick]
            _fill(self._heat_lines[meaning], hours, y)
            # Conduction is the rest of the others and needs no more room than they do;
            # taken across half a cell, it is also the one that is noisy.
            if meaning != "conduction":
                heat.append(y)

        rates = {
            "supply": explanation.water_supply_kg_m2_s,
            "demand": explanation.water_demand_kg_m2_s,
            "drip": explanation.drip_kg_m2_s,
        }
        water: list[Floats] = []
        for meaning, values in rates.items():
            y = np.asarray(values, dtype=float)[pick] * _SECONDS_PER_HOUR
            _fill(self._water_lines[meaning], hours, y)
            water.append(y)

        self._set_limits("time", self.ax_temperature.set_xlim, 0.0, hours[-1])
        self._set_spans(explanation.stalls)
        self._set_regimes(time_s, explanation.regime)
        self._set_limits(
            "temperature", self.ax_temperature.set_ylim, *_with_headroom(shown, hours)
        )
        low, high = _extent(heat, hours)
        self._set_limits("heat", self.ax_heat.set_ylim, min(low, 0.0), high)
        self._set_water_limits(water)
        self._set_profile(result, at_time_s, choice)
        self._set_stock(result, explanation, pick, hours)
        for marker in self._markers:
            marker.set_xdata([at_time_s / _SECONDS_PER_HOUR] * 2)
        return frozenset(self._stale)

    def _set_water_limits(self, curves: Sequence[Floats]) -> None:
        """Set whole decades: demand and supply differ by powers of ten."""
        _, high = _extent(curves, np.zeros(curves[0].size), whole=True)
        top = float(np.ceil(np.log10(max(high, 1.0))))
        self._fix("water", self.ax_water.set_ylim, _LEAST_RATE, 10.0 ** max(top, 0.0))

    def _set_units(self, choice: UnitChoice) -> None:
        if choice == self._units:
            return
        self._stale.update(TILES)
        self._units = choice
        self._limits.clear()
        style.label_temperature(self.ax_temperature, choice)
        style.label_temperature(self.ax_profile, choice)
        self.ax_profile.yaxis.labelpad = 2
        style.label_length(self.ax_profile, choice, what="distance from the centre")

    def _set_kept(self, kept: Result | None, choice: UnitChoice) -> None:
        curves: list[tuple[Any, Any]] = [([], []), ([], [])] if kept is None else []
        if kept is not None:
            hours = np.asarray(kept.time_s, dtype=float) / _SECONDS_PER_HOUR
            pick = _thin(hours)
            curves = [
                (hours[pick], style.temperature(np.asarray(values)[pick], choice))
                for values in (kept.core_c, kept.surface_c)
            ]
        for line, (x, y) in zip(self._kept_lines, curves, strict=True):
            line.set_data(x, y)

    def _set_spans(self, stalls: Sequence[Stall]) -> None:
        for number in range(_MOST_STALLS):
            label = self._span_labels[number]
            spans = self._spans[number::_MOST_STALLS]
            if number >= len(stalls):
                label.set_text("")
                for span in spans:
                    span.set_visible(False)
                continue
            stall = stalls[number]
            begin = stall.begin_s / _SECONDS_PER_HOUR
            width = (stall.end_s - stall.begin_s) / _SECONDS_PER_HOUR
            for span in spans:
                span.set_visible(True)
                span.set_x(begin)
                span.set_width(width)
            label.set_x(begin + 0.008 * self.ax_temperature.get_xlim()[1])
            does = "stands still" if stall.level else "slow climb"
            label.set_text(f"{does}\n{style.format_hours(stall.duration_s)}")

    def _set_regimes(self, time_s: Floats, regime: Any) -> None:
        spans = regime_spans(time_s, regime)[:_MOST_REGIMES]
        low, high = self.ax_temperature.get_xlim()
        width_px = self.ax_regime.get_position().width * _SIZE_INCHES[0] * _DPI
        for number, patch in enumerate(self._regimes):
            word = self._regime_words[number]
            if number >= len(spans):
                patch.set_visible(False)
                word.set_text("")
                continue
            begin, end, name = spans[number]
            fill, hatch = _REGIME_FILL.get(name, ("#eeeeee", ""))
            patch.set_visible(True)
            patch.set_x(begin / _SECONDS_PER_HOUR)
            patch.set_width((end - begin) / _SECONDS_PER_HOUR)
            patch.set_facecolor(fill)
            patch.set_edgecolor("#9aa2a8")
            patch.set_hatch(hatch if width_px > 0 else "")
            room = (end - begin) / _SECONDS_PER_HOUR / (high - low) * width_px
            word.set_x(0.5 * (begin + end) / _SECONDS_PER_HOUR)
            word.set_text(_fitting(name, room))

    def _set_profile(self, result: Result, at_time_s: float, choice: UnitChoice) -> None:
        time_s = np.asarray(result.time_s, dtype=float)
        position = np.asarray(result.position_m, dtype=float)
        temperature = _at(time_s, np.asarray(result.temperature_c, dtype=float), at_time_s)
        water = _at(time_s, np.asarray(result.water, dtype=float), at_time_s)
        surface = float(np.interp(at_time_s, time_s, np.asarray(result.surface_c)))
        x = style.length(position, choice)
        x_face = float(x[-1])
        self._profile_line.set_data(x, style.temperature(temperature, choice))
        self._profile_surface.set_data([x_face], style.temperature([surface], choice))
        self._profile_water.set_data(x, water)
        self._profile_time.set_text(f"at {style.format_hours(at_time_s)}")
        self._set_limits("profile x", self.ax_profile.set_xlim, 0.0, 1.035 * x_face)
        low, high = self._limits["temperature"]
        self._fix("profile y", self.ax_profile.set_ylim, low, high)
        self._set_limits(
            "profile water",
            self.ax_profile_water.set_ylim,
            0.0,
            float(np.nanmax(np.asarray(result.water), initial=0.1)),
        )

    def _set_stock(
        self,
        result: Result,
        explanation: Explanation,
        pick: NDArray[np.intp],
        hours: Floats,
    ) -> None:
        curves = [
            100.0 * np.asarray(values, dtype=float)[pick]
            for values in (explanation.free_water, result.mass_loss_fraction)
        ]
        for line, curve in zip((self._stock_line, self._lost_line), curves, strict=True):
            _fill(line, hours, curve)
        _, high = _extent(curves, hours, whole=True)
        self._set_limits("stock", self.ax_stock.set_ylim, 0.0, max(high, 5.0))

    # -- limits ----------------------------------------------------------------

    def _set_limits(self, name: str, setter: Any, low: float, high: float) -> None:
        """Set limits on whole steps; keep the old ones while they still fit.

        A limit that follows each drag would redraw the frame each time.
        """
        low, high = (low, high) if high > low else (low, low + 1.0)
        old = self._limits.get(name)
        if old is not None:
            fits = old[0] <= low and high <= old[1]
            roomy = (high - low) < 0.5 * (old[1] - old[0])
            if fits and not roomy:
                return
        step = _nice_step(high - low)
        new = (
            float(np.floor(low / step + 1e-9) * step),
            float(np.ceil(high / step - 1e-9) * step),
        )
        if name == "time":
            new = (0.0, float(np.ceil(high - 1e-9)))
            self._time_ticks(new[1])
        self._fix(name, setter, *new)

    def _fix(self, name: str, setter: Any, low: float, high: float) -> None:
        if self._limits.get(name) == (low, high):
            return
        self._limits[name] = (low, high)
        # The first word of a name is its tile; time is shared by all but the profile.
        tile = name.split()[0]
        self._stale.update(
            ("temperature", "heat", "water", "stock") if tile == "time" else (tile,)
        )
        setter(low, high)

    def _time_ticks(self, end_hours: float) -> None:
        style.apply_time_ticks(self.ax_water, end_hours)


def _fill(line: Line2D, x: Floats, y: Floats) -> None:
    """Set the data of a line; hide one without a single finite value.

    The drawing library cannot place markers along a line that has none.
    """
    line.set_data(x, y)
    line.set_visible(bool(np.isfinite(y).any()))


def _thin(time: Floats) -> NDArray[np.intp]:
    """Return indices that keep at most a few hundred points, evenly in time."""
    if time.size <= _MOST_POINTS:
        return np.arange(time.size)
    wanted = np.linspace(time[0], time[-1], _MOST_POINTS)
    return np.unique(np.searchsorted(time, wanted).clip(0, time.size - 1))


def _at(time_s: Floats, field: Floats, at_time_s: float) -> Floats:
    """Interpolate each column of `field` at one time."""
    after = int(np.searchsorted(time_s, at_time_s).clip(1, max(time_s.size - 1, 1)))
    if time_s.size < 2:
        return np.asarray(field[0])
    before = after - 1
    gap = time_s[after] - time_s[before]
    share = (at_time_s - time_s[before]) / gap if gap > 0.0 else 1.0
    return np.asarray(field[before] + share * (field[after] - field[before]))


def _extent(
    curves: Sequence[Floats], hours: Floats, *, whole: bool = False
) -> tuple[float, float]:
    """Return low and high of several curves, ignoring what is not finite.

    Unless `whole`, the first twentieth of an hour is left out: a cold piece put
    into a hot pit starts with a spike that would flatten all that follows.
    """
    late = np.ones(hours.size, dtype=bool) if whole else hours >= hours[0] + 0.05
    stacked = np.concatenate([np.asarray(curve)[late] for curve in curves])
    finite = stacked[np.isfinite(stacked)]
    if finite.size == 0:
        return 0.0, 1.0
    return float(finite.min()), float(finite.max())


def _with_headroom(curves: Sequence[Floats], hours: Floats) -> tuple[float, float]:
    low, high = _extent(curves, hours, whole=True)
    return low, high + 0.03 * (high - low)


def _fitting(name: str, room_px: float) -> str:
    """Return the longest wording of a regime that fits `room_px`."""
    for words in (REGIME_WORDS.get(name, name), name):
        if len(words) * 5.4 + 8.0 <= room_px:
            return words
    return ""
