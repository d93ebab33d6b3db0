"""One cook of the past, from cold to done, as a second witness sees it.

A past cook is what a person knew of the piece and the pit, and the two curves that the
probes gave. It holds no physics: where it came from (a library of other makings, or the
person's own pit) decides only how much it weighs.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from coreward.plain import apart

Floats = NDArray[np.float64]
Origin = Literal["library", "own"]


@dataclass(frozen=True)
class PastCook:
    """What was known of a cook, and what its probes read."""

    name: str
    """Unique where it lies."""
    origin: Origin
    """Whose making."""
    cut: str
    """A name of table ``cut``."""
    time_s: Floats = field(metadata=apart(), repr=False)
    """Evenly spaced, from meat on. [s] Shape (rows,)."""
    air_c: Floats = field(metadata=apart(), repr=False)
    core_c: Floats = field(metadata=apart(), repr=False)
    """Readings; NaN where there was none. [°C] Shape (rows,)."""
    target_c: float
    """Of the core, as wanted. [°C]"""
    finish_s: float | None
    """When the reading was there; None where it never was. [s]"""
    thickness_m: float | None
    mass_kg: float | None
    """None where not known."""
    start_c: float
    """[°C]"""
    pit: str
    """The person's name of the pit; of a library cook its fire."""
    pit_set_c: float
    """What the pit was set to. [°C]"""
    wrap: str | None = None
    """One of "foil" or "paper" from `wrap_s` on."""
    wrap_s: float | None = None
    """[s]"""
    structure: str = ""
    """Of a library cook, which making; else empty. Lets a structure be left out."""
