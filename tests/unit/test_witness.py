"""The second witness: what past cooks say, without any physics."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coreward.errors import InputError
from coreward.experience.library import library_cooks
from coreward.experience.past_cook import PastCook
from coreward.experience.witness import (
    Knobs,
    Seen,
    ask_witness,
    library_shelf,
    shelve,
    stood_s,
)

HOUR = 3600.0


def made(
    pace: float = 1.0,
    *,
    target: float = 60.0,
    name: str = "made",
    structure: str = "",
    origin: str = "library",
    pit: str = "kettle",
) -> PastCook:
    """Make a cook that rises evenly from 5 °C by so many times 10 K in an hour."""
    time = np.arange(0.0, 8 * HOUR / pace, 300.0)
    core = 5.0 + 10.0 * pace * time / HOUR
    finish = (target - 5.0) / (10.0 * pace) * HOUR
    kept = time <= finish + 900.0
    return PastCook(
        name=name,
        origin=origin,  # type: ignore[arg-type]
        cut="pork loin",
        time_s=time[kept],
        air_c=np.full(kept.sum(), 120.0),
        core_c=core[kept],
        target_c=target,
        finish_s=finish,
        thickness_m=0.08,
        mass_kg=2.0,
        start_c=5.0,
        pit=pit,
        pit_set_c=120.0,
        structure=structure,
    )


def seen_at(cook: PastCook, now_s: float, **changes: object) -> Seen:
    known = cook.time_s <= now_s
    seen = Seen(
        cook.time_s[known],
        cook.air_c[known],
        cook.core_c[known],
        cook.target_c,
        cook.start_c,
        cook.thickness_m,
        cook.mass_kg,
        cook.wrap_s if cook.wrap_s is not None and cook.wrap_s <= now_s else None,
    )
    return replace(seen, **changes)  # type: ignore[arg-type]


@lru_cache(maxsize=1)
def even_shelf():
    return shelve([made(p, name=f"{p:g}") for p in np.linspace(0.6, 1.6, 21)])


def test_the_library_is_whole_and_knows_its_makings() -> None:
    cooks = library_cooks()
    assert len(cooks) == 600
    assert {cook.structure for cook in cooks} == {
        "two_lumps",
        "dry_front",
        "enthalpy_peaks",
        "plateau_curve",
        "lagged_compartments",
        "shrinking_block",
    }
    assert library_cooks() is cooks  # read once
    first = cooks[0]
    assert first.cut == "beef brisket whole"
    assert (first.wrap, first.wrap_s, first.finish_s) == ("foil", 32700.0, 44700.0)
    assert (first.thickness_m, first.target_c, first.start_c) == (0.08, 92.0, 2.4)
    # Missing readings are not numbers, and nothing else is.
    assert any(np.isnan(cook.core_c).any() for cook in cooks)
    assert max(np.nanmax(cook.core_c) for cook in cooks) < 110.0


def test_even_cooks_are_foretold_to_the_minute() -> None:
    """Time left is what is to go over the rate: the straight lines must find that."""
    cook = made(1.13)
    told = ask_witness(seen_at(cook, 2 * HOUR), even_shelf())
    left = cook.finish_s - 2 * HOUR
    assert told.quantile_s(50) == pytest.approx(left, rel=0.05)
    assert told.quantile_s(5) <= told.quantile_s(50) <= told.quantile_s(95)
    assert told.quantile_s(95) - told.quantile_s(5) < 0.5 * left


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 599), st.floats(0.15, 0.95))
def test_weights_add_up_and_no_time_is_negative(number: int, share: float) -> None:
    cook = library_cooks()[number]
    end = cook.finish_s or float(cook.time_s[-1])
    now = max(share * end, 900.0)
    seen = seen_at(cook, now)
    if np.isfinite(seen.core_c).sum() < 2 or np.nanmax(seen.core_c) >= cook.target_c:
        return
    told = ask_witness(seen, library_shelf(), left_out=cook.structure)
    assert told.weight.sum() == pytest.approx(1.0)
    assert (told.weight >= 0.0).all()
    assert (told.left_s > 0.0).all()
    assert np.isfinite(told.left_s).all()
    # Of the making that is left out nobody is asked.
    makings = np.array([c.structure for c in told.cooks])[told.cook]
    assert cook.structure not in makings


@pytest.mark.parametrize("number", [0, 37, 111, 260])
def test_the_very_same_cook_as_an_own_one_narrows(number: int) -> None:
    cook = library_cooks()[number]
    assert cook.finish_s is not None
    now = 0.6 * cook.finish_s
    seen = seen_at(cook, now, pit="mine")
    own = shelve([replace(cook, origin="own", structure="", pit="mine")])
    before = ask_witness(seen, library_shelf(), left_out=cook.structure)
    after = ask_witness(seen, library_shelf(), own, left_out=cook.structure)
    spans = [told.quantile_s(90) - told.quantile_s(10) for told in (before, after)]
    assert spans[1] < spans[0]
    left = cook.finish_s - now
    misses = [abs(math.log(told.quantile_s(50) / left)) for told in (before, after)]
    assert misses[1] <= misses[0] + 0.02
    assert before.own_share == 0.0
    assert after.own_share > 0.1


def test_own_cooks_weigh_more_and_in_the_same_pit_more_still() -> None:
    cook = made(1.0)
    own = shelve([made(0.8, name="own", origin="own", pit="barrel")])
    seen = seen_at(cook, 2 * HOUR)
    shares = [
        ask_witness(replace(seen, pit=pit), even_shelf(), own, knobs=knobs).own_share
        for pit, knobs in (("", Knobs(own=1.0)), ("", Knobs()), ("barrel", Knobs()))
    ]
    assert shares[0] < shares[1] < shares[2]


def test_another_target_is_reckoned_from_the_curves() -> None:
    cook = made(1.0)
    sooner = ask_witness(seen_at(cook, 2 * HOUR, target_c=40.0), even_shelf())
    later = ask_witness(seen_at(cook, 2 * HOUR, target_c=64.0), even_shelf())
    # 25 °C now, 10 K in an hour.
    assert sooner.quantile_s(50) == pytest.approx(1.5 * HOUR, rel=0.1)
    assert later.quantile_s(50) == pytest.approx(3.9 * HOUR, rel=0.1)


def test_where_nobody_ever_was_it_says_so() -> None:
    with pytest.raises(InputError, match="No past cook was ever"):
        ask_witness(seen_at(made(1.0), 2 * HOUR, target_c=108.0), even_shelf())
    with pytest.raises(InputError, match="at least one"):
        shelve([])


def test_a_hotter_pit_from_now_on_brings_it_forward() -> None:
    cook = library_cooks()[1]
    assert cook.finish_s is not None
    seen = seen_at(cook, 0.5 * cook.finish_s)
    told = [
        ask_witness(replace(seen, air_change_k=by), library_shelf()).quantile_s(50)
        for by in (-10.0, 0.0, 10.0)
    ]
    assert told[2] < told[1] < told[0]


def test_a_standstill_is_counted() -> None:
    time = np.arange(0.0, 5 * HOUR, 300.0)
    core = np.interp(time, [0.0, 2 * HOUR, 5 * HOUR], [5.0, 66.0, 67.0])
    seen = Seen(time, np.full(len(time), 110.0), core, 92.0, 5.0)
    # The hour before the rate of the last hour is small does not count.
    assert 1.8 * HOUR < stood_s(seen) <= 3 * HOUR
    assert stood_s(seen_at(made(1.0), 4 * HOUR)) == pytest.approx(0.0, abs=1.0)


def test_futures_begin_at_the_reading_and_end_at_the_target() -> None:
    cook = made(1.0)
    told = ask_witness(seen_at(cook, 2 * HOUR), even_shelf())
    ahead = np.arange(0.0, 10 * HOUR, 600.0)
    for row in told.draws(7, np.random.default_rng(1)):
        curve = told.future(int(row), ahead)
        assert curve[0] == pytest.approx(seen_at(cook, 2 * HOUR).core_c[-1])
        assert np.interp(told.left_s[row], ahead, curve) == pytest.approx(60.0, abs=0.6)


def test_draws_follow_the_weights() -> None:
    cook = library_cooks()[5]
    assert cook.finish_s is not None
    told = ask_witness(seen_at(cook, 0.5 * cook.finish_s), library_shelf())
    drawn = told.left_s[told.draws(4000, np.random.default_rng(2))]
    for percent in (5, 50, 95):
        got = np.percentile(drawn, percent)
        assert got == pytest.approx(told.quantile_s(percent), rel=0.02)
