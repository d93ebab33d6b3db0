"""What the pit will do if nobody touches it, judged from what it did."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from coreward import tables
from coreward.questions.forecast.fit import Fitted, even_normal

Floats = NDArray[np.float64]

# Of the pit: how much of its past tells its level; how long a lower level must last to
# count as one; what "now" means.
_PAST_S = 2.5 * 3600.0
_LASTING_S = 2400.0
_RECENT_S = 900.0
_NODE_S = 1800.0
_TAIL = 5.0  # degrees of freedom of the doubt about the level


@dataclass(frozen=True)
class PitOutlook:
    """What the pit is taken to do if nobody touches it."""

    level_c: float
    """Its reading, in the mean, losses by opened lids included. [°C]"""
    level_doubt: float
    wander: float
    """Of the level; about the level. [K]"""
    now_off: float
    """Where it is now, against the level. [K]"""


def pit_outlook(fitted: Fitted) -> PitOutlook:
    """Judge the pit's future from its last hours.

    Lids and dying fires only ever pull the reading down, and pass: the level is that of
    the last hours without what lies far below it. A new level counts once it has lasted
    (`_LASTING_S`); until then a fall is taken for a dip that somebody will mend.
    """
    past = fitted.past
    model = tables.load("forecast", "model")
    time, air = past.air_time_s, past.air_c
    end = past.duration_s
    window = air[time >= end - _PAST_S]
    level, wander = _upper_level(window, model["pit_least"])
    latest = air[time >= end - _LASTING_S]
    near = float(np.median(latest)) if len(latest) else float(air[-1])
    half = len(latest) // 2
    flat = half > 1 and abs(float(np.median(latest[half:]) - np.median(latest[:half]))) < (
        2.0 * model["pit_least"]
    )
    # Its scatter about the middle: two levels within those hours are no wandering.
    usual = min(wander, _scatter(window, model["pit_least"]))
    if near > level + 2.0 * usual or (flat and near < level - 3.0 * wander):
        level, wander = _upper_level(latest, model["pit_least"])
    before = air[(time >= end - 2.0 * _PAST_S) & (time < end - _PAST_S)]
    drift = 0.0
    if len(before) > 6:
        drift = abs(level - _upper_level(before, model["pit_least"])[0])
    doubt = math.hypot(model["pit_doubt"], 0.3 * min(drift, 10.0))
    settled = air[int(np.argmax(air >= level - 2.0 * wander)) :]
    settled = settled[np.maximum(len(settled) - int(2 * _PAST_S / 300.0), 0) :]
    lost = np.clip(level - settled - 2.5 * wander, 0.0, 60.0)
    prior_nodes = 3 * 3600.0 / max(float(np.median(np.diff(time))), 1.0) if len(time) > 1 else 1
    mean = (lost.sum() + prior_nodes * model["pit_cost"]) / (len(lost) + prior_nodes)
    cost = model["pit_cost_share"] * mean
    off = float(np.median(air[time >= end - _RECENT_S])) - level if len(air) > 2 else 0.0
    return PitOutlook(level - cost, doubt, wander, float(np.clip(off + cost, -20.0, 20.0)))


def _upper_level(air: Floats, least: float) -> tuple[float, float]:
    """Mean and scatter of a pit without what lies far below. [°C, K]."""
    kept = air
    for _ in range(6):
        middle = float(np.median(kept))
        inside = kept[kept > middle - 2.5 * _scatter(kept, least)]
        if len(inside) == len(kept):
            break
        kept = inside
    return float(np.mean(kept)), max(float(np.std(kept)), 0.5)


def _scatter(air: Floats, least: float) -> float:
    """Robust scatter about the median. [K]."""
    return max(1.4826 * float(np.median(np.abs(air - np.median(air)))), least)


def pit_paths(pit: PitOutlook, count: int, rng: np.random.Generator) -> tuple[Floats, Floats]:
    """Departures of the pit from its level, one node each half hour, per member. [s, K]."""
    nodes = 13
    keep = math.exp(-_NODE_S / tables.load("forecast", "model")["pit_time"])
    out = np.empty((count, nodes))
    out[:, 0] = pit.now_off
    for k in range(1, nodes):
        shock = pit.wander * math.sqrt(1.0 - keep * keep) * rng.standard_normal(count)
        out[:, k] = keep * out[:, k - 1] + shock
    # Later on only the mean matters: no nodes, no corners for the engine.
    out[:, -1] = 0.0
    # Heavier tails than a bell curve's: a normal over the root of a chi-square (t, 5).
    heavy = np.sqrt(_TAIL / rng.chisquare(_TAIL, (count, 1)))
    level = np.clip(pit.level_doubt * even_normal(rng, count, 1) * heavy, -30.0, 30.0)
    return np.arange(float(nodes)) * _NODE_S, np.asarray(out + level)
