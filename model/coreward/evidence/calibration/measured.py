"""What a measured row is: how it was cooked, what nobody wrote down, what was read off."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from coreward.physics.body import Shape

Place = Literal["bath", "air", "oven", "pit", "kitchen"]
Kind = Literal[
    "hours",
    "loss",
    "cooling loss",
    "vapour",
    "rise",
    "share",
    "stand hours",
    "surface",
    "dew point",
]
"""Hours are compared on a logarithm, losses in points of the raw mass (a cooling loss: of the
mass that was cooled), the rest in K or as shares."""

LOGARITHMIC: frozenset[str] = frozenset({"hours", "stand hours"})
UNITS: dict[str, str] = {
    "hours": "h",
    "loss": "%",
    "cooling loss": "%",
    "vapour": "%",
    "rise": "K",
    "share": "",
    "stand hours": "h",
    "surface": "°C",
    "dew point": "°C",
}
UNKNOWNS: dict[str, str] = {
    "size": "ln",
    "air": "K",
    "damp": "its own",
    "film": "ln",
    "start": "K",
    "end": "K",
    "bone": "kg/kg",
    "pack": "ln",
    "cover": "logit",
    "injected": "kg/kg",
}
"""What of a row may be drawn, and on what scale its spread is stated."""


@dataclass(frozen=True)
class Bout:
    """A stretch of a row's cook.

    Attributes
    ----------
    place : Place
        A "bath" wets it (nothing evaporates); in "air" its speed is stated; "oven", "pit"
        and "kitchen" are as usual.
    air_c : float or pair of sequences
        [°C], of times [s]
    hours : float
        At most.
    until_core_c : float, optional
        [°C]
    dew_point_c : float, optional
        Stated; else that of the account.
    air_speed : float, optional
        Stated. [m/s]
    bag : bool
        A bag or a mould: no vapour, and a resistance.
    """

    place: Place
    air_c: float | tuple[Sequence[float], Sequence[float]]
    hours: float
    until_core_c: float | None = None
    dew_point_c: float | None = None
    air_speed: float | None = None
    bag: bool = False


@dataclass(frozen=True)
class Recipe:
    """A piece and its bouts, as far as they were written down or are usual.

    `covered` is True of a joint with a cap of fat, bones or skin on much of its surface;
    `weighed` where only its weight is known and its sizes are usual (table ``piece``).
    `moving` is False of meat that was cooked before, whose water stays. `main` is the bout
    of which hours and losses are read.
    """

    cut: str
    shape: Shape
    bouts: tuple[Bout, ...]
    start_c: float = 4.0
    mass_kg: float | None = None
    bone: float = 0.0
    injected: float = 0.0
    moving: bool = True
    covered: bool = False
    weighed: bool = False
    main: int = 0


@dataclass(frozen=True)
class Unknown:
    """What nobody wrote down: a bell curve about the recipe's number, and why so wide."""

    name: str
    spread: float
    reason: str


@dataclass(frozen=True)
class Reading:
    """What was measured, with the source's own standard error.

    Attributes
    ----------
    kind : Kind
    value, error : float
        In `UNITS`; the error of hours is relative.
    between_c : tuple of float, optional
        Hours from one core temperature to another; else those of the main bout.
    """

    kind: Kind
    value: float
    error: float
    between_c: tuple[float, float] | None = None


@dataclass(frozen=True)
class Measured:
    """One row: a cook that was measured.

    Attributes
    ----------
    source : str
        Key of `SOURCES`; sources are left out one at a time.
    case : str
    status : str
        "read" or "derived".
    recipe : Recipe
    unknowns : tuple of Unknown
    readings : tuple of Reading
        In the order in which they are predicted: each given those before it.
    seen : bool
        Whether it was in view when a default of the tables was chosen.
    """

    source: str
    case: str
    status: str
    recipe: Recipe
    unknowns: tuple[Unknown, ...]
    readings: tuple[Reading, ...]
    seen: bool = False
