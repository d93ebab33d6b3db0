"""Fit and forecast: what they promise, on a small log made for the purpose."""

from __future__ import annotations

import json
import math
from functools import lru_cache

import numpy as np
import pytest

import coreward as cw
from coreward.logs.log import Channel, ProbeLog
from coreward.questions import fit as fitting
from coreward.questions.events import Event
from coreward.questions.fit import NAMES, draw, fit, fit_past, prepare_past, stated_prior, weigh
from coreward.questions.forecast import (
    BANDS,
    Change,
    Forecast,
    Target,
    compare_changes,
    forecast,
    forecast_from,
)
from coreward.questions.forecast_words import explain_move, forecast_dict, forecast_text
from coreward.questions.pit_outlook import pit_outlook

HOUR = 3600.0
PIECE = cw.Piece(cw.Slab(0.06), cw.meat(), 5.0)
ON = Event("meat_on", 0.0, 0.0)


def made(hours: float = 6.0, size: float = 0.054, dip: float = 0.0) -> ProbeLog:
    """Make a log of a piece that is thinner than stated, with noise."""
    rng = np.random.default_rng(5)
    time = np.arange(0.0, hours * HOUR + 1.0, 60.0)
    air = 112.0 + 2.0 * np.sin(time / 900.0) - dip * np.exp(-(((time / HOUR) - 2.0) ** 2) * 20)
    piece = cw.Piece(cw.Slab(size), cw.meat(), 5.0)
    pit = cw.Surroundings((time, air), dew_point_c=26.0)
    result = cw.simulate(piece, cw.Stage(pit, duration_s=time[-1]), cells=40, tolerance=0.05)
    core = np.interp(time, result.time_s, result.core_c) + rng.normal(0.0, 0.1, len(time))
    channels = (Channel("pit", "air", air), Channel("flat", "meat", core))
    return ProbeLog(
        time_s=time, start=None, channels=channels, repairs=(), understood=(), source="made"
    )


@lru_cache(maxsize=1)
def whole() -> ProbeLog:
    return made()


@lru_cache(maxsize=4)
def fitted_at(hours: float) -> fitting.Fitted:
    return fit(whole(), PIECE, until_s=hours * HOUR, events=(ON,), fire="charcoal")


@lru_cache(maxsize=4)
def forecast_at(hours: float) -> Forecast:
    return forecast_from(fitted_at(hours), Target("core", 72.0), members=60)


def truth_s() -> float:
    core = whole().meat(1).temperature_c
    return float(whole().time_s[np.flatnonzero(core >= 72.0)[0]])


def test_the_fit_follows_the_log_and_finds_the_thinner_piece() -> None:
    fitted = fitted_at(3.0)
    assert fitted.residual_k < 0.3
    # Truly ln(54/60) = -0.105; the log narrows the size to a fraction of its prior doubt.
    found = math.log(fitted.member.size_factor)
    doubt = fitted.spread["size"] * fitted.prior.spread["size"]
    assert fitted.spread["size"] < 0.7
    assert abs(found + 0.105) < 3.0 * doubt


def test_it_says_what_the_log_cannot_tell() -> None:
    early = fitted_at(1.0)
    # Before any juice is let go nothing can be known about how it is let go.
    assert {"hold_drop", "expulsion_rate", "wrap_leak"} <= set(early.undetermined())
    assert "little or nothing about" in early.in_words()
    assert set(early.determined()) | set(early.undetermined()) == set(NAMES)


def test_more_log_leaves_less_doubt() -> None:
    spans = [forecast_at(h).quantile_s(95) - forecast_at(h).quantile_s(5) for h in (1.0, 3.0)]
    assert spans[1] < spans[0]


def test_the_truth_lies_within_the_band() -> None:
    answer = forecast_at(3.0)
    assert answer.quantile_s(5) <= truth_s() <= answer.quantile_s(95)
    assert answer.chance_by(answer.quantile_s(95)) >= 0.95
    assert answer.chance_by(answer.now_s) == 0.0


def test_bands_are_in_order_and_begin_at_the_reading() -> None:
    answer = forecast_at(3.0)
    assert (np.diff(answer.bands_c, axis=0) >= 0.0).all()
    now = whole().meat(1).temperature_c[np.searchsorted(whole().time_s, 3.0 * HOUR)]
    assert answer.bands_c[2, 0] == pytest.approx(now, abs=0.5)
    assert answer.time_s[0] == answer.now_s
    assert list(BANDS) == sorted(BANDS)


