"""How long did such cooks still take? The testimony of past cooks, without any physics.

Every moment of every past cook is a row: what could be seen then, and how long it still
took. The rows most like a running cook are weighed by likeness; what is left of the
difference is taken out by a straight-line fit of the logarithm of the time left among
them (local regression: Cleveland 1979, from memory). What then scatters is the doubt.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from coreward.errors import InputError
from coreward.experience.library import library_cooks
from coreward.experience.past_cook import Floats, PastCook

_STEP_S = 300.0
_HOUR = 3600.0
# How far past the target a curve is drawn. [K]
_BEYOND_K = 8.0
# Shorter waits are alike. [h]
_BRIEF_H = 0.3


@dataclass(frozen=True)
class _Feature:
    """What is compared: how far apart is far, in the likeness and in the straight lines."""

    likeness: float
    line: float


# Chosen on the library, each making judged by the five others. Times, rates and what is to
# go are compared by their logarithms.
_FEATURES = {
    "core": _Feature(25.6, 6.4),
    "target": _Feature(38.4, 9.6),
    "to_go": _Feature(1.0, 1.64),
    "elapsed": _Feature(3.1, 0.77),
    "rate_30": _Feature(0.3, 0.3),
    "rate_60": _Feature(1.6, 0.4),
    "rate_120": _Feature(1.2, 0.3),
    "since_3": _Feature(1.25, 0.31),
    "since_8": _Feature(1.6, 0.4),
    "since_20": _Feature(1.9, 0.48),
    "lead": _Feature(0.8, 0.2),
    "over": _Feature(0.75, 0.19),
    "dip": _Feature(32.0, 8.0),
    "air_so_far": _Feature(29.0, 7.3),
    "thickness": _Feature(0.4, 0.1),
    "mass": _Feature(1.5, 0.375),
    "standing": _Feature(3.2, 0.8),
    "wrapped": _Feature(1.25, 0.31),
    "since_wrap": _Feature(4.0, 1.0),
    "since_cold": _Feature(10.0, 2.56),
}
_NAMES = tuple(_FEATURES)
_TO_GO, _OVER = _NAMES.index("to_go"), _NAMES.index("over")


@dataclass(frozen=True)
class Knobs:
    """How the witness weighs; chosen as the scales were."""

    near: float = 0.04
    """Share of the rows that lies within one scale of likeness."""
    stiffness: float = 1.0
    """Of the straight lines: a ridge."""
    most_turn: float = 2.0
    """Most that a straight line may change a row's time. [ln]"""
    own: float = 25.0
    same_pit: float = 3.0
    """How many library cooks a cook of the person's own stands for; and once more in the same
    pit."""
    other_wrap: float = 0.3
    """What a cook counts that was not wrapped, where this one is to be."""
    most_beyond: float = 10.0
    """How far past its own target a past cook may be drawn out. [K]"""


@dataclass(frozen=True)
class Seen:
    """A running cook, as far as it was seen."""

    time_s: Floats
    air_c: Floats
    core_c: Floats
    """Since the meat went on; the last time is now. [s, °C]"""
    target_c: float
    start_c: float
    """[°C]"""
    thickness_m: float | None = None
    mass_kg: float | None = None
    """None where not known."""
    wrap_s: float | None = None
    """When it was wrapped, if it was. [s]"""
    will_wrap: bool = False
    """Whether it is to be wrapped from now on."""
    air_change_k: float = 0.0
    """How much hotter the air is to be from now on than it was. [K]"""
    pit: str = ""
    """The person's name of the pit, if any."""


