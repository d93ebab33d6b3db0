"""Where a reheating leaves the cold."""

from __future__ import annotations

import numpy as np
import pytest

from coreward.questions.verdict import verdict
from coreward.questions.verdict.reheating import _leaves_the_cold as leaves_the_cold
from coreward.words import shown


@pytest.mark.parametrize(
    ("coldest", "hottest", "error", "found"),
    [
        # Exactly at the limit of 5 °C is cold; the hottest part leaves it one reading before
        # the coldest, and was surely cold (half a kelvin below) one reading earlier still.
        ([4.0, 5.0, 5.0, 20.0, 60.0], [4.0, 5.0, 6.5, 20.0, 60.0], 0.5, (2, 1, 0)),
        # Exactly at limit and error is not yet warm: one stay in the cold, from the start.
        ([4.0, 5.5, 4.0, 20.0], [4.0, 5.5, 5.2, 20.0], 0.5, (2, 0, 0)),
        # A little above is: the stay begins anew behind it, and has no cold reading.
        ([4.0, 5.6, 4.0, 20.0], [4.0, 5.6, 5.2, 20.0], 0.5, (2, 2, 2)),
        # Back in the cold at the end: the rise before that is the last one.
        ([4.0, 20.0, 4.0], [4.0, 20.0, 4.0], 0.0, (0, 0, 0)),
        ([4.0, 20.0, 5.0, 30.0], [4.0, 20.0, 5.0, 30.0], 0.0, (2, 2, 2)),
        ([4.0, 5.0, 4.0], [4.0, 5.0, 4.0], 0.0, None),
        ([20.0, 40.0], [20.0, 40.0], 0.0, None),
    ],
)
def test_the_cold_is_left_at_its_very_limit(coldest, hottest, error, found) -> None:
    assert leaves_the_cold(np.array(coldest), np.array(hottest), 5.0, error) == found


def test_a_dwell_that_is_too_short_is_said_at_its_length() -> None:
    """Three readings five seconds apart at 74.5 °C, where 74 °C is asked for 15 s."""
    time = np.arange(0.0, 4000.0, 5.0)
    core = np.interp(time, [0.0, 600.0, 3600.0, 4000.0], [4.0, 4.0, 73.0, 73.5])
    core[-20:-17] = 74.5
    answer = verdict((time, core), meat="pork", reheating=True, probe_error_c=0.0)
    (item,) = (one for one in answer.limits if one.kind == "reheating")
    assert (item.state, item.held_s) == ("not met", 10.0)
    text = shown(item.text, "C")
    assert text.startswith("Highest reading 74.5 °C, held 10 s at 74 °C or above, ")
