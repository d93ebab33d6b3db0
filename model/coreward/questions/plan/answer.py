"""When do I light the fire? Backward from the serving hour, with honest odds.

Each piece is cooked in hundreds of guises (`coreward.questions.plan.cooks`). What the
plan decides are clock times: when to light and when each piece goes on. What the meat
decides (wrap, pull) comes with a window. The odds are counted, not assumed to follow a
bell curve: a draw is ready if every piece of it can be on the plates by the hour, and in
hold if none of them had to wait longer than its hold allows.

Whoever reads the plan cannot know which draw is theirs, so all draws are pulled by one
rule, and that is what text, sheet and calendar print (`PieceCooks.pull_core_c`). Every end
is judged (`end`), waited for or not: what is not enough stands in the first sentence, what
cannot be told in the lead, on the sheet and in the calendar. A plan in a known pit draws
its days anew (`cooks.as_is_usual`); elsewhere what is usual for the cut counts beside the
physics. No curve and no pull rule is changed by it.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache, partial
from typing import Any

import numpy as np
from numpy.typing import NDArray

from coreward import tables
from coreward.cook.rest import BOX, hold_in_box, rest_stage
from coreward.cook.simulate import simulate
from coreward.cook.stages import Piece, Stage, Surroundings
from coreward.errors import InputError
from coreward.experience.learned import Learned
from coreward.questions.plan.cooks import (
    Draws,
    PieceCooks,
    as_is_usual,
    come_up_limit,
    cook_piece,
    deciding_standards,
    draw_days,
    pit_prior,
    portions,
)
from coreward.questions.plan.day import Kind, OddsCurve, PieceOutlook, Plan, Step
from coreward.questions.plan.end import judged_end
from coreward.questions.plan.inputs import (
    Hold,
    PitPlan,
    PlannedPiece,
    Wanted,
    as_pieces,
    aware,
    checked_chance,
    usual,
)
from coreward.questions.plan.late import late_sign
from coreward.questions.plan.words import (
    assumptions,
    cannot_be,
    cannot_have,
    chances,
    clock_text,
    hold_note,
    hold_words,
    past_words,
    pull_words,
    sentences,
    slips,
    uncomputed,
    wrap_words,
)
from coreward.questions.rest.holding import holding
from coreward.questions.verdict import CAUTION
from coreward.words import Degrees, Text, say

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

_HOUR = 3600.0
_QUANTILES = 120
_PASSES = 3
_LATEST_SERVING_S = 48 * _HOUR
# The hold is computed coarser than a single cook: it is asked for minutes, not tenths.
_HOLD_OPTIONS: dict[str, Any] = {"cells": 24, "tolerance": 0.2}


@dataclass(frozen=True, eq=False)
class _Asked:
    """The question, checked."""

    items: tuple[PlannedPiece, ...]
    pit: PitPlan
    serve: dt.datetime
    chance: float
    not_before: dt.datetime | None
    members: int
    seed: int
    taught: Learned | None = None


@dataclass(frozen=True, eq=False)
class _Day:
    """The arrays behind a plan. Times are seconds of the universal clock."""

    serve: float
    warm_s: Floats
    pull_s: Floats  # (pieces, members), from on; as wanted
    least_s: Floats  # (pieces, 1), rest and slicing
    most_s: Floats  # (pieces, 1), hold and slicing
    not_before: Floats  # (pieces,)
    first_light: float
    warm_up: float

    def times(self, leads: Floats, serve: float) -> tuple[float, Floats]:
        """When to light, and when each piece goes on, for so much time before serving."""
        on = np.maximum(_floor(serve - leads), self.not_before)
        light = max(_floor(float(on.min()) - self.warm_up), self.first_light)
        return light, np.maximum(on, light + self.warm_up)

    def shifted(self, leads: Floats, shift: float) -> tuple[float, Floats]:
        """Return the same day, all lit and put on later, as far as that can be."""
        light, _ = self.times(leads, self.serve)
        on = np.maximum(_floor(self.serve - leads), light + self.warm_up) + shift
        on = np.maximum(on, self.not_before)
        light = max(_floor(float(on.min()) - self.warm_up), self.first_light)
        return light, np.maximum(on, light + self.warm_up)

    def actual_on(self, light: float, on: Floats) -> Floats:
        """When each piece goes on in each draw: a slow fire keeps it waiting."""
        return np.maximum(on[:, None], light + self.warm_s[None, :])

    def judge(self, light: float, on: Floats, serve: float) -> tuple[Bools, Bools]:
        """Which pieces are ready by the hour, and which wait too long."""
        pulled = self.actual_on(light, on) + self.pull_s
        return pulled + self.least_s <= serve, pulled + self.most_s < serve


def _floor(seconds: Any) -> Any:
    step = tables.load("plan", "numerics")["round"]
    return np.floor(np.asarray(seconds) / step) * step


def plan(
    pieces: PlannedPiece | Sequence[PlannedPiece],
    serve_at: dt.datetime,
    *,
    pit: PitPlan | None = None,
    chance: float | None = None,
    not_before: dt.datetime | None = None,
    members: int | None = None,
    seed: int = 1830,
    cores: int | None = None,
    cook: Callable[..., PieceCooks] = cook_piece,
    taught: Learned | None = None,
) -> Plan:
    """Plan a day backward from its serving hour.

    Parameters
    ----------
    pieces : PlannedPiece or sequence of PlannedPiece
        One to ten, on one pit.
    serve_at : datetime
        When the plates must be full; with a time zone.
    pit : PitPlan, optional
        One level of 110 °C if None.
    chance : float, optional
        Chance wanted of being ready by then and not too early for the hold; table
        ``plan`` if None. [-]
    not_before : datetime, optional
        The fire cannot be lit earlier, for example because it is now.
    members, seed : int, optional
        Draws. The same question gives the same answer.
    cores : int, optional
        Threads.
    cook : callable
        `cook_piece`, or one that remembers.
    taught : Learned, optional
        What the person's own cooks in this pit have taught
        (:func:`coreward.experience.learned.learned`).

    Raises
    ------
    InputError
        If something cannot be used; the message says what.
    """
    items = as_pieces(pieces)
    serve = aware(serve_at, "serving hour")
    if not_before is not None:
        aware(not_before, "earliest lighting time")
    around = PitPlan() if pit is None else pit
    wanted = checked_chance(usual("chance") if chance is None else chance)
    count = int(members or tables.load("plan", "numerics")["members"])
    if count < 20:
        raise InputError(f"{count} draws are too few to count odds; take 20 or more.")
    draws = draw_days(len(items), count, seed)
    asked = _Asked(items, around, serve, wanted, not_before, count, seed, taught)
    return _told(asked, _solve(asked, draws, partial(cook, cores=cores)))


# -- the hold ---------------------------------------------------------------------------


@dataclass(frozen=True)
class _HoldLimit:
    """Longest hold the plan may count on from a pull [s], and what is to be said of it."""

    most_s: float
    note: Text = ""
    hot_s: float = math.nan
    hot_limit_c: float = math.nan


def _hold_limit(item: PlannedPiece, pit: PitPlan, core_c: float) -> _HoldLimit:
    hold = item.hold
    if hold.most_s <= hold.least_s:
        return _HoldLimit(hold.most_s)
    thin = usual("smallest_piece")
    shape = item.piece.shape.scaled(thin)
    piece = Piece(shape, item.piece.material, item.piece.start_c)
    longest = tables.load("plan", "numerics")["horizon"]
    dew = min(pit_prior(item, pit).dew_point_c, pit.air_c - 1.0)
    air = Surroundings(pit.air_c, dew_point_c=dew, pressure_pa=pit.pressure_pa)
    cook = []
    if item.wrap is not None:
        cook.append(Stage(air, longest, item.wrap_at_core_c))
    cook.append(Stage(air, longest, core_c, wrap=item.wrap))
    if hold.place == BOX:
        mass = None if item.mass_kg is None else item.mass_kg * thin
        held: Any = hold_in_box(
            piece,
            cook,
            duration_s=hold.most_s,
            mass_kg=mass,
            wrap=item.wrap or "foil",
            preheated_c=hold.preheated_c,
            **_HOLD_OPTIONS,
        )
    else:
        rest = rest_stage(hold.place, hold.most_s, piece=piece, wrap=item.wrap)
        held = simulate(piece, [*cook, rest], **_HOLD_OPTIONS)
    answer = holding(held, limit=hold.limit)
    sure_s, limit_c = answer.sure_hot_s, answer.limit_c
    if answer.hot_at_end and sure_s >= answer.hot_s:
        return _HoldLimit(hold.most_s, "", hold.most_s, limit_c)
    allowed = min(max(hold.least_s, math.floor(sure_s / 60.0) * 60.0), hold.most_s)
    return _HoldLimit(allowed, hold_note(item, limit_c, sure_s), sure_s, limit_c)


# -- the times --------------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class _Fallback:
    """A piece that cannot be as wanted: when it is as near as it gets, and in words."""

    core_c: float
    pull_s: Floats
    nearest: Text


@dataclass(frozen=True, eq=False)
class _Solved:
    """What became of the pieces, and how long before serving each goes on."""

    day: _Day
    cooks: list[PieceCooks]
    fallen: dict[int, _Fallback]
    holds: list[_HoldLimit]
    leads: Floats

    def core_c(self, i: int) -> float:
        """Core at which a piece is pulled."""
        return _pull_core(i, self.cooks, self.fallen)


def _pull_core(i: int, cooks: list[PieceCooks], fallen: dict[int, _Fallback]) -> float:
    return fallen[i].core_c if i in fallen else cooks[i].pull_core_c


def _solve(asked: _Asked, draws: Draws, cook_one: Callable[..., PieceCooks]) -> _Solved:
    """Cook the pieces and choose how long before serving each goes on."""
    items, pit, wanted = asked.items, asked.pit, asked.chance
    late = np.zeros(len(items))
    shares = portions(items)
    least = np.array([[i.hold.least_s + i.slicing_s] for i in items])
    free = _Day(
        serve=asked.serve.timestamp(),
        warm_s=draws.warm_up_s,
        pull_s=np.zeros((len(items), draws.members)),
        least_s=least,
        most_s=least,
        not_before=np.full(len(items), -math.inf),
        first_light=-math.inf,
        warm_up=pit.warm_up_s,
    )

    def cooked(late: Floats) -> list[PieceCooks]:
        cooks = [
            cook_one(item, pit, draws, i, late_s=float(late[i]), portion=shares[i])
            for i, item in enumerate(items)
        ]
        return as_is_usual(cooks, items, pit, asked.taught, asked.seed)

    hold_limit = lru_cache(maxsize=None)(lambda i, core_c: _hold_limit(items[i], pit, core_c))
    for _ in range(_PASSES):
        cooks = cooked(late)
        fallen = {
            i: _fall_back(items[i], pit, cook, wanted)
            for i, cook in enumerate(cooks)
            if np.mean(np.isfinite(cook.pull_s)) < wanted
        }
        holds = [hold_limit(i, _pull_core(i, cooks, fallen)) for i in range(len(items))]
        most = [[hold.most_s + item.slicing_s] for hold, item in zip(holds, items, strict=True)]
        pull_s = np.array([cook.pull_s for cook in cooks])
        free = replace(free, pull_s=pull_s, most_s=np.array(most))
        leads = _leads(free, wanted, fallen)
        _, on = free.times(leads, free.serve)
        before = late
        late = on - on.min()
        if pit.turn_up_c is None or np.abs(late - before).max() < 1.0:
            break
    else:
        # The order on the pit did not settle: cook it as it stands, and move all of it.
        cooks = cooked(late)
        free = replace(free, pull_s=np.array([cook.pull_s for cook in cooks]))
        leads = leads + _moved(free, leads, wanted, fallen)
    day = replace(
        free,
        not_before=np.array(
            [
                -math.inf if i.not_before is None else _ceiling(i.not_before.timestamp())
                for i in items
            ]
        ),
        first_light=-math.inf
        if asked.not_before is None
        else float(_ceiling(asked.not_before.timestamp())),
    )
    return _Solved(day, cooks, fallen, holds, leads)


def _ceiling(seconds: float) -> Any:
    return -_floor(-seconds)


def _leads(day: _Day, wanted: float, fallen: dict[int, _Fallback]) -> Floats:
    """Time before serving at which each piece goes on.

    All pieces get the same share of their own draws: the smallest that gives the chance
    wanted to all of them together. It is chosen without a clock, as if what is rounded to it
    went on a whole step early: the minute of the serving hour decides nothing.
    """
    need = day.pull_s + day.least_s
    well = [i for i in range(len(need)) if i not in fallen]
    leads = np.zeros(len(need))
    for i, one in fallen.items():
        pull = float(np.quantile(one.pull_s, wanted, method="inverted_cdf"))
        if not math.isfinite(pull):
            # What never gets there is no reason to light a day before.
            pull = float(np.max(one.pull_s, initial=0.0, where=np.isfinite(one.pull_s)))
        leads[i] = pull + day.least_s[i, 0]
    if not well:
        return leads
    part = replace(
        day,
        pull_s=day.pull_s[well],
        least_s=day.least_s[well],
        most_s=day.most_s[well],
        not_before=day.not_before[well],
    )
    members = need.shape[1]
    step = tables.load("plan", "numerics")["round"]
    shares = np.linspace(wanted, 1.0 - 0.5 / members, _QUANTILES)
    table = np.quantile(need[well], shares, axis=1, method="inverted_cdf")
    ready, both = np.zeros(len(shares)), np.zeros(len(shares))
    for k, row in enumerate(table):
        if not np.isfinite(row).all():
            break
        on_time, _ = part.judge(-float(row.max()) - part.warm_up, -row, 0.0)
        rounded = row + step
        _, early = part.judge(-float(rounded.max()) - part.warm_up, -rounded, 0.0)
        ready[k] = on_time.all(axis=0).mean()
        both[k] = (on_time.all(axis=0) & ~early.any(axis=0)).mean()
    for odds in (both, ready):
        enough = np.flatnonzero(odds >= wanted)
        if enough.size:
            leads[well] = table[int(enough[0])]
            return leads
    leads[well] = table[int(np.argmax(ready))]
    return leads


def _moved(day: _Day, leads: Floats, wanted: float, fallen: dict[int, _Fallback]) -> float:
    """How much earlier the whole day has to be for the chance wanted. [s]."""
    well = [i for i in range(len(leads)) if i not in fallen]
    step = tables.load("plan", "numerics")["round"]
    reach = tables.load("plan", "numerics")["curve_reach"]
    best, most = 0.0, -1.0
    for shift in np.arange(-reach, reach + step, step):
        on_time, _ = day.judge(*day.times(leads + shift, day.serve), day.serve)
        odds = float(on_time[well].all(axis=0).mean()) if well else 1.0
        if odds > most + 1e-12:
            best, most = float(shift), odds
        if odds >= wanted:
            break
    return best


def _fall_back(item: PlannedPiece, pit: PitPlan, cook: PieceCooks, wanted: float) -> _Fallback:
    """Find what is nearest to the wish of a piece that cannot be as wanted."""
    never = ~np.isfinite(cook.pull_s)
    share = float(np.mean(never))
    sure = 1.0 - wanted
    tops = _tops(cook)
    nearest_c = math.floor(float(np.quantile(tops, sure, method="inverted_cdf")) - 0.5)
    if nearest_c <= item.piece.start_c:
        nothing = np.full(len(tops), math.inf)
        return _Fallback(
            item.wanted.core_c, nothing, uncomputed(item, cook.failures, len(tops))
        )
    reach = float(np.quantile(cook.highest_c[never], sure, method="inverted_cdf"))
    if reach < item.wanted.core_c:
        nearest_c = min(nearest_c, math.floor(item.wanted.core_c))
        crossed = np.array(
            [_first_at(cook.time_s, row, float(nearest_c)) for row in cook.core_c]
        )
        return _Fallback(nearest_c, crossed, cannot_be(item, pit, share, nearest_c))
    crossed = np.array([_first_at(cook.time_s, row, item.wanted.core_c) for row in cook.core_c])
    softening = math.nan
    if item.wanted.tenderness is not None:
        softening = float(np.quantile(cook.tenderness, sure, method="inverted_cdf"))
    return _Fallback(item.wanted.core_c, crossed, cannot_have(item, share, softening))


def _tops(cook: PieceCooks) -> Floats:
    return np.array(
        [
            row[np.isfinite(row)].max() if np.isfinite(row).any() else -273.0
            for row in cook.core_c
        ]
    )


def _first_at(time_s: Floats, core_c: Floats, level_c: float) -> float:
    above = np.flatnonzero(core_c >= level_c)
    return float(time_s[above[0]]) if above.size else math.inf


# -- the telling ------------------------------------------------------------------------


def _told(asked: _Asked, solved: _Solved) -> Plan:
    items, pit, serve, wanted = asked.items, asked.pit, asked.serve, asked.chance
    day, cooks, fallen, leads = solved.day, solved.cooks, solved.fallen, solved.leads
    light, on = day.times(leads, day.serve)
    on_time, early = day.judge(light, on, day.serve)
    ready = on_time.all(axis=0)
    both = ready & ~early.any(axis=0)
    curve = _curve(day, leads)
    zone = serve.tzinfo

    def clock(seconds: float) -> dt.datetime:
        # Nobody pulls a joint to the second.
        whole = round(float(seconds) / 60.0) * 60
        return dt.datetime.fromtimestamp(whole, dt.UTC).astimezone(zone)

    actual = day.actual_on(light, on)
    outlooks = []
    for i, (item, cook) in enumerate(zip(items, cooks, strict=True)):
        pull_s = fallen[i].pull_s if i in fallen else cook.pull_s
        core_c, then_s = solved.core_c(i), 0.0 if i in fallen else cook.pull_then_s
        pulled = pull_words(item, core_c, then_s, softened=i not in fallen)
        end = judged_end(item, cook, pull_s, say("pulled at {0}", pulled), wanted)
        instead = fallen[i].nearest if i in fallen else ""
        outlooks.append(
            PieceOutlook(
                item=item,
                pull_core_c=core_c,
                pull_then_s=then_s,
                pulled=pulled,
                steps=_steps(
                    item, cook, pull_s, pulled, float(on[i]), actual[i], day.serve, clock
                ),
                chance_ready=float(on_time[i].mean()),
                chance_as_wanted=float(_as_wanted(item, cook).mean()),
                chance_come_up=float((cook.come_up_s <= come_up_limit().limit_s).mean()),
                possible=i not in fallen,
                nearest=instead,
                warnings=tuple(words for words in (end.warning, instead) if words),
                unsure=end.unsure,
                doubt=end.doubt,
                most_hold_s=solved.holds[i].most_s,
                hold_note=solved.holds[i].note,
                hot_s=solved.holds[i].hot_s,
                hot_limit_c=solved.holds[i].hot_limit_c,
                late=None
                if i in fallen
                else late_sign(
                    actual[i],
                    cook.time_s,
                    cook.core_c,
                    pull_s,
                    item.hold.least_s + item.slicing_s,
                    day.serve,
                    wanted,
                ),
                wait_s=_wait(item, actual[i] + cook.pull_s, day.serve, wanted),
                loss=_band(cook.loss),
                crust_activity=_band(cook.crust_activity),
                tenderness=_band(cook.tenderness),
                verdict_state=end.state,
                verdict_headline=end.headline,
            )
        )
    window = _light_window(curve, wanted, day.first_light - light)
    lighting = Step(
        "light",
        "",
        clock(light),
        clock(light + window[0]),
        clock(light + window[1]),
        note="the odds hold between the two" if window[1] > window[0] else "",
    )
    common = [lighting]
    if pit.turn_up_c is not None and pit.turn_up_after_s is not None:
        first = actual.min(axis=0) + pit.turn_up_after_s
        note = say("to {0}", Degrees(pit.turn_up_c))
        common += _windowed("turn up", "", first, clock, note)
    common.append(Step("serve", "", clock(day.serve), clock(day.serve), clock(day.serve)))
    steps = sorted(
        [*common, *(s for one in outlooks for s in one.steps)],
        key=lambda s: (s.planned, s.kind == "serve"),
    )
    keeps = bool(both.mean() >= wanted - 1e-12)
    nearest = None if ready.mean() >= wanted else _nearest_serving(day, leads, wanted, fallen)
    last_pull = np.max(
        [
            actual[i] + np.minimum(fallen[i].pull_s if i in fallen else c.pull_s, 1e6)
            for i, c in enumerate(cooks)
        ],
        axis=0,
    )
    draft = Plan(
        serve_at=serve,
        pit=pit,
        pieces=tuple(outlooks),
        steps=tuple(steps),
        light=lighting,
        chance_wanted=wanted,
        chance_ready=float(ready.mean()),
        chance_in_hold=float(both.mean()),
        chance_too_early=float(early.any(axis=0).mean()),
        curve=curve,
        keeps_chance=keeps,
        nearest_serve_at=None if nearest is None else clock(nearest),
        fuel_hours=float(np.mean(last_pull - light)) / _HOUR,
        warnings=(
            *past_words(serve, asked.not_before),
            *(words for one in outlooks for words in one.warnings),
        ),
        sentences=(),
        slips=(),
        assumptions=(
            *assumptions(pit, items, asked.members),
            *(() if asked.taught is None else asked.taught.said),
        ),
        cautions=(CAUTION,),
        members=asked.members,
        seed=asked.seed,
        not_before=asked.not_before,
    )
    return replace(draft, sentences=sentences(draft), slips=slips(draft))


def _band(values: Floats) -> tuple[float, float, float]:
    known = values[np.isfinite(values)]
    if not known.size:
        return math.nan, math.nan, math.nan
    low, middle, high = np.quantile(known, (0.05, 0.5, 0.95))
    return float(low), float(middle), float(high)


def _as_wanted(item: PlannedPiece, cook: PieceCooks) -> Bools:
    """Which draws keep the limits on loss, crust and come-up."""
    good = np.isfinite(cook.pull_s)
    waits = item.wanted.lethality and deciding_standards(item)
    for limit, values in (
        (item.wanted.most_loss, cook.loss),
        (item.wanted.crust_activity, cook.crust_activity),
        (come_up_limit().limit_s if waits else None, cook.come_up_s),
    ):
        if limit is not None:
            good = good & (np.nan_to_num(values, nan=math.inf) <= limit)
    return good


def _curve(day: _Day, leads: Floats) -> OddsCurve:
    numerics = tables.load("plan", "numerics")
    reach, step = numerics["curve_reach"], numerics["round"]
    shifts = np.arange(-reach, reach + 1.0, step)
    rows = []
    for shift in shifts:
        light, on = day.shifted(leads, float(shift))
        on_time, early = day.judge(light, on, day.serve)
        ready, soon = on_time.all(axis=0), early.any(axis=0)
        rows.append((ready.mean(), (ready & ~soon).mean(), soon.mean()))
    return OddsCurve(shifts, *np.array(rows).T)


def _light_window(curve: OddsCurve, wanted: float, earliest: float) -> tuple[float, float]:
    """How much earlier and later the fire may be lit and keep the chance. [s]."""
    good = (curve.in_hold >= wanted - 1e-12) & (curve.shift_s >= earliest)
    middle = int(np.argmin(np.abs(curve.shift_s)))
    if not good[middle]:
        return 0.0, 0.0
    first = last = middle
    while first > 0 and good[first - 1]:
        first -= 1
    while last < len(good) - 1 and good[last + 1]:
        last += 1
    return float(curve.shift_s[first]), float(curve.shift_s[last])


def _windowed(
    kind: Kind, piece: str, seconds: Floats, clock: Any, note: Text = ""
) -> list[Step]:
    """Return a step that the meat decides, from its draws; none for what never comes."""
    share = usual("window")
    known = seconds[np.isfinite(seconds)]
    if not known.size:
        return []
    low, middle, high = np.quantile(
        known, (0.5 - 0.5 * share, 0.5, 0.5 + 0.5 * share), method="inverted_cdf"
    )
    inside = float(np.mean((seconds >= low) & (seconds <= high)))
    return [Step(kind, piece, clock(middle), clock(low), clock(high), inside, note)]


def _steps(
    item: PlannedPiece,
    cook: PieceCooks,
    pull_s: Floats,
    pulled: Text,
    on: float,
    actual: Floats,
    serve: float,
    clock: Any,
) -> tuple[Step, ...]:
    """What happens to one piece, in order."""
    share = usual("window")
    late = float(np.quantile(actual, 0.5 + 0.5 * share))
    waits = "as soon as it is there" if item.not_before is not None else ""
    steps = [Step("on", item.name, clock(on), clock(on), clock(late), note=waits)]
    if item.wrap is not None:
        # A piece that is pulled colder than it was to be wrapped is not wrapped.
        wrapped = np.where(cook.wrap_s < pull_s, cook.wrap_s, math.inf)
        steps += _windowed("wrap", item.name, actual + wrapped, clock, wrap_words(item))
    off = actual + pull_s
    pull = _windowed("pull", item.name, off, clock, pulled)
    if not pull:
        return tuple(steps)
    slicing = np.maximum(serve - item.slicing_s, off + item.hold.least_s)
    hold = replace(pull[0], kind="hold", note=hold_words(item))
    return (*steps, *pull, hold, *_windowed("slice", item.name, slicing, clock))


def _nearest_serving(
    day: _Day, leads: Floats, wanted: float, fallen: dict[int, _Fallback]
) -> float | None:
    """Earliest serving hour with the chance wanted, for the pieces that can be ready."""
    well = [i for i in range(len(leads)) if i not in fallen]
    if not well:
        return None
    step = tables.load("plan", "numerics")["round"]
    for serve in np.arange(_ceiling(day.serve) + step, day.serve + _LATEST_SERVING_S, step):
        light, on = day.times(leads, float(serve))
        on_time, _ = day.judge(light, on, float(serve))
        if on_time[well].all(axis=0).mean() >= wanted:
            return float(serve)
    return None


def _wait(item: PlannedPiece, pulled: Floats, serve: float, wanted: float) -> float:
    """Longest wait of a piece that is ready, with the chance wanted. [s]."""
    ready = pulled[pulled + item.hold.least_s + item.slicing_s <= serve]
    if not ready.size:
        return 0.0
    wait = serve - item.slicing_s - ready
    return float(np.quantile(wait, wanted, method="inverted_cdf"))


__all__ = [
    "Hold",
    "OddsCurve",
    "PieceOutlook",
    "PitPlan",
    "Plan",
    "PlannedPiece",
    "Step",
    "Wanted",
    "chances",
    "clock_text",
    "plan",
]
