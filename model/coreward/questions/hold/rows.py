"""What each printed row is worth: to its own law, and to other organisms."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from coreward import tables
from coreward.physics.lethality import log_reduction
from coreward.tables.standards import Standard, load_standard


def _organisms_beside() -> tuple[str, ...]:
    """Kinetics that table ``kinetics`` holds beside printed rows."""
    every = (tables.load("kinetics", name) for name in tables.names("kinetics"))
    return tuple(one.name for one in every if dict(one.texts).get("beside_rows") == "yes")


@dataclass(frozen=True)
class RowWorth:
    """One printed row, against its law and against other organisms."""

    printing: str
    printed: str
    """Column or edition, and the row as printed."""
    temperature_c: float
    printed_s: float
    law_s: float | None
    required_s: float
    """Temperature [°C]; time as printed, by the law, and as used. [s]"""
    lenient: bool
    """True where the printed time is shorter than the law behind it."""
    own_log: float | None
    """Log reduction of the printed time under the table's own law, where it has one."""
    others: tuple[tuple[str, float], ...]
    """Kinetics and the log reduction that the *printed* hold gives, come-up not counted.
    [log10]"""


def compare_rows(
    standard: Standard | str, organisms: Sequence[str] | None = None
) -> tuple[RowWorth, ...]:
    """Say what every usable row of a standard is worth.

    Parameters
    ----------
    standard : Standard or str
        A hold standard or its name.
    organisms : sequence of str, optional
        Names of kinetics to hold the printed rows against; those that table ``kinetics``
        says if None.

    Returns
    -------
    tuple of RowWorth
        In order of temperature.

    Raises
    ------
    TableError
        Unknown standard or kinetics.
    """
    chosen = load_standard(standard) if isinstance(standard, str) else standard
    names = _organisms_beside() if organisms is None else organisms
    found = []
    for row in chosen.usable_rows:
        time = [0.0, row.printed_s]
        held = [row.temperature_c, row.temperature_c]
        own = None
        if row.law_s is not None and chosen.target_log is not None:
            own = chosen.target_log * row.printed_s / row.law_s
        found.append(
            RowWorth(
                printing=row.printing,
                printed=row.printed,
                temperature_c=row.temperature_c,
                printed_s=row.printed_s,
                law_s=row.law_s,
                required_s=row.required_s,
                lenient=row.short_of_law,
                own_log=own,
                others=tuple((name, log_reduction(time, held, name)) for name in names),
            )
        )
    return tuple(found)
