"""Pictures for the question whether a hold is enough.

`HoldPicture` keeps one canvas alive for a slider: the coldest point with every standard
on it, the kill added up below, and beside them the map of temperature against hold time
with lines of equal log reduction, the published rows and the cook as a moving mark.
`figure_thickness` draws the same map by thickness. Letters tie marks, map and table.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any, Final

import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.ticker import FixedLocator, FuncFormatter, MaxNLocator, NullLocator
from numpy.typing import NDArray

from coreward.drawing.canvas import PictureCanvas, set_limits, whole_steps
from coreward.drawing.strokes import Strokes
from coreward.drawing.style import (
    FONT_SIZE,
    INKS,
    apply_style,
    format_temperature,
    label_hours,
    label_temperature,
    legend,
    length,
    temperature,
)
from coreward.physics.lethality import CREDIT_FROM_C, Kinetics, load_kinetics
from coreward.questions.hold.answer import HoldTime, best_hold, held_at_or_above
from coreward.questions.verdict import CANNOT_TELL, MET, StandardVerdict, Verdict
from coreward.questions.verdict.answer import letters
from coreward.tables.standards import load_standard
from coreward.words import UnitChoice, as_units

Floats = NDArray[np.float64]
_HOUR: Final = 3600.0
_MINUTE: Final = 60.0
_SHOWN_LOGS: Final = 12.0  # beyond this a count of survivors means nothing
_LOG_LINES: Final = (1, 3, 5, 6.5, 9)
_ROW_MARKERS: Final = ("o", "s", "^", "D", "v", "P", "X", "*", "h")
_SIZE: Final = (10.8, 6.3)
_PARTS: Final = {
    "history": (0.0, 0.435, 0.592, 1.0),
    "kill": (0.0, 0.0, 0.592, 0.435),
    "map": (0.592, 0.0, 1.0, 1.0),
}
"""Left, bottom, right and top of what is drawn on its own, as shares of the canvas."""
_DPI: Final = 100
_TIMES: Final = {
    1.0 / 60.0: "1 s",
    10.0 / 60.0: "10 s",
    1.0: "1 min",
    10.0: "10 min",
    60.0: "1 h",
    600.0: "10 h",
}
_LONGEST_SHOWN_MIN: Final = 1800.0
_SHORTEST_SHOWN_MIN: Final = 0.02
_HOTTEST_SHOWN_C: Final = 80.0
_APART: Final = 11.0  # pixels between letters
_LETTER_SHIFTS: Final = (
    (-7.0, 9.0), (-7.0, -9.0), (-18.0, 9.0), (-18.0, -9.0), (-29.0, 9.0), (-29.0, -9.0),
    (9.0, -10.0),
)  # fmt: skip
_STATE_MARKS: Final[dict[str, tuple[str, str, Any]]] = {
    MET: ("target", "o", "full"),
    CANNOT_TELL: ("event", "s", "none"),
    "not met": ("caution", "D", "none"),
}


class HoldPicture:
    """The picture of one verdict, kept alive: cheap to update while a slider moves."""

    def __init__(self) -> None:
        self.figure = Figure(figsize=_SIZE, dpi=_DPI, facecolor="white")
        self.figure.set_layout_engine("none")
        # The drawing library has no types here.
        self._canvas: Any = PictureCanvas(self.figure)
        left, wide = 0.057, 0.520
        self.ax_history = self.figure.add_axes((left, 0.480, wide, 0.470))
        self.ax_kill = self.figure.add_axes((left, 0.085, wide, 0.300))
        self.ax_map = self.figure.add_axes((0.662, 0.085, 0.325, 0.865))
        self._map_key: object = None
        self._dressed: UnitChoice | None = None
        self._moving: dict[str, Line2D] = {}
        self._history = Strokes(self.ax_history)
        self._kill = Strokes(self.ax_kill)

    def update(
        self,
        verdict: Verdict,
        kinetics: Kinetics | str,
        units: str | UnitChoice = "C",
        kept: Verdict | None = None,
        *,
        moving: bool = False,
    ) -> bytes:
        """Redraw and return the picture as PNG.

        Parameters
        ----------
        verdict : Verdict
            From `coreward.questions.verdict.verdict`.
        kinetics : Kinetics or str
            Organism of the lines of equal log reduction.
        units : str or UnitChoice
            "C", "F" or a choice of units.
        kept : Verdict, optional
            An earlier one, drawn grey and dashed.
        moving : bool
            Whether another picture follows at once: the scales then stay where they suit,
            and the picture has few colours.
        """
        choice = as_units(units)
        moving = moving and choice == self._dressed
        chosen = kinetics if isinstance(kinetics, Kinetics) else load_kinetics(kinetics)
        if choice != self._dressed:
            _dress_history(self.ax_history, choice)
            _dress_kill(self.ax_kill)
            self._dressed = choice
        set_limits(self.ax_history, *_history_ends(verdict, choice), moving)
        named = _draw_history(self.ax_history, self._history, verdict, choice, kept)
        self._canvas.set_legend(self.ax_history, named, loc="lower right", fontsize=8)
        named = _draw_kill(self._kill, verdict, chosen)
        self._canvas.set_legend(self.ax_kill, named, loc="upper left", fontsize=8)
        self.ax_kill.set_xlim(self.ax_history.get_xlim())
        # Rows and lines of the map change far less often than a slider moves.
        key = (chosen, tuple(letters(verdict)), choice, kept is not None)
        if key != self._map_key:
            self.ax_map.clear()
            self._moving = _draw_map(self.ax_map, verdict, chosen, choice, kept is not None)
            self._map_key = key
        _move(self._moving, verdict, chosen, choice, kept)
        for name, ax, also in (
            ("history", self.ax_history, None),
            ("kill", self.ax_kill, None),
            ("map", self.ax_map, key),
        ):
            self._canvas.draw_part(name, (ax,), _PARTS[name], also)
        picture: bytes = self._canvas.picture(moving)
        return picture


def _dress_history(ax: Axes, choice: UnitChoice) -> None:
    label_temperature(ax, choice)
    apply_style(ax, title="Coldest point, and what each standard asks of it")
    ax.tick_params(labelbottom=False)
    ax.xaxis.set_major_locator(MaxNLocator(nbins=8))
    ax.yaxis.set_label_coords(-0.078, 0.5)


def _dress_kill(ax: Axes) -> None:
    apply_style(ax, title="Kill added up at that point (beside the standards, never in them)")
    label_hours(ax)
    ax.xaxis.set_major_locator(MaxNLocator(nbins=8))
    ax.set_ylabel("log reduction")
    ax.set_ylim(0.0, _SHOWN_LOGS + 0.6)
    ax.yaxis.set_major_locator(FixedLocator([0, 2, 4, 6, 8, 10, 12]))
    ax.yaxis.set_label_coords(-0.078, 0.5)


def _history_ends(
    verdict: Verdict, choice: UnitChoice
) -> tuple[tuple[float, float], tuple[float, float]]:
    """Limits of time [h] and of temperature, as they are shown."""
    record = verdict.record
    low_c = float(np.nanmin(np.append(record.coldest_c, 10.0))) - 3.0
    bottom_c, top_c = whole_steps(low_c, _top_c(verdict))
    return (
        whole_steps(0.0, float(record.time_s[-1]) / _HOUR * 1.03),
        (float(temperature(bottom_c, choice)), float(temperature(top_c, choice))),
    )


def _draw_history(
    ax: Axes, strokes: Strokes, verdict: Verdict, choice: UnitChoice, kept: Verdict | None
) -> list[Any]:
    """Draw it and return what the legend names."""
    record = verdict.record
    hours = record.time_s / _HOUR
    end = float(hours[-1])
    if kept is not None:
        strokes.line(
            kept.record.time_s / _HOUR,
            temperature(kept.record.coldest_c, choice),
            **INKS["kept"].kwargs() | {"marker": None},
        )
    if record.air_c is not None:
        strokes.line(hours, temperature(record.air_c, choice), **INKS["air"].kwargs())
    if record.surface_c is not None:
        surface = INKS["surface"].kwargs() | {"label": "surface"}
        strokes.line(hours, temperature(record.surface_c, choice), **surface)
    core = INKS["core"].kwargs() | {"label": "coldest point"}
    strokes.line(hours, temperature(record.coldest_c, choice), **core)
    _draw_come_up(strokes, verdict, choice, end)
    used: list[tuple[float, float]] = []
    for name, letter in letters(verdict).items():
        item = verdict.standard(name)
        if item.limit_c is None or item.required_s is None:
            continue
        _draw_mark(ax, strokes, verdict, item, letter, choice, used)
    return strokes.done() + [
        Line2D([], [], label=f"row {state}", **_mark_look(state) | {"linewidth": 2.0})
        for state in _STATE_MARKS
        if any(item.counts and item.state == state for item in verdict.standards)
    ]


def _top_c(verdict: Verdict) -> float:
    """Room for what matters: the meat and the marks, not a hot pit. [°C]."""
    record = verdict.record
    shown = [float(np.nanmax(np.append(record.coldest_c, 60.0)))]
    shown += [s.limit_c for s in verdict.standards if s.counts and s.limit_c is not None]
    if record.surface_c is not None:
        shown.append(min(float(np.nanmax(record.surface_c)), shown[0] + 15.0))
    if record.air_c is not None and np.isfinite(record.air_c).any():
        shown.append(min(float(np.nanpercentile(record.air_c, 98)), shown[0] + 50.0))
    return max(shown) + 9.0


def _draw_come_up(strokes: Strokes, verdict: Verdict, choice: UnitChoice, end: float) -> None:
    come_up = next(item for item in verdict.limits if item.kind == "come-up")
    if come_up.start_s is None or come_up.end_s is None:
        return
    late = come_up.state == "not met"
    low, high = (float(temperature(t, choice)) for t in (come_up.from_c, come_up.to_c))
    ink = INKS["caution" if late else "band"]
    strokes.band(
        [come_up.start_s / _HOUR, come_up.end_s / _HOUR],
        low,
        high,
        facecolor=ink.colour,
        alpha=0.22 if late else 0.55,
        hatch=ink.hatch or None,
        linewidth=0.0,
        label=f"come-up, {'past' if late else 'within'} {come_up.limit_s / _HOUR:g} h",
    )
    limit_h = (come_up.start_s + come_up.limit_s) / _HOUR
    if limit_h <= end:
        ink = INKS["caution"]
        label = "come-up limit"
        strokes.line([limit_h] * 2, [low, high], color=ink.colour, linestyle="--", label=label)


def _mark_look(state: str) -> dict[str, Any]:
    meaning, marker, fill = _STATE_MARKS[state]
    return {
        "color": INKS[meaning].colour,
        "linestyle": "-" if state == MET else ":",
        "marker": marker,
        "markersize": 5.5,
        "fillstyle": fill,
    }


def _draw_mark(
    ax: Axes,
    strokes: Strokes,
    verdict: Verdict,
    item: StandardVerdict,
    letter: str,
    choice: UnitChoice,
    used: list[tuple[float, float]],
) -> None:
    """Mark a row from where it is first reached, as long as its time."""
    assert item.limit_c is not None
    assert item.required_s is not None
    record = verdict.record
    reading = np.nan_to_num(record.coldest_c, nan=-np.inf)
    above = np.flatnonzero(reading >= item.limit_c - 1e-6)
    begin = float(record.time_s[above[0] if above.size else -1]) / _HOUR
    finish = begin + item.required_s / _HOUR
    level = float(temperature(item.limit_c, choice))
    finish = min(finish, ax.get_xlim()[1])
    strokes.line([begin, finish], [level] * 2, linewidth=2.0, **_mark_look(item.state))
    place, shift = _free_place(ax, (begin, level), used)
    used.append(place)
    strokes.words(
        letter,
        begin,
        level,
        xytext=shift,
        textcoords="offset points",
        ha="center",
        va="center",
        fontsize=FONT_SIZE - 1,
        fontweight="bold",
        color=INKS["text"].colour,
    )


def _free_place(
    ax: Axes, point: tuple[float, float], used: Sequence[tuple[float, float]]
) -> tuple[tuple[float, float], tuple[float, float]]:
    """Return the first place beside a mark where no other letter stands, and the shift."""
    x, y = (float(each) for each in ax.transData.transform(point))
    per_point = _DPI / 72.0
    for shift in _LETTER_SHIFTS:
        place = (x + shift[0] * per_point, y + shift[1] * per_point)
        if all(abs(place[0] - u) > _APART or abs(place[1] - v) > _APART for u, v in used):
            return place, shift
    return place, shift


def _draw_kill(strokes: Strokes, verdict: Verdict, kinetics: Kinetics) -> list[Any]:
    """Draw it and return what the legend names."""
    views = [view for view in verdict.integrals if view.unit == "log10"]
    view = next((view for view in views if view.name == kinetics.name), None)
    if view is None:
        return strokes.done()
    hours = view.history.time_s / _HOUR
    ink = INKS["meat"]
    most = np.minimum(view.history.cumulative, _SHOWN_LOGS)
    sure = np.minimum(view.confident_curve, _SHOWN_LOGS)
    strokes.band(hours, sure, most, color=ink.colour, alpha=0.12, linewidth=0.0)
    strokes.line(hours, most, color=ink.colour, linewidth=2.2, label="as read")
    strokes.line(
        hours,
        sure,
        color=INKS["meat_2"].colour,
        linewidth=2.0,
        linestyle=INKS["meat_2"].line,
        label="with 95 % confidence",
    )
    for level, words, line in (
        (view.target, f"target {view.target:g}", INKS["target"].line),
        (view.required, f"with margins {_up(view.required)}", ":"),
    ):
        if level < _SHOWN_LOGS:
            strokes.across(
                level, color=INKS["target"].colour, linewidth=1.3, linestyle=line, label=words
            )
    return strokes.done()


def _draw_map(
    ax: Axes, verdict: Verdict, kinetics: Kinetics, choice: UnitChoice, with_kept: bool
) -> dict[str, Line2D]:
    """Draw what stands still; return the lines that move."""
    low, high = max(kinetics.valid_low_c, CREDIT_FROM_C), kinetics.valid_high_c
    levels = np.linspace(low, high, 40)
    d_minutes = kinetics.d_minutes(levels)
    lines = INKS["meat_3"].colour
    for number, logs in enumerate(_LOG_LINES):
        ax.plot(
            temperature(levels, choice),
            logs * d_minutes,
            color=lines,
            linewidth=0.9 + 0.15 * number,
        )
        # Every other label at the other end keeps them apart.
        at = -1 if number % 2 == 0 else 0
        ax.annotate(
            f"{logs:g} log" if number % 2 == 0 else f"{logs:g}",
            (float(temperature(levels[at], choice)), float(logs * d_minutes[at])),
            xytext=(3, -3) if at == -1 else (-3, -3),
            ha="left" if at == -1 else "right",
            textcoords="offset points",
            fontsize=7.5,
            color="#4d5290",
        )
    for number, (name, letter) in enumerate(letters(verdict).items()):
        standard = load_standard(name)
        rows = np.array(standard.temperatures_c)
        shown = rows <= _HOTTEST_SHOWN_C + 1e-6
        ax.plot(
            temperature(rows[shown], choice),
            [standard.required_s(row) / _MINUTE for row in rows[shown]],
            linestyle="none",
            marker=_ROW_MARKERS[number % len(_ROW_MARKERS)],
            markersize=4.5,
            markerfacecolor="none" if number % 2 else INKS["target"].colour,
            markeredgecolor=INKS["target"].colour,
            # What stands before the comma is enough beside a letter.
            label=f"{letter} {standard.title.partition(',')[0]}",
        )
    looks = {"kept": INKS["kept"].kwargs() | {"marker": None}} if with_kept else {}
    looks["cook"] = INKS["core"].kwargs() | {"label": "this cook: time at or above"}
    looks["best"] = {
        "linestyle": "none",
        "marker": "v",
        "markersize": 11,
        "color": INKS["event"].colour,
        "markeredgecolor": "white",
        "label": "this cook's best hold",
        "zorder": 6,
    }
    moving = {name: ax.plot([], [], animated=True, **look)[0] for name, look in looks.items()}
    ax.set_yscale("log")
    ax.set_ylim(_SHORTEST_SHOWN_MIN, _LONGEST_SHOWN_MIN)
    _label_times(ax)
    ax.set_xlim(*(float(temperature(t, choice)) for t in (52.3, _HOTTEST_SHOWN_C + 1.0)))
    ax.set_ylabel("held at that temperature or above", labelpad=2)
    label_temperature(ax, choice, axis="x")
    apply_style(ax, title="The map of holds")
    ends = f"{format_temperature(low, choice, 1)} to {format_temperature(high, choice, 1)}"
    ax.text(
        1.0,
        1.012,
        f"lines: {_short(kinetics.organism)}, {ends}",
        transform=ax.transAxes,
        ha="right",
        va="bottom",
        fontsize=7.5,
        color="#4d5290",
    )
    handles, _ = ax.get_legend_handles_labels()
    # Copies: an animated handle would be left out of the part that stands still.
    twins = [_still(handle) for handle in handles]
    legend(ax, handles=twins, loc="lower left", fontsize=7.5, handlelength=2.2)
    return moving


def _still(line: Any) -> Line2D:
    twin = Line2D([], [])
    twin.update_from(line)
    twin.set_label(str(line.get_label()))
    twin.set_animated(False)
    twin.set_markevery(None)
    if twin.get_markersize() > 8:
        twin.set_markersize(8)
    return twin


def _move(
    moving: dict[str, Line2D],
    verdict: Verdict,
    kinetics: Kinetics,
    choice: UnitChoice,
    kept: Verdict | None,
) -> None:
    if kept is not None:
        moving["kept"].set_data(*_cook_curve(kept, choice))
    moving["cook"].set_data(*_cook_curve(verdict, choice))
    best = best_hold(verdict.record, kinetics)
    at: tuple[list[float], list[float]] = ([], [])
    if best is not None:
        held = float(np.clip(best[1] / _MINUTE, _SHORTEST_SHOWN_MIN, _LONGEST_SHOWN_MIN))
        at = ([float(temperature(best[0], choice))], [held])
    moving["best"].set_data(*at)


def _short(words: str) -> str:
    return words if len(words) <= 24 else words.partition(",")[0][:24]


def _cook_curve(verdict: Verdict, choice: UnitChoice) -> tuple[Floats, Floats]:
    _, coldest = verdict.record.known()
    if coldest.size < 2 or float(np.max(coldest)) < CREDIT_FROM_C:
        return np.empty(0), np.empty(0)
    levels = np.linspace(CREDIT_FROM_C, float(np.max(coldest)), 80)
    held = held_at_or_above(verdict.record, levels)
    some = held > 0.0
    return temperature(levels[some], choice), held[some] / _MINUTE


def _label_times(ax: Axes) -> None:
    ax.yaxis.set_major_locator(FixedLocator(list(_TIMES)))
    words = {round(value, 6): text for value, text in _TIMES.items()}
    ax.yaxis.set_major_formatter(FuncFormatter(lambda value, _: words.get(round(value, 6), "")))
    ax.yaxis.set_minor_locator(NullLocator())


def _up(value: float) -> str:
    return f"{math.ceil(value * 10.0 - 1e-9) / 10.0:.1f}"


def figure_thickness(
    cells: Sequence[HoldTime],
    *,
    standard: str,
    around: str = "bath",
    mark: HoldTime | None = None,
    units: str | UnitChoice = "C",
) -> Figure:
    """Draw the time from the fridge until a hold is through, by thickness.

    Parameters
    ----------
    cells : sequence of HoldTime
        From `coreward.questions.hold.answer.hold_map`.
    standard : str
        Whose hold it is.
    around : str
        "bath" or "air".
    mark : HoldTime, optional
        The piece at hand.
    units : str or UnitChoice
        "C", "F" or a choice of units.

    Returns
    -------
    Figure
        A new figure without a window.
    """
    choice = as_units(units)
    figure = Figure(figsize=(10.8, 4.6), dpi=_DPI, facecolor="white")
    figure.set_layout_engine("none")
    FigureCanvasAgg(figure)
    ax = figure.add_axes((0.057, 0.115, 0.868, 0.80))
    sizes = sorted({cell.thickness_m for cell in cells})
    shades = np.linspace(0.15, 0.85, max(len(sizes), 1))
    ends: list[float] = []
    for size, shade in zip(sizes, shades, strict=True):
        line = sorted((c for c in cells if c.thickness_m == size), key=lambda c: c.around_c)
        known = [cell for cell in line if math.isfinite(cell.enough_s)]
        if not known:
            continue
        x = temperature([cell.around_c for cell in known], choice)
        y = np.array([cell.enough_s / _HOUR for cell in known])
        colour = _between(INKS["surface"].colour, INKS["core"].colour, float(shade))
        ax.plot(x, y, color=colour, linewidth=1.4 + 1.2 * float(shade))
        late = np.array([cell.late for cell in known])
        if late.any():
            ax.plot(
                x[late],
                y[late],
                linestyle="none",
                marker="x",
                markersize=6,
                markeredgewidth=1.6,
                color=INKS["caution"].colour,
            )
        ends.append(float(y[-1]))
        digits = 1 if choice.length == "in" else 0
        ax.annotate(
            f"{float(length(size, choice)):.{digits}f} {choice.length}",
            (float(x[-1]), float(y[-1])),
            xytext=(6, -3),
            textcoords="offset points",
            fontsize=FONT_SIZE - 1,
            color=colour,
        )
    if mark is not None and math.isfinite(mark.enough_s):
        ax.plot(
            [float(temperature(mark.around_c, choice))],
            [mark.enough_s / _HOUR],
            linestyle="none",
            marker="v",
            markersize=12,
            color=INKS["event"].colour,
            markeredgecolor="white",
            label="your piece",
            zorder=6,
        )
    ax.plot(
        [],
        [],
        linestyle="none",
        marker="x",
        markeredgewidth=1.6,
        color=INKS["caution"].colour,
        label="come-up past its limit",
    )
    highest = max([1.0, *(c.enough_s / _HOUR for c in cells if math.isfinite(c.enough_s))])
    ax.set_yscale("log")
    ax.set_ylim(0.3, highest * 1.3)
    hours = [0.5, 1, 2, 3, 4, 6, 8, 12, 16, 24, 36]
    ax.yaxis.set_major_locator(FixedLocator([h for h in hours if h < highest * 1.3]))
    ax.yaxis.set_minor_locator(NullLocator())
    ax.yaxis.set_major_formatter("{x:g}")
    ax.set_ylabel("from the fridge until it is enough (h)")
    ax.xaxis.set_major_locator(MaxNLocator(nbins=11, integer=True))
    label_temperature(ax, choice, axis="x")
    ax.set_xlabel(f"{'bath' if around == 'bath' else 'air'} {ax.get_xlabel()}")
    apply_style(ax, title=f"By thickness: the time until '{standard}' has its hold")
    legend(ax, loc="upper right")
    return figure


def _between(first: str, second: str, share: float) -> str:
    """Mix two hex colours."""
    parts = (
        round(int(first[i : i + 2], 16) * (1 - share) + int(second[i : i + 2], 16) * share)
        for i in (1, 3, 5)
    )
    return "#" + "".join(f"{part:02x}" for part in parts)
