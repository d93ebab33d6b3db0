"""The cooks under a plan: one piece in hundreds of guises, from on to pull.

How long a piece takes does not depend on the clock, so one set of draws answers for
every lighting time. All pieces of a draw share the pit's level, its air and its dampness;
what is not known of a piece is its own.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from coreward import tables
from coreward.cook.light import Leg, LightRun, run_light, spread
from coreward.cook.result import first_time_at
from coreward.errors import SolverError
from coreward.experience.learned import (
    Learned,
    UsualPace,
    agreeing,
    shares,
    usual_pace,
    usual_thickness,
    usual_time,
)
from coreward.physics.statement import water_activity, wetness
from coreward.questions.forecast.fit import (
    NAMES,
    Member,
    Prior,
    even_normal,
    stated_prior,
    usual_pit,
)
from coreward.questions.plan.inputs import PIT_DOUBTS, SHARED, PitPlan, PlannedPiece
from coreward.questions.rest.tenderness import FAST, SLOW, softening
from coreward.tables.standards import (
    BandLimit,
    Standard,
    band_limits,
    load_standard,
    standard_names,
)

Floats = NDArray[np.float64]

_YARD_C = 20.0
_EXCESS_K = 100.0
# A pit that is turned up needs a while.
_RAMP_S = 900.0
CONDITION = "intact"
"""What a plan takes a piece for: nothing is said of stuffed, rolled or minced meat."""
# A core that one draw in fifty never gets to is no core to pull at: a time is then.
_REACHED = 0.98
# Nobody keeps a piece on for so many seconds; cores are read to a tenth.
_THEN_STEP_S = 300.0


@dataclass(frozen=True)
class Draws:
    """What a day may be like: one row for each draw."""

    pieces: tuple[Floats, ...]
    """Standard vectors of each piece, see `coreward.questions.forecast.fit.NAMES`. Shape
    (members, unknowns)."""
    pit_level: Floats
    """Mean of the pit less what was wanted, in standard deviations. Shape (members,)."""
    warm_up_s: Floats
    """From the match to a steady pit. [s] Shape (members,)."""
    seed: int

    @property
    def members(self) -> int:
        """How many draws."""
        return len(self.pit_level)


def draw_days(count: int, members: int, seed: int) -> Draws:
    """Return draws of days for so many pieces.

    Parameters
    ----------
    count : int
        Pieces. The draws of the first are the same however many follow.
    """
    common = even_normal(np.random.default_rng([seed, 0]), members, len(SHARED) + 2)
    places = [NAMES.index(name) for name in SHARED]
    pieces = []
    for number in range(count):
        z = even_normal(np.random.default_rng([seed, number + 1]), members, len(NAMES))
        z[:, places] = common[:, : len(SHARED)]
        pieces.append(z)
    table = tables.load("plan")
    warm = table["warm_up_likely"] * np.exp(table["warm_up_spread"] * common[:, -1])
    return Draws(tuple(pieces), common[:, -2], warm, seed)


@dataclass(frozen=True, eq=False)
class PieceCooks:
    """What became of one piece in each draw. Times count from when it went on."""

    pull_core_c: float
    """Core at which it is pulled, in every draw: as wanted, or hotter where the hold tables
    that the pull waits for are through only there. [°C]"""
    pull_then_s: float
    """How long it stays on from there, where the tables ask for a time at a core that it does
    not get beyond; mostly nothing. [s]"""
    wrap_s: Floats
    """When it was wrapped; NaN without a wrap, infinite where that core never came. [s] Shape
    (members,)."""
    pull_s: Floats
    """When it first had all that the pull waits for; infinite where never. [s]"""
    highest_c: Floats
    """Highest core within the horizon, or at the pull. [°C]"""
    loss: Floats
    crust_activity: Floats
    tenderness: Floats
    """At the pull (crust: when wrapped, or pulled bare). [-]"""
    come_up_s: Floats
    """Time of the core in the come-up band of the published limit. [s]"""
    time_s: Floats
    """[s] Shape (times,)."""
    core_c: Floats
    """Held beyond the end of the run. [°C] Shape (members, times)."""
    failures: int = 0
    """Draws that could not be computed; they count as never ready."""


def species(item: PlannedPiece) -> str:
    """Return what animal a piece is of, by table ``cut``; empty for a cut of one's own."""
    name = item.piece.material.name
    return tables.load("cut", name).text("species") if name in tables.names("cut") else ""