@dataclass(frozen=True)
class Testimony:
    """What past cooks say of the time left."""

    left_s: Floats
    """Time still to go. [s] Shape (rows,)."""
    weight: Floats
    """They add up to 1. Shape (rows,)."""
    cook: NDArray[np.int64]
    """Which past cook. Shape (rows,)."""
    at_s: Floats
    """The moment of it that is like now. [s] Shape (rows,)."""
    raw_s: Floats
    """How long it truly took from there. [s] Shape (rows,)."""
    cooks: Sequence[PastCook]
    core_c: float
    target_c: float
    """Of the running cook, now. [°C]"""

    def quantile_s(self, percent: float) -> float:
        """Time left that is not exceeded with this chance. [s]."""
        order = np.argsort(self.left_s)
        total = np.cumsum(self.weight[order])
        at = int(np.searchsorted(total, percent / 100.0 * total[-1]))
        return float(self.left_s[order[min(at, len(order) - 1)]])

    @property
    def own_share(self) -> float:
        """Weight of the person's own cooks. [-]."""
        own = np.array([cook.origin == "own" for cook in self.cooks])
        return float(self.weight[own[self.cook]].sum())

    def draws(self, count: int, rng: np.random.Generator) -> NDArray[np.int64]:
        """Draw rows in proportion to their weight, evenly."""
        marks = (np.arange(count) + rng.random()) / count
        order = np.argsort(self.left_s)
        total = np.cumsum(self.weight[order])
        at = np.searchsorted(total / total[-1], marks)
        return order[np.minimum(at, len(order) - 1)]

    def future(self, row: int, ahead_s: Floats) -> Floats:
        """Return how the core would go on as that past cook did. [°C].

        Its pace is stretched to the time left, and its ends are tied to the reading now
        and to the target.
        """
        cook = self.cooks[int(self.cook[row])]
        pace = self.raw_s[row] / self.left_s[row]
        known = np.isfinite(cook.core_c)
        time, core = cook.time_s[known], cook.core_c[known]
        at = self.at_s[row] + ahead_s * pace
        there = np.interp(at, time, core)
        last = np.interp(self.at_s[row] + self.raw_s[row], time, core)
        share = np.clip(ahead_s / self.left_s[row], 0.0, 1.0)
        first = np.interp(self.at_s[row], time, core)
        tied = there + (1.0 - share) * (self.core_c - first) + share * (self.target_c - last)
        # Past the target it goes on as fast as it came there, a little: nobody cooks it on.
        end = max(float(self.left_s[row]), _STEP_S)
        slope = (self.target_c - self.core_c) / end
        on = np.minimum(self.target_c + slope * (ahead_s - end), self.target_c + _BEYOND_K)
        return np.asarray(np.where(ahead_s <= end, np.minimum(tied, self.target_c), on))


@dataclass(frozen=True)
class Shelf:
    """Past cooks, taken apart into rows."""

    cooks: tuple[PastCook, ...]
    cook: NDArray[np.int64]
    time_s: Floats
    core_c: Floats
    air_c: Floats
    seen: NDArray[np.float32]
    highest_c: Floats
    rows: NDArray[np.int64]


def shelve(cooks: Sequence[PastCook]) -> Shelf:
    """Take past cooks apart into rows.

    Raises
    ------
    InputError
        If there is none.
    """
    if not cooks:
        raise InputError("A witness needs at least one past cook.")
    table = _Table.of(
        [_even(c.time_s, c.air_c, c.core_c) for c in cooks],
        np.array([c.start_c for c in cooks]),
        np.array([c.target_c for c in cooks]),
        _logs([c.thickness_m for c in cooks]),
        _logs([c.mass_kg for c in cooks]),
        np.array([np.inf if c.wrap_s is None else c.wrap_s for c in cooks]),
    )
    number, step = np.nonzero(np.arange(table.core.shape[1])[None, :] < table.rows[:, None])
    kept = step >= 2
    number, step = number[kept], step[kept]
    return Shelf(
        tuple(cooks),
        number,
        np.asarray(step * _STEP_S, np.float64),
        table.core[number, step],
        table.air[number, step],
        table.features()[number, step].astype(np.float32),
        table.highest,
        table.rows,
    )


@cache
def library_shelf() -> Shelf:
    """Return the library that comes with the package, as rows."""
    return shelve(library_cooks())


