"""A channel of a log on a regular grid, with its own noise: what the event finders read.

Everything here is causal or looks ahead by a fixed short time, so that a finder which is
given the log up to some moment sees the same numbers as one that is given more.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from coreward import tables
from coreward.logs.log import ProbeLog

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

# Median absolute deviation of a normal distribution in standard deviations.
MAD_TO_SIGMA = 1.482602218505602


@dataclass(frozen=True, eq=False)
class Track:
    """One channel as medians over equal bins."""

    step_s: float
    """Width of a bin. [s]"""
    time_s: Floats
    """Mean time of the samples of each bin, its middle where it is empty. [s] Shape (bins,)."""
    value_c: Floats
    """Median of the trusted readings; bridged by a straight line where there are none, held at
    the ends. NaN throughout if the channel has no reading. [°C] Shape (bins,)."""
    known: Flags
    """False where the value is bridged. Shape (bins,)."""
    noise_k: Floats
    """Robust standard deviation of a bin, from the readings up to then. [K] Shape (bins,)."""


def shortened(log: ProbeLog, until_s: float | None) -> int:
    """Return how many samples of the log lie at or before `until_s`."""
    if until_s is None:
        return int(log.time_s.size)
    return int(np.searchsorted(log.time_s, until_s, side="right"))


def bin_step_s(time_s: Floats) -> float:
    """Width of a bin: the table's, or the sampling interval where that is longer. [s]."""
    numbers = tables.load("events")
    # From the first samples only, so that more samples do not move the bins.
    first = time_s[: int(numbers["interval_samples"])]
    interval = float(np.round(np.median(np.diff(first)))) if first.size > 1 else 0.0
    return max(numbers["bin_width"], interval)


def track(time_s: Floats, value_c: Floats, trusted: Flags, step_s: float) -> Track:
    """Put one channel on the grid.

    Parameters
    ----------
    time_s, value_c : ndarray, shape (n,)
        As logged. [s], [°C]
    trusted : ndarray of bool, shape (n,)
        Readings to use; those that are NaN are left out anyway.
    """
    # Half a bin early, so that a logger whose interval is the bin does not have its
    # samples fall on the edges, where rounding would decide.
    place = np.floor(time_s / step_s + 0.5).astype(np.int64)
    bins = int(place[-1]) + 1
    middle = np.arange(bins, dtype=np.float64) * step_s
    used = trusted & np.isfinite(value_c)
    where, values = place[used], value_c[used]
    order = np.lexsort((values, where))
    values = values[order]
    counts = np.bincount(where, minlength=bins)
    starts = np.concatenate(([0], np.cumsum(counts)[:-1]))
    known = counts > 0
    out: Floats = np.full(bins, np.nan)
    if known.any():
        first, count = starts[known], counts[known]
        out[known] = 0.5 * (values[first + (count - 1) // 2] + values[first + count // 2])
        out = np.interp(np.arange(bins), np.flatnonzero(known), out[known])
        times = np.bincount(where, weights=time_s[used], minlength=bins)
        middle[known] = times[known] / counts[known]
    return Track(step_s, middle, out, known, _running_noise(out, known, step_s))


def _running_noise(value: Floats, known: Flags, step_s: float) -> Floats:
    """Robust standard deviation of the second difference, over a window behind."""
    numbers = tables.load("events")
    floor = numbers["noise_smallest"]
    size = value.size
    noise = np.full(size, floor)
    if size < 3 or not known.any():
        return noise
    # The second difference of white noise has six times its variance.
    bend = np.abs(np.diff(value, 2)) / np.sqrt(6.0)
    solid = known[2:] & known[1:-1] & known[:-2]
    window = max(int(numbers["noise_window"] / step_s), 8)
    block = max(int(numbers["noise_renewed"] / step_s), 1)
    for first in range(0, size, block):
        stop = min(max(first - 1, 0), bend.size)  # bends that end before this block
        part = bend[max(stop - window, 0) : stop]
        part = part[solid[max(stop - window, 0) : stop]]
        if part.size >= 8:
            noise[first : first + block] = max(MAD_TO_SIGMA * median(part), floor)
        elif first:
            noise[first : first + block] = noise[first - 1]
    return noise


def median(value: Floats) -> float:
    """Median of a few numbers, none of them NaN: several times as quick as NumPy's own."""
    ordered = np.sort(value)
    half = value.size // 2
    return float(0.5 * (ordered[half] + ordered[(value.size - 1) // 2]))


def confidence(settled: bool, ratio: float) -> float:
    """Confidence of an event from how far it passed its limit: a rank, not a probability.

    Half at the limit, towards the table's largest well beyond it; the table's provisional
    value while more samples may change the event.
    """
    numbers = tables.load("events")
    if not settled:
        return numbers["provisional_confidence"]
    most, least = numbers["largest_confidence"], numbers["provisional_below"]
    return float(most - (most - least) * np.exp(1.0 - max(ratio, 1.0)))


def running_mean(value: Floats, half: int) -> Floats:
    """Mean over as many bins to one side as to the other, fewer near the ends."""
    total = np.concatenate(([0.0], np.cumsum(value)))
    place = np.arange(value.size)
    reach = np.minimum(half, np.minimum(place, value.size - 1 - place))
    return np.asarray((total[place + reach + 1] - total[place - reach]) / (2 * reach + 1))


def quantum_k(value_c: Floats) -> float:
    """Smallest step that the readings take: how finely the logger writes. [K]."""
    known = value_c[np.isfinite(value_c)][:2000]
    steps = np.abs(np.diff(known))
    steps = steps[steps > 1e-6]
    return float(steps.min()) if steps.size else 0.0


def runs(flags: Flags) -> Iterator[tuple[int, int]]:
    """First and last index of each run of True."""
    edge = np.flatnonzero(np.diff(np.concatenate(([False], flags, [False])).astype(np.int8)))
    for first, stop in zip(edge[::2], edge[1::2], strict=True):
        yield int(first), int(stop) - 1
