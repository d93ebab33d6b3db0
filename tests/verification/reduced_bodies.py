"""The like body of one dimension against two dimensions, on random pieces and cooks.

``python tests/verification/reduced_bodies.py 60`` prints what is found; it takes minutes.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass

import numpy as np

import coreward as cw
from coreward.physics.body import FiniteShape

CUTS = ("pork shoulder", "beef brisket flat", "turkey breast", "beef round")
REST = cw.Stage(
    cw.Surroundings(20.0, dew_point_c=8.0, heat_transfer=5.0), duration_s=3600.0, label="rest"
)


@dataclass(frozen=True)
class Difference:
    """Like body less section: time to the pull [%], loss [points], rise in the rest [K]."""

    time: float
    loss: float
    rise: float


def draw(rng: np.random.Generator) -> tuple[cw.Piece, tuple[cw.Stage, ...], float]:
    """Draw a piece, its stages to the pull, and the core at the pull."""
    kind = rng.random()
    shape: FiniteShape
    if kind < 0.4:
        thick = rng.uniform(0.03, 0.12)
        wide = thick * rng.uniform(1.0, 4.0)
        shape = cw.Block(thick, wide, wide * rng.uniform(1.0, 2.5))
    elif kind < 0.7:
        across = rng.uniform(0.05, 0.15)
        shape = cw.FiniteCylinder(across, across * rng.uniform(0.5, 4.0))
    elif kind < 0.85:
        thick = rng.uniform(0.04, 0.1)
        thin, wide, long = (thick * rng.uniform(*x) for x in ((0.3, 0.9), (2, 4), (4, 7)))
        shape = cw.TaperedFlat(thick, thin, wide, long)
    else:
        high = rng.uniform(0.05, 0.11)
        wide = high * rng.uniform(1.2, 2.2)
        shape = cw.Loaf(high, wide, wide * rng.uniform(1.1, 2.0))
    piece = cw.Piece(shape, cw.meat(str(rng.choice(CUTS))), 4.0)
    air, film, dew = (float(rng.uniform(*x)) for x in ((95, 170), (8, 30), (20, 65)))
    core = float(rng.uniform(55.0, 92.0))
    around = cw.Surroundings(air, dew_point_c=dew, heat_transfer=film)
    if rng.choice(["none", "foil", "none"]) == "none":
        return piece, (cw.Stage(around, until_core_c=core),), core
    bare = cw.Stage(around, until_core_c=min(60.0, core - 5.0))
    return piece, (bare, cw.Stage(around, until_core_c=core, wrap="foil")), core


def difference(piece: cw.Piece, stages: tuple[cw.Stage, ...], core_c: float) -> Difference:
    """Compute one piece in two dimensions and as its like body."""
    found = []
    for engine, cells in (("section", 20), ("fast", 40)):
        r = cw.simulate(piece, (*stages, REST), engine=engine, cells=cells, tolerance=0.05)
        pull = r.records[-2].end_s
        loss = float(np.interp(pull, r.time_s, r.mass_loss_fraction))
        found.append((pull, loss, float(r.core_c.max()) - core_c))
    two, one = found
    return Difference(
        100.0 * (one[0] / two[0] - 1.0), 100.0 * (one[1] - two[1]), one[2] - two[2]
    )


def main(count: int) -> None:
    """Print the differences of as many pieces."""
    rng = np.random.default_rng(2121)
    rows = [difference(*draw(rng)) for _ in range(count)]
    for name, near in (("time", 4.0), ("loss", 2.0), ("rise", 1.0)):
        x = np.array([getattr(row, name) for row in rows])
        print(
            f"{name}: mean {x.mean():.2f}, from {x.min():.2f} to {x.max():.2f}, "
            f"{100.0 * (np.abs(x) < near).mean():.0f} % within {near:g}"
        )


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 60)
