"""All that is said of a forecast."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

import numpy as np

from coreward import cautions
from coreward.physics.lethality import load_kinetics
from coreward.questions.forecast.answer import BANDS, Forecast, Target
from coreward.questions.forecast.fit import Fitted, Floats
from coreward.questions.forecast.pooled import Pooled
from coreward.questions.forecast.words import around, moment
from coreward.questions.review.document import log_data
from coreward.reports.document import (
    Block,
    Data,
    Document,
    Listing,
    Picture,
    Table,
    data_of,
    table_of,
    versions,
)
from coreward.reports.things import document_of
from coreward.words import (
    Degrees,
    Difference,
    Lasting,
    Mass,
    Reading,
    Text,
    UnitChoice,
    say,
    together,
)

# A pit that has lately been this far below its level is spoken of.
_DIP_K, _RECENT_S = 10.0, 900.0
# A shorter wait needs no second look, a shorter standstill no word.
_SOON_S, _LONG_STILL_S = 2 * 3600.0, 2700.0


@document_of.register
def document(answer: Forecast) -> Document:
    """Return all that is said of a forecast: when, with which odds, and on what it stands."""
    past = answer.fitted.past
    lead = together(_answered(answer))
    blocks: list[Block] = []
    if past.log is not None:
        blocks.append(
            Picture(
                lambda units: _drawn(answer, units),
                say("The log up to now, and bands of what may come. {0}", lead),
                "The log with its fit, and the fan of what may come: the middle half of the "
                "chances, and nine in ten. Above, when it will be ready.",
            )
        )
    blocks.append(chance_table(answer))
    if answer.pooled is not None and len(answer.pooled.witness_left_s):
        blocks.append(witness_table(answer))
    blocks.append(Listing(tuple(_assumed(answer)), "What it assumes, and what the log told"))
    if _explained(answer):
        blocks.append(fitted_table(answer))
    return Document(
        title="When will it be ready?",
        lead=lead,
        caution=(cautions.ODDS, *cautions.REPORT),
        blocks=tuple(blocks),
        files=lambda: forecast_data(answer),
        versions=versions(),
        answer=answer,
        numbers=_numbers(answer),
    )


def _drawn(answer: Forecast, units: UnitChoice) -> Any:
    # Late: text and data need no drawing library.
    from coreward.questions.forecast.figure import figure_forecast

    past = answer.fitted.past
    assert past.log is not None
    return figure_forecast(answer, past.log, meat=past.meat, units=units)


def _numbers(answer: Forecast) -> dict[str, Any]:
    log = answer.fitted.past.log
    bands = {f"p{p:g}_c": row for p, row in zip(BANDS, answer.bands_c, strict=True)}
    numbers = {
        "kind": "forecast",
        "log_start": None if log is None else log.start,
        "now_s": answer.now_s,
        "ready_s": {f"p{p:g}": answer.quantile_s(p) for p in BANDS},
        "never_within_horizon": answer.never_share,
        "members": len(answer.finish_s),
        "undetermined": answer.fitted.undetermined(),
        "curve": {"time_s": answer.time_s, **bands},
        "explained": _explained(answer),
    }
    if answer.pooled is not None:
        pooled = answer.pooled
        for name, left_s in (
            ("ready_by_physics_s", pooled.physics_left_s),
            ("ready_by_past_cooks_s", pooled.witness_left_s),
        ):
            numbers[name] = {
                f"p{p:g}": at_s
                for p, at_s in zip(BANDS, _alone(answer, left_s), strict=True)
                if len(left_s)
            }
    return numbers


def _explained(answer: Forecast) -> bool:
    return answer.pooled is None or answer.pooled.explains


def _alone(answer: Forecast, left_s: Floats) -> list[float]:
    """When it is ready by one witness alone, at each of `BANDS`."""
    if not len(left_s):
        return [math.nan for _ in BANDS]
    quantiles = np.percentile(left_s, BANDS, method="inverted_cdf")
    return [answer.now_s + float(left) for left in quantiles]


def _answered(answer: Forecast) -> Iterator[Text]:
    """Say when it is ready, what the stall does, and what to do."""
    log = answer.fitted.past.log

    def about(seconds: float) -> str:
        return around(seconds, answer.now_s, log)

    target = answer.target
    horizon = Lasting(answer.horizon_s)
    if answer.already_s is not None:
        first = Degrees(target.value, None)
        when = moment(answer.already_s, answer.now_s, log)
        yield say("The probe first showed {0} {1}. Take it off.", first, when)
        return
    pooled = answer.pooled
    if answer.never_share > 0.5:
        why: Text = "the pit is too cool, or too damp, for that"
        if pooled is not None:
            why = say(
                "the air, near {0}, is itself too cool for that. Set the pit higher",
                Degrees(_level_ahead(answer)),
            )
        yield say(
            "If it goes on like this, it is more likely than not that {0} at no time within "
            "{1}: {2}.",
            _goal(target),
            horizon,
            why,
        )
        return
    early, _, middle, _, late = (answer.quantile_s(p) for p in BANDS)
    yield say(
        "Ready about {0}, nine times in ten between {1} and {2}: then {3}.",
        about(middle),
        about(early),
        about(late) if math.isfinite(late) else "never",
        _goal(target),
    )
    if answer.never_share > 0.01:
        share = f"{answer.never_share:.0%}"
        yield say("In {0} of the cases it does not get there in {1}.", share, horizon)
    if pooled is not None:
        yield from _standing(answer, pooled)
    if middle - answer.now_s > _SOON_S:
        yield say("Look again {0}.", about(answer.now_s + 0.5 * (early - answer.now_s)))


def _standing(answer: Forecast, pooled: Pooled) -> Iterator[Text]:
    """Say what the stall is doing, and whether the physics knows why."""
    unknown = not pooled.explains
    heard = len(pooled.witness_left_s) > 0
    if pooled.stage == "standing":
        yield "This is a stall: it is a matter of time, and no fault of the pit."
        if heard:
            low, high = np.percentile(pooled.witness_left_s, (5.0, 95.0))
            yield say("From here such cooks took {0} to {1} more.", Lasting(low), Lasting(high))
        if answer.fitted.past.wrap_now is None:
            yield "Leave it, or wrap it if it has to be done sooner."
    elif pooled.stood_s > _LONG_STILL_S:
        yield say("It has stood still for {0} and rises again.", Lasting(pooled.stood_s))
    if unknown:
        yield "The physics does not explain this curve" + (
            "; what is said here rests on past cooks." if heard else "; take it as rough."
        )


def _level_ahead(answer: Forecast) -> float:
    level = answer.pit.level_c
    for change in answer.changes:
        level = (level if change.pit_c is None else change.pit_c) + (change.pit_by or 0.0)
    return level


def _assumed(answer: Forecast) -> Iterator[Text]:
    """Say what that assumes, and what to beware of."""
    target = answer.target
    done = together((change.said for change in answer.changes), "; ")
    yield say(
        "Assumed from now on: {0}; the pit's probe near {1}, give or take {2}.",
        done if answer.changes else "hold as now",
        Degrees(answer.pit.level_c),
        Difference(answer.pit.level_doubt, 0),
    )
    past = answer.fitted.past
    recent = past.air_c[past.air_time_s >= past.duration_s - _RECENT_S]
    if recent.size and float(np.median(recent)) < answer.pit.level_c - _DIP_K:
        yield say(
            "It shows {0} now: that is taken for a dip that somebody mends. If nobody does, "
            "it takes longer than said here.",
            Reading(float(np.median(recent)), 0),
        )
    if _explained(answer):
        yield answer.fitted.in_words()
    else:
        yield say(
            "The best curve of the physics misses the readings by {0} on average, so it is "
            "not shown as a guess at this piece.",
            Difference(answer.fitted.residual_k, 1),
        )
    if target.kind == "lethality":
        yield (
            "Reckoned at the centre of the fitted piece, each interval at its slower rate, "
            "with nothing taken off for the error of your probe: take the late end of the "
            "band, not the middle."
        )
        yield cautions.FORECAST
    yield from answer.notes


def _goal(target: Target) -> Text:
    if target.kind == "core":
        return say("the probe shows {0}", Degrees(target.value, None))
    if target.kind == "tenderness":
        return f"it is tender ({target.value:g} of the published softening)"
    return f"the core has {target.value:g} log reductions of {_organism(target)}"


def _organism(target: Target) -> str:
    kinetics = load_kinetics(target.name)
    return f"{kinetics.organism} in {kinetics.food}"


def chance_table(answer: Forecast) -> Table:
    """Return by when it is ready, with which chance."""
    rows = []
    for percent in BANDS:
        at_s = answer.quantile_s(percent)
        when = "later than was looked at, or never"
        if math.isfinite(at_s):
            when = moment(at_s, answer.now_s, answer.fitted.past.log)
        rows.append((f"{percent:g} in 100", when))
    return table_of("Ready by", ("chance", "when"), rows, (30, 70))


def witness_table(answer: Forecast) -> Table:
    """Return what the physics says by itself, what past cooks say, and what counts."""
    pooled = answer.pooled
    assert pooled is not None
    log = answer.fitted.past.log

    def row(name: str, times_s: list[float], weight: str) -> tuple[str, ...]:
        early, _, middle, _, late = times_s
        told = [around(t, answer.now_s, log) for t in (middle, early, late)]
        return (name, told[0], f"{told[1]} to {told[2]}", weight)

    past = "past cooks"
    if pooled.own_share > 0.005:
        past += f" ({pooled.own_share:.0%} your own)"
    rows = [
        row("physics", _alone(answer, pooled.physics_left_s), f"{pooled.trust:.0%}"),
        row(past, _alone(answer, pooled.witness_left_s), f"{1 - pooled.trust:.0%}"),
        row("both", [answer.quantile_s(p) for p in BANDS], ""),
    ]
    heads = ("witness", "ready about", "nine times in ten", "counts")
    return table_of("What each witness says by itself", heads, rows, (20, 30, 40, 10))


def fitted_table(answer: Forecast) -> Table:
    """Return the best guess at the piece and its pit, and what is still open of it."""
    member, spread = answer.fitted.member, answer.fitted.spread
    guesses: tuple[tuple[str, str, Text], ...] = (
        (
            "size",
            "size against what was stated",
            f"{100 * (member.size_factor - 1):+.0f} %",
        ),
        (
            "heat_transfer",
            "heat transfer against the table",
            f"x {member.heat_transfer_factor:.2f}",
        ),
        _dampness(answer.fitted),
        ("hold_midpoint", "juice let go around", Degrees(member.hold_midpoint_c, 1)),
    )
    return table_of(
        "The fitted piece and pit",
        ("", "best guess", "doubt left of what it was"),
        ((words, guess, f"{spread[name]:.0%}") for name, words, guess in guesses),
    )


def _dampness(fitted: Fitted) -> tuple[str, str, Text]:
    """Say how damp the best guess's pit is: by its fresh air, or its dew point if stated."""
    fresh = fitted.prior.fresh_air(fitted.member)
    if fresh is None:
        dew = Degrees(fitted.prior.dew_point(fitted.member))
        return ("dampness", "dew point of the pit", dew)
    return ("dampness", "fresh air through the pit", say("{0}/h", Mass(fresh)))


def forecast_data(answer: Forecast) -> tuple[Data, ...]:
    """Return the bands, the finish of each draw, and the log."""
    log = answer.fitted.past.log
    bands = data_of(
        "forecast-bands.csv",
        {
            "time_s": answer.time_s,
            **{
                f"p{percent:g}_c": row
                for percent, row in zip(BANDS, answer.bands_c, strict=True)
            },
        },
        "Percentiles of the probe's reading, in the log's time.",
    )
    finish = data_of(
        "forecast-finish.csv",
        {"finish_s": answer.finish_s},
        "When each draw is ready, in the log's time; inf where never within the horizon.",
    )
    return (bands, finish, log_data(log)) if log is not None else (bands, finish)
