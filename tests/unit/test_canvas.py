"""Words are stamped where the library would put them, and only new ones are rendered."""

from __future__ import annotations

import io

import matplotlib as mpl
import numpy as np
import pytest
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg, RendererAgg
from matplotlib.figure import Figure
from PIL import Image

from coreward.drawing import canvas as module
from coreward.drawing.canvas import PictureCanvas, set_limits, whole_steps
from coreward.drawing.strokes import Strokes

WORDS = ("pit 110 °C", "Water at the surface", "gjpqy|")


def page(angle: float, colour: str = "#5e0f34", alpha: float | None = None) -> Figure:
    figure = Figure(figsize=(4.0, 3.0), dpi=100, facecolor="white")
    for number, words in enumerate(WORDS):
        figure.text(
            0.3, 0.2 + 0.25 * number, words, rotation=angle, color=colour, alpha=alpha, size=11
        )
    return figure


def pixels(canvas: FigureCanvasAgg) -> np.ndarray:
    canvas.draw()
    return np.asarray(canvas.buffer_rgba())[..., :3].astype(float)


@pytest.mark.parametrize("angle", [0.0, 90.0, 30.0])
@pytest.mark.parametrize("alpha", [None, 0.4])
def test_a_page_of_words_looks_as_the_library_draws_it(
    angle: float, alpha: float | None
) -> None:
    ours = pixels(PictureCanvas(page(angle, alpha=alpha)))
    theirs = pixels(FigureCanvasAgg(page(angle, alpha=alpha)))
    ink_ours, ink_theirs = (255.0 - image.mean(axis=2) for image in (ours, theirs))
    assert ink_theirs.sum() > 0.0
    # The same ink, half a pixel beside at most in both directions (and its blur).
    assert ink_ours.sum() == pytest.approx(ink_theirs.sum(), rel=0.03)
    for axis in (0, 1):
        places = np.arange(ink_ours.shape[axis])
        centres = [
            (ink.sum(axis=1 - axis) * places).sum() / ink.sum()
            for ink in (ink_ours, ink_theirs)
        ]
        assert abs(centres[0] - centres[1]) < 0.75


def test_a_word_is_rendered_once(monkeypatch: pytest.MonkeyPatch) -> None:
    figure = page(0.0)
    canvas = PictureCanvas(figure)
    first = pixels(canvas)
    drawn: list[str] = []
    render = RendererAgg.draw_text

    def counted(self: RendererAgg, gc, x, y, s, *more) -> None:
        drawn.append(s)
        render(self, gc, x, y, s, *more)

    monkeypatch.setattr(RendererAgg, "draw_text", counted)
    assert np.array_equal(pixels(canvas), first)
    assert drawn == []
    figure.texts[0].set_text("pit 120 °C")
    changed = pixels(canvas)
    assert drawn == ["pit 120 °C"]
    assert not np.array_equal(changed, first)
    figure.texts[0].set_color("#1d5c8f")
    assert not np.array_equal(pixels(canvas), changed)
    # Mathematics goes the library's way.
    figure.texts[0].set_text(r"$T_s$")
    with mpl.rc_context({"mathtext.fontset": "dejavusans"}):
        pixels(canvas)
    assert drawn[-1] == r"$T_s$"


def test_a_long_session_does_not_fill_the_memory(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "_MOST_STAMPS", 10)
    figure = Figure(figsize=(2.0, 1.0), dpi=100)
    words = figure.text(0.1, 0.5, "")
    canvas = PictureCanvas(figure)
    for number in range(40):
        words.set_text(f"{number} min")
        canvas.draw()
    assert len(canvas.get_renderer()._stamps) <= 10


def test_another_size_gets_another_sheet() -> None:
    figure = page(0.0)
    canvas = PictureCanvas(figure)
    assert pixels(canvas).shape[:2] == (300, 400)
    figure.set_dpi(50)
    assert pixels(canvas).shape[:2] == (150, 200)


WHOLE = (0.0, 0.0, 1.0, 1.0)


def read(picture: bytes) -> np.ndarray:
    return np.asarray(Image.open(io.BytesIO(picture)).convert("RGB")).astype(float)


class Curve:
    """One axes with a curve and a legend, redrawn as a slider moves."""

    def __init__(self) -> None:
        self.figure = Figure(figsize=(4.0, 3.0), dpi=100, facecolor="white")
        self.canvas = PictureCanvas(self.figure)
        self.ax = self.figure.add_axes((0.15, 0.15, 0.8, 0.75))
        self.strokes = Strokes(self.ax)
        self.ax.set_title("A curve", loc="left", y=1.0)
        self.ax.set_xlabel("time (h)")

    def show(self, height: float, top: float = 2.0, name: str = "core") -> np.ndarray:
        self.strokes.line([0.0, 1.0, 2.0], [0.0, height, 0.5], color="#5e0f34", label=name)
        self.ax.set_xlim(0.0, 2.0)
        self.ax.set_ylim(0.0, top)
        self.canvas.set_legend(self.ax, self.strokes.done(), loc="upper left")
        self.canvas.draw_part("whole", (self.ax,), WHOLE)
        return np.asarray(self.canvas.buffer_rgba())[..., :3].astype(float)


