"""Small invented cooks with known events, for the tests of the event finders.

The meat is computed by the package's own engine; the fire, the lid, the probe and its
faults are put on top here. Nothing was measured.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

import coreward as cw
from coreward.events.listed import Event
from coreward.logs.log import Channel, ProbeLog

HOUR = 3600.0
MINUTE = 60.0


@dataclass(frozen=True)
class Plan:
    """What happens in an invented cook; hours unless said otherwise."""

    seed: int = 0
    hours: float = 9.0
    interval_s: float = 30.0
    level_c: float = 112.0
    lids: tuple[tuple[float, float], ...] = ()  # (at, minutes open)
    dips: tuple[tuple[float, float, float], ...] = ()  # (begins, hours to the bottom, depth K)
    new_levels: tuple[tuple[float, float], ...] = ()  # (at, change K)
    wrap_at: float | None = None
    moves: tuple[tuple[float, float], ...] = ()  # (at, new share of the radius)
    unplugged: tuple[tuple[float, float], ...] = ()  # (at, minutes)
    flats: tuple[tuple[float, float], ...] = ()  # (at, minutes)
    spikes: tuple[tuple[float, float], ...] = ()  # (at, K)
    pulled_at: float | None = None
    quantum: float = 0.1
    meat_noise_k: float = 0.1
    air_noise_k: float = 0.8
    wander_k: float = 4.0
    depth_share: float = 0.1
    radius_m: float = 0.055
    on_after: float = 0.0  # hours during which the probe lies on the table
    air_faults: tuple[tuple[float, float], ...] = ()  # (at, K): spikes on the air


def cook(plan: Plan) -> tuple[ProbeLog, tuple[Event, ...]]:
    """Return the log and what really happened."""
    rng = np.random.default_rng(plan.seed)
    time = np.arange(0.0, plan.hours * HOUR + 1.0, plan.interval_s)
    fine = np.arange(0.0, plan.hours * HOUR + 31.0, 30.0)
    air = _fire(plan, fine, rng)
    on_s = plan.on_after * HOUR
    truth = [Event("meat_on", on_s, on_s)]
    if on_s > 0.0:
        # Too short to move the air, but nothing passes a closed lid.
        truth.append(Event("lid_opened", on_s, on_s))
    meat = _meat(plan, fine, air, rng)
    reading = np.interp(time, fine, meat) + rng.normal(0.0, plan.meat_noise_k, time.size)
    reading_air = np.interp(time, fine, air) + rng.normal(0.0, plan.air_noise_k, time.size)
    for at, kelvin in plan.spikes:
        reading[np.searchsorted(time, at * HOUR)] += kelvin
        truth.append(Event("sensor_fault", at * HOUR, at * HOUR))
    for at, kelvin in plan.air_faults:
        reading_air[np.searchsorted(time, at * HOUR)] += kelvin
        truth.append(Event("sensor_fault", at * HOUR, at * HOUR))
    reading = np.round(reading / plan.quantum) * plan.quantum
    reading_air = np.round(reading_air / plan.quantum) * plan.quantum
    for at, minutes in plan.flats:
        stuck = (time >= at * HOUR) & (time < at * HOUR + minutes * MINUTE)
        reading[stuck] = reading[np.argmax(stuck)]
        truth.append(Event("sensor_fault", at * HOUR, at * HOUR + minutes * MINUTE))
    for at, minutes in plan.unplugged:
        gone = (time >= at * HOUR) & (time < at * HOUR + minutes * MINUTE)
        reading[gone] = np.nan
        truth.append(Event("probe_unplugged", at * HOUR, at * HOUR + minutes * MINUTE))
    for at, minutes in plan.lids:
        truth.append(Event("lid_opened", at * HOUR, at * HOUR + minutes * MINUTE))
    for at, hours, depth in plan.dips:
        truth.append(Event("fuel_dying", at * HOUR, (at + hours) * HOUR, depth, "K"))
        truth.append(Event("fuel_added", (at + hours) * HOUR, (at + hours) * HOUR))
    for at, change in plan.new_levels:
        truth.append(Event("pit_changed", at * HOUR, at * HOUR, change, "K"))
    for at, _ in plan.moves:
        truth.append(Event("probe_moved", at * HOUR, at * HOUR))
    if plan.wrap_at is not None:
        truth.append(Event("wrapped", plan.wrap_at * HOUR, plan.wrap_at * HOUR))
    if plan.pulled_at is not None:
        truth.append(Event("pulled", plan.pulled_at * HOUR, plan.pulled_at * HOUR))
    log = ProbeLog(
        time,
        None,
        (Channel("pit", "air", reading_air), Channel("meat", "meat", reading)),
        source="invented",
    )
    return log, tuple(sorted(truth, key=lambda event: event.time_s))


def _fire(plan: Plan, time: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    wander = np.zeros(time.size)
    for i in range(1, time.size):
        wander[i] = 0.995 * wander[i - 1] + rng.normal(0.0, 0.08 * plan.wander_k)
    phase = rng.uniform(0.0, 2.0 * np.pi)
    air = plan.level_c + wander + plan.wander_k * np.sin(2 * np.pi * time / 5400.0 + phase)
    air *= 1.0 - 0.75 * np.exp(-time / 600.0)
    for at, change in plan.new_levels:
        air += change * (1.0 - np.exp(-np.clip(time - at * HOUR, 0.0, None) / 480.0))
    for at, hours, depth in plan.dips:
        begin, bottom = at * HOUR, (at + hours) * HOUR
        sag = np.clip((time - begin) / (bottom - begin), 0.0, 1.0) ** 1.5
        back = np.exp(-np.clip(time - bottom, 0.0, None) / 540.0)
        air -= depth * sag * back
    for at, minutes in plan.lids:
        begin, end = at * HOUR, at * HOUR + minutes * MINUTE
        during = 1.0 - np.exp(-3.0 * np.clip((time - begin) / (minutes * MINUTE), 0.0, 1.0))
        after = np.exp(-np.clip(time - end, 0.0, None) / 240.0)
        air -= np.where(time < begin, 0.0, during * after) * 0.8 * (air - 40.0)
    return air


def _meat(
    plan: Plan, time: np.ndarray, air: np.ndarray, rng: np.random.Generator
) -> np.ndarray:
    piece = cw.Piece(cw.Cylinder(plan.radius_m), cw.meat("pork shoulder"), 6.0)
    starts = plan.on_after * HOUR
    pulled = time[-1] if plan.pulled_at is None else plan.pulled_at * HOUR
    edges = [starts, pulled]
    wraps: list[str | None] = [None]
    if plan.wrap_at is not None:
        edges = [starts, plan.wrap_at * HOUR, pulled]
        wraps = [None, "foil"]
    stages = []
    for first, last, wrap in zip(edges[:-1], edges[1:], wraps, strict=True):
        keep = time >= first - 1.0
        around = cw.Surroundings((time[keep] - time[keep][0], air[keep]), air_speed=0.7)
        stages.append(cw.Stage(around, duration_s=last - first, wrap=wrap))
    if pulled < time[-1]:
        stages.append(
            cw.Stage(cw.Surroundings(22.0, air_speed=0.2), time[-1] - pulled, wrap=wraps[-1])
        )
    result = cw.simulate(piece, stages, cells=40, tolerance=0.05)
    share = np.full(time.size, plan.depth_share)
    for at, new in plan.moves:
        share[time >= at * HOUR] = new
    where = share * result.position_m[-1]
    out = np.empty(time.size)
    for depth in np.unique(where):
        at_depth = np.array(
            [np.interp(depth, result.position_m, row) for row in result.temperature_c]
        )
        chosen = where == depth
        out[chosen] = np.interp(time[chosen] - starts, result.time_s, at_depth)
    lying = time < starts
    out[lying] = 21.0 + rng.normal(0.0, 0.05, int(lying.sum()))
    return out
