"""Which way? The same piece cooked several ways, side by side, and the best trade-offs.

All ways are tried on the same draws of piece, pit and weather: what differs between two
rows is the way, not luck. `search_ways` then looks between the ways that have names.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from coreward import tables
from coreward.cook.rest import BOX, hold_in_box, rest_stage
from coreward.cook.simulate import simulate
from coreward.cook.stages import Piece, Stage, Surroundings
from coreward.errors import InputError
from coreward.physics.lethality import Kinetics, kinetics_for, load_kinetics, log_reduction
from coreward.questions.plan.cooks import (
    PieceCooks,
    come_up_limit,
    cook_piece,
    draw_days,
    pit_air,
    pit_prior,
    species,
)
from coreward.questions.plan.end import UNSURE, judged_end
from coreward.questions.plan.inputs import PitPlan, PlannedPiece
from coreward.questions.plan.pareto import Front, nondominated, search_front, spread_weights
from coreward.questions.plan.words import pull_words
from coreward.questions.rest.tenderness import tenderness
from coreward.questions.verdict import CAUTION
from coreward.words import METRIC, Degrees, Text, Units, say, shown, together

Floats = NDArray[np.float64]

_HOUR = 3600.0
_MOST_WAYS = 20
_HOLD_OPTIONS: dict[str, Any] = {"cells": 24, "tolerance": 0.2}
# Kill is worth counting up to here; beyond it the number means nothing.
_MOST_LOG = 12.0
GOALS = {
    "time": "hours on the pit, nine draws in ten",
    "loss": "water lost at the pull, in the mean",
    "crust": "water activity of the crust, in the mean",
    "toughness": "1 less softening at the pull, in the mean",
}
"""What a search may make small."""


@dataclass(frozen=True)
class Way:
    """One way to cook a piece. What is None stays as planned."""

    name: str
    wrap: str | None = None
    """One of "foil", "paper", "none" for never, or None."""
    wrap_at_core_c: float | None = None
    """[°C]"""
    pit_c: float | None = None
    dew_point_c: float | None = None
    """[°C]"""
    turn_up_c: float | None = None
    turn_up_after_s: float | None = None
    """See `PitPlan`. [°C, s]"""
    pull_at_core_c: float | None = None
    """Pulled at another core than wanted, such as earlier for a long hold. [°C]"""
    cut_in_two: bool = False
    """Two pieces of half the volume: a slab half as thick, a round one thinner."""
    hold_s: float | None = None
    """Time in the hold; the least rest if None. [s]"""
    words: Text = ""
    """The name for a reader, where a temperature is in it; the name itself if empty."""

    def said(self, units: Units = METRIC) -> str:
        """Return its name in the reader's units."""
        return shown(self.words or self.name, units)


@dataclass(frozen=True, eq=False)
class WayOutcome:
    """What one way leads to."""

    way: Way
    pull_core_c: float
    """Core at which it is pulled in every draw, see `PieceCooks`. [°C]"""
    warning: Text
    doubt: str
    """What is to be said of its end before all else, and in a few words; see
    :func:`coreward.plan`. Empty where there is nothing."""
    ready_s: Floats
    """From on to the pull; infinite where never. [s] Shape (members,)."""
    ready_band_s: tuple[float, float, float]
    """Fifth, fiftieth and ninety-fifth percentile of it. [s]"""
    never: float
    """Share of the draws that are not ready within the longest cook. [-]"""
    loss: tuple[float, float, float]
    crust_activity: tuple[float, float, float]
    tender: tuple[float, float, float]
    """The same percentiles of water lost, of the activity of the crust when it is wrapped or
    pulled, and of softening at the pull. [-]"""
    held_loss: float
    held_crust: float
    held_tender: float
    """The same after the hold, for the piece as stated; NaN if it is never ready. [-]"""
    kill_log: float
    """Log reduction at the core at the pull that all but one draw in twenty have, by the first
    kinetics that the table serves to this meat; at most 12. NaN for a meat that none was
    measured in. [log10]"""
    come_up: float
    """Share of the draws that keep the published limit of the come-up. [-]"""
    fuel_hours: float
    """Warm-up and pit, in the mean of the draws that get there. [h]"""
    pareto: bool = False
    """Whether no other way is as good in median time, loss and crust and better in one."""


