"""What happened during a cook, found in its log."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from coreward.errors import InputError
from coreward.logs.log import ProbeLog
from coreward.questions import event_meat
from coreward.questions.event_air import (
    find_lids,
    find_slow_changes,
    lid_events,
)
from coreward.questions.event_cleaning import (
    TrustedSamples,
    air_without_events,
    clean_meat,
)
from coreward.questions.event_faults import find_faults
from coreward.questions.event_list import (
    KIND_WORDS,
    KINDS,
    Edit,
    Event,
    EventList,
    provisional_below,
)
from coreward.questions.event_response import core_of, find_wrap, stall_events
from coreward.questions.event_signals import Track, bin_step_s, shortened, track

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
    expected_c: Floats | None = None,
) -> tuple[Event, ...]:
    """Find what happened.

    Parameters
    ----------
    log : ProbeLog
    meat : int
        Meat probe, counted from 1.
    until_s : float, optional
        Pretend that the log ends here. [s]
    expected_c : ndarray, shape (samples,), optional
        What a model says the probe should have read; steps are looked for in the
        difference. [°C]

    Returns
    -------
    tuple of Event
        In order of time. Events with a confidence below `provisional_below` may still
        move or go when samples come; the others stay as they are.

    Raises
    ------
    InputError
        If there is no such meat probe, or `expected_c` does not fit the log.
    """
    channel = log.meat(meat)
    size = shortened(log, until_s)
    if size < 2:
        return ()
    if expected_c is not None and np.shape(expected_c) != log.time_s.shape:
        raise InputError(
            f"expected_c needs one value per sample ({log.time_s.size}); it has "
            f"{np.size(expected_c)}."
        )
    time_s = log.time_s[:size]
    step_s = bin_step_s(time_s)
    events: list[Event] = []
    air_channels = log.by_role("air")
    air: Track | None = None
    lids = []
    if air_channels:
        faults = find_faults(log.time_s, air_channels[0], size)
        events += faults.events
        air = track(time_s, air_channels[0].temperature_c[:size], faults.trusted, step_s)
        name = air_channels[0].name
        lids = find_lids(air)
        events += lid_events(air, lids, name)
        events += find_slow_changes(air, lids, name)
    faults = find_faults(log.time_s, channel, size)
    events += faults.events
    core = track(time_s, channel.temperature_c[:size], faults.trusted, step_s)
    model = None
    if expected_c is not None:
        model = _on_grid(core, time_s, np.asarray(expected_c, dtype=float)[:size])
    steps = event_meat.find_steps(core, model)
    story = event_meat.tell_steps(core, air, lids, steps, faults.still_from_s, channel.name)
    events += story.events
    if air is not None:
        reading = event_meat.joined(core, story.moves)
        cook = core_of(core, reading, air, story.first, story.last)
        events += stall_events(cook, channel.name)
        events += find_wrap(cook, lids, air, channel.name)
    return tuple(sorted(events, key=lambda event: (event.time_s, KINDS.index(event.kind))))


def _on_grid(core: Track, time_s: Floats, expected_c: Floats) -> Floats | None:
    """Model reading at the bins; None where the model says nothing."""
    known = np.isfinite(expected_c)
    if not known.any():
        return None
    return np.interp(core.time_s, time_s[known], expected_c[known])
