"""When the core stalls: one definition, for computed cooks and for logs."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from coreward import tables

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

_STEP_S = 60.0


@dataclass(frozen=True)
class Stall:
    """One stall of the core. Times in s, temperatures in °C.

    `ended` is False where the record stops before the core picks up again.
    """

    begin_s: float
    end_s: float
    core_begin_c: float
    core_end_c: float
    ended: bool

    @property
    def duration_s(self) -> float:
        """[s]."""
        return self.end_s - self.begin_s

    @property
    def rise_k(self) -> float:
        """How far the core still climbs in it. [K]."""
        return self.core_end_c - self.core_begin_c

    @property
    def level(self) -> bool:
        """Whether the core stands still in it; if not, it is a slow climb."""
        return is_level(self.rise_k, self.duration_s)


def is_level(rise_k: float, duration_s: float) -> bool:
    """Whether a temperature that rises so far in so long is said to stand still."""
    return abs(rise_k) <= tables.load("stall")["level_rate"] * duration_s


def smoothed_slope(time_s: Floats, value: Floats, window_s: float) -> tuple[Floats, Floats]:
    """Slope of the least-squares line through a window around each moment.

    Parameters
    ----------
    time_s : ndarray, shape (n,)
        [s]
    value : ndarray, shape (n,) or (courses, n)
        One course, or several at the same times.

    Returns
    -------
    times, slopes : ndarray
        On a regular grid, the slopes one row per course. [s, unit/s]
    """
    grid = np.arange(time_s[0], time_s[-1] + 1e-9, _STEP_S)
    y = _on_grid(grid, time_s, value)
    half = max(round(0.5 * window_s / _STEP_S), 1)
    n = len(grid)
    if n < 3:
        return grid, np.zeros_like(y)
    # Sums over a sliding window, shorter at the ends.
    x = (grid - grid[0]) / _STEP_S
    edges = np.arange(n)
    lo, hi = np.maximum(edges - half, 0), np.minimum(edges + half + 1, n)

    def total(a: Floats) -> Floats:
        c = np.concatenate((np.zeros((*a.shape[:-1], 1)), np.cumsum(a, axis=-1)), axis=-1)
        return np.asarray(c[..., hi] - c[..., lo])

    count = (hi - lo).astype(float)
    y = y - y.mean(axis=-1, keepdims=True)
    sx, sy, sxy, sxx = total(x), total(y), total(x * y), total(x * x)
    return grid, (sxy - sx * sy / count) / (sxx - sx * sx / count) / _STEP_S


def _on_grid(grid: Floats, time_s: Floats, value: Floats) -> Floats:
    if value.ndim == 1:
        return np.interp(grid, time_s, value)
    return np.stack([np.interp(grid, time_s, row) for row in value])


def find_stalls(
    time_s: Floats,
    core_c: Floats,
    air_c: Floats,
    boiling_c: float = 100.0,
    usable: Flags | None = None,
) -> tuple[Stall, ...]:
    """Spells in which the core rises slowly for the air around it.

    Parameters
    ----------
    time_s, core_c, air_c : ndarray, shape (n,)
        Times increasing.
    boiling_c : float
        At the ambient pressure.
    usable : ndarray of bool, shape (n,), optional
        Rows that may be judged (gaps of a log are not).

    Notes
    -----
    Quotient ``q = (dT/dt) / (T_air - T_core)``, as a share of its largest
    earlier value. Conduction alone keeps it at one. Where it falls deep
    enough for long enough, the stall is the time it spends near its deepest
    level. Every number is in table ``stall``.
    """
    core = np.asarray(core_c, dtype=float)[np.newaxis]
    return find_stalls_in_each(time_s, core, air_c, boiling_c, usable)[0]


def find_stalls_in_each(
    time_s: Floats,
    core_c: Floats,
    air_c: Floats,
    boiling_c: float = 100.0,
    usable: Flags | None = None,
) -> tuple[tuple[Stall, ...], ...]:
    """As `find_stalls`, for several courses of the core in the same air.

    Parameters
    ----------
    core_c : ndarray, shape (courses, n)
        The other parameters are those of `find_stalls`.

    Returns
    -------
    tuple of tuple of Stall
        One for each course.
    """
    d = tables.load("stall")
    time_s = np.asarray(time_s, dtype=float)
    if len(time_s) < 3 or time_s[-1] - time_s[0] < d["shortest"]:
        return ((),) * len(core_c)
    grid, slope = smoothed_slope(time_s, core_c, d["slope_window"])
    core = _on_grid(grid, time_s, core_c)
    air = smoothed_mean(np.interp(grid, time_s, air_c), d["slope_window"])
    drive = air - core
    judged = drive > d["smallest_drive"]
    judged &= core < boiling_c - d["boiling_margin"]
    if usable is not None:
        judged &= np.interp(grid, time_s, usable.astype(float)) > 0.999
    quotient = np.where(judged, slope / np.maximum(drive, 1e-9), 0.0)
    before = np.maximum.accumulate(quotient, axis=-1)
    steepest = np.maximum.accumulate(np.where(judged, slope, 0.0), axis=-1)
    moved = judged & (steepest > d["steepest_smallest"]) & (before > 0.0)
    share = np.where(moved, quotient / np.maximum(before, 1e-30), 1.0)
    level = _lasting_minimum(share, int(d["level_window"] / _STEP_S))
    slow = moved & (share < (level + d["trough_share"] * (1.0 - level))[:, np.newaxis])
    bridge = int(d["bridge"] / _STEP_S)
    return tuple(
        _spells(grid, core[i], judged[i], _runs(slow[i], bridge), d["shortest"])
        if level[i] <= d["depth_share"]
        else ()
        for i in range(len(core))
    )


def _spells(
    grid: Floats, core: Floats, judged: Flags, runs: list[tuple[int, int]], shortest: float
) -> tuple[Stall, ...]:
    """Runs that are long enough, as stalls."""
    found = []
    for first, last in runs:
        if grid[last] - grid[first] < shortest:
            continue
        # Did it pick up, or did the record (or what can be judged) stop first?
        ended = last + 1 < len(grid) and bool(judged[last + 1])
        found.append(
            Stall(
                begin_s=float(grid[first]),
                end_s=float(grid[last]),
                core_begin_c=float(core[first]),
                core_end_c=float(core[last]),
                ended=ended,
            )
        )
    return tuple(found)


def smoothed_mean(value: Floats, window_s: float) -> Floats:
    """Running mean on the one-minute grid, shorter at the ends."""
    half = max(round(0.5 * window_s / _STEP_S), 1)
    n = len(value)
    c = np.concatenate(([0.0], np.cumsum(value)))
    i = np.arange(n)
    lo, hi = np.maximum(i - half, 0), np.minimum(i + half + 1, n)
    return np.asarray((c[hi] - c[lo]) / (hi - lo))


def _lasting_minimum(value: Floats, window: int) -> Floats:
    """Return the lowest level that each row stays under for a whole window."""
    size = value.shape[-1]
    if size <= window:
        return np.asarray(value.max(axis=-1))
    # The largest of a window from the largest of ever longer ones: few passes for many rows.
    highest, width = value, 1
    while width < window:
        step = min(width, window - width)
        highest = np.maximum(highest[..., : highest.shape[-1] - step], highest[..., step:])
        width += step
    return np.asarray(highest.min(axis=-1))


def _runs(flags: Flags, bridge: int) -> list[tuple[int, int]]:
    """First and last index of each run of True, joined over short breaks."""
    where = np.flatnonzero(flags)
    if not len(where):
        return []
    breaks = np.flatnonzero(np.diff(where) > bridge + 1)
    starts = np.concatenate(([where[0]], where[breaks + 1]))
    ends = np.concatenate((where[breaks], [where[-1]]))
    return [(int(a), int(b)) for a, b in zip(starts, ends, strict=True)]
