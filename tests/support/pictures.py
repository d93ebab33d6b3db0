"""Tell a picture that was drawn from one that is only a file of the right kind."""

from __future__ import annotations

import io

import numpy as np
from PIL import Image

_PAPER = 240
"""From here on a grey is paper."""


def ink(png: bytes) -> float:
    """Return the share of a picture's points that are not paper."""
    grey = np.asarray(Image.open(io.BytesIO(png), formats=("PNG",)).convert("L"))
    return float((grey < _PAPER).mean())


def is_drawn(png: bytes) -> bool:
    """Tell whether there are lines and words on it, and paper between them."""
    return 0.005 < ink(png) < 0.8