def counted_frames(monkeypatch: pytest.MonkeyPatch) -> list[Axes]:
    frames: list[Axes] = []
    draw = Axes.draw

    def counted(self: Axes, renderer) -> None:
        frames.append(self)
        draw(self, renderer)

    monkeypatch.setattr(Axes, "draw", counted)
    return frames


def test_frame_and_ticks_are_drawn_once_and_the_curve_each_time(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    frames = counted_frames(monkeypatch)
    curve = Curve()
    first = curve.show(1.0)
    moved = curve.show(1.5)
    assert len(frames) == 1
    assert not np.array_equal(first, moved)
    # What was drawn in between leaves no trace.
    assert np.array_equal(curve.show(1.0), first)
    curve.show(1.0, top=3.0)
    assert len(frames) == 2
    # To and fro: the frame of before is still known.
    assert np.array_equal(curve.show(1.0), first)
    curve.ax.set_xlabel("time (min)")
    curve.show(1.0)
    assert (len(frames), np.array_equal(curve.show(1.0), first)) == (3, False)


def test_a_part_looks_as_the_library_draws_it() -> None:
    curve = Curve()
    ours = curve.show(1.0)
    for artist in curve.ax.get_children():
        artist.set_animated(False)
    theirs = pixels(FigureCanvasAgg(curve.figure))
    ink = [255.0 - image.mean(axis=2) for image in (ours, theirs)]
    assert ink[0].sum() == pytest.approx(ink[1].sum(), rel=0.03)
    # Words stand half a pixel beside at most; over blocks of ten pixels that hardly shows,
    # while a line, a frame or a legend that is missing would.
    blocks = [each.reshape(30, 10, 40, 10).mean(axis=(1, 3)) for each in ink]
    assert np.abs(blocks[0] - blocks[1]).max() < 20.0


def test_few_frames_are_kept(monkeypatch: pytest.MonkeyPatch) -> None:
    frames = counted_frames(monkeypatch)
    curve = Curve()
    for top in range(2, 12):
        curve.show(1.0, top=float(top))
    assert len(curve.canvas._still["whole"]) == module._MOST_STILL
    curve.show(1.0, top=2.0)
    assert len(frames) == 11


def test_a_legend_is_made_anew_only_when_it_says_else() -> None:
    curve = Curve()
    first = curve.show(1.0)
    legend = curve.ax.get_legend()
    curve.show(1.5)
    assert curve.ax.get_legend() is legend
    named = curve.show(1.0, name="surface")
    assert curve.ax.get_legend() is not legend
    assert not np.array_equal(named, first)
    curve.canvas.set_legend(curve.ax, [])
    assert curve.ax.get_legend() is None
    assert np.array_equal(curve.show(1.0), first)


@pytest.mark.parametrize(
    ("low", "high", "found"),
    [(0.0, 1.23, (0.0, 1.4)), (3.2, 74.0, (0.0, 80.0)), (-1.84, 2.0, (-2.0, 2.0))],
)
def test_limits_are_whole_steps_around_the_span(
    low: float, high: float, found: tuple[float, float]
) -> None:
    assert whole_steps(low, high) == pytest.approx(found)
    # A span on whole steps already is left alone, and so is one without width.
    assert whole_steps(*found) == pytest.approx(found)
    assert whole_steps(3.0, 3.0) == (3.0, 3.0)


@pytest.mark.parametrize(
    ("before", "wanted", "kept"),
    [
        ((0.0, 10.0), (1.0, 9.0), True),
        ((0.0, 10.0), (0.0, 10.0), True),
        ((0.0, 10.0), (-0.1, 9.0), False),
        ((0.0, 10.0), (1.0, 10.1), False),
        # A curve pressed into a corner is worse than a scale that jumps.
        ((0.0, 10.0), (0.0, 5.0), False),
    ],
)
def test_limits_stay_while_they_suit(
    before: tuple[float, float], wanted: tuple[float, float], kept: bool
) -> None:
    ax = Figure().add_subplot()
    set_limits(ax, before, (0.0, 1.0), moving=False)
    set_limits(ax, wanted, (0.0, 1.0), moving=True)
    assert ax.get_xlim() == (before if kept else wanted)
    set_limits(ax, (0.0, 1.0), before, moving=False)
    set_limits(ax, (0.0, 1.0), wanted, moving=True)
    assert ax.get_ylim() == (before if kept else wanted)
    set_limits(ax, wanted, wanted, moving=False)
    assert (ax.get_xlim(), ax.get_ylim()) == (wanted, wanted)


def test_a_picture_that_moves_has_few_colours_and_one_at_rest_is_exact() -> None:
    curve = Curve()
    drawn = curve.show(1.0)
    exact = curve.canvas.picture(moving=False)
    np.testing.assert_array_equal(read(exact), drawn)
    moved = curve.show(1.3)
    few = curve.canvas.picture(moving=True)
    assert len(few) < 0.6 * len(exact)
    off = np.abs(read(few) - moved).max(axis=-1)
    # Paper, ticks and the middle of the line are as they were; soft edges differ a little.
    assert (off > 16.0).mean() < 0.001
    np.testing.assert_array_equal(read(curve.canvas.picture(moving=False)), moved)
