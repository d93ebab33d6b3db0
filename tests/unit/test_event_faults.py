"""Faults of a probe at the edges of what counts as one."""

from __future__ import annotations

import numpy as np
import pytest

from coreward import tables
from coreward.events.faults import find_faults
from coreward.logs.log import Channel

pytestmark = pytest.mark.quick

STEP = 30.0


def quiet(minutes: float, rise_k: float = 0.1) -> tuple[np.ndarray, np.ndarray]:
    """A noiseless reading that rises at each sample, then shows one number for a time."""
    before = 10.0 + rise_k * np.arange(80)
    still = np.full(round(minutes * 60.0 / STEP), before[-1])
    value = np.round(np.concatenate((before, still, before[-1] + 3.0 + before[:40])), 4)
    return STEP * np.arange(value.size), value


def stuck(time: np.ndarray, value: np.ndarray) -> list[tuple[float, float]]:
    faults = find_faults(time, Channel("flat", "meat", value), value.size)
    return [(one.time_s, one.end_s) for one in faults.events if "stuck" in str(one.why)]


def test_a_quiet_reading_is_stuck_once_it_should_long_have_moved() -> None:
    needed = tables.load("events")["stuck_quiet"] / 60.0
    assert stuck(*quiet(needed)) == []
    time, value = quiet(needed + 1.0)
    (found,) = stuck(time, value)
    # From the first of the equal numbers to the last.
    assert found == (79 * STEP, 79 * STEP + (needed + 1.0) * 60.0)
    faults = find_faults(time, Channel("flat", "meat", value), value.size)
    assert np.array_equal(faults.trusted, (time < found[0]) | (time > found[1]))
    (event,) = faults.events
    assert f"{value[79]:.1f} °C" in str(event.why)
    assert f"for {needed + 1.0:.0f} min" in str(event.why)


def test_since_when_the_last_reading_stands_still() -> None:
    value = np.array([1.0, 2.0, 3.0, np.nan, 3.0, 3.0])
    time = STEP * np.arange(6)
    assert find_faults(time, Channel("flat", "meat", value), 6).still_from_s == 2 * STEP
    assert find_faults(time, Channel("flat", "meat", value), 2).still_from_s == STEP
    silent = Channel("flat", "meat", np.full(6, np.nan))
    assert find_faults(time, silent, 6).still_from_s == np.inf


@pytest.mark.parametrize(("missing", "kind"), [(1, "sensor_fault"), (3, "probe_unplugged")])
def test_a_lone_missing_sample_is_a_fault_and_several_a_plug(missing: int, kind: str) -> None:
    value = 10.0 + 0.1 * np.arange(40)
    value[20 : 20 + missing] = np.nan
    (event,) = find_faults(STEP * np.arange(40), Channel("flat", "meat", value), 40).events
    assert (event.kind, event.time_s, event.end_s) == (
        kind,
        600.0,
        600.0 + (missing - 1) * STEP,
    )
    assert f"No reading for {missing} sample(s)." == event.why
    # Whether a lone one at the very end is one more of several is not known yet.
    last = find_faults(STEP * np.arange(40), Channel("flat", "meat", value), 21).events
    assert last == ()


def spikes(role: str, height_k: float, samples: int = 1, step_s: float = 30.0,
           back_k: float = 0.0) -> list[tuple[float, float, float]]:  # fmt: skip
    """Return what is found in a reading that stands still but for one excursion."""
    value = np.where(np.arange(60) < 10, 59.99, 60.0)  # a logger of hundredths
    value[30 : 30 + samples] += height_k
    value[30 + samples :] += back_k
    events = find_faults(step_s * np.arange(60), Channel("flat", role, value), 60).events
    return [
        (e.time_s / step_s, e.end_s / step_s, e.size)
        for e in events
        if "spike" in e.why.shown("C")
    ]


@pytest.mark.parametrize(
    ("ask", "found"),
    [
        # In meat from 1.5 K on, in air from 12 K on; that much itself is none yet.
        (("meat", 1.6), [(30.0, 30.0, 1.6)]),
        (("meat", 1.5), []),
        (("meat", -1.6), [(30.0, 30.0, -1.6)]),
        (("air", 12.1), [(30.0, 30.0, 12.1)]),
        (("air", 12.0), []),
        # Of three samples at the most.
        (("meat", 20.0, 3), [(30.0, 32.0, 20.0)]),
        (("meat", 20.0, 4), []),
        # The neighbours agree to less than 0.3 of its height: the smaller of the two sides.
        (("meat", 20.0, 1, 30.0, 4.6), [(30.0, 30.0, 15.4)]),
        (("meat", 20.0, 1, 30.0, 4.7), []),
        # Not longer than 21 min, neighbours included.
        (("meat", 20.0, 1, 630.0), [(30.0, 30.0, 20.0)]),
        (("meat", 20.0, 1, 631.0), []),
        # A low one in the air is a lid, unless that could not be opened and closed so fast.
        (("air", -20.0, 1, 75.0), [(30.0, 30.0, -20.0)]),
        (("air", -20.0, 1, 76.0), []),
        (("air", 20.0, 1, 76.0), [(30.0, 30.0, 20.0)]),
    ],
)  # fmt: skip
def test_a_spike_is_short_high_and_comes_back(ask, found) -> None:
    assert spikes(*ask) == [pytest.approx(one) for one in found]


def test_what_a_spike_says_and_leaves() -> None:
    value = np.where(np.arange(60) < 10, 59.99, 60.0)
    value[30:32] = 82.0
    faults = find_faults(30.0 * np.arange(60), Channel("flat", "meat", value), 60)
    (event,) = faults.events
    assert event.why.shown("C").startswith(
        "A spike: 22.0 K off both neighbours for 2 sample(s)"
    )
    assert np.flatnonzero(~faults.trusted).tolist() == [30, 31]
