"""Smoothing of a channel on the grid."""

from __future__ import annotations

import numpy as np
import pytest

from coreward import tables
from coreward.events.drift import find_drift
from coreward.events.signals import (
    Track,
    bin_step_s,
    confidence,
    median,
    quantum_k,
    running_mean,
    runs,
    shortened,
    track,
)
from coreward.logs.log import Channel, ProbeLog

pytestmark = pytest.mark.quick


def test_a_mean_over_the_same_on_both_sides_keeps_a_line_and_takes_off_noise():
    line = np.linspace(3.0, 9.0, 60)
    assert running_mean(line, 10) == pytest.approx(line)
    noise = np.random.default_rng(1).normal(size=2000)
    # The mean of 21 independent values, to the scatter of 95 of those.
    smooth = running_mean(noise, 10)[10:-10]
    assert np.std(smooth) == pytest.approx(21**-0.5, rel=0.3)


def test_a_bin_is_as_wide_as_the_table_says_or_as_the_samples_lie_apart():
    width = tables.load("events")["bin_width"]
    assert bin_step_s(np.array([0.0])) == width
    assert bin_step_s(10.0 * np.arange(5.0)) == width
    assert bin_step_s(np.array([0.0, 300.0])) == 300.0
    # The middle of the intervals, to the second: one gap among them changes nothing.
    assert bin_step_s(np.array([0.0, 60.2, 120.4, 9000.0])) == 60.0


def test_a_bin_is_the_median_of_its_readings_at_their_mean_time():
    # The first bin from half a bin before to half a bin after its middle.
    time = np.array([0.0, 10.0, 14.9, 15.0, 30.0, 40.0, 44.9, 100.0])
    value = np.array([1.0, 5.0, 9.0, 20.0, 22.0, 23.0, np.nan, 40.0])
    found = track(time, value, np.array([True] * 5 + [False] + [True] * 2), 30.0)
    assert found.value_c.tolist() == [5.0, 21.0, 30.5, 40.0]
    assert found.time_s == pytest.approx([24.9 / 3.0, 22.5, 60.0, 100.0])
    assert found.known.tolist() == [True, True, False, True]
    assert (found.noise_k == 0.03).all()


def test_the_noise_of_a_bin_is_that_of_two_hours_before_it():
    """To and fro by 1 K the second difference is 4 K; it has six times the variance."""
    value = np.where(np.arange(400) < 100, 60.0 + (-1.0) ** np.arange(400), 60.0)
    found = track(30.0 * np.arange(400), value, np.full(400, True), 30.0)
    noisy = 1.4826 * 4.0 / 6.0**0.5
    # Of the first ten minutes nothing is known; then 240 bins back, the middle of them.
    assert found.noise_k[0] == 0.03
    assert found.noise_k[20] == found.noise_k[120] == pytest.approx(noisy, rel=1e-3)
    assert found.noise_k[199] == pytest.approx(noisy, rel=1e-3)
    assert found.noise_k[220] == found.noise_k[399] == 0.03


def test_small_measures_of_a_signal():
    assert (median(np.array([3.0, 1.0, 2.0])), median(np.array([4.0, 1.0, 3.0, 2.0]))) == (
        2.0,
        2.5,
    )
    assert quantum_k(np.array([1.0, 1.5, np.nan, 1.75, 1.75])) == 0.25
    assert quantum_k(np.array([1.0, 1.0])) == 0.0
    assert list(runs(np.array([True, False, True, True]))) == [(0, 0), (2, 3)]
    assert list(runs(np.array([False]))) == []
    log = ProbeLog(np.arange(0.0, 600.0, 60.0), None, (Channel("a", "meat", np.arange(10.0)),))
    assert [shortened(log, at) for at in (None, -1.0, 0.0, 59.9, 60.0, 1e9)] == [
        10,
        0,
        1,
        1,
        2,
        10,
    ]


@pytest.mark.parametrize(
    ("settled", "ratio", "sure"),
    [
        (False, 9.0, 0.4),
        (True, 1.0, 0.5),
        (True, 0.2, 0.5),
        # Between 0.5 and 0.95, nearer by a factor e for each limit passed.
        (True, 2.0, 0.95 - 0.45 / np.e),
        (True, 1e9, 0.95),
    ],
)
def test_a_confidence_ranks_by_how_far_a_limit_is_passed(settled, ratio, sure):
    assert confidence(settled, ratio) == pytest.approx(sure)


# -- two probes in one place ---------------------------------------------------------------


def plain(value: np.ndarray) -> Track:
    """Return a minute grid of just these values."""
    full = np.full(value.size, True)
    return Track(60.0, 60.0 * np.arange(value.size), value, full, np.full(value.size, 0.05))


def drifting(*, off_k: float = 3.0, over_min: float = 120.0, apart_k: float = 0.0,
             others: int = 1, hours: float = 9.0, other_way: bool = False):  # fmt: skip
    """Return what is found of a probe that drifts from five hours on, settled after one."""
    time = np.arange(0.0, hours * 60.0)
    core = 5.0 + 70.0 * (1.0 - np.exp(-time / 300.0))
    leaves = np.clip((time - 300.0) / max(over_min, 1e-9), 0.0, 1.0)
    mine = core + off_k * leaves
    air = np.full(time.size, 110.0)
    swing = apart_k * np.where(time % 2 < 1, 1.0, -1.0)
    rest = [plain(core + swing) for _ in range(others)]
    if other_way:
        rest.append(plain(core + 2.0 * off_k * leaves))
    named = [(f"p{number}", one) for number, one in enumerate(rest)]
    return find_drift(plain(mine), named, plain(air), 0, time.size - 1, "flat")


def test_a_drift_is_told_with_its_size_and_from_whom_it_leaves():
    (event,) = drifting()
    assert (event.kind, event.size) == ("sensor_fault", pytest.approx(3.0, abs=0.01))
    # A quarter of what counts, 2 K, is gone 20 min after it began.
    assert event.time_s == pytest.approx(320.0 * 60.0, abs=300.0)
    assert event.end_s == 539.0 * 60.0
    assert event.why.shown("C") == (
        "It left 'p0', with which it had agreed for hours, by +3.0 K: one of the two drifts."
    )
    (both,) = drifting(others=2, off_k=-3.0)
    assert both.why.shown("C") == (
        "It left 'p0', 'p1', with which it had agreed for hours, by -3.0 K: it drifts."
    )


@pytest.mark.parametrize(
    ("ask", "found"),
    [
        ({"off_k": 2.1}, 1),
        ({"off_k": 1.95}, 0),
        # At once, or within half an hour: a probe was moved.
        ({"over_min": 0.0}, 0),
        ({"over_min": 20.0}, 0),
        # It must stay away for an hour after two kelvin are reached, at 380 min.
        ({"hours": 7.2}, 0),
        ({"hours": 7.6}, 1),
        # Three hours of settling and of learning are needed first.
        ({"hours": 3.0}, 0),
        # One that leaves as well, and further, is left the other way.
        ({"other_way": True}, 0),
    ],
)
def test_a_drift_is_slow_large_lasting_and_from_all(ask, found: int):
    assert len(drifting(**ask)) == found
