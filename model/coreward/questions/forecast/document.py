"""All that is said of a forecast."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

import numpy as np

from coreward import cautions
from coreward.physics.lethality import load_kinetics
from coreward.questions.forecast.answer import BANDS, Forecast, Target
from coreward.questions.forecast.fit import Fitted
from coreward.questions.forecast.words import moment
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
    Reading,
    Text,
    UnitChoice,
    say,
    together,
)

# A pit that has lately been this far below its level is spoken of.
_DIP_K, _RECENT_S = 10.0, 900.0


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
    blocks += [
        Listing(tuple(_assumed(answer)), "What it assumes, and what the log told"),
        chance_table(answer),
        fitted_table(answer),
    ]
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
    return {
        "kind": "forecast",
        "log_start": None if log is None else log.start,
        "now_s": answer.now_s,
        "ready_s": {f"p{p:g}": answer.quantile_s(p) for p in BANDS},
        "never_within_horizon": answer.never_share,
        "members": len(answer.finish_s),
        "undetermined": answer.fitted.undetermined(),
        "curve": {"time_s": answer.time_s, **bands},
    }


def _answered(answer: Forecast) -> Iterator[Text]:
    """Say when it is ready."""

    def when(seconds: float) -> str:
        return moment(seconds, answer.now_s, answer.fitted.past.log)

    def mark(seconds: float) -> str:
        return when(seconds).removeprefix("at ")

    target = answer.target
    horizon = Lasting(answer.horizon_s)
    if answer.already_s is not None:
        first = Degrees(target.value, None)
        yield say("The probe first showed {0} {1}.", first, when(answer.already_s))
    elif answer.never_share > 0.5:
        yield say(
            "If it goes on like this, it is more likely than not that {0} at no time within "
            "{1}: the pit is too cool, or too damp, for that.",
            _goal(target),
            horizon,
        )
    else:
        early, low, middle, high, late = (answer.quantile_s(p) for p in BANDS)
        yield say("Most likely {0} {1}.", _goal(target), when(middle))
        yield f"Half of the chances lie between {mark(low)} and {mark(high)}."
        yield f"Nine tenths lie between {mark(early)} and {mark(late)}."
        if answer.never_share > 0.01:
            share = f"{answer.never_share:.0%}"
            yield say("In {0} of the cases it does not get there in {1}.", share, horizon)


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
    yield answer.fitted.in_words()
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
    return ("dampness", "fresh air through the pit", f"{fresh:.1f} kg/h")


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
