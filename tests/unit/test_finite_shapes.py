"""Areas and volumes by hand, where the core is, and what cannot be a piece."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import coreward as cw
from coreward.errors import InputError

KINDS = {
    cw.FiniteCylinder: 2,
    cw.Block: 3,
    cw.TaperedFlat: 4,
    cw.Loaf: 3,
    cw.BirdBreast: 3,
}


def test_a_brick_by_hand() -> None:
    brick = cw.Block(0.1, 0.2, 0.3)
    assert brick.volume_m3 == pytest.approx(0.006)
    assert brick.area_m2 == pytest.approx(2 * (0.02 + 0.03 + 0.06))
    assert brick.volume_per_area == pytest.approx(0.006 / 0.22)
    assert brick.core_distance_m == pytest.approx(0.05, rel=1e-3)
    assert brick.half_size == pytest.approx(brick.dimensionality * 0.006 / 0.22)


def test_a_short_cylinder_by_hand() -> None:
    can = cw.FiniteCylinder(0.1, 0.2)
    assert can.volume_m3 == pytest.approx(math.pi * 0.05**2 * 0.2)
    assert can.area_m2 == pytest.approx(2 * math.pi * 0.05**2 + math.pi * 0.1 * 0.2)
    assert can.slowest_point_m == (0.0, 0.0)
    assert can.core_distance_m == pytest.approx(0.05)


def test_a_tapered_flat_by_hand() -> None:
    flat = cw.TaperedFlat(0.08, 0.04, 0.2, 0.3)
    assert flat.volume_m3 == pytest.approx(0.06 * 0.2 * 0.3)
    slope = 2 * 0.2 * math.hypot(0.3, 0.02)
    ends, sides = 0.2 * (0.08 + 0.04), 2 * 0.06 * 0.3
    assert flat.area_m2 == pytest.approx(slope + ends + sides)
    assert flat.size == pytest.approx(0.06)
    along, up, across = flat.slowest_point_m
    assert (up, across) == (0.0, 0.0)
    # Towards the thick end, but off its face by more than half its thickness.
    assert 0.04 < along < 0.15


def test_a_loaf_and_a_breast_by_hand() -> None:
    loaf = cw.Loaf(0.08, 0.16, 0.3)  # half a circle of 80 mm
    assert loaf.volume_m3 == pytest.approx(0.5 * math.pi * 0.08**2 * 0.3)
    assert loaf.area_m2 == pytest.approx(
        math.pi * 0.08**2 + 0.3 * (math.pi * 0.08 + 0.16), rel=1e-9
    )
    breast = cw.BirdBreast(0.08, 0.16, 0.16)  # half a ball
    assert breast.volume_m3 == pytest.approx(2.0 / 3.0 * math.pi * 0.08**3)
    assert breast.area_m2 == pytest.approx(3.0 * math.pi * 0.08**2, rel=1e-9)
    # Not half way up: the flat side is as warm as the dome and wider.
    assert 0.03 < breast.slowest_point_m[2] < 0.04
    assert 0.03 < loaf.slowest_point_m[1] < 0.04


@settings(max_examples=25, deadline=None)
@given(
    kind=st.sampled_from(sorted(KINDS, key=lambda one: one.__name__)),
    sizes=st.lists(st.floats(0.03, 0.3), min_size=4, max_size=4),
)
def test_every_shape_has_volume_area_and_a_core_inside(kind, sizes) -> None:
    given_ = sorted(sizes[:2], reverse=True) + sizes[2:] if kind is cw.TaperedFlat else sizes
    shape = kind(*given_[: KINDS[kind]])
    assert shape.volume_m3 > 0.0
    assert shape.area_m2 > 0.0
    assert 0.0 < shape.core_distance_m <= 0.5 * max(sizes) + 1e-9
    assert 1.0 <= shape.dimensionality <= 7.0
    # No body has less surface than a ball of its volume.
    ball = (36.0 * math.pi * shape.volume_m3**2) ** (1.0 / 3.0)
    assert shape.area_m2 > ball
    larger = shape.scaled(1.1)
    assert larger.volume_m3 == pytest.approx(1.331 * shape.volume_m3)
    assert larger.dimensionality == pytest.approx(shape.dimensionality, rel=1e-6)
    assert shape.halved().volume_m3 == pytest.approx(0.5 * shape.volume_m3)


def test_the_simple_shapes_are_as_they_were() -> None:
    for shape, n in ((cw.Slab(0.08), 0), (cw.Cylinder(0.08), 1), (cw.Sphere(0.08), 2)):
        assert type(shape.exponent) is int
        assert shape.exponent == n
        assert shape.half_size == 0.04
        assert shape.volume_per_area == pytest.approx(0.04 / (n + 1))


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda: cw.Block(100, 0.2, 0.3), "The thickness of the block is 100 m"),
        (lambda: cw.FiniteCylinder(0.1, -1.0), "The length of the finite cylinder must be"),
        (lambda: cw.TaperedFlat(0.03, 0.05, 0.2, 0.3), "exchange the two"),
        (lambda: cw.Loaf("a", 0.2, 0.3), "one number in metres"),
    ],
)
def test_what_is_no_shape(make, words: str) -> None:
    with pytest.raises(InputError, match=words):
        make()


def test_a_piece_knows_the_mass_and_surface_of_its_shape() -> None:
    piece = cw.Piece(cw.Block(0.1, 0.15, 0.2), cw.meat("pork shoulder"), 4.0)
    assert piece.raw_mass_kg == pytest.approx(0.003 * piece.material.raw_density)
    assert piece.surface_m2 == pytest.approx(2 * (0.015 + 0.02 + 0.03))
