"""A canvas for pictures that are redrawn at every step of a slider.

Half of the time of such a picture went into letters: the drawing library shapes and
renders each word anew each time, and most words of a picture are the ones of the
picture before. This canvas renders a word once and then stamps it.

Most of the rest went into ticks, frames and legends. `PictureCanvas.draw_part` draws those
once for as long as they stay what they are, and over them only what moves: the artists
that are animated, see `coreward.drawing.strokes`.

A word is stamped on whole pixels, so it may stand half a pixel beside where the library
would put it. Everything else is the library's own.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any, Final

import numpy as np
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg, RendererAgg
from numpy.typing import NDArray

from coreward.drawing import png, style
from coreward.drawing.few_colours import FewColours

_MARGIN: Final = 6
_MOST_STAMPS: Final = 1500
# A slider goes to and fro: as many backgrounds are kept for each part.
_MOST_STILL: Final = 6
_STEPS: Final = 12
_FILLED: Final = 0.6
_LOOKS: Final = ("color", "facecolor", "linestyle", "linewidth", "marker", "hatch", "alpha")

# Left and bottom of a stamp from where the word stands, in pixels, and its pixels.
_Stamp = tuple[int, int, NDArray[np.uint8]]


class _StampingRenderer(RendererAgg):
    """The library's renderer, with a memory for words."""

    def __init__(self, width: float, height: float, dpi: float) -> None:
        # The library has no types here, nor below.
        base: Any = super()
        base.__init__(width, height, dpi)
        self._stamps: dict[Any, _Stamp | None] = {}

    def draw_text(
        self,
        gc: Any,
        x: float,
        y: float,
        s: str,
        prop: Any,
        angle: float,
        ismath: Any = False,
        mtext: Any = None,
    ) -> None:
        """Stamp a word; render it first if it is new."""
        if ismath:
            base: Any = super()
            base.draw_text(gc, x, y, s, prop, angle, ismath, mtext)
            return
        key = (s, prop.copy(), angle, gc.get_rgb(), gc.get_alpha())
        if key not in self._stamps:
            if len(self._stamps) >= _MOST_STAMPS:
                self._stamps.clear()
            self._stamps[key] = self._stamp(gc, s, prop, angle, mtext)
        stamp = self._stamps[key]
        if stamp is not None:
            beside, below, pixels = stamp
            # The library counts y downwards for words and upwards for images.
            self.draw_image(gc, round(x) + beside, self.height - round(y) + below, pixels)

    def _stamp(self, gc: Any, s: str, prop: Any, angle: float, mtext: Any) -> _Stamp | None:
        """Render a word on an empty sheet that holds it whichever way it is turned."""
        library: Any = self
        width, height, _ = library.get_text_width_height_descent(s, prop, False)
        reach = math.ceil(math.hypot(width, height)) + _MARGIN
        plain: Any = RendererAgg
        sheet = plain(2 * reach, 2 * reach, self.dpi)
        pen = sheet.new_gc()
        pen.set_foreground(gc.get_rgb(), isRGBA=True)
        pen.set_alpha(gc.get_alpha())
        pen.set_antialiased(gc.get_antialiased())
        sheet.draw_text(pen, reach, reach, s, prop, angle, False, mtext)
        found = _cut_out(np.asarray(sheet.buffer_rgba()))
        # The word stands in the middle of its sheet.
        return found and (found[0] - reach, found[1] - reach, found[2])


class PictureCanvas(FigureCanvasAgg):
    """A canvas that remembers words; use it where a figure is drawn again and again."""

    _made: tuple[tuple[int, int, float], _StampingRenderer] | None = None

    def __init__(self, figure: Any = None) -> None:
        # The library has no types here.
        base: Any = super()
        base.__init__(figure)
        self._still: dict[str, dict[Any, NDArray[np.uint8]]] = {}
        self._looks: dict[Axes, Any] = {}
        self._legends: dict[Axes, tuple[Any, _Stamp | None]] = {}
        self._few = FewColours()

    def get_renderer(self) -> _StampingRenderer:
        """Return the renderer, a new one when the size has changed."""
        width, height = self.get_width_height(physical=True)
        size = (width, height, float(self.figure.dpi))
        if self._made is None or self._made[0] != size:
            # The library reads the pixels of this one.
            self.renderer = _StampingRenderer(*size)
            self._made = (size, self.renderer)
            self._still.clear()
            self._legends.clear()
        return self._made[1]

    def draw_part(
        self,
        name: str,
        axes: Sequence[Axes],
        area: tuple[float, float, float, float],
        also: Any = None,
    ) -> None:
        """Draw axes that have a part of the canvas to themselves.

        What stands still is drawn once for the same limits, words and `also`; what is
        animated is drawn over it each time, legends last.

        Parameters
        ----------
        axes : sequence of Axes
            Back to front.
        area : tuple of float
            Left, bottom, right and top, as shares of the canvas.
        also : object, optional
            What else the still things hang on; it can be hashed.
        """
        # The library has no types here.
        library: Any = self
        renderer: Any = self.get_renderer()
        for ax in axes:
            ax.apply_aspect()
        sheet = pixels_of(np.asarray(library.buffer_rgba()), area)
        key = (tuple(_still_words(ax) for ax in axes), also)
        known = self._still.setdefault(name, {})
        if key in known:
            sheet[:] = known[key]
        else:
            sheet[:] = 255
            for ax in axes:
                ax.draw(renderer)
            if len(known) >= _MOST_STILL:
                known.pop(next(iter(known)))
            known[key] = sheet.copy()
        for ax in axes:
            legend = ax.get_legend()
            moving = [
                artist
                for artist in ax.get_children()
                if artist.get_animated() and artist is not legend
            ]
            for artist in sorted(moving, key=Artist.get_zorder):
                artist.draw(renderer)
            if legend is not None and legend.get_animated():
                self._stamp_legend(ax, legend, renderer)

    def picture(self, moving: bool) -> bytes:
        """Return what is drawn as PNG.

        Parameters
        ----------
        moving : bool
            Whether another picture follows at once: this one is then written in few
            colours.
        """
        # The library has no types here.
        library: Any = self
        pixels = np.asarray(library.buffer_rgba())
        if moving:
            return self._few.encode(pixels)
        self._few.follow(pixels)
        return png.encode(pixels)

    def set_legend(self, ax: Axes, handles: Sequence[Any], **options: Any) -> None:
        """Give axes a legend that `draw_part` draws; a new one only where it says else.

        Parameters
        ----------
        handles : sequence of Artist
            With their labels; for none of them, there is no legend.
        **options
            As for `coreward.drawing.style.legend`, with a stated place.
        """
        looks = (tuple(_look(handle) for handle in handles), tuple(sorted(options.items())))
        old = ax.get_legend()
        if old is not None and self._looks.get(ax) == looks:
            return
        if old is not None:
            old.remove()
        self._looks[ax] = looks
        if not handles:
            return
        # An animated handle would be left out of what is drawn for the legend.
        new = style.legend(ax, handles=list(handles), **options)
        new.set_animated(True)

    def _stamp_legend(self, ax: Axes, legend: Any, renderer: Any) -> None:
        known = self._legends.get(ax)
        if known is None or known[0] is not legend:
            size = self.get_width_height(physical=True)
            plain: Any = RendererAgg
            sheet = plain(*size, float(self.figure.dpi))
            legend.draw(sheet)
            self._legends[ax] = known = (legend, _cut_out(np.asarray(sheet.buffer_rgba())))
        stamp = known[1]
        if stamp is not None:
            left, bottom, pixels = stamp
            renderer.draw_image(renderer.new_gc(), left, bottom, pixels)


