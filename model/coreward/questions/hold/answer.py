"""How long must it be held? A cook with a hold, and the time until it is enough.

The cook is an ordinary one: come-up, hold, rest. The time until it is enough follows the
rule of a hold standard, every part at a minimum for a time; the integral is left to
`coreward.questions.verdict`.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from coreward import tables
from coreward.cook.result import Result
from coreward.cook.simulate import simulate
from coreward.cook.stages import Piece, Stage, Surroundings
from coreward.errors import InputError
from coreward.physics.body import SHAPES
from coreward.physics.lethality import Kinetics
from coreward.physics.meat import meat
from coreward.physics.water import saturation_pressure
from coreward.questions.verdict.history import CookRecord, cook_record
from coreward.tables.standards import Standard, band_limits, load_standard

Floats = NDArray[np.float64]
AROUND = ("bath", "air")
# A reading of exactly 130 °F must reach the row of 130 °F in either unit, whatever the last
# binary digit of its conversion.
_SAME_C = 1e-6


@dataclass(frozen=True)
class HoldPlan:
    """A piece, what surrounds it, and for how long."""

    cut: str
    """Name in table ``cut``."""
    shape: str = "slab"
    """A "slab", a "cylinder" or a "sphere"."""
    thickness_m: float = 0.03
    """Whole thickness or diameter. [m]"""
    start_c: float = 4.0
    """From the fridge. [°C]"""
    around: str = "bath"
    """"bath": in a sealed bag in stirred water; "air": bare in air of a dew point."""
    around_c: float = 60.0
    dew_point_c: float = 30.0
    """Of the bath or the air. [°C]"""
    until_core_c: float | None = None
    """The hold begins when the core has this temperature, [°C], or with the cook."""
    hold_s: float = 3600.0
    rest_s: float = 0.0
    """Length of the hold and of the rest in a kitchen after it. [s]"""

    def __post_init__(self) -> None:
        for value, allowed, what in (
            (self.shape, tuple(SHAPES), "shape"),
            (self.around, AROUND, "around"),
        ):
            if value not in allowed:
                raise InputError(f"{what} is {value!r}; use one of: {', '.join(allowed)}.")
        for name in ("hold_s", "rest_s"):
            value_s = getattr(self, name)
            if not (math.isfinite(value_s) and value_s >= 0.0):
                raise InputError(f"{name} is {value_s!r}: give zero or a positive number.")
        if self.around == "air" and self.dew_point_c >= self.around_c:
            raise InputError(
                f"The dew point ({self.dew_point_c:.0f} °C) must lie below the temperature of "
                f"the air ({self.around_c:.0f} °C): lower the one or raise the other."
            )
        comes_up = self.until_core_c is not None and self.until_core_c > self.start_c
        if not comes_up and self.hold_s + self.rest_s <= 0.0:
            raise InputError("A cook needs a duration: give hold_s above zero.")

    def piece(self) -> Piece:
        """Return the piece."""
        return Piece(SHAPES[self.shape](self.thickness_m), meat(self.cut), start_c=self.start_c)

    def surroundings(self) -> Surroundings:
        """Return what surrounds it while it cooks."""
        if self.around == "bath":
            return Surroundings(
                air_c=self.around_c,
                heat_transfer=tables.load("hold")["bath_heat_transfer"],
                emissivity=0.0,  # water, not walls, is what the bag sees
                evaporation=False,
            )
        return Surroundings(air_c=self.around_c, dew_point_c=self.dew_point_c)

    def relative_humidity(self) -> float | None:
        """Relative humidity around a bare piece; None in a bag. [%]."""
        if self.around == "bath":
            return None
        full = float(saturation_pressure(self.around_c))
        return min(100.0 * float(saturation_pressure(self.dew_point_c)) / full, 100.0)


@dataclass(frozen=True, eq=False)
class HeldCook:
    """A computed cook with a hold."""

    result: Result
    """From `coreward.simulate`."""
    hold_begin_s: float
    hold_end_s: float
    """When the hold began and ended; the end of the cook where it never began. [s]"""
    reached: bool
    """Whether the core got to where the hold begins."""


def cook_hold(plan: HoldPlan, **options: float) -> HeldCook:
    """Compute a cook with a hold.

    Parameters
    ----------
    **options
        Passed on to ``coreward.simulate`` (cells, tolerance).

    Raises
    ------
    InputError, TableError, SolverError
        As `coreward.simulate`.
    """
    around = plan.surroundings()
    held = tables.load("hold")
    stages = []
    if plan.until_core_c is not None and plan.until_core_c > plan.start_c:
        stages.append(
            Stage(
                around,
                duration_s=held["longest_cook"],
                until_core_c=plan.until_core_c,
                label="come-up",
            )
        )
    come_up = len(stages)
    if plan.hold_s > 0.0:
        stages.append(Stage(around, duration_s=plan.hold_s, label="hold"))
    if plan.rest_s > 0.0:
        room = Surroundings(air_c=held["room"], evaporation=plan.around == "air")
        stages.append(Stage(room, duration_s=plan.rest_s, label="rest"))
    piece = plan.piece()
    result = simulate(piece, stages, **options)  # type: ignore[arg-type]
    if not come_up:
        return HeldCook(result, 0.0, plan.hold_s, True)
    first = result.records[0]
    if first.reached is False:
        # A core that never gets there is not held: show the cook up to there only.
        alone = simulate(piece, stages[:1], **options)  # type: ignore[arg-type]
        return HeldCook(alone, first.end_s, first.end_s, False)
    return HeldCook(result, first.end_s, first.end_s + plan.hold_s, True)


def held_at_or_above(record: CookRecord, levels_c: Floats) -> Floats:
    """Return how long in all a record was at or above each level. [s].

    A step between two samples counts where both are there and it is no gap.
    """
    time, coldest = record.known()
    if time.size < 2:
        return np.zeros(np.shape(levels_c))
    width = np.diff(time)
    lower = np.minimum(coldest[:-1], coldest[1:])
    lower = np.where(width <= record.longest_gap_s, lower, -np.inf)
    order = np.argsort(lower)
    left = np.concatenate((np.cumsum(width[order][::-1])[::-1], [0.0]))
    return np.asarray(
        left[np.searchsorted(lower[order], np.asarray(levels_c) - _SAME_C)], dtype=float
    )


def best_hold(record: CookRecord, kinetics: Kinetics) -> tuple[float, float] | None:
    """Return the temperature and time of a record's hold that is worth most, or None.

    Of all pairs (temperature, time at or above it) the one with the most log reduction,
    counted as a flat hold. [°C], [s]
    """
    time, coldest = record.known()
    if not time.size:
        return None
    low, high = kinetics.valid_low_c, min(kinetics.valid_high_c, float(np.max(coldest)))
    if high < low:
        return None
    levels = np.linspace(low, high, 120)
    held = held_at_or_above(record, levels)
    worth = held / kinetics.d_minutes(levels)
    best = int(np.argmax(worth))
    return (float(levels[best]), float(held[best])) if worth[best] > 0.0 else None


def time_until_enough(
    time_s: Floats, coldest_c: Floats, standard: Standard, error_c: float = 0.0
) -> float:
    """Return when a core that only warms has been held long enough. [s].

    For each row of the table: the first sample at or above it, and from there the time
    the row asks for. The earliest of these counts; infinite where no row is reached.
    """
    earliest = math.inf
    for level in standard.temperatures_c:
        above = np.flatnonzero(coldest_c >= level + error_c - _SAME_C)
        if above.size:
            reached = float(time_s[above[0]])
            earliest = min(earliest, reached + standard.required_s(level))
    return earliest


@dataclass(frozen=True)
class HoldTime:
    """One cell of the map by thickness."""

    thickness_m: float
    around_c: float
    """Of the piece [m] and what surrounds it. [°C]"""
    enough_s: float
    """From the fridge until the standard's time is through; infinite if never. [s]"""
    come_up_s: float
    """Time in the come-up band; infinite if it was never passed. [s]"""
    late: bool
    """Whether that is past the published limit."""


