"""Smoothing of a channel on the grid."""

from __future__ import annotations

import numpy as np
import pytest

from coreward import tables
from coreward.events.signals import bin_step_s, running_mean

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
