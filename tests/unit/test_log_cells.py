"""A jump between two units stands between calm readings, up or down."""

from __future__ import annotations

import numpy as np
import pytest

from coreward import tables
from coreward.logs.cells import _calm_around as calm_around

LIMITS = tables.load("log_reading")
CALM = LIMITS["unit_jump_calm"]
ROWS = int(LIMITS["unit_jump_rows"])


@pytest.mark.parametrize("role", ["air", "meat"])
@pytest.mark.parametrize(
    ("before", "calm"),
    [(0.0, True), (CALM, True), (-CALM, True), (CALM + 1.0, False), (-CALM - 1.0, False)],
)
def test_the_reading_before_a_jump_is_calm_either_way(role, before, calm) -> None:
    """From 60 to 140, and as far before it as is calm, or a kelvin more."""
    values = np.array([60.0 - before, 60.0, *[140.0] * (ROWS + 1)])
    assert calm_around(values, 1, role, LIMITS) is calm
    assert calm_around(values[1:], 0, role, LIMITS) is True


def test_the_air_stays_at_the_new_level_and_meat_may_come_back() -> None:
    back = np.array([60.0, 60.0, 140.0, 60.0, 60.0, 60.0, 60.0, 60.0])
    assert calm_around(back, 1, "meat", LIMITS)
    assert not calm_around(back, 1, "air", LIMITS)
    assert not calm_around(np.array([60.0, 60.0, 140.0, 100.0]), 1, "meat", LIMITS)
    assert calm_around(np.array([60.0, 60.0, 140.0]), 1, "meat", LIMITS)
    short = np.array([60.0, 60.0, *[140.0] * ROWS])
    assert not calm_around(short, 1, "air", LIMITS)
