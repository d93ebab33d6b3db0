"""Make the invented demo logs. Run from the project's root: python data/demo/make_demo_logs.py.

The cook is computed with a model that is *not* the one the workbench reads it
with: another mesh, another closure for the water, other composition, humidity
and air speed. Then noise, bias, lid openings and faults are added.
"""

from __future__ import annotations

import csv
import datetime as dt
from pathlib import Path

import numpy as np

import coreward as cw

HERE = Path(__file__).parent
BANNER = (
    "# INVENTED data: computed and then roughened, never measured. Crew and hall are made up.\n"
)


def fire(hours: float, level: float, rng: np.random.Generator, step_s: float) -> tuple:
    """Return times and air temperature of a charcoal fire that wanders and is opened."""
    time = np.arange(0.0, hours * 3600.0 + step_s, step_s)
    wander = np.zeros(len(time))
    for i in range(1, len(time)):
        wander[i] = 0.995 * wander[i - 1] + rng.normal(0.0, 0.35)
    air = level + wander + 4.0 * np.sin(2 * np.pi * time / 5400.0)
    air *= 1.0 - 0.75 * np.exp(-time / 600.0)
    return time, air


def open_lid(time: np.ndarray, air: np.ndarray, at_h: float, minutes: float) -> np.ndarray:
    """Air falls towards 40 °C while the lid is open and comes back in minutes."""
    begin, end = at_h * 3600.0, at_h * 3600.0 + minutes * 60.0
    during = np.clip((time - begin) / (minutes * 60.0), 0.0, 1.0)
    after = np.exp(-np.clip(time - end, 0.0, None) / 240.0)
    depth = np.where(
        time < begin, 0.0, np.where(time < end, 1.0 - np.exp(-3.0 * during), after)
    )
    return air - depth * (air - 40.0) * 0.8


def dip(
    time: np.ndarray, air: np.ndarray, at_h: float, hours: float, depth: float
) -> np.ndarray:
    """Fuel runs low, then is added."""
    x = (time / 3600.0 - at_h) / hours
    return air - depth * np.exp(-0.5 * np.clip(x * 4.0 - 2.0, -6, 6) ** 2)


def supper() -> None:
    """Shoulder and brisket on one pit; faults of every common kind."""
    rng = np.random.default_rng(1830)
    step = 30.0
    time, air = fire(13.5, 112.0, rng, step)
    air = open_lid(time, air, 3.1, 2.0)
    air = open_lid(time, air, 7.6, 4.0)
    air = dip(time, air, 5.2, 0.9, 26.0)
    pit = cw.Surroundings(
        (time, air), dew_point_c=31.0, air_speed=0.7, wall_c=(time, air - 6.0)
    )
    shoulder = cw.Piece(
        cw.Cylinder(0.118),
        cw.meat("pork shoulder", composition={"water": 0.70, "fat": 0.105}, transport="both"),
        6.5,
    )
    brisket = cw.Piece(
        cw.Slab(0.062),
        cw.meat("beef brisket point", transport="both"),
        5.5,
    )
    wrap_at = 7.65 * 3600.0

    def later(series: np.ndarray) -> tuple:
        keep = time >= wrap_at
        return time[keep] - wrap_at, series[keep]

    wrapped = cw.Surroundings(
        later(air), dew_point_c=31.0, air_speed=0.7, wall_c=later(air - 6.0)
    )
    plan = [
        cw.Stage(pit, duration_s=wrap_at),
        cw.Stage(wrapped, duration_s=time[-1] - wrap_at, wrap="foil"),
    ]
    cooked = [
        cw.simulate(piece, plan, cells=47, tolerance=0.005) for piece in (shoulder, brisket)
    ]
    # the probes do not sit quite in the core, and read a little off
    depth = (0.10, 0.15)
    bias = (0.4, -0.6)
    columns = []
    for result, share, off in zip(cooked, depth, bias, strict=True):
        where = share * result.position_m[-1]
        at = np.array(
            [np.interp(where, result.position_m, row) for row in result.temperature_c]
        )
        reading = np.interp(time, result.time_s, at) + off + rng.normal(0.0, 0.12, len(time))
        columns.append(reading)
    reading_air = air + rng.normal(0.0, 0.8, len(time))
    start = dt.datetime(2026, 10, 3, 23, 40)
    rows = []
    for i in range(len(time)):
        clock = (start + dt.timedelta(seconds=float(time[i]))).strftime("%H:%M:%S")
        rows.append([clock, f"{reading_air[i]:.1f}", *(f"{c[i]:.1f}" for c in columns)])
    unplugged = int(4.40 * 3600 / step)
    for i in range(unplugged, unplugged + 9):
        rows[i][3] = "---"
    rows[int(9.2 * 3600 / step)][2] = "999.0"
    lost = int(10.1 * 3600 / step)
    doubled = int(6.0 * 3600 / step)
    swapped = int(2.0 * 3600 / step)
    rows[swapped], rows[swapped + 1] = rows[swapped + 1], rows[swapped]
    rows = [*rows[:doubled], rows[doubled], *rows[doubled:lost], *rows[lost + 22 :]]
    with (HERE / "harvest-supper.csv").open("w", newline="", encoding="utf-8") as f:
        f.write(BANNER)
        f.write("# Harvest supper at the Lower Wending village hall; serving at 18:30\n")
        writer = csv.writer(f)
        writer.writerow(["clock", "pit air (°C)", "shoulder meat (°C)", "brisket meat (°C)"])
        writer.writerows(rows)


def sunday() -> None:
    """One loin, no faults, °F and ISO times."""
    rng = np.random.default_rng(7)
    step = 60.0
    time, air = fire(4.5, 118.0, rng, step)
    air = open_lid(time, air, 2.4, 1.5)
    pit = cw.Surroundings((time, air), dew_point_c=38.0, air_speed=0.6)
    loin = cw.Piece(cw.Cylinder(0.085), cw.meat("pork loin", transport="both"), 7.0)
    result = cw.simulate(loin, cw.Stage(pit, duration_s=time[-1]), cells=53, tolerance=0.005)
    core = np.interp(time, result.time_s, result.core_c) + rng.normal(0.0, 0.1, len(time))
    start = dt.datetime(2026, 9, 6, 13, 5)
    with (HERE / "quiet-sunday.csv").open("w", newline="", encoding="utf-8") as f:
        f.write(BANNER)
        writer = csv.writer(f)
        writer.writerow(["date and time", "air (°F)", "meat (°F)"])
        for i in range(len(time)):
            stamp = (start + dt.timedelta(seconds=float(time[i]))).isoformat()
            writer.writerow(
                [stamp, f"{air[i] * 9 / 5 + 32:.1f}", f"{core[i] * 9 / 5 + 32:.1f}"]
            )


if __name__ == "__main__":
    supper()
    sunday()
