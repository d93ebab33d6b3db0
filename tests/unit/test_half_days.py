"""A clock of twelve hours beside dates: from which row the two do not fit."""

from __future__ import annotations

import numpy as np
import pytest

from coreward.logs.half_days import _offset as offset
from coreward.logs.parts import LogReadError, Reading

HOUR, DAY = 3600.0, 86400.0


def dated(dates: np.ndarray) -> np.ndarray:
    """Times as written: a date, and a clock that begins at 0:00."""
    return dates * DAY + np.where(np.arange(dates.size) == 0, 0.0, 3.0 * HOUR)


def test_the_half_that_fits_every_date_is_taken() -> None:
    time = HOUR * np.arange(60.0)
    numbers = np.arange(2, 62)
    assert offset(dated(np.floor(time / DAY)), time, numbers, Reading("log.csv", None)) == 0.0
    after = np.floor((time + 12 * HOUR) / DAY)
    assert offset(dated(after), time, numbers, Reading("log.csv", None)) == 12 * HOUR


def test_the_row_is_named_up_to_which_the_better_half_fits() -> None:
    """In the morning the dates fit for 50 h, in the afternoon for the first 12 h only."""
    time = HOUR * np.arange(60.0)
    dates = np.floor(time / DAY)
    dates[50:] += 1.0
    with pytest.raises(LogReadError) as refused:
        offset(dated(dates), time, np.arange(2, 62), Reading("log.csv", None))
    assert refused.value.row == 52
    assert "does not fit the dates" in str(refused.value)
