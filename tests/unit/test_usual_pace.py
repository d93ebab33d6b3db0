"""What is usual for a cut, beside the physics of a plan."""

from __future__ import annotations

import math

import numpy as np
import pytest

from coreward.experience.learned import agreeing, usual_pace, usual_thickness, usual_time
from coreward.experience.library import library_cooks

pytestmark = pytest.mark.quick


def test_half_of_the_cooks_of_a_cut_took_longer_than_is_usual_for_it() -> None:
    for cut in ("pork shoulder", "beef brisket whole", "turkey breast"):
        pace = usual_pace(cut)
        assert pace is not None
        cooks = [c for c in library_cooks() if c.cut == cut and c.finish_s and c.thickness_m]
        longer = [
            c.finish_s
            > math.exp(pace.pace.middle)
            * usual_time(c.cut, c.thickness_m, c.pit_set_c, c.target_c, c.start_c, wrap=c.wrap)
            for c in cooks
        ]
        assert abs(sum(longer) - len(longer) / 2) <= 1
        # The band that is told holds nine in ten of them, and is no wider than by a doubt.
        assert 0.1 < pace.pace.spread < 0.5


def test_a_cut_nobody_cooked_whole_and_a_piece_unlike_all_are_not_spoken_of() -> None:
    assert usual_pace("pork liver") is None
    pace = usual_pace("pork shoulder")
    assert pace is not None
    (thin, thick), (_, done) = pace.thickness_m, pace.target_c
    assert pace.covers(thick, done)
    assert not pace.covers(thick * 1.6, done)
    assert not pace.covers(thin / 1.6, done)
    assert not pace.covers(thick, done + 4.0)


def test_draws_and_what_is_usual_count_both() -> None:
    pace = usual_pace("pork shoulder")
    assert pace is not None
    usual = 40_000.0
    rng = np.random.default_rng(3)
    # Draws half again as slow as is usual, with the spread of what is usual.
    middle = usual * math.exp(pace.pace.middle) * 1.5
    draws = middle * np.exp(pace.pace.spread * rng.standard_normal(4000))
    weights = agreeing(pace.pace, usual, draws)
    assert weights.sum() == pytest.approx(1.0)
    log = np.log(draws / usual)
    mean = float(np.sum(weights * log))
    # Two normal laws of one spread meet half way, and are narrower by the root of two; the
    # tails of the one are a little heavier.
    assert mean - pace.pace.middle == pytest.approx(0.5 * math.log(1.5), abs=0.06)
    spread = math.sqrt(float(np.sum(weights * (log - mean) ** 2)))
    assert spread == pytest.approx(pace.pace.spread / math.sqrt(2.0), rel=0.12)


def test_a_draw_that_never_gets_there_counts_as_the_slowest() -> None:
    pace = usual_pace("pork shoulder")
    assert pace is not None
    draws = np.array([30_000.0] * 20 + [60_000.0] * 19 + [np.inf])
    weights = agreeing(pace.pace, 30_000.0, draws)
    assert weights[-1] == weights[20]
    assert np.all(agreeing(pace.pace, 1.0, np.full(5, np.inf)) == 0.2)


def test_a_usual_piece_is_thicker_the_more_it_weighs() -> None:
    sizes = [usual_thickness("pork shoulder", mass) for mass in (2.0, 4.0, 6.0)]
    assert None not in sizes
    assert sizes == sorted(sizes)
    assert usual_thickness("pork shoulder", None) is None
    assert usual_thickness("nothing known", 2.0) is None