@dataclass(frozen=True, eq=False)
class Ways:
    """Ways side by side."""

    item: PlannedPiece
    pit: PitPlan
    rows: tuple[WayOutcome, ...]
    sentence: Text
    """With what warns of any of them first."""
    assumptions: tuple[Text, ...]
    cautions: tuple[Text, ...] = field(default=(CAUTION,))

    def row(self, name: str) -> WayOutcome:
        """Return a way by its name."""
        for one in self.rows:
            if one.way.name == name:
                return one
        raise InputError(
            f"There is no way {name!r}; there are {', '.join(r.way.name for r in self.rows)}."
        )

    def sorted_by(self, column: str, descending: bool = False) -> tuple[WayOutcome, ...]:
        """Return the rows in the order of a column of `COLUMNS`.

        Raises
        ------
        InputError
            If there is no such column.
        """
        if column not in COLUMNS:
            raise InputError(f"There is no column {column!r}; sort by {', '.join(COLUMNS)}.")
        key = COLUMNS[column][1]

        def place(one: WayOutcome) -> tuple[bool, Any]:
            value = key(one)
            missing = isinstance(value, float) and math.isnan(value)
            return missing, 0.0 if missing else value

        ordered = sorted(self.rows, key=place, reverse=descending)
        # What is not known comes last, whichever way it is sorted.
        return tuple(sorted(ordered, key=lambda one: place(one)[0]))


COLUMNS: dict[str, tuple[str, Any]] = {
    "way": ("way", lambda r: r.way.name),
    "ready": ("ready after (h), 5, 50, 95 %", lambda r: r.ready_band_s[1]),
    "spread": ("spread (h)", lambda r: _width(r.ready_band_s)),
    "loss": ("loss at the pull (%)", lambda r: r.loss[1]),
    "crust": ("crust activity", lambda r: r.crust_activity[1]),
    "crust held": ("after the hold", lambda r: r.held_crust),
    "tender": ("softening (%)", lambda r: r.tender[1]),
    "tender held": ("after the hold (%)", lambda r: r.held_tender),
    "kill": ("kill at the core (log)", lambda r: r.kill_log),
    "fuel": ("fuel (h)", lambda r: r.fuel_hours),
}
"""Columns of the table: heading, and what it sorts by."""


def _width(band: tuple[float, float, float]) -> float:
    return band[2] - band[0] if math.isfinite(band[2]) else math.inf


def usual_ways(item: PlannedPiece, pit: PitPlan) -> tuple[Way, ...]:
    """Return the ways people ask about, for a piece and pit."""
    at = tables.load("plan", "ways")
    wrap_at = item.wrap_at_core_c or min(at["stall"], item.wanted.core_c - 1.0)
    hotter = pit.air_c + at["hotter"]
    dew = min(pit_prior(item, pit).dew_point_c + at["damper"], pit.air_c - 5.0)
    return (
        Way("bare", wrap="none"),
        Way("foil at the stall", wrap="foil", wrap_at_core_c=wrap_at),
        Way("paper at the stall", wrap="paper", wrap_at_core_c=wrap_at),
        Way("hotter, bare", wrap="none", pit_c=hotter),
        Way("damper, bare", wrap="none", dew_point_c=dew),
        Way(
            "hotter at the end, bare",
            wrap="none",
            turn_up_c=hotter,
            turn_up_after_s=at["late"],
        ),
        Way("cut in two, bare", wrap="none", cut_in_two=True),
        Way(
            "pulled early, long in the box",
            wrap="foil",
            wrap_at_core_c=wrap_at,
            pull_at_core_c=max(item.wanted.core_c - at["early"], wrap_at + 1.0),
            hold_s=at["long_hold"],
        ),
    )


