"""Is the end of a plan enough? Each piece as it is pulled, judged by the hold tables.

A plan is judged whether or not its pull waits for the tables: a wish that they do not
bear out is still a wish that somebody will eat.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from coreward import tables
from coreward.cook.result import first_time_at
from coreward.questions.plan.cooks import (
    CONDITION,
    PieceCooks,
    come_up_limit,
    crossings,
    deciding_standards,
    enough_after,
    hold_rows,
    species,
)
from coreward.questions.plan.inputs import PlannedPiece
from coreward.questions.verdict import CANNOT_TELL, NOT_MET, State, verdict
from coreward.tables.standards import Standard, load_standard, standard_names
from coreward.words import (
    Difference,
    Lasting,
    Needed,
    Opening,
    Published,
    Say,
    Text,
    say,
    together,
)

Floats = NDArray[np.float64]

# So long as nobody minds to wait for it at the pit.
_SOON_S = 120.0
UNSURE = "the hold tables cannot tell"


@dataclass(frozen=True)
class End:
    """What the hold tables say of a piece as it is pulled."""

    state: State
    """One of "met", "not met" or "cannot tell", of a cook on the cautious side."""
    headline: Text
    warning: Text = ""
    """What has to stand before everything else; empty where the end may be enough."""
    doubt: str = ""
    """The same in a few words."""
    unsure: Text = ""
    """That the tables cover it and still cannot tell; else empty."""


def judged_end(
    item: PlannedPiece, cook: PieceCooks, pull_s: Floats, pulled: Text, chance: float
) -> End:
    """Judge two cautious draws up to the pull, an early one and a slow come-up: the worse.

    Parameters
    ----------
    pull_s : ndarray, shape (members,)
        When it is pulled; infinite where never. [s]
    pulled : str or Say
        Where that is, in words.
    """
    meat = species(item)
    if not _any_table_for(meat):
        headline = say(
            "No hold table here covers {0}: whether this end is enough cannot be told.",
            meat or say("{0}, a cut of your own", item.piece.material.name),
        )
        remedy = "Ask the food authority of your place what it asks of it, and measure that."
        warning = say("{0}, {1}: {2} {3}", Opening(item.name), pulled, headline, remedy)
        return End(CANNOT_TELL, headline, warning, "no hold table covers it")
    done = np.flatnonzero(np.isfinite(pull_s))
    if not done.size:
        never = "It is never ready in what was computed: there is no end to judge."
        return End(NOT_MET, never, doubt="never ready")
    standards = deciding_standards(item)
    error_k = tables.load("verdict")["probe_error"]
    by_pull = done[np.argsort(pull_s[done], kind="stable")]
    by_come_up = done[np.argsort(cook.come_up_s[done], kind="stable")]
    early = by_pull[int((1.0 - chance) * (len(done) - 1))]
    slow = by_come_up[int(chance * (len(done) - 1))]
    levels = np.array(sorted({t + error_k for one in standards for t in one.temperatures_c}))
    asked = item.wanted.lethality
    limit = come_up_limit()
    found, too_slow, too_short = [], False, False
    for i in (early, slow):
        history = _up_to(cook, int(i), float(pull_s[i]), levels)
        begin, end = (first_time_at(*history, c) for c in (limit.from_c, limit.to_c + error_k))
        too_slow |= min(end, pull_s[i]) - begin > limit.limit_s
        rising = history[0], np.maximum.accumulate(history[1])
        held = [enough_after(*rising, *hold_rows(one, error_k)) for one in standards]
        too_short |= max(held, default=0.0) > pull_s[i] + 1.0
        found.append(
            verdict(
                history,
                meat=item.piece.material.name,
                standards=None if isinstance(asked, bool) else asked,
                organism=(),  # the sums of kill decide nothing, and take their time
                probe_error_c=error_k,
                mass_kg=item.mass_kg,
            )
        )
    order = (NOT_MET, CANNOT_TELL, "met")
    worst = min(found, key=lambda one: order.index(one.state))
    if worst.state == CANNOT_TELL:
        # Before it is cooked nobody can know what a table asks beside time.
        beside = (
            ""
            if too_short or too_slow
            else " The times are there; what these ask of the surface and the oven as well no "
            "plan can know: say it when you judge the log."
        )
        words = say("{0}, {1}: {2}", Opening(item.name), pulled, worst.headline)
        unsure = say("{0}" + beside, words)
        return End(worst.state, worst.headline, doubt=UNSURE, unsure=unsure)
    if worst.state != NOT_MET:
        return End(worst.state, worst.headline)
    remedies: list[Text] = []
    if too_short:
        remedies.append(_hotter(standards, error_k))
        if asked is False:
            remedies.append("Or let the pull wait for the hold tables.")
    if too_slow:
        remedies.append(
            say(
                "It warms from {0} to {1} in more than {2}: a smaller piece or a hotter pit "
                "is quicker.",
                Published(limit.from_c, at_most=True),
                Published(limit.to_c),
                Lasting(limit.limit_s),
            )
        )
    warning = say(
        "Not enough by the tables: {0}, {1}. {2} {3}",
        item.name,
        pulled,
        worst.headline,
        together(remedies),
    )
    doubt = "hold tables not met" if too_short else "come-up too slow"
    return End(worst.state, worst.headline, warning, doubt)


def _any_table_for(meat: str) -> bool:
    return any(load_standard(name).covers(meat, CONDITION) for name in standard_names())


def _up_to(cook: PieceCooks, i: int, pull_s: float, levels_c: Floats) -> tuple[Floats, Floats]:
    """History of one draw up to its pull, with a reading at each row that it crosses.

    The judge gives nothing for the way between two readings; five minutes of it would be
    half a hold.
    """
    end_c = float(np.interp(pull_s, cook.time_s, cook.core_c[i]))
    if pull_s == cook.pull_s[i]:
        end_c = float(cook.highest_c[i])  # the curve is held flat beyond the end of a run
    keep = cook.time_s < pull_s
    time = np.append(cook.time_s[keep], pull_s)
    core = np.append(cook.core_c[i][keep], end_c)
    at = crossings(time, np.maximum.accumulate(core), levels_c)
    met = np.isfinite(at)
    time, core = np.append(time, at[met]), np.append(core, levels_c[met])
    order = np.lexsort((core, time))
    time, core = time[order], core[order]
    last = np.append(np.diff(time) > 0.0, True)
    return time[last], core[last]


def _hotter(standards: tuple[Standard, ...], error_k: float) -> Say:
    """Say a core that all of the tables are content with."""
    rows = sorted(
        (level, max(one.required_s(level) for one in standards))
        for level in {t for one in standards for t in one.temperatures_c}
    )
    soon = [row for row in rows if row[1] <= _SOON_S]
    level, asked = soon[0] if soon else min(rows, key=lambda row: row[1])
    return say(
        "All of its tables are met by {0} at {1} or above ({2} of it for the probe).",
        Needed(asked),
        Published(level + error_k),
        Difference(error_k),
    )