def ask_witness(
    seen: Seen,
    shelf: Shelf,
    own: Shelf | None = None,
    *,
    left_out: str | None = None,
    knobs: Knobs = Knobs(),
) -> Testimony:
    """Ask past cooks how long a running one will still take.

    Parameters
    ----------
    left_out : str, optional
        A making of the library that is not asked; for honest tests.

    Raises
    ------
    InputError
        If no past cook went where this one is to go.
    """
    row = _row(seen)
    shelves = [each for each in (shelf, own) if each is not None]
    parts = [_asked(seen, row, each, left_out, knobs) for each in shelves]
    if not sum(len(part[0]) for part in parts):
        raise InputError("No past cook was ever where this one is to go.")
    # The library says what near means; a person's own few cooks are held against the same.
    near = _near(next(part[0] for part in parts if len(part[0])), knobs.near)
    if own is not None:
        parts[1][3][:] += len(shelf.cooks)
    far, left, away, cook, at, worth = (np.concatenate(p) for p in zip(*parts, strict=True))
    weight = worth * np.exp(-far / near)
    counts = weight > 1e-3 * weight.max()
    weight, left, away, cook, at = (a[counts] for a in (weight, left, away, cook, at))
    weight = weight / weight.sum()
    log = np.log(left)
    lines = away * np.array([1.0 / _FEATURES[name].line for name in _NAMES], np.float32)
    table = np.column_stack((np.ones(len(lines), np.float32), lines))
    ridge = knobs.stiffness * np.eye(table.shape[1])
    ridge[0, 0] = 0.0
    sides = (table * weight[:, None]).T
    slope = np.linalg.solve(sides @ table + ridge, sides @ log)[1:]
    turn = np.clip(lines @ slope, -knobs.most_turn, knobs.most_turn)
    return Testimony(
        left_s=np.exp(log - turn),
        weight=weight,
        cook=cook,
        at_s=at,
        raw_s=left,
        cooks=(*shelf.cooks, *(own.cooks if own else ())),
        core_c=float(seen.core_c[np.isfinite(seen.core_c)][-1]),
        target_c=seen.target_c,
    )


def _asked(
    seen: Seen, row: Floats, shelf: Shelf, left_out: str | None, knobs: Knobs
) -> tuple[Any, ...]:
    """Distance, time left, difference, cook, moment and worth of each row that can tell."""
    left = _reached_s(shelf, seen.target_c, knobs)[shelf.cook] - shelf.time_s
    asked = left > 0.5 * _STEP_S
    if left_out is not None:
        asked &= np.array([c.structure != left_out for c in shelf.cooks])[shelf.cook]
    away = shelf.seen[asked] - row.astype(np.float32)
    # What is to go is reckoned to the target that is asked for, not to the one it had.
    away[:, _TO_GO] = _to_go(seen.target_c - shelf.core_c[asked]) - row[_TO_GO]
    away[:, _OVER] = _lead(shelf.air_c[asked] - seen.target_c) - row[_OVER]
    away[~np.isfinite(away)] = 0.0
    scale = np.array([1.0 / _FEATURES[name].likeness for name in _NAMES], np.float32)
    far = ((away * scale) ** 2).sum(axis=1)
    cook, at = shelf.cook[asked], shelf.time_s[asked]
    # A long cook has more rows, but is one cook.
    worth = np.array([_worth(c, seen, knobs) for c in shelf.cooks])[cook]
    worth = worth / np.sqrt(shelf.rows[cook])
    if seen.will_wrap:
        wrapped = np.array([np.inf if c.wrap_s is None else c.wrap_s for c in shelf.cooks])
        later = (wrapped[cook] >= at) & (wrapped[cook] < at + left[asked])
        worth = np.where(later, worth, knobs.other_wrap * worth)
    return far, left[asked], away, cook, at, worth


def _near(far: Floats, share: float) -> float:
    at = int(share * (len(far) - 1))
    return max(float(np.partition(far, at)[at]), 1e-6)


def _worth(cook: PastCook, seen: Seen, knobs: Knobs) -> float:
    """How many library cooks a cook stands for."""
    if cook.origin == "library":
        return 1.0
    return knobs.own * (knobs.same_pit if seen.pit and cook.pit == seen.pit else 1.0)