def applied(way: Way, item: PlannedPiece, pit: PitPlan) -> tuple[PlannedPiece, PitPlan]:
    """Return piece and pit of a way."""
    wanted = item.wanted
    if way.pull_at_core_c is not None:
        wanted = replace(wanted, core_c=way.pull_at_core_c)
    wrap, wrap_at = item.wrap, item.wrap_at_core_c
    if way.wrap == "none":
        wrap, wrap_at = None, None
    elif way.wrap is not None:
        wrap, wrap_at = way.wrap, way.wrap_at_core_c
    piece = item.piece
    mass = item.mass_kg
    if way.cut_in_two:
        piece = Piece(piece.shape.halved(), piece.material, piece.start_c)
        mass = None if mass is None else 0.5 * mass
    changed = replace(
        item, wanted=wanted, wrap=wrap, wrap_at_core_c=wrap_at, piece=piece, mass_kg=mass
    )
    turn_up_c, turn_up_after_s = pit.turn_up_c, pit.turn_up_after_s
    if way.turn_up_c is not None or way.pit_c is not None:
        # Another level of the pit has no hotter one, unless the way names it.
        turn_up_c, turn_up_after_s = way.turn_up_c, way.turn_up_after_s
    around = replace(
        pit,
        air_c=pit.air_c if way.pit_c is None else way.pit_c,
        dew_point_c=pit.dew_point_c if way.dew_point_c is None else way.dew_point_c,
        turn_up_c=turn_up_c,
        turn_up_after_s=turn_up_after_s,
    )
    return changed, around


def compare_ways(
    item: PlannedPiece,
    pit: PitPlan | None = None,
    ways: Sequence[Way] | None = None,
    *,
    members: int | None = None,
    seed: int = 1830,
    cores: int | None = None,
) -> Ways:
    """Cook a piece several ways and put the outcomes side by side.

    Parameters
    ----------
    ways : sequence of Way, optional
        `usual_ways` if None.
    members, seed, cores : int, optional
        As in :func:`coreward.plan`; table ``plan`` (settled) if None.

    Raises
    ------
    InputError
        No way, too many, two of one name, or one that cannot be.
    """
    around = PitPlan() if pit is None else pit
    chosen = usual_ways(item, around) if ways is None else tuple(ways)
    if not 1 <= len(chosen) <= _MOST_WAYS:
        raise InputError(f"Compare 1 to {_MOST_WAYS} ways; there are {len(chosen)}.")
    names = [way.name for way in chosen]
    if len(set(names)) < len(names):
        raise InputError("Two ways have the same name; give each its own.")
    count = int(members or tables.load("plan", "numerics")["settled"])
    draws = draw_days(1, count, seed)
    meat = species(item)
    fitting = kinetics_for(meat) if meat else ()
    kinetics = load_kinetics(fitting[0]) if fitting else None
    rows = []
    for way in chosen:
        try:
            piece, air = applied(way, item, around)
        except InputError as error:
            raise InputError(f"The way {way.name!r}: {error}") from error
        cook = cook_piece(piece, air, draws, 0, cores=cores)
        rows.append(_outcome(way, piece, air, cook, kinetics))
    goals = np.array([(r.ready_band_s[1], r.loss[1], r.crust_activity[1]) for r in rows])
    best = nondominated(goals)
    rows = [replace(row, pareto=bool(b)) for row, b in zip(rows, best, strict=True)]
    return Ways(
        item=item,
        pit=around,
        rows=tuple(rows),
        sentence=_sentence(rows),
        assumptions=(
            f"All ways on the same {count} draws of piece, pit and weather.",
            "Cut in two: a slab half as thick, or two thinner round pieces, heated all round; "
            "what the cut faces add is not counted otherwise.",
            "After the hold: one cook of the piece as stated, in its hold.",
            f"Kill: {kinetics.name}; no margin for slow heating is taken off."
            if kinetics is not None
            else "Kill: no kinetics here were measured in this meat.",
            "Whole, intact pieces, judged by the hold tables up to the pull.",
        ),
    )


