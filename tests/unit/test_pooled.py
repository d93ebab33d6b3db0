"""What is believed where physics and past cooks differ."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import lru_cache
from typing import Any

import numpy as np
import pytest

from coreward import tables
from coreward.evidence import other_makings
from coreward.evidence.other_makings import Hearing, fit_at, learn_stretch, learn_trust, score
from coreward.experience.library import library_cooks
from coreward.experience.past_cook import PastCook
from coreward.experience.witness import Seen
from coreward.questions.forecast.answer import BANDS, Change, Forecast, Target, forecast_from
from coreward.questions.forecast.fit import Fitted
from coreward.questions.forecast.pooled import (
    Surprise,
    pool_draws,
    seen_of,
    stage_of,
    stretched,
    trust_in,
)
from support.said import numbers_of, text_of

HOUR = 3600.0
CALM = Surprise(largest=0.9, typical=0.5, residual_k=0.2, slope_k_h=0.2, far=0.4)


def standing_cook() -> PastCook:
    """A shoulder of another making, whose plateau the physics takes for a slow supply."""
    return next(
        c
        for c in library_cooks()
        if c.structure == "plateau_curve" and c.cut == "pork shoulder" and c.finish_s
    )


@lru_cache(maxsize=2)
def fitted(share: float = 0.6) -> Fitted:
    cook = standing_cook()
    assert cook.finish_s is not None
    return fit_at(cook, share * cook.finish_s, cores=1)


@lru_cache(maxsize=2)
def answered() -> Forecast:
    return forecast_from(
        fitted(), Target("core", standing_cook().target_c), members=60, left_out="plateau_curve"
    )


def test_a_calm_physics_counts_and_a_surprised_one_does_not() -> None:
    assert trust_in(CALM) > 0.7
    assert trust_in(replace(CALM, typical=3.0, residual_k=2.0, far=2.0)) < 0.15
    # Each measure of surprise costs trust, and none earns any.
    for name in ("typical", "residual_k", "slope_k_h", "far"):
        worse = replace(CALM, **{name: 2.0 * getattr(CALM, name)})
        assert trust_in(worse) <= trust_in(CALM), name


@pytest.mark.parametrize("trust", [0.0, 0.3, 1.0])
def test_never_is_kept_only_where_the_air_is_too_cool(trust: float) -> None:
    left = np.array([math.inf] * 6 + [HOUR, 2 * HOUR, 3 * HOUR, 4 * HOUR])
    kept, joined = pool_draws(left, False, trust, True)
    assert np.isfinite(left[kept]).all()
    assert len(kept) + joined == len(left)
    # What has lost its way costs trust: four draws in ten are sound.
    assert len(kept) == round(trust * 0.4 * 10)
    kept, joined = pool_draws(left, True, trust, True)
    assert np.isinf(left[kept]).sum() == 6
    assert len(kept) + joined == len(left)
    # Where no past cook can be asked the physics stands alone.
    kept, joined = pool_draws(left, False, trust, False)
    assert (list(kept), joined) == (list(range(10)), 0)


def test_a_stretch_keeps_order_and_never_and_leaves_a_trusted_physics_alone() -> None:
    left = np.array([math.inf, 0.0, *np.geomspace(HOUR, 9 * HOUR, 40)])
    for stage in ("far", "near", "standing"):
        wide = stretched(left, stage, 0.0)
        assert np.isinf(wide[0])
        assert wide[1] == 0.0
        assert (np.diff(wide[2:]) > 0.0).all()
        assert stretched(left, stage, 1.0) == pytest.approx(left)
        table = tables.load("forecast", "stretch")
        middle = np.median(left[2:])
        shift = math.log(np.median(wide[2:]) / middle)
        assert shift == pytest.approx(table[f"{stage}_shift"], abs=0.05)


def test_stages_are_told_from_what_was_seen() -> None:
    time = np.arange(0.0, 5 * HOUR, 300.0)
    air = np.full(len(time), 110.0)
    flat = np.interp(time, [0.0, 2 * HOUR, 5 * HOUR], [5.0, 66.0, 67.0])
    assert stage_of(Seen(time, air, flat, 92.0, 5.0)) == "standing"
    # Coming to rest at the pit's own temperature is no standstill.
    assert stage_of(Seen(time, np.full(len(time), 75.0), flat, 92.0, 5.0)) == "near"
    rising = 5.0 + 15.0 * time / HOUR
    assert stage_of(Seen(time, air, rising, 92.0, 5.0)) == "near"
    assert stage_of(Seen(time[:20], air[:20], rising[:20], 92.0, 5.0)) == "far"


def test_what_is_seen_is_drawn_out_to_now_and_knows_the_plan() -> None:
    one = fitted()
    seen = seen_of(
        one, 92.0, (Change(in_s=0.0, pit_by=10.0), Change(at_core_c=80.0, wrap="foil"))
    )
    assert seen.time_s[-1] == pytest.approx(one.past.duration_s)
    assert seen.air_change_k == pytest.approx(10.0)
    assert seen.will_wrap
    assert seen.mass_kg == standing_cook().mass_kg
    later = seen_of(one, 92.0, (Change(in_s=6 * HOUR, pit_by=10.0),))
    assert 0.0 < later.air_change_k < 3.0


def test_in_a_stall_of_another_making_it_says_so_and_never_never() -> None:
    """Before there was one witness, this log had "never" for an answer."""
    answer, cook = answered(), standing_cook()
    pooled = answer.pooled
    assert pooled is not None
    assert cook.finish_s is not None
    assert np.mean(~np.isfinite(pooled.physics_left_s)) > 0.2
    assert answer.never_share == 0.0
    assert answer.quantile_s(5) <= cook.finish_s <= answer.quantile_s(95)
    assert not pooled.explains
    said = text_of(answer)
    assert said.startswith("Ready about ")
    assert "The physics does not explain this curve" in said
    assert "Best guess" not in said
    assert "too cool" not in said
    assert "The fitted piece and pit" not in said


def test_bands_agree_with_the_finish() -> None:
    """By the median finish the middle of the bands has come to the target."""
    answer = answered()
    target = answer.target.value
    # Grid points lie ten minutes apart; at the ends only three of the sixty draws are left.
    for percent, row, allowed in ((95.0, 0, 3.0), (50.0, 2, 1.0), (5.0, 4, 3.0)):
        at = np.interp(answer.quantile_s(percent), answer.time_s, answer.bands_c[row])
        assert at == pytest.approx(target, abs=allowed)
    assert (np.diff(answer.bands_c, axis=0) >= 0.0).all()
    assert answer.bands_c[2, 0] == pytest.approx(fitted().past.reading_c[-1], abs=1.0)


def test_both_witnesses_are_told_in_data_and_in_a_table() -> None:
    answer = answered()
    numbers = numbers_of(answer)
    for name in ("ready_s", "ready_by_physics_s", "ready_by_past_cooks_s"):
        assert list(numbers[name]) == [f"p{p:g}" for p in BANDS]
    assert numbers["explained"] is False
    assert "What each witness says by itself" in text_of(answer)


def test_only_of_a_core_do_past_cooks_know() -> None:
    assert forecast_from(fitted(), Target("lethality", 5.0), members=20).pooled is None
    alone = forecast_from(fitted(), Target("core", 92.0), members=20, witness=False)
    assert alone.pooled is None


# -- how it is learned ---------------------------------------------------------------------


def heard(making: str, surprise: float, truth: float = 2 * HOUR) -> Hearing:
    return Hearing(making, "near", (surprise,) * 4, truth, HOUR, 2 * HOUR, 4 * HOUR, trust=0.5)


def test_trust_is_learned_from_who_was_surprised() -> None:
    rng = np.random.default_rng(3)
    near = tuple(2 * HOUR * np.exp(np.linspace(-0.2, 0.2, 9)))
    far = (*(np.array(near[:6]) / 4.0), math.inf, math.inf, math.inf)

    def told(making: str, middle: float, physics: Any, witness: Any) -> list[Hearing]:
        drawn = [heard(making, x) for x in rng.normal(middle, 0.4, 60)]
        return [replace(one, physics_s=physics, witness_s=witness) for one in drawn]

    calm = told("", -1.0, near, far[:6])
    wild = told("other", 1.0, far, near)
    learned = learn_trust([*calm, *wild])

    def logit(x: float) -> float:
        return learned["middle"] - x * sum(learned[name] for name in other_makings.MEASURES)

    assert logit(-1.0) > 2.0
    assert logit(1.0) < -2.0
    with pytest.raises(Exception, match="of other makings and of the model's own"):
        learn_trust(calm)


def test_a_stretch_is_what_the_truths_ask_for() -> None:
    """Truths spread twice as far as the band's ends (5 and 95 %): it must double."""
    rng = np.random.default_rng(4)
    spread = 2.0 * math.log(2.0) / 1.645
    wild = [heard("a", 0.0, 2 * HOUR * math.exp(x)) for x in rng.normal(0.0, spread, 4000)]
    learned = learn_stretch(wild, "near", share=0.95)
    assert learned["later"] == pytest.approx(2.0, rel=0.06)
    assert learned["sooner"] == pytest.approx(2.0, rel=0.06)
    with pytest.raises(Exception, match="20 are needed"):
        learn_stretch(wild, "far")


def test_a_score_counts_misses_coverage_width_and_never() -> None:
    never = replace(heard("a", 0.0), middle_s=math.inf, high_s=math.inf)
    told = score([heard("a", 0.0), heard("a", 0.0, 8 * HOUR), never])
    assert told["forecasts"] == 3
    assert told["miss"] == pytest.approx(0.75)
    assert told["inside"] == pytest.approx(2 / 3)
    assert told["width"] == pytest.approx(1.5)
    assert told["never"] == pytest.approx(1 / 3)
