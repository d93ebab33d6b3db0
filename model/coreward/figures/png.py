"""A small PNG writer for pictures that are sent at every step of a slider.

The usual writer tries five filters on each row; for flat areas and thin lines one of
them, the difference to the row above, does as well in a third of the time.
The format is that of ISO/IEC 15948 (PNG), from memory.
"""

from __future__ import annotations

import struct
import zlib
from typing import Any

import numpy as np
from numpy.typing import NDArray

_SIGNATURE = b"\x89PNG\r\n\x1a\n"
_FILTER_UP = 2
_EIGHT_BIT_RGB = (8, 2, 0, 0, 0)


def encode(pixels: Any, level: int = 1) -> bytes:
    """Return 8-bit RGB or RGBA pixels as an opaque PNG.

    Parameters
    ----------
    pixels : array_like of uint8, shape (rows, columns, 3 or 4)
        A fourth channel is left out.
    level : int
        0 to 9, fast to small.
    """
    array: NDArray[np.uint8] = np.ascontiguousarray(pixels, dtype=np.uint8)
    rows, columns, channels = array.shape
    flat = array.reshape(rows, channels * columns)
    change = np.empty_like(flat)
    change[0] = flat[0]
    # Differences of bytes wrap around, as the format wants.
    np.subtract(flat[1:], flat[:-1], out=change[1:])
    filtered = np.empty((rows, 1 + 3 * columns), dtype=np.uint8)
    filtered[:, 0] = _FILTER_UP
    for channel in range(3):
        filtered[:, 1 + channel :: 3] = change[:, channel::channels]
    head = struct.pack(">II5B", columns, rows, *_EIGHT_BIT_RGB)
    return b"".join(
        (
            _SIGNATURE,
            _chunk(b"IHDR", head),
            _chunk(b"IDAT", zlib.compress(filtered.data, level)),
            _chunk(b"IEND", b""),
        )
    )


def size(picture: bytes) -> tuple[int, int] | None:
    """Return width and height of a PNG in pixels; None for what is no PNG."""
    if not picture.startswith(_SIGNATURE) or len(picture) < 24:
        return None
    columns, rows = struct.unpack(">II", picture[16:24])
    return columns, rows


def _chunk(name: bytes, data: bytes) -> bytes:
    body = name + data
    return struct.pack(">I", len(data)) + body + struct.pack(">I", zlib.crc32(body))
