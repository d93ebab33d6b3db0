r"""Make invented probe logs with known truth, to test events, fits and forecasts on.

    python data/demo/make_backtest_logs.py data/demo/backtest --engine fipy --seed 20261126 \
        --count 60 --sampling 30 30 60 60 60 120

made ``data/demo/backtest`` (half an hour of computing); without ``--engine`` a set takes
seconds. It writes one CSV per cook and ``truths.json``: what the cook would state, every
event, the finish, the core curve, and all parameters. Each cook is a file of its own until
all are there, so a run that was stopped goes on where it stopped.

Nothing here knows how logs are read, fitted or forecast. Where the model computes with one
number, a real cook has another: composition, water holding, expulsion, transport, draught,
humidity and walls are drawn from the ranges of the tables. What is drawn about fires, lids,
fuel, probes and people is common practice, no source. A draw whose core does not meet its
target within 3 to 20 h is drawn again, so slow pits on large pieces are rarer than drawn.

Times inside a `Cook` count from meat on; those in the truths count from the first row.
"""

from __future__ import annotations

import argparse
import csv
import dataclasses
import json
import math
from pathlib import Path
from typing import Any

import numpy as np

import coreward as cw
from coreward import tables
from coreward.cook.result import Result
from coreward.events.standstill import find_stalls
from coreward.physics.exchange import convective_coefficient

BANNER = (
    "# INVENTED data: computed and then roughened, never measured. Crew and pits are made up.\n"
    "# What is true of this cook is in truths.json; made by make_backtest_logs.py.\n"
)
CELLS = 41
# FiPy takes a tenth of what it is given, and the corners of the pit bound its steps.
TOLERANCE = {"fast": 0.01, "fipy": 0.2}
CORNER_S = 120.0
CURVE_STEP_S = 300.0
HOUR = 3600.0
SHORTEST_S, LONGEST_S = 3.0 * HOUR, 20.0 * HOUR
KITCHEN_DEW_C = 10.0

# cut: lowest and highest target, and whether it is one of the cuts that are wrapped
CUTS = {
    "beef brisket flat": (87, 95, True),
    "beef brisket point": (88, 95, True),
    "beef brisket whole": (88, 95, True),
    "beef chuck": (85, 94, True),
    "beef ribs": (88, 95, True),
    "pork shoulder": (86, 95, True),
    "pork belly": (85, 93, True),
    "lamb shoulder": (85, 92, True),
    "pork loin": (60, 68, False),
    "beef round": (60, 66, False),
    "beef rib roast": (60, 66, False),
    "turkey breast": (66, 70, False),
    "lamb leg": (60, 70, False),
    "pork ham": (62, 70, False),
}
CUT_WEIGHTS = (8, 8, 10, 8, 6, 18, 5, 5, 8, 6, 4, 6, 4, 4)
BODIES = {"slab": cw.Slab, "cylinder": cw.Cylinder, "sphere": cw.Sphere}


@dataclasses.dataclass
class Cook:
    """Everything that is true of one cook. Times in s from meat on, temperatures in °C."""

    name: str
    seed: int
    cut: str
    shape: str
    size_m: float
    length_m: float
    start_c: float
    target_c: float
    composition: dict[str, float]
    transport: str
    transport_changes: dict[str, float]
    holding_changes: dict[str, float]
    fire: str
    level_c: float
    outside_c: float
    lit_s: float
    ramp_s: float
    oscillation_k: float
    oscillation_s: float
    wander_k: float
    wander_s: float
    dew_point_c: float
    dew_wave_k: float
    air_speed: float
    heat_transfer: float
    wall_offset_k: float
    wall_lag_s: float
    air_probe: dict[str, Any]
    probes: list[dict[str, Any]]
    fahrenheit: bool
    quantum: float
    sampling_s: float
    missing: str
    lead_s: float
    kitchen_c: float
    before: str
    wrap: dict[str, Any] | None
    redrawn: int = 0
    # filled in by `plan`
    lids: list[dict[str, Any]] = dataclasses.field(default_factory=list)
    dips: list[dict[str, Any]] = dataclasses.field(default_factory=list)
    levels: list[dict[str, Any]] = dataclasses.field(default_factory=list)
    pulled_s: float | None = None
    end_s: float = 0.0


def _between(rng: np.random.Generator, low: float, high: float, digits: int = 4) -> float:
    return round(float(rng.uniform(low, high)), digits)


def _log_between(rng: np.random.Generator, low: float, high: float) -> float:
    return float(f"{math.exp(rng.uniform(math.log(low), math.log(high))):.4g}")


def _around(rng: np.random.Generator, kind: str, name: str, key: str) -> float:
    """Draw from the range of a table, most often near its value."""
    r = tables.load(kind, name).record(key)
    return round(float(rng.triangular(r.range[0], r.value, r.range[1])), 4)


def _chance(rng: np.random.Generator, share: float) -> bool:
    return bool(rng.random() < share)


