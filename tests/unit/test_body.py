import numpy as np
import pytest

from coreward.errors import InputError
from coreward.physics.body import (
    Block,
    Cylinder,
    FiniteCylinder,
    LikeBody,
    Loaf,
    Slab,
    Sphere,
    TaperedFlat,
    make_mesh,
)


@pytest.mark.parametrize("shape", [Slab(0.09), Cylinder(0.12), Sphere(0.1)])
@pytest.mark.parametrize("cells", [5, 60, 333])
def test_mesh_fills_the_shape(shape, cells):
    mesh = make_mesh(shape, cells)
    n = shape.exponent
    exact = shape.half_size ** (n + 1) / (n + 1)
    # sums of volumes telescope: rounding only
    assert mesh.volume.sum() == pytest.approx(exact, rel=1e-12)
    assert mesh.position[0] == 0.0
    assert mesh.position[-1] == shape.half_size
    assert (np.diff(mesh.position) > 0).all()
    assert (np.diff(mesh.spacing) < 0).all()  # finer towards the surface


def test_equal_spacing_without_grading():
    mesh = make_mesh(Slab(0.1), 11, grading=0.0)
    assert np.allclose(mesh.spacing, 0.005, rtol=1e-12)


@pytest.mark.parametrize("size", [-0.01, 0.0, float("nan"), float("inf"), 90.0, 0.0001])
@pytest.mark.parametrize("shape", [Slab, Cylinder, Sphere])
def test_impossible_sizes_are_refused_with_a_remedy(shape, size):
    with pytest.raises(InputError, match=r"thickness|diameter"):
        shape(size)


def test_a_size_in_millimetres_is_recognised():
    with pytest.raises(InputError, match=r"0\.09 for 90 mm"):
        Slab(90.0)


@pytest.mark.parametrize("size", ["0.09", None, True, [0.09]])
def test_a_size_must_be_a_number(size):
    with pytest.raises(InputError, match="one number in metres"):
        Slab(size)


@pytest.mark.parametrize("cells", [0, 4, 2.5, 100000])
def test_a_silly_number_of_cells_is_refused(cells):
    with pytest.raises(InputError, match="number of cells"):
        make_mesh(Slab(0.09), cells)


@pytest.mark.parametrize(
    ("shape", "lengthwise", "crosswise", "through"),
    [
        (Slab(0.05), 0.0, 0.0, 1.0),
        (LikeBody(0.05, 1.8, 0.06), 0.0, 0.0, 1.0),
        (Cylinder(0.1), 0.0, 1 / 2, 1 / 2),
        (Sphere(0.1), 1 / 3, 1 / 3, 1 / 3),
        # By hand: the inverse squares of 1, 2 and 4 are as 16 to 4 to 1.
        (Block(0.03, 0.06, 0.12), 1 / 21, 4 / 21, 16 / 21),
        (TaperedFlat(0.04, 0.02, 0.06, 0.12), 1 / 21, 4 / 21, 16 / 21),
        (Loaf(0.03, 0.06, 0.12), 1 / 21, 4 / 21, 16 / 21),
        (FiniteCylinder(0.06, 0.12), 1 / 9, 4 / 9, 4 / 9),
    ],
)
def test_the_shorter_way_takes_more_of_what_is_pressed_out(
    shape, lengthwise, crosswise, through
):
    for grain, share in (
        ("lengthwise", lengthwise),
        ("crosswise", crosswise),
        ("through", through),
    ):
        assert shape.grain_share(grain) == pytest.approx(share, abs=1e-12)
