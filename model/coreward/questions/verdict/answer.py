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
    """What one hold standard says.

    Attributes
    ----------
    name, title, revision : str
        Which standard; the texts may hold quantities.
    state : str
        "met", "not met" or "cannot tell".
    counts : bool
        Whether it decides the overall answer.
    row_c, limit_c, required_s, held_s : float or None
        Best row: minimum of the table [°C], the reading asked for (row plus errors)
        [°C], time asked for and longest time held. [s]
    margin_s : float or None
        Held minus asked for. [s]
    governing, enough, caution : str or Say
        The assumption that decides, what would make it enough (or apply), the caution.
    sources : tuple of str
        Keys of sources.
    """

    name: str
    title: Text
    revision: Text
    state: State
    counts: bool
    row_c: float | None
    limit_c: float | None
    required_s: float | None
    held_s: float | None
    margin_s: float | None
    governing: Text
    enough: Text
    caution: Text
    sources: tuple[str, ...]


@dataclass(frozen=True)
class LimitVerdict:
    """What one limit on the history says.

    Attributes
    ----------
    name, title, kind, state, counts
        Which limit, for code and by the name its readers know; "come-up", "cooling",
        "reheating" or "hot holding"; as above.
    from_c, to_c : float
        Band. [°C]
    start_s, end_s : float or None
        When the record was in it. [s]
    elapsed_s, limit_s, margin_s : float or None
        Longest time that it may have been in it, longest allowed, difference. [s]
    text, enough : str or Say
        In words.
    sources : tuple of str
        Keys of sources.
    surely_s : float or None
        Time that it was surely in it, however the probe errs. [s]
    reading_c : float or None
        Reading asked for: the limit plus errors; where there is a limit to be at or
        above. [°C]
    held_s, dwell_s : float or None
        Time held there and time asked for; only of reheating. [s]
    """

    name: str
    title: str
    kind: str
    state: State
    counts: bool
    from_c: float
    to_c: float
    start_s: float | None
    end_s: float | None
    elapsed_s: float | None
    limit_s: float
    margin_s: float | None
    text: Text
    enough: Text
    sources: tuple[str, ...]
    surely_s: float | None = None
    reading_c: float | None = None
    held_s: float | None = None
    dwell_s: float | None = None


@dataclass(frozen=True, eq=False)
class IntegralView:
    """Kill added up over the whole record, beside the standards.

    Attributes
    ----------
    name, organism, food, unit : str
        Which kinetics; "log10" or "minutes".
    history : LethalityHistory
        Credit along the record at the readings as they are.
    confident_curve : ndarray, shape (samples,)
        `history.cumulative` scaled to end at `confident`.
    value, median, confident : float
        Credit at the readings as they are; half, and 95 %, of the members reach it.
    surface : float or None
        Credit at the simulated surface; None without one.
    target, slow_margin, growth_added, required : float
        Target, margin for slow heating, growth added, their sum.
    state : str
        Whether `confident` reaches `required`.
    more_minutes, more_kelvin : float
        What would bring it there: a longer hold at `at_c`, or the same record hotter;
        infinite where nothing would.
    at_c : float
        Temperature the longer hold is meant at. [°C]
    enough, note : str or Say
        In words.
    sources : tuple of str
        Keys of sources.
    """

    name: str
    organism: str
    food: Text
    unit: str
    history: LethalityHistory
    confident_curve: Floats = field(metadata=apart())
    value: float
    median: float
    confident: float
    surface: float | None
    target: float
    slow_margin: float
    growth_added: float
    required: float
    state: State
    more_minutes: float
    more_kelvin: float
    at_c: float
    enough: Text
    note: Text
    sources: tuple[str, ...]


@dataclass(frozen=True)
class Doubt:
    """A question that only a person can answer.

    Attributes
    ----------
    kind : str
        "pieces", "new piece", or what is wrong with a probe: "late", "silent early",
        "leap", "frozen", "in the air", "never plugged in", "left out".
    channel : str or None
        The probe that is meant.
    text : str or Say
        The question.
    code, command : str
        What to give in code, and on the command line.
    answers : tuple of str
        What may be answered.
    blocks : bool
        Whether "met" is impossible until it is answered.
    at_s : tuple of float
        When; for a new piece. [s]
    """

    kind: str
    channel: str | None
    text: Text
    code: str
    command: str
    answers: tuple[str, ...]
    blocks: bool = True
    at_s: tuple[float, ...] = ()


@dataclass(frozen=True, eq=False)
class PieceVerdict:
    """What is said about one piece, judged by its own whole history.

    Attributes
    ----------
    name, channels : str or Say, tuple of str
        Which piece, and the probes in it.
    state, headline : str, str or Say
        The answer for it.
    standards, limits : tuple
        The two views that decide.
    record : CookRecord
        Its history.
    lethal_s : float or None
        When every deciding standard had its hold; None if never. [s]
    """

    name: Text
    channels: tuple[str, ...]
    state: State
    headline: Text
    standards: tuple[StandardVerdict, ...]
    limits: tuple[LimitVerdict, ...]
    record: CookRecord = field(metadata=apart())
    lethal_s: float | None


@dataclass(frozen=True, eq=False)
class Verdict:
    """The whole answer: the worst of the pieces, and everything that only a person knows.

    Attributes
    ----------
    state : str
        "not met" if anything that counts is not met; else "cannot tell" if anything
        that counts cannot be told, or a doubt is open; else "met".
    headline : str or Say
        One sentence with target and assumptions.
    meats, condition : tuple of str, str
        What was judged; several states stand in one word joined by "and".
    standards, limits, integrals : tuple
        The three views of the piece that decides.
    assumptions, cautions, faults, blind_spots : tuple of str or Say
        What it rests on, what to beware of, what was wrong with the record, what no
        table covers.
    record : CookRecord
        The history of the piece that decides.
    probe_error_c, placement_error_c : float
        What was added to every target. [K]
    pieces : tuple of PieceVerdict
        Every piece, in the reading of the record that decides.
    worst : PieceVerdict
        The piece that decides.
    doubts : tuple of Doubt
        Questions that a person must answer.
    judged : object
        What was given to `verdict`: a cook, a log or a pair.
    asked : tuple of (str, object)
        The other arguments that were given to it, so that it can be repeated.
    """

    state: State
    headline: Text
    meats: tuple[str, ...]
    condition: str
    standards: tuple[StandardVerdict, ...]
    limits: tuple[LimitVerdict, ...]
    integrals: tuple[IntegralView, ...]
    assumptions: tuple[Text, ...]
    cautions: tuple[Text, ...]
    faults: tuple[Text, ...]
    blind_spots: tuple[Text, ...]
    record: CookRecord = field(metadata=told_as("point", attrgetter("point")))
    probe_error_c: float
    placement_error_c: float
    pieces: tuple[PieceVerdict, ...]
    worst: PieceVerdict = field(metadata=told_as(told=attrgetter("name")))
    doubts: tuple[Doubt, ...]
    judged: Any = field(default=None, repr=False, metadata=apart())
    asked: tuple[tuple[str, Any], ...] = field(default=(), metadata=apart())

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