def draw(name: str, rng: np.random.Generator) -> Cook:
    """Draw a cook without its events."""
    weights = np.array(CUT_WEIGHTS, dtype=float)
    cut = str(rng.choice(list(CUTS), p=weights / weights.sum()))
    low, high, wraps = CUTS[cut]
    target = float(rng.integers(low, high + 1))
    cut_set = tables.load("cut", cut)

    shape = cut_set.text("usual_shape")
    odd = rng.random()
    if odd < 0.03 and cut in ("pork shoulder", "beef round", "pork ham"):
        shape = "sphere"
    elif odd < 0.15:
        shape = "cylinder" if shape == "slab" else "slab"
    thickness = cut_set.record("usual_thickness").range
    size = _between(rng, max(thickness[0], 0.04), thickness[1])
    length = max(
        0.18, size * (_between(rng, 3.0, 5.0) if shape == "slab" else _between(rng, 1.8, 3.2))
    )
    # nobody lifts a piece of 20 kg onto a grate: shorten what would be that heavy
    heaviest = _between(rng, 4.0, 9.0)
    heavy = 1050.0 * _volume(shape, size, length)
    if shape != "sphere" and heavy > heaviest:
        length *= (heaviest / heavy) ** (0.5 if shape == "slab" else 1.0)

    # A lean piece has more water and protein and less fat than a fat one.
    lean = rng.random()
    composition = {}
    for part in ("water", "protein", "fat", "ash", "carbohydrate"):
        bottom, top = cut_set.record(part).range
        share = {"water": lean, "protein": lean, "fat": 1.0 - lean}.get(part, 0.5)
        share = float(np.clip(share + rng.normal(0.0, 0.08), 0.0, 1.0))
        composition[part] = bottom + share * (top - bottom)
    total = sum(composition.values())
    composition = {part: round(value / total, 4) for part, value in composition.items()}

    transport = "both" if _chance(rng, 0.4) else "expulsion"
    moving = tables.load("transport", transport)
    changes = {
        "expulsion_rate": _log_between(rng, *moving.record("expulsion_rate").range),
        "surface_share": _between(rng, 0.3, 1.0),
    }
    if transport == "both":
        changes["permeability"] = _log_between(rng, 1e-18, 1e-16)
    holding = tables.load("water_holding")
    drop = holding["drop"] * (1.0 + rng.uniform(-0.15, 0.15))
    holding_changes = {
        "midpoint_c": round(holding["midpoint_c"] + float(rng.uniform(-3.0, 3.0)), 3),
        "drop": round(min(drop, holding.record("drop").range[1]), 4),
    }

    fire = str(
        rng.choice(
            ["charcoal", "wood fire", "electric oven with water pan", "fan oven"],
            p=[0.45, 0.3, 0.15, 0.1],
        )
    )
    oven = "oven" in fire
    hot_enough = max(95.0, target + 14.0)
    level = _between(rng, hot_enough, max(140.0 if wraps else 130.0, hot_enough + 5.0), 1)
    speed_range = tables.load("fire", fire).record("air_speed").range
    speed = _log_between(rng, max(speed_range[0], 0.15), speed_range[1])
    coefficient = convective_coefficient(shape, size, speed, level, 60.0)
    low_h, high_h = tables.load("fire", fire).record("convective_coefficient").range
    coefficient *= math.exp(rng.normal(0.0, 0.15))

    fahrenheit = _chance(rng, 0.35)
    quantum = float(rng.choice([0.1, 1.0], p=[0.45, 0.55])) if fahrenheit else 0.1
    probes = [_draw_probe(rng, 0.25)]
    if _chance(rng, 0.3):
        probes.append(_draw_probe(rng, 0.6))
    lead = _between(rng, 150.0, 2700.0, 0) if _chance(rng, 0.55) else 0.0
    wrap = None
    if wraps and _chance(rng, 0.6):
        wrap = _draw_wrap(rng)
    return Cook(
        name=name,
        seed=int(rng.integers(1, 2**31)),
        cut=cut,
        shape=shape,
        size_m=size,
        length_m=round(length, 3),
        start_c=_between(rng, 10.0, 17.0, 1) if _chance(rng, 0.2) else _between(rng, 2, 8, 1),
        target_c=target,
        composition=composition,
        transport=transport,
        transport_changes=changes,
        holding_changes=holding_changes,
        fire=fire,
        level_c=level,
        outside_c=_between(rng, 5.0, 30.0, 1) if not oven else _between(rng, 18.0, 25.0, 1),
        lit_s=-_between(rng, 0, 300, 0) if _chance(rng, 0.2) else -_between(rng, 1500, 4200, 0),
        ramp_s=_between(rng, 360.0, 900.0, 0),
        oscillation_k=_between(rng, 0.5, 5.0, 2),
        oscillation_s=_between(rng, 900, 1800, 0) if oven else _between(rng, 1500, 5400, 0),
        wander_k=_between(rng, 0.3, 1.0, 2) if oven else _between(rng, 1.2, 4.5, 2),
        wander_s=_between(rng, 2400.0, 5400.0, 0),
        dew_point_c=_around(rng, "fire", fire, "dew_point_c"),
        dew_wave_k=_between(rng, 0.0, 3.0, 2),
        air_speed=speed,
        heat_transfer=round(float(np.clip(coefficient, low_h, high_h)), 3),
        wall_offset_k=_around(rng, "fire", fire, "wall_offset"),
        wall_lag_s=_between(rng, 400.0, 1500.0, 0),
        air_probe={
            "bias_k": round(float(rng.normal(0.0, 3.0)), 3),
            "noise_k": _between(rng, 0.2, 1.2, 3),
            "lag_s": _between(rng, 10.0, 45.0, 1),
            "unplugged": [],
        },
        probes=probes,
        fahrenheit=fahrenheit,
        quantum=quantum,
        sampling_s=60.0,
        missing=str(rng.choice(["", "---"])),
        lead_s=lead,
        kitchen_c=_between(rng, 18.0, 24.0, 1),
        before=str(rng.choice(["kitchen", "fridge", "in meat"], p=[0.5, 0.2, 0.3])),
        wrap=wrap,
    )


def _volume(shape: str, size: float, length: float) -> float:
    return {
        "slab": size * length * 0.65 * length,
        "cylinder": math.pi / 4.0 * size * size * length,
        "sphere": math.pi / 6.0 * size**3,
    }[shape]


def _draw_probe(rng: np.random.Generator, deepest: float) -> dict[str, Any]:
    return {
        "depth_share": _between(rng, 0.0, deepest),
        "bias_k": round(float(rng.normal(0.0, 0.5)), 3),
        "noise_k": _between(rng, 0.05, 0.3, 3),
        "moves": [],
        "unplugged": [],
        "faults": [],
    }


