"""How well an event finder does: precision and recall against known events."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from coreward import tables
from coreward.events.listed import KINDS, Kind


class Timed(Protocol):
    """What is compared: a kind and a time. [s]."""

    @property
    def kind(self) -> str:
        """One of the kinds of event."""

    @property
    def time_s(self) -> float:
        """When it began. [s]."""


class Sized(Timed, Protocol):
    """A timed event with a size."""

    @property
    def size(self) -> float:
        """How large, in kelvin; NaN if not told."""


_SMALLEST = {
    "lid_opened": "lid_smallest",
    "fuel_dying": "sag_smallest",
    "fuel_added": "sag_smallest",
    "pit_changed": "new_level_smallest",
    "probe_moved": "step_smallest",
}


@dataclass(frozen=True)
class Score:
    """Counts of one kind, or of all.

    Attributes
    ----------
    matched : int
        Found events that are true ones.
    found, true : int
        How many were found, how many there were.
    time_error_s : tuple of float
        Found less true, for each match. [s]
    """

    matched: int = 0
    found: int = 0
    true: int = 0
    time_error_s: tuple[float, ...] = ()

    @property
    def precision(self) -> float:
        """Share of the found events that are true; NaN if none was found."""
        return self.matched / self.found if self.found else float("nan")

    @property
    def recall(self) -> float:
        """Share of the true events that were found; NaN if there was none."""
        return self.matched / self.true if self.true else float("nan")

    @property
    def median_error_s(self) -> float:
        """Median of the absolute error of the time; NaN without a match. [s]."""
        errors = np.abs(self.time_error_s)
        return float(np.median(errors)) if errors.size else float("nan")

    def __add__(self, other: Score) -> Score:
        return Score(
            self.matched + other.matched,
            self.found + other.found,
            self.true + other.true,
            self.time_error_s + other.time_error_s,
        )


@dataclass(frozen=True)
class EventScores:
    """Scores by kind. Add two to pool them.

    Attributes
    ----------
    by_kind : mapping of str to Score
        Only kinds that were found or were there.
    """

    by_kind: Mapping[str, Score]

    @property
    def overall(self) -> Score:
        """All kinds together."""
        total = Score()
        for score in self.by_kind.values():
            total = total + score
        return total

    def __add__(self, other: EventScores) -> EventScores:
        kinds = [kind for kind in KINDS if kind in self.by_kind or kind in other.by_kind]
        empty = Score()
        return EventScores(
            {k: self.by_kind.get(k, empty) + other.by_kind.get(k, empty) for k in kinds}
        )

    def rows(self) -> tuple[tuple[str, Score], ...]:
        """Return kind and score, the sum last, for a table."""
        return (*self.by_kind.items(), ("all", self.overall))


def default_tolerances() -> dict[str, float]:
    """Return how far a found event may be from a true one, by kind, from the table. [s]."""
    numbers = tables.load("events", "tolerances")
    return {kind: numbers[kind] for kind in KINDS}


def match_events(
    found: Iterable[Timed],
    truth: Iterable[Timed],
    tolerance_s: Mapping[str, float] | None = None,
    kinds: Sequence[Kind] = KINDS,
    ignored: Iterable[Timed] = (),
) -> EventScores:
    """Pair found events with true ones, each used once, the most pairs possible.

    Parameters
    ----------
    found, truth : iterable of Event
        Anything with `kind` and `time_s`.
    tolerance_s : mapping, optional
        Largest distance by kind; `default_tolerances` where not given. [s]
    kinds : sequence of str
        Kinds to score; others are left out on both sides.
    ignored : iterable of Event
        True events that the data do not show, see `shown`: they need not be found, and a
        found event that pairs with one counts neither for nor against.

    Returns
    -------
    EventScores
    """
    reach = {**default_tolerances(), **(tolerance_s or {})}
    found, truth, ignored = tuple(found), tuple(truth), tuple(ignored)
    scores = {}
    for kind in kinds:
        times, wanted, passed = (
            sorted(event.time_s for event in events if event.kind == kind)
            for events in (found, truth, ignored)
        )
        errors = _paired(times, wanted, reach[kind])
        both = _paired(times, sorted([*wanted, *passed]), reach[kind])
        counted = len(times) - (len(both) - len(errors))
        if counted or wanted:
            scores[str(kind)] = Score(len(errors), counted, len(wanted), errors)
    return EventScores(scores)


def shown(truth: Iterable[Sized]) -> tuple[list[Sized], list[Sized]]:
    """Split true events into those large enough to be seen, and those that are not.

    A lid opened on a pit still cold, or a probe put back where it was, leaves nothing in
    the readings. The limits are the smallest sizes that the finder reports at all. An
    event whose size is not told (NaN), or of a kind without limit, counts as shown.
    """
    numbers = tables.load("events")
    least = {kind: numbers[name] for kind, name in _SMALLEST.items()}
    seen: list[Sized] = []
    unseen: list[Sized] = []
    for event in truth:
        small = abs(event.size) < least.get(event.kind, 0.0)
        (unseen if small else seen).append(event)
    return seen, unseen


def _paired(found: Sequence[float], wanted: Sequence[float], reach: float) -> tuple[float, ...]:
    """Errors of the pairing in order of time with most pairs, then least error.

    Both lists are sorted and the reach is one number, so some best pairing keeps their
    order; it is found by dynamic programming over the two lists.
    """
    best: list[list[tuple[int, float, tuple[float, ...]]]] = [
        [(0, 0.0, ())] * (len(wanted) + 1) for _ in range(len(found) + 1)
    ]
    for i, time in enumerate(found, start=1):
        for j, true in enumerate(wanted, start=1):
            options = [best[i - 1][j], best[i][j - 1]]
            if abs(time - true) <= reach:
                pairs, cost, errors = best[i - 1][j - 1]
                options.append((pairs + 1, cost + abs(time - true), (*errors, time - true)))
            best[i][j] = max(options, key=lambda option: (option[0], -option[1]))
    return best[-1][-1][2]