def _reached_s(shelf: Shelf, target_c: float, knobs: Knobs) -> Floats:
    """When each past cook was at a target, drawn out a little past its own; else NaN. [s]."""
    highest = shelf.highest_c
    above: NDArray[np.bool_] = np.greater_equal(highest, target_c)
    there: NDArray[np.bool_] = np.asarray(above.any(axis=1))
    step = above.argmax(axis=1)
    which = np.arange(len(highest))
    before = highest[which, np.maximum(step - 1, 0)]
    rise = highest[which, step] - before
    share = np.where(rise > 0.0, (target_c - before) / np.maximum(rise, 1e-9), 1.0)
    at = np.where(there, (np.maximum(step - 1, 0) + np.where(step > 0, share, 0.0)), np.nan)
    at = np.asarray(at * _STEP_S)
    for i, cook in enumerate(shelf.cooks):
        if cook.finish_s is None:
            continue
        beyond = target_c - cook.target_c
        if abs(beyond) < 0.05:
            at[i] = cook.finish_s
        elif not there[i] and 0.0 < beyond <= knobs.most_beyond:
            end = min(int(cook.finish_s / _STEP_S), int(shelf.rows[i]) - 1)
            first = max(end - 9, 0)
            rate = (highest[i, end] - highest[i, first]) / max((end - first) * _STEP_S, 1.0)
            air = float(np.nanmedian(cook.air_c[-24:]))
            lead = air - cook.target_c
            if rate * _HOUR > 0.3 and lead > beyond + 3.0:
                at[i] = cook.finish_s + lead / rate * np.log(lead / (lead - beyond))
    return at


def _row(seen: Seen) -> Floats:
    """What can be seen of a running cook now."""
    now = float(seen.time_s[-1])
    # Even steps that end now.
    table = _Table.of(
        [_even(seen.time_s, seen.air_c, seen.core_c, first=now % _STEP_S)],
        np.array([seen.start_c]),
        np.array([seen.target_c]),
        _logs([seen.thickness_m]),
        _logs([seen.mass_kg]),
        np.array([np.inf if seen.wrap_s is None else seen.wrap_s]),
        first_s=now % _STEP_S,
        hotter=seen.air_change_k,
    )
    return np.asarray(table.features()[0, -1])


def stood_s(seen: Seen) -> float:
    """Return how long a running cook has stood still so far. [s]."""
    return _HOUR * float(np.exp(_row(seen)[_NAMES.index("standing")]) - _BRIEF_H)


def _logs(values: Sequence[float | None]) -> Floats:
    return np.array([np.nan if v is None else np.log(v) for v in values])


def _even(time_s: Floats, air_c: Floats, core_c: Floats, first: float = 0.0) -> Floats:
    """Air and core at even steps, gaps bridged; shape (2, steps)."""
    at = np.arange(first, float(time_s[-1]) + 1.0, _STEP_S)

    def bridged(values: Floats) -> Floats:
        known = np.isfinite(values)
        if not known.any():
            raise InputError("A cook without a single reading cannot be compared.")
        return np.asarray(np.interp(at, time_s[known], values[known]))

    return np.array([bridged(air_c), bridged(core_c)])


def _to_go(kelvin: Floats) -> Floats:
    return np.asarray(np.log(np.maximum(kelvin, 0.5)))


def _lead(kelvin: Floats) -> Floats:
    return np.asarray(np.log(np.maximum(kelvin, 3.0)))