def _draw_wrap(rng: np.random.Generator) -> dict[str, Any]:
    material = str(rng.choice(["foil", "paper"]))
    if material == "foil":
        changes = {
            "thermal_resistance": _log_between(rng, 0.001, 0.005),
            "emissivity": _between(rng, 0.15, 0.6),
            "vapour_permeance_factor": _between(rng, 0.0, 0.01),
        }
    else:
        changes = {
            "thermal_resistance": _log_between(rng, 0.002, 0.012),
            "emissivity": _between(rng, 0.82, 0.95),
            "vapour_permeance_factor": _log_between(rng, 0.03, 0.25),
        }
    at_core = _between(rng, 62.0, 76.0, 1)
    return {"material": material, "changes": changes, "at_core_c": at_core, "at_s": None}


# --- the pit -----------------------------------------------------------------------------


def _lid_depth(cook: Cook, time: np.ndarray) -> np.ndarray:
    """Share of the way from pit to outside that open lids have taken the air."""
    kept = np.ones(len(time))
    for lid in cook.lids:
        x = time - lid["begin_s"]
        full = 1.0 - math.exp(-lid["length_s"] / lid["fall_s"])
        falling = 1.0 - np.exp(-np.clip(x, 0.0, lid["length_s"]) / lid["fall_s"])
        after = np.clip(x - lid["length_s"], 0.0, 40.0 * lid["recovery_s"])
        depth = np.where(
            x <= lid["length_s"], falling, full * np.exp(-after / lid["recovery_s"])
        )
        kept *= 1.0 - lid["reach"] * depth
    return 1.0 - kept


def _dip_k(cook: Cook, time: np.ndarray) -> np.ndarray:
    """How far the air lies below its level because the fuel runs low."""
    total = np.zeros(len(time))
    for dip in cook.dips:
        x = np.clip((time - dip["begin_s"]) / dip["length_s"], 0.0, 1.0)
        after = np.clip(time - dip["begin_s"] - dip["length_s"], 0.0, 30 * dip["recovery_s"])
        total += dip["depth_k"] * x**1.4 * np.exp(-after / dip["recovery_s"])
    return total


def _level(cook: Cook, time: np.ndarray) -> np.ndarray:
    level = np.full(len(time), cook.level_c)
    for change in cook.levels:
        x = np.clip(time - change["begin_s"], 0.0, None)
        level += change["by_k"] * (1.0 - np.exp(-np.minimum(x / change["lag_s"], 50.0)))
    return level


