"""What is put on the fire, and how long it usually takes.

The sizes and targets are common practice, without a source. The hours are those of
``practice.csv``, which names a source where there is one. Nothing here comes from the
package's model: the library is a witness of another making.
"""

from __future__ import annotations

import csv
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np

HERE = Path(__file__).resolve().parent
RAW_DENSITY = 1050.0
"""kg/m3; raw meat 1063 and fattier pieces less (handbook values, read)."""


@dataclass(frozen=True)
class Kind:
    """A cut as people buy it: least and most of each quantity."""

    shape: str
    mass_kg: tuple[float, float]
    thickness_mm: tuple[float, float]
    target_c: tuple[float, float]
    wrapped_share: float
    """How many of ten cooks, over ten, are wrapped on the way."""
    standstill_share: float
    """How many of the drawn cooks are given what a standstill needs."""


KINDS: dict[str, Kind] = {
    "brisket_whole": Kind("slab", (4.3, 7.5), (65, 95), (88, 97), 0.55, 0.8),
    "brisket_flat": Kind("slab", (1.8, 3.2), (42, 62), (88, 97), 0.55, 0.75),
    "pork_shoulder": Kind("round", (2.8, 4.8), (105, 145), (88, 97), 0.45, 0.8),
    "beef_chuck": Kind("round", (1.2, 2.2), (65, 90), (88, 97), 0.45, 0.75),
    "lamb_shoulder": Kind("round", (1.9, 3.2), (70, 100), (85, 95), 0.35, 0.7),
    "spare_ribs": Kind("slab", (1.1, 1.8), (28, 40), (87, 95), 0.5, 0.75),
    "back_ribs": Kind("slab", (0.7, 1.1), (24, 34), (87, 95), 0.5, 0.7),
    "short_ribs": Kind("slab", (1.5, 3.0), (50, 75), (88, 97), 0.4, 0.75),
    "belly_soft": Kind("slab", (1.5, 4.0), (36, 55), (84, 95), 0.3, 0.7),
    "belly_bacon": Kind("slab", (1.5, 4.0), (32, 52), (63, 68), 0.0, 0.15),
    "pork_chop": Kind("slab", (0.3, 0.5), (25, 45), (60, 66), 0.0, 0.0),
    "chicken_pieces": Kind("slab", (0.3, 0.5), (32, 48), (72, 77), 0.0, 0.1),
    "turkey_breast": Kind("round", (1.5, 3.2), (65, 105), (70, 75), 0.1, 0.2),
    "chicken_whole": Kind("bird", (1.4, 2.4), (55, 80), (74, 80), 0.0, 0.2),
    "turkey_whole": Kind("bird", (4.5, 9.0), (85, 125), (72, 79), 0.05, 0.25),
    "rib_roast": Kind("cylinder", (2.6, 5.5), (105, 140), (52, 58), 0.0, 0.05),
    "small_roast": Kind("cylinder", (0.8, 1.5), (45, 65), (52, 58), 0.0, 0.0),
    "round_roast": Kind("round", (1.4, 3.0), (80, 110), (54, 63), 0.0, 0.05),
    "pork_loin": Kind("cylinder", (1.4, 2.6), (70, 95), (60, 66), 0.05, 0.15),
    "fresh_ham": Kind("round", (4.8, 8.5), (130, 170), (65, 72), 0.05, 0.3),
    "lamb_leg": Kind("round", (1.9, 3.2), (85, 112), (55, 64), 0.0, 0.1),
}

SURFACE_FACTOR = {"slab": 1.7, "cylinder": 2.2, "round": 2.6, "bird": 2.3}
"""Surface over (volume over half the stated thickness). A slab is stated where it is
thickest, so that it has more surface than an even one; a bird has a cavity."""


@dataclass(frozen=True)
class Piece:
    """One piece, as a person knows it."""

    cut: str
    shape: str
    mass_kg: float
    thickness_m: float
    start_c: float
    target_c: float

    @property
    def volume_m3(self) -> float:
        """Volume of the raw piece, m3."""
        return self.mass_kg / RAW_DENSITY

    @property
    def half_m(self) -> float:
        """Half of the stated thickness, m."""
        return self.thickness_m / 2

    @property
    def surface_m2(self) -> float:
        """Surface that meets the air, m2."""
        return SURFACE_FACTOR[self.shape] * self.volume_m3 / self.half_m


@dataclass(frozen=True)
class Usual:
    """One row of the table of usual times."""

    cut: str
    pit_from_c: float
    pit_to_c: float
    hours_from: float
    hours_to: float
    source: str


@cache
def usual_times() -> tuple[Usual, ...]:
    """Read the table of usual times, ``practice.csv``."""
    lines = (HERE / "practice.csv").read_text(encoding="utf-8").splitlines()
    rows = csv.DictReader(line for line in lines if not line.startswith("#"))
    return tuple(
        Usual(
            row["cut"],
            float(row["pit_from_c"]),
            float(row["pit_to_c"]),
            float(row["hours_from"]),
            float(row["hours_to"]),
            row["source"],
        )
        for row in rows
    )


def usual_time(cut: str, pit_set_c: float) -> Usual:
    """Return the row for a cut and a pit's setting; outside the rows, the nearest.

    Parameters
    ----------
    cut : str
        A name of `KINDS`.
    pit_set_c : float
        The setting of the pit, °C.

    Returns
    -------
    Usual
        The row.
    """
    rows = [row for row in usual_times() if row.cut == cut]
    inside = [row for row in rows if row.pit_from_c <= pit_set_c < row.pit_to_c]
    if inside:
        return inside[0]
    return min(rows, key=lambda row: abs((row.pit_from_c + row.pit_to_c) / 2 - pit_set_c))


def how_usual(usual: Usual, hours: float) -> float:
    """Return with which chance a total time is kept: none outside the row.

    Bare heat transfer makes more quick cooks than people report, so that a total in the
    lower half of a row, on a logarithmic scale, is kept less often, down to three in ten.
    """
    if not usual.hours_from <= hours <= usual.hours_to:
        return 0.0
    place = np.log(hours / usual.hours_from) / np.log(usual.hours_to / usual.hours_from)
    return float(min(0.3 + 1.4 * place, 1.0))


def draw_piece(cut: str, rng: np.random.Generator) -> Piece:
    """Draw a piece of a cut: heavier ones are thicker, but not strictly.

    Parameters
    ----------
    cut : str
        A name of `KINDS`.
    rng : numpy.random.Generator
        Where the numbers come from.

    Returns
    -------
    Piece
        Sizes as a person would note them: mass to 10 g, thickness to a millimetre.
    """
    kind = KINDS[cut]
    size = rng.uniform()
    build = np.clip(0.55 * size + 0.45 * rng.uniform(), 0.0, 1.0)
    mass = kind.mass_kg[0] + size * (kind.mass_kg[1] - kind.mass_kg[0])
    thickness = kind.thickness_mm[0] + build * (kind.thickness_mm[1] - kind.thickness_mm[0])
    target = np.round(rng.uniform(*kind.target_c))
    return Piece(
        cut,
        kind.shape,
        round(float(mass), 2),
        round(float(thickness)) / 1000,
        round(float(rng.uniform(2.0, 12.0)), 1),
        float(target),
    )
