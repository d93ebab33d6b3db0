"""The cooks under a plan: one piece in hundreds of guises, from on to pull.

How long a piece takes does not depend on the clock, so one set of draws answers for
every lighting time. All pieces of a draw share the pit's level, its air and its dampness;
what is not known of a piece is its own.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from coreward import tables
from coreward.cook.light import Leg, LightRun, run_light, spread
from coreward.cook.result import first_time_at
from coreward.errors import SolverError
from coreward.physics.statement import water_activity, wetness
from coreward.questions.fit import NAMES, Member, Prior, even_normal, stated_prior
from coreward.questions.plan_inputs import SHARED, PitPlan, PlannedPiece
from coreward.questions.tenderness import FAST, SLOW, softening
from coreward.tables.standards import (
    BandLimit,
    Standard,
    band_limits,
    load_standard,
    standards_for,
)

Floats = NDArray[np.float64]

_YARD_C = 20.0
_EXCESS_K = 100.0
# A pit that is turned up needs a while.
_RAMP_S = 900.0


@dataclass(frozen=True)
class Draws:
    """What a day may be like: one row for each draw.

    Attributes
    ----------
    pieces : tuple of ndarray, shape (members, unknowns)
        Standard vectors of each piece, see `coreward.questions.fit.NAMES`.
    pit_level : ndarray, shape (members,)
        Mean of the pit less what was wanted, in standard deviations.
    warm_up_s : ndarray, shape (members,)
        From the match to a steady pit. [s]
    seed : int
    """

    pieces: tuple[Floats, ...]
    pit_level: Floats
    warm_up_s: Floats
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
    members, seed : int
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
    """What became of one piece in each draw. Times count from when it went on.

    Attributes
    ----------
    wrap_s : ndarray, shape (members,)
        When it was wrapped; NaN without a wrap, infinite where that core never came. [s]
    pull_s : ndarray
        When it first had all that the pull waits for; infinite where never. [s]
    highest_c : ndarray
        Highest core within the horizon, or at the pull. [°C]
    loss, crust_activity, tenderness : ndarray
        At the pull (crust: when wrapped, or pulled bare). [-]
    come_up_s : ndarray
        Time of the core in the come-up band of the published limit. [s]
    time_s : ndarray, shape (times,)
        [s]
    core_c : ndarray, shape (members, times)
        Held beyond the end of the run. [°C]
    failures : int
        Draws that could not be computed; they count as never ready.
    """

    wrap_s: Floats
    pull_s: Floats
    highest_c: Floats
    loss: Floats
    crust_activity: Floats
    tenderness: Floats
    come_up_s: Floats
    time_s: Floats
    core_c: Floats
    failures: int = 0


def deciding_standards(item: PlannedPiece) -> tuple[Standard, ...]:
    """Return the hold tables that a piece has to meet: named, or deciding for its meat."""
    asked = item.wanted.lethality
    if not isinstance(asked, bool):
        return tuple(load_standard(name) for name in asked)
    if not asked:
        return ()
    species = tables.load("cut", item.piece.material.name).text("species")
    return tuple(s for s in standards_for([species], "intact") if s.counts)


def come_up_limit() -> BandLimit:
    """Return the published limit of the come-up."""
    return next(limit for limit in band_limits() if limit.kind == "come-up")


def pit_prior(item: PlannedPiece, pit: PitPlan) -> Prior:
    """Return what is believed of a piece in the pit of a plan."""
    return stated_prior(
        item.piece,
        fire=pit.fire,
        dew_point_c=pit.dew_point_c,
        pressure_pa=pit.pressure_pa,
        **{**item.doubt, **{k: v for k, v in pit.doubt.items() if k in SHARED}},
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
        return Leg(
            self.prior.forcing(member, at - begin, np.interp(at, times, air)),
            self.prior.conditions(member, wrap),
            max(self.horizon - begin, 1.0),
            until,
        )

    def run(self, member: Member, offset: float, open_ended: bool) -> LightRun:
        """Cook one draw, until its core is there or to the horizon."""
        target = None if open_ended else self.item.wanted.core_c
        first = self.item.wrap_at_core_c
        begin = 0.0
        legs = []
        if self.item.wrap is not None:
            legs.append(self.leg(member, offset, 0.0, None, first))
            if self.pit.turn_up_c is not None:
                # The air of the second leg hangs on when the first one ends.
                begin = run_light(self.prior.cook(member, legs), self.at_s[:1]).leg_end_s[0]
        if self.item.wrap is None or begin < self.horizon - 1.0:
            legs.append(self.leg(member, offset, begin, self.item.wrap, target))
        return run_light(self.prior.cook(member, legs), self.at_s)


def _rows(standard: Standard, error_k: float) -> tuple[Floats, Floats]:
    """Temperatures of a hold table with the probe's error on top, and times asked for."""
    levels = standard.temperatures_c
    asked = [standard.required_s(level) for level in levels]
    return np.array(levels) + error_k, np.array(asked)


