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
    """What was known of a cook, and what its probes read.

    Attributes
    ----------
    name : str
        Unique where it lies.
    origin : {"library", "own"}
        Whose making.
    cut : str
        A name of table ``cut``.
    time_s : ndarray, shape (rows,)
        Evenly spaced, from meat on. [s]
    air_c, core_c : ndarray, shape (rows,)
        Readings; NaN where there was none. [°C]
    target_c : float
        Of the core, as wanted. [°C]
    finish_s : float or None
        When the reading was there; None where it never was. [s]
    thickness_m, mass_kg : float or None
        None where not known.
    start_c : float
        [°C]
    pit : str
        The person's name of the pit; of a library cook its fire.
    pit_set_c : float
        What the pit was set to. [°C]
    wrap : str or None
        "foil" or "paper" from `wrap_s` on.
    wrap_s : float or None
        [s]
    structure : str
        Of a library cook, which making; else empty. Lets a structure be left out.
    """

    name: str
    origin: Origin
    cut: str
    time_s: Floats = field(metadata=apart(), repr=False)
    air_c: Floats = field(metadata=apart(), repr=False)
    core_c: Floats = field(metadata=apart(), repr=False)
    target_c: float
    finish_s: float | None
    thickness_m: float | None
    mass_kg: float | None
    start_c: float
    pit: str
    pit_set_c: float
    wrap: str | None = None
    wrap_s: float | None = None
    structure: str = ""
