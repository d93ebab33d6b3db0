"""What the cooks of a pit teach: narrower with each, and a changed pit is noticed."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest

from coreward import tables
from coreward.experience.learned import Believed, learned, pits, shares, usual_s, usual_time
from coreward.words import shown
from support.own_shelf import past_cook

pytestmark = pytest.mark.quick


def told(answer, units: str = "C") -> str:
    return " ".join(shown(one, units) for one in answer.said)


def drawn(rng: np.random.Generator, count: int, pace: float, offset_k: float, first: int = 0):
    """Cooks of a pit, scattered as the table believes."""
    t = tables.load("pace")
    return [
        past_cook(
            first + i,
            pace + t["pace_within"] * rng.standard_normal(),
            offset_k + t["offset_within"] * rng.standard_normal(),
        )
        for i in range(count)
    ]


def test_an_unknown_pit_is_what_the_table_believes():
    t = tables.load("pace")
    answer = learned((), "drum")
    assert answer.pace.middle == 0.0
    expected = math.hypot(t["pace_between"], t["pace_within"])
    assert answer.pace.spread == pytest.approx(expected, rel=1e-9)
    assert answer.narrower == pytest.approx(0.0)
    assert told(answer).startswith("Of the pit 'drum' 0 cooks are kept")


def test_one_cook_moves_the_mean_as_the_normal_law_does():
    """By hand: prior precision 1/0.35², one value of precision 1/0.15²."""
    t = tables.load("pace")
    weight = (1.0 / t["pace_within"] ** 2) / (
        1.0 / t["pace_within"] ** 2 + 1.0 / t["pace_between"] ** 2
    )
    answer = learned([past_cook(1, 0.4)], "drum")
    assert answer.pace.middle == pytest.approx(0.4 * weight, rel=1e-6)


def test_each_cook_narrows_the_band():
    paces = [0.2, 0.3, 0.15, 0.25, 0.22]
    widths = [
        learned([past_cook(i, p) for i, p in enumerate(paces[:n])], "drum").pace.half_width()
        for n in range(6)
    ]
    assert all(later < before for before, later in itertools.pairwise(widths))
    assert widths[5] < 0.5 * widths[0]


def test_cooks_that_scatter_narrow_less():
    calm = learned([past_cook(i, p) for i, p in enumerate((0.1, 0.12, 0.08, 0.1))], "drum")
    wild = learned([past_cook(i, p) for i, p in enumerate((-0.5, 0.6, -0.4, 0.7))], "drum")
    assert wild.narrower < calm.narrower - 0.2


def test_the_band_holds_what_it_says():
    """2000 pits drawn from the prior itself, five cooks each: nine in ten of the sixth.

    The spread is drawn too, as the law believes it. Binomial: 0.9 within 0.02.
    """
    t, rng = tables.load("pace"), np.random.default_rng(7)
    inside = 0
    for _ in range(2000):
        shape = 0.5 * t["worth"]
        within = math.sqrt(shape * t["pace_within"] ** 2 / rng.gamma(shape))
        pace = within / t["pace_within"] * t["pace_between"] * rng.standard_normal()
        paces = pace + within * rng.standard_normal(6)
        law = learned([past_cook(i, p) for i, p in enumerate(paces[:5])], "drum")
        if law.changed is None:
            inside += abs(paces[5] - law.pace.middle) <= law.pace.half_width()
        else:
            inside += 0.9
    assert inside / 2000 == pytest.approx(0.9, abs=0.02)


def test_after_three_cooks_it_says_what_was_learned():
    cooks = [past_cook(i, math.log(1.2), -6.0) for i in range(3)]
    two = learned(cooks[:2], "drum")
    assert told(two) == (
        "Of the pit 'drum' 2 cooks are kept; after the third it is said what they taught."
    )
    three = learned(cooks, "  DRUM ")
    words = told(three)
    assert "Learned from 3 cooks in the pit 'drum'" in words
    assert "about 6 K below what it is set to" in words
    assert "scatters about its level by 4 K" in words
    assert "1.19 times the usual time" in words  # drawn a little towards the usual
    assert f"{math.floor(100 * three.narrower)} % narrower" in words
    assert "10 °F below" in told(three, "F")


def test_cooks_of_other_pits_and_of_the_library_do_not_count():
    from dataclasses import replace

    mine = [past_cook(i, 0.3) for i in range(3)]
    others = [past_cook(9, -1.0, pit="oven"), replace(past_cook(8, -1.0), origin="library")]
    assert learned([*others, *mine], "drum") == learned(mine, "drum")
    assert pits([*others, *mine]) == ("oven", "drum")


def test_a_cook_without_a_finish_tells_of_the_pit_alone():
    cooks = [past_cook(i, 0.0, 8.0, finished=False) for i in range(3)]
    answer = learned(cooks, "drum")
    assert answer.paces == 0
    assert answer.narrower == pytest.approx(0.0)
    assert answer.offset_k.middle > 7.0
    assert "usual time" not in told(answer)


def test_a_lone_departure_is_told_and_does_not_yet_count_as_a_change():
    cooks = [past_cook(i, p) for i, p in enumerate((0.0, 0.1, -0.1, 0.05))]
    answer = learned([*cooks, past_cook(4, math.log(1.5))], "drum")
    assert answer.changed is None
    assert "The last of them, 'cook 04', took 1.4" in told(answer)
    assert "if the next one does so too, this pit has changed" in told(answer)
    assert learned([*cooks, past_cook(4, 0.05)], "drum").departed == ""


def test_a_changed_pit_is_noticed_and_only_cooks_since_count():
    paces = (0.0, 0.1, -0.1, 0.05, -0.05)
    before = [past_cook(i, p) for i, p in enumerate(paces)]
    since = [past_cook(5 + i, 0.5 + p, 10.0) for i, p in enumerate((0.0, 0.05, -0.05))]
    answer = learned([*before, *since], "drum")
    assert answer.changed is not None
    assert answer.changed.since == "cook 05"
    assert [cook.name for cook in answer.cooks] == ["cook 05", "cook 06", "cook 07"]
    assert answer.pace.middle == pytest.approx(0.5, abs=0.05)
    words = told(answer)
    assert "This pit has changed: since 'cook 05' its cooks take 1.65 times as long" in words
    assert "10 K hotter for its setting" in words
    few = learned([*before, *since[:2]], "drum")
    assert few.changed is not None
    assert "too few yet to say more" in told(few)


def test_how_often_a_change_is_seen_and_how_often_imagined():
    """Drawn as the table believes; eight cooks of one pit, or five and three of another.

    Measured over 300: imagined in 3 of 100, seen in 97 of 100.
    """
    rng = np.random.default_rng(3)
    imagined = seen = 0
    for _ in range(60):
        pace, offset = 0.3 * rng.standard_normal(), 6.0 * rng.standard_normal()
        imagined += learned(drawn(rng, 8, pace, offset), "drum").changed is not None
        moved = [*drawn(rng, 5, pace, offset), *drawn(rng, 3, pace + 0.3, offset + 10.0, 5)]
        seen += learned(moved, "drum").changed is not None
    assert imagined <= 6
    assert seen >= 54


@pytest.mark.parametrize(
    ("cut", "thickness", "pit_c", "target_c", "least_h", "most_h"),
    [
        # Common practice, no source.
        ("pork shoulder", 0.12, 110.0, 95.0, 9.0, 15.0),
        ("beef brisket flat", 0.06, 110.0, 93.0, 4.0, 9.0),
        ("turkey breast", 0.085, 120.0, 72.0, 2.5, 4.0),
        ("pork loin", 0.03, 110.0, 63.0, 0.7, 1.2),
        ("pork spare ribs", 0.025, 115.0, 93.0, 3.0, 6.0),
        ("beef rib roast", 0.12, 110.0, 54.0, 3.0, 5.0),
    ],
)
def test_the_usual_times_are_those_of_the_trade(
    cut, thickness, pit_c, target_c, least_h, most_h
):
    hours = usual_time(cut, thickness, pit_c, target_c, 5.0) / 3600.0
    assert least_h <= hours <= most_h


def test_the_usual_time_grows_with_what_makes_a_cook_long():
    usual = usual_time("pork shoulder", 0.1, 110.0, 90.0, 5.0)
    assert usual_time("pork shoulder", 0.12, 110.0, 90.0, 5.0) > usual
    assert usual_time("pork shoulder", 0.1, 120.0, 90.0, 5.0) < usual
    assert usual_time("pork shoulder", 0.1, 110.0, 95.0, 5.0) > usual
    assert usual_time("pork shoulder", 0.1, 110.0, 90.0, 20.0) < usual
    foil = usual_time("pork shoulder", 0.1, 110.0, 90.0, 5.0, wrap="foil")
    paper = usual_time("pork shoulder", 0.1, 110.0, 90.0, 5.0, wrap="paper")
    assert foil < paper < usual
    # A pit that is no hotter than what is wanted: long, but an answer.
    assert usual < usual_time("pork shoulder", 0.1, 90.0, 95.0, 5.0) < math.inf


def test_the_thickness_follows_from_the_weight_and_none_is_known_of_neither():
    from dataclasses import replace

    weighed = replace(past_cook(1), thickness_m=None, mass_kg=5.0)
    assert usual_s(weighed) == pytest.approx(usual_s(past_cook(1)), rel=0.35)
    assert usual_s(replace(weighed, mass_kg=None)) is None
    assert usual_s(replace(weighed, mass_kg=900.0)) is None


def test_the_law_is_a_density():
    law = Believed(0.2, 0.15, 7.0)
    x = np.linspace(-20.0, 20.0, 200_001)
    area = np.trapezoid(np.exp(law.log_density(x)), x)
    assert area == pytest.approx(1.0, abs=1e-4)
    assert law.surprise(0.2) == pytest.approx(1.0)
    assert law.surprise(0.2 + law.half_width(0.9)) == pytest.approx(0.1)


def test_draws_are_weighed_towards_what_was_learned():
    rng = np.random.default_rng(1)
    usual = 30000.0
    time = usual * np.exp(0.35 * rng.standard_normal(4000))
    time[:40] = math.inf
    answer = learned([past_cook(i, 0.25) for i in range(5)], "drum")
    weights = shares(answer, usual, time)
    assert weights.sum() == pytest.approx(1.0)
    there = np.isfinite(time)
    log = np.log(time[there] / usual)
    kept = weights[there] / weights[there].sum()
    middle = float(kept @ log)
    spread = math.sqrt(float(kept @ (log - middle) ** 2))
    assert middle == pytest.approx(answer.pace.middle, abs=0.03)
    assert spread < 0.6 * 0.35
    # Those that never get there keep their share: what was learned is of cooks that did.
    assert weights[~there].sum() == pytest.approx(0.01, abs=1e-9)
    assert 1.0 / np.sum(weights**2) >= 0.19 * len(time)


def test_draws_far_from_what_was_learned_are_not_left_to_a_few():
    time = 30000.0 * np.exp(0.05 * np.random.default_rng(1).standard_normal(400))
    weights = shares(learned([past_cook(i, 1.2) for i in range(5)], "drum"), 30000.0, time)
    assert 1.0 / np.sum(weights**2) >= 0.19 * 400
    assert shares(learned((), "drum"), 30000.0, time[:5]) == pytest.approx(0.2)
