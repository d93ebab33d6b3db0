"""What happened during a cook, found in its log."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from coreward.events.air import Lid, find_lids, find_slow_changes, lid_events
from coreward.events.cleaning import (
    TrustedSamples,
    air_without_events,
    clean_meat,
)
from coreward.events.drift import find_drift
from coreward.events.faults import find_faults
from coreward.events.listed import (
    KIND_WORDS,
    KINDS,
    Edit,
    Event,
    EventList,
    provisional_below,
)
from coreward.events.meat import (
    ProbeStory,
    find_steps,
    joined,
    tell_steps,
    unseen_opening,
)
from coreward.events.response import (
    core_of,
    find_taken_off,
    find_wrap,
    until,
)
from coreward.events.signals import Track, bin_step_s, shortened, track
from coreward.events.stalls import stall_events
from coreward.logs.log import Channel, ProbeLog

Floats = NDArray[np.float64]

__all__ = [
    "KINDS",
    "KIND_WORDS",
    "Edit",
    "Event",
    "EventList",
    "TrustedSamples",
    "air_without_events",
    "clean_meat",
    "find_events",
    "provisional_below",
]


def find_events(
    log: ProbeLog,
    meat: int = 1,
    until_s: float | None = None,
) -> tuple[Event, ...]:
    """Find what happened.

    Parameters
    ----------
    meat : int
        Meat probe, counted from 1.
    until_s : float, optional
        Pretend that the log ends here. [s]

    Returns
    -------
    tuple of Event
        In order of time. Events with a confidence below `provisional_below` may still
        move or go when samples come; the others stay as they are.

    Raises
    ------
    InputError
        If there is no such meat probe.
    """
    channel = log.meat(meat)
    size = shortened(log, until_s)
    if size < 2:
        return ()
    air, lids, events = _of_the_fire(log, size)
    events += _of_the_probe(log, channel, size, air, lids, events)
    events = _without_preheating(events)
    return tuple(sorted(events, key=lambda event: (event.time_s, KINDS.index(event.kind))))


def _without_preheating(events: list[Event]) -> list[Event]:
    """Take back an opening before the first sample if the meat only went on later.

    The air of a pit just lit rises as that of a pit just closed does. Which it was is open
    until it is known when the meat went on.
    """
    on = [event for event in events if event.kind == "meat_on"]
    kept = []
    for event in events:
        if on and event.kind == "lid_opened" and event.time_s == 0.0:
            if on[0].time_s > 0.0:
                continue
            if on[0].provisional:
                event = replace(event, confidence=on[0].confidence)
        kept.append(event)
    return kept


def _of_the_fire(log: ProbeLog, size: int) -> tuple[Track | None, list[Lid], list[Event]]:
    """Air on the grid, openings, and the events of the air probe; None without readings."""
    channels = log.by_role("air")
    if not channels:
        return None, [], []
    channel = channels[0]
    faults = find_faults(log.time_s, channel, size)
    events = list(faults.events)
    if not faults.trusted.any():
        return None, [], events
    time_s = log.time_s[:size]
    reading_c = channel.temperature_c[:size]
    air = track(time_s, reading_c, faults.trusted, bin_step_s(time_s))
    lids = find_lids(air)
    events += lid_events(air, lids, channel.name)
    events += find_slow_changes(air, lids, channel.name)
    return air, lids, events


@dataclass(frozen=True, eq=False)
class _Probe:
    """One meat probe on the grid, with its faults and its jumps."""

    name: str
    meat: Track
    story: ProbeStory
    faults: tuple[Event, ...]


def _probe(
    log: ProbeLog,
    channel: Channel,
    size: int,
    air: Track | None,
    lids: list[Lid],
) -> _Probe | None:
    """Read one meat probe; None without readings."""
    faults = find_faults(log.time_s, channel, size)
    if not faults.trusted.any():
        return None
    time_s, name = log.time_s[:size], channel.name
    meat = track(time_s, channel.temperature_c[:size], faults.trusted, bin_step_s(time_s))
    steps = find_steps(meat)
    story = tell_steps(meat, air, lids, steps, faults.still_from_s, name)
    return _Probe(name, meat, story, faults.events)


def _of_the_probe(
    log: ProbeLog,
    channel: Channel,
    size: int,
    air: Track | None,
    lids: list[Lid],
    fire: list[Event],
) -> list[Event]:
    """Events of one meat probe, given those of the fire."""
    probe = _probe(log, channel, size, air, lids)
    if probe is None:
        return list(find_faults(log.time_s, channel, size).events)
    meat, story, name = probe.meat, probe.story, probe.name
    events = [*probe.faults, *story.events]
    if air is None:
        return events
    on = story.events[0]
    unseen = unseen_opening(on, air, lids, name) if story.put_in else None
    if unseen is not None:
        events.append(unseen)
    core = core_of(meat, joined(meat, story.moves), air, story.first, story.last)
    whole = core
    pulled = [event for event in story.events if event.kind == "pulled"]
    out = any(not event.provisional for event in pulled)
    if not pulled:
        pulled, last = find_taken_off(core, lids, air, name)
        events += pulled
        core = until(core, last)
    off = any(not event.provisional for event in pulled)
    events += stall_events(core, name, off)
    # Meat off the fire with its probe in is known late: a wrap once settled must not rest
    # on whether it is known already, so the course stays whole, and only openings count.
    before = [lid for lid in lids if air.time_s[lid.first] <= core.time_s[-1]]
    events += find_wrap(whole, before, air, name, [*fire, *story.events], out)
    if not story.moves:
        last = int(np.searchsorted(meat.time_s, core.time_s[-1]))
        events += _drift(log, channel, size, air, lids, probe, last)
    return events


def _drift(
    log: ProbeLog,
    channel: Channel,
    size: int,
    air: Track,
    lids: list[Lid],
    probe: _Probe,
    last: int,
) -> list[Event]:
    """Compare with the other meat probes that stayed where they were."""
    first = probe.story.first
    others = []
    for other_channel in log.meats:
        other = None
        if other_channel is not channel:
            other = _probe(log, other_channel, size, air, lids)
        if other is not None and not other.story.moves:
            first = max(first, other.story.first)
            last = min(last, other.story.last)
            others.append((other.name, other.meat))
    return find_drift(probe.meat, others, air, first, last, probe.name) if others else []
