"""A verdict as text for a terminal, and as plain data."""

from __future__ import annotations

import math
from dataclasses import fields
from typing import Any

from coreward import tables
from coreward.questions.hold.spread import CONFIDENCE
from coreward.questions.verdict.answer import (
    CANNOT_TELL,
    MET,
    NOT_MET,
    IntegralView,
    StandardVerdict,
    State,
    Verdict,
)
from coreward.questions.verdict.kill import amount
from coreward.words import (
    Held,
    Needed,
    Published,
    Quantity,
    Required,
    Text,
    Units,
    as_units,
    say,
    shown,
)


def sources(answer: Verdict) -> tuple[str, ...]:
    """Return what the answer rests on, as citations."""
    groups = (answer.standards, answer.limits, answer.integrals)
    keys = dict.fromkeys(key for group in groups for item in group for key in item.sources)
    return tuple(tables.source(key).citation() for key in keys)


def verdict_text(answer: Verdict, units: Units = "C") -> str:
    """Return the verdict as text for a terminal.

    Parameters
    ----------
    answer : Verdict
        From `verdict`.
    units : str or UnitChoice
        "C", "F" or a choice of units.

    Raises
    ------
    InputError
        Other units.
    """
    choice = as_units(units)
    lines: list[Text] = [answer.headline, ""]
    if answer.doubts:
        lines.append("Only you can say:")
        for doubt in answer.doubts:
            lines.append(say("  ? {0}", doubt.text))
            lines.append(say("      answer with {0}; in code {1}", doubt.command, doubt.code))
        lines.append("")
    if answer.faults:
        lines += ["The record:", *(say("  - {0}", fault) for fault in answer.faults), ""]
    if len(answer.pieces) > 1:
        lines.append("By piece, each by its own history:")
        for piece in answer.pieces:
            lines.append(say("  {0} {1}: {2}", _words(piece.state), piece.name, piece.headline))
        lines.append(say("Below: {0}.", answer.worst.name))
    lines.append("By hold standard (every part at a minimum, for a time):")
    for item in answer.standards:
        lines.append(say("  {0} {1}" + _beside(item.counts), _words(item.state), item.title))
        lines.append(say("      because: {0}", item.governing))
        if item.state != MET:
            verb = "apply" if item.state == CANNOT_TELL else "enough"
            lines.append(say(f"      what would make it {verb}: {{0}}", item.enough))
        lines.append(say("      {0}; {1}", item.revision, item.caution))
    lines += ["", "The whole history:"]
    for limit in answer.limits:
        band: Text = ""
        if limit.from_c != limit.to_c:
            falls = limit.from_c > limit.to_c
            band = say(
                ", {0} to {1}", Published(limit.from_c), Published(limit.to_c, at_most=falls)
            )
        name = say("{0}, {1}{2}" + _beside(limit.counts), limit.kind, limit.name, band)
        lines.append(say("  {0} {1}: {2}", _words(limit.state), name, limit.text))
        if limit.state != MET:
            lines.append(say("      what would help: {0}", limit.enough))
    lines.append("")
    lines.append("Kill added up over the record (a view beside the standards, never mixed in):")
    for view in answer.integrals:
        lines.append(
            say(
                "  {0} in {1}: median {2}, {3} with {4} confidence; {5} required ({6} plus {7} "
                "for slow heating plus {8} for growth): {9}",
                view.organism,
                view.food,
                amount(view.median, view.unit),
                amount(view.confident, view.unit),
                f"{CONFIDENCE:.0%}",
                Required(view.required),
                f"{view.target:g}",
                f"{view.slow_margin:g}",
                f"{view.growth_added:g}",
                view.state,
            )
        )
        if view.surface is not None:
            surface = amount(view.surface, view.unit)
            lines.append(
                say("      at the simulated surface, if it stayed moist: {0}", surface)
            )
        if view.state != MET:
            lines.append(say("      what would make it enough: {0}", view.enough))
    for title, entries in (
        ("Assumed:", answer.assumptions),
        ("Beware:", answer.cautions),
        ("Not covered by any table:", answer.blind_spots),
    ):
        lines += ["", title, *(say("  - {0}", entry) for entry in entries)]
    lines += ["", "Sources:", *(f"  - {citation}" for citation in sources(answer))]
    return "\n".join(shown(line, choice) for line in lines)


def asked_and_held(item: StandardVerdict, units: Units) -> str:
    """Say what a standard asks for, what was held, and the margin."""
    if item.required_s is None or item.limit_c is None or item.held_s is None:
        return ""
    margin = item.held_s - item.required_s
    left = (
        say("{0} to spare", Held(margin))
        if margin >= 0.0
        else say("{0} short", Needed(-margin))
    )
    return say(
        "{0} at {1}; held {2}: {3}",
        Needed(item.required_s),
        Published(item.limit_c),
        Held(item.held_s),
        left,
    ).shown(units)


def required_words(view: IntegralView) -> str:
    """Say what is required of a view, and what it is made of."""
    return (
        f"{Required(view.required).shown('C')} ({view.target:g} + {view.slow_margin:g} for "
        f"slow heating + {view.growth_added:g} growth)"
    )


def _beside(counts: bool) -> str:
    return "" if counts else " (shown, does not decide)"


def _words(state: State) -> str:
    return {MET: "MEETS", NOT_MET: "DOES NOT MEET", CANNOT_TELL: "CANNOT TELL UNDER"}[state]


_LEFT_OUT = ("record", "history", "confident_curve", "judged", "asked", "worst")


def verdict_dict(answer: Verdict, units: Units = "C") -> dict[str, Any]:
    """Return the verdict as plain data for JSON; no NaN and no infinity in it.

    Parameters
    ----------
    answer : Verdict
        From `verdict`.
    units : str or UnitChoice
        For the temperatures in sentences; numbers stay in SI and °C, as their names say.
    """
    choice = as_units(units)

    def plain(value: Any) -> Any:
        if isinstance(value, Quantity):
            return value.shown(choice)
        if isinstance(value, tuple | list):
            return [plain(item) for item in value]
        if isinstance(value, float):
            return value if math.isfinite(value) else None
        if hasattr(value, "__dataclass_fields__"):
            return {
                each.name: plain(getattr(value, each.name))
                for each in fields(value)
                if each.name not in _LEFT_OUT
            }
        return value

    found: dict[str, Any] = plain(answer)
    for said, view in zip(found["integrals"], answer.integrals, strict=True):
        said["uncredited"] = plain(view.history.uncredited)
        said["interpolation"] = view.history.interpolation
    return found | {
        "exit_code": answer.exit_code,
        "point": plain(answer.record.point),
        "worst": plain(answer.worst.name),
    }
