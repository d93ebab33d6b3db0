"""A probe that drifts: two that sat in the same place no longer agree."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from coreward import tables
from coreward.events.listed import Event
from coreward.events.signals import Track, confidence, running_mean
from coreward.words import Difference, say

Floats = NDArray[np.float64]


def find_drift(
    mine: Track,
    others: list[tuple[str, Track]],
    air: Track,
    first: int,
    last: int,
    name: str,
) -> list[Event]:
    """Find where a probe leaves every other that it agreed with before.

    Between two places in one piece the difference follows the drive of the air. While the
    probes are being compared it must hardly do so: then they sit alike, and what their
    difference does later is the probe's and not the meat's. Probes in different pieces or
    at different depths are never compared, so most drifts cannot be seen.

    Parameters
    ----------
    mine : Track
        Of the probe asked about.
    others : list of (str, Track)
        Other meat probes that were not moved, with their names.
    first, last : int
        Bins between which all were in the meat.
    name : str
        Of the channel asked about.

    Returns
    -------
    list of Event
        One ``sensor_fault`` or none.
    """
    numbers = tables.load("events")
    step = mine.step_s
    begin = first + round(numbers["drift_settles"] / step)
    learnt = round(numbers["drift_compared"] / step)
    if last - begin <= learnt:
        return []
    part = slice(begin, last + 1)
    drive = air.value_c[part] - mine.value_c[part]
    leaves: list[tuple[Floats, str]] = []
    for other_name, other in others:
        apart = mine.value_c[part] - other.value_c[part]
        apart = running_mean(apart, round(0.5 * numbers["slow_smoothing"] / step))
        centred = drive[:learnt] - drive[:learnt].mean()
        share = float(np.dot(centred, apart[:learnt]) / max(np.dot(centred, centred), 1e-9))
        rest = apart - share * drive
        rest = rest - rest[:learnt].mean()
        alike = abs(share) < numbers["drift_share"]
        if alike and float(np.std(rest[:learnt])) < numbers["drift_agreed"]:
            leaves.append((rest, other_name))
    if not leaves:
        return []
    # It must leave all of them, and the same way.
    signs = np.sign([float(rest[-1]) for rest, _ in leaves])
    least = np.min([np.abs(rest) for rest, _ in leaves], axis=0)
    lasts = max(round(numbers["drift_lasts"] / step), 1)
    away = np.flatnonzero(least > numbers["drift_smallest"])
    if np.any(signs != signs[0]) or not away.size:
        return []
    seen = int(away[0])
    stays = least[seen : seen + lasts + 1]
    if stays.size <= lasts or stays.min() < 0.8 * numbers["drift_smallest"]:
        return []
    start = seen
    while start > learnt and least[start] > 0.25 * numbers["drift_smallest"]:
        start -= 1
    if (seen - start) * step < numbers["drift_slow"]:
        return []  # at once: a probe was moved, and which one is not told
    when, end = float(mine.time_s[begin + start]), float(mine.time_s[last])
    size = float(leaves[0][0][seen + lasts])
    names = ", ".join(f"'{other}'" for _, other in leaves)
    which = "one of the two drifts" if len(leaves) == 1 else "it drifts"
    why = say(
        "It left {0}, with which it had agreed for hours, by {1}: {2}.",
        names,
        Difference(size, 1, signed=True),
        which,
    )
    sure = confidence(True, abs(size) / numbers["drift_smallest"])
    return [Event("sensor_fault", when, end, size, "K", sure, name, why)]
