"""The cook that the questions about the stall start from: a flat brisket in a tight pit.

One place for page, card and lesson, so that they tell of the same cook.
"""

from __future__ import annotations

from typing import Any, Final

from coreward import tables
from coreward.cook.stages import Chamber, Piece, fresh_air
from coreward.physics.body import Shape, Slab
from coreward.physics.meat import FLOWING, Material, meat

CUT: Final = "beef brisket flat"
THICKNESS_M: Final = 0.045
MASS_KG: Final = 7.0
START_C: Final = 4.0
PIT_C: Final = 107.0
PIT: Final = "tight"
"""Set of table ``ventilation``."""
FLOW: Final[str] = FLOWING["transport"]
"""The account of how water moves that gives a standstill. Not the default of table
``transport``, which evidence has not chosen yet."""

# Water that flows through the meat is held by the curve that was read with flow.
_HELD_WITH: Final = {FLOW: FLOWING["water_holding"]}


def material(
    cut: str = CUT,
    transport: str | tables.ParameterSet = FLOW,
    surface: tables.ParameterSet | None = None,
) -> Material:
    """Return the meat, with the water-holding curve that belongs to an account of transport."""
    name = transport if isinstance(transport, str) else transport.name
    held = _HELD_WITH.get(name)
    return meat(cut, transport=transport, water_holding=held, surface=surface)


def piece(
    shape: Shape | None = None,
    cut: str = CUT,
    transport: str = FLOW,
    start_c: float = START_C,
    mass_kg: float = MASS_KG,
) -> Piece:
    """Return the piece, with what is given changed."""
    return Piece(shape or Slab(THICKNESS_M), material(cut, transport), start_c, mass_kg)


def pit(
    air_c: float = PIT_C,
    fresh_air_kg_h: float | None = None,
    ventilation: str = PIT,
    **others: Any,
) -> Chamber:
    """Return the pit: as much fresh air as its set of table ``ventilation`` says, or as given.

    Parameters
    ----------
    air_c : float
        [°C]
    fresh_air_kg_h : float, optional
        [kg/h]
    ventilation : str
        Set of that table.
    **others
        As for `Chamber`.
    """
    room = tables.load("ventilation", ventilation)
    fresh = fresh_air(room).value if fresh_air_kg_h is None else fresh_air_kg_h
    return Chamber(air_c, fresh, volume_m3=room["volume"], **others)
