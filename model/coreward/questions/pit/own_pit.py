r"""A pit of one's own, from the readings of its air: how it answers to its vent.

A reduced pit: gas, an inner and a slow outer store, a lit part that follows the draught, and a
store of added fuel. In units of the conductance from gas to wall,

.. math::
   m = A(l + v) \sqrt{\theta / 100} / A(l + 1), \quad A(x) = x / \sqrt{1 + s x^2}, \quad
   \theta (1 + c m + \Lambda) = P + \theta_1,

.. math::
   P = e^{z} [ p (\varphi m + (1 - \varphi) L) + a W (1 + 2 m) / 3 \tau_b ], \qquad
   \tau_L \dot L = m - L, \quad \dot W = - W (1 + 2 m) / 3 \tau_b,

with `v` the open share, `l` the leak, `s` the outlet behind them, `\theta` above the
temperature outside, and `z` a level that wanders (what no note tells). Where a thermostat
rules, `P` is what its band asks for, and what it has missed so far. Constants have a bell
curve each; the log moves them by least squares. What it does not tell stays near where it
began. Beyond the readings the level is what a person's moves say of it: who opens a vent
further and further has a fire that sinks, for the air was to stay where it was held before.
It is advice only: nothing is driven.

Logs of another making are scored by ``tests/verification/judge_pits.py FOLDER`` and never tuned
on. The last third of the ten so far was missed by 8.5 K rms in the middle at the first score
(5 K was wanted, one in ten met it); staying where it was misses by 12.5 K.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any, Final, Literal

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

from coreward.errors import InputError
from coreward.physics.compiled import compiled
from coreward.plain import apart
from coreward.questions.pit.answer import change
from coreward.words import Difference, Lasting, Text, say

Floats = NDArray[np.float64]
What = Literal["vent", "lid", "fuel", "wind", "set", "knob", "outside", "meat", "aim"]
_WHATS: Final[tuple[What, ...]] = (
    "vent", "lid", "fuel", "wind", "set", "knob", "outside", "meat", "aim"
)  # fmt: skip
_STEP_S: Final = 30.0
_MEAN_S: Final = 300.0
_KNOT_S: Final = 5400.0
_HOUR: Final = 3600.0
# Readings of five minutes scatter about the reduced pit by so much, more while it warms up.
# Assumed here: tuned on pits of our own making, see tests/verification. [K]
_SCATTER_K: Final = 3.0
_WARMING_S, _WARMING_K = 5400.0, 12.0
_LEVEL_STEP: Final = 0.12
# How the air was held lately says how it will be: so long, looked at so often, and by so much
# at least. Assumed here; the last tuned on pits of our own making.
_LATELY_S, _LOOK_S, _HELD_K = 8.0 * _HOUR, 1800.0, 6.0
_AFTER_LID_S: Final = 1200.0
_FADES_S: Final = 2.0 * _HOUR
_LEAST_S: Final = 2.0 * _HOUR
_MEAT_WET_C: Final = 62.0
# Logarithms of the constants beforehand, and how far they may be out: wide bells about pits
# of the table and half an order of magnitude to either side. Assumed here.
_PRIOR: Final = {
    "draw": (math.log(120.0), 0.8),
    "leak": (math.log(0.1), 0.8),
    "carried": (math.log(0.4), 0.6),
    "loss": (math.log(0.7), 0.5),
    "inner_s": (math.log(700.0), 0.8),
    "outer_s": (math.log(8000.0), 1.0),
    "between": (math.log(0.2), 1.0),
    "radiant": (math.log(0.3), 0.5),
    "at_once": (math.log(0.5), 0.4),
    "lit_s": (math.log(2400.0), 0.7),
    "wind": (math.log(0.05), 0.8),
    "lid": (math.log(5.0), 0.7),
    "meat": (math.log(0.01), 0.8),
    "fuel": (math.log(2e5), 1.0),
    "fuel_s": (math.log(2400.0), 0.5),
    "band": (math.log(20.0), 0.7),
    "most": (math.log(150.0), 0.6),
    "probe_s": (math.log(60.0), 0.5),
    "offset": (0.0, 4.0),
    "first_fuel": (0.0, 1.0),
    "series": (math.log(0.5), 1.0),
    "reset_s": (math.log(3000.0), 0.8),
}
_NAMES: Final = tuple(_PRIOR)
_P: Final = {name: i for i, name in enumerate(_NAMES)}


@dataclass(frozen=True)
class Note:
    """What a person noted beside the readings.

    Raises
    ------
    InputError
    """

    at_s: float
    """[s]"""
    what: What
    """"vent" (open share), "lid" (open for `for_s`), "fuel" (kg), "wind" (m/s), "set" (a
    thermostat, °C), "knob" (share of a burner), "outside" (°C), "meat" (kg that are in), "aim"
    (what the person wants, °C)."""
    value: float
    for_s: float = 0.0
    """Of a lid. [s]"""

    def __post_init__(self) -> None:
        if self.what not in _WHATS:
            raise InputError(f"A note knows no {self.what!r}; use one of {', '.join(_WHATS)}.")
        if not (math.isfinite(self.value) and math.isfinite(self.at_s) and self.for_s >= 0.0):
            raise InputError("A note needs finite numbers.")


@compiled
def _way(opening: float, series: float) -> float:
    """What an opening lets through with another behind it."""
    return opening / math.sqrt(1.0 + series * opening * opening)


@compiled
def _follow(p, level, tables, start, mode, out):  # type: ignore[no-untyped-def]
    """March the reduced pit over the grid; `out` gets what the probe shows above outside."""
    vent, lid, fuel, wind, dial, meat, outside = (
        tables[0], tables[1], tables[2], tables[3], tables[4], tables[5], tables[6]
    )  # fmt: skip
    h = _STEP_S
    th1, th2, lit, store, probe, th = start[0], start[1], start[2], start[3], start[4], start[4]
    leak, missed = p[1], 0.0
    whole = _way(leak + 1.0, p[20])
    for i in range(out.shape[0]):
        m = _way(leak + vent[i], p[20]) / whole * math.sqrt(max(th, 5.0) / 100.0)
        lit += (m - lit) * h / (p[9] + h)
        store += fuel[i]
        rate = (1.0 + 2.0 * m) / (3.0 * p[14])
        burnt = store * (1.0 - math.exp(-rate * h))
        store -= burnt
        if mode == 0:
            power = p[0] * (p[8] * m + (1.0 - p[8]) * lit) + p[13] * burnt / h / 100.0
            power *= math.exp(level[i])
        elif mode == 1:
            power = p[0] * dial[i] * math.exp(level[i])
        else:
            off = (dial[i] + p[18] - outside[i] - probe) / p[15]
            call = 0.3 + off + missed
            # What is missed counts while there is still something to ask for.
            if 0.0 < call < 1.0 or call * off < 0.0:
                missed = min(max(missed + off * h / p[21], -0.5), 0.7)
            power = p[16] * min(max(call, 0.0), 1.0)
        if dial[i] < 0.0:
            power = 0.0
        sink = p[12] * meat[i]
        wet = max(_MEAT_WET_C - outside[i], 0.0)
        open_ = p[11] * lid[i]
        # Gas at once, walls implicitly: th = (a + th1) / b.
        b = 1.0 + p[2] * m + sink + open_
        a = power + sink * wet
        loss = p[3] * (1.0 + p[10] * wind[i]) + 0.3 * lid[i]
        k = p[6]
        # (p4/h + 1 + loss + k - 1/b) th1 - k th2 = p4/h th1' + radiant power + a / b
        d1 = p[4] / h + 1.0 + loss + k - 1.0 / b
        r1 = p[4] / h * th1 + p[7] * power + a / b
        d2 = p[5] * k / h + k
        r2 = p[5] * k / h * th2
        th1 = (r1 + k * r2 / d2) / (d1 - k * k / d2)
        th2 = (r2 + k * th1) / d2
        th = (a + th1) / b
        probe += (0.8 * th + 0.2 * th1 - probe) * h / (p[17] + h)
        out[i] = probe
    start[0], start[1], start[2], start[3], start[4] = th1, th2, lit, store, probe


def _grids(notes: Sequence[Note], count: int) -> tuple[Floats, int]:
    """What is noted, on the grid of the march; and what rules the fire."""
    grid = _STEP_S * np.arange(count)
    found = np.zeros((7, count))
    whats = {note.what for note in notes}
    mode = 2 if "set" in whats else 1 if "knob" in whats else 0
    found[0] = 1.0 if "vent" not in whats else 0.5
    found[6] = 15.0
    rows = {"vent": 0, "wind": 3, "meat": 5, "outside": 6}
    rows |= {"set": 4} if mode == 2 else {"knob": 4}
    for note in sorted(notes, key=lambda n: n.at_s):
        i = round(note.at_s / _STEP_S)
        if i >= count:
            continue
        i = max(i, 0)
        if note.what == "lid":
            # A lid between two steps counts by its share of each.
            begun, over = np.maximum(note.at_s, grid), note.at_s + note.for_s
            inside = np.clip((np.minimum(over, grid + _STEP_S) - begun) / _STEP_S, 0.0, 1.0)
            found[1] = np.maximum(found[1], note.value * inside)
        elif note.what == "fuel":
            found[2, i] += note.value
        elif note.what in rows:
            found[rows[note.what], i:] = note.value
    outside = [n for n in notes if n.what == "outside"]
    if len(outside) > 1:
        found[6] = np.interp(grid, [n.at_s for n in outside], [n.value for n in outside])
    return found, mode


@dataclass(frozen=True)
class OwnPit:
    """A pit as its log tells it."""

    notes: tuple[Note, ...] = field(metadata=apart())
    numbers: dict[str, float]
    """Constants of the reduced pit by name."""
    level: Floats
    """The wandering level at its knots."""
    until_s: float
    steered_s: float
    """Last reading, and how far the notes tell of the level beyond it. [s]"""
    leak_share: float
    """What goes through with the vent shut, of what goes through wide open. [-]"""
    fast_s: float
    slow_s: float
    """How long the air takes to answer at once, and in the end. [s]"""
    scatter_k: float
    """Of the readings about it, root mean square. [K]"""
    told: dict[str, float]
    """By how much the log narrowed each constant, 0 (not at all) to 1. [-]"""
    advised: tuple[Text, ...] = ()
    """What to do for the heats that were asked for."""

    def predict(self, at_s: Floats, notes: Sequence[Note] | None = None) -> Floats:
        """Return the air at some moments, with other notes if given. [°C]."""
        used = self.notes if notes is None else tuple(notes)
        at = np.asarray(at_s, dtype=float)
        found, outside = _run(
            np.array([self.numbers[name] for name in _NAMES]), self.level,
            self.steered_s if notes is None else self.until_s, used, float(at.max()),
        )  # fmt: skip
        shown: Floats = np.interp(at, _STEP_S * np.arange(len(found)), found + outside)
        return shown

    def vent_change(
        self, vent: float, now_s: float | None = None
    ) -> tuple[float, float, float]:
        """Return what a vent does: air in 20 min and in 2 h [K], and when to look again [s]."""
        now = self.until_s if now_s is None else now_s
        grid: Floats = now + 60.0 * np.arange(121.0)
        later = [note for note in self.notes if note.at_s <= now]
        moved = self.predict(grid, [*later, Note(now, "vent", vent)]) - self.predict(
            grid, later
        )
        near = np.abs(moved - moved[-1]) <= 0.33 * abs(moved[-1]) + 0.2
        off = np.flatnonzero(~near)
        again = 60.0 * (float(off[-1]) + 1.0) if len(off) else 0.0
        return float(moved[20]), float(moved[-1]), max(300.0 * math.ceil(again / 300.0), 900.0)

    def vent_for(self, air_c: float, now_s: float | None = None) -> float:
        """Return the open share that brings the air there in two hours, or the nearer end."""
        now = self.until_s if now_s is None else now_s
        later = [note for note in self.notes if note.at_s <= now]
        at = np.array([now + 2.0 * _HOUR])
        low, high = 0.0, 1.0
        for _ in range(20):
            middle = 0.5 * (low + high)
            if float(self.predict(at, [*later, Note(now, "vent", middle)])[0]) < air_c:
                low = middle
            else:
                high = middle
        return 0.5 * (low + high)

    @property
    def sentence(self) -> Text:
        """What the log tells of the pit."""
        return say(
            "The air answers within {0} and is settled after {1}; with its vent shut the pit "
            "still draws {2} % of what it draws wide open. Readings lie {3} from this.",
            Lasting(self.fast_s), Lasting(self.slow_s), f"{100.0 * self.leak_share:.0f}",
            Difference(self.scatter_k, 1),
        )  # fmt: skip

    def advice(self, air_c: float) -> Text:
        """Say how far to move the vent for a heat, and when to look again. Advice only."""
        vent = self.vent_for(air_c)
        soon, later, again = self.vent_change(vent)
        return say(
            "Vent to {0} %: {1} in 20 min, {2} in 2 h; look again in {3}. Advice only.",
            f"{100.0 * vent:.0f}", change(soon),
            change(later), Lasting(again),
        )  # fmt: skip


def _run(
    numbers: Floats, level: Floats, until_s: float, notes: Sequence[Note], end_s: float
) -> tuple[Floats, Floats]:
    count = (math.ceil(end_s / _STEP_S)) + 2
    tables, mode = _grids(notes, count)
    grid = _STEP_S * np.arange(count)
    knots = _KNOT_S * np.arange(len(level))
    wander = np.interp(grid, knots, level)
    # What wandered goes back to where it was in the mean of the last hours.
    beyond = grid > until_s
    if beyond.any():
        last = float(np.interp(until_s, knots, level))
        usual = float(
            np.mean(np.interp(until_s - np.linspace(0.0, 4 * _HOUR, 9), knots, level))
        )
        fade = np.exp(-(grid[beyond] - until_s) / _FADES_S)
        wander[beyond] = usual + (last - usual) * fade
    out = np.empty(count)
    start = np.array([0.0, 0.0, 0.3, numbers[_P["first_fuel"]], 0.0])
    _follow(numbers, wander, tables, start, mode, out)
    return out, tables[6]


def _steered(
    p: Floats, level: Floats, notes: Sequence[Note], mode: int, time: Floats, air: Floats
) -> tuple[Floats, float]:
    """Return the level with what a person's moves beyond the readings tell of it."""
    until = float(time[-1])
    moves = [note.at_s for note in notes if note.at_s > until]
    if mode == 2 or not moves:
        return level, until
    end = max(moves)
    lately = time > max(until - _LATELY_S, min(_WARMING_S, 0.5 * until))
    aims = [note for note in notes if note.what == "aim"]
    # Beside what was wanted, where that is noted; else as it was.
    wanted = np.zeros(len(time))
    for aim in sorted(aims, key=lambda a: a.at_s):
        wanted[time > aim.at_s + 0.5 * _HOUR] = aim.value
    if wanted[lately].min() <= 0.0:
        wanted[:] = 0.0
    beside = (air - wanted)[lately]
    held = float(np.median(beside))
    slack = max(float(np.std(beside)), _HELD_K)
    lids = np.array([note.at_s for note in notes if note.what == "lid"])
    looks = np.arange(until + _LOOK_S, end + _LOOK_S, _LOOK_S)
    since = np.array(
        [np.min(np.where(lids <= t, t - lids, np.inf), initial=np.inf) for t in looks]
    )
    tables, _ = _grids(notes, (math.ceil(end / _STEP_S)) + 200)
    vent = tables[4 if mode == 1 else 0][(looks / _STEP_S).astype(int)]
    # Wide open it cannot be held, only hoped for.
    looks = looks[(since > _AFTER_LID_S) & (vent < 0.95)]
    want = np.full(len(looks), held + wanted[-1])
    for aim in sorted(aims, key=lambda a: a.at_s):
        if wanted[-1] > 0.0:
            want[looks > aim.at_s + 0.5 * _HOUR] = held + aim.value
    known = int(until // _KNOT_S) + 1
    if not len(looks):
        return level, until
    more = max((math.ceil(end / _KNOT_S)) + 1 - known, 1)

    def extended(x: Floats) -> Floats:
        return np.concatenate((level[:known], level[known - 1] + np.cumsum(_LEVEL_STEP * x)))

    def misses(x: Floats) -> Floats:
        shown, outside = _run(p, extended(x), end, notes, end + _LOOK_S)
        at = np.interp(looks, _STEP_S * np.arange(len(shown)), shown + outside)
        return np.concatenate(((at - want) / slack, x))

    found = least_squares(misses, np.zeros(more), max_nfev=15)
    return extended(found.x), end


def learn_pit(time_s: Floats, air_c: Floats, notes: Sequence[Note] = ()) -> OwnPit:
    """Learn a pit from the readings of its air and what was noted beside them.

    Parameters
    ----------
    time_s, air_c : ndarray
        From the lighting on. [s], [°C]
    notes : sequence of Note
        Those after the last reading are used by `OwnPit.predict` only.

    Raises
    ------
    InputError
        With fewer than two hours of readings.
    """
    time, air = np.asarray(time_s, dtype=float), np.asarray(air_c, dtype=float)
    good = np.isfinite(time) & np.isfinite(air)
    time, air = time[good], air[good]
    if len(time) < 30 or time[-1] - time[0] < _LEAST_S:
        raise InputError(
            "A pit is learned from two hours of readings of its air or more, from the lighting "
            "on: follow it longer."
        )
    until = float(time[-1])
    # Means over five minutes; those in which the lid is open tell of the lid.
    edges = np.arange(0.0, until + _MEAN_S, _MEAN_S)
    place = np.digitize(time, edges) - 1
    rows = np.unique(place)
    middle = np.array([time[place == i].mean() for i in rows])
    mean = np.array([air[place == i].mean() for i in rows])
    scatter = np.where(middle < _WARMING_S, _WARMING_K, _SCATTER_K)
    knots = int(until // _KNOT_S) + 2
    bell = np.array([_PRIOR[name] for name in _NAMES])
    plain = np.array([name in ("offset",) for name in _NAMES])
    tables, mode = _grids(notes, (math.ceil(until / _STEP_S)) + 2)
    levels = 0 if mode == 2 else knots
    grid = _STEP_S * np.arange(tables.shape[1])

    def numbers(x: Floats) -> Floats:
        logs = bell[:, 0] + bell[:, 1] * x[: len(bell)]
        found = np.where(plain, logs, np.exp(np.where(plain, 0.0, logs)))
        found[_P["at_once"]] = min(found[_P["at_once"]], 1.0)
        found[_P["radiant"]] = min(found[_P["radiant"]], 2.0)
        return found

    def wandering(x: Floats) -> Floats:
        return np.cumsum(_LEVEL_STEP * x[len(bell) :]) if levels else np.zeros(knots)

    out = np.empty(tables.shape[1])
    at = np.arange(knots) * _KNOT_S

    def residuals(x: Floats) -> Floats:
        p = numbers(x)
        start = np.array([0.0, 0.0, 0.3, p[_P["first_fuel"]], 0.0])
        _follow(p, np.interp(grid, at, wandering(x)), tables, start, mode, out)
        shown = out + tables[6]
        cumulated = np.concatenate(([0.0], np.cumsum(shown))) * _STEP_S
        ends = np.concatenate((grid, [grid[-1] + _STEP_S]))
        low, high = edges[rows], np.minimum(edges[rows] + _MEAN_S, until + _STEP_S)
        means = (np.interp(high, ends, cumulated) - np.interp(low, ends, cumulated)) / (
            high - low
        )
        miss = (means - mean) / scatter
        # Readings five minutes apart err alike: a dozen count as four.
        return np.concatenate((miss / math.sqrt(3.0), x))

    best: Any = None
    for begin in (0.0, 0.7, -0.7):
        x0 = np.zeros(len(bell) + levels)
        x0[_P["draw"]] = begin
        x0[_P["most"]] = begin
        found = least_squares(residuals, x0, method="trf", loss="soft_l1", max_nfev=60)
        if best is None or found.cost < best.cost:
            best = found
    x = best.x
    p = numbers(x)
    level, steered = _steered(p, wandering(x), notes, mode, time, air)
    spread = np.sqrt(np.diag(np.linalg.pinv(best.jac.T @ best.jac)))[: len(bell)]
    miss = residuals(x)[: len(rows)] * scatter * math.sqrt(3.0)
    settled = middle > _WARMING_S
    named = dict(zip(_NAMES, map(float, p), strict=True))
    loss = named["loss"]
    return OwnPit(
        notes=tuple(notes),
        numbers=named,
        level=level,
        until_s=until,
        steered_s=steered,
        leak_share=_way(named["leak"], named["series"])
        / _way(named["leak"] + 1.0, named["series"]),
        fast_s=named["probe_s"] + named["inner_s"] / (1.0 + loss + named["between"]),
        slow_s=named["lit_s"] + named["outer_s"] + named["inner_s"],
        scatter_k=float(np.sqrt(np.mean(miss[settled] ** 2))) if settled.any() else math.nan,
        told={name: float(max(0.0, 1.0 - spread[i])) for i, name in enumerate(_NAMES)},
    )