def hold_time(
    plan: HoldPlan, standard: Standard | str, error_c: float = 0.0, **options: float
) -> HoldTime:
    """Compute how long a piece takes from the fridge until a standard's hold is through.

    Parameters
    ----------
    plan : HoldPlan
        Its hold and rest are not used: it stays in the bath or air.
    standard : Standard or str
        Which hold standard.
    error_c : float
        Added to every row. [K]
    **options
        Passed on to ``coreward.simulate`` (cells, tolerance).
    """
    chosen = load_standard(standard) if isinstance(standard, str) else standard
    held = tables.load("hold")
    # Above the hottest row nothing more is asked, and the bath itself is never reached.
    until = min(
        plan.around_c - held["close_to_bath"], chosen.temperatures_c[-1] + error_c + 0.1
    )
    limit = next(item for item in band_limits() if item.kind == "come-up")
    if until < max(chosen.lowest_c + error_c, limit.to_c) or until <= plan.start_c:
        return HoldTime(plan.thickness_m, plan.around_c, math.inf, math.inf, False)
    stage = Stage(plan.surroundings(), duration_s=held["longest_cook"], until_core_c=until)
    result = simulate(plan.piece(), stage, **options)  # type: ignore[arg-type]
    record = cook_record(result, longest_gap_s=math.inf, ceiling_c=math.inf)
    time, coldest = record.known()
    enough = time_until_enough(time, coldest, chosen, error_c)
    low, high = result.time_at_core(limit.from_c), result.time_at_core(limit.to_c)
    come_up = math.inf if low is None or high is None else high - low
    return HoldTime(plan.thickness_m, plan.around_c, enough, come_up, come_up > limit.limit_s)


def hold_map(
    plan: HoldPlan,
    standard: Standard | str,
    thicknesses_m: Sequence[float],
    around_c: Sequence[float],
    error_c: float = 0.0,
    **options: float,
) -> Iterator[HoldTime]:
    """Yield the cells of the map by thickness one by one, thickness by thickness."""
    chosen = load_standard(standard) if isinstance(standard, str) else standard
    for thickness in thicknesses_m:
        for temperature in around_c:
            changed = replace(plan, thickness_m=thickness, around_c=temperature)
            yield hold_time(changed, chosen, error_c, **options)
