"""A forecast in words and numbers, and why it moved since an earlier one."""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from coreward import cautions
from coreward.errors import InputError
from coreward.logs.log import ProbeLog
from coreward.logs.parts import Unit
from coreward.physics.lethality import load_kinetics
from coreward.questions.forecast import BANDS, Forecast, Target, forecast_from
from coreward.units import celsius_to_fahrenheit

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
            return f"{abs(seconds) / 60:.0f} min {way} {why}"

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


def forecast_text(answer: Forecast, log: ProbeLog | None = None, units: Unit = "C") -> str:
    """Say a forecast in words, with what it assumed.

    Parameters
    ----------
    answer : Forecast
    log : ProbeLog, optional
        For times of day.
    units : {"C", "F"}
    """

    def degrees(value: float) -> str:
        shown = value if units == "C" else float(celsius_to_fahrenheit(value))
        return f"{shown:.0f} °{units}"

    def span(kelvin: float) -> str:
        return f"{kelvin if units == 'C' else kelvin * 1.8:.0f} °{units}"

    def when(seconds: float) -> str:
        return moment(seconds, answer.now_s, log)

    def mark(seconds: float) -> str:
        return when(seconds).removeprefix("at ")

    target = answer.target
    goal = {
        "core": f"the probe shows {degrees(target.value)}",
        "tenderness": f"it is tender ({target.value:g} of the published softening)",
        "lethality": f"the core has {target.value:g} log reductions",
    }[target.kind]
    if target.kind == "lethality":
        goal += f" of {_organism(target)}"
    lines = []
    if answer.already_s is not None:
        lines.append(
            f"The probe first showed {degrees(target.value)} {when(answer.already_s)}."
        )
    elif answer.never_share > 0.5:
        lines.append(
            f"If it goes on like this, it is more likely than not that {goal}"
            " at no time within 30 hours: the pit is too cool, or too damp, for that."
        )
    else:
        early, low, middle, high, late = (answer.quantile_s(p) for p in BANDS)
        lines.append(f"Most likely {goal} {when(middle)}.")
        lines.append(f"Half of the chances lie between {mark(low)} and {mark(high)}.")
        lines.append(f"Nine tenths lie between {mark(early)} and {mark(late)}.")
        if answer.never_share > 0.01:
            lines.append(
                f"In {answer.never_share:.0%} of the cases it does not get there in 30 hours."
            )
    done = "; ".join(change.in_words() for change in answer.changes) or "hold as now"
    lines.append(
        f"Assumed from now on: {done}; the pit's probe near {degrees(answer.pit.level_c)}, "
        f"give or take {span(answer.pit.level_doubt)}."
    )
    past = answer.fitted.past
    recent = past.air_c[past.air_time_s >= past.duration_s - _RECENT_S]
    if recent.size and float(np.median(recent)) < answer.pit.level_c - _DIP_K:
        lines.append(
            f"It shows {degrees(float(np.median(recent)))} now: that is taken for a dip that "
            "somebody mends. If nobody does, it takes longer than said here."
        )
    lines.append(answer.fitted.in_words())
    if target.kind == "lethality":
        lines.append(
            "Reckoned at the centre of the fitted piece, each interval at its slower rate, "
            "with nothing taken off for the error of your probe: take the late end of the "
            "band, not the middle."
        )
        lines.append(cautions.FORECAST)
    lines.extend(answer.notes)
    return "\n".join(lines)


def _organism(target: Target) -> str:
    kinetics = load_kinetics(target.name)
    return f"{kinetics.organism} in {kinetics.food}"


def moment(seconds: float, now_s: float, log: ProbeLog | None = None) -> str:
    """Name a time of a log: by the clock where there is one, and from now."""
    if not math.isfinite(seconds):
        return "never"
    ahead = seconds - now_s
    minutes = abs(round(ahead / 60.0))
    span = f"{minutes // 60} h {minutes % 60:02d} min" if minutes >= 60 else f"{minutes} min"
    relative = f"in {span}" if ahead >= 0.0 else f"{span} ago"
    clock = None
    if log is not None and log.start is not None:
        clock = log.start + dt.timedelta(seconds=seconds)
    elif log is not None and log.start_clock is not None:
        day = dt.datetime.combine(dt.date(2000, 1, 1), log.start_clock)
        clock = day + dt.timedelta(seconds=seconds)
    if clock is None:
        total = round(seconds / 60.0)
        return f"at {total // 60} h {total % 60:02d} min of the log ({relative})"
    return f"at {clock:%H:%M} ({relative})"


def forecast_dict(answer: Forecast, log: ProbeLog | None = None) -> dict[str, Any]:
    """Return a forecast as plain numbers and words, for JSON.

    Parameters
    ----------
    answer : Forecast
    log : ProbeLog, optional
        Gives the date and time at which second 0 of the log was, where it is known.

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
        "changes": [change.in_words() for change in answer.changes],
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
        "notes": list(answer.notes),
    }
