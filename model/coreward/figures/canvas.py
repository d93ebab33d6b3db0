"""A canvas for pictures that are redrawn at every step of a slider.

Half of the time of such a picture went into letters: the drawing library shapes and
renders each word anew each time, and most words of a picture are the ones of the
picture before. This canvas renders a word once and then stamps it.

A word is stamped on whole pixels, so it may stand half a pixel beside where the library
would put it. Everything else is the library's own.
"""

from __future__ import annotations

import math
from typing import Any, Final

import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg, RendererAgg
from numpy.typing import NDArray

_MARGIN: Final = 6
_MOST_STAMPS: Final = 1500

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
        pixels: NDArray[np.uint8] = np.asarray(sheet.buffer_rgba())
        rows = np.flatnonzero(pixels[..., 3].any(axis=1))
        columns = np.flatnonzero(pixels[..., 3].any(axis=0))
        if rows.size == 0:
            return None
        top, bottom, first, last = rows[0], rows[-1] + 1, columns[0], columns[-1] + 1
        # Images are handed over upside down.
        found = np.ascontiguousarray(pixels[top:bottom, first:last][::-1])
        return int(first) - reach, reach - int(bottom), found


class PictureCanvas(FigureCanvasAgg):
    """A canvas that remembers words; use it where a figure is drawn again and again."""

    _made: tuple[tuple[int, int, float], _StampingRenderer] | None = None

    def get_renderer(self) -> _StampingRenderer:
        """Return the renderer, a new one when the size has changed."""
        width, height = self.get_width_height(physical=True)
        size = (width, height, float(self.figure.dpi))
        if self._made is None or self._made[0] != size:
            self._made = (size, _StampingRenderer(*size))
        return self._made[1]
