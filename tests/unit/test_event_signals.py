"""Smoothing of a channel on the grid."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.signal import savgol_filter

from coreward.questions.event_signals import by_parabolas, running_mean


@pytest.mark.parametrize(("size", "bins"), [(300, 41), (60, 75), (7, 75), (6, 75), (5, 75)])
def test_parabolas_are_those_of_savitzky_and_golay(size, bins):
    """SciPy's filter of the same width, ends included, to rounding."""
    value = np.random.default_rng(1).normal(size=size).cumsum()
    width = min(bins, size - 1 + size % 2)
    expected = savgol_filter(value, width, 2)
    assert by_parabolas(value, bins) == pytest.approx(expected, abs=1e-10)


def test_a_bend_is_kept_that_a_mean_flattens():
    bend = (np.arange(200.0) - 80.0) ** 2 / 100.0
    assert by_parabolas(bend, 61) == pytest.approx(bend, abs=1e-9)
    assert np.abs(running_mean(bend, 30) - bend).max() > 2.0


@pytest.mark.parametrize("size", [1, 2, 3, 4])
def test_too_short_to_smooth_is_left_alone(size):
    value = np.arange(float(size)) ** 3
    assert by_parabolas(value, 41) == pytest.approx(value)
