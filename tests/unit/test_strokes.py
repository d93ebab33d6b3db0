"""Artists are used again while the same is asked for, and made anew when it is not."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from matplotlib.artist import Artist
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from coreward.drawing.strokes import Strokes


class Sheet:
    """A page of each kind of stroke, by ours or by the library's own calls."""

    def __init__(self) -> None:
        self.figure = Figure(figsize=(3.0, 2.0), dpi=100)
        FigureCanvasAgg(self.figure)
        self.ax = self.figure.add_axes((0.1, 0.1, 0.8, 0.8))
        self.ax.set_xlim(0.0, 4.0)
        self.ax.set_ylim(0.0, 3.0)
        self.strokes = Strokes(self.ax)

    def ask(self, height: float, colour: str = "#1d5c8f") -> list[Any]:
        x = np.linspace(0.0, 4.0, 9)
        self.strokes.stripe(0.5, height, facecolor="#dddddd", label="wrapped")
        self.strokes.band(x, 0.0, height * x / 8.0, color="#bbbbbb", alpha=0.5)
        self.strokes.line(x, height * x / 4.0, color=colour, linewidth=2.0, label="core")
        self.strokes.across(height, color="black", linestyle="--")
        self.strokes.upright(height, color="black", linewidth=1.0)
        self.strokes.areas([[(0, 0), (height, 0), (0, height)]], facecolor="#ffee99")
        self.strokes.words(f"at {height:g}", height, 1.0, color="black", fontsize=9)
        beside = {"xytext": (4.0, 5.0), "textcoords": "offset points"}
        self.strokes.words("A", 1.0, height, color="black", fontsize=9, **beside)
        return self.strokes.done()

    def by_the_library(self, height: float) -> None:
        x, ax = np.linspace(0.0, 4.0, 9), self.ax
        ax.axvspan(0.5, height, facecolor="#dddddd", linewidth=1.0)
        ax.fill_between(x, 0.0, height * x / 8.0, color="#bbbbbb", alpha=0.5)
        ax.plot(x, height * x / 4.0, color="#1d5c8f", linewidth=2.0)
        ax.axhline(height, color="black", linestyle="--")
        ax.axvline(height, color="black", linewidth=1.0)
        ax.fill([0, height, 0], [0, 0, height], facecolor="#ffee99")
        ax.text(height, 1.0, f"at {height:g}", color="black", fontsize=9)
        ax.annotate(
            "A",
            (1.0, height),
            xytext=(4.0, 5.0),
            textcoords="offset points",
            color="black",
            fontsize=9,
        )
        ax.set_xlim(0.0, 4.0)
        ax.set_ylim(0.0, 3.0)

    def pixels(self) -> np.ndarray:
        for artist in self.artists():
            artist.set_animated(False)
        canvas: Any = self.figure.canvas
        canvas.draw()
        return np.asarray(canvas.buffer_rgba())[..., :3].astype(float)

    def artists(self) -> list[Artist]:
        return [*self.ax.lines, *self.ax.collections, *self.ax.texts]


@pytest.mark.parametrize("before", [(), (2.5,), (0.7, 2.9)])
def test_strokes_look_as_the_library_draws_them_whatever_was_before(
    before: tuple[float, ...],
) -> None:
    ours, theirs = Sheet(), Sheet()
    for height in (*before, 1.5):
        ours.ask(height)
    theirs.by_the_library(1.5)
    # The library's triangle and stripe have an edge, half a line outside ours.
    differ = np.abs(ours.pixels() - theirs.pixels()).max(axis=2) > 40.0
    assert differ.mean() < 0.01
    fresh = Sheet()
    fresh.ask(1.5)
    assert np.array_equal(ours.pixels(), fresh.pixels())


def test_the_same_artists_move() -> None:
    sheet = Sheet()
    sheet.ask(1.0)
    first = sheet.artists()
    assert all(artist.get_animated() for artist in first)
    sheet.ask(2.0)
    assert sheet.artists() == first
    assert sheet.ax.texts[0].get_text() == "at 2"


def test_another_look_is_made_anew_and_leaves_nothing_behind() -> None:
    sheet = Sheet()
    sheet.ask(1.0)
    first, before = sheet.artists(), sheet.pixels()
    sheet.ask(1.0, colour="#8e1f2f")
    assert len(sheet.artists()) == len(first)
    # What was asked for before it stays, what comes after it must lie over it again.
    assert sheet.ax.lines[0] is not first[0]
    assert sheet.ax.collections[0] in first
    assert not np.array_equal(sheet.pixels(), before)
    sheet.ask(1.0)
    assert np.array_equal(sheet.pixels(), before)
    assert sheet.strokes.done() == []
    assert sheet.artists() == []


def test_what_has_a_name_is_returned_in_order() -> None:
    assert [artist.get_label() for artist in Sheet().ask(1.0)] == ["wrapped", "core"]


def test_an_artist_of_the_callers_stays_where_it_was_asked_for() -> None:
    sheet = Sheet()
    mark = Sheet().ax.plot([1.0], [1.0], marker="D")[0]
    mark.remove()
    for _ in range(2):
        sheet.strokes.own(mark)
        sheet.ask(1.0)
    assert sheet.ax.lines[0] is mark