def test_same_seed_same_answer_whatever_the_cores() -> None:
    one = forecast_from(fitted_at(3.0), Target("core", 72.0), members=30, cores=1)
    two = forecast_from(fitted_at(3.0), Target("core", 72.0), members=30, cores=3)
    assert np.array_equal(one.finish_s, two.finish_s)
    other = forecast_from(fitted_at(3.0), Target("core", 72.0), members=30, seed=7)
    assert not np.array_equal(one.finish_s, other.finish_s)


def test_wrapping_and_a_hotter_pit_bring_it_forward() -> None:
    ways = compare_changes(
        fitted_at(3.0),
        Target("core", 88.0),
        {
            "leave it": (),
            "wrap now": (Change(in_s=0.0, wrap="foil"),),
            "hotter": (Change(in_s=0.0, pit_c=130.0),),
            "later": (Change(in_s=HOUR, pit_c=130.0),),
            "a little": (Change(in_s=0.0, pit_by=8.0),),
        },
        members=40,
    )
    middle = {name: answer.median_s for name, answer in ways.items()}
    assert middle["wrap now"] < middle["leave it"]
    assert middle["hotter"] < middle["later"] < middle["leave it"]
    assert middle["hotter"] < middle["a little"] < middle["leave it"]


def test_a_target_above_the_pit_is_never_and_says_so() -> None:
    answer = forecast_from(fitted_at(3.0), Target("core", 109.0), members=30)
    assert answer.never_share > 0.5
    text = forecast_text(answer)
    assert "at no time within 30 h:" in text
    json.dumps(forecast_dict(answer), allow_nan=False)


def test_a_target_already_passed_is_told_when() -> None:
    answer = forecast(whole(), PIECE, 40.0, until_s=4 * HOUR, events=(ON,), members=20)
    core = whole().meat(1).temperature_c
    passed = whole().time_s[np.flatnonzero(core >= 40.0)[0]]
    assert answer.already_s == pytest.approx(passed, abs=600.0)
    assert "first showed 40 °C" in forecast_text(answer)
    assert answer.chance_by(4 * HOUR) == 1.0


def test_tenderness_and_lethality_are_targets_too() -> None:
    hot = forecast_from(fitted_at(3.0), Target("lethality", 5.0), members=30)
    hotter = forecast_from(fitted_at(3.0), Target("lethality", 6.5), members=30)
    assert hot.median_s < hotter.median_s
    text = forecast_text(hot)
    # What of, where, and what was not taken off; and the caution.
    assert "log reductions of Salmonella in" in text
    assert "centre of the fitted piece" in text
    assert "late end of the band" in text
    assert "no proof of safety" in text
    soft = forecast_from(fitted_at(3.0), Target("tenderness", 0.02), members=30)
    firm = forecast_from(fitted_at(3.0), Target("tenderness", 0.01), members=30)
    assert firm.median_s <= soft.median_s


def test_stated_pit_replaces_the_guess() -> None:
    hot = (np.array([3.0, 9.0]) * HOUR, np.array([112.0, 112.0]))
    cool = (np.array([3.0, 9.0]) * HOUR, np.array([95.0, 95.0]))
    target = Target("core", 72.0)
    sooner = forecast_from(fitted_at(3.0), target, pit_series=hot, members=30)
    later = forecast_from(fitted_at(3.0), target, pit_series=cool, members=30)
    assert sooner.median_s < later.median_s


def test_the_outlook_takes_a_dip_for_a_dip() -> None:
    log = made(3.0, dip=30.0)
    past = prepare_past(log, until_s=2.4 * HOUR)
    prior = stated_prior(PIECE)
    look = pit_outlook(fit_past(past, prior))
    # 112 on average before and after; the dip of 30 K around two hours is not the level.
    assert look.level_c == pytest.approx(112.0, abs=4.0)
    assert look.level_doubt > 1.0


def test_a_pit_far_below_its_level_is_spoken_of() -> None:
    words = "somebody mends"
    assert words not in forecast_text(forecast_at(3.0))
    fitted = fit(made(3.0, dip=30.0), PIECE, until_s=2.1 * HOUR, events=(ON,))
    said = forecast_text(forecast_from(fitted, Target("core", 72.0), members=20))
    # The dip is deepest, near 82 °C, at two hours; its last quarter of an hour is told.
    told = next(line for line in said.splitlines() if words in line)
    assert told.startswith("It shows 8")


