"""A plan as a calendar file (iCalendar, RFC 5545).

Moments are written in universal time. Any calendar shows them by the clock of its place,
and the hour that comes twice when the clock goes back cannot be mistaken.
"""

from __future__ import annotations

import datetime as dt
import hashlib

from coreward.errors import InputError
from coreward.questions.plan.answer import Plan, Step, chances, clock_text
from coreward.words import METRIC, Units, shown

_SHORT = dt.timedelta(minutes=15)
_REMIND = dt.timedelta(minutes=10)
# What the person decides lasts a moment; the meat decides the rest, whose window is the
# event. Both are reminded of before they begin.
_DECIDED = ("light", "on", "turn up", "slice", "serve")
# What comes out of the pit and onto the plates: a doubt about it stands in the heading.
_EATEN = ("pull", "slice", "serve")


def calendar_bytes(
    plan: Plan,
    *,
    title: str = "",
    made_at: dt.datetime | None = None,
    units: Units = METRIC,
) -> bytes:
    """Return a plan as the bytes of an .ics file.

    Parameters
    ----------
    title : str
        Put before each entry, such as the name of the supper.
    made_at : datetime, optional
        When the file was made; now if None.

    Raises
    ------
    InputError
        If `made_at` has no time zone.
    """
    # Late: the library is needed for a calendar only.
    from icalendar import Alarm, Calendar, Event

    stamp = dt.datetime.now(dt.UTC) if made_at is None else made_at
    if stamp.utcoffset() is None:
        raise InputError("made_at needs a time zone, such as datetime.now(timezone.utc).")
    calendar = Calendar()
    calendar.add("prodid", "-//Coreward//plan of a day//EN")
    calendar.add("version", "2.0")
    for step in plan.steps:
        if step.kind == "hold":
            continue  # begins with the pull
        event = Event()
        begin, end = _from_to(step)
        event.add("uid", _identity(plan, step, title))
        event.add("dtstamp", stamp.astimezone(dt.UTC))
        event.add("dtstart", begin.astimezone(dt.UTC))
        event.add("dtend", end.astimezone(dt.UTC))
        event.add("summary", _summary(plan, step, title))
        event.add("description", _description(plan, step, units))
        event.add("transp", "TRANSPARENT")
        alarm = Alarm()
        alarm.add("action", "DISPLAY")
        alarm.add("description", _summary(plan, step, title))
        alarm.add("trigger", -_REMIND)
        event.add_component(alarm)
        calendar.add_component(event)
    return bytes(calendar.to_ical())


def _from_to(step: Step) -> tuple[dt.datetime, dt.datetime]:
    if step.kind in _DECIDED or step.latest <= step.earliest:
        # By universal time: a quarter of an hour may pass over a change of the clock.
        begin = step.planned.astimezone(dt.UTC)
        return begin, begin + _SHORT
    return step.earliest, step.latest


def _identity(plan: Plan, step: Step, title: str) -> str:
    """Return the same name for the same step of the same supper, so that a new file updates."""
    text = f"{title}|{plan.serve_at.date().isoformat()}|{step.kind}|{step.piece}"
    return f"{hashlib.sha256(text.encode()).hexdigest()[:24]}@coreward"


def _summary(plan: Plan, step: Step, title: str) -> str:
    words = f"{step.kind.capitalize()} {step.piece}".strip()
    if step.kind in _EATEN:
        meant = [one for one in plan.pieces if step.piece in ("", one.item.name)]
        meant.sort(key=lambda one: not one.warnings)
        doubts = list(dict.fromkeys(one.doubt for one in meant if one.doubt))
        words += f" ({'; '.join(doubts)})" if doubts else ""
    return f"{title}: {words}" if title else words


def _description(plan: Plan, step: Step, units: Units) -> str:
    serve = plan.serve_at
    # What warns of a piece stands in its entries, and of any piece in those of all.
    one = plan.piece(step.piece) if step.piece else None
    warnings = plan.warnings if one is None else (*one.warnings, one.unsure)
    lines = [shown(words, units) for words in warnings if words]
    if step.note:
        lines.append(shown(step.note, units))
    if step.kind not in _DECIDED:
        lines.append(
            f"As likely before as after {clock_text(step.planned, serve)}; between "
            f"{clock_text(step.earliest, serve)} and {clock_text(step.latest, serve)} in "
            f"{chances(step.chance)}."
        )
    if step.kind == "pull" and one is not None:
        hold = one.step("hold")
        if hold is not None:
            lines.append(f"Then {shown(hold.note, units)}.")
    if step.kind == "light":
        lines.append(shown(plan.sentences[bool(plan.warnings)], units))
        lines += [shown(words, units) for words in plan.slips]
    lines += [shown(words, units) for words in plan.cautions]
    return "\n".join(lines)
