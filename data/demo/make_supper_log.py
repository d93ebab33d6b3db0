"""Make the invented log of the village-hall supper, to plan again from.

Run from the project's root: python data/demo/make_supper_log.py. As in make_demo_logs.py,
the cook is computed with a model that is not the one the workbench reads it with, and then
roughened. The fire took long and ran low until Juno saw to it.
"""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import numpy as np

import coreward as cw

HERE = Path(__file__).parent
BANNER = (
    "# INVENTED data: computed and then roughened, never measured. Crew and hall are made up.\n"
    "# Village-hall supper, Lower Wending; serving at 18:30. See village-hall-supper.toml\n"
)
START = dt.datetime(2026, 10, 24, 3, 40)
STEP_S = 60.0
HOURS = 9.0


def main() -> None:
    """Compute, roughen and write."""
    rng = np.random.default_rng(2410)
    time = np.arange(0.0, HOURS * 3600.0 + STEP_S, STEP_S)
    wander = np.zeros(len(time))
    for i in range(1, len(time)):
        wander[i] = 0.99 * wander[i - 1] + rng.normal(0.0, 0.3)
    # Ten kelvin low until half past eight, then as wanted.
    level = np.where(time < 4.8 * 3600.0, 101.0, 111.0)
    air = level + wander - 60.0 * np.exp(-time / 500.0)
    air -= 30.0 * np.exp(-(((time - 5.6 * 3600.0) / 180.0) ** 2))  # a lid
    pit = cw.Surroundings(
        (time, air), dew_point_c=33.0, air_speed=0.55, wall_c=(time, air - 3.0)
    )
    columns = []
    for shape, meat, start, depth, bias in (
        (cw.Cylinder(0.123), cw.meat("pork shoulder", transport="both"), 4.5, 0.08, 0.2),
        (cw.Slab(0.067), cw.meat("beef brisket flat", transport="both"), 4.0, 0.12, -0.3),
    ):
        cook = cw.simulate(
            cw.Piece(shape, meat, start), cw.Stage(pit, duration_s=time[-1]), cells=47
        )
        where = depth * cook.position_m[-1]
        probe = [np.interp(where, cook.position_m, row) for row in cook.temperature_c]
        reading = np.interp(time, cook.time_s, probe) + bias
        columns.append(reading + rng.normal(0.0, 0.1, len(time)))
    shown = air + rng.normal(0.0, 0.7, len(time))
    with (HERE / "village-hall-supper.csv").open("w", encoding="utf-8", newline="\n") as out:
        out.write(BANNER)
        out.write("time,pit air (°C),shoulder meat (°C),brisket meat (°C)\n")
        for i, t in enumerate(time):
            when = (START + dt.timedelta(seconds=float(t))).isoformat(sep=" ")
            out.write(f"{when},{shown[i]:.1f},{columns[0][i]:.1f},{columns[1][i]:.1f}\n")


if __name__ == "__main__":
    main()
