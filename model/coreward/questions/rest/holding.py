"""How long can it be held? Serving temperature, hot-holding limit, and what then.

The computed times are an outlook: measured joints cooled as fast as in a share of what the
model says (table ``holding``), and only that share is counted on, unless the place itself
is as hot as the limit.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from coreward import tables
from coreward.cook.rest import BoxPlan, BoxRest, coldest_around, hold_in_box
from coreward.cook.result import Result
from coreward.cook.stages import Piece, Stage
from coreward.errors import InputError
from coreward.questions.verdict import CAUTION
from coreward.tables.standards import BandLimit, band_limits
from coreward.words import Degrees, Difference, Held, Published, Say, say, together

Floats = NDArray[np.float64]

DEFAULT_LIMIT = "food code hot holding"
_COOLING = "food code cooling"


@dataclass(frozen=True)
class Holding:
    """How long a piece stays hot. Times count from the beginning of the hold."""

    result: Result
    time_s: Floats
    core_c: Floats
    coldest_c: Floats
    """The hold: time [s], core and coldest place of the piece. [°C]"""
    serving_c: float
    limit_c: float
    """Serving temperature, and the hot-holding limit with the probe's error on top. [°C]"""
    serving_s: float
    """Until the core is below the serving temperature for good; 0 if never above. [s]"""
    hot_s: float
    """Until the coldest place is below the limit, by the model; 0 if it is at the start. [s]"""
    sure_hot_s: float
    """What of that may be counted on: as if it cooled as fast as the fastest joint that was
    measured. [s]"""
    core_hot_s: float
    """As `hot_s` for the core, which is what a probe shows. [s]"""
    serving_at_end: bool
    hot_at_end: bool
    """Whether the hold ended before that happened: the time is a least one."""
    limit: BandLimit
    probe_error_k: float
    """That `limit_c` has on top. [K]"""
    sentence: Say


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
    coldest = result.coldest_c[inside]
    floor = rule.from_c + error
    serving, serving_open = _until_below(time, core, serve)
    hot, hot_open = _first_below(time, coldest, floor)
    core_hot, _ = _first_below(time, core, floor)
    # A place that is as hot as the limit keeps it there, however fast it comes to it.
    kept = all(coldest_around(stage) >= floor for stage in result.stages[first:])
    sure = hot if kept else tables.load("holding")["fast_cooked"] * hot
    draft = Holding(
        result=result,
        time_s=time,
        core_c=core,
        coldest_c=coldest,
        serving_c=serve,
        limit_c=floor,
        serving_s=serving,
        hot_s=hot,
        sure_hot_s=sure,
        core_hot_s=core_hot,
        serving_at_end=serving_open,
        hot_at_end=hot_open,
        limit=rule,
        probe_error_k=error,
        sentence=say(""),
    )
    return replace(draft, sentence=_sentence(draft))


def _sentence(h: Holding) -> Say:
    floor = Published(h.limit_c)
    if h.serving_s <= 0.0:
        parts = [say("The core is never at {0} in the hold.", Degrees(h.serving_c))]
    else:
        parts = [
            say(
                f"The core stays at {{0}} or above for {_least(h.serving_at_end)}{{1}}.",
                Degrees(h.serving_c),
                Held(h.serving_s),
            )
        ]
    if h.hot_at_end:
        parts.append(
            say(
                "Every part stays above the hot-holding limit ({0} with the probe's error) to "
                "the end of the hold, {1}.",
                floor,
                Held(h.hot_s),
            )
        )
    elif h.hot_s <= 0.0:
        parts.append(
            say(
                "Its coldest part is below the hot-holding limit ({0} with the probe's error) "
                "from the start: this is a rest and not a hot hold.",
                floor,
            )
        )
    else:
        parts.append(
            say(
                "Its coldest part falls below the hot-holding limit ({0} with the probe's "
                "error) after {1}.",
                floor,
                Held(h.hot_s),
            )
        )
    if h.sure_hot_s < h.hot_s:
        fast = tables.load("holding")["fast_cooked"]
        parts.append(
            say(
                f"Measured joints cooled in as little as {fast:g} of the time that the model "
                "says: count on {0}.",
                Held(h.sure_hot_s),
            )
        )
    if h.core_hot_s > h.hot_s:
        parts.append(say("A probe in the core shows it only after {0}.", Held(h.core_hot_s)))
    if not h.hot_at_end:
        parts.append(_then())
    parts.append(
        say(
            "This is an outlook of the model and no measurement; assumed: the coldest part "
            "counts, probe error {0}.",
            Difference(h.probe_error_k),
        )
    )
    return together([*parts, say(CAUTION)])


def _least(open_end: bool) -> str:
    return "at least " if open_end else ""


def _then() -> Say:
    """Say what counts from the end of a hot hold on."""
    legs = [item for item in band_limits() if item.standard == _COOLING]
    rules = together(
        (
            say("{0} within {1}", Published(leg.to_c, at_most=True), Held(leg.limit_s))
            for leg in legs
        ),
        " and ",
    )
    return say(
        "From then on it is cooling: eat it, or chill it at once, counted from {0} to {1} "
        "(Food Code).",
        Published(legs[0].from_c, at_most=True),
        rules,
    )


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
