"""A forecast in words and numbers, and why it moved since an earlier one."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from coreward import cautions
from coreward.errors import InputError
from coreward.logs.log import ProbeLog
from coreward.physics.lethality import load_kinetics
from coreward.questions.forecast.answer import BANDS, Forecast, Target, forecast_from
from coreward.words import (
    METRIC,
    Degrees,
    Difference,
    Lasting,
    Reading,
    Text,
    Units,
    say,
    shown,
    together,
)

_STILL_S = 120.0
# A pit that has lately been this far below its level is spoken of.
_DIP_K, _RECENT_S = 10.0, 900.0


@dataclass(frozen=True)
class Move:
    """How a forecast moved since an earlier one, and why. Seconds; later is positive.

    Attributes
    ----------
    total_s : float
        Of the median.
    pit_s : float
        Because the pit did otherwise, and is now expected otherwise, than was assumed.
    meat_s : float
        Because the meat answered otherwise than expected, or the plan changed.
    """

    total_s: float
    pit_s: float
    meat_s: float

    def in_words(self) -> str:
        """Say it as a person would."""
        if not math.isfinite(self.total_s):
            return "One of the two forecasts has no finish within its horizon."
        if abs(self.total_s) < _STILL_S:
            return "The forecast has hardly moved since the earlier one."

        def part(seconds: float, why: str) -> str:
            way = "later" if seconds > 0.0 else "earlier"
            return f"{Lasting(abs(seconds)).shown(METRIC)} {way} {why}"

        return (
            f"The finish moved {part(self.total_s, 'than thought before')}: "
            f"{part(self.pit_s, 'from the pit')}, "
            f"{part(self.meat_s, 'from what the meat showed')}."
        )


def explain_move(before: Forecast, after: Forecast, *, members: int = 100) -> Move:
    """Split a move of the median between the pit and the meat.

    The piece as understood before is cooked through the pit as it has been since, and is
    expected now: what changes by that is the pit's part.

    Parameters
    ----------
    before, after : Forecast
        Of the same cook, the later second.
    members : int
        Draws for the split.

    Raises
    ------
    InputError
        If `after` was not made later.
    """
    if after.now_s < before.now_s:
        raise InputError("Give the earlier forecast first.")
    z = before.fitted.best
    padded = np.zeros(len(after.fitted.names))
    padded[: min(len(z), len(padded))] = z[: len(padded)]
    root = np.zeros((len(padded), len(padded)))
    size = min(len(before.fitted.root), len(padded))
    root[:size, :size] = before.fitted.root[:size, :size]
    old_piece = replace(after.fitted, best=padded, root=root)
    there = forecast_from(
        old_piece, after.target, after.changes, members=members, weighed=False
    )
    same = forecast_from(
        before.fitted, before.target, before.changes, members=members, weighed=False
    )
    total = after.median_s - before.median_s
    pit = there.median_s - same.median_s
    if not (math.isfinite(total) and math.isfinite(pit)):
        return Move(math.inf, math.inf, math.inf)
    return Move(total, pit, total - pit)


def forecast_text(answer: Forecast, log: ProbeLog | None = None, units: Units = "C") -> str:
    """Say a forecast in words, with what it assumed.

    Parameters
    ----------
    answer : Forecast
    log : ProbeLog, optional
        For times of day.
    units : str or UnitChoice
        ``"C"`` or ``"F"``, or a choice of units.
    """
    return "\n".join(shown(line, units) for line in _lines(answer, log))


def _lines(answer: Forecast, log: ProbeLog | None) -> Iterator[Text]:
    def when(seconds: float) -> str:
        return moment(seconds, answer.now_s, log)

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


def moment(seconds: float, now_s: float, log: ProbeLog | None = None) -> str:
    """Name a time of a log: by the clock where there is one, and from now."""
    if not math.isfinite(seconds):
        return "never"
    ahead = seconds - now_s
    span = Lasting(abs(ahead)).shown(METRIC)
    relative = f"in {span}" if ahead >= 0.0 else f"{span} ago"
    clock = None
    if log is not None and log.start is not None:
        clock = log.start + dt.timedelta(seconds=seconds)
    elif log is not None and log.start_clock is not None:
        day = dt.datetime.combine(dt.date(2000, 1, 1), log.start_clock)
        clock = day + dt.timedelta(seconds=seconds)
    if clock is None:
        return f"at {Lasting(seconds).shown(METRIC)} of the log ({relative})"
    return f"at {clock:%H:%M} ({relative})"


def forecast_dict(
    answer: Forecast, log: ProbeLog | None = None, units: Units = "C"
) -> dict[str, Any]:
    """Return a forecast as plain numbers and words, for JSON.

    Parameters
    ----------
    answer : Forecast
    log : ProbeLog, optional
        Gives the date and time at which second 0 of the log was, where it is known.
    units : str or UnitChoice
        Of the sentences; numbers stay in °C.

    Returns
    -------
    dict
        Times in the log's seconds, temperatures in °C; what is never is null.
    """

    def number(value: float) -> float | None:
        return float(value) if math.isfinite(value) else None

    return {
        "log_start": log.start.isoformat() if log is not None and log.start else None,
        "now_s": answer.now_s,
        "target": {"kind": answer.target.kind, "value": answer.target.value},
        "changes": [change.in_words(units) for change in answer.changes],
        "ready_s": {f"p{p:g}": number(answer.quantile_s(p)) for p in BANDS},
        "already_s": answer.already_s,
        "never_within_horizon": answer.never_share,
        "pit_c": answer.pit.level_c,
        "members": len(answer.finish_s),
        "effective_share": answer.effective_share,
        "fit": {
            "residual_k": answer.fitted.residual_k,
            "doubt_left": answer.fitted.spread,
            "undetermined": list(answer.fitted.undetermined()),
        },
        "curve": {
            "time_s": answer.time_s.tolist(),
            **{f"p{p:g}_c": row.tolist() for p, row in zip(BANDS, answer.bands_c, strict=True)},
        },
        "notes": [shown(note, units) for note in answer.notes],
    }
