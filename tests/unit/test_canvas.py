"""Words are stamped where the library would put them, and only new ones are rendered."""

from __future__ import annotations

import matplotlib as mpl
import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg, RendererAgg
from matplotlib.figure import Figure

from coreward.figures import canvas as module
from coreward.figures.canvas import PictureCanvas

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
