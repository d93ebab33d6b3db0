"""What a simulation and a fit may use of a log: the air without faults, the meat they trust."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from coreward import tables
from coreward.errors import InputError
from coreward.events.listed import Event
from coreward.events.signals import bin_step_s, running_mean, shortened, track
from coreward.logs.log import ProbeLog

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
Integers = NDArray[np.int64]

_UNREADABLE = ("sensor_fault", "probe_unplugged")


@dataclass(frozen=True, eq=False)
class TrustedSamples:
    """Which samples of a meat probe a fit may use."""

    mask: Flags
    """True where the reading is trusted. Samples after `until_s` are False. Shape (samples,).
    """
    segment: Integers
    """Number of the stretch, from 0; a moved probe begins a new one, with a new depth and bias.
    Shape (samples,)."""


def air_without_events(
    log: ProbeLog,
    events: Iterable[Event],
    until_s: float | None = None,
    tolerance_k: float | None = None,
) -> tuple[Floats, Floats]:
    """Air around the meat as few straight lines, without faults of the probe.

    Spikes, flat faults and unplugged stretches are bridged. Lid openings stay: the meat
    feels them too.

    Parameters
    ----------
    events : iterable of Event
        Only faults and unplugged stretches of the air probe matter here.
    until_s : float, optional
        Use nothing later. [s]
    tolerance_k : float, optional
        Largest distance to the air smoothed over a few minutes; table ``events`` if None. [K]

    Returns
    -------
    time_s, air_c : ndarray
        Corners, from 0 to the end of the log. [s], [°C]

    Raises
    ------
    InputError
        If the log has no reading of the air.

    Notes
    -----
    Medians over bins, a short running mean, then the corners of Ramer, Douglas and
    Peucker, then values at the corners by least squares. The sum of the residuals of such
    a fit is zero, so the integral over the whole log is that of the smoothed air.
    """
    numbers = tables.load("events")
    reach = numbers["corner_tolerance"] if tolerance_k is None else tolerance_k
    size = shortened(log, until_s)
    channels = log.by_role("air")
    if size < 2 or not channels:
        raise InputError("The log has no air probe, or too few samples; state the air instead.")
    time_s, air_c = log.time_s[:size], channels[0].temperature_c[:size]
    trusted = np.isfinite(air_c)
    for event in events:
        if event.channel == channels[0].name and event.kind in _UNREADABLE:
            trusted &= (time_s < event.time_s) | (time_s > event.end_s)
    if not trusted.any():
        raise InputError(
            "The air probe gave no reading that can be trusted; state the air instead."
        )
    grid = track(time_s, air_c, trusted, bin_step_s(time_s))
    times, values = grid.time_s, grid.value_c
    # Much shorter than the meat answers in.
    values = running_mean(values, int(0.5 * numbers["corner_smoothing"] / grid.step_s))
    if times.size == 1:
        times, values = np.array([0.0, time_s[-1]]), np.repeat(values, 2)
    times = np.concatenate(([0.0], times[1:-1], [time_s[-1]]))
    corners = _corners(times, values, reach)
    return times[corners], _fitted(times, values, corners, reach)


def clean_meat(
    log: ProbeLog,
    meat: int = 1,
    events: Iterable[Event] = (),
    until_s: float | None = None,
) -> TrustedSamples:
    """Samples of a meat probe that a fit may use, and the stretch each belongs to.

    Left out: readings before the meat went on and after it was pulled, unplugged
    stretches, faults, and a settling time after the probe went in or was moved or
    plugged in again.

    Parameters
    ----------
    meat : int
        Meat probe, counted from 1.
    events : iterable of Event
        Found, or edited by a person.
    until_s : float, optional
        Use nothing later. [s]
    """
    numbers = tables.load("events")
    settle = numbers["settling_time"]
    channel = log.meat(meat)
    time = log.time_s
    mask = np.isfinite(channel.temperature_c)
    mask[shortened(log, until_s) :] = False
    segment = np.zeros(time.size, dtype=np.int64)
    for event in events:
        if event.channel not in ("", channel.name):
            continue
        start, end = event.time_s, event.end_s
        if event.kind == "meat_on":
            mask &= time >= end + numbers["probe_settles"]
        elif event.kind == "pulled":
            mask &= time < start
        elif event.kind == "probe_moved":
            mask &= (time < start) | (time > end + settle)
            segment += time >= start
        elif event.kind in _UNREADABLE:
            mask &= (time < start) | (time > end)
    return TrustedSamples(mask, segment)


def _corners(time: Floats, value: Floats, reach: float) -> Integers:
    """Indices of Ramer, Douglas and Peucker: no point further than `reach` from the lines."""
    kept = {0, time.size - 1}
    waiting = [(0, time.size - 1)]
    while waiting:
        first, last = waiting.pop()
        if last - first < 2:
            continue
        share = (time[first + 1 : last] - time[first]) / (time[last] - time[first])
        line = value[first] + share * (value[last] - value[first])
        distance = np.abs(value[first + 1 : last] - line)
        worst = int(np.argmax(distance))
        if distance[worst] > reach:
            middle = first + 1 + worst
            kept.add(middle)
            waiting += [(first, middle), (middle, last)]
    return np.array(sorted(kept), dtype=np.int64)


def _fitted(time: Floats, value: Floats, corners: Integers, reach: float) -> Floats:
    """Values at the corners that fit the points best, close to the points themselves."""
    count = corners.size
    right = np.clip(np.searchsorted(time[corners], time, side="right"), 1, count - 1)
    left = right - 1
    width = time[corners[right]] - time[corners[left]]
    share = (time - time[corners[left]]) / width
    # Normal equations of hat functions: tridiagonal, solved by elimination.
    diagonal = np.bincount(left, (1.0 - share) ** 2, count) + np.bincount(
        right, share**2, count
    )
    off = np.bincount(left, share * (1.0 - share), count)[:-1]
    load = np.bincount(left, (1.0 - share) * value, count) + np.bincount(
        right, share * value, count
    )
    for i in range(1, count):
        factor = off[i - 1] / diagonal[i - 1]
        diagonal[i] -= factor * off[i - 1]
        load[i] -= factor * load[i - 1]
    out = np.empty(count)
    out[-1] = load[-1] / diagonal[-1]
    for i in range(count - 2, -1, -1):
        out[i] = (load[i] - off[i] * out[i + 1]) / diagonal[i]
    return np.asarray(np.clip(out, value[corners] - reach, value[corners] + reach))