def deciding_standards(item: PlannedPiece) -> tuple[Standard, ...]:
    """Return the hold tables by which a piece is judged.

    Those that were named, else those that decide for its meat; none for a meat that no
    table was made for.
    """
    asked = item.wanted.lethality
    if not isinstance(asked, bool):
        return tuple(load_standard(name) for name in asked)
    meat = species(item)
    known = (load_standard(name) for name in standard_names())
    return tuple(one for one in known if one.counts and one.covers(meat, CONDITION))


def come_up_limit() -> BandLimit:
    """Return the published limit of the come-up."""
    return next(limit for limit in band_limits() if limit.kind == "come-up")


def portions(items: Sequence[PlannedPiece]) -> tuple[float, ...]:
    """Return what each of several pieces has of the pit: as much as of all surface.

    They are taken to be in it together and to keep to their portions: vapour that goes
    from a wet piece to one that came later is left out.
    """
    surfaces = [usual_pit(item.piece, mass_kg=item.mass_kg).meat_m2 for item in items]
    return tuple(one / sum(surfaces) for one in surfaces)


def pit_prior(item: PlannedPiece, pit: PitPlan, portion: float = 1.0) -> Prior:
    """Return what is believed of a piece in the pit of a plan, of which it has a portion."""
    return stated_prior(
        item.piece,
        fire=pit.fire,
        dew_point_c=pit.dew_point_c,
        pressure_pa=pit.pressure_pa,
        mass_kg=item.mass_kg,
        portion=portion,
        **{**item.doubt, **{k: v for k, v in pit.doubt.items() if k in PIT_DOUBTS}},
    )


def pit_air(pit: PitPlan, late_s: float, horizon: float) -> tuple[Floats, Floats]:
    """Air of the pit from when a piece went on, `late_s` after the first one."""
    if pit.turn_up_c is None or pit.turn_up_after_s is None:
        return np.array([0.0, horizon]), np.full(2, pit.air_c)
    begin = pit.turn_up_after_s - late_s
    times = np.array([0.0, begin, begin + _RAMP_S, horizon])
    values = np.array([pit.air_c, pit.air_c, pit.turn_up_c, pit.turn_up_c])
    inside = times[(times > 0.0) & (times < horizon)]
    at = np.concatenate(([0.0], inside, [horizon]))
    return at, np.interp(at, times[1:3], values[1:3])


@dataclass(frozen=True)
class _Recipe:
    """Everything a draw of one piece needs besides its numbers."""

    item: PlannedPiece
    pit: PitPlan
    prior: Prior
    late_s: float
    at_s: Floats
    horizon: float
    level: float
    holds: tuple[tuple[Floats, Floats], ...]
    error_k: float

    def air(self, offset: float) -> tuple[Floats, Floats]:
        """Times and air of the pit, off its level by some standard deviations."""
        times, air = pit_air(self.pit, self.late_s, self.horizon)
        share = np.clip((air - _YARD_C) / _EXCESS_K, 0.0, 1.5)
        return times, air + offset * self.level * share

    def leg(
        self, member: Member, offset: float, begin: float, wrap: str | None, until: float | None
    ) -> Leg:
        """Leg that begins so long after the piece went on."""
        times, air = self.air(offset)
        later = times[times > begin + 1.0]
        at = np.concatenate(([begin], later)) if len(later) else np.array([begin, begin + 1.0])
        longest = max(self.horizon - begin, 1.0)
        there = np.interp(at, times, air)
        return self.prior.leg(member, wrap, at - begin, there, longest, until)

    def run(self, member: Member, offset: float, until_c: float | None) -> LightRun:
        """Cook one draw until its core is there; to the horizon if None."""
        first = self.item.wrap_at_core_c
        begin = 0.0
        legs = []
        if self.item.wrap is not None:
            legs.append(self.leg(member, offset, 0.0, None, first))
            if self.pit.turn_up_c is not None:
                # The air of the second leg hangs on when the first one ends.
                begin = run_light(self.prior.cook(member, legs), self.at_s[:1]).leg_end_s[0]
        if self.item.wrap is None or begin < self.horizon - 1.0:
            legs.append(self.leg(member, offset, begin, self.item.wrap, until_c))
        return run_light(self.prior.cook(member, legs), self.at_s)

    def cooked(self, member: Member, offset: float, until_c: float | None) -> _Cooked:
        """Cook one draw; on past the core given where the hold tables are not through."""
        run = self.run(member, offset, until_c)
        time, core = self.at_s, run.core_c
        ended = until_c is not None and run.reached[-1]
        if until_c is not None and ended:
            # The end falls between two times of the grid: it is the last point of the curve.
            keep = time < run.leg_end_s[-1]
            time = np.append(time[keep], run.leg_end_s[-1])
            core = np.append(core[keep], until_c)
        risen = np.maximum.accumulate(core)
        enough = max(
            (enough_after(time, risen, *rows) for rows in self.holds), default=-math.inf
        )
        if ended and enough > time[-1]:
            return self.cooked(member, offset, None)
        if enough > self.horizon:
            enough = math.inf
        return _Cooked(run, member, until_c, time, core, risen, enough)


