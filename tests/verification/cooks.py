"""The list of cooks on which the two engines are held against each other.

Used by the tests, by the notebooks and by hand:
``python tests/verification/cooks.py`` prints the whole table.
"""

from __future__ import annotations

import sys
import time
from dataclasses import dataclass

import numpy as np

import coreward as cw
from coreward.cook.result import Result

HOUR = 3600.0
FLAT = "beef brisket flat"

# What agreement means here: the largest difference of the core at any time,
# and of the water lost, as a share of the water the raw piece holds.
CORE_K = 0.05
WATER_SHARE = 0.005
# Of a chamber's air, but for ten minutes after the start and after each change, when it moves
# by a kelvin in ten seconds and a change that comes a second later is seen as one in the dew
# point: what a reading to a tenth would not show.
DEW_K = 0.1
SETTLES_S = 600.0
# Tight enough that what differs is the two ways of cutting up space and time.
TOLERANCE_K = 5e-4


@dataclass(frozen=True)
class Cook:
    """One cook, and how finely the fast engine must resolve it."""

    name: str
    piece: cw.Piece
    stages: tuple[cw.Stage, ...]
    fast_cells: int = 60
    quick: bool = False


@dataclass(frozen=True)
class Agreement:
    """Largest differences between the engines over a cook."""

    core_k: float
    core_at_s: float
    surface_k: float
    water_share: float
    dew_k: float
    finish_s: float
    fipy_seconds: float
    fipy_steps: int