def _band(values: Floats) -> tuple[float, float, float]:
    if not values.size:
        return math.nan, math.nan, math.nan
    low, middle, high = np.quantile(values, (0.05, 0.5, 0.95), method="inverted_cdf")
    return float(low), float(middle), float(high)


def _outcome(
    way: Way, item: PlannedPiece, pit: PitPlan, cook: PieceCooks, kinetics: Kinetics | None
) -> WayOutcome:
    done = np.isfinite(cook.pull_s)
    never = float(1.0 - done.mean())
    mean_pull = float(cook.pull_s[done].mean()) if done.any() else math.inf
    known = done if done.any() else np.isfinite(cook.loss)
    held = _held(way, item, pit, cook)
    pulled = pull_words(item, cook.pull_core_c, cook.pull_then_s, softened=True)
    pulled = say("{0}, pulled at {1}", way.words or way.name, pulled)
    end = judged_end(item, cook, cook.pull_s, pulled, tables.load("plan")["chance"])
    return WayOutcome(
        way=way,
        pull_core_c=cook.pull_core_c,
        warning=end.warning,
        doubt=end.doubt,
        ready_s=cook.pull_s,
        ready_band_s=_band(cook.pull_s),
        never=never,
        loss=_band(cook.loss[known]),
        crust_activity=_band(cook.crust_activity[known]),
        tender=_band(cook.tenderness[known]),
        held_loss=held[0],
        held_crust=held[1],
        held_tender=held[2],
        kill_log=math.nan if kinetics is None else _kill(cook, done, kinetics),
        come_up=float((cook.come_up_s <= come_up_limit().limit_s).mean()),
        fuel_hours=(pit.warm_up_s + mean_pull) / _HOUR,
    )


def _kill(cook: PieceCooks, done: NDArray[np.bool_], kinetics: Kinetics) -> float:
    """Kill at the core that all but one draw in twenty have; rounded down."""
    if done.mean() < 0.95:
        return 0.0
    kills = []
    for i in np.flatnonzero(done):
        keep = cook.time_s < cook.pull_s[i]
        time = np.append(cook.time_s[keep], cook.pull_s[i])
        core = np.append(cook.core_c[i][keep], cook.highest_c[i])
        kills.append(min(log_reduction(time, core, kinetics), _MOST_LOG))
    share = float(np.quantile(kills, 0.05, method="inverted_cdf"))
    return math.floor(10.0 * share) / 10.0


def _held(
    way: Way, item: PlannedPiece, pit: PitPlan, cooked: PieceCooks
) -> tuple[float, float, float]:
    """Loss, crust and softening after the hold, for the piece as stated."""
    longest = tables.load("plan", "numerics")["horizon"]
    dew = min(pit_prior(item, pit).dew_point_c, pit.air_c - 1.0)

    def around(begin: float) -> Surroundings:
        series = pit_air(pit, begin, longest)
        return Surroundings(series, dew_point_c=dew, pressure_pa=pit.pressure_pa)

    cook = []
    wrapped = 0.0
    if item.wrap is not None:
        cook.append(Stage(around(0.0), longest, item.wrap_at_core_c))
        if pit.turn_up_c is not None:
            # The pit of the second stage hangs on when the first one ends.
            wrapped = simulate(item.piece, cook, **_HOLD_OPTIONS).duration_s
    cook.append(Stage(around(wrapped), longest, cooked.pull_core_c, wrap=item.wrap))
    seconds = item.hold.least_s if way.hold_s is None else way.hold_s
    if item.hold.place == BOX and item.mass_kg is not None:
        held: Any = hold_in_box(
            item.piece,
            cook,
            duration_s=seconds,
            mass_kg=item.mass_kg,
            wrap=item.wrap or "foil",
            preheated_c=item.hold.preheated_c,
            **_HOLD_OPTIONS,
        ).result
    else:
        rest = rest_stage(item.hold.place, seconds, piece=item.piece, wrap=item.wrap)
        held = simulate(item.piece, [*cook, rest], **_HOLD_OPTIONS)
    if not all(record.reached in (True, None) for record in held.records):
        return math.nan, math.nan, math.nan
    return (
        float(held.mass_loss_fraction[-1]),
        float(held.surface_water_activity[-1]),
        float(tenderness(held).middle[-1]),
    )