@dataclass(frozen=True, eq=False)
class _Cooked:
    """One draw, with the last point of its curve in place.

    `until_c` is None where it was cooked to the horizon; `enough_s` is when all hold
    tables that are waited for are through.
    """

    run: LightRun
    member: Member
    until_c: float | None
    time_s: Floats
    core_c: Floats
    risen_c: Floats
    enough_s: float

    def pull_s(self, core_c: float, then_s: float) -> float:
        """When it is pulled by a core, and a time from there on. [s]."""
        if not math.isfinite(self.enough_s) and self.enough_s > 0.0:
            return math.inf
        return first_time_at(self.time_s, self.core_c, core_c) + then_s


def hold_rows(standard: Standard, error_k: float) -> tuple[Floats, Floats]:
    """Temperatures of a hold table with the probe's error on top, and times asked for."""
    levels = standard.temperatures_c
    asked = [standard.required_s(level) for level in levels]
    return np.array(levels) + error_k, np.array(asked)


def crossings(time_s: Floats, risen_c: Floats, levels_c: Floats) -> Floats:
    """When a core that only warms is first at each level; infinite where never. [s]."""
    after = np.searchsorted(risen_c, levels_c)
    there = after < len(risen_c)
    last = np.minimum(after, len(risen_c) - 1)
    before = np.maximum(last - 1, 0)
    step = np.maximum(risen_c[last] - risen_c[before], 1e-12)
    share = np.clip((levels_c - risen_c[before]) / step, 0.0, 1.0)
    found = time_s[before] + np.where(last > before, share, 0.0) * (
        time_s[last] - time_s[before]
    )
    return np.where(there, found, math.inf)


def enough_after(time_s: Floats, risen_c: Floats, levels_c: Floats, asked_s: Floats) -> float:
    """When a hold table is through for a core that only warms: the first of its rows. [s]."""
    return float((crossings(time_s, risen_c, levels_c) + asked_s).min())


def cook_piece(
    item: PlannedPiece,
    pit: PitPlan,
    draws: Draws,
    number: int,
    *,
    late_s: float = 0.0,
    portion: float = 1.0,
    cores: int | None = None,
) -> PieceCooks:
    """Cook one piece in every draw.

    Where the pull waits for hold tables, they are through at another core in each draw,
    and nobody at the pit knows which draw is theirs. So all are pulled by one rule, the
    least that has the tables met in every draw, and that rule is what is told.

    Parameters
    ----------
    number : int
        Which of the draws' pieces it is.
    late_s : float
        How long after the first piece it goes on: matters only where the pit is turned
        up. [s]
    portion : float
        Of the pit, that the piece has: see `portions`. [-]
    """
    numerics = tables.load("plan", "numerics")
    error_k = tables.load("verdict")["probe_error"]
    horizon = numerics["horizon"]
    at_s = np.arange(0.0, horizon + 1.0, numerics["spacing"])
    waits = item.wanted.lethality is not False
    recipe = _Recipe(
        item=item,
        pit=pit,
        prior=pit_prior(item, pit, portion),
        late_s=late_s,
        at_s=at_s,
        horizon=horizon,
        level=pit.doubt.get("pit_level", tables.load("plan")["pit_level"]),
        holds=tuple(hold_rows(s, error_k) for s in deciding_standards(item)) if waits else (),
        error_k=error_k,
    )
    z = draws.pieces[number]

    def cooked(i: int, until_c: float | None) -> _Cooked | None:
        try:
            return recipe.cooked(recipe.prior.member(z[i]), float(draws.pit_level[i]), until_c)
        except SolverError:
            return None

    # Softening goes on at a core that no longer warms.
    wish = None if item.wanted.tenderness is not None else item.wanted.core_c
    found = spread(lambda i: cooked(i, wish), range(draws.members), cores)
    pull_core_c, pull_then_s = item.wanted.core_c, 0.0
    hottest = _hottest_enough(found)
    if hottest > pull_core_c:
        pull_core_c = math.ceil(10.0 * hottest - 1e-6) / 10.0
        found = _again(found, lambda one: one.until_c is not None, cooked, pull_core_c, cores)
        then_s = _stays(found, item.wanted.core_c)
        at_core = _share(found, horizon, pull_core_c, 0.0)
        in_time = _share(found, horizon, item.wanted.core_c, then_s)
        if at_core < _REACHED * in_time:
            pull_core_c, pull_then_s = item.wanted.core_c, then_s
            found = _again(found, lambda one: one.until_c is not None, cooked, None, cores)

    def told(one: _Cooked | None) -> tuple[float, ...]:
        return _NOTHING if one is None else _told(recipe, one, pull_core_c, pull_then_s)

    table = np.array(spread(told, found, cores))
    wrap_s, pull_s, highest_c, loss, crust, tender, come_up_s = table.T
    blank = np.full(len(at_s), np.nan)
    return PieceCooks(
        pull_core_c=pull_core_c,
        pull_then_s=pull_then_s,
        wrap_s=wrap_s,
        pull_s=pull_s,
        highest_c=highest_c,
        loss=loss,
        crust_activity=crust,
        tenderness=tender,
        come_up_s=come_up_s,
        time_s=at_s,
        core_c=np.array([blank if one is None else one.run.core_c for one in found]),
        failures=sum(one is None for one in found),
    )


