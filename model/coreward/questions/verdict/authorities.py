"""Whom a kitchen answers to, and the tables and limits by the names that they know."""

from __future__ import annotations

from collections.abc import Sequence

from coreward.questions.verdict.answer import LimitVerdict
from coreward.tables.standards import load_standard, standard_names

AUTHORITIES: dict[str, tuple[str, tuple[str, ...]]] = {
    "us kitchen": ("US health department (Food Code)", ("fda_food_code",)),
    "us plant": (
        "US meat inspector (USDA FSIS)",
        ("fsis_appendix_a_1999", "fsis_poultry_2005"),
    ),
    "us home": ("US chart for cooks at home (USDA)", ("usda_consumer",)),
    "uk": ("UK health officer (FSA)", ("uk_70_2",)),
}
"""Whom a person answers to, by the names that they know, and the sources of its tables."""

_SPOKEN = {"come-up": "warming up", "hot holding": "kept hot"}


def limit_name(limit: LimitVerdict) -> str:
    """Return what a limit is called by those who keep it."""
    return f"{_SPOKEN.get(limit.kind, limit.kind)} ({limit.title})"


def standards_of(authority: str, meats: Sequence[str], states: Sequence[str]) -> list[str]:
    """Return the tables by which an authority judges such a piece.

    Parameters
    ----------
    authority : str
        One of `AUTHORITIES`, or the name of a single table.
    meats, states : sequence of str
        What the piece is.
    """
    if authority not in AUTHORITIES:
        return [authority]
    keys = AUTHORITIES[authority][1]
    tables_of = [item for item in map(load_standard, standard_names()) if item.source in keys]
    covering = [
        item
        for item in tables_of
        if any(item.covers(meat, state) for meat in meats for state in states)
    ]
    # What decides; where nothing of theirs does, what they only show. A table that was not
    # made for such a piece says so itself.
    for found in ([item for item in covering if item.counts], covering, tables_of):
        if found:
            return [item.name for item in found]
    return []