def _sentence(rows: Sequence[WayOutcome]) -> Text:
    """Say what warns, and which ways are best in what, of those that get there."""
    warnings = [row.warning for row in rows if row.warning][:1]
    for doubt in dict.fromkeys(row.doubt for row in rows if row.warning):
        names = together([r.way.words or r.way.name for r in rows if r.doubt == doubt], "; ")
        warnings.append(say("Of these ways, {0}: {1}.", doubt, names))
    unsure = [row.way.words or row.way.name for row in rows if row.doubt == UNSURE]
    if unsure:
        said = (
            "Nothing shows how moist the surface stays or how hot the oven is, as hold tables "
            "ask: whether it is enough cannot be told of {0}."
        )
        every = len(unsure) == len(rows)
        warnings.append(say(said, "any way" if every else together(unsure, "; ")))
    there = [row for row in rows if math.isfinite(row.ready_band_s[1])]
    never = [row.way.words or row.way.name for row in rows if row not in there]
    if not there:
        return together([*warnings, "None of these ways gets there within the longest cook."])
    quick = min(there, key=lambda r: r.ready_band_s[1])
    juicy = min(there, key=lambda r: r.loss[1])
    crisp = min(there, key=lambda r: r.crust_activity[1])
    best = say(
        "Quickest: {0}, {1} h as often as not. Least loss: {2}, {3} %. Driest crust: {4}. No "
        "other way is better in all three than: {5}.",
        quick.way.words or quick.way.name,
        f"{quick.ready_band_s[1] / _HOUR:.1f}",
        juicy.way.words or juicy.way.name,
        f"{100 * juicy.loss[1]:.0f}",
        crisp.way.words or crisp.way.name,
        together([r.way.words or r.way.name for r in rows if r.pareto], "; "),
    )
    if never:
        late = say(
            "Not ready as often as not within the longest cook: {0}.", together(never, "; ")
        )
        warnings.append(late)
    return together([*warnings, best])


def ways_rows(
    answer: Ways, by: str = "ready", descending: bool = False, units: Units = METRIC
) -> list[list[str]]:
    """Return the table as text, sorted by a column of `COLUMNS`."""

    def percent(value: float) -> str:
        return "never" if math.isnan(value) else f"{100 * value:.0f}"

    def hours(value: float) -> str:
        return f"{value / _HOUR:.1f}" if math.isfinite(value) else "never"

    def share(value: float) -> str:
        return "never" if math.isnan(value) else f"{value:.2f}"

    return [
        [
            row.way.said(units)
            + (f" ({row.doubt})" if row.doubt not in ("", UNSURE) else "")
            + (" *" if row.pareto else ""),
            ", ".join(hours(v) for v in row.ready_band_s),
            hours(_width(row.ready_band_s)),
            percent(row.loss[1]),
            share(row.crust_activity[1]),
            share(row.held_crust),
            percent(row.tender[1]),
            percent(row.held_tender),
            "cannot tell" if math.isnan(row.kill_log) else f"{row.kill_log:.1f}",
            f"{row.fuel_hours:.1f}" if math.isfinite(row.fuel_hours) else "never",
        ]
        for row in answer.sorted_by(by, descending)
    ]


@dataclass(frozen=True, eq=False)
class BestWays:
    """Ways found by search of which none is better in everything."""

    ways: tuple[Way, ...]
    """A few that stand for the whole front, by the first goal."""
    goals: tuple[str, ...]
    """Names in `GOALS`."""
    values: Floats
    """Smaller is better; time in seconds. Shape (ways, goals)."""
    front: Front
    """With every way that was tried."""


