"""How far the core of a piece with ends still rises, against the exact product of two bodies.

The oven is a product of a long cylinder (or slab) and a slab; so is the rest, of two such
products: one that starts as the oven left it, and one that starts even. Each factor is solved
here by its own eigenvalues, on a mesh of its own.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.linalg import eigh

import coreward as cw
from coreward.cook.rest import BoxPlan, cook_and_rest
from coreward.physics.body import FiniteCylinder, FiniteShape
from coreward.physics.meat import constant_material
from coreward.questions.rest.carryover import carryover

Floats = NDArray[np.float64]

K, RHO, CP = 0.48, 1050.0, 3500.0
OVEN_C, START_C, KITCHEN_C, PULL_C = 163.0, 4.0, 21.0, 52.0
OVEN_H, KITCHEN_H = 14.0, 9.0


class Line:
    """A body of one axis, cooled at its surface; finite volumes and exact in time."""

    def __init__(self, half: float, power: int, cells: int = 240) -> None:
        edge = half * np.sin(np.linspace(0.0, 0.5 * math.pi, cells + 1))
        at = 0.5 * (edge[1:] + edge[:-1])
        self.volume = np.diff(edge ** (power + 1)) / (power + 1)
        self.link = K * edge[1:-1] ** power / np.diff(at)
        self.skin, self.out = K / (edge[-1] - at[-1]), edge[-1] ** power

    def run(self, start: Floats, h: float, times: Floats) -> Floats:
        n = len(self.volume)
        a = np.zeros((n, n))
        for i, g in enumerate(self.link):
            a[i, i] += g
            a[i + 1, i + 1] += g
            a[i, i + 1] = a[i + 1, i] = -g
        a[-1, -1] += self.out / (1.0 / self.skin + 1.0 / h)
        d = 1.0 / np.sqrt(RHO * CP * self.volume)
        rate, mode = eigh(a * d[:, None] * d[None, :])
        amount = mode.T @ (start / d)
        return np.array([d * (mode @ (np.exp(-rate * t) * amount)) for t in times])


def exact_rise(shape: FiniteCylinder) -> tuple[float, float]:
    """Seconds to the pull, and kelvins that the core rises after it."""
    lines = [Line(0.5 * shape.diameter_m, 1), Line(0.5 * shape.length_m, 0)]
    even = [np.ones(len(line.volume)) for line in lines]
    times = np.linspace(60.0, 6.0 * 3600.0, 720)
    core = np.prod([x.run(e, OVEN_H, times)[:, 0] for x, e in zip(lines, even, strict=True)], 0)
    left = (OVEN_C - PULL_C) / (OVEN_C - START_C)
    pull = float(np.interp(-left, -core, times))
    at = [x.run(e, OVEN_H, np.array([pull]))[0] for x, e in zip(lines, even, strict=True)]
    rest = np.linspace(0.0, 2.0 * 3600.0, 481)
    warm = np.prod(
        [x.run(e, KITCHEN_H, rest)[:, 0] for x, e in zip(lines, even, strict=True)], 0
    )
    cold = np.prod([x.run(s, KITCHEN_H, rest)[:, 0] for x, s in zip(lines, at, strict=True)], 0)
    curve = KITCHEN_C + (OVEN_C - KITCHEN_C) * warm - (OVEN_C - START_C) * cold
    return pull, float(curve.max() - curve[0])


def stages() -> tuple[cw.Stage, cw.Stage]:
    def place(air_c: float, h: float) -> cw.Surroundings:
        return cw.Surroundings(air_c, heat_transfer=h, emissivity=0.0, evaporation=False)

    oven = cw.Stage(place(OVEN_C, OVEN_H), duration_s=10.0 * 3600.0, until_core_c=PULL_C)
    return oven, cw.Stage(place(KITCHEN_C, KITCHEN_H), duration_s=2.0 * 3600.0)


@pytest.mark.parametrize("shape", [FiniteCylinder(0.1, 0.1), FiniteCylinder(0.09, 0.3)])
def test_the_rise_of_a_piece_with_ends_is_that_of_the_exact_product(
    shape: FiniteCylinder,
) -> None:
    piece = cw.Piece(shape, constant_material(K, RHO, CP), START_C)
    oven, kitchen = stages()
    pull, rise = exact_rise(shape)
    found = carryover(cook_and_rest(piece, oven, kitchen))
    # 40 nodes an axis: what is stored outside the core is integrated to a hundredth.
    assert found.rise_k == pytest.approx(rise, rel=0.01)
    assert found.pull_core_c == pytest.approx(PULL_C, abs=0.01)
    assert found.pull_s == pytest.approx(pull, rel=0.01)
    like = carryover(cook_and_rest(piece, oven, kitchen, engine="fast"))
    assert like.rise_k > rise + 1.0


def test_the_coldest_place_of_a_rest_is_a_corner() -> None:
    piece = cw.Piece(FiniteCylinder(0.09, 0.2), constant_material(K, RHO, CP), START_C)
    result = cook_and_rest(piece, *stages())
    coldest, line = result.coldest_c[-1], result.temperature_c[-1].min()
    assert coldest < line - 0.5
    share = result.everywhere()[2]
    assert share.sum() == pytest.approx(1.0)


def test_a_piece_with_ends_rests_in_a_box_in_two_dimensions_too() -> None:
    roast = cw.piece("pork loin", 1.5)
    assert isinstance(roast.shape, FiniteShape)
    oven = cw.Stage(
        cw.Surroundings(150.0, dew_point_c=35.0), duration_s=20.0 * 3600.0, until_core_c=55.0
    )
    box = BoxPlan(3600.0, mass_kg=1.5)
    flat = carryover(cook_and_rest(roast, oven, box, cells=20, tolerance=0.1))
    like = carryover(cook_and_rest(roast, oven, box, cells=20, tolerance=0.1, engine="fast"))
    assert flat.result.engine == "section"
    assert 0.0 < flat.rise_k < 0.8 * like.rise_k
    air = flat.result.environment[flat.result.time_s > flat.pull_s, 0]
    boxed = like.result.environment[like.result.time_s > like.pull_s, 0]
    assert air[-1] == pytest.approx(boxed[-1], abs=0.5)
