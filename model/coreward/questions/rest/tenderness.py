"""Is it tender, and what does the section look like? Softening, proteins, colour.

"Done" is not only a temperature: tough meat softens as collagen goes into gelatin, which
takes hours at 80 °C and days at 60 °C. Progress here is time spent over the published
time to tender at that temperature, added up; two published series give the spread.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from coreward import tables
from coreward.cook.result import Result
from coreward.errors import InputError
from coreward.physics.meat import Material
from coreward.units import KELVIN_OFFSET
from coreward.words import Lasting, Say, say

Floats = NDArray[np.float64]

FAST = "pork shoulder portions"
SLOW = "pork shoulder cubes"
_GAS_CONSTANT = 8.314462618  # J/(mol K), CODATA 2018, exact
# Beyond this exponent everything is denatured whatever the digits.
_MOST_EXPONENT = 60.0
PROTEINS = ("myosin", "sarcoplasmic and collagen", "actin")


def published_points(name: str = FAST) -> tuple[Floats, Floats]:
    """Temperatures [°C] and times to tender [s] of a published series.

    Raises
    ------
    TableError
        If there is no such series.
    """
    series = tables.load("tenderness", name)
    count = sum(1 for parameter in series if parameter.endswith("_time"))
    temperature = np.array([series[f"point_{i + 1}_c"] for i in range(count)])
    time = np.array([series[f"point_{i + 1}_time"] for i in range(count)])
    return temperature, time


def time_to_tender(temperature_c: ArrayLike, name: str = FAST) -> Floats:
    """Time to tender at a constant temperature. [s]; infinite below the credited range.

    Notes
    -----
    The logarithm of the time is a straight line between published points. It is drawn on
    from the coldest pair down to `credit_from_c`; above the hottest point the time stays
    what it is there.
    """
    points, times = published_points(name)
    t = np.asarray(temperature_c, dtype=float)
    log_time = np.log(times)
    inside = np.interp(np.clip(t, points[0], points[-1]), points, log_time)
    slope = (log_time[1] - log_time[0]) / (points[1] - points[0])
    below = np.minimum(t - points[0], 0.0)
    # Far below, no time is worked out: it is not credited.
    lowest = tables.load("tenderness", name)["credit_from_c"]
    below = np.maximum(below, lowest - points[0])
    value = np.exp(inside + slope * below)
    return np.where(t < lowest, np.inf, value)


def softening(time_s: ArrayLike, temperature_c: ArrayLike, name: str = FAST) -> Floats:
    """Progress toward tender along a history: 1 is tender.

    Parameters
    ----------
    time_s : array_like, shape (times,)
        [s]
    temperature_c : array_like, shape (times,) or (times, places)
        [°C]

    Raises
    ------
    InputError
        If times and temperatures do not go together.
    """
    time = np.asarray(time_s, dtype=float)
    t = np.asarray(temperature_c, dtype=float)
    if time.ndim != 1 or t.shape[:1] != time.shape:
        raise InputError(
            f"Softening needs one temperature per time; there are {time.size} times and "
            f"temperatures of shape {t.shape}."
        )
    rate = 1.0 / time_to_tender(t, name)
    return _summed(time, rate)


def _summed(time: Floats, rate: Floats) -> Floats:
    """Integral from the start to each time, by trapezoids, along the first axis."""
    width = np.diff(time).reshape((-1,) + (1,) * (rate.ndim - 1))
    steps = 0.5 * (rate[1:] + rate[:-1]) * width
    out = np.zeros_like(rate)
    np.cumsum(steps, axis=0, out=out[1:])
    return out


@dataclass(frozen=True)
class Tenderness:
    """Progress of the core toward tender, through cook and rest."""

    time_s: Floats
    """[s]"""
    fast: Floats
    slow: Floats
    """Progress at the core by the fast and the slow published series; 1 is tender."""
    middle: Floats
    """Their geometric mean."""
    by_depth: Floats
    """`middle` at the end, from core to surface. Shape (cells,)."""
    tender_s: tuple[float, float, float]
    """When fast, middle and slow came to 1; infinite where they did not. [s]"""
    sentence: Say


def tenderness(result: Result) -> Tenderness:
    """How far the softening has come, in any cook, rest or hold.

    Notes
    -----
    Both series are of pork shoulder; for other tough cuts they are a guide to the shape,
    not to the hour. Old animals take longer.
    """
    time = result.time_s
    fast = softening(time, result.core_c, FAST)
    slow = softening(time, result.core_c, SLOW)
    middle = np.sqrt(fast * slow)
    last_fast = softening(time, result.temperature_c, FAST)[-1]
    last_slow = softening(time, result.temperature_c, SLOW)[-1]
    when = tuple(_reached(time, progress) for progress in (fast, middle, slow))
    tender = (when[0], when[1], when[2])
    return Tenderness(
        time_s=time,
        fast=fast,
        slow=slow,
        middle=middle,
        by_depth=np.sqrt(last_fast * last_slow),
        tender_s=tender,
        sentence=_sentence(float(fast[-1]), float(slow[-1]), tender),
    )


def _reached(time: Floats, progress: Floats) -> float:
    if progress[-1] < 1.0:
        return math.inf
    return float(np.interp(1.0, progress, time))


def _sentence(fast: float, slow: float, tender_s: tuple[float, float, float]) -> Say:
    low, high = 100.0 * slow, 100.0 * fast
    text = (
        f"Softening of tough meat at the core: {low:.0f} to {high:.0f} % of the way to tender "
        "by two published series of pork shoulder"
    )
    early, _, late = tender_s
    if math.isfinite(late):
        return say(f"{text}; tender between {{0}} and {{1}}.", Lasting(early), Lasting(late))
    if math.isfinite(early):
        return say(
            f"{text}; tender from {{0}} on by the fast one, not yet by the slow.",
            Lasting(early),
        )
    return say(f"{text}; tender by neither.")


@dataclass(frozen=True)
class Section:
    """What heat has done through the section at one time."""

    position_m: Floats
    """From the core. [m] Shape (cells,)."""
    temperature_c: Floats
    highest_c: Floats
    """Now and at most. [°C]"""
    denatured: dict[str, Floats]
    """Share denatured of each of `PROTEINS`."""
    myoglobin: Floats
    """Share of the red pigment denatured."""
    colour: tuple[str, ...]
    """One of "red", "pink" or "brown", from core to surface."""

    def edges_m(self, protein: str) -> float:
        """Depth from the core at which half of a protein is denatured. [m].

        The half size where it is so nowhere, 0 where it is so at the core already.
        """
        share = self.denatured[protein]
        done = np.flatnonzero(share >= 0.5)
        if not done.size:
            return float(self.position_m[-1])
        i = int(done[0])
        if i == 0:
            return 0.0
        a, b = float(share[i - 1]), float(share[i])
        x = self.position_m
        return float(x[i - 1] + (0.5 - a) / (b - a) * (x[i] - x[i - 1]))


def denatured_share(highest_c: ArrayLike, material: Material) -> dict[str, Floats]:
    """Share of each protein that has unfolded after the highest temperature it had.

    Parameters
    ----------
    material : Material
        Its transitions (table ``transitions``) are used.

    Raises
    ------
    InputError
        If the material has no proteins.
    """
    if not material.moist:
        raise InputError("A constant material has no proteins; use coreward.meat(...).")
    m = material.constants
    t = np.asarray(highest_c, dtype=float)
    steps = (
        (m.denature_midpoint_1, m.denature_width_1),
        (m.denature_midpoint_2, m.denature_width_2),
        (m.denature_midpoint_3, m.denature_width_3),
    )
    return {
        name: 1.0 / (1.0 + np.exp(-np.clip((t - midpoint) / width, -60.0, 60.0)))
        for name, (midpoint, width) in zip(PROTEINS, steps, strict=True)
    }


def myoglobin_denatured(
    time_s: ArrayLike, temperature_c: ArrayLike, name: str | None = None
) -> Floats:
    """Share of the pigment denatured along a history, first order in time.

    Parameters
    ----------
    time_s : array_like, shape (times,)
        [s]
    temperature_c : array_like, shape (times,) or (times, places)
        [°C]
    """
    c = tables.load("colour", name)
    t = np.asarray(temperature_c, dtype=float) + KELVIN_OFFSET
    reference = c["reference_c"] + KELVIN_OFFSET
    exponent = -c["activation_energy"] / _GAS_CONSTANT * (1.0 / t - 1.0 / reference)
    rate = c["rate"] * np.exp(np.clip(exponent, -_MOST_EXPONENT, _MOST_EXPONENT))
    done = _summed(np.asarray(time_s, dtype=float), rate)
    return 1.0 - np.exp(-np.minimum(done, _MOST_EXPONENT))


def section(result: Result, time_s: float | None = None) -> Section:
    """Proteins and colour through the section.

    Parameters
    ----------
    time_s : float, optional
        When; the end if None. The nearest stored row is taken. [s]
    """
    row = (
        len(result.time_s) - 1
        if time_s is None
        else int(np.argmin(np.abs(result.time_s - time_s)))
    )
    pigment = myoglobin_denatured(result.time_s[: row + 1], result.temperature_c[: row + 1])[-1]
    c = tables.load("colour")
    words = tuple(
        "brown" if p >= c["well_done"] else "pink" if p >= c["rare"] else "red" for p in pigment
    )
    return Section(
        position_m=result.position_m,
        temperature_c=result.temperature_c[row],
        highest_c=result.highest_c[row],
        denatured=denatured_share(result.highest_c[row], result.piece.material),
        myoglobin=pigment,
        colour=words,
    )
