"""Shapes and the one-dimensional mesh they are cut into.

A shape knows its size; a mesh knows nodes, faces and volumes. Neither knows
any meat.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import ClassVar, Final

import numpy as np
from numpy.typing import NDArray

from coreward.errors import InputError

Floats = NDArray[np.float64]

# Outside these sizes one-dimensional lumps of meat make no sense; they catch
# millimetres or inches typed as metres. Assumed here, no source.
SMALLEST_SIZE_M = 0.002
LARGEST_SIZE_M = 2.0


def _check_size(what: str, size: float) -> None:
    if isinstance(size, bool) or not isinstance(size, (int, float, np.floating, np.integer)):
        raise InputError(f"The {what} must be one number in metres, not {size!r}.")
    if not math.isfinite(size) or size <= 0.0:
        raise InputError(f"The {what} must be greater than zero; it is {size} m.")
    if not SMALLEST_SIZE_M <= size <= LARGEST_SIZE_M:
        raise InputError(
            f"The {what} is {size:g} m; sizes from {SMALLEST_SIZE_M * 1e3:g} mm to "
            f"{LARGEST_SIZE_M:g} m can be computed. Sizes are given in metres: "
            "write 0.09 for 90 mm."
        )


class _Body:
    """What the shapes share: one size that a person measures, and half of it."""

    name: ClassVar[str]
    exponent: ClassVar[int]
    _measure: ClassVar[str]

    def __post_init__(self) -> None:
        _check_size(f"{self._measure} of the {self.name}", self.size)

    @property
    def size(self) -> float:
        """The size a person measures. [m]."""
        value: float = getattr(self, self._measure)
        return value

    @property
    def half_size(self) -> float:
        """Distance from the coldest plane, line or point to the surface. [m]."""
        return self.size / 2.0


@dataclass(frozen=True)
class Slab(_Body):
    """A flat piece, heated on both faces.

    Parameters
    ----------
    thickness : float
        Whole thickness, face to face. [m]
    """

    thickness: float

    name = "slab"
    exponent = 0
    _measure = "thickness"


@dataclass(frozen=True)
class Cylinder(_Body):
    """A long round piece, heated on its side.

    Parameters
    ----------
    diameter : float
        [m]
    """

    diameter: float

    name = "cylinder"
    exponent = 1
    _measure = "diameter"


@dataclass(frozen=True)
class Sphere(_Body):
    """A ball, heated all round.

    Parameters
    ----------
    diameter : float
        [m]
    """

    diameter: float

    name = "sphere"
    exponent = 2
    _measure = "diameter"


Shape = Slab | Cylinder | Sphere

SHAPES: Final[Mapping[str, Callable[[float], Shape]]] = MappingProxyType(
    {"slab": Slab, "cylinder": Cylinder, "sphere": Sphere}
)
"""The shapes by the names that files, tables and panels use."""


@dataclass(frozen=True)
class Mesh:
    """Nodes at the centre and on the surface, faces half way between.

    Volumes and areas are per unit of what the symmetry leaves out: per m² of
    face (slab), per metre and radian (cylinder), per steradian (sphere).

    Attributes
    ----------
    position : ndarray, shape (cells,)
        Nodes, from the centre (0) to the surface. [m]
    face_area : ndarray, shape (cells - 1,)
        Area of the face between node i and i + 1.
    spacing : ndarray, shape (cells - 1,)
        Distance between node i and i + 1. [m]
    volume : ndarray, shape (cells,)
    surface_area : float
    """

    position: Floats
    face_area: Floats
    spacing: Floats
    volume: Floats
    surface_area: float

    def mean(self, field: Floats) -> Floats:
        """Volume mean over the last axis."""
        result: Floats = field @ self.volume / self.volume.sum()
        return result


# How much finer the mesh is at the surface than at the centre: the spacing
# ratio is about cosh(GRADING). Chosen so that 60 nodes put several inside
# the first half millimetre, where a drying crust forms.
GRADING = 4.0
FEWEST_CELLS = 5
MOST_CELLS = 5000


def make_mesh(shape: Shape, cells: int, grading: float = GRADING) -> Mesh:
    """Cut a shape into finite volumes, finer towards the surface.

    Parameters
    ----------
    shape : Slab, Cylinder or Sphere
    cells : int
        Number of nodes, centre and surface included.
    grading : float
        0 gives equal spacing; larger crowds nodes at the surface.

    Returns
    -------
    Mesh

    Raises
    ------
    InputError
        If `cells` is not a whole number from 5 to 5000.

    Notes
    -----
    Node i lies at ``L (1 - sinh(g (1 - s)) / sinh(g))`` with ``s = i / (n - 1)``:
    a smooth mapping, so the scheme stays second order.
    """
    if int(cells) != cells or not FEWEST_CELLS <= cells <= MOST_CELLS:
        raise InputError(
            f"The number of cells must be a whole number from {FEWEST_CELLS} to "
            f"{MOST_CELLS}; it is {cells!r}."
        )
    s = np.linspace(0.0, 1.0, int(cells))
    if grading > 0.0:
        position = shape.half_size * (1.0 - np.sinh(grading * (1.0 - s)) / math.sinh(grading))
    else:
        position = shape.half_size * s
    position[0], position[-1] = 0.0, shape.half_size
    face = 0.5 * (position[1:] + position[:-1])
    edges = np.concatenate(([0.0], face, [shape.half_size]))
    n = shape.exponent
    volume = (edges[1:] ** (n + 1) - edges[:-1] ** (n + 1)) / (n + 1)
    return Mesh(
        position=position,
        face_area=face**n,
        spacing=np.diff(position),
        volume=volume,
        surface_area=shape.half_size**n,
    )
