"""What pages look like: a style sheet lies beside the module whose page it is.

Our own lays a wide table out on a narrow screen, in reports and panels alike.
"""

from pathlib import Path
from typing import Final


def look(module: str) -> str:
    """Return the style sheet of a module, given its ``__file__``."""
    return Path(module).with_suffix(".css").read_text(encoding="utf-8")


CARDS: Final = look(__file__)