def test_a_move_is_split_between_pit_and_meat() -> None:
    move = explain_move(forecast_at(1.0), forecast_at(3.0), members=30)
    assert move.total_s == pytest.approx(move.pit_s + move.meat_s)
    assert "min" in move.in_words() or "hardly" in move.in_words()
    with pytest.raises(cw.InputError, match="earlier forecast first"):
        explain_move(forecast_at(3.0), forecast_at(1.0))


def test_weights_favour_what_fits() -> None:
    fitted = fitted_at(3.0)
    draws, noise = draw(fitted, 40, 3)
    curves = np.tile(fitted.predicted_c, (40, 1))
    curves[20:] += 5.0
    draws[:], noise[:] = fitted.best, 0.0
    weights, share = weigh(fitted, draws, noise, curves)
    assert weights[:20].sum() > 0.999
    assert share == pytest.approx(0.5)
    curves[0, 0] = np.nan
    assert weigh(fitted, draws, noise, curves)[0][0] == 0.0


def test_laplace_agrees_with_what_the_draws_truly_predict() -> None:
    # Where the bell curve is exact every draw counts; here it need not be, but must not
    # be so poor that a handful of draws stand for all.
    assert forecast_at(3.0).effective_share > 0.1


def test_a_moved_probe_gets_a_depth_and_an_offset_of_its_own() -> None:
    log = whole()
    core = log.meat(1).temperature_c.copy()
    core[log.time_s > 2 * HOUR] += 3.0
    channels = (log.channels[0], Channel("flat", "meat", core))
    moved = ProbeLog(
        time_s=log.time_s, start=None, channels=channels, repairs=(), understood=(), source="m"
    )
    events = (ON, Event("probe_moved", 2 * HOUR, 2 * HOUR, channel="flat"))
    fitted = fit(moved, PIECE, until_s=3.5 * HOUR, events=events)
    assert fitted.names[-2:] == ("depth_2", "bias_2")
    assert fitted.residual_k < 0.4


@pytest.mark.parametrize(
    ("bad", "words"),
    [
        (lambda: Change(), "either a time from now"),
        (lambda: Change(in_s=1.0, at_core_c=60.0), "not both"),
        (lambda: Change(in_s=-5.0), "in the future"),
        (lambda: Change(in_s=0.0, pit_c=900.0), "between 30 °C and 250 °C"),
        (lambda: Change(in_s=0.0, pit_c=120.0, pit_by=5.0), "a level"),
        (lambda: Change(in_s=0.0, pit_by=500.0), "either way"),
        (lambda: Target("core", 500.0), "between 0 and 110"),
        (lambda: fit(whole(), PIECE, until_s=120.0, events=()), "Wait a little"),
        (
            lambda: stated_prior(cw.Piece(cw.Slab(0.05), cw.constant_material(1, 1, 1), 5.0)),
            "piece of meat",
        ),
        (
            lambda: forecast_from(
                fitted_at(3.0), Target("core", 72.0), (Change(in_s=9.0), Change(in_s=3.0))
            ),
            "in the order",
        ),
    ],
)
def test_errors_say_what_to_do(bad, words: str) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(cw.InputError, match=words):
        bad()


def test_a_log_without_air_is_refused_with_the_remedy() -> None:
    log = whole()
    alone = ProbeLog(
        time_s=log.time_s,
        start=None,
        channels=(log.channels[1],),
        repairs=(),
        understood=(),
        source="m",
    )
    with pytest.raises(cw.InputError, match="air"):
        fit(alone, PIECE, events=(ON,))


def test_words_name_the_clock_where_the_log_has_one() -> None:
    import datetime as dt

    log = whole()
    clocked = ProbeLog(
        time_s=log.time_s,
        start=dt.datetime(2026, 10, 3, 22, 0),
        channels=log.channels,
        repairs=(),
        understood=(),
        source="m",
        start_clock=dt.time(22, 0),
    )
    text = forecast_text(forecast_at(3.0), clocked)
    assert ":" in text.splitlines()[0]
    assert "°F" in forecast_text(forecast_at(3.0), clocked, units="F")
    assert "of the log" in forecast_text(forecast_at(3.0))
