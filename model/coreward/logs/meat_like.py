"""Whether a column of numbers moves as a probe in meat does, whatever its heading says.

Meat is slow: its readings stay between a freezer and boiling, hardly ever turn back, and
are neither constant nor set in steps. A fan, a set point and the air of a fire are told
from it by that. What is calm and warm, such as the water of a bath, may be taken for meat:
then a person is asked, and nothing is passed over.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from coreward.logs.log import Floats


@dataclass(frozen=True)
class _Tuning:
    """What counts as slow; chosen here, on invented cooks and their fans."""

    lowest_c: float = -25.0
    highest_c: float = 105.0
    inside: float = 0.9
    """Nearly all readings (`inside`, a share) lie between a freezer and wet meat that boils;
    the rest may be a probe that was pulled out."""
    looked_at: int = 400
    """Readings looked at, spread over the column."""
    turns: float = 3.0
    """All ways up and down together, in spans of the column: a cook's is hardly over 1, with a
    rest and a second piece 3."""
    scatter_k: float = 0.6
    """What each reading may wander besides: the noise and the last digit of a probe."""
    set_step_k: float = 2.0
    set_share: float = 0.05
    """A column that changes at most in this share of its steps, and then by at least so much,
    was set by a hand."""


_TUNING = _Tuning()


def is_meat_like(temperature_c: Floats) -> bool:
    """Tell whether readings could be those of a probe in meat.

    Parameters
    ----------
    temperature_c : ndarray
        Readings in the order of time; NaN where there is none. [°C]
    """
    tuning = _TUNING
    known = temperature_c[np.isfinite(temperature_c)]
    if known.size < 2 or np.all(known == known[0]):
        return False
    inside = (known >= tuning.lowest_c) & (known <= tuning.highest_c)
    if np.mean(inside) < tuning.inside:
        return False
    steps = np.abs(np.diff(known))
    changes = steps[steps > 0]
    most = max(1.0, tuning.set_share * steps.size)
    if changes.size <= most and changes.min() >= tuning.set_step_k:
        return False
    looked = known[inside][:: max(1, known.size // tuning.looked_at)]
    way = float(np.sum(np.abs(np.diff(looked))))
    return way <= tuning.turns * float(np.ptp(looked)) + tuning.scatter_k * looked.size
