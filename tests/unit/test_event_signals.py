"""Smoothing of a channel on the grid."""

from __future__ import annotations

import numpy as np
import pytest

from coreward.events.signals import running_mean

pytestmark = pytest.mark.quick


def test_a_mean_over_the_same_on_both_sides_keeps_a_line_and_takes_off_noise():
    line = np.linspace(3.0, 9.0, 60)
    assert running_mean(line, 10) == pytest.approx(line)
    noise = np.random.default_rng(1).normal(size=2000)
    # The mean of 21 independent values, to the scatter of 95 of those.
    smooth = running_mean(noise, 10)[10:-10]
    assert np.std(smooth) == pytest.approx(21**-0.5, rel=0.3)