def pixels_of(
    sheet: NDArray[np.uint8], area: tuple[float, float, float, float]
) -> NDArray[np.uint8]:
    """Return the pixels of a part of a canvas; to write to them is to draw.

    Parameters
    ----------
    sheet : ndarray, shape (rows, columns, 4)
    area : tuple of float
        Left, bottom, right and top, as shares of the canvas.
    """
    rows, columns = sheet.shape[:2]
    left, bottom, right, top = area
    return sheet[
        round((1.0 - top) * rows) : round((1.0 - bottom) * rows),
        round(left * columns) : round(right * columns),
    ]


def empty(ax: Axes) -> None:
    """Take away what was drawn; axis, ticks, title and legend stay, being slow to make."""
    for artist in (*ax.lines, *ax.collections, *ax.patches, *ax.texts, *ax.images):
        artist.remove()
    ax.containers.clear()


def whole_steps(low: float, high: float) -> tuple[float, float]:
    """Return limits on whole steps around a span.

    Limits that follow each move of a slider would have the ticks drawn each time.
    """
    least = (high - low) / _STEPS
    power = 10.0 ** math.floor(math.log10(least)) if least > 0.0 else 1.0
    step = next(f * power for f in (1.0, 2.0, 5.0, 10.0) if f * power >= least * (1.0 - 1e-9))
    return math.floor(low / step + 1e-9) * step, math.ceil(high / step - 1e-9) * step


def set_limits(
    ax: Axes, along: tuple[float, float], up: tuple[float, float], moving: bool
) -> None:
    """Set the limits of both axes; while a slider moves, those that still suit stay."""
    ax.set_xlim(_kept(ax.get_xlim(), along) if moving else along)
    ax.set_ylim(_kept(ax.get_ylim(), up) if moving else up)


def _kept(before: tuple[float, float], wanted: tuple[float, float]) -> tuple[float, float]:
    """Return the limits of the picture before where they still suit, else those wanted.

    They suit while they hold all of the span and the span fills most of them. Ticks that
    stay cost nothing, and a scale that jumps at each move of a slider tells nothing.
    """
    (low, high), (least, most) = before, wanted
    if low <= least and most <= high and most - least >= _FILLED * (high - low):
        return before
    return wanted


def _still_words(ax: Axes) -> tuple[Any, ...]:
    """Return what ticks, frame and words of axes hang on."""
    words = (ax.get_xlabel(), ax.get_ylabel(), ax.get_title(loc="left"))
    return (*ax.get_xlim(), *ax.get_ylim(), *words)


def _look(handle: Any) -> tuple[Any, ...]:
    """Return how a handle of a legend looks, to be compared."""
    found = [type(handle), handle.get_label()]
    for name in _LOOKS:
        value = getattr(handle, f"get_{name}", lambda: None)()
        found.append(np.asarray(value).tobytes() if isinstance(value, np.ndarray) else value)
    return tuple(found)


def _cut_out(pixels: NDArray[np.uint8]) -> _Stamp | None:
    """Return the part of a sheet that is not empty, and its left and bottom."""
    rows = np.flatnonzero(pixels[..., 3].any(axis=1))
    columns = np.flatnonzero(pixels[..., 3].any(axis=0))
    if rows.size == 0:
        return None
    top, bottom, first, last = rows[0], rows[-1] + 1, columns[0], columns[-1] + 1
    # Images are handed over upside down.
    found = np.ascontiguousarray(pixels[top:bottom, first:last][::-1])
    return int(first), int(pixels.shape[0] - bottom), found
