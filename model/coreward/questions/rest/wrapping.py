"""What does the moment of the wrap decide? Time, weight, and how soft the crust goes.

A wrap shuts evaporation off: the cook is sooner done and loses less, and the crust that had
dried takes water up again. Later is drier and slower. There is no best moment, only a
choice between these.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from coreward import tables
from coreward.cook.result import Result
from coreward.cook.simulate import simulate
from coreward.cook.stages import Liquid, Piece, Stage, Surroundings, Wrap
from coreward.errors import InputError
from coreward.words import Degrees, say


def wrapped_cook(
    pit: Surroundings,
    *,
    wrap: Wrap = "foil",
    at_core_c: float | None = None,
    after_s: float | None = None,
    off_core_c: float | None = None,
    liquid: Liquid | None = None,
) -> tuple[tuple[Stage, ...], Wrap, Liquid | None]:
    """Return what comes before the last heat, what is worn in it, and what is poured in.

    Parameters
    ----------
    at_core_c : float, optional
        Core temperature at which it is wrapped. [°C]
    after_s : float, optional
        Or the time after which it is; with neither it never is. [s]
    off_core_c : float, optional
        Core temperature at which the wrap comes off again; it stays on if None. [°C]

    Returns
    -------
    before : tuple of Stage
    wrap : str, ParameterSet or None
        Of the last heat.
    liquid : Liquid or None
        Of the last heat, where it is the wrapped one.

    Raises
    ------
    InputError
        If both a core temperature and a time are given, or the wrap would come off before
        it is on.
    """
    if at_core_c is not None and after_s is not None:
        raise InputError("Wrap at a core temperature (at_core_c) or after a time, not both.")
    if wrap is None or (at_core_c is None and after_s is None):
        return (), None, None
    longest = tables.load("carryover")["longest_cook"]
    bare = Stage(
        pit,
        duration_s=longest if after_s is None else after_s,
        until_core_c=at_core_c,
        label="bare",
    )
    if off_core_c is None:
        return (bare,), wrap, liquid
    if at_core_c is not None and off_core_c <= at_core_c:
        raise InputError(
            say(
                "The wrap goes on at a core of {0} and cannot come off at {1}: take it off "
                "later, or put it on sooner.",
                Degrees(at_core_c, None),
                Degrees(off_core_c, None),
            )
        )
    covered = Stage(
        pit,
        duration_s=longest,
        until_core_c=off_core_c,
        wrap=wrap,
        label="wrapped",
        liquid=liquid,
    )
    return (bare, covered), None, None


@dataclass(frozen=True)
class Crust:
    """How dry the surface came, and how soft it went after that."""

    driest: float
    driest_s: float
    softest: float
    softest_s: float
    """When. [s]"""
    at_end: float
    """Surface water activity: the least while it dried, the most after that, the last. [-]"""
    sentence: str


def crust(result: Result, dries_until_s: float | None = None) -> Crust:
    """Read off a result how the crust dried and softened.

    Parameters
    ----------
    dries_until_s : float, optional
        The driest is looked for until then: until it is wrapped or pulled, say. To the
        end if None. [s]

    Notes
    -----
    Water activity is 1 where the surface is wet and falls as it dries; below about 0.9
    bacteria stop growing and below 0.6 everything does, but what a tongue calls crisp is
    not in it.
    """
    wet, time = result.surface_water_activity, result.time_s
    last = len(time) if dries_until_s is None else int(np.searchsorted(time, dries_until_s))
    i = int(np.argmin(wet[: max(last, 1)]))
    j = i + int(np.argmax(wet[i:]))
    dry, soft, end = (float(wet[k]) for k in (i, j, -1))
    text = f"The crust is driest at a water activity of {dry:.2f}"
    if soft > dry + 0.05:
        text += f", softens to {soft:.2f} at most and ends at {end:.2f}."
    else:
        text += " and does not soften again."
    return Crust(dry, float(time[i]), soft, float(time[j]), end, text)


@dataclass(frozen=True)
class WrapMoment:
    """One moment of wrapping and what came of it."""

    at_core_c: float
    """Core at the wrap; infinite for never. [°C]"""
    wrapped_s: float
    """When; infinite where it never came to it. [s]"""
    done_s: float
    """When the core was where it should be; infinite where it did not get there. [s]"""
    loss: float
    """Of the raw mass, at that moment. [-]"""
    crust: Crust
    result: Result


def wrap_moments(
    piece: Piece,
    pit: Surroundings,
    done_core_c: float,
    moments_c: Sequence[float | None],
    *,
    wrap: Wrap = "foil",
    liquid: Liquid | None = None,
    **options: Any,
) -> tuple[WrapMoment, ...]:
    """Try several moments of wrapping.

    Parameters
    ----------
    done_core_c : float
        Core at which it is done. [°C]
    moments_c : sequence of float or None
        Core temperatures at which it is wrapped; None for never. [°C]

    Returns
    -------
    tuple of WrapMoment
        A moment after it is done is the same as never.
    """
    longest = tables.load("carryover")["longest_cook"]
    out = []
    for moment in moments_c:
        late = moment is not None and moment >= done_core_c
        before, worn, poured = wrapped_cook(
            pit, wrap=wrap, at_core_c=None if late else moment, liquid=liquid
        )
        last = Stage(
            pit,
            duration_s=longest,
            until_core_c=done_core_c,
            wrap=worn,
            label="wrapped" if before else "bare",
            liquid=poured,
        )
        result = simulate(piece, [*before, last], **options)
        came = bool(before) and result.records[0].reached is True
        out.append(
            WrapMoment(
                at_core_c=math.inf if moment is None else float(moment),
                wrapped_s=result.records[0].end_s if came else math.inf,
                done_s=result.duration_s if result.records[-1].reached else math.inf,
                loss=float(result.mass_loss_fraction[-1]),
                crust=crust(result, result.records[0].end_s),
                result=result,
            )
        )
    return tuple(out)


def up_to(piece: Piece, stages: Sequence[Stage], pull_c: float) -> tuple[Stage, ...]:
    """Cut a cook short where its core first comes to the pull.

    A wrap, a pour or an unwrapping that would come after the pull does not happen.

    Parameters
    ----------
    stages : sequence of Stage
        The last one goes on for as long as it takes.
    """
    kept: list[Stage] = []
    for stage in stages:
        target = stage.until_core_c
        later = target is None or target >= pull_c
        kept.append(replace(stage, until_core_c=pull_c) if later else stage)
        if not later or stage is stages[-1]:
            continue
        # A target beyond the pull is never met; a time may be over before.
        if stage.duration_s is None or simulate(piece, kept).records[-1].reached:
            break
    return tuple(kept)
