"""Fit and forecast: what they promise, on a small log made for the purpose."""

from __future__ import annotations

import datetime as dt
import json
import math
from dataclasses import replace
from functools import lru_cache
from types import SimpleNamespace

import numpy as np
import pytest
from scipy import special

import coreward as cw
from coreward import tables
from coreward.events.found import Event
from coreward.logs.log import Channel, ProbeLog
from coreward.physics.water import saturation_pressure
from coreward.questions.forecast import answer as forecasting
from coreward.questions.forecast import fit as fitting
from coreward.questions.forecast import prior as believing
from coreward.questions.forecast.answer import (
    BANDS,
    Change,
    Forecast,
    Target,
    compare_changes,
    forecast,
    forecast_from,
)
from coreward.questions.forecast.answer import _already as already
from coreward.questions.forecast.answer import _departures as departures
from coreward.questions.forecast.answer import _future_legs as future_legs
from coreward.questions.forecast.answer import _ordered as ordered
from coreward.questions.forecast.fit import (
    NAMES,
    draw,
    fit,
    fit_past,
    prepare_past,
    stated_prior,
    weigh,
)
from coreward.questions.forecast.pit_outlook import pit_outlook
from coreward.questions.forecast.words import around, explain_move, moment
from support.said import numbers_of, text_of

pytestmark = pytest.mark.quick

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
    assert {"hold_drop", "release", "wrap_leak"} <= set(early.undetermined())
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
    # Turned down: meat that is spent of its juice may pass boiling in a hotter pit.
    cooler = (Change(in_s=0.0, pit_c=95.0),)
    answer = forecast_from(fitted_at(3.0), Target("core", 109.0), cooler, members=30)
    assert answer.never_share > 0.5
    text = text_of(answer)
    assert "at no time within 30 h: the air, near 95 °C, is itself too cool" in text
    json.dumps(numbers_of(answer), allow_nan=False)


def test_a_target_already_passed_is_told_when() -> None:
    answer = forecast(whole(), PIECE, 40.0, until_s=4 * HOUR, events=(ON,), members=20)
    core = whole().meat(1).temperature_c
    passed = whole().time_s[np.flatnonzero(core >= 40.0)[0]]
    assert answer.already_s == pytest.approx(passed, abs=600.0)
    assert "first showed 40 °C" in text_of(answer)
    assert answer.chance_by(4 * HOUR) == 1.0


def test_tenderness_and_lethality_are_targets_too() -> None:
    hot = forecast_from(fitted_at(3.0), Target("lethality", 5.0), members=30)
    hotter = forecast_from(fitted_at(3.0), Target("lethality", 6.5), members=30)
    assert hot.median_s < hotter.median_s
    text = text_of(hot)
    # What of, where, and what was not taken off; and the caution.
    assert "log reductions of Salmonella in" in text
    assert "centre of the fitted piece" in text
    assert "late end of the band" in text
    assert "no proof of safety" in text
    soft = forecast_from(fitted_at(3.0), Target("tenderness", 0.02), members=30)
    firm = forecast_from(fitted_at(3.0), Target("tenderness", 0.01), members=30)
    assert firm.median_s <= soft.median_s


