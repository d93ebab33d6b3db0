"""Events of a cook, and a list of them that a person can put right.

Nothing is overwritten: what was found stays, and every change is an edit that can be
undone. Edits name the event they are about, not its place in a list, so that they hold
when a growing log is searched again.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, fields, replace
from typing import Any, Literal, get_args

from coreward import tables
from coreward.errors import InputError
from coreward.words import (
    Difference,
    Lasting,
    Reading,
    Text,
    Units,
    from_plain,
    say,
    to_plain,
)

Kind = Literal[
    "meat_on",
    "lid_opened",
    "fuel_dying",
    "fuel_added",
    "wrapped",
    "pit_changed",
    "probe_moved",
    "probe_unplugged",
    "sensor_fault",
    "stall_begins",
    "stall_ends",
    "pulled",
]
KINDS: tuple[Kind, ...] = get_args(Kind)
"""Every kind of event."""

KIND_WORDS: dict[str, str] = {
    "meat_on": "meat on",
    "lid_opened": "lid opened",
    "fuel_dying": "fuel dying",
    "fuel_added": "fuel or air added",
    "wrapped": "wrapped",
    "pit_changed": "pit changed",
    "probe_moved": "probe moved",
    "probe_unplugged": "probe unplugged",
    "sensor_fault": "sensor fault",
    "stall_begins": "stall begins",
    "stall_ends": "stall ends",
    "pulled": "pulled",
}
"""Plain words for each kind."""

Action = Literal["confirm", "remove", "add"]
_ACTIONS: tuple[Action, ...] = get_args(Action)
_FORMAT = "coreward events, format 1"


@dataclass(frozen=True)
class Event:
    """Something that happened during a cook."""

    kind: Kind
    """One of `KINDS`."""
    time_s: float
    """When it began, on the clock of the log. [s]"""
    end_s: float
    """When it was over; equals `time_s` for a moment. [s]"""
    size: float = math.nan
    """How large, in `unit`; NaN where it has no size."""
    unit: str = ""
    """Of `size`: ``"K"`` (a difference), ``"degC"``, ``"-"`` (a ratio) or empty."""
    confidence: float = 1.0
    """0 to 1. An event below `provisional_below` is provisional: later samples may move it or
    take it away. One at or above it stays."""
    channel: str = ""
    """Name of the channel it was seen on; empty when the whole cook is meant."""
    why: Text = ""
    """What in the readings says so, in one sentence."""

    def __post_init__(self) -> None:
        if self.kind not in KINDS:
            raise InputError(
                f"There is no event of kind {self.kind!r}; use one of {', '.join(KINDS)}."
            )
        if not (math.isfinite(self.time_s) and math.isfinite(self.end_s)):
            raise InputError(f"The times of the event {self.kind!r} must be finite numbers.")
        if self.end_s < self.time_s:
            raise InputError(
                f"The event {self.kind!r} ends at {self.end_s:g} s, before it begins at "
                f"{self.time_s:g} s; swap the two."
            )
        if not 0.0 <= self.confidence <= 1.0:
            raise InputError(
                f"The confidence of the event {self.kind!r} must lie between 0 and 1; it is "
                f"{self.confidence:g}."
            )

    @property
    def provisional(self) -> bool:
        """True while later samples may still move this event or take it away."""
        return self.confidence < provisional_below()

    def sentence(self, units: Units = "C") -> str:
        """Return the event as one sentence; the time is that since the log began."""
        said = say(
            "{0}{1}: {2}{3}{4}. {5}",
            Lasting(self.time_s),
            f", '{self.channel}'" if self.channel else "",
            KIND_WORDS[self.kind],
            self._size_words(),
            " (provisional)" if self.provisional else "",
            self.why,
        )
        return said.shown(units).rstrip()

    def _size_words(self) -> Text:
        if not math.isfinite(self.size):
            return ""
        if self.unit == "K":
            return say(", {0}", Difference(self.size))
        if self.unit == "degC":
            return say(", {0}", Reading(self.size))
        return f", {self.size:.3g} {'' if self.unit == '-' else self.unit}".rstrip()

    def as_dict(self) -> dict[str, Any]:
        """Return plain values for JSON; an absent size is None."""
        plain = {field.name: getattr(self, field.name) for field in fields(self)}
        plain["size"] = self.size if math.isfinite(self.size) else None
        plain["why"] = to_plain(self.why)
        return plain

    @classmethod
    def from_dict(cls, plain: object) -> Event:
        """Return the event that `as_dict` wrote.

        Raises
        ------
        InputError
            If something is missing or is not what it should be.
        """
        if not isinstance(plain, dict):
            raise InputError("An event must be an object with kind, time_s and end_s.")
        unknown = sorted(set(plain) - set(cls.__dataclass_fields__))
        missing = [name for name in ("kind", "time_s", "end_s") if name not in plain]
        if unknown or missing:
            raise InputError(
                f"An event has unknown entries {unknown} and lacks {missing}; it needs kind, "
                "time_s and end_s, and may have size, unit, confidence, channel and why."
            )
        given = dict(plain)
        size = given.get("size")
        given["size"] = math.nan if size is None else size
        for name in ("time_s", "end_s", "size", "confidence"):
            value = given.get(name, 0.0)
            if isinstance(value, bool) or not isinstance(value, (int, float)):
                raise InputError(f"{name} of an event must be a number; it is {value!r}.")
            if name in given:
                given[name] = float(value)
        for name in ("kind", "unit", "channel"):
            if not isinstance(given.get(name, ""), str):
                raise InputError(f"{name} of an event must be text; it is {given[name]!r}.")
        try:
            given["why"] = from_plain(given.get("why", ""))
        except InputError:
            raise InputError(
                "why of an event must be text, or a sentence as it was exported here."
            ) from None
        return cls(**given)


def provisional_below() -> float:
    """Return the confidence below which an event may still change, from table ``events``."""
    return tables.load("events")["provisional_below"]


@dataclass(frozen=True)
class Edit:
    """One change a person made: what was done, and to which event."""

    action: Action
    event: Event

    def __post_init__(self) -> None:
        if self.action not in _ACTIONS:
            raise InputError(
                f"There is no edit {self.action!r}; use one of {', '.join(_ACTIONS)}."
            )


@dataclass(frozen=True)
class EventList:
    """Events as found, and the edits of a person on top. Never changed in place."""

    found: tuple[Event, ...] = ()
    """What `find_events` returned."""
    edits: tuple[Edit, ...] = ()
    """In the order they were made."""

    def __post_init__(self) -> None:
        object.__setattr__(self, "found", tuple(self.found))
        object.__setattr__(self, "edits", tuple(self.edits))

    @property
    def events(self) -> tuple[Event, ...]:
        """What everything downstream uses: found, then edited, in order of time."""
        return tuple(event for event, _ in self._marked())

    @property
    def marks(self) -> tuple[str, ...]:
        """For each of `events`: ``"found"``, ``"confirmed"`` or ``"added"``."""
        return tuple(mark for _, mark in self._marked())

    def __len__(self) -> int:
        return len(self.events)

    def __iter__(self) -> Iterator[Event]:
        return iter(self.events)

    def __getitem__(self, index: int) -> Event:
        return self.events[index]

    def confirm(self, index: int) -> EventList:
        """Return a list in which this event is certain and is kept at its time."""
        return self._edited("confirm", index)

    def remove(self, index: int) -> EventList:
        """Return a list without this event."""
        return self._edited("remove", index)

    def add(self, event: Event) -> EventList:
        """Return a list with one more event."""
        if not isinstance(event, Event):
            raise InputError("Only an Event can be added; make one with Event(kind, ...).")
        return replace(self, edits=(*self.edits, Edit("add", event)))

    def undo(self) -> EventList:
        """Return the list before the last edit; unchanged if there is none."""
        return replace(self, edits=self.edits[:-1])

    def with_found(self, found: Iterable[Event]) -> EventList:
        """Return a list with newly found events under the same edits."""
        return replace(self, found=tuple(found))

    def to_json(self) -> str:
        """Return found events and edits as JSON text."""
        return json.dumps(
            {
                "format": _FORMAT,
                "found": [event.as_dict() for event in self.found],
                "edits": [
                    {"action": edit.action, "event": edit.event.as_dict()}
                    for edit in self.edits
                ],
            },
            ensure_ascii=True,
            indent=1,
            allow_nan=False,
        )

    @classmethod
    def from_json(cls, text: str) -> EventList:
        """Return the list that `to_json` wrote.

        Raises
        ------
        InputError
            If the text is not such a list.
        """
        try:
            plain = json.loads(text)
        except (ValueError, TypeError, RecursionError) as error:
            raise InputError(
                f"The list of events is not JSON ({error}); use what was exported here."
            ) from None
        if not isinstance(plain, dict) or plain.get("format") != _FORMAT:
            raise InputError(f"This is no list of events; its 'format' should be {_FORMAT!r}.")
        found, edits = plain.get("found", []), plain.get("edits", [])
        if not isinstance(found, list) or not isinstance(edits, list):
            raise InputError("'found' and 'edits' of a list of events must be lists.")
        changes = []
        for edit in edits:
            if not isinstance(edit, dict) or not {"action", "event"} <= set(edit):
                raise InputError("An edit must have an 'action' and an 'event'.")
            changes.append(Edit(edit["action"], Event.from_dict(edit["event"])))
        return cls(tuple(Event.from_dict(event) for event in found), tuple(changes))

    def _edited(self, action: Action, index: int) -> EventList:
        events = self.events
        if not 0 <= index < len(events):
            raise InputError(
                f"There is no event {index}; this list has {len(events)}, counted from 0."
            )
        return replace(self, edits=(*self.edits, Edit(action, events[index])))

    def _marked(self) -> list[tuple[Event, str]]:
        marked = [(event, "found") for event in self.found]
        for edit in self.edits:
            place = _same(marked, edit.event)
            if edit.action == "add":
                marked.append((edit.event, "added"))
            elif edit.action == "remove":
                if place is not None:
                    del marked[place]
            else:
                # A confirmed event holds even where a new search no longer finds it.
                if place is not None:
                    del marked[place]
                marked.append((replace(edit.event, confidence=1.0), "confirmed"))
        return sorted(marked, key=lambda pair: (pair[0].time_s, KINDS.index(pair[0].kind)))


def _same(marked: list[tuple[Event, str]], event: Event) -> int | None:
    """Place of the event that an edit is about: same kind and probe, nearest in time."""
    reach = tables.load("events")["same_event_within"]
    best, place = reach, None
    for number, (other, _) in enumerate(marked):
        if other.kind == event.kind and other.channel == event.channel:
            distance = abs(other.time_s - event.time_s)
            if distance <= best and (place is None or distance < best):
                best, place = distance, number
    return place