def _enough(time_s: Floats, risen_c: Floats, levels_c: Floats, asked_s: Floats) -> float:
    """Return `time_until_enough` of a core that only warms, for all rows at once."""
    first = np.searchsorted(risen_c, levels_c)
    there = first < len(risen_c)
    if not there.any():
        return math.inf
    return float((time_s[first[there]] + asked_s[there]).min())


def cook_piece(
    item: PlannedPiece,
    pit: PitPlan,
    draws: Draws,
    number: int,
    *,
    late_s: float = 0.0,
    cores: int | None = None,
) -> PieceCooks:
    """Cook one piece in every draw.

    Parameters
    ----------
    item : PlannedPiece
    pit : PitPlan
    draws : Draws
    number : int
        Which of the draws' pieces it is.
    late_s : float
        How long after the first piece it goes on: matters only where the pit is turned
        up. [s]
    cores : int, optional
        Threads.
    """
    numerics = tables.load("plan", "numerics")
    error_k = tables.load("verdict")["probe_error"]
    horizon = numerics["horizon"]
    at_s = np.arange(0.0, horizon + 1.0, numerics["spacing"])
    recipe = _Recipe(
        item=item,
        pit=pit,
        prior=pit_prior(item, pit),
        late_s=late_s,
        at_s=at_s,
        horizon=horizon,
        level=pit.doubt.get("pit_level", tables.load("plan")["pit_level"]),
        holds=tuple(_rows(s, error_k) for s in deciding_standards(item)),
        error_k=error_k,
    )
    z = draws.pieces[number]

    def one(i: int) -> tuple[float, ...] | None:
        member = recipe.prior.member(z[i])
        offset = float(draws.pit_level[i])
        # Softening goes on at a core that no longer warms; so may the hold tables ask.
        open_ended = item.wanted.tenderness is not None
        try:
            run = recipe.run(member, offset, open_ended)
            row = _told(recipe, run, member, open_ended)
            if row is None:
                run = recipe.run(member, offset, True)
                row = _told(recipe, run, member, True)
        except SolverError:
            return None
        curves[i] = run.core_c
        return row

    curves = np.full((draws.members, len(at_s)), np.nan)
    rows = spread(one, range(draws.members), cores)
    nothing = (math.nan, math.inf, -math.inf, math.nan, math.nan, math.nan, math.inf)
    table = np.array([nothing if row is None else row for row in rows])
    wrap_s, pull_s, highest_c, loss, crust, tender, come_up_s = table.T
    return PieceCooks(
        wrap_s=wrap_s,
        pull_s=pull_s,
        highest_c=highest_c,
        loss=loss,
        crust_activity=crust,
        tenderness=tender,
        come_up_s=come_up_s,
        time_s=at_s,
        core_c=curves,
        failures=sum(row is None for row in rows),
    )


def _told(
    recipe: _Recipe, run: LightRun, member: Member, open_ended: bool
) -> tuple[float, ...] | None:
    """Read one run: wrap, pull, highest core, loss, crust, tenderness, come-up.

    None if the run ended with its core temperature and more was wanted.
    """
    item, grid, core = recipe.item, recipe.at_s, run.core_c
    wanted = item.wanted
    wrap_s = math.nan
    if item.wrap is not None:
        wrap_s = run.leg_end_s[0] if run.reached[0] else math.inf
    if not open_ended and run.reached[-1]:
        # The end falls between two times of the grid: it is the last point of the curve.
        keep = recipe.at_s < run.leg_end_s[-1]
        grid = np.append(recipe.at_s[keep], run.leg_end_s[-1])
        core = np.append(run.core_c[keep], wanted.core_c)
    soft = np.sqrt(softening(grid, core, FAST) * softening(grid, core, SLOW))
    pull = first_time_at(grid, core, wanted.core_c)
    if wanted.tenderness is not None:
        pull = max(pull, first_time_at(grid, soft, wanted.tenderness))
    if recipe.holds:
        risen = np.maximum.accumulate(core)
        pull = max(pull, *(_enough(grid, risen, *rows) for rows in recipe.holds))
    if not open_ended and run.reached[-1] and pull > grid[-1]:
        return None
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
        _crust(recipe, run, member, min(wrap_s, seen) if item.wrap is not None else seen),
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
    """`cook_piece` that keeps its last answers: another hour or hold then costs nothing.

    Parameters
    ----------
    kept : int
        How many answers.
    """

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
        cores: int | None = None,
    ) -> PieceCooks:
        """Return what `cook_piece` would."""
        # What a cook hangs on; the hour, the hold and the warm-up are not among it.
        key = (
            (item.piece, item.wanted, item.wrap, item.wrap_at_core_c, dict(item.doubt)),
            replace(pit, warm_up_s=0.0),
            late_s if pit.turn_up_c is not None else 0.0,
            (draws.seed, draws.members, number),
        )
        for known, answer in self._known:
            if known == key:
                return answer
        answer = cook_piece(item, pit, draws, number, late_s=late_s, cores=cores)
        self._known = [*self._known[1 - self._kept :], (key, answer)]
        return answer
