"""Run a piece through its stages."""

from __future__ import annotations

from collections.abc import Sequence

from coreward.cook.march import assemble, march, row_spacing
from coreward.cook.result import Result
from coreward.cook.stages import Piece, Stage
from coreward.errors import InputError
from coreward.physics.body import make_mesh

DEFAULT_CELLS = 60
# [K] per step, in the norm of the engine. Chosen so that the core of an
# all-day cook is within 0.05 K of a converged run (verification tests).
DEFAULT_TOLERANCE = 0.02


def check_cook(piece: Piece, plan: Sequence[Stage], tolerance: float) -> None:
    """Refuse what no engine can be given.

    Raises
    ------
    InputError
    """
    if not isinstance(piece, Piece):
        raise InputError("The first argument must be a Piece(shape, material, start_c).")
    if not plan or not all(isinstance(stage, Stage) for stage in plan):
        raise InputError("A cook needs at least one Stage(...).")
    if not 1e-7 <= tolerance <= 5.0:
        raise InputError(f"The tolerance must lie between 1e-7 and 5 K; it is {tolerance}.")


def simulate(
    piece: Piece,
    stages: Stage | Sequence[Stage],
    engine: str = "fast",
    cells: int = DEFAULT_CELLS,
    tolerance: float = DEFAULT_TOLERANCE,
) -> Result:
    """Cook a piece.

    Parameters
    ----------
    piece : Piece
    stages : Stage or sequence of Stage
        Each begins with the state the one before left.
    engine : {"fast", "fipy", "section"}
        "section" computes a piece with ends in two dimensions and returns a
        `coreward.cook.section.SectionResult`.
    cells : int
        Nodes from core to surface, along each axis.
    tolerance : float
        Local error allowed per step. [K]

    Returns
    -------
    Result

    Raises
    ------
    InputError, TableError
        If something given cannot be used.
    SolverError
        If the solution fails; nothing is returned then.
    """
    plan = (stages,) if isinstance(stages, Stage) else tuple(stages)
    check_cook(piece, plan, tolerance)
    if engine == "section":
        from coreward.cook.section import simulate_section  # late: it has code of its own

        return simulate_section(piece, plan, cells, tolerance)
    mesh = make_mesh(piece.shape, cells)
    parts, _, notes = march(piece, plan, mesh, engine, tolerance, row_spacing(plan))
    return assemble(piece, plan, parts, mesh, engine, tolerance, notes)
