"""Pictures of a moving slider in at most 256 colours: a third of the bytes to send.

A drawing has few colours, and thousands of mixtures where the edge of a line falls between
two pixels. Learnt from a whole picture, the colours that fill most of it are kept as they
are, and each mixture goes to the nearest of them: no surface changes its colour, only edges
differ a little, and only until the slider rests.

Between two steps of a slider most pixels stay what they were. Only the others are looked up.
"""

from __future__ import annotations

from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from coreward.drawing import png

_MOST: Final = 256
# Colours are told apart by the first four bits of red, green and blue.
_CELLS: Final = 1 << 12
_STRANGE: Final = 0.004
"""Share of a picture in colours that were not learnt, above which it is learnt from."""

_Words = NDArray[np.uint32]


class FewColours:
    """Writes pictures of one size that differ little from one to the next."""

    def __init__(self) -> None:
        self._colours: NDArray[np.uint8] = np.zeros((0, 3), dtype=np.uint8)
        self._index: NDArray[np.uint8] = np.zeros(_CELLS, dtype=np.uint8)
        self._known: NDArray[np.bool_] = np.zeros(_CELLS, dtype=bool)
        self._before: _Words = np.zeros(0, dtype=np.uint32)
        self._indices: NDArray[np.uint8] = np.zeros(0, dtype=np.uint8)

    def learn(self, pixels: Any) -> None:
        """Choose the colours that serve a picture best.

        Parameters
        ----------
        pixels : array_like of uint8, shape (rows, columns, 4)
            Red, green, blue and what is taken to be opaque.
        """
        values, counts = np.unique(_as_words(pixels), return_counts=True)
        cells = _cells(values)
        filled = np.bincount(cells, counts, _CELLS)
        used = np.flatnonzero(filled)
        kept = used[np.argsort(-filled[used], kind="stable")[:_MOST]]
        # A cell stands for the colour that fills most of it; the last one written stays.
        order = np.argsort(counts, kind="stable")
        common = np.zeros(_CELLS, dtype=np.uint32)
        common[cells[order]] = values[order]
        self._colours = _channels(common[kept]).astype(np.uint8)
        self._index = _nearest(_middles(), self._colours)
        self._index[used] = _nearest(_channels(common[used]), self._colours)
        self._known = filled > 0
        self._before = np.zeros(0, dtype=np.uint32)

    def follow(self, pixels: Any) -> None:
        """Look up a picture, and learn from it where too much of it is new.

        Parameters
        ----------
        pixels : array_like of uint8, shape (rows, columns, 4)
            As for `learn`.
        """
        words = _as_words(pixels)
        if self._before.size != words.size:
            self._before, self._indices = ~words, np.zeros(words.size, dtype=np.uint8)
        moved = np.flatnonzero(words != self._before)
        now = words[moved]
        cells = _cells(now)
        if np.count_nonzero(~self._known[cells]) > _STRANGE * words.size:
            self.learn(pixels)
            self.follow(pixels)
            return
        self._indices[moved] = self._index[cells]
        self._before[moved] = now

    def encode(self, pixels: Any) -> bytes:
        """Return a picture as a PNG of few colours.

        Parameters
        ----------
        pixels : array_like of uint8, shape (rows, columns, 4)
            As for `learn`.
        """
        self.follow(pixels)
        rows, columns = np.shape(pixels)[:2]
        return png.encode_indices(self._indices.reshape(rows, columns), self._colours)


def _as_words(pixels: Any) -> _Words:
    """Return each pixel as one number, red in its lowest byte."""
    array = np.ascontiguousarray(pixels, dtype=np.uint8)
    words: _Words = array.reshape(-1, 4).view("<u4")[:, 0]
    return words


def _cells(words: _Words) -> NDArray[np.integer[Any]]:
    return ((words & 0xF0) << 4) | ((words >> 8) & 0xF0) | ((words >> 20) & 0x0F)


def _middles() -> NDArray[np.float64]:
    """Return the colour in the middle of each cell, shape (cells, 3)."""
    cells = np.arange(_CELLS)
    parts = np.stack((cells >> 8, (cells >> 4) & 0x0F, cells & 0x0F), axis=-1)
    return 16.0 * parts + 7.5


def _channels(words: _Words) -> NDArray[np.float64]:
    """Return red, green and blue of pixels, shape (n, 3)."""
    return np.stack([(words >> shift) & 0xFF for shift in (0, 8, 16)], axis=-1).astype(float)


def _nearest(wanted: NDArray[np.float64], colours: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Return the rows of a table of colours that are nearest to those wanted."""
    table = colours.astype(float)
    # The square of what is wanted is the same for all rows of the table.
    distances = (table**2).sum(axis=1) - 2.0 * wanted @ table.T
    rows: NDArray[np.uint8] = np.argmin(distances, axis=1).astype(np.uint8)
    return rows
