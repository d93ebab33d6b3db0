"""Rows of trust: what was measured, against what was predicted of it without its source.

The calibration predicts each source from all the others (`coreward.evidence.calibration`);
what it found is kept beside the published numbers and read here.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from functools import cache
from types import MappingProxyType
from typing import Final

from coreward.evidence.calibration.measured import LOGARITHMIC, UNITS
from coreward.evidence.calibration.rows import SOURCES
from coreward.evidence.published import published_rows
from coreward.evidence.trust.row import TrustRow

FILE = "left_out.csv"
_NINE_IN_TEN = 1.6449
_TOPICS: Final = MappingProxyType(
    {
        "beef cubes": "water",
        "measured yields": "yield",
        "composition rows": "yield",
        "handbook roasts": "carryover",
        "oak-smoked brisket": "smoking",
        "smoked yields": "smoking",
        "standstill": "smoking",
        "oven-dry roasts": "roasting",
        "whole turkeys": "roasting",
    }
)
_TOLD: Final = MappingProxyType(
    {"hours": "hours", "loss": "loss", "cooling loss": "loss", "vapour": "lost as vapour",
     "rise": "rise in the rest", "share": "vapour's share of the loss",
     "stand hours": "hours from 64.5 to 69.5 °C"}
)  # fmt: skip


@cache
def left_out_rows() -> tuple[TrustRow, ...]:
    """Return every reading against what was predicted of it from the other sources."""
    found = []
    for row in published_rows(FILE):
        kind = row["kind"]
        measured, middle, spread = (float(row[n]) for n in ("measured", "predicted", "spread"))
        if kind in LOGARITHMIC:
            wide = math.exp(_NINE_IN_TEN * spread)
            allowed, band = (measured / wide, measured * wide), (middle / wide, middle * wide)
        else:
            wide = _NINE_IN_TEN * spread
            allowed, band = (measured - wide, measured + wide), (middle - wide, middle + wide)
        unit = UNITS[kind]
        found.append(
            TrustRow(
                topic=_TOPICS.get(row["source"], "cooling"),
                case=f"{row['case']}: {_TOLD[kind]}",
                source=SOURCES[row["source"]],
                status=row["status"],
                unit=unit,
                allowed=allowed,
                computed=(middle, middle),
                published_text=f"{measured:.3g} {unit}".strip(),
                how=f"predicted without this source: nine in ten from {band[0]:.3g} to "
                f"{band[1]:.3g}"
                + (
                    ", given what was read of the same cook before"
                    if row["given_before"] == "yes"
                    else ""
                ),
                independent=row["seen"] == "no",
                published_value=measured,
            )
        )
    return tuple(found)


def about(topic: str) -> Callable[[], Iterator[TrustRow]]:
    """Return what yields the rows of one topic."""
    return lambda: (row for row in left_out_rows() if row.topic == topic)
