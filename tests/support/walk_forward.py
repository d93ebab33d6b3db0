"""Live through a planned day again and again, by its clock times, with fresh draws.

Nothing is taken from the planner but what it tells a crew: when to light, when each piece
goes on, how it is wrapped and pulled, how long it may be held, and the hour.
"""

from __future__ import annotations

import math

import numpy as np

from coreward import tables
from coreward.cook.light import Leg, LightCook, LightRun, run_light
from coreward.questions.forecast.fit import NAMES, Prior, stated_prior
from coreward.questions.plan.answer import PieceOutlook, Plan

_LONG_S = 40 * 3600.0
_COMMON = ("heat_transfer", "air_offset", "dampness")


def live_through(plan: Plan, days: int, seed: int) -> tuple[float, float]:
    """Return the share of days ready by the hour, and that without too long a hold."""
    rng = np.random.default_rng([seed, 77])
    table = tables.load("plan")
    ready, both = 0, 0
    priors = [_prior(plan, one) for one in plan.pieces]
    serve = plan.serve_at.timestamp()
    lit = plan.light.planned.timestamp()
    for _ in range(days):
        common = dict(zip(_COMMON, rng.standard_normal(len(_COMMON)), strict=True))
        level = rng.standard_normal() * plan.pit.doubt.get("pit_level", table["pit_level"])
        hot = lit + table["warm_up_likely"] * math.exp(
            table["warm_up_spread"] * rng.standard_normal()
        )
        on_time, patient = True, True
        for one, prior in zip(plan.pieces, priors, strict=True):
            own = dict(zip(NAMES, rng.standard_normal(len(NAMES)), strict=True)) | common
            on = max(one.step("on").planned.timestamp(), hot)
            pulled = on + _cooked(plan, one, prior, np.array([own[n] for n in NAMES]), level)
            item = one.item
            on_time &= pulled + item.hold.least_s <= serve - item.slicing_s
            patient &= pulled + one.most_hold_s >= serve - item.slicing_s
        ready += on_time
        both += on_time and patient
    return ready / days, both / days


def _prior(plan: Plan, one: PieceOutlook) -> Prior:
    spread = dict(one.item.doubt) | {
        k: v for k, v in plan.pit.doubt.items() if k != "pit_level"
    }
    return stated_prior(
        one.item.piece,
        fire=plan.pit.fire,
        dew_point_c=plan.pit.dew_point_c,
        pressure_pa=plan.pit.pressure_pa,
        **spread,
    )


def _cooked(plan: Plan, one: PieceOutlook, prior: Prior, z: np.ndarray, level: float) -> float:
    """How long a piece of given numbers is on the pit."""
    item, member = one.item, prior.member(z)
    times = np.array([0.0, _LONG_S])
    air = np.full(2, plan.pit.air_c)
    if plan.pit.turn_up_c is not None:
        up = plan.pit.turn_up_after_s
        times = np.array([0.0, up, up + 900.0, _LONG_S])
        air = np.array([plan.pit.air_c] * 2 + [plan.pit.turn_up_c] * 2)
    air = air + level * np.clip((air - 20.0) / 100.0, 0.0, 1.5)

    def leg(begin: float, wrap: str | None, until: float) -> Leg:
        at = np.concatenate(([begin], times[times > begin]))
        there = np.interp(at, times, air)
        return prior.leg(member, wrap, at - begin, there, _LONG_S - begin, until)

    size = type(item.piece.shape)(item.piece.shape.size * member.size_factor)

    def cooked(*legs: Leg) -> LightRun:
        cook = LightCook(size, prior.constants(member), member.start_c, legs)
        return run_light(cook, np.array([0.0]))

    if item.wrap is None:
        run = cooked(leg(0.0, None, one.pull_core_c))
    else:
        bare = leg(0.0, None, item.wrap_at_core_c)
        wrapped = cooked(bare).leg_end_s[0]
        run = cooked(bare, leg(wrapped, item.wrap, one.pull_core_c))
    return run.leg_end_s[-1] + one.pull_then_s if all(run.reached) else math.inf
