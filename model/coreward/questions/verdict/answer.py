"""What a verdict says: the answer and its parts, as plain frozen data.

Every sentence is a `Say` or plain words; it becomes text in the reader's units when it is
shown, never before.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from operator import attrgetter
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from coreward import cautions
from coreward.errors import InputError
from coreward.physics.lethality import LethalityHistory
from coreward.plain import apart, told_as
from coreward.questions.verdict.history import CookRecord
from coreward.words import Text

Floats = NDArray[np.float64]
State = Literal["met", "not met", "cannot tell"]

MET: State = "met"
NOT_MET: State = "not met"
CANNOT_TELL: State = "cannot tell"
EXIT_CODES: dict[str, int] = {MET: 0, NOT_MET: 1, CANNOT_TELL: 2}
_ORDER = (NOT_MET, CANNOT_TELL, MET)

CAUTION = cautions.ANSWER
NOTHING_MORE = "nothing more is needed"
_LETTERS = "ABCDEFGHIJKLM"


def worst_state(*states: State) -> State:
    """Return the worst of several: "not met", then "cannot tell", then "met"."""
    return min(states, key=_ORDER.index, default=CANNOT_TELL)


@dataclass(frozen=True)
class StandardVerdict:
    """What one hold standard says."""

    name: str
    title: Text
    revision: Text
    """Which standard; the texts may hold quantities."""
    state: State
    """"met", "not met" or "cannot tell"."""
    counts: bool
    """Whether it decides the overall answer."""
    row_c: float | None
    limit_c: float | None
    required_s: float | None
    held_s: float | None
    """Best row: minimum of the table [°C], the reading asked for (row plus errors) [°C], time
    asked for and longest time held. [s]"""
    margin_s: float | None
    """Held minus asked for. [s]"""
    governing: Text
    enough: Text
    caution: Text
    """The assumption that decides, what would make it enough (or apply), the caution."""
    sources: tuple[str, ...]
    """Keys of sources."""


@dataclass(frozen=True)
class LimitVerdict:
    """What one limit on the history says."""

    name: str
    title: str
    kind: str
    state: State
    counts: bool
    """Which limit, for code and by the name its readers know; "come-up", "cooling", "reheating"
    or "hot holding"; as above."""
    from_c: float
    to_c: float
    """Band. [°C]"""
    start_s: float | None
    end_s: float | None
    """When the record was in it. [s]"""
    elapsed_s: float | None
    limit_s: float
    margin_s: float | None
    """Longest time that it may have been in it, longest allowed, difference. [s]"""
    text: Text
    enough: Text
    """In words."""
    sources: tuple[str, ...]
    """Keys of sources."""
    surely_s: float | None = None
    """Time that it was surely in it, however the probe errs. [s]"""
    reading_c: float | None = None
    """Reading asked for: the limit plus errors; where there is a limit to be at or above. [°C]
    """
    held_s: float | None = None
    dwell_s: float | None = None
    """Time held there and time asked for; only of reheating. [s]"""


@dataclass(frozen=True, eq=False)
class IntegralView:
    """Kill added up over the whole record, beside the standards."""

    name: str
    organism: str
    food: Text
    unit: str
    """Which kinetics; "log10" or "minutes"."""
    history: LethalityHistory
    """Credit along the record at the readings as they are."""
    confident_curve: Floats = field(metadata=apart())
    """`history.cumulative` scaled to end at `confident`. Shape (samples,)."""
    value: float
    median: float
    confident: float
    """Credit at the readings as they are; half, and 95 %, of the members reach it."""
    surface: float | None
    """Credit at the simulated surface; None without one."""
    target: float
    slow_margin: float
    growth_added: float
    required: float
    """Target, margin for slow heating, growth added, their sum."""
    state: State
    """Whether `confident` reaches `required`."""
    more_minutes: float
    more_kelvin: float
    """What would bring it there: a longer hold at `at_c`, or the same record hotter; infinite
    where nothing would."""
    at_c: float
    """Temperature the longer hold is meant at. [°C]"""
    enough: Text
    note: Text
    """In words."""
    sources: tuple[str, ...]
    """Keys of sources."""


@dataclass(frozen=True)
class Doubt:
    """A question that only a person can answer."""

    kind: str
    """"pieces", "new piece", or what is wrong with a probe: "late", "silent early", "leap",
    "frozen", "in the air", "never plugged in", "left out"."""
    channel: str | None
    """The probe that is meant."""
    text: Text
    """The question."""
    code: str
    command: str
    """What to give in code, and on the command line."""
    answers: tuple[str, ...]
    """What may be answered."""
    blocks: bool = True
    """Whether "met" is impossible until it is answered."""
    at_s: tuple[float, ...] = ()
    """When; for a new piece. [s]"""


@dataclass(frozen=True, eq=False)
class PieceVerdict:
    """What is said about one piece, judged by its own whole history."""

    name: Text
    channels: tuple[str, ...]
    """Which piece, and the probes in it."""
    state: State
    headline: Text
    """The answer for it."""
    standards: tuple[StandardVerdict, ...]
    limits: tuple[LimitVerdict, ...]
    """The two views that decide."""
    record: CookRecord = field(metadata=apart())
    """Its history."""
    lethal_s: float | None
    """When every deciding standard had its hold; None if never. [s]"""


@dataclass(frozen=True, eq=False)
class Verdict:
    """The whole answer: the worst of the pieces, and everything that only a person knows."""

    state: State
    """"not met" if anything that counts is not met; else "cannot tell" if anything that counts
    cannot be told, or a doubt is open; else "met"."""
    headline: Text
    """One sentence with target and assumptions."""
    meats: tuple[str, ...]
    condition: str
    """What was judged; several states stand in one word joined by "and"."""
    standards: tuple[StandardVerdict, ...]
    limits: tuple[LimitVerdict, ...]
    integrals: tuple[IntegralView, ...]
    """The three views of the piece that decides."""
    assumptions: tuple[Text, ...]
    cautions: tuple[Text, ...]
    faults: tuple[Text, ...]
    blind_spots: tuple[Text, ...]
    """What it rests on, what to beware of, what was wrong with the record, what no table
    covers."""
    record: CookRecord = field(metadata=told_as("point", attrgetter("point")))
    """The history of the piece that decides."""
    probe_error_c: float
    placement_error_c: float
    """What was added to every target. [K]"""
    pieces: tuple[PieceVerdict, ...]
    """Every piece, in the reading of the record that decides."""
    worst: PieceVerdict = field(metadata=told_as(told=attrgetter("name")))
    """The piece that decides."""
    doubts: tuple[Doubt, ...]
    """Questions that a person must answer."""
    judged: Any = field(default=None, repr=False, metadata=apart())
    """What was given to `verdict`: a cook, a log or a pair."""
    asked: tuple[tuple[str, Any], ...] = field(default=(), metadata=apart())
    """The other arguments that were given to it, so that it can be repeated."""

    @property
    def exit_code(self) -> int:
        """0 met, 1 not met, 2 cannot tell."""
        return EXIT_CODES[self.state]

    def standard(self, name: str) -> StandardVerdict:
        """Return what one standard says of the piece that decides.

        Raises
        ------
        InputError
            It was not judged.
        """
        for item in self.standards:
            if item.name == name:
                return item
        judged = ", ".join(item.name for item in self.standards)
        raise InputError(f"'{name}' was not judged; these were: {judged}.")


def letters(answer: Verdict) -> dict[str, str]:
    """Return a letter for each standard that decides, in their order."""
    counting = [item.name for item in answer.standards if item.counts]
    return dict(zip(counting, _LETTERS, strict=False))