def cooks() -> tuple[Cook, ...]:
    """Return the list, quick ones first."""
    pit = cw.Surroundings(107.0, dew_point_c=35.0)
    slab = cw.Slab(0.08)

    def flat(shape: object = slab, start_c: float = 4.0, **options: object) -> cw.Piece:
        return cw.Piece(shape, cw.meat(FLAT, **options), start_c)  # type: ignore[arg-type]

    lid = (
        [0.0, 7200.0, 7210.0, 7500.0, 7510.0, 8 * HOUR],
        [107.0, 107.0, 45.0, 45.0, 107.0, 107.0],
    )
    tight = cw.Chamber(107.0, 1.5, outside_dew_point_c=10.0, heat_transfer=8.0)
    fine = 480
    return (
        Cook("bare slab", flat(), (cw.Stage(pit, duration_s=14 * HOUR),)),
        Cook("cylinder", flat(cw.Cylinder(0.08)), (cw.Stage(pit, duration_s=6 * HOUR),)),
        Cook("sphere", flat(cw.Sphere(0.1)), (cw.Stage(pit, duration_s=6 * HOUR),)),
        Cook(
            "evaporation off",
            flat(),
            (
                cw.Stage(
                    cw.Surroundings(107.0, dew_point_c=35.0, evaporation=False),
                    duration_s=5 * HOUR,
                ),
            ),
        ),
        Cook(
            "damp pit",
            flat(),
            (cw.Stage(cw.Surroundings(107.0, dew_point_c=70.0), duration_s=12 * HOUR),),
        ),
        Cook(
            "foil from 65 °C",
            flat(),
            (
                cw.Stage(pit, until_core_c=65.0),
                cw.Stage(pit, until_core_c=93.0, duration_s=10 * HOUR, wrap="foil"),
            ),
        ),
        Cook(
            "paper from 68 °C",
            flat(),
            (
                cw.Stage(pit, until_core_c=68.0),
                cw.Stage(pit, duration_s=5 * HOUR, wrap="paper"),
            ),
        ),
        Cook(
            "condensation on a cold piece",
            flat(cw.Slab(0.06), 2.0),
            (cw.Stage(cw.Surroundings(60.0, dew_point_c=55.0), duration_s=4 * HOUR),),
        ),
        Cook(
            "lid opened",
            flat(),
            (cw.Stage(cw.Surroundings(lid, dew_point_c=35.0), duration_s=8 * HOUR),),
        ),
        Cook(
            "altitude, foil",
            flat(cw.Cylinder(0.07)),
            (
                cw.Stage(
                    cw.Surroundings(135.0, dew_point_c=35.0, pressure_pa=80e3),
                    duration_s=2 * HOUR,
                ),
                cw.Stage(
                    cw.Surroundings(135.0, dew_point_c=35.0, pressure_pa=80e3),
                    duration_s=4 * HOUR,
                    wrap="foil",
                ),
            ),
            # How far below boiling a piece levels off depends on how many
            # volumes share the rounded onset: 0.05 K between 60 and 240 nodes.
            fast_cells=120,
        ),
        Cook(
            "drying out, 121 °C",
            flat(cw.Slab(0.03)),
            (
                cw.Stage(
                    cw.Surroundings(121.0, dew_point_c=10.0, heat_transfer=25.0),
                    duration_s=6 * HOUR,
                ),
            ),
            # A boiling front again: 0.04 K between 60 and 240 nodes.
            fast_cells=240,
        ),
        Cook(
            "drying out, 150 °C",
            flat(cw.Slab(0.03)),
            (
                cw.Stage(
                    cw.Surroundings(150.0, dew_point_c=10.0, heat_transfer=25.0),
                    duration_s=3 * HOUR,
                ),
            ),
            # A boiling front: 60 nodes measure 0.051 K here, the engines meet as
            # both are refined.
            fast_cells=120,
            quick=True,
        ),
        Cook(
            "swelling pressure",
            flat(transport="swelling_pressure"),
            (cw.Stage(pit, duration_s=8 * HOUR),),
            fast_cells=fine,
        ),
        Cook(
            "expulsion and swelling pressure",
            flat(transport="both"),
            (cw.Stage(pit, duration_s=8 * HOUR),),
            fast_cells=fine,
        ),
        Cook(
            "tight chamber and flow",
            cw.Piece(cw.Slab(0.045), cw.meat(FLAT, **cw.FLOWING), 4.0, 6.95),
            (cw.Stage(tight, duration_s=10 * HOUR),),
            fast_cells=240,
        ),
        Cook(
            "tight chamber and flow, injected, foil from 67 °C",
            cw.Piece(cw.Slab(0.045), cw.meat(FLAT, **cw.FLOWING), 4.0, 6.95, 0.1),
            (
                cw.Stage(tight, until_core_c=67.0),
                cw.Stage(tight, duration_s=3 * HOUR, wrap="foil"),
            ),
            fast_cells=240,
        ),
        Cook(
            "tight chamber with cold walls, expulsion",
            cw.Piece(cw.Cylinder(0.06), cw.meat(FLAT), 4.0, 3.0),
            (
                cw.Stage(
                    cw.Chamber(107.0, 1.0, wall_c=55.0, heat_transfer=12.0),
                    duration_s=3 * HOUR,
                ),
            ),
            fast_cells=120,
            quick=True,
        ),
        Cook(
            "tight chamber, flow alike in every direction",
            cw.Piece(
                cw.Slab(0.045),
                cw.meat(FLAT, transport="swelling_pressure", water_holding="through_flow"),
                4.0,
                6.95,
            ),
            (cw.Stage(tight, duration_s=6 * HOUR),),
            fast_cells=240,
        ),
        Cook(
            "tight chamber, expulsion and flow",
            cw.Piece(cw.Cylinder(0.08), cw.meat(FLAT, transport="both"), 4.0, 4.0),
            (cw.Stage(tight, duration_s=5 * HOUR),),
            fast_cells=240,
        ),
        Cook(
            "sealed chamber with a pan: the film drips",
            cw.Piece(cw.Slab(0.03), cw.meat(FLAT, **cw.FLOWING), 4.0, 2.0),
            (
                cw.Stage(
                    cw.Chamber(95.0, 0.2, water_kg_h=0.2, heat_transfer=15.0),
                    duration_s=3 * HOUR,
                ),
            ),
            fast_cells=240,
        ),
        Cook(
            "steak cut across the fibres, sprayed, vent opened",
            cw.Piece(cw.Slab(0.03), cw.meat(FLAT, **cw.FLOWING), 4.0, 1.5, grain="through"),
            (
                cw.Stage(
                    cw.Chamber(
                        107.0, ([0.0, HOUR, HOUR + 60.0], [1.0, 1.0, 10.0]), heat_transfer=10.0
                    ),
                    duration_s=2 * HOUR,
                    spray=cw.Spray(0.03, 2400.0),
                ),
            ),
            fast_cells=240,
        ),
        Cook(
            "rest in room air",
            flat(cw.Slab(0.06)),
            (
                cw.Stage(cw.Surroundings(121.0, dew_point_c=40.0), until_core_c=75.0),
                cw.Stage(cw.Surroundings(22.0, dew_point_c=10.0), duration_s=2 * HOUR),
            ),
        ),
        Cook(
            "dry solid, sphere",
            cw.Piece(cw.Sphere(0.08), cw.constant_material(0.5, 1000.0, 3500.0), 4.0),
            (
                cw.Stage(
                    cw.Surroundings(107.0, heat_transfer=15.0, emissivity=0.0),
                    duration_s=2 * HOUR,
                ),
            ),
        ),
    )