def as_is_usual(
    cooks: list[PieceCooks],
    items: Sequence[PlannedPiece],
    pit: PitPlan,
    taught: Learned | None,
    seed: int,
) -> list[PieceCooks]:
    """Draw days anew, by how well their whole times agree with what is known beside physics.

    What a known pit has taught stands in place of the draws' own times; else what is usual
    for the cut counts beside them. Whole days are drawn, all pieces of one together. No
    curve is changed and none is made, and each pull rule, which holds in every draw, stays:
    nothing about safety moves.
    """
    if pit.turn_up_c is not None:
        return cooks
    count = len(cooks[0].pull_s)
    known = taught if taught is not None and taught.enough else None
    weights = np.ones(count)
    for item, cook in zip(items, cooks, strict=True):
        usual = usual_time(
            item.piece.material.name,
            _thickness(item),
            pit.air_c,
            cook.pull_core_c,
            item.piece.start_c,
            wrap=item.wrap,
        )
        if known is not None:
            share = shares(known, usual, cook.pull_s)
        elif (pace := cut_pace(item)) is not None:
            share = agreeing(pace.pace, usual, cook.pull_s)
        else:
            continue
        weights *= share ** (1.0 / len(cooks))
    if np.ptp(weights) == 0.0:
        return cooks
    rng = np.random.default_rng([seed, count, len(cooks)])
    marks = (np.arange(count) + rng.random()) / count
    total = np.cumsum(weights / weights.sum())
    rows = np.minimum(np.searchsorted(total, marks), count - 1)
    by_row = [f.name for f in fields(PieceCooks) if f.name not in _OF_ALL]
    return [
        replace(cook, **{name: getattr(cook, name)[rows] for name in by_row}) for cook in cooks
    ]


def cut_pace(item: PlannedPiece) -> UsualPace | None:
    """Return what is usual for a piece; None where no whole cooks are like it."""
    pace = usual_pace(item.piece.material.name)
    if pace is None or not pace.covers(_thickness(item), item.wanted.core_c):
        return None
    return pace


def _thickness(item: PlannedPiece) -> float:
    """Thickness by which usual times go: of a piece that was weighed, that of its weight."""
    if item.piece.assumed is not None:
        usual = usual_thickness(item.piece.material.name, item.mass_kg)
        if usual is not None:
            return usual
    return item.piece.shape.size


_OF_ALL = ("pull_core_c", "pull_then_s", "time_s", "failures")
_NOTHING = (math.nan, math.inf, -math.inf, math.nan, math.nan, math.nan, math.inf)


def _hottest_enough(found: list[_Cooked | None]) -> float:
    """Core at which the hold tables are through in every draw that gets so far. [°C]."""
    cores = [
        float(np.interp(one.enough_s, one.time_s, one.risen_c))
        for one in found
        if one is not None and math.isfinite(one.enough_s)
    ]
    return max(cores, default=-math.inf)


