"""What moves in a picture, drawn by artists that are used again.

To make an artist of the drawing library takes longer than to draw it. A picture that is
drawn at every step of a slider asks for the same lines, bands and words each time, with
other numbers in them: `Strokes` makes them once and then moves them. As soon as something
else is asked for, what follows is made anew, so that a picture never hangs on the ones
before it.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.collections import PolyCollection
from matplotlib.lines import Line2D
from matplotlib.text import Annotation
from numpy.typing import ArrayLike

_DATA: Final = "data"
_ACROSS: Final = "across"
_UPRIGHT: Final = "upright"


@dataclass(frozen=True)
class _Asked:
    """One artist: what it is and looks like, how to make it, and how to move it."""

    key: tuple[Any, ...]
    make: Callable[[], Artist]
    move: Callable[[Any], None]


class Strokes:
    """The moving artists of one pair of axes, back to front.

    Ask for all of them, then call `done`. They are animated: `PictureCanvas.draw_part`
    draws them over what stands still.
    """

    def __init__(self, ax: Axes) -> None:
        self._ax = ax
        self._asked: list[_Asked] = []
        self._made: list[tuple[tuple[Any, ...], Artist]] = []

    def line(self, x: ArrayLike, y: ArrayLike, **look: Any) -> None:
        """Ask for a line; `look` as for the library's own."""
        self._line(_DATA, np.atleast_1d(x), np.atleast_1d(y), look)

    def across(self, y: float, **look: Any) -> None:
        """Ask for a line from side to side."""
        self._line(_ACROSS, [0.0, 1.0], [y, y], look)

    def upright(self, x: float, **look: Any) -> None:
        """Ask for a line from bottom to top."""
        self._line(_UPRIGHT, [x, x], [0.0, 1.0], look)

    def band(self, x: ArrayLike, low: ArrayLike, high: ArrayLike, **look: Any) -> None:
        """Ask for what lies between two curves."""
        along = np.atleast_1d(np.asarray(x, dtype=float))
        below, above = (np.broadcast_to(each, along.shape) for each in (low, high))
        outline = np.concatenate(
            (np.column_stack((along, below)), np.column_stack((along, above))[::-1])
        )
        self.areas([outline], **look)

    def stripe(self, begin: float, end: float, **look: Any) -> None:
        """Ask for what lies between two places, from bottom to top."""
        corners = [(begin, 0.0), (end, 0.0), (end, 1.0), (begin, 1.0)]
        self._areas(_UPRIGHT, [corners], look)

    def areas(self, outlines: Sequence[ArrayLike], **look: Any) -> None:
        """Ask for areas by their corners."""
        self._areas(_DATA, outlines, look)

    def words(self, words: str, x: float, y: float, **look: Any) -> None:
        """Ask for words; `look` as for the library's annotation without its place."""

        def move(text: Annotation) -> None:
            text.set_text(words)
            text.xy = (x, y)
            if shift is None:
                text.set_position((x, y))
            else:
                text.set_position(shift)

        # Beside its place, or on it.
        shift = look.pop("xytext", None)

        def make() -> Artist:
            # Nameless as the others: a legend would take no words anyway.
            return self._ax.annotate(words, (x, y), xytext=shift, label="", **look)

        self._asked.append(_Asked(("words", shift is None, *_key(look)), make, move))

    def own(self, artist: Artist) -> None:
        """Ask for an artist of the caller's, that moves by itself."""
        self._asked.append(
            _Asked(("own", id(artist)), lambda: self._ax.add_artist(artist), lambda _: None)
        )

    def done(self) -> list[Any]:
        """Make and move what was asked for; return what has a name, for a legend."""
        asked, self._asked = self._asked, []
        same = 0
        for (key, _), each in zip(self._made, asked, strict=False):
            if key != each.key:
                break
            same += 1
        for _, artist in self._made[same:]:
            artist.remove()
        del self._made[same:]
        for (_, artist), each in zip(self._made, asked, strict=False):
            each.move(artist)
        for each in asked[same:]:
            artist = each.make()
            artist.set_animated(True)
            self._made.append((each.key, artist))
        return [artist for _, artist in self._made if artist.get_label()]

    def _transform(self, reach: str) -> dict[str, Any]:
        if reach == _ACROSS:
            return {"transform": self._ax.get_yaxis_transform()}
        return {"transform": self._ax.get_xaxis_transform()} if reach == _UPRIGHT else {}

    def _line(self, reach: str, x: ArrayLike, y: ArrayLike, look: dict[str, Any]) -> None:
        def make() -> Artist:
            return self._ax.add_artist(Line2D(x, y, **self._transform(reach), **look))

        def move(line: Line2D) -> None:
            line.set_data(x, y)

        self._asked.append(_Asked(("line", reach, *_key(look)), make, move))

    def _areas(self, reach: str, outlines: Sequence[ArrayLike], look: dict[str, Any]) -> None:
        def make() -> Artist:
            areas = PolyCollection(outlines, **self._transform(reach), **look)
            return self._ax.add_artist(areas)

        def move(areas: PolyCollection) -> None:
            areas.set_verts(outlines)

        self._asked.append(_Asked(("areas", reach, *_key(look)), make, move))


def _key(look: dict[str, Any]) -> tuple[Any, ...]:
    """Return a look as something that can be compared."""
    return tuple((name, repr(value)) for name, value in sorted(look.items()))