@pytest.mark.parametrize(
    ("target", "stop_c"),
    [(Target("core", 72.0), 80.0), (Target("tenderness", 0.5), 200.0),
     (Target("lethality", 5.0), 200.0)],
)  # fmt: skip
def test_a_cook_is_followed_past_its_core_and_else_to_the_end(
    target: Target, stop_c: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A core that is not hot enough for its kill may be as soft as it likes by then."""

    def stopped(*given: object) -> None:
        raise OverflowError(given[6])

    monkeypatch.setattr(forecasting, "_future_legs", stopped)
    with pytest.raises(OverflowError) as asked:
        forecast_from(fitted_at(3.0), target, members=2, cores=1)
    assert asked.value.args == (stop_c,)


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
    assert words not in text_of(forecast_at(3.0))
    fitted = fit(made(3.0, dip=30.0), PIECE, until_s=2.1 * HOUR, events=(ON,))
    said = text_of(forecast_from(fitted, Target("core", 72.0), members=20))
    # The dip is deepest, near 82 °C, at two hours; its last quarter of an hour is told.
    told = next(line for line in said.splitlines() if words in line)
    assert told.startswith("  - It shows 8")


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
    # be so poor that a handful of draws stand for all: 25 of the usual five hundred. Less
    # than before the pit was a chamber, whose stand bends with air and release.
    assert forecast_at(3.0).effective_share > 0.05


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
    answer = forecast_at(3.0)
    past = replace(answer.fitted.past, log=clocked)
    known = replace(answer, fitted=replace(answer.fitted, past=past))
    assert ":" in text_of(known).splitlines()[0]
    assert "°F" in text_of(known, units="F")
    assert "of the log" in text_of(answer)


# -- the numbers inside, each with its value -----------------------------------------------


@pytest.mark.parametrize(
    ("seconds", "now", "said"),
    [
        (5400.0, 3600.0, "at 1 h 30 min of the log (in 30 min)"),
        (7140.0, 3600.0, "at 1 h 59 min of the log (in 59 min)"),
        (7200.0, 3600.0, "at 2 h of the log (in 1 h)"),
        (3600.0, 11100.0, "at 1 h of the log (2 h 05 min ago)"),
        (3600.0, 3600.0, "at 1 h of the log (in 0 min)"),
        (math.inf, 3600.0, "never"),
    ],
)
def test_a_moment_is_named(seconds: float, now: float, said: str) -> None:
    assert moment(seconds, now) == said
    assert moment(seconds, now, whole()) == said  # a log that knows no clock


def test_a_moment_is_named_by_the_clock_with_a_date_or_without() -> None:
    dated = replace(whole(), start=dt.datetime(2026, 10, 3, 22, 0))
    assert moment(3 * HOUR, 4800.0, dated) == "at 01:00 (in 1 h 40 min)"
    assert around(3 * HOUR, 4800.0, dated) == "01:00 (in 1 h 40 min)"
    assert around(3 * HOUR, 4800.0, whole()) == "1 h 40 min from now"
    assert around(math.inf, 4800.0, whole()) == "never"
    timed = replace(whole(), start_clock=dt.time(9, 30))
    assert moment(3 * HOUR, 4800.0, timed) == "at 12:30 (in 1 h 40 min)"


def test_chances_are_counted_and_a_target_passed_is_sure() -> None:
    finish = np.array([3.0, 1.0, 2.0, math.inf]) * HOUR
    ahead = replace(forecast_at(3.0), finish_s=finish, already_s=None)
    assert ahead.quantile_s(50.0) == ahead.median_s == 2 * HOUR
    assert ahead.quantile_s(75.0) == 3 * HOUR
    assert ahead.quantile_s(76.0) == math.inf
    assert ahead.chance_by(2 * HOUR) == 0.5
    assert ahead.chance_by(2 * HOUR - 1.0) == ahead.never_share == 0.25
    passed = replace(ahead, already_s=1.5 * HOUR)
    assert passed.quantile_s(99.0) == 1.5 * HOUR
    assert (passed.chance_by(1.5 * HOUR), passed.chance_by(1.5 * HOUR - 1.0)) == (1.0, 0.0)


def test_changes_at_one_moment_are_in_order() -> None:
    both = (Change(in_s=0.0, pit_c=120.0), Change(in_s=0.0, wrap="foil"))
    assert ordered(both) == both
    for most in (80.0, -80.0):  # as far down as up
        assert Change(in_s=0.0, pit_by=most).pit_by == most
        with pytest.raises(cw.InputError, match="up to 80 K either way"):
            Change(in_s=0.0, pit_by=1.01 * most)
    mixed = (Change(in_s=9.0), Change(at_core_c=60.0), Change(in_s=3.0))
    with pytest.raises(cw.InputError, match="in the order"):
        ordered(mixed)


def test_a_number_within_a_range_keeps_its_middle_and_its_ends() -> None:
    between = believing._between
    assert between(0.0, 0.3, 0.2, 0.6) == pytest.approx(0.3)
    # One standard deviation multiplies the odds by e: 1/3 becomes e/3.
    share = math.e / 3.0 / (1.0 + math.e / 3.0)
    assert between(1.0, 0.3, 0.2, 0.6) == pytest.approx(0.2 + 0.4 * share)
    assert between(50.0, 0.3, 0.2, 0.6) == pytest.approx(0.6)
    assert between(-50.0, 0.3, 0.2, 0.6) == pytest.approx(0.2)
    # A middle at the end of its range can still move.
    assert between(0.0, 0.2, 0.2, 0.6) == pytest.approx(0.2 + 0.02 * 0.4)


def member_of(prior: fitting.Prior, **changes: float) -> fitting.Member:
    return prior.member(np.zeros(len(NAMES)))._replace(**changes)


def test_air_at_the_meat_is_off_by_a_share_of_the_fire() -> None:
    """The offset is stated for a pit 100 K above a yard of 20 °C, and grows to 150 K."""
    prior = stated_prior(PIECE, dew_point_c=25.0)
    member = member_of(prior, air_offset=8.0, wall_offset=-4.0, heat_transfer_factor=2.0)
    time = np.arange(5) * 600.0
    air = np.array([10.0, 20.0, 70.0, 120.0, 220.0])
    felt = prior.forcing(member, time, air)
    share = np.array([0.0, 0.0, 0.5, 1.0, 1.5])
    assert felt.air_c == pytest.approx(air + 8.0 * share)
    assert felt.wall_c == pytest.approx(air + 4.0 * share)
    assert felt.heat_transfer == pytest.approx(2.0 * prior.heat_transfer(air))
    # No air holds more vapour than it can.
    saturated = [saturation_pressure(min(25.0, float(one))) for one in felt.air_c]
    assert felt.vapour_pressure == pytest.approx(saturated)


@pytest.mark.parametrize("wrap", ["foil", "paper"])
def test_a_usual_member_wraps_as_tabulated_and_others_within_the_ranges(wrap: str) -> None:
    prior = stated_prior(PIECE)
    table = tables.load("wrap", wrap)
    usual = prior.conditions(member_of(prior), wrap)
    leak = table["vapour_permeance_factor"] or prior.spread["leak"]
    assert usual.vapour_factor == pytest.approx(leak)
    assert usual.thermal_resistance == pytest.approx(table["thermal_resistance"])
    assert usual.emissivity == pytest.approx(table["emissivity"])
    # So many standard deviations up and down span the range of the table.
    far = prior.spread["wrap_range"]
    ends = [prior.conditions(member_of(prior, wrap_resistance=z), wrap) for z in (far, -far)]
    low, high = table.record("thermal_resistance").range
    assert ends[0].thermal_resistance / ends[1].thermal_resistance == pytest.approx(high / low)
    assert prior.conditions(member_of(prior, wrap_leak=99.0), wrap).vapour_factor == 1.0
    bright = prior.conditions(member_of(prior, wrap_emissivity=50.0), wrap).emissivity
    assert bright == pytest.approx(table.record("emissivity").range[1])
    bare = prior.conditions(member_of(prior, wrap_emissivity=50.0), None)
    assert (bare.vapour_factor, bare.thermal_resistance) == (1.0, 0.0)


def test_a_past_is_put_in_order_and_keeps_what_lies_within() -> None:
    wraps = ((3 * HOUR, "foil"), (1.5 * HOUR, "paper"), (5 * HOUR, None), (0.5 * HOUR, "foil"))
    past = prepare_past(whole(), until_s=4 * HOUR, begin_s=HOUR, wraps=wraps)
    assert past.wraps == ((0.5 * HOUR, "paper"), (2 * HOUR, "foil"))
    assert (past.begin_s, past.now_s) == (HOUR, 4 * HOUR)
    assert np.diff(past.time_s).min() > 0.0
    assert past.time_s[0] < 600.0
    spacing = tables.load("forecast", "numerics")["spacing"]
    assert prepare_past(whole(), until_s=2.0 * spacing).now_s == 2.0 * spacing
    with pytest.raises(cw.InputError, match=f"at least {2 * spacing / 60:.0f} min. Wait"):
        prepare_past(whole(), until_s=2.0 * spacing - 1.0)


def test_scatter_is_that_of_readings_about_a_line() -> None:
    rng = np.random.default_rng(3)
    line = np.linspace(20.0, 60.0, 20_001)
    assert fitting._scatter(line) == pytest.approx(0.0, abs=1e-9)
    # 20 000 bends give the deviation to about 1.2 % (two of its own standard errors).
    assert fitting._scatter(line + rng.normal(0.0, 0.5, 20_001)) == pytest.approx(0.5, rel=0.03)
    assert fitting._scatter(np.array([1.0, 5.0, 1.0, 5.0])) == 0.0


def test_even_draws_have_one_in_each_slice() -> None:
    drawn = fitting.even_normal(np.random.default_rng(1), 50, 3)
    assert drawn.shape == (50, 3)
    for column in special.ndtr(drawn).T:
        assert np.array_equal(np.sort((column * 50).astype(int)), np.arange(50))


def test_weights_are_tempered_until_a_fifth_counts_and_never_for_ever() -> None:
    fitted = fitted_at(3.0)
    draws, noise = draw(fitted, 50, 3)
    draws[:], noise[:] = fitted.best, 0.0
    miss = np.linspace(0.0, 9.0, 50)[:, None]
    weights, share = weigh(fitted, draws, noise, fitted.predicted_c + miss)
    assert share < 0.2
    count = weights.sum() ** 2 / (weights**2).sum() / 50.0
    assert 0.2 <= count < 0.3  # and not more than needed
    assert weights.sum() == pytest.approx(1.0)
    assert np.argmax(weights) == np.argmin(np.abs(curves_miss(fitted, miss)))
    # One that could be computed among fifty stands for all: nothing else is known.
    curves = np.full((50, len(fitted.predicted_c)), np.nan)
    curves[7] = fitted.predicted_c
    weights, share = weigh(fitted, draws, noise, curves)
    assert weights[7] == 1.0
    assert share == pytest.approx(1.0 / 50.0)
    with pytest.raises(cw.CorewardError, match="None of the guesses"):
        weigh(fitted, draws, noise, np.full_like(curves, np.nan))


def curves_miss(fitted: fitting.Fitted, miss: np.ndarray) -> np.ndarray:
    """How far each curve lies from the readings in the measure of the fit."""
    whiten = fitting._whitening(fitted.past)
    gap = np.linalg.solve(whiten, (fitted.past.reading_c - fitted.predicted_c - miss).T)
    return np.sqrt((gap**2).sum(axis=0))


def test_a_reading_departs_from_where_it_stands_now() -> None:
    """At first by what the latest readings, since the probe was moved, are off; that fades."""
    fitted = fitted_at(3.0)
    past = replace(fitted.past, segment=(fitted.past.time_s > 2 * HOUR).astype(np.int64))
    moved = replace(fitted, past=past)
    fits = np.tile(past.reading_c, (400, 1))
    fits[:200] -= np.where(past.segment == 1, 2.0, 9.0)
    ahead = np.array([0.0, 1.0, 50.0]) * HOUR
    off = departures(moved, fits, ahead, np.random.default_rng(1))
    assert off[:200, 0] == pytest.approx(2.0)
    assert off[200:, 0] == pytest.approx(0.0)
    model = tables.load("forecast", "model")
    # The mean of 200 draws, within four of its standard errors; later only the error is left.
    allowed = 4.0 * model["error"] / math.sqrt(200.0)
    fades = 2.0 * np.exp(-ahead / model["error_time"])
    assert off[:200].mean(axis=0) == pytest.approx(fades, abs=allowed)
    # The standard deviation of 400 draws is known to 3.5 %, one standard error.
    assert off[:, 2].std() == pytest.approx(model["error"], rel=0.15)


@pytest.mark.parametrize(
    ("readings", "since"),
    [
        # One hot reading alone may be a slip; the first of two in a row counts.
        ([60.0, 80.0, 60.0, 75.0, 76.0, 77.0], 1000.0 + 180.0),
        ([60.0, 72.0, 72.0], 1000.0 + 60.0),
        ([60.0, 71.0, 75.0], None),
        ([75.0, 60.0, 75.0], None),
        ([75.0, 76.0], 1000.0),
    ],
)
def test_a_core_was_there_already_when_two_readings_say_so(readings, since) -> None:
    time = 60.0 * np.arange(len(readings))
    past = SimpleNamespace(reading_c=np.array(readings), time_s=time, begin_s=1000.0)
    fitted = SimpleNamespace(past=past)
    assert already(fitted, Target("core", 72.0)) == since
    assert already(fitted, Target("tenderness", 0.5)) is None


def test_a_change_at_a_core_waits_for_what_the_probe_shows() -> None:
    """The engine watches the core: the probe's offset and what the fit misses come off."""
    fitted = fitted_at(3.0)
    path = np.array([0.0, 10.0 * HOUR]), np.zeros(2)
    plan = (Change(in_s=HOUR, pit_by=10.0), Change(at_core_c=70.0, wrap="foil"))
    legs = future_legs(
        fitted, fitted.best, plan, SimpleNamespace(level_c=110.0), path, 10 * HOUR, 90.0, 0.0
    )
    past = fitted.past
    own = float(fitting.offsets(fitted.prior, fitted.best, past.segment)[-1])
    count = forecasting._LATEST_BLOCKS
    missed = float(np.mean(past.reading_c[-count:] - fitted.predicted_c[-count:]))
    assert abs(missed) < 1.0
    assert [leg.until_core_c for leg in legs] == [None, pytest.approx(70.0 - own - missed), 90]
    assert [leg.duration_s for leg in legs] == [HOUR, 9 * HOUR, 9 * HOUR]
