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

# What the limits of the table are called by those who keep them.
_LIMITS = {
    "us come-up": "warming up, United States cooking guideline of 2021",
    "food code cooling": "cooling, Food Code",
    "fsis cooling 1999 rapid": "cooling, USDA FSIS 1999, rapid",
    "fsis cooling 1999 second": "cooling, USDA FSIS 1999, second option",
    "fsis cooling 1999 cured": "cooling, USDA FSIS 1999, cured with nitrite",
    "uk cooling good practice": "cooling, United Kingdom, good practice",
    "uk cooling maximum": "cooling, United Kingdom, at most",
    "canada cooling": "cooling, Canada",
    "food code hot holding": "kept hot, Food Code",
    "food code hot holding roast": "kept hot, Food Code, roasts",
    "food code reheating": "reheating, Food Code",
}


def limit_name(limit: LimitVerdict) -> str:
    """Return what a limit is called by those who keep it."""
    return _LIMITS.get(limit.name, f"{limit.kind}, {limit.name}")


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
