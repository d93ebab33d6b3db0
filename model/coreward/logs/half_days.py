"""Clocks of twelve hours that do not say which half of the day it is.

Such a clock falls from 12:59 back to 1:00, so that times which run on look as if they
went back by almost half a day. The order of the rows shows it, where the steps are small.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from coreward.logs.log import Floats
from coreward.logs.parts import Reading
from coreward.logs.time_forms import DAY_S

HALF_S = DAY_S / 2
_HOUR_S = 3600.0
_SAYS_HALF = re.compile(r"\d\s*[ap]\.?\s?m\b", re.IGNORECASE)


def unfold_half_days(
    seconds: Floats,
    numbers: NDArray[np.int64],
    texts: Sequence[str],
    has_dates: bool,
    reading: Reading,
) -> tuple[Floats, float | None] | None:
    """Return times that run on, and what to add to the first as written; None: a full clock.

    Parameters
    ----------
    seconds : ndarray
        Times as written, in the order of the file; of dates, from a midnight. [s]
    numbers : ndarray of int
        Row of each in the file.
    reading : Reading
        Takes the repairs, and the rows between which an unknown time passed.

    Returns
    -------
    tuple or None
        The second part is 0 or half a day, or None where nothing shows which half it was.
    """
    of_day = seconds % DAY_S
    steps = np.diff(seconds)
    if steps.size < 2 or np.any((of_day < _HOUR_S) | (of_day >= HALF_S + _HOUR_S)):
        return None
    if any(_SAYS_HALF.search(text) for text in texts[:50]):
        return None
    if np.sum(steps < 0) > np.sum(steps > 0):  # newest row first
        turned = unfold_half_days(seconds[::-1], numbers[::-1], texts, has_dates, reading)
        return None if turned is None else (turned[0][::-1].copy(), turned[1])
    limits = reading.limits
    forward = steps[(steps > 0) & (steps < HALF_S / 2)]
    usual = float(np.median(forward)) if forward.size else 60.0
    longest = max(limits["gap_longest"], 1.5 * usual)
    if longest >= HALF_S / 2:
        return None
    folded = (steps + HALF_S / 2) % HALF_S - HALF_S / 2  # the step, save for half days
    falls = np.flatnonzero((steps < -HALF_S / 2) & (folded > 0) & (folded <= longest))
    # A full clock falls so at midnight only, from 23 h; here no hour is above 12.
    if not falls.size:
        return None
    result = seconds[0] + np.concatenate(([0.0], np.cumsum(folded)))
    wide = np.flatnonzero(np.abs(folded) > longest)
    if has_dates:
        offset = _offset(seconds, result, numbers, reading)
    else:
        offset = None
        for at in wide.tolist():
            reading.unknown.append((int(numbers[at]), int(numbers[at + 1])))
    reading.record(
        int(numbers[falls[0] + 1]),
        "half days",
        f"{_clock(of_day[falls[0] + 1])} after {_clock(of_day[falls[0]])}",
        f"{_clock(result[falls[0] + 1] - result[falls[0]])} later, and so on",
        "the clock has twelve hours and does not say a.m. or p.m.; the rows are taken in the "
        "order in which they stand",
        last=int(numbers[-1]),
    )
    if wide.size:
        reading.warnings.append(
            f"At row {numbers[wide[0] + 1]} the clock of twelve hours leaves a gap, which may "
            "be longer by half a day or more. Export the log with a.m. and p.m., or with a "
            "clock of 24 hours."
        )
    return np.asarray(result), offset


def _offset(
    written: Floats, unfolded: Floats, numbers: NDArray[np.int64], reading: Reading
) -> float:
    """Return what to add to the first time so that every row falls on its date."""
    dates = np.floor(written / DAY_S)
    midday = written[0] - (written[0] % DAY_S >= HALF_S) * HALF_S  # 12:xx is 0:xx of its half
    worst: tuple[int, int] | None = None
    fits = []
    for half in (0.0, HALF_S):
        real = unfolded - unfolded[0] + midday + half
        off = np.flatnonzero(np.floor(real / DAY_S) != dates)
        if not off.size:
            fits.append(float(midday + half - written[0]))
        elif worst is None or off[0] > worst[0]:
            worst = (int(off[0]), int(numbers[off[0]]))
    if len(fits) == 1:
        return fits[0]
    row = int(numbers[0]) if worst is None else worst[1]
    reading.fail(
        "From here the clock of twelve hours does not fit the dates, whether the log begins "
        "in the morning or in the afternoon.",
        "Export the log with a.m. and p.m., or with a clock of 24 hours.",
        row,
    )


def _clock(seconds: float) -> str:
    whole = round(float(seconds))
    return f"{whole // 3600}:{whole // 60 % 60:02d}:{whole % 60:02d}"
