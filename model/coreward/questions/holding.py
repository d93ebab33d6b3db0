"""How long can it be held? Serving temperature, hot-holding limit, and what then."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from coreward import tables
from coreward.cook.rest import BoxPlan, BoxRest, hold_in_box
from coreward.cook.result import Result
from coreward.cook.stages import Piece, Stage
from coreward.errors import InputError
from coreward.questions.verdict import CAUTION
from coreward.tables.standards import BandLimit, band_limits

Floats = NDArray[np.float64]

_HOUR = 3600.0
DEFAULT_LIMIT = "food code hot holding"
_COOLING = "food code cooling"


@dataclass(frozen=True)
class Holding:
    """How long a piece stays hot. Times count from the beginning of the hold.

    Attributes
    ----------
    result : Result
    time_s, core_c, coldest_c : ndarray
        The hold: time [s], core and coldest place of the piece. [°C]
    serving_c, limit_c : float
        Serving temperature, and the hot-holding limit with the probe's error on top. [°C]
    serving_s : float
        Until the core is below the serving temperature for good; 0 if never above. [s]
    hot_s : float
        Until the coldest place is below the limit; 0 if it is at the start. [s]
    core_hot_s : float
        The same for the core, which is what a probe shows. [s]
    serving_at_end, hot_at_end : bool
        Whether the hold ended before that happened: the time is a least one.
    limit : BandLimit
    sentence : str
    """

    result: Result
    time_s: Floats
    core_c: Floats
    coldest_c: Floats
    serving_c: float
    limit_c: float
    serving_s: float
    hot_s: float
    core_hot_s: float
    serving_at_end: bool
    hot_at_end: bool
    limit: BandLimit
    sentence: str


def hot_holding_limit(name: str = DEFAULT_LIMIT) -> BandLimit:
    """Return a limit for hot holding.

    Raises
    ------
    InputError
        If there is no such limit.
    """
    known = [item for item in band_limits() if item.kind == "hot holding"]
    for item in known:
        if item.standard == name:
            return item
    raise InputError(
        f"No hot-holding limit is called {name!r}; there are: "
        f"{', '.join(item.standard for item in known)}."
    )


def _until_below(time_s: Floats, value_c: Floats, level_c: float) -> tuple[float, bool]:
    """When a curve is below a level for good [s], and whether it still is not."""
    above = np.flatnonzero(value_c >= level_c)
    if not above.size:
        return 0.0, False
    last = int(above[-1])
    if last == len(value_c) - 1:
        return float(time_s[-1]), True
    a, b = float(value_c[last]), float(value_c[last + 1])
    share = (a - level_c) / (a - b)
    return float(time_s[last] + share * (time_s[last + 1] - time_s[last])), False


def _first_below(time_s: Floats, value_c: Floats, level_c: float) -> tuple[float, bool]:
    """When a curve first falls below a level [s], and whether it never does."""
    below = np.flatnonzero(value_c < level_c)
    if not below.size:
        return float(time_s[-1]), True
    i = int(below[0])
    if i == 0:
        return 0.0, False
    a, b = float(value_c[i - 1]), float(value_c[i])
    share = (a - level_c) / (a - b)
    return float(time_s[i - 1] + share * (time_s[i] - time_s[i - 1])), False


def holding(
    held: Result | BoxRest,
    hold_from: int = -1,
    *,
    serving_c: float | None = None,
    limit: str = DEFAULT_LIMIT,
    probe_error_k: float | None = None,
) -> Holding:
    """Read off a result how long it may be held hot.

    Parameters
    ----------
    held : Result or BoxRest
        Of a box, the first kind of piece.
    hold_from : int
        Index of the first stage of the hold; the last stage by default.
    serving_c : float, optional
        Core temperature below which it is no longer served; table ``holding``. [°C]
    limit : str
        Name of a hot-holding limit.
    probe_error_k : float, optional
        Added to the limit; table ``verdict`` if None. [K]

    Returns
    -------
    Holding

    Raises
    ------
    InputError
        For an unknown limit or stage.
    """
    result = held.result if isinstance(held, BoxRest) else held
    count = len(result.records)
    first = hold_from + count if hold_from < 0 else hold_from
    if not 0 <= first < count:
        raise InputError(f"There is no stage {hold_from}; the result has {count} stages.")
    rule = hot_holding_limit(limit)
    error = tables.load("verdict")["probe_error"] if probe_error_k is None else probe_error_k
    serve = tables.load("holding")["serving_c"] if serving_c is None else float(serving_c)
    begin = result.records[first].begin_s
    inside = result.time_s >= begin
    time = result.time_s[inside] - begin
    core = result.core_c[inside]
    coldest = result.temperature_c[inside].min(axis=1)
    floor = rule.from_c + error
    serving, serving_open = _until_below(time, core, serve)
    hot, hot_open = _first_below(time, coldest, floor)
    core_hot, _ = _first_below(time, core, floor)
    draft = Holding(
        result=result,
        time_s=time,
        core_c=core,
        coldest_c=coldest,
        serving_c=serve,
        limit_c=floor,
        serving_s=serving,
        hot_s=hot,
        core_hot_s=core_hot,
        serving_at_end=serving_open,
        hot_at_end=hot_open,
        limit=rule,
        sentence="",
    )
    return replace(draft, sentence=_sentence(draft))


def _down(seconds: float) -> str:
    """Whole minutes, never more than there are."""
    minutes = math.floor(seconds / 60.0 + 1e-9)
    return f"{minutes // 60} h {minutes % 60:02d} min"


def _sentence(h: Holding) -> str:
    if h.serving_s <= 0.0:
        text = f"The core is never at {h.serving_c:.0f} °C in the hold."
    else:
        at_least = "at least " if h.serving_at_end else ""
        text = (
            f"The core stays at {h.serving_c:.0f} °C or above for {at_least}"
            f"{_down(h.serving_s)}."
        )
    # °C with a decimal, rounded up: a floor of 57.2 must not become 57.
    floor = math.ceil(10.0 * h.limit_c - 1e-6) / 10.0
    if h.hot_at_end:
        text += (
            f" Every part stays above the hot-holding limit ({floor:.1f} °C with the probe's "
            f"error) to the end of the hold, {_down(h.hot_s)}."
        )
        return f"{text} {CAUTION}"
    if h.hot_s <= 0.0:
        text += (
            f" Its coldest part is below the hot-holding limit ({floor:.1f} °C with the "
            "probe's error) from the start: this is a rest and not a hot hold."
        )
    else:
        text += (
            f" Its coldest part falls below the hot-holding limit ({floor:.1f} °C with the "
            f"probe's error) after {_down(h.hot_s)}."
        )
    if h.core_hot_s > h.hot_s:
        text += f" A probe in the core shows it only after {_down(h.core_hot_s)}."
    legs = [item for item in band_limits() if item.standard == _COOLING]
    rules = " and ".join(f"{leg.to_c:.0f} °C within {leg.limit_s / _HOUR:g} h" for leg in legs)
    text += (
        f" From then on it is cooling: eat it, or chill it at once, counted from "
        f"{legs[0].from_c:.0f} °C to {rules} (Food Code)."
    )
    return f"{text} {CAUTION}"


def holding_by_pieces(
    piece: Piece,
    stages_before: Stage | Sequence[Stage],
    plan: BoxPlan,
    counts: Sequence[int],
    *,
    serving_c: float | None = None,
    **options: Any,
) -> tuple[tuple[int, Holding], ...]:
    """How long a box with one, two or more pieces alike stays hot.

    Parameters
    ----------
    piece, stages_before
        As in :func:`coreward.cook.rest.hold_in_box`.
    plan : BoxPlan
        Its number of pieces is replaced.
    counts : sequence of int
        How many pieces.
    serving_c : float, optional
        [°C]
    **options
        Passed on to the simulation.

    Returns
    -------
    tuple of (int, Holding)
    """
    out = []
    for count in counts:
        shared = hold_in_box(
            piece,
            stages_before,
            plan.box,
            duration_s=plan.duration_s,
            mass_kg=plan.mass_kg,
            pieces=count,
            wrap=plan.wrap,
            preheated_c=plan.preheated_c,
            room_c=plan.room_c,
            **options,
        )
        out.append((count, holding(shared, serving_c=serving_c)))
    return tuple(out)
