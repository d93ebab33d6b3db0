"""Two witnesses of one cook: the physics that was fitted to it, and past cooks.

The physics is superb where its equations hold and too sure where they do not; past cooks
know less and are seldom wrong. What is believed is a pool of both, by how surprised the
physics is at the log it was fitted to. The pool is widened as far as forecasts of cooks of
other makings had to be (table ``forecast``, sets ``pool`` and ``stretch``).

"Never" is kept only where the air itself is too cool; curves of past cooks join the fan,
stretched to their time left. All numbers are learned with the judged making left out
(``tests/verification/learn_pool.py``); those kept to judge it are scored, never tuned on.
Learn them again when the fit's physics changes: surprise is its own measure.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from scipy import special

from coreward import tables
from coreward.errors import InputError
from coreward.experience.past_cook import PastCook
from coreward.experience.witness import (
    Seen,
    Testimony,
    ask_witness,
    library_shelf,
    shelve,
)
from coreward.plain import apart
from coreward.questions.forecast.fit import Fitted, Floats, whitened_residual

if TYPE_CHECKING:
    from coreward.questions.forecast.answer import Change

_RECENT_S = 3600.0
_LEVEL_S = 2 * 3600.0
_SOON_S = 3 * 3600.0
_HOUR = 3600.0
_STANDING_K_H = 4.0
_STANDS_FROM_C = 45.0
_STANDS_UNDER_K = 15.0


@dataclass(frozen=True)
class Surprise:
    """How far the best curve of the physics is from the log, in its own measure."""

    largest: float
    typical: float
    """Of the standardised residuals: the largest, and the root of their mean square. 1 is what
    the physics expects. [-]"""
    residual_k: float
    """Root mean square of reading less best curve. [K]"""
    slope_k_h: float
    """How much faster the reading rises than the best curve, lately. [K/h]"""
    far: float
    """How far the best guess had to go from what was believed: root mean square. [-]"""

    @property
    def measures(self) -> dict[str, float]:
        """What takes off the trust, by the names of table ``forecast``."""
        return {
            "typical": math.log(max(self.typical, 0.1)),
            "residual": math.log(max(self.residual_k, 0.05)),
            "slope": math.log1p(abs(self.slope_k_h)),
            "far": math.log(max(self.far, 0.1)),
        }


def surprise_of(fitted: Fitted) -> Surprise:
    """Return how surprised the physics is at its log."""
    past = fitted.past
    white = whitened_residual(fitted)
    lately = past.time_s >= past.duration_s - _RECENT_S
    slope = 0.0
    if lately.sum() > 2:
        off = past.reading_c[lately] - fitted.predicted_c[lately]
        slope = float(np.polyfit(past.time_s[lately] / _HOUR, off, 1)[0])
    return Surprise(
        largest=float(np.abs(white).max()),
        typical=float(np.sqrt(np.mean(white**2))),
        residual_k=fitted.residual_k,
        slope_k_h=slope,
        far=float(np.sqrt(np.mean(fitted.best**2))),
    )


def trust_in(surprise: Surprise) -> float:
    """Return what the physics weighs in the pool, from 0 to 1."""
    pool = tables.load("forecast", "pool")
    log = pool["middle"]
    for name, value in surprise.measures.items():
        log -= pool[name] * value
    return float(pool["most"] * special.expit(log))


@dataclass(frozen=True)
class Pooled:
    """What is believed of the finish, and what each witness says."""

    trust: float
    """Share of the physics in the pool. [-]"""
    surprise: Surprise
    stage: str
    """One of "far", "near" or "standing"."""
    physics_left_s: Floats = field(metadata=apart())
    """Draws of the physics alone; infinite for never. [s]"""
    witness_left_s: Floats = field(metadata=apart())
    """Draws of the past cooks alone; empty where none could be asked. [s]"""
    own_share: float = 0.0
    """Of the past cooks' weight, what the person's own have. [-]"""
    stood_s: float = 0.0
    """How long it has stood still so far. [s]"""
    too_cool: bool = False
    """Whether the air itself, as it is foreseen, is too cool for the target."""

    @property
    def explains(self) -> bool:
        """Whether the physics may be shown as an explanation of the curve."""
        pool = tables.load("forecast", "pool")
        return (
            trust_in(self.surprise) >= pool["explains_from"]
            and self.surprise.residual_k < pool["shown_below"]
        )


def stage_of(seen: Seen) -> str:
    """Return how far a cook has come, from what was seen of it."""
    known = np.isfinite(seen.core_c)
    time, core = seen.time_s[known], seen.core_c[known]
    now, level = (
        float(core[-1]),
        float(np.nanmedian(seen.air_c[seen.time_s >= time[-1] - _HOUR])),
    )
    lately = time >= time[-1] - _RECENT_S
    if time[-1] - time[0] > 0.75 * _RECENT_S and lately.sum() > 2:
        slope = float(np.polyfit(time[lately] / _HOUR, core[lately], 1)[0])
        if slope < _STANDING_K_H and now > _STANDS_FROM_C and level > now + _STANDS_UNDER_K:
            return "standing"
    return "far" if now < 0.5 * (seen.start_c + seen.target_c) else "near"


def seen_of(
    fitted: Fitted,
    target_c: float,
    changes: Sequence[Change] = (),
    level_c: float | None = None,
    pit_name: str = "",
) -> Seen:
    """Return what a witness may see of a running cook.

    Parameters
    ----------
    level_c : float, optional
        The pit's reading as it is foreseen before any change; None for as it was. [°C]
    """
    past, piece = fitted.past, fitted.prior.piece
    # Blocks have their middles as times: the last is drawn out to now.
    time, core = past.time_s, past.reading_c
    if len(time) > 2 and past.duration_s - time[-1] > 1.0:
        pace = (core[-1] - core[-3]) / (time[-1] - time[-3])
        gone = min(past.duration_s - time[-1], _RECENT_S)
        time = np.append(time, past.duration_s)
        core = np.append(core, core[-1] + pace * gone)
    air = np.interp(time, past.air_time_s, past.air_c)
    was = float(np.median(past.air_c[past.air_time_s >= past.duration_s - _LEVEL_S]))
    wraps = [when for when, wrap in past.wraps if wrap is not None]
    wrapped = past.wrap_now is not None
    will_wrap = any(c.wrap in ("foil", "paper") for c in changes) and not wrapped
    return Seen(
        time_s=time,
        air_c=air,
        core_c=core,
        target_c=target_c,
        start_c=piece.start_c,
        thickness_m=piece.shape.size,
        mass_kg=piece.mass_kg,
        wrap_s=wraps[-1] if wrapped and wraps else None,
        will_wrap=will_wrap,
        air_change_k=_air_change(changes, was if level_c is None else level_c, was),
        pit=pit_name,
    )


def _air_change(changes: Sequence[Change], level: float, was: float) -> float:
    """How much hotter it will be in the mean; what comes late counts less. [K]."""
    hotter = level - was
    for change in changes:
        counts = 0.5 if change.in_s is None else math.exp(-change.in_s / _SOON_S)
        if change.pit_c is not None:
            hotter += counts * (change.pit_c - level)
            level = change.pit_c
        if change.pit_by is not None:
            hotter += counts * change.pit_by
            level += change.pit_by
    return hotter


def hear_witness(
    seen: Seen, own: Sequence[PastCook], left_out: str | None = None
) -> Testimony | None:
    """Ask the library and the person's own cooks; None where none was ever there."""
    try:
        return ask_witness(
            seen, library_shelf(), shelve(own) if own else None, left_out=left_out
        )
    except InputError:
        return None


