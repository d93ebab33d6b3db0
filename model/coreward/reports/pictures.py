"""Figures as SVG and PNG, always the same bytes for the same figure."""

from __future__ import annotations

import io
import re
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import matplotlib as mpl
from matplotlib.figure import Figure
from matplotlib.text import Text

from coreward.drawing.pen import PEN

PNG_DPI = 170
_MOST_IN_LEGEND = 40
_MOST_IN_LINE = 100
"""Letters of a label that are drawn; the tables of a report have all of them."""

_SETTINGS: dict[Any, Any] = {
    "svg.fonttype": "none",  # text stays text: it can be searched, read out and copied
    "svg.hashsalt": "coreward",
}
_ID = re.compile(r'\bid="([^"]+)"')
_REFERENCE = re.compile(r'(url\(#|href="#)([^)"]+)')
_PROLOGUE = re.compile(r"^.*?(?=<svg\b)", re.DOTALL)
_METADATA = re.compile(r"\s*<metadata>.*?</metadata>", re.DOTALL)


@contextmanager
def drawing() -> Iterator[None]:
    """Draw under the settings of a report; figures are made and saved inside.

    A label may hold letters that the drawing font lacks. In SVG they stay text, and the
    reader's own fonts show them, so the warning about a missing glyph is not passed on.
    """
    with PEN, mpl.rc_context(_SETTINGS), warnings.catch_warnings():
        warnings.filterwarnings("ignore", message="Glyph .* missing from font")
        yield


def _tame_labels(figure: Figure) -> None:
    """Let somebody's label be a label: no formula, no control character, no mile of legend.

    Tick labels are ours: on a logarithmic axis they may be formulas.
    """
    ticks = {
        id(label)
        for ax in figure.axes
        for axis in (ax.xaxis, ax.yaxis)
        for label in axis.get_ticklabels(which="both")
    }
    legends = [legend for ax in figure.axes if (legend := ax.get_legend()) is not None]
    listed = {id(text) for legend in (*legends, *figure.legends) for text in legend.get_texts()}
    for text in figure.findobj(Text):
        if isinstance(text, Text) and id(text) not in ticks:
            text.set_parse_math(False)
            most = _MOST_IN_LEGEND if id(text) in listed else _MOST_IN_LINE
            text.set_text("\n".join(_short(line, most) for line in text.get_text().split("\n")))


def _short(line: str, most: int) -> str:
    plain = "".join(letter for letter in line if letter.isprintable())
    return plain if len(plain) <= most else f"{plain[: most - 1]}…"


def svg_text(figure: Figure, prefix: str) -> str:
    """Return a figure as an SVG element to be put into a page.

    Parameters
    ----------
    prefix : str
        Put before every id, since several figures share one page.
    """
    stream = io.StringIO()
    with drawing():
        _tame_labels(figure)
        figure.savefig(stream, format="svg", metadata={"Date": None, "Creator": None})
    text = _METADATA.sub("", _PROLOGUE.sub("", stream.getvalue()))
    text = _ID.sub(lambda found: f'id="{prefix}{found[1]}"', text)
    return _REFERENCE.sub(lambda found: f"{found[1]}{prefix}{found[2]}", text)


def png_bytes(figure: Figure, dpi: int = PNG_DPI) -> bytes:
    """Return a figure as PNG."""
    stream = io.BytesIO()
    with drawing():
        _tame_labels(figure)
        figure.savefig(stream, format="png", dpi=dpi, metadata={"Software": None})
    return stream.getvalue()
