"""What a plan is asked: pieces and what is wanted of them, the pit, the hold."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import partial
from typing import Any

from coreward import tables
from coreward.cook.rest import BOX, places
from coreward.cook.stages import Piece
from coreward.errors import InputError
from coreward.inputs import asked, check
from coreward.plain import apart
from coreward.questions.rest.holding import DEFAULT_LIMIT, hot_holding_limit
from coreward.tables.standards import load_standard

MOST_PIECES = 10
SHARED = ("heat_transfer", "air_offset", "dampness")
"""Unknowns that all pieces on one pit have in common."""
PIT_DOUBTS = ("heat_transfer", "air_offset", "fresh_air", "dew_point")
"""Their doubts in table ``forecast``: the damp has one where a dew point is stated, and one
where the meat makes its own."""
_WRAPS = (None, "foil", "paper")


def usual(name: str) -> float:
    """Return a number of table ``plan``, set ``usual``."""
    return tables.load("plan")[name]


def checked_chance(chance: float) -> float:
    """Return a chance that can be wanted.

    Raises
    ------
    InputError
        If it is surer than anything about meat, or less than even.
    """
    if not 0.5 <= chance <= 0.99:
        raise InputError(
            f"The chance wanted is {chance:g}: give one between 0.5 and 0.99, because nothing "
            "about meat is surer and less than even is no plan."
        )
    return float(chance)


def aware(moment: object, what: str) -> dt.datetime:
    """Return a moment that knows its time zone.

    Raises
    ------
    InputError
        If it is none, or has no time zone, or names an hour that the clock skips.
    """
    if not isinstance(moment, dt.datetime):
        raise InputError(f"The {what} must be a datetime with a time zone; it is {moment!r}.")
    if moment.utcoffset() is None:
        raise InputError(
            f"The {what} {moment:%Y-%m-%d %H:%M} has no time zone, and a night in which the "
            "clock changes has no length without one. Write datetime(..., "
            "tzinfo=ZoneInfo('Europe/London')) or the zone of your place."
        )
    if not _YEARS[0] <= moment.year <= _YEARS[1]:
        raise InputError(
            f"The {what} is in the year {moment.year}: give one from {_YEARS[0]} to "
            f"{_YEARS[1]}."
        )
    back = moment.astimezone(dt.UTC).astimezone(moment.tzinfo)
    if back.replace(tzinfo=None) != moment.replace(tzinfo=None):
        raise InputError(
            f"The {what} {moment:%Y-%m-%d %H:%M} does not exist: the clock is put forward "
            f"over it. Give a time from {back:%H:%M} on."
        )
    return moment


_YEARS = (2000, 2199)


_MOST_DOUBT = 10.0
_LONGEST_NAME = 80


def _check_doubt(doubt: object, whose: str, known: Mapping[str, float]) -> None:
    if not isinstance(doubt, Mapping):
        raise InputError(f"{whose} has the doubt {doubt!r}: give names with numbers.")
    foreign = sorted(str(name) for name in set(doubt) - set(known))
    if foreign:
        raise InputError(
            f"{whose} has no doubt called {', '.join(foreign)}; use {', '.join(known)}."
        )
    for name, value in doubt.items():
        most = _MOST_DOUBT * known[name]
        if (
            isinstance(value, bool)
            or not isinstance(value, (int, float))
            or not 0.0 <= value <= most
        ):
            raise InputError(
                f"{whose}: the doubt of {name} is {value!r}; give a number from 0 to {most:g}."
            )


def _usual_doubts(names: Sequence[str]) -> dict[str, float]:
    table = tables.load("forecast", "prior")
    return {name: table[name] for name in names if name in table}


@dataclass(frozen=True)
class Wanted:
    """What a piece should be like when it is pulled."""

    core_c: float = asked(
        "The core wanted", 20.0, 99.0, why=", because wet meat does not pass the boiling point"
    )
    """Core temperature at least. [°C]"""
    tenderness: float | None = asked("tenderness", 0.0, 10.0, above=True, default=None)
    """Softening of the core at least, by the middle of the two published series (see
    :func:`coreward.questions.rest.tenderness.tenderness`); 1 is tender. [-]"""
    most_loss: float | None = asked("most_loss", 0.0, 0.7, above=True, default=None)
    """Water lost up to the pull at most, of the raw mass. [-]"""
    crust_activity: float | None = asked("crust_activity", 0.0, 1.0, above=True, default=None)
    """Water activity of the surface at most, when it is wrapped, or pulled bare: how dry the
    crust must be. [-]"""
    lethality: bool | tuple[str, ...] = True
    """Whether the pull waits until hold tables are met at the coldest point, with the probe's
    error on top: those that decide for the meat, or the standards named."""

    def __post_init__(self) -> None:
        check(self)
        asked: Any = self.lethality
        if isinstance(asked, str):
            asked = (asked,)
            object.__setattr__(self, "lethality", asked)
        if isinstance(asked, bool):
            return
        if not isinstance(asked, tuple) or not asked:
            raise InputError(
                f"lethality is {asked!r}: use True, False or a tuple of names of hold tables."
            )
        for name in asked:
            load_standard(str(name))


@dataclass(frozen=True)
class Hold:
    """Where a piece waits between pull and slice."""

    place: str = BOX
    """Either "box" for an insulated box, or a place of table ``rest`` such as "warm oven",
    "holding cabinet", "towels" or "kitchen"."""
    least_s: float = asked("The least rest", default_factory=partial(usual, "least_rest"))
    """Rest that it needs in any case. [s]"""
    most_s: float = asked("The longest hold", default_factory=partial(usual, "most_hold"))
    """Longest that it may wait; the hot-holding limit may cut it down. [s]"""
    preheated_c: float | None = asked("The preheated box", default=None)
    """Of the box. [°C]"""
    limit: str = DEFAULT_LIMIT
    """Name of the published hot-holding limit."""

    def __post_init__(self) -> None:
        hot_holding_limit(self.limit)
        if self.place != BOX and self.place not in places():
            raise InputError(
                f"There is no place {self.place!r} to hold a piece; use {BOX!r} or one of "
                f"{', '.join(places())}."
            )
        check(self)
        if self.most_s < self.least_s:
            raise InputError(
                f"The longest hold ({self.most_s / 60:.0f} min) is shorter than the least rest "
                f"({self.least_s / 60:.0f} min): lengthen the one or shorten the other."
            )


@dataclass(frozen=True)
class PlannedPiece:
    """One piece on the pit."""

    name: str
    """What the crew calls it; each piece its own."""
    piece: Piece = field(metadata=apart())
    wanted: Wanted
    wrap: str | None = None
    """One of "foil", "paper" or None."""
    wrap_at_core_c: float | None = asked("the core at the wrap", key="wrap_at", default=None)
    """Core temperature at which it is wrapped. [°C]"""
    mass_kg: float | None = asked("the mass", default=None)
    """Raw; that of the piece where it knows its own. [kg] Needed for a hold in a box."""
    hold: Hold = field(default_factory=Hold)
    slicing_s: float = asked("the time to slice", default_factory=partial(usual, "slicing"))
    """From the hold to the plates. [s]"""
    not_before: dt.datetime | None = None
    """If it cannot go on earlier, because it comes late."""
    doubt: Mapping[str, float] = field(default_factory=dict)
    """Other standard deviations than those of table ``forecast``, such as ``{"size": 0.04}``
    for a piece that was measured well."""

    def __post_init__(self) -> None:
        from coreward.questions.forecast.fit import NAMES  # late: it loads what only cooks need

        if not isinstance(self.name, str) or not self.name.strip():
            raise InputError("Give each piece a name, so that the plan can say which is which.")
        if not self.name.isprintable() or len(self.name) > _LONGEST_NAME:
            raise InputError(
                f"The name {self.name[:20]!r} cannot stand on a sheet: give one of at most "
                f"{_LONGEST_NAME} letters in one line."
            )
        _check_doubt(self.doubt, self.name, _usual_doubts((*NAMES, *PIT_DOUBTS)))
        if not isinstance(self.piece, Piece) or not self.piece.material.moist:
            raise InputError(f"{self.name}: a plan needs a Piece of meat.")
        if self.mass_kg is None:
            object.__setattr__(self, "mass_kg", self.piece.raw_mass_kg)
        check(self, f"{self.name}: ")
        if self.wrap not in _WRAPS:
            raise InputError(
                f"{self.name}: the wrap is {self.wrap!r}; use foil, paper or None."
            )
        if (self.wrap is None) != (self.wrap_at_core_c is None):
            raise InputError(
                f"{self.name}: give both the wrap and the core temperature at which it comes "
                "on (wrap, wrap_at_core_c), or neither."
            )
        if self.wrap_at_core_c is not None and not (
            self.piece.start_c < self.wrap_at_core_c < self.wanted.core_c
        ):
            raise InputError(
                f"{self.name}: it is wrapped at a core of {self.wrap_at_core_c:g} °C, which "
                f"must lie between its start ({self.piece.start_c:g} °C) and the core wanted "
                f"({self.wanted.core_c:g} °C)."
            )
        if self.wanted.core_c <= self.piece.start_c:
            raise InputError(
                f"{self.name}: the core wanted ({self.wanted.core_c:g} °C) is no warmer than "
                f"the piece is now ({self.piece.start_c:g} °C): give a hotter one."
            )
        if self.hold.place == BOX and self.mass_kg is None:
            raise InputError(
                f"{self.name}: a hold in a box needs the mass of the piece (mass_kg): the "
                "meat is what keeps the box warm."
            )
        if self.not_before is not None:
            aware(self.not_before, f"earliest time of {self.name}")


@dataclass(frozen=True)
class PitPlan:
    """The pit and what is planned with it."""

    air_c: float = asked("The pit", 60.0, 220.0, default=110.0)
    """Temperature it is held at. [°C]"""
    dew_point_c: float | None = asked("The dew point", default=None)
    """Of the pit's air, if it is known; else the meat makes its own damp. [°C]"""
    fire: str | None = None
    """What heats it, a set of table ``fire``: tells how much fresh air comes in."""
    turn_up_c: float | None = None
    turn_up_after_s: float | None = asked("The time of turning up", default=None)
    """A hotter level, and how long after the first piece went on it begins. [°C, s]"""
    pressure_pa: float = asked("The pressure", default=101325.0)
    """Ambient. [Pa]"""
    warm_up_s: float = asked("The time to warm up", default_factory=partial(usual, "warm_up"))
    """Left between lighting and the first piece. [s]"""
    doubt: Mapping[str, float] = field(default_factory=dict)
    """Other standard deviations than the tables' of what all pieces share: ``heat_transfer``,
    ``air_offset``, ``fresh_air``, ``dew_point`` where one is stated (table ``forecast``) and
    ``pit_level`` (table ``plan``), for a pit whose ways are known."""

    def __post_init__(self) -> None:
        check(self)
        if (self.turn_up_c is None) != (self.turn_up_after_s is None):
            raise InputError(
                "Give both the hotter level and when it begins (turn_up_c, turn_up_after_s), "
                "or neither."
            )
        if self.turn_up_c is not None and not (
            isinstance(self.turn_up_c, (int, float)) and self.air_c < self.turn_up_c <= 220.0
        ):
            raise InputError(
                f"The pit is turned up to {self.turn_up_c} °C, which must lie above its "
                f"{self.air_c:g} °C and at most at 220 °C: the planner counts on a core that "
                "only warms."
            )
        known = _usual_doubts(PIT_DOUBTS) | {"pit_level": usual("pit_level")}
        _check_doubt(self.doubt, "The pit", known)
        if self.fire is not None:
            tables.load("fire", self.fire)
        if self.dew_point_c is not None and self.dew_point_c >= self.air_c:
            raise InputError(
                f"The dew point ({self.dew_point_c:g} °C) must lie below the pit "
                f"({self.air_c:g} °C): lower the one or raise the other."
            )


def as_pieces(given: Any) -> tuple[PlannedPiece, ...]:
    """Return the pieces of a plan as a checked tuple.

    Raises
    ------
    InputError
        None, too many, or two of one name.
    """
    one = isinstance(given, PlannedPiece)
    found: Sequence[Any] = (given,) if one else tuple(given)
    if not found or not all(isinstance(one, PlannedPiece) for one in found):
        raise InputError("A plan needs at least one PlannedPiece(...).")
    if len(found) > MOST_PIECES:
        raise InputError(
            f"There are {len(found)} pieces; a plan takes {MOST_PIECES} at most: plan those "
            "that are alike as one."
        )
    names = [" ".join(piece.name.split()).casefold() for piece in found]
    for piece, name in zip(found, names, strict=True):
        if names.count(name) > 1:
            raise InputError(
                f"Two pieces have the same name, {piece.name!r}; give each its own."
            )
    return tuple(found)
