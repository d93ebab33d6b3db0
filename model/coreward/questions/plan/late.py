"""How to see in time that a piece will be late: a core at an hour, told by the draws."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

# So long before the pull must be there is still something to be done; assumed here.
_AHEAD_S = 3 * 3600.0
_QUARTER_S = 900.0
_FIVE_MINUTES_S = 300.0
# A sign that stands on fewer draws is an accident.
_FEWEST = 8


@dataclass(frozen=True)
class LateSign:
    """A core at an hour, below which the serving hour is more likely missed than kept."""

    check_s: float
    """When to look. [s of the universal clock]"""
    below_c: float
    """The core. [°C]"""
    keeps: float
    """Chance that a cook below it still keeps the hour. [-]"""
    serve_s: float
    """Serving hour that such a cook keeps with the chance wanted; infinite if none. [s of the
    universal clock]"""


def late_sign(
    on_s: Floats,
    time_s: Floats,
    core_c: Floats,
    pull_s: Floats,
    after_s: float,
    serve_s: float,
    chance: float,
) -> LateSign | None:
    """Find the sign of a late piece in its draws.

    Parameters
    ----------
    on_s : ndarray, shape (members,)
        When it is put on. [s of the universal clock]
    time_s, core_c : ndarray, shape (times,) and (members, times)
        Core from then on. [s], [°C]
    pull_s : ndarray, shape (members,)
        When it is pulled, from on. [s]
    after_s : float
        What it needs from the pull to the plates. [s]
    chance : float
        Of the serving hour that is named instead. [-]

    Returns
    -------
    LateSign or None
        None if it is hardly ever late, or if there is no time to look.
    """
    ready_s = on_s + pull_s + after_s
    check_s = math.floor((serve_s - after_s - _AHEAD_S) / _QUARTER_S) * _QUARTER_S
    late = ready_s > serve_s
    if late.sum() < _FEWEST or check_s <= on_s.max() + _QUARTER_S:
        return None
    at = check_s - on_s
    core = np.array([np.interp(t, time_s, row) for t, row in zip(at, core_c, strict=True)])
    core[pull_s <= at] = math.inf  # it is in its rest
    for below_c in range(math.floor(float(np.max(core, initial=0.0, where=late))) + 1, 0, -1):
        below = core < below_c
        if below.sum() < _FEWEST:
            return None
        keeps = 1.0 - float(late[below].mean())
        if keeps < 0.5:
            kept = float(np.quantile(ready_s[below], chance, method="inverted_cdf"))
            if math.isfinite(kept):
                kept = math.ceil(kept / _FIVE_MINUTES_S) * _FIVE_MINUTES_S
            return LateSign(check_s, float(below_c), keeps, kept)
    return None
