"""What a pit is taken to do from now on, from air written down."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from coreward import tables
from coreward.questions.forecast.pit_outlook import (
    PitOutlook,
    _upper_level,
    pit_outlook,
    pit_paths,
)

pytestmark = pytest.mark.quick

MODEL = tables.load("forecast", "model")
HOUR = 3600.0


def outlook(*spells: tuple[float, float], step_s: float = 60.0) -> PitOutlook:
    """Judge a pit that stood at each temperature for so many minutes."""
    air = np.concatenate([np.full(round(60.0 * m / step_s), c) for m, c in spells])
    time = step_s * np.arange(1, air.size + 1)
    past = SimpleNamespace(air_time_s=time, air_c=air, duration_s=float(time[-1]))
    return pit_outlook(SimpleNamespace(past=past))


def cost(samples: int, step_s: float = 60.0, lost: float = 0.0) -> float:
    """What lids cost in the mean: as if three hours of the table's had been seen before."""
    before = 3.0 * HOUR / step_s
    return MODEL["pit_cost_share"] * (lost + before * MODEL["pit_cost"]) / (samples + before)


def test_a_steady_pit_stays_where_it_is_but_for_its_lids() -> None:
    """Of five hours one sample in five minutes is counted: the last sixty."""
    found = outlook((400.0, 110.0))
    assert found.level_c == pytest.approx(110.0 - cost(60))
    assert (found.wander, found.level_doubt) == (0.5, MODEL["pit_doubt"])
    assert found.now_off == pytest.approx(cost(60))


@pytest.mark.parametrize(
    ("minutes", "level_c"), [(20.0, 112.3), (22.0, 130.0), (60.0, 130.0), (90.0, 130.0)]
)
def test_a_hotter_pit_counts_from_half_of_forty_minutes_on(minutes, level_c) -> None:
    found = outlook((300.0, 110.0), (minutes, 130.0))
    assert found.level_c == pytest.approx(level_c, abs=2.0)
    # Where it is now: the middle of the last quarter of an hour.
    assert found.level_c + found.now_off == pytest.approx(130.0, abs=0.5)


@pytest.mark.parametrize(("minutes", "level_c"), [(10.0, 110.0), (28.0, 110.0), (42.0, 92.0)])
def test_a_fall_counts_once_it_has_lasted(minutes: float, level_c: float) -> None:
    """Until then somebody will mend it."""
    found = outlook((300.0, 110.0), (minutes, 92.0))
    assert found.level_c == pytest.approx(level_c, abs=2.5)


def test_a_pit_that_moved_before_is_doubted_more() -> None:
    """By three tenths of how far it moved between two and a half hours, up to 10 K of it."""
    for moved, counted in ((4.0, 4.0), (15.0, 10.0)):
        found = outlook((150.0, 110.0 - moved), (150.0, 110.0))
        assert found.level_doubt == pytest.approx(
            np.hypot(MODEL["pit_doubt"], 0.3 * counted), rel=1e-3
        )


def test_what_lids_cost_is_learnt() -> None:
    """Four of the last sixty samples, a quarter of an hour ago, lie 30 K below the level."""
    found = outlook((400.0, 110.0), (4.0, 80.0), (20.0, 110.0))
    # What lies within 2.5 times its wander, 0.5 K, is no loss.
    assert found.level_c == pytest.approx(110.0 - cost(60, lost=4.0 * 28.75), abs=1e-6)


def test_the_level_of_a_pit_leaves_out_what_lies_far_below() -> None:
    level, wander = _upper_level(np.array([110.0] * 9 + [109.0, 111.0, 80.0]), 1.0)
    assert level == 110.0
    assert wander == 0.5
    assert _upper_level(np.array([110.0, 104.0] * 5), 1.0)[0] == 107.0
    assert _upper_level(np.array([110.0, 104.0] * 5), 1.0)[1] == 3.0


def test_paths_of_a_pit_begin_where_it_is_and_end_at_its_level() -> None:
    """Six hours, a node each half hour; the scatter about the level is the wander."""
    rng = np.random.default_rng(3)
    times, paths = pit_paths(PitOutlook(110.0, 0.0, 4.0, -6.0), 4000, rng)
    assert times.tolist() == [1800.0 * n for n in range(13)]
    assert (paths[:, 0] == -6.0).all()
    assert (paths[:, -1] == 0.0).all()
    keep = np.exp(-1800.0 / MODEL["pit_time"])
    # Means and scatters of 4000 draws: to a tenth of the wander.
    assert paths[:, 2].mean() == pytest.approx(-6.0 * keep**2, abs=0.4)
    assert paths[:, 11].std() == pytest.approx(4.0, abs=0.4)
    # The doubt about the level shifts whole paths, by no more than 30 K.
    _, doubted = pit_paths(PitOutlook(110.0, 20.0, 0.0, 0.0), 400, rng)
    assert np.abs(doubted).max() == 30.0
    assert np.ptp(doubted, axis=1) == pytest.approx(0.0, abs=1e-12)