def search_ways(
    item: PlannedPiece,
    pit: PitPlan | None = None,
    *,
    goals: Sequence[str] = ("time", "loss", "crust"),
    wrap: str = "foil",
    members: int | None = None,
    steps: int = 2,
    rounds: int = 4,
    crowd: int = 3,
    seed: int = 1830,
    cores: int | None = None,
) -> BestWays:
    """Search wrap moment, pit, turn-up and dampness for the best trade-offs.

    Parameters
    ----------
    goals : sequence of str
        Two or three of `GOALS`.
    wrap : str
        Which wrap; a moment past the core wanted means never.
    members : int, optional
        Draws for each way, the same for all; table ``plan`` (search) if None.
    steps, rounds, crowd : int
        How fine; see `search_front` and `spread_weights`.

    Raises
    ------
    InputError
        Unknown goals, or no way leads to the result.
    """
    around = PitPlan() if pit is None else pit
    unknown = [g for g in goals if g not in GOALS]
    if unknown or len(goals) not in (2, 3):
        raise InputError(f"Give two or three goals of {', '.join(GOALS)}.")
    limits = tables.load("plan", "ways")
    bounds = [
        (limits["wrap_from"], item.wanted.core_c + limits["wrap_beyond"]),
        (limits["pit_from"], limits["pit_to"]),
        (0.0, limits["turn_up_most"]),
        (0.0, limits["turn_up_latest"]),
        (limits["dew_from"], limits["dew_to"]),
    ]
    count = int(members or tables.load("plan", "numerics")["search"])
    draws = draw_days(1, count, seed)

    def way_of(x: Floats) -> Way:
        wrap_at, level, up, after, dew = (float(v) for v in x)
        never = wrap_at >= item.wanted.core_c - 1.0
        turned = up >= limits["turn_up_least"]
        parts: list[Text] = [
            "bare" if never else say("{0} at {1}", wrap, Degrees(wrap_at)),
            say("pit {0}", Degrees(level)),
        ]
        if turned:
            parts.append(say("after {0} h {1}", f"{after / _HOUR:.1f}", Degrees(level + up)))
        words = together([*parts, say("dew point {0}", Degrees(dew))], ", ")
        return Way(
            words.shown(METRIC),
            wrap="none" if never else wrap,
            wrap_at_core_c=None if never else wrap_at,
            pit_c=level,
            turn_up_c=level + up if turned else None,
            turn_up_after_s=after if turned else None,
            dew_point_c=min(dew, level - 5.0),
            words=words,
        )

    def evaluate(x: Floats) -> tuple[float, ...]:
        piece, air = applied(way_of(x), item, around)
        cook = cook_piece(piece, air, draws, 0, cores=cores)
        time = float(np.quantile(cook.pull_s, 0.9, method="inverted_cdf"))
        if not math.isfinite(time):
            return (math.inf,) * len(goals)
        mean = {
            "time": time,
            "loss": float(cook.loss.mean()),
            "crust": float(cook.crust_activity.mean()),
            "toughness": max(1.0 - float(cook.tenderness.mean()), 0.0),
        }
        return tuple(mean[goal] for goal in goals)

    beyond = item.wanted.core_c + limits["wrap_beyond"]
    dew = pit_prior(item, around).dew_point_c
    as_planned = np.array([item.wrap_at_core_c or beyond, around.air_c, 0.0, 0.0, dew])
    bare = np.array([beyond - as_planned[0], 0.0, 0.0, 0.0, 0.0])
    scale = {"time": limits["worth_time"], "loss": limits["worth_loss"]}
    front = search_front(
        evaluate,
        bounds,
        weights=spread_weights(len(goals), steps),
        scale=[scale.get(goal, limits["worth_crust"]) for goal in goals],
        begin=[as_planned, as_planned + bare],
        rounds=rounds,
        crowd=crowd,
        seed=seed,
    )
    return BestWays(
        ways=tuple(way_of(x) for x in front.choices[front.picked]),
        goals=tuple(goals),
        values=front.goals[front.picked],
        front=front,
    )
