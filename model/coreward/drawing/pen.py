"""One thread draws at a time: the drawing library is not made for several.

A report is drawn in a thread of its own while the page goes on. Without this, its settings
held for a picture drawn meanwhile, and either of the two could end in an error.
"""

from __future__ import annotations

import threading
from typing import Final

PEN: Final = threading.RLock()
"""Whoever draws holds it."""
