"""The picture of why a piece of meat stops rising.

Five views share one canvas: temperatures against time with the stall shaded, the
heat budget of the surface, the water that arrives against the water the air asks
for (with the regime named in words along the axis), the profile through the piece
at a chosen time, and the stock of free water that the stall lives on.

:func:`figure_stall` returns a figure for a report. :class:`StallPicture` keeps one
canvas alive, draws frame, ticks and words once, and redraws only the lines when a
slider moves: a full redraw costs several times as much.
"""

from __future__ import annotations

import io
from typing import Any

import matplotlib as mpl
import numpy as np
from matplotlib.figure import Figure

from coreward.cook.result import Result
from coreward.drawing import style
from coreward.drawing.canvas import PictureCanvas, pixels_of
from coreward.questions.stall.explain import Explanation
from coreward.questions.stall.scene import REGIME_WORDS, TILES, Scene, regime_spans
from coreward.words import UnitChoice


def figure_stall(
    result: Result,
    explanation: Explanation,
    at_time_s: float | None = None,
    units: str | UnitChoice = "C",
    kept: Result | None = None,
) -> Figure:
    """Return the whole picture as a figure for a report.

    Parameters
    ----------
    result : Result
        A cook.
    explanation : Explanation
        The explanation of that cook.
    at_time_s : float, optional
        Time of the profile through the piece. [s] The middle of the first stall,
        or of the cook, when not given.
    units : str or UnitChoice
        ``"C"`` for °C and mm, ``"F"`` for °F and inches.
    kept : Result, optional
        An earlier cook, drawn grey and dashed for comparison.

    Returns
    -------
    Figure
        A figure without a window; save it as PNG or SVG.
    """
    scene = Scene(animated=False)
    scene.update(result, explanation, _chosen(result, explanation, at_time_s), units, kept)
    return scene.figure


class StallPicture:
    """The same picture kept alive: cheap to update while a slider moves.

    Parameters
    ----------
    format : str
        ``"png"`` or ``"svg"``: what :meth:`update` returns.
    """

    mime: str

    def __init__(self, format: str = "png") -> None:
        if format not in {"png", "svg"}:
            raise ValueError(f'format must be "png" or "svg", not {format!r}')
        self._format = format
        self.mime = "image/png" if format == "png" else "image/svg+xml"
        self._scene = Scene(animated=format == "png")
        # The drawing library has no types here.
        self._canvas: Any = PictureCanvas(self._scene.figure)
        self._background: Any = None

    @property
    def figure(self) -> Figure:
        """The figure that is drawn into."""
        return self._scene.figure

    def update(
        self,
        result: Result,
        explanation: Explanation,
        at_time_s: float | None = None,
        units: str | UnitChoice = "C",
        kept: Result | None = None,
        *,
        moving: bool = False,
    ) -> bytes:
        """Redraw and return the picture as PNG or SVG bytes.

        Parameters are those of :func:`figure_stall`, and `moving`: whether another picture
        follows at once, so that few colours do for this one.
        """
        stale = self._scene.update(
            result, explanation, _chosen(result, explanation, at_time_s), units, kept
        )
        if self._format == "svg":
            stream = io.BytesIO()
            # Fonts stay text: smaller, and a screen reader or a search can read it.
            with mpl.rc_context({"svg.fonttype": "none", "svg.hashsalt": "coreward"}):
                self._scene.figure.savefig(stream, format="svg", metadata={"Date": None})
            return stream.getvalue()
        self._renew_background(stale)
        renderer = self._canvas.get_renderer()
        for artist in self._scene.moving():
            artist.draw(renderer)
        picture: bytes = self._canvas.picture(moving)
        return picture

    def _renew_background(self, stale: frozenset[str]) -> None:
        """Redraw only those tiles whose frame, ticks or words changed."""
        if self._background is None or stale == frozenset(TILES):
            self._canvas.draw()
        else:
            self._canvas.restore_region(self._background)
            if not stale:
                return
            pixels = np.asarray(self._canvas.buffer_rgba())
            for tile in stale:
                pixels_of(pixels, TILES[tile])[:] = 255
                for ax in self._scene.tiles[tile]:
                    ax.draw(self._canvas.get_renderer())
        self._background = self._canvas.copy_from_bbox(self._scene.figure.bbox)


def alt_text(result: Result, explanation: Explanation, units: str | UnitChoice = "C") -> str:
    """Describe the picture in words, for a screen reader and for plain text.

    Parameters
    ----------
    result : Result
        A cook.
    explanation : Explanation
        The explanation of that cook.
    units : str or UnitChoice
        As for :func:`figure_stall`.
    """

    def degrees(value: float) -> str:
        return style.format_temperature(float(value), units)

    time_s = np.asarray(result.time_s, dtype=float)
    parts = [
        f"Cook of {style.format_hours(float(time_s[-1]))}: the core goes from "
        f"{degrees(result.core_c[0])} to {degrees(result.core_c[-1])}, the surface ends at "
        f"{degrees(result.surface_c[-1])}, weight loss "
        f"{100.0 * float(result.mass_loss_fraction[-1]):.0f} percent."
    ]
    for stall in explanation.stalls:
        does = "Stands still" if stall.level else "Climbs slowly"
        parts.append(
            f"{does} from {style.format_hours(stall.begin_s)} to "
            f"{style.format_hours(stall.end_s)}, core {degrees(stall.core_begin_c)} to "
            f"{degrees(stall.core_end_c)}."
        )
    if not explanation.stalls:
        parts.append("No stall.")
    regimes = [
        f"{name} from {style.format_hours(begin)}"
        for begin, _, name in regime_spans(time_s, explanation.regime)
    ]
    if regimes:
        parts.append("Surface regime: " + ", then ".join(regimes) + ".")
    return " ".join(parts)


def _chosen(result: Result, explanation: Explanation, at_time_s: float | None) -> float:
    if at_time_s is not None:
        return float(np.clip(at_time_s, result.time_s[0], result.time_s[-1]))
    if explanation.stalls:
        return 0.5 * float(explanation.stalls[0].begin_s + explanation.stalls[0].end_s)
    return 0.5 * float(result.time_s[0] + result.time_s[-1])


__all__ = [
    "REGIME_WORDS",
    "StallPicture",
    "alt_text",
    "figure_stall",
    "regime_spans",
]
