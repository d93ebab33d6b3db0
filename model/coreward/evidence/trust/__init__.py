"""How far the model agrees with textbooks and measurements.

Every row holds one published value (or range, or statement) against what the model
gives now; a measured cook against what the calibration predicted of it from all other
sources (`left_out`). A row that was in view when a number was chosen says so. A row
is *inside* when what we compute meets the published value within a tolerance that
the row explains, and *outside* when it does not: those rows stay in the table.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from itertools import chain

from coreward.errors import InputError
from coreward.evidence.trust.left_out import about
from coreward.evidence.trust.roasts import (
    CarryoverCase,
    carryover_cases,
    carryover_rows,
    cooling_rows,
    roasting_rows,
)
from coreward.evidence.trust.row import TrustRow, Verdict
from coreward.evidence.trust.solids import conduction_rows, property_rows
from coreward.evidence.trust.stall import (
    CLOSURE_COOKS,
    SLOWING_CORE_C,
    ClosureRow,
    closures,
    compare_closures,
    core_rate,
    least_rise,
    pit_cook,
    smoking_rows,
    trade_rows,
)

__all__ = [
    "CLOSURE_COOKS",
    "SLOWING_CORE_C",
    "TOPICS",
    "CarryoverCase",
    "ClosureRow",
    "TrustRow",
    "Verdict",
    "carryover_cases",
    "closures",
    "compare_closures",
    "core_rate",
    "least_rise",
    "pit_cook",
    "summary",
    "trust_table",
]

Progress = Callable[[int, int, str], None]


TOPICS: dict[str, str] = {
    "conduction": "Heat conduction against textbooks and exact series",
    "properties": "Thermal properties against measurements",
    "water": "Water held by heated meat",
    "yield": "Cooking yields",
    "carryover": "Roasting and carryover",
    "cooling": "Cooling of cooked joints",
    "smoking": "Smoked brisket and the stall",
    "roasting": "What published roasting trials report",
    "trade": "What cooks take for granted",
}
"""Topics of the table, in order."""


def trust_table(
    topics: Sequence[str] | None = None, progress: Progress | None = None
) -> tuple[TrustRow, ...]:
    """Hold the model against everything published that it can be held against.

    Parameters
    ----------
    topics : sequence of str, optional
        Some of `TOPICS`; all if None.
    progress : callable, optional
        Called with (topics done, topics in all, name of the next).

    Returns
    -------
    tuple of TrustRow

    Raises
    ------
    InputError
        If a topic is unknown.
    MissingFeatureError
        If the published data did not come with the installation.
    """
    chosen = tuple(TOPICS) if topics is None else tuple(topics)
    for topic in chosen:
        if topic not in TOPICS:
            raise InputError(f"There is no topic {topic!r}; choose from {', '.join(TOPICS)}.")
    rows: list[TrustRow] = []
    for done, topic in enumerate(chosen):
        if progress is not None:
            progress(done, len(chosen), TOPICS[topic])
        rows.extend(_SECTIONS[topic]())
    if progress is not None:
        progress(len(chosen), len(chosen), "")
    return tuple(rows)


def summary(rows: Sequence[TrustRow]) -> str:
    """Say how many rows of each topic are inside, and which misses lie farthest out.

    Parameters
    ----------
    rows : sequence of TrustRow

    Returns
    -------
    str
        One line for each topic.
    """
    lines = []
    for topic, title in TOPICS.items():
        own = [row for row in rows if row.topic == topic]
        if not own:
            continue
        good = sum(row.verdict == "inside" for row in own)
        line = f"{title}: {good} of {len(own)} inside"
        # In half-widths of what was allowed, so that minutes and kelvin can be ranked.
        missed = [row for row in own if row.verdict == "outside"]
        if missed:
            worst = max(missed, key=lambda row: row.miss / (row.allowed[1] - row.allowed[0]))
            line += f"; farthest out: {worst.case}, {worst.ours} against {worst.published}"
        lines.append(line + ".")
    return "\n".join(lines)


_SECTIONS: dict[str, Callable[[], Iterator[TrustRow]]] = {
    "conduction": conduction_rows,
    "properties": property_rows,
    "water": about("water"),
    "yield": about("yield"),
    "carryover": lambda: chain(about("carryover")(), carryover_rows()),
    "cooling": lambda: chain(about("cooling")(), cooling_rows()),
    "smoking": lambda: chain(about("smoking")(), smoking_rows()),
    "roasting": lambda: chain(about("roasting")(), roasting_rows()),
    "trade": trade_rows,
}