def pool_draws(
    left_s: Floats, too_cool: bool, trust: float, heard: bool
) -> tuple[NDArray[np.int64], int]:
    """Choose which draws of the physics are kept, and how many of the past cooks join.

    "Never" is kept only where the air itself is too cool; a draw of the physics that never
    gets there in hot air is one that has lost its way, and costs the physics trust.

    Parameters
    ----------
    left_s : ndarray, shape (members,)
        Of the physics.
    heard : bool
        Whether past cooks can be asked.

    Returns
    -------
    kept : ndarray of int
        Draws of the physics, some twice where it has too few of them.
    joined : int
        Draws of the past cooks.
    """
    count = len(left_s)
    if not heard:
        return np.arange(count), 0
    ends = np.isfinite(left_s)
    never = np.flatnonzero(~ends) if too_cool else np.zeros(0, np.int64)
    finite = np.flatnonzero(ends)
    rest = count - len(never)
    sound = len(finite) / max(rest, 1)
    wanted = round(trust * sound * rest)
    if not len(finite):
        wanted = 0
    ordered = finite[np.argsort(left_s[finite])]
    evenly = (np.arange(wanted) + 0.5) / max(wanted, 1) * len(ordered)
    return np.concatenate((never, ordered[evenly.astype(np.int64)])), rest - wanted


def stretched(left_s: Floats, stage: str, trust: float) -> Floats:
    """Widen draws of the time left about their middle, as other makings ask. [s].

    Parameters
    ----------
    left_s : ndarray
        Infinite for never, which stays.
    stage : str
        See `stage_of`.
    trust : float
        What the physics counts: where it holds nothing has to be widened.
    """
    table = tables.load("forecast", "stretch")
    ends = np.isfinite(left_s) & (left_s > 0.0)
    if not ends.any():
        return left_s
    log = np.log(left_s[ends])
    middle = float(np.median(log))
    off = log - middle
    wider = np.where(off > 0.0, table[f"{stage}_later"], table[f"{stage}_sooner"])
    doubt = 1.0 - trust
    shift, factor = doubt * table[f"{stage}_shift"], 1.0 + doubt * (wider - 1.0)
    out = left_s.copy()
    out[ends] = np.exp(middle + shift + factor * off)
    return out


__all__ = [
    "Pooled",
    "Surprise",
    "hear_witness",
    "pool_draws",
    "seen_of",
    "stage_of",
    "stretched",
    "surprise_of",
    "trust_in",
]
