"""Reads the published measurements and worked examples the model is held against.

They live in one place, ``data/published``: beside the package in a checkout, inside
it where it was installed.
"""

from __future__ import annotations

import csv
import tomllib
from functools import cache
from pathlib import Path
from typing import Any

from coreward.errors import MissingFeatureError

_PACKAGE = Path(__file__).resolve().parents[1]
_FOLDERS = (
    _PACKAGE.parents[1] / "data" / "published",
    _PACKAGE / "_workbench" / "data" / "published",
)


def published_file(name: str) -> Path:
    """Return the path of a file of published data.

    Raises
    ------
    MissingFeatureError
        If it came neither with the checkout nor with the installed package.
    """
    for folder in _FOLDERS:
        if (folder / name).is_file():
            return folder / name
    raise MissingFeatureError(
        f"The published data {name!r} did not come with this installation. Run from a "
        "checkout of the project, or install a complete build."
    )


@cache
def published_rows(name: str) -> tuple[dict[str, str], ...]:
    """Return the rows of a published table as text, by column; ``#`` lines are its header."""
    with published_file(name).open(encoding="utf-8", newline="") as file:
        return tuple(csv.DictReader(line for line in file if not line.startswith("#")))


@cache
def published_cases(name: str) -> dict[str, Any]:
    """Return a file of published cases, as its TOML says."""
    with published_file(name).open("rb") as file:
        return tomllib.load(file)