def compare(fast: Result, fipy: Result, seconds: float = 0.0) -> Agreement:
    """Differences over the time that both cover, every half minute."""
    times = np.arange(0.0, min(fast.duration_s, fipy.duration_s), 30.0)

    def difference(name: str) -> np.ndarray:
        a = np.interp(times, fast.time_s, getattr(fast, name))
        b = np.interp(times, fipy.time_s, getattr(fipy, name))
        return np.abs(a - b)

    core = difference("core_c")
    shut = any(isinstance(stage.surroundings, cw.Chamber) for stage in fast.stages)
    calm = np.ones(len(times), dtype=bool)
    for record in fast.records:
        calm &= ~((times >= record.begin_s - 60.0) & (times <= record.begin_s + SETTLES_S))
    material = fast.piece.material
    share = material.composition["water"] if material.moist else 1.0
    return Agreement(
        core_k=float(core.max()),
        core_at_s=float(times[core.argmax()]),
        surface_k=float(np.median(difference("surface_c"))),
        water_share=float(difference("mass_loss_fraction").max() / share),
        dew_k=float(difference("dew_point_c")[calm].max()) if shut else 0.0,
        finish_s=fipy.duration_s - fast.duration_s,
        fipy_seconds=seconds,
        fipy_steps=sum(record.steps for record in fipy.records),
    )


def run(cook: Cook) -> Agreement:
    """Cook with both engines."""
    fast = cw.simulate(cook.piece, cook.stages, cells=cook.fast_cells, tolerance=TOLERANCE_K)
    start = time.process_time()
    fipy = cw.simulate(cook.piece, cook.stages, engine="fipy")
    return compare(fast, fipy, time.process_time() - start)


def main() -> int:
    """Print the table; return 1 if a cook disagrees."""
    wanted = sys.argv[1:]
    bad = 0
    print(f"{'cook':50s} {'core K':>8s} {'at h':>6s} {'surf K':>7s} {'water %':>8s} "
          f"{'dew K':>7s} {'finish s':>8s} {'cpu s':>6s} {'steps':>6s}")  # fmt: skip
    for cook in cooks():
        if wanted and not any(word in cook.name for word in wanted):
            continue
        a = run(cook)
        ok = a.core_k <= CORE_K and a.water_share <= WATER_SHARE and a.dew_k <= DEW_K
        bad += not ok
        print(f"{cook.name:50s} {a.core_k:8.4f} {a.core_at_s / HOUR:6.2f} {a.surface_k:7.3f} "
              f"{100 * a.water_share:8.4f} {a.dew_k:7.4f} {a.finish_s:8.1f} "
              f"{a.fipy_seconds:6.1f} {a.fipy_steps:6d} "
              f"{'' if ok else ' DISAGREE'}", flush=True)  # fmt: skip
    return 1 if bad else 0


if __name__ == "__main__":
    sys.exit(main())
