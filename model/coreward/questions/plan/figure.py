"""Pictures of a plan: the day by the clock, and the odds against the lighting time."""

from __future__ import annotations

import datetime as dt
from typing import Any, Final

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from numpy.typing import NDArray

from coreward import tables
from coreward.drawing import png
from coreward.drawing.canvas import PictureCanvas, empty
from coreward.drawing.style import FONT_SIZE, INKS, PALETTE, apply_style, legend
from coreward.questions.plan.answer import Plan, Step, chances, clock_text
from coreward.questions.plan.words import serving_text
from coreward.words import METRIC, Units, shown

Floats = NDArray[np.float64]

_HOUR: Final = 3600.0
_WIDTH: Final = 10.8
_ROW: Final = 0.62
_DPI: Final = 100
_HEIGHT: Final = 0.34
# Whole hours of the clock between two marks, the first that leaves few enough.
_MARKS: Final = (1, 2, 3, 4, 6, 12, 24)
_MOST_MARKS: Final = 12
_LABEL: Final = FONT_SIZE - 1.5
# Width of a letter of the font, of its size: a little more than the mean.
_LETTER: Final = 0.64


def clock_marks(begin: dt.datetime, end: dt.datetime) -> tuple[list[dt.datetime], list[str]]:
    """Marks at whole hours of the place's clock, also over a change of it.

    Returns
    -------
    list of datetime, list of str
        Moments, and words: the day is named at the first mark and after each midnight.
    """
    zone = begin.tzinfo
    whole = begin.astimezone(dt.UTC).replace(minute=0, second=0, microsecond=0)
    # Half-hour zones: search by quarters of an hour of the universal clock.
    steps = int((end - begin).total_seconds() // 900) + 8
    moments = [(whole + dt.timedelta(minutes=15 * k)).astimezone(zone) for k in range(steps)]
    hours = [m for m in moments if m.minute == 0 and begin <= m <= end]
    step = next(s for s in _MARKS if len(hours) / s <= _MOST_MARKS or s == _MARKS[-1])
    kept = [m for m in hours if m.hour % step == 0]
    # In the night in which the clock goes back an hour comes twice: the first is enough.
    kept = [m for i, m in enumerate(kept) if i == 0 or m.hour != kept[i - 1].hour or step == 24]
    words, day = [], None
    for m in kept:
        words.append(f"{m:%H:%M}" if m.date() == day else f"{m:%H:%M}\n{m:%a %d %b}")
        day = m.date()
    return kept, words


def _x(moment: dt.datetime) -> float:
    return moment.timestamp() / _HOUR


def draw_timeline(ax: Axes, plan: Plan, units: Units = METRIC) -> None:
    """Draw bars for each piece, with windows, by the clock."""
    serve = plan.serve_at
    begin = min(plan.light.earliest, plan.light.planned)
    ends = [step.latest for step in plan.steps]
    end = max([serve, *ends])
    span = max((end - begin).total_seconds(), _HOUR)
    margin = dt.timedelta(seconds=0.03 * span)
    ax.set_xlim(_x(begin - margin), _x(end + margin))
    names = ["fire", *(one.item.name for one in plan.pieces)]
    ax.set_ylim(len(names) - 0.4, -0.72)
    last = max((step.planned for step in plan.steps if step.kind == "pull"), default=serve)
    _bar(ax, 0, plan.light.planned, last, PALETTE["band"], "")
    ax.plot(_x(plan.light.planned), 0, marker="^", color=PALETTE["caution"], markersize=9)
    _window(ax, 0, plan.light)
    labels = [(plan.light.planned, f"light {clock_text(plan.light.planned, serve)}")]
    turn = next((step for step in plan.steps if step.kind == "turn up"), None)
    if turn is not None:
        ax.plot(_x(turn.planned), 0, marker="P", color=PALETTE["convection"], markersize=8)
        said = f"turn up {clock_text(turn.planned, serve)} {shown(turn.note, units)}"
        labels.append((turn.planned, said))
    _label(ax, 0, labels, serve)
    for row, one in enumerate(plan.pieces, start=1):
        on, wrap, pull = one.step("on"), one.step("wrap"), one.step("pull")
        cut = one.step("slice")
        if on is None or pull is None or cut is None:
            continue
        bare_until = pull.planned if wrap is None else min(wrap.planned, pull.planned)
        _bar(ax, row, on.planned, bare_until, PALETTE["surface"], "", "bare")
        if wrap is not None:
            _bar(ax, row, bare_until, pull.planned, PALETTE["wet_bulb"], "//", "wrapped")
        _bar(ax, row, pull.planned, cut.planned, PALETTE["stall"], "....", "rest and hold")
        if wrap is not None:
            _window(ax, row, wrap, 0.23)
        _window(ax, row, pull, 0.34)
        decided = (("on", on), ("wrap", wrap), ("pull", pull))
        _label(
            ax,
            row,
            [
                (step.planned, f"{words} {clock_text(step.planned, serve)}")
                for words, step in decided
                if step is not None
            ],
            serve,
        )
    ax.axvline(_x(serve), color=PALETTE["text"], linewidth=1.6)
    # In the top margin, where nothing else stands.
    ax.annotate(
        f"serve {serving_text(serve)}",
        (_x(serve), 1.0),
        xycoords=("data", "axes fraction"),
        fontsize=_LABEL,
        fontweight="bold",
        ha="right",
        va="bottom",
        xytext=(3, 3),
        textcoords="offset points",
    )
    ax.set_yticks(range(len(names)), names)
    marks, words_of = clock_marks(begin - margin, end + margin)
    ax.set_xticks([_x(m) for m in marks], words_of)
    ax.set_xlabel(f"clock time, {serve.tzname()} at serving")
    inside = round(10 * tables.load("plan")["window"])
    apply_style(ax, title=f"The day. Lines below a bar: when, in {inside} days of ten")
    ax.grid(axis="y", visible=False)


def _points_to_hours(ax: Axes, points: float) -> float:
    """How much of the clock so many points of paper are."""
    low, high = ax.get_xlim()
    wide = ax.get_position().width * _WIDTH * 72.0
    return (high - low) * points / wide


def _label(
    ax: Axes, row: int, labels: list[tuple[dt.datetime, str]], serve: dt.datetime
) -> None:
    """Write labels above a bar: one that would run into another stands higher or further on."""
    left, right = ax.get_xlim()
    if max(moment for moment, _ in labels) < serve:
        right = _x(serve)  # no label lies on the line of the serving hour
    below, above = ax.get_ylim()
    inches = ax.get_position().height * ax.figure.get_figheight()  # type: ignore[union-attr]
    room = inches * 72.0 / (below - above)  # from bar to bar, in points
    # Between two bars there are also the windows of the upper one.
    levels = max(1, int((0.5 * room) // (_LABEL + 1.0)))
    lines: list[list[tuple[float, float, str]]] = [[] for _ in range(levels)]
    for moment, words in sorted(labels, key=lambda label: label[0]):
        width = _points_to_hours(ax, _LETTER * _LABEL * len(words))
        free = [line[-1][0] + line[-1][1] if line else left for line in lines]
        fits = [level for level in range(levels) if free[level] <= _x(moment)]
        level = fits[0] if fits else int(np.argmin(free))
        lines[level].append((max(_x(moment), free[level]), width, words))
    for level, line in enumerate(lines):
        end = right
        for begin, width, words in reversed(line):
            begin = end = min(begin, end - width)
            ax.annotate(
                words,
                (begin, row - 0.5 * _HEIGHT),
                fontsize=_LABEL,
                va="bottom",
                ha="left",
                xytext=(0.0, 1.5 + (_LABEL + 1.5) * level),
                textcoords="offset points",
            )


def _bar(
    ax: Axes,
    row: int,
    begin: dt.datetime,
    end: dt.datetime,
    colour: str,
    hatch: str,
    name: str = "",
) -> None:
    width = max(_x(end) - _x(begin), 0.0)
    ax.barh(
        row,
        width,
        left=_x(begin),
        height=_HEIGHT,
        color=colour,
        hatch=hatch,
        edgecolor="#6b6b6b",
        linewidth=0.6,
    )
    if name and width > _points_to_hours(ax, _LETTER * _LABEL * (len(name) + 2)):
        ax.text(
            _x(begin) + 0.5 * width,
            row,
            name,
            fontsize=_LABEL,
            ha="center",
            va="center",
            bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.8},
        )


def _window(ax: Axes, row: int, step: Step, below: float = 0.27) -> None:
    if step.latest <= step.earliest:
        return
    y = row + below
    ax.plot(
        [_x(step.earliest), _x(step.latest)],
        [y, y],
        color=PALETTE["text"],
        linewidth=1.4,
        marker="|",
        markersize=6,
    )


def draw_odds(ax: Axes, plan: Plan) -> None:
    """Draw the odds against the lighting time."""
    curve = plan.curve
    x = (plan.light.planned.timestamp() + curve.shift_s) / _HOUR
    for values, meaning, words in (
        (curve.ready, "supply", "ready by the hour"),
        (curve.in_hold, "demand", "and no hold too long"),
        (curve.too_early, "caution", "too early for a hold"),
    ):
        ax.plot(x, 100.0 * values, **(INKS[meaning].kwargs() | {"label": words}))
    wanted = INKS["target"].kwargs() | {"label": "wanted"}
    ax.axhline(100.0 * plan.chance_wanted, **wanted)
    ax.axvline(_x(plan.light.planned), color=PALETTE["text"], linewidth=1.2)
    zone = plan.serve_at.tzinfo
    ends = [
        dt.datetime.fromtimestamp(h * _HOUR, dt.UTC).astimezone(zone) for h in (x[0], x[-1])
    ]
    marks, words_of = clock_marks(ends[0], ends[1])
    ax.set_xticks([_x(m) for m in marks], words_of)
    ax.set_xlim(x[0], x[-1])
    ax.set_ylim(0.0, 102.0)
    ax.set_ylabel("chance (%)")
    ax.set_xlabel("lit at, everything else shifted with it")
    apply_style(ax, title="If it is lit earlier or later")
    legend(ax, loc="upper center", bbox_to_anchor=(0.62, 1.26), ncols=4)


def _new(rows: int) -> tuple[Figure, Axes, Axes]:
    height = 3.9 + _ROW * rows
    figure = Figure(figsize=(_WIDTH, height), dpi=_DPI, facecolor="white")
    figure.set_layout_engine("none")
    inches = 1.0 / height
    upper = figure.add_axes((0.1, 2.85 * inches, 0.875, (_ROW * rows + 0.55) * inches))
    lower = figure.add_axes((0.1, 0.62 * inches, 0.875, 1.35 * inches))
    return figure, upper, lower


def figure_plan(plan: Plan, units: Units = METRIC) -> Figure:
    """Return the day and the odds as one figure."""
    figure, upper, lower = _new(len(plan.pieces) + 1)
    draw_timeline(upper, plan, units)
    draw_odds(lower, plan)
    return figure


def figure_timeline(plan: Plan, units: Units = METRIC) -> Figure:
    """Return the day alone, low enough for a sheet of paper."""
    rows = len(plan.pieces) + 1
    height = 1.0 + 0.54 * _ROW * rows
    figure = Figure(figsize=(_WIDTH, height), dpi=_DPI, facecolor="white")
    figure.set_layout_engine("none")
    bottom = 0.68 / height
    ax = figure.add_axes((0.1, bottom, 0.875, 1.0 - bottom - 0.34 / height))
    draw_timeline(ax, plan, units)
    return figure


class PlanPicture:
    """The same picture kept alive for a panel: cheaper to update while a slider moves."""

    def __init__(self) -> None:
        self._rows = 0

    def update(self, plan: Plan, units: Units = METRIC) -> bytes:
        """Redraw and return the picture as PNG bytes."""
        rows = len(plan.pieces) + 1
        if rows != self._rows:
            self.figure, self._upper, self._lower = _new(rows)
            # The drawing library has no types here.
            self._canvas: Any = PictureCanvas(self.figure)
            self._rows = rows
        for ax in (self._upper, self._lower):
            empty(ax)
        draw_timeline(self._upper, plan, units)
        draw_odds(self._lower, plan)
        self._canvas.draw()
        return png.encode(self._canvas.buffer_rgba())


def alt_text(plan: Plan, units: Units = METRIC) -> str:
    """Describe the picture in words; what warns comes first."""
    serve = plan.serve_at
    warning = "".join(f"{shown(words, units)} " for words in plan.warnings)
    parts = [f"Light the fire at {clock_text(plan.light.planned, serve)}"]
    for one in plan.pieces:
        on, pull = one.step("on"), one.step("pull")
        if on is None or pull is None:
            parts.append(f"{one.item.name} is never pulled")
            continue
        parts.append(
            f"{one.item.name} on at {clock_text(on.planned, serve)}, pulled between "
            f"{clock_text(pull.earliest, serve)} and {clock_text(pull.latest, serve)} at "
            f"{shown(one.pulled, units)}"
        )
    return (
        f"{warning}A day by the clock, served at {serving_text(serve)}: {'; '.join(parts)}. "
        "Below, the odds against the lighting time: ready in "
        f"{chances(plan.chance_ready)} as planned."
    )