def _stays(found: list[_Cooked | None], core_c: float) -> float:
    """How long after a core the hold tables are through in every draw. [s]."""
    stays = [
        one.enough_s - first_time_at(one.time_s, one.core_c, core_c)
        for one in found
        if one is not None and math.isfinite(one.enough_s)
    ]
    longest = max((stay for stay in stays if math.isfinite(stay)), default=0.0)
    return math.ceil(max(longest, 0.0) / _THEN_STEP_S) * _THEN_STEP_S


def _share(found: list[_Cooked | None], horizon: float, core_c: float, then_s: float) -> float:
    """Share of the draws that are pulled within the horizon by a rule. [-]."""
    return sum(
        one is not None and one.pull_s(core_c, then_s) <= horizon for one in found
    ) / len(found)


def _again(
    found: list[_Cooked | None],
    which: Callable[[_Cooked], bool],
    cooked: Callable[[int, float | None], _Cooked | None],
    until_c: float | None,
    cores: int | None,
) -> list[_Cooked | None]:
    """Cook those draws again whose curve ends too soon."""
    short = [i for i, one in enumerate(found) if one is not None and which(one)]
    longer = spread(lambda i: cooked(i, until_c), short, cores)
    out = list(found)
    for i, one in zip(short, longer, strict=True):
        out[i] = one
    return out


def _told(
    recipe: _Recipe, one: _Cooked, pull_core_c: float, pull_then_s: float
) -> tuple[float, ...]:
    """Read one draw: wrap, pull, highest core, loss, crust, tenderness, come-up."""
    item, grid, core, run = recipe.item, one.time_s, one.core_c, one.run
    wrap_s = math.nan
    if item.wrap is not None:
        wrap_s = run.leg_end_s[0] if run.reached[0] else math.inf
    soft = np.sqrt(softening(grid, core, FAST) * softening(grid, core, SLOW))
    pull = one.pull_s(pull_core_c, pull_then_s)
    if item.wanted.tenderness is not None:
        pull = max(pull, first_time_at(grid, soft, item.wanted.tenderness))
    if pull > recipe.horizon or wrap_s == math.inf:
        pull = math.inf
    limit = come_up_limit()
    low = first_time_at(grid, core, limit.from_c)
    come_up = first_time_at(grid, core, limit.to_c + recipe.error_k) - low
    seen = pull if math.isfinite(pull) else float(recipe.at_s[-1])
    return (
        wrap_s,
        pull,
        float(np.interp(seen, grid, core)) if math.isfinite(pull) else float(core.max()),
        float(np.interp(seen, recipe.at_s, run.water_loss_fraction)),
        _crust(recipe, run, one.member, min(wrap_s, seen) if item.wrap is not None else seen),
        float(np.interp(seen, grid, soft)),
        come_up if math.isfinite(come_up) else math.inf,
    )


def _crust(recipe: _Recipe, run: LightRun, member: Member, at: float) -> float:
    """Water activity of the surface at the last point of the grid before a time."""
    i = max(int(np.searchsorted(recipe.at_s, at, side="right")) - 1, 0)
    m = recipe.prior.constants(member)
    share = wetness(float(run.film_kg_m2[i]), m)
    solid = water_activity(float(run.surface_water[i]), m)
    return float(min(max(share + (1.0 - share) * solid, 0.0), 1.0))


class RememberedCooks:
    """`cook_piece` that keeps its last answers: another hour or hold then costs nothing."""

    def __init__(self, kept: int = 8) -> None:
        self._kept = kept
        self._known: list[tuple[tuple[Any, ...], PieceCooks]] = []

    def __call__(
        self,
        item: PlannedPiece,
        pit: PitPlan,
        draws: Draws,
        number: int,
        *,
        late_s: float = 0.0,
        portion: float = 1.0,
        cores: int | None = None,
    ) -> PieceCooks:
        """Return what `cook_piece` would."""
        # What a cook hangs on; the hour, the hold and the warm-up are not among it.
        key = (
            (item.piece, item.wanted, item.wrap, item.wrap_at_core_c, dict(item.doubt)),
            (item.mass_kg, portion, replace(pit, warm_up_s=0.0)),
            late_s if pit.turn_up_c is not None else 0.0,
            (draws.seed, draws.members, number),
        )
        for known, answer in self._known:
            if known == key:
                return answer
        answer = cook_piece(
            item, pit, draws, number, late_s=late_s, portion=portion, cores=cores
        )
        self._known = [*self._known[1 - self._kept :], (key, answer)]
        return answer