@dataclass(frozen=True)
class _Table:
    """Cooks side by side: a row each, a column each five minutes."""

    core: Floats
    air: Floats
    air_now: Floats
    air_so_far: Floats
    highest: Floats
    rows: NDArray[np.int64]
    hours: Floats
    start_c: Floats
    target_c: Floats
    thickness: Floats
    mass: Floats
    wrap_h: Floats

    @classmethod
    def of(
        cls,
        curves: Sequence[Floats],
        start_c: Floats,
        target_c: Floats,
        thickness: Floats,
        mass: Floats,
        wrap_s: Floats,
        *,
        first_s: float = 0.0,
        hotter: float = 0.0,
    ) -> _Table:
        """Lay cooks side by side; what a short one has not is its last reading."""
        rows = np.array([curve.shape[1] for curve in curves])
        wide = np.array(
            [np.pad(c, ((0, 0), (0, rows.max() - c.shape[1])), mode="edge") for c in curves]
        )
        air, core = wide[:, 0], _mean(wide[:, 1], 3)
        middle = _mean(air, 24)
        # Opened lids are no part of the level.
        shut = air > middle - 6.0
        share = _mean(shut.astype(float), 24)
        level = _mean(np.where(shut, air, 0.0), 24) / np.maximum(share, 1e-9)
        return cls(
            core=core,
            air=np.where(share > 0.05, level, middle) + hotter,
            air_now=_mean(air, 3) + hotter,
            air_so_far=_mean(air, air.shape[1]),
            highest=np.maximum.accumulate(core, axis=1),
            rows=rows,
            hours=np.asarray((first_s + _STEP_S * np.arange(air.shape[1])) / _HOUR),
            start_c=start_c,
            target_c=target_c,
            thickness=thickness,
            mass=mass,
            wrap_h=wrap_s / _HOUR,
        )

    def features(self) -> Floats:
        """Return what can be seen at each step of each cook; shape (cooks, steps, names)."""
        core, hours = self.core, self.hours
        target = self.target_c[:, None]
        elapsed = np.maximum(hours, 1.0 / 12.0)
        standing = (self._rate(60) < 4.0) & (core > 45.0) & (self.air - core > 15.0)
        stood = np.cumsum(standing, axis=1) * _STEP_S / _HOUR
        after = np.maximum(
            hours - np.where(np.isfinite(self.wrap_h), self.wrap_h, 1e9)[:, None], 0
        )
        wrapped = hours >= self.wrap_h[:, None]
        values = {
            "core": core,
            "target": target,
            "to_go": _to_go(target - core),
            "elapsed": np.log(elapsed),
            **{
                f"rate_{m}": np.log(np.maximum(self._rate(m), 0.0) + 1.0) for m in (30, 60, 120)
            },
            **{f"since_{k}": np.log(self._since(k)) for k in (3, 8, 20)},
            "lead": _lead(self.air - core),
            "over": _lead(self.air - target),
            "dip": np.clip(self.air_now - self.air, -30.0, 10.0),
            "air_so_far": self.air_so_far,
            "thickness": self.thickness[:, None],
            "mass": self.mass[:, None],
            "standing": np.log(_BRIEF_H + stood),
            "wrapped": wrapped.astype(float),
            "since_wrap": np.log(_BRIEF_H + after),
            "since_cold": np.log(self._warm()),
        }
        return np.stack([np.broadcast_to(values[name], core.shape) for name in _NAMES], axis=-1)

    def _rate(self, minutes: int) -> Floats:
        """Rise over so long, or since the start. [K/h]."""
        count = self.core.shape[1]
        back = np.minimum(int(minutes * 60 / _STEP_S), np.arange(count))
        rise = self.core - self.core[:, np.arange(count) - back]
        return np.asarray(rise / np.maximum(back * _STEP_S / _HOUR, 1.0 / 12.0))

    def _since(self, kelvin: float) -> Floats:
        """How long since it was so much colder. [h]."""
        out = np.empty_like(self.core)
        count = np.arange(self.core.shape[1])
        for i, highest in enumerate(self.highest):
            out[i] = count - np.searchsorted(highest, self.core[i] - kelvin) + 1
        return np.asarray(np.maximum(out, 1.0) * _STEP_S / _HOUR)

    def _warm(self) -> Floats:
        """How long it took to be warm, or has taken so far. [h]."""
        warm = np.minimum(40.0, self.start_c + 0.55 * (self.target_c - self.start_c))
        step = np.maximum((self.highest < warm[:, None]).sum(axis=1), 1)
        return np.asarray(
            np.maximum(np.minimum(np.arange(self.core.shape[1]), step[:, None]), 1)
            * _STEP_S
            / _HOUR
        )


def _mean(values: Floats, steps: int) -> Floats:
    """Mean of the last so many steps, fewer at the start."""
    total = np.concatenate((np.zeros((len(values), 1)), np.cumsum(values, axis=1)), axis=1)
    last = np.arange(1, values.shape[1] + 1)
    first = np.maximum(last - steps, 0)
    return np.asarray((total[:, last] - total[:, first]) / (last - first))
