"""A moment of a forecast in words, and why a forecast moved since an earlier one."""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import dataclass, replace

import numpy as np

from coreward.errors import InputError
from coreward.logs.log import ProbeLog
from coreward.questions.forecast.answer import Forecast, forecast_from
from coreward.words import (
    METRIC,
    Lasting,
)

_STILL_S = 120.0


@dataclass(frozen=True)
class Move:
    """How a forecast moved since an earlier one, and why. Seconds; later is positive."""

    total_s: float
    """Of the median."""
    pit_s: float
    """Because the pit did otherwise, and is now expected otherwise, than was assumed."""
    meat_s: float
    """Because the meat answered otherwise than expected, or the plan changed."""

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
        old_piece, after.target, after.changes, members=members, weighed=False, witness=False
    )
    same = forecast_from(
        before.fitted,
        before.target,
        before.changes,
        members=members,
        weighed=False,
        witness=False,
    )
    total = after.median_s - before.median_s
    pit = there.median_s - same.median_s
    if not (math.isfinite(total) and math.isfinite(pit)):
        return Move(math.inf, math.inf, math.inf)
    return Move(total, pit, total - pit)


def around(seconds: float, now_s: float, log: ProbeLog | None = None) -> str:
    """Name a time without "at": "13:40 (in 2 h)", or "2 h from now" without a clock."""
    named = moment(seconds, now_s, log)
    if " of the log (" in named and seconds >= now_s:
        return f"{Lasting(seconds - now_s).shown(METRIC)} from now"
    return named.removeprefix("at ")


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