def pit(cook: Cook) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Return the corners of what surrounds the meat: times, air, walls, dew point.

    Piecewise linear, with few corners: the log, the model and the truth share them.
    """
    first, last = -cook.lead_s - 1800.0, cook.end_s + 2.0 * HOUR
    base = np.arange(math.floor(first / CORNER_S) * CORNER_S, last + CORNER_S, CORNER_S)
    special = [0.0]
    for lid in cook.lids:
        begin, length = lid["begin_s"], lid["length_s"]
        special += [begin, begin + 0.45 * length, begin + length]
        special += [begin + length + x * lid["recovery_s"] for x in (0.5, 1.2, 2.3)]
    for dip in cook.dips:
        special += [dip["begin_s"], dip["begin_s"] + dip["length_s"]]
    special += [change["begin_s"] for change in cook.levels]
    if cook.wrap and cook.wrap["at_s"] is not None:
        special.append(cook.wrap["at_s"])
    marks = np.unique(np.array(special))
    # a corner beside another one costs steps and tells nothing
    marks = marks[np.concatenate(([True], np.diff(marks) > 5.0))]
    near = np.abs(base[:, None] - marks[None, :]).min(axis=1) < 40.0
    time = np.unique(np.concatenate((base[~near], marks)))

    rng = np.random.default_rng([cook.seed, 1])
    coarse = np.arange(first - 600.0, last + 900.0, 300.0)
    keep = math.exp(-300.0 / cook.wander_s)
    wander = np.zeros(len(coarse))
    # before the wandering, whose length follows the log's
    phase = rng.uniform(0.0, 2.0 * math.pi, 2)
    wander[0] = rng.normal()
    push = rng.normal(size=len(coarse)) * math.sqrt(1.0 - keep * keep)
    for i in range(1, len(coarse)):
        wander[i] = keep * wander[i - 1] + push[i]
    restless = cook.wander_k * np.interp(time, coarse, wander) + cook.oscillation_k * np.sin(
        2.0 * math.pi * time / cook.oscillation_s + phase[0]
    )
    burning = np.clip(time - cook.lit_s, 0.0, None)
    lit = 1.0 - np.exp(-np.minimum(burning / cook.ramp_s, 50.0))
    over = _level(cook, time) - _dip_k(cook, time) + restless - cook.outside_c
    closed = cook.outside_c + lit * over
    lid = _lid_depth(cook, time)
    # an open lid draws in air from outside, warmed on its way; it never heats a cold pit
    air = closed - lid * np.clip(closed - cook.outside_c - 8.0, 0.0, None)
    walls = np.empty(len(time))
    walls[0] = air[0]
    for i in range(1, len(time)):
        h = time[i] - time[i - 1]
        mean = 0.5 * (air[i] + air[i - 1])
        walls[i] = mean + (walls[i - 1] - mean) * math.exp(-h / cook.wall_lag_s)
    # the offset belongs to a burning fire
    walls += cook.wall_offset_k * lit
    dew = cook.dew_point_c + cook.dew_wave_k * np.sin(2.0 * math.pi * time / 10800.0 + phase[1])
    dew = dew - 0.8 * lid * (dew - KITCHEN_DEW_C)
    dew = np.minimum(dew, air - 1.0)
    return time, air, walls, dew


# --- the meat ----------------------------------------------------------------------------


def piece(cook: Cook) -> cw.Piece:
    """Return the piece as it truly is."""
    material = cw.meat(
        cook.cut,
        composition=cook.composition,
        transport=tables.load("transport", cook.transport).replace(**cook.transport_changes),
        water_holding=tables.load("water_holding").replace(**cook.holding_changes),
    )
    return cw.Piece(BODIES[cook.shape](cook.size_m), material, cook.start_c)


def _stage(cook: Cook, begin: float, **limits: Any) -> cw.Stage:
    time, *series = pit(cook)
    keep = time > begin + 1e-6
    own = np.concatenate(([0.0], time[keep] - begin))
    air, walls, dew = (
        (own, np.concatenate(([np.interp(begin, time, s)], s[keep]))) for s in series
    )
    around = cw.Surroundings(air, dew, cook.heat_transfer, walls)
    wrap = None
    if cook.wrap and cook.wrap["at_s"] is not None and begin >= cook.wrap["at_s"]:
        wrap = tables.load("wrap", cook.wrap["material"]).replace(**cook.wrap["changes"])
    return cw.Stage(around, wrap=wrap, **limits)


def stages(cook: Cook, until_s: float) -> list[cw.Stage]:
    """Return the stages from meat on to `until_s`."""
    at = cook.wrap["at_s"] if cook.wrap else None
    if at is None or at >= until_s:
        return [_stage(cook, 0.0, duration_s=until_s)]
    return [_stage(cook, 0.0, duration_s=at), _stage(cook, at, duration_s=until_s - at)]


def run(cook: Cook, engine: str = "fast") -> Result:
    """Compute the cook until the meat is pulled or the log ends."""
    until = cook.end_s if cook.pulled_s is None else cook.pulled_s
    return cw.simulate(
        piece(cook),
        stages(cook, until),
        engine=engine,
        cells=CELLS,
        tolerance=TOLERANCE[engine],
    )


def at_depth(result: Result, time: np.ndarray, depth_share: float) -> np.ndarray:
    """Temperature at a share of the way from core to surface.

    Linear in the square of the distance: exact where the profile is a parabola, as it is
    around the core.
    """
    nodes = result.position_m**2
    x = (depth_share * result.position_m[-1]) ** 2
    i = int(np.clip(np.searchsorted(nodes, x), 1, len(nodes) - 1))
    f = (x - nodes[i - 1]) / (nodes[i] - nodes[i - 1])
    row = (1.0 - f) * result.temperature_c[:, i - 1] + f * result.temperature_c[:, i]
    return np.interp(time, result.time_s, row)


def at_probe(result: Result, probe: dict[str, Any], time: np.ndarray) -> np.ndarray:
    """Temperature where the probe truly sits, which may change."""
    value = at_depth(result, time, probe["depth_share"])
    for move in probe["moves"]:
        moved = at_depth(result, time, move["depth_share"])
        value = np.where(time >= move["begin_s"], moved, value)
    return value


def first_time(time: np.ndarray, value: np.ndarray, level: float) -> float | None:
    """First time at which a curve has a level, linear between."""
    above = np.flatnonzero(value >= level)
    if not len(above) or above[0] == 0:
        return None
    i = int(above[0])
    f = (level - value[i - 1]) / (value[i] - value[i - 1])
    return float(time[i - 1] + f * (time[i] - time[i - 1]))


# --- events ------------------------------------------------------------------------------


class _Diary:
    """Free time of a cook, so that events do not hide one another."""

    def __init__(self, rng: np.random.Generator, length_s: float) -> None:
        self.rng = rng
        self.length_s = length_s
        self.taken: list[tuple[float, float]] = [(-1800.0, 900.0)]

    def take(
        self, length_s: float, clear_s: float, first: float = 0.02, last: float = 0.95
    ) -> float | None:
        """Return the begin of a free spell, or None after many attempts."""
        for _ in range(60):
            begin = round(float(self.rng.uniform(first, last)) * self.length_s)
            if all(
                begin + length_s + clear_s < a or begin > b + clear_s for a, b in self.taken
            ):
                self.taken.append((begin, begin + length_s))
                return float(begin)
        return None

    def book(self, begin: float, length_s: float) -> None:
        self.taken.append((begin, begin + length_s))


def _lid(
    rng: np.random.Generator, begin: float, length: float, part_of: str = ""
) -> dict[str, Any]:
    return {
        "begin_s": begin,
        "length_s": length,
        "fall_s": _between(rng, 60.0, 160.0, 0),
        "recovery_s": _between(rng, 120.0, 420.0, 0),
        "reach": _between(rng, 0.55, 0.9, 3),
        "part_of": part_of,
    }


def _quiet_length(cook: Cook) -> float | None:
    """About how long the cook takes without events."""
    quiet = dataclasses.replace(cook, end_s=LONGEST_S)
    body = piece(cook)
    if cook.wrap:
        wrapped = dataclasses.replace(quiet, wrap={**cook.wrap, "at_s": 0.0})
        plan = [
            _stage(quiet, 0.0, until_core_c=cook.wrap["at_core_c"], duration_s=LONGEST_S),
            _stage(wrapped, 0.0, until_core_c=cook.target_c, duration_s=LONGEST_S),
        ]
    else:
        plan = [_stage(quiet, 0.0, until_core_c=cook.target_c, duration_s=LONGEST_S)]
    result = cw.simulate(body, plan, cells=CELLS, tolerance=0.05)
    done = result.time_at_core(cook.target_c - 0.05)
    return done if done is not None and 0.8 * SHORTEST_S < done < LONGEST_S else None


def plan(cook: Cook, rng: np.random.Generator) -> bool:
    """Put events into a cook, wrap it, and find its end. False: draw another."""
    length = _quiet_length(cook)
    if length is None:
        return False
    diary = _Diary(rng, length)
    oven = "oven" in cook.fire
    opened = _between(rng, 40.0, 150.0, 0)
    cook.lids.append(_lid(rng, -opened, opened, "meat_on"))
    cook.end_s = LONGEST_S + 4.0 * HOUR

    # first what is long, then what fits between
    if not oven:
        for _ in range(int(rng.choice([0, 1, 2], p=[0.42, 0.45, 0.13]))):
            lasting = _between(rng, 0.5 * HOUR, 2.0 * HOUR, 0)
            recovery = _between(rng, 400.0, 1100.0, 0)
            begin = diary.take(lasting + 3.0 * recovery, 900.0, last=0.85)
            if begin is None:
                continue
            cook.dips.append(
                {
                    "begin_s": begin,
                    "length_s": lasting,
                    "depth_k": _between(rng, 15.0, 40.0, 1),
                    "recovery_s": recovery,
                }
            )
            if _chance(rng, 0.5):
                cook.lids.append(
                    _lid(rng, begin + lasting, _between(rng, 50, 130, 0), "fuel_added")
                )
    if _chance(rng, 0.16):
        begin = diary.take(1800.0, 900.0, 0.2, 0.8)
        if begin is not None:
            by = _between(rng, 10.0, 24.0, 1)
            if _chance(rng, 0.3) and cook.level_c - by > cook.target_c + 8.0:
                by = -by
            cook.levels.append(
                {
                    "begin_s": begin,
                    "by_k": by,
                    "lag_s": _between(rng, 400.0, 1000.0, 0),
                    "planned": _chance(rng, 0.6),
                    "with_wrap": False,
                }
            )
    for _ in range(int(rng.choice(7, p=[0.2, 0.25, 0.2, 0.15, 0.1, 0.06, 0.04]))):
        lasting = _between(rng, 60.0, 300.0, 0)
        begin = diary.take(lasting + 600.0, 900.0)
        if begin is not None:
            cook.lids.append(_lid(rng, begin, lasting))

    if cook.wrap and not _wrap(cook, diary, rng):
        return False
    done = _finish(cook)
    if done is None:
        return False
    if _chance(rng, 0.4):
        cook.pulled_s = round(done + _between(rng, 180.0, 900.0, 0))
        cook.end_s = cook.pulled_s + _between(rng, 240.0, 900.0, 0)
        opened = _between(rng, 60.0, 180.0, 0)
        diary.book(cook.pulled_s - 600.0, 3000.0)
        cook.lids.append(_lid(rng, cook.pulled_s - 20.0, opened, "pulled"))
    else:
        cook.end_s = round(done + _between(rng, 500.0, 2400.0, 0))
    diary.length_s = done
    _trouble(cook, diary, rng)
    cook.lids = [x for x in cook.lids if x["begin_s"] < cook.end_s - 120.0]
    cook.dips = [x for x in cook.dips if x["begin_s"] < cook.end_s - 0.4 * x["length_s"]]
    cook.levels = [x for x in cook.levels if x["begin_s"] < cook.end_s - 600.0]
    # what was dropped came after the end, or mattered to its last minutes only
    again = _finish(cook)
    limit = cook.end_s if cook.pulled_s is None else cook.pulled_s
    return again is not None and again < limit - 100.0


def _wrap(cook: Cook, diary: _Diary, rng: np.random.Generator) -> bool:
    assert cook.wrap is not None
    first = _stage(cook, 0.0, until_core_c=cook.wrap["at_core_c"], duration_s=LONGEST_S)
    begun = cw.simulate(piece(cook), first, cells=CELLS, tolerance=TOLERANCE["fast"])
    if begun.records[0].reached is not True:
        return False
    at = float(round(begun.duration_s))
    handled = _between(rng, 120.0, 360.0, 0)
    # nobody opens the lid for anything else within a quarter of an hour of wrapping
    cook.lids = [
        x
        for x in cook.lids
        if x["part_of"] == "meat_on" or not at - 1500.0 < x["begin_s"] < at + 1500.0
    ]
    cook.levels = [x for x in cook.levels if abs(x["begin_s"] - at) > 1800.0]
    cook.dips = [
        x
        for x in cook.dips
        if not x["begin_s"] - 900.0 < at < x["begin_s"] + x["length_s"] + 1500.0
    ]
    added = [x["begin_s"] + x["length_s"] for x in cook.dips]
    cook.lids = [
        x
        for x in cook.lids
        if x["part_of"] != "fuel_added" or any(abs(x["begin_s"] - t) < 1.0 for t in added)
    ]
    # without those events the core is elsewhere: wrap by the clock, near the plan
    if _chance(rng, 0.9):
        cook.lids.append(_lid(rng, at, handled, "wrapped"))
    diary.book(at - 600.0, 1800.0)
    cook.wrap["at_s"] = at
    if _chance(rng, 0.35) and cook.level_c < 128.0:
        cook.levels.append(
            {
                "begin_s": at,
                "by_k": _between(rng, 8.0, 20.0, 1),
                "lag_s": _between(rng, 400.0, 1000.0, 0),
                "planned": True,
                "with_wrap": True,
            }
        )
    if _chance(rng, 0.3):
        for probe in cook.probes:
            probe["moves"].append({"begin_s": at, "depth_share": _between(rng, 0.0, 0.3)})
    return True


def _finish(cook: Cook) -> float | None:
    """When the true core has the target, by the fast engine."""
    trial = dataclasses.replace(cook, pulled_s=None, end_s=LONGEST_S + HOUR)
    result = run(trial)
    done = first_time(result.time_s, result.core_c, cook.target_c)
    return done if done is not None and SHORTEST_S <= done <= LONGEST_S else None


def _trouble(cook: Cook, diary: _Diary, rng: np.random.Generator) -> None:
    """Moved, unplugged and faulty probes."""
    result = run(cook)
    which = int(rng.integers(len(cook.probes)))
    probe = cook.probes[which]
    if _chance(rng, 0.25):
        begin = diary.take(300.0, 900.0, 0.1, 0.9)
        if begin is not None:
            moment = np.array([begin])
            here = float(at_probe(result, probe, moment)[0])
            for _ in range(20):
                depth = _between(rng, 0.0, 0.6)
                step = float(at_depth(result, moment, depth)[0]) - here
                if abs(step) >= 2.0:
                    # later moves first: the last one in the list wins
                    probe["moves"].append({"begin_s": begin, "depth_share": depth})
                    probe["moves"].sort(key=lambda x: x["begin_s"])
                    break
    if _chance(rng, 0.25):
        lasting = _between(rng, 240.0, 1500.0, 0)
        begin = diary.take(lasting, 600.0)
        if begin is not None:
            probe["unplugged"].append({"begin_s": begin, "length_s": lasting})
    if _chance(rng, 0.05):
        lasting = _between(rng, 240.0, 1200.0, 0)
        begin = diary.take(lasting, 600.0)
        if begin is not None:
            cook.air_probe["unplugged"].append({"begin_s": begin, "length_s": lasting})
    if _chance(rng, 0.25):
        kinds = ["spike", "flat"] if len(cook.probes) == 1 else ["spike", "flat", "drift"]
        _fault(cook, which, str(rng.choice(kinds)), result, diary, rng)


def _fault(
    cook: Cook,
    which: int,
    kind: str,
    result: Result,
    diary: _Diary,
    rng: np.random.Generator,
) -> None:
    probe = cook.probes[which]
    if kind == "spike":
        begin = diary.take(300.0, 600.0)
        size = _between(rng, 6.0, 40.0, 1) * (1 if _chance(rng, 0.6) else -1)
        if begin is not None:
            probe["faults"].append(
                {
                    "kind": kind,
                    "begin_s": begin,
                    "samples": int(rng.integers(1, 4)),
                    "by_k": size,
                }
            )
    elif kind == "flat":
        for _ in range(30):
            lasting = _between(rng, 1200.0, 3600.0, 0)
            begin = diary.take(lasting, 600.0)
            if begin is None:
                return
            # a stuck reading in a stall is nothing anybody could see
            a, b = at_probe(result, probe, np.array([begin, begin + lasting]))
            if abs(b - a) > 4.0:
                probe["faults"].append({"kind": kind, "begin_s": begin, "length_s": lasting})
                return
            diary.taken.pop()
    else:
        begin = diary.take(3600.0, 600.0, 0.15, 0.7)
        if begin is not None:
            sign = 1 if _chance(rng, 0.5) else -1
            probe["faults"].append(
                {
                    "kind": kind,
                    "begin_s": begin,
                    "by_k": sign * _between(rng, 4.0, 9.0, 2),
                    "rate_k_per_h": _between(rng, 2.0, 5.0, 2),
                }
            )


# --- readings and truth ------------------------------------------------------------------


def clean_readings(cook: Cook, result: Result, time: np.ndarray) -> list[np.ndarray]:
    """Return what each meat probe feels: biased and misplaced, but without noise and faults."""
    feels = []
    for probe in cook.probes:
        value = at_probe(result, probe, np.clip(time, 0.0, None))
        if cook.before != "in meat":
            around = cook.kitchen_c if cook.before == "kitchen" else 4.0
            slow = np.exp(-np.minimum(np.clip(time, 0.0, None) / 12.0, 50.0))
            value = np.where(time < 0.0, around, value + (around - value) * slow)
        if cook.pulled_s is not None:
            x = np.clip(time - cook.pulled_s, 0.0, None)
            value = cook.kitchen_c + (value - cook.kitchen_c) * np.exp(
                -np.minimum(x / 30.0, 50.0)
            )
        feels.append(value + probe["bias_k"])
    return feels


def readings(cook: Cook, result: Result) -> tuple[np.ndarray, list[np.ndarray]]:
    """Return log times and the columns air, meat, ... in °C; missing is NaN."""
    log_time = np.arange(0.0, cook.lead_s + cook.end_s + 1e-6, cook.sampling_s)
    time = log_time - cook.lead_s
    rng = np.random.default_rng([cook.seed, 2])
    corners, air, _, _ = pit(cook)
    fine = np.arange(time[0] - 300.0, time[-1] + 5.0, 5.0)
    felt = np.interp(fine, corners, air)
    keep = math.exp(-5.0 / cook.air_probe["lag_s"])
    for i in range(1, len(fine)):
        felt[i] = keep * felt[i - 1] + (1.0 - keep) * felt[i]
    shown = np.interp(time, fine, felt) + cook.air_probe["bias_k"]
    shown = shown + rng.normal(0.0, cook.air_probe["noise_k"], len(time))
    columns = [_without(shown, time, cook.air_probe["unplugged"])]
    for probe, feels in zip(cook.probes, clean_readings(cook, result, time), strict=True):
        value = feels + rng.normal(0.0, probe["noise_k"], len(time))
        for fault in probe["faults"]:
            x = time - fault["begin_s"]
            first = int(np.argmax(x >= 0.0))
            if fault["kind"] == "spike":
                value[first : first + fault["samples"]] += fault["by_k"]
            elif fault["kind"] == "flat":
                value[(x >= 0.0) & (x < fault["length_s"])] = value[first]
            else:
                grown = np.clip(x, 0.0, None) / HOUR * fault["rate_k_per_h"]
                value += math.copysign(1.0, fault["by_k"]) * np.minimum(
                    grown, abs(fault["by_k"])
                )
        columns.append(_without(value, time, probe["unplugged"]))
    return log_time, columns


def _without(value: np.ndarray, time: np.ndarray, spells: list[dict[str, Any]]) -> np.ndarray:
    result = value.copy()
    for spell in spells:
        x = time - spell["begin_s"]
        result[(x >= 0.0) & (x < spell["length_s"])] = np.nan
    return result


def headings(cook: Cook) -> list[str]:
    """Return the names of the columns after the time."""
    unit = "°F" if cook.fahrenheit else "°C"
    meats = ["meat", "meat 2"][: len(cook.probes)]
    return [f"{name} ({unit})" for name in ("air", *meats)]


def write_log(cook: Cook, result: Result, path: Path) -> None:
    """Write the CSV."""
    log_time, columns = readings(cook, result)
    with path.open("w", newline="", encoding="utf-8") as f:
        f.write(BANNER)
        writer = csv.writer(f, lineterminator="\n")
        writer.writerow(["time_s", *headings(cook)])
        for i, moment in enumerate(log_time):
            cells = []
            for column in columns:
                value = column[i] * 1.8 + 32.0 if cook.fahrenheit else column[i]
                if math.isnan(value):
                    cells.append(cook.missing)
                elif cook.quantum >= 1.0:
                    cells.append(f"{value:.0f}")
                else:
                    cells.append(f"{value:.1f}")
            writer.writerow([f"{moment:.0f}", *cells])


def events(cook: Cook, result: Result) -> list[dict[str, Any]]:
    """Return every event, in time from the first row."""
    found: list[dict[str, Any]] = []
    ends = cook.end_s

    def add(kind: str, begin: float, size: float, unit: str, **more: Any) -> None:
        if begin <= ends:
            at = max(begin + cook.lead_s, 0.0)
            entry = {"kind": kind, "time_s": round(at, 1), "size": round(size, 2), "unit": unit}
            found.append({**entry, **{k: v for k, v in more.items() if v not in ("", None)}})

    def later(moment: float) -> float:
        return round(moment + cook.lead_s, 1)

    start = np.array([0.0])
    before = {"kitchen": cook.kitchen_c, "fridge": 4.0, "in meat": cook.start_c}[cook.before]
    step = cook.start_c - before if cook.lead_s > 0.0 else 0.0
    add("meat_on", 0.0, step, "K", channel="meat")
    corners, air, _, _ = pit(cook)
    for lid in cook.lids:
        closed = lid["begin_s"] + lid["length_s"]
        others = [x for x in cook.lids if x is not lid]
        shut = pit(dataclasses.replace(cook, lids=others))
        fall = np.interp(closed, shut[0], shut[1]) - np.interp(closed, corners, air)
        if fall < 1.0:
            continue  # opened while the pit was still cold
        add(
            "lid_opened",
            lid["begin_s"],
            float(fall),
            "K",
            channel="air",
            end_s=max(later(closed), 0.0),
            part_of=lid["part_of"],
        )
    for dip in cook.dips:
        fed = dip["begin_s"] + dip["length_s"]
        add("fuel_dying", dip["begin_s"], dip["depth_k"], "K", channel="air", end_s=later(fed))
        add("fuel_added", fed, dip["depth_k"], "K", channel="air")
    for change in cook.levels:
        add(
            "pit_changed",
            change["begin_s"],
            change["by_k"],
            "K",
            channel="air",
            part_of="wrapped" if change["with_wrap"] else "",
        )
    if cook.wrap:
        at = cook.wrap["at_s"]
        core = float(np.interp(at, result.time_s, result.core_c))
        add("wrapped", at, core, "degC", wrap=cook.wrap["material"])
    for name, probe in zip(("meat", "meat 2"), cook.probes, strict=False):
        depth = probe["depth_share"]
        for move in probe["moves"]:
            start[0] = move["begin_s"]
            step = at_depth(result, start, move["depth_share"]) - at_depth(result, start, depth)
            depth = move["depth_share"]
            wrapping = bool(cook.wrap) and cook.wrap["at_s"] == move["begin_s"]
            add(
                "probe_moved",
                move["begin_s"],
                float(step[0]),
                "K",
                channel=name,
                part_of="wrapped" if wrapping else "",
            )
        for fault in probe["faults"]:
            begin = fault["begin_s"]
            if fault["kind"] == "spike":
                size, end = fault["by_k"], begin + fault["samples"] * cook.sampling_s
            elif fault["kind"] == "flat":
                size, end = 0.0, begin + fault["length_s"]
            else:
                size = fault["by_k"]
                end = begin + abs(size) / fault["rate_k_per_h"] * HOUR
            more = {"channel": name, "fault": fault["kind"], "end_s": later(end)}
            add("sensor_fault", begin, size, "K", **more)
    channels = zip(("air", "meat", "meat 2"), (cook.air_probe, *cook.probes), strict=False)
    for name, channel in channels:
        for spell in channel["unplugged"]:
            end = later(spell["begin_s"] + spell["length_s"])
            add(
                "probe_unplugged",
                spell["begin_s"],
                spell["length_s"],
                "s",
                channel=name,
                end_s=end,
            )
    for stall in find_stalls(
        result.time_s, result.core_c, np.interp(result.time_s, corners, air)
    ):
        add("stall_begins", stall.begin_s, stall.core_begin_c, "degC")
        if stall.ended:
            add("stall_ends", stall.end_s, stall.core_end_c, "degC")
    if cook.pulled_s is not None:
        core = float(result.core_c[-1])
        add("pulled", cook.pulled_s, core, "degC", channel="meat")
    return sorted(found, key=lambda x: x["time_s"])


def weight_kg(cook: Cook) -> float:
    """Mass of the raw piece."""
    density = piece(cook).material.raw_density
    return density * _volume(cook.shape, cook.size_m, cook.length_m)


def stated(cook: Cook, result: Result) -> dict[str, Any]:
    """Return what the person at the pit knows and would say, errors included."""
    rng = np.random.default_rng([cook.seed, 3])
    size = cook.size_m * (1.0 + float(np.clip(rng.normal(0.0, 0.045), -0.08, 0.08)))
    wrap = None
    if cook.wrap:
        moment = np.array([cook.wrap["at_s"] - 30.0])
        read = float(clean_readings(cook, result, moment)[0][0])
        wrap = {
            "wrap": cook.wrap["material"],
            "at_core_c": float(round(read + float(rng.normal(0.0, 1.0)))),
        }
    pit_plan = []
    set_c = 5.0 * round((cook.level_c + float(rng.normal(0.0, 3.0))) / 5.0)
    for change in cook.levels:
        if not change["planned"]:
            continue
        to = set_c + 5.0 * round(change["by_k"] / 5.0)
        when: dict[str, Any] = {"with": "wrapped"}
        if not change["with_wrap"]:
            when = {"time_s": round(change["begin_s"] + cook.lead_s, -2)}
        pit_plan.append({**when, "to_c": to})
    return {
        "cut": cook.cut,
        "shape": cook.shape,
        "size_m": round(size, 3),
        "weight_kg": round(weight_kg(cook) * (1.0 + float(rng.normal(0.0, 0.02))), 1),
        "start_c": float(max(round(cook.start_c + float(rng.normal(0.0, 1.5))), 0)),
        "target_core_c": cook.target_c,
        "fire": cook.fire,
        "pit_set_c": set_c,
        "planned_wrap": wrap,
        "planned_pit": pit_plan,
        "sampling_s": cook.sampling_s,
    }


def truth(cook: Cook, result: Result, engine: str) -> dict[str, Any]:
    """Return all that is true of a cook, ready for JSON."""
    probe_c = at_probe(result, cook.probes[0], result.time_s)
    core_s = first_time(result.time_s, result.core_c, cook.target_c)
    probe_s = first_time(result.time_s, probe_c, cook.target_c)
    curve_time = np.arange(0.0, result.duration_s, CURVE_STEP_S)
    core = np.interp(curve_time, result.time_s, result.core_c)
    return {
        "name": cook.name,
        "file": f"{cook.name}.csv",
        "engine": engine,
        "stated": stated(cook, result),
        "events": events(cook, result),
        "finish": {
            "core_s": None if core_s is None else round(core_s + cook.lead_s, 1),
            "at_probe_s": None if probe_s is None else round(probe_s + cook.lead_s, 1),
        },
        "meat_on_s": cook.lead_s,
        "log_end_s": round(cook.lead_s + cook.end_s, 1),
        "core_curve": {
            "from_s": cook.lead_s,
            "step_s": CURVE_STEP_S,
            "core_c": [round(float(x), 2) for x in core],
        },
        "parameters": dataclasses.asdict(cook),
    }


NOTES = {
    "banner": "INVENTED data: computed and then roughened, never measured.",
    "times": "s from the first row of the log; inside 'parameters', s from meat on.",
    "finish": "core_s: the true core first has the target. at_probe_s: the place where probe "
    "'meat' sits has it, without noise and bias. null: not within the log.",
    "part_of": "An event that belongs to another at the same time: the lid opened to put meat "
    "on, to wrap, to add fuel or to pull; a pit raised or a probe set anew while wrapping.",
    "stated": "What the cook knows: sizes within 8 %, start within a few kelvin, the wrap as "
    "planned by the reading, only those changes of the pit that were planned.",
    "stalls": "By find_stalls on the true core and the true air. A stall without end was still "
    "going on at the end.",
    "size": "lid_opened: fall of the air; fuel_dying and _added: depth of dip; probe_moved: "
    "step of the reading; wrapped, pulled, stalls: true core; probe_unplugged: how long.",
}


def make(seed: int, number: int, sampling: tuple[float, ...]) -> Cook:
    """Draw and plan cook `number` of a set."""
    for attempt in range(60):
        rng = np.random.default_rng([seed, number, attempt])
        cook = draw(f"cook-{number:02d}", rng)
        cook.sampling_s = float(rng.choice(sampling))
        cook.redrawn = attempt
        if plan(cook, rng):
            return cook
    raise SystemExit(f"cook {number}: no draw met its target within the time allowed")


def from_record(record: dict[str, Any]) -> Cook:
    """Return the cook that ``parameters`` of ``truths.json`` describes."""
    return Cook(**record)


def main() -> None:
    """Write a set, going on where an earlier run stopped."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folder", type=Path)
    parser.add_argument("--engine", choices=["fast", "fipy"], default="fast")
    parser.add_argument("--seed", type=int, required=True)
    parser.add_argument("--count", type=int, required=True)
    parser.add_argument(
        "--sampling", type=float, nargs="+", default=[15, 30, 60, 60, 120, 300], metavar="S"
    )
    given = parser.parse_args()
    given.folder.mkdir(parents=True, exist_ok=True)
    parts = given.folder / "unfinished"
    parts.mkdir(exist_ok=True)
    for number in range(1, given.count + 1):
        part = parts / f"cook-{number:02d}.json"
        if part.exists():
            continue
        cook = make(given.seed, number, tuple(given.sampling))
        result = run(cook, given.engine)
        write_log(cook, result, given.folder / f"{cook.name}.csv")
        # written last: only a cook that is complete is skipped next time
        part.write_text(json.dumps(truth(cook, result, given.engine)), encoding="utf-8")
        print(f"{cook.name} {cook.cut}, {cook.end_s / HOUR:.1f} h", flush=True)
    files = sorted(parts.glob("cook-*.json"))
    cooks = [json.loads(file.read_text(encoding="utf-8")) for file in files]
    head = {"seed": given.seed, "engine": given.engine, "notes": NOTES}
    lines = ",\n".join(json.dumps(cook, ensure_ascii=False) for cook in cooks)
    text = json.dumps(head, ensure_ascii=False, indent=1)[:-2]
    target = given.folder / "truths.json"
    target.write_text(f'{text},\n "cooks": [\n{lines}\n]}}\n', encoding="utf-8")
    for file in files:
        file.unlink()
    parts.rmdir()


if __name__ == "__main__":
    main()
