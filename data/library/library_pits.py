"""Pits of the library: what the air beside the meat did, minute by minute.

A pit is a setting, a fire with its own unrest, lids that are opened, and the mishaps that
people tell of: fuel that runs low and is put on again, a setting that is changed on the
way, a fire that dies for good. The ranges are common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

FIRES = ("thermostat", "charcoal", "wood", "gas")
TROUBLES = ("none", "drift", "dying_refuelled", "changed", "dying", "too_low")
"""The last two never reach the target."""


@dataclass(frozen=True)
class Pit:
    """One pit and its day."""

    fire: str
    water_pan: bool
    set_c: float
    trouble: str
    dew_point_c: float
    film_w_m2k: float
    """Convection and radiation together, W/(m2 K)."""
    lids: int
    air_c: np.ndarray
    """Air beside the meat at each whole minute, °C."""


def wander(rng: np.random.Generator, minutes: int, spread: float, memory_min: float):
    """Return a wandering departure with a standard deviation and a memory."""
    keep = np.exp(-1 / memory_min)
    kicks = rng.normal(0.0, spread * np.sqrt(1 - keep * keep), minutes)
    kicks[0] = rng.normal(0.0, spread)
    departure, course = 0.0, np.empty(minutes)
    for minute, kick in enumerate(kicks):
        departure = kick + keep * departure
        course[minute] = departure
    return course


def _unrest(fire: str, rng: np.random.Generator, minutes: int) -> np.ndarray:
    """Departure of the air from the setting while nothing goes wrong, K."""
    clock = np.arange(minutes)
    if fire == "thermostat":
        period = rng.uniform(6, 25)
        swing = rng.uniform(0.5, 5.0)
        tooth = 2 * np.abs(2 * ((clock / period + rng.uniform()) % 1) - 1) - 1
        return swing * tooth + wander(rng, minutes, rng.uniform(0.3, 1.5), 20)
    spread = {"charcoal": (2.0, 6.0), "wood": (3.0, 8.0), "gas": (1.0, 4.0)}[fire]
    slow = wander(rng, minutes, rng.uniform(*spread), rng.uniform(25, 90))
    quick = wander(rng, minutes, 0.25 * spread[0], 4)
    return slow + quick


def _lids(rng: np.random.Generator, minutes: int, per_hour: float, depth: float):
    """Dips of opened lids: quick down, slower back. Returns (dips, how many)."""
    dips = np.zeros(minutes)
    count = int(rng.poisson(per_hour * minutes / 60))
    for start in np.sort(rng.uniform(25, max(minutes - 1, 26), count)):
        held = rng.uniform(1, 5)
        back = rng.uniform(4, 14)
        since = np.arange(minutes) - start
        shape = np.where(since < 0, 0.0, np.minimum(since / held, 1.0))
        shape = shape * np.exp(-np.maximum(since - held, 0.0) / back)
        dips = np.minimum(dips, -depth * rng.uniform(0.4, 1.0) * shape)
    return dips, count


def _trouble(
    kind: str, set_c: float, hours: float, rng: np.random.Generator, minutes: int
) -> np.ndarray:
    """What a mishap adds to the air, K; ``hours`` is how long such a cook usually takes."""
    clock = np.arange(minutes) / 60
    if kind == "drift":
        return rng.choice([-1, 1]) * rng.uniform(0.6, 2.5) * np.minimum(clock, 8)
    if kind == "changed":
        return np.where(
            clock < hours * rng.uniform(0.25, 0.75), 0.0, rng.choice([-12, -8, 8, 12, 15, 22])
        )
    if kind == "dying_refuelled":
        start = hours * rng.uniform(0.2, 0.7)
        lasted = rng.uniform(0.6, 2.0)
        depth = rng.uniform(0.2, 0.45) * set_c
        falling = -depth * (1 - np.exp(-np.maximum(clock - start, 0) / (0.6 * lasted)))
        refuelled = start + lasted
        back = np.exp(-np.maximum(clock - refuelled, 0) / rng.uniform(0.15, 0.4))
        held = falling[min(int(refuelled * 60), minutes - 1)]
        over = rng.uniform(0, 10) * np.exp(-(((clock - refuelled - 0.7) / 0.4) ** 2))
        return np.where(clock < refuelled, falling, held * back + over)
    if kind == "dying":
        start = hours * rng.uniform(0.15, 0.6)
        return -(set_c - rng.uniform(25, 45)) * (
            1 - np.exp(-np.maximum(clock - start, 0) / rng.uniform(0.8, 2.0))
        )
    return np.zeros(minutes)


def draw_pit(
    set_c: float, trouble: str, usual_hours: float, horizon_h: float, rng: np.random.Generator
) -> Pit:
    """Draw a pit and its day.

    Parameters
    ----------
    set_c : float
        What it is set to, °C.
    trouble : str
        One of `TROUBLES`.
    usual_hours : float
        How long such a cook usually takes; mishaps fall inside it.
    horizon_h : float
        How long the day is drawn, h.
    rng : numpy.random.Generator
        Where the numbers come from.

    Returns
    -------
    Pit
        The day, minute by minute.
    """
    minutes = int(horizon_h * 60) + 1
    fire = "gas" if trouble == "too_low" else str(rng.choice(FIRES, p=[0.4, 0.3, 0.15, 0.15]))
    if trouble in ("dying", "dying_refuelled") and fire == "thermostat":
        fire = "charcoal"
    pan = bool(rng.uniform() < 0.35)
    dew_point = rng.uniform(42, 66) if pan else rng.uniform(12, 48)
    level = set_c + rng.normal(0.0, 3.0)
    air = (
        level
        + _unrest(fire, rng, minutes)
        + _trouble(trouble, set_c, usual_hours, rng, minutes)
    )
    if rng.uniform() < 0.35:
        warm = rng.uniform(5, 20)
        air = air - (level - rng.uniform(30, 80)) * np.exp(-np.arange(minutes) / warm)
    manual = fire != "thermostat"
    dips, lids = _lids(
        rng, minutes, rng.uniform(0.05, 0.5 if manual else 0.3), rng.uniform(15, 45)
    )
    film = rng.uniform(10, 18) if manual else rng.uniform(13, 23)
    air = np.maximum(air + dips, rng.uniform(5, 25))
    return Pit(fire, pan, set_c, trouble, float(dew_point), float(film), lids, air)
