"""Faults of one probe, sample by sample: unplugged, spikes, a stuck reading."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from coreward import tables
from coreward.events.listed import Event
from coreward.events.signals import MAD_TO_SIGMA, confidence, quantum_k, runs
from coreward.logs.log import Channel
from coreward.words import Difference, Lasting, Reading, say

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class Faults:
    """Faults of a channel, and the readings that are left."""

    events: tuple[Event, ...]
    """Kinds ``probe_unplugged`` and ``sensor_fault``."""
    trusted: Flags
    """True where there is a reading and no fault. Shape (samples,)."""
    still_from_s: float
    """Since when the last reading has not changed: it may turn out to be stuck. [s]"""


def find_faults(time_s: Floats, channel: Channel, size: int) -> Faults:
    """Find faults among the first `size` samples of a channel."""
    time, value = time_s[:size], channel.temperature_c[:size]
    trusted = np.isfinite(value)
    events = _unplugged(time, trusted, channel.name)
    known = np.flatnonzero(trusted)
    air = channel.role == "air"
    for first, last, height, ratio in _spikes(time[known], value[known], air):
        begin, end = known[first], known[last]
        trusted[begin : end + 1] = False
        events.append(
            Event(
                "sensor_fault",
                float(time[begin]),
                float(time[end]),
                height,
                "K",
                confidence(True, ratio),
                channel.name,
                say(
                    "A spike: {0} off both neighbours for {1} sample(s), faster than meat or "
                    "air can go and come back.",
                    Difference(float(abs(height)), 1),
                    int(end - begin + 1),
                ),
            )
        )
    known = np.flatnonzero(trusted)
    for first, last, ratio in _stuck(time[known], value[known]):
        begin, end = known[first], known[last]
        trusted[begin : end + 1] = False
        events.append(
            Event(
                "sensor_fault",
                float(time[begin]),
                float(time[end]),
                float("nan"),
                "",
                confidence(True, ratio),
                channel.name,
                say(
                    "A stuck reading: {0} without the least change for {1}, where it varied "
                    "before.",
                    Reading(float(value[begin])),
                    Lasting(float(time[end] - time[begin])),
                ),
            )
        )
    known = np.flatnonzero(trusted)
    still = float("inf")
    if known.size:
        other = np.flatnonzero(value[known] != value[known[-1]])
        still = float(time[known[other[-1] + 1 if other.size else 0]])
    return Faults(tuple(events), trusted, still)


def _unplugged(time: Floats, plugged: Flags, name: str) -> list[Event]:
    """Runs without a reading; a lone missing sample is a fault of the reading."""
    numbers = tables.load("events")
    found = []
    for first, last in runs(~plugged):
        if first == 0 and last == time.size - 1:
            continue
        begin, end = float(time[first]), float(time[last])
        count = last - first + 1
        lone = count < numbers["unplugged_samples"]
        if lone and last == time.size - 1:
            continue  # one more sample will tell
        found.append(
            Event(
                "sensor_fault" if lone else "probe_unplugged",
                begin,
                end,
                float("nan"),
                "",
                confidence(True, count),
                name,
                f"No reading for {count} sample(s).",
            )
        )
    return found


def _spikes(time: Floats, value: Floats, air: bool) -> list[tuple[int, int, float, float]]:
    """Short excursions whose two neighbours agree with each other."""
    numbers = tables.load("events")
    size = value.size
    found: list[tuple[int, int, float, float]] = []
    if size < 8:
        return found
    scale = _sample_noise(time, value)
    limit = np.maximum(
        numbers["spike_sigmas"] * scale,
        numbers["spike_smallest_air" if air else "spike_smallest_meat"],
    )
    taken = np.zeros(size, dtype=bool)
    for length in range(1, int(numbers["spike_samples"]) + 1):
        if size < length + 2:
            break
        before, after = value[: -length - 1], value[length + 1 :]
        rise = value[1:-length] - before
        fall = value[length : size - 1] - after
        height = np.sign(rise) * np.minimum(np.abs(rise), np.abs(fall))
        wide = time[length + 1 :] - time[: -length - 1]
        away = np.abs(height)
        inside = np.full(height.size, True)
        for k in range(1, length + 1):
            off = value[k : size - 1 - length + k] - 0.5 * (before + after)
            inside &= np.sign(height) * off > 0.5 * away
        good = (
            (np.sign(rise) == np.sign(fall))
            & (away > limit[1:-length])
            & (np.abs(after - before) < numbers["spike_agreement"] * away)
            & (wide <= numbers["spike_longest"])
            & inside
        )
        if air:
            # With samples further apart than a lid stays open, a lone low one is a lid.
            good &= (height > 0.0) | (wide <= numbers["spike_longest_low_air"])
        for start in np.flatnonzero(good):
            first, last = int(start) + 1, int(start) + length
            if not taken[max(first - 1, 0) : last + 2].any():
                taken[first : last + 1] = True
                ratio = float(away[start] / limit[start + 1])
                found.append((first, last, float(height[start]), ratio))
    return sorted(found)


def _sample_noise(time: Floats, value: Floats) -> Floats:
    """Robust standard deviation of a sample, from the samples before it."""
    numbers = tables.load("events")
    bend = np.abs(np.diff(value, 2)) / np.sqrt(6.0)
    quantum = quantum_k(value) / np.sqrt(12.0)
    out = np.full(value.size, max(quantum, numbers["noise_smallest"]))
    interval = float(np.median(np.diff(time[: int(numbers["interval_samples"])])))
    block = max(int(numbers["spike_block"]), int(numbers["noise_renewed"] / interval))
    window = 4 * block
    # The first block has nothing before it and is judged by itself.
    for first in range(0, value.size, block):
        stop = max(first, min(block, value.size)) - 2
        part = bend[max(stop - window, 0) : stop]
        if part.size >= 4:
            typical = MAD_TO_SIGMA * float(np.median(part))
            out[first : first + block] = max(typical, out[first])
    return out


def _stuck(time: Floats, value: Floats) -> list[tuple[int, int, float]]:
    """Runs of one number far longer than chance, given how it varied before.

    If a share p of neighbouring samples agreed before, a run of n has the probability
    p to the power n. The change that the slope before would have brought must exceed
    the step of the display as well, unless noise alone should have shown.
    """
    numbers = tables.load("events")
    found: list[tuple[int, int, float]] = []
    if value.size < 8:
        return found
    same = np.diff(value) == 0.0
    quantum = quantum_k(value)
    for first, last in runs(same):
        stop = last + 1
        lasted = time[stop] - time[first]
        if lasted < numbers["stuck_shortest"]:
            continue
        begin = int(np.searchsorted(time, time[first] - numbers["stuck_window"]))
        before = same[begin:first]
        if before.size < numbers["stuck_samples"]:
            continue
        agreed = (float(before.sum()) + 1.0) / (before.size + 2.0)
        evidence = (stop - first) * -float(np.log(agreed))
        if evidence < numbers["stuck_evidence"]:
            continue
        past, when = value[begin:first], time[begin:first]
        bend = np.abs(np.diff(past, 2)) / np.sqrt(6.0)
        noise = MAD_TO_SIGMA * float(np.median(bend)) if bend.size else 0.0
        expected = 0.5 * abs(_slope(when, past)) * lasted
        moved = expected > numbers["stuck_steps"] * quantum and lasted > numbers["stuck_quiet"]
        if noise < 0.5 * quantum and not moved:
            continue
        found.append((first, stop, evidence / numbers["stuck_evidence"]))
    return found


def _slope(time: Floats, value: Floats) -> float:
    x = time - time.mean()
    return float(np.dot(x, value) / np.dot(x, x))
